//! How many faults were raised, and how fast.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Error, is_in_place, word};
use crate::campaign::records::{Outcomes, TrialRecord};
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::binomial::Proportion;
use crate::campaign::statistics::spread::Spread;
use crate::inject::TOLERANCES;

/// Coverage of some faults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Coverage {
    /// Kind, where they are of one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// Region, where they are in one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub region: Option<String>,
    /// Hazard class, where they are of one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hazard: Option<String>,
    /// Raised in place, as any class.
    pub in_place: Proportion,
    /// Raised in place as the right class.
    pub as_class: Proportion,
    /// Detection time of those in place, ms.
    pub detection_ms: Option<Spread>,
    /// Limit of the detection time, ms, where all have the same.
    pub limit_ms: Option<f64>,
    /// Raised within the limit, of those that have one.
    pub within_limit: Option<Proportion>,
}

/// Detection times of one hazard class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DetectionTimes {
    /// Hazard class.
    pub hazard: String,
    /// Limit, ms, where the plan has one.
    pub limit_ms: Option<f64>,
    /// Times of the faults in place, ms, rising; of more than 400, each n-th.
    pub times_ms: Vec<f64>,
    /// Faults not raised in place, thinned in the same way.
    pub missed: u64,
}

/// Most detection times that are kept for a plot.
const KEPT_TIMES: usize = 400;

pub(super) fn detection_times(counted: &[&TrialRecord]) -> Vec<DetectionTimes> {
    let mut groups: BTreeMap<usize, Vec<&TrialRecord>> = BTreeMap::new();
    for t in counted {
        groups.entry(t.hazard as usize).or_default().push(t);
    }
    groups
        .into_values()
        .map(|list| {
            let found = list.iter().filter(|t| is_in_place(t));
            let mut times_ms: Vec<f64> = found.filter_map(|t| t.outcome.detection_ms).collect();
            times_ms.sort_by(f64::total_cmp);
            let missed = (list.len() - times_ms.len()) as u64;
            let step = times_ms.len().div_ceil(KEPT_TIMES).max(1);
            DetectionTimes {
                hazard: word(&list[0].hazard),
                limit_ms: list[0].outcome.limit_ms,
                // From the end, so that the worst one stays.
                times_ms: {
                    let mut kept: Vec<f64> = times_ms.iter().rev().step_by(step).copied().collect();
                    kept.reverse();
                    kept
                },
                missed: missed.div_ceil(step as u64),
            }
        })
        .collect()
}

/// From so many times what is permitted on a fault must be raised, and is counted for coverage.
pub(super) const COUNTED_TIMES: f64 = 2.0;

/// Size from which on a fault must be raised: by what the definition permits of it, else the usual size of its kind. `None` where
/// it has no size.
#[must_use]
pub fn least_size(t: &TrialRecord) -> Option<f64> {
    // Records of earlier versions do not say what is permitted.
    let of_value = (t.unit.as_deref() == Some(TOLERANCES)).then_some(1.0);
    let of_definition = t.permitted.or(of_value).map(|p| COUNTED_TIMES * p);
    let axis = crate::inject::model(&t.kind).and_then(|m| m.about().axis);
    of_definition.or(axis.map(|a| a.usual))
}

/// Whether a trial counts for coverage: a fault, large enough and there for long enough that it must be raised.
#[must_use]
pub fn is_counted(t: &TrialRecord) -> bool {
    let sizes = t.size.zip(least_size(t));
    let is_large = sizes.is_none_or(|(size, least)| size >= least - 1e-9);
    !t.is_twin && !t.outcome.expected.is_empty() && is_large && !t.is_brief
}

/// Whether a fault was raised in its place within the limit of its hazard class.
pub(super) fn is_within_limit(t: &TrialRecord) -> bool {
    let times = t.outcome.detection_ms.zip(t.outcome.limit_ms);
    is_in_place(t) && times.is_some_and(|(ms, limit)| ms <= limit + 1e-3)
}

pub(super) fn coverage(list: &[&TrialRecord], confidence: Confidence) -> Result<Coverage, Error> {
    let n = list.len() as u64;
    let count = |is: &dyn Fn(&TrialRecord) -> bool| list.iter().filter(|t| is(t)).count() as u64;
    let times: Vec<f64> = list
        .iter()
        .filter(|t| is_in_place(t))
        .filter_map(|t| t.outcome.detection_ms)
        .collect();
    let limits: BTreeSet<u64> = list
        .iter()
        .map(|t| t.outcome.limit_ms.map_or(0, f64::to_bits))
        .collect();
    let limited: Vec<&&TrialRecord> = list
        .iter()
        .filter(|t| t.outcome.limit_ms.is_some())
        .collect();
    let in_time = limited.iter().filter(|t| is_within_limit(t)).count() as u64;
    Ok(Coverage {
        kind: None,
        region: None,
        hazard: None,
        in_place: Proportion::new(count(&is_in_place), n, confidence)?,
        as_class: Proportion::new(
            count(&|t| t.outcome.result == Outcomes::Detected),
            n,
            confidence,
        )?,
        detection_ms: Spread::new(&times, confidence)?,
        limit_ms: match limits.iter().next() {
            Some(bits) if limits.len() == 1 && *bits != 0 => Some(f64::from_bits(*bits)),
            _ => None,
        },
        within_limit: if limited.is_empty() {
            None
        } else {
            Some(Proportion::new(in_time, limited.len() as u64, confidence)?)
        },
    })
}
