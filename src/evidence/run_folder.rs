//! A run owns its folder: nobody else writes there meanwhile, and its results come in whole or not at all.
//!
//! *The question*: whose are the files in a folder of results? A run that fails, or is killed, must not leave half of
//! its files among those of an earlier one, nor the earlier summary looking like its own; two runs must not mix; and
//! what is not ours stays. *The method*: all that a run needs besides its results lies in a hidden folder
//! ([`HIDDEN`]) inside the result folder, so that the last step is a move within one file system. There is a lock
//! file, held by the system as long as the process lives, and `new/`, where results are written. When all are there
//! and on the disk, the manifest among them, `new/` becomes `ready/` in one step; then the old results go, the manifest first, and the new
//! ones are moved in, the manifest last. So a run that ends before has changed nothing, and one that ends in
//! between is finished by the next run from what `ready/` holds. The hidden folder is gone in the end.
//!
//! *Whose is a file?* The manifest in the folder names what the earlier run of the same command wrote; that may be replaced.
//! Anything else where results are to stand is somebody's: it is refused, or replaced where the user insists. What stands
//! elsewhere in the folder is never touched.
//!
//! *What this cannot see*: a program that writes there without asking for the lock.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::manifest::{CAPTURE_LIST, MANIFEST_FILE, Manifest};
use crate::files::{SharedFile, refuse_shared, sync};

/// Folder inside a result folder that is there while a run writes, and after one that was killed.
pub const HIDDEN: &str = ".framevouch";
const LOCK: &str = "lock";
const NEW: &str = "new";
const READY: &str = "ready";
/// A lock file that vanishes between two looks is looked for as often.
const LOOKS: usize = 100;

/// What a command's results are called.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// The command, as its manifests say it.
    pub command: &'static str,
    /// Whether a file of this name, directly in the folder, is a result; the manifest and the list of captured
    /// pictures are anyway.
    pub is_result: fn(&str) -> bool,
    /// Folders that hold results and nothing else.
    pub folders: &'static [&'static str],
    /// Of a command that goes on where it was: whether its own unfinished results stand in a folder, without a manifest.
    pub is_begun: fn(&Path) -> bool,
}

/// Why a run cannot have a folder, or cannot put its results there.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A file goes in and would be written over.
    #[error(transparent)]
    Shared(#[from] SharedFile),
    /// Something else stands where a result is to be.
    #[error(
        "\"{path}\" stands where results of {command} are written, and no manifest of an earlier {command} names it: move it, choose another --out, or give --force to have it replaced"
    )]
    Foreign {
        /// The file.
        path: String,
        /// The command.
        command: &'static str,
    },
    /// A folder stands where a file is to be.
    #[error(
        "\"{0}\" is a folder, and a file of this name is to be written: move it, or choose another --out"
    )]
    Folder(String),
    /// Another run writes there.
    #[error(
        "another framevouch is writing into \"{0}\": wait for its end, or choose another --out"
    )]
    InUse(String),
    /// Another command's results were moved in when that run ended.
    #[error(
        "results of {command} were being moved into \"{folder}\" when that run was ended: run {command} there again, which finishes that, or choose another --out"
    )]
    Interrupted {
        /// The folder.
        folder: String,
        /// The command.
        command: String,
    },
    /// The system refuses.
    #[error("cannot write \"{path}\"")]
    Write {
        /// The file.
        path: String,
        /// The system's words.
        source: io::Error,
    },
}

fn cannot_write(path: &Path) -> impl FnOnce(io::Error) -> Error + '_ {
    move |source| Error::Write {
        path: path.display().to_string(),
        source,
    }
}

/// The folder of a run under way. When it is dropped before [`finish`](Self::finish), what was written is gone and what
/// stood there stays.
#[derive(Debug)]
pub struct RunFolder {
    home: PathBuf,
    kind: Kind,
    is_forced: bool,
    /// The folder itself was made for this run.
    is_made: bool,
    /// Held for the run.
    _lock: File,
}

impl RunFolder {
    /// Takes `home`, which is made when it is not there, for a run that reads `inputs`. What an earlier run left
    /// unfinished is cleared away, or finished where it was whole already.
    ///
    /// # Errors
    /// When a file of `inputs` would be written over, another run has the folder, or something that is not ours stands in
    /// the way and `is_forced` is not set. Then nothing was touched.
    pub fn claim<'a>(
        home: &Path,
        kind: Kind,
        inputs: impl IntoIterator<Item = &'a Path>,
        is_forced: bool,
    ) -> Result<Self, Error> {
        let in_the_way = in_the_way(home, kind)?.into_iter().map(|n| home.join(n));
        let hidden = below(&home.join(HIDDEN)).into_iter();
        refuse_shared(inputs, in_the_way.chain(hidden))?;
        let is_made = !home.exists();
        fs::create_dir_all(home).map_err(cannot_write(home))?;
        let folder = Self {
            home: home.to_owned(),
            kind,
            is_forced,
            is_made,
            _lock: lock(home)?,
        };
        folder.finish_interrupted()?;
        folder.refuse_foreign()?;
        let new = folder.new_results();
        remove_all(&new)?;
        fs::create_dir(&new).map_err(cannot_write(&new))?;
        Ok(folder)
    }

    /// Where results are written until all are there.
    #[must_use]
    pub fn new_results(&self) -> PathBuf {
        self.home.join(HIDDEN).join(NEW)
    }

    /// Deletes the manifest of an earlier run, and all of its results but those that `is_kept` names: for a command
    /// that goes on with them.
    ///
    /// # Errors
    /// When one cannot be deleted.
    pub fn withdraw(&self, is_kept: &dyn Fn(&str) -> bool) -> Result<(), Error> {
        let manifest = self.home.join(MANIFEST_FILE);
        remove_file(&manifest)?;
        self.clear(is_kept)
    }

    /// Puts the new results, which hold a manifest, in the place of the old ones.
    ///
    /// # Errors
    /// When something that is not ours came into the way meanwhile, or a file cannot be moved; in the latter case the
    /// next run moves the rest.
    pub fn finish(self) -> Result<(), Error> {
        self.refuse_foreign()?;
        let (new, ready) = (self.new_results(), self.ready());
        below(&new)
            .into_par_iter()
            .try_for_each(|file| sync(&file).map_err(cannot_write(&file)))?;
        fs::rename(&new, &ready).map_err(cannot_write(&ready))?;
        self.move_in()
    }

    /// Takes away the folder of an earlier run: its results, its manifest, and the folder itself.
    ///
    /// # Errors
    /// When another run has it, or something stands in it that no manifest of that command names. Then nothing was touched.
    pub fn remove(home: &Path, kind: Kind) -> Result<(), Error> {
        if let Some(path) = foreign_in(home, kind) {
            return Err(Error::Foreign {
                path: path.display().to_string(),
                command: kind.command,
            });
        }
        let folder = Self::claim(home, kind, [], false)?;
        folder.withdraw(&|_| false)?;
        drop(folder);
        fs::remove_dir(home).map_err(cannot_write(home))
    }

    fn ready(&self) -> PathBuf {
        self.home.join(HIDDEN).join(READY)
    }

    /// Finishes what a run was ended at.
    fn finish_interrupted(&self) -> Result<(), Error> {
        let ready = self.ready();
        if !ready.exists() {
            return Ok(());
        }
        let command = match Manifest::read(&ready) {
            Ok((manifest, _)) => manifest.command,
            // Its manifest, which comes last, was moved in: nothing else is left.
            Err(_) if !ready.join(MANIFEST_FILE).exists() => return remove_all(&ready),
            Err(_) => "an unknown command".into(),
        };
        if command == self.kind.command {
            return self.move_in();
        }
        Err(Error::Interrupted {
            folder: self.home.display().to_string(),
            command,
        })
    }

    /// Moves in what is ready. May be broken off anywhere, and begun again.
    fn move_in(&self) -> Result<(), Error> {
        let (home, ready) = (&self.home, self.ready());
        // A manifest that cannot be read names nothing; `finish_interrupted` has seen to that.
        let named = named_by(&ready, self.kind.command);
        remove_file(&home.join(MANIFEST_FILE))?;
        // Of an earlier run nothing stands beside what is moved in; what was moved in before this was broken off stays.
        self.clear(&|name| named.contains(name) && !ready.join(name).exists())?;
        let mut files = below(&ready);
        let manifest = ready.join(MANIFEST_FILE);
        files.retain(|path| *path != manifest);
        for from in files.into_iter().chain([manifest]) {
            let to = home.join(from.strip_prefix(&ready).unwrap_or(&from));
            if let Some(folder) = to.parent() {
                fs::create_dir_all(folder).map_err(cannot_write(folder))?;
            }
            fs::rename(&from, &to).map_err(cannot_write(&to))?;
        }
        remove_all(&ready)
    }

    /// Deletes results in the folder, but those that are kept.
    fn clear(&self, is_kept: &dyn Fn(&str) -> bool) -> Result<(), Error> {
        for name in in_the_way(&self.home, self.kind)? {
            if !is_kept(&name) {
                remove_file(&self.home.join(name))?;
            }
        }
        for folder in self.kind.folders {
            remove_empty(&self.home.join(folder));
        }
        Ok(())
    }

    fn refuse_foreign(&self) -> Result<(), Error> {
        let names = in_the_way(&self.home, self.kind)?;
        let shown = |name: &str| self.home.join(name).display().to_string();
        if let Some(name) = names.iter().find(|n| is_folder(&self.home.join(n))) {
            return Err(Error::Folder(shown(name)));
        }
        if self.is_forced || (self.kind.is_begun)(&self.home) {
            return Ok(());
        }
        let own = named_by(&self.home, self.kind.command);
        // An empty file holds nothing that could be lost: a run that was killed as it began may have left one.
        let is_empty = |n: &str| {
            let about = self.home.join(n).symlink_metadata();
            about.is_ok_and(|m| m.is_file() && m.len() == 0)
        };
        match names.iter().find(|n| !own.contains(*n) && !is_empty(n)) {
            None => Ok(()),
            Some(name) => Err(Error::Foreign {
                path: shown(name),
                command: self.kind.command,
            }),
        }
    }
}

/// Whether a run was ended while it moved its results into `home`.
pub(super) fn is_moved_in_part(home: &Path) -> bool {
    home.join(HIDDEN).join(READY).exists()
}

impl Drop for RunFolder {
    fn drop(&mut self) {
        // What cannot be cleared away now is by the next run.
        let hidden = self.home.join(HIDDEN);
        let _ = fs::remove_dir_all(self.new_results());
        let _ = fs::remove_file(hidden.join(LOCK));
        let _ = fs::remove_dir(hidden);
        if self.is_made {
            let _ = fs::remove_dir(&self.home);
        }
    }
}

/// Takes the lock of `home`.
fn lock(home: &Path) -> Result<File, Error> {
    let hidden = home.join(HIDDEN);
    let path = hidden.join(LOCK);
    for _ in 0..LOOKS {
        fs::create_dir_all(&hidden).map_err(cannot_write(&hidden))?;
        let mut options = OpenOptions::new();
        options.create(true).truncate(false).write(true);
        let file = match options.open(&path) {
            Ok(file) => file,
            // A run that ended just now took the folder away.
            Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
            Err(e) => return Err(cannot_write(&path)(e)),
        };
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(Error::InUse(home.display().to_string())),
            Err(TryLockError::Error(e)) => return Err(cannot_write(&path)(e)),
        }
        // It may have been taken away between opening and locking, and another made in its place.
        if is_same(&file, &path) {
            return Ok(file);
        }
    }
    Err(Error::InUse(home.display().to_string()))
}

#[cfg(unix)]
fn is_same(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let (Ok(a), Ok(b)) = (file.metadata(), fs::metadata(path)) else {
        return false;
    };
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}

/// An open file cannot be taken away here.
#[cfg(not(unix))]
fn is_same(_: &File, _: &Path) -> bool {
    true
}

/// Names of what the manifest in `folder` calls results of `command`, itself among them; none when there is no such manifest.
fn named_by(folder: &Path, command: &str) -> BTreeSet<String> {
    match Manifest::read(folder) {
        Ok((m, _)) if m.command == command => {
            let names = m.outputs.into_iter().map(|f| f.path);
            names.chain([MANIFEST_FILE.to_owned()]).collect()
        }
        _ => BTreeSet::new(),
    }
}

/// The first thing in `home`, or `home` itself, that is no result of `kind` by the manifest there, nor what a run needs
/// besides.
pub fn foreign_in(home: &Path, kind: Kind) -> Option<PathBuf> {
    if !is_folder(home) {
        return Some(home.to_owned());
    }
    let own = named_by(home, kind.command);
    let hidden = home.join(HIDDEN);
    let is_own = |file: &PathBuf| {
        let name = file.strip_prefix(home).unwrap_or(file);
        file.starts_with(&hidden) || own.contains(&*name.to_string_lossy())
    };
    below(home).into_iter().find(|file| !is_own(file))
}

fn is_folder(path: &Path) -> bool {
    path.symlink_metadata().is_ok_and(|m| m.is_dir())
}

/// Names of what stands in `home` where results are to be, in order: files, links to anything, and folders that have a file's name.
fn in_the_way(home: &Path, kind: Kind) -> Result<Vec<String>, Error> {
    let mut names = Vec::new();
    let entries = match fs::read_dir(home) {
        Ok(entries) => entries,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(names),
        Err(e) => return Err(cannot_write(home)(e)),
    };
    for entry in entries {
        let entry = entry.map_err(cannot_write(home))?;
        let path = entry.path();
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        let is_of_results = kind.folders.contains(&name.as_str());
        if is_of_results && is_folder(&path) {
            let files = below(&path).into_iter();
            names.extend(files.map(|f| {
                let parts = f.strip_prefix(home).unwrap_or(&f).components();
                let parts = parts.map(|c| c.as_os_str().to_string_lossy());
                parts.collect::<Vec<_>>().join("/")
            }));
        } else if is_of_results
            || [MANIFEST_FILE, CAPTURE_LIST].contains(&name.as_str())
            || (kind.is_result)(&name)
        {
            names.push(name);
        }
    }
    names.sort_unstable();
    Ok(names)
}

/// All files and links below `folder`; none when it is not there.
fn below(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut todo = vec![folder.to_owned()];
    while let Some(next) = todo.pop() {
        for entry in fs::read_dir(next).into_iter().flatten().flatten() {
            let path = entry.path();
            if is_folder(&path) {
                todo.push(path);
            } else {
                files.push(path);
            }
        }
    }
    files.sort_unstable();
    files
}

fn remove_file(path: &Path) -> Result<(), Error> {
    match fs::remove_file(path) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(cannot_write(path)(e)),
        _ => Ok(()),
    }
}

fn remove_all(folder: &Path) -> Result<(), Error> {
    match fs::remove_dir_all(folder) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(cannot_write(folder)(e)),
        _ => Ok(()),
    }
}

/// Deletes folders that hold no file.
fn remove_empty(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if is_folder(&entry.path()) {
            remove_empty(&entry.path());
        }
    }
    // Refused where something is left.
    let _ = fs::remove_dir(folder);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::manifest::{ReadFiles, make, outputs};

    const KIND: Kind = Kind {
        command: "try",
        is_result: |name| ["a", "b", "c"].contains(&name),
        folders: &["more"],
        is_begun: |_| false,
    };

    /// Writes files and the manifest over all that is in `folder`.
    fn write(folder: &Path, files: &[(&str, &str)]) {
        for (name, text) in files {
            let path = folder.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        }
        let named = outputs(folder).unwrap();
        let made = make(folder, folder, "try", vec![], &ReadFiles::default(), named).unwrap();
        fs::write(folder.join(MANIFEST_FILE), made.to_json().unwrap()).unwrap();
    }

    fn held(folder: &Path) -> Vec<(String, String)> {
        let shown = |p: PathBuf| {
            let name = p.strip_prefix(folder).unwrap().display().to_string();
            (name, fs::read_to_string(&p).unwrap())
        };
        let mut files: Vec<_> = below(folder).into_iter().map(shown).collect();
        files.retain(|(name, _)| name != MANIFEST_FILE);
        files
    }

    fn of(files: &[(&str, &str)]) -> Vec<(String, String)> {
        let own = |(a, b): &(&str, &str)| ((*a).to_owned(), (*b).to_owned());
        files.iter().map(own).collect()
    }

    const OLD: [(&str, &str); 3] = [("a", "old"), ("b", "old"), ("more/x", "old")];
    const NEW: [(&str, &str); 3] = [("a", "new"), ("c", "new"), ("more/y", "new")];

    #[test]
    fn old_results_stay_until_the_new_ones_are_whole_and_then_none_is_left() {
        let home = tempfile::tempdir().unwrap();
        let home = home.path();
        write(home, &OLD);
        fs::write(home.join("notes"), "theirs").unwrap();
        let folder = RunFolder::claim(home, KIND, [], false).unwrap();
        write(&folder.new_results(), &NEW);
        drop(folder);
        let mut all = of(&OLD);
        all.push(("notes".into(), "theirs".into()));
        assert_eq!(held(home), all);
        let folder = RunFolder::claim(home, KIND, [], false).unwrap();
        write(&folder.new_results(), &NEW);
        folder.finish().unwrap();
        let mut all = of(&NEW);
        all.push(("notes".into(), "theirs".into()));
        assert_eq!(held(home), all);
        assert_eq!(named_by(home, "try").len(), 4);
    }

    /// Wherever a run was ended while it moved its results in, the next one finds the new ones whole.
    #[test]
    fn what_was_moved_in_only_in_part_is_finished_by_the_next_run() {
        for ended_after in 0..7 {
            let home = tempfile::tempdir().unwrap();
            let home = home.path();
            write(home, &OLD);
            let ready = home.join(HIDDEN).join(READY);
            write(&ready, &NEW);
            let moved = |name: &str| {
                let to = home.join(name);
                fs::create_dir_all(to.parent().unwrap()).unwrap();
                fs::rename(ready.join(name), to).unwrap();
            };
            let steps: [&dyn Fn(); 6] = [
                &|| fs::remove_file(home.join(MANIFEST_FILE)).unwrap(),
                &|| fs::remove_file(home.join("b")).unwrap(),
                &|| fs::remove_dir_all(home.join("more")).unwrap(),
                &|| moved("a"),
                &|| {
                    moved("c");
                    moved("more/y");
                },
                &|| moved(MANIFEST_FILE),
            ];
            steps.iter().take(ended_after).for_each(|step| step());
            // Who only reads is told, where no manifest stands.
            if (1..6).contains(&ended_after) {
                let error = Manifest::read(home).unwrap_err().to_string();
                assert!(
                    error.contains("run the same command there again"),
                    "{error}"
                );
            }
            let other = Kind {
                command: "other",
                ..KIND
            };
            if ended_after < 6 {
                let error = RunFolder::claim(home, other, [], false).unwrap_err();
                assert!(matches!(error, Error::Interrupted { .. }), "{error}");
            }
            drop(RunFolder::claim(home, KIND, [], false).unwrap());
            assert_eq!(held(home), of(&NEW), "{ended_after}");
            assert_eq!(named_by(home, "try").len(), 4, "{ended_after}");
        }
    }

    #[test]
    fn one_run_has_the_folder_and_the_next_may_have_it_afterwards() {
        let home = tempfile::tempdir().unwrap();
        let new = home.path().join("new");
        let first = RunFolder::claim(&new, KIND, [], false).unwrap();
        let second = RunFolder::claim(&new, KIND, [], true).unwrap_err();
        assert!(matches!(second, Error::InUse(_)), "{second}");
        drop(first);
        assert!(!new.exists(), "a folder made for nothing stays");
        drop(RunFolder::claim(&new, KIND, [], false).unwrap());
    }

    #[test]
    fn what_no_manifest_of_ours_names_is_refused_or_replaced_where_the_user_insists() {
        for name in ["a", "more/z", "more", MANIFEST_FILE] {
            let home = tempfile::tempdir().unwrap();
            let home = home.path();
            fs::create_dir_all(home.join(name).parent().unwrap()).unwrap();
            fs::write(home.join(name), "theirs").unwrap();
            let error = RunFolder::claim(home, KIND, [], false).unwrap_err();
            assert!(matches!(error, Error::Foreign { .. }), "{error}");
            assert_eq!(fs::read_to_string(home.join(name)).unwrap(), "theirs");
            let folder = RunFolder::claim(home, KIND, [], true).unwrap();
            write(&folder.new_results(), &NEW);
            folder.finish().unwrap();
            assert_eq!(held(home), of(&NEW), "{name}");
        }
        // Nothing is lost with an empty file.
        let home = tempfile::tempdir().unwrap();
        fs::write(home.path().join("a"), "").unwrap();
        drop(RunFolder::claim(home.path(), KIND, [], false).unwrap());
        // A folder is never replaced by a file.
        let home = tempfile::tempdir().unwrap();
        fs::create_dir(home.path().join("a")).unwrap();
        let error = RunFolder::claim(home.path(), KIND, [], true).unwrap_err();
        assert!(matches!(error, Error::Folder(_)), "{error}");
    }

    #[test]
    fn a_manifest_that_leads_out_of_its_folder_takes_nothing_with_it() {
        let outside = tempfile::tempdir().unwrap();
        let home = outside.path().join("home");
        write(&home, &OLD);
        fs::write(outside.path().join("notes"), "theirs").unwrap();
        let (mut manifest, _) = Manifest::read(&home).unwrap();
        manifest.outputs[0].path = "../notes".into();
        fs::write(home.join(MANIFEST_FILE), manifest.to_json().unwrap()).unwrap();
        let error = RunFolder::claim(&home, KIND, [], false).unwrap_err();
        assert!(matches!(error, Error::Foreign { .. }), "{error}");
        let folder = RunFolder::claim(&home, KIND, [], true).unwrap();
        write(&folder.new_results(), &NEW);
        folder.finish().unwrap();
        assert!(outside.path().join("notes").exists());
    }

    #[test]
    fn withdrawn_results_are_gone_but_those_that_are_kept() {
        let home = tempfile::tempdir().unwrap();
        let home = home.path();
        write(home, &OLD);
        let folder = RunFolder::claim(home, KIND, [], false).unwrap();
        folder.withdraw(&|name| name == "b").unwrap();
        drop(folder);
        assert_eq!(held(home), of(&[("b", "old")]));
        assert!(!home.join(MANIFEST_FILE).exists());
    }
}
