//! What can be wrong with a recording, and how it is said.

use std::fmt;
use std::io;

use super::read::{MAX_LINE_BYTES, TIME_COLUMN, TIME_LIMIT_S};

/// Why a recording could not be read: a problem of the recorded inputs, or of the machine.
///
/// The text names file, line and column, what was found, what was expected and the way out.
#[derive(Debug)]
pub struct Error {
    origin: String,
    line: Option<usize>,
    column: Option<String>,
    kind: Kind,
}

/// What is wrong.
#[derive(Debug)]
pub(super) enum Kind {
    Open(io::Error),
    Read(io::Error),
    NotUtf8 {
        is_utf16: bool,
    },
    Empty,
    NoHeader {
        found: String,
    },
    Separator(char),
    NoRows,
    LongLine,
    LoneCarriageReturn,
    OpenQuote,
    NoTimeColumn {
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
        is_decimal_comma: bool,
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
        before_line: usize,
    },
    Validity {
        found: String,
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
            line: None,
            column: None,
            kind,
        }
    }

    /// An error about one line, counted from 1.
    pub(super) fn of_line(origin: &str, line: usize, kind: Kind) -> Self {
        Self {
            origin: origin.into(),
            line: Some(line),
            column: None,
            kind,
        }
    }

    /// An error about one cell.
    pub(super) fn of_cell(origin: &str, line: usize, column: &str, kind: Kind) -> Self {
        Self {
            origin: origin.into(),
            line: Some(line),
            column: Some(column.into()),
            kind,
        }
    }

    /// Line of the file, from 1, where there is one.
    #[must_use]
    pub const fn line(&self) -> Option<usize> {
        self.line
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
            Kind::Read(_) => write!(f, "cannot read recording \"{}\"", self.origin)?,
            _ => write!(f, "{}", self.origin)?,
        }
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
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
            Self::Open(_) | Self::Read(_) => Ok(()),
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
                    "the file is empty; expected a header line such as \"{TIME_COLUMN},airspeed_kt\" and rows"
                )
            }
            Self::NoHeader { found } => write!(
                f,
                "expected a header line with column names such as \"{TIME_COLUMN},airspeed_kt\", found numbers: {}; \
                 add one",
                quoted(found)
            ),
            Self::Separator(separator) => write!(
                f,
                "columns are separated by {separator:?}, expected ','; export with commas and decimal points"
            ),
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
            Self::NoTimeColumn { nearest } => write!(
                f,
                "no column \"{TIME_COLUMN}\" (seconds, rising){}; name the time column so",
                did_you_mean(nearest.as_ref())
            ),
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
                    "; correct the channels' columns, or allow what is missing (--allow-missing, in a plan allow_missing) to leave what needs them unjudged"
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
                is_decimal_comma: true,
            } => {
                write!(
                    f,
                    "{} is not a number (decimal comma?); write it with a decimal point",
                    quoted(found)
                )
            }
            Self::NotANumber {
                found,
                is_decimal_comma: false,
            } => {
                write!(
                    f,
                    "{} is not a number; leave the cell empty when there is no value",
                    quoted(found)
                )
            }
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
            Self::EmptyTime => write!(f, "the cell is empty; every row needs its time in seconds"),
            Self::TimeTooLarge { found } => {
                write!(
                    f,
                    "time {found:e} s is out of range; expected a magnitude up to {TIME_LIMIT_S:e} s (milliseconds?)"
                )
            }
            Self::TimeRepeats { time_s } => write!(
                f,
                "time {time_s} s stands already in the row before; times must rise, so keep one row for each"
            ),
            Self::TimeFalls {
                time_s,
                before_s,
                before_line,
            } => write!(
                f,
                "time falls to {time_s} s after {before_s} s on line {before_line}; sort the rows, or split the file \
                 where the clock was set back"
            ),
            Self::Validity { found } => write!(
                f,
                "{} does not say whether the value is valid; expected 1, true, yes or valid, or 0, false, no or invalid",
                quoted(found)
            ),
        }
    }
}
