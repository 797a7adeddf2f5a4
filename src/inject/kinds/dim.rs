//! The picture is darker: luma above black and colour lose the same share.
//!
//! A share up to [`HARMLESS`] is what a backlight does on a warm day, and must not be raised.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{has_ink, twin, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rgb;

/// Largest share that must not be raised.
const HARMLESS: f64 = 0.03;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "share of luma that is lost",
        unit: "",
        usual: 0.5,
        range: [0.0, 1.0],
    }),
    ..About::new(
        "dim",
        Group::Picture,
        "the picture is darker than it should be",
    )
};

/// See the module.
pub struct Dim;

impl Model for Dim {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    /// A gain of the chain makes all of the picture darker just so.
    fn is_of_chain(&self, fault: &Fault) -> bool {
        fault.target.region.is_none() && fault.size > HARMLESS
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(fault, ABOUT.name, HARMLESS, 0, "3 % darker")
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        if !has_ink(clip, fault.target) {
            return None;
        }
        Some(Box::new(Dimming(fault.clone())))
    }
}

struct Dimming(Fault);

impl Injector for Dimming {
    fn apply(&mut self, clip: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        let area = clip.area(self.0.target);
        let black = clip.chain().look.levels(Rgb([0; 3]));
        let kept = 1.0 - self.0.size;
        for (plane, black) in black.into_iter().enumerate() {
            let black = f64::from(black);
            paint::map(&mut frame.picture, plane, area, |v| {
                libm::round(black + (f64::from(v) - black) * kept) as u8
            });
        }
        Delivery::Sent
    }
}
