//! A value is shown too large or too small by a share of itself.
//!
//! A small value hides it: nothing is made where the value is below [`LEAST_TOLERANCES`] tolerances. The value grows
//! or shrinks, by the seed, unless that would leave the channel's range.

use super::super::{About, Axis, Clip, Fault, Group, Injector, Model, Target, value};
use super::{channels, half_tolerance, sign};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Smallest value that a wrong factor shows on, tolerances.
const LEAST_TOLERANCES: f64 = 10.0;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "factor less 1",
        unit: "%",
        usual: 20.0,
        range: [0.0, 90.0],
    }),
    has_donor: true,
    ..About::new(
        "gain",
        Group::Value,
        "a symbol shows its value times a wrong factor",
    )
};

/// See the module.
pub struct Gain;

impl Model for Gain {
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
        let due = value::due_values(clip, channel)[clip.onset]?;
        if due.abs() < LEAST_TOLERANCES * clip.tolerance(fault.target)? {
            return None;
        }
        let (_, model) = &clip.definition().channels()[channel.0];
        let [low, high] = model.range.unwrap_or([f64::NEG_INFINITY, f64::INFINITY]);
        let share = fault.size / 100.0 * sign(fault.seed);
        let is_inside = (low..=high).contains(&(due * (1.0 + share)));
        let factor = if is_inside { 1.0 + share } else { 1.0 - share };
        value::shown(clip, fault, channel, Box::new(move |_, _, v| v * factor))
    }
}
