//! Which sizes of a fault were found.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Error, is_in_place};
use crate::campaign::records::TrialRecord;
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::detection::{self, Detection, ScaleChoice};
use crate::definition::Definition;
use crate::inject::TOLERANCES;

/// Probability of detection against size.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizeCurve {
    /// Kind.
    pub kind: String,
    /// Region.
    pub region: String,
    /// Channel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<String>,
    /// Unit of the sizes.
    pub unit: String,
    /// Tolerance of the channel, in its unit, where sizes count in tolerances.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
    /// Unit of the tolerance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel_unit: Option<String>,
    /// Hits and misses.
    pub trials: Vec<detection::Trial>,
    /// The curve, or why there is none.
    pub detection: Detection,
}

/// Sizes of one kind in one place, from which a curve is asked for.
const CURVE_SIZES: usize = 3;

pub(super) fn size_curves(
    definition: &Definition,
    records: &[TrialRecord],
    confidence: Confidence,
) -> Result<Vec<SizeCurve>, Error> {
    let mut groups: BTreeMap<(String, String, Option<String>), Vec<&TrialRecord>> = BTreeMap::new();
    for t in records.iter().filter(|t| !t.is_twin && t.size.is_some()) {
        let key = (t.kind.clone(), t.region.clone(), t.channel.clone());
        groups.entry(key).or_default().push(t);
    }
    let mut curves = Vec::new();
    for ((kind, region, channel), list) in groups {
        let distinct: BTreeSet<u64> = list
            .iter()
            .filter_map(|t| t.size.map(f64::to_bits))
            .collect();
        if distinct.len() < CURVE_SIZES {
            continue;
        }
        let trials: Vec<detection::Trial> = list
            .iter()
            .filter_map(|t| {
                Some(detection::Trial {
                    size: t.size?,
                    is_detected: is_in_place(t),
                })
            })
            .collect();
        let unit = list[0].unit.clone().unwrap_or_default();
        let tolerance = channel
            .as_ref()
            .filter(|_| unit == TOLERANCES)
            .and_then(|c| {
                let r = definition.regions().iter().find(|r| r.id == region)?;
                r.tolerance.get(c).copied()
            });
        let channel_unit = channel.as_ref().and_then(|name| {
            let (_, c) = definition.channels().iter().find(|(n, _)| n == name)?;
            Some(c.unit.clone())
        });
        curves.push(SizeCurve {
            detection: detection::fit(&trials, ScaleChoice::LowerDeviance, confidence)?,
            kind,
            region,
            channel,
            unit,
            tolerance,
            channel_unit,
            trials,
        });
    }
    Ok(curves)
}
