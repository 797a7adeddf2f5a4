//! The limits of the plan, held against what the trials showed.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::coverage::is_within_limit;
use super::{Error, place_name, word};
use crate::campaign::plan::Plan;
use crate::campaign::records::TrialRecord;
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::binomial::Proportion;
use crate::definition::Definition;
use crate::definition::model::Hazard;

/// The limit of a hazard class, held against the faults of one place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Limit {
    /// Hazard class.
    pub hazard: String,
    /// Longest detection time of the plan, ms.
    pub limit_ms: f64,
    /// Region; `*` for the whole frame.
    pub region: String,
    /// Requirement ids that the place verifies.
    pub requirements: Vec<String>,
    /// Faults that were raised in their place within the limit.
    pub within: Proportion,
    /// Longest detection time of those that were raised, ms.
    pub worst_ms: Option<f64>,
    /// Faults that were not raised in their place at all.
    pub missed: u64,
}

/// What came of a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// Every fault was raised within it.
    Yes,
    /// At least one was not.
    No,
    /// No fault was tried.
    NotTried,
}

impl Limit {
    /// Whether it was kept.
    #[must_use]
    pub const fn kept(&self) -> Kept {
        match self.within.n {
            0 => Kept::NotTried,
            n if self.within.k == n => Kept::Yes,
            _ => Kept::No,
        }
    }

    /// What is asked: a name for a test case.
    #[must_use]
    pub fn name(&self) -> String {
        format!(
            "{}: {} faults within {} ms",
            place_name(&self.region),
            self.hazard,
            self.limit_ms
        )
    }

    /// What came of it, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let n = self.within.n;
        if n == 0 {
            return "no fault was tried".into();
        }
        let worst = self
            .worst_ms
            .map_or(String::new(), |ms| format!("; the slowest took {ms:.0} ms"));
        let missed = match self.missed {
            0 => String::new(),
            missed => format!("; {missed} not raised in place"),
        };
        format!("{} of {n} raised within it{missed}{worst}", self.within.k)
    }
}

/// A limit for each hazard class that the plan names and each region of that class; for the whole frame where faults of
/// it were tried.
pub(super) fn limits(
    plan: &Plan,
    definition: &Definition,
    counted: &[&TrialRecord],
    confidence: Confidence,
) -> Result<Vec<Limit>, Error> {
    let mut groups: BTreeMap<(Hazard, &str), Vec<&TrialRecord>> = BTreeMap::new();
    for region in definition.regions() {
        groups.insert((region.hazard, &region.id), Vec::new());
    }
    for t in counted {
        groups.entry((t.hazard, &t.region)).or_default().push(t);
    }
    let requirements = |id: &str| -> Vec<String> {
        let regions = definition.regions().iter();
        let mut all: Vec<String> = regions
            .filter(|r| id == "*" || r.id == id)
            .flat_map(|r| r.requirements.clone())
            .collect();
        all.sort();
        all.dedup();
        all
    };
    let mut found = Vec::new();
    for ((hazard, region), list) in groups {
        let Some(limit_ms) = plan.limit_ms.get(&hazard) else {
            continue;
        };
        let within = list.iter().filter(|t| is_within_limit(t)).count() as u64;
        let times = list.iter().filter(|t| super::is_in_place(t));
        let times: Vec<f64> = times.filter_map(|t| t.outcome.detection_ms).collect();
        found.push(Limit {
            hazard: word(&hazard),
            limit_ms: *limit_ms,
            region: region.to_owned(),
            requirements: requirements(region),
            within: Proportion::new(within, list.len() as u64, confidence)?,
            missed: (list.len() - times.len()) as u64,
            worst_ms: times.into_iter().max_by(f64::total_cmp),
        });
    }
    Ok(found)
}

/// All that was asked of a hazard class.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassLimit<'a> {
    /// Hazard class.
    pub hazard: &'a str,
    /// Longest detection time of the plan, ms.
    pub limit_ms: f64,
    /// Faults raised within it, and all.
    pub within: [u64; 2],
    /// Where it was not kept.
    pub broken: Vec<&'a Limit>,
    /// Regions of the class in which no fault was tried.
    pub not_tried: Vec<&'a Limit>,
}

/// Limits put together by hazard class, in their order.
#[must_use]
pub fn by_class(limits: &[Limit]) -> Vec<ClassLimit<'_>> {
    limits
        .chunk_by(|a, b| a.hazard == b.hazard)
        .map(|class| {
            let of = |kept: Kept| class.iter().filter(move |l| l.kept() == kept).collect();
            ClassLimit {
                hazard: &class[0].hazard,
                limit_ms: class[0].limit_ms,
                within: [
                    class.iter().map(|l| l.within.k).sum(),
                    class.iter().map(|l| l.within.n).sum(),
                ],
                broken: of(Kept::No),
                not_tried: of(Kept::NotTried),
            }
        })
        .collect()
}

impl ClassLimit<'_> {
    /// What came of it: broken by one fault, and not tried where there was none.
    #[must_use]
    pub fn kept(&self) -> Kept {
        if !self.broken.is_empty() {
            Kept::No
        } else if self.within[1] == 0 {
            Kept::NotTried
        } else {
            Kept::Yes
        }
    }

    /// What came of it, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let [k, n] = self.within;
        let mut words = format!("limit of {} ms for {} faults ", self.limit_ms, self.hazard);
        match self.kept() {
            Kept::NotTried => words.push_str("not tried: there was no such fault"),
            Kept::Yes => words.push_str(&format!("kept: all {n} raised within it")),
            Kept::No => {
                let place = |l: &&Limit| {
                    let name = place_name(&l.region);
                    format!("{name} {} of {}", l.within.n - l.within.k, l.within.n)
                };
                let places: Vec<String> = self.broken.iter().map(place).collect();
                words.push_str(&format!(
                    "NOT KEPT: {} of {n} were not raised within it ({})",
                    n - k,
                    places.join(", ")
                ));
            }
        }
        if n > 0 && !self.not_tried.is_empty() {
            let names: Vec<&str> = self.not_tried.iter().map(|l| l.region.as_str()).collect();
            words.push_str(&format!("; no fault tried in {}", names.join(", ")));
        }
        words
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A limit of 500 ms in `region`, with the requirement of the same name in capitals.
    pub fn limit(region: &str, k: u64, n: u64) -> Limit {
        Limit {
            hazard: "hazardous".into(),
            limit_ms: 500.0,
            region: region.into(),
            requirements: vec![format!("R-{}", region.to_uppercase())],
            within: Proportion::new(k, n, Confidence::USUAL).unwrap(),
            worst_ms: (n > 0).then_some(640.0),
            missed: 0,
        }
    }

    #[test]
    fn one_late_fault_breaks_a_limit_and_an_untried_region_keeps_none() {
        assert_eq!(limit("a", 3, 3).kept(), Kept::Yes);
        assert_eq!(limit("a", 2, 3).kept(), Kept::No);
        assert_eq!(limit("a", 0, 0).kept(), Kept::NotTried);
        let limits = [limit("a", 52, 65), limit("b", 4, 4), limit("c", 0, 0)];
        let classes = by_class(&limits);
        assert_eq!(classes.len(), 1);
        assert_eq!(classes[0].kept(), Kept::No);
        assert_eq!(
            classes[0].words(),
            "limit of 500 ms for hazardous faults NOT KEPT: 13 of 69 were not raised within it (a 13 of 65); no fault tried in c"
        );
        assert_eq!(by_class(&limits[2..])[0].kept(), Kept::NotTried);
        assert_eq!(
            by_class(&limits[1..2])[0].words(),
            "limit of 500 ms for hazardous faults kept: all 4 raised within it"
        );
    }
}
