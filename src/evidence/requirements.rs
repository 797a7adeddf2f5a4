//! What a run says of each requirement: which regions verify it, what was looked at, what came of it.
//!
//! A requirement of which nothing was exercised must not look like one that passed. A region counts as
//! exercised when at least one of its frames was judged and not blind.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::display::{DisplayRecord, RegionInfo};
use super::records::Summary;
use crate::judge::event::Event;
use crate::requirements::Requirement as Wording;

/// What came of a requirement or region.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// At least one event.
    Fault,
    /// It stands in the file of requirements, and no region verifies it.
    NoRegion,
    /// No region of it was ever judged while a freeze could have been seen.
    NotExercised,
    /// Some of its regions were not exercised; the others agree.
    PartlyExercised,
    /// It agrees wherever it was exercised.
    Agrees,
}

impl Finding {
    /// In words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Fault => "fault",
            Self::NoRegion => "NO REGION",
            Self::NotExercised => "NOT EXERCISED",
            Self::PartlyExercised => "PARTLY EXERCISED",
            Self::Agrees => "agrees",
        }
    }
}

/// A requirement with what the run says of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Requirement {
    /// Its id.
    pub id: String,
    /// Its wording, where a file of requirements has it.
    pub wording: Option<Wording>,
    /// Regions that verify it.
    pub regions: Vec<String>,
    /// What came of it.
    pub finding: Finding,
    /// Places of its events in the list of events.
    pub events: Vec<usize>,
    /// By region that was not exercised: why.
    pub not_exercised: BTreeMap<String, String>,
}

/// Why a region was not exercised; `None` when it was.
#[must_use]
pub fn not_exercised(region: &RegionInfo, summary: &Summary) -> Option<String> {
    if region.is_unchecked() {
        return Some("unchecked".into());
    }
    if let Some(why) = summary.not_judged.get(&region.id) {
        return Some(format!("not judged: {why}"));
    }
    let counts = summary.region_verdicts.get(&region.id)?;
    let of = |verdict: &str| counts.get(verdict).copied().unwrap_or(0);
    let frames: u64 = counts.values().sum();
    if frames == 0 {
        Some("no frame was judged".into())
    } else if of("not_judged") == frames {
        Some("not judged in any frame".into())
    } else if of("not_judged") + of("blind") == frames {
        Some("always blind: nothing in it moved enough for a freeze to be seen".into())
    } else {
        None
    }
}

/// Events that concern `region`, by their place.
#[must_use]
pub fn events_of(region: &str, events: &[Event]) -> Vec<usize> {
    let concerns = |e: &Event| e.regions.iter().any(|r| r == "*" || r == region);
    (0..events.len())
        .filter(|k| concerns(&events[*k]))
        .collect()
}

/// What the run says of each requirement, by id: those that the definition names, and those of the file of requirements.
#[must_use]
pub fn requirements(
    display: &DisplayRecord,
    summary: &Summary,
    events: &[Event],
) -> Vec<Requirement> {
    let mut by_id: BTreeMap<&str, Vec<&RegionInfo>> = BTreeMap::new();
    let wordings: BTreeMap<&str, &Wording> = display
        .requirements
        .iter()
        .map(|r| (r.id.as_str(), r))
        .collect();
    for id in wordings.keys() {
        by_id.insert(id, Vec::new());
    }
    for region in &display.regions {
        for id in &region.requirements {
            by_id.entry(id).or_default().push(region);
        }
    }
    by_id
        .into_iter()
        .map(|(id, regions)| {
            let events: BTreeSet<usize> = regions
                .iter()
                .flat_map(|r| events_of(&r.id, events))
                .collect();
            let not_exercised: BTreeMap<String, String> = regions
                .iter()
                .filter_map(|r| Some((r.id.clone(), not_exercised(r, summary)?)))
                .collect();
            let finding = if !events.is_empty() {
                Finding::Fault
            } else if regions.is_empty() {
                Finding::NoRegion
            } else if not_exercised.len() == regions.len() {
                Finding::NotExercised
            } else if not_exercised.is_empty() {
                Finding::Agrees
            } else {
                Finding::PartlyExercised
            };
            Requirement {
                id: id.to_owned(),
                wording: wordings.get(id).map(|w| (*w).clone()),
                regions: regions.iter().map(|r| r.id.clone()).collect(),
                finding,
                events: events.into_iter().collect(),
                not_exercised,
            }
        })
        .collect()
}

/// What the run says of one region.
#[must_use]
pub fn region_finding(region: &RegionInfo, summary: &Summary, events: &[Event]) -> Finding {
    if !events_of(&region.id, events).is_empty() {
        Finding::Fault
    } else if not_exercised(region, summary).is_some() {
        Finding::NotExercised
    } else {
        Finding::Agrees
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::display::UncheckedArea;
    use crate::evidence::report::tests::{display, event, summary};

    #[test]
    fn what_nothing_exercised_does_not_pass() {
        let found = requirements(&display(), &summary(), &[]);
        let of = |id: &str| found.iter().find(|r| r.id == id).unwrap();
        assert_eq!(of("R-SPEED").finding, Finding::Agrees);
        assert_eq!(of("R-BLIND").finding, Finding::NotExercised);
        assert_eq!(of("R-LACK").finding, Finding::NotExercised);
        assert_eq!(of("R-BOTH").finding, Finding::PartlyExercised);
        assert!(of("R-LACK").not_exercised["lacking"].contains("the recording lacks x"));
    }

    #[test]
    fn a_requirement_that_no_region_verifies_is_there_and_open() {
        let mut shown = display();
        let wording = |id: &str| Wording {
            id: id.into(),
            text: format!("{id} shall hold"),
            ..Wording::default()
        };
        shown.requirements = vec![wording("R-SPEED"), wording("R-LOST")];
        let found = requirements(&shown, &summary(), &[]);
        let of = |id: &str| found.iter().find(|r| r.id == id).unwrap();
        assert_eq!(of("R-LOST").finding, Finding::NoRegion);
        assert_eq!(of("R-SPEED").finding, Finding::Agrees);
        assert_eq!(
            of("R-SPEED").wording.as_ref().unwrap().text,
            "R-SPEED shall hold"
        );
        // The file lacks it, and the definition names it all the same.
        assert_eq!(of("R-BOTH").wording, None);
        // An event of the whole frame is none of a requirement that nothing verifies.
        let found = requirements(&shown, &summary(), &[event("blank", "*", 1.0)]);
        assert_eq!(
            found.iter().find(|r| r.id == "R-LOST").unwrap().finding,
            Finding::NoRegion
        );
    }

    #[test]
    fn what_is_left_out_of_the_check_does_not_pass() {
        let mut shown = display();
        shown.regions[0].unchecked = vec![UncheckedArea {
            rect: shown.regions[0].rect,
            reason: "moving map".into(),
        }];
        let found = region_finding(&shown.regions[0], &summary(), &[]);
        assert_eq!(found, Finding::NotExercised);
    }

    #[test]
    fn an_event_of_the_whole_frame_concerns_every_requirement() {
        let all = requirements(&display(), &summary(), &[event("blank", "*", 1.0)]);
        assert!(all.iter().all(|r| r.finding == Finding::Fault));
        let one = requirements(&display(), &summary(), &[event("blank", "speed", 1.0)]);
        let faulty: Vec<&str> = one
            .iter()
            .filter(|r| r.finding == Finding::Fault)
            .map(|r| r.id.as_str())
            .collect();
        assert_eq!(faulty, ["R-BOTH", "R-SPEED"]);
    }
}
