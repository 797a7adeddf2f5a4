//! What holds for all kinds, on frames of the demo's stand-in unit.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::OnceLock;

use proptest::prelude::*;

use super::super::{Method, Watch};
use super::*;
use crate::capture::profile::Profile;
use crate::definition::model::Interpolation;
use crate::demo::unit::{Plan, Unit};
use crate::demo::{DISPLAY, chain, scenario};
use crate::picture::{Picture, Rect, Subsampling};
use crate::recording::{MissingColumns, Recording};
use crate::reference::canvas::Siting;
use crate::reference::drawing::Drawing;

/// Two alerts are active, everything moves.
const FIRST_FRAME: u64 = 1530;
const ONSET: usize = 14;
const FRAMES: usize = 28;

struct Bench {
    definition: Definition,
    drawing: Drawing,
    recording: Recording,
    profile: Profile,
    frames: Vec<CapturedFrame>,
}

impl Bench {
    fn new() -> Self {
        let definition =
            Definition::from_toml(DISPLAY, "demo", Path::new("")).unwrap_or_else(|e| panic!("{e}"));
        let csv = scenario::inputs_csv();
        let recording =
            Recording::from_reader(csv.as_bytes(), "demo", &definition, MissingColumns::Refuse)
                .unwrap_or_else(|e| panic!("{e}"));
        let plan = Plan::default();
        let mut unit = Unit::new(&definition, &recording, plan, Vec::new());
        unit.seek(FIRST_FRAME);
        let frames = (FIRST_FRAME..)
            .take(FRAMES)
            .map(|index| {
                let mut frame = CapturedFrame::new();
                frame.index = index;
                frame.time_s = unit
                    .next_frame(&mut frame.picture)
                    .expect("the scenario is longer");
                frame
            })
            .collect();
        let (width, height) = definition.size();
        let plain = Profile::plain(
            (width, height),
            chain::ENCODING,
            Subsampling::Both,
            Siting::Center,
        );
        let profile = Profile {
            noise: [plan.noise; 3],
            latency_s: plan.latency_s,
            ..plain
        };
        Self {
            drawing: Drawing::new(&definition),
            definition,
            recording,
            profile,
            frames,
        }
    }
}

fn clip() -> Clip<'static> {
    static BENCH: OnceLock<Bench> = OnceLock::new();
    let bench = BENCH.get_or_init(Bench::new);
    Clip {
        subject: Subject::new(&bench.definition, &bench.drawing),
        recording: &bench.recording,
        profile: &bench.profile,
        offset_s: bench.recording.span_s().0,
        frames: &bench.frames,
        onset: ONSET,
        end: bench.frames.len(),
    }
}

fn faulty(clip: &Clip, injector: &mut dyn Injector, k: usize) -> (CapturedFrame, Delivery) {
    let mut frame = clip.frames[k].clone();
    let delivery = injector.apply(clip, k, &mut frame);
    (frame, delivery)
}

fn usual(model: &'static dyn Model, target: Target, look: usize, seed: u64) -> Fault {
    Fault {
        kind: model.about().name,
        target,
        size: model.about().axis.map_or(1.0, |a| a.usual),
        look,
        method: Method::Redraw,
        seed,
    }
}

/// A few targets, spread over all.
fn some_targets(model: &dyn Model, clip: &Clip) -> Vec<Target> {
    let all = model.targets(clip.subject);
    let stride = all.len().div_ceil(5).max(1);
    all.into_iter().step_by(stride).collect()
}

fn faults_of(model: &'static dyn Model, clip: &Clip) -> Vec<Fault> {
    let looks = model.about().looks.len().max(1);
    let targets = some_targets(model, clip).into_iter().enumerate();
    targets
        .flat_map(|(n, target)| {
            (0..looks).map(move |look| usual(model, target, look, (n + look) as u64))
        })
        .collect()
}

/// Whether both pictures are the same outside of `area`.
fn is_same_outside(clean: &Picture, faulty: &Picture, area: Rect) -> bool {
    let mut mended = faulty.clone();
    paint::copy(clean, &mut mended, area);
    mended == *clean
}

#[test]
fn names_are_unique_and_every_kind_has_a_target() {
    let names: BTreeSet<&str> = MODELS.iter().map(|m| m.about().name).collect();
    assert_eq!(names.len(), MODELS.len());
    for model in MODELS {
        // The display here has no page for a reversion.
        assert_eq!(
            model.targets(clip().subject).is_empty(),
            model.about().watch == Watch::Reversion,
            "{}",
            model.about().name
        );
        assert!(!model.about().summary.is_empty());
    }
}

#[test]
fn a_fault_of_size_zero_changes_nothing() {
    let clip = clip();
    for model in MODELS {
        if model.about().axis.is_none_or(|a| a.range[0] > 0.0) {
            continue;
        }
        for fault in faults_of(*model, &clip) {
            // One more frame has no size.
            if fault.kind == "older_data" && fault.look == 1 {
                continue;
            }
            let fault = Fault { size: 0.0, ..fault };
            let Some(mut injector) = model.prepare(&clip, &fault) else {
                continue;
            };
            for k in [ONSET, ONSET + 7] {
                let (frame, delivery) = faulty(&clip, injector.as_mut(), k);
                assert!(frame == clip.frames[k], "{fault:?} changes frame {k}");
                assert_eq!(delivery, Delivery::Sent, "{fault:?}");
            }
        }
    }
}

/// Kept within its tolerance a value that is five tolerances off is one tolerance off, and one that is half a tolerance off is as it
/// was.
#[test]
fn a_value_kept_within_its_tolerance_is_what_is_permitted() {
    let clip = clip();
    let model = &bias::Bias as &'static dyn Model;
    let mut kept = 0;
    for target in model.targets(clip.subject) {
        let at = |size: f64, is_kept: bool| {
            let fault = Fault {
                size,
                ..usual(model, target, 0, 1)
            };
            let mut injector = model.prepare(&clip, &fault)?;
            assert!(!is_kept || injector.keep_within(&clip), "{fault:?}");
            Some(faulty(&clip, injector.as_mut(), ONSET + 3).0)
        };
        let (Some(five), Some(within)) = (at(5.0, false), at(5.0, true)) else {
            continue;
        };
        assert!(at(1.0, false) == Some(within.clone()), "{target:?}");
        assert!(at(0.5, true) == at(0.5, false), "{target:?}");
        kept += usize::from(within != five);
    }
    assert!(kept > 0);
}

/// All frames before the onset are younger than a display may be late: a donor among them would be late, and not wrong.
#[test]
fn a_donor_is_not_of_the_last_moments() {
    let clip = clip();
    let model = &bias::Bias as &'static dyn Model;
    let mut made = 0;
    for target in model.targets(clip.subject) {
        let fault = Fault {
            size: 1.0,
            method: Method::Donor,
            ..usual(model, target, 0, 1)
        };
        let Some(mut injector) = model.prepare(&clip, &fault) else {
            continue;
        };
        let (shown, _) = faulty(&clip, injector.as_mut(), ONSET);
        let area = clip.area(target);
        let is_of = |f: &CapturedFrame| paint::is_same(&f.picture, &shown.picture, area);
        assert!(!clip.frames[..=ONSET].iter().any(is_of), "{target:?}");
        assert!(clip.frames[ONSET..].iter().any(is_of), "{target:?}");
        made += 1;
    }
    assert!(made > 0);
}

#[test]
fn every_kind_changes_its_area_only_and_the_same_way_every_time() {
    let clip = clip();
    let mut never_made = Vec::new();
    for model in MODELS {
        let mut made = 0;
        for fault in faults_of(*model, &clip) {
            let Some(mut injector) = model.prepare(&clip, &fault) else {
                continue;
            };
            made += 1;
            let area = clip.area(fault.target);
            let mut changed = false;
            let mut first = Vec::new();
            for k in [ONSET, ONSET + 3, ONSET + 10] {
                let (frame, delivery) = faulty(&clip, injector.as_mut(), k);
                let clean = &clip.frames[k];
                changed |= frame != *clean || delivery == Delivery::Lost;
                assert!(
                    is_same_outside(&clean.picture, &frame.picture, area),
                    "{fault:?} reaches beyond its area"
                );
                first.push((frame, delivery));
            }
            assert!(changed, "{fault:?} changes nothing");
            let mut again = model
                .prepare(&clip, &fault)
                .unwrap_or_else(|| panic!("{fault:?} was made before"));
            for (n, k) in [ONSET, ONSET + 3, ONSET + 10].into_iter().enumerate().rev() {
                assert!(
                    faulty(&clip, again.as_mut(), k) == first[n],
                    "{fault:?} depends on the order of frames"
                );
            }
        }
        if made == 0 {
            never_made.push(model.about().name);
        }
    }
    assert_eq!(never_made, ["no_reversion"]);
}

/// Before (639a65b) half a tolerance more than all the time that there is was shown, which no input gives.
#[test]
fn a_bias_goes_to_the_side_that_its_channel_can_have() {
    let (clip, model) = (clip(), super::super::model("bias").unwrap());
    let mut tried = 0;
    for target in model.targets(clip.subject) {
        let (tolerance, channel) = (clip.tolerance(target), target.channel.unwrap());
        let (_, model_of_channel) = &clip.definition().channels()[channel.0];
        if model_of_channel.interpolation == Interpolation::Angular {
            continue;
        }
        let range = model_of_channel.range;
        let due = super::super::value::due_values(&clip, channel)[clip.onset];
        let (Some(tolerance), Some([low, high]), Some(due)) = (tolerance, range, due) else {
            continue;
        };
        // Beyond its end on one side.
        let amount = (due - low).min(high - due) + tolerance;
        let shown = |seed| {
            let mut fault = usual(model, target, 0, seed);
            fault.size = amount / tolerance;
            let mut injector = model.prepare(&clip, &fault)?;
            Some(faulty(&clip, &mut *injector, clip.onset).0.picture)
        };
        let is_possible = due + amount <= high || due - amount >= low;
        let (one, other) = (shown(0), shown(1));
        assert_eq!(
            [one.is_some(), other.is_some()],
            [is_possible; 2],
            "{target:?}"
        );
        let (Some(one), Some(other)) = (one, other) else {
            continue;
        };
        // Each has its own noise.
        let area = clip.area(target);
        assert_eq!(paint::differing_px(&one, &other, area, 40), 0, "{target:?}");
        tried += 1;
    }
    assert!(tried > 3, "{tried}");
}

#[test]
fn every_twin_is_a_fault_that_can_be_made() {
    let clip = clip();
    for model in MODELS {
        for fault in faults_of(*model, &clip) {
            if model.prepare(&clip, &fault).is_none() {
                continue;
            }
            let Some((twin, words)) = model.twin(&clip, &fault) else {
                assert!(
                    model.classes(&fault).is_empty(),
                    "{} has no twin",
                    fault.kind
                );
                continue;
            };
            let of = super::model(twin.kind).expect("a twin is of a known kind");
            assert!(twin.look < of.about().looks.len().max(1), "{twin:?}");
            if let Some(axis) = of.about().axis {
                assert!(
                    (axis.range[0]..=axis.range[1]).contains(&twin.size),
                    "{twin:?}"
                );
            }
            assert!(of.prepare(&clip, &twin).is_some(), "{words}: {twin:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn no_fault_panics(
        kind in 0..MODELS.len(),
        (target, look, seed) in any::<(usize, usize, u64)>(),
        share in 0.0..=1.0f64,
        is_donor in any::<bool>(),
        after in 0..FRAMES - ONSET,
    ) {
        let clip = clip();
        let model = MODELS[kind];
        let targets = model.targets(clip.subject);
        prop_assume!(!targets.is_empty());
        // Small sizes matter as much as large ones.
        let size = model.about().axis.map_or(1.0, |a| {
            a.range[0] + (a.range[1] - a.range[0]) * share * share * share
        });
        let fault = Fault {
            kind: model.about().name,
            target: targets[target % targets.len()],
            size,
            look: look % model.about().looks.len().max(1),
            method: if is_donor { Method::Donor } else { Method::Redraw },
            seed,
        };
        if let Some(mut injector) = model.prepare(&clip, &fault) {
            let (frame, _) = faulty(&clip, injector.as_mut(), ONSET + after);
            let clean = &clip.frames[ONSET + after];
            prop_assert!(frame.time_s >= clean.time_s);
            prop_assert!(is_same_outside(&clean.picture, &frame.picture, clip.area(fault.target)));
        }
    }
}
