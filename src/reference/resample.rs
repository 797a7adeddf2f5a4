//! The finished picture of a display as a capture chain brings it to other pixels.
//!
//! A display draws on its own pixels; a scaler or a camera sees the finished picture. What is drawn straight through a
//! geometry is not that: where two shapes meet inside a pixel, each covers its share of what lies below, and a seam of the
//! ground shines through. So references are drawn on the display's pixels, and brought to the capture's by what is linear
//! between the centres of pixels, averaged over each pixel of the capture. Captures themselves are never resampled.
//!
//! Shifts, and scales that are nearly 1 ([`Geometry::is_native`]), are drawn through: there the capture's pixels are as good
//! as the display's own, and a resampled picture would be softer than they are.

use super::canvas::{Canvas, Geometry, Look};
use super::glyphs::pixels_of;
use super::painter::{Filter, Painter};
use super::scene::{Bounds, Scene};
use super::text::Font;
use crate::picture::{Point, Rect};

/// Brings pictures of a part of the display to a part of the capture.
#[derive(Clone, Debug)]
pub struct Resampler {
    geometry: Geometry,
    /// Sums over (x, y, 1) of the capture; the third divides the others, px of the display.
    inverse: [[f64; 3]; 3],
    /// Samples a side of a pixel of the capture.
    samples: i32,
    /// Pixels of the display that a pixel of the capture may take from, beyond its own outline.
    around: i32,
    native: Rect,
    seen: Rect,
}

/// Samples a side of a pixel, at most: pictures reduced by more are only looked at roughly.
const MOST_SAMPLES: f64 = 8.0;
/// No display has a pixel farther from its origin.
const FAR_PX: i32 = 1 << 16;
/// Steps between the centres of two pixels of the display.
const STEPS: i64 = 256;

impl Resampler {
    /// For the pixels `seen` of the capture; `None` where the geometry is drawn through.
    #[must_use]
    pub fn new(geometry: &Geometry, seen: Rect) -> Option<Self> {
        Self::within(
            geometry,
            seen,
            Rect::new(-FAR_PX, -FAR_PX, 2 * FAR_PX, 2 * FAR_PX),
        )
    }

    /// The same where nothing is on the display outside of `display`.
    #[must_use]
    pub fn within(geometry: &Geometry, seen: Rect, display: Rect) -> Option<Self> {
        if geometry.is_native() || seen.is_empty() {
            return None;
        }
        let mut made = Self {
            geometry: *geometry,
            inverse: geometry.inverse(),
            samples: 1,
            around: 0,
            native: Rect::EMPTY,
            seen,
        };
        let own = made.back(seen).intersection(&display);
        let corners = [
            (own.x, own.y),
            (own.right(), own.y),
            (own.right(), own.bottom()),
            (own.x, own.bottom()),
        ];
        let scales = corners
            .iter()
            .flat_map(|&(x, y)| geometry.scale_at(Point::new(f64::from(x), f64::from(y))));
        let least = scales.fold(f64::INFINITY, f64::min);
        // As many as there are pixels of the display in one of the capture.
        let wanted = libm::ceil(1.0 / least - 1e-6);
        made.samples = wanted.clamp(1.0, MOST_SAMPLES) as i32;
        made.around = 1 + wanted.clamp(1.0, 64.0) as i32;
        made.native = own.grown(made.around).intersection(&display);
        Some(made)
    }

    /// The pixels of the display that are asked for.
    #[must_use]
    pub const fn native(&self) -> Rect {
        self.native
    }

    /// How a display looks on its own pixels.
    #[must_use]
    pub const fn native_look(look: Look) -> Look {
        Look {
            geometry: Geometry::IDENTITY,
            ..look
        }
    }

    /// The pixels of the display where those of the capture lie.
    fn back(&self, rect: Rect) -> Rect {
        let mut bounds = Bounds::EMPTY;
        for (x, y) in [
            (rect.x, rect.y),
            (rect.right(), rect.y),
            (rect.right(), rect.bottom()),
            (rect.x, rect.bottom()),
        ] {
            let [u, v, w] = self
                .inverse
                .map(|row| row[0] * f64::from(x) + row[1] * f64::from(y) + row[2]);
            bounds.include(Point::new(u / w, v / w));
        }
        pixels_of(&bounds)
    }

    /// The pixels of the display that pixels of the capture are made of.
    #[must_use]
    pub fn sources(&self, seen: Rect) -> Rect {
        self.back(seen)
            .grown(self.around)
            .intersection(&self.native)
    }

    /// The pixels of the capture that pixels of the display have a part in.
    #[must_use]
    pub fn reach(&self, native: Rect) -> Rect {
        let r = native.grown(self.around);
        let bounds = Bounds::from_rect([r.x, r.y, r.width, r.height]);
        pixels_of(&self.geometry.map_bounds(&bounds)).intersection(&self.seen)
    }

    /// Makes the pixels `rect` of the capture from the display's.
    pub fn resample(&self, from: &Canvas, to: &mut Canvas, rect: Rect) {
        let rect = rect.intersection(&self.seen).intersection(&to.area());
        let area = from.area();
        if rect.is_empty() || area.is_empty() {
            return;
        }
        let planes = from.planes().len().min(to.planes().len());
        let n = self.samples;
        let part = 1.0 / f64::from(n);
        let [a, b, c] = self.inverse;
        let (last_x, last_y) = (i64::from(area.width) - 1, i64::from(area.height) - 1);
        // A sample is a weighted mean with weights that add up to this.
        let whole = (STEPS * STEPS) as u64 * (n * n) as u64;
        let mut sums = vec![[0u64; 3]; rect.width as usize];
        for y in rect.y..rect.bottom() {
            sums.fill([0; 3]);
            for j in 0..n {
                let at_y = f64::from(y) + (f64::from(j) + 0.5) * part;
                let rows = [a, b, c].map(|row| row[1] * at_y + row[2]);
                for (sums, x) in sums.iter_mut().zip(rect.x..) {
                    for i in 0..n {
                        let at_x = f64::from(x) + (f64::from(i) + 0.5) * part;
                        let depth = 1.0 / (c[0] * at_x + rows[2]);
                        let u = (a[0] * at_x + rows[0]) * depth - 0.5 - f64::from(area.x);
                        let v = (b[0] * at_x + rows[1]) * depth - 0.5 - f64::from(area.y);
                        let place = |at: f64, last: i64| {
                            let steps = (at * STEPS as f64) as i64 - i64::from(at < 0.0);
                            let steps = steps.clamp(0, last * STEPS);
                            let first = steps / STEPS;
                            (
                                first as usize,
                                (first + 1).min(last) as usize,
                                (steps % STEPS) as u64,
                            )
                        };
                        let ((x0, x1, fx), (y0, y1, fy)) = (place(u, last_x), place(v, last_y));
                        for (sum, plane) in sums.iter_mut().zip(&from.planes()[..planes]) {
                            let (upper, lower) = (plane.row(y0), plane.row(y1));
                            let along = |row: &[u8]| {
                                u64::from(row[x0]) * (STEPS as u64 - fx) + u64::from(row[x1]) * fx
                            };
                            *sum += along(upper) * (STEPS as u64 - fy) + along(lower) * fy;
                        }
                    }
                }
            }
            let left = (rect.x - to.area().x) as usize;
            for (k, row) in to.rows_mut(y).take(planes).enumerate() {
                for (level, sums) in row[left..].iter_mut().zip(&sums) {
                    *level = ((sums[k] + whole / 2) / whole) as u8;
                }
            }
        }
    }
}

/// Draws a scene as it is seen over one colour: on the display's pixels, and brought to the canvas's.
pub fn draw_seen(
    painter: &mut Painter,
    scene: &Scene,
    fonts: &[(String, Font)],
    look: &Look,
    canvas: &mut Canvas,
    ground: [u8; 3],
) {
    let area = canvas.area();
    canvas.fill(area, ground);
    match Resampler::new(&look.geometry, area) {
        None => painter.draw(scene, fonts, look, canvas, Filter::ALL, area),
        Some(resampler) => {
            let native = resampler.native();
            let mut own = Canvas::new(native, canvas.planes().len(), ground);
            let look = Resampler::native_look(*look);
            painter.draw(scene, fonts, &look, &mut own, Filter::ALL, native);
            resampler.resample(&own, canvas, area);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Rgb;
    use crate::reference::painter::tests::{BLACK, WHITE, bounds, fonts};

    fn seen(scene: &Scene, geometry: Geometry, area: Rect) -> Canvas {
        let mut look = Look::rgb();
        look.geometry = geometry;
        let mut canvas = Canvas::new(area, 3, [0; 3]);
        let ground = look.levels(BLACK);
        draw_seen(
            &mut Painter::new(),
            scene,
            &fonts(),
            &look,
            &mut canvas,
            ground,
        );
        canvas
    }

    #[test]
    fn half_the_size_is_the_mean_of_four() {
        let mut scene = Scene::default();
        // Whole pixels: one column of two, one row of two, and all.
        scene.rectangle(WHITE, bounds(0.0, 0.0, 1.0, 2.0));
        scene.rectangle(Rgb([200; 3]), bounds(4.0, 0.0, 6.0, 1.0));
        scene.rectangle(Rgb([100; 3]), bounds(8.0, 0.0, 10.0, 2.0));
        let canvas = seen(
            &scene,
            Geometry::upright([0.5, 0.5], [0.0, 0.0]),
            Rect::new(0, 0, 6, 1),
        );
        // Two samples a side stand on the centres of the display's pixels.
        assert_eq!(canvas.planes()[0].levels(), [128, 0, 100, 0, 100, 0]);
    }

    #[test]
    fn twice_the_size_is_linear_between_centres() {
        let mut scene = Scene::default();
        scene.rectangle(Rgb([100; 3]), bounds(1.0, -5.0, 2.0, 5.0));
        let canvas = seen(
            &scene,
            Geometry::upright([2.0, 2.0], [0.0, 0.0]),
            Rect::new(0, 0, 6, 1),
        );
        assert_eq!(canvas.planes()[0].levels(), [0, 25, 75, 75, 25, 0]);
    }

    #[test]
    fn shapes_that_meet_have_no_seam() {
        let mut scene = Scene::default();
        scene.rectangle(WHITE, bounds(0.0, 0.0, 7.0, 9.0));
        scene.rectangle(WHITE, bounds(7.0, 0.0, 20.0, 9.0));
        for scale in [0.77, 1.3] {
            let canvas = seen(
                &scene,
                Geometry::upright([scale; 2], [0.2, 0.0]),
                Rect::new(2, 2, 8, 3),
            );
            // Drawn through, a pixel half of each would let a quarter of the ground shine through.
            assert!(
                canvas.planes()[0].levels().iter().all(|v| *v == 255),
                "{scale}"
            );
        }
    }

    #[test]
    fn what_a_part_reaches_and_is_made_of_belong_together() {
        let corners =
            [(3.0, 2.0), (90.0, 9.0), (84.0, 70.0), (1.0, 61.0)].map(|(x, y)| Point::new(x, y));
        let geometry = Geometry::from_corners((80.0, 60.0), corners).expect("they are apart");
        let area = Rect::new(0, 0, 95, 75);
        let resampler = Resampler::new(&geometry, area).expect("it is seen at an angle");
        let draw = |x: f64, y: f64| {
            let mut scene = Scene::default();
            scene.rectangle(Rgb([90, 120, 40]), bounds(0.0, 0.0, 80.0, 60.0));
            scene.rectangle(WHITE, bounds(x, y, x + 1.0, y + 1.0));
            seen(&scene, geometry, area)
        };
        let plain = draw(-50.0, -50.0);
        for (x, y) in [(0, 0), (40, 30), (79, 59), (13, 57)] {
            let with = draw(f64::from(x), f64::from(y));
            let reach = resampler.reach(Rect::new(x, y, 1, 1));
            for row in 0..75 {
                for column in 0..95 {
                    let is_same = with.at(column, row) == plain.at(column, row);
                    assert!(
                        is_same || reach.contains(column, row),
                        "({x}, {y}) reaches ({column}, {row})"
                    );
                    let pixel = Rect::new(column, row, 1, 1);
                    assert!(
                        is_same || resampler.sources(pixel).contains(x, y),
                        "({column}, {row}) has ({x}, {y})"
                    );
                }
            }
        }
    }
}
