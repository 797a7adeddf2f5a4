//! By which rules does the unit place its text?
//!
//! Nominal frames are drawn by each of the rules there are ([`TextPlacement::all`]). Where the drawings differ, the
//! captured picture is nearer to the right one.

use rayon::prelude::*;

use super::hinting::Advances;
use super::register::LumaReference;
use super::stretch::Stretch;
use crate::capture::profile::Profile;
use crate::chain::constants::text_rules::{
    DIFFERENCE, FRAMES, HINTING_ROUNDS, LEAST_PIXELS, LEFT_SHARE, MOST,
};
use crate::examine::view::View;
use crate::recording::inputs::Inputs;
use crate::reference::canvas::Look;
use crate::reference::painter::Painter;
use crate::reference::placement::{TextPlacement, WholePixels};
use crate::reference::scene::Scene;

/// Squared differences from the captured pictures, where two drawings differ.
#[derive(Clone, Copy, Default)]
struct Left {
    pixels: u64,
    before: u64,
    by_rule: u64,
}

impl Left {
    /// What the rule takes away from the whole, since rules move different pixels.
    const fn gain(&self) -> i64 {
        self.before as i64 - self.by_rule as i64
    }

    /// Takes pixels as they are shown, drawn before, and drawn by the rule.
    fn add(&mut self, [shown, before, by_rule]: [View; 3]) {
        for y in 0..shown.height() {
            let drawn = before.row(y).iter().zip(by_rule.row(y));
            for (shown, (before, by_rule)) in shown.row(y).iter().zip(drawn) {
                if before.abs_diff(*by_rule) >= DIFFERENCE {
                    let square = |drawn: &u8| u64::from(shown.abs_diff(*drawn).min(MOST)).pow(2);
                    self.pixels += 1;
                    self.before += square(before);
                    self.by_rule += square(by_rule);
                }
            }
        }
    }

    /// Whether the rule does clearly better.
    fn is_clear(&self) -> bool {
        self.pixels >= LEAST_PIXELS && (self.by_rule as f64) < LEFT_SHARE * self.before as f64
    }
}

/// The rules that explain the captured words best; exact places where none does clearly better.
///
/// Upright lines first, then turned ones, then what hinting does to the advances: each moves other pixels.
#[must_use]
pub(super) fn text_placement(stretch: &Stretch, profile: &Profile) -> TextPlacement {
    let frames = &stretch.frames[..stretch.frames.len().min(FRAMES)];
    let nominal = Nominal {
        stretch: stretch.with(frames.to_vec()),
        profile,
    };
    let upright = TextPlacement::all().skip(1).collect();
    let text = nominal.best(TextPlacement::EXACT, upright);
    let turned = TextPlacement {
        whole_px_turned: true,
        ..text.clone()
    };
    let mut text = nominal.best(text, vec![turned]);
    // What stands behind a character that is found may be told better once that one stands in its place.
    for _ in 0..HINTING_ROUNDS {
        if text.whole_px_along != WholePixels::Advances {
            break;
        }
        let hinted = nominal.hinted(&text);
        let found = nominal.best(text.clone(), vec![hinted]);
        if found == text {
            break;
        }
        text = found;
    }
    text
}

/// Frames that show what is due.
struct Nominal<'a> {
    stretch: Stretch<'a>,
    profile: &'a Profile,
}

impl Nominal<'_> {
    fn look(&self, text: &TextPlacement) -> Look {
        Look {
            text: text.clone(),
            ..self.profile.look()
        }
    }

    fn draw(&self, inputs: &Inputs, look: &Look, painter: &mut Painter) -> LumaReference {
        LumaReference::draw(
            self.stretch.subject,
            inputs,
            look,
            self.stretch.size(),
            painter,
        )
    }

    /// The best of `rules`; `before` where none does clearly better than that.
    fn best(&self, before: TextPlacement, rules: Vec<TextPlacement>) -> TextPlacement {
        let subject = self.stretch.subject;
        let look_before = self.look(&before);
        let bases = self.stretch.each(|_, inputs, painter| {
            let drawn = self.draw(inputs, &look_before, painter);
            (inputs.clone(), drawn)
        });
        let left_by = |painter: &mut Painter, rule: &TextPlacement| {
            let look = self.look(rule);
            let mut left = Left::default();
            for (frame, (inputs, base)) in self.stretch.frames.iter().zip(&bases) {
                let areas = LumaReference::words(subject, inputs, [&look_before, &look]);
                let within = (self.stretch.size(), &areas[..]);
                let by_rule = LumaReference::draw_within(subject, inputs, &look, within, painter);
                let planes = [&frame.picture.planes()[0], base.plane(), by_rule.plane()];
                for area in &areas {
                    left.add(planes.map(|plane| View::whole(plane).crop(*area)));
                }
            }
            left
        };
        let left: Vec<Left> = rules.par_iter().map_init(Painter::new, left_by).collect();
        rules
            .into_iter()
            .zip(left)
            .filter(|(_, l)| l.is_clear())
            // The first of equals, which is the simplest.
            .rev()
            .max_by_key(|(_, l)| l.gain())
            .map_or(before, |(rule, _)| rule)
    }

    /// `text` with the advances that the frames show.
    fn hinted(&self, text: &TextPlacement) -> TextPlacement {
        let mut advances = Advances::default();
        let mut scene = Scene::default();
        let subject = self.stretch.subject;
        let definition = subject.definition();
        let look = self.look(text);
        let painter = &mut Painter::new();
        for frame in &self.stretch.frames {
            let inputs = self.stretch.inputs_at(self.stretch.time_s(frame));
            let drawn = self.draw(&inputs, &look, painter);
            let captured = View::whole(&frame.picture.planes()[0]);
            for (k, _) in definition.regions_due(&inputs) {
                scene.clear();
                subject.region_static(k, &mut scene);
                subject.region_moving(k, &inputs, &mut scene);
                let reference = View::whole(drawn.plane());
                advances.take(captured, reference, &scene, definition, &look);
            }
        }
        TextPlacement {
            hinted: advances.most().into(),
            ..text.clone()
        }
    }
}

#[cfg(test)]
mod tests {
    use std::fmt::Write;
    use std::path::Path;

    use super::*;
    use crate::capture::CapturedFrame;
    use crate::chain::register::FrameReference;
    use crate::definition::Definition;
    use crate::examine::comparison::{ChainLook, Comparison};
    use crate::examine::subject::Subject;
    use crate::picture::{Encoding, Matrix, Range, Subsampling};
    use crate::recording::MissingColumns;
    use crate::recording::Recording;
    use crate::reference::canvas::Siting;
    use crate::reference::drawing::Drawing;
    use crate::reference::placement::{HintedAdvance, HintedAdvances};

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

    /// Words, and how far they stand to the right of where they are due, px.
    const LINES: [(&str, f64); 5] = [
        ("TORQUE", 0.0),
        ("VECTOR TAPE", 0.0),
        ("AVERAGE", 0.0),
        ("FLY TO", 0.0),
        ("WATER", 0.0),
    ];
    const SIZE: (usize, usize) = (320, 240);
    const PLANES: (Subsampling, Siting) = (Subsampling::Both, Siting::Left);

    /// Lines of words at fractions of a pixel, held at either end and in the middle.
    fn display(lines: [(&str, f64); 5]) -> Definition {
        let mut text = HEAD.to_owned();
        for (k, (words, to_the_right)) in lines.into_iter().enumerate() {
            let align = ["left", "center", "right"][k % 3];
            let (x, y) = (
                160.0 + 0.37 * k as f64 + to_the_right,
                20.0 + 40.21 * k as f64,
            );
            write!(
                text,
                "[[region.symbol]]\nkind = \"text\"\ntext = \"{words}\"\nposition = [{x}, {y}]\n\
                 align = \"{align}\"\nfont = \"plain\"\nsize = 18\ncolor = \"white\"\n"
            )
            .expect("strings take everything");
        }
        for (k, words) in ["HEADING", "WEST", "NORTH"].iter().enumerate() {
            let (x, y) = (40.4 + 0.3 * k as f64, 45.45 + 72.3 * k as f64);
            let turned_deg = 35 * k + 20;
            write!(
                text,
                "[[region.symbol]]\nkind = \"parts\"\n[[region.symbol.part]]\nat = [{x}, {y}]\n\
                 turned_deg = {turned_deg}\nshape = {{ words = {{ text = \"{words}\", position = [0, 0], \
                 align = \"center\", font = \"plain\", size = 14, color = \"white\" }} }}\n"
            )
            .expect("strings take everything");
        }
        Definition::from_toml(&text, "words", Path::new(".")).expect("a display for tests")
    }

    fn recording(definition: &Definition) -> Recording {
        let rows = "t_s,a\n0,50\n1,50\n".as_bytes();
        Recording::from_reader(rows, "r.csv", definition, MissingColumns::Refuse)
            .expect("a recording for tests")
    }

    fn profile() -> Profile {
        let encoding = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        };
        Profile::plain(SIZE, encoding, PLANES.0, PLANES.1)
    }

    /// A picture that was drawn by `text`, by a rasteriser that lays edges elsewhere by fractions of a pixel.
    fn frame(definition: &Definition, text: &TextPlacement) -> CapturedFrame {
        let drawing = Drawing::new(definition);
        let subject = Subject::new(definition, &drawing);
        let mut inputs = Inputs::default();
        recording(definition).inputs_at(0.5, &mut inputs);
        let mut look = profile().look();
        look.text = text.clone();
        (look.geometry.tx, look.geometry.ty) = (0.15, -0.15);
        let mut painter = Painter::new();
        let drawn = FrameReference::draw(subject, &inputs, &look, PLANES, SIZE, &mut painter);
        let mut frame = CapturedFrame::new();
        frame.time_s = 0.5;
        frame.picture = drawn.picture(profile().encoding);
        frame
    }

    /// The rules that are found in a picture that was drawn by `text`.
    fn found(text: &TextPlacement) -> TextPlacement {
        let definition = display(LINES);
        let drawing = Drawing::new(&definition);
        let subject = Subject::new(&definition, &drawing);
        let frame = frame(&definition, text);
        let stretch = Stretch {
            frames: vec![&frame],
            subject,
            recording: &recording(&definition),
            offset_s: 0.0,
        };
        text_placement(&stretch, &profile())
    }

    #[test]
    fn the_rules_that_drew_a_picture_are_found() {
        for text in TextPlacement::all() {
            assert_eq!(found(&text), text);
        }
    }

    #[test]
    fn turned_lines_have_a_rule_of_their_own() {
        let turned = TextPlacement {
            whole_px_turned: true,
            ..TextPlacement::EXACT
        };
        assert_eq!(found(&turned), turned);
        let both = TextPlacement {
            whole_px_along: WholePixels::Advances,
            whole_px_base_line: true,
            ..turned
        };
        assert_eq!(found(&both), both);
    }

    /// Whole advances, some of them changed by hinting.
    fn hinted() -> TextPlacement {
        let more = |character, more_px| HintedAdvance {
            font: 0,
            size_px: 18.0,
            character,
            more_px,
        };
        TextPlacement {
            whole_px_along: WholePixels::Advances,
            whole_px_base_line: true,
            hinted: vec![more('A', -1), more('E', 1), more('O', 1), more('T', 1)].into(),
            ..TextPlacement::EXACT
        }
    }

    #[test]
    fn advances_that_hinting_changed_are_found_by_their_characters() {
        assert_eq!(found(&hinted()), hinted());
    }

    /// Whether a hinted picture of these lines agrees with what is due by `text`.
    fn agrees(lines: [(&str, f64); 5], text: TextPlacement) -> bool {
        let frame = frame(&display(lines), &hinted());
        let definition = display(LINES);
        let drawing = Drawing::new(&definition);
        let subject = Subject::new(&definition, &drawing);
        let chain = ChainLook::of(&Profile { text, ..profile() });
        let mut painter = Painter::new();
        let mut inputs = Inputs::default();
        recording(&definition).inputs_at(0.5, &mut inputs);
        let mut comparison = Comparison::new(subject, 0, &chain, SIZE, &mut painter);
        comparison.draw(&inputs, &mut painter);
        comparison.agrees(&frame.picture)
    }

    #[test]
    fn hinted_lines_agree_by_their_own_rule_and_displaced_or_other_ones_do_not() {
        let plain = TextPlacement {
            hinted: HintedAdvances::NONE,
            ..hinted()
        };
        assert!(!agrees(LINES, plain), "the rule is needed");
        let found = found(&hinted());
        assert!(agrees(LINES, found.clone()));
        for wrong in [
            ("TORQUE", 3.0),
            ("TORQUE", -3.0),
            ("MIXTURE", 0.0),
            ("T", 0.0),
        ] {
            let mut lines = LINES;
            lines[0] = wrong;
            assert!(!agrees(lines, found.clone()), "{wrong:?}");
        }
    }
}
