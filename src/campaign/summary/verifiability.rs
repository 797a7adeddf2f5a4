//! What the pixels of each reading can show on this chain, against what its tolerance asks of them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::SizeCurve;
use crate::campaign::clean::StretchRecord;
use crate::campaign::statistics::detection::Detection;
use crate::definition::Definition;
use crate::definition::model::Symbol;
use crate::evidence::measurements::Header;
use crate::evidence::records::rounded;

/// What the pixels of one reading can show on this chain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verifiability {
    /// Region.
    pub region: String,
    /// Channel.
    pub channel: String,
    /// What is read.
    pub what: String,
    /// Unit.
    pub unit: String,
    /// Readings that the figures rest on.
    pub readings: u64,
    /// Pixels for a unit, mean.
    pub px_per_unit: Option<f64>,
    /// Mean error of the readings, in the unit.
    pub bias: Option<f64>,
    /// Root mean square error of the readings, in the unit.
    pub rms: Option<f64>,
    /// The same in pixels.
    pub rms_px: Option<f64>,
    /// Standard error that the readings claim, mean, in the unit.
    pub standard_error: Option<f64>,
    /// Tolerance, in the unit.
    pub tolerance: Option<f64>,
    /// The same in pixels.
    pub tolerance_px: Option<f64>,
    /// Smallest constant error found with 90 % probability at the thresholds as they are, in the unit, with 95 %
    /// confidence (a90/95), where trials show it.
    pub smallest_error: Option<f64>,
    /// Share of the time in which a standstill of the region would not show.
    pub blind_share: f64,
    /// In plain words.
    pub advice: Vec<String>,
}

/// Pixels that a tolerance should have at least.
const LEAST_TOLERANCE_PX: f64 = 1.0;
/// Blind share from which on it is worth a word.
const BLIND_SHARE: f64 = 0.5;

pub(super) fn verifiability(
    definition: &Definition,
    header: &Header,
    stretches: &[StretchRecord],
    sizes: &[SizeCurve],
) -> Vec<Verifiability> {
    let mut out = Vec::new();
    for (k, region) in header.regions.iter().enumerate() {
        let blind: Vec<f64> = stretches
            .iter()
            .filter_map(|s| s.blind.get(k).copied())
            .collect();
        let blind_share = rounded(blind.iter().sum::<f64>() / blind.len().max(1) as f64);
        for (j, reading) in region.readings.iter().enumerate() {
            let mut s = [0.0; 5];
            for stretch in stretches {
                if let Some(sums) = stretch.readings.get(k).and_then(|r| r.get(j)) {
                    s.iter_mut().zip(sums).for_each(|(s, a)| *s += a);
                }
            }
            let n = s[0];
            let mean = |v: f64| (n > 0.0).then(|| v / n);
            let px_per_unit = mean(s[4]);
            let rms = mean(s[2]).map(f64::sqrt);
            let tolerance = (reading.tolerance > 0.0).then_some(reading.tolerance);
            let in_px = |v: Option<f64>| v.zip(px_per_unit).map(|(v, p)| rounded(v * p));
            let smallest_error = sizes
                .iter()
                .find(|c| {
                    c.kind == "bias"
                        && c.region == region.id
                        && c.channel.as_ref() == Some(&reading.channel)
                })
                .and_then(|c| match &c.detection {
                    Detection::Fitted(curve) => Some(rounded(curve.a90_95 * c.tolerance?)),
                    Detection::Refused(_) => None,
                });
            let mut row = Verifiability {
                region: region.id.clone(),
                channel: reading.channel.clone(),
                what: reading.what.clone(),
                unit: reading.unit.clone(),
                readings: n as u64,
                bias: mean(s[1]).map(rounded),
                rms: rms.map(rounded),
                rms_px: in_px(rms),
                standard_error: mean(s[3]).map(rounded),
                tolerance,
                tolerance_px: in_px(tolerance),
                px_per_unit: px_per_unit.map(rounded),
                smallest_error,
                blind_share,
                advice: Vec::new(),
            };
            row.advice = advice(definition, &row);
            out.push(row);
        }
    }
    out
}

fn advice(definition: &Definition, row: &Verifiability) -> Vec<String> {
    let mut advice = Vec::new();
    if row.readings == 0 {
        advice.push("never read here: nothing is known of it on this chain".into());
        return advice;
    }
    match (row.tolerance, row.tolerance_px) {
        (None, _) => advice.push("no tolerance is given: its value is not held against anything".into()),
        (Some(tolerance), Some(px)) if px < LEAST_TOLERANCE_PX => advice.push(format!(
            "the tolerance of {tolerance} {} is {px:.2} px here: too little to be told on a capture; draw it larger, or widen the tolerance if the safety assessment allows",
            row.unit
        )),
        _ => {}
    }
    if let (Some(smallest), Some(tolerance)) = (row.smallest_error, row.tolerance)
        && smallest > 2.0 * tolerance
    {
        advice.push(format!(
            "errors are found reliably only from {smallest:.3} {} on, {:.1} times the tolerance",
            row.unit,
            smallest / tolerance
        ));
    }
    let has_liveness = definition
        .regions()
        .iter()
        .any(|r| r.symbol.iter().flat_map(Symbol::liveness).next().is_some());
    if row.blind_share > BLIND_SHARE {
        advice.push(format!(
            "a standstill would not show {:.0} % of the time; {}",
            row.blind_share * 100.0,
            if has_liveness {
                "the liveness cell shows one of the whole display, not of this region alone"
            } else {
                "a liveness cell would show one of the whole display"
            }
        ));
    }
    advice
}
