//! Working out derived channels.
//!
//! An expression is worked out from its channels at the moment that is asked for. Truths follow Kleene's logic as
//! conditions do, which is what CEL prescribes too: `false && x` is false and `true || x` is true whatever `x` is. All else
//! has no value as soon as a part has none: invalid data, division by zero, a result that is not finite.
//!
//! # Functions of history, between rows
//! - `seconds_since`, `delayed`: a condition counts as begun at the first row at which it holds, or, when it holds only
//!   between two rows so far, at the moment itself.
//! - `seconds_within`: from the first row at which it holds to the first at which it does not.
//! - `latched`: as at the row before, and set or reset at the moment itself.
//! - `held`: the value at the last row before the condition held.
//! - `rate`: at a row, the change since the row before by the time since then; between rows on a straight line. Over a
//!   time: the change since then, by that time.
//! - `before`: the value at the moment so long before; none before the first row.

use std::sync::Arc;

use super::inputs::Value;
use super::moment::Moment;
use super::radio;
use super::sampled::{TIME_SLACK_S, angle_in_turn, on_line};
use crate::definition::expression::{Combination, Comparison, Expression, Mapping, Property};

/// A value while it is worked out.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Datum {
    Number(f64),
    Truth(bool),
    Text(Arc<str>),
    Nothing,
}

impl Datum {
    const fn number(&self) -> Option<f64> {
        match self {
            Self::Number(v) => Some(*v),
            _ => None,
        }
    }

    const fn truth(&self) -> Option<bool> {
        match self {
            Self::Truth(is) => Some(*is),
            _ => None,
        }
    }
}

impl From<Option<f64>> for Datum {
    fn from(value: Option<f64>) -> Self {
        // An infinite part would vanish again in a quotient.
        value
            .filter(|v| v.is_finite())
            .map_or(Self::Nothing, Self::Number)
    }
}

impl From<Option<bool>> for Datum {
    fn from(value: Option<bool>) -> Self {
        value.map_or(Self::Nothing, Self::Truth)
    }
}

impl Moment<'_> {
    /// Works an expression out. Its depth is bounded when it is compiled.
    pub(super) fn evaluate(&self, expression: &Expression) -> Datum {
        match expression {
            Expression::Number(v) => Datum::Number(*v),
            Expression::Truth(is) => Datum::Truth(*is),
            Expression::Text(words) => Datum::Text(Arc::clone(words)),
            Expression::Nothing => Datum::Nothing,
            Expression::Channel(channel) => match self.channel(*channel) {
                Value::Number(v) => Datum::Number(v),
                Value::Text(words) => Datum::Text(words),
                Value::Invalid | Value::Missing => Datum::Nothing,
            },
            Expression::Not(a) => self.evaluate(a).truth().map(|is| !is).into(),
            Expression::Both(pair) => self.joined(pair, false).into(),
            Expression::Either(pair) => self.joined(pair, true).into(),
            Expression::Choose(parts) => {
                let [c, a, b] = &**parts;
                match self.evaluate(c).truth() {
                    Some(true) => self.evaluate(a),
                    Some(false) => self.evaluate(b),
                    None => Datum::Nothing,
                }
            }
            Expression::Combine(how, pair) => {
                let [a, b] = &**pair;
                let (a, b) = (self.evaluate(a).number(), self.evaluate(b).number());
                a.zip(b).map(|(a, b)| combined(*how, a, b)).into()
            }
            Expression::Map(how, a) => {
                let a = self.evaluate(a).number();
                a.map(|a| mapped(*how, a)).into()
            }
            Expression::Compare(how, pair) => {
                let [a, b] = &**pair;
                compared(*how, &self.evaluate(a), &self.evaluate(b)).into()
            }
            Expression::IsOneOf(a, list) => {
                let a = self.evaluate(a);
                let mut any = Some(false);
                for member in list {
                    match compared(Comparison::Equal, &a, &self.evaluate(member)) {
                        Some(true) => return Datum::Truth(true),
                        Some(false) => {}
                        None => any = None,
                    }
                }
                any.into()
            }
            Expression::Is(which, a) => {
                let is = match which {
                    Property::ChannelName => radio::is_channel_name,
                    Property::TransponderCode => radio::is_transponder_code,
                };
                self.evaluate(a).number().map(is).into()
            }
            Expression::IsValid(a) => Datum::Truth(self.evaluate(a) != Datum::Nothing),
            Expression::SecondsSince(call) => {
                if self.call_start(*call).is_none() && self.call_holds(*call) {
                    return Datum::Number(0.0);
                }
                let runs = self.recording.call(*call);
                let start = self.row.and_then(|row| runs.newest_start(row));
                start
                    .map(|first| self.time_s - self.recording.times_s()[first])
                    .into()
            }
            Expression::SecondsWithin(call) => {
                let (runs, times_s) = (self.recording.call(*call), self.recording.times_s());
                self.row
                    .map(|row| runs.seconds(row, self.time_s, times_s))
                    .into()
            }
            Expression::Delayed(call, by_s) => {
                let start = self.call_start(*call);
                let held_s =
                    start.map_or(0.0, |first| self.time_s - self.recording.times_s()[first]);
                Datum::Truth(self.call_holds(*call) && held_s + TIME_SLACK_S >= *by_s)
            }
            Expression::Latched(call) => Datum::Truth(self.call_holds(*call)),
            Expression::Held(call, value) => {
                if !self.call_holds(*call) {
                    return self.evaluate(value);
                }
                let before = match self.call_start(*call) {
                    Some(first) => first.checked_sub(1),
                    None => self.row,
                };
                before.map_or(Datum::Nothing, |row| self.of_row(row).evaluate(value))
            }
            Expression::Before(value, by_s) => {
                Moment::new(self.recording, self.time_s - by_s).evaluate(value)
            }
            Expression::Rate {
                of,
                is_angle,
                over_s: Some(over_s),
            } => self.rate_over(of, *is_angle, *over_s).into(),
            Expression::Rate { of, is_angle, .. } => self.rate(of, *is_angle).into(),
        }
    }

    /// `&&` and `||`: `short` is the truth that decides alone.
    fn joined(&self, pair: &[Expression; 2], short: bool) -> Option<bool> {
        let [a, b] = pair;
        let a = self.evaluate(a).truth();
        if a == Some(short) {
            return a;
        }
        match self.evaluate(b).truth() {
            Some(is) if is == short => Some(short),
            Some(_) => a,
            None => None,
        }
    }

    fn rate(&self, of: &Expression, is_angle: bool) -> Option<f64> {
        let row = self.row?;
        let times_s = self.recording.times_s();
        let at = |row: usize| self.of_row(row).evaluate(of).number();
        let change = |before: f64, after: f64| changed(before, after, is_angle);
        let here = at(row)?;
        let before = row.checked_sub(1)?;
        let rate = change(at(before)?, here) / (times_s[row] - times_s[before]);
        let next_s = times_s.get(row + 1).filter(|_| self.time_s > times_s[row]);
        let Some((next_s, next)) = next_s.and_then(|s| Some((*s, at(row + 1)?))) else {
            return Some(rate);
        };
        let rate_then = change(here, next) / (next_s - times_s[row]);
        let share = (self.time_s - times_s[row]) / (next_s - times_s[row]);
        Some(on_line(rate, rate_then, share))
    }

    fn rate_over(&self, of: &Expression, is_angle: bool, over_s: f64) -> Option<f64> {
        let before = Moment::new(self.recording, self.time_s - over_s);
        let (before, now) = (before.evaluate(of).number()?, self.evaluate(of).number()?);
        Some(changed(before, now, is_angle) / over_s)
    }
}

/// From one value to another, an angle by the shortest way round.
fn changed(before: f64, after: f64, is_angle: bool) -> f64 {
    if is_angle {
        angle_in_turn(after - before, -180.0)
    } else {
        after - before
    }
}

fn combined(how: Combination, a: f64, b: f64) -> f64 {
    match how {
        Combination::Add => a + b,
        Combination::Subtract => a - b,
        Combination::Multiply => a * b,
        Combination::Divide => a / b,
        Combination::Remainder => a % b,
        Combination::Least => a.min(b),
        Combination::Greatest => a.max(b),
    }
}

fn mapped(how: Mapping, a: f64) -> f64 {
    match how {
        Mapping::Negate => -a,
        Mapping::Abs => a.abs(),
        Mapping::Floor => a.floor(),
        Mapping::Ceil => a.ceil(),
        Mapping::Round => a.round(),
        Mapping::Sqrt => a.sqrt(),
        Mapping::Wrap360 => angle_in_turn(a, 0.0),
        Mapping::Wrap180 => angle_in_turn(a, -180.0),
        Mapping::Convert { factor, offset } => a * factor + offset,
    }
}

fn compared(how: Comparison, a: &Datum, b: &Datum) -> Option<bool> {
    match (a, b) {
        (Datum::Number(a), Datum::Number(b)) => Some(match how {
            Comparison::Less => a < b,
            Comparison::LessOrEqual => a <= b,
            Comparison::Greater => a > b,
            Comparison::GreaterOrEqual => a >= b,
            Comparison::Equal => a == b,
            Comparison::NotEqual => a != b,
        }),
        (Datum::Nothing, _) | (_, Datum::Nothing) => None,
        _ => match how {
            Comparison::Equal => Some(a == b),
            Comparison::NotEqual => Some(a != b),
            _ => None,
        },
    }
}
