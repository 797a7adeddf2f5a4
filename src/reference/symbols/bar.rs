//! Straight fixed scale with a filled length or a pointer.
//!
//! From `edge` outwards: bands, marks over them, numbers. The frame lies round `rect`, outside
//! of it, so that the filled length keeps all of its pixels. A limit mark runs from its outer
//! end across `rect`; the part in `rect` lies on top of the filled length.

use super::failure;
use super::number::{ShortText, write_number};
use super::rules::ruled_color;
use super::scale::{Lane, is_multiple, multiples, place, span};
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{Align, Bar, BarStyle, Ticks};
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Bounds, Layer, Scene};

/// Width of the frame round the area, px.
pub const FRAME_WIDTH_PX: f64 = 1.0;

/// Width of a limit mark, px.
pub const LIMIT_WIDTH_PX: f64 = 3.0;

/// Length of a limit mark beyond bands and long marks, px.
const LIMIT_OVERREACH_PX: f64 = 2.0;

fn lane(model: &Bar) -> Lane {
    Lane::new(model.rect, model.direction, model.edge)
}

/// Place of `v` along the scale, display px; it stops at the ends of the scale.
fn along(model: &Bar, lane: &Lane, v: f64) -> f64 {
    let part = place(&model.breakpoints, v);
    if lane.growth > 0.0 {
        lane.start + part * (lane.end - lane.start)
    } else {
        lane.end - part * (lane.end - lane.start)
    }
}

/// Adds ground, frame, bands, marks and numbers to [`Layer::Background`].
pub fn draw_static(model: &Bar, d: &Definition, scene: &mut Scene) {
    scene.set_layer(Layer::Background);
    let area = Bounds::from_rect(model.rect);
    if let Some(ground) = &model.background {
        scene.rectangle(d.color(ground), area);
    }
    if let Some(frame) = &model.frame {
        let w = FRAME_WIDTH_PX;
        let outer = Bounds {
            left: area.left - w,
            top: area.top - w,
            right: area.right + w,
            bottom: area.bottom + w,
        };
        scene.frame(d.color(frame), outer, w);
    }
    let lane = lane(model);
    for band in &model.bands {
        let (from, to) = (along(model, &lane, band.from), along(model, &lane, band.to));
        scene.rectangle(
            d.color(&band.color),
            lane.area([from, to], [0.0, -model.band_width]),
        );
    }
    if let Some(ticks) = &model.ticks {
        draw_marks(model, ticks, &lane, d, scene);
    }
    for limit in &model.limits {
        let outer = [0.0, -limit_length(model)];
        scene.rectangle(
            d.color(&limit.color),
            lane.mark(along(model, &lane, limit.at), LIMIT_WIDTH_PX, outer),
        );
    }
}

fn limit_length(model: &Bar) -> f64 {
    let bands = if model.bands.is_empty() {
        0.0
    } else {
        model.band_width
    };
    bands.max(model.ticks.as_ref().map_or(0.0, |t| t.major_length)) + LIMIT_OVERREACH_PX
}

fn draw_marks(model: &Bar, ticks: &Ticks, lane: &Lane, d: &Definition, scene: &mut Scene) {
    let Some([low, high]) = span(&model.breakpoints) else {
        return;
    };
    let Ticks {
        major_step,
        major_length,
        minor_step,
        minor_length,
        width,
        color,
        labels,
    } = ticks;
    let color = d.color(color);
    let mark = |v: f64, length: f64, scene: &mut Scene| {
        scene.rectangle(
            color,
            lane.mark(along(model, lane, v), *width, [0.0, -length]),
        );
    };
    if let Some(step) = minor_step {
        for v in multiples(*step, low, high).filter(|v| !is_multiple(*v, *major_step)) {
            mark(v, *minor_length, scene);
        }
    }
    for v in multiples(*major_step, low, high) {
        mark(v, *major_length, scene);
    }
    let Some(labels) = labels else { return };
    let style = Style {
        font: &labels.font,
        size: labels.size,
        color,
    };
    for v in multiples(labels.step.unwrap_or(*major_step), low, high) {
        let mut text = ShortText::new();
        write_number(&labels.format, v, &mut text);
        let anchor = lane.at(along(model, lane, v), -labels.distance);
        words::upright(d, style, anchor, Align::Center, &text, scene);
    }
}

/// Adds the filled length or the pointer to [`Layer::Moving`] and the limit marks across it to
/// [`Layer::Foreground`]; the failure flag alone when the channel is invalid.
pub fn draw_moving(model: &Bar, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    let Some(v) = inputs.value(d.channel(&model.channel)).number() else {
        failure::draw(&model.failure, d, scene);
        return;
    };
    let lane = lane(model);
    let color = ruled_color(&model.color, &model.color_rules, d, inputs);
    let value = along(model, &lane, v);
    match model.style {
        BarStyle::Fill => {
            let lowest = span(&model.breakpoints).map_or(0.0, |s| s[0]);
            let origin = along(model, &lane, model.origin.unwrap_or(lowest));
            if value != origin {
                scene.rectangle(color, lane.area([origin, value], [0.0, lane.depth]));
            }
        }
        BarStyle::Pointer => {
            let half = lane.depth / 2.0;
            let base = [
                lane.at(value - half, lane.depth),
                lane.at(value + half, lane.depth),
            ];
            scene.polygon(color, &[lane.at(value, 0.0), base[0], base[1]]);
        }
    }
    scene.set_layer(Layer::Foreground);
    for limit in &model.limits {
        let across = [0.0, lane.depth];
        scene.rectangle(
            d.color(&limit.color),
            lane.mark(along(model, &lane, limit.at), LIMIT_WIDTH_PX, across),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use super::*;
    use crate::picture::Point;

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
}
