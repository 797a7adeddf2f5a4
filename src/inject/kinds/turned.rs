//! The contents of a region are turned about its middle.
//!
//! No class is right for a turn of less than [`HARMLESS_DEG`]: it is a quarter of a pixel 140 px away.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{drawn_regions, has_ink, radius_px, sign, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Largest angle that nothing can be said against, deg.
const HARMLESS_DEG: f64 = 0.1;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "angle",
        unit: "deg",
        usual: 5.0,
        range: [0.0, 180.0],
    }),
    ..About::new(
        "turned",
        Group::Picture,
        "the contents of a region are turned about its middle",
    )
};

/// See the module.
pub struct Turned;

impl Model for Turned {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        drawn_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_DEG {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, clip: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        // A quarter of a pixel at the corner: what registration cannot tell from good.
        let radius = radius_px(clip, fault.target);
        let size = (0.25 / radius).to_degrees().min(HARMLESS_DEG);
        twin(
            fault,
            ABOUT.name,
            size,
            0,
            "turned by a quarter of a pixel at the corner",
        )
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        if !has_ink(clip, fault.target) {
            return None;
        }
        Some(Box::new(Turning(fault.clone())))
    }
}

struct Turning(Fault);

impl Injector for Turning {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let area = clip.area(self.0.target);
        let ground = clip.chain().look.levels(clip.definition().background());
        let angle = (sign(self.0.seed) * self.0.size).to_radians();
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        paint::resample_about_centre(
            &clip.frames[k].picture,
            &mut frame.picture,
            area,
            ground,
            |dx, dy| (dx * cos + dy * sin, dy * cos - dx * sin),
        );
        Delivery::Sent
    }
}
