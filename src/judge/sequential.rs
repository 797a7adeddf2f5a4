//! Has an error lasted for long enough to be believed, at the rate of nuisance trips that is allowed?
//!
//! Page's cumulative sum of log-likelihood ratios: that a reading is off by its tolerance and [`Plan::reach_sigmas`] standard errors
//! more, or beyond, against that it is within its tolerance. Each reading counts as the share of an independent one that it is worth
//! ([`super::errors`]), so that the sum does not hang on the frame rate; tails are those of Student's t. The sum never falls below
//! zero, and what raises the alarm is that it reaches a threshold that follows from the allowed rate of false alarms alone. The reach
//! follows from the time that there is: an error is looked for that is as small as can be believed by then, but no smaller
//! than what is never held against a value ([`SIGMAS`]).
//!
//! # What it rests on
//! With the true error at the tolerance, the worst of what is permitted, the ratio of one independent reading has a mean of at most 1
//! ([`Plan::new`] takes off what it would have beyond that, since the ratio does not fall again for errors beyond the reach). So the mean
//! time between false alarms is at least e^threshold independent readings. Errors that hang together for longer than the model
//! says, as the bias of a rasteriser does, must lie within the tolerance.
//!
//! # Source
//! Page, Continuous inspection schemes, Biometrika 41 (1954) 100-115; Lorden, Procedures for reacting to a change in distribution,
//! Annals of Mathematical Statistics 42 (1971) 1897-1908, theorem 2 (both from memory).

use super::constants::{ALARM, MEMORY_S, SIGMAS, TIME_SLACK_S, UNREACHED_SIGMAS};
use super::errors::{misfit, worth};

/// What a test is planned for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Sum of log-likelihoods at which the alarm is raised.
    pub threshold: f64,
    /// The smallest error that is looked for, standard errors beyond the tolerance.
    pub reach_sigmas: f64,
    /// What is taken off each ratio, so that its mean is at most 1 without an error.
    fair: f64,
}

impl Plan {
    /// For so many false alarms an hour of one test, and an error that must be found within `time_s`.
    #[must_use]
    pub fn new(false_alarms_per_hour: f64, time_s: f64) -> Self {
        let reading_s = 2.0 * MEMORY_S;
        let threshold = -libm::log(false_alarms_per_hour * reading_s / 3600.0).min(0.0);
        let readings = time_s / reading_s;
        let is_enough = |reach: f64| readings * most(reach) >= threshold;
        let (mut low, mut high) = (SIGMAS, UNREACHED_SIGMAS);
        if is_enough(low) {
            high = low;
        }
        while high / low > 1.0 + TIME_SLACK_S {
            let middle = (low * high).sqrt();
            if is_enough(middle) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Self {
            threshold,
            reach_sigmas: high,
            fair: libm::log(mean_ratio(high)),
        }
    }

    /// What a reading adds that lies so many standard errors beyond its tolerance.
    #[must_use]
    pub fn gain(&self, beyond_sigmas: f64) -> f64 {
        let at = beyond_sigmas.min(self.reach_sigmas);
        let within = misfit(at.max(0.0));
        let beyond = misfit(at - self.reach_sigmas);
        (within - beyond) / 2.0 - self.fair
    }

    /// How long an error well beyond the reach takes to be found, s.
    #[must_use]
    pub fn time_s(&self) -> f64 {
        2.0 * MEMORY_S * self.threshold / most(self.reach_sigmas)
    }
}

/// The most that one independent reading can say for an error.
fn most(reach_sigmas: f64) -> f64 {
    misfit(reach_sigmas) / 2.0 - libm::log(mean_ratio(reach_sigmas))
}

/// Mean of the ratio where the true error is the tolerance: that of a true likelihood ratio up to the reach, and the chance of more
/// times the ratio there. The tail of Student's t with four degrees of freedom in closed form.
fn mean_ratio(reach_sigmas: f64) -> f64 {
    let root = libm::hypot(2.0, reach_sigmas);
    let rest = 4.0 / (root * (root + reach_sigmas));
    let tail = rest * rest * (3.0 - rest) / 4.0;
    0.5 + libm::exp(misfit(reach_sigmas) / 2.0) * tail
}

/// The running sum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunningSum {
    sum: f64,
    since_s: f64,
    last_s: f64,
}

impl Default for RunningSum {
    fn default() -> Self {
        Self {
            sum: 0.0,
            since_s: 0.0,
            last_s: f64::NEG_INFINITY,
        }
    }
}

impl RunningSum {
    /// Of a reading that was as it should be until `last_s`, s.
    #[must_use]
    pub fn after(last_s: f64) -> Self {
        Self {
            last_s,
            ..Self::default()
        }
    }

    /// Takes a reading at `time_s` that lies so many standard errors beyond its tolerance. What is beyond the threshold is forgotten,
    /// so that a display that recovers is believed at once.
    pub fn push(&mut self, plan: &Plan, time_s: f64, beyond_sigmas: f64) {
        if beyond_sigmas.is_nan() {
            return;
        }
        let worth = worth(time_s - self.last_s);
        self.last_s = time_s;
        if self.sum <= 0.0 {
            self.since_s = time_s;
            if beyond_sigmas <= 0.0 {
                return;
            }
        }
        let gain = worth * plan.gain(beyond_sigmas);
        self.sum = (self.sum.min(plan.threshold) + gain).max(0.0);
    }

    /// Whether the alarm is raised.
    #[must_use]
    pub fn is_raised(&self, plan: &Plan) -> bool {
        self.sum >= plan.threshold - TIME_SLACK_S
    }

    /// The sum of log-likelihoods.
    #[must_use]
    pub const fn sum(&self) -> f64 {
        self.sum
    }

    /// Since when it has been above zero: the most likely time of the change, s.
    #[must_use]
    pub const fn since_s(&self) -> f64 {
        self.since_s
    }
}

/// Sum at which a reading counts as held.
#[must_use]
pub fn held_alarm(plan: Option<&Plan>) -> f64 {
    plan.map_or(ALARM, |p| p.threshold)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const RATES: [f64; 5] = [12.5, 25.0, 29.97, 50.0, 60.0];

    /// Numbers between 0 and 1 that follow from `seed` (the generator of Steele, Lea and Flood, 2014, from memory).
    struct Random(u64);

    impl Random {
        fn next(&mut self) -> f64 {
            self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = self.0;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
        }

        /// Student's t with four degrees of freedom (Bailey, 1994, from memory).
        fn t4(&mut self) -> f64 {
            loop {
                let (u, v) = (2.0 * self.next() - 1.0, 2.0 * self.next() - 1.0);
                let w = u * u + v * v;
                if w > 0.0 && w <= 1.0 {
                    return u * (4.0 * (w.powf(-0.5) - 1.0) / w).sqrt();
                }
            }
        }
    }

    /// Errors of readings as the model has them: one independent draw for as long as errors hang together.
    fn readings(fps: f64, seconds: f64, seed: u64) -> impl Iterator<Item = (f64, f64)> {
        let mut random = Random(seed);
        let (mut error, mut drawn) = (0.0, -1.0);
        (0..(seconds * fps) as usize).map(move |k| {
            let time_s = k as f64 / fps;
            let draw = (time_s / (2.0 * MEMORY_S) + 1e-9).floor();
            if draw > drawn {
                (error, drawn) = (random.t4(), draw);
            }
            (time_s, error)
        })
    }

    #[test]
    fn a_ratio_is_fair() {
        // Riemann sum of the ratio's mean under the error model, with the true error at the tolerance.
        for reach in [3.0, 8.0, 60.0] {
            let plan = Plan {
                threshold: 1.0,
                reach_sigmas: reach,
                fair: libm::log(mean_ratio(reach)),
            };
            let step = 0.01;
            let mean: f64 = (-200_000..200_000)
                .map(|k| {
                    let z = f64::from(k) * step;
                    let density = 0.375 * (-misfit(z) / 2.0).exp();
                    density * plan.gain(z).exp() * step
                })
                .sum();
            assert!(mean <= 1.001 && mean > 0.3, "{mean} at {reach}");
        }
    }

    #[test]
    fn the_reach_follows_from_budget_and_time() {
        let [strict, lax] = [1e-4, 1.0].map(|rate| Plan::new(rate, 0.5));
        assert!((strict.threshold - lax.threshold - 1e4f64.ln()).abs() < 1e-9);
        assert!(strict.reach_sigmas > lax.reach_sigmas);
        assert!(Plan::new(1e-4, 1.0).reach_sigmas < strict.reach_sigmas);
        // However much time there is, what measuring may explain is not asked for.
        assert_eq!(Plan::new(1.0, 60.0).reach_sigmas, SIGMAS);
        assert!(Plan::new(1e-4, 0.05).reach_sigmas >= UNREACHED_SIGMAS * 0.9);
    }

    #[test]
    fn an_error_is_found_at_the_same_time_at_every_rate() {
        let plan = Plan::new(1e-3, 0.5);
        for fps in RATES {
            let mut sum = RunningSum::default();
            let raised_s = (0..1000).map(|k| f64::from(k) / fps).find(|time_s| {
                let beyond = if *time_s < 4.0 { -20.0 } else { 40.0 };
                sum.push(&plan, *time_s, beyond);
                sum.is_raised(&plan)
            });
            let after_s = raised_s.expect("found") - 4.0;
            assert!(
                after_s <= 0.5 + 1.0 / fps && after_s >= 0.5 - 1.1 / fps,
                "{after_s} at {fps}"
            );
            assert!((sum.since_s() - 4.0).abs() <= 1.0 / fps, "{sum:?}");
        }
    }

    #[test]
    fn a_display_that_recovers_is_believed_at_once() {
        let plan = Plan::new(1e-3, 0.5);
        let mut sum = RunningSum::default();
        for k in 0..500 {
            sum.push(&plan, f64::from(k) * 0.04, 40.0);
        }
        assert!(sum.is_raised(&plan));
        sum.push(&plan, 20.0, -20.0);
        assert!(!sum.is_raised(&plan));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        /// A budget that is spent often enough to be counted: the true error is the tolerance all the time.
        #[test]
        fn false_alarms_stay_within_the_budget(
            seed in any::<u64>(),
            rate in prop::sample::select(RATES.to_vec()),
            per_hour in 30.0f64..300.0,
            time_s in 0.4f64..2.0,
        ) {
            let plan = Plan::new(per_hour, time_s);
            let hours = 4.0;
            let (mut sum, mut alarms) = (RunningSum::default(), 0.0);
            for (time_s, error) in readings(rate, hours * 3600.0, seed) {
                sum.push(&plan, time_s, error);
                if sum.is_raised(&plan) {
                    alarms += 1.0;
                    sum = RunningSum { last_s: time_s, ..RunningSum::default() };
                }
            }
            let allowed = per_hour * hours;
            prop_assert!(alarms <= allowed + 4.0 * allowed.sqrt(), "{alarms} of {allowed}");
        }

        #[test]
        fn twice_the_tolerance_is_found_in_time(
            seed in any::<u64>(),
            rate in prop::sample::select(RATES.to_vec()),
            per_hour in 1e-5f64..1e-1,
            time_s in 0.4f64..2.0,
        ) {
            let plan = Plan::new(per_hour, time_s);
            // The tolerance is resolved as lint asks for.
            let tolerance = plan.reach_sigmas + 2.0 * SIGMAS;
            let (mut found, mut in_time) = (0.0, 0.0);
            for trial in 0..200 {
                let mut sum = RunningSum::default();
                let onset_s = 1.0;
                let raised_s = readings(rate, onset_s + 4.0 * time_s, seed ^ trial).find(|(at_s, error)| {
                    let off = if *at_s < onset_s { 0.0 } else { 2.0 * tolerance };
                    sum.push(&plan, *at_s, (off + error).abs() - tolerance);
                    sum.is_raised(&plan)
                });
                found += f64::from(u8::from(raised_s.is_some()));
                let is_in_time = raised_s.is_some_and(|(at_s, _)| at_s <= onset_s + time_s + 1.0 / rate);
                in_time += f64::from(u8::from(is_in_time));
            }
            prop_assert_eq!(found, 200.0);
            prop_assert!(in_time >= 190.0, "{in_time} of 200");
        }
    }
}
