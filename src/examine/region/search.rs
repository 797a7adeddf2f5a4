//! When is looked again for what was not found?

/// Longest time between two searches, s.
const LONGEST_S: f64 = 0.24;
/// Time to the next search, of the time that it was searched for in vain: a fault may not be whole in its first frames.
const SHARE: f64 = 0.4;

/// A search that is repeated the more seldom, the longer it has been in vain. What it found last is carried over between.
#[derive(Clone, Debug, Default)]
pub(super) struct Search {
    /// Recording times of the first search and the last, s.
    first_last_s: Option<[f64; 2]>,
}

impl Search {
    /// Nothing is looked for any more; the next search is due at once.
    pub fn rest(&mut self) {
        self.first_last_s = None;
    }

    /// Whether a search is due in the frame at recording time `now_s`, which is shown for about `interval_s`; then it
    /// counts as made.
    pub fn is_due(&mut self, now_s: f64, interval_s: f64) -> bool {
        let Some([first_s, last_s]) = self.first_last_s else {
            self.first_last_s = Some([now_s, now_s]);
            return true;
        };
        let wait_s = (SHARE * (last_s - first_s)).min(LONGEST_S);
        let is_due = now_s - last_s >= wait_s - interval_s / 2.0;
        if is_due {
            self.first_last_s = Some([first_s, now_s]);
        }
        is_due
    }

    /// The same of a search that is dear: the longest time lies between any two.
    pub fn is_due_seldom(&mut self, now_s: f64, interval_s: f64) -> bool {
        let is_due = (self.first_last_s)
            .is_none_or(|[_, last_s]| now_s - last_s >= LONGEST_S - interval_s / 2.0);
        if is_due {
            self.first_last_s = Some([now_s, now_s]);
        }
        is_due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames(rate_hz: f64, mut is_due: impl FnMut(f64, f64) -> bool) -> Vec<usize> {
        let at = |k: &usize| is_due(7.0 + *k as f64 / rate_hz, 1.0 / rate_hz);
        (0..40).filter(at).collect()
    }

    #[test]
    fn the_first_frames_are_searched_and_later_ones_by_the_clock() {
        let mut search = Search::default();
        let due = frames(25.0, |now_s, interval_s| search.is_due(now_s, interval_s));
        assert_eq!(due, [0, 1, 2, 3, 4, 6, 8, 11, 15, 21, 27, 33, 39]);
        let mut search = Search::default();
        let due = frames(12.5, |now_s, interval_s| search.is_due(now_s, interval_s));
        assert_eq!(
            due,
            [0, 1, 2, 3, 4, 6, 8, 11, 14, 17, 20, 23, 26, 29, 32, 35, 38]
        );
    }

    #[test]
    fn a_dear_search_has_the_longest_time_between() {
        let mut search = Search::default();
        let due = frames(50.0, |now_s, s| search.is_due_seldom(now_s, s));
        assert_eq!(due, [0, 12, 24, 36]);
        search.rest();
        assert!(search.is_due_seldom(7.8, 0.02));
    }
}
