//! What stands in the rows of each table.

use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter};
use std::path::{Path, PathBuf};

use super::columns::{Cell, Column, Holds, Table};
use super::{FRAMES, MEASUREMENTS, READINGS, REGIONS, TRIALS};
use crate::campaign::records::{TRIALS_FILE, TrialRecord};
use crate::evidence::measurements::{self, MEASUREMENTS_FILE, Reader};
use crate::evidence::records::{CAUTION, FrameRecord};

const FRAME_COLUMNS: [Column; 4] = [
    Column::of("frame", Holds::Whole),
    Column::of("time_s", Holds::Number),
    Column::of("crc32", Holds::Whole),
    Column::of("verdict", Holds::Text),
];
const REGION_COLUMNS: [Column; 6] = [
    Column::of("frame", Holds::Whole),
    Column::of("time_s", Holds::Number),
    Column::of("region", Holds::Text),
    Column::of("verdict", Holds::Text),
    Column::maybe("staleness_ms", Holds::Number),
    Column::maybe("staleness_se_ms", Holds::Number),
];
const READING_COLUMNS: [Column; 11] = [
    Column::of("frame", Holds::Whole),
    Column::of("time_s", Holds::Number),
    Column::of("region", Holds::Text),
    Column::of("channel", Holds::Text),
    Column::of("what", Holds::Text),
    Column::of("displayed", Holds::Number),
    Column::of("expected", Holds::Number),
    Column::of("error", Holds::Number),
    Column::of("standard_error", Holds::Number),
    Column::of("unit", Holds::Text),
    Column::maybe("px_per_unit", Holds::Number),
];
const TRIAL_COLUMNS: [Column; 26] = [
    Column::of("trial", Holds::Whole),
    Column::of("kind", Holds::Text),
    Column::of("group", Holds::Text),
    Column::of("is_twin", Holds::Flag),
    Column::of("region", Holds::Text),
    Column::maybe("symbol", Holds::Whole),
    Column::maybe("channel", Holds::Text),
    Column::of("hazard", Holds::Text),
    Column::maybe("size", Holds::Number),
    Column::maybe("unit", Holds::Text),
    Column::maybe("look", Holds::Text),
    Column::of("method", Holds::Text),
    Column::of("capture", Holds::Whole),
    Column::of("onset_frame", Holds::Whole),
    Column::of("onset_s", Holds::Number),
    Column::of("duration_s", Holds::Number),
    Column::of("changed_px", Holds::Whole),
    Column::of("result", Holds::Text),
    Column::of("expected", Holds::Text),
    Column::maybe("class", Holds::Text),
    Column::maybe("regions", Holds::Text),
    Column::maybe("detection_ms", Holds::Number),
    Column::maybe("limit_ms", Holds::Number),
    Column::maybe("action", Holds::Text),
    Column::maybe("why", Holds::Text),
    Column::of("stray_events", Holds::Whole),
];
const MEASUREMENT_COLUMNS: [Column; 9] = [
    Column::maybe("trial", Holds::Whole),
    Column::of("capture", Holds::Whole),
    Column::of("time_s", Holds::Number),
    Column::of("region", Holds::Text),
    Column::of("state", Holds::Text),
    Column::maybe("channel", Holds::Text),
    Column::maybe("what", Holds::Text),
    Column::maybe("excess", Holds::Number),
    Column::maybe("tolerance", Holds::Number),
];

/// A table that is being written into a file.
struct Open {
    path: PathBuf,
    table: Table<BufWriter<File>>,
}

impl Open {
    fn begin(folder: &Path, name: &str, columns: &[Column], display: &str) -> io::Result<Self> {
        let path = folder.join(name);
        let about = [
            ("caution", CAUTION),
            ("display", display),
            ("rows", name.trim_end_matches(".parquet")),
        ];
        let begun = File::create(&path)
            .and_then(|file| Table::begin(BufWriter::new(file), columns, &about));
        let table = begun.map_err(named(&path))?;
        Ok(Self { path, table })
    }

    fn row(&mut self, cells: &[Cell]) -> io::Result<()> {
        self.table.row(cells).map_err(named(&self.path))
    }

    fn finish(mut self) -> io::Result<()> {
        self.table.finish().map_err(named(&self.path))
    }
}

fn named(path: &Path) -> impl Fn(io::Error) -> io::Error {
    let path = path.display().to_string();
    move |e| io::Error::new(e.kind(), format!("cannot write \"{path}\": {e}"))
}

/// A name as the records spell it.
fn spelled(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(text)) => text,
        other => other.map_or(String::new(), |v| v.to_string()),
    }
}

/// The tables of a check, written as frames come.
pub struct CheckTables {
    frames: Open,
    regions: Open,
    readings: Open,
}

impl CheckTables {
    /// Begins them in `folder`.
    ///
    /// # Errors
    /// When they cannot be written.
    pub fn begin(folder: &Path, display: &str) -> io::Result<Self> {
        Ok(Self {
            frames: Open::begin(folder, FRAMES, &FRAME_COLUMNS, display)?,
            regions: Open::begin(folder, REGIONS, &REGION_COLUMNS, display)?,
            readings: Open::begin(folder, READINGS, &READING_COLUMNS, display)?,
        })
    }

    /// Adds a frame.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn frame(&mut self, record: &FrameRecord) -> io::Result<()> {
        let frame = Cell::Whole(record.frame as i64);
        let time_s = Cell::Number(record.time_s);
        self.frames.row(&[
            frame,
            time_s,
            Cell::Whole(i64::from(record.crc32)),
            Cell::Text(&spelled(record.verdict)),
        ])?;
        for (id, region) in &record.regions {
            self.regions.row(&[
                frame,
                time_s,
                Cell::Text(id),
                Cell::Text(&spelled(region.verdict)),
                Cell::number(region.staleness_ms),
                Cell::number(region.staleness_se_ms),
            ])?;
            for r in &region.readings {
                self.readings.row(&[
                    frame,
                    time_s,
                    Cell::Text(id),
                    Cell::Text(&r.channel),
                    Cell::Text(&r.what),
                    Cell::Number(r.displayed),
                    Cell::Number(r.expected),
                    Cell::Number(r.error),
                    Cell::Number(r.standard_error),
                    Cell::Text(&r.unit),
                    Cell::number(r.px_per_unit),
                ])?;
            }
        }
        Ok(())
    }

    /// Writes what is left.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(self) -> io::Result<()> {
        self.frames.finish()?;
        self.regions.finish()?;
        self.readings.finish()
    }
}

/// Writes the trials of a campaign whose results on the way are in `from` as a table into `folder`, and its measurements.
///
/// # Errors
/// When they cannot be read, or the tables not written.
pub fn of_campaign(from: &Path, folder: &Path, display: &str) -> Result<(), Error> {
    let path = from.join(TRIALS_FILE);
    let mut table = Open::begin(folder, TRIALS, &TRIAL_COLUMNS, display)?;
    for line in BufReader::new(File::open(&path)?).lines() {
        let record = serde_json::from_str(&line?).map_err(io::Error::other)?;
        trial(&mut table, &record)?;
    }
    table.finish()?;
    let measured = from.join(MEASUREMENTS_FILE);
    if measured.is_file() {
        measurements_table(&measured, folder, display)?;
    }
    Ok(())
}

fn trial(table: &mut Open, t: &TrialRecord) -> io::Result<()> {
    let o = &t.outcome;
    let whole = |v: Option<usize>| v.map_or(Cell::Nothing, |v| Cell::Whole(v as i64));
    let (hazard, method) = (spelled(t.hazard), spelled(t.method));
    let (result, expected) = (spelled(o.result), o.expected.join(" "));
    let regions = (!o.regions.is_empty()).then(|| o.regions.join(" "));
    let (action, why) = (o.action.map(spelled), o.why.map(spelled));
    table.row(&[
        Cell::Whole(t.trial as i64),
        Cell::Text(&t.kind),
        Cell::Text(&t.group),
        Cell::Flag(t.is_twin),
        Cell::Text(&t.region),
        whole(t.symbol),
        Cell::text(t.channel.as_deref()),
        Cell::Text(&hazard),
        Cell::number(t.size),
        Cell::text(t.unit.as_deref()),
        Cell::text(t.look.as_deref()),
        Cell::Text(&method),
        Cell::Whole(t.capture as i64),
        Cell::Whole(t.onset_frame as i64),
        Cell::Number(t.onset_s),
        Cell::Number(t.duration_s),
        Cell::Whole(t.changed_px as i64),
        Cell::Text(&result),
        Cell::Text(&expected),
        Cell::text(o.class.as_deref()),
        Cell::text(regions.as_deref()),
        Cell::number(o.detection_ms),
        Cell::number(o.limit_ms),
        Cell::text(action.as_deref()),
        Cell::text(why.as_deref()),
        Cell::Whole(i64::from(o.stray_events)),
    ])
}

/// Why measurements were not made a table.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The measurements.
    #[error(transparent)]
    Measurements(#[from] measurements::Error),
    /// The table.
    #[error(transparent)]
    Write(#[from] io::Error),
}

/// Makes a table in `folder` of a file of measurements: a row a frame, region and reading; regions without readings
/// have a row a frame.
///
/// # Errors
/// When the measurements are damaged, or the table cannot be written.
pub fn measurements_table(measured: &Path, folder: &Path, display: &str) -> Result<(), Error> {
    let file = File::open(measured)?;
    let mut reader = Reader::new(BufReader::new(file), &measured.display().to_string())?;
    let header = reader.header().clone();
    let mut table = Open::begin(folder, MEASUREMENTS, &MEASUREMENT_COLUMNS, display)?;
    while let Some(clip) = reader.clip()? {
        let trial = clip.trial.map_or(Cell::Nothing, |t| Cell::Whole(t as i64));
        let capture = Cell::Whole(clip.capture as i64);
        for (frame, time_s) in clip.times_s.iter().enumerate() {
            for region in &clip.regions {
                let of = &header.regions[region.region];
                let common = [
                    trial,
                    capture,
                    Cell::Number(*time_s),
                    Cell::Text(&of.id),
                    Cell::Text(region.states[frame].word()),
                ];
                let [a, b, c, d, e] = common;
                if region.readings() == 0 {
                    let nothing = Cell::Nothing;
                    table.row(&[a, b, c, d, e, nothing, nothing, nothing, nothing])?;
                }
                for (k, reading) in of.readings.iter().enumerate() {
                    table.row(&[
                        a,
                        b,
                        c,
                        d,
                        e,
                        Cell::Text(&reading.channel),
                        Cell::Text(&reading.what),
                        Cell::number(region.excess(frame, k)),
                        Cell::Number(reading.tolerance),
                    ])?;
                }
            }
        }
    }
    table.finish()?;
    Ok(())
}
