//! A check under way: frame by frame from what is found to verdicts, events and the summary.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::capture::CapturedFrame;
use crate::capture::StreamInfo;
use crate::capture::profile::Profile;
use crate::definition::Definition;
use crate::evidence::records::{
    CAUTION, FrameRecord, RECORDS_VERSION, ReadingRecord, RegionRecord, Summary, rounded,
};
use crate::examine::comparison::ChainLook;
use crate::examine::region::{Explanation, Findings, Moment, RegionExaminer};
use crate::examine::register::{self, FrameReference};
use crate::examine::signature::{self, Signature};
use crate::examine::subject::Subject;
use crate::examine::view::View;
use crate::judge::company::Company;
use crate::judge::events::{Action, EventLog, action, name};
use crate::judge::region::{RegionJudge, RegionVerdict};
use crate::judge::verdict::{self, Verdict};
use crate::picture::Plane;
use crate::recording::Recording;
use crate::recording::inputs::{Inputs, Value};
use crate::reference::painter::Painter;

use super::stretch::{CHAIN_LEVELS, CHAIN_SHIFT_PX};
use super::{Error, Outcome, RegionState, Seen, Sink, Snapshot};

/// Frames in a row in which nearly all regions disagree, after which the chain is looked at.
const CHAIN_SUSPECT: u32 = 8;
/// Share of regions with ink that make it nearly all.
const CHAIN_SHARE: f64 = 0.7;
/// Regions that must show a picture that nothing explains before the whole frame is looked at.
const BROKEN_REGIONS: usize = 3;
/// Frames between such looks.
const BROKEN_EVERY: u32 = 3;

struct Regions<'d> {
    examiners: Vec<RegionExaminer<'d>>,
    judges: Vec<RegionJudge>,
}

pub(super) struct Run<'d> {
    definition: &'d Definition,
    subject: Subject<'d>,
    recording: &'d Recording,
    chain: ChainLook,
    regions: Regions<'d>,
    log: EventLog<'d>,
    painter: Painter,
    /// By region, so that regions are examined side by side.
    painters: Vec<Painter>,
    offset_s: f64,
    latency_s: f64,
    last_time_s: Option<f64>,
    first_time_s: f64,
    interval_s: f64,
    frames: u64,
    inputs: Inputs,
    company: Company,
    counts: Vec<BTreeMap<String, u64>>,
    frame_counts: BTreeMap<String, u64>,
    blind_s: Vec<f64>,
    best: BTreeMap<usize, Snapshot>,
    suspect: u32,
    /// What the whole frame was found to be, and how many frames ago.
    broken: Option<(Option<Signature>, u32)>,
    /// Luma of the whole reference frame.
    whole: Plane,
    reverted_at_s: Option<f64>,
}

impl<'d> Run<'d> {
    #[expect(
        clippy::too_many_arguments,
        reason = "called once, with all that a run needs"
    )]
    pub(super) fn new(
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
        let examiners: Vec<RegionExaminer> = (0..count)
            .map(|k| RegionExaminer::new(subject, k, chain, size, &mut painter))
            .collect();
        let judges = examiners
            .iter()
            .enumerate()
            .map(|(k, e)| RegionJudge::new(definition, k, e.freedoms(), e.channels()))
            .collect();
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
            latency_s,
            last_time_s: None,
            first_time_s: 0.0,
            interval_s: 0.04,
            frames: 0,
            inputs: Inputs::default(),
            company: Company::default(),
            counts: vec![BTreeMap::new(); count],
            frame_counts: BTreeMap::new(),
            blind_s: vec![0.0; count],
            best: BTreeMap::new(),
            suspect: 0,
            broken: None,
            whole,
            reverted_at_s: None,
        }
    }

    pub(super) fn frame(
        &mut self,
        frame: &CapturedFrame,
        before: &CapturedFrame,
        sink: &mut dyn Sink,
    ) -> Result<(), Error> {
        if let Some(last) = self.last_time_s {
            self.interval_s = (frame.time_s - last).clamp(0.001, 0.2);
        } else {
            self.first_time_s = frame.time_s;
        }
        self.last_time_s = Some(frame.time_s);
        let moment = Moment {
            frame: &frame.picture,
            recording: self.recording,
            time_s: frame.time_s + self.offset_s,
            likely_s: self.company.data_time_s(frame.time_s + self.offset_s),
            latency_s: self.latency_s,
            interval_s: self.interval_s,
        };
        self.recording
            .inputs_at(moment.due_time_s(), &mut self.inputs);
        let count = self.regions.examiners.len();
        let examiners = &mut self.regions.examiners;
        // A region whose channels are missing is not judged, and counts as having no ink.
        let mut has_ink: Vec<bool> = examiners
            .iter()
            .map(|e| {
                let mut channels = e.channels().iter();
                channels.all(|c| *self.inputs.value(*c) != Value::Missing)
            })
            .collect();
        let mut found: Vec<Findings> = examiners
            .par_iter_mut()
            .zip(&mut self.painters)
            .zip(&has_ink)
            .map(|((examiner, painter), is_judged)| {
                if *is_judged {
                    examiner.examine(&moment, painter)
                } else {
                    not_judged()
                }
            })
            .collect();
        let sizes: Vec<f64> = found.iter().map(|f| f.difference.size() as f64).collect();
        // Only a faulty frame asks which regions have ink.
        if found.iter().any(|f| f.explanation != Explanation::Due) {
            for (k, examiner) in self.regions.examiners.iter().enumerate() {
                has_ink[k] &= !signature::is_uniform(examiner.due().reference());
            }
        }
        self.break_frame(frame, &mut found);
        let with_ink = has_ink.iter().filter(|h| **h).count();
        let is_wrong = |f: &Findings| {
            matches!(
                f.explanation,
                Explanation::Nothing {
                    signature: Signature::Readable
                }
            )
        };
        let wrong = found
            .iter()
            .zip(&has_ink)
            .filter(|(f, ink)| **ink && is_wrong(f))
            .count();
        let mut verdicts: Vec<RegionVerdict> = Vec::with_capacity(count);
        for (k, findings) in found.iter().enumerate() {
            let v = self.regions.judges[k].judge(&moment, findings, &self.inputs, &self.company);
            verdicts.push(v);
        }
        self.company
            .update(&moment, &self.regions.judges, &verdicts);
        self.watch_chain(frame, wrong, with_ink)?;
        let whole = verdict::of_frame(verdicts.iter().map(|v| v.verdict));
        *self.frame_counts.entry(key(whole)).or_default() += 1;
        for (k, v) in verdicts.iter().enumerate() {
            *self.counts[k]
                .entry(name(v.verdict).to_owned())
                .or_default() += 1;
            if v.verdict == Verdict::Blind {
                self.blind_s[k] += self.interval_s;
            }
        }
        let was_raised: Vec<usize> = self.log.raised().collect();
        let open_before = was_raised.len();
        let improved = self.log.push(
            frame.index,
            frame.time_s,
            &verdicts,
            &has_ink,
            &sizes,
            self.offset_s,
            self.broken.is_some_and(|(s, _)| s.is_some()),
        );
        if !improved.is_empty() {
            let shared = Arc::new(frame.picture.clone());
            for s in improved {
                let snapshot = Snapshot {
                    frame: frame.index,
                    time_s: frame.time_s,
                    captured: Arc::clone(&shared),
                    due_time_s: moment.due_time_s(),
                };
                self.best.insert(s.region, snapshot);
            }
        }
        let now_raised: Vec<usize> = self.log.raised().collect();
        let regions: Vec<RegionState> = (0..count)
            .map(|k| RegionState {
                is_open: self.log.is_open(k),
                is_raised: now_raised.contains(&k),
                is_faulty: verdicts[k].verdict.is_faulty(),
            })
            .collect();
        sink.seen(&Seen {
            frame,
            before: (self.frames > 0).then_some(before),
            due_time_s: moment.due_time_s(),
            regions: &regions,
        })?;
        if now_raised.len() > open_before && self.reverted_at_s.is_none() {
            let reverts = now_raised
                .iter()
                .any(|k| action(self.definition.regions()[*k].hazard) == Action::Revert);
            if reverts {
                self.reverted_at_s = Some(frame.time_s);
            }
        }
        for k in was_raised {
            if !now_raised.contains(&k)
                && let Some(s) = self.best.remove(&k)
            {
                sink.snapshot(&s)?;
            }
        }
        let record = self.record(frame, whole, &verdicts);
        sink.frame(&record)?;
        self.frames += 1;
        Ok(())
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

    /// When several regions show a picture that nothing explains: is it the frame that is broken? Lines that
    /// are lost or displaced over the whole frame look like a wrong picture in a region that they cover.
    fn break_frame(&mut self, frame: &CapturedFrame, found: &mut [Findings]) {
        self.part_frame(found);
        let is_unexplained = |f: &Findings| matches!(f.explanation, Explanation::Nothing { signature } if signature != Signature::Blank);
        let unexplained = found.iter().filter(|f| is_unexplained(f)).count();
        if unexplained < BROKEN_REGIONS {
            self.broken = None;
            return;
        }
        // Looked at anew every few frames: it costs as much as all regions together.
        let age = self.broken.map_or(0, |(_, age)| age + 1);
        let signature = match self.broken {
            Some((signature, _)) if !age.is_multiple_of(BROKEN_EVERY) => signature,
            _ => {
                for e in &self.regions.examiners {
                    e.due().copy_luma_to(&mut self.whole);
                }
                let captured = View::whole(&frame.picture.planes()[0]);
                let reference = View::whole(&self.whole);
                if signature::has_lost_lines(captured, reference) {
                    Some(Signature::LostLines)
                } else if signature::is_torn(captured, reference, signature::FRAME_BAND_PX) {
                    Some(Signature::Torn)
                } else {
                    None
                }
            }
        };
        self.broken = Some((signature, age));
        let Some(signature) = signature else { return };
        for f in found.iter_mut().filter(|f| is_unexplained(f)) {
            f.explanation = Explanation::Nothing { signature };
        }
    }

    /// A frame that is torn in time where one region stands is torn as a whole: the regions of its older
    /// part show old data for that reason.
    fn part_frame(&self, found: &mut [Findings]) {
        let Some((line, is_older_below)) = self
            .regions
            .examiners
            .iter()
            .find_map(RegionExaminer::parting)
        else {
            return;
        };
        for (f, examiner) in found.iter_mut().zip(&self.regions.examiners) {
            let area = examiner.area();
            let is_older_part = if is_older_below {
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

    /// When nearly all regions disagree for a while: is it the chain?
    fn watch_chain(
        &mut self,
        frame: &CapturedFrame,
        wrong: usize,
        with_ink: usize,
    ) -> Result<(), Error> {
        let is_suspect = with_ink >= 2 && wrong as f64 >= CHAIN_SHARE * with_ink as f64;
        self.suspect = if is_suspect { self.suspect + 1 } else { 0 };
        if self.suspect != CHAIN_SUSPECT {
            return Ok(());
        }
        let planes = (self.chain.subsampling, self.chain.siting);
        let look = self.chain.look;
        let found = register::register(
            self.subject,
            &self.inputs,
            &look,
            planes,
            &frame.picture,
            &mut self.painter,
        );
        let first = frame.index + 1 - u64::from(CHAIN_SUSPECT);
        if let Some(r) = found {
            let (g, h) = (r.geometry, look.geometry);
            let size = (frame.picture.width() as f64, frame.picture.height() as f64);
            let moved_x = [g.x(0.0) - h.x(0.0), g.x(size.0) - h.x(size.0)];
            let moved_y = [g.y(0.0) - h.y(0.0), g.y(size.1) - h.y(size.1)];
            if moved_x
                .iter()
                .chain(&moved_y)
                .any(|v| v.abs() > CHAIN_SHIFT_PX)
            {
                return Err(Error::Chain(format!(
                    "the capture chain changed at frame {first}: the whole picture is displaced by up to {:.2} px in x and {:.2} px in y; frames {first}.. are not judged",
                    moved_x.iter().fold(0.0f64, |m, v| m.max(v.abs())),
                    moved_y.iter().fold(0.0f64, |m, v| m.max(v.abs())),
                )));
            }
            let size = (frame.picture.width(), frame.picture.height());
            let reference = FrameReference::draw(
                self.subject,
                &self.inputs,
                &look,
                planes,
                size,
                &mut self.painter,
            );
            let mut fit = register::ColorFit::default();
            fit.add(&frame.picture, &reference);
            let map = fit.map();
            let change = register::largest_change(&map, self.definition, look.encoding);
            if change > CHAIN_LEVELS && fit.is_explained_by(&map) {
                return Err(Error::Chain(format!(
                    "the capture chain changed at frame {first}: the colours of the whole picture differ by up to {change:.0} levels (matrix, range or gain); frames {first}.. are not judged"
                )));
            }
        }
        Ok(())
    }

    fn record(
        &self,
        frame: &CapturedFrame,
        whole: Verdict,
        verdicts: &[RegionVerdict],
    ) -> FrameRecord {
        let regions = self.definition.regions();
        let channels = self.definition.channels();
        FrameRecord {
            frame: frame.index,
            time_s: rounded(frame.time_s),
            crc32: frame.crc32,
            verdict: whole,
            regions: verdicts
                .iter()
                .enumerate()
                .map(|(k, v)| {
                    let freedoms = self.regions.examiners[k].freedoms();
                    let fitted = v.readings.iter().map(|r| {
                        let f = &freedoms[r.freedom];
                        let (channel, model) = &channels[f.channel.0];
                        ReadingRecord {
                            channel: channel.clone(),
                            what: f.what.to_owned(),
                            displayed: rounded(r.displayed),
                            expected: rounded(r.expected),
                            error: rounded(r.error),
                            standard_error: rounded(r.standard_error),
                            unit: model.unit.clone(),
                            px_per_unit: Some(rounded(r.px_per_unit)),
                        }
                    });
                    let written = v.digits.iter().map(|d| {
                        let (channel, model) = &channels[d.channel.0];
                        ReadingRecord {
                            channel: channel.clone(),
                            what: d.what.to_owned(),
                            displayed: rounded(d.displayed),
                            expected: rounded(d.expected),
                            error: rounded(d.error()),
                            // Uniform within a step of the last digit.
                            standard_error: rounded(d.resolution / 12f64.sqrt()),
                            unit: model.unit.clone(),
                            px_per_unit: None,
                        }
                    });
                    let readings = fitted.chain(written).collect();
                    let record = RegionRecord {
                        verdict: v.verdict,
                        staleness_ms: v.staleness_s.map(|s| rounded(s * 1000.0)),
                        staleness_se_ms: v.staleness_se_s.map(|s| rounded(s * 1000.0)),
                        readings,
                    };
                    (regions[k].id.clone(), record)
                })
                .collect(),
        }
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "called once, with all that the summary holds"
    )]
    pub(super) fn finish(
        self,
        info: StreamInfo,
        profile: Profile,
        profile_from: String,
        (offset_s, offset_from): (f64, String),
        notes: Vec<String>,
        error: Option<Error>,
        recording: &Recording,
    ) -> Outcome {
        let regions = self.definition.regions();
        let missing = recording.missing_channels();
        let not_judged: BTreeMap<String, String> = regions
            .iter()
            .filter_map(|r| {
                let lacks: Vec<&str> = r
                    .channels_used()
                    .into_iter()
                    .filter(|c| missing.iter().any(|m| m == c))
                    .collect();
                (!lacks.is_empty()).then(|| {
                    (
                        r.id.clone(),
                        format!("the recording lacks {}", lacks.join(", ")),
                    )
                })
            })
            .collect();
        let span_s = self
            .last_time_s
            .map(|last| [rounded(self.first_time_s), rounded(last)]);
        let events = self.log.finish();
        let mut by_class: BTreeMap<String, u64> = BTreeMap::new();
        for e in &events {
            *by_class.entry(key(e.class)).or_default() += 1;
        }
        let all_not_judged = not_judged.len() == regions.len();
        let result = if !events.is_empty() {
            "faults found"
        } else if error.is_some() || all_not_judged {
            "not judged"
        } else {
            "agrees"
        };
        let summary = Summary {
            records_version: RECORDS_VERSION,
            tool: format!("framevouch {}", env!("CARGO_PKG_VERSION")),
            caution: CAUTION.into(),
            display: self.definition.file().display.name.clone(),
            result: result.into(),
            frames: self.frames,
            span_s,
            events: by_class,
            frame_verdicts: self.frame_counts,
            region_verdicts: regions
                .iter()
                .zip(self.counts)
                .map(|(r, c)| (r.id.clone(), c))
                .collect(),
            blind_s: regions
                .iter()
                .zip(&self.blind_s)
                .map(|(r, s)| (r.id.clone(), rounded(*s)))
                .collect(),
            not_judged,
            unchecked_px: crate::definition::lint::uncovered_px(self.definition),
            offset_s: rounded(offset_s),
            offset_from,
            profile,
            profile_from,
            capture: info,
            reverted_at_s: self.reverted_at_s.map(rounded),
            error: error.as_ref().map(ToString::to_string),
            notes,
        };
        Outcome {
            events,
            summary,
            error,
        }
    }
}

/// The verdict as it stands in the records.
fn key(verdict: Verdict) -> String {
    name(verdict).replace(' ', "_")
}

fn not_judged() -> Findings {
    Findings {
        explanation: Explanation::Due,
        difference: Default::default(),
        wrong_cells: Vec::new(),
        readings: Vec::new(),
        digits: Vec::new(),
        liveness: None,
        is_unchanged: true,
    }
}
