//! The tail of what clean video shows in one region: how seldom strengths come near the tolerance.

use crate::campaign::statistics::extremes::{self, Outcome, StabilityPoint};
use crate::campaign::statistics::{Confidence, Error};

/// Strength that stands for "nothing at all".
const NOTHING: f64 = -100.0;
/// Strength that stands for "wrong in itself".
const WRONG: f64 = 1e3;
/// Frames in a row below the threshold that end a cluster.
const RUN_LENGTH: usize = 12;
/// Share of what is shown below the threshold of a fit.
const BELOW_THRESHOLD: f64 = 0.98;
/// Shares at which the stability of a fit is looked at.
const STABILITY: [f64; 6] = [0.9, 0.95, 0.97, 0.98, 0.99, 0.995];

/// Strengths after confirmation, frame by frame, of clean video.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CleanStrengths {
    values: Vec<f64>,
    /// Those that are there at all, rising.
    shown: Vec<f64>,
}

impl CleanStrengths {
    /// Of the frames of some clips, one after the other.
    #[must_use]
    pub fn new(confirmed: impl IntoIterator<Item = f64>) -> Self {
        let values: Vec<f64> = confirmed
            .into_iter()
            .map(|v| v.clamp(NOTHING, WRONG))
            .collect();
        let mut shown: Vec<f64> = values.iter().copied().filter(|v| *v > NOTHING).collect();
        shown.sort_by(f64::total_cmp);
        Self { values, shown }
    }

    /// Whether nothing was ever shown.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.shown.is_empty()
    }

    fn at(&self, share: f64) -> f64 {
        self.shown[((self.shown.len() - 1) as f64 * share) as usize]
    }

    /// Fits the tail over so many hours and extrapolates it to `levels`; `None` when there is nothing to fit.
    ///
    /// # Errors
    /// When a level is not a number.
    pub fn fit(
        &self,
        hours: f64,
        levels: Vec<f64>,
        confidence: Confidence,
        replicates: u32,
    ) -> Result<Option<Outcome>, Error> {
        if self.is_empty() || hours <= 0.0 {
            return Ok(None);
        }
        let settings = extremes::Settings {
            threshold: self.at(BELOW_THRESHOLD),
            run_length: RUN_LENGTH,
            levels,
            confidence,
            replicates,
            seed: 1,
        };
        extremes::fit(&self.values, hours, &settings).map(Some)
    }

    /// Peaks above the threshold of the fit, rising.
    #[must_use]
    pub fn peaks(&self) -> Vec<f64> {
        if self.is_empty() {
            return Vec::new();
        }
        let found = extremes::decluster(&self.values, self.at(BELOW_THRESHOLD), RUN_LENGTH);
        let mut peaks: Vec<f64> = found.iter().map(|p| p.value).collect();
        peaks.sort_by(f64::total_cmp);
        peaks
    }

    /// How a fit depends on its threshold.
    ///
    /// # Errors
    /// When a threshold is not a number.
    pub fn stability(&self) -> Result<Vec<StabilityPoint>, Error> {
        if self.is_empty() {
            return Ok(Vec::new());
        }
        let mut thresholds: Vec<f64> = STABILITY.map(|share| self.at(share)).to_vec();
        thresholds.dedup();
        extremes::stability(&self.values, &thresholds, RUN_LENGTH)
    }
}
