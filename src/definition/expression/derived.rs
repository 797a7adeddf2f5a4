//! All derived channels of a definition: in which order they are worked out, and that none depends on itself.

use std::collections::{BTreeMap, BTreeSet};

use super::compile::{Kind, Known, compile};
use super::tree::{Fault, Parsed, on_large_stack, parse};
use super::{Call, Expression};
use crate::definition::expression::units;
use crate::definition::model::{Channel, Interpolation, Name};

/// What the derived channels are worked out by.
#[derive(Clone, Debug, Default)]
pub(in crate::definition) struct Derivations {
    /// By channel; `None` for a column of the recording.
    pub expressions: Vec<Option<Expression>>,
    /// Calls of functions of history, each after those that it depends on.
    pub calls: Vec<Call>,
    /// Channels that each derived channel names, by channel.
    pub sources: BTreeMap<Name, BTreeSet<Name>>,
}

/// Makes expressions of all derived channels; or what is wrong with them, by channel.
pub(in crate::definition) fn derivations(
    channels: &BTreeMap<Name, Channel>,
) -> Result<Derivations, Vec<(Name, Fault)>> {
    let Some((name, _)) = channels.iter().find(|(_, c)| c.expression.is_some()) else {
        return Ok(Derivations {
            expressions: vec![None; channels.len()],
            ..Derivations::default()
        });
    };
    on_large_stack(|| all_derivations(channels)).unwrap_or_else(|| {
        let fault = Fault {
            range: 0..0,
            message:
                "expressions could not be read: no memory for the parser of CEL, or a fault in it"
                    .into(),
            help: None,
        };
        Err(vec![(name.clone(), fault)])
    })
}

fn all_derivations(channels: &BTreeMap<Name, Channel>) -> Result<Derivations, Vec<(Name, Fault)>> {
    let mut faults = Vec::new();
    let mut parsed: BTreeMap<&str, Parsed> = BTreeMap::new();
    let mut sources: BTreeMap<Name, BTreeSet<Name>> = BTreeMap::new();
    for (name, channel) in channels {
        let Some(text) = &channel.expression else {
            continue;
        };
        match parse(text) {
            Ok(tree) => {
                let mut names = tree.names();
                names.retain(|n| channels.contains_key(n));
                sources.insert(name.clone(), names);
                parsed.insert(name, tree);
            }
            Err(fault) => faults.push((name.clone(), fault)),
        }
    }
    let order = match order(&sources) {
        Ok(order) => order,
        Err(circles) => {
            for circle in circles {
                let text = channels[&circle[0]].expression.as_deref().unwrap_or("");
                let fault = Fault {
                    range: 0..text.len(),
                    message: format!(
                        "channel \"{}\" is worked out from itself: {}",
                        circle[0],
                        circle.join(" from ")
                    ),
                    help: None,
                };
                faults.push((circle[0].clone(), fault));
            }
            return Err(faults);
        }
    };
    let mut known: Vec<Known<'_>> = channels
        .iter()
        .map(|(name, channel)| Known {
            name,
            kind: match channel.interpolation {
                Interpolation::Text => Kind::Text,
                Interpolation::Linear | Interpolation::Angular | Interpolation::Hold => {
                    Kind::Number
                }
            },
            unit: &channel.unit,
            is_angle: channel.interpolation == Interpolation::Angular,
            steps: 1,
        })
        .collect();
    let mut derivations = Derivations {
        expressions: vec![None; channels.len()],
        ..Derivations::default()
    };
    for name in &order {
        let (Some(tree), Some(index)) = (
            parsed.get(name.as_str()),
            known.iter().position(|k| k.name == name),
        ) else {
            continue;
        };
        let channel = &channels[name];
        let made = compile(tree, &known, &mut derivations.calls)
            .and_then(|typed| fits(channel, &typed).map(|()| typed));
        match made {
            Ok(typed) => {
                known[index].steps = typed.steps;
                known[index].kind = typed.kind;
                derivations.expressions[index] = Some(typed.expression);
            }
            Err(fault) => faults.push((name.clone(), fault)),
        }
    }
    derivations.sources = sources;
    if faults.is_empty() {
        Ok(derivations)
    } else {
        Err(faults)
    }
}

/// Whether the channel can hold what its expression gives.
fn fits(channel: &Channel, typed: &super::compile::Typed) -> Result<(), Fault> {
    let text = channel.expression.as_deref().unwrap_or("");
    let wrong = |message: String, help: Option<String>| {
        Err(Fault {
            range: 0..text.len(),
            message,
            help,
        })
    };
    let is_text = channel.interpolation == Interpolation::Text;
    match (typed.kind, is_text) {
        (Kind::Text, false) => wrong(
            "the expression gives text, and the channel holds numbers".into(),
            Some("add interpolation = \"text\" to the channel".into()),
        ),
        (Kind::Number | Kind::Truth, true) => wrong(
            "the expression gives no text, and the channel holds text".into(),
            Some("choose between words, as in fuel < 20.0 ? \"LOW\" : \"\"".into()),
        ),
        _ => match &typed.unit {
            Some(unit) if !channel.unit.is_empty() && *unit != channel.unit => wrong(
                format!(
                    "the expression gives \"{unit}\", and the channel's unit is \"{}\"",
                    channel.unit
                ),
                units::conversion(unit, &channel.unit)
                    .map(|_| format!("bring it there: (...).to(\"{}\")", channel.unit)),
            ),
            _ => Ok(()),
        },
    }
}

/// Derived channels, each after those that it is worked out from; or the circles there are, each with its first name again
/// at its end.
fn order(sources: &BTreeMap<Name, BTreeSet<Name>>) -> Result<Vec<Name>, Vec<Vec<Name>>> {
    let mut ordered: Vec<Name> = Vec::new();
    let mut done: BTreeSet<&str> = BTreeSet::new();
    let is_ready = |names: &BTreeSet<Name>, done: &BTreeSet<&str>| {
        names
            .iter()
            .all(|n| !sources.contains_key(n) || done.contains(n.as_str()))
    };
    loop {
        let before = done.len();
        for (name, names) in sources {
            if !done.contains(name.as_str()) && is_ready(names, &done) {
                done.insert(name);
                ordered.push(name.clone());
            }
        }
        if done.len() == sources.len() {
            return Ok(ordered);
        }
        if done.len() == before {
            return Err(circles(sources, &done));
        }
    }
}

/// Circles among the channels that are not `done`, each told once, from the first of its names.
fn circles(sources: &BTreeMap<Name, BTreeSet<Name>>, done: &BTreeSet<&str>) -> Vec<Vec<Name>> {
    let mut told: BTreeSet<&str> = BTreeSet::new();
    let mut circles = Vec::new();
    for start in sources.keys().filter(|n| !done.contains(n.as_str())) {
        // Of those that are not done, each names another one: the way comes back to itself.
        let mut way: Vec<&str> = Vec::new();
        let mut at = start.as_str();
        while !way.contains(&at) && !told.contains(at) {
            way.push(at);
            let next = sources[at]
                .iter()
                .find(|n| sources.contains_key(*n) && !done.contains(n.as_str()));
            let Some(next) = next else { break };
            at = next;
        }
        if let Some(begin) = way.iter().position(|n| *n == at) {
            let circle = way[begin..].iter().chain([&at]);
            circles.push(circle.map(|n| (*n).to_owned()).collect());
        }
        told.extend(way);
    }
    circles
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sources(all: &[(&str, &[&str])]) -> BTreeMap<Name, BTreeSet<Name>> {
        all.iter()
            .map(|(name, names)| ((*name).into(), names.iter().map(|n| (*n).into()).collect()))
            .collect()
    }

    #[test]
    fn each_comes_after_what_it_is_worked_out_from() {
        let found = order(&sources(&[("a", &["b", "x"]), ("b", &["c"]), ("c", &[])]));
        assert_eq!(found.unwrap(), ["c", "b", "a"]);
    }

    #[test]
    fn circles_are_told_once() {
        let found = order(&sources(&[
            ("a", &["b"]),
            ("b", &["c"]),
            ("c", &["b"]),
            ("d", &["d"]),
            ("e", &["x"]),
        ]));
        let circles = found.unwrap_err();
        assert_eq!(circles, [vec!["b", "c", "b"], vec!["d", "d"]]);
    }
}
