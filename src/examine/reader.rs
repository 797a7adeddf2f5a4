//! Readings of the continuous symbols of one region: the values that the captured picture shows.
//!
//! The reference is fitted to the capture by Gauss-Newton steps from the value that is due
//! ([`super::fit`]); a picture that agrees needs one. When the picture shows something far away, a coarse
//! scan along each freedom gives the start.

use super::comparison::ChainLook;
use super::fit::{self, MOST, Sample};
use super::subject::Subject;
use super::view::View;
use crate::picture::Rect;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::painter::{Filter, Painter, SlopeCanvas};
use crate::reference::scene::{Scene, Shape};
use crate::reference::symbols::freedom::{self, Freedom};
use crate::reference::symbols::scale::half_period;

/// What one freedom of a symbol shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// Value shown, in the channel's unit.
    pub value: f64,
    /// Its standard error, in the channel's unit.
    pub standard_error: f64,
    /// Pixels for a unit at this value.
    pub px_per_unit: f64,
    /// What the fit left over against a pixel of motion.
    pub misfit: f64,
}

/// Half the distance between the two drawings of a step, px.
const HALF_STEP_PX: f64 = 0.5;
/// Steps beyond this are cut, px.
const LONGEST_STEP_PX: f64 = 2.5;
/// A step below this ends the iteration, px: what is left is below a hundredth.
const SETTLED_PX: f64 = 0.07;
/// Pixels for a unit up to which a symbol stands still: a mark parked at the end of its scale.
const LEAST_PX_PER_UNIT: f64 = 1e-9;
/// How far a fit may move from where it began, px.
const FARTHEST_WALK_PX: f64 = 6.0;
/// Most steps.
const MOST_STEPS: usize = 8;
/// Misfit up to which the symbol was recognised.
pub const RECOGNISED: f64 = 0.35;
/// Distance between candidates of the near scan, and how many to each side, px.
const SCAN_STEP_PX: f64 = 2.0;
const SCAN_EACH_SIDE: i32 = 16;
/// Most candidates of the far scan.
const FAR_CANDIDATES: usize = 72;
/// Most minima of the near scan that are fitted.
const MINIMA: usize = 10;
/// Ratio of what a candidate may leave to what a nearer one leaves.
const NEARER_ADVANTAGE: (u64, u64) = (8, 7);
/// How many times better than the best near candidate a far one must be.
const FAR_ADVANTAGE: u64 = 2;
/// Standard error that a reading has at least, px. What the samples leave over tells of noise, not of
/// how another rasteriser lays down the same edge, which displaces readings by a few hundredths
/// of a pixel however little noise there is; it is added in quadrature.
const RASTERISER_PX: f64 = 0.045;
/// Pixels that are held against each other at once.
const CHUNK: usize = 16;

/// Freedoms of one symbol that are fitted together.
#[derive(Clone)]
struct Group {
    /// Indices into the region's freedoms.
    members: Vec<usize>,
}

/// Fits the freedoms of one region.
#[derive(Clone)]
pub struct Reader<'d> {
    subject: Subject<'d>,
    region: usize,
    area: Rect,
    freedoms: Vec<Freedom>,
    groups: Vec<Group>,
    pictures: SlopeCanvas,
    scene: Scene,
    /// Scenes above and at a value.
    above: Scene,
    middle: Scene,
    altered: Inputs,
    /// Where the two drawings of a step may differ, relative to the region.
    moved: Vec<Rect>,
    samples: Vec<Sample>,
    /// Slopes of each freedom of a group, plane after plane; all zero between steps.
    slopes: Vec<i16>,
    /// Columns of each row that hold slopes, half open.
    spans: Vec<(usize, usize)>,
    mask: Vec<u8>,
    masked: Vec<Rect>,
}

impl<'d> Reader<'d> {
    /// Prepares the buffers of region `region`, whose pixels in the capture are `area`.
    pub fn new(
        subject: Subject<'d>,
        region: usize,
        chain: &ChainLook,
        area: Rect,
        painter: &mut Painter,
    ) -> Self {
        let definition = subject.definition();
        let freedoms = freedom::freedoms(definition, region);
        let mut groups: Vec<Group> = Vec::new();
        for (k, f) in freedoms.iter().enumerate() {
            match groups.last_mut() {
                Some(g) if freedoms[g.members[0]].symbol == f.symbol && g.members.len() < MOST => {
                    g.members.push(k)
                }
                _ => groups.push(Group { members: vec![k] }),
            }
        }
        let mut scene = Scene::default();
        subject.region_static(region, &mut scene);
        let pictures = SlopeCanvas::new(
            painter,
            definition.fonts(),
            (area, chain.look, definition.background()),
            &scene,
            Filter::SHAPES,
        );
        let pixels = (area.width * area.height) as usize;
        let most = groups.iter().map(|g| g.members.len()).max().unwrap_or(0);
        let planes = if most > 1 { most } else { 0 };
        Self {
            subject,
            region,
            area,
            freedoms,
            groups,
            pictures,
            scene: Scene::default(),
            above: Scene::default(),
            middle: Scene::default(),
            altered: Inputs::default(),
            moved: Vec::new(),
            samples: Vec::new(),
            slopes: vec![0; pixels * planes],
            spans: vec![(usize::MAX, 0); area.height as usize],
            mask: vec![0; pixels],
            masked: Vec::new(),
        }
    }

    /// The freedoms that are read.
    #[must_use]
    pub fn freedoms(&self) -> &[Freedom] {
        &self.freedoms
    }

    /// Pixels for a unit of freedom `k` at `inputs`.
    #[must_use]
    pub fn px_per_unit(&self, k: usize, inputs: &Inputs) -> f64 {
        freedom::px_per_unit(
            self.subject.definition(),
            self.region,
            &self.freedoms[k],
            inputs,
        )
    }

    /// Reads all freedoms of `captured`, starting from `start`, whose reference is `drawn` where that
    /// is at hand; `words` are the lines of words of the reference (static and moving), left out. `out` gets one entry a freedom: `None` when its
    /// channel is invalid, when its ink does not move here, or when the symbol was not recognised.
    pub fn read(
        &mut self,
        captured: View,
        (start, drawn): (&Inputs, Option<View>),
        words: &[Rect],
        scan: bool,
        painter: &mut Painter,
        out: &mut Vec<Option<Fitted>>,
    ) {
        out.clear();
        out.resize(self.freedoms.len(), None);
        self.set_mask(words);
        for g in 0..self.groups.len() {
            self.read_group(g, captured, (start, drawn), painter, out);
            if scan {
                self.scan_group(g, captured, start, painter, out);
            }
        }
    }

    fn set_mask(&mut self, words: &[Rect]) {
        let width = self.area.width as usize;
        for (value, list) in [(0u8, std::mem::take(&mut self.masked)), (1, words.to_vec())] {
            for r in &list {
                let r = r.intersection(&Rect::new(0, 0, self.area.width, self.area.height));
                for y in r.y..r.bottom() {
                    self.mask[y as usize * width..][r.x as usize..r.right() as usize].fill(value);
                }
            }
            if value == 1 {
                self.masked = list;
            }
        }
    }

    /// Members of group `g` whose channel has a number, with their start.
    fn active(&self, g: usize, start: &Inputs) -> Vec<(usize, f64)> {
        self.groups[g]
            .members
            .iter()
            .filter_map(|&k| {
                let f = &self.freedoms[k];
                let v = start.value(f.channel).number()?;
                Some((
                    k,
                    if f.period.is_some() {
                        v
                    } else {
                        v.clamp(f.low, f.high)
                    },
                ))
            })
            .collect()
    }

    fn read_group(
        &mut self,
        g: usize,
        captured: View,
        (start, mut drawn): (&Inputs, Option<View>),
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        let begin = self.active(g, start);
        if begin.is_empty() {
            return;
        }
        let mut values = begin.clone();
        self.altered.clone_from(start);
        let mut last: Option<fit::Step> = None;
        let mut scale = vec![1.0; values.len()];
        for _ in 0..MOST_STEPS {
            let Some(step) = self.step(captured, drawn.take(), &values, &mut scale, painter) else {
                break;
            };
            let mut largest = 0.0f64;
            for (k, (member, value)) in values.iter_mut().enumerate() {
                let moved = step.motion_px[k].clamp(-LONGEST_STEP_PX, LONGEST_STEP_PX);
                if !step.standard_error_px[k].is_finite() {
                    continue;
                }
                largest = largest.max(moved.abs());
                let f = &self.freedoms[*member];
                *value += moved / scale[k];
                if f.period.is_none() {
                    *value = value.clamp(f.low, f.high);
                }
            }
            last = Some(step);
            // Ticks look alike a tick further: a fit that walks far has lost its way.
            let has_walked = values
                .iter()
                .zip(&begin)
                .zip(&scale)
                .any(|((now, then), scale)| (now.1 - then.1).abs() * scale > FARTHEST_WALK_PX);
            if has_walked {
                return;
            }
            if largest < SETTLED_PX {
                break;
            }
        }
        let Some(step) = last else { return };
        let mut found = [None; MOST];
        for (k, (member, value)) in values.iter().enumerate() {
            let f = &self.freedoms[*member];
            let bears = step.standard_error_px[k].is_finite() && scale[k] > LEAST_PX_PER_UNIT;
            found[k] = bears.then(|| Fitted {
                value: f.period.map_or(*value, |p| value.rem_euclid(p)),
                standard_error: libm::hypot(step.standard_error_px[k], RASTERISER_PX) / scale[k],
                px_per_unit: scale[k],
                misfit: step.misfit[k],
            });
        }
        // What is read of one freedom holds for what was read of the others: all or nothing.
        if worst_misfit(&found) < worst_misfit(values.iter().map(|(k, _)| &out[*k])) {
            for ((member, _), fitted) in values.iter().zip(found) {
                out[*member] = fitted;
            }
        }
    }

    /// One step at `values`, whose reference is `drawn` where that is at hand; `scale` gets pixels per unit.
    fn step(
        &mut self,
        captured: View,
        drawn: Option<View>,
        values: &[(usize, f64)],
        scale: &mut [f64],
        painter: &mut Painter,
    ) -> Option<fit::Step> {
        for (member, value) in values {
            self.altered.values[self.freedoms[*member].channel.0] = Value::Number(*value);
        }
        if drawn.is_none() {
            self.build(|r| &mut r.middle);
        }
        self.samples.clear();
        for (k, (member, value)) in values.iter().enumerate() {
            let f = &self.freedoms[*member];
            let channel = f.channel;
            scale[k] =
                freedom::px_per_unit(self.subject.definition(), self.region, f, &self.altered)
                    .max(LEAST_PX_PER_UNIT);
            let half = HALF_STEP_PX / scale[k];
            let bounds = self.bounds_of(*member);
            let moved = self.draw_pair(channel, *value, half, drawn.is_none(), bounds, painter);
            for &rect in &moved {
                if values.len() == 1 {
                    self.gather_one(captured, drawn, rect);
                } else {
                    self.gather_slopes(k, rect);
                }
            }
            self.moved = moved;
        }
        if values.len() > 1 {
            self.gather_many(captured, drawn, values.len());
        }
        fit::solve(&self.samples, values.len())
    }

    fn bounds_of(&self, member: usize) -> Rect {
        let b = freedom::bounds(
            self.subject.definition(),
            self.region,
            &self.freedoms[member],
        );
        let whole = Rect::new(0, 0, self.area.width, self.area.height);
        // Two pixels more than the ink reaches, so that the chain's shift and scale do not matter.
        let x = libm::floor(b.left) as i32 - self.area.x - 2;
        let y = libm::floor(b.top) as i32 - self.area.y - 2;
        let right = libm::ceil(b.right) as i32 - self.area.x + 2;
        let bottom = libm::ceil(b.bottom) as i32 - self.area.y + 2;
        Rect::new(x, y, right - x, bottom - y).intersection(&whole)
    }

    /// Draws the region for a little less than a value and a little more, and `with_middle` for the value
    /// (the scene is built by then); returns where the two may differ within `bounds`, both relative to
    /// the region.
    fn draw_pair(
        &mut self,
        channel: ChannelId,
        value: f64,
        half: f64,
        with_middle: bool,
        bounds: Rect,
        painter: &mut Painter,
    ) -> Vec<Rect> {
        self.altered.values[channel.0] = Value::Number(value - half);
        self.build(|r| &mut r.scene);
        self.altered.values[channel.0] = Value::Number(value + half);
        self.build(|r| &mut r.above);
        self.altered.values[channel.0] = Value::Number(value);
        // A colour that changes with the value between the two is no motion: it would make the whole
        // symbol an edge.
        let has_same_colors = {
            let (a, b) = (self.scene.items().iter(), self.above.items().iter());
            a.map(|i| i.color).eq(b.map(|i| i.color))
        };
        if !has_same_colors {
            if !with_middle {
                self.build(|r| &mut r.middle);
            }
            self.scene.take_colors(&self.middle);
            self.above.take_colors(&self.middle);
        }
        let fonts = self.subject.definition().fonts();
        let (x, y) = (self.area.x, self.area.y);
        let bounds = displaced(bounds, x, y);
        let mut moved = std::mem::take(&mut self.moved);
        moved.clear();
        moved.extend(
            self.pictures
                .draw_differences(
                    painter,
                    fonts,
                    [&self.scene, &self.above],
                    with_middle.then_some(&self.middle),
                    bounds,
                )
                .iter()
                .map(|r| displaced(*r, -x, -y)),
        );
        moved
    }

    /// Fills a scene with what moves at the altered inputs.
    fn build(&mut self, which: impl Fn(&mut Self) -> &mut Scene) {
        let mut scene = std::mem::take(which(self));
        scene.clear();
        self.subject
            .region_moving(self.region, &self.altered, &mut scene);
        *which(self) = scene;
    }

    /// Draws the region for a value, within `bounds` relative to the region.
    fn draw(&mut self, channel: ChannelId, value: f64, bounds: Rect, painter: &mut Painter) {
        self.altered.values[channel.0] = Value::Number(value);
        self.build(|r| &mut r.scene);
        let fonts = self.subject.definition().fonts();
        let bounds = displaced(bounds, self.area.x, self.area.y);
        self.pictures.draw(painter, fonts, &self.scene, bounds);
    }

    fn gather_one(&mut self, captured: View, drawn: Option<View>, bounds: Rect) {
        let width = self.area.width as usize;
        let [low, high, middle] = self.pictures.pictures();
        let middle = drawn.unwrap_or(View::whole(middle));
        let (x0, x1) = (bounds.x as usize, bounds.right() as usize);
        for y in bounds.y as usize..bounds.bottom() as usize {
            let (a, b) = (&low.row(y)[x0..x1], &high.row(y)[x0..x1]);
            let (c, m) = (&captured.row(y)[x0..x1], &middle.row(y)[x0..x1]);
            let mask = &self.mask[y * width + x0..y * width + x1];
            for_each_difference(a, b, |x| {
                if mask[x] == 0 {
                    let mut slope = [0.0; MOST];
                    slope[0] = f32::from(b[x]) - f32::from(a[x]);
                    self.samples.push(Sample {
                        slope,
                        residual: f32::from(c[x]) - f32::from(m[x]),
                    });
                }
            });
        }
    }

    fn gather_slopes(&mut self, k: usize, bounds: Rect) {
        let (width, height) = (self.area.width as usize, self.area.height as usize);
        let [low, high, _] = self.pictures.pictures();
        let (x0, x1) = (bounds.x as usize, bounds.right() as usize);
        for y in bounds.y as usize..bounds.bottom() as usize {
            let (a, b) = (&low.row(y)[x0..x1], &high.row(y)[x0..x1]);
            let line = &mut self.slopes[(k * height + y) * width + x0..][..x1 - x0];
            let span = &mut self.spans[y];
            for_each_difference(a, b, |x| {
                line[x] = i16::from(b[x]) - i16::from(a[x]);
                *span = (span.0.min(x0 + x), span.1.max(x0 + x + 1));
            });
        }
    }

    /// Turns the slopes into samples, and clears them.
    fn gather_many(&mut self, captured: View, drawn: Option<View>, count: usize) {
        let (width, height) = (self.area.width as usize, self.area.height as usize);
        let middle = drawn.unwrap_or(View::whole(self.pictures.pictures()[2]));
        for y in 0..height {
            let (from, to) = std::mem::replace(&mut self.spans[y], (usize::MAX, 0));
            if from >= to {
                continue;
            }
            let (c, m) = (captured.row(y), middle.row(y));
            let mut x = from;
            while x < to {
                let end = (x + CHUNK).min(to);
                let is_flat = (0..count).all(|k| {
                    let first = (k * height + y) * width;
                    is_zero(&self.slopes[first + x..first + end])
                });
                if is_flat {
                    x = end;
                    continue;
                }
                for x in x..end {
                    if self.mask[y * width + x] != 0 {
                        continue;
                    }
                    let mut slope = [0.0; MOST];
                    let mut any = 0;
                    for (k, s) in slope.iter_mut().enumerate().take(count) {
                        let v = self.slopes[(k * height + y) * width + x];
                        any |= v;
                        *s = f32::from(v);
                    }
                    if any == 0 {
                        continue;
                    }
                    self.samples.push(Sample {
                        slope,
                        residual: f32::from(c[x]) - f32::from(m[x]),
                    });
                }
                x = end;
            }
            for k in 0..count {
                let first = (k * height + y) * width;
                self.slopes[first + from..first + to].fill(0);
            }
        }
    }

    /// Looks for the value of each freedom that was not recognised along coarse candidates, in turn,
    /// then fits from the best.
    fn scan_group(
        &mut self,
        g: usize,
        captured: View,
        start: &Inputs,
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        let mut best_start = start.clone();
        let mut lost = self.active(g, start);
        lost.retain(|(k, _)| out[*k].is_none_or(|f| f.misfit > RECOGNISED));
        if lost.is_empty() {
            return;
        }
        // Those that were recognised stand where they were read.
        for &k in &self.groups[g].members {
            if let Some(known) = out[k].filter(|f| f.misfit <= RECOGNISED) {
                best_start.values[self.freedoms[k].channel.0] = Value::Number(known.value);
            }
        }
        for (member, value) in lost {
            let f = self.freedoms[member].clone();
            self.altered.clone_from(&best_start);
            let scale = freedom::px_per_unit(self.subject.definition(), self.region, &f, start)
                .max(LEAST_PX_PER_UNIT);
            let bounds = self.bounds_of(member);
            let (near, is_recognised) =
                self.scan_near(member, value, scale, captured, bounds, painter);
            let mut best = near;
            if !is_recognised {
                let span = f.period.unwrap_or(f.high - f.low);
                let step = (span / FAR_CANDIDATES as f64).max(SCAN_STEP_PX / scale);
                // A scale that repeats looks nearly the same a label further, and the labels take no part
                // here: far away must explain the picture much better than near by.
                best.0 /= FAR_ADVANTAGE;
                let far = (0..FAR_CANDIDATES).map(|k| f.low + step * k as f64);
                for v in far.filter(|v| *v <= f.low + span) {
                    let candidate = self.tried(&f, v, captured, bounds, painter);
                    if candidate.0 < best.0 {
                        best = candidate;
                    }
                }
            }
            best_start.values[f.channel.0] = Value::Number(best.1);
        }
        self.read_group(g, captured, (&best_start, None), painter, out);
    }

    /// Looks along candidates around `value`: what the best leaves unexplained, the value, and whether
    /// the symbol was recognised there. Thin lines are found only to a step of the search, so its
    /// minima are fitted before they are held against each other; of equals the nearest is taken,
    /// since ticks look alike a tick further.
    fn scan_near(
        &mut self,
        member: usize,
        value: f64,
        scale: f64,
        captured: View,
        bounds: Rect,
        painter: &mut Painter,
    ) -> ((u64, f64), bool) {
        let f = self.freedoms[member].clone();
        let left: Vec<(u64, f64)> = (-SCAN_EACH_SIDE..=SCAN_EACH_SIDE)
            .map(|k| value + f64::from(k) * SCAN_STEP_PX / scale)
            .map(|v| self.tried(&f, v, captured, bounds, painter))
            .collect();
        let mut minima: Vec<(u64, f64)> = (0..left.len())
            .filter(|&k| {
                let at = |j: usize| left.get(j).map_or(u64::MAX, |c| c.0);
                left[k].0 <= at(k.wrapping_sub(1)) && left[k].0 < at(k + 1)
            })
            .map(|k| left[k])
            .collect();
        minima.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        minima.truncate(MINIMA);
        let mut fitted: Vec<((u64, f64), bool)> = Vec::new();
        for (_, start) in minima {
            let (mut v, mut is_recognised) = (start, false);
            for _ in 0..MOST_STEPS / 2 {
                let Some(step) = self.step(captured, None, &[(member, v)], &mut [scale], painter)
                else {
                    break;
                };
                v += step.motion_px[0].clamp(-LONGEST_STEP_PX, LONGEST_STEP_PX) / scale;
                is_recognised = step.misfit[0] <= RECOGNISED;
                if step.motion_px[0].abs() < SETTLED_PX {
                    break;
                }
            }
            fitted.push((self.tried(&f, v, captured, bounds, painter), is_recognised));
        }
        let distance = |v: f64| {
            f.period
                .map_or(v - value, |p| half_period(v - value, p))
                .abs()
        };
        fitted.sort_by(|a, b| distance(a.0.1).total_cmp(&distance(b.0.1)));
        let mut best = ((u64::MAX, value), false);
        for candidate in fitted {
            if candidate.0.0 < best.0.0 / NEARER_ADVANTAGE.0 * NEARER_ADVANTAGE.1 {
                best = candidate;
            }
        }
        best
    }

    /// Draws the candidate `v` of a freedom: what it leaves unexplained, and the value within range.
    fn tried(
        &mut self,
        f: &Freedom,
        v: f64,
        captured: View,
        bounds: Rect,
        painter: &mut Painter,
    ) -> (u64, f64) {
        let v = f
            .period
            .map_or_else(|| v.clamp(f.low, f.high), |p| v.rem_euclid(p));
        self.draw(f.channel, v, bounds, painter);
        (self.energy(captured, bounds), v)
    }

    /// Sum of squared differences on every second line, words left out, differences cut at 96 levels.
    fn energy(&self, captured: View, bounds: Rect) -> u64 {
        let width = self.area.width as usize;
        let drawn = self.pictures.pictures()[0];
        let mut sum = 0u64;
        let (x0, x1) = (bounds.x as usize, bounds.right() as usize);
        for y in (bounds.y as usize..bounds.bottom() as usize).step_by(2) {
            let (a, b) = (&drawn.row(y)[x0..x1], &captured.row(y)[x0..x1]);
            let mask = &self.mask[y * width..][x0..x1];
            let square = |((a, b), mask): ((&u8, &u8), &u8)| {
                // At most 96 squared: 16 bits hold it.
                let d = u16::from(a.abs_diff(*b).min(96)) * u16::from(*mask == 0);
                u32::from(d * d)
            };
            let line: u32 = a.iter().zip(b).zip(mask).map(square).sum();
            sum += u64::from(line);
        }
        sum
    }
}

/// The largest misfit of readings; infinite when there is none.
pub fn worst_misfit<'a>(readings: impl IntoIterator<Item = &'a Option<Fitted>>) -> f64 {
    readings
        .into_iter()
        .flatten()
        .map(|f| f.misfit)
        .reduce(f64::max)
        .unwrap_or(f64::INFINITY)
}

fn displaced(r: Rect, x: i32, y: i32) -> Rect {
    Rect {
        x: r.x + x,
        y: r.y + y,
        ..r
    }
}

fn is_zero(slopes: &[i16]) -> bool {
    match <&[i16; CHUNK]>::try_from(slopes) {
        Ok(chunk) => *chunk == [0; CHUNK],
        Err(_) => slopes.iter().all(|v| *v == 0),
    }
}

/// Calls `each` with every index at which `a` and `b` differ; equal stretches are passed by in chunks.
fn for_each_difference(a: &[u8], b: &[u8], mut each: impl FnMut(usize)) {
    let (left, left_rest) = a.as_chunks::<CHUNK>();
    let (right, right_rest) = b.as_chunks::<CHUNK>();
    for (k, (p, q)) in left.iter().zip(right).enumerate() {
        if p == q {
            continue;
        }
        for x in 0..CHUNK {
            if p[x] != q[x] {
                each(k * CHUNK + x);
            }
        }
    }
    let first = left.len() * CHUNK;
    for (x, (p, q)) in left_rest.iter().zip(right_rest).enumerate() {
        if p != q {
            each(first + x);
        }
    }
}

/// Boxes of the lines of words of a scene, relative to `area`, two pixels larger than the ink.
pub fn word_boxes(
    scene: &Scene,
    subject: Subject,
    chain: &ChainLook,
    area: Rect,
    out: &mut Vec<Rect>,
) {
    for item in scene.items() {
        let Shape::Words(w) = item.shape else {
            continue;
        };
        let face = subject.definition().face(w.font);
        let advance = face.line_advance(scene.words(&w)) * w.size;
        let (c, s) = w.direction;
        let (mut left, mut top, mut right, mut bottom) = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
        for (along, down) in [
            (0.0, -face.cap_height * w.size),
            (advance, -face.cap_height * w.size),
            (0.0, 0.12 * w.size),
            (advance, 0.12 * w.size),
        ] {
            let x = chain.look.geometry.x(w.origin.x + along * c - down * s);
            let y = chain.look.geometry.y(w.origin.y + along * s + down * c);
            (left, right) = (left.min(x), right.max(x));
            (top, bottom) = (top.min(y), bottom.max(y));
        }
        let x0 = libm::floor(left) as i32 - 2 - area.x;
        let y0 = libm::floor(top) as i32 - 2 - area.y;
        let x1 = libm::ceil(right) as i32 + 2 - area.x;
        let y1 = libm::ceil(bottom) as i32 + 2 - area.y;
        out.push(Rect::new(x0, y0, x1 - x0, y1 - y0));
    }
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};

    use super::*;
    use crate::examine::calibrate::{chain_look, plain_profile};
    use crate::examine::comparison::Comparison;
    use crate::picture::{Encoding, Matrix, Plane, Range, Subsampling};
    use crate::reference::canvas::Siting;
    use crate::reference::drawing::Drawing;
    use crate::reference::symbols::bench;

    #[test]
    fn every_difference_is_found_once_and_in_order() {
        for length in [0, 1, CHUNK - 1, CHUNK, 3 * CHUNK + 5] {
            let a = vec![7u8; length];
            let mut b = a.clone();
            let places: Vec<usize> = (0..length).filter(|x| x % 5 == 0 || *x == 17).collect();
            for &x in &places {
                b[x] = 9;
            }
            let mut found = Vec::new();
            for_each_difference(&a, &b, |x| found.push(x));
            assert_eq!(found, places);
        }
    }

    /// What a display of one symbol is drawn and read with.
    struct Symbol {
        definition: &'static str,
        /// Channels, the values to read them at, and steps between those.
        channels: &'static [(&'static str, f64, f64)],
    }

    const DIAL: Symbol = Symbol {
        definition: r##"
            kind = "dial"
            center = [100, 100]
            radius = 80
            breakpoints = [[0, -120], [100, 120]]
            ticks = { major_step = 20, major_length = 12, color = "white" }
            pointers = [{ channel = "a", tip_radius = 70, tail_radius = 10, width = 5, color = "white" }]
            failure = { rect = [0, 0, 200, 200], font = "sans", size = 10.0, color = "red", background = "black" }
        "##,
        channels: &[("a", 37.0, 1.37)],
    };
    const TAPE: Symbol = Symbol {
        definition: r##"
            kind = "tape"
            rect = [60, 10, 80, 180]
            channel = "a"
            direction = "up"
            edge = "right"
            px_per_unit = 3.0
            min = 0
            max = 200
            ticks = { major_step = 20, major_length = 12, minor_step = 10, minor_length = 6, color = "white", labels = { font = "mono", size = 18, distance = 40 } }
            failure = { rect = [60, 10, 80, 180], font = "sans", size = 10.0, color = "red", background = "black" }
        "##,
        channels: &[("a", 87.0, 0.77)],
    };
    const ATTITUDE: Symbol = Symbol {
        definition: r##"
            kind = "attitude"
            rect = [0, 0, 200, 200]
            pitch = "a"
            roll = "b"
            px_per_deg = 4.0
            sky = "sky"
            ground = "ground"
            line = "white"
            aircraft = "amber"
            ladder = { major_step = 10, major_half_width = 40, minor_step = 5, minor_half_width = 20, limit = 60, visible_px = 80, font = "sans", size = 18 }
            bank = { radius = 90, marks = [10, 20, 30, 45, 60], mark_length = 10, pointer_size = 10 }
            failure = { rect = [0, 0, 200, 200], font = "sans", size = 10.0, color = "red", background = "black" }
        "##,
        channels: &[("a", 3.1, 0.41), ("b", -12.0, 2.3)],
    };

    const SYMBOLS: [(&str, Symbol); 3] = [("dial", DIAL), ("tape", TAPE), ("attitude", ATTITUDE)];

    /// Levels of noise, one standard deviation.
    const SIGMA: f64 = 6.0;

    /// The whole way: pictures of the symbol are drawn, noise is laid over them, and they are read. The variance of a
    /// pixel is that of the noise and of rounding to levels. The bound is the diagonal of the inverse of Fisher's
    /// information, sums of products of slopes over that variance (Kay, Fundamentals of Statistical Signal
    /// Processing vol. 1, 1993, ch. 3; from memory).
    #[test]
    fn drawn_symbols_are_read_as_well_as_the_cramer_rao_bound_allows() {
        for (name, symbol) in SYMBOLS {
            for (k, read) in read_in_noise(&symbol, 0.0).into_iter().enumerate() {
                let (rms, stated) = (read.rms_px / read.bound_px, read.stated_px / read.bound_px);
                let what =
                    format!("{name}, freedom {k}: RMS {rms:.3}, stated {stated:.3} of the bound");
                assert!((0.9..1.25).contains(&rms), "{what}");
                assert!((0.9..1.25).contains(&stated), "{what}");
            }
        }
    }

    #[test]
    fn where_a_fit_begins_moves_a_reading_by_less_than_a_hundredth_of_a_pixel() {
        for (name, symbol) in SYMBOLS {
            for start_px in [0.08, 0.2, 0.35, 0.5] {
                for (k, read) in read_in_noise(&symbol, start_px).into_iter().enumerate() {
                    let beyond_px = (read.rms_px.powi(2) - read.bound_px.powi(2))
                        .max(0.0)
                        .sqrt();
                    let what =
                        format!("{name}, freedom {k}, from {start_px} px: {beyond_px:.4} px");
                    assert!(beyond_px < 0.01, "{what}");
                }
            }
        }
    }

    /// How well a freedom was read, root mean squares.
    struct InNoise {
        rms_px: f64,
        /// The standard error that was stated, without the share of other rasterisers.
        stated_px: f64,
        bound_px: f64,
    }

    fn read_in_noise(symbol: &Symbol, start_px: f64) -> Vec<InNoise> {
        const PLACES: u32 = 8;
        const TIMES: u32 = 40;
        let d = bench::display(symbol.definition);
        let drawing = Drawing::new(&d);
        let subject = Subject::new(&d, &drawing);
        let (size, planes) = ((200, 200), Subsampling::Both);
        let encoding = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        };
        let chain = chain_look(&plain_profile(size, encoding, planes, Siting::Left));
        let mut painter = Painter::default();
        let mut comparison = Comparison::new(subject, 0, &chain, size, &mut painter);
        let mut reader = Reader::new(subject, 0, &chain, comparison.area(), &mut painter);
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(11);
        let n = symbol.channels.len();
        let mut sums = vec![[0.0; 3]; n];
        for place in 0..PLACES {
            let values: Vec<(&str, f64)> = symbol
                .channels
                .iter()
                .map(|(name, v, step)| (*name, v + step * f64::from(place)))
                .collect();
            let truth = bench::inputs(&d, &values);
            let mut drawn = |inputs: &Inputs, painter: &mut Painter| {
                comparison.draw(inputs, painter);
                let view = comparison.reference()[0];
                let rows = (0..view.height()).map(|y| view.row(y).to_vec());
                rows.collect::<Vec<_>>().concat()
            };
            let aside = |k: usize, by_px: f64, reader: &Reader| {
                let channel = reader.freedoms()[k].channel;
                let mut inputs = truth.clone();
                let value = values[k].1 + by_px / reader.px_per_unit(k, &truth);
                inputs.values[channel.0] = Value::Number(value);
                inputs
            };
            let slopes: Vec<Vec<f64>> = (0..n)
                .map(|k| {
                    let low = drawn(&aside(k, -0.25, &reader), &mut painter);
                    let high = drawn(&aside(k, 0.25, &reader), &mut painter);
                    let pairs = low.iter().zip(&high);
                    pairs
                        .map(|(a, b)| 2.0 * (f64::from(*b) - f64::from(*a)))
                        .collect()
                })
                .collect();
            let clean = drawn(&truth, &mut painter);
            let mut words = Vec::new();
            let whole = Rect::new(0, 0, 200, 200);
            word_boxes(comparison.scene(), subject, &chain, whole, &mut words);
            let is_read = |at: usize| {
                let (x, y) = ((at % 200) as i32, (at / 200) as i32);
                !words.iter().any(|w| w.contains(x, y))
            };
            let variance = SIGMA * SIGMA + 1.0 / 12.0;
            let information = nalgebra::DMatrix::from_fn(n, n, |i, j| {
                let pixels = (0..clean.len()).filter(|at| is_read(*at));
                pixels.map(|at| slopes[i][at] * slopes[j][at]).sum::<f64>() / variance
            });
            let bound = information
                .try_inverse()
                .expect("every freedom moves ink")
                .diagonal();
            let mut start = truth.clone();
            for k in 0..n {
                let channel = reader.freedoms()[k].channel;
                start.values[channel.0].clone_from(&aside(k, start_px, &reader).values[channel.0]);
            }
            for _ in 0..TIMES {
                let mut gauss = || {
                    let (u, v): (f64, f64) = (random.random_range(1e-12..1.0), random.random());
                    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
                };
                let levels = clean
                    .iter()
                    .map(|v| (f64::from(*v) + SIGMA * gauss()).round() as u8);
                let captured = Plane::from_levels(200, 200, levels.collect());
                let mut out = Vec::new();
                let view = View::whole(&captured);
                reader.read(view, (&start, None), &words, false, &mut painter, &mut out);
                for k in 0..n {
                    let fitted = out[k].expect("the symbol is read");
                    let period = reader.freedoms()[k].period;
                    let off = fitted.value - values[k].1;
                    let error_px = period.map_or(off, |p| half_period(off, p)) * fitted.px_per_unit;
                    let stated_px = fitted.standard_error * fitted.px_per_unit;
                    sums[k][0] += error_px * error_px;
                    sums[k][1] += stated_px * stated_px - RASTERISER_PX * RASTERISER_PX;
                    sums[k][2] += bound[k];
                }
            }
        }
        let mean = |sum: f64| (sum / f64::from(PLACES * TIMES)).sqrt();
        let read = sums.into_iter().map(|[error, stated, bound]| InNoise {
            rms_px: mean(error),
            stated_px: mean(stated),
            bound_px: mean(bound),
        });
        read.collect()
    }
}
