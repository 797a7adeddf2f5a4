//! Comparisons of channels with constants: when an alert is active, when a colour holds.

use super::inputs::{Inputs, Value};
use crate::definition::Definition;
use crate::definition::model::Condition;

/// Whether one comparison holds at one moment.
///
/// Every bound that the condition gives must hold. False while the channel is invalid or
/// missing, and for words. A condition without bounds holds while its channel has a number.
///
/// # Panics
/// When the condition names a channel that `definition` lacks, which a checked definition
/// rules out, or `inputs` were made for another definition.
#[must_use]
pub fn condition_holds(condition: &Condition, definition: &Definition, inputs: &Inputs) -> bool {
    value_meets(
        condition,
        inputs.value(definition.channel(&condition.channel)),
    )
}

/// Whether all of `conditions` hold at one moment; true for none.
///
/// # Panics
/// As [`condition_holds`].
#[must_use]
pub fn all_hold(conditions: &[Condition], definition: &Definition, inputs: &Inputs) -> bool {
    conditions
        .iter()
        .all(|c| condition_holds(c, definition, inputs))
}

/// Whether a value meets the bounds of a condition, whatever channel it came from.
#[must_use]
pub fn value_meets(condition: &Condition, value: &Value) -> bool {
    let Some(v) = value.number() else {
        return false;
    };
    condition.below.is_none_or(|limit| v < limit)
        && condition.at_least.is_none_or(|limit| v >= limit)
        && condition.equals.is_none_or(|constant| v == constant)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bounds(below: Option<f64>, at_least: Option<f64>, equals: Option<f64>) -> Condition {
        Condition {
            channel: "x".into(),
            below,
            at_least,
            equals,
        }
    }

    #[test]
    fn bounds_are_half_open_and_combine() {
        let window = bounds(Some(20.0), Some(10.0), None);
        for (v, holds) in [(9.999, false), (10.0, true), (19.999, true), (20.0, false)] {
            assert_eq!(value_meets(&window, &Value::Number(v)), holds, "{v}");
        }
        assert!(value_meets(
            &bounds(None, None, Some(3.0)),
            &Value::Number(3.0)
        ));
        assert!(!value_meets(
            &bounds(None, None, Some(3.0)),
            &Value::Number(3.1)
        ));
    }

    #[test]
    fn nothing_holds_without_a_number() {
        for value in [Value::Invalid, Value::Missing, Value::Text("3".into())] {
            assert!(
                !value_meets(&bounds(Some(f64::MAX), None, None), &value),
                "{value:?}"
            );
            assert!(!value_meets(&bounds(None, None, None), &value), "{value:?}");
        }
    }
}
