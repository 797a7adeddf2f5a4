//! The picture stands still for a while, jumps to what is due, and stands still again.
//!
//! A hold adds its own length to the age of the picture. Displays may be some 150 ms late and are usually a third
//! of that, so that holds up to [`HARMLESS_MS`] must not be raised.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{show_frame, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Longest hold that a healthy display may show, ms.
const HARMLESS_MS: f64 = 100.0;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "length of a hold",
        unit: "ms",
        usual: 800.0,
        range: [0.0, 60_000.0],
    }),
    needs_motion: true,
    ..About::new(
        "hold_and_jump",
        Group::Picture,
        "the picture stands still for a while, jumps to the current one, and stands still again",
    )
};

/// See the module.
pub struct HoldAndJump;

impl Model for HoldAndJump {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_MS {
            &[]
        } else {
            &[Verdict::Frozen, Verdict::Late]
        }
    }

    fn twin(&self, clip: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let interval_ms =
            1000.0 * (clip.frames[clip.onset].time_s - clip.frames[clip.onset - 1].time_s);
        let twin = Fault {
            size: interval_ms.min(HARMLESS_MS),
            ..fault.clone()
        };
        Some((twin, "every second frame is shown twice"))
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Holding(fault.clone())))
    }
}

struct Holding(Fault);

impl Injector for Holding {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        // A hair more than the hold, since decimal times are not exact in binary.
        let hold_s = self.0.size / 1000.0 + 1e-6;
        let mut shown = clip.onset - 1;
        for later in clip.onset..=k {
            if clip.frames[later].time_s - clip.frames[shown].time_s > hold_s {
                shown = later;
            }
        }
        show_frame(clip, self.0.target, shown, frame);
        Delivery::Sent
    }
}
