//! A value on the picture whose data are invalid misleads, however plausible it is.

use framevouch::demo;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, Checked, inputs_until};

const LENGTH_S: f64 = 4.0;
/// Data are invalid from here on, s.
const ONSET_S: f64 = 2.4;
/// No channel of the demo has it in its range.
const OUT_OF_RANGE: &str = "1000000";

/// A column of the recording, and the region of the demo that shows its channel alone or with others.
type Shown = (&'static str, &'static str);

/// Columns that become invalid together, no two of a region: most of the display is right.
const TOGETHER: [&[Shown]; 3] = [
    &[
        ("pitch_deg", "attitude"),
        ("altitude_ft", "altitude"),
        ("rotor_speed_pct", "rotor"),
    ],
    &[("roll_deg", "attitude"), ("collective_pct", "collective")],
    &[
        ("heading_true_deg", "heading"),
        ("airspeed_kt", "airspeed"),
        ("radio_altitude_ft", "radio_altitude"),
    ],
];

/// The demo's scenario with a cell in each of some columns for the seconds from `from_s` to before `to_s`.
fn scenario_with(bench: &Bench, cells: &[(&str, &str)], [from_s, to_s]: [f64; 2]) -> Recording {
    let csv = inputs_until(LENGTH_S);
    let header = csv.lines().next().expect("the scenario has a header");
    let place = |column: &str| {
        let place = header.split(',').position(|c| c == column);
        place.expect("the scenario has the column")
    };
    let row = |line: &str| -> String {
        let mut row: Vec<&str> = line.split(',').collect();
        let time_s: f64 = row[0].parse().unwrap_or(-1.0);
        if (from_s..to_s).contains(&time_s) {
            for (column, cell) in cells {
                row[place(column)] = cell;
            }
        }
        row.join(",") + "\n"
    };
    let changed: String = csv.lines().map(row).collect();
    Recording::from_reader(
        changed.as_bytes(),
        "inputs.csv",
        &bench.definition,
        MissingColumns::Refuse,
    )
    .expect("only cells were changed")
}

fn demo_display() -> Bench {
    Bench::of(demo::DISPLAY, LENGTH_S)
}

/// Columns with data that are invalid.
fn invalid<'c>(columns: &[(&'c str, &str)]) -> Vec<(&'c str, &'c str)> {
    columns.iter().map(|(c, _)| (*c, OUT_OF_RANGE)).collect()
}

/// `frames` checked when the columns' data are invalid for these seconds.
fn checked_when_invalid(frames: &[Picture], columns: &[Shown], span_s: [f64; 2]) -> Checked {
    let mut bench = demo_display();
    bench.recording = scenario_with(&bench, &invalid(columns), span_s);
    bench.check(frames)
}

fn mislead(checked: &Checked, columns: &[Shown]) {
    let told = checked.told();
    let events = &checked.outcome.events;
    for (column, region) in columns {
        let found = events
            .iter()
            .find(|e| e.regions.iter().any(|r| r == region))
            .unwrap_or_else(|| panic!("{column}: nothing was raised in {region}\n{told}"));
        assert_eq!(found.class, Verdict::Misleading, "{column}\n{told}");
        // A display may be late by 150 ms, and the region confirms within 300 ms.
        assert!(
            (ONSET_S..ONSET_S + 0.25).contains(&found.onset_s) && found.detected_s < ONSET_S + 0.6,
            "{column}\n{told}"
        );
        assert!(found.end_s > LENGTH_S - 0.1, "{column}: it lasts\n{told}");
    }
    // Alerts have conditions on some of the channels.
    let is_expected = |r: &String| r == "alerts" || columns.iter().any(|(_, region)| r == region);
    let mut raised = events.iter().flat_map(|e| &e.regions);
    assert!(raised.all(is_expected), "{told}");
    assert_eq!(checked.outcome.exit_status(), 1);
}

#[test]
fn a_value_that_moves_on_is_found() {
    let frames = demo_display().frames(None);
    for columns in TOGETHER {
        let checked = checked_when_invalid(&frames, columns, [ONSET_S, LENGTH_S + 1.0]);
        mislead(&checked, columns);
    }
}

#[test]
fn a_value_that_stands_is_found() {
    let mut unit = demo_display();
    let cells = [
        ("pitch_deg", "3.0"),
        ("altitude_ft", "4680"),
        ("collective_pct", "52"),
    ];
    let columns = [
        ("pitch_deg", "attitude"),
        ("altitude_ft", "altitude"),
        ("collective_pct", "collective"),
    ];
    unit.recording = scenario_with(&unit, &cells, [ONSET_S, LENGTH_S + 1.0]);
    let frames = unit.frames(None);
    let checked = checked_when_invalid(&frames, &columns, [ONSET_S, LENGTH_S + 1.0]);
    mislead(&checked, &columns);
}

#[test]
fn a_flag_in_its_place_raises_nothing_nor_do_data_that_are_invalid_for_less_than_the_latency() {
    let frames = demo_display().frames(None);
    let columns = TOGETHER[2];
    let mut unit = demo_display();
    unit.recording = scenario_with(&unit, &invalid(columns), [ONSET_S, LENGTH_S + 1.0]);
    let flagged = unit.check(&unit.frames(None));
    assert_eq!(flagged.outcome.exit_status(), 0, "{}", flagged.told());
    let brief = checked_when_invalid(&frames, columns, [ONSET_S, ONSET_S + 0.1]);
    assert_eq!(brief.outcome.exit_status(), 0, "{}", brief.told());
}
