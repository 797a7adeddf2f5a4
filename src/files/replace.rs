//! Writing one file whole or not at all, and only over what the program wrote itself.

use std::fs::OpenOptions;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use super::read::open;

/// A kind of file that is written by itself, not into a folder of results.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// What it is, with its article: "a capture profile".
    pub name: &'static str,
    /// What stands within the first `HEAD_BYTES` of each such file, and of no other.
    pub mark: &'static str,
}

/// Where a mark is looked for, bytes.
pub const HEAD_BYTES: u64 = 1024;

/// Why a file was not written.
#[derive(Debug, thiserror::Error)]
pub enum ReplaceError {
    /// Something else stands there.
    #[error(
        "\"{path}\" is there and is not {kind} that framevouch wrote: choose another --out, or give --force to have it replaced"
    )]
    Foreign {
        /// The file.
        path: String,
        /// What was to be written.
        kind: &'static str,
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

/// Makes sure that `path` may become a file of this kind: nothing is there, or one that the program wrote, or
/// nothing that could be lost (a pipe, a device), or the user insists.
///
/// # Errors
/// When something else is there.
pub fn refuse_foreign(path: &Path, kind: Kind, is_forced: bool) -> Result<(), ReplaceError> {
    let is_foreign = || -> io::Result<bool> {
        let mut head = Vec::new();
        open(path)
            .map_err(io::Error::other)?
            .take(HEAD_BYTES)
            .read_to_end(&mut head)?;
        let mark = kind.mark.as_bytes();
        Ok(!head.is_empty() && !head.windows(mark.len()).any(|w| w == mark))
    };
    // One that cannot be read cannot be known as our own.
    if !is_forced && path.is_file() && is_foreign().unwrap_or(true) {
        return Err(ReplaceError::Foreign {
            path: path.display().to_string(),
            kind: kind.name,
        });
    }
    Ok(())
}

/// Writes `bytes` to `path` under the conditions of [`refuse_foreign`]. What was there stays until the new file is
/// whole. A symbolic link stays one.
///
/// # Errors
/// When something else is there, or it cannot be written.
pub fn replace(path: &Path, bytes: &[u8], kind: Kind, is_forced: bool) -> Result<(), ReplaceError> {
    refuse_foreign(path, kind, is_forced)?;
    write_whole(path, bytes).map_err(|source| ReplaceError::Write {
        path: path.display().to_string(),
        source,
    })
}

fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if path.exists() && !path.is_file() {
        // A pipe or a device takes what it is given, and a folder refuses.
        return std::fs::write(path, bytes);
    }
    let target = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let folder = match target.parent() {
        Some(p) if p != Path::new("") => p.to_owned(),
        _ => PathBuf::from("."),
    };
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As a new file has them: the user's mask is applied to it.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let mut new = builder.prefix(".framevouch").tempfile_in(folder)?;
    new.write_all(bytes)?;
    new.as_file().sync_data()?;
    new.persist(target)?;
    Ok(())
}

/// Makes sure that what the file at `path` holds is on the disk. Whoever then gives it the name of an older file
/// never has less than one of both, even when the machine stops.
///
/// # Errors
/// When it cannot be written.
pub fn sync(path: &Path) -> io::Result<()> {
    // Not every system syncs what is open for reading alone.
    OpenOptions::new().write(true).open(path)?.sync_data()
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOTE: Kind = Kind {
        name: "a note",
        mark: "note of ours",
    };

    #[test]
    fn only_what_we_wrote_or_nothing_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("note");
        replace(&path, b"note of ours, 1", NOTE, false).unwrap();
        replace(&path, b"note of ours, 2", NOTE, false).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"note of ours, 2");
        std::fs::write(&path, "theirs").unwrap();
        let error = replace(&path, b"note of ours", NOTE, false).unwrap_err();
        assert!(error.to_string().contains("--force"), "{error}");
        assert_eq!(std::fs::read(&path).unwrap(), b"theirs");
        replace(&path, b"note of ours, 3", NOTE, true).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"note of ours, 3");
        // Nothing else is left.
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_one_and_a_new_file_is_open_to_others_as_the_mask_says() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let (path, link) = (folder.path().join("note"), folder.path().join("link"));
        std::fs::write(folder.path().join("usual"), "").unwrap();
        replace(&path, b"note of ours, 1", NOTE, false).unwrap();
        std::os::unix::fs::symlink(&path, &link).unwrap();
        replace(&link, b"note of ours, 2", NOTE, false).unwrap();
        assert!(link.is_symlink());
        assert_eq!(std::fs::read(&path).unwrap(), b"note of ours, 2");
        let mode = |p: &Path| std::fs::metadata(p).unwrap().permissions().mode();
        assert_eq!(mode(&path), mode(&folder.path().join("usual")));
        replace(Path::new("/dev/null"), b"note of ours", NOTE, false).unwrap();
    }
}
