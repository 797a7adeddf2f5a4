//! The line from a definition, a recording and a capture to verdicts and events.

pub mod alerts;
#[cfg(test)]
mod anywhere;
pub mod beside;
mod clock;
pub mod constants;
pub mod folder;
mod foreign;
mod gaps;
mod halves;
mod hidden;
mod other_units;
mod pages;
pub mod place;
mod records;
mod resolved;
pub mod run;
mod stretch;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::capture::CapturedFrame;
use crate::capture::Error as CaptureError;
use crate::capture::StreamInfo;
use crate::capture::profile::Profile;
use crate::chain::measure::Given;
use crate::chain::watch::Changed;
use crate::definition::Definition;
use crate::definition::lint::unbound_columns;
use crate::evidence::measurements::Header;
use crate::evidence::records::{FrameRecord, Summary};
use crate::examine::comparison::ChainLook;
use crate::examine::subject::Subject;
use crate::judge::event::Event;
use crate::judge::region::RegionVerdict;
use crate::picture::Picture;
use crate::recording::Recording;
use crate::recording::inputs::Due;
use crate::reference::canvas::Geometry;
use crate::reference::painter::Painter;

use beside::Beside;
use place::Place;
pub use place::settle_place;
pub use resolved::spacing_note;
use run::Run;
use stretch::settle_profile;
pub use stretch::{Settled, confirm, find_stretch, first_stretch, settle};

/// Recording time = capture time + offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Offset {
    /// As given, s.
    Given(f64),
    /// Found from the material.
    Auto,
    /// 0 when the picture agrees with it, else found from the material.
    Usual,
}

impl Offset {
    /// The offset that is given, and none where it is still to be found, s: static artwork looks the same at any.
    #[must_use]
    pub const fn or_zero(self) -> f64 {
        match self {
            Self::Given(offset_s) => offset_s,
            Self::Auto | Self::Usual => 0.0,
        }
    }
}

/// How a check is run.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The time offset.
    pub offset: Offset,
    /// A profile of the chain; without one it is measured.
    pub profile: Option<Box<Profile>>,
    /// Where the display stands in the capture.
    pub place: Place,
    /// What is measured on the way in.
    pub stretch: Stretch,
    /// Frames outside the recording are not judged, and that is no error.
    pub allow_missing: bool,
    /// The display's own monitor was off when it was recorded: no reversion is waited for.
    pub monitor_off: bool,
    /// Another display of the same recording, whose pictures are compared with these.
    pub beside: Option<Arc<Beside>>,
}

impl Settings {
    /// Where the display stands: a profile knows, unless it is said.
    pub(crate) fn place(&self) -> Place {
        match (&self.place, &self.profile) {
            (Place::Usual, Some(profile)) => Place::Given(profile.look().geometry),
            (place, _) => *place,
        }
    }
}

/// From which stretch of the capture offset and chain are known.
#[derive(Clone, Debug, PartialEq)]
pub enum Stretch {
    /// The first, whatever it shows.
    First,
    /// The first, unless it disagrees: then [`Error::NoAgreement`] comes before anything is judged,
    /// and [`find_stretch`] may find another.
    FirstIfAgreeing,
    /// One that was found already.
    Found(Box<Settled>),
}

/// Where frames come from; `Ok(false)` at the end.
pub trait FrameSource {
    /// Reads the next frame into `frame`.
    ///
    /// # Errors
    /// When the capture is damaged here; frames before are good.
    fn next_into(&mut self, frame: &mut CapturedFrame) -> Result<bool, CaptureError>;
    /// What is known of the stream.
    fn info(&self) -> &StreamInfo;
}

/// Takes what a check finds, as it goes.
pub trait Sink {
    /// A frame was judged.
    ///
    /// # Errors
    /// When it cannot be written.
    fn frame(&mut self, record: &FrameRecord) -> std::io::Result<()>;
    /// An event of region `region` that began at `first_frame` has ended; `picture` shows it best.
    ///
    /// # Errors
    /// When it cannot be written.
    fn snapshot(&mut self, snapshot: &Snapshot) -> std::io::Result<()>;
    /// A frame was judged: its picture and how things stand, for whoever wants to keep pictures.
    ///
    /// # Errors
    /// When something cannot be written.
    fn seen(&mut self, _: &Seen) -> std::io::Result<()> {
        Ok(())
    }
    /// What the columns of [`Sink::measured`] are, before the first frame.
    ///
    /// # Errors
    /// When something cannot be written.
    fn columns(&mut self, _: &Header) -> std::io::Result<()> {
        Ok(())
    }
    /// A frame was judged: the verdicts on its regions, for whoever stores measurements.
    ///
    /// # Errors
    /// When something cannot be written.
    fn measured(&mut self, _: f64, _: &[RegionVerdict]) -> std::io::Result<()> {
        Ok(())
    }
}

/// A frame that was judged, and how things stand in it.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// The frame.
    pub frame: &'a CapturedFrame,
    /// The one before it.
    pub before: Option<&'a CapturedFrame>,
    /// What was due.
    pub due: Due,
    /// By region.
    pub regions: &'a [RegionState],
}

/// How things stand in a region.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RegionState {
    /// A fault is under way, confirmed or not.
    pub is_open: bool,
    /// It was confirmed.
    pub is_raised: bool,
    /// This frame is faulty.
    pub is_faulty: bool,
}

/// The frame that shows a region's event best.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// The frame's number.
    pub frame: u64,
    /// Its capture time, s.
    pub time_s: f64,
    /// The captured picture.
    pub captured: Arc<Picture>,
    /// What was due.
    pub due: Due,
}

/// What stops a check.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The capture.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// The chain is not the one of the profile, or changed on the way.
    #[error("{words}")]
    Chain {
        /// First frame that may show the changed chain: nothing is raised from there on. `None` when nothing was judged.
        since_frame: Option<u64>,
        /// What is not as it was measured.
        what: String,
        /// The same as a sentence, with what to do.
        words: String,
    },
    /// The first stretch does not show what is due, so that the chain cannot be measured from it.
    #[error(
        "the first stretch of the capture does not agree with the recording; give a profile, or check offset, definition and recording"
    )]
    NoAgreement,
    /// The display is found in the capture, but not where it is looked for.
    #[error("{words}")]
    Elsewhere {
        /// As a sentence, with what to do.
        words: String,
        /// Where it is.
        geometry: Geometry,
    },
    /// The display is not found in the capture; a sentence, with what to do.
    #[error("{0}")]
    Nowhere(String),
    /// Frames outside the recording, in words.
    #[error(
        "{0}; give a recording that covers them, another --offset, or --allow-missing to leave them out"
    )]
    Unrecorded(String),
    /// Nothing of the other display was there to compare with.
    #[error(
        "nothing was compared with the other display: the two have no time in common in which both agree with their inputs"
    )]
    Uncompared,
    /// It was told to stop.
    #[error(
        "broken off after {frames} frames: what came after them was not looked at; what is said holds for these frames alone"
    )]
    BrokenOff {
        /// Frames that were judged.
        frames: u64,
    },
    /// Results cannot be written.
    #[error("cannot write results")]
    Write(#[from] std::io::Error),
}

impl Error {
    /// The same, with the capture named where it is about where the display stands in that.
    #[must_use]
    pub fn of_capture(self, capture: &Path) -> Self {
        let named = |words: String| format!("\"{}\": {words}", capture.display());
        match self {
            Self::Elsewhere { words, geometry } => Self::Elsewhere {
                words: named(words),
                geometry,
            },
            Self::Nowhere(words) => Self::Nowhere(named(words)),
            other => other,
        }
    }

    /// Nothing is judged: `what` is not as it was measured, with what to `do` about it.
    fn chain(what: impl Into<String>, to_do: &str) -> Self {
        let what = what.into();
        Self::Chain {
            since_frame: None,
            words: format!("{what}; {to_do}"),
            what,
        }
    }
}

impl From<Changed> for Error {
    fn from(changed: Changed) -> Self {
        let Changed {
            since_frame,
            what,
            words,
        } = changed;
        Self::Chain {
            since_frame,
            what,
            words,
        }
    }
}

/// What a check found.
#[derive(Debug)]
pub struct Outcome {
    /// The events.
    pub events: Vec<Event>,
    /// The run.
    pub summary: Summary,
    /// What stopped it early.
    pub error: Option<Error>,
}

impl Outcome {
    /// 0 all judged and agreeing, 1 at least one event, 2 could not be judged.
    #[must_use]
    pub fn exit_status(&self) -> u8 {
        exit_status(&self.summary, &self.events)
    }
}

/// How a check with these results ended: 0 all judged and agreeing, 1 at least one event, 2 could not be judged.
#[must_use]
pub fn exit_status(summary: &Summary, events: &[Event]) -> u8 {
    match (&summary.error, events.is_empty()) {
        (Some(_), _) => 2,
        (None, false) => 1,
        (None, true) if summary.not_judged.len() == summary.region_verdicts.len() => 2,
        (None, true) => 0,
    }
}

/// After how many frames a check with this summary was broken off; `None` for one that came to its end.
#[must_use]
pub fn broken_off_after(summary: &Summary) -> Option<u64> {
    let frames = summary.frames;
    let is_broken_off = summary.error == Some(Error::BrokenOff { frames }.to_string());
    is_broken_off.then_some(frames)
}

fn has_color(definition: &Definition) -> bool {
    let mut colors = definition.file().colors.keys();
    colors.any(|c| {
        let [r, g, b] = definition.color(c).0;
        r != g || g != b
    })
}

/// Checks a whole capture, or as much of it as comes before `stop` is true.
///
/// # Errors
/// Only what prevents any judgement; what happens later ends the check early and stands in the outcome.
pub fn check(
    definition: &Definition,
    subject: Subject,
    recording: &Recording,
    source: &mut dyn FrameSource,
    settings: &Settings,
    stop: &AtomicBool,
    sink: &mut dyn Sink,
) -> Result<Outcome, Error> {
    let is_stopped = || stop.load(Ordering::Relaxed);
    let mut painter = Painter::new();
    let (frames, mut ended) = first_stretch(source)?;
    let info = source.info().clone();
    let mut notes = info.notes.clone();
    notes.extend(spacing_note(definition, recording));
    let unbound = unbound_columns(definition, recording.form());
    if !unbound.is_empty() {
        notes.push(format!(
            "[recording.columns] says something of {}, which no channel reads: its keys are the names that channels know columns by",
            unbound.join(", ")
        ));
    }
    let unsaid = recording.missing_validity();
    if !unsaid.is_empty() {
        notes.push(format!(
            "the recording has no validity column for {}: every value of theirs counts as valid, so a plausible value on invalid data cannot be told there",
            unsaid.join(", ")
        ));
    }
    if frames.is_empty() && is_stopped() {
        return Err(Error::BrokenOff { frames: 0 });
    }
    if info.is_grey && has_color(definition) {
        return Err(Error::chain(
            "the capture is grey, and the display has colours, which could not be judged",
            "capture in colour",
        ));
    }
    let settled = match &settings.stretch {
        Stretch::Found(found) => Settled::clone(found),
        stretch => {
            let given = Given {
                siting: info.siting,
                profile: settings.profile.as_deref(),
                place: settle_place(
                    subject,
                    recording,
                    &frames,
                    settings.place(),
                    settings.offset,
                    &mut painter,
                )?,
            };
            let settled = settle(subject, recording, &frames, given, settings.offset);
            if settled.measured.is_too_soft() {
                let share = 100.0 * settled.measured.sharpness.unwrap_or_default();
                return Err(Error::chain(
                    format!(
                        "the display's artwork is where it is due, but its edges have only {share:.0} % of the slope that they should have: the picture is blurred, or has lost its contrast, and what it shows cannot be judged"
                    ),
                    "focus the camera or set its exposure, or capture by wire",
                ));
            }
            if *stretch == Stretch::FirstIfAgreeing && !settled.measured.is_good() {
                return Err(Error::NoAgreement);
            }
            settled
        }
    };
    let offset = (settled.offset_s, settled.offset_from.clone());
    let given = settings.profile.as_deref();
    let (profile, profile_from) = settle_profile(definition, given, settled, &mut notes)?;
    let chain = ChainLook::of(&profile);
    let size = (profile.width, profile.height);
    let mut run = Run::new(
        definition,
        subject,
        recording,
        &chain,
        size,
        offset.0,
        profile.latency_s,
        painter,
    );
    if !settings.monitor_off {
        run.expect_reversions();
    }
    if let Some(beside) = &settings.beside {
        run.compare_with(Arc::clone(beside));
    }
    sink.columns(&Header::of(definition, &run))?;
    let mut error = None;
    let mut buffered = frames.into_iter();
    // Two buffers by turns: the frame before stays at hand without a copy.
    let mut frame = CapturedFrame::new();
    let mut before = CapturedFrame::new();
    loop {
        if is_stopped() {
            break;
        }
        std::mem::swap(&mut frame, &mut before);
        if let Some(next) = buffered.next() {
            frame = next;
        } else if let Some(e) = ended.take() {
            error = Some(Error::Capture(e));
            break;
        } else {
            match source.next_into(&mut frame) {
                Ok(true) => {}
                Ok(false) => break,
                Err(e) => {
                    error = Some(e.into());
                    break;
                }
            }
        }
        match run.frame(&frame, &before, sink) {
            Ok(()) => {}
            Err(e) => {
                error = Some(e);
                break;
            }
        }
    }
    if is_stopped() && matches!(error, None | Some(Error::Capture(_))) {
        // Whatever else ended it came of that: who writes into a pipe is often told to stop at the same time.
        let frames = run.frames();
        if frames == 0 {
            return Err(Error::BrokenOff { frames });
        }
        error = Some(Error::BrokenOff { frames });
    }
    if let Err(e) = run.flush(sink)
        && error.is_none()
    {
        error = Some(e);
    }
    if error.is_none() && run.is_never_compared() {
        error = Some(Error::Uncompared);
    }
    if let Some((text, is_error)) = run.unrecorded(settings.allow_missing) {
        if error.is_none() && is_error {
            error = Some(Error::Unrecorded(text));
        } else {
            notes.push(text);
        }
    }
    Ok(run.finish(info, profile, profile_from, offset, notes, error, recording))
}
