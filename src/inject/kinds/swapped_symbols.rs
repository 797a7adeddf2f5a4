//! A region shows the picture of another region of about the same size, in its middle.

use super::super::{About, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{
    LASTING, WHOLE, briefly, drawn_regions, from_seed, has_ink, is_brief, lasting, that_shows,
};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rect;

const ABOUT: About = About {
    looks: LASTING,
    ..About::new(
        "swapped_symbols",
        Group::Picture,
        "a region shows the picture of another region of about the same size",
    )
};

/// See the module.
pub struct SwappedSymbols;

impl Model for SwappedSymbols {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        let count = subject.definition().regions().len();
        let mut targets = drawn_regions(subject);
        targets.retain(|t| {
            t.region
                .is_some_and(|own| (0..count).any(|k| is_like(subject, own, k)))
        });
        targets
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
        let own = fault.target.region?;
        let count = clip.definition().regions().len();
        let others: Vec<Target> = (0..count)
            .filter(|k| is_like(clip.subject, own, *k))
            .map(|k| Target {
                region: Some(k),
                ..WHOLE
            })
            .collect();
        // An empty picture would be a blank one.
        let other = from_seed(&others, fault.seed).find(|t| has_ink(clip, **t))?;
        let swap = Swapping {
            own: fault.target,
            other: *other,
        };
        let injector = that_shows(clip, fault.target, Box::new(swap))?;
        Some(lasting(self, fault, injector))
    }
}

/// Sides of regions of about the same size differ by no more than this factor.
const LIKE: f64 = 1.5;

fn is_like(subject: Subject, own: usize, other: usize) -> bool {
    let regions = subject.definition().regions();
    let (a, b) = (regions[own].area(), regions[other].area());
    let is_near = |a: i32, b: i32| f64::from(a.max(b)) <= LIKE * f64::from(a.min(b));
    own != other && is_near(a.width, b.width) && is_near(a.height, b.height)
}

struct Swapping {
    own: Target,
    other: Target,
}

impl Injector for Swapping {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        let (own, other) = (clip.area(self.own), clip.area(self.other));
        let look = clip.chain().look;
        paint::fill(
            &mut frame.picture,
            own,
            clip.definition().background(),
            &look,
        );
        // Whole samples of the colour planes: areas have even sides where those are coarser.
        let (width, height) = (own.width.min(other.width), own.height.min(other.height));
        let begin = |corner: i32, side: i32, kept: i32| corner + (side - kept) / 4 * 2;
        let source = Rect::new(
            begin(other.x, other.width, width),
            begin(other.y, other.height, height),
            width,
            height,
        );
        let place = [
            begin(own.x, own.width, width),
            begin(own.y, own.height, height),
        ];
        paint::transplant(&clip.frames[k].picture, source, &mut frame.picture, place);
        Delivery::Sent
    }
}
