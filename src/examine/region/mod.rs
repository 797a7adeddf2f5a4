//! One region in one frame: does it agree, what does it show, and if it disagrees, which data or values
//! explain the picture.

mod alerts;
mod explain;
mod lasting;

pub use self::alerts::{AlertSlip, Slip};
use self::explain::SCAN_EVERY_S;
use self::lasting::Lasting;
use crate::definition::model::Symbol;
use crate::examine::comparison::{ChainLook, Comparison, Difference};
pub use crate::examine::constants::region::OLDEST_S;
use crate::examine::data_time::{AgeTrack, READING_PX};
use crate::examine::digits::{self, Digits, Written};
use crate::examine::reader::{self, Fitted, RECOGNISED, Reader};
use crate::examine::signature::{Parting, Signature};
use crate::examine::subject::Subject;
use crate::examine::view::View;
use crate::examine::words::WordChecker;
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
    /// Readings by freedom; `None` where nothing could be read.
    pub readings: Vec<Option<Fitted>>,
    /// By freedom: whether the picture is explained, and too little is seen of what it moves to say which value it shows.
    pub hidden: Vec<bool>,
    /// Numbers that stand on the picture as digits, where they could be read.
    pub digits: Vec<Digits>,
    /// For a liveness cell: which half is lit, when that can be said.
    pub liveness: Option<bool>,
    /// True when what moves was drawn the same as in the frame before.
    pub is_unchanged: bool,
}

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
    /// What was read in the frame before, and what was due, by freedom.
    last_values: Vec<Option<Fitted>>,
    last_due: Vec<Option<f64>>,
    /// What goes on was not found where it would be: it is not looked for there until the next scan.
    has_lost_track: bool,
    /// The picture is not the one that is due.
    troubled: Lasting,
    /// The picture of the frame before was that of some moment, due or not.
    was_of_a_moment: bool,
    ages: AgeTrack,
    /// Numbers that stand there instead of those that the trial inputs give.
    written: Vec<Written>,
    /// Nothing explains the picture, and what kind of wrong it is since then.
    unexplained: Lasting,
    signature: Signature,
    /// How far back pictures of earlier moments have been tried since nothing explains the picture, s.
    searched_s: f64,
    parting: Option<Parting>,
    previous_scene: Scene,
    tried: Vec<Scene>,
    /// What was read last lies a repetition of its scale or more beyond what a reading from what is due finds.
    is_repeated: bool,
    /// By freedom: how far off another repetition lies that explains an unexplained picture almost as well.
    doubts: Vec<f64>,
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

/// Whether a symbol was not recognised.
fn is_lost(reading: &Option<Fitted>) -> bool {
    reading.is_none_or(|f| f.misfit > RECOGNISED)
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
        let count = reader.freedoms().len();
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
            last_due: Vec::new(),
            has_lost_track: false,
            troubled: Lasting::default(),
            was_of_a_moment: true,
            ages: AgeTrack::default(),
            written: Vec::new(),
            unexplained: Lasting::default(),
            signature: Signature::Readable,
            searched_s: 0.0,
            parting: None,
            previous_scene: Scene::default(),
            tried: Vec::new(),
            is_repeated: false,
            doubts: vec![0.0; count],
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

    /// The inputs that the reference was last drawn for.
    #[must_use]
    pub const fn inputs_due(&self) -> &Inputs {
        &self.inputs
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
        let agrees = difference.agrees()
            && self.words.are_likely_right(
                self.due.captured(moment.frame)[0],
                self.due.reference()[0],
                self.due.scene(),
                self.troubled.lasts(),
                painter,
            );
        self.word_boxes.clear();
        self.word_boxes.extend_from_slice(&self.fixed_words);
        reader::word_boxes(
            self.due.scene(),
            self.subject,
            &self.chain,
            self.due.area(),
            &mut self.word_boxes,
        );
        let captured = self.due.captured(moment.frame)[0];
        let mut readings = self.read(moment, captured, inputs, agrees, painter);
        self.written.clear();
        let explanation = if agrees {
            self.troubled.end();
            self.unexplained.end();
            self.searched_s = 0.0;
            self.ages.clear();
            self.parting = None;
            self.is_repeated = false;
            self.doubts.fill(0.0);
            self.last_data_time_s = Some(moment.due_time_s());
            self.last_staleness_s = moment.latency_s;
            Explanation::Due
        } else {
            let mut found = self.explain(moment, inputs, &mut readings, painter);
            if found.is_none() {
                self.written = self.read_numbers(moment, inputs, painter);
            }
            if found.is_none() && self.allowed_numbers_explain(moment, inputs, painter) {
                found = Some(Explanation::Values);
            }
            let found = match found {
                Some(found) => {
                    self.unexplained.end();
                    found
                }
                None => {
                    self.unexplained.go_on(moment.time_s);
                    self.widen_by_doubts(&mut readings);
                    self.unexplained(moment, &mut readings, painter)
                }
            };
            self.troubled.go_on(moment.time_s);
            found
        };
        self.was_of_a_moment = matches!(
            explanation,
            Explanation::Due | Explanation::OtherTime { .. }
        );
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
        let due = (self.reader.freedoms().iter()).map(|f| inputs.value(f.channel).number());
        self.last_due.clear();
        self.last_due.extend(due);
        let shown = match explanation {
            Explanation::Due => Some(inputs),
            Explanation::OtherTime { .. } | Explanation::Values => Some(&self.trial_inputs),
            Explanation::Nothing { .. } => None,
        };
        let is_hidden = |(k, read)| {
            is_lost(read) && shown.is_some_and(|inputs| self.reader.is_shown(k, inputs))
        };
        let hidden = readings.iter().enumerate().map(is_hidden).collect();
        let data_span_s = match explanation {
            Explanation::OtherTime { data_time_s } => Some(self.data_span_s(data_time_s, moment)),
            _ => None,
        };
        Findings {
            explanation,
            data_span_s,
            difference,
            readings,
            hidden,
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

    /// Numbers that stand in the readouts' places instead of those that are due.
    fn read_numbers(
        &mut self,
        moment: &Moment,
        inputs: &Inputs,
        painter: &mut Painter,
    ) -> Vec<Written> {
        let lines = digits::lines(self.subject, self.region, inputs, self.due.scene());
        let captured = self.due.captured(moment.frame)[0];
        let own = lines.iter().flat_map(|(_, own)| own);
        let words: Vec<_> = own.map(|(_, words)| *words).collect();
        let wrong = self.words.wrong_in(
            &words,
            captured,
            self.due.reference()[0],
            self.due.scene(),
            painter,
        );
        digits::as_read(self.subject, lines, inputs, &self.due, captured, &wrong)
    }

    /// Reads the picture: from what is due, or, while it shows something else, from what was shown in the frame before. What is
    /// lost then is looked for from what is due, and far away: at first, when what was explained no longer is, and now and then.
    fn read(
        &mut self,
        moment: &Moment,
        captured: View,
        inputs: &Inputs,
        agrees: bool,
        painter: &mut Painter,
    ) -> Vec<Option<Fitted>> {
        let is_explained = self.troubled.lasts() && !self.unexplained.lasts();
        let is_due = !is_explained && self.troubled.is_due(moment, SCAN_EVERY_S);
        if agrees || is_due {
            self.has_lost_track = false;
        }
        let mut followed = Vec::new();
        if !agrees && !is_due && self.read_from_last(captured, inputs, painter, &mut followed) {
            return followed;
        }
        let scan = !agrees && (is_due || is_explained);
        let mut readings = Vec::new();
        self.reader.read(
            captured,
            (inputs, Some(self.due.reference()[0])),
            &self.word_boxes,
            scan,
            painter,
            &mut readings,
        );
        if agrees || !readings.iter().any(is_lost) {
            return readings;
        }
        if scan {
            self.read_from_last(captured, inputs, painter, &mut followed);
        }
        // What is read of one freedom holds for what was read of the others: all or nothing.
        if reader::worst_misfit(&followed) < reader::worst_misfit(&readings) {
            return followed;
        }
        readings
    }

    /// Reads from what was shown in the frame before, then, where what moves fast is lost so, from what it shows now if it is off by
    /// as much as before; false where something that was read then is lost, or nothing was.
    fn read_from_last(
        &mut self,
        captured: View,
        inputs: &Inputs,
        painter: &mut Painter,
        readings: &mut Vec<Option<Fitted>>,
    ) -> bool {
        if self.last_values.iter().all(is_lost) {
            return false;
        }
        self.trial_inputs.clone_from(inputs);
        for (f, last) in self.reader.freedoms().iter().zip(&self.last_values) {
            if let Some(last) = last.filter(|l| l.misfit <= RECOGNISED) {
                self.trial_inputs.values[f.channel.0] = Value::Number(last.value);
            }
        }
        for _ in 0..2 {
            self.reader.read(
                captured,
                (&self.trial_inputs, None),
                &self.word_boxes,
                false,
                painter,
                readings,
            );
            let (mut is_all_found, mut goes_on) = (true, false);
            for (k, f) in self.reader.freedoms().iter().enumerate() {
                let Some(last) = self.last_values[k].filter(|l| l.misfit <= RECOGNISED) else {
                    continue;
                };
                if !is_lost(&readings[k]) {
                    continue;
                }
                is_all_found = false;
                let due = [self.last_due[k], inputs.value(f.channel).number()];
                let [Some(then), Some(now)] = due else {
                    continue;
                };
                let moved = f.difference(now, then);
                if moved.abs() * last.px_per_unit > READING_PX {
                    self.trial_inputs.values[f.channel.0] = Value::Number(last.value + moved);
                    goes_on = true;
                }
            }
            if is_all_found || !goes_on || self.has_lost_track {
                return is_all_found;
            }
        }
        self.has_lost_track = true;
        false
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
}
