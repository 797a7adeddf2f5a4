//! What a suite says as a whole, and of each requirement over its runs.

use std::collections::BTreeMap;

use super::records::{RunRecord, SuiteRecord};
use crate::evidence::requirements::Finding;
use crate::evidence::standing::Standing;

/// The word for a suite, and how the program ends. With a last suite only what is new is a fault; what could not be judged
/// is told apart where nothing is faulty.
pub(super) fn of(runs: &[RunRecord], is_compared: bool) -> (&'static str, u8) {
    let new: usize = runs.iter().map(RunRecord::new_events).sum();
    let is_faulty = runs.iter().any(|r| !r.events.is_empty());
    let is_unjudged = runs.iter().any(RunRecord::is_unjudged);
    match (new > 0, is_compared) {
        (true, true) => ("new faults", 1),
        (true, false) => ("faults found", 1),
        _ if is_unjudged => ("not judged", 2),
        _ if is_faulty => ("no new faults", 0),
        _ => ("agrees", 0),
    }
}

/// What all runs say of each requirement: a fault in one is a fault; else it counts as exercised where one run exercised
/// all of its regions.
pub(super) fn by_requirement(runs: &[RunRecord]) -> BTreeMap<&str, Finding> {
    // From the one that says most to the one that says least.
    const fn weight(finding: Finding) -> u8 {
        match finding {
            Finding::Fault => 0,
            Finding::Agrees => 1,
            Finding::PartlyExercised => 2,
            Finding::NotExercised => 3,
            Finding::NoRegion => 4,
        }
    }
    let mut all: BTreeMap<&str, Finding> = BTreeMap::new();
    for (id, finding) in runs.iter().flat_map(|r| &r.requirements) {
        let entry = all.entry(id).or_insert(*finding);
        if weight(*finding) < weight(*entry) {
            *entry = *finding;
        }
    }
    all
}

/// How good a finding is.
pub(super) const fn standing_of(finding: Finding) -> Standing {
    match finding {
        Finding::Fault => Standing::Fails,
        Finding::NoRegion | Finding::NotExercised | Finding::PartlyExercised => Standing::Open,
        Finding::Agrees => Standing::Holds,
    }
}

/// How good a suite is: faults that are known fail as well.
pub(super) fn standing(suite: &SuiteRecord) -> Standing {
    let found = by_requirement(&suite.runs);
    let of_requirements = found.values().map(|f| standing_of(*f)).max();
    let of_runs = if suite.all.events > 0 {
        Standing::Fails
    } else if suite.all.not_judged > 0 || suite.shard.is_some() {
        Standing::Open
    } else {
        Standing::Holds
    };
    of_runs.max(of_requirements.unwrap_or(Standing::Holds))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::suite::records::Changes;
    use crate::suite::records::tests::run;

    #[test]
    fn a_fault_comes_before_what_could_not_be_judged_and_a_known_one_is_none_when_compared() {
        let failed = || {
            let mut r = run("x", &[], 0);
            r.exit_status = 2;
            r
        };
        assert_eq!(of(&[run("a", &[], 0)], false), ("agrees", 0));
        assert_eq!(
            of(&[run("a", &[], 1), failed()], false),
            ("faults found", 1)
        );
        assert_eq!(of(&[run("a", &[], 0), failed()], false), ("not judged", 2));
        let compared = |new: Vec<usize>| {
            let mut r = run("a", &[], 2);
            r.changes = Some(Changes {
                new,
                ..Changes::default()
            });
            r
        };
        assert_eq!(of(&[compared(vec![1])], true), ("new faults", 1));
        assert_eq!(of(&[compared(vec![])], true), ("no new faults", 0));
        assert_eq!(of(&[compared(vec![]), failed()], true), ("not judged", 2));
    }

    #[test]
    fn one_run_that_exercises_a_requirement_is_enough_and_one_that_fails_it_too() {
        let with = |id: &str, findings: &[(&str, Finding)]| {
            let mut r = run(id, &[], 0);
            r.requirements = findings
                .iter()
                .map(|(k, f)| ((*k).to_owned(), *f))
                .collect();
            r
        };
        let runs = [
            with(
                "a",
                &[("R-1", Finding::NotExercised), ("R-2", Finding::Agrees)],
            ),
            with(
                "b",
                &[
                    ("R-1", Finding::Agrees),
                    ("R-2", Finding::Fault),
                    ("R-3", Finding::NoRegion),
                ],
            ),
        ];
        let all = by_requirement(&runs);
        assert_eq!(all["R-1"], Finding::Agrees);
        assert_eq!(all["R-2"], Finding::Fault);
        assert_eq!(standing_of(all["R-3"]), Standing::Open);
    }
}
