//! The finished picture of a display as a capture chain brings it to other pixels.
//!
//! A display draws on its own pixels; a scaler or a camera sees the finished picture. What is drawn straight through a
//! geometry is not that: where two shapes meet inside a pixel, each covers its share of what lies below, and a seam of the
//! ground shines through. So references are drawn on the display's pixels, and brought to the capture's by what is linear
//! between the centres of pixels, averaged over each pixel of the capture. Captures themselves are never resampled.
//!
//! Shifts, and scales that are nearly 1 ([`Geometry::is_native`]), are drawn through: there the capture's pixels are as good
//! as the display's own, and a resampled picture would be softer than they are.
//!
//! A chain that blurs does so to the finished picture too: it is blurred before it is brought to the capture's pixels.

use super::canvas::{Canvas, Geometry, Look};
use super::glyphs::pixels_of;
use super::painter::{Filter, Painter};
use super::scene::{Bounds, Scene};
use super::shading::Shading;
use super::text::Font;
use crate::picture::{Plane, Point, Rect, Rgb};

/// Brings pictures of a part of the display to a part of the capture.
#[derive(Clone, Debug)]
pub struct Resampler {
    /// From the pixels that are drawn on to the capture's.
    geometry: Geometry,
    /// Sums over (x, y, 1) of the capture; the third divides the others, px of the display.
    inverse: [[f64; 3]; 3],
    /// Samples a side of a pixel of the capture.
    samples: i32,
    /// Pixels of the display that a pixel of the capture may take from, beyond its own outline.
    around: i32,
    native: Rect,
    seen: Rect,
    /// The pixels of the capture that show the display.
    shown: Rect,
    /// Weights of the blur, of a pixel and of those to one side of it, in parts of [`WHOLE`]; one where there is none.
    taps: Vec<u32>,
    shading: Shading,
    /// Levels of the planes where there is no light.
    black: [u8; 3],
    scratch: Scratch,
}

/// What a picture is made in; kept, so that nothing is allocated once it is large enough.
#[derive(Clone, Debug, Default)]
struct Scratch {
    places: Places,
    /// A row of the display between two of its rows.
    blended: Vec<u16>,
    /// A row of the capture, plane after plane.
    sums: Vec<u32>,
    /// The drawn pixels, blurred along rows, and blurred.
    along: Vec<u16>,
    blurred: Vec<Plane>,
}

/// Samples a side of a pixel, at most: pictures reduced by more are only looked at roughly.
const MOST_SAMPLES: f64 = 8.0;
/// No display has a pixel farther from its origin.
const FAR_PX: i32 = 1 << 16;
/// Share of a pixel of the display that is not worth another sample.
const NEARLY: f64 = 0.1;
/// Steps between the centres of two pixels of the display.
const STEPS: u32 = 256;

/// All of a blur.
const WHOLE: u32 = 256;
/// Standard deviations at which a blur ends, and the most of its pixels to one side.
const BLUR_ENDS: f64 = 3.0;
const MOST_TAPS: f64 = 32.0;
/// Variance below which three taps are a Gaussian, px².
const NARROW_PX2: f64 = 0.5;

/// Weights of a Gaussian, which add up to [`WHOLE`] with those of the other side.
fn gaussian(sigma_px: f64) -> Vec<u32> {
    if sigma_px <= 0.0 {
        return vec![WHOLE];
    }
    let variance_px2 = sigma_px * sigma_px;
    let mut taps: Vec<u32> = if variance_px2 < NARROW_PX2 {
        // Samples of so narrow a Gaussian have less than its variance; three taps have it.
        let side = libm::round(f64::from(WHOLE) * variance_px2 / 2.0) as u32;
        vec![0, side]
    } else {
        let reach = libm::ceil(BLUR_ENDS * sigma_px).clamp(1.0, MOST_TAPS) as u32;
        let weight = |k: u32| libm::exp(-0.5 * f64::from(k * k) / variance_px2);
        let sides: f64 = (1..=reach).map(weight).sum();
        let share = f64::from(WHOLE) / (1.0 + 2.0 * sides);
        (0..=reach)
            .map(|k| libm::round(weight(k) * share) as u32)
            .collect()
    };
    while taps.len() > 1 && taps.last() == Some(&0) {
        taps.pop();
    }
    taps[0] = WHOLE - 2 * taps[1..].iter().sum::<u32>();
    taps
}

impl Resampler {
    /// For the pixels `seen` of the capture; `None` where it is drawn through and not blurred.
    #[must_use]
    pub fn new(look: &Look, seen: Rect) -> Option<Self> {
        let everywhere = Rect::new(-FAR_PX, -FAR_PX, 2 * FAR_PX, 2 * FAR_PX);
        Self::within(look, seen, everywhere)
    }

    /// The same where nothing is on the display outside of `display`.
    #[must_use]
    pub fn within(look: &Look, seen: Rect, display: Rect) -> Option<Self> {
        let is_native = look.geometry.is_native();
        let is_as_drawn = is_native && look.blur_px <= 0.0 && look.shading.is_none();
        if is_as_drawn || seen.is_empty() {
            return None;
        }
        let drawn = Self::native_look(look).geometry;
        let geometry = if is_native {
            Geometry::IDENTITY
        } else {
            look.geometry
        };
        let display = drawn.map_rect(display);
        let mut made = Self {
            geometry,
            inverse: geometry.inverse(),
            samples: 1,
            around: 0,
            native: Rect::EMPTY,
            seen,
            shown: Rect::EMPTY,
            taps: Vec::new(),
            shading: look.shading,
            black: look.levels(Rgb([0; 3])),
            scratch: Scratch::default(),
        };
        let own = made.back(seen).intersection(&display);
        let corners = [
            (own.x, own.y),
            (own.right(), own.y),
            (own.right(), own.bottom()),
            (own.x, own.bottom()),
        ];
        let scales: Vec<f64> = corners
            .iter()
            .flat_map(|&(x, y)| geometry.scale_at(Point::new(f64::from(x), f64::from(y))))
            .collect();
        let least = scales.iter().copied().fold(f64::INFINITY, f64::min);
        // As many as there are pixels of the display in one of the capture.
        let wanted = libm::ceil(1.0 / least - NEARLY);
        made.samples = wanted.clamp(1.0, MOST_SAMPLES) as i32;
        let mean = scales.iter().sum::<f64>() / scales.len() as f64;
        made.taps = gaussian(look.blur_px / mean);
        made.around = 1 + wanted.clamp(1.0, 64.0) as i32 + made.blur_reach();
        made.native = own.grown(made.around).intersection(&display);
        made.shown = made.reach(display);
        Some(made)
    }

    /// Pixels to one side that a pixel is blurred over.
    fn blur_reach(&self) -> i32 {
        self.taps.len() as i32 - 1
    }

    /// The pixels of the capture that show the display.
    #[must_use]
    pub const fn shown(&self) -> Rect {
        self.shown
    }

    /// The pixels of the display that are asked for.
    #[must_use]
    pub const fn native(&self) -> Rect {
        self.native
    }

    /// How a display looks on the pixels that it is drawn on.
    #[must_use]
    pub fn native_look(look: &Look) -> Look {
        Look {
            geometry: if look.geometry.is_native() {
                look.geometry
            } else {
                Geometry::IDENTITY
            },
            blur_px: 0.0,
            shading: Shading::NONE,
            ..look.clone()
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
    pub fn resample(&mut self, from: &Canvas, to: &mut Canvas, rect: Rect) {
        let rect = rect.intersection(&self.seen).intersection(&to.area());
        let mut area = from.area();
        if rect.is_empty() || area.is_empty() {
            return;
        }
        let mut scratch = std::mem::take(&mut self.scratch);
        let Scratch {
            places,
            blended,
            sums,
            along,
            blurred,
        } = &mut scratch;
        let mut source = from.planes();
        if self.taps.len() > 1 {
            let asked = self.back(rect).grown(self.around - self.blur_reach());
            let asked = asked.intersection(&area);
            if asked.is_empty() {
                self.scratch = scratch;
                return;
            }
            blur(from, asked, &self.taps, (along, sums), blurred);
            (area, source) = (asked, &blurred[..source.len()]);
        }
        let n = self.samples as usize;
        let width = rect.width as usize;
        let left = (rect.x - to.area().x) as usize;
        let planes = source.len().min(to.planes().len());
        // Weights of a sample add up to STEPS², and there are n² of them.
        let whole = STEPS * STEPS * (n * n) as u32;
        sums.resize(width * planes, 0);
        blended.resize(area.width as usize, 0);
        let is_upright = self.geometry.is_upright();
        if is_upright {
            self.find_places(f64::from(rect.y), rect, area, places);
        }
        for y in rect.y..rect.bottom() {
            sums.fill(0);
            for j in 0..n {
                let at_y = f64::from(y) + (j as f64 + 0.5) / n as f64;
                if !is_upright {
                    self.find_places(at_y, rect, area, places);
                    for (sums, plane) in sums.chunks_exact_mut(width).zip(source) {
                        places.add(plane.levels(), plane.width(), sums, n);
                    }
                    continue;
                }
                // All samples of the row lie between the same two rows of the display.
                let v = self.inverse[1][1] * at_y + self.inverse[1][2];
                let v = v / self.inverse[2][2] - 0.5 - f64::from(area.y);
                let (upper, part) = place(v, area.height as usize);
                let lower = (upper + 1).min(area.height as usize - 1);
                let span = places.columns(area.width as usize);
                let (u, w) = ((STEPS - part) as u16, part as u16);
                for (sums, plane) in sums.chunks_exact_mut(width).zip(source) {
                    let rows = [upper, lower].map(|row| &plane.row(row)[span.clone()]);
                    let pairs = rows[0].iter().zip(rows[1]);
                    for (out, (a, b)) in blended[span.clone()].iter_mut().zip(pairs) {
                        *out = u16::from(*a) * u + u16::from(*b) * w;
                    }
                    places.add_along(blended, sums, n);
                }
            }
            let planes = sums.chunks_exact(width).zip(self.black);
            for (row, (sums, black)) in to.rows_mut(y).zip(planes) {
                let row = &mut row[left..left + width];
                for (level, sum) in row.iter_mut().zip(sums) {
                    *level = ((sum + whole / 2) / whole) as u8;
                }
                if !self.shading.is_none() {
                    self.shading.dim(row, (rect.x, y), black);
                }
            }
        }
        self.scratch = scratch;
    }

    /// Where the samples of a row of the capture lie on the display, relative to `area`.
    fn find_places(&self, at_y: f64, rect: Rect, area: Rect, places: &mut Places) {
        let n = self.samples;
        let [a, b, c] = self.inverse;
        let [rows_x, rows_y, rows_w] = [a, b, c].map(|row| row[1] * at_y + row[2]);
        let (x0, y0) = (0.5 + f64::from(area.x), 0.5 + f64::from(area.y));
        places.clear();
        for k in 0..rect.width * n {
            let at_x = f64::from(rect.x) + (f64::from(k) + 0.5) / f64::from(n);
            let depth = 1.0 / (c[0] * at_x + rows_w);
            let (x, part_x) = place((a[0] * at_x + rows_x) * depth - x0, area.width as usize);
            let (y, part_y) = place((b[0] * at_x + rows_y) * depth - y0, area.height as usize);
            places.push(x, y, part_x as u16, part_y as u16);
        }
    }
}

/// Blurs the pixels `asked` of a canvas, which has them; at its ends the last ones go on.
fn blur(
    from: &Canvas,
    asked: Rect,
    taps: &[u32],
    (along, sums): (&mut Vec<u16>, &mut Vec<u32>),
    blurred: &mut Vec<Plane>,
) {
    let area = from.area();
    let reach = taps.len() as i32 - 1;
    let (width, height) = (asked.width as usize, asked.height as usize);
    let left = (asked.x - area.x) as usize;
    let rows = (asked.y - reach).max(area.y)..(asked.bottom() + reach).min(area.bottom());
    blurred.resize(from.planes().len(), Plane::filled(0, 0, 0));
    for (plane, out) in from.planes().iter().zip(blurred) {
        along.clear();
        for y in rows.clone() {
            let row = plane.row((y - area.y) as usize);
            let first = along.len();
            along.extend(
                row[left..left + width]
                    .iter()
                    .map(|v| u16::from(*v) * taps[0] as u16),
            );
            let blended = &mut along[first..];
            for (k, weight) in taps.iter().enumerate().skip(1) {
                let weight = *weight as u16;
                for (x, sum) in blended.iter_mut().enumerate() {
                    let low = (left + x).saturating_sub(k);
                    let high = (left + x + k).min(row.len() - 1);
                    *sum += (u16::from(row[low]) + u16::from(row[high])) * weight;
                }
            }
        }
        out.shape(width, height);
        let last = (along.len() / width) as i32 - 1;
        let line = |y: i32| {
            let k = (y - rows.start).clamp(0, last) as usize;
            &along[k * width..(k + 1) * width]
        };
        for y in asked.y..asked.bottom() {
            sums.clear();
            sums.extend(line(y).iter().map(|v| u32::from(*v) * taps[0]));
            for (k, weight) in (0..).zip(taps).skip(1) {
                let pairs = line(y - k).iter().zip(line(y + k));
                for (sum, (above, below)) in sums.iter_mut().zip(pairs) {
                    *sum += (u32::from(*above) + u32::from(*below)) * weight;
                }
            }
            let row = out.row_mut((y - asked.y) as usize);
            for (level, sum) in row.iter_mut().zip(sums.iter()) {
                *level = ((sum + WHOLE * WHOLE / 2) / (WHOLE * WHOLE)) as u8;
            }
        }
    }
}

/// The pixel that a place lies on or behind, of so many, and how far behind it, in steps. At the ends the last ones go on.
fn place(at: f64, count: usize) -> (usize, u32) {
    let last = (count - 1) as u32 * STEPS;
    let steps = (at.max(0.0) * f64::from(STEPS)) as u32;
    let steps = steps.min(last);
    ((steps / STEPS) as usize, steps % STEPS)
}

/// Samples of a row of the capture: the display's pixel to the left and above, and how far behind it.
#[derive(Clone, Debug, Default)]
struct Places {
    columns: Vec<u32>,
    rows: Vec<u32>,
    across: Vec<u16>,
    down: Vec<u16>,
}

impl Places {
    fn clear(&mut self) {
        self.columns.clear();
        self.rows.clear();
        self.across.clear();
        self.down.clear();
    }

    fn push(&mut self, column: usize, row: usize, across: u16, down: u16) {
        self.columns.push(column as u32);
        self.rows.push(row as u32);
        self.across.push(across);
        self.down.push(down);
    }

    /// The columns of the display that are asked for, of `width`.
    fn columns(&self, width: usize) -> std::ops::Range<usize> {
        let low = self.columns.iter().min().copied().unwrap_or(0) as usize;
        let high = self.columns.iter().max().copied().unwrap_or(0) as usize;
        low..(high + 2).min(width)
    }

    /// Adds `n` samples to each sum, from a row that is blended already.
    fn add_along(&self, blended: &[u16], sums: &mut [u32], n: usize) {
        let each = self
            .columns
            .chunks_exact(n)
            .zip(self.across.chunks_exact(n));
        for (sum, (columns, parts)) in sums.iter_mut().zip(each) {
            for (x, part) in columns.iter().zip(parts) {
                let (x, part) = (*x as usize, u32::from(*part));
                let here = u32::from(blended[x]);
                let next = u32::from(blended[(x + 1).min(blended.len() - 1)]);
                *sum += here * (STEPS - part) + next * part;
            }
        }
    }

    /// Adds `n` samples to each sum, from the levels of a plane.
    fn add(&self, levels: &[u8], width: usize, sums: &mut [u32], n: usize) {
        let height = levels.len() / width;
        let places = self
            .columns
            .iter()
            .zip(&self.rows)
            .zip(self.across.iter().zip(&self.down));
        for (k, ((x, y), (across, down))) in places.enumerate() {
            let (x, y) = (*x as usize, *y as usize);
            let right = usize::from(x + 1 < width);
            let below = if y + 1 < height { width } else { 0 };
            let at = y * width + x;
            let (across, down) = (u32::from(*across), u32::from(*down));
            let along = |at: usize| {
                u32::from(levels[at]) * (STEPS - across) + u32::from(levels[at + right]) * across
            };
            sums[k / n] += along(at) * (STEPS - down) + along(at + below) * down;
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
    match Resampler::new(look, area) {
        None => painter.draw(scene, fonts, look, canvas, Filter::ALL, area),
        Some(mut resampler) => {
            let native = resampler.native();
            let mut own = Canvas::new(native, canvas.planes().len(), ground);
            let look = Resampler::native_look(look);
            painter.draw(scene, fonts, &look, &mut own, Filter::ALL, native);
            resampler.resample(&own, canvas, area);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::painter::tests::{BLACK, WHITE, bounds, fonts};

    fn seen(scene: &Scene, geometry: Geometry, area: Rect) -> Canvas {
        let mut look = Look::rgb();
        look.geometry = geometry;
        seen_by(scene, look, area)
    }

    fn seen_by(scene: &Scene, look: Look, area: Rect) -> Canvas {
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
    fn rows_of_an_upright_display_are_what_single_samples_make() {
        let mut scene = Scene::default();
        for k in 0..12 {
            let at = f64::from(k);
            scene.circle(
                Rgb([200, 15 * k as u8, 90]),
                Point::new(5.3 * at, 4.1 * at),
                7.0 - at / 2.0,
            );
        }
        let area = Rect::new(-3, -2, 70, 60);
        for (scale, shift) in [
            ([1.5, 1.4], [0.3, -0.7]),
            ([0.75, 0.6], [2.2, 1.1]),
            ([0.2, 0.31], [9.0, 7.5]),
        ] {
            let upright = Geometry::upright(scale, shift);
            // Turned by too little to see, it takes the other road.
            let turned = Geometry {
                skew: [1e-12, 0.0],
                ..upright
            };
            let (a, b) = (seen(&scene, upright, area), seen(&scene, turned, area));
            for y in area.y..area.bottom() {
                for x in area.x..area.right() {
                    let pairs = a.at(x, y).into_iter().zip(b.at(x, y));
                    // Where a sample falls on the edge of a step, the two may round to either side.
                    assert!(
                        pairs.clone().all(|(a, b)| a.abs_diff(b) <= 1),
                        "{scale:?} ({x}, {y})"
                    );
                }
            }
        }
    }

    #[test]
    fn a_blurred_line_spreads_as_a_gaussian_does() {
        let mut scene = Scene::default();
        scene.rectangle(WHITE, bounds(40.0, -50.0, 41.0, 150.0));
        for (geometry, at) in [
            (Geometry::IDENTITY, 40.5),
            (Geometry::upright([1.0; 2], [0.0, 3.0]), 40.5),
            (Geometry::upright([2.0; 2], [-30.0, 0.0]), 51.0),
        ] {
            for blur_px in [0.6, 1.0, 2.5] {
                let mut look = Look::rgb();
                (look.geometry, look.blur_px) = (geometry, blur_px);
                let canvas = seen_by(&scene, look, Rect::new(0, 0, 90, 12));
                let row = canvas.planes()[0].row(6);
                let moment = |n: i32| -> f64 {
                    let each = row.iter().enumerate();
                    let each = each.map(|(x, v)| f64::from(*v) * (x as f64 + 0.5 - at).powi(n));
                    each.sum()
                };
                // Between centres two pixels apart: three quarters half a pixel away, one quarter one and a half.
                let own = if geometry.sx > 1.5 {
                    0.75 * 0.25 + 0.25 * 2.25
                } else {
                    0.0
                };
                let variance = moment(2) / moment(0) - own;
                assert!(
                    (variance.sqrt() / blur_px - 1.0).abs() < 0.06,
                    "{geometry:?}, {blur_px} px: {}",
                    variance.sqrt()
                );
                assert!((moment(0) / 255.0 - geometry.sx).abs() < 0.03);
                assert!((moment(1) / moment(0)).abs() < 0.02);
            }
        }
    }

    #[test]
    fn what_a_part_reaches_and_is_made_of_belong_together() {
        for blur_px in [0.0, 1.3] {
            assert_reach_and_sources_belong_together(blur_px);
        }
    }

    fn assert_reach_and_sources_belong_together(blur_px: f64) {
        let corners =
            [(3.0, 2.0), (90.0, 9.0), (84.0, 70.0), (1.0, 61.0)].map(|(x, y)| Point::new(x, y));
        let geometry = Geometry::from_corners((80.0, 60.0), corners).expect("they are apart");
        let area = Rect::new(0, 0, 95, 75);
        let mut look = Look::rgb();
        (look.geometry, look.blur_px) = (geometry, blur_px);
        let resampler = Resampler::new(&look, area).expect("it is seen at an angle");
        let draw = |x: f64, y: f64| {
            let mut scene = Scene::default();
            scene.rectangle(Rgb([90, 120, 40]), bounds(0.0, 0.0, 80.0, 60.0));
            scene.rectangle(WHITE, bounds(x, y, x + 1.0, y + 1.0));
            seen_by(&scene, look.clone(), area)
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
