//! The text of a definition as a tree of values, each with its place.
//!
//! The TOML reader's own tree borrows from its text, and its numbers cannot be made anew; this one is what files that
//! include each other are put together in, and it is kept, so that advice that is asked for later has its places.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};
use toml::value::Datetime;

/// A value, and the bytes that say it.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub span: Range<usize>,
    pub value: Value,
}

#[derive(Clone, Debug)]
pub(super) enum Value {
    String(String),
    /// As it is written, and what it is unless that is too large.
    Integer(String, Option<i64>),
    /// As it is written, and what it is.
    Float(String, f64),
    Boolean(bool),
    Datetime(Datetime),
    Array(Vec<Node>),
    Table(Table),
}

pub(super) type Table = BTreeMap<String, Entry>;

/// What a table says under one key.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    /// The bytes of the key.
    pub key: Range<usize>,
    pub node: Node,
}

impl Node {
    /// The tree of a whole text whose bytes begin at `begin`.
    pub fn root(root: Spanned<DeTable<'_>>, begin: usize) -> Self {
        Self {
            span: shifted(root.span(), begin),
            value: Value::Table(table(root.into_inner(), begin)),
        }
    }

    fn new(node: Spanned<DeValue<'_>>, begin: usize) -> Self {
        let span = shifted(node.span(), begin);
        let value = match node.into_inner() {
            DeValue::String(text) => Value::String(text.into_owned()),
            DeValue::Integer(n) => {
                let number = i64::from_str_radix(n.as_str(), n.radix());
                Value::Integer(n.to_string(), number.ok())
            }
            DeValue::Float(n) => {
                let number = n.as_str().parse().unwrap_or(f64::NAN);
                Value::Float(n.to_string(), number)
            }
            DeValue::Boolean(is) => Value::Boolean(is),
            DeValue::Datetime(moment) => Value::Datetime(moment),
            DeValue::Array(items) => {
                Value::Array(items.into_iter().map(|i| Self::new(i, begin)).collect())
            }
            DeValue::Table(t) => Value::Table(table(t, begin)),
        };
        Self { span, value }
    }

    /// The value under a key of a table.
    pub fn get(&self, key: &str) -> Option<&Self> {
        self.as_table()?.get(key).map(|e| &e.node)
    }

    pub fn as_table(&self) -> Option<&Table> {
        match &self.value {
            Value::Table(table) => Some(table),
            _ => None,
        }
    }

    pub fn as_array(&self) -> Option<&[Self]> {
        match &self.value {
            Value::Array(items) => Some(items),
            _ => None,
        }
    }

    pub fn as_str(&self) -> Option<&str> {
        match &self.value {
            Value::String(text) => Some(text),
            _ => None,
        }
    }

    pub fn as_integer(&self) -> Option<i64> {
        match &self.value {
            Value::Integer(_, number) => *number,
            _ => None,
        }
    }

    /// About how many bytes say it: the text of strings and keys, and two for each value.
    pub fn weight(&self) -> usize {
        2 + match &self.value {
            Value::String(text) => text.len(),
            Value::Integer(..) | Value::Float(..) | Value::Boolean(_) | Value::Datetime(_) => 2,
            Value::Array(items) => items.iter().map(Self::weight).sum(),
            Value::Table(table) => {
                let entries = table.iter().map(|(key, e)| key.len() + e.node.weight());
                entries.sum()
            }
        }
    }

    /// The value without its places.
    pub fn plain(&self) -> toml::Value {
        match &self.value {
            Value::String(text) => text.clone().into(),
            // What is too large is refused by its shape.
            Value::Integer(_, number) => number.unwrap_or_default().into(),
            Value::Float(_, number) => (*number).into(),
            Value::Boolean(is) => (*is).into(),
            Value::Datetime(moment) => (*moment).into(),
            Value::Array(items) => items.iter().map(Self::plain).collect::<Vec<_>>().into(),
            Value::Table(table) => {
                let entries = table.iter().map(|(key, e)| (key.clone(), e.node.plain()));
                toml::Value::Table(entries.collect())
            }
        }
    }
}

pub(super) fn shifted(span: Range<usize>, by: usize) -> Range<usize> {
    span.start + by..span.end + by
}

fn table(table: DeTable<'_>, begin: usize) -> Table {
    let entry = |(key, value): (Spanned<_>, _)| {
        let span = shifted(key.span(), begin);
        let node = Node::new(value, begin);
        let key: std::borrow::Cow<'_, str> = key.into_inner();
        (key.into_owned(), Entry { key: span, node })
    };
    table.into_iter().map(entry).collect()
}
