//! How strongly a region is wrong, in tolerances, frame by frame and after confirmation.

use std::collections::VecDeque;

use crate::evidence::measurements::{RegionMeasured, State};

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
}

/// Strength of each frame: the factor on the tolerances from which on it is not faulty. Endless when it is
/// faulty whatever they are.
#[must_use]
pub fn of_frames(region: &RegionMeasured) -> Vec<f64> {
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
pub fn confirmed(times_s: &[f64], strengths: &[f64], confirmation: Confirmation) -> Vec<f64> {
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
            };
            let after = confirmed(&times_s, &strengths, c);
            let stairs = Staircase::new(&times_s, &after);
            let factor = f64::from(factor) + 0.5;
            prop_assert_eq!(stairs.raised_s(factor), raised_by_monitor(&times_s, &strengths, factor, c));
        }
    }

    #[test]
    fn peaks_near_each_other_are_one() {
        let times_s = [0.0, 0.1, 0.2, 1.0, 1.1];
        let strengths = [1.0, 3.0, 2.0, f64::NEG_INFINITY, 0.5];
        assert_eq!(peaks(&times_s, &strengths, 0.5), [3.0, 0.5]);
    }
}
