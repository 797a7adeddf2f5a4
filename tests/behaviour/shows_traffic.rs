//! A traffic plot: targets that are missing, not due, or in the wrong place are found and named.

use std::path::Path;

use framevouch::definition::Definition;
use framevouch::demo::unit::Plan;
use framevouch::judge::event::Event;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, Checked, Files, RATE_HZ, y4m};

const DISPLAY: &str = r##"
[display]
name = "traffic plot"
width = 240
height = 240
background = "ink"
max_latency_ms = 150

[fonts]
digits = { builtin = "B612 Mono Bold" }

[colors]
ink = "#0b0f14"
grey = "#9eabb6"
white = "#f2f4f5"
amber = "#ffb31a"

[tables.traffic]
key = "id"
slots = 4

[channels.scale]
column = "scale_nm"
unit = "NM"
range = [2, 12]
interpolation = "hold"

[channels."traffic_{slot}_bearing"]
table = "traffic"
column = "bearing"
unit = "deg"
range = [0, 360]
interpolation = "angular"

[channels."traffic_{slot}_distance"]
table = "traffic"
column = "distance"
unit = "NM"
range = [0, 20]

[channels."traffic_{slot}_height"]
table = "traffic"
column = "height"
unit = "ft"
range = [-9900, 9900]

[[region]]
id = "plot"
rect = [0, 0, 240, 240]
hazard = "major"
requirements = ["TP-1"]
tolerance = { "traffic_{slot}_bearing" = 4, "traffic_{slot}_distance" = 0.2, "traffic_{slot}_height" = 100 }

[[region.symbol]]
kind = "parts"
name = "plot"
part = [
  { shape = { circle = { center = [120, 120], radius = 100 } }, stroke = { color = "grey", width = 2 } },
  { shape = { polygon = [[120, 108], [128, 130], [120, 125], [112, 130]] }, fill = "white" },
  { shape = { readout = { channel = "scale", position = [215, 16], font = "digits", size = 18, color = "white" } } },
]

[[region.for_each]]
table = "traffic"

[[region.for_each.symbol]]
kind = "target"
name = "target {slot}"
center = [120, 120]
radius = 100
bearing = "traffic_{slot}_bearing"
distance = "traffic_{slot}_distance"
scale = "scale"
size = 14
height = { channel = "traffic_{slot}_height", font = "digits", size = 14 }
icon = [{ shape = "diamond", filled = true, color = "amber" }]
"##;

const LENGTH_S: usize = 4;
/// From here on the display is wrong, s.
const ONSET_S: usize = 2;

/// Who is where at the beginning, and what becomes of that in a second: bearing, distance, height.
type Target = (&'static str, [f64; 3], [f64; 3]);

const TARGETS: [Target; 3] = [
    ("K", [30.0, 4.0, 700.0], [2.0, -0.1, 0.0]),
    ("L", [250.0, 3.0, -300.0], [-3.0, 0.05, 0.0]),
    ("M", [140.0, 2.0, 1500.0], [1.0, 0.1, 0.0]),
];

fn inputs() -> String {
    let rows = (0..=LENGTH_S * 10).map(|k| format!("{},6\n", k as f64 / 10.0));
    format!("t_s,scale_nm\n{}", rows.collect::<String>())
}

fn table(targets: &[Target]) -> String {
    let mut table = String::from("t_s,id,bearing,distance,height\n");
    for time in 0..=LENGTH_S {
        for (id, at, rate) in targets {
            let [b, d, h] = [0, 1, 2].map(|k| at[k] + rate[k] * time as f64);
            table += &format!("{time},{id},{b},{d},{h}\n");
        }
    }
    table
}

/// A display that is given `targets`.
fn bench(targets: &[Target]) -> Bench {
    bench_of(DISPLAY, targets)
}

fn bench_of(display: &str, targets: &[Target]) -> Bench {
    let definition = Definition::from_toml(display, "plot.toml", Path::new(""));
    let definition = definition.unwrap_or_else(|e| panic!("{e}"));
    let (inputs, table) = (inputs(), table(targets));
    let recording = Recording::from_readers_as(
        inputs.as_bytes(),
        "inputs.csv",
        &[("traffic", table.as_bytes())],
        &definition,
        MissingColumns::Refuse,
        definition.recording_form(),
    );
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

/// What is found when the display shows `targets` from the onset on.
fn shown(targets: &[Target]) -> Checked {
    shown_of([bench(&TARGETS), bench(targets)])
}

/// What is found when a display shows what is due, and from the onset on what the other shows.
fn shown_of([due, other]: [Bench; 2]) -> Checked {
    let onset = ONSET_S * RATE_HZ as usize;
    let right = due.frames(None);
    let wrong = other.frames(None);
    let frames: Vec<Picture> = right
        .into_iter()
        .take(onset)
        .chain(wrong.into_iter().skip(onset))
        .collect();
    due.check(&frames)
}

fn only(checked: &Checked) -> &Event {
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.class, Verdict::Misleading, "{}", checked.told());
    assert!(
        (event.onset_s - ONSET_S as f64).abs() < 0.1,
        "{}",
        checked.told()
    );
    event
}

#[test]
fn a_plot_that_shows_its_traffic_agrees() {
    let checked = shown(&TARGETS);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let frame = &checked.frames[60].regions["plot"];
    // Bearing, distance and height of three targets, and the scale.
    assert_eq!(frame.readings.len(), 10, "{:?}", frame.readings);
    let of = |channel: &str| {
        let reading = frame.readings.iter().find(|r| r.channel == channel);
        reading.unwrap().thing.as_deref()
    };
    assert_eq!(of("traffic_2_bearing"), Some("L"));
    assert_eq!(of("scale"), None);
}

#[test]
fn a_target_that_is_missing_is_named() {
    let [k, _, m] = TARGETS;
    // Far away it is not shown.
    let checked = shown(&[k, ("L", [250.0, 19.0, -300.0], [0.0; 3]), m]);
    let event = only(&checked);
    assert_eq!(event.symbol.as_deref(), Some("target 2 (symbol[2])"));
    assert_eq!(
        event.things_in_words().as_deref(),
        Some("L (slot 2 of traffic)")
    );
    assert!(event.picture_error.missing_px > event.picture_error.foreign_px);
}

#[test]
fn a_target_that_is_not_due_is_named_after_the_free_slot() {
    let [k, l, m] = TARGETS;
    let checked = shown(&[k, l, m, ("G", [80.0, 4.5, 200.0], [0.0; 3])]);
    let event = only(&checked);
    assert_eq!(event.symbol.as_deref(), Some("target 4 (symbol[4])"));
    // Nothing has that slot.
    assert!(event.things.is_empty(), "{:?}", event.things);
    assert!(event.picture_error.foreign_px > event.picture_error.missing_px);
}

#[test]
fn a_target_in_the_wrong_place_is_named_with_its_error() {
    let [k, l, m] = TARGETS;
    let (_, [bearing, distance, height], rate) = m;
    for (at, channel, unit, off) in [
        (
            [bearing, distance + 0.6, height],
            "traffic_3_distance",
            "NM",
            0.6,
        ),
        (
            [bearing + 12.0, distance, height],
            "traffic_3_bearing",
            "deg",
            12.0,
        ),
        // On the other side.
        (
            [360.0 - bearing, distance, height],
            "traffic_3_bearing",
            "deg",
            76.0,
        ),
    ] {
        let rate = if off == 76.0 { [-1.0, 0.1, 0.0] } else { rate };
        let checked = shown(&[k, l, ("M", at, rate)]);
        let event = only(&checked);
        assert_eq!(event.symbol.as_deref(), Some("target 3 (symbol[3])"));
        let worst = event.worst_error.as_ref();
        let worst =
            worst.unwrap_or_else(|| panic!("{channel}: nothing was read\n{}", checked.told()));
        assert_eq!((&*worst.channel, &*worst.unit), (channel, unit));
        let [thing] = &event.things[..] else {
            panic!("one target: {:?}", event.things)
        };
        assert_eq!((&*thing.id, &*thing.table, thing.slot), ("M", "traffic", 3));
        let found = (worst.displayed - worst.expected).abs();
        assert!(
            (found - off).abs() < 0.05 * off.max(1.0),
            "{channel}: {worst:?}"
        );
    }
}

const SUITE: &str = r#"
[suite]
name = "traffic"

[[run]]
id = "plot"
display = "plot.toml"
inputs = "scale.csv"
tables = { traffic = "traffic.csv" }
capture = "plot.y4m"
matrix = "bt709"
offset_s = 0.0
"#;

const CAMPAIGN: &str = r#"
[plan]
name = "traffic"
display = "plot.toml"
seed = 3
lead_s = 0.5
stretch_s = 1.2

[[capture]]
file = "plot.y4m"
inputs = "scale.csv"
tables = { traffic = "traffic.csv" }
profile = "profile.json"

[[fault]]
kind = "blank"
duration_s = 0.6
repeats = 1
"#;

/// Before (6b86558) nothing was read of a target at the rim, and a bearing within its tolerance was raised.
#[test]
fn the_bearing_of_a_target_at_the_rim_is_read() {
    let display = DISPLAY.replace("size = 14\nheight", "size = 14\nbeyond = \"rim\"\nheight");
    let [k, l, _] = TARGETS;
    let far = |bearing: f64| [k, l, ("M", [140.0 + bearing, 9.0, 1500.0], [1.0, 0.1, 0.0])];
    let shown = |off: f64| shown_of([0.0, off].map(|off| bench_of(&display, &far(off))));
    for within in [0.0, 2.0, -2.0] {
        let checked = shown(within);
        assert!(checked.outcome.events.is_empty(), "{}", checked.told());
        let readings = &checked.frames[90].regions["plot"].readings;
        let of = |channel: &str| readings.iter().find(|r| r.channel == channel);
        let bearing = of("traffic_3_bearing").expect("it is read");
        let error = bearing.error;
        assert!((error - within).abs() < 0.1, "{bearing:?}");
        assert!(of("traffic_3_distance").is_none(), "{readings:?}");
    }
    let checked = shown(12.0);
    let worst = only(&checked).worst_error.as_ref().expect("it is read");
    assert_eq!(worst.channel, "traffic_3_bearing");
}

/// Before (639a65b) a target off by half its tolerance was raised where that took it over the end of the scale, at which it looks
/// otherwise.
#[test]
fn a_target_may_be_off_over_the_end_of_the_scale() {
    let display = DISPLAY.replace("size = 14\nheight", "size = 14\nbeyond = \"rim\"\nheight");
    let [k, l, _] = TARGETS;
    let at = |distance: f64| [k, l, ("M", [140.0, distance, 1500.0], [1.0, 0.0, 0.0])];
    let shown = |due: f64, other: f64| shown_of([due, other].map(|d| bench_of(&display, &at(d))));
    // All that are beyond the scale look the same.
    for (due, within) in [(5.95, 6.05), (6.05, 5.95), (5.95, 7.0)] {
        let checked = shown(due, within);
        assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    }
    for (due, other) in [(5.5, 6.5), (6.05, 5.2)] {
        assert_eq!(only(&shown(due, other)).class, Verdict::Misleading);
    }
}

#[test]
fn a_table_goes_wherever_the_recording_goes() {
    let files = Files::new();
    files.write("plot.toml", DISPLAY.as_bytes());
    files.write("scale.csv", inputs().as_bytes());
    files.write("traffic.csv", table(&TARGETS).as_bytes());
    let frames = bench(&TARGETS).frames(None);
    files.write("plot.y4m", &y4m(&frames[..2 * RATE_HZ as usize]));
    files.write("suite.toml", SUITE.as_bytes());
    files.write("campaign.toml", CAMPAIGN.as_bytes());
    let inputs = ["--display", "plot.toml", "--inputs", "scale.csv"];
    let capture = [
        "--capture",
        "plot.y4m",
        "--matrix",
        "bt709",
        "--offset",
        "0",
    ];
    let traffic = ["--table", "traffic=traffic.csv"];
    let with_table = |command, out| {
        let parts: [&[&str]; 5] = [&[command], &inputs, &traffic, &capture, &["--out", out]];
        files.run(&parts.concat())
    };
    let without = files.run(&[&["check"], &inputs[..], &capture, &["--out", "none"]].concat());
    assert_eq!(without.status, 2, "{}", without.stdout);
    assert!(
        without.stderr.contains("--table traffic="),
        "{}",
        without.stderr
    );
    for (words, made) in [
        ("checked", with_table("check", "checked")),
        ("run again", files.run(&["verify", "checked", "--again"])),
        ("calibrated", with_table("calibrate", "profile.json")),
        (
            "suite",
            files.run(&["suite", "--plan", "suite.toml", "--out", "suite"]),
        ),
        (
            "campaign",
            files.run(&["campaign", "--plan", "campaign.toml", "--out", "tried"]),
        ),
    ] {
        assert_eq!(made.status, 0, "{words}: {}{}", made.stdout, made.stderr);
    }
    // Another table is another input.
    let moved = table(&TARGETS).replace("K,30,", "K,31,");
    files.write("traffic.csv", moved.as_bytes());
    let changed = files.run(&["verify", "checked"]);
    assert_eq!(changed.status, 1, "{}{}", changed.stdout, changed.stderr);
    assert!(changed.stdout.contains("traffic.csv"), "{}", changed.stdout);
}
