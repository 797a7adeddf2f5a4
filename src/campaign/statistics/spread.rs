//! How values are spread: percentiles that are values which occurred, with bounds that assume no distribution.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::binomial::at_least_chance;
use super::{Confidence, Error};

/// Median, high percentiles and worst of some values, in their unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Spread {
    /// Number of values.
    pub n: u64,
    /// 50th percentile.
    pub median: Percentile,
    /// 95th percentile.
    pub p95: Percentile,
    /// 99th percentile.
    pub p99: Percentile,
    /// The largest value that occurred. It bounds nothing: the next one may be larger.
    pub worst: f64,
    /// Confidence of the bounds.
    pub confidence: Confidence,
}

/// A percentile with its bounds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Percentile {
    /// Which one, as a share: 0.95 for the 95th.
    pub share: f64,
    /// The least value which is not exceeded by at least this share of the values.
    pub value: f64,
    /// One-sided lower bound of the percentile of all values to come; null when there are too few values to tell.
    pub lower: Option<f64>,
    /// One-sided upper bound; null when there are too few values to tell.
    pub upper: Option<f64>,
}

impl Spread {
    /// The spread of `values`, in any order; `None` of no values.
    ///
    /// # Errors
    /// [`Error::Range`] when a value is not finite.
    pub fn new(values: &[f64], confidence: Confidence) -> Result<Option<Self>, Error> {
        let rising = rising(values)?;
        let Some(&worst) = rising.last() else {
            return Ok(None);
        };
        let at = |share| percentile_of_rising(&rising, share, confidence);
        Ok(Some(Self {
            n: rising.len() as u64,
            median: at(0.5),
            p95: at(0.95),
            p99: at(0.99),
            worst,
            confidence,
        }))
    }
}

/// The percentile of `values`, in any order, at `share`; `None` of no values.
///
/// The percentile is the inverse of the empirical distribution: the value of rank ceil(`share` n). It is a value that
/// occurred, and never lies below it as interpolation between ranks does.
///
/// The bounds are order statistics. The value of rank r lies at or above the percentile with probability
/// P(X <= r - 1), and at or below it with P(X >= r), X the number of values below it: binomial with chance `share`.
/// For a distribution with steps these probabilities are at least so large.
///
/// # Errors
/// [`Error::Range`] when a value is not finite or `share` does not lie between 0 and 1.
///
/// # Source
/// Definition: Hyndman and Fan, "Sample quantiles in statistical packages", Amer. Statist. 50 (1996), 361-365, type 1.
/// Bounds: Conover, Practical Nonparametric Statistics, section 3.2.
pub fn percentile(
    values: &[f64],
    share: f64,
    confidence: Confidence,
) -> Result<Option<Percentile>, Error> {
    Error::share("percentile", share)?;
    let rising = rising(values)?;
    Ok((!rising.is_empty()).then(|| percentile_of_rising(&rising, share, confidence)))
}

fn rising(values: &[f64]) -> Result<Vec<f64>, Error> {
    let mut rising = values
        .iter()
        .map(|&value| Error::finite("value", value))
        .collect::<Result<Vec<_>, _>>()?;
    rising.sort_by(f64::total_cmp);
    Ok(rising)
}

fn percentile_of_rising(rising: &[f64], share: f64, confidence: Confidence) -> Percentile {
    let n = rising.len() as u64;
    let value_of = |rank: u64| rising[rank as usize - 1];
    // 0.95 times 20 is 19 and must not become rank 20 by the last bit.
    let rank = ((share * n as f64 * (1.0 - 1e-12)).ceil() as u64).clamp(1, n);
    let ranks = bounding_ranks(n, share, confidence);
    Percentile {
        share,
        value: value_of(rank),
        lower: ranks.0.map(value_of),
        upper: ranks.1.map(value_of),
    }
}

/// Greatest rank that lies at or below the percentile and least rank that lies at or above it, with the confidence.
pub(super) fn bounding_ranks(
    n: u64,
    share: f64,
    confidence: Confidence,
) -> (Option<u64>, Option<u64>) {
    // P(X >= r) falls with r, so both are found by halving.
    let first_below = |limit: f64| {
        let (mut low, mut high) = (1, n + 1);
        while low < high {
            let middle = (low + high) / 2;
            if at_least_chance(middle, n, share) < limit {
                high = middle
            } else {
                low = middle + 1
            }
        }
        low
    };
    let lower = first_below(confidence.share()) - 1;
    let upper = first_below(confidence.one_sided_error().next_up());
    ((lower >= 1).then_some(lower), (upper <= n).then_some(upper))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn spread(values: &[f64]) -> Spread {
        Spread::new(values, Confidence::USUAL).unwrap().unwrap()
    }

    #[test]
    fn percentiles_are_values_that_occurred() {
        let values: Vec<f64> = (1..=20).rev().map(f64::from).collect();
        let found = spread(&values);
        assert_eq!(
            [
                found.median.value,
                found.p95.value,
                found.p99.value,
                found.worst
            ],
            [10.0, 19.0, 20.0, 20.0]
        );
    }

    #[test]
    fn few_values_bound_no_high_percentile() {
        let values: Vec<f64> = (1..=58).map(f64::from).collect();
        assert_eq!(spread(&values).p95.upper, None);
        let values: Vec<f64> = (1..=59).map(f64::from).collect();
        assert_eq!(spread(&values).p95.upper, Some(59.0));
    }

    #[test]
    fn no_values_have_no_spread_and_odd_ones_are_refused() {
        assert_eq!(Spread::new(&[], Confidence::USUAL).unwrap(), None);
        assert!(Spread::new(&[1.0, f64::NAN], Confidence::USUAL).is_err());
        assert!(percentile(&[1.0], 1.0, Confidence::USUAL).is_err());
    }

    proptest! {
        #[test]
        fn bounds_lie_around_the_percentile(
            values in prop::collection::vec(-1e3..1e3_f64, 1..400), share in 0.01..0.99_f64
        ) {
            let found = percentile(&values, share, Confidence::USUAL).unwrap().unwrap();
            prop_assert!(found.lower.is_none_or(|lower| lower <= found.value));
            prop_assert!(found.upper.is_none_or(|upper| upper >= found.value));
            let not_above = values.iter().filter(|&&value| value <= found.value).count() as f64;
            prop_assert!(not_above >= share * values.len() as f64 - 1e-9);
        }
    }
}
