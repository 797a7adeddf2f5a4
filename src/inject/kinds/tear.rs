//! Below a row that wanders down the picture stands an older picture, shifted sideways and round the edge.
//!
//! A shift of no pixels is no tear: then nothing is older either.

use rand_chacha::rand_core::RngCore;

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{LASTING, WHOLE, briefly, is_brief, lasting, random};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rect;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "shift",
        unit: "px",
        usual: 170.0,
        range: [0.0, 10_000.0],
    }),
    looks: LASTING,
    ..About::new(
        "tear",
        Group::Signal,
        "below a row that wanders, an older picture stands shifted sideways",
    )
};

/// See the module.
pub struct Tear;

impl Model for Tear {
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
            &[Verdict::Garbled]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(lasting(self, fault, Box::new(Tearing(fault.clone()))))
    }
}

/// How much older the lower part is, s.
const AGE_S: f64 = 0.2;

struct Tearing(Fault);

impl Injector for Tearing {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let all = clip.area(WHOLE);
        // Whole samples of the colour planes, less than once round.
        let shift = (2.0 * libm::round(self.0.size / 2.0)) as i32 % (all.width / 2 * 2).max(2);
        if shift == 0 {
            return Delivery::Sent;
        }
        // The tear rolls down the middle half of the picture, as it does when two clocks drift.
        let begin = random(self.0.seed, 0).next_u64() % 1024;
        let step = (clip.frames[k].index * 37 + begin) % (all.height as u64 / 2).max(1);
        let y = (all.height / 4 + step as i32) / 2 * 2;
        let older = &clip.frames[clip.older(k, AGE_S)].picture;
        let (rest, height) = (all.width - shift, all.height - y);
        let left = Rect::new(0, y, rest, height);
        paint::transplant(older, left, &mut frame.picture, [shift, y]);
        // An odd last column stays: it has no place on the other side.
        let round = Rect::new(rest / 2 * 2, y, shift, height);
        paint::transplant(older, round.intersection(&all), &mut frame.picture, [0, y]);
        Delivery::Sent
    }
}
