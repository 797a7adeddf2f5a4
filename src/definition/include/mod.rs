//! Definitions that share files: what `include` names becomes part of the tree before anything else looks at it.
//!
//! *The question*: what is the whole of a definition that is written in several files, some of them drawn in more than one
//! place? *The method*: every file that is included is read as a tree of its own, fitted into its place ([`fit`]: parameters
//! are filled in, positions moved, names and paths completed), and its tables are put together with the others. What comes
//! out is one tree, as if somebody had written it into one file; nothing after this knows of includes. Ranges of bytes go on
//! counting from file to file ([`Places`]), so that whatever is found later still has its file, line and column.
//!
//! *Why no more than this*: an instrument that stands twice on a display could be a concept of its own, with tables for its
//! parameters and its places. It is a file that is included twice, as a page that two displays share is a file that two
//! definitions include.
//!
//! *What it cannot see*: whether a name that an included file uses is meant to be the one that another file gives.
//! Names are those of the whole definition; only regions are told apart, by the place's `id`.

mod fit;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use toml::de::DeTable;

use super::error::{Error, Found, Inclusion, Places};
use super::model::Name;
use super::read::{FILE_BYTES, LIMIT, not_text, syntax};
use super::shape;
use super::tree::{Node, Table, Value};
use crate::files::{self, FileContent};
use fit::Fit;

/// Files within files, at most.
const DEPTH: usize = 8;
/// Places where files are included, at most, those in included files with them.
const INCLUSIONS: usize = 256;

/// A file whose tables belong to the one that includes it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Include {
    /// The file, as `file` of a place.
    File(String),
    /// A file in one of its places.
    Placed(Placed),
}

/// A file in one of its places: an instrument that stands twice on a display is a file that is included twice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Placed {
    /// The file, relative to the one that includes it, in its folder or one inside that. Fonts, artwork and files that it
    /// names itself are relative to its own folder.
    pub file: String,
    /// Stands before the names of its regions with a dot between: `left` makes `left.torque` of `torque`.
    pub id: Option<String>,
    /// How far all that it draws is moved to the right and down, px.
    #[serde(default)]
    pub at: [i32; 2],
    /// Its parameters: with `with = { n1 = "n1_left" }`, `"${n1}"` in the file reads `"n1_left"`, in names of keys too. What
    /// stands alone becomes the value itself, which may be a number, an array or a table.
    #[serde(default)]
    pub with: BTreeMap<Name, serde_json::Value>,
}

/// A definition with all that it includes.
pub(super) struct Joined {
    pub root: Node,
    pub places: Places,
    /// The files that are included, each once, in the order in which they are first named.
    pub contents: Vec<FileContent>,
}

/// Puts `text` together with all that it includes, from the folder `base_dir`. `origin` is what messages call its file.
pub(super) fn join(text: &str, origin: &str, base_dir: &Path) -> Result<Joined, Error> {
    let mut join = Join {
        base_dir,
        places: Places::new(text, origin),
        found: Vec::new(),
        root: Table::new(),
        came: Vec::new(),
        texts: BTreeMap::new(),
        contents: Vec::new(),
        inclusions: 0,
        bytes: text.len(),
    };
    if let Some(tree) = join.tree(text, 0) {
        let name = Path::new(origin).file_name().unwrap_or_default();
        let outermost = Within {
            open: vec![name.into()],
            folder: PathBuf::new(),
            by: [0, 0],
            id: String::new(),
        };
        join.add(tree, &outermost, None);
    }
    if !join.found.is_empty() {
        return Err(join.places.error(join.found));
    }
    Ok(Joined {
        root: Node {
            span: 0..text.len(),
            value: Value::Table(join.root),
        },
        places: join.places,
        contents: join.contents,
    })
}

struct Join<'a> {
    base_dir: &'a Path,
    places: Places,
    found: Vec<Found>,
    /// What was put together so far.
    root: Table,
    /// Arrays of files that have no place of their own: one that comes again is the same one.
    came: Vec<(PathBuf, String, toml::Value)>,
    /// Files that were read.
    texts: BTreeMap<PathBuf, Arc<str>>,
    contents: Vec<FileContent>,
    inclusions: usize,
    /// Length of all texts; that of a file counts in each of its places.
    bytes: usize,
}

/// A file that may include others. Paths are from the folder of the definition.
struct Within {
    /// The file itself at the end, before it those that include it.
    open: Vec<PathBuf>,
    folder: PathBuf,
    /// How far it is moved, px.
    by: [i64; 2],
    /// What stands before the names of its regions, with the dot.
    id: String,
}

impl Join<'_> {
    fn say(&mut self, span: &Range<usize>, message: String, help: Option<String>) {
        let span = span.clone();
        self.found.push(Found {
            span,
            message,
            help,
        });
    }

    /// The tree of a text whose bytes begin at `begin`; `None` when it is no TOML.
    fn tree(&mut self, text: &str, begin: usize) -> Option<Node> {
        if text.len() > FILE_BYTES {
            let message = format!("the file is larger than {} MiB", FILE_BYTES >> 20);
            self.say(&(begin..begin), message, None);
            return None;
        }
        let (root, errors) = DeTable::parse_recoverable(text);
        if errors.is_empty() {
            return Some(Node::root(root, begin));
        }
        let found = errors.iter().map(|e| syntax(e, text));
        self.found.extend(found.map(|f| f.after(begin)));
        None
    }

    /// Adds a file: what it includes, then its own tables. `once` is its path where a second time adds nothing.
    fn add(&mut self, mut tree: Node, within: &Within, once: Option<&Path>) {
        let Value::Table(table) = &mut tree.value else {
            return;
        };
        if let Some(list) = table.remove("include") {
            let deviations = shape::deviations_of("include", &list.node);
            if deviations.is_empty() {
                let items = list.node.as_array().unwrap_or_default();
                items.iter().for_each(|item| self.include(item, within));
            }
            self.found.extend(deviations);
        }
        self.merge(std::mem::take(table), once);
    }

    /// Adds what `item`, of the right shape, includes.
    fn include(&mut self, item: &Node, within: &Within) {
        let is_placed = ["id", "at", "with"].iter().any(|k| item.get(k).is_some());
        let file = item.get("file").unwrap_or(item);
        let (span, file) = (&file.span, file.as_str().unwrap_or_default());
        let is_inside = |c: Component<'_>| matches!(c, Component::Normal(_) | Component::CurDir);
        if file.is_empty() || !Path::new(file).components().all(is_inside) {
            let message =
                format!("\"{file}\" leads out of the folder of the file that includes it");
            let help =
                "put what is shared beside the definitions that share it, or into a folder there";
            self.say(span, message, Some(help.into()));
            return;
        }
        let path = within.folder.join(file);
        let path = path.components().filter(|c| *c != Component::CurDir);
        let path: PathBuf = path.collect();
        if let Some(first) = within.open.iter().position(|open| *open == path) {
            let circle = within.open[first..].iter().chain([&path]);
            let circle: Vec<_> = circle.map(|p| p.display().to_string()).collect();
            let circle = circle.join(" includes ");
            self.say(span, format!("a circle: {circle}"), None);
            return;
        }
        if within.open.len() > DEPTH {
            let message = format!("files are included in files more than {DEPTH} deep");
            self.say(span, message, None);
            return;
        }
        self.inclusions += 1;
        if self.inclusions > INCLUSIONS {
            // Said once, not again of every place beyond.
            if self.inclusions == INCLUSIONS + 1 {
                let message = format!("files are included in more than {INCLUSIONS} places");
                self.say(span, message, None);
            }
            return;
        }
        let id = item.get("id").and_then(Node::as_str).unwrap_or("");
        let Some((text, begin)) = self.text(file, &path, span, item, id) else {
            return;
        };
        let Some(mut tree) = self.tree(&text, begin) else {
            return;
        };
        let at = item.get("at").and_then(Node::as_array).unwrap_or_default();
        let by = |k: usize| at.get(k).and_then(Node::as_integer).unwrap_or(0);
        let mut inner = Within {
            open: within.open.clone(),
            folder: path.parent().unwrap_or(Path::new("")).to_owned(),
            by: [within.by[0] + by(0), within.by[1] + by(1)],
            id: within.id.clone(),
        };
        if !id.is_empty() {
            inner.id += &format!("{id}.");
        }
        let none = Table::new();
        let fit = Fit {
            file,
            by: inner.by,
            id: &inner.id,
            folder: &inner.folder,
            with: item.get("with").and_then(Node::as_table).unwrap_or(&none),
        };
        self.found.extend(fit.fit(&mut tree));
        inner.open.push(path.clone());
        self.add(tree, &inner, (!is_placed).then_some(&path));
    }

    /// The text of a file that `item` includes as `id`, and where its bytes begin among those of all. `file` is its path
    /// as it is written at `span`.
    fn text(
        &mut self,
        file: &str,
        path: &Path,
        span: &Range<usize>,
        item: &Node,
        id: &str,
    ) -> Option<(Arc<str>, usize)> {
        if self.bytes > FILE_BYTES {
            // Said where it became too much; nothing more is read.
            return None;
        }
        let full = self.base_dir.join(path);
        let origin: Arc<str> = full.display().to_string().into();
        let inclusion = Inclusion {
            span: item.span.clone(),
            id: id.to_owned(),
        };
        let text = match self.texts.get(path) {
            Some(text) => text.clone(),
            None => {
                let bytes = match files::read(&full, LIMIT) {
                    Ok((bytes, content)) => {
                        let path = full;
                        self.contents.push(FileContent { path, content });
                        bytes
                    }
                    Err(why) => {
                        let why = match why {
                            files::Error::NotRegular { found, .. } => {
                                format!("it is not a file but {found}")
                            }
                            other => other.into_cause().to_string(),
                        };
                        let help =
                            "the path is taken from the folder of the file that it stands in";
                        self.say(
                            span,
                            format!("cannot include \"{file}\": {why}"),
                            Some(help.into()),
                        );
                        return None;
                    }
                };
                let text: Arc<str> = match String::from_utf8(bytes) {
                    Ok(text) => text.into(),
                    Err(why) => {
                        let shown = String::from_utf8_lossy(why.as_bytes());
                        let begin = self.places.add(shown.into(), origin, Some(inclusion));
                        self.found.push(not_text(&why.utf8_error()).after(begin));
                        return None;
                    }
                };
                self.texts.insert(path.to_owned(), text.clone());
                text
            }
        };
        self.bytes += text.len();
        if self.bytes > FILE_BYTES {
            let most = FILE_BYTES >> 20;
            let message = format!("with \"{file}\" the definition is larger than {most} MiB");
            self.say(span, message, None);
            return None;
        }
        let begin = self.places.add(text.clone(), origin, Some(inclusion));
        Some((text, begin))
    }

    /// Puts the tables of a file with those of the others: names of a table come together, arrays are added to.
    fn merge(&mut self, tree: Table, once: Option<&Path>) {
        for (name, entry) in tree {
            if let (Some(path), Value::Array(_)) = (once, &entry.node.value) {
                let array = (path.to_owned(), name.clone(), entry.node.plain());
                if self.came.contains(&array) {
                    continue;
                }
                self.came.push(array);
            }
            let Some(before) = self.root.get_mut(&name) else {
                self.root.insert(name, entry);
                continue;
            };
            match (&mut before.node.value, entry.node.value) {
                (Value::Array(all), Value::Array(more)) => all.extend(more),
                (Value::Table(all), Value::Table(more)) => {
                    for (word, entry) in more {
                        let Some(other) = all.get(&word) else {
                            all.insert(word, entry);
                            continue;
                        };
                        // What a file gives in two places is given once where it comes out the same.
                        let is_one = self.places.are_one(other.key.start, entry.key.start)
                            && other.node.plain() == entry.node.plain();
                        if !is_one {
                            let place = self.places.named(other.key.start);
                            self.found.push(Found {
                                span: entry.key,
                                message: format!("\"{word}\" is given twice in [{name}]"),
                                help: Some(format!("the other one stands at {place}")),
                            });
                        }
                    }
                }
                _ => {
                    let place = self.places.named(before.key.start);
                    self.found.push(Found {
                        span: entry.key,
                        message: format!("\"{name}\" is given twice"),
                        help: Some(format!("the other one stands at {place}")),
                    });
                }
            }
        }
    }
}
