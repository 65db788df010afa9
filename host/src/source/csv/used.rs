//! A column that is used, and what was missing in it.

use super::header::Column;

/// Why a cell gave nothing, in the order of [`UsedColumn::missing`].
pub const WHY: [&str; 4] = [
    "is empty",
    "is not a finite number",
    "is no number",
    "is beyond all bounds",
];
/// Index of [`WHY`]: the cell is empty.
pub const EMPTY: usize = 0;
/// Not a finite number.
pub const NOT_FINITE: usize = 1;
/// No number at all.
pub const UNREADABLE: usize = 2;
/// Beyond all bounds.
pub const BEYOND: usize = 3;

/// How often, and the first line.
type Tally = (u64, u64);

/// A column that is used, with what was missing in it.
#[derive(Clone, Debug)]
pub struct UsedColumn {
    /// The column.
    pub column: Column,
    /// How often a cell gave nothing, by reason, and where first.
    pub missing: [Tally; WHY.len()],
}

impl UsedColumn {
    /// A column nothing is missing in yet.
    pub fn new(column: Column) -> Self {
        Self {
            column,
            missing: Default::default(),
        }
    }

    /// Counts a cell that gave nothing.
    pub fn miss(&mut self, why: usize, line: u64) {
        let (count, first) = &mut self.missing[why];
        if *count == 0 {
            *first = line;
        }
        *count += 1;
    }
}
