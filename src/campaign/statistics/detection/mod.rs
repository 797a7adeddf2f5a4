//! From which size on a fault is found: probability of detection against size, from hits and misses.
//!
//! The model is a logistic curve, logit(p) = intercept + slope g(size), with g the size itself or its logarithm, fitted
//! by maximum likelihood. From it come a50 and a90, the sizes found with a chance of one half and of nine tenths, and
//! a90/95, the size of which one may say with 95 % confidence that at least nine of ten such faults are found.
//!
//! Bounds come from the likelihood ratio: a curve through a given point is believed while twice the loss of log
//! likelihood that forcing it there costs, its other parameter free, is at most z^2, with z the one-sided normal
//! quantile of the confidence. Near certainty the likelihood is lopsided, and the delta method (the other usual
//! bound, given beside it) comes out too small there.
//!
//! A logistic curve can be fitted to nearly anything. [`fit`] refuses where the figures would not be the data's: see
//! [`Refusal`].
//!
//! # Source
//! MIL-HDBK-1823A, Nondestructive Evaluation System Reliability Assessment (2009), chapter 7 and appendix G: hit/miss
//! data, a90/95, likelihood-ratio bounds, 60 trials at least. McCullagh and Nelder, Generalized Linear Models, 2nd ed.
//! (1989), section 4.4: fit and covariance. Venzon and Moolgavkar, Appl. Statist. 37 (1988), 87-94: profile likelihood.

mod likelihood;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::likelihood::{Counts, logistic, logit};
use super::{Confidence, Error, Interval};

/// Fewer trials than these are refused. A logistic curve has two parameters, and the bounds are those of many trials.
pub const MIN_TRIALS: u64 = 20;

/// Fewer trials than these get a caution: the least number for hit/miss data in MIL-HDBK-1823A.
pub const USUAL_TRIALS: u64 = 60;

/// One trial: a fault of some size, found or not.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Trial {
    /// Size of the fault, in the unit that the caller sorts by.
    pub size: f64,
    /// Whether it was found.
    pub is_detected: bool,
}

/// What of a size the curve goes by.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    /// The size itself.
    Linear,
    /// Its natural logarithm: equal factors make equal steps.
    Log,
}

impl Scale {
    /// g(size).
    #[must_use]
    pub fn of(self, size: f64) -> f64 {
        match self {
            Self::Linear => size,
            Self::Log => size.ln(),
        }
    }

    /// The size of which g is `value`.
    #[must_use]
    pub fn back(self, value: f64) -> f64 {
        match self {
            Self::Linear => value,
            Self::Log => value.exp(),
        }
    }
}

/// How the scale of sizes is chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ScaleChoice {
    /// As given.
    Given(Scale),
    /// The one whose curve leaves the lower deviance, as MIL-HDBK-1823A does; the logarithm when they are equal, the
    /// size itself when a size is not above 0, and the one that is not refused when the other is.
    LowerDeviance,
}

/// What came of a fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Detection {
    /// The curve.
    Fitted(Box<Curve>),
    /// Why there is none.
    Refused(Refusal),
}

/// Why no curve is given.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", tag = "reason")]
pub enum Refusal {
    /// Too few trials for bounds that are worth their name.
    #[error(
        "{trials} trials are too few for a curve; at least {needed} are needed, and {USUAL_TRIALS} are usual"
    )]
    TooFew {
        /// Trials.
        trials: u64,
        /// Trials needed.
        needed: u64,
    },
    /// All were found.
    #[error(
        "no misses in {trials} trials: every size tried is found; try smaller ones down to {smallest}"
    )]
    NoMisses {
        /// Trials.
        trials: u64,
        /// Smallest size tried.
        smallest: f64,
    },
    /// None was found.
    #[error("no hits in {trials} trials: no size tried is found; try larger ones than {largest}")]
    NoHits {
        /// Trials.
        trials: u64,
        /// Largest size tried.
        largest: f64,
    },
    /// Hits and misses do not overlap, so no slope is too steep.
    #[error(
        "all sizes up to {largest_miss} are missed and all from {smallest_hit} on are found, so the slope has no \
         bound; try more sizes between and about these"
    )]
    Separated {
        /// Largest size that was missed.
        largest_miss: f64,
        /// Smallest size that was found.
        smallest_hit: f64,
    },
    /// Larger faults are not found more often.
    #[error(
        "larger faults are not found more often (slope {slope}); size does not explain the misses"
    )]
    SlopeNotPositive {
        /// Slope that was found; 0 where all sizes are equal or larger ones are always missed.
        slope: f64,
    },
    /// The rise could be chance.
    #[error(
        "the rise of the curve could be chance (p = {p_value:.3}); more trials or a wider range are needed"
    )]
    SlopeInsignificant {
        /// Likelihood-ratio test of a slope of zero.
        p_value: f64,
    },
    /// a90 lies outside of the sizes tried.
    #[error(
        "a90 would be {a90}, outside of the sizes tried ({smallest} to {largest}); try sizes on both sides of it"
    )]
    OutsideRange {
        /// Where the curve would reach nine tenths.
        a90: f64,
        /// Smallest size tried.
        smallest: f64,
        /// Largest size tried.
        largest: f64,
    },
    /// The sum went wrong.
    #[error("the fit did not settle")]
    NotSettled,
}

/// What to keep in mind with a curve.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", tag = "caution")]
pub enum Caution {
    /// Fewer trials than usual.
    #[error("{trials} trials; {USUAL_TRIALS} are the usual least number")]
    FewTrials {
        /// Trials.
        trials: u64,
    },
    /// a90/95 was not tried.
    #[error("a90/95 lies beyond the largest size tried ({largest}): it is an extrapolation")]
    BoundBeyondSizes {
        /// Largest size tried.
        largest: f64,
    },
    /// The lower half of the curve was not tried.
    #[error(
        "a50 lies below the smallest size tried ({smallest}): the lower half of the curve is an extrapolation"
    )]
    MedianBelowSizes {
        /// Smallest size tried.
        smallest: f64,
    },
    /// The curve does not follow the data.
    #[error(
        "the curve does not follow the data (Hosmer-Lemeshow p = {p_value:.3}); do not rely on its bounds"
    )]
    PoorFit {
        /// Chance of so bad a fit if the curve were right.
        p_value: f64,
    },
}

/// A fitted curve of detection.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    /// What of a size the curve goes by.
    pub scale: Scale,
    /// Trials.
    pub trials: u64,
    /// Of them, found.
    pub hits: u64,
    /// Sizes tried, from the smallest to the largest.
    pub sizes: Interval,
    /// Log odds at g(size) = 0.
    pub intercept: f64,
    /// Log odds for one of g(size).
    pub slope: f64,
    /// Covariance of intercept and slope: inverse of the observed information.
    pub covariance: [[f64; 2]; 2],
    /// Size found with a chance of one half.
    pub a50: f64,
    /// Size found with a chance of nine tenths.
    pub a90: f64,
    /// One-sided upper bound of a90 by the likelihood ratio: the size to claim.
    pub a90_95: f64,
    /// The same by the delta method, for comparison.
    pub a90_95_wald: f64,
    /// Confidence of the bounds; a90/95 is named after the usual 95 %.
    pub confidence: Confidence,
    /// The curve with its band over the sizes tried, evenly on the scale.
    pub band: Vec<BandPoint>,
    /// How well the curve follows the data.
    pub goodness: Goodness,
    /// What to keep in mind.
    pub cautions: Vec<Caution>,
}

impl Curve {
    /// Chance that a fault of this size is found.
    #[must_use]
    pub fn probability(&self, size: f64) -> f64 {
        logistic(self.intercept + self.slope * self.scale.of(size))
    }

    /// The size found with this chance, between 0 and 1.
    #[must_use]
    pub fn size_at(&self, probability: f64) -> f64 {
        self.scale
            .back((logit(probability) - self.intercept) / self.slope)
    }
}

/// The curve at one size. Both bounds are one-sided, by the likelihood ratio, at this size alone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BandPoint {
    /// Size.
    pub size: f64,
    /// Chance that it is found.
    pub probability: f64,
    /// Lower bound of the chance.
    pub lower: f64,
    /// Upper bound of the chance.
    pub upper: f64,
}

/// How well a curve follows its data.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Goodness {
    /// -2 log likelihood. By itself it says nothing about hits and misses; between curves of one set it compares.
    pub deviance: f64,
    /// The same with a slope of zero.
    pub null_deviance: f64,
    /// Pearson's chi-square over distinct sizes.
    pub pearson: f64,
    /// Test of Hosmer and Lemeshow; null when too few sizes are distinct.
    pub hosmer_lemeshow: Option<HosmerLemeshow>,
}

/// Test of Hosmer and Lemeshow: hits against fitted hits in groups of rising size.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HosmerLemeshow {
    /// Groups: one for ten trials, 4 to 10; trials of one size stay together.
    pub groups: u64,
    /// Sum over groups of (hits - fitted)^2 / (n p (1 - p)).
    pub statistic: f64,
    /// Chance of so large a sum if the curve were right, by chi-square with two degrees less than groups.
    pub p_value: f64,
}

/// Fits the probability of detection against size.
///
/// # Errors
/// [`Error::Range`] when a size is not finite, or not above 0 with the logarithm given.
pub fn fit(
    trials: &[Trial],
    scale: ScaleChoice,
    confidence: Confidence,
) -> Result<Detection, Error> {
    for trial in trials {
        Error::finite("size", trial.size)?;
        if scale == ScaleChoice::Given(Scale::Log) {
            Error::positive("size on a logarithmic scale", trial.size)?;
        }
    }
    let on = |scale| Counts::new(trials, scale).fit(confidence);
    let found = match scale {
        ScaleChoice::Given(scale) => on(scale),
        ScaleChoice::LowerDeviance if trials.iter().any(|trial| trial.size <= 0.0) => {
            on(Scale::Linear)
        }
        ScaleChoice::LowerDeviance => match (on(Scale::Log), on(Scale::Linear)) {
            (Ok(log), Ok(linear)) if linear.goodness.deviance < log.goodness.deviance => Ok(linear),
            (Err(_), Ok(linear)) => Ok(linear),
            (log, _) => log,
        },
    };
    Ok(found.map_or_else(Detection::Refused, |curve| {
        Detection::Fitted(Box::new(curve))
    }))
}

fn cautions(curve: &Curve) -> Vec<Caution> {
    let poor = curve
        .goodness
        .hosmer_lemeshow
        .filter(|test| test.p_value < 0.05);
    [
        (curve.trials < USUAL_TRIALS).then_some(Caution::FewTrials {
            trials: curve.trials,
        }),
        (curve.a90_95 > curve.sizes.upper).then_some(Caution::BoundBeyondSizes {
            largest: curve.sizes.upper,
        }),
        (curve.a50 < curve.sizes.lower).then_some(Caution::MedianBelowSizes {
            smallest: curve.sizes.lower,
        }),
        poor.map(|test| Caution::PoorFit {
            p_value: test.p_value,
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn trials(sizes: &[f64], is_detected: impl Fn(usize, f64) -> bool) -> Vec<Trial> {
        let made = sizes.iter().enumerate();
        made.map(|(k, &size)| Trial {
            size,
            is_detected: is_detected(k, size),
        })
        .collect()
    }

    fn refusal(trials: &[Trial]) -> Refusal {
        match fit(trials, ScaleChoice::Given(Scale::Linear), Confidence::USUAL).unwrap() {
            Detection::Refused(refusal) => refusal,
            Detection::Fitted(curve) => panic!("{curve:?}"),
        }
    }

    fn sizes(n: usize) -> Vec<f64> {
        (1..=n).map(|k| k as f64).collect()
    }

    #[test]
    fn too_few_trials_are_refused() {
        let refused = refusal(&trials(&sizes(19), |k, size| size > 9.0 || k % 3 == 0));
        assert_eq!(
            refused,
            Refusal::TooFew {
                trials: 19,
                needed: 20
            }
        );
        assert_eq!(
            refusal(&[]),
            Refusal::TooFew {
                trials: 0,
                needed: 20
            }
        );
    }

    #[test]
    fn one_outcome_alone_is_refused() {
        assert_eq!(
            refusal(&trials(&sizes(30), |_, _| true)),
            Refusal::NoMisses {
                trials: 30,
                smallest: 1.0
            }
        );
        assert_eq!(
            refusal(&trials(&sizes(30), |_, _| false)),
            Refusal::NoHits {
                trials: 30,
                largest: 30.0
            }
        );
    }

    #[test]
    fn separation_is_refused_also_with_a_tie_at_the_border() {
        let complete = refusal(&trials(&sizes(30), |_, size| size > 12.0));
        assert_eq!(
            complete,
            Refusal::Separated {
                largest_miss: 12.0,
                smallest_hit: 13.0
            }
        );
        let mut tied = trials(&sizes(30), |_, size| size > 12.0);
        tied.push(Trial {
            size: 12.0,
            is_detected: true,
        });
        assert_eq!(
            refusal(&tied),
            Refusal::Separated {
                largest_miss: 12.0,
                smallest_hit: 12.0
            }
        );
        // One hit below the border, and the two overlap.
        tied[10].is_detected = true;
        let found = fit(&tied, ScaleChoice::Given(Scale::Linear), Confidence::USUAL).unwrap();
        assert!(matches!(found, Detection::Fitted(_)), "{found:?}");
    }

    #[test]
    fn size_that_explains_nothing_is_refused() {
        assert_eq!(
            refusal(&trials(&[2.0; 30], |k, _| k % 2 == 0)),
            Refusal::SlopeNotPositive { slope: 0.0 }
        );
        let falling = refusal(&trials(&sizes(40), |k, size| size < 20.0 || k % 5 == 0));
        assert!(
            matches!(falling, Refusal::SlopeNotPositive { slope } if slope < 0.0),
            "{falling:?}"
        );
        let flat = refusal(&trials(&sizes(40), |k, _| k % 2 == 1));
        assert!(
            matches!(flat, Refusal::SlopeInsignificant { p_value } if p_value > 0.5),
            "{flat:?}"
        );
    }

    #[test]
    fn sizes_that_stop_short_of_nine_tenths_are_refused() {
        let short = refusal(&trials(&sizes(60), |k, size| k % 2 == 0 && size > 20.0));
        assert!(
            matches!(short, Refusal::OutsideRange { a90, .. } if a90 > 60.0),
            "{short:?}"
        );
        assert!(
            short
                .to_string()
                .contains("outside of the sizes tried (1 to 60)"),
            "{short}"
        );
    }

    #[test]
    fn a_steep_curve_has_figures_that_a_file_can_hold() {
        // So far above the border that the chance of a hit rounds to 1.
        let mut steep: Vec<Trial> = [
            (0.9, 0),
            (1.0, 1),
            (1.01, 10),
            (1.02, 19),
            (1.03, 20),
            (9.0, 20),
        ]
        .into_iter()
        .flat_map(|(size, hits)| {
            (0..20).map(move |k| Trial {
                size,
                is_detected: k < hits,
            })
        })
        .collect();
        for _ in 0..2 {
            let found = fit(&steep, ScaleChoice::Given(Scale::Linear), Confidence::USUAL).unwrap();
            let text = serde_json::to_string(&found).unwrap();
            let again = serde_json::from_str::<Detection>(&text);
            assert!(
                again.is_ok_and(|a| matches!(a, Detection::Fitted(_))),
                "{text}"
            );
            // And the same with a hit that the curve gives no chance at all.
            steep.extend([0.1, 0.2].map(|size| Trial {
                size,
                is_detected: size < 0.15,
            }));
        }
    }

    #[test]
    fn odd_sizes_are_errors() {
        let odd = [Trial {
            size: f64::NAN,
            is_detected: true,
        }];
        assert!(fit(&odd, ScaleChoice::LowerDeviance, Confidence::USUAL).is_err());
        let zero = [Trial {
            size: 0.0,
            is_detected: true,
        }];
        assert!(fit(&zero, ScaleChoice::Given(Scale::Log), Confidence::USUAL).is_err());
        assert!(fit(&zero, ScaleChoice::LowerDeviance, Confidence::USUAL).is_ok());
    }

    #[test]
    fn the_scale_with_the_lower_deviance_is_taken() {
        // Chances that are logistic in the size, made by counting: of 100 a size round(100 p) are found.
        let made = |scale: Scale| {
            let at = |k: usize| scale.back(-2.5 + 0.5 * k as f64);
            let mut made = Vec::new();
            for k in 0..=12 {
                let size = if scale == Scale::Linear {
                    at(k) + 4.0
                } else {
                    at(k)
                };
                let hits = (100.0 * logistic(-1.5 + 0.5 * k as f64 * 0.8)).round() as usize;
                made.extend((0..100).map(|j| Trial {
                    size,
                    is_detected: j < hits,
                }));
            }
            made
        };
        for scale in [Scale::Linear, Scale::Log] {
            match fit(&made(scale), ScaleChoice::LowerDeviance, Confidence::USUAL).unwrap() {
                Detection::Fitted(curve) => {
                    assert_eq!(curve.scale, scale);
                    assert!(curve.goodness.hosmer_lemeshow.unwrap().p_value > 0.5);
                    assert!(curve.cautions.is_empty(), "{:?}", curve.cautions);
                }
                Detection::Refused(refusal) => panic!("{scale:?}: {refusal}"),
            }
        }
    }

    #[test]
    fn a_curve_that_the_data_do_not_follow_carries_a_caution() {
        // Half of all are found at any small size, all at large ones: no logistic curve.
        let steps = trials(&sizes(400), |k, size| {
            if size < 200.0 {
                k % 2 == 0
            } else {
                k % 40 != 0
            }
        });
        match fit(&steps, ScaleChoice::Given(Scale::Linear), Confidence::USUAL).unwrap() {
            Detection::Fitted(curve) => {
                assert!(
                    matches!(curve.cautions[..], [.., Caution::PoorFit { .. }]),
                    "{:?}",
                    curve.cautions
                );
            }
            Detection::Refused(refusal) => panic!("{refusal}"),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn a_fitted_curve_is_in_order(
            draws in prop::collection::vec((0.1..10.0_f64, 0.0..1.0_f64), 30..120), middle in 1.0..6.0_f64
        ) {
            let trials: Vec<Trial> = draws
                .iter()
                .map(|&(size, chance)| Trial { size, is_detected: chance < logistic(1.5 * (size - middle)) })
                .collect();
            let found = fit(&trials, ScaleChoice::LowerDeviance, Confidence::USUAL).unwrap();
            if let Detection::Fitted(curve) = found {
                prop_assert!(curve.a50 < curve.a90 && curve.a90 < curve.a90_95 && curve.a90 < curve.a90_95_wald);
                prop_assert!((curve.probability(curve.a90) - 0.9).abs() < 1e-9);
                prop_assert!((curve.size_at(0.5) / curve.a50 - 1.0).abs() < 1e-12);
                for point in &curve.band {
                    prop_assert!(point.lower <= point.probability && point.probability <= point.upper, "{point:?}");
                }
                // The band and a90/95 are one statement: the lower bound is nine tenths there.
                for pair in curve.band.windows(2) {
                    if pair[0].size >= curve.a90_95 {
                        prop_assert!(pair[0].lower >= 0.9 - 1e-6, "{pair:?} {}", curve.a90_95);
                    }
                }
                // At the maximum the fitted hits are the hits.
                let fitted: f64 = trials.iter().map(|trial| curve.probability(trial.size)).sum();
                prop_assert!((fitted - curve.hits as f64).abs() < 1e-6);
            }
        }
    }
}
