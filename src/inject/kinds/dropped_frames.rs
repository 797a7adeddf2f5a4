//! Frames are lost for a while, arrive for as long, are lost again.
//!
//! The crew sees the last picture meanwhile. Gaps up to [`HARMLESS_MS`] are what healthy displays have in hand: they may
//! be some 150 ms late and are usually a third of that. The frames that do arrive are good.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{WHOLE, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Longest gap that must not be raised, ms.
const HARMLESS_MS: f64 = 100.0;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "length of a gap",
        unit: "ms",
        usual: 600.0,
        range: [0.0, 60_000.0],
    }),
    ..About::new(
        "dropped_frames",
        Group::Signal,
        "frames are lost for a while, arrive for as long, and are lost again",
    )
};

/// See the module.
pub struct DroppedFrames;

impl Model for DroppedFrames {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, _: Subject) -> Vec<Target> {
        vec![WHOLE]
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_MS {
            &[]
        } else {
            &[Verdict::Frozen, Verdict::Late, Verdict::Blank]
        }
    }

    fn twin(&self, clip: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        // Every second frame, or what a healthy display has in hand.
        let interval_ms =
            1000.0 * (clip.frames[clip.onset].time_s - clip.frames[clip.onset - 1].time_s);
        twin(
            fault,
            ABOUT.name,
            interval_ms.min(HARMLESS_MS),
            0,
            "every second frame is lost",
        )
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(Box::new(Dropping(fault.size / 1000.0)))
    }
}

struct Dropping(f64);

impl Injector for Dropping {
    fn apply(&mut self, clip: &Clip, k: usize, _: &mut CapturedFrame) -> Delivery {
        // A hair in hand, since decimal times are not exact in binary.
        let phase_s = (clip.since_onset_s(k) + 1e-6).rem_euclid(2.0 * self.0);
        if self.0 > 0.0 && phase_s < self.0 {
            Delivery::Lost
        } else {
            Delivery::Sent
        }
    }
}
