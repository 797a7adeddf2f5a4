//! Two displays show a value each a little off, within its tolerance, and to different sides: what they show splits by more than one
//! of them may be off.

use super::super::{About, Axis, Clip, Fault, Group, Injector, Lean, Model, Target, Watch};
use super::{bias, channels, that_shows};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look in which both are off alike.
const ALIKE: usize = 1;

const ABOUT: About = About {
    axis: Some(Axis {
        what: "difference between the two displays, of which each has half",
        // Of one tolerance is permitted, and of twice that much each would be wrong by itself.
        unit: "tolerance apart",
        usual: 1.6,
        range: [0.0, 1.8],
    }),
    looks: &["apart", "alike"],
    watch: Watch::Beside,
    ..About::new(
        "split",
        Group::Value,
        "two displays are off to different sides, each within its tolerance",
    )
};

/// See the module.
pub struct Split;

impl Model for Split {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        channels(subject.definition())
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if fault.look == ALIKE {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn lean(&self, clip: &Clip, fault: &Fault) -> Option<Lean> {
        let channel = fault.target.channel?;
        let own = bias::offset(clip, &half(fault))?;
        Some(Lean {
            channel: clip.definition().channels()[channel.0].0.clone(),
            by: if fault.look == ALIKE { own } else { -own },
        })
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let twin = Fault {
            look: ALIKE,
            ..fault.clone()
        };
        Some((twin, "both are off alike"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let own = bias::Bias.prepare(clip, &half(fault))?;
        that_shows(clip, fault.target, own)
    }
}

/// What this display has of it.
fn half(fault: &Fault) -> Fault {
    Fault {
        kind: "bias",
        size: fault.size / 2.0,
        look: 0,
        ..fault.clone()
    }
}
