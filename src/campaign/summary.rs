//! What a campaign shows: coverage, detection times, smallest sizes, nuisance, verifiability. All from its files.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::nearness::Nearness;
use super::plan::Plan;
use super::records::{Outcomes, TRIALS_FILE, TrialRecord, Why};
use super::run::{STRETCHES, StretchRecord};
use super::statistics::binomial::Proportion;
use super::statistics::confusion::Confusion;
use super::statistics::detection::{self, Detection, ScaleChoice};
use super::statistics::diagnostic::{DiagnosticCoverage, FailureKind};
use super::statistics::extremes::{self, StabilityPoint};
use super::statistics::poisson::Rate;
use super::statistics::spread::Spread;
use super::statistics::{Confidence, Error as StatisticsError};
use super::trials::Trial;
use crate::definition::Definition;
use crate::evidence::measurements::{self, Header, MEASUREMENTS_FILE, Reader};
use crate::evidence::records::{CAUTION, RECORDS_VERSION, rounded};
use crate::inject::TOLERANCES;
use crate::tune::strength::{Confirmation, confirmed, of_frames};
use crate::tune::tail::CleanStrengths;

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
    /// Classes due and given.
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
    /// Faults that were not raised in their place as their class.
    pub misses: Vec<Miss>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Coverage of some faults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Coverage {
    /// Kind, where they are of one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// Region, where they are in one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub region: Option<String>,
    /// Hazard class, where they are of one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hazard: Option<String>,
    /// Raised in place, as any class.
    pub in_place: Proportion,
    /// Raised in place as the right class.
    pub as_class: Proportion,
    /// Detection time of those in place, ms.
    pub detection_ms: Option<Spread>,
    /// Limit of the detection time, ms, where all have the same.
    pub limit_ms: Option<f64>,
    /// Raised within the limit, of those that have one.
    pub within_limit: Option<Proportion>,
}

/// Detection times of one hazard class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DetectionTimes {
    /// Hazard class.
    pub hazard: String,
    /// Limit, ms, where the plan has one.
    pub limit_ms: Option<f64>,
    /// Times of the faults in place, ms, rising; of more than 400, each n-th.
    pub times_ms: Vec<f64>,
    /// Faults not raised in place, thinned in the same way.
    pub missed: u64,
}

/// Most detection times that are kept for a plot.
const KEPT_TIMES: usize = 400;

fn detection_times(counted: &[&TrialRecord]) -> Vec<DetectionTimes> {
    let mut groups: BTreeMap<usize, Vec<&TrialRecord>> = BTreeMap::new();
    for t in counted {
        groups.entry(t.hazard as usize).or_default().push(t);
    }
    groups
        .into_values()
        .map(|list| {
            let found = list.iter().filter(|t| is_in_place(t));
            let mut times_ms: Vec<f64> = found.filter_map(|t| t.outcome.detection_ms).collect();
            times_ms.sort_by(f64::total_cmp);
            let missed = (list.len() - times_ms.len()) as u64;
            let step = times_ms.len().div_ceil(KEPT_TIMES).max(1);
            DetectionTimes {
                hazard: word(&list[0].hazard),
                limit_ms: list[0].outcome.limit_ms,
                // From the end, so that the worst one stays.
                times_ms: {
                    let mut kept: Vec<f64> = times_ms.iter().rev().step_by(step).copied().collect();
                    kept.reverse();
                    kept
                },
                missed: missed.div_ceil(step as u64),
            }
        })
        .collect()
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

/// Probability of detection against size.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizeCurve {
    /// Kind.
    pub kind: String,
    /// Region.
    pub region: String,
    /// Channel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<String>,
    /// Unit of the sizes.
    pub unit: String,
    /// Tolerance of the channel, in its unit, where sizes count in tolerances.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
    /// Unit of the tolerance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel_unit: Option<String>,
    /// Hits and misses.
    pub trials: Vec<detection::Trial>,
    /// The curve, or why there is none.
    pub detection: Detection,
}

/// What was raised in clean video.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Nuisance {
    /// Trips and hours.
    pub rate: Rate,
    /// What was raised: capture, class, regions, time of detection in s.
    pub events: Vec<(usize, String, Vec<String>, f64)>,
    /// By region: the tail of what clean video shows.
    pub tails: Vec<RegionTail>,
}

/// The tail of one region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionTail {
    /// Region.
    pub region: String,
    /// Peaks above the threshold, in tolerances, rising.
    pub peaks: Vec<f64>,
    /// The fitted tail, or why there is none. An extrapolation.
    pub fit: extremes::Outcome,
    /// How the fit depends on its threshold.
    pub stability: Vec<StabilityPoint>,
}

/// What the pixels of one reading can show on this chain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verifiability {
    /// Region.
    pub region: String,
    /// Channel.
    pub channel: String,
    /// What is read.
    pub what: String,
    /// Unit.
    pub unit: String,
    /// Readings that the figures rest on.
    pub readings: u64,
    /// Pixels for a unit, mean.
    pub px_per_unit: Option<f64>,
    /// Mean error of the readings, in the unit.
    pub bias: Option<f64>,
    /// Root mean square error of the readings, in the unit.
    pub rms: Option<f64>,
    /// The same in pixels.
    pub rms_px: Option<f64>,
    /// Standard error that the readings claim, mean, in the unit.
    pub standard_error: Option<f64>,
    /// Tolerance, in the unit.
    pub tolerance: Option<f64>,
    /// The same in pixels.
    pub tolerance_px: Option<f64>,
    /// Smallest constant error found with 90 % probability at the thresholds as they are, in the unit, with 95 %
    /// confidence (a90/95), where trials show it.
    pub smallest_error: Option<f64>,
    /// Share of the time in which a standstill of the region would not show.
    pub blind_share: f64,
    /// In plain words.
    pub advice: Vec<String>,
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
    let file = File::open(path).map_err(|e| damaged(None, e.to_string()))?;
    BufReader::new(file)
        .lines()
        .enumerate()
        .map(|(k, line)| {
            let line = line.map_err(|e| damaged(Some(k + 1), e.to_string()))?;
            serde_json::from_str(&line).map_err(|e| damaged(Some(k + 1), e.to_string()))
        })
        .collect()
}

/// Size from which a fault must be raised, in tolerances: those of the usual size and larger are counted for
/// coverage.
const COUNTED_TOLERANCES: f64 = 2.0;

/// Whether a trial counts for coverage: a fault, large enough that it must be raised.
#[must_use]
pub fn is_counted(t: &TrialRecord) -> bool {
    let is_small =
        t.unit.as_deref() == Some(TOLERANCES) && t.size.unwrap_or(0.0) < COUNTED_TOLERANCES - 1e-9;
    let usual = crate::inject::model(&t.kind)
        .and_then(|m| m.about().axis)
        .map_or(0.0, |a| a.usual);
    let is_below_usual =
        t.unit.as_deref() != Some(TOLERANCES) && t.size.is_some_and(|s| s < usual - 1e-9);
    !t.is_twin && !t.outcome.expected.is_empty() && !is_small && !is_below_usual
}

/// Sums up the campaign in `folder`.
///
/// # Errors
/// When its files are missing or damaged.
pub fn summarise(
    plan: &Plan,
    definition: &Definition,
    trials: &[Trial],
    folder: &Path,
    confidence: Confidence,
) -> Result<Summary, Error> {
    let mut records: Vec<TrialRecord> = read_lines(&folder.join(TRIALS_FILE))?;
    records.sort_by_key(|r| r.trial);
    let stretches: Vec<StretchRecord> = read_lines(&folder.join(STRETCHES))?;
    let done: BTreeSet<u64> = records.iter().map(|r| r.trial).collect();
    let mut not_begun: BTreeMap<String, u64> = BTreeMap::new();
    for t in trials.iter().filter(|t| !done.contains(&t.number)) {
        *not_begun.entry(t.fault.kind.to_owned()).or_default() += 1;
    }
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
        format!("coverage counts faults of {COUNTED_TOLERANCES} tolerances or more, and of the usual size or more where sizes are not tolerances; smaller ones are in the curves against size"),
        "faults are put in behind the codec, at moments chosen by seed; trials of one stretch of video are not wholly independent".to_owned(),
        "moments: visible faults begin only where they change the picture, or, for those that need motion, where what they strike moves".to_owned(),
    ];
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
        planned: trials.len() as u64,
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
        confusion: Confusion::new(
            counted.iter().map(|t| {
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

fn coverage(list: &[&TrialRecord], confidence: Confidence) -> Result<Coverage, Error> {
    let n = list.len() as u64;
    let count = |is: &dyn Fn(&TrialRecord) -> bool| list.iter().filter(|t| is(t)).count() as u64;
    let times: Vec<f64> = list
        .iter()
        .filter(|t| is_in_place(t))
        .filter_map(|t| t.outcome.detection_ms)
        .collect();
    let limits: BTreeSet<u64> = list
        .iter()
        .map(|t| t.outcome.limit_ms.map_or(0, f64::to_bits))
        .collect();
    let limited: Vec<&&TrialRecord> = list
        .iter()
        .filter(|t| t.outcome.limit_ms.is_some())
        .collect();
    let in_time = limited
        .iter()
        .filter(|t| {
            is_in_place(t)
                && t.outcome
                    .detection_ms
                    .zip(t.outcome.limit_ms)
                    .is_some_and(|(ms, limit)| ms <= limit + 1e-3)
        })
        .count() as u64;
    Ok(Coverage {
        kind: None,
        region: None,
        hazard: None,
        in_place: Proportion::new(count(&is_in_place), n, confidence)?,
        as_class: Proportion::new(
            count(&|t| t.outcome.result == Outcomes::Detected),
            n,
            confidence,
        )?,
        detection_ms: Spread::new(&times, confidence)?,
        limit_ms: match limits.iter().next() {
            Some(bits) if limits.len() == 1 && *bits != 0 => Some(f64::from_bits(*bits)),
            _ => None,
        },
        within_limit: if limited.is_empty() {
            None
        } else {
            Some(Proportion::new(in_time, limited.len() as u64, confidence)?)
        },
    })
}

fn harmless(records: &[TrialRecord], confidence: Confidence) -> Result<Vec<Harmless>, Error> {
    let mut groups: BTreeMap<(String, String), (u64, u64)> = BTreeMap::new();
    for t in records.iter().filter(|t| t.outcome.expected.is_empty()) {
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

/// Sizes of one kind in one place, from which a curve is asked for.
const CURVE_SIZES: usize = 3;

fn size_curves(
    definition: &Definition,
    records: &[TrialRecord],
    confidence: Confidence,
) -> Result<Vec<SizeCurve>, Error> {
    let mut groups: BTreeMap<(String, String, Option<String>), Vec<&TrialRecord>> = BTreeMap::new();
    for t in records.iter().filter(|t| !t.is_twin && t.size.is_some()) {
        let key = (t.kind.clone(), t.region.clone(), t.channel.clone());
        groups.entry(key).or_default().push(t);
    }
    let mut curves = Vec::new();
    for ((kind, region, channel), list) in groups {
        let distinct: BTreeSet<u64> = list
            .iter()
            .filter_map(|t| t.size.map(f64::to_bits))
            .collect();
        if distinct.len() < CURVE_SIZES {
            continue;
        }
        let trials: Vec<detection::Trial> = list
            .iter()
            .filter_map(|t| {
                Some(detection::Trial {
                    size: t.size?,
                    is_detected: is_in_place(t),
                })
            })
            .collect();
        let unit = list[0].unit.clone().unwrap_or_default();
        let tolerance = channel
            .as_ref()
            .filter(|_| unit == TOLERANCES)
            .and_then(|c| {
                let r = definition.regions().iter().find(|r| r.id == region)?;
                r.tolerance.get(c).copied()
            });
        let channel_unit = channel.as_ref().and_then(|name| {
            let (_, c) = definition.channels().iter().find(|(n, _)| n == name)?;
            Some(c.unit.clone())
        });
        curves.push(SizeCurve {
            detection: detection::fit(&trials, ScaleChoice::LowerDeviance, confidence)?,
            kind,
            region,
            channel,
            unit,
            tolerance,
            channel_unit,
            trials,
        });
    }
    Ok(curves)
}

/// Replicates of the bootstrap of a tail.
const TAIL_REPLICATES: u32 = 400;

/// Header of the measurements, tail of each region, hours of clean video.
fn tails(
    definition: &Definition,
    folder: &Path,
    confidence: Confidence,
) -> Result<(Header, Vec<RegionTail>, f64), Error> {
    let path = folder.join(MEASUREMENTS_FILE);
    let name = path.display().to_string();
    let file = File::open(&path).map_err(|e| Error::Damaged {
        path: name.clone(),
        line: None,
        what: e.to_string(),
    })?;
    let mut reader = Reader::new(BufReader::new(file), &name)?;
    let header = reader.header().clone();
    let mut values: Vec<Vec<f64>> = vec![Vec::new(); header.regions.len()];
    let mut hours = 0.0;
    while let Some(clip) = reader.clip()? {
        if clip.trial.is_some() {
            continue;
        }
        if let (Some(first), Some(last)) = (clip.times_s.first(), clip.times_s.last()) {
            hours += (last - first) / 3600.0;
        }
        for r in &clip.regions {
            let Some(model) = definition.regions().get(r.region) else {
                continue;
            };
            let confirmation = Confirmation {
                confirm_s: model.confirm_ms / 1000.0,
                often: model.confirm_frames,
                recover_s: model.recover_ms / 1000.0,
            };
            let after = confirmed(&clip.times_s, &of_frames(r), confirmation);
            values[r.region].extend(after);
        }
    }
    let mut tails = Vec::new();
    for (k, values) in values.into_iter().enumerate() {
        let strengths = CleanStrengths::new(values);
        let levels = vec![0.0, 0.25, 0.5, 0.75, 1.0, 1.5];
        let Some(fit) = strengths.fit(hours, levels, confidence, TAIL_REPLICATES)? else {
            continue;
        };
        tails.push(RegionTail {
            region: header.regions[k].id.clone(),
            peaks: strengths.peaks(),
            fit,
            stability: strengths.stability()?,
        });
    }
    Ok((header, tails, hours))
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

/// Pixels that a tolerance should have at least.
const LEAST_TOLERANCE_PX: f64 = 1.0;
/// Blind share from which on it is worth a word.
const BLIND_SHARE: f64 = 0.5;

fn verifiability(
    definition: &Definition,
    header: &Header,
    stretches: &[StretchRecord],
    sizes: &[SizeCurve],
) -> Vec<Verifiability> {
    let mut out = Vec::new();
    for (k, region) in header.regions.iter().enumerate() {
        let blind: Vec<f64> = stretches
            .iter()
            .filter_map(|s| s.blind.get(k).copied())
            .collect();
        let blind_share = rounded(blind.iter().sum::<f64>() / blind.len().max(1) as f64);
        for (j, reading) in region.readings.iter().enumerate() {
            let mut s = [0.0; 5];
            for stretch in stretches {
                if let Some(sums) = stretch.readings.get(k).and_then(|r| r.get(j)) {
                    s.iter_mut().zip(sums).for_each(|(s, a)| *s += a);
                }
            }
            let n = s[0];
            let mean = |v: f64| (n > 0.0).then(|| v / n);
            let px_per_unit = mean(s[4]);
            let rms = mean(s[2]).map(f64::sqrt);
            let tolerance = (reading.tolerance > 0.0).then_some(reading.tolerance);
            let in_px = |v: Option<f64>| v.zip(px_per_unit).map(|(v, p)| rounded(v * p));
            let smallest_error = sizes
                .iter()
                .find(|c| {
                    c.kind == "bias"
                        && c.region == region.id
                        && c.channel.as_ref() == Some(&reading.channel)
                })
                .and_then(|c| match &c.detection {
                    Detection::Fitted(curve) => Some(rounded(curve.a90_95 * c.tolerance?)),
                    Detection::Refused(_) => None,
                });
            let mut row = Verifiability {
                region: region.id.clone(),
                channel: reading.channel.clone(),
                what: reading.what.clone(),
                unit: reading.unit.clone(),
                readings: n as u64,
                bias: mean(s[1]).map(rounded),
                rms: rms.map(rounded),
                rms_px: in_px(rms),
                standard_error: mean(s[3]).map(rounded),
                tolerance,
                tolerance_px: in_px(tolerance),
                px_per_unit: px_per_unit.map(rounded),
                smallest_error,
                blind_share,
                advice: Vec::new(),
            };
            row.advice = advice(definition, &row);
            out.push(row);
        }
    }
    out
}

fn advice(definition: &Definition, row: &Verifiability) -> Vec<String> {
    let mut advice = Vec::new();
    if row.readings == 0 {
        advice.push("never read here: nothing is known of it on this chain".into());
        return advice;
    }
    match (row.tolerance, row.tolerance_px) {
        (None, _) => advice.push("no tolerance is given: its value is not held against anything".into()),
        (Some(tolerance), Some(px)) if px < LEAST_TOLERANCE_PX => advice.push(format!(
            "the tolerance of {tolerance} {} is {px:.2} px here: too little to be told on a capture; draw it larger, or widen the tolerance if the safety assessment allows",
            row.unit
        )),
        _ => {}
    }
    if let (Some(smallest), Some(tolerance)) = (row.smallest_error, row.tolerance)
        && smallest > 2.0 * tolerance
    {
        advice.push(format!(
            "errors are found reliably only from {smallest:.3} {} on, {:.1} times the tolerance",
            row.unit,
            smallest / tolerance
        ));
    }
    let has_liveness = definition.regions().iter().any(|r| {
        r.symbol
            .iter()
            .any(|s| matches!(s, crate::definition::model::Symbol::Liveness(_)))
    });
    if row.blind_share > BLIND_SHARE {
        advice.push(format!(
            "a standstill would not show {:.0} % of the time; {}",
            row.blind_share * 100.0,
            if has_liveness {
                "the liveness cell shows one of the whole display, not of this region alone"
            } else {
                "a liveness cell would show one of the whole display"
            }
        ));
    }
    advice
}
