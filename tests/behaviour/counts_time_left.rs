//! Power above what may be used continuously: the time that is left runs down from the recording's history, and is read.

use crate::bench::{Bench, Checked, is_off_by, small_head, table};

const SECONDS: f64 = 6.0;

/// Two ranges of thirty seconds and two minutes (usual ones); `used` says how the shorter one is used up.
fn display(used: &str) -> String {
    let channels = format!(
        r#"power = {{ column = "power", unit = "%", range = [0, 150] }}
long = {{ expression = "120.0 - seconds_since(power > 100.0)", unit = "s" }}
short = {{ expression = "30.0 - {used}", unit = "s" }}"#
    );
    small_head(&channels, "power = 1, long = 2, short = 1")
        + r#"
kind = "power_gauge"
center = [80, 80]
radius = 60
breakpoints = [[0, -130], [100, 60], [120, 130]]
ticks = { major_step = 20, major_length = 11, color = "white", labels = { font = "sans", size = 11, distance = 22 } }
continuous = "green"
ranges = [
  { to = 110, limit_s = 120, left = "long", color = "amber" },
  { to = 120, limit_s = 30, left = "short", color = "red" },
]
pointer = { channel = "power", tip_radius = 52, tail_radius = -12, width = 5, color = "white" }
time = { radii = [66, 74], from_deg = -130, to_deg = 130, groove = "grey" }
failure = { rect = [10, 10, 140, 140], text = "PWR", font = "sans", size = 20, color = "amber", background = "black" }
"#
}

/// Continuous at first, then above 100 from 2.4 s, above 110 from 3.4 s.
fn checked(shown: &str) -> Checked {
    let power = |t: f64| 96.0 + 3.0 * (2.0 * t).sin();
    let above = |t: f64| match t {
        t if t < 2.4 => power(t),
        t if t < 3.4 => 104.0 + 2.0 * (2.0 * t).sin(),
        t => 114.0 + 2.0 * (2.0 * t).sin(),
    };
    let csv = table(["power"], SECONDS, |t| [above(t)]);
    let bench = Bench::small(&display("seconds_since(power > 110.0)"), &csv);
    bench.check(&Bench::small(&display(shown), &csv).frames(None))
}

#[test]
fn the_time_that_is_left_is_read() {
    let checked = checked("seconds_since(power > 110.0)");
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    for (channel, least, most) in [("long", 20, 0.5), ("short", 55, 0.1)] {
        let all = checked.frames.iter().flat_map(|f| &f.regions["r"].readings);
        let read: Vec<_> = all
            .filter(|r| r.channel == channel && r.what == "time left")
            .collect();
        assert!(read.len() >= least, "{} readings of {channel}", read.len());
        for r in read {
            assert!(r.error.abs() < most, "{r:?}");
        }
    }
}

/// Five seconds more have been used up than were.
#[test]
fn a_wrong_time_misleads_by_its_seconds() {
    let checked = checked("5.0 - seconds_since(power > 110.0)");
    is_off_by(&checked, "short", -5.0, 0.3);
}
