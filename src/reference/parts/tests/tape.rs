//! Tests: tape, pinned to positions worked out by hand.

use super::super::bench;
use crate::definition::Definition;
use crate::reference::scene::{Bounds, Scene};

const TAPE: &str = r##"
    kind = "tape"
    rect = [20, 0, 60, 200]
    channel = "a"
    direction = "up"
    edge = "right"
    px_per_unit = 2.0
    background = "ground"
    min = 0.0
    max = 300.0
    ticks = { major_step = 20.0, major_length = 12.0, minor_step = 10.0, minor_length = 6.0, color = "white",
              labels = { font = "sans", size = 10.0, distance = 30.0 } }
    bands = [{ from = 80.0, to = 90.0, color = "green" }]
    band_width = 5.0
    bugs = [{ channel = "b", color = "sky", size = [16.0, 8.0] }]
    window = { rect = [20, 85, 60, 30], background = "black", border = "amber",
               readout = { channel = "a", position = [50.0, 100.0], font = "mono", size = 16.0, color = "white" } }
    failure = { rect = [20, 0, 60, 200], text = "SPD", font = "sans", size = 14.0, color = "red",
                background = "black" }
"##;

fn draw(text: &str, values: &[(&str, f64)]) -> (Definition, Scene) {
    let d = bench::display(text);
    let scene = bench::moving(&d, &bench::inputs(&d, values));
    (d, scene)
}

/// Middle height of the number `text`.
fn number_y(d: &Definition, scene: &Scene, text: &str) -> f64 {
    let lines = bench::lines(scene);
    let line = lines
        .iter()
        .find(|l| l.text == text && l.clip.is_some())
        .expect("the number is shown");
    line.words.origin.y - d.face(line.words.font).cap_height * 5.0
}

#[test]
fn the_value_stands_at_the_reference_and_higher_values_above_it() {
    let (d, scene) = draw(TAPE, &[("a", 100.0)]);
    assert!((number_y(&d, &scene, "100") - 100.0).abs() < 1e-9);
    assert!((number_y(&d, &scene, "120") - 60.0).abs() < 1e-9);
    assert!((number_y(&d, &scene, "60") - 180.0).abs() < 1e-9);
    let (d, scene) = draw(TAPE, &[("a", 103.5)]);
    assert!(
        (number_y(&d, &scene, "100") - 107.0).abs() < 1e-9,
        "the scale goes down as the value grows"
    );
    let off = TAPE.replace("px_per_unit", "reference = 120.0\npx_per_unit");
    let (d, scene) = draw(&off, &[("a", 100.0)]);
    assert!((number_y(&d, &scene, "100") - 120.0).abs() < 1e-9);
    let down = TAPE.replace("\"up\"", "\"down\"");
    let (d, scene) = draw(&down, &[("a", 100.0)]);
    assert!((number_y(&d, &scene, "120") - 140.0).abs() < 1e-9);
}

#[test]
fn marks_bands_and_bugs_stand_at_their_values_inside_the_area() {
    let (d, scene) = draw(TAPE, &[("a", 100.0), ("b", 110.0)]);
    let marks: Vec<_> = bench::items(&scene, d.color("white"))
        .into_iter()
        .filter(|i| bench::is_fill(i))
        .map(|i| i.bounds)
        .collect();
    // Values 50 to 150: six long marks (with 60 and 140), short ones at 50, 70 ... 150.
    assert!(
        marks.contains(&Bounds {
            left: 68.0,
            top: 99.0,
            right: 80.0,
            bottom: 101.0
        }),
        "100"
    );
    assert!(
        marks.contains(&Bounds {
            left: 74.0,
            top: 79.0,
            right: 80.0,
            bottom: 81.0
        }),
        "110"
    );
    assert_eq!(marks.len(), 11);
    let band = bench::items(&scene, d.color("green"))[0].bounds;
    assert_eq!(
        band,
        Bounds {
            left: 75.0,
            top: 120.0,
            right: 80.0,
            bottom: 140.0
        }
    );
    let bug = bench::items(&scene, d.color("sky"))[0];
    assert_eq!(
        bug.bounds,
        Bounds {
            left: 72.0,
            top: 72.0,
            right: 80.0,
            bottom: 88.0
        }
    );
    let clip = Some(Bounds::from_rect([20, 0, 60, 200]));
    assert!(
        scene
            .items()
            .iter()
            .take_while(|i| i.color != d.color("black"))
            .all(|i| i.clip == clip)
    );
}

#[test]
fn a_bug_beyond_the_view_is_parked_at_its_end() {
    for (v, middle) in [(149.0, 2.0), (151.0, 0.0), (299.0, 0.0), (20.0, 200.0)] {
        let (d, scene) = draw(TAPE, &[("a", 100.0), ("b", v)]);
        let b = bench::items(&scene, d.color("sky"))[0].bounds;
        assert_eq!(f64::midpoint(b.top, b.bottom), middle, "{v}");
    }
    let (d, scene) = draw(TAPE, &[("a", 100.0)]);
    assert!(
        bench::items(&scene, d.color("sky")).is_empty(),
        "no bug when its data are invalid"
    );
}

#[test]
fn a_bug_beyond_the_scale_stands_at_its_end_or_goes_on_to_the_end_of_the_area() {
    let past = TAPE.replace("bugs = ", "bugs_past_ends = true\n    bugs = ");
    // The scale ends at 300 and stops there; the area ends 100 px above it, which is 50 units.
    for (value, bug, at_end, beyond) in [
        (280.0, 310.0, 60.0, 40.0),
        (280.0, 360.0, 60.0, 0.0),
        (320.0, 310.0, 100.0, 80.0),
        (280.0, 290.0, 80.0, 80.0),
    ] {
        for (text, middle) in [(TAPE, at_end), (&past, beyond)] {
            let (d, scene) = draw(text, &[("a", value), ("b", bug)]);
            let b = bench::items(&scene, d.color("sky"))[0].bounds;
            assert_eq!(f64::midpoint(b.top, b.bottom), middle, "{value} {bug}");
        }
    }
}

#[test]
fn the_scale_ends_at_its_lowest_and_highest_value() {
    let (d, scene) = draw(TAPE, &[("a", 10.0)]);
    let lowest = bench::items(&scene, d.color("white"))
        .into_iter()
        .filter(|i| bench::is_fill(i))
        .map(|i| i.bounds.bottom)
        .fold(0.0, f64::max);
    assert_eq!(lowest, 121.0, "the mark at 0");
    let (d, scene) = draw(TAPE, &[("a", -10.0)]);
    assert!(
        (number_y(&d, &scene, "0") - 100.0).abs() < 1e-9,
        "it stops there"
    );
    assert!(
        bench::lines(&scene).iter().any(|l| l.text == "-10"),
        "the digits go on"
    );
}

#[test]
fn the_window_lies_on_the_scale() {
    let (d, scene) = draw(TAPE, &[("a", 100.0)]);
    let last: Vec<_> = scene
        .items()
        .iter()
        .rev()
        .take(3)
        .map(|i| (i.color, i.clip))
        .collect();
    assert_eq!(
        last,
        [
            (d.color("white"), None),
            (d.color("amber"), None),
            (d.color("black"), None)
        ]
    );
    assert_eq!(bench::lines(&scene).last().expect("digits").text, "100");
}

#[test]
fn a_repeating_scale_goes_round() {
    let text = TAPE
        .replace("max = 300.0", "max = 300.0\nperiod = 360.0")
        .replace(
            "rect = [20, 0, 60, 200]\n    channel",
            "rect = [0, 0, 200, 40]\n    channel",
        )
        .replace("\"up\"", "\"right\"")
        .replace("edge = \"right\"", "edge = \"bottom\"");
    let (d, scene) = draw(&text, &[("a", 350.0), ("b", 5.0)]);
    let lines = bench::lines(&scene);
    let numbers: Vec<_> = lines
        .iter()
        .filter(|l| l.clip.is_some())
        .map(|l| l.text.as_str())
        .collect();
    assert_eq!(numbers, ["300", "320", "340", "0", "20", "40"]);
    let bug = bench::items(&scene, d.color("sky"))[0].bounds;
    assert_eq!(
        (bug.left, bug.right, bug.top, bug.bottom),
        (122.0, 138.0, 32.0, 40.0),
        "15 units on"
    );
    let band_of = |v: f64| {
        let (d, scene) = draw(&text, &[("a", v)]);
        bench::items(&scene, d.color("green"))
            .first()
            .map(|i| (i.bounds.left, i.bounds.right))
    };
    assert_eq!(band_of(85.0), Some((90.0, 110.0)));
    assert_eq!(band_of(445.0), Some((90.0, 110.0)));
    assert_eq!(band_of(-275.0), Some((90.0, 110.0)));
    assert_eq!(band_of(200.0), None);
}

#[test]
fn invalid_data_put_up_the_flag_alone() {
    let (_, scene) = draw(TAPE, &[("b", 100.0)]);
    assert_eq!(
        bench::lines(&scene)
            .iter()
            .map(|l| l.text.as_str())
            .collect::<Vec<_>>(),
        ["SPD"]
    );
    assert_eq!(scene.items().len(), 2);
}

#[test]
fn the_ground_is_fixed() {
    let d = bench::display(TAPE);
    let scene = bench::fixed(&d);
    assert_eq!(scene.items().len(), 1);
    assert_eq!(scene.items()[0].bounds, Bounds::from_rect([20, 0, 60, 200]));
}
