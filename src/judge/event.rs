//! An event as it is recorded: what was wrong, where, from when to when, by how much, and what the monitor does about it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::region::Tested;
use super::verdict::Verdict;
use crate::definition::model::Hazard;
use crate::examine::comparison::Difference;

/// What the monitor does about an event.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Action {
    /// Write it down.
    Note,
    /// Flag the region to the crew.
    FlagRegion,
    /// Remove the picture and put up the reversionary display; it stays until reset.
    Revert,
}

/// The action for a hazard class.
#[must_use]
pub const fn action(hazard: Hazard) -> Action {
    match hazard {
        Hazard::Catastrophic | Hazard::Hazardous => Action::Revert,
        Hazard::Major => Action::FlagRegion,
        Hazard::Minor | Hazard::None => Action::Note,
    }
}

/// What is done about an event that the bench alone can see: no monitor reverts for it.
#[must_use]
pub const fn bench_action(hazard: Hazard) -> Action {
    match action(hazard) {
        Action::Revert => Action::Note,
        other => other,
    }
}

/// The largest error of a value that an event saw, where it is beyond the tolerance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorstError {
    /// Channel.
    pub channel: String,
    /// Value shown.
    pub displayed: f64,
    /// Value that was due, or that `display` showed.
    pub expected: f64,
    /// Unit of both.
    pub unit: String,
    /// The frame that shows it; records of earlier versions do not say.
    #[serde(default)]
    pub frame: Option<u64>,
    /// The other display that showed `expected`; absent where the inputs say what was due.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub display: Option<String>,
}

impl WorstError {
    /// What `expected` is, as a word before it: what was due, or what another display showed.
    #[must_use]
    pub fn of_expected(&self) -> String {
        let shown = |display: &String| format!("\"{display}\"");
        self.display.as_ref().map_or_else(|| "due".into(), shown)
    }
}

/// What of a region's picture differs from the reference that is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct PictureError {
    /// Pixels of luma whose ink the reference has and the capture lacks.
    pub missing_px: u32,
    /// Pixels of luma whose ink the capture has and the reference lacks.
    pub foreign_px: u32,
    /// Samples of colour (a sample stands for 2 x 2 pixels) that differ.
    pub color_samples: u32,
}

impl std::fmt::Display for PictureError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self {
            missing_px,
            foreign_px,
            color_samples,
        } = self;
        write!(
            f,
            "{missing_px} px missing, {foreign_px} px foreign, {color_samples} colour samples"
        )
    }
}

impl From<&Difference> for PictureError {
    fn from(difference: &Difference) -> Self {
        Self {
            missing_px: difference.luma.missing_px,
            foreign_px: difference.luma.foreign_px,
            color_samples: difference.chroma.px(),
        }
    }
}

/// A run of faulty verdicts that persisted past the confirmation time. Times are capture times, s.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Event {
    /// What kind of fault.
    pub class: Verdict,
    /// Regions concerned; `["*"]` for the whole frame.
    pub regions: Vec<String>,
    /// First faulty frame.
    pub onset_s: f64,
    /// When it was confirmed.
    pub detected_s: f64,
    /// First frame that agrees again, or the last frame of the capture.
    pub end_s: f64,
    /// Index of the first faulty frame.
    pub first_frame: u64,
    /// Index of the last faulty frame.
    pub last_frame: u64,
    /// The most severe hazard class of the regions.
    pub hazard: Hazard,
    /// What the monitor does.
    pub action: Action,
    /// Largest error of a value against its tolerance, where values could be read and one was beyond it.
    pub worst_error: Option<WorstError>,
    /// What differs in `best_frame`, in the region that shows the fault best.
    #[serde(default)]
    pub picture_error: PictureError,
    /// Where the picture disagrees in `best_frame`, `[x, y, width, height]`, px of the capture.
    #[serde(default)]
    pub place: Option<[i32; 4]>,
    /// The symbol that it is most likely about: its name or kind, and its place in the region's list. Not where several regions
    /// are concerned.
    #[serde(default)]
    pub symbol: Option<String>,
    /// What had the slots of tables that the worst error and the symbol are of, as it began.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub things: Vec<Thing>,
    /// Requirement ids of the regions, separated by commas.
    pub requirement: String,
    /// What a misleading picture is as a whole, where that could be told; the first remark says it in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub as_a_whole: Option<AsAWhole>,
    /// The sequential test that raised it, where its hazard class has a budget and readings decided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test: Option<TestRecord>,
    /// What else the regions said in this time.
    pub remarks: Vec<String>,
    /// The frame that shows the fault best.
    pub best_frame: u64,
}

/// A thing of a table that has a slot: a target of a traffic plot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Thing {
    /// What the table says that it is.
    pub id: String,
    /// The table, by the name that the definition has for it.
    pub table: String,
    /// The slot, from 1.
    pub slot: u32,
}

impl std::fmt::Display for Thing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} (slot {} of {})", self.id, self.slot, self.table)
    }
}

impl Event {
    /// [`Self::things`] in words.
    #[must_use]
    pub fn things_in_words(&self) -> Option<String> {
        let words: Vec<String> = self.things.iter().map(Thing::to_string).collect();
        (!words.is_empty()).then(|| words.join(", "))
    }
}

/// A sequential test that raised an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TestRecord {
    /// What was asked of the reading.
    pub of: Tested,
    /// The region that it is read in.
    pub region: String,
    /// Its channel.
    pub channel: String,
    /// What is read: `pointer`, `scale`, ...
    pub what: String,
    /// Sum of log-likelihood ratios when the alarm was raised.
    pub sum: f64,
    /// What it had to reach: the log of the independent readings that must lie between false alarms.
    pub threshold: f64,
}

/// What a misleading picture is as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum AsAWhole {
    /// Another page than the one that is due.
    OtherPage,
    /// What is due, with its halves exchanged.
    HalvesExchanged,
    /// Another picture than the page of a reversion, which did not come in time.
    NotReverted,
}

/// The word for a verdict in reports.
#[must_use]
pub const fn name(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotJudged => "not judged",
        Verdict::Agrees => "agrees",
        Verdict::Blind => "blind",
        Verdict::Blank => "blank",
        Verdict::Garbled => "garbled",
        Verdict::Late => "late",
        Verdict::Frozen => "frozen",
        Verdict::Misleading => "misleading",
    }
}
