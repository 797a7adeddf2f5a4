//! By how much is a value off, whatever age its data have?
//!
//! In a single frame motion hides an error: within the ages that are permitted the inputs cover a span, and all of it is
//! permitted. But a display does not choose the age of its data anew for each frame: it is one process that varies
//! little. So the readings of a stretch are held against the inputs of each permitted age, the same age for all of them.
//! What the best of these ages leaves, less what its variation explains, is an error that no age excuses.
//!
//! Of a stretch with errors `e(age)` and speeds `v` of the inputs, the mean square of what is left is
//! `E = mean(e²) - s² mean(v²)`, where `s` is the standard deviation of the age; the part that varies adds to the root of
//! it a scatter of `s rms(v) / sqrt(n)`. The newest frame must be off by as much: a fault that has ended is over.

use std::collections::VecDeque;

use crate::examine::reader::Fitted;
use crate::examine::region::Moment;
use crate::judge::constants::{EARLY_S, SAMPLES, SIGMAS, STRETCH_S};
use crate::reference::parts::Freedom;

/// Errors of a reading, by the age that its data may have; unit of the channel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Errors {
    /// Not a number where the inputs are not known.
    by_age: [f64; SAMPLES + 1],
    /// Mean square of the inputs' speed over these ages, (unit/s)².
    square_speed: f64,
}

impl Errors {
    /// Of what was `read`, by freedom, on a display whose data may be up to `oldest_s` old; `None` where nothing was.
    pub fn of(
        moment: &Moment,
        oldest_s: f64,
        freedoms: &[Freedom],
        read: &[Option<Fitted>],
    ) -> Vec<Option<Self>> {
        let mut all: Vec<Option<Self>> = read.iter().map(|r| r.map(|_| Self::default())).collect();
        let mut values = Vec::new();
        let step_s = (oldest_s + EARLY_S) / SAMPLES as f64;
        for age in 0..=SAMPLES {
            let at_s = moment.time_s + EARLY_S - step_s * age as f64;
            let channels = freedoms.iter().map(|f| f.channel);
            moment.recording.values_at(channels, at_s, &mut values);
            for (((f, read), errors), value) in freedoms.iter().zip(read).zip(&mut all).zip(&values)
            {
                if let (Some(errors), Some(read)) = (errors, read) {
                    let error = value.number().map(|v| f.error(read.value, v));
                    errors.by_age[age] = error.unwrap_or(f64::NAN);
                }
            }
        }
        for (f, errors) in freedoms.iter().zip(&mut all) {
            let Some(errors) = errors else { continue };
            let squares = errors.by_age.windows(2).map(|w| {
                let speed = f.difference(w[1], w[0]) / step_s;
                speed * speed
            });
            errors.square_speed = squares.sum::<f64>() / SAMPLES as f64;
        }
        all
    }

    /// How far the reading lies outside all that is permitted, negative inside; `None` where no inputs are known.
    pub fn outside(&self) -> Option<f64> {
        let known = self.by_age.iter().copied().filter(|e| !e.is_nan());
        let [low, high] = known.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], e| {
            [low.min(e), high.max(e)]
        });
        (low <= high).then_some(low.max(-high))
    }

    /// Whether the inputs of every permitted age are known.
    fn is_known(&self) -> bool {
        self.square_speed.is_finite()
    }
}

/// The errors of one freedom's readings over the last second, without a gap.
#[derive(Clone, Debug, Default)]
pub(super) struct Sustained {
    /// With recording times, s; oldest first.
    frames: VecDeque<(f64, Errors)>,
}

impl Sustained {
    /// Takes what was found at recording time `time_s`.
    pub fn push(&mut self, time_s: f64, errors: Option<Errors>) {
        let Some(errors) = errors.filter(Errors::is_known) else {
            self.frames.clear();
            return;
        };
        let stretch = time_s - STRETCH_S[1]..time_s;
        self.frames.retain(|(at_s, _)| stretch.contains(at_s));
        self.frames.push_back((time_s, errors));
    }

    /// The largest error, without its sign, that has been there for some stretch up to now at every age of the data that is
    /// permitted, and varies by `age_scatter_s`; 0 where there is none.
    pub fn error(&self, age_scatter_s: f64) -> f64 {
        let Some((now_s, newest)) = self.frames.back() else {
            return 0.0;
        };
        let mut squares = [0.0; SAMPLES + 1];
        let (mut square_speed, mut count) = (0.0, 0.0);
        let mut largest = 0.0f64;
        for (time_s, errors) in self.frames.iter().rev() {
            for (sum, e) in squares.iter_mut().zip(errors.by_age) {
                *sum += e * e;
            }
            square_speed += errors.square_speed;
            count += 1.0;
            if now_s - time_s < STRETCH_S[0] {
                continue;
            }
            let least = squares.iter().zip(newest.by_age);
            let (least, here) = least.fold((f64::INFINITY, 0.0), |best, (sum, e)| {
                if *sum < best.0 { (*sum, e) } else { best }
            });
            let variation = age_scatter_s * age_scatter_s * square_speed / count;
            let left = (least / count - variation).max(0.0).sqrt();
            let sure = left - SIGMAS * (variation / count).sqrt();
            largest = largest.max(sure.min(f64::abs(here)));
        }
        largest
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    const OLDEST_S: f64 = 0.15;
    const STEP_S: f64 = (OLDEST_S + EARLY_S) / SAMPLES as f64;

    /// The error that is told after two seconds at `fps`, of a display that shows `input` as it was `age_s(t)` ago and
    /// `bias` more.
    fn told(
        fps: f64,
        input: impl Fn(f64) -> f64,
        age_s: impl Fn(f64) -> f64,
        bias: impl Fn(f64) -> f64,
        scatter_s: f64,
    ) -> f64 {
        let mut sustained = Sustained::default();
        for k in 0..(2.0 * fps) as usize {
            let t = k as f64 / fps;
            let shown = input(t - age_s(t)) + bias(t);
            let by_age =
                std::array::from_fn(|age| shown - input(t + EARLY_S - STEP_S * age as f64));
            let steps = by_age.windows(2).map(|w| ((w[1] - w[0]) / STEP_S).powi(2));
            let square_speed = steps.sum::<f64>() / SAMPLES as f64;
            sustained.push(
                t,
                Some(Errors {
                    by_age,
                    square_speed,
                }),
            );
        }
        sustained.error(scatter_s)
    }

    /// Before (23369af) these hid in the span that the inputs cover within the permitted ages, frame by frame.
    #[test]
    fn motion_hides_no_bias() {
        for fps in [12.5, 25.0, 29.97, 50.0, 60.0] {
            for (bias, swing) in [(4.5, 3.0), (6.0, 6.0)] {
                let input = |t: f64| swing * (2.0 * TAU * t).sin();
                let told = told(fps, input, |_| 0.06, |_| bias, 0.029);
                assert!(
                    told > 3.5,
                    "{told} of {bias} in a swing of {swing} at {fps}/s"
                );
                assert!(told <= bias + 1e-9, "{told} of {bias}");
            }
        }
    }

    #[test]
    fn a_fault_that_has_ended_is_over() {
        let input = |t: f64| 3.0 * (2.0 * TAU * t).sin();
        let until = |t: f64| if t < 1.9 { 8.0 } else { 0.0 };
        let ended = told(25.0, input, |_| 0.06, until, 0.029);
        assert!(ended < 1.0, "{ended}");
    }

    proptest! {
        /// Whatever constant age is permitted, and however the age varies as on a display of 10 pictures a second.
        #[test]
        fn no_permitted_age_is_an_error(
            age_s in 0.0f64..0.15,
            swing in 0.5f64..20.0,
            hertz in 0.1f64..4.0,
            fps in prop::sample::select(vec![12.5, 25.0, 29.97, 50.0, 60.0]),
            updates in 10.0f64..60.0,
        ) {
            let input = |t: f64| swing * (hertz * TAU * t).sin();
            let speed = swing * hertz * TAU;
            let constant = told(fps, input, |_| age_s, |_| 0.0, 0.0);
            // What lies between two ages that are looked at.
            prop_assert!(constant <= speed * STEP_S / 2.0, "{constant}");
            let since_update = |t: f64| (t * updates).fract() / updates;
            let scatter_s = 1.0 / updates / 12f64.sqrt();
            let varying = told(fps, input, |t| 0.03 + since_update(t), |_| 0.0, scatter_s);
            prop_assert!(varying <= speed * STEP_S, "{varying} at {speed}");
        }
    }
}
