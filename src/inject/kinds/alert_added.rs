//! An alert is shown that is not active.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target};
use super::{LASTING, briefly, from_seed, is_brief, lasting, symbol, symbols_that};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::symbols::alerts;

const ABOUT: About = About {
    looks: LASTING,
    ..About::new(
        "alert_added",
        Group::Picture,
        "an alert is shown that is not active",
    )
};

/// See the module.
pub struct AlertAdded;

impl Model for AlertAdded {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        symbols_that(subject, |s| s.alerts().next().is_some())
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if is_brief(self, fault) {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        let (twin, _) = briefly(self, fault)?;
        Some((twin, "the alert is gone after one frame"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let (region, index) = (fault.target.region?, fault.target.symbol?);
        let list = symbol(clip, fault)?.alerts().next()?;
        let base = Drawing::new(clip.definition()).alert_base(region, index);
        // One that stays inactive, and that has a slot when it is added.
        let mut active = vec![false; list.alert.len()];
        let mut inputs = Inputs::default();
        for k in clip.onset..clip.frames.len() {
            clip.inputs(k, &mut inputs);
            for (n, active) in active.iter_mut().enumerate() {
                *active |= inputs.active_since_s[base + n].is_some();
            }
        }
        clip.inputs(clip.onset, &mut inputs);
        let idle: Vec<usize> = (0..active.len()).filter(|n| !active[*n]).collect();
        let added = *from_seed(&idle, fault.seed).find(|n| {
            let mut with = inputs.clone();
            with.active_since_s[base + **n] = Some(with.time_s);
            alerts::order(list, base, &with)
                .take(list.slots)
                .any(|shown| shown == **n)
        })?;
        let change = move |_: &Clip, _: usize, inputs: &mut Inputs| {
            inputs.active_since_s[base + added] = Some(inputs.time_s);
        };
        let injector = Redrawn::by_inputs(clip, region, Box::new(change), fault.seed)?;
        Some(lasting(self, fault, injector))
    }
}
