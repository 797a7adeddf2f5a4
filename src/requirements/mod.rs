//! Requirements as the tool that keeps them hands them out: id, wording, method of verification, hazard.
//!
//! *The question*: what do the ids say that regions of a definition name? *The method*: a table in CSV, or an exchange file
//! in ReqIF, becomes one list, in the order of the file. Which column or attribute is which is known by its name; other
//! names are given. An object without an id is a heading or a note and no requirement; it is counted. *What it cannot see*:
//! whether the wording is the one that was agreed: the file's digest stands in the manifest, its revision is
//! the affair of whoever hands it out.
//!
//! # Source
//! OMG, Requirements Interchange Format (ReqIF), version 1.2, formal/2016-07-01.

mod csv;
mod reqif;

use std::collections::BTreeMap;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::files::{self, FileContent, Limit};

pub use reqif::NAMESPACE;

/// The most that a file of requirements may hold.
pub const LIMIT: Limit = Limit {
    kind: "a file of requirements",
    bytes: 64 << 20,
};
/// Requirements in a file, at most.
pub const MOST: usize = 100_000;
/// Characters of an id, and of any other field, at most.
const ID_CHARS: usize = 256;
const FIELD_CHARS: usize = 20_000;

/// A requirement with its wording.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Requirement {
    /// Its id, as regions name it.
    pub id: String,
    /// What it says.
    pub text: String,
    /// How it is to be verified, where the file says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// Its hazard class, in the file's own words, where it says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hazard: Option<String>,
}

/// What columns of a table, or attributes of ReqIF, are called; the usual names where nothing is given.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Names {
    /// Of the id.
    pub id: Option<String>,
    /// Of the wording.
    pub text: Option<String>,
    /// Of the method of verification.
    pub method: Option<String>,
    /// Of the hazard class.
    pub hazard: Option<String>,
}

/// A file of requirements.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Requirements {
    /// In the order of the file.
    pub all: Vec<Requirement>,
    /// Rows or objects without an id.
    pub without_id: usize,
    /// What was read.
    pub file: FileContent,
}

/// Why there are none.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The file cannot be read.
    #[error(transparent)]
    File(#[from] files::Error),
    /// It is read and is not what it should be.
    #[error("{file}{}: {what}", .line.map_or(String::new(), |line| format!(":{line}")))]
    Form {
        /// The file.
        file: String,
        /// The line, from 1, where there is one.
        line: Option<u64>,
        /// What was found, what was expected, what to do.
        what: String,
    },
}

/// Something that is wrong in a text of requirements.
#[derive(Debug)]
struct Wrong {
    line: Option<u64>,
    what: String,
}

/// A row or object, with the line that it begins in.
#[derive(Debug, Default)]
struct Row {
    line: u64,
    id: String,
    text: String,
    method: String,
    hazard: String,
}

/// Fields in the order of [`Names`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Field {
    Id,
    Text,
    Method,
    Hazard,
}

const FIELDS: [Field; 4] = [Field::Id, Field::Text, Field::Method, Field::Hazard];

impl Field {
    /// Names that it usually has, in any case. Those with `ReqIF.` are agreed on between the makers of requirements tools
    /// for exchange (common practice, from memory).
    const fn usual(self) -> &'static [&'static str] {
        match self {
            Self::Id => &["ReqIF.ForeignID", "id"],
            Self::Text => &["ReqIF.Text", "text"],
            Self::Method => &["method", "verification method"],
            Self::Hazard => &["hazard", "hazard class"],
        }
    }

    const fn word(self) -> &'static str {
        match self {
            Self::Id => "id",
            Self::Text => "text",
            Self::Method => "method",
            Self::Hazard => "hazard",
        }
    }

    fn is_optional(self) -> bool {
        matches!(self, Self::Method | Self::Hazard)
    }
}

impl Names {
    fn given(&self, field: Field) -> Option<&str> {
        let given = match field {
            Field::Id => &self.id,
            Field::Text => &self.text,
            Field::Method => &self.method,
            Field::Hazard => &self.hazard,
        };
        given.as_deref()
    }

    /// Which of `names` is which field: the place of each. `what` names are: "column", "attribute".
    fn places(&self, names: &[String], what: &str) -> Result<BTreeMap<Field, usize>, String> {
        let mut places = BTreeMap::new();
        for field in FIELDS {
            let given = self.given(field);
            let is_it = |name: &str, wanted: &str| name.trim().eq_ignore_ascii_case(wanted);
            let find = |wanted: &str| names.iter().position(|n| is_it(n, wanted));
            let found = match given {
                Some(name) => find(name),
                None => field.usual().iter().find_map(|name| find(name)),
            };
            match found {
                Some(place) => {
                    places.insert(field, place);
                }
                None if given.is_none() && field.is_optional() => {}
                None => {
                    let wanted =
                        given.map_or_else(|| field.usual().join("\" or \""), str::to_owned);
                    let there: Vec<&str> = names.iter().map(|n| n.trim()).take(32).collect();
                    return Err(format!(
                        "no {what} \"{wanted}\" for the {}; there is: {}. Say in [requirements] which it is: {} = \"...\"",
                        field.word(),
                        there.join(", "),
                        field.word()
                    ));
                }
            }
        }
        Ok(places)
    }
}

impl Requirements {
    /// Reads the file at `path`: ReqIF where it is XML, else a table in CSV.
    ///
    /// # Errors
    /// When it cannot be read, is neither, lacks the id or the wording, or names a requirement twice.
    pub fn load(path: &Path, names: &Names) -> Result<Self, Error> {
        let (bytes, content) = files::read(path, LIMIT)?;
        let file = FileContent {
            path: path.to_owned(),
            content,
        };
        let form = |wrong: Wrong| Error::Form {
            file: path.display().to_string(),
            line: wrong.line,
            what: wrong.what,
        };
        let rows = rows(&bytes, names).map_err(form)?;
        let (all, without_id) = of_rows(rows).map_err(form)?;
        Ok(Self {
            all,
            without_id,
            file,
        })
    }
}

fn rows(bytes: &[u8], names: &Names) -> Result<Vec<Row>, Wrong> {
    let of_file = |what: &str| Wrong {
        line: None,
        what: what.to_owned(),
    };
    // The container's first two letters (PKWARE's application note, 4.3.7).
    if bytes.starts_with(b"PK") {
        return Err(of_file(
            "a packed file; unpack it and give the .reqif file inside",
        ));
    }
    let text = std::str::from_utf8(bytes).map_err(|e| {
        of_file(&format!(
            "not UTF-8 text: byte {} cannot stand there",
            e.valid_up_to()
        ))
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim_start().starts_with('<') {
        reqif::rows(text, names)
    } else {
        csv::rows(text, names)
    }
}

/// Requirements of rows, and how many rows have no id.
fn of_rows(rows: Vec<Row>) -> Result<(Vec<Requirement>, usize), Wrong> {
    let mut all = Vec::new();
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    let mut without_id = 0;
    for row in rows {
        let wrong = |what: String| Wrong {
            line: Some(row.line),
            what,
        };
        let id = row.id.trim();
        if id.is_empty() {
            without_id += 1;
            continue;
        }
        for (what, text, most) in [
            ("id", id, ID_CHARS),
            ("text", &row.text, FIELD_CHARS),
            ("method", &row.method, FIELD_CHARS),
            ("hazard", &row.hazard, FIELD_CHARS),
        ] {
            let length = text.chars().count();
            if length > most {
                return Err(wrong(format!(
                    "the {what} of a requirement has {length} characters; at most {most} are taken"
                )));
            }
        }
        if let Some(before) = seen.insert(id.to_owned(), row.line) {
            return Err(wrong(format!(
                "requirement \"{id}\" is given twice; the other one stands in line {before}"
            )));
        }
        if all.len() == MOST {
            return Err(wrong(format!(
                "more than {MOST} requirements; split the file"
            )));
        }
        let some = |text: &str| Some(text.trim().to_owned()).filter(|t| !t.is_empty());
        all.push(Requirement {
            id: id.to_owned(),
            text: row.text.trim().to_owned(),
            method: some(&row.method),
            hazard: some(&row.hazard),
        });
    }
    Ok((all, without_id))
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn read(text: &str) -> Result<(Vec<Requirement>, usize), String> {
        read_with(text, &Names::default())
    }

    pub(super) fn read_with(
        text: &str,
        names: &Names,
    ) -> Result<(Vec<Requirement>, usize), String> {
        let told = |w: Wrong| format!("{:?}: {}", w.line, w.what);
        of_rows(rows(text.as_bytes(), names).map_err(told)?).map_err(told)
    }

    #[test]
    fn an_id_that_comes_twice_is_refused_with_both_places() {
        let error = read("id,text\nA,one\nB,two\nA,three\n").unwrap_err();
        assert!(
            error.contains("\"A\" is given twice") && error.contains("line 2"),
            "{error}"
        );
        assert!(error.starts_with("Some(4)"), "{error}");
    }

    #[test]
    fn what_is_packed_or_no_text_says_so() {
        let told = |bytes: &[u8]| rows(bytes, &Names::default()).unwrap_err().what;
        assert!(told(b"PK\x03\x04rest").contains("unpack"));
        assert!(told(b"id,text\nA,\xff\n").contains("UTF-8"));
    }

    #[test]
    fn a_field_without_end_is_refused() {
        let error = read(&format!("id,text\nA,{}\n", "x".repeat(FIELD_CHARS + 1))).unwrap_err();
        assert!(error.contains("20001 characters"), "{error}");
    }
}
