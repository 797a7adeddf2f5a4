//! One of several annunciations in one place.

use super::failure::middle;
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{Align, Flag, FlagLook, FlagState};
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Bounds, Layer, Scene};

/// Width of the frame round an annunciation, px; it lies inside the area.
pub const FRAME_WIDTH_PX: f64 = 2.0;

/// The state that these inputs choose; `None` when the data are invalid or no state fits.
#[must_use]
pub fn state<'a>(model: &'a Flag, d: &Definition, inputs: &Inputs) -> Option<&'a FlagState> {
    let v = libm::round(inputs.value(d.channel(&model.channel)).number()?);
    model.state.iter().find(|s| s.value as f64 == v)
}

/// Adds the annunciation to [`Layer::Moving`].
pub fn draw_moving(model: &Flag, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    match state(model, d, inputs) {
        Some(FlagState {
            value: _,
            text,
            color,
            background,
            frame,
        }) => {
            draw_look(
                model,
                d,
                [Some(color), background.as_ref(), frame.as_ref()],
                text,
                scene,
            );
        }
        None => {
            let FlagLook {
                text,
                color,
                background,
                frame,
            } = &model.invalid;
            draw_look(
                model,
                d,
                [Some(color), background.as_ref(), frame.as_ref()],
                text,
                scene,
            );
        }
    }
}

/// `colors` are those of words, ground and frame; what has none is not drawn.
fn draw_look(
    model: &Flag,
    d: &Definition,
    colors: [Option<&String>; 3],
    text: &str,
    scene: &mut Scene,
) {
    let area = Bounds::from_rect(model.rect);
    let [words, ground, frame] = colors.map(|name| name.map(|n| d.color(n)));
    if let Some(color) = ground {
        scene.rectangle(color, area);
    }
    if let Some(color) = frame {
        scene.frame(color, area, FRAME_WIDTH_PX);
    }
    if let Some(color) = words {
        let style = Style {
            font: &model.font,
            size: model.size,
            color,
        };
        words::upright(d, style, middle(area), Align::Center, text, scene);
    }
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use crate::recording::inputs::Value;

    #[test]
    fn the_state_follows_the_channel_and_invalid_data_have_a_look_of_their_own() {
        let d = bench::display(
            r##"
            kind = "flag"
            channel = "a"
            rect = [10, 10, 60, 20]
            font = "sans"
            size = 12.0
            state = [
                { value = 0, text = "", color = "white" },
                { value = 1, text = "ARM", color = "white", frame = "white" },
                { value = 2, text = "HOLD", color = "black", background = "green" },
            ]
            invalid = { text = "FAIL", color = "amber" }
            "##,
        );
        for (v, text, items) in [
            (Value::Number(0.0), "", 0),
            (Value::Number(0.49), "", 0),
            (Value::Number(0.5), "ARM", 2),
            (Value::Number(2.0), "HOLD", 2),
            (Value::Number(3.0), "FAIL", 1),
            (Value::Number(-0.5), "FAIL", 1),
            (Value::Invalid, "FAIL", 1),
            (Value::Missing, "FAIL", 1),
        ] {
            let mut inputs = bench::inputs(&d, &[]);
            inputs.values[d.channel("a").0] = v.clone();
            let scene = bench::moving(&d, &inputs);
            let lines = bench::lines(&scene);
            assert_eq!(lines.first().map_or("", |l| l.text.as_str()), text, "{v:?}");
            assert_eq!(scene.items().len(), items, "{v:?}");
        }
    }
}
