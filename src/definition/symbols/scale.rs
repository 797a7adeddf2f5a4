//! What scales have in common: their marks and numbers, and the lanes in which straight ones lie.

use crate::definition::model::{Direction, Edge, Labels, Ticks};
use crate::definition::parts::{Part, Repeat};

/// Short marks, long marks and numbers of a scale, in drawing order. `every` says where multiples of a step stand, `mark` draws
/// a mark of a length and width at the place 0, and `label` a number.
pub(super) fn marks(
    ticks: &Ticks,
    every: impl Fn(f64) -> Repeat,
    mark: impl Fn(f64, f64) -> Part,
    label: impl FnOnce(&Labels) -> Part,
) -> Vec<Part> {
    let short = ticks.minor_step.map(|step| Part {
        repeat: Some(Repeat {
            except_step: Some(ticks.major_step),
            ..every(step)
        }),
        ..mark(ticks.minor_length, ticks.minor_width.unwrap_or(ticks.width))
    });
    let long = Part {
        repeat: Some(every(ticks.major_step)),
        ..mark(ticks.major_length, ticks.width)
    };
    let numbers = ticks.labels.as_ref().map(|labels| Part {
        repeat: Some(every(labels.step.unwrap_or(ticks.major_step))),
        ..label(labels)
    });
    short.into_iter().chain([long]).chain(numbers).collect()
}

/// The strip in which a straight scale lies, in its own coordinates: along the scale (display pixels, x or y) and inwards
/// from the edge that carries its line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lane {
    is_vertical: bool,
    /// Lower end along the scale, display px.
    pub start: f64,
    /// Upper end along the scale, display px.
    pub end: f64,
    /// +1 when values grow with x or y, -1 when they grow against it.
    pub growth: f64,
    edge: f64,
    inward: f64,
    /// Extent across the scale, px.
    pub depth: f64,
}

impl Lane {
    /// The lane of a scale in `rect`. An edge that does not lie along the scale counts as the left or top one.
    pub(super) fn new(rect: [i32; 4], direction: Direction, edge: Edge) -> Self {
        let [x, y, w, h] = rect.map(f64::from);
        let (is_vertical, growth) = match direction {
            Direction::Up => (true, -1.0),
            Direction::Down => (true, 1.0),
            Direction::Right => (false, 1.0),
            Direction::Left => (false, -1.0),
        };
        let (edge, inward) = match (is_vertical, edge) {
            (true, Edge::Left | Edge::Top | Edge::Bottom) => (x, 1.0),
            (true, Edge::Right) => (x + w, -1.0),
            (false, Edge::Top | Edge::Left | Edge::Right) => (y, 1.0),
            (false, Edge::Bottom) => (y + h, -1.0),
        };
        let (start, end, depth) = if is_vertical {
            (y, y + h, w)
        } else {
            (x, x + w, h)
        };
        Self {
            is_vertical,
            start,
            end,
            growth,
            edge,
            inward,
            depth,
        }
    }

    /// The point `inwards` px from the edge (negative: outside) at `along`.
    pub(super) fn at(&self, along: f64, inwards: f64) -> [f64; 2] {
        let across = self.edge + self.inward * inwards;
        if self.is_vertical {
            [across, along]
        } else {
            [along, across]
        }
    }

    /// The rectangle between two places along the scale and two distances inwards.
    pub(super) fn area(&self, along: [f64; 2], inwards: [f64; 2]) -> [f64; 4] {
        let (a, b) = (self.at(along[0], inwards[0]), self.at(along[1], inwards[1]));
        let (left, top) = (a[0].min(b[0]), a[1].min(b[1]));
        [left, top, a[0].max(b[0]) - left, a[1].max(b[1]) - top]
    }

    /// A mark of `width` px at `along`, between two distances inwards.
    pub(super) fn mark(&self, along: f64, width: f64, inwards: [f64; 2]) -> [f64; 4] {
        self.area([along - width / 2.0, along + width / 2.0], inwards)
    }

    /// One pixel along the scale, the way that x or y grows.
    pub(super) const fn along(&self) -> [f64; 2] {
        if self.is_vertical {
            [0.0, 1.0]
        } else {
            [1.0, 0.0]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lanes() {
        let up = Lane::new([10, 20, 30, 200], Direction::Up, Edge::Right);
        assert_eq!(up.at(50.0, 5.0), [35.0, 50.0]);
        assert_eq!(up.mark(50.0, 2.0, [0.0, 8.0]), [32.0, 49.0, 8.0, 2.0]);
        let right = Lane::new([10, 20, 300, 40], Direction::Right, Edge::Bottom);
        assert_eq!(right.at(50.0, 5.0), [50.0, 55.0]);
        assert_eq!(
            (right.start, right.end, right.growth, right.depth),
            (10.0, 310.0, 1.0, 40.0)
        );
    }
}
