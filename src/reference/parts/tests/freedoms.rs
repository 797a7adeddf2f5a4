//! Tests: freedoms and readouts.

use super::super::bench;
use crate::definition::Definition;
use crate::picture::Point;
use crate::recording::inputs::{Inputs, Value};
use crate::reference::drawing::Drawing;
use crate::reference::parts::Freedom;
use crate::reference::scene::{Layer, Scene};

fn list(symbol: usize) -> (Definition, Vec<Freedom>) {
    let d = bench::display(bench::READ[symbol]);
    let found = Drawing::new(&d).freedoms(&d, 0);
    (d, found)
}

#[test]
fn every_driven_part_is_listed_once() {
    let names: Vec<Vec<String>> = (0..bench::READ.len())
        .map(|k| list(k).1.iter().map(|f| f.what.to_string()).collect())
        .collect();
    let hand_written: [&[&str]; 5] = [
        &["pitch", "roll", "slip"],
        &["pointer", "pointer"],
        &["scale", "bug"],
        &["card", "bug", "wind"],
        &["length"],
    ];
    assert_eq!(names, hand_written);
    let d = bench::display_of(&bench::READ);
    let drawing = Drawing::new(&d);
    let fields = drawing.readouts(&d, 0);
    let shown: Vec<(usize, &str)> = fields.iter().map(|r| (r.symbol, &*r.what)).collect();
    assert_eq!(
        shown,
        [
            (1, "readout"),
            (2, "window"),
            (3, "wind speed"),
            (3, "readout")
        ]
    );
    let all = drawing.freedoms(&d, 0);
    assert_eq!(
        all.iter().map(|f| f.symbol).collect::<Vec<_>>(),
        [0, 0, 0, 1, 1, 2, 2, 3, 3, 3, 4]
    );
}

/// Marks of two lengths that go with a card each by a motion of its own, and numbers of them: found when a bias of twice the
/// tolerance agreed, since one gradient was fitted twice.
#[test]
fn parts_that_move_alike_are_one_freedom_and_words_are_none() {
    let motion = r#"motion = [{ name = "card", channel = "a", period = 360, per_unit = -1, turn_about = [100, 100] }]"#;
    let mark = |step: f64, length: f64| {
        format!(
            "{{ repeat = {{ step = {step}, from = 0, to = 359, turn_about = [100, 100], within = [-60, 60] }}, \
             shape = {{ line = [[100, 20], [100, {}]] }}, stroke = {{ color = \"white\", width = 2 }}, {motion} }}",
            20.0 + length
        )
    };
    let needle = r#"{ shape = { rect = [99, 40, 2, 60] }, fill = "red",
        motion = [{ name = "needle", channel = "b", per_unit = 1, turn_about = [100, 100] }] }"#;
    let words = r#"{ shape = { words = { text = "N", position = [100, 10], font = "sans", size = 12, color = "white" } },
        motion = [{ name = "north", channel = "c", per_unit = 2, turn_about = [100, 100] }] }"#;
    let parts = [
        mark(30.0, 12.0),
        mark(10.0, 6.0),
        needle.to_owned(),
        words.to_owned(),
    ]
    .join(", ");
    let d = bench::display(&format!("kind = \"parts\"\npart = [{parts}]"));
    let found = Drawing::new(&d).freedoms(&d, 0);
    let names: Vec<&str> = found.iter().map(|f| &*f.what).collect();
    assert_eq!(names, ["card", "needle"]);
    // The outer end of the marks: 80 px for a radian.
    let px = Drawing::new(&d).least_px_per_unit(0, &found[0]);
    assert!((px - 80f64.hypot(1.0).to_radians()).abs() < 1e-9, "{px}");
}

/// Largest distance that a point of an item which keeps its shape goes between two scenes.
fn largest_move(before: &Scene, after: &Scene, limit_radius: f64) -> f64 {
    let middle = Point::new(100.0, 100.0);
    let mut most = 0.0f64;
    for (a, b) in before.items().iter().zip(after.items()) {
        if a.layer != Layer::Moving || !bench::is_fill(a) {
            continue;
        }
        for (p, q) in bench::points(before, a).iter().zip(bench::points(after, b)) {
            // What overreaches the area (the horizon's far ends) is not on the picture.
            if libm::hypot(p.x - middle.x, p.y - middle.y) <= limit_radius {
                most = most.max(libm::hypot(p.x - q.x, p.y - q.y));
            }
        }
    }
    most
}

#[test]
fn pixels_per_unit_are_what_the_drawing_does() {
    let values = [("a", 60.0), ("b", 70.0), ("c", 0.1), ("d", 9.0)];
    for symbol in 0..bench::READ.len() {
        let (d, found) = list(symbol);
        let mut inputs = bench::inputs(&d, &values);
        if symbol == 0 {
            // A pitch that has the horizon in view.
            inputs.values[d.channel("a").0] = Value::Number(5.0);
        }
        for f in &found {
            let h = 1e-4;
            let mut moved = inputs.clone();
            let v = inputs.value(f.channel).number().expect("a number");
            moved.values[f.channel.0] = Value::Number(v + h);
            let radius = match &*f.what {
                "roll" => 80.5,
                "pitch" => 150.0,
                _ => f64::INFINITY,
            };
            let mut a = bench::moving(&d, &inputs);
            let mut b = bench::moving(&d, &moved);
            if &*f.what == "card" {
                // The card moves bugs and wind along; look at the card alone.
                let bare = |inputs: &Inputs| {
                    let mut inputs = inputs.clone();
                    inputs.values[d.channel("b").0] = Value::Invalid;
                    inputs.values[d.channel("c").0] = Value::Invalid;
                    bench::moving(&d, &inputs)
                };
                (a, b) = (bare(&inputs), bare(&moved));
            }
            let measured = largest_move(&a, &b, radius) / h;
            let stated = Drawing::new(&d).px_per_unit(&d, 0, f, &inputs);
            // Corners of a pointer or bug lie a little farther out than the tip or the rim.
            assert!(
                (measured / stated - 1.0).abs() < 0.13,
                "{}: {measured} {stated}",
                f.what
            );
        }
    }
}

/// Where ink of a freedom stands in `every_kind.toml`, and how far it goes for a unit, worked out by hand.
#[rustfmt::skip]
const EVERY_KIND: [(usize, &str, usize, [f64; 4], f64); 11] = [
    (0, "pitch", 0, [0.0, 0.0, 240.0, 240.0], 4.0),
    // The bank pointer, 100 px from the middle.
    (0, "roll", 0, [110.0, 15.0, 130.0, 40.0], 100.0 * DEGREE),
    (0, "slip", 0, [90.0, 26.0, 150.0, 34.0], 100.0),
    (1, "scale", 0, [250.0, 10.0, 330.0, 230.0], 3.0),
    (1, "bug", 0, [250.0, 10.0, 330.0, 230.0], 3.0),
    // Corners of the marks at the rim, 2 px wide; of a bug outside it.
    (2, "card", 0, [380.0, 30.0, 580.0, 230.0], 90.005_555_384_098_37 * DEGREE),
    (2, "bug", 0, [380.0, 20.0, 580.0, 230.0], 100.124_921_972_503_93 * DEGREE),
    (2, "wind", 0, [588.0, 18.0, 632.0, 62.0], 20.056_171_120_131_57 * DEGREE),
    // In the lower stretch of the scale: 70 degrees for 60 %.
    (3, "pointer", 0, [10.0, 270.0, 190.0, 450.0], 70.0 * DEGREE * 70.0 / 60.0),
    (3, "pointer", 1, [10.0, 270.0, 190.0, 450.0], 74.0 * DEGREE * 70.0 / 60.0),
    (3, "length", 0, [220.0, 260.0, 240.0, 460.0], 0.5),
];
const DEGREE: f64 = std::f64::consts::PI / 180.0;

#[test]
fn every_freedom_of_every_kind_moves_as_stated() {
    let text = include_str!("../../../definition/tests/every_kind.toml")
        // A bug of its own channel: one that shows the heading stands still under the lubber line.
        .replace(
            "bugs = [{ channel = \"heading\"",
            "bugs = [{ channel = \"wind_from\"",
        );
    let d = Definition::from_toml(&text, "every_kind.toml", std::path::Path::new("")).unwrap();
    let mut inputs = bench::inputs(
        &d,
        &[
            ("pitch", 5.0),
            ("roll", 0.0),
            ("slip", 0.05),
            ("airspeed", 100.0),
            ("target_speed", 110.0),
            ("heading", 90.0),
            ("wind_from", 120.0),
            ("wind_speed", 20.0),
            ("rotor", 40.0),
            ("engine", 50.0),
            ("fuel", 200.0),
            ("mode", 0.0),
        ],
    );
    inputs.active_since_s = vec![None; 2];
    let drawing = Drawing::new(&d);
    let scene = |region: usize, inputs: &Inputs| {
        let mut scene = Scene::default();
        drawing.region_moving(&d, region, inputs, &mut scene);
        scene
    };
    let mut counted = 0;
    for (region, what, part, [left, top, right, bottom], by_hand) in EVERY_KIND {
        let found = drawing.freedoms(&d, region);
        let f = found.iter().filter(|f| &*f.what == what).nth(part).unwrap();
        let h = 1e-3;
        let v = inputs.value(f.channel).number().unwrap();
        let mut altered = inputs.clone();
        altered.values[f.channel.0] = Value::Number(v + h);
        let (before, after) = (scene(region, &inputs), scene(region, &altered));
        let mut most = 0.0f64;
        for (a, b) in before.items().iter().zip(after.items()) {
            if !bench::is_fill(a) || !bench::is_fill(b) {
                continue;
            }
            for (p, q) in bench::points(&before, a)
                .iter()
                .zip(bench::points(&after, b))
            {
                let is_seen = p.x >= left && p.x <= right && p.y >= top && p.y <= bottom;
                if is_seen {
                    most = most.max(libm::hypot(p.x - q.x, p.y - q.y) / h);
                }
            }
        }
        let stated = drawing.px_per_unit(&d, region, f, &inputs);
        assert!(
            (stated / by_hand - 1.0).abs() < 1e-9,
            "{what}: {stated}, by hand {by_hand}"
        );
        // Corners of a pointer or bug lie a little farther out than the tip or the rim.
        assert!(
            (most / stated - 1.0).abs() < 0.13,
            "{what}: {most} seen, {stated} stated"
        );
        // What lint goes by is the same figure, where the scale is coarsest; lint took 120 px for the 100 of roll.
        let least = drawing.least_px_per_unit(region, f);
        assert!(
            (least / by_hand - 1.0).abs() < 1e-9,
            "{what}: {least}, by hand {by_hand}"
        );
        counted += 1;
    }
    let all: usize = (0..d.regions().len())
        .map(|k| drawing.freedoms(&d, k).len())
        .sum();
    assert_eq!(counted, all, "every freedom has its line");
}

#[test]
fn hand_worked_pixels_per_unit() {
    let at = |symbol: usize, k: usize, values: &[(&str, f64)]| {
        let (d, found) = list(symbol);
        Drawing::new(&d).px_per_unit(&d, 0, &found[k], &bench::inputs(&d, values))
    };
    let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
    let degree = std::f64::consts::PI / 180.0;
    near(at(0, 0, &[("a", 3.0), ("b", 0.0)]), 4.0);
    near(at(0, 1, &[("a", 3.0), ("b", 0.0)]), 80.0 * degree);
    near(at(0, 2, &[("a", 3.0), ("b", 0.0), ("c", 0.39)]), 50.0);
    near(at(0, 2, &[("a", 3.0), ("b", 0.0), ("c", 0.41)]), 0.0);
    near(at(1, 0, &[("a", 20.0), ("b", 0.0)]), 70.0 * degree * 1.5);
    near(at(1, 0, &[("a", 60.0), ("b", 0.0)]), 70.0 * degree * 3.0);
    near(at(1, 0, &[("a", 101.0), ("b", 0.0)]), 0.0);
    near(at(2, 0, &[("a", 20.0)]), 2.0);
    near(at(2, 0, &[("a", -1.0)]), 0.0);
    near(at(2, 1, &[("a", 100.0), ("b", 120.0)]), 2.0);
    near(at(2, 1, &[("a", 100.0), ("b", 160.0)]), 0.0);
    // The corner of a mark 2 px wide at the rim.
    near(at(3, 0, &[("a", 500.0)]), libm::hypot(70.0, 1.0) * degree);
    near(
        at(3, 2, &[("a", 0.0), ("c", 0.0), ("d", 5.0)]),
        // A corner of the tail.
        libm::hypot(12.0, 1.0) * degree,
    );
    near(at(3, 2, &[("a", 0.0), ("c", 0.0), ("d", 1.0)]), 0.0);
    near(at(4, 0, &[("a", 20.0)]), 0.5);
    near(at(4, 0, &[("a", 75.0)]), 1.5);
    near(at(4, 0, &[]), 0.0);
}

#[test]
fn the_ink_of_a_freedom_stays_in_its_bounds() {
    for symbol in [1, 2, 3, 4] {
        let (d, found) = list(symbol);
        for (k, f) in found.iter().enumerate() {
            for v in [0.0, 13.0, 47.0, 99.0, 181.0, 272.0] {
                let scene = bench::moving(
                    &d,
                    &bench::inputs(&d, &[("a", v), ("b", v + 5.0), ("c", v), ("d", 9.0)]),
                );
                let color = [
                    ["", "", ""],
                    ["green", "red", ""],
                    ["white", "green", ""],
                    ["white", "sky", "green"],
                    ["green", "", ""],
                ];
                let area = f.bounds();
                for item in bench::items(&scene, d.color(color[symbol][k])) {
                    let Some(ink) = bench::is_fill(item).then_some(item.bounds) else {
                        continue;
                    };
                    let ink = item.clip.map_or(ink, |clip| ink.intersection(&clip));
                    assert!(
                        ink.left >= area.left - 1e-9 && ink.right <= area.right + 1e-9,
                        "{}",
                        f.what
                    );
                    assert!(
                        ink.top >= area.top - 1e-9 && ink.bottom <= area.bottom + 1e-9,
                        "{}",
                        f.what
                    );
                }
            }
        }
    }
}

#[test]
fn shown_values() {
    let (_, found) = list(0);
    assert_eq!(found[0].shown_value(12.0), 12.0);
    assert_eq!(found[1].shown_value(190.0), -170.0);
    let (_, found) = list(3);
    assert_eq!(found[0].shown_value(-10.0), 350.0);
    let (_, found) = list(4);
    assert_eq!(found[0].shown_value(130.0), 100.0);
}

/// Values after which outlines look the same: worked out from steps and what a step is in the unit of the channel.
#[test]
fn scales_repeat_after_their_marks_and_digits_after_their_last_place() {
    let repeats = |symbol: &str| -> Vec<Option<f64>> {
        let d = bench::display(symbol);
        let found = Drawing::new(&d).freedoms(&d, 0);
        found.iter().map(|f| f.repeats).collect()
    };
    // Pitch, roll and slip; bent dials; a tape with marks every 20, and its bug; a card with long marks every 10 and short
    // ones between, bug and wind; a bar.
    let all: Vec<_> = bench::READ.iter().map(|s| repeats(s)).collect();
    assert_eq!(all[1], [None, None]);
    assert_eq!(all[2], [Some(20.0), None]);
    assert_eq!(all[3], [Some(10.0), None, None]);
    assert_eq!(all[4], [None]);
    let drum = r#"
    kind = "parts"
    part = [{ shape = { drum = { channel = "a", position = [150, 100], font = "mono", size = 20, color = "white", row_height = 24, places = 4, unit = 20, last_digits = 2 } } }]
    "#;
    assert_eq!(repeats(drum), [Some(100.0)]);
    let d = bench::display(drum);
    let drawing = Drawing::new(&d);
    let digits = &drawing.freedoms(&d, 0)[0];
    // A row of 24 px for 20.
    let px = drawing.px_per_unit(&d, 0, digits, &bench::inputs(&d, &[("a", 4733.0)]));
    assert!((px - 1.2).abs() < 1e-9 && &*digits.what == "digits", "{px}");
    assert!(digits.is_rolling);
}
