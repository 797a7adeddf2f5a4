//! Slopes that serve for more than one frame.
//!
//! While nothing in a region has moved by more than a tenth of a pixel, its edges have the slopes that they had: only what
//! the pixels are off by is new. The residual is always taken against the reference for the values of the frame itself, so
//! kept slopes do not pull a reading; they only weigh the pixels a little otherwise.

use super::{Moving, Reader};
use crate::picture::Rgb;
use crate::recording::inputs::Inputs;
use crate::reference::parts::Freedom;
use crate::reference::scene::{Bounds, Scene, Shape};

/// How far a symbol that is read may move from where its region's slopes were taken, px.
const SERVE_PX: f64 = 0.1;
/// How far the bounds of anything may move, px: what is not read moves other edges into view.
const BOUNDS_PX: f64 = 0.25;

/// Where a fit begins: the values, and what is drawn for them.
#[derive(Clone, PartialEq)]
pub(super) struct Here {
    /// By freedom: value and pixels for a unit; `None` without a value.
    values: Vec<Option<(f64, f64)>>,
    /// Filled outlines, which alone are read.
    outlines: Vec<Outline>,
}

#[derive(Clone, PartialEq)]
struct Outline {
    bounds: Bounds,
    clip: Option<Bounds>,
    color: Rgb,
    opacity: f64,
}

/// The pixels that move, with their slopes, and where they were found.
#[derive(Clone)]
pub(super) struct Kept {
    pub taken_at: Here,
    pub moving: Vec<Moving>,
}

impl Kept {
    /// Whether the slopes hold for a fit that begins `here`.
    pub fn serve(&self, here: &Here, freedoms: &[Freedom]) -> bool {
        let then = &self.taken_at;
        let values = then.values.iter().zip(&here.values).zip(freedoms);
        let mut stand = values.map(|((then, now), f)| match (then, now) {
            (Some((u, _)), Some((v, px_per_unit))) => {
                f.difference(*v, *u).abs() * px_per_unit <= SERVE_PX
            }
            (None, None) => true,
            _ => false,
        });
        let outlines = || then.outlines.iter().zip(&here.outlines);
        then.outlines.len() == here.outlines.len()
            && stand.all(|is| is)
            && outlines().all(|(a, b)| {
                a.color == b.color
                    && a.opacity == b.opacity
                    && is_near(&a.bounds, &b.bounds)
                    && match (&a.clip, &b.clip) {
                        (Some(a), Some(b)) => is_near(a, b),
                        (None, None) => true,
                        _ => false,
                    }
            })
    }
}

fn is_near(a: &Bounds, b: &Bounds) -> bool {
    let sides = |b: &Bounds| [b.left, b.top, b.right, b.bottom];
    let mut pairs = sides(a).into_iter().zip(sides(b));
    pairs.all(|(a, b)| a == b || (a - b).abs() <= BOUNDS_PX)
}

impl Reader<'_> {
    /// Where a fit begins, whose `scene` is drawn for `inputs`.
    pub(super) fn here(&self, inputs: &Inputs, scene: &Scene) -> Here {
        let values = self.freedoms.iter().enumerate().map(|(k, f)| {
            let v = inputs.value(f.channel).number()?;
            let v = if f.period.is_some() {
                v
            } else {
                v.clamp(f.low, f.high)
            };
            Some((v, self.px_per_unit(k, inputs)))
        });
        let items = scene.items().iter();
        let fills = items.filter(|i| matches!(i.shape, Shape::Fill { .. }));
        Here {
            values: values.collect(),
            outlines: fills
                .map(|i| Outline {
                    bounds: i.bounds,
                    clip: i.clip,
                    color: i.color,
                    opacity: i.opacity,
                })
                .collect(),
        }
    }
}
