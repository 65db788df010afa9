//! A line into its cells.

/// The cells of a line; a separator within quotes is none.
pub fn cells(line: &[u8], separator: u8) -> impl Iterator<Item = &[u8]> {
    let mut rest = Some(line);
    std::iter::from_fn(move || {
        let line = rest?;
        let (cell, tail) = cell(line, separator);
        rest = tail;
        Some(cell)
    })
}

/// The first cell and what follows its separator.
#[inline]
pub fn cell(line: &[u8], separator: u8) -> (&[u8], Option<&[u8]>) {
    let skip = if line.first() == Some(&b'"') {
        let inner = line.get(1..).unwrap_or_default();
        inner.iter().position(|b| *b == b'"').map_or(0, |at| at + 2)
    } else {
        0
    };
    let open = line.get(skip..).unwrap_or_default();
    match open.iter().position(|b| *b == separator) {
        Some(at) => {
            let (cell, tail) = line.split_at(skip + at);
            (cell, tail.get(1..))
        }
        None => (line, None),
    }
}
