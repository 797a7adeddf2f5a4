//! The verdict on one region, from what was found in it and its recent past.

mod age;
mod liveness;
mod past;
mod reading;
mod sustained;

pub use self::reading::Reading;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::liveness::Liveness;
use self::past::Past;
use self::sustained::Sustained;
use super::company::Company;
use super::constants::{
    ALLOWED_BLIND_S, DECISIVE, NEARLY, RETOLD_S, SAMPLES, SIGMAS, TESTS_OF_A_READING,
};
use super::errors::{age_scatter_s, age_spread_s, held_back_sigma_px};
use super::freeze::{FreezeTest, Visibility};
use super::sequential::{Plan, RunningSum, held_alarm};
use super::spans::Spans;
use super::story::{self, Series, Story, Timing};
use super::verdict::Verdict;
use crate::definition::Definition;
use crate::definition::model::Budget;
use crate::examine::digits::Digits;
use crate::examine::region::{Explanation, Findings, Moment};
use crate::examine::signature::Signature;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::parts::Freedom;

/// Why a region is faulty in one frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// The picture itself is wrong.
    Picture,
    /// It does not follow its inputs.
    Held,
    /// It shows data that are too old.
    Stale,
    /// A value is off by more than its tolerance, and nothing else is wrong.
    Value,
}

/// A test under a budget whose sum has reached its threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alarm {
    /// What it tests.
    pub of: Tested,
    /// Index of the freedom that is tested.
    pub freedom: usize,
    /// Recording time since which its sum has been above zero, s.
    pub since_s: f64,
    /// Sum of log-likelihoods.
    pub sum: f64,
    /// What it had to reach.
    pub threshold: f64,
}

/// What a sequential test asks of a reading.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Tested {
    /// Whether it is off by more than its tolerance.
    Value,
    /// Whether it is held while its inputs move.
    Held,
    /// Whether data of any permitted age explain it.
    Age,
}

/// What is said of a region in one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct RegionVerdict {
    /// The verdict.
    pub verdict: Verdict,
    /// Why, when it is faulty.
    pub cause: Option<Cause>,
    /// Age of the data shown, s.
    pub staleness_s: Option<f64>,
    /// Its standard error, s.
    pub staleness_se_s: Option<f64>,
    /// Readings of the continuous symbols.
    pub readings: Vec<Reading>,
    /// Freedoms without a reading, since too little is seen of what they move.
    pub hidden: Vec<usize>,
    /// Numbers that stand on the picture as digits.
    pub digits: Vec<Digits>,
    /// For a freeze: time of the first held frame (recording time), s.
    pub since_s: Option<f64>,
    /// The test that makes the region faulty, where its hazard class has a budget.
    pub alarm: Option<Alarm>,
    /// Whether a test of its values has come so near to an alarm that another monitor may have raised one.
    pub is_nearly_off: bool,
    /// The display has been seen to follow its inputs since this recording time, s: the latest
    /// time from which on a freeze would show by now.
    pub live_since_s: Option<f64>,
}

impl RegionVerdict {
    /// Nothing is said.
    #[must_use]
    pub const fn not_judged() -> Self {
        Self {
            verdict: Verdict::NotJudged,
            cause: None,
            staleness_s: None,
            staleness_se_s: None,
            readings: Vec::new(),
            hidden: Vec::new(),
            digits: Vec::new(),
            since_s: None,
            alarm: None,
            is_nearly_off: false,
            live_since_s: None,
        }
    }
}

/// Judges one region, frame after frame.
#[derive(Clone)]
pub struct RegionJudge {
    region: usize,
    is_unchecked: bool,
    channels: Vec<ChannelId>,
    freedoms: Vec<Freedom>,
    tolerances: Vec<f64>,
    /// By freedom: where a turn begins, for those that turn.
    turns_from: Vec<f64>,
    max_latency_s: f64,
    liveness: Option<Liveness>,
    /// Its alerts, as indices into [`Inputs::active_since_s`].
    alerts: Vec<usize>,
    is_static: bool,
    tests: Vec<FreezeTest>,
    /// What its tests are planned for, where a budget decides.
    plan: Option<Plan>,
    /// By freedom: whether it is off by more than its tolerance, and whether data of any permitted age explain it.
    off_tests: Vec<RunningSum>,
    age_tests: Vec<RunningSum>,
    /// By freedom.
    sustained: Vec<Sustained>,
    past: Past,
    changed_s: f64,
    /// With the recording time at which it was told, s.
    story: Option<(Story, f64)>,
    /// What is wrong jumped away from what was due.
    has_jumped: bool,
    /// The frame before showed a value whose data were invalid, and whether it was faulty before that began.
    showed_invalid: bool,
    was_faulty: bool,
}

/// Where the turn begins that the channel of a freedom counts in: the middle of its range is the middle of the turn.
/// Without a range that lies within a turn it begins at 0, or half a turn below for a freedom that goes below 0.
fn turn_from(definition: &Definition, f: &Freedom) -> f64 {
    let period = f.period.unwrap_or(0.0);
    match definition.channels()[f.channel.0].1.range {
        Some([low, high]) if high - low <= period => (low + high - period) / 2.0,
        _ if f.low < 0.0 => -period / 2.0,
        _ => 0.0,
    }
}

/// What the tests of a region with so many `freedoms`, which share its budget alike, are planned for; `None` where its faults are
/// confirmed by time.
#[must_use]
pub fn plan(definition: &Definition, region: usize, freedoms: usize) -> Option<Plan> {
    Some(plan_under(definition.budget(region)?, freedoms))
}

/// From how many standard errors beyond its tolerance on an error is found within the time of such a region's budget.
#[must_use]
pub fn reach_sigmas(definition: &Definition, region: usize, freedoms: usize) -> Option<f64> {
    Some(plan(definition, region, freedoms)?.reach_sigmas + SIGMAS)
}

/// As [`plan`], where the region may spend `budget`.
#[must_use]
pub fn plan_under(budget: Budget, freedoms: usize) -> Plan {
    let tests = (TESTS_OF_A_READING * freedoms).max(1) as f64;
    let per_hour = budget.nuisance_per_hour / tests;
    Plan::new(per_hour, budget.time_to_alert_ms / 1000.0)
}

impl RegionJudge {
    /// For region `region` of `definition`, with the freedoms that its examiner reads.
    #[must_use]
    pub fn new(
        definition: &Definition,
        region: usize,
        freedoms: &[Freedom],
        channels: &[ChannelId],
    ) -> Self {
        let model = &definition.regions()[region];
        let tolerance = |f: &Freedom| {
            let name = &definition.channels()[f.channel.0].0;
            model.tolerance.get(name).copied().unwrap_or(f64::INFINITY)
        };
        let liveness = Liveness::of(model);
        let plan = plan(definition, region, freedoms.len());
        Self {
            region,
            is_unchecked: model.is_unchecked(),
            channels: channels.to_vec(),
            tolerances: freedoms.iter().map(tolerance).collect(),
            turns_from: freedoms.iter().map(|f| turn_from(definition, f)).collect(),
            freedoms: freedoms.to_vec(),
            max_latency_s: definition.max_latency_s(region),
            is_static: channels.is_empty() && liveness.is_none(),
            liveness,
            alerts: {
                let all = definition.alerts().enumerate();
                all.filter(|(_, a)| a.region == region)
                    .map(|(k, _)| k)
                    .collect()
            },
            tests: vec![FreezeTest::new(held_alarm(plan.as_ref())); freedoms.len()],
            plan,
            off_tests: vec![RunningSum::default(); freedoms.len()],
            age_tests: vec![RunningSum::default(); freedoms.len()],
            sustained: vec![Sustained::default(); freedoms.len()],
            past: Past::new(freedoms),
            changed_s: f64::NEG_INFINITY,
            story: None,
            has_jumped: false,
            showed_invalid: false,
            was_faulty: false,
        }
    }

    /// Judges what was found in a frame. `inputs` are those that are due; `company` is what all regions
    /// told up to the frame before.
    pub fn judge(
        &mut self,
        moment: &Moment,
        findings: &Findings,
        inputs: &Inputs,
        company: &Company,
    ) -> RegionVerdict {
        if self.is_unchecked
            || self
                .channels
                .iter()
                .any(|c| *inputs.value(*c) == Value::Missing)
        {
            return RegionVerdict::not_judged();
        }
        if !findings.is_unchanged {
            self.changed_s = moment.time_s;
        }
        let readings = self.readings(moment, findings, inputs, company);
        let is_permitted = self.is_permitted(moment, findings);
        self.past
            .push(moment.time_s, findings, inputs, is_permitted);
        self.test_freeze(moment, inputs);
        let (staleness_s, staleness_se_s) = self.staleness(moment, findings);
        let frozen = self
            .tests
            .iter()
            .filter(|t| t.is_frozen())
            .map(FreezeTest::since_s)
            .reduce(f64::min);
        let is_timed = self.is_timed(moment);
        let frozen = frozen.filter(|_| is_timed);
        let is_value_outside = readings.iter().any(|r| r.is_outside);
        let is_outside =
            is_value_outside || self.number_is_outside(moment, findings, inputs, &readings);
        let liveness_stuck = self.liveness_is_stuck(moment, findings);
        let mut since_s = None;
        let verdict = match &findings.explanation {
            Explanation::Nothing { signature } => match signature {
                Signature::Blank => Verdict::Blank,
                Signature::Noise | Signature::LostLines | Signature::Torn => Verdict::Garbled,
                Signature::Readable => Verdict::Misleading,
            },
            Explanation::Due | Explanation::Values if frozen.is_some() => {
                since_s = frozen;
                self.held_or_late(moment, company)
            }
            Explanation::Due | Explanation::Values => {
                if is_outside {
                    self.told(moment, company)
                } else if is_timed && self.is_surely_late(moment, company) {
                    since_s = self.past.off_since_s();
                    Verdict::Late
                } else {
                    self.harmless(moment, liveness_stuck)
                }
            }
            Explanation::OtherTime { .. } => {
                if let Some(since) = frozen {
                    since_s = Some(since);
                    self.held_or_late(moment, company)
                } else if (is_permitted || !is_timed) && !is_outside {
                    self.harmless(moment, liveness_stuck)
                } else if self.has_readings() {
                    match self.told(moment, company) {
                        // Off by less than the tolerance, and neither held nor late.
                        Verdict::Misleading if !is_outside => self.harmless(moment, liveness_stuck),
                        told => {
                            // Late data within the tolerance take some frames to tell.
                            since_s = self.past.off_since_s().filter(|_| told == Verdict::Late);
                            told
                        }
                    }
                } else if self.is_one_alert_short(moment, findings, inputs, company) {
                    Verdict::Misleading
                } else {
                    self.stale_picture(moment, company)
                }
            }
        };
        // What jumped away before it stood is not held.
        let frozen = frozen.filter(|_| verdict != Verdict::Misleading);
        since_s = since_s.filter(|_| verdict != Verdict::Misleading);
        // Where a budget decides, neither a delay nor a standstill that readings tell of is a fault before its test says so.
        let is_told = !matches!(findings.explanation, Explanation::Nothing { .. })
            && frozen.is_none()
            && !is_outside
            && liveness_stuck != Some(true);
        let aged = self.raised(Tested::Age);
        let verdict = if self.plan.is_some()
            && is_told
            && aged.is_none()
            && matches!(verdict, Verdict::Late | Verdict::Frozen)
            && self.has_readings()
            && company.story().is_none()
        {
            since_s = None;
            self.harmless(moment, liveness_stuck)
        } else {
            verdict
        };
        let shows_invalid = self.shows_invalid(moment, findings);
        let verdict = if shows_invalid && frozen.is_none() {
            self.on_invalid_data(verdict, company)
        } else {
            verdict
        };
        self.showed_invalid = shows_invalid;
        // Late data that cross what is due must not keep their own run going.
        let is_crossing = verdict == Verdict::Late && findings.explanation == Explanation::Due;
        self.past.judged(verdict.is_faulty() && !is_crossing);
        let cause = verdict.is_faulty().then(|| match findings.explanation {
            Explanation::Nothing { .. } => Cause::Picture,
            _ if frozen.is_some() => Cause::Held,
            _ if shows_invalid => Cause::Picture,
            _ if is_value_outside => Cause::Value,
            // What a readout may be off by is its own, and no part of the region's tolerances.
            _ if is_outside => Cause::Picture,
            _ if liveness_stuck == Some(true) => Cause::Held,
            _ => Cause::Stale,
        });
        let alarm = match cause {
            Some(Cause::Value) => {
                let alarm = self.raised(Tested::Value);
                since_s = since_s.or(alarm.map(|a| a.since_s));
                alarm
            }
            Some(Cause::Held) => frozen.and_then(|_| self.raised(Tested::Held)),
            Some(Cause::Stale) => aged,
            Some(Cause::Picture) | None => None,
        };
        // A value that is off tells nothing of the age of its data, nor does one of which it is not decided yet.
        let is_undecided = self.plan.is_some() && cause.is_none() && self.is_beyond(&readings);
        let (staleness_s, staleness_se_s) = match cause {
            Some(Cause::Value) if verdict == Verdict::Misleading => (None, None),
            _ if is_undecided => (None, None),
            _ => (staleness_s, staleness_se_s),
        };
        if !verdict.is_faulty() && self.past.frames_off() == 0 {
            self.story = None;
            self.has_jumped = false;
        }
        // When the whole display stands still or is late, a region that happens to agree proves nothing.
        let live_since_s = (verdict == Verdict::Agrees && company.story().is_none())
            .then(|| self.live_since(moment))
            .flatten();
        RegionVerdict {
            verdict,
            cause,
            staleness_s,
            staleness_se_s,
            readings,
            hidden: (0..self.freedoms.len())
                .filter(|k| findings.hidden.get(*k) == Some(&true))
                .collect(),
            digits: findings.digits.clone(),
            since_s,
            alarm,
            is_nearly_off: self.is_nearly_off(),
            live_since_s,
        }
    }

    /// Of the tests whose sum has reached the threshold that which has risen for longest, where a budget decides.
    fn raised(&self, of: Tested) -> Option<Alarm> {
        let plan = self.plan?;
        let sums: Vec<(bool, f64, f64)> = match of {
            Tested::Held => {
                let tests = self.tests.iter();
                tests
                    .map(|t| (t.is_frozen(), t.since_s(), t.sum()))
                    .collect()
            }
            Tested::Value | Tested::Age => {
                let tests = if of == Tested::Age {
                    &self.age_tests
                } else {
                    &self.off_tests
                };
                let tests = tests.iter();
                tests
                    .map(|t| (t.is_raised(&plan), t.since_s(), t.sum()))
                    .collect()
            }
        };
        let raised = sums.iter().enumerate().filter(|(_, s)| s.0);
        let first = raised.min_by(|(_, a), (_, b)| a.1.total_cmp(&b.1));
        first.map(|(freedom, (_, since_s, sum))| Alarm {
            of,
            freedom,
            since_s: *since_s,
            sum: *sum,
            threshold: plan.threshold,
        })
    }

    fn is_nearly_off(&self) -> bool {
        let is_near = |plan: &Plan| {
            let mut sums = self.off_tests.iter().map(RunningSum::sum);
            sums.any(|sum| sum > NEARLY * plan.threshold)
        };
        self.plan.as_ref().is_some_and(is_near)
    }

    /// Whether a reading of this frame lies beyond its tolerance.
    fn is_beyond(&self, readings: &[Reading]) -> bool {
        let mut all = readings.iter();
        all.any(|r| r.excess > self.tolerances[r.freedom])
    }

    /// Whether the recording says of what is due how it moves: between samples that lie farther apart than the display may be
    /// late, a value within its tolerance tells nothing of the age of its data, unless the samples tell as much as a reading.
    fn is_timed(&self, moment: &Moment) -> bool {
        let newest = self.past.newest();
        self.channels.iter().all(|c| {
            let doubt = moment
                .recording
                .doubt(*c, moment.due_time_s(), self.max_latency_s);
            let freedoms = self.freedoms.iter().enumerate();
            let px = freedoms
                .filter(|(_, f)| f.channel == *c)
                .map(|(k, _)| newest.map_or(f64::INFINITY, |p| doubt * p.px_per_unit[k]));
            // A number that is written changes at moments that nothing tells.
            doubt <= 0.0
                || px
                    .reduce(f64::max)
                    .is_some_and(|px| px <= held_back_sigma_px())
        })
    }

    /// Whether the picture is one of data that are no older than permitted.
    fn is_permitted(&self, moment: &Moment, findings: &Findings) -> bool {
        match findings.explanation {
            Explanation::Due => true,
            Explanation::Values | Explanation::Nothing { .. } => false,
            Explanation::OtherTime { data_time_s } => {
                let newest_s = findings.data_span_s.map_or(data_time_s, |[_, to_s]| to_s);
                moment.time_s - newest_s <= self.max_latency_s + moment.interval_s / 2.0
            }
        }
    }

    /// Whether a value stands on the picture of which there have been no valid data for as long as a display may be
    /// late.
    fn shows_invalid(&self, moment: &Moment, findings: &Findings) -> bool {
        let mut inputs = Inputs::default();
        let mut is_invalid: Vec<bool> = match findings.explanation {
            Explanation::Due | Explanation::Nothing { .. } => return false,
            Explanation::OtherTime { data_time_s } => {
                moment.recording.inputs_at(data_time_s, &mut inputs);
                let is_valid = |c: &ChannelId| *inputs.value(*c) != Value::Invalid;
                self.channels.iter().map(is_valid).collect()
            }
            Explanation::Values => {
                let newest = self.past.newest().expect("a frame was just remembered");
                let is_read = |c: &ChannelId| {
                    let mut read = self.freedoms.iter().zip(&newest.shown);
                    read.any(|(f, shown)| f.channel == *c && shown.is_some())
                };
                self.channels.iter().map(is_read).collect()
            }
        };
        let reach_s = self.max_latency_s + moment.interval_s / 2.0;
        for s in 0..=SAMPLES {
            if !is_invalid.contains(&true) {
                return false;
            }
            let at_s = moment.time_s - reach_s * s as f64 / SAMPLES as f64;
            moment.recording.inputs_at(at_s, &mut inputs);
            for (is_invalid, c) in is_invalid.iter_mut().zip(&self.channels) {
                *is_invalid &= *inputs.value(*c) == Value::Invalid;
            }
        }
        is_invalid.contains(&true)
    }

    /// The verdict on a value that stands on invalid data, when it would else be `verdict`: it misleads, unless the
    /// region, or the display as a whole, was held or late before.
    fn on_invalid_data(&mut self, verdict: Verdict, company: &Company) -> Verdict {
        if !self.showed_invalid {
            let before = self.past.frames().rev().nth(1);
            self.was_faulty = before.is_some_and(|p| p.is_faulty);
        }
        match company.story() {
            Some(story) if !verdict.is_faulty() => self.verdict_of(story),
            None if !self.was_faulty || !verdict.is_faulty() => Verdict::Misleading,
            _ => verdict,
        }
    }

    /// Whether the picture is that of earlier data, and what sets them apart from the inputs that are due is one alert that has come
    /// since, on a display that otherwise lives. It stands still, or its newest alert is not shown: the picture is the same, and the
    /// crew is misled by the alert that it lacks. As soon as more has changed, it stands still.
    fn is_one_alert_short(
        &self,
        moment: &Moment,
        findings: &Findings,
        inputs: &Inputs,
        company: &Company,
    ) -> bool {
        let Some([_, to_s]) = findings.data_span_s else {
            return false;
        };
        if company.others_live_since_s(self.region) <= to_s {
            return false;
        }
        let mut shown = Inputs::default();
        moment.recording.inputs_at(to_s, &mut shown);
        let is_active = |inputs: &Inputs, k: usize| {
            let since_s = inputs.active_since_s.get(k);
            since_s.is_some_and(Option::is_some)
        };
        let differ = self.alerts.iter();
        let differ: Vec<usize> = differ
            .filter(|k| is_active(&shown, **k) != is_active(inputs, **k))
            .copied()
            .collect();
        matches!(differ[..], [one] if is_active(inputs, one))
    }

    fn has_readings(&self) -> bool {
        self.past
            .newest()
            .is_some_and(|p| p.shown.iter().any(Option::is_some))
    }

    fn harmless(&self, moment: &Moment, liveness_stuck: Option<bool>) -> Verdict {
        match liveness_stuck {
            Some(true) => return Verdict::Frozen,
            Some(false) => return Verdict::Agrees,
            None => {}
        }
        if self.is_static || self.live_since(moment).is_some() {
            Verdict::Agrees
        } else {
            Verdict::Blind
        }
    }

    /// The latest time from which on a freeze would show by now, when that is within the last second.
    fn live_since(&self, moment: &Moment) -> Option<f64> {
        let of_mark = |l: &Liveness| l.changed_s(moment.time_s);
        if let Some(changed_s) = self.liveness.as_ref().and_then(of_mark) {
            return changed_s;
        }
        if self.freedoms.is_empty() {
            return (moment.time_s - self.changed_s <= ALLOWED_BLIND_S).then_some(self.changed_s);
        }
        let newest = self.past.newest()?;
        let mut visibility = Visibility::default();
        for p in self.past.frames().rev().skip(1) {
            if moment.time_s - p.time_s > ALLOWED_BLIND_S {
                break;
            }
            for (k, f) in self.freedoms.iter().enumerate() {
                let (Some(now), Some(_), Some(then)) = (newest.due[k], newest.shown[k], p.due[k])
                else {
                    continue;
                };
                let move_px = f.difference(now, then) * newest.px_per_unit[k];
                visibility.push(move_px, moment.interval_s, sigma_px(newest.error_px[k]));
            }
            if visibility.is_enough(held_alarm(self.plan.as_ref())) {
                return Some(p.time_s);
            }
        }
        None
    }

    fn test_freeze(&mut self, moment: &Moment, inputs: &Inputs) {
        let mut span = vec![[f64::INFINITY, f64::NEG_INFINITY]; self.freedoms.len()];
        // A picture may come a frame late.
        let spread_s = age_spread_s(age_scatter_s(moment.age_scatter_s, moment.interval_s));
        let oldest_s = moment.latency_s + spread_s + moment.interval_s;
        let reach = [oldest_s, spread_s - moment.latency_s];
        self.spans(moment, inputs, reach, &mut span);
        let newest = self.past.newest().expect("a frame was just remembered");
        for (k, f) in self.freedoms.iter().enumerate() {
            let (Some(shown), Some(due)) = (newest.shown[k], newest.due[k]) else {
                self.tests[k].reset();
                continue;
            };
            let error = f.difference(shown, due);
            let scale = newest.px_per_unit[k];
            let at = self.past.due_px(k);
            self.tests[k].push(
                moment.time_s,
                at + error * scale,
                [at + span[k][0] * scale, at + span[k][1] * scale],
                sigma_px(newest.error_px[k]),
            );
        }
    }

    /// For a liveness cell: true when it has not changed for too long. `None` without one.
    fn liveness_is_stuck(&mut self, moment: &Moment, findings: &Findings) -> Option<bool> {
        let liveness = self.liveness.as_mut()?;
        liveness.see(moment.time_s, findings.liveness);
        Some(liveness.is_stuck(moment.time_s))
    }

    /// Tells the story of the readings since they went wrong, anew every now and then.
    fn told(&mut self, moment: &Moment, company: &Company) -> Verdict {
        if let Some(story) = company.story() {
            return self.verdict_of(story);
        }
        let live_since_s = company.others_live_since_s(self.region);
        let is_contradicted = |staleness_s| live_since_s > moment.time_s - staleness_s;
        let story = match self.story {
            Some((story, told_s)) if moment.time_s - told_s < RETOLD_S => story,
            _ => {
                let series = self.past.series_off();
                // Once its begin is forgotten, what was seen of it holds.
                if !self.past.is_begin_forgotten() {
                    self.has_jumped = story::has_jumped(&series);
                }
                let several_are_off = story::several_are_off(&series);
                // An offset may be within the tolerance: under a budget it is given up at the odds of an alarm.
                let decisive = self.plan.map_or(DECISIVE, |p| 2.0 * p.threshold);
                let told = story::tell(
                    &series,
                    moment.recording,
                    Timing::new(moment.interval_s, moment.age_scatter_s),
                    decisive,
                    |staleness_s| is_contradicted(staleness_s) && !several_are_off,
                );
                let story = match told {
                    Story::Held if self.has_jumped => Story::Wrong,
                    told => told,
                };
                self.story = Some((story, moment.time_s));
                story
            }
        };
        self.verdict_of(story)
    }

    /// Whether what is shown within the tolerances, or happens to be what is due, belongs to a run of late data
    /// that nothing else explains.
    fn is_surely_late(&mut self, moment: &Moment, company: &Company) -> bool {
        self.past.frames_off() > 0
            && self.told(moment, company) == Verdict::Late
            && matches!(self.story, Some((Story::Late { is_sure: true, .. }, _)))
    }

    fn verdict_of(&self, story: Story) -> Verdict {
        match story {
            Story::Held => Verdict::Frozen,
            Story::Late { staleness_s, .. } if staleness_s > self.max_latency_s => Verdict::Late,
            Story::Late { .. } | Story::Wrong => Verdict::Misleading,
        }
    }

    /// Old data on a display that moves slowly look held at first: the story decides once it is clear. What jumped away before it
    /// stood is wrong.
    fn held_or_late(&mut self, moment: &Moment, company: &Company) -> Verdict {
        match self.told(moment, company) {
            Verdict::Late => Verdict::Late,
            Verdict::Misleading if self.has_jumped => Verdict::Misleading,
            _ => Verdict::Frozen,
        }
    }

    /// Recording time of the first frame of the run of faulty frames that still lasts, s.
    #[must_use]
    pub fn faulty_since_s(&self) -> Option<f64> {
        self.past.faulty_since_s()
    }

    /// Readings since recording time `since_s`.
    #[must_use]
    pub fn series_since(&self, since_s: f64) -> Vec<Series> {
        self.past.series_since(since_s)
    }

    /// Whether anything continuous is read here.
    #[must_use]
    pub fn reads_values(&self) -> bool {
        !self.freedoms.is_empty()
    }

    /// A stale picture without readings. One that stands where it last was good is frozen until it is seen
    /// to move on while still stale. One that jumped back is late when it moves on with one delay, or when the
    /// whole display is late; till then something else than what is due is shown: data do not go back. Numbers
    /// that are off by the same all the time are wrong, where other regions show newer data.
    fn stale_picture(&self, moment: &Moment, company: &Company) -> Verdict {
        if let Some(story) = company.story() {
            return self.verdict_of(story);
        }
        let (mut run, last_good) = self.past.stale();
        let Some([_, first_s]) = run.find_map(|p| p.data_span_s) else {
            return Verdict::Misleading;
        };
        let run = self.past.stale_with_crossings();
        let spans = Spans::of(run.clone().filter_map(|p| Some((p.time_s, p.data_span_s?))));
        let delay_s = spans
            .delay_s(2.0 * moment.interval_s)
            .filter(|_| !spans.stands());
        // It has stood still since its age was permitted.
        let good_s = last_good.map_or(moment.time_s, |p| {
            p.data_span_s.map_or(p.time_s - moment.latency_s, |s| s[0])
        });
        if first_s >= good_s - 2.0 * moment.interval_s {
            return if delay_s.is_some() {
                Verdict::Late
            } else {
                Verdict::Frozen
            };
        }
        let live_since_s = company.others_live_since_s(self.region);
        let is_one_offset = is_one_offset(run.map(|p| p.steps_off.as_slice()));
        match delay_s {
            Some(delay_s) if is_one_offset && live_since_s > moment.time_s - delay_s => {
                Verdict::Misleading
            }
            Some(delay_s) if delay_s > self.max_latency_s => Verdict::Late,
            _ => Verdict::Misleading,
        }
    }
}

/// Standard deviation of a reading that may be held, px.
fn sigma_px(stated_px: f64) -> f64 {
    libm::hypot(stated_px, held_back_sigma_px())
}

/// Whether numbers are off by the same, to a step of their last digits, in all frames.
fn is_one_offset<'a>(frames: impl Iterator<Item = &'a [f64]> + Clone) -> bool {
    let count = frames.clone().map(<[f64]>::len).max().unwrap_or(0);
    let spread = |k: usize| {
        let all = frames.clone().filter_map(|f| f.get(k));
        let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(*v), high.max(*v))
        });
        high - low
    };
    count > 0 && (0..count).all(|k| spread(k) < 1.5)
}
