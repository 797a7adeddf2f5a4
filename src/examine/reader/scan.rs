//! Looking for a value far from where it is due: candidates along a freedom, and fits from the best.

use super::{
    Fitted, LEAST_PX_PER_UNIT, LONGEST_STEP_PX, MOST_STEPS, RECOGNISED, Reader, word_boxes,
};
use crate::examine::constants::reader_scan::{
    FAR_ADVANTAGE, FAR_CANDIDATES, MINIMA, NEAR_PX, NEARER_ADVANTAGE, SCAN_EACH_SIDE, SCAN_STEP_PX,
};
use crate::examine::view::View;
use crate::picture::Rect;
use crate::recording::inputs::{Inputs, Value};
use crate::reference::painter::Painter;
use crate::reference::parts::Freedom;

/// Whether a candidate that leaves `left` explains the picture clearly better than one that leaves `other`.
pub(in crate::examine) fn is_better(left: u64, other: u64) -> bool {
    left < other / NEARER_ADVANTAGE.0 * NEARER_ADVANTAGE.1
}

impl Reader<'_> {
    /// Looks for the value of each freedom that was not recognised along coarse candidates, in turn,
    /// then fits from the best. Where that finds nothing they are looked for once more: the other way round, since what is off
    /// along one freedom alone has no place along the other, and the place that is found there hides it; and with the words
    /// of each candidate left out, since words that go with a symbol stand where nothing else is due.
    pub(super) fn scan_group(
        &mut self,
        g: usize,
        captured: View,
        start: &Inputs,
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        let mut lost = self.active(g, start);
        lost.retain(|(k, _)| out[*k].is_none_or(|f| f.misfit > RECOGNISED));
        if lost.is_empty() {
            return;
        }
        for words_go_along in [false, true] {
            self.words_go_along = words_go_along;
            self.scan_in_turn(&lost, g, captured, start, painter, out);
            let is_found = |(k, _): &(usize, f64)| out[*k].is_some_and(|f| f.misfit <= RECOGNISED);
            if lost.iter().all(is_found) {
                break;
            }
            lost.reverse();
        }
        self.words_go_along = false;
    }

    /// Looks for each of the `lost`, from where those before it were found.
    fn scan_in_turn(
        &mut self,
        lost: &[(usize, f64)],
        g: usize,
        captured: View,
        start: &Inputs,
        painter: &mut Painter,
        out: &mut [Option<Fitted>],
    ) {
        let mut best_start = start.clone();
        // Those that were recognised stand where they were read.
        for &k in &self.groups[g].members {
            if let Some(known) = out[k].filter(|f| f.misfit <= RECOGNISED) {
                best_start.values[self.freedoms[k].channel.0] = Value::Number(known.value);
            }
        }
        for &(member, value) in lost {
            let f = self.freedoms[member].clone();
            self.altered.clone_from(&best_start);
            let scale = self
                .subject
                .drawing()
                .px_per_unit(self.subject.definition(), self.region, &f, start)
                .max(LEAST_PX_PER_UNIT);
            let bounds = self.reach[member];
            let (near, is_recognised) =
                self.scan_near(member, value, scale, captured, bounds, painter);
            let mut best = near;
            if !is_recognised {
                let mut span = f.period.unwrap_or(f.high - f.low);
                let mut low = f.low;
                // What looks the same a turn further is looked for within a turn; words tell which.
                let near = f64::from(2 * SCAN_EACH_SIDE) * SCAN_STEP_PX / scale;
                if let Some(turn) = f.repeats.filter(|turn| *turn > near && *turn < span) {
                    (low, span) = (value - turn / 2.0, turn);
                }
                let step = (span / FAR_CANDIDATES as f64).max(SCAN_STEP_PX / scale);
                // A scale that repeats looks nearly the same a label further, and the labels take no part
                // here: far away must explain the picture much better than near by.
                best.0 /= FAR_ADVANTAGE;
                let far = (0..FAR_CANDIDATES).map(|k| low + step * k as f64);
                for v in far.filter(|v| *v <= low + span) {
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
                if step.motion_px[0].abs() < NEAR_PX {
                    break;
                }
            }
            fitted.push((self.tried(&f, v, captured, bounds, painter), is_recognised));
        }
        let distance = |v: f64| f.difference(v, value).abs();
        fitted.sort_by(|a, b| distance(a.0.1).total_cmp(&distance(b.0.1)));
        let mut best = ((u64::MAX, value), false);
        for candidate in fitted {
            if is_better(candidate.0.0, best.0.0) {
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
        let mut left = self.energy(captured, bounds, bounds.y);
        if self.words_go_along {
            let mut boxes = std::mem::take(&mut self.boxes);
            boxes.clear();
            word_boxes(
                &self.scene,
                self.subject,
                &self.chain,
                self.area,
                &mut boxes,
            );
            for (k, words) in boxes.iter().enumerate() {
                let words = words.intersection(&bounds);
                left = left.saturating_sub(self.energy(captured, words, bounds.y));
                // Lines whose boxes meet are taken off once.
                let shared = boxes[..k].iter().map(|before| before.intersection(&words));
                left += shared
                    .map(|s| self.energy(captured, s, bounds.y))
                    .sum::<u64>();
            }
            self.boxes = boxes;
        }
        (left, v)
    }

    /// Sum of squared differences on every second line counted from `from_y`, words left out, differences cut at 96 levels.
    pub(super) fn energy(&self, captured: View, bounds: Rect, from_y: i32) -> u64 {
        let width = self.area.width as usize;
        let drawn = self.pictures.pictures()[0];
        let mut sum = 0u64;
        if bounds.is_empty() {
            return 0;
        }
        let (x0, x1) = (bounds.x as usize, bounds.right() as usize);
        let first = (bounds.y + ((bounds.y ^ from_y) & 1)) as usize;
        for y in (first..bounds.bottom() as usize).step_by(2) {
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
