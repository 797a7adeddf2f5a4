//! Tests: dial, pinned to positions worked out by hand.

use super::super::bench;
use crate::picture::Point;
use crate::reference::drawing::Drawing;

const DIAL: &str = r##"
    kind = "dial"
    center = [100.0, 100.0]
    radius = 80.0
    breakpoints = [[0.0, -120.0], [40.0, -60.0], [100.0, 120.0]]
    ticks = { major_step = 20.0, major_length = 10.0, minor_step = 10.0, minor_length = 5.0, color = "white",
              labels = { font = "sans", size = 10.0, step = 40.0, distance = 20.0 } }
    bands = [{ from = 40.0, to = 70.0, color = "green" }]
    limits = [{ at = 100.0, color = "red" }]
    pointers = [
        { channel = "a", tip_radius = 70.0, tail_radius = 30.0, width = 6.0, color = "sky" },
        { channel = "b", shape = "triangle", tip_radius = 80.0, tail_radius = 92.0, width = 8.0, color = "ground",
          color_rules = [{ when = [{ channel = "b", at_least = 90.0 }], color = "amber" }] },
    ]
    readout = { channel = "a", position = [100.0, 100.0], font = "mono", size = 14.0, color = "white" }
    failure = { rect = [20, 20, 160, 160], text = "RPM", font = "sans", size = 14.0, color = "red",
                background = "black" }
"##;

fn tip(v: f64) -> Point {
    let d = bench::display(DIAL);
    let scene = bench::moving(&d, &bench::inputs(&d, &[("a", v), ("b", 0.0)]));
    bench::outline(&scene, d.color("sky"), 0)[0]
}

#[test]
fn breakpoints_land_on_their_angles() {
    let (s, c) = (3f64.sqrt() / 2.0, 0.5);
    for (v, x, y) in [
        (0.0, -s, c),      // -120: left and below
        (20.0, -1.0, 0.0), // half-way to the first bend: -90
        (40.0, -s, -c),    // -60
        (60.0, 0.0, -1.0), // a third of the way from -60 to 120: up
        (70.0, c, -s),     // half-way: 30
        (100.0, s, c),     // 120
        (130.0, s, c),     // stops at the end
        (-9.0, -s, c),
    ] {
        let p = tip(v);
        assert!(
            (p.x - (100.0 + 70.0 * x)).abs() < 1e-9 && (p.y - (100.0 + 70.0 * y)).abs() < 1e-9,
            "{v}: {p:?}"
        );
    }
}

#[test]
fn needle_is_a_bar_with_a_point() {
    let d = bench::display(DIAL);
    let scene = bench::moving(&d, &bench::inputs(&d, &[("a", 60.0), ("b", 0.0)]));
    let outline = bench::outline(&scene, d.color("sky"), 0);
    let hand_worked = [
        (100.0, 30.0),
        (103.0, 39.0),
        (103.0, 70.0),
        (97.0, 70.0),
        (97.0, 39.0),
    ];
    for (p, (x, y)) in outline.iter().zip(hand_worked) {
        assert!((p.x - x).abs() < 1e-9 && (p.y - y).abs() < 1e-9, "{p:?}");
    }
}

#[test]
fn marks_numbers_bands_and_limits_stand_at_their_values() {
    let d = bench::display(DIAL);
    let scene = bench::fixed(&d);
    let lines = bench::lines(&scene);
    assert_eq!(
        lines.iter().map(|l| l.text.as_str()).collect::<Vec<_>>(),
        ["0", "40", "80"]
    );
    // The number 40 is centred 60 px from the middle at -60 degrees.
    let (face, l) = (d.face(d.font("sans")), &lines[1]);
    assert!(
        (l.words.origin.x + face.line_advance("40") * 5.0 - (100.0 - 60.0 * 0.75f64.sqrt())).abs()
            < 1e-9
    );
    assert!((l.words.origin.y - face.cap_height * 5.0 - 70.0).abs() < 1e-9);
    // 5 short marks, 6 long ones, the line.
    let white = bench::items(&scene, d.color("white"));
    assert_eq!(white.len() - lines.len(), 5 + 6 + 1);
    let band = bench::items(&scene, d.color("green"))[0].bounds;
    assert!(
        (band.left - (100.0 - 80.0 * 0.75f64.sqrt())).abs() < 1e-9,
        "from -60 degrees"
    );
    assert!((band.right - 140.0).abs() < 1e-9, "to 30 degrees");
    let limit = bench::points(&scene, bench::items(&scene, d.color("red"))[0]);
    let middle = limit
        .iter()
        .fold((0.0, 0.0), |m, p| (m.0 + p.x / 4.0, m.1 + p.y / 4.0));
    // From 70 to 84 px at 120 degrees: its middle at 77.
    assert!(
        (middle.0 - (100.0 + 77.0 * 0.75f64.sqrt())).abs() < 1e-9
            && (middle.1 - 138.5).abs() < 1e-9
    );
}

#[test]
fn a_whole_turn_marks_its_seam_once() {
    let text = DIAL.replace(
        "[[0.0, -120.0], [40.0, -60.0], [100.0, 120.0]]",
        "[[0.0, 0.0], [80.0, 360.0]]",
    );
    let d = bench::display(&text);
    let lines = bench::lines(&bench::fixed(&d));
    assert_eq!(
        lines.iter().map(|l| l.text.as_str()).collect::<Vec<_>>(),
        ["0", "40"]
    );
}

#[test]
fn one_invalid_pointer_is_absent_and_all_invalid_put_up_the_flag() {
    let d = bench::display(DIAL);
    let scene = bench::moving(&d, &bench::inputs(&d, &[("b", 95.0)]));
    assert!(bench::items(&scene, d.color("sky")).is_empty());
    assert_eq!(
        bench::items(&scene, d.color("amber")).len(),
        1,
        "colour by rule"
    );
    assert_eq!(bench::lines(&scene)[0].text, "---");
    let scene = bench::moving(&d, &bench::inputs(&d, &[]));
    let lines = bench::lines(&scene);
    assert_eq!(
        lines.iter().map(|l| l.text.as_str()).collect::<Vec<_>>(),
        ["RPM"]
    );
    assert_eq!(scene.items().len(), 2);
}

/// A whole turn stands for 1,000, over and over.
const ROLLING: &str = r##"
    kind = "dial"
    rolling = true
    center = [100.0, 100.0]
    radius = 80.0
    breakpoints = [[0.0, 0.0], [1000.0, 360.0]]
    ticks = { major_step = 250.0, major_length = 10.0, color = "white", labels = { font = "sans", size = 10.0, distance = 20.0 } }
    pointers = [{ channel = "a", tip_radius = 70.0, tail_radius = 30.0, width = 6.0, color = "sky" }]
    failure = { rect = [20, 20, 160, 160], text = "ALT", font = "sans", size = 14.0, color = "red", background = "black" }
"##;

#[test]
fn numbers_of_a_rolling_scale_are_those_of_the_turn_that_the_pointer_is_in() {
    let d = bench::display(ROLLING);
    // The tip goes 70 px round the middle.
    for (v, numbers, tip) in [
        (4750.0, ["4000", "4250", "4500", "4750"], (30.0, 100.0)),
        (4999.9, ["4000", "4250", "4500", "4750"], (100.0, 30.0)),
        (5000.0, ["5000", "5250", "5500", "5750"], (100.0, 30.0)),
        (250.0, ["0", "250", "500", "750"], (170.0, 100.0)),
        (-500.0, ["-1000", "-750", "-500", "-250"], (100.0, 170.0)),
    ] {
        let scene = bench::moving(&d, &bench::inputs(&d, &[("a", v)]));
        let lines = bench::lines(&scene);
        let read: Vec<&str> = lines.iter().map(|l| l.text.as_str()).collect();
        assert_eq!(read, numbers, "{v}");
        let at = bench::outline(&scene, d.color("sky"), 0)[0];
        assert!(libm::hypot(at.x - tip.0, at.y - tip.1) < 0.1, "{v}: {at:?}");
    }
    // Marks stand still, and the flag stands alone.
    assert_eq!(bench::fixed(&d).items().len(), 1 + 4);
    let lines = bench::lines(&bench::moving(&d, &bench::inputs(&d, &[])));
    assert_eq!(
        lines.iter().map(|l| l.text.as_str()).collect::<Vec<_>>(),
        ["ALT"]
    );
}

#[test]
fn the_pointer_of_a_rolling_scale_is_read_as_the_whole_value() {
    let d = bench::display(ROLLING);
    let drawing = Drawing::new(&d);
    let [pointer] = &drawing.freedoms(&d, 0)[..] else {
        panic!("one freedom")
    };
    assert_eq!((pointer.period, pointer.repeats), (None, Some(1000.0)));
    assert_eq!(pointer.difference(5001.0, 4001.0), 1000.0);
    let px = drawing.px_per_unit(&d, 0, pointer, &bench::inputs(&d, &[("a", 4733.0)]));
    // 0.36 deg for a unit, at the tip.
    assert!((px - 70.0 * 0.36f64.to_radians()).abs() < 1e-9, "{px}");
}
