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
use crate::reference::painter::{Filter, Painter, RegionCanvas};
use crate::reference::scene::{Scene, Shape};
use crate::reference::symbols::freedom::{self, Freedom};

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
const SETTLED_PX: f64 = 0.3;
/// Most steps.
const MOST_STEPS: usize = 8;
/// Misfit up to which the symbol was recognised.
pub const RECOGNISED: f64 = 0.5;
/// Distance between candidates of the near scan, and how many to each side, px.
const SCAN_STEP_PX: f64 = 2.0;
const SCAN_EACH_SIDE: i32 = 16;
/// Most candidates of the far scan.
const FAR_CANDIDATES: usize = 72;

/// Freedoms of one symbol that are fitted together.
struct Group {
    /// Indices into the region's freedoms.
    members: Vec<usize>,
}

/// Fits the freedoms of one region.
pub struct Reader<'d> {
    subject: Subject<'d>,
    region: usize,
    area: Rect,
    freedoms: Vec<Freedom>,
    groups: Vec<Group>,
    low: RegionCanvas,
    high: RegionCanvas,
    scene: Scene,
    altered: Inputs,
    samples: Vec<Sample>,
    slopes: Vec<i16>,
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
        let mut canvas = || {
            let mut canvas = RegionCanvas::new(area, 1, chain.look, definition.background());
            canvas.set_fixed(painter, definition.fonts(), &scene, Filter::SHAPES);
            canvas
        };
        let (low, high) = (canvas(), canvas());
        let pixels = (area.width * area.height) as usize;
        Self {
            subject,
            region,
            area,
            freedoms,
            groups,
            low,
            high,
            scene: Scene::default(),
            altered: Inputs::default(),
            samples: Vec::new(),
            slopes: vec![0; 0],
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

    /// Reads all freedoms of `captured`, starting from `start`; `words` are the lines of words of the
    /// reference (static and moving), left out. `out` gets one entry a freedom: `None` when its
    /// channel is invalid, when its ink does not move here, or when the symbol was not recognised.
    pub fn read(
        &mut self,
        captured: View,
        start: &Inputs,
        words: &[Rect],
        scan: bool,
        painter: &mut Painter,
        out: &mut Vec<Option<Fitted>>,
    ) {
        out.clear();
        out.resize(self.freedoms.len(), None);
        self.set_mask(words);
        for g in 0..self.groups.len() {
            self.read_group(g, captured, start, painter, out);
            let is_lost = self.groups[g].members.iter().any(|&k| {
                out[k].is_none_or(|f| f.misfit > RECOGNISED)
                    && start.value(self.freedoms[k].channel).number().is_some()
            });
            if scan && is_lost {
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
        start: &Inputs,
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        let mut values = self.active(g, start);
        if values.is_empty() {
            return;
        }
        self.altered.clone_from(start);
        let mut last: Option<fit::Step> = None;
        let mut scale = vec![1.0; values.len()];
        for _ in 0..MOST_STEPS {
            let Some(step) = self.step(captured, &values, &mut scale, painter) else {
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
            if largest < SETTLED_PX {
                break;
            }
        }
        let Some(step) = last else { return };
        for (k, (member, value)) in values.iter().enumerate() {
            let f = &self.freedoms[*member];
            let value = f.period.map_or(*value, |p| value.rem_euclid(p));
            let better = out[*member].is_none_or(|old| step.misfit < old.misfit);
            if better && step.standard_error_px[k].is_finite() {
                out[*member] = Some(Fitted {
                    value,
                    standard_error: step.standard_error_px[k] / scale[k],
                    px_per_unit: scale[k],
                    misfit: step.misfit,
                });
            }
        }
    }

    /// One step at `values`; `scale` gets pixels per unit.
    fn step(
        &mut self,
        captured: View,
        values: &[(usize, f64)],
        scale: &mut [f64],
        painter: &mut Painter,
    ) -> Option<fit::Step> {
        for (member, value) in values {
            self.altered.values[self.freedoms[*member].channel.0] = Value::Number(*value);
        }
        let width = self.area.width as usize;
        let pixels = width * self.area.height as usize;
        self.samples.clear();
        if values.len() > 1 {
            self.slopes.clear();
            self.slopes.resize(pixels * values.len(), 0);
        }
        let mut touched = Rect::default();
        for (k, (member, value)) in values.iter().enumerate() {
            let f = &self.freedoms[*member];
            let channel = f.channel;
            scale[k] =
                freedom::px_per_unit(self.subject.definition(), self.region, f, &self.altered)
                    .max(1e-9);
            let half = HALF_STEP_PX / scale[k];
            let bounds = self.bounds_of(*member);
            self.draw(channel, value - half, false, painter);
            self.draw(channel, value + half, true, painter);
            self.altered.values[channel.0] = Value::Number(*value);
            if values.len() == 1 {
                self.gather_one(captured, bounds);
            } else {
                touched = touched.union(&bounds);
                self.gather_slopes(k, values.len(), bounds);
            }
        }
        if values.len() > 1 {
            self.gather_many(captured, values.len(), touched);
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

    fn draw(&mut self, channel: ChannelId, value: f64, is_high: bool, painter: &mut Painter) {
        self.altered.values[channel.0] = Value::Number(value);
        self.scene.clear();
        self.subject
            .region_moving(self.region, &self.altered, &mut self.scene);
        let fonts = self.subject.definition().fonts();
        let canvas = if is_high {
            &mut self.high
        } else {
            &mut self.low
        };
        canvas.update(painter, fonts, &self.scene);
    }

    fn gather_one(&mut self, captured: View, bounds: Rect) {
        let width = self.area.width as usize;
        let (low, high) = (
            &self.low.canvas().planes()[0],
            &self.high.canvas().planes()[0],
        );
        let (x0, x1) = (bounds.x as usize, bounds.right() as usize);
        for y in bounds.y as usize..bounds.bottom() as usize {
            let (a, b, c) = (
                &low.row(y)[x0..x1],
                &high.row(y)[x0..x1],
                &captured.row(y)[x0..x1],
            );
            if a == b {
                continue;
            }
            let mask = &self.mask[y * width + x0..y * width + x1];
            for x in 0..a.len() {
                if a[x] != b[x] && mask[x] == 0 {
                    let mut slope = [0.0; MOST];
                    slope[0] = f32::from(b[x]) - f32::from(a[x]);
                    let middle = (f32::from(a[x]) + f32::from(b[x])) / 2.0;
                    self.samples.push(Sample {
                        slope,
                        residual: f32::from(c[x]) - middle,
                    });
                }
            }
        }
    }

    fn gather_slopes(&mut self, k: usize, count: usize, bounds: Rect) {
        let width = self.area.width as usize;
        let (low, high) = (
            &self.low.canvas().planes()[0],
            &self.high.canvas().planes()[0],
        );
        let (x0, x1) = (bounds.x as usize, bounds.right() as usize);
        for y in bounds.y as usize..bounds.bottom() as usize {
            let (a, b) = (&low.row(y)[x0..x1], &high.row(y)[x0..x1]);
            if a == b {
                continue;
            }
            let line = &mut self.slopes[(y * width + x0) * count..];
            for x in 0..a.len() {
                line[x * count + k] = i16::from(b[x]) - i16::from(a[x]);
            }
        }
    }

    fn gather_many(&mut self, captured: View, count: usize, bounds: Rect) {
        let width = self.area.width as usize;
        let (low, high) = (
            &self.low.canvas().planes()[0],
            &self.high.canvas().planes()[0],
        );
        for y in bounds.y as usize..bounds.bottom() as usize {
            let (a, b, c) = (low.row(y), high.row(y), captured.row(y));
            for x in bounds.x as usize..bounds.right() as usize {
                let at = y * width + x;
                let own = &self.slopes[at * count..(at + 1) * count];
                if own.iter().all(|v| *v == 0) || self.mask[at] != 0 {
                    continue;
                }
                let mut slope = [0.0; MOST];
                for (s, v) in slope.iter_mut().zip(own) {
                    *s = f32::from(*v);
                }
                let middle = (f32::from(a[x]) + f32::from(b[x])) / 2.0;
                self.samples.push(Sample {
                    slope,
                    residual: f32::from(c[x]) - middle,
                });
            }
        }
    }

    /// Looks for the value of each freedom in turn along coarse candidates, then fits from the best.
    fn scan_group(
        &mut self,
        g: usize,
        captured: View,
        start: &Inputs,
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        let mut best_start = start.clone();
        for (member, value) in self.active(g, start) {
            let f = self.freedoms[member].clone();
            self.altered.clone_from(&best_start);
            let scale =
                freedom::px_per_unit(self.subject.definition(), self.region, &f, start).max(1e-9);
            let near = (-SCAN_EACH_SIDE..=SCAN_EACH_SIDE)
                .map(|k| value + f64::from(k) * SCAN_STEP_PX / scale);
            let span = f.period.unwrap_or(f.high - f.low);
            let far_step = (span / FAR_CANDIDATES as f64).max(SCAN_STEP_PX / scale);
            let far = (0..FAR_CANDIDATES)
                .map(|k| f.low + far_step * k as f64)
                .filter(|v| *v <= f.low + span);
            let bounds = self.bounds_of(member);
            let mut best = (u64::MAX, value);
            for v in near.chain(far) {
                let v = f
                    .period
                    .map_or_else(|| v.clamp(f.low, f.high), |p| v.rem_euclid(p));
                self.draw(f.channel, v, true, painter);
                let energy = self.energy(captured, bounds);
                if energy < best.0 {
                    best = (energy, v);
                }
            }
            best_start.values[f.channel.0] = Value::Number(best.1);
        }
        self.read_group(g, captured, &best_start, painter, out);
    }

    /// Sum of squared differences on every second line, words left out, differences cut at 96 levels.
    fn energy(&self, captured: View, bounds: Rect) -> u64 {
        let width = self.area.width as usize;
        let drawn = &self.high.canvas().planes()[0];
        let mut sum = 0u64;
        for y in (bounds.y as usize..bounds.bottom() as usize).step_by(2) {
            let mut line = 0u32;
            for x in bounds.x as usize..bounds.right() as usize {
                let d = u32::from(drawn.at(x, y).abs_diff(captured.at(x, y)).min(96));
                line += d * d * u32::from(self.mask[y * width + x] == 0);
            }
            sum += u64::from(line);
        }
        sum
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
