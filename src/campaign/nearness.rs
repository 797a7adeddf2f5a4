//! How near a fault that was missed came to being raised: what was measured of it, against what it takes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::records::Why;
use crate::check::run::Examined;
use crate::evidence::records::rounded;
use crate::examine::comparison::{CHROMA_PX, LUMA_PX};
use crate::examine::region::Explanation;
use crate::judge::region::RegionVerdict;

/// The most that was measured of a fault while it lasted, in the regions that it struck.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Nearness {
    /// Largest error read, in tolerances; null where nothing with a tolerance was read.
    pub error: Option<f64>,
    /// What of an error lies beyond what measuring and the permitted latency explain, in tolerances. Above 1 it is
    /// wrong; below 0 it is explained.
    pub excess: Option<f64>,
    /// Most pixels of luma that disagreed within 16 x 16.
    pub luma_px: u32,
    /// So many are needed for a disagreement.
    pub luma_needed_px: u32,
    /// Most samples of colour that disagreed within 16 x 16 of them.
    pub color_px: u32,
    /// So many are needed for a disagreement, if they are off by enough.
    pub color_needed_px: u32,
    /// Frames that were looked at.
    pub frames: u32,
    /// Of these, frames in which another picture than the one due was recognised.
    pub frames_off: u32,
}

impl Nearness {
    /// Nothing measured yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            luma_needed_px: LUMA_PX,
            color_needed_px: CHROMA_PX,
            ..Self::default()
        }
    }

    /// Takes what was found in a faulty frame, in the regions that `is_struck` says.
    pub fn find(&mut self, examined: &Examined, is_struck: &[bool]) {
        self.frames += 1;
        let struck = || examined.findings.iter().zip(is_struck).filter(|(_, s)| **s);
        for (found, _) in struck() {
            self.luma_px = self.luma_px.max(found.difference.luma.densest_px);
            self.color_px = self.color_px.max(found.difference.chroma.densest_px);
        }
        let is_off = struck().any(|(f, _)| f.explanation != Explanation::Due);
        self.frames_off += u32::from(is_off);
    }

    /// Takes what was judged of it; `tolerances` by region and reading, 0 where there is none.
    pub fn judge(
        &mut self,
        verdicts: &[RegionVerdict],
        tolerances: &[Vec<f64>],
        is_struck: &[bool],
    ) {
        let most = |most: &mut Option<f64>, now: f64| {
            if now.is_finite() {
                *most = Some(most.map_or(now, |m| m.max(now)));
            }
        };
        for (k, verdict) in verdicts.iter().enumerate().filter(|(k, _)| is_struck[*k]) {
            for r in &verdict.readings {
                let tolerance = tolerances[k][r.freedom];
                if tolerance > 0.0 {
                    most(&mut self.error, r.error.abs() / tolerance);
                    most(&mut self.excess, r.excess / tolerance);
                }
            }
        }
    }

    /// With the figures that a file holds.
    #[must_use]
    pub fn written(self) -> Self {
        Self {
            error: self.error.map(rounded),
            excess: self.excess.map(rounded),
            ..self
        }
    }

    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        let mut words = format!(
            "{} px differ ({} make a fault), {} colour samples ({})",
            self.luma_px, self.luma_needed_px, self.color_px, self.color_needed_px
        );
        if let (Some(error), Some(excess)) = (self.error, self.excess) {
            words.push_str(&format!(
                "; largest error {error:.2} tolerances, {} of it beyond what measuring and latency explain",
                if excess > 0.0 { format!("{excess:.2}") } else { "nothing".into() }
            ));
        }
        words
    }

    /// Why nothing was raised although no frame was faulty.
    #[must_use]
    pub fn why(&self) -> Why {
        match self.error {
            Some(error) if error > 1.0 => Why::WithinMeasuring,
            _ if self.frames_off == 0 => Why::TooFaint,
            Some(_) => Why::WithinTolerance,
            None => Why::WithinLatency,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_miss_is_explained_by_what_was_measured() {
        let why = |error, frames_off| {
            Nearness {
                error,
                frames_off,
                frames: 20,
                ..Nearness::new()
            }
            .why()
        };
        assert_eq!(why(Some(1.05), 20), Why::WithinMeasuring);
        assert_eq!(why(Some(0.9), 20), Why::WithinTolerance);
        assert_eq!(why(Some(0.1), 0), Why::TooFaint);
        assert_eq!(why(None, 0), Why::TooFaint);
        // A picture of another moment with nothing to read in it.
        assert_eq!(why(None, 3), Why::WithinLatency);
    }
}
