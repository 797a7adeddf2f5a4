//! Conditions and derived channels over recordings: values worked out by hand, and states that do not depend on what was
//! asked for before.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::LazyLock;

use proptest::prelude::*;

use super::inputs::Value;
use super::{MissingColumns, Recording};
use crate::definition::Definition;

/// A display with channels, and an alert for each of `alerts`, which are lists of conditions.
fn display(channels: &str, alerts: &[&str]) -> Definition {
    let mut text = format!(
        r##"
        [display]
        name = "test"
        width = 100
        height = 100
        background = "black"
        [colors]
        black = "#000000"
        [fonts]
        plain = {{ builtin = "B612 Regular" }}
        [channels]
        x = {{ column = "x" }}
        y = {{ column = "y", validity_column = "y_ok" }}
        a = {{ column = "a", interpolation = "angular" }}
        word = {{ column = "word", interpolation = "text" }}
        {channels}
        [[region]]
        id = "r"
        rect = [0, 0, 100, 100]
        hazard = "minor"
        "##
    );
    if !alerts.is_empty() {
        text += r#"
        [[region.symbol]]
        kind = "alerts"
        position = [5.0, 10.0]
        line_height = 20.0
        slots = 2
        font = "plain"
        size = 15.0
        colors = { warning = "black", caution = "black", advisory = "black" }
        "#;
    }
    for when in alerts {
        write!(
            text,
            "\n[[region.symbol.alert]]\ntext = \"A\"\nclass = \"warning\"\nwhen = {when}\n"
        )
        .expect("text can be written");
    }
    Definition::from_toml(&text, "test.toml", Path::new("")).unwrap_or_else(|e| panic!("{e}"))
}

fn recording(definition: &Definition, text: &str) -> Recording {
    Recording::from_reader(text.as_bytes(), "r.csv", definition, MissingColumns::Allow)
        .expect("a good recording")
}

/// A recording and its definition, in which `z` is worked out.
fn worked_out(z: &str, text: &str) -> (Definition, Recording) {
    let definition = display(&format!("z = {z}"), &[]);
    let recording = recording(&definition, text);
    (definition, recording)
}

/// `z` of an expression.
fn expressed(expression: &str, text: &str) -> (Definition, Recording) {
    worked_out(&format!("{{ expression = '{expression}' }}"), text)
}

fn value(of: &(Definition, Recording), time_s: f64) -> Value {
    let (definition, recording) = of;
    recording
        .inputs(time_s)
        .value(definition.channel("z"))
        .clone()
}

#[track_caller]
fn assert_values(of: &(Definition, Recording), expected: &[(f64, Option<f64>)]) {
    for (time_s, wanted) in expected {
        let found = value(of, *time_s);
        match (found.number(), wanted) {
            (Some(v), Some(w)) => assert!((v - w).abs() < 1e-9, "{v} for {w} at {time_s} s"),
            (None, None) => assert_eq!(found, Value::Invalid, "at {time_s} s"),
            _ => panic!("{found:?} for {wanted:?} at {time_s} s"),
        }
    }
}

/// At which of `times_s` the alerts are active.
fn active(when: &str, text: &str, times_s: &[f64]) -> Vec<bool> {
    let definition = display("", &[when]);
    let recording = recording(&definition, text);
    let is_active = |t: &f64| recording.inputs(*t).active_since_s[0].is_some();
    times_s.iter().map(is_active).collect()
}

#[test]
fn expressions_are_worked_out_at_the_moment() {
    // Endurance in minutes: 300 kg at 100 to 200 kg/h.
    let rows = "t_s,x,y\n0,300,100\n1,300,200\n";
    let moment = expressed("x / y * 60.0", rows);
    assert_values(
        &moment,
        &[
            (-0.1, None),
            (0.0, Some(180.0)),
            (0.5, Some(120.0)),
            (1.0, Some(90.0)),
            (2.9, Some(90.0)),
            (3.1, None),
        ],
    );
    let held = worked_out(
        "{ expression = \"x / y * 60.0\", interpolation = \"hold\" }",
        rows,
    );
    assert_values(&held, &[(0.5, Some(180.0)), (1.0, Some(90.0))]);
    let short = worked_out("{ expression = \"x\", max_age_ms = 200 }", rows);
    assert_values(&short, &[(0.2, Some(300.0)), (0.3, None)]);
}

#[test]
fn functions_give_what_they_say() {
    let rows = "t_s,x,y,y_ok,a,word\n0,-2.5,7,1,350,ALT\n";
    for (expression, expected) in [
        ("x + 2 * y", 11.5),
        ("(x + 2) * y", -3.5),
        ("y % 4", 3.0),
        ("x % 2", -0.5),
        ("abs(x)", 2.5),
        ("-x", 2.5),
        ("min(x, y, -3.0)", -3.0),
        ("max(x, y, -3.0)", 7.0),
        ("floor(x)", -3.0),
        ("ceil(x)", -2.0),
        ("round(x)", -3.0),
        ("round(2.5)", 3.0),
        ("sqrt(y + 2)", 3.0),
        ("wrap360(x)", 357.5),
        ("wrap180(a)", -10.0),
        ("wrap180(180)", -180.0),
        ("wrap360(360)", 0.0),
        ("x < y ? 1 : 2", 1.0),
        ("word == \"ALT\" ? 1 : 2", 1.0),
        ("word in [\"HDG\", \"NAV\"] ? 1 : 2", 2.0),
        ("x == -2.5", 1.0),
        ("x >= 7 || y >= 7 && y != 8", 1.0),
        ("!(x <= y)", 0.0),
    ] {
        assert_values(&expressed(expression, rows), &[(0.0, Some(expected))]);
    }
    let text = worked_out(
        "{ expression = 'x < 0 ? \"LOW \" : word', interpolation = \"text\" }",
        "t_s,x,word\n0,-1,ALT\n1,1,HDG\n",
    );
    assert_eq!(value(&text, 0.9), Value::Text("LOW ".into()));
    assert_eq!(value(&text, 1.0), Value::Text("HDG".into()));
}

#[test]
fn units_are_converted() {
    let channels = "v = { column = \"x\", unit = \"kt\" }\nz = { expression = 'v.to(\"km/h\")', unit = \"km/h\" }";
    let definition = display(channels, &[]);
    let recording = recording(&definition, "t_s,x\n0,100\n");
    assert_values(&(definition, recording), &[(0.0, Some(185.2))]);
}

#[test]
fn what_has_no_value_gives_none() {
    // x is 0 and y invalid.
    let rows = "t_s,x,y,y_ok\n0,0,5,0\n";
    for (expression, expected) in [
        ("1 / x", None),
        ("x / x", None),
        ("1 / (1 / x)", None),
        ("1 % x", None),
        ("sqrt(x - 1)", None),
        ("1e308 * 10", None),
        ("x + y", None),
        ("null == null ? 1 : 2", None),
        ("x > 0 ? 1 : null", None),
        ("y > 0 ? 1 : 2", None),
        ("y > 0", None),
        ("!(y > 0)", None),
        // S. C. Kleene, Introduction to Metamathematics (1952), section 64.
        ("y > 0 || x == 0", Some(1.0)),
        ("y > 0 && x != 0", Some(0.0)),
        ("y > 0 || x != 0", None),
        ("y > 0 && x == 0", None),
        ("y in [1]", None),
        ("x in [1, y]", None),
        ("x in [y, 0]", Some(1.0)),
        ("valid(x)", Some(1.0)),
        ("valid(y)", Some(0.0)),
        ("valid(1 / x)", Some(0.0)),
        ("valid(y) ? y : x", Some(0.0)),
    ] {
        assert_values(&expressed(expression, rows), &[(0.0, expected)]);
    }
}

#[test]
fn derived_channels_have_ranges_and_build_on_each_other() {
    let rows = "t_s,x\n0,-90\n1,270\n";
    let of = |range: &str| {
        worked_out(
            &format!(
                "{{ expression = \"twice / 2\", interpolation = \"angular\"{range} }}\ntwice = {{ expression = \"x * 2\" }}"
            ),
            rows,
        )
    };
    assert_values(&of(""), &[(0.0, Some(270.0)), (0.5, Some(90.0))]);
    assert_values(
        &of(", range = [-180, 180]"),
        &[(0.0, Some(-90.0)), (0.5, Some(90.0)), (1.0, Some(-90.0))],
    );
    assert_values(
        &of(", range = [-45, 100]"),
        &[(0.0, None), (0.5, Some(90.0))],
    );
}

#[test]
fn what_depends_on_a_missing_column_is_missing() {
    let channels = "z = { expression = \"q + 1\" }\nq = { expression = \"y * 2\" }\nok = { expression = \"x\" }";
    let definition = display(channels, &[]);
    let recording = recording(&definition, "t_s,x\n0,1\n");
    assert_eq!(recording.missing_channels(), ["a", "q", "word", "y", "z"],);
    let inputs = recording.inputs(0.0);
    assert_eq!(*inputs.value(definition.channel("z")), Value::Missing);
    assert_eq!(*inputs.value(definition.channel("ok")), Value::Number(1.0));
}

/// `x` crosses 5 upwards between the rows at 1 s and 2 s, downwards between 3 s and 4 s, and so on.
const CROSSINGS: &str = "t_s,x\n0,0\n1,0\n2,10\n3,10\n4,0\n5,0\n6,10\n8,10\n9,0\n";

#[test]
fn time_since_a_condition_began() {
    assert_values(
        &expressed("seconds_since(x > 5)", CROSSINGS),
        &[
            (0.0, None),
            (1.4, None),
            // It holds, and no row says so yet.
            (1.6, Some(0.0)),
            (2.0, Some(0.0)),
            (3.5, Some(1.5)),
            (5.0, Some(3.0)),
            (5.6, Some(0.0)),
            (8.0, Some(2.0)),
            (9.5, Some(3.5)),
        ],
    );
}

#[test]
fn time_within_a_condition_adds_up() {
    assert_values(
        &expressed("seconds_within(x > 5)", CROSSINGS),
        &[
            (1.9, Some(0.0)),
            (2.0, Some(0.0)),
            (2.5, Some(0.5)),
            // Until the row that ends it.
            (3.9, Some(1.9)),
            (5.0, Some(2.0)),
            (7.5, Some(3.5)),
            (9.0, Some(5.0)),
            (10.0, Some(5.0)),
        ],
    );
}

#[test]
fn delays_count_from_the_first_row() {
    assert_values(
        &expressed("delayed(x > 5, 1.5)", CROSSINGS),
        &[
            (2.0, Some(0.0)),
            (3.4, Some(0.0)),
            // Over at 3.5 s, where it crosses 5 downwards.
            (3.5, Some(0.0)),
            (7.4, Some(0.0)),
            (7.5, Some(1.0)),
            (8.4, Some(1.0)),
            (8.6, Some(0.0)),
        ],
    );
}

#[test]
fn latches_stay_until_they_are_reset() {
    let rows = "t_s,x,y\n0,0,0\n1,10,0\n2,0,0\n3,0,10\n4,0,10\n5,10,10\n6,0,0\n7,0,0\n";
    assert_values(
        &expressed("latched(x > 5, y > 5)", rows),
        &[
            (0.0, Some(0.0)),
            (0.6, Some(1.0)),
            (1.0, Some(1.0)),
            (2.4, Some(1.0)),
            (2.6, Some(0.0)),
            (4.4, Some(0.0)),
            // Set wins over reset.
            (5.0, Some(1.0)),
            (5.4, Some(1.0)),
            (6.0, Some(1.0)),
            (7.0, Some(1.0)),
        ],
    );
}

#[test]
fn values_are_held_from_the_row_before() {
    let rows = "t_s,x,y\n0,0,1\n1,0,2\n2,10,3\n3,10,4\n4,0,5\n5,0,6\n";
    assert_values(
        &expressed("held(y, x > 5)", rows),
        &[
            (0.5, Some(1.5)),
            (1.4, Some(2.4)),
            (1.6, Some(2.0)),
            (2.0, Some(2.0)),
            (3.4, Some(2.0)),
            (3.6, Some(4.6)),
            (4.5, Some(5.5)),
        ],
    );
    // Nothing was before.
    assert_values(
        &expressed("held(y, x > 5)", "t_s,x,y\n0,10,1\n1,0,2\n"),
        &[(0.0, None), (0.4, None), (0.6, Some(1.6))],
    );
}

#[test]
fn rates_are_differences_over_rows() {
    // 10, 20 and -10 a second.
    assert_values(
        &expressed("rate(x)", "t_s,x\n0,0\n1,10\n1.5,20\n2.5,10\n"),
        &[
            (0.0, None),
            (0.5, None),
            (1.0, Some(10.0)),
            (1.25, Some(15.0)),
            (1.5, Some(20.0)),
            (2.0, Some(5.0)),
            (2.5, Some(-10.0)),
            (3.0, Some(-10.0)),
        ],
    );
    assert_values(
        &expressed("rate(a)", "t_s,a\n0,350\n2,10\n4,340\n"),
        &[(2.0, Some(10.0)), (4.0, Some(-15.0))],
    );
    assert_values(
        &expressed("rate(180 - a)", "t_s,a\n0,350\n2,10\n"),
        &[(2.0, Some(-10.0))],
    );
    assert_values(
        &expressed("rate(y)", "t_s,y,y_ok\n0,0,1\n1,5,1\n2,9,0\n3,9,1\n"),
        &[(1.0, Some(5.0)), (1.5, Some(5.0)), (2.0, None), (3.0, None)],
    );
}

#[test]
fn a_value_and_a_change_of_a_while_ago() {
    let rows = "t_s,x\n0,0\n1,10\n1.5,20\n2.5,10\n";
    assert_values(
        &expressed("before(x, 0.5)", rows),
        &[
            (0.4, None),
            (0.5, Some(0.0)),
            (1.0, Some(5.0)),
            (1.75, Some(15.0)),
            (2.5, Some(15.0)),
        ],
    );
    // From 5 to 20 within half a second; over the top it is less than from row to row.
    assert_values(
        &expressed("rate(x, 0.5)", rows),
        &[
            (0.4, None),
            (1.25, Some(15.0)),
            (1.5, Some(20.0)),
            (1.75, Some(5.0)),
            (2.0, Some(-10.0)),
        ],
    );
    assert_values(
        &expressed("rate(a, 2.0)", "t_s,a\n0,350\n2,10\n4,340\n"),
        &[(2.0, Some(10.0)), (3.0, Some(-2.5))],
    );
}

#[test]
fn hysteresis_keeps_a_condition_until_the_value_has_gone_back() {
    let rows = "t_s,x\n0,60\n1,51\n2,49\n3,51\n4,51.9\n5,52\n6,51\n7,49\n8,60\n";
    let times_s: Vec<f64> = (0..9).map(f64::from).collect();
    let at_rows = |when: &str, rows: &str| {
        let all = active(when, rows, &times_s).into_iter();
        all.map(|is| if is { '#' } else { '.' }).collect::<String>()
    };
    let below = "[{ channel = \"x\", below = 50, hysteresis = 2 }]";
    assert_eq!(at_rows(below, rows), "..###..#.");
    let at_most = "[{ channel = \"x\", at_most = 50, hysteresis = 2 }]";
    assert_eq!(at_rows(at_most, rows), "..######.");
    let upwards = "t_s,x\n0,0\n1,99\n2,100\n3,99\n4,98\n5,97.9\n6,99\n7,101\n8,97\n";
    let at_least = "[{ channel = \"x\", at_least = 100, hysteresis = 2 }]";
    assert_eq!(at_rows(at_least, upwards), "..###..#.");
    let above = "[{ channel = \"x\", above = 100, hysteresis = 2 }]";
    assert_eq!(at_rows(above, upwards), ".......#.");
    // Between rows: on the way from 49 to 51 it goes on, from 52 to 51 it stays ended.
    assert_eq!(
        active(below, rows, &[1.4, 1.6, 2.9, 4.9, 5.5, 6.4, 6.6]),
        [false, true, true, true, false, false, true]
    );
    // Invalid data end it.
    let gap = "t_s,y,y_ok\n0,49,1\n1,51,1\n2,51,0\n3,51,1\n";
    let y = "[{ channel = \"y\", below = 50, hysteresis = 2 }]";
    assert_eq!(
        active(y, gap, &[0.0, 1.0, 2.0, 3.0]),
        [true, true, false, false]
    );
}

#[test]
fn delays_of_conditions_count_from_the_first_row() {
    let when = "[{ channel = \"x\", above = 5, delay_ms = 1500 }]";
    assert_eq!(
        active(when, CROSSINGS, &[2.0, 3.4, 3.6, 7.4, 7.5, 8.4, 8.6]),
        [false, false, false, false, true, true, false]
    );
    // Not yet, so its opposite holds; of the whole, counted from where the hysteresis lets it begin.
    let not = "[{ not = { channel = \"x\", above = 5, delay_ms = 1500 } }]";
    assert_eq!(active(not, CROSSINGS, &[7.4, 7.5]), [true, false]);
    let both = "[{ channel = \"x\", above = 5, hysteresis = 6, delay_ms = 4000 }]";
    assert_eq!(
        active(both, CROSSINGS, &[3.9, 5.0, 5.9, 6.0, 8.9]),
        [false, false, false, true, true]
    );
}

#[test]
fn conditions_join_in_three_values() {
    let rows = "t_s,x,y,y_ok,a,word\n0,-7,5,0,90,ALT\n";
    for (when, holds) in [
        ("{ channel = \"x\", above = 5 }", false),
        ("{ channel = \"x\", above = 5, absolute = true }", true),
        ("{ channel = \"x\", at_least = -7, at_most = -7 }", true),
        ("{ channel = \"x\", below = { channel = \"a\" } }", true),
        ("{ channel = \"x\", below = { channel = \"y\" } }", false),
        ("{ channel = \"x\", is_one_of = [1, -7] }", true),
        (
            "{ channel = \"x\", is_one_of = [1, { channel = \"y\" }] }",
            false,
        ),
        (
            "{ not = { channel = \"x\", is_one_of = [1, { channel = \"y\" }] } }",
            false,
        ),
        ("{ channel = \"word\", equals = \"ALT\" }", true),
        (
            "{ channel = \"word\", is_one_of = [\"HDG\", \"NAV\"] }",
            false,
        ),
        (
            "{ not = { channel = \"word\", is_one_of = [\"HDG\", \"NAV\"] } }",
            true,
        ),
        ("{ channel = \"y\", valid = true }", false),
        ("{ channel = \"y\", valid = false }", true),
        ("{ channel = \"x\", valid = true }", true),
        ("{ channel = \"y\", below = 9 }", false),
        ("{ not = { channel = \"y\", below = 9 } }", false),
        (
            "{ any = [{ channel = \"y\", below = 9 }, { channel = \"x\", below = 0 }] }",
            true,
        ),
        (
            "{ all = [{ channel = \"x\", below = 0 }, { channel = \"y\", below = 9 }] }",
            false,
        ),
        (
            "{ not = { all = [{ channel = \"y\", below = 9 }, { channel = \"x\", above = 0 }] } }",
            true,
        ),
        (
            "{ not = { any = [{ channel = \"y\", below = 9 }, { channel = \"x\", above = 0 }] } }",
            false,
        ),
        (
            "{ all = [{ channel = \"x\", below = 0 }, { not = { channel = \"a\", below = 0 } }] }",
            true,
        ),
    ] {
        assert_eq!(
            active(&format!("[{when}]"), rows, &[0.0]),
            [holds],
            "{when}"
        );
    }
}

#[test]
fn angles_about_zero_serve_conditions_on_their_size() {
    let definition = display(
        "z = { column = \"z\", interpolation = \"angular\", range = [-180, 180] }",
        &["[{ channel = \"z\", above = 45, absolute = true }]"],
    );
    let recording = recording(&definition, "t_s,z\n0,350\n1,300\n2,170\n3,-170\n");
    let active = |t: f64| recording.inputs(t).active_since_s[0].is_some();
    assert_eq!([0.0, 0.6, 1.0].map(active), [false, false, true]);
    assert_values(
        &(definition, recording.clone()),
        &[
            (0.0, Some(-10.0)),
            (0.5, Some(-35.0)),
            (1.0, Some(-60.0)),
            (2.75, Some(-175.0)),
        ],
    );
}

/// Channels and alerts with every kind of memory, one inside another too.
fn with_memory() -> &'static Definition {
    static DEFINITION: LazyLock<Definition> = LazyLock::new(|| {
        display(
            r#"
        since = { expression = "seconds_since(x > 5)" }
        within = { expression = "seconds_within(latch && x > 2)" }
        latch = { expression = "latched(x > 7, y > 7)", interpolation = "hold" }
        held = { expression = "held(x + y, delayed(y > 3, 0.5))" }
        rate = { expression = "rate(within)" }
        "#,
            &[
                "[{ channel = \"x\", below = 4, hysteresis = 2 }]",
                "[{ channel = \"y\", above = 5, hysteresis = 1, delay_ms = 700 }]",
                "[{ any = [{ channel = \"since\", above = 1, delay_ms = 300 }, { channel = \"x\", below = 1, hysteresis = 1 }], delay_ms = 200 }]",
            ],
        )
    });
    &DEFINITION
}

fn rows() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
    prop::collection::vec((0.05_f64..0.9, 0.0_f64..10.0, 0.0_f64..10.0), 2..30)
}

fn written(rows: &[(f64, f64, f64)]) -> (String, Vec<f64>) {
    let (mut text, mut time_s) = (String::from("t_s,x,y,y_ok\n"), 0.0);
    let mut times_s = Vec::new();
    for (step_s, x, y) in rows {
        time_s += step_s;
        writeln!(text, "{time_s},{x},{y},1").expect("text can be written");
        times_s.push(time_s);
    }
    (text, times_s)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_moment_is_the_same_in_whatever_order_it_is_asked_for(rows in rows(), asked in prop::collection::vec(0.0_f64..1.0, 1..20)) {
        let definition = with_memory();
        let (text, times_s) = written(&rows);
        let all = recording(definition, &text);
        let (from_s, to_s) = all.span_s();
        let mut buffer = all.inputs(to_s);
        for share in asked {
            let time_s = from_s + share * (to_s - from_s);
            all.inputs_at(time_s, &mut buffer);
            prop_assert_eq!(&buffer, &recording(definition, &text).inputs(time_s));
        }
        // What comes later changes nothing: at each row as in a recording that ends there.
        for (k, time_s) in times_s.iter().enumerate() {
            let (cut, _) = written(&rows[..=k]);
            prop_assert_eq!(all.inputs(*time_s), recording(definition, &cut).inputs(*time_s));
        }
    }

    #[test]
    fn states_are_those_of_machines_that_run_from_the_start(rows in rows(), share in 0.0_f64..1.0) {
        let definition = with_memory();
        let (text, times_s) = written(&rows);
        let all = recording(definition, &text);
        // Machines that are told row by row, and the moment last.
        let (mut low, mut high_since_s, mut latch) = (false, None::<f64>, false);
        let (mut since_s, mut was_over) = (None::<f64>, false);
        for k in 0..rows.len() {
            let next_s = times_s.get(k + 1).copied().unwrap_or(times_s[k] + 1.0);
            let between_s = times_s[k] + share * (next_s - times_s[k]) * 0.999;
            for time_s in [times_s[k], between_s] {
                let inputs = all.inputs(time_s);
                let number = |name: &str| inputs.value(definition.channel(name)).number();
                let (x, y) = (number("x").expect("valid"), number("y").expect("valid"));
                let low_now = if low { x < 6.0 } else { x < 4.0 };
                let high_now = if high_since_s.is_some() { y > 4.0 } else { y > 5.0 };
                let begun_s = high_since_s.unwrap_or(time_s);
                let latch_now = x > 7.0 || (latch && y <= 7.0);
                let over = x > 5.0;
                let since_now = if over && !was_over { Some(time_s) } else { since_s };
                prop_assert_eq!(inputs.active_since_s[0].is_some(), low_now);
                prop_assert_eq!(inputs.active_since_s[1].is_some(), high_now && time_s - begun_s + 1e-9 >= 0.7);
                prop_assert_eq!(number("since"), since_now.map(|s| time_s - s));
                if time_s == times_s[k] {
                    (low, latch, was_over, since_s) = (low_now, latch_now, over, since_now);
                    high_since_s = high_now.then_some(begun_s);
                    prop_assert_eq!(number("latch"), Some(f64::from(u8::from(latch))));
                }
            }
        }
    }
}

/// An alert is acknowledged from the first row at which the crew does so while it is active, until it ends.
#[test]
fn alerts_are_acknowledged_while_they_are_active() {
    let text = r##"
[display]
name = "d"
width = 100
height = 100
background = "black"
[colors]
black = "#000000"
[fonts]
sans = { builtin = "B612 Regular" }
[channels]
hot = { column = "hot", interpolation = "hold" }
pressed = { column = "pressed", interpolation = "hold" }
[[region]]
id = "r"
rect = [0, 0, 100, 100]
hazard = "minor"
[[region.symbol]]
kind = "alerts"
position = [10, 20]
line_height = 20
slots = 1
font = "sans"
size = 12
colors = { warning = "black", caution = "black", advisory = "black" }
unacknowledged = { until = [{ channel = "pressed", equals = 1 }], look = { color = "black" } }
alert = [{ text = "HOT", class = "warning", when = [{ channel = "hot", equals = 1 }] }]
"##;
    let d = Definition::from_toml(text, "d.toml", std::path::Path::new("")).unwrap();
    // Pressed at 1 s, before it is active; again at 4 s; gone at 6 s, back at 7 s.
    let rows = "t_s,hot,pressed\n0,0,0\n1,0,1\n2,1,0\n3,1,0\n4,1,1\n5,1,0\n6,0,0\n7,1,0\n8,1,0\n";
    let r = Recording::from_reader(rows.as_bytes(), "i.csv", &d, MissingColumns::Refuse).unwrap();
    let told = |time_s: f64| {
        let inputs = r.inputs(time_s);
        (inputs.active_since_s[0].is_some(), inputs.acknowledged[0])
    };
    assert_eq!(told(1.5), (false, false));
    assert_eq!(told(3.5), (true, false));
    assert_eq!(told(4.0), (true, true));
    assert_eq!(told(5.9), (true, true));
    assert_eq!(told(6.5), (false, false));
    assert_eq!(told(7.5), (true, false));
}
