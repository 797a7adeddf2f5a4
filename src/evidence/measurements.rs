//! What thresholds decide on, frame by frame, without pictures: a compact file for tuning.
//!
//! For each region and frame: whether anything but a value is wrong, and for each reading how far it lies
//! beyond what measuring explains, in thousandths of its tolerance. A tolerance below that makes the frame
//! faulty, so every set of thresholds can be judged from the file alone.
//!
//! # Layout
//! Blocks: a line of JSON ([`Header`]), then clips, then the end. Numbers are little-endian. A clip: trial number (u64,
//! all ones for clean video), capture (u32), frames (u32), regions (u32); the regions' indices (u32 each); for each
//! frame its time (f64, s) and for each region of the clip a letter (u8, see [`State`]) and an excess for each reading
//! (i16; the lowest number where nothing was read); of a region with `standard_errors` (version 3) then, for each reading, three
//! standard errors, in thousandths of its tolerance too. The end: a trial number of all ones but the lowest bit. After each
//! block stands its digest (u32): CRC-32 of the digest before (0 before the first) and the block, so that a block that
//! is changed, missing, doubled or in another's place is noticed, and so is what stands behind the end. Files of
//! version 1 have neither digests nor an end.

use std::io::{self, BufRead, Read, Write};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::check::run::Run;
use crate::definition::Definition;
use crate::judge::constants::SIGMAS;
use crate::judge::region::{Cause, RegionVerdict};
use crate::judge::verdict::Verdict;

/// Its name in a folder of results.
pub const MEASUREMENTS_FILE: &str = "measurements.bin";
/// Version of the file. Readers refuse later ones. A file without standard errors is one of version 2.
pub const MEASUREMENTS_VERSION: u32 = 3;
/// How the digests of version 2 are made, as its header says.
const DIGESTS: &str = "crc32 of the digest before and the block";
/// Trial number that stands at the end.
const END: u64 = u64::MAX - 1;

/// What the columns are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Header {
    /// Version of the file.
    pub measurements_version: u32,
    /// How blocks are digested; a file of version 1 has no digests.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    digests: Option<String>,
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
    /// Whether the standard errors of its readings stand there: a budget decides about its values.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub standard_errors: bool,
}

impl RegionHeader {
    /// Numbers that a frame has of it.
    fn columns(&self) -> usize {
        self.readings.len() * if self.standard_errors { 2 } else { 1 }
    }
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

    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotJudged => "not_judged",
            Self::Good => "good",
            Self::Blind => "blind",
            Self::Wrong(Cause::Picture) => "picture",
            Self::Wrong(Cause::Held) => "held",
            Self::Wrong(Cause::Stale) => "stale",
            Self::Wrong(Cause::Value) | Self::Value => "value",
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
    /// By frame, then by reading: thousandths of a tolerance; then, where there are more columns than readings, what measuring
    /// explains.
    excess: Vec<i16>,
    readings: usize,
    columns: usize,
}

impl RegionMeasured {
    /// Excess of reading `reading` in frame `frame`, in tolerances; `None` where nothing was read.
    #[must_use]
    pub fn excess(&self, frame: usize, reading: usize) -> Option<f64> {
        self.at(frame, reading)
    }

    /// How far reading `reading` lies off in frame `frame` and its standard error, in tolerances; `None` where nothing was read,
    /// or no standard errors stand there.
    #[must_use]
    pub fn off(&self, frame: usize, reading: usize) -> Option<[f64; 2]> {
        if !self.has_standard_errors() {
            return None;
        }
        let measuring = self.at(frame, self.readings + reading)?;
        Some([self.at(frame, reading)? + measuring, measuring / SIGMAS])
    }

    /// Whether standard errors stand there.
    #[must_use]
    pub const fn has_standard_errors(&self) -> bool {
        self.columns > self.readings
    }

    fn at(&self, frame: usize, column: usize) -> Option<f64> {
        let e = self.excess[frame * self.columns + column];
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
        let has_budget = |k: usize| definition.budget(k).is_some();
        let is_any = (0..definition.regions().len()).any(has_budget);
        let regions = definition.regions().iter().zip(run.examiners());
        let regions = regions.enumerate();
        Self {
            measurements_version: if is_any { MEASUREMENTS_VERSION } else { 2 },
            digests: Some(DIGESTS.to_owned()),
            display: definition.file().display.name.clone(),
            regions: regions
                .map(|(k, (region, examiner))| RegionHeader {
                    id: region.id.clone(),
                    standard_errors: has_budget(k),
                    readings: examiner
                        .freedoms()
                        .iter()
                        .map(|f| {
                            let (name, channel) = &channels[f.channel.0];
                            ReadingHeader {
                                channel: name.clone(),
                                what: f.what.to_string(),
                                tolerance: region.tolerance.get(name).copied().unwrap_or(0.0),
                                unit: channel.unit.clone(),
                            }
                        })
                        .collect(),
                })
                .collect(),
        }
    }

    /// Two regions, the first with two readings.
    #[cfg(test)]
    pub(crate) fn for_tests() -> Self {
        let reading = ReadingHeader {
            channel: "airspeed".into(),
            what: "scale".into(),
            tolerance: 2.0,
            unit: "kt".into(),
        };
        Self {
            measurements_version: MEASUREMENTS_VERSION,
            digests: Some(DIGESTS.into()),
            display: "test".into(),
            regions: vec![
                RegionHeader {
                    id: "a".into(),
                    standard_errors: false,
                    readings: vec![reading.clone(), reading],
                },
                RegionHeader {
                    id: "b".into(),
                    standard_errors: true,
                    readings: vec![],
                },
            ],
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
                    columns: r.columns(),
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
            r.excess.resize(begin + r.columns, NOTHING);
            for reading in &v.readings {
                let tolerance = self.tolerances[r.region][reading.freedom];
                if tolerance > 0.0 && reading.excess.is_finite() {
                    let steps = |value: f64| {
                        let most = f64::from(i16::MAX);
                        libm::round(value / tolerance * STEPS).clamp(-most, most) as i16
                    };
                    let at = begin + reading.freedom;
                    r.excess[at] = steps(reading.excess);
                    if r.columns > r.readings {
                        // An error that is rounded to nothing would make everything sure.
                        r.excess[at + r.readings] = steps(SIGMAS * reading.standard_error).max(1);
                    }
                }
            }
        }
    }

    /// Keeps the regions alone that `is_kept` says.
    pub fn keep(&mut self, is_kept: &[bool]) {
        self.regions.retain(|r| is_kept[r.region]);
    }

    /// The block of the clip.
    fn block(&self) -> Vec<u8> {
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
                for e in &r.excess[k * r.columns..(k + 1) * r.columns] {
                    bytes.extend(e.to_le_bytes());
                }
            }
        }
        bytes
    }
}

/// The digest that follows `block`, after one whose digest was `before`.
fn digest(before: u32, block: &[u8]) -> u32 {
    let mut hasher = crc32fast::Hasher::new();
    hasher.update(&before.to_le_bytes());
    hasher.update(block);
    hasher.finalize()
}

/// Writes blocks, each with its digest.
pub struct Blocks<W: Write> {
    out: W,
    digest: u32,
}

impl<W: Write> Blocks<W> {
    /// Into `out`; `digest` is the last four bytes that stand there, as a number, 0 where nothing does.
    pub const fn new(out: W, digest: u32) -> Self {
        Self { out, digest }
    }

    fn write(&mut self, block: &[u8]) -> io::Result<()> {
        self.digest = digest(self.digest, block);
        self.out.write_all(block)?;
        self.out.write_all(&self.digest.to_le_bytes())
    }

    /// The first block.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn header(&mut self, header: &Header) -> io::Result<()> {
        let mut block = serde_json::to_vec(header)?;
        block.push(b'\n');
        self.header_line(&block)
    }

    /// The first block, as another file has it ([`Reader::header_line`]).
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn header_line(&mut self, line: &[u8]) -> io::Result<()> {
        self.write(line)
    }

    /// A clip.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn clip(&mut self, clip: &Measured) -> io::Result<()> {
        self.write(&clip.block())
    }

    /// The last block.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn end(&mut self) -> io::Result<()> {
        self.write(&END.to_le_bytes())
    }

    /// What is written to.
    pub const fn out(&mut self) -> &mut W {
        &mut self.out
    }
}

/// Frames in a clip of clean video: what is not written yet stays small however long the video is.
const CLIP_FRAMES: usize = 1500;

/// Writes the measurements of a check as they come.
pub struct Writer<W: Write> {
    blocks: Blocks<W>,
    clip: Option<(Header, Measured)>,
}

impl<W: Write> Writer<W> {
    /// Into `out`.
    pub const fn new(out: W) -> Self {
        Self {
            blocks: Blocks::new(out, 0),
            clip: None,
        }
    }

    /// Begins the file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(&mut self, header: &Header) -> io::Result<()> {
        self.clip = Some((header.clone(), Measured::with(header, None, 0)));
        self.blocks.header(header)
    }

    /// Adds a frame.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn push(&mut self, time_s: f64, verdicts: &[RegionVerdict]) -> io::Result<()> {
        if let Some((header, clip)) = &mut self.clip {
            clip.push(time_s, verdicts);
            if clip.times_s.len() >= CLIP_FRAMES {
                self.blocks.clip(clip)?;
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
        if let Some((_, clip)) = self.clip.take() {
            if !clip.times_s.is_empty() {
                self.blocks.clip(&clip)?;
            }
            self.blocks.end()?;
        }
        self.blocks.out.flush()
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
    header_line: Vec<u8>,
    /// Digest of the block before, and of what was read of this one; nothing is digested in version 1.
    before: u32,
    block: crc32fast::Hasher,
    is_over: bool,
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
        let wrong = |what: String| Error::Wrong {
            path: path.to_owned(),
            at: 0,
            what,
        };
        if header.measurements_version > MEASUREMENTS_VERSION {
            return Err(wrong(format!(
                "version {} is later than {MEASUREMENTS_VERSION}, the latest that this program reads",
                header.measurements_version
            )));
        }
        // A later version whose number was damaged would else pass without its digests.
        let digests = (header.measurements_version >= 2).then_some(DIGESTS);
        if header.measurements_version == 0 || header.digests.as_deref() != digests {
            return Err(wrong("its header is damaged".into()));
        }
        let mut reader = Self {
            path: path.to_owned(),
            input,
            at: read as u64,
            header,
            header_line: line,
            before: 0,
            block: crc32fast::Hasher::new(),
            is_over: false,
        };
        reader.begin_block();
        reader.block.update(&reader.header_line);
        reader.end_block()?;
        Ok(reader)
    }

    const fn has_digests(&self) -> bool {
        self.header.digests.is_some()
    }

    fn begin_block(&mut self) {
        self.block = crc32fast::Hasher::new();
        self.block.update(&self.before.to_le_bytes());
    }

    /// Holds what was read of a block against the digest that follows.
    fn end_block(&mut self) -> Result<(), Error> {
        if !self.has_digests() {
            return Ok(());
        }
        let found = std::mem::take(&mut self.block).finalize();
        let written = self.number()? as u32;
        if written != found {
            return Err(self.wrong(
                "damaged: what stands before does not have the digest that stands here".into(),
            ));
        }
        self.before = found;
        self.begin_block();
        Ok(())
    }

    /// What the columns are.
    pub const fn header(&self) -> &Header {
        &self.header
    }

    /// The block of it, byte for byte.
    pub fn header_line(&self) -> &[u8] {
        &self.header_line
    }

    /// What is read from.
    pub fn into_input(self) -> R {
        self.input
    }

    /// The next clip; `None` at the end.
    ///
    /// # Errors
    /// When the file is damaged: it ends too early, goes on behind its end, or holds what was not written.
    pub fn clip(&mut self) -> Result<Option<Measured>, Error> {
        if self.is_over {
            return Ok(None);
        }
        let mut first = [0; 8];
        let read = self.fill(&mut first, !self.has_digests())?;
        if !read {
            return Ok(None);
        }
        let trial = u64::from_le_bytes(first);
        if self.has_digests() && trial == END {
            self.end_block()?;
            self.is_over = true;
            return if self.fill(&mut [0], true)? {
                Err(self.wrong("damaged: it goes on behind its end".into()))
            } else {
                Ok(None)
            };
        }
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
                for _ in 0..r.columns {
                    let mut excess = [0; 2];
                    self.fill(&mut excess, false)?;
                    r.excess.push(i16::from_le_bytes(excess));
                }
            }
        }
        self.end_block()?;
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
                Ok(0) => return Err(self.wrong("damaged: it ends before its end".into())),
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
        self.block.update(buffer);
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
        Header::for_tests()
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
            hidden: Vec::new(),
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
            alarm: None,
            is_nearly_off: false,
            live_since_s: None,
        }
    }

    fn file() -> Vec<u8> {
        let mut blocks = Blocks::new(Vec::new(), 0);
        blocks.header(&header()).unwrap();
        for clip in clips() {
            blocks.clip(&clip).unwrap();
        }
        blocks.end().unwrap();
        blocks.out
    }

    fn clips() -> [Measured; 3] {
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
        [clip.clone(), Measured::with(&header(), None, 0), clip]
    }

    fn read(bytes: &[u8]) -> Result<Vec<Measured>, Error> {
        let mut reader = Reader::new(bytes, "m")?;
        std::iter::from_fn(|| reader.clip().transpose()).collect()
    }

    #[test]
    fn files_of_version_1_are_read() {
        let mut old = header();
        old.measurements_version = 1;
        old.digests = None;
        let mut bytes = serde_json::to_vec(&old).unwrap();
        bytes.push(b'\n');
        clips().iter().for_each(|c| bytes.extend(c.block()));
        assert_eq!(read(&bytes).unwrap().len(), 3);
    }

    #[test]
    fn every_damage_is_noticed() {
        // Of 300 damages 28 passed as measurements before.
        let good = file();
        assert_eq!(read(&good).unwrap().len(), 3);
        for seed in 0..300 {
            let (how, bad) = crate::files::damage::damaged(&good, seed);
            assert!(read(&bad).is_err(), "{seed}: {how}");
        }
    }

    #[test]
    fn blocks_that_are_left_out_doubled_or_exchanged_are_noticed() {
        let good = file();
        let [a, b, _] = clips().map(|c| c.block().len() + 4);
        let begin = good.len() - 12 - 2 * a - b;
        let (first, second, third) = (begin, begin + a, begin + a + b);
        let (head, one, two, rest) = (
            &good[..first],
            &good[first..second],
            &good[second..third],
            &good[third..],
        );
        for bad in [
            [head, two, rest].concat(),
            [head, one, one, two, rest].concat(),
            [head, two, one, rest].concat(),
            good[..third].to_vec(),
            good[..good.len() - 12].to_vec(),
        ] {
            assert!(read(&bad).is_err());
        }
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
        assert_eq!(reader.clip().unwrap().unwrap().trial, Some(7));
        assert!(reader.clip().unwrap().is_none());
    }

    #[test]
    fn a_file_that_ends_early_says_where() {
        let bytes = file();
        let cut = &bytes[..bytes.len() - 30];
        let e = read(cut).unwrap_err().to_string();
        assert!(
            e.contains("ends before its end") && e.contains("byte"),
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
