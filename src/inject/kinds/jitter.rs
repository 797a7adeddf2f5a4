//! Frames arrive late, each by another amount, but never after the next one is due.
//!
//! Harmless by itself: the picture is less than one frame older than its time says.

use rand_chacha::rand_core::RngCore;

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{WHOLE, random};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "largest delay",
        unit: "ms",
        usual: 20.0,
        range: [0.0, 1000.0],
    }),
    ..About::new(
        "jitter",
        Group::Signal,
        "frames arrive late, each by another amount",
    )
};

/// See the module.
pub struct Jitter;

impl Model for Jitter {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[]
    }

    fn twin(&self, _: &Clip, _: &Fault) -> Option<(Fault, &'static str)> {
        None
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Jittering(fault.clone())))
    }
}

/// Distance that neighbouring frames keep at least, s.
const GAP_S: f64 = 1e-4;

struct Jittering(Fault);

impl Injector for Jittering {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let time_s = clip.frames[k].time_s;
        let next_s = match clip.frames.get(k + 1) {
            Some(next) => next.time_s,
            None => time_s + (time_s - clip.frames[k - 1].time_s),
        };
        let share = f64::from(random(self.0.seed, frame.index).next_u32()) / f64::from(u32::MAX);
        let latest_s = (next_s - GAP_S).max(time_s);
        frame.time_s = (time_s + share * self.0.size / 1000.0).min(latest_s);
        Delivery::Sent
    }
}
