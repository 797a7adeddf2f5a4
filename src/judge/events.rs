//! Runs of faulty verdicts as events: class, onset, detection, end, worst error, action.
//!
//! A region's event is raised after its confirmation time and ended after its recovery time. While it is
//! open, every other region is asked whether it contradicts: a region that agrees, and in which
//! the fault would have shown, is not part of it. When the run is over, events of the same class that
//! overlap become one; when no region contradicts, it concerns the whole frame (`*`), and whatever
//! else the regions said at that time is a remark.

use std::collections::BTreeSet;

use super::constants::{LONGEST_HOLD_S, NEARLY, RETOLD_S};
use super::event::{Action, AsAWhole, Event, PictureError, TestRecord, WorstError, action, name};
use super::persistence::{KOfN, Persistence, Transition};
use super::region::{Alarm, RegionVerdict, Tested};
use super::verdict::Verdict;
use crate::definition::Definition;
use crate::definition::model::{Alert, AlertClass, Hazard};
use crate::definition::uses::AlertPlace;
use crate::examine::comparison::Difference;
use crate::examine::digits::Digits;
use crate::examine::region::{AlertSlip, Slip};
use crate::picture::Rect;
use crate::recording::inputs::ChannelId;
use crate::reference::parts::Freedom;

/// Which halves of the display stand in each other's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Halves {
    /// The left and the right one.
    LeftRight,
    /// The upper and the lower one.
    UpperLower,
}

/// What stands there as a whole in place of what is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Instead {
    /// Another page, by its index.
    Page(usize),
    /// The page of a reversion, by its index, where none is due.
    Reverted(usize),
    /// What is due, with its halves exchanged.
    Exchanged(Halves),
}

impl From<Instead> for AsAWhole {
    fn from(instead: Instead) -> Self {
        match instead {
            Instead::Page(_) | Instead::Reverted(_) => Self::OtherPage,
            Instead::Exchanged(_) => Self::HalvesExchanged,
        }
    }
}

const CLASSES: [Verdict; 5] = [
    Verdict::Blank,
    Verdict::Garbled,
    Verdict::Late,
    Verdict::Frozen,
    Verdict::Misleading,
];

/// An event of one region while it lasts.
#[derive(Clone, Debug)]
struct Open {
    region: usize,
    onset_s: f64,
    detected_s: Option<f64>,
    /// The test that confirmed it.
    alarm: Option<Alarm>,
    end_s: f64,
    first_frame: u64,
    last_frame: u64,
    best_frame: u64,
    best_size: f64,
    best_error: PictureError,
    /// Where that is, px of the capture, and the symbol that it is about.
    best_place: (Option<Rect>, Option<String>),
    /// Verdicts so far, newest first in weight: each frame counts one more than the one before.
    weights: [f64; CLASSES.len()],
    frames: u32,
    /// Frames in which the lines of the whole frame were lost or displaced.
    broken_frames: u32,
    /// What stood there last in place of what was due.
    instead: Option<Instead>,
    /// What is wrong with its alerts, and when that was looked for last, s.
    alerts: BTreeSet<AlertSlip>,
    alerts_looked_s: f64,
    /// Numbers that stand in each other's place.
    exchanged: BTreeSet<[ChannelId; 2]>,
    worst: Option<(f64, WorstError)>,
    /// By region: frames in which it contradicted.
    contradictions: Vec<u32>,
}

impl Open {
    fn class(&self) -> Verdict {
        let mut best = 0;
        for k in 1..CLASSES.len() {
            if self.weights[k] >= self.weights[best] {
                best = k;
            }
        }
        CLASSES[best]
    }
}

/// Follows all regions of a run.
#[derive(Clone)]
pub struct EventLog<'d> {
    definition: &'d Definition,
    freedoms: Vec<Vec<Freedom>>,
    persistence: Vec<Persistence>,
    open: Vec<Option<Open>>,
    closed: Vec<Open>,
    last_time_s: f64,
    has_ink: Vec<bool>,
    /// By region: a test of its values has come near to an alarm.
    is_nearly_off: Vec<bool>,
}

/// What an event's picture would show: the region and the frame just seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Snapshot {
    /// Index of the region.
    pub region: usize,
    /// First frame of the region's event, which names it.
    pub first_frame: u64,
}

impl<'d> EventLog<'d> {
    /// For the regions of `definition`, whose freedoms are `freedoms`.
    #[must_use]
    pub fn new(definition: &'d Definition, freedoms: Vec<Vec<Freedom>>) -> Self {
        let regions = definition.regions();
        Self {
            definition,
            persistence: regions
                .iter()
                .map(|r| {
                    let often = r.confirm_frames.map(|[k, n]| KOfN::new(k, n));
                    Persistence::new(r.confirm_ms(), r.recover_ms).or_often(often)
                })
                .collect(),
            open: vec![None; regions.len()],
            closed: Vec::new(),
            last_time_s: 0.0,
            has_ink: vec![true; regions.len()],
            is_nearly_off: vec![false; regions.len()],
            freedoms,
        }
    }

    /// Takes the verdicts of a frame. `has_ink` says which regions would look different when blank, `differences`
    /// what disagrees with what is due, `is_broken` that the lines of the whole frame are lost or displaced, `instead` what
    /// stands there as a whole in place of what is due. Returns the regions whose picture in this frame is the best of their event so far.
    #[expect(clippy::too_many_arguments, reason = "all that a frame says")]
    pub fn push(
        &mut self,
        frame: u64,
        time_s: f64,
        verdicts: &[RegionVerdict],
        has_ink: &[bool],
        differences: &[Difference],
        offset_s: f64,
        is_broken: bool,
        instead: Option<Instead>,
    ) -> Vec<Snapshot> {
        self.last_time_s = time_s;
        self.has_ink.copy_from_slice(has_ink);
        let mut snapshots = Vec::new();
        for (k, v) in verdicts.iter().enumerate() {
            let is_faulty = v.verdict.is_faulty();
            self.is_nearly_off[k] = v.is_nearly_off;
            let transition = self.persistence[k].push_known(time_s, is_faulty, v.alarm.is_some());
            if is_faulty {
                let count = verdicts.len();
                let open = self.open[k].get_or_insert_with(|| Open {
                    region: k,
                    onset_s: time_s,
                    detected_s: None,
                    alarm: None,
                    end_s: time_s,
                    first_frame: frame,
                    last_frame: frame,
                    best_frame: frame,
                    best_size: -1.0,
                    best_error: PictureError::default(),
                    best_place: (None, None),
                    weights: [0.0; CLASSES.len()],
                    frames: 0,
                    broken_frames: 0,
                    instead: None,
                    alerts: BTreeSet::new(),
                    alerts_looked_s: f64::NEG_INFINITY,
                    exchanged: BTreeSet::new(),
                    worst: None,
                    contradictions: vec![0; count],
                });
                if let Some(since_s) = v.since_s {
                    // A freeze begins with the first held frame, before it can be told; an error with the first that its test
                    // takes for one.
                    let held_s = since_s - offset_s;
                    let is_tested = v.alarm.is_some_and(|a| a.of == Tested::Value);
                    if held_s < open.onset_s
                        && (is_tested || held_s > open.onset_s - LONGEST_HOLD_S)
                    {
                        open.onset_s = held_s;
                    }
                }
                open.broken_frames += u32::from(is_broken);
                // What both pages have is wrong for a reason of its own.
                let pages = self.definition.pages_of(k);
                let without = instead.filter(|instead| match instead {
                    Instead::Page(page) | Instead::Reverted(page) => !pages.contains(*page),
                    Instead::Exchanged(_) => true,
                });
                open.instead = without.or(open.instead);
                open.exchanged.extend(exchanged(&v.digits));
                open.frames += 1;
                open.last_frame = frame;
                open.end_s = time_s;
                let class = CLASSES.iter().position(|c| *c == v.verdict).unwrap_or(0);
                open.weights[class] += f64::from(open.frames);
                let worst = worst_error(self.definition, k, &self.freedoms[k], v, frame);
                let size = worst.as_ref().map_or(0.0, |w| w.0.min(1e6)) * 1e3
                    + differences[k].size() as f64;
                if size > open.best_size * 1.25 + 1.0 {
                    open.best_size = size;
                    open.best_frame = frame;
                    open.best_error = (&differences[k]).into();
                    snapshots.push(Snapshot {
                        region: k,
                        first_frame: open.first_frame,
                    });
                }
                if let Some(new) = worst
                    && open.worst.as_ref().is_none_or(|old| new.0 > old.0)
                {
                    open.worst = Some(new);
                }
            }
            match transition {
                Some(Transition::Raised { detected_s, .. }) => {
                    if let Some(open) = &mut self.open[k] {
                        open.detected_s = Some(detected_s);
                        open.alarm = v.alarm;
                    }
                }
                Some(Transition::Ended { end_s, .. }) => self.close(k, end_s),
                None => {
                    // A short fault that was never raised is forgotten once it cannot be any more.
                    if self.persistence[k].onset_s().is_none()
                        && self.open[k]
                            .as_ref()
                            .is_some_and(|o| o.detected_s.is_none())
                    {
                        self.open[k] = None;
                    }
                }
            }
        }
        for open in self.open.iter_mut().flatten() {
            for (k, v) in verdicts.iter().enumerate() {
                if !verdicts[open.region].verdict.is_faulty() {
                    continue;
                }
                let agrees = matches!(v.verdict, Verdict::Agrees | Verdict::Blind);
                let is_contrary = match open.class() {
                    // A picture that is there.
                    Verdict::Blank | Verdict::Garbled => agrees && has_ink[k],
                    // Values that have followed their inputs since; a mark that only lives says nothing
                    // of the age of data.
                    Verdict::Late => {
                        follows(v, open.onset_s, offset_s) && !self.freedoms[k].is_empty()
                    }
                    _ => follows(v, open.onset_s, offset_s),
                };
                if is_contrary {
                    open.contradictions[k] += 1;
                }
            }
        }
        snapshots
    }

    /// Where in the frame just seen, which is the best of `region`'s event so far, the picture disagrees, px of the capture,
    /// and the symbol that it is about.
    pub fn note_place(&mut self, region: usize, place: Option<Rect>, symbol: Option<String>) {
        if let Some(open) = &mut self.open[region] {
            open.best_place = (place, symbol);
        }
    }

    /// Whether nothing is known of the alerts of a region's event, and it is time to look, which then is done.
    pub fn wants_alert(&mut self, region: usize) -> bool {
        let now_s = self.last_time_s;
        let is_time = |o: &&mut Open| o.alerts.is_empty() && now_s - o.alerts_looked_s > RETOLD_S;
        let open = self.open[region].as_mut().filter(is_time);
        open.map(|o| o.alerts_looked_s = now_s).is_some()
    }

    /// Which alert a region's event is about.
    pub fn note_alert(&mut self, region: usize, slip: AlertSlip) {
        if let Some(open) = &mut self.open[region] {
            open.alerts.insert(slip);
        }
    }

    fn close(&mut self, k: usize, end_s: f64) {
        if let Some(mut open) = self.open[k].take() {
            open.end_s = end_s;
            self.closed.push(open);
        }
    }

    /// Regions whose event is open and confirmed.
    pub fn raised(&self) -> impl Iterator<Item = usize> {
        self.open
            .iter()
            .flatten()
            .filter(|o| o.detected_s.is_some())
            .map(|o| o.region)
    }

    /// Whether a fault of `region` is under way, confirmed or not.
    #[must_use]
    pub fn is_open(&self, region: usize) -> bool {
        self.open[region].is_some()
    }

    /// Regions whose fault calls for reversion and was confirmed.
    pub fn calling(&self) -> impl Iterator<Item = usize> {
        let confirmed = self.open.iter().flatten();
        let confirmed = confirmed.filter(|o| o.detected_s.is_some() && self.reverts(o));
        confirmed.map(|o| o.region)
    }

    /// Regions whose fault would call for reversion and had lasted for so much of its confirmation time when it was last seen that
    /// another monitor may have confirmed it.
    pub fn near_calling(&self) -> impl Iterator<Item = usize> {
        let open = self.open.iter().flatten().filter(|o| {
            let confirm_s = self.definition.regions()[o.region].confirm_ms() / 1000.0;
            self.reverts(o) && o.end_s - o.onset_s > NEARLY * confirm_s
        });
        let regions = self.definition.regions().iter().zip(&self.is_nearly_off);
        let nearly = regions.enumerate().filter(|(_, (region, is_nearly))| {
            **is_nearly && action(region.hazard) == Action::Revert
        });
        open.map(|o| o.region).chain(nearly.map(|(k, _)| k))
    }

    /// Whether the fault is one to revert for. That the display has reverted is none.
    fn reverts(&self, open: &Open) -> bool {
        let has_reverted = matches!(open.instead, Some(Instead::Reverted(_)));
        !has_reverted && action(self.hazard(open)) == Action::Revert
    }

    /// What a fault means for the crew: as the alert says that is not shown as it is, the gravest of them, else as its region.
    fn hazard(&self, open: &Open) -> Hazard {
        let alerts = self.definition.alerts().enumerate();
        let of_alerts = alerts.filter(|(k, _)| open.alerts.iter().any(|slip| slip.alert == *k));
        let of_alerts = of_alerts.filter_map(|(_, a)| a.list.hazard(a.what));
        let of_region = self.definition.regions()[open.region].hazard;
        of_alerts.min().unwrap_or(of_region)
    }

    /// Ends what is open and returns all events, by onset.
    #[must_use]
    pub fn finish(mut self) -> Vec<Event> {
        for k in 0..self.open.len() {
            let raised = self.open[k]
                .as_ref()
                .is_some_and(|o| o.detected_s.is_some());
            if raised {
                let end_s = match self.persistence[k].finish(self.last_time_s) {
                    Some(Transition::Ended { end_s, .. }) => end_s,
                    Some(Transition::Raised { .. }) | None => self.last_time_s,
                };
                self.close(k, end_s);
            }
        }
        let mut parts = std::mem::take(&mut self.closed);
        parts.retain(|o| o.detected_s.is_some());
        parts.sort_by(|a, b| {
            a.onset_s
                .total_cmp(&b.onset_s)
                .then(a.region.cmp(&b.region))
        });
        let mut events = Vec::new();
        let mut used = vec![false; parts.len()];
        // What concerns the whole frame first: it takes what else its regions said into its remarks.
        for whole_only in [true, false] {
            for k in 0..parts.len() {
                if used[k] {
                    continue;
                }
                let members = self.group(&parts, &used, k);
                let is_whole = self.is_whole(&parts, &members);
                if whole_only && !is_whole {
                    continue;
                }
                for &m in &members {
                    used[m] = true;
                }
                // Members share what stood there as a whole: see `group`.
                let instead = parts[k].instead.map(|instead| self.in_words(instead));
                let mut remarks: Vec<String> = instead.into_iter().collect();
                if is_whole {
                    self.absorb(&parts, &members, &mut used, &mut remarks);
                }
                events.push(self.event(&parts, &members, is_whole, remarks));
            }
        }
        events.sort_by(|a: &Event, b| {
            a.onset_s
                .total_cmp(&b.onset_s)
                .then_with(|| a.regions.cmp(&b.regions))
        });
        events
    }

    /// Events that belong with `parts[first]`: the same class, overlapping in time. Wrong pictures stand
    /// for themselves, but for those of a picture that stands there as a whole.
    fn group(&self, parts: &[Open], used: &[bool], first: usize) -> Vec<usize> {
        let class = parts[first].class();
        let instead = parts[first].instead;
        let mut members = vec![first];
        if class == Verdict::Misleading && instead.is_none() {
            return members;
        }
        let (begin, mut end) = (parts[first].onset_s, parts[first].end_s);
        for (k, part) in parts.iter().enumerate().skip(first + 1) {
            let is_alike = part.class() == class && part.instead == instead;
            if !used[k] && is_alike && part.onset_s <= end && part.end_s >= begin {
                members.push(k);
                end = end.max(part.end_s);
            }
        }
        members
    }

    fn is_whole(&self, parts: &[Open], members: &[usize]) -> bool {
        let class = parts[members[0]].class();
        let mut concerned: Vec<usize> = members.iter().map(|m| parts[*m].region).collect();
        concerned.sort_unstable();
        concerned.dedup();
        let count = self.open.len();
        let is_alone = concerned.len() < 2 && class != Verdict::Garbled;
        if class == Verdict::Misleading || (count > 1 && is_alone) {
            return false;
        }
        let longest = members
            .iter()
            .map(|m| &parts[*m])
            .max_by_key(|o| o.frames)
            .expect("a group has members");
        let contrary = (0..count)
            .filter(|k| !concerned.contains(k) && longest.contradictions[*k] * 3 > longest.frames)
            .count();
        match class {
            // Noise and torn lines need not touch every region, and what they displace looks wrong.
            Verdict::Garbled => {
                2 * longest.broken_frames > longest.frames
                    || self.share_broken_with(parts, longest) > 0.5
            }
            _ => contrary == 0,
        }
    }

    /// What stood there as a whole in place of what was due, in words.
    fn in_words(&self, instead: Instead) -> String {
        let page = |k: usize| &self.definition.pages()[k].id;
        match instead {
            Instead::Page(k) => format!("shows the page \"{}\"", page(k)),
            Instead::Reverted(k) => {
                format!("reverted without cause: shows the page \"{}\"", page(k))
            }
            Instead::Exchanged(Halves::LeftRight) => {
                "its left and right halves are exchanged".into()
            }
            Instead::Exchanged(Halves::UpperLower) => {
                "its upper and lower halves are exchanged".into()
            }
        }
    }

    /// Share of the regions with ink whose picture broke at the same time as that of `part`.
    fn share_broken_with(&self, parts: &[Open], part: &Open) -> f64 {
        let mut broken: Vec<usize> = parts
            .iter()
            .filter(|p| (p.onset_s - part.onset_s).abs() < 0.4 && p.end_s > part.onset_s)
            .filter(|p| {
                matches!(
                    p.class(),
                    Verdict::Garbled | Verdict::Misleading | Verdict::Blank
                )
            })
            .map(|p| p.region)
            .collect();
        broken.sort_unstable();
        broken.dedup();
        let with_ink = self.has_ink.iter().filter(|h| **h).count();
        broken.len() as f64 / with_ink.max(1) as f64
    }

    /// Takes the other events of a whole-frame event's time into its remarks.
    fn absorb(
        &self,
        parts: &[Open],
        members: &[usize],
        used: &mut [bool],
        remarks: &mut Vec<String>,
    ) {
        let begin = members
            .iter()
            .map(|m| parts[*m].onset_s)
            .fold(f64::INFINITY, f64::min);
        let end = members
            .iter()
            .map(|m| parts[*m].end_s)
            .fold(f64::NEG_INFINITY, f64::max);
        for (k, part) in parts.iter().enumerate() {
            let recover_s = self.definition.regions()[part.region].recover_ms / 1000.0;
            if !used[k]
                && part.onset_s >= begin - 0.5
                && part.onset_s <= end
                && part.end_s <= end + recover_s + 0.5
            {
                used[k] = true;
                let id = &self.definition.regions()[part.region].id;
                remarks.push(format!(
                    "{id}: {} from {:.3} s to {:.3} s",
                    name(part.class()),
                    part.onset_s,
                    part.end_s
                ));
            }
        }
    }

    fn event(
        &self,
        parts: &[Open],
        members: &[usize],
        is_whole: bool,
        remarks: Vec<String>,
    ) -> Event {
        let of = |f: fn(&Open) -> f64| members.iter().map(move |m| f(&parts[*m]));
        let mut regions: Vec<usize> = members.iter().map(|m| parts[*m].region).collect();
        regions.sort_unstable();
        regions.dedup();
        let models = self.definition.regions();
        let concerned: Vec<usize> = if is_whole {
            (0..models.len()).collect()
        } else {
            regions.clone()
        };
        let hazards = concerned.iter().map(|k| {
            let own = members.iter().filter(|m| parts[**m].region == *k);
            let own = own.map(|m| self.hazard(&parts[*m])).min();
            own.unwrap_or(models[*k].hazard)
        });
        let hazard = hazards.min().unwrap_or(Hazard::None);
        let alerts: Vec<AlertPlace<'_>> = self.definition.alerts().collect();
        let slips: BTreeSet<AlertSlip> = (members.iter())
            .flat_map(|m| parts[*m].alerts.iter().copied())
            .collect();
        let mut remarks = remarks;
        remarks.extend(
            slips
                .iter()
                .map(|s| alert_in_words(alerts[s.alert].what, s.slip)),
        );
        let pairs: BTreeSet<[ChannelId; 2]> = (members.iter())
            .flat_map(|m| parts[*m].exchanged.iter().copied())
            .collect();
        let channels = self.definition.channels();
        remarks.extend(pairs.iter().map(|pair| {
            let [a, b] = pair.map(|c| &channels[c.0].0);
            format!("{a} and {b} stand in each other's place")
        }));
        let mut ids: Vec<&str> = concerned
            .iter()
            .flat_map(|k| models[*k].requirements.iter().map(String::as_str))
            .collect();
        ids.sort_unstable();
        ids.dedup();
        let worst = members
            .iter()
            .filter_map(|m| parts[*m].worst.as_ref())
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, w)| w.clone());
        let first = members.iter().map(|m| &parts[*m]);
        let first = first.min_by(|a, b| {
            let detected = |o: &Open| o.detected_s.unwrap_or(f64::INFINITY);
            detected(a).total_cmp(&detected(b))
        });
        let shown = members
            .iter()
            .map(|m| &parts[*m])
            .max_by(|a, b| a.best_size.total_cmp(&b.best_size));
        Event {
            class: parts[members[0]].class(),
            regions: if is_whole {
                vec!["*".into()]
            } else {
                regions.iter().map(|k| models[*k].id.clone()).collect()
            },
            onset_s: of(|o| o.onset_s).fold(f64::INFINITY, f64::min),
            detected_s: of(|o| o.detected_s.unwrap_or(f64::INFINITY)).fold(f64::INFINITY, f64::min),
            end_s: of(|o| o.end_s).fold(f64::NEG_INFINITY, f64::max),
            first_frame: members
                .iter()
                .map(|m| parts[*m].first_frame)
                .min()
                .unwrap_or(0),
            last_frame: members
                .iter()
                .map(|m| parts[*m].last_frame)
                .max()
                .unwrap_or(0),
            hazard,
            action: action(hazard),
            worst_error: worst,
            picture_error: shown.map_or_else(PictureError::default, |o| o.best_error),
            place: shown
                .and_then(|o| o.best_place.0)
                .map(|r| [r.x, r.y, r.width, r.height]),
            symbol: shown
                .filter(|_| concerned.len() == 1)
                .and_then(|o| o.best_place.1.clone()),
            things: Vec::new(),
            requirement: ids.join(", "),
            as_a_whole: parts[members[0]].instead.map(AsAWhole::from),
            test: first.and_then(|o| self.test(o)),
            remarks,
            best_frame: shown.map_or(0, |o| o.best_frame),
        }
    }
}

impl EventLog<'_> {
    /// The test that confirmed an event of a region.
    fn test(&self, open: &Open) -> Option<TestRecord> {
        let alarm = open.alarm?;
        let freedom = &self.freedoms[open.region][alarm.freedom];
        Some(TestRecord {
            of: alarm.of,
            region: self.definition.regions()[open.region].id.clone(),
            channel: self.definition.channels()[freedom.channel.0].0.clone(),
            what: freedom.what.to_string(),
            sum: alarm.sum,
            threshold: alarm.threshold,
        })
    }
}

/// Channels whose numbers stand in each other's place: each shows what is due of the other.
fn exchanged(digits: &[Digits]) -> impl Iterator<Item = [ChannelId; 2]> + '_ {
    let is_of = |shown: &Digits, due: &Digits| {
        (shown.displayed - due.expected).abs() < shown.resolution.max(due.resolution) / 2.0
    };
    let pairs = digits.iter().enumerate();
    let pairs = pairs.flat_map(|(k, a)| digits[k + 1..].iter().map(move |b| (a, b)));
    let pairs = pairs.filter(move |(a, b)| {
        a.channel != b.channel && is_of(a, b) && is_of(b, a) && !is_of(a, a) && !is_of(b, b)
    });
    pairs.map(|(a, b)| [a.channel.min(b.channel), a.channel.max(b.channel)])
}

/// What is wrong with an alert.
fn alert_in_words(alert: &Alert, slip: Slip) -> String {
    let class = match alert.class {
        AlertClass::Warning => "warning",
        AlertClass::Caution => "caution",
        AlertClass::Advisory => "advisory",
    };
    let what = match slip {
        Slip::Missing => "is active and not shown",
        Slip::Extra => "is shown and not active",
        Slip::AsAcknowledged => "is shown as acknowledged, and is not",
        Slip::AsNew => "is shown as new, and has been acknowledged",
    };
    format!("the {class} \"{}\" {what}", alert.text)
}

/// True when the region has been seen to follow its inputs since capture time `onset_s`.
fn follows(v: &RegionVerdict, onset_s: f64, offset_s: f64) -> bool {
    v.live_since_s
        .is_some_and(|live| live - offset_s > onset_s + 0.05)
}

/// The reading with the largest error against its tolerance, where that is beyond it; how many times.
fn worst_error(
    definition: &Definition,
    region: usize,
    freedoms: &[Freedom],
    v: &RegionVerdict,
    frame: u64,
) -> Option<(f64, WorstError)> {
    let channels = definition.channels();
    let limits = &definition.regions()[region].tolerance;
    let worst = |channel: usize, displayed: f64, expected: f64| {
        let (name, model) = &channels[channel];
        WorstError {
            channel: name.clone(),
            displayed,
            expected,
            unit: model.unit.clone(),
            frame: Some(frame),
            display: None,
        }
    };
    let tolerance = |channel: usize| limits.get(&channels[channel].0).copied();
    let fitted = v.readings.iter().map(|r| {
        let channel = freedoms[r.freedom].channel.0;
        let allowed = tolerance(channel).unwrap_or(f64::INFINITY);
        let times = r.error.abs() / allowed;
        (times > 1.0).then(|| (times, worst(channel, r.displayed, r.expected)))
    });
    let written = v.digits.iter().map(|d| {
        let allowed = d.resolution.max(tolerance(d.channel.0).unwrap_or(0.0));
        // Both numbers are rounded: only what is beyond that is sure, and a symbol that is read tells it better.
        let sure = (d.error().abs() - d.resolution).max(0.0) / allowed;
        (d.error().abs() > allowed).then(|| (sure, worst(d.channel.0, d.displayed, d.expected)))
    });
    fitted
        .chain(written)
        .flatten()
        .max_by(|a, b| a.0.total_cmp(&b.0))
}
