//! Palettes: other colours by condition, as for the night, or all colours dimmed.
//!
//! A display in another palette is another page of it, with the same regions in other colours; and that is what is made of
//! it here, in the tree. So whatever holds of pages holds of palettes: which one is due, how long it may take to come, and
//! that a display which stays in the wrong one is misleading, and told so. A region `speed` is `speed.night` there.

use std::collections::BTreeMap;
use std::ops::Range;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::error::{Found, suggestion};
use super::model::{Condition, DisplayFile, Name};
use super::pages::MOST_PAGES;
use super::read::FILE_BYTES;
use super::symbols::Symbol;
use super::tree::{Entry, Node, Table, Value};
use super::uses::{self, Step, Use};
use crate::picture::Rgb;

/// Colours that a display has while conditions hold. Empty in a definition that was read: its pages and regions stand among
/// the others then.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Palette {
    /// Name in verdicts and reports, as `night`; unique. It is that of a page, or stands after that of a page; regions have
    /// it after their own name.
    pub id: String,
    /// All of these must hold for it to be due, and none of an earlier palette's. The last palette has none: it is `[colors]`
    /// as it stands, and due when no other is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub when: Vec<Condition>,
    /// How long the picture may be anything when it has become due, after the permitted latency, ms.
    #[serde(default)]
    pub transition_ms: f64,
    /// Colours that are other ones than in `[colors]`, by name, as `#rrggbb`.
    #[serde(default)]
    pub colors: BTreeMap<Name, String>,
    /// What becomes of all other colours: R, G and B times this, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dim: Option<f64>,
}

impl Palette {
    /// A colour of the display as it is here.
    fn color(&self, name: &str, usual: &str) -> String {
        if let Some(own) = self.colors.get(name) {
            return own.clone();
        }
        match (Rgb::from_hex(usual), self.dim) {
            (Some(Rgb(levels)), Some(dim)) => {
                let [r, g, b] = levels.map(|v| libm::round(f64::from(v) * dim) as u8);
                format!("#{r:02x}{g:02x}{b:02x}")
            }
            _ => usual.to_owned(),
        }
    }
}

/// Regions in all palettes, at most.
const MOST_REGIONS: usize = 256;

/// Makes pages and regions of the palettes of `file`, which was read from `root`.
pub(super) fn write_out(root: &mut Node, file: &DisplayFile) -> Vec<Found> {
    let Value::Table(root) = &mut root.value else {
        return Vec::new();
    };
    let Some(palettes) = root.remove("palette") else {
        return Vec::new();
    };
    let nodes = palettes.node.as_array().unwrap_or_default();
    let mut writing = Writing {
        file,
        colors: Table::new(),
        found: Vec::new(),
    };
    writing.check(nodes);
    let weight = root.get("region").map_or(0, |e| e.node.weight());
    if weight.saturating_mul(nodes.len()) > FILE_BYTES {
        let most = FILE_BYTES >> 20;
        let message = format!("in all palettes the definition is larger than {most} MiB");
        writing.say(&palettes.key, message, None);
    }
    if !writing.found.is_empty() {
        return writing.found;
    }
    let span = palettes.key.clone();
    let pages = writing.pages(root.get("page").map(|e| &e.node), nodes);
    root.insert("page".into(), entry(&span, pages));
    if let Some(Value::Array(regions)) = root.get_mut("region").map(|e| &mut e.node.value) {
        let usual = regions.clone();
        let last = file.palette.len() - 1;
        for (node, model) in regions.iter_mut().zip(&file.region) {
            writing.set_pages(node, model, &file.palette[last]);
        }
        for palette in &file.palette[..last] {
            for (k, node) in usual.iter().enumerate() {
                let mut node = node.clone();
                writing.recolor(&mut node, k, palette);
                regions.push(node);
            }
        }
    }
    if let Some(Value::Table(colors)) = root.get_mut("colors").map(|e| &mut e.node.value) {
        colors.append(&mut writing.colors);
    }
    writing.found
}

fn entry(span: &Range<usize>, value: Value) -> Entry {
    Entry {
        key: span.clone(),
        node: Node {
            span: span.clone(),
            value,
        },
    }
}

struct Writing<'f> {
    file: &'f DisplayFile,
    /// Colours of palettes, as far as they are used.
    colors: Table,
    found: Vec<Found>,
}

impl Writing<'_> {
    fn say(&mut self, span: &Range<usize>, message: String, help: Option<String>) {
        let span = span.clone();
        self.found.push(Found {
            span,
            message,
            help,
        });
    }

    fn check(&mut self, nodes: &[Node]) {
        let file = self.file;
        let last = file.palette.len().saturating_sub(1);
        let pages = file.page.len().max(1).saturating_mul(file.palette.len());
        let regions = file.region.len().saturating_mul(file.palette.len());
        if let Some(first) = nodes.first()
            && (pages > MOST_PAGES || regions > MOST_REGIONS)
        {
            let message = format!(
                "{pages} pages and {regions} regions in all palettes; at most {MOST_PAGES} and {MOST_REGIONS} are supported"
            );
            self.say(&first.span, message, None);
        }
        for (k, (palette, node)) in file.palette.iter().zip(nodes).enumerate() {
            let span = &node.span;
            let id = &palette.id;
            if file.palette[..k].iter().any(|p| p.id == *id) {
                self.say(span, format!("palette \"{id}\" is given twice"), None);
            }
            if k == last
                && !(palette.when.is_empty() && palette.colors.is_empty() && palette.dim.is_none())
            {
                let message = format!("no palette is due while \"{id}\" is not");
                let help = "the last palette has neither `when` nor colours: it is [colors], and due when no other is";
                self.say(span, message, Some(help.into()));
            }
            if k < last && palette.when.is_empty() {
                let message = format!("palette \"{id}\" is always due, and no later one ever");
                self.say(
                    span,
                    message,
                    Some("give it a `when`, or make it the last one".into()),
                );
            }
            if let Some(dim) = palette.dim.filter(|dim| !(0.0..=1.0).contains(dim)) {
                self.say(
                    span,
                    format!("dim {dim}: must be at least 0 and at most 1"),
                    None,
                );
            }
            for (name, text) in &palette.colors {
                let of = node.get("colors").and_then(|c| c.get(name));
                let span = &of.map_or_else(|| span.clone(), |n| n.span.clone());
                if !file.colors.contains_key(name) {
                    let help = suggestion(name, file.colors.keys().map(String::as_str));
                    self.say(span, format!("there is no colour \"{name}\""), help);
                }
                if Rgb::from_hex(text).is_none() {
                    let message = format!(
                        "\"{text}\" is not a colour; expected \"#rrggbb\" with six hexadecimal digits"
                    );
                    self.say(span, message, None);
                }
            }
            if !file.artwork.is_empty() {
                let message = "artwork keeps its colours in every palette".to_owned();
                let help = "draw what changes with the palette as parts, and leave [artwork] out";
                self.say(span, message, Some(help.into()));
            }
        }
    }

    /// The pages of all palettes: of each page the palettes in their order.
    fn pages(&self, pages: Option<&Node>, palettes: &[Node]) -> Value {
        let mut all = Vec::new();
        let pages: Vec<Option<&Node>> = match pages.and_then(Node::as_array) {
            Some(pages) if !pages.is_empty() => pages.iter().map(Some).collect(),
            _ => vec![None],
        };
        for (p, page) in pages.into_iter().enumerate() {
            for (model, palette) in self.file.palette.iter().zip(palettes) {
                let when = |n: &Node| {
                    n.get("when")
                        .and_then(Node::as_array)
                        .unwrap_or_default()
                        .to_vec()
                };
                let mut conditions = page.map(when).unwrap_or_default();
                let reversion = page.and_then(|n| n.get("reversion")).cloned();
                // A page that a reversion alone puts up is due by no inputs, whatever the palette.
                if reversion.is_none() || !conditions.is_empty() {
                    conditions.extend(when(palette));
                }
                let of_page = page.and(self.file.page.get(p));
                let slow_ms = of_page
                    .map_or(0.0, |p| p.transition_ms)
                    .max(model.transition_ms);
                let span = &palette.span;
                let mut table = Table::new();
                let id = page_id(of_page.map(|p| &p.id), model);
                table.insert("id".into(), entry(span, Value::String(id)));
                if !conditions.is_empty() {
                    table.insert("when".into(), entry(span, Value::Array(conditions)));
                }
                let slow = Value::Float(slow_ms.to_string(), slow_ms);
                table.insert("transition_ms".into(), entry(span, slow));
                if let Some(mut reversion) = reversion {
                    let mut conditions = when(&reversion);
                    conditions.extend(when(palette));
                    if let Value::Table(table) = &mut reversion.value
                        && !conditions.is_empty()
                    {
                        table.insert("when".into(), entry(span, Value::Array(conditions)));
                    }
                    table.insert("reversion".into(), entry(span, reversion.value));
                }
                all.push(Node {
                    span: span.clone(),
                    value: Value::Table(table),
                });
            }
        }
        Value::Array(all)
    }

    /// Says which pages a region belongs to in a palette.
    fn set_pages(&self, node: &mut Node, model: &super::model::Region, palette: &Palette) {
        let own = self.file.page.iter().map(|p| &p.id);
        let ids: Vec<String> = match (self.file.page.is_empty(), model.pages.is_empty()) {
            (true, _) => vec![page_id(None, palette)],
            (false, true) => own.map(|id| page_id(Some(id), palette)).collect(),
            (false, false) => model
                .pages
                .iter()
                .map(|id| page_id(Some(id), palette))
                .collect(),
        };
        let span = node.span.clone();
        if let Value::Table(table) = &mut node.value {
            let ids = ids.into_iter().map(|id| Node {
                span: span.clone(),
                value: Value::String(id),
            });
            table.insert("pages".into(), entry(&span, Value::Array(ids.collect())));
        }
    }

    /// Makes a region of the file one of a palette.
    fn recolor(&mut self, node: &mut Node, region: usize, palette: &Palette) {
        let model = &self.file.region[region];
        self.set_pages(node, model, palette);
        let span = node.span.clone();
        let ground = self.color(&self.file.display.background, palette, &span);
        let Value::Table(table) = &mut node.value else {
            return;
        };
        let id = format!("{}.{}", model.id, palette.id);
        table.insert("id".into(), entry(&span, Value::String(id)));
        let Some(Value::Array(symbols)) = table.get_mut("symbol").map(|e| &mut e.node.value) else {
            return;
        };
        for (symbol, node) in model.symbol.iter().zip(symbols.iter_mut()) {
            self.recolor_symbol(symbol, node, palette);
        }
        if let Some(ground) = ground {
            symbols.insert(0, filled(model.rect, ground, &span));
        }
    }

    fn recolor_symbol(&mut self, symbol: &Symbol, node: &mut Node, palette: &Palette) {
        let mut named: Vec<(Vec<Step>, String)> = Vec::new();
        uses::of_symbol(symbol, &mut |path, what| {
            if let Use::Color(name) = what {
                named.push((path.to_vec(), name.to_owned()));
            }
        });
        for (path, name) in named {
            let span = node.span.clone();
            let Some(other) = self.color(&name, palette, &span) else {
                continue;
            };
            if let Some(node) = along(node, &path) {
                node.value = Value::String(other);
            }
        }
    }

    /// What a colour is called in a palette; `None` where it is the same there.
    fn color(&mut self, name: &str, palette: &Palette, span: &Range<usize>) -> Option<String> {
        let usual = self.file.colors.get(name)?;
        let color = palette.color(name, usual);
        if color == *usual {
            return None;
        }
        let other = format!("{name}.{}", palette.id);
        self.colors
            .insert(other.clone(), entry(span, Value::String(color)));
        Some(other)
    }
}

/// What a page is called in a palette.
fn page_id(page: Option<&Name>, palette: &Palette) -> String {
    match page {
        Some(page) => format!("{page}.{}", palette.id),
        None => palette.id.clone(),
    }
}

fn along<'n>(node: &'n mut Node, path: &[Step]) -> Option<&'n mut Node> {
    let Some((step, rest)) = path.split_first() else {
        return Some(node);
    };
    let next = match (step, &mut node.value) {
        (Step::Key(key), Value::Table(table)) => &mut table.get_mut(*key)?.node,
        (Step::Index(k), Value::Array(items)) => items.get_mut(*k)?,
        _ => return None,
    };
    along(next, rest)
}

/// A rectangle as a symbol: the ground of a region.
fn filled(rect: [i32; 4], color: String, span: &Range<usize>) -> Node {
    let node = |value| Node {
        span: span.clone(),
        value,
    };
    let table = |entries: Vec<(&str, Value)>| {
        let entries = entries.into_iter();
        Value::Table(
            entries
                .map(|(k, v)| (k.to_owned(), entry(span, v)))
                .collect(),
        )
    };
    let number = |n: i32| node(Value::Integer(n.to_string(), Some(n.into())));
    let shape = table(vec![("rect", Value::Array(rect.map(number).to_vec()))]);
    let part = table(vec![("shape", shape), ("fill", Value::String(color))]);
    let word = |text: &str| Value::String(text.into());
    node(table(vec![
        ("kind", word("parts")),
        ("name", word("ground")),
        ("part", Value::Array(vec![node(part)])),
    ]))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::super::Definition;
    use super::super::tests::gallery;
    use super::*;

    const DISPLAY: &str = r##"
[display]
name = "two palettes"
width = 100
height = 60
background = "ground"
[fonts]
sans = { builtin = "B612 Regular" }
[colors]
ground = "#202020"
ink = "#f0f0f0"
red = "#ff0000"
[channels]
light = { column = "light", range = [0, 100] }
page = { column = "page", range = [1, 2], interpolation = "hold" }
[[palette]]
id = "night"
when = [{ channel = "light", below = 20, hysteresis = 5 }]
dim = 0.5
colors = { ink = "#804000" }
[[palette]]
id = "day"
[[region]]
id = "words"
rect = [0, 0, 100, 30]
hazard = "minor"
[[region.symbol]]
kind = "text"
text = "N"
position = [50, 15]
font = "sans"
size = 12
color = "ink"
[[region]]
id = "lamp"
rect = [0, 30, 100, 30]
hazard = "minor"
[[region.symbol]]
kind = "parts"
part = [{ shape = { rect = [10, 40, 20, 10] }, fill = "ink", color_rules = [{ when = [{ channel = "page", equals = 2 }], color = "red" }] }]
"##;

    fn read(text: &str) -> Result<Definition, String> {
        Definition::from_toml(text, "d.toml", Path::new("")).map_err(|e| e.to_string())
    }

    #[test]
    fn a_palette_is_a_page_with_the_regions_in_its_colours() {
        let d = read(DISPLAY).unwrap();
        let pages: Vec<&str> = d.pages().iter().map(|p| p.id.as_str()).collect();
        assert_eq!(pages, ["night", "day"]);
        let ids: Vec<&str> = d.regions().iter().map(|r| r.id.as_str()).collect();
        assert_eq!(ids, ["words", "lamp", "words.night", "lamp.night"]);
        let colors = |k: usize| d.regions()[k].colors_used().into_iter().collect::<Vec<_>>();
        assert_eq!(colors(1), ["ink", "red"]);
        assert_eq!(colors(3), ["ground.night", "ink.night", "red.night"]);
        // Half of 0xff is 127.5, and goes away from zero; what is given stands as it is.
        assert_eq!(d.color("red.night"), Rgb::from_hex("#800000").unwrap());
        assert_eq!(d.color("ground.night"), Rgb::from_hex("#101010").unwrap());
        assert_eq!(d.color("ink.night"), Rgb::from_hex("#804000").unwrap());
        assert!(read(&d.expanded()).is_ok());
    }

    #[test]
    fn each_page_comes_in_each_palette() {
        let pages = "[[page]]\nid = \"one\"\nwhen = [{ channel = \"page\", equals = 1 }]\ntransition_ms = 80\n[[page]]\nid = \"two\"\n";
        let lamp = "id = \"lamp\"";
        let text = DISPLAY.replace(lamp, &format!("{lamp}\npages = [\"two\"]"));
        let d = read(&format!("{text}{pages}")).unwrap();
        let ids: Vec<(&str, usize)> = d
            .pages()
            .iter()
            .map(|p| (p.id.as_str(), p.when.len()))
            .collect();
        assert_eq!(
            ids,
            [
                ("one.night", 2),
                ("one.day", 1),
                ("two.night", 1),
                ("two.day", 0)
            ]
        );
        assert_eq!(d.pages()[1].transition_ms, 80.0);
        let pages = |k: usize| d.regions()[k].pages.clone();
        assert_eq!(pages(0), ["one.day", "two.day"]);
        assert_eq!(pages(3), ["two.night"]);
    }

    #[test]
    fn a_reversion_puts_up_its_page_in_the_palette_that_is_due() {
        let pages =
            "[[page]]\nid = \"usual\"\n[[page]]\nid = \"back\"\nreversion = { within_ms = 300 }\n";
        let lamp = "id = \"lamp\"";
        let text = DISPLAY.replace(lamp, &format!("{lamp}\npages = [\"back\"]"));
        let d = read(&format!("{text}{pages}")).unwrap();
        let of = |k: usize| {
            let page = &d.pages()[k];
            let reversion = page.reversion.as_ref().map(|r| (r.within_ms, r.when.len()));
            (page.id.as_str(), page.when.len(), reversion)
        };
        assert_eq!(
            [0, 1, 2, 3].map(of),
            [
                ("usual.night", 1, None),
                ("usual.day", 0, None),
                ("back.night", 0, Some((300.0, 1))),
                ("back.day", 0, Some((300.0, 0))),
            ]
        );
        assert!(read(&d.expanded()).is_ok());
        // Written by hand, one of two needs to say when it is the one.
        let twice = pages.replace(
            "[[page]]\nid = \"usual\"",
            "[[page]]\nid = \"first\"\nreversion = { within_ms = 300 }\n[[page]]\nid = \"usual\"",
        );
        let error = read(&format!("{text}{twice}")).unwrap_err();
        assert!(error.contains("all but the last have a `when`"), "{error}");
    }

    #[test]
    fn what_no_palette_can_be_is_refused() {
        for (from, to, expected) in [
            (
                "id = \"day\"",
                "id = \"day\"\ndim = 0.9",
                "no palette is due while \"day\" is not",
            ),
            (
                "when = [{ channel = \"light\", below = 20, hysteresis = 5 }]\n",
                "",
                "palette \"night\" is always due",
            ),
            (
                "dim = 0.5",
                "dim = 1.5",
                "dim 1.5: must be at least 0 and at most 1",
            ),
            (
                "{ ink = \"#804000\" }",
                "{ inc = \"#804000\" }",
                "there is no colour \"inc\"",
            ),
            (
                "{ ink = \"#804000\" }",
                "{ ink = \"brown\" }",
                "\"brown\" is not a colour",
            ),
            (
                "id = \"day\"",
                "id = \"night\"",
                "palette \"night\" is given twice",
            ),
            (
                "channel = \"light\"",
                "channel = \"lite\"",
                "there is no channel \"lite\"",
            ),
        ] {
            assert_eq!(DISPLAY.matches(from).count(), 1, "{from}");
            let error = read(&DISPLAY.replace(from, to)).unwrap_err();
            assert!(error.contains(expected), "{to}: {error}");
        }
    }

    /// A colour that stands where nobody looks for it would stay as it is by day.
    #[test]
    fn every_colour_of_every_look_has_its_place() {
        let prelude: String =
            gallery::prelude().replace("[artwork.panel]\nfile = \"panel.svg\"\n", "");
        let palettes = "[[palette]]\nid = \"night\"\nwhen = [{ channel = \"fuel\", below = 9 }]\ndim = 0.5\n[[palette]]\nid = \"day\"\n";
        for look in gallery::looks() {
            let symbols = gallery::symbols(&look);
            if symbols.contains("artwork") {
                continue;
            }
            let text = format!("{prelude}\n{palettes}\n{}", gallery::region(&symbols));
            let d = Definition::from_toml(&text, "look", gallery::folder());
            let d = d.unwrap_or_else(|e| panic!("{}: {e}", look.display()));
            let [day, night] = [0, 1].map(|k| d.regions()[k].colors_used());
            let due = day
                .iter()
                .map(|c| format!("{c}.night"))
                .chain(["ink.night".to_owned()]);
            let due: std::collections::BTreeSet<String> = due.collect();
            let night = night.into_iter().map(str::to_owned).collect();
            assert_eq!(due, night, "{}", look.display());
        }
    }
}
