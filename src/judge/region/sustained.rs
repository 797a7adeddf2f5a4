//! By how much is a value off, whatever age its data have?
//!
//! In a single frame motion hides an error: within the ages that are permitted the inputs cover a span, and all of it is
//! permitted. But a display does not choose the age of its data anew for each frame: it is one process that varies
//! little. So the readings of a stretch are held against the inputs of each permitted age, the same age for all of them.
//! What the best of these ages leaves, less what its variation explains, is an error that no age excuses.
//!
//! Nor does it choose an age for each region. A value that the inputs of some permitted age explain to within measuring is right;
//! one that none explains is off, and by how much is told at the age that the display's other regions show ([`Ages`]): else an
//! error would be forgiven as much as data of the oldest permitted age would differ.
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
    /// From one age to the next, s.
    step_s: f64,
}

/// Which of the permitted ages the display shows in a frame, and on the average of a stretch: from and to, in steps of [`Errors`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ages {
    frame: [f64; 2],
    stretch: [f64; 2],
}

/// All that are permitted.
const fn permitted() -> [f64; 2] {
    [0.0, SAMPLES as f64]
}

/// The two ages that are looked at about `at`, and how far it lies from the first to the second.
fn between(at: f64) -> (usize, f64) {
    let first = (at as usize).min(SAMPLES - 1);
    (first, at - first as f64)
}

/// The ages from `from` to `to` at which errors are asked for: both ends, and all between them that are looked at.
fn asked([from, to]: [f64; 2]) -> impl Iterator<Item = f64> {
    let inside = (from.ceil() as usize..=to.floor() as usize).map(|k| k as f64);
    [from, to].into_iter().chain(inside)
}

impl Ages {
    /// Of a display whose other regions tell their age and its standard error (s), which varies by `scatter_s` from frame to
    /// frame; all that are permitted, up to `oldest_s`, where nothing tells.
    pub fn new(others_s: Option<[f64; 2]>, scatter_s: f64, oldest_s: f64) -> Self {
        let step_s = (oldest_s + EARLY_S) / SAMPLES as f64;
        let index = |age_s: f64| ((age_s + EARLY_S) / step_s).clamp(0.0, SAMPLES as f64);
        let within = |[age_s, error_s]: [f64; 2]| {
            [
                index(age_s - SIGMAS * error_s),
                index(age_s + SIGMAS * error_s),
            ]
        };
        let in_frame =
            |[age_s, error_s]: [f64; 2]| within([age_s, libm::hypot(error_s, scatter_s)]);
        Self {
            frame: others_s.map_or(permitted(), in_frame),
            stretch: others_s.map_or(permitted(), within),
        }
    }
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
            errors.step_s = step_s;
        }
        all
    }

    /// How far the reading lies outside all that is permitted, negative inside; `None` where no inputs are known. Where that is
    /// more than `measuring` explains, at the age that the display shows.
    pub fn outside(&self, ages: Ages, measuring: f64) -> Option<f64> {
        self.outside_of(permitted()).map(|outside| {
            let shown = self.outside_of(ages.frame).filter(|_| outside > measuring);
            shown.unwrap_or(outside)
        })
    }

    /// At an age between those that are looked at.
    fn at(&self, age: f64) -> f64 {
        let (k, share) = between(age);
        self.by_age[k] + share * (self.by_age[k + 1] - self.by_age[k])
    }

    fn outside_of(&self, ages: [f64; 2]) -> Option<f64> {
        let known = asked(ages).map(|age| self.at(age)).filter(|e| !e.is_nan());
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
    /// permitted, where the age varies by `age_scatter_s`; 0 where there is none. Where that is more than `measuring` explains, at
    /// the age that the display shows.
    pub fn error(&self, age_scatter_s: f64, ages: Ages, measuring: f64) -> f64 {
        let Some((now_s, newest)) = self.frames.back() else {
            return 0.0;
        };
        let step_s = newest.step_s;
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
            let variation = age_scatter_s * age_scatter_s * square_speed / count;
            // Between two ages the errors lie on a line.
            let bend = square_speed * step_s * step_s;
            let sure = |ages: [f64; 2]| {
                let each = asked(ages).map(|age| {
                    let (k, share) = between(age);
                    let ends = squares[k] + share * (squares[k + 1] - squares[k]);
                    (ends - share * (1.0 - share) * bend, newest.at(age))
                });
                let (least, here) = each.fold((f64::INFINITY, 0.0), |best, now| {
                    if now.0 < best.0 { now } else { best }
                });
                let left = (least / count - variation).max(0.0).sqrt();
                (left - SIGMAS * (variation / count).sqrt()).min(f64::abs(here))
            };
            let at_any = sure(permitted());
            let shown = if at_any > measuring {
                sure(ages.stretch)
            } else {
                at_any
            };
            largest = largest.max(shown);
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
                    step_s: STEP_S,
                }),
            );
        }
        sustained.error(scatter_s, Ages::new(None, scatter_s, OLDEST_S), 0.0)
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

    /// Before (e1dafea) an offset in a steady turn was forgiven as much as data of the oldest permitted age would differ by.
    #[test]
    fn an_error_is_told_at_the_age_of_the_display() {
        let mut sustained = Sustained::default();
        let (speed, age_s, bias) = (6.0, 0.065, 2.2);
        let mut newest = Errors::default();
        for k in 0..25 {
            let t = k as f64 / 25.0;
            let shown = speed * (t - age_s) + bias;
            newest = Errors {
                by_age: std::array::from_fn(|age| {
                    shown - speed * (t + EARLY_S - STEP_S * age as f64)
                }),
                square_speed: speed * speed,
                step_s: STEP_S,
            };
            sustained.push(t, Some(newest));
        }
        let all = Ages::new(None, 0.014, OLDEST_S);
        let shown = Ages::new(Some([0.065, 0.004]), 0.014, OLDEST_S);
        assert!(sustained.error(0.014, all, 0.03) < 1.75);
        let told = sustained.error(0.014, shown, 0.03);
        assert!((2.05..2.3).contains(&told), "{told}");
        let outside = newest.outside(shown, 0.03).expect("known");
        assert!((1.8..2.3).contains(&outside), "{outside}");
        // What data of a permitted age explain is right, whatever the other regions show.
        let right = Errors {
            by_age: std::array::from_fn(|age| 0.7 - 0.1 * age as f64),
            square_speed: 25.0,
            step_s: STEP_S,
        };
        assert!(right.outside(shown, 0.03).expect("known") <= 0.0);
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
