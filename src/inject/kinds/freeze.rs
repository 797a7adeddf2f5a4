//! The picture stands still.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{show_frame, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const ABOUT: About = About {
    needs_motion: true,
    ..About::new("freeze", Group::Picture, "the last good picture stays")
};

/// See the module.
pub struct Freeze;

impl Model for Freeze {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[Verdict::Frozen]
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let twin = Fault {
            kind: "older_data",
            size: 0.0,
            look: 1,
            ..fault.clone()
        };
        Some((twin, "one more frame of latency"))
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Freezing(fault.target)))
    }
}

struct Freezing(Target);

impl Injector for Freezing {
    fn apply(&mut self, clip: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        show_frame(clip, self.0, clip.onset - 1, frame);
        Delivery::Sent
    }
}
