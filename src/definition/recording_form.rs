//! How recordings are written: the `[recording]` table of a definition, or of a file of its own.
//!
//! What one logger writes is not what the next one does: semicolons, decimal commas, milliseconds, times of day, rows of
//! units, other names and other units. All of that is said here once, beside the channels or in a file that belongs to the
//! bench, and nothing is guessed: a guess that is wrong makes a good display look faulty. What a bench says stands before
//! what the definition says, key by key.

use std::collections::BTreeMap;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use toml::de::DeTable;

use super::error::{Error, Found, Places};
use super::model::Name;
use super::read::{LIMIT, not_text, syntax};
use super::shape;
use super::tree::Node;
use super::{check::recording::faults, place::At};
use crate::files::{self, FileContent};

/// How recordings of the display's inputs are written. What is absent here is as in CSV with commas, decimal points and a
/// column `t_s` in seconds.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordingForm {
    /// What kind of file it is. Absent: Parquet and JSON Lines are told by how the file begins, all else is CSV.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub format: Option<Format>,
    /// CSV: what stands between two fields. Absent: a comma, with decimal commas a semicolon.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delimiter: Option<Delimiter>,
    /// Decimal sign of numbers that are text; a point when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decimal: Option<Decimal>,
    /// CSV: lines before the header that are no part of the table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub skip_rows: Option<u32>,
    /// CSV: lines that begin so are no rows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comment: Option<String>,
    /// CSV: whether the row after the header holds units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit_row: Option<bool>,
    /// Column of the time; `t_s` when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// What the time is counted in; seconds when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_unit: Option<TimeUnit>,
    /// Zone of dates and times that carry none, as `Z` or `+01:00`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// What counts as recording time 0: a number in the unit of the column, a date and time with its zone, or `first` for
    /// the first row. Absent: 0, and of dates and times the first row.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_zero: Option<TimeZero>,
    /// What becomes of rows of the same time. Absent: they are refused, and with words on a bus the last one counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repeats: Option<Repeats>,
    /// Column of 32-bit words as they stand on a data bus, a word a row: in hexadecimal where it is text, else as a number.
    /// Bits 1 to 8 (the low byte) are the label, its highest bit in bit 1; 9 and 10 source or destination, 11 to 29 data,
    /// 30 and 31 sign and status, 32 odd parity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    /// Columns by the name that channels know them by, where the recording has another one, or other units, or words.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<Name, ColumnForm>,
}

/// A kind of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    /// Lines of fields, after a header with their names.
    Csv,
    /// A JSON object a line.
    JsonLines,
    /// Apache Parquet.
    Parquet,
}

/// What stands between two fields.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Delimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tabulator.
    Tab,
    /// `|`
    Bar,
}

impl Delimiter {
    /// The character.
    #[must_use]
    pub const fn sign(self) -> char {
        match self {
            Self::Comma => ',',
            Self::Semicolon => ';',
            Self::Tab => '\t',
            Self::Bar => '|',
        }
    }

    /// The delimiter that a character is, and what it is called here.
    #[must_use]
    pub const fn called(sign: char) -> Option<(Self, &'static str)> {
        match sign {
            ',' => Some((Self::Comma, "comma")),
            ';' => Some((Self::Semicolon, "semicolon")),
            '\t' => Some((Self::Tab, "tab")),
            '|' => Some((Self::Bar, "bar")),
            _ => None,
        }
    }
}

/// Decimal sign.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Decimal {
    /// `.`
    #[default]
    Point,
    /// `,`
    Comma,
}

/// What a time is counted in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TimeUnit {
    /// Seconds.
    #[default]
    S,
    /// Milliseconds.
    Ms,
    /// Microseconds.
    Us,
    /// Dates and times as `2031-05-04T10:00:00.02Z` (RFC 3339): with their zone, or with `time_zone`.
    Utc,
}

/// What counts as recording time 0.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum TimeZero {
    /// In the unit of the time column.
    Number(f64),
    /// `first`, or a date and time with its zone.
    Text(String),
}

/// What becomes of rows of the same time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Repeats {
    /// They are an error.
    Refuse,
    /// They are one row: of each channel the first cell with a value counts.
    First,
    /// They are one row: of each channel the last cell with a value counts.
    Last,
}

/// Where a column stands in the recording, and what its values are there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ColumnForm {
    /// What the recording calls it; the same when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The value is what the recording has, times this,
    #[serde(default = "one")]
    pub scale: f64,
    /// plus this.
    #[serde(default)]
    pub offset: f64,
    /// It stands in words on a bus, those of one label.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<WordForm>,
}

const fn one() -> f64 {
    1.0
}

/// Words of one label, and what they hold. A word with bad parity, or whose status says that the source failed, has no data
/// or is being tested, makes the value invalid.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WordForm {
    /// The label, three octal digits.
    pub label: String,
    /// Source or destination (bits 9 and 10), 0 to 3; any when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<u8>,
    /// How the value is coded.
    pub coding: Coding,
    /// Binary: the value that the sign bit stands for, twice that of the highest bit below it; the values lie from minus this
    /// up to this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_scale: Option<f64>,
    /// Binary: bits of the value below the sign, counted from bit 28 down; all 18 when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bits: Option<u8>,
    /// Discrete: first and last bit of the field.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<[u8; 2]>,
}

/// How a value is coded in a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Coding {
    /// Two's complement with its sign in bit 29. Sign and status: 0 failure, 1 no computed data, 2 functional test, 3 normal.
    Binary,
    /// Five decimal digits, the highest in bits 27 to 29, as one whole number. Sign and status: 0 plus, 1 no computed data,
    /// 2 functional test, 3 minus.
    Decimal,
    /// A field of bits as a whole number. Sign and status: 0 normal, 1 no computed data, 2 functional test, 3 failure.
    Discrete,
}

impl RecordingForm {
    /// A table that says nothing.
    pub const PLAIN: Self = Self {
        format: None,
        delimiter: None,
        decimal: None,
        skip_rows: None,
        comment: None,
        unit_row: None,
        time: None,
        time_unit: None,
        time_zone: None,
        time_zero: None,
        repeats: None,
        words: None,
        columns: BTreeMap::new(),
    };

    /// Reads the `[recording]` table of a file that has nothing else.
    ///
    /// # Errors
    /// When it cannot be read, or with everything that is wrong in it.
    pub fn load(path: &Path) -> Result<(Self, FileContent), Error> {
        let (bytes, content) = files::read(path, LIMIT).map_err(|e| Error::Unreadable {
            path: path.to_owned(),
            source: e.into_cause(),
        })?;
        let origin = path.display().to_string();
        let text = str::from_utf8(&bytes).map_err(|why| {
            let shown = String::from_utf8_lossy(&bytes);
            Places::new(&shown, &origin).error(vec![not_text(&why)])
        })?;
        let path = path.to_owned();
        Ok((
            Self::from_toml(text, &origin)?,
            FileContent { path, content },
        ))
    }

    /// Reads the `[recording]` table of a text that has nothing else. `origin` is what messages call it.
    ///
    /// # Errors
    /// With everything that is wrong in it.
    pub fn from_toml(text: &str, origin: &str) -> Result<Self, Error> {
        let places = Places::new(text, origin);
        let (root, errors) = DeTable::parse_recoverable(text);
        if !errors.is_empty() {
            return Err(places.error(errors.iter().map(|e| syntax(e, text)).collect()));
        }
        let root = Node::root(root, 0);
        let mut found = Vec::new();
        for (word, entry) in root.as_table().into_iter().flatten() {
            if word != "recording" {
                found.push(Found {
                    span: entry.key.clone(),
                    message: format!("\"{word}\" has no place in a file about recordings"),
                    help: Some("all that it says stands under [recording]".into()),
                });
            }
        }
        let Some(node) = root.get("recording") else {
            found.push(Found {
                span: 0..0,
                message: "the file has no table [recording]".into(),
                help: None,
            });
            return Err(places.error(found));
        };
        found.extend(shape::deviations_of("recording", node));
        if !found.is_empty() {
            return Err(places.error(found));
        }
        let form = Self::deserialize(node.plain());
        let form = form.map_err(|e| places.error(vec![syntax(&e, text)]))?;
        let found = faults(&form, &At::root(&root, "recording"));
        if found.is_empty() {
            Ok(form)
        } else {
            Err(places.error(found))
        }
    }

    /// What this says, and where it says nothing what `base` says.
    #[must_use]
    pub fn over(self, base: &Self) -> Self {
        let mut columns = base.columns.clone();
        columns.extend(self.columns);
        let base = base.clone();
        Self {
            format: self.format.or(base.format),
            delimiter: self.delimiter.or(base.delimiter),
            decimal: self.decimal.or(base.decimal),
            skip_rows: self.skip_rows.or(base.skip_rows),
            comment: self.comment.or(base.comment),
            unit_row: self.unit_row.or(base.unit_row),
            time: self.time.or(base.time),
            time_unit: self.time_unit.or(base.time_unit),
            time_zone: self.time_zone.or(base.time_zone),
            time_zero: self.time_zero.or(base.time_zero),
            repeats: self.repeats.or(base.repeats),
            words: self.words.or(base.words),
            columns,
        }
    }

    /// Between two fields of a line.
    #[must_use]
    pub fn delimiter(&self) -> char {
        let usual = match self.decimal() {
            Decimal::Point => Delimiter::Comma,
            Decimal::Comma => Delimiter::Semicolon,
        };
        self.delimiter.unwrap_or(usual).sign()
    }

    /// Decimal sign of numbers that are text.
    #[must_use]
    pub fn decimal(&self) -> Decimal {
        self.decimal.unwrap_or_default()
    }

    /// Name of the time column.
    #[must_use]
    pub fn time_column(&self) -> &str {
        self.time.as_deref().unwrap_or("t_s")
    }

    /// What becomes of rows of the same time.
    #[must_use]
    pub fn repeats(&self) -> Repeats {
        let usual = match self.words {
            // Words follow one another faster than most clocks of loggers tell.
            Some(_) => Repeats::Last,
            None => Repeats::Refuse,
        };
        self.repeats.unwrap_or(usual)
    }
}

impl WordForm {
    /// The label as a number; `None` when it is not one of three octal digits.
    #[must_use]
    pub fn label(&self) -> Option<u8> {
        let is_octal =
            self.label.len() == 3 && self.label.bytes().all(|b| (b'0'..=b'7').contains(&b));
        let label = is_octal.then(|| u16::from_str_radix(&self.label, 8).ok())??;
        u8::try_from(label).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrong(text: &str) -> String {
        let e = RecordingForm::from_toml(text, "bench.toml").expect_err("it is wrong");
        e.to_string()
    }

    #[test]
    fn a_bench_stands_before_the_definition_key_by_key() {
        let of = |text: &str| RecordingForm::from_toml(text, "bench.toml").unwrap();
        let base = of(
            "[recording]\ntime = \"zeit\"\ndecimal = \"comma\"\n[recording.columns]\na = { scale = 2 }\nb = { name = \"B\" }\n",
        );
        let bench = of("[recording]\ntime = \"t\"\n[recording.columns]\na = { scale = 3 }\n");
        let both = bench.over(&base);
        assert_eq!((both.time_column(), both.delimiter()), ("t", ';'));
        assert_eq!(
            (both.columns["a"].scale, both.columns["b"].name.as_deref()),
            (3.0, Some("B"))
        );
        assert_eq!(RecordingForm::PLAIN.over(&base), base);
        assert_eq!(RecordingForm::default(), RecordingForm::PLAIN);
    }

    #[test]
    fn what_is_wrong_has_its_place_and_its_way_out() {
        for (text, said) in [
            ("", "no table [recording]"),
            ("[recording]\n[display]\n", "2:2: \"display\" has no place"),
            (
                "[recording]\ndelimiter = \";\"\n",
                "expected one of comma, semicolon, tab, bar",
            ),
            (
                "[recording]\ntimeunit = \"ms\"\n",
                "did you mean \"time_unit\"?",
            ),
            (
                "[recording]\ntime = \"\"\n",
                "2:8: the time column has no name",
            ),
            (
                "[recording]\ntime_zone = \"CET\"\n",
                "expected \"Z\" or an offset such as \"+01:00\"",
            ),
            (
                "[recording]\ntime_zero = \"now\"\n",
                "2:13: \"now\" is neither",
            ),
            (
                "[recording]\ntime_zero = \"2031-05-04T10:00:00Z\"\n",
                "time_unit = \"utc\"",
            ),
            (
                "[recording]\ntime_unit = \"utc\"\ntime_zero = 5\n",
                "3:13: 5 is a number",
            ),
            ("[recording]\ncomment = \"\"\n", "2:11: "),
            ("[recording]\nskip_rows = 100000\n", "2:13: "),
            ("[recording]\ncolumns = { a = { scale = 0 } }\n", "scale 0"),
            (
                "[recording]\ncolumns = { a = { word = { label = \"203\", coding = \"decimal\" } } }\n",
                "which column holds the words",
            ),
            (
                "[recording]\nwords = \"w\"\ncolumns = { a = { word = { label = \"28\", coding = \"decimal\" } } }\n",
                "three octal digits",
            ),
            (
                "[recording]\nwords = \"w\"\ncolumns = { a = { word = { label = \"203\", coding = \"binary\" } } }\n",
                "full_scale",
            ),
            (
                "[recording]\nwords = \"w\"\ncolumns = { a = { word = { label = \"203\", coding = \"binary\", full_scale = 1, bits = 19 } } }\n",
                "1 to 18",
            ),
            (
                "[recording]\nwords = \"w\"\ncolumns = { a = { word = { label = \"203\", coding = \"discrete\" } } }\n",
                "field",
            ),
            (
                "[recording]\nwords = \"w\"\ncolumns = { a = { word = { label = \"203\", coding = \"discrete\", field = [12, 30] } } }\n",
                "11 to 29",
            ),
            (
                "[recording]\nwords = \"w\"\ncolumns = { a = { word = { label = \"203\", source = 4, coding = \"decimal\" } } }\n",
                "0 to 3",
            ),
        ] {
            assert!(wrong(text).contains(said), "{text}\n{}", wrong(text));
        }
    }
}
