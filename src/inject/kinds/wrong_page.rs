//! The display lays its contents out as another page would: its halves have changed places.
//!
//! The layout of a real other page is not known. What counts is the same: much ink, all of it readable, none of it
//! where it should be.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{ONE_FRAME, WHOLE, briefly, is_brief, lasting};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rect;

/// Index of the look in which top and bottom have changed places.
const UP_AND_DOWN: usize = 1;

const ABOUT: About = About {
    looks: &["left and right", "up and down", ONE_FRAME],
    ..About::new(
        "wrong_page",
        Group::Picture,
        "the contents of the display have changed places, as on another page",
    )
};

/// See the module.
pub struct WrongPage;

impl Model for WrongPage {
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
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, _: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        Some(lasting(self, fault, Box::new(Paging(fault.look))))
    }
}

struct Paging(usize);

impl Injector for Paging {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let all = clip.area(WHOLE);
        // Halves of whole samples of the colour planes; a middle column or row stays.
        let half = |side: i32| side / 4 * 2;
        let (first, second, width, height) = if self.0 == UP_AND_DOWN {
            let height = half(all.height);
            (
                [0, 0],
                [0, (all.height - height) / 2 * 2],
                all.width,
                height,
            )
        } else {
            let width = half(all.width);
            ([0, 0], [(all.width - width) / 2 * 2, 0], width, all.height)
        };
        let from = &clip.frames[k].picture;
        for (source, place) in [(first, second), (second, first)] {
            let source = Rect::new(source[0], source[1], width, height);
            paint::transplant(from, source, &mut frame.picture, place);
        }
        Delivery::Sent
    }
}
