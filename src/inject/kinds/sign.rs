//! A value is shown with the other sign. Only for channels that have both, while the value is large enough in the
//! whole clip for the two to be told apart.

use super::super::value::Wrong;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target, value};
use super::{channels, half_tolerance};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Distance between both signs that can be told apart, tolerances.
const LEAST_TOLERANCES: f64 = 2.0;

const ABOUT: About = About {
    has_donor: true,
    ..About::new(
        "sign",
        Group::Value,
        "a symbol shows its value with the other sign",
    )
};

/// See the module.
pub struct Sign;

impl Model for Sign {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        let definition = subject.definition();
        let mut targets = channels(definition);
        targets.retain(|t| {
            let range = t.channel.and_then(|c| definition.channels()[c.0].1.range);
            range.is_some_and(|[low, high]| low < 0.0 && high > 0.0)
        });
        targets
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[Verdict::Misleading]
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        half_tolerance(fault)
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let channel = fault.target.channel?;
        let wrong: Wrong = Box::new(|_, _, v| -v);
        let errors = value::errors(clip, fault, channel, &wrong);
        if errors.into_iter().fold(f64::INFINITY, f64::min) < LEAST_TOLERANCES {
            return None;
        }
        let [low, high] = clip.definition().channels()[channel.0].1.range?;
        let shown = -value::due_values(clip, channel)[clip.onset]?;
        // A value that the channel cannot have would be off the scale.
        if !(low..=high).contains(&shown) {
            return None;
        }
        value::shown(clip, fault, channel, wrong)
    }
}
