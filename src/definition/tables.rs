//! Further tables of the recording with a row a thing and time, and what a definition says for each of their slots.
//!
//! How many things there are (targets of a traffic system, waypoints) changes from moment to moment; what a display draws has
//! a fixed number of places. So a table has slots: a thing takes the lowest that is free when its first row comes, and leaves
//! it when its rows have ended. Each slot has channels of its own, which from here on are channels like any other.
//!
//! What is said of one slot is written once, with `{slot}` in names for its number, and is written out for all of them here,
//! in the tree: channels, tolerances, and the symbols of a region's `for_each`.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Definition;
use super::error::Found;
use super::model::{Name, Symbol};
use super::read::FILE_BYTES;
use super::tree::{Entry, Node, Value};

/// Stands for the number of a slot.
const SLOT: &str = "{slot}";
/// Slots of a table that are written out, at most.
const MOST_SLOTS: i64 = 64;

/// A table of the recording with a row a thing and time. Channels that name it are read from it, each from one slot: as
/// `traffic_{slot}_distance`, a channel stands there once for every slot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Table {
    /// Column that says which thing a row is of.
    pub key: String,
    /// Things that there can be at once, 1 to 64. A thing has a slot from its first row until its newest is older than
    /// every channel of the table may be; it takes the lowest that is free.
    pub slots: u32,
}

/// Symbols that stand in a region once for every slot of a table, after its own: `{slot}` in what they say is the slot's
/// number. Empty in a definition that was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ForEach {
    /// The table, by its name in `[tables]`.
    pub table: Name,
    /// The symbols of one slot, in drawing order.
    #[serde(default)]
    pub symbol: Vec<Symbol>,
}

impl Definition {
    /// The slot of a table, from 1, that all of `channels` are of or worked out from, as far as they are of any. `None` where they
    /// are of none, or of several.
    #[must_use]
    pub fn slot_of<'d>(
        &'d self,
        channels: impl IntoIterator<Item = &'d str>,
    ) -> Option<(&'d str, u32)> {
        if self.file().tables.is_empty() {
            return None;
        }
        let mut names: BTreeSet<&str> = channels.into_iter().collect();
        self.logic.add_sources(&mut names);
        let slot = |name: &str| {
            let (_, model) = &self.channels()[self.channel(name).0];
            Some((model.table.as_deref()?, model.slot?))
        };
        let slots: BTreeSet<_> = names.into_iter().filter_map(slot).collect();
        slots.first().copied().filter(|_| slots.len() == 1)
    }
}

/// Writes out what is said for each slot.
pub(super) fn write_out(root: &mut Node) -> Vec<Found> {
    let tables = root.get("tables").and_then(Node::as_table);
    // A number of slots that cannot be is told of by the checks.
    let slots = |e: &Entry| {
        let count = e.node.get("slots").and_then(Node::as_integer)?;
        Some(count.clamp(1, MOST_SLOTS))
    };
    let counts = tables.into_iter().flatten();
    let counts = counts.filter_map(|(name, e)| Some((name.clone(), slots(e)?)));
    let mut writing = Writing {
        counts: counts.collect(),
        found: Vec::new(),
        bytes: 0,
    };
    let Value::Table(root) = &mut root.value else {
        return Vec::new();
    };
    if let Some(channels) = root.get_mut("channels") {
        writing.names(&mut channels.node, "channel", |node, slot| {
            let span = node.span.clone();
            if let Value::Table(channel) = &mut node.value
                && channel.contains_key("table")
            {
                let entry = Entry {
                    key: span.clone(),
                    node: integer(slot, span),
                };
                channel.entry("slot".into()).or_insert(entry);
            }
        });
    }
    if let Some(Value::Array(regions)) = root.get_mut("region").map(|e| &mut e.node.value) {
        for region in regions {
            writing.region(region);
        }
    }
    writing.found
}

fn integer(n: i64, span: Range<usize>) -> Node {
    Node {
        span,
        value: Value::Integer(n.to_string(), Some(n)),
    }
}

struct Writing {
    /// Slots by table.
    counts: BTreeMap<String, i64>,
    found: Vec<Found>,
    /// Bytes of the text that has been written out.
    bytes: usize,
}

impl Writing {
    /// Whether what stands in `node` may be written out so often; says so when it may not.
    fn has_room(&mut self, node: &Node, count: i64) -> bool {
        self.bytes += node.weight() * count as usize;
        let has_room = self.bytes <= FILE_BYTES;
        if !has_room && self.found.is_empty() {
            let most = FILE_BYTES >> 20;
            self.found.push(Found {
                span: node.span.clone(),
                message: format!(
                    "written out for all slots the definition is larger than {most} MiB"
                ),
                help: None,
            });
        }
        has_room
    }

    fn region(&mut self, region: &mut Node) {
        let span = region.span.clone();
        let Value::Table(region) = &mut region.value else {
            return;
        };
        if let Some(tolerance) = region.get_mut("tolerance") {
            self.names(&mut tolerance.node, "tolerance", |_, _| {});
        }
        let Some(mut for_each) = region.remove("for_each") else {
            return;
        };
        let Value::Array(items) = &mut for_each.node.value else {
            region.insert("for_each".into(), for_each);
            return;
        };
        let mut written = Vec::new();
        // What is of no table is left, to be told of.
        items.retain(|item| {
            let table = item.get("table").and_then(Node::as_str);
            let symbols = item.get("symbol").and_then(Node::as_array);
            let (Some(count), Some(symbols)) = (table.and_then(|t| self.counts.get(t)), symbols)
            else {
                return true;
            };
            let count = *count;
            if !self.has_room(item, count) {
                return false;
            }
            for slot in 1..=count {
                for symbol in symbols {
                    let mut symbol = symbol.clone();
                    fill(&mut symbol, slot);
                    written.push(symbol);
                }
            }
            false
        });
        if !items.is_empty() {
            region.insert("for_each".into(), for_each.clone());
        }
        let own = region.entry("symbol".into()).or_insert_with(|| Entry {
            key: for_each.key.clone(),
            node: Node {
                span,
                value: Value::Array(Vec::new()),
            },
        });
        if let Value::Array(symbols) = &mut own.node.value {
            symbols.append(&mut written);
        }
    }

    /// Writes out the names of a table that hold `{slot}`.
    fn names(&mut self, node: &mut Node, what: &str, finish: impl Fn(&mut Node, i64)) {
        let Value::Table(table) = &mut node.value else {
            return;
        };
        let named = |key: &String| key.contains(SLOT);
        let patterns: Vec<String> = table.keys().filter(|k| named(k)).cloned().collect();
        for pattern in patterns {
            let Some(entry) = table.remove(&pattern) else {
                continue;
            };
            let of = |name: &&String| pattern.starts_with(&format!("{name}_{SLOT}"));
            let Some(count) = self.counts.keys().find(of).map(|t| self.counts[t]) else {
                self.found.push(Found {
                    span: entry.key,
                    message: format!("{what} \"{pattern}\" is of no table"),
                    help: Some(format!(
                        "its name begins with that of a table of [tables] and _{SLOT}, as traffic_{SLOT}_distance does"
                    )),
                });
                continue;
            };
            if !self.has_room(&entry.node, count) {
                continue;
            }
            for slot in 1..=count {
                let key = pattern.replace(SLOT, &slot.to_string());
                let mut entry = entry.clone();
                fill(&mut entry.node, slot);
                finish(&mut entry.node, slot);
                if table.contains_key(&key) {
                    self.found.push(Found {
                        span: entry.key,
                        message: format!("{what} \"{key}\" is given by itself as well"),
                        help: None,
                    });
                    continue;
                }
                table.insert(key, entry);
            }
        }
    }
}

/// Puts the number of a slot where it is named; what stands alone becomes the number.
fn fill(node: &mut Node, slot: i64) {
    match &mut node.value {
        Value::String(text) if text == SLOT => *node = integer(slot, node.span.clone()),
        Value::String(text) if text.contains(SLOT) => {
            *text = text.replace(SLOT, &slot.to_string());
        }
        Value::Array(items) => items.iter_mut().for_each(|item| fill(item, slot)),
        Value::Table(table) => {
            for (key, mut entry) in std::mem::take(table) {
                fill(&mut entry.node, slot);
                table.insert(key.replace(SLOT, &slot.to_string()), entry);
            }
        }
        _ => {}
    }
}
