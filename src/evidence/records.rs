//! The records that a check writes.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::capture::StreamInfo;
use crate::capture::profile::Profile;
use crate::definition::model::AlertClass;
use crate::judge::reversion::ReversionRecord;
use crate::judge::verdict::Verdict;

/// Version of the records. A reader of version n reads every file of version n or lower; fields may be
/// added without a new version, so readers skip fields that they do not know.
pub const RECORDS_VERSION: u32 = 1;

/// The lines of frames in a result folder of `check`.
pub const FRAMES_FILE: &str = "frames.jsonl";
/// The summary there.
pub const SUMMARY_FILE: &str = "summary.json";

/// One line of `frames.jsonl`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameRecord {
    /// Number of the frame, from 0.
    pub frame: u64,
    /// Capture time, s.
    pub time_s: f64,
    /// CRC-32 (RFC 1952) of the captured pixels as delivered.
    pub crc32: u32,
    /// Verdict on the frame.
    pub verdict: Verdict,
    /// By region id.
    pub regions: BTreeMap<String, RegionRecord>,
}

/// One region in a line of `frames.jsonl`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionRecord {
    /// Verdict on the region.
    pub verdict: Verdict,
    /// Age of the data shown, ms; null when it could not be measured.
    pub staleness_ms: Option<f64>,
    /// Its standard error, ms.
    pub staleness_se_ms: Option<f64>,
    /// What the symbols show.
    pub readings: Vec<ReadingRecord>,
    /// What stands there without a reading, since too little of it is seen, as of a pointer behind another: neither right nor
    /// wrong.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hidden: Vec<HiddenRecord>,
}

/// Something that moves with a channel and is hidden.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HiddenRecord {
    /// Channel.
    pub channel: String,
    /// What is hidden: `pointer`, ...
    pub what: String,
}

/// One reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingRecord {
    /// Channel.
    pub channel: String,
    /// What was read: `pointer`, `scale`, `readout`, ...
    pub what: String,
    /// Value shown.
    pub displayed: f64,
    /// Value that is due.
    pub expected: f64,
    /// Shown minus due, the short way round for angles.
    pub error: f64,
    /// Standard error of the value shown; half the last digit over the square root of 3 for digits.
    pub standard_error: f64,
    /// Unit of all four.
    pub unit: String,
    /// Pixels for a unit; absent for digits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub px_per_unit: Option<f64>,
    /// What has the slot of a table that the channel is of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thing: Option<String>,
}

/// `summary.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Summary {
    /// Version of the records.
    pub records_version: u32,
    /// Program and version.
    pub tool: String,
    /// Caution that goes with every result.
    pub caution: String,
    /// The display's name.
    pub display: String,
    /// `agrees`, `faults found`, `broken off` (before its end, without a fault so far) or `not judged`.
    pub result: String,
    /// Frames judged.
    pub frames: u64,
    /// Capture time of the first and last frame, s.
    pub span_s: Option<[f64; 2]>,
    /// Number of events by class.
    pub events: BTreeMap<String, u64>,
    /// Frames by verdict.
    pub frame_verdicts: BTreeMap<String, u64>,
    /// By region: frames by verdict.
    pub region_verdicts: BTreeMap<String, BTreeMap<String, u64>>,
    /// By region: time in which a freeze could not have been seen, s.
    pub blind_s: BTreeMap<String, f64>,
    /// By alert of the definition: frames in which it was due, by state. What was never due has not been checked.
    #[serde(default)]
    pub alerts: Vec<AlertRecord>,
    /// Regions that were not judged, and why.
    pub not_judged: BTreeMap<String, String>,
    /// Pixels of the display that nobody checks: outside all regions, in unchecked regions and areas.
    pub unchecked_px: i64,
    /// Recording time = capture time + offset, s.
    pub offset_s: f64,
    /// Where the offset comes from.
    pub offset_from: String,
    /// The capture chain as it was judged.
    pub profile: Profile,
    /// Where the chain comes from.
    pub profile_from: String,
    /// The stream.
    pub capture: StreamInfo,
    /// First time a reversion was called for, s.
    pub reverted_at_s: Option<f64>,
    /// What the display did where a reversion was called for; nothing where its definition has no page for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reversions: Vec<ReversionRecord>,
    /// Why the check ended early, when it did.
    pub error: Option<String>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Frames in which an alert was due, and so its place in the list was checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlertRecord {
    /// Region of the list.
    pub region: String,
    /// Its words.
    pub alert: String,
    /// Its class.
    pub class: AlertClass,
    /// Frames in which it was active.
    pub active_frames: u64,
    /// Frames of these in which the crew had not acknowledged it, where lists tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new_frames: Option<u64>,
    /// Frames of these in which the crew had acknowledged it, where lists tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acknowledged_frames: Option<u64>,
}

/// The caution that goes with every result.
pub const CAUTION: &str = "Prototype of a monitor's logic and a bench evidence tool. Not airborne software and not a qualified tool. Results defer to the programme's safety assessment, the applicable local regulations and the approving authority.";

/// Rounds to a micro-unit, so that records stay short and equal on every machine.
#[must_use]
pub fn rounded(v: f64) -> f64 {
    let r = (v * 1e6).round() / 1e6;
    if r == 0.0 { 0.0 } else { r }
}

/// `v` with three decimals; zero has no sign.
#[must_use]
pub fn thousandths(v: f64) -> String {
    let text = format!("{v:.3}");
    match text.strip_prefix('-') {
        Some("0.000") => "0.000".into(),
        _ => text,
    }
}
