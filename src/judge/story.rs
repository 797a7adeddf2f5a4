//! Which story do wrong readings tell: held, late, or wrong?
//!
//! The same picture can be wrong in three ways that look alike in one frame: its values stand still,
//! they follow the inputs with a delay, or they are off. Over a stretch the three part: each story
//! predicts the readings, and the one with the smallest misfit is told. On a straight ramp a delay
//! and an offset are the same thing; then the caller decides (`is_contradicted`): old data seldom concern
//! one region alone.

use crate::recording::Recording;
use crate::recording::inputs::ChannelId;
use crate::reference::scale::half_period;

/// Which story the readings tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Story {
    /// They stand still while the inputs move.
    Held,
    /// They follow with a delay.
    Late {
        /// The delay, s.
        staleness_s: f64,
        /// How much more an offset would leave unexplained: twice a log-likelihood.
        lead: f64,
    },
    /// They are off.
    Wrong,
}

/// One reading of one freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Recording time of the frame, s.
    pub time_s: f64,
    /// Value shown, unit of the channel.
    pub shown: f64,
    /// Value that was due.
    pub due: f64,
    /// Pixels for a unit.
    pub px_per_unit: f64,
}

/// All readings of one freedom over the stretch.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Its channel.
    pub channel: ChannelId,
    /// Its period, when it has one.
    pub period: Option<f64>,
    /// Readings, oldest first.
    pub points: Vec<Point>,
    /// Whether it may be off by something of its own. A region within its tolerances shows what is due as
    /// well as it can, unless it is held or late.
    pub may_be_off: bool,
}

/// Error that readings of foreign rasterisers and codecs have in a stretch, px.
const SIGMA_PX: f64 = 0.25;
/// Longest delay that counts as late, s.
pub const LONGEST_DELAY_S: f64 = 2.0;
/// Difference of misfit (twice a log-likelihood) that decides.
const DECISIVE: f64 = 12.0;
/// The same where every value is within its tolerance, so that nobody is misled meanwhile: what tells a delay
/// from an offset there is how little the readings of one display scatter, not how far those of two rasterisers lie
/// apart. It is the square of 0.35 px, by [`SIGMA_PX`].
const DECISIVE_WITHIN: f64 = 2.0;
/// Misfit per reading up to which a story is told at all.
const CREDIBLE: f64 = 6.0;

fn difference(a: f64, b: f64, period: Option<f64>) -> f64 {
    period.map_or(a - b, |p| half_period(a - b, p))
}

/// Most that a reading can count against a story: one that was misread must not decide.
const MOST_MISFIT: f64 = 36.0;

/// Sum of squared departures of `value` (px) from its mean over a series.
fn about_mean(series: &Series, value: impl Fn(&Point) -> f64) -> f64 {
    let n = series.points.len() as f64;
    let (mut sum, mut squares) = (0.0, 0.0);
    for p in &series.points {
        let v = value(p) * p.px_per_unit;
        sum += v;
        squares += v * v;
    }
    ((squares - sum * sum / n).max(0.0) / (SIGMA_PX * SIGMA_PX)).min(MOST_MISFIT * n)
}

/// Sum of squared departures of what is shown (px) from what is due.
fn about_due(series: &Series) -> f64 {
    let cost = |p: &Point| {
        let off = difference(p.shown, p.due, series.period) * p.px_per_unit / SIGMA_PX;
        (off * off).min(MOST_MISFIT)
    };
    series.points.iter().map(cost).sum()
}

/// Tells the story of the series; [`Story::Wrong`] when there is nothing to go by. `is_contradicted` says
/// of a staleness (s) whether data of this age would have shown elsewhere; it is asked where a delay and
/// an offset explain the readings alike. `is_outside` says that a value is off by more than its tolerance.
#[must_use]
pub fn tell(
    series: &[Series],
    recording: &Recording,
    interval_s: f64,
    is_outside: bool,
    is_contradicted: impl Fn(f64) -> bool,
) -> Story {
    let count: usize = series.iter().map(|s| s.points.len()).sum();
    if count < 2 {
        return Story::Wrong;
    }
    let (mut held, mut moves, mut off) = (0.0, 0.0, 0.0);
    for s in series.iter().filter(|s| !s.points.is_empty()) {
        let first = s.points[0];
        held += about_mean(s, |p| difference(p.shown, first.shown, s.period));
        moves += about_mean(s, |p| difference(p.due, first.due, s.period));
        off += if s.may_be_off {
            about_mean(s, |p| difference(p.shown, p.due, s.period))
        } else {
            about_due(s)
        };
    }
    let (late, staleness_s) = best_delay(series, recording, interval_s);
    let limit = CREDIBLE * count as f64;
    if moves > held + 2.0 * DECISIVE
        && held < limit
        && held <= late + DECISIVE
        && held + DECISIVE < off
    {
        return Story::Held;
    }
    let decisive = if is_outside {
        DECISIVE
    } else {
        DECISIVE_WITHIN
    };
    let late_is_better = late + decisive < off;
    let late_is_as_good = late < off + DECISIVE && !is_contradicted(staleness_s);
    if late < limit && (late_is_better || late_is_as_good) {
        return Story::Late {
            staleness_s,
            lead: off - late,
        };
    }
    Story::Wrong
}

/// Mean distance from what is due at which a series is off by more than measuring explains, px.
const OFF_PX: f64 = 4.0 * SIGMA_PX;

/// Whether two things or more are off. One delay that fits them all is then a plainer story than an offset of each
/// that happens to be what the delay would make of it.
#[must_use]
pub fn several_are_off(series: &[Series]) -> bool {
    let is_off = |s: &&Series| {
        let off_px = |p: &Point| difference(p.shown, p.due, s.period) * p.px_per_unit;
        let sum_px: f64 = s.points.iter().map(off_px).sum();
        sum_px.abs() > OFF_PX * s.points.len().max(1) as f64
    };
    series.iter().filter(is_off).count() >= 2
}

/// Distance from what was due at which a standstill may be met at first, px, and in steps that the due value makes
/// between two frames.
const MET_PX: f64 = 2.0;
const MET_STEPS: f64 = 12.0;
/// First readings of which the nearest counts: one that was misread must not decide.
const FIRST: usize = 3;
/// Readings whose steps count.
const STEPS: usize = 12;

/// Whether some reading was far from what was due as soon as it went wrong. A standstill begins at what was
/// due: a value that jumps away and stands there is wrong.
#[must_use]
pub fn has_jumped(series: &[Series]) -> bool {
    series.iter().filter(|s| !s.points.is_empty()).any(|s| {
        let off = |p: &Point| difference(p.shown, p.due, s.period).abs() * p.px_per_unit;
        let first = s.points.iter().take(FIRST);
        let nearest_px = first.map(off).fold(f64::INFINITY, f64::min);
        let early = &s.points[..s.points.len().min(STEPS)];
        let step_px = early
            .windows(2)
            .map(|w| difference(w[1].due, w[0].due, s.period).abs() * w[1].px_per_unit)
            .fold(0.0, f64::max);
        nearest_px > MET_PX + MET_STEPS * step_px
    })
}

/// Steps of the due value between two frames that a reading may make beyond it.
const OWN_STEPS: f64 = 1.5;

/// Whether what is shown jumped against what was due, in one step and by more than measuring explains, all
/// series together. A standstill goes out of step no faster than the inputs move; older data do.
#[must_use]
pub fn jump_together(series: &[Series]) -> bool {
    let jump = |s: &Series| {
        let beyond_px = s.points.windows(2).map(|w| {
            let step = |d: f64| d.abs() * w[1].px_per_unit;
            let off = |p: &Point| difference(p.shown, p.due, s.period);
            let due_px = step(difference(w[1].due, w[0].due, s.period));
            step(off(&w[1]) - off(&w[0])) - OWN_STEPS * due_px
        });
        // Two readings, each with its error.
        let sigmas = beyond_px.fold(0.0, f64::max) / (SIGMA_PX * std::f64::consts::SQRT_2);
        (sigmas * sigmas).min(MOST_MISFIT)
    };
    series.iter().map(jump).sum::<f64>() > DECISIVE
}

/// A reading and the index of its series.
type Entry = (usize, Point);

/// Smallest misfit over delays, and the delay: first on a grid, then around its best.
fn best_delay(series: &[Series], recording: &Recording, interval_s: f64) -> (f64, f64) {
    let mut entries: Vec<Entry> = series
        .iter()
        .enumerate()
        .flat_map(|(k, s)| s.points.iter().map(move |p| (k, *p)))
        .collect();
    entries.sort_by(|a, b| a.1.time_s.total_cmp(&b.1.time_s).then(a.0.cmp(&b.0)));
    let mut values = Vec::new();
    let mut misfit = |delay_s: f64, stop: f64| {
        let mut cost = 0.0;
        let mut at_s = f64::NAN;
        for (k, p) in &entries {
            if p.time_s != at_s {
                if cost > stop {
                    break;
                }
                at_s = p.time_s;
                let channels = series.iter().map(|s| s.channel);
                recording.values_at(channels, at_s - delay_s, &mut values);
            }
            let s = &series[*k];
            cost += values[*k].number().map_or(MOST_MISFIT, |v| {
                let off = difference(p.shown, v, s.period) * p.px_per_unit / SIGMA_PX;
                (off * off).min(MOST_MISFIT)
            });
        }
        cost
    };
    let mut step_s = (interval_s / 2.0).clamp(0.005, 0.04);
    let mut best = (f64::INFINITY, 0.0);
    for k in 1..=(LONGEST_DELAY_S / step_s) as usize {
        let delay_s = k as f64 * step_s;
        let cost = misfit(delay_s, best.0);
        if cost < best.0 {
            best = (cost, delay_s);
        }
    }
    for _ in 0..3 {
        step_s /= 2.0;
        let middle = best.1;
        for delay_s in [middle - step_s, middle + step_s] {
            let cost = misfit(delay_s, best.0);
            if cost < best.0 {
                best = (cost, delay_s);
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Due values that rise by `step` a frame; shown is what `shown` makes of frame and due value.
    fn series(step: f64, shown: impl Fn(usize, f64) -> f64) -> Vec<Series> {
        let points = (0..20)
            .map(|k| {
                let due = step * k as f64;
                Point {
                    time_s: k as f64 * 0.04,
                    shown: shown(k, due),
                    due,
                    px_per_unit: 2.0,
                }
            })
            .collect();
        vec![Series {
            channel: ChannelId(0),
            period: None,
            points,
            may_be_off: true,
        }]
    }

    #[test]
    fn older_data_jump_and_a_standstill_does_not() {
        let at = |k: usize| 1.5 * k as f64;
        // Two frames right, then as 12 frames ago.
        let older = series(1.5, |k, due| if k < 2 { due } else { at(k) - at(12) });
        assert!(jump_together(&older));
        let held = series(1.5, |k, due| if k < 2 { due } else { at(2) });
        assert!(!jump_together(&held));
        assert!(!jump_together(
            &series(1.5, |k, due| due + [0.1, -0.1][k % 2])
        ));
    }

    #[test]
    fn one_series_off_is_not_several() {
        let off = |by: f64| series(1.5, move |_, due| due + by);
        let both = |a: f64, b: f64| [off(a), off(b)].concat();
        assert!(!several_are_off(&off(3.0)));
        assert!(!several_are_off(&both(3.0, 0.2)));
        assert!(several_are_off(&both(3.0, -3.0)));
        assert!(!several_are_off(&[]));
    }

    #[test]
    fn a_standstill_begins_where_the_value_was_due() {
        // Seen four frames after it began.
        assert!(!has_jumped(&series(1.5, |_, _| -6.0)));
        // One misread value decides nothing.
        let misread = |k, _| if k == 0 { 80.0 } else { 0.0 };
        assert!(!has_jumped(&series(0.5, misread)));
        // Another value, which stands.
        assert!(has_jumped(&series(0.5, |_, _| 40.0)));
        assert!(!has_jumped(&[]));
    }
}
