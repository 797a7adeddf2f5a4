//! Scales and digits that roll over show the whole value: a reading is never a turn or a mark off, and what is shows as such.

use framevouch::judge::verdict::Verdict;

use crate::bench::{Bench, Checked, table};

const SECONDS: f64 = 4.4;
/// From here on the unit shows something else: after the stretch that the chain is measured from.
const ONSET_S: f64 = 2.6;

/// The head of a small display with one region, `r`.
fn head(channel: &str, tolerance: f64) -> String {
    format!(
        r##"
[display]
name = "small"
width = 160
height = 160
background = "black"
[fonts]
sans = {{ builtin = "B612 Bold" }}
mono = {{ builtin = "B612 Mono Bold" }}
[colors]
black = "#000000"
white = "#f0f0f0"
grey = "#808890"
amber = "#ffb000"
[channels.{channel}]
column = "{channel}"
unit = "ft"
range = [-1000, 20000]
[[region]]
id = "r"
rect = [0, 0, 160, 160]
hazard = "hazardous"
tolerance = {{ {channel} = {tolerance} }}
[[region.symbol]]
"##
    )
}

/// A turn is 1,000 ft: common practice for altitude.
fn dial(readout: &str) -> String {
    head("altitude", 20.0)
        + r#"
kind = "dial"
rolling = true
center = [80, 80]
radius = 72
breakpoints = [[0, 0], [1000, 360]]
ticks = { major_step = 100, major_length = 10, minor_step = 20, minor_length = 5, color = "white",
  labels = { font = "sans", size = 12, distance = 20, format = { scale = 0.01 } } }
pointers = [{ channel = "altitude", tip_radius = 44, tail_radius = -10, width = 5, color = "amber" }]
failure = { rect = [10, 10, 140, 140], text = "ALT", font = "sans", size = 20, color = "amber", background = "black" }
"# + readout
}

const READOUT: &str = r#"readout = { channel = "altitude", position = [80, 106], font = "mono", size = 14, color = "white", format = { quantum = 10 } }
"#;

/// Rises through 5,000 ft about the middle.
fn climb(t: f64) -> f64 {
    4870.0 + 55.0 * t + 8.0 * (3.0 * t).sin()
}

fn checked(display: &str, latency_s: f64, shown: impl Fn(f64) -> f64) -> Checked {
    let mut bench = Bench::small(display, &table(["altitude"], SECONDS, |t| [climb(t)]));
    bench.plan.latency_s = latency_s;
    let mut unit = Bench::small(display, &table(["altitude"], SECONDS, |t| [shown(t)]));
    unit.plan.latency_s = latency_s;
    bench.check(&unit.frames(None))
}

/// Errors of the readings of `what` from `from_s` on, and the standard errors that are stated.
fn errors(checked: &Checked, what: &str, from_s: f64) -> Vec<(f64, f64)> {
    let late = checked.frames.iter().filter(|f| f.time_s >= from_s);
    let all = late.flat_map(|f| &f.regions["r"].readings);
    all.filter(|r| r.what == what)
        .map(|r| (r.error, r.standard_error))
        .collect()
}

/// One event, of the class, with this error.
fn is_off_by(checked: &Checked, error: f64, within: f64) {
    let told = checked.told();
    let events = &checked.outcome.events;
    assert_eq!(events.len(), 1, "{told}");
    assert_eq!(events[0].class, Verdict::Misleading, "{told}");
    let worst = events[0].worst_error.as_ref().expect(&told);
    let off = worst.displayed - worst.expected;
    assert!((off - error).abs() < within, "{off}\n{told}");
}

#[test]
fn a_value_is_read_on_through_the_seam_of_a_turn() {
    for (readout, latency_s) in [("", 0.04), (READOUT, 0.1)] {
        let checked = checked(&dial(readout), latency_s, climb);
        assert!(checked.outcome.events.is_empty(), "{}", checked.told());
        let read = errors(&checked, "pointer", 0.0);
        assert!(read.len() > 100, "{} readings", read.len());
        let worst = read.iter().map(|(e, _)| e.abs()).fold(0.0, f64::max);
        // A pixel at the pointer's tip is 3.6 ft.
        assert!(worst < 2.0, "{worst} ft\n{}", checked.told());
        let last = checked.frames.last().unwrap().regions["r"].readings.first();
        assert!((last.unwrap().displayed - climb(SECONDS - latency_s)).abs() < 2.0);
    }
}

/// The pointer stands where it belongs; numbers, and the readout where there is one, are of another turn.
#[test]
fn a_wrong_turn_misleads_by_a_turn() {
    for (readout, turns) in [("", 1.0), (READOUT, 1.0), (READOUT, -3.0)] {
        let off = |t: f64| if t < ONSET_S { 0.0 } else { 1000.0 * turns };
        let checked = checked(&dial(readout), 0.04, |t| climb(t) + off(t));
        is_off_by(&checked, 1000.0 * turns, 3.0);
    }
}
