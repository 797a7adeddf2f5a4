//! Readings of the continuous symbols of one region: the values that the captured picture shows.
//!
//! The reference is fitted to the capture by Gauss-Newton steps from the value that is due
//! ([`crate::examine::fit`]); a picture that agrees needs one. When the picture shows something far away, a coarse
//! scan along each freedom gives the start.

mod scan;

pub(in crate::examine) use scan::is_better;

use crate::capture::reading_errors::ReadingErrors;
use crate::definition::Definition;
use crate::examine::comparison::ChainLook;
pub use crate::examine::constants::reader::RECOGNISED;
use crate::examine::constants::reader::{
    ASIDE_PX, ENTANGLED, FARTHEST_WALK_PX, HALF_STEP_PX, HIDDEN_STEPS, LEAST_PX_PER_UNIT, LEFT_PX,
    LONGEST_STEP_PX, MOST_STEPS, SETTLED_PX, WHOLE_PIXEL_PX,
};
use crate::examine::fit::{self, CELL_PX, MOST, Samples};
use crate::examine::subject::Subject;
use crate::examine::view::View;
use crate::picture::{Plane, Point, Rect};
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::glyphs::pixels_of;
use crate::reference::painter::{Filter, Painter};
use crate::reference::parts::Freedom;
use crate::reference::placement::cells;
use crate::reference::region_canvas::SlopeCanvas;
use crate::reference::scene::{Scene, Shape};

/// What one freedom of a symbol shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// Value shown, in the channel's unit.
    pub value: f64,
    /// Its standard error, in the channel's unit.
    pub standard_error: f64,
    /// What the cells of this reading tell of that, in the channel's unit; see [`ReadingErrors`].
    pub told_error: f64,
    /// Pixels for a unit at this value.
    pub px_per_unit: f64,
    /// What the fit left over against a pixel of motion.
    pub misfit: f64,
}

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
    /// By freedom: where its ink may be, relative to the region.
    reach: Vec<Rect>,
    /// By freedom: error over what the cells of a reading tell.
    factors: Vec<f64>,
    groups: Vec<Group>,
    /// Whether the unit puts digits that roll on whole pixels. They are drawn between them here, or nobody could say where
    /// they belong to better than a pixel.
    is_stepped: bool,
    pictures: SlopeCanvas,
    scene: Scene,
    /// Scenes above and at a value.
    above: Scene,
    middle: Scene,
    altered: Inputs,
    /// Where the two drawings of a step may differ, relative to the region.
    moved: Vec<Rect>,
    samples: Samples,
    cells: fit::Scratch,
    /// Slopes of each freedom of a group, plane after plane; all zero between steps.
    slopes: Vec<i16>,
    /// Columns of each row that hold slopes, half open.
    spans: Vec<(usize, usize)>,
    mask: Vec<u8>,
    masked: Vec<Rect>,
    chain: ChainLook,
    /// Whether a scan leaves the words of its candidates out, too.
    words_go_along: bool,
    boxes: Vec<Rect>,
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
        let freedoms = subject.drawing().freedoms(definition, region);
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
        let mut look = chain.look.clone();
        let is_stepped = look.text.whole_px_base_line && freedoms.iter().any(|f| f.is_rolling);
        look.text.whole_px_base_line &= !is_stepped;
        let pictures = SlopeCanvas::new(
            painter,
            definition.fonts(),
            (area, look, definition.background()),
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
            reach: freedoms
                .iter()
                .map(|f| pixels_of(&chain.look.geometry.map_bounds(&f.bounds())))
                .map(|ink| if ink.is_empty() { ink } else { ink.grown(2) })
                .map(|ink| ink.intersection(&area).moved(-area.x, -area.y))
                .collect(),
            factors: names(definition, region, &freedoms)
                .map(|name| chain.reading_errors.of(&name))
                .collect(),
            freedoms,
            groups,
            is_stepped,
            pictures,
            scene: Scene::default(),
            above: Scene::default(),
            middle: Scene::default(),
            altered: Inputs::default(),
            moved: Vec::new(),
            samples: Samples::default(),
            cells: fit::Scratch::new(),
            slopes: vec![0; pixels * planes],
            spans: vec![(usize::MAX, 0); area.height as usize],
            mask: vec![0; pixels],
            masked: Vec::new(),
            chain: chain.clone(),
            words_go_along: false,
            boxes: Vec::new(),
        }
    }

    /// The freedoms that are read.
    #[must_use]
    pub fn freedoms(&self) -> &[Freedom] {
        &self.freedoms
    }

    /// Whether what freedom `k` moves is drawn at `inputs`, and would move with its value.
    #[must_use]
    pub fn is_shown(&self, k: usize, inputs: &Inputs) -> bool {
        let has_value = inputs.value(self.freedoms[k].channel).number().is_some();
        has_value && self.px_per_unit(k, inputs) > LEAST_PX_PER_UNIT
    }

    /// Whether what freedom `k` moves is hidden at `inputs`.
    fn is_hidden(&mut self, k: usize, inputs: &Inputs, painter: &mut Painter) -> bool {
        let Some(value) = inputs.value(self.freedoms[k].channel).number() else {
            return false;
        };
        self.altered.clone_from(inputs);
        let flat = Plane::filled(self.area.width as usize, self.area.height as usize, 0);
        let mut scale = [0.0];
        let step = self.step(View::whole(&flat), None, &[(k, value)], &mut scale, painter);
        let bears = step.is_some_and(|s| s.standard_error_px[0].is_finite());
        !bears && scale[0] > LEAST_PX_PER_UNIT
    }

    /// What freedom `k` shows where it is hidden at `inputs`: anything at which it would be as well.
    pub fn reading_of_hidden(
        &mut self,
        k: usize,
        inputs: &Inputs,
        painter: &mut Painter,
    ) -> Option<Fitted> {
        let value = inputs.value(self.freedoms[k].channel).number()?;
        let px_per_unit = self.px_per_unit(k, inputs);
        if px_per_unit <= LEAST_PX_PER_UNIT || !self.is_hidden(k, inputs, painter) {
            return None;
        }
        let mut other = inputs.clone();
        let mut ends = [value; 2];
        for (end, step) in ends.iter_mut().zip([-HALF_STEP_PX, HALF_STEP_PX]) {
            for steps in 1..=HIDDEN_STEPS {
                let next = value + f64::from(steps) * step / px_per_unit;
                other.values[self.freedoms[k].channel.0] = Value::Number(next);
                if !self.is_hidden(k, &other, painter) {
                    break;
                }
                *end = next;
            }
        }
        // Any value between is as likely, and half a step beyond.
        let wide = ends[1] - ends[0] + HALF_STEP_PX / px_per_unit;
        let standard_error = wide / 12f64.sqrt();
        Some(Fitted {
            value: f64::midpoint(ends[0], ends[1]),
            standard_error,
            told_error: standard_error,
            px_per_unit,
            misfit: 0.0,
        })
    }

    /// Pixels for a unit of freedom `k` at `inputs`.
    #[must_use]
    pub fn px_per_unit(&self, k: usize, inputs: &Inputs) -> f64 {
        self.subject.drawing().px_per_unit(
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
        let drawn = drawn.filter(|_| !self.is_stepped);
        for g in 0..self.groups.len() {
            let entangled = self.read_group(g, captured, (start, drawn), painter, out);
            self.read_aside(g, captured, start, &entangled, painter, out);
            if scan {
                self.scan_group(g, captured, start, painter, out);
            }
        }
    }

    /// Leaves `words` out of what is fitted.
    fn set_mask(&mut self, words: &[Rect]) {
        if self.masked == words {
            return;
        }
        let (width, whole) = (
            self.area.width as usize,
            Rect::new(0, 0, self.area.width, self.area.height),
        );
        for (value, list) in [(0, &self.masked[..]), (1, words)] {
            for r in list {
                let r = r.intersection(&whole);
                for y in r.y..r.bottom() {
                    self.mask[y as usize * width..][r.x as usize..r.right() as usize].fill(value);
                }
            }
        }
        self.masked.clear();
        self.masked.extend_from_slice(words);
    }

    /// Members of group `g` whose channel has a number and moves ink there, with their start.
    fn active(&self, g: usize, start: &Inputs) -> Vec<(usize, f64)> {
        self.groups[g]
            .members
            .iter()
            .filter_map(|&k| {
                let f = &self.freedoms[k];
                let v = start.value(f.channel).number()?;
                let begin = if f.period.is_some() {
                    v
                } else {
                    v.clamp(f.low, f.high)
                };
                // At its stop, not beyond.
                let px_per_unit = if begin == v {
                    self.px_per_unit(k, start)
                } else {
                    let mut at_stop = start.clone();
                    at_stop.values[f.channel.0] = Value::Number(begin);
                    self.px_per_unit(k, &at_stop)
                };
                (px_per_unit > LEAST_PX_PER_UNIT).then_some((k, begin))
            })
            .collect()
    }

    /// Reads again from either side of where they began those freedoms that others move the same pixels as, and keeps what
    /// explains the picture best: of a mark behind another the slope does not tell on which side it comes out. Where another
    /// reading explains it almost as well, the stated errors say so.
    fn read_aside(
        &mut self,
        g: usize,
        captured: View,
        start: &Inputs,
        entangled: &[usize],
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        if entangled.is_empty() {
            return;
        }
        let left = self.left_by(g, captured, start, out, painter);
        let mut found = vec![(left, out.to_vec())];
        let mut aside = start.clone();
        for &k in entangled {
            let channel = self.freedoms[k].channel;
            let px_per_unit = self.px_per_unit(k, start);
            let Some(value) = start.value(channel).number() else {
                continue;
            };
            if px_per_unit <= LEAST_PX_PER_UNIT {
                continue;
            }
            for by_px in [-ASIDE_PX, ASIDE_PX] {
                let mut other = vec![None; out.len()];
                aside.values[channel.0] = Value::Number(value + by_px / px_per_unit);
                self.read_group(g, captured, (&aside, None), painter, &mut other);
                found.push((self.left_by(g, captured, start, &other, painter), other));
            }
            aside.values[channel.0] = Value::Number(value);
        }
        found.sort_by_key(|(left, _)| *left);
        let Some(((least, best), others)) = found.split_first() else {
            return;
        };
        for &k in &self.groups[g].members {
            out[k] = best[k].map(|read| {
                let as_good = others.iter().filter(|(left, _)| !is_better(*least, *left));
                let as_good = as_good.filter_map(|(_, other)| other[k]);
                let off = as_good.map(|o| self.freedoms[k].difference(o.value, read.value).abs());
                let doubt = off.fold(0.0, f64::max);
                Fitted {
                    standard_error: libm::hypot(read.standard_error, doubt),
                    ..read
                }
            });
        }
    }

    /// What the readings of group `g` leave unexplained where its freedoms can have ink; what has none stands where it began.
    fn left_by(
        &mut self,
        g: usize,
        captured: View,
        start: &Inputs,
        readings: &[Option<Fitted>],
        painter: &mut Painter,
    ) -> u64 {
        let members = self.groups[g].members.clone();
        self.altered.clone_from(start);
        let (mut bounds, mut last) = (Rect::default(), None);
        for k in members {
            let f = &self.freedoms[k];
            let Some(begin) = start.value(f.channel).number() else {
                continue;
            };
            let value = readings[k].map_or(begin, |r| r.value);
            self.altered.values[f.channel.0] = Value::Number(value);
            bounds = if last.is_some() {
                bounds.union(&self.reach[k])
            } else {
                self.reach[k]
            };
            last = Some((f.channel, value));
        }
        let Some((channel, value)) = last else {
            return u64::MAX;
        };
        self.draw(channel, value, bounds, painter);
        self.energy(captured, bounds, bounds.y)
    }

    /// Reads the freedoms of group `g`; those that were entangled on the way are handed back.
    fn read_group(
        &mut self,
        g: usize,
        captured: View,
        (start, mut drawn): (&Inputs, Option<View>),
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) -> Vec<usize> {
        let begin = self.active(g, start);
        if begin.is_empty() {
            return Vec::new();
        }
        let mut values = begin.clone();
        self.altered.clone_from(start);
        let mut last: Option<fit::Step> = None;
        let mut scale = vec![1.0; values.len()];
        let mut entangled = vec![0.0f64; values.len()];
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
            for (most, by) in entangled.iter_mut().zip(&step.entangled) {
                *most = most.max(*by);
            }
            last = Some(step);
            // Ticks look alike a tick further: a fit that walks far has lost its way.
            let has_walked = values
                .iter()
                .zip(&begin)
                .zip(&scale)
                .any(|((now, then), scale)| (now.1 - then.1).abs() * scale > FARTHEST_WALK_PX);
            if has_walked {
                return Vec::new();
            }
            if largest < SETTLED_PX {
                break;
            }
        }
        let Some(step) = last else { return Vec::new() };
        let mut found = [None; MOST];
        for (k, (member, value)) in values.iter().enumerate() {
            let f = &self.freedoms[*member];
            let bears = step.standard_error_px[k].is_finite() && scale[k] > LEAST_PX_PER_UNIT;
            let left_px = if self.is_stepped && f.is_rolling {
                WHOLE_PIXEL_PX
            } else {
                LEFT_PX
            };
            let told_error = libm::hypot(step.standard_error_px[k], left_px) / scale[k];
            found[k] = bears.then(|| Fitted {
                value: f.period.map_or(*value, |p| value.rem_euclid(p)),
                standard_error: told_error * self.factors[*member],
                told_error,
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
        let members = values.iter().zip(&entangled);
        let entangled = members.filter(|(_, by)| **by > ENTANGLED);
        entangled.map(|((member, _), _)| *member).collect()
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
            scale[k] = self
                .subject
                .drawing()
                .px_per_unit(self.subject.definition(), self.region, f, &self.altered)
                .max(LEAST_PX_PER_UNIT);
            let half = HALF_STEP_PX / scale[k];
            let bounds = self.reach[*member];
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
        fit::solve(&mut self.samples, values.len(), &mut self.cells)
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
        let bounds = bounds.moved(x, y);
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
                .map(|r| r.moved(-x, -y)),
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
        let bounds = bounds.moved(self.area.x, self.area.y);
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
            let cells = self.cells_of_line(y);
            for_each_difference(a, b, |x| {
                if mask[x] == 0 {
                    let slope = f32::from(b[x]) - f32::from(a[x]);
                    let residual = f32::from(c[x]) - f32::from(m[x]);
                    self.samples.push(&[slope], residual, cells(x0 + x));
                }
            });
        }
    }

    /// The cells of the capture that the pixels of a line of the region lie in.
    fn cells_of_line(&self, y: usize) -> impl Fn(usize) -> u32 + use<> {
        let cell = |at: i32| at.max(0) as usize / CELL_PX;
        let (left, top) = (self.area.x.max(0) as usize, self.area.y);
        let columns = cell(self.area.right()) - cell(self.area.x) + 1;
        let first = (cell(top + y as i32) - cell(top)) * columns;
        move |x| (first + (left + x) / CELL_PX - left / CELL_PX) as u32
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
            let cells = self.cells_of_line(y);
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
                    let residual = f32::from(c[x]) - f32::from(m[x]);
                    self.samples.push(&slope[..count], residual, cells(x));
                }
                x = end;
            }
            for k in 0..count {
                let first = (k * height + y) * width;
                self.slopes[first + from..first + to].fill(0);
            }
        }
    }
}

/// What the readings of a region's freedoms are called in [`ReadingErrors`].
pub fn names<'a>(
    definition: &'a Definition,
    region: usize,
    freedoms: &'a [Freedom],
) -> impl Iterator<Item = String> + 'a {
    let id = &definition.regions()[region].id;
    freedoms.iter().map(move |f| {
        let channel = &definition.channels()[f.channel.0].0;
        ReadingErrors::name(id, &f.what, channel)
    })
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

/// Boxes of the lines of words of a scene that are not read by how they move, relative to `area`, two pixels larger than the ink.
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
        if w.is_rolling {
            continue;
        }
        let face = subject.definition().face(w.font);
        let look = &chain.look;
        let (mut begin, mut end) = (w.origin, w.origin);
        for (k, (_, origin, advance)) in cells(scene, &w, face, &look.text).enumerate() {
            let (c, s) = w.direction;
            if k == 0 {
                begin = origin;
            }
            end = Point::new(origin.x + advance * c, origin.y + advance * s);
        }
        let (c, s) = w.direction;
        let (mut left, mut top, mut right, mut bottom) = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
        for (at, down) in [
            (begin, -face.cap_height * w.size),
            (end, -face.cap_height * w.size),
            (begin, 0.12 * w.size),
            (end, 0.12 * w.size),
        ] {
            let corner = Point::new(at.x - down * s, at.y + down * c);
            let Point { x, y } = look.geometry.map(corner);
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
mod in_noise;

#[cfg(test)]
mod tests {
    use super::*;

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
}
