//! What a trial was and what came of it: a line of `trials.jsonl`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::nearness::Nearness;
use super::plan::Onset;
use crate::definition::model::Hazard;
use crate::inject::Method;
use crate::judge::event::{Action, WorstError};
use crate::judge::verdict::Verdict;

/// Name of the file of trials in a folder of results.
pub const TRIALS_FILE: &str = "trials.jsonl";
/// Version of the records; see [`crate::evidence::records::RECORDS_VERSION`] for the rule.
pub const TRIALS_VERSION: u32 = 1;

/// One trial.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrialRecord {
    /// Number in the plan, from 0.
    pub trial: u64,
    /// Fault kind.
    pub kind: String,
    /// What goes wrong: `picture`, `value` or `signal`.
    pub group: String,
    /// The nearest harmless change to the kind, which must not be raised.
    pub is_twin: bool,
    /// Region that it strikes; `*` for the whole frame.
    pub region: String,
    /// Symbol of the region, from 0, where it strikes one alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub symbol: Option<usize>,
    /// Channel whose value is concerned.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<String>,
    /// Hazard class of the region; the most severe of all for the whole frame.
    pub hazard: Hazard,
    /// Size, where the kind has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<f64>,
    /// Unit of the size.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Size up to which the definition permits it there; from twice that on it must be found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub permitted: Option<f64>,
    /// What it changes beyond what is permitted is there for less than it takes to confirm a fault: it need not be raised.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_brief: bool,
    /// Look, where the kind has several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub look: Option<String>,
    /// What the twin does, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub change: Option<String>,
    /// Where wrong values come from.
    pub method: Method,
    /// Seed.
    pub seed: u64,
    /// Number of the capture in the plan, from 0.
    pub capture: usize,
    /// First faulty frame.
    pub onset_frame: u64,
    /// Capture time of it, s.
    pub onset_s: f64,
    /// How long the fault lasts, s.
    pub duration_s: f64,
    /// When it might begin.
    pub onset: Onset,
    /// Luma pixels that the first faulty frame changes by more than 24 levels.
    pub changed_px: u64,
    /// What came of it.
    pub outcome: Outcome,
}

/// What came of a trial.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Outcome {
    /// In a word.
    pub result: Outcomes,
    /// Verdicts that are right; `chain` when the chain is to blame; none for a harmless change.
    pub expected: Vec<String>,
    /// Class that was given: of the event in place; `chain` when the check stopped for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub class: Option<String>,
    /// Regions of that event.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub regions: Vec<String>,
    /// From the first faulty frame to the confirmed event, ms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub detection_ms: Option<f64>,
    /// Limit of it, ms, where the plan has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_ms: Option<f64>,
    /// The monitor's action.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub action: Option<Action>,
    /// Largest error that was read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_error: Option<WorstError>,
    /// Why it was missed, or wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<Why>,
    /// Of a miss: how near it came to being raised.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nearness: Option<Nearness>,
    /// Events in places that the fault did not touch.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub stray_events: u32,
    /// Verdicts of the region that was struck, frame by frame: a letter each (`a`grees, `b`lind,
    /// blan`k`, `g`arbled, `l`ate, `f`rozen, `m`isleading, `-` not judged); the worst of all for the
    /// whole frame.
    pub verdicts: String,
    /// Picture of a miss.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub picture: Option<String>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde's signature")]
fn is_zero(v: &u32) -> bool {
    *v == 0
}

/// The outcome in a word.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Outcomes {
    /// A fault, raised in its place as its class.
    Detected,
    /// A fault, raised in its place as another class.
    WrongClass,
    /// A fault, raised elsewhere only.
    WrongPlace,
    /// A fault that was not raised.
    Missed,
    /// A harmless change that was not raised.
    Quiet,
    /// A harmless change that was raised.
    Nuisance,
}

/// Why a fault was not raised as what it is.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// It changed no pixel by more than 24 levels.
    NothingChanged,
    /// What it changes lies where nothing is checked.
    UncheckedArea,
    /// The region is not judged: the recording lacks its channels.
    NotJudged,
    /// The inputs did not move enough to show it.
    Blind,
    /// The error is within the tolerance.
    WithinTolerance,
    /// A value was read beyond its tolerance, by no more than measuring and the permitted latency explain.
    WithinMeasuring,
    /// The picture is that of another moment, recent enough to be permitted.
    WithinLatency,
    /// Pixels changed, by less than agreement counts as a difference.
    TooFaint,
    /// Faulty frames were seen, for less than the confirmation time.
    Persistence,
    /// What it changed was there for less than the confirmation time.
    TooBrief,
    /// It was raised as another class.
    Class,
    /// It was raised, in another region.
    Place,
    /// The chain changed, and it was not recognised while that lasted.
    ChainNotRecognised,
}

/// The letter of a verdict; see [`Outcome::verdicts`].
#[must_use]
pub const fn letter(verdict: Verdict) -> char {
    match verdict {
        Verdict::NotJudged => '-',
        Verdict::Agrees => 'a',
        Verdict::Blind => 'b',
        Verdict::Blank => 'k',
        Verdict::Garbled => 'g',
        Verdict::Late => 'l',
        Verdict::Frozen => 'f',
        Verdict::Misleading => 'm',
    }
}
