//! Nothing is drawn: one colour, or the bars of a chain without a signal.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{has_ink, that_shows, whole_and_regions};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::{Rect, Rgb};

const ABOUT: About = About {
    looks: &LOOKS,
    ..About::new(
        "blank",
        Group::Picture,
        "the picture is gone: one colour, or the bars of a chain without a signal",
    )
};

/// See the module.
pub struct Blank;

const LOOKS: [&str; 4] = ["black", "white", "blue", "bars"];

impl Model for Blank {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        whole_and_regions(subject)
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[Verdict::Blank]
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let twin = Fault {
            kind: "dim",
            size: 0.03,
            look: 0,
            ..fault.clone()
        };
        Some((twin, "3 % darker"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        // Where nothing is drawn nothing can be gone.
        if !has_ink(clip, fault.target) {
            return None;
        }
        that_shows(clip, fault.target, Box::new(Blanking(fault.clone())))
    }
}

struct Blanking(Fault);

impl Injector for Blanking {
    fn apply(&mut self, clip: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        let area = clip.area(self.0.target);
        let look = clip.chain().look;
        let picture = &mut frame.picture;
        match LOOKS[self.0.look] {
            "black" => paint::fill(picture, area, Rgb([0; 3]), &look),
            "white" => paint::fill(picture, area, Rgb([255; 3]), &look),
            "blue" => paint::fill(picture, area, Rgb([0, 0, 255]), &look),
            // The eight bars at 75 % of ITU-R BT.471.
            _ => {
                for k in 0..8 {
                    let level = |on: bool| if on { 191 } else { 0 };
                    let color = Rgb([level(k & 2 == 0), level(k & 4 == 0), level(k & 1 == 0)]);
                    let x = area.x + area.width * k / 8;
                    let right = area.x + area.width * (k + 1) / 8;
                    let bar = Rect::new(x, area.y, right - x, area.height);
                    paint::fill(picture, bar, color, &look);
                }
            }
        }
        Delivery::Sent
    }
}
