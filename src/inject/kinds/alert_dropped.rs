//! An active alert is not shown; those after it move up.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target};
use super::{LASTING, briefly, fewest_alerts, from_seed, is_brief, lasting, symbol, symbols_that};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::symbols::alerts;

const ABOUT: About = About {
    looks: LASTING,
    ..About::new(
        "alert_dropped",
        Group::Picture,
        "an active alert is not shown",
    )
};

/// See the module.
pub struct AlertDropped;

impl Model for AlertDropped {
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
        Some((twin, "the alert is shown one frame late"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let (region, index) = (fault.target.region?, fault.target.symbol?);
        let list = symbol(clip, fault)?.alerts().next()?;
        let base = Drawing::new(clip.definition()).alert_base(region, index);
        if fewest_alerts(clip, list, base) == 0 {
            return None;
        }
        // By slot and not by alert, so that the fault goes on when other alerts come up.
        let (list, seed) = (list.clone(), fault.seed);
        let change = move |_: &Clip, _: usize, inputs: &mut Inputs| {
            let shown: Vec<usize> = alerts::order(&list, base, inputs)
                .take(list.slots)
                .collect();
            if let Some(alert) = from_seed(&shown, seed).next() {
                inputs.active_since_s[base + alert] = None;
            }
        };
        let injector = Redrawn::by_inputs(clip, region, Box::new(change), fault.seed)?;
        Some(lasting(self, fault, injector))
    }
}
