//! Tests: power gauge, pinned to positions worked out by hand.

use super::super::bench;
use crate::reference::drawing::Drawing;

/// From left (-90) over up (100 %) to right (120 %); the arc of the time goes half round, from left to right.
const GAUGE: &str = r##"
    kind = "power_gauge"
    center = [100.0, 100.0]
    radius = 60.0
    breakpoints = [[0.0, -90.0], [100.0, 0.0], [120.0, 90.0]]
    line_width = 0.0
    ticks = { major_step = 50.0, major_length = 10.0, color = "white" }
    ranges = [
        { to = 110.0, limit_s = 300.0, left = "b", color = "amber" },
        { to = 115.0, limit_s = 120.0, left = "c", color = "sky" },
        { to = 120.0, limit_s = 30.0, left = "d", color = "red" },
    ]
    pointer = { channel = "a", shape = "line", tip_radius = 50.0, tail_radius = 10.0, width = 4.0, color = "green" }
    time = { radii = [70.0, 80.0], from_deg = -90.0, to_deg = 90.0,
             digits = { position = [100.0, 150.0], font = "mono", size = 14.0, format = { suffix = " s" } } }
    failure = { rect = [0, 0, 200, 200], font = "sans", size = 20.0, color = "ground", background = "black" }
"##;

/// Colours of the pointer and of the arc of the time, right end of the arc, and the digits.
fn shown(power: f64) -> (String, Option<(String, f64)>, Vec<String>) {
    let d = bench::display(GAUGE);
    let values = [("a", power), ("b", 75.0), ("c", 60.0), ("d", 15.0)];
    let scene = bench::moving(&d, &bench::inputs(&d, &values));
    let colors = ["green", "amber", "sky", "red"];
    let name = |rgb| {
        colors
            .into_iter()
            .find(|c| d.color(c) == rgb)
            .unwrap()
            .to_owned()
    };
    let fills: Vec<_> = scene.items().iter().filter(|i| bench::is_fill(i)).collect();
    let arc = fills.get(1).map(|arc| {
        let points = bench::points(&scene, arc);
        // The end of the outer edge.
        let far = points
            .iter()
            .filter(|p| libm::hypot(p.x - 100.0, p.y - 100.0) > 79.9);
        (name(arc.color), far.map(|p| p.x).fold(0.0, f64::max))
    });
    let digits = bench::lines(&scene).into_iter().map(|l| l.text);
    (name(fills[0].color), arc, digits.collect())
}

#[test]
fn the_arc_runs_down_with_the_time_of_the_range_that_the_power_is_in() {
    assert_eq!(
        shown(100.0),
        ("green".into(), None, vec![]),
        "100 is continuous"
    );
    // A quarter of five minutes: 45 of 180 deg from the left, at -45 deg.
    let (pointer, arc, digits) = shown(105.0);
    let (color, end) = arc.unwrap();
    assert_eq!(
        (pointer.as_str(), color.as_str(), &digits[..]),
        ("amber", "amber", &["75 s".to_owned()][..])
    );
    assert!((end - (100.0 - 80.0 * 0.5f64.sqrt())).abs() < 1e-6, "{end}");
    // Half of two minutes, and half of thirty seconds: up.
    for (power, color, written) in [
        (110.001, "sky", "60 s"),
        (115.0, "sky", "60 s"),
        (117.0, "red", "15 s"),
        (130.0, "red", "15 s"),
    ] {
        let (pointer, arc, digits) = shown(power);
        let (arc, end) = arc.unwrap();
        assert_eq!(
            (pointer.as_str(), arc.as_str(), digits[0].as_str()),
            (color, color, written),
            "{power}"
        );
        assert!((end - 100.0).abs() < 1e-6, "{power}: {end}");
    }
}

#[test]
fn times_are_freedoms_of_seconds() {
    let d = bench::display(GAUGE);
    let drawing = Drawing::new(&d);
    let found = drawing.freedoms(&d, 0);
    let names: Vec<&str> = found.iter().map(|f| &*f.what).collect();
    assert_eq!(names, ["pointer", "time left", "time left", "time left"]);
    // 180 deg for 300, 120 and 30 s, at 80 px.
    for (f, seconds) in found[1..].iter().zip([300.0, 120.0, 30.0]) {
        let px = drawing.least_px_per_unit(0, f);
        assert!(
            (px - 80.0 * std::f64::consts::PI / seconds).abs() < 1e-3,
            "{px}"
        );
        assert_eq!((f.low, f.high), (0.0, seconds));
    }
    // Those of ranges that the power is not in are not shown.
    let inputs = bench::inputs(&d, &[("a", 112.0), ("b", 9.0), ("c", 8.0), ("d", 7.0)]);
    let px: Vec<bool> = found
        .iter()
        .map(|f| drawing.px_per_unit(&d, 0, f, &inputs) > 0.0)
        .collect();
    assert_eq!(px, [true, false, true, false]);
}
