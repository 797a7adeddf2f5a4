//! One frame of so many shows the picture before it again.
//!
//! Harmless by itself: the picture is one frame older than it should be, and a display has several in hand.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{WHOLE, show_frame};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "one frame of",
        unit: "frames",
        usual: 2.0,
        range: [2.0, 1000.0],
    }),
    needs_motion: true,
    ..About::new(
        "repeated_frames",
        Group::Signal,
        "one frame of so many shows the picture before it again",
    )
};

/// See the module.
pub struct RepeatedFrames;

impl Model for RepeatedFrames {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[]
    }

    fn twin(&self, _: &Clip, _: &Fault) -> Option<(Fault, &'static str)> {
        None
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Repeating(fault.size)))
    }
}

struct Repeating(f64);

impl Injector for Repeating {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let period = libm::round(self.0).max(2.0) as usize;
        if (k - clip.onset).is_multiple_of(period) {
            show_frame(clip, WHOLE, k - 1, frame);
        }
        Delivery::Sent
    }
}
