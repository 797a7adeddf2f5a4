//! The fault models, a file each. To add one: a file with its [`Model`], its line in [`MODELS`].

mod bias;
mod blank;
mod freeze;

use super::{Model, Target};
use crate::definition::Definition;
use crate::examine::subject::Subject;

/// All kinds of faults, in the order of reports.
pub const MODELS: &[&dyn Model] = &[&blank::Blank, &freeze::Freeze, &bias::Bias];

/// The model called `name`.
#[must_use]
pub fn model(name: &str) -> Option<&'static dyn Model> {
    MODELS.iter().copied().find(|m| m.name() == name)
}

/// The whole frame.
const WHOLE: Target = Target {
    region: None,
    symbol: None,
    channel: None,
};

/// Every region as a whole.
fn regions(subject: Subject) -> Vec<Target> {
    (0..subject.definition().regions().len())
        .map(|k| Target {
            region: Some(k),
            ..WHOLE
        })
        .collect()
}

/// Every channel that a region has a tolerance for.
fn channels(definition: &Definition) -> Vec<Target> {
    let regions = definition.regions().iter().enumerate();
    regions
        .flat_map(|(k, region)| {
            region.tolerance.keys().map(move |name| Target {
                region: Some(k),
                symbol: None,
                channel: Some(definition.channel(name)),
            })
        })
        .collect()
}

/// Up or down, by the lowest bit of the seed.
const fn sign(seed: u64) -> f64 {
    if seed & 1 == 0 { 1.0 } else { -1.0 }
}
