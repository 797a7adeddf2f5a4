//! `times.csv`: when each file of a folder was shown.
//!
//! A header `file,time_s`, then a row a file. Columns may come in any order, others are
//! ignored. Times are seconds and rise strictly from row to row.

use std::io::Read;

use super::error::Error;

/// One row of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct TimedFile {
    /// Name of the file in the folder.
    pub file: String,
    /// When it is shown, s.
    pub time_s: f64,
    /// Line in the table, from 1.
    pub line: u64,
}

/// Reads a table of times; `name` is what errors call it.
///
/// # Errors
/// [`Error::Table`] with the line, for everything that is wrong with it.
pub fn read_times(mut reader: impl Read, name: &str) -> Result<Vec<TimedFile>, Error> {
    let fail = |line: u64, problem: String| Error::Table {
        name: name.to_owned(),
        line,
        problem,
    };
    let mut text = Vec::new();
    reader
        .read_to_end(&mut text)
        .map_err(|source| Error::Open {
            name: name.to_owned(),
            source,
        })?;
    let mut lines = LineCounter {
        text: &text,
        at: 0,
        line: 1,
    };
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(&text[..]);
    let mut columns = None;
    let mut rows: Vec<TimedFile> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| {
            let line = lines.line_of(e.position());
            fail(
                line,
                format!(
                    "cannot be read as comma separated text: {}",
                    without_place(&e)
                ),
            )
        })?;
        let line = lines.line_of(record.position());
        let Some((file_at, time_at)) = columns else {
            columns = Some(find_columns(&record).map_err(|problem| fail(line, problem))?);
            continue;
        };
        rows.push(
            read_row(&record, line, (file_at, time_at), rows.last())
                .map_err(|problem| fail(line, problem))?,
        );
    }
    match columns {
        None => Err(fail(
            1,
            "the table is empty; expected the header \"file,time_s\"".to_owned(),
        )),
        Some(_) if rows.is_empty() => Err(fail(2, "the table has a header and no rows".to_owned())),
        Some(_) => Ok(rows),
    }
}

/// Tells the line of a record. The reader's own count stands at the empty lines before it.
struct LineCounter<'a> {
    text: &'a [u8],
    at: usize,
    line: u64,
}

impl LineCounter<'_> {
    /// Positions must not go back.
    fn line_of(&mut self, position: Option<&csv::Position>) -> u64 {
        let begin = position.map_or(self.at, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX));
        let is_end = |b: &u8| matches!(b, b'\n' | b'\r');
        while let Some(byte) = self
            .text
            .get(self.at)
            .filter(|b| self.at < begin || is_end(b))
        {
            self.line += u64::from(*byte == b'\n');
            self.at += 1;
        }
        self.line
    }
}

fn without_place(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Utf8 { .. } => "it is not UTF-8".to_owned(),
        _ => error.to_string(),
    }
}

fn find_columns(header: &csv::StringRecord) -> Result<(usize, usize), String> {
    let place = |column: &str| {
        let mut found = header
            .iter()
            .enumerate()
            .filter(|(_, field)| field.trim_start_matches('\u{feff}') == column);
        let first = found.next().map(|(k, _)| k);
        match (first, found.next()) {
            (Some(k), None) => Ok(k),
            (Some(_), Some(_)) => Err(format!("the header names column {column:?} twice")),
            (None, _) => {
                let fields: Vec<&str> = header.iter().take(8).collect();
                Err(format!(
                    "the header {:?} has no column {column:?}; expected \"file,time_s\"",
                    fields.join(",")
                ))
            }
        }
    };
    Ok((place("file")?, place("time_s")?))
}

fn read_row(
    record: &csv::StringRecord,
    line: u64,
    (file_at, time_at): (usize, usize),
    before: Option<&TimedFile>,
) -> Result<TimedFile, String> {
    let field = |at: usize, column: &str| match record.get(at) {
        None => Err(format!(
            "the row has {} fields and none for column {column:?}",
            record.len()
        )),
        Some("") => Err(format!("column {column:?} is empty")),
        Some(words) => Ok(words),
    };
    let file = field(file_at, "file")?;
    let words = field(time_at, "time_s")?;
    let time_s: f64 = words.parse().map_err(|_| {
        let hint = if words.contains(',') {
            " (decimal comma?)"
        } else {
            ""
        };
        format!("column \"time_s\": {words:?} is not a number of seconds{hint}")
    })?;
    if !time_s.is_finite() {
        return Err(format!("column \"time_s\": {words:?} is not finite"));
    }
    match before {
        Some(before) if time_s <= before.time_s => Err(format!(
            "{file:?} is shown at {time_s} s, but line {} is already at {} s; times must rise from row to row",
            before.line, before.time_s
        )),
        _ => Ok(TimedFile {
            file: file.to_owned(),
            time_s,
            line,
        }),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn problem(text: &str) -> (u64, String) {
        match read_times(text.as_bytes(), "times.csv") {
            Err(Error::Table { line, problem, .. }) => (line, problem),
            other => panic!("{text:?} gave {other:?}"),
        }
    }

    #[test]
    fn rows_come_in_their_order_with_their_lines() {
        let text = "\u{feff}time_s, file, remark\n-0.5, a.png, x\n\n1e-1, b.png\n";
        let rows = read_times(text.as_bytes(), "times.csv").unwrap();
        let row = |file: &str, time_s, line| TimedFile {
            file: file.to_owned(),
            time_s,
            line,
        };
        assert_eq!(rows, [row("a.png", -0.5, 2), row("b.png", 0.1, 4)]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        for (text, line, words) in [
            ("", 1, "the table is empty"),
            ("file,time_s\n", 2, "no rows"),
            ("name,time_s\na,1\n", 1, "no column \"file\""),
            ("file,time\na,1\n", 1, "no column \"time_s\""),
            ("file,file,time_s\na,1\n", 1, "names column \"file\" twice"),
            (
                "file,time_s\na.png,0\nb.png\n",
                3,
                "none for column \"time_s\"",
            ),
            ("file,time_s\n,0\n", 2, "column \"file\" is empty"),
            ("file,time_s\na.png,\n", 2, "column \"time_s\" is empty"),
            ("file,time_s\na.png,one\n", 2, "\"one\" is not a number"),
            ("file,time_s\na.png,\"1,5\"\n", 2, "(decimal comma?)"),
            ("file,time_s\na.png,inf\n", 2, "not finite"),
            ("file,time_s\na.png,NaN\n", 2, "not finite"),
            (
                "file,time_s\na.png,1\nb.png,1\n",
                3,
                "line 2 is already at 1 s",
            ),
            ("file,time_s\na.png,1\nb.png,0.5\n", 3, "times must rise"),
        ] {
            let (found_line, found) = problem(text);
            assert_eq!(found_line, line, "{text:?}: {found}");
            assert!(found.contains(words), "{text:?}: {found}");
        }
        let error = read_times(&b"file,time_s\n\xff.png,1\n"[..], "times.csv").unwrap_err();
        assert_eq!(
            error.to_string(),
            "times.csv:2: cannot be read as comma separated text: it is not UTF-8"
        );
    }

    proptest! {
        #[test]
        fn any_bytes_give_rows_or_an_error(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = read_times(&bytes[..], "times.csv");
        }

        #[test]
        fn near_misses_give_rising_times_or_an_error(text in "file,time_s\n([a-c]?[,\n\".0-9eE+-]){0,40}") {
            if let Ok(rows) = read_times(text.as_bytes(), "times.csv") {
                prop_assert!(rows.windows(2).all(|w| w[0].time_s < w[1].time_s));
            }
        }

        #[test]
        fn a_written_table_reads_back(times in proptest::collection::btree_set(-1_000_000_i32..1_000_000, 1..40)) {
            let mut text = "file,time_s\n".to_owned();
            for (k, t) in times.iter().enumerate() {
                text.push_str(&format!("frame_{k:06}.png,{}\n", f64::from(*t) / 1000.0));
            }
            let rows = read_times(text.as_bytes(), "times.csv").unwrap();
            prop_assert!(rows.iter().map(|r| r.time_s).eq(times.iter().map(|t| f64::from(*t) / 1000.0)));
        }
    }
}
