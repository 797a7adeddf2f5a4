//! What an item is drawn with: one opaque colour, or one that lets the ground through or changes along a line.

use super::canvas::{Canvas, Look, blend};
use super::raster::Span;
use crate::colour::Shade;
use crate::picture::Rgb;

/// What spans of a row are laid down in.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Ink<'a> {
    /// One colour that hides what lies below: levels of the planes.
    Flat([u8; 3]),
    /// Anything else.
    Wash(&'a Wash),
}

impl Ink<'_> {
    /// Lays the spans of row `y` (of the frame) over what the canvas holds. All spans lie in its area.
    #[inline]
    pub fn lay(&self, canvas: &mut Canvas, y: i32, spans: &[Span]) {
        match self {
            Self::Flat(levels) => canvas.blend_spans(y, spans, *levels),
            Self::Wash(wash) => wash.lay(canvas, y, spans),
        }
    }
}

/// Levels and opacity along a line across the picture. A pixel has those of its centre.
///
/// Between two stops both change in equal steps. Encodings are affine, so that levels may be mixed after encoding: the
/// same as encoding the mixed colour, but for rounding.
#[derive(Clone, Debug, Default)]
pub(crate) struct Wash {
    /// Where the centre of the pixel in column x and row y stands along the line: `along.0 x + along.1 y + along.2`.
    along: (f64, f64, f64),
    stops: Vec<WashStop>,
}

/// Levels (neither rounded nor cut) and, in the last place, the opacity.
#[derive(Clone, Copy, Debug)]
struct WashStop {
    offset: f64,
    values: [f64; 4],
}

/// A stretch of a row in which levels and opacity change in equal steps: value of column x = `at[0] + at[1] x`.
struct Piece {
    from: i32,
    to: i32,
    lines: [[f64; 2]; 4],
}

impl Wash {
    /// Takes on `shade`, or `color` where there is none, as seen in `look`, with `opacity` on top of its own.
    pub fn set(&mut self, color: Rgb, shade: Option<&Shade>, opacity: f64, look: &Look) {
        let stop = |offset: f64, color: Rgb, own: f64| {
            let [a, b, c] = look.exact_levels(color);
            let values = [a, b, c, own * opacity];
            WashStop { offset, values }
        };
        self.stops.clear();
        self.along = (0.0, 0.0, 0.0);
        match shade {
            None => self.stops.push(stop(0.0, color, 1.0)),
            Some(shade) => {
                let stops = shade.stops().iter();
                self.stops
                    .extend(stops.map(|s| stop(s.offset, s.color, s.opacity)));
                // A pixel's centre in the picture, brought back to the display.
                let (g, (x, y, rest)) = (&look.geometry, shade.along());
                let (x, y) = (x / g.sx, y / g.sy);
                let rest = rest + x * (0.5 - g.tx) + y * (0.5 - g.ty);
                self.along = (x, y, rest);
            }
        }
    }

    fn lay(&self, canvas: &mut Canvas, y: i32, spans: &[Span]) {
        let left = canvas.area().x;
        let (Some(first), Some(last)) = (spans.first(), spans.last()) else {
            return;
        };
        let mut begin = first.x;
        while begin < last.x + last.len {
            let piece = self.piece(begin, last.x + last.len, y);
            for (row, line) in canvas.rows_mut(y).zip(piece.lines) {
                for span in spans {
                    let from = span.x.max(piece.from);
                    let to = (span.x + span.len).min(piece.to);
                    if from < to {
                        let levels = &mut row[(from - left) as usize..(to - left) as usize];
                        lay_piece(levels, from, span.coverage, line, piece.lines[3]);
                    }
                }
            }
            begin = piece.to;
        }
    }

    /// The piece of row `y` that starts in column `from`, and ends before `end`.
    fn piece(&self, from: i32, end: i32, y: i32) -> Piece {
        let (step, start) = (self.along.0, self.along.1 * f64::from(y) + self.along.2);
        let at = |x: i32| step * f64::from(x) + start;
        let here = at(from);
        // Stops that are passed; the pixel lies between the last of them and the next.
        let passed = self.stops.partition_point(|s| s.offset <= here);
        let is_beside = |x: i32| self.stops.partition_point(|s| s.offset <= at(x)) == passed;
        // Where another stop is passed, by halving: where the line runs along the row or backwards does not matter, since
        // a row passes stops in one direction.
        let to = if is_beside(end - 1) {
            end
        } else {
            let (mut inside, mut outside) = (from, end - 1);
            while outside - inside > 1 {
                let middle = inside + (outside - inside) / 2;
                if is_beside(middle) {
                    inside = middle;
                } else {
                    outside = middle;
                }
            }
            outside
        };
        let lines = std::array::from_fn(|k| {
            let (before, after) = (passed.checked_sub(1), self.stops.get(passed));
            match (before.map(|b| &self.stops[b]), after) {
                (Some(a), Some(b)) => {
                    let rise = (b.values[k] - a.values[k]) / (b.offset - a.offset);
                    [a.values[k] + rise * (start - a.offset), rise * step]
                }
                (Some(only), None) | (None, Some(only)) => [only.values[k], 0.0],
                (None, None) => [0.0; 2],
            }
        });
        Piece { from, to, lines }
    }
}

/// Lays a piece over neighbouring levels of one plane, of which the first is that of column `x`.
fn lay_piece(row: &mut [u8], x: i32, coverage: u8, level: [f64; 2], opacity: [f64; 2]) {
    let rounded = |v: f64| (v + 0.5).clamp(0.0, 255.0) as u8;
    let x = f64::from(x);
    let is_opaque = opacity == [1.0, 0.0] && coverage == 255;
    for (k, v) in row.iter_mut().enumerate() {
        let x = x + k as f64;
        let own = rounded(level[0] + level[1] * x);
        *v = if is_opaque {
            own
        } else {
            let share = rounded(f64::from(coverage) * (opacity[0] + opacity[1] * x));
            blend(*v, own, share)
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::Stop;
    use crate::picture::{Encoding, Matrix, Point, Range, Rect};
    use crate::reference::canvas::Geometry;
    use crate::reference::painter::tests::{BLACK, RED, WHITE, bounds, drawn};
    use crate::reference::scene::Scene;
    use crate::reference::text::FontId;

    fn stop(offset: f64, color: Rgb, opacity: f64) -> Stop {
        Stop {
            offset,
            color,
            opacity,
        }
    }

    fn shade(from: (f64, f64), to: (f64, f64), stops: &[Stop]) -> Option<Shade> {
        let (from, to) = (Point::new(from.0, from.1), Point::new(to.0, to.1));
        Some(Shade::new(from, to, stops).expect("a test gives a shade"))
    }

    #[test]
    fn opacity_takes_its_share_of_whole_and_cut_pixels() {
        let mut scene = Scene::default();
        scene.rectangle(Rgb([100; 3]), bounds(0.0, 0.0, 2.0, 1.0));
        scene.set_opacity(0.5);
        scene.rectangle(WHITE, bounds(1.0, 0.0, 3.5, 1.0));
        scene.set_opacity(1.0);
        scene.rectangle(WHITE, bounds(4.0, 0.0, 5.0, 1.0));
        let canvas = drawn(&scene, &Look::rgb(), Rect::new(0, 0, 5, 1));
        // 255 over 100 and over 0 by half; half a pixel of half.
        assert_eq!(canvas.planes()[0].levels(), [100, 178, 128, 64, 255]);
    }

    #[test]
    fn a_pixel_has_the_shade_of_its_centre() {
        let mut scene = Scene::default();
        let stops = [stop(0.0, BLACK, 1.0), stop(1.0, Rgb([200, 100, 0]), 1.0)];
        scene.set_shade(shade((1.0, 0.0), (5.0, 0.0), &stops));
        scene.rectangle(RED, bounds(0.0, 0.0, 6.0, 1.0));
        assert_eq!(scene.items()[0].color, Rgb([100, 50, 0]));
        let area = Rect::new(0, 0, 6, 1);
        let canvas = drawn(&scene, &Look::rgb(), area);
        // Centres at 1/8, 3/8, 5/8 and 7/8 of the line; beyond its ends the ends go on.
        assert_eq!(canvas.planes()[0].levels(), [0, 25, 75, 125, 175, 200]);
        assert_eq!(canvas.planes()[1].levels(), [0, 13, 38, 63, 88, 100]);
        let mut look = Look::rgb();
        look.geometry = Geometry::upright([2.0, 1.0], [1.0, 0.0]);
        let canvas = drawn(&scene, &look, Rect::new(3, 0, 4, 1));
        // Column 3 is the display from 1 to 1.5: 1/16 of the line, 12.5.
        assert_eq!(canvas.planes()[0].levels(), [13, 38, 63, 88]);
    }

    #[test]
    fn stops_at_one_place_part_the_colours_there() {
        let mut scene = Scene::default();
        let stops = [
            stop(0.0, RED, 1.0),
            stop(0.5, RED, 1.0),
            stop(0.5, WHITE, 1.0),
            stop(1.0, WHITE, 1.0),
        ];
        scene.set_shade(shade((4.0, 0.0), (0.0, 0.0), &stops));
        scene.rectangle(RED, bounds(0.0, 0.0, 4.0, 1.0));
        let canvas = drawn(&scene, &Look::rgb(), Rect::new(0, 0, 4, 1));
        assert_eq!(canvas.planes()[1].levels(), [255, 255, 0, 0]);
    }

    #[test]
    fn opacities_of_stops_and_items_multiply() {
        let mut scene = Scene::default();
        let stops = [stop(0.0, WHITE, 1.0), stop(1.0, WHITE, 0.0)];
        scene.set_shade(shade((0.0, 0.0), (0.0, 4.0), &stops));
        scene.set_opacity(0.5);
        scene.rectangle(RED, bounds(0.0, 0.0, 1.0, 4.0));
        let canvas = drawn(&scene, &Look::rgb(), Rect::new(0, 0, 1, 4));
        // 127.5 times 7/8, 5/8, 3/8 and 1/8.
        assert_eq!(canvas.planes()[0].levels(), [112, 80, 48, 16]);
    }

    #[test]
    fn a_turned_shade_in_another_encoding_is_the_shade_converted() {
        let mut scene = Scene::default();
        let stops = [
            stop(0.1, RED, 0.9),
            stop(0.4, WHITE, 0.5),
            stop(0.8, Rgb([0, 90, 200]), 1.0),
        ];
        scene.set_shade(shade((3.0, 2.0), (14.0, 17.0), &stops));
        scene.circle(RED, Point::new(10.3, 9.1), 8.2);
        scene.words_at(
            RED,
            FontId(0),
            14.0,
            Point::new(1.0, 15.0),
            (1.0, 0.0),
            20.0,
            "A7",
        );
        let area = Rect::new(0, 0, 20, 20);
        let rgb = drawn(&scene, &Look::rgb(), area);
        let look = Look::new(Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        });
        let direct = drawn(&scene, &look, area);
        for y in 0..20 {
            for x in 0..20 {
                let (want, got) = (look.levels(Rgb(rgb.at(x, y))), direct.at(x, y));
                let is_near = (0..3).all(|k| want[k].abs_diff(got[k]) <= 2);
                assert!(is_near, "({x}, {y}): {got:?} {want:?}");
            }
        }
        assert!(
            (0..20).any(|x| rgb.at(x, 9) != rgb.at(x, 10)),
            "it is there"
        );
    }

    #[test]
    fn what_is_drawn_does_not_depend_on_the_window() {
        let mut scene = Scene::default();
        let stops = [
            stop(0.2, RED, 0.2),
            stop(0.5, WHITE, 1.0),
            stop(0.7, BLACK, 0.5),
        ];
        scene.set_shade(shade((19.0, 2.0), (-3.0, 11.0), &stops));
        scene.circle(RED, Point::new(10.0, 10.0), 9.0);
        let whole = drawn(&scene, &Look::rgb(), Rect::new(0, 0, 20, 20));
        for x in 0..20 {
            let column = drawn(&scene, &Look::rgb(), Rect::new(x, 0, 1, 20));
            assert!((0..20).all(|y| column.at(x, y) == whole.at(x, y)), "{x}");
        }
    }
}
