//! The stand-in display unit: draws scenes with another rasteriser and another text engine.
//!
//! Outlines go through tiny-skia, whose anti-aliasing counts sub-samples (the reference
//! renderer uses exact areas). Upright words go through fontdue, each glyph on a whole pixel
//! both ways, as units with a glyph cache do. Words at an angle are filled as outlines, since
//! a glyph cache has no turned glyphs.
//!
//! Clips are applied to the geometry: an outline is cut at the clip's edges, a glyph loses the
//! pixels outside. That keeps the drawing independent of masks and cheap.

use std::collections::BTreeMap;

use tiny_skia::{
    Color, FillRule, GradientStop, LinearGradient, Mask, Paint, PathBuilder, Pixmap, Shader,
    SpreadMode, Transform,
};

use crate::colour::Shade;
use crate::definition::Definition;
use crate::picture::{Encoding, Picture, Point, Rect, Rgb, Subsampling};
use crate::reference::scene::{Bounds, Item, Layer, Scene, Shape, Words};
use crate::reference::text::{Font, Segment};

/// Straight pieces that a curve of a turned glyph is cut into: at 60 px the error stays
/// below 0.05 px.
const CURVE_PIECES: usize = 8;

/// What the unit makes of one item of a scene; see [`StandIn::draw_edited`].
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Draws it as it is.
    Keep,
    /// Leaves it out.
    Drop,
    /// Draws it in another colour.
    Recolor(Rgb),
    /// Draws other words in its place.
    Reword(String),
}

/// One region's scenes: what never moves, what moves, and the region's pixels.
pub type RegionScenes<'a> = (&'a Scene, &'a Scene, Rect);

/// A display unit with its canvas and glyph cache.
pub struct StandIn {
    background: Rgb,
    canvas: Pixmap,
    /// What lies under everything that moves, and the scenes that it was drawn from.
    ground: Option<Ground>,
    faces: Vec<Face>,
    glyphs: BTreeMap<GlyphKey, Glyph>,
    cut: Cut,
}

struct Ground {
    scenes: Vec<(Scene, Rect)>,
    pixels: Pixmap,
}

struct Face {
    outlines: Font,
    engine: Option<fontdue::Font>,
}

/// Font, size (bits of an `f32`), character.
type GlyphKey = (usize, u32, char);

struct Glyph {
    left: i32,
    top: i32,
    width: usize,
    coverage: Vec<u8>,
}

/// Buffers for cutting outlines.
#[derive(Default)]
struct Cut {
    from: Vec<Point>,
    to: Vec<Point>,
}

impl StandIn {
    /// A unit that shows `definition`.
    ///
    /// # Panics
    /// When the canvas has no pixels; a checked definition's has some.
    #[must_use]
    pub fn new(definition: &Definition) -> Self {
        let (width, height) = definition.size();
        let canvas =
            Pixmap::new(width as u32, height as u32).expect("a checked definition has a canvas");
        let faces = definition
            .fonts()
            .iter()
            .map(|(_, font)| Face {
                outlines: font.clone(),
                engine: fontdue::Font::from_bytes(
                    font.file.as_slice(),
                    fontdue::FontSettings::default(),
                )
                .ok(),
            })
            .collect();
        Self {
            background: definition.background(),
            canvas,
            ground: None,
            faces,
            glyphs: BTreeMap::new(),
            cut: Cut::default(),
        }
    }

    /// Draws all regions into `out` (R'G'B', 4:4:4), which is made anew when it has another
    /// shape.
    pub fn draw(&mut self, regions: &[RegionScenes], out: &mut Picture) {
        self.restore_ground(regions);
        for (still, moving, area) in regions {
            self.draw_layers(
                still,
                moving,
                *area,
                &[Layer::Moving, Layer::Foreground],
                &mut |_, _| Edit::Keep,
            );
        }
        self.copy_out(out);
    }

    /// Like [`StandIn::draw`], but asks `edit` what to do with each item: it is given the index
    /// of the region, the item, and its words when it has some.
    pub fn draw_edited(
        &mut self,
        regions: &[RegionScenes],
        edit: &mut dyn FnMut(usize, &Item, Option<&str>) -> Edit,
        out: &mut Picture,
    ) {
        self.canvas.fill(color(self.background));
        let all = [Layer::Background, Layer::Moving, Layer::Foreground];
        for (k, (still, moving, area)) in regions.iter().enumerate() {
            self.draw_layers(still, moving, *area, &all, &mut |item, words| {
                edit(k, item, words)
            });
        }
        self.copy_out(out);
    }

    /// Brings the canvas to what lies under everything that moves.
    fn restore_ground(&mut self, regions: &[RegionScenes]) {
        let is_same = |g: &Ground| {
            g.scenes.len() == regions.len()
                && g.scenes
                    .iter()
                    .zip(regions)
                    .all(|((scene, area), (still, _, a))| area == a && scene == *still)
        };
        if let Some(ground) = self.ground.as_ref().filter(|g| is_same(g)) {
            self.canvas.data_mut().copy_from_slice(ground.pixels.data());
            return;
        }
        self.canvas.fill(color(self.background));
        let nothing = Scene::default();
        for (still, _, area) in regions {
            self.draw_layers(still, &nothing, *area, &[Layer::Background], &mut |_, _| {
                Edit::Keep
            });
        }
        let scenes = regions
            .iter()
            .map(|(still, _, area)| ((*still).clone(), *area))
            .collect();
        self.ground = Some(Ground {
            scenes,
            pixels: self.canvas.clone(),
        });
    }

    fn draw_layers(
        &mut self,
        still: &Scene,
        moving: &Scene,
        area: Rect,
        layers: &[Layer],
        edit: &mut dyn FnMut(&Item, Option<&str>) -> Edit,
    ) {
        // What never changes stands in the scene that is kept; what lies over it is drawn as listed.
        for scene in [still, moving] {
            for item in scene.items().iter().filter(|i| layers.contains(&i.layer)) {
                self.draw_item(scene, item, area, edit);
            }
        }
    }

    fn draw_item(
        &mut self,
        scene: &Scene,
        item: &Item,
        area: Rect,
        edit: &mut dyn FnMut(&Item, Option<&str>) -> Edit,
    ) {
        let region = Bounds::from_rect([area.x, area.y, area.width, area.height]);
        let clip = item.clip.map_or(region, |c| c.intersection(&region));
        if clip.is_empty() || item.bounds.intersection(&clip).is_empty() {
            return;
        }
        let words = match &item.shape {
            Shape::Words(w) => Some(scene.words(w)),
            Shape::Fill { .. } => None,
        };
        let own = Ink {
            color: item.color,
            opacity: item.opacity,
            shade: scene.shade(item),
        };
        let (ink, reworded) = match edit(item, words) {
            Edit::Keep => (own, None),
            Edit::Drop => return,
            Edit::Recolor(color) => {
                let shade = None;
                (
                    Ink {
                        color,
                        shade,
                        ..own
                    },
                    None,
                )
            }
            Edit::Reword(words) => (own, Some(words)),
        };
        let ink = &ink;
        // Outlines come cut already.
        let cut = scene.pieces(item).filter(|_| words.is_some());
        let mask = cut.and_then(|pieces| self.inside(pieces));
        let mask = mask.as_ref();
        match &item.shape {
            Shape::Fill { first, last } => {
                self.fill(scene.contours(*first, *last), &item.bounds, &clip, ink);
            }
            Shape::Words(w) => {
                let words = reworded.as_deref().unwrap_or_else(|| scene.words(w));
                if w.direction.1 == 0.0 && w.direction.0 > 0.0 {
                    self.upright(w, words, (&clip, mask), ink);
                } else {
                    self.turned(w, words, (&clip, mask), ink);
                }
            }
        }
    }

    /// What lies inside outlines.
    fn inside(&self, outlines: &[Vec<Point>]) -> Option<Mask> {
        let mut path = PathBuilder::new();
        for outline in outlines {
            push_contour(&mut path, outline);
        }
        let mut mask = Mask::new(self.canvas.width(), self.canvas.height())?;
        if let Some(path) = path.finish() {
            mask.fill_path(&path, FillRule::Winding, true, Transform::identity());
        }
        Some(mask)
    }

    /// Fills contours by the non-zero rule, cut at `clip`.
    fn fill<'a>(
        &mut self,
        contours: impl Iterator<Item = &'a [Point]>,
        bounds: &Bounds,
        clip: &Bounds,
        ink: &Ink<'_>,
    ) {
        let needs_cut = bounds.left < clip.left
            || bounds.top < clip.top
            || bounds.right > clip.right
            || bounds.bottom > clip.bottom;
        let mut path = PathBuilder::new();
        for contour in contours {
            if needs_cut {
                push_contour(&mut path, self.cut.contour(contour, clip));
            } else {
                push_contour(&mut path, contour);
            }
        }
        self.fill_path(path, None, ink);
    }

    fn fill_path(&mut self, path: PathBuilder, mask: Option<&Mask>, ink: &Ink<'_>) {
        let Some(path) = path.finish() else { return };
        let mut paint = Paint {
            shader: ink.shader(),
            ..Paint::default()
        };
        paint.anti_alias = true;
        self.canvas.fill_path(
            &path,
            &paint,
            FillRule::Winding,
            Transform::identity(),
            mask,
        );
    }

    /// Upright words from the glyph cache, every glyph on a whole pixel.
    fn upright(&mut self, w: &Words, words: &str, cut: Within<'_>, ink: &Ink<'_>) {
        let face = w.font.0;
        let base_line = libm::round(w.origin.y) as i32;
        let mut x = w.origin.x;
        for c in words.chars() {
            let key = (face, (w.size as f32).to_bits(), c);
            if !self.glyphs.contains_key(&key) {
                let glyph = self.faces[face].rasterised(c, w.size as f32);
                self.glyphs.insert(key, glyph);
            }
            let left = libm::round(x) as i32;
            blend(
                &mut self.canvas,
                &self.glyphs[&key],
                left,
                base_line,
                cut,
                ink,
            );
            x += self.faces[face].outlines.advance(c) * w.size;
        }
    }

    /// Words at an angle, as outlines.
    fn turned(&mut self, w: &Words, words: &str, (clip, mask): Within<'_>, ink: &Ink<'_>) {
        let (c, s) = w.direction;
        let mut path = PathBuilder::new();
        let mut along = 0.0;
        let mut contour = Vec::new();
        for character in words.chars() {
            let outlines = &self.faces[w.font.0].outlines;
            for segments in outlines.glyph(character).map_or(&[][..], |g| &g.contours) {
                contour.clear();
                flatten(segments, &mut contour);
                for p in &mut contour {
                    let (x, y) = ((p.x + along) * w.size, p.y * w.size);
                    *p = Point::new(w.origin.x + x * c - y * s, w.origin.y + x * s + y * c);
                }
                push_contour(&mut path, self.cut.contour(&contour, clip));
            }
            along += self.faces[w.font.0].outlines.advance(character);
        }
        self.fill_path(path, mask, ink);
    }

    fn copy_out(&self, out: &mut Picture) {
        let (width, height) = (self.canvas.width() as usize, self.canvas.height() as usize);
        let is_fit = out.encoding() == Encoding::Rgb
            && out.subsampling() == Subsampling::None
            && (out.width(), out.height()) == (width, height);
        if !is_fit {
            *out = Picture::filled(width, height, Encoding::Rgb, Subsampling::None, [0; 3]);
        }
        for (k, plane) in out.planes_mut().iter_mut().enumerate() {
            for (level, pixel) in plane
                .levels_mut()
                .iter_mut()
                .zip(self.canvas.data().chunks_exact(4))
            {
                *level = pixel[k];
            }
        }
    }
}

impl Face {
    fn rasterised(&self, c: char, size: f32) -> Glyph {
        let Some(engine) = &self.engine else {
            return Glyph {
                left: 0,
                top: 0,
                width: 0,
                coverage: Vec::new(),
            };
        };
        let (m, coverage) = engine.rasterize(c, size);
        Glyph {
            left: m.xmin,
            top: -(m.ymin + m.height as i32),
            width: m.width,
            coverage,
        }
    }
}

impl Cut {
    /// The part of a closed contour inside `clip` (Sutherland and Hodgman, "Reentrant polygon
    /// clipping", 1974). Parts that fall apart stay joined along the edge, where they cover
    /// nothing.
    fn contour(&mut self, contour: &[Point], clip: &Bounds) -> &[Point] {
        self.from.clear();
        self.from.extend_from_slice(contour);
        let lerp = |a: Point, b: Point, share: f64| {
            Point::new(a.x + (b.x - a.x) * share, a.y + (b.y - a.y) * share)
        };
        type Coordinate = fn(Point) -> f64;
        let sides: [(Coordinate, f64, f64); 4] = [
            (|p| p.x, clip.left, 1.0),
            (|p| p.x, clip.right, -1.0),
            (|p| p.y, clip.top, 1.0),
            (|p| p.y, clip.bottom, -1.0),
        ];
        for (coordinate, edge, sign) in sides {
            self.to.clear();
            for k in 0..self.from.len() {
                let a = self.from[k];
                let b = self.from[(k + 1) % self.from.len()];
                let (da, db) = ((coordinate(a) - edge) * sign, (coordinate(b) - edge) * sign);
                if da >= 0.0 {
                    self.to.push(a);
                }
                if (da >= 0.0) != (db >= 0.0) {
                    self.to.push(lerp(a, b, da / (da - db)));
                }
            }
            std::mem::swap(&mut self.from, &mut self.to);
        }
        &self.from
    }
}

fn push_contour(path: &mut PathBuilder, contour: &[Point]) {
    let [first, rest @ ..] = contour else { return };
    if rest.len() < 2 {
        return;
    }
    path.move_to(first.x as f32, first.y as f32);
    for p in rest {
        path.line_to(p.x as f32, p.y as f32);
    }
    path.close();
}

fn flatten(segments: &[Segment], out: &mut Vec<Point>) {
    let mut at = Point::default();
    for segment in segments {
        let (c1, c2, end) = match *segment {
            Segment::Move(p) | Segment::Line(p) => {
                out.push(p);
                at = p;
                continue;
            }
            // A quadratic as the cubic that draws the same curve.
            Segment::Quad(c, p) => {
                let toward = |from: Point| {
                    Point::new(
                        from.x + (c.x - from.x) * 2.0 / 3.0,
                        from.y + (c.y - from.y) * 2.0 / 3.0,
                    )
                };
                (toward(at), toward(p), p)
            }
            Segment::Cubic(c1, c2, p) => (c1, c2, p),
        };
        for k in 1..=CURVE_PIECES {
            let t = k as f64 / CURVE_PIECES as f64;
            let u = 1.0 - t;
            let weights = [u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t];
            let points = [at, c1, c2, end];
            let mut p = Point::default();
            for (weight, q) in weights.iter().zip(points) {
                p.x += weight * q.x;
                p.y += weight * q.y;
            }
            out.push(p);
        }
        at = end;
    }
}

/// Blends a glyph in encoded levels, as most units do.
fn blend(
    canvas: &mut Pixmap,
    glyph: &Glyph,
    left: i32,
    base_line: i32,
    (clip, mask): Within<'_>,
    ink: &Ink<'_>,
) {
    if glyph.width == 0 {
        return;
    }
    let edge = |v: f64| libm::round(v) as i32;
    let whole = Rect::new(0, 0, canvas.width() as i32, canvas.height() as i32);
    let clip = Rect::new(
        edge(clip.left),
        edge(clip.top),
        edge(clip.right) - edge(clip.left),
        edge(clip.bottom) - edge(clip.top),
    )
    .intersection(&whole);
    let stride = canvas.width() as usize * 4;
    let data = canvas.data_mut();
    for (row, coverage) in glyph.coverage.chunks_exact(glyph.width).enumerate() {
        let y = base_line + glyph.top + row as i32;
        for (column, &share) in coverage.iter().enumerate() {
            let x = left + glyph.left + column as i32;
            if share == 0 || !clip.contains(x, y) {
                continue;
            }
            let pixel = &mut data[y as usize * stride + x as usize * 4..][..3];
            let share = match mask {
                Some(mask) => {
                    let inside = mask.data()[y as usize * mask.width() as usize + x as usize];
                    ((u32::from(share) * u32::from(inside) + 127) / 255) as u8
                }
                None => share,
            };
            let share = if ink.opacity < 1.0 {
                (f64::from(share) * ink.opacity + 0.5) as u8
            } else {
                share
            };
            for (level, ink) in pixel.iter_mut().zip(ink.color.0) {
                let (share, old, new) = (u32::from(share), u32::from(*level), u32::from(ink));
                *level = ((old * (255 - share) + new * share + 127) / 255) as u8;
            }
        }
    }
}

/// Where an item may be drawn: a rectangle, and outlines within it.
type Within<'a> = (&'a Bounds, Option<&'a Mask>);

/// What an item is drawn with. The glyph cache knows colours and opacities, no shades.
#[derive(Clone, Copy)]
struct Ink<'a> {
    color: Rgb,
    opacity: f64,
    shade: Option<&'a Shade>,
}

impl Ink<'_> {
    fn shader(&self) -> Shader<'static> {
        let faded = |rgb: Rgb, opacity: f64| {
            let mut color = color(rgb);
            color.set_alpha((opacity * self.opacity) as f32);
            color
        };
        let flat = || Shader::SolidColor(faded(self.color, 1.0));
        let Some(shade) = self.shade else {
            return flat();
        };
        let point = |p: Point| tiny_skia::Point::from_xy(p.x as f32, p.y as f32);
        let stop =
            |s: &crate::colour::Stop| GradientStop::new(s.offset as f32, faded(s.color, s.opacity));
        LinearGradient::new(
            point(shade.from()),
            point(shade.to()),
            shade.stops().iter().map(stop).collect(),
            SpreadMode::Pad,
            Transform::identity(),
        )
        .unwrap_or_else(flat)
    }
}

fn color(Rgb([r, g, b]): Rgb) -> Color {
    Color::from_rgba8(r, g, b, 255)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(left: f64, top: f64, right: f64, bottom: f64) -> Vec<Point> {
        vec![
            Point::new(left, top),
            Point::new(right, top),
            Point::new(right, bottom),
            Point::new(left, bottom),
        ]
    }

    fn area(contour: &[Point]) -> f64 {
        let next = contour.iter().cycle().skip(1);
        contour
            .iter()
            .zip(next)
            .map(|(a, b)| a.x * b.y - b.x * a.y)
            .sum::<f64>()
            / 2.0
    }

    /// What a mark with few edges cannot average out when this unit's pictures are read.
    #[test]
    fn level_edges_are_drawn_on_quarters_of_a_pixel() {
        let text = crate::demo::ENGINE_STRIP;
        let definition = Definition::from_toml(text, "bundled", std::path::Path::new("")).unwrap();
        let mut unit = StandIn::new(&definition);
        for k in 0..32 {
            let top = 4.0 + f64::from(k) / 32.0;
            unit.canvas.fill(color(Rgb([0, 0, 0])));
            let mut path = PathBuilder::new();
            push_contour(&mut path, &square(2.0, top, 12.0, 9.0));
            let ink = Ink {
                color: Rgb([255, 255, 255]),
                opacity: 1.0,
                shade: None,
            };
            unit.fill_path(path, None, &ink);
            let covered = (4..9)
                .map(|y| unit.canvas.pixel(6, y).map_or(0.0, |p| f64::from(p.red())))
                .sum::<f64>();
            let drawn = 9.0 - covered / 255.0;
            assert!((drawn - top).abs() <= 0.13, "{top}: {drawn}");
            let quarters = drawn * 4.0;
            assert!((quarters - quarters.round()).abs() < 0.05, "{top}: {drawn}");
        }
    }

    #[test]
    fn cutting_keeps_what_is_inside() {
        let clip = Bounds {
            left: 1.0,
            top: 1.0,
            right: 3.0,
            bottom: 4.0,
        };
        let mut cut = Cut::default();
        assert_eq!(area(cut.contour(&square(0.0, 0.0, 2.0, 2.0), &clip)), 1.0);
        assert_eq!(area(cut.contour(&square(-9.0, -9.0, 9.0, 9.0), &clip)), 6.0);
        assert_eq!(area(cut.contour(&square(1.5, 1.5, 2.5, 2.5), &clip)), 1.0);
        assert!(cut.contour(&square(5.0, 5.0, 6.0, 6.0), &clip).is_empty());
    }

    #[test]
    fn cutting_keeps_the_way_round() {
        let clip = Bounds {
            left: 0.0,
            top: 0.0,
            right: 1.0,
            bottom: 1.0,
        };
        let mut hole = square(-1.0, -1.0, 2.0, 2.0);
        hole.reverse();
        assert_eq!(area(Cut::default().contour(&hole, &clip)), -1.0);
    }

    #[test]
    fn a_quadratic_ends_where_it_says() {
        let mut out = Vec::new();
        let (a, b, c) = (
            Point::new(0.0, 0.0),
            Point::new(1.0, 0.0),
            Point::new(1.0, 1.0),
        );
        flatten(&[Segment::Move(a), Segment::Quad(b, c)], &mut out);
        assert_eq!(out.len(), 1 + CURVE_PIECES);
        assert_eq!(out[CURVE_PIECES], c);
        // The middle of a quadratic: a quarter of each end and half of the control point.
        assert!((out[CURVE_PIECES / 2].x - 0.75).abs() < 1e-12);
        assert!((out[CURVE_PIECES / 2].y - 0.25).abs() < 1e-12);
    }
}
