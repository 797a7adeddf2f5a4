//! Does the mark of liveness change?

use crate::definition::model::{Region, Symbol};

/// What was seen of a mark that must change all the time.
#[derive(Clone, Debug)]
pub(super) struct Liveness {
    period_s: f64,
    hold_s: f64,
    /// Which half was lit last, and since when.
    lit: Option<(bool, f64)>,
    /// Since when the mark shows neither half.
    other_since_s: Option<f64>,
}

impl Liveness {
    /// That of a region; `None` without such a mark.
    pub fn of(region: &Region) -> Option<Self> {
        let mut marks = region.symbol.iter().flat_map(Symbol::liveness);
        marks.next().map(|mark| Self {
            period_s: mark.period_ms / 1000.0,
            hold_s: mark.max_hold_ms / 1000.0,
            lit: None,
            other_since_s: None,
        })
    }

    /// Takes which half is lit at `time_s`, or that neither could be told.
    pub fn see(&mut self, time_s: f64, lit: Option<bool>) {
        let Some(lit) = lit else {
            self.other_since_s.get_or_insert(time_s);
            return;
        };
        // What showed neither half for so long was a phase of its own, if a wrong one; less may be a damaged picture.
        let other_since_s = self.other_since_s.take();
        let was_other =
            other_since_s.is_some_and(|since_s| time_s - since_s >= self.period_s / 2.0);
        if was_other || self.lit.is_none_or(|(before, _)| before != lit) {
            self.lit = Some((lit, time_s));
        }
    }

    /// Whether it has not changed for too long.
    pub fn is_stuck(&self, time_s: f64) -> bool {
        self.lit
            .is_some_and(|(_, since_s)| time_s - since_s > self.hold_s)
    }

    /// When it changed last, if that is not too long ago. `None` before anything was told of it.
    pub fn changed_s(&self, time_s: f64) -> Option<Option<f64>> {
        let (_, changed_s) = self.lit?;
        Some((time_s - changed_s <= self.hold_s).then_some(changed_s))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark() -> Liveness {
        Liveness {
            period_s: 0.24,
            hold_s: 0.6,
            lit: None,
            other_since_s: None,
        }
    }

    /// Whether the mark is stuck after pictures 40 ms apart.
    fn is_stuck(seen: impl Iterator<Item = Option<bool>>) -> bool {
        let mut mark = mark();
        let mut time_s = 0.0;
        for lit in seen {
            time_s += 0.04;
            mark.see(time_s, lit);
        }
        mark.is_stuck(time_s)
    }

    #[test]
    fn a_mark_that_stands_still_is_stuck_and_one_that_changes_is_not() {
        assert!(is_stuck((0..30).map(|_| Some(true))));
        assert!(!is_stuck((0..30).map(|k| Some(k / 6 % 2 == 0))));
        assert!(
            !is_stuck((0..15).map(|_| Some(true))),
            "not for so long yet"
        );
    }

    #[test]
    fn a_phase_that_shows_something_else_is_a_change_and_a_damaged_picture_is_none() {
        let other_half = (0..30).map(|k| (k / 6 % 2 == 0).then_some(false));
        assert!(!is_stuck(other_half));
        let damaged = (0..30).map(|k| (k % 6 != 3).then_some(false));
        assert!(is_stuck(damaged));
    }

    #[test]
    fn what_changed_lately_lives() {
        let mut mark = mark();
        assert_eq!(mark.changed_s(0.0), None);
        mark.see(1.0, Some(true));
        mark.see(1.2, Some(true));
        assert_eq!(mark.changed_s(1.5), Some(Some(1.0)));
        assert_eq!(mark.changed_s(1.7), Some(None));
    }
}
