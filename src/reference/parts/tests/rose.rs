//! Tests: rose, pinned to positions worked out by hand.

use super::super::bench;
use crate::definition::Definition;
use crate::picture::Point;
use crate::reference::scene::{Layer, Scene};

const ROSE: &str = r##"
    kind = "rose"
    center = [100.0, 100.0]
    radius = 70.0
    channel = "a"
    color = "white"
    mark_length = 10.0
    font = "sans"
    size = 12.0
    label_radius = 50.0
    lubber = "amber"
    lubber_length = 12.0
    aircraft_span = 20.0
    bugs = [{ channel = "b", color = "sky", size = [12.0, 8.0] }]
    wind = { direction = "c", speed = "d", center = [30.0, 30.0], length = 24.0, width = 2.0, color = "green",
             calm_below = 2.0,
             speed_readout = { channel = "d", position = [30.0, 60.0], font = "mono", size = 10.0, color = "green" } }
    readout = { channel = "a", position = [100.0, 10.0], font = "mono", size = 14.0, color = "white",
                format = { digits = 3, wrap = 360.0, zero_as_wrap = true } }
    failure = { rect = [0, 0, 200, 200], text = "HDG", font = "sans", size = 14.0, color = "red",
                background = "black" }
"##;

fn draw(values: &[(&str, f64)]) -> (Definition, Scene) {
    let d = bench::display(ROSE);
    let scene = bench::moving(&d, &bench::inputs(&d, values));
    (d, scene)
}

/// Middle of a letter on the card.
fn letter(d: &Definition, scene: &Scene, text: &str) -> Point {
    let lines = bench::lines(scene);
    let line = lines
        .iter()
        .find(|l| l.text == text)
        .expect("the letter is on the card");
    let face = d.face(line.words.font);
    let (along, down) = (face.line_advance(text) * 6.0, face.cap_height * 6.0);
    let ((c, s), o) = (line.words.direction, line.words.origin);
    Point::new(o.x + along * c + down * s, o.y + along * s - down * c)
}

#[test]
fn at_heading_90_e_stands_upright_under_the_lubber_line() {
    let (d, scene) = draw(&[("a", 90.0)]);
    for (text, x, y) in [
        ("E", 100.0, 50.0),
        ("N", 50.0, 100.0),
        ("S", 150.0, 100.0),
        ("W", 100.0, 150.0),
    ] {
        let p = letter(&d, &scene, text);
        assert!(
            (p.x - x).abs() < 1e-9 && (p.y - y).abs() < 1e-9,
            "{text}: {p:?}"
        );
    }
    let lines = bench::lines(&scene);
    assert_eq!(
        lines
            .iter()
            .find(|l| l.text == "E")
            .expect("E")
            .words
            .direction,
        (1.0, 0.0)
    );
    let lubber = bench::items(&scene, d.color("amber"))[0];
    assert_eq!(lubber.layer, Layer::Foreground);
    assert!((lubber.bounds.bottom - 30.0).abs() < 1e-9 && (lubber.bounds.top - 18.0).abs() < 1e-9);
    assert!((f64::midpoint(lubber.bounds.left, lubber.bounds.right) - 100.0).abs() < 1e-9);
}

#[test]
fn turning_right_turns_the_card_left() {
    let (d, scene) = draw(&[("a", 30.0)]);
    let n = letter(&d, &scene, "N");
    assert!((n.x - 75.0).abs() < 1e-9 && (n.y - (100.0 - 50.0 * 0.75f64.sqrt())).abs() < 1e-9);
    assert!((letter(&d, &scene, "3").x - 100.0).abs() < 1e-9);
}

#[test]
fn the_card_has_72_marks_and_12_labels() {
    let (d, scene) = draw(&[("a", 0.0)]);
    let labels: Vec<_> = bench::lines(&scene)
        .iter()
        .map(|l| l.text.clone())
        .collect();
    let card = [
        "N", "3", "6", "E", "12", "15", "S", "21", "24", "W", "30", "33",
    ];
    assert_eq!(labels[..12], card);
    let marks: Vec<_> = bench::items(&scene, d.color("white"))
        .into_iter()
        .filter(|i| bench::is_fill(i))
        .collect();
    assert_eq!(marks.len(), 72);
    assert!(
        (marks[0].bounds.bottom - 40.0).abs() < 1e-9,
        "10 px inwards from 30"
    );
    assert_eq!(labels.last().map(String::as_str), Some("360"));
}

#[test]
fn the_bug_has_its_notch_towards_the_rim_at_its_bearing() {
    let (d, scene) = draw(&[("a", 60.0), ("b", 150.0)]);
    let b = bench::items(&scene, d.color("sky"))[0].bounds;
    for (edge, place) in [
        (b.left, 170.0),
        (b.right, 178.0),
        (b.top, 94.0),
        (b.bottom, 106.0),
    ] {
        assert!((edge - place).abs() < 1e-9, "{b:?}");
    }
}

#[test]
fn the_wind_arrow_points_where_the_wind_goes_seen_from_the_cockpit() {
    // Wind from the north while flying north: it blows at us, the arrow points down.
    for (heading, from, x, y) in [
        (0.0, 0.0, 30.0, 42.0),
        (90.0, 0.0, 42.0, 30.0),
        (0.0, 90.0, 18.0, 30.0),
    ] {
        let (d, scene) = draw(&[("a", heading), ("c", from), ("d", 9.0)]);
        let tip = bench::outline(&scene, d.color("green"), 0)[0];
        assert!(
            (tip.x - x).abs() < 1e-9 && (tip.y - y).abs() < 1e-9,
            "{heading} {from}: {tip:?}"
        );
    }
    let arrows = |values: &[(&str, f64)]| {
        let (d, scene) = draw(values);
        bench::items(&scene, d.color("green"))
            .into_iter()
            .filter(|i| bench::is_fill(i))
            .count()
    };
    assert_eq!(arrows(&[("a", 0.0), ("c", 0.0), ("d", 1.9)]), 0, "calm");
    assert_eq!(arrows(&[("a", 0.0), ("c", 0.0), ("d", 2.0)]), 1);
    assert_eq!(arrows(&[("a", 0.0), ("d", 9.0)]), 0, "direction invalid");
}

#[test]
fn invalid_heading_puts_up_the_flag_alone() {
    let (_, scene) = draw(&[("b", 0.0), ("c", 0.0), ("d", 9.0)]);
    assert_eq!(
        bench::lines(&scene)
            .iter()
            .map(|l| l.text.as_str())
            .collect::<Vec<_>>(),
        ["HDG"]
    );
    assert_eq!(scene.items().len(), 2);
}
