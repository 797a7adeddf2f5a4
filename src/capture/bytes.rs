//! The bytes of a capture that come in one stream.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::error::{Error, quoted};
use super::open::Stopper;
use crate::files::{self, FileContent};

/// The bytes of a capture that come in one stream: a file, digested as it is read, or a pipe.
pub(super) struct Bytes(Kind);

enum Kind {
    File(PathBuf, files::Reader<File>),
    /// It was read to its end.
    Read(FileContent),
    Pipe(Box<dyn Read + Send>),
}

impl Bytes {
    /// From the start of the file that was opened at `path`.
    pub(super) fn of_file(path: &Path, file: File) -> Self {
        Self(Kind::File(path.to_owned(), files::Reader::new(file)))
    }

    pub(super) fn of_pipe(reader: Box<dyn Read + Send>) -> Self {
        Self(Kind::Pipe(reader))
    }

    pub(super) const fn stopper(&self) -> Stopper {
        match self.0 {
            Kind::Pipe(_) => Stopper::Impossible,
            Kind::File(..) | Kind::Read(_) => Stopper::NotNeeded,
        }
    }

    /// Reads on to the end, and tells what the file held; nothing of a pipe.
    pub(super) fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        let ended = Kind::Pipe(Box::new(io::empty()));
        let content = match std::mem::replace(&mut self.0, ended) {
            Kind::Pipe(reader) => {
                self.0 = Kind::Pipe(reader);
                return Ok(Vec::new());
            }
            Kind::Read(content) => content,
            Kind::File(path, reader) => {
                let content = reader.content().map_err(|source| Error::Open {
                    name: quoted(&path),
                    source,
                })?;
                FileContent { path, content }
            }
        };
        self.0 = Kind::Read(content.clone());
        Ok(vec![content])
    }
}

impl Read for Bytes {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match &mut self.0 {
            Kind::File(_, reader) => reader.read(buffer),
            Kind::Read(_) => Ok(0),
            Kind::Pipe(reader) => reader.read(buffer),
        }
    }
}
