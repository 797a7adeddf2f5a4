//! Whether what is read and what is written are different files.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A file would be read and written in one run.
#[derive(Debug, thiserror::Error)]
#[error(
    "\"{input}\" goes in and \"{output}\" would be written over, and they are one file: choose another --out; nothing was touched"
)]
pub struct SharedFile {
    /// As it goes in.
    pub input: String,
    /// As it would come out.
    pub output: String,
}

/// What tells a file from every other, however it is named: symbolic and hard links lead to the same.
#[cfg(unix)]
fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    let metadata = std::fs::metadata(path).ok()?;
    metadata.is_file().then(|| (metadata.dev(), metadata.ino()))
}

/// What tells a file from every other; hard links are not seen through here.
#[cfg(not(unix))]
fn identity(path: &Path) -> Option<PathBuf> {
    let full = std::fs::canonicalize(path).ok()?;
    full.is_file().then_some(full)
}

/// Makes sure that no file of `inputs` is one of `outputs`. Of a folder that goes in, each of its files does. What is
/// not there yet is no other file; what is no regular file keeps nothing that could be lost.
///
/// # Errors
/// With the first file that is both.
pub fn refuse_shared<'a>(
    inputs: impl IntoIterator<Item = &'a Path>,
    outputs: impl IntoIterator<Item = PathBuf>,
) -> Result<(), SharedFile> {
    let written: BTreeMap<_, PathBuf> = outputs
        .into_iter()
        .filter_map(|path| Some((identity(&path)?, path)))
        .collect();
    if written.is_empty() {
        return Ok(());
    }
    let refuse = |input: &Path| match identity(input).and_then(|i| written.get(&i)) {
        None => Ok(()),
        Some(output) => Err(SharedFile {
            input: input.display().to_string(),
            output: output.display().to_string(),
        }),
    };
    for input in inputs {
        refuse(input)?;
        // Not a folder, or one that cannot be listed: whoever reads it says so.
        for entry in std::fs::read_dir(input).into_iter().flatten().flatten() {
            refuse(&entry.path())?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_file_by_two_names_is_found_and_a_copy_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("in.csv"), "t_s").unwrap();
        std::fs::copy(at("in.csv"), at("copy.csv")).unwrap();
        std::fs::hard_link(at("in.csv"), at("hard.csv")).unwrap();
        let shared =
            |input: PathBuf, output: &str| refuse_shared([input.as_path()], [at(output)]).is_err();
        assert!(shared(at("in.csv"), "in.csv"));
        assert!(!shared(at("in.csv"), "copy.csv"));
        assert!(!shared(at("in.csv"), "none.csv"));
        assert!(!shared(at("none.csv"), "none.csv"));
        #[cfg(unix)]
        {
            assert!(shared(at("in.csv"), "hard.csv"));
            std::os::unix::fs::symlink(at("in.csv"), at("soft.csv")).unwrap();
            assert!(shared(at("in.csv"), "soft.csv"));
            assert!(shared(at("soft.csv"), "hard.csv"));
            assert!(!shared(PathBuf::from("/dev/null"), "in.csv"));
        }
        // Each file of a folder goes in.
        assert!(shared(folder.path().to_owned(), "copy.csv"));
    }
}
