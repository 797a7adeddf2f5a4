//! Conditions: each asks one thing, of channels that have it, and what it asks is possible.

use super::Check;
use super::limits::*;
use crate::definition::model::{Condition, Interpolation, Operand};
use crate::definition::place::At;

/// Conditions with a memory are worked out at every row of a recording.
const MEMORIES: usize = 256;

impl Check<'_> {
    pub(super) fn condition(&mut self, at: &At<'_>, c: &Condition) {
        self.subject(at, c);
        self.number_if(&at.key("delay_ms"), c.delay_ms, &DELAY);
        if c.has_memory() {
            self.memories += 1;
            if self.memories == MEMORIES + 1 {
                let message =
                    format!("more than {MEMORIES} conditions have a hysteresis or a delay");
                self.say(at, message);
            }
        }
        for (key, list) in [("all", &c.all), ("any", &c.any)] {
            for (k, member) in list.iter().flatten().enumerate() {
                self.condition(&at.key(key).index(k), member);
            }
        }
        if let Some(member) = &c.not {
            self.condition(&at.key("not"), member);
        }
    }

    /// It is of one channel, or it joins others.
    fn subject(&mut self, at: &At<'_>, c: &Condition) {
        let joins = [c.all.is_some(), c.any.is_some(), c.not.is_some()];
        let joined = joins.into_iter().filter(|is| *is).count();
        let Some(channel) = &c.channel else {
            if joined != 1 {
                let message = "a condition needs one of channel, all, any, not";
                self.say(at, message);
                return;
            }
            for (key, list) in [("all", &c.all), ("any", &c.any)] {
                if list.as_ref().is_some_and(Vec::is_empty) {
                    self.say(&at.key(key), format!("\"{key}\" joins no condition"));
                }
            }
            let keys = c.bounds().map(|(key, bound)| (key, bound.is_some()));
            let others = [
                ("is_one_of", c.is_one_of.is_some()),
                ("absolute", c.absolute),
                ("valid", c.valid.is_some()),
                ("hysteresis", c.hysteresis.is_some()),
            ];
            for (key, _) in keys.into_iter().chain(others).filter(|(_, is)| *is) {
                let message = format!("\"{key}\" is asked of a channel, and none is named");
                self.say(&at.key(key), message);
            }
            return;
        };
        if joined > 0 {
            let message = format!(
                "a condition on \"{channel}\" does not join others as well; put it among those in all, any or not"
            );
            self.say(at, message);
        }
        self.comparisons(at, channel, c);
    }

    fn comparisons(&mut self, at: &At<'_>, channel: &str, c: &Condition) {
        let bounds = c.bounds();
        let compares = bounds.iter().any(|(_, b)| b.is_some()) || c.is_one_of.is_some();
        if c.valid.is_some() {
            if compares || c.absolute || c.hysteresis.is_some() {
                let message = format!("condition on \"{channel}\" asks for \"valid\" and compares");
                let help = "a comparison holds only of valid data; ask one of the two, or join two conditions by any";
                self.say_with(at, message, Some(help.into()));
            }
        } else if !compares {
            let message = format!("condition on \"{channel}\" compares with nothing");
            let help =
                "give at least one of below, at_most, at_least, above, equals, is_one_of, valid";
            self.say_with(at, message, Some(help.into()));
        }
        let [order @ .., equals] = bounds;
        for (key, bound) in order {
            match bound {
                Some(Operand::Text(words)) => {
                    let message =
                        format!("\"{words}\" is text; \"{key}\" needs a number or a channel");
                    self.say(&at.key(key), message);
                }
                Some(operand) => self.operand(&at.key(key), channel, operand),
                None => {}
            }
        }
        if let (key, Some(operand)) = equals {
            self.operand(&at.key(key), channel, operand);
        }
        for (k, operand) in c.is_one_of.iter().flatten().enumerate() {
            self.operand(&at.key("is_one_of").index(k), channel, operand);
        }
        if c.is_one_of.as_ref().is_some_and(Vec::is_empty) {
            let message = "condition can never hold: \"is_one_of\" names no value";
            self.say(&at.key("is_one_of"), message);
        }
        if let Some(hysteresis) = c.hysteresis {
            self.number(&at.key("hysteresis"), hysteresis, &HYSTERESIS);
            if order.iter().all(|(_, bound)| bound.is_none()) {
                let message = "hysteresis needs one of below, at_most, at_least, above";
                self.say(&at.key("hysteresis"), message);
            }
        }
        self.possible(at, c);
    }

    /// What a channel is compared with is of its kind and unit.
    fn operand(&mut self, at: &At<'_>, channel: &str, operand: &Operand) {
        let channels = &self.file.channels;
        // What does not exist was reported where names are looked up.
        let Some(of) = channels.get(channel) else {
            return;
        };
        let is_text = of.interpolation == Interpolation::Text;
        match operand {
            Operand::Number(value) => {
                self.number(at, *value, &VALUE);
            }
            Operand::Text(words) => {
                if !is_text {
                    let message = format!("\"{words}\" is text, and \"{channel}\" holds numbers");
                    self.say(at, message);
                }
            }
            Operand::Channel { channel: other } => {
                let Some(with) = channels.get(other) else {
                    return;
                };
                let at = at.key("channel");
                if (with.interpolation == Interpolation::Text) != is_text {
                    let message =
                        format!("of \"{channel}\" and \"{other}\", one holds text and one numbers");
                    self.say(&at, message);
                } else if !of.unit.is_empty() && !with.unit.is_empty() && of.unit != with.unit {
                    let message = format!(
                        "\"{channel}\" is in \"{}\" and \"{other}\" in \"{}\"",
                        of.unit, with.unit
                    );
                    let help = "compare with a derived channel that brings it to the same unit";
                    self.say_with(&at, message, Some(help.into()));
                }
            }
        }
    }

    /// Whether any number lies within the bounds.
    fn possible(&mut self, at: &At<'_>, c: &Condition) {
        let number = |bound: &Option<Operand>| match bound {
            Some(Operand::Number(v)) => Some(*v),
            _ => None,
        };
        let (below, at_most) = (number(&c.below), number(&c.at_most));
        let (at_least, above) = (number(&c.at_least), number(&c.above));
        let least = at_least.map(|v| ("at least", v));
        let more = above.map(|v| ("above", v));
        let less = below.map(|v| ("below", v));
        let most = at_most.map(|v| ("at most", v));
        for (lower, upper, is_closed) in [
            (least, less, false),
            (more, less, false),
            (more, most, false),
            (least, most, true),
        ] {
            let (Some((low_word, low)), Some((high_word, high))) = (lower, upper) else {
                continue;
            };
            if low > high || (low == high && !is_closed) {
                let message = format!(
                    "condition can never hold: nothing is {low_word} {low} and {high_word} {high}"
                );
                self.say(at, message);
            }
        }
    }
}
