//! One region in one frame: does it agree, what does it show, and if it disagrees, which data or values
//! explain the picture.

use super::comparison::{ChainLook, Comparison, Difference};
use super::data_time::{self, AgeTrack, READING_PX, Read};
use super::digits::{self, Digits, Written};
use super::reader::{self, Fitted, RECOGNISED, Reader};
use super::signature::{self, Parting, Signature};
use super::subject::Subject;
use super::view::View;
use super::words::{WordChecker, WrongCell};
use crate::definition::model::Symbol;
use crate::picture::{Picture, Rect};
use crate::recording::Recording;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::painter::Painter;
use crate::reference::parts::Freedom;
use crate::reference::scene::Scene;

/// What explains the picture of a region.
#[derive(Clone, Debug, PartialEq)]
pub enum Explanation {
    /// The inputs that are due.
    Due,
    /// The inputs of another moment: recording time, s.
    OtherTime {
        /// Recording time of the inputs that are shown, s.
        data_time_s: f64,
    },
    /// The inputs that are due, with the channels that are read replaced by their readings, or with numbers that are off by
    /// themselves and may be.
    Values,
    /// Nothing: the picture is wrong in itself.
    Nothing {
        /// What kind of wrong it is.
        signature: Signature,
    },
}

/// What was found in one region of one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Findings {
    /// What explains the picture.
    pub explanation: Explanation,
    /// Where [`Explanation::OtherTime`] explains the picture: first and last recording time whose inputs draw the
    /// same, s, to half a frame.
    pub data_span_s: Option<[f64; 2]>,
    /// What differs from the reference that is due (all zero when it agrees).
    pub difference: Difference,
    /// Characters that are not those that are due.
    pub wrong_cells: Vec<WrongCell>,
    /// Readings by freedom; `None` where nothing could be read.
    pub readings: Vec<Option<Fitted>>,
    /// Numbers that stand on the picture as digits, where they could be read.
    pub digits: Vec<Digits>,
    /// For a liveness cell: which half is lit, when that can be said.
    pub liveness: Option<bool>,
    /// True when what moves was drawn the same as in the frame before.
    pub is_unchanged: bool,
}

/// How far back the data of a stale picture are looked for, s.
pub const OLDEST_S: f64 = 2.5;
/// Most different pictures of other times that are tried in a frame.
const MOST_TRIALS: usize = 8;
/// Frames between scans for far values while nothing explains the picture.
const SCAN_EVERY: u64 = 6;

/// Step in which moments are told apart by what they write, s: a readout that counts 500 a second shows each number as
/// long.
const WRITING_STEP_S: f64 = 0.002;

/// Frames between looks for a picture torn in time, and how far back its older part may be, frames.
const PARTING_EVERY: u64 = 3;
const PARTING_FRAMES: u32 = 16;

/// Examines one region, frame after frame.
#[derive(Clone)]
pub struct RegionExaminer<'d> {
    subject: Subject<'d>,
    region: usize,
    due: Comparison<'d>,
    trial: Comparison<'d>,
    reader: Reader<'d>,
    words: WordChecker<'d>,
    trial_words: WordChecker<'d>,
    fixed_words: Vec<Rect>,
    word_boxes: Vec<Rect>,
    inputs: Inputs,
    trial_inputs: Inputs,
    chain: ChainLook,
    liveness_period_s: Option<f64>,
    /// Age that data may have, s.
    oldest_permitted_s: f64,
    channels: Vec<ChannelId>,
    /// Data time that explained the picture last, and the staleness it had then.
    last_data_time_s: Option<f64>,
    last_staleness_s: f64,
    last_values: Vec<Option<Fitted>>,
    troubled: u64,
    ages: AgeTrack,
    /// Numbers that stand there instead of those that the trial inputs give.
    written: Vec<Written>,
    /// Frames since something explained the picture.
    unexplained: u64,
    /// How far back pictures of earlier moments have been tried since nothing explains the picture, s.
    searched_s: f64,
    parting: Option<Parting>,
    previous_scene: Scene,
    tried: Vec<Scene>,
}

/// What is the same for all regions of a frame.
#[derive(Clone, Copy)]
pub struct Moment<'a> {
    /// The captured frame.
    pub frame: &'a Picture,
    /// The inputs.
    pub recording: &'a Recording,
    /// Recording time of the frame, s: capture time plus offset.
    pub time_s: f64,
    /// Recording time of the data that the display as a whole is likely to show when it is not the usual
    /// one, s.
    pub likely_s: Option<f64>,
    /// Staleness that the display usually has, s.
    pub latency_s: f64,
    /// Standard deviation of that staleness from frame to frame, s, where it was measured.
    pub age_scatter_s: Option<f64>,
    /// Time to the frame before, s.
    pub interval_s: f64,
}

impl Moment<'_> {
    /// Recording time of the inputs that are due, s.
    #[must_use]
    pub fn due_time_s(&self) -> f64 {
        due_time_s(self.recording, self.time_s, self.latency_s)
    }
}

/// Recording time of the inputs that are due at recording time `time_s`, s, on a display that is `latency_s` late. One
/// that has just been given its first inputs shows these, not what was before.
#[must_use]
pub fn due_time_s(recording: &Recording, time_s: f64, latency_s: f64) -> f64 {
    let (begin_s, _) = recording.span_s();
    let due_s = time_s - latency_s;
    if time_s >= begin_s {
        due_s.max(begin_s)
    } else {
        due_s
    }
}

impl<'d> RegionExaminer<'d> {
    /// Prepares region `region` for frames of `size` pixels.
    pub fn new(
        subject: Subject<'d>,
        region: usize,
        chain: &ChainLook,
        size: (usize, usize),
        painter: &mut Painter,
    ) -> Self {
        let definition = subject.definition();
        let due = Comparison::new(subject, region, chain, size, painter);
        let trial = Comparison::new(subject, region, chain, size, painter);
        let area = due.area();
        let reader = Reader::new(subject, region, chain, area, painter);
        let mut fixed = Scene::default();
        subject.region_static(region, &mut fixed);
        let mut fixed_words = Vec::new();
        reader::word_boxes(&fixed, subject, chain, area, &mut fixed_words);
        let liveness_period_s = definition.regions()[region]
            .symbol
            .iter()
            .flat_map(Symbol::liveness)
            .map(|l| l.period_ms / 1000.0)
            .next();
        let channels = definition.regions()[region]
            .channels_used()
            .iter()
            .map(|n| definition.channel(n))
            .collect();
        Self {
            subject,
            region,
            words: WordChecker::new(subject, chain, area, &fixed),
            trial_words: WordChecker::new(subject, chain, area, &fixed),
            due,
            trial,
            reader,
            fixed_words,
            word_boxes: Vec::new(),
            inputs: Inputs::default(),
            trial_inputs: Inputs::default(),
            chain: chain.clone(),
            liveness_period_s,
            oldest_permitted_s: definition.max_latency_s(region),
            channels,
            last_data_time_s: None,
            last_staleness_s: 0.0,
            last_values: Vec::new(),
            troubled: 0,
            ages: AgeTrack::default(),
            written: Vec::new(),
            unexplained: 0,
            searched_s: 0.0,
            parting: None,
            previous_scene: Scene::default(),
            tried: Vec::new(),
        }
    }

    /// The freedoms whose readings [`Findings::readings`] holds.
    #[must_use]
    pub fn freedoms(&self) -> &[Freedom] {
        self.reader.freedoms()
    }

    /// What the readings are called where their errors are kept.
    #[must_use]
    pub fn reading_names(&self) -> Vec<String> {
        let definition = self.subject.definition();
        reader::names(definition, self.region, self.freedoms()).collect()
    }

    /// Whether unchecked areas cover all of the region.
    #[must_use]
    pub fn is_unchecked(&self) -> bool {
        self.subject.definition().regions()[self.region].is_unchecked()
    }

    /// Channels that the region shows.
    #[must_use]
    pub fn channels(&self) -> &[ChannelId] {
        &self.channels
    }

    /// The region's pixels in the capture.
    #[must_use]
    pub const fn area(&self) -> Rect {
        self.due.area()
    }

    /// Where the picture is torn in time, as a line of the frame, and whether the older part lies below.
    #[must_use]
    pub fn parting(&self) -> Option<(i32, bool)> {
        self.parting
            .map(|p| (self.area().y + p.line as i32, p.is_other_below))
    }

    /// The reference that is due, as last drawn.
    #[must_use]
    pub const fn due(&self) -> &Comparison<'d> {
        &self.due
    }

    /// Pixels for a unit of freedom `k` at the inputs that are due.
    #[must_use]
    pub fn px_per_unit(&self, k: usize) -> f64 {
        self.reader.px_per_unit(k, &self.inputs)
    }

    /// Whether the reference was last drawn for this moment.
    #[must_use]
    pub fn is_drawn_for(&self, moment: &Moment) -> bool {
        self.inputs.time_s == moment.due_time_s()
    }

    /// Draws the reference for the `inputs` that are due and examines nothing.
    pub fn draw_due(&mut self, inputs: &Inputs, painter: &mut Painter) {
        self.inputs.clone_from(inputs);
        self.due.draw(inputs, painter);
    }

    /// Examines the region in one frame, whose due inputs are `inputs`.
    pub fn examine(&mut self, moment: &Moment, inputs: &Inputs, painter: &mut Painter) -> Findings {
        self.draw_due(inputs, painter);
        let is_unchanged = self.due.scene() == &self.previous_scene;
        if !is_unchanged {
            self.previous_scene.clone_from(self.due.scene());
        }
        let mut difference = self.due.compare(moment.frame);
        let mut liveness = None;
        if let Some(period_s) = self.liveness_period_s {
            liveness = self.liveness(moment, inputs, period_s, &mut difference, painter);
        }
        let wrong_cells = self.words.check(
            self.due.captured(moment.frame)[0],
            self.due.reference()[0],
            self.due.scene(),
            self.troubled > 0,
            painter,
        );
        let agrees = difference.agrees() && wrong_cells.is_empty();
        self.word_boxes.clear();
        self.word_boxes.extend_from_slice(&self.fixed_words);
        reader::word_boxes(
            self.due.scene(),
            self.subject,
            &self.chain,
            self.due.area(),
            &mut self.word_boxes,
        );
        let mut readings = Vec::new();
        let captured = self.due.captured(moment.frame)[0];
        let scan = !agrees && self.troubled.is_multiple_of(SCAN_EVERY);
        self.reader.read(
            captured,
            (inputs, Some(self.due.reference()[0])),
            &self.word_boxes,
            scan,
            painter,
            &mut readings,
        );
        if !agrees {
            self.read_from_last(captured, inputs, painter, &mut readings);
        }
        self.written.clear();
        let explanation = if agrees {
            self.troubled = 0;
            self.unexplained = 0;
            self.searched_s = 0.0;
            self.ages.clear();
            self.parting = None;
            self.last_data_time_s = Some(moment.due_time_s());
            self.last_staleness_s = moment.latency_s;
            Explanation::Due
        } else {
            let mut found = self.explain(moment, inputs, &mut readings, painter);
            if matches!(found, None | Some(Explanation::Nothing { .. })) {
                self.written = digits::as_read(
                    self.subject,
                    self.region,
                    inputs,
                    &self.due,
                    self.due.captured(moment.frame)[0],
                    &wrong_cells,
                );
            }
            if found.is_none() && self.allowed_numbers_explain(moment, inputs, painter) {
                found = Some(Explanation::Values);
            }
            let found = match found {
                Some(found) => {
                    self.unexplained = 0;
                    found
                }
                None => {
                    self.unexplained += 1;
                    self.unexplained(moment, &mut readings, painter)
                }
            };
            self.troubled += 1;
            found
        };
        let written = std::mem::take(&mut self.written);
        let digits = match explanation {
            Explanation::Due => digits::as_drawn(self.subject, self.region, inputs, inputs),
            Explanation::OtherTime { .. } | Explanation::Values => {
                let mut all =
                    digits::as_drawn(self.subject, self.region, &self.trial_inputs, inputs);
                for Written { digits, .. } in written {
                    let is_it =
                        |d: &&mut Digits| (&d.what, d.channel) == (&digits.what, digits.channel);
                    if let Some(due) = all.iter_mut().find(is_it) {
                        *due = digits;
                    }
                }
                all
            }
            Explanation::Nothing { .. } => written.into_iter().map(|w| w.digits).collect(),
        };
        self.last_values.clone_from(&readings);
        let data_span_s = match explanation {
            Explanation::OtherTime { data_time_s } => Some(self.data_span_s(data_time_s, moment)),
            _ => None,
        };
        Findings {
            explanation,
            data_span_s,
            difference,
            wrong_cells,
            readings,
            digits,
            liveness,
            is_unchanged,
        }
    }

    /// Readings of `frame` alone, whose due inputs are `inputs`, and whether the region agrees: for measuring the chain.
    pub fn readings_only(
        &mut self,
        frame: &Picture,
        inputs: &Inputs,
        painter: &mut Painter,
    ) -> (Vec<Option<Fitted>>, bool) {
        self.draw_due(inputs, painter);
        let agrees = self.due.agrees(frame);
        self.word_boxes.clear();
        self.word_boxes.extend_from_slice(&self.fixed_words);
        reader::word_boxes(
            self.due.scene(),
            self.subject,
            &self.chain,
            self.due.area(),
            &mut self.word_boxes,
        );
        let mut readings = Vec::new();
        let captured = self.due.captured(frame)[0];
        self.reader.read(
            captured,
            (inputs, Some(self.due.reference()[0])),
            &self.word_boxes,
            false,
            painter,
            &mut readings,
        );
        (readings, agrees)
    }

    /// Reads again from what was shown in the frame before, where the due values lead nowhere.
    fn read_from_last(
        &mut self,
        captured: View,
        inputs: &Inputs,
        painter: &mut Painter,
        readings: &mut [Option<Fitted>],
    ) {
        let is_lost = |r: &Option<Fitted>| r.is_none_or(|f| f.misfit > RECOGNISED);
        let is_known = |r: &Option<Fitted>| r.is_some_and(|f| f.misfit <= RECOGNISED);
        if !readings.iter().any(is_lost) || !self.last_values.iter().any(is_known) {
            return;
        }
        self.trial_inputs.clone_from(inputs);
        for (f, last) in self.reader.freedoms().iter().zip(&self.last_values) {
            if let Some(last) = last.filter(|l| l.misfit <= RECOGNISED) {
                self.trial_inputs.values[f.channel.0] = Value::Number(last.value);
            }
        }
        let mut again = Vec::new();
        self.reader.read(
            captured,
            (&self.trial_inputs, None),
            &self.word_boxes,
            false,
            painter,
            &mut again,
        );
        // What is read of one freedom holds for what was read of the others: all or nothing.
        if reader::worst_misfit(&again) < reader::worst_misfit(readings.iter()) {
            readings.copy_from_slice(&again);
        }
    }

    /// Which half is lit: the reference of the other phase is drawn when the due one disagrees.
    fn liveness(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        period_s: f64,
        difference: &mut Difference,
        painter: &mut Painter,
    ) -> Option<bool> {
        let is_first = |t: f64| (libm::floor(t / period_s) as i64).rem_euclid(2) == 0;
        if difference.agrees() {
            return Some(is_first(inputs.time_s));
        }
        let mut other = inputs.clone();
        other.time_s += period_s;
        self.due.draw(&other, painter);
        let second = self.due.compare(moment.frame);
        if second.agrees() {
            *difference = second;
            return Some(is_first(other.time_s));
        }
        self.due.draw(inputs, painter);
        None
    }

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
        self.trial
            .draw_with_numbers(&self.trial_inputs, numbers, painter);
        if self.tried.iter().any(|s| s == self.trial.scene()) {
            return false;
        }
        self.tried.push(self.trial.scene().clone());
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
    /// the picture, digits and all or beside digits that are right. A value on the edge of rounding may be read on its other side: where that changes the
    /// words, each reading is moved by what it may be off.
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
        let shown = self.trial_inputs.clone();
        let scene = self.trial.scene();
        let right = digits::as_due(self.subject, self.region, inputs, &shown, scene);
        if !right.is_empty() && self.trial_agrees_with_numbers(moment, &right, painter) {
            self.written = right;
            return true;
        }
        self.trial.draw(&shown, painter);
        let words = self.trial.scene().all_words().to_owned();
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

    /// Which data or values the picture shows, or that it is blank; `None` where it is neither.
    fn explain(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        readings: &mut Vec<Option<Fitted>>,
        painter: &mut Painter,
    ) -> Option<Explanation> {
        self.tried.clear();
        self.tried.push(self.due.scene().clone());
        let captured = self.due.captured(moment.frame);
        if signature::is_blank(captured, self.due.reference(), self.due.fixed()) {
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
        // As stale as the last frame that was explained; then its picture, still standing.
        if let Some(held) = self.last_data_time_s {
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
            if let Some(about_s) = about_s {
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
            if self.values_explain(moment, inputs, readings, painter) {
                return Some(Explanation::Values);
            }
        } else {
            // Nothing to measure a time by. What may be shown is looked for at once, and again and again while it is not
            // found.
            if self.unexplained.is_multiple_of(SCAN_EVERY) {
                let permitted_s = [moment.time_s - self.oldest_permitted_s, moment.time_s];
                let about_s = moment.time_s - self.last_staleness_s;
                for data_time_s in self.moments_apart(permitted_s, about_s, moment) {
                    if self.agrees_at(data_time_s, moment, painter) {
                        return Some(self.stale(data_time_s, moment, inputs, readings, painter));
                    }
                }
            }
            // Then pictures of earlier moments, newest first, and some in each frame.
            let step_s = moment.interval_s.max(0.005);
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
        if starts <= 1 || !self.unexplained.is_multiple_of(SCAN_EVERY) {
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
            let start = (&self.trial_inputs, Some(self.trial.reference()[0]));
            let captured = self.due.captured(moment.frame)[0];
            (self.reader).read(captured, start, &words, false, painter, &mut found);
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
    fn unexplained(
        &mut self,
        moment: &Moment,
        readings: &mut [Option<Fitted>],
        painter: &mut Painter,
    ) -> Explanation {
        let captured = self.due.captured(moment.frame);
        // A third of what counts as another picture: beyond the chain's own noise.
        let noisy = self.chain.luma.flat / 3;
        let (due, fixed) = (self.due.reference(), self.due.fixed());
        let mut signature = signature::signature(captured, due, fixed, noisy);
        if signature == Signature::Readable && self.troubled.is_multiple_of(PARTING_EVERY) {
            self.parting = self.find_parting(moment, painter);
        }
        if signature == Signature::Readable && self.parting.is_some() {
            signature = Signature::Torn;
        }
        if signature != Signature::Readable {
            readings.iter_mut().for_each(|r| *r = None);
        }
        Explanation::Nothing { signature }
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
    fn data_span_s(&mut self, data_time_s: f64, moment: &Moment) -> [f64; 2] {
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
