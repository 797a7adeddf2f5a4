//! `suite.json`: all that is said of the runs together. The page and the JUnit file are made of it alone.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::plan::Planned;
use crate::check;
use crate::evidence::records::rounded;
use crate::evidence::report::bundle::CheckRun;
use crate::evidence::requirements::{Finding, requirements};
use crate::judge::event::Event;
use crate::shard::Shard;

/// The record's name in a suite's folder.
pub const SUITE_FILE: &str = "suite.json";

/// `suite.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SuiteRecord {
    /// Version of the records.
    pub records_version: u32,
    /// Program and version.
    pub tool: String,
    /// Caution that goes with every result.
    pub caution: String,
    /// What the suite is called.
    pub name: String,
    /// Time or number of issue, where one was given.
    pub issued: Option<String>,
    /// `agrees`, `faults found`, `new faults`, `no new faults` or `not judged`.
    pub result: String,
    /// As the program ended: 0, 1 or 2.
    pub exit_status: u8,
    /// Which part of the suite this is; absent when it is whole.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub shard: Option<Shard>,
    /// Number of runs in the plan.
    pub planned: u64,
    /// SHA-256 of the plan.
    pub plan_sha256: String,
    /// What it was compared with.
    pub against: Option<Against>,
    /// The runs, in the order of the plan.
    pub runs: Vec<RunRecord>,
    /// All runs together.
    pub all: Totals,
    /// Runs together by tag.
    pub tags: BTreeMap<String, Totals>,
    /// Earlier suites, the oldest first: the one that this was compared with comes last.
    pub history: Vec<Earlier>,
}

/// The suite that another is compared with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Against {
    /// What it is called.
    pub name: String,
    /// Its time or number of issue, where one was given.
    pub issued: Option<String>,
    /// SHA-256 of its manifest. The folder is no input that verifying looks for: suites are moved and replaced.
    pub manifest_sha256: String,
    /// Its runs that the plan has no more.
    pub gone_runs: Vec<String>,
}

/// Totals of an earlier suite.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Earlier {
    /// Its time or number of issue, where one was given.
    pub issued: Option<String>,
    /// SHA-256 of its manifest.
    pub manifest_sha256: String,
    /// All its runs together.
    pub all: Totals,
    /// Its runs together by tag.
    pub tags: BTreeMap<String, Totals>,
}

/// What several runs come to.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Totals {
    /// Runs.
    pub runs: u64,
    /// Runs with at least one event.
    pub faulty: u64,
    /// Runs that could not be judged, or not to their end.
    pub not_judged: u64,
    /// Events.
    pub events: u64,
    /// Events that the suite it was compared with does not have.
    pub new_events: u64,
    /// Events of that suite which are gone.
    pub gone_events: u64,
    /// The oldest data that any region showed, ms.
    pub worst_staleness_ms: Option<f64>,
    /// The largest error of a reading, in tolerances of its channel.
    pub worst_error_tolerances: Option<f64>,
}

/// One run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunRecord {
    /// Its number in the plan, from 0.
    #[serde(default)]
    pub number: u64,
    /// What it is called; its results lie in `runs/` under this name.
    pub id: String,
    /// Its tags.
    pub tags: Vec<String>,
    /// The capture, as the plan says it.
    pub capture: String,
    /// As the run's summary says it: `agrees`, `faults found`, `broken off`, `not judged`; the last also where there are no results.
    pub result: String,
    /// As `framevouch check` ended: 0, 1 or 2.
    pub exit_status: u8,
    /// Why it was not judged, or not to its end.
    pub error: Option<String>,
    /// SHA-256 of its manifest; absent where there are no results.
    pub manifest_sha256: Option<String>,
    /// The display's name.
    pub display: Option<String>,
    /// Frames judged.
    pub frames: u64,
    /// Length of the capture from its first frame to its last, s.
    pub length_s: f64,
    /// Its events, as they stand in its `events.json`.
    pub events: Vec<Event>,
    /// The oldest data that any region showed, ms; null when no age was measured.
    pub worst_staleness_ms: Option<f64>,
    /// The largest error of a reading in any frame, in tolerances of its channel; null when nothing was read.
    pub worst_error_tolerances: Option<f64>,
    /// What came of each requirement that its display names.
    pub requirements: BTreeMap<String, Finding>,
    /// What changed against the last suite; null when there is none.
    pub changes: Option<Changes>,
}

/// What changed in a run.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Changes {
    /// Whether the last suite has no such run.
    pub is_new_run: bool,
    /// Whether it could be judged then, and cannot now.
    pub is_judged_no_more: bool,
    /// Places in `events` of those that the last suite does not have.
    pub new: Vec<usize>,
    /// Events of the last suite that are gone.
    pub gone: Vec<Event>,
}

impl RunRecord {
    /// A run that left no results.
    #[must_use]
    pub fn failed(run: &Planned, error: String) -> Self {
        Self {
            number: run.number as u64,
            id: run.id.clone(),
            tags: run.tags.clone(),
            capture: run.shown_capture.clone(),
            result: "not judged".into(),
            exit_status: 2,
            error: Some(error),
            manifest_sha256: None,
            display: None,
            frames: 0,
            length_s: 0.0,
            events: Vec::new(),
            worst_staleness_ms: None,
            worst_error_tolerances: None,
            requirements: BTreeMap::new(),
            changes: None,
        }
    }

    /// What the results of a run say, whose manifest has this digest.
    #[must_use]
    pub fn of(run: &Planned, results: &CheckRun, manifest_sha256: &str) -> Self {
        let CheckRun {
            summary,
            display,
            events,
            frames,
            ..
        } = results;
        let exit_status = check::exit_status(summary, events);
        let is_unexplained = exit_status == 2 && summary.error.is_none();
        let nothing = || "no region was judged".to_owned();
        let in_tolerances = frames.worst_errors.iter().filter_map(|(key, worst)| {
            let (region, channel) = key;
            let tolerance = display.region(region)?.tolerances.get(channel)?.value;
            (tolerance > 0.0).then(|| rounded(worst / tolerance))
        });
        let found = requirements(display, summary, events).into_iter();
        Self {
            number: run.number as u64,
            id: run.id.clone(),
            tags: run.tags.clone(),
            capture: run.shown_capture.clone(),
            result: summary.result.clone(),
            exit_status,
            error: summary.error.clone().or(is_unexplained.then(nothing)),
            manifest_sha256: Some(manifest_sha256.to_owned()),
            display: Some(display.name.clone()),
            frames: summary.frames,
            length_s: summary.span_s.map_or(0.0, |[from, to]| rounded(to - from)),
            events: events.clone(),
            worst_staleness_ms: frames.worst_staleness_ms,
            worst_error_tolerances: in_tolerances.reduce(f64::max),
            requirements: found.map(|r| (r.id, r.finding)).collect(),
            changes: None,
        }
    }

    /// Whether it could not be judged, or not to its end.
    #[must_use]
    pub const fn is_unjudged(&self) -> bool {
        self.exit_status == 2
    }

    /// How many of its events are new; all of them where nothing is compared.
    #[must_use]
    pub fn new_events(&self) -> usize {
        let changes = self.changes.as_ref();
        changes.map_or(self.events.len(), |c| c.new.len())
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::evidence::report::tests::event;

    /// A run with so many events, a second apart.
    pub fn run(id: &str, tags: &[&str], events: usize) -> RunRecord {
        RunRecord {
            number: 0,
            id: id.into(),
            tags: tags.iter().map(|t| (*t).to_owned()).collect(),
            capture: format!("{id}.mp4"),
            result: if events == 0 {
                "agrees"
            } else {
                "faults found"
            }
            .into(),
            exit_status: u8::from(events > 0),
            error: None,
            manifest_sha256: Some("00".repeat(32)),
            display: Some("d".into()),
            frames: 75,
            length_s: 3.0,
            events: (0..events)
                .map(|k| event("late", "speed", 10.0 * k as f64))
                .collect(),
            worst_staleness_ms: None,
            worst_error_tolerances: None,
            requirements: BTreeMap::new(),
            changes: None,
        }
    }
}
