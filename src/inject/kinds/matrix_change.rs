//! The chain writes colours by another matrix than the one it is known to have.
//!
//! It is a fault of the chain and not of the display: the chain is to be reported as changed, and no verdict on
//! a region is right.

use super::super::mixing::Mixing;
use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::WHOLE;
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::{Encoding, Matrix};

const ABOUT: About = About::new(
    "matrix_change",
    Group::Signal,
    "the chain writes colours by another matrix",
);

/// See the module.
pub struct MatrixChange;

impl Model for MatrixChange {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[]
    }

    fn is_of_chain(&self, _: &Fault) -> bool {
        true
    }

    fn twin(&self, _: &Clip, _: &Fault) -> Option<(Fault, &'static str)> {
        None
    }

    fn prepare(&self, _: &Clip, _: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Rewriting))
    }
}

struct Rewriting;

impl Injector for Rewriting {
    fn apply(&mut self, _: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        let picture = &mut frame.picture;
        if let Encoding::YCbCr { matrix, range } = picture.encoding() {
            let matrix = match matrix {
                Matrix::Bt601 => Matrix::Bt709,
                Matrix::Bt709 => Matrix::Bt601,
            };
            let written = Encoding::YCbCr { matrix, range };
            Mixing::of(picture.encoding(), |c| c, written).apply(picture);
        }
        Delivery::Sent
    }
}
