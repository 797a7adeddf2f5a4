//! The trace as an exchange file: requirements with their results, regions, and relations from region to requirement.
//!
//! Identifiers are made of ids alone, and so are the same in every file; nothing has the time of day. Dates, which the
//! format asks for, are that of the issue where one was given as `2026-11-30T12:00:00Z`, else the first of 1970.
//!
//! # Source
//! OMG, Requirements Interchange Format (ReqIF), version 1.2, formal/2016-07-01, and its XML schema. Names of attributes
//! that begin with `ReqIF.` are agreed on between the makers of requirements tools (common practice).

use std::io::{Cursor, Result};

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event as Xml};

use super::{Trace, result};
use crate::evidence::junit::clean;
use crate::evidence::records::CAUTION;
use crate::evidence::standing::Standing;
use crate::files::{Content, Kind};
use crate::requirements::NAMESPACE;

/// How the file is known by its beginning.
pub const FILE: Kind = Kind {
    name: "a trace",
    mark: "<REQ-IF-TOOL-ID>framevouch</REQ-IF-TOOL-ID>",
};

/// The date of a file without a date.
const NO_DATE: &str = "1970-01-01T00:00:00Z";
const XHTML: &str = "http://www.w3.org/1999/xhtml";

/// Attributes of requirements and of regions: identifier, name, kind.
const OF_REQUIREMENT: [(&str, &str, Kinds); 6] = [
    ("a-id", "ReqIF.ForeignID", Kinds::Line),
    ("a-text", "ReqIF.Text", Kinds::Paragraphs),
    ("a-method", "Method", Kinds::Line),
    ("a-hazard", "Hazard", Kinds::Line),
    ("a-result", "Result", Kinds::Result),
    ("a-because", "Because", Kinds::Paragraphs),
];
const OF_REGION: [(&str, &str, Kinds); 3] = [
    ("g-id", "Region", Kinds::Line),
    ("g-hazard", "Region hazard", Kinds::Line),
    ("g-findings", "Findings", Kinds::Paragraphs),
];

/// Kinds of attributes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kinds {
    /// A line of text.
    Line,
    /// Paragraphs of text, as XHTML.
    Paragraphs,
    /// One of the results.
    Result,
}

impl Kinds {
    const fn name(self) -> &'static str {
        match self {
            Self::Line => "STRING",
            Self::Paragraphs => "XHTML",
            Self::Result => "ENUMERATION",
        }
    }

    const fn datatype(self) -> &'static str {
        match self {
            Self::Line => "d-line",
            Self::Paragraphs => "d-paragraphs",
            Self::Result => "d-result",
        }
    }
}

/// What a requirement can have as its result.
const RESULTS: [Option<Standing>; 4] = [
    Some(Standing::Holds),
    Some(Standing::Open),
    Some(Standing::Fails),
    None,
];

/// The trace as ReqIF.
///
/// # Errors
/// When memory takes no more.
pub fn reqif(trace: &Trace) -> Result<Vec<u8>> {
    let issued = trace.issued.as_deref().filter(|t| is_date_time(t));
    let mut out = Out {
        writer: Writer::new_with_indent(Cursor::new(Vec::new()), b' ', 1),
        date: issued.unwrap_or(NO_DATE).to_owned(),
    };
    let declaration = BytesDecl::new("1.0", Some("UTF-8"), None);
    out.writer.write_event(Xml::Decl(declaration))?;
    out.within(
        "REQ-IF",
        &[("xmlns", NAMESPACE), ("xmlns:xhtml", XHTML)],
        |out| {
            out.within("THE-HEADER", &[], |out| header(out, trace))?;
            out.within("CORE-CONTENT", &[], |out| {
                out.within("REQ-IF-CONTENT", &[], |out| {
                    out.within("DATATYPES", &[], datatypes)?;
                    out.within("SPEC-TYPES", &[], types)?;
                    out.within("SPEC-OBJECTS", &[], |out| objects(out, trace))?;
                    out.within("SPEC-RELATIONS", &[], |out| relations(out, trace))?;
                    out.within("SPECIFICATIONS", &[], |out| specification(out, trace))
                })
            })
        },
    )?;
    let mut bytes = out.writer.into_inner().into_inner();
    bytes.push(b'\n');
    Ok(bytes)
}

fn header(out: &mut Out, trace: &Trace) -> Result<()> {
    out.within(
        "REQ-IF-HEADER",
        &[("IDENTIFIER", "framevouch-trace")],
        |out| {
            out.leaf("COMMENT", CAUTION)?;
            let date = out.date.clone();
            out.leaf("CREATION-TIME", &date)?;
            out.leaf("REQ-IF-TOOL-ID", "framevouch")?;
            out.leaf("REQ-IF-VERSION", "1.0")?;
            out.leaf("SOURCE-TOOL-ID", "framevouch")?;
            let issue = trace.issued.as_ref();
            let issue = issue.map_or(String::new(), |i| format!(", {i}"));
            out.leaf(
                "TITLE",
                &trace.marked(&format!("Trace of display checks{issue}")),
            )
        },
    )
}

fn datatypes(out: &mut Out) -> Result<()> {
    let most = [("MAX-LENGTH", "20000")];
    let line = Kinds::Line.datatype();
    out.alone("DATATYPE-DEFINITION-STRING", line, "Line", &most)?;
    let paragraphs = Kinds::Paragraphs.datatype();
    out.alone("DATATYPE-DEFINITION-XHTML", paragraphs, "Paragraphs", &[])?;
    let results = Kinds::Result.datatype();
    let enumeration = "DATATYPE-DEFINITION-ENUMERATION";
    out.identified(enumeration, results, "Result", &[], |out| {
        out.within("SPECIFIED-VALUES", &[], |out| {
            for (key, standing) in RESULTS.into_iter().enumerate() {
                let name = result(standing);
                out.identified("ENUM-VALUE", &result_id(standing), name, &[], |out| {
                    let key = key.to_string();
                    let value = [("KEY", key.as_str()), ("OTHER-CONTENT", "")];
                    out.within("PROPERTIES", &[], |out| out.empty("EMBEDDED-VALUE", &value))
                })?;
            }
            Ok(())
        })
    })
}

fn result_id(standing: Option<Standing>) -> String {
    format!("e-{}", result(standing).replace(' ', "-"))
}

fn types(out: &mut Out) -> Result<()> {
    for (id, name, attributes) in [
        ("t-requirement", "Requirement", OF_REQUIREMENT.as_slice()),
        ("t-region", "Region", OF_REGION.as_slice()),
    ] {
        out.identified("SPEC-OBJECT-TYPE", id, name, &[], |out| {
            out.within("SPEC-ATTRIBUTES", &[], |out| {
                for (id, name, kind) in attributes {
                    let definition = format!("ATTRIBUTE-DEFINITION-{}", kind.name());
                    let single = [("MULTI-VALUED", "false")];
                    let more = if *kind == Kinds::Result {
                        &single[..]
                    } else {
                        &[]
                    };
                    out.identified(&definition, id, name, more, |out| {
                        out.reference(
                            "TYPE",
                            &format!("DATATYPE-DEFINITION-{}-REF", kind.name()),
                            kind.datatype(),
                        )
                    })?;
                }
                Ok(())
            })
        })?;
    }
    out.alone("SPEC-RELATION-TYPE", "t-verifies", "verifies", &[])?;
    out.alone("SPECIFICATION-TYPE", "t-trace", "Trace", &[])
}

fn objects(out: &mut Out, trace: &Trace) -> Result<()> {
    for (id, traced) in &trace.requirements {
        let says = &traced.says;
        let because: Vec<String> = traced
            .because
            .iter()
            .map(|line| trace.marked(line))
            .collect();
        let of_text: Vec<String> = says.text.lines().map(str::to_owned).collect();
        let result = [result_id(traced.standing)];
        let line = |text: &Option<String>| text.clone().into_iter().collect::<Vec<_>>();
        let (method, hazard) = (line(&says.method), line(&says.hazard));
        let id_line = [id.clone()];
        let values: [&[String]; 6] = [&id_line, &of_text, &method, &hazard, &result, &because];
        object(
            out,
            &requirement_id(id),
            id,
            "t-requirement",
            &OF_REQUIREMENT,
            &values,
        )?;
    }
    for (id, region) in &trace.regions {
        let findings: Vec<String> = region
            .findings
            .iter()
            .map(|line| trace.marked(line))
            .collect();
        let line = std::slice::from_ref;
        let values: [&[String]; 3] = [line(id), line(&region.hazard), &findings];
        object(out, &region_id(id), id, "t-region", &OF_REGION, &values)?;
    }
    Ok(())
}

/// An object with values for its attributes, in their order; one without a line has no value.
fn object(
    out: &mut Out,
    identifier: &str,
    name: &str,
    of_type: &str,
    attributes: &[(&str, &str, Kinds)],
    values: &[&[String]],
) -> Result<()> {
    out.identified("SPEC-OBJECT", identifier, name, &[], |out| {
        out.within("VALUES", &[], |out| {
            for ((attribute, _, kind), lines) in attributes.iter().zip(values) {
                if !lines.is_empty() {
                    value(out, attribute, *kind, lines)?;
                }
            }
            Ok(())
        })?;
        out.reference("TYPE", "SPEC-OBJECT-TYPE-REF", of_type)
    })
}

fn value(out: &mut Out, attribute: &str, kind: Kinds, lines: &[String]) -> Result<()> {
    let name = format!("ATTRIBUTE-VALUE-{}", kind.name());
    let definition = format!("ATTRIBUTE-DEFINITION-{}-REF", kind.name());
    // An attribute of XML has no line ends: a reader makes blanks of them.
    let line = lines.join(" ").replace(['\n', '\r', '\t'], " ");
    let simple = [("THE-VALUE", line.as_str())];
    let attributes = if kind == Kinds::Line {
        &simple[..]
    } else {
        &[]
    };
    out.within(&name, attributes, |out| {
        match kind {
            Kinds::Line => {}
            Kinds::Paragraphs => out.within("THE-VALUE", &[], |out| {
                out.within("xhtml:div", &[], |out| {
                    lines.iter().try_for_each(|line| out.leaf("xhtml:p", line))
                })
            })?,
            Kinds::Result => out.within("VALUES", &[], |out| {
                lines
                    .iter()
                    .try_for_each(|id| out.leaf("ENUM-VALUE-REF", id))
            })?,
        }
        out.reference("DEFINITION", &definition, attribute)
    })
}

fn relations(out: &mut Out, trace: &Trace) -> Result<()> {
    for (region, traced) in &trace.regions {
        for id in &traced.requirements {
            let identifier = identifier("v", &format!("{region}/{id}"));
            let name = format!("{region} verifies {id}");
            out.identified("SPEC-RELATION", &identifier, &name, &[], |out| {
                out.reference("SOURCE", "SPEC-OBJECT-REF", &region_id(region))?;
                out.reference("TARGET", "SPEC-OBJECT-REF", &requirement_id(id))?;
                out.reference("TYPE", "SPEC-RELATION-TYPE-REF", "t-verifies")
            })?;
        }
    }
    Ok(())
}

/// One list of all objects: without it tools show none.
fn specification(out: &mut Out, trace: &Trace) -> Result<()> {
    out.identified("SPECIFICATION", "s-trace", "Trace", &[], |out| {
        out.reference("TYPE", "SPECIFICATION-TYPE-REF", "t-trace")?;
        out.within("CHILDREN", &[], |out| {
            let requirements = trace.requirements.keys().map(|id| requirement_id(id));
            let regions = trace.regions.keys().map(|id| region_id(id));
            for object in requirements.chain(regions) {
                out.identified("SPEC-HIERARCHY", &format!("h-{object}"), "", &[], |out| {
                    out.reference("OBJECT", "SPEC-OBJECT-REF", &object)
                })?;
            }
            Ok(())
        })
    })
}

fn requirement_id(id: &str) -> String {
    identifier("r", id)
}

fn region_id(id: &str) -> String {
    identifier("g", id)
}

/// An identifier of XML for any text.
fn identifier(kind: &str, of: &str) -> String {
    let sha256 = Content::of(of.as_bytes()).sha256;
    format!("{kind}-{}", &sha256[..32])
}

/// Whether `text` is a date and time as XML Schema writes it (part 2, 3.2.7), with its zone.
fn is_date_time(text: &str) -> bool {
    let shape: String = text
        .chars()
        .map(|c| if c.is_ascii_digit() { '0' } else { c })
        .collect();
    let zones = ["Z", "+00:00", "-00:00"];
    let is_shape = zones
        .iter()
        .any(|zone| shape == format!("0000-00-00T00:00:00{zone}"));
    let number = |from: usize| text.get(from..from + 2).and_then(|n| n.parse::<u32>().ok());
    let within =
        |from: usize, low: u32, high: u32| number(from).is_some_and(|n| (low..=high).contains(&n));
    let year: u32 = text.get(..4).and_then(|y| y.parse().ok()).unwrap_or(0);
    let is_leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    let days = match number(5) {
        Some(2) => 28 + u32::from(is_leap),
        Some(4 | 6 | 9 | 11) => 30,
        _ => 31,
    };
    is_shape
        && year > 0
        && within(5, 1, 12)
        && within(8, 1, days)
        && within(11, 0, 23)
        && within(14, 0, 59)
        && within(17, 0, 59)
        && (text.len() == 20 || (within(20, 0, 13) && within(23, 0, 59)))
}

fn start(name: &str, attributes: &[(&str, &str)]) -> BytesStart<'static> {
    let mut start = BytesStart::new(name.to_owned());
    for (key, value) in attributes {
        start.push_attribute((*key, clean(value).as_str()));
    }
    start
}

/// The attributes of an element that others refer to.
fn identity<'a>(
    identifier: &'a str,
    date: &'a str,
    long_name: &'a str,
    more: &[(&'a str, &'a str)],
) -> Vec<(&'a str, &'a str)> {
    let mut attributes = vec![("IDENTIFIER", identifier), ("LAST-CHANGE", date)];
    if !long_name.is_empty() {
        attributes.push(("LONG-NAME", long_name));
    }
    attributes.extend(more);
    attributes
}

/// What is written so far.
struct Out {
    writer: Writer<Cursor<Vec<u8>>>,
    date: String,
}

impl Out {
    /// An element with what `inside` writes.
    fn within(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        inside: impl FnOnce(&mut Self) -> Result<()>,
    ) -> Result<()> {
        let start = start(name, attributes);
        self.writer.write_event(Xml::Start(start))?;
        inside(self)?;
        let end = BytesEnd::new(name.to_owned());
        self.writer.write_event(Xml::End(end))
    }

    /// An element without anything inside, not even blanks: the schema allows none in some.
    fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) -> Result<()> {
        self.writer.write_event(Xml::Empty(start(name, attributes)))
    }

    /// One that others refer to.
    fn identified(
        &mut self,
        name: &str,
        identifier: &str,
        long_name: &str,
        more: &[(&str, &str)],
        inside: impl FnOnce(&mut Self) -> Result<()>,
    ) -> Result<()> {
        let date = self.date.clone();
        let attributes = identity(identifier, &date, long_name, more);
        self.within(name, &attributes, inside)
    }

    /// As [`Self::identified`], without anything inside.
    fn alone(
        &mut self,
        name: &str,
        identifier: &str,
        long_name: &str,
        more: &[(&str, &str)],
    ) -> Result<()> {
        let date = self.date.clone();
        self.empty(name, &identity(identifier, &date, long_name, more))
    }

    /// An element that holds text.
    fn leaf(&mut self, name: &str, text: &str) -> Result<()> {
        let text = clean(text);
        self.within(name, &[], |out| {
            out.writer.write_event(Xml::Text(BytesText::new(&text)))
        })
    }

    /// An element that holds a reference to another.
    fn reference(&mut self, name: &str, kind: &str, to: &str) -> Result<()> {
        self.within(name, &[], |out| out.leaf(kind, to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::trace::TracedRegion;
    use crate::evidence::trace::TracedRequirement;
    use crate::requirements::{Names, Requirement, Requirements};

    fn trace() -> Trace {
        let requirement = |id: &str, standing, regions: &[&str]| {
            let traced = TracedRequirement {
                says: Requirement {
                    id: id.into(),
                    text: format!("<{id}> & \"more\"\nshall hold"),
                    method: Some("test".into()),
                    hazard: None,
                },
                regions: regions.iter().map(|r| (*r).to_owned()).collect(),
                standing,
                because: vec!["check: 2 events".into()],
            };
            (id.to_owned(), traced)
        };
        let region = |requirements: &[&str]| TracedRegion {
            hazard: "major".into(),
            requirements: requirements.iter().map(|r| (*r).to_owned()).collect(),
            findings: vec!["out: agrees".into()],
        };
        Trace {
            requirements: [
                requirement("R-1", Some(Standing::Fails), &["speed"]),
                requirement("R-2", None, &[]),
            ]
            .into(),
            regions: [
                ("speed".to_owned(), region(&["R-1"])),
                ("clock".to_owned(), region(&[])),
            ]
            .into(),
            is_unverified: false,
            issued: None,
        }
    }

    #[test]
    fn what_is_written_is_read_back() {
        let bytes = reqif(&trace()).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("trace.reqif");
        std::fs::write(&path, &bytes).unwrap();
        let read = Requirements::load(&path, &Names::default()).unwrap();
        let says: Vec<Requirement> = trace().requirements.into_values().map(|t| t.says).collect();
        assert_eq!(read.all, says);
        // Regions are objects too, without the attribute that is an id.
        assert_eq!(read.without_id, 2);
        let head = String::from_utf8_lossy(&bytes[..1024]).into_owned();
        assert!(head.contains(FILE.mark), "{head}");
    }

    #[test]
    fn every_reference_leads_somewhere_and_identifiers_are_unique() {
        let text = String::from_utf8(reqif(&trace()).unwrap()).unwrap();
        let document = roxmltree::Document::parse(&text).unwrap();
        let mut identifiers = std::collections::BTreeSet::new();
        for node in document.descendants() {
            if let Some(id) = node.attribute("IDENTIFIER") {
                assert!(identifiers.insert(id), "{id} twice");
            }
        }
        let references = document
            .descendants()
            .filter(|n| n.tag_name().name().ends_with("-REF"));
        for reference in references {
            let to = reference.text().unwrap_or_default();
            assert!(
                identifiers.contains(to),
                "{}: {to}",
                reference.tag_name().name()
            );
        }
        let count = |name: &str| {
            document
                .descendants()
                .filter(|n| n.tag_name().name() == name)
                .count()
        };
        assert_eq!(
            (
                count("SPEC-OBJECT"),
                count("SPEC-RELATION"),
                count("SPEC-HIERARCHY")
            ),
            (4, 1, 4)
        );
    }

    #[test]
    fn results_that_are_not_as_they_were_written_are_marked() {
        let marked = Trace {
            is_unverified: true,
            ..trace()
        };
        let text = String::from_utf8(reqif(&marked).unwrap()).unwrap();
        assert!(text.contains("<TITLE>NOT VERIFIED: "), "{text}");
        assert_eq!(text.matches("NOT VERIFIED: ").count(), 1 + 2 + 2);
        let table = String::from_utf8(super::super::table::csv(&marked).unwrap()).unwrap();
        let rows = table
            .lines()
            .skip(1)
            .filter(|l| l.contains("NOT VERIFIED: "));
        // A wording of two lines makes two lines of a row.
        assert_eq!(rows.count(), 3, "{table}");
    }

    /// Held against the schema (`tests/foreign/exchange.py`) a line end in an element that has no content was refused.
    #[test]
    fn what_has_no_content_has_no_blanks_either() {
        let text = String::from_utf8(reqif(&trace()).unwrap()).unwrap();
        assert_eq!(text.matches("OTHER-CONTENT=\"\"/>").count(), RESULTS.len());
    }

    #[test]
    fn dates_are_those_of_xml() {
        for good in [
            "2026-11-30T12:00:00Z",
            "2024-02-29T23:59:59+13:00",
            "2000-02-29T00:00:00-05:30",
        ] {
            assert!(is_date_time(good), "{good}");
        }
        for bad in [
            "issue 3",
            "2026-13-01T00:00:00Z",
            "2026-11-30",
            "2026-11-28T24:00:00Z",
            "2025-02-29T00:00:00Z",
            "2026-11-31T00:00:00Z",
        ] {
            assert!(!is_date_time(bad), "{bad}");
        }
    }
}
