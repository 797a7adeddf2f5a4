//! Which moment, and which delay, explains a run of pictures without readings?
//!
//! A readout shows the same characters for all data of some stretch of time, so a picture tells its data time as a
//! span. A display that stands still shows pictures that have a moment in common, one that is late pictures that
//! have a delay in common: both are intersections of spans.

/// What a run of pictures has in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spans {
    /// Recording times that all pictures may show, s; none when the first is above the second.
    held_s: [f64; 2],
    /// Delays that all pictures may have, s.
    delay_s: [f64; 2],
}

impl Spans {
    /// Of frames, each with its recording time and the span of data times that its picture shows, s.
    pub fn of(frames: impl Iterator<Item = (f64, [f64; 2])>) -> Self {
        let all = [f64::NEG_INFINITY, f64::INFINITY];
        let first = Self {
            held_s: all,
            delay_s: all,
        };
        frames.fold(first, |s, (time_s, [from_s, to_s])| Self {
            held_s: [s.held_s[0].max(from_s), s.held_s[1].min(to_s)],
            delay_s: [
                s.delay_s[0].max(time_s - to_s),
                s.delay_s[1].min(time_s - from_s),
            ],
        })
    }

    /// Whether one moment explains them all: what is shown stands still.
    #[must_use]
    pub fn stands(&self) -> bool {
        self.held_s[0] <= self.held_s[1]
    }

    /// The least delay that explains them all, within `slack_s`.
    #[must_use]
    pub fn delay_s(&self, slack_s: f64) -> Option<f64> {
        (self.delay_s[0] <= self.delay_s[1] + slack_s).then_some(self.delay_s[0])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Spans of frames of 40 ms that show data of the time that `data` gives, on a readout that changes every
    /// `step_s`.
    fn seen(step_s: f64, frames: usize, data: impl Fn(f64) -> f64) -> Spans {
        Spans::of((0..frames).map(|k| {
            let time_s = 0.04 * k as f64;
            let from_s = (data(time_s) / step_s).floor() * step_s;
            (time_s, [from_s, from_s + step_s])
        }))
    }

    #[test]
    fn a_standstill_has_a_moment_and_soon_no_delay() {
        let held = seen(0.3, 20, |_| -0.1);
        assert!(held.stands());
        assert_eq!(held.delay_s(0.0), None);
    }

    #[test]
    fn of_one_change_alone_nobody_can_tell() {
        let late = seen(2.0, 10, |t| t + 0.1 - 0.5);
        assert!(late.stands() && late.delay_s(0.0).is_some());
    }

    proptest! {
        #[test]
        fn late_data_have_their_delay(delay_s in 0.1f64..1.0, step_s in 0.05f64..0.5) {
            let late = seen(step_s, 50, |t| t - delay_s);
            prop_assert!(!late.stands());
            let least_s = late.delay_s(1e-9).expect("its own delay fits");
            prop_assert!(least_s <= delay_s + 1e-9 && delay_s < least_s + step_s);
        }
    }
}
