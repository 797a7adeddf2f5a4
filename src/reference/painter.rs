//! Scenes become pixels.
//!
//! [`Painter::draw`] draws the chosen layers of a scene. A pixel's level depends on the scene, the look and the canvas's
//! area, never on what was drawn before or on how much is redrawn.

use super::canvas::{Canvas, Look};
use super::glyphs::{GlyphCache, Place, Placement, pixels_of};
use super::ink::{Ink, Wash};
use super::placement::cells;
use super::raster::Raster;
use super::scene::{Bounds, Item, Layer, Scene, Shape, Words};
use super::text::Font;
use crate::picture::{Point, Rect};

/// Which items of a scene are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Filter {
    /// Draw [`Layer::Background`].
    pub background: bool,
    /// Draw [`Layer::Moving`].
    pub moving: bool,
    /// Draw [`Layer::Foreground`].
    pub foreground: bool,
    /// Draw lines of words.
    pub words: bool,
    /// Draw filled outlines, and digits that roll.
    pub shapes: bool,
}

impl Filter {
    /// Everything but words.
    pub const SHAPES: Self = Self {
        words: false,
        ..Self::ALL
    };
    /// Everything.
    pub const ALL: Self = Self {
        background: true,
        moving: true,
        foreground: true,
        words: true,
        shapes: true,
    };
    /// What never changes and lies below what moves.
    pub const BACKGROUND: Self = Self {
        moving: false,
        foreground: false,
        ..Self::ALL
    };
    /// What moves, and what lies on top of it.
    pub const ABOVE_BACKGROUND: Self = Self {
        background: false,
        ..Self::ALL
    };

    /// Whether items of `layer` are drawn.
    #[must_use]
    pub const fn has_layer(&self, layer: Layer) -> bool {
        match layer {
            Layer::Background => self.background,
            Layer::Moving => self.moving,
            Layer::Foreground => self.foreground,
        }
    }

    /// Whether `item` is drawn.
    #[must_use]
    pub const fn has(&self, item: &Item) -> bool {
        let has_kind = match item.shape {
            Shape::Fill { .. } => self.shapes,
            Shape::Words(w) => self.words || (self.shapes && w.is_rolling),
        };
        has_kind && self.has_layer(item.layer)
    }
}

/// Scratch space for drawing; one for each thread.
#[derive(Clone, Debug, Default)]
pub struct Painter {
    raster: Raster,
    glyphs: GlyphCache,
    wash: Wash,
}

impl Painter {
    /// Scratch space that grows when used.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Draws the items of `scene` that `filter` lets through, those of the background first, each in the order they
    /// were added. Pixels outside `clip` (of the frame) stay as they are; a clip changes nothing
    /// inside it. `fonts` are those that the scene's font ids count in; words in a font that is
    /// not there and characters that a font lacks draw nothing.
    pub fn draw(
        &mut self,
        scene: &Scene,
        fonts: &[(String, Font)],
        look: &Look,
        canvas: &mut Canvas,
        filter: Filter,
        clip: Rect,
    ) {
        self.draw_within(scene, fonts, look, canvas, filter, &[clip]);
    }

    /// [`Painter::draw`] within several clips, no two of which share a pixel.
    pub fn draw_within(
        &mut self,
        scene: &Scene,
        fonts: &[(String, Font)],
        look: &Look,
        canvas: &mut Canvas,
        filter: Filter,
        clips: &[Rect],
    ) {
        self.glyphs.use_fonts(fonts);
        if clips.is_empty() {
            return;
        }
        for is_below in [true, false] {
            for item in scene
                .items()
                .iter()
                .filter(|i| (i.layer == Layer::Background) == is_below && filter.has(i))
            {
                // Once an item, not once a clip: there may be many of both.
                let touched = touched_pixels(item, look).intersection(&canvas.area());
                if touched.is_empty() {
                    continue;
                }
                for clip in clips {
                    let window = clip.intersection(&touched);
                    if !window.is_empty() {
                        let clip = clip.intersection(&canvas.area());
                        self.item(scene, item, fonts, look, canvas, (clip, window));
                    }
                }
            }
        }
    }

    /// Draws `item` in the part `touched` of `window` that it touches.
    fn item(
        &mut self,
        scene: &Scene,
        item: &Item,
        fonts: &[(String, Font)],
        look: &Look,
        canvas: &mut Canvas,
        (window, touched): (Rect, Rect),
    ) {
        let area = canvas.area();
        let mut clip = Bounds::from_rect([area.x, area.y, area.width, area.height]);
        if let Some(own) = &item.clip {
            clip = clip.intersection(&look.geometry.map_bounds(own));
        }
        let shade = scene.shade(item);
        let wash = if shade.is_some() || item.opacity < 1.0 {
            let mut wash = std::mem::take(&mut self.wash);
            wash.set(item.color, shade, item.opacity, look);
            Some(wash)
        } else {
            None
        };
        let paint = match &wash {
            Some(wash) => Ink::Wash(wash),
            None => Ink::Flat(look.levels(item.color)),
        };
        match &item.shape {
            Shape::Fill { first, last } => {
                // Whole pixels, so that this cut never acts as a clip.
                let ink = pixels_of(&look.geometry.map_bounds(&item.bounds));
                let ink = Bounds::from_rect([ink.x, ink.y, ink.width, ink.height]);
                self.raster.begin(clip.intersection(&ink), touched);
                for contour in scene.contours(*first, *last) {
                    self.raster
                        .contour(contour.iter().map(|&p| look.geometry.map(p)));
                }
                self.raster.finish(|y, spans| paint.lay(canvas, y, spans));
            }
            Shape::Words(words) => {
                if let Some((_, font)) = fonts.get(words.font.0) {
                    let pieces = scene.pieces(item).map(|pieces| mapped(pieces, look));
                    let within = (clip, window, pieces.as_deref());
                    self.words(scene, words, font, look, canvas, within, paint);
                }
            }
        }
        if let Some(wash) = wash {
            self.wash = wash;
        }
    }

    #[expect(clippy::too_many_arguments, reason = "a line of words is all of these")]
    fn words(
        &mut self,
        scene: &Scene,
        words: &Words,
        font: &Font,
        look: &Look,
        canvas: &mut Canvas,
        (clip, window, pieces): (Bounds, Rect, Option<&[Vec<Point>]>),
        ink: Ink<'_>,
    ) {
        let geometry = &look.geometry;
        let (c, s) = words.direction;
        let (wide, high) = (geometry.sx * words.size, geometry.sy * words.size);
        for (letter, origin, _) in cells(scene, words, font, &look.text) {
            let Some(glyph) = font.glyph(letter).filter(|g| !g.contours.is_empty()) else {
                continue;
            };
            let origin = geometry.map(origin);
            let place = Place {
                font: words.font.0,
                origin,
                em: (wide, high),
                clip,
                window,
                pieces,
                ink,
            };
            if words.direction == (1.0, 0.0) {
                self.glyphs
                    .draw_upright(&mut self.raster, (letter, glyph), &place, canvas);
            } else {
                let placement = Placement {
                    xx: wide * c,
                    xy: -wide * s,
                    yx: high * s,
                    yy: high * c,
                    x0: origin.x,
                    y0: origin.y,
                };
                self.glyphs
                    .draw_outline(&mut self.raster, glyph, &placement, &place, canvas);
            }
        }
    }
}

/// Outlines in pixels of the picture.
fn mapped(pieces: &[Vec<Point>], look: &Look) -> Vec<Vec<Point>> {
    let piece = |p: &Vec<Point>| p.iter().map(|&p| look.geometry.map(p)).collect();
    pieces.iter().map(piece).collect()
}

/// The pixels of the picture that an item can touch, clip taken into account.
#[must_use]
pub fn touched_pixels(item: &Item, look: &Look) -> Rect {
    let geometry = &look.geometry;
    let bounds = item
        .clip
        .map_or(item.bounds, |clip| item.bounds.intersection(&clip));
    let pixels = pixels_of(&geometry.map_bounds(&bounds));
    match &item.shape {
        Shape::Fill { .. } => pixels,
        Shape::Words(_) if pixels.is_empty() => pixels,
        Shape::Words(words) => {
            let [across, down] = geometry.scale_at(words.origin);
            let reach = look.text.reach_px(words) * across.max(down);
            // Characters snap to their grid.
            pixels.grown(1 + libm::ceil(reach) as i32)
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::picture::{Encoding, Matrix, Point, Range, Rgb};
    use crate::reference::canvas::Geometry;
    use crate::reference::text::FontId;

    pub(in crate::reference) const WHITE: Rgb = Rgb([255; 3]);
    pub(in crate::reference) const RED: Rgb = Rgb([255, 0, 0]);
    pub(in crate::reference) const BLACK: Rgb = Rgb([0; 3]);

    pub(in crate::reference) fn fonts() -> Vec<(String, Font)> {
        vec![(
            "b612".into(),
            Font::built_in("B612 Regular").expect("it is part of the tool"),
        )]
    }

    pub(in crate::reference) fn bounds(left: f64, top: f64, right: f64, bottom: f64) -> Bounds {
        Bounds {
            left,
            top,
            right,
            bottom,
        }
    }

    pub(in crate::reference) fn drawn(scene: &Scene, look: &Look, area: Rect) -> Canvas {
        let mut canvas = Canvas::new(area, 3, look.levels(BLACK));
        Painter::new().draw(scene, &fonts(), look, &mut canvas, Filter::ALL, area);
        canvas
    }

    #[test]
    fn the_background_lies_below_and_the_rest_is_drawn_as_it_was_added() {
        let mut scene = Scene::default();
        scene.set_layer(Layer::Moving);
        scene.set_clip(Some(bounds(0.0, 0.0, 2.5, 1.0)));
        scene.rectangle(WHITE, bounds(1.0, 0.0, 4.0, 1.0));
        scene.set_clip(None);
        scene.set_layer(Layer::Foreground);
        scene.rectangle(RED, bounds(1.0, 0.0, 2.0, 1.0));
        scene.set_layer(Layer::Background);
        scene.rectangle(Rgb([7; 3]), bounds(0.0, 0.0, 4.0, 1.0));
        let area = Rect::new(0, 0, 4, 1);
        let canvas = drawn(&scene, &Look::rgb(), area);
        assert_eq!(canvas.planes()[0].levels(), [7, 255, 131, 7]);
        assert_eq!(canvas.planes()[1].levels(), [7, 0, 131, 7]);
        let mut canvas = Canvas::new(area, 1, [0; 3]);
        let filter = Filter {
            moving: false,
            ..Filter::ALL
        };
        Painter::new().draw(
            &scene,
            &fonts(),
            &Look::rgb(),
            &mut canvas,
            filter,
            Rect::new(0, 0, 3, 1),
        );
        assert_eq!(canvas.planes()[0].levels(), [7, 255, 7, 0]);
    }

    #[test]
    fn geometry_moves_and_scales_shapes_clips_and_words() {
        let mut scene = Scene::default();
        scene.set_clip(Some(bounds(0.0, 0.0, 3.0, 9.0)));
        scene.rectangle(WHITE, bounds(1.0, 0.0, 9.0, 1.0));
        let mut look = Look::rgb();
        look.geometry = Geometry::upright([2.0, 1.0], [0.5, 0.0]);
        let canvas = drawn(&scene, &look, Rect::new(0, 0, 9, 1));
        assert_eq!(
            canvas.planes()[0].levels(),
            [0, 0, 128, 255, 255, 255, 128, 0, 0]
        );

        let mut small = Scene::default();
        small.words_at(
            WHITE,
            FontId(0),
            10.0,
            Point::new(2.0, 12.0),
            (1.0, 0.0),
            20.0,
            "A7",
        );
        let mut large = Scene::default();
        large.words_at(
            WHITE,
            FontId(0),
            20.0,
            Point::new(5.0, 25.0),
            (1.0, 0.0),
            40.0,
            "A7",
        );
        look.geometry = Geometry::upright([2.0, 2.0], [1.0, 1.0]);
        let area = Rect::new(0, 0, 50, 30);
        assert_eq!(
            drawn(&small, &look, area),
            drawn(&large, &Look::rgb(), area)
        );
    }

    /// The letter H of B612 Regular is two uprights and a bar; its ink is 100 % inside them.
    #[test]
    fn kept_characters_are_the_exact_outline_at_their_snapped_place() {
        let font = &fonts()[0].1;
        for (dx, dy) in [(0.0, 0.0), (0.25, 0.5), (0.5, 0.8125)] {
            let at = Point::new(3.0 + dx, 20.0 + dy);
            let mut scene = Scene::default();
            scene.words_at(WHITE, FontId(0), 22.0, at, (1.0, 0.0), 60.0, "H8é");
            let area = Rect::new(0, 0, 70, 32);
            let kept = drawn(&scene, &Look::rgb(), area);
            // The same outlines, turned by an angle too small to see: the road without masks.
            let mut turned = Scene::default();
            turned.words_at(WHITE, FontId(0), 22.0, at, (1.0, 1e-12), 60.0, "H8é");
            let exact = drawn(&turned, &Look::rgb(), area);
            // Characters after the first snap to 1/16 px: up to 1/32 px of an edge, 8 levels.
            let pairs = kept.planes()[0]
                .levels()
                .iter()
                .zip(exact.planes()[0].levels());
            assert!(
                pairs.clone().all(|(a, b)| a.abs_diff(*b) <= 17),
                "within a corner's two edges"
            );
            let end = at.x + font.advance('H') * 22.0;
            for y in 0..32 {
                for x in 0..end as usize - 1 {
                    let (a, b) = (kept.planes()[0].at(x, y), exact.planes()[0].at(x, y));
                    assert!(a.abs_diff(b) <= 1, "({x}, {y}): {a} {b}");
                }
            }
            let ink: f64 = kept.planes()[0]
                .levels()
                .iter()
                .map(|&v| f64::from(v) / 255.0)
                .sum();
            assert!(ink > 100.0, "words are there: {ink} px");
        }
    }

    #[test]
    fn words_are_clipped_to_fractions_of_a_pixel() {
        let mut scene = Scene::default();
        scene.words_at(
            WHITE,
            FontId(0),
            40.0,
            Point::new(1.0, 30.0),
            (1.0, 0.0),
            60.0,
            "HH",
        );
        let area = Rect::new(0, 0, 60, 40);
        let whole = drawn(&scene, &Look::rgb(), area);
        let mut cut = Scene::default();
        cut.set_clip(Some(bounds(0.0, 0.0, 60.0, 20.5)));
        cut.words_at(
            WHITE,
            FontId(0),
            40.0,
            Point::new(1.0, 30.0),
            (1.0, 0.0),
            60.0,
            "HH",
        );
        let cut = drawn(&cut, &Look::rgb(), area);
        for x in 0..60 {
            assert_eq!(cut.planes()[0].at(x, 19), whole.planes()[0].at(x, 19));
            let half = f64::from(whole.planes()[0].at(x, 20)) / 2.0;
            assert!((f64::from(cut.planes()[0].at(x, 20)) - half).abs() <= 1.0);
            assert_eq!(cut.planes()[0].at(x, 21), 0);
        }
    }

    #[test]
    fn drawing_in_another_encoding_is_drawing_and_converting() {
        let mut scene = Scene::default();
        scene.circle(RED, Point::new(8.3, 8.1), 6.2);
        scene.circle(Rgb([0, 200, 90]), Point::new(11.0, 9.0), 3.3);
        let area = Rect::new(0, 0, 20, 20);
        let rgb = drawn(&scene, &Look::rgb(), area);
        let look = Look::new(Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        });
        let direct = drawn(&scene, &look, area);
        for y in 0..20 {
            for x in 0..20 {
                let want = look.levels(Rgb(rgb.at(x, y)));
                let got = direct.at(x, y);
                assert!(
                    (0..3).all(|k| want[k].abs_diff(got[k]) <= 1),
                    "({x}, {y}): {got:?} {want:?}"
                );
            }
        }
    }
}
