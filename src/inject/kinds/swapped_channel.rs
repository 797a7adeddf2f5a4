//! A symbol shows the value of another channel: one of the same unit as it is, or any other brought from its own
//! range into that of the symbol's channel.

use super::super::value::Wrong;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target, value};
use super::{channels, from_seed, half_tolerance};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::recording::inputs::ChannelId;

/// Distance between both values that can be told apart, tolerances.
const LEAST_TOLERANCES: f64 = 2.0;

const ABOUT: About = About {
    has_donor: true,
    ..About::new(
        "swapped_channel",
        Group::Value,
        "a symbol shows the value of another channel",
    )
};

/// See the module.
pub struct SwappedChannel;

impl Model for SwappedChannel {
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
        let others: Vec<ChannelId> = (0..clip.definition().channels().len())
            .map(ChannelId)
            .filter(|c| *c != channel)
            .collect();
        // Of the same unit before all others.
        let (same, rest): (Vec<_>, Vec<_>) = others
            .into_iter()
            .partition(|c| has_same_unit(clip, channel, *c));
        from_seed(&same, fault.seed)
            .chain(from_seed(&rest, fault.seed))
            .find_map(|other| {
                let wrong = shows_other(clip, channel, *other)?;
                let errors = value::errors(clip, fault, channel, &wrong);
                if errors.into_iter().fold(f64::INFINITY, f64::min) < LEAST_TOLERANCES {
                    return None;
                }
                value::shown(clip, fault, channel, wrong)
            })
    }
}

fn has_same_unit(clip: &Clip, a: ChannelId, b: ChannelId) -> bool {
    let all = clip.definition().channels();
    let (a, b) = (&all[a.0].1, &all[b.0].1);
    !a.unit.is_empty() && a.unit == b.unit && a.interpolation == b.interpolation
}

/// What shows `other` instead of `channel`. `None` where one of them has no range, or `other` no value.
fn shows_other(clip: &Clip, channel: ChannelId, other: ChannelId) -> Option<Wrong> {
    let all = clip.definition().channels();
    let (to, from) = (all[channel.0].1.range?, all[other.0].1.range?);
    let values = value::due_values(clip, other);
    values[clip.onset]?;
    let is_same = has_same_unit(clip, channel, other);
    let brought = move |v: f64| {
        if is_same {
            v.clamp(to[0], to[1])
        } else {
            to[0] + (v - from[0]) / (from[1] - from[0]) * (to[1] - to[0])
        }
    };
    Some(Box::new(move |_, k, due| values[k].map_or(due, &brought)))
}
