//! Carrying out a campaign: stretch after stretch, on all cores, so that it can be broken off at any moment
//! and goes on where it was.
//!
//! What stands on disk, and that it is what was written, is the matter of [`super::results`]. Of a shard only its own
//! stretches are gone through ([`super::division`]); when shards are put together ([`super::parts`]), what they found is copied
//! at each stretch, and the same walk carries out the trials that are left.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use super::clean;
use super::division::{Division, Load};
use super::parts::{self, Parts};
use super::plan::{CaptureSource, Plan};
use super::results::{self, Results};
use super::stretch::{Material, Stretch, choose_onsets};
use super::trial::{self, AFTER_S};
use super::trials::{Done, Trial, Trials, judged_regions, seed_of};
use super::window::Window;
use crate::capture::profile::Profile;
use crate::capture::{CapturedFrame, ReadAhead};
use crate::check::beside::{Beside, BesideError};
use crate::check::place::Place;
use crate::check::{self, Offset};
use crate::definition::Definition;
use crate::evidence::manifest::{ChangedFile, ReadFiles};
use crate::examine::subject::Subject;
use crate::files::{Content, Digest, FileContent};
use crate::recording::{Files, MissingColumns, Recording};
use crate::reference::drawing::Drawing;
use crate::shard::Shard;

/// What stops a campaign.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The plan.
    #[error(transparent)]
    Plan(#[from] super::plan::Error),
    /// The plan does not fit the display.
    #[error("plan: {0}")]
    Trials(String),
    /// The display definition.
    #[error(transparent)]
    Definition(#[from] crate::definition::Error),
    /// A recording.
    #[error(transparent)]
    Recording(#[from] crate::recording::Error),
    /// What another display showed.
    #[error(transparent)]
    Beside(#[from] BesideError),
    /// A profile.
    #[error(transparent)]
    Profile(#[from] crate::capture::profile::Error),
    /// A capture.
    #[error(transparent)]
    Capture(#[from] crate::capture::Error),
    /// A capture does not show what is due.
    #[error(
        "capture \"{0}\" agrees with its recording nowhere in its first two minutes; a campaign needs captures without faults: run check on it first"
    )]
    NoAgreement(String),
    /// A capture in which the display stands elsewhere, with what to do.
    #[error("capture \"{0}\": {1}; give the profile in the plan")]
    Elsewhere(String, String),
    /// Nothing could be checked.
    #[error(
        "nothing could be checked, so no trial could begin: every capture ends within its lead of {0} s, or shows another chain; give longer captures, or a smaller lead_s, and run check on them first"
    )]
    TooShort(f64),
    /// A capture is not what it was when the campaign was begun.
    #[error(
        "capture \"{0}\", or the program that decodes it, is not what it was when the campaign was begun: put it back, or begin in another folder"
    )]
    OtherCapture(String),
    /// The results.
    #[error(transparent)]
    Results(#[from] results::Error),
    /// Shards that are put together.
    #[error(transparent)]
    Parts(#[from] parts::Error),
    /// A file that changed meanwhile.
    #[error(transparent)]
    Changed(#[from] ChangedFile),
}

/// What is known before the first trial.
pub struct Prepared {
    plan: Plan,
    folder: PathBuf,
    definition: Definition,
    recordings: Vec<Recording>,
    beside: Vec<Option<Arc<Beside>>>,
    trials: Trials,
    campaign: String,
    ffmpeg: String,
    plan_file: FileContent,
    profiles: Vec<Option<(Profile, FileContent)>>,
    stop: Arc<AtomicBool>,
    shard: Option<Shard>,
}

/// What the captures of a campaign held before the first trial.
pub struct Captures(Vec<Held>);

#[derive(PartialEq)]
struct Held {
    files: Vec<FileContent>,
    program: Option<FileContent>,
}

impl Held {
    fn of(reader: &mut ReadAhead) -> Result<Self, Error> {
        Ok(Self {
            files: reader.contents()?,
            program: reader.program()?,
        })
    }

    /// Of the list of the files.
    fn content(&self) -> Content {
        let mut digest = Digest::default();
        for file in &self.files {
            let name = file.path.file_name().unwrap_or_default().to_string_lossy();
            digest.update(format!("{}  {name}\n", file.content.sha256).as_bytes());
        }
        digest.content()
    }
}

/// How a campaign ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// All trials that can begin were carried out.
    Finished,
    /// The time budget was spent.
    Budget,
    /// It was told to stop.
    Stopped,
}

/// Trials that an estimate is made from.
const SAMPLE: u64 = 60;
/// Trials that are carried out side by side before they are written: what waits in memory.
const CHUNK: usize = 256;

/// Seconds since some moment. What a campaign finds does not depend on it; how far it comes within its budget
/// does.
pub type Clock<'a> = &'a dyn Fn() -> f64;

/// Told now and then how far it is.
pub type Tell<'a> = &'a mut dyn FnMut(u64, u64);

impl Prepared {
    /// Reads the plan at `path` and all that it names, captures left aside.
    ///
    /// # Errors
    /// When something cannot be read, or does not fit.
    pub fn load(path: &Path, ffmpeg: &str) -> Result<Self, Error> {
        let (plan, plan_file) = Plan::load_with_content(path)?;
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        let definition = Definition::load(&folder.join(&plan.plan.display))?;
        let recordings = plan
            .capture
            .iter()
            .map(|c| {
                let missing = if c.allow_missing {
                    MissingColumns::Allow
                } else {
                    MissingColumns::Refuse
                };
                let bench = c.recording.as_ref().map(|b| folder.join(b));
                let tables = c.tables.iter();
                let tables = tables.map(|(name, path)| (name.clone(), folder.join(path)));
                let files = Files {
                    inputs: &folder.join(&c.inputs),
                    form: bench.as_deref(),
                    tables: &tables.collect(),
                };
                Recording::load_all(&files, &definition, missing)
            })
            .collect::<Result<Vec<_>, _>>()?;
        let beside = plan.capture.iter().zip(&recordings).map(|(c, recording)| {
            let results = c.beside.as_ref().map(|b| folder.join(b));
            let load = |path: PathBuf| Beside::load(&path, &definition, recording).map(Arc::new);
            results.map(load).transpose()
        });
        let beside = beside.collect::<Result<Vec<_>, _>>()?;
        let drawing = Drawing::new(&definition);
        let judged: Vec<Vec<bool>> = recordings
            .iter()
            .map(|r| judged_regions(&definition, r))
            .collect();
        let subject = Subject::new(&definition, &drawing);
        let trials = Trials::new(&plan, subject, &judged).map_err(Error::Trials)?;
        let profiles = plan
            .capture
            .iter()
            .map(|c| {
                let path = c.profile.as_ref().map(|p| folder.join(p));
                path.map(|p| Profile::read(&p)).transpose()
            })
            .collect::<Result<Vec<_>, _>>()?;
        let others = recordings.iter().flat_map(Recording::files);
        let others = others.chain(beside.iter().flatten().flat_map(|b| b.files()));
        let campaign = digest(&plan, &definition, others);
        Ok(Self {
            plan,
            folder,
            definition,
            recordings,
            beside,
            trials,
            campaign,
            ffmpeg: ffmpeg.to_owned(),
            plan_file,
            profiles,
            stop: Arc::default(),
            shard: None,
        })
    }

    /// Ends [`run`](Self::run) as soon as `stop` is true.
    #[must_use]
    pub fn stopped_by(mut self, stop: Arc<AtomicBool>) -> Self {
        self.stop = stop;
        self
    }

    /// Carries out a shard alone.
    #[must_use]
    pub fn sharded(mut self, shard: Option<Shard>) -> Self {
        self.shard = shard;
        self
    }

    /// The shard that is carried out; `None` where all of it is.
    #[must_use]
    pub const fn shard(&self) -> Option<Shard> {
        self.shard
    }

    fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// Reads all captures for what they hold. A run must find the same in them.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn captures(&self) -> Result<Captures, Error> {
        let mut readers = self.plan.capture.iter().map(|c| self.open(c));
        let held = readers.by_ref().map(|reader| Held::of(&mut reader?));
        held.collect::<Result<_, _>>().map(Captures)
    }

    /// All files and folders that go in.
    #[must_use]
    pub fn paths(&self) -> Vec<PathBuf> {
        let files = [&self.plan_file].into_iter();
        let files = files
            .chain(self.definition.contents().iter().map(|f| &f.file))
            .chain(self.recordings.iter().flat_map(Recording::files))
            .chain(self.beside.iter().flatten().flat_map(|b| b.files()))
            .chain(self.profiles.iter().flatten().map(|(_, file)| file));
        let captures = self.plan.capture.iter();
        let captures = captures.map(|c| self.folder.join(&c.file));
        files.map(|f| f.path.clone()).chain(captures).collect()
    }

    /// What was read.
    ///
    /// # Errors
    /// When a file held different things.
    pub fn inputs(&self, captures: &Captures) -> Result<ReadFiles, ChangedFile> {
        let mut inputs = ReadFiles::default();
        inputs.add_file("plan", &self.plan_file)?;
        inputs.add_display(&self.definition)?;
        for (k, source) in self.plan.capture.iter().enumerate() {
            let capture = self.folder.join(&source.file);
            inputs.add("capture", &capture, &captures.0[k].files)?;
            if let Some(file) = self.recordings[k].content() {
                inputs.add_file("inputs", file)?;
            }
            if let Some(file) = self.recordings[k].form_content() {
                inputs.add_file("recording", file)?;
            }
            for (_, file) in self.recordings[k].table_contents() {
                inputs.add_file("table", file)?;
            }
            for file in self.beside[k].iter().flat_map(|b| b.files()) {
                inputs.add_file("beside", file)?;
            }
            if let Some((_, file)) = &self.profiles[k] {
                inputs.add_file("profile", file)?;
            }
        }
        // One program decodes them all.
        for program in captures.0.iter().filter_map(|c| c.program.as_ref()) {
            inputs.see(std::slice::from_ref(program))?;
        }
        inputs.add_fonts(&self.definition)?;
        Ok(inputs)
    }

    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The display.
    #[must_use]
    pub const fn definition(&self) -> &Definition {
        &self.definition
    }

    /// The trials.
    #[must_use]
    pub const fn trials(&self) -> &Trials {
        &self.trials
    }

    /// Length of all recordings, s.
    #[must_use]
    pub fn recorded_s(&self) -> f64 {
        let spans = self.recordings.iter().map(Recording::span_s);
        spans.map(|(begin_s, end_s)| end_s - begin_s).sum()
    }

    /// Makes sure that `out` can hold this campaign, holds no other, and that what it holds of it is whole; true when
    /// that is all of it.
    ///
    /// # Errors
    /// When it belongs to another campaign, is damaged, or cannot be written to.
    pub fn claim(&self, out: &Path) -> Result<bool, Error> {
        let (results, _) = self.results(out)?;
        Ok(results.progress.is_finished)
    }

    fn results(&self, out: &Path) -> Result<(Results, Done), Error> {
        let count = self.trials.len();
        Ok(Results::open(out, &self.campaign, self.shard, count)?)
    }

    /// Carries out what is not done yet, into `out`, on captures that hold what they held before.
    ///
    /// # Errors
    /// When a capture cannot be read, or is not what it was, or results cannot be written; what was done stays.
    pub fn run(
        &self,
        out: &Path,
        captures: &Captures,
        clock: Clock,
        tell: Tell,
    ) -> Result<Ended, Error> {
        let begun_s = clock();
        let (mut results, mut done) = self.results(out)?;
        for (k, held) in captures.0.iter().enumerate() {
            let first = results.progress.captures.entry(k);
            if *first.or_insert_with(|| held.content()) != held.content() {
                let file = &self.plan.capture[k].file;
                return Err(Error::OtherCapture(file.display().to_string()));
            }
        }
        results.commit()?;
        if results.progress.is_finished {
            return Ok(Ended::Finished);
        }
        let mut walk = Walk {
            results,
            parts: None,
            division: self.shard.map(|shard| self.division(shard.of())),
            is_out_of_time: &|| {
                let spent_s = clock() - begun_s;
                self.plan.plan.budget_s.is_some_and(|b| spent_s >= b)
            },
            tell,
        };
        self.walk(captures, &mut done, &mut walk)
    }

    /// Puts shards together in `out`, which is empty, and carries out there what they left: trials that found no moment in the
    /// stretches of their shard.
    ///
    /// # Errors
    /// When the shards are not of this campaign or were made from other files, or as [`Self::run`].
    pub fn merge(
        &self,
        out: &Path,
        captures: &Captures,
        parts: Parts,
        tell: Tell,
    ) -> Result<Ended, Error> {
        let files = self.plan.capture.iter().map(|c| c.file.display());
        let held = captures.0.iter().map(Held::content);
        let held: Vec<_> = files.map(|f| f.to_string()).zip(held).collect();
        parts.check(&self.campaign, &held, &self.inputs(captures)?)?;
        let division = self.division(parts.count());
        let mut done = parts.done(self.trials.len(), &|n| {
            let capture = self.trials.get(n).capture;
            division.owner(capture, self.first_stretch(capture, n))
        })?;
        let (mut results, _) = self.results(out)?;
        results.progress.captures = parts.captures();
        let mut walk = Walk {
            results,
            parts: Some(parts),
            division: Some(division),
            is_out_of_time: &|| false,
            tell,
        };
        self.walk(captures, &mut done, &mut walk)
    }

    /// Which of so many shards has which stretch.
    fn division(&self, of: u32) -> Division {
        let general = &self.plan.plan;
        let clean_s = general.lead_s + general.stretch_s + self.plan.longest_s() + AFTER_S;
        let each_s = |fault: usize| self.plan.fault[fault].duration_s + AFTER_S;
        let load = |capture| {
            let stretches = self.stretches(capture);
            let trials_s = self.trials.video_s(capture, &each_s);
            Load {
                stretches,
                stretch_s: clean_s + trials_s / stretches as f64,
            }
        };
        Division::new(of, (0..self.plan.capture.len()).map(load))
    }

    /// Stretches of a capture in which trials begin by their seeds.
    fn stretches(&self, capture: usize) -> usize {
        let (begin_s, end_s) = self.recordings[capture].span_s();
        libm::ceil((end_s - begin_s) / self.plan.plan.stretch_s).max(1.0) as usize
    }

    /// The stretch from which on trial `number` begins as soon as it can.
    fn first_stretch(&self, capture: usize, number: u64) -> usize {
        seed_of(self.trials.seed(number), 2) as usize % self.stretches(capture)
    }

    /// Goes on through all captures, and once more: in the second pass, trials begin anywhere that did not find a place from
    /// theirs on. A shard leaves these to whoever puts shards together.
    fn walk(&self, captures: &Captures, done: &mut Done, walk: &mut Walk) -> Result<Ended, Error> {
        let drawing = Drawing::new(&self.definition);
        let subject = Subject::new(&self.definition, &drawing);
        let passes = if self.shard.is_some() { 1 } else { 2 };
        for pass in walk.results.progress.pass..passes {
            let first = if pass == walk.results.progress.pass {
                walk.results.progress.capture
            } else {
                0
            };
            for capture in first..self.plan.capture.len() {
                if pass > 0 && self.trials.of_capture(capture).all(|n| done.has(n)) {
                    continue;
                }
                if !self.is_concerned(capture, done, walk) {
                    if let Some(parts) = &mut walk.parts {
                        parts.copy_capture(capture, &mut walk.results)?;
                    }
                    continue;
                }
                let progress = &walk.results.progress;
                let is_going_on = pass == progress.pass && capture == progress.capture;
                let stretch = if is_going_on { progress.stretch } else { 0 };
                let at = At {
                    pass,
                    capture,
                    stretch,
                };
                let early = self.capture(subject, at, done, walk, &captures.0[capture])?;
                if let Some(ended) = early {
                    return Ok(ended);
                }
                if let Some(parts) = &mut walk.parts {
                    parts.end_capture(capture)?;
                }
            }
            if let Some(parts) = walk.parts.take() {
                parts.end()?;
                walk.division = None;
            }
        }
        if walk.results.is_empty() && self.shard.is_none() {
            return Err(Error::TooShort(self.plan.plan.lead_s));
        }
        walk.results.finish()?;
        Ok(Ended::Finished)
    }

    /// Whether anything is to be carried out in a capture: of a shard, where it has stretches of it; where shards are put
    /// together, where trials are left that may begin in a later shard.
    fn is_concerned(&self, capture: usize, done: &Done, walk: &Walk) -> bool {
        let Some(division) = &walk.division else {
            return true;
        };
        let (first, last) = division.owners(capture);
        match self.shard {
            Some(shard) => (first..=last).contains(&shard.number()),
            None => self.trials.of_capture(capture).any(|n| {
                let owner = division.owner(capture, self.first_stretch(capture, n));
                !done.has(n) && owner < last
            }),
        }
    }

    /// Whether trial `number`, which is not done, may begin in a stretch.
    fn may_begin(&self, number: u64, at: At, division: Option<&Division>) -> bool {
        let first = self.first_stretch(at.capture, number);
        let Some(division) = division.filter(|_| at.pass == 0) else {
            return at.pass > 0 || first <= at.stretch;
        };
        let owners = [first, at.stretch].map(|s| division.owner(at.capture, s));
        match self.shard {
            Some(_) => first <= at.stretch && owners[0] == owners[1],
            // Its own shard has tried it wherever it could.
            None => owners[0] < owners[1],
        }
    }

    /// How long all trials will take, s, from a few of them in the first stretch of the first capture.
    ///
    /// # Errors
    /// When the capture cannot be read.
    pub fn estimate_s(&self, clock: Clock) -> Result<f64, Error> {
        let drawing = Drawing::new(&self.definition);
        let subject = Subject::new(&self.definition, &drawing);
        let source = &self.plan.capture[0];
        let profile = self.profile(subject, 0, None)?;
        let material = Material {
            subject,
            recording: &self.recordings[0],
            profile: &profile,
            offset_s: source.offset_s,
            beside: self.beside[0].as_ref(),
        };
        let begun_s = clock();
        let mut window = Window::default();
        let mut reader = self.open(source)?;
        let Some((_, onsets_s)) = window.fill(&mut |f| reader.next_into(f), 0, &self.plan)? else {
            return Ok(0.0);
        };
        let to = window.frames.partition_point(|f| f.time_s < onsets_s[1]);
        let from = window.frames.partition_point(|f| f.time_s < onsets_s[0]);
        let onsets = choose_onsets(from.max(1), to, 2, self.plan.plan.seed);
        let Ok(stretch) = Stretch::check(material, &window.frames, &onsets) else {
            return Ok(0.0);
        };
        let stretch_s = clock() - begun_s;
        let step = (self.trials.len() / SAMPLE).max(1);
        let sample: Vec<Trial> = (0..self.trials.len())
            .step_by(step as usize)
            .map(|n| self.trials.get(n))
            .collect();
        let begun_s = clock();
        let done = sample
            .par_iter()
            .filter(|t| trial::run(&self.plan, &stretch, t).is_some())
            .count();
        let trial_s = (clock() - begun_s) / done.max(1) as f64;
        let stretches = self.recorded_s() / self.plan.plan.stretch_s;
        Ok(stretches * stretch_s + self.trials.len() as f64 * trial_s)
    }

    fn open(&self, source: &CaptureSource) -> Result<ReadAhead, Error> {
        self.open_from(source, 0)
    }

    /// Opens a capture of which stretches from `first` on are looked at.
    fn open_from(&self, source: &CaptureSource, first: usize) -> Result<ReadAhead, Error> {
        let options = crate::capture::OpenOptions {
            // A profile may have the display in a part of the picture.
            size: (source.profile.is_none()).then(|| self.definition.size()),
            fps: source.fps,
            ffmpeg: self.ffmpeg.clone(),
            ..Default::default()
        };
        let capture = crate::capture::Capture::open(&self.folder.join(&source.file), &options)?;
        // With its lead a stretch begins so long after the first frame; times are told apart to a microsecond.
        let begin_s = first as f64 * self.plan.plan.stretch_s;
        let capture = capture.with_pictures_from(begin_s - 2e-6);
        let ahead = ReadAhead::start(capture, ReadAhead::DEPTH_DEFAULT);
        Ok(ahead.stopped_by(Arc::clone(&self.stop)))
    }

    /// The chain of a capture; where it is measured, the capture must hold what it `held`.
    fn profile(
        &self,
        subject: Subject,
        capture: usize,
        held: Option<&Held>,
    ) -> Result<Profile, Error> {
        let source = &self.plan.capture[capture];
        if let Some((profile, _)) = &self.profiles[capture] {
            return Ok(profile.clone());
        }
        let recording = &self.recordings[capture];
        let mut frames = self.open(source)?;
        let offset = Offset::Given(source.offset_s);
        let found =
            check::find_stretch(subject, recording, &mut frames, offset, Place::Usual, None);
        self.same(held, &mut frames, source)?;
        let capture = || source.file.display().to_string();
        match found {
            Ok(Some(found)) => Ok(found.measured.profile),
            Ok(None) => Err(Error::NoAgreement(capture())),
            Err(e) => Err(Error::Elsewhere(capture(), e.to_string())),
        }
    }

    /// Makes sure that what was read is what the capture `held`.
    fn same(
        &self,
        held: Option<&Held>,
        reader: &mut ReadAhead,
        source: &CaptureSource,
    ) -> Result<(), Error> {
        match held {
            Some(held) if Held::of(reader)? != *held => {
                Err(Error::OtherCapture(source.file.display().to_string()))
            }
            _ => Ok(()),
        }
    }

    /// Goes through one capture; how the campaign ended, where it did so on the way.
    fn capture(
        &self,
        subject: Subject,
        at: At,
        done: &mut Done,
        walk: &mut Walk,
        held: &Held,
    ) -> Result<Option<Ended>, Error> {
        let source = &self.plan.capture[at.capture];
        let profile = match self.profile(subject, at.capture, Some(held)) {
            Err(_) if self.is_stopped() => return Ok(Some(Ended::Stopped)),
            other => other?,
        };
        let material = Material {
            subject,
            recording: &self.recordings[at.capture],
            profile: &profile,
            offset_s: source.offset_s,
            beside: self.beside[at.capture].as_ref(),
        };
        let division = walk.division.clone();
        let mut first = at.stretch;
        if let (Some(shard), Some(division)) = (self.shard, &division) {
            first = first.max(division.first(at.capture, shard.number()));
        }
        let mut reader = self.open_from(source, first)?;
        let mut window = Window::default();
        let mut next = 0;
        loop {
            let filled = window.fill(&mut |f| reader.next_into(f), next, &self.plan)?;
            if self.is_stopped() {
                return Ok(Some(Ended::Stopped));
            }
            let Some((stretch, onsets_s)) = filled else {
                break;
            };
            next = stretch + 1;
            if stretch < at.stretch {
                continue;
            }
            if let (Some(shard), Some(division)) = (self.shard, &division) {
                let owner = division.owner(at.capture, stretch);
                if owner < shard.number() {
                    continue;
                }
                if owner > shard.number() {
                    break;
                }
            }
            if (walk.is_out_of_time)() {
                self.same(Some(held), &mut reader, source)?;
                return Ok(Some(Ended::Budget));
            }
            let here = At { stretch, ..at };
            let list = || {
                let own = self.trials.of_capture(at.capture);
                own.filter(|n| !done.has(*n) && self.may_begin(*n, here, division.as_ref()))
            };
            if at.pass == 0 || list().next().is_some() {
                let early = self.stretch(material, &window.frames, onsets_s, here, list(), walk)?;
                if self.is_stopped() {
                    // Trials were left out.
                    return Ok(Some(Ended::Stopped));
                }
                if early.is_some() {
                    self.same(Some(held), &mut reader, source)?;
                    return Ok(early);
                }
                for number in walk.results.just_done.drain(..) {
                    done.add(number);
                }
            }
            walk.results
                .reach(at.pass, at.capture, stretch + 1, false)?;
            (walk.tell)(done.count(), self.trials.len());
        }
        self.same(Some(held), &mut reader, source)?;
        if at.capture + 1 == self.plan.capture.len() {
            walk.results.reach(at.pass + 1, 0, 0, false)?;
        } else {
            walk.results.reach(at.pass, at.capture + 1, 0, false)?;
        }
        Ok(None)
    }

    /// Carries out the trials of `list` in a stretch; how the campaign ended, where it did so on the way.
    fn stretch(
        &self,
        material: Material,
        frames: &[CapturedFrame],
        onsets_s: [f64; 2],
        at: At,
        list: impl Iterator<Item = u64>,
        walk: &mut Walk,
    ) -> Result<Option<Ended>, Error> {
        let Walk {
            results,
            parts,
            is_out_of_time,
            ..
        } = walk;
        let mut list = list.peekable();
        if let Some(parts) = parts {
            // Where a shard found nothing quiet, nothing begins either.
            let is_quiet = parts.copy_clean(at.capture, at.stretch, results)?;
            if list.peek().is_none() || is_quiet != Some(true) {
                parts.copy_trials(u64::MAX, results)?;
                return Ok(None);
            }
        }
        let general = &self.plan.plan;
        let from = frames.partition_point(|f| f.time_s < onsets_s[0]).max(1);
        let to = frames.partition_point(|f| f.time_s < onsets_s[1]);
        let seed = seed_of(
            seed_of(general.seed, at.pass as u64),
            (at.capture << 20 | at.stretch) as u64,
        );
        let onsets = if list.peek().is_none() {
            Vec::new()
        } else {
            choose_onsets(from, to, general.onsets_per_stretch, seed)
        };
        let Ok(stretch) = Stretch::check(material, frames, &onsets) else {
            // A changed chain: no trial begins here.
            return Ok(None);
        };
        if results.is_empty() {
            results.header(&stretch.header)?;
        }
        let is_first = at.pass == 0 && parts.is_none();
        if is_first && !results.has_begun(at.pass, at.capture, at.stretch) {
            let record = clean::record(&stretch, at.capture, at.stretch, onsets_s);
            results.stretch(&record)?;
            let clean = clean::measured(&stretch, at.capture, onsets_s);
            results.measured(&clean)?;
        }
        if !stretch.events.is_empty() {
            return Ok(None);
        }
        while list.peek().is_some() {
            let chunk: Vec<Trial> = list
                .by_ref()
                .take(CHUNK)
                .map(|n| self.trials.get(n))
                .collect();
            let done: Vec<Option<trial::Done>> = chunk
                .par_iter()
                .map(|t| {
                    (!self.is_stopped())
                        .then(|| trial::run(&self.plan, &stretch, t))
                        .flatten()
                })
                .collect();
            if self.is_stopped() {
                return Ok(None);
            }
            for done in done.into_iter().flatten() {
                if let Some(parts) = parts {
                    parts.copy_trials(done.record.trial, results)?;
                }
                results.trial(&done)?;
            }
            // A stretch may have millions of trials: what is done of it is kept.
            if list.peek().is_some() {
                results.reach(at.pass, at.capture, at.stretch, true)?;
                if is_out_of_time() {
                    return Ok(Some(Ended::Budget));
                }
            }
        }
        if let Some(parts) = parts {
            parts.copy_trials(u64::MAX, results)?;
        }
        Ok(None)
    }
}

/// What a campaign is walked with.
struct Walk<'w> {
    results: Results,
    /// Shards that are put together, until all that they hold is copied.
    parts: Option<Parts>,
    /// Whose stretches are whose, where there are shards.
    division: Option<Division>,
    is_out_of_time: &'w dyn Fn() -> bool,
    tell: Tell<'w>,
}

#[derive(Clone, Copy)]
struct At {
    pass: usize,
    capture: usize,
    stretch: usize,
}

/// A digest of all that decides the results, captures left aside (they may be large): another plan, display, recording or display
/// beside it (`others`) is another campaign.
fn digest<'f>(
    plan: &Plan,
    definition: &Definition,
    others: impl Iterator<Item = &'f FileContent>,
) -> String {
    let mut plan = plan.clone();
    // More time does not make it another campaign.
    plan.plan.budget_s = None;
    let mut digest = Digest::default();
    let mut add = |bytes: &[u8]| digest.update(bytes);
    let text = |value: serde_json::Result<String>| value.unwrap_or_default();
    add(text(serde_json::to_string(&plan)).as_bytes());
    add(text(serde_json::to_string(definition.file())).as_bytes());
    for file in others {
        add(file.content.sha256.as_bytes());
    }
    format!(
        "framevouch {} {}",
        env!("CARGO_PKG_VERSION"),
        &digest.content().sha256[..16]
    )
}
