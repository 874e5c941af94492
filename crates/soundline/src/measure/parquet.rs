//! The table as Apache Parquet: one row group after another, none of them compressed, the head as key-value metadata of the file. A
//! figure that is not known is null; the level of exact silence is minus infinity.

use std::io::{self, Write};
use std::sync::{Arc, Mutex, PoisonError};

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

use super::columns::{Column, Kind, Value};

/// Rows in a group (ours): a day of minutes, some 3 MB.
const GROUP: usize = 1440;

/// What the library writes into, emptied into the file after each group: the library wants a writer that can change threads.
#[derive(Debug, Clone, Default)]
struct Pipe(Arc<Mutex<Vec<u8>>>);

impl Write for Pipe {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        held.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Fields of a column that wait for their group.
enum Held {
    Text(Vec<ByteArray>),
    Count(Vec<i64>),
    /// Numbers that are known, and by row whether they are.
    Number(Vec<f64>, Vec<i16>),
}

/// A Parquet table that is being written.
pub(super) struct Parquet<'a> {
    to: &'a mut dyn Write,
    pipe: Pipe,
    writer: SerializedFileWriter<Pipe>,
    held: Vec<Held>,
    rows: usize,
}

impl<'a> Parquet<'a> {
    pub(super) fn begin(
        to: &'a mut dyn Write,
        head: &[(String, String)],
        columns: &[Column],
    ) -> io::Result<Self> {
        let fields = columns
            .iter()
            .map(|column| field(column).map(Arc::new))
            .collect::<Result<Vec<_>, _>>()
            .map_err(io::Error::other)?;
        let schema = Type::group_type_builder("measures")
            .with_fields(fields)
            .build()
            .map_err(io::Error::other)?;
        let head = head
            .iter()
            .map(|(key, text)| KeyValue::new(key.clone(), text.clone()))
            .collect();
        let properties = WriterProperties::builder()
            .set_key_value_metadata(Some(head))
            .build();
        let pipe = Pipe::default();
        let writer =
            SerializedFileWriter::new(pipe.clone(), Arc::new(schema), Arc::new(properties))
                .map_err(io::Error::other)?;
        let held = columns.iter().map(|column| empty(column.kind)).collect();
        Ok(Self {
            to,
            pipe,
            writer,
            held,
            rows: 0,
        })
    }

    pub(super) fn row(&mut self, row: &[Value]) -> io::Result<()> {
        for (held, value) in self.held.iter_mut().zip(row) {
            match (held, value) {
                (Held::Text(all), Value::Text(text)) => all.push(text.as_str().into()),
                (Held::Count(all), Value::Count(count)) => {
                    all.push(i64::try_from(*count).map_err(io::Error::other)?);
                }
                (Held::Number(all, known), Value::Number(number)) => {
                    all.extend(number);
                    known.push(i16::from(number.is_some()));
                }
                _ => unreachable!("a row holds what its columns say"),
            }
        }
        self.rows += 1;
        if self.rows == GROUP {
            self.group().map_err(io::Error::other)?;
            self.empty()?;
        }
        Ok(())
    }

    pub(super) fn end(mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.group().map_err(io::Error::other)?;
        }
        self.writer.finish().map_err(io::Error::other)?;
        self.empty()
    }

    /// Writes the rows that wait as a group.
    fn group(&mut self) -> Result<(), ParquetError> {
        let mut group = self.writer.next_row_group()?;
        for held in &mut self.held {
            let mut column = group
                .next_column()?
                .ok_or_else(|| ParquetError::General("a column of the schema is missing".into()))?;
            match held {
                Held::Text(all) => {
                    column
                        .typed::<ByteArrayType>()
                        .write_batch(all, None, None)?;
                    all.clear();
                }
                Held::Count(all) => {
                    column.typed::<Int64Type>().write_batch(all, None, None)?;
                    all.clear();
                }
                Held::Number(all, known) => {
                    column
                        .typed::<DoubleType>()
                        .write_batch(all, Some(known), None)?;
                    all.clear();
                    known.clear();
                }
            }
            column.close()?;
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }

    /// Hands on what the library has written.
    fn empty(&mut self) -> io::Result<()> {
        let bytes =
            std::mem::take(&mut *self.pipe.0.lock().unwrap_or_else(PoisonError::into_inner));
        self.to.write_all(&bytes)
    }
}

fn empty(kind: Kind) -> Held {
    match kind {
        Kind::Text => Held::Text(Vec::new()),
        Kind::Count => Held::Count(Vec::new()),
        Kind::Number(_) => Held::Number(Vec::new(), Vec::new()),
    }
}

fn field(column: &Column) -> Result<Type, ParquetError> {
    let (physical, repetition, logical) = match column.kind {
        Kind::Text => (
            Physical::BYTE_ARRAY,
            Repetition::REQUIRED,
            Some(LogicalType::String),
        ),
        Kind::Count => (Physical::INT64, Repetition::REQUIRED, None),
        Kind::Number(_) => (Physical::DOUBLE, Repetition::OPTIONAL, None),
    };
    Type::primitive_type_builder(&column.name, physical)
        .with_repetition(repetition)
        .with_logical_type(logical)
        .build()
}
