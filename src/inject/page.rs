//! A whole page of the definition, drawn for the inputs that are due, with the chain's blur and noise.

use super::paint::Noise;
use super::redraw::{blurred, taps};
use super::{Clip, Delivery, Injector};
use crate::capture::CapturedFrame;
use crate::chain::register::FrameReference;
use crate::recording::inputs::Inputs;
use crate::reference::painter::Painter;

/// Shows a page instead of the one that is due.
pub(super) struct Page {
    page: usize,
    seed: u64,
    inputs: Inputs,
    painter: Painter,
}

impl Page {
    /// The page with index `page` of the definition.
    pub(super) fn new(page: usize, seed: u64) -> Self {
        Self {
            page,
            seed,
            inputs: Inputs::default(),
            painter: Painter::new(),
        }
    }
}

impl Injector for Page {
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
