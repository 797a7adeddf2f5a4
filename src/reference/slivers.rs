//! Shapes too thin to count on: rasterisers may draw them or leave them out.
//!
//! A rasteriser with exact coverage draws a quarter of a pixel as a quarter of the contrast. One that
//! lays edges on a grid of quarter pixels, or samples four times a pixel, draws nothing or twice as much.
//! Neither tells the crew anything wrong, so slivers (a bar that just leaves its zero, a line cut at
//! the edge of its window) are neither missing nor foreign. Their values are read all the same. The price: a
//! line that moves and is always drawn thinner than that is not missed when it is gone, so lint warns of it.

use super::scene::{Layer, Scene, Shape};
use crate::picture::{Point, Rect};

/// Thickness below which a shape is a sliver, px. Two steps of a grid of quarter pixels: above it,
/// what a rounded edge changes stays inside the tolerance for contrast.
const SLIVER_PX: f64 = 0.5;

/// Longest piece of an outline that gets a rectangle of its own, px, so that slanting slivers do not
/// take what lies beside them along.
const PIECE_PX: f64 = 4.0;

/// Rectangles around every sliver among what moves in `scene`, in pixels of the display.
#[must_use]
pub fn around(scene: &Scene) -> Vec<Rect> {
    let mut rects = Vec::new();
    for item in scene.items() {
        let Shape::Fill { first, last } = item.shape else {
            continue;
        };
        if item.layer != Layer::Moving || last != first + 1 {
            continue;
        }
        for contour in scene.contours(first, last) {
            if thickness_px(contour) < SLIVER_PX {
                edges(contour).for_each(|(a, b)| cover(a, b, &mut rects));
            }
        }
    }
    rects
}

fn edges(contour: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    let next = contour.iter().cycle().skip(1);
    contour.iter().copied().zip(next.copied())
}

/// The shorter side of the rectangle that has the contour's area and perimeter; for what is rounder than a
/// square, a quarter of the perimeter.
fn thickness_px(contour: &[Point]) -> f64 {
    let (mut twice_area, mut perimeter) = (0.0, 0.0);
    for (a, b) in edges(contour) {
        twice_area += a.x * b.y - b.x * a.y;
        perimeter += libm::hypot(b.x - a.x, b.y - a.y);
    }
    let (area, half) = (libm::fabs(twice_area) / 2.0, perimeter / 2.0);
    (half - libm::sqrt((half * half - 4.0 * area).max(0.0))) / 2.0
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

    fn of(layer: Layer, draw: impl Fn(&mut Scene)) -> Vec<Rect> {
        let mut scene = Scene::default();
        scene.set_layer(layer);
        draw(&mut scene);
        around(&scene)
    }

    /// 40 px long from (100, 100), in a direction.
    fn line(scene: &mut Scene, thick: f64, degrees: f64) {
        let (s, c) = libm::sincos(degrees.to_radians());
        let from = Point::new(100.0, 100.0);
        let to = Point::new(100.0 + 40.0 * c, 100.0 + 40.0 * s);
        scene.line(INK, from, to, thick);
    }

    #[test]
    fn thin_shapes_that_move_are_slivers_and_others_are_not() {
        for degrees in [0.0, 31.0] {
            assert!(!of(Layer::Moving, |s| line(s, 0.22, degrees)).is_empty());
            assert!(!of(Layer::Moving, |s| line(s, 0.49, degrees)).is_empty());
            assert_eq!(of(Layer::Moving, |s| line(s, 0.51, degrees)), []);
            assert_eq!(of(Layer::Background, |s| line(s, 0.22, degrees)), []);
        }
    }

    #[test]
    fn a_frame_is_no_sliver() {
        let b = Bounds::from_rect([10, 10, 80, 30]);
        assert_eq!(of(Layer::Moving, |s| s.frame(INK, b, 0.4)), []);
    }

    #[test]
    fn a_slanting_sliver_takes_little_beside_it() {
        let rects = of(Layer::Moving, |s| line(s, 0.3, 45.0));
        let covers = |x, y| rects.iter().any(|r| r.contains(x, y));
        assert!(covers(100, 100) && covers(114, 114) && covers(127, 127));
        assert!(!covers(122, 106) && !covers(106, 122));
    }

    #[test]
    fn nothing_odd_comes_of_what_has_no_size() {
        let point = [Point::new(3.0, 4.0); 3];
        assert_eq!(thickness_px(&point), 0.0);
        assert!(!of(Layer::Moving, |s| s.polygon(INK, &point)).is_empty());
    }
}
