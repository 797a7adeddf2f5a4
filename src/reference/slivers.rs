//! Shapes too thin to count on: rasterisers may draw them or leave them out.
//!
//! A rasteriser with exact coverage draws a quarter of a pixel as a quarter of the contrast. One that
//! lays edges on a grid of quarter pixels, or samples four times a pixel, draws nothing or twice as much.
//! Neither tells the crew anything wrong, so slivers (a bar that just leaves its zero, a line cut at
//! the edge of its window) are neither missing nor foreign. Their values are read all the same. The price: a
//! line that moves and is drawn thinner than that is not missed when it is gone.

use super::scene::{Layer, Scene, Shape};
use crate::picture::{Point, Rect};

/// Thickness below which a shape is a sliver, px. Two steps of a grid of quarter pixels: above it,
/// what a rounded edge changes stays inside the tolerance for contrast.
const SLIVER_PX: f64 = 0.5;

/// Longest piece of an outline that gets a rectangle of its own, px, so that slanting slivers do not
/// take what lies beside them along.
const PIECE_PX: f64 = 4.0;

/// Rectangles around every sliver among what moves in `scene`, in pixels of the display.
pub fn around(scene: &Scene, rects: &mut Vec<Rect>) {
    for item in scene.items() {
        let Shape::Fill { first, last } = item.shape else {
            continue;
        };
        if item.layer != Layer::Moving || last != first + 1 {
            continue;
        }
        for contour in scene.contours(first, last) {
            if thickness_px(contour) < SLIVER_PX {
                edges(contour).for_each(|(a, b)| cover(a, b, rects));
            }
        }
    }
}

fn edges(contour: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    let next = contour.iter().cycle().skip(1);
    contour.iter().copied().zip(next.copied())
}

/// Area over half the perimeter: the thickness of what is much longer than thick, and less than the
/// side of what is not.
fn thickness_px(contour: &[Point]) -> f64 {
    let (mut twice_area, mut perimeter) = (0.0, 0.0);
    for (a, b) in edges(contour) {
        twice_area += a.x * b.y - b.x * a.y;
        perimeter += libm::hypot(b.x - a.x, b.y - a.y);
    }
    if perimeter > 0.0 {
        libm::fabs(twice_area) / perimeter
    } else {
        0.0
    }
}

fn cover(a: Point, b: Point, rects: &mut Vec<Rect>) {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let pieces = libm::ceil(libm::hypot(dx, dy) / PIECE_PX).max(1.0);
    for k in 0..pieces as i64 {
        let at = |k: i64| {
            let share = k as f64 / pieces;
            (a.x + dx * share, a.y + dy * share)
        };
        let (p, q) = (at(k), at(k + 1));
        let (x0, y0) = (libm::floor(p.0.min(q.0)), libm::floor(p.1.min(q.1)));
        let (x1, y1) = (libm::ceil(p.0.max(q.0)), libm::ceil(p.1.max(q.1)));
        rects.push(Rect::new(x0 as i32, y0 as i32, (x1 - x0) as i32, (y1 - y0) as i32).grown(1));
    }
}

#[cfg(test)]
mod tests {
    use super::super::scene::Bounds;
    use super::*;
    use crate::picture::Rgb;

    const INK: Rgb = Rgb([255; 3]);

    fn of(layer: Layer, points: &[Point]) -> Vec<Rect> {
        let mut scene = Scene::default();
        scene.set_layer(layer);
        scene.polygon(INK, points);
        let mut rects = Vec::new();
        around(&scene, &mut rects);
        rects
    }

    /// A bar 40 px long along a direction, `thick` px thick.
    fn bar(thick: f64, degrees: f64) -> [Point; 4] {
        let (s, c) = libm::sincos(degrees.to_radians());
        let at = |along: f64, aside: f64| {
            Point::new(100.0 + along * c - aside * s, 100.0 + along * s + aside * c)
        };
        [at(0.0, 0.0), at(40.0, 0.0), at(40.0, thick), at(0.0, thick)]
    }

    #[test]
    fn thin_shapes_that_move_are_slivers_and_others_are_not() {
        assert!(!of(Layer::Moving, &bar(0.22, 0.0)).is_empty());
        assert!(!of(Layer::Moving, &bar(0.22, 31.0)).is_empty());
        assert_eq!(of(Layer::Moving, &bar(1.0, 31.0)), []);
        assert_eq!(of(Layer::Background, &bar(0.22, 0.0)), []);
    }

    #[test]
    fn a_frame_is_no_sliver() {
        let mut scene = Scene::default();
        scene.set_layer(Layer::Moving);
        let b = Bounds {
            left: 10.0,
            top: 10.0,
            right: 90.0,
            bottom: 40.0,
        };
        scene.frame(INK, b, 0.4);
        let mut rects = Vec::new();
        around(&scene, &mut rects);
        assert_eq!(rects, []);
    }

    #[test]
    fn a_slanting_sliver_takes_little_beside_it() {
        let rects = of(Layer::Moving, &bar(0.3, 45.0));
        let covers = |x, y| rects.iter().any(|r| r.contains(x, y));
        assert!(covers(100, 100) && covers(114, 114) && covers(127, 127));
        assert!(!covers(122, 106) && !covers(106, 122));
    }

    #[test]
    fn nothing_odd_comes_of_what_has_no_size() {
        assert_eq!(thickness_px(&[Point::new(3.0, 4.0); 3]), 0.0);
        assert!(!of(Layer::Moving, &[Point::new(3.0, 4.0); 3]).is_empty());
    }
}
