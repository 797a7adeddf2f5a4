//! Which advances does the unit's hinting make wider or narrower than the font's, rounded?
//!
//! Hinting moves the stems of a character to whole pixels, and with them where the next one begins: by a pixel at most, and
//! always the same for a character of one font and size. So each upright line of nominal frames is followed from character to
//! character, each found at the place of the one before it, a pixel before, or a pixel behind it, as all of them together fit
//! best; the line must still be held where the definition says. What most lines say of a character counts.
//!
//! Characters that no nominal frame shows keep the font's advances, rounded.

use std::collections::BTreeMap;

use crate::chain::constants::hinting::{FARTHEST_PX, LEAST_GAIN};
use crate::definition::Definition;
use crate::examine::cells::{LEAST_MATCH, correlation};
use crate::examine::view::View;
use crate::picture::{Point, Rect};
use crate::reference::canvas::Look;
use crate::reference::glyphs::pixels_of;
use crate::reference::placement::{HintedAdvance, MOST_HINTED_PX, cells};
use crate::reference::scene::{Bounds, Item, Scene, Shape, Words};

/// What lines say of the characters of a font and size: how often an advance is narrower, as it is, and wider.
#[derive(Default)]
pub(super) struct Advances {
    said: BTreeMap<(usize, u64, char), [u32; 3]>,
}

/// A character of a line: what it is, and how well it matches by displacement; nothing where there is no ink.
struct Shown {
    letter: char,
    matches: Option<[f32; 2 * FARTHEST_PX as usize + 1]>,
}

impl Advances {
    /// Takes the upright lines of `scene`, which `reference` shows as `look` says.
    pub(super) fn take(
        &mut self,
        captured: View,
        reference: View,
        scene: &Scene,
        definition: &Definition,
        look: &Look,
    ) {
        for item in scene.items() {
            let Shape::Words(words) = item.shape else {
                continue;
            };
            if words.direction != (1.0, 0.0) || words.is_rolling {
                continue;
            }
            let line = shown(captured, reference, scene, item, &words, definition, look);
            let Some(steps) = line.and_then(|l| Some((follow(&l, words.held)?, l))) else {
                continue;
            };
            let (steps, line) = steps;
            // Nothing stands behind the last character of a line that is held at its beginning.
            let count = line.len() - usize::from(words.held == 0.0);
            for (step, shown) in steps.iter().zip(&line[..count]) {
                let own = &look.text.hinted;
                let more = own.more_px(words.font, words.size, shown.letter) + step;
                let key = (words.font.0, words.size.to_bits(), shown.letter);
                let more = more.clamp(-MOST_HINTED_PX, MOST_HINTED_PX);
                self.said.entry(key).or_default()[(more + MOST_HINTED_PX) as usize] += 1;
            }
        }
    }

    /// What most lines say, of characters that are not as the font has them.
    pub(super) fn most(&self) -> Vec<HintedAdvance> {
        let told = self.said.iter().filter_map(|(key, [less, same, more])| {
            let more_px = if more > less.max(same) {
                MOST_HINTED_PX
            } else if less > more.max(same) {
                -MOST_HINTED_PX
            } else {
                return None;
            };
            let (font, size, character) = *key;
            Some(HintedAdvance {
                font,
                size_px: f64::from_bits(size),
                character,
                more_px,
            })
        });
        told.collect()
    }
}

/// The characters of a line; `None` when a part of it is not seen.
fn shown(
    captured: View,
    reference: View,
    scene: &Scene,
    item: &Item,
    words: &Words,
    definition: &Definition,
    look: &Look,
) -> Option<Vec<Shown>> {
    let face = definition.face(words.font);
    let cap = face.cap_height * words.size;
    let picture = Rect::new(0, 0, reference.width() as i32, reference.height() as i32);
    let mut line = Vec::new();
    for (letter, origin, advance) in cells(scene, words, face, &look.text) {
        let corners = [
            Point::new(origin.x, origin.y - cap),
            Point::new(origin.x + advance, origin.y),
        ];
        let mut bounds = Bounds::EMPTY;
        corners.iter().for_each(|p| bounds.include(*p));
        if item
            .clip
            .is_some_and(|clip| bounds.intersection(&clip) != bounds)
        {
            return None;
        }
        let rect = pixels_of(&look.geometry.map_bounds(&bounds));
        let has_ink = face.glyph(letter).is_some_and(|g| !g.contours.is_empty());
        let matches = |_| {
            std::array::from_fn(|k| {
                correlation(captured, reference, rect, k as i32 - FARTHEST_PX, 0)
            })
        };
        if rect.grown(FARTHEST_PX).intersection(&picture) != rect.grown(FARTHEST_PX) {
            return None;
        }
        line.push(Shown {
            letter,
            matches: has_ink.then_some(()).map(matches),
        });
    }
    Some(line)
}

/// By how many pixels more or fewer the line goes on behind each of its characters. `None` when the line is not shown, or not
/// held where it is to be.
fn follow(line: &[Shown], held: f64) -> Option<Vec<i8>> {
    let width = 2 * FARTHEST_PX as usize + 1;
    let place = |k: usize| k as i32 - FARTHEST_PX;
    let mut best: Option<(f32, Vec<i8>)> = None;
    // By where the first character stands, where the last may.
    let starts = (0..width).filter(|k| held > 0.0 || place(*k) == 0);
    for start in starts {
        // The best sum of matches with which the characters so far end at each displacement, and how.
        let mut reached = vec![f32::NEG_INFINITY; width];
        reached[start] = 0.0;
        let mut ways: Vec<Vec<i8>> = Vec::new();
        for shown in line {
            let mut next = vec![f32::NEG_INFINITY; width];
            let mut way = vec![0i8; width];
            for (k, so_far) in reached.iter().enumerate() {
                let here = so_far + shown.matches.map_or(0.0, |m| m[k]);
                // Only ink is hinted.
                let most = if shown.matches.is_some() {
                    MOST_HINTED_PX
                } else {
                    0
                };
                for step in -most..=most {
                    let Some(to) = k.checked_add_signed(step.into()).filter(|to| *to < width)
                    else {
                        continue;
                    };
                    let sum = here - LEAST_GAIN * f32::from(step.abs());
                    if sum > next[to] {
                        (next[to], way[to]) = (sum, step);
                    }
                }
            }
            reached = next;
            ways.push(way);
        }
        for (end, sum) in reached.iter().enumerate() {
            let at = (1.0 - held) * f64::from(place(start)) + held * f64::from(place(end));
            if at.abs() >= 1.0 || best.as_ref().is_some_and(|(s, _)| s >= sum) {
                continue;
            }
            let mut at = end;
            let steps = ways.iter().rev().map(|way| {
                let step = way[at];
                at = at.saturating_add_signed(-isize::from(step));
                step
            });
            let mut steps: Vec<i8> = steps.collect();
            steps.reverse();
            best = Some((*sum, steps));
        }
    }
    let (sum, steps) = best?;
    let inked = line.iter().filter(|s| s.matches.is_some()).count();
    (sum >= LEAST_MATCH * inked.max(1) as f32).then_some(steps)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line whose characters are shown displaced by so much; `None` without ink.
    fn line(displaced: &[Option<i32>]) -> Vec<Shown> {
        let one = |at: &Option<i32>| Shown {
            letter: 'x',
            matches: at.map(|at| {
                std::array::from_fn(|k| {
                    1.0 - 0.2 * (k as i32 - FARTHEST_PX - at).abs().min(4) as f32
                })
            }),
        };
        displaced.iter().map(one).collect()
    }

    #[test]
    fn a_line_is_followed_from_where_it_is_held() {
        let wider = line(&[Some(0), Some(1), None, Some(2), Some(2)]);
        assert_eq!(follow(&wider, 0.0), Some(vec![1, 1, 0, 0, 0]));
        let to_the_left = line(&[Some(-2), Some(-1), Some(-1)]);
        assert_eq!(follow(&to_the_left, 1.0), Some(vec![1, 0, 1]));
        let both_ways = line(&[Some(-1), Some(0), Some(1)]);
        assert_eq!(follow(&both_ways, 0.5), Some(vec![1, 1, 0]));
    }

    #[test]
    fn a_line_that_stands_elsewhere_or_is_another_is_not_followed() {
        assert_eq!(follow(&line(&[Some(3), Some(3), Some(3)]), 0.0), None);
        assert_eq!(follow(&line(&[Some(-5), Some(-5), Some(-5)]), 1.0), None);
        assert_eq!(follow(&line(&[Some(0), Some(4), Some(9)]), 0.0), None);
    }
}
