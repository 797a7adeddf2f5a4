//! What the runs of a suite come to, in all and by tag.

use std::collections::BTreeMap;

use super::records::{RunRecord, Totals};

impl Totals {
    fn add(&mut self, run: &RunRecord) {
        let count = |n: usize| n as u64;
        let worst = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (one, other) => one.or(other),
        };
        self.runs += 1;
        self.faulty += u64::from(!run.events.is_empty());
        self.not_judged += u64::from(run.is_unjudged());
        self.events += count(run.events.len());
        if let Some(changes) = &run.changes {
            self.new_events += count(changes.new.len());
            self.gone_events += count(changes.gone.len());
        }
        self.worst_staleness_ms = worst(self.worst_staleness_ms, run.worst_staleness_ms);
        self.worst_error_tolerances =
            worst(self.worst_error_tolerances, run.worst_error_tolerances);
    }
}

/// All runs together.
pub(super) fn of_all(runs: &[RunRecord]) -> Totals {
    let mut all = Totals::default();
    runs.iter().for_each(|run| all.add(run));
    all
}

/// Runs together by tag; a run counts for each of its tags.
pub(super) fn by_tag(runs: &[RunRecord]) -> BTreeMap<String, Totals> {
    let mut tags: BTreeMap<String, Totals> = BTreeMap::new();
    for run in runs {
        for tag in &run.tags {
            tags.entry(tag.clone()).or_default().add(run);
        }
    }
    tags
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::suite::records::tests::run;

    #[test]
    fn a_run_counts_for_each_of_its_tags_and_the_worst_of_them_stays() {
        let mut a = run("a", &["day", "rain"], 2);
        a.worst_staleness_ms = Some(80.0);
        let mut b = run("b", &["day"], 0);
        b.worst_staleness_ms = Some(120.0);
        let runs = [a, b, run("c", &[], 1)];
        let all = of_all(&runs);
        assert_eq!((all.runs, all.faulty, all.events), (3, 2, 3));
        let tags = by_tag(&runs);
        assert_eq!(tags["day"].worst_staleness_ms, Some(120.0));
        assert_eq!((tags["rain"].runs, tags["rain"].events), (1, 2));
    }
}
