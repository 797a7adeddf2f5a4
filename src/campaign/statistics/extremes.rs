//! How often a value of the clean picture would pass a threshold that it hardly ever passed: peaks over threshold.
//!
//! Few hours of nominal capture hold no nuisance trip at a sensible threshold, so counting trips says little. The
//! values themselves say more: what lies above a high level u, in clusters, is close to a generalized Pareto
//! distribution, whatever the distribution of all values. Its tail, times the rate of clusters, is the rate at which a
//! threshold z > u is passed:
//!
//! ```text
//! rate(z) = peaks an hour * (1 + shape (z - u) / scale)^(-1 / shape)
//! ```
//!
//! Successive frames are alike, so peaks are the maxima of clusters that stand apart by a run of values at or below u.
//! The band is a parametric bootstrap: the count drawn as Poisson, the peaks from the fitted tail, all fitted again;
//! the same replicates give the goodness of fit. u is the caller's choice, and [`stability`] shows whether it matters.
//!
//! The likelihood of shapes at or below -0.5 has no usual maximum (Smith 1985); such tails are refused.
//!
//! # Source
//! Coles, An Introduction to Statistical Modeling of Extreme Values (2001), chapters 4 and 5.3. Pickands, Ann. Statist.
//! 3 (1975), 119-131. Davison and Smith, J. Roy. Statist. Soc. B 52 (1990), 393-442.

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::poisson::Rate;
use super::{Confidence, Error, Interval};

/// What must be said wherever a figure from a fitted tail is shown.
pub const CAUTION: &str = "This is an extrapolation. It holds for pictures like those that were watched, if the tail \
    goes on as it began; what was never watched (other pages, weather, a failing chain) is not in it. The band is of \
    the fit alone.";

/// Fewer peaks than these are refused: the standard error of the shape would be above 0.18.
pub const MIN_PEAKS: u64 = 30;

/// Shapes at or below this have no usual likelihood.
const LEAST_SHAPE: f64 = -0.5;

/// Below this a shape counts as 0 in formulas that divide by it.
const ZERO_SHAPE: f64 = 1e-9;

/// Generalized Pareto distribution of excesses over a threshold.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GeneralizedPareto {
    /// Shape: negative with an end, 0 for an exponential tail, positive for a heavy one.
    pub shape: f64,
    /// Scale, in the unit of the excesses.
    pub scale: f64,
}

impl GeneralizedPareto {
    /// Chance that an excess is above `excess`.
    #[must_use]
    pub fn survival(&self, excess: f64) -> f64 {
        let relative = excess.max(0.0) / self.scale;
        if self.shape.abs() < ZERO_SHAPE {
            (-relative).exp()
        } else {
            let inner = self.shape * relative;
            if inner <= -1.0 {
                0.0
            } else {
                (-inner.ln_1p() / self.shape).exp()
            }
        }
    }

    /// The excess that is not passed with chance `share`.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        self.excess_of(-(-share).ln_1p())
    }

    /// The level that is passed once on average while `peaks` peaks over `threshold` come: with N observations of
    /// which a share zeta are peaks, `peaks` is N zeta; with a rate of peaks an hour, the rate times the hours.
    ///
    /// # Source
    /// Coles 2001, equation 4.12.
    #[must_use]
    pub fn return_level(&self, threshold: f64, peaks: f64) -> f64 {
        threshold + self.excess_of(peaks.ln())
    }

    /// The excess whose chance to be passed is e^-`decay`.
    fn excess_of(&self, decay: f64) -> f64 {
        if self.shape.abs() < ZERO_SHAPE {
            self.scale * decay
        } else {
            self.scale * (self.shape * decay).exp_m1() / self.shape
        }
    }

    /// Negative log likelihood of the excesses.
    #[must_use]
    pub fn negative_log_likelihood(&self, excesses: &[f64]) -> f64 {
        let n = excesses.len() as f64;
        let sum: f64 = if self.shape.abs() < ZERO_SHAPE {
            excesses.iter().map(|excess| excess / self.scale).sum()
        } else {
            let logs: f64 = excesses
                .iter()
                .map(|excess| (self.shape * excess / self.scale).ln_1p())
                .sum();
            (1.0 + 1.0 / self.shape) * logs
        };
        n * self.scale.ln() + sum
    }

    /// Covariance of shape and scale, in this order, for so many excesses.
    ///
    /// # Source
    /// Inverse of the expected information for shapes above -0.5: Hosking and Wallis, Technometrics 29 (1987),
    /// 339-349, section 3.1, with shape = -k.
    #[must_use]
    pub fn covariance(&self, excesses: u64) -> [[f64; 2]; 2] {
        let (n, one_more) = (excesses as f64, 1.0 + self.shape);
        let cross = -self.scale * one_more / n;
        [
            [one_more * one_more / n, cross],
            [cross, 2.0 * self.scale * self.scale * one_more / n],
        ]
    }

    /// The distribution of greatest likelihood for some excesses above 0; `None` when there is no usual maximum.
    ///
    /// With t = shape / scale the best shape is the mean of ln(1 + t excess), which leaves one unknown. The likelihood
    /// over it is searched on a grid and then by golden section.
    ///
    /// # Source
    /// Grimshaw, "Computing maximum likelihood estimates for the generalized Pareto distribution", Technometrics 35
    /// (1993), 185-191.
    #[must_use]
    pub fn fit(excesses: &[f64]) -> Option<Self> {
        let n = excesses.len() as f64;
        let mean = excesses.iter().sum::<f64>() / n;
        let largest = excesses.iter().copied().fold(0.0, f64::max);
        if excesses.len() < 2 || mean <= 0.0 || !largest.is_finite() {
            return None;
        }
        let at = |t: f64| {
            if (t * mean).abs() < ZERO_SHAPE {
                return Self {
                    shape: 0.0,
                    scale: mean,
                };
            }
            let shape = excesses
                .iter()
                .map(|excess| (t * excess).ln_1p())
                .sum::<f64>()
                / n;
            Self {
                shape,
                scale: shape / t,
            }
        };
        // At the best shape the negative log likelihood is n (ln scale + 1 + shape).
        let loss = |t: f64| {
            let tail = at(t);
            tail.scale.ln() + 1.0 + tail.shape
        };
        // Even on (t + 1 / largest), from close to the end of the support to tails far heavier than any of interest.
        let place = |k: i32| ((f64::from(k) * 0.2).exp() - 1.0) / largest;
        let grid: Vec<(f64, f64)> = (-30..=60).map(|k| (place(k), loss(place(k)))).collect();
        // Towards the end of the support the loss falls without bound; that is not the maximum which is meant.
        let inner = grid
            .windows(3)
            .filter(|around| around[1].1 <= around[0].1 && around[1].1 < around[2].1);
        let best = inner.min_by(|a, b| a[1].1.total_cmp(&b[1].1))?;
        let tail = at(golden_section(best[0].0, best[2].0, loss));
        (tail.shape > LEAST_SHAPE && tail.scale.is_finite()).then_some(tail)
    }

    /// An excess drawn at random.
    fn draw(&self, random: &mut ChaCha8Rng) -> f64 {
        self.quantile(random.random())
    }
}

/// Where `f` is least between `low` and `high`.
fn golden_section(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    const PART: f64 = 0.618_033_988_749_894_9;
    let (mut left, mut right) = (high - PART * (high - low), low + PART * (high - low));
    let (mut f_left, mut f_right) = (f(left), f(right));
    // 60 steps of 0.618 leave 3e-13 of the interval, less than the function can tell.
    for _ in 0..60 {
        if f_left < f_right {
            (high, right, f_right) = (right, left, f_left);
            left = high - PART * (high - low);
            f_left = f(left);
        } else {
            (low, left, f_left) = (left, right, f_right);
            right = low + PART * (high - low);
            f_right = f(right);
        }
    }
    (low + high) / 2.0
}

/// The greatest value of a cluster.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Peak {
    /// Its place among the values, from 0.
    pub index: usize,
    /// The value.
    pub value: f64,
}

/// The peaks of clusters above a threshold; a cluster ends when `run_length` values in a row are not above it.
///
/// # Source
/// Runs declustering: Coles 2001, section 5.3.2.
#[must_use]
pub fn decluster(values: &[f64], threshold: f64, run_length: usize) -> Vec<Peak> {
    let mut peaks: Vec<Peak> = Vec::new();
    let mut last_above = None;
    for (index, &value) in values
        .iter()
        .enumerate()
        .filter(|&(_, &value)| value > threshold)
    {
        let is_same_cluster = last_above.is_some_and(|last| index - last <= run_length.max(1));
        last_above = Some(index);
        match peaks.last_mut() {
            Some(peak) if is_same_cluster => {
                if value > peak.value {
                    *peak = Peak { index, value };
                }
            }
            _ => peaks.push(Peak { index, value }),
        }
    }
    peaks
}

/// What a tail is fitted with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Settings {
    /// Peaks are counted above this value.
    pub threshold: f64,
    /// Values in a row at or below the threshold that end a cluster.
    pub run_length: usize,
    /// Levels at which the rate is asked for.
    pub levels: Vec<f64>,
    /// Confidence of the band.
    pub confidence: Confidence,
    /// Replicates of the bootstrap; 0 gives neither band nor goodness of fit.
    pub replicates: u32,
    /// Seed of the bootstrap.
    pub seed: u64,
}

/// What came of a fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The tail.
    Fitted(Box<Tail>),
    /// Why there is none.
    Refused(Refusal),
}

/// Why no tail is given.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", tag = "reason")]
pub enum Refusal {
    /// Too few peaks.
    #[error(
        "{peaks} peaks above {threshold} are too few for a tail; at least {needed} are needed: lower the threshold \
         or watch longer"
    )]
    TooFewPeaks {
        /// Peaks found.
        peaks: u64,
        /// Peaks needed.
        needed: u64,
        /// Threshold.
        threshold: f64,
    },
    /// The likelihood has no usual maximum.
    #[error(
        "the peaks above {threshold} end too abruptly for a fitted tail (shape at or below -0.5): the values are \
         clipped, rounded, or bounded"
    )]
    Irregular {
        /// Threshold.
        threshold: f64,
    },
}

/// A fitted tail.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tail {
    /// Peaks are counted above this value.
    pub threshold: f64,
    /// Values in a row at or below the threshold that end a cluster.
    pub run_length: usize,
    /// Rate of peaks.
    pub peaks: Rate,
    /// Distribution of their excesses.
    pub distribution: GeneralizedPareto,
    /// Covariance of shape and scale.
    pub covariance: [[f64; 2]; 2],
    /// Largest value that occurred. Beyond it all is extrapolation.
    pub largest: f64,
    /// Rate at which each level asked for is passed.
    pub exceedances: Vec<Exceedance>,
    /// How well the distribution follows the peaks; null without replicates.
    pub goodness: Option<Goodness>,
    /// Replicates of the bootstrap that could be fitted.
    pub replicates: u32,
    /// Two-sided confidence of the bands.
    pub confidence: Confidence,
    /// [`CAUTION`].
    pub caution: String,
}

impl Tail {
    /// Rate at which `level` is passed, 1/h; `None` below the threshold, of which the tail says nothing.
    #[must_use]
    pub fn exceedances_per_hour(&self, level: f64) -> Option<f64> {
        let per_hour = self.peaks.per_hour.filter(|_| level >= self.threshold)?;
        Some(per_hour * self.distribution.survival(level - self.threshold))
    }

    /// The level passed once in so many hours on average; `None` when that is more often than there are peaks.
    #[must_use]
    pub fn return_level(&self, hours: f64) -> Option<f64> {
        let peaks = self.peaks.per_hour? * hours;
        (peaks >= 1.0).then(|| self.distribution.return_level(self.threshold, peaks))
    }
}

/// Rate at which one level is passed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Exceedance {
    /// Level.
    pub level: f64,
    /// Clusters that pass it, 1/h, by the fitted tail.
    pub per_hour: f64,
    /// Band of it, 1/h; null without replicates.
    pub band_per_hour: Option<Interval>,
    /// Peaks that did pass it.
    pub observed: u64,
}

/// How well a tail follows its peaks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Goodness {
    /// Anderson and Darling's statistic.
    pub anderson_darling: f64,
    /// Share of replicates with so large a statistic: the chance of so bad a fit if the tail were right.
    pub p_value: f64,
}

/// Fits the tail of `values`, watched evenly over so many hours, and extrapolates it to the levels asked for.
///
/// Levels below the threshold are left out of the answer.
///
/// # Errors
/// [`Error::Range`] when a value, the threshold or a level is not finite, or `hours` is not above 0.
pub fn fit(values: &[f64], hours: f64, settings: &Settings) -> Result<Outcome, Error> {
    for &value in values {
        Error::finite("value", value)?;
    }
    for &level in &settings.levels {
        Error::finite("level", level)?;
    }
    let threshold = Error::finite("threshold", settings.threshold)?;
    Error::positive("hours watched", hours)?;
    let peaks = decluster(values, threshold, settings.run_length);
    let excesses: Vec<f64> = peaks.iter().map(|peak| peak.value - threshold).collect();
    let count = excesses.len() as u64;
    if count < MIN_PEAKS {
        return Ok(Outcome::Refused(Refusal::TooFewPeaks {
            peaks: count,
            needed: MIN_PEAKS,
            threshold,
        }));
    }
    let Some(distribution) = GeneralizedPareto::fit(&excesses) else {
        return Ok(Outcome::Refused(Refusal::Irregular { threshold }));
    };
    let replicates = bootstrap(distribution, count, settings);
    let rate = |mean: f64, tail: &GeneralizedPareto, level: f64| {
        mean / hours * tail.survival(level - threshold)
    };
    let exceedances = settings
        .levels
        .iter()
        .filter(|&&level| level >= threshold)
        .map(|&level| Exceedance {
            level,
            per_hour: rate(count as f64, &distribution, level),
            band_per_hour: middle_part(
                replicates
                    .iter()
                    .map(|one| rate(one.peaks as f64, &one.tail, level))
                    .collect(),
                settings.confidence,
            ),
            observed: peaks.iter().filter(|peak| peak.value > level).count() as u64,
        })
        .collect();
    let statistic = anderson_darling(&distribution, &excesses);
    let worse = replicates
        .iter()
        .filter(|one| one.anderson_darling >= statistic)
        .count();
    let goodness = (!replicates.is_empty()).then(|| Goodness {
        anderson_darling: statistic,
        p_value: (worse + 1) as f64 / (replicates.len() + 1) as f64,
    });
    Ok(Outcome::Fitted(Box::new(Tail {
        threshold,
        run_length: settings.run_length,
        peaks: Rate::new(count, hours, settings.confidence)?,
        distribution,
        covariance: distribution.covariance(count),
        largest: peaks
            .iter()
            .map(|peak| peak.value)
            .fold(f64::NEG_INFINITY, f64::max),
        exceedances,
        goodness,
        replicates: replicates.len() as u32,
        confidence: settings.confidence,
        caution: CAUTION.to_owned(),
    })))
}

/// One replicate of the bootstrap.
struct Replicate {
    peaks: u64,
    tail: GeneralizedPareto,
    anderson_darling: f64,
}

/// Peaks drawn from the fitted tail and fitted again. A replicate that has no usual maximum is left out.
fn bootstrap(tail: GeneralizedPareto, count: u64, settings: &Settings) -> Vec<Replicate> {
    let mut random = ChaCha8Rng::seed_from_u64(settings.seed);
    (0..settings.replicates)
        .filter_map(|_| {
            let peaks = draw_poisson(count as f64, &mut random);
            let excesses: Vec<f64> = (0..peaks).map(|_| tail.draw(&mut random)).collect();
            let tail = GeneralizedPareto::fit(&excesses)?;
            Some(Replicate {
                peaks,
                tail,
                anderson_darling: anderson_darling(&tail, &excesses),
            })
        })
        .collect()
}

/// A Poisson count: how many exponential waits fit into `mean`.
fn draw_poisson(mean: f64, random: &mut ChaCha8Rng) -> u64 {
    let (mut passed, mut count) = (0.0, 0);
    loop {
        let chance: f64 = random.random();
        passed -= (-chance).ln_1p();
        if passed > mean {
            return count;
        }
        count += 1;
    }
}

/// The part of some values that leaves out half of the error on each side; `None` of none.
fn middle_part(mut values: Vec<f64>, confidence: Confidence) -> Option<Interval> {
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    let out = (confidence.each_side_error() * values.len() as f64) as usize;
    Some(Interval {
        lower: values[out],
        upper: values[last - out],
    })
}

/// # Source
/// Anderson and Darling, J. Amer. Statist. Assoc. 49 (1954), 765-769; for this tail, Choulakian and Stephens,
/// Technometrics 43 (2001), 478-484.
fn anderson_darling(tail: &GeneralizedPareto, excesses: &[f64]) -> f64 {
    let mut survival: Vec<f64> = excesses
        .iter()
        .map(|&excess| tail.survival(excess))
        .collect();
    survival.sort_by(|a, b| b.total_cmp(a));
    let n = survival.len();
    // A value at the very end of a short tail has no logarithm.
    let log = |chance: f64| chance.max(f64::MIN_POSITIVE).ln();
    let sum: f64 = (0..n)
        .map(|k| (2 * k + 1) as f64 * (log(1.0 - survival[k]) + log(survival[n - 1 - k])))
        .sum();
    -(n as f64) - sum / n as f64
}

/// What one threshold makes of the tail. When the tail is right above some threshold, shape and modified scale stay
/// the same above it, within their errors.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StabilityPoint {
    /// Threshold.
    pub threshold: f64,
    /// Peaks above it.
    pub peaks: u64,
    /// Shape; null where the fit is refused.
    pub shape: Option<f64>,
    /// Its standard error.
    pub shape_standard_error: Option<f64>,
    /// Scale less shape times threshold, in the unit of the values.
    pub modified_scale: Option<f64>,
    /// Its standard error.
    pub modified_scale_standard_error: Option<f64>,
}

/// The tail over a range of thresholds.
///
/// # Errors
/// [`Error::Range`] when a value or threshold is not finite.
///
/// # Source
/// Coles 2001, section 4.3.4.
pub fn stability(
    values: &[f64],
    thresholds: &[f64],
    run_length: usize,
) -> Result<Vec<StabilityPoint>, Error> {
    for &value in values {
        Error::finite("value", value)?;
    }
    thresholds
        .iter()
        .map(|&threshold| {
            Error::finite("threshold", threshold)?;
            let peaks = decluster(values, threshold, run_length);
            let count = peaks.len() as u64;
            let excesses: Vec<f64> = peaks.iter().map(|peak| peak.value - threshold).collect();
            let tail = (count >= MIN_PEAKS)
                .then(|| GeneralizedPareto::fit(&excesses))
                .flatten();
            let covariance = tail.map(|tail| tail.covariance(count));
            Ok(StabilityPoint {
                threshold,
                peaks: count,
                shape: tail.map(|tail| tail.shape),
                shape_standard_error: covariance.map(|c| c[0][0].sqrt()),
                modified_scale: tail.map(|tail| tail.scale - tail.shape * threshold),
                modified_scale_standard_error: covariance.map(|c| {
                    (c[1][1] - 2.0 * threshold * c[0][1] + threshold * threshold * c[0][0]).sqrt()
                }),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Evenly spread values of a distribution: its quantiles at (k + 1/2) / n, each followed by quiet values.
    fn spread_out(tail: GeneralizedPareto, n: usize, threshold: f64, quiet: usize) -> Vec<f64> {
        (0..n)
            .flat_map(|k| {
                // A stride that shares no factor with n mixes the order.
                let share = (((k * 37) % n) as f64 + 0.5) / n as f64;
                std::iter::once(threshold + tail.quantile(share))
                    .chain(std::iter::repeat_n(0.0, quiet))
            })
            .collect()
    }

    fn settings(threshold: f64, levels: &[f64]) -> Settings {
        Settings {
            threshold,
            run_length: 3,
            levels: levels.to_vec(),
            confidence: Confidence::USUAL,
            replicates: 100,
            seed: 1,
        }
    }

    fn tail(values: &[f64], hours: f64, settings: &Settings) -> Tail {
        match fit(values, hours, settings).unwrap() {
            Outcome::Fitted(tail) => *tail,
            Outcome::Refused(refusal) => panic!("{refusal}"),
        }
    }

    #[test]
    fn clusters_end_after_a_run_of_quiet_values() {
        let values = [0.0, 2.0, 3.0, 0.0, 2.5, 0.0, 0.0, 4.0, 0.0];
        let peaks = |run_length| -> Vec<usize> {
            decluster(&values, 1.0, run_length)
                .iter()
                .map(|peak| peak.index)
                .collect()
        };
        assert_eq!(peaks(1), [2, 4, 7]);
        assert_eq!(peaks(2), [2, 7]);
        assert_eq!(peaks(3), [7]);
        assert_eq!(
            decluster(&values, 2.0, 1).len(),
            3,
            "a value at the threshold is not above it"
        );
        assert!(decluster(&[], 1.0, 3).is_empty());
    }

    #[test]
    fn few_peaks_are_refused() {
        let values = spread_out(
            GeneralizedPareto {
                shape: 0.1,
                scale: 1.0,
            },
            29,
            5.0,
            5,
        );
        let refused = fit(&values, 1.0, &settings(5.0, &[])).unwrap();
        let expected = Refusal::TooFewPeaks {
            peaks: 29,
            needed: 30,
            threshold: 5.0,
        };
        assert_eq!(refused, Outcome::Refused(expected));
    }

    #[test]
    fn clipped_values_are_refused() {
        // Even from 5 to 6: shape -1.
        let values = spread_out(
            GeneralizedPareto {
                shape: -1.0,
                scale: 1.0,
            },
            101,
            5.0,
            5,
        );
        let refused = fit(&values, 1.0, &settings(5.0, &[])).unwrap();
        assert_eq!(
            refused,
            Outcome::Refused(Refusal::Irregular { threshold: 5.0 })
        );
    }

    #[test]
    fn a_known_tail_is_carried_on() {
        let truth = GeneralizedPareto {
            shape: 0.1,
            scale: 0.5,
        };
        let values = spread_out(truth, 401, 5.0, 5);
        let found = tail(&values, 2.0, &settings(5.0, &[4.0, 5.0, 6.0, 12.0]));
        assert!(
            (found.distribution.shape - 0.1).abs() < 0.02,
            "{:?}",
            found.distribution
        );
        assert_eq!(
            found.exceedances.len(),
            3,
            "the level below the threshold is left out"
        );
        for point in &found.exceedances {
            let band = point.band_per_hour.unwrap();
            assert!(
                band.contains(200.5 * truth.survival(point.level - 5.0)),
                "{point:?}"
            );
            assert!(band.contains(point.per_hour), "{point:?}");
            assert_eq!(
                found.exceedances_per_hour(point.level),
                Some(point.per_hour)
            );
        }
        assert_eq!(found.exceedances[0].observed, 401);
        assert_eq!(found.exceedances[2].observed, 0);
        assert!(
            found.goodness.unwrap().p_value > 0.5,
            "{:?}",
            found.goodness
        );
        let level = found.return_level(100.0).unwrap();
        assert!((found.exceedances_per_hour(level).unwrap() * 100.0 - 1.0).abs() < 1e-9);
        assert_eq!(found.return_level(1e-3), None);
    }

    #[test]
    fn a_tail_of_two_parts_fits_badly() {
        // Half of the peaks close above the threshold, half far away.
        let values: Vec<f64> = (0..200)
            .flat_map(|k| {
                [
                    5.0 + if k % 2 == 0 { 0.1 } else { 3.0 } + f64::from(k) * 1e-4,
                    0.0,
                    0.0,
                    0.0,
                    0.0,
                ]
            })
            .collect();
        let found = tail(&values, 1.0, &settings(5.0, &[]));
        assert!(
            found.goodness.unwrap().p_value < 0.02,
            "{:?}",
            found.goodness
        );
    }

    #[test]
    fn one_seed_gives_one_band_and_another_a_different_one() {
        let values = spread_out(
            GeneralizedPareto {
                shape: 0.1,
                scale: 0.5,
            },
            101,
            5.0,
            5,
        );
        let first = settings(5.0, &[7.0]);
        let other = Settings {
            seed: 2,
            ..first.clone()
        };
        assert_eq!(tail(&values, 2.0, &first), tail(&values, 2.0, &first));
        assert_ne!(
            tail(&values, 2.0, &first).exceedances,
            tail(&values, 2.0, &other).exceedances
        );
        let none = tail(
            &values,
            2.0,
            &Settings {
                replicates: 0,
                ..first
            },
        );
        assert_eq!(
            (none.goodness, none.exceedances[0].band_per_hour),
            (None, None)
        );
    }

    #[test]
    fn a_true_tail_is_stable_over_thresholds() {
        let values = spread_out(
            GeneralizedPareto {
                shape: 0.2,
                scale: 1.0,
            },
            1009,
            5.0,
            5,
        );
        let points = stability(&values, &[5.0, 5.5, 6.0, 7.0, 100.0], 3).unwrap();
        for point in &points[..4] {
            let within = |value: Option<f64>, truth: f64, error: Option<f64>| {
                (value.unwrap() - truth).abs() < error.unwrap()
            };
            assert!(
                within(point.shape, 0.2, point.shape_standard_error),
                "{point:?}"
            );
            assert!(
                within(
                    point.modified_scale,
                    0.0,
                    point.modified_scale_standard_error
                ),
                "{point:?}"
            );
        }
        assert_eq!((points[4].peaks < MIN_PEAKS, points[4].shape), (true, None));
    }

    #[test]
    fn odd_numbers_are_errors() {
        assert!(fit(&[f64::NAN], 1.0, &settings(5.0, &[])).is_err());
        assert!(fit(&[1.0], 0.0, &settings(5.0, &[])).is_err());
        assert!(fit(&[1.0], 1.0, &settings(f64::INFINITY, &[])).is_err());
        assert!(stability(&[1.0], &[f64::NAN], 1).is_err());
    }

    proptest! {
        #[test]
        fn survival_undoes_the_quantile(shape in -0.45..0.8_f64, scale in 0.01..100.0_f64, share in 0.0..0.9999_f64) {
            let tail = GeneralizedPareto { shape, scale };
            prop_assert!((tail.survival(tail.quantile(share)) - (1.0 - share)).abs() < 1e-10);
        }

        #[test]
        fn a_fit_scales_with_its_values(factor in 1e-3..1e3_f64, shape in -0.3..0.5_f64) {
            let truth = GeneralizedPareto { shape, scale: 1.0 };
            let excesses: Vec<f64> = (0..60).map(|k| truth.quantile((f64::from(k) + 0.5) / 60.0)).collect();
            let plain = GeneralizedPareto::fit(&excesses).unwrap();
            let scaled: Vec<f64> = excesses.iter().map(|excess| excess * factor).collect();
            let found = GeneralizedPareto::fit(&scaled).unwrap();
            prop_assert!((found.shape - plain.shape).abs() < 1e-5);
            prop_assert!((found.scale / (plain.scale * factor) - 1.0).abs() < 1e-5);
            // No neighbour is more likely.
            for (by_shape, by_scale) in [(1e-3, 0.0), (-1e-3, 0.0), (0.0, 1e-3), (0.0, -1e-3)] {
                let near = GeneralizedPareto { shape: plain.shape + by_shape, scale: plain.scale + by_scale };
                prop_assert!(near.negative_log_likelihood(&excesses) > plain.negative_log_likelihood(&excesses));
            }
        }

        #[test]
        fn a_higher_threshold_has_no_more_values_above(
            values in prop::collection::vec(0.0..10.0_f64, 0..200), low in 0.0..9.0_f64
        ) {
            let peaks = decluster(&values, low, 2);
            prop_assert!(peaks.iter().all(|peak| peak.value > low && values[peak.index] == peak.value));
            let above = values.iter().copied().fold(0.0, f64::max) > low;
            prop_assert_eq!(!peaks.is_empty(), above);
        }
    }
}
