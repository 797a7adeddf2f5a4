//! Putting the shards of a campaign together, so that nobody could tell that there were any.
//!
//! *The question*: are these all the shards of one campaign, whole, and what would one machine have written? *The method*:
//! each shard's files are held against its manifest, and again as they are read; the shards must be of one campaign and
//! division, and made by this program from what lies here now. What was found in a stretch is then copied, stretch after stretch,
//! byte by byte. Between it stand the trials that began in a stretch of a later shard: a
//! shard does not see them, so they are carried out when shards are put together ([`super::run`]). *What it cannot see*: that a
//! decoder on another machine gave other pictures of the same file.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::records::TRIALS_FILE;
use super::results::{self, Progress, Results, STRETCHES};
use super::trial;
use super::trials::Done;
use crate::evidence::manifest::{Manifest, ReadFiles, resolved};
use crate::evidence::measurements::{self, MEASUREMENTS_FILE, Measured};
use crate::evidence::result_name::{BadName, ResultName};
use crate::evidence::results_folder::{self, ResultsFolder, Trust};
use crate::files::{self, Content};
use crate::shard::Shard;

/// Longest line of records, bytes: 1024 readings of a stretch stay far below.
const LONGEST_LINE: u64 = 16 << 20;

/// Why shards cannot be put together.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A folder cannot be read, or is not as it was written.
    #[error(transparent)]
    Folder(#[from] results_folder::Error),
    /// A name in one.
    #[error(transparent)]
    Name(#[from] BadName),
    /// A file of one.
    #[error(transparent)]
    File(#[from] files::Error),
    /// What is written, or the progress of a shard.
    #[error(transparent)]
    Results(#[from] results::Error),
    /// Measurements.
    #[error(transparent)]
    Measurements(#[from] measurements::Error),
    /// A campaign that is whole.
    #[error("\"{0}\" holds no shard of a campaign: give folders that campaign --shard wrote")]
    NotShard(String),
    /// A shard that was broken off.
    #[error(
        "\"{folder}\" holds shard {shard}, which is not finished; this goes on with it: {command}"
    )]
    NotFinished {
        /// The folder.
        folder: String,
        /// The shard.
        shard: Shard,
        /// What finishes it.
        command: String,
    },
    /// A shard that nobody gave.
    #[error("{missing} of {of} shards {}; first of them: {command}", if *missing == 1 { "is missing" } else { "are missing" })]
    Missing {
        /// How many.
        missing: u32,
        /// Of so many.
        of: u32,
        /// What makes the first of them.
        command: String,
    },
    /// One shard in two folders.
    #[error("\"{first}\" and \"{second}\" both hold shard {shard}: give it once")]
    Twice {
        /// The shard.
        shard: Shard,
        /// A folder.
        first: String,
        /// Another folder.
        second: String,
    },
    /// Another division.
    #[error(
        "\"{first}\" holds shard {one} and \"{second}\" shard {other}: all must be of one division"
    )]
    OtherDivision {
        /// A folder.
        first: String,
        /// What it holds.
        one: Shard,
        /// Another folder.
        second: String,
        /// What that holds.
        other: Shard,
    },
    /// Another program made it.
    #[error(
        "\"{folder}\" was made by {found}, and this is {own}: make all shards, and put them together, with one program"
    )]
    OtherProgram {
        /// The folder.
        folder: String,
        /// Program of the shard.
        found: String,
        /// This one.
        own: String,
    },
    /// Another plan, display or recording.
    #[error(
        "\"{0}\" holds a shard of another campaign: its plan, display or recordings are not those that are read now"
    )]
    OtherCampaign(String),
    /// Another input.
    #[error(
        "\"{folder}\" was made from another {what} than lies there now: put that back, or make the shard again"
    )]
    OtherInput {
        /// The folder.
        folder: String,
        /// The input.
        what: String,
    },
    /// What a shard cannot have written.
    #[error("\"{path}\" is damaged: {what}; make the shard again in an empty folder")]
    Damaged {
        /// The file.
        path: String,
        /// What was found.
        what: String,
    },
}

/// A program, as messages call it.
fn program(version: &str, revision: Option<&str>) -> String {
    let revision = revision.map_or(String::new(), |r| format!(" ({r})"));
    format!("framevouch {version}{revision}")
}

/// All shards of a campaign, in their order, and where they are read.
pub struct Parts {
    parts: Vec<Part>,
    reading: Option<Reading>,
    /// How many were read to their ends.
    read: usize,
}

struct Part {
    folder: ResultsFolder,
    shard: Shard,
    progress: Progress,
}

impl Part {
    fn shown(&self) -> String {
        self.folder.path().display().to_string()
    }

    fn damaged(&self, name: &str, what: impl Into<String>) -> Error {
        Error::Damaged {
            path: self.folder.path().join(name).display().to_string(),
            what: what.into(),
        }
    }
}

/// The command that makes or finishes a shard.
fn command(plan: Option<&Path>, shard: Shard, out: Option<&Path>) -> String {
    let shown = |path: Option<&Path>, other: &str| {
        path.map_or(other.to_owned(), |p| format!("\"{}\"", p.display()))
    };
    let (plan, out) = (shown(plan, "P.toml"), shown(out, "DIR"));
    format!("framevouch campaign --plan {plan} --shard {shard} --out {out}")
}

/// The plan that a shard was made of, where it lay then.
fn plan_of(manifest: &Manifest, folder: &Path) -> Option<PathBuf> {
    let plan = manifest.inputs.iter().find(|i| i.role == "plan");
    plan.map(|p| resolved(&p.path, folder))
}

impl Parts {
    /// The shards in `folders`, in any order, all of which were verified. `plan` stands in messages, where it is known.
    ///
    /// # Errors
    /// When one is not whole, not as it was written or of another division, or is missing or there twice.
    pub fn open(folders: &[PathBuf], plan: Option<&Path>) -> Result<Self, Error> {
        let known = plan.map(Path::to_owned).or_else(|| {
            let read = folders.iter().map(|f| Some((Manifest::read(f).ok()?, f)));
            let mut read = read.flatten();
            read.find_map(|((manifest, _), folder)| plan_of(&manifest, folder))
        });
        let known = known.as_deref();
        let mut parts: BTreeMap<u32, Part> = BTreeMap::new();
        for folder in folders {
            let part = Part::open(folder, known)?;
            let first = parts.values().next();
            if let Some(first) = first.filter(|p| p.shard.of() != part.shard.of()) {
                return Err(Error::OtherDivision {
                    first: first.shown(),
                    one: first.shard,
                    second: part.shown(),
                    other: part.shard,
                });
            }
            let (shard, second) = (part.shard, part.shown());
            if let Some(before) = parts.insert(shard.number(), part) {
                return Err(Error::Twice {
                    shard,
                    first: before.shown(),
                    second,
                });
            }
        }
        let of = parts.values().next().map_or(1, |p| p.shard.of());
        let mut missing = (1..=of).filter(|k| !parts.contains_key(k)).peekable();
        if let Some(shard) = missing.peek().and_then(|k| Shard::new(*k, of)) {
            return Err(Error::Missing {
                missing: missing.count() as u32,
                of,
                command: command(known, shard, None),
            });
        }
        Ok(Self {
            parts: parts.into_values().collect(),
            reading: None,
            read: 0,
        })
    }

    /// How many there are.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.parts.len() as u32
    }

    /// The plan that they were made of, where it lay when the first was made.
    #[must_use]
    pub fn plan(&self) -> Option<PathBuf> {
        let first = &self.parts.first()?.folder;
        plan_of(first.manifest(), first.path())
    }

    /// All of their files.
    #[must_use]
    pub fn files(&self) -> Vec<PathBuf> {
        let files = self.parts.iter().flat_map(|p| {
            let listed = p.folder.manifest().outputs.iter();
            listed.map(|f| p.folder.path().join(&f.path))
        });
        files.collect()
    }

    /// Makes sure that they are of `campaign`, and were made from captures and `inputs` that hold what they hold now. A
    /// capture has a name, for messages, and the digest of the list of its files.
    pub(super) fn check(
        &self,
        campaign: &str,
        captures: &[(String, Content)],
        inputs: &ReadFiles,
    ) -> Result<(), Error> {
        let now: Vec<(&str, &Content)> = inputs.files().filter(|(r, _)| *r != "capture").collect();
        for part in &self.parts {
            let folder = part.shown();
            if part.progress.campaign != campaign {
                return Err(Error::OtherCampaign(folder));
            }
            let other = |what: String| Error::OtherInput {
                folder: part.shown(),
                what,
            };
            for (k, (name, content)) in captures.iter().enumerate() {
                if part.progress.captures.get(&k) != Some(content) {
                    return Err(other(format!("capture \"{name}\"")));
                }
            }
            let listed = part.folder.manifest().inputs.iter();
            let then: Vec<(&str, &Content)> = listed
                .filter(|i| i.role != "capture")
                .filter_map(|i| Some((i.role.as_str(), i.content.as_ref()?)))
                .collect();
            if then != now {
                let same = then.iter().zip(&now).take_while(|(a, b)| a == b).count();
                let role = then.get(same).or(now.get(same)).map_or("input", |i| i.0);
                return Err(other(format!("file that goes in as \"{role}\"")));
            }
        }
        Ok(())
    }

    /// What the captures held, by their numbers, when they were made.
    pub(super) fn captures(&self) -> BTreeMap<usize, Content> {
        let first = self.parts.first();
        first.map_or(BTreeMap::new(), |p| p.progress.captures.clone())
    }

    /// The trials that are done, of `count`; `owner` says which shard has a trial.
    pub(super) fn done(&self, count: u64, owner: &dyn Fn(u64) -> u32) -> Result<Done, Error> {
        let mut done = Done::none(count);
        for part in &self.parts {
            let mut lines = Lines::open(part, TRIALS_FILE)?;
            while let Some(line) = lines.next()? {
                let number = TrialLine::of(&line, part)?.trial;
                if number >= count || owner(number) != part.shard.number() || !done.add(number) {
                    let what =
                        format!("trial {number} stands there twice, or is not of this shard");
                    return Err(part.damaged(TRIALS_FILE, what));
                }
            }
            lines.end(part)?;
        }
        Ok(done)
    }

    /// The shard that is read, where something is left in it, or else the next.
    fn reading(&mut self) -> Result<Option<(&Part, &mut Reading)>, Error> {
        while self.read < self.parts.len() {
            let part = &self.parts[self.read];
            let reading = match self.reading.take() {
                Some(reading) => reading,
                None => Reading::open(part)?,
            };
            if reading.stretch.is_some() || reading.clip.is_some() {
                let reading = self.reading.insert(reading);
                return Ok(Some((part, reading)));
            }
            reading.end(part)?;
            self.read += 1;
        }
        Ok(None)
    }

    /// Copies what was found in the clean video of a stretch: whether trials may begin there. `None` where nothing was found,
    /// since the chain changed.
    pub(super) fn copy_clean(
        &mut self,
        capture: usize,
        stretch: usize,
        to: &mut Results,
    ) -> Result<Option<bool>, Error> {
        let Some((part, reading)) = self.reading()? else {
            return Ok(None);
        };
        let place = |s: &Stretch| (s.capture, s.stretch);
        match reading.stretch.as_ref().map(|(s, _)| place(s)) {
            Some(next) if next == (capture, stretch) => {}
            Some(next) if next > (capture, stretch) => return Ok(None),
            _ => {
                let what = format!(
                    "something stands before stretch {stretch} of capture {capture} that belongs to no stretch"
                );
                return Err(part.damaged(STRETCHES, what));
            }
        }
        reading.copy_clean(part, to)
    }

    /// Copies the trials of this stretch that come before trial `limit`.
    pub(super) fn copy_trials(&mut self, limit: u64, to: &mut Results) -> Result<(), Error> {
        match (self.parts.get(self.read), &mut self.reading) {
            (Some(part), Some(reading)) => reading.copy_trials(part, limit, to),
            _ => Ok(()),
        }
    }

    /// Copies all that was found in a capture.
    pub(super) fn copy_capture(&mut self, capture: usize, to: &mut Results) -> Result<(), Error> {
        while let Some(stretch) = self.next_stretch(capture)? {
            self.copy_clean(capture, stretch, to)?;
            self.copy_trials(u64::MAX, to)?;
        }
        Ok(())
    }

    /// Makes sure that nothing is left of a capture.
    pub(super) fn end_capture(&mut self, capture: usize) -> Result<(), Error> {
        match self.next_stretch(capture)? {
            None => Ok(()),
            Some(stretch) => {
                let what = format!(
                    "it has stretch {stretch} of capture {capture}, which that does not have: was it decoded by another program?"
                );
                Err(self.parts[self.read].damaged(STRETCHES, what))
            }
        }
    }

    fn next_stretch(&mut self, capture: usize) -> Result<Option<usize>, Error> {
        let next = self.reading()?.and_then(|(_, r)| r.stretch.as_ref());
        let of_capture = next.filter(|(s, _)| s.capture == capture);
        Ok(of_capture.map(|(s, _)| s.stretch))
    }

    /// Makes sure that all was read.
    pub(super) fn end(mut self) -> Result<(), Error> {
        match self.reading()? {
            None => Ok(()),
            Some((part, _)) => Err(part.damaged(STRETCHES, "it has more captures than the plan")),
        }
    }
}

impl Part {
    fn open(folder: &Path, plan: Option<&Path>) -> Result<Self, Error> {
        let begun = Progress::read(folder)?;
        if let Some(progress) = begun.filter(|p| !p.is_finished || Manifest::read(folder).is_err())
            && let Some(shard) = progress.shard
        {
            return Err(Error::NotFinished {
                folder: folder.display().to_string(),
                shard,
                command: command(plan, shard, Some(folder)),
            });
        }
        let results = ResultsFolder::open(folder, Trust::Verified)?;
        results.verify_outputs()?;
        let name = folder.display().to_string();
        let manifest = results.manifest();
        let own = (
            env!("CARGO_PKG_VERSION"),
            option_env!("FRAMEVOUCH_REVISION"),
        );
        let found = (manifest.version.as_str(), manifest.revision.as_deref());
        if found != own {
            return Err(Error::OtherProgram {
                folder: name,
                found: program(found.0, found.1),
                own: program(own.0, own.1),
            });
        }
        // Once more, now that it is known to be what was written.
        let progress = Progress::read(folder)?.filter(|_| manifest.command == "campaign");
        match progress.and_then(|p| p.shard.map(|shard| (p, shard))) {
            Some((progress, shard)) => Ok(Self {
                folder: results,
                shard,
                progress,
            }),
            None => Err(Error::NotShard(name)),
        }
    }
}

/// A line of trials, as far as it must be known.
#[derive(Deserialize)]
struct TrialLine {
    trial: u64,
    outcome: Outcome,
}

#[derive(Deserialize)]
struct Outcome {
    picture: Option<String>,
}

impl TrialLine {
    fn of(line: &[u8], part: &Part) -> Result<Self, Error> {
        let wrong = |e| part.damaged(TRIALS_FILE, format!("a line is no trial ({e})"));
        serde_json::from_slice(line).map_err(wrong)
    }
}

/// A line of stretches, as far as it must be known.
#[derive(Deserialize)]
struct Stretch {
    capture: usize,
    stretch: usize,
    events: Vec<serde::de::IgnoredAny>,
}

/// A file that is read and digested line by line.
struct Lines {
    input: BufReader<files::Reader<File>>,
    name: &'static str,
    path: PathBuf,
}

impl Lines {
    fn open(part: &Part, name: &'static str) -> Result<Self, Error> {
        let path = part.folder.path().join(name);
        let input = BufReader::new(files::Reader::new(files::open(&path)?));
        Ok(Self { input, name, path })
    }

    /// The next line, with its end.
    fn next(&mut self) -> Result<Option<Vec<u8>>, Error> {
        let mut line = Vec::new();
        let read = Read::take(&mut self.input, LONGEST_LINE).read_until(b'\n', &mut line);
        read.map_err(cannot_read(&self.path))?;
        Ok((!line.is_empty()).then_some(line))
    }

    fn end(self, part: &Part) -> Result<(), Error> {
        same(part, self.name, self.input.into_inner())
    }
}

fn cannot_read(path: &Path) -> impl FnOnce(io::Error) -> Error + '_ {
    move |source| {
        Error::File(files::Error::Read {
            path: path.display().to_string(),
            source,
        })
    }
}

/// Makes sure that what was read is what was verified.
fn same(part: &Part, name: &str, reader: files::Reader<File>) -> Result<(), Error> {
    let path = part.folder.path().join(name);
    let content = reader.content().map_err(cannot_read(&path))?;
    if part.folder.listed(&ResultName::new(name)?) == Some(&content) {
        Ok(())
    } else {
        Err(part.damaged(name, "it changed while it was read"))
    }
}

/// A shard that is being read.
struct Reading {
    stretches: Lines,
    /// The next line of it.
    stretch: Option<(Stretch, Vec<u8>)>,
    trials: Lines,
    measurements: Option<measurements::Reader<BufReader<files::Reader<File>>>>,
    /// The next of it: of the next stretch, or of a trial in the one before.
    clip: Option<Measured>,
}

impl Reading {
    fn open(part: &Part) -> Result<Self, Error> {
        let path = part.folder.path().join(MEASUREMENTS_FILE);
        let mut input = BufReader::new(files::Reader::new(files::open(&path)?));
        // A shard without stretches measured nothing.
        let is_empty = input.fill_buf().map_err(cannot_read(&path))?.is_empty();
        let shown = path.display().to_string();
        let reader = (!is_empty).then(|| measurements::Reader::new(input, &shown));
        let mut reading = Self {
            stretches: Lines::open(part, STRETCHES)?,
            stretch: None,
            trials: Lines::open(part, TRIALS_FILE)?,
            measurements: reader.transpose()?,
            clip: None,
        };
        reading.next_stretch(part)?;
        reading.next_clip()?;
        Ok(reading)
    }

    fn next_stretch(&mut self, part: &Part) -> Result<(), Error> {
        let line = self.stretches.next()?;
        let read = line.map(|line| Ok((serde_json::from_slice(&line)?, line)));
        let wrong =
            |e: serde_json::Error| part.damaged(STRETCHES, format!("a line is no stretch ({e})"));
        self.stretch = read.transpose().map_err(wrong)?;
        Ok(())
    }

    fn next_clip(&mut self) -> Result<(), Error> {
        let reader = self.measurements.as_mut();
        self.clip = reader
            .map(measurements::Reader::clip)
            .transpose()?
            .flatten();
        Ok(())
    }

    fn copy_clean(&mut self, part: &Part, to: &mut Results) -> Result<Option<bool>, Error> {
        let (Some((stretch, line)), Some(clip)) = (self.stretch.take(), self.clip.take()) else {
            return Err(part.damaged(MEASUREMENTS_FILE, "a stretch of clean video is not in it"));
        };
        if clip.trial.is_some() || clip.capture != stretch.capture {
            let what = "another clip stands where that of a stretch belongs";
            return Err(part.damaged(MEASUREMENTS_FILE, what));
        }
        if to.is_empty()
            && let Some(reader) = &self.measurements
        {
            to.header_line(reader.header_line())?;
        }
        to.stretch_line(&line)?;
        to.measured(&clip)?;
        self.next_stretch(part)?;
        self.next_clip()?;
        Ok(Some(stretch.events.is_empty()))
    }

    fn copy_trials(&mut self, part: &Part, limit: u64, to: &mut Results) -> Result<(), Error> {
        let is_next = |c: &mut Measured| c.trial.is_some_and(|n| n < limit);
        while let Some(clip) = self.clip.take_if(is_next) {
            let line = self.trials.next()?.unwrap_or_default();
            let told = TrialLine::of(&line, part)?;
            if clip.trial != Some(told.trial) {
                let what = format!(
                    "another clip stands where that of trial {} belongs",
                    told.trial
                );
                return Err(part.damaged(MEASUREMENTS_FILE, what));
            }
            let picture = match told.outcome.picture {
                None => None,
                Some(_) => {
                    let name = ResultName::new(&trial::picture_name(told.trial))?;
                    Some(part.folder.bytes(&name, results::MISS_LIMIT)?)
                }
            };
            to.copy_trial(told.trial, &line, &clip, picture.as_deref())?;
            self.next_clip()?;
        }
        Ok(())
    }

    /// Makes sure that what was read is what was verified, and that nothing is left.
    fn end(self, part: &Part) -> Result<(), Error> {
        let mut trials = self.trials;
        if trials.next()?.is_some() {
            return Err(part.damaged(TRIALS_FILE, "it has trials that were not measured"));
        }
        trials.end(part)?;
        self.stretches.end(part)?;
        match self.measurements {
            Some(reader) => same(part, MEASUREMENTS_FILE, reader.into_input().into_inner()),
            None => Ok(()),
        }
    }
}
