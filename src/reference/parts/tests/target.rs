//! Tests: targets of a plot, pinned to positions worked out by hand.

use super::super::bench;
use crate::definition::Definition;
use crate::picture::Point;
use crate::reference::drawing::Drawing;

/// The own ship stands at (100, 100), and 60 px are as far as channel `c` says.
const TARGET: &str = r##"
    kind = "target"
    center = [100.0, 100.0]
    radius = 60.0
    bearing = "a"
    distance = "b"
    scale = "c"
    size = 10.0
    height = { channel = "d", font = "mono", size = 10.0 }
    icon = [{ shape = "square", filled = true, color = "green" }]
"##;

fn display(beyond: &str) -> Definition {
    bench::display(&format!("{TARGET}beyond = \"{beyond}\""))
}

/// Left, top, right and bottom of the icon.
fn icon(d: &Definition, bearing: f64, distance: f64, scale: f64) -> Option<[f64; 4]> {
    let inputs = bench::inputs(
        d,
        &[("a", bearing), ("b", distance), ("c", scale), ("d", 0.0)],
    );
    let scene = bench::moving(d, &inputs);
    let items = bench::items(&scene, d.color("green"));
    let fill = items.into_iter().find(|i| bench::is_fill(i))?;
    let points = bench::points(&scene, fill);
    let ends = |of: fn(&Point) -> f64| {
        let values = points.iter().map(of);
        values.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| {
            [l.min(v), h.max(v)]
        })
    };
    let ([left, right], [top, bottom]) = (ends(|p| p.x), ends(|p| p.y));
    Some([left, top, right, bottom])
}

fn is_near(found: Option<[f64; 4]>, due: [f64; 4]) -> bool {
    found.is_some_and(|f| f.iter().zip(due).all(|(a, b)| (a - b).abs() < 1e-9))
}

#[test]
fn it_stands_at_its_bearing_and_distance_and_is_not_turned() {
    let d = display("hidden");
    // 3 of 6 NM are 30 px: up, to the right, and at 150 deg 15 px right and 25.98 px down.
    assert!(is_near(icon(&d, 0.0, 3.0, 6.0), [95.0, 65.0, 105.0, 75.0]));
    assert!(is_near(
        icon(&d, 90.0, 3.0, 6.0),
        [125.0, 95.0, 135.0, 105.0]
    ));
    let down = 30.0 * 0.75f64.sqrt();
    assert!(is_near(
        icon(&d, 150.0, 3.0, 6.0),
        [110.0, 95.0 + down, 120.0, 105.0 + down]
    ));
    // On a scale of 12 it stands half as far away.
    assert!(is_near(
        icon(&d, 90.0, 3.0, 12.0),
        [110.0, 95.0, 120.0, 105.0]
    ));
}

#[test]
fn beyond_the_scale_it_is_gone_or_stands_at_the_rim_in_half() {
    assert!(icon(&display("hidden"), 90.0, 6.1, 6.0).is_none());
    assert!(icon(&display("hidden"), 90.0, 6.0, 6.0).is_some());
    let d = display("rim");
    let [left, top, right, bottom] = icon(&d, 90.0, 20.0, 6.0).expect("it stands at the rim");
    // The rim is a circle of 60 px: it cuts the square from 155 to 165 at 160, where it is upright.
    assert!(
        (left - 155.0).abs() < 1e-9 && (top - 95.0).abs() < 1e-9 && (bottom - 105.0).abs() < 1e-9
    );
    assert!((159.9..=160.0).contains(&right), "{right}");
}

#[test]
fn its_height_stands_above_it_or_below() {
    let d = display("hidden");
    let tag = |height: f64| {
        let inputs = bench::inputs(&d, &[("a", 90.0), ("b", 3.0), ("c", 6.0), ("d", height)]);
        let lines = bench::lines(&bench::moving(&d, &inputs));
        let [line] = &lines[..] else {
            panic!("one line of words")
        };
        (line.text.clone(), line.words.origin.y < 100.0)
    };
    // Hundreds of feet: 549 is nearer to 5 than to 6, and a half goes away from zero.
    assert_eq!(tag(549.0), ("+05".into(), true));
    assert_eq!(tag(550.0), ("+06".into(), true));
    assert_eq!(tag(-1249.0), ("-12".into(), false));
    assert_eq!(tag(0.0), ("00".into(), true));
}

#[test]
fn bearing_and_distance_are_read_where_it_stands() {
    let d = display("hidden");
    let drawing = Drawing::new(&d);
    let freedoms = drawing.freedoms(&d, 0);
    let names: Vec<&str> = freedoms.iter().map(|f| &*f.what).collect();
    assert_eq!(names, ["distance", "bearing"]);
    let px = |distance: f64, scale: f64| {
        let inputs = bench::inputs(
            &d,
            &[("a", 40.0), ("b", distance), ("c", scale), ("d", 0.0)],
        );
        freedoms
            .iter()
            .map(|f| drawing.px_per_unit(&d, 0, f, &inputs))
            .collect::<Vec<_>>()
    };
    // 60 px for 6 NM; a degree at 30 px is 0.5236 px.
    let [along, across] = px(3.0, 6.0)[..] else {
        panic!("two")
    };
    assert!((along - 10.0).abs() < 1e-9 && (across - 30f64.to_radians()).abs() < 1e-9);
    let [along, across] = px(3.0, 12.0)[..] else {
        panic!("two")
    };
    assert!((along - 5.0).abs() < 1e-9 && (across - 15f64.to_radians()).abs() < 1e-9);
    // Whatever its data, its ink stays within 60 px and half an icon's diagonal, and the digits below or above.
    let reach = drawing.reach(&d, 0, 0);
    assert!((100.0 - 65.0 - reach.left).abs() < 12.0 && (reach.right - 165.0).abs() < 12.0);
}
