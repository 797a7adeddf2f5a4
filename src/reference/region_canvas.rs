//! Pictures of one region that are kept from frame to frame.
//!
//! [`RegionCanvas`] draws static artwork once, and of what moves only the parts that changed. [`SlopeCanvas`] draws
//! neighbouring pictures only where they differ. Both give the bytes that [`Painter::draw`] gives.

use super::canvas::{Canvas, Look};
use super::painter::{Filter, Painter, touched_pixels};
use super::resample::Resampler;
use super::scene::{Item, Layer, Scene, Shape};
use super::text::Font;
use crate::picture::{Plane, Rect, Rgb};

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
    /// What the capture has of it, where its pixels are not the display's.
    seen: Option<Seen>,
}

/// A region on the capture's pixels.
#[derive(Clone, Debug)]
struct Seen {
    resampler: Resampler,
    base: Canvas,
    canvas: Canvas,
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
        let picture = Canvas::new(area, planes, look.levels(background));
        let (mut base, mut own_look) = (picture.clone(), look.clone());
        let seen = Resampler::new(&look, area).map(|resampler| {
            base = Canvas::new(resampler.native(), planes, look.levels(background));
            own_look = Resampler::native_look(&look);
            Seen {
                resampler,
                base: picture.clone(),
                canvas: picture,
                dirty: Vec::new(),
            }
        });
        let look = own_look;
        Self {
            seen,
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
        if let Some(seen) = &mut self.seen {
            let area = seen.canvas.area();
            seen.resampler.resample(&self.base, &mut seen.base, area);
            seen.canvas.copy(&seen.base, area);
        }
        self.shown.clear();
        self.shown_order.clear();
        self.is_drawn = true;
    }

    /// The region as last drawn.
    #[must_use]
    pub fn canvas(&self) -> &Canvas {
        self.seen.as_ref().map_or(&self.canvas, |s| &s.canvas)
    }

    /// The colour and background layer alone.
    #[must_use]
    pub fn base(&self) -> &Canvas {
        self.seen.as_ref().map_or(&self.base, |s| &s.base)
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
        let is_new = !(self.is_drawn && has_same_background(&self.shown, scene));
        if !is_new {
            find_dirty(
                (&self.shown, &self.shown_order),
                (scene, &self.order),
                &self.look,
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
        }
        let above = Filter {
            words: self.filter.words,
            shapes: self.filter.shapes,
            ..Filter::ABOVE_BACKGROUND
        };
        let (look, canvas) = (&self.look, &mut self.canvas);
        painter.draw_within(scene, fonts, look, canvas, above, &self.dirty);
        if !self.dirty.is_empty() || self.order.len() != self.shown_order.len() {
            self.shown.copy_from(scene);
            std::mem::swap(&mut self.order, &mut self.shown_order);
        }
        let Some(seen) = &mut self.seen else {
            return &self.dirty;
        };
        seen.dirty.clear();
        for rect in &self.dirty {
            add_dirty(&mut seen.dirty, seen.resampler.reach(*rect));
        }
        for rect in &seen.dirty {
            seen.resampler
                .resample(&self.canvas, &mut seen.canvas, *rect);
            if is_new {
                seen.resampler.resample(&self.base, &mut seen.base, *rect);
            }
        }
        &seen.dirty
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
    /// What the capture has of the pictures, where its pixels are not the display's.
    seen: Option<(Resampler, [Canvas; 3])>,
    seen_dirty: Vec<Rect>,
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
        let ground = look.levels(background);
        let resampler = Resampler::new(&look, area);
        let (own, look) = resampler.as_ref().map_or((area, look.clone()), |r| {
            (r.native(), Resampler::native_look(&look))
        });
        let mut base = Canvas::new(own, 1, ground);
        let below = Filter {
            words: filter.words,
            shapes: filter.shapes,
            ..Filter::BACKGROUND
        };
        painter.draw(fixed, fonts, &look, &mut base, below, own);
        let seen = resampler.map(|r| (r, [(); 3].map(|()| Canvas::new(area, 1, ground))));
        Self {
            seen,
            seen_dirty: Vec::new(),
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
        let pictures = self.seen.as_ref().map_or(&self.pictures, |(_, seen)| seen);
        pictures.each_ref().map(|c| &c.planes()[0])
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
        let within = bounds;
        let bounds = self.own(bounds);
        for (order, scene) in self.orders.iter_mut().zip([low, high]) {
            drawing_order(scene, self.filter, order);
        }
        self.dirty.clear();
        let [a, b] = &self.orders;
        find_dirty((low, a), (high, b), &self.look, bounds, &mut self.dirty);
        let mut dirty = std::mem::take(&mut self.dirty);
        self.seen_dirty.clear();
        if let Some((resampler, _)) = &self.seen {
            for rect in &dirty {
                let seen = resampler.reach(*rect).intersection(&within);
                add_dirty(&mut self.seen_dirty, seen);
            }
            // Pixels of the capture take from some around, which must be of this scene too.
            dirty.clear();
            for rect in &self.seen_dirty {
                add_dirty(&mut dirty, resampler.sources(*rect));
            }
        }
        for (picture, scene) in [Some(low), Some(high), middle].into_iter().enumerate() {
            if let Some(scene) = scene {
                self.draw_within(painter, fonts, picture, scene, &dirty);
                self.see(picture);
            }
        }
        self.dirty = dirty;
        if self.seen.is_some() {
            &self.seen_dirty
        } else {
            &self.dirty
        }
    }

    /// The pixels of the display that pixels of the frame are drawn from.
    fn own(&self, bounds: Rect) -> Rect {
        match &self.seen {
            None => bounds.intersection(&self.base.area()),
            Some((resampler, _)) => resampler.sources(bounds),
        }
    }

    /// Brings a picture to the capture's pixels, where it is to be seen.
    fn see(&mut self, picture: usize) {
        if let Some((resampler, seen)) = &mut self.seen {
            for rect in &self.seen_dirty {
                resampler.resample(&self.pictures[picture], &mut seen[picture], *rect);
            }
        }
    }

    /// Draws `scene` within the pixels `bounds` of the frame.
    pub fn draw(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        scene: &Scene,
        bounds: Rect,
    ) -> &Plane {
        self.seen_dirty.clear();
        self.seen_dirty.push(bounds);
        self.draw_within(painter, fonts, 0, scene, &[self.own(bounds)]);
        self.see(0);
        self.pictures()[0]
    }

    fn draw_within(
        &mut self,
        painter: &mut Painter,
        fonts: &[(String, Font)],
        picture: usize,
        scene: &Scene,
        rects: &[Rect],
    ) {
        let canvas = &mut self.pictures[picture];
        for rect in rects {
            canvas.copy(&self.base, *rect);
        }
        let above = Filter {
            words: self.filter.words,
            shapes: self.filter.shapes,
            ..Filter::ABOVE_BACKGROUND
        };
        painter.draw_within(scene, fonts, &self.look, canvas, above, rects);
    }
}

/// Pairs items of two scenes (given with their drawing orders) by their place in the order, from the
/// front and, when their number differs, from the back as well; what has no equal partner has changed,
/// and the pixels of `area` that it touches are added to `dirty`.
fn find_dirty(
    (old_scene, old): (&Scene, &[usize]),
    (new_scene, new): (&Scene, &[usize]),
    look: &Look,
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
                let touched = touched_pixels(&scene.items()[item], look);
                add_dirty(dirty, touched.intersection(&area));
            }
        }
    }
}

/// Adds a rectangle, joined with those that it meets or nearly meets. No two rectangles of the
/// result share a pixel.
///
/// Tried and dropped: squares of 8 x 8 px, of an outline those that its edges sweep. The area is five to ten times
/// smaller and the pictures are the same, but checking takes the CPU that it took (three rounds in turn, 1502
/// frames): edges cost more than filling.
pub(crate) fn add_dirty(dirty: &mut Vec<Rect>, mut rect: Rect) {
    if rect.is_empty() {
        return;
    }
    while let Some(k) = dirty.iter().position(|other| is_joined(other, &rect)) {
        rect = dirty.swap_remove(k).union(&rect);
    }
    dirty.push(rect);
}

/// Whether two rectangles meet, or so nearly that both and what lies between them are a quarter more than both.
fn is_joined(a: &Rect, b: &Rect) -> bool {
    let across = a.x.max(b.x) - a.right().min(b.right());
    let down = a.y.max(b.y) - a.bottom().min(b.bottom());
    // Most lie so far apart that a strip between them alone is too much.
    if 4 * across > a.width + b.width || 4 * down > a.height + b.height {
        return false;
    }
    let meet = across < 0 && down < 0;
    meet || a.union(b).area() * 4 <= (a.area() + b.area()) * 5
}

fn drawing_order(scene: &Scene, filter: Filter, out: &mut Vec<usize>) {
    let items = scene.items().iter().enumerate();
    let above = items.filter(|(_, i)| i.layer != Layer::Background && filter.has(i));
    out.clear();
    out.extend(above.map(|(k, _)| k));
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
    let has_more = |i: &Item| i.cut.is_some() || i.shade.is_some();
    if x.opacity != y.opacity
        || (has_more(x) || has_more(y)) && (a.pieces(x) != b.pieces(y) || a.shade(x) != b.shade(y))
    {
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
            (v.font, v.size, v.origin, v.direction, v.held)
                == (w.font, w.size, w.origin, w.direction, w.held)
                && a.words(v) == b.words(w)
        }
        (Shape::Fill { .. }, Shape::Words(_)) | (Shape::Words(_), Shape::Fill { .. }) => false,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::colour::{Shade, Stop};
    use crate::picture::Point;
    use crate::reference::canvas::Geometry;
    const LAYERS: [Layer; 3] = [Layer::Background, Layer::Moving, Layer::Foreground];
    use crate::reference::painter::tests::{BLACK, RED, WHITE, bounds, drawn, fonts};
    use crate::reference::text::FontId;

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

    /// One of two.
    fn shade(which: u8) -> Option<Shade> {
        let stop = |offset, color, opacity| Stop {
            offset,
            color,
            opacity,
        };
        let stops = [stop(0.0, WHITE, 0.3), stop(1.0, RED, 1.0)];
        Shade::new(
            Point::new(5.0, 1.0),
            Point::new(20.0, 10.0 * f64::from(which)),
            &stops,
        )
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
            0..4u8,
        );
        prop::collection::vec(item, 0..6).prop_map(|list| {
            let mut scene = Scene::default();
            for (kind, layer, x, y, size, is_clipped, color, paint) in list {
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
                scene.set_opacity(if paint == 1 { 0.4 } else { 1.0 });
                scene.set_shade(if paint > 1 { shade(paint) } else { None });
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
                &mut painter, &fonts, (area, look.clone(), BLACK), &Scene::default(), Filter::ALL,
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
            let mut region = RegionCanvas::new(area, 3, look.clone(), BLACK);
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
