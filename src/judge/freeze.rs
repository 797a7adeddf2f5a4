//! Is a reading held while its inputs move on?
//!
//! A one-sided cumulative sum of log-likelihoods: hypothesis 0 says that the reading lies
//! within the span of the inputs of the last few frames (a live display with its usual latency),
//! hypothesis 1 that it stays at the value at which it was last seen inside that span. A sum starts
//! only from a reading inside the span: a reading that jumps away is wrong, not frozen.
//!
//! Each reading counts as the share of an independent one that it is worth ([`super::errors`]), so that the sum does not hang on
//! the frame rate. Assumes errors of the readings near `sigma_px`; cannot see a freeze while the inputs stay within
//! [`HELD_BACK_PX`] (blind time).
//!
//! # Source
//! Page, Continuous inspection schemes, Biometrika 41 (1954) 100-115 (from memory); the factor
//! 1 + 1/m is the variance of a difference from a mean of m readings.

use super::constants::{ALARM, CEILING_ALARMS, HELD_BACK_PX, SIGMAS};
use super::errors::worth;

/// The running test of one reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FreezeTest {
    /// Sum at which the reading counts as held.
    alarm: f64,
    sum: f64,
    hold_px: f64,
    /// The span when the sum began.
    from_px: [f64; 2],
    count: f64,
    since_s: f64,
    last_s: f64,
    is_armed: bool,
    is_frozen: bool,
}

impl Default for FreezeTest {
    fn default() -> Self {
        Self::new(ALARM)
    }
}

impl FreezeTest {
    /// Which counts a reading as held from a sum of `alarm` on.
    #[must_use]
    pub const fn new(alarm: f64) -> Self {
        Self {
            alarm,
            sum: 0.0,
            hold_px: 0.0,
            from_px: [0.0; 2],
            count: 0.0,
            since_s: 0.0,
            last_s: 0.0,
            is_armed: false,
            is_frozen: false,
        }
    }

    /// Takes the reading at `time_s`, its error, and the span of inputs that a live display may show, in px on
    /// one unwrapped axis.
    pub fn push(&mut self, time_s: f64, reading_px: f64, span_px: [f64; 2], sigma_px: f64) {
        let [below, above] = [span_px[0] - reading_px, reading_px - span_px[1]];
        let [rose, fell] = [span_px[0] - self.from_px[0], self.from_px[1] - span_px[1]];
        let outside = below.min(rose).max(above.min(fell)).max(0.0);
        let held = reading_px - self.hold_px;
        let worth = worth(time_s - self.last_s);
        self.last_s = time_s;
        let gain = worth * (outside * outside - held * held)
            / (2.0 * sigma_px * sigma_px * (1.0 + 1.0 / self.count.max(1.0)));
        let sum = self.sum + gain;
        // A reading that jumps away from where it was held is wrong, not frozen.
        let jumps = held.abs() > HELD_BACK_PX + SIGMAS * sigma_px;
        if !self.is_armed || sum <= 0.0 || jumps {
            self.sum = 0.0;
            self.is_armed = below.max(above) <= sigma_px;
            self.hold_px = reading_px;
            self.from_px = span_px;
            self.count = 1.0;
            self.since_s = time_s;
        } else {
            self.sum = sum.min(CEILING_ALARMS * self.alarm);
            self.count += 1.0;
            self.hold_px += (reading_px - self.hold_px) / self.count;
        }
        self.is_frozen = self.sum >= self.alarm && (self.is_frozen || outside >= HELD_BACK_PX);
    }

    /// Forgets everything: the reading was lost.
    pub fn reset(&mut self) {
        *self = Self::new(self.alarm);
    }

    /// The sum of log-likelihoods.
    #[must_use]
    pub const fn sum(&self) -> f64 {
        self.sum
    }

    /// True when the reading counts as frozen.
    #[must_use]
    pub fn is_frozen(&self) -> bool {
        self.is_frozen
    }

    /// Time of the first frame that shows the held value, s.
    #[must_use]
    pub const fn since_s(&self) -> f64 {
        self.since_s
    }
}

/// How clearly a freeze would have shown over a stretch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Visibility {
    sum: f64,
    farthest_px: f64,
}

impl Visibility {
    /// Takes the distance between the newest value and an earlier one of the stretch, `interval_s` after the next, px.
    pub fn push(&mut self, move_px: f64, interval_s: f64, sigma_px: f64) {
        self.sum += worth(interval_s) * move_px * move_px / (2.0 * sigma_px * sigma_px);
        self.farthest_px = self.farthest_px.max(move_px.abs());
    }

    /// True when a freeze at the earliest of the values would have been seen by now, by a test that asks for a sum of `alarm`.
    #[must_use]
    pub fn is_enough(&self, alarm: f64) -> bool {
        self.sum >= alarm && self.farthest_px >= HELD_BACK_PX
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SIGMA_PX: f64 = 0.1;

    /// Frames until the alarm when the reading stops at frame 10 and the input goes on at `speed` px a frame.
    fn delay(speed: f64) -> Option<usize> {
        let mut test = FreezeTest::default();
        (0..600).find_map(|k| {
            let input = speed * k as f64;
            let shown = speed * k.min(10) as f64;
            test.push(
                k as f64,
                shown,
                [input - 2.0 * speed, input + speed],
                SIGMA_PX,
            );
            test.is_frozen().then(|| k - 10)
        })
    }

    #[test]
    fn a_fast_freeze_is_seen_within_a_few_frames() {
        assert!(delay(3.0).expect("seen") <= 4);
        assert!(delay(1.0).expect("seen") <= 6);
        assert!(delay(0.1).expect("seen") <= 30);
    }

    #[test]
    fn what_a_codec_holds_is_not_a_freeze() {
        let mut test = FreezeTest::default();
        let mut held = 0.0;
        for k in 0..600 {
            let due = 0.01 * f64::from(k);
            // Slow motion is shown in steps.
            if due - held > 0.35 {
                held = due;
            }
            test.push(f64::from(k), held, [due - 0.02, due + 0.01], SIGMA_PX);
            assert!(!test.is_frozen(), "frame {k}");
        }
    }

    #[test]
    fn a_jump_is_not_a_freeze() {
        let mut test = FreezeTest::default();
        for k in 0..200 {
            let shown = if k < 10 { 0.0 } else { 20.0 };
            test.push(f64::from(k), shown, [0.0, 0.0], SIGMA_PX);
            assert!(!test.is_frozen(), "frame {k}");
        }
    }

    #[test]
    fn the_onset_is_the_first_held_frame() {
        let mut test = FreezeTest::default();
        for k in 0..40 {
            let input = f64::from(k);
            test.push(input, f64::from(k.min(10)), [input - 2.0, input], SIGMA_PX);
        }
        assert!(test.is_frozen());
        assert!((10.0..=12.0).contains(&test.since_s()), "{test:?}");
    }

    proptest! {
        #[test]
        fn readings_inside_the_span_never_alarm(moves in proptest::collection::vec(-5.0f64..5.0, 1..300)) {
            let mut test = FreezeTest::default();
            let mut at = 0.0;
            for (k, m) in moves.iter().enumerate() {
                at += m;
                test.push(k as f64, at, [at - 1.0, at + 1.0], SIGMA_PX);
                prop_assert!(!test.is_frozen());
            }
        }
    }

    /// Before (a021fe0) a value off by half of its tolerance, on a scale on which that is less than a pixel, was called frozen.
    #[test]
    fn a_small_offset_is_not_frozen() {
        let mut test = FreezeTest::default();
        for k in 0..50 {
            let due = 0.002 * f64::from(k);
            let off = if k < 10 { 0.05 } else { 0.55 };
            let span = [due - 0.02, due + 0.01];
            test.push(f64::from(k) * 0.04, due + off, span, SIGMA_PX);
            assert!(!test.is_frozen(), "frame {k}");
        }
    }

    #[test]
    fn a_reading_that_jumps_away_is_not_frozen() {
        let mut test = FreezeTest::default();
        for k in 0..20 {
            let due = 0.02 * f64::from(k);
            // From frame 10 on it reads 20 px too much, and follows.
            let reading = if k < 10 { due } else { due + 20.0 };
            test.push(
                f64::from(k) * 0.04,
                reading,
                [due - 0.04, due + 0.02],
                SIGMA_PX,
            );
            assert!(!test.is_frozen(), "frame {k}");
        }
    }
}
