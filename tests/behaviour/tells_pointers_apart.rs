//! Two pointers of one length on one axis, the engine's behind the rotor's: both are read wherever both are or would be seen, and
//! what is hidden has no reading.

use crate::bench::{Bench, Checked, is_off_by, small_head, table};

const SECONDS: f64 = 4.4;
const ONSET_S: f64 = 2.6;

/// A per cent is 2.9 deg, 2.5 px at the tips. The rotor's pointer is 6 px wide.
fn display(engine_px: f64) -> String {
    let head = small_head(
        r#"rotor = { column = "rotor", unit = "%", range = [0, 120] }
engine = { column = "engine", unit = "%", range = [0, 120] }"#,
        "rotor = 1, engine = 1",
    );
    let rest = r#"
kind = "dial"
center = [80, 80]
radius = 70
breakpoints = [[0, -175], [120, 175]]
ticks = { major_step = 20, major_length = 12, minor_step = 10, minor_length = 8, color = "white" }
pointers = [
  { channel = "engine", shape = "line", tip_radius = TIP, tail_radius = TAIL, width = WIDTH, color = "amber", color_rules = [{ when = [{ channel = "engine", above = 106 }], color = "red" }] },
  { channel = "rotor", shape = "line", tip_radius = 50, tail_radius = -14, width = 6, color = "white", color_rules = [{ when = [{ channel = "rotor", above = 106 }], color = "red" }] },
]
failure = { rect = [10, 10, 140, 140], text = "RPM", font = "sans", size = 20, color = "amber", background = "black" }
"#;
    // A narrower one is as much shorter.
    let inside = (6.0 - engine_px) / 2.0;
    let rest = rest.replace("WIDTH", &engine_px.to_string());
    let rest = rest.replace("TIP", &(50.0 - inside).to_string());
    head + &rest.replace("TAIL", &(inside - 14.0).to_string())
}

fn rotor(t: f64) -> f64 {
    100.0 + 3.0 * (2.0 * t).sin()
}

fn checked(engine_px: f64, due: impl Fn(f64) -> f64, shown: impl Fn(f64) -> f64) -> Checked {
    let columns = ["rotor", "engine"];
    let of = |engine: &dyn Fn(f64) -> f64| {
        let csv = table(columns, SECONDS, |t| [rotor(t), engine(t)]);
        Bench::small(&display(engine_px), &csv)
    };
    of(&due).check(&of(&shown).frames(None))
}

/// Largest error of what is read of a channel, how often it was read, and how often it was hidden.
fn read(checked: &Checked, channel: &str) -> (f64, usize, usize) {
    let regions = || checked.frames.iter().map(|f| &f.regions["r"]);
    let all = regions().flat_map(|r| &r.readings);
    let errors: Vec<f64> = all
        .filter(|r| r.channel == channel)
        .map(|r| r.error.abs())
        .collect();
    let hidden = regions().flat_map(|r| &r.hidden);
    (
        errors.iter().copied().fold(0.0, f64::max),
        errors.len(),
        hidden.filter(|h| h.channel == channel).count(),
    )
}

/// 3 px behind 6 px, and shorter: a pixel to each side, nothing would be seen of it.
#[test]
fn a_pointer_behind_another_is_hidden_and_no_fault() {
    let checked = checked(3.0, rotor, rotor);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let frames = checked.frames.len();
    let (_, seen, hidden) = read(&checked, "engine");
    assert_eq!((seen, hidden), (0, frames), "it has no reading");
    assert!(
        checked
            .told()
            .contains("not read (share of the frames): engine in r 100 %"),
        "{}",
        checked.told()
    );
    let (error, seen, hidden) = read(&checked, "rotor");
    assert!(
        error < 0.1 && (seen, hidden) == (frames, 0),
        "{error}, {seen} times"
    );
}

/// As wide as the other, it would be seen if it were anywhere else: that is a reading.
#[test]
fn a_pointer_that_another_just_covers_is_read() {
    let checked = checked(6.0, rotor, rotor);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    for channel in ["rotor", "engine"] {
        let (error, seen, _) = read(&checked, channel);
        assert!(
            error < 0.2 && seen == checked.frames.len(),
            "{channel}: {error}"
        );
    }
}

/// 0.5 px and 5 px apart at the tips.
#[test]
fn pointers_that_are_split_are_both_read() {
    for (apart, most) in [(0.2, 0.2), (2.0, 0.1)] {
        let engine = |t: f64| rotor(t) - apart;
        let checked = checked(6.0, engine, engine);
        assert!(checked.outcome.events.is_empty(), "{}", checked.told());
        for channel in ["rotor", "engine"] {
            let (error, seen, hidden) = read(&checked, channel);
            let told = format!(
                "{channel}, {apart} apart: off by {error}, read {seen} times, hidden {hidden}"
            );
            assert!(error < most, "{told}");
            assert!(
                seen + hidden == checked.frames.len() && seen > hidden,
                "{told}"
            );
        }
    }
}

#[test]
fn pointers_that_cross_are_read_before_and_after() {
    let engine = |t: f64| 100.0 + 4.0 * (3.1 * t + 1.0).sin();
    let checked = checked(6.0, engine, engine);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let (error, seen, hidden) = read(&checked, "engine");
    let told = format!("off by {error}, read {seen} times, hidden {hidden}");
    assert!(
        error < 0.3 && seen > 90 && seen + hidden == checked.frames.len(),
        "{told}"
    );
}

/// The engine's pointer goes with the rotor's, and nothing of it is seen.
#[test]
fn a_joined_pointer_misleads_by_what_lies_between() {
    let due = |t: f64| rotor(t) - 4.0;
    let shown = |t: f64| if t < ONSET_S { due(t) } else { rotor(t) };
    for engine_px in [6.0, 3.0] {
        is_off_by(&checked(engine_px, due, shown), "engine", 4.0, 0.4);
    }
}

/// The engine's pointer is half a per cent off, 1.3 px, within its tolerance, and due right behind the other: it was once read on the
/// rotor's other side, and told as frozen.
#[test]
fn a_pointer_that_comes_out_on_the_other_side_is_read_there() {
    let due = |t: f64| rotor(t) + 0.3 * (3.0 * t).sin();
    let shown = |t: f64| due(t) + if t < ONSET_S { 0.0 } else { 0.5 };
    let checked = checked(6.0, due, shown);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let late = checked.frames.iter().filter(|f| f.time_s > ONSET_S + 0.1);
    let all = late.flat_map(|f| &f.regions["r"].readings);
    let mut seen = 0;
    for r in all {
        let off = if r.channel == "engine" { 0.5 } else { 0.0 };
        assert!(
            (r.error - off).abs() < 0.15 + 4.0 * r.standard_error,
            "{r:?}"
        );
        seen += usize::from(r.channel == "engine");
    }
    assert!(seen > 30, "the engine's pointer was read {seen} times");
}
