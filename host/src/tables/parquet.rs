//! A table as one Parquet file: one row group, every column optional, Snappy.

use super::{Cell, Column, Kind, Table};
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int32Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::Type;
use std::sync::Arc;

/// The bytes of the file.
pub fn to_parquet(table: &Table) -> Result<Vec<u8>, ParquetError> {
    let fields = table.columns.iter().map(field).collect::<Result<_, _>>()?;
    let schema = Type::group_type_builder(table.name)
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_created_by(concat!("cuepost ", env!("CARGO_PKG_VERSION")).to_owned())
        .build();
    let mut file = SerializedFileWriter::new(Vec::new(), Arc::new(schema), Arc::new(properties))?;
    let mut group = file.next_row_group()?;
    for (index, column) in table.columns.iter().enumerate() {
        let cells = table.rows.iter().filter_map(|row| row.get(index));
        let Some(writer) = group.next_column()? else {
            break;
        };
        put(writer, column.kind, cells)?;
    }
    group.close()?;
    file.into_inner()
}

fn field(column: &Column) -> Result<Arc<Type>, ParquetError> {
    let (physical, logical) = match column.kind {
        Kind::Real => (Physical::DOUBLE, None),
        Kind::Whole => (Physical::INT32, None),
        Kind::Truth => (Physical::BOOLEAN, None),
        Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
    };
    let field = Type::primitive_type_builder(column.name, physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type(logical)
        .build()?;
    Ok(Arc::new(field))
}

fn put<'a>(
    writer: SerializedColumnWriter<'_>,
    kind: Kind,
    cells: impl Iterator<Item = &'a Cell>,
) -> Result<(), ParquetError> {
    match kind {
        Kind::Real => put_as::<DoubleType>(writer, cells, |c| match c {
            Cell::Real(v) => Some(*v),
            _ => None,
        }),
        Kind::Whole => put_as::<Int32Type>(writer, cells, |c| match c {
            Cell::Whole(v) => Some(*v),
            _ => None,
        }),
        Kind::Truth => put_as::<BoolType>(writer, cells, |c| match c {
            Cell::Truth(v) => Some(*v),
            _ => None,
        }),
        Kind::Text => put_as::<ByteArrayType>(writer, cells, |c| match c {
            Cell::Text(v) => Some(ByteArray::from(v.as_str())),
            _ => None,
        }),
    }
}

/// A level of 1 for each known value, 0 for each unknown one; the known ones alone.
fn put_as<'a, T: DataType>(
    mut writer: SerializedColumnWriter<'_>,
    cells: impl Iterator<Item = &'a Cell>,
    of: impl Fn(&Cell) -> Option<T::T>,
) -> Result<(), ParquetError> {
    let mut values = Vec::new();
    let mut levels = Vec::new();
    for cell in cells {
        let value = of(cell);
        levels.push(i16::from(value.is_some()));
        values.extend(value);
    }
    writer
        .typed::<T>()
        .write_batch(&values, Some(&levels), None)?;
    writer.close()
}
