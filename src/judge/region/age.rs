//! How old the data are that a region shows.

use super::{READING_PX, RegionJudge};
use crate::examine::region::{Explanation, Findings, Moment};
use crate::recording::inputs::Inputs;
use crate::reference::scale::half_period;

/// Frames whose motion gives the staleness.
const STALENESS_FRAMES: usize = 15;
/// Offset of a symbol that another rasteriser may have, one standard deviation, px.
const BIAS_PX: f64 = 0.05;
/// Farthest that readings may move the moment that a picture was found to show, s.
const FARTHEST_S: f64 = 0.25;

impl RegionJudge {
    /// Staleness by least squares on the motion of the last frames, and its standard error.
    pub(super) fn staleness(
        &self,
        moment: &Moment,
        findings: &Findings,
    ) -> (Option<f64>, Option<f64>) {
        if let Some([from_s, to_s]) = findings.data_span_s {
            let data_time_s = f64::midpoint(from_s, to_s);
            // A picture agrees with those of some moments about its own; the readings tell which it is.
            if let Some((data_time_s, standard_error_s)) = self.data_time(moment, data_time_s) {
                return (Some(moment.time_s - data_time_s), Some(standard_error_s));
            }
            // Any moment of the span is as likely.
            return (
                Some(moment.time_s - data_time_s),
                Some((to_s - from_s + moment.interval_s) / 12f64.sqrt()),
            );
        }
        if !matches!(findings.explanation, Explanation::Due | Explanation::Values) {
            return (None, None);
        }
        let (mut numerator, mut information) = (0.0, 0.0);
        let (mut squares, mut count) = (0.0, 0.0);
        let frames = self.past.frames();
        let recent = frames.len().saturating_sub(STALENESS_FRAMES);
        let pairs = frames.clone().zip(frames.skip(1));
        for (a, b) in pairs.skip(recent.saturating_sub(1)) {
            let interval_s = b.time_s - a.time_s;
            if interval_s <= 0.0 {
                continue;
            }
            for (k, f) in self.freedoms.iter().enumerate() {
                let (Some(before), Some(due), Some(shown)) = (a.due[k], b.due[k], b.shown[k])
                else {
                    continue;
                };
                let wrap = |d: f64| f.period.map_or(d, |p| half_period(d, p));
                let speed = wrap(due - before) * b.px_per_unit[k] / interval_s;
                let behind = -wrap(shown - due) * b.px_per_unit[k];
                numerator += speed * behind / (READING_PX * READING_PX);
                information += speed * speed / (READING_PX * READING_PX);
                squares += speed * speed;
                count += 1.0;
            }
        }
        if information < 1e-9 {
            return (None, None);
        }
        let standard_error_s = age_error_s(information, squares / f64::max(count, 1.0));
        if standard_error_s > 2.0 {
            return (None, None);
        }
        (
            Some(moment.latency_s + numerator / information),
            Some(standard_error_s),
        )
    }

    /// Recording time about `about_s` whose inputs fit the newest readings best, and its standard error, s: Gauss-Newton
    /// on the motion of the inputs. `None` where nothing that is read moves, or the readings lead far away.
    fn data_time(&self, moment: &Moment, about_s: f64) -> Option<(f64, f64)> {
        let newest = self.past.newest()?;
        let mut inputs = Inputs::default();
        // What is shown minus the inputs of a moment, px, by freedom.
        let mut off_px = |at_s: f64| -> Vec<Option<f64>> {
            moment.recording.inputs_at(at_s, &mut inputs);
            let freedoms = self.freedoms.iter().enumerate();
            freedoms
                .map(|(k, f)| {
                    let (shown, v) = (newest.shown[k]?, inputs.value(f.channel).number()?);
                    let off = match f.period {
                        Some(period) => half_period(shown - v, period),
                        None => shown - v.clamp(f.low, f.high),
                    };
                    Some(off * newest.px_per_unit[k])
                })
                .collect()
        };
        let mut at_s = about_s;
        let (mut squares, mut count) = (0.0, 0.0);
        for _ in 0..4 {
            let (here, after) = (off_px(at_s), off_px(at_s + moment.interval_s));
            let mut along = 0.0;
            (squares, count) = (0.0, 0.0);
            for (here, after) in here.iter().zip(after) {
                if let (Some(here), Some(after)) = (here, after) {
                    let speed = (here - after) / moment.interval_s;
                    along += speed * here;
                    squares += speed * speed;
                    count += 1.0;
                }
            }
            if squares < 1e-9 {
                return None;
            }
            at_s += (along / squares).clamp(-FARTHEST_S, FARTHEST_S);
        }
        let standard_error_s = age_error_s(squares / (READING_PX * READING_PX), squares / count);
        let is_near = (at_s - about_s).abs() <= FARTHEST_S;
        (is_near && standard_error_s < FARTHEST_S).then_some((at_s, standard_error_s))
    }
}

/// Standard error of an age, s, from what the readings bear on it (1/s²) and their mean square speed (px²/s²). A
/// rasteriser's own offset is the same in all frames: it does not average out.
fn age_error_s(information: f64, mean_square_speed: f64) -> f64 {
    (1.0 / information + BIAS_PX * BIAS_PX / mean_square_speed).sqrt()
}
