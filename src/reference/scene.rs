//! One picture as a list of primitives, before it becomes pixels or SVG.
//!
//! A scene holds filled outlines (straight segments; curves are flattened to 0.01 px) and
//! lines of words. Every item stands in one of three layers, drawn in this order for a whole
//! region: what never moves, what depends on inputs, and fixed marks on top of what moves.
//! Buffers are kept when a scene is cleared, so a scene that is filled again does not allocate.

use super::parts::common;
use super::text::FontId;
use crate::colour::Shade;
use crate::picture::{Point, Rgb};

/// A rectangle with fractional edges: left, top, right, bottom, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Left edge, px.
    pub left: f64,
    /// Top edge, px.
    pub top: f64,
    /// Right edge, px.
    pub right: f64,
    /// Bottom edge, px.
    pub bottom: f64,
}

impl Bounds {
    /// Covers nothing; grows by [`Bounds::include`].
    pub const EMPTY: Self = Self {
        left: f64::INFINITY,
        top: f64::INFINITY,
        right: f64::NEG_INFINITY,
        bottom: f64::NEG_INFINITY,
    };

    /// `[x, y, width, height]` as bounds.
    #[must_use]
    pub fn from_rect(rect: [i32; 4]) -> Self {
        let [x, y, w, h] = rect.map(f64::from);
        Self {
            left: x,
            top: y,
            right: x + w,
            bottom: y + h,
        }
    }

    /// Grows to cover `p`.
    pub fn include(&mut self, p: Point) {
        self.left = self.left.min(p.x);
        self.top = self.top.min(p.y);
        self.right = self.right.max(p.x);
        self.bottom = self.bottom.max(p.y);
    }

    /// What both cover.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        Self {
            left: self.left.max(other.left),
            top: self.top.max(other.top),
            right: self.right.min(other.right),
            bottom: self.bottom.min(other.bottom),
        }
    }

    /// What covers both.
    #[must_use]
    pub const fn union(&self, other: &Self) -> Self {
        Self {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }

    /// True when nothing is covered.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.left >= self.right || self.top >= self.bottom
    }
}

/// When an item is drawn, within its region.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Layer {
    /// Never changes: scales, frames, fixed words.
    Background,
    /// Depends on inputs.
    Moving,
    /// Never changes and lies on top of what moves.
    Foreground,
}

/// A filled outline or a line of words.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// When it is drawn.
    pub layer: Layer,
    /// Its colour; of an item with a shade, the colour in the middle of that.
    pub color: Rgb,
    /// How much it hides of what lies below, 0 to 1; on top of the opacities that a shade has.
    pub opacity: f64,
    /// Which of [`Scene::shades`] it is painted with instead of its colour.
    pub shade: Option<usize>,
    /// Nothing is drawn outside; the whole canvas when absent.
    pub clip: Option<Bounds>,
    /// Outlines that words are cut to, as [`Scene::pieces`] takes them; not cut when absent. Fills are cut already.
    pub cut: Option<(usize, usize)>,
    /// What is drawn.
    pub shape: Shape,
    /// Bounds of the ink, clip not taken into account. For words, a safe outer bound.
    pub bounds: Bounds,
}

/// What an item draws; ranges point into the scene's buffers.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Closed contours, non-zero rule: indices of the first contour and one past the last.
    Fill {
        /// First contour.
        first: usize,
        /// One past the last contour.
        last: usize,
    },
    /// A line of words.
    Words(Words),
}

/// A line of words on a straight base line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Words {
    /// Face.
    pub font: FontId,
    /// Size of the em, px.
    pub size: f64,
    /// Left end of the base line, px.
    pub origin: Point,
    /// Direction of the base line: (cos, sin) of its angle, y down. (1, 0) is upright.
    pub direction: (f64, f64),
    /// Where the line is held, should it be longer or shorter than its advances say: 0 at its left end, 0.5 in the
    /// middle, 1 at its right end.
    pub held: f64,
    /// Whether it moves with a value as outlines do: a digit of a drum, by which the value is read.
    pub is_rolling: bool,
    /// First byte of the words in the scene's text.
    pub first: usize,
    /// One past the last byte.
    pub last: usize,
}

/// A list of primitives; see the module.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Scene {
    points: Vec<Point>,
    /// One past the last point of each contour.
    ends: Vec<usize>,
    text: String,
    items: Vec<Item>,
    shades: Vec<Shade>,
    layer: Option<Layer>,
    clip: Option<Bounds>,
    /// Outlines that items are cut to.
    pieces: Vec<Vec<Point>>,
    cut: Option<(usize, usize)>,
    /// 1 when absent.
    opacity: Option<f64>,
    shade: Option<usize>,
    is_rolling: bool,
}

/// Flattening error of curves, px.
const FLATNESS_PX: f64 = 0.01;

impl Scene {
    /// Removes all items and keeps the buffers.
    pub fn clear(&mut self) {
        self.points.clear();
        self.ends.clear();
        self.text.clear();
        self.items.clear();
        self.shades.clear();
        self.layer = None;
        self.clip = None;
        self.pieces.clear();
        self.cut = None;
        self.opacity = None;
        self.shade = None;
        self.is_rolling = false;
    }

    /// Becomes a copy of `other`, in the buffers that it has.
    pub fn copy_from(&mut self, other: &Self) {
        self.points.clone_from(&other.points);
        self.ends.clone_from(&other.ends);
        self.text.clone_from(&other.text);
        self.items.clone_from(&other.items);
        self.shades.clone_from(&other.shades);
        self.layer = other.layer;
        self.clip = other.clip;
        self.pieces.clone_from(&other.pieces);
        self.cut = other.cut;
        self.opacity = other.opacity;
        self.shade = other.shade;
        self.is_rolling = other.is_rolling;
    }

    /// Items in the order they were added.
    #[must_use]
    pub fn items(&self) -> &[Item] {
        &self.items
    }

    /// Whether it is made of as many things of the same colours as `other`, wherever they stand.
    #[must_use]
    pub fn looks_like(&self, other: &Self) -> bool {
        let look = |i: &Item| {
            let contours = match i.shape {
                Shape::Fill { first, last } => last - first,
                Shape::Words(_) => 0,
            };
            (i.color, i.opacity.to_bits(), i.shade.is_some(), contours)
        };
        self.items.iter().map(look).eq(other.items.iter().map(look))
    }

    /// Gives every item the colour and opacity of the item of `other` in the same place; does nothing when `other`
    /// has another number of items. Shades stay: they move with what they paint.
    pub fn take_colors(&mut self, other: &Self) {
        if self.items.len() == other.items.len() {
            for (item, as_in) in self.items.iter_mut().zip(&other.items) {
                item.color = as_in.color;
                item.opacity = as_in.opacity;
            }
        }
    }

    /// Lets the line of words at index `item` read `words`, from the same left end. They should not be longer
    /// than those before, since the bounds stay. Does nothing for outlines.
    pub fn reword(&mut self, item: usize, words: &str) {
        let begin = self.text.len();
        if let Some(Item {
            shape: Shape::Words(line),
            ..
        }) = self.items.get_mut(item)
        {
            self.text.push_str(words);
            (line.first, line.last) = (begin, self.text.len());
        }
    }

    /// Moves the line of words at index `item` down by `dy` px. Does nothing for outlines.
    pub fn move_words_down(&mut self, item: usize, dy: f64) {
        if let Some(Item {
            shape: Shape::Words(line),
            bounds,
            ..
        }) = self.items.get_mut(item)
        {
            line.origin.y += dy;
            bounds.top += dy;
            bounds.bottom += dy;
        }
    }

    /// Closed contours `first..last` of a fill; the last point joins the first.
    pub fn contours(&self, first: usize, last: usize) -> impl Iterator<Item = &[Point]> {
        (first..last).map(|k| {
            let begin = if k == 0 { 0 } else { self.ends[k - 1] };
            &self.points[begin..self.ends[k]]
        })
    }

    /// All words, line after line.
    #[must_use]
    pub fn all_words(&self) -> &str {
        &self.text
    }

    /// The words of a line.
    #[must_use]
    pub fn words(&self, words: &Words) -> &str {
        &self.text[words.first..words.last]
    }

    /// Items added from now on stand in `layer`; [`Layer::Background`] at the start.
    pub fn set_layer(&mut self, layer: Layer) {
        self.layer = Some(layer);
    }

    /// Items added from now on draw nothing outside `clip`.
    pub fn set_clip(&mut self, clip: Option<Bounds>) {
        self.clip = clip;
    }

    /// Items added from now on are cut to outlines without dents that do not overlap: what lies in any of them is drawn.
    pub fn set_cut(&mut self, pieces: Option<&[Vec<Point>]>) {
        self.cut = pieces.map(|pieces| {
            // Marks of one scale are cut alike.
            let first = self.pieces.len().saturating_sub(pieces.len());
            if self.pieces[first..] == *pieces {
                return (first, self.pieces.len());
            }
            let first = self.pieces.len();
            self.pieces.extend_from_slice(pieces);
            (first, self.pieces.len())
        });
    }

    /// The outlines that an item is cut to; `None` when it is not.
    #[must_use]
    pub fn pieces(&self, item: &Item) -> Option<&[Vec<Point>]> {
        item.cut.map(|(first, last)| &self.pieces[first..last])
    }

    /// [`Scene::fill`] of contours whose points are moved by `map`, cut as [`Scene::set_cut`] says.
    pub fn fill_mapped(
        &mut self,
        color: Rgb,
        contours: &[Vec<Point>],
        map: impl Fn(Point) -> Point,
    ) {
        let first = self.ends.len();
        let mut bounds = Bounds::EMPTY;
        for contour in contours {
            match self.cut {
                None => {
                    self.points.extend(contour.iter().map(|&p| map(p)));
                    self.ends.push(self.points.len());
                }
                Some((from, to)) => {
                    let mapped: Vec<Point> = contour.iter().map(|&p| map(p)).collect();
                    for piece in &self.pieces[from..to] {
                        self.points.extend(common(&mapped, piece));
                        self.ends.push(self.points.len());
                    }
                }
            }
        }
        let begin = if first == 0 { 0 } else { self.ends[first - 1] };
        if begin == self.points.len() {
            self.ends.truncate(first);
            return;
        }
        self.points[begin..].iter().for_each(|&p| bounds.include(p));
        if self
            .clip
            .is_some_and(|c| c.intersection(&bounds).is_empty())
        {
            self.points.truncate(begin);
            self.ends.truncate(first);
            return;
        }
        self.push_fill(color, first, bounds);
    }

    /// Items added from now on hide this share of what lies below, cut to 0..=1; 1 at the start. What is no number is 1.
    pub fn set_opacity(&mut self, opacity: f64) {
        self.opacity = (!opacity.is_nan()).then(|| opacity.clamp(0.0, 1.0));
    }

    /// Words added from now on move with a value, or no longer do; see [`Words::is_rolling`].
    pub fn set_rolling(&mut self, is_rolling: bool) {
        self.is_rolling = is_rolling;
    }

    /// Items added from now on are painted with `shade` instead of the colour that they are added with.
    pub fn set_shade(&mut self, shade: Option<Shade>) {
        self.shade = shade.map(|shade| {
            let known = self.shades.iter().position(|s| *s == shade);
            known.unwrap_or_else(|| {
                self.shades.push(shade);
                self.shades.len() - 1
            })
        });
    }

    /// The shades that [`Item::shade`] counts in.
    #[must_use]
    pub fn shades(&self) -> &[Shade] {
        &self.shades
    }

    /// The shade that `item` is painted with.
    #[must_use]
    pub fn shade(&self, item: &Item) -> Option<&Shade> {
        self.shades.get(item.shade?)
    }

    /// A filled outline of one or more closed contours, non-zero rule: contours of opposite
    /// direction cut holes. Contours of fewer than three points draw nothing.
    pub fn fill<'a>(&mut self, color: Rgb, contours: impl IntoIterator<Item = &'a [Point]>) {
        let first = self.ends.len();
        let mut bounds = Bounds::EMPTY;
        for contour in contours {
            self.points.extend_from_slice(contour);
            self.ends.push(self.points.len());
            contour.iter().for_each(|&p| bounds.include(p));
        }
        self.push_fill(color, first, bounds);
    }

    fn push_fill(&mut self, color: Rgb, first: usize, bounds: Bounds) {
        let last = self.ends.len();
        self.push(color, Shape::Fill { first, last }, bounds);
    }

    fn push(&mut self, color: Rgb, shape: Shape, bounds: Bounds) {
        let layer = self.layer.unwrap_or(Layer::Background);
        let shade = self.shade.and_then(|k| self.shades.get(k));
        self.items.push(Item {
            layer,
            color: shade.map_or(color, Shade::middle),
            opacity: self.opacity.unwrap_or(1.0),
            shade: self.shade,
            clip: self.clip,
            cut: if matches!(shape, Shape::Words(_)) {
                self.cut
            } else {
                None
            },
            shape,
            bounds,
        });
    }

    /// A filled polygon.
    pub fn polygon(&mut self, color: Rgb, points: &[Point]) {
        self.fill(color, [points]);
    }

    /// A filled rectangle.
    pub fn rectangle(&mut self, color: Rgb, b: Bounds) {
        self.polygon(
            color,
            &[
                Point::new(b.left, b.top),
                Point::new(b.right, b.top),
                Point::new(b.right, b.bottom),
                Point::new(b.left, b.bottom),
            ],
        );
    }

    /// The border of a rectangle, `width` px wide, inside `b`.
    pub fn frame(&mut self, color: Rgb, b: Bounds, width: f64) {
        let corner = |x: f64, y: f64| Point::new(x, y);
        let outer = [
            corner(b.left, b.top),
            corner(b.right, b.top),
            corner(b.right, b.bottom),
            corner(b.left, b.bottom),
        ];
        let (l, t, r, m) = (
            b.left + width,
            b.top + width,
            b.right - width,
            b.bottom - width,
        );
        if l >= r || t >= m {
            self.rectangle(color, b);
            return;
        }
        let inner = [corner(l, t), corner(l, m), corner(r, m), corner(r, t)];
        self.fill(color, [&outer[..], &inner[..]]);
    }

    /// A straight line with butt ends, `width` px wide.
    pub fn line(&mut self, color: Rgb, from: Point, to: Point, width: f64) {
        let (dx, dy) = (to.x - from.x, to.y - from.y);
        let length = libm::hypot(dx, dy);
        if length <= 0.0 {
            return;
        }
        let (nx, ny) = (-dy / length * width / 2.0, dx / length * width / 2.0);
        self.polygon(
            color,
            &[
                Point::new(from.x + nx, from.y + ny),
                Point::new(to.x + nx, to.y + ny),
                Point::new(to.x - nx, to.y - ny),
                Point::new(from.x - nx, from.y - ny),
            ],
        );
    }

    /// A filled circle.
    pub fn circle(&mut self, color: Rgb, center: Point, radius: f64) {
        let first = self.ends.len();
        arc_points(center, radius, 0.0, 360.0, false, &mut self.points);
        self.ends.push(self.points.len());
        let bounds = circle_bounds(center, radius);
        self.push_fill(color, first, bounds);
    }

    /// A band between two radii. Angles as on a clock: degrees from up, clock-wise; `to_deg`
    /// may be larger than `from_deg` by up to 360 (a full ring).
    pub fn arc_band(
        &mut self,
        color: Rgb,
        center: Point,
        radii: [f64; 2],
        from_deg: f64,
        to_deg: f64,
    ) {
        let [inner, outer] = radii;
        let first = self.ends.len();
        let begin = self.points.len();
        if to_deg - from_deg >= 360.0 {
            arc_points(center, outer, 0.0, 360.0, false, &mut self.points);
            self.ends.push(self.points.len());
            arc_points(center, inner, 0.0, 360.0, true, &mut self.points);
            self.ends.push(self.points.len());
        } else {
            arc_points(center, outer, from_deg, to_deg, false, &mut self.points);
            arc_points(center, inner, from_deg, to_deg, true, &mut self.points);
            self.ends.push(self.points.len());
        }
        let mut bounds = Bounds::EMPTY;
        self.points[begin..].iter().for_each(|&p| bounds.include(p));
        self.push_fill(color, first, bounds);
    }

    /// A line of words from the left end of its base line. `direction` is (cos, sin) of the
    /// angle of the base line, y down; `width` is the advance of the whole line, px.
    #[expect(clippy::too_many_arguments, reason = "a line of words is all of these")]
    pub fn words_at(
        &mut self,
        color: Rgb,
        font: FontId,
        size: f64,
        origin: Point,
        direction: (f64, f64),
        width: f64,
        words: &str,
    ) {
        if words.is_empty() {
            return;
        }
        let first = self.text.len();
        self.text.push_str(words);
        let (c, s) = direction;
        let mut bounds = Bounds::EMPTY;
        for (along, down) in [
            (-0.3 * size, -1.2 * size),
            (width + 0.3 * size, -1.2 * size),
            (-0.3 * size, 0.5 * size),
            (width + 0.3 * size, 0.5 * size),
        ] {
            bounds.include(Point::new(
                origin.x + along * c - down * s,
                origin.y + along * s + down * c,
            ));
        }
        let words = Words {
            font,
            size,
            origin,
            direction,
            held: 0.0,
            is_rolling: self.is_rolling,
            first,
            last: self.text.len(),
        };
        self.push(color, Shape::Words(words), bounds);
    }

    /// The item that was added last, where it is a line of words, is held at this share of its width.
    pub fn hold_last_words(&mut self, held: f64) {
        if let Some(Item {
            shape: Shape::Words(words),
            ..
        }) = self.items.last_mut()
        {
            words.held = held;
        }
    }
}

/// Chords of an arc of `span_deg` that stray from it by at most the flattening error.
pub(crate) fn circle_steps(radius: f64, span_deg: f64) -> usize {
    // Sagitta of a chord of angle a: r (1 - cos(a / 2)) = flatness.
    let step = 2.0 * libm::acos(1.0 - (FLATNESS_PX / radius.max(FLATNESS_PX)).min(1.0));
    libm::ceil(span_deg.to_radians() / step).clamp(1.0, 4096.0) as usize
}

/// Adds the points of an arc, clock angles; the last point of a whole turn is left out.
pub(crate) fn arc_points(
    center: Point,
    radius: f64,
    from_deg: f64,
    to_deg: f64,
    backwards: bool,
    points: &mut Vec<Point>,
) {
    let count = circle_steps(radius, to_deg - from_deg);
    let is_full = to_deg - from_deg >= 360.0;
    let last = if is_full { count.max(8) - 1 } else { count };
    let count = if is_full { count.max(8) } else { count };
    for k in 0..=last {
        let k = if backwards { last - k } else { k };
        let angle = from_deg + (to_deg - from_deg) * k as f64 / count as f64;
        points.push(on_clock(center, radius, angle));
    }
}

fn circle_bounds(c: Point, radius: f64) -> Bounds {
    Bounds {
        left: c.x - radius,
        top: c.y - radius,
        right: c.x + radius,
        bottom: c.y + radius,
    }
}

/// The point at a clock angle (degrees from up, clock-wise) and distance from `center`.
///
/// Uses a portable sine, so that every machine draws the same bytes.
#[must_use]
pub fn on_clock(center: Point, radius: f64, angle_deg: f64) -> Point {
    let angle = angle_deg.to_radians();
    Point::new(
        center.x + radius * libm::sin(angle),
        center.y - radius * libm::cos(angle),
    )
}
