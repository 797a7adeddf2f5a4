//! A value runs away from the truth, at a steady rate.

use super::super::{About, Axis, Clip, Fault, Group, Injector, Model, Target, value};
use super::{channels, half_tolerance, sign};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "rate",
        unit: "tolerance/s",
        usual: 2.0,
        range: [0.0, 1000.0],
    }),
    has_donor: true,
    grows: true,
    ..About::new(
        "drift",
        Group::Value,
        "a symbol runs away from its value at a steady rate",
    )
};

/// See the module.
pub struct Drift;

impl Model for Drift {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        channels(subject.definition())
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
        let last = clip.end - 1;
        let due = value::due_values(clip, channel)[last]?;
        let off = |rate: f64| rate * clip.since_onset_s(last);
        let mut sides = [rate, -rate].into_iter();
        let rate = sides.find(|r| value::is_possible(clip, channel, due + off(*r)))?;
        let wrong = move |clip: &Clip, k: usize, v: f64| v + rate * clip.since_onset_s(k);
        value::shown(clip, fault, channel, Box::new(wrong))
    }
}
