//! A typed table as a Parquet file (Apache Parquet format 2), row group after row group.

use std::io::{self, Write};
use std::sync::Arc;

use parquet::basic::{Compression, Encoding, GzipLevel, LogicalType, Repetition, Type as Physical};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// UTF-8 text.
    Text,
    /// Whole numbers of 64 bits.
    Whole,
    /// Numbers of 64 bits.
    Number,
    /// True or false.
    Flag,
}

/// A column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name, with the unit where it has a fixed one.
    pub name: &'static str,
    /// What it holds.
    pub holds: Holds,
    /// Whether a row may have nothing there.
    pub is_optional: bool,
}

impl Column {
    /// A column in which every row has something.
    #[must_use]
    pub const fn of(name: &'static str, holds: Holds) -> Self {
        Self {
            name,
            holds,
            is_optional: false,
        }
    }

    /// A column in which a row may have nothing.
    #[must_use]
    pub const fn maybe(name: &'static str, holds: Holds) -> Self {
        Self {
            name,
            holds,
            is_optional: true,
        }
    }
}

/// What stands in a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Of a column of text.
    Text(&'a str),
    /// Of a column of whole numbers.
    Whole(i64),
    /// Of a column of numbers.
    Number(f64),
    /// Of a column of flags.
    Flag(bool),
    /// Of an optional column.
    Nothing,
}

impl<'a> Cell<'a> {
    /// A number, where there is one.
    #[must_use]
    pub fn number(value: Option<f64>) -> Self {
        value.map_or(Self::Nothing, Self::Number)
    }

    /// A text, where there is one.
    #[must_use]
    pub fn text(value: Option<&'a str>) -> Self {
        value.map_or(Self::Nothing, Self::Text)
    }
}

enum Values {
    Text(Vec<ByteArray>),
    Whole(Vec<i64>),
    Number(Vec<f64>),
    Flag(Vec<bool>),
}

struct Held {
    values: Values,
    /// By row, 1 where there is something; empty where there always is.
    levels: Vec<i16>,
    is_optional: bool,
}

/// Rows that wait in memory until they are written.
const GROUP_ROWS: usize = 1 << 16;

/// Writes a table.
pub struct Table<W: Write + Send> {
    file: SerializedFileWriter<W>,
    columns: Vec<Held>,
    rows: usize,
}

fn failed(e: ParquetError) -> io::Error {
    match e {
        ParquetError::External(e) => match e.downcast::<io::Error>() {
            Ok(e) => *e,
            Err(e) => io::Error::other(e),
        },
        e => io::Error::other(e),
    }
}

impl<W: Write + Send> Table<W> {
    /// Begins a table; `about` is kept with it, as names and values.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(to: W, columns: &[Column], about: &[(&str, &str)]) -> io::Result<Self> {
        let field = |c: &Column| {
            let (physical, logical) = match c.holds {
                Holds::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
                Holds::Whole => (Physical::INT64, None),
                Holds::Number => (Physical::DOUBLE, None),
                Holds::Flag => (Physical::BOOLEAN, None),
            };
            let repetition = if c.is_optional {
                Repetition::OPTIONAL
            } else {
                Repetition::REQUIRED
            };
            Type::primitive_type_builder(c.name, physical)
                .with_logical_type(logical)
                .with_repetition(repetition)
                .build()
                .map(Arc::new)
        };
        let fields = columns.iter().map(field).collect::<Result<_, _>>();
        let schema = Type::group_type_builder("table")
            .with_fields(fields.map_err(failed)?)
            .build()
            .map_err(failed)?;
        let about = about
            .iter()
            .map(|(key, value)| KeyValue::new((*key).to_owned(), (*value).to_owned()));
        let mut properties = WriterProperties::builder()
            .set_created_by(format!("framevouch {}", env!("CARGO_PKG_VERSION")))
            .set_compression(Compression::GZIP(GzipLevel::default()))
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_key_value_metadata(Some(about.collect()));
        for c in columns.iter().filter(|c| c.holds == Holds::Number) {
            // Bytes of one weight stand together, and pack better.
            let path = ColumnPath::from(c.name);
            properties = properties
                .set_column_dictionary_enabled(path.clone(), false)
                .set_column_encoding(path, Encoding::BYTE_STREAM_SPLIT);
        }
        let held = columns.iter().map(|c| Held {
            values: match c.holds {
                Holds::Text => Values::Text(Vec::new()),
                Holds::Whole => Values::Whole(Vec::new()),
                Holds::Number => Values::Number(Vec::new()),
                Holds::Flag => Values::Flag(Vec::new()),
            },
            levels: Vec::new(),
            is_optional: c.is_optional,
        });
        Ok(Self {
            file: SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties.build()))
                .map_err(failed)?,
            columns: held.collect(),
            rows: 0,
        })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// When it cannot be written, or does not fit the columns.
    pub fn row(&mut self, cells: &[Cell]) -> io::Result<()> {
        let misfit = || io::Error::other("a row does not fit its table");
        if cells.len() != self.columns.len() {
            return Err(misfit());
        }
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            let is_there = *cell != Cell::Nothing;
            if column.is_optional {
                column.levels.push(i16::from(is_there));
            }
            match (&mut column.values, cell) {
                (Values::Text(list), Cell::Text(v)) => list.push(ByteArray::from(*v)),
                (Values::Whole(list), Cell::Whole(v)) => list.push(*v),
                (Values::Number(list), Cell::Number(v)) => list.push(*v),
                (Values::Flag(list), Cell::Flag(v)) => list.push(*v),
                (_, Cell::Nothing) if column.is_optional => (),
                _ => return Err(misfit()),
            }
        }
        self.rows += 1;
        if self.rows == GROUP_ROWS {
            self.flush()?;
        }
        Ok(())
    }

    fn flush(&mut self) -> io::Result<()> {
        let mut group = self.file.next_row_group().map_err(failed)?;
        for column in &mut self.columns {
            let levels = column.is_optional.then_some(column.levels.as_slice());
            let mut writer = group
                .next_column()
                .map_err(failed)?
                .ok_or_else(|| io::Error::other("a table has more columns than its file"))?;
            match (writer.untyped(), &mut column.values) {
                (ColumnWriter::ByteArrayColumnWriter(w), Values::Text(list)) => {
                    w.write_batch(list, levels, None).map_err(failed)?;
                    list.clear();
                }
                (ColumnWriter::Int64ColumnWriter(w), Values::Whole(list)) => {
                    w.write_batch(list, levels, None).map_err(failed)?;
                    list.clear();
                }
                (ColumnWriter::DoubleColumnWriter(w), Values::Number(list)) => {
                    w.write_batch(list, levels, None).map_err(failed)?;
                    list.clear();
                }
                (ColumnWriter::BoolColumnWriter(w), Values::Flag(list)) => {
                    w.write_batch(list, levels, None).map_err(failed)?;
                    list.clear();
                }
                _ => return Err(io::Error::other("a column is of another type in its file")),
            }
            column.levels.clear();
            writer.close().map_err(failed)?;
        }
        group.close().map_err(failed)?;
        self.rows = 0;
        Ok(())
    }

    /// Writes what is left, and the end. No row follows.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(&mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.flush()?;
        }
        self.file.finish().map_err(failed)?;
        self.file.inner_mut().flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bytes::Bytes;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;

    const COLUMNS: [Column; 4] = [
        Column::of("region", Holds::Text),
        Column::of("frame", Holds::Whole),
        Column::maybe("error", Holds::Number),
        Column::of("is_twin", Holds::Flag),
    ];

    fn written(rows: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut table = Table::begin(&mut bytes, &COLUMNS, &[("caution", "a prototype")]).unwrap();
        for k in 0..rows {
            let error = (k % 3 != 0).then_some(k as f64 / 8.0);
            table
                .row(&[
                    Cell::Text(["rotor", "speed"][k % 2]),
                    Cell::Whole(k as i64),
                    Cell::number(error),
                    Cell::Flag(k % 5 == 0),
                ])
                .unwrap();
        }
        table.finish().unwrap();
        drop(table);
        bytes
    }

    #[test]
    fn what_is_written_is_read_back_over_groups_of_rows() {
        for rows in [0, 7, GROUP_ROWS, GROUP_ROWS + 1] {
            let file = SerializedFileReader::new(Bytes::from(written(rows))).unwrap();
            let about = file
                .metadata()
                .file_metadata()
                .key_value_metadata()
                .unwrap();
            assert_eq!(about[0].value.as_deref(), Some("a prototype"));
            let mut count = 0;
            for (k, row) in file.get_row_iter(None).unwrap().enumerate() {
                let row = row.unwrap();
                let cells: Vec<&Field> = row.get_column_iter().map(|(_, f)| f).collect();
                let error = if k % 3 == 0 {
                    Field::Null
                } else {
                    Field::Double(k as f64 / 8.0)
                };
                let due = [
                    Field::Str(["rotor", "speed"][k % 2].to_owned()),
                    Field::Long(k as i64),
                    error,
                    Field::Bool(k % 5 == 0),
                ];
                assert!(cells.iter().copied().eq(due.iter()), "row {k}: {cells:?}");
                count += 1;
            }
            assert_eq!(count, rows);
        }
        assert_eq!(written(100), written(100));
    }

    #[test]
    fn a_row_that_does_not_fit_is_refused() {
        let mut table = Table::begin(Vec::new(), &COLUMNS, &[]).unwrap();
        assert!(table.row(&[Cell::Text("rotor")]).is_err());
        let nothing = [
            Cell::Nothing,
            Cell::Whole(1),
            Cell::Nothing,
            Cell::Flag(true),
        ];
        assert!(table.row(&nothing).is_err());
    }
}
