//! Outlines without dents: hulls of points, and what lies in two of them.

use crate::picture::Point;
use crate::reference::scene::Bounds;

fn cross(o: Point, a: Point, b: Point) -> f64 {
    (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x)
}

/// The smallest outline without dents that holds all points.
///
/// # Source
/// Andrew's monotone chain (A. M. Andrew, 1979).
pub(crate) fn hull(mut points: Vec<Point>) -> Vec<Point> {
    points.retain(|p| p.x.is_finite() && p.y.is_finite());
    points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let half = |points: &mut dyn Iterator<Item = &Point>| {
        let mut chain: Vec<Point> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..] {
                if cross(a, b, *p) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(*p);
        }
        chain.pop();
        chain
    };
    let mut all = half(&mut points.iter());
    all.extend(half(&mut points.iter().rev()));
    all
}

/// `contour` cut to `piece`, an outline without dents of either direction; empty when nothing is left.
///
/// The area that an even accumulation of edges gives is exact, though a contour with dents may get seams of no width.
///
/// # Source
/// I. E. Sutherland and G. W. Hodgman, Reentrant polygon clipping, 1974.
pub(crate) fn cut(
    contour: &[Point],
    piece: &[Point],
    out: &mut Vec<Point>,
    scratch: &mut Vec<Point>,
) {
    out.clear();
    if piece.len() < 3 {
        return;
    }
    out.extend_from_slice(contour);
    let turning: f64 = (1..piece.len() - 1)
        .map(|k| cross(piece[0], piece[k], piece[k + 1]))
        .sum();
    for (k, &from) in piece.iter().enumerate() {
        let to = piece[(k + 1) % piece.len()];
        let inside = |p: Point| cross(from, to, p) * turning;
        std::mem::swap(out, scratch);
        out.clear();
        let Some(&last) = scratch.last() else { return };
        let mut before = (last, inside(last));
        for &p in scratch.iter() {
            let now = (p, inside(p));
            if (before.1 >= 0.0) != (now.1 >= 0.0) {
                let part = before.1 / (before.1 - now.1);
                out.push(Point::new(
                    before.0.x + (p.x - before.0.x) * part,
                    before.0.y + (p.y - before.0.y) * part,
                ));
            }
            if now.1 >= 0.0 {
                out.push(p);
            }
            before = now;
        }
    }
}

/// [`cut`] in memory of its own.
pub(crate) fn common(a: &[Point], b: &[Point]) -> Vec<Point> {
    let (mut out, mut scratch) = (Vec::new(), Vec::new());
    cut(a, b, &mut out, &mut scratch);
    out
}

/// The upright rectangle round points.
pub(crate) fn bounds(points: &[Point]) -> Bounds {
    let mut b = Bounds::EMPTY;
    points.iter().for_each(|&p| b.include(p));
    b
}

/// The corners of an upright rectangle.
pub(crate) const fn corners(b: &Bounds) -> [Point; 4] {
    [
        Point::new(b.left, b.top),
        Point::new(b.right, b.top),
        Point::new(b.right, b.bottom),
        Point::new(b.left, b.bottom),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(list: &[[f64; 2]]) -> Vec<Point> {
        list.iter().map(|[x, y]| Point::new(*x, *y)).collect()
    }

    fn size(c: &[Point]) -> f64 {
        let next = c.iter().cycle().skip(1);
        c.iter()
            .zip(next)
            .map(|(a, b)| a.x * b.y - b.x * a.y)
            .sum::<f64>()
            .abs()
            / 2.0
    }

    #[test]
    fn a_hull_leaves_out_what_lies_within() {
        let h = hull(points(&[
            [0.0, 0.0],
            [4.0, 0.0],
            [2.0, 1.0],
            [4.0, 4.0],
            [0.0, 4.0],
            [2.0, 0.0],
        ]));
        assert_eq!(h.len(), 4);
        assert_eq!(size(&h), 16.0);
    }

    #[test]
    fn what_is_left_has_the_common_area_whichever_way_round() {
        let square = points(&[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]]);
        let mut triangle = points(&[[0.0, 0.0], [20.0, 0.0], [0.0, 20.0]]);
        let mut small = points(&[[5.0, 0.0], [15.0, 0.0], [5.0, 10.0]]);
        for _ in 0..2 {
            assert_eq!(size(&common(&square, &triangle)), 100.0);
            // x + y = 15 cuts a corner of 5 x 5 / 2 off the right half.
            assert!((size(&common(&square, &small)) - 37.5).abs() < 1e-9);
            triangle.reverse();
            small.reverse();
        }
        // A dent: the letter U cut by its upper half gives two legs.
        let u = points(&[
            [0.0, 0.0],
            [2.0, 0.0],
            [2.0, 8.0],
            [6.0, 8.0],
            [6.0, 0.0],
            [8.0, 0.0],
            [8.0, 10.0],
            [0.0, 10.0],
        ]);
        let upper = points(&[[-1.0, -1.0], [9.0, -1.0], [9.0, 5.0], [-1.0, 5.0]]);
        assert!((size(&common(&u, &upper)) - 20.0).abs() < 1e-9);
        assert!(
            common(
                &square,
                &points(&[[20.0, 20.0], [30.0, 20.0], [20.0, 30.0]])
            )
            .is_empty()
        );
    }
}
