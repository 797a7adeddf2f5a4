//! Parts on the page: what a region's symbols look like for given inputs.
//!
//! An `Assembly` is made once of the parts of a region. Shapes are outlines by then; drawing them is to look up where
//! data put them. What never changes is told apart by looking at the parts: it stands in [`Layer::Background`], what
//! depends on data in [`Layer::Moving`], and what stands still over what moves in [`Layer::Foreground`].

mod affine;
#[cfg(test)]
pub(crate) mod bench;
mod drive;
mod freedoms;
mod hull;
mod outline;
mod reach;
#[cfg(test)]
mod tests;
mod words;

pub use drive::drawn_attitude;
pub use freedoms::{Freedom, ReadoutField};
pub(crate) use hull::{bounds, common};

use std::sync::Arc;

use affine::Affine;
use drive::{Drive, Places, Way};
use outline::Contours;

use super::scale::{is_multiple, multiples};
use super::scene::{Bounds, Layer, Scene, on_clock};
use super::symbols::{alerts, failure, liveness};
use crate::colour::{Shade, Stop};
use crate::definition::Definition;
use crate::definition::model::{
    Alerts, ColorRule, Condition, FailureFlag, Liveness, Readout, Text,
};
use crate::definition::parts::{Area, Drum, Label, Part, Repeat, ShadeStop, Shading, Shape};
use crate::picture::{Point, Rgb};
use crate::recording::condition::all_hold;
use crate::recording::inputs::{ChannelId, Inputs};

/// All parts of a region, ready to be drawn.
#[derive(Clone, Debug, Default)]
pub(crate) struct Assembly {
    nodes: Vec<Node>,
    /// By symbol: its outermost parts.
    symbols: Vec<Vec<usize>>,
}

/// One part.
#[derive(Clone, Debug)]
struct Node {
    symbol: usize,
    parent: Option<usize>,
    id: Option<What>,
    members: Vec<usize>,
    inks: Vec<Ink>,
    upright: bool,
    opacity: f64,
    place: Affine,
    clip: Option<Clip>,
    drives: Vec<Drive>,
    /// How its own digits roll.
    roll: Option<Drive>,
    when: Vec<Condition>,
    choose: bool,
    marks: Option<Marks>,
    failure: Option<Gate>,
    /// Whether its own ink changes with data, by itself.
    depends: bool,
    layer: Layer,
    /// Bounds of what it draws where its marks are put.
    own: Bounds,
    /// Whether it draws upright rectangles in its own coordinates and nothing else.
    is_rectangle: bool,
}

/// What a part draws.
#[derive(Clone, Debug)]
enum Ink {
    Outline {
        contours: Contours,
        color: String,
        rules: Vec<ColorRule>,
        shade: Option<Shading>,
        opacity: f64,
    },
    Words(Text),
    Readout(Readout),
    Drum(Drum),
    Label(Label),
    Slots(Box<Alerts>, usize),
    Blink(Liveness),
}

/// What a part is cut to, in the coordinates of the part that holds it.
#[derive(Clone, Debug)]
struct Clip {
    outline: Vec<Point>,
    is_upright: bool,
}

/// What stands in place of a part.
#[derive(Clone, Debug)]
struct Gate {
    channels: Vec<ChannelId>,
    all: bool,
    flag: FailureFlag,
}

/// Values that a part is drawn at.
#[derive(Clone, Debug)]
struct Marks {
    repeat: Repeat,
    places: Places,
    way: Way,
    /// The channel in whose turn labels count on.
    turn_of: Option<ChannelId>,
    /// Marks round a middle have an end, and are worked out once; `None` of those along a way, which are asked for where
    /// they are in view.
    turned: Option<Vec<(f64, Affine)>>,
}

impl Marks {
    fn new(repeat: &Repeat, d: &Definition) -> Self {
        let point = |[x, y]: [f64; 2]| Point::new(x, y);
        let way = match (repeat.turn_about, repeat.shift_along) {
            (Some(about), _) => Way::Turn(point(about)),
            (None, along) => Way::Shift(point(along.unwrap_or_default())),
        };
        let mut marks = Self {
            repeat: repeat.clone(),
            places: Places::new(&repeat.scale, repeat.per_unit),
            way,
            turn_of: repeat.turn_of.as_deref().map(|n| d.channel(n)),
            turned: None,
        };
        if let (Way::Turn(_), Some(from), Some(to)) = (&marks.way, repeat.from, repeat.to) {
            let all = marks.values(from, to).map(|v| (v, marks.affine(v)));
            marks.turned = Some(all.collect());
        }
        marks
    }

    fn affine(&self, v: f64) -> Affine {
        let place = self.places.of(v);
        match &self.way {
            Way::Turn(about) => Affine::turn(*about, place),
            Way::Shift(along) => Affine::shift(along.x * place, along.y * place),
            Way::Carry(_) | Way::Strip(_) | Way::Sector(_) => Affine::IDENTITY,
        }
    }

    /// Whether a mark that has been moved so far is drawn.
    fn is_within(&self, moved: &Affine) -> bool {
        let Some([low, high]) = self.repeat.within else {
            return true;
        };
        let at = match &self.way {
            Way::Shift(along) => {
                let p = moved.map(Point::default());
                let length = libm::hypot(along.x, along.y);
                (p.x * along.x + p.y * along.y) / length
            }
            Way::Turn(_) | Way::Carry(_) | Way::Strip(_) | Way::Sector(_) => {
                let (cos, sin) = moved.direction();
                libm::atan2(sin, cos).to_degrees()
            }
        };
        (low..=high).contains(&at)
    }

    /// What the label of a mark reads where the value at the begin of the turn is `turn`.
    fn label(&self, v: f64, turn: f64) -> f64 {
        self.repeat
            .period
            .map_or(v, |period| turn + v.rem_euclid(period))
    }

    /// Where the turn begins that labels count on in; `None` while nobody can say.
    fn turn(&self, inputs: Option<&Inputs>) -> Option<f64> {
        let Some(channel) = self.turn_of else {
            return Some(0.0);
        };
        let v = inputs?.value(channel).number()?;
        Some(self.turn_at(v))
    }

    fn turn_at(&self, v: f64) -> f64 {
        let period = self.repeat.period.unwrap_or(1.0);
        libm::floor(v / period) * period
    }

    /// The turn whose labels are longest.
    fn longest_turn(&self, d: &Definition) -> f64 {
        let range = self.turn_of.and_then(|c| d.channels()[c.0].1.range);
        let ends = range.unwrap_or_default().map(|v| self.turn_at(v));
        if libm::fabs(ends[0]) > libm::fabs(ends[1]) {
            ends[0]
        } else {
            ends[1]
        }
    }

    /// How far apart marks look alike that are put along `way`, deg or px; `None` where they are put along another.
    fn alike_every(&self, way: &Way) -> Option<f64> {
        let is_along = matches!(
            (&self.way, way),
            (Way::Turn(_), Way::Turn(_)) | (Way::Shift(_), Way::Shift(_))
        );
        let Places::Even(per_unit) = &self.places else {
            return None;
        };
        let step = self.repeat.except_step.unwrap_or(self.repeat.step);
        is_along.then(|| libm::fabs(step * per_unit) * self.way.length())
    }

    /// The values between `low` and `high`.
    fn values(&self, low: f64, high: f64) -> impl Iterator<Item = f64> + '_ {
        let r = &self.repeat;
        let low = r.from.map_or(low, |v| v.max(low));
        let high = r.to.map_or(high, |v| v.min(high));
        multiples(r.step, low, high).filter(move |v| {
            let is_out = r.except_step.is_some_and(|step| is_multiple(*v, step))
                || r.except.iter().any(|e| libm::fabs(e - v) < r.step * 1e-6);
            !is_out
        })
    }
}

/// Where a part is drawn.
#[derive(Clone, Copy)]
struct Place<'a> {
    to_page: Affine,
    bounds: Option<Bounds>,
    /// Outlines without dents; what lies in any of them is drawn.
    pieces: Option<&'a [Vec<Point>]>,
    /// Value of the mark that is drawn.
    value: f64,
    upright: bool,
    opacity: f64,
    /// The part of rectangles that is filled, in the part's own coordinates.
    filled: Option<Bounds>,
    /// Colour of the only ink of repeated parts, looked up once for all of them.
    color: Option<Rgb>,
}

/// What is drawn with, and for what.
struct Pen<'a> {
    d: &'a Definition,
    /// `None` draws what never changes.
    inputs: Option<&'a Inputs>,
    phase: Option<bool>,
    scene: &'a mut Scene,
}

const PAGE: Place<'static> = Place {
    to_page: Affine::IDENTITY,
    bounds: None,
    pieces: None,
    value: 0.0,
    upright: false,
    opacity: 1.0,
    filled: None,
    color: None,
};

/// Sides of a sector reach so far, px.
const FAR_PX: f64 = 1e4;

impl Assembly {
    /// The parts of symbols; `alert_bases` are the indices of their first alerts in [`Inputs::active_since_s`].
    pub(crate) fn new<'p>(
        symbols: impl Iterator<Item = &'p [Part]>,
        alert_bases: &[usize],
        d: &Definition,
    ) -> Self {
        let mut all = Self::default();
        for (symbol, parts) in symbols.enumerate() {
            let mut base = alert_bases.get(symbol).copied().unwrap_or_default();
            let roots: Vec<usize> = parts
                .iter()
                .map(|part| all.add(part, symbol, None, &mut base, d))
                .collect();
            all.layer(&roots);
            all.symbols.push(roots);
        }
        for k in 0..all.nodes.len() {
            all.nodes[k].own = hull::bounds(&all.placed(k, d));
        }
        all
    }

    fn add(
        &mut self,
        part: &Part,
        symbol: usize,
        parent: Option<usize>,
        base: &mut usize,
        d: &Definition,
    ) -> usize {
        let index = self.nodes.len();
        let [x, y] = part.at.unwrap_or_default();
        let turned = if part.turned_deg == 0.0 {
            Affine::IDENTITY
        } else {
            Affine::turn(Point::default(), part.turned_deg)
        };
        let inks = inks(part, base, d);
        let depends = inks.iter().any(|ink| match ink {
            Ink::Outline { rules, .. } => !rules.is_empty(),
            Ink::Words(_) | Ink::Label(_) => false,
            Ink::Readout(_) | Ink::Drum(_) | Ink::Slots(..) | Ink::Blink(_) => true,
        });
        let depends = depends || part.repeat.as_ref().is_some_and(|r| r.turn_of.is_some());
        self.nodes.push(Node {
            symbol,
            parent,
            id: part.id.as_deref().map(Into::into),
            members: Vec::new(),
            inks,
            upright: part.upright,
            opacity: part.opacity,
            place: Affine::shift(x, y).after(&turned),
            clip: part.clip.as_ref().map(|a| Clip {
                outline: outline::area(a),
                is_upright: matches!(a, Area::Rect(_)),
            }),
            drives: part.motion.iter().map(|m| Drive::new(m, d)).collect(),
            roll: match &part.shape {
                Some(Shape::Drum(m)) => Some(Drive::of_drum(m, d)),
                _ => None,
            },
            when: part.when.clone(),
            choose: part.choose,
            marks: part.repeat.as_ref().map(|r| Marks::new(r, d)),
            failure: part.failure.as_ref().map(|f| Gate {
                channels: f.channels.iter().map(|c| d.channel(c)).collect(),
                all: f.all,
                flag: f.flag.clone(),
            }),
            depends,
            layer: Layer::Moving,
            own: Bounds::EMPTY,
            is_rectangle: false,
        });
        let members: Vec<usize> = part
            .part
            .iter()
            .map(|p| self.add(p, symbol, Some(index), base, d))
            .collect();
        self.nodes[index].members = members;
        self.nodes[index].is_rectangle = self.nodes[index].draws_rectangles();
        index
    }

    /// Tells layers of a symbol apart; see the module.
    fn layer(&mut self, roots: &[usize]) {
        let mut has_moved = false;
        for &root in roots {
            self.layer_of(root, false, false, &mut has_moved);
        }
    }

    fn layer_of(&mut self, k: usize, moved: bool, gated: bool, has_moved: &mut bool) {
        let node = &self.nodes[k];
        let moved = moved
            || !node.drives.is_empty()
            || !node.when.is_empty()
            || node.choose
            || node.depends;
        let gated = gated || node.failure.is_some();
        let layer = match (moved, gated, *has_moved) {
            (true, ..) => Layer::Moving,
            (false, false, false) => Layer::Background,
            (false, ..) => Layer::Foreground,
        };
        *has_moved |= moved && (!node.inks.is_empty() || node.members.is_empty());
        self.nodes[k].layer = layer;
        for member in self.nodes[k].members.clone() {
            self.layer_of(member, moved, gated, has_moved);
        }
    }

    /// Whether a symbol has ink that depends on data.
    pub(crate) fn is_moving(&self, symbol: usize) -> bool {
        let mut nodes = self.nodes.iter();
        nodes.any(|n| n.symbol == symbol && n.layer == Layer::Moving && !n.inks.is_empty())
    }

    /// Adds what never changes, of all symbols.
    pub(crate) fn draw_fixed(&self, d: &Definition, scene: &mut Scene) {
        let mut pen = Pen {
            d,
            inputs: None,
            phase: None,
            scene,
        };
        for &root in self.symbols.iter().flatten() {
            self.draw(root, &PAGE, &mut pen);
        }
        pen.scene.set_clip(None);
        pen.scene.set_cut(None);
        pen.scene.set_opacity(1.0);
    }

    /// Adds what depends on data of one symbol, and what stands still over it. Blinking marks have their first half lit
    /// when `phase` says so, and go by the time of `inputs` when it is `None`.
    pub(crate) fn draw_moving(
        &self,
        symbol: usize,
        d: &Definition,
        inputs: &Inputs,
        phase: Option<bool>,
        scene: &mut Scene,
    ) {
        let mut pen = Pen {
            d,
            inputs: Some(inputs),
            phase,
            scene,
        };
        for &root in &self.symbols[symbol] {
            self.draw(root, &PAGE, &mut pen);
        }
        pen.scene.set_clip(None);
        pen.scene.set_cut(None);
        pen.scene.set_opacity(1.0);
    }

    fn draw(&self, k: usize, outer: &Place, pen: &mut Pen) {
        let node = &self.nodes[k];
        let mut place = *outer;
        place.upright |= node.upright;
        place.opacity *= node.opacity;
        if let Some(inputs) = pen.inputs {
            if !all_hold(&node.when, pen.d, inputs) {
                return;
            }
            if let Some(gate) = &node.failure
                && gate.has_failed(inputs)
            {
                pen.scene.set_layer(Layer::Moving);
                place.set_limits(pen.scene);
                failure::draw(
                    &gate.flag,
                    outer.to_page.map(Point::default()),
                    pen.d,
                    pen.scene,
                );
                return;
            }
        } else if node.is_gated() {
            return;
        }
        let mut pieces = Vec::new();
        if let Some(clip) = &node.clip {
            place.cut_to(&clip.outline, clip.is_upright, &mut pieces);
        }
        let with_clip = Place {
            pieces: if pieces.is_empty() {
                place.pieces
            } else {
                Some(&pieces)
            },
            ..place
        };
        let mut place = with_clip;
        let mut sector = Vec::new();
        let mut motion = Affine::IDENTITY;
        if let Some(inputs) = pen.inputs {
            for drive in &node.drives {
                let Some(at) = drive.place(inputs) else {
                    return;
                };
                match &drive.way {
                    Way::Turn(_) | Way::Carry(_) | Way::Shift(_) => {
                        motion = drive.after(&motion, node.origin(), at);
                    }
                    Way::Strip(strip) => {
                        let [left, top, right, bottom] = strip.filled(at);
                        if left >= right || top >= bottom {
                            return;
                        }
                        let filled = Bounds {
                            left,
                            top,
                            right,
                            bottom,
                        };
                        if node.is_rectangle {
                            place.filled = Some(filled);
                        } else {
                            place.cut_to(&hull::corners(&filled), true, &mut sector);
                        }
                    }
                    Way::Sector(s) => {
                        let wedges = wedges(Point::new(s.about[0], s.about[1]), s.from_deg, at);
                        let mapped = wedges.into_iter().map(|w| {
                            w.into_iter()
                                .map(|p| place.to_page.map(p))
                                .collect::<Vec<_>>()
                        });
                        sector = match place.pieces {
                            None => mapped.collect(),
                            Some(old) => mapped
                                .flat_map(|w| {
                                    old.iter()
                                        .map(move |o| hull::common(o, &w))
                                        .collect::<Vec<_>>()
                                })
                                .filter(|c| c.len() > 2)
                                .collect(),
                        };
                        if sector.is_empty() {
                            return;
                        }
                    }
                }
            }
        }
        if !sector.is_empty() {
            place.pieces = Some(&sector);
        }
        place.to_page = place.to_page.after(&motion);
        let Some(marks) = &node.marks else {
            place.to_page = place.to_page.after(&node.place);
            self.draw_here(k, &place, pen);
            return;
        };
        let Some(turn) = marks.turn(pen.inputs) else {
            return;
        };
        if let [Ink::Outline { color, rules, .. }] = &node.inks[..] {
            place.color = Some(color_of(color, rules, pen));
        }
        let mut one = |v: f64, mark: &Affine| {
            if !marks.is_within(&motion.after(mark)) {
                return;
            }
            let mark = Place {
                to_page: place.to_page.after(mark).after(&node.place),
                value: marks.label(v, turn),
                ..place
            };
            self.draw_here(k, &mark, pen);
        };
        if let Some(turned) = &marks.turned {
            turned.iter().for_each(|(v, mark)| one(*v, mark));
            return;
        }
        let [low, high] = self.in_view(k, marks, &place);
        marks
            .values(low, high)
            .for_each(|v| one(v, &marks.affine(v)));
    }

    /// Values of marks that can be in view.
    fn in_view(&self, k: usize, marks: &Marks, place: &Place) -> [f64; 2] {
        let all = [f64::NEG_INFINITY, f64::INFINITY];
        let (Way::Shift(along), Places::Even(per_unit)) = (&marks.way, &marks.places) else {
            return all;
        };
        let mut seen = place.bounds;
        if let Some(pieces) = place.pieces {
            let mut all = Bounds::EMPTY;
            pieces.iter().flatten().for_each(|&p| all.include(p));
            seen = Some(seen.map_or(all, |s| s.intersection(&all)));
        }
        let Some(seen) = seen.filter(|b| !b.is_empty()) else {
            return all;
        };
        let seen = hull::bounds(&hull::corners(&seen).map(|p| place.to_page.unmap(p)));
        let own = self.nodes[k].own;
        if own.left > own.right {
            return all;
        }
        let mut found = all;
        for (step, low, high) in [
            (
                along.x * per_unit,
                seen.left - own.right,
                seen.right - own.left,
            ),
            (
                along.y * per_unit,
                seen.top - own.bottom,
                seen.bottom - own.top,
            ),
        ] {
            if step != 0.0 {
                let (a, b) = (low / step, high / step);
                found = [found[0].max(a.min(b)), found[1].min(a.max(b))];
            }
        }
        found
    }

    fn draw_here(&self, k: usize, place: &Place, pen: &mut Pen) {
        let node = &self.nodes[k];
        let is_due = (node.layer == Layer::Background) == pen.inputs.is_none();
        if is_due && !node.inks.is_empty() {
            pen.scene.set_layer(node.layer);
            place.set_limits(pen.scene);
            for ink in &node.inks {
                ink.draw(place, pen);
            }
        }
        let place = &Place {
            color: None,
            ..*place
        };
        for &member in &node.members {
            if node.choose
                && let Some(inputs) = pen.inputs
            {
                if all_hold(&self.nodes[member].when, pen.d, inputs) {
                    self.draw(member, place, pen);
                    return;
                }
            } else {
                self.draw(member, place, pen);
            }
        }
    }
}

impl Node {
    fn draws_rectangles(&self) -> bool {
        let is_one = |c: &Vec<Point>| match c[..] {
            [a, b, c, d] => a.y == b.y && b.x == c.x && c.y == d.y && d.x == a.x,
            _ => false,
        };
        self.members.is_empty()
            && self.place.is_shift()
            && self.inks.iter().all(|ink| match ink {
                Ink::Outline { contours, .. } => contours.iter().all(is_one),
                _ => false,
            })
    }

    /// Where its own origin stands before data move it, in the coordinates of the part that holds it.
    fn origin(&self) -> Point {
        self.place.map(Point::default())
    }

    /// Whether something carries it round a point.
    fn is_carried(&self) -> bool {
        let mut drives = self.drives.iter();
        drives.any(|d| matches!(d.way, Way::Carry(_)))
    }

    /// Whether data decide if it is drawn, or where.
    fn is_gated(&self) -> bool {
        !self.drives.is_empty() || !self.when.is_empty() || self.choose || self.failure.is_some()
    }
}

impl Gate {
    fn has_failed(&self, inputs: &Inputs) -> bool {
        let is_lost = |c: &ChannelId| inputs.value(*c).number().is_none();
        if self.all {
            !self.channels.is_empty() && self.channels.iter().all(is_lost)
        } else {
            self.channels.iter().any(is_lost)
        }
    }
}

impl Place<'_> {
    fn set_limits(&self, scene: &mut Scene) {
        scene.set_clip(self.bounds);
        scene.set_cut(self.pieces);
        scene.set_opacity(self.opacity);
    }

    /// Cuts to an outline in the coordinates of this place. Upright rectangles stay rectangles; other outlines go to
    /// `pieces`, which then stand for all that cuts.
    fn cut_to(&mut self, outline: &[Point], is_upright: bool, pieces: &mut Vec<Vec<Point>>) {
        if is_upright && self.to_page.is_shift() {
            let mut b = Bounds::EMPTY;
            outline.iter().for_each(|&p| b.include(self.to_page.map(p)));
            self.bounds = Some(self.bounds.map_or(b, |old| old.intersection(&b)));
            return;
        }
        let outline: Vec<Point> = outline.iter().map(|&p| self.to_page.map(p)).collect();
        *pieces = match self.pieces {
            None => vec![outline],
            Some(old) => {
                let common = old.iter().map(|o| hull::common(o, &outline));
                common.filter(|c| c.len() > 2).collect()
            }
        };
        if pieces.is_empty() {
            // Nothing is left: an outline of no area says so.
            pieces.push(Vec::new());
        }
    }
}

/// Triangles that make up a sector.
fn wedges(about: Point, from_deg: f64, to_deg: f64) -> Vec<Vec<Point>> {
    let (low, high) = (
        from_deg.min(to_deg),
        from_deg.max(to_deg).min(from_deg.min(to_deg) + 360.0),
    );
    let count = libm::ceil((high - low) / 60.0).clamp(0.0, 6.0) as usize;
    let at = |k: usize| on_clock(about, FAR_PX, low + (high - low) * k as f64 / count as f64);
    (0..count).map(|k| vec![about, at(k), at(k + 1)]).collect()
}

fn inks(part: &Part, base: &mut usize, d: &Definition) -> Vec<Ink> {
    let Some(shape) = &part.shape else {
        return Vec::new();
    };
    if let Shape::Artwork(name) = shape {
        let ink = |p: outline::Plated| Ink::Outline {
            contours: p.contours,
            color: p.color,
            rules: Vec::new(),
            shade: p.shade,
            opacity: p.opacity,
        };
        return outline::artwork(name, d).into_iter().map(ink).collect();
    }
    let words = match shape {
        Shape::Words(m) => Some(Ink::Words(m.clone())),
        Shape::Readout(m) => Some(Ink::Readout(m.clone())),
        Shape::Drum(m) => Some(Ink::Drum(m.clone())),
        Shape::Label(m) => Some(Ink::Label(m.clone())),
        Shape::Slots(m) => {
            let first = *base;
            *base += m.alert.len();
            Some(Ink::Slots(m.clone(), first))
        }
        Shape::Blink(m) => Some(Ink::Blink(m.clone())),
        Shape::Unchecked(_) => None,
        Shape::Rect(_)
        | Shape::Rounded(_)
        | Shape::Circle(_)
        | Shape::Arc(_)
        | Shape::Polygon(_)
        | Shape::Line(_)
        | Shape::Path(_)
        | Shape::Artwork(_)
        | Shape::Frame(_) => None,
    };
    let first_of_shade = part
        .shade
        .as_ref()
        .and_then(|s| s.stop.first())
        .map(|s| &s.color);
    let filling = part
        .fill
        .as_ref()
        .or(first_of_shade)
        .map(|color| Ink::Outline {
            contours: outline::filled(shape),
            color: color.clone(),
            rules: part.color_rules.clone(),
            shade: part.shade.clone(),
            opacity: 1.0,
        });
    let line = part.stroke.as_ref().map(|s| Ink::Outline {
        contours: outline::stroked(shape, s),
        color: s.color.clone(),
        rules: Vec::new(),
        shade: None,
        opacity: 1.0,
    });
    let is_drawn = |ink: &Ink| !matches!(ink, Ink::Outline { contours, .. } if contours.is_empty());
    [words, filling, line]
        .into_iter()
        .flatten()
        .filter(is_drawn)
        .collect()
}

/// The colour of a filling for the inputs.
fn color_of(usual: &str, rules: &[ColorRule], pen: &Pen) -> Rgb {
    match pen.inputs {
        Some(inputs) => super::symbols::rules::ruled_color(usual, rules, pen.d, inputs),
        None => pen.d.color(usual),
    }
}

/// The colours of a shading as it stands on the page.
fn shade(s: &Shading, place: &Place, d: &Definition) -> Option<Shade> {
    let [from, to] = [s.from, s.to].map(|[x, y]| place.to_page.map(Point::new(x, y)));
    let stop = |s: &ShadeStop| Stop {
        offset: s.offset,
        color: d.color(&s.color),
        opacity: s.opacity,
    };
    let stops: Vec<Stop> = s.stop.iter().map(stop).collect();
    Shade::new(from, to, &stops)
}

impl Ink {
    fn draw(&self, place: &Place, pen: &mut Pen) {
        match (self, pen.inputs) {
            (
                Self::Outline {
                    contours,
                    color,
                    rules,
                    shade: shading,
                    opacity,
                },
                _,
            ) => {
                let color = place.color.unwrap_or_else(|| color_of(color, rules, pen));
                if *opacity != 1.0 {
                    pen.scene.set_opacity(place.opacity * opacity);
                }
                if let Some(s) = shading {
                    pen.scene.set_shade(shade(s, place, pen.d));
                }
                let within = |p: Point| match place.filled {
                    Some(f) => {
                        Point::new(p.x.max(f.left).min(f.right), p.y.max(f.top).min(f.bottom))
                    }
                    None => p,
                };
                pen.scene
                    .fill_mapped(color, contours, |p| place.to_page.map(within(p)));
                if shading.is_some() {
                    pen.scene.set_shade(None);
                }
                if *opacity != 1.0 {
                    pen.scene.set_opacity(place.opacity);
                }
            }
            (Self::Words(m), _) => words::fixed(m, place, pen.d, pen.scene),
            (Self::Label(m), _) => words::label(m, place, pen.d, pen.scene),
            (Self::Readout(m), Some(inputs)) => words::readout(m, place, pen.d, inputs, pen.scene),
            (Self::Drum(m), Some(inputs)) => words::drum(m, place, pen.d, inputs, pen.scene),
            (Self::Slots(m, base), Some(inputs)) => {
                alerts::draw_moving(m, pen.d, inputs, *base, pen.scene);
            }
            (Self::Blink(m), Some(inputs)) => {
                let phase = pen
                    .phase
                    .unwrap_or_else(|| liveness::phase_at(m, inputs.time_s));
                liveness::draw(m, pen.d, phase, pen.scene);
            }
            (Self::Readout(_) | Self::Drum(_) | Self::Slots(..) | Self::Blink(_), None) => {}
        }
    }
}

/// A name that freedoms and readings share.
type What = Arc<str>;
