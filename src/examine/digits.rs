//! The numbers that readouts show, put together from their characters.

use super::comparison::Comparison;
use super::subject::Subject;
use super::view::View;
use super::words::WrongCell;
use crate::definition::model::NumberFormat;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::glyphs;
use crate::reference::scene::Shape;
use crate::reference::symbols::freedom::{self, ReadoutField};
use crate::reference::symbols::number::{
    displayed_number, format_number, parse_number, resolution,
};
use crate::reference::symbols::readout;
use crate::reference::symbols::scale::half_period;

/// A number that stands on the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Digits {
    /// Which readout of its symbol: `readout`, `window`, ...
    pub what: &'static str,
    /// The channel that it shows.
    pub channel: ChannelId,
    /// The number shown, in the channel's unit.
    pub displayed: f64,
    /// The number that is due, in the channel's unit, rounded as the readout rounds.
    pub expected: f64,
    /// Step of the last digit, in the channel's unit.
    pub resolution: f64,
    /// 360 for a readout that goes round.
    pub period: Option<f64>,
}

impl Digits {
    /// Shown minus due, the short way round where there is one.
    #[must_use]
    pub fn error(&self) -> f64 {
        let d = self.displayed - self.expected;
        self.period.map_or(d, |p| half_period(d, p))
    }
}

/// The numbers of a region that agrees with its reference drawn for `shown`, while `due` was due.
pub fn as_drawn(subject: Subject, region: usize, shown: &Inputs, due: &Inputs) -> Vec<Digits> {
    let definition = subject.definition();
    freedom::readouts(definition, region)
        .iter()
        .filter(|f| freedom::is_readout_shown(definition, region, f, shown))
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
/// `captured` luma; only readouts with wrong characters that still make a number, with nothing else beside it.
pub fn as_read(
    subject: Subject,
    region: usize,
    due: &Inputs,
    reference: &Comparison,
    captured: View,
    wrong: &[WrongCell],
) -> Vec<Digits> {
    let definition = subject.definition();
    let (scene, area) = (reference.scene(), reference.area());
    let geometry = reference.geometry();
    let mut found = Vec::new();
    for f in freedom::readouts(definition, region) {
        let Value::Number(v) = due.value(f.channel) else {
            continue;
        };
        if !freedom::is_readout_shown(definition, region, &f, due) {
            continue;
        }
        let text = readout::text(f.model, definition, due);
        for item in scene.items() {
            let Shape::Words(w) = item.shape else {
                continue;
            };
            if scene.words(&w) != text {
                continue;
            }
            let mut shown = String::new();
            let mut changed = 0;
            let mut still = Still::default();
            for (letter, origin, advance) in glyphs::cells(scene, &w, definition.face(w.font)) {
                let x = geometry.x(origin.x) - f64::from(area.x);
                let y = geometry.y(origin.y) - f64::from(area.y);
                let other = wrong.iter().find(|c| {
                    let left = f64::from(c.rect.x);
                    let is_here = (left - x).abs() <= 1.5
                        && y >= f64::from(c.rect.y)
                        && y <= f64::from(c.rect.bottom()) + 1.0;
                    is_here && c.due == letter
                });
                changed += usize::from(other.is_some());
                still.add(x, advance, other.is_none());
                still.lines = [y - CAPITALS * w.size, y];
                shown.push(other.map_or(letter, |c| c.shown));
            }
            if changed == 0 {
                continue;
            }
            if still.differs(captured, reference.reference()[0]) {
                break;
            }
            if let Some(displayed) = whole_number(&f.model.format, &shown, changed) {
                found.push(digits(&f, displayed, displayed_number(&f.model.format, *v)));
            }
            break;
        }
    }
    found
}

/// What must look as it is due where a number is read: the characters that are right, and what stands beside it.
#[derive(Default)]
struct Still {
    /// From and to, px of the region.
    columns: Vec<[f64; 2]>,
    /// See `columns`.
    lines: [f64; 2],
}

/// Height of digits, of the em.
const CAPITALS: f64 = 0.75;
/// Pixels that may differ, and by how many levels beyond their neighbours they must: the unit's own rasteriser and the
/// codec leave less.
const DIFFERENT_PX: usize = 8;
const DIFFERENT_LEVELS: u8 = 60;

impl Still {
    /// The next cell, from the left.
    fn add(&mut self, x: f64, advance: f64, is_right: bool) {
        match self.columns.last_mut() {
            // The column beside the number, as wide as a cell, was put behind the cell before.
            Some(beside) => *beside = [beside[0], x],
            None => self.columns.push([x - advance, x]),
        }
        let end = x + advance;
        if is_right && let Some(last) = self.columns.last_mut() {
            last[1] = end;
        } else {
            self.columns.push([end, end]);
        }
        if let Some(last) = self.columns.last_mut() {
            last[1] += advance;
        }
    }

    /// Whether one picture has ink there that the other has not.
    fn differs(&self, a: View, b: View) -> bool {
        let within = |[from, to]: [f64; 2], length: usize| {
            // A pixel to each side belongs to the neighbour's edge.
            let from = (from + 1.0).clamp(0.0, length as f64) as usize;
            from..((to - 1.0).clamp(0.0, length as f64) as usize).max(from)
        };
        let is_beyond = |level: u8, of: View, x: usize, y: usize| {
            let rows = y.saturating_sub(1)..(y + 2).min(of.height());
            let near = rows.flat_map(|y| &of.row(y)[x.saturating_sub(1)..(x + 2).min(of.width())]);
            let (low, high) = near.fold((u8::MAX, 0), |(l, h), v| (l.min(*v), h.max(*v)));
            level < low.saturating_sub(DIFFERENT_LEVELS)
                || level > high.saturating_add(DIFFERENT_LEVELS)
        };
        let differs = |&(x, y): &(usize, usize)| {
            is_beyond(a.row(y)[x], b, x, y) || is_beyond(b.row(y)[x], a, x, y)
        };
        self.columns.iter().any(|columns| {
            let columns = within(*columns, b.width());
            let lines = within(self.lines, b.height());
            let pixels = lines.flat_map(|y| columns.clone().map(move |x| (x, y)));
            pixels.filter(differs).count() > DIFFERENT_PX
        })
    }
}

/// The number that the cells of the due one make, unless they are a part of a longer one: where 100.0 stands in the place
/// of 99.8, its last four characters do.
fn whole_number(format: &NumberFormat, shown: &str, changed: usize) -> Option<f64> {
    let displayed = parse_number(format, shown)?;
    let usual = format_number(format, displayed);
    // One digit that was overwritten by a nought is a number as it stands.
    (changed == 1 || usual.chars().count() == shown.chars().count()).then_some(displayed)
}

fn digits(f: &ReadoutField, displayed: f64, expected: f64) -> Digits {
    let format = &f.model.format;
    Digits {
        what: f.what,
        channel: f.channel,
        displayed,
        expected,
        resolution: resolution(format),
        period: format.wrap.map(|w| w / format.scale),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_end_of_a_longer_number_is_no_number() {
        let tenths = NumberFormat {
            decimals: 1,
            ..NumberFormat::default()
        };
        assert_eq!(whole_number(&tenths, "00.0", 3), None);
        assert_eq!(whole_number(&tenths, "97.6", 3), Some(97.6));
        assert_eq!(whole_number(&tenths, "09.8", 1), Some(9.8));
    }
}
