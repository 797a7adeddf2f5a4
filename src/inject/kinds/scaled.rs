//! The contents of a region are larger or smaller, about its middle.
//!
//! No class is right for a change of less than [`HARMLESS_PERCENT`]: it is a quarter of a pixel 250 px away.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{drawn_regions, has_ink, radius_px, sign, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Largest change that nothing can be said against, %.
const HARMLESS_PERCENT: f64 = 0.1;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "change of size",
        unit: "%",
        usual: 5.0,
        range: [0.0, 90.0],
    }),
    ..About::new(
        "scaled",
        Group::Picture,
        "the contents of a region are larger or smaller than they should be",
    )
};

/// See the module.
pub struct Scaled;

impl Model for Scaled {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        drawn_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_PERCENT {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, clip: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        // A quarter of a pixel at the corner: what registration cannot tell from good.
        let radius = radius_px(clip, fault.target);
        let size = (25.0 / radius).min(HARMLESS_PERCENT);
        twin(
            fault,
            ABOUT.name,
            size,
            0,
            "scaled by a quarter of a pixel at the corner",
        )
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        if !has_ink(clip, fault.target) {
            return None;
        }
        Some(Box::new(Scaling(fault.clone())))
    }
}

struct Scaling(Fault);

impl Injector for Scaling {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let area = clip.area(self.0.target);
        let ground = clip.chain().look.levels(clip.definition().background());
        let scale = 1.0 + sign(self.0.seed) * self.0.size / 100.0;
        paint::resample_about_centre(
            &clip.frames[k].picture,
            &mut frame.picture,
            area,
            ground,
            |dx, dy| (dx / scale, dy / scale),
        );
        Delivery::Sent
    }
}
