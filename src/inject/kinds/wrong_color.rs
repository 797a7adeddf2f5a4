//! A colour of the palette is drawn as another, or on the way to it.
//!
//! Half of the way is halfway in each of R', G' and B'. The colour of the empty canvas stays.

use super::super::redraw::{LEAST_PX, Redraw};
use super::super::{About, Axis, Clip, Delivery, Fault, Group, Injector, Model, Target};
use super::{drawn_regions, from_seed, twin};
use crate::capture::CapturedFrame;
use crate::colour::{ciede2000, srgb_to_lab};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::picture::Rgb;

/// A share that nobody sees.
const HARMLESS: f64 = 0.05;

/// CIEDE2000 between two colours that nobody takes for each other.
const CLEAR: f64 = 25.0;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "share of the way to the other colour",
        unit: "",
        usual: 1.0,
        range: [0.0, 1.0],
    }),
    ..About::new(
        "wrong_color",
        Group::Picture,
        "a colour of a region is drawn as another of the palette",
    )
};

/// See the module.
pub struct WrongColor;

impl Model for WrongColor {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        drawn_regions(subject)
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.size <= HARMLESS {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(
            fault,
            ABOUT.name,
            HARMLESS,
            0,
            "a twentieth of the way to the other colour",
        )
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let region = fault.target.region?;
        let (name, to) = exchanged(clip, region, fault.seed)?;
        let from = clip.definition().color(&name);
        let other = clip
            .definition()
            .with_color(&name, mixed(from, to, fault.size));
        let redraw = Redraw::new(clip, region, Some(other), fault.seed);
        Some(Box::new(Coloring(redraw)))
    }
}

/// The first pair of colours, counted from a place that the seed chooses, that shows when they are exchanged.
fn exchanged(clip: &Clip, region: usize, seed: u64) -> Option<(String, Rgb)> {
    let d = clip.definition();
    let ground = &d.file().display.background;
    let mut used: Vec<&str> = d.regions()[region].colors_used().into_iter().collect();
    used.retain(|name| name != ground);
    let palette: Vec<Rgb> = d.file().colors.keys().map(|name| d.color(name)).collect();
    from_seed(&used, seed).find_map(|name| {
        let from = d.color(name);
        let is_other = |to: &&Rgb| ciede2000(srgb_to_lab(from), srgb_to_lab(**to)) >= CLEAR;
        let to = *from_seed(&palette, seed / 2).find(is_other)?;
        let mut redraw = Redraw::new(clip, region, Some(d.with_color(name, to)), seed);
        redraw.draw(clip, clip.onset, |_| {}, |_| {});
        (redraw.changed_px(clip) >= LEAST_PX).then(|| ((*name).to_owned(), to))
    })
}

fn mixed(Rgb(from): Rgb, Rgb(to): Rgb, share: f64) -> Rgb {
    Rgb([0, 1, 2].map(|k| {
        let (a, b) = (f64::from(from[k]), f64::from(to[k]));
        libm::round(a + (b - a) * share).clamp(0.0, 255.0) as u8
    }))
}

struct Coloring(Redraw);

impl Injector for Coloring {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        self.0.apply(clip, k, &mut frame.picture, |_| {});
        Delivery::Sent
    }
}
