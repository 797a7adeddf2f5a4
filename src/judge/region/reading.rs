//! What the symbols of a region show against what they should.

use super::RegionJudge;
use super::sustained::{Ages, Errors};
use crate::examine::reader::{Fitted, RECOGNISED};
use crate::examine::region::{Explanation, Findings, Moment};
use crate::judge::company::Company;
use crate::judge::constants::{EARLY_S, SAMPLES, SIGMAS};
use crate::judge::errors::{age_scatter_s, held_back_sigma_px};
use crate::recording::inputs::Inputs;
use crate::reference::scale::half_period;

/// What a channel's symbol shows against what it should.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Index into the region's freedoms.
    pub freedom: usize,
    /// Value shown.
    pub displayed: f64,
    /// Value of the inputs that are due.
    pub expected: f64,
    /// Shown minus due, the short way round.
    pub error: f64,
    /// Standard error of the value shown.
    pub standard_error: f64,
    /// Pixels for a unit.
    pub px_per_unit: f64,
    /// How far it lies outside the span of permitted inputs, in this frame or for some stretch at every permitted age of
    /// them, beyond what measuring explains; negative inside. A tolerance below this makes it wrong.
    pub excess: f64,
    /// True when the excess is more than the tolerance; under a budget, when its test raised the alarm.
    pub is_outside: bool,
}

impl RegionJudge {
    /// Readings of the symbols that were recognised, against the span of inputs that are permitted.
    pub(super) fn readings(
        &mut self,
        moment: &Moment,
        findings: &Findings,
        inputs: &Inputs,
        company: &Company,
    ) -> Vec<Reading> {
        let recognised = |r: &Option<Fitted>| r.filter(|fitted| fitted.misfit <= RECOGNISED);
        let read: Vec<Option<Fitted>> = findings.readings.iter().map(recognised).collect();
        let errors = Errors::of(moment, self.max_latency_s, &self.freedoms, &read);
        for (sustained, errors) in self.sustained.iter_mut().zip(&errors) {
            sustained.push(moment.time_s, *errors);
        }
        let scatter_s = age_scatter_s(moment.age_scatter_s, moment.interval_s);
        let others_s = company.others_age_s(self.region);
        let ages = Ages::new(others_s, scatter_s, self.max_latency_s);
        let mut out = Vec::new();
        let plan = self.plan;
        for (k, f) in self.freedoms.iter().enumerate() {
            let (Some(fitted), Some(due)) = (read[k], inputs.value(f.channel).number()) else {
                continue;
            };
            let due = if f.period.is_some() {
                due
            } else {
                due.clamp(f.low, f.high)
            };
            let error = f.difference(fitted.value, due);
            let measuring = SIGMAS * fitted.standard_error;
            let outside = errors[k].and_then(|e| e.outside(ages, measuring));
            let sustained = self.sustained[k].error(scatter_s, ages, measuring);
            let off = outside.unwrap_or(error.abs()).max(sustained);
            let excess = off - measuring;
            let tolerance = self.tolerances[k];
            let is_outside = plan.map_or(excess > tolerance, |plan| {
                let beyond = (off - tolerance) / fitted.standard_error;
                self.off_tests[k].push(&plan, moment.time_s, beyond);
                // Whether any permitted age explains it at all.
                let held_back = held_back_sigma_px() / fitted.px_per_unit;
                let aged = off / libm::hypot(fitted.standard_error, held_back);
                self.age_tests[k].push(&plan, moment.time_s, aged);
                self.off_tests[k].is_raised(&plan)
            });
            out.push(Reading {
                freedom: k,
                displayed: f.period.map_or(fitted.value, |p| {
                    displayed_in_turn(fitted.value, p, self.turns_from[k])
                }),
                expected: due,
                error,
                standard_error: fitted.standard_error,
                px_per_unit: fitted.px_per_unit,
                excess,
                is_outside,
            });
        }
        out
    }

    /// Whether a number stands there that none of the permitted inputs gives, by more than the tolerance that its
    /// readout has of its own. Pointer and digits that are off together are explained by one value; that the pointer may
    /// be off by so much does not make the digits right.
    pub(super) fn number_is_outside(
        &self,
        moment: &Moment,
        findings: &Findings,
        inputs: &Inputs,
        readings: &[Reading],
    ) -> bool {
        if findings.explanation != Explanation::Values || findings.digits.is_empty() {
            return false;
        }
        let mut span = vec![[f64::INFINITY, f64::NEG_INFINITY]; self.freedoms.len()];
        self.spans(moment, inputs, [self.max_latency_s, EARLY_S], &mut span);
        findings.digits.iter().any(|digits| {
            let Some(tolerance) = digits.tolerance else {
                return false;
            };
            let is_its = |r: &&Reading| self.freedoms[r.freedom].channel == digits.channel;
            // The number was drawn from the value that was read, so what measuring explains of one it does of the other.
            let (Some(r), Some(due)) = (
                readings.iter().find(is_its),
                inputs.value(digits.channel).number(),
            ) else {
                return false;
            };
            let [low, high] = span[r.freedom];
            let off = digits.displayed - due;
            let error = digits.period.map_or(off, |p| half_period(off, p));
            let measuring = SIGMAS * r.standard_error;
            let outside = (low - error).max(error - high);
            outside > tolerance + digits.resolution / 2.0 + measuring
        })
    }

    /// Lowest and highest value of each freedom's channel, as a difference from the due value, between
    /// `reach[0]` before and `reach[1]` after the frame.
    pub(super) fn spans(
        &self,
        moment: &Moment,
        inputs: &Inputs,
        reach: [f64; 2],
        out: &mut [[f64; 2]],
    ) {
        let mut values = Vec::new();
        for s in 0..=SAMPLES {
            let at_s = moment.time_s - reach[0] + (reach[0] + reach[1]) * s as f64 / SAMPLES as f64;
            let channels = self.freedoms.iter().map(|f| f.channel);
            moment.recording.values_at(channels, at_s, &mut values);
            for (k, (f, value)) in self.freedoms.iter().zip(&values).enumerate() {
                let (Some(v), Some(due)) = (value.number(), inputs.value(f.channel).number())
                else {
                    continue;
                };
                let d = match f.period {
                    Some(p) => half_period(v - due, p),
                    None => v.clamp(f.low, f.high) - due.clamp(f.low, f.high),
                };
                out[k] = [out[k][0].min(d), out[k][1].max(d)];
            }
        }
        for (pair, f) in out.iter_mut().zip(&self.freedoms) {
            if pair[0] > pair[1] {
                *pair = [0.0, 0.0];
            }
            // Between samples that lie far apart the inputs themselves are not known better.
            let due_time_s = moment.due_time_s();
            let doubt = moment
                .recording
                .doubt(f.channel, due_time_s, self.max_latency_s);
            *pair = [pair[0] - doubt, pair[1] + doubt];
        }
    }
}

/// `value` in the turn of `period` that begins at `from`, both of its ends in it: a channel that counts to 180 shows 180.
fn displayed_in_turn(value: f64, period: f64, from: f64) -> f64 {
    if (from..=from + period).contains(&value) {
        value
    } else {
        from + (value - from).rem_euclid(period)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Before (c5def52) a needle whose freedom begins at 0 was told as 343.94 where its channel counts from -180 to
    /// 180 and was due at -16.06.
    #[test]
    fn an_angle_is_told_in_the_range_of_its_channel() {
        assert!((displayed_in_turn(343.94, 360.0, -180.0) + 16.06).abs() < 1e-9);
        assert!((displayed_in_turn(-16.06, 360.0, 0.0) - 343.94).abs() < 1e-9);
        assert_eq!(displayed_in_turn(180.0, 360.0, -180.0), 180.0);
        assert_eq!(displayed_in_turn(725.0, 360.0, 0.0), 5.0);
    }
}
