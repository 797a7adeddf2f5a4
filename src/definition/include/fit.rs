//! A file's tree as it stands in the place where it is included.
//!
//! First the parameters are filled in. Then the schema says what else depends on the place: a property has `x-included`
//! where its value is not the same everywhere. So each kind of symbol says beside its keys which of them are positions, and
//! nothing here knows a kind.
//!
//! | `x-included` | the value is |
//! | --- | --- |
//! | `point` | `[x, y, ...]`, moved |
//! | `along` | a coordinate along the table's `direction`, moved |
//! | `group` | parts: they get into a part that stands where the place is |
//! | `page` | what does not move with the part that holds it: moved by itself |
//! | `path` | a file from the folder of the one that names it |
//! | `id` | a name that the place's own stands before |

use std::collections::BTreeSet;
use std::ops::Range;
use std::path::Path;

use serde_json::Value as Json;

use super::super::error::{Found, suggestion};
use super::super::schema::json_schema;
use super::super::shape;
use super::super::tree::{Entry, Node, Table, Value};

/// The key of the schema that says how a value depends on the place.
pub(super) const MARK: &str = "x-included";

/// Where a file is included.
pub(super) struct Fit<'a> {
    /// What the file is called there.
    pub file: &'a str,
    /// How far it is moved, px.
    pub by: [i64; 2],
    /// What stands before its names.
    pub id: &'a str,
    /// Its folder, from that of the definition.
    pub folder: &'a Path,
    /// Its parameters.
    pub with: &'a Table,
}

impl Fit<'_> {
    /// Brings the file's tree into its place, and says what is wrong with its parameters.
    pub fn fit(&self, tree: &mut Node) -> Vec<Found> {
        let mut filling = Filling {
            with: self.with,
            named: BTreeSet::new(),
            found: Vec::new(),
        };
        filling.value(tree);
        let Filling {
            named, mut found, ..
        } = filling;
        for (word, entry) in self.with {
            if !named.contains(word) {
                let file = self.file;
                let names = named.iter().map(String::as_str);
                let nothing = || format!("nothing in it reads \"${{{word}}}\"");
                found.push(Found {
                    span: entry.key.clone(),
                    message: format!("\"{file}\" has no parameter \"{word}\""),
                    help: suggestion(word, names).or_else(|| Some(nothing())),
                });
            }
        }
        self.place(json_schema(), tree, self.by);
        found
    }

    /// Moves and completes what stands in `node`, in coordinates that are moved by `by`.
    fn place(&self, outer: &'static Json, node: &mut Node, by: [i64; 2]) {
        let schema = shape::schema_of(outer, &node.value);
        match &mut node.value {
            Value::Array(items) => {
                for item in items {
                    self.place(&schema["items"], item, by);
                }
            }
            Value::Table(table) => {
                let direction = table.get("direction").and_then(|e| e.node.as_str());
                let [x, y] = by;
                let along = match direction {
                    Some("up" | "down") => y,
                    _ => x,
                };
                for (key, Entry { node, .. }) in table {
                    let property = schema["properties"].get(key);
                    let property = property.unwrap_or(&schema["additionalProperties"]);
                    match property[MARK].as_str() {
                        Some("point") => {
                            if let Value::Array(numbers) = &mut node.value {
                                numbers.iter_mut().zip(by).for_each(|(n, by)| shift(n, by));
                            }
                        }
                        Some("along") => shift(node, along),
                        Some("group") => {
                            self.place(property, node, [0, 0]);
                            if by != [0, 0] {
                                group(node, by);
                            }
                        }
                        Some("page") => self.place(property, node, self.by),
                        Some("path") => {
                            if let Value::String(file) = &mut node.value {
                                *file = self.folder.join(&*file).display().to_string();
                            }
                        }
                        Some("id") => {
                            if let Value::String(name) = &mut node.value {
                                name.insert_str(0, self.id);
                            }
                        }
                        _ => self.place(property, node, by),
                    }
                }
            }
            _ => {}
        }
    }
}

/// Puts parameters where a tree names them.
struct Filling<'a> {
    with: &'a Table,
    /// Parameters that the file names.
    named: BTreeSet<String>,
    found: Vec<Found>,
}

impl<'a> Filling<'a> {
    fn value(&mut self, node: &mut Node) {
        match &mut node.value {
            Value::String(text) => {
                let alone = text.strip_prefix("${").and_then(|t| t.strip_suffix('}'));
                match alone.filter(|name| !name.contains('}')) {
                    // It keeps the place where it is given: what is wrong with it is mended there.
                    Some(name) => {
                        if let Some(value) = self.given(name, &node.span) {
                            *node = value.clone();
                        }
                    }
                    None => self.text(text, &node.span),
                }
            }
            Value::Array(items) => items.iter_mut().for_each(|item| self.value(item)),
            Value::Table(table) => {
                for (mut key, mut entry) in std::mem::take(table) {
                    self.text(&mut key, &entry.key);
                    self.value(&mut entry.node);
                    if table.contains_key(&key) {
                        self.say(
                            &entry.key,
                            format!("{key} is already given in this table"),
                            None,
                        );
                    }
                    table.insert(key, entry);
                }
            }
            _ => {}
        }
    }

    /// Fills in the parameters that a text names among other words.
    fn text(&mut self, text: &mut String, span: &Range<usize>) {
        let mut filled = String::new();
        let mut rest = text.as_str();
        while let Some((before, after)) = rest.split_once("${") {
            filled.push_str(before);
            let Some((name, after)) = after.split_once('}') else {
                let message = "\"${\" begins a parameter, and no \"}\" ends it";
                // It is meant, at least.
                self.named.insert(after.to_owned());
                self.say(span, message.into(), None);
                return;
            };
            match self.given(name, span).map(|node| &node.value) {
                Some(Value::String(value) | Value::Integer(value, _) | Value::Float(value, _)) => {
                    filled.push_str(value);
                }
                Some(value) => {
                    let found = shape::called(value);
                    let message = format!(
                        "parameter \"{name}\" is {found}; among other words it must be a string or a number"
                    );
                    self.say(span, message, None);
                }
                None => {}
            }
            rest = after;
        }
        if !filled.is_empty() || rest.len() < text.len() {
            filled.push_str(rest);
            *text = filled;
        }
    }

    /// What is given for a parameter.
    fn given(&mut self, name: &str, span: &Range<usize>) -> Option<&'a Node> {
        self.named.insert(name.to_owned());
        let entry = self.with.get(name);
        if entry.is_none() {
            let names = self.with.keys().map(String::as_str);
            let help = suggestion(name, names).unwrap_or_else(|| {
                format!("give it where the file is included, as in with = {{ {name} = \"...\" }}")
            });
            let message = format!("parameter \"{name}\" is not given");
            self.say(span, message, Some(help));
        }
        entry.map(|e| &e.node)
    }

    fn say(&mut self, span: &Range<usize>, message: String, help: Option<String>) {
        let span = span.clone();
        self.found.push(Found {
            span,
            message,
            help,
        });
    }
}

/// Adds to a number; what is none is left for the checks.
fn shift(node: &mut Node, by: i64) {
    match &mut node.value {
        Value::Integer(text, Some(n)) => {
            *n = n.saturating_add(by);
            *text = n.to_string();
        }
        Value::Float(text, n) => {
            *n += by as f64;
            *text = n.to_string();
        }
        _ => {}
    }
}

/// Puts the parts in `node` into one that stands at `by`.
fn group(node: &mut Node, by: [i64; 2]) {
    let span = node.span.clone();
    let of = |value| Node {
        span: span.clone(),
        value,
    };
    let entry = |key: &str, node| {
        let key_span = span.clone();
        (
            key.to_owned(),
            Entry {
                key: key_span,
                node,
            },
        )
    };
    let at = by.map(|n| of(Value::Integer(n.to_string(), Some(n))));
    let members = std::mem::replace(&mut node.value, Value::Boolean(true));
    let part = Table::from([
        entry("at", of(Value::Array(at.to_vec()))),
        entry("part", of(members)),
    ]);
    node.value = Value::Array(vec![of(Value::Table(part))]);
}
