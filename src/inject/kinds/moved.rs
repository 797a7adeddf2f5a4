//! The contents of a region stand beside their place.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{drawn_regions, has_ink, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// What registration cannot tell from good, px.
const HARMLESS_PX: f64 = 0.25;

/// What agreement permits: ink that is due may stand one pixel beside its place. All of a region moves as one, so no value that is
/// read in it changes.
const PERMITTED_PX: f64 = 1.0;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "distance",
        unit: "px",
        usual: 4.0,
        range: [0.0, 100.0],
    }),
    ..About::new(
        "moved",
        Group::Picture,
        "the contents of a region stand beside their place",
    )
};

/// See the module.
pub struct Moved;

impl Model for Moved {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        drawn_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_PX {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn permitted(&self, _: &Clip, _: Target) -> Option<f64> {
        Some(PERMITTED_PX)
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(
            fault,
            ABOUT.name,
            HARMLESS_PX,
            0,
            "a quarter of a pixel beside its place",
        )
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        if !has_ink(clip, fault.target) {
            return None;
        }
        Some(Box::new(Moving(fault.clone())))
    }
}

struct Moving(Fault);

impl Injector for Moving {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let area = clip.area(self.0.target);
        let ground = clip.chain().look.levels(clip.definition().background());
        let [dx, dy] = match self.0.seed % 4 {
            0 => [self.0.size, 0.0],
            1 => [0.0, self.0.size],
            2 => [-self.0.size, 0.0],
            _ => [0.0, -self.0.size],
        };
        paint::resample(
            &clip.frames[k].picture,
            &mut frame.picture,
            area,
            ground,
            |x, y| (x - dx, y - dy),
        );
        Delivery::Sent
    }
}
