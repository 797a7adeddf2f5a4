//! What a run writes: a line a frame, and at its end events and summary.

use std::collections::BTreeMap;

use super::beside::Comparison;
use super::place::LEAST_SEEN;
use super::resolved;
use super::run::{Run, UNCHECKED, key, whole};
use super::{Error, Outcome};
use crate::capture::profile::Profile;
use crate::capture::{CapturedFrame, StreamInfo};
use crate::evidence::records::{
    CAUTION, FrameRecord, HiddenRecord, RECORDS_VERSION, ReadingRecord, RegionRecord, Summary,
    rounded,
};
use crate::examine::place::symbol_in_words;
use crate::examine::region::due_time_s;
use crate::judge::event::{Action, Event, Thing};
use crate::judge::region::RegionVerdict;
use crate::judge::reversion::ReversionWatch;
use crate::recording::Recording;

impl Run<'_> {
    /// What was found in a frame, as a line of the results.
    pub(super) fn record(&self, frame: &CapturedFrame, verdicts: &[RegionVerdict]) -> FrameRecord {
        let regions = self.definition.regions();
        let channels = self.definition.channels();
        let due_s = due_time_s(self.recording, frame.time_s + self.offset_s, self.latency_s);
        let thing = |channel: &String| {
            let (table, slot) = self.definition.slot_of([channel.as_str()])?;
            let holder = self.recording.holder(table, slot, due_s);
            holder.map(str::to_owned)
        };
        FrameRecord {
            frame: frame.index,
            time_s: rounded(frame.time_s),
            crc32: frame.crc32,
            verdict: whole(self.definition, verdicts),
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
                            what: f.what.to_string(),
                            displayed: rounded(r.displayed),
                            expected: rounded(r.expected),
                            error: rounded(r.error),
                            standard_error: rounded(r.standard_error),
                            unit: model.unit.clone(),
                            px_per_unit: Some(rounded(r.px_per_unit)),
                            thing: thing(channel),
                        }
                    });
                    let written = v.digits.iter().map(|d| {
                        let (channel, model) = &channels[d.channel.0];
                        ReadingRecord {
                            channel: channel.clone(),
                            what: d.what.to_string(),
                            displayed: rounded(d.displayed),
                            expected: rounded(d.expected),
                            error: rounded(d.error()),
                            // Uniform within a step of the last digit.
                            standard_error: rounded(d.resolution / 12f64.sqrt()),
                            unit: model.unit.clone(),
                            px_per_unit: None,
                            thing: thing(channel),
                        }
                    });
                    let readings = fitted.chain(written).collect();
                    let hidden = v.hidden.iter().map(|k| HiddenRecord {
                        channel: channels[freedoms[*k].channel.0].0.clone(),
                        what: freedoms[*k].what.to_string(),
                    });
                    let record = RegionRecord {
                        verdict: v.verdict,
                        staleness_ms: v.staleness_s.map(|s| rounded(s * 1000.0)),
                        staleness_se_ms: v.staleness_se_s.map(|s| rounded(s * 1000.0)),
                        readings,
                        hidden: hidden.collect(),
                    };
                    (regions[k].id.clone(), record)
                })
                .collect(),
        }
    }

    /// What had the slots that an event is about, as it began.
    pub(super) fn things(&self, event: &Event) -> Vec<Thing> {
        let due_s = due_time_s(
            self.recording,
            event.onset_s + self.offset_s,
            self.latency_s,
        );
        let read = event.worst_error.as_ref();
        let read = read.and_then(|w| self.definition.slot_of([w.channel.as_str()]));
        let regions = self.definition.regions().iter().enumerate();
        let own = regions.filter(|(_, r)| event.regions.contains(&r.id));
        let symbols = own.flat_map(|(k, r)| r.symbol.iter().enumerate().map(move |s| (k, s)));
        let called = |k, n| event.symbol == Some(symbol_in_words(self.definition, k, n));
        let shown = symbols.filter(|(k, (n, _))| called(*k, *n));
        let shown = shown.filter_map(|(_, (_, s))| self.definition.slot_of(s.channels_used()));
        let mut slots: Vec<(&str, u32)> = read.into_iter().chain(shown).collect();
        slots.dedup();
        let things = slots.into_iter().filter_map(|(table, slot)| {
            Some(Thing {
                id: self.recording.holder(table, slot, due_s)?.to_owned(),
                table: table.to_owned(),
                slot,
            })
        });
        things.collect()
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "called once, with all that the summary holds"
    )]
    pub(super) fn finish(
        mut self,
        info: StreamInfo,
        profile: Profile,
        profile_from: String,
        (offset_s, offset_from): (f64, String),
        mut notes: Vec<String>,
        error: Option<Error>,
        recording: &Recording,
    ) -> Outcome {
        notes.extend(self.gaps.note());
        notes.extend(self.resolved.note(self.definition, self.frames));
        let freedoms = |k: usize| self.regions.examiners[k].freedoms();
        notes.extend(self.hidden.note(self.definition, self.frames, freedoms));
        notes.extend(self.other_units.notes(self.definition, recording));
        let regions = self.definition.regions();
        let missing = recording.missing_channels();
        let cut = |k: usize| Some(self.seen[k]).filter(|share| *share < 1.0);
        let in_part: Vec<String> = (regions.iter().enumerate())
            .filter_map(|(k, r)| Some((r, cut(k).filter(|share| *share >= LEAST_SEEN)?)))
            .map(|(r, share)| format!("{} to {:.0} %", r.id, 100.0 * share))
            .collect();
        if !in_part.is_empty() {
            notes.push(format!(
                "the capture's edge cuts regions: {}; what lies outside is not judged",
                in_part.join(", ")
            ));
        }
        let not_judged: BTreeMap<String, String> = regions
            .iter()
            .enumerate()
            .filter_map(|(k, r)| {
                if r.is_unchecked() {
                    return Some((r.id.clone(), UNCHECKED.to_owned()));
                }
                if self.resolved.is_never(k, self.frames) {
                    return Some((r.id.clone(), resolved::NEVER.to_owned()));
                }
                let lacks: Vec<&str> = self
                    .definition
                    .channels_needed(k)
                    .into_iter()
                    .filter(|c| missing.iter().any(|m| m == c))
                    .collect();
                if let Some(share) = cut(k).filter(|share| *share < LEAST_SEEN) {
                    let words = format!("only {:.0} % of it is in the capture", 100.0 * share);
                    return Some((r.id.clone(), words));
                }
                (!lacks.is_empty()).then(|| {
                    (
                        r.id.clone(),
                        format!("the recording lacks {}", lacks.join(", ")),
                    )
                })
            })
            .collect();
        let alerts = self.alerts.records(self.definition);
        let span_s = self
            .last_time_s
            .map(|last| [rounded(self.first_time_s), rounded(last)]);
        let mut events = self.events();
        if let Some(watch) = &mut self.reversion {
            watch.finish();
        }
        notes.extend(self.beside.iter().map(Comparison::note));
        // What another chain shows is no fault of the display.
        if let Some(Error::Chain {
            since_frame: Some(since_frame),
            ..
        }) = &error
        {
            events.retain(|e| e.first_frame < *since_frame);
            if let Some(watch) = &mut self.reversion {
                watch.forget_from(*since_frame);
            }
            if !events.iter().any(|e| e.action == Action::Revert) {
                self.reverted_at_s = None;
            }
        }
        let mut by_class: BTreeMap<String, u64> = BTreeMap::new();
        for e in &events {
            *by_class.entry(key(e.class)).or_default() += 1;
        }
        let all_not_judged = not_judged.len() == regions.len();
        let result = if !events.is_empty() {
            "faults found"
        } else if matches!(error, Some(Error::BrokenOff { .. })) {
            "broken off"
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
            alerts,
            blind_s: regions
                .iter()
                .zip(&self.blind_s)
                .map(|(r, s)| (r.id.clone(), rounded(*s)))
                .collect(),
            not_judged,
            unchecked_px: self.definition.unchecked_px() as i64,
            offset_s: rounded(offset_s),
            offset_from,
            profile,
            profile_from,
            capture: info,
            reverted_at_s: self.reverted_at_s.map(rounded),
            reversions: (self.reversion.iter())
                .flat_map(ReversionWatch::records)
                .collect(),
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
