//! How strongly a region is wrong, in tolerances, frame by frame and after confirmation.

use std::collections::VecDeque;

use crate::evidence::measurements::{RegionMeasured, State};
use crate::judge::region::Cause;
use crate::judge::sequential::{Plan, RunningSum};

/// Times that differ by less count as equal, s; the same as in [`crate::judge::persistence`].
const SLACK_S: f64 = 1e-6;

/// When a fault is confirmed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Confirmation {
    /// Faulty frames in a row for this long, s.
    pub confirm_s: f64,
    /// Or k of the last n frames.
    pub often: Option<[u32; 2]>,
    /// Clean frames in a row for this long end it, s.
    pub recover_s: f64,
    /// Where a budget decides: what the tests of values are planned for. Pictures that are wrong in themselves are confirmed by
    /// time then, too.
    pub plan: Option<Plan>,
}

/// Factors on the tolerances that are tried.
pub const FACTORS: usize = 61;
/// Smallest and largest.
const FACTOR_RANGE: [f64; 2] = [0.125, 4.0];

/// Factors that are tried, rising; 1 is among them.
pub fn factors() -> impl Iterator<Item = f64> {
    let [low, high] = FACTOR_RANGE;
    (0..FACTORS).map(move |k| {
        let share = k as f64 / (FACTORS - 1) as f64;
        // Two figures after the point are enough for a tolerance.
        libm::round(low * libm::pow(high / low, share) * 1000.0) / 1000.0
    })
}

/// What the frames of a region decide on.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Strengths {
    /// By frame: the factor on the tolerances from which on it is not faulty.
    pub frames: Vec<f64>,
    /// What sequential tests are made of, where their material was measured.
    tests: Option<Tests>,
}

/// What sequential tests decide on.
#[derive(Clone, Debug, Default, PartialEq)]
struct Tests {
    /// By frame: endless where it is faulty whatever its values are, lowest where it is not.
    wrong: Vec<f64>,
    /// The same where that was confirmed when it was told.
    held: Vec<f64>,
    /// By reading, then by frame: how far off, and its standard error, in tolerances.
    readings: Vec<Vec<Option<[f64; 2]>>>,
}

impl Strengths {
    /// Of what was measured.
    #[must_use]
    pub fn of(region: &RegionMeasured) -> Self {
        let frames = 0..region.states.len();
        let endless = |is_so: bool| {
            if is_so {
                f64::INFINITY
            } else {
                f64::NEG_INFINITY
            }
        };
        let tests = region.has_standard_errors().then(|| Tests {
            wrong: region
                .states
                .iter()
                .map(|s| endless(matches!(s, State::Wrong(_))))
                .collect(),
            held: region
                .states
                .iter()
                .map(|s| endless(*s == State::Wrong(Cause::Held)))
                .collect(),
            readings: (0..region.readings())
                .map(|r| frames.clone().map(|k| region.off(k, r)).collect())
                .collect(),
        });
        Self {
            frames: of_frames(region),
            tests,
        }
    }

    /// Of frames that are as strong as this, without material for tests.
    #[must_use]
    pub const fn plain(frames: Vec<f64>) -> Self {
        Self {
            frames,
            tests: None,
        }
    }

    /// Readings that tests are made of.
    #[must_use]
    pub fn tested(&self) -> usize {
        self.tests.as_ref().map_or(0, |t| t.readings.len())
    }

    /// Strength of the confirmed fault at each frame.
    #[must_use]
    pub fn confirmed(&self, times_s: &[f64], confirmation: Confirmation) -> Vec<f64> {
        let (Some(plan), Some(tests)) = (&confirmation.plan, &self.tests) else {
            return confirmed(times_s, &self.frames, confirmation);
        };
        let mut out = confirmed(times_s, &tests.wrong, confirmation);
        for (out, held) in out.iter_mut().zip(&tests.held) {
            *out = out.max(*held);
        }
        for reading in &tests.readings {
            raise_tested(&mut out, times_s, reading, plan);
        }
        out
    }
}

/// Raises the strengths in `out` to those at which the test of a reading is raised: the largest factor on its tolerance that does it,
/// between those that are tried by how near their sums come to the threshold.
fn raise_tested(out: &mut [f64], times_s: &[f64], reading: &[Option<[f64; 2]>], plan: &Plan) {
    let factors: Vec<f64> = factors().collect();
    // A frame came before: the first that shows a fault says no more than any other.
    let before_s = match times_s {
        [first, second, ..] => 2.0 * first - second,
        _ => f64::NEG_INFINITY,
    };
    let mut sums = vec![RunningSum::after(before_s); factors.len()];
    for ((out, &time_s), off) in out.iter_mut().zip(times_s).zip(reading) {
        let &Some([off, standard_error]) = off else {
            continue;
        };
        for (sum, factor) in sums.iter_mut().zip(&factors) {
            sum.push(plan, time_s, (off - factor) / standard_error);
        }
        let raised = sums.partition_point(|p| p.is_raised(plan));
        let Some(last) = raised.checked_sub(1) else {
            continue;
        };
        let strength = match sums.get(raised) {
            Some(next) => {
                let over = sums[last].sum() - plan.threshold;
                let share = over / (sums[last].sum() - next.sum());
                // Above the last that is raised, however narrowly.
                let share = share.clamp(SLACK_S, 1.0);
                factors[last] + share * (factors[raised] - factors[last])
            }
            None => off.max(factors[last] * (1.0 + SLACK_S)),
        };
        *out = out.max(strength);
    }
}

/// Strength of each frame: the factor on the tolerances from which on it is not faulty. Endless when it is
/// faulty whatever they are.
#[must_use]
fn of_frames(region: &RegionMeasured) -> Vec<f64> {
    let frames = region.states.iter().enumerate();
    frames
        .map(|(k, state)| match state {
            State::NotJudged => f64::NEG_INFINITY,
            State::Wrong(_) => f64::INFINITY,
            State::Good | State::Blind | State::Value => (0..region.readings())
                .filter_map(|r| region.excess(k, r))
                .fold(f64::NEG_INFINITY, f64::max),
        })
        .collect()
}

/// Strength of the confirmed fault at each frame.
#[must_use]
fn confirmed(times_s: &[f64], strengths: &[f64], confirmation: Confirmation) -> Vec<f64> {
    let mut out = Vec::with_capacity(strengths.len());
    // Frames of the window whose strength is below that of all later ones, rising.
    let mut least: VecDeque<usize> = VecDeque::new();
    let mut first = 0;
    let mut newest: VecDeque<f64> = VecDeque::new();
    for (k, &strength) in strengths.iter().enumerate() {
        while least.back().is_some_and(|b| strengths[*b] >= strength) {
            least.pop_back();
        }
        least.push_back(k);
        // The latest begin from which on the fault has lasted long enough.
        let is_long = |j: usize| times_s[k] - times_s[j] >= confirmation.confirm_s - SLACK_S;
        while first < k && is_long(first + 1) {
            first += 1;
        }
        while least.front().is_some_and(|f| *f < first) {
            least.pop_front();
        }
        let mut best = match least.front() {
            Some(f) if is_long(first) => strengths[*f],
            _ => f64::NEG_INFINITY,
        };
        if let Some([of, frames]) = confirmation.often {
            newest.push_back(strength);
            if newest.len() > frames as usize {
                newest.pop_front();
            }
            if newest.len() >= of as usize {
                let mut sorted: Vec<f64> = newest.iter().copied().collect();
                sorted.sort_by(|a, b| b.total_cmp(a));
                best = best.max(sorted[of as usize - 1]);
            }
        }
        out.push(best);
    }
    out
}

/// When a fault is raised, as a function of the factor: later times need more.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Staircase(Vec<(f64, f64)>);

impl Staircase {
    /// From strengths after confirmation.
    #[must_use]
    pub fn new(times_s: &[f64], confirmed: &[f64]) -> Self {
        let mut steps: Vec<(f64, f64)> = Vec::new();
        for (&time_s, &strength) in times_s.iter().zip(confirmed) {
            if strength > steps.last().map_or(f64::NEG_INFINITY, |s| s.0) {
                steps.push((strength, time_s));
            }
        }
        Self(steps)
    }

    /// Time at which it is raised with tolerances times `factor`, s.
    #[must_use]
    pub fn raised_s(&self, factor: f64) -> Option<f64> {
        let k = self.0.partition_point(|s| s.0 <= factor);
        self.0.get(k).map(|s| s.1)
    }
}

/// The strengths of what would be raised in clean video, one for each time that it would be; what comes
/// within the recovery time of a stronger one is part of it.
#[must_use]
pub fn peaks(times_s: &[f64], confirmed: &[f64], recover_s: f64) -> Vec<f64> {
    let mut peaks: Vec<(f64, f64)> = Vec::new();
    for (&time_s, &strength) in times_s.iter().zip(confirmed) {
        if strength == f64::NEG_INFINITY {
            continue;
        }
        match peaks.last_mut() {
            Some((last_s, peak)) if time_s - *last_s < recover_s => {
                if strength >= *peak {
                    (*last_s, *peak) = (time_s, strength);
                }
            }
            _ => peaks.push((time_s, strength)),
        }
    }
    peaks.into_iter().map(|p| p.1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::persistence::{KOfN, Persistence, Transition};
    use proptest::prelude::*;

    /// What the monitor itself does with the same frames.
    fn raised_by_monitor(
        times_s: &[f64],
        strengths: &[f64],
        factor: f64,
        c: Confirmation,
    ) -> Option<f64> {
        let often = c.often.map(|[k, n]| KOfN::new(k, n));
        let mut monitor =
            Persistence::new(c.confirm_s * 1000.0, c.recover_s * 1000.0).or_often(often);
        times_s
            .iter()
            .zip(strengths)
            .find_map(|(t, s)| match monitor.push(*t, *s > factor) {
                Some(Transition::Raised { detected_s, .. }) => Some(detected_s),
                _ => None,
            })
    }

    proptest! {
        #[test]
        fn a_look_up_says_what_the_monitor_does(
            steps in prop::collection::vec((1u32..4, -2i32..6), 1..60),
            confirm in 0u32..12,
            often in prop::option::of((1u32..5, 0u32..5)),
            factor in -1i32..5,
        ) {
            let mut time = 0;
            let times_s: Vec<f64> = steps.iter().map(|(dt, _)| { time += dt; f64::from(time) * 0.04 }).collect();
            let strengths: Vec<f64> = steps.iter().map(|(_, s)| f64::from(*s)).collect();
            let c = Confirmation {
                confirm_s: f64::from(confirm) * 0.04,
                often: often.map(|(k, more)| [k, k + more]),
                recover_s: 0.5,
                plan: None,
            };
            let after = confirmed(&times_s, &strengths, c);
            let stairs = Staircase::new(&times_s, &after);
            let factor = f64::from(factor) + 0.5;
            prop_assert_eq!(stairs.raised_s(factor), raised_by_monitor(&times_s, &strengths, factor, c));
        }
    }

    proptest! {
        /// At every factor that is tried a look-up says when the test itself, run with these tolerances, is raised.
        #[test]
        fn a_look_up_says_what_a_test_does(
            offs in prop::collection::vec((1u32..4, prop::option::of((0.0f64..5.0, 0.01f64..0.3))), 1..80),
            k in 0..FACTORS,
            per_hour in 1e-4f64..10.0,
        ) {
            let mut time = 0;
            let times_s: Vec<f64> = offs.iter().map(|(dt, _)| { time += dt; f64::from(time) * 0.04 }).collect();
            let reading: Vec<Option<[f64; 2]>> = offs.iter().map(|(_, o)| o.map(|(off, error)| [off, error])).collect();
            let plan = Plan::new(per_hour, 0.5);
            let count = reading.len();
            let strengths = Strengths {
                frames: vec![f64::NEG_INFINITY; count],
                tests: Some(Tests {
                    wrong: vec![f64::NEG_INFINITY; count],
                    held: vec![f64::NEG_INFINITY; count],
                    readings: vec![reading.clone()],
                }),
            };
            let c = Confirmation { confirm_s: 0.3, often: None, recover_s: 0.5, plan: Some(plan) };
            let stairs = Staircase::new(&times_s, &strengths.confirmed(&times_s, c));
            let factor = factors().nth(k).expect("one of them");
            let before_s = times_s.get(1).map_or(f64::NEG_INFINITY, |second| 2.0 * times_s[0] - second);
            let mut sum = RunningSum::after(before_s);
            let raised_s = times_s.iter().zip(&reading).find_map(|(time_s, off)| {
                let [off, error] = (*off)?;
                sum.push(&plan, *time_s, (off - factor) / error);
                sum.is_raised(&plan).then_some(*time_s)
            });
            prop_assert_eq!(stairs.raised_s(factor), raised_s);
        }
    }

    #[test]
    fn peaks_near_each_other_are_one() {
        let times_s = [0.0, 0.1, 0.2, 1.0, 1.1];
        let strengths = [1.0, 3.0, 2.0, f64::NEG_INFINITY, 0.5];
        assert_eq!(peaks(&times_s, &strengths, 0.5), [3.0, 0.5]);
    }
}
