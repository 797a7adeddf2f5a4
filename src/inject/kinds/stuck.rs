//! A value stays what it was at the onset while the rest of the region goes on.
//!
//! Nothing is made where the value does not move by [`LEAST_TOLERANCES`] tolerances meanwhile.

use super::super::value::Wrong;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target, value};
use super::{channels, twin};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Motion that a stuck value shows by, tolerances.
const LEAST_TOLERANCES: f64 = 2.0;

const ABOUT: About = About {
    needs_motion: true,
    has_donor: true,
    ..About::new(
        "stuck",
        Group::Value,
        "a symbol keeps a value while the rest goes on",
    )
};

/// See the module.
pub struct Stuck;

impl Model for Stuck {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        channels(subject.definition())
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[Verdict::Frozen, Verdict::Misleading]
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(fault, "older_data", 0.0, 1, "one more frame of latency")
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let channel = fault.target.channel?;
        let kept = value::due_values(clip, channel)[clip.onset]?;
        let wrong: Wrong = Box::new(move |_, _, _| kept);
        let errors = value::errors(clip, fault, channel, &wrong);
        if errors.into_iter().fold(0.0, f64::max) < LEAST_TOLERANCES {
            return None;
        }
        value::shown(clip, fault, channel, wrong)
    }
}
