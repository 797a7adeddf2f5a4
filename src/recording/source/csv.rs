//! CSV: a header with names, then lines of fields.
//!
//! Lines are taken one by one and not by the CSV reader, which counts lines wrongly after
//! CRLF, swallows the rest of the file after an unclosed quote mark and has no limit on the
//! length of a line. It is used for lines that hold quote marks.

use std::io::BufRead;
use std::ops::Range;

use super::lines::Lines;
use super::{Cell, Source};
use crate::definition::recording_form::{Delimiter, RecordingForm};
use crate::recording::error::{Error, Kind, Place};

/// A CSV file.
pub(super) struct Csv<'r, R> {
    lines: Lines<'r, R>,
    form: &'r RecordingForm,
    header: Vec<String>,
    names_at: Place,
    fields: Fields,
}

impl<'r, R: BufRead> Csv<'r, R> {
    /// Reads up to the header, and over a row of units.
    pub(super) fn open(reader: R, origin: &'r str, form: &'r RecordingForm) -> Result<Self, Error> {
        let mut lines = Lines::new(reader, origin);
        for _ in 0..form.skip_rows.unwrap_or(0) {
            lines.advance()?;
        }
        let mut csv = Self {
            names_at: lines.place(),
            lines,
            form,
            header: Vec::new(),
            fields: Fields::new(form.delimiter()),
        };
        if !csv.next_line()? {
            return Err(Error::of_file(origin, Kind::Empty));
        }
        csv.names_at = csv.lines.place();
        csv.split()?;
        csv.read_header()?;
        if form.unit_row == Some(true) && csv.next_line()? {
            csv.split()?;
            csv.check_count()?;
        }
        Ok(csv)
    }

    /// The next line that is neither blank nor a comment.
    fn next_line(&mut self) -> Result<bool, Error> {
        loop {
            if !self.lines.next()? {
                return Ok(false);
            }
            let begins = |c: &String| self.lines.text().trim_start().starts_with(c.trim());
            if !self.form.comment.as_ref().is_some_and(begins) {
                return Ok(true);
            }
        }
    }

    fn split(&mut self) -> Result<(), Error> {
        if self.fields.split(self.lines.text()) {
            Ok(())
        } else {
            Err(self.lines.wrong(Kind::OpenQuote))
        }
    }

    fn check_count(&self) -> Result<(), Error> {
        let (found, expected) = (self.fields.len(), self.header.len());
        if found == expected {
            return Ok(());
        }
        Err(self.lines.wrong(Kind::FieldCount { found, expected }))
    }

    /// Takes the names out of the line that was split.
    fn read_header(&mut self) -> Result<(), Error> {
        let line = self.lines.text();
        let names: Vec<String> = (0..self.fields.len())
            .map(|k| self.fields.get(line, k).to_owned())
            .collect();
        let time = self.form.time_column();
        if !names.iter().any(|name| name == time) {
            for other in [',', ';', '\t', '|']
                .into_iter()
                .filter(|c| *c != self.fields.delimiter)
            {
                let has_time = line
                    .split(other)
                    .any(|name| name.trim().trim_matches('"') == time);
                if let Some((_, called)) = Delimiter::called(other)
                    && line.contains(other)
                    && (has_time || names.len() == 1)
                {
                    let expected = self.fields.delimiter;
                    return Err(self.lines.wrong(Kind::Separator {
                        found: other,
                        called,
                        expected,
                    }));
                }
            }
        }
        let mut named = names.iter().filter(|name| !name.is_empty());
        if named.all(|name| name.replace(',', ".").parse::<f64>().is_ok()) {
            return Err(self.lines.wrong(Kind::NoHeader {
                found: line.to_owned(),
            }));
        }
        // Spreadsheets and data-frame tools write unnamed columns; nothing binds to them.
        let mut seen = std::collections::BTreeMap::new();
        for (k, name) in names
            .iter()
            .enumerate()
            .filter(|(_, name)| !name.is_empty())
        {
            if let Some(first) = seen.insert(name, k) {
                let kind = Kind::DuplicateColumn {
                    first: first + 1,
                    second: k + 1,
                };
                return Err(self.lines.wrong(kind).in_column(name));
            }
        }
        self.header = names;
        Ok(())
    }
}

impl<R: BufRead> Source for Csv<'_, R> {
    fn columns(&self) -> &[String] {
        &self.header
    }

    fn names_at(&self) -> Place {
        self.names_at
    }

    /// Splitting a line costs the same whatever is asked for.
    fn want(&mut self, _: &[usize]) {}

    fn next(&mut self) -> Result<bool, Error> {
        if !self.next_line()? {
            return Ok(false);
        }
        self.split()?;
        self.check_count()?;
        Ok(true)
    }

    fn place(&self) -> Place {
        self.lines.place()
    }

    fn cell(&self, column: usize) -> Cell<'_> {
        match self.fields.get(self.lines.text(), column) {
            "" => Cell::Empty,
            text => Cell::Text(text),
        }
    }
}

/// The fields of one line, trimmed.
struct Fields {
    delimiter: char,
    /// Fields of a line with quote marks, unquoted, one after the other.
    unquoted: String,
    is_unquoted: bool,
    ranges: Vec<Range<usize>>,
}

impl Fields {
    const fn new(delimiter: char) -> Self {
        Self {
            delimiter,
            unquoted: String::new(),
            is_unquoted: false,
            ranges: Vec::new(),
        }
    }

    /// Splits a line; false when a quote mark is not closed.
    fn split(&mut self, line: &str) -> bool {
        self.ranges.clear();
        self.is_unquoted = line.contains('"');
        if !self.is_unquoted {
            let mut begin = 0;
            for field in line.split(self.delimiter) {
                self.ranges.push(begin..begin + field.len());
                begin += field.len() + self.delimiter.len_utf8();
            }
            return true;
        }
        if !line
            .bytes()
            .filter(|b| *b == b'"')
            .count()
            .is_multiple_of(2)
        {
            return false;
        }
        self.unquoted.clear();
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            // All delimiters are ASCII.
            .delimiter(self.delimiter as u8)
            .buffer_capacity(line.len() + 1)
            .from_reader(line.as_bytes());
        let mut record = csv::StringRecord::new();
        // The line is UTF-8 in memory and has no line ends, so this reads one record.
        if !reader.read_record(&mut record).unwrap_or(false) {
            return false;
        }
        for field in &record {
            let begin = self.unquoted.len();
            self.unquoted.push_str(field);
            self.ranges.push(begin..self.unquoted.len());
        }
        true
    }

    const fn len(&self) -> usize {
        self.ranges.len()
    }

    /// Field `k` of the line that was split.
    fn get<'a>(&'a self, line: &'a str, k: usize) -> &'a str {
        let text = if self.is_unquoted {
            &self.unquoted
        } else {
            line
        };
        text[self.ranges[k].clone()].trim()
    }
}
