//! The contents of a region are mirrored.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{ONE_FRAME, briefly, drawn_regions, is_brief, lasting, that_shows};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look that mirrors top and bottom.
const UPSIDE_DOWN: usize = 1;

const ABOUT: About = About {
    looks: &["left to right", "upside down", ONE_FRAME],
    ..About::new(
        "mirrored",
        Group::Picture,
        "the contents of a region are mirrored",
    )
};

/// See the module.
pub struct Mirrored;

impl Model for Mirrored {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        drawn_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if is_brief(self, fault) {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let injector = that_shows(clip, fault.target, Box::new(Mirroring(fault.clone())))?;
        Some(lasting(self, fault, injector))
    }
}

struct Mirroring(Fault);

impl Injector for Mirroring {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let area = clip.area(self.0.target);
        let ground = clip.chain().look.levels(clip.definition().background());
        let is_upright = self.0.look != UPSIDE_DOWN;
        let (across, down) = (
            f64::from(area.x + area.right()),
            f64::from(area.y + area.bottom()),
        );
        paint::resample(
            &clip.frames[k].picture,
            &mut frame.picture,
            area,
            ground,
            |x, y| {
                if is_upright {
                    (across - x, y)
                } else {
                    (x, down - y)
                }
            },
        );
        Delivery::Sent
    }
}
