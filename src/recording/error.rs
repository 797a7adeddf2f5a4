//! What can be wrong with a recording, and how it is said.

use std::fmt;
use std::io;

use super::clock::TIME_LIMIT_S;
use crate::definition;
use crate::definition::recording_form::Decimal;

/// Longest line, bytes: room for tens of thousands of columns.
pub(super) const MAX_LINE_BYTES: usize = 1 << 20;

/// Why a recording could not be read: a problem of the recorded inputs, or of the machine.
///
/// The text names file, line and column, what was found, what was expected and the way out.
#[derive(Debug)]
pub struct Error {
    origin: String,
    place: Option<Place>,
    column: Option<String>,
    kind: Kind,
}

/// Where something stands in a recording, from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// A line of text.
    Line(usize),
    /// A row of a file that has no lines; 0 is what stands before the first row.
    #[cfg_attr(not(feature = "parquet"), expect(dead_code, reason = "text has lines"))]
    Row(usize),
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(line) => write!(f, "line {line}"),
            Self::Row(row) => write!(f, "row {row}"),
        }
    }
}

/// What is wrong.
#[derive(Debug)]
pub(super) enum Kind {
    /// The file that says how it is written.
    Form(definition::Error),
    Open(io::Error),
    Read(io::Error),
    NotUtf8 {
        is_utf16: bool,
    },
    Empty,
    NoHeader {
        found: String,
    },
    Separator {
        found: char,
        called: &'static str,
        expected: char,
    },
    #[cfg_attr(feature = "parquet", expect(dead_code, reason = "it can be read"))]
    NoParquet,
    #[cfg_attr(
        not(feature = "parquet"),
        expect(dead_code, reason = "it cannot be read")
    )]
    Damaged {
        what: String,
    },
    TooLarge {
        most: u64,
    },
    TooManyColumns {
        most: usize,
    },
    NotJson {
        what: String,
        column: usize,
    },
    MemberTwice,
    NoRows,
    LongLine,
    LoneCarriageReturn,
    OpenQuote,
    NoTimeColumn {
        wanted: String,
        nearest: Option<String>,
    },
    MissingColumns(Vec<MissingColumn>),
    DuplicateColumn {
        first: usize,
        second: usize,
    },
    FieldCount {
        found: usize,
        expected: usize,
    },
    NotANumber {
        found: String,
        /// The other decimal sign makes it one.
        written_with: Option<Decimal>,
    },
    /// The time of the first row.
    FirstIsNoNumber {
        found: String,
    },
    NotFinite {
        found: String,
    },
    Overflow {
        found: String,
    },
    EmptyTime,
    TimeTooLarge {
        found: f64,
    },
    TimeRepeats {
        time_s: f64,
    },
    TimeFalls {
        time_s: f64,
        before_s: f64,
        before: Place,
    },
    ZeroUnlikeTimes,
    IsAStamp {
        found: String,
    },
    NotAStamp {
        found: String,
    },
    NoZone {
        found: String,
    },
    Validity {
        found: String,
    },
    /// A cell of a kind that has no use there.
    Unusable {
        what: &'static str,
        wanted: &'static str,
    },
    TextOfNumbers {
        column: String,
        channel: String,
    },
    NotAWord {
        found: String,
    },
    NoDigit {
        word: u32,
        bits: [u8; 2],
        digit: u32,
    },
    SilentLabels {
        channels: Vec<String>,
    },
    /// A table of the definition that no file is given for.
    NoTable {
        table: String,
    },
    /// A file for a table that the definition has not.
    UnknownTable {
        table: String,
        known: Vec<String>,
    },
    NoKeyColumn {
        wanted: String,
        nearest: Option<String>,
    },
    NoKey,
    KeyRepeats {
        key: String,
        time_s: f64,
    },
    NoSlot {
        key: String,
        table: String,
    },
}

/// A column that the definition names and the file lacks.
#[derive(Debug)]
pub(super) struct MissingColumn {
    pub(super) column: String,
    pub(super) channel: String,
    pub(super) is_validity: bool,
    pub(super) nearest: Option<String>,
}

/// Longest piece of a file that an error quotes, characters.
const QUOTED_CHARS: usize = 40;

/// A piece of the file in quotes: cut when long, with control characters made visible.
pub(super) fn quoted(text: &str) -> String {
    let mut piece: String = text.chars().take(QUOTED_CHARS).collect();
    if piece.len() < text.len() {
        piece.push_str("...");
    }
    format!("{piece:?}")
}

impl Error {
    /// An error about the whole file.
    pub(super) fn of_file(origin: &str, kind: Kind) -> Self {
        Self {
            origin: origin.into(),
            place: None,
            column: None,
            kind,
        }
    }

    /// An error about the file that says how recordings are written.
    pub(super) fn of_form(error: definition::Error) -> Self {
        Self::of_file("", Kind::Form(error))
    }

    /// An error about one line or row.
    pub(super) fn at(origin: &str, place: Place, kind: Kind) -> Self {
        Self {
            origin: origin.into(),
            place: Some(place),
            column: None,
            kind,
        }
    }

    /// The same about one cell of it.
    pub(super) fn in_column(self, column: &str) -> Self {
        Self {
            column: Some(column.into()),
            ..self
        }
    }

    /// Line of the file, from 1, where there is one.
    #[must_use]
    pub const fn line(&self) -> Option<usize> {
        match self.place {
            Some(Place::Line(line)) => Some(line),
            Some(Place::Row(_)) | None => None,
        }
    }

    /// Column name, where there is one.
    #[must_use]
    pub fn column(&self) -> Option<&str> {
        self.column.as_deref()
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            Kind::Open(_) => return write!(f, "cannot open recording \"{}\"", self.origin),
            Kind::Form(ref error) => return error.fmt(f),
            Kind::Read(_) => write!(f, "cannot read recording \"{}\"", self.origin)?,
            _ => write!(f, "{}", self.origin)?,
        }
        match self.place {
            Some(Place::Line(line)) => write!(f, ":{line}")?,
            Some(Place::Row(0)) | None => {}
            Some(Place::Row(row)) => write!(f, ", row {row}")?,
        }
        if let Some(column) = &self.column {
            write!(f, ", column {}", quoted(column))?;
        }
        match self.kind {
            Kind::Read(_) => Ok(()),
            _ => write!(f, ": {}", self.kind),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &self.kind {
            Kind::Open(cause) | Kind::Read(cause) => Some(cause),
            Kind::Form(error) => error.source(),
            _ => None,
        }
    }
}

fn did_you_mean(nearest: Option<&String>) -> String {
    nearest.map_or_else(String::new, |name| {
        format!(" (did you mean {}?)", quoted(name))
    })
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Open(_) | Self::Read(_) | Self::Form(_) => Ok(()),
            Self::NotUtf8 { is_utf16: true } => {
                write!(
                    f,
                    "the file is UTF-16, expected UTF-8; save it as \"CSV UTF-8\""
                )
            }
            Self::NotUtf8 { is_utf16: false } => {
                write!(
                    f,
                    "the line is not UTF-8 text; save the file as UTF-8 (is it a CSV file at all?)"
                )
            }
            Self::Empty => {
                write!(
                    f,
                    "the file is empty; expected a header line such as \"t_s,airspeed_kt\" and rows"
                )
            }
            Self::NoHeader { found } => write!(
                f,
                "expected a header line with column names such as \"t_s,airspeed_kt\", found numbers: {}; \
                 add one",
                quoted(found)
            ),
            Self::Separator {
                found,
                called,
                expected,
            } => write!(
                f,
                "columns are separated by {found:?}, expected {expected:?}; say delimiter = \"{called}\" in [recording]"
            ),
            Self::NoParquet => write!(
                f,
                "the file is Parquet, which this program was built without (feature \"parquet\"); export as CSV"
            ),
            Self::Damaged { what } => write!(
                f,
                "the file is no Parquet file that can be read: {what}; write it anew, or export as CSV"
            ),
            Self::TooLarge { most } => write!(
                f,
                "the file has more than {most} bytes, the most that JSON Lines and Parquet may have; cut it into pieces, or \
                 export as CSV"
            ),
            Self::TooManyColumns { most } => write!(
                f,
                "up to here there are more than {most} different names; expected the same names in every row, and data \
                 in their values"
            ),
            Self::NotJson { what, column } => write!(
                f,
                "the line is no JSON object, at its character {column}: {what}; expected one such as \
                 {{\"t_s\": 0.02, \"airspeed_kt\": 61.5}}, one a line"
            ),
            Self::MemberTwice => write!(f, "the line has this name twice; remove one"),
            Self::NoRows => write!(
                f,
                "the file has a header line and no rows; expected at least one"
            ),
            Self::LongLine => {
                write!(
                    f,
                    "the line is longer than {MAX_LINE_BYTES} bytes; expected one row a line, ended by LF or CRLF"
                )
            }
            Self::LoneCarriageReturn => {
                write!(
                    f,
                    "a carriage return stands inside of the line; end lines with LF or CRLF"
                )
            }
            Self::OpenQuote => write!(
                f,
                "a quote mark is opened and not closed on this line; close it or remove it"
            ),
            Self::NoTimeColumn { wanted, nearest } => {
                let named = nearest.as_deref().unwrap_or("...");
                write!(
                    f,
                    "no time column {}{}; say time = {} in [recording]",
                    quoted(wanted),
                    did_you_mean(nearest.as_ref()),
                    quoted(named)
                )
            }
            Self::MissingColumns(missing) => {
                let lists_many = missing.len() > 1;
                write!(
                    f,
                    "the display needs {} that the file lacks:",
                    if lists_many { "columns" } else { "a column" }
                )?;
                for (k, m) in missing.iter().enumerate() {
                    let role = if m.is_validity { "validity of " } else { "" };
                    write!(
                        f,
                        "{} {} for {role}channel {}",
                        if k == 0 { "" } else { "," },
                        quoted(&m.column),
                        quoted(&m.channel)
                    )?;
                    f.write_str(&did_you_mean(m.nearest.as_ref()))?;
                }
                write!(
                    f,
                    "; correct the channels' columns, say what the recording calls them in [recording.columns], or allow what is missing (--allow-missing, in a plan allow_missing) to leave what needs them unjudged"
                )
            }
            Self::DuplicateColumn { first, second } => {
                write!(
                    f,
                    "the name stands twice in the header, as fields {first} and {second}; rename or remove one"
                )
            }
            Self::FieldCount { found, expected } => {
                write!(f, "{found} fields, expected {expected} as in the header")?;
                match found.cmp(expected) {
                    std::cmp::Ordering::Less => write!(f, " (is the line cut off?)"),
                    _ => write!(
                        f,
                        " (decimal commas? use decimal points, and quote text that holds a comma)"
                    ),
                }
            }
            Self::NotANumber {
                found,
                written_with,
            } => {
                write!(f, "{} is not a number", quoted(found))?;
                match written_with {
                    Some(Decimal::Comma) => write!(
                        f,
                        " (decimal comma?); write it with a decimal point, or say decimal = \"comma\" in [recording]"
                    ),
                    Some(Decimal::Point) => write!(
                        f,
                        " with a decimal comma (decimal point?); write all numbers alike, or take decimal = \"comma\" out \
                         of [recording]"
                    ),
                    None => write!(f, "; leave the cell empty when there is no value"),
                }
            }
            Self::FirstIsNoNumber { found } => write!(
                f,
                "{} is not a number; if the row holds units, say unit_row = true in [recording]",
                quoted(found)
            ),
            Self::NotFinite { found } => write!(
                f,
                "{} is not a finite number; leave the cell empty when there is no value, or use a validity column",
                quoted(found)
            ),
            Self::Overflow { found } => {
                write!(
                    f,
                    "{} is too large for a number; expected a magnitude up to {:e}",
                    quoted(found),
                    f64::MAX
                )
            }
            Self::EmptyTime => write!(f, "the cell is empty; every row needs its time"),
            Self::TimeTooLarge { found } => {
                write!(
                    f,
                    "time {found:e} s is out of range; expected a magnitude up to {TIME_LIMIT_S:e} s (milliseconds? say \
                     time_unit = \"ms\" in [recording])"
                )
            }
            Self::TimeRepeats { time_s } => write!(
                f,
                "time {time_s} s stands already in the row before; times must rise, so keep one row for each, or say in \
                 [recording] which one counts (repeats = \"first\" or \"last\")"
            ),
            Self::TimeFalls {
                time_s,
                before_s,
                before,
            } => write!(
                f,
                "time falls to {time_s} s after {before_s} s on {before}; sort the rows, or split the file \
                 where the clock was set back"
            ),
            Self::ZeroUnlikeTimes => write!(
                f,
                "the time is of another kind than time_zero in [recording]: one is a number, the other a date and time; give \
                 the zero as times are"
            ),
            Self::IsAStamp { found } => write!(
                f,
                "{} is a date and time, expected a number; say time_unit = \"utc\" in [recording]",
                quoted(found)
            ),
            Self::NotAStamp { found } => write!(
                f,
                "{} is no date and time, expected one such as 2031-05-04T10:00:00.02Z; say in [recording] what the time is \
                 counted in (time_unit)",
                quoted(found)
            ),
            Self::NoZone { found } => write!(
                f,
                "{} has no zone; say which one is meant, as time_zone = \"Z\" or \"+01:00\" in [recording]",
                quoted(found)
            ),
            Self::Unusable { what, wanted } => write!(f, "found {what}, expected {wanted}"),
            Self::TextOfNumbers { column, channel } => write!(
                f,
                "channel {} is text, and its column {} has a scale, an offset or words of a bus in [recording.columns]; take \
                 these out, or make the channel one of numbers",
                quoted(channel),
                quoted(column)
            ),
            Self::NotAWord { found } => write!(
                f,
                "{} is no 32-bit word, expected up to eight hexadecimal digits such as E00190A1",
                quoted(found)
            ),
            Self::NoDigit {
                word,
                bits: [first, last],
                digit,
            } => write!(
                f,
                "word {word:08X} has {digit} in bits {first} to {last}, where a decimal digit was expected; is its value coded \
                 in binary?"
            ),
            Self::SilentLabels { channels } => {
                let channels: Vec<_> = channels.iter().map(|c| quoted(c)).collect();
                write!(
                    f,
                    "no word has the label (and source) of {}; correct them in [recording.columns], or allow what is missing \
                     (--allow-missing, in a plan allow_missing)",
                    channels.join(", ")
                )
            }
            Self::NoTable { table } => write!(
                f,
                "the display reads a table {}, and no file is given for it; give it (--table {table}=FILE, in a plan tables), or \
                 allow what is missing (--allow-missing, in a plan allow_missing)",
                quoted(table)
            ),
            Self::UnknownTable { table, known } => {
                let known: Vec<_> = known.iter().map(|t| quoted(t)).collect();
                write!(f, "the display has no table {}", quoted(table))?;
                match &known[..] {
                    [] => write!(f, "; it has none at all"),
                    known => write!(f, "; it has {}", known.join(", ")),
                }
            }
            Self::NoKeyColumn { wanted, nearest } => write!(
                f,
                "no column {}{}, which says what each row is of; correct the table's key, or say what the recording calls it in \
                 [recording.columns]",
                quoted(wanted),
                did_you_mean(nearest.as_ref())
            ),
            Self::NoKey => write!(f, "the cell is empty; every row says what it is of"),
            Self::KeyRepeats { key, time_s } => write!(
                f,
                "{} has a row for {time_s} s already; keep one, or say in [recording] which one counts (repeats = \"first\" or \
                 \"last\")",
                quoted(key)
            ),
            Self::NoSlot { key, table } => write!(
                f,
                "{} is one too many: all slots of {} are taken at that time; raise slots of [tables.{table}]",
                quoted(key),
                quoted(table)
            ),
            Self::Validity { found } => write!(
                f,
                "{} does not say whether the value is valid; expected 1, true, yes or valid, or 0, false, no or invalid",
                quoted(found)
            ),
        }
    }
}
