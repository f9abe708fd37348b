//! The truth table as a Parquet file: the same columns with types, so that no cell need be parsed. Feature `parquet`.
//!
//! One row group a shard, plain pages without compression; an empty cell is a null.

use super::error::SetError;
use super::table::{Column, ColumnKind, Table, TableCell};
use bytes::Bytes;
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::record::Field;
use parquet::schema::types::Type;
use std::sync::Arc;

/// The file as bytes.
///
/// # Errors
/// [`SetError::Table`] with the library's words; none is known to happen, as everything is written to memory.
pub(super) fn write(table: &Table, rows: &[Vec<TableCell>]) -> Result<Vec<u8>, SetError> {
    written(table, rows).map_err(|error| SetError::Table(error.to_string()))
}

/// Names of the columns, and the rows as text, of a flat table; a null is an empty cell.
///
/// # Errors
/// The library's words where the bytes are no Parquet file, and a sentence where a cell is neither number, text nor flag.
pub(super) fn read(bytes: &[u8]) -> Result<(Vec<String>, Vec<Vec<String>>), String> {
    let words = |error: ParquetError| format!("is no Parquet file: {error}");
    let reader = SerializedFileReader::new(Bytes::copy_from_slice(bytes)).map_err(words)?;
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let columns = schema
        .columns()
        .iter()
        .map(|c| c.name().to_owned())
        .collect();
    let mut rows = Vec::new();
    for row in reader.get_row_iter(None).map_err(words)? {
        let row = row.map_err(words)?;
        let cells = row
            .get_column_iter()
            .map(|(name, field)| as_text(name, field));
        rows.push(cells.collect::<Result<Vec<_>, _>>()?);
    }
    Ok((columns, rows))
}

fn as_text(name: &str, field: &Field) -> Result<String, String> {
    Ok(match field {
        Field::Null => String::new(),
        Field::Bool(flag) => flag.to_string(),
        Field::Byte(n) => n.to_string(),
        Field::Short(n) => n.to_string(),
        Field::Int(n) => n.to_string(),
        Field::Long(n) => n.to_string(),
        Field::UByte(n) => n.to_string(),
        Field::UShort(n) => n.to_string(),
        Field::UInt(n) => n.to_string(),
        Field::ULong(n) => n.to_string(),
        Field::Float(n) => n.to_string(),
        Field::Double(n) => n.to_string(),
        Field::Str(text) => text.clone(),
        other => {
            return Err(format!(
                "has {other} in column {name}, which is neither number, text nor flag"
            ));
        }
    })
}

fn written(table: &Table, rows: &[Vec<TableCell>]) -> Result<Vec<u8>, ParquetError> {
    let fields = table
        .columns
        .iter()
        .map(|column| field(column).map(Arc::new))
        .collect::<Result<Vec<_>, _>>()?;
    let schema = Type::group_type_builder("truth")
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_created_by(concat!("skewstar ", env!("CARGO_PKG_VERSION")).to_owned())
        .build();
    let mut bytes = Vec::new();
    let mut writer = SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    let mut number = 0;
    while let Some(column) = group.next_column()? {
        let cells = rows.iter().map(|row| &row[number]);
        match table.columns[number].kind {
            ColumnKind::Number => put::<DoubleType>(column, cells, real)?,
            ColumnKind::Whole => put::<Int64Type>(column, cells, whole)?,
            ColumnKind::Text => put::<ByteArrayType>(column, cells, text)?,
        }
        number += 1;
    }
    group.close()?;
    writer.close()?;
    Ok(bytes)
}

fn field(column: &Column) -> Result<Type, ParquetError> {
    let (physical, logical) = match column.kind {
        ColumnKind::Number => (Physical::DOUBLE, None),
        ColumnKind::Whole => (Physical::INT64, None),
        ColumnKind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
    };
    Type::primitive_type_builder(&column.name, physical)
        .with_logical_type(logical)
        .with_repetition(Repetition::OPTIONAL)
        .build()
}

/// Writes a column: its values, and for every row whether there is one.
fn put<'a, D: DataType>(
    mut column: SerializedColumnWriter<'_>,
    cells: impl Iterator<Item = &'a TableCell>,
    value: impl Fn(&TableCell) -> Option<D::T>,
) -> Result<(), ParquetError> {
    let found: Vec<Option<D::T>> = cells.map(value).collect();
    let there: Vec<i16> = found.iter().map(|v| i16::from(v.is_some())).collect();
    let values: Vec<D::T> = found.into_iter().flatten().collect();
    column
        .typed::<D>()
        .write_batch(&values, Some(&there), None)?;
    column.close()
}

fn real(cell: &TableCell) -> Option<f64> {
    match cell {
        TableCell::Number(value) => Some(*value),
        TableCell::Whole(value) => Some(*value as f64),
        _ => None,
    }
}

fn whole(cell: &TableCell) -> Option<i64> {
    match cell {
        TableCell::Whole(value) => i64::try_from(*value).ok(),
        _ => None,
    }
}

fn text(cell: &TableCell) -> Option<ByteArray> {
    match cell {
        TableCell::Empty => None,
        other => Some(ByteArray::from(other.text().as_str())),
    }
}
