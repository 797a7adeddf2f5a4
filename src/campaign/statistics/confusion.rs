//! Which class was due and which was given.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Confidence;
use super::binomial::Proportion;

/// Name of the row and column of trials in which no class was due or given.
pub const NONE: &str = "none";

/// How often which class was given where which was due.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Confusion {
    /// All classes that occur as due or given, in alphabetical order, [`NONE`] last; `none` is always among them.
    pub classes: Vec<String>,
    /// Trials by class due, then by class given; pairs that never occurred are absent.
    pub counts: BTreeMap<String, BTreeMap<String, u64>>,
    /// All trials.
    pub trials: u64,
    /// Trials in which the class due was given, with bounds.
    pub correct: Proportion,
    /// Of the trials in which a class was due, those in which it was given: by class due.
    pub recall: BTreeMap<String, Proportion>,
    /// Of the trials in which a class was given, those in which it was due: by class given.
    pub precision: BTreeMap<String, Proportion>,
}

impl Confusion {
    /// Counts pairs of the class due and the class given; `None` is no class at all: a clean trial, a miss.
    #[expect(
        clippy::missing_panics_doc,
        reason = "a part of a sum is never above the sum"
    )]
    #[must_use]
    pub fn new<'a>(
        trials: impl IntoIterator<Item = (Option<&'a str>, Option<&'a str>)>,
        confidence: Confidence,
    ) -> Self {
        let share = |k, n| Proportion::new(k, n, confidence).expect("k is a part of n");
        let mut counts: BTreeMap<String, BTreeMap<String, u64>> = BTreeMap::new();
        for (due, given) in trials {
            let row = counts.entry(due.unwrap_or(NONE).to_owned()).or_default();
            *row.entry(given.unwrap_or(NONE).to_owned()).or_default() += 1;
        }
        let mut due = BTreeMap::<String, u64>::new();
        let mut given = BTreeMap::<String, u64>::new();
        for (row, columns) in &counts {
            for (column, count) in columns {
                *due.entry(row.clone()).or_default() += count;
                *given.entry(column.clone()).or_default() += count;
            }
        }
        let hits = |class: &String| {
            counts
                .get(class)
                .and_then(|row| row.get(class))
                .copied()
                .unwrap_or(0)
        };
        let shares = |totals: &BTreeMap<String, u64>| {
            totals
                .iter()
                .map(|(class, &n)| (class.clone(), share(hits(class), n)))
                .collect::<BTreeMap<_, _>>()
        };
        let trials = due.values().sum();
        let mut classes: Vec<String> = due
            .keys()
            .chain(given.keys())
            .filter(|&class| class != NONE)
            .cloned()
            .collect();
        classes.sort();
        classes.dedup();
        classes.push(NONE.to_owned());
        Self {
            correct: share(due.keys().map(hits).sum(), trials),
            recall: shares(&due),
            precision: shares(&given),
            classes,
            counts,
            trials,
        }
    }

    /// Trials in which the one was due and the other given.
    #[must_use]
    pub fn count(&self, due: &str, given: &str) -> u64 {
        self.counts
            .get(due)
            .and_then(|row| row.get(given))
            .copied()
            .unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_table_worked_by_hand() {
        let trials = [
            (Some("frozen"), Some("frozen")),
            (Some("frozen"), Some("frozen")),
            (Some("frozen"), Some("late")),
            (Some("frozen"), None),
            (Some("late"), Some("late")),
            (None, None),
            (None, Some("late")),
        ];
        let found = Confusion::new(trials, Confidence::USUAL);
        assert_eq!(found.classes, ["frozen", "late", "none"]);
        assert_eq!((found.trials, found.correct.k), (7, 4));
        assert_eq!(
            (found.count("frozen", "none"), found.count("late", "frozen")),
            (1, 0)
        );
        let pair =
            |shares: &BTreeMap<String, Proportion>, class: &str| (shares[class].k, shares[class].n);
        assert_eq!(pair(&found.recall, "frozen"), (2, 4));
        assert_eq!(pair(&found.recall, "none"), (1, 2));
        assert_eq!(pair(&found.precision, "late"), (1, 3));
    }

    #[test]
    fn of_no_trials_nothing_is_said() {
        let found = Confusion::new([], Confidence::USUAL);
        assert_eq!((found.trials, found.correct.share), (0, None));
        assert_eq!(found.classes, [NONE]);
    }

    proptest! {
        #[test]
        fn order_of_trials_does_not_matter(
            mut trials in prop::collection::vec((prop::option::of("[a-c]"), prop::option::of("[a-c]")), 0..60)
        ) {
            let count = |trials: &[(Option<String>, Option<String>)]| {
                let pairs = trials.iter().map(|(due, given)| (due.as_deref(), given.as_deref()));
                Confusion::new(pairs, Confidence::USUAL)
            };
            let found = count(&trials);
            prop_assert_eq!(found.trials, trials.len() as u64);
            trials.reverse();
            prop_assert_eq!(count(&trials), found);
        }
    }
}
