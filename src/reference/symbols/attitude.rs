//! Sky and ground, pitch ladder, bank scale, slip.
//!
//! The picture is fixed to the aircraft: the aircraft symbol and, as a rule, the marks of bank
//! stay, and the world turns. With the right wing down by `roll` degrees the world is drawn
//! turned counter-clock-wise by `roll` about the aircraft symbol; with the nose up by `pitch`
//! degrees it is moved down by `pitch * px_per_deg`, along the vertical axis of the turned world
//! (the turn comes after the shift). Beyond 90 degrees of pitch the aircraft has gone over the
//! top, and the same attitude is drawn as it is usually named: 95 up with wings level is 85 up
//! with 180 of roll. The horizon is drawn truthfully: when it leaves the area, the area is all
//! sky or all ground; no sliver of either is kept.
//!
//! # Source
//! AMC 25.1303(b)(5): the horizon line moves and the aeroplane symbol is fixed; 30 degrees of
//! roll turn the line by 30 degrees.

use super::failure;
use super::number::{ShortText, write_number};
use super::scale::{half_turn, is_multiple, multiples};
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{
    Align, Attitude, BankFixed, BankScale, NumberFormat, PitchLadder, Slip,
};
use crate::picture::{Point, Rgb};
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Bounds, Layer, Scene, on_clock};

/// Gap between a ladder line and its number, em.
const LABEL_GAP_EM: f64 = 0.35;

/// Border of the aircraft symbol: it keeps the symbol apart from sky and ground of any colour.
const BORDER: Rgb = Rgb([0, 0, 0]);

/// Pitch and bank as they are drawn: pitch from -90 to 90, bank from -180 to 180 degrees.
///
/// Angles outside are brought to the same attitude by the short way over the top.
#[must_use]
pub fn drawn_attitude(pitch: f64, roll: f64) -> (f64, f64) {
    let pitch = half_turn(pitch);
    if pitch > 90.0 {
        (180.0 - pitch, half_turn(roll + 180.0))
    } else if pitch < -90.0 {
        (-180.0 - pitch, half_turn(roll + 180.0))
    } else {
        (pitch, half_turn(roll))
    }
}

/// Pitch and bank as they are drawn; `None` when either is invalid.
#[must_use]
pub fn values(model: &Attitude, d: &Definition, inputs: &Inputs) -> Option<(f64, f64)> {
    let pitch = inputs.value(d.channel(&model.pitch)).number()?;
    let roll = inputs.value(d.channel(&model.roll)).number()?;
    Some(drawn_attitude(pitch, roll))
}

/// Where the aircraft symbol stands, px.
#[must_use]
pub fn center(model: &Attitude) -> Point {
    model.center.map_or_else(
        || failure::middle(Bounds::from_rect(model.rect)),
        |[x, y]| Point::new(x, y),
    )
}

/// The world's axes on the screen: origin at the aircraft symbol, turned by the bank.
struct World {
    center: Point,
    right: (f64, f64),
    down: (f64, f64),
}

impl World {
    fn new(center: Point, roll: f64) -> Self {
        let angle = roll.to_radians();
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        // Counter-clock-wise by `roll` with y down: right goes up, down goes right.
        Self {
            center,
            right: (cos, -sin),
            down: (sin, cos),
        }
    }

    fn at(&self, right: f64, down: f64) -> Point {
        Point::new(
            self.center.x + right * self.right.0 + down * self.down.0,
            self.center.y + right * self.right.1 + down * self.down.1,
        )
    }

    fn area(&self, scene: &mut Scene, color: Rgb, right: [f64; 2], down: [f64; 2]) {
        scene.polygon(
            color,
            &[
                self.at(right[0], down[0]),
                self.at(right[1], down[0]),
                self.at(right[1], down[1]),
                self.at(right[0], down[1]),
            ],
        );
    }
}

/// Adds the world to [`Layer::Moving`] and what stays to [`Layer::Foreground`], or the failure
/// flag when pitch or roll is invalid.
pub fn draw_moving(model: &Attitude, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    let Some((pitch, roll)) = values(model, d, inputs) else {
        failure::draw(&model.failure, d, scene);
        return;
    };
    let area = Bounds::from_rect(model.rect);
    scene.set_clip(Some(area));
    let center = center(model);
    let world = World::new(center, roll);
    let line = d.color(&model.line);
    draw_horizon(model, d, &world, pitch, scene);
    if let Some(ladder) = &model.ladder {
        draw_ladder(model, ladder, d, &world, pitch, scene);
    }
    if let Some(bank) = &model.bank {
        match bank.fixed {
            BankFixed::Marks => draw_bank_pointer(bank, center, -roll, line, scene),
            BankFixed::Pointer => draw_bank_marks(model, bank, center, -roll, line, scene),
        }
    }
    if let Some(slip) = &model.slip {
        draw_slip(slip, d, inputs, scene);
    }
    scene.set_layer(Layer::Foreground);
    if let Some(bank) = &model.bank {
        match bank.fixed {
            BankFixed::Marks => draw_bank_marks(model, bank, center, 0.0, line, scene),
            BankFixed::Pointer => draw_bank_pointer(bank, center, 0.0, line, scene),
        }
    }
    draw_aircraft(model, center, d.color(&model.aircraft), scene);
    scene.set_clip(None);
}

fn draw_horizon(model: &Attitude, d: &Definition, world: &World, pitch: f64, scene: &mut Scene) {
    let area = Bounds::from_rect(model.rect);
    let corners =
        [area.left, area.right].map(|x| [area.top, area.bottom].map(|y| Point::new(x, y)));
    let reach = corners
        .iter()
        .flatten()
        .map(|c| libm::hypot(c.x - world.center.x, c.y - world.center.y))
        .fold(1.0, f64::max);
    let horizon = pitch * model.px_per_deg;
    scene.rectangle(d.color(&model.sky), area);
    let right = [-reach, reach];
    world.area(
        scene,
        d.color(&model.ground),
        right,
        [horizon, horizon + reach + libm::fabs(horizon)],
    );
    let half = model.line_width / 2.0;
    world.area(
        scene,
        d.color(&model.line),
        right,
        [horizon - half, horizon + half],
    );
}

fn draw_ladder(
    model: &Attitude,
    ladder: &PitchLadder,
    d: &Definition,
    world: &World,
    pitch: f64,
    scene: &mut Scene,
) {
    let color = d.color(&model.line);
    let visible = ladder.visible_px / model.px_per_deg;
    let low = (pitch - visible - 1.0).max(-ladder.limit);
    let high = (pitch + visible + 1.0).min(ladder.limit);
    let rung = |degrees: f64, half_width: f64, scene: &mut Scene| {
        // A rung is cut where it leaves the visible stretch, so that it does not come and go at once.
        let middle = (pitch - degrees) * model.px_per_deg;
        let top = (middle - model.line_width / 2.0).max(-ladder.visible_px);
        let bottom = (middle + model.line_width / 2.0).min(ladder.visible_px);
        if top < bottom {
            world.area(scene, color, [-half_width, half_width], [top, bottom]);
        }
    };
    if let Some(step) = ladder.minor_step {
        for degrees in multiples(step, low, high) {
            if !is_multiple(degrees, ladder.major_step) {
                rung(degrees, ladder.minor_half_width, scene);
            }
        }
    }
    let style = Style {
        font: &ladder.font,
        size: ladder.size,
        color,
    };
    let decimals = if is_multiple(ladder.major_step, 1.0) {
        0
    } else {
        1
    };
    let format = NumberFormat {
        decimals,
        ..NumberFormat::default()
    };
    for degrees in multiples(ladder.major_step, low, high) {
        if degrees == 0.0 {
            continue; // the horizon has its own line
        }
        rung(degrees, ladder.major_half_width, scene);
        let down = (pitch - degrees) * model.px_per_deg;
        if libm::fabs(down) <= ladder.visible_px {
            let mut label = ShortText::new();
            write_number(&format, libm::fabs(degrees), &mut label);
            let out = ladder.major_half_width + LABEL_GAP_EM * ladder.size;
            words::turned(
                d,
                style,
                world.at(out, down),
                Align::Left,
                world.right,
                &label,
                scene,
            );
            words::turned(
                d,
                style,
                world.at(-out, down),
                Align::Right,
                world.right,
                &label,
                scene,
            );
        }
    }
}

/// A triangle whose tip touches the scale from within.
fn draw_bank_pointer(bank: &BankScale, center: Point, angle: f64, color: Rgb, scene: &mut Scene) {
    triangle(
        center,
        angle,
        [bank.radius, bank.radius - bank.pointer_size],
        bank.pointer_size,
        color,
        scene,
    );
}

/// Marks outwards from the scale's radius; the one for wings level is a triangle, tip inwards.
fn draw_bank_marks(
    model: &Attitude,
    bank: &BankScale,
    center: Point,
    zero: f64,
    color: Rgb,
    scene: &mut Scene,
) {
    let outer = bank.radius + bank.mark_length;
    for &mark in bank.marks.iter().filter(|m| **m != 0.0) {
        for angle in [zero - mark, zero + mark] {
            let from = on_clock(center, bank.radius, angle);
            scene.line(
                color,
                from,
                on_clock(center, outer, angle),
                model.line_width,
            );
        }
    }
    triangle(
        center,
        zero,
        [bank.radius, outer],
        bank.mark_length,
        color,
        scene,
    );
}

/// A triangle on the ray at a clock angle: tip and base by their distance from `center`, and
/// the width of the base.
fn triangle(
    center: Point,
    angle: f64,
    [tip, base]: [f64; 2],
    width: f64,
    color: Rgb,
    scene: &mut Scene,
) {
    let middle = on_clock(center, base, angle);
    let side = on_clock(Point::default(), width / 2.0, angle + 90.0);
    scene.polygon(
        color,
        &[
            on_clock(center, tip, angle),
            Point::new(middle.x + side.x, middle.y + side.y),
            Point::new(middle.x - side.x, middle.y - side.y),
        ],
    );
}

/// The box hangs away from the acceleration, and stops at its travel; none when invalid.
fn draw_slip(slip: &Slip, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    let Some(v) = inputs.value(d.channel(&slip.channel)).number() else {
        return;
    };
    let moved = (v * slip.px_per_unit).clamp(-slip.travel.abs(), slip.travel.abs());
    let ([x, y], [w, h]) = (slip.center, slip.size);
    let left = x - moved - w / 2.0;
    let top = y - h / 2.0;
    scene.rectangle(
        d.color(&slip.color),
        Bounds {
            left,
            top,
            right: left + w,
            bottom: top + h,
        },
    );
}

/// Two wings with a step down at their inner ends, and a square between them, with a border.
fn draw_aircraft(model: &Attitude, center: Point, color: Rgb, scene: &mut Scene) {
    let half = model.line_width * 1.25;
    let span = model.aircraft_span;
    let inner = span * 0.45;
    let step = span * 0.16;
    let border = model.line_width * 0.75;
    for (color, grow) in [(BORDER, border), (color, 0.0)] {
        for side in [-1.0, 1.0] {
            let at = |out: f64, down: f64| Point::new(center.x + side * out, center.y + down);
            scene.polygon(
                color,
                &[
                    at(span + grow, -half - grow),
                    at(inner - grow, -half - grow),
                    at(inner - grow, step + grow),
                    at(inner + 2.0 * half + grow, step + grow),
                    at(inner + 2.0 * half + grow, half + grow),
                    at(span + grow, half + grow),
                ],
            );
        }
        let r = half + grow;
        scene.rectangle(
            color,
            Bounds {
                left: center.x - r,
                top: center.y - r,
                right: center.x + r,
                bottom: center.y + r,
            },
        );
    }
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use super::*;
    use crate::recording::inputs::Value;

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
        for (pitch, has_sky) in [(60.0, true), (-60.0, false)] {
            for roll in [0.0, 45.0, 135.0] {
                let h = horizon(pitch, roll);
                for corner in [(0.0, 0.0), (200.0, 0.0), (0.0, 200.0), (200.0, 200.0)] {
                    assert_eq!(
                        above_horizon(h, Point::new(corner.0, corner.1)) > 0.0,
                        has_sky
                    );
                }
                if !has_sky {
                    let (d, scene) = draw(pitch, roll);
                    let b = bench::items(&scene, d.color("ground"))[0].bounds;
                    assert!(b.left <= 0.0 && b.top <= 0.0 && b.right >= 200.0 && b.bottom >= 200.0);
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
            let long = items.iter().find(|i| {
                (i.bounds.right - i.bounds.left - 60.0).abs() < 1e-9 && i.bounds.top < 60.0
            });
            long.map(|i| (i.bounds.top, i.bounds.bottom))
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
}
