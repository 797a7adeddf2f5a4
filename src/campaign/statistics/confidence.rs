//! Levels of confidence, and intervals that hold with them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use super::Error;

/// A level of confidence, as a share: 0.95 for 95 %.
///
/// # Guarantees
/// At least 0.5 and below 1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schemars(with = "f64")]
pub struct Confidence(f64);

impl Confidence {
    /// 95 %, the level of every figure unless the caller asks for another.
    pub const USUAL: Self = Self(0.95);

    /// A level of confidence.
    ///
    /// # Errors
    /// [`Error::Confidence`] unless 0.5 <= `share` < 1.
    pub fn new(share: f64) -> Result<Self, Error> {
        if (0.5..1.0).contains(&share) {
            Ok(Self(share))
        } else {
            Err(Error::Confidence(share))
        }
    }

    /// As a share.
    #[must_use]
    pub const fn share(self) -> f64 {
        self.0
    }

    /// Chance of an error on the one side of a one-sided bound.
    pub(super) fn one_sided_error(self) -> f64 {
        1.0 - self.0
    }

    /// Chance of an error on each side of a two-sided bound.
    pub(super) fn each_side_error(self) -> f64 {
        (1.0 - self.0) / 2.0
    }

    /// The confidence of every one of `count` one-sided bounds, such that all of them hold together with this one
    /// (Bonferroni).
    pub(super) fn shared_by(self, count: usize) -> Self {
        Self(1.0 - self.one_sided_error() / count.max(1) as f64)
    }
}

impl Default for Confidence {
    fn default() -> Self {
        Self::USUAL
    }
}

impl From<Confidence> for f64 {
    fn from(confidence: Confidence) -> Self {
        confidence.0
    }
}

impl TryFrom<f64> for Confidence {
    type Error = Error;

    fn try_from(share: f64) -> Result<Self, Error> {
        Self::new(share)
    }
}

/// Quantile of the standard normal distribution.
pub(super) fn normal_quantile(share: f64) -> f64 {
    Normal::standard().inverse_cdf(share)
}

/// Lower and upper bound of one figure, in the unit of that figure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Interval {
    /// Lower bound.
    pub lower: f64,
    /// Upper bound.
    pub upper: f64,
}

impl Interval {
    /// True when the value lies between the bounds or on one.
    #[must_use]
    pub fn contains(&self, value: f64) -> bool {
        (self.lower..=self.upper).contains(&value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_outside_its_range_is_refused_also_from_a_file() {
        for share in [0.49, 1.0, 95.0, f64::NAN] {
            assert!(Confidence::new(share).is_err(), "{share}");
        }
        assert_eq!(
            serde_json::from_str::<Confidence>("0.9").unwrap(),
            Confidence::new(0.9).unwrap()
        );
        assert!(serde_json::from_str::<Confidence>("95").is_err());
    }

    #[test]
    fn normal_quantiles_are_those_of_the_tables() {
        assert!((normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-12);
        assert!((normal_quantile(0.95) - 1.644_853_626_951_472_7).abs() < 1e-12);
    }
}
