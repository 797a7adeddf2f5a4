//! Requirements as a table: a header, then a requirement a row.

use super::{Field, MOST, Names, Row, Wrong};

/// The rows of a table. What parts the columns is the one of comma, semicolon and tab that the header has most of.
pub(super) fn rows(text: &str, names: &Names) -> Result<Vec<Row>, Wrong> {
    let head = text.lines().next().unwrap_or_default();
    let count = |c: u8| head.bytes().filter(|b| *b == c).count();
    let delimiter = *[b',', b';', b'\t']
        .iter()
        .rev()
        .max_by_key(|c| count(**c))
        .expect("there are three");
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let wrong = |e: csv::Error| Wrong {
        line: e.position().map(csv::Position::line),
        what: format!("not a row like the header: {e}"),
    };
    let header: Vec<String> = reader
        .headers()
        .map_err(wrong)?
        .iter()
        .map(str::to_owned)
        .collect();
    let places = names.places(&header, "column").map_err(|what| Wrong {
        line: Some(1),
        what,
    })?;
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(wrong)?;
        let of = |field: Field| {
            let place = places.get(&field);
            let cell = place.and_then(|k| record.get(*k));
            cell.unwrap_or_default().to_owned()
        };
        let line = record.position().map_or(0, csv::Position::line);
        if rows.len() > 2 * MOST {
            return Err(Wrong {
                line: Some(line),
                what: format!("more than {} rows; split the file", 2 * MOST),
            });
        }
        rows.push(Row {
            line,
            id: of(Field::Id),
            text: of(Field::Text),
            method: of(Field::Method),
            hazard: of(Field::Hazard),
        });
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use crate::requirements::Names;
    use crate::requirements::tests::{read, read_with};

    #[test]
    fn columns_are_known_by_name_whatever_parts_them() {
        for (d, note) in [(',', "a note"), (';', "a note"), ('\t', "a, note")] {
            let text = format!(
                "\u{feff}Hazard{d}ID{d}Text\r\nmajor{d}R-1{d}\"says {d} \"\"so\"\"\"\r\n{d}{d}{note}\r\n"
            );
            let (all, without_id) = read(&text).unwrap();
            assert_eq!((all.len(), without_id), (1, 1), "{text}");
            assert_eq!(all[0].id, "R-1");
            assert_eq!(all[0].text, format!("says {d} \"so\""));
            assert_eq!(
                (all[0].method.as_deref(), all[0].hazard.as_deref()),
                (None, Some("major"))
            );
        }
    }

    #[test]
    fn other_names_are_given_and_names_that_are_not_there_are_told() {
        let text = "Object,Shall,Proof\nR-1,be right,test\n";
        let error = read(text).unwrap_err();
        assert!(
            error.contains("for the id") && error.contains("Object, Shall, Proof"),
            "{error}"
        );
        let names = Names {
            id: Some("object".into()),
            text: Some("Shall".into()),
            method: Some("Proof".into()),
            hazard: None,
        };
        let (all, _) = read_with(text, &names).unwrap();
        assert_eq!(all[0].method.as_deref(), Some("test"));
        let wrong = Names {
            hazard: Some("Severity".into()),
            ..names
        };
        assert!(read_with(text, &wrong).unwrap_err().contains("Severity"));
    }

    #[test]
    fn a_row_with_a_cell_too_many_has_its_line() {
        let error = read("id,text\nA,one\nB,two,three\n").unwrap_err();
        assert!(error.starts_with("Some(3)"), "{error}");
    }
}
