//! What thresholds decide on, frame by frame, without pictures: a compact file for tuning.
//!
//! For each region and frame: whether anything but a value is wrong, and for each reading how far it lies
//! beyond what measuring explains, in thousandths of its tolerance. A tolerance below that makes the frame
//! faulty, so every set of thresholds can be judged from the file alone.
//!
//! # Layout
//! A line of JSON ([`Header`]), then clips. Numbers are little-endian. A clip: trial number (u64, all ones for
//! clean video), capture (u32), frames (u32), regions (u32); the regions' indices (u32 each); for each frame
//! its time (f64, s) and for each region of the clip a letter (u8, see [`State`]) and an excess for each reading
//! (i16; the lowest number where nothing was read).

use std::io::{self, BufRead, Read, Write};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::check::run::Run;
use crate::definition::Definition;
use crate::judge::region::{Cause, RegionVerdict};
use crate::judge::verdict::Verdict;

/// Its name in a folder of results.
pub const MEASUREMENTS_FILE: &str = "measurements.bin";
/// Version of the file. Readers refuse later ones.
pub const MEASUREMENTS_VERSION: u32 = 1;

/// What the columns are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Header {
    /// Version of the file.
    pub measurements_version: u32,
    /// The display's name.
    pub display: String,
    /// Regions in the order of the definition.
    pub regions: Vec<RegionHeader>,
}

/// One region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionHeader {
    /// Its id.
    pub id: String,
    /// Its readings.
    pub readings: Vec<ReadingHeader>,
}

/// One reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingHeader {
    /// Channel.
    pub channel: String,
    /// What is read.
    pub what: String,
    /// Tolerance that excesses count in; 0 where the region has none for the channel.
    pub tolerance: f64,
    /// Unit of the tolerance.
    pub unit: String,
}

/// What is said of a region in a frame, values left aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Not judged.
    NotJudged,
    /// Nothing is wrong, and a standstill would show.
    Good,
    /// Nothing is wrong, and a standstill would not show.
    Blind,
    /// It is faulty whatever the tolerances are.
    Wrong(Cause),
    /// It is faulty for its values alone.
    Value,
}

const LETTERS: [(State, u8); 7] = [
    (State::NotJudged, b'-'),
    (State::Good, b'.'),
    (State::Blind, b'b'),
    (State::Wrong(Cause::Picture), b'p'),
    (State::Wrong(Cause::Held), b'h'),
    (State::Wrong(Cause::Stale), b's'),
    (State::Value, b'v'),
];

impl State {
    fn of(v: &RegionVerdict) -> Self {
        match (v.cause, v.verdict) {
            (Some(Cause::Value), _) => Self::Value,
            (Some(cause), _) => Self::Wrong(cause),
            (None, Verdict::NotJudged) => Self::NotJudged,
            (None, Verdict::Blind) => Self::Blind,
            (None, _) => Self::Good,
        }
    }

    fn letter(self) -> u8 {
        LETTERS
            .iter()
            .find(|(s, _)| *s == self)
            .map_or(b'?', |(_, l)| *l)
    }

    fn from_letter(letter: u8) -> Option<Self> {
        LETTERS.iter().find(|(_, l)| *l == letter).map(|(s, _)| *s)
    }
}

/// Excess where nothing was read.
const NOTHING: i16 = i16::MIN;
/// Excesses in a tolerance.
const STEPS: f64 = 1000.0;

/// One region over the frames of a clip.
#[derive(Clone, Debug, PartialEq)]
pub struct RegionMeasured {
    /// Index of the region.
    pub region: usize,
    /// By frame.
    pub states: Vec<State>,
    /// By frame, then by reading: thousandths of a tolerance.
    excess: Vec<i16>,
    readings: usize,
}

impl RegionMeasured {
    /// Excess of reading `reading` in frame `frame`, in tolerances; `None` where nothing was read.
    #[must_use]
    pub fn excess(&self, frame: usize, reading: usize) -> Option<f64> {
        let e = self.excess[frame * self.readings + reading];
        (e != NOTHING).then(|| f64::from(e) / STEPS)
    }

    /// Readings of the region.
    #[must_use]
    pub const fn readings(&self) -> usize {
        self.readings
    }
}

/// What was measured over some frames in a row.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// The trial; `None` for clean video.
    pub trial: Option<u64>,
    /// Number of the capture.
    pub capture: usize,
    /// Capture times, s.
    pub times_s: Vec<f64>,
    /// Regions.
    pub regions: Vec<RegionMeasured>,
    /// Tolerances by region and reading.
    tolerances: Vec<Vec<f64>>,
}

impl Header {
    /// For the readings of `run`.
    #[must_use]
    pub fn of(definition: &Definition, run: &Run) -> Self {
        let channels = definition.channels();
        let regions = definition.regions().iter().zip(run.examiners());
        Self {
            measurements_version: MEASUREMENTS_VERSION,
            display: definition.file().display.name.clone(),
            regions: regions
                .map(|(region, examiner)| RegionHeader {
                    id: region.id.clone(),
                    readings: examiner
                        .freedoms()
                        .iter()
                        .map(|f| {
                            let (name, channel) = &channels[f.channel.0];
                            ReadingHeader {
                                channel: name.clone(),
                                what: f.what.to_owned(),
                                tolerance: region.tolerance.get(name).copied().unwrap_or(0.0),
                                unit: channel.unit.clone(),
                            }
                        })
                        .collect(),
                })
                .collect(),
        }
    }

    /// Tolerances by region and reading; 0 where there is none.
    #[must_use]
    pub fn tolerances(&self) -> Vec<Vec<f64>> {
        let regions = self.regions.iter();
        regions
            .map(|r| r.readings.iter().map(|r| r.tolerance).collect())
            .collect()
    }

    /// Writes the first line of the file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        serde_json::to_writer(&mut *out, self)?;
        out.write_all(b"\n")
    }
}

impl Measured {
    /// Nothing yet, for all regions of `header`.
    #[must_use]
    pub fn with(header: &Header, trial: Option<u64>, capture: usize) -> Self {
        let regions = header.regions.iter().enumerate();
        Self {
            trial,
            capture,
            times_s: Vec::new(),
            regions: regions
                .map(|(region, r)| RegionMeasured {
                    region,
                    states: Vec::new(),
                    excess: Vec::new(),
                    readings: r.readings.len(),
                })
                .collect(),
            tolerances: header.tolerances(),
        }
    }

    /// Adds a frame.
    pub fn push(&mut self, time_s: f64, verdicts: &[RegionVerdict]) {
        self.times_s.push(time_s);
        for r in &mut self.regions {
            let v = &verdicts[r.region];
            r.states.push(State::of(v));
            let begin = r.excess.len();
            r.excess.resize(begin + r.readings, NOTHING);
            for reading in &v.readings {
                let tolerance = self.tolerances[r.region][reading.freedom];
                if tolerance > 0.0 && reading.excess.is_finite() {
                    let steps = libm::round(reading.excess / tolerance * STEPS);
                    let most = f64::from(i16::MAX);
                    r.excess[begin + reading.freedom] = steps.clamp(-most, most) as i16;
                }
            }
        }
    }

    /// Keeps the regions alone that `is_kept` says.
    pub fn keep(&mut self, is_kept: &[bool]) {
        self.regions.retain(|r| is_kept[r.region]);
    }

    /// Appends the clip.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let mut bytes = Vec::new();
        bytes.extend(self.trial.unwrap_or(u64::MAX).to_le_bytes());
        bytes.extend((self.capture as u32).to_le_bytes());
        bytes.extend((self.times_s.len() as u32).to_le_bytes());
        bytes.extend((self.regions.len() as u32).to_le_bytes());
        for r in &self.regions {
            bytes.extend((r.region as u32).to_le_bytes());
        }
        for (k, time_s) in self.times_s.iter().enumerate() {
            bytes.extend(time_s.to_le_bytes());
            for r in &self.regions {
                bytes.push(r.states[k].letter());
                for e in &r.excess[k * r.readings..(k + 1) * r.readings] {
                    bytes.extend(e.to_le_bytes());
                }
            }
        }
        out.write_all(&bytes)
    }
}

/// Frames in a clip of clean video: what is not written yet stays small however long the video is.
const CLIP_FRAMES: usize = 1500;

/// Writes the measurements of a check as they come.
pub struct Writer<W: Write> {
    out: W,
    clip: Option<(Header, Measured)>,
}

impl<W: Write> Writer<W> {
    /// Into `out`.
    pub const fn new(out: W) -> Self {
        Self { out, clip: None }
    }

    /// Begins the file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(&mut self, header: &Header) -> io::Result<()> {
        self.clip = Some((header.clone(), Measured::with(header, None, 0)));
        header.write(&mut self.out)
    }

    /// Adds a frame.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn push(&mut self, time_s: f64, verdicts: &[RegionVerdict]) -> io::Result<()> {
        if let Some((header, clip)) = &mut self.clip {
            clip.push(time_s, verdicts);
            if clip.times_s.len() >= CLIP_FRAMES {
                clip.write(&mut self.out)?;
                *clip = Measured::with(header, None, 0);
            }
        }
        Ok(())
    }

    /// Ends the file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(&mut self) -> io::Result<()> {
        if let Some((_, clip)) = self.clip.take()
            && !clip.times_s.is_empty()
        {
            clip.write(&mut self.out)?;
        }
        self.out.flush()
    }
}

/// What is wrong with a file of measurements.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// It cannot be read.
    #[error("cannot read measurements \"{path}\"")]
    Unreadable {
        /// The file.
        path: String,
        /// The system's words.
        source: io::Error,
    },
    /// It is not a file of measurements, or is damaged.
    #[error(
        "measurements \"{path}\", byte {at}: {what}; write the file anew with check or campaign"
    )]
    Wrong {
        /// The file.
        path: String,
        /// Where.
        at: u64,
        /// What was found.
        what: String,
    },
}

/// Reads a file of measurements, clip after clip.
pub struct Reader<R> {
    path: String,
    input: R,
    at: u64,
    header: Header,
}

impl<R: BufRead> Reader<R> {
    /// Reads the header; `path` is what messages call the file.
    ///
    /// # Errors
    /// When it is not a file of measurements.
    pub fn new(mut input: R, path: &str) -> Result<Self, Error> {
        let mut line = Vec::new();
        // Longer than any header, so that another kind of file is not read to its end.
        let read = (&mut input)
            .take(16 << 20)
            .read_until(b'\n', &mut line)
            .map_err(|source| Error::Unreadable {
                path: path.to_owned(),
                source,
            })?;
        let header: Header = serde_json::from_slice(&line).map_err(|e| Error::Wrong {
            path: path.to_owned(),
            at: 0,
            what: format!("not a file of measurements ({e})"),
        })?;
        if header.measurements_version > MEASUREMENTS_VERSION {
            return Err(Error::Wrong {
                path: path.to_owned(),
                at: 0,
                what: format!(
                    "version {} is later than {MEASUREMENTS_VERSION}, the latest that this program reads",
                    header.measurements_version
                ),
            });
        }
        Ok(Self {
            path: path.to_owned(),
            input,
            at: read as u64,
            header,
        })
    }

    /// What the columns are.
    pub const fn header(&self) -> &Header {
        &self.header
    }

    /// The next clip; `None` at the end.
    ///
    /// # Errors
    /// When the file ends within a clip, or holds what cannot be.
    pub fn clip(&mut self) -> Result<Option<Measured>, Error> {
        let mut first = [0; 8];
        let read = self.fill(&mut first, true)?;
        if !read {
            return Ok(None);
        }
        let trial = u64::from_le_bytes(first);
        let capture = self.number()?;
        let frames = self.number()?;
        let count = self.number()?;
        if count > self.header.regions.len() || frames > 1 << 28 {
            return Err(self.wrong(format!("a clip of {frames} frames and {count} regions")));
        }
        let trial = (trial != u64::MAX).then_some(trial);
        let mut clip = Measured::with(&self.header, trial, capture);
        let mut kept = Vec::with_capacity(count);
        for _ in 0..count {
            let region = self.number()?;
            match clip.regions.get(region) {
                Some(r) => kept.push(r.clone()),
                None => return Err(self.wrong(format!("there is no region {region}"))),
            }
        }
        for _ in 0..frames {
            let mut time = [0; 8];
            self.fill(&mut time, false)?;
            clip.times_s.push(f64::from_le_bytes(time));
            for r in &mut kept {
                let mut letter = [0];
                self.fill(&mut letter, false)?;
                let Some(state) = State::from_letter(letter[0]) else {
                    return Err(self.wrong(format!("there is no state {}", letter[0])));
                };
                r.states.push(state);
                for _ in 0..r.readings {
                    let mut excess = [0; 2];
                    self.fill(&mut excess, false)?;
                    r.excess.push(i16::from_le_bytes(excess));
                }
            }
        }
        clip.regions = kept;
        Ok(Some(clip))
    }

    fn number(&mut self) -> Result<usize, Error> {
        let mut bytes = [0; 4];
        self.fill(&mut bytes, false)?;
        Ok(u32::from_le_bytes(bytes) as usize)
    }

    /// Fills `buffer`; false at the end of the file, where it may be.
    fn fill(&mut self, buffer: &mut [u8], may_end: bool) -> Result<bool, Error> {
        let mut done = 0;
        while done < buffer.len() {
            match self.input.read(&mut buffer[done..]) {
                Ok(0) if done == 0 && may_end => return Ok(false),
                Ok(0) => return Err(self.wrong("the file ends within a clip".into())),
                Ok(n) => done += n,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(source) => {
                    return Err(Error::Unreadable {
                        path: self.path.clone(),
                        source,
                    });
                }
            }
        }
        self.at += done as u64;
        Ok(true)
    }

    fn wrong(&self, what: String) -> Error {
        Error::Wrong {
            path: self.path.clone(),
            at: self.at,
            what,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn header() -> Header {
        let reading = ReadingHeader {
            channel: "airspeed".into(),
            what: "scale".into(),
            tolerance: 2.0,
            unit: "kt".into(),
        };
        Header {
            measurements_version: 1,
            display: "test".into(),
            regions: vec![
                RegionHeader {
                    id: "a".into(),
                    readings: vec![reading.clone(), reading],
                },
                RegionHeader {
                    id: "b".into(),
                    readings: vec![],
                },
            ],
        }
    }

    fn verdict(cause: Option<Cause>, excess: Option<f64>) -> RegionVerdict {
        RegionVerdict {
            verdict: if cause.is_some() {
                Verdict::Misleading
            } else {
                Verdict::Agrees
            },
            cause,
            staleness_s: None,
            staleness_se_s: None,
            readings: excess
                .into_iter()
                .map(|excess| crate::judge::region::Reading {
                    freedom: 1,
                    displayed: 0.0,
                    expected: 0.0,
                    error: 0.0,
                    standard_error: 0.0,
                    px_per_unit: 1.0,
                    excess,
                    is_outside: false,
                })
                .collect(),
            digits: Vec::new(),
            since_s: None,
            live_since_s: None,
        }
    }

    fn file() -> Vec<u8> {
        let mut bytes = Vec::new();
        header().write(&mut bytes).unwrap();
        let mut clip = Measured::with(&header(), Some(7), 1);
        clip.push(
            0.04,
            &[verdict(Some(Cause::Value), Some(3.0)), verdict(None, None)],
        );
        clip.push(
            0.08,
            &[verdict(Some(Cause::Held), Some(-0.1)), verdict(None, None)],
        );
        clip.keep(&[true, false]);
        clip.write(&mut bytes).unwrap();
        Measured::with(&header(), None, 0)
            .write(&mut bytes)
            .unwrap();
        bytes
    }

    #[test]
    fn what_was_written_is_read() {
        let bytes = file();
        let mut reader = Reader::new(bytes.as_slice(), "m").unwrap();
        let clip = reader.clip().unwrap().unwrap();
        assert_eq!((clip.trial, clip.capture), (Some(7), 1));
        assert_eq!(clip.regions.len(), 1);
        let a = &clip.regions[0];
        assert_eq!(a.states, [State::Value, State::Wrong(Cause::Held)]);
        assert_eq!(
            (a.excess(0, 0), a.excess(0, 1), a.excess(1, 1)),
            (None, Some(1.5), Some(-0.05))
        );
        assert_eq!(reader.clip().unwrap().unwrap().trial, None);
        assert!(reader.clip().unwrap().is_none());
    }

    #[test]
    fn a_file_that_ends_early_says_where() {
        let bytes = file();
        let cut = &bytes[..bytes.len() - 30];
        let mut reader = Reader::new(cut, "m").unwrap();
        let e = reader.clip().unwrap_err().to_string();
        assert!(
            e.contains("ends within a clip") && e.contains("byte"),
            "{e}"
        );
        assert!(Reader::new(&b"\x89PNG\r\n"[..], "m").is_err());
    }

    proptest! {
        #[test]
        fn damaged_files_never_panic(at in 0usize..400, byte: u8, cut in 0usize..400) {
            let mut bytes = file();
            let len = bytes.len();
            bytes[at % len] = byte;
            bytes.truncate(len - cut % len);
            if let Ok(mut reader) = Reader::new(bytes.as_slice(), "m") {
                while let Ok(Some(_)) = reader.clip() {}
            }
        }
    }
}
