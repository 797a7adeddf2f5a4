//! A display with another palette by night: each is judged while it is due, and one that stays by day is named.

use std::path::Path;

use framevouch::definition::Definition;
use framevouch::demo;
use framevouch::judge::verdict::Verdict;
use framevouch::recording::{MissingColumns, Recording};

use crate::bench::{Bench, RATE_HZ, inputs_until};

const LENGTH_S: f64 = 3.6;
/// It gets dark here, s.
const DARK_S: f64 = 2.0;

/// The engine strip's colours by night: what is not named is dimmed.
const PALETTES: &str = r##"
[channels.light]
column = "light"
range = [0, 100]
interpolation = "hold"

[[palette]]
id = "night"
when = [{ channel = "light", below = 20 }]
dim = 0.45

[[palette]]
id = "day"
"##;

/// The strip, and how light it is around it.
fn bench(light: impl Fn(f64) -> u8) -> Bench {
    let mut bench = Bench::engine_strip(LENGTH_S);
    let text = format!("{}{PALETTES}", demo::ENGINE_STRIP);
    let definition = Definition::from_toml(&text, "strip.toml", Path::new(""));
    bench.definition = definition.unwrap_or_else(|e| panic!("{e}"));
    let mut csv = String::new();
    for (k, line) in inputs_until(LENGTH_S).lines().enumerate() {
        let time_s: f64 = line.split(',').next().unwrap_or("").parse().unwrap_or(-1.0);
        let cell = if k == 0 {
            "light".into()
        } else {
            light(time_s).to_string()
        };
        csv += &format!("{line},{cell}\n");
    }
    let refuse = MissingColumns::Refuse;
    let recording = Recording::from_reader(csv.as_bytes(), "inputs.csv", &bench.definition, refuse);
    bench.recording = recording.unwrap_or_else(|e| panic!("{e}"));
    bench
}

fn dusk(time_s: f64) -> u8 {
    if time_s < DARK_S { 80 } else { 5 }
}

#[test]
fn each_palette_is_judged_while_it_is_due() {
    let bench = bench(dusk);
    let checked = bench.check(&bench.frames(None));
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let verdict = |region: &str, time_s: f64| {
        let frame = (time_s * f64::from(RATE_HZ)) as usize;
        checked.frames[frame].regions[region].verdict
    };
    for (region, by_day, by_night) in [("torque", true, false), ("torque.night", false, true)] {
        for (time_s, is_due) in [(1.5, by_day), (3.0, by_night)] {
            let agrees = matches!(verdict(region, time_s), Verdict::Agrees | Verdict::Blind);
            assert_eq!(
                agrees,
                is_due,
                "{region} at {time_s} s: {:?}",
                verdict(region, time_s)
            );
        }
    }
}

#[test]
fn a_display_that_stays_by_day_is_misleading_and_named() {
    let due = bench(dusk);
    let stays = bench(|_| 80);
    let checked = due.check(&stays.frames(None));
    let events = &checked.outcome.events;
    assert!(!events.is_empty(), "nothing was found");
    for event in events {
        assert_eq!(event.class, Verdict::Misleading, "{}", checked.told());
        assert_eq!(
            event.remarks,
            ["shows the page \"day\""],
            "{}",
            checked.told()
        );
        assert!(
            (event.onset_s - DARK_S - 0.15).abs() < 0.15,
            "{}",
            checked.told()
        );
    }
}
