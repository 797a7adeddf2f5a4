//! The display shows another page than the one that is due: one that the definition has, or, where it has none, one that
//! lays the same contents out in another way, its halves having changed places. What counts is the same: much ink, all
//! of it readable, none of it where it should be.

use super::super::paint::Noise;
use super::super::redraw::{blurred, taps};
use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{ONE_FRAME, WHOLE, briefly, is_brief, lasting};
use crate::capture::CapturedFrame;
use crate::chain::register::FrameReference;
use crate::definition::Definition;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rect;
use crate::recording::inputs::Inputs;
use crate::reference::painter::Painter;

/// Index of the look in which top and bottom have changed places.
const UP_AND_DOWN: usize = 1;
/// Index of the look in which another page of the definition is shown.
const OTHER_PAGE: usize = 2;

const ABOUT: About = About {
    looks: &["left and right", "up and down", "another page", ONE_FRAME],
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
        look != OTHER_PAGE || definition.pages().len() > 1
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
        let injector: Box<dyn Injector> = if fault.look == OTHER_PAGE {
            Box::new(OtherPage::new(clip, fault.seed)?)
        } else {
            Box::new(Paging(fault.look))
        };
        Some(lasting(self, fault, injector))
    }
}

/// Another page of the definition, drawn for the inputs that are due, with the chain's blur and noise.
struct OtherPage {
    page: usize,
    seed: u64,
    inputs: Inputs,
    painter: Painter,
}

impl OtherPage {
    /// `None` when there is no other page than the one that is due at the onset.
    fn new(clip: &Clip, seed: u64) -> Option<Self> {
        let mut inputs = Inputs::default();
        clip.inputs(clip.onset, &mut inputs);
        let pages = 0..clip.definition().pages().len();
        let others: Vec<usize> = pages.filter(|page| *page != inputs.page).collect();
        let page = *others.get(seed as usize % others.len().max(1))?;
        Some(Self {
            page,
            seed,
            inputs,
            painter: Painter::new(),
        })
    }
}

impl Injector for OtherPage {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        clip.inputs(k, &mut self.inputs);
        self.inputs.page = self.page;
        let (profile, look) = (clip.profile, clip.chain().look);
        let reference = FrameReference::draw(
            clip.subject,
            &self.inputs,
            &look,
            (profile.subsampling, profile.siting),
            (profile.width, profile.height),
            &mut self.painter,
        );
        let drawn = reference.picture(frame.picture.encoding());
        let mut noise = Noise::new(self.seed, clip.frames[k].index);
        for (plane, from) in drawn.planes().iter().enumerate() {
            let blur = taps(profile, plane);
            let to = &mut frame.picture.planes_mut()[plane];
            for y in 0..from.height() {
                for (x, level) in to.row_mut(y).iter_mut().enumerate() {
                    *level = noise.on(blurred(from, x, y, blur), profile.noise[plane]);
                }
            }
        }
        Delivery::Sent
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
