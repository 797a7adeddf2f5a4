//! One channel over time, and its value at an instant.

use std::sync::Arc;

use super::inputs::Value;
use super::resolution::Around;
use crate::definition::model::{Channel, Interpolation};

/// Slack in comparisons of ages, s: decimal times are not exact in binary.
pub(super) const TIME_SLACK_S: f64 = 1e-9;

/// One channel's samples.
#[derive(Clone, Debug)]
pub(super) struct Sampled {
    interpolation: Interpolation,
    max_age_s: f64,
    range: Option<[f64; 2]>,
    /// Where the turn begins that an angular channel counts in, deg.
    turn_begin_deg: f64,
    /// Row of each sample, when not every row has one.
    rows: Option<Vec<usize>>,
    samples: Samples,
}

/// Samples in order; those without a usable value are kept, since they end the one before.
#[derive(Clone, Debug)]
enum Samples {
    /// NaN stands for "not usable".
    Numbers(Vec<f64>),
    /// `None` stands for "not usable".
    Words(Vec<Option<Arc<str>>>),
}

impl Samples {
    fn len(&self) -> usize {
        match self {
            Self::Numbers(v) => v.len(),
            Self::Words(v) => v.len(),
        }
    }
}

/// An angle brought into the turn that begins at `begin`, degrees.
pub(super) fn angle_in_turn(degrees: f64, begin: f64) -> f64 {
    if (begin..begin + 360.0).contains(&degrees) {
        // Not taken to pieces and put together again, which would round.
        return degrees;
    }
    let angle = begin + (degrees - begin).rem_euclid(360.0);
    // A tiny negative angle rounds up to a whole turn.
    if angle >= begin + 360.0 { begin } else { angle }
}

/// Between two angles, the shortest way round, in the turn that begins at `begin`; `share` 0 gives `a`, 1 gives `b`.
fn between_angles(a: f64, b: f64, share: f64, begin: f64) -> f64 {
    let turn = (b - a + 180.0).rem_euclid(360.0) - 180.0;
    angle_in_turn(a + share * turn, begin)
}

/// On the straight line from `a` to `b`. Never outside of the two, whatever rounding does, and
/// never infinite, even where `b - a` would be.
pub(super) fn on_line(a: f64, b: f64, share: f64) -> f64 {
    (a * (1.0 - share) + b * share).clamp(a.min(b), a.max(b))
}

impl Sampled {
    /// A channel without samples.
    pub(super) fn new(channel: &Channel) -> Self {
        let samples = match channel.interpolation {
            Interpolation::Text => Samples::Words(Vec::new()),
            Interpolation::Linear | Interpolation::Angular | Interpolation::Hold => {
                Samples::Numbers(Vec::new())
            }
        };
        Self {
            interpolation: channel.interpolation,
            max_age_s: channel.max_age_ms / 1000.0,
            range: channel.range,
            turn_begin_deg: channel.turn_begin_deg(),
            rows: None,
            samples,
        }
    }

    /// True when there are no samples yet.
    pub(super) fn is_empty(&self) -> bool {
        self.samples.len() == 0
    }

    /// True when the newest sample is that of `row`.
    pub(super) fn has(&self, row: usize) -> bool {
        let newest = match &self.rows {
            Some(rows) => rows.last().copied(),
            None => self.samples.len().checked_sub(1),
        };
        newest == Some(row)
    }

    /// The samples about a moment whose last row is `row`, where they have numbers; none where they lie no farther apart than
    /// `dense_s`.
    pub(super) fn around(&self, times_s: &[f64], row: usize, dense_s: f64) -> Around {
        let Samples::Numbers(numbers) = &self.samples else {
            return [None; 6];
        };
        let next = match &self.rows {
            None => row + 1,
            Some(rows) => rows.partition_point(|r| *r <= row),
        };
        let at = |sample: Option<usize>| {
            let sample = sample.filter(|k| *k < numbers.len())?;
            let row = self.rows.as_ref().map_or(sample, |rows| rows[sample]);
            let value = Some(numbers[sample]).filter(|v| !v.is_nan())?;
            Some((*times_s.get(row)?, value))
        };
        let (a, b) = (at(next.checked_sub(1)), at(Some(next)));
        match (a, b) {
            (Some((from_s, _)), Some((to_s, _))) if to_s - from_s > dense_s => {
                let before = |k| at(next.checked_sub(k));
                let after = |k| at(Some(next + k));
                [before(3), before(2), a, b, after(1), after(2)]
            }
            _ => [None; 6],
        }
    }

    /// Row and value of each sample; no value where it is unusable or words.
    pub(super) fn each(&self) -> impl Iterator<Item = (usize, Option<f64>)> {
        let rows = self.rows.as_deref();
        (0..self.samples.len()).map(move |k| {
            let number = match &self.samples {
                Samples::Numbers(numbers) => Some(numbers[k]).filter(|v| !v.is_nan()),
                Samples::Words(_) => None,
            };
            (rows.map_or(k, |rows| rows[k]), number)
        })
    }

    /// Forgets the newest sample.
    pub(super) fn take_back(&mut self) {
        if let Some(rows) = &mut self.rows {
            rows.pop();
        }
        match &mut self.samples {
            Samples::Numbers(v) => drop(v.pop()),
            Samples::Words(v) => drop(v.pop()),
        }
    }

    /// True when cells hold words and not numbers.
    pub(super) const fn is_text(&self) -> bool {
        matches!(self.samples, Samples::Words(_))
    }

    fn note_row(&mut self, row: usize) {
        let count = self.samples.len();
        match &mut self.rows {
            Some(rows) => rows.push(row),
            // The first gap: up to here each row had a sample.
            None if row != count => self.rows = Some((0..count).chain([row]).collect()),
            None => {}
        }
    }

    /// Adds a number; rows rise from call to call.
    pub(super) fn push_number(&mut self, row: usize, value: f64) {
        self.note_row(row);
        let is_inside = |v: f64| {
            self.range
                .is_none_or(|[low, high]| (low..=high).contains(&v))
        };
        let kept = match self.interpolation {
            // A source may count -180..180 where the range says 0..360, or the other way.
            Interpolation::Angular => {
                let angle = angle_in_turn(value, self.turn_begin_deg);
                if is_inside(value) || is_inside(angle) {
                    angle
                } else {
                    f64::NAN
                }
            }
            Interpolation::Linear | Interpolation::Hold | Interpolation::Text => {
                if is_inside(value) { value } else { f64::NAN }
            }
        };
        if let Samples::Numbers(numbers) = &mut self.samples {
            numbers.push(kept);
        }
    }

    /// Adds words; rows rise from call to call.
    pub(super) fn push_words(&mut self, row: usize, words: Arc<str>) {
        self.note_row(row);
        if let Samples::Words(all) = &mut self.samples {
            all.push(Some(words));
        }
    }

    /// Adds a sample that is flagged invalid.
    pub(super) fn push_unusable(&mut self, row: usize) {
        self.note_row(row);
        match &mut self.samples {
            Samples::Numbers(numbers) => numbers.push(f64::NAN),
            Samples::Words(words) => words.push(None),
        }
    }

    /// Ends the reading: rows after the last sample have none.
    pub(super) fn finish(&mut self, row_count: usize) {
        if self.rows.is_none() && self.samples.len() != row_count {
            self.rows = Some((0..self.samples.len()).collect());
        }
    }

    /// Says that its rows are others of a longer recording: `rows` gives the new one for each old one, in order.
    pub(super) fn renumber(&mut self, rows: &[usize], row_count: usize) {
        let renumbered: Vec<usize> = match &self.rows {
            Some(old) => old.iter().map(|row| rows[*row]).collect(),
            None => rows[..self.samples.len()].to_vec(),
        };
        let is_every = renumbered.iter().copied().eq(0..row_count);
        self.rows = (!is_every).then_some(renumbered);
    }

    /// Says that what comes at `row`, the newest, has nothing to do with what was before: what was before is held up to it.
    pub(super) fn part(&mut self, row: usize) {
        if !self.has(row) {
            self.push_unusable(row);
            return;
        }
        let last = self.samples.len() - 1;
        let rows = self.rows.get_or_insert_with(|| (0..=last).collect());
        // Two samples of one row: up to the row the first is the next one, and from there on the second counts.
        rows.insert(last, row);
        match &mut self.samples {
            Samples::Numbers(numbers) => numbers.insert(last, f64::NAN),
            Samples::Words(words) => words.insert(last, None),
        }
    }

    /// The value at `time_s`. `row` is the last row at or before it, `times_s` those of all rows.
    pub(super) fn value_at(&self, times_s: &[f64], row: usize, time_s: f64) -> Value {
        let (sample, row_of_next) = match &self.rows {
            None => (row, row + 1),
            Some(rows) => {
                let next = rows.partition_point(|r| *r <= row);
                let Some(sample) = next.checked_sub(1) else {
                    return Value::Invalid;
                };
                (sample, rows.get(next).copied().unwrap_or(times_s.len()))
            }
        };
        let row_of_sample = self.rows.as_ref().map_or(row, |rows| rows[sample]);
        let since_s = time_s - times_s[row_of_sample];
        if since_s > self.max_age_s + TIME_SLACK_S {
            return Value::Invalid;
        }
        match &self.samples {
            Samples::Words(words) => words[sample].clone().map_or(Value::Invalid, Value::Text),
            Samples::Numbers(numbers) => {
                let a = numbers[sample];
                if a.is_nan() {
                    return Value::Invalid;
                }
                let b = numbers.get(sample + 1).copied().filter(|b| !b.is_nan());
                let (Some(b), Some(next_s)) = (b, times_s.get(row_of_next)) else {
                    return Value::Number(a);
                };
                let share = since_s / (next_s - times_s[row_of_sample]);
                Value::Number(match self.interpolation {
                    Interpolation::Linear => on_line(a, b, share),
                    Interpolation::Angular => between_angles(a, b, share, self.turn_begin_deg),
                    Interpolation::Hold | Interpolation::Text => a,
                })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn angles_stay_below_a_whole_turn() {
        assert_eq!(angle_in_turn(-1e-20, 0.0), 0.0);
        assert_eq!(angle_in_turn(-90.0, 0.0), 270.0);
        assert_eq!(angle_in_turn(720.0, 0.0), 0.0);
        assert_eq!(angle_in_turn(190.0, -180.0), -170.0);
        assert_eq!(angle_in_turn(180.0, -180.0), -180.0);
        assert_eq!(angle_in_turn(-180.0, -180.0), -180.0);
        assert_eq!(angle_in_turn(0.1, -180.0), 0.1);
    }

    #[test]
    fn angles_go_the_shortest_way() {
        assert_eq!(between_angles(359.0, 1.0, 0.5, 0.0), 0.0);
        assert_eq!(between_angles(1.0, 359.0, 0.25, 0.0), 0.5);
        assert_eq!(between_angles(350.0, 20.0, 0.5, 0.0), 5.0);
        assert_eq!(between_angles(10.0, 190.0, 0.0, 0.0), 10.0);
        assert_eq!(between_angles(170.0, -170.0, 0.75, -180.0), -175.0);
    }

    proptest! {
        #[test]
        fn a_line_stays_between_its_ends(a in any::<f64>(), b in any::<f64>(), share in 0.0..=1.0) {
            prop_assume!(a.is_finite() && b.is_finite());
            let v = on_line(a, b, share);
            prop_assert!(a.min(b) <= v && v <= a.max(b));
        }

        #[test]
        fn an_angle_between_is_no_farther_than_half_a_turn(a in 0.0..360.0, b in 0.0..360.0, share in 0.0..=1.0) {
            let between = between_angles(a, b, share, 0.0);
            prop_assert!((0.0..360.0).contains(&between));
            let apart = |p: f64, q: f64| { let d = (p - q).abs(); d.min(360.0 - d) };
            // On the short arc the two parts add up to the whole.
            prop_assert!((apart(a, between) + apart(between, b) - apart(a, b)).abs() < 1e-9);
            prop_assert!((apart(a, between) - share * apart(a, b)).abs() < 1e-9);
        }
    }
}
