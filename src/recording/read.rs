//! Reading CSV: lines, fields, cells.
//!
//! Lines are taken one by one and not by the CSV reader, which counts lines wrongly after
//! CRLF, swallows the rest of the file after an unclosed quote mark and has no limit on the
//! length of a line. It is used for lines that hold quote marks.

use std::collections::BTreeSet;
use std::io::{BufRead, Read};
use std::ops::Range;
use std::sync::Arc;

use super::error::{Error, Kind, MissingColumn};
use super::sampled::Sampled;
use super::table::{MissingColumns, Source};
use crate::definition::Definition;

/// Name of the time column.
pub(super) const TIME_COLUMN: &str = "t_s";

/// Longest line, bytes: room for tens of thousands of columns.
pub(super) const MAX_LINE_BYTES: usize = 1 << 20;

/// Largest magnitude of a time, s. Covers clocks that count from 1970; beyond it (as in
/// microseconds from 1970) the steps of a double are too coarse to tell frames apart.
pub(super) const TIME_LIMIT_S: f64 = 1e11;

/// What a file holds for a definition.
pub(super) struct Columns {
    pub(super) times_s: Vec<f64>,
    pub(super) channels: Vec<Source>,
    pub(super) missing: Vec<String>,
    pub(super) missing_validity: Vec<String>,
}

/// Where a channel stands in the file, and what was read of it so far.
struct Binding {
    column: usize,
    validity: Option<usize>,
    /// The newest validity word.
    is_valid: bool,
    sampled: Sampled,
}

/// Lines of a file with their numbers.
struct Lines<'o, R> {
    reader: R,
    origin: &'o str,
    bytes: Vec<u8>,
    number: usize,
}

impl<R: BufRead> Lines<'_, R> {
    /// The next line that is not blank, without its end, or `None` at the end of the file.
    fn next(&mut self) -> Result<Option<&str>, Error> {
        loop {
            self.bytes.clear();
            self.number += 1;
            let limit = MAX_LINE_BYTES as u64 + 2;
            let taken = self
                .reader
                .by_ref()
                .take(limit)
                .read_until(b'\n', &mut self.bytes);
            let taken =
                taken.map_err(|e| Error::of_line(self.origin, self.number, Kind::Read(e)))?;
            if taken == 0 {
                return Ok(None);
            }
            if self.number == 1 {
                self.drop_byte_order_mark()?;
            }
            while matches!(self.bytes.last(), Some(b'\n' | b'\r')) {
                self.bytes.pop();
            }
            if self.bytes.len() > MAX_LINE_BYTES {
                return Err(Error::of_line(self.origin, self.number, Kind::LongLine));
            }
            if !self.bytes.iter().all(u8::is_ascii_whitespace) {
                break;
            }
        }
        let text = std::str::from_utf8(&self.bytes).map_err(|_| {
            Error::of_line(self.origin, self.number, Kind::NotUtf8 { is_utf16: false })
        })?;
        if text.contains('\r') {
            return Err(Error::of_line(
                self.origin,
                self.number,
                Kind::LoneCarriageReturn,
            ));
        }
        Ok(Some(text))
    }

    fn drop_byte_order_mark(&mut self) -> Result<(), Error> {
        if self.bytes.starts_with(&[0xff, 0xfe]) || self.bytes.starts_with(&[0xfe, 0xff]) {
            return Err(Error::of_line(
                self.origin,
                1,
                Kind::NotUtf8 { is_utf16: true },
            ));
        }
        if self.bytes.starts_with(&[0xef, 0xbb, 0xbf]) {
            self.bytes.drain(..3);
        }
        Ok(())
    }
}

/// The fields of one line, trimmed.
#[derive(Default)]
struct Fields {
    /// Fields of a line with quote marks, unquoted, one after the other.
    unquoted: String,
    is_unquoted: bool,
    ranges: Vec<Range<usize>>,
}

impl Fields {
    /// Splits a line; false when a quote mark is not closed.
    fn split(&mut self, line: &str) -> bool {
        self.ranges.clear();
        self.is_unquoted = line.contains('"');
        if !self.is_unquoted {
            let mut begin = 0;
            for field in line.split(',') {
                self.ranges.push(begin..begin + field.len());
                begin += field.len() + 1;
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

/// Reads a whole file for a definition.
pub(super) fn read(
    reader: impl BufRead,
    origin: &str,
    definition: &Definition,
    missing: MissingColumns,
) -> Result<Columns, Error> {
    let mut lines = Lines {
        reader,
        origin,
        bytes: Vec::new(),
        number: 0,
    };
    let header = read_header(&mut lines)?;
    let header_line = lines.number;
    let time_column = find_time(&header, origin, header_line)?;
    let Bound {
        mut bindings,
        by_channel,
        missing,
        missing_validity,
    } = bind(&header, definition, missing, origin, header_line)?;

    let mut times_s: Vec<f64> = Vec::new();
    let mut words = BTreeSet::new();
    let mut fields = Fields::default();
    let mut line_before = header_line;
    loop {
        if lines.next()?.is_none() {
            break;
        }
        let number = lines.number;
        // Checked as UTF-8 by `next`; borrowed again here so that the number can be read.
        let line = std::str::from_utf8(&lines.bytes).unwrap_or_default();
        if !fields.split(line) {
            return Err(Error::of_line(origin, number, Kind::OpenQuote));
        }
        if fields.len() != header.len() {
            let kind = Kind::FieldCount {
                found: fields.len(),
                expected: header.len(),
            };
            return Err(Error::of_line(origin, number, kind));
        }
        let row = times_s.len();
        let time_s = parse_time(
            fields.get(line, time_column),
            times_s.last().copied(),
            line_before,
        )
        .map_err(|kind| Error::of_cell(origin, number, TIME_COLUMN, kind))?;
        times_s.push(time_s);
        line_before = number;
        for binding in &mut bindings {
            binding
                .take(row, &fields, line, &mut words)
                .map_err(|(column, kind)| Error::of_cell(origin, number, &header[column], kind))?;
        }
    }
    if times_s.is_empty() {
        return Err(Error::of_file(origin, Kind::NoRows));
    }
    let mut sampled = bindings.into_iter().map(|mut binding| {
        binding.sampled.finish(times_s.len());
        binding.sampled
    });
    // Bindings were made in the order of the channels.
    let channels = by_channel
        .into_iter()
        .map(|from| match from {
            From::Nowhere => Source::Missing,
            From::Column => sampled.next().map_or(Source::Missing, Source::Column),
            From::Expression => Source::Derived,
        })
        .collect();
    Ok(Columns {
        times_s,
        channels,
        missing,
        missing_validity,
    })
}

/// Column names of the first line.
fn read_header(lines: &mut Lines<'_, impl BufRead>) -> Result<Vec<String>, Error> {
    let origin = lines.origin;
    let Some(line) = lines.next()?.map(str::to_owned) else {
        return Err(Error::of_file(origin, Kind::Empty));
    };
    let number = lines.number;
    let mut fields = Fields::default();
    if !fields.split(&line) {
        return Err(Error::of_line(origin, number, Kind::OpenQuote));
    }
    let names: Vec<String> = (0..fields.len())
        .map(|k| fields.get(&line, k).to_owned())
        .collect();
    if !names.iter().any(|name| name == TIME_COLUMN) {
        for separator in [';', '\t', '|'] {
            let has_time = line
                .split(separator)
                .any(|name| name.trim().trim_matches('"') == TIME_COLUMN);
            if line.contains(separator) && (has_time || names.len() == 1) {
                return Err(Error::of_line(origin, number, Kind::Separator(separator)));
            }
        }
    }
    let is_number = |name: &&String| name.parse::<f64>().is_ok();
    if names
        .iter()
        .filter(|name| !name.is_empty())
        .all(|name| is_number(&name))
    {
        return Err(Error::of_line(
            origin,
            number,
            Kind::NoHeader { found: line },
        ));
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
            return Err(Error::of_cell(origin, number, name, kind));
        }
    }
    Ok(names)
}

fn find_time(header: &[String], origin: &str, line: usize) -> Result<usize, Error> {
    header
        .iter()
        .position(|name| name == TIME_COLUMN)
        .ok_or_else(|| {
            const USUAL: [&str; 8] = [
                "t",
                "time",
                "time_s",
                "t_sec",
                "seconds",
                "timestamp",
                "t_ms",
                "time_ms",
            ];
            let usual = |name: &&String| USUAL.contains(&name.to_lowercase().as_str());
            let nearest = header
                .iter()
                .find(usual)
                .cloned()
                .or_else(|| nearest_name(TIME_COLUMN, header));
            Error::of_line(origin, line, Kind::NoTimeColumn { nearest })
        })
}

/// The name that is most like `wanted`, when any is.
fn nearest_name(wanted: &str, names: &[String]) -> Option<String> {
    const LIKE: f64 = 0.5;
    let wanted = wanted.to_lowercase();
    let mut best: Option<(f64, &String)> = None;
    for name in names
        .iter()
        .filter(|name| !name.is_empty() && *name != TIME_COLUMN && name.len() <= 200)
    {
        let likeness = strsim::normalized_damerau_levenshtein(&wanted, &name.to_lowercase());
        if likeness >= LIKE && best.is_none_or(|(b, _)| likeness > b) {
            best = Some((likeness, name));
        }
    }
    best.map(|(_, name)| name.clone())
}

/// Where a channel's values come from.
enum From {
    /// Its column is not in the file.
    Nowhere,
    /// The next binding.
    Column,
    /// It is worked out.
    Expression,
}

struct Bound {
    bindings: Vec<Binding>,
    by_channel: Vec<From>,
    missing: Vec<String>,
    missing_validity: Vec<String>,
}

/// Finds the columns of all channels.
fn bind(
    header: &[String],
    definition: &Definition,
    missing: MissingColumns,
    origin: &str,
    line: usize,
) -> Result<Bound, Error> {
    let position = |column: &String| {
        header
            .iter()
            .position(|name| !name.is_empty() && name == column.trim())
    };
    let mut bound = Bound {
        bindings: Vec::new(),
        by_channel: Vec::new(),
        missing: Vec::new(),
        missing_validity: Vec::new(),
    };
    let mut lacking = Vec::new();
    let mut note = |column: &String, channel: &String, is_validity| {
        let nearest = nearest_name(column, header);
        lacking.push(MissingColumn {
            column: column.clone(),
            channel: channel.clone(),
            is_validity,
            nearest,
        });
    };
    for (name, channel) in definition.channels() {
        let Some(wanted) = &channel.column else {
            bound.by_channel.push(From::Expression);
            continue;
        };
        let validity = channel
            .validity_column
            .as_ref()
            .map(|column| (column, position(column)));
        let column = position(wanted);
        if column.is_none() {
            note(wanted, name, false);
            bound.missing.push(name.clone());
        }
        if let Some((wanted, None)) = validity {
            note(wanted, name, true);
            if column.is_some() {
                bound.missing_validity.push(name.clone());
            }
        }
        let Some(column) = column else {
            bound.by_channel.push(From::Nowhere);
            continue;
        };
        let validity = validity.and_then(|(_, found)| found);
        bound.bindings.push(Binding {
            column,
            validity,
            is_valid: validity.is_none(),
            sampled: Sampled::new(channel),
        });
        bound.by_channel.push(From::Column);
    }
    if missing == MissingColumns::Refuse && !lacking.is_empty() {
        return Err(Error::of_line(origin, line, Kind::MissingColumns(lacking)));
    }
    Ok(bound)
}

impl Binding {
    /// Takes this channel's cells of one row. On an error also gives the column it stands in.
    fn take(
        &mut self,
        row: usize,
        fields: &Fields,
        line: &str,
        words: &mut BTreeSet<Arc<str>>,
    ) -> Result<(), (usize, Kind)> {
        let mut says_invalid = false;
        if let Some(column) = self.validity {
            let cell = fields.get(line, column);
            if !cell.is_empty() {
                self.is_valid = parse_validity(cell).map_err(|kind| (column, kind))?;
                says_invalid = !self.is_valid;
            }
        }
        let cell = fields.get(line, self.column);
        if cell.is_empty() {
            // The source says that it failed and sends no value along.
            if says_invalid {
                self.sampled.push_unusable(row);
            }
            return Ok(());
        }
        if self.sampled.is_text() {
            if self.is_valid {
                self.sampled.push_words(row, shared(cell, words));
            } else {
                self.sampled.push_unusable(row);
            }
            return Ok(());
        }
        // A flagged value is read too: a word in its place is a broken file all the same.
        let value = parse_number(cell).map_err(|kind| (self.column, kind))?;
        if self.is_valid {
            self.sampled.push_number(row, value);
        } else {
            self.sampled.push_unusable(row);
        }
        Ok(())
    }
}

/// One copy of equal words.
fn shared(cell: &str, words: &mut BTreeSet<Arc<str>>) -> Arc<str> {
    if let Some(known) = words.get(cell) {
        return Arc::clone(known);
    }
    let new: Arc<str> = cell.into();
    words.insert(Arc::clone(&new));
    new
}

fn parse_validity(cell: &str) -> Result<bool, Kind> {
    let is = |words: [&str; 4]| words.iter().any(|word| cell.eq_ignore_ascii_case(word));
    if is(["1", "true", "yes", "valid"]) {
        Ok(true)
    } else if is(["0", "false", "no", "invalid"]) {
        Ok(false)
    } else {
        Err(Kind::Validity { found: cell.into() })
    }
}

fn parse_number(cell: &str) -> Result<f64, Kind> {
    match cell.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) if cell.bytes().any(|b| b.is_ascii_digit()) => {
            Err(Kind::Overflow { found: cell.into() })
        }
        Ok(_) => Err(Kind::NotFinite { found: cell.into() }),
        Err(_) => {
            let is_decimal_comma = cell.matches(',').count() == 1
                && cell
                    .replace(',', ".")
                    .parse::<f64>()
                    .is_ok_and(f64::is_finite);
            Err(Kind::NotANumber {
                found: cell.into(),
                is_decimal_comma,
            })
        }
    }
}

fn parse_time(cell: &str, before_s: Option<f64>, before_line: usize) -> Result<f64, Kind> {
    if cell.is_empty() {
        return Err(Kind::EmptyTime);
    }
    let time_s = parse_number(cell)?;
    if time_s.abs() > TIME_LIMIT_S {
        return Err(Kind::TimeTooLarge { found: time_s });
    }
    match before_s {
        Some(before_s) if time_s == before_s => Err(Kind::TimeRepeats { time_s }),
        Some(before_s) if time_s < before_s => Err(Kind::TimeFalls {
            time_s,
            before_s,
            before_line,
        }),
        _ => Ok(time_s),
    }
}
