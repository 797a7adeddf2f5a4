//! An alert board: full lists, new and acknowledged alerts, and the one alert that a wrong list does not show as it is.

use std::path::Path;

use framevouch::definition::Definition;
use framevouch::definition::model::Hazard;
use framevouch::demo::unit::Plan;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, Checked, RATE_HZ, table};

const DISPLAY: &str = r##"
[display]
name = "alert board"
width = 240
height = 120
background = "ink"
max_latency_ms = 150

[fonts]
mono = { builtin = "B612 Mono Bold" }

[colors]
ink = "#0b0f14"
white = "#f2f4f5"
red = "#ff4438"
amber = "#ffb31a"
cyan = "#5cd6ff"

[channels]
fire = { column = "fire", interpolation = "hold", range = [0, 1] }
oil = { column = "oil", interpolation = "hold", range = [0, 1] }
fuel = { column = "fuel", interpolation = "hold", range = [0, 1] }
door = { column = "door", interpolation = "hold", range = [0, 1] }
pressed = { column = "pressed", interpolation = "hold", range = [0, 1] }

[[region]]
id = "board"
rect = [0, 0, 240, 120]
hazard = "minor"
requirements = ["AB-1"]

[[region.symbol]]
kind = "alerts"
position = [16, 24]
line_height = 30
slots = 2
font = "mono"
size = 18
colors = { warning = "red", caution = "amber", advisory = "cyan" }
ground = { size = [120, 26], inset = 6 }
unacknowledged = { until = [{ channel = "pressed", equals = 1 }], look = { reverse = "ink" } }
more = { position = [180, 24], color = "white" }
advice_position = [16, 98]
hazards = { warning = "catastrophic", caution = "major", advisory = "minor" }
alert = [
  { text = "FIRE", class = "warning", when = [{ channel = "fire", equals = 1 }], advice = "LAND NOW" },
  { text = "OIL HOT", class = "caution", when = [{ channel = "oil", equals = 1 }], advice = "LOWER POWER" },
  { text = "FUEL LOW", class = "caution", when = [{ channel = "fuel", equals = 1 }], advice = "PLAN TO LAND" },
  { text = "DOOR", class = "advisory", when = [{ channel = "door", equals = 1 }] },
]
"##;

const LENGTH_S: f64 = 3.6;
/// From here on the display is wrong, s.
const ONSET_S: f64 = 2.0;

/// The display with what is told of each row: fire, oil, fuel, door, and whether the crew presses the button.
fn bench(told: impl Fn(f64) -> [u8; 5]) -> Bench {
    let definition = Definition::from_toml(DISPLAY, "board.toml", Path::new(""));
    let definition = definition.unwrap_or_else(|e| panic!("{e}"));
    let mut csv = String::from("t_s,fire,oil,fuel,door,pressed\n");
    for k in 0..=(LENGTH_S * 20.0) as usize {
        let time_s = k as f64 / 20.0;
        let [fire, oil, fuel, door, pressed] = told(time_s);
        csv += &format!("{time_s},{fire},{oil},{fuel},{door},{pressed}\n");
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

/// Oil from the beginning, fuel from 0.5 s, fire and door from 1 s; the crew acknowledges at 1.5 s.
fn due(time_s: f64) -> [u8; 5] {
    let from = |begin_s: f64| u8::from(time_s >= begin_s - 1e-9);
    let pressed = u8::from((1.5..1.7).contains(&time_s));
    [from(1.0), 1, from(0.5), from(1.0), pressed]
}

/// What is found when the display is told something else from the onset on.
fn shown(told: impl Fn(f64) -> [u8; 5]) -> Checked {
    shown_for(due, told)
}

fn shown_for(due: impl Fn(f64) -> [u8; 5], told: impl Fn(f64) -> [u8; 5]) -> Checked {
    let bench_due = bench(due);
    let onset = (ONSET_S * f64::from(RATE_HZ)) as usize;
    let right = bench_due.frames(None).into_iter().take(onset);
    let wrong = bench(told).frames(None).into_iter().skip(onset);
    let frames: Vec<Picture> = right.chain(wrong).collect();
    bench_due.check(&frames)
}

#[test]
fn a_board_that_shows_what_is_due_agrees_and_says_what_was_exercised() {
    let checked = shown(due);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let alerts = &checked.outcome.summary.alerts;
    let told: Vec<(&str, bool, bool)> = alerts
        .iter()
        .map(|a| {
            (
                &*a.alert,
                a.new_frames > Some(0),
                a.acknowledged_frames > Some(0),
            )
        })
        .collect();
    let all = |name| (name, true, true);
    assert_eq!(told, ["FIRE", "OIL HOT", "FUEL LOW", "DOOR"].map(all));
    // Fire is due from frame 26 on (1 s, and a frame of latency), and new until 1.5 s.
    assert!(alerts[0].active_frames.abs_diff(65) <= 2, "{:?}", alerts[0]);
    assert!(
        alerts[0].new_frames.is_some_and(|n| n.abs_diff(12) <= 2),
        "{:?}",
        alerts[0]
    );
}

#[test]
fn what_never_comes_has_not_been_exercised() {
    let quiet = bench(|_| [0, 1, 0, 0, 0]);
    let checked = quiet.check(&quiet.frames(None));
    let alerts = checked.outcome.summary.alerts.iter();
    let never: Vec<&str> = alerts
        .filter(|a| a.active_frames == 0)
        .map(|a| &*a.alert)
        .collect();
    assert_eq!(never, ["FIRE", "FUEL LOW", "DOOR"]);
}

#[test]
fn an_alert_that_is_not_shown_as_it_is_is_named_with_its_hazard() {
    for (told, remark, hazard) in [
        // The red one is dropped, and an amber one has its slot.
        (
            (|t| [0, due(t)[1], due(t)[2], due(t)[3], due(t)[4]]) as fn(f64) -> [u8; 5],
            "the warning \"FIRE\" is active and not shown",
            Hazard::Catastrophic,
        ),
        // The second of two cautions: the number of those left over tells.
        (
            |t| [due(t)[0], due(t)[1], 0, due(t)[3], due(t)[4]],
            "the caution \"FUEL LOW\" is active and not shown",
            Hazard::Major,
        ),
    ] {
        let checked = shown(told);
        let [event] = &checked.outcome.events[..] else {
            panic!("one event was due\n{}", checked.told());
        };
        assert_eq!(event.class, Verdict::Misleading, "{}", checked.told());
        assert_eq!(
            (&event.remarks[..], event.hazard),
            (&[remark.to_owned()][..], hazard)
        );
        assert!((event.onset_s - ONSET_S).abs() < 0.1, "{}", checked.told());
    }
}

#[test]
fn an_alert_that_is_not_due_or_in_another_state_is_named() {
    let fire = |t: f64, pressed: u8| [u8::from(t >= 1.0), 1, 0, 0, pressed];
    let pressing = |t: f64| u8::from((1.5..1.7).contains(&t));
    type Told = Box<dyn Fn(f64) -> [u8; 5]>;
    let cases: [(Told, Told, &str); 3] = [
        (
            Box::new(|_| [0, 1, 0, 0, 0]),
            Box::new(|_| [0, 1, 0, 1, 0]),
            "the advisory \"DOOR\" is shown and not active",
        ),
        (
            Box::new(move |t| fire(t, 0)),
            Box::new(move |t| fire(t, pressing(t))),
            "the warning \"FIRE\" is shown as acknowledged, and is not",
        ),
        (
            Box::new(move |t| fire(t, pressing(t))),
            Box::new(move |t| fire(t, 0)),
            "the warning \"FIRE\" is shown as new, and has been acknowledged",
        ),
    ];
    for (due, told, remark) in cases {
        let checked = shown_for(due, told);
        let [event] = &checked.outcome.events[..] else {
            panic!("{remark}: one event was due\n{}", checked.told());
        };
        assert_eq!(event.class, Verdict::Misleading, "{}", checked.told());
        assert!(
            event.remarks.contains(&remark.to_owned()),
            "{remark}: {}",
            checked.told()
        );
    }
}

#[test]
fn an_alert_that_comes_and_is_not_shown_is_misleading() {
    // Nothing but the oil was ever shown: what stands there is an earlier picture all along.
    let quiet = |t: f64| [0, 1, 0, 0, due(t)[4]];
    let bench_due = bench(due);
    let checked = bench_due.check(&bench(quiet).frames(None));
    assert!(!checked.outcome.events.is_empty(), "nothing was found");
}

const DIAL: &str = r##"
[[region]]
id = "speed"
rect = [0, 120, 240, 100]
hazard = "minor"
tolerance = { speed = 3.0 }
[[region.symbol]]
kind = "dial"
center = [120, 170]
radius = 44
breakpoints = [[0, -130], [150, 130]]
ticks = { major_step = 30, major_length = 8, color = "white" }
pointers = [{ channel = "speed", tip_radius = 40, tail_radius = -6, width = 5, color = "white" }]
failure = { rect = [70, 126, 100, 88], text = "SPD", font = "mono", size = 18, color = "amber", background = "ink", cross = true }
"##;

/// Before (e1dafea) the list was called frozen: it looks as before the alert came.
#[test]
fn an_alert_that_is_dropped_as_soon_as_it_comes_is_missing() {
    let display = DISPLAY.replace("height = 120", "height = 220").replace(
        "[[region]]",
        "[channels.speed]\ncolumn = \"speed\"\nunit = \"kt\"\n[[region]]",
    ) + DIAL;
    let columns = ["fire", "oil", "fuel", "door", "pressed", "speed"];
    let of_fire = |fire: fn(f64) -> f64| {
        let csv = table(columns, LENGTH_S, |t| {
            let speed = 75.0 + 30.0 * (3.0 * t).sin();
            [fire(t), 1.0, 0.0, 0.0, 0.0, speed]
        });
        Bench::small(&display, &csv)
    };
    let due = of_fire(|t| f64::from(u8::from(t >= 1.5)));
    let checked = due.check(&of_fire(|_| 0.0).frames(None));
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.class, Verdict::Misleading, "{}", checked.told());
    assert_eq!(event.hazard, Hazard::Catastrophic, "{}", checked.told());
    let remark = "the warning \"FIRE\" is active and not shown".to_owned();
    assert!(event.remarks.contains(&remark), "{}", checked.told());
}
