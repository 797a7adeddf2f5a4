//! Scales and digits that roll over show the whole value: a reading is never a turn or a mark off, and what is shows as such.

use framevouch::judge::verdict::Verdict;

use crate::bench::{Bench, Checked, is_off_by, small_head, table};

const SECONDS: f64 = 4.4;
/// From here on the unit shows something else: after the stretch that the chain is measured from.
const ONSET_S: f64 = 2.6;

const ALTITUDE: &str = r#"altitude = { column = "altitude", unit = "ft", range = [-1000, 20000] }"#;

/// A turn is 1,000 ft: common practice for altitude.
fn dial(readout: &str) -> String {
    small_head(ALTITUDE, "altitude = 20")
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

/// A row of the last place is 24 px for 20 ft.
fn drum() -> String {
    small_head(ALTITUDE, "altitude = 10")
        + r#"
kind = "parts"
part = [
  { shape = { rect = [20, 40, 120, 80] }, fill = "ground" },
  { clip = { rect = [24, 52, 112, 56] }, part = [
    { shape = { drum = { channel = "altitude", position = [130, 80], font = "mono", size = 24, color = "white", row_height = 24, places = 4, unit = 20, last_digits = 2 } } },
  ] },
  { shape = { frame = { rect = [20, 40, 120, 80], width = 3 } }, fill = "white" },
]
"#
}

fn card() -> String {
    small_head(
        r#"heading = { column = "heading", unit = "deg", range = [0, 360], interpolation = "angular" }"#,
        "heading = 3",
    ) + r#"
kind = "rose"
center = [80, 84]
radius = 70
channel = "heading"
color = "white"
mark_length = 10
font = "sans"
size = 14
label_radius = 48
lubber = "amber"
lubber_length = 10
failure = { rect = [10, 10, 140, 140], text = "HDG", font = "sans", size = 20, color = "amber", background = "black" }
"#
}

/// Rises through 5,000 ft about the middle.
fn climb(t: f64) -> f64 {
    4870.0 + 55.0 * t + 8.0 * (3.0 * t).sin()
}

fn checked(display: &str, latency_s: f64, due: fn(f64) -> f64, off: f64) -> Checked {
    let shown = |t: f64| due(t) + if t < ONSET_S { 0.0 } else { off };
    let column = [display
        .split_once(" = { column")
        .unwrap()
        .0
        .rsplit_once('\n')
        .unwrap()
        .1];
    let mut bench = Bench::small(display, &table(column, SECONDS, |t| [due(t)]));
    bench.plan.latency_s = latency_s;
    let mut unit = Bench::small(display, &table(column, SECONDS, |t| [shown(t)]));
    unit.plan.latency_s = latency_s;
    bench.check(&unit.frames(None))
}

/// Nothing is raised, and what is read of `what` is off by no more than `most`, and known to be.
fn is_read(checked: &Checked, what: &str, most: f64) {
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let all = checked.frames.iter().flat_map(|f| &f.regions["r"].readings);
    let read: Vec<_> = all.filter(|r| r.what == what).collect();
    assert!(read.len() > 100, "{} readings of {what}", read.len());
    for r in read {
        assert!(r.error.abs() < most && r.standard_error < most, "{r:?}");
    }
}

#[test]
fn a_value_is_read_on_through_the_seam_of_a_turn() {
    for (readout, latency_s) in [("", 0.04), (READOUT, 0.1)] {
        // A pixel at the pointer's tip is 3.6 ft.
        let checked = checked(&dial(readout), latency_s, climb, 0.0);
        is_read(&checked, "pointer", 2.0);
        let last = &checked.frames.last().unwrap().regions["r"].readings[0];
        assert!(
            (last.displayed - climb(SECONDS - latency_s)).abs() < 2.0,
            "the whole value"
        );
    }
}

/// The pointer stands where it belongs; numbers, and the readout where there is one, are of another turn.
#[test]
fn a_wrong_turn_misleads_by_a_turn() {
    for (readout, off) in [("", 1000.0), (READOUT, 1000.0), (READOUT, -3000.0)] {
        let checked = checked(&dial(readout), 0.04, climb, off);
        is_off_by(&checked, "altitude", off, 3.0);
    }
}

/// Pointer and numbers are right, and the readout is of another turn.
#[test]
fn a_readout_of_another_turn_misleads() {
    let display = dial(READOUT);
    let csv = table(["altitude"], SECONDS, |t| [climb(t)]);
    let turned = |text: &str| {
        let channels = format!(
            r#"{ALTITUDE}
clock = {{ column = "clock", unit = "s" }}
turned = {{ expression = "altitude + (clock < {ONSET_S:.1} ? 0.0 : 1000.0)", unit = "ft" }}"#
        );
        let text = text.replace(ALTITUDE, &channels);
        text.replace(READOUT, &READOUT.replace("\"altitude\"", "\"turned\""))
    };
    let unit_csv = table(["altitude", "clock"], SECONDS, |t| [climb(t), t]);
    let unit = Bench::small(&turned(&display), &unit_csv);
    let checked = Bench::small(&display, &csv).check(&unit.frames(None));
    let told = checked.told();
    let [event] = &checked.outcome.events[..] else {
        panic!("one event\n{told}")
    };
    assert_eq!(event.class, Verdict::Misleading, "{told}");
    assert!((event.onset_s - ONSET_S).abs() < 0.1, "{told}");
    let late = checked.frames.iter().filter(|f| f.time_s > ONSET_S + 0.2);
    let all = late.flat_map(|f| &f.regions["r"].readings);
    // Wherever its digits are read, they are a thousand off, and the pointer is not.
    let (digits, pointer): (Vec<_>, Vec<_>) = all.partition(|r| r.what == "readout");
    assert!(digits.len() > 20 && pointer.len() > 20, "{told}");
    assert!(
        digits.iter().all(|r| (r.error - 1000.0).abs() < 10.1),
        "{digits:?}"
    );
    assert!(pointer.iter().all(|r| r.error.abs() < 2.0), "{pointer:?}");
}

/// The unit puts characters on whole pixels, and a pixel is 0.83 ft: half of it is not known.
#[test]
fn digits_that_roll_are_read() {
    let checked = checked(&drum(), 0.04, climb, 0.0);
    is_read(&checked, "digits", 0.6);
    let all = checked.frames.iter().flat_map(|f| &f.regions["r"].readings);
    assert!(all.map(|r| r.standard_error).all(|s| s > 0.1));
}

/// By less than a row, by a turn of the last place, and by one of the place before it.
#[test]
fn digits_that_roll_mislead_by_what_they_are_off() {
    for off in [27.0, 100.0, -1000.0] {
        is_off_by(&checked(&drum(), 0.04, climb, off), "altitude", off, 1.0);
    }
}

/// Marks of a card lie on each other every 10 degrees, those of a tape every 10 knots: only words tell.
#[test]
fn a_scale_that_is_off_by_a_mark_misleads_by_a_mark() {
    let tape = small_head(
        r#"speed = { column = "speed", unit = "kt", range = [0, 300] }"#,
        "speed = 3",
    ) + r#"
kind = "tape"
rect = [50, 10, 60, 140]
channel = "speed"
direction = "up"
edge = "right"
px_per_unit = 2.5
min = 0
max = 300
ticks = { major_step = 10, major_length = 12, color = "white", labels = { font = "mono", size = 13, distance = 30 } }
failure = { rect = [50, 10, 60, 140], text = "IAS", font = "sans", size = 20, color = "amber", background = "black" }
"#;
    let swing = |t: f64| 74.0 + 6.0 * (2.0 * t).sin();
    for (display, channel) in [(card(), "heading"), (tape, "speed")] {
        for off in [10.0, -20.0] {
            is_off_by(&checked(&display, 0.04, swing, off), channel, off, 0.3);
        }
    }
}

/// Marks without numbers, and something foreign over them: where nothing tells which mark is which, the stated error does not
/// claim to know.
#[test]
fn an_error_tells_of_marks_that_look_alike() {
    let display = small_head(
        r#"speed = { column = "speed", unit = "kt", range = [0, 300] }"#,
        "speed = 3",
    ) + r#"
kind = "parts"
part = [
  { clip = { rect = [40, 10, 80, 140] }, part = [
    { motion = [{ channel = "speed", per_unit = 2, shift_along = [0, 1] }], part = [
      { repeat = { step = 10, per_unit = -2, shift_along = [0, 1] }, shape = { rect = [60, 79, 40, 2] }, fill = "white" },
    ] },
  ] },
  { shape = { frame = { rect = [38, 8, 84, 144], width = 2 } }, fill = "white" },
]
"#;
    let bench = Bench::small(
        &display,
        &table(["speed"], SECONDS, |t| [100.0 + 2.0 * (2.0 * t).sin()]),
    );
    let mut frames = bench.frames(None);
    let onset = (ONSET_S * 25.0) as usize;
    for frame in &mut frames[onset..] {
        for y in 60..90 {
            frame.planes_mut()[0].row_mut(y)[10..34].fill(200);
        }
    }
    let checked = bench.check(&frames);
    assert_eq!(checked.outcome.events[0].class, Verdict::Misleading);
    let read = |f: usize| &checked.frames[f].regions["r"].readings[0];
    assert!(
        read(onset - 1).standard_error < 0.1,
        "{:?}",
        read(onset - 1)
    );
    for f in onset + 1..frames.len() {
        assert!(read(f).standard_error >= 10.0, "{:?}", read(f));
    }
}
