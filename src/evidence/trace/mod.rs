//! The trace as other tools take it: requirements, the regions that verify them, and what came of each.
//!
//! *The question*: what does whoever keeps the requirements need back from a report? *The method*: of all results of a
//! [`Bundle`] the worst counts, as on the page; a requirement that no region verifies and a region that verifies no
//! requirement are both there. [`table`] writes a row each as CSV, [`reqif`] an exchange file. What comes of results that
//! are not as they were written is marked in every result.

pub mod reqif;
pub mod table;

use std::collections::{BTreeMap, BTreeSet};

use super::report::Bundle;
use super::report::answer::{by_requirement, parts};
use super::report::unverified::differences;
use super::requirements::region_finding;
use super::results_folder::NOT_VERIFIED;
use super::standing::Standing;
use crate::requirements::Requirement;

/// A requirement with what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct TracedRequirement {
    /// Id, and wording where it is known.
    pub says: Requirement,
    /// Regions that verify it, by id.
    pub regions: BTreeSet<String>,
    /// The worst that a result says of it; `None` where no result speaks of it.
    pub standing: Option<Standing>,
    /// Why it does not hold or is open, a line a result.
    pub because: Vec<String>,
}

/// A region with what came of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TracedRegion {
    /// Hazard class.
    pub hazard: String,
    /// Requirements that it verifies.
    pub requirements: BTreeSet<String>,
    /// What checks say of it, a line a check.
    pub findings: Vec<String>,
}

/// All of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// By id.
    pub requirements: BTreeMap<String, TracedRequirement>,
    /// By id.
    pub regions: BTreeMap<String, TracedRegion>,
    /// What is not as it was written; then every result is marked.
    pub is_unverified: bool,
    /// Time or number of issue, as it was given.
    pub issued: Option<String>,
}

impl Standing {
    /// In words, of a requirement.
    #[must_use]
    pub const fn of_requirement(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::Open => "open",
            Self::Fails => "does not hold",
        }
    }
}

impl Trace {
    /// Of all results in `bundle`.
    #[must_use]
    pub fn of(bundle: &Bundle) -> Self {
        let mut trace = Self {
            is_unverified: !differences(bundle).is_empty(),
            issued: bundle.issued.clone(),
            ..Self::default()
        };
        for (folder, run) in bundle.checks() {
            for region in &run.display.regions {
                let finding = region_finding(region, &run.summary, &run.events);
                let traced = trace.region(&region.id, &super::csv::word(&region.hazard));
                traced
                    .requirements
                    .extend(region.requirements.iter().cloned());
                traced
                    .findings
                    .push(format!("{}: {}", folder.name, finding.text()));
            }
            for says in &run.display.requirements {
                trace.requirement(&says.id).says = says.clone();
            }
        }
        // Of campaigns and tunings the wording stands in no record.
        for says in bundle.requirements.iter().flat_map(|r| &r.all) {
            trace.requirement(&says.id).says = says.clone();
        }
        for (_, campaign) in bundle.campaigns() {
            for limit in campaign.limits.iter().filter(|l| l.region != "*") {
                let traced = trace.region(&limit.region, &limit.hazard);
                traced
                    .requirements
                    .extend(limit.requirements.iter().cloned());
            }
        }
        for (_, tuned) in bundle.tunings() {
            for region in &tuned.regions {
                let traced = trace.region(&region.region, &super::csv::word(&region.hazard));
                traced
                    .requirements
                    .extend(region.requirements.iter().cloned());
            }
        }
        for (id, (standing, because)) in by_requirement(&parts(bundle)) {
            let traced = trace.requirement(&id);
            traced.standing = Some(standing);
            traced.because = because;
        }
        let named: Vec<(String, String)> = trace
            .regions
            .iter()
            .flat_map(|(region, t)| t.requirements.iter().map(|id| (id.clone(), region.clone())))
            .collect();
        for (id, region) in named {
            trace.requirement(&id).regions.insert(region);
        }
        trace
    }

    fn requirement(&mut self, id: &str) -> &mut TracedRequirement {
        self.requirements
            .entry(id.to_owned())
            .or_insert_with(|| TracedRequirement {
                says: Requirement {
                    id: id.to_owned(),
                    ..Requirement::default()
                },
                regions: BTreeSet::new(),
                standing: None,
                because: Vec::new(),
            })
    }

    fn region(&mut self, id: &str, hazard: &str) -> &mut TracedRegion {
        let region = self.regions.entry(id.to_owned()).or_default();
        hazard.clone_into(&mut region.hazard);
        region
    }

    /// `words` of a result, marked where the results are not as they were written.
    pub(super) fn marked(&self, words: &str) -> String {
        if self.is_unverified {
            format!("{NOT_VERIFIED}: {words}")
        } else {
            words.to_owned()
        }
    }
}

/// The result of a requirement in words.
pub(super) fn result(standing: Option<Standing>) -> &'static str {
    standing.map_or("no result", Standing::of_requirement)
}
