//! Whether results and their inputs are still what the manifest says.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use rayon::prelude::*;

use super::manifest::{CAPTURE_LIST, InputRecord, PIPE, folder_list, resolved};
use super::results_folder::{Error, ResultsFolder, Trust};
use super::run_folder::HIDDEN;
use crate::files::{self, Content, Limit};

/// Role of an input that is a program, and no material.
const PROGRAM: &str = "ffmpeg";
/// The most that a list of a captured folder's pictures holds.
const LIST: Limit = Limit {
    kind: "a list of captured pictures",
    bytes: 128 << 20,
};

/// A file that is not as it was.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// Its bytes differ.
    Changed(String),
    /// It is not there.
    Missing(String),
    /// It is there and the manifest does not name it.
    Extra(String),
    /// What is there in its place is not read, and why.
    Refused(String, String),
    /// An input that is no longer where it was. Nothing in the results is contradicted by that.
    Gone(String),
    /// A program that took part and is another one by now, as programs are. Nor by that.
    OtherProgram(String),
}

impl Change {
    /// The file, as the manifest names it.
    #[must_use]
    pub fn path(&self) -> &str {
        match self {
            Self::Changed(path)
            | Self::Missing(path)
            | Self::Extra(path)
            | Self::Refused(path, _)
            | Self::Gone(path)
            | Self::OtherProgram(path) => path,
        }
    }
}

impl Change {
    /// The same of a folder that is called `part` here. A path that starts at the root stays as it is.
    fn below(self, part: &str) -> Self {
        let named = |path: String| {
            let path = Path::new(part).join(path);
            path.to_string_lossy().into_owned()
        };
        match self {
            Self::Changed(path) => Self::Changed(named(path)),
            Self::Missing(path) => Self::Missing(named(path)),
            Self::Extra(path) => Self::Extra(named(path)),
            Self::Refused(path, why) => Self::Refused(named(path), why),
            Self::Gone(path) => Self::Gone(named(path)),
            Self::OtherProgram(path) => Self::OtherProgram(named(path)),
        }
    }

    const fn contradicts(&self) -> bool {
        !matches!(self, Self::Gone(_) | Self::OtherProgram(_))
    }
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Changed(path) | Self::OtherProgram(path) => write!(f, "changed  {path}"),
            Self::Missing(path) | Self::Gone(path) => write!(f, "missing  {path}"),
            Self::Extra(path) => write!(f, "extra    {path}"),
            Self::Refused(path, why) => write!(f, "refused  {path}: {why}"),
        }
    }
}

/// Changes that stand in one message.
const MOST_SHOWN: usize = 5;

/// The first of some changes, and how many more there are.
#[must_use]
pub fn shown(changes: &[Change]) -> String {
    let first: Vec<String> = changes
        .iter()
        .take(MOST_SHOWN)
        .map(|c| {
            c.to_string()
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
        })
        .collect();
    let more = match changes.len().saturating_sub(MOST_SHOWN) {
        0 => String::new(),
        n => format!(", and {n} more"),
    };
    first.join(", ") + &more
}

/// What verifying found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verified {
    /// What is not as it was: outputs, then inputs, by path.
    pub changes: Vec<Change>,
    /// What has no digest, and why.
    pub without_digest: Vec<String>,
    /// Files that are as they were.
    pub good: usize,
    /// SHA-256 of the manifest itself, which nothing in the folder vouches for.
    pub manifest_sha256: String,
}

/// Digests everything that the manifest of `folder` names, and names what is not as it was.
///
/// # Errors
/// When there is no readable manifest, or it vouches for nothing.
pub fn verify(folder: &Path) -> Result<Verified, Error> {
    ResultsFolder::open(folder, Trust::Verified)?.verify()
}

impl Verified {
    /// Nothing was looked at yet but the manifest.
    pub(super) fn of_manifest(sha256: &str) -> Self {
        Self {
            changes: Vec::new(),
            without_digest: Vec::new(),
            good: 0,
            manifest_sha256: sha256.to_owned(),
        }
    }

    /// Takes in what became of one file.
    pub(super) fn count(&mut self, change: Option<Change>) {
        match change {
            None => self.good += 1,
            Some(change) => self.changes.push(change),
        }
    }

    /// Takes in what verifying the folder `part` inside of this one found.
    pub(super) fn take_in(&mut self, part: &str, found: Self) {
        self.good += found.good;
        let named = found.changes.into_iter().map(|c| c.below(part));
        self.changes.extend(named);
        let without = found.without_digest.iter().map(|w| format!("{part}: {w}"));
        self.without_digest.extend(without);
    }

    /// Brings the changes so far into the order of their paths.
    pub(super) fn sort(&mut self) {
        self.changes.sort_by(|a, b| a.path().cmp(b.path()));
    }

    /// Changes after which the results are no longer what was made of the inputs: all but inputs that are gone, and
    /// programs that are other ones by now.
    #[must_use]
    pub fn contradictions(&self) -> Vec<Change> {
        let all = self.changes.iter().filter(|c| c.contradicts());
        all.cloned().collect()
    }

    /// Inputs that nothing could be held against: the other changes.
    #[must_use]
    pub fn gone(&self) -> Vec<String> {
        let all = self.changes.iter().filter(|c| !c.contradicts());
        all.map(|c| c.path().to_owned()).collect()
    }

    fn compare<T: PartialEq>(&mut self, then: &BTreeMap<String, T>, now: &BTreeMap<String, T>) {
        let all: BTreeSet<&String> = then.keys().chain(now.keys()).collect();
        for path in all {
            self.count(match (then.get(path), now.get(path)) {
                (Some(a), Some(b)) if a == b => None,
                (Some(_), Some(_)) => Some(Change::Changed(path.clone())),
                (Some(_), None) => Some(Change::Missing(path.clone())),
                (None, _) => Some(Change::Extra(path.clone())),
            });
        }
    }
}

/// Whether anything is at `path`; what may not be looked at is taken to be there, so that opening it says why not.
fn is_there(path: &Path) -> bool {
    use std::io::ErrorKind::{NotADirectory, NotFound};
    match std::fs::metadata(path) {
        Ok(_) => true,
        Err(e) => ![NotFound, NotADirectory].contains(&e.kind()),
    }
}

/// How the file at `path`, which the manifest names `name`, differs from what it says.
pub(super) fn difference(path: &Path, name: &str, listed: &Content) -> Option<Change> {
    if !is_there(path) {
        return Some(Change::Missing(name.to_owned()));
    }
    let refused = |why: String| Some(Change::Refused(name.to_owned(), why));
    let file = match files::open(path) {
        Ok(file) => file,
        Err(e) => return refused(e.to_string()),
    };
    if file.metadata().is_ok_and(|m| m.len() != listed.bytes) {
        return Some(Change::Changed(name.to_owned()));
    }
    // It may grow meanwhile, without end.
    match files::Reader::new(file.take(listed.bytes.saturating_add(1))).content() {
        Ok(now) if now == *listed => None,
        Ok(_) => Some(Change::Changed(name.to_owned())),
        Err(e) => refused(e.to_string()),
    }
}

/// How an input of the results in `folder` differs from what the manifest says.
pub(super) fn input_changes(input: &InputRecord, folder: &Path, found: &mut Verified) {
    let name = &input.path;
    let Some(content) = &input.content else {
        found.without_digest.push(format!(
            "{} came through standard input: nothing is left to hash but the CRC-32 of each frame in frames.jsonl",
            input.role
        ));
        return;
    };
    let path = resolved(name, folder);
    if name == PIPE {
        let why = "standard input has no digest".to_owned();
        found.count(Some(Change::Refused(name.clone(), why)));
    } else if !is_there(&path) {
        found.count(Some(Change::Gone(name.clone())));
    } else if input.files.is_some() {
        folder_changes(input, content, folder, found);
    } else {
        found.count(match difference(&path, name, content) {
            Some(Change::Changed(name)) if input.role == PROGRAM => {
                Some(Change::OtherProgram(name))
            }
            change => change,
        });
    }
}

/// How an input that is a folder of pictures differs.
fn folder_changes(input: &InputRecord, content: &Content, folder: &Path, found: &mut Verified) {
    let now = match folder_list(&resolved(&input.path, folder), &input.path) {
        Ok((now, _)) => now,
        Err(e) => {
            let change = Change::Refused(input.path.clone(), e.to_string());
            return found.count(Some(change));
        }
    };
    // Which picture of the folder changed stands in the list, which is itself an output.
    let then = files::read_text(&folder.join(CAPTURE_LIST), LIST).map_or(String::new(), |t| t.0);
    let mut then = parsed(&then);
    // The list has the pictures of all folders.
    let is_of_it = |name: &str| name.rsplit_once('/').is_some_and(|(f, _)| f == input.path);
    then.retain(|name, _| is_of_it(name));
    let before = found.changes.len();
    found.compare(&then, &parsed(&now));
    // The list alone vouches for nothing: its digest must be the one that the manifest has of the folder.
    if found.changes.len() == before && Content::of(now.as_bytes()) != *content {
        found.count(Some(Change::Changed(input.path.clone())));
    }
}

/// Digest by name, from lines as `sha256sum` writes them.
fn parsed(list: &str) -> BTreeMap<String, &str> {
    list.lines()
        .filter_map(|l| l.split_once("  "))
        .map(|(digest, name)| (name.to_owned(), digest))
        .collect()
}

/// Names of everything in `folder` that is not a folder, in order, `/` between parts. Links are not followed.
pub(super) fn names_below(folder: &Path) -> std::io::Result<Vec<String>> {
    let mut names = Vec::new();
    let mut todo = vec![(folder.to_path_buf(), String::new())];
    while let Some((next, prefix)) = todo.pop() {
        for entry in std::fs::read_dir(&next)? {
            let entry = entry?;
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            if name == HIDDEN {
                // Of a run that was killed, or is under way.
                continue;
            }
            if entry.file_type()?.is_dir() {
                todo.push((entry.path(), name + "/"));
            } else {
                names.push(name);
            }
        }
    }
    names.sort_unstable();
    Ok(names)
}

/// Names what differs between two result folders, manifests included: nothing when they are byte for byte
/// the same.
///
/// # Errors
/// When a file cannot be read.
pub fn differences(then: &Path, now: &Path) -> Result<Vec<Change>, Error> {
    let digests = |folder: &Path| -> Result<BTreeMap<String, Content>, Error> {
        let names = names_below(folder).map_err(|source| Error::Read {
            path: folder.display().to_string(),
            source,
        })?;
        names
            .into_par_iter()
            .map(|name| Ok((name.clone(), Content::of_file(&folder.join(name))?)))
            .collect()
    };
    let mut found = Verified::of_manifest("");
    found.compare(&digests(then)?, &digests(now)?);
    Ok(found.changes)
}

/// Number, from 1, of the first line of the file `part` that is not the same in the file `whole`; `None` when that begins
/// with all of it.
///
/// # Errors
/// When one cannot be read.
pub fn first_other_line(part: &Path, whole: &Path) -> Result<Option<u64>, Error> {
    let open = |path: &Path| files::open(path).map(BufReader::new);
    let failed = |path: &Path| {
        let path = path.display().to_string();
        move |source| Error::Read { path, source }
    };
    let (mut of_part, mut of_whole) = (open(part)?, open(whole)?);
    let mut number = 1;
    loop {
        // Piece by piece: a line may have any length.
        let piece = of_part.fill_buf().map_err(failed(part))?;
        let other = of_whole.fill_buf().map_err(failed(whole))?;
        if piece.is_empty() {
            return Ok(None);
        }
        let count = piece.len().min(other.len());
        let same = piece.iter().zip(other).take_while(|(a, b)| a == b).count();
        number += piece[..same].iter().filter(|b| **b == b'\n').count() as u64;
        if same < count || count == 0 {
            return Ok(Some(number));
        }
        of_part.consume(count);
        of_whole.consume(count);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::manifest::{self, MANIFEST_FILE, ReadFiles, make, outputs};
    use crate::files::FileContent;
    use std::fs;

    fn results() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("out");
        fs::create_dir_all(out.join("events")).unwrap();
        fs::create_dir_all(folder.path().join("frames")).unwrap();
        fs::create_dir_all(folder.path().join("more")).unwrap();
        for (name, text) in [
            ("in.csv", "t_s\n"),
            ("frames/a.png", "a"),
            ("frames/b.PNG", "b"),
            ("frames/notes.txt", "not hashed"),
            ("more/a.png", "another"),
            ("out/summary.json", "{}"),
            ("out/events/e.png", "e"),
        ] {
            fs::write(folder.path().join(name), text).unwrap();
        }
        let read = |name: &str| {
            let path = folder.path().join(name);
            let content = Content::of_file(&path).unwrap();
            FileContent { path, content }
        };
        let mut inputs = ReadFiles::default();
        let mut add = |role, name: &str, files: &[&str]| {
            let held: Vec<FileContent> = files.iter().map(|f| read(f)).collect();
            inputs.add(role, &folder.path().join(name), &held).unwrap();
        };
        add("inputs", "in.csv", &["in.csv"]);
        add("capture", "frames", &["frames/a.png", "frames/b.PNG"]);
        add("capture", "more", &["more/a.png"]);
        let written = outputs(&out).unwrap();
        let m = make(&out, &out, "check", vec![], &inputs, written).unwrap();
        fs::write(out.join(MANIFEST_FILE), m.to_json().unwrap()).unwrap();
        folder
    }

    #[test]
    fn what_nobody_touched_verifies_even_when_it_was_moved() {
        let folder = results();
        assert_eq!(verify(&folder.path().join("out")).unwrap().changes, []);
        let other = tempfile::tempdir().unwrap();
        let moved = other.path().join("elsewhere");
        fs::rename(folder.path(), &moved).unwrap();
        let found = verify(&moved.join("out")).unwrap();
        assert_eq!((found.changes, found.good), (vec![], 7));
        fs::create_dir(folder.path()).unwrap();
    }

    #[test]
    fn every_change_is_named() {
        let folder = results();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("out/summary.json"), "{ }").unwrap();
        fs::write(at("out/more.txt"), "").unwrap();
        fs::write(at("frames/b.PNG"), "c").unwrap();
        fs::remove_file(at("out/events/e.png")).unwrap();
        fs::remove_file(at("in.csv")).unwrap();
        let changes = verify(&at("out")).unwrap().changes;
        let told: Vec<String> = changes.iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "missing  events/e.png",
                "extra    more.txt",
                "changed  summary.json",
                "missing  ../in.csv",
                "changed  ../frames/b.PNG"
            ]
        );
    }

    #[test]
    fn a_list_of_pictures_that_was_changed_with_them_is_noticed() {
        let folder = results();
        let at = |name: &str| folder.path().join(name);
        let old = Content::of(b"b").sha256;
        fs::write(at("frames/b.PNG"), "c").unwrap();
        let list = fs::read_to_string(at("out/capture.sha256")).unwrap();
        let list = list.replace(&old, &Content::of(b"c").sha256);
        fs::write(at("out/capture.sha256"), list).unwrap();
        let changes = verify(&at("out")).unwrap().changes;
        let told: Vec<String> = changes.iter().map(ToString::to_string).collect();
        assert_eq!(told, ["changed  capture.sha256", "changed  ../frames"]);
    }

    #[test]
    fn another_ffmpeg_by_now_is_told_and_contradicts_nothing() {
        let folder = results();
        let path = folder.path().join("out").join(MANIFEST_FILE);
        let text = fs::read_to_string(&path).unwrap();
        let text = text.replacen("\"role\": \"inputs\"", "\"role\": \"ffmpeg\"", 1);
        fs::write(&path, text).unwrap();
        fs::write(folder.path().join("in.csv"), "u_s\n").unwrap();
        let found = verify(&folder.path().join("out")).unwrap();
        let told: Vec<String> = found.changes.iter().map(ToString::to_string).collect();
        assert_eq!(told, ["changed  ../in.csv"]);
        assert_eq!(
            (found.contradictions(), found.gone()),
            (vec![], vec!["../in.csv".into()])
        );
    }

    #[cfg(unix)]
    #[test]
    fn an_input_that_never_ends_is_refused_without_being_read() {
        let folder = results();
        let path = folder.path().join("out").join(MANIFEST_FILE);
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, text.replace("../in.csv", "/dev/zero")).unwrap();
        let changes = verify(&folder.path().join("out")).unwrap().changes;
        let told = changes[0].to_string();
        assert!(told.starts_with("refused  /dev/zero: "), "{told}");
        assert!(told.contains("is a device"), "{told}");
    }

    #[test]
    fn a_part_is_held_against_the_beginning_of_the_whole() {
        let folder = tempfile::tempdir().unwrap();
        let [part, whole] = ["part", "whole"].map(|n| folder.path().join(n));
        // More than what is read at once.
        let long: String = (0..5000).map(|k| format!("line {k}\n")).collect();
        for (of_part, of_whole, line) in [
            ("a\nb\n", "a\nb\nc\n", None),
            ("a\nb\n", "a\nb\n", None),
            ("", "a\n", None),
            ("a\nb\n", "a\nc\n", Some(2)),
            ("a\nb\n", "a\n", Some(2)),
            ("a\n", "", Some(1)),
            (&long, &long.replace("line 4321", "line 432x"), Some(4322)),
        ] {
            fs::write(&part, of_part).unwrap();
            fs::write(&whole, of_whole).unwrap();
            assert_eq!(first_other_line(&part, &whole).unwrap(), line);
        }
    }

    #[test]
    fn a_folder_without_manifest_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let error = verify(folder.path()).unwrap_err();
        let is_absent = matches!(error, Error::Manifest(manifest::Error::Absent(_)));
        assert!(is_absent, "{error}");
        let none = verify(&folder.path().join("none")).unwrap_err();
        assert!(none.to_string().contains("there is no folder"), "{none}");
    }
}
