//! Stretches of frames have changed places: first come the pictures of the later one.
//!
//! A stretch of one frame (pairs exchanged) is harmless by itself: no picture is more than a frame off. Longer ones
//! show what cannot be known yet, and then what is too old.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{WHOLE, show_frame, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "length of a stretch",
        unit: "frames",
        usual: 8.0,
        range: [0.0, 1000.0],
    }),
    needs_motion: true,
    ..About::new(
        "reordered_frames",
        Group::Signal,
        "stretches of frames have changed places",
    )
};

/// See the module.
pub struct ReorderedFrames;

impl Model for ReorderedFrames {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= 1.0 {
            &[]
        } else {
            &[Verdict::Misleading, Verdict::Late]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(
            fault,
            ABOUT.name,
            1.0,
            0,
            "pairs of frames have changed places",
        )
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Reordering(fault.size)))
    }
}

struct Reordering(f64);

impl Injector for Reordering {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let stretch = libm::round(self.0).max(0.0) as usize;
        if stretch > 0 {
            let place = (k - clip.onset) % (2 * stretch);
            let shown = if place < stretch {
                k + stretch
            } else {
                k - stretch
            };
            // Where the clip ends there is nothing to change places with.
            if shown < clip.frames.len() {
                show_frame(clip, WHOLE, shown, frame);
            }
        }
        Delivery::Sent
    }
}
