//! `manifest.json`: what was run, on what, and what came out, each file with its SHA-256 and CRC-32.
//!
//! Paths are stored relative to the result folder where both lie under one folder, so that results which
//! are moved together with their inputs still verify, and so that the file holds no more of the machine
//! than it must. A capture that is a folder of pictures has one line here; its files are listed in
//! [`CAPTURE_LIST`], in the format of `sha256sum`. What comes through a pipe has no file to hash: the CRC-32
//! of each frame in `frames.jsonl` is all there is.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::records::CAUTION;
use super::run_folder::{HIDDEN, is_moved_in_part};
use crate::capture::TIMES_FILE;
use crate::definition::Definition;
pub use crate::files::Content;
use crate::files::{self, FileContent, Limit};

/// Version of the manifest. Readers refuse files of a later version; fields may be added within one, and
/// readers skip those that they do not know.
pub const MANIFEST_VERSION: u32 = 1;
/// The manifest's name in a result folder.
pub const MANIFEST_FILE: &str = "manifest.json";
/// The list of a captured folder's pictures.
pub const CAPTURE_LIST: &str = "capture.sha256";
/// The most that a manifest holds.
const MANIFEST_LIMIT: Limit = Limit {
    kind: "a manifest",
    bytes: 64 << 20,
};
/// Stands for standard input.
pub const PIPE: &str = "-";

/// `manifest.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Manifest {
    /// Version of the manifest.
    pub manifest_version: u32,
    /// The program.
    pub tool: String,
    /// Its version.
    pub version: String,
    /// Source revision, where it was known when the program was built (`FRAMEVOUCH_REVISION`).
    pub revision: Option<String>,
    /// Caution that goes with every result.
    pub caution: String,
    /// The command: says what kind of folder this is.
    pub command: String,
    /// Its arguments, normalised: in a fixed order, paths as below, without the result folder.
    pub arguments: Vec<String>,
    /// What went in.
    pub inputs: Vec<InputRecord>,
    /// What came out, by path.
    pub outputs: Vec<FileRecord>,
}

/// What went in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct InputRecord {
    /// `display`, `font`, `inputs`, `capture`, `profile`, ...
    pub role: String,
    /// Relative to the result folder where possible, `/` between parts; `-` for standard input.
    pub path: String,
    /// Its bytes; absent for standard input. Of a folder: those of the list of its files.
    pub content: Option<Content>,
    /// Number of files, when it is a folder.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub files: Option<u64>,
}

/// A file that came out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FileRecord {
    /// Relative to the result folder, `/` between parts.
    pub path: String,
    /// Its bytes.
    #[serde(flatten)]
    pub content: Content,
}

/// What is wrong with a manifest or what it names.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A file cannot be read.
    #[error("cannot read \"{path}\"")]
    Read {
        /// The file.
        path: String,
        /// The system's words.
        source: std::io::Error,
    },
    /// A file cannot be written.
    #[error("cannot write \"{path}\"")]
    Write {
        /// The file.
        path: String,
        /// The system's words.
        source: std::io::Error,
    },
    /// A file cannot be digested.
    #[error(transparent)]
    File(#[from] files::Error),
    /// The folder itself is not there.
    #[error("there is no folder \"{0}\"")]
    NoFolder(String),
    /// A folder holds no manifest.
    #[error(
        "\"{0}\" holds no {MANIFEST_FILE}: it is no result folder, or was made by a version before there were manifests; run the check again"
    )]
    Absent(String),
    /// A run was ended while it moved its results in.
    #[error(
        "a run was ended while it moved its results into \"{0}\": run the same command there again, which finishes that"
    )]
    Interrupted(String),
    /// It is not a manifest.
    #[error("\"{path}\": {what}")]
    Form {
        /// The file.
        path: String,
        /// What is wrong.
        what: String,
    },
    /// It was written by a later version.
    #[error(
        "\"{path}\" has version {found}, this program reads up to {MANIFEST_VERSION}; use a later framevouch"
    )]
    Later {
        /// The file.
        path: String,
        /// Its version.
        found: u32,
    },
}

fn cannot_read(path: &Path) -> impl FnOnce(std::io::Error) -> Error + '_ {
    move |source| Error::Read {
        path: path.display().to_string(),
        source,
    }
}

/// A file that held one thing when a run read it first, and another when it read it again.
#[derive(Debug, thiserror::Error)]
#[error(
    "\"{0}\" changed while it was read: what was found in it vouches for nothing; run again when nobody writes to it"
)]
pub struct ChangedFile(pub String);

/// What a run has read, as it was read.
#[derive(Clone, Debug, Default)]
pub struct ReadFiles {
    list: Vec<ReadInput>,
    seen: BTreeMap<PathBuf, Content>,
}

#[derive(Clone, Debug)]
struct ReadInput {
    input: Input,
    held: Vec<FileContent>,
}

/// What goes in, before it is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// `display`, `font`, ...
    pub role: &'static str,
    /// Where it lies; `-` for standard input.
    pub path: PathBuf,
}

impl Input {
    /// The file at `path` as `role`.
    #[must_use]
    pub fn new(role: &'static str, path: impl Into<PathBuf>) -> Self {
        Self {
            role,
            path: path.into(),
        }
    }
}

impl ReadFiles {
    /// Adds what was read at `path` as `role`: of a file what it held, of a folder what each of its files held, of
    /// standard input nothing.
    ///
    /// # Errors
    /// As [`see`](Self::see).
    pub fn add(
        &mut self,
        role: &'static str,
        path: &Path,
        held: &[FileContent],
    ) -> Result<(), ChangedFile> {
        self.see(held)?;
        self.list.push(ReadInput {
            input: Input::new(role, path),
            held: held.to_vec(),
        });
        Ok(())
    }

    /// Adds a file that was read.
    ///
    /// # Errors
    /// As [`see`](Self::see).
    pub fn add_file(&mut self, role: &'static str, file: &FileContent) -> Result<(), ChangedFile> {
        self.add(role, &file.path, std::slice::from_ref(file))
    }

    /// Adds a definition and its font, artwork and requirements files.
    ///
    /// # Errors
    /// As [`see`](Self::see).
    pub fn add_definition(&mut self, definition: &Definition) -> Result<(), ChangedFile> {
        self.add_display(definition)?;
        self.add_fonts(definition)
    }

    /// Adds a definition and the files that it includes, without its font, artwork and requirements files.
    ///
    /// # Errors
    /// As [`see`](Self::see).
    pub fn add_display(&mut self, definition: &Definition) -> Result<(), ChangedFile> {
        self.add_parts(definition, &["display", "include"])
    }

    /// Adds the font, artwork and requirements files of a definition.
    ///
    /// # Errors
    /// As [`see`](Self::see).
    pub fn add_fonts(&mut self, definition: &Definition) -> Result<(), ChangedFile> {
        self.add_parts(definition, &["font", "artwork", "requirements"])
    }

    fn add_parts(&mut self, definition: &Definition, roles: &[&str]) -> Result<(), ChangedFile> {
        let files = definition.contents().iter();
        let mut files = files.filter(|f| roles.contains(&f.role));
        files.try_for_each(|f| self.add_file(f.role, &f.file))
    }

    /// What was added that is one file: its role, and what it held.
    pub fn files(&self) -> impl Iterator<Item = (&'static str, &Content)> {
        self.list.iter().filter_map(|read| match &*read.held {
            [file] if file.path == read.input.path => Some((read.input.role, &file.content)),
            _ => None,
        })
    }

    /// Takes note of files that were read, perhaps once more.
    ///
    /// # Errors
    /// When one held something else before.
    pub fn see(&mut self, held: &[FileContent]) -> Result<(), ChangedFile> {
        for file in held {
            let before = self
                .seen
                .entry(file.path.clone())
                .or_insert_with(|| file.content.clone());
            if *before != file.content {
                return Err(ChangedFile(file.path.display().to_string()));
            }
        }
        Ok(())
    }
}

/// Makes the manifest of results whose files are `outputs`, which will stand at `home`: paths are relative to that.
/// Writes [`CAPTURE_LIST`] into `folder`, and adds it to the results, when an input is a folder.
///
/// # Errors
/// When the list cannot be written.
pub fn make(
    folder: &Path,
    home: &Path,
    command: &str,
    arguments: Vec<String>,
    inputs: &ReadFiles,
    mut outputs: Vec<FileRecord>,
) -> Result<Manifest, Error> {
    let mut pictures = String::new();
    let inputs = inputs
        .list
        .iter()
        .map(|read| input_record(read, home, &mut pictures))
        .collect();
    if !pictures.is_empty() {
        let list = folder.join(CAPTURE_LIST);
        std::fs::write(&list, &pictures).map_err(|source| Error::Write {
            path: list.display().to_string(),
            source,
        })?;
        outputs.push(FileRecord {
            path: CAPTURE_LIST.into(),
            content: Content::of(pictures.as_bytes()),
        });
    }
    outputs.sort_unstable_by(|a, b| a.path.cmp(&b.path));
    Ok(Manifest {
        manifest_version: MANIFEST_VERSION,
        tool: "framevouch".into(),
        version: env!("CARGO_PKG_VERSION").into(),
        revision: option_env!("FRAMEVOUCH_REVISION").map(str::to_owned),
        caution: CAUTION.into(),
        command: command.into(),
        arguments,
        inputs,
        outputs,
    })
}

/// Adds the pictures of an input that is a folder to the list `pictures`.
fn input_record(read: &ReadInput, home: &Path, pictures: &mut String) -> InputRecord {
    let ReadInput { input, held } = read;
    let role = input.role.to_owned();
    let path = stored_path(&input.path, home);
    match held.as_slice() {
        [] => InputRecord {
            role,
            path,
            content: None,
            files: None,
        },
        [file] if file.path == input.path => InputRecord {
            role,
            path,
            content: Some(file.content.clone()),
            files: None,
        },
        files => {
            let mut names: Vec<(String, &str)> = files
                .iter()
                .map(|f| {
                    let name = f.path.file_name().unwrap_or_default();
                    (
                        name.to_string_lossy().into_owned(),
                        f.content.sha256.as_str(),
                    )
                })
                .collect();
            names.sort_unstable();
            let lines = names.iter().map(|(n, sha256)| list_line(sha256, &path, n));
            let text = lines.collect::<String>();
            pictures.push_str(&text);
            InputRecord {
                role,
                path,
                content: Some(Content::of(text.as_bytes())),
                files: Some(files.len() as u64),
            }
        }
    }
}

/// A file of a folder, as `sha256sum` writes it.
fn list_line(sha256: &str, folder: &str, name: &str) -> String {
    format!("{sha256}  {folder}/{name}\n")
}

/// The pictures of a captured folder and its table of times, hashed: lines as `sha256sum` writes them, and
/// their number. `path` is what the folder is called in them.
///
/// # Errors
/// When one cannot be read.
pub fn folder_list(folder: &Path, path: &str) -> Result<(String, u64), Error> {
    let is_frame = |name: &str| {
        let is_png = Path::new(name)
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("png"));
        is_png || name == TIMES_FILE
    };
    let names: Vec<String> = files_below(folder, false)?
        .into_iter()
        .filter(|n| is_frame(n))
        .collect();
    let lines: Vec<String> = names
        .par_iter()
        .map(|name| {
            let content = Content::of_file(&folder.join(name))?;
            Ok(list_line(&content.sha256, path, name))
        })
        .collect::<Result<_, Error>>()?;
    Ok((lines.concat(), names.len() as u64))
}

/// All files of a result folder but its manifest, hashed, by path.
///
/// # Errors
/// When one cannot be read.
pub fn outputs(folder: &Path) -> Result<Vec<FileRecord>, Error> {
    outputs_that(folder, &|_| true)
}

/// The files of a result folder that `is_result` names, hashed, by path.
///
/// # Errors
/// When one cannot be read.
pub fn outputs_that(
    folder: &Path,
    is_result: &dyn Fn(&str) -> bool,
) -> Result<Vec<FileRecord>, Error> {
    let mut names = files_below(folder, true)?;
    names.retain(|n| n != MANIFEST_FILE && is_result(n));
    hashed(folder, names)
}

fn hashed(folder: &Path, names: Vec<String>) -> Result<Vec<FileRecord>, Error> {
    names
        .into_par_iter()
        .map(|path| {
            let content = Content::of_file(&folder.join(&path))?;
            Ok(FileRecord { path, content })
        })
        .collect()
}

/// Names of the files in `folder`, in order, `/` between parts. What a run that was
/// killed left in [`HIDDEN`] is nobody's result.
fn files_below(folder: &Path, is_deep: bool) -> Result<Vec<String>, Error> {
    let mut names = Vec::new();
    let mut todo = vec![(folder.to_path_buf(), String::new())];
    while let Some((next, prefix)) = todo.pop() {
        for entry in std::fs::read_dir(&next).map_err(cannot_read(&next))? {
            let entry = entry.map_err(cannot_read(&next))?;
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            let path = entry.path();
            if !path.is_dir() {
                names.push(name);
            } else if is_deep && name != HIDDEN {
                todo.push((entry.path(), name + "/"));
            }
        }
    }
    names.sort_unstable();
    Ok(names)
}

/// `path` as the manifest of a folder at `home` stores it: relative to `home` when both lie under one
/// folder other than the root, else in full.
#[must_use]
pub fn stored_path(path: &Path, home: &Path) -> String {
    if path == Path::new(PIPE) {
        return PIPE.into();
    }
    let full = |p: &Path| std::fs::canonicalize(p).unwrap_or_else(|_| p.to_path_buf());
    let (path, home) = (full(path), full(home));
    let (a, b): (Vec<Component>, Vec<Component>) =
        (path.components().collect(), home.components().collect());
    let shared = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let has_named = a[..shared]
        .iter()
        .any(|c| matches!(c, Component::Normal(_)));
    let parts: Vec<String> = if has_named {
        std::iter::repeat_n("..".to_owned(), b.len() - shared)
            .chain(
                a[shared..]
                    .iter()
                    .map(|c| c.as_os_str().to_string_lossy().into_owned()),
            )
            .collect()
    } else {
        return path.to_string_lossy().into_owned();
    };
    parts.join("/")
}

/// Where a stored path lies, for results in `folder`.
#[must_use]
pub fn resolved(stored: &str, folder: &Path) -> PathBuf {
    if stored == PIPE {
        PIPE.into()
    } else {
        folder.join(stored)
    }
}

impl Manifest {
    /// Reads the manifest of `folder`, and digests what was read.
    ///
    /// # Errors
    /// When there is none, it is damaged or of a later version.
    pub fn read(folder: &Path) -> Result<(Self, Content), Error> {
        let path = folder.join(MANIFEST_FILE);
        if !folder.is_dir() {
            return Err(Error::NoFolder(folder.display().to_string()));
        }
        if !path.is_file() {
            let folder_name = folder.display().to_string();
            return Err(if is_moved_in_part(folder) {
                Error::Interrupted(folder_name)
            } else {
                Error::Absent(folder_name)
            });
        }
        let (bytes, content) = files::read(&path, MANIFEST_LIMIT)?;
        let shown = path.display().to_string();
        // The version first: a later one may differ in everything else.
        #[derive(Deserialize)]
        struct Version {
            manifest_version: u32,
        }
        let form = |e: serde_json::Error| Error::Form {
            path: path.display().to_string(),
            what: format!("not a manifest: {e}"),
        };
        let version: Version = serde_json::from_slice(&bytes).map_err(form)?;
        if version.manifest_version > MANIFEST_VERSION {
            return Err(Error::Later {
                path: shown,
                found: version.manifest_version,
            });
        }
        Ok((serde_json::from_slice(&bytes).map_err(form)?, content))
    }

    /// As it stands in the file.
    ///
    /// # Errors
    /// When memory takes no more.
    pub fn to_json(&self) -> serde_json::Result<String> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }

    /// Whether this program, in this version and revision, wrote it.
    #[must_use]
    pub fn is_of_this_program(&self) -> bool {
        (self.version.as_str(), self.revision.as_deref())
            == (
                env!("CARGO_PKG_VERSION"),
                option_env!("FRAMEVOUCH_REVISION"),
            )
    }

    /// Whether the run could be repeated: everything that went in is a file.
    #[must_use]
    pub fn is_repeatable(&self) -> bool {
        self.inputs.iter().all(|i| i.content.is_some())
    }

    /// The command line that makes these results again, begun in the result folder; `NEW` stands for the
    /// new results' folder.
    #[must_use]
    pub fn command_line(&self) -> String {
        let words = self.arguments.iter().map(|a| quoted(a));
        let mut all = vec![self.tool.clone(), self.command.clone()];
        all.extend(words);
        all.extend(["--out".into(), "NEW".into()]);
        all.join(" ")
    }
}

/// A word as a shell takes it.
fn quoted(word: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "-_./:=+,@%".contains(c);
    if !word.is_empty() && word.chars().all(is_plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_relative_where_both_lie_under_one_folder() {
        let folder = tempfile::tempdir().unwrap();
        let home = folder.path().join("out/deep");
        std::fs::create_dir_all(&home).unwrap();
        let input = folder.path().join("in.csv");
        std::fs::write(&input, "").unwrap();
        assert_eq!(stored_path(&input, &home), "../../in.csv");
        assert_eq!(stored_path(Path::new("-"), &home), "-");
        let found = std::fs::canonicalize(resolved("../../in.csv", &home)).unwrap();
        assert_eq!(found, std::fs::canonicalize(&input).unwrap());
    }

    #[test]
    fn a_file_that_held_two_things_in_one_run_is_named() {
        let file = |path: &str, text: &str| FileContent {
            path: path.into(),
            content: Content::of(text.as_bytes()),
        };
        let mut read = ReadFiles::default();
        read.add_file("inputs", &file("r.csv", "a")).unwrap();
        let frames = [file("f/1.png", "1"), file("f/2.png", "2")];
        read.add("capture", Path::new("f"), &frames).unwrap();
        // Read again, all or in part.
        read.see(&frames).unwrap();
        read.see(&[file("r.csv", "a")]).unwrap();
        let error = read.see(&[file("f/2.png", "3")]).unwrap_err();
        assert!(error.to_string().contains("\"f/2.png\" changed"), "{error}");
        let folder = tempfile::tempdir().unwrap();
        let made = make(folder.path(), folder.path(), "check", vec![], &read, vec![]).unwrap();
        assert_eq!(made.inputs[0].content, Some(Content::of(b"a")));
        assert_eq!((made.inputs[1].files, made.outputs.len()), (Some(2), 1));
        let list = std::fs::read_to_string(folder.path().join(CAPTURE_LIST)).unwrap();
        assert_eq!(made.inputs[1].content, Some(Content::of(list.as_bytes())));
        assert_eq!(list.lines().count(), 2);
    }

    #[test]
    fn words_are_quoted_for_a_shell() {
        assert_eq!(quoted("../a.toml"), "../a.toml");
        assert_eq!(quoted("a b"), "'a b'");
        assert_eq!(quoted("it's"), r"'it'\''s'");
    }

    #[test]
    fn a_later_version_is_refused_and_new_fields_are_skipped() {
        let folder = tempfile::tempdir().unwrap();
        let mut m = make(
            folder.path(),
            folder.path(),
            "check",
            vec![],
            &ReadFiles::default(),
            vec![],
        )
        .unwrap();
        let write = |m: &Manifest, more: &str| {
            let text = m.to_json().unwrap().replacen('{', more, 1);
            std::fs::write(folder.path().join(MANIFEST_FILE), text).unwrap();
        };
        write(&m, "{\"new_field\": 1,");
        assert_eq!(Manifest::read(folder.path()).unwrap().0, m);
        m.manifest_version = MANIFEST_VERSION + 1;
        write(&m, "{");
        let error = Manifest::read(folder.path()).unwrap_err();
        assert!(error.to_string().contains("use a later"), "{error}");
    }
}
