//! Two displays of one recording: do they show the same?
//!
//! Each is judged by its inputs. Within its tolerance it may be off, and two that are off to different sides split by more than
//! one of them may be: the crew that compares them is misled. What both show of a channel is compared where both agree with
//! their inputs: the difference of their errors, so that each may have a latency of its own, less what the measuring and a frame
//! of motion explain. Where one of them is wrong by itself its own event says so.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::check::constants::beside::SIGMAS;
use crate::definition::Definition;
use crate::definition::model::Interpolation;
use crate::evidence::records::{
    FRAMES_FILE, FrameRecord, ReadingRecord, SUMMARY_FILE, Summary, rounded,
};
use crate::evidence::results_folder::{self, ResultsFolder, Trust};
use crate::files::FileContent;
use crate::judge::event::{Event, PictureError, WorstError, bench_action};
use crate::judge::persistence::{Persistence, Transition};
use crate::judge::verdict::Verdict;
use crate::recording::Recording;
use crate::reference::scale::half_period;

/// Why what another display showed cannot be compared with.
#[derive(Debug, thiserror::Error)]
pub enum BesideError {
    /// Its results.
    #[error(transparent)]
    Results(#[from] results_folder::Error),
    /// They are of no use.
    #[error("\"{folder}\" cannot stand beside this display: {what}")]
    Unfit {
        /// The result folder.
        folder: String,
        /// Why.
        what: String,
    },
}

/// What a display showed of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Shown {
    /// Recording time, s.
    time_s: f64,
    displayed: f64,
    error: f64,
    standard_error: f64,
}

/// What another display showed, from the results of its check.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// What it is called.
    name: String,
    /// By channel, in the order of time.
    shown: BTreeMap<String, Vec<Shown>>,
    /// Usual time between its frames, s.
    interval_s: f64,
    /// The files that say so, as they were read.
    files: Vec<FileContent>,
}

impl Beside {
    /// Reads the results of a check in `folder`, which another display must have of the same `recording`, and holds what is read
    /// against the manifest there. Channels for which `definition` has no tolerance, or another unit, are left out.
    ///
    /// # Errors
    /// When they are no results of a check, of another recording, of a check that did not come to its end, not as they were
    /// written, or show nothing that could be compared.
    pub fn load(
        folder: &Path,
        definition: &Definition,
        recording: &Recording,
    ) -> Result<Self, BesideError> {
        let results = ResultsFolder::open(folder, Trust::Verified)?;
        let unfit = |what: &str| BesideError::Unfit {
            folder: folder.display().to_string(),
            what: what.to_owned(),
        };
        let read = results
            .manifest()
            .inputs
            .iter()
            .filter(|i| i.role == "inputs");
        let read: Vec<_> = read.filter_map(|i| i.content.as_ref()).collect();
        let own = recording.content().map(|file| &file.content.sha256);
        if !read.iter().any(|content| Some(&content.sha256) == own) {
            return Err(unfit("it was checked by another recording"));
        }
        let summary: Summary = results.record(SUMMARY_FILE)?;
        if let Some(error) = &summary.error {
            return Err(unfit(&format!(
                "its check did not come to its end: {error}"
            )));
        }
        let mut out = Self {
            name: summary.display,
            ..Self::default()
        };
        let models = definition.channels().iter();
        let units: BTreeMap<&str, &str> = models
            .map(|(name, model)| (name.as_str(), model.unit.as_str()))
            .collect();
        let limits = definition.regions().iter().flat_map(|r| r.tolerance.keys());
        let limited: BTreeSet<&str> = limits.map(String::as_str).collect();
        let is_shared = |r: &ReadingRecord| {
            limited.contains(r.channel.as_str())
                && units.get(r.channel.as_str()) == Some(&r.unit.as_str())
        };
        let mut frames = 0u32;
        results.lines(FRAMES_FILE, |frame: FrameRecord| {
            frames += 1;
            out.take(&frame, summary.offset_s, is_shared);
        })?;
        if out.shown.is_empty() {
            return Err(unfit(
                "it shows no channel that this definition has a tolerance for, in the same unit",
            ));
        }
        if let Some([from_s, to_s]) = summary.span_s {
            out.interval_s = (to_s - from_s) / f64::from(frames.saturating_sub(1).max(1));
        }
        let read = [FRAMES_FILE, SUMMARY_FILE].into_iter();
        out.files = read.filter_map(|name| results.held(name)).collect();
        Ok(out)
    }

    /// The files of a result folder that are read.
    pub fn paths(folder: &Path) -> impl Iterator<Item = PathBuf> {
        [FRAMES_FILE, SUMMARY_FILE]
            .into_iter()
            .map(|name| folder.join(name))
    }

    /// The files that were read.
    #[must_use]
    pub fn files(&self) -> &[FileContent] {
        &self.files
    }

    fn take(
        &mut self,
        frame: &FrameRecord,
        offset_s: f64,
        is_shared: impl Fn(&ReadingRecord) -> bool,
    ) {
        for (_, reading) in agreeing(frame).filter(|(_, r)| is_shared(r)) {
            let shown = Shown {
                time_s: frame.time_s + offset_s,
                displayed: reading.displayed,
                error: reading.error,
                standard_error: reading.standard_error,
            };
            let track = self.shown.entry(reading.channel.clone()).or_default();
            match track.last_mut() {
                // The surest reading of a frame.
                Some(last) if last.time_s == shown.time_s => {
                    if shown.standard_error < last.standard_error {
                        *last = shown;
                    }
                }
                _ => track.push(shown),
            }
        }
    }

    /// As if it had shown `by` more of `channel`, and nothing else.
    #[must_use]
    pub fn leaning(&self, channel: &str, by: f64) -> Self {
        let lean = |s: &Shown| Shown {
            displayed: s.displayed + by,
            error: s.error + by,
            ..*s
        };
        let track = self.shown.get_key_value(channel);
        let track = track.map(|(name, track)| (name.clone(), track.iter().map(lean).collect()));
        Self {
            shown: track.into_iter().collect(),
            name: self.name.clone(),
            interval_s: self.interval_s,
            files: Vec::new(),
        }
    }

    /// Whether it showed `channel` throughout, from recording time `from_s` to `to_s`.
    #[must_use]
    pub fn shows(&self, channel: &str, [from_s, to_s]: [f64; 2]) -> bool {
        let Some(track) = self.shown.get(channel) else {
            return false;
        };
        let [from, to] = [from_s, to_s].map(|t| track.partition_point(|s| s.time_s < t));
        let gaps = track[from..to].windows(2);
        let mut gaps = gaps.map(|w| w[1].time_s - w[0].time_s);
        let ends = [from_s, to_s].map(|t| self.at(channel, t));
        // Frames come as they may.
        ends.iter().all(Option::is_some) && gaps.all(|gap_s| gap_s <= 2.0 * self.interval_s)
    }

    /// What it showed of `channel` nearest to recording time `time_s`, where that is within a frame of it.
    fn at(&self, channel: &str, time_s: f64) -> Option<Shown> {
        let track = self.shown.get(channel)?;
        let next = track.partition_point(|s| s.time_s < time_s);
        let near = [next.checked_sub(1), Some(next)].into_iter().flatten();
        near.filter_map(|k| track.get(k).copied())
            .min_by(|a, b| {
                (a.time_s - time_s)
                    .abs()
                    .total_cmp(&(b.time_s - time_s).abs())
            })
            .filter(|s| (s.time_s - time_s).abs() <= self.interval_s)
    }
}

/// Readings of the regions that agree with their inputs, each with its region.
fn agreeing(frame: &FrameRecord) -> impl Iterator<Item = (&str, &ReadingRecord)> {
    let agree = frame.regions.iter().filter(|(_, r)| !r.verdict.is_faulty());
    agree.flat_map(|(id, r)| r.readings.iter().map(move |reading| (id.as_str(), reading)))
}

/// Where the two differ, while they do.
#[derive(Clone, Debug)]
struct Open {
    onset_s: f64,
    detected_s: Option<f64>,
    first_frame: u64,
    last_frame: u64,
    /// The frame that was kept as a picture.
    shown_frame: u64,
    /// The largest difference, in tolerances.
    worst: (f64, WorstError),
}

/// A channel in a region, that has a tolerance there.
#[derive(Clone, Debug)]
struct Pair {
    region: usize,
    channel: String,
    tolerance: f64,
    persistence: Persistence,
    open: Option<Open>,
    /// Frames in which both showed it.
    compared: u64,
}

/// Compares what is shown with what another display showed, frame after frame.
#[derive(Clone, Debug)]
pub(super) struct Comparison<'d> {
    definition: &'d Definition,
    beside: Arc<Beside>,
    pairs: Vec<Pair>,
    events: Vec<Event>,
    last_time_s: f64,
}

impl<'d> Comparison<'d> {
    pub(super) fn new(definition: &'d Definition, beside: Arc<Beside>) -> Self {
        let mut pairs = Vec::new();
        for (region, model) in definition.regions().iter().enumerate() {
            let limits = model.tolerance.iter();
            let shared = limits.filter(|(channel, _)| beside.shown.contains_key(*channel));
            pairs.extend(shared.map(|(channel, tolerance)| Pair {
                region,
                channel: channel.clone(),
                tolerance: *tolerance,
                persistence: Persistence::new(model.confirm_ms(), model.recover_ms),
                open: None,
                compared: 0,
            }));
        }
        Self {
            definition,
            beside,
            pairs,
            events: Vec::new(),
            last_time_s: 0.0,
        }
    }

    /// Takes a frame; its recording time is its capture time plus `offset_s`, and the frame before was `interval_s` earlier. True
    /// when an event is raised.
    pub(super) fn push(
        &mut self,
        frame: &FrameRecord,
        recording: &Recording,
        (offset_s, interval_s): (f64, f64),
    ) -> bool {
        let mut is_raised = false;
        self.last_time_s = frame.time_s;
        for k in 0..self.pairs.len() {
            let compared = self.compared(&self.pairs[k], frame, recording, (offset_s, interval_s));
            let pair = &mut self.pairs[k];
            pair.compared += u64::from(compared.is_some());
            let split = compared.filter(|(times, _)| *times > 1.0);
            if let Some((times, worst)) = &split {
                let open = pair.open.get_or_insert_with(|| Open {
                    onset_s: frame.time_s,
                    detected_s: None,
                    first_frame: frame.frame,
                    last_frame: frame.frame,
                    shown_frame: frame.frame,
                    worst: (*times, worst.clone()),
                });
                open.last_frame = frame.frame;
                if *times > open.worst.0 {
                    open.worst = (*times, worst.clone());
                }
            }
            match pair.persistence.push(frame.time_s, split.is_some()) {
                Some(Transition::Raised { detected_s, .. }) => {
                    if let Some(open) = &mut pair.open {
                        open.detected_s = Some(detected_s);
                        open.shown_frame = frame.frame;
                        is_raised = true;
                    }
                }
                Some(Transition::Ended { end_s, .. }) => self.close(k, end_s),
                None if split.is_none() && pair.persistence.onset_s().is_none() => {
                    pair.open = None;
                }
                None => {}
            }
        }
        is_raised
    }

    /// By how many tolerances the two differ, and in what, where both show it.
    fn compared(
        &self,
        pair: &Pair,
        frame: &FrameRecord,
        recording: &Recording,
        (offset_s, interval_s): (f64, f64),
    ) -> Option<(f64, WorstError)> {
        let id = &self.definition.regions()[pair.region].id;
        let own = agreeing(frame)
            .filter(|(region, r)| region == id && r.channel == pair.channel)
            .map(|(_, r)| r)
            .min_by(|a, b| a.standard_error.total_cmp(&b.standard_error))?;
        let time_s = frame.time_s + offset_s;
        let other = self.beside.at(&pair.channel, time_s)?;
        let channel = self.definition.channel(&pair.channel);
        let is_angle =
            self.definition.channels()[channel.0].1.interpolation == Interpolation::Angular;
        let short = |v: f64| if is_angle { half_period(v, 360.0) } else { v };
        let measuring = SIGMAS * own.standard_error.hypot(other.standard_error);
        // The age of what they show differs from the usual by a frame of each at most.
        let slack_s = interval_s.max(self.beside.interval_s);
        let mut values = Vec::new();
        let mut value_at = |t: f64| {
            recording.values_at([channel].into_iter(), t, &mut values);
            values.first().and_then(|v| v.number())
        };
        let (before, now, after) = (
            value_at(time_s - slack_s),
            value_at(time_s),
            value_at(time_s + slack_s),
        );
        let moved = |other: Option<f64>| {
            other
                .zip(now)
                .map_or(0.0, |(other, now)| short(other - now).abs())
        };
        let motion = moved(before).max(moved(after));
        let apart = short(own.error - other.error).abs() - measuring - motion;
        Some({
            let worst = WorstError {
                channel: pair.channel.clone(),
                displayed: own.displayed,
                expected: other.displayed,
                unit: own.unit.clone(),
                frame: Some(frame.frame),
                display: Some(self.beside.name.clone()),
            };
            (apart / pair.tolerance, worst)
        })
    }

    fn close(&mut self, k: usize, end_s: f64) {
        let pair = &mut self.pairs[k];
        let Some(open) = pair.open.take() else { return };
        let Some(detected_s) = open.detected_s else {
            return;
        };
        let region = &self.definition.regions()[pair.region];
        let worst = open.worst.1;
        let remark = format!(
            "differs from what \"{}\" shows of {}: {} here, {} there, {:.1} times what one of them may be off",
            self.beside.name,
            worst.channel,
            rounded(worst.displayed),
            rounded(worst.expected),
            open.worst.0,
        );
        self.events.push(Event {
            class: Verdict::Misleading,
            regions: vec![region.id.clone()],
            onset_s: open.onset_s,
            detected_s,
            end_s,
            first_frame: open.first_frame,
            last_frame: open.last_frame,
            hazard: region.hazard,
            action: bench_action(region.hazard),
            best_frame: open.shown_frame,
            worst_error: Some(worst),
            picture_error: PictureError::default(),
            place: None,
            symbol: None,
            things: Vec::new(),
            requirement: region.requirements.join(", "),
            as_a_whole: None,
            test: None,
            remarks: vec![remark],
        });
    }

    /// What was compared, in words.
    pub(super) fn note(&self) -> String {
        let (name, regions) = (&self.beside.name, self.definition.regions());
        let pairs = self.pairs.iter().map(|pair| {
            format!(
                "{} in {}: {} frames",
                pair.channel, regions[pair.region].id, pair.compared
            )
        });
        let pairs: Vec<String> = pairs.collect();
        format!("compared with what \"{name}\" shows: {}", pairs.join("; "))
    }

    /// Whether nothing was compared.
    pub(super) fn is_idle(&self) -> bool {
        self.pairs.iter().all(|pair| pair.compared == 0)
    }

    /// All events; what is open ends here.
    pub(super) fn finish(mut self) -> Vec<Event> {
        for k in 0..self.pairs.len() {
            let ended = self.pairs[k].persistence.finish(self.last_time_s);
            if let Some(Transition::Ended { end_s, .. }) = ended {
                self.close(k, end_s);
            }
        }
        self.events
    }
}
