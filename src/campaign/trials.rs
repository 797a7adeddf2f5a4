//! From a plan to the list of its trials.

use super::plan::{FaultSpec, Plan, unknown};
use crate::definition::Definition;
use crate::examine::subject::Subject;
use crate::inject::{self, Fault, Method, Model, Target};
use crate::recording::Recording;
use crate::recording::inputs::{Inputs, Value};

/// One trial before it is known when it begins.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Number in the plan.
    pub number: u64,
    /// Number of the capture in the plan.
    pub capture: usize,
    /// Number of the fault in the plan.
    pub spec: usize,
    /// The fault; for a twin, the fault whose twin it is.
    pub fault: Fault,
    /// The nearest harmless change is made instead.
    pub is_twin: bool,
}

/// SplitMix64 (Steele, Lea, Flood 2014): a seed of its own for every number.
#[must_use]
pub const fn seed_of(seed: u64, number: u64) -> u64 {
    let mut z = seed ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = z.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Regions of `definition` that the recording holds all channels of.
#[must_use]
pub fn judged_regions(definition: &Definition, recording: &Recording) -> Vec<bool> {
    let mut inputs = Inputs::default();
    recording.inputs_at(recording.span_s().0, &mut inputs);
    let regions = definition.regions().iter();
    regions
        .map(|r| {
            let mut channels = r.channels_used().into_iter();
            !r.is_unchecked()
                && channels.all(|n| *inputs.value(definition.channel(n)) != Value::Missing)
        })
        .collect()
}

/// All trials of the plan. `judged` says for each capture which regions can be judged.
///
/// # Errors
/// When the plan names a region or channel that the display does not have, or a fault has no place.
pub fn expand(plan: &Plan, subject: Subject, judged: &[Vec<bool>]) -> Result<Vec<Trial>, String> {
    let definition = subject.definition();
    let mut trials: Vec<Trial> = Vec::new();
    for (spec, wanted) in plan.fault.iter().enumerate() {
        let place = |what: String| format!("[[fault]] {} (\"{}\"): {what}", spec + 1, wanted.kind);
        let Some(model) = inject::model(&wanted.kind) else {
            return Err(place("there is no such kind".into()));
        };
        let targets = targets(definition, subject, wanted, model).map_err(place)?;
        let sizes = sizes(wanted, model);
        let looks = looks(wanted, model);
        let methods = if wanted.methods.is_empty() {
            vec![Method::Redraw]
        } else {
            wanted.methods.clone()
        };
        let before = trials.len();
        let mut turn = 0usize;
        for (capture, judged) in judged.iter().enumerate() {
            for target in targets
                .iter()
                .filter(|t| t.region.is_none_or(|r| judged[r]))
            {
                let looks: Vec<usize> = looks
                    .iter()
                    .copied()
                    .filter(|look| model.has_look(definition, *target, *look))
                    .collect();
                if looks.is_empty() {
                    continue;
                }
                for &size in &sizes {
                    for &method in &methods {
                        for _ in 0..wanted.repeats {
                            for is_twin in [false, true] {
                                if is_twin && !wanted.twins {
                                    continue;
                                }
                                let number = trials.len() as u64;
                                trials.push(Trial {
                                    number,
                                    capture,
                                    spec,
                                    fault: Fault {
                                        kind: model.about().name,
                                        target: *target,
                                        size,
                                        look: looks[turn % looks.len()],
                                        method,
                                        seed: seed_of(plan.plan.seed, number),
                                    },
                                    is_twin,
                                });
                            }
                            turn += 1;
                        }
                    }
                }
            }
        }
        if trials.len() == before {
            return Err(place(
                "it has no place on this display with these recordings; leave it out, or name other regions or channels".into(),
            ));
        }
    }
    Ok(trials)
}

fn targets(
    definition: &Definition,
    subject: Subject,
    wanted: &FaultSpec,
    model: &dyn Model,
) -> Result<Vec<Target>, String> {
    let ids = definition.regions().iter().map(|r| r.id.as_str());
    for id in wanted.regions.iter().flatten() {
        if id != "*" && !ids.clone().any(|i| i == id) {
            return Err(unknown("region", id, ids));
        }
    }
    let names = definition.channels().iter().map(|(n, _)| n.as_str());
    for name in wanted.channels.iter().flatten() {
        if !names.clone().any(|n| n == name) {
            return Err(unknown("channel", name, names));
        }
    }
    let id = |t: &Target| {
        t.region
            .map_or("*", |k| definition.regions()[k].id.as_str())
    };
    let mut targets = model.targets(subject);
    targets.retain(|t| {
        wanted
            .regions
            .as_ref()
            .is_none_or(|list| list.iter().any(|r| r == id(t)))
    });
    targets.retain(|t| {
        wanted.channels.as_ref().is_none_or(|list| {
            t.channel
                .is_some_and(|c| list.contains(&definition.channels()[c.0].0))
        })
    });
    Ok(targets)
}

fn sizes(wanted: &FaultSpec, model: &dyn Model) -> Vec<f64> {
    match (&wanted.sizes, model.about().axis) {
        (Some(sizes), _) => sizes.values(),
        (None, Some(axis)) => vec![axis.usual],
        (None, None) => vec![1.0],
    }
}

fn looks(wanted: &FaultSpec, model: &dyn Model) -> Vec<usize> {
    let index = |look: &String| model.about().looks.iter().position(|l| l == look);
    match &wanted.looks {
        Some(list) => list.iter().filter_map(index).collect(),
        None => {
            let all = 0..model.about().looks.len().max(1);
            // Looks that are harmless by themselves are only for twins.
            let is_fault = |look: &usize| {
                let fault = Fault {
                    kind: model.about().name,
                    target: Target::default(),
                    size: model.about().axis.map_or(1.0, |a| a.usual),
                    look: *look,
                    method: Method::Redraw,
                    seed: 0,
                };
                !model.classes(&fault).is_empty()
            };
            let faults: Vec<usize> = all.clone().filter(is_fault).collect();
            if faults.is_empty() {
                all.collect()
            } else {
                faults
            }
        }
    }
}
