//! Parquet: columns of typed values, in groups of rows.
//!
//! Values are taken out of all columns that are asked for side by side, a batch of rows at a time, so that memory holds a
//! batch and one page of each column besides the file, however many rows a short run of bytes says there are.
//!
//! The crate that decodes them is young in refusing damage; where it panics on a damaged file that is caught here and said as
//! what it is.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};

use bytes::Bytes;
use parquet::basic::{ConvertedType, LogicalType, TimeUnit};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::DataType;
use parquet::errors::ParquetError;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::schema::types::ColumnDescriptor;

use super::{Cell, Source};
use crate::recording::error::{Error, Kind, Place};

/// Rows that are decoded at a time.
const BATCH: usize = 1024;
/// Columns of a file.
const MOST_COLUMNS: usize = 100_000;

/// A Parquet file.
pub(super) struct Parquet<'o> {
    origin: &'o str,
    file: SerializedFileReader<Bytes>,
    columns: Vec<String>,
    /// By column: what its values are, and those of the batch that are still to come.
    kinds: Vec<Held>,
    batches: Vec<VecDeque<Value>>,
    wanted: Vec<usize>,
    /// Of the group of rows that is read.
    readers: Vec<ColumnReader>,
    rows_left: usize,
    next_group: usize,
    row: usize,
    cells: Vec<Value>,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Held {
    Plain {
        is_unsigned: bool,
    },
    /// Whole numbers that stand for so many times this.
    Decimal(f64),
    /// Whole numbers of so many nanoseconds since the beginning of 1970.
    Moment {
        tick_ns: i128,
        is_utc: bool,
    },
    Unusable(&'static str),
}

/// A value that was decoded.
#[derive(Clone, Debug, PartialEq)]
enum Value {
    Nothing,
    Number(f64),
    Truth(bool),
    Text(String),
    Moment { ns: i128, is_utc: bool },
    Unusable(&'static str),
}

/// What a column's own words say that it holds.
fn held(column: &ColumnDescriptor) -> Held {
    if column.max_rep_level() > 0 {
        return Held::Unusable("a list");
    }
    let moment = |tick_ns, is_utc| Held::Moment { tick_ns, is_utc };
    match (column.logical_type_ref(), column.converted_type()) {
        (Some(LogicalType::Timestamp(t)), _) => {
            let tick_ns = match t.unit {
                TimeUnit::MILLIS => 1_000_000,
                TimeUnit::MICROS => 1_000,
                TimeUnit::NANOS => 1,
            };
            moment(tick_ns, t.is_adjusted_to_u_t_c)
        }
        (_, ConvertedType::TIMESTAMP_MILLIS) => moment(1_000_000, true),
        (_, ConvertedType::TIMESTAMP_MICROS) => moment(1_000, true),
        (Some(LogicalType::Decimal(d)), _) => Held::Decimal(10f64.powi(d.scale.clamp(-30, 30))),
        (Some(LogicalType::Integer(i)), _) => Held::Plain {
            is_unsigned: !i.is_signed,
        },
        (Some(LogicalType::Date), _) | (_, ConvertedType::DATE) => Held::Unusable("a date"),
        (Some(LogicalType::Time(_)), _)
        | (_, ConvertedType::TIME_MILLIS | ConvertedType::TIME_MICROS) => {
            Held::Unusable("a time of day without a date")
        }
        (
            _,
            ConvertedType::UINT_8
            | ConvertedType::UINT_16
            | ConvertedType::UINT_32
            | ConvertedType::UINT_64,
        ) => Held::Plain { is_unsigned: true },
        _ => Held::Plain { is_unsigned: false },
    }
}

impl Held {
    /// A whole number of a column; `unsigned` is the same bits without a sign.
    fn whole(self, signed: i64, unsigned: u64) -> Value {
        match self {
            Self::Plain { is_unsigned: true } => Value::Number(unsigned as f64),
            Self::Plain { is_unsigned: false } => Value::Number(signed as f64),
            Self::Decimal(one) => Value::Number(signed as f64 / one),
            Self::Moment { tick_ns, is_utc } => Value::Moment {
                ns: i128::from(signed) * tick_ns,
                is_utc,
            },
            Self::Unusable(what) => Value::Unusable(what),
        }
    }

    fn bytes(self, bytes: &[u8]) -> Value {
        match (self, std::str::from_utf8(bytes)) {
            (Self::Plain { .. }, Ok(text)) => match text.trim() {
                "" => Value::Nothing,
                words => Value::Text(words.to_owned()),
            },
            (Self::Unusable(what), _) => Value::Unusable(what),
            (Self::Decimal(_), _) => Value::Unusable("a decimal number in bytes"),
            _ => Value::Unusable("bytes that are no text"),
        }
    }
}

/// Why a file cannot be read on.
fn damaged(e: &ParquetError) -> Kind {
    let what = e.to_string();
    let what: String = what
        .lines()
        .next()
        .unwrap_or_default()
        .chars()
        .take(200)
        .collect();
    Kind::Damaged { what }
}

/// What `work` gives; a panic of the crate in it is damage of the file.
fn guarded<T>(work: impl FnOnce() -> Result<T, Kind>) -> Result<T, Kind> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
        let what = "its parts contradict one another".into();
        Err(Kind::Damaged { what })
    })
}

impl<'o> Parquet<'o> {
    pub(super) fn open(bytes: Vec<u8>, origin: &'o str) -> Result<Self, Error> {
        let wrong = |kind| Error::of_file(origin, kind);
        let file =
            guarded(|| SerializedFileReader::new(Bytes::from(bytes)).map_err(|e| damaged(&e)));
        let file = file.map_err(wrong)?;
        let schema = file.metadata().file_metadata().schema_descr_ptr();
        if schema.num_columns() > MOST_COLUMNS {
            return Err(wrong(Kind::TooManyColumns { most: MOST_COLUMNS }));
        }
        let columns: Vec<String> = schema.columns().iter().map(|c| c.path().string()).collect();
        let count = columns.len();
        Ok(Self {
            origin,
            kinds: schema.columns().iter().map(|c| held(c)).collect(),
            file,
            columns,
            batches: vec![VecDeque::new(); count],
            wanted: Vec::new(),
            readers: Vec::new(),
            rows_left: 0,
            next_group: 0,
            row: 0,
            cells: vec![Value::Nothing; count],
        })
    }

    /// Makes sure that the batches hold the next row; false when there is none.
    fn fill(&mut self) -> Result<bool, Kind> {
        while self.rows_left == 0 {
            if self.next_group == self.file.num_row_groups() {
                return Ok(false);
            }
            let group = self
                .file
                .get_row_group(self.next_group)
                .map_err(|e| damaged(&e))?;
            self.next_group += 1;
            self.rows_left = usize::try_from(group.metadata().num_rows()).unwrap_or(0);
            let readers = self.wanted.iter().map(|k| group.get_column_reader(*k));
            self.readers = readers.collect::<Result<_, _>>().map_err(|e| damaged(&e))?;
        }
        let count = self.rows_left.min(BATCH);
        for (column, reader) in self.wanted.iter().zip(&mut self.readers) {
            let schema = self.file.metadata().file_metadata().schema_descr();
            let (most, kind) = (schema.column(*column).max_def_level(), self.kinds[*column]);
            let out = &mut self.batches[*column];
            if let Held::Unusable(what) = kind {
                out.extend(std::iter::repeat_n(Value::Unusable(what), count));
                continue;
            }
            decode(reader, kind, most, count, out).map_err(|e| damaged(&e))?;
            if out.len() != count {
                let (name, found) = (&self.columns[*column], out.len());
                let what =
                    format!("column {name:?} has {found} values where the file says {count}");
                return Err(Kind::Damaged { what });
            }
        }
        self.rows_left -= count;
        Ok(true)
    }
}

impl Source for Parquet<'_> {
    fn columns(&self) -> &[String] {
        &self.columns
    }

    fn names_at(&self) -> Place {
        Place::Row(0)
    }

    fn want(&mut self, columns: &[usize]) {
        self.wanted = columns.to_vec();
        self.wanted.sort_unstable();
        self.wanted.dedup();
    }

    fn next(&mut self) -> Result<bool, Error> {
        let is_spent = self
            .wanted
            .first()
            .is_none_or(|k| self.batches[*k].is_empty());
        if is_spent {
            let row = self.row + 1;
            let filled = guarded(|| self.fill());
            if !filled.map_err(|kind| Error::at(self.origin, Place::Row(row), kind))? {
                return Ok(false);
            }
        }
        self.row += 1;
        for column in &self.wanted {
            let next = self.batches[*column].pop_front();
            self.cells[*column] = next.unwrap_or(Value::Nothing);
        }
        Ok(true)
    }

    fn place(&self) -> Place {
        Place::Row(self.row)
    }

    fn cell(&self, column: usize) -> Cell<'_> {
        match &self.cells[column] {
            Value::Nothing => Cell::Empty,
            Value::Number(v) => Cell::Number(*v),
            Value::Truth(is) => Cell::Truth(*is),
            Value::Text(text) => Cell::Text(text),
            Value::Moment { ns, is_utc } => Cell::Moment {
                ns: *ns,
                is_utc: *is_utc,
            },
            Value::Unusable(what) => Cell::Unusable(what),
        }
    }
}

/// Decodes `count` values of a column, whose level of definition is `most` where there is one.
fn decode(
    reader: &mut ColumnReader,
    held: Held,
    most: i16,
    count: usize,
    out: &mut VecDeque<Value>,
) -> Result<(), ParquetError> {
    match reader {
        ColumnReader::BoolColumnReader(r) => batch(r, most, count, out, |v| Value::Truth(*v)),
        ColumnReader::Int32ColumnReader(r) => batch(r, most, count, out, |v| {
            held.whole(i64::from(*v), u64::from(v.cast_unsigned()))
        }),
        ColumnReader::Int64ColumnReader(r) => {
            batch(r, most, count, out, |v| held.whole(*v, v.cast_unsigned()))
        }
        ColumnReader::Int96ColumnReader(r) => batch(r, most, count, out, |v| {
            // Julian day and nanoseconds of the day; 2,440,588 is that of 1970-01-01.
            let [low, high, day] = [v.data()[0], v.data()[1], v.data()[2]].map(i128::from);
            let ns = (day - 2_440_588) * 86_400_000_000_000 + (high << 32) + low;
            Value::Moment { ns, is_utc: false }
        }),
        ColumnReader::FloatColumnReader(r) => {
            batch(r, most, count, out, |v| Value::Number(f64::from(*v)))
        }
        ColumnReader::DoubleColumnReader(r) => batch(r, most, count, out, |v| Value::Number(*v)),
        ColumnReader::ByteArrayColumnReader(r) => {
            batch(r, most, count, out, |v| held.bytes(v.data()))
        }
        ColumnReader::FixedLenByteArrayColumnReader(r) => batch(r, most, count, out, |_| {
            Value::Unusable("bytes of a fixed length")
        }),
    }
}

fn batch<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    most: i16,
    count: usize,
    out: &mut VecDeque<Value>,
    value: impl Fn(&T::T) -> Value,
) -> Result<(), ParquetError> {
    let (mut values, mut levels) = (Vec::new(), Vec::new());
    let mut rows = 0;
    while rows < count {
        let (read, ..) = reader.read_records(count - rows, Some(&mut levels), None, &mut values)?;
        if read == 0 {
            break;
        }
        rows += read;
    }
    if most == 0 {
        out.extend(values.iter().map(value));
        return Ok(());
    }
    let mut values = values.iter();
    let cells = levels.iter().map(|level| {
        let is_there = *level == most;
        is_there
            .then(|| values.next().map(&value))
            .flatten()
            .unwrap_or(Value::Nothing)
    });
    out.extend(cells);
    Ok(())
}
