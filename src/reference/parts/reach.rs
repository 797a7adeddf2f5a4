//! Where the ink of parts can come to stand, and how far from the middle of a turn it reaches.

use super::affine::Affine;
use super::drive::{Drive, Way};
use super::hull::{common, corners, hull};
use super::{Assembly, Ink, What, words};
use crate::definition::Definition;
use crate::definition::model::{Alerts, Align, Text};
use crate::picture::Point;
use crate::reference::scene::Bounds;
use crate::reference::symbols::alerts::ground_at;
use crate::reference::symbols::words::width;

/// Steps in which a turn is gone through, deg.
const STEP_DEG: f64 = 5.0;
/// Marks that are gone through; those of longer scales at as many places.
const MOST_PLACES: usize = 200;
/// Room above and below the middle of a line of words, em.
const HALF_LINE_EM: f64 = 0.75;
/// Digits that a number of unknown size is given room for.
const DIGITS: &str = "-00000";

impl Assembly {
    /// Corners round what a part draws in its own coordinates, members included, wherever data move them.
    fn content(&self, k: usize, d: &Definition) -> Vec<Point> {
        let node = &self.nodes[k];
        let mut points = Vec::new();
        for ink in &node.inks {
            points.extend(ink.corners(d));
        }
        for &member in &node.members {
            points.extend(self.sweep(member, d));
        }
        hull(points)
    }

    /// The same where its marks are put.
    pub(super) fn placed(&self, k: usize, d: &Definition) -> Vec<Point> {
        let place = &self.nodes[k].place;
        self.content(k, d)
            .into_iter()
            .map(|p| place.map(p))
            .collect()
    }

    /// The outline, without dents, of all places where a part can have ink, in the coordinates of the part that holds it.
    pub(super) fn sweep(&self, k: usize, d: &Definition) -> Vec<Point> {
        let mut points = self.moved(k, self.placed(k, d), d);
        if let Some(gate) = &self.nodes[k].failure {
            points.extend(corners(&Bounds::from_rect(gate.flag.rect)));
        }
        points
    }

    /// Where ink of part `k` that stands at `points` (before its marks) can be moved to.
    fn moved(&self, k: usize, points: Vec<Point>, d: &Definition) -> Vec<Point> {
        let node = &self.nodes[k];
        // Level words go with the point that holds them.
        let anchor = node
            .inks
            .iter()
            .find_map(|i| i.anchor().filter(|_| node.upright));
        // So does what is carried with its origin.
        let carried = node.is_carried().then(|| node.origin());
        let (mut swept, offsets) = match anchor.map(|a| node.place.map(a)).or(carried) {
            Some(a) => {
                let offsets = points
                    .iter()
                    .map(|p| Point::new(p.x - a.x, p.y - a.y))
                    .collect();
                (vec![a], offsets)
            }
            None => (points, vec![Point::default()]),
        };
        if let Some(marks) = &node.marks {
            let (Some(from), Some(to)) = (marks.repeat.from, marks.repeat.to) else {
                return node.clip.as_ref().map_or(swept, |c| c.outline.clone());
            };
            let values: Vec<f64> = marks.values(from, to).collect();
            let every = values.len().div_ceil(MOST_PLACES).max(1);
            let last = values.len().saturating_sub(1);
            let numbered = values.iter().enumerate();
            let chosen = numbered.filter(|(n, _)| n % every == 0 || *n == last);
            let mut all = Vec::new();
            let turn = marks.longest_turn(d);
            for (_, &v) in chosen {
                let affine = marks.affine(v);
                // A label is as wide as what it reads at its mark.
                let label = node
                    .inks
                    .iter()
                    .find_map(|i| i.label_at(marks.label(v, turn), d));
                let own = label.map(|c| c.into_iter().map(|p| node.place.map(p)).collect());
                let own: &Vec<Point> = match (&own, anchor.is_some()) {
                    (Some(own), false) => own,
                    _ => &swept,
                };
                all.extend(own.iter().map(|p| affine.map(*p)));
            }
            swept = hull(all);
        }
        for drive in &node.drives {
            swept = drive.sweep(swept);
        }
        let spread = swept
            .iter()
            .flat_map(|p| offsets.iter().map(|o| Point::new(p.x + o.x, p.y + o.y)));
        let mut points = hull(spread.collect());
        if let Some(clip) = &node.clip {
            points = common(&points, &clip.outline);
        }
        points
    }

    /// Where a part can have ink on the page.
    pub(crate) fn on_page(&self, k: usize, d: &Definition) -> Bounds {
        let mut points = self.moved(k, self.placed(k, d), d);
        let mut at = k;
        while let Some(parent) = self.nodes[at].parent {
            let place = &self.nodes[parent].place;
            points = points.into_iter().map(|p| place.map(p)).collect();
            points = self.moved(parent, points, d);
            at = parent;
        }
        super::hull::bounds(&points)
    }

    /// Parts of a symbol that have ink and can never be seen, since it lies outside what they are cut to: the names of
    /// what moves them, or their own.
    pub(crate) fn never_seen(&self, symbol: usize, d: &Definition) -> Vec<What> {
        let nodes = self.nodes.iter().enumerate();
        let inked = nodes.filter(|(_, n)| n.symbol == symbol && !n.inks.is_empty());
        let lost = inked.filter(|(k, n)| {
            // What words need is estimated; outlines are known.
            let is_outline = n.inks.iter().all(|i| matches!(i, Ink::Outline { .. }));
            is_outline && !self.content(*k, d).is_empty() && self.on_page(*k, d).is_empty()
        });
        lost.map(|(_, n)| {
            let motion = n.drives.first().map(|drive| drive.name.clone());
            n.id.clone().or(motion).unwrap_or_else(|| "part".into())
        })
        .collect()
    }

    /// Where a symbol can have ink on the page; empty when it draws nothing.
    pub(crate) fn symbol_on_page(&self, symbol: usize, d: &Definition) -> Bounds {
        let points = self.symbols[symbol]
            .iter()
            .flat_map(|&root| self.sweep(root, d))
            .collect::<Vec<_>>();
        super::hull::bounds(&points)
    }

    /// How far from the middle of a turn of part `k` there is ink that surely shows the turn, px: the farthest corner that
    /// stays within what the ink is cut to. Where all corners overreach it (a horizon), its nearest side.
    pub(super) fn lever(&self, k: usize, about: Point, d: &Definition) -> Lever {
        let (mut at, mut node) = (about, Some(k));
        let mut side = f64::INFINITY;
        while let Some(k) = node {
            if let Some(clip) = &self.nodes[k].clip {
                let inside = distance_to_sides(at, &clip.outline);
                if inside > 0.0 {
                    side = side.min(inside);
                }
            }
            node = self.nodes[k].parent;
            if let Some(parent) = node {
                at = self.nodes[parent].place.map(at);
            }
        }
        let radii = self
            .marked(k, d)
            .into_iter()
            .map(|p| libm::hypot(p.x - about.x, p.y - about.y));
        let within = radii.filter(|r| *r <= side).fold(0.0, f64::max);
        if within == 0.0 && side.is_finite() {
            Lever::Side(side)
        } else {
            Lever::Corner(within)
        }
    }

    /// How far from the point that motion `drive` carries part `k` round its origin stands at most, px.
    pub(super) fn farthest_carried(&self, k: usize, drive: usize, about: Point) -> Lever {
        let node = &self.nodes[k];
        let before = node.drives[..drive].iter();
        let swept = before.fold(vec![node.origin()], |points, d| d.sweep(points));
        let far = swept
            .iter()
            .map(|p| libm::hypot(p.x - about.x, p.y - about.y));
        Lever::Corner(far.fold(0.0, f64::max))
    }

    /// Corners of a part where its place and its marks put it; those outside its clip are left out.
    fn marked(&self, k: usize, d: &Definition) -> Vec<Point> {
        let node = &self.nodes[k];
        let own = self.own_points(k, d);
        let marks: Vec<Affine> = match &node.marks {
            Some(m) => {
                let values = m.values(m.repeat.from.unwrap_or(0.0), m.repeat.to.unwrap_or(0.0));
                values.map(|v| m.affine(v)).collect()
            }
            None => vec![Affine::IDENTITY],
        };
        let is_inside = |p: &Point| {
            let clip = node.clip.as_ref();
            clip.is_none_or(|c| distance_to_sides(*p, &c.outline) > 0.0)
        };
        let placed = own.iter().map(|p| node.place.map(*p));
        let placed: Vec<Point> = placed.collect();
        let all = marks.iter().flat_map(|m| placed.iter().map(|p| m.map(*p)));
        all.filter(is_inside).collect()
    }

    /// Corners of the outlines of a part and of its members, motions left out; not of words, which readings leave out.
    fn own_points(&self, k: usize, d: &Definition) -> Vec<Point> {
        let node = &self.nodes[k];
        let outlines = node
            .inks
            .iter()
            .filter(|i| matches!(i, Ink::Outline { .. }));
        let own = outlines.flat_map(|i| i.corners(d));
        own.chain(node.members.iter().flat_map(|&m| self.marked(m, d)))
            .collect()
    }
}

/// How far from the middle of a turn there is ink, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Lever {
    /// A corner that is surely seen.
    Corner(f64),
    /// The nearest side of what the ink is cut to.
    Side(f64),
}

impl Lever {
    pub(super) const fn px(self) -> f64 {
        match self {
            Self::Corner(px) | Self::Side(px) => px,
        }
    }

    /// What shows a turn of both best: corners before sides.
    pub(super) const fn best(self, other: Self) -> Self {
        match (self, other) {
            (Self::Corner(a), Self::Corner(b)) => Self::Corner(a.max(b)),
            (Self::Side(a), Self::Side(b)) => Self::Side(a.max(b)),
            (Self::Corner(_), Self::Side(_)) => self,
            (Self::Side(_), Self::Corner(_)) => other,
        }
    }
}

/// Distance of a point inside an outline from its nearest side; 0 outside.
fn distance_to_sides(p: Point, outline: &[Point]) -> f64 {
    let mut least = f64::INFINITY;
    let mut sides = [false; 2];
    for (k, a) in outline.iter().enumerate() {
        let b = outline[(k + 1) % outline.len()];
        let (dx, dy) = (b.x - a.x, b.y - a.y);
        let away =
            (dx * (p.y - a.y) - dy * (p.x - a.x)) / libm::hypot(dx, dy).max(f64::MIN_POSITIVE);
        sides[usize::from(away > 0.0)] = true;
        least = least.min(libm::fabs(away));
    }
    if sides == [true, true] || outline.is_empty() {
        0.0
    } else {
        least
    }
}

impl Drive {
    /// All places that the motion can take `points` to.
    fn sweep(&self, points: Vec<Point>) -> Vec<Point> {
        let [low, high] = self.place_ends();
        match &self.way {
            Way::Turn(about) | Way::Carry(about) => {
                let turned = |degrees: f64, p: Point| Affine::turn(*about, degrees).map(p);
                let (low, high) = if high - low >= 360.0 {
                    (-180.0, 180.0)
                } else {
                    (low, high)
                };
                let first = libm::ceil(low / STEP_DEG) as i64;
                let last = libm::floor(high / STEP_DEG) as i64;
                let steps: Vec<f64> = (first..=last).map(|k| k as f64 * STEP_DEG).collect();
                let mut all = Vec::new();
                for p in &points {
                    // Where the point is farthest up, right, down and left.
                    let clock = libm::atan2(p.x - about.x, about.y - p.y).to_degrees();
                    let turns = (-8..=8).map(|k| f64::from(k) * 90.0 - clock);
                    let outermost = turns.filter(|t| (low..=high).contains(t));
                    let places = [low, high]
                        .into_iter()
                        .chain(outermost)
                        .chain(steps.iter().copied());
                    all.extend(places.map(|place| turned(place, *p)));
                }
                hull(all)
            }
            Way::Shift(_) => {
                let ends = [low, high].map(|place| self.affine(place));
                hull(
                    ends.iter()
                        .flat_map(|a| points.iter().map(|p| a.map(*p)))
                        .collect(),
                )
            }
            Way::Strip(s) => {
                let [x, y, w, h] = s.rect;
                common(
                    &points,
                    &corners(&Bounds {
                        left: x,
                        top: y,
                        right: x + w,
                        bottom: y + h,
                    }),
                )
            }
            Way::Sector(_) => points,
        }
    }
}

impl Ink {
    /// The point that holds its words.
    fn anchor(&self) -> Option<Point> {
        let [x, y] = match self {
            Self::Words(m) => m.position,
            Self::Readout(m) => m.position,
            Self::Label(m) => m.position,
            Self::Drum(m) => m.position,
            Self::Outline { .. } | Self::Slots(..) | Self::Blink(_) => return None,
        };
        Some(Point::new(x, y))
    }

    /// Corners round a label that reads `v`.
    fn label_at(&self, v: f64, d: &Definition) -> Option<Vec<Point>> {
        let Self::Label(m) = self else { return None };
        let mut text = String::new();
        words::write_label(m, v, &mut text);
        let words = Text {
            text,
            position: m.position,
            align: m.align,
            font: m.font.clone(),
            size: m.size,
            color: m.color.clone(),
        };
        Some(Self::Words(words).corners(d))
    }

    /// Corners round what it draws, in the coordinates of its part.
    fn corners(&self, d: &Definition) -> Vec<Point> {
        let line = |[x, y]: [f64; 2], align: Align, font: &str, size: f64, words: &str| {
            let wide = width(d, font, size, words);
            let left = match align {
                Align::Left => x,
                Align::Center => x - wide / 2.0,
                Align::Right => x - wide,
            };
            let half = d.face(d.font(font)).cap_height * size / 2.0;
            corners(&Bounds {
                left,
                top: y - half,
                right: left + wide,
                bottom: y + half,
            })
            .to_vec()
        };
        match self {
            Self::Outline { contours, .. } => contours.iter().flatten().copied().collect(),
            Self::Words(m) => line(m.position, m.align, &m.font, m.size, &m.text),
            Self::Readout(m) => {
                let range = d.channels()[d.channel(&m.channel).0].1.range;
                let written = |v: f64| {
                    let mut text = String::new();
                    crate::reference::symbols::number::write_number(&m.format, v, &mut text);
                    text
                };
                let stop = |v: f64| m.format.wrap.map_or(v, |w| v.clamp(0.0, w));
                let ends = range.unwrap_or_default().map(|v| written(stop(v)));
                let all = ends.iter().chain([&m.invalid_text]);
                let wide = |w: &str| width(d, &m.font, m.size, w);
                let longest = all.max_by(|a, b| wide(a).total_cmp(&wide(b)));
                line(
                    m.position,
                    m.align,
                    &m.font,
                    m.size,
                    longest.map_or("", |w| w),
                )
            }
            Self::Label(m) => line(m.position, m.align, &m.font, m.size, &DIGITS[1..4]),
            Self::Drum(m) => {
                let places = f64::from(m.places) - 1.0 + f64::from(m.last_digits);
                let [right, y] = m.position;
                let left = right - places * words::pitch(m, d);
                let half = m.row_height * 2.0 + HALF_LINE_EM * m.size;
                corners(&Bounds {
                    left,
                    top: y - half,
                    right,
                    bottom: y + half,
                })
                .to_vec()
            }
            Self::Slots(m, _) => slots(m, &line),
            Self::Blink(m) => corners(&Bounds::from_rect(m.rect)).to_vec(),
        }
    }
}

/// Corners round a line of words: position, how it sits there, font, size, words.
type Line<'a> = &'a dyn Fn([f64; 2], Align, &str, f64, &str) -> Vec<Point>;

fn slots(a: &Alerts, line: Line<'_>) -> Vec<Point> {
    let mut points = Vec::new();
    let (rows, last) = (a.rows(), a.slots.saturating_sub(1));
    // Corners of the block that the slots make.
    let outer = [0, (rows - 1).min(last), last / rows * rows, last];
    if let Some(ground) = &a.ground {
        let grounds = outer.iter().map(|slot| ground_at(ground, a.place(*slot)));
        points.extend(grounds.flat_map(|g| corners(&g)));
    }
    if let Some(more) = &a.more {
        let words = format!("{}{}{}", more.prefix, a.alert.len(), more.suffix);
        points.extend(line(more.position, Align::Left, &a.font, a.size, &words));
    }
    for alert in &a.alert {
        for slot in outer {
            let at = a.place(slot);
            points.extend(line(at, Align::Left, &a.font, a.size, &alert.text));
        }
        if let Some(at) = a.advice_position {
            points.extend(line(
                at,
                Align::Left,
                &a.font,
                a.advice_size.unwrap_or(a.size),
                &alert.advice,
            ));
        }
    }
    if let Some(flag) = &a.failure {
        points.extend(corners(&Bounds::from_rect(flag.rect)));
    }
    points
}
