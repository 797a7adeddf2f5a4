//! How old the data are that a region shows.
//!
//! A symbol that moves at `v` px/s and lies `d` px behind what is due tells the age to `error / v`. Symbols and frames of
//! the last moments are put together by weighted least squares; what they have in common is told once: errors of a
//! symbol hang together for a while, and the age of a frame varies about the age of the others. Where no single age explains
//! them to within their errors, the error of the age grows by as much (the ratio of Birge, Physical Review 40 (1932) 207, from
//! memory).

use super::RegionJudge;
use super::past::Frame;
use crate::examine::region::{Explanation, Findings, Moment};
use crate::judge::constants::{AGE_STRETCH_S, FARTHEST_S, UNKNOWN_AGE_S};
use crate::judge::errors::{age_scatter_s, independent};
use crate::recording::inputs::Inputs;

impl RegionJudge {
    /// Age of the data shown, and its standard error, s.
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
        let Some((behind_s, standard_error_s)) = self.behind(moment) else {
            return (None, None);
        };
        (Some(moment.latency_s + behind_s), Some(standard_error_s))
    }

    /// How far the readings of the last moments lie behind what was due, and the standard error, s; `None` where nothing
    /// moved enough to tell.
    fn behind(&self, moment: &Moment) -> Option<(f64, f64)> {
        let recent = || {
            let [now, before, second, first] =
                [0, 1, 2, 3].map(|k| self.past.frames().rev().skip(k));
            let all = now.zip(before).zip(second.zip(first));
            let all = all.map(|((now, before), (second, first))| [first, second, before, now]);
            all.take_while(|[.., now]| moment.time_s - now.time_s < AGE_STRETCH_S)
        };
        let (mut along, mut information, mut squares, mut readings) = (0.0, 0.0, 0.0, 0.0);
        for k in 0..self.freedoms.len() {
            let (mut own_along, mut own, mut own_squares) = (0.0, 0.0, 0.0);
            let (mut path_px, mut count) = (0.0, 0.0);
            for frames in recent() {
                let Some((speed, behind_px, error_px)) = self.motion(&frames, k) else {
                    continue;
                };
                let weight = 1.0 / (error_px * error_px);
                own_along += speed * behind_px * weight;
                own += speed * speed * weight;
                own_squares += behind_px * behind_px * weight;
                path_px += speed.abs() * moment.interval_s;
                count += 1.0;
            }
            if count > 0.0 {
                let worth = independent(count, AGE_STRETCH_S, path_px) / count;
                along += own_along * worth;
                information += own * worth;
                squares += own_squares * worth;
                readings += count * worth;
            }
        }
        let left = squares - along * along / information;
        let ratio = (left / f64::max(readings - 1.0, 1.0)).max(1.0);
        let scatter_s = age_scatter_s(moment.age_scatter_s, moment.interval_s);
        let standard_error_s = libm::hypot((ratio / information).sqrt(), scatter_s);
        (standard_error_s < UNKNOWN_AGE_S).then(|| (along / information, standard_error_s))
    }

    /// Of freedom `k` in the last of four frames: speed of what is due, px/s, how far what is shown lies behind it, px,
    /// and its standard error, px.
    fn motion(&self, frames: &[&Frame; 4], k: usize) -> Option<(f64, f64, f64)> {
        let [first, second, before, now] = frames;
        let px = |to: f64, from: f64| self.freedoms[k].difference(to, from) * now.px_per_unit[k];
        let (due, shown) = (now.due[k]?, now.shown[k]?);
        let interval_s = now.time_s - before.time_s;
        let step_px = px(due, before.due[k]?);
        // What moves in steps tells no more than that a step was made, in this frame or the one before.
        let earlier_px = px(before.due[k]?, second.due[k]?);
        let first_px = px(second.due[k]?, first.due[k]?);
        let change_px = f64::max((step_px - earlier_px).abs(), (earlier_px - first_px).abs());
        let change_px = change_px / 12f64.sqrt();
        let error_px = libm::hypot(now.error_px[k], change_px);
        (interval_s > 0.0 && error_px.is_finite() && error_px > 0.0)
            .then(|| (step_px / interval_s, px(due, shown), error_px))
    }

    /// Recording time about `about_s` whose inputs fit the newest readings best, and its standard error, s: Gauss-Newton
    /// on the motion of the inputs. `None` where nothing that is read moves, or the readings lead far away.
    fn data_time(&self, moment: &Moment, about_s: f64) -> Option<(f64, f64)> {
        let newest = self.past.newest()?;
        let mut inputs = Inputs::default();
        // What is shown minus the inputs of a moment, in standard errors, by freedom.
        let mut off = |at_s: f64| -> Vec<Option<f64>> {
            moment.recording.inputs_at(at_s, &mut inputs);
            let freedoms = self.freedoms.iter().enumerate();
            freedoms
                .map(|(k, f)| {
                    let (shown, v) = (newest.shown[k]?, inputs.value(f.channel).number()?);
                    Some(f.error(shown, v) * newest.px_per_unit[k] / newest.error_px[k])
                })
                .collect()
        };
        let mut at_s = about_s;
        let mut information = 0.0;
        for _ in 0..4 {
            let [before, here, after] =
                [-1.0, 0.0, 1.0].map(|k: f64| off(at_s + k * moment.interval_s));
            let mut along = 0.0;
            information = 0.0;
            for ((before, here), after) in before.iter().zip(&here).zip(&after) {
                if let (Some(before), Some(here), Some(after)) = (before, here, after) {
                    // A step on one side tells no more than that it was made.
                    let (since, until) = (before - here, here - after);
                    let step = if since.abs() < until.abs() {
                        since
                    } else {
                        until
                    };
                    let is_one_way = since * until > 0.0;
                    let speed = if is_one_way {
                        step / moment.interval_s
                    } else {
                        0.0
                    };
                    along += speed * here;
                    information += speed * speed;
                }
            }
            if information * UNKNOWN_AGE_S * UNKNOWN_AGE_S < 1.0 {
                return None;
            }
            at_s += (along / information).clamp(-FARTHEST_S, FARTHEST_S);
        }
        let standard_error_s = 1.0 / information.sqrt();
        let is_near = (at_s - about_s).abs() <= FARTHEST_S;
        (is_near && standard_error_s < FARTHEST_S).then_some((at_s, standard_error_s))
    }
}
