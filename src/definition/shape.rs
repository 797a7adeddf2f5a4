//! Does a TOML tree have the shape that the model asks for? Every deviation, each with its place.
//!
//! The tree is held against the JSON Schema that the model's types give. Deserialising with
//! serde alone would stop at the first error, and would lose the places inside `[[region.symbol]]`:
//! an enum that is told apart by a key is buffered without them. After this check deserialising
//! cannot fail for a reason that lies in the file.

use std::ops::Range;

use serde_json::{Map, Value};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{Found, nearest, suggestion};
use super::schema::json_schema;

/// All deviations of `root` from the schema of a display definition.
pub(super) fn deviations(root: &DeTable<'_>) -> Vec<Found> {
    let mut shape = Shape { found: Vec::new() };
    shape.table(json_schema(), root, 0..0, "the top level");
    shape.found
}

struct Shape {
    found: Vec<Found>,
}

/// What a schema asks for, after references are followed. Of several things that it allows, the one that `value` is.
fn resolved(mut schema: &'static Value, value: &DeValue<'_>) -> &'static Value {
    loop {
        if let Some(name) = schema["$ref"].as_str() {
            schema = &json_schema()["$defs"][name.trim_start_matches("#/$defs/")];
        } else if let Some(options) = schema["anyOf"].as_array() {
            // An optional table: itself or null, which TOML does not have.
            let is_null = |s: &Value| s["type"] == "null";
            let others: Vec<&Value> = options.iter().filter(|s| !is_null(s)).collect();
            match *others {
                [option] => schema = option,
                _ => match others.into_iter().find(|s| is_of_kind(kind(s), value)) {
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
fn is_of_kind(kind: &str, value: &DeValue<'_>) -> bool {
    match value {
        DeValue::String(_) => kind == "string",
        DeValue::Integer(_) => matches!(kind, "number" | "integer"),
        DeValue::Float(_) => kind == "number",
        DeValue::Boolean(_) => kind == "boolean",
        DeValue::Datetime(_) => false,
        DeValue::Array(_) => kind == "array",
        DeValue::Table(_) => kind == "object",
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
fn kind(schema: &Value) -> &str {
    match &schema["type"] {
        Value::String(kind) => kind,
        Value::Array(kinds) => kinds
            .iter()
            .filter_map(Value::as_str)
            .find(|k| *k != "null")
            .unwrap_or(""),
        _ => "",
    }
}

/// What a value is, with its article.
fn called(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a string",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "an array",
        DeValue::Table(_) => "a table",
    }
}

/// The key of a table that has one key and needs it.
fn only_key(schema: &Value) -> Option<&str> {
    match schema["required"].as_array()?.as_slice() {
        [key] if schema["properties"].as_object()?.len() == 1 => key.as_str(),
        _ => None,
    }
}

fn description(schema: &Value) -> Option<String> {
    Some(schema["description"].as_str()?.to_owned())
}

fn numbers(limits: &Map<String, Value>, key: &str, otherwise: i64) -> i64 {
    limits.get(key).and_then(Value::as_i64).unwrap_or(otherwise)
}

/// Lowest and highest whole number that a schema takes.
fn whole_limits(schema: &Value) -> (i64, i64) {
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

    fn value(&mut self, outer: &'static Value, node: &Spanned<DeValue<'_>>, name: &str) {
        let schema = resolved(outer, node.get_ref());
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
        let value = node.get_ref();
        if let Some(options) = schema["anyOf"].as_array() {
            let all: Vec<_> = options.iter().map(|o| wanted(kind(o))).collect();
            let (found, all) = (called(value), all.join(" or "));
            let message = format!("\"{name}\" is {found}; expected {all}");
            self.say(node.span(), message, description(outer));
            return;
        }
        match (kind(schema), value) {
            ("object", DeValue::Table(table)) => self.table(schema, table, node.span(), name),
            ("array", DeValue::Array(items)) => {
                let count = items.len() as u64;
                let (least, most) = (schema["minItems"].as_u64(), schema["maxItems"].as_u64());
                if least.is_some_and(|n| count < n) || most.is_some_and(|n| count > n) {
                    let wanted = least.or(most).unwrap_or(0);
                    self.say(
                        node.span(),
                        format!("\"{name}\" has {count} values; expected {wanted}"),
                        description(outer),
                    );
                }
                for (k, item) in items.iter().enumerate() {
                    self.value(&schema["items"], item, &format!("{name}[{k}]"));
                }
            }
            ("string", DeValue::String(_)) | ("boolean", DeValue::Boolean(_)) => {}
            ("number", DeValue::Integer(n)) => {
                if i64::from_str_radix(n.as_str(), n.radix()).is_err() {
                    self.say(node.span(), format!("{n} is too large for a number"), None);
                }
            }
            ("number", DeValue::Float(n)) => {
                if !n.as_str().parse::<f64>().is_ok_and(f64::is_finite) {
                    self.say(
                        node.span(),
                        format!("\"{name}\" is {n}; expected a finite number"),
                        description(outer),
                    );
                }
            }
            ("integer", DeValue::Integer(n)) => {
                let (low, high) = whole_limits(schema);
                let number = i64::from_str_radix(n.as_str(), n.radix());
                if !number.is_ok_and(|n| (low..=high).contains(&n)) {
                    self.say(
                        node.span(),
                        format!("\"{name}\" is {n}; expected a whole number from {low} to {high}"),
                        description(outer),
                    );
                }
            }
            (kind, value) => {
                let (found, wanted) = (called(value), wanted(kind));
                self.say(
                    node.span(),
                    format!("\"{name}\" is {found}; expected {wanted}"),
                    description(outer),
                );
            }
        }
    }

    fn word(&mut self, words: Vec<&'static str>, node: &Spanned<DeValue<'_>>, name: &str) {
        let all = words.join(", ");
        match node.get_ref() {
            DeValue::String(word) if words.contains(&word.as_ref()) => {}
            DeValue::String(word) => {
                let message = format!("\"{name}\" is \"{word}\"; expected one of {all}");
                let help = nearest(word, words).map(|w| format!("did you mean \"{w}\"?"));
                self.say(node.span(), message, help);
            }
            other => {
                let message = format!("\"{name}\" is {}; expected one of {all}", called(other));
                self.say(node.span(), message, None);
            }
        }
    }

    /// A table with one key, which says which of `options` it is.
    fn one_key(&mut self, options: &'static [Value], node: &Spanned<DeValue<'_>>, name: &str) {
        let DeValue::Table(table) = node.get_ref() else {
            let message = format!("\"{name}\" is {}; expected a table", called(node.get_ref()));
            self.say(node.span(), message, None);
            return;
        };
        let words: Vec<&str> = options.iter().filter_map(only_key).collect();
        if table.len() != 1 {
            let (count, all) = (table.len(), words.join(", "));
            let message = format!("\"{name}\" has {count} keys; expected one of {all}");
            self.say(node.span(), message, None);
            return;
        }
        for key in table.keys() {
            let word = key.get_ref().as_ref();
            match options.iter().find(|o| only_key(o) == Some(word)) {
                Some(option) => self.table(option, table, node.span(), name),
                None => {
                    let message = format!("unknown key \"{word}\" in {name}");
                    self.say(key.span(), message, suggestion(word, words.iter().copied()));
                }
            }
        }
    }

    /// A table whose `kind` says which of `options` it is.
    fn tagged(&mut self, options: &'static [Value], node: &Spanned<DeValue<'_>>, name: &str) {
        let DeValue::Table(table) = node.get_ref() else {
            let message = format!("\"{name}\" is {}; expected a table", called(node.get_ref()));
            self.say(node.span(), message, None);
            return;
        };
        let word = |o: &'static Value| o["properties"]["kind"]["const"].as_str();
        let words: Vec<&str> = options.iter().filter_map(word).collect();
        let Some(tag) = table.get("kind") else {
            let message = format!(
                "\"{name}\" has no \"kind\"; expected one of {}",
                words.join(", ")
            );
            self.say(node.span(), message, None);
            return;
        };
        match options
            .iter()
            .find(|o| word(o).is_some() && word(o) == tag.get_ref().as_str())
        {
            Some(option) => {
                let name = format!("{name} ({})", word(option).unwrap_or(""));
                self.table(option, table, node.span(), &name);
            }
            None => self.word(words, tag, "kind"),
        }
    }

    fn table(
        &mut self,
        schema: &'static Value,
        table: &DeTable<'_>,
        span: Range<usize>,
        name: &str,
    ) {
        let empty = Map::new();
        let properties = schema["properties"].as_object();
        // A key that was misspelt is reported as that, not also as missing.
        let mut meant = Vec::new();
        for (key, value) in table {
            let word = key.get_ref().as_ref();
            let inner = if name == "the top level" {
                word.to_owned()
            } else {
                format!("{name}.{word}")
            };
            if let Some(property) = properties.and_then(|p| p.get(word)) {
                // The tag was checked when the kind was chosen.
                if property["const"].is_null() {
                    self.value(property, value, &inner);
                }
            } else if schema["additionalProperties"].is_object() {
                self.value(&schema["additionalProperties"], value, &inner);
            } else {
                let known = properties.unwrap_or(&empty).keys().map(String::as_str);
                meant.extend(nearest(word, known.clone()));
                let message = format!("unknown key \"{word}\" in {name}");
                self.say(key.span(), message, suggestion(word, known));
            }
        }
        for key in schema["required"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
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
