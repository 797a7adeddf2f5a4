//! What clean video raised, and how near the rest of it came.

use std::io::BufReader;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Error;
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::extremes::{self, StabilityPoint};
use crate::campaign::statistics::poisson::Rate;
use crate::definition::Definition;
use crate::evidence::measurements::{Header, MEASUREMENTS_FILE, Reader};
use crate::judge::region::plan;
use crate::tune::strength::{Confirmation, Strengths};
use crate::tune::tail::CleanStrengths;

/// What was raised in clean video.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Nuisance {
    /// Trips and hours.
    pub rate: Rate,
    /// What was raised: capture, class, regions, time of detection in s.
    pub events: Vec<(usize, String, Vec<String>, f64)>,
    /// By region: the tail of what clean video shows.
    pub tails: Vec<RegionTail>,
}

/// The tail of one region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionTail {
    /// Region.
    pub region: String,
    /// Peaks above the threshold, in tolerances, rising.
    pub peaks: Vec<f64>,
    /// The fitted tail, or why there is none. An extrapolation.
    pub fit: extremes::Outcome,
    /// How the fit depends on its threshold.
    pub stability: Vec<StabilityPoint>,
}

/// Replicates of the bootstrap of a tail.
const TAIL_REPLICATES: u32 = 400;

/// Header of the measurements, tail of each region, hours of clean video.
pub(super) fn tails(
    definition: &Definition,
    folder: &Path,
    confidence: Confidence,
) -> Result<(Header, Vec<RegionTail>, f64), Error> {
    let path = folder.join(MEASUREMENTS_FILE);
    let name = path.display().to_string();
    let file = crate::files::open(&path).map_err(|e| Error::Damaged {
        path: name.clone(),
        line: None,
        what: e.to_string(),
    })?;
    let mut reader = Reader::new(BufReader::new(file), &name)?;
    let header = reader.header().clone();
    let mut values: Vec<Vec<f64>> = vec![Vec::new(); header.regions.len()];
    let mut hours = 0.0;
    while let Some(clip) = reader.clip()? {
        if clip.trial.is_some() {
            continue;
        }
        if let (Some(first), Some(last)) = (clip.times_s.first(), clip.times_s.last()) {
            hours += (last - first) / 3600.0;
        }
        for r in &clip.regions {
            let Some(model) = definition.regions().get(r.region) else {
                continue;
            };
            let confirmation = Confirmation {
                confirm_s: model.confirm_ms() / 1000.0,
                often: model.confirm_frames,
                recover_s: model.recover_ms / 1000.0,
                plan: plan(definition, r.region, r.readings()),
            };
            let after = Strengths::of(r).confirmed(&clip.times_s, confirmation);
            values[r.region].extend(after);
        }
    }
    let mut tails = Vec::new();
    for (k, values) in values.into_iter().enumerate() {
        let strengths = CleanStrengths::new(values);
        let levels = vec![0.0, 0.25, 0.5, 0.75, 1.0, 1.5];
        let Some(fit) = strengths.fit(hours, levels, confidence, TAIL_REPLICATES)? else {
            continue;
        };
        tails.push(RegionTail {
            region: header.regions[k].id.clone(),
            peaks: strengths.peaks(),
            fit,
            stability: strengths.stability()?,
        });
    }
    Ok((header, tails, hours))
}
