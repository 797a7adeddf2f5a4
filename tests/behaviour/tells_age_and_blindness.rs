//! How old the data shown are, and whether a freeze would have been seen.

use framevouch::demo;
use framevouch::demo::faults::Kind;
use framevouch::judge::verdict::Verdict;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, Checked, inputs_until};

const LENGTH_S: f64 = 4.4;
/// Usual age of the data that the unit shows, ms.
const USUAL_MS: f64 = 40.0;

/// Staleness of a region and its standard error in the frames of a stretch of time, ms.
fn staleness(checked: &Checked, region: &str, [from_s, to_s]: [f64; 2]) -> Vec<(f64, f64)> {
    let frames = checked.frames.iter();
    frames
        .filter(|f| (from_s..to_s).contains(&f.time_s))
        .filter_map(|f| {
            let r = &f.regions[region];
            Some((r.staleness_ms?, r.staleness_se_ms?))
        })
        .collect()
}

#[test]
fn staleness_is_the_age_of_the_data_within_its_standard_error() {
    let bench = Bench::of(demo::DISPLAY, LENGTH_S);
    let late_ms = 80.0;
    let span_s = [2.4, 4.0];
    let kind = Kind::Late(late_ms / 1000.0);
    let checked = bench.check(&bench.frames(Some((kind, span_s[0], span_s[1]))));
    assert_eq!(checked.outcome.exit_status(), 0, "{}", checked.told());
    // Age is measured over the motion of the last 15 frames.
    for (what, stretch_s, due_ms) in [
        ("as usual", [1.0, 2.4], USUAL_MS),
        ("late", [3.0, 4.0], USUAL_MS + late_ms),
    ] {
        let told = staleness(&checked, "attitude", stretch_s);
        assert!(told.len() > 20, "{what}: {told:?}");
        let mut ages: Vec<f64> = told.iter().map(|(age_ms, _)| *age_ms).collect();
        ages.sort_by(f64::total_cmp);
        let median_ms = ages[ages.len() / 2];
        assert!(
            (median_ms - due_ms).abs() < 15.0,
            "{what}: {median_ms} ms, due {due_ms}"
        );
        let is_covered = |(age_ms, se_ms): &&(f64, f64)| (age_ms - due_ms).abs() < 3.0 * se_ms;
        let covered = told.iter().filter(is_covered).count();
        assert!(covered * 10 >= told.len() * 9, "{what}: {told:?}");
        assert!(told.iter().all(|(_, se_ms)| *se_ms < 60.0), "{told:?}");
    }
}

#[test]
fn where_nothing_moves_a_freeze_would_not_be_seen_and_that_time_is_counted() {
    let mut bench = Bench::engine_strip(LENGTH_S);
    let moving = bench.check(&bench.frames(None));
    let csv = inputs_until(LENGTH_S);
    let mut lines = csv.lines();
    let header = lines.next().expect("the scenario has a header");
    let first = lines.clone().next().expect("the scenario has rows");
    let (_, values) = first.split_once(',').expect("rows have cells");
    let still: String = lines
        .filter_map(|l| Some(format!("{},{values}\n", l.split_once(',')?.0)))
        .collect();
    bench.recording = Recording::from_reader(
        format!("{header}\n{still}").as_bytes(),
        "inputs.csv",
        &bench.definition,
        MissingColumns::Refuse,
    )
    .expect("only cells were changed");
    let checked = bench.check(&bench.frames(None));
    // Blind counts as agreeing.
    assert_eq!(checked.outcome.exit_status(), 0, "{}", checked.told());
    let late = checked.frames.iter().filter(|f| f.time_s > 1.5);
    for frame in late {
        let verdict = frame.regions["torque"].verdict;
        assert_eq!(verdict, Verdict::Blind, "at {} s", frame.time_s);
        assert_eq!(frame.verdict, Verdict::Blind, "at {} s", frame.time_s);
    }
    let blind_s = |c: &Checked| c.outcome.summary.blind_s["torque"];
    assert!(
        blind_s(&checked) > LENGTH_S - 1.5,
        "{} s",
        blind_s(&checked)
    );
    assert!(blind_s(&moving) < LENGTH_S / 2.0, "{} s", blind_s(&moving));
}

/// Digits alone: nothing there is read between two values.
const DIGITS: &str = r##"
[display]
name = "Digits"
width = 320
height = 96
background = "ink"
max_latency_ms = 150

[fonts]
digits = { builtin = "B612 Mono Bold" }

[colors]
ink = "#0a0e13"
white = "#f2f4f5"

[channels.altitude]
column = "altitude_ft"
unit = "ft"
range = [0.0, 20000.0]

[[region]]
id = "altitude"
rect = [0, 0, 320, 96]
hazard = "hazardous"
confirm_ms = 300
recover_ms = 500

[[region.symbol]]
kind = "readout"
channel = "altitude"
position = [160, 48]
font = "digits"
size = 40
color = "white"
"##;

#[test]
fn digits_that_change_in_every_frame_are_found_late_however_late_they_are() {
    let mut bench = Bench::of(DIGITS, LENGTH_S);
    let rows = (0..=220).map(|k| format!("{},{}\n", f64::from(k) / 50.0, 4000 + 2 * k));
    let csv: String = std::iter::once("t_s,altitude_ft\n".to_owned())
        .chain(rows)
        .collect();
    bench.recording = Recording::from_reader(
        csv.as_bytes(),
        "inputs.csv",
        &bench.definition,
        MissingColumns::Refuse,
    )
    .expect("a climb");
    let late_s = 0.8;
    let checked = bench.check(&bench.frames(Some((Kind::Late(late_s), 2.0, 4.0))));
    let told = checked.told();
    let events = &checked.outcome.events;
    assert_eq!(events.len(), 1, "{told}");
    assert_eq!(events[0].class, Verdict::Late, "{told}");
    let ages = staleness(&checked, "altitude", [3.0, 4.0]);
    for (age_ms, _) in &ages {
        assert!((age_ms - USUAL_MS - 1e3 * late_s).abs() < 41.0, "{ages:?}");
    }
    assert!(ages.len() > 20, "{ages:?}");
}
