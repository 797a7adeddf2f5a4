//! Faults put into captured frames: what a monitor must catch, made on purpose and reproducible.
//!
//! *The question*: if the display went wrong in this way, at this moment, would the monitor see it?
//!
//! *The method*: a [`Fault`] is plain data: a kind, where it strikes, its size, its look and a seed. Its
//! [`Model`] turns it, with the clean frames of a [`Clip`], into faulty frames. Frames are a pure function
//! of clip and fault: nothing is remembered between two runs, so every trial can be made again from its
//! record. Pixels that a fault does not concern stay the unit's own. A fault of size zero changes nothing.
//!
//! *What it cannot do*: a fault is put in behind the codec. What a codec would make of the faulty
//! picture is not simulated, except that redrawn pixels get the chain's blur and noise.

pub mod mixing;
pub mod paint;
pub mod parts;
pub mod redraw;
pub mod value;

mod kinds;
mod page;

use crate::capture::CapturedFrame;
use crate::capture::profile::Profile;
use crate::definition::Definition;
use crate::examine::comparison::{ChainLook, captured_area};
use crate::examine::subject::Subject;
use crate::judge::event::{AsAWhole, Event};
use crate::judge::verdict::Verdict;
use crate::picture::Rect;
use crate::recording::Recording;
use crate::recording::inputs::{ChannelId, Inputs};

pub use kinds::{MODELS, model};

/// What goes wrong: the picture, a value in it, or the signal that carries it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Group {
    /// What is drawn.
    Picture,
    /// What a symbol shows.
    Value,
    /// How the picture is sent.
    Signal,
}

/// Unit of sizes that count in tolerances of the channel.
pub const TOLERANCES: &str = "tolerance";

/// What the size of a fault means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// In words.
    pub what: &'static str,
    /// Unit; [`TOLERANCES`] where sizes count in tolerances of the channel.
    pub unit: &'static str,
    /// Size of a plain trial: clearly wrong, not extreme.
    pub usual: f64,
    /// Smallest and largest size that can be made.
    pub range: [f64; 2],
}

impl Axis {
    /// A size with its unit, where it has one.
    #[must_use]
    pub fn with_unit(&self, size: f64) -> String {
        match self.unit {
            "" => size.to_string(),
            unit => format!("{size} {unit}"),
        }
    }

    /// What a size is, with its unit, where it has one.
    #[must_use]
    pub fn named(&self) -> String {
        match self.unit {
            "" => self.what.to_owned(),
            unit => format!("{} ({unit})", self.what),
        }
    }
}

/// Where a fault may strike. Without a region it is the whole frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Target {
    /// Index of the region.
    pub region: Option<usize>,
    /// Index of the symbol in its region.
    pub symbol: Option<usize>,
    /// The channel whose value is concerned.
    pub channel: Option<ChannelId>,
}

/// Where wrong values come from.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Default,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// The region is drawn anew by the reference renderer, with the chain's blur and noise.
    #[default]
    Redraw,
    /// The region is taken from another moment of the same capture: the unit's own pixels.
    Donor,
}

/// One fault, as plain data.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Name of its kind, one of [`MODELS`].
    pub kind: &'static str,
    /// Where it strikes.
    pub target: Target,
    /// Its size on the kind's [`Axis`]; 1 where the kind has none.
    pub size: f64,
    /// Index into the kind's looks; 0 where it has one only.
    pub look: usize,
    /// Where wrong values come from.
    pub method: Method,
    /// Seed of all that is random in it.
    pub seed: u64,
}

/// Clean frames around a trial, and what is known of them.
#[derive(Clone, Copy)]
pub struct Clip<'a> {
    /// What the display shows.
    pub subject: Subject<'a>,
    /// The inputs.
    pub recording: &'a Recording,
    /// The chain.
    pub profile: &'a Profile,
    /// Recording time = capture time + this, s.
    pub offset_s: f64,
    /// Clean frames in the order of the capture.
    pub frames: &'a [CapturedFrame],
    /// Index into `frames` of the first faulty frame; at least one frame is before it.
    pub onset: usize,
    /// One past the last faulty frame.
    pub end: usize,
}

impl<'a> Clip<'a> {
    /// The definition.
    #[must_use]
    pub const fn definition(&self) -> &'a Definition {
        self.subject.definition()
    }

    /// How the chain shows a picture.
    #[must_use]
    pub fn chain(&self) -> ChainLook {
        ChainLook::of(self.profile)
    }

    /// Recording time of the inputs that frame `k` of the clip shows, s.
    #[must_use]
    pub fn due_time_s(&self, k: usize) -> f64 {
        self.frames[k].time_s + self.offset_s - self.profile.latency_s
    }

    /// The inputs that frame `k` of the clip shows.
    pub fn inputs(&self, k: usize, out: &mut Inputs) {
        self.recording.inputs_at(self.due_time_s(k), out);
    }

    /// Whether region `k` is on all pages that are due from `from_s` to `to_s` (capture time, s).
    #[must_use]
    pub fn is_on_page(&self, k: usize, from_s: f64, to_s: f64) -> bool {
        let [from_s, to_s] = [from_s, to_s].map(|s| s + self.offset_s - self.profile.latency_s);
        let due = self.recording.pages_due(from_s, to_s);
        self.definition().pages_of(k).contains_all(due)
    }

    /// Pixels of the target in the capture: its region, or the whole frame.
    #[must_use]
    pub fn area(&self, target: Target) -> Rect {
        let size = (self.profile.width, self.profile.height);
        match target.region {
            Some(k) => captured_area(
                self.definition().regions()[k].area(),
                &self.chain(),
                size.0,
                size.1,
            ),
            None => Rect::new(0, 0, size.0 as i32, size.1 as i32),
        }
    }

    /// Tolerance of the target's channel in its region, in the channel's unit.
    #[must_use]
    pub fn tolerance(&self, target: Target) -> Option<f64> {
        tolerance(self.definition(), target)
    }

    /// Frames from the onset to frame `k`, s.
    #[must_use]
    pub fn since_onset_s(&self, k: usize) -> f64 {
        self.frames[k].time_s - self.frames[self.onset].time_s
    }

    /// The frame of the clip whose data are nearest to `age_s` older than those of frame `k`.
    #[must_use]
    pub fn older(&self, k: usize, age_s: f64) -> usize {
        let wanted_s = self.frames[k].time_s - age_s;
        let after = self.frames.partition_point(|f| f.time_s < wanted_s);
        let distance = |i: usize| (self.frames[i].time_s - wanted_s).abs();
        (after.saturating_sub(1)..=after.min(self.frames.len() - 1))
            .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
            .unwrap_or(k)
    }
}

/// Tolerance of `target`'s channel in its region, in the channel's unit.
#[must_use]
pub fn tolerance(definition: &Definition, target: Target) -> Option<f64> {
    let region = &definition.regions()[target.region?];
    let (name, _) = &definition.channels()[target.channel?.0];
    region.tolerance.get(name).copied()
}

/// Whether a frame is delivered at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delivery {
    /// It is.
    Sent,
    /// It never arrives.
    Lost,
}

/// Makes the frames of one fault.
pub trait Injector: Send {
    /// Turns frame `k` of the clip, which is at or after its onset, into what the faulty display shows.
    /// `frame` holds the clean frame.
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery;
    /// From now on shows no value that is off by more than its tolerance: what of the fault is permitted. False where what it shows is
    /// no value.
    fn keep_within(&mut self, _: &Clip) -> bool {
        false
    }
}

/// What else has to be watched so that a fault is told, and which events tell it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watch {
    /// Nothing: its place is wrong by itself.
    Place,
    /// Whether the display reverts for it.
    Reversion,
    /// What the display beside it shows.
    Beside,
}

impl Watch {
    /// Whether `event` may tell a fault for which this is watched.
    #[must_use]
    pub fn tells(self, event: &Event) -> bool {
        match self {
            Self::Place => true,
            Self::Reversion => event.as_a_whole == Some(AsAWhole::NotReverted),
            Self::Beside => (event.worst_error.as_ref()).is_some_and(|e| e.display.is_some()),
        }
    }
}

/// What the display beside the one that is struck shows wrong meanwhile.
#[derive(Clone, Debug, PartialEq)]
pub struct Lean {
    /// Channel.
    pub channel: String,
    /// What it shows more than it did, in the channel's unit.
    pub by: f64,
}

/// What is always true of a kind.
#[derive(Clone, Copy, Debug)]
pub struct About {
    /// Its name in plans, trials and reports.
    pub name: &'static str,
    /// What goes wrong.
    pub group: Group,
    /// In a sentence.
    pub summary: &'static str,
    /// What its size means; `None` where it has none.
    pub axis: Option<Axis>,
    /// Looks that it comes in; empty when there is only one.
    pub looks: &'static [&'static str],
    /// It shows only while the inputs move.
    pub needs_motion: bool,
    /// It begins too small to be seen, and shows in the middle of its time.
    pub grows: bool,
    /// Wrong values can be taken from other moments of the capture.
    pub has_donor: bool,
    /// What has to be watched for it.
    pub watch: Watch,
}

impl About {
    /// A kind with one look and no size, that shows at once.
    #[must_use]
    pub const fn new(name: &'static str, group: Group, summary: &'static str) -> Self {
        Self {
            name,
            group,
            summary,
            axis: None,
            looks: &[],
            needs_motion: false,
            grows: false,
            has_donor: false,
            watch: Watch::Place,
        }
    }
}

/// One way of going wrong.
pub trait Model: Sync {
    /// What is always true of it.
    fn about(&self) -> &'static About;
    /// Where it can strike.
    fn targets(&self, subject: Subject) -> Vec<Target>;
    /// Verdicts that are right for it; none for what is harmless, or of the chain.
    fn classes(&self, fault: &Fault) -> &'static [Verdict];
    /// Size up to which it is permitted there and need not be raised, in the unit of its axis: a value within its tolerance.
    /// `None` where nothing of it is permitted.
    fn permitted(&self, _: &Clip, _: Target) -> Option<f64> {
        let axis = self.about().axis?;
        (axis.unit == TOLERANCES).then_some(1.0)
    }
    /// Whether it can come in this look there.
    fn has_look(&self, _: &Definition, _: Target, _: usize) -> bool {
        true
    }
    /// Whether it is one of the capture chain, or looks like one: then it is right to end the check with a word
    /// about the chain.
    fn is_of_chain(&self, _: &Fault) -> bool {
        false
    }
    /// What the display beside it shows wrong while it lasts. Of kinds that [`Watch::Beside`] tells.
    fn lean(&self, _: &Clip, _: &Fault) -> Option<Lean> {
        None
    }
    /// The nearest harmless change, which must not be raised.
    fn twin(&self, clip: &Clip, fault: &Fault) -> Option<(Fault, &'static str)>;
    /// Prepares to make it in `clip`. `None` when it cannot be made here: no alert is on, no
    /// other moment has the wanted value.
    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>>;
}
