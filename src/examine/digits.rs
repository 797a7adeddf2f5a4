//! The numbers that readouts show, put together from their characters.

use super::comparison::ChainLook;
use super::subject::Subject;
use super::words::WrongCell;
use crate::picture::Rect;
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::glyphs;
use crate::reference::scene::{Scene, Shape};
use crate::reference::symbols::freedom::{self, ReadoutField};
use crate::reference::symbols::number::{displayed_number, parse_number, resolution};
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

/// The numbers of a region in which some characters of the reference `scene` (drawn for `due`) are wrong;
/// only readouts with wrong characters that still make a number.
pub fn as_read(
    subject: Subject,
    region: usize,
    due: &Inputs,
    scene: &Scene,
    wrong: &[WrongCell],
    (chain, area): (&ChainLook, Rect),
) -> Vec<Digits> {
    let definition = subject.definition();
    let geometry = &chain.look.geometry;
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
            let mut is_changed = false;
            for (letter, origin, _) in glyphs::cells(scene, &w, definition.face(w.font)) {
                let x = geometry.x(origin.x) - f64::from(area.x);
                let y = geometry.y(origin.y) - f64::from(area.y);
                let other = wrong.iter().find(|c| {
                    let left = f64::from(c.rect.x);
                    let is_here = (left - x).abs() <= 1.5
                        && y >= f64::from(c.rect.y)
                        && y <= f64::from(c.rect.bottom()) + 1.0;
                    is_here && c.due == letter
                });
                is_changed |= other.is_some();
                shown.push(other.map_or(letter, |c| c.shown));
            }
            if !is_changed {
                continue;
            }
            if let Some(displayed) = parse_number(&f.model.format, &shown) {
                found.push(digits(&f, displayed, displayed_number(&f.model.format, *v)));
            }
            break;
        }
    }
    found
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
