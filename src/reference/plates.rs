//! Artwork becomes items of a scene.

use super::scene::Scene;
use crate::artwork::{Paint, Plate};
use crate::picture::{Point, Rgb};

/// Adds `plates` to `scene`, moved by `x' = a x + c y + e`, `y' = b x + d y + f` (the order of SVG's `matrix`), with
/// `opacity` on top of their own. Colours that have a name are those that `color` gives for it.
///
/// Leaves the scene without a shade and at full opacity.
pub fn draw(
    plates: &[Plate],
    matrix: [f64; 6],
    opacity: f64,
    color: impl Fn(&str) -> Rgb,
    scene: &mut Scene,
) {
    let [a, b, c, d, e, f] = matrix;
    let mut points: Vec<Point> = Vec::new();
    let mut ends: Vec<usize> = Vec::new();
    for plate in plates {
        points.clear();
        ends.clear();
        ends.push(0);
        for contour in &plate.contours {
            let moved = |p: &Point| Point::new(a * p.x + c * p.y + e, b * p.x + d * p.y + f);
            points.extend(contour.iter().map(moved));
            ends.push(points.len());
        }
        let (flat, shade) = match &plate.paint {
            Paint::Flat(own) => (plate.color_name.as_deref().map_or(*own, &color), None),
            Paint::Linear(shade) => (shade.middle(), shade.mapped(matrix)),
        };
        scene.set_opacity(opacity * plate.opacity);
        scene.set_shade(shade);
        scene.fill(flat, ends.windows(2).map(|w| &points[w[0]..w[1]]));
    }
    scene.set_opacity(1.0);
    scene.set_shade(None);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::{Shade, Stop};
    use crate::picture::Rect;
    use crate::reference::canvas::Look;
    use crate::reference::painter::tests::{WHITE, drawn};

    fn square(paint: Paint, opacity: f64) -> Plate {
        let corners = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)];
        Plate {
            contours: vec![corners.map(|(x, y)| Point::new(x, y)).to_vec()],
            paint,
            opacity,
            color_name: None,
        }
    }

    #[test]
    fn plates_are_moved_painted_and_named() {
        let mut named = square(Paint::Flat(WHITE), 0.5);
        named.color_name = Some("amber".into());
        let stop = |offset, level| Stop {
            offset,
            color: Rgb([level; 3]),
            opacity: 1.0,
        };
        let ends = [stop(0.0, 0), stop(1.0, 200)];
        let shade = Shade::new(Point::new(0.0, 0.0), Point::new(2.0, 0.0), &ends);
        let shaded = square(Paint::Linear(shade.expect("it is one")), 1.0);
        let mut scene = Scene::default();
        let amber = |name: &str| {
            assert_eq!(name, "amber");
            Rgb([100, 80, 0])
        };
        draw(
            &[named],
            [1.0, 0.0, 0.0, 1.0, 0.5, 0.0],
            1.0,
            amber,
            &mut scene,
        );
        // Twice as large, turned by a quarter: along the rows now.
        draw(
            &[shaded],
            [0.0, 2.0, -2.0, 0.0, 8.0, 0.0],
            1.0,
            amber,
            &mut scene,
        );
        let canvas = drawn(&scene, &Look::rgb(), Rect::new(0, 0, 8, 4));
        let row = |y: usize| {
            (0..8)
                .map(|x| canvas.planes()[0].at(x, y))
                .collect::<Vec<_>>()
        };
        assert_eq!(row(0), [25, 50, 25, 0, 25, 25, 25, 25]);
        assert_eq!(row(3), [0, 0, 0, 0, 175, 175, 175, 175]);
    }
}
