//! Round scale with pointers.
//!
//! Marks, bands and the scale's line never move. Multiples of the step from zero get marks, not
//! steps from the lowest value. When the two ends of the scale stand at the same angle (a whole
//! turn), the highest value gets no mark, since the lowest has it.

use super::failure;
use super::number::{ShortText, write_number};
use super::readout;
use super::rules::ruled_color;
use super::scale::{half_turn, is_multiple, multiples, place, span};
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{Align, Dial, DialPointer, PointerShape, Ticks};
use crate::picture::Point;
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Layer, Scene, on_clock};

/// Width of a limit mark against that of a tick.
const LIMIT_WIDTH: f64 = 1.5;

/// Part of a long mark's length by which a limit mark reaches over the scale's line.
const LIMIT_OVERREACH: f64 = 0.4;

/// Length of a needle's point against its width.
const POINT_LENGTH: f64 = 1.5;

fn center(model: &Dial) -> Point {
    let [x, y] = model.center;
    Point::new(x, y)
}

/// Adds bands, line, marks, limit marks and numbers to [`Layer::Background`].
pub fn draw_static(model: &Dial, d: &Definition, scene: &mut Scene) {
    scene.set_layer(Layer::Background);
    let center = center(model);
    let Some([low, high]) = span(&model.breakpoints) else {
        return;
    };
    let mut arc = |from: f64, to: f64, radii: [f64; 2], color: &str| {
        let (a, b) = (
            place(&model.breakpoints, from),
            place(&model.breakpoints, to),
        );
        scene.arc_band(d.color(color), center, radii, a.min(b), a.max(b));
    };
    for band in &model.bands {
        arc(
            band.from,
            band.to,
            [model.radius - model.band_width, model.radius],
            &band.color,
        );
    }
    if model.line_width > 0.0 {
        let half = model.line_width / 2.0;
        arc(
            low,
            high,
            [model.radius - half, model.radius + half],
            &model.ticks.color,
        );
    }
    draw_marks(model, d, scene);
    for limit in &model.limits {
        let inner = model.radius - model.ticks.major_length.max(model.band_width);
        let outer = model.radius + LIMIT_OVERREACH * model.ticks.major_length;
        let angle = place(&model.breakpoints, limit.at);
        let width = LIMIT_WIDTH * model.ticks.width;
        scene.line(
            d.color(&limit.color),
            on_clock(center, inner, angle),
            on_clock(center, outer, angle),
            width,
        );
    }
}

fn draw_marks(model: &Dial, d: &Definition, scene: &mut Scene) {
    let Ticks {
        major_step,
        major_length,
        minor_step,
        minor_length,
        width,
        color,
        labels,
    } = &model.ticks;
    let color = d.color(color);
    let center = center(model);
    let mark = |v: f64, length: f64, scene: &mut Scene| {
        let angle = place(&model.breakpoints, v);
        let inner = on_clock(center, model.radius - length, angle);
        scene.line(color, inner, on_clock(center, model.radius, angle), *width);
    };
    if let Some(step) = minor_step {
        for v in marked(model, *step).filter(|v| !is_multiple(*v, *major_step)) {
            mark(v, *minor_length, scene);
        }
    }
    for v in marked(model, *major_step) {
        mark(v, *major_length, scene);
    }
    let Some(labels) = labels else { return };
    let style = Style {
        font: &labels.font,
        size: labels.size,
        color,
    };
    for v in marked(model, labels.step.unwrap_or(*major_step)) {
        let mut text = ShortText::new();
        write_number(&labels.format, v, &mut text);
        let anchor = on_clock(
            center,
            model.radius - labels.distance,
            place(&model.breakpoints, v),
        );
        words::upright(d, style, anchor, Align::Center, &text, scene);
    }
}

/// Multiples of `step` on the scale.
fn marked(model: &Dial, step: f64) -> impl Iterator<Item = f64> {
    let [low, high] = span(&model.breakpoints).unwrap_or([0.0, -1.0]);
    let turn = place(&model.breakpoints, high) - place(&model.breakpoints, low);
    let is_whole_turn = libm::fabs(turn) > 1.0 && libm::fabs(half_turn(turn)) < 1e-6;
    multiples(step, low, high).filter(move |v| !(is_whole_turn && *v > high - step * 1e-6))
}

/// True when there are pointers and none has valid data.
#[must_use]
pub fn has_failed(model: &Dial, d: &Definition, inputs: &Inputs) -> bool {
    let is_lost = |p: &DialPointer| inputs.value(d.channel(&p.channel)).number().is_none();
    !model.pointers.is_empty() && model.pointers.iter().all(is_lost)
}

/// Adds the pointers whose data are valid and the readout to [`Layer::Moving`]; the failure flag
/// alone when no pointer has valid data.
pub fn draw_moving(model: &Dial, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    if has_failed(model, d, inputs) {
        failure::draw(&model.failure, d, scene);
        return;
    }
    for pointer in &model.pointers {
        let Some(v) = inputs.value(d.channel(&pointer.channel)).number() else {
            continue;
        };
        let color = ruled_color(&pointer.color, &pointer.color_rules, d, inputs);
        let angle = place(&model.breakpoints, v);
        let mut outline = [Point::default(); 5];
        let count = pointer_outline(pointer, center(model), angle, &mut outline);
        scene.polygon(color, &outline[..count]);
    }
    if let Some(readout) = &model.readout {
        readout::draw_moving(readout, d, inputs, scene);
    }
}

/// Outline of a pointer at a clock angle, and the number of its points; the tip comes first.
fn pointer_outline(
    pointer: &DialPointer,
    center: Point,
    angle: f64,
    outline: &mut [Point; 5],
) -> usize {
    let (tip, tail) = (pointer.tip_radius, pointer.tail_radius);
    let side = on_clock(Point::default(), pointer.width / 2.0, angle + 90.0);
    let at = |radius: f64, sides: f64| {
        let p = on_clock(center, radius, angle);
        Point::new(p.x + sides * side.x, p.y + sides * side.y)
    };
    match pointer.shape {
        PointerShape::Needle => {
            let point = (POINT_LENGTH * pointer.width).min(libm::fabs(tip - tail));
            let shoulder = tip - libm::copysign(point, tip - tail);
            *outline = [
                at(tip, 0.0),
                at(shoulder, 1.0),
                at(tail, 1.0),
                at(tail, -1.0),
                at(shoulder, -1.0),
            ];
            5
        }
        PointerShape::Triangle => {
            outline[..3].copy_from_slice(&[at(tip, 0.0), at(tail, 1.0), at(tail, -1.0)]);
            3
        }
        PointerShape::Line => {
            outline[..4].copy_from_slice(&[
                at(tip, 1.0),
                at(tail, 1.0),
                at(tail, -1.0),
                at(tip, -1.0),
            ]);
            4
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use super::*;

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
            (l.words.origin.x + face.line_advance("40") * 5.0 - (100.0 - 60.0 * 0.75f64.sqrt()))
                .abs()
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
}
