//! Some of the lines are lost, other ones in every frame: they are black, or show noise.

use rand_chacha::rand_core::RngCore;

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{ONE_FRAME, briefly, has_ink, is_brief, lasting, random, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::{Rect, Rgb};

/// Index of the look with noise.
const NOISE: usize = 1;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "share of the lines",
        unit: "%",
        usual: 20.0,
        range: [0.0, 100.0],
    }),
    looks: &["black", "noise", ONE_FRAME],
    ..About::new("lost_lines", Group::Signal, "lines of the picture are lost")
};

/// See the module.
pub struct LostLines;

impl Model for LostLines {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
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

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        if !has_ink(clip, fault.target) {
            return None;
        }
        Some(lasting(self, fault, Box::new(Losing(fault.clone()))))
    }
}

/// Standard deviation of what stands in lost lines, levels.
const NOISE_LEVELS: f64 = 60.0;

struct Losing(Fault);

impl Injector for Losing {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let Fault {
            target,
            size,
            look,
            seed,
            ..
        } = self.0;
        let (area, index) = (clip.area(target), clip.frames[k].index);
        let chain = clip.chain();
        let mut rng = random(seed, index);
        for y in area.y..area.bottom() {
            let line = Rect::new(area.x, y, area.width, 1);
            let is_lost = f64::from(rng.next_u32()) < size / 100.0 * f64::from(u32::MAX);
            if is_lost {
                let color = if look == NOISE {
                    Rgb([128; 3])
                } else {
                    Rgb([0; 3])
                };
                paint::fill(&mut frame.picture, line, color, &chain.look);
                if look == NOISE {
                    let stream = (index << 16) | y as u64;
                    paint::add_noise(&mut frame.picture, line, [NOISE_LEVELS; 3], seed, stream);
                }
            }
        }
        Delivery::Sent
    }
}
