//! Scenes become pixels.
//!
//! [`Painter::draw`] draws the chosen layers of a scene. [`RegionCanvas`] keeps the picture of
//! one region between frames: static artwork is drawn once, and of what moves only the parts
//! that changed are drawn again. Both give the same bytes: a pixel's level depends on the scene,
//! the look and the canvas's area, never on what was drawn before or on how much is redrawn.

use super::canvas::{Canvas, Geometry, Look};
use super::glyphs::{GlyphCache, Place, Placement, pixels_of};
use super::raster::Raster;
use super::scene::{Bounds, Item, Layer, Scene, Shape, Words};
use super::text::Font;
use crate::picture::{Plane, Rect, Rgb};

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
    /// Draw filled outlines.
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
            Shape::Words(_) => self.words,
        };
        has_kind && self.has_layer(item.layer)
    }
}

/// Layers in the order they are drawn.
pub(crate) const LAYERS: [Layer; 3] = [Layer::Background, Layer::Moving, Layer::Foreground];

/// Scratch space for drawing; one for each thread.
#[derive(Clone, Debug, Default)]
pub struct Painter {
    raster: Raster,
    glyphs: GlyphCache,
}

impl Painter {
    /// Scratch space that grows when used.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Draws the items of `scene` that `filter` lets through, by layer, then in the order they
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
        self.glyphs.use_fonts(fonts);
        let window = clip.intersection(&canvas.area());
        if window.is_empty() {
            return;
        }
        for layer in LAYERS {
            for item in scene
                .items()
                .iter()
                .filter(|i| i.layer == layer && filter.has(i))
            {
                self.item(scene, item, fonts, look, canvas, window);
            }
        }
    }

    fn item(
        &mut self,
        scene: &Scene,
        item: &Item,
        fonts: &[(String, Font)],
        look: &Look,
        canvas: &mut Canvas,
        window: Rect,
    ) {
        let touched = touched_pixels(item, &look.geometry).intersection(&window);
        if touched.is_empty() {
            return;
        }
        let area = canvas.area();
        let mut clip = Bounds::from_rect([area.x, area.y, area.width, area.height]);
        if let Some(own) = &item.clip {
            clip = clip.intersection(&look.geometry.map_bounds(own));
        }
        let levels = look.levels(item.color);
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
                self.raster
                    .finish(|y, spans| canvas.blend_spans(y, spans, levels));
            }
            Shape::Words(words) => {
                if let Some((_, font)) = fonts.get(words.font.0) {
                    self.words(
                        scene,
                        words,
                        font,
                        &look.geometry,
                        canvas,
                        (clip, window, levels),
                    );
                }
            }
        }
    }

    fn words(
        &mut self,
        scene: &Scene,
        words: &Words,
        font: &Font,
        geometry: &Geometry,
        canvas: &mut Canvas,
        (clip, window, levels): (Bounds, Rect, [u8; 3]),
    ) {
        let (c, s) = words.direction;
        let (wide, high) = (geometry.sx * words.size, geometry.sy * words.size);
        for (letter, origin, _) in super::glyphs::cells(scene, words, font) {
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
                levels,
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

/// The pixels of the picture that an item can touch, clip taken into account.
#[must_use]
pub fn touched_pixels(item: &Item, geometry: &Geometry) -> Rect {
    let mut bounds = geometry.map_bounds(&item.bounds);
    if let Some(clip) = &item.clip {
        bounds = bounds.intersection(&geometry.map_bounds(clip));
    }
    let pixels = pixels_of(&bounds);
    match item.shape {
        Shape::Fill { .. } => pixels,
        // Characters snap to their grid.
        Shape::Words(_) if pixels.is_empty() => pixels,
        Shape::Words(_) => pixels.grown(1),
    }
}

/// The picture of one region over time.
#[derive(Clone, Debug)]
pub struct RegionCanvas {
    look: Look,
    /// What is drawn at all.
    filter: Filter,
    background: Rgb,
    /// Background colour and layer.
    base: Canvas,
    canvas: Canvas,
    /// The scene that `canvas` shows.
    shown: Scene,
    /// Whether `base` shows the background layer of `shown`.
    is_drawn: bool,
    /// Items above the background, in drawing order: of `shown`, and of the scene to come.
    shown_order: Vec<usize>,
    order: Vec<usize>,
    dirty: Vec<Rect>,
}

impl RegionCanvas {
    /// A region whose pixels are `area` of the frame, in one plane (luma only) or three, in
    /// the colour `background` where nothing is drawn.
    ///
    /// # Panics
    /// When `planes` is neither 1 nor 3.
    #[must_use]
    pub fn new(area: Rect, planes: usize, look: Look, background: Rgb) -> Self {
        let base = Canvas::new(area, planes, look.levels(background));
        Self {
            look,
            filter: Filter::ALL,
            background,
            canvas: base.clone(),
            base,
            shown: Scene::default(),
            is_drawn: false,
            shown_order: Vec::new(),
            order: Vec::new(),
            dirty: Vec::new(),
        }
    }

    /// Draws the static artwork `fixed` once, and of it and of all scenes to come only what `filter`
    /// lets through. The scenes given to [`RegionCanvas::update`] from now on hold what lies above.
    pub fn set_fixed(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        fixed: &Scene,
        filter: Filter,
    ) {
        let area = self.canvas.area();
        self.filter = filter;
        self.base.fill(area, self.look.levels(self.background));
        let below = Filter {
            words: filter.words,
            shapes: filter.shapes,
            ..Filter::BACKGROUND
        };
        painter.draw(fixed, fonts, &self.look, &mut self.base, below, area);
        self.canvas.copy(&self.base, area);
        self.shown.clear();
        self.shown_order.clear();
        self.is_drawn = true;
    }

    /// The region as last drawn.
    #[must_use]
    pub const fn canvas(&self) -> &Canvas {
        &self.canvas
    }

    /// How colours and positions become levels and pixels.
    #[must_use]
    pub const fn look(&self) -> &Look {
        &self.look
    }

    /// The colour and background layer alone.
    #[must_use]
    pub const fn base(&self) -> &Canvas {
        &self.base
    }

    /// Changes the look; the next scene is drawn in full.
    pub fn set_look(&mut self, look: Look) {
        if self.look != look {
            self.look = look;
            self.is_drawn = false;
        }
    }

    /// The pixels of the frame that the last [`RegionCanvas::update`] drew again.
    #[must_use]
    pub fn dirty(&self) -> &[Rect] {
        &self.dirty
    }

    /// Shows `scene`, and returns the pixels of the frame that may have changed: no rectangle
    /// when it looks like the scene before, the whole area when its background differs.
    pub fn update(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        scene: &Scene,
    ) -> &[Rect] {
        self.dirty.clear();
        drawing_order(scene, self.filter, &mut self.order);
        let area = self.canvas.area();
        if self.is_drawn && has_same_background(&self.shown, scene) {
            find_dirty(
                (&self.shown, &self.shown_order),
                (scene, &self.order),
                &self.look.geometry,
                area,
                &mut self.dirty,
            );
        } else {
            let levels = self.look.levels(self.background);
            self.base.fill(area, levels);
            painter.draw(
                scene,
                fonts,
                &self.look,
                &mut self.base,
                Filter::BACKGROUND,
                area,
            );
            self.is_drawn = true;
            self.dirty.push(area);
        }
        for &rect in &self.dirty {
            self.canvas.copy(&self.base, rect);
            painter.draw(
                scene,
                fonts,
                &self.look,
                &mut self.canvas,
                Filter {
                    words: self.filter.words,
                    shapes: self.filter.shapes,
                    ..Filter::ABOVE_BACKGROUND
                },
                rect,
            );
        }
        if !self.dirty.is_empty() || self.order.len() != self.shown_order.len() {
            self.shown.copy_from(scene);
            std::mem::swap(&mut self.order, &mut self.shown_order);
        }
        &self.dirty
    }
}

/// Pictures of one region a little below, a little above and at a value: slopes are taken between them.
///
/// Only where the first two may differ is anything drawn; the rest of the canvases is left over from
/// earlier calls. There they hold the same bytes as a [`RegionCanvas`] that shows the scene.
#[derive(Clone, Debug)]
pub struct SlopeCanvas {
    look: Look,
    filter: Filter,
    /// Background colour and static artwork.
    base: Canvas,
    /// Below, above, at the value.
    pictures: [Canvas; 3],
    orders: [Vec<usize>; 2],
    dirty: Vec<Rect>,
}

impl SlopeCanvas {
    /// Luma of a region whose pixels are `area` of the frame and whose static artwork is `fixed`;
    /// of it and of all scenes to come only what `filter` lets through is drawn.
    #[must_use]
    pub fn new(
        painter: &mut Painter,
        fonts: &[(String, Font)],
        (area, look, background): (Rect, Look, Rgb),
        fixed: &Scene,
        filter: Filter,
    ) -> Self {
        let mut base = Canvas::new(area, 1, look.levels(background));
        let below = Filter {
            words: filter.words,
            shapes: filter.shapes,
            ..Filter::BACKGROUND
        };
        painter.draw(fixed, fonts, &look, &mut base, below, area);
        Self {
            look,
            filter,
            pictures: [base.clone(), base.clone(), base.clone()],
            base,
            orders: [Vec::new(), Vec::new()],
            dirty: Vec::new(),
        }
    }

    /// Below, above and at the value, of use where the last call drew.
    #[must_use]
    pub fn pictures(&self) -> [&Plane; 3] {
        self.pictures.each_ref().map(|c| &c.planes()[0])
    }

    /// Draws `low` and `high` where they may differ, within the pixels `bounds` of the frame, and
    /// `middle` there as well; returns these areas, no two of which share a pixel.
    pub fn draw_differences(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        [low, high]: [&Scene; 2],
        middle: Option<&Scene>,
        bounds: Rect,
    ) -> &[Rect] {
        let bounds = bounds.intersection(&self.base.area());
        for (order, scene) in self.orders.iter_mut().zip([low, high]) {
            drawing_order(scene, self.filter, order);
        }
        self.dirty.clear();
        let [a, b] = &self.orders;
        find_dirty(
            (low, a),
            (high, b),
            &self.look.geometry,
            bounds,
            &mut self.dirty,
        );
        for k in 0..self.dirty.len() {
            for (picture, scene) in [Some(low), Some(high), middle].into_iter().enumerate() {
                if let Some(scene) = scene {
                    self.draw_within(painter, fonts, picture, scene, self.dirty[k]);
                }
            }
        }
        &self.dirty
    }

    /// Draws `scene` within the pixels `bounds` of the frame.
    pub fn draw(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        scene: &Scene,
        bounds: Rect,
    ) -> &Plane {
        let bounds = bounds.intersection(&self.base.area());
        self.draw_within(painter, fonts, 0, scene, bounds);
        &self.pictures[0].planes()[0]
    }

    fn draw_within(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        picture: usize,
        scene: &Scene,
        rect: Rect,
    ) {
        let canvas = &mut self.pictures[picture];
        canvas.copy(&self.base, rect);
        let above = Filter {
            words: self.filter.words,
            shapes: self.filter.shapes,
            ..Filter::ABOVE_BACKGROUND
        };
        painter.draw(scene, fonts, &self.look, canvas, above, rect);
    }
}

/// Pairs items of two scenes (given with their drawing orders) by their place in the order, from the
/// front and, when their number differs, from the back as well; what has no equal partner has changed,
/// and the pixels of `area` that it touches are added to `dirty`.
fn find_dirty(
    (old_scene, old): (&Scene, &[usize]),
    (new_scene, new): (&Scene, &[usize]),
    geometry: &Geometry,
    area: Rect,
    dirty: &mut Vec<Rect>,
) {
    let same = |a: usize, b: usize| {
        looks_same(
            old_scene,
            &old_scene.items()[a],
            new_scene,
            &new_scene.items()[b],
        )
    };
    let shorter = old.len().min(new.len());
    let is_paired = old.len() == new.len();
    let mut front = 0;
    while front < shorter && same(old[front], new[front]) {
        front += 1;
    }
    let mut back = 0;
    while back < shorter - front && same(old[old.len() - 1 - back], new[new.len() - 1 - back]) {
        back += 1;
    }
    let (old, new) = (&old[front..old.len() - back], &new[front..new.len() - back]);
    for k in 0..old.len().max(new.len()) {
        if is_paired && same(old[k], new[k]) {
            continue;
        }
        for (scene, order) in [(old_scene, old), (new_scene, new)] {
            if let Some(&item) = order.get(k) {
                let touched = touched_pixels(&scene.items()[item], geometry);
                add_dirty(dirty, touched.intersection(&area));
            }
        }
    }
}

/// Adds a rectangle, joined with those that it meets or nearly meets. No two rectangles of the
/// result share a pixel.
fn add_dirty(dirty: &mut Vec<Rect>, mut rect: Rect) {
    if rect.is_empty() {
        return;
    }
    let mut k = 0;
    while k < dirty.len() {
        let joined = dirty[k].union(&rect);
        let is_near = joined.area() * 4 <= (dirty[k].area() + rect.area()) * 5;
        if is_near || !dirty[k].intersection(&rect).is_empty() {
            dirty.swap_remove(k);
            rect = joined;
            k = 0;
        } else {
            k += 1;
        }
    }
    dirty.push(rect);
}

fn drawing_order(scene: &Scene, filter: Filter, out: &mut Vec<usize>) {
    out.clear();
    for layer in [Layer::Moving, Layer::Foreground] {
        out.extend(
            scene
                .items()
                .iter()
                .enumerate()
                .filter(|(_, i)| i.layer == layer && filter.has(i))
                .map(|(k, _)| k),
        );
    }
}

fn has_same_background(a: &Scene, b: &Scene) -> bool {
    let mut old = a.items().iter().filter(|i| i.layer == Layer::Background);
    let mut new = b.items().iter().filter(|i| i.layer == Layer::Background);
    loop {
        match (old.next(), new.next()) {
            (None, None) => return true,
            (Some(x), Some(y)) if looks_same(a, x, b, y) => {}
            (Some(_), _) | (None, Some(_)) => return false,
        }
    }
}

/// Whether two items of two scenes draw the same; where they stand in their scenes' buffers
/// does not count.
fn looks_same(a: &Scene, x: &Item, b: &Scene, y: &Item) -> bool {
    if x.layer != y.layer || x.color != y.color || x.clip != y.clip || x.bounds != y.bounds {
        return false;
    }
    match (&x.shape, &y.shape) {
        (
            Shape::Fill { first, last },
            Shape::Fill {
                first: from,
                last: to,
            },
        ) => last - first == to - from && a.contours(*first, *last).eq(b.contours(*from, *to)),
        (Shape::Words(v), Shape::Words(w)) => {
            (v.font, v.size, v.origin, v.direction) == (w.font, w.size, w.origin, w.direction)
                && a.words(v) == b.words(w)
        }
        (Shape::Fill { .. }, Shape::Words(_)) | (Shape::Words(_), Shape::Fill { .. }) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Encoding, Matrix, Point, Range};
    use crate::reference::text::FontId;
    use proptest::prelude::*;

    const WHITE: Rgb = Rgb([255; 3]);
    const RED: Rgb = Rgb([255, 0, 0]);
    const BLACK: Rgb = Rgb([0; 3]);

    fn fonts() -> Vec<(String, Font)> {
        vec![(
            "b612".into(),
            Font::built_in("B612 Regular").expect("it is part of the tool"),
        )]
    }

    fn bounds(left: f64, top: f64, right: f64, bottom: f64) -> Bounds {
        Bounds {
            left,
            top,
            right,
            bottom,
        }
    }

    fn drawn(scene: &Scene, look: &Look, area: Rect) -> Canvas {
        let mut canvas = Canvas::new(area, 3, look.levels(BLACK));
        Painter::new().draw(scene, &fonts(), look, &mut canvas, Filter::ALL, area);
        canvas
    }

    #[test]
    fn layers_are_drawn_in_order_whatever_the_order_of_adding() {
        let mut scene = Scene::default();
        scene.set_layer(Layer::Foreground);
        scene.rectangle(RED, bounds(1.0, 0.0, 2.0, 1.0));
        scene.set_layer(Layer::Background);
        scene.rectangle(Rgb([7; 3]), bounds(0.0, 0.0, 4.0, 1.0));
        scene.set_layer(Layer::Moving);
        scene.set_clip(Some(bounds(0.0, 0.0, 2.5, 1.0)));
        scene.rectangle(WHITE, bounds(1.0, 0.0, 4.0, 1.0));
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
        look.geometry = Geometry {
            sx: 2.0,
            sy: 1.0,
            tx: 0.5,
            ty: 0.0,
        };
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
        look.geometry = Geometry {
            sx: 2.0,
            sy: 2.0,
            tx: 1.0,
            ty: 1.0,
        };
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

    #[test]
    fn an_equal_scene_changes_nothing_and_a_moved_item_only_its_pixels() {
        let area = Rect::new(10, 10, 100, 80);
        let mut painter = Painter::new();
        let mut region = RegionCanvas::new(area, 3, Look::rgb(), BLACK);
        let scene_at = |x: f64| {
            let mut scene = Scene::default();
            scene.rectangle(Rgb([20, 40, 60]), bounds(0.0, 0.0, 60.0, 60.0));
            scene.set_layer(Layer::Moving);
            scene.rectangle(RED, bounds(x, 20.0, x + 4.0, 24.0));
            scene.rectangle(WHITE, bounds(90.0, 70.0, 95.0, 75.0));
            scene
        };
        assert_eq!(
            region.update(&mut painter, &fonts(), &scene_at(20.0)),
            [area]
        );
        assert!(
            region
                .update(&mut painter, &fonts(), &scene_at(20.0))
                .is_empty()
        );
        let dirty = region
            .update(&mut painter, &fonts(), &scene_at(21.0))
            .to_vec();
        assert_eq!(dirty, [Rect::new(20, 20, 5, 4)]);
        assert_eq!(region.canvas(), &drawn(&scene_at(21.0), &Look::rgb(), area));
    }

    fn scene() -> impl Strategy<Value = Scene> {
        let item = (
            0..4u8,
            0..3usize,
            -5.0..45.0f64,
            -5.0..35.0f64,
            0.5..25.0f64,
            any::<bool>(),
            0..4u8,
        );
        prop::collection::vec(item, 0..6).prop_map(|list| {
            let mut scene = Scene::default();
            for (kind, layer, x, y, size, is_clipped, color) in list {
                // A background that seldom changes; few values elsewhere, so that items recur.
                let (x, y) = if layer == 0 {
                    (3.0, 30.0)
                } else {
                    (x.floor() / 2.0, y.floor())
                };
                let color = [RED, WHITE, Rgb([0, 90, 200]), Rgb([40; 3])][usize::from(color)];
                scene.set_layer(LAYERS[layer]);
                scene.set_clip(is_clipped.then_some(bounds(4.0, 5.5, 30.0, 25.25)));
                let at = Point::new(x, y);
                match kind {
                    0 => scene.circle(color, at, size),
                    1 => scene.line(color, at, Point::new(y, x), 1.5),
                    2 => scene.words_at(color, FontId(0), size, at, (1.0, 0.0), size * 1.4, "40"),
                    _ => scene.words_at(color, FontId(0), size, at, (0.6, 0.8), size * 1.4, "N3"),
                }
            }
            scene
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn slopes_are_drawn_where_pictures_differ_and_nowhere_else(a in scene(), b in scene()) {
            let fonts = fonts();
            let look = Look::rgb();
            let area = Rect::new(2, 1, 40, 30);
            let mut painter = Painter::new();
            let mut slopes = SlopeCanvas::new(
                &mut painter, &fonts, (area, look, BLACK), &Scene::default(), Filter::ALL,
            );
            let dirty = slopes
                .draw_differences(&mut painter, &fonts, [&a, &b], Some(&a), area)
                .to_vec();
            let mut fresh = |scene: &Scene| {
                let mut canvas = Canvas::new(area, 1, look.levels(BLACK));
                painter.draw(scene, &fonts, &look, &mut canvas, Filter::ABOVE_BACKGROUND, area);
                canvas
            };
            let (low, high) = (fresh(&a), fresh(&b));
            let wanted = [&low, &high, &low];
            for y in 0..area.height {
                for x in 0..area.width {
                    let at = |p: &Plane| p.at(x as usize, y as usize);
                    if dirty.iter().any(|r| r.contains(x + area.x, y + area.y)) {
                        for (drawn, wanted) in slopes.pictures().into_iter().zip(wanted) {
                            prop_assert_eq!(at(drawn), at(&wanted.planes()[0]));
                        }
                    } else {
                        prop_assert_eq!(at(&low.planes()[0]), at(&high.planes()[0]));
                    }
                }
            }
        }

        #[test]
        fn the_picture_does_not_depend_on_what_was_shown_before(
            scenes in prop::collection::vec(scene(), 1..6),
            shift in 0.0..1.0f64,
        ) {
            let fonts = fonts();
            let mut look = Look::rgb();
            look.geometry = Geometry { tx: shift, ty: -shift, ..Geometry::IDENTITY };
            let area = Rect::new(2, 1, 40, 30);
            let mut painter = Painter::new();
            let mut region = RegionCanvas::new(area, 3, look, BLACK);
            let mut before = region.canvas().clone();
            for scene in &scenes {
                let dirty = region.update(&mut painter, &fonts, scene).to_vec();
                let fresh = drawn(scene, &look, area);
                prop_assert_eq!(region.canvas(), &fresh);
                for y in area.y..area.bottom() {
                    for x in area.x..area.right() {
                        let is_dirty = dirty.iter().any(|r| r.contains(x, y));
                        prop_assert!(is_dirty || before.at(x, y) == fresh.at(x, y));
                    }
                }
                before = fresh;
            }
        }
    }
}
