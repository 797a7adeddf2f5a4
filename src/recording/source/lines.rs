//! Lines of a text with their numbers.
//!
//! A line ends with LF or CRLF and has a limit, so that a file that is none is refused before it fills memory.

use std::io::{BufRead, Read as _};

use crate::recording::error::{Error, Kind, MAX_LINE_BYTES, Place};

/// Lines of a file with their numbers.
pub(super) struct Lines<'o, R> {
    reader: R,
    origin: &'o str,
    bytes: Vec<u8>,
    /// The line that [`next`](Self::next) went to.
    text: String,
    number: usize,
}

impl<'o, R: BufRead> Lines<'o, R> {
    pub(super) const fn new(reader: R, origin: &'o str) -> Self {
        Self {
            reader,
            origin,
            bytes: Vec::new(),
            text: String::new(),
            number: 0,
        }
    }

    /// The next line, without its end; false at the end of the file.
    pub(super) fn advance(&mut self) -> Result<bool, Error> {
        self.bytes.clear();
        self.number += 1;
        let limit = MAX_LINE_BYTES as u64 + 2;
        let taken = self
            .reader
            .by_ref()
            .take(limit)
            .read_until(b'\n', &mut self.bytes);
        if taken.map_err(|e| self.wrong(Kind::Read(e)))? == 0 {
            return Ok(false);
        }
        if self.number == 1 {
            if self.bytes.starts_with(&[0xff, 0xfe]) || self.bytes.starts_with(&[0xfe, 0xff]) {
                return Err(self.wrong(Kind::NotUtf8 { is_utf16: true }));
            }
            if self.bytes.starts_with(&[0xef, 0xbb, 0xbf]) {
                self.bytes.drain(..3);
            }
        }
        while matches!(self.bytes.last(), Some(b'\n' | b'\r')) {
            self.bytes.pop();
        }
        if self.bytes.len() > MAX_LINE_BYTES {
            return Err(self.wrong(Kind::LongLine));
        }
        Ok(true)
    }

    /// The next line that is not blank; false at the end of the file.
    pub(super) fn next(&mut self) -> Result<bool, Error> {
        loop {
            if !self.advance()? {
                return Ok(false);
            }
            if self.bytes.iter().all(u8::is_ascii_whitespace) {
                continue;
            }
            // Two buffers take turns, so that each line is looked at for UTF-8 once.
            let spent = std::mem::take(&mut self.text).into_bytes();
            match String::from_utf8(std::mem::replace(&mut self.bytes, spent)) {
                Ok(text) => self.text = text,
                Err(_) => return Err(self.wrong(Kind::NotUtf8 { is_utf16: false })),
            }
            if self.text.contains('\r') {
                return Err(self.wrong(Kind::LoneCarriageReturn));
            }
            return Ok(true);
        }
    }

    /// The line that [`next`](Self::next) went to.
    pub(super) fn text(&self) -> &str {
        &self.text
    }

    pub(super) const fn place(&self) -> Place {
        Place::Line(self.number)
    }

    /// An error about the line.
    pub(super) fn wrong(&self, kind: Kind) -> Error {
        Error::at(self.origin, self.place(), kind)
    }
}
