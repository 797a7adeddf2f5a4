//! Sets of thresholds, judged by look-ups, and the one that is recommended.

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::limit::{Limit, plan_of};
use super::material::Material;
use super::strength::{Confirmation, FACTORS, Staircase, factors, peaks};
use super::tail::CleanStrengths;
use crate::campaign::records::Why;
use crate::campaign::statistics::binomial::{Proportion, trials_without_miss};
use crate::campaign::statistics::extremes;
use crate::campaign::statistics::poisson::Rate;
use crate::campaign::statistics::spread::Spread;
use crate::campaign::statistics::{Confidence, Error};
use crate::definition::Definition;
use crate::definition::model::{Hazard, Region};

/// What is asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Demand {
    /// Nuisance trips of the whole display, at most, 1/h.
    pub nuisance_per_hour: f64,
    /// Lower bound of the coverage in each region concerned, at least.
    pub coverage: f64,
    /// Longest detection time, ms.
    pub detection_ms: f64,
    /// Regions of this hazard class and above are concerned.
    pub hazard: Hazard,
    /// Confidence of all bounds.
    pub confidence: Confidence,
}

/// How a set of thresholds does in one region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Score {
    /// Factor on the region's tolerances.
    pub factor: f64,
    /// Confirmation time, ms; where a budget decides, that of pictures that are wrong in themselves.
    pub confirm_ms: f64,
    /// Budget of the region's hazard class, 1/h, where that decides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget_per_hour: Option<f64>,
    /// Faults raised.
    pub coverage: Proportion,
    /// Faults raised within the longest detection time.
    pub in_time: Proportion,
    /// Detection times, ms.
    pub detection_ms: Option<Spread>,
    /// Harmless changes raised.
    pub harmless_raised: Proportion,
    /// Nuisance trips that the clean video would have had.
    pub nuisance: Rate,
    /// Nuisance trips by the fitted tail and the upper end of its band, 1/h; null where no tail could be
    /// fitted. An extrapolation.
    pub tail_per_hour: Option<[f64; 2]>,
}

/// A demand that a set of thresholds does not meet.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Unmet {
    /// Too many nuisance trips.
    Nuisance,
    /// Too few faults raised, or too few tried to know.
    Coverage,
    /// Raised too late.
    Detection,
}

/// What is recommended for one region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionTuned {
    /// The region.
    pub region: String,
    /// Its hazard class.
    pub hazard: Hazard,
    /// Requirement ids that it verifies.
    #[serde(default)]
    pub requirements: Vec<String>,
    /// Whether the demand is made of it.
    pub is_concerned: bool,
    /// The thresholds as they are.
    pub present: Score,
    /// Demands that they do not meet.
    pub present_unmet: Vec<Unmet>,
    /// The recommended ones; null when none meets the demand.
    pub recommended: Option<Score>,
    /// Smallest and largest factor that meets the demand at the recommended confirmation time: the margin.
    pub factors: Option<[f64; 2]>,
    /// Shortest and longest confirmation time that does at the recommended factor, ms.
    pub confirms_ms: Option<[f64; 2]>,
    /// Smallest and largest budget of its hazard class that does, 1/h, where a budget decides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budgets_per_hour: Option<[f64; 2]>,
    /// What is recommended from one half of the material alone, and how it does on the other half.
    pub halves: Vec<Half>,
    /// Where nothing meets the demand: what is in the way, and what would have to change.
    pub advice: Vec<String>,
}

/// Tuned on one half, scored on the other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Half {
    /// Factor and confirmation time (ms) found on one half: those whose bounds come nearest to the demand.
    pub factor: f64,
    /// See `factor`.
    pub confirm_ms: f64,
    /// See `factor`: the budget of its hazard class, 1/h, where that decides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget_per_hour: Option<f64>,
    /// Score on that half.
    pub tuned_on: Score,
    /// Score on the other.
    pub scored_on: Score,
}

/// A point of the trade-off: all tolerances times a factor, all confirmation times times another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrontPoint {
    /// Factor on the tolerances.
    pub factor: f64,
    /// Factor on the confirmation times; budgets are divided by it.
    pub confirm_factor: f64,
    /// Share of the faults of all regions that are missed.
    pub missed: f64,
    /// Nuisance trips that the clean video would have had, 1/h.
    pub nuisance_per_hour: f64,
    /// Upper bound of them, 1/h.
    pub nuisance_at_most_per_hour: f64,
    /// 95th percentile of the detection time, ms.
    pub detection_p95_ms: Option<f64>,
    /// No other point is better in one of the three and as good in the others.
    pub is_on_front: bool,
}

/// `tune.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tuned {
    /// Version of the records.
    pub records_version: u32,
    /// Caution that goes with every result.
    pub caution: String,
    /// The display.
    pub display: String,
    /// What was asked for.
    pub demand: Demand,
    /// Hours of clean video.
    pub clean_hours: f64,
    /// Faults that bear on it.
    pub faults: u64,
    /// Sets of thresholds that were judged.
    pub sets: u64,
    /// By region.
    pub regions: Vec<RegionTuned>,
    /// The trade-off.
    pub front: Vec<FrontPoint>,
    /// Whether every region concerned has a recommended set.
    pub is_satisfied: bool,
    /// What the reader should know.
    pub notes: Vec<String>,
    /// What of the material is not as it was written: then nothing here is evidence. There is something only where
    /// that was asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unverified: Vec<String>,
}

/// The clips of one region at one confirmation time or budget, ready for look-ups.
struct Ready {
    limit: Limit,
    confirm_ms: f64,
    stairs: Vec<Staircase>,
    harmless: Vec<Staircase>,
    /// Rising.
    peaks: Vec<f64>,
    tail: Option<Box<extremes::Tail>>,
}

/// The clips of one region at all confirmation times or budgets.
pub struct RegionReady {
    present: Limit,
    clean_hours: f64,
    ready: Vec<Ready>,
}

/// Replicates of the tail's bootstrap.
const REPLICATES: u32 = 200;
/// A tail whose fit is worse than this chance allows is not used.
const LEAST_P_VALUE: f64 = 0.01;

impl RegionReady {
    /// Prepares region `k`.
    ///
    /// # Errors
    /// When a tail cannot be asked for: strengths that are not numbers.
    pub fn new(
        material: &Material,
        definition: &Definition,
        k: usize,
        demand: &Demand,
    ) -> Result<Self, Error> {
        let present = Limit::of(definition, k);
        let ready = present
            .tried()
            .into_par_iter()
            .map(|limit| Ready::new(material, definition, k, limit, demand))
            .collect::<Result<_, _>>()?;
        Ok(Self {
            present,
            clean_hours: material.clean_hours,
            ready,
        })
    }

    /// What is tried, rising.
    pub fn limits(&self) -> impl Iterator<Item = Limit> + '_ {
        self.ready.iter().map(|r| r.limit)
    }

    /// What a set of thresholds would have done: faults raised, in time, tried, and clean trips. This is all
    /// that a search looks at, thousands of times a second.
    #[must_use]
    pub fn counts(&self, confirm: usize, factor: f64, detection_ms: f64) -> Counts {
        let ready = &self.ready[confirm];
        let mut counts = Counts {
            tried: ready.stairs.len() as u64,
            trips: (ready.peaks.len() - ready.peaks.partition_point(|p| *p <= factor)) as u64,
            ..Counts::default()
        };
        for stairs in &ready.stairs {
            if let Some(raised_s) = stairs.raised_s(factor) {
                counts.raised += 1;
                counts.in_time += u64::from(raised_s * 1000.0 <= detection_ms + 1e-3);
            }
        }
        counts
    }

    /// The whole score of a set of thresholds.
    ///
    /// # Errors
    /// When a figure cannot be formed.
    pub fn score(&self, confirm: usize, factor: f64, demand: &Demand) -> Result<Score, Error> {
        let ready = &self.ready[confirm];
        let counts = self.counts(confirm, factor, demand.detection_ms);
        let times: Vec<f64> = ready
            .stairs
            .iter()
            .filter_map(|s| s.raised_s(factor))
            .map(|s| s * 1000.0)
            .collect();
        let raised = ready
            .harmless
            .iter()
            .filter(|s| s.raised_s(factor).is_some())
            .count();
        let confidence = demand.confidence;
        Ok(Score {
            factor,
            confirm_ms: ready.confirm_ms,
            budget_per_hour: ready.limit.budget_per_hour(),
            coverage: Proportion::new(counts.raised, counts.tried, confidence)?,
            in_time: Proportion::new(counts.in_time, counts.tried, confidence)?,
            detection_ms: Spread::new(&times, confidence)?,
            harmless_raised: Proportion::new(
                raised as u64,
                ready.harmless.len() as u64,
                confidence,
            )?,
            nuisance: Rate::new(counts.trips, self.clean_hours, confidence)?,
            tail_per_hour: ready.tail_at(factor),
        })
    }
}

/// What a set of thresholds does, in numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Faults raised.
    pub raised: u64,
    /// Raised within the longest detection time.
    pub in_time: u64,
    /// Faults tried.
    pub tried: u64,
    /// Trips in clean video.
    pub trips: u64,
}

impl Ready {
    fn new(
        material: &Material,
        definition: &Definition,
        k: usize,
        limit: Limit,
        demand: &Demand,
    ) -> Result<Self, Error> {
        let region = &definition.regions()[k];
        let confirm_ms = limit.confirm_ms().unwrap_or(region.confirm_ms());
        // A region without material has no readings that are known.
        let readings = (material.clean.iter().chain(&material.faults))
            .filter(|c| c.region == k)
            .map(|c| c.strengths.tested())
            .max();
        let confirmation = Confirmation {
            confirm_s: confirm_ms / 1000.0,
            often: region.confirm_frames,
            recover_s: region.recover_ms / 1000.0,
            plan: limit
                .budget_per_hour()
                .and_then(|per_hour| plan_of(definition, k, readings.unwrap_or(0), per_hour)),
        };
        let stairs = |list: &[super::material::Clip]| {
            list.iter()
                .filter(|c| c.region == k)
                .map(|c| {
                    let after = c.strengths.confirmed(&c.times_s, confirmation);
                    Staircase::new(&c.times_s, &after)
                })
                .collect::<Vec<_>>()
        };
        let mut all_peaks = Vec::new();
        let mut values = Vec::new();
        for c in material.clean.iter().filter(|c| c.region == k) {
            let after = c.strengths.confirmed(&c.times_s, confirmation);
            all_peaks.extend(peaks(&c.times_s, &after, confirmation.recover_s));
            values.extend(after);
        }
        all_peaks.sort_by(f64::total_cmp);
        Ok(Self {
            limit,
            confirm_ms,
            stairs: stairs(&material.faults),
            harmless: stairs(&material.harmless),
            tail: tail(values, material.clean_hours, demand)?,
            peaks: all_peaks,
        })
    }

    fn tail_at(&self, factor: f64) -> Option<[f64; 2]> {
        let tail = self.tail.as_ref()?;
        let nearest = tail.exceedances.iter().min_by(|a, b| {
            (a.level - factor)
                .abs()
                .total_cmp(&(b.level - factor).abs())
        })?;
        let per_hour = tail.exceedances_per_hour(factor)?;
        Some([per_hour, nearest.band_per_hour?.upper.max(per_hour)])
    }
}

/// The extrapolated tail of clean video; `None` where it cannot be fitted, or does not follow the peaks.
fn tail(
    confirmed: Vec<f64>,
    hours: f64,
    demand: &Demand,
) -> Result<Option<Box<extremes::Tail>>, Error> {
    let strengths = CleanStrengths::new(confirmed);
    let fit = strengths.fit(hours, factors().collect(), demand.confidence, REPLICATES)?;
    Ok(match fit {
        Some(extremes::Outcome::Fitted(tail)) => tail
            .goodness
            .is_none_or(|g| g.p_value > LEAST_P_VALUE)
            .then_some(tail),
        Some(extremes::Outcome::Refused(_)) | None => None,
    })
}

/// Tunes all regions.
///
/// # Errors
/// When a figure cannot be formed.
pub fn tune(material: &Material, definition: &Definition, demand: &Demand) -> Result<Tuned, Error> {
    let count = definition.regions().len();
    // Every region that is checked may spend an equal part of the trips.
    let checked: Vec<usize> = (0..count)
        .filter(|k| !definition.regions()[*k].is_unchecked())
        .collect();
    let share_per_hour = demand.nuisance_per_hour / checked.len().max(1) as f64;
    let mut regions = Vec::with_capacity(count);
    let mut all_ready = Vec::with_capacity(count);
    let halves = [material.half(true), material.half(false)];
    for k in checked {
        let region = &definition.regions()[k];
        let ready = RegionReady::new(material, definition, k, demand)?;
        let of_halves = [
            RegionReady::new(&halves[0], definition, k, demand)?,
            RegionReady::new(&halves[1], definition, k, demand)?,
        ];
        let whys: Vec<Why> = material
            .faults
            .iter()
            .filter(|c| c.region == k)
            .filter_map(|c| c.why)
            .collect();
        regions.push(tune_region(
            region,
            &ready,
            &of_halves,
            &whys,
            demand,
            share_per_hour,
        )?);
        all_ready.push(ready);
    }
    let front = front(&all_ready, demand)?;
    let per_region: usize = all_ready.iter().map(|r| r.ready.len() * FACTORS).sum();
    let is_satisfied = regions
        .iter()
        .all(|r| !r.is_concerned || r.recommended.is_some());
    let mut notes = vec![
        "sets are judged from stored measurements; check the recommended set with check and campaign before anyone relies on it".to_owned(),
        "a tolerance also says what error is acceptable: whether it may be widened is for the safety assessment to say".to_owned(),
    ];
    let repeated = material.repeated;
    if repeated.trials > 0 || repeated.clean_hours > 0.0 {
        notes.push(format!(
            "counted once: {} trials and {:.4} h of clean video were given more than once",
            repeated.trials, repeated.clean_hours
        ));
    }
    if regions
        .iter()
        .any(|r| r.present.nuisance.events == 0 && r.present.tail_per_hour.is_some())
    {
        notes.push(extremes::CAUTION.to_owned());
    }
    Ok(Tuned {
        records_version: crate::evidence::records::RECORDS_VERSION,
        caution: crate::evidence::records::CAUTION.into(),
        display: definition.file().display.name.clone(),
        demand: demand.clone(),
        clean_hours: material.clean_hours,
        faults: material.faults.len() as u64,
        sets: (per_region * 3 + front.len()) as u64,
        regions,
        front,
        is_satisfied,
        notes,
        unverified: Vec::new(),
    })
}

/// What a score does not meet.
fn unmet(score: &Score, demand: &Demand, share_per_hour: f64, is_concerned: bool) -> Vec<Unmet> {
    let mut unmet = Vec::new();
    if nuisance_at_most(score) > share_per_hour {
        unmet.push(Unmet::Nuisance);
    }
    if is_concerned && score.coverage.at_least() < demand.coverage {
        unmet.push(Unmet::Coverage);
    }
    if is_concerned && score.in_time.k < score.coverage.k {
        unmet.push(Unmet::Detection);
    }
    unmet
}

/// The upper bound from what was counted. A fitted tail is shown beside it and meets no demand: an extrapolation from
/// a few hours shows nothing of a hundred.
fn nuisance_at_most(score: &Score) -> f64 {
    score
        .nuisance
        .one_sided_per_hour
        .map_or(f64::INFINITY, |b| b.upper)
}

/// A set of thresholds that meets the demand.
struct Feasible {
    /// Index of the confirmation time.
    confirm: usize,
    factor: f64,
    /// Smallest and largest factor, with all between them, that meet the demand at this confirmation time.
    factors: [f64; 2],
}

/// The set to be recommended, of all that meet the demand the one nearest to the definition as it is: tolerances
/// come from the safety assessment, so their factor counts first (1 where that meets the demand, else the middle
/// of the widest range), then the confirmation time; of two equally far the longer one, which trips less.
fn feasible(
    ready: &RegionReady,
    demand: &Demand,
    share_per_hour: f64,
    is_concerned: bool,
) -> Result<Option<Feasible>, Error> {
    let mut best: Option<([f64; 3], Feasible)> = None;
    for (confirm, limit) in ready.limits().enumerate() {
        let mut runs: Vec<Vec<f64>> = vec![Vec::new()];
        for factor in factors() {
            let score = ready.score(confirm, factor, demand)?;
            if unmet(&score, demand, share_per_hour, is_concerned).is_empty() {
                runs.last_mut().expect("begun with one").push(factor);
            } else {
                runs.push(Vec::new());
            }
        }
        let width = |run: &[f64]| match run {
            [first, .., last] => last / first,
            [_] => 1.0,
            [] => 0.0,
        };
        let run = runs.iter().find(|run| run.contains(&1.0)).or_else(|| {
            let by_width = |a: &&Vec<f64>, b: &&Vec<f64>| width(a).total_cmp(&width(b));
            runs.iter().max_by(by_width)
        });
        let Some((run, first, last)) = run.and_then(|run| Some((run, *run.first()?, *run.last()?)))
        else {
            continue;
        };
        let middle = (first * last).sqrt();
        let factor = if run.contains(&1.0) {
            1.0
        } else {
            let nearest = run
                .iter()
                .copied()
                .min_by(|a, b| (a - middle).abs().total_cmp(&(b - middle).abs()));
            nearest.unwrap_or(first)
        };
        let rank = [
            libm::log(factor).abs(),
            limit.distance(ready.present),
            limit.laxity(),
        ];
        let is_nearer = best
            .as_ref()
            .is_none_or(|(b, _)| rank.partial_cmp(b) == Some(std::cmp::Ordering::Less));
        if is_nearer {
            let found = Feasible {
                confirm,
                factor,
                factors: [first, last],
            };
            best = Some((rank, found));
        }
    }
    Ok(best.map(|(_, found)| found))
}

fn tune_region(
    region: &Region,
    ready: &RegionReady,
    halves: &[RegionReady; 2],
    whys: &[Why],
    demand: &Demand,
    share_per_hour: f64,
) -> Result<RegionTuned, Error> {
    let is_concerned = region.hazard <= demand.hazard;
    let present_at = ready.limits().position(|l| l == ready.present);
    let present_at = present_at.unwrap_or(0);
    let present = ready.score(present_at, 1.0, demand)?;
    let found = feasible(ready, demand, share_per_hour, is_concerned)?;
    let mut recommended = None;
    let mut good: Vec<Limit> = Vec::new();
    if let Some(found) = &found {
        for (c, limit) in ready.limits().enumerate() {
            let score = ready.score(c, found.factor, demand)?;
            if unmet(&score, demand, share_per_hour, is_concerned).is_empty() {
                good.push(limit);
            }
        }
        recommended = Some(ready.score(found.confirm, found.factor, demand)?);
    }
    let span = |number: fn(Limit) -> Option<f64>| {
        let first = good.first().and_then(|l| number(*l))?;
        Some([first, good.last().and_then(|l| number(*l))?])
    };
    let halves = vec![
        half([&halves[0], &halves[1]], demand, share_per_hour)?,
        half([&halves[1], &halves[0]], demand, share_per_hour)?,
    ];
    let advice = if recommended.is_some() {
        Vec::new()
    } else {
        advice(region, ready, whys, demand, share_per_hour, is_concerned)?
    };
    Ok(RegionTuned {
        region: region.id.clone(),
        hazard: region.hazard,
        requirements: region.requirements.clone(),
        is_concerned,
        present_unmet: unmet(&present, demand, share_per_hour, is_concerned),
        present,
        factors: found.map(|f| f.factors),
        recommended,
        confirms_ms: span(Limit::confirm_ms),
        budgets_per_hour: span(Limit::budget_per_hour),
        halves,
        advice,
    })
}

/// Tuned on the first of `parts`, scored on the second. Half of the material proves less, so the set is the
/// one that misses least, then trips least, then is fastest; of equal ones that nearest to the present.
fn half(parts: [&RegionReady; 2], demand: &Demand, share_per_hour: f64) -> Result<Half, Error> {
    let hours = parts[0].clean_hours;
    let allowed = (share_per_hour * hours) as u64;
    let mut best: Option<([f64; 4], usize, f64)> = None;
    for (k, limit) in parts[0].limits().enumerate() {
        for factor in factors() {
            let c = parts[0].counts(k, factor, demand.detection_ms);
            let distance = libm::log(factor).abs() + limit.distance(parts[0].present);
            let rank = [
                c.trips.saturating_sub(allowed) as f64,
                (c.tried - c.in_time) as f64,
                c.trips as f64,
                distance,
            ];
            let is_better = best
                .as_ref()
                .is_none_or(|b| rank.partial_cmp(&b.0) == Some(std::cmp::Ordering::Less));
            if is_better {
                best = Some((rank, k, factor));
            }
        }
    }
    let (_, k, factor) = best.unwrap_or(([0.0; 4], 0, 1.0));
    Ok(Half {
        factor,
        confirm_ms: parts[0].ready[k].confirm_ms,
        budget_per_hour: parts[0].ready[k].limit.budget_per_hour(),
        tuned_on: parts[0].score(k, factor, demand)?,
        scored_on: parts[1].score(k, factor, demand)?,
    })
}

/// A rate as a reader writes it.
fn rate(per_hour: f64) -> String {
    if (0.01..1000.0).contains(&per_hour) {
        format!("{per_hour:.2}")
    } else {
        format!("{per_hour:.1e}")
    }
}

/// Which demand is in the way, and what would have to change.
fn advice(
    region: &Region,
    ready: &RegionReady,
    whys: &[Why],
    demand: &Demand,
    share_per_hour: f64,
    is_concerned: bool,
) -> Result<Vec<String>, Error> {
    let mut advice = Vec::new();
    let all: Vec<Score> = (0..ready.ready.len())
        .flat_map(|k| factors().map(move |f| (k, f)))
        .map(|(k, f)| ready.score(k, f, demand))
        .collect::<Result<_, _>>()?;
    let meets = |what: Unmet| {
        all.iter()
            .any(|s| !unmet(s, demand, share_per_hour, is_concerned).contains(&what))
    };
    let confidence = demand.confidence;
    if !meets(Unmet::Nuisance) {
        let needed = -libm::log(1.0 - confidence.share()) / share_per_hour;
        advice.push(format!(
            "nuisance: no set is shown to trip less than {} times an hour (this region's part of {}): with {:.2} h of clean video without a trip only {} can be claimed; {needed:.0} h without a trip would show it",
            rate(share_per_hour),
            demand.nuisance_per_hour,
            ready.clean_hours,
            rate(-libm::log(1.0 - confidence.share()) / ready.clean_hours.max(1e-9)),
        ));
    }
    if !meets(Unmet::Coverage) {
        let best = all
            .iter()
            .max_by(|a, b| a.coverage.at_least().total_cmp(&b.coverage.at_least()));
        let needed = trials_without_miss(demand.coverage, confidence)?;
        if let Some(best) = best {
            let missed = best.coverage.n - best.coverage.k;
            if best.coverage.n == 0 {
                advice.push(format!(
                    "coverage: not shown, since no fault was tried here; {needed} without a miss would show {:.2} %: try faults",
                    demand.coverage * 100.0
                ));
            } else if missed == 0 {
                advice.push(format!(
                    "coverage: all {} faults are raised, which shows {:.2} %; {needed} without a miss would show {:.2} %: try more faults",
                    best.coverage.n,
                    best.coverage.at_least() * 100.0,
                    demand.coverage * 100.0
                ));
            } else {
                advice.push(format!(
                    "coverage: at best {} of {} faults are raised, whatever the thresholds are",
                    best.coverage.k, best.coverage.n
                ));
            }
        }
        let blind = whys.iter().filter(|w| **w == Why::Blind).count();
        if blind > 0 {
            advice.push(format!(
                "{blind} were missed while nothing moved: a liveness cell would show a standstill then"
            ));
        }
        let unseen = whys
            .iter()
            .filter(|w| {
                matches!(
                    w,
                    Why::TooFaint
                        | Why::WithinMeasuring
                        | Why::WithinTolerance
                        | Why::NothingChanged
                )
            })
            .count();
        if unseen > 0 {
            advice.push(format!(
                "{unseen} changed too little of the picture: more pixels for a unit, or a plainer symbol, would show them"
            ));
        }
    }
    if !meets(Unmet::Detection) {
        advice.push(format!(
            "detection: no set raises all it finds within {:.0} ms; a shorter confirmation time, or a longer limit",
            demand.detection_ms
        ));
    }
    if advice.is_empty() {
        let [mut low, mut high] = [f64::INFINITY, 0.0f64];
        for s in &all {
            let u = unmet(s, demand, share_per_hour, is_concerned);
            if !u.contains(&Unmet::Nuisance) {
                low = low.min(s.factor);
            }
            if !u.contains(&Unmet::Coverage) && !u.contains(&Unmet::Detection) {
                high = high.max(s.factor);
            }
        }
        advice.push(format!(
            "each demand alone can be met, not all together: few enough trips from {low:.2} times the tolerances of {} on, enough faults in time up to {high:.2} times; more pixels for a unit, a less noisy chain or a longer limit would bring them together",
            region.id
        ));
    }
    Ok(advice)
}

/// All tolerances and all confirmation times changed together.
fn front(ready: &[RegionReady], demand: &Demand) -> Result<Vec<FrontPoint>, Error> {
    let mut points = Vec::new();
    for confirm_factor in [0.25, 0.5, 0.75, 1.0, 1.5, 2.0] {
        for factor in factors().step_by(4) {
            let (mut missed, mut tried, mut trips) = (0, 0, 0);
            let mut times = Vec::new();
            for r in ready {
                let k = nearest(r, r.present.times(confirm_factor));
                let c = r.counts(k, factor, f64::INFINITY);
                missed += c.tried - c.raised;
                tried += c.tried;
                trips += c.trips;
                let raised = r.ready[k].stairs.iter().filter_map(|s| s.raised_s(factor));
                times.extend(raised.map(|s| s * 1000.0));
            }
            let hours = ready.first().map_or(0.0, |r| r.clean_hours);
            let rate = Rate::new(trips, hours, demand.confidence)?;
            points.push(FrontPoint {
                factor,
                confirm_factor,
                missed: missed as f64 / tried.max(1) as f64,
                nuisance_per_hour: rate.per_hour.unwrap_or(0.0),
                nuisance_at_most_per_hour: rate.one_sided_per_hour.map_or(f64::MAX, |b| b.upper),
                detection_p95_ms: Spread::new(&times, demand.confidence)?.map(|s| s.p95.value),
                is_on_front: false,
            });
        }
    }
    let key = |p: &FrontPoint| {
        [
            p.missed,
            p.nuisance_per_hour,
            p.detection_p95_ms.unwrap_or(f64::INFINITY),
        ]
    };
    let keys: Vec<[f64; 3]> = points.iter().map(key).collect();
    for (k, point) in points.iter_mut().enumerate() {
        let own = keys[k];
        point.is_on_front = !keys.iter().any(|other| {
            other.iter().zip(own).all(|(o, own)| *o <= own)
                && other.iter().zip(own).any(|(o, own)| *o < own)
        });
    }
    Ok(points)
}

fn nearest(ready: &RegionReady, limit: Limit) -> usize {
    let limits = ready.limits().enumerate();
    limits
        .min_by(|a, b| {
            let off = |l: Limit| l.distance(limit);
            off(a.1).total_cmp(&off(b.1))
        })
        .map_or(0, |t| t.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::tune::material::Clip;
    use crate::tune::strength::Strengths;
    use std::path::Path;

    const DEMAND: Demand = Demand {
        nuisance_per_hour: 1e6,
        coverage: 0.5,
        detection_ms: 500.0,
        hazard: Hazard::Hazardous,
        confidence: Confidence::USUAL,
    };

    fn display(text: &str) -> Definition {
        Definition::from_toml(text, "d", Path::new("")).unwrap()
    }

    /// Faults of `region` that last for `frames` of 25 a second.
    fn material(region: usize, frames: usize) -> Material {
        let clip = |number| Clip {
            region,
            number,
            times_s: (0..25).map(|k| f64::from(k) * 0.04).collect(),
            strengths: Strengths::plain(
                (0..25)
                    .map(|k| if k < frames { 9.0 } else { f64::NEG_INFINITY })
                    .collect(),
            ),
            why: None,
        };
        Material {
            faults: (0..40).map(clip).collect(),
            clean_hours: 1.0,
            ..Material::default()
        }
    }

    #[test]
    fn the_set_nearest_to_the_present_one_is_recommended() {
        let definition = display(demo::DISPLAY);
        let regions = definition.regions();
        let k = regions.iter().position(|r| r.id == "attitude").unwrap();
        assert_eq!(regions[k].confirm_ms(), 200.0);
        // Seen for 160 ms: the present 200 ms never confirm it. Of all shorter times 0 ms was taken before.
        let tuned = tune(&material(k, 5), &definition, &DEMAND).unwrap();
        let set = |tuned: &Tuned| {
            let r = tuned
                .regions
                .iter()
                .find(|r| r.region == "attitude")
                .unwrap();
            let s = r.recommended.clone().unwrap();
            (s.factor, s.confirm_ms, r.confirms_ms)
        };
        assert_eq!(set(&tuned), (1.0, 160.0, Some([0.0, 160.0])));
        // Where the present set meets the demand it stays.
        let tuned = tune(&material(k, 20), &definition, &DEMAND).unwrap();
        assert_eq!(set(&tuned).1, 200.0);
    }

    #[test]
    fn an_unchecked_region_spends_no_trips() {
        let definition = display(demo::DISPLAY);
        let tuned = tune(&material(0, 20), &definition, &DEMAND).unwrap();
        let is_unchecked = |id: &str| {
            let r = definition.regions().iter().find(|r| r.id == id);
            r.is_some_and(Region::is_unchecked)
        };
        assert!(is_unchecked("map"));
        assert!(tuned.regions.iter().all(|r| !is_unchecked(&r.region)));
        assert_eq!(tuned.regions.len() + 1, definition.regions().len());
    }
}
