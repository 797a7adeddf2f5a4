//! An annunciation shows another of its states.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target};
use super::{LASTING, briefly, from_seed, is_brief, lasting, symbol, symbols_that};
use crate::definition::model::{FlagState, Symbol};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::recording::inputs::{Inputs, Value};

const ABOUT: About = About {
    looks: LASTING,
    ..About::new(
        "wrong_flag",
        Group::Picture,
        "an annunciation shows another of its states",
    )
};

/// See the module.
pub struct WrongFlag;

impl Model for WrongFlag {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        symbols_that(subject, |s| matches!(s, Symbol::Flag(_)))
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
        Some((twin, "the state is shown one frame late"))
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let region = fault.target.region?;
        let Symbol::Flag(model) = symbol(clip, fault)? else {
            return None;
        };
        let channel = clip.definition().channel(&model.channel);
        let (states, seed) = (model.state.clone(), fault.seed);
        let change = move |_: &Clip, _: usize, inputs: &mut Inputs| {
            let Value::Number(v) = &mut inputs.values[channel.0] else {
                return;
            };
            let Some(due) = states.iter().find(|s| s.value == libm::round(*v) as i64) else {
                return;
            };
            let looks = |s: &FlagState| {
                (
                    s.text.clone(),
                    s.color.clone(),
                    s.background.clone(),
                    s.frame.clone(),
                )
            };
            if let Some(other) = from_seed(&states, seed).find(|s| looks(s) != looks(due)) {
                *v = other.value as f64;
            }
        };
        let injector = Redrawn::by_inputs(clip, region, Box::new(change), fault.seed)?;
        Some(lasting(self, fault, injector))
    }
}
