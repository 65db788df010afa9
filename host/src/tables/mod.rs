//! Tables for other programs: the same rows as CSV and as Parquet.
//!
//! A table is a list of [`Column`]s and rows of [`Cell`]s in their order. What is unknown is empty
//! in CSV and null in Parquet. `docs/DESK.md` says what each column means.

mod parquet;
mod recording;

pub use self::parquet::to_parquet;
pub use recording::{CUES, FACTS, LAPS, Tables};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A number with a fraction, a 64-bit float.
    Real,
    /// A whole number, 32 bits.
    Whole,
    /// True or false.
    Truth,
    /// UTF-8 text.
    Text,
}

/// A column: its name, unit last, and what it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// The name, with the unit at its end.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
}

impl Column {
    /// A column of numbers with a fraction.
    pub const fn real(name: &'static str) -> Self {
        Self {
            name,
            kind: Kind::Real,
        }
    }

    /// A column of whole numbers.
    pub const fn whole(name: &'static str) -> Self {
        Self {
            name,
            kind: Kind::Whole,
        }
    }

    /// A column of yes and no.
    pub const fn truth(name: &'static str) -> Self {
        Self {
            name,
            kind: Kind::Truth,
        }
    }

    /// A column of text.
    pub const fn text(name: &'static str) -> Self {
        Self {
            name,
            kind: Kind::Text,
        }
    }
}

/// One value of a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Unknown.
    Null,
    /// For [`Kind::Real`].
    Real(f64),
    /// For [`Kind::Whole`].
    Whole(i32),
    /// For [`Kind::Truth`].
    Truth(bool),
    /// For [`Kind::Text`].
    Text(String),
}

/// Rows under columns.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Its name.
    pub name: &'static str,
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows, each with one cell a column.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// An empty table.
    pub fn new(name: &'static str, columns: &[Column]) -> Self {
        Self {
            name,
            columns: columns.to_vec(),
            rows: Vec::new(),
        }
    }

    /// The table as CSV with a header line.
    pub fn to_csv(&self) -> Result<Vec<u8>, csv::Error> {
        let mut out = csv::Writer::from_writer(Vec::new());
        out.write_record(self.columns.iter().map(|c| c.name))?;
        for row in &self.rows {
            out.write_record(row.iter().map(|cell| match cell {
                Cell::Null => String::new(),
                Cell::Real(v) => v.to_string(),
                Cell::Whole(v) => v.to_string(),
                Cell::Truth(v) => v.to_string(),
                Cell::Text(v) => v.clone(),
            }))?;
        }
        out.into_inner().map_err(|e| e.into_error().into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unknown_is_empty_and_text_is_quoted_where_it_must_be() {
        let mut table = Table::new(
            "t",
            &[Column::real("a_m"), Column::text("b"), Column::truth("c")],
        );
        let text = Cell::Text("one, two".into());
        table.rows.push(vec![Cell::Null, text, Cell::Truth(true)]);
        let csv = String::from_utf8(table.to_csv().unwrap()).unwrap();
        assert_eq!(csv, "a_m,b,c\n,\"one, two\",true\n");
    }
}
