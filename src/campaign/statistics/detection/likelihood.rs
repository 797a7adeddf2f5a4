//! The likelihood of a curve of detection: its maximum, what forcing the curve elsewhere costs, and how well it fits.

use statrs::function::gamma::gamma_ur;

use super::super::confidence::normal_quantile;
use super::super::root::smooth_crossing;
use super::super::{Confidence, Interval};
use super::{
    BandPoint, Curve, Goodness, HosmerLemeshow, MIN_TRIALS, Refusal, Scale, Trial, cautions,
};

/// Points at which the curve's band is given.
const BAND_POINTS: usize = 61;

/// Newton steps after which a fit is given up; it takes fewer than ten.
const MAX_STEPS: usize = 100;

pub(super) fn logistic(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

pub(super) fn logit(probability: f64) -> f64 {
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
pub(super) struct Counts {
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
    pub(super) fn new(trials: &[Trial], scale: Scale) -> Self {
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

    /// The curve with its bounds, or why there is none.
    pub(super) fn fit(&self, confidence: Confidence) -> Result<Curve, Refusal> {
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
                let x = line.intercept + line.slope * count.at;
                misfit(count.hits, count.trials, logistic(x), logistic(-x))
            })
            .sum::<f64>()
            .min(f64::MAX);
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
        let (mut trials, mut hits, mut fitted, mut fitted_misses) = (0.0, 0.0, 0.0, 0.0);
        let mut taken = 0.0;
        for count in &self.counts {
            trials += count.trials;
            hits += count.hits;
            let x = line.intercept + line.slope * count.at;
            fitted += count.trials * logistic(x);
            fitted_misses += count.trials * logistic(-x);
            taken += count.trials;
            // The k-th group ends where k parts of all are taken, after the size that reaches it.
            let due = ((n * (taken * wanted as f64 / n + 1e-9).floor()) / wanted as f64).floor();
            if due > taken - trials && taken >= due {
                groups += 1;
                statistic += misfit(hits, trials, fitted / trials, fitted_misses / trials);
                (trials, hits, fitted, fitted_misses) = (0.0, 0.0, 0.0, 0.0);
            }
        }
        (groups > 2).then(|| HosmerLemeshow {
            groups,
            statistic: statistic.min(f64::MAX),
            p_value: chi_square_tail(statistic, (groups - 2) as f64),
        })
    }
}

/// (hits - n p)^2 / (n p q), with `q` = 1 - p given by itself: on a steep curve p rounds to 1. What a curve gives no
/// chance at all is the largest number, not infinity, which no file can hold.
fn misfit(hits: f64, trials: f64, p: f64, q: f64) -> f64 {
    let off = hits * q - (trials - hits) * p;
    if off == 0.0 {
        0.0
    } else {
        (off * off / (trials * p * q)).min(f64::MAX)
    }
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
