//! Which data or values explain a picture that is not the one that is due?
//!
//! Every answer is a picture: it is drawn for what may be shown, and must agree with what was captured. What explained the
//! frame before is asked first. Where it no longer holds everything is searched at once; while it holds, or while nothing
//! is found, from time to time ([`super::search`]).

use super::{Explanation, Moment, OLDEST_S, RegionExaminer, is_recognised};
use crate::examine::blank;
use crate::examine::data_time::{self, READING_PX, Read};
use crate::examine::digits::{self, Written};
use crate::examine::reader::{self, Fitted, Start};
use crate::examine::signature::{self, Parting, Signature};
use crate::examine::words::WrongCell;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::painter::Painter;
use crate::reference::scene::Scene;

/// Most different pictures of other times that are tried in a frame.
const MOST_TRIALS: usize = 8;
/// Step in which moments are told apart by what they write, s: a readout that counts 500 a second shows each number as
/// long.
const WRITING_STEP_S: f64 = 0.002;

/// How far back the older part of a picture torn in time may be, frames.
const PARTING_FRAMES: u32 = 16;

impl RegionExaminer<'_> {
    /// Whether the region, drawn for the trial inputs, agrees with the frame.
    fn trial_agrees(&mut self, moment: &Moment, painter: &mut Painter) -> bool {
        self.trial_agrees_with_numbers(moment, &[], painter)
    }

    /// The same, with these numbers in place of those that the trial inputs give.
    fn trial_agrees_with_numbers(
        &mut self,
        moment: &Moment,
        numbers: &[Written],
        painter: &mut Painter,
    ) -> bool {
        self.trial.set_scene(&self.trial_inputs, numbers);
        if self.tried.iter().any(|s| s == self.trial.scene()) {
            return false;
        }
        self.tried.push(self.trial.scene().clone());
        self.trial.paint(painter);
        self.trial.agrees(moment.frame)
            && self
                .trial_words
                .check(
                    self.trial.captured(moment.frame)[0],
                    self.trial.reference()[0],
                    self.trial.scene(),
                    true,
                    painter,
                )
                .is_empty()
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
            .filter_map(|(f, r)| Some((f.channel, r.filter(is_recognised)?)))
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

    /// Whether the picture is the one that is due, but for numbers that are off by themselves, each by no more than its
    /// readout may be.
    fn allowed_numbers_explain(
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

    /// What explains a picture that is not the one that is due, and its `readings`; `wrong_cells` are its wrong characters,
    /// where they are known.
    pub(super) fn explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        wrong_cells: Option<Vec<WrongCell>>,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> Explanation {
        self.tried.clear();
        self.tried.push(self.due.scene().clone());
        readings.clear();
        readings.resize(self.reader.freedoms().len(), None);
        let captured = self.due.captured(moment.frame);
        if blank::is_blank(captured, self.due.reference(), self.due.fixed()) {
            return Explanation::Nothing {
                signature: Signature::Blank,
            };
        }
        let is_due = self.search.is_due(moment.time_s, moment.interval_s);
        let was_moment = matches!(
            self.last_explanation,
            Explanation::Due | Explanation::OtherTime { .. }
        );
        if let Some(data_time_s) = self.carried_moment(moment, is_due || was_moment, painter) {
            return self.stale(data_time_s, moment, inputs, readings, painter);
        }
        let still_explain = !is_due
            && self.last_explanation == Explanation::Values
            && self.values_still_explain(moment, inputs, readings, painter);
        if still_explain {
            return Explanation::Values;
        }
        // What explained the frame before no longer holds, or nothing did and the last search was long ago.
        let is_searched = is_due || self.last_signature().is_none();
        let found = if is_searched {
            self.search(moment, inputs, readings, painter)
        } else {
            self.look_on(moment, inputs, readings, painter)
        };
        if let Some(found) = found {
            return found;
        }
        let wrong_cells = wrong_cells.unwrap_or_else(|| self.wrong_cells(moment, painter));
        self.written = digits::as_read(
            self.subject,
            self.region,
            inputs,
            &self.due,
            self.due.captured(moment.frame)[0],
            &wrong_cells,
        );
        if self.allowed_numbers_explain(moment, inputs, painter) {
            return Explanation::Values;
        }
        self.unexplained(moment, is_searched, readings, painter)
    }

    /// Recording time of the data that the picture shows, s, when it is as stale as the display as a whole is likely to be,
    /// or, if `with_last`, as the last picture of some moment, or when that still stands.
    fn carried_moment(
        &mut self,
        moment: &Moment,
        with_last: bool,
        painter: &mut Painter,
    ) -> Option<f64> {
        let last = (self.last_data_time_s.filter(|_| with_last))
            .map(|held_s| [moment.time_s - self.last_staleness_s, held_s])
            .into_iter()
            .flatten();
        let mut moments = moment.likely_s.into_iter().chain(last);
        moments.find(|data_time_s| self.agrees_at(*data_time_s, moment, painter))
    }

    /// Whether the values that are read from those of the frame before explain the picture, as they did then.
    fn values_still_explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> bool {
        self.read_from_last(moment, inputs, painter, readings);
        let mut before_and_now = self.last_values.iter().zip(&*readings);
        let is_lost = before_and_now
            .any(|(before, now)| before.is_some_and(|r| is_recognised(&r)) && !is_read(now));
        if is_lost || !self.values_explain(moment, inputs, readings, painter) {
            return false;
        }
        self.about_s(moment, readings);
        true
    }

    /// Between two searches, while nothing explains the picture: reads on what was read, looks at the moment that this tells
    /// of, and where there is nothing to read goes on through the moments before.
    fn look_on(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> Option<Explanation> {
        if self.last_values.iter().any(is_read) {
            self.read_from_last(moment, inputs, painter, readings);
        }
        let data_time_s = if readings.iter().any(is_read) {
            let about_s = self.about_s(moment, readings);
            about_s.filter(|about_s| self.agrees_at(*about_s, moment, painter))
        } else {
            self.earlier_moment(moment, painter)
        };
        data_time_s.map(|s| self.stale(s, moment, inputs, readings, painter))
    }

    /// Which data or values the picture shows, looked for everywhere; `None` where there are none.
    fn search(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> Option<Explanation> {
        if let Some(data_time_s) = self.permitted_by_reading(moment, inputs, painter) {
            return Some(self.stale(data_time_s, moment, inputs, readings, painter));
        }
        let scan = (self.scan).is_due_seldom(moment.time_s, moment.interval_s);
        self.read_due(moment, inputs, scan, painter, readings);
        if !readings.iter().all(is_read) && self.last_values.iter().any(is_read) {
            let mut again = Vec::new();
            self.read_from_last(moment, inputs, painter, &mut again);
            // What is read of one freedom holds for what was read of the others: all or nothing.
            if reader::worst_misfit(&again) < reader::worst_misfit(readings.iter()) {
                *readings = again;
            }
        }
        if readings.iter().any(is_read) {
            if let Some(about_s) = self.about_s(moment, readings) {
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
            let is_explained = self.values_explain(moment, inputs, readings, painter);
            return is_explained.then_some(Explanation::Values);
        }
        // Nothing to measure a time by. What may be shown is looked for first, then pictures of earlier moments.
        let permitted_s = [moment.time_s - self.oldest_permitted_s, moment.time_s];
        let about_s = moment.time_s - self.last_staleness_s;
        for data_time_s in self.moments_apart(permitted_s, about_s, moment) {
            if self.agrees_at(data_time_s, moment, painter) {
                return Some(self.stale(data_time_s, moment, inputs, readings, painter));
            }
        }
        self.searched_s.get_or_insert(0.0);
        let data_time_s = self.earlier_moment(moment, painter)?;
        Some(self.stale(data_time_s, moment, inputs, readings, painter))
    }

    /// Recording time of the data that the readings of this frame and those before tell of, s.
    fn about_s(&mut self, moment: &Moment, readings: &[Option<Fitted>]) -> Option<f64> {
        let freedoms = self.reader.freedoms().iter().zip(readings);
        let read: Vec<Read> = freedoms
            .filter_map(|(f, r)| Some((f, r.filter(is_recognised)?)))
            .collect();
        let usual_s = self.last_staleness_s;
        (self.ages).push(&read, moment.recording, moment.time_s, usual_s)
    }

    /// Recording time of an earlier moment whose picture this is, s: newest first, and some in each frame.
    fn earlier_moment(&mut self, moment: &Moment, painter: &mut Painter) -> Option<f64> {
        let step_s = moment.interval_s.max(0.005);
        while let Some(back_s) = self.searched_s
            && self.tried.len() < MOST_TRIALS
        {
            if self.agrees_at(moment.time_s - back_s, moment, painter) {
                return Some(moment.time_s - back_s);
            }
            self.searched_s = Some(back_s + step_s).filter(|s| *s < OLDEST_S);
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
        if starts <= 1 {
            return None;
        }
        let step_s = self.oldest_permitted_s / starts as f64;
        let middle_s = |k: usize| step_s * (k as f64 + 0.5);
        let mut ages_s: Vec<f64> = (0..starts).map(middle_s).collect();
        let far = |age_s: &f64| (age_s - self.last_staleness_s).abs();
        ages_s.sort_by(|a, b| far(a).total_cmp(&far(b)));
        let (mut found, mut words) = (Vec::new(), Vec::new());
        for age_s in ages_s {
            let at_s = moment.time_s - age_s;
            moment.recording.inputs_at(at_s, &mut self.trial_inputs);
            self.trial.draw(&self.trial_inputs, painter);
            words.clone_from(&self.fixed_words);
            let area = self.due.area();
            reader::word_boxes(
                self.trial.scene(),
                self.subject,
                &self.chain,
                area,
                &mut words,
            );
            let start = Start {
                inputs: &self.trial_inputs,
                drawn: Some((self.trial.reference()[0], self.trial.scene())),
            };
            let captured = self.due.captured(moment.frame)[0];
            (self.reader).read(captured, start, &words, false, painter, &mut found);
            let freedoms = self.reader.freedoms().iter().zip(&found);
            let read: Option<Vec<Read>> = freedoms
                .filter_map(|(f, r)| Some((f, (*r)?)))
                .map(|(f, r)| is_recognised(&r).then_some((f, r)))
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

    /// What kind of wrong a picture is that nothing explains: what it was in the frame before, unless `is_searched`. Of one
    /// that cannot be read there are no readings.
    fn unexplained(
        &mut self,
        moment: &Moment,
        is_searched: bool,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> Explanation {
        let signature = match self.last_signature() {
            Some(signature) if !is_searched => signature,
            _ => self.signature(moment, painter),
        };
        if signature != Signature::Readable {
            readings.iter_mut().for_each(|r| *r = None);
        }
        Explanation::Nothing { signature }
    }

    /// What kind of wrong the frame before was, when nothing explained it and it was not blank.
    fn last_signature(&self) -> Option<Signature> {
        match self.last_explanation {
            Explanation::Nothing { signature } => Some(signature),
            _ => None,
        }
        .filter(|signature| *signature != Signature::Blank)
    }

    fn signature(&mut self, moment: &Moment, painter: &mut Painter) -> Signature {
        let captured = self.due.captured(moment.frame);
        // A third of what counts as another picture: beyond the chain's own noise.
        let noisy = self.chain.luma.flat / 3;
        let (due, fixed) = (self.due.reference(), self.due.fixed());
        let signature = signature::signature(captured, due, fixed, noisy);
        if signature != Signature::Readable {
            return signature;
        }
        self.parting = self.find_parting(moment, painter);
        match self.parting {
            Some(_) => Signature::Torn,
            None => Signature::Readable,
        }
    }

    /// Whether the picture is torn in time: above some line of one moment, below of another.
    fn find_parting(&mut self, moment: &Moment, painter: &mut Painter) -> Option<Parting> {
        let captured = self.due.captured(moment.frame)[0];
        let due = signature::left_by_line(captured, self.due.reference()[0], 0, &[]);
        let mut tried = Scene::default();
        for age in 1..=PARTING_FRAMES {
            let data_time_s = moment.due_time_s() - f64::from(age) * moment.interval_s;
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
        let step_s = (moment.interval_s / 2.0).max(0.005);
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
        // Read again from the values that are shown: on a repeating scale those found from the due ones may
        // be a whole label off, and only this picture has been checked with its words.
        if !readings.is_empty() {
            let mut shown = inputs.clone();
            shown.values.clone_from(&self.trial_inputs.values);
            let captured = self.due.captured(moment.frame)[0];
            let start = Start {
                inputs: &shown,
                drawn: Some((self.trial.reference()[0], self.trial.scene())),
            };
            self.reader
                .read(captured, start, &self.word_boxes, false, painter, readings);
        }
        Explanation::OtherTime { data_time_s }
    }
}

/// Whether there is a reading that found its symbol.
fn is_read(reading: &Option<Fitted>) -> bool {
    reading.as_ref().is_some_and(is_recognised)
}
