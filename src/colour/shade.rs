//! Colour that changes along a straight line: the linear gradient of SVG 1.1, 13.2.2, with `pad` beyond its ends.

use std::sync::Arc;

use crate::picture::{Point, Rgb};

/// A colour at a place of a [`Shade`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Where it stands: 0 at the start of the line, 1 at its end.
    pub offset: f64,
    /// Its colour.
    pub color: Rgb,
    /// Its opacity, 0 (nothing is seen of it) to 1.
    pub opacity: f64,
}

/// Colours along the line from one point to another; across the line they stay the same, beyond its ends the first and
/// the last go on. Between two stops, colour and opacity change in equal steps, as encoded (R'G'B', not premultiplied).
///
/// Copies share their stops.
#[derive(Clone, Debug, PartialEq)]
pub struct Shade {
    from: Point,
    to: Point,
    stops: Arc<[Stop]>,
}

impl Shade {
    /// A shade along the line from `from` to `to`, px. Offsets are cut to 0..=1 and each to no less than the one before it,
    /// opacities to 0..=1. `None` without stops and where a number is not finite or the line has no length: then it is
    /// not said how colours change.
    #[must_use]
    pub fn new(from: Point, to: Point, stops: &[Stop]) -> Option<Self> {
        let (dx, dy) = (to.x - from.x, to.y - from.y);
        let length_sq = dx * dx + dy * dy;
        let is_finite = from.x.is_finite() && from.y.is_finite() && length_sq.is_finite();
        let are_numbers = stops
            .iter()
            .all(|s| s.offset.is_finite() && s.opacity.is_finite());
        if stops.is_empty() || !is_finite || length_sq <= 0.0 || !are_numbers {
            return None;
        }
        let mut least = 0.0;
        let in_order = |s: &Stop| {
            least = s.offset.clamp(least, 1.0);
            Stop {
                offset: least,
                color: s.color,
                opacity: s.opacity.clamp(0.0, 1.0),
            }
        };
        let stops = stops.iter().map(in_order).collect();
        Some(Self { from, to, stops })
    }

    /// Start of the line, px.
    #[must_use]
    pub const fn from(&self) -> Point {
        self.from
    }

    /// End of the line, px.
    #[must_use]
    pub const fn to(&self) -> Point {
        self.to
    }

    /// The colours from the start of the line, at least one; offsets never fall.
    #[must_use]
    pub fn stops(&self) -> &[Stop] {
        &self.stops
    }

    /// The colour in the middle of the line: what stands for the shade where there is room for one colour.
    #[must_use]
    pub fn middle(&self) -> Rgb {
        let after = self.stops.iter().position(|s| s.offset > 0.5);
        let (a, b) = match after {
            Some(0) => (self.stops[0], self.stops[0]),
            Some(k) => (self.stops[k - 1], self.stops[k]),
            None => (
                self.stops[self.stops.len() - 1],
                self.stops[self.stops.len() - 1],
            ),
        };
        let share = if b.offset > a.offset {
            (0.5 - a.offset) / (b.offset - a.offset)
        } else {
            0.0
        };
        let mixed = |k: usize| {
            let (from, to) = (f64::from(a.color.0[k]), f64::from(b.color.0[k]));
            (from + (to - from) * share + 0.5) as u8
        };
        Rgb([0, 1, 2].map(mixed))
    }

    /// Where the point `p` stands along the line as `(x, y, rest)`: `x p.x + y p.y + rest` is 0 at its start and 1 at its
    /// end.
    #[must_use]
    pub fn along(&self) -> (f64, f64, f64) {
        let (dx, dy) = (self.to.x - self.from.x, self.to.y - self.from.y);
        let length_sq = dx * dx + dy * dy;
        let (x, y) = (dx / length_sq, dy / length_sq);
        (x, y, -(x * self.from.x + y * self.from.y))
    }

    /// The shade of a picture that is moved by `x' = a x + c y + e`, `y' = b x + d y + f` (the order of SVG's `matrix`).
    /// `None` when nothing is left of the picture's area, or when the result has no finite place.
    ///
    /// Lines of one colour stay lines of one colour. Where the map does not keep right angles, they are no longer at right
    /// angles to the moved line; the line returned is the one that they are at right angles to.
    #[must_use]
    pub fn mapped(&self, [a, b, c, d, e, f]: [f64; 6]) -> Option<Self> {
        let (x, y, rest) = self.along();
        let determinant = a * d - b * c;
        if determinant == 0.0 || !determinant.is_finite() {
            return None;
        }
        // The same function of the picture's points, asked where they came from.
        let (mx, my) = ((d * x - b * y) / determinant, (a * y - c * x) / determinant);
        let rest = rest - mx * e - my * f;
        let length_sq = mx * mx + my * my;
        // The start nearest to where the old one lands, so that numbers stay small.
        let old = Point::new(
            a * self.from.x + c * self.from.y + e,
            b * self.from.x + d * self.from.y + f,
        );
        let off = (mx * old.x + my * old.y + rest) / length_sq;
        let from = Point::new(old.x - mx * off, old.y - my * off);
        let to = Point::new(from.x + mx / length_sq, from.y + my / length_sq);
        let is_placed = [from.x, from.y, to.x, to.y].iter().all(|v| v.is_finite()) && from != to;
        is_placed.then(|| Self {
            from,
            to,
            stops: Arc::clone(&self.stops),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLACK: Rgb = Rgb([0; 3]);
    const WHITE: Rgb = Rgb([255; 3]);

    fn stop(offset: f64, color: Rgb) -> Stop {
        Stop {
            offset,
            color,
            opacity: 1.0,
        }
    }

    fn near(a: Point, b: Point) -> bool {
        (a.x - b.x).abs() < 1e-9 && (a.y - b.y).abs() < 1e-9
    }

    #[test]
    fn what_says_nothing_is_no_shade() {
        let (p, q) = (Point::new(0.0, 0.0), Point::new(3.0, 4.0));
        let stops = [stop(0.0, BLACK), stop(1.0, WHITE)];
        assert!(Shade::new(p, q, &stops).is_some());
        assert!(Shade::new(p, p, &stops).is_none());
        assert!(Shade::new(p, q, &[]).is_none());
        assert!(Shade::new(p, Point::new(f64::NAN, 0.0), &stops).is_none());
        assert!(Shade::new(p, q, &[stop(f64::INFINITY, BLACK)]).is_none());
    }

    /// SVG 1.1, 13.2.4: an offset below an earlier one is taken as the earlier one.
    #[test]
    fn offsets_never_fall() {
        let stops = [stop(-1.0, BLACK), stop(0.6, WHITE), stop(0.4, BLACK)];
        let shade =
            Shade::new(Point::new(0.0, 0.0), Point::new(1.0, 0.0), &stops).expect("it is one");
        let offsets: Vec<f64> = shade.stops().iter().map(|s| s.offset).collect();
        assert_eq!(offsets, [0.0, 0.6, 0.6]);
        assert_eq!(shade.middle(), Rgb([213; 3])); // 5/6 of 255 is 212.5
    }

    #[test]
    fn a_map_keeps_the_colour_of_every_point() {
        let stops = [stop(0.0, BLACK), stop(1.0, WHITE)];
        let shade =
            Shade::new(Point::new(1.0, 2.0), Point::new(5.0, 3.0), &stops).expect("it is one");
        let turned = shade
            .mapped([0.0, 1.0, -1.0, 0.0, 10.0, 0.0])
            .expect("it stays");
        assert!(near(turned.from(), Point::new(8.0, 1.0)));
        assert!(near(turned.to(), Point::new(7.0, 5.0)));
        let matrix = [2.0, 0.5, -0.7, 1.5, 3.0, -4.0];
        let sheared = shade.mapped(matrix).expect("it stays");
        let ((x, y, rest), (mx, my, m_rest)) = (shade.along(), sheared.along());
        for p in [
            Point::new(0.0, 0.0),
            Point::new(7.0, -3.0),
            Point::new(2.0, 9.0),
        ] {
            let [a, b, c, d, e, f] = matrix;
            let q = Point::new(a * p.x + c * p.y + e, b * p.x + d * p.y + f);
            let (before, after) = (x * p.x + y * p.y + rest, mx * q.x + my * q.y + m_rest);
            assert!((before - after).abs() < 1e-9, "{before} {after}");
        }
        assert!(shade.mapped([1.0, 2.0, 2.0, 4.0, 0.0, 0.0]).is_none());
    }
}
