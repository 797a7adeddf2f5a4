//! The chain takes levels of one range for those of the other.
//!
//! It is a fault of the chain and not of the display: the chain is to be reported as changed, and no verdict on
//! a region is right.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::WHOLE;
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look in which contrast grows.
const STRETCHED: usize = 1;

const ABOUT: About = About {
    looks: &["limited read as full", "full read as limited"],
    ..About::new(
        "range_change",
        Group::Signal,
        "the chain takes limited levels for full ones, or the other way",
    )
};

/// See the module.
pub struct RangeChange;

impl Model for RangeChange {
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

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Ranging(fault.look)))
    }
}

struct Ranging(usize);

impl Injector for Ranging {
    fn apply(&mut self, clip: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        // Black and black again, and the steps of luma and colour, of ITU-R BT.709-6, item 4.6.
        let squeezed = |v: f64| 16.0 + v * 219.0 / 255.0;
        let stretched = |v: f64| (v - 16.0) * 255.0 / 219.0;
        let is_squeezed = self.0 != STRETCHED;
        let color = if is_squeezed {
            224.0 / 255.0
        } else {
            255.0 / 224.0
        };
        let level = |v: f64| libm::round(v).clamp(0.0, 255.0) as u8;
        let all = clip.area(WHOLE);
        paint::map(&mut frame.picture, 0, all, |v| {
            let v = f64::from(v);
            level(if is_squeezed {
                squeezed(v)
            } else {
                stretched(v)
            })
        });
        for plane in [1, 2] {
            paint::map(&mut frame.picture, plane, all, |v| {
                level(128.0 + (f64::from(v) - 128.0) * color)
            });
        }
        Delivery::Sent
    }
}
