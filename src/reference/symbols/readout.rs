//! One value as digits or text.

use std::fmt::Write;

use super::number::{ShortText, write_number};
use super::rules::ruled_color;
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::Readout;
use crate::picture::{Point, Rgb};
use crate::recording::inputs::{Inputs, Value};
use crate::reference::scene::{Layer, Scene};

/// Adds the readout to [`Layer::Moving`].
pub fn draw_moving(model: &Readout, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    let mut shown = ShortText::new();
    write_text(model, d, inputs, &mut shown);
    let style = Style {
        font: &model.font,
        size: model.size,
        color: color(model, d, inputs),
    };
    let [x, y] = model.position;
    words::upright(d, style, Point::new(x, y), model.align, &shown, scene);
}

/// The words that stand there for these inputs.
#[must_use]
pub fn text(model: &Readout, d: &Definition, inputs: &Inputs) -> String {
    let mut shown = String::new();
    write_text(model, d, inputs, &mut shown);
    shown
}

/// Writes them at the end of `shown`.
pub fn write_text(model: &Readout, d: &Definition, inputs: &Inputs, shown: &mut impl Write) {
    let words: &str = match inputs.value(d.channel(&model.channel)) {
        Value::Number(v) => return write_number(&model.format, *v, shown),
        Value::Text(words) => words,
        Value::Invalid | Value::Missing => &model.invalid_text,
    };
    let written = shown.write_str(words);
    debug_assert!(written.is_ok(), "writing to memory does not fail");
}

/// The colour of the words for these inputs.
#[must_use]
pub fn color(model: &Readout, d: &Definition, inputs: &Inputs) -> Rgb {
    match &model.invalid_color {
        Some(name) if !inputs.value(d.channel(&model.channel)).is_valid() => d.color(name),
        Some(_) | None => ruled_color(&model.color, &model.color_rules, d, inputs),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::parts::bench;

    const READOUT: &str = r##"
        kind = "readout"
        channel = "a"
        position = [50.0, 40.0]
        align = "right"
        font = "mono"
        size = 20.0
        color = "green"
        color_rules = [{ when = [{ channel = "a", at_least = 100.0 }], color = "red" }]
        invalid_color = "amber"
        format = { digits = 3, suffix = "%" }
    "##;

    #[test]
    fn digits_stand_right_aligned_half_way_up_their_capitals() {
        let d = bench::display(READOUT);
        let scene = bench::moving(&d, &bench::inputs(&d, &[("a", 7.2)]));
        let [word] = &bench::lines(&scene)[..] else {
            panic!("one line of words")
        };
        assert_eq!(word.text, "007%");
        assert_eq!(word.color, d.color("green"));
        let face = d.face(word.words.font);
        let width = 4.0 * face.advance('0') * 20.0;
        assert!((word.words.origin.x - (50.0 - width)).abs() < 1e-9);
        assert!((word.words.origin.y - (40.0 + face.cap_height * 10.0)).abs() < 1e-9);
    }

    #[test]
    fn dashes_when_invalid_or_missing() {
        let d = bench::display(READOUT);
        for value in [Value::Invalid, Value::Missing] {
            let mut inputs = bench::inputs(&d, &[]);
            inputs.values[d.channel("a").0] = value;
            let scene = bench::moving(&d, &inputs);
            let lines = bench::lines(&scene);
            assert_eq!(
                (lines[0].text.as_str(), lines[0].color),
                ("---", d.color("amber"))
            );
        }
    }

    #[test]
    fn colour_follows_the_rules_and_text_is_shown_as_it_is() {
        let d = bench::display(READOUT);
        let mut inputs = bench::inputs(&d, &[("a", 100.0)]);
        let lines = bench::lines(&bench::moving(&d, &inputs));
        assert_eq!(
            (lines[0].text.as_str(), lines[0].color),
            ("100%", d.color("red"))
        );
        inputs.values[d.channel("a").0] = Value::Text("HOLD".into());
        let lines = bench::lines(&bench::moving(&d, &inputs));
        assert_eq!(
            (lines[0].text.as_str(), lines[0].color),
            ("HOLD", d.color("green"))
        );
    }
}
