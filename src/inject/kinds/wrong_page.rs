//! The display shows another page than the one that is due: one that the definition has, or, where it has none, one that
//! lays the same contents out in another way, its halves having changed places; or it has reverted without a cause. What
//! counts is the same: much ink, all of it readable, none of it where it should be.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, page, paint};
use super::{ONE_FRAME, WHOLE, briefly, from_seed, is_brief, lasting};
use crate::capture::CapturedFrame;
use crate::definition::Definition;
use crate::definition::pages::Page;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rect;
use crate::recording::inputs::Inputs;

/// Index of the look in which top and bottom have changed places.
const UP_AND_DOWN: usize = 1;
/// Index of the look in which another page of the definition is shown, that some inputs would make due.
const OTHER_PAGE: usize = 2;
/// Index of the look in which the display has reverted without a cause.
const REVERTED: usize = 3;

const ABOUT: About = About {
    looks: &[
        "left and right",
        "up and down",
        "another page",
        "reverted",
        ONE_FRAME,
    ],
    ..About::new(
        "wrong_page",
        Group::Picture,
        "another page is shown, or the contents have changed places as on one",
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

    fn has_look(&self, definition: &Definition, _: Target, look: usize) -> bool {
        let mut pages = definition.pages().iter();
        match look {
            OTHER_PAGE => pages.filter(|page| is_by_inputs(page)).count() > 1,
            REVERTED => pages.any(is_of_reversion),
            _ => true,
        }
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

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let injector = match fault.look {
            OTHER_PAGE => other_page(clip, fault.seed, is_by_inputs)?,
            REVERTED => other_page(clip, fault.seed, is_of_reversion)?,
            look => Box::new(Paging(look)),
        };
        Some(lasting(self, fault, injector))
    }
}

fn is_by_inputs(page: &Page) -> bool {
    !page.is_for_reversion_only()
}

const fn is_of_reversion(page: &Page) -> bool {
    page.reversion.is_some()
}

/// One of the pages that are `wanted`, by the seed. `None` when there is none but the one that is due at the onset.
fn other_page(clip: &Clip, seed: u64, wanted: fn(&Page) -> bool) -> Option<Box<dyn Injector>> {
    let mut inputs = Inputs::default();
    clip.inputs(clip.onset, &mut inputs);
    let pages = clip.definition().pages().iter().enumerate();
    let others = pages.filter(|(k, page)| *k != inputs.page && wanted(page));
    let others: Vec<usize> = others.map(|(k, _)| k).collect();
    let page = *from_seed(&others, seed).next()?;
    Some(Box::new(page::Page::new(page, seed)))
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
