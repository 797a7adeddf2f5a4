//! JSON Lines: an object a line, its members the cells.
//!
//! A line may leave members out, as loggers do that write what has changed, and the first line need not have all of them. So
//! the names are gathered in a first pass, and the rows read in a second one; that takes the whole file in memory.
//!
//! Numbers are kept as they are written and read like those of CSV, so that the same digits give the same value.

use std::collections::BTreeMap;
use std::fmt;
use std::io::Cursor;

use serde::Deserializer as _;
use serde::de::{MapAccess, Visitor};
use serde_json::value::RawValue;

use super::lines::Lines;
use super::{Cell, Source};
use crate::recording::error::{Error, Kind, Place};

/// Different names in a file; more are data in the place of names.
const MOST_COLUMNS: usize = 100_000;

/// A file of JSON Lines.
pub(super) struct JsonLines<'o> {
    lines: Lines<'o, Cursor<Vec<u8>>>,
    columns: Vec<String>,
    names_at: Place,
    by_name: BTreeMap<String, usize>,
    is_wanted: Vec<bool>,
    cells: Vec<Held>,
    /// Cells that the row before filled.
    filled: Vec<usize>,
}

/// A cell of the row.
#[derive(Clone, Debug)]
enum Held {
    Empty,
    Text(String),
    Truth(bool),
    Unusable(&'static str),
}

impl<'o> JsonLines<'o> {
    pub(super) fn open(bytes: Vec<u8>, origin: &'o str) -> Result<Self, Error> {
        let mut lines = Lines::new(bytes.as_slice(), origin);
        let (mut columns, mut by_name) = (Vec::new(), BTreeMap::new());
        let mut names_at = Place::Line(1);
        while lines.next()? {
            if columns.is_empty() {
                names_at = lines.place();
            }
            let mut names = |name: &str, _: &RawValue| {
                if !by_name.contains_key(name) {
                    by_name.insert(name.to_owned(), columns.len());
                    columns.push(name.to_owned());
                }
            };
            members(lines.text(), &mut names).map_err(|kind| lines.wrong(kind))?;
            if columns.len() > MOST_COLUMNS {
                return Err(lines.wrong(Kind::TooManyColumns { most: MOST_COLUMNS }));
            }
        }
        if matches!(lines.place(), Place::Line(1)) {
            return Err(Error::of_file(origin, Kind::Empty));
        }
        Ok(Self {
            lines: Lines::new(Cursor::new(bytes), origin),
            names_at,
            is_wanted: vec![false; columns.len()],
            cells: vec![Held::Empty; columns.len()],
            filled: Vec::new(),
            columns,
            by_name,
        })
    }
}

impl Source for JsonLines<'_> {
    fn columns(&self) -> &[String] {
        &self.columns
    }

    fn names_at(&self) -> Place {
        self.names_at
    }

    fn want(&mut self, columns: &[usize]) {
        for column in columns {
            self.is_wanted[*column] = true;
        }
    }

    fn next(&mut self) -> Result<bool, Error> {
        for column in self.filled.drain(..) {
            self.cells[column] = Held::Empty;
        }
        if !self.lines.next()? {
            return Ok(false);
        }
        let mut twice = None;
        let mut take = |name: &str, value: &RawValue| {
            let column = self.by_name.get(name).copied();
            let Some(column) = column.filter(|c| self.is_wanted[*c]) else {
                return;
            };
            if self.filled.contains(&column) {
                twice = Some(name.to_owned());
            }
            self.filled.push(column);
            self.cells[column] = held(value);
        };
        members(self.lines.text(), &mut take).map_err(|kind| self.lines.wrong(kind))?;
        match twice {
            Some(name) => Err(self.lines.wrong(Kind::MemberTwice).in_column(&name)),
            None => Ok(true),
        }
    }

    fn place(&self) -> Place {
        self.lines.place()
    }

    fn cell(&self, column: usize) -> Cell<'_> {
        match &self.cells[column] {
            Held::Empty => Cell::Empty,
            Held::Text(text) => Cell::Text(text),
            Held::Truth(is) => Cell::Truth(*is),
            Held::Unusable(what) => Cell::Unusable(what),
        }
    }
}

/// What a member's value is as a cell.
fn held(value: &RawValue) -> Held {
    match value.get().trim() {
        "null" => Held::Empty,
        "true" => Held::Truth(true),
        "false" => Held::Truth(false),
        text => match text.as_bytes().first() {
            Some(b'"') => {
                // It was read as a string before.
                let text: String = serde_json::from_str(text).unwrap_or_default();
                match text.trim() {
                    "" => Held::Empty,
                    words => Held::Text(words.to_owned()),
                }
            }
            Some(b'[') => Held::Unusable("a list"),
            Some(b'{') => Held::Unusable("an object"),
            _ => Held::Text(text.to_owned()),
        },
    }
}

type Each<'a> = &'a mut dyn FnMut(&str, &RawValue);

/// Calls `each` with the members of the object that a line is.
fn members(line: &str, each: Each) -> Result<(), Kind> {
    struct Members<'a>(Each<'a>);

    impl<'de> Visitor<'de> for Members<'_> {
        type Value = ();

        fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
            f.write_str("an object such as {\"t_s\": 0.02, \"airspeed_kt\": 61.5}")
        }

        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
            while let Some(name) = map.next_key::<String>()? {
                let value = map.next_value::<&RawValue>()?;
                (self.0)(&name, value);
            }
            Ok(())
        }
    }

    let not_json = |e: serde_json::Error| {
        // Its place is a line and a column of this line alone.
        let words = e.to_string();
        let words = words.split(" at line ").next().unwrap_or_default();
        Kind::NotJson {
            what: words.to_owned(),
            column: e.column(),
        }
    };
    let mut json = serde_json::Deserializer::from_str(line);
    json.deserialize_map(Members(each)).map_err(not_json)?;
    json.end().map_err(not_json)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(line: &str) -> Result<Vec<String>, Kind> {
        let mut names = Vec::new();
        members(line, &mut |name, value| {
            names.push(format!("{name}={}", value.get()))
        })?;
        Ok(names)
    }

    #[test]
    fn members_are_kept_as_they_are_written() {
        let line = r#"{"t_s": 0.10, "a\u0062": 1e-3, "list": [1, {"x": 2}], "no": null}"#;
        let wanted = ["t_s=0.10", "ab=1e-3", "list=[1, {\"x\": 2}]", "no=null"];
        assert_eq!(names(line).ok(), Some(wanted.map(str::to_owned).to_vec()));
        for bad in ["", "[1]", "{", "{} {}", "{\"a\": 01}", "{'a': 1}", "3"] {
            assert!(names(bad).is_err(), "{bad}");
        }
    }
}
