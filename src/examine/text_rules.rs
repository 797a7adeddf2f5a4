//! By which rules does the unit place its text?
//!
//! Nominal frames are drawn by each of the rules there are ([`TextPlacement::all`]). Where the drawings differ, the
//! captured picture is nearer to the right one.

use super::register::LumaReference;
use super::subject::Subject;
use crate::capture::CapturedFrame;
use crate::capture::profile::Profile;
use crate::recording::Recording;
use crate::recording::inputs::Inputs;
use crate::reference::canvas::Look;
use crate::reference::painter::Painter;
use crate::reference::placement::TextPlacement;

/// Frames that are looked at.
const FRAMES: usize = 3;
/// Levels by which two drawings must differ in a pixel for it to be asked.
const DIFFERENCE: u8 = 12;
/// A difference counts no more than this, levels: what covers a word says nothing of its place.
const MOST: u8 = 96;
/// Share of the squared differences of exact places that the rules must leave at most, in the pixels that they move. A
/// rule that is wrong leaves more, and a rasteriser of another kind moves edges but by fractions of a pixel.
const LEFT_SHARE: f64 = 0.7;
/// Fewest pixels that must differ, of all frames.
const LEAST_PIXELS: u64 = 40;

/// Squared differences from the captured pictures, where two drawings differ.
#[derive(Clone, Copy, Default)]
struct Left {
    pixels: u64,
    exact: u64,
    by_rule: u64,
}

/// The rules that explain the captured words best; exact places where none does clearly better.
#[must_use]
pub(super) fn text_placement(
    frames: &[&CapturedFrame],
    subject: Subject,
    recording: &Recording,
    profile: &Profile,
    offset_s: f64,
    painter: &mut Painter,
) -> TextPlacement {
    let size = (profile.width, profile.height);
    let mut inputs = Inputs::default();
    let rules: Vec<TextPlacement> = TextPlacement::all().skip(1).collect();
    let mut left = vec![Left::default(); rules.len()];
    for frame in frames.iter().take(FRAMES) {
        recording.inputs_at(frame.time_s + offset_s, &mut inputs);
        let mut draw = |text| {
            let look = Look {
                text,
                ..profile.look()
            };
            LumaReference::draw(subject, &inputs, &look, size, painter)
        };
        let captured = frame.picture.planes()[0].levels();
        let exact = draw(TextPlacement::EXACT);
        for (rule, left) in rules.iter().zip(&mut left) {
            let by_rule = draw(*rule);
            let drawn = exact.plane().levels().iter().zip(by_rule.plane().levels());
            for (shown, (exact, by_rule)) in captured.iter().zip(drawn) {
                if exact.abs_diff(*by_rule) >= DIFFERENCE {
                    let square = |drawn: &u8| u64::from(shown.abs_diff(*drawn).min(MOST)).pow(2);
                    left.pixels += 1;
                    left.exact += square(exact);
                    left.by_rule += square(by_rule);
                }
            }
        }
    }
    // What a rule takes away from the whole, since rules move different pixels.
    let gain = |l: &Left| l.exact as i64 - l.by_rule as i64;
    rules
        .into_iter()
        .zip(left)
        .filter(|(_, l)| {
            l.pixels >= LEAST_PIXELS && (l.by_rule as f64) < LEFT_SHARE * l.exact as f64
        })
        // The first of equals, which is the simplest.
        .rev()
        .max_by_key(|(_, l)| gain(l))
        .map_or(TextPlacement::EXACT, |(rule, _)| rule)
}

#[cfg(test)]
mod tests {
    use std::fmt::Write;
    use std::path::Path;

    use super::*;
    use crate::definition::Definition;
    use crate::examine::calibrate::plain_profile;
    use crate::examine::register::FrameReference;
    use crate::picture::{Encoding, Matrix, Range, Subsampling};
    use crate::recording::MissingColumns;
    use crate::reference::canvas::Siting;
    use crate::reference::drawing::Drawing;

    const HEAD: &str = r##"
        [display]
        name = "words"
        width = 320
        height = 240
        background = "black"
        max_latency_ms = 100
        [fonts]
        plain = { builtin = "B612 Regular" }
        [colors]
        black = "#000000"
        white = "#f0f0f0"
        [channels.a]
        column = "a"
        unit = "kt"
        range = [0.0, 100.0]
        interpolation = "linear"
        max_age_ms = 1000
        [[region]]
        id = "r"
        rect = [0, 0, 320, 240]
        hazard = "minor"
        confirm_ms = 300
        recover_ms = 300
        [[region.symbol]]
        kind = "readout"
        channel = "a"
        position = [280.3, 220.0]
        font = "plain"
        size = 18
        color = "white"
    "##;

    /// Lines of words at fractions of a pixel, held at either end and in the middle.
    fn display() -> Definition {
        let mut text = HEAD.to_owned();
        let lines = ["TORQUE", "VECTOR TAPE", "AVERAGE", "FLY TO", "WATER"];
        for (k, words) in lines.iter().enumerate() {
            let align = ["left", "center", "right"][k % 3];
            let (x, y) = (160.0 + 0.37 * k as f64, 20.0 + 40.21 * k as f64);
            write!(
                text,
                "[[region.symbol]]\nkind = \"text\"\ntext = \"{words}\"\nposition = [{x}, {y}]\n\
                 align = \"{align}\"\nfont = \"plain\"\nsize = 18\ncolor = \"white\"\n"
            )
            .expect("strings take everything");
        }
        Definition::from_toml(&text, "words", Path::new(".")).expect("a display for tests")
    }

    #[test]
    fn the_rules_that_drew_a_picture_are_found() {
        let definition = display();
        let drawing = Drawing::new(&definition);
        let subject = Subject::new(&definition, &drawing);
        let recording = Recording::from_reader(
            "t_s,a\n0,50\n1,50\n".as_bytes(),
            "r.csv",
            &definition,
            MissingColumns::Refuse,
        )
        .expect("a recording for tests");
        let encoding = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        };
        let planes = (Subsampling::Both, Siting::Left);
        let profile = plain_profile((320, 240), encoding, planes.0, planes.1);
        let mut painter = Painter::new();
        let mut inputs = Inputs::default();
        recording.inputs_at(0.5, &mut inputs);
        for text in TextPlacement::all() {
            let mut look = profile.look();
            look.text = text;
            // Another rasteriser lays edges elsewhere by fractions of a pixel.
            (look.geometry.tx, look.geometry.ty) = (0.15, -0.15);
            let drawn =
                FrameReference::draw(subject, &inputs, &look, planes, (320, 240), &mut painter);
            let mut frame = CapturedFrame::new();
            frame.time_s = 0.5;
            frame.picture = drawn.picture(encoding);
            let found = text_placement(&[&frame], subject, &recording, &profile, 0.0, &mut painter);
            assert_eq!(found, text);
        }
    }
}
