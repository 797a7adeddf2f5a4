//! Where a part's own coordinates lie on the page.

use crate::picture::Point;

/// `x' = xx x + xy y + x0`, `y' = yx x + yy y + y0`; turns and shifts alone, so lengths are kept.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Affine {
    xx: f64,
    xy: f64,
    yx: f64,
    yy: f64,
    x0: f64,
    y0: f64,
}

impl Affine {
    /// Leaves everything where it is.
    pub(crate) const IDENTITY: Self = Self {
        xx: 1.0,
        xy: 0.0,
        yx: 0.0,
        yy: 1.0,
        x0: 0.0,
        y0: 0.0,
    };

    /// Moves by (`x`, `y`), px.
    pub(crate) const fn shift(x: f64, y: f64) -> Self {
        Self {
            x0: x,
            y0: y,
            ..Self::IDENTITY
        }
    }

    /// Turns clock-wise about a point. Through `libm`, so that every machine draws the same bytes.
    pub(crate) fn turn(about: Point, degrees: f64) -> Self {
        let angle = degrees.to_radians();
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        Self {
            xx: cos,
            xy: -sin,
            yx: sin,
            yy: cos,
            x0: about.x - (cos * about.x - sin * about.y),
            y0: about.y - (sin * about.x + cos * about.y),
        }
    }

    /// First `inner`, then this.
    pub(crate) fn after(&self, inner: &Self) -> Self {
        let origin = self.map(Point::new(inner.x0, inner.y0));
        Self {
            xx: self.xx * inner.xx + self.xy * inner.yx,
            xy: self.xx * inner.xy + self.xy * inner.yy,
            yx: self.yx * inner.xx + self.yy * inner.yx,
            yy: self.yx * inner.xy + self.yy * inner.yy,
            x0: origin.x,
            y0: origin.y,
        }
    }

    /// Where a point comes to stand.
    pub(crate) fn map(&self, p: Point) -> Point {
        Point::new(
            self.xx * p.x + self.xy * p.y + self.x0,
            self.yx * p.x + self.yy * p.y + self.y0,
        )
    }

    /// The point that comes to stand at `p`.
    pub(crate) fn unmap(&self, p: Point) -> Point {
        let (x, y) = (p.x - self.x0, p.y - self.y0);
        Point::new(self.xx * x + self.yx * y, self.xy * x + self.yy * y)
    }

    /// Where a way along x goes: (cos, sin) of its angle, y down.
    pub(crate) const fn direction(&self) -> (f64, f64) {
        (self.xx, self.yx)
    }

    /// True when upright rectangles stay upright and the way round.
    pub(crate) fn is_shift(&self) -> bool {
        self.direction() == (1.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_clockwise_takes_up_to_the_right() {
        let about = Point::new(10.0, 20.0);
        let p = Affine::turn(about, 90.0).map(Point::new(10.0, 15.0));
        assert!(
            (p.x - 15.0).abs() < 1e-12 && (p.y - 20.0).abs() < 1e-12,
            "{p:?}"
        );
    }

    #[test]
    fn first_inner_then_outer_and_back() {
        let both = Affine::turn(Point::default(), 90.0).after(&Affine::shift(3.0, 0.0));
        let p = both.map(Point::new(1.0, 0.0));
        assert!((p.x).abs() < 1e-12 && (p.y - 4.0).abs() < 1e-12, "{p:?}");
        let back = both.unmap(p);
        assert!(
            (back.x - 1.0).abs() < 1e-12 && back.y.abs() < 1e-12,
            "{back:?}"
        );
    }

    #[test]
    fn no_turn_keeps_every_bit() {
        let t = Affine::turn(Point::new(0.1, 0.7), 0.0).after(&Affine::shift(0.3, -0.2));
        assert!(t.is_shift());
        assert_eq!(t.map(Point::new(0.0, 0.0)), Point::new(0.3, -0.2));
    }
}
