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

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::function::gamma::gamma_ur;

use super::confidence::normal_quantile;
use super::root::smooth_crossing;
use super::{Confidence, Error, Interval};

/// Fewer trials than these are refused. A logistic curve has two parameters, and the bounds are those of many trials.
pub const MIN_TRIALS: u64 = 20;

/// Fewer trials than these get a caution: the least number for hit/miss data in MIL-HDBK-1823A.
pub const USUAL_TRIALS: u64 = 60;

/// Points at which the curve's band is given.
const BAND_POINTS: usize = 61;

/// Newton steps after which a fit is given up; it takes fewer than ten.
const MAX_STEPS: usize = 100;

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

fn logistic(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

fn logit(probability: f64) -> f64 {
    (probability / (1.0 - probability)).ln()
}

/// Trials of one size.
#[derive(Clone, Copy)]
struct Count {
    size: f64,
    /// g(size).
    at: f64,
    trials: f64,
    hits: f64,
}

/// All trials, by rising size.
struct Counts {
    scale: Scale,
    counts: Vec<Count>,
}

/// A straight line in log odds.
#[derive(Clone, Copy)]
struct Line {
    intercept: f64,
    slope: f64,
}

impl Counts {
    fn new(trials: &[Trial], scale: Scale) -> Self {
        let mut rising = trials.to_vec();
        rising.sort_by(|a, b| a.size.total_cmp(&b.size));
        let counts = rising
            .chunk_by(|a, b| a.size == b.size)
            .map(|same| Count {
                size: same[0].size,
                at: scale.of(same[0].size),
                trials: same.len() as f64,
                hits: same.iter().filter(|trial| trial.is_detected).count() as f64,
            })
            .collect();
        Self { scale, counts }
    }

    fn trials(&self) -> f64 {
        self.counts.iter().map(|count| count.trials).sum()
    }

    fn hits(&self) -> f64 {
        self.counts.iter().map(|count| count.hits).sum()
    }

    fn log_likelihood(&self, line: Line) -> f64 {
        self.counts
            .iter()
            .map(|count| {
                let logit = line.intercept + line.slope * count.at;
                // ln(1 + e^x) without overflow.
                count.hits * logit - count.trials * (logit.max(0.0) + (-logit.abs()).exp().ln_1p())
            })
            .sum()
    }

    /// Reasons to refuse that show without a fit.
    fn refuse_at_sight(&self) -> Result<(), Refusal> {
        let trials = self.trials() as u64;
        if trials < MIN_TRIALS {
            return Err(Refusal::TooFew {
                trials,
                needed: MIN_TRIALS,
            });
        }
        let is_hit = |count: &&Count| count.hits > 0.0;
        let is_missed = |count: &&Count| count.hits < count.trials;
        let sizes = |mut found: Vec<f64>| (found[0], found.pop().expect("it has a first"));
        let all = sizes(self.counts.iter().map(|count| count.size).collect());
        let hit: Vec<f64> = self
            .counts
            .iter()
            .filter(is_hit)
            .map(|count| count.size)
            .collect();
        let missed: Vec<f64> = self
            .counts
            .iter()
            .filter(is_missed)
            .map(|count| count.size)
            .collect();
        if missed.is_empty() {
            return Err(Refusal::NoMisses {
                trials,
                smallest: all.0,
            });
        }
        if hit.is_empty() {
            return Err(Refusal::NoHits {
                trials,
                largest: all.1,
            });
        }
        // Albert and Anderson 1984, Biometrika 71, 1-10: there is a greatest likelihood just when the two overlap;
        // with one size that is both hit and missed at the border they do not yet.
        let ((smallest_hit, largest_hit), (smallest_miss, largest_miss)) =
            (sizes(hit), sizes(missed));
        if largest_hit <= smallest_miss {
            return Err(Refusal::SlopeNotPositive { slope: 0.0 });
        }
        if largest_miss <= smallest_hit {
            return Err(Refusal::Separated {
                largest_miss,
                smallest_hit,
            });
        }
        Ok(())
    }

    fn fit(&self, confidence: Confidence) -> Result<Curve, Refusal> {
        self.refuse_at_sight()?;
        let (line, covariance) = self.greatest()?;
        let goodness = self.goodness(line);
        if line.slope <= 0.0 {
            return Err(Refusal::SlopeNotPositive { slope: line.slope });
        }
        let rise = (goodness.null_deviance - goodness.deviance).max(0.0);
        let p_value = chi_square_tail(rise, 1.0);
        if p_value > confidence.one_sided_error() {
            return Err(Refusal::SlopeInsignificant { p_value });
        }
        let sizes = Interval {
            lower: self.counts[0].size,
            upper: self.counts[self.counts.len() - 1].size,
        };
        let at = |probability| (logit(probability) - line.intercept) / line.slope;
        let a90 = self.scale.back(at(0.9));
        if !sizes.contains(a90) {
            return Err(Refusal::OutsideRange {
                a90,
                smallest: sizes.lower,
                largest: sizes.upper,
            });
        }
        let bounds = Bounds {
            counts: self,
            line,
            covariance,
            z: normal_quantile(confidence.share()),
        };
        let (likely, wald) = (bounds.size_above(at(0.9)), bounds.size_above_wald(at(0.9)));
        let mut curve = Curve {
            scale: self.scale,
            trials: self.trials() as u64,
            hits: self.hits() as u64,
            sizes,
            intercept: line.intercept,
            slope: line.slope,
            covariance,
            a50: self.scale.back(at(0.5)),
            a90,
            a90_95: self.scale.back(likely),
            a90_95_wald: self.scale.back(wald),
            confidence,
            band: bounds.band(),
            goodness,
            cautions: Vec::new(),
        };
        // A slope that is barely there puts the bound beyond all numbers.
        if !curve.a90_95.is_finite() || !curve.a90_95_wald.is_finite() {
            return Err(Refusal::SlopeInsignificant { p_value });
        }
        curve.cautions = cautions(&curve);
        Ok(curve)
    }

    /// The line of greatest likelihood and its covariance, by Newton's method on centred and scaled sizes (for this
    /// model the same as iteratively reweighted least squares).
    fn greatest(&self) -> Result<(Line, [[f64; 2]; 2]), Refusal> {
        let n = self.trials();
        let mean = self
            .counts
            .iter()
            .map(|count| count.trials * count.at)
            .sum::<f64>()
            / n;
        let variance = self
            .counts
            .iter()
            .map(|count| count.trials * (count.at - mean).powi(2))
            .sum::<f64>()
            / n;
        let deviation = variance.sqrt();
        let scaled = Self {
            scale: self.scale,
            counts: self
                .counts
                .iter()
                .map(|count| Count {
                    at: (count.at - mean) / deviation,
                    ..*count
                })
                .collect(),
        };
        let mut line = Line {
            intercept: logit(self.hits() / n),
            slope: 0.0,
        };
        let mut likelihood = scaled.log_likelihood(line);
        for _ in 0..MAX_STEPS {
            let (score, information) = scaled.slopes(line);
            let inverse = inverse(information);
            let step = [0, 1].map(|row| inverse[row][0] * score[0] + inverse[row][1] * score[1]);
            let mut part = 1.0;
            let (next, risen) = loop {
                let next = Line {
                    intercept: line.intercept + part * step[0],
                    slope: line.slope + part * step[1],
                };
                let risen = scaled.log_likelihood(next);
                if risen >= likelihood || part < 1e-9 {
                    break (next, risen);
                }
                part /= 2.0;
            };
            let moved = (part * step[0]).abs() + (part * step[1]).abs();
            (line, likelihood) = (next, risen);
            if !moved.is_finite() {
                return Err(Refusal::NotSettled);
            }
            if moved < 1e-12 * (1.0 + line.intercept.abs() + line.slope.abs()) || part < 1e-9 {
                let back = Line {
                    intercept: line.intercept - line.slope * mean / deviation,
                    slope: line.slope / deviation,
                };
                return Ok((
                    back,
                    inverse_of_shifted(scaled.slopes(line).1, mean, deviation),
                ));
            }
        }
        Err(Refusal::NotSettled)
    }

    /// First derivative of the log likelihood and the negative second one.
    fn slopes(&self, line: Line) -> ([f64; 2], [[f64; 2]; 2]) {
        let (mut score, mut information) = ([0.0; 2], [[0.0; 2]; 2]);
        for count in &self.counts {
            let p = logistic(line.intercept + line.slope * count.at);
            let left = count.hits - count.trials * p;
            let weight = count.trials * p * (1.0 - p);
            score[0] += left;
            score[1] += left * count.at;
            information[0][0] += weight;
            information[0][1] += weight * count.at;
            information[1][1] += weight * count.at * count.at;
        }
        information[1][0] = information[0][1];
        (score, information)
    }

    /// Greatest log likelihood of the lines that pass through `logit` at `at`, by Newton's method on the slope; the
    /// likelihood is concave in it.
    fn greatest_through(&self, at: f64, logit: f64, start: f64) -> f64 {
        let line = |slope: f64| Line {
            intercept: logit - slope * at,
            slope,
        };
        let mut slope = start;
        let mut likelihood = self.log_likelihood(line(slope));
        for _ in 0..MAX_STEPS {
            let (score, information) = self.slopes(line(slope));
            let first = score[1] - at * score[0];
            let second =
                information[1][1] - 2.0 * at * information[0][1] + at * at * information[0][0];
            let mut step = first / second;
            if !step.is_finite() {
                // Every trial is certain on this line: go towards the flat one.
                step = -slope / 2.0;
            }
            let mut risen = self.log_likelihood(line(slope + step));
            while risen < likelihood && step.abs() > 1e-12 * slope.abs() {
                step /= 2.0;
                risen = self.log_likelihood(line(slope + step));
            }
            let gained = risen - likelihood;
            if gained <= 0.0 {
                break;
            }
            slope += step;
            likelihood = risen;
            if gained < 1e-13 * likelihood.abs() {
                break;
            }
        }
        likelihood
    }

    fn goodness(&self, line: Line) -> Goodness {
        let (n, hits) = (self.trials(), self.hits());
        let flat = Line {
            intercept: logit(hits / n),
            slope: 0.0,
        };
        let pearson = self
            .counts
            .iter()
            .map(|count| {
                misfit(
                    count.hits,
                    count.trials,
                    logistic(line.intercept + line.slope * count.at),
                )
            })
            .sum();
        Goodness {
            deviance: -2.0 * self.log_likelihood(line),
            null_deviance: -2.0 * self.log_likelihood(flat),
            pearson,
            hosmer_lemeshow: self.hosmer_lemeshow(line),
        }
    }

    /// # Source
    /// Hosmer and Lemeshow, "Goodness of fit tests for the multiple logistic regression model", Communications in
    /// Statistics A9 (1980), 1043-1069.
    fn hosmer_lemeshow(&self, line: Line) -> Option<HosmerLemeshow> {
        let n = self.trials();
        let wanted = (n as u64 / 10).clamp(4, 10);
        let (mut groups, mut statistic) = (0, 0.0);
        let (mut trials, mut hits, mut fitted, mut taken) = (0.0, 0.0, 0.0, 0.0);
        for count in &self.counts {
            trials += count.trials;
            hits += count.hits;
            fitted += count.trials * logistic(line.intercept + line.slope * count.at);
            taken += count.trials;
            // The k-th group ends where k parts of all are taken, after the size that reaches it.
            let due = ((n * (taken * wanted as f64 / n + 1e-9).floor()) / wanted as f64).floor();
            if due > taken - trials && taken >= due {
                groups += 1;
                statistic += misfit(hits, trials, fitted / trials);
                (trials, hits, fitted) = (0.0, 0.0, 0.0);
            }
        }
        (groups > 2).then(|| HosmerLemeshow {
            groups,
            statistic,
            p_value: chi_square_tail(statistic, (groups - 2) as f64),
        })
    }
}

/// (hits - n p)^2 / (n p (1 - p)).
fn misfit(hits: f64, trials: f64, p: f64) -> f64 {
    (hits - trials * p).powi(2) / (trials * p * (1.0 - p))
}

/// Chance that chi-square with so many degrees of freedom is at least `value`.
fn chi_square_tail(value: f64, degrees: f64) -> f64 {
    if value <= 0.0 {
        1.0
    } else {
        gamma_ur(degrees / 2.0, value / 2.0)
    }
}

fn inverse(m: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
    let determinant = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    [
        [m[1][1] / determinant, -m[0][1] / determinant],
        [-m[1][0] / determinant, m[0][0] / determinant],
    ]
}

/// Covariance of intercept and slope over sizes, from the information over (size - `mean`) / `deviation`.
fn inverse_of_shifted(information: [[f64; 2]; 2], mean: f64, deviation: f64) -> [[f64; 2]; 2] {
    let c = inverse(information);
    let shift = mean / deviation;
    let cross = (c[0][1] - shift * c[1][1]) / deviation;
    [
        [
            c[0][0] - 2.0 * shift * c[0][1] + shift * shift * c[1][1],
            cross,
        ],
        [cross, c[1][1] / (deviation * deviation)],
    ]
}

/// Bounds about a fitted line.
struct Bounds<'a> {
    counts: &'a Counts,
    line: Line,
    covariance: [[f64; 2]; 2],
    z: f64,
}

impl Bounds<'_> {
    /// Signed root of what forcing the line through `logit` at `at` costs, less what is believed; negative inside the
    /// bounds. The root is nearly straight in `at` and `logit`, the cost itself is not.
    fn excess(&self, at: f64, logit: f64) -> f64 {
        let best = self.counts.log_likelihood(self.line);
        let forced = self.counts.greatest_through(at, logit, self.line.slope);
        (2.0 * (best - forced)).max(0.0).sqrt() - self.z
    }

    /// Standard error of the line's log odds at `at`.
    fn standard_error(&self, at: f64) -> f64 {
        let c = self.covariance;
        (c[0][0] + 2.0 * at * c[0][1] + at * at * c[1][1])
            .max(0.0)
            .sqrt()
    }

    /// Upper bound of the place `at` at which the line reaches its log odds there, by the likelihood ratio.
    ///
    /// It exists: far away the forced line is flat, and the flat line costs more than z^2, or the slope would have
    /// been refused.
    fn size_above(&self, at: f64) -> f64 {
        let logit = self.line.intercept + self.line.slope * at;
        let mut far = self.standard_error(at) / self.line.slope * self.z;
        while self.excess(at + far, logit) < 0.0 && far < 1e12 {
            far *= 2.0;
        }
        at + smooth_crossing(far, |away| self.excess(at + away, logit))
    }

    /// The same by the delta method: the standard error of the line, over its slope.
    fn size_above_wald(&self, at: f64) -> f64 {
        at + self.z * self.standard_error(at) / self.line.slope
    }

    /// Bound of the log odds at `at`, below (`side` -1) or above (1).
    fn logit_bound(&self, at: f64, side: f64) -> f64 {
        let logit = self.line.intercept + self.line.slope * at;
        let mut far = self.z * self.standard_error(at);
        while self.excess(at, logit + side * far) < 0.0 {
            far *= 2.0;
        }
        logit + side * smooth_crossing(far, |away| self.excess(at, logit + side * away))
    }

    fn band(&self) -> Vec<BandPoint> {
        let counts = &self.counts.counts;
        let (first, last) = (counts[0].at, counts[counts.len() - 1].at);
        (0..BAND_POINTS)
            .map(|k| {
                let at = first + (last - first) * k as f64 / (BAND_POINTS - 1) as f64;
                BandPoint {
                    size: self.counts.scale.back(at),
                    probability: logistic(self.line.intercept + self.line.slope * at),
                    lower: logistic(self.logit_bound(at, -1.0)),
                    upper: logistic(self.logit_bound(at, 1.0)),
                }
            })
            .collect()
    }
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
