//! One trial: a fault is put in at a moment of a stretch, and what the check says of it is held against
//! what is true.

use std::sync::Arc;

use image::RgbImage;

use super::nearness::Nearness;
use super::plan::{Onset, Plan};
use super::records::{Outcome, Outcomes, TrialRecord, Why, letter};
use super::sight::{Sight, VISIBLE_LEVELS, VISIBLE_PX, is_shown, is_visible, sight};
use super::stretch::{Moment, Stretch};
use super::trials::{Trial, seed_of};
use crate::capture::CapturedFrame;
use crate::chain::register::FrameReference;
use crate::check::Error as CheckError;
use crate::check::beside::Beside;
use crate::check::run::{Known, Run};
use crate::definition::Definition;
use crate::definition::model::Hazard;
use crate::evidence::measurements::{Header, Measured};
use crate::evidence::pictures;
use crate::evidence::records::rounded;
use crate::inject::{
    self, Clip, Delivery, Fault, Group, Injector, Method, Model, Target, Watch, paint,
};
use crate::judge::event::{Action, Event, name};
use crate::judge::region::RegionVerdict;
use crate::judge::verdict::{self, Verdict};
use crate::picture::{Picture, Rect};
use crate::recording::inputs::{ChannelId, Inputs};
use crate::reference::painter::Painter;

/// Time after the end of a fault in which it may still be raised, s.
pub const AFTER_S: f64 = 0.6;
/// Space round the place of a fault in its picture, px.
const MARGIN_PX: i32 = 16;

/// What came of one trial.
pub struct Done {
    /// Its record.
    pub record: TrialRecord,
    /// What was measured in it.
    pub measured: Measured,
    /// The picture of a miss.
    pub picture: Option<RgbImage>,
}

/// Runs `trial` at a moment of `stretch` where it can begin; `None` when it can begin at none.
#[must_use]
pub fn run(plan: &Plan, stretch: &Stretch, trial: &Trial) -> Option<Done> {
    let model = inject::model(trial.fault.kind)?;
    let spec = &plan.fault[trial.spec];
    let count = stretch.moments.len();
    // Another order of the moments for each trial.
    let first = seed_of(trial.fault.seed, 1) as usize % count.max(1);
    (0..count)
        .map(|k| &stretch.moments[(first + k) % count])
        .find_map(|moment| {
            let clip = stretch.clip(moment.onset, spec.duration_s);
            let until_s = clip.frames[moment.onset].time_s + spec.duration_s;
            if clip.frames.last()?.time_s < until_s {
                return None;
            }
            if !is_shown(&clip, trial.fault.target, until_s)
                || !is_compared(model, stretch, &clip, trial.fault.target, until_s)
            {
                return None;
            }
            if spec.onset == Onset::Visible
                && !is_visible(model, &clip, moment, &trial.fault, spec.duration_s)
            {
                return None;
            }
            let (fault, change) = if trial.is_twin {
                let (twin, words) = model.twin(&clip, &trial.fault)?;
                // Pixels of another moment would bring along the other channels of that moment.
                let twin = Fault {
                    method: Method::Redraw,
                    ..twin
                };
                (twin, Some(words))
            } else {
                (trial.fault.clone(), None)
            };
            let model = inject::model(fault.kind)?;
            let put_in = PutIn {
                model,
                injector: model.prepare(&clip, &fault)?,
                fault: &fault,
                change,
            };
            Some(carry_out(plan, stretch, moment, trial, put_in))
        })
}

/// Regions that are examined from the onset on, of so many: those that the fault strikes. Their pixels may be the
/// clean ones for a while (a readout that stands still before its value changes), but what is told later rests
/// on when they were last looked at.
#[must_use]
pub fn struck(target: Target, count: usize) -> Vec<bool> {
    (0..count)
        .map(|k| target.region.is_none_or(|region| region == k))
        .collect()
}

/// Whether what stands beside it shows the channel of a fault that needs that, from the onset until `until_s`.
fn is_compared(
    model: &dyn Model,
    stretch: &Stretch,
    clip: &Clip,
    target: Target,
    until_s: f64,
) -> bool {
    let is_shown = |(beside, channel): (&Arc<Beside>, ChannelId)| {
        let span_s = [clip.frames[clip.onset].time_s, until_s].map(|s| s + clip.offset_s);
        beside.shows(&clip.definition().channels()[channel.0].0, span_s)
    };
    model.about().watch != Watch::Beside
        || (stretch.material.beside.zip(target.channel)).is_some_and(is_shown)
}

/// The check of a moment, that watches besides what a fault of this kind needs.
fn begun<'a>(
    moment: &Moment<'a>,
    stretch: &Stretch<'a>,
    model: &dyn Model,
    clip: &Clip,
    fault: &Fault,
) -> Run<'a> {
    let mut check = moment.run.clone();
    check.compare_no_more();
    if model.about().watch == Watch::Reversion {
        check.expect_reversions();
    }
    if let Some((beside, lean)) = stretch.material.beside.zip(model.lean(clip, fault)) {
        check.compare_with(Arc::new(beside.leaning(&lean.channel, lean.by)));
    }
    check
}

/// What is put into a clip.
struct PutIn<'a> {
    model: &'a dyn Model,
    injector: Box<dyn Injector>,
    fault: &'a Fault,
    /// What it is in words, where it is a harmless change.
    change: Option<&'static str>,
}

fn carry_out(
    plan: &Plan,
    stretch: &Stretch,
    moment: &Moment,
    trial: &Trial,
    put_in: PutIn,
) -> Done {
    let PutIn {
        model,
        mut injector,
        fault,
        change,
    } = put_in;
    let spec = &plan.fault[trial.spec];
    let definition = stretch.material.subject.definition();
    let clip = stretch.clip(moment.onset, spec.duration_s);
    let areas: Vec<Rect> = (0..definition.regions().len())
        .map(|k| {
            clip.area(Target {
                region: Some(k),
                ..Target::default()
            })
        })
        .collect();
    let onset_s = clip.frames[moment.onset].time_s;
    let end_s = onset_s + spec.duration_s;
    let watch = model.about().watch;
    let mut check = begun(moment, stretch, model, &clip, fault);
    let mut is_examined = struck(fault.target, areas.len());
    let mut is_changed = vec![false; areas.len()];
    let mut is_seen = is_changed.clone();
    let header = Header::of(definition, &check);
    let mut told = Told {
        definition,
        region: fault.target.region,
        tolerances: header.tolerances(),
        is_struck: is_examined.clone(),
        measured: Measured::with(&header, Some(trial.number), trial.capture),
        nearness: Nearness::new(),
        letters: String::new(),
    };
    let mut frame = CapturedFrame::new();
    let mut last = clip.frames[moment.onset - 1].clone();
    let mut changed_px = 0;
    let mut middle: Option<(usize, Picture)> = None;
    let mut chain_s = None;
    let mut chain_frame = None;
    let mut raised_s = None;
    let is_of_chain = !trial.is_twin && model.is_of_chain(fault);
    // A page that is not due was not looked at where nothing was wrong.
    if watch == Watch::Reversion {
        is_examined.fill(true);
    }
    let is_raised = |check: &Run| match watch {
        Watch::Place => !check.raised().is_empty(),
        watch => check.events().iter().any(|e| watch.tells(e)),
    };
    for k in moment.onset..clip.frames.len() {
        let clean = &clip.frames[k];
        let is_faulty = clean.time_s < end_s - 1e-6;
        // What is raised by the end of the fault is told; only what is not may still be.
        let is_told = || trial.is_twin || is_raised(&check);
        if clean.time_s > end_s + AFTER_S || (!is_faulty && is_told()) {
            break;
        }
        frame.clone_from(clean);
        if is_faulty {
            if injector.apply(&clip, k, &mut frame) == Delivery::Lost {
                // The crew goes on seeing the frame before.
                is_changed.fill(true);
                for (seen, moves) in is_seen.iter_mut().zip(&moment.moves) {
                    *seen |= moves;
                }
                continue;
            }
            if k == moment.onset {
                let area = clip.area(fault.target);
                changed_px =
                    paint::differing_px(&clean.picture, &frame.picture, area, VISIBLE_LEVELS);
            }
            if middle.is_none() && clean.time_s >= (onset_s + end_s) / 2.0 {
                middle = Some((k, frame.picture.clone()));
            }
        }
        let is_other_time = frame.time_s != clean.time_s;
        for (changed, area) in is_changed.iter_mut().zip(&areas) {
            *changed = *changed
                || is_other_time
                || (is_faulty && !paint::is_same(&clean.picture, &frame.picture, *area));
        }
        if fault.target.region.is_none() && is_faulty {
            for (seen, area) in is_seen.iter_mut().zip(&areas) {
                *seen = *seen
                    || is_other_time
                    || paint::differing_px(&clean.picture, &frame.picture, *area, VISIBLE_LEVELS)
                        >= VISIBLE_PX;
            }
        }
        for (examined, changed) in is_examined.iter_mut().zip(&is_changed) {
            *examined |= *changed;
        }
        let known = Known {
            examined: &stretch.examined[k],
            is_changed: &is_examined,
        };
        let judged = check
            .hold(&last, frame.time_s, |time_s, verdicts| {
                told.take(time_s, verdicts, is_faulty);
                Ok(())
            })
            .and_then(|()| {
                let examined = check.examine(&frame, Some(known));
                if is_faulty {
                    told.nearness.find(&examined, &told.is_struck);
                }
                check.judge(&frame, examined)
            });
        match judged {
            Ok(verdicts) => {
                check.compare(&frame, &verdicts);
                told.take(frame.time_s, &verdicts, is_faulty);
            }
            Err(CheckError::Chain { since_frame, .. }) => {
                chain_s = Some(frame.time_s);
                chain_frame = since_frame;
                break;
            }
            // Nothing else can happen: nothing is read or written here.
            Err(_) => break,
        }
        std::mem::swap(&mut frame, &mut last);
        let frame = &last;
        if fault.target.region.is_none() && !is_of_chain && !check.raised().is_empty() {
            let since_s = *raised_s.get_or_insert(frame.time_s);
            if frame.time_s - since_s >= plan.plan.settle_s {
                break;
            }
        }
    }
    told.measured.keep(&is_changed);
    let is_struck_alone = |e: &Event| {
        let struck = fault.target.region.map(|k| &definition.regions()[k].id);
        e.regions.iter().all(|id| Some(id) == struck)
    };
    let events: Vec<Event> = check
        .events()
        .into_iter()
        // What calls for a reversion has to be raised first, and is another matter.
        .filter(|e| watch != Watch::Reversion || watch.tells(e) || !is_struck_alone(e))
        .filter(|e| e.detected_s >= onset_s - 1e-6)
        // As the check itself: what another chain shows is no fault of the display.
        .filter(|e| chain_frame.is_none_or(|f| e.first_frame < f))
        .collect();
    let permitted = model.permitted(&clip, fault.target);
    let sight = match model.prepare(&clip, fault) {
        Some(mut own) if !is_of_chain => {
            let harmless = what_is_permitted(model, &clip, fault, permitted);
            sight(&clip, fault, end_s, &mut *own, harmless)
        }
        _ => Sight::default(),
    };
    let scene = Scene {
        definition,
        model,
        fault,
        permitted,
        sight,
        is_harmless: trial.is_twin,
        is_changed: &is_changed,
        is_seen: &is_seen,
        events: &events,
        chain_s,
        onset_s,
        letters: &told.letters,
        changed_px,
        nearness: &told.nearness,
    };
    let mut outcome = scene.outcome();
    outcome.limit_ms = plan.limit_ms.get(&scene.hazard()).copied();
    let picture = match (&outcome.result, &middle) {
        (Outcomes::Detected | Outcomes::Quiet, _) | (_, None) => None,
        (_, Some((k, picture))) => {
            outcome.picture = Some(picture_name(trial.number));
            Some(miss_picture(&clip, *k, picture, fault.target))
        }
    };
    let planned = inject::model(trial.fault.kind);
    let axis = model.about().axis;
    let record = TrialRecord {
        trial: trial.number,
        kind: trial.fault.kind.to_owned(),
        group: match planned.map(|m| m.about().group) {
            Some(Group::Value) => "value",
            Some(Group::Signal) => "signal",
            _ => "picture",
        }
        .to_owned(),
        is_twin: trial.is_twin,
        region: scene.region_id(),
        symbol: fault.target.symbol,
        channel: fault
            .target
            .channel
            .map(|c| definition.channels()[c.0].0.clone()),
        hazard: scene.hazard(),
        size: axis.map(|_| rounded(fault.size)),
        unit: axis.map(|a| a.unit.to_owned()),
        permitted: permitted.map(rounded),
        is_brief: sight.is_brief,
        look: (model.about().looks.get(fault.look)).map(|l| (*l).to_owned()),
        change: change.map(str::to_owned),
        method: fault.method,
        seed: fault.seed,
        capture: trial.capture,
        onset_frame: clip.frames[moment.onset].index,
        onset_s: rounded(onset_s),
        duration_s: rounded(spec.duration_s),
        onset: spec.onset,
        changed_px,
        outcome,
    };
    Done {
        record,
        measured: told.measured,
        picture,
    }
}

/// What of a fault is permitted: its values as far as they are within their tolerance, or the same at its `permitted` size.
fn what_is_permitted(
    model: &dyn Model,
    clip: &Clip,
    fault: &Fault,
    permitted: Option<f64>,
) -> Option<Box<dyn Injector>> {
    let mut own = model.prepare(clip, fault)?;
    if own.keep_within(clip) {
        return Some(own);
    }
    let size = permitted.filter(|size| *size < fault.size)?;
    let smaller = Fault {
        size,
        ..fault.clone()
    };
    model.prepare(clip, &smaller)
}

/// The picture of a trial that was missed, from the folder of results.
pub(super) fn picture_name(trial: u64) -> String {
    format!("misses/trial_{trial:06}.png")
}

/// What is told of a trial, frame after frame.
struct Told<'a> {
    definition: &'a Definition,
    /// Region that is struck; `None` for the whole frame.
    region: Option<usize>,
    /// By region and reading; 0 where there is none.
    tolerances: Vec<Vec<f64>>,
    is_struck: Vec<bool>,
    measured: Measured,
    nearness: Nearness,
    /// Verdicts of what is struck.
    letters: String,
}

impl Told<'_> {
    fn take(&mut self, time_s: f64, verdicts: &[RegionVerdict], is_faulty: bool) {
        self.measured.push(time_s, verdicts);
        if is_faulty {
            self.nearness
                .judge(verdicts, &self.tolerances, &self.is_struck);
        }
        let shown = match self.region {
            Some(r) => verdicts[r].verdict,
            None => verdict::of_frame(self.definition, verdicts.iter().map(|v| v.verdict)),
        };
        self.letters.push(letter(shown));
    }
}

/// What is true, and what was raised.
struct Scene<'a> {
    definition: &'a Definition,
    model: &'a dyn Model,
    fault: &'a Fault,
    /// Size up to which it is permitted.
    permitted: Option<f64>,
    sight: Sight,
    is_harmless: bool,
    /// By region: any pixel differs.
    is_changed: &'a [bool],
    /// By region: the crew could see it. Of faults that strike the whole frame.
    is_seen: &'a [bool],
    events: &'a [Event],
    chain_s: Option<f64>,
    onset_s: f64,
    letters: &'a str,
    changed_px: u64,
    nearness: &'a Nearness,
}

impl Scene<'_> {
    fn region_id(&self) -> String {
        self.fault
            .target
            .region
            .map_or("*".into(), |k| self.definition.regions()[k].id.clone())
    }

    /// The most severe class of what is struck.
    fn hazard(&self) -> Hazard {
        let regions = self.definition.regions();
        match self.fault.target.region {
            Some(k) => regions[k].hazard,
            None => regions
                .iter()
                .map(|r| r.hazard)
                .min()
                .unwrap_or(Hazard::None),
        }
    }

    fn is_touched(&self, id: &str) -> bool {
        let regions = self.definition.regions().iter();
        regions
            .zip(self.is_changed)
            .any(|(r, changed)| *changed && r.id == id)
    }

    /// An event is in place when it names the region, or the whole frame where the fault strikes that; half of the
    /// regions in which a fault of the whole frame can be seen count as the whole frame.
    fn is_in_place(&self, event: &Event) -> bool {
        let watch = self.model.about().watch;
        if watch == Watch::Reversion {
            return watch.tells(event);
        }
        if event.regions == ["*"] {
            let is_all = self.definition.regions().len() == 1;
            return self.fault.target.region.is_none() || self.touched() > 1 || is_all;
        }
        match self.fault.target.region {
            Some(k) => event.regions.contains(&self.definition.regions()[k].id),
            None => {
                let named: std::collections::BTreeSet<&String> = self
                    .events
                    .iter()
                    .filter(|e| e.class == event.class)
                    .flat_map(|e| &e.regions)
                    .collect();
                2 * named.len() >= self.is_seen.iter().filter(|s| **s).count()
            }
        }
    }

    fn touched(&self) -> usize {
        self.is_changed.iter().filter(|c| **c).count()
    }

    /// The classes that are right, where those of its kind are `usual`: what stands as it did before is frozen to one who sees the
    /// pictures alone, and a list that stands still hides the alerts that come on.
    fn classes(&self, usual: &[Verdict]) -> Vec<Verdict> {
        let mut classes = usual.to_vec();
        if !usual.is_empty() && self.sight.stands {
            let region = self.fault.target.region;
            let mut symbols = region
                .into_iter()
                .flat_map(|k| &self.definition.regions()[k].symbol);
            classes.push(Verdict::Frozen);
            if symbols.any(|s| s.alerts().next().is_some()) {
                classes.push(Verdict::Misleading);
            }
            classes.sort_unstable();
            classes.dedup();
        }
        classes
    }

    fn outcome(&self) -> Outcome {
        let classes = if self.is_harmless {
            Vec::new()
        } else {
            self.classes(self.model.classes(self.fault))
        };
        let is_chain = !self.is_harmless && self.model.is_of_chain(self.fault);
        let is_harmless = classes.is_empty() && !is_chain;
        let mut expected: Vec<String> = classes.iter().map(|c| name(*c).to_owned()).collect();
        if is_chain {
            expected.push("chain".into());
        }
        let in_place: Vec<&Event> = self.events.iter().filter(|e| self.is_in_place(e)).collect();
        let stray = self
            .events
            .iter()
            .filter(|e| e.regions != ["*"] && !e.regions.iter().any(|id| self.is_touched(id)));
        let earliest = |list: &[&Event]| {
            list.iter()
                .copied()
                .min_by(|a, b| a.detected_s.total_cmp(&b.detected_s))
                .cloned()
        };
        let right: Vec<&Event> = in_place
            .iter()
            .copied()
            .filter(|e| classes.contains(&e.class) && self.model.about().watch.tells(e))
            .collect();
        let told = earliest(&right).or_else(|| earliest(&in_place));
        let elsewhere = earliest(&self.events.iter().collect::<Vec<_>>());
        let result = if is_harmless {
            if self.events.is_empty() && self.chain_s.is_none() {
                Outcomes::Quiet
            } else {
                Outcomes::Nuisance
            }
        } else if !right.is_empty() || (is_chain && self.chain_s.is_some()) {
            Outcomes::Detected
        } else if told.is_some() || self.chain_s.is_some() {
            Outcomes::WrongClass
        } else if elsewhere.is_some() {
            Outcomes::WrongPlace
        } else {
            Outcomes::Missed
        };
        let event = told.or(elsewhere);
        let class = match (&event, self.chain_s) {
            (_, Some(_)) if right.is_empty() => Some("chain".to_owned()),
            (Some(e), _) => Some(name(e.class).to_owned()),
            (None, _) => None,
        };
        let detected_s = match (&event, self.chain_s) {
            (_, Some(s)) if right.is_empty() => Some(s),
            (e, _) => e.as_ref().map(|e| e.detected_s),
        };
        Outcome {
            result,
            expected,
            class,
            regions: event.as_ref().map_or(Vec::new(), |e| e.regions.clone()),
            detection_ms: detected_s.map(|s| rounded((s - self.onset_s) * 1000.0)),
            limit_ms: None,
            action: self.events.iter().map(|e| e.action).max().or_else(|| {
                // A chain that cannot be trusted shows nothing that can be.
                self.chain_s.map(|_| Action::Note)
            }),
            worst_error: event.and_then(|e| e.worst_error),
            why: self.why(result),
            nearness: (result == Outcomes::Missed).then(|| self.nearness.clone().written()),
            stray_events: stray.count() as u32,
            verdicts: self.letters.to_owned(),
            picture: None,
        }
    }

    fn why(&self, result: Outcomes) -> Option<Why> {
        let model = self.model;
        let region = self.fault.target.region;
        let is_small = self.permitted.is_some_and(|p| self.fault.size <= p);
        let share = |c: char| {
            let count = self.letters.chars().filter(|l| *l == c).count();
            count as f64 / self.letters.len().max(1) as f64
        };
        match result {
            Outcomes::Detected | Outcomes::Quiet | Outcomes::Nuisance => None,
            Outcomes::WrongClass => Some(Why::Class),
            Outcomes::WrongPlace => Some(Why::Place),
            Outcomes::Missed => Some(if share('-') > 0.5 {
                Why::NotJudged
            } else if self.touched() == 0 {
                if self.changed_px == 0 {
                    Why::NothingChanged
                } else {
                    Why::UncheckedArea
                }
            } else if self.sight.is_brief && !is_small {
                Why::TooBrief
            } else if self.letters.chars().any(|l| "kglfm".contains(l)) {
                Why::Persistence
            } else if is_small {
                Why::WithinTolerance
            } else if share('b') > 0.5 && model.about().needs_motion {
                Why::Blind
            } else if region.is_some() && self.changed_px == 0 && self.nearness.frames_off == 0 {
                // Not in the first frame, nor so that it was seen in a later one.
                Why::NothingChanged
            } else if model.is_of_chain(self.fault) {
                Why::ChainNotRecognised
            } else {
                self.nearness.why()
            }),
        }
    }
}

/// Faulty picture, reference and difference of the place of a fault.
fn miss_picture(clip: &Clip, k: usize, faulty: &Picture, target: Target) -> RgbImage {
    let mut inputs = Inputs::default();
    clip.inputs(k, &mut inputs);
    let profile = clip.profile;
    let reference = FrameReference::draw(
        clip.subject,
        &inputs,
        &profile.look(),
        (profile.subsampling, profile.siting),
        (profile.width, profile.height),
        &mut Painter::new(),
    )
    .picture(profile.encoding);
    pictures::side_by_side(
        &pictures::to_rgb(faulty),
        &pictures::to_rgb(&reference),
        clip.area(target).grown(MARGIN_PX),
    )
}
