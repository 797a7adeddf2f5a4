//! Reading regular files through a limit.

use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, Read};
use std::path::Path;

use super::content::{Content, Digest};

/// The most that a kind of file may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// What such a file is, with its article, as it stands in a message: "a capture profile".
    pub kind: &'static str,
    /// Bytes.
    pub bytes: u64,
}

/// Why a file cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The system refuses.
    #[error("cannot read \"{path}\"")]
    Read {
        /// The file.
        path: String,
        /// The system's words.
        source: io::Error,
    },
    /// A folder, a pipe, a device, a socket.
    #[error("\"{path}\" is {found}, not a regular file: give the file itself")]
    NotRegular {
        /// The file.
        path: String,
        /// What it is, with its article.
        found: &'static str,
    },
    /// Larger than its kind can be.
    #[error(
        "\"{path}\" has more than {limit} bytes, the most that {kind} may have: is it the right file?"
    )]
    TooLarge {
        /// The file.
        path: String,
        /// What it was to be.
        kind: &'static str,
        /// The most it may have.
        limit: u64,
    },
    /// Text that is none.
    #[error("\"{path}\" is not UTF-8 text: byte {at} cannot stand there")]
    NotText {
        /// The file.
        path: String,
        /// Offset of the first bad byte, from 0.
        at: usize,
    },
}

impl Error {
    /// The system's words alone where they are the cause; for whoever names the file itself.
    #[must_use]
    pub fn into_cause(self) -> io::Error {
        match self {
            Self::Read { source, .. } => source,
            other => io::Error::other(other),
        }
    }
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

fn cannot_read(path: &Path) -> impl FnOnce(io::Error) -> Error + '_ {
    move |source| Error::Read {
        path: shown(path),
        source,
    }
}

/// What a path that is no regular file leads to.
fn kind_of(metadata: &Metadata) -> &'static str {
    if metadata.is_dir() {
        return "a folder";
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        let t = metadata.file_type();
        if t.is_fifo() {
            return "a named pipe";
        }
        if t.is_char_device() || t.is_block_device() {
            return "a device";
        }
        if t.is_socket() {
            return "a socket";
        }
    }
    "something else"
}

fn check_regular(path: &Path, metadata: &Metadata) -> Result<(), Error> {
    if metadata.is_file() {
        return Ok(());
    }
    Err(Error::NotRegular {
        path: shown(path),
        found: kind_of(metadata),
    })
}

/// Opens a regular file for reading; links are followed. Never waits for the other end of a pipe.
///
/// # Errors
/// When it is not there, may not be read, or is no regular file.
pub fn open(path: &Path) -> Result<File, Error> {
    let mut options = OpenOptions::new();
    options.read(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        // A pipe that takes the file's place between the two looks is opened without waiting, then refused.
        options.custom_flags(libc::O_NONBLOCK);
    }
    check_regular(path, &std::fs::metadata(path).map_err(cannot_read(path))?)?;
    let file = options.open(path).map_err(cannot_read(path))?;
    check_regular(path, &file.metadata().map_err(cannot_read(path))?)?;
    Ok(file)
}

/// Reads a whole file, and digests what was read.
///
/// # Errors
/// As [`open`], and when it holds more than `limit`.
pub fn read(path: &Path, limit: Limit) -> Result<(Vec<u8>, Content), Error> {
    let too_large = || Error::TooLarge {
        path: shown(path),
        kind: limit.kind,
        limit: limit.bytes,
    };
    let file = open(path)?;
    let expected = file.metadata().map_or(0, |m| m.len());
    if expected > limit.bytes {
        return Err(too_large());
    }
    let mut bytes = Vec::with_capacity(usize::try_from(expected).unwrap_or(0));
    // It may grow, or tell no length.
    file.take(limit.bytes.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(cannot_read(path))?;
    if bytes.len() as u64 > limit.bytes {
        return Err(too_large());
    }
    let content = Content::of(&bytes);
    Ok((bytes, content))
}

/// Reads a whole file of text, and digests what was read.
///
/// # Errors
/// As [`read`], and when it is not UTF-8.
pub fn read_text(path: &Path, limit: Limit) -> Result<(String, Content), Error> {
    let (bytes, content) = read(path, limit)?;
    let text = String::from_utf8(bytes).map_err(|e| Error::NotText {
        path: shown(path),
        at: e.utf8_error().valid_up_to(),
    })?;
    Ok((text, content))
}

/// Reads on, and digests whatever passes.
pub struct Reader<R> {
    inner: R,
    digest: Digest,
}

impl<R: Read> Reader<R> {
    /// Begins where `inner` stands.
    pub fn new(inner: R) -> Self {
        Self {
            inner,
            digest: Digest::default(),
        }
    }

    /// Reads on to the end, and gives the digest of all that passed.
    ///
    /// # Errors
    /// When the rest cannot be read.
    pub fn content(mut self) -> io::Result<Content> {
        io::copy(&mut self, &mut io::sink())?;
        Ok(self.digest.content())
    }
}

impl<R: Read> Read for Reader<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(buffer)?;
        self.digest.update(&buffer[..n]);
        Ok(n)
    }
}

impl Content {
    /// Of a file, read once in pieces.
    ///
    /// # Errors
    /// As [`open`].
    pub fn of_file(path: &Path) -> Result<Self, Error> {
        let mut reader = io::BufReader::with_capacity(1 << 20, open(path)?);
        let mut digest = Digest::default();
        loop {
            let piece = io::BufRead::fill_buf(&mut reader).map_err(cannot_read(path))?;
            if piece.is_empty() {
                return Ok(digest.content());
            }
            digest.update(piece);
            let n = piece.len();
            io::BufRead::consume(&mut reader, n);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SMALL: Limit = Limit {
        kind: "a small thing",
        bytes: 8,
    };

    fn with_file(bytes: &[u8]) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("file");
        std::fs::write(&path, bytes).unwrap();
        (folder, path)
    }

    #[test]
    fn a_file_at_its_limit_is_read_and_one_byte_more_is_refused() {
        let (_folder, path) = with_file(b"12345678");
        let (bytes, content) = read(&path, SMALL).unwrap();
        assert_eq!((bytes.len(), content), (8, Content::of(b"12345678")));
        std::fs::write(&path, b"123456789").unwrap();
        let error = read(&path, SMALL).unwrap_err().to_string();
        assert!(error.contains("more than 8 bytes"), "{error}");
        assert!(error.contains("a small thing"), "{error}");
    }

    #[test]
    fn a_folder_and_what_never_ends_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let error = open(folder.path()).unwrap_err().to_string();
        assert!(error.contains("is a folder"), "{error}");
        #[cfg(unix)]
        {
            let error = open(Path::new("/dev/zero")).unwrap_err().to_string();
            assert!(error.contains("is a device"), "{error}");
        }
    }

    #[test]
    fn text_that_is_none_says_where() {
        let (_folder, path) = with_file(b"ab\xff");
        let error = read_text(&path, SMALL).unwrap_err().to_string();
        assert!(error.contains("byte 2"), "{error}");
    }

    #[test]
    fn a_file_in_pieces_digests_as_in_one() {
        let bytes: Vec<u8> = (0..(3 << 20) + 17u32).map(|k| (k % 251) as u8).collect();
        let (_folder, path) = with_file(&bytes);
        assert_eq!(Content::of_file(&path).unwrap(), Content::of(&bytes));
        let mut reader = Reader::new(open(&path).unwrap());
        let mut start = [0; 100];
        reader.read_exact(&mut start).unwrap();
        assert_eq!(reader.content().unwrap(), Content::of(&bytes));
    }
}
