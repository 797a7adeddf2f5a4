//! Where the capture chain puts a good picture, measured once for the whole frame.
//!
//! Geometry (shift and scale of each axis) comes from the edges of static artwork by Gauss-Newton
//! on the whole frame: registering symbol by symbol would let the values of moving symbols leak
//! into the geometry. Words are left out, since units place them by rules of their own.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};

pub(super) use crate::chain::constants::register::LEAST_SLOPE;
use crate::chain::constants::register::{
    AT_REST_PX, ELSE_LEVELS, FARTHEST_PX, LEAST_AGREEMENT, LEAST_BLURRED_PX, LEAST_EDGES,
    LEAST_SLOPE_DUE, MOST_A_ROUND_PX, ROUNDS, SAMPLED_EDGES,
};
use crate::examine::subject::Subject;
use crate::picture::{Encoding, Picture, Plane, Point, Rect, Subsampling};
use crate::recording::inputs::{Inputs, Value};
use crate::reference::canvas::{Canvas, Geometry, Look, Siting, subsample};
use crate::reference::painter::{Filter, Painter, touched_pixels};
use crate::reference::region_canvas::add_dirty;
use crate::reference::resample::Resampler;
use crate::reference::scene::{Item, Layer, Scene, Shape};

/// What was measured of the chain on one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Registration {
    /// Shift and scale.
    pub geometry: Geometry,
    /// Standard errors of the shifts, px.
    pub shift_error_px: [f64; 2],
    /// Pixels that bear on the geometry.
    pub edge_px: usize,
    /// Share of the static edges that are there.
    pub agreement: f64,
    /// How steep they are, where 1 is as due.
    pub sharpness: f64,
}

/// The luma of a whole reference frame, with what moves marked.
pub struct LumaReference {
    plane: Plane,
    /// [`MOVING`] or [`WORDS`] where these may have touched, else 0.
    moving: Plane,
    /// Where anything may be: regions whose channels the recording lacks, unchecked areas, and what is outside.
    pub(super) unknown: Vec<Rect>,
    /// Pixels that are not the display's; no two share any.
    outside: Vec<Rect>,
}

/// A whole reference frame, luma and colour at the capture's resolution.
pub struct FrameReference {
    luma: LumaReference,
    chroma: [Plane; 2],
    pub(super) subsampling: Subsampling,
}

/// What [`LumaReference`] has where something moves.
const MOVING: u8 = 1;
/// The same where words stand that do not move.
const WORDS: u8 = 2;

/// A pixel of a static edge of the reference, and whether the picture has an edge there that runs the same way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeenEdge {
    /// Column of the capture.
    pub x: usize,
    /// Row of the capture.
    pub y: usize,
    /// Whether it is shown.
    pub is_shown: bool,
    /// How steep it is there along the slope that is due, and how steep it is due, as products of slopes.
    pub along: f64,
    /// See [`SeenEdge::along`].
    pub due: f64,
}

/// Share of edges that are shown.
#[must_use]
pub fn shown_share(edges: &[SeenEdge]) -> f64 {
    let shown = edges.iter().filter(|e| e.is_shown).count();
    shown as f64 / edges.len().max(1) as f64
}

/// How steep edges are, where 1 is as due; the steeper ones count for more, since whatever is beside a faint edge is as steep.
/// `None` where there are none.
#[must_use]
pub fn sharpness(edges: &[SeenEdge]) -> Option<f64> {
    let due: f64 = edges.iter().map(|e| e.due).sum();
    (due > 0.0).then(|| edges.iter().map(|e| e.along).sum::<f64>() / due)
}

/// Whether there are so many edges that a picture without them is not the display's.
#[must_use]
pub fn is_enough(edges: &[SeenEdge]) -> bool {
    edges.len() >= Detail::Whole.least()
}

/// Sums over pixels.
#[derive(Clone, Copy, Default)]
struct Remains {
    product: f64,
    square: f64,
    count: u32,
}

impl LumaReference {
    /// Draws all regions for `inputs`.
    #[must_use]
    pub fn draw(
        subject: Subject,
        inputs: &Inputs,
        look: &Look,
        size: (usize, usize),
        painter: &mut Painter,
    ) -> Self {
        Self::draw_planes(1, subject, inputs, look, (size, None), painter).0
    }

    /// The same, where it counts in `areas` alone, no two of which share a pixel.
    #[must_use]
    pub fn draw_within(
        subject: Subject,
        inputs: &Inputs,
        look: &Look,
        (size, areas): ((usize, usize), &[Rect]),
        painter: &mut Painter,
    ) -> Self {
        Self::draw_planes(1, subject, inputs, look, (size, Some(areas)), painter).0
    }

    /// Pixels that words can touch in what is drawn for `inputs`, as rectangles that share none.
    #[must_use]
    pub fn words(subject: Subject, inputs: &Inputs, looks: [&Look; 2]) -> Vec<Rect> {
        let mut scene = Scene::default();
        let mut areas = Vec::new();
        for (k, region) in subject.definition().regions_due(inputs) {
            scene.clear();
            subject.region_static(k, &mut scene);
            subject.region_moving(k, inputs, &mut scene);
            let words = scene.items().iter();
            for item in words.filter(|item| matches!(item.shape, Shape::Words(_))) {
                for look in looks {
                    let clip = look.geometry.map_rect(region.area());
                    add_dirty(&mut areas, touched_pixels(item, look).intersection(&clip));
                }
            }
        }
        areas
    }

    /// The same of one plane or three, and the planes that are not luma.
    fn draw_planes(
        planes: usize,
        subject: Subject,
        inputs: &Inputs,
        look: &Look,
        (size, areas): ((usize, usize), Option<&[Rect]>),
        painter: &mut Painter,
    ) -> (Self, Vec<Plane>) {
        let definition = subject.definition();
        let area = Rect::new(0, 0, size.0 as i32, size.1 as i32);
        let ground = look.levels(definition.background());
        let (width, height) = definition.size();
        let display = Rect::new(0, 0, width as i32, height as i32);
        let mut resampler = Resampler::within(look, area, display);
        let (own, own_look) = resampler.as_ref().map_or((area, look.clone()), |r| {
            (r.native(), Resampler::native_look(look))
        });
        let mut canvas = Canvas::new(own, planes, ground);
        let mut moving = Plane::filled(size.0, size.1, 0);
        let mut scene = Scene::default();
        let mut unknown: Vec<Rect> = {
            let areas = definition.unchecked().into_iter();
            areas.map(|r| look.geometry.map_rect(r.grown(4))).collect()
        };
        for (k, region) in definition.regions_due(inputs) {
            scene.clear();
            subject.region_static(k, &mut scene);
            subject.region_moving(k, inputs, &mut scene);
            let b = look.geometry;
            let r = region.area();
            let clip = b.map_rect(r);
            let is_missing =
                |name: &&str| *inputs.value(definition.channel(name)) == Value::Missing;
            if definition.channels_needed(k).iter().any(is_missing) {
                unknown.push(clip);
            }
            let own_area = own_look.geometry.map_rect(r);
            let clips = match areas.filter(|_| resampler.is_none()) {
                Some(areas) => areas.iter().map(|a| a.intersection(&own_area)).collect(),
                None => vec![own_area],
            };
            painter.draw_within(
                &scene,
                definition.fonts(),
                &own_look,
                &mut canvas,
                Filter::ALL,
                &clips,
            );
            let touched = |item: &Item| {
                // About two pixels of the display.
                let [across, down] = b.scale_at(Point::new(f64::from(r.x), f64::from(r.y)));
                let around = libm::round(2.0 * across.max(down)) as i32;
                touched_pixels(item, look).grown(around)
            };
            let is_moving = |item: &&Item| item.layer == Layer::Moving;
            let is_words = |item: &&Item| matches!(item.shape, Shape::Words(_));
            for item in scene.items().iter().filter(is_words) {
                moving.fill(touched(item), WORDS);
            }
            for item in scene.items().iter().filter(is_moving) {
                moving.fill(touched(item), MOVING);
            }
            for rect in definition.unchecked() {
                moving.fill(b.map_rect(rect.grown(4)), MOVING);
            }
        }
        if let Some(resampler) = &mut resampler {
            let mut seen = Canvas::new(area, planes, ground);
            resampler.resample(&canvas, &mut seen, resampler.shown());
            canvas = seen;
        }
        let mut planes = canvas.into_planes();
        let plane = planes.remove(0);
        let outside = look.geometry.outside(display, area);
        unknown.extend(&outside);
        let luma = Self {
            plane,
            moving,
            unknown,
            outside,
        };
        (luma, planes)
    }

    /// The levels.
    #[must_use]
    pub const fn plane(&self) -> &Plane {
        &self.plane
    }

    /// Whether static artwork that is no words is all that may be at a pixel.
    pub(super) fn is_static(&self, x: usize, y: usize) -> bool {
        let is_unknown = |r: &Rect| r.contains(x as i32, y as i32);
        self.moving.at(x, y) == 0 && !self.unknown.iter().any(is_unknown)
    }

    /// Whether something moves at a pixel, or may.
    pub(super) fn is_moving(&self, x: usize, y: usize) -> bool {
        self.moving.at(x, y) == MOVING
    }

    /// Whether it is known of most of `area` what the display shows there.
    #[must_use]
    pub fn is_known(&self, area: Rect) -> bool {
        let unknown = self.unknown.iter().map(|r| r.intersection(&area).area());
        2 * unknown.sum::<i64>() < area.area()
    }

    fn whole(&self) -> Rect {
        Rect::new(0, 0, self.plane.width() as i32, self.plane.height() as i32)
    }

    /// Rows and columns of an area's pixels that have neighbours on all sides.
    fn inner(&self, area: Rect) -> (Range<usize>, Range<usize>) {
        let area = area.intersection(&self.whole().grown(-1));
        let span = |from: i32, to: i32| from.max(1) as usize..to.max(1) as usize;
        (span(area.y, area.bottom()), span(area.x, area.right()))
    }

    /// Variance of the blur that makes the reference the captured picture, px²: the least-squares factor
    /// between what remains and the reference's curvature on static artwork, doubled, since a Gaussian
    /// blur of variance s² adds s²/2 times the Laplacian. Negative when the capture is the sharper.
    #[must_use]
    pub fn blur_variance_px2(&self, captured: &Picture) -> f64 {
        let [convex, concave] = self.remains(captured, self.whole());
        let square = convex.square + concave.square;
        if square > 0.0 {
            2.0 * (convex.product + concave.product) / square
        } else {
            0.0
        }
    }

    /// The same of a part of the picture, the less of what ink loses and what its surroundings gain, px²: blur moves
    /// light from one to the other, and ink that is missing does not. `None` with too little static artwork.
    #[must_use]
    pub fn blur_of_both_sides_px2(&self, captured: &Picture, area: Rect) -> Option<f64> {
        let sides = self.remains(captured, area);
        let is_enough = sides.iter().all(|s| s.count >= LEAST_BLURRED_PX);
        let variance = sides.map(|s| 2.0 * s.product / s.square);
        is_enough.then(|| variance[0].min(variance[1]))
    }

    /// What remains between the captured picture and the reference against the reference's curvature, on static
    /// artwork where it curves up and where it curves down.
    fn remains(&self, captured: &Picture, area: Rect) -> [Remains; 2] {
        let (drawn, shown) = (&self.plane, &captured.planes()[0]);
        let (rows, columns) = self.inner(area);
        let mut sides = [Remains::default(); 2];
        for y in rows {
            let (up, here, down) = (drawn.row(y - 1), drawn.row(y), drawn.row(y + 1));
            let (free, shown) = (self.moving.row(y), shown.row(y));
            for x in columns.clone() {
                let around = [up[x], down[x], here[x - 1], here[x + 1]].map(i32::from);
                let curvature = around.iter().sum::<i32>() - 4 * i32::from(here[x]);
                if free[x] == 0 && curvature.abs() > 8 {
                    let remains = i32::from(shown[x]) - i32::from(here[x]);
                    let side = &mut sides[usize::from(curvature < 0)];
                    side.product += f64::from(remains * curvature);
                    side.square += f64::from(curvature * curvature);
                    side.count += 1;
                }
            }
        }
        sides
    }

    /// Static edge pixels that are no words: position, slopes along x and y.
    pub(super) fn edges(&self) -> Vec<(usize, usize, f64, f64)> {
        self.edges_in(self.whole(), Detail::Whole)
    }

    fn edges_in(&self, area: Rect, detail: Detail) -> Vec<(usize, usize, f64, f64)> {
        let luma = &self.plane;
        let (rows, columns) = self.inner(area);
        let mut out = Vec::new();
        if columns.is_empty() {
            return out;
        }
        let mut rise = vec![0u8; columns.len()];
        for y in rows {
            let (up, here, down) = (luma.row(y - 1), luma.row(y), luma.row(y + 1));
            let free = self.moving.row(y);
            let before = here[columns.start - 1..]
                .iter()
                .zip(&here[columns.start + 1..]);
            let above = up[columns.clone()].iter().zip(&down[columns.clone()]);
            // Most pixels lie on no edge: that is told of many at once, since no leg is longer than both together.
            for (rise, ((left, right), (up, down))) in rise.iter_mut().zip(before.zip(above)) {
                *rise = left.abs_diff(*right).saturating_add(up.abs_diff(*down));
            }
            let rising = rise.iter().zip(columns.clone());
            let rising = rising.filter(|(rise, _)| **rise > 2 * LEAST_SLOPE_DUE);
            for (_, x) in rising {
                let is_asked = free[x] == 0 || (detail == Detail::Reduced && free[x] == WORDS);
                if !is_asked {
                    continue;
                }
                let gx = (f64::from(here[x + 1]) - f64::from(here[x - 1])) / 2.0;
                let gy = (f64::from(down[x]) - f64::from(up[x])) / 2.0;
                if gx * gx + gy * gy > f64::from(LEAST_SLOPE_DUE).powi(2) {
                    out.push((x, y, gx, gy));
                }
            }
        }
        out
    }

    /// The static edges, and whether `captured` has each. Levels do not matter, so that neither gain nor a tone curve nor blur
    /// does.
    #[must_use]
    pub fn seen_edges(&self, captured: &Plane) -> Vec<SeenEdge> {
        let level = |x: usize, y: usize| f64::from(captured.at(x, y));
        let seen = self.edges().into_iter().map(|(x, y, gx, gy)| {
            let (cx, cy) = (
                (level(x + 1, y) - level(x - 1, y)) / 2.0,
                (level(x, y + 1) - level(x, y - 1)) / 2.0,
            );
            let (own, shown) = (libm::hypot(gx, gy), libm::hypot(cx, cy));
            // Within an eighth of a turn.
            let along = gx * cx + gy * cy;
            let is_along = along > own * shown / std::f64::consts::SQRT_2;
            SeenEdge {
                x,
                y,
                is_shown: shown > LEAST_SLOPE && is_along,
                along,
                due: own * own,
            }
        });
        seen.collect()
    }

    /// Mean difference of luma from `captured` on the edges of static artwork in a part of the picture, cut at 80
    /// levels. `None` with too few of them.
    #[must_use]
    pub fn distance_on_edges(&self, captured: &Picture, area: Rect) -> Option<f64> {
        let (shown, drawn) = (&captured.planes()[0], &self.plane);
        let (mut sum, mut count) = (0u64, 0u32);
        for (x, y, _, _) in self.edges_in(area, Detail::Whole) {
            sum += u64::from(shown.at(x, y).abs_diff(drawn.at(x, y)).min(80));
            count += 1;
        }
        (count >= LEAST_EDGES).then(|| sum as f64 / f64::from(count))
    }

    /// Pixels that are not the display's; no two rectangles share any.
    #[must_use]
    pub fn outside(&self) -> &[Rect] {
        &self.outside
    }

    /// Mean difference of luma from `captured` on the display, cut at 64 levels, on a grid of every `step`th pixel.
    #[must_use]
    pub fn distance(&self, captured: &Picture, step: usize) -> f64 {
        let (a, b) = (&captured.planes()[0], &self.plane);
        let (mut sum, mut count) = (0u64, 0u64);
        for y in (0..b.height()).step_by(step) {
            let (a, b) = (a.row(y), b.row(y));
            let row = y as i32;
            let beside = self
                .outside
                .iter()
                .filter(|r| r.y <= row && row < r.bottom());
            // Bands are cut at both ends.
            let (mut left, mut right) = (0, b.len());
            for r in beside {
                if r.x == 0 {
                    left = left.max(r.right() as usize);
                } else {
                    right = right.min(r.x as usize);
                }
            }
            for x in (left.next_multiple_of(step)..right).step_by(step) {
                sum += u64::from(a[x].abs_diff(b[x]).min(64));
                count += 1;
            }
        }
        sum as f64 / count.max(1) as f64
    }
}

impl FrameReference {
    /// Draws all regions for `inputs`.
    #[must_use]
    pub fn draw(
        subject: Subject,
        inputs: &Inputs,
        look: &Look,
        (subsampling, siting): (Subsampling, Siting),
        size: (usize, usize),
        painter: &mut Painter,
    ) -> Self {
        let area = Rect::new(0, 0, size.0 as i32, size.1 as i32);
        let (luma, colors) =
            LumaReference::draw_planes(3, subject, inputs, look, (size, None), painter);
        let (cw, ch) = subsampling.chroma_size(size.0, size.1);
        let chroma = [0, 1].map(|k| {
            if subsampling == Subsampling::None {
                return colors[k].clone();
            }
            let mut out = Plane::filled(cw, ch, 128);
            subsample(&colors[k], (0, 0), subsampling, siting, area, &mut out);
            out
        });
        Self {
            luma,
            chroma,
            subsampling,
        }
    }

    /// Its luma.
    #[must_use]
    pub const fn luma(&self) -> &LumaReference {
        &self.luma
    }

    /// All planes, at the capture's resolution.
    pub(super) fn planes(&self) -> [&Plane; 3] {
        let [a, b] = &self.chroma;
        [&self.luma.plane, a, b]
    }

    /// Levels at the capture's resolution.
    #[must_use]
    pub fn picture(&self, encoding: Encoding) -> Picture {
        let planes = self.planes().map(Clone::clone);
        Picture::from_planes(planes, encoding, self.subsampling)
    }
}

/// Where both ends of an axis are, px from where the reference has them.
type Ends = [i32; 2];

/// Static edges, a sample of them, held against a captured picture in other places.
struct Places<'a> {
    captured: &'a Plane,
    /// Column, row, level.
    edges: Vec<(usize, usize, u8)>,
}

/// Where each pixel along an axis stands when its ends move, to the nearest pixel, halves up, and within the axis.
fn along([low, high]: Ends, length: usize) -> Vec<u32> {
    let length = length as i32;
    let whole = 2 * length;
    let step = 2 * (high - low);
    let first = whole * low + (high - low) + length;
    let (mut pixel, mut rest) = (first.div_euclid(whole), first.rem_euclid(whole));
    let next = |_| {
        let here = pixel.clamp(0, length - 1) as u32;
        rest += step;
        pixel += 1 + rest.div_euclid(whole);
        rest = rest.rem_euclid(whole);
        here
    };
    (0..length).map(next).collect()
}

impl Places<'_> {
    /// Sum of differences, cut at 80 levels, where columns and rows stand elsewhere; beyond `most` only that it is.
    fn distance(&self, columns: &[u32], rows: &[u32], most: u64) -> u64 {
        let mut sum = 0;
        for (x, y, level) in &self.edges {
            let there = self.captured.at(columns[*x] as usize, rows[*y] as usize);
            sum += u64::from(there.abs_diff(*level).min(80));
            if sum > most {
                break;
            }
        }
        sum
    }

    /// The best of what `ends` makes of all pairs within `FARTHEST_PX`; the smallest wins a tie.
    fn best(&self, ends: impl Fn(Ends) -> [Ends; 2]) -> [Ends; 2] {
        let mut order: Vec<Ends> = (-FARTHEST_PX..=FARTHEST_PX)
            .flat_map(|b| (-FARTHEST_PX..=FARTHEST_PX).map(move |a| [a, b]))
            .collect();
        order.sort_by_key(|[a, b]| (a * a + b * b, *a, *b));
        let (width, height) = (self.captured.width(), self.captured.height());
        let start = ends([0; 2]);
        let mut last = (start, along(start[0], width), along(start[1], height));
        let mut best = (u64::MAX, start);
        for pair in order {
            let [x, y] = ends(pair);
            let ([last_x, last_y], columns, rows) = &mut last;
            if x != *last_x {
                (*last_x, *columns) = (x, along(x, width));
            }
            if y != *last_y {
                (*last_y, *rows) = (y, along(y, height));
            }
            let distance = self.distance(columns, rows, best.0);
            if distance < best.0 {
                best = (distance, [x, y]);
            }
        }
        best.1
    }
}

/// Whole pixels by which the ends of both axes must move to bring static edges together best: the whole picture first,
/// then the ends of each axis by turns, since a scale of half a percent is 5 px over a thousand.
fn whole_places(captured: &Plane, reference: &LumaReference) -> [Ends; 2] {
    let edges = reference.edges();
    let stride = (edges.len() / SAMPLED_EDGES).max(1);
    let sampled = edges.iter().step_by(stride);
    let places = Places {
        captured,
        edges: sampled
            .map(|(x, y, _, _)| (*x, *y, reference.plane.at(*x, *y)))
            .collect(),
    };
    let mut found = places.best(|[dx, dy]| [[dx; 2], [dy; 2]]);
    loop {
        let before = found;
        for axis in 0..2 {
            let start = found;
            found = places.best(|[low, high]| {
                let mut ends = start;
                ends[axis][0] += low;
                ends[axis][1] += high;
                ends
            });
        }
        // Each turn is nearer or the same.
        if found == before {
            return found;
        }
    }
}

/// A geometry with a motion of (middle + edge f) px on top along each axis, f from -1 to 1 over the frame.
fn moved(g: Geometry, size: (usize, usize), [x, y]: [[f64; 2]; 2]) -> Geometry {
    let (cx, cy) = (size.0 as f64 / 2.0, size.1 as f64 / 2.0);
    let (sx, sy) = (x[1] / cx, y[1] / cy);
    if g.is_upright() {
        return Geometry {
            sx: g.sx * (1.0 + sx),
            tx: g.tx * (1.0 + sx) + x[0] - sx * cx,
            sy: g.sy * (1.0 + sy),
            ty: g.ty * (1.0 + sy) + y[0] - sy * cy,
            ..g
        };
    }
    g.then([
        [1.0 + sx, 0.0, x[0] - sx * cx],
        [0.0, 1.0 + sy, y[0] - sy * cy],
        [0.0, 0.0, 1.0],
    ])
}

/// What may move when a picture is registered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Motion {
    /// Shift and scale of each axis.
    Upright,
    /// All that a homography can do.
    Free,
}

/// In how much detail a picture is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Detail {
    /// Reduced: it has fewer edges, and the rules by which units place their words do not show.
    Reduced,
    /// As it was captured.
    Whole,
}

impl Detail {
    /// Fewest pixels of static edges that a picture is registered by.
    pub(super) const fn least(self) -> usize {
        match self {
            Self::Reduced => 60,
            Self::Whole => 200,
        }
    }
}

/// One round of Gauss-Newton.
struct Round {
    /// The motion on top, as columns say; [`Motion::Upright`] has the first four, then come gain and offset of levels.
    step: Vec<f64>,
    shift_error_px: [f64; 2],
    edge_px: usize,
}

/// Solves for the motion that brings the static edges of `reference` to where they are in `luma`; each column is in px at
/// the edge of the frame, so that all are of like size. `None` with too few edges.
fn round(luma: &Plane, reference: &LumaReference, motion: Motion, detail: Detail) -> Option<Round> {
    let edges = reference.edges_in(reference.whole(), detail);
    let edge_px = edges.len();
    if edge_px < detail.least() {
        return None;
    }
    let (cx, cy) = (luma.width() as f64 / 2.0, luma.height() as f64 / 2.0);
    let own = match motion {
        Motion::Upright => 4,
        Motion::Free => 8,
    };
    let count = own + 2;
    let mut normal = DMatrix::<f64>::zeros(count, count);
    let mut right = DVector::<f64>::zeros(count);
    let (mut squares, mut total) = (0.0, 0.0);
    let mut row = [0.0; 10];
    for &(x, y, gx, gy) in &edges {
        let level = f64::from(reference.plane.at(x, y));
        let r = f64::from(luma.at(x, y)) - level;
        let u = r / ELSE_LEVELS;
        if u.abs() >= 1.0 {
            continue;
        }
        let w = (1.0 - u * u) * (1.0 - u * u);
        let (fx, fy) = ((x as f64 + 0.5 - cx) / cx, (y as f64 + 0.5 - cy) / cy);
        row[..4].copy_from_slice(&[-gx, -gy, -gx * fx, -gy * fy]);
        if motion == Motion::Free {
            // Distance that grows along an axis draws everything in towards its far end.
            let inwards = (gx * fx * cx + gy * fy * cy) / cx;
            row[4..8].copy_from_slice(&[-gx * fy, -gy * fx, inwards * fx, inwards * fy]);
        }
        row[own..count].copy_from_slice(&[level / 64.0, 1.0]);
        for i in 0..count {
            for j in 0..count {
                normal[(i, j)] += w * row[i] * row[j];
            }
            right[i] += w * row[i] * r;
        }
        squares += w * r * r;
        total += w;
    }
    let inverse = normal.cholesky()?.inverse();
    let step = &inverse * &right;
    let freedoms = total - count as f64;
    let sigma2 = ((squares - step.dot(&right)) / freedoms.max(1.0)).max(0.1);
    Some(Round {
        step: step.iter().take(own).copied().collect(),
        shift_error_px: [0, 1].map(|k| (inverse[(k, k)] * sigma2).sqrt()),
        edge_px,
    })
}

/// A geometry with the motion of a round on top.
fn stepped(g: Geometry, size: (usize, usize), step: &[f64]) -> Geometry {
    let cut = |v: f64| v.clamp(-MOST_A_ROUND_PX, MOST_A_ROUND_PX);
    let axes = [[step[0], step[2]], [step[1], step[3]]].map(|axis| axis.map(cut));
    let [_, _, _, _, turned @ ..] = step else {
        return moved(g, size, axes);
    };
    let [skew_x, skew_y, far_x, far_y] =
        [0, 1, 2, 3].map(|k| turned.get(k).copied().map_or(0.0, cut));
    let (cx, cy) = (size.0 as f64 / 2.0, size.1 as f64 / 2.0);
    // Over the frame from -1 to 1 along both axes, and from there to pixels and back.
    let small = [
        [1.0 + axes[0][1] / cx, skew_x / cx, axes[0][0] / cx],
        [skew_y / cy, 1.0 + axes[1][1] / cy, axes[1][0] / cy],
        [far_x / cx, far_y / cx, 1.0],
    ];
    let from_pixels = small.map(|[a, b, c]| [a / cx, b / cy, c - a - b]);
    let [x, y, w] = from_pixels;
    let back = |row: [f64; 3], half: f64| [0, 1, 2].map(|k| half * (row[k] + w[k]));
    g.then([back(x, cx), back(y, cy), w])
}

/// Brings `look` to where `luma` has the static artwork. `None` when that has too few edges.
pub(super) fn refine(
    subject: Subject,
    inputs: &Inputs,
    look: &mut Look,
    luma: &Plane,
    motion: Motion,
    detail: Detail,
    painter: &mut Painter,
) -> Option<()> {
    let size = (luma.width(), luma.height());
    for _ in 0..ROUNDS {
        let reference = LumaReference::draw(subject, inputs, look, size, painter);
        let Round { step, .. } = round(luma, &reference, motion, detail)?;
        let before = look.geometry;
        look.geometry = match motion {
            Motion::Upright => stepped(before, size, &step[..4]),
            Motion::Free => stepped(before, size, &step),
        };
        if step.iter().all(|v| v.abs() < AT_REST_PX) {
            break;
        }
    }
    Some(())
}

/// Measures shift and scale of `captured` against the definition drawn for `inputs`, and where `look` sees the display at
/// an angle, that too.
///
/// `None` when the static artwork has too few edges in both directions, or they are not found.
#[must_use]
pub fn register(
    subject: Subject,
    inputs: &Inputs,
    look: &Look,
    captured: &Picture,
    painter: &mut Painter,
) -> Option<Registration> {
    let size = (captured.width(), captured.height());
    let luma = &captured.planes()[0];
    let mut look = look.clone();
    let motion = if look.geometry.is_upright() {
        Motion::Upright
    } else {
        Motion::Free
    };
    let mut shift_error_px = [f64::INFINITY; 2];
    let mut edge_px = 0;
    for turn in 0..6 {
        let reference = LumaReference::draw(subject, inputs, &look, size, painter);
        if turn == 0 {
            let ends = whole_places(luma, &reference);
            if ends != [[0; 2]; 2] {
                let motion =
                    |[low, high]: Ends| [high + low, high - low].map(|v| f64::from(v) / 2.0);
                look.geometry = moved(look.geometry, size, ends.map(motion));
                continue;
            }
        }
        let found = round(luma, &reference, motion, Detail::Whole)?;
        (shift_error_px, edge_px) = (found.shift_error_px, found.edge_px);
        look.geometry = stepped(look.geometry, size, &found.step);
        if found.step.iter().all(|v| v.abs() < AT_REST_PX) {
            break;
        }
    }
    let reference = LumaReference::draw(subject, inputs, &look, size, painter);
    let edges = reference.seen_edges(luma);
    let agreement = shown_share(&edges);
    if agreement <= LEAST_AGREEMENT {
        return None;
    }
    Some(Registration {
        geometry: look.geometry,
        shift_error_px,
        edge_px,
        agreement,
        sharpness: sharpness(&edges)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_stand_where_the_ends_of_their_axis_pull_them() {
        // The middle of pixel k is (k + 1/2)/n of the way from one end to the other.
        assert_eq!(along([0, 0], 4), [0, 1, 2, 3]);
        assert_eq!(along([2, 2], 6), [2, 3, 4, 5, 5, 5]);
        assert_eq!(along([-1, -1], 4), [0, 0, 1, 2]);
        for (ends, length) in [([-3, 4], 20), ([8, -8], 5), ([0, 1], 1000)] {
            let [low, high] = ends.map(f64::from);
            let place = |k: usize| {
                let share = (k as f64 + 0.5) / length as f64;
                let moved = libm::floor(low + (high - low) * share + 0.5);
                (k as f64 + moved).clamp(0.0, length as f64 - 1.0) as u32
            };
            let due: Vec<u32> = (0..length).map(place).collect();
            assert_eq!(along(ends, length), due, "{ends:?} over {length}");
        }
    }
}
