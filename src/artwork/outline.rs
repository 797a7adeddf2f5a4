//! Paths of the SVG reader as closed outlines of straight pieces, px.

use kurbo::{
    Affine, BezPath, Cap, Dashes, Join, ParamCurveArclen as _, PathEl, Point as Exact, StrokeOpts,
};
use usvg::tiny_skia_path::{self, PathSegment};
use usvg::{LineCap, LineJoin};

use super::region::FAR_PX;
use crate::picture::Point;

/// How far straight pieces may stray from a curve, px.
const FLATNESS_PX: f64 = 0.01;
/// Share of a quarter circle's tangents at which its cubic has its control points: 4/3 (sqrt(2) - 1).
const KAPPA: f64 = 0.552_284_749_830_793_4;
/// Most dashes that one path may have.
const DASHES_MAX: f64 = 10_000.0;

/// SVG's `matrix(a b c d e f)`.
pub(super) type Matrix = [f64; 6];

/// The matrix of the SVG reader.
pub(super) fn matrix(t: usvg::Transform) -> Matrix {
    [t.sx, t.ky, t.kx, t.sy, t.tx, t.ty].map(f64::from)
}

/// First `inner`, then `outer`.
pub(super) fn product(outer: Matrix, inner: Matrix) -> Matrix {
    (Affine::new(outer) * Affine::new(inner)).as_coeffs()
}

/// The path in its own coordinates, with quarters of ellipses as finer curves.
///
/// The SVG reader writes a circle as four cubics, which stray by 0.0003 of its radius, a level of an edge pixel and more
/// on a dial. Cubics that are quarters of an ellipse to the last digit are taken for what they stand for.
pub(super) fn path(data: &tiny_skia_path::Path) -> BezPath {
    let exact = |p: tiny_skia_path::Point| Exact::new(f64::from(p.x), f64::from(p.y));
    let mut out = BezPath::new();
    let (mut at, mut start) = (Exact::ZERO, Exact::ZERO);
    for segment in data.segments() {
        match segment {
            PathSegment::MoveTo(p) => {
                (at, start) = (exact(p), exact(p));
                out.move_to(at);
            }
            PathSegment::LineTo(p) => {
                at = exact(p);
                out.line_to(at);
            }
            PathSegment::QuadTo(c, p) => {
                at = exact(p);
                out.quad_to(exact(c), at);
            }
            PathSegment::CubicTo(c, d, p) => {
                let (c, d, p) = (exact(c), exact(d), exact(p));
                if let Some(corner) = quarter_corner(at, c, d, p) {
                    quarter(at, corner, p, &mut out);
                } else {
                    out.curve_to(c, d, p);
                }
                at = p;
            }
            PathSegment::Close => {
                at = start;
                out.close_path();
            }
        }
    }
    out
}

/// Where the tangents at the ends of a quarter of an ellipse meet; `None` for every other cubic.
fn quarter_corner(a: Exact, c: Exact, d: Exact, b: Exact) -> Option<Exact> {
    let (from_a, from_b) = (a + (c - a) / KAPPA, b + (d - b) / KAPPA);
    // Points are single precision: some units in the last place of the largest number.
    let largest = [a, b, c, d]
        .iter()
        .fold(0.0f64, |m, p| m.max(p.x.abs()).max(p.y.abs()));
    let is_turning = (c - a).cross(d - b).abs() > 1e-9 * largest * largest;
    (is_turning && from_a.distance(from_b) <= 8.0 * f64::from(f32::EPSILON) * largest)
        .then(|| from_a.midpoint(from_b))
}

/// A quarter of an ellipse from `a` to `b` whose tangents there meet in `corner`, in four cubics.
fn quarter(a: Exact, corner: Exact, b: Exact, out: &mut BezPath) {
    const PARTS: u32 = 4;
    let step = std::f64::consts::FRAC_PI_2 / f64::from(PARTS);
    let (u, v) = (corner - b, corner - a);
    let center = a - u;
    // Where it is and how fast it goes after a turn by `angle`.
    let place = |angle: f64| {
        let (s, c) = libm::sincos(angle);
        (center + u * c + v * s, v * c - u * s)
    };
    let arm = 4.0 / 3.0 * libm::tan(step / 4.0);
    for k in 0..PARTS {
        let (from, speed) = place(step * f64::from(k));
        let (to, speed_to) = place(step * f64::from(k + 1));
        let to = if k + 1 == PARTS { b } else { to };
        out.curve_to(from + speed * arm, to - speed_to * arm, to);
    }
}

/// The area that a stroke covers, as a path; non-zero rule. Curves stray less than a fifth of the flatness once they are
/// `scale` times as large.
///
/// # Errors
/// A pattern of dashes so fine that it would take more than 10,000 of them.
pub(super) fn stroke(path: &BezPath, stroke: &usvg::Stroke, scale: f64) -> Result<BezPath, String> {
    let cap = match stroke.linecap() {
        LineCap::Butt => Cap::Butt,
        LineCap::Round => Cap::Round,
        LineCap::Square => Cap::Square,
    };
    let join = match stroke.linejoin() {
        LineJoin::Miter | LineJoin::MiterClip => Join::Miter,
        LineJoin::Round => Join::Round,
        LineJoin::Bevel => Join::Bevel,
    };
    let mut dashes = Dashes::new();
    if let Some(list) = stroke.dasharray() {
        dashes.extend(list.iter().map(|&v| f64::from(v)));
        let period: f64 = dashes.iter().sum();
        let length: f64 = path
            .segments()
            .map(|s| s.arclen(0.1 * period.max(1e-6)))
            .sum();
        let count = length / period * dashes.len() as f64;
        if count.is_nan() || count > DASHES_MAX {
            return Err(format!(
                "more than {DASHES_MAX} dashes are not drawn; make them longer"
            ));
        }
    }
    let style = kurbo::Stroke {
        width: f64::from(stroke.width().get()),
        join,
        miter_limit: f64::from(stroke.miterlimit().get()),
        start_cap: cap,
        end_cap: cap,
        dash_pattern: dashes,
        dash_offset: f64::from(stroke.dashoffset()),
    };
    let tolerance = FLATNESS_PX / 5.0 / scale;
    Ok(kurbo::stroke(
        path,
        &style,
        &StrokeOpts::default(),
        tolerance,
    ))
}

/// The path moved by `matrix`, as closed contours of straight pieces. `None` where it reaches farther than [`FAR_PX`] from
/// the origin: cutting such curves would take for ever.
pub(super) fn contours(path: &BezPath, matrix: Matrix) -> Option<Vec<Vec<Point>>> {
    let moved = Affine::new(matrix) * path.clone();
    let is_near = |p: Exact| p.x.abs() <= FAR_PX && p.y.abs() <= FAR_PX;
    let is_element_near = |element: &PathEl| match *element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => is_near(p),
        PathEl::QuadTo(c, p) => is_near(c) && is_near(p),
        PathEl::CurveTo(c, d, p) => is_near(c) && is_near(d) && is_near(p),
        PathEl::ClosePath => true,
    };
    if !moved.elements().iter().all(is_element_near) {
        return None;
    }
    let mut out: Vec<Vec<Point>> = Vec::new();
    kurbo::flatten(moved, FLATNESS_PX, |element| match element {
        PathEl::MoveTo(p) => out.push(vec![Point::new(p.x, p.y)]),
        PathEl::LineTo(p) => {
            if let Some(last) = out.last_mut() {
                last.push(Point::new(p.x, p.y));
            }
        }
        // There are no curves left, and every contour is closed.
        PathEl::QuadTo(..) | PathEl::CurveTo(..) | PathEl::ClosePath => {}
    });
    out.retain(|c| c.len() > 2);
    Some(out)
}

/// How many times larger things become, at most.
pub(super) fn largest_scale([a, b, c, d, ..]: Matrix) -> f64 {
    libm::hypot(a, b).max(libm::hypot(c, d)) * std::f64::consts::SQRT_2
}

#[cfg(test)]
mod tests {
    use super::*;

    const IDENTITY: Matrix = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];

    /// A circle of four cubics, as the SVG reader writes it.
    fn circle(x: f32, y: f32, r: f32) -> tiny_skia_path::Path {
        let k = r * KAPPA as f32;
        let mut pen = tiny_skia_path::PathBuilder::new();
        pen.move_to(x + r, y);
        pen.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
        pen.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
        pen.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
        pen.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
        pen.close();
        pen.finish().expect("it is a path")
    }

    #[test]
    fn a_large_circle_is_round_to_the_flatness() {
        let path = path(&circle(512.0, 384.0, 370.0));
        let contours = contours(&path, IDENTITY).expect("it is near");
        assert_eq!(contours.len(), 1);
        for p in &contours[0] {
            let off = (p.x - 512.0).hypot(p.y - 384.0) - 370.0;
            assert!(off.abs() < 0.002, "a corner is {off} px off");
        }
        for (p, q) in contours[0].iter().zip(&contours[0][1..]) {
            let middle = ((p.x + q.x) / 2.0 - 512.0).hypot((p.y + q.y) / 2.0 - 384.0);
            assert!(
                (middle - 370.0).abs() < 0.0101,
                "a chord is {} px off",
                middle - 370.0
            );
        }
    }

    #[test]
    fn other_cubics_stay_what_they_are() {
        let (a, b) = (Exact::new(10.0, 0.0), Exact::new(0.0, 10.0));
        assert!(quarter_corner(a, Exact::new(10.0, 5.52), Exact::new(5.52, 10.0), b).is_none());
        assert!(quarter_corner(a, Exact::new(8.0, 2.0), Exact::new(2.0, 8.0), b).is_none());
    }
}
