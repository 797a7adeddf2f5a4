//! The colour planes have changed places, or red and blue have.
//!
//! Nothing tells whether the display did it or the chain: a word about either is right.

use super::super::mixing::Mixing;
use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{ONE_FRAME, WHOLE, briefly, is_brief, lasting};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look in which the primaries have changed places.
const RED_AND_BLUE: usize = 1;

const ABOUT: About = About {
    looks: &["colour planes", "red and blue", ONE_FRAME],
    ..About::new(
        "swapped_planes",
        Group::Signal,
        "the colour planes, or red and blue, have changed places",
    )
};

/// See the module.
pub struct SwappedPlanes;

impl Model for SwappedPlanes {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if is_brief(self, fault) {
            &[]
        } else {
            &[Verdict::Misleading, Verdict::Garbled]
        }
    }

    fn is_of_chain(&self, fault: &Fault) -> bool {
        !is_brief(self, fault)
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(lasting(self, fault, Box::new(Swapping(fault.look))))
    }
}

struct Swapping(usize);

impl Injector for Swapping {
    fn apply(&mut self, _: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        let picture = &mut frame.picture;
        if self.0 == RED_AND_BLUE {
            let encoding = picture.encoding();
            Mixing::of(encoding, |[r, g, b]| [b, g, r], encoding).apply(picture);
        } else {
            picture.planes_mut().swap(1, 2);
        }
        Delivery::Sent
    }
}
