//! Requirements of an exchange file: the objects of ReqIF, their attributes by name.
//!
//! Read are the objects (`SPEC-OBJECT`) with their values, the names of attributes and of the values of enumerations
//! (`LONG-NAME`), and defaults of attributes. Formatted text (XHTML) is read as plain text, a line a paragraph; what it
//! refers to, pictures for one, is not. Hierarchies, relations and access policies say nothing of the wording.
//!
//! # Source
//! OMG, Requirements Interchange Format (ReqIF), version 1.2, formal/2016-07-01, clause 10 (exchange document structure)
//! and its XML schema; names of elements are those of the schema.

use std::collections::BTreeMap;

use roxmltree::{Document, Node, ParsingOptions};

use super::{Field, Names, Row, Wrong};

/// XML namespace of exchange files; version 1.2 kept that of the first version.
pub const NAMESPACE: &str = "http://www.omg.org/spec/ReqIF/20110401/reqif.xsd";

/// Elements and texts of a file, at most.
const NODES: u32 = 4_000_000;

/// An attribute of a type of objects.
struct Attribute {
    name: String,
    default: Option<String>,
}

/// The objects of a file as rows.
pub(super) fn rows(text: &str, names: &Names) -> Result<Vec<Row>, Wrong> {
    let options = ParsingOptions {
        // A document type could declare entities; an exchange file has none.
        allow_dtd: false,
        nodes_limit: NODES,
        ..ParsingOptions::default()
    };
    let lines = Lines::of(text);
    let document = Document::parse_with_options(text, options).map_err(|e| match e {
        roxmltree::Error::DtdDetected => Wrong {
            line: text.find("<!DOCTYPE").map(|at| lines.line(at)),
            what: "a document type is declared, and may declare entities: an exchange file has none; remove it".into(),
        },
        e => Wrong {
            line: Some(e.pos().row.into()),
            what: format!("not XML that is read here: {e}"),
        },
    })?;
    let root = document.root_element();
    if !is(root, "REQ-IF") {
        return Err(Wrong {
            line: Some(1),
            what: format!(
                "XML, and not ReqIF: the outermost element is \"{}\", expected REQ-IF of {NAMESPACE}",
                root.tag_name().name()
            ),
        });
    }
    let mut attributes: BTreeMap<&str, Attribute> = BTreeMap::new();
    let mut enumerated: BTreeMap<&str, &str> = BTreeMap::new();
    for node in root.descendants().filter(Node::is_element) {
        let Some(identifier) = node.attribute("IDENTIFIER") else {
            continue;
        };
        let name = node.attribute("LONG-NAME").unwrap_or_default();
        if is(node, "ENUM-VALUE") {
            enumerated.insert(identifier, name);
        } else if node.tag_name().name().starts_with("ATTRIBUTE-DEFINITION-") {
            let attribute = Attribute {
                name: name.to_owned(),
                default: None,
            };
            attributes.insert(identifier, attribute);
        }
    }
    // Defaults may name values of enumerations that stand behind them.
    for node in root.descendants().filter(|n| is(*n, "DEFAULT-VALUE")) {
        let owner = node
            .parent_element()
            .and_then(|p| p.attribute("IDENTIFIER"));
        let value = node.children().find(Node::is_element);
        let (Some(owner), Some(value)) = (owner, value) else {
            continue;
        };
        if let Some(attribute) = attributes.get_mut(owner) {
            attribute.default = Some(value_of(value, &enumerated));
        }
    }
    let mut known: Vec<String> = attributes.values().map(|a| a.name.clone()).collect();
    known.sort();
    known.dedup();
    let places = names
        .places(&known, "attribute")
        .map_err(|what| Wrong { line: None, what })?;
    let field_of = |name: &str| {
        let mut fields = places.iter();
        fields.find_map(|(field, place)| (known[*place] == name).then_some(*field))
    };
    // By type of object: the attributes that it has, for their defaults.
    let types: BTreeMap<&str, Vec<&str>> = root
        .descendants()
        .filter(|n| is(*n, "SPEC-OBJECT-TYPE"))
        .filter_map(|n| {
            let own = n.descendants().filter(|a| attribute_kind(*a));
            Some((
                n.attribute("IDENTIFIER")?,
                own.filter_map(|a| a.attribute("IDENTIFIER")).collect(),
            ))
        })
        .collect();
    let objects = root.descendants().filter(|n| is(*n, "SPEC-OBJECT"));
    let mut rows = Vec::new();
    for object in objects {
        let mut row = Row {
            line: lines.line(object.range().start),
            ..Row::default()
        };
        let of_type = child(object, "TYPE").map(plain).unwrap_or_default();
        let defaults = types.get(of_type.as_str()).into_iter().flatten();
        for attribute in defaults.filter_map(|id| attributes.get(id)) {
            if let (Some(field), Some(value)) = (field_of(&attribute.name), &attribute.default) {
                row.put(field, value.clone());
            }
        }
        let values = child(object, "VALUES");
        for value in values.into_iter().flat_map(|v| v.children()) {
            let definition = child(value, "DEFINITION").map(plain).unwrap_or_default();
            let Some(attribute) = attributes.get(definition.as_str()) else {
                continue;
            };
            if let Some(field) = field_of(&attribute.name) {
                row.put(field, value_of(value, &enumerated));
            }
        }
        rows.push(row);
    }
    Ok(rows)
}

impl Row {
    fn put(&mut self, field: Field, value: String) {
        *match field {
            Field::Id => &mut self.id,
            Field::Text => &mut self.text,
            Field::Method => &mut self.method,
            Field::Hazard => &mut self.hazard,
        } = value;
    }
}

fn is(node: Node, name: &str) -> bool {
    node.tag_name().name() == name && node.tag_name().namespace() == Some(NAMESPACE)
}

fn attribute_kind(node: Node) -> bool {
    node.is_element()
        && node.tag_name().name().starts_with("ATTRIBUTE-DEFINITION-")
        && !node.tag_name().name().ends_with("-REF")
}

fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Option<Node<'a, 'i>> {
    node.children().find(|n| is(*n, name))
}

/// The text of a reference: the one element inside holds an identifier.
fn plain(node: Node) -> String {
    let texts = node.descendants().filter(Node::is_text);
    let text: String = texts.filter_map(|t| t.text()).collect();
    text.trim().to_owned()
}

/// What an `ATTRIBUTE-VALUE-...` says.
fn value_of(value: Node, enumerated: &BTreeMap<&str, &str>) -> String {
    if let Some(simple) = value.attribute("THE-VALUE") {
        return simple.to_owned();
    }
    if let Some(formatted) = child(value, "THE-VALUE") {
        return paragraphs(formatted);
    }
    let references = child(value, "VALUES")
        .into_iter()
        .flat_map(|v| v.children());
    let names = references.filter(|r| is(*r, "ENUM-VALUE-REF")).map(|r| {
        let id = plain(r);
        enumerated
            .get(id.as_str())
            .map_or(id.clone(), |name| (*name).to_owned())
    });
    names.collect::<Vec<_>>().join(", ")
}

/// Elements of XHTML that begin a line.
const BLOCKS: [&str; 13] = [
    "address",
    "blockquote",
    "br",
    "dd",
    "div",
    "dt",
    "h1",
    "h2",
    "h3",
    "li",
    "p",
    "pre",
    "tr",
];

/// Formatted text as plain text: white space is one blank, blocks are lines.
fn paragraphs(node: Node) -> String {
    let mut lines = vec![String::new()];
    for part in node.descendants() {
        if part.is_element() && BLOCKS.contains(&part.tag_name().name()) {
            lines.push(String::new());
        }
        // What comes after a block is outside of it, and a line of its own.
        let follows_block = part
            .prev_sibling_element()
            .is_some_and(|p| BLOCKS.contains(&p.tag_name().name()));
        if part.is_text() && follows_block {
            lines.push(String::new());
        }
        if let Some(text) = part.text().filter(|_| part.is_text()) {
            lines.last_mut().expect("there is one").push_str(text);
        }
    }
    let lines = lines
        .iter()
        .map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "));
    lines
        .filter(|l| !l.is_empty())
        .collect::<Vec<_>>()
        .join("\n")
}

/// Where lines begin: the number of a line is looked up, not counted from the top for every object.
struct Lines(Vec<usize>);

impl Lines {
    fn of(text: &str) -> Self {
        let ends = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        Self(ends.map(|(k, _)| k).collect())
    }

    fn line(&self, at: usize) -> u64 {
        1 + self.0.partition_point(|end| *end < at) as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::requirements::tests::{read, read_with};

    /// Written by hand after the structure of the standard's schema: two types, an enumeration, formatted text, a default.
    const FILE: &str = include_str!("small.reqif");

    #[test]
    fn formatted_text_enumerations_and_defaults_are_read() {
        let (all, without_id) = read(FILE).unwrap();
        assert_eq!((all.len(), without_id), (1, 1));
        let r = &all[0];
        assert_eq!(r.id, "R-1");
        assert_eq!(
            r.text,
            "Airspeed shall be right & fresh.\nwithin 3 kt\nalways"
        );
        assert_eq!(
            (r.method.as_deref(), r.hazard.as_deref()),
            (Some("test"), Some("hazardous"))
        );
    }

    #[test]
    fn attributes_that_are_not_there_are_told_by_name() {
        let error = read(&FILE.replace("ReqIF.ForeignID", "Object Number")).unwrap_err();
        assert!(
            error.contains("for the id") && error.contains("Object Number"),
            "{error}"
        );
        let names = Names {
            id: Some("Object Number".into()),
            ..Names::default()
        };
        let text = FILE.replace("ReqIF.ForeignID", "Object Number");
        assert_eq!(read_with(&text, &names).unwrap().0[0].id, "R-1");
    }

    #[test]
    fn entities_are_refused_and_not_expanded() {
        let bomb = FILE.replacen(
            "<REQ-IF ",
            "<!DOCTYPE x [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">]>\n<REQ-IF ",
            1,
        );
        let error = read(&bomb).unwrap_err();
        assert!(
            error.starts_with("Some(2): a document type is declared"),
            "{error}"
        );
        let other = read("<html xmlns=\"http://www.w3.org/1999/xhtml\"/>").unwrap_err();
        assert!(other.contains("not ReqIF"), "{other}");
    }

    #[test]
    fn damage_is_an_error_and_no_panic() {
        for end in (0..FILE.len())
            .step_by(37)
            .filter(|k| FILE.is_char_boundary(*k))
        {
            assert!(read(&FILE[..end]).is_err(), "{end}");
        }
        let mut deep = format!("<REQ-IF xmlns=\"{NAMESPACE}\">");
        deep += &"<a>".repeat(200_000);
        assert!(read(&deep).is_err());
        deep += &"</a>".repeat(200_000);
        let error = read(&(deep + "</REQ-IF>")).unwrap_err();
        assert!(error.contains("no attribute"), "{error}");
    }
}
