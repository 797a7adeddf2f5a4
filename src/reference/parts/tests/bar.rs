//! Tests: bar, pinned to positions worked out by hand.

use super::super::bench;
use crate::picture::Point;
use crate::reference::scene::{Bounds, Layer};

const BAR: &str = r##"
    kind = "bar"
    rect = [50, 10, 20, 100]
    channel = "a"
    direction = "up"
    edge = "left"
    breakpoints = [[0.0, 0.0], [50.0, 0.25], [100.0, 1.0]]
    color = "green"
    color_rules = [{ when = [{ channel = "a", at_least = 90.0 }], color = "red" }]
    frame = "white"
    background = "black"
    ticks = { major_step = 50.0, major_length = 8.0, color = "white",
              labels = { font = "sans", size = 10.0, distance = 18.0 } }
    bands = [{ from = 75.0, to = 100.0, color = "amber" }]
    band_width = 4.0
    limits = [{ at = 75.0, color = "sky" }]
    failure = { rect = [50, 10, 20, 100], font = "sans", size = 10.0, color = "red", background = "ground" }
"##;

fn fill(text: &str, v: f64, color: &str) -> Option<Bounds> {
    let d = bench::display(text);
    let scene = bench::moving(&d, &bench::inputs(&d, &[("a", v)]));
    bench::items(&scene, d.color(color))
        .first()
        .map(|i| i.bounds)
}

#[test]
fn the_filled_length_follows_the_breakpoints() {
    for (v, top) in [(25.0, 97.5), (50.0, 85.0), (75.0, 47.5), (80.0, 40.0)] {
        let bar = Bounds {
            left: 50.0,
            top,
            right: 70.0,
            bottom: 110.0,
        };
        assert_eq!(fill(BAR, v, "green"), Some(bar), "{v}");
    }
    assert_eq!(fill(BAR, 0.0, "green"), None);
    assert_eq!(
        fill(BAR, -5.0, "green"),
        None,
        "it stops at the lowest value"
    );
    let full = Bounds {
        left: 50.0,
        top: 10.0,
        right: 70.0,
        bottom: 110.0,
    };
    assert_eq!(
        fill(BAR, 130.0, "red"),
        Some(full),
        "and at the highest; red from 90"
    );
    assert_eq!(fill(BAR, 90.0, "green"), None);
}

#[test]
fn other_directions_and_an_origin_inside() {
    let right = BAR
        .replace("\"up\"", "\"right\"")
        .replace("edge = \"left\"", "edge = \"top\"");
    let bar = Bounds {
        left: 50.0,
        top: 10.0,
        right: 55.0,
        bottom: 110.0,
    };
    assert_eq!(fill(&right, 50.0, "green"), Some(bar));
    let down = BAR.replace("\"up\"", "\"down\"");
    let bar = Bounds {
        left: 50.0,
        top: 10.0,
        right: 70.0,
        bottom: 35.0,
    };
    assert_eq!(fill(&down, 50.0, "green"), Some(bar));
    let origin = BAR.replace("color = \"green\"", "color = \"green\"\norigin = 50.0");
    let bar = Bounds {
        left: 50.0,
        top: 85.0,
        right: 70.0,
        bottom: 97.5,
    };
    assert_eq!(fill(&origin, 25.0, "green"), Some(bar));
}

#[test]
fn the_pointer_has_its_tip_on_the_edge() {
    let text = BAR.replace(
        "color = \"green\"",
        "color = \"green\"\nstyle = \"pointer\"",
    );
    let d = bench::display(&text);
    let scene = bench::moving(&d, &bench::inputs(&d, &[("a", 75.0)]));
    let outline = bench::outline(&scene, d.color("green"), 0);
    assert_eq!(
        outline,
        [
            Point::new(50.0, 47.5),
            Point::new(70.0, 37.5),
            Point::new(70.0, 57.5)
        ]
    );
}

#[test]
fn scale_frame_bands_and_limits() {
    let d = bench::display(BAR);
    let scene = bench::fixed(&d);
    let lines = bench::lines(&scene);
    let face = d.face(d.font("sans"));
    let numbers: Vec<_> = lines
        .iter()
        .map(|l| (l.text.as_str(), l.words.origin.y - face.cap_height * 5.0))
        .collect();
    assert_eq!(numbers, [("0", 110.0), ("50", 85.0), ("100", 10.0)]);
    let white = bench::items(&scene, d.color("white"));
    assert_eq!(
        white[0].bounds,
        Bounds {
            left: 49.0,
            top: 9.0,
            right: 71.0,
            bottom: 111.0
        },
        "the frame"
    );
    assert_eq!(
        white[2].bounds,
        Bounds {
            left: 42.0,
            top: 84.0,
            right: 50.0,
            bottom: 86.0
        },
        "the mark at 50"
    );
    let band = bench::items(&scene, d.color("amber"))[0].bounds;
    assert_eq!(
        band,
        Bounds {
            left: 46.0,
            top: 10.0,
            right: 50.0,
            bottom: 47.5
        }
    );
    let limit = bench::items(&scene, d.color("sky"))[0].bounds;
    assert_eq!(
        limit,
        Bounds {
            left: 40.0,
            top: 46.0,
            right: 50.0,
            bottom: 49.0
        }
    );
    let moving = bench::moving(&d, &bench::inputs(&d, &[("a", 10.0)]));
    let on_top = bench::items(&moving, d.color("sky"))[0];
    assert_eq!(on_top.layer, Layer::Foreground);
    assert_eq!(
        on_top.bounds,
        Bounds {
            left: 50.0,
            top: 46.0,
            right: 70.0,
            bottom: 49.0
        }
    );
}

#[test]
fn invalid_data_put_up_the_flag_alone() {
    let d = bench::display(BAR);
    let scene = bench::moving(&d, &bench::inputs(&d, &[]));
    assert_eq!(scene.items().len(), 1);
    assert_eq!(scene.items()[0].color, d.color("ground"));
}
