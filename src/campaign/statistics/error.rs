//! What can be wrong with the numbers that a statistic is asked of.

/// What can be wrong with the numbers that a statistic is asked of.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// A level of confidence is none.
    #[error("confidence {0}: must be at least 0.5 and below 1")]
    Confidence(f64),
    /// More successes than trials.
    #[error("{k} of {n} trials: there cannot be more successes than trials")]
    MoreThanAll {
        /// Successes.
        k: u64,
        /// Trials.
        n: u64,
    },
    /// A number is not finite or out of its range.
    #[error("{what} {value}: must be {allowed}")]
    Range {
        /// What the number is.
        what: &'static str,
        /// The number.
        value: f64,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A curve of alarms needs samples with and without a fault.
    #[error("{with_fault} samples with a fault and {without_fault} without: both are needed")]
    OneSided {
        /// Samples with a fault.
        with_fault: u64,
        /// Samples without.
        without_fault: u64,
    },
}

impl Error {
    /// The number itself when it is finite.
    pub(super) fn finite(what: &'static str, value: f64) -> Result<f64, Self> {
        Self::require(what, value, value.is_finite(), "finite")
    }

    /// The number itself when it is finite and not negative.
    pub(super) fn not_negative(what: &'static str, value: f64) -> Result<f64, Self> {
        Self::require(
            what,
            value,
            value.is_finite() && value >= 0.0,
            "finite and not below 0",
        )
    }

    /// The number itself when it is finite and above 0.
    pub(super) fn positive(what: &'static str, value: f64) -> Result<f64, Self> {
        Self::require(
            what,
            value,
            value.is_finite() && value > 0.0,
            "finite and above 0",
        )
    }

    /// The number itself when it is a share between 0 and 1.
    pub(super) fn share(what: &'static str, value: f64) -> Result<f64, Self> {
        Self::require(
            what,
            value,
            value > 0.0 && value < 1.0,
            "above 0 and below 1",
        )
    }

    fn require(
        what: &'static str,
        value: f64,
        holds: bool,
        allowed: &'static str,
    ) -> Result<f64, Self> {
        if holds {
            Ok(value)
        } else {
            Err(Self::Range {
                what,
                value,
                allowed,
            })
        }
    }
}
