//! Does a TOML tree have the shape that the model asks for? Every deviation, each with its place.
//!
//! The tree is held against the JSON Schema that the model's types give. Deserialising with
//! serde alone would stop at the first error, and would lose the places inside `[[region.symbol]]`:
//! an enum that is told apart by a key is buffered without them. After this check deserialising
//! cannot fail for a reason that lies in the file.

use std::ops::Range;

use serde_json::{Map, Value as Json};

use super::error::{Found, nearest, suggestion};
use super::schema::json_schema;
use super::tree::{Node, Table, Value};

/// All deviations of `root` from the schema of a display definition.
pub(super) fn deviations(root: &Node) -> Vec<Found> {
    let mut shape = Shape { found: Vec::new() };
    let empty = Table::new();
    let table = root.as_table().unwrap_or(&empty);
    shape.table(json_schema(), table, 0..0, "the top level");
    shape.found
}

/// All deviations of what stands under `key` at the top level.
pub(super) fn deviations_of(key: &str, node: &Node) -> Vec<Found> {
    let mut shape = Shape { found: Vec::new() };
    shape.value(&json_schema()["properties"][key], node, key);
    shape.found
}

/// What a schema says of `value`: of several kinds of table, the one that it is.
pub(super) fn schema_of(outer: &'static Json, value: &Value) -> &'static Json {
    let schema = resolved(outer, value);
    let (Some(options), Value::Table(table)) = (schema["oneOf"].as_array(), value) else {
        return schema;
    };
    let kind = table.get("kind").and_then(|e| e.node.as_str());
    let is_it = |o: &&'static Json| match only_key(o) {
        Some(key) => table.contains_key(key),
        None => kind.is_some() && tag(o) == kind,
    };
    options.iter().find(is_it).unwrap_or(schema)
}

struct Shape {
    found: Vec<Found>,
}

/// The schema that stands where one refers to another.
fn referred(mut schema: &'static Json) -> &'static Json {
    while let Some(name) = schema["$ref"].as_str() {
        schema = &json_schema()["$defs"][name.trim_start_matches("#/$defs/")];
    }
    schema
}

/// What a schema asks for, after references are followed. Of several things that it allows, the one that `value` is.
fn resolved(mut schema: &'static Json, value: &Value) -> &'static Json {
    loop {
        schema = referred(schema);
        if let Some(options) = schema["anyOf"].as_array() {
            // An optional table: itself or null, which TOML does not have.
            let is_null = |s: &Json| s["type"] == "null";
            let others: Vec<&Json> = options.iter().filter(|s| !is_null(s)).collect();
            match *others {
                [option] => schema = option,
                _ => match others
                    .into_iter()
                    .find(|s| is_of_kind(kind(referred(s)), value))
                {
                    Some(option) => schema = option,
                    None => return schema,
                },
            }
        } else {
            return schema;
        }
    }
}

/// Whether a value is what a type of a schema stands for, its size aside.
fn is_of_kind(kind: &str, value: &Value) -> bool {
    match value {
        Value::String(_) => kind == "string",
        Value::Integer(..) => matches!(kind, "number" | "integer"),
        Value::Float(..) => kind == "number",
        Value::Boolean(_) => kind == "boolean",
        Value::Datetime(_) => false,
        Value::Array(_) => kind == "array",
        Value::Table(_) => kind == "object",
    }
}

/// What a type of a schema stands for, with its article.
fn wanted(kind: &str) -> &'static str {
    match kind {
        "object" => "a table",
        "array" => "an array",
        "string" => "a string",
        "boolean" => "true or false",
        "integer" => "a whole number",
        _ => "a number",
    }
}

/// The schema's type; the other one where null is allowed too.
fn kind(schema: &Json) -> &str {
    match &schema["type"] {
        Json::String(kind) => kind,
        Json::Array(kinds) => kinds
            .iter()
            .filter_map(Json::as_str)
            .find(|k| *k != "null")
            .unwrap_or(""),
        _ => "",
    }
}

/// What a value is, with its article.
pub(super) fn called(value: &Value) -> &'static str {
    match value {
        Value::String(_) => "a string",
        Value::Integer(..) => "a whole number",
        Value::Float(..) => "a number",
        Value::Boolean(_) => "true or false",
        Value::Datetime(_) => "a date or time",
        Value::Array(_) => "an array",
        Value::Table(_) => "a table",
    }
}

/// The key of a table that has one key and needs it.
fn only_key(schema: &Json) -> Option<&str> {
    match schema["required"].as_array()?.as_slice() {
        [key] if schema["properties"].as_object()?.len() == 1 => key.as_str(),
        _ => None,
    }
}

/// The word that `kind` has in a table of this kind.
fn tag(schema: &Json) -> Option<&str> {
    schema["properties"]["kind"]["const"].as_str()
}

fn description(schema: &Json) -> Option<String> {
    Some(schema["description"].as_str()?.to_owned())
}

fn numbers(limits: &Map<String, Json>, key: &str, otherwise: i64) -> i64 {
    limits.get(key).and_then(Json::as_i64).unwrap_or(otherwise)
}

/// Lowest and highest whole number that a schema takes.
fn whole_limits(schema: &Json) -> (i64, i64) {
    let (low, high) = match schema["format"].as_str() {
        Some("int32") => (i64::from(i32::MIN), i64::from(i32::MAX)),
        Some("uint32") => (0, i64::from(u32::MAX)),
        Some("uint8") => (0, i64::from(u8::MAX)),
        _ => (i64::MIN, i64::MAX),
    };
    let limits = schema.as_object().expect("a number's schema is an object");
    (
        numbers(limits, "minimum", low),
        numbers(limits, "maximum", high),
    )
}

impl Shape {
    fn say(&mut self, span: Range<usize>, message: String, help: Option<String>) {
        self.found.push(Found {
            span,
            message,
            help,
        });
    }

    fn value(&mut self, outer: &'static Json, node: &Node, name: &str) {
        let schema = resolved(outer, &node.value);
        if let Some(options) = schema["oneOf"].as_array() {
            if options.iter().all(|o| o["const"].is_string()) {
                let words = options.iter().filter_map(|o| o["const"].as_str());
                self.word(words.collect(), node, name);
            } else if options.iter().all(|o| only_key(o).is_some()) {
                self.one_key(options, node, name);
            } else {
                self.tagged(options, node, name);
            }
            return;
        }
        let value = &node.value;
        if let Some(options) = schema["anyOf"].as_array() {
            let all: Vec<_> = options.iter().map(|o| wanted(kind(referred(o)))).collect();
            let (found, all) = (called(value), all.join(" or "));
            let message = format!("\"{name}\" is {found}; expected {all}");
            self.say(node.span.clone(), message, description(outer));
            return;
        }
        match (kind(schema), value) {
            ("object", Value::Table(table)) => self.table(schema, table, node.span.clone(), name),
            ("array", Value::Array(items)) => {
                let count = items.len() as u64;
                let (least, most) = (schema["minItems"].as_u64(), schema["maxItems"].as_u64());
                if least.is_some_and(|n| count < n) || most.is_some_and(|n| count > n) {
                    let wanted = least.or(most).unwrap_or(0);
                    self.say(
                        node.span.clone(),
                        format!("\"{name}\" has {count} values; expected {wanted}"),
                        description(outer),
                    );
                }
                for (k, item) in items.iter().enumerate() {
                    self.value(&schema["items"], item, &format!("{name}[{k}]"));
                }
            }
            ("string", Value::String(_)) | ("boolean", Value::Boolean(_)) => {}
            ("number", Value::Integer(n, value)) => {
                if value.is_none() {
                    self.say(
                        node.span.clone(),
                        format!("{n} is too large for a number"),
                        None,
                    );
                }
            }
            ("number", Value::Float(n, value)) => {
                if !value.is_finite() {
                    self.say(
                        node.span.clone(),
                        format!("\"{name}\" is {n}; expected a finite number"),
                        description(outer),
                    );
                }
            }
            ("integer", Value::Integer(n, value)) => {
                let (low, high) = whole_limits(schema);
                if !value.is_some_and(|n| (low..=high).contains(&n)) {
                    self.say(
                        node.span.clone(),
                        format!("\"{name}\" is {n}; expected a whole number from {low} to {high}"),
                        description(outer),
                    );
                }
            }
            (kind, value) => {
                let (found, wanted) = (called(value), wanted(kind));
                self.say(
                    node.span.clone(),
                    format!("\"{name}\" is {found}; expected {wanted}"),
                    description(outer),
                );
            }
        }
    }

    fn word(&mut self, words: Vec<&'static str>, node: &Node, name: &str) {
        let all = words.join(", ");
        match &node.value {
            Value::String(word) if words.contains(&word.as_str()) => {}
            Value::String(word) => {
                let message = format!("\"{name}\" is \"{word}\"; expected one of {all}");
                let help = nearest(word, words).map(|w| format!("did you mean \"{w}\"?"));
                self.say(node.span.clone(), message, help);
            }
            other => {
                let message = format!("\"{name}\" is {}; expected one of {all}", called(other));
                self.say(node.span.clone(), message, None);
            }
        }
    }

    /// A table with one key, which says which of `options` it is.
    fn one_key(&mut self, options: &'static [Json], node: &Node, name: &str) {
        let Value::Table(table) = &node.value else {
            let message = format!("\"{name}\" is {}; expected a table", called(&node.value));
            self.say(node.span.clone(), message, None);
            return;
        };
        let words: Vec<&str> = options.iter().filter_map(only_key).collect();
        if table.len() != 1 {
            let (count, all) = (table.len(), words.join(", "));
            let message = format!("\"{name}\" has {count} keys; expected one of {all}");
            self.say(node.span.clone(), message, None);
            return;
        }
        for (word, entry) in table {
            match options.iter().find(|o| only_key(o) == Some(word.as_str())) {
                Some(option) => self.table(option, table, node.span.clone(), name),
                None => {
                    let message = format!("unknown key \"{word}\" in {name}");
                    self.say(
                        entry.key.clone(),
                        message,
                        suggestion(word, words.iter().copied()),
                    );
                }
            }
        }
    }

    /// A table whose `kind` says which of `options` it is.
    fn tagged(&mut self, options: &'static [Json], node: &Node, name: &str) {
        let Value::Table(table) = &node.value else {
            let message = format!("\"{name}\" is {}; expected a table", called(&node.value));
            self.say(node.span.clone(), message, None);
            return;
        };
        let words: Vec<&str> = options.iter().filter_map(tag).collect();
        let Some(kind) = table.get("kind") else {
            let message = format!(
                "\"{name}\" has no \"kind\"; expected one of {}",
                words.join(", ")
            );
            self.say(node.span.clone(), message, None);
            return;
        };
        match options
            .iter()
            .find(|o| tag(o).is_some() && tag(o) == kind.node.as_str())
        {
            Some(option) => {
                let name = format!("{name} ({})", tag(option).unwrap_or(""));
                self.table(option, table, node.span.clone(), &name);
            }
            None => self.word(words, &kind.node, "kind"),
        }
    }

    fn table(&mut self, schema: &'static Json, table: &Table, span: Range<usize>, name: &str) {
        let empty = Map::new();
        let properties = schema["properties"].as_object();
        // A key that was misspelt is reported as that, not also as missing.
        let mut meant = Vec::new();
        for (word, entry) in table {
            let inner = if name == "the top level" {
                word.clone()
            } else {
                format!("{name}.{word}")
            };
            if let Some(property) = properties.and_then(|p| p.get(word)) {
                // The tag was checked when the kind was chosen.
                if property["const"].is_null() {
                    self.value(property, &entry.node, &inner);
                }
            } else if schema["additionalProperties"].is_object() {
                self.value(&schema["additionalProperties"], &entry.node, &inner);
            } else if schema["additionalProperties"] != true {
                let known = properties.unwrap_or(&empty).keys().map(String::as_str);
                meant.extend(nearest(word, known.clone()));
                let message = format!("unknown key \"{word}\" in {name}");
                self.say(entry.key.clone(), message, suggestion(word, known));
            }
        }
        for key in schema["required"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Json::as_str)
        {
            if !table.contains_key(key) && !meant.contains(&key) {
                let help = properties.and_then(|p| p.get(key)).and_then(description);
                self.say(
                    span.clone(),
                    format!("{name} lacks the key \"{key}\""),
                    help,
                );
            }
        }
    }
}
