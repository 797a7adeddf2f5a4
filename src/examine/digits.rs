//! The numbers that readouts show, put together from their characters.

use super::agreement::{self, GradientCells, Scratch, Tolerance};
use super::comparison::Comparison;
use super::subject::Subject;
use super::view::View;
use super::words::WrongCell;
use crate::examine::constants::digits::{CAPITALS, DIFFERENT_PX};
use crate::picture::Rect;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::parts::ReadoutField;
use crate::reference::placement::cells;
use crate::reference::scale::half_period;
use crate::reference::scene::{Scene, Shape, Words};
use crate::reference::symbols::number::{displayed_number, parse_number, resolution};
use crate::reference::symbols::readout;

/// A number that stands on the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Digits {
    /// Which readout of its symbol: `readout`, `window`, ...
    pub what: std::sync::Arc<str>,
    /// The channel that it shows.
    pub channel: ChannelId,
    /// The number shown, in the channel's unit.
    pub displayed: f64,
    /// The number that is due, in the channel's unit, rounded as the readout rounds.
    pub expected: f64,
    /// Step of the last digit, in the channel's unit.
    pub resolution: f64,
    /// Largest permitted error beyond its own rounding, in the channel's unit, where the readout has its own.
    pub tolerance: Option<f64>,
    /// 360 for a readout that goes round.
    pub period: Option<f64>,
}

impl Digits {
    /// Shown minus due, the short way round where there is one.
    #[must_use]
    pub fn error(&self) -> f64 {
        self.error_from(self.expected)
    }

    fn error_from(&self, due: f64) -> f64 {
        let d = self.displayed - due;
        self.period.map_or(d, |p| half_period(d, p))
    }

    /// Whether it is off from the input `due` by no more than its readout's own tolerance, beyond its own rounding.
    /// Without one, digits that contradict what else shows their channel are never right.
    fn is_allowed(&self, due: f64) -> bool {
        let off = self.error_from(due).abs();
        self.tolerance
            .is_some_and(|tolerance| off <= tolerance + self.resolution / 2.0)
    }
}

/// A number that was read character by character, and its line.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// The number.
    pub digits: Digits,
    /// Index of its line among the items of the scene that is due.
    pub item: usize,
    /// What the line reads.
    pub words: String,
    /// It is off by no more than the tolerance that its readout has of its own.
    pub is_allowed: bool,
}

/// The numbers of a region that agrees with its reference drawn for `shown`, while `due` was due.
pub fn as_drawn(subject: Subject, region: usize, shown: &Inputs, due: &Inputs) -> Vec<Digits> {
    let definition = subject.definition();
    subject
        .drawing()
        .readouts(definition, region)
        .iter()
        .filter(|f| {
            subject
                .drawing()
                .is_readout_shown(definition, region, f, shown)
        })
        .filter_map(|f| {
            let number = |inputs: &Inputs| match inputs.value(f.channel) {
                Value::Number(v) => Some(displayed_number(&f.model.format, *v)),
                Value::Text(_) | Value::Invalid | Value::Missing => None,
            };
            Some(digits(f, number(shown)?, number(due)?))
        })
        .collect()
}

/// The numbers of a region in which some characters of the `reference` (drawn for `due`) are wrong in the
/// `captured` luma; only readouts (with their lines) with wrong characters that still make a number, with nothing else
/// beside it.
pub fn as_read<'d>(
    subject: Subject<'d>,
    readouts: Vec<Lines<'d>>,
    due: &Inputs,
    reference: &Comparison,
    captured: View,
    wrong: &[WrongCell],
) -> Vec<Written> {
    let definition = subject.definition();
    let (scene, area) = (reference.scene(), reference.area());
    let look = &reference.chain().look;
    let geometry = &look.geometry;
    let mut found = Vec::new();
    for (f, own) in readouts {
        let Value::Number(v) = due.value(f.channel) else {
            continue;
        };
        for (item_index, w) in own {
            let mut shown = String::new();
            let mut is_changed = false;
            let mut still = Still::default();
            for (letter, origin, advance) in cells(scene, &w, definition.face(w.font), &look.text) {
                let seen = geometry.map(origin);
                let (x, y) = (seen.x - f64::from(area.x), seen.y - f64::from(area.y));
                let other = wrong.iter().find(|c| {
                    let left = f64::from(c.rect.x);
                    let is_here = (left - x).abs() <= 1.5
                        && y >= f64::from(c.rect.y)
                        && y <= f64::from(c.rect.bottom()) + 1.0;
                    is_here && c.due == letter
                });
                is_changed |= other.is_some();
                still.add(x, advance, other.is_none());
                still.lines = [y - CAPITALS * w.size, y];
                shown.push(other.map_or(letter, |c| c.shown));
            }
            if !is_changed {
                continue;
            }
            if still.differs(captured, reference.reference()[0], &reference.chain().luma) {
                break;
            }
            if let Some(displayed) = parse_number(&f.model.format, &shown) {
                let read = digits(&f, displayed, displayed_number(&f.model.format, *v));
                found.push(Written {
                    is_allowed: read.is_allowed(*v),
                    digits: read,
                    item: item_index,
                    words: shown,
                });
            }
            break;
        }
    }
    found
}

/// A readout and the lines of a scene that may be its own: item and words.
pub type Lines<'d> = (ReadoutField<'d>, Vec<(usize, Words)>);

/// The readouts that are shown for `inputs`, each with the lines of `scene`, drawn for them, that may be its own: item and
/// words.
pub fn lines<'d>(
    subject: Subject<'d>,
    region: usize,
    inputs: &Inputs,
    scene: &Scene,
) -> Vec<Lines<'d>> {
    let definition = subject.definition();
    let mut shown = subject.drawing().readouts(definition, region);
    shown.retain(|f| {
        let drawing = subject.drawing();
        drawing.is_readout_shown(definition, region, f, inputs)
    });
    let texts: Vec<String> = shown
        .iter()
        .map(|f| readout::text(f.model, definition, inputs))
        .collect();
    let own = |k: usize| {
        let (f, text) = (&shown[k], &texts[k]);
        let is_alike = |other: usize| {
            let model = shown[other].model;
            texts[other] == *text && (&model.font, model.size) == (&f.model.font, f.model.size)
        };
        let font = definition.font(&f.model.font);
        let items = scene.items().iter().enumerate();
        let items: Vec<(usize, Words)> = items
            .filter_map(|(item, i)| match i.shape {
                Shape::Words(w) => Some((item, w)),
                Shape::Fill { .. } => None,
            })
            .filter(|(_, w)| scene.words(w) == text && (w.font, w.size) == (font, f.model.size))
            .collect();
        // Several that read the same stand in the scene in their order; where a number of the scale reads the same too, the
        // one with wrong characters is meant.
        let is_clear = (0..shown.len()).filter(|n| is_alike(*n)).count() == items.len();
        let place = (0..k).filter(|n| is_alike(*n)).count();
        if is_clear { vec![items[place]] } else { items }
    };
    let all: Vec<_> = (0..shown.len()).map(own).collect();
    shown.into_iter().zip(all).collect()
}

/// The numbers that are due in a region, where its `scene`, drawn for `shown`, has others: a pointer that is off beside
/// digits that are right.
pub fn as_due(
    subject: Subject,
    region: usize,
    due: &Inputs,
    shown: &Inputs,
    scene: &Scene,
) -> Vec<Written> {
    let definition = subject.definition();
    let written = |(f, own): (ReadoutField, Vec<(usize, Words)>)| {
        let [(item, line)] = own[..] else { return None };
        let words = readout::text(f.model, definition, due);
        let number = due.value(f.channel).number()?;
        let number = displayed_number(&f.model.format, number);
        (scene.words(&line) != words).then(|| Written {
            digits: digits(&f, number, number),
            item,
            words,
            is_allowed: true,
        })
    };
    let all = lines(subject, region, shown, scene);
    all.into_iter().filter_map(written).collect()
}

/// What must look as it is due where a number is read: the characters that are right, and what stands beside it.
#[derive(Default)]
struct Still {
    /// From and to, px of the region.
    columns: Vec<[f64; 2]>,
    /// See `columns`.
    lines: [f64; 2],
}

impl Still {
    /// The next cell, from the left.
    fn add(&mut self, x: f64, advance: f64, is_right: bool) {
        let end = x + advance;
        // Each stretch reaches a cell further, beside the number, until another cell stands there.
        match self.columns.last_mut() {
            Some(last) => last[1] = x,
            None => self.columns.push([x - advance, x]),
        }
        if is_right && let Some(last) = self.columns.last_mut() {
            last[1] = end + advance;
        } else {
            self.columns.push([end, end + advance]);
        }
    }

    /// Whether the pictures disagree there.
    fn differs(&self, captured: View, reference: View, tolerance: &Tolerance) -> bool {
        let lines = self.lines.map(|y| libm::round(y) as i32);
        let mut gradients = GradientCells::default();
        let mut scratch = Scratch::default();
        self.columns.iter().any(|columns| {
            // A pixel to each side belongs to the neighbour's edge.
            let [from, to] = [
                libm::ceil(columns[0]) as i32 + 1,
                libm::floor(columns[1]) as i32 - 1,
            ];
            let rect = Rect::new(from, lines[0], (to - from).max(0), lines[1] - lines[0]);
            let (a, b) = (captured.crop(rect), reference.crop(rect));
            let whole = Rect::new(0, 0, b.width() as i32, b.height() as i32);
            if whole.is_empty() {
                return false;
            }
            gradients.update(b, whole);
            let found =
                agreement::compare(a, b, &gradients, tolerance, &[], u32::MAX, &mut scratch);
            found.px() > DIFFERENT_PX
        })
    }
}

fn digits(f: &ReadoutField, displayed: f64, expected: f64) -> Digits {
    let format = &f.model.format;
    Digits {
        what: f.what.clone(),
        channel: f.channel,
        displayed,
        expected,
        resolution: resolution(format),
        tolerance: f.model.tolerance,
        period: format.wrap.map(|w| w / format.scale),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Plane;

    const TOLERANCE: Tolerance = Tolerance {
        flat_energy: 30.0,
        flat: 24,
        contrast_share: 0.25,
    };

    /// Bars where digits stand, in cells of 12 px from x = 24 on.
    fn bars(cells: &[usize]) -> Plane {
        let mut plane = Plane::filled(96, 24, 16);
        for y in 4..18 {
            for cell in cells {
                plane.row_mut(y)[24 + 12 * cell - 12..][3..9].fill(220);
            }
        }
        plane
    }

    fn differs(shown: &[usize], right: [bool; 3]) -> bool {
        let mut still = Still {
            lines: [3.0, 19.0],
            ..Still::default()
        };
        for (k, is_right) in right.into_iter().enumerate() {
            still.add(24.0 + 12.0 * k as f64, 12.0, is_right);
        }
        let (captured, due) = (bars(shown), bars(&[1, 2, 3]));
        still.differs(View::whole(&captured), View::whole(&due), &TOLERANCE)
    }

    #[test]
    fn a_part_of_a_longer_number_is_told() {
        let all_wrong = [false; 3];
        assert!(!differs(&[1, 2, 3], all_wrong));
        assert!(differs(&[0, 1, 2, 3], all_wrong), "before it");
        assert!(differs(&[1, 2, 3, 4], all_wrong), "behind it");
    }

    #[test]
    fn a_tolerance_is_beyond_the_rounding_and_goes_the_short_way_round() {
        let shown = |displayed: f64, tolerance: Option<f64>| Digits {
            what: "readout".into(),
            channel: ChannelId(0),
            displayed,
            expected: 0.0,
            resolution: 1.0,
            tolerance,
            period: Some(360.0),
        };
        let due = 359.6;
        assert!(shown(2.0, Some(2.0)).is_allowed(due));
        assert!(!shown(3.0, Some(2.0)).is_allowed(due));
        assert!(shown(0.0, Some(0.0)).is_allowed(due));
        assert!(!shown(0.0, None).is_allowed(due));
    }

    #[test]
    fn a_character_that_is_gone_is_not_right() {
        assert!(differs(&[2, 3], [true, false, false]));
        assert!(!differs(&[2, 3], [false, true, true]));
    }
}
