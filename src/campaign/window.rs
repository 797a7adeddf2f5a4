//! Frames of a capture, as many as a stretch needs, and no more of them in memory.

use super::plan::Plan;
use super::trial::AFTER_S;
use crate::capture::{CapturedFrame, Error};

/// Fills in the next frame; false at the end.
pub(super) type NextInto<'a> = &'a mut dyn FnMut(&mut CapturedFrame) -> Result<bool, Error>;

/// The frames of a stretch: its lead, its onsets, and what the longest fault needs after them.
#[derive(Default)]
pub(super) struct Window {
    pub frames: Vec<CapturedFrame>,
    /// Buffers to be filled again.
    spare: Vec<CapturedFrame>,
    first_s: Option<f64>,
    is_ended: bool,
}

impl Window {
    /// Moves on to stretch `number`, or to the first after it that has frames: its number, and the capture times
    /// between which faults may begin, s. `None` behind the end of the capture.
    pub fn fill(
        &mut self,
        next_into: NextInto,
        mut number: usize,
        plan: &Plan,
    ) -> Result<Option<(usize, [f64; 2])>, Error> {
        let general = &plan.plan;
        let longest_s = plan.longest_s() + AFTER_S;
        loop {
            if let Some(first_s) = self.first_s {
                let origin_s = first_s + general.lead_s;
                let begin_s = origin_s + number as f64 * general.stretch_s;
                let end_s = begin_s + general.stretch_s;
                let newest_s = self.frames.last().map_or(first_s, |f| f.time_s);
                if newest_s >= end_s + longest_s || self.is_ended {
                    let old = self
                        .frames
                        .partition_point(|f| f.time_s < begin_s - general.lead_s - 1e-6);
                    self.spare.extend(self.frames.drain(..old));
                    let own = self.frames.partition_point(|f| f.time_s < begin_s);
                    match self.frames.get(own).map(|f| f.time_s) {
                        None => return Ok(None),
                        Some(time_s) if time_s < end_s => {
                            return Ok(Some((number, [begin_s, end_s])));
                        }
                        // Times may jump by years, and hundreds of thousands of stretches be empty.
                        Some(time_s) => {
                            let reached = libm::floor((time_s - origin_s) / general.stretch_s);
                            number = (number + 1).max(reached as usize);
                            continue;
                        }
                    }
                }
            } else if self.is_ended {
                return Ok(None);
            }
            let mut frame = self.spare.pop().unwrap_or_default();
            if next_into(&mut frame)? {
                self.first_s.get_or_insert(frame.time_s);
                self.frames.push(frame);
            } else {
                self.is_ended = true;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers and times of the stretches of frames at given times.
    fn stretches(times_s: Vec<f64>) -> Vec<(usize, [f64; 2])> {
        const PLAN: &str = "[plan]\nname = \"a\"\ndisplay = \"d.toml\"\n[[capture]]\nfile = \"v\"\ninputs = \"r.csv\"\n[[fault]]\nkind = \"freeze\"\n";
        let plan = Plan::from_toml(PLAN, "p").unwrap();
        let mut times_s = times_s.into_iter();
        let mut next_into = |frame: &mut CapturedFrame| {
            let time_s = times_s.next();
            frame.time_s = time_s.unwrap_or_default();
            Ok(time_s.is_some())
        };
        let mut window = Window::default();
        let (mut found, mut next) = (Vec::new(), 0);
        while let Some((number, onsets_s)) = window.fill(&mut next_into, next, &plan).unwrap() {
            next = number + 1;
            found.push((number, onsets_s));
        }
        found
    }

    #[test]
    fn stretches_without_frames_are_passed_over() {
        let steady: Vec<f64> = (0..1000).map(|k| f64::from(k) * 0.04).collect();
        let found = stretches(steady.clone());
        assert_eq!(found.len(), 5);
        assert_eq!(found[1], (1, [10.0, 18.0]));
        // From a stamp of the day to one since 1970: 806 400 s and more were gone through, 8 s at a time.
        let jumped: Vec<f64> = steady.iter().map(|t| t + 1.7e9).collect();
        let found = stretches([steady, jumped].concat());
        assert!((10..=11).contains(&found.len()), "{found:?}");
        assert!(found.windows(2).all(|w| w[0].0 < w[1].0));
        assert!(
            found
                .iter()
                .all(|(_, [from, to])| (to - from - 8.0).abs() < 1e-6)
        );
    }
}
