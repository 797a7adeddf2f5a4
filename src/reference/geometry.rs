//! Where a position on the display lies in the captured picture.
//!
//! A capture card scales and shifts each axis; a camera sees the display at an angle, which is a homography (R. Hartley, A.
//! Zisserman, Multiple View Geometry in Computer Vision, 2nd ed. 2004, section 2.3).

use super::glyphs::pixels_of;
use super::scene::Bounds;
use crate::picture::{Point, Rect};

/// The way from the display to the picture: `x' = (sx x + kx y + tx) / w`, `y' = (ky x + sy y + ty) / w` with
/// `w = 1 + px x + py y`, where `skew` is `[kx, ky]` and `perspective` is `[px, py]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Geometry {
    /// Horizontal scale, above 0.
    pub sx: f64,
    /// Vertical scale, above 0.
    pub sy: f64,
    /// Horizontal shift, px.
    pub tx: f64,
    /// Vertical shift, px.
    pub ty: f64,
    /// What a column moves by along a row's axis, and the other way round: 0 unless the picture is turned or sheared.
    pub skew: [f64; 2],
    /// How distance grows across and down the display, 1/px: 0 unless it is seen at an angle.
    pub perspective: [f64; 2],
}

/// Parts of the display that are so much nearer to the horizon than its own origin are not drawn: beyond it, what lies
/// behind the camera would be.
const NEAREST_HORIZON: f64 = 0.05;
/// Where nothing else ends it, the plane of the display ends here, px.
const FAR_PX: f64 = 1e5;

/// A scale that is off by less comes of sampling an analogue picture, not of resampling a digital one: converters are told to
/// take so many samples a line, and are off by a few in a thousand.
const NATIVE_SCALE: f64 = 0.015;

/// Corners that are so near to those of a rectangle are those of one, px.
const ROUNDING_PX: f64 = 1e-6;

/// Rows of the picture that are looked at together where the side of a part of the display crosses them, px.
const BAND_PX: i32 = 4;
/// What lies no farther outside is inside, px.
const INSIDE_PX: f64 = 0.01;

/// Where the row `y` crosses an outline without dents; `None` where it does not.
fn span_at(outline: &[Point], y: f64) -> Option<(f64, f64)> {
    let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
    for (k, p) in outline.iter().enumerate() {
        let q = outline[(k + 1) % outline.len()];
        if (p.y <= y) != (q.y <= y) {
            let x = p.x + (y - p.y) / (q.y - p.y) * (q.x - p.x);
            (left, right) = (left.min(x), right.max(x));
        }
    }
    (left < right).then_some((left, right))
}

impl Geometry {
    /// Every pixel stays where it is.
    pub const IDENTITY: Self = Self::upright([1.0, 1.0], [0.0, 0.0]);

    /// Scale and shift of each axis, px: x first.
    #[must_use]
    pub const fn upright(scale: [f64; 2], shift_px: [f64; 2]) -> Self {
        Self {
            sx: scale[0],
            sy: scale[1],
            tx: shift_px[0],
            ty: shift_px[1],
            skew: [0.0; 2],
            perspective: [0.0; 2],
        }
    }

    /// The geometry that brings the corners of a display of `size` px (top left, top right, bottom right, bottom left)
    /// to `corners`; `None` unless these are the corners of a convex quadrilateral that is not mirrored.
    ///
    /// # Source
    /// P. Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, section 2.2.3: unit square to quadrilateral.
    #[must_use]
    pub fn from_corners(size: (f64, f64), corners: [Point; 4]) -> Option<Self> {
        let [a, b, c, d] = corners;
        let turns = (0..4).map(|k| {
            let (p, q, r) = (corners[k], corners[(k + 1) % 4], corners[(k + 2) % 4]);
            (q.x - p.x) * (r.y - q.y) - (q.y - p.y) * (r.x - q.x)
        });
        // A side or corner of less than a pixel is no display.
        if !turns.into_iter().all(|turn| turn.is_finite() && turn > 1.0) {
            return None;
        }
        let (sum_x, sum_y) = (a.x - b.x + c.x - d.x, a.y - b.y + c.y - d.y);
        let (dx1, dx2, dy1, dy2) = (b.x - c.x, d.x - c.x, b.y - c.y, d.y - c.y);
        let whole = dx1 * dy2 - dx2 * dy1;
        let g = (sum_x * dy2 - dx2 * sum_y) / whole;
        let h = (dx1 * sum_y - sum_x * dy1) / whole;
        let (width, height) = size;
        let found = Self {
            sx: (b.x - a.x + g * b.x) / width,
            sy: (d.y - a.y + h * d.y) / height,
            tx: a.x,
            ty: a.y,
            skew: [
                (d.x - a.x + h * d.x) / height,
                (b.y - a.y + g * b.y) / width,
            ],
            perspective: [g / width, h / height],
        };
        // Rounding must not turn a rectangle.
        let upright = found.nearest_upright(size);
        let there = upright.corners(size);
        let mut off = corners
            .iter()
            .zip(&there)
            .map(|(p, q)| libm::hypot(p.x - q.x, p.y - q.y));
        Some(if off.all(|px| px < ROUNDING_PX) {
            upright
        } else {
            found
        })
    }

    /// Where the corners of a display of `size` px lie: top left, top right, bottom right, bottom left.
    #[must_use]
    pub fn corners(&self, (width, height): (f64, f64)) -> [Point; 4] {
        [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
            .map(|(x, y)| self.map(Point::new(x, y)))
    }

    /// How far the corners of a display of `size` px lie from where `other` has them, px along x and y.
    #[must_use]
    pub fn corners_from(&self, other: &Self, size: (usize, usize)) -> [Point; 4] {
        let size = (size.0 as f64, size.1 as f64);
        let (own, there) = (self.corners(size), other.corners(size));
        [0, 1, 2, 3].map(|k| Point::new(own[k].x - there[k].x, own[k].y - there[k].y))
    }

    /// Whether rows stay rows and columns columns, at the same scale everywhere.
    #[must_use]
    pub fn is_upright(&self) -> bool {
        self.skew == [0.0; 2] && self.perspective == [0.0; 2]
    }

    /// The same picture at `factor` times the size.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            sx: self.sx * factor,
            sy: self.sy * factor,
            tx: self.tx * factor,
            ty: self.ty * factor,
            skew: self.skew.map(|v| v * factor),
            perspective: self.perspective,
        }
    }

    /// The scale and shift of each axis that bring a display of `size` px nearest to where this does.
    #[must_use]
    pub fn nearest_upright(&self, size: (f64, f64)) -> Self {
        let [a, b, c, d] = self.corners(size);
        let [left, right] = [(a.x + d.x) / 2.0, (b.x + c.x) / 2.0];
        let [top, bottom] = [(a.y + b.y) / 2.0, (c.y + d.y) / 2.0];
        Self::upright(
            [(right - left) / size.0, (bottom - top) / size.1],
            [left, top],
        )
    }

    /// This, and then in the picture `motion`: rows of a homography of positions (x, y, 1).
    #[must_use]
    pub fn then(&self, motion: [[f64; 3]; 3]) -> Self {
        let own = [
            [self.sx, self.skew[0], self.tx],
            [self.skew[1], self.sy, self.ty],
            [self.perspective[0], self.perspective[1], 1.0],
        ];
        let product = motion.map(|row| {
            [0, 1, 2].map(|k| row[0] * own[0][k] + row[1] * own[1][k] + row[2] * own[2][k])
        });
        // A homography has no scale of its own: the display's origin is 1 away.
        let [[sx, kx, tx], [ky, sy, ty], [px, py, _]] =
            product.map(|row| row.map(|v| v / product[2][2]));
        Self {
            sx,
            sy,
            tx,
            ty,
            skew: [kx, ky],
            perspective: [px, py],
        }
    }

    /// Whether the pixels of the picture are the display's own, but for a shift and what an unlike clock makes of a scale.
    #[must_use]
    pub fn is_native(&self) -> bool {
        let is_near = |scale: f64| libm::fabs(scale - 1.0) < NATIVE_SCALE;
        self.is_upright() && is_near(self.sx) && is_near(self.sy)
    }

    fn depth(&self, p: Point) -> f64 {
        1.0 + self.perspective[0] * p.x + self.perspective[1] * p.y
    }

    /// Where `p` lands.
    #[must_use]
    pub fn map(&self, p: Point) -> Point {
        if self.is_upright() {
            return Point::new(self.sx * p.x + self.tx, self.sy * p.y + self.ty);
        }
        let w = self.depth(p).max(NEAREST_HORIZON / 2.0);
        Point::new(
            (self.sx * p.x + self.skew[0] * p.y + self.tx) / w,
            (self.skew[1] * p.x + self.sy * p.y + self.ty) / w,
        )
    }

    /// What a step of 1 px across, and one down, from `p` is in the picture, px.
    #[must_use]
    pub fn steps(&self, p: Point) -> [Point; 2] {
        if self.is_upright() {
            return [Point::new(self.sx, 0.0), Point::new(0.0, self.sy)];
        }
        let (w, at) = (self.depth(p).max(NEAREST_HORIZON / 2.0), self.map(p));
        let ([kx, ky], [px, py]) = (self.skew, self.perspective);
        [
            Point::new((self.sx - px * at.x) / w, (ky - px * at.y) / w),
            Point::new((kx - py * at.x) / w, (self.sy - py * at.y) / w),
        ]
    }

    /// How long a step of 1 px is at `p` in the picture, across and down, px.
    #[must_use]
    pub fn scale_at(&self, p: Point) -> [f64; 2] {
        self.steps(p).map(|s| libm::hypot(s.x, s.y))
    }

    /// Where a position in the picture lies on the display, as three sums over (x, y, 1): the third divides the others.
    ///
    /// # Source
    /// The adjugate of the matrix: a homography has no scale of its own.
    pub(crate) fn inverse(&self) -> [[f64; 3]; 3] {
        let (a, b, c) = (self.sx, self.skew[0], self.tx);
        let (d, e, f) = (self.skew[1], self.sy, self.ty);
        let [g, h] = self.perspective;
        [
            [e - f * h, c * h - b, b * f - c * e],
            [f * g - d, a - c * g, c * d - a * f],
            [d * h - e * g, b * g - a * h, a * e - b * d],
        ]
    }

    /// Bounds of where a rectangle lands.
    #[must_use]
    pub fn map_bounds(&self, b: &Bounds) -> Bounds {
        let mut out = Bounds::EMPTY;
        if !(b.left <= b.right && b.top <= b.bottom) {
            return out;
        }
        if self.is_upright() {
            out.include(self.map(Point::new(b.left, b.top)));
            out.include(self.map(Point::new(b.right, b.bottom)));
        } else {
            for p in self.ahead(b) {
                out.include(self.map(p));
            }
        }
        out
    }

    /// The pixels of the picture where a rectangle of the display lands: its sides to the nearest pixel, or all that it
    /// touches where it is seen at an angle.
    #[must_use]
    pub fn map_rect(&self, rect: Rect) -> Rect {
        let b = self.map_bounds(&Bounds::from_rect([
            rect.x,
            rect.y,
            rect.width,
            rect.height,
        ]));
        if !self.is_upright() {
            return pixels_of(&b);
        }
        let [x0, y0, x1, y1] = [b.left, b.top, b.right, b.bottom].map(|v| libm::round(v) as i32);
        Rect::new(x0, y0, x1 - x0, y1 - y0)
    }

    /// The pixels of `area` (of the picture) that are not wholly inside a rectangle of the display, as rectangles that share
    /// none: what is at most a hundredth of a pixel outside is inside.
    #[must_use]
    pub fn outside(&self, rect: Rect, area: Rect) -> Vec<Rect> {
        let outline = self.ahead(&Bounds::from_rect([
            rect.x,
            rect.y,
            rect.width,
            rect.height,
        ]));
        let outline: Vec<Point> = outline.into_iter().map(|p| self.map(p)).collect();
        let seen = super::parts::bounds(&outline);
        let is_upright = self.is_upright();
        let mut out: Vec<Rect> = Vec::new();
        let mut y = area.y;
        while y < area.bottom() {
            let height = BAND_PX.min(area.bottom() - y);
            let edges = [f64::from(y), f64::from(y + height)];
            let is_within = edges[0] >= seen.top - INSIDE_PX && edges[1] <= seen.bottom + INSIDE_PX;
            let span = if is_upright {
                is_within.then_some((seen.left, seen.right))
            } else {
                // Of an outline without dents, what lies inside at both edges of a band lies inside between them.
                let both = span_at(&outline, edges[0]).zip(span_at(&outline, edges[1]));
                both.map(|(a, b)| (a.0.max(b.0), a.1.min(b.1)))
            };
            let cut = |v: f64| v.clamp(f64::from(area.x), f64::from(area.right())) as i32;
            let (left, right) = match span {
                Some((left, right)) if left < right => (
                    cut(libm::ceil(left - INSIDE_PX)),
                    cut(libm::floor(right + INSIDE_PX)),
                ),
                _ => (area.x, area.x),
            };
            for r in [
                Rect::new(area.x, y, left - area.x, height),
                Rect::new(right, y, area.right() - right, height),
            ] {
                // Bands of the same span are one rectangle.
                let above = out.iter_mut().rev().take(2);
                let above = above
                    .into_iter()
                    .find(|a| (a.x, a.width, a.bottom()) == (r.x, r.width, r.y));
                match above {
                    Some(above) => {
                        *above = Rect::new(above.x, above.y, above.width, above.height + r.height);
                    }
                    None if !r.is_empty() => out.push(r),
                    None => {}
                }
            }
            y += height;
        }
        out
    }

    /// The outline of `bounds` on the display, as far as it is seen at all.
    fn ahead(&self, bounds: &Bounds) -> Vec<Point> {
        let cut = |v: f64| v.clamp(-FAR_PX, FAR_PX);
        let [left, top, right, bottom] =
            [bounds.left, bounds.top, bounds.right, bounds.bottom].map(cut);
        let corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
            .map(|(x, y)| Point::new(x, y));
        let mut out = Vec::with_capacity(5);
        for k in 0..4 {
            let (p, q) = (corners[k], corners[(k + 1) % 4]);
            let (u, v) = (
                self.depth(p) - NEAREST_HORIZON,
                self.depth(q) - NEAREST_HORIZON,
            );
            if u >= 0.0 {
                out.push(p);
            }
            if (u >= 0.0) != (v >= 0.0) {
                let t = u / (u - v);
                out.push(Point::new(p.x + t * (q.x - p.x), p.y + t * (q.y - p.y)));
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn far(a: Point, b: Point) -> f64 {
        libm::hypot(a.x - b.x, a.y - b.y)
    }

    prop_compose! {
        /// A display of 800 x 600 px, seen from anywhere that keeps its corners apart.
        fn corners()(
            scale in 0.3f64..3.0,
            shift in [-300.0f64..300.0, -300.0f64..300.0],
            moved in proptest::array::uniform8(-80.0f64..80.0),
        ) -> [Point; 4] {
            let own = [(0.0, 0.0), (800.0, 0.0), (800.0, 600.0), (0.0, 600.0)];
            std::array::from_fn(|k| Point::new(
                scale * (own[k].0 + moved[2 * k]) + shift[0],
                scale * (own[k].1 + moved[2 * k + 1]) + shift[1],
            ))
        }
    }

    proptest! {
        #[test]
        fn corners_go_where_they_are_sent_and_everything_comes_back(
            corners in corners(),
            at in [0.0f64..800.0, 0.0f64..600.0],
        ) {
            let g = Geometry::from_corners((800.0, 600.0), corners).expect("the corners are apart");
            for (have, want) in g.corners((800.0, 600.0)).into_iter().zip(corners) {
                prop_assert!(far(have, want) < 1e-6, "{:?} {:?}", have, want);
            }
            let p = g.map(Point::new(at[0], at[1]));
            let [x, y, w] = g.inverse().map(|row| row[0] * p.x + row[1] * p.y + row[2]);
            prop_assert!(far(Point::new(x / w, y / w), Point::new(at[0], at[1])) < 1e-6);
        }

        #[test]
        fn steps_are_what_a_small_step_makes(
            corners in corners(),
            at in [10.0f64..790.0, 10.0f64..590.0],
        ) {
            let g = Geometry::from_corners((800.0, 600.0), corners).expect("the corners are apart");
            let p = Point::new(at[0], at[1]);
            let step = 1e-4;
            for (told, (dx, dy)) in g.steps(p).into_iter().zip([(step, 0.0), (0.0, step)]) {
                let (a, b) = (g.map(Point::new(p.x - dx, p.y - dy)), g.map(Point::new(p.x + dx, p.y + dy)));
                let made = Point::new((b.x - a.x) / (2.0 * step), (b.y - a.y) / (2.0 * step));
                prop_assert!(far(told, made) < 1e-5, "{:?} {:?}", told, made);
            }
        }

        #[test]
        fn a_motion_of_the_picture_comes_after(corners in corners(), at in [0.0f64..800.0, 0.0f64..600.0]) {
            let g = Geometry::from_corners((800.0, 600.0), corners).expect("the corners are apart");
            let moved = g.then([[1.01, 0.02, 3.0], [-0.03, 0.99, -4.0], [1e-5, -2e-5, 1.0]]);
            let p = Point::new(at[0], at[1]);
            let (q, have) = (g.map(p), moved.map(p));
            let w = 1.0 + 1e-5 * q.x - 2e-5 * q.y;
            let want = Point::new(
                (1.01 * q.x + 0.02 * q.y + 3.0) / w,
                (-0.03 * q.x + 0.99 * q.y - 4.0) / w,
            );
            prop_assert!(far(have, want) < 1e-6, "{:?} {:?}", have, want);
        }
    }

    proptest! {
        #[test]
        fn outside_is_what_is_not_wholly_on_the_display(corners in corners(), at in [0i32..400, 0i32..300]) {
            let g = Geometry::from_corners((800.0, 600.0), corners).expect("the corners are apart");
            let area = Rect::new(-20, -10, 420, 310);
            let outside = g.outside(Rect::new(0, 0, 800, 600), area);
            let (x, y) = (at[0], at[1]);
            let count = outside.iter().filter(|r| r.contains(x, y)).count();
            prop_assert!(count <= 1, "{} rectangles have ({}, {})", count, x, y);
            let corner = |dx: i32, dy: i32| {
                let rows = g.inverse();
                let (x, y) = (f64::from(x + dx), f64::from(y + dy));
                let [u, v, w] = rows.map(|row| row[0] * x + row[1] * y + row[2]);
                (-0.1..=800.1).contains(&(u / w)) && (-0.1..=600.1).contains(&(v / w))
            };
            let is_inside = [(0, 0), (1, 0), (0, 1), (1, 1)].iter().all(|&(dx, dy)| corner(dx, dy));
            prop_assert!(count == 1 || is_inside, "({}, {}) is outside", x, y);
            // Of what is inside, only bands that a side crosses are lost.
            let far = outside.iter().map(|r| r.area()).sum::<i64>() - area.area() + inside_px(&g, area);
            let sides = 2 * i64::from(area.height) * (2 + i64::from(BAND_PX)) + 2 * i64::from(area.width) * i64::from(BAND_PX);
            prop_assert!((0..=sides).contains(&far), "{} px of {} at the sides", far, sides);
        }
    }

    /// Pixels of `area` whose middle is on the display of 800 x 600 px.
    fn inside_px(g: &Geometry, area: Rect) -> i64 {
        let rows = g.inverse();
        let is_inside = |x: i32, y: i32| {
            let (x, y) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            let [u, v, w] = rows.map(|row| row[0] * x + row[1] * y + row[2]);
            (0.0..800.0).contains(&(u / w)) && (0.0..600.0).contains(&(v / w))
        };
        let columns = area.x..area.right();
        let rows = area.y..area.bottom();
        rows.flat_map(|y| columns.clone().map(move |x| (x, y)))
            .filter(|(x, y)| is_inside(*x, *y))
            .count() as i64
    }

    #[test]
    fn an_upright_display_has_borders_of_whole_pixels() {
        let g = Geometry::upright([0.5, 0.5], [10.25, 4.0]);
        let outside = g.outside(Rect::new(0, 0, 80, 40), Rect::new(0, 0, 60, 30));
        // From 10.25 to 50.25 and from 4 to 24: columns 11 to 49 and rows 4 to 23 are wholly inside.
        let px: i64 = outside.iter().map(Rect::area).sum();
        assert_eq!(60 * 30 - px, 39 * 20, "{outside:?}");
        assert!(
            Geometry::IDENTITY
                .outside(Rect::new(0, 0, 60, 30), Rect::new(0, 0, 60, 30))
                .is_empty()
        );
    }

    #[test]
    fn what_lies_behind_the_camera_is_cut_off() {
        let mut g = Geometry::IDENTITY;
        g.perspective = [-0.01, 0.0];
        // The horizon is the column at 100 px.
        let seen = g.ahead(&Bounds::from_rect([0, 0, 500, 10]));
        assert!(seen.iter().all(|p| p.x < 100.0), "{seen:?}");
        assert!(g.ahead(&Bounds::from_rect([200, 0, 500, 10])).is_empty());
        let bounds = g.map_bounds(&Bounds::from_rect([0, 0, 50, 10]));
        assert_eq!((bounds.left, bounds.right), (0.0, 100.0));
        assert_eq!(bounds.bottom, 20.0);
    }

    #[test]
    fn the_corners_of_a_rectangle_are_upright() {
        let size = (1024.0, 768.0);
        for (scale, shift) in [
            ([0.960_95, 0.960_98], [15.99, 11.98]),
            ([1.0 / 3.0, 0.7], [-7.3, 1e3 / 7.0]),
        ] {
            let upright = Geometry::upright(scale, shift);
            let found =
                Geometry::from_corners(size, upright.corners(size)).expect("they are apart");
            assert!(found.is_upright(), "{found:?}");
            let [off, ..] = found.corners_from(&upright, (1024, 768));
            assert!(off.x.abs() + off.y.abs() < 1e-9, "{found:?}");
        }
    }

    #[test]
    fn corners_that_cross_or_are_mirrored_are_refused() {
        let p = |x: f64, y: f64| Point::new(x, y);
        let size = (800.0, 600.0);
        let square = [p(0.0, 0.0), p(9.0, 0.0), p(9.0, 9.0), p(0.0, 9.0)];
        assert_eq!(
            Geometry::from_corners((9.0, 9.0), square),
            Some(Geometry::IDENTITY)
        );
        let [a, b, c, d] = square;
        for bad in [
            [b, a, d, c],
            [a, c, b, d],
            [a, a, c, d],
            [a, b, p(f64::NAN, 9.0), d],
        ] {
            assert_eq!(Geometry::from_corners(size, bad), None, "{bad:?}");
        }
    }
}
