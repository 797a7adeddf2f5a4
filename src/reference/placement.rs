//! Where the characters of a line of words stand.
//!
//! The definition says where a line is held; text engines part in the rest: some move pairs of characters as the font
//! says (kerning), some put characters, or their advances, on whole pixels, and hinting makes some advances a pixel wider or
//! narrower. Which rules a unit follows is measured from nominal frames (`chain::text_rules`) and kept in the capture profile.

use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scene::{Scene, Words};
use super::text::{Font, FontId, Pairs};
use crate::picture::Point;

/// How a unit places the characters of its words.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TextPlacement {
    /// Pairs of characters are moved together or apart as the font says.
    pub kerning: bool,
    /// What of an upright line stands at whole pixels of the display, along it.
    pub whole_px_along: WholePixels,
    /// Whether the base line of an upright line stands at a whole pixel of the display.
    pub whole_px_base_line: bool,
    /// Whether turned lines have advances of whole pixels, and the point that they are held at, half-way up their capitals,
    /// stands at a whole pixel of the display in both directions.
    #[serde(default)]
    pub whole_px_turned: bool,
    /// Advances of whole pixels of upright lines that are not the font's, rounded.
    #[serde(default, skip_serializing_if = "HintedAdvances::is_none")]
    pub hinted: HintedAdvances,
}

/// Advances that a unit's hinting makes wider or narrower than the font's, rounded.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(from = "Vec<HintedAdvance>", into = "Vec<HintedAdvance>")]
#[schemars(with = "Vec<HintedAdvance>")]
pub struct HintedAdvances(Option<Arc<[HintedAdvance]>>);

/// The advance of a character of one font and size.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HintedAdvance {
    /// Which of the definition's fonts, in the order of their names, from 0 on.
    pub font: usize,
    /// Size of the em, px of the display.
    pub size_px: f64,
    /// The character.
    pub character: char,
    /// What is added to the font's advance, rounded, px of the display.
    pub more_px: i8,
}

/// Most that hinting adds to an advance or takes from it, px: it moves stems to the next whole pixel.
pub const MOST_HINTED_PX: i8 = 1;

impl From<Vec<HintedAdvance>> for HintedAdvances {
    fn from(advances: Vec<HintedAdvance>) -> Self {
        Self((!advances.is_empty()).then(|| advances.into()))
    }
}

impl From<HintedAdvances> for Vec<HintedAdvance> {
    fn from(hinted: HintedAdvances) -> Self {
        hinted.0.map_or_else(Self::new, |a| a.to_vec())
    }
}

impl HintedAdvances {
    /// No advance is other than the font's.
    pub const NONE: Self = Self(None);

    /// True when no advance is other than the font's.
    #[must_use]
    pub const fn is_none(&self) -> bool {
        self.0.is_none()
    }

    /// What is added to the advance of a character, px of the display.
    #[must_use]
    pub fn more_px(&self, font: FontId, size_px: f64, character: char) -> i8 {
        let advances = self.0.as_deref().unwrap_or_default();
        let own = |a: &&HintedAdvance| {
            (a.font, a.character) == (font.0, character) && a.size_px == size_px
        };
        let more = advances.iter().find(own).map_or(0, |a| a.more_px);
        more.clamp(-MOST_HINTED_PX, MOST_HINTED_PX)
    }
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
        whole_px_turned: false,
        hinted: HintedAdvances::NONE,
    };

    /// All rules of upright lines that there are without hinting, [`Self::EXACT`] first.
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
                    ..Self::EXACT
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
            WholePixels::Advances if self.hinted.is_none() => 0.5 + 0.5 * characters,
            WholePixels::Advances => 0.5 + (0.5 + f64::from(MOST_HINTED_PX)) * characters,
        };
        let along = if self.whole_px_turned {
            along.max(1.0 + 0.5 * characters)
        } else {
            along
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
            WholePixels::Advances if self.hinted.is_none() => "advances of whole pixels",
            WholePixels::Advances => "advances of whole pixels, some wider or narrower by hinting",
        };
        let also = |holds: bool, words: &'static str| if holds { words } else { "" };
        format!(
            "{}{along}{}{}",
            also(self.kerning, "kerned, "),
            also(self.whole_px_base_line, ", base lines at whole pixels"),
            also(self.whole_px_turned, ", turned lines held at whole pixels"),
        )
    }
}

/// The cell of each character of a line of words: character, origin (left end on the base line)
/// and advance in display pixels, from the first to the last. Spaces are among them.
pub fn cells<'a>(
    scene: &'a Scene,
    words: &'a Words,
    font: &'a Font,
    placement: &'a TextPlacement,
) -> impl Iterator<Item = (char, Point, f64)> + 'a {
    let (c, s) = words.direction;
    let is_upright = words.direction == (1.0, 0.0);
    let along_px = match (is_upright, placement.whole_px_turned) {
        (true, _) => placement.whole_px_along,
        (false, true) => WholePixels::Advances,
        // Most units draw turned characters as outlines, wherever they fall.
        (false, false) => WholePixels::Nothing,
    };
    let text = scene.words(words);
    let line = Line {
        font,
        pairs: placement.kerning.then(|| font.pairs()).flatten(),
        words,
        has_whole_advances: along_px == WholePixels::Advances,
        hinted: is_upright.then_some(&placement.hinted),
    };
    let mut begin = words.origin;
    let plain = || font.line_advance(text) * words.size;
    // A line that is held at its middle or its right end begins elsewhere when it is longer or shorter.
    if words.held > 0.0 && (line.pairs.is_some() || line.has_whole_advances) {
        let width: f64 = with_next(text).map(|(c, next)| line.step(c, next)).sum();
        let along = words.held * (plain() - width);
        begin = Point::new(begin.x + along * c, begin.y + along * s);
    }
    if line.has_whole_advances && is_upright {
        begin.x = libm::round(begin.x);
    } else if line.has_whole_advances {
        let (along, up) = (words.held * plain(), font.cap_height * words.size / 2.0);
        let held = Point::new(
            words.origin.x + along * c + up * s,
            words.origin.y + along * s - up * c,
        );
        begin.x += libm::round(held.x) - held.x;
        begin.y += libm::round(held.y) - held.y;
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
    words: &'a Words,
    has_whole_advances: bool,
    hinted: Option<&'a HintedAdvances>,
}

impl Line<'_> {
    /// Way from this character to the next, px.
    fn step(&self, letter: char, next: Option<char>) -> f64 {
        let kerning = match (&self.pairs, next) {
            (Some(pairs), Some(next)) => pairs.kerning(letter, next),
            _ => 0.0,
        };
        let (font, size) = (self.words.font, self.words.size);
        let step = (self.font.advance(letter) + kerning) * size;
        if self.has_whole_advances {
            let more = self.hinted.map_or(0, |h| h.more_px(font, size, letter));
            libm::round(step) + f64::from(more)
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

    const UPRIGHT: (f64, f64) = (1.0, 0.0);

    fn places(held: f64, placement: TextPlacement) -> Vec<(char, f64, f64)> {
        turned_places(held, UPRIGHT, placement)
    }

    /// Where "TO" stands that is held at 10.3, 30.6 on its base line.
    fn turned_places(
        held: f64,
        direction: (f64, f64),
        placement: TextPlacement,
    ) -> Vec<(char, f64, f64)> {
        let font = Font::built_in("B612 Regular").expect("it is part of the tool");
        let mut scene = Scene::default();
        let width = font.line_advance("TO") * 20.0;
        let along = held * width;
        let origin = Point::new(10.3 - along * direction.0, 30.6 - along * direction.1);
        scene.words_at(
            Rgb([255; 3]),
            FontId(0),
            20.0,
            origin,
            direction,
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
        assert_near(
            &places(0.0, TextPlacement::EXACT),
            &[('T', 10.3, 30.6), ('O', 10.3 + t, 30.6)],
        );
        let whole = TextPlacement {
            whole_px_along: WholePixels::Characters,
            ..TextPlacement::EXACT
        };
        assert_near(
            &places(0.0, whole),
            &[('T', 10.0, 30.6), ('O', (10.3 + t).round(), 30.6)],
        );
        let low = TextPlacement {
            whole_px_base_line: true,
            ..TextPlacement::EXACT
        };
        assert_near(
            &places(0.0, low),
            &[('T', 10.3, 31.0), ('O', 10.3 + t, 31.0)],
        );
        let steps = TextPlacement {
            whole_px_along: WholePixels::Advances,
            ..TextPlacement::EXACT
        };
        assert_near(
            &places(0.0, steps),
            &[('T', 10.0, 30.6), ('O', 10.0 + t.round(), 30.6)],
        );
        let kerned = TextPlacement {
            kerning: true,
            ..TextPlacement::EXACT
        };
        assert_near(
            &places(0.0, kerned.clone()),
            &[('T', 10.3, 30.6), ('O', 10.3 + t + kerning, 30.6)],
        );
        // Held at its middle and at its right end, the line grows to both sides or to the left.
        let width = t + o + kerning;
        let begin = 10.3 - width / 2.0;
        assert_near(
            &places(0.5, kerned.clone()),
            &[('T', begin, 30.6), ('O', begin + t + kerning, 30.6)],
        );
        let begin = 10.3 - width;
        assert_near(
            &places(1.0, kerned),
            &[('T', begin, 30.6), ('O', begin + t + kerning, 30.6)],
        );
    }

    #[test]
    fn hinted_advances_count_for_their_font_size_and_character_alone() {
        let font = Font::built_in("B612 Regular").expect("it is part of the tool");
        let (t, o) = (20.0 * font.advance('T'), 20.0 * font.advance('O'));
        let advance = |character, size_px, more_px| HintedAdvance {
            font: 0,
            size_px,
            character,
            more_px,
        };
        let hinted = |advances: Vec<HintedAdvance>| TextPlacement {
            whole_px_along: WholePixels::Advances,
            hinted: advances.into(),
            ..TextPlacement::EXACT
        };
        let wide = hinted(vec![
            advance('T', 20.0, 1),
            advance('T', 19.0, -1),
            advance('A', 20.0, -1),
        ]);
        let (begin, second) = (10.0, 10.0 + t.round() + 1.0);
        assert_near(
            &places(0.0, wide.clone()),
            &[('T', begin, 30.6), ('O', second, 30.6)],
        );
        // Held at its right end, the line begins as much farther to the left.
        let begin = (10.3 - t.round() - 1.0 - o.round()).round();
        let second = begin + t.round() + 1.0;
        assert_near(
            &places(1.0, wide.clone()),
            &[('T', begin, 30.6), ('O', second, 30.6)],
        );
        let far = hinted(vec![advance('T', 20.0, 100)]);
        assert_near(&places(0.0, far), &places(0.0, wide.clone()));
        let text = serde_json::to_string(&wide).expect("rules are plain data");
        let read: TextPlacement = serde_json::from_str(&text).expect("it was written");
        assert_eq!(read, wide);
    }

    #[test]
    fn turned_lines_are_held_at_whole_pixels_half_way_up_their_capitals() {
        let font = Font::built_in("B612 Regular").expect("it is part of the tool");
        let (t, o) = (20.0 * font.advance('T'), 20.0 * font.advance('O'));
        let half_cap = 10.0 * font.cap_height;
        let whole = TextPlacement {
            whole_px_turned: true,
            ..TextPlacement::EXACT
        };
        // A quarter turn: the line goes down, and its capitals to the right.
        let down = (0.0, 1.0);
        let base = (10.3 + half_cap).round() - half_cap;
        assert_near(
            &turned_places(0.0, down, whole.clone()),
            &[('T', base, 31.0), ('O', base, 31.0 + t.round())],
        );
        let begin = 31.0 - (t.round() + o.round()) / 2.0;
        assert_near(
            &turned_places(0.5, down, whole.clone()),
            &[('T', base, begin), ('O', base, begin + t.round())],
        );
        assert_near(&places(0.0, whole), &places(0.0, TextPlacement::EXACT));
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
