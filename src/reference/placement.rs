//! Where the characters of a line of words stand.
//!
//! The definition says where a line is held; text engines part in the rest: some move pairs of characters as the font
//! says (kerning), some put characters, or their advances, on whole pixels. Which rules a unit follows is measured
//! from nominal frames (`examine::text_rules`) and kept in the capture profile.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scene::{Scene, Words};
use super::text::{Font, Pairs};
use crate::picture::Point;

/// How a unit places the characters of its words.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TextPlacement {
    /// Pairs of characters are moved together or apart as the font says.
    pub kerning: bool,
    /// What of an upright line stands at whole pixels of the display, along it.
    pub whole_px_along: WholePixels,
    /// Whether the base line of an upright line stands at a whole pixel of the display.
    pub whole_px_base_line: bool,
}

/// What stands at whole pixels along a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum WholePixels {
    /// Nothing: characters stand where their advances put them.
    #[default]
    Nothing,
    /// Each character, by itself.
    Characters,
    /// The beginning of the line and every advance.
    Advances,
}

/// Farthest that kerning moves the end of a line for each of its characters, em. Fonts stay well within.
const MOST_KERNING_EM: f64 = 0.2;

impl TextPlacement {
    /// Where the advances put them.
    pub const EXACT: Self = Self {
        kerning: false,
        whole_px_along: WholePixels::Nothing,
        whole_px_base_line: false,
    };

    /// All that there are, [`Self::EXACT`] first.
    pub fn all() -> impl Iterator<Item = Self> {
        let along = [
            WholePixels::Nothing,
            WholePixels::Characters,
            WholePixels::Advances,
        ];
        [false, true].into_iter().flat_map(move |kerning| {
            along.into_iter().flat_map(move |whole_px_along| {
                [false, true].map(|whole_px_base_line| Self {
                    kerning,
                    whole_px_along,
                    whole_px_base_line,
                })
            })
        })
    }

    /// How far from its place a character of this line may stand, px of the display.
    #[must_use]
    pub fn reach_px(&self, words: &Words) -> f64 {
        let characters = (words.last - words.first) as f64;
        let kerning = if self.kerning { MOST_KERNING_EM } else { 0.0 };
        let along = match self.whole_px_along {
            WholePixels::Nothing => 0.0,
            WholePixels::Characters => 0.5,
            WholePixels::Advances => 0.5 + 0.5 * characters,
        };
        let down = if self.whole_px_base_line { 0.5 } else { 0.0 };
        (kerning * words.size * characters + along).max(down)
    }

    /// In words.
    #[must_use]
    pub fn in_words(&self) -> String {
        let along = match self.whole_px_along {
            WholePixels::Nothing => "characters between pixels",
            WholePixels::Characters => "characters at whole pixels",
            WholePixels::Advances => "advances of whole pixels",
        };
        format!(
            "{}{along}{}",
            if self.kerning { "kerned, " } else { "" },
            if self.whole_px_base_line {
                ", base lines at whole pixels"
            } else {
                ""
            },
        )
    }
}

/// The cell of each character of a line of words: character, origin (left end on the base line)
/// and advance in display pixels, from the first to the last. Spaces are among them.
pub fn cells<'a>(
    scene: &'a Scene,
    words: &'a Words,
    font: &'a Font,
    placement: &TextPlacement,
) -> impl Iterator<Item = (char, Point, f64)> + 'a {
    let (c, s) = words.direction;
    // Turned characters are drawn as outlines, wherever they fall.
    let is_upright = words.direction == (1.0, 0.0);
    let along_px = if is_upright {
        placement.whole_px_along
    } else {
        WholePixels::Nothing
    };
    let text = scene.words(words);
    let line = Line {
        font,
        pairs: placement.kerning.then(|| font.pairs()).flatten(),
        size: words.size,
        has_whole_advances: along_px == WholePixels::Advances,
    };
    let mut begin = words.origin;
    // A line that is held at its middle or its right end begins elsewhere when it is longer or shorter.
    if words.held > 0.0 && (line.pairs.is_some() || line.has_whole_advances) {
        let plain = font.line_advance(text) * words.size;
        let width: f64 = with_next(text).map(|(c, next)| line.step(c, next)).sum();
        let along = words.held * (plain - width);
        begin = Point::new(begin.x + along * c, begin.y + along * s);
    }
    if line.has_whole_advances {
        begin.x = libm::round(begin.x);
    }
    if is_upright && placement.whole_px_base_line {
        begin.y = libm::round(begin.y);
    }
    let mut along = 0.0;
    with_next(text).map(move |(letter, next)| {
        let advance = line.step(letter, next);
        let mut origin = Point::new(begin.x + along * c, begin.y + along * s);
        along += advance;
        if along_px == WholePixels::Characters {
            origin.x = libm::round(origin.x);
        }
        (letter, origin, advance)
    })
}

/// What decides on the steps from character to character.
struct Line<'a> {
    font: &'a Font,
    pairs: Option<Pairs<'a>>,
    size: f64,
    has_whole_advances: bool,
}

impl Line<'_> {
    /// Way from this character to the next, px.
    fn step(&self, letter: char, next: Option<char>) -> f64 {
        let kerning = match (&self.pairs, next) {
            (Some(pairs), Some(next)) => pairs.kerning(letter, next),
            _ => 0.0,
        };
        let step = (self.font.advance(letter) + kerning) * self.size;
        if self.has_whole_advances {
            libm::round(step)
        } else {
            step
        }
    }
}

/// Each character with the one after it.
fn with_next(text: &str) -> impl Iterator<Item = (char, Option<char>)> + '_ {
    let next = text.chars().skip(1).map(Some).chain([None]);
    text.chars().zip(next)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Rgb;
    use crate::reference::text::FontId;

    fn places(held: f64, placement: TextPlacement) -> Vec<(char, f64, f64)> {
        let font = Font::built_in("B612 Regular").expect("it is part of the tool");
        let mut scene = Scene::default();
        let width = font.line_advance("TO") * 20.0;
        let origin = Point::new(10.3 - held * width, 30.6);
        scene.words_at(
            Rgb([255; 3]),
            FontId(0),
            20.0,
            origin,
            (1.0, 0.0),
            width,
            "TO",
        );
        scene.hold_last_words(held);
        let crate::reference::scene::Shape::Words(words) = scene.items()[0].shape else {
            panic!("words were added");
        };
        cells(&scene, &words, &font, &placement)
            .map(|(letter, at, _)| (letter, at.x, at.y))
            .collect()
    }

    fn assert_near(found: &[(char, f64, f64)], wanted: &[(char, f64, f64)]) {
        for (f, w) in found.iter().zip(wanted) {
            assert!(
                f.0 == w.0 && (f.1 - w.1).abs() < 1e-9 && (f.2 - w.2).abs() < 1e-9,
                "{found:?} {wanted:?}"
            );
        }
        assert_eq!(found.len(), wanted.len());
    }

    #[test]
    fn characters_stand_by_the_rules_of_the_unit() {
        let font = Font::built_in("B612 Regular").expect("it is part of the tool");
        let (t, o) = (20.0 * font.advance('T'), 20.0 * font.advance('O'));
        let kerning = 20.0 * font.pairs().expect("it has a table").kerning('T', 'O');
        assert!(kerning < -0.1, "{kerning}");
        let plain = TextPlacement::default();
        assert_near(
            &places(0.0, plain),
            &[('T', 10.3, 30.6), ('O', 10.3 + t, 30.6)],
        );
        let whole = TextPlacement {
            whole_px_along: WholePixels::Characters,
            ..plain
        };
        assert_near(
            &places(0.0, whole),
            &[('T', 10.0, 30.6), ('O', (10.3 + t).round(), 30.6)],
        );
        let low = TextPlacement {
            whole_px_base_line: true,
            ..plain
        };
        assert_near(
            &places(0.0, low),
            &[('T', 10.3, 31.0), ('O', 10.3 + t, 31.0)],
        );
        let steps = TextPlacement {
            whole_px_along: WholePixels::Advances,
            ..plain
        };
        assert_near(
            &places(0.0, steps),
            &[('T', 10.0, 30.6), ('O', 10.0 + t.round(), 30.6)],
        );
        let kerned = TextPlacement {
            kerning: true,
            ..plain
        };
        assert_near(
            &places(0.0, kerned),
            &[('T', 10.3, 30.6), ('O', 10.3 + t + kerning, 30.6)],
        );
        // Held at its middle and at its right end, the line grows to both sides or to the left.
        let width = t + o + kerning;
        let begin = 10.3 - width / 2.0;
        assert_near(
            &places(0.5, kerned),
            &[('T', begin, 30.6), ('O', begin + t + kerning, 30.6)],
        );
        let begin = 10.3 - width;
        assert_near(
            &places(1.0, kerned),
            &[('T', begin, 30.6), ('O', begin + t + kerning, 30.6)],
        );
    }

    #[test]
    fn cells_follow_the_advances_along_the_base_line() {
        let font = Font::built_in("B612 Mono Regular").expect("it is part of the tool");
        let mut scene = Scene::default();
        let words = Words {
            font: FontId(0),
            size: 20.0,
            origin: Point::new(5.0, 9.0),
            direction: (0.0, 1.0),
            held: 0.0,
            is_rolling: false,
            first: 0,
            last: 0,
        };
        scene.words_at(
            Rgb([9; 3]),
            words.font,
            20.0,
            words.origin,
            words.direction,
            60.0,
            "1 é",
        );
        let crate::reference::scene::Shape::Words(words) = scene.items()[0].shape else {
            panic!("words were added")
        };
        let step = font.advance('1') * 20.0;
        let got: Vec<_> = cells(&scene, &words, &font, &TextPlacement::EXACT).collect();
        assert_eq!(got.iter().map(|c| c.0).collect::<String>(), "1 é");
        for (k, (_, origin, advance)) in got.iter().enumerate() {
            assert!((advance - step).abs() < 1e-12 && origin.x == 5.0);
            assert!((origin.y - 9.0 - k as f64 * step).abs() < 1e-9);
        }
    }

    #[test]
    fn twelve_rules_differ() {
        let all: Vec<TextPlacement> = TextPlacement::all().collect();
        assert_eq!(all.len(), 12);
        assert_eq!(all[0], TextPlacement::default());
        let mut words: Vec<String> = all.iter().map(TextPlacement::in_words).collect();
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), 12);
    }
}
