//! One digit of a number is shown as another one, in every frame.
//!
//! The digit stands at a place, counted from the right, that the seed chooses; it reads one to nine more than it
//! should, without carry, so that it is wrong whatever the value is.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target, parts};
use super::{from_seed, symbol, symbols_that, twin};
use crate::definition::model::Readout;
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Item, Layer, Scene, Shape, Words};
use crate::reference::symbols::readout;
use crate::reference::symbols::words::UPRIGHT;

const ABOUT: About = About::new(
    "wrong_digit",
    Group::Picture,
    "one digit of a number is another one",
);

/// See the module.
pub struct WrongDigit;

impl Model for WrongDigit {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        symbols_that(subject, |s| !parts::readouts(s).is_empty())
    }

    fn classes(&self, _: &Fault) -> &'static [Verdict] {
        &[Verdict::Misleading]
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        twin(fault, "older_data", 0.0, 1, "the number of one frame ago")
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let region = fault.target.region?;
        let d = clip.definition();
        let mut inputs = Inputs::default();
        clip.inputs(clip.onset, &mut inputs);
        let all = parts::readouts(symbol(clip, fault)?);
        let readout = from_seed(&all, fault.seed).find(|r| {
            inputs.value(d.channel(&r.channel)).is_valid()
                && digits(&readout::text(r, d, &inputs)) > 0
        })?;
        let (place, more) = (fault.seed / 2, 1 + (fault.seed / 16 % 9) as u32);
        let position = anchor(readout);
        let edit = move |_: &Clip, _: usize, scene: &mut Scene| {
            let found = scene
                .items()
                .iter()
                .enumerate()
                .find_map(|(k, item)| match &item.shape {
                    Shape::Words(w)
                        if item.layer == Layer::Moving && stands_at(item, w, position) =>
                    {
                        Some((k, with_wrong_digit(scene.words(w), place, more)?))
                    }
                    _ => None,
                });
            if let Some((k, words)) = found {
                scene.reword(k, &words);
            }
        };
        Redrawn::by_edit(clip, region, Box::new(edit), fault.seed)
    }
}

/// Where a readout is looked for: its position and the size of its words, px.
type Anchor = ([f64; 2], f64);

fn anchor(readout: &Readout) -> Anchor {
    (readout.position, readout.size)
}

/// Whether a line of words is the one of the readout: upright, of its size, round its position.
fn stands_at(item: &Item, words: &Words, ([x, y], size): Anchor) -> bool {
    let b = &item.bounds;
    words.direction == UPRIGHT
        && words.size == size
        && (b.left - size..=b.right + size).contains(&x)
        && (b.top..=b.bottom).contains(&y)
}

fn digits(words: &str) -> usize {
    words.chars().filter(char::is_ascii_digit).count()
}

/// `words` with the digit at `place`, counted from the last and round, reading `more` more; `None` when there
/// are no digits (dashes).
fn with_wrong_digit(words: &str, place: u64, more: u32) -> Option<String> {
    let count = digits(words);
    if count == 0 {
        return None;
    }
    let place = (place % count as u64) as usize;
    let found = words
        .char_indices()
        .rev()
        .filter_map(|(k, c)| Some((k, c.to_digit(10)?)));
    let (at, digit) = found.into_iter().nth(place)?;
    let wrong = char::from_digit((digit + more) % 10, 10)?;
    Some(format!("{}{wrong}{}", &words[..at], &words[at + 1..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_digit_is_a_digit_and_wrong() {
        assert_eq!(with_wrong_digit("4560", 2, 3).as_deref(), Some("4860"));
        assert_eq!(with_wrong_digit("+9.8°", 1, 3).as_deref(), Some("+2.8°"));
        assert_eq!(with_wrong_digit("95", 2, 3).as_deref(), Some("98"));
        assert_eq!(with_wrong_digit("---", 0, 3), None);
    }
}
