//! Which story do wrong readings tell: held, late, or wrong?
//!
//! The same picture can be wrong in three ways that look alike in one frame: its values stand still,
//! they follow the inputs with a delay, or they are off. Over a stretch the three part: each story
//! predicts the readings, and the one with the smallest misfit is told. On a straight ramp a delay
//! and an offset are the same thing; then the caller decides (`is_contradicted`): old data seldom concern
//! one region alone.

use super::constants::{DECISIVE, HELD_BACK_PX, LONGEST_DELAY_S, MEMORY_S, MET_S, SIGMAS};
use super::errors::{age_scatter_s, age_spread_s, independent, misfit};
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
        /// No offset explains them nearly as well.
        is_sure: bool,
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
    /// Standard error of what is shown, px.
    pub error_px: f64,
    /// Speed of what is due, px/s.
    pub speed_px_s: f64,
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

/// How the readings of a stretch were taken.
#[derive(Clone, Copy, Debug)]
pub struct Timing {
    /// Time from frame to frame, s.
    pub interval_s: f64,
    /// Standard deviation of the age of what a healthy display shows, s.
    pub age_scatter_s: f64,
}

impl Timing {
    /// With the scatter as it was measured, if it was.
    #[must_use]
    pub fn new(interval_s: f64, measured_s: Option<f64>) -> Self {
        Self {
            interval_s,
            age_scatter_s: age_scatter_s(measured_s, interval_s),
        }
    }
}

fn difference(a: f64, b: f64, period: Option<f64>) -> f64 {
    period.map_or(a - b, |p| half_period(a - b, p))
}

impl Series {
    /// Share of an independent reading that each of them is worth.
    fn worth(&self) -> f64 {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else {
            return 0.0;
        };
        let steps = self.points.windows(2);
        let path_px = steps.map(|w| self.step_px(w).abs()).sum();
        let count = self.points.len() as f64;
        independent(count, last.time_s - first.time_s + MEMORY_S, path_px) / count
    }

    /// How far what is due moved between two readings, px.
    fn step_px(&self, pair: &[Point]) -> f64 {
        difference(pair[1].due, pair[0].due, self.period) * pair[1].px_per_unit
    }

    /// How far what is shown lies off what is due, px.
    fn off_px(&self, p: &Point) -> f64 {
        difference(p.shown, p.due, self.period) * p.px_per_unit
    }

    /// How badly readings that are `value` (px) about one constant are explained, where `scatter_s` is what their age varies by.
    fn about_constant(&self, scatter_s: f64, value: impl Fn(&Point) -> f64) -> f64 {
        let mut values: Vec<f64> = self.points.iter().map(&value).collect();
        let middle = values.len() / 2;
        // The median: one that was misread does not move it.
        let (_, constant, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
        let constant = *constant;
        let cost = |p: &Point| misfit((value(p) - constant) / p.sigma_px(scatter_s));
        self.worth() * self.points.iter().map(cost).sum::<f64>()
    }

    /// How badly what is due explains them.
    fn about_due(&self, scatter_s: f64) -> f64 {
        let cost = |p: &Point| misfit(self.off_px(p) / p.sigma_px(scatter_s));
        self.worth() * self.points.iter().map(cost).sum::<f64>()
    }

    /// What a codec that holds motion back leaves of the right story.
    fn held_back(&self, scatter_s: f64) -> f64 {
        let cost = |p: &Point| misfit(1.0 + HELD_BACK_PX / p.sigma_px(scatter_s));
        self.worth() * self.points.iter().map(cost).sum::<f64>()
    }
}

impl Point {
    /// Standard deviation against the inputs of one age, which varies by `scatter_s`, px.
    fn sigma_px(&self, scatter_s: f64) -> f64 {
        libm::hypot(self.error_px, self.speed_px_s * scatter_s)
    }
}

/// Tells the story of the series; [`Story::Wrong`] when there is nothing to go by. `is_contradicted` says
/// of a staleness (s) whether data of this age would have shown elsewhere; it is asked where a delay and
/// an offset explain the readings alike. An offset is given up for a misfit that is larger by `decisive`.
#[must_use]
pub fn tell(
    series: &[Series],
    recording: &Recording,
    timing: Timing,
    decisive: f64,
    is_contradicted: impl Fn(f64) -> bool,
) -> Story {
    let count: usize = series.iter().map(|s| s.points.len()).sum();
    if count < 2 {
        return Story::Wrong;
    }
    let scatter_s = timing.age_scatter_s;
    let (mut held, mut moves, mut off, mut credible) = (0.0, 0.0, 0.0, 0.0);
    for s in series.iter().filter(|s| !s.points.is_empty()) {
        let first = s.points[0];
        let px = |p: &Point, v: f64, from: f64| difference(v, from, s.period) * p.px_per_unit;
        // What stands still has no age that could vary.
        held += s.about_constant(0.0, |p| px(p, p.shown, first.shown));
        moves += s.about_constant(0.0, |p| px(p, p.due, first.due));
        off += if s.may_be_off {
            s.about_constant(scatter_s, |p| s.off_px(p))
        } else {
            s.about_due(scatter_s)
        };
        credible += s.held_back(scatter_s);
    }
    let (late, staleness_s) = best_delay(series, recording, timing);
    if moves > held + 2.0 * DECISIVE
        && held < credible
        && held <= late + DECISIVE
        && held + decisive < off
    {
        return Story::Held;
    }
    let is_sure = late + decisive < off;
    let is_as_good = late < off + DECISIVE && !is_contradicted(staleness_s);
    // Less than that a codec holds back as well.
    let is_clear = |s: &Series| s.points.iter().any(|p| s.off_px(p).abs() >= HELD_BACK_PX);
    if late < credible && (is_sure || is_as_good) && series.iter().any(is_clear) {
        return Story::Late {
            staleness_s,
            is_sure,
        };
    }
    Story::Wrong
}

/// Whether two things or more are off. One delay that fits them all is then a plainer story than an offset of each
/// that happens to be what the delay would make of it.
#[must_use]
pub fn several_are_off(series: &[Series]) -> bool {
    let is_off = |s: &&Series| {
        let sums = s.points.iter().fold((0.0, 0.0), |(off, error), p| {
            (off + s.off_px(p), error + p.error_px)
        });
        let count = s.points.len().max(1) as f64;
        sums.0.abs() > HELD_BACK_PX * count + SIGMAS * sums.1
    };
    series.iter().filter(is_off).count() >= 2
}

/// Whether some reading was far from what was due as soon as it went wrong. A standstill begins at what was
/// due: a value that jumps away and stands there is wrong.
#[must_use]
pub fn has_jumped(series: &[Series]) -> bool {
    series.iter().filter(|s| !s.points.is_empty()).any(|s| {
        let begin_s = s.points[0].time_s;
        let until = |after_s: f64| {
            let points = s.points.iter();
            points.take_while(move |p| p.time_s - begin_s <= after_s)
        };
        // One that was misread must not decide.
        let beyond_px = |p: &Point| s.off_px(p).abs() - SIGMAS * p.error_px;
        let nearest_px = until(MEMORY_S).map(beyond_px).fold(f64::INFINITY, f64::min);
        let speed_px_s = until(MET_S).map(|p| p.speed_px_s).fold(0.0, f64::max);
        nearest_px > HELD_BACK_PX + speed_px_s * MET_S
    })
}

/// Whether what is shown jumped against what was due, in one step and by more than measuring explains, all
/// series together. A standstill goes out of step no faster than the inputs move; older data do.
#[must_use]
pub fn jump_together(series: &[Series], timing: Timing) -> bool {
    let jump = |s: &Series| {
        let beyond = s.points.windows(2).map(|w| {
            // A frame more than the age of a healthy display may change by.
            let own_s = w[1].time_s - w[0].time_s + age_spread_s(timing.age_scatter_s);
            let own_px = w[1].speed_px_s.max(w[0].speed_px_s) * own_s;
            let jump_px = (s.off_px(&w[1]) - s.off_px(&w[0])).abs() - own_px;
            // Two readings, each with its error.
            jump_px / libm::hypot(w[0].error_px, w[1].error_px)
        });
        misfit(beyond.fold(0.0, f64::max))
    };
    series.iter().map(jump).sum::<f64>() > DECISIVE
}

/// A reading and the index of its series.
type Entry = (usize, Point);

/// Smallest misfit over delays, and the delay: first on a grid, then around its best.
fn best_delay(series: &[Series], recording: &Recording, timing: Timing) -> (f64, f64) {
    let worth: Vec<f64> = series.iter().map(Series::worth).collect();
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
            // What was not given is as far off as what is certainly so.
            let sigmas = values[*k].number().map_or(2.0 * SIGMAS, |v| {
                let off_px = difference(p.shown, v, s.period) * p.px_per_unit;
                off_px / p.sigma_px(timing.age_scatter_s)
            });
            cost += worth[*k] * misfit(sigmas);
        }
        cost
    };
    let mut step_s = (timing.interval_s / 2.0).clamp(0.005, 0.04);
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

    const TIMING: Timing = Timing {
        interval_s: 0.04,
        age_scatter_s: 0.0115,
    };

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
                    error_px: 0.25,
                    speed_px_s: 2.0 * step / 0.04,
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
        assert!(jump_together(&older, TIMING));
        let held = series(1.5, |k, due| if k < 2 { due } else { at(2) });
        assert!(!jump_together(&held, TIMING));
        let scatters = series(1.5, |k, due| due + [0.1, -0.1][k % 2]);
        assert!(!jump_together(&scatters, TIMING));
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
