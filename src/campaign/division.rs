//! Shards: a campaign in so many parts, each for a machine of its own.
//!
//! *The question*: which machine carries out which trials, so that none checks the clean video of another, all have about as
//! much to do, and everybody knows it without asking? *The method*: the stretches of all captures, one after another, weigh what they cost:
//! their clean video, and the video of the trials that begin there by their seeds. A shard has those that lie in its equal share of that,
//! in a row, and of the trials those that begin in them. *What it cannot see*: that some faults cost more than
//! others of the same length, and captures that are shorter than their recordings.
//!
//! A trial that finds no moment in the stretches of its shard is left to [`super::parts`].

/// What the stretches of one capture cost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Stretches in which trials may begin; a capture may have more of them, which belong to the last.
    pub stretches: usize,
    /// Video that is gone through for one of them, s.
    pub stretch_s: f64,
}

/// Which shard has which stretch.
#[derive(Clone, Debug)]
pub struct Division {
    of: u32,
    /// By capture: video before it, s, and its load.
    captures: Vec<(f64, Load)>,
    total_s: f64,
}

impl Division {
    /// Into so many shards, of captures with these loads.
    #[must_use]
    pub fn new(of: u32, loads: impl IntoIterator<Item = Load>) -> Self {
        let mut total_s = 0.0;
        let mut captures = Vec::new();
        for load in loads {
            captures.push((total_s, load));
            total_s += load.stretches as f64 * load.stretch_s;
        }
        Self {
            of,
            captures,
            total_s,
        }
    }

    /// Number, from 1, of the shard that has `stretch` of `capture`.
    ///
    /// # Panics
    /// When there is no such capture.
    #[must_use]
    pub fn owner(&self, capture: usize, stretch: usize) -> u32 {
        let (before_s, load) = self.captures[capture];
        let number = stretch.min(load.stretches.saturating_sub(1));
        let middle_s = before_s + (number as f64 + 0.5) * load.stretch_s;
        let share = libm::floor(middle_s / self.total_s * f64::from(self.of));
        // Rounding goes nowhere near the ends, but for a campaign without any length.
        (share as u32).min(self.of - 1) + 1
    }

    /// The first stretch of `capture` that shard `number` or a later one has; the last, where none has any.
    #[must_use]
    pub fn first(&self, capture: usize, number: u32) -> usize {
        let (_, load) = self.captures[capture];
        let mut all = 0..load.stretches;
        let first = all.find(|stretch| self.owner(capture, *stretch) >= number);
        first.unwrap_or(load.stretches.saturating_sub(1))
    }

    /// Numbers of the first and the last shard that have a stretch of `capture`.
    #[must_use]
    pub fn owners(&self, capture: usize) -> (u32, u32) {
        (self.owner(capture, 0), self.owner(capture, usize::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stretch_has_one_shard_in_a_row_and_shares_are_even() {
        let load = |stretches, stretch_s| Load {
            stretches,
            stretch_s,
        };
        // Two captures; the stretches of the second cost three times as much.
        for of in [1, 2, 3, 8, 40] {
            let division = Division::new(of, [load(300, 1.0), load(100, 3.0)]);
            let mut held_s = vec![0.0; of as usize];
            let mut last = 1;
            for (capture, count, cost_s) in [(0, 300, 1.0), (1, 100, 3.0)] {
                for stretch in 0..count {
                    let owner = division.owner(capture, stretch);
                    assert!(owner == last || owner == last + 1, "{of}: {last}, {owner}");
                    last = owner;
                    held_s[owner as usize - 1] += cost_s;
                }
            }
            assert_eq!(last, of);
            let even_s = 600.0 / f64::from(of);
            assert!(
                held_s.iter().all(|s| (s - even_s).abs() <= 3.0),
                "{held_s:?}"
            );
        }
        let division = Division::new(4, [load(8, 1.0)]);
        assert_eq!(
            (division.owner(0, 8), division.owner(0, usize::MAX)),
            (4, 4)
        );
        assert_eq!(division.owners(0), (1, 4));
        assert_eq!([1, 2, 4, 5].map(|n| division.first(0, n)), [0, 2, 6, 7]);
        // Fewer stretches than shards: some have none.
        let division = Division::new(5, [load(2, 1.0)]);
        assert_eq!((division.owner(0, 0), division.owner(0, 1)), (2, 4));
        assert_eq!(Division::new(3, [load(1, 0.0)]).owner(0, 0), 1);
    }
}
