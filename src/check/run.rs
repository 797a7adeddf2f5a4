//! A check under way: frame by frame from what is found to verdicts and events.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::capture::CapturedFrame;
use crate::definition::Definition;
use crate::definition::pages::PageSet;
use crate::evidence::records::{FrameRecord, thousandths};
use crate::examine::blank;
use crate::examine::comparison::{ChainLook, Difference};
use crate::examine::place;
use crate::examine::region::{Explanation, Findings, Moment, RegionExaminer};
use crate::examine::signature::{self, Signature};
use crate::examine::subject::Subject;
use crate::examine::view::View;
use crate::judge::company::Company;
use crate::judge::constants::RETOLD_S;
use crate::judge::event::{Event, name};
use crate::judge::events::{EventLog, Halves, Instead};
use crate::judge::region::{RegionJudge, RegionVerdict};
use crate::judge::reversion::ReversionWatch;
use crate::judge::verdict::{self, Verdict};
use crate::picture::{Plane, Rect};
use crate::recording::Recording;
use crate::recording::inputs::{ChannelId, Due, Inputs, Value};
use crate::reference::glyphs::pixels_of;
use crate::reference::painter::Painter;
use crate::reference::scene::Bounds;

use super::alerts::ExercisedAlerts;
use super::beside::{Beside, Comparison};
use super::clock::step_s;
use super::foreign;
use super::gaps::Gaps;
use super::halves;
use super::hidden::HiddenFrames;
use super::other_units::OtherUnits;
use super::place::seen_share;
use super::resolved::Resolved;
use super::{Error, RegionState, Seen, Sink, Snapshot};
use crate::chain::watch::{ChainWatch, Sight, Told};
use crate::check::constants::run::{BROKEN_REGIONS, TOLD_STEP_S};

/// Why a region that unchecked areas cover is not judged.
pub const UNCHECKED: &str = "unchecked";

#[derive(Clone)]
pub(super) struct Regions<'d> {
    /// Shared with a run that was cloned from this one, until one of both examines the region again.
    pub(super) examiners: Vec<Arc<RegionExaminer<'d>>>,
    pub(super) judges: Vec<RegionJudge>,
}

/// What was found in all regions of a frame.
#[derive(Clone, Debug)]
pub struct Examined {
    /// By region.
    pub findings: Vec<Findings>,
    /// By region: it would look different when blank.
    pub has_ink: Vec<bool>,
}

/// What is known of a frame before it is examined.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// What was found in a frame of the same time.
    pub examined: &'a Examined,
    /// By region: its pixels are not those of that frame.
    pub is_changed: &'a [bool],
}

/// A check under way. A clone goes its own way from here on.
#[derive(Clone)]
pub struct Run<'d> {
    pub(super) definition: &'d Definition,
    subject: Subject<'d>,
    pub(super) recording: &'d Recording,
    chain: ChainLook,
    pub(super) regions: Regions<'d>,
    pub(super) log: EventLog<'d>,
    painter: Painter,
    /// By region, so that regions are examined side by side.
    pub(super) painters: Vec<Painter>,
    pub(super) offset_s: f64,
    /// Step of the recording's clock, s.
    clock_step_s: f64,
    pub(super) latency_s: f64,
    pub(super) last_time_s: Option<f64>,
    pub(super) first_time_s: f64,
    /// Time to the frame before, s: cut to what a moving picture has, and as it is.
    interval_s: f64,
    elapsed_s: f64,
    pub(super) frames: u64,
    /// Frames outside the recording.
    unrecorded: u64,
    pub(super) inputs: Inputs,
    /// By region: there is something to examine it by, and no page is due without it.
    pub(super) in_force: Vec<bool>,
    /// The channels that decide which page is due.
    pub(super) page_channels: Vec<ChannelId>,
    /// The pages that the frame may show.
    pub(super) pages: PageSet,
    /// How long the page that the inputs choose may take to come, s.
    pub(super) turn_s: f64,
    /// The page that stands there in place of the one that is due.
    pub(super) wrong_page: Option<usize>,
    company: Company,
    pub(super) counts: Vec<BTreeMap<String, u64>>,
    pub(super) frame_counts: BTreeMap<String, u64>,
    pub(super) blind_s: Vec<f64>,
    pub(super) alerts: ExercisedAlerts,
    best: BTreeMap<usize, Snapshot>,
    chain_watch: ChainWatch,
    pub(super) gaps: Gaps,
    pub(super) other_units: OtherUnits,
    pub(super) resolved: Resolved,
    pub(super) hidden: HiddenFrames,
    /// What the whole frame was found to be, and when it was looked at, s.
    pub(super) broken: Option<(Option<Signature>, f64)>,
    /// Halves of the display that stand in each other's place.
    pub(super) exchanged: Option<Halves>,
    /// Luma of the whole reference frame.
    whole: Plane,
    /// The display in the capture, px.
    display: Rect,
    /// Pixels of the capture that are not the display's.
    outside: Vec<Rect>,
    /// By region: share of it that is in the capture.
    pub(super) seen: Vec<f64>,
    pub(super) reverted_at_s: Option<f64>,
    /// Where the display's own monitor is on.
    pub(super) reversion: Option<ReversionWatch<'d>>,
    /// Where another display's pictures are at hand.
    pub(super) beside: Option<Comparison<'d>>,
    /// The picture of an event that is of no region's verdict, until it is handed over.
    apart: Option<Snapshot>,
}

impl<'d> Run<'d> {
    #[expect(
        clippy::too_many_arguments,
        reason = "called once, with all that a run needs"
    )]
    /// A check that has seen nothing yet.
    pub fn new(
        definition: &'d Definition,
        subject: Subject<'d>,
        recording: &'d Recording,
        chain: &ChainLook,
        size: (usize, usize),
        offset_s: f64,
        latency_s: f64,
        mut painter: Painter,
    ) -> Self {
        let count = definition.regions().len();
        let examiners: Vec<Arc<RegionExaminer>> = (0..count)
            .map(|k| RegionExaminer::new(subject, k, chain, size, &mut painter).into())
            .collect();
        let judges = examiners
            .iter()
            .enumerate()
            .map(|(k, e)| RegionJudge::new(definition, k, e.freedoms(), e.channels()))
            .collect();
        let (width, height) = definition.size();
        let display = Rect::new(0, 0, width as i32, height as i32);
        let picture = Rect::new(0, 0, size.0 as i32, size.1 as i32);
        let freedoms = examiners.iter().map(|e| e.freedoms().to_vec()).collect();
        let whole = Plane::filled(
            size.0,
            size.1,
            chain.look.levels(definition.background())[0],
        );
        Self {
            definition,
            subject,
            recording,
            chain: chain.clone(),
            regions: Regions { examiners, judges },
            log: EventLog::new(definition, freedoms),
            painter,
            painters: vec![Painter::new(); count],
            offset_s,
            clock_step_s: step_s(recording.times_s()),
            latency_s,
            last_time_s: None,
            first_time_s: 0.0,
            interval_s: 0.04,
            elapsed_s: 0.04,
            frames: 0,
            unrecorded: 0,
            inputs: Inputs::default(),
            in_force: vec![true; count],
            page_channels: (definition.page_channels().iter())
                .map(|name| definition.channel(name))
                .collect(),
            pages: PageSet::one(0),
            turn_s: 0.0,
            wrong_page: None,
            company: Company::default(),
            counts: vec![BTreeMap::new(); count],
            frame_counts: BTreeMap::new(),
            blind_s: vec![0.0; count],
            alerts: ExercisedAlerts::default(),
            best: BTreeMap::new(),
            chain_watch: ChainWatch::new(chain.look.encoding),
            gaps: Gaps::default(),
            other_units: OtherUnits::new(count),
            resolved: Resolved::new(definition),
            hidden: HiddenFrames::default(),
            broken: None,
            exchanged: None,
            whole,
            display: {
                let whole = Bounds::from_rect([0, 0, display.width, display.height]);
                let ink = pixels_of(&chain.look.geometry.map_bounds(&whole));
                ink.intersection(&picture)
            },
            outside: chain.look.geometry.outside(display, picture),
            seen: (definition.regions().iter())
                .map(|r| seen_share(r.area(), &chain.look.geometry, size))
                .collect(),
            reverted_at_s: None,
            reversion: None,
            beside: None,
            apart: None,
        }
    }

    /// From now on the display's own monitor is taken to be on: where a fault calls for reversion, it must follow.
    pub fn expect_reversions(&mut self) {
        self.reversion = ReversionWatch::new(self.definition);
    }

    /// From now on what is shown is compared with what another display showed.
    pub fn compare_with(&mut self, beside: Arc<Beside>) {
        self.beside = Some(Comparison::new(self.definition, beside));
    }

    /// From now on it is compared with no other display.
    pub fn compare_no_more(&mut self) {
        self.beside = None;
    }

    /// Compares what a frame shows, that was just judged, with what another display showed, where there is one. True when an event
    /// is raised.
    pub fn compare(&mut self, frame: &CapturedFrame, verdicts: &[RegionVerdict]) -> bool {
        self.beside.is_some() && self.compare_record(&self.record(frame, verdicts))
    }

    fn compare_record(&mut self, record: &FrameRecord) -> bool {
        let times = (self.offset_s, self.interval_s);
        (self.beside.as_mut()).is_some_and(|b| b.push(record, self.recording, times))
    }

    /// Whether it was to be compared with another display, and never could be.
    pub(super) fn is_never_compared(&self) -> bool {
        self.beside.as_ref().is_some_and(Comparison::is_idle)
    }

    /// Examines and judges a frame, and hands over what was found.
    ///
    /// # Errors
    /// When the chain has changed, or results cannot be written.
    pub(super) fn frame(
        &mut self,
        frame: &CapturedFrame,
        before: &CapturedFrame,
        sink: &mut dyn Sink,
    ) -> Result<(), Error> {
        let is_first = self.frames == 0;
        let raised_before: Vec<usize> = self.log.raised().collect();
        if !is_first {
            self.hold(before, frame.time_s, |time_s, verdicts| {
                sink.measured(time_s, verdicts)
            })?;
        }
        let examined = self.examine(frame, None);
        let verdicts = self.judge(frame, examined)?;
        self.count(&verdicts);
        if self.is_recorded(frame.time_s) {
            let is_judged = |k: usize| self.in_force[k];
            self.alerts.count(self.definition, &self.inputs, is_judged);
        }
        let examiners = &self.regions.examiners;
        let due_time_s = self.moment(frame).due_time_s();
        self.other_units
            .read(due_time_s, &verdicts, |k| examiners[k].freedoms());
        let (chain, painter) = (&self.chain, &mut self.painter);
        self.other_units
            .try_stories(self.subject, chain, frame, &self.inputs, &verdicts, painter);
        self.unrecorded += u64::from(!self.is_recorded(frame.time_s));
        let raised_now: Vec<usize> = self.log.raised().collect();
        let regions: Vec<RegionState> = verdicts
            .iter()
            .enumerate()
            .map(|(k, v)| RegionState {
                is_open: self.log.is_open(k),
                is_raised: raised_now.contains(&k),
                is_faulty: v.verdict.is_faulty(),
            })
            .collect();
        sink.seen(&Seen {
            frame,
            before: (!is_first).then_some(before),
            due: self.due(frame),
            regions: &regions,
        })?;
        sink.measured(frame.time_s, &verdicts)?;
        for k in raised_before {
            if !raised_now.contains(&k)
                && let Some(s) = self.best.remove(&k)
            {
                sink.snapshot(&s)?;
            }
        }
        let record = self.record(frame, &verdicts);
        if self.compare_record(&record) {
            let due = self.due(frame);
            self.apart.get_or_insert(snapshot(frame, due));
        }
        if let Some(s) = self.apart.take() {
            sink.snapshot(&s)?;
        }
        sink.frame(&record)?;
        Ok(())
    }

    /// Judges `last`, the newest frame, again as long as nothing follows it, up to `until_s`; `each` is given the
    /// verdicts of each instant. Does nothing unless that is a gap.
    ///
    /// # Errors
    /// When the chain has changed, or `each` fails.
    pub fn hold(
        &mut self,
        last: &CapturedFrame,
        until_s: f64,
        mut each: impl FnMut(f64, &[RegionVerdict]) -> std::io::Result<()>,
    ) -> Result<(), Error> {
        let mut ages = self
            .gaps
            .push(last.time_s, until_s - last.time_s)
            .peekable();
        if ages.peek().is_none() {
            return Ok(());
        }
        let mut held = last.clone();
        for age_s in ages {
            held.time_s = last.time_s + age_s;
            let examined = self.examine(&held, None);
            let verdicts = self.judge(&held, examined)?;
            each(held.time_s, &verdicts)?;
        }
        Ok(())
    }

    fn count(&mut self, verdicts: &[RegionVerdict]) {
        self.frames += 1;
        *self
            .frame_counts
            .entry(key(whole(self.definition, verdicts)))
            .or_default() += 1;
        self.hidden.count(verdicts);
        for (counts, v) in self.counts.iter_mut().zip(verdicts) {
            *counts.entry(name(v.verdict).to_owned()).or_default() += 1;
        }
    }

    /// What is due in the frame that was examined last.
    fn due(&self, frame: &CapturedFrame) -> Due {
        Due {
            time_s: self.moment(frame).due_time_s(),
            page: self.inputs.page,
        }
    }

    fn moment<'a>(&self, frame: &'a CapturedFrame) -> Moment<'a>
    where
        'd: 'a,
    {
        let time_s = frame.time_s + self.offset_s;
        Moment {
            frame: &frame.picture,
            recording: self.recording,
            time_s,
            likely_s: self.company.data_time_s(time_s),
            latency_s: self.latency_s,
            age_scatter_s: self.chain.reading_errors.age_scatter_s,
            interval_s: self.interval_s,
        }
    }

    /// True where the recording says what the display was given at capture time `time_s`. That is asked no more finely
    /// than the recording's clock and an offset are told, nor than to the nearest frame; at the edge the inputs are those
    /// of the edge.
    fn is_recorded(&self, time_s: f64) -> bool {
        let step_s = self.clock_step_s.max(TOLD_STEP_S).min(self.interval_s);
        let (begin_s, end_s) = self.recording.span_s();
        let at_s = time_s + self.offset_s;
        (begin_s - step_s / 2.0..=end_s + step_s / 2.0).contains(&at_s)
    }

    /// What is to be said of frames that lie outside the recording, when there are any; and whether that is an error: none
    /// was judged, or (unless that is allowed) an event could have been missed there.
    pub(super) fn unrecorded(&self, is_allowed: bool) -> Option<(String, bool)> {
        let last_time_s = self.last_time_s.filter(|_| self.unrecorded > 0)?;
        let (begin_s, end_s) = self.recording.span_s();
        let (from_s, to_s) = (
            self.first_time_s + self.offset_s,
            last_time_s + self.offset_s,
        );
        let [held_from, held_to, from, to] = [begin_s, end_s, from_s, to_s].map(thousandths);
        let text = format!(
            "{} frames lie outside the recording, which holds {held_from} to {held_to} s, and are not judged; the capture covers {from} to {to} s of it",
            self.unrecorded
        );
        let outside_s = (begin_s - from_s).max(0.0) + (to_s - end_s).max(0.0);
        let is_missable = self
            .definition
            .regions()
            .iter()
            .any(|r| outside_s * 1000.0 >= r.confirm_ms());
        let is_error = self.unrecorded == self.frames || (is_missable && !is_allowed);
        Some((text, is_error))
    }

    /// Looks at all regions of the next frame, or at those alone that differ from what is known.
    pub fn examine(&mut self, frame: &CapturedFrame, known: Option<Known>) -> Examined {
        if let Some(last) = self.last_time_s {
            self.elapsed_s = frame.time_s - last;
            self.interval_s = self.elapsed_s.clamp(0.001, 0.2);
        } else {
            self.first_time_s = frame.time_s;
        }
        self.last_time_s = Some(frame.time_s);
        let moment = self.moment(frame);
        self.recording
            .inputs_at(moment.due_time_s(), &mut self.inputs);
        if !self.is_recorded(frame.time_s) {
            // What the display was given then nobody knows.
            self.inputs.values.fill(Value::Missing);
        }
        self.turn_pages(&moment);
        let (inputs, in_force) = (&self.inputs, &self.in_force);
        let findings = self
            .regions
            .examiners
            .par_iter_mut()
            .zip(&mut self.painters)
            .enumerate()
            // One region may take as long as all others.
            .with_max_len(1)
            .map(|(k, (examiner, painter))| match known {
                Some(known) if !known.is_changed[k] => known.examined.findings[k].clone(),
                _ if in_force[k] => Arc::make_mut(examiner).examine(&moment, inputs, painter),
                _ => not_judged(),
            })
            .collect::<Vec<Findings>>();
        // Only a faulty frame asks which regions have ink.
        let is_faulty = findings.iter().any(|f| f.explanation != Explanation::Due);
        let has_ink = match known {
            Some(known) => known.examined.has_ink.clone(),
            None if is_faulty => self.ink(),
            None => self.in_force.clone(),
        };
        Examined { findings, has_ink }
    }

    /// Regions that would look different when blank, as of the frame examined last.
    #[must_use]
    pub fn ink(&self) -> Vec<bool> {
        let mut has_ink = self.in_force.clone();
        for (has_ink, examiner) in has_ink.iter_mut().zip(&self.regions.examiners) {
            *has_ink = *has_ink && !blank::is_uniform(examiner.due().reference());
        }
        has_ink
    }

    /// Judges the frame that was just examined.
    ///
    /// # Errors
    /// When the chain has changed.
    pub fn judge(
        &mut self,
        frame: &CapturedFrame,
        examined: Examined,
    ) -> Result<Vec<RegionVerdict>, Error> {
        let Examined {
            findings: mut found,
            has_ink,
        } = examined;
        let moment = self.moment(frame);
        let differences: Vec<Difference> = found.iter().map(|f| f.difference).collect();
        self.wrong_page = self.find_page(&moment, &found, &has_ink);
        if self.is_recorded(frame.time_s) {
            self.look_for_reversion(frame, &moment, &mut found);
        }
        match self.wrong_page {
            Some(page) => self.read_wrong_page(page, &mut found),
            None => {
                let areas = self.regions.examiners.iter().map(|e| e.area());
                foreign::tell(frame, self.display, areas, &has_ink, &mut found);
                self.break_frame(frame, &moment, &mut found);
            }
        }
        let count = |signature: Signature| {
            let is_one = Explanation::Nothing { signature };
            let regions = found.iter().zip(&has_ink);
            regions
                .filter(|(f, ink)| **ink && f.explanation == is_one)
                .count()
        };
        let told = Told {
            with_ink: has_ink.iter().filter(|h| **h).count(),
            // The wrong page, in its colours, is the display's own.
            wrong: self
                .wrong_page
                .map_or_else(|| count(Signature::Readable), |_| 0),
            blank: count(Signature::Blank),
            garbled: [Signature::Noise, Signature::LostLines, Signature::Torn]
                .map(count)
                .iter()
                .sum(),
        };
        let mut verdicts: Vec<RegionVerdict> = Vec::with_capacity(found.len());
        let is_recorded = self.is_recorded(frame.time_s);
        for (k, findings) in found.iter().enumerate() {
            let judge = &mut self.regions.judges[k];
            verdicts.push(if is_recorded && self.in_force[k] {
                judge.judge(&moment, findings, &self.inputs, &self.company)
            } else {
                RegionVerdict::not_judged()
            });
        }
        self.company
            .update(&moment, &self.regions.judges, &verdicts);
        let sight = Sight {
            subject: self.subject,
            chain: &self.chain,
            inputs: &self.inputs,
            frame,
        };
        self.chain_watch.watch(&sight, told, &mut self.painter)?;
        let is_page = self.wrong_page.is_none();
        if is_recorded && is_page && self.chain_watch.wants_colors(told, frame.time_s) {
            self.draw_due(&moment);
            let examiners = self.regions.examiners.iter();
            let known = examiners.zip(&self.in_force).filter(|(_, is)| **is);
            self.chain_watch.look_at_colors(
                self.definition,
                frame,
                told.garbled > 0,
                known.map(|(e, _)| e.due()),
            )?;
        }
        for (k, v) in verdicts.iter().enumerate() {
            if v.verdict == Verdict::Blind {
                self.blind_s[k] += self.elapsed_s;
            }
        }
        let improved = self.log.push(
            frame.index,
            frame.time_s,
            &verdicts,
            &has_ink,
            &differences,
            self.offset_s,
            matches!(self.broken, Some((Some(s), _)) if s != Signature::Readable),
            self.instead(),
        );
        self.name_alerts(&moment, &found, &verdicts);
        for s in &improved {
            let (place, symbol) = self.place(s.region, &verdicts[s.region], &differences[s.region]);
            self.log.note_place(s.region, place, symbol);
        }
        let due = self.due(frame);
        if !improved.is_empty() {
            let shared = snapshot(frame, due);
            for s in improved {
                self.best.insert(s.region, shared.clone());
            }
        }
        if self.log.calling().next().is_some() {
            self.reverted_at_s.get_or_insert(frame.time_s);
        }
        if is_recorded && self.follow_reversion(frame) {
            let page = self.reversion.as_ref().map_or(due.page, |w| w.page());
            self.apart = Some(snapshot(frame, Due { page, ..due }));
        }
        Ok(verdicts)
    }

    /// What stands there as a whole in place of what is due.
    fn instead(&self) -> Option<Instead> {
        // A display without pages has one that nothing is said of.
        let pages = self.definition.pages();
        let is_of_reversion = |k: usize| pages.get(k).is_some_and(|p| p.reversion.is_some());
        let is_due = self.pages.only().is_some_and(is_of_reversion);
        let page = self.wrong_page.map(|k| {
            if is_of_reversion(k) && !is_due {
                Instead::Reverted(k)
            } else {
                Instead::Page(k)
            }
        });
        page.or(self.exchanged.map(Instead::Exchanged))
    }

    /// Where a region disagrees, px of the capture, and the symbol that this is about: the one whose reading is off, the only
    /// one that could not be read, or the one that stands there.
    fn place(
        &self,
        region: usize,
        verdict: &RegionVerdict,
        difference: &Difference,
    ) -> (Option<Rect>, Option<String>) {
        let examiner = &self.regions.examiners[region];
        let is_any = difference.luma.px() + difference.chroma.px() > 0;
        let place = is_any.then(|| place::place_of(difference, examiner.area(), &self.chain));
        let is_off = verdict.readings.iter().find(|r| r.is_outside);
        let read = is_off.map(|r| examiner.freedoms()[r.freedom].symbol);
        let there = || {
            let inputs = examiner.inputs_due();
            place::symbol_at(
                self.subject,
                region,
                (place?, difference),
                &self.chain,
                inputs,
            )
        };
        let symbol = read.or_else(|| unread(examiner, verdict)).or_else(there);
        let words = symbol.map(|k| place::symbol_in_words(self.definition, region, k));
        (place, words)
    }

    /// Regions whose event is open and confirmed.
    #[must_use]
    pub fn raised(&self) -> Vec<usize> {
        self.log.raised().collect()
    }

    /// The events so far, what is open ended here.
    #[must_use]
    pub fn events(&self) -> Vec<Event> {
        let mut events = self.log.clone().finish();
        events.extend(self.reversion.iter().flat_map(ReversionWatch::events));
        events.extend(self.beside.clone().into_iter().flat_map(Comparison::finish));
        events.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
        for event in &mut events {
            event.things = self.things(event);
        }
        events
    }

    /// The region examiners, in the order of the definition.
    pub fn examiners(&self) -> impl ExactSizeIterator<Item = &RegionExaminer<'d>> {
        self.regions.examiners.iter().map(Arc::as_ref)
    }

    /// Frames that were judged.
    pub(super) const fn frames(&self) -> u64 {
        self.frames
    }

    /// Hands over the pictures of the events that are still open.
    pub(super) fn flush(&mut self, sink: &mut dyn Sink) -> Result<(), Error> {
        for k in self.log.raised().collect::<Vec<_>>() {
            if let Some(s) = self.best.remove(&k) {
                sink.snapshot(&s)?;
            }
        }
        Ok(())
    }

    /// Draws the references that are due, where that has not been done.
    fn draw_due(&mut self, moment: &Moment) {
        let examiners = self.regions.examiners.iter_mut().zip(&mut self.painters);
        for ((e, painter), is_in_force) in examiners.zip(&self.in_force) {
            if *is_in_force && !e.is_drawn_for(moment) {
                Arc::make_mut(e).draw_due(&self.inputs, painter);
            }
        }
    }

    /// When several regions show a picture that nothing explains: is it the frame that is broken? Lines that
    /// are lost or displaced over the whole frame look like a wrong picture in a region that they cover.
    fn break_frame(&mut self, frame: &CapturedFrame, moment: &Moment, found: &mut [Findings]) {
        self.part_frame(found);
        let is_unexplained = |f: &Findings| matches!(f.explanation, Explanation::Nothing { signature } if signature != Signature::Blank);
        let unexplained = found.iter().filter(|f| is_unexplained(f)).count();
        if unexplained < BROKEN_REGIONS {
            (self.broken, self.exchanged) = (None, None);
            return;
        }
        let mut looked_s = frame.time_s;
        let signature = match self.broken {
            Some((signature, last_s)) if frame.time_s - last_s < RETOLD_S => {
                looked_s = last_s;
                signature
            }
            _ => {
                self.draw_due(moment);
                let mut captured = Cow::Borrowed(&frame.picture.planes()[0]);
                let mut unknown = self.outside.clone();
                for area in &unknown {
                    captured.to_mut().fill(*area, 0);
                    self.whole.fill(*area, 0);
                }
                for (k, e) in self.regions.examiners.iter().enumerate() {
                    if self.in_force[k] {
                        e.due().copy_luma_to(&mut self.whole);
                    } else if self.definition.pages_of(k).meets(self.pages) {
                        unknown.push(e.area());
                        captured.to_mut().fill(e.area(), 0);
                        self.whole.fill(e.area(), 0);
                    }
                }
                self.exchanged = halves::exchanged(&captured, &self.whole, self.display);
                let captured = View::whole(&captured);
                let reference = View::whole(&self.whole);
                if self.exchanged.is_some() {
                    Some(Signature::Readable)
                } else if signature::has_lost_lines(captured, reference) {
                    Some(Signature::LostLines)
                } else if signature::is_torn(
                    captured,
                    reference,
                    &unknown,
                    signature::FRAME_BAND_PX,
                ) {
                    Some(Signature::Torn)
                } else {
                    None
                }
            }
        };
        self.broken = Some((signature, looked_s));
        let Some(signature) = signature else { return };
        // What is empty in the half that stands there instead is not blank.
        let is_exchanged = self.exchanged.is_some();
        let is_nothing = |f: &Findings| matches!(f.explanation, Explanation::Nothing { .. });
        let is_part = |f: &Findings| is_unexplained(f) || (is_exchanged && is_nothing(f));
        for f in found.iter_mut().filter(|f| is_part(f)) {
            f.explanation = Explanation::Nothing { signature };
        }
    }

    /// A frame that is torn in time where one region stands is torn as a whole: the regions of its older
    /// part show old data for that reason.
    fn part_frame(&self, found: &mut [Findings]) {
        let Some((line, is_other_below)) = self.regions.examiners.iter().find_map(|e| e.parting())
        else {
            return;
        };
        for (f, examiner) in found.iter_mut().zip(&self.regions.examiners) {
            let area = examiner.area();
            let is_older_part = if is_other_below {
                area.y >= line
            } else {
                area.bottom() <= line
            };
            if is_older_part && matches!(f.explanation, Explanation::OtherTime { .. }) {
                f.explanation = Explanation::Nothing {
                    signature: Signature::Torn,
                };
            }
        }
    }
}

fn snapshot(frame: &CapturedFrame, due: Due) -> Snapshot {
    Snapshot {
        frame: frame.index,
        time_s: frame.time_s,
        captured: Arc::new(frame.picture.clone()),
        due,
    }
}

pub(super) fn whole(definition: &Definition, verdicts: &[RegionVerdict]) -> Verdict {
    verdict::of_frame(definition, verdicts.iter().map(|v| v.verdict))
}

/// The verdict as it stands in the records.
pub(super) fn key(verdict: Verdict) -> String {
    name(verdict).replace(' ', "_")
}

pub(super) fn not_judged() -> Findings {
    Findings {
        explanation: Explanation::Due,
        data_span_s: None,
        difference: Default::default(),
        readings: Vec::new(),
        hidden: Vec::new(),
        digits: Vec::new(),
        liveness: None,
        is_unchanged: true,
    }
}

/// The only symbol of a readable picture that moves and of which nothing could be read.
fn unread(examiner: &RegionExaminer, verdict: &RegionVerdict) -> Option<usize> {
    if verdict.verdict != Verdict::Misleading || verdict.readings.is_empty() {
        return None;
    }
    let is_read = |k: usize| verdict.readings.iter().any(|r| r.freedom == k);
    let freedoms = examiner.freedoms().iter().enumerate();
    let lost = freedoms.filter(|(k, _)| !is_read(*k) && examiner.px_per_unit(*k) > 0.0);
    let mut symbols = lost.map(|(_, f)| f.symbol);
    let first = symbols.next()?;
    symbols.all(|s| s == first).then_some(first)
}
