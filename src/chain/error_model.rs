//! Measures how far readings lie off, from frames whose values are known.
//!
//! A reading in frame `k` of a display whose data are `latency` old is off by
//! `e = error + speed * (age - latency)`, so that `e² = (f s)² + speed² v`: `s` is what its cells tell, `f` the factor
//! that is looked for, `v` the variance of the age. Fast symbols give `v`, all give `f`. Few frames that hang together
//! say little: each factor is drawn towards that of all readings together, and that towards what is usual.

use crate::capture::reading_errors::{ReadingErrors, USUAL};
use crate::chain::constants::error_model::{ENOUGH, LEAST_AGE_S, MOST, MOST_AGE_S, PRIOR, STEP};

/// One reading in one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// The frame, counted from the first.
    pub frame: usize,
    /// Which reading: an index into the names.
    pub reading: usize,
    /// Shown minus due, px.
    pub error_px: f64,
    /// What its cells tell of that, px.
    pub told_px: f64,
    /// Speed of what is due, px/s.
    pub speed_px_s: f64,
}

/// The model of all readings `names`, from their residuals in the order of frames.
#[must_use]
pub fn measure(residuals: &[Residual], names: &[String]) -> ReadingErrors {
    let usual_px = |r: &Residual| USUAL * r.told_px;
    let fast = residuals
        .iter()
        .filter(|r| r.speed_px_s.abs() * LEAST_AGE_S > usual_px(r));
    let ages: Vec<f64> = fast
        .map(|r| {
            let off_s2 = (r.error_px.powi(2) - usual_px(r).powi(2)) / r.speed_px_s.powi(2);
            off_s2.min(MOST_AGE_S * MOST_AGE_S)
        })
        .collect();
    let variance =
        (ages.len() >= ENOUGH).then(|| (ages.iter().sum::<f64>() / ages.len() as f64).max(0.0));
    let most = (MOST * USUAL).powi(2);
    let square = |r: &Residual| {
        let by_age = variance.unwrap_or(0.0) * r.speed_px_s.powi(2);
        ((r.error_px.powi(2) - by_age) / r.told_px.powi(2)).clamp(0.0, most)
    };
    // What moves in the scatter of the age says little of a reading's own error.
    let share = |r: &Residual| {
        let (own, by_age) = (
            usual_px(r).powi(2),
            variance.unwrap_or(0.0) * r.speed_px_s.powi(2),
        );
        own / (own + by_age)
    };
    // By reading: mean square, and how many independent readings it is worth.
    let of_reading = |k: usize| {
        let own: Vec<&Residual> = residuals.iter().filter(|r| r.reading == k).collect();
        let count: f64 = own.iter().map(|r| share(r)).sum();
        let sum: f64 = own.iter().map(|r| share(r) * square(r)).sum();
        (count > 0.0).then(|| (sum / count, count * worth(&own)))
    };
    let found: Vec<Option<(f64, f64)>> = (0..names.len()).map(of_reading).collect();
    let toward =
        |before: f64, (mean, count): (f64, f64)| (PRIOR * before + count * mean) / (PRIOR + count);
    let measured: Vec<(f64, f64)> = found.iter().flatten().copied().collect();
    let all = measured.iter().map(|(mean, _)| mean).sum::<f64>() / measured.len().max(1) as f64;
    let usual = toward(USUAL * USUAL, (all, measured.len() as f64));
    let rounded = |v: f64| libm::round(v / STEP) * STEP;
    let by_reading = names
        .iter()
        .zip(&found)
        .filter_map(|(name, found)| Some((name.clone(), rounded(toward(usual, (*found)?).sqrt()))));
    ReadingErrors {
        usual: rounded(usual.sqrt()),
        by_reading: by_reading.collect(),
        age_scatter_s: variance.map(|v| libm::round(v.sqrt() * 1e4) / 1e4),
    }
}

/// Independent readings that one of a series is worth, from what two in a row have in common.
fn worth(series: &[&Residual]) -> f64 {
    let square: f64 = series.iter().map(|r| r.error_px.powi(2)).sum();
    let pairs = series.windows(2).map(|w| w[0].error_px * w[1].error_px);
    let alike = (pairs.sum::<f64>() / square.max(1e-12)).clamp(0.0, 1.0);
    (1.0 - alike) / (1.0 + alike)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    fn gauss(random: &mut impl Rng) -> f64 {
        let (u, v): (f64, f64) = (random.random_range(1e-12..1.0), random.random());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    /// Readings with errors of `factors` times what is told, on a display whose age scatters by `age_s`.
    fn series(factors: &[f64], age_s: f64, speed_px_s: f64, seed: u64) -> Vec<Residual> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut out = Vec::new();
        for frame in 0..400 {
            let age = age_s * gauss(&mut random);
            for (k, factor) in factors.iter().enumerate() {
                let speed = if k == 0 { speed_px_s } else { 0.0 };
                out.push(Residual {
                    frame,
                    reading: k,
                    error_px: factor * 0.01 * gauss(&mut random) + speed * age,
                    told_px: 0.01,
                    speed_px_s: speed,
                });
            }
        }
        out
    }

    fn names(count: usize) -> Vec<String> {
        (0..count).map(|k| format!("region/motion/{k}")).collect()
    }

    #[test]
    fn factors_and_the_scatter_of_the_age_are_told_apart() {
        let model = measure(&series(&[1.0, 0.5, 4.0], 0.015, 60.0, 1), &names(3));
        let age_s = model.age_scatter_s.expect("something is fast");
        assert!((0.013..0.017).contains(&age_s), "{age_s}");
        // The first moves too fast for its own error to show.
        for (k, (low, high)) in [(1.0, 3.0), (0.45, 0.7), (3.6, 4.4)]
            .into_iter()
            .enumerate()
        {
            let factor = model.of(&names(3)[k]);
            assert!((low..high).contains(&factor), "{k}: {factor}");
        }
    }

    #[test]
    fn nothing_measured_is_as_usual() {
        assert_eq!(measure(&[], &names(2)), ReadingErrors::default());
    }

    #[test]
    fn a_display_that_is_wrong_is_no_chain() {
        let wrong = |k| Residual {
            frame: 0,
            reading: 0,
            error_px: 8.0 + f64::from(k % 2),
            told_px: 0.01,
            speed_px_s: 0.0,
        };
        let model = measure(&(0..48).map(wrong).collect::<Vec<_>>(), &names(1));
        assert!(model.of(&names(1)[0]) <= MOST * USUAL + STEP);
        assert_eq!(model.age_scatter_s, None);
    }

    /// A mark that stands keeps its error: many frames of it are one reading.
    #[test]
    fn frames_that_hang_together_say_little() {
        let standing: Vec<Residual> = (0..48)
            .map(|frame| Residual {
                frame,
                reading: 0,
                error_px: 0.0001,
                told_px: 0.01,
                speed_px_s: 0.0,
            })
            .collect();
        assert!(measure(&standing, &names(1)).of(&names(1)[0]) > USUAL / 2.0);
    }
}
