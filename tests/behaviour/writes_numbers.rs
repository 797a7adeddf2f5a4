//! Readouts whose unit, dashes or colour follow from several channels.

use framevouch::judge::verdict::Verdict;

use crate::bench::{Bench, Checked, small_head, table};

const SECONDS: f64 = 4.8;
const ONSET_S: f64 = 2.6;

/// What is found in region `r` by a check of what another definition or recording shows.
fn checked(due: (&str, &str), shown: (&str, &str)) -> Checked {
    let bench = Bench::small(due.0, due.1);
    bench.check(&Bench::small(shown.0, shown.1).frames(None))
}

fn agrees(checked: &Checked) {
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
}

fn misleads_from(checked: &Checked, onset_s: f64) {
    let told = checked.told();
    let events = &checked.outcome.events;
    assert_eq!(events.len(), 1, "{told}");
    assert_eq!(events[0].class, Verdict::Misleading, "{told}");
    assert!((events[0].onset_s - onset_s).abs() < 0.25, "{told}");
}

/// 0.8 kg for a litre (usual for jet fuel; from memory).
fn fuel() -> String {
    small_head(
        r#"fuel = { column = "fuel", unit = "kg", range = [0, 600] }
unit = { column = "unit", range = [0, 2], interpolation = "hold" }
volume = { expression = "fuel / 0.8", unit = "L" }
share = { expression = "100.0 * fuel / 600.0", unit = "%" }"#,
        "fuel = 1, volume = 1, share = 1",
    ) + r#"
kind = "parts"
part = [
  { shape = { frame = { rect = [10, 50, 140, 60], width = 3 } }, fill = "white" },
  { choose = true, part = [
    { when = [{ channel = "unit", equals = 0 }], shape = { readout = { channel = "fuel", position = [140, 80], align = "right", font = "mono", size = 22, color = "white", format = { suffix = " KG" } } } },
    { when = [{ channel = "unit", equals = 1 }], shape = { readout = { channel = "volume", position = [140, 80], align = "right", font = "mono", size = 22, color = "white", format = { suffix = " L" } } } },
    { when = [{ channel = "unit", equals = 2 }], shape = { readout = { channel = "share", position = [140, 80], align = "right", font = "mono", size = 22, color = "white", format = { decimals = 1, suffix = "%" } } } },
  ] },
]
"#
}

#[test]
fn a_unit_that_a_channel_chooses_is_followed() {
    let display = fuel();
    let of = |unit: &dyn Fn(f64) -> f64| {
        table(["fuel", "unit"], SECONDS, |t| [400.0 - 6.0 * t, unit(t)])
    };
    let due = of(&|t| (t / 1.7).floor());
    let good = checked((&display, &due), (&display, &due));
    agrees(&good);
    // 390 kg are 487.5 l and 65 %.
    let at = |time_s: f64, channel: &str| {
        let frames = good.frames.iter().filter(|f| f.time_s >= time_s);
        let mut read = frames.flat_map(|f| &f.regions["r"].readings);
        let read = read.find(|r| r.channel == channel).unwrap();
        (read.displayed - read.expected).abs() < 1e-9
    };
    assert!(at(0.4, "fuel") && at(2.0, "volume") && at(4.0, "share"));
    // Mass where volume is chosen, with its own unit beside it: a right value that nobody asked for.
    let kept = of(&|t| {
        if t < 1.7 {
            0.0
        } else {
            (t / 1.7).floor().min(1.0)
        }
    });
    misleads_from(&checked((&display, &due), (&display, &kept)), 3.44);
    // The number of kilograms under the unit of litres.
    let muddled = display.replace("fuel / 0.8", "fuel / 1.0");
    misleads_from(&checked((&display, &due), (&muddled, &due)), 1.74);
}

fn endurance() -> String {
    small_head(
        r#"fuel = { column = "fuel", unit = "kg", range = [0, 600] }
flow = { column = "flow", unit = "kg/h", range = [0, 400] }
ground_speed = { column = "ground_speed", unit = "kt", range = [0, 250] }
endurance = { expression = "60.0 * fuel / flow", unit = "min" }
reach = { expression = "ground_speed * fuel / flow", unit = "NM" }"#,
        "endurance = 2, reach = 2",
    ) + r#"
kind = "readout"
channel = "endurance"
position = [140, 50]
align = "right"
font = "mono"
size = 22
color = "white"
format = { suffix = " MIN" }
invalid_text = "--- MIN"
[[region.symbol]]
kind = "readout"
channel = "reach"
position = [140, 110]
align = "right"
font = "mono"
size = 22
color = "white"
format = { suffix = " NM" }
invalid_text = "--- NM"
"#
}

/// 210 kg at 120 kg/h last for 105 min, 175 NM at 100 kt.
#[test]
fn endurance_and_range_are_dashes_while_nothing_flows() {
    let display = endurance();
    let of = |flow: &dyn Fn(f64) -> f64| {
        table(["fuel", "flow", "ground_speed"], SECONDS, |t| {
            [210.0 - 2.0 * t, flow(t), 100.0]
        })
    };
    let due = of(&|t| if t < ONSET_S { 120.0 } else { 0.0 });
    let good = checked((&display, &due), (&display, &due));
    agrees(&good);
    let first = &good.frames[0].regions["r"].readings;
    let shown: Vec<f64> = first.iter().map(|r| r.displayed).collect();
    assert_eq!(shown, [105.0, 175.0]);
    let last = good.frames.last().unwrap();
    assert!(
        last.regions["r"].readings.is_empty(),
        "dashes are no number"
    );
    // A flow that the unit does not see end.
    let kept = of(&|_| 120.0);
    misleads_from(&checked((&display, &due), (&display, &kept)), ONSET_S);
}

/// Red only when a fast descent and a low airspeed have lasted half a second together.
fn descent(rule: &str) -> String {
    small_head(
        r#"descent = { column = "descent", unit = "fpm", range = [-6000, 6000] }
speed = { column = "speed", unit = "kt", range = [0, 300] }"#,
        "descent = 30, speed = 1",
    ) + r#"
kind = "readout"
channel = "descent"
position = [140, 80]
align = "right"
font = "mono"
size = 34
color = "white"
format = { quantum = 20 }
"# + rule
}

const RULE: &str = r#"color_rules = [{ when = [{ delay_ms = 500, all = [
  { channel = "descent", above = 800, hysteresis = 100 }, { channel = "speed", below = 40, hysteresis = 5 } ] }], color = "red" }]
"#;

#[test]
fn a_descent_that_stays_white_misleads() {
    // Fast from 1 s on, slow from 2.4 s on: red from 2.9 s on. At 4 s the descent goes back to 750, within the hysteresis.
    let csv = table(["descent", "speed"], SECONDS, |t| {
        let descent = if t < 1.0 { 700.0 } else { 900.0 + 40.0 * t };
        let descent = if t < 4.0 { descent } else { 750.0 };
        [descent, if t < 2.4 { 60.0 } else { 38.0 }]
    });
    let display = descent(RULE);
    agrees(&checked((&display, &csv), (&display, &csv)));
    misleads_from(&checked((&display, &csv), (&descent(""), &csv)), 2.94);
    // And one that is red though the airspeed is high.
    let alone = descent(
        "color_rules = [{ when = [{ channel = \"descent\", above = 940 }], color = \"red\" }]\n",
    );
    let early = checked((&display, &csv), (&alone, &csv));
    assert!(!early.outcome.events.is_empty(), "{}", early.told());
}
