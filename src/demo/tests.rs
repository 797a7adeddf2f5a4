use std::collections::BTreeSet;
use std::path::Path;

use super::faults::{self, Fault, Kind};
use super::unit::{Plan, Unit};
use super::{DISPLAY, ENGINE_STRIP, REVERSIONARY, chain, scenario, whole};
use crate::definition::Definition;
use crate::definition::model::Symbol;
use crate::picture::{Picture, Rect, Subsampling};
use crate::recording::inputs::Value;
use crate::recording::{MissingColumns, Recording};
use crate::reference::drawing::Drawing;

fn loaded(text: &str) -> Definition {
    Definition::from_toml(text, "bundled", Path::new("")).unwrap_or_else(|e| panic!("{e}"))
}

fn recorded(definition: &Definition, missing: MissingColumns) -> Recording {
    let csv = scenario::inputs_csv();
    Recording::from_reader(csv.as_bytes(), "scenario", definition, missing)
        .unwrap_or_else(|e| panic!("{e}"))
}

fn blank() -> Picture {
    Picture::filled(2, 2, chain::ENCODING, Subsampling::Both, [16, 128, 128])
}

/// What the unit sends as frame `index`, R'G'B'.
fn sent(definition: &Definition, recording: &Recording, faults: &[Fault], index: u64) -> Picture {
    let mut unit = Unit::new(definition, recording, Plan::default(), faults.to_vec());
    unit.seek(index);
    unit.next_frame(&mut blank())
        .expect("the scenario is longer");
    unit.sent().clone()
}

/// The smallest rectangle around all pixels that differ.
fn difference(a: &Picture, b: &Picture) -> Rect {
    let mut found = Rect::default();
    for (a, b) in a.planes().iter().zip(b.planes()) {
        for y in 0..a.height() {
            for (x, _) in a
                .row(y)
                .iter()
                .zip(b.row(y))
                .enumerate()
                .filter(|(_, (p, q))| p != q)
            {
                found = found.union(&Rect::new(x as i32, y as i32, 1, 1));
            }
        }
    }
    found
}

#[test]
fn the_demo_display_has_every_kind_of_symbol() {
    let display = loaded(DISPLAY);
    let symbols = display.regions().iter().flat_map(|r| &r.symbol);
    let kinds: BTreeSet<&str> = symbols.map(Symbol::kind).collect();
    assert_eq!(kinds.len(), 11, "{kinds:?}");
}

#[test]
fn the_scenario_has_every_channel_of_the_demo_display() {
    let display = loaded(DISPLAY);
    let recording = recorded(&display, MissingColumns::Refuse);
    let invalid_at = |time_s: f64| -> Vec<&str> {
        let inputs = recording.inputs(time_s);
        let names = display.channels().iter().map(|(name, _)| name.as_str());
        names
            .zip(&inputs.values)
            .filter(|(_, v)| **v == Value::Invalid)
            .map(|(name, _)| name)
            .collect()
    };
    for time_s in [0.0, 10.0, 30.0, 45.0, 55.0, 65.0, 70.0] {
        assert!(
            invalid_at(time_s).is_empty(),
            "{time_s} s: {:?}",
            invalid_at(time_s)
        );
    }
    assert_eq!(invalid_at(22.0), ["radio_altitude"]);
    assert_eq!(invalid_at(49.0), ["vertical_speed"]);
    assert_eq!(invalid_at(58.0), ["sample_volume"]);
}

#[test]
fn alerts_of_three_colours_come_up() {
    let display = loaded(DISPLAY);
    let recording = recorded(&display, MissingColumns::Refuse);
    let active = |time_s: f64| {
        recording
            .inputs(time_s)
            .active_since_s
            .iter()
            .flatten()
            .count()
    };
    assert_eq!(active(1.0), 0);
    assert!(active(33.0) >= 1, "sink rate");
    assert!(active(45.0) >= 1, "icing range");
    assert!(active(62.0) >= 2, "torque and rotor speed");
}

#[test]
fn faults_lie_on_frames_with_clean_time_between() {
    let display = loaded(DISPLAY);
    for (rate, seed) in [(25.0, 2), (30.0, 3), (15.0, 4)] {
        let faults = faults::demo_faults(&display, rate, seed);
        assert_eq!(faults.len(), 14);
        for pair in faults.windows(2) {
            let clean_s = pair[1].onset_s - pair[0].end_s;
            // Onset and end are rounded to whole frames.
            assert!(
                clean_s >= faults::CLEAN_S - 1.0 / rate,
                "{clean_s} before {}",
                pair[1].what
            );
        }
        assert!(faults.iter().all(|f| {
            (f.onset_s * rate)
                .fract()
                .min(1.0 - (f.onset_s * rate).fract())
                < 1e-6
        }));
    }
}

#[test]
fn a_fault_changes_its_region_and_nothing_else() {
    let display = loaded(DISPLAY);
    let recording = recorded(&display, MissingColumns::Refuse);
    let rate = Plan::default().frames_per_s();
    for fault in faults::demo_faults(&display, rate, 2) {
        // A freeze needs the frames before it, which are not drawn here.
        if matches!(fault.kind, Kind::FreezeAll | Kind::FreezeRegion(_)) {
            continue;
        }
        let index = ((fault.onset_s + fault.end_s) / 2.0 * rate) as u64;
        let good = sent(&display, &recording, &[], index);
        let faulty = sent(&display, &recording, std::slice::from_ref(&fault), index);
        let changed = difference(&good, &faulty);
        assert!(changed.area() > 20, "{} shows in {changed:?}", fault.what);
        if let Some(region) = display.regions().iter().find(|r| r.id == fault.regions[0]) {
            assert_eq!(
                changed.intersection(&region.area()),
                changed,
                "{}",
                fault.what
            );
        }
    }
}

#[test]
fn a_freeze_holds_the_picture_before_it() {
    let display = loaded(DISPLAY);
    let recording = recorded(&display, MissingColumns::Refuse);
    let rate = Plan::default().frames_per_s();
    let faults = faults::demo_faults(&display, rate, 2);
    let freeze = faults
        .iter()
        .find(|f| f.kind == Kind::FreezeAll)
        .expect("one is planned");
    let first = (freeze.onset_s * rate).round() as u64;
    let mut unit = Unit::new(&display, &recording, Plan::default(), faults.clone());
    unit.seek(first - 1);
    let mut out = blank();
    let pictures: Vec<Picture> = (0..4)
        .map(|_| {
            unit.next_frame(&mut out).expect("the scenario is longer");
            unit.sent().clone()
        })
        .collect();
    assert!(pictures.iter().all(|p| *p == pictures[0]));
    // The data moved meanwhile.
    assert_ne!(sent(&display, &recording, &[], first + 2), pictures[0]);
}

#[test]
fn drawing_twice_gives_the_same_levels() {
    let display = loaded(DISPLAY);
    let recording = recorded(&display, MissingColumns::Refuse);
    let captured = || {
        let mut unit = Unit::new(&display, &recording, Plan::default(), Vec::new());
        unit.seek(500);
        let mut out = blank();
        unit.next_frame(&mut out).expect("the scenario is longer");
        out
    };
    assert_eq!(captured(), captured());
}

#[test]
fn other_displays_run_on_the_scenario_too() {
    for text in [ENGINE_STRIP, REVERSIONARY] {
        let display = loaded(text);
        let recording = recorded(&display, MissingColumns::Refuse);
        let faults = faults::demo_faults(&display, Plan::default().frames_per_s(), 2);
        assert!(faults.len() >= 6);
        let mut unit = Unit::new(&display, &recording, Plan::default(), faults);
        unit.seek(700);
        assert!(unit.next_frame(&mut blank()).is_some());
        unit.seek(unit.frame_count());
        assert!(unit.next_frame(&mut blank()).is_none());
    }
}

#[test]
fn displays_written_out_in_parts_draw_the_same_bytes() {
    for text in [DISPLAY, ENGINE_STRIP, REVERSIONARY] {
        let display = loaded(text);
        let expanded = display.expanded();
        let in_parts = loaded(&expanded);
        assert!(
            in_parts
                .regions()
                .iter()
                .flat_map(|r| &r.symbol)
                .all(|s| s.kind() == "parts")
        );
        assert_eq!(
            in_parts.expanded(),
            expanded,
            "written out again, it is the same"
        );
        let [own, of_parts] = [&display, &in_parts].map(|d| recorded(d, MissingColumns::Allow));
        let mut painter = crate::reference::painter::Painter::new();
        for time_s in [0.0, 12.3, 20.0, 41.7] {
            let mut draw = |d: &Definition, recording: &Recording| {
                Drawing::new(d).frame(d, &recording.inputs(time_s), &mut painter)
            };
            assert_eq!(
                draw(&display, &own),
                draw(&in_parts, &of_parts),
                "{time_s} s"
            );
        }
    }
}

#[test]
fn the_whole_display_has_its_channels_its_faults_and_every_page() {
    let display = loaded(whole::DISPLAY);
    let second = loaded(whole::SECOND);
    let (inputs, traffic) = (
        whole::scenario::inputs_csv(),
        whole::scenario::traffic_csv(),
    );
    let recording = Recording::from_readers_as(
        inputs.as_bytes(),
        "scenario",
        &[("traffic", traffic.as_bytes())],
        &display,
        MissingColumns::Refuse,
        display.recording_form(),
    )
    .unwrap_or_else(|e| panic!("{e}"));
    for faults in [whole::faults(&display), whole::second_faults(&second)] {
        assert!(faults.len() > 1);
        for pair in faults.windows(2) {
            assert!(pair[0].onset_s < pair[1].onset_s, "{}", pair[1].what);
        }
    }
    let shown = |time_s: f64| display.pages()[recording.inputs(time_s).page].id.as_str();
    assert_eq!(
        [shown(20.0), shown(45.0), shown(60.0)],
        ["flight", "systems", "flight"]
    );
    // More alerts than slots, a red one among them, when one is dropped.
    let active = recording.inputs(25.4).active_since_s;
    assert_eq!(active.iter().flatten().count(), 7, "{active:?}");
}
