//! Noise covers the picture: Gaussian, in colour half as strong as in luma.
//!
//! Noise up to [`HARMLESS_LEVELS`] is what cables and converters add.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{twin, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Standard deviation that must not be raised, levels.
const HARMLESS_LEVELS: f64 = 2.0;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "standard deviation",
        unit: "levels",
        usual: 40.0,
        range: [0.0, 200.0],
    }),
    ..About::new("noise", Group::Signal, "noise covers the picture")
};

/// See the module.
pub struct Noise;

impl Model for Noise {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_LEVELS {
            &[]
        } else {
            &[Verdict::Garbled]
        }
    }

    fn twin(&self, clip: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let size = (clip.profile.noise[0] / 2.0).max(1.0);
        twin(
            fault,
            ABOUT.name,
            size,
            0,
            "half as much noise again as the chain has",
        )
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Noisy(fault.clone())))
    }
}

struct Noisy(Fault);

impl Injector for Noisy {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let (luma, color) = (self.0.size, self.0.size / 2.0);
        let (area, stream) = (clip.area(self.0.target), clip.frames[k].index);
        paint::add_noise(
            &mut frame.picture,
            area,
            [luma, color, color],
            self.0.seed,
            stream,
        );
        Delivery::Sent
    }
}
