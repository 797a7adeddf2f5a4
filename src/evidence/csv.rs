//! `events.csv` and `readings.csv`: the same figures as in the JSON records, for spreadsheets.

use std::io::Write;

use super::records::FrameRecord;
use crate::judge::events::{Event, name};

/// Columns of `events.csv`.
pub const EVENT_COLUMNS: [&str; 21] = [
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

/// Events as a table; the number of an event is its place in `events.json`, from 0.
///
/// # Errors
/// When memory takes no more.
pub fn events_csv(events: &[Event]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(EVENT_COLUMNS)?;
    for (k, e) in events.iter().enumerate() {
        let worst = |f: fn(&crate::judge::events::WorstError) -> String| {
            e.worst_error.as_ref().map_or(String::new(), f)
        };
        writer.write_record([
            k.to_string(),
            name(e.class).to_owned(),
            e.regions.join(" "),
            seconds(e.onset_s),
            seconds(e.detected_s),
            seconds(e.end_s),
            e.first_frame.to_string(),
            e.last_frame.to_string(),
            e.best_frame.to_string(),
            word(&e.hazard),
            word(&e.action),
            worst(|w| w.channel.clone()),
            worst(|w| w.displayed.to_string()),
            worst(|w| w.expected.to_string()),
            worst(|w| w.unit.clone()),
            e.requirement.clone(),
            e.remarks.join("; "),
            seconds(e.detected_s - e.onset_s),
            e.picture_error.missing_px.to_string(),
            e.picture_error.foreign_px.to_string(),
            e.picture_error.color_samples.to_string(),
        ])?;
    }
    writer
        .into_inner()
        .map_err(|e| csv::Error::from(e.into_error()))
}

fn seconds(v: f64) -> String {
    super::records::rounded(v).to_string()
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
                self.writer.serialize((
                    record.frame,
                    record.time_s,
                    region,
                    &reading.channel,
                    &reading.what,
                    reading.displayed,
                    reading.expected,
                    reading.error,
                    reading.standard_error,
                    &reading.unit,
                ))?;
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
