//! So many events in so many hours: what is known of their rate.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::function::gamma::{gamma_lr, gamma_ur};

use super::root::crossing;
use super::{Confidence, Error, Interval};

/// A rate of events with its exact bounds. Of no time nothing can be said: all figures are null then.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rate {
    /// Events.
    pub events: u64,
    /// Time watched, h.
    pub hours: f64,
    /// Their ratio, 1/h.
    pub per_hour: Option<f64>,
    /// Two-sided bounds, 1/h.
    pub two_sided_per_hour: Option<Interval>,
    /// One-sided bounds, each for itself, 1/h.
    pub one_sided_per_hour: Option<Interval>,
    /// Confidence of the bounds.
    pub confidence: Confidence,
}

impl Rate {
    /// The rate of `events` in `hours` with its exact bounds, for events that come independently at a steady rate.
    ///
    /// The lower bound is the rate at which so many events or more would come with probability alpha only, the upper
    /// one that for so many or fewer. Without an event the upper bound is -ln(alpha) / `hours`.
    ///
    /// # Errors
    /// [`Error::Range`] unless `hours` is finite and not negative.
    ///
    /// # Source
    /// Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28 (1936), 437-442.
    /// P(X >= k) = P(k, mean), the regularised incomplete gamma function.
    pub fn new(events: u64, hours: f64, confidence: Confidence) -> Result<Self, Error> {
        Error::not_negative("hours watched", hours)?;
        let watched = (hours > 0.0).then_some(hours);
        let bounds = |alpha| {
            watched.map(|hours| Interval {
                lower: lower_mean(events, alpha) / hours,
                upper: upper_mean(events, alpha) / hours,
            })
        };
        Ok(Self {
            events,
            hours,
            per_hour: watched.map(|hours| events as f64 / hours),
            two_sided_per_hour: bounds(confidence.each_side_error()),
            one_sided_per_hour: bounds(confidence.one_sided_error()),
            confidence,
        })
    }
}

/// The mean at which `events` or more come with probability `alpha`.
fn lower_mean(events: u64, alpha: f64) -> f64 {
    if events == 0 {
        return 0.0;
    }
    let shape = events as f64;
    crossing(0.0, shape, |mean| {
        gamma_lr(shape, mean.max(f64::MIN_POSITIVE)) - alpha
    })
}

/// The mean at which `events` or fewer come with probability `alpha`.
fn upper_mean(events: u64, alpha: f64) -> f64 {
    if events == 0 {
        return -alpha.ln();
    }
    let shape = events as f64 + 1.0;
    let tail = |mean: f64| gamma_ur(shape, mean) - alpha;
    let mut high = 2.0 * shape;
    while tail(high) > 0.0 {
        high *= 2.0;
    }
    crossing(events as f64, high, tail)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nothing_is_said_of_no_time() {
        let none = Rate::new(0, 0.0, Confidence::USUAL).unwrap();
        assert_eq!(
            (
                none.per_hour,
                none.two_sided_per_hour,
                none.one_sided_per_hour
            ),
            (None, None, None)
        );
        for hours in [-1.0, f64::NAN, f64::INFINITY] {
            assert!(Rate::new(1, hours, Confidence::USUAL).is_err(), "{hours}");
        }
    }

    #[test]
    fn no_event_in_three_hours_is_one_an_hour_at_most() {
        let rate = Rate::new(0, 20.0_f64.ln(), Confidence::USUAL).unwrap();
        let bounds = rate.one_sided_per_hour.unwrap();
        assert_eq!(bounds.lower, 0.0);
        assert!((bounds.upper - 1.0).abs() < 1e-14);
    }

    proptest! {
        #[test]
        fn bounds_lie_around_the_rate_and_rise_with_events(events in 0_u64..3000, hours in 0.01..1e5_f64) {
            let less = Rate::new(events, hours, Confidence::USUAL).unwrap();
            let more = Rate::new(events + 1, hours, Confidence::USUAL).unwrap();
            let (two, one) = (less.two_sided_per_hour.unwrap(), less.one_sided_per_hour.unwrap());
            prop_assert!(two.contains(less.per_hour.unwrap()));
            prop_assert!(two.lower <= one.lower && one.upper < two.upper);
            let above = more.two_sided_per_hour.unwrap();
            prop_assert!(two.lower < above.lower && two.upper < above.upper);
        }
    }
}
