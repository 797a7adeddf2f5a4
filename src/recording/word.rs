//! 32-bit words of a data bus: what one says of a channel.
//!
//! A log of a bus is a table of times and words. A word has its label in the low byte (the label's highest bit in bit 1),
//! source or destination in bits 9 and 10, data in bits 11 to 29, sign and status in bits 30 and 31, and in bit 32 what makes
//! the number of ones odd. What the data mean stands in the interface document of whoever sends them, and is given in
//! `[recording.columns]`.
//!
//! A word that arrived damaged (its parity is even), or whose status says that the source failed, has no data or is being
//! tested, makes the value invalid: the display must not show it. Digits beyond nine in a good word are another matter: the
//! value is not coded as was said, and reading stops.
//!
//! # Source
//! Layout, codings and status as in `shared/checks/arinc429.json` (see its `source` and `from_memory`), whose words the tests
//! decode.

use crate::definition::recording_form::{Coding, WordForm};

/// How the words of one column are read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct WordCode {
    label: u8,
    source: Option<u8>,
    coding: Coding,
    /// Binary: value of the lowest bit that counts.
    step: f64,
    /// First and last bit of the data, from 1.
    bits: [u8; 2],
}

/// What a word says of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Said {
    /// It is about something else.
    Nothing,
    /// There is no usable value.
    Invalid,
    /// The value.
    Value(f64),
    /// A decimal digit that is none: its bits, and what they hold.
    NoDigit([u8; 2], u32),
}

/// Bits of the sign and of the data below it.
const SIGN_BIT: u8 = 29;
/// Fields of the five decimal digits, the highest first.
const DIGITS: [[u8; 2]; 5] = [[27, 29], [23, 26], [19, 22], [15, 18], [11, 14]];

impl WordCode {
    /// Of a form that was checked.
    pub(super) fn new(form: &WordForm) -> Self {
        let count = form.bits.unwrap_or(18).clamp(1, 18);
        let bits = match form.coding {
            Coding::Binary => [SIGN_BIT - count, SIGN_BIT],
            Coding::Decimal => [11, SIGN_BIT],
            Coding::Discrete => form.field.unwrap_or([11, SIGN_BIT]),
        };
        Self {
            label: form.label().unwrap_or(0),
            source: form.source,
            coding: form.coding,
            step: form.full_scale.unwrap_or(1.0) / f64::from(1u32 << count),
            bits,
        }
    }

    /// What `word` says.
    pub(super) fn read(&self, word: u32) -> Said {
        // The label goes over the bus with its highest bit first.
        let label = (word as u8).reverse_bits();
        let source = field(word, [9, 10]);
        if label != self.label || self.source.is_some_and(|s| u32::from(s) != source) {
            return Said::Nothing;
        }
        let is_odd = word.count_ones() % 2 == 1;
        let status = field(word, [30, 31]);
        let is_usable = match self.coding {
            Coding::Binary => status == 3,
            Coding::Decimal => matches!(status, 0 | 3),
            Coding::Discrete => status == 0,
        };
        if !is_odd || !is_usable {
            return Said::Invalid;
        }
        match self.coding {
            Coding::Binary => {
                let [first, last] = self.bits;
                let width = u32::from(last - first) + 1;
                // The sign bit goes to the top, so that shifting back repeats it.
                let code = ((field(word, self.bits) << (32 - width)) as i32) >> (32 - width);
                Said::Value(f64::from(code) * self.step)
            }
            Coding::Decimal => {
                let mut value = 0;
                for bits in DIGITS {
                    let digit = field(word, bits);
                    if digit > 9 {
                        return Said::NoDigit(bits, digit);
                    }
                    value = value * 10 + digit;
                }
                let sign = if status == 3 { -1.0 } else { 1.0 };
                Said::Value(if value == 0 {
                    0.0
                } else {
                    sign * f64::from(value)
                })
            }
            Coding::Discrete => Said::Value(f64::from(field(word, self.bits))),
        }
    }
}

/// Bits `first` to `last` of a word, from 1.
fn field(word: u32, [first, last]: [u8; 2]) -> u32 {
    (word >> (first - 1)) & (u32::MAX >> (31 - (last - first)))
}

/// The word that hexadecimal digits say, with or without `0x`.
pub(super) fn parsed(text: &str) -> Option<u32> {
    let digits = text
        .strip_prefix("0x")
        .or_else(|| text.strip_prefix("0X"))
        .unwrap_or(text);
    let is_plain = (1..=8).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_hexdigit());
    is_plain
        .then(|| u32::from_str_radix(digits, 16).ok())
        .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(label: &str, coding: Coding) -> WordForm {
        WordForm {
            label: label.into(),
            source: None,
            coding,
            full_scale: None,
            bits: None,
            field: None,
        }
    }

    /// `arinc429.json`: words of labels 203, 206, 212, 320, 324 and 164, by range, magnitude bits and what they decode to.
    #[test]
    fn binary_words_are_what_the_table_says() {
        for (label, full_scale, bits, word, value) in [
            ("203", 131_072.0, 17, 0x6000_00C1, 0.0),
            ("203", 131_072.0, 17, 0x601F_40C1, 1000.0),
            ("203", 131_072.0, 17, 0xFFF0_60C1, -500.0),
            ("203", 131_072.0, 17, 0x7FFF_F8C1, -1.0),
            ("203", 131_072.0, 17, 0xEFFF_F8C1, 131_071.0),
            ("203", 131_072.0, 17, 0xF000_00C1, -131_072.0),
            ("206", 1024.0, 14, 0xE17E_0061, 95.5),
            ("206", 1024.0, 14, 0xE1E0_4061, 120.0625),
            ("212", 32_768.0, 11, 0xFF6A_0051, -1200.0),
            ("212", 32_768.0, 11, 0xE03E_0051, 496.0),
            ("320", 180.0, 15, 0x6FFF_C00B, 179.989_013_671_875),
            ("320", 180.0, 15, 0x7800_000B, -90.0),
            ("324", 180.0, 14, 0xF802_402B, -89.901_123_046_875),
            ("325", 180.0, 14, 0xFD55_40AB, -30.003_662_109_375),
            ("164", 8192.0, 16, 0xFFFB_002E, -10.0),
            ("164", 8192.0, 16, 0x6000_102E, 0.125),
        ] {
            let mut form = code(label, Coding::Binary);
            (form.full_scale, form.bits) = (Some(full_scale), Some(bits));
            assert_eq!(
                WordCode::new(&form).read(word),
                Said::Value(value),
                "{label} {word:08X}"
            );
            // One bit more or less is no longer odd.
            assert_eq!(WordCode::new(&form).read(word ^ (1 << 31)), Said::Invalid);
            assert_eq!(WordCode::new(&form).read(word ^ (1 << 15)), Said::Invalid);
        }
    }

    /// `arinc429.json`, `bcd`: digits, status and word.
    #[test]
    fn decimal_words_are_what_the_table_says() {
        for (label, word, said) in [
            ("205", 0xFE14_04A1, Said::Value(-78_501.0)),
            ("201", 0x095E_1881, Said::Value(25_786.0)),
            ("201", 0x8000_0081, Said::Value(0.0)),
            ("201", 0x9E66_6581, Said::Value(79_999.0)),
            ("234", 0x0404_C839, Said::Value(10_132.0)),
            ("235", 0x0A64_80B9, Said::Value(29_920.0)),
            ("201", 0x6000_5481, Said::Value(-15.0)),
            ("201", 0x2000_0081, Said::Invalid),
            ("201", 0xC48D_1481, Said::Invalid),
        ] {
            assert_eq!(
                WordCode::new(&code(label, Coding::Decimal)).read(word),
                said,
                "{word:08X}"
            );
        }
        // Its source is 1.
        let mut form = code("201", Coding::Decimal);
        for (source, said) in [(1, Said::Value(79_999.0)), (0, Said::Nothing)] {
            form.source = Some(source);
            assert_eq!(WordCode::new(&form).read(0x9E66_6581), said);
        }
        // Thirteen in bits 11 to 14, and three ones with it.
        let thirteen = 0x8000_0081 ^ (13 << 10) ^ (1 << 31);
        let said = WordCode::new(&code("201", Coding::Decimal)).read(thirteen);
        assert_eq!(said, Said::NoDigit([11, 14], 13));
    }

    /// `arinc429.json`, `seen_words` and the `ssm_*` tables: words of public test data.
    #[test]
    fn labels_fields_and_status_are_what_the_table_says() {
        for (label, word, field, value) in [
            ("205", 0xE001_90A1u32, [11, 29], 100.0),
            ("321", 0x600C_808B, [15, 29], 50.0),
            ("333", 0x603F_80DB, [16, 29], 127.0),
            ("012", 0xE01F_4050, [11, 29], 2000.0),
        ] {
            let mut form = code(label, Coding::Discrete);
            form.field = Some(field);
            let code = WordCode::new(&form);
            // Three says failure of a discrete word; with both bits turned the parity stays.
            assert_eq!(code.read(word), Said::Invalid, "{label}");
            assert_eq!(code.read(word ^ (3 << 29)), Said::Value(value), "{label}");
            assert_eq!(code.read(word ^ 1), Said::Nothing);
        }
        let mut form = code("206", Coding::Binary);
        form.full_scale = Some(1024.0);
        // No computed data.
        assert_eq!(WordCode::new(&form).read(0xA001_A461), Said::Invalid);
    }

    #[test]
    fn words_are_hexadecimal_digits() {
        assert_eq!(parsed("E00190A1"), Some(0xE001_90A1));
        assert_eq!(parsed("0xe00190a1"), Some(0xE001_90A1));
        for bad in ["", "0x", "E00190A1F", "+1", "60 00", "é"] {
            assert_eq!(parsed(bad), None, "{bad}");
        }
    }
}
