//! Where rows come from: a file a kind of recording, all behind one trait.
//!
//! A source knows rows and columns, and nothing of channels: it names its columns, goes from row to row, and gives the cells
//! of the row that it stands at. What a cell means to a channel is the reader's business (`read`).

mod csv;
mod json_lines;
mod lines;
#[cfg(feature = "parquet")]
mod parquet;

use std::io::{BufRead, Read};

use super::error::{Error, Kind, Place};
use crate::definition::recording_form::{Format, RecordingForm};

/// What stands in one cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell<'s> {
    /// Nothing.
    Empty,
    /// As it is written, without blanks round it; never empty.
    Text(&'s str),
    /// A number that the file holds as one.
    #[cfg_attr(
        not(feature = "parquet"),
        expect(dead_code, reason = "text has no numbers")
    )]
    Number(f64),
    /// A truth that the file holds as one.
    Truth(bool),
    /// A date and time that the file holds as one: nanoseconds since the beginning of 1970, and whether that is UTC.
    #[cfg_attr(
        not(feature = "parquet"),
        expect(dead_code, reason = "text has no dates")
    )]
    Moment { ns: i128, is_utc: bool },
    /// What no channel can use, in words: "a list".
    Unusable(&'static str),
}

/// The rows of a recording, one after the other.
pub(super) trait Source {
    /// Names of the columns; those without a name are empty.
    fn columns(&self) -> &[String];

    /// Where the names of the columns stand.
    fn names_at(&self) -> Place;

    /// Says which columns will be asked for, by their indices; those of others are [`Cell::Empty`] from here on.
    fn want(&mut self, columns: &[usize]);

    /// Goes to the next row; false when there is none.
    fn next(&mut self) -> Result<bool, Error>;

    /// Where the row stands.
    fn place(&self) -> Place;

    /// A cell of the row.
    fn cell(&self, column: usize) -> Cell<'_>;
}

/// The most that a recording may hold which has to be in memory as a whole, bytes.
const WHOLE_BYTES: u64 = 1 << 30;

/// Opens a recording; `origin` is what errors call it.
pub(super) fn open<'r>(
    mut reader: impl BufRead + 'r,
    origin: &'r str,
    form: &'r RecordingForm,
) -> Result<Box<dyn Source + 'r>, Error> {
    let begin = reader
        .fill_buf()
        .map_err(|e| Error::of_file(origin, Kind::Read(e)))?;
    Ok(match form.format.unwrap_or_else(|| format_of(begin)) {
        Format::Csv => Box::new(csv::Csv::open(reader, origin, form)?),
        Format::JsonLines => Box::new(json_lines::JsonLines::open(whole(reader, origin)?, origin)?),
        #[cfg(feature = "parquet")]
        Format::Parquet => Box::new(parquet::Parquet::open(whole(reader, origin)?, origin)?),
        #[cfg(not(feature = "parquet"))]
        Format::Parquet => return Err(Error::of_file(origin, Kind::NoParquet)),
    })
}

/// The kind of file that begins so.
fn format_of(begin: &[u8]) -> Format {
    if begin.starts_with(b"PAR1") {
        return Format::Parquet;
    }
    let text = begin.strip_prefix(b"\xef\xbb\xbf").unwrap_or(begin);
    match text.trim_ascii_start() {
        [b'{', ..] => Format::JsonLines,
        _ => Format::Csv,
    }
}

/// All bytes of a recording that is not read row by row.
fn whole(reader: impl Read, origin: &str) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::new();
    let mut reader = reader.take(WHOLE_BYTES + 1);
    reader
        .read_to_end(&mut bytes)
        .map_err(|e| Error::of_file(origin, Kind::Read(e)))?;
    if bytes.len() as u64 > WHOLE_BYTES {
        return Err(Error::of_file(origin, Kind::TooLarge { most: WHOLE_BYTES }));
    }
    Ok(bytes)
}
