//! What holds of the inputs: when an alert is active, when a colour holds.
//!
//! A condition is decided by the inputs of one moment and by what is remembered of the rows up to it (see the stage's
//! page): whether its hysteresis keeps it, and since when it has held. Three answers are possible, since comparisons with
//! invalid data are undecided; S. C. Kleene's strong logic of three values (Introduction to Metamathematics, 1952, § 64)
//! says what becomes of them in `all`, `any` and `not`. At the top, undecided means that it does not hold.

use std::borrow::Cow;

use super::inputs::{ChannelId, Inputs, Value};
use super::sampled::TIME_SLACK_S;
use crate::definition::Definition;
use crate::definition::logic::Logic;
use crate::definition::model::{Condition, Operand};

/// One moment, as conditions look at it.
pub(super) trait Look {
    /// Recording time, s.
    fn time_s(&self) -> f64;
    /// A channel at the moment.
    fn value(&self, channel: ChannelId) -> Cow<'_, Value>;
    /// Since when a condition with a memory had held at the last row, s; see [`Inputs`].
    fn held_since_s(&self, memory: usize) -> Option<f64>;
}

impl Look for Inputs {
    fn time_s(&self) -> f64 {
        self.time_s
    }

    fn value(&self, channel: ChannelId) -> Cow<'_, Value> {
        Cow::Borrowed(Self::value(self, channel))
    }

    fn held_since_s(&self, memory: usize) -> Option<f64> {
        self.held_since_s.get(memory).copied().flatten()
    }
}

/// Whether one condition holds at one moment.
///
/// Every comparison that it makes must hold. A comparison with an invalid or missing value is undecided; so is its `not`, and
/// what is undecided does not hold. A condition that compares nothing holds while its channel has a value.
///
/// # Panics
/// When `inputs` were made for another definition.
#[must_use]
pub fn condition_holds(condition: &Condition, definition: &Definition, inputs: &Inputs) -> bool {
    decide(condition, definition.logic(), inputs) == Some(true)
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

/// Whether a condition holds, or `None` when that is undecided.
pub(super) fn decide<L: Look>(c: &Condition, logic: &Logic, look: &L) -> Option<bool> {
    let since_s = if c.has_memory() {
        logic.memory_of(c).and_then(|k| look.held_since_s(k))
    } else {
        None
    };
    let holds = decide_undelayed(c, since_s.is_some(), logic, look)?;
    let Some(delay_ms) = c.delay_ms.filter(|_| holds) else {
        return Some(holds);
    };
    // What holds only between two rows so far has just begun.
    let held_s = since_s.map_or(0.0, |since_s| look.time_s() - since_s);
    Some(held_s + TIME_SLACK_S >= delay_ms / 1000.0)
}

/// The same, whatever its delay; `has_held` says whether it had held up to the last row.
pub(super) fn decide_undelayed<L: Look>(
    c: &Condition,
    has_held: bool,
    logic: &Logic,
    look: &L,
) -> Option<bool> {
    if let Some(name) = &c.channel {
        return compared(c, name, has_held, logic, look);
    }
    let members = |list: &[Condition], short: bool| {
        // What decides at once, decides whatever the others are.
        let mut all = Some(!short);
        for member in list {
            match decide(member, logic, look) {
                Some(is) if is == short => return Some(short),
                Some(_) => {}
                None => all = None,
            }
        }
        all
    };
    match (&c.all, &c.any, &c.not) {
        (Some(list), ..) => members(list, false),
        (_, Some(list), _) => members(list, true),
        (.., Some(member)) => decide(member, logic, look).map(|is| !is),
        (None, None, None) => None,
    }
}

/// Whether a value meets a bound that is moved by a hysteresis.
type Meets = fn(f64, f64, f64) -> bool;

fn compared<L: Look>(
    c: &Condition,
    name: &str,
    has_held: bool,
    logic: &Logic,
    look: &L,
) -> Option<bool> {
    let value = look.value(logic.find(name)?);
    if let Some(wanted) = c.valid {
        return (*value != Value::Missing).then(|| value.is_valid() == wanted);
    }
    if !value.is_valid() {
        return None;
    }
    let number = value.number().map(|v| if c.absolute { v.abs() } else { v });
    let back = c.hysteresis.filter(|_| has_held).unwrap_or(0.0);
    let ordered: [(&Option<Operand>, Meets); 4] = [
        (&c.below, |v, bound, back| v < bound + back),
        (&c.at_most, |v, bound, back| v <= bound + back),
        (&c.at_least, |v, bound, back| v >= bound - back),
        (&c.above, |v, bound, back| v > bound - back),
    ];
    let mut holds = Some(true);
    for (bound, is_met) in ordered {
        let Some(bound) = bound else { continue };
        let met = number
            .zip(number_of(bound, logic, look))
            .map(|(v, bound)| is_met(v, bound, back));
        match met {
            Some(true) => {}
            Some(false) => return Some(false),
            None => holds = None,
        }
    }
    let equals = |operand: &Operand| match operand {
        Operand::Number(wanted) => number.map(|v| v == *wanted),
        Operand::Text(wanted) => match &*value {
            Value::Text(words) => Some(**words == **wanted),
            _ => None,
        },
        Operand::Channel { channel } => match (&*value, &*look.value(logic.find(channel)?)) {
            (Value::Text(a), Value::Text(b)) => Some(a == b),
            (_, other) => number.zip(other.number()).map(|(v, b)| v == b),
        },
    };
    let one = c.equals.as_ref().map(equals);
    let list = c.is_one_of.as_ref().map(|list| {
        let mut any = Some(false);
        for operand in list {
            match equals(operand) {
                Some(true) => return Some(true),
                Some(false) => {}
                None => any = None,
            }
        }
        any
    });
    for met in one.into_iter().chain(list) {
        match met {
            Some(true) => {}
            Some(false) => return Some(false),
            None => holds = None,
        }
    }
    holds
}

fn number_of<L: Look>(operand: &Operand, logic: &Logic, look: &L) -> Option<f64> {
    match operand {
        Operand::Number(v) => Some(*v),
        Operand::Text(_) => None,
        Operand::Channel { channel } => look.value(logic.find(channel)?).number(),
    }
}
