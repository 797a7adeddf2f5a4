//! What a campaign shows: coverage, detection times, smallest sizes, nuisance, verifiability. All from its files.

mod coverage;
pub(crate) mod limits;
mod nuisance;
mod sizes;
mod verifiability;

pub use self::coverage::{Coverage, DetectionTimes, is_counted};
pub use self::limits::{ClassLimit, Kept, Limit, by_class};
pub use self::nuisance::{Nuisance, RegionTail};
pub use self::sizes::SizeCurve;
pub use self::verifiability::Verifiability;

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::coverage::{COUNTED_TIMES, coverage, detection_times, least_size};
use self::nuisance::tails;
use self::sizes::size_curves;
use self::verifiability::verifiability;
use crate::campaign::clean::StretchRecord;
use crate::campaign::nearness::Nearness;
use crate::campaign::plan::Plan;
use crate::campaign::records::{Outcomes, TRIALS_FILE, TrialRecord, Why};
use crate::campaign::results::STRETCHES;
use crate::campaign::statistics::binomial::Proportion;
use crate::campaign::statistics::confusion::Confusion;
use crate::campaign::statistics::diagnostic::{DiagnosticCoverage, FailureKind};
use crate::campaign::statistics::poisson::Rate;
use crate::campaign::statistics::{Confidence, Error as StatisticsError};
use crate::campaign::trials::Trials;
use crate::definition::Definition;
use crate::evidence::measurements;
use crate::evidence::records::{AlertRecord, CAUTION, RECORDS_VERSION, rounded};
use crate::files;

/// `campaign.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Summary {
    /// Version of the records.
    pub records_version: u32,
    /// Program and version.
    pub tool: String,
    /// Caution that goes with every result.
    pub caution: String,
    /// The campaign's name.
    pub name: String,
    /// The display.
    pub display: String,
    /// Captures, as the plan names them.
    pub captures: Vec<String>,
    /// Trials of the plan.
    pub planned: u64,
    /// Trials that were carried out.
    pub carried_out: u64,
    /// Trials that found no moment to begin, by kind.
    pub not_begun: BTreeMap<String, u64>,
    /// Faults, by outcome.
    pub outcomes: BTreeMap<String, u64>,
    /// Coverage of all faults together.
    pub coverage: Coverage,
    /// By kind.
    pub by_kind: Vec<Coverage>,
    /// By region; `*` for the whole frame.
    pub by_region: Vec<Coverage>,
    /// By hazard class.
    pub by_hazard: Vec<Coverage>,
    /// By kind and region.
    pub by_kind_and_region: Vec<Coverage>,
    /// Detection times by hazard class, for their plot.
    pub detection_times: Vec<DetectionTimes>,
    /// The limits of the plan, by hazard class and region; records of earlier versions do not hold them.
    #[serde(default)]
    pub limits: Vec<Limit>,
    /// Classes due and given, of faults and of harmless changes.
    pub confusion: Confusion,
    /// Harmless changes that were raised, by kind.
    pub harmless: Vec<Harmless>,
    /// Smallest sizes found.
    pub sizes: Vec<SizeCurve>,
    /// What was raised in clean video.
    pub nuisance: Nuisance,
    /// Diagnostic coverage, where the plan gives failure rates.
    pub diagnostic: Option<DiagnosticCoverage>,
    /// What the pixels can show.
    pub verifiability: Vec<Verifiability>,
    /// By alert of the definition: frames of clean video in which it was due, by state. Of one that never was nothing was tried.
    #[serde(default)]
    pub alerts: Vec<AlertRecord>,
    /// Faults that were not raised in their place as their class.
    pub misses: Vec<Miss>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Harmless changes of one kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Harmless {
    /// Kind of the fault that they are the nearest harmless change to.
    pub kind: String,
    /// What they change.
    pub change: String,
    /// Raised.
    pub raised: Proportion,
}

/// A fault that was not raised in its place as its class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Miss {
    /// Number of the trial.
    pub trial: u64,
    /// Kind.
    pub kind: String,
    /// Region.
    pub region: String,
    /// Channel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<String>,
    /// Size.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<f64>,
    /// In a word.
    pub result: Outcomes,
    /// Class that was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub class: Option<String>,
    /// Why.
    pub why: Option<Why>,
    /// How near it came to being raised.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nearness: Option<Nearness>,
    /// Picture.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub picture: Option<String>,
}

/// What keeps a campaign from being summed up.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A file of results.
    #[error("\"{path}\"{}: {what}; call campaign again to complete the files", line.map_or(String::new(), |l| format!(", line {l}")))]
    Damaged {
        /// The file.
        path: String,
        /// Line, from 1.
        line: Option<usize>,
        /// What is wrong.
        what: String,
    },
    /// Measurements.
    #[error(transparent)]
    Measurements(#[from] measurements::Error),
    /// A figure cannot be formed.
    #[error(transparent)]
    Statistics(#[from] StatisticsError),
}

/// Longest line of records, bytes: 1024 readings of a stretch stay far below.
const LONGEST_LINE: u64 = 16 << 20;

/// Reads the lines of a file of records.
///
/// # Errors
/// When it cannot be read, or a line is no record.
pub fn read_lines<T: for<'a> Deserialize<'a>>(path: &Path) -> Result<Vec<T>, Error> {
    let damaged = |line, what: String| Error::Damaged {
        path: path.display().to_string(),
        line,
        what,
    };
    let file = files::open(path).map_err(|e| damaged(None, e.to_string()))?;
    let mut input = BufReader::new(file);
    let mut records = Vec::new();
    let mut bytes = Vec::new();
    for line in 1.. {
        bytes.clear();
        let read = (&mut input)
            .take(LONGEST_LINE)
            .read_until(b'\n', &mut bytes)
            .map_err(|e| damaged(Some(line), e.to_string()))?;
        if read == 0 {
            break;
        }
        if read as u64 == LONGEST_LINE {
            return Err(damaged(Some(line), "no record is as long".into()));
        }
        let record = serde_json::from_slice(&bytes);
        records.push(record.map_err(|e| damaged(Some(line), e.to_string()))?);
    }
    Ok(records)
}

/// Sums up the campaign in `folder`.
///
/// # Errors
/// When its files are missing or damaged.
pub fn summarise(
    plan: &Plan,
    definition: &Definition,
    trials: &Trials,
    folder: &Path,
    confidence: Confidence,
) -> Result<Summary, Error> {
    let mut records: Vec<TrialRecord> = read_lines(&folder.join(TRIALS_FILE))?;
    records.sort_by_key(|r| r.trial);
    let stretches: Vec<StretchRecord> = read_lines(&folder.join(STRETCHES))?;
    let mut not_begun: BTreeMap<String, u64> = trials
        .by_kind()
        .into_iter()
        .map(|(kind, (faults, twins))| (kind.to_owned(), faults + twins))
        .collect();
    for r in &records {
        if let Some(count) = not_begun.get_mut(&r.kind) {
            *count = count.saturating_sub(1);
        }
    }
    not_begun.retain(|_, count| *count > 0);
    let counted: Vec<&TrialRecord> = records.iter().filter(|t| is_counted(t)).collect();
    let mut outcomes: BTreeMap<String, u64> = BTreeMap::new();
    for t in &records {
        *outcomes.entry(word(&t.outcome.result)).or_default() += 1;
    }
    let order = |kind: &str| {
        crate::inject::MODELS
            .iter()
            .position(|m| m.about().name == kind)
            .unwrap_or(usize::MAX)
    };
    let regions = definition.regions();
    let place = |id: &str| regions.iter().position(|r| r.id == id).map_or(0, |k| k + 1);
    let by = |key: &dyn Fn(&TrialRecord) -> (usize, usize),
              fill: &dyn Fn(&TrialRecord, &mut Coverage)| {
        let mut groups: BTreeMap<(usize, usize), Vec<&TrialRecord>> = BTreeMap::new();
        for t in &counted {
            groups.entry(key(t)).or_default().push(t);
        }
        groups
            .values()
            .map(|list| {
                let mut c = coverage(list, confidence)?;
                fill(list[0], &mut c);
                Ok(c)
            })
            .collect::<Result<Vec<Coverage>, Error>>()
    };
    let sizes = size_curves(definition, &records, confidence)?;
    let (header, tails, hours) = tails(definition, folder, confidence)?;
    let events: Vec<_> = stretches
        .iter()
        .flat_map(|s| {
            s.events
                .iter()
                .filter(|e| e.2 >= s.counted_s[0] && e.2 < s.counted_s[1])
                .map(|(c, r, t)| (s.capture, c.clone(), r.clone(), *t))
        })
        .collect();
    let mut notes = vec![
        format!("coverage counts faults of {COUNTED_TIMES} times what is permitted or more (by the definition; a picture may stand a pixel beside its place), and of the usual size or more where nothing is; smaller ones are in the curves against size"),
        "faults are put in behind the codec, at moments chosen by seed; trials of one stretch of video are not wholly independent".to_owned(),
        "moments: visible faults begin only where they change the picture, or, for those that need motion, where what they strike moves".to_owned(),
    ];
    notes.extend(small(&records));
    notes.extend(brief(&records));
    if !not_begun.is_empty() {
        notes.push("trials that found no moment to begin are not counted".to_owned());
    }
    let rate = Rate::new(events.len() as u64, hours, confidence)?;
    Ok(Summary {
        records_version: RECORDS_VERSION,
        tool: format!("framevouch {}", env!("CARGO_PKG_VERSION")),
        caution: CAUTION.into(),
        name: plan.plan.name.clone(),
        display: definition.file().display.name.clone(),
        captures: plan
            .capture
            .iter()
            .map(|c| c.file.display().to_string())
            .collect(),
        planned: trials.len(),
        carried_out: records.len() as u64,
        not_begun,
        outcomes,
        coverage: coverage(&counted, confidence)?,
        by_kind: by(&|t| (order(&t.kind), 0), &|t, c| {
            c.kind = Some(t.kind.clone());
        })?,
        by_region: by(&|t| (place(&t.region), 0), &|t, c| {
            c.region = Some(t.region.clone());
        })?,
        by_hazard: by(&|t| (t.hazard as usize, 0), &|t, c| {
            c.hazard = Some(word(&t.hazard));
        })?,
        by_kind_and_region: by(&|t| (order(&t.kind), place(&t.region)), &|t, c| {
            c.kind = Some(t.kind.clone());
            c.region = Some(t.region.clone());
        })?,
        detection_times: detection_times(&counted),
        limits: limits::limits(plan, definition, &counted, confidence)?,
        confusion: Confusion::new(
            counted
                .iter()
                .copied()
                .chain(harmless_trials(&records))
                .map(|t| {
                    let due = t.outcome.expected.first().map(String::as_str);
                    let given = t.outcome.class.as_deref();
                    // Where several classes are right, the one that was given is the one that was due.
                    let is_right = given.is_some_and(|g| t.outcome.expected.iter().any(|e| e == g));
                    (if is_right { given } else { due }, given)
                }),
            confidence,
        ),
        harmless: harmless(&records, confidence)?,
        verifiability: verifiability(definition, &header, &stretches, &sizes),
        alerts: alerts(&stretches),
        sizes,
        nuisance: Nuisance {
            rate,
            events,
            tails,
        },
        diagnostic: diagnostic(plan, &counted, confidence)?,
        misses: misses(&counted),
        notes,
    })
}

/// Faults that were carried out and need not be raised as small as they are, in words, a kind each.
fn small(records: &[TrialRecord]) -> Option<String> {
    let mut kinds: BTreeMap<&str, Vec<&TrialRecord>> = BTreeMap::new();
    let faults = records
        .iter()
        .filter(|t| !t.is_twin && !t.outcome.expected.is_empty());
    for t in faults.filter(|t| !t.is_brief && !is_counted(t)) {
        kinds.entry(&t.kind).or_default().push(t);
    }
    let words = kinds.iter().map(|(kind, list)| {
        let raised = list.iter().filter(|t| is_in_place(t)).count();
        let least = list.iter().filter_map(|t| least_size(t)).map(rounded);
        let (low, high) = least.fold((f64::INFINITY, 0.0f64), |(l, h), v| (l.min(v), h.max(v)));
        let range = if low < high {
            format!("{low} to {high}")
        } else {
            low.to_string()
        };
        let unit = list[0].unit.as_deref().unwrap_or_default();
        format!(
            "{kind} below {range} {unit} ({raised} of {} raised)",
            list.len()
        )
    });
    let words: Vec<String> = words.collect();
    (!words.is_empty()).then(|| format!("need not be raised, being small: {}", words.join(", ")))
}

/// Faults that need not be raised since what they change beyond what is permitted is there for less than it takes to confirm them,
/// in words.
fn brief(records: &[TrialRecord]) -> Option<String> {
    let mut kinds: BTreeMap<&str, u64> = BTreeMap::new();
    let faults = records
        .iter()
        .filter(|t| !t.is_twin && !t.outcome.expected.is_empty());
    for t in faults.filter(|t| t.is_brief) {
        *kinds.entry(&t.kind).or_default() += 1;
    }
    let words: Vec<String> = kinds
        .iter()
        .map(|(kind, n)| format!("{n} of {kind}"))
        .collect();
    (!words.is_empty()).then(|| {
        format!(
            "need not be raised, showing no more than is permitted, or for less than it takes to confirm them: {}",
            words.join(", ")
        )
    })
}

/// The alerts that were due, of all stretches together.
fn alerts(stretches: &[StretchRecord]) -> Vec<AlertRecord> {
    let mut all: Vec<AlertRecord> = Vec::new();
    for (k, alert) in stretches.iter().flat_map(|s| s.alerts.iter().enumerate()) {
        match all.get_mut(k) {
            None => all.push(alert.clone()),
            Some(sum) => {
                let added = |a: Option<u64>, b: Option<u64>| a.zip(b).map(|(a, b)| a + b);
                sum.active_frames += alert.active_frames;
                sum.new_frames = added(sum.new_frames, alert.new_frames);
                sum.acknowledged_frames = added(sum.acknowledged_frames, alert.acknowledged_frames);
            }
        }
    }
    all
}

/// A region for readers: `*` is the whole frame.
#[must_use]
pub fn place_name(region: &str) -> &str {
    if region == "*" { "whole frame" } else { region }
}

/// A plain enum as it stands in the records.
#[must_use]
pub fn word(value: &impl Serialize) -> String {
    serde_json::to_value(value)
        .ok()
        .and_then(|v| v.as_str().map(str::to_owned))
        .unwrap_or_default()
}

fn is_in_place(t: &TrialRecord) -> bool {
    matches!(t.outcome.result, Outcomes::Detected | Outcomes::WrongClass)
}

/// Trials of changes that must not be raised: no class is due.
fn harmless_trials(records: &[TrialRecord]) -> impl Iterator<Item = &TrialRecord> {
    records.iter().filter(|t| t.outcome.expected.is_empty())
}

fn harmless(records: &[TrialRecord], confidence: Confidence) -> Result<Vec<Harmless>, Error> {
    let mut groups: BTreeMap<(String, String), (u64, u64)> = BTreeMap::new();
    for t in harmless_trials(records) {
        let change = t.change.clone().unwrap_or_default();
        let counts = groups.entry((t.kind.clone(), change)).or_default();
        counts.0 += u64::from(t.outcome.result == Outcomes::Nuisance);
        counts.1 += 1;
    }
    groups
        .into_iter()
        .map(|((kind, change), (k, n))| {
            Ok(Harmless {
                kind,
                change,
                raised: Proportion::new(k, n, confidence)?,
            })
        })
        .collect()
}

fn diagnostic(
    plan: &Plan,
    counted: &[&TrialRecord],
    confidence: Confidence,
) -> Result<Option<DiagnosticCoverage>, Error> {
    if plan.failure_rate_per_hour.is_empty() {
        return Ok(None);
    }
    let kinds: Vec<FailureKind> = plan
        .failure_rate_per_hour
        .iter()
        .map(|(kind, rate)| {
            let list = counted.iter().filter(|t| t.kind == *kind);
            FailureKind {
                kind: kind.clone(),
                dangerous_per_hour: *rate,
                detected: list.clone().filter(|t| is_in_place(t)).count() as u64,
                trials: list.count() as u64,
            }
        })
        .collect();
    Ok(Some(DiagnosticCoverage::new(&kinds, 0.0, confidence)?))
}

fn misses(counted: &[&TrialRecord]) -> Vec<Miss> {
    counted
        .iter()
        .filter(|t| t.outcome.result != Outcomes::Detected)
        .map(|t| Miss {
            trial: t.trial,
            kind: t.kind.clone(),
            region: t.region.clone(),
            channel: t.channel.clone(),
            size: t.size,
            result: t.outcome.result,
            class: t.outcome.class.clone(),
            why: t.outcome.why,
            nearness: t.outcome.nearness.clone(),
            picture: t.outcome.picture.clone(),
        })
        .collect()
}
