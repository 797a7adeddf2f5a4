//! A bit of luma is always 0 or always 1. The lowest bit is less than the noise of any chain.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{WHOLE, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const LOOKS: [&str; 7] = [
    "bit 7 low",
    "bit 7 high",
    "bit 6 low",
    "bit 6 high",
    "bit 5 low",
    "bit 5 high",
    "bit 0 low",
];

/// Bit and state by look.
const BITS: [(u8, bool); LOOKS.len()] = [
    (7, false),
    (7, true),
    (6, false),
    (6, true),
    (5, false),
    (5, true),
    (0, false),
];

/// Index of the look that must not be raised.
const LOWEST: usize = 6;

const ABOUT: About = About {
    looks: &LOOKS,
    ..About::new("stuck_bit", Group::Signal, "a bit of luma is stuck")
};

/// See the module.
pub struct StuckBit;

impl Model for StuckBit {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        // A picture with wrong colours can still be readable.
        if fault.look == LOWEST {
            &[]
        } else {
            &[Verdict::Garbled, Verdict::Misleading]
        }
    }

    /// Converters in the chain lose bits too.
    fn is_of_chain(&self, fault: &Fault) -> bool {
        fault.look != LOWEST
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(fault, ABOUT.name, 1.0, LOWEST, "the lowest bit is stuck")
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Sticking(fault.look)))
    }
}

struct Sticking(usize);

impl Injector for Sticking {
    fn apply(&mut self, clip: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        let (bit, is_high) = BITS[self.0];
        let mask = 1u8 << bit;
        paint::map(&mut frame.picture, 0, clip.area(WHOLE), |v| {
            if is_high { v | mask } else { v & !mask }
        });
        Delivery::Sent
    }
}
