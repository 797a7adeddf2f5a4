//! Whether results and their inputs are still what the manifest says.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::Path;

use super::manifest::{
    CAPTURE_LIST, Content, Error, InputRecord, MANIFEST_FILE, Manifest, folder_list, outputs,
    resolved,
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
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Changed(path) => write!(f, "changed  {path}"),
            Self::Missing(path) => write!(f, "missing  {path}"),
            Self::Extra(path) => write!(f, "extra    {path}"),
        }
    }
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

/// Hashes everything that the manifest of `folder` names, and names what is not as it was.
///
/// # Errors
/// When there is no readable manifest, or a file is there and cannot be read.
pub fn verify(folder: &Path) -> Result<Verified, Error> {
    let manifest = Manifest::load(folder)?;
    let mut found = Verified {
        changes: Vec::new(),
        without_digest: Vec::new(),
        good: 0,
        manifest_sha256: Content::of_file(&folder.join(MANIFEST_FILE))?.sha256,
    };
    let by_path = |files: Vec<super::manifest::FileRecord>| -> BTreeMap<String, Content> {
        files.into_iter().map(|f| (f.path, f.content)).collect()
    };
    let now = by_path(outputs(folder)?);
    found.compare(&by_path(manifest.outputs.clone()), &now);
    for input in &manifest.inputs {
        found.input(input, folder)?;
    }
    Ok(found)
}

impl Verified {
    fn compare<T: PartialEq>(&mut self, then: &BTreeMap<String, T>, now: &BTreeMap<String, T>) {
        let all: BTreeSet<&String> = then.keys().chain(now.keys()).collect();
        for path in all {
            match (then.get(path), now.get(path)) {
                (Some(a), Some(b)) if a == b => self.good += 1,
                (Some(_), Some(_)) => self.changes.push(Change::Changed(path.clone())),
                (Some(_), None) => self.changes.push(Change::Missing(path.clone())),
                (None, _) => self.changes.push(Change::Extra(path.clone())),
            }
        }
    }

    fn input(&mut self, input: &InputRecord, folder: &Path) -> Result<(), Error> {
        let Some(content) = &input.content else {
            self.without_digest.push(format!(
                "{} came through standard input: nothing is left to hash but the CRC-32 of each frame in frames.jsonl",
                input.role
            ));
            return Ok(());
        };
        let path = resolved(&input.path, folder);
        if !path.exists() {
            self.changes.push(Change::Missing(input.path.clone()));
        } else if input.files.is_some() {
            // Which picture of the folder changed stands in the list, which is itself an output.
            let then = std::fs::read_to_string(folder.join(CAPTURE_LIST)).unwrap_or_default();
            let (now, _) = folder_list(&path, &input.path)?;
            let mut then = parsed(&then);
            // The list has the pictures of all folders.
            let is_of_it = |name: &str| name.rsplit_once('/').is_some_and(|(f, _)| f == input.path);
            then.retain(|name, _| is_of_it(name));
            self.compare(&then, &parsed(&now));
        } else if Content::of_file(&path)? == *content {
            self.good += 1;
        } else {
            self.changes.push(Change::Changed(input.path.clone()));
        }
        Ok(())
    }
}

/// Digest by name, from lines as `sha256sum` writes them.
fn parsed(list: &str) -> BTreeMap<String, &str> {
    list.lines()
        .filter_map(|l| l.split_once("  "))
        .map(|(digest, name)| (name.to_owned(), digest))
        .collect()
}

/// Names what differs between two result folders, manifests included: nothing when they are byte for byte
/// the same.
///
/// # Errors
/// When a file cannot be read.
pub fn differences(then: &Path, now: &Path) -> Result<Vec<Change>, Error> {
    let listed = |folder: &Path| -> Result<BTreeMap<String, Content>, Error> {
        let mut all: BTreeMap<String, Content> = outputs(folder)?
            .into_iter()
            .map(|f| (f.path, f.content))
            .collect();
        let manifest = Content::of_file(&folder.join(MANIFEST_FILE))?;
        all.insert(MANIFEST_FILE.into(), manifest);
        Ok(all)
    };
    let mut found = Verified {
        changes: Vec::new(),
        without_digest: Vec::new(),
        good: 0,
        manifest_sha256: String::new(),
    };
    found.compare(&listed(then)?, &listed(now)?);
    Ok(found.changes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::manifest::{ReadFiles, make};
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
    fn a_folder_without_manifest_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(verify(folder.path()), Err(Error::Absent(_))));
    }
}
