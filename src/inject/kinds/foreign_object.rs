//! Something stands in a region that does not belong there: a patch or a stroke in a colour of the palette.
//!
//! A speck of [`HARMLESS_PX`] is smaller than what any symbol is made of.

use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target, paint};
use super::{below, drawn_regions, from_seed, random, twin};
use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::{Picture, Rect, Rgb};

/// Edge of an object that must not be raised, px.
const HARMLESS_PX: f64 = 1.0;

/// Index of the look with a stroke.
const STROKE: usize = 1;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "edge; a stroke is three times as long and a quarter as wide",
        unit: "px",
        usual: 12.0,
        range: [0.0, 200.0],
    }),
    looks: &["patch", "stroke"],
    ..About::new(
        "foreign_object",
        Group::Picture,
        "a patch or a stroke stands in a region that does not belong there",
    )
};

/// See the module.
pub struct ForeignObject;

impl Model for ForeignObject {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        drawn_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS_PX {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(fault, ABOUT.name, HARMLESS_PX, 0, "a speck of one pixel")
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let (area, color) = place(clip, fault)?;
        Some(Box::new(Standing(area, color)))
    }
}

/// Places that are tried before it is said that there is none.
const TRIES: u64 = 64;

/// Where the object stands, and a colour that shows there. Unchecked areas are left alone.
fn place(clip: &Clip, fault: &Fault) -> Option<(Rect, Rgb)> {
    let region = clip.area(fault.target);
    let edge = libm::round(fault.size).max(0.0) as i32;
    let (width, height) = match fault.look {
        STROKE if fault.seed & 1 == 0 => (3 * edge, (edge + 3) / 4),
        STROKE => ((edge + 3) / 4, 3 * edge),
        _ => (edge, edge),
    };
    let (width, height) = (width.min(region.width), height.min(region.height));
    let d = clip.definition();
    let unchecked = d.unchecked();
    let palette: Vec<Rgb> = d.file().colors.keys().map(|name| d.color(name)).collect();
    let beneath = &clip.frames[clip.onset].picture;
    (0..TRIES).find_map(|stream| {
        let mut rng = random(fault.seed, stream);
        let x = region.x + below(&mut rng, (region.width - width) as usize + 1) as i32;
        let y = region.y + below(&mut rng, (region.height - height) as usize + 1) as i32;
        let area = Rect::new(x, y, width, height);
        if unchecked.iter().any(|u| !u.intersection(&area).is_empty()) {
            return None;
        }
        let ground = mean_luma(beneath, area);
        let shows = |color: &&Rgb| {
            (f64::from(clip.chain().look.levels(**color)[0]) - ground).abs() >= CLEAR_LEVELS
        };
        let color = from_seed(&palette, fault.seed / 2).find(shows)?;
        Some((area, *color))
    })
}

/// Luma between the object and what it covers, levels.
const CLEAR_LEVELS: f64 = 60.0;

fn mean_luma(picture: &Picture, area: Rect) -> f64 {
    let (x, right) = (area.x as usize, area.right() as usize);
    let rows = area.y as usize..area.bottom() as usize;
    let sum: u64 = rows
        .flat_map(|y| &picture.planes()[0].row(y)[x..right])
        .map(|v| u64::from(*v))
        .sum();
    sum as f64 / (area.area().max(1)) as f64
}

struct Standing(Rect, Rgb);

impl Injector for Standing {
    fn apply(&mut self, clip: &Clip, _: usize, frame: &mut CapturedFrame) -> Delivery {
        if !self.0.is_empty() {
            paint::fill(&mut frame.picture, self.0, self.1, &clip.chain().look);
        }
        Delivery::Sent
    }
}
