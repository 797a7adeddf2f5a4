//! A state that lasts over frames, and what is asked in it now and then.

use super::Moment;
use crate::examine::constants::region_lasting::SLACK_S;

/// Since when something has been so without a break, recording time, s.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Lasting {
    since_s: Option<f64>,
}

impl Lasting {
    /// It is so at `time_s`, and was before where it has not ended.
    pub fn go_on(&mut self, time_s: f64) {
        self.since_s.get_or_insert(time_s);
    }

    /// It is so no longer.
    pub fn end(&mut self) {
        self.since_s = None;
    }

    /// Whether it was so in the frame before.
    pub fn lasts(&self) -> bool {
        self.since_s.is_some()
    }

    /// Whether what is asked every `every_s` is to be asked now: in the first frame, and in the first of each further period.
    pub fn is_due(&self, moment: &Moment, every_s: f64) -> bool {
        self.since_s
            .is_none_or(|since_s| is_due(moment.time_s - since_s, moment.interval_s, every_s))
    }
}

fn is_due(lasted_s: f64, interval_s: f64, every_s: f64) -> bool {
    let periods = |lasted_s: f64| libm::floor((lasted_s + SLACK_S) / every_s);
    lasted_s < SLACK_S || periods(lasted_s) > periods(lasted_s - interval_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_asked_now_and_then_is_asked_as_often_at_every_rate() {
        for fps in [12.5, 25.0, 29.97, 50.0, 60.0] {
            let interval_s = 1.0 / fps;
            let due = (0..(12.0 * fps) as u32)
                .filter(|k| is_due(f64::from(*k) * interval_s, interval_s, 0.24));
            assert_eq!(due.count(), 50, "at {fps} frames a second");
        }
    }
}
