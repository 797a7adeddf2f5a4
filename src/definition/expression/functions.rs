//! Functions that expressions call: what each is given, and what it makes of it.

use cel::common::ast::{Expr, IdedExpr};

use super::compile::{Compiler, Kind, Typed};
use super::tree::{Fault, named_channel};
use super::{Call, CallId, Combination, Expression, Mapping, Property};
use crate::definition::error::suggestion;

/// Longest time of `delayed`, s.
const LONGEST_DELAY_S: f64 = 3600.0;

/// What there is.
pub(super) const FUNCTIONS: [&str; 21] = [
    "abs",
    "before",
    "ceil",
    "channel",
    "delayed",
    "floor",
    "held",
    "is_channel_name",
    "is_transponder_code",
    "latched",
    "max",
    "min",
    "rate",
    "round",
    "seconds_since",
    "seconds_within",
    "sqrt",
    "to",
    "valid",
    "wrap180",
    "wrap360",
];

impl Compiler<'_> {
    /// A time that stands there as a number, s.
    fn seconds_of(&mut self, node: &IdedExpr, least_s: f64) -> Result<f64, Fault> {
        match self.node(node)?.expression {
            Expression::Number(s) if (least_s..=LONGEST_DELAY_S).contains(&s) => Ok(s),
            _ => {
                let from = if least_s > 0.0 { "above 0" } else { "from 0" };
                let message =
                    format!("a number of seconds {from} to {LONGEST_DELAY_S} is needed here");
                Err(self.fault(node, message))
            }
        }
    }

    pub(super) fn function(
        &mut self,
        node: &IdedExpr,
        name: &str,
        args: &[IdedExpr],
    ) -> Result<Typed, Fault> {
        match (name, args) {
            ("abs", [a]) => self.mapped(a, Mapping::Abs),
            ("floor", [a]) => self.mapped(a, Mapping::Floor),
            ("ceil", [a]) => self.mapped(a, Mapping::Ceil),
            ("round", [a]) => self.mapped(a, Mapping::Round),
            ("sqrt", [a]) => self.mapped(a, Mapping::Sqrt),
            ("wrap360", [a]) => self.mapped(a, Mapping::Wrap360),
            ("wrap180", [a]) => self.mapped(a, Mapping::Wrap180),
            ("min", [first, rest @ ..]) if !rest.is_empty() => {
                self.extreme(node, Combination::Least, first, rest)
            }
            ("max", [first, rest @ ..]) if !rest.is_empty() => {
                self.extreme(node, Combination::Greatest, first, rest)
            }
            ("channel", [_]) => match &node.expr {
                Expr::Call(call) if let Some(channel) = named_channel(call) => {
                    self.channel(node, channel)
                }
                _ => Err(self.fault(
                    node,
                    "channel needs a name in quotes, as in channel(\"oil temp\")",
                )),
            },
            ("is_channel_name", [a]) => self.property(a, Property::ChannelName),
            ("is_transponder_code", [a]) => self.property(a, Property::TransponderCode),
            ("valid", [a]) => {
                let a = self.node(a)?;
                Ok(Typed::truth(
                    Expression::IsValid(Box::new(a.expression)),
                    a.steps + 1,
                ))
            }
            ("rate", [a, over @ ..]) if over.len() < 2 => {
                let a = self.of_kind(a, Kind::Number)?;
                let over_s = match over {
                    [over] => Some(self.seconds_of(over, f64::MIN_POSITIVE)?),
                    _ => None,
                };
                // The rows before, at and after the moment.
                let steps = a.steps.saturating_mul(3) + 1;
                let rate = Expression::Rate {
                    of: Box::new(a.expression),
                    is_angle: a.is_angle,
                    over_s,
                };
                Ok(Typed::number(rate, steps))
            }
            ("before", [value, by]) => {
                let value = self.node(value)?;
                let by_s = self.seconds_of(by, 0.0)?;
                Ok(Typed {
                    expression: Expression::Before(Box::new(value.expression), by_s),
                    steps: value.steps + 1,
                    ..value
                })
            }
            ("seconds_since", [c]) => self.seconds(c, Expression::SecondsSince),
            ("seconds_within", [c]) => self.seconds(c, Expression::SecondsWithin),
            ("delayed", [c, by]) => {
                let (call, steps) = self.remembered(c)?;
                let by_s = self.seconds_of(by, 0.0)?;
                Ok(Typed::truth(Expression::Delayed(call, by_s), steps))
            }
            ("latched", [set, reset]) => {
                let set = self.of_kind(set, Kind::Truth)?;
                let reset = self.of_kind(reset, Kind::Truth)?;
                let steps = set.steps + reset.steps + 1;
                let call = self.add(Call::Latch {
                    set: set.expression,
                    reset: reset.expression,
                });
                Ok(Typed::truth(Expression::Latched(call), steps))
            }
            ("held", [value, c]) => {
                let value = self.node(value)?;
                let (call, steps) = self.remembered(c)?;
                Ok(Typed {
                    expression: Expression::Held(call, Box::new(value.expression)),
                    steps: value.steps + steps,
                    ..value
                })
            }
            _ if FUNCTIONS.contains(&name) => {
                let count = args.len();
                let message = format!(
                    "{name} is given {count} values; expected {name}({})",
                    parameters(name)
                );
                Err(self.fault(node, message))
            }
            _ => {
                let help = suggestion(name, FUNCTIONS);
                Err(Fault {
                    help,
                    ..self.fault(node, format!("there is no function \"{name}\""))
                })
            }
        }
    }

    fn property(&mut self, a: &IdedExpr, which: Property) -> Result<Typed, Fault> {
        let a = self.of_kind(a, Kind::Number)?;
        let is = Expression::Is(which, Box::new(a.expression));
        Ok(Typed::truth(is, a.steps + 1))
    }

    fn extreme(
        &mut self,
        node: &IdedExpr,
        how: Combination,
        first: &IdedExpr,
        rest: &[IdedExpr],
    ) -> Result<Typed, Fault> {
        let mut all = self.of_kind(first, Kind::Number)?;
        for next in rest {
            let next = self.of_kind(next, Kind::Number)?;
            let unit = self.alike(node, &all, &next)?;
            let expression = Expression::Combine(how, Box::new([all.expression, next.expression]));
            all = Typed {
                unit,
                ..Typed::number(expression, all.steps + next.steps + 1)
            };
        }
        Ok(all)
    }

    fn seconds(&mut self, c: &IdedExpr, make: fn(CallId) -> Expression) -> Result<Typed, Fault> {
        let (call, steps) = self.remembered(c)?;
        Ok(Typed {
            unit: Some("s".into()),
            ..Typed::number(make(call), steps)
        })
    }

    /// A condition of which it is remembered at which rows it held.
    fn remembered(&mut self, c: &IdedExpr) -> Result<(CallId, usize), Fault> {
        let c = self.of_kind(c, Kind::Truth)?;
        Ok((self.add(Call::Holds(c.expression)), c.steps + 1))
    }

    fn add(&mut self, call: Call) -> CallId {
        self.calls.push(call);
        CallId(self.calls.len() - 1)
    }
}

fn parameters(function: &str) -> &'static str {
    match function {
        "min" | "max" => "x, y, ...",
        "before" => "x, seconds",
        "delayed" => "condition, seconds",
        "latched" => "set, reset",
        "held" => "x, condition",
        "seconds_since" | "seconds_within" => "condition",
        "channel" => "\"name\"",
        "rate" => "x, or x, seconds",
        _ => "x",
    }
}
