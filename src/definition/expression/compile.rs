//! From the tree of CEL to an [`Expression`]: names resolve, kinds of values fit, units agree, work is bounded.

use std::ops::Range;

use cel::common::ast::operators as cel_operators;
use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue, SourceInfo};

use super::functions::FUNCTIONS;
use super::tree::{DEEPEST_TREE, Fault, Parsed, depth_within, dotted, whole};
use super::{Call, Combination, Comparison, Expression, Mapping, units};
use crate::definition::error::suggestion;
use crate::recording::inputs::ChannelId;

/// Most steps of work for one value, those of the channels it is worked out from counted each time they are named. It also
/// bounds how deep working it out can go.
const MOST_STEPS: usize = 500;

/// Kinds of values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Number,
    Truth,
    Text,
    /// Stands for any: `null`.
    Nothing,
}

impl Kind {
    const fn called(self) -> &'static str {
        match self {
            Self::Number => "a number",
            Self::Truth => "a truth (a comparison, true or false)",
            Self::Text => "text",
            Self::Nothing => "null",
        }
    }
}

/// A channel, as expressions see it.
pub(super) struct Known<'f> {
    pub name: &'f str,
    pub kind: Kind,
    pub unit: &'f str,
    pub is_angle: bool,
    /// Steps of work for its value.
    pub steps: usize,
}

/// An expression with what is known of its value.
pub(super) struct Typed {
    pub expression: Expression,
    pub kind: Kind,
    /// Unit, where it is known.
    pub unit: Option<String>,
    pub is_angle: bool,
    pub steps: usize,
}

impl Typed {
    pub(super) const fn number(expression: Expression, steps: usize) -> Self {
        Self {
            expression,
            kind: Kind::Number,
            unit: None,
            is_angle: false,
            steps,
        }
    }

    pub(super) fn truth(expression: Expression, steps: usize) -> Self {
        Self {
            kind: Kind::Truth,
            ..Self::number(expression, steps)
        }
    }
}

/// Makes an expression of what was parsed. Calls of functions of history are added to `calls`.
pub(super) fn compile(
    parsed: &Parsed,
    channels: &[Known<'_>],
    calls: &mut Vec<Call>,
) -> Result<Typed, Fault> {
    let compiler = &mut Compiler {
        text: &parsed.places.source,
        places: &parsed.places,
        channels,
        calls,
    };
    if !depth_within(&parsed.root, DEEPEST_TREE) {
        let message = format!("the expression is more than {DEEPEST_TREE} operations deep");
        return Err(whole(compiler.text, message));
    }
    let typed = compiler.node(&parsed.root)?;
    if typed.steps > MOST_STEPS {
        let steps = typed.steps;
        let message = format!(
            "working it out takes {steps} steps, with those of the channels it names; at most {MOST_STEPS} are done"
        );
        return Err(whole(compiler.text, message));
    }
    if typed.kind == Kind::Nothing {
        return Err(whole(
            compiler.text,
            "the expression never has a value".into(),
        ));
    }
    Ok(typed)
}

pub(super) struct Compiler<'a> {
    text: &'a str,
    places: &'a SourceInfo,
    channels: &'a [Known<'a>],
    pub(super) calls: &'a mut Vec<Call>,
}

impl Compiler<'_> {
    /// Where a node stands: its operator, name or literal.
    fn place(&self, node: &IdedExpr) -> Range<usize> {
        // Ends are inclusive.
        let found = self.places.offset_for(node.id);
        let Some((first, last)) = found.map(|(a, b)| (a as usize, b as usize)) else {
            return 0..self.text.len();
        };
        let range = match &node.expr {
            // A call stands at its bracket; its name stands before.
            Expr::Call(call)
                if self.text[..first.min(self.text.len())].ends_with(&call.func_name) =>
            {
                first - call.func_name.len()..first
            }
            // A name with dots stands at the last one.
            Expr::Select(select) => {
                let begin = self.place(&select.operand).start;
                begin..first + 1 + select.field.len()
            }
            _ => first..last + 1,
        };
        if self.text.get(range.clone()).is_some() {
            range
        } else {
            0..self.text.len()
        }
    }

    pub(super) fn fault(&self, node: &IdedExpr, message: impl Into<String>) -> Fault {
        Fault {
            range: self.place(node),
            message: message.into(),
            help: None,
        }
    }

    pub(super) fn node(&mut self, node: &IdedExpr) -> Result<Typed, Fault> {
        if let Some(name) = dotted(node) {
            return self.channel(node, &name);
        }
        match &node.expr {
            Expr::Literal(literal) => self.literal(node, literal),
            Expr::Call(call) => self.call(node, call),
            Expr::Comprehension(_) => Err(self.fault(
                node,
                "lists are not gone through here; write the terms out, joined by && or ||",
            )),
            Expr::List(_) => Err(self.fault(node, "a list stands only after \"in\"")),
            _ => Err(self.fault(
                node,
                "maps, messages and tests for fields are not known here",
            )),
        }
    }

    fn literal(&self, node: &IdedExpr, literal: &LiteralValue) -> Result<Typed, Fault> {
        let number = |v: f64| Typed::number(Expression::Number(v), 1);
        Ok(match literal {
            LiteralValue::Boolean(b) => Typed::truth(Expression::Truth(*b.inner()), 1),
            LiteralValue::Double(v) => number(*v.inner()),
            LiteralValue::Int(v) => number(*v.inner() as f64),
            LiteralValue::UInt(v) => number(*v.inner() as f64),
            LiteralValue::String(text) => Typed {
                kind: Kind::Text,
                ..Typed::number(Expression::Text(text.inner().into()), 1)
            },
            LiteralValue::Null => Typed {
                kind: Kind::Nothing,
                ..Typed::number(Expression::Nothing, 1)
            },
            LiteralValue::Bytes(_) => {
                return Err(self.fault(
                    node,
                    "bytes are not known here; text stands in plain quotes",
                ));
            }
        })
    }

    pub(super) fn channel(&self, node: &IdedExpr, name: &str) -> Result<Typed, Fault> {
        let Some(index) = self.channels.iter().position(|c| c.name == name) else {
            let is_function = FUNCTIONS.contains(&name);
            let help = if is_function {
                Some(format!("{name} is a function: {name}(...)"))
            } else {
                suggestion(name, self.channels.iter().map(|c| c.name))
            };
            return Err(Fault {
                help,
                ..self.fault(node, format!("there is no channel \"{name}\""))
            });
        };
        let known = &self.channels[index];
        let value = Expression::Channel(ChannelId(index));
        // Truths are written as numbers in channels.
        let expression = match known.kind {
            Kind::Truth => Expression::Compare(
                Comparison::Equal,
                Box::new([value, Expression::Number(1.0)]),
            ),
            Kind::Number | Kind::Text | Kind::Nothing => value,
        };
        Ok(Typed {
            expression,
            kind: known.kind,
            unit: Some(known.unit.to_owned()).filter(|u| !u.is_empty()),
            is_angle: known.is_angle,
            steps: known.steps.saturating_add(1),
        })
    }

    /// `node`, which must be of a kind.
    pub(super) fn of_kind(&mut self, node: &IdedExpr, kind: Kind) -> Result<Typed, Fault> {
        let typed = self.node(node)?;
        if typed.kind != kind && typed.kind != Kind::Nothing {
            let (wanted, found) = (kind.called(), typed.kind.called());
            return Err(self.fault(node, format!("this is {found}; {wanted} is needed here")));
        }
        Ok(typed)
    }

    /// Two values that are added, compared or chosen from: of one kind and, where they are known, one unit.
    pub(super) fn alike(
        &self,
        node: &IdedExpr,
        a: &Typed,
        b: &Typed,
    ) -> Result<Option<String>, Fault> {
        if a.kind != b.kind && a.kind != Kind::Nothing && b.kind != Kind::Nothing {
            let message = format!(
                "{} and {} do not go together",
                a.kind.called(),
                b.kind.called()
            );
            return Err(self.fault(node, message));
        }
        match (&a.unit, &b.unit) {
            (Some(left), Some(right)) if left != right => {
                let help = units::conversion(right, left)
                    .map(|_| format!("bring one to the other's unit, as in x.to(\"{left}\")"));
                Err(Fault {
                    help,
                    ..self.fault(
                        node,
                        format!("\"{left}\" and \"{right}\" are different units"),
                    )
                })
            }
            (left, right) => Ok(left.clone().or_else(|| right.clone())),
        }
    }

    fn call(&mut self, node: &IdedExpr, call: &CallExpr) -> Result<Typed, Fault> {
        if let Some(target) = &call.target {
            return self.conversion(node, call, target);
        }
        match (call.func_name.as_str(), call.args.as_slice()) {
            (cel_operators::LOGICAL_NOT, [a]) => {
                let a = self.of_kind(a, Kind::Truth)?;
                Ok(Typed::truth(
                    Expression::Not(Box::new(a.expression)),
                    a.steps + 1,
                ))
            }
            (cel_operators::LOGICAL_AND, [a, b]) => self.both(a, b, Expression::Both),
            (cel_operators::LOGICAL_OR, [a, b]) => self.both(a, b, Expression::Either),
            (cel_operators::CONDITIONAL, [c, a, b]) => self.choice(node, c, a, b),
            (cel_operators::IN, [a, list]) => self.is_one_of(node, a, list),
            (cel_operators::NEGATE, [a]) => self.mapped(a, Mapping::Negate),
            (name, [a, b]) if let Some(how) = comparison(name) => self.compared(node, how, a, b),
            (name, [a, b]) if let Some(how) = combination(name) => self.combined(node, how, a, b),
            (name, args) => self.function(node, name, args),
        }
    }

    fn both(
        &mut self,
        a: &IdedExpr,
        b: &IdedExpr,
        make: fn(Box<[Expression; 2]>) -> Expression,
    ) -> Result<Typed, Fault> {
        let (a, b) = (self.of_kind(a, Kind::Truth)?, self.of_kind(b, Kind::Truth)?);
        let expression = make(Box::new([a.expression, b.expression]));
        Ok(Typed::truth(expression, a.steps + b.steps + 1))
    }

    fn choice(
        &mut self,
        node: &IdedExpr,
        c: &IdedExpr,
        a: &IdedExpr,
        b: &IdedExpr,
    ) -> Result<Typed, Fault> {
        let c = self.of_kind(c, Kind::Truth)?;
        let (a, b) = (self.node(a)?, self.node(b)?);
        let unit = self.alike(node, &a, &b)?;
        let kind = if a.kind == Kind::Nothing {
            b.kind
        } else {
            a.kind
        };
        Ok(Typed {
            kind,
            unit,
            is_angle: a.is_angle || b.is_angle,
            steps: c.steps + a.steps + b.steps + 1,
            expression: Expression::Choose(Box::new([c.expression, a.expression, b.expression])),
        })
    }

    fn is_one_of(
        &mut self,
        node: &IdedExpr,
        a: &IdedExpr,
        list: &IdedExpr,
    ) -> Result<Typed, Fault> {
        let Expr::List(list) = &list.expr else {
            return Err(self.fault(list, "a list is needed after \"in\", as in x in [1, 2]"));
        };
        let a = self.node(a)?;
        let mut steps = a.steps + 1;
        let mut members = Vec::new();
        for member in &list.elements {
            let member = self.node(member)?;
            self.alike(node, &a, &member)?;
            steps += member.steps;
            members.push(member.expression);
        }
        Ok(Typed::truth(
            Expression::IsOneOf(Box::new(a.expression), members),
            steps,
        ))
    }

    fn compared(
        &mut self,
        node: &IdedExpr,
        how: Comparison,
        a: &IdedExpr,
        b: &IdedExpr,
    ) -> Result<Typed, Fault> {
        let (a, b) = match how {
            Comparison::Equal | Comparison::NotEqual => (self.node(a)?, self.node(b)?),
            _ => (
                self.of_kind(a, Kind::Number)?,
                self.of_kind(b, Kind::Number)?,
            ),
        };
        self.alike(node, &a, &b)?;
        let expression = Expression::Compare(how, Box::new([a.expression, b.expression]));
        Ok(Typed::truth(expression, a.steps + b.steps + 1))
    }

    fn combined(
        &mut self,
        node: &IdedExpr,
        how: Combination,
        a: &IdedExpr,
        b: &IdedExpr,
    ) -> Result<Typed, Fault> {
        let (a, b) = (
            self.of_kind(a, Kind::Number)?,
            self.of_kind(b, Kind::Number)?,
        );
        let is_sum = !matches!(how, Combination::Multiply | Combination::Divide);
        // A product has another unit, and which one is not worked out.
        let unit = if is_sum {
            self.alike(node, &a, &b)?
        } else {
            None
        };
        let expression = Expression::Combine(how, Box::new([a.expression, b.expression]));
        Ok(Typed {
            unit,
            is_angle: is_sum && (a.is_angle || b.is_angle),
            ..Typed::number(expression, a.steps + b.steps + 1)
        })
    }

    pub(super) fn mapped(&mut self, a: &IdedExpr, how: Mapping) -> Result<Typed, Fault> {
        let a = self.of_kind(a, Kind::Number)?;
        let unit = a.unit.filter(|_| how != Mapping::Sqrt);
        let is_angle = match how {
            Mapping::Wrap360 | Mapping::Wrap180 => true,
            Mapping::Negate => a.is_angle,
            _ => false,
        };
        Ok(Typed {
            unit,
            is_angle,
            ..Typed::number(Expression::Map(how, Box::new(a.expression)), a.steps + 1)
        })
    }

    /// `x.to("unit")`.
    fn conversion(
        &mut self,
        node: &IdedExpr,
        call: &CallExpr,
        target: &IdedExpr,
    ) -> Result<Typed, Fault> {
        let name = &call.func_name;
        let unit = match (name.as_str(), call.args.as_slice()) {
            ("to", [arg]) => match &arg.expr {
                Expr::Literal(LiteralValue::String(unit)) => unit.inner(),
                _ => {
                    return Err(
                        self.fault(arg, "a unit in quotes is needed here, as in x.to(\"kt\")")
                    );
                }
            },
            ("to", _) => return Err(self.fault(node, "to needs one unit, as in x.to(\"kt\")")),
            _ => {
                let message = format!(
                    "there is no function \"{name}\" after a dot; only to(\"unit\") stands there"
                );
                let help = FUNCTIONS
                    .contains(&name.as_str())
                    .then(|| format!("write {name}(...)"));
                return Err(Fault {
                    help,
                    ..self.fault(node, message)
                });
            }
        };
        let value = self.of_kind(target, Kind::Number)?;
        let Some(from) = &value.unit else {
            let message = "the unit of what is brought to another is not known";
            let help = "a channel has the unit that it states, a product or quotient none; give it a channel of its own";
            return Err(Fault {
                help: Some(help.into()),
                ..self.fault(node, message)
            });
        };
        let Some((factor, offset)) = units::conversion(from, unit) else {
            let known: Vec<_> = units::related(from).collect();
            let help = if known.is_empty() {
                format!("\"{from}\" is not a unit that is known here; write the factor out")
            } else {
                format!("\"{from}\" can be brought to {}", known.join(", "))
            };
            let message = format!("\"{from}\" cannot be brought to \"{unit}\"");
            return Err(Fault {
                help: Some(help),
                ..self.fault(node, message)
            });
        };
        let how = Mapping::Convert { factor, offset };
        Ok(Typed {
            unit: Some(unit.to_owned()),
            ..Typed::number(
                Expression::Map(how, Box::new(value.expression)),
                value.steps + 1,
            )
        })
    }
}

fn comparison(name: &str) -> Option<Comparison> {
    Some(match name {
        cel_operators::LESS => Comparison::Less,
        cel_operators::LESS_EQUALS => Comparison::LessOrEqual,
        cel_operators::GREATER => Comparison::Greater,
        cel_operators::GREATER_EQUALS => Comparison::GreaterOrEqual,
        cel_operators::EQUALS => Comparison::Equal,
        cel_operators::NOT_EQUALS => Comparison::NotEqual,
        _ => return None,
    })
}

fn combination(name: &str) -> Option<Combination> {
    Some(match name {
        cel_operators::ADD => Combination::Add,
        cel_operators::SUBSTRACT => Combination::Subtract,
        cel_operators::MULTIPLY => Combination::Multiply,
        cel_operators::DIVIDE => Combination::Divide,
        cel_operators::MODULO => Combination::Remainder,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::tree::{on_large_stack, parse};
    use super::*;

    const KNOWN: [Known<'static>; 4] = [
        Known {
            name: "engine.n1",
            kind: Kind::Number,
            unit: "%",
            is_angle: false,
            steps: 1,
        },
        Known {
            name: "is low",
            kind: Kind::Truth,
            unit: "",
            is_angle: false,
            steps: 400,
        },
        Known {
            name: "speed",
            kind: Kind::Number,
            unit: "kt",
            is_angle: false,
            steps: 1,
        },
        Known {
            name: "station",
            kind: Kind::Text,
            unit: "",
            is_angle: false,
            steps: 1,
        },
    ];

    fn compiled(text: &str) -> Result<Typed, Fault> {
        let made = on_large_stack(|| compile(&parse(text)?, &KNOWN, &mut Vec::new()));
        made.expect("the parser does not panic")
    }

    #[test]
    fn kinds_and_units_follow_the_parts() {
        for (text, kind, unit) in [
            ("speed * 2.0", Kind::Number, None),
            ("speed - 5", Kind::Number, Some("kt")),
            ("abs(-speed)", Kind::Number, Some("kt")),
            ("speed.to(\"km/h\")", Kind::Number, Some("km/h")),
            ("min(speed, 5, 7)", Kind::Number, Some("kt")),
            ("engine.n1 > 50.0", Kind::Truth, None),
            ("channel(\"is low\") || false", Kind::Truth, None),
            ("station in [\"A\", \"B\"]", Kind::Truth, None),
            ("speed > 5.0 ? station : null", Kind::Text, None),
            ("seconds_within(speed > 5.0)", Kind::Number, Some("s")),
            ("held(speed, engine.n1 < 50.0)", Kind::Number, Some("kt")),
            ("rate(speed)", Kind::Number, None),
            ("latched(speed > 5u, speed < 0x3)", Kind::Truth, None),
        ] {
            let typed = compiled(text).unwrap_or_else(|f| panic!("{text}: {f:?}"));
            assert_eq!((typed.kind, typed.unit.as_deref()), (kind, unit), "{text}");
        }
    }

    #[test]
    fn faults_are_named_where_they_stand() {
        let mut wrong = Vec::new();
        for (text, place, message) in [
            ("", "", "the expression is empty"),
            (
                "speed ! 3",
                "!",
                "not an expression of CEL: mismatched input '!'",
            ),
            (
                "1 + \u{e4}",
                "\u{e4}",
                "not an expression of CEL: token recognition error at: '\u{e4}'",
            ),
            ("2 + sped", "sped", "there is no channel \"sped\""),
            (
                "2 + engine.n2",
                "engine.n2",
                "there is no channel \"engine.n2\"",
            ),
            ("\"\u{fc}\" == sped", "sped", "there is no channel \"sped\""),
            ("2 + abs", "abs", "there is no channel \"abs\""),
            (
                "speed + station",
                "station",
                "this is text; a number is needed here",
            ),
            (
                "!speed",
                "speed",
                "this is a number; a truth (a comparison, true or false) is needed here",
            ),
            (
                "speed == station",
                "==",
                "a number and text do not go together",
            ),
            (
                "speed > engine.n1",
                ">",
                "\"kt\" and \"%\" are different units",
            ),
            (
                "speed.to(\"kg\")",
                "to",
                "\"kt\" cannot be brought to \"kg\"",
            ),
            (
                "(speed * 2).to(\"kg\")",
                "to",
                "the unit of what is brought to another is not known",
            ),
            (
                "speed.abs()",
                "abs",
                "there is no function \"abs\" after a dot; only to(\"unit\") stands there",
            ),
            (
                "1 + abs(1, 2)",
                "abs",
                "abs is given 2 values; expected abs(x)",
            ),
            (
                "min(1)",
                "min",
                "min is given 1 values; expected min(x, y, ...)",
            ),
            ("1 + ab(1)", "ab", "there is no function \"ab\""),
            (
                "delayed(speed > 1, speed)",
                "speed",
                "a number of seconds from 0 to 3600 is needed here",
            ),
            (
                "speed in speed",
                "speed",
                "a list is needed after \"in\", as in x in [1, 2]",
            ),
            ("[speed]", "[", "a list stands only after \"in\""),
            (
                "[1, 2].all(x, x > 1)",
                "(",
                "lists are not gone through here; write the terms out, joined by && or ||",
            ),
            (
                "{1: 2}",
                "{",
                "maps, messages and tests for fields are not known here",
            ),
            (
                "b'a' == station",
                "b'a'",
                "bytes are not known here; text stands in plain quotes",
            ),
            ("null", "null", "the expression never has a value"),
        ] {
            let Err(fault) = compiled(text) else {
                panic!("{text} is taken")
            };
            let found = (text, &text[fault.range], fault.message.as_str());
            if found != (text, place, message) {
                wrong.push(format!("{found:?}"));
            }
        }
        assert!(wrong.is_empty(), "{wrong:#?}");
    }

    #[test]
    fn work_is_bounded() {
        for (text, words) in [
            ("1+".repeat(499) + "1", "more than 100 operations deep"),
            ("(".repeat(30) + "1" + &")".repeat(30), ""),
            (
                "abs(".repeat(60) + "1" + &")".repeat(60),
                "nested more than 40 deep",
            ),
            ("1 + ".repeat(260), "at most 1000 are read"),
            (
                "channel(\"is low\") && channel(\"is low\")".into(),
                "takes 803 steps",
            ),
        ] {
            match compiled(&text) {
                Ok(_) => assert_eq!(words, "", "{text}"),
                Err(fault) => assert!(
                    !words.is_empty() && fault.message.contains(words),
                    "{fault:?}"
                ),
            }
        }
    }

    proptest! {
        #[test]
        fn no_expression_makes_it_panic(
            text in "(speed|station|engine\\.n1|abs|held|rate|delayed|latched|to|channel|has|all|null|true|in|[0-9.eux]{1,4}|[-+*/%!?:<>=&|.,(){}'\"\\[\\]`]|&&|\\|\\||==| |\u{e4}|\\PC){0,30}"
        ) {
            if let Err(fault) = compiled(&text) {
                prop_assert!(text.get(fault.range).is_some(), "{}", fault.message);
            }
        }
    }
}
