//! Radios, a transponder, an autopilot and a stopwatch: what stands in another's place, and what is shown that is no more.

use std::path::Path;

use framevouch::definition::Definition;
use framevouch::demo::unit::Plan;
use framevouch::judge::event::Event;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, Checked, RATE_HZ};

const DISPLAY: &str = r##"
[display]
name = "radio panel"
width = 240
height = 160
background = "ink"
max_latency_ms = 150

[fonts]
digits = { builtin = "B612 Mono Bold" }

[colors]
ink = "#0b0f14"
grey = "#9eabb6"
white = "#f2f4f5"
green = "#3ddc68"
cyan = "#5cd6ff"
amber = "#ffb31a"

[channels]
active = { column = "active", unit = "MHz", range = [118, 136.99], interpolation = "hold" }
standby = { column = "standby", unit = "MHz", range = [118, 136.99], interpolation = "hold" }
editing = { column = "editing", range = [0, 1], interpolation = "hold" }
code = { column = "code", range = [0, 7777], interpolation = "hold" }
is_code = { expression = "is_transponder_code(code)" }
mode = { column = "mode", interpolation = "text" }
released = { column = "released", range = [0, 1], interpolation = "hold" }
mode_lost = { expression = "latched(mode == 'OFF' && released < 0.5, mode != 'OFF' || released > 0.5)" }
watch = { column = "watch", unit = "s", range = [0, 5999] }

[[region]]
id = "com"
rect = [0, 0, 240, 70]
hazard = "major"
requirements = ["RP-1"]
tolerance = { active = 0.001, standby = 0.001 }

[[region.symbol]]
kind = "readout"
channel = "active"
position = [112, 20]
align = "right"
font = "digits"
size = 24
color = "green"
format = { decimals = 3 }

[[region.symbol]]
kind = "parts"
name = "standby"
part = [
  { choose = true, part = [
    { when = [{ channel = "editing", equals = 1 }], part = [
      { shape = { frame = { rect = [122, 4, 112, 32], width = 2 } }, fill = "cyan" },
      { id = "edit", shape = { readout = { channel = "standby", position = [228, 20], align = "right", font = "digits", size = 24, color = "cyan", format = { decimals = 3 } } } },
    ] },
    { id = "standby", shape = { readout = { channel = "standby", position = [228, 20], align = "right", font = "digits", size = 24, color = "white", format = { decimals = 3 } } } },
  ] },
]

[[region]]
id = "transponder"
rect = [0, 70, 120, 90]
hazard = "major"
requirements = ["RP-2"]
tolerance = { code = 0.5 }

[[region.symbol]]
kind = "readout"
channel = "code"
position = [60, 100]
font = "digits"
size = 28
color = "green"
color_rules = [{ when = [{ channel = "is_code", equals = 0 }], color = "amber" }]
format = { digits = 4 }

[[region]]
id = "modes"
rect = [120, 70, 120, 40]
hazard = "hazardous"
requirements = ["RP-3"]

[[region.symbol]]
kind = "parts"
name = "modes"
part = [
  { shape = { words = { text = "ARM", position = [128, 100], align = "left", font = "digits", size = 13, color = "grey" } } },
  { shape = { words = { text = "LOC", position = [190, 100], align = "left", font = "digits", size = 16, color = "white" } } },
  { choose = true, part = [
    { when = [{ channel = "mode_lost", equals = 1 }], shape = { words = { text = "AP OFF", position = [180, 82], font = "digits", size = 20, color = "amber" } } },
    { when = [{ channel = "mode", is_one_of = ["HDG", "NAV"] }], shape = { readout = { channel = "mode", position = [180, 82], font = "digits", size = 20, color = "green" } } },
  ] },
]

[[region]]
id = "watch"
rect = [120, 110, 120, 50]
hazard = "minor"
requirements = ["RP-4"]
tolerance = { watch = 1 }

[[region.symbol]]
kind = "readout"
channel = "watch"
position = [180, 135]
font = "digits"
size = 26
color = "white"
format = { minutes = true, digits = 2, offset = -0.4999 }
"##;

const LENGTH_S: f64 = 3.6;
/// From here on the display is wrong, s.
const ONSET_S: f64 = 2.0;

/// What the display is told at a moment.
#[derive(Clone, Copy)]
struct Told {
    active: f64,
    standby: f64,
    editing: u8,
    code: u16,
    mode: &'static str,
    watch_s: f64,
}

/// The crew dials from 0.5 to 1.3 s and exchanges the two at 1.5 s; the autopilot drops out by itself at 2 s.
fn due(time_s: f64) -> Told {
    let is_changed = time_s >= 1.5;
    let [active, standby] = if is_changed {
        [130.015, 123.455]
    } else {
        [123.455, 130.015]
    };
    Told {
        active,
        standby,
        editing: u8::from((0.5..1.3).contains(&time_s)),
        code: 2654,
        mode: if time_s < ONSET_S { "HDG" } else { "OFF" },
        watch_s: 58.0 + time_s,
    }
}

fn bench(told: impl Fn(f64) -> Told) -> Bench {
    let definition = Definition::from_toml(DISPLAY, "panel.toml", Path::new(""));
    let definition = definition.unwrap_or_else(|e| panic!("{e}"));
    let mut csv = String::from("t_s,active,standby,editing,code,mode,released,watch\n");
    for k in 0..=(LENGTH_S * 20.0) as usize {
        let time_s = k as f64 / 20.0;
        let t = told(time_s);
        csv += &format!(
            "{time_s},{},{},{},{},{},0,{}\n",
            t.active, t.standby, t.editing, t.code, t.mode, t.watch_s
        );
    }
    let refuse = MissingColumns::Refuse;
    let recording = Recording::from_reader(csv.as_bytes(), "inputs.csv", &definition, refuse);
    Bench {
        definition,
        recording: recording.unwrap_or_else(|e| panic!("{e}")),
        plan: Plan {
            rate: (RATE_HZ, 1),
            ..Plan::default()
        },
        allow_missing: false,
    }
}

/// What is found when the display is told something else from `onset_s` on.
fn shown(onset_s: f64, told: impl Fn(Told, f64) -> Told) -> Checked {
    let bench_due = bench(due);
    let onset = (onset_s * f64::from(RATE_HZ)) as usize;
    let right = bench_due.frames(None).into_iter().take(onset);
    let wrong = bench(|t| told(due(t), t)).frames(None);
    let frames: Vec<Picture> = right.chain(wrong.into_iter().skip(onset)).collect();
    bench_due.check(&frames)
}

fn only<'c>(checked: &'c Checked, region: &str) -> &'c Event {
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(
        (event.class, &event.regions[..]),
        (Verdict::Misleading, &[region.to_owned()][..]),
        "{}",
        checked.told()
    );
    event
}

#[test]
fn a_panel_that_shows_what_is_due_agrees() {
    let checked = shown(0.0, |told, _| told);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
}

#[test]
fn frequencies_in_each_others_box_are_named() {
    let exchange = |t: Told, _| Told {
        active: t.standby,
        standby: t.active,
        ..t
    };
    let checked = shown(ONSET_S, exchange);
    let event = only(&checked, "com");
    assert_eq!(
        event.remarks,
        ["active and standby stand in each other's place"]
    );
    assert!(event.worst_error.is_some(), "{}", checked.told());
}

#[test]
fn a_field_that_is_not_opened_for_editing_is_found() {
    // From just before the crew dials. What stands there is the picture from before: of one change alone nobody can tell
    // whether it is frozen.
    let checked = shown(0.4, |t, _| Told { editing: 0, ..t });
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.regions, ["com"]);
    assert!((event.onset_s - 0.6).abs() < 0.15, "{}", checked.told());
}

#[test]
fn a_wrong_code_is_read() {
    let checked = shown(ONSET_S, |t, _| Told { code: 2645, ..t });
    let worst = only(&checked, "transponder").worst_error.as_ref();
    let worst = worst.unwrap_or_else(|| panic!("nothing was read\n{}", checked.told()));
    assert_eq!(
        (&*worst.channel, worst.displayed, worst.expected),
        ("code", 2645.0, 2654.0)
    );
}

#[test]
fn a_mode_that_has_dropped_out_may_not_stand_there_as_engaged() {
    // Another mode than before, so that it is no picture of old data.
    let checked = shown(ONSET_S + 0.08, |t, _| Told { mode: "NAV", ..t });
    only(&checked, "modes");
}

#[test]
fn a_stopwatch_that_is_off_is_read_in_seconds() {
    let checked = shown(ONSET_S, |t, _| Told {
        watch_s: t.watch_s + 61.0,
        ..t
    });
    let worst = only(&checked, "watch").worst_error.as_ref();
    let worst = worst.unwrap_or_else(|| panic!("nothing was read\n{}", checked.told()));
    assert!(
        (worst.displayed - worst.expected - 61.0).abs() < 1.01,
        "{worst:?}"
    );
}
