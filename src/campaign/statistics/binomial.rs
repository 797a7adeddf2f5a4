//! k of n: what is known of a chance from so many successes in so many independent trials.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::function::beta::beta_reg;

use super::confidence::normal_quantile;
use super::root::crossing;
use super::{Confidence, Error, Interval};

/// A share of trials with its exact bounds. Of no trials nothing can be said: all figures are null then.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Proportion {
    /// Successes.
    pub k: u64,
    /// Trials.
    pub n: u64,
    /// Their ratio.
    pub share: Option<f64>,
    /// Two-sided Clopper-Pearson bounds.
    pub two_sided: Option<Interval>,
    /// One-sided Clopper-Pearson bounds, each for itself.
    pub one_sided: Option<Interval>,
    /// Confidence of the bounds.
    pub confidence: Confidence,
}

impl Proportion {
    /// The share of `k` in `n` with its bounds.
    ///
    /// # Errors
    /// [`Error::MoreThanAll`] when `k` is above `n`.
    pub fn new(k: u64, n: u64, confidence: Confidence) -> Result<Self, Error> {
        Ok(Self {
            k,
            n,
            share: (n > 0).then(|| k as f64 / n as f64),
            two_sided: clopper_pearson(k, n, confidence, Sides::Both)?,
            one_sided: clopper_pearson(k, n, confidence, Sides::Each)?,
            confidence,
        })
    }

    /// What can be claimed as "at least": the one-sided lower bound, 0 of no trials.
    #[must_use]
    pub fn at_least(&self) -> f64 {
        self.one_sided.map_or(0.0, |bounds| bounds.lower)
    }

    /// What can be claimed as "at most": the one-sided upper bound, 1 of no trials.
    #[must_use]
    pub fn at_most(&self) -> f64 {
        self.one_sided.map_or(1.0, |bounds| bounds.upper)
    }
}

/// What holds with the confidence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sides {
    /// Both bounds together: two-sided.
    Both,
    /// Either bound by itself: one-sided.
    Each,
}

impl Sides {
    fn error(self, confidence: Confidence) -> f64 {
        match self {
            Self::Both => confidence.each_side_error(),
            Self::Each => confidence.one_sided_error(),
        }
    }
}

/// Exact bounds of the chance of success after `k` successes in `n` trials; `None` of no trials.
///
/// The lower bound is the chance at which `k` or more successes would come with probability alpha only, the upper one
/// that for `k` or fewer. They hold for every true chance, and for most of them with more than the confidence.
///
/// # Errors
/// [`Error::MoreThanAll`] when `k` is above `n`.
///
/// # Source
/// Clopper and Pearson, "The use of confidence or fiducial limits illustrated in the case of the binomial",
/// Biometrika 26 (1934), 404-413. P(X >= k) = I_p(k, n - k + 1), the regularised incomplete beta function.
pub fn clopper_pearson(
    k: u64,
    n: u64,
    confidence: Confidence,
    sides: Sides,
) -> Result<Option<Interval>, Error> {
    if k > n {
        return Err(Error::MoreThanAll { k, n });
    }
    if n == 0 {
        return Ok(None);
    }
    let alpha = sides.error(confidence);
    Ok(Some(Interval {
        lower: lower_bound(k, n, alpha),
        upper: 1.0 - lower_bound(n - k, n, alpha),
    }))
}

/// The chance p for which P(X >= k) = alpha. The upper bound is this one of the failures.
fn lower_bound(k: u64, n: u64, alpha: f64) -> f64 {
    if k == 0 {
        return 0.0;
    }
    if k == n {
        return alpha.powf(1.0 / n as f64);
    }
    crossing(0.0, 1.0, |p| at_least_chance(k, n, p) - alpha)
}

/// P(X >= k) of n trials with chance p.
pub(super) fn at_least_chance(k: u64, n: u64, p: f64) -> f64 {
    if k == 0 {
        1.0
    } else if k > n {
        0.0
    } else {
        beta_reg(k as f64, (n - k + 1) as f64, p)
    }
}

/// Wilson's score bounds of the chance of success, two-sided; `None` of no trials.
///
/// Narrower than the exact ones, and right on average only: for pictures and quick looks, not for claims.
///
/// # Errors
/// [`Error::MoreThanAll`] when `k` is above `n`.
///
/// # Source
/// Wilson, "Probable inference, the law of succession, and statistical inference", J. Amer. Statist. Assoc. 22 (1927),
/// 209-212; without correction for continuity.
pub fn wilson(k: u64, n: u64, confidence: Confidence) -> Result<Option<Interval>, Error> {
    if k > n {
        return Err(Error::MoreThanAll { k, n });
    }
    if n == 0 {
        return Ok(None);
    }
    let z = normal_quantile(1.0 - confidence.each_side_error());
    let (trials, share) = (n as f64, k as f64 / n as f64);
    let middle = share + z * z / (2.0 * trials);
    let half = z * (share * (1.0 - share) / trials + z * z / (4.0 * trials * trials)).sqrt();
    let whole = 1.0 + z * z / trials;
    // At the ends the bound is 0 or 1 by algebra; rounding would leave a trace.
    Ok(Some(Interval {
        lower: if k == 0 { 0.0 } else { (middle - half) / whole },
        upper: if k == n { 1.0 } else { (middle + half) / whole },
    }))
}

/// Trials without a miss that show a coverage of at least `coverage`: the least n with `coverage`^n <= 1 - confidence.
///
/// # Errors
/// [`Error::Range`] unless 0 < `coverage` < 1.
///
/// # Source
/// The case k = n of Clopper and Pearson.
pub fn trials_without_miss(coverage: f64, confidence: Confidence) -> Result<u64, Error> {
    Error::share("coverage", coverage)?;
    let trials = confidence.one_sided_error().ln() / coverage.ln();
    // 0.05 is 1 - 0.95 to the last bit or two only; a whole number must not be raised for that.
    Ok((trials * (1.0 - 1e-12)).ceil() as u64)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn both(k: u64, n: u64) -> Interval {
        clopper_pearson(k, n, Confidence::USUAL, Sides::Both)
            .unwrap()
            .unwrap()
    }

    #[test]
    fn nothing_is_said_of_no_trials() {
        let none = Proportion::new(0, 0, Confidence::USUAL).unwrap();
        assert_eq!(
            (none.share, none.two_sided, none.one_sided),
            (None, None, None)
        );
        assert_eq!((none.at_least(), none.at_most()), (0.0, 1.0));
        assert_eq!(wilson(0, 0, Confidence::USUAL).unwrap(), None);
    }

    #[test]
    fn more_successes_than_trials_are_refused() {
        assert_eq!(
            Proportion::new(3, 2, Confidence::USUAL)
                .unwrap_err()
                .to_string(),
            "3 of 2 trials: there cannot be more successes than trials"
        );
        assert!(wilson(1, 0, Confidence::USUAL).is_err());
    }

    #[test]
    fn no_miss_is_not_certainty() {
        let all = Proportion::new(59, 59, Confidence::USUAL).unwrap();
        assert!(all.at_least() > 0.95 && all.at_least() < 0.951);
        assert_eq!(all.at_most(), 1.0);
        assert!(trials_without_miss(1.0, Confidence::USUAL).is_err());
    }

    proptest! {
        #[test]
        fn bounds_lie_around_the_share(n in 1_u64..5000, part in 0.0..=1.0_f64, level in 0.5..0.999_f64) {
            let k = (part * n as f64) as u64;
            let confidence = Confidence::new(level).unwrap();
            let share = k as f64 / n as f64;
            let found = Proportion::new(k, n, confidence).unwrap();
            let (two, one) = (found.two_sided.unwrap(), found.one_sided.unwrap());
            prop_assert!(two.contains(share), "{two:?}");
            prop_assert!(two.lower <= one.lower && one.upper <= two.upper);
            prop_assert!(wilson(k, n, confidence).unwrap().unwrap().contains(share));
        }

        #[test]
        fn one_more_success_raises_both_bounds(n in 1_u64..500, part in 0.0..1.0_f64) {
            let k = (part * n as f64) as u64;
            let (less, more) = (both(k, n), both(k + 1, n));
            prop_assert!(less.lower < more.lower && less.upper <= more.upper);
        }

        #[test]
        fn failures_mirror_successes(n in 1_u64..500, part in 0.0..=1.0_f64) {
            let k = (part * n as f64) as u64;
            let (hits, misses) = (both(k, n), both(n - k, n));
            prop_assert!((hits.lower - (1.0 - misses.upper)).abs() < 1e-12);
        }
    }
}
