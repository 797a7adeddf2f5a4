//! From a plan to the list of its trials.

use std::collections::BTreeMap;

use super::plan::{FaultSpec, Plan, unknown};
use crate::definition::Definition;
use crate::examine::subject::Subject;
use crate::inject::{self, Fault, Method, Model, Target, Watch};
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
    let regions = definition.regions().iter().enumerate();
    regions
        .map(|(k, r)| {
            let mut channels = definition.channels_needed(k).into_iter();
            !r.is_unchecked()
                && channels.all(|n| *inputs.value(definition.channel(n)) != Value::Missing)
        })
        .collect()
}

/// Most trials of a plan: a mark for each is kept while a campaign runs.
const MOST_TRIALS: u64 = 100_000_000;
/// Most places (a capture, a target) of all faults of a plan.
const MOST_PLACES: usize = 1_000_000;

/// The trials of a plan, in their order, never all of them at once: each is made when it is asked for.
#[derive(Clone, Debug)]
pub struct Trials {
    seed: u64,
    specs: Vec<Spec>,
    places: Vec<Place>,
    count: u64,
}

/// What is the same for all trials of one `[[fault]]`.
#[derive(Clone, Debug)]
struct Spec {
    kind: &'static str,
    targets: Vec<(Target, Vec<usize>)>,
    sizes: Vec<f64>,
    methods: Vec<Method>,
    repeats: u64,
    /// Fault and twin, or the fault alone.
    turns: u64,
}

/// Trials in a row: those of one fault, in one capture, at one target.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// Number of the first.
    first: u64,
    /// Faults of this spec before it, twins left aside.
    before: u64,
    spec: u32,
    capture: u32,
    target: u32,
}

impl Spec {
    /// Trials of one place.
    fn count(&self) -> u64 {
        (self.sizes.len() * self.methods.len()) as u64 * self.repeats * self.turns
    }
}

impl Trials {
    /// The trials of `plan`. `judged` says for each capture which regions can be judged.
    ///
    /// # Errors
    /// When the plan names a region or channel that the display does not have, a fault has no place, or there
    /// are too many.
    pub fn new(plan: &Plan, subject: Subject, judged: &[Vec<bool>]) -> Result<Self, String> {
        let definition = subject.definition();
        let mut all = Self {
            seed: plan.plan.seed,
            specs: Vec::with_capacity(plan.fault.len()),
            places: Vec::new(),
            count: 0,
        };
        for (number, wanted) in plan.fault.iter().enumerate() {
            let place =
                |what: String| format!("[[fault]] {} (\"{}\"): {what}", number + 1, wanted.kind);
            let Some(model) = inject::model(&wanted.kind) else {
                return Err(place("there is no such kind".into()));
            };
            let looks = looks(wanted, model);
            let targets = targets(definition, subject, wanted, model).map_err(place)?;
            let targets = targets.into_iter().map(|target| {
                let has_look = |look: &usize| model.has_look(definition, target, *look);
                let own: Vec<usize> = looks.iter().copied().filter(has_look).collect();
                (target, own)
            });
            let spec = Spec {
                kind: model.about().name,
                targets: targets.filter(|(_, looks)| !looks.is_empty()).collect(),
                sizes: sizes(wanted, model),
                methods: if wanted.methods.is_empty() {
                    vec![Method::Redraw]
                } else {
                    wanted.methods.clone()
                },
                repeats: u64::from(wanted.repeats),
                turns: if wanted.twins { 2 } else { 1 },
            };
            let first_place = all.places.len();
            for (capture, judged) in judged.iter().enumerate() {
                let is_alone = plan.capture[capture].beside.is_none();
                if is_alone && model.about().watch == Watch::Beside {
                    continue;
                }
                for (k, (target, _)) in spec.targets.iter().enumerate() {
                    if !target.region.is_none_or(|r| judged[r]) {
                        continue;
                    }
                    if all.places.len() == MOST_PLACES {
                        return Err(place(format!(
                            "with it the plan has more than {MOST_PLACES} places (faults, captures and what they strike); part it into several plans"
                        )));
                    }
                    let done = (all.places.len() - first_place) as u64;
                    all.places.push(Place {
                        first: all.count,
                        before: done * spec.count() / spec.turns,
                        spec: number as u32,
                        capture: capture as u32,
                        target: k as u32,
                    });
                    all.count = all.count.saturating_add(spec.count());
                }
            }
            if all.count > MOST_TRIALS {
                return Err(place(format!(
                    "with it the plan has {} trials; at most {MOST_TRIALS} are allowed: part it into several plans",
                    all.count
                )));
            }
            if all.places.len() == first_place {
                let needed = match model.about().watch {
                    Watch::Place => "name other regions or channels",
                    Watch::Reversion => {
                        "use a display that has a page with a `reversion`, and regions whose faults call for it"
                    }
                    Watch::Beside => {
                        "say in a [[capture]] what stands beside it: `beside = \"RESULTS\"`"
                    }
                };
                return Err(place(format!(
                    "it has no place on this display with these recordings; leave it out, or {needed}"
                )));
            }
            all.specs.push(spec);
        }
        Ok(all)
    }

    /// How many there are.
    #[must_use]
    pub const fn len(&self) -> u64 {
        self.count
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Trial `number`.
    ///
    /// # Panics
    /// When there is no such trial.
    #[must_use]
    pub fn get(&self, number: u64) -> Trial {
        assert!(number < self.count, "a trial of the plan");
        let k = self.places.partition_point(|p| p.first <= number) - 1;
        self.at(&self.places[k], number)
    }

    /// Numbers of the trials of one capture, rising.
    pub fn of_capture(&self, capture: usize) -> impl Iterator<Item = u64> + '_ {
        let places = self.places.iter();
        places
            .filter(move |p| p.capture as usize == capture)
            .flat_map(|p| p.first..p.first + self.specs[p.spec as usize].count())
    }

    /// Length of the video that the trials of one capture go through, s, where `each_s` says it of a trial by the number of its
    /// fault in the plan.
    #[must_use]
    pub fn video_s(&self, capture: usize, each_s: &dyn Fn(usize) -> f64) -> f64 {
        let places = self.places.iter();
        let own = places.filter(|p| p.capture as usize == capture);
        own.map(|p| self.specs[p.spec as usize].count() as f64 * each_s(p.spec as usize))
            .sum()
    }

    /// Faults and twins, by kind.
    #[must_use]
    pub fn by_kind(&self) -> BTreeMap<&'static str, (u64, u64)> {
        let mut counts: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
        for place in &self.places {
            let spec = &self.specs[place.spec as usize];
            let faults = spec.count() / spec.turns;
            let entry = counts.entry(spec.kind).or_default();
            entry.0 += faults;
            entry.1 += faults * (spec.turns - 1);
        }
        counts
    }

    /// The seed of trial `number`.
    #[must_use]
    pub const fn seed(&self, number: u64) -> u64 {
        seed_of(self.seed, number)
    }

    fn at(&self, place: &Place, number: u64) -> Trial {
        let spec = &self.specs[place.spec as usize];
        let (target, looks) = &spec.targets[place.target as usize];
        let within = number - place.first;
        let fault = within / spec.turns;
        let combination = fault / spec.repeats;
        let methods = spec.methods.len() as u64;
        Trial {
            number,
            capture: place.capture as usize,
            spec: place.spec as usize,
            fault: Fault {
                kind: spec.kind,
                target: *target,
                size: spec.sizes[(combination / methods) as usize],
                look: looks[((place.before + fault) % looks.len() as u64) as usize],
                method: spec.methods[(combination % methods) as usize],
                seed: self.seed(number),
            },
            is_twin: within % spec.turns == 1,
        }
    }
}

/// Which trials of a plan are done: a bit for each.
#[derive(Clone, Debug)]
pub struct Done {
    bits: Vec<u64>,
    count: u64,
}

impl Done {
    /// None of `len` trials.
    #[must_use]
    pub fn none(len: u64) -> Self {
        Self {
            bits: vec![0; len.div_ceil(64) as usize],
            count: 0,
        }
    }

    /// Trial `number` is done; false when there is no such trial, or it was done before.
    pub fn add(&mut self, number: u64) -> bool {
        let Some(word) = self.bits.get_mut((number / 64) as usize) else {
            return false;
        };
        let bit = 1 << (number % 64);
        let is_new = *word & bit == 0;
        *word |= bit;
        self.count += u64::from(is_new);
        is_new
    }

    /// Whether trial `number` is done.
    #[must_use]
    pub fn has(&self, number: u64) -> bool {
        let word = self.bits.get((number / 64) as usize).copied();
        word.unwrap_or(0) & (1 << (number % 64)) != 0
    }

    /// How many are done.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Two faults, two captures, three targets; the looks are what a trial's number must not change.
    fn trials(repeats: u64) -> Trials {
        let target = |region| Target {
            region,
            symbol: None,
            channel: None,
        };
        let spec = |kind, turns| Spec {
            kind,
            targets: vec![
                (target(None), vec![0, 1, 2]),
                (target(Some(0)), vec![1]),
                (target(Some(1)), vec![0, 2]),
            ],
            sizes: vec![0.5, 1.0],
            methods: vec![Method::Redraw, Method::Donor],
            repeats,
            turns,
        };
        let mut all = Trials {
            seed: 7,
            specs: vec![spec("bias", 2), spec("freeze", 1)],
            places: Vec::new(),
            count: 0,
        };
        for number in 0..2 {
            let mut before = 0;
            for capture in 0..2 {
                for target in 0..3 {
                    all.places.push(Place {
                        first: all.count,
                        before,
                        spec: number,
                        capture,
                        target,
                    });
                    before += all.specs[number as usize].count() / all.specs[number as usize].turns;
                    all.count += all.specs[number as usize].count();
                }
            }
        }
        all
    }

    #[test]
    fn walking_gives_what_the_loops_of_a_plan_give() {
        let all = trials(3);
        let mut number = 0;
        for (k, spec) in all.specs.iter().enumerate() {
            let mut turn = 0;
            for capture in 0..2 {
                for (target, looks) in &spec.targets {
                    for size in &spec.sizes {
                        for method in &spec.methods {
                            for _ in 0..spec.repeats {
                                for twin in 0..spec.turns {
                                    let t = all.get(number);
                                    assert_eq!((t.number, t.capture, t.spec), (number, capture, k));
                                    let f = &t.fault;
                                    assert_eq!(
                                        (f.target, f.size, f.method),
                                        (*target, *size, *method)
                                    );
                                    assert_eq!(f.look, looks[turn % looks.len()]);
                                    assert_eq!(f.seed, seed_of(7, number));
                                    assert_eq!(t.is_twin, twin == 1);
                                    number += 1;
                                }
                                turn += 1;
                            }
                        }
                    }
                }
            }
        }
        assert_eq!(number, all.len());
        let own: Vec<u64> = (0..all.len())
            .filter(|n| all.get(*n).capture == 1)
            .collect();
        assert_eq!(all.of_capture(1).collect::<Vec<_>>(), own);
        let kinds = all.by_kind();
        assert_eq!((kinds["bias"], kinds["freeze"]), ((72, 72), (72, 0)));
    }

    #[test]
    fn ten_million_trials_are_walked_in_no_room() {
        // 1.3 GB before: all were listed.
        let all = trials(280_000);
        assert_eq!(all.len(), 20_160_000);
        assert_eq!(all.places.len(), 12);
        assert_eq!(all.get(all.len() - 1).capture, 1);
    }

    #[test]
    fn what_is_done_is_counted_once() {
        let mut done = Done::none(70);
        assert!(done.add(69) && !done.add(69) && !done.add(200));
        assert!(done.has(69) && !done.has(68) && done.count() == 1);
    }
}
