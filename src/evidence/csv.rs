//! `events.csv` and `readings.csv`: the same figures as in the JSON records, for spreadsheets.
//!
//! A spreadsheet takes text that begins like a formula for one, and names in a definition are anybody's text. All rows
//! go through `row`, where such text gets an apostrophe in front; numbers stay numbers.

use std::borrow::Cow;
use std::io::Write;

use serde::{Serialize, Serializer};

use super::records::FrameRecord;
use crate::judge::event::{Event, name};

/// Columns of `events.csv`.
pub const EVENT_COLUMNS: [&str; 24] = [
    "event",
    "class",
    "regions",
    "onset_s",
    "detected_s",
    "end_s",
    "first_frame",
    "last_frame",
    "best_frame",
    "hazard",
    "action",
    "channel",
    "displayed",
    "expected",
    "unit",
    "requirement",
    "remarks",
    "delay_s",
    "missing_px",
    "foreign_px",
    "color_samples",
    "place",
    "symbol",
    "things",
];

/// Columns of `readings.csv`.
pub const READING_COLUMNS: [&str; 10] = [
    "frame",
    "time_s",
    "region",
    "channel",
    "what",
    "displayed",
    "expected",
    "error",
    "standard_error",
    "unit",
];

/// A field of a row.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell<'a> {
    Text(Cow<'a, str>),
    Count(u64),
    Real(f64),
}

impl<'a> Cell<'a> {
    /// Text as it stands, but for what a spreadsheet would take for a formula: that begins with an apostrophe.
    pub(super) fn text(text: impl Into<Cow<'a, str>>) -> Self {
        let text = text.into();
        let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
        Self::Text(if is_formula {
            format!("'{text}").into()
        } else {
            text
        })
    }

    fn seconds(v: f64) -> Self {
        Self::Real(super::records::rounded(v))
    }
}

impl Serialize for Cell<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Text(text) => serializer.serialize_str(text),
            Self::Count(n) => serializer.serialize_u64(*n),
            Self::Real(v) => serializer.serialize_f64(*v),
        }
    }
}

/// Writes a row; every table goes through here.
pub(super) fn row<W: Write>(writer: &mut csv::Writer<W>, cells: &[Cell]) -> Result<(), csv::Error> {
    writer.serialize(cells)
}

/// Events as a table; the number of an event is its place in `events.json`, from 0.
///
/// # Errors
/// When memory takes no more.
pub fn events_csv(events: &[Event]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(EVENT_COLUMNS)?;
    for (k, e) in events.iter().enumerate() {
        let worst = e.worst_error.as_ref();
        let nothing = || Cell::text("");
        row(
            &mut writer,
            &[
                Cell::Count(k as u64),
                Cell::text(name(e.class)),
                Cell::text(e.regions.join(" ")),
                Cell::seconds(e.onset_s),
                Cell::seconds(e.detected_s),
                Cell::seconds(e.end_s),
                Cell::Count(e.first_frame),
                Cell::Count(e.last_frame),
                Cell::Count(e.best_frame),
                Cell::text(word(&e.hazard)),
                Cell::text(word(&e.action)),
                worst.map_or_else(nothing, |w| Cell::text(&w.channel)),
                worst.map_or_else(nothing, |w| Cell::Real(w.displayed)),
                worst.map_or_else(nothing, |w| Cell::Real(w.expected)),
                worst.map_or_else(nothing, |w| Cell::text(&w.unit)),
                Cell::text(&e.requirement),
                Cell::text(e.remarks.join("; ")),
                Cell::seconds(e.detected_s - e.onset_s),
                Cell::Count(e.picture_error.missing_px.into()),
                Cell::Count(e.picture_error.foreign_px.into()),
                Cell::Count(e.picture_error.color_samples.into()),
                e.place.map_or_else(nothing, |[x, y, width, height]| {
                    Cell::text(format!("{x} {y} {width} {height}"))
                }),
                e.symbol.as_deref().map_or_else(nothing, Cell::text),
                e.things_in_words().map_or_else(nothing, Cell::text),
            ],
        )?;
    }
    writer
        .into_inner()
        .map_err(|e| csv::Error::from(e.into_error()))
}

/// An enum's word in the JSON records.
pub(crate) fn word<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_value(value)
        .ok()
        .and_then(|v| v.as_str().map(str::to_owned))
        .unwrap_or_default()
}

/// Writes `readings.csv` frame by frame.
pub struct ReadingsWriter<W: Write> {
    writer: csv::Writer<W>,
}

impl<W: Write> ReadingsWriter<W> {
    /// Writes the header.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(inner: W) -> Result<Self, csv::Error> {
        let mut writer = csv::Writer::from_writer(inner);
        writer.write_record(READING_COLUMNS)?;
        Ok(Self { writer })
    }

    /// A row a reading.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn frame(&mut self, record: &FrameRecord) -> Result<(), csv::Error> {
        for (region, r) in &record.regions {
            for reading in &r.readings {
                row(
                    &mut self.writer,
                    &[
                        Cell::Count(record.frame),
                        Cell::Real(record.time_s),
                        Cell::text(region),
                        Cell::text(&reading.channel),
                        Cell::text(&reading.what),
                        Cell::Real(reading.displayed),
                        Cell::Real(reading.expected),
                        Cell::Real(reading.error),
                        Cell::Real(reading.standard_error),
                        Cell::text(&reading.unit),
                    ],
                )?;
            }
        }
        Ok(())
    }

    /// Everything is written.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(mut self) -> std::io::Result<()> {
        self.writer.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::report::tests::event;

    #[test]
    fn an_event_is_a_row_and_quotes_are_kept() {
        let mut e = event("misleading", "speed", 1.0);
        e.remarks = vec!["a \"quoted\", remark".into()];
        let text = String::from_utf8(events_csv(&[e]).unwrap()).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let row = reader.records().next().unwrap().unwrap();
        assert_eq!(&row[1], "misleading");
        assert_eq!(&row[16], "a \"quoted\", remark");
        assert_eq!(&row[17], "0.32");
    }

    #[test]
    fn no_text_is_a_formula_and_numbers_stay_numbers() {
        let mut e = event("misleading", "=speed", -1.5);
        e.requirement = "+R".into();
        e.remarks = vec!["@a".into()];
        e.worst_error = Some(crate::judge::event::WorstError {
            channel: "-c".into(),
            displayed: -3.25,
            expected: 0.0,
            unit: "\tkt".into(),
            frame: None,
            display: None,
        });
        let text = String::from_utf8(events_csv(&[e]).unwrap()).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let cells = reader.records().next().unwrap().unwrap();
        for (k, shown) in [
            (2, "'=speed"),
            (3, "-1.5"),
            (11, "'-c"),
            (12, "-3.25"),
            (14, "'\tkt"),
            (15, "'+R"),
            (16, "'@a"),
        ] {
            assert_eq!(&cells[k], shown, "{}", EVENT_COLUMNS[k]);
        }
        assert_eq!(Cell::text("\rx"), Cell::Text("'\rx".into()));
        assert_eq!(Cell::text("a=b"), Cell::Text("a=b".into()));
    }

    #[test]
    fn a_reading_is_a_row() {
        let record: FrameRecord = serde_json::from_str(
            r#"{"frame":3,"time_s":0.12,"crc32":1,"verdict":"agrees","regions":{"a":{"verdict":"agrees",
            "staleness_ms":null,"staleness_se_ms":null,"readings":[{"channel":"c","what":"pointer","displayed":1.5,
            "expected":1.0,"error":0.5,"standard_error":0.1,"unit":"kt"}]}}}"#,
        )
        .unwrap();
        let mut bytes = Vec::new();
        let mut writer = ReadingsWriter::new(&mut bytes).unwrap();
        writer.frame(&record).unwrap();
        writer.finish().unwrap();
        assert_eq!(
            String::from_utf8(bytes).unwrap(),
            "frame,time_s,region,channel,what,displayed,expected,error,standard_error,unit\n\
             3,0.12,a,c,pointer,1.5,1.0,0.5,0.1,kt\n"
        );
    }
}
