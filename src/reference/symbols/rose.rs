//! Turning compass card: the heading stands at the top under the lubber line.
//!
//! A bearing `b` stands at the clock angle `b - heading`. Bugs lie outside the rim, notch on the
//! rim. The wind's direction is where it comes from, so its arrow points at `direction + 180 -
//! heading`.

use std::fmt::Write;

use super::number::ShortText;
use super::words::{self, Style};
use super::{bug, failure, readout};
use crate::definition::Definition;
use crate::definition::model::{Align, Bug, Rose, Wind};
use crate::picture::{Point, Rgb};
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Layer, Scene, on_clock};

const LETTERS: [(u32, &str); 4] = [(0, "N"), (90, "E"), (180, "S"), (270, "W")];

/// Length of the wind arrow's head, and its width, against the width of the shaft.
const HEAD: f64 = 4.0;

fn center(model: &Rose) -> Point {
    let [x, y] = model.center;
    Point::new(x, y)
}

/// Adds card, bugs, wind and digits to [`Layer::Moving`], lubber line and aircraft symbol to
/// [`Layer::Foreground`]; the failure flag alone when the heading is invalid.
pub fn draw_moving(model: &Rose, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    let Some(heading) = inputs.value(d.channel(&model.channel)).number() else {
        failure::draw(&model.failure, d, scene);
        return;
    };
    draw_card(model, d, heading, scene);
    for bug in &model.bugs {
        draw_bug(model, bug, d, inputs, heading, scene);
    }
    if let Some(wind) = &model.wind {
        draw_wind(wind, d, inputs, heading, scene);
    }
    if let Some(digits) = &model.readout {
        readout::draw_moving(digits, d, inputs, scene);
    }
    scene.set_layer(Layer::Foreground);
    let lubber = d.color(&model.lubber);
    let rim = on_clock(center(model), model.radius, 0.0);
    let end = on_clock(center(model), model.radius + model.lubber_length, 0.0);
    scene.line(lubber, rim, end, model.mark_width);
    if let Some(span) = model.aircraft_span {
        draw_aircraft(center(model), span, model.mark_width, lubber, scene);
    }
}

fn draw_card(model: &Rose, d: &Definition, heading: f64, scene: &mut Scene) {
    let color = d.color(&model.color);
    let center = center(model);
    let style = Style {
        font: &model.font,
        size: model.size,
        color,
    };
    for bearing in (0..360).step_by(5) {
        let angle = f64::from(bearing) - heading;
        let length = if bearing % 10 == 0 {
            model.mark_length
        } else {
            model.mark_length / 2.0
        };
        let inner = on_clock(center, model.radius - length, angle);
        scene.line(
            color,
            inner,
            on_clock(center, model.radius, angle),
            model.mark_width,
        );
        if bearing % 30 == 0 {
            let mut label = ShortText::new();
            let written = match LETTERS.iter().find(|(b, _)| *b == bearing) {
                Some((_, letter)) => label.write_str(letter),
                None => write!(label, "{}", bearing / 10),
            };
            debug_assert!(written.is_ok(), "writing to memory does not fail");
            let turned = (libm::cos(angle.to_radians()), libm::sin(angle.to_radians()));
            let anchor = on_clock(center, model.label_radius, angle);
            words::turned(d, style, anchor, Align::Center, turned, &label, scene);
        }
    }
}

fn draw_bug(
    model: &Rose,
    bug: &Bug,
    d: &Definition,
    inputs: &Inputs,
    heading: f64,
    scene: &mut Scene,
) {
    let Some(bearing) = inputs.value(d.channel(&bug.channel)).number() else {
        return;
    };
    let angle = bearing - heading;
    let side = on_clock(Point::default(), 1.0, angle + 90.0);
    let center = center(model);
    let at = |along: f64, across: f64| {
        let p = on_clock(center, model.radius + across, angle);
        Point::new(p.x + along * side.x, p.y + along * side.y)
    };
    bug::draw(d.color(&bug.color), bug.size, at, scene);
}

/// Clock angle of the wind arrow; `None` while no arrow is drawn.
#[must_use]
pub fn wind_angle(wind: &Wind, d: &Definition, inputs: &Inputs, heading: f64) -> Option<f64> {
    let from = inputs.value(d.channel(&wind.direction)).number()?;
    let speed = inputs.value(d.channel(&wind.speed)).number()?;
    (speed >= wind.calm_below).then_some(from + 180.0 - heading)
}

fn draw_wind(wind: &Wind, d: &Definition, inputs: &Inputs, heading: f64, scene: &mut Scene) {
    if let Some(angle) = wind_angle(wind, d, inputs, heading) {
        let center = Point::new(wind.center[0], wind.center[1]);
        let side = on_clock(Point::default(), wind.width / 2.0, angle + 90.0);
        let at = |ahead: f64, sides: f64| {
            let p = on_clock(center, ahead, angle);
            Point::new(p.x + sides * side.x, p.y + sides * side.y)
        };
        let (tip, tail) = (wind.length / 2.0, -wind.length / 2.0);
        let neck = (tip - HEAD * wind.width).max(tail);
        scene.polygon(
            d.color(&wind.color),
            &[
                at(tip, 0.0),
                at(neck, HEAD),
                at(neck, 1.0),
                at(tail, 1.0),
                at(tail, -1.0),
                at(neck, -1.0),
                at(neck, -HEAD),
            ],
        );
    }
    for digits in [&wind.direction_readout, &wind.speed_readout]
        .into_iter()
        .flatten()
    {
        readout::draw_moving(digits, d, inputs, scene);
    }
}

/// A plan view: body, wing and tail as one outline.
fn draw_aircraft(center: Point, span: f64, width: f64, color: Rgb, scene: &mut Scene) {
    let half = width / 2.0;
    let (nose, tail) = (-span, span);
    let wing = -0.15 * span;
    let tail_wing = 0.8 * span;
    let tail_span = 0.4 * span;
    let outline = [
        (half, nose),
        (half, wing - half),
        (span, wing - half),
        (span, wing + half),
        (half, wing + half),
        (half, tail_wing - half),
        (tail_span, tail_wing - half),
        (tail_span, tail_wing + half),
        (half, tail_wing + half),
        (half, tail),
    ];
    let mut points = [Point::default(); 20];
    for (k, &(x, y)) in outline.iter().enumerate() {
        points[k] = Point::new(center.x + x, center.y + y);
        points[19 - k] = Point::new(center.x - x, center.y + y);
    }
    scene.polygon(color, &points);
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use super::*;

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
        assert!(
            (lubber.bounds.bottom - 30.0).abs() < 1e-9 && (lubber.bounds.top - 18.0).abs() < 1e-9
        );
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
}
