//! Words as pixels.
//!
//! Upright words are laid down from masks that are made once per character, size and sub-pixel
//! position: the origin of a character snaps to 1/16 px and the size to 1/64 px, so what is
//! drawn stands at most 1/32 px from where it should. That is no loss to readings, since words
//! take no part in the fit of values. Turned words are filled as outlines each time.

use std::collections::BTreeMap;

use super::canvas::Canvas;
use super::ink::Ink;
use super::parts::common;
use super::raster::Raster;
use super::scene::Bounds;
use super::text::{Font, Glyph, Segment};
use crate::picture::{Point, Rect};

/// Flattening error of characters, px.
const FLATNESS_PX: f64 = 0.02;
/// Sub-pixel positions of a character's origin in each direction.
const PHASES: i64 = 16;
/// Steps of size in a pixel.
const SIZE_STEPS: f64 = 64.0;
/// Characters larger than this are not kept, px.
const LARGEST_KEPT_PX: f64 = 160.0;
/// All masks are thrown away when they need more than this, bytes.
const MOST_KEPT_BYTES: usize = 16 << 20;

/// em to pixels: `x' = xx x + xy y + x0`, `y' = yx x + yy y + y0`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placement {
    pub xx: f64,
    pub xy: f64,
    pub yx: f64,
    pub yy: f64,
    pub x0: f64,
    pub y0: f64,
}

impl Placement {
    fn map(&self, p: Point) -> Point {
        Point::new(
            self.xx * p.x + self.xy * p.y + self.x0,
            self.yx * p.x + self.yy * p.y + self.y0,
        )
    }
}

/// Adds a character's outline to the raster; `scratch` holds one contour.
fn add_outline(
    raster: &mut Raster,
    glyph: &Glyph,
    placement: &Placement,
    pieces: Option<&[Vec<Point>]>,
    scratch: &mut Vec<Point>,
) {
    for contour in &glyph.contours {
        scratch.clear();
        flatten(contour, |p| placement.map(p), scratch);
        match pieces {
            None => raster.contour(scratch.iter().copied()),
            Some(pieces) => {
                for piece in pieces {
                    raster.contour(common(scratch, piece));
                }
            }
        }
    }
}

/// Points of a contour after `map`, curves cut into chords that stray less than [`FLATNESS_PX`].
///
/// # Source
/// A quadratic cut into n equal parts of its parameter strays from its chords by at most
/// |p0 - 2 p1 + p2| / (4 n²); a cubic by at most 6 max(|p0 - 2 p1 + p2|, |p1 - 2 p2 + p3|) / (8 n²):
/// both are |B''| / (8 n²), the error of linear interpolation.
fn flatten(contour: &[Segment], map: impl Fn(Point) -> Point, out: &mut Vec<Point>) {
    let mut last = Point::default();
    for segment in contour {
        match *segment {
            Segment::Move(p) | Segment::Line(p) => {
                last = map(p);
                out.push(last);
            }
            Segment::Quad(c, p) => {
                let (a, c, p) = (last, map(c), map(p));
                let n = parts(bend(a, c, p) / 4.0);
                for k in 1..=n {
                    let t = f64::from(k) / f64::from(n);
                    let (u, v, w) = ((1.0 - t) * (1.0 - t), 2.0 * t * (1.0 - t), t * t);
                    out.push(Point::new(
                        u * a.x + v * c.x + w * p.x,
                        u * a.y + v * c.y + w * p.y,
                    ));
                }
                last = p;
            }
            Segment::Cubic(c, d, p) => {
                let (a, c, d, p) = (last, map(c), map(d), map(p));
                let n = parts(bend(a, c, d).max(bend(c, d, p)) * 0.75);
                for k in 1..=n {
                    let t = f64::from(k) / f64::from(n);
                    let r = 1.0 - t;
                    let (u, v, w, z) = (r * r * r, 3.0 * t * r * r, 3.0 * t * t * r, t * t * t);
                    out.push(Point::new(
                        u * a.x + v * c.x + w * d.x + z * p.x,
                        u * a.y + v * c.y + w * d.y + z * p.y,
                    ));
                }
                last = p;
            }
        }
    }
}

fn bend(a: Point, b: Point, c: Point) -> f64 {
    libm::hypot(a.x - 2.0 * b.x + c.x, a.y - 2.0 * b.y + c.y)
}

fn parts(stray_px: f64) -> u16 {
    (stray_px / FLATNESS_PX).sqrt().ceil().clamp(1.0, 256.0) as u16
}

/// Bounds of a character's outline in em: those of its points and control points.
fn em_bounds(glyph: &Glyph) -> Bounds {
    let mut bounds = Bounds::EMPTY;
    for segment in glyph.contours.iter().flatten() {
        match *segment {
            Segment::Move(p) | Segment::Line(p) => bounds.include(p),
            Segment::Quad(c, p) => [c, p].into_iter().for_each(|p| bounds.include(p)),
            Segment::Cubic(c, d, p) => [c, d, p].into_iter().for_each(|p| bounds.include(p)),
        }
    }
    bounds
}

/// Font, character, width and height of the em in 1/64 px, phases in x and y in 1/16 px.
type Key = (usize, char, u32, u32, u8, u8);

/// A character's coverage; its pixels relative to the pixel of its origin.
#[derive(Clone, Copy, Debug)]
struct Mask {
    area: Rect,
    first: usize,
}

/// Masks of characters, made when first asked for.
#[derive(Clone, Debug, Default)]
pub(crate) struct GlyphCache {
    masks: BTreeMap<Key, Mask>,
    coverages: Vec<u8>,
    contour: Vec<Point>,
    /// What the masks were made from: see [`GlyphCache::use_fonts`].
    fonts: Vec<(usize, usize)>,
}

/// Where one character stands and what it may touch.
pub(crate) struct Place<'a> {
    /// Font of the scene.
    pub font: usize,
    /// Origin, px of the picture.
    pub origin: Point,
    /// Width and height of the em, px of the picture.
    pub em: (f64, f64),
    /// Nothing outside is drawn, px of the picture.
    pub clip: Bounds,
    /// Pixels that may be touched.
    pub window: Rect,
    /// Outlines that it is cut to, px of the picture; not cut when absent.
    pub pieces: Option<&'a [Vec<Point>]>,
    /// What it is drawn with.
    pub ink: Ink<'a>,
}

impl GlyphCache {
    /// Throws the masks away when these are other fonts than before. Fonts are told apart by
    /// where their files lie in memory and how long they are: comparing them would cost more
    /// than drawing.
    pub fn use_fonts(&mut self, fonts: &[(String, Font)]) {
        let identity = |f: &(String, Font)| (f.1.file.as_ptr() as usize, f.1.file.len());
        if !fonts.iter().map(identity).eq(self.fonts.iter().copied()) {
            self.fonts = fonts.iter().map(identity).collect();
            self.masks.clear();
            self.coverages.clear();
        }
    }

    /// Draws an upright character.
    pub fn draw_upright(
        &mut self,
        raster: &mut Raster,
        (letter, glyph): (char, &Glyph),
        place: &Place<'_>,
        canvas: &mut Canvas,
    ) {
        let snap = |v: f64| (v.clamp(-1e7, 1e7) * PHASES as f64 + 0.5).floor() as i64;
        let (kx, ky) = (snap(place.origin.x), snap(place.origin.y));
        let steps = |v: f64| (v.clamp(0.0, 1e5) * SIZE_STEPS + 0.5) as u32;
        let (wide, high) = (steps(place.em.0), steps(place.em.1));
        let (x, y) = (kx.div_euclid(PHASES) as i32, ky.div_euclid(PHASES) as i32);
        let phases = (kx.rem_euclid(PHASES) as u8, ky.rem_euclid(PHASES) as u8);
        let placement = Placement {
            xx: f64::from(wide) / SIZE_STEPS,
            xy: 0.0,
            yx: 0.0,
            yy: f64::from(high) / SIZE_STEPS,
            x0: f64::from(phases.0) / PHASES as f64,
            y0: f64::from(phases.1) / PHASES as f64,
        };
        let is_kept = place.pieces.is_none() && placement.xx.max(placement.yy) <= LARGEST_KEPT_PX;
        if let (true, Ink::Flat(levels)) = (is_kept, place.ink) {
            let key = (place.font, letter, wide, high, phases.0, phases.1);
            let mask = self.mask(raster, key, glyph, &placement);
            let area = mask.area.moved(x, y);
            if area.intersection(&place.window).is_empty() {
                return;
            }
            // Asked of the whole mask, so that the road taken does not follow the window.
            if let Some(visible) = whole_pixels(&place.clip, area) {
                let visible = visible.intersection(&place.window);
                for row in visible.y..visible.bottom() {
                    let first =
                        mask.first + ((row - area.y) * area.width + visible.x - area.x) as usize;
                    let coverages = &self.coverages[first..first + visible.width as usize];
                    canvas.blend_row(visible.x, row, coverages, levels);
                }
                return;
            }
        }
        let placement = Placement {
            x0: placement.x0 + f64::from(x),
            y0: placement.y0 + f64::from(y),
            ..placement
        };
        self.draw_outline(raster, glyph, &placement, place, canvas);
    }

    /// Draws a character's outline as it is placed, turned or not.
    pub fn draw_outline(
        &mut self,
        raster: &mut Raster,
        glyph: &Glyph,
        placement: &Placement,
        place: &Place<'_>,
        canvas: &mut Canvas,
    ) {
        let area = pixel_bounds(glyph, placement);
        let ink = Bounds::from_rect([area.x, area.y, area.width, area.height]);
        raster.begin(place.clip.intersection(&ink), place.window);
        add_outline(raster, glyph, placement, place.pieces, &mut self.contour);
        raster.finish(|y, spans| place.ink.lay(canvas, y, spans));
    }

    fn mask(
        &mut self,
        raster: &mut Raster,
        key: Key,
        glyph: &Glyph,
        placement: &Placement,
    ) -> Mask {
        if let Some(&mask) = self.masks.get(&key) {
            return mask;
        }
        if self.coverages.len() > MOST_KEPT_BYTES {
            self.masks.clear();
            self.coverages.clear();
        }
        let area = pixel_bounds(glyph, placement);
        let first = self.coverages.len();
        self.coverages.resize(first + area.area() as usize, 0);
        raster.begin(
            Bounds::from_rect([area.x, area.y, area.width, area.height]),
            area,
        );
        add_outline(raster, glyph, placement, None, &mut self.contour);
        let coverages = &mut self.coverages[first..];
        raster.finish(|y, spans| {
            let row = ((y - area.y) * area.width) as usize;
            for span in spans {
                let x = row + (span.x - area.x) as usize;
                coverages[x..x + span.len as usize].fill(span.coverage);
            }
        });
        let mask = Mask { area, first };
        self.masks.insert(key, mask);
        mask
    }
}

/// The pixels that a placed character can touch.
fn pixel_bounds(glyph: &Glyph, placement: &Placement) -> Rect {
    let em = em_bounds(glyph);
    if em.left > em.right {
        return Rect::default();
    }
    let mut b = Bounds::EMPTY;
    for (x, y) in [
        (em.left, em.top),
        (em.right, em.top),
        (em.left, em.bottom),
        (em.right, em.bottom),
    ] {
        b.include(placement.map(Point::new(x, y)));
    }
    pixels_of(&b)
}

/// The pixels that a rectangle touches; far away ends are cut at 10^7 px.
pub(crate) fn pixels_of(b: &Bounds) -> Rect {
    // Written so that a bound that is not a number makes the rectangle empty.
    if !(b.left <= b.right && b.top <= b.bottom) {
        return Rect::default();
    }
    let whole = |v: f64| v.clamp(-1e7, 1e7) as i32;
    let (x, y) = (whole(b.left.floor()), whole(b.top.floor()));
    Rect::new(x, y, whole(b.right.ceil()) - x, whole(b.bottom.ceil()) - y)
}

/// The part of `area` inside `clip`, unless the clip cuts through one of its pixels.
fn whole_pixels(clip: &Bounds, area: Rect) -> Option<Rect> {
    let side = |v: f64, low: i32, high: i32| {
        let v = v.clamp(f64::from(low), f64::from(high));
        (v.floor() == v).then_some(v as i32)
    };
    let x = side(clip.left, area.x, area.right())?;
    let y = side(clip.top, area.y, area.bottom())?;
    let right = side(clip.right, area.x, area.right())?;
    let bottom = side(clip.bottom, area.y, area.bottom())?;
    Some(Rect::new(x, y, (right - x).max(0), (bottom - y).max(0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flat_curves_stray_less_than_promised() {
        // A quarter of the parabola y = x²/100 from (0, 0) to (100, 100): control point (50, 0).
        let contour = [
            Segment::Move(Point::new(0.0, 0.0)),
            Segment::Quad(Point::new(50.0, 0.0), Point::new(100.0, 100.0)),
        ];
        let mut points = Vec::new();
        flatten(&contour, |p| p, &mut points);
        for pair in points.windows(2) {
            let middle = Point::new((pair[0].x + pair[1].x) / 2.0, (pair[0].y + pair[1].y) / 2.0);
            assert!((middle.y - middle.x * middle.x / 100.0).abs() <= FLATNESS_PX * 2.3);
        }
        // The same curve as a cubic.
        let third = |a: f64, c: f64| a + (c - a) * 2.0 / 3.0;
        let cubic = [
            Segment::Move(Point::new(0.0, 0.0)),
            Segment::Cubic(
                Point::new(third(0.0, 50.0), 0.0),
                Point::new(third(100.0, 50.0), third(100.0, 0.0)),
                Point::new(100.0, 100.0),
            ),
        ];
        let mut points = Vec::new();
        flatten(&cubic, |p| p, &mut points);
        assert!(points.len() > 10);
        assert!(
            points
                .iter()
                .all(|p| (p.y - p.x * p.x / 100.0).abs() < 1e-9)
        );
    }
}
