//! Which data or values explain a picture that is not the one that is due?
//!
//! Every answer is a picture: it is drawn for what may be shown, and must agree with what was captured.

use super::{Explanation, Moment, OLDEST_S, RegionExaminer};
use crate::examine::blank;
pub(super) use crate::examine::constants::region_explain::SCAN_EVERY_S;
use crate::examine::constants::region_explain::{
    FINEST_STEP_S, LOOK_EVERY_S, MOST_REPEATS, MOST_TRIALS, NEAR_PX, PARTING_S, WRITING_STEP_S,
};
use crate::examine::data_time::{self, READING_PX, Read};
use crate::examine::digits::{self, Written};
use crate::examine::reader::{self, Fitted, RECOGNISED, is_better};
use crate::examine::signature::{self, Parting, Signature};
use crate::examine::view::View;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::painter::Painter;
use crate::reference::scene::Scene;

/// Sum of squared differences, each cut at 96 levels.
fn left_over(captured: View, drawn: View) -> u64 {
    let lines = 0..captured.height().min(drawn.height());
    let line = |y: usize| -> u64 {
        let pairs = captured.row(y).iter().zip(drawn.row(y));
        let square = |(a, b): (&u8, &u8)| u64::from(a.abs_diff(*b).min(96)).pow(2);
        pairs.map(square).sum()
    };
    lines.map(line).sum()
}

impl RegionExaminer<'_> {
    /// Whether the region, drawn for the trial inputs, agrees with the frame.
    pub(super) fn trial_agrees(&mut self, moment: &Moment, painter: &mut Painter) -> bool {
        self.trial_agrees_with_numbers(moment, &[], painter)
    }

    /// The same, with these numbers in place of those that the trial inputs give.
    fn trial_agrees_with_numbers(
        &mut self,
        moment: &Moment,
        numbers: &[Written],
        painter: &mut Painter,
    ) -> bool {
        self.trial.lay_out(&self.trial_inputs, numbers);
        if self.tried.iter().any(|s| s == self.trial.scene()) {
            return false;
        }
        self.tried.push(self.trial.scene().clone());
        self.trial.draw_laid_out(painter);
        self.trial.agrees(moment.frame)
            && self.trial_words.are_right(
                self.trial.captured(moment.frame)[0],
                self.trial.reference()[0],
                self.trial.scene(),
                painter,
            )
    }

    /// Whether the inputs that are due, with the channels that are read replaced by their readings, explain
    /// the picture, digits and all or beside digits that are right. A value on the edge of rounding may be read on its
    /// other side: where that changes the words, each reading is moved by what it may be off.
    fn values_explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &[Option<Fitted>],
        painter: &mut Painter,
    ) -> bool {
        self.trial_inputs.clone_from(inputs);
        let read: Vec<(ChannelId, Fitted)> = self
            .reader
            .freedoms()
            .iter()
            .zip(readings)
            .filter_map(|(f, r)| Some((f.channel, r.filter(|r| r.misfit <= RECOGNISED)?)))
            .collect();
        for (channel, r) in &read {
            self.trial_inputs.values[channel.0] = Value::Number(r.value);
        }
        if self.trial_agrees(moment, painter) {
            return true;
        }
        let words = self.trial.scene().all_words().to_owned();
        let (shown, scene) = (&self.trial_inputs, self.trial.scene());
        let right = digits::as_due(self.subject, self.region, inputs, shown, scene);
        if !right.is_empty() && self.trial_agrees_with_numbers(moment, &right, painter) {
            self.written = right;
            return true;
        }
        let mut scene = Scene::default();
        for (channel, r) in &read {
            let off = READING_PX / r.px_per_unit + 2.0 * r.standard_error;
            if !off.is_finite() {
                continue;
            }
            for value in [r.value - off, r.value + off] {
                self.trial_inputs.values[channel.0] = Value::Number(value);
                scene.clear();
                self.subject
                    .region_moving(self.region, &self.trial_inputs, &mut scene);
                if scene.all_words() != words && self.trial_agrees(moment, painter) {
                    return true;
                }
            }
            self.trial_inputs.values[channel.0] = Value::Number(r.value);
        }
        false
    }

    /// Whether the picture is explained by readings, with what was not found standing hidden where something like it of the
    /// same symbol stands: two pointers of one axis. Then it has a reading as well.
    fn hidden_explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> bool {
        let is_read = |r: &Option<Fitted>| r.is_some_and(|f| f.misfit <= RECOGNISED);
        let freedoms = self.reader.freedoms().to_vec();
        for (k, f) in freedoms.iter().enumerate() {
            if is_read(&readings[k]) || inputs.value(f.channel).number().is_none() {
                continue;
            }
            for (other, g) in freedoms.iter().enumerate() {
                let is_like = (g.symbol, &g.what) == (f.symbol, &f.what) && g.channel != f.channel;
                let Some(front) = readings[other].filter(|r| is_like && r.misfit <= RECOGNISED)
                else {
                    continue;
                };
                let mut shown = self.shown_as(inputs, readings);
                shown.values[f.channel.0] = Value::Number(front.value);
                self.trial_inputs.clone_from(&shown);
                if !self.trial_agrees(moment, painter) {
                    continue;
                }
                if let Some(reading) = self.reader.reading_of_hidden(k, &shown, painter) {
                    readings[k] = Some(reading);
                    return true;
                }
            }
        }
        false
    }

    /// Whether the picture is explained by something that was not read being off by no more than its tolerance, where that makes it
    /// look otherwise: a target within the end of its scale or beyond it.
    fn tolerances_explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> bool {
        let definition = self.subject.definition();
        let tolerances = &definition.regions()[self.region].tolerance;
        let freedoms = self.reader.freedoms().to_vec();
        let mut found = Vec::new();
        for (k, f) in freedoms.iter().enumerate() {
            let is_read = readings[k].is_some_and(|f| f.misfit <= RECOGNISED);
            let tolerance = tolerances.get(&definition.channels()[f.channel.0].0);
            let value = inputs.value(f.channel).number();
            let (false, Some(tolerance), Some(value)) = (is_read, tolerance, value) else {
                continue;
            };
            for off in [-tolerance, *tolerance] {
                let mut shown = inputs.clone();
                shown.values[f.channel.0] = Value::Number(value + off);
                self.trial.lay_out(&shown, &[]);
                if self.trial.scene().looks_like(self.due.scene()) {
                    continue;
                }
                self.read_from(moment, &shown, false, painter, &mut found);
                if self.values_explain(moment, &shown, &found, painter) {
                    readings.copy_from_slice(&found);
                    return true;
                }
            }
        }
        false
    }

    /// Whether readings explain the picture when scales that repeat are read a repetition or more further: outlines look
    /// the same in all of them, and words tell which it is. The readings are moved to the one whose words match best, and
    /// followed from there.
    fn repeats_explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> bool {
        let looks_again = self.unexplained.is_due(moment, SCAN_EVERY_S);
        if self.is_repeated {
            let last = std::mem::take(&mut self.last_values);
            let shown = self.shown_as(inputs, &last);
            self.last_values = last;
            if self.read_again(moment, &shown, false, readings, painter)
                && self.values_explain(moment, inputs, readings, painter)
            {
                return true;
            }
        }
        if !looks_again {
            return false;
        }
        let Some(shown) = self.find_repeats(moment, inputs, readings, painter) else {
            return false;
        };
        self.is_repeated = self.read_again(moment, &shown, true, readings, painter);
        self.is_repeated && self.values_explain(moment, inputs, readings, painter)
    }

    /// `inputs`, with the channels that are read replaced by their readings.
    fn shown_as(&self, inputs: &Inputs, readings: &[Option<Fitted>]) -> Inputs {
        let mut shown = inputs.clone();
        for (f, r) in self.reader.freedoms().iter().zip(readings) {
            if let Some(r) = r.filter(|r| r.misfit <= RECOGNISED) {
                shown.values[f.channel.0] = Value::Number(r.value);
            }
        }
        shown
    }

    /// Reads the picture from the values `shown`, with the words that stand there then left out; false where something that
    /// had been read is not found so.
    fn read_again(
        &mut self,
        moment: &Moment,
        shown: &Inputs,
        scan: bool,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> bool {
        let mut again = Vec::new();
        self.read_from(moment, shown, scan, painter, &mut again);
        let is_read = |r: &Option<Fitted>| r.is_some_and(|f| f.misfit <= RECOGNISED);
        let repeats = self.reader.freedoms().iter().map(|f| f.repeats.is_some());
        let both = readings.iter().zip(&again).zip(repeats);
        let is_lost = both
            .into_iter()
            .any(|((before, now), repeats)| repeats && is_read(before) && !is_read(now));
        if !is_lost {
            readings.copy_from_slice(&again);
        }
        !is_lost
    }

    /// Reads the picture from the values `shown`, with the words that stand there then left out.
    fn read_from(
        &mut self,
        moment: &Moment,
        shown: &Inputs,
        scan: bool,
        painter: &mut Painter,
        found: &mut Vec<Option<Fitted>>,
    ) {
        self.trial.draw(shown, painter);
        let mut words = self.fixed_words.clone();
        let (scene, area) = (self.trial.scene(), self.due.area());
        reader::word_boxes(scene, self.subject, &self.chain, area, &mut words);
        let start = (shown, Some(self.trial.reference()[0]));
        let captured = self.due.captured(moment.frame)[0];
        (self.reader).read(captured, start, &words, scan, painter, found);
    }

    /// Looks for the repetition of each scale whose picture, words and all, is nearest to what was captured; `None` where
    /// it is that of the readings.
    fn find_repeats(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &[Option<Fitted>],
        painter: &mut Painter,
    ) -> Option<Inputs> {
        let freedoms = self.reader.freedoms().to_vec();
        let mut shown = self.shown_as(inputs, readings);
        let mut is_moved = false;
        self.doubts.fill(0.0);
        for (k, f) in freedoms.iter().enumerate() {
            let read = readings[k].filter(|r| r.misfit <= RECOGNISED);
            let (Some(read), Some(repeats)) = (read, f.repeats) else {
                continue;
            };
            let far = (1..=MOST_REPEATS).map(|n| f64::from(n) * repeats);
            let far = far.flat_map(|off| [off, -off]);
            let is_shown = |off: &f64| match f.period {
                Some(period) => off.abs() <= period / 2.0,
                None => (f.low..=f.high).contains(&(read.value + off)),
            };
            // What stands on the scale goes with it.
            let move_by = |off: f64, shown: &mut Inputs| {
                shown.values[f.channel.0] = Value::Number(read.value + off);
                for (g, r) in freedoms.iter().zip(readings) {
                    if let Some(r) = r.filter(|_| g.from == Some(f.channel)) {
                        shown.values[g.channel.0] = Value::Number(r.value + off);
                    }
                }
            };
            let left: Vec<(f64, u64)> = std::iter::once(0.0)
                .chain(far.filter(is_shown))
                .map(|off| {
                    move_by(off, &mut shown);
                    self.trial.draw(&shown, painter);
                    let drawn = self.trial.reference()[0];
                    let captured = self.trial.captured(moment.frame)[0];
                    (off, left_over(captured, drawn))
                })
                .collect();
            let mut best = left[0];
            for &candidate in &left {
                if is_better(candidate.1, best.1) {
                    best = candidate;
                }
            }
            let as_good = left.iter().filter(|c| !is_better(best.1, c.1));
            self.doubts[k] = as_good.map(|c| (c.0 - best.0).abs()).fold(0.0, f64::max);
            move_by(best.0, &mut shown);
            is_moved |= best.0 != 0.0;
        }
        is_moved.then_some(shown)
    }

    /// States errors that tell of other repetitions of a scale, of a picture of which nothing tells which it is.
    pub(super) fn widen_by_doubts(&self, readings: &mut [Option<Fitted>]) {
        for (r, doubt) in readings.iter_mut().zip(&self.doubts) {
            if let Some(r) = r {
                r.standard_error = libm::hypot(r.standard_error, *doubt);
            }
        }
    }

    /// Whether the picture is the one that is due, but for numbers that are off by themselves, each by no more than its
    /// readout may be.
    pub(super) fn allowed_numbers_explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        painter: &mut Painter,
    ) -> bool {
        if self.written.is_empty() || !self.written.iter().all(|w| w.is_allowed) {
            return false;
        }
        self.trial_inputs.clone_from(inputs);
        let written = std::mem::take(&mut self.written);
        let agrees = self.trial_agrees_with_numbers(moment, &written, painter);
        self.written = written;
        agrees
    }

    fn agrees_at(&mut self, data_time_s: f64, moment: &Moment, painter: &mut Painter) -> bool {
        moment
            .recording
            .inputs_at(data_time_s, &mut self.trial_inputs);
        if self.liveness_period_s.is_some() {
            // Its phase has been dealt with.
            self.trial_inputs.time_s = self.inputs.time_s;
        }
        self.trial_agrees(moment, painter)
    }

    /// Which data or values the picture shows, or that it is blank; `None` where it is neither.
    pub(super) fn explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> Option<Explanation> {
        self.tried.clear();
        self.tried.push(self.due.scene().clone());
        let captured = self.due.captured(moment.frame);
        if blank::is_blank(captured, self.due.reference(), self.due.fixed()) {
            readings.iter_mut().for_each(|r| *r = None);
            return Some(Explanation::Nothing {
                signature: Signature::Blank,
            });
        }
        if let Some(data_time_s) = moment.likely_s
            && self.agrees_at(data_time_s, moment, painter)
        {
            return Some(self.stale(data_time_s, moment, inputs, readings, painter));
        }
        // What was not of another moment in the frame before is asked whether it is only now and then.
        let looks_for_moments = self.was_of_a_moment || self.troubled.is_due(moment, LOOK_EVERY_S);
        // As stale as the last frame that was explained; then its picture, still standing.
        if let Some(held) = self.last_data_time_s.filter(|_| looks_for_moments) {
            for data_time_s in [moment.time_s - self.last_staleness_s, held] {
                if self.agrees_at(data_time_s, moment, painter) {
                    return Some(self.stale(data_time_s, moment, inputs, readings, painter));
                }
            }
        }
        if let Some(data_time_s) = self.permitted_by_reading(moment, inputs, painter) {
            return Some(self.stale(data_time_s, moment, inputs, readings, painter));
        }
        let freedoms = self.reader.freedoms().iter().zip(&*readings);
        let read: Vec<Read> = freedoms
            .filter_map(|(f, r)| Some((f, r.filter(|r| r.misfit <= RECOGNISED)?)))
            .collect();
        if !read.is_empty() {
            let usual_s = self.last_staleness_s;
            let about_s = (self.ages).push(&read, moment.recording, moment.time_s, usual_s);
            if let Some(about_s) = about_s.filter(|_| looks_for_moments) {
                let around_s = [about_s - moment.interval_s, about_s + moment.interval_s];
                let mut moments = self.moments_apart(around_s, about_s, moment);
                moments.truncate(MOST_TRIALS);
                moments.extend(around_s);
                for data_time_s in moments {
                    if self.agrees_at(data_time_s, moment, painter) {
                        return Some(self.stale(data_time_s, moment, inputs, readings, painter));
                    }
                }
            }
            if self.values_explain(moment, inputs, readings, painter)
                || self.hidden_explain(moment, inputs, readings, painter)
                || self.tolerances_explain(moment, inputs, readings, painter)
                || self.repeats_explain(moment, inputs, readings, painter)
            {
                return Some(Explanation::Values);
            }
        } else {
            // Nothing to measure a time by. What may be shown is looked for at once, and again and again while it is not
            // found.
            if self.unexplained.is_due(moment, SCAN_EVERY_S) {
                let permitted_s = [moment.time_s - self.oldest_permitted_s, moment.time_s];
                let about_s = moment.time_s - self.last_staleness_s;
                for data_time_s in self.moments_apart(permitted_s, about_s, moment) {
                    if self.agrees_at(data_time_s, moment, painter) {
                        return Some(self.stale(data_time_s, moment, inputs, readings, painter));
                    }
                }
            }
            // Then pictures of earlier moments, newest first, and some in each frame.
            let step_s = moment.interval_s.max(FINEST_STEP_S);
            while self.searched_s < OLDEST_S && self.tried.len() < MOST_TRIALS {
                let data_time_s = moment.time_s - self.searched_s;
                if self.agrees_at(data_time_s, moment, painter) {
                    return Some(self.stale(data_time_s, moment, inputs, readings, painter));
                }
                self.searched_s += step_s;
            }
            if self.searched_s >= OLDEST_S {
                self.searched_s = 0.0;
            }
        }
        None
    }

    /// Recording time of data of a permitted age that the picture shows, s, found by reading it from the inputs of that age:
    /// where so much moves within the permitted ages that a reading from what is due is lost, or finds the next label.
    fn permitted_by_reading(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        painter: &mut Painter,
    ) -> Option<f64> {
        let freedoms = self.reader.freedoms();
        let px_per_unit = |k: usize| self.reader.px_per_unit(k, inputs);
        let within_s = [moment.time_s - self.oldest_permitted_s, moment.time_s];
        let starts = data_time::starts(freedoms, px_per_unit, moment.recording, within_s);
        if starts <= 1 || !self.unexplained.is_due(moment, SCAN_EVERY_S) {
            return None;
        }
        let step_s = self.oldest_permitted_s / starts as f64;
        let middle_s = |k: usize| step_s * (k as f64 + 0.5);
        let mut ages_s: Vec<f64> = (0..starts).map(middle_s).collect();
        let far = |age_s: &f64| (age_s - self.last_staleness_s).abs();
        ages_s.sort_by(|a, b| far(a).total_cmp(&far(b)));
        let mut found = Vec::new();
        for age_s in ages_s {
            let at_s = moment.time_s - age_s;
            let mut shown = std::mem::take(&mut self.trial_inputs);
            moment.recording.inputs_at(at_s, &mut shown);
            self.read_from(moment, &shown, false, painter, &mut found);
            self.trial_inputs = shown;
            let freedoms = self.reader.freedoms().iter().zip(&found);
            let read: Option<Vec<Read>> = freedoms
                .filter_map(|(f, r)| Some((f, (*r)?)))
                .map(|(f, r)| (r.misfit <= RECOGNISED).then_some((f, r)))
                .collect();
            let Some(read) = read.filter(|r| !r.is_empty()) else {
                continue;
            };
            let around_s = [at_s - step_s, at_s + step_s];
            let data_time_s = data_time::moment_within(&read, moment.recording, around_s);
            if self.agrees_at(data_time_s, moment, painter) {
                return Some(data_time_s);
            }
        }
        None
    }

    /// The moments between two recording times, s, that look apart by what stands there (where values are read, by what
    /// is written alone): of each stretch of the same the nearest to `about_s`, and the nearest of all first.
    fn moments_apart(&mut self, within_s: [f64; 2], about_s: f64, moment: &Moment) -> Vec<f64> {
        let [from_s, to_s] = within_s;
        let far = |at_s: f64| (at_s - about_s).abs();
        let is_read = !self.reader.freedoms().is_empty();
        let (mut scene, mut last) = (Scene::default(), Scene::default());
        let mut moments: Vec<f64> = Vec::new();
        for step in 0..=((to_s - from_s) / WRITING_STEP_S) as usize {
            let at_s = to_s - WRITING_STEP_S * step as f64;
            moment.recording.inputs_at(at_s, &mut self.trial_inputs);
            scene.clear();
            self.subject
                .region_moving(self.region, &self.trial_inputs, &mut scene);
            let is_same = if is_read {
                scene.all_words() == last.all_words()
            } else {
                scene == last
            };
            match moments.last_mut() {
                Some(nearest) if is_same => {
                    if far(at_s) < far(*nearest) {
                        *nearest = at_s;
                    }
                }
                _ => moments.push(at_s),
            }
            std::mem::swap(&mut scene, &mut last);
        }
        moments.sort_by(|a, b| far(*a).total_cmp(&far(*b)));
        moments
    }

    /// What kind of wrong a picture is that nothing explains. Of one that cannot be read there are no readings.
    pub(super) fn unexplained(
        &mut self,
        moment: &Moment,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> Explanation {
        if self.unexplained.is_due(moment, LOOK_EVERY_S) {
            self.signature = self.look_for_signature(moment, painter);
        }
        let signature = self.signature;
        if signature != Signature::Readable {
            readings.iter_mut().for_each(|r| *r = None);
        }
        Explanation::Nothing { signature }
    }

    fn look_for_signature(&mut self, moment: &Moment, painter: &mut Painter) -> Signature {
        self.parting = None;
        let captured = self.due.captured(moment.frame);
        // A third of what counts as another picture: beyond the chain's own noise.
        let noisy = self.chain.luma.flat / 3;
        let (due, fixed) = (self.due.reference(), self.due.fixed());
        let found = signature::signature(captured, due, fixed, noisy);
        if found != Signature::Readable {
            return found;
        }
        self.parting = self.find_parting(moment, painter);
        if self.parting.is_some() {
            Signature::Torn
        } else {
            Signature::Readable
        }
    }

    /// Whether the picture is torn in time: above some line of one moment, below of another.
    fn find_parting(&mut self, moment: &Moment, painter: &mut Painter) -> Option<Parting> {
        let captured = self.due.captured(moment.frame)[0];
        let due = signature::left_by_line(captured, self.due.reference()[0], 0, &[]);
        let mut tried = Scene::default();
        let step_s = moment.interval_s.max(FINEST_STEP_S);
        for age in 1..=(PARTING_S / step_s).round() as u32 {
            let data_time_s = moment.due_time_s() - f64::from(age) * step_s;
            moment
                .recording
                .inputs_at(data_time_s, &mut self.trial_inputs);
            self.trial.draw(&self.trial_inputs, painter);
            if self.trial.scene() == &tried {
                continue;
            }
            tried.clone_from(self.trial.scene());
            let older = signature::left_by_line(captured, self.trial.reference()[0], 0, &[]);
            if let Some((found, share)) = signature::parting(&due, &older)
                && share < signature::PARTED_SHARE
            {
                return Some(found);
            }
        }
        None
    }

    /// First and last recording time about `data_time_s` whose inputs draw what was drawn last for trial.
    pub(super) fn data_span_s(&mut self, data_time_s: f64, moment: &Moment) -> [f64; 2] {
        let step_s = (moment.interval_s / 2.0).max(FINEST_STEP_S);
        let oldest_s = moment.time_s - OLDEST_S;
        let mut scene = Scene::default();
        let mut draws_the_same = |at_s: f64| {
            moment.recording.inputs_at(at_s, &mut self.trial_inputs);
            if self.liveness_period_s.is_some() {
                self.trial_inputs.time_s = self.inputs.time_s;
            }
            scene.clear();
            self.subject
                .region_moving(self.region, &self.trial_inputs, &mut scene);
            scene == *self.trial.scene()
        };
        let mut span_s = [data_time_s; 2];
        while span_s[0] - step_s >= oldest_s && draws_the_same(span_s[0] - step_s) {
            span_s[0] -= step_s;
        }
        while span_s[1] + step_s <= moment.time_s && draws_the_same(span_s[1] + step_s) {
            span_s[1] += step_s;
        }
        span_s
    }

    /// Whether everything that can be read was read within a pixel of the values `shown`.
    fn are_read_near(&self, shown: &Inputs, readings: &[Option<Fitted>]) -> bool {
        let mut freedoms = self.reader.freedoms().iter().zip(readings);
        freedoms.all(|(f, r)| match (r, shown.value(f.channel).number()) {
            (Some(r), Some(value)) => {
                r.misfit <= RECOGNISED
                    && f.difference(r.value, value).abs() * r.px_per_unit <= NEAR_PX
            }
            (r, _) => r.is_none(),
        })
    }

    fn stale(
        &mut self,
        data_time_s: f64,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> Explanation {
        self.last_data_time_s = Some(data_time_s);
        self.last_staleness_s = moment.time_s - data_time_s;
        // Read again from the values that are shown where it was not read near them: on a repeating scale those found from
        // the due ones may be a whole label off, and only this picture has been checked with its words.
        if !self.are_read_near(&self.trial_inputs, readings) {
            let mut start = inputs.clone();
            start.values.clone_from(&self.trial_inputs.values);
            let captured = self.due.captured(moment.frame)[0];
            let drawn = Some(self.trial.reference()[0]);
            self.reader.read(
                captured,
                (&start, drawn),
                &self.word_boxes,
                false,
                painter,
                readings,
            );
        }
        Explanation::OtherTime { data_time_s }
    }
}
