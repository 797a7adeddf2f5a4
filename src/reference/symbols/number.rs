//! Numbers as the display writes them, and back.
//!
//! The rule, for readouts and scale numbers alike. Take the value times `scale` plus `offset`.
//! Round to a multiple of `quantum`, then to `decimals` places; a half goes away from zero, and
//! what lies within 1e-9 of a half counts as a half (0.15 in tenths is 0.2, although the nearest
//! binary number is a little below 0.15). Bring the result into `0..wrap` when there is a wrap;
//! a zero then reads as `wrap` when `zero_as_wrap` is set. Write `prefix`, the sign, at least
//! `digits` digits (zeros in front, sign not counted), the point and `decimals` digits, `suffix`. With `minutes` the number is
//! one of seconds: whole minutes, a colon, and two digits of seconds stand before the point.
//! The sign is `-` below zero and, with `plus`, `+` above; a zero that is shown has no sign, so
//! that `-0` never stands on a display.

use std::fmt::{self, Write};
use std::ops::Deref;

use crate::definition::model::NumberFormat;

/// Powers of ten that a binary fraction holds exactly.
const POWERS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Distance from a half that still counts as the half; far above the rounding of a unit
/// conversion, far below what any display resolves.
const HALF_TOLERANCE: f64 = 1e-9;

/// Words short enough to be made without asking for memory; longer ones are kept all the same.
#[derive(Clone, Debug)]
pub struct ShortText {
    short: [u8; Self::CAPACITY],
    used: usize,
    long: String,
}

impl ShortText {
    const CAPACITY: usize = 64;

    /// No words yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            short: [0; Self::CAPACITY],
            used: 0,
            long: String::new(),
        }
    }
}

impl Default for ShortText {
    fn default() -> Self {
        Self::new()
    }
}

impl Write for ShortText {
    fn write_str(&mut self, s: &str) -> fmt::Result {
        let end = self.used + s.len();
        if self.long.is_empty() && end <= Self::CAPACITY {
            self.short[self.used..end].copy_from_slice(s.as_bytes());
            self.used = end;
        } else {
            if self.long.is_empty() {
                let text = std::str::from_utf8(&self.short[..self.used]).map_err(|_| fmt::Error)?;
                self.long.push_str(text);
            }
            self.long.push_str(s);
        }
        Ok(())
    }
}

impl Deref for ShortText {
    type Target = str;

    fn deref(&self) -> &str {
        if self.long.is_empty() {
            std::str::from_utf8(&self.short[..self.used]).expect("whole strings were written")
        } else {
            &self.long
        }
    }
}

/// The value as the display writes it; see the module for the rule.
#[must_use]
pub fn format_number(f: &NumberFormat, v: f64) -> String {
    let mut text = String::new();
    write_number(f, v, &mut text);
    text
}

/// Like [`format_number`], at the end of `text`.
pub fn write_number(f: &NumberFormat, v: f64, text: &mut impl Write) {
    let written = write_places(f, shown_places(f, v), text);
    debug_assert!(written.is_ok(), "writing to memory does not fail");
}

fn write_places(f: &NumberFormat, places: i64, text: &mut impl Write) -> fmt::Result {
    let decimals = decimals(f);
    text.write_str(&f.prefix)?;
    if places < 0 {
        text.write_char('-')?;
    } else if f.plus && places > 0 {
        text.write_char('+')?;
    }
    let unit = POWERS[decimals] as u64;
    let (whole, rest) = (places.unsigned_abs() / unit, places.unsigned_abs() % unit);
    let width = usize::from(f.digits);
    if f.minutes {
        write!(text, "{:0width$}:{:02}", whole / 60, whole % 60)?;
    } else {
        write!(text, "{whole:0width$}")?;
    }
    if decimals > 0 {
        write!(text, ".{rest:0decimals$}")?;
    }
    text.write_str(&f.suffix)
}

fn decimals(f: &NumberFormat) -> usize {
    usize::from(f.decimals).min(POWERS.len() - 1)
}

/// The shown number as a whole count of its last place.
fn shown_places(f: &NumberFormat, v: f64) -> i64 {
    let unit = POWERS[decimals(f)];
    let converted = v * f.scale + f.offset;
    let rounded = match f.quantum {
        Some(q) if q > 0.0 => round_half_away(converted / q) * q,
        Some(_) | None => converted,
    };
    let places = round_half_away(rounded * unit) as i64;
    let Some(wrap) = f.wrap else { return places };
    let turn = round_half_away(wrap * unit) as i64;
    if turn <= 0 {
        return places;
    }
    match places.rem_euclid(turn) {
        0 if f.zero_as_wrap => turn,
        shown => shown,
    }
}

/// The nearest whole number; halves, and what lies within 1e-9 of one, go away from zero.
#[must_use]
pub fn round_half_away(x: f64) -> f64 {
    let whole = libm::trunc(x);
    let rest = libm::fabs(x - whole);
    if libm::fabs(rest - 0.5) <= HALF_TOLERANCE {
        whole + libm::copysign(1.0, x)
    } else {
        libm::round(x)
    }
}

/// The number that is shown for `v`, turned back into the channel's unit; `v` when `scale` is 0.
#[must_use]
pub fn displayed_number(f: &NumberFormat, v: f64) -> f64 {
    let shown = shown_places(f, v) as f64 / POWERS[decimals(f)];
    to_channel_unit(f, shown).unwrap_or(v)
}

fn to_channel_unit(f: &NumberFormat, shown: f64) -> Option<f64> {
    let v = (shown - f.offset) / f.scale;
    v.is_finite().then_some(v)
}

/// Distance between neighbouring numbers that can be shown, in the channel's unit.
#[must_use]
pub fn resolution(f: &NumberFormat) -> f64 {
    let place = 1.0 / POWERS[decimals(f)];
    let step = match f.quantum {
        Some(q) if q > place => q,
        Some(_) | None => place,
    };
    if f.scale == 0.0 {
        f64::INFINITY
    } else {
        libm::fabs(step / f.scale)
    }
}

/// The value that `text` shows, in the channel's unit: `(number - offset) / scale`.
///
/// `None` when `text` is not prefix, at most one sign, digits with at most one point among
/// them, suffix. The count of digits is not looked at. A heading shown as 360 gives 360.
#[must_use]
pub fn parse_number(f: &NumberFormat, text: &str) -> Option<f64> {
    let text = text
        .strip_prefix(f.prefix.as_str())?
        .strip_suffix(f.suffix.as_str())?;
    let (is_negative, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let is_number = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let (minutes, digits) = match digits.split_once(':') {
        Some((minutes, seconds)) if f.minutes && is_number(minutes) => {
            (minutes.parse().ok()?, seconds)
        }
        _ => (0.0, digits),
    };
    let (whole, rest) = digits.split_once('.').unwrap_or((digits, "0"));
    if !is_number(whole) || !is_number(rest) {
        return None;
    }
    let shown: f64 = 60.0 * minutes + digits.parse::<f64>().ok()?;
    to_channel_unit(f, if is_negative { -shown } else { shown })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain() -> NumberFormat {
        NumberFormat::default()
    }

    #[test]
    fn signs() {
        assert_eq!(format_number(&plain(), 12.4), "12");
        assert_eq!(format_number(&plain(), -12.4), "-12");
        assert_eq!(format_number(&plain(), -0.4), "0");
        assert_eq!(format_number(&plain(), -0.0), "0");
        let plus = NumberFormat {
            plus: true,
            ..plain()
        };
        assert_eq!(format_number(&plus, 7.0), "+7");
        assert_eq!(format_number(&plus, -7.0), "-7");
        assert_eq!(format_number(&plus, 0.2), "0");
    }

    #[test]
    fn halves_go_away_from_zero() {
        assert_eq!(format_number(&plain(), 0.5), "1");
        assert_eq!(format_number(&plain(), 2.5), "3");
        assert_eq!(format_number(&plain(), -2.5), "-3");
        assert_eq!(format_number(&plain(), 2.4999), "2");
        let tenths = NumberFormat {
            decimals: 1,
            ..plain()
        };
        assert_eq!(format_number(&tenths, 0.15), "0.2");
        assert_eq!(format_number(&tenths, -0.05), "-0.1");
        assert_eq!(format_number(&tenths, 0.1499), "0.1");
    }

    #[test]
    fn quantum_and_digits() {
        let altitude = NumberFormat {
            quantum: Some(20.0),
            ..plain()
        };
        assert_eq!(format_number(&altitude, 4509.9), "4500");
        assert_eq!(format_number(&altitude, 4510.0), "4520");
        assert_eq!(format_number(&altitude, -10.0), "-20");
        let padded = NumberFormat {
            digits: 3,
            decimals: 1,
            ..plain()
        };
        assert_eq!(format_number(&padded, 7.06), "007.1");
        assert_eq!(format_number(&padded, -7.06), "-007.1");
        let quarter = NumberFormat {
            quantum: Some(0.25),
            decimals: 2,
            ..plain()
        };
        assert_eq!(format_number(&quarter, 1.13), "1.25");
    }

    /// Headings read in three digits, 360 and not 000: usual practice, not a rule.
    #[test]
    fn headings_wrap_after_rounding() {
        let heading = NumberFormat {
            digits: 3,
            wrap: Some(360.0),
            zero_as_wrap: true,
            ..plain()
        };
        for (v, text) in [
            (359.4, "359"),
            (359.6, "360"),
            (0.0, "360"),
            (0.4, "360"),
            (0.6, "001"),
            (-1.0, "359"),
            (725.0, "005"),
        ] {
            assert_eq!(format_number(&heading, v), text, "{v}");
        }
        let zero = NumberFormat {
            zero_as_wrap: false,
            ..heading
        };
        assert_eq!(format_number(&zero, 359.6), "000");
    }

    #[test]
    fn conversion_and_words_around() {
        let f = NumberFormat {
            scale: 1.8,
            offset: 32.0,
            prefix: "T ".into(),
            suffix: " F".into(),
            ..plain()
        };
        assert_eq!(format_number(&f, 100.0), "T 212 F");
        assert_eq!(parse_number(&f, "T 212 F"), Some(100.0));
        assert_eq!(parse_number(&f, "212 F"), None);
    }

    #[test]
    fn parsing_refuses_what_is_not_a_number() {
        for text in [
            "", "-", "+-1", "1.2.3", "1.", ".5", "1e3", "--1", "inf", " 1", "---",
        ] {
            assert_eq!(parse_number(&plain(), text), None, "{text:?}");
        }
        assert_eq!(parse_number(&plain(), "007"), Some(7.0));
        assert_eq!(parse_number(&plain(), "-12.50"), Some(-12.5));
    }

    #[test]
    fn what_is_written_reads_back() {
        let f = NumberFormat {
            scale: 0.5,
            offset: -3.0,
            decimals: 2,
            quantum: Some(0.05),
            ..plain()
        };
        for k in -2000..2000 {
            let v = f64::from(k) * 0.137;
            let read = parse_number(&f, &format_number(&f, v)).expect("a number was written");
            assert!((read - displayed_number(&f, v)).abs() < 1e-9, "{v}");
            assert!(
                (read - v).abs() <= resolution(&f) / 2.0 + 1e-9,
                "{v} {read}"
            );
        }
    }

    #[test]
    fn stopwatches_count_minutes_and_seconds() {
        let f = NumberFormat {
            minutes: true,
            digits: 2,
            offset: -0.4999,
            ..plain()
        };
        // Whole seconds gone by; a minute after 59 s, an hour is sixty minutes more.
        for (v, text) in [
            (0.0, "00:00"),
            (59.98, "00:59"),
            (60.0, "01:00"),
            (754.3, "12:34"),
            (3725.0, "62:05"),
        ] {
            assert_eq!(format_number(&f, v), text, "{v}");
            let read = parse_number(&f, text).expect("it reads");
            assert!((read - v).abs() <= 0.5 + 1e-9, "{v} {read}");
        }
        let tenths = NumberFormat {
            minutes: true,
            decimals: 1,
            ..plain()
        };
        assert_eq!(format_number(&tenths, 65.25), "1:05.3");
        assert_eq!(parse_number(&tenths, "1:05.3"), Some(65.3));
        assert_eq!(parse_number(&plain(), "1:05"), None);
    }

    #[test]
    fn absurd_numbers_do_not_panic() {
        let f = NumberFormat {
            decimals: 255,
            digits: 255,
            wrap: Some(1e300),
            ..plain()
        };
        for v in [1e300, -1e300, f64::MAX, f64::MIN_POSITIVE] {
            assert!(!format_number(&f, v).is_empty());
            let _ = displayed_number(&f, v);
        }
    }

    #[test]
    fn short_text_grows_when_it_must() {
        let mut text = ShortText::new();
        for _ in 0..30 {
            text.write_str("äbc").expect("memory");
        }
        assert_eq!(&*text, "äbc".repeat(30));
    }
}
