//! Diagnostic coverage: which share of the rate of dangerous failures a monitor finds.
//!
//! A campaign measures by kind of fault which share is found. How often each kind happens is not its to say: the
//! failure rates come from the safety assessment, and the figure is theirs as much as ours.
//!
//! # Source
//! IEC 61508-2:2010, annex C: DC = sum of lambda_DD / sum of lambda_D, SFF = (sum of lambda_S + sum of lambda_DD) /
//! (sum of lambda_S + sum of lambda_D). ISO 13849-1: names of the ranges of coverage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::binomial::Proportion;
use super::{Confidence, Error};

/// One kind of failure: how often it happens and how often it was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FailureKind {
    /// Its name.
    pub kind: String,
    /// Rate of dangerous failures of this kind, 1/h.
    pub dangerous_per_hour: f64,
    /// Trials in which it was found.
    pub detected: u64,
    /// Trials.
    pub trials: u64,
}

/// Diagnostic coverage of several kinds together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DiagnosticCoverage {
    /// Estimate: measured shares weighted by rate. A kind without trials counts as not found.
    pub coverage: f64,
    /// One-sided lower bound: what may be claimed.
    pub at_least: f64,
    /// Range that the lower bound lies in.
    pub level: Level,
    /// Safe failure fraction from the lower bound.
    pub safe_failure_fraction_at_least: f64,
    /// Rate of dangerous failures, 1/h.
    pub dangerous_per_hour: f64,
    /// Upper bound of the rate of dangerous failures that are not found, 1/h.
    pub undetected_at_most_per_hour: f64,
    /// Share of the dangerous rate in kinds without a trial: nothing is known of it.
    pub untried_share: f64,
    /// By kind, in the order given.
    pub kinds: Vec<KindShare>,
    /// Confidence of the bounds.
    pub confidence: Confidence,
}

/// What one kind contributes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KindShare {
    /// Its name.
    pub kind: String,
    /// Share of the dangerous rate.
    pub rate_share: f64,
    /// Share found, with bounds of its own at the whole confidence.
    pub detected: Proportion,
    /// The lower bound that goes into the sum.
    pub at_least: f64,
}

/// Names for ranges of diagnostic coverage.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Below 60 %.
    None,
    /// 60 % and more.
    Low,
    /// 90 % and more.
    Medium,
    /// 99 % and more.
    High,
}

impl Level {
    /// The range that a coverage lies in.
    #[must_use]
    pub fn of(coverage: f64) -> Self {
        match coverage {
            c if c >= 0.99 => Self::High,
            c if c >= 0.9 => Self::Medium,
            c if c >= 0.6 => Self::Low,
            _ => Self::None,
        }
    }
}

/// Diagnostic coverage from rates of dangerous failures, detected and undetected, in one unit.
///
/// # Errors
/// [`Error::Range`] when a rate is negative or not finite, or both are 0.
pub fn diagnostic_coverage(
    dangerous_detected: f64,
    dangerous_undetected: f64,
) -> Result<f64, Error> {
    safe_failure_fraction(0.0, dangerous_detected, dangerous_undetected)
}

/// Safe failure fraction from rates of failures, in one unit: safe, dangerous detected, dangerous undetected.
///
/// # Errors
/// [`Error::Range`] when a rate is negative or not finite, or all are 0.
pub fn safe_failure_fraction(
    safe: f64,
    dangerous_detected: f64,
    dangerous_undetected: f64,
) -> Result<f64, Error> {
    for rate in [safe, dangerous_detected, dangerous_undetected] {
        Error::not_negative("failure rate", rate)?;
    }
    let all = Error::positive(
        "sum of failure rates",
        safe + dangerous_detected + dangerous_undetected,
    )?;
    Ok((safe + dangerous_detected) / all)
}

impl DiagnosticCoverage {
    /// The coverage of `kinds` together, with `safe_per_hour` the rate of failures that are safe anyway (0 when it is
    /// not known, which errs on the safe side).
    ///
    /// The lower bound weights lower bounds of the kinds, each at such a confidence that all of them hold together
    /// (Bonferroni). That is cautious; it needs no independence between kinds, and no kind may be left out of it.
    ///
    /// # Errors
    /// [`Error::Range`] when a rate is negative or not finite or all are 0; [`Error::MoreThanAll`].
    pub fn new(
        kinds: &[FailureKind],
        safe_per_hour: f64,
        confidence: Confidence,
    ) -> Result<Self, Error> {
        Error::not_negative("failure rate", safe_per_hour)?;
        for kind in kinds {
            Error::not_negative("failure rate", kind.dangerous_per_hour)?;
        }
        let dangerous = Error::positive(
            "sum of failure rates",
            kinds.iter().map(|kind| kind.dangerous_per_hour).sum(),
        )?;
        let joint = confidence.shared_by(
            kinds
                .iter()
                .filter(|kind| kind.dangerous_per_hour > 0.0)
                .count(),
        );
        let shares = kinds
            .iter()
            .map(|kind| {
                Ok(KindShare {
                    kind: kind.kind.clone(),
                    rate_share: kind.dangerous_per_hour / dangerous,
                    detected: Proportion::new(kind.detected, kind.trials, confidence)?,
                    at_least: Proportion::new(kind.detected, kind.trials, joint)?.at_least(),
                })
            })
            .collect::<Result<Vec<_>, Error>>()?;
        let weighted = |value: fn(&KindShare) -> f64| {
            shares
                .iter()
                .map(|kind| kind.rate_share * value(kind))
                .sum::<f64>()
        };
        let at_least = weighted(|kind| kind.at_least);
        Ok(Self {
            coverage: weighted(|kind| kind.detected.share.unwrap_or(0.0)),
            at_least,
            level: Level::of(at_least),
            safe_failure_fraction_at_least: safe_failure_fraction(
                safe_per_hour,
                dangerous * at_least,
                dangerous * (1.0 - at_least),
            )?,
            dangerous_per_hour: dangerous,
            undetected_at_most_per_hour: dangerous * (1.0 - at_least),
            untried_share: weighted(|kind| if kind.detected.n == 0 { 1.0 } else { 0.0 }),
            kinds: shares,
            confidence,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn kind(name: &str, dangerous_per_hour: f64, detected: u64, trials: u64) -> FailureKind {
        FailureKind {
            kind: name.to_owned(),
            dangerous_per_hour,
            detected,
            trials,
        }
    }

    #[test]
    fn a_sum_worked_by_hand() {
        let kinds = [kind("frozen", 3e-6, 90, 100), kind("late", 1e-6, 10, 20)];
        let found = DiagnosticCoverage::new(&kinds, 0.0, Confidence::USUAL).unwrap();
        assert!((found.coverage - (0.75 * 0.9 + 0.25 * 0.5)).abs() < 1e-15);
        let joint = Confidence::new(0.975).unwrap();
        let lower = |k, n| Proportion::new(k, n, joint).unwrap().at_least();
        assert!((found.at_least - (0.75 * lower(90, 100) + 0.25 * lower(10, 20))).abs() < 1e-12);
        assert_eq!(found.level, Level::Low);
        assert_eq!(found.safe_failure_fraction_at_least, found.at_least);
    }

    #[test]
    fn one_kind_alone_has_its_own_bound() {
        let found =
            DiagnosticCoverage::new(&[kind("frozen", 2e-6, 299, 299)], 2e-6, Confidence::USUAL)
                .unwrap();
        assert!((found.at_least - 0.05_f64.powf(1.0 / 299.0)).abs() < 1e-12);
        assert_eq!(found.level, Level::High);
        assert!(found.safe_failure_fraction_at_least > found.at_least);
    }

    #[test]
    fn a_kind_without_trials_counts_as_not_found() {
        let kinds = [kind("frozen", 1e-6, 300, 300), kind("late", 1e-6, 0, 0)];
        let found = DiagnosticCoverage::new(&kinds, 0.0, Confidence::USUAL).unwrap();
        assert_eq!((found.coverage, found.untried_share), (0.5, 0.5));
    }

    #[test]
    fn rates_that_say_nothing_are_refused() {
        assert!(DiagnosticCoverage::new(&[], 0.0, Confidence::USUAL).is_err());
        assert!(
            DiagnosticCoverage::new(&[kind("frozen", -1e-6, 1, 1)], 0.0, Confidence::USUAL)
                .is_err()
        );
        assert!(diagnostic_coverage(0.0, 0.0).is_err());
    }

    proptest! {
        #[test]
        fn the_bound_lies_below_the_estimate(
            kinds in prop::collection::vec((1e-9..1e-5_f64, 0..=50_u64, 0..50_u64), 1..8), safe in 0.0..1e-5_f64
        ) {
            let kinds: Vec<_> = kinds.iter().map(|&(rate, k, more)| kind("any", rate, k, k + more)).collect();
            let found = DiagnosticCoverage::new(&kinds, safe, Confidence::USUAL).unwrap();
            prop_assert!(found.at_least <= found.coverage + 1e-12 && found.coverage <= 1.0 + 1e-12);
            prop_assert!(found.safe_failure_fraction_at_least >= found.at_least - 1e-12);
        }
    }
}
