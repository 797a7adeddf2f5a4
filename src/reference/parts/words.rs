//! Words of parts.

use std::fmt::Write;

use super::Place;
use crate::definition::Definition;
use crate::definition::model::{Align, Readout, Text};
use crate::definition::parts::{Drum, Label};
use crate::picture::Point;
use crate::recording::inputs::Inputs;
use crate::reference::scene::Scene;
use crate::reference::symbols::number::{ShortText, write_number};
use crate::reference::symbols::readout as value;
use crate::reference::symbols::words::{self, Style, UPRIGHT};

fn line(
    style: Style,
    [x, y]: [f64; 2],
    align: Align,
    text: &str,
    place: &Place,
    d: &Definition,
    scene: &mut Scene,
) {
    let anchor = place.to_page.map(Point::new(x, y));
    let direction = if place.upright {
        UPRIGHT
    } else {
        place.to_page.direction()
    };
    words::turned(d, style, anchor, align, direction, text, scene);
}

pub(super) fn fixed(m: &Text, place: &Place, d: &Definition, scene: &mut Scene) {
    let style = Style {
        font: &m.font,
        size: m.size,
        color: d.color(&m.color),
    };
    line(style, m.position, m.align, &m.text, place, d, scene);
}

pub(super) fn label(m: &Label, place: &Place, d: &Definition, scene: &mut Scene) {
    let style = Style {
        font: &m.font,
        size: m.size,
        color: d.color(&m.color),
    };
    let mut text = ShortText::new();
    write_label(m, place.value, &mut text);
    line(style, m.position, m.align, &text, place, d, scene);
}

/// What a label reads at a value.
pub(super) fn write_label(m: &Label, v: f64, text: &mut impl Write) {
    let named = m.named.iter().find(|n| libm::fabs(n.at - v) < 1e-6);
    match named {
        Some(named) => {
            let written = text.write_str(&named.text);
            debug_assert!(written.is_ok(), "writing to memory does not fail");
        }
        None => write_number(&m.format, if m.absolute { libm::fabs(v) } else { v }, text),
    }
}

pub(super) fn readout(
    m: &Readout,
    place: &Place,
    d: &Definition,
    inputs: &Inputs,
    scene: &mut Scene,
) {
    let mut shown = ShortText::new();
    value::write_text(m, d, inputs, &mut shown);
    let style = Style {
        font: &m.font,
        size: m.size,
        color: value::color(m, d, inputs),
    };
    line(style, m.position, m.align, &shown, place, d, scene);
}

/// Distance between the places of a drum, px.
pub(super) fn pitch(m: &Drum, d: &Definition) -> f64 {
    let face = d.face(d.font(&m.font));
    let widest = ('0'..='9').map(|c| face.advance(c)).fold(0.0, f64::max);
    m.pitch.unwrap_or(widest * m.size)
}

pub(super) fn drum(m: &Drum, place: &Place, d: &Definition, inputs: &Inputs, scene: &mut Scene) {
    let style = Style {
        font: &m.font,
        size: m.size,
        color: d.color(&m.color),
    };
    let Some(v) = inputs.value(d.channel(&m.channel)).number() else {
        line(
            style,
            m.position,
            Align::Right,
            &m.invalid_text,
            place,
            d,
            scene,
        );
        return;
    };
    scene.set_rolling(true);
    let pitch = pitch(m, d);
    let [right, y] = m.position;
    let mut roll = Roll::new(m, libm::fabs(v));
    let mut end = right;
    for place_of_digit in 0..m.places {
        let digits = if place_of_digit == 0 {
            m.last_digits
        } else {
            1
        };
        let middle = end - pitch * f64::from(digits) / 2.0;
        end -= pitch * f64::from(digits);
        // The last place always moves: its neighbours look in from above and below.
        let rows = if place_of_digit == 0 { -1..=2 } else { 0..=1 };
        for row in rows {
            if place_of_digit > 0 && row == 1 && roll.carry == 0.0 {
                continue;
            }
            let mut text = ShortText::new();
            if !roll.write(m, place_of_digit, row, &mut text) {
                continue;
            }
            let down = (roll.carry - f64::from(row)) * m.row_height;
            if digits == 1 {
                line(
                    style,
                    [middle, y + down],
                    Align::Center,
                    &text,
                    place,
                    d,
                    scene,
                );
            } else {
                for (k, c) in text.chars().enumerate() {
                    let x = end + pitch * (k as f64 + 0.5);
                    let mut one = ShortText::new();
                    let written = one.write_char(c);
                    debug_assert!(written.is_ok(), "writing to memory does not fail");
                    line(style, [x, y + down], Align::Center, &one, place, d, scene);
                }
            }
        }
        roll.next_place();
    }
    scene.set_rolling(false);
}

/// One place of a drum after the other, from the last.
struct Roll {
    /// The count of this place, from 0 on, all places before it included.
    count: u64,
    /// Positions of this place.
    positions: u64,
    /// How far it is on its way to the next position, 0 to 1.
    carry: f64,
}

/// Positions of a drum's last place.
pub(super) fn positions(m: &Drum) -> u32 {
    let positions = 10f64.powi(i32::from(m.last_digits)) / m.unit;
    positions.round().max(1.0) as u32
}

impl Roll {
    fn new(m: &Drum, v: f64) -> Self {
        let positions = u64::from(positions(m));
        let x = (v / m.unit).min(1e15);
        Self {
            count: libm::floor(x) as u64,
            positions,
            carry: x - libm::floor(x),
        }
    }

    fn next_place(&mut self) {
        // The place before moves while this one goes from its last position to its first.
        if self.count % self.positions != self.positions - 1 {
            self.carry = 0.0;
        }
        self.count /= self.positions;
        self.positions = 10;
    }

    /// Writes what stands `row` positions on; false when nothing does.
    fn write(&self, m: &Drum, place: u8, row: i32, text: &mut impl Write) -> bool {
        let Some(count) = self.count.checked_add_signed(row.into()) else {
            return false;
        };
        let shown = count % self.positions;
        let is_last = place == 0;
        if !is_last && !m.leading_zeros && count == 0 {
            return false;
        }
        let written = if is_last {
            let width = usize::from(m.last_digits);
            write!(
                text,
                "{:0width$}",
                libm::round(shown as f64 * m.unit) as u64
            )
        } else {
            write!(text, "{shown}")
        };
        written.is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drum(unit: f64, last_digits: u8) -> Drum {
        Drum {
            channel: "a".into(),
            position: [0.0, 0.0],
            font: "mono".into(),
            size: 10.0,
            color: "white".into(),
            pitch: None,
            row_height: 12.0,
            places: 3,
            unit,
            last_digits,
            leading_zeros: false,
            invalid_text: String::new(),
        }
    }

    /// By place from the last: what stands there, what comes, and how far it has come.
    fn rolled(m: &Drum, v: f64) -> Vec<(String, String, f64)> {
        let mut roll = Roll::new(m, v);
        let mut all = Vec::new();
        for place in 0..m.places {
            let [mut now, mut next] = [String::new(), String::new()];
            roll.write(m, place, 0, &mut now);
            roll.write(m, place, 1, &mut next);
            all.push((now, next, roll.carry));
            roll.next_place();
        }
        all
    }

    #[test]
    fn places_carry_while_the_one_after_them_turns_over() {
        let m = drum(1.0, 1);
        let of = |v: f64| rolled(&m, v);
        let s = String::from;
        assert_eq!(
            of(129.25)[..2],
            [(s("9"), s("0"), 0.25), (s("2"), s("3"), 0.25)]
        );
        assert_eq!(of(129.25)[2], (s("1"), s("2"), 0.0), "the hundreds stand");
        assert_eq!(of(199.5)[2], (s("1"), s("2"), 0.5));
        assert_eq!(
            of(9.5)[1],
            (s(""), s("1"), 0.5),
            "a new place rolls in from nothing"
        );
    }

    #[test]
    fn the_last_place_may_count_twenties() {
        let m = drum(20.0, 2);
        let all = rolled(&m, 1190.0);
        assert_eq!(all[0], ("80".into(), "00".into(), 0.5));
        assert_eq!(
            (all[1].0.as_str(), all[1].1.as_str(), all[1].2),
            ("1", "2", 0.5)
        );
        assert_eq!(all[2], ("1".into(), "2".into(), 0.0));
    }
}
