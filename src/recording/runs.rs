//! At which rows something held: all that is remembered of a recording's history.

/// One unbroken stretch of rows.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Run {
    first: usize,
    /// One past the last row.
    end: usize,
    /// How long the runs before lasted in all, s.
    seconds_before: f64,
}

impl Run {
    /// From its first row to the one that ended it, or to its last where there is no row after it, s.
    fn seconds(&self, times_s: &[f64]) -> f64 {
        let end = self.end.min(times_s.len().saturating_sub(1));
        times_s[end] - times_s[self.first]
    }
}

/// The stretches of rows at which something held, in order.
#[derive(Clone, Debug, Default)]
pub(super) struct Runs(Vec<Run>);

impl Runs {
    /// Notes that it holds at `row`; rows come in rising order.
    pub(super) fn note(&mut self, row: usize, times_s: &[f64]) {
        match self.0.last_mut() {
            Some(run) if run.end == row => run.end = row + 1,
            last => {
                let seconds_before = last.map_or(0.0, |r| r.seconds_before + r.seconds(times_s));
                self.0.push(Run {
                    first: row,
                    end: row + 1,
                    seconds_before,
                });
            }
        }
    }

    /// The last run that begins at or before `row`.
    fn newest(&self, row: usize) -> Option<&Run> {
        let next = self.0.partition_point(|run| run.first <= row);
        self.0.get(next.checked_sub(1)?)
    }

    /// First row of the run that `row` lies in.
    pub(super) fn start(&self, row: usize) -> Option<usize> {
        let run = self.newest(row)?;
        (row < run.end).then_some(run.first)
    }

    /// First row of the last run that begins at or before `row`.
    pub(super) fn newest_start(&self, row: usize) -> Option<usize> {
        self.newest(row).map(|run| run.first)
    }

    /// Whether it held at any row from `first` to `last`.
    pub(super) fn held_within(&self, first: usize, last: usize) -> bool {
        self.newest(last).is_some_and(|run| run.end > first)
    }

    /// How long it held up to `time_s`, of which `row` is the last row, s: from the first row of each run to the row that
    /// ended it.
    pub(super) fn seconds(&self, row: usize, time_s: f64, times_s: &[f64]) -> f64 {
        self.newest(row).map_or(0.0, |run| {
            let last = if row < run.end {
                time_s - times_s[run.first]
            } else {
                run.seconds(times_s)
            };
            run.seconds_before + last
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_found_and_summed() {
        let times_s = [0.0, 1.0, 2.0, 4.0, 7.0, 8.0];
        let mut runs = Runs::default();
        for row in [1, 2, 4, 5] {
            runs.note(row, &times_s);
        }
        let starts: Vec<_> = (0..6).map(|row| runs.start(row)).collect();
        assert_eq!(starts, [None, Some(1), Some(1), None, Some(4), Some(4)]);
        let newest: Vec<_> = (0..6).map(|row| runs.newest_start(row)).collect();
        assert_eq!(newest, [None, Some(1), Some(1), Some(1), Some(4), Some(4)]);
        // From 1 s to the row at 4 s, and from 7 s on.
        for (row, time_s, expected) in [
            (0, 0.5, 0.0),
            (1, 1.5, 0.5),
            (2, 3.9, 2.9),
            (3, 4.0, 3.0),
            (3, 6.9, 3.0),
            (4, 7.25, 3.25),
            (5, 9.0, 5.0),
        ] {
            let found = runs.seconds(row, time_s, &times_s);
            assert!((found - expected).abs() < 1e-12, "{found} at {time_s} s");
        }
    }
}
