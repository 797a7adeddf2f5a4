//! A value runs away from the truth, at a steady rate.

use super::super::{Axis, Clip, Fault, Group, Injector, Model, Target, value};
use super::{channels, half_tolerance, sign};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// See the module.
pub struct Drift;

impl Model for Drift {
    fn name(&self) -> &'static str {
        "drift"
    }

    fn group(&self) -> Group {
        Group::Value
    }

    fn summary(&self) -> &'static str {
        "a symbol runs away from its value at a steady rate"
    }

    fn axis(&self) -> Option<Axis> {
        Some(Axis {
            what: "rate",
            unit: "tolerance/s",
            usual: 2.0,
            range: [0.0, 1000.0],
        })
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        channels(subject.definition())
    }

    fn grows(&self) -> bool {
        true
    }

    fn has_donor(&self) -> bool {
        true
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[Verdict::Misleading]
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        half_tolerance(fault)
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let channel = fault.target.channel?;
        let rate = fault.size * clip.tolerance(fault.target)? * sign(fault.seed);
        let wrong = move |clip: &Clip, k: usize, v: f64| v + rate * clip.since_onset_s(k);
        value::shown(clip, fault, channel, Box::new(wrong))
    }
}
