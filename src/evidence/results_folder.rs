//! A result folder as everybody reads it who did not write it: `report`, `tune`, `verify`.
//!
//! *The question*: is what is read what was written? *The method*: [`ResultsFolder`] knows the manifest and hands
//! files out by [`ResultName`] alone, each digested in the pass that reads it and held against the manifest; when
//! the caller has what it wants, the rest of the folder and the inputs are digested too. What differs is refused,
//! all of it named, or, for a caller that asks for it ([`Trust::Unverified`]), handed out together with the list of
//! differences, which that caller must show. *What it cannot see*: whether the manifest itself was exchanged
//! together with the files.
//!
//! Nothing else in the crate opens a file of results that somebody else may have touched since.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use rayon::prelude::*;
use serde::de::DeserializeOwned;

use super::manifest::{self, CAPTURE_LIST, MANIFEST_FILE, Manifest};
use super::result_name::{BadName, ResultName};
use super::verify::{Change, Verified, difference, input_changes, names_below, shown};
use crate::files::{self, Content, FileContent, Limit};

/// The most that a record other than a list of frames or trials holds.
const RECORD: Limit = Limit {
    kind: "a record of results",
    bytes: 128 << 20,
};
/// The most that one line of a list of records holds, bytes.
const LINE_BYTES: usize = 4 << 20;
/// Lines that are parsed side by side, at most, and their bytes.
const BATCH: (usize, usize) = (512, 8 << 20);

/// Begins whatever is made of results that are not as they were written: the title of a page, of each printed page of
/// it, and every other export.
pub const NOT_VERIFIED: &str = "NOT VERIFIED";

/// What is done with results that are not what their manifest says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trust {
    /// They are refused.
    Verified,
    /// They are handed out, and the caller shows what differs wherever it shows them.
    Unverified,
}

impl Trust {
    /// What `--unverified` asks for, where it is given.
    #[must_use]
    pub const fn asked(unverified: bool) -> Self {
        if unverified {
            Self::Unverified
        } else {
            Self::Verified
        }
    }
}

/// What keeps results from being read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The manifest.
    #[error(transparent)]
    Manifest(#[from] manifest::Error),
    /// A file.
    #[error(transparent)]
    File(#[from] files::Error),
    /// A name that leads out of the folder.
    #[error(transparent)]
    Name(#[from] BadName),
    /// A link that does.
    #[error("\"{0}\" leads out of the result folder: results are files of their folder")]
    Outside(String),
    /// A file that the manifest does not list.
    #[error(
        "\"{folder}\": its manifest lists no {name}, so nothing says what it held when it was written"
    )]
    Unlisted {
        /// The result folder.
        folder: String,
        /// The file.
        name: String,
    },
    /// A manifest that vouches for nothing.
    #[error(
        "\"{folder}\": its manifest lists no {what}, so it vouches for nothing; run the command again"
    )]
    Empty {
        /// The result folder.
        folder: String,
        /// `outputs` or `inputs`.
        what: &'static str,
    },
    /// What is not as it was written.
    #[error(
        "\"{folder}\" is not as it was written: {}; `framevouch verify` names all that differs, --unverified takes it all the same and marks what comes of it",
        shown(changes)
    )]
    Differs {
        /// The result folder.
        folder: String,
        /// All of it.
        changes: Vec<Change>,
    },
    /// A file that was read halfway.
    #[error("cannot read \"{path}\"")]
    Read {
        /// The file.
        path: String,
        /// The system's words.
        source: std::io::Error,
    },
    /// A file that is not what it should be.
    #[error("\"{path}\": {what}")]
    Form {
        /// The file.
        path: String,
        /// What is wrong.
        what: String,
    },
}

/// A result folder.
#[derive(Debug)]
pub struct ResultsFolder {
    path: PathBuf,
    /// `path` without links, which everything inside lies below.
    root: PathBuf,
    manifest: Manifest,
    manifest_content: Content,
    listed: BTreeMap<ResultName, Content>,
    /// What was read so far, by what it held then.
    read: Mutex<BTreeMap<ResultName, Content>>,
    trust: Trust,
}

impl ResultsFolder {
    /// Opens the folder at `path`; nothing but its manifest is read yet.
    ///
    /// # Errors
    /// When there is no readable manifest, it lists no outputs or no inputs, or names what cannot lie in the folder.
    pub fn open(path: &Path, trust: Trust) -> Result<Self, Error> {
        let (manifest, content) = Manifest::read(path)?;
        for (what, is_empty) in [
            ("outputs", manifest.outputs.is_empty()),
            ("inputs", manifest.inputs.is_empty()),
        ] {
            if is_empty {
                return Err(Error::Empty {
                    folder: path.display().to_string(),
                    what,
                });
            }
        }
        let mut listed = BTreeMap::new();
        for file in &manifest.outputs {
            let name = ResultName::new(&file.path)?;
            if listed.insert(name, file.content.clone()).is_some() {
                return Err(Error::Form {
                    path: path.join(MANIFEST_FILE).display().to_string(),
                    what: format!("lists \"{}\" twice", file.path),
                });
            }
        }
        let root = std::fs::canonicalize(path).map_err(|source| Error::Read {
            path: path.display().to_string(),
            source,
        })?;
        Ok(Self {
            path: path.to_path_buf(),
            root,
            manifest,
            manifest_content: content,
            listed,
            read: Mutex::default(),
            trust,
        })
    }

    /// Opens the folder at `path`, takes out of it what `take` wants, and verifies all of it and its inputs. Gives
    /// the folder, what was taken, and what verifying found: inputs that are gone, and, of [`Trust::Unverified`],
    /// all that differs.
    ///
    /// # Errors
    /// As [`Self::open`] and `take`; with [`Trust::Verified`] also when anything differs, before anything else.
    pub fn load<T, E: From<Error>>(
        path: &Path,
        trust: Trust,
        take: impl FnOnce(&Self) -> Result<T, E>,
    ) -> Result<(Self, T, Verified), E> {
        let folder = Self::open(path, trust)?;
        let taken = take(&folder);
        let verified = folder.verify()?;
        let changes = verified.contradictions();
        // What differs explains whatever else went wrong, and the whole list says more than the first of it.
        if trust == Trust::Verified && !changes.is_empty() {
            return Err(folder.differs(changes).into());
        }
        Ok((folder, taken?, verified))
    }

    /// Its manifest.
    #[must_use]
    pub const fn manifest(&self) -> &Manifest {
        &self.manifest
    }

    /// SHA-256 of the manifest, which nothing in the folder vouches for.
    #[must_use]
    pub fn manifest_sha256(&self) -> &str {
        &self.manifest_content.sha256
    }

    /// What a file held when it was read here; `None` when it was not.
    #[must_use]
    pub fn held(&self, name: &str) -> Option<FileContent> {
        let content = if name == MANIFEST_FILE {
            self.manifest_content.clone()
        } else {
            let read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
            read.get(&ResultName::new(name).ok()?)?.clone()
        };
        let path = self.path.join(name);
        Some(FileContent { path, content })
    }

    /// Where it lies, as it was given.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether the manifest lists a file.
    #[must_use]
    pub fn lists(&self, name: &ResultName) -> bool {
        self.listed.contains_key(name)
    }

    /// What the manifest says of a file.
    #[must_use]
    pub fn listed(&self, name: &ResultName) -> Option<&Content> {
        self.listed.get(name)
    }

    /// Reads a whole file.
    ///
    /// # Errors
    /// When it is not listed, leads out of the folder, is no regular file, holds more than `limit`, or, with
    /// [`Trust::Verified`], is not what the manifest says.
    pub fn bytes(&self, name: &ResultName, limit: Limit) -> Result<Vec<u8>, Error> {
        let (path, _) = self.inside(name)?;
        let (bytes, content) = files::read(&path, limit)?;
        self.hold(name, content)?;
        Ok(bytes)
    }

    /// Reads a file that is one JSON record.
    ///
    /// # Errors
    /// As [`Self::bytes`], and when it is no such record.
    pub fn record<T: DeserializeOwned>(&self, name: &str) -> Result<T, Error> {
        let name = ResultName::new(name)?;
        serde_json::from_slice(&self.bytes(&name, RECORD)?).map_err(|e| Error::Form {
            path: self.path.join(name.as_str()).display().to_string(),
            what: e.to_string(),
        })
    }

    /// Hands the bytes of a file to `parse` as they are read; the file may be larger than memory.
    ///
    /// # Errors
    /// As [`Self::bytes`], and those of `parse`.
    pub fn stream<T, E: From<Error>>(
        &self,
        name: &ResultName,
        parse: impl FnOnce(&mut dyn BufRead) -> Result<T, E>,
    ) -> Result<T, E> {
        let (path, listed) = self.inside(name)?;
        let file = files::open(&path).map_err(Error::from)?;
        let most = match self.trust {
            // One byte more than listed is enough to differ.
            Trust::Verified => listed.bytes.saturating_add(1),
            Trust::Unverified => file.metadata().map_err(cannot_read(&path))?.len(),
        };
        let file = file.take(most);
        let mut reader = BufReader::with_capacity(1 << 20, files::Reader::new(file));
        let parsed = parse(&mut reader);
        let content = reader.into_inner().content().map_err(cannot_read(&path))?;
        self.hold(name, content)?;
        parsed
    }

    /// Reads a file of JSON records, a line each, in their order.
    ///
    /// # Errors
    /// As [`Self::bytes`], and with its number when a line is no such record.
    pub fn lines<T: DeserializeOwned + Send>(
        &self,
        name: &str,
        mut take: impl FnMut(T),
    ) -> Result<(), Error> {
        let name = ResultName::new(name)?;
        let path = self.path.join(name.as_str());
        self.stream(&name, |reader| {
            let wrong = |number: usize, what: String| Error::Form {
                path: path.display().to_string(),
                what: format!("line {number}: {what}"),
            };
            let mut number = 0;
            loop {
                let mut lines: Vec<Vec<u8>> = Vec::new();
                let mut bytes = 0;
                while lines.len() < BATCH.0 && bytes < BATCH.1 {
                    let mut line = Vec::new();
                    let read = (&mut *reader)
                        .take(LINE_BYTES as u64)
                        .read_until(b'\n', &mut line)
                        .map_err(cannot_read(&path))?;
                    if read == 0 {
                        break;
                    }
                    if read == LINE_BYTES && line.last() != Some(&b'\n') {
                        let what = format!("longer than {LINE_BYTES} bytes");
                        return Err(wrong(number + lines.len() + 1, what));
                    }
                    bytes += read;
                    lines.push(line);
                }
                if lines.is_empty() {
                    return Ok(());
                }
                let parsed: Vec<serde_json::Result<T>> = lines
                    .par_iter()
                    .map(|l| serde_json::from_slice(l))
                    .collect();
                for record in parsed {
                    number += 1;
                    take(record.map_err(|e| wrong(number, e.to_string()))?);
                }
            }
        })
    }

    /// Names each capture that went in by what it held, in the order of the manifest: a file by its SHA-256, a
    /// folder by that of its pictures wherever they lie; nothing where it came through standard input.
    ///
    /// # Errors
    /// As [`Self::bytes`].
    pub fn captures(&self) -> Result<Vec<Option<String>>, Error> {
        let list = ResultName::new(CAPTURE_LIST)?;
        let list = if self.lists(&list) {
            self.bytes(&list, RECORD)?
        } else {
            Vec::new()
        };
        let list = String::from_utf8_lossy(&list);
        let captures = self.manifest.inputs.iter().filter(|i| i.role == "capture");
        Ok(captures
            .map(|input| {
                let content = input.content.as_ref()?;
                if input.files.is_none() {
                    return Some(content.sha256.clone());
                }
                let pictures: String = list
                    .lines()
                    .filter_map(|line| {
                        let (sha256, path) = line.split_once("  ")?;
                        let (folder, name) = path.rsplit_once('/')?;
                        (folder == input.path).then(|| format!("{sha256}  {name}\n"))
                    })
                    .collect();
                Some(Content::of(pictures.as_bytes()).sha256)
            })
            .collect())
    }

    /// Digests what was not read yet, and the inputs, and names what is not as it was.
    ///
    /// # Errors
    /// When the folder cannot be listed.
    pub fn verify(&self) -> Result<Verified, Error> {
        let mut found = self.outputs_now()?;
        for input in &self.manifest.inputs {
            input_changes(input, &self.path, &mut found);
        }
        let parts = self.parts();
        let of_parts: Vec<Result<Verified, Error>> = parts
            .par_iter()
            .map(|part| Self::open(&self.path.join(part), self.trust)?.verify())
            .collect();
        for (part, verified) in parts.iter().zip(of_parts) {
            match verified {
                Ok(verified) => found.take_in(part, verified),
                Err(e) => found.count(Some(Change::Refused(part.clone(), e.to_string()))),
            }
        }
        Ok(found)
    }

    /// Digests what was not read yet, inputs left aside: for whoever holds these against what he reads himself.
    ///
    /// # Errors
    /// When anything is not as it was written, or the folder cannot be listed.
    pub fn verify_outputs(&self) -> Result<(), Error> {
        let changes = self.outputs_now()?.contradictions();
        if changes.is_empty() {
            Ok(())
        } else {
            Err(self.differs(changes))
        }
    }

    fn outputs_now(&self) -> Result<Verified, Error> {
        let mut found = Verified::of_manifest(&self.manifest_content.sha256);
        let read = self.seen();
        let listed: Vec<(&ResultName, &Content)> = self.listed.iter().collect();
        let changes: Vec<Option<Change>> = listed
            .into_par_iter()
            .map(|(name, listed)| match (read.get(name), self.inside(name)) {
                (Some(now), _) => {
                    (now != listed).then(|| Change::Changed(name.as_str().to_owned()))
                }
                (None, Ok((path, _))) => difference(&path, name.as_str(), listed),
                (None, Err(e)) => Some(Change::Refused(name.as_str().to_owned(), e.to_string())),
            })
            .collect();
        for change in changes {
            found.count(change);
        }
        let parts = self.parts();
        for name in names_below(&self.path).map_err(cannot_read(&self.path))? {
            let is_of_part = parts.iter().any(|p| {
                let below = name.strip_prefix(p.as_str());
                below.is_some_and(|n| n.starts_with('/'))
            });
            let is_known = is_of_part || ResultName::new(&name).is_ok_and(|n| self.lists(&n));
            if !is_known && name != MANIFEST_FILE {
                found.count(Some(Change::Extra(name)));
            }
        }
        found.sort();
        Ok(found)
    }

    /// Folders inside of this one that have a manifest of their own, which this one's manifest lists: it vouches for
    /// that manifest, and that manifest for what lies beside it.
    #[must_use]
    pub fn parts(&self) -> Vec<String> {
        let listed = self.listed.keys().filter_map(|name| {
            let (folder, file) = name.as_str().rsplit_once('/')?;
            (file == MANIFEST_FILE).then(|| folder.to_owned())
        });
        listed.collect()
    }

    fn seen(&self) -> BTreeMap<ResultName, Content> {
        self.read
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    fn differs(&self, changes: Vec<Change>) -> Error {
        Error::Differs {
            folder: self.path.display().to_string(),
            changes,
        }
    }

    /// Where a file lies, and what the manifest says of it.
    fn inside(&self, name: &ResultName) -> Result<(PathBuf, &Content), Error> {
        let listed = self.listed.get(name).ok_or_else(|| Error::Unlisted {
            folder: self.path.display().to_string(),
            name: name.to_string(),
        })?;
        let path = self.path.join(name.as_str());
        // What is not there is said by whoever opens it.
        let is_outside = std::fs::canonicalize(&path).is_ok_and(|p| !p.starts_with(&self.root));
        if is_outside {
            return Err(Error::Outside(path.display().to_string()));
        }
        Ok((path, listed))
    }

    /// Holds what was read against the manifest.
    fn hold(&self, name: &ResultName, now: Content) -> Result<(), Error> {
        let is_as_listed = self.listed.get(name) == Some(&now);
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        read.insert(name.clone(), now);
        if is_as_listed || self.trust == Trust::Unverified {
            Ok(())
        } else {
            Err(self.differs(vec![Change::Changed(name.to_string())]))
        }
    }
}

fn cannot_read(path: &Path) -> impl FnOnce(std::io::Error) -> Error + '_ {
    move |source| Error::Read {
        path: path.display().to_string(),
        source,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::manifest::{ReadFiles, make, outputs};
    use std::fs;

    const SMALL: Limit = Limit {
        kind: "a small file",
        bytes: 100,
    };

    /// `out/` with `a.json` and `lines.jsonl`, made of `in.csv`.
    fn results() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("out");
        fs::create_dir_all(&out).unwrap();
        fs::write(folder.path().join("in.csv"), "t_s\n").unwrap();
        fs::write(out.join("a.json"), "[1, 2]").unwrap();
        fs::write(out.join("lines.jsonl"), "1\n2\n3\n").unwrap();
        write_manifest(&out);
        (folder, out)
    }

    fn write_manifest(out: &Path) {
        let path = out.join("../in.csv");
        let content = Content::of_file(&path).unwrap();
        let mut read = ReadFiles::default();
        read.add_file("inputs", &FileContent { path, content })
            .unwrap();
        let made = outputs(out).unwrap();
        let m = make(out, out, "check", vec![], &read, made).unwrap();
        fs::write(out.join(MANIFEST_FILE), m.to_json().unwrap()).unwrap();
    }

    fn taken(folder: &ResultsFolder) -> Result<(Vec<u32>, Vec<u32>), Error> {
        let mut lines = Vec::new();
        folder.lines("lines.jsonl", |n| lines.push(n))?;
        Ok((folder.record("a.json")?, lines))
    }

    #[test]
    fn what_nobody_touched_is_handed_out() {
        let (_keep, out) = results();
        let (folder, held, verified) = ResultsFolder::load(&out, Trust::Verified, taken).unwrap();
        assert_eq!(held, (vec![1, 2], vec![1, 2, 3]));
        assert_eq!((verified.changes, verified.good), (vec![], 3));
        let other = ResultName::new("b.json").unwrap();
        let error = folder.bytes(&other, SMALL).unwrap_err();
        assert!(matches!(error, Error::Unlisted { .. }), "{error}");
    }

    #[test]
    fn all_that_differs_is_refused_by_name_or_marked() {
        let (_keep, out) = results();
        // No JSON at all: that it differs says more than that it does not parse.
        fs::write(out.join("lines.jsonl"), "1\n2\nx\n").unwrap();
        fs::write(out.join("more.txt"), "").unwrap();
        fs::write(out.join("../in.csv"), "t_s!\n").unwrap();
        let error = ResultsFolder::load(&out, Trust::Verified, taken).unwrap_err();
        let Error::Differs { changes, .. } = &error else {
            panic!("{error}")
        };
        let told: Vec<String> = changes.iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "changed  lines.jsonl",
                "extra    more.txt",
                "changed  ../in.csv"
            ]
        );
        assert!(error.to_string().contains("framevouch verify"), "{error}");
        // Asked for, it is handed out, and what differs comes with it.
        fs::write(out.join("lines.jsonl"), "1\n2\n4\n").unwrap();
        let (_, held, verified) = ResultsFolder::load(&out, Trust::Unverified, taken).unwrap();
        assert_eq!(held.1, [1, 2, 4]);
        assert_eq!(verified.contradictions().len(), 3);
    }

    #[test]
    fn inputs_that_are_gone_do_not_contradict_the_results() {
        let (_keep, out) = results();
        fs::remove_file(out.join("../in.csv")).unwrap();
        let (_, _, verified) = ResultsFolder::load(&out, Trust::Verified, taken).unwrap();
        assert_eq!(verified.changes, [Change::Gone("../in.csv".into())]);
        assert!(verified.contradictions().is_empty());
    }

    #[test]
    fn a_file_that_grew_is_read_no_further_than_it_takes_to_differ() {
        let (_keep, out) = results();
        fs::write(out.join("lines.jsonl"), "1\n".repeat(100_000)).unwrap();
        let mut counts = [Trust::Verified, Trust::Unverified].map(|trust| {
            let folder = ResultsFolder::open(&out, trust).unwrap();
            let mut count = 0;
            let read = folder.lines("lines.jsonl", |_: u32| count += 1);
            assert_eq!(read.is_err(), trust == Trust::Verified);
            assert!(!folder.verify().unwrap().changes.is_empty());
            count
        });
        counts.sort_unstable();
        assert_eq!(counts, [4, 100_000]);
    }

    #[test]
    fn a_manifest_that_lists_nothing_vouches_for_nothing() {
        let (_keep, out) = results();
        for key in ["outputs", "inputs"] {
            write_manifest(&out);
            let path = out.join(MANIFEST_FILE);
            let mut m: serde_json::Value =
                serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
            m[key] = serde_json::json!([]);
            fs::write(&path, m.to_string()).unwrap();
            let error = ResultsFolder::open(&out, Trust::Unverified).unwrap_err();
            assert!(error.to_string().contains(key), "{error}");
        }
    }

    #[test]
    fn a_manifest_that_leads_out_of_its_folder_is_refused() {
        let (_keep, out) = results();
        let path = out.join(MANIFEST_FILE);
        let text = fs::read_to_string(&path).unwrap();
        for name in ["../in.csv", "/etc/hosts", "lines.jsonl"] {
            fs::write(&path, text.replace("\"a.json\"", &format!("\"{name}\""))).unwrap();
            let error = ResultsFolder::open(&out, Trust::Unverified).unwrap_err();
            assert!(error.to_string().contains(name), "{error}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_that_lead_out_and_what_is_no_file_are_refused() {
        let (_keep, out) = results();
        let name = ResultName::new("a.json").unwrap();
        let path = out.join("a.json");
        let is_refused = |what: &str| {
            for trust in [Trust::Verified, Trust::Unverified] {
                let folder = ResultsFolder::open(&out, trust).unwrap();
                let error = folder.bytes(&name, SMALL).unwrap_err().to_string();
                assert!(error.contains(what), "{error}");
                let changes = folder.verify().unwrap().changes;
                let told = changes.iter().any(|c| matches!(c, Change::Refused(..)));
                assert!(told, "{changes:?}");
            }
        };
        fs::write(out.join("../same.json"), "[1, 2]").unwrap();
        fs::remove_file(&path).unwrap();
        std::os::unix::fs::symlink("../same.json", &path).unwrap();
        is_refused("leads out");
        fs::remove_file(&path).unwrap();
        std::os::unix::fs::symlink("/dev/zero", &path).unwrap();
        is_refused("leads out");
        fs::remove_file(&path).unwrap();
        fs::create_dir(&path).unwrap();
        is_refused("a folder");
    }
}
