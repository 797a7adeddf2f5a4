//! Numbers that are written out.

use super::error::Kind;
use crate::definition::recording_form::Decimal;

/// The number that `cell` says, with the decimal sign `decimal`.
pub(super) fn parsed(cell: &str, decimal: Decimal) -> Result<f64, Kind> {
    let read = |text: &str| text.parse::<f64>();
    let comma_as_point = |text: &str| match text.split_once(',') {
        Some((whole, rest)) => read(&format!("{whole}.{rest}")),
        None => read(text),
    };
    let (value, other) = match decimal {
        Decimal::Point => (read(cell), Decimal::Comma),
        // A point beside decimal commas may stand between thousands, or be a slip.
        Decimal::Comma if cell.contains('.') => (read(""), Decimal::Point),
        Decimal::Comma => (comma_as_point(cell), Decimal::Point),
    };
    match value {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) if cell.bytes().any(|b| b.is_ascii_digit()) => {
            Err(Kind::Overflow { found: cell.into() })
        }
        Ok(_) => Err(Kind::NotFinite { found: cell.into() }),
        Err(_) => {
            let by_other = match other {
                Decimal::Point => read(cell),
                Decimal::Comma => comma_as_point(cell),
            };
            Err(Kind::NotANumber {
                found: cell.into(),
                written_with: by_other.is_ok_and(f64::is_finite).then_some(other),
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_decimal_sign_is_the_one_that_was_said() {
        let value = |text, decimal| parsed(text, decimal).ok();
        assert_eq!(value("-12.5e1", Decimal::Point), Some(-125.0));
        assert_eq!(value("-12,5e1", Decimal::Comma), Some(-125.0));
        assert_eq!(value("7", Decimal::Comma), Some(7.0));
        for (text, decimal) in [("12,5", Decimal::Point), ("12.5", Decimal::Comma)] {
            let Err(Kind::NotANumber { written_with, .. }) = parsed(text, decimal) else {
                panic!("{text} is refused");
            };
            assert!(written_with.is_some_and(|other| other != decimal));
        }
        for text in ["1.234,5", "1,2,3", ",", ""] {
            assert_eq!(value(text, Decimal::Comma), None, "{text}");
        }
    }
}
