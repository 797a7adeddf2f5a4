//! What the page as a whole says: the worst of all results that it holds, in all and by requirement.
//!
//! A check answers by its events and by what it exercised, a campaign by the limits of its plan, a tuning by its demand,
//! a comparison by what is new. What nobody asked or exercised is open, never good.

use std::collections::BTreeMap;

use super::bundle::{Bundle, CheckRun, Folder, Results};
use super::labels::{count_of, run_name};
use super::sections::compare::{new_events, newly_broken};
use super::unverified::differences;
use crate::campaign::summary::{Summary as CampaignSummary, by_class};
use crate::evidence::requirements::{Finding, requirements};
use crate::evidence::results_folder::NOT_VERIFIED;
use crate::evidence::standing::{ByRequirement, Standing, add, of_limits};
use crate::tune::search::Tuned;

/// What one result says.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Which result it is.
    pub name: String,
    /// Anchor of the section that shows it.
    pub section: &'static str,
    /// How good it is.
    pub standing: Standing,
    /// In words, a line each.
    pub lines: Vec<String>,
    /// By requirement.
    pub by_requirement: ByRequirement,
}

/// All results of the page, in its order.
#[must_use]
pub fn parts(bundle: &Bundle) -> Vec<Part> {
    let mut parts = Vec::new();
    for (k, folder) in bundle.folders.iter().enumerate() {
        let name = run_name(bundle, k);
        parts.push(match &folder.results {
            Results::Check(run) => of_check(name, run),
            Results::Campaign(summary) => of_campaign(name, summary),
            Results::Tune(tuned) => of_tuning(name, tuned),
        });
        let compared = bundle
            .against
            .as_ref()
            .and_then(|other| of_comparison(folder, other));
        parts.extend(compared);
    }
    let changed = differences(bundle);
    if !changed.is_empty() {
        let names: Vec<&str> = changed.iter().map(|(name, _)| *name).collect();
        parts.push(Part {
            name: "evidence".into(),
            section: "answer",
            standing: Standing::Fails,
            lines: vec![format!(
                "{NOT_VERIFIED}: not as it was written: {}",
                names.join(", ")
            )],
            by_requirement: ByRequirement::new(),
        });
    }
    parts
}

/// The worst of all; open where there is nothing.
#[must_use]
pub fn worst(parts: &[Part]) -> Standing {
    parts
        .iter()
        .map(|p| p.standing)
        .max()
        .unwrap_or(Standing::Open)
}

/// By requirement: the worst of all results, and why, with the result that says so.
#[must_use]
pub fn by_requirement(parts: &[Part]) -> ByRequirement {
    let mut all = ByRequirement::new();
    for part in parts {
        for (id, (standing, words)) in &part.by_requirement {
            add(
                &mut all,
                id,
                *standing,
                &format!("{}: {}", part.name, words.join("; ")),
            );
        }
    }
    all
}

fn of_check(name: String, run: &CheckRun) -> Part {
    let s = &run.summary;
    let mut by_requirement = ByRequirement::new();
    let mut without_region = 0;
    for r in requirements(&run.display, s, &run.events) {
        let standing = match r.finding {
            Finding::Fault => Standing::Fails,
            Finding::NoRegion | Finding::NotExercised | Finding::PartlyExercised => Standing::Open,
            Finding::Agrees => Standing::Holds,
        };
        without_region += usize::from(r.finding == Finding::NoRegion);
        let words = match r.finding {
            Finding::Fault => count_of(r.events.len(), "event"),
            Finding::NoRegion => "no region verifies it".to_owned(),
            _ => r.finding.text().to_owned(),
        };
        add(&mut by_requirement, &r.id, standing, &words);
    }
    let open = by_requirement
        .values()
        .filter(|(s, _)| *s == Standing::Open)
        .count();
    let has_faults = !run.events.is_empty() || s.result == "faults found";
    let is_judged = s.error.is_none() && s.result == "agrees";
    let standing = if has_faults {
        Standing::Fails
    } else if !is_judged || open > 0 {
        Standing::Open
    } else {
        Standing::Holds
    };
    let mut lines = vec![match (has_faults, is_judged) {
        (true, _) => format!("faults found: {}", count_of(run.events.len(), "event")),
        (false, true) if open > 0 => "agrees where it was exercised".into(),
        (false, true) => "agrees".into(),
        (false, false) => s.result.clone(),
    }];
    let all = by_requirement.len();
    if without_region > 0 {
        lines.push(format!(
            "{without_region} of {all} requirements are verified by no region"
        ));
    }
    let unexercised = open - without_region;
    if unexercised > 0 {
        lines.push(format!(
            "{unexercised} of {all} requirements were not exercised, or only in part"
        ));
    }
    lines.extend(s.error.iter().map(|e| format!("ended early: {e}")));
    Part {
        name,
        section: "events",
        standing,
        lines,
        by_requirement,
    }
}

fn of_campaign(name: String, summary: &CampaignSummary) -> Part {
    let by_requirement = of_limits(&summary.limits);
    let classes = by_class(&summary.limits);
    let mut lines: Vec<String> = classes.iter().map(|c| c.words()).collect();
    let mut standing = summary
        .limits
        .iter()
        .map(|l| l.kept().into())
        .max()
        .unwrap_or(Standing::Open);
    if classes.is_empty() {
        lines.push("its plan sets no limit: nothing says how soon faults must be raised".into());
    }
    let not_begun = summary.planned.saturating_sub(summary.carried_out);
    if not_begun > 0 {
        standing = standing.max(Standing::Open);
        lines.push(format!(
            "{not_begun} of {} trials were not carried out",
            summary.planned
        ));
    }
    lines.sort_by_key(|l| !l.contains("NOT KEPT"));
    Part {
        name,
        section: "campaign",
        standing,
        lines,
        by_requirement,
    }
}

fn of_tuning(name: String, tuned: &Tuned) -> Part {
    let mut by_requirement = ByRequirement::new();
    let concerned = || tuned.regions.iter().filter(|r| r.is_concerned);
    for r in concerned() {
        let standing = if r.recommended.is_some() {
            Standing::Holds
        } else {
            Standing::Fails
        };
        for id in &r.requirements {
            let words = format!("no set of thresholds meets the demand in {}", r.region);
            add(&mut by_requirement, id, standing, &words);
        }
    }
    let without: Vec<&str> = concerned()
        .filter(|r| r.recommended.is_none())
        .map(|r| r.region.as_str())
        .collect();
    let all = concerned().count();
    let (standing, line) = if all == 0 {
        (
            Standing::Open,
            "no region is concerned by its demand".to_owned(),
        )
    } else if without.is_empty() {
        (
            Standing::Holds,
            format!(
                "a set of thresholds meets the demand in {}",
                count_of(all, "region")
            ),
        )
    } else {
        let line = format!(
            "no set of thresholds meets the demand in {} of {}: {}",
            without.len(),
            count_of(all, "region"),
            without.join(", ")
        );
        (Standing::Fails, line)
    };
    Part {
        name,
        section: "tuning",
        standing,
        lines: vec![line],
        by_requirement,
    }
}

/// What is new against the other results; `None` where they are of another kind.
fn of_comparison(now: &Folder, then: &Folder) -> Option<Part> {
    let mut by_requirement = ByRequirement::new();
    let (count, what) = match (&now.results, &then.results) {
        (Results::Check(now), Results::Check(then)) => {
            let new = new_events(now, then);
            for e in &new {
                let event = &now.events[*e];
                for id in event.requirement.split(", ").filter(|id| !id.is_empty()) {
                    add(
                        &mut by_requirement,
                        id,
                        Standing::Fails,
                        &format!("event {e} is new"),
                    );
                }
            }
            (new.len(), "event")
        }
        (Results::Campaign(now), Results::Campaign(then)) => {
            let broken = newly_broken(now, then);
            for limit in &broken {
                for id in &limit.requirements {
                    let words = format!("{}: kept then, not kept now", limit.name());
                    add(&mut by_requirement, id, Standing::Fails, &words);
                }
            }
            (broken.len(), "broken limit")
        }
        _ => return None,
    };
    let (standing, line) = match count {
        0 => (Standing::Holds, format!("no new {what}")),
        n => (
            Standing::Fails,
            format!("{n} new {what}{}", if n == 1 { "" } else { "s" }),
        ),
    };
    Some(Part {
        name: format!("{} against {}", now.name, then.name),
        section: "compare",
        standing,
        lines: vec![line],
        by_requirement,
    })
}

/// How many parts have which standing.
#[must_use]
pub fn counts(parts: &[Part]) -> BTreeMap<Standing, usize> {
    let mut counts = BTreeMap::new();
    for part in parts {
        *counts.entry(part.standing).or_default() += 1;
    }
    counts
}
