//! Tests: attitude, pinned to positions worked out by hand.

use super::super::bench;
use super::super::drawn_attitude;
use crate::definition::Definition;
use crate::picture::Point;
use crate::recording::inputs::Value;
use crate::reference::scene::{Bounds, Layer, Scene};

const ATTITUDE: &str = r##"
    kind = "attitude"
    rect = [0, 0, 200, 200]
    pitch = "a"
    roll = "b"
    px_per_deg = 4.0
    sky = "sky"
    ground = "ground"
    line = "white"
    aircraft = "amber"
    aircraft_span = 40.0
    line_width = 2.0
    ladder = { major_step = 10.0, major_half_width = 30.0, minor_step = 5.0, minor_half_width = 12.0,
               limit = 90.0, visible_px = 60.0, font = "sans", size = 10.0 }
    bank = { radius = 80.0, marks = [10.0, 20.0, 30.0, 60.0], mark_length = 8.0, pointer_size = 10.0 }
    slip = { channel = "c", center = [100.0, 30.0], px_per_unit = 50.0, travel = 20.0, size = [16.0, 4.0],
             color = "green" }
    failure = { rect = [0, 0, 200, 200], text = "ATT", font = "sans", size = 20.0, color = "red",
                background = "black", cross = true }
"##;

fn draw(pitch: f64, roll: f64) -> (Definition, Scene) {
    let d = bench::display(ATTITUDE);
    let scene = bench::moving(
        &d,
        &bench::inputs(&d, &[("a", pitch), ("b", roll), ("c", 0.0)]),
    );
    (d, scene)
}

/// Two points of the horizon, left and right as the pilot's wings are: the ground's upper edge.
fn horizon(pitch: f64, roll: f64) -> [Point; 2] {
    let (d, scene) = draw(pitch, roll);
    let ground = bench::outline(&scene, d.color("ground"), 0);
    [ground[0], ground[1]]
}

/// Distance of the horizon from `p`, px, positive when `p` lies on the sky side.
fn above_horizon([l, r]: [Point; 2], p: Point) -> f64 {
    let (dx, dy) = (r.x - l.x, r.y - l.y);
    (dy * (p.x - l.x) - dx * (p.y - l.y)) / libm::hypot(dx, dy)
}

const MIDDLE: Point = Point::new(100.0, 100.0);

/// AMC 25.1303(b)(5), as quoted in the regulation notes: a 30 degree roll turns the line by 30 degrees.
#[test]
fn thirty_degrees_of_right_bank_turn_the_horizon_thirty_degrees_counter_clock_wise() {
    let [l, r] = horizon(0.0, 30.0);
    // Counter-clock-wise: its right end is higher (smaller y). tan 30 = 1 / sqrt 3.
    assert!(r.x > l.x && r.y < l.y);
    assert!(((l.y - r.y) / (r.x - l.x) - 1.0 / 3f64.sqrt()).abs() < 1e-12);
    assert!(
        above_horizon([l, r], MIDDLE).abs() < 1e-9,
        "it turns about the aircraft symbol"
    );
    let [l, r] = horizon(0.0, -30.0);
    assert!(((r.y - l.y) / (r.x - l.x) - 1.0 / 3f64.sqrt()).abs() < 1e-12);
}

#[test]
fn level_flight_has_sky_above_and_ground_below_the_middle() {
    let [l, r] = horizon(0.0, 0.0);
    assert_eq!((l.y, r.y), (100.0, 100.0));
    let (d, scene) = draw(0.0, 0.0);
    let ground = bench::items(&scene, d.color("ground"))[0].bounds;
    assert!(
        ground.left <= 0.0
            && ground.right >= 200.0
            && ground.top == 100.0
            && ground.bottom >= 200.0
    );
    assert_eq!(
        bench::items(&scene, d.color("sky"))[0].bounds,
        Bounds::from_rect([0, 0, 200, 200])
    );
}

#[test]
fn ten_degrees_nose_up_move_the_horizon_down_by_forty_pixels_along_the_turned_axis() {
    let [l, r] = horizon(10.0, 0.0);
    assert_eq!((l.y, r.y), (140.0, 140.0));
    let [l, r] = horizon(-5.0, 0.0);
    assert_eq!((l.y, r.y), (80.0, 80.0));
    // At 90 degrees of right bank down is to the right: sky on the left.
    let h = horizon(10.0, 90.0);
    assert!((h[0].x - 140.0).abs() < 1e-9 && (h[1].x - 140.0).abs() < 1e-9);
    assert!(above_horizon(h, MIDDLE) > 0.0);
    for roll in [-120.0, -30.0, 17.0, 60.0, 179.0] {
        assert!(
            (above_horizon(horizon(10.0, roll), MIDDLE) - 40.0).abs() < 1e-9,
            "{roll}"
        );
    }
}

#[test]
fn over_the_top_is_the_same_attitude_named_otherwise() {
    assert_eq!(drawn_attitude(95.0, 0.0), (85.0, -180.0));
    assert_eq!(drawn_attitude(-100.0, 10.0), (-80.0, -170.0));
    assert_eq!(drawn_attitude(180.0, 0.0), (0.0, -180.0));
    assert_eq!(drawn_attitude(90.0, 180.0), (90.0, -180.0));
    assert_eq!(drawn_attitude(12.5, -7.25), (12.5, -7.25));
    // 10 degrees of pitch at 180 of roll: wings level upside down, ground above.
    let h = horizon(170.0, 0.0);
    assert!((above_horizon(h, MIDDLE) - 40.0).abs() < 1e-9);
    assert!(
        above_horizon(h, Point::new(100.0, 10.0)) < 0.0,
        "the ground is at the top"
    );
}

#[test]
fn the_horizon_that_left_the_area_leaves_sky_or_ground_alone() {
    for (pitch, has_ground) in [(60.0, false), (-60.0, true)] {
        for roll in [0.0, 45.0, 135.0] {
            let (d, scene) = draw(pitch, roll);
            for corner in [(0.0, 0.0), (200.0, 0.0), (0.0, 200.0), (200.0, 200.0)] {
                // On the inner side of all edges of the ground.
                let is_in = bench::items(&scene, d.color("ground")).iter().any(|item| {
                    let p = bench::points(&scene, item);
                    let turn = |k: usize| {
                        let (a, b) = (p[k], p[(k + 1) % p.len()]);
                        (b.x - a.x) * (corner.1 - a.y) - (b.y - a.y) * (corner.0 - a.x)
                    };
                    (0..p.len()).all(|k| turn(k) >= 0.0) || (0..p.len()).all(|k| turn(k) <= 0.0)
                });
                assert_eq!(is_in, has_ground, "pitch {pitch}, roll {roll}, {corner:?}");
            }
        }
    }
}

#[test]
fn aircraft_symbol_and_bank_marks_stay() {
    let fixed = |pitch, roll| {
        let (_, scene) = draw(pitch, roll);
        let kept = scene
            .items()
            .iter()
            .filter(|i| i.layer == Layer::Foreground);
        kept.map(|i| (i.color, i.bounds)).collect::<Vec<_>>()
    };
    let level = fixed(0.0, 0.0);
    assert!(level.len() > 10);
    for (pitch, roll) in [(10.0, 0.0), (-35.0, 50.0), (5.0, -170.0)] {
        assert_eq!(fixed(pitch, roll), level);
    }
}

#[test]
fn the_bank_pointer_meets_its_mark() {
    let (d, scene) = draw(0.0, 30.0);
    let white: Vec<_> = bench::items(&scene, d.color("white"));
    let pointer = white
        .iter()
        .rfind(|i| i.layer == Layer::Moving && bench::points(&scene, i).len() == 3);
    let tip = bench::points(&scene, pointer.expect("a triangle"))[0];
    // Counter-clock-wise by 30 from the top: 80 sin 30 to the left, 80 cos 30 up.
    assert!((tip.x - 60.0).abs() < 1e-9);
    assert!((tip.y - (100.0 - 80.0 * 0.75f64.sqrt())).abs() < 1e-9);
    let is_there = |i: &&&crate::reference::scene::Item| {
        let b = i.bounds;
        i.layer == Layer::Foreground
            && b.left - 1e-9 <= tip.x
            && tip.x <= b.right + 1e-9
            && b.top - 1e-9 <= tip.y
            && tip.y <= b.bottom + 1e-9
    };
    assert_eq!(white.iter().filter(is_there).count(), 1);
}

#[test]
fn ladder_rungs_and_numbers_stand_at_their_pitch() {
    let (d, scene) = draw(2.0, 0.0);
    let lines = bench::lines(&scene);
    let cap = d.face(d.font("sans")).cap_height * 5.0;
    let right: Vec<_> = lines
        .iter()
        .filter(|l| l.words.origin.x > 100.0)
        .map(|l| (l.text.as_str(), l.words.origin.x, l.words.origin.y - cap))
        .collect();
    // 60 px visible are 15 degrees: -13 to 17. 10 up stands 8 degrees above the middle.
    assert_eq!(right, [("10", 133.5, 148.0), ("10", 133.5, 68.0)]);
    let rungs: Vec<_> = bench::items(&scene, d.color("white"))
        .into_iter()
        .filter(|i| {
            i.layer == Layer::Moving && (i.bounds.right - i.bounds.left - 24.0).abs() < 1e-9
        })
        .map(|i| i.bounds.top + 1.0)
        .collect();
    assert_eq!(rungs, [128.0, 88.0, 48.0], "short rungs at -5, 5 and 15");
}

#[test]
fn ladder_is_cut_along_the_pitch_axis() {
    let visible = |pitch: f64| {
        let (d, scene) = draw(pitch, 0.0);
        let items = bench::items(&scene, d.color("white"));
        let long = items
            .iter()
            .find(|i| (i.bounds.right - i.bounds.left - 60.0).abs() < 1e-9 && i.bounds.top < 60.0);
        let seen = long.map(|i| i.clip.map_or(i.bounds, |c| c.intersection(&i.bounds)));
        seen.map(|b| (b.top, b.bottom))
    };
    assert_eq!(
        visible(-5.0),
        Some((40.0, 41.0)),
        "the rung at 10 stands 60 px up: its upper half is cut"
    );
    assert_eq!(visible(-5.25), None);
}

#[test]
fn the_slip_box_goes_left_for_positive_acceleration_and_stops() {
    let d = bench::display(ATTITUDE);
    for (v, left) in [
        (0.0, 92.0),
        (0.2, 82.0),
        (-0.2, 102.0),
        (3.0, 72.0),
        (-3.0, 112.0),
    ] {
        let scene = bench::moving(&d, &bench::inputs(&d, &[("a", 0.0), ("b", 0.0), ("c", v)]));
        let b = bench::items(&scene, d.color("green"))[0].bounds;
        assert!(
            (b.left - left).abs() < 1e-9 && (b.right - left - 16.0).abs() < 1e-9,
            "{v}"
        );
    }
    let scene = bench::moving(&d, &bench::inputs(&d, &[("a", 0.0), ("b", 0.0)]));
    assert!(
        bench::items(&scene, d.color("green")).is_empty(),
        "no box when slip is invalid"
    );
}

#[test]
fn invalid_pitch_or_roll_puts_up_the_flag_alone() {
    let d = bench::display(ATTITUDE);
    for (lost, value) in [("a", Value::Invalid), ("b", Value::Missing)] {
        let mut inputs = bench::inputs(&d, &[("a", 0.0), ("b", 0.0), ("c", 0.0)]);
        inputs.values[d.channel(lost).0] = value;
        let scene = bench::moving(&d, &inputs);
        assert_eq!(scene.items()[0].color, d.color("black"));
        assert!(
            scene
                .items()
                .iter()
                .all(|i| [d.color("black"), d.color("red")].contains(&i.color))
        );
        assert_eq!(bench::lines(&scene)[0].text, "ATT");
    }
}
