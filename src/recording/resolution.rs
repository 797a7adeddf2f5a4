//! How well a recording tells what lies between its samples.
//!
//! A value between two samples is taken from the straight line between them. What the channel did there is not recorded; how
//! far it may have been off is judged by how its samples bend nearby. A parabola of the second derivative x'' leaves the chord
//! between `a` and `b` by (t - a)(b - t) x''/2; here twice that is taken, with the larger of the two second differences that
//! reach over the gap, since a channel need not be a parabola. On the demo's recording, thinned to 5, 2 and 1 samples a second,
//! the true values were never farther off than that and half a tolerance.
//!
//! *What it cannot see*: a swing that comes and goes between two samples. *What it does not ask*: channels that hold their
//! value, which have it until a sample says otherwise.
//!
//! # Source
//! Error of linear interpolation: any textbook of numerical analysis (from memory), as Stoer and Bulirsch, Introduction to
//! Numerical Analysis, section 2.1.4.

use super::inputs::{ChannelId, Value};
use super::moment::Moment;
use super::sampled::angle_in_turn;
use super::table::{Recording, Values};
use crate::definition::model::Interpolation;

/// A sample that counts: recording time, s, and value.
pub(super) type Point = (f64, f64);

impl Recording {
    /// How far a channel may have been from what is given for `time_s` (recording time, s), in its unit. 0 where samples lie
    /// no farther apart than `dense_s`: there the display may show either.
    #[must_use]
    pub fn doubt(&self, channel: ChannelId, time_s: f64, dense_s: f64) -> f64 {
        let Some(row) = self.row_at(time_s) else {
            return 0.0;
        };
        let interpolation = self.logic().channels[channel.0].1.interpolation;
        let is_angle = match interpolation {
            Interpolation::Linear => false,
            Interpolation::Angular => true,
            Interpolation::Hold | Interpolation::Text => return 0.0,
        };
        let [before, a, b, after] = match &self.sources()[channel.0] {
            Values::Missing => return 0.0,
            Values::Column(sampled) => sampled.around(self.times_s(), row, dense_s),
            Values::Derived => self.rows_around(channel, row, dense_s),
        };
        let (Some(a), Some(b)) = (a, b) else {
            return 0.0;
        };
        if b.0 - a.0 <= dense_s || time_s >= b.0 {
            return 0.0;
        }
        let bends = [
            before.map(|p| bend(p, a, b, is_angle)),
            after.map(|p| bend(a, b, p, is_angle)),
        ];
        let bend = bends.into_iter().flatten().fold(0.0, f64::max);
        (time_s - a.0) * (b.0 - time_s) * bend
    }

    /// A derived channel at the rows about a moment: two up to it and two after it.
    fn rows_around(&self, channel: ChannelId, row: usize, dense_s: f64) -> [Option<Point>; 4] {
        let times_s = self.times_s();
        let is_dense = times_s
            .get(row + 1)
            .is_none_or(|next_s| next_s - times_s[row] <= dense_s);
        if is_dense {
            return [None; 4];
        }
        let at = |row: Option<usize>| {
            let row = row.filter(|row| *row < times_s.len())?;
            match Moment::at_row(self, row).channel(channel) {
                Value::Number(v) => Some((times_s[row], v)),
                _ => None,
            }
        };
        [
            at(row.checked_sub(1)),
            at(Some(row)),
            at(Some(row + 1)),
            at(Some(row + 2)),
        ]
    }
}

/// Size of the second derivative through three samples, unit/s².
fn bend(a: Point, b: Point, c: Point, is_angle: bool) -> f64 {
    let slope = |from: Point, to: Point| {
        let change = to.1 - from.1;
        let change = if is_angle {
            angle_in_turn(change, -180.0)
        } else {
            change
        };
        change / (to.0 - from.0)
    };
    let bend = 2.0 * (slope(b, c) - slope(a, b)) / (c.0 - a.0);
    if bend.is_finite() { bend.abs() } else { 0.0 }
}
