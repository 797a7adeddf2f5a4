//! A value is shown with an offset, to the side on which the channel can have it.

use super::super::{About, Axis, Clip, Fault, Group, Injector, Model, TOLERANCES, Target, value};
use super::{channels, sign};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "offset of the value",
        unit: TOLERANCES,
        usual: 2.0,
        range: [0.0, 1000.0],
    }),
    has_donor: true,
    ..About::new(
        "bias",
        Group::Value,
        "a symbol shows its value and a fixed amount more or less",
    )
};

/// See the module.
pub struct Bias;

impl Model for Bias {
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
        let twin = Fault {
            size: 0.5,
            ..fault.clone()
        };
        Some((twin, "half the tolerance"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let amount = offset(clip, fault)?;
        let wrong = Box::new(move |_: &Clip, _, v| v + amount);
        value::shown(clip, fault, fault.target.channel?, wrong)
    }
}

/// How much more is shown, in the channel's unit: to the side that the seed says, or to the other where the channel cannot have that.
pub(super) fn offset(clip: &Clip, fault: &Fault) -> Option<f64> {
    let channel = fault.target.channel?;
    let amount = fault.size * clip.tolerance(fault.target)? * sign(fault.seed);
    let due = value::due_values(clip, channel)[clip.onset]?;
    let mut sides = [amount, -amount].into_iter();
    sides.find(|a| value::is_possible(clip, channel, due + a))
}
