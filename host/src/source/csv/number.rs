//! Numbers of text in fixed point, as people and programs write them.

/// What stands for the decimals: `45.5` or `45,5`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimal {
    /// A point.
    Point,
    /// A comma.
    Comma,
}

impl Decimal {
    /// The sign.
    pub const fn sign(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }

    /// The sign that then groups thousands.
    pub const fn grouping(self) -> u8 {
        match self {
            Self::Point => b',',
            Self::Comma => b'.',
        }
    }
}

/// A decimal number, exact: `digits / 10^places`, negative or not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Number {
    /// True below zero.
    pub negative: bool,
    /// All its digits.
    pub digits: u64,
    /// How many of them are decimals.
    pub places: u32,
}

/// Why a cell holds no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotNumber {
    /// Empty.
    Empty,
    /// NaN, an infinity, or beyond all bounds.
    NotFinite,
    /// Something else than a number.
    Unreadable,
    /// A number that reads differently with the other decimal sign.
    Ambiguous,
}

/// More digits than this are decimals nobody measured.
const DIGITS_MAX: u32 = 18;
const POWERS: [u64; 19] = {
    let mut powers = [1; 19];
    let mut i = 1;
    while i < 19 {
        powers[i] = powers[i - 1] * 10;
        i += 1;
    }
    powers
};

impl Number {
    /// The number times ten to the `places`, rounded half away from zero; `None` beyond 2^62.
    #[inline]
    pub fn fixed(self, places: u32) -> Option<i64> {
        let magnitude = if places >= self.places {
            let power = POWERS.get((places - self.places) as usize)?;
            self.digits.checked_mul(*power)?
        } else {
            let power = POWERS.get((self.places - places) as usize)?;
            (self.digits + power / 2) / power
        };
        let magnitude = i64::try_from(magnitude).ok().filter(|&m| m < 1 << 62)?;
        Some(if self.negative { -magnitude } else { magnitude })
    }

    /// The nearest f64. Exact to the last bit while the digits are below 2^53, which all but
    /// absurdly long numbers are.
    #[inline]
    pub fn value(self) -> f64 {
        let magnitude = self.digits as f64 / POWERS[(self.places as usize).min(18)] as f64;
        if self.negative { -magnitude } else { magnitude }
    }
}

/// Reads a cell. Spaces around it and one pair of quotes are no part of it.
pub fn number(cell: &[u8], decimal: Decimal) -> Result<Number, NotNumber> {
    let cell = bare(cell);
    match plain(cell, decimal) {
        Some(number) => Ok(number),
        None => unusual(cell, decimal),
    }
}

/// Reads the number at the start of a line and returns it with what follows its separator; `None`
/// when it is not written with digits and at most one decimal sign, or nothing is there.
///
/// This is [`number`] for nearly all cells there are, without finding their ends first.
#[inline]
pub fn leading(line: &[u8], separator: u8, decimal: Decimal) -> Option<(Number, Option<&[u8]>)> {
    let (negative, from) = match line.first() {
        Some(b'-') => (true, 1),
        _ => (false, 0),
    };
    let mut digits = 0u64;
    let mut point = None;
    let mut end = from;
    let tail = loop {
        let Some(&byte) = line.get(end) else {
            break None;
        };
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(digit));
        } else if byte == separator {
            break line.get(end + 1..);
        } else if byte == decimal.sign() && point.is_none() {
            point = Some(end);
        } else {
            return None;
        }
        end += 1;
    };
    let length = end - from - usize::from(point.is_some());
    if length == 0 || length > DIGITS_MAX as usize {
        return None;
    }
    let places = point.map_or(0, |point| (end - point - 1) as u32);
    let number = Number {
        negative,
        digits,
        places,
    };
    Some((number, tail))
}

/// The cell without spaces around it and its quotes.
pub fn bare(cell: &[u8]) -> &[u8] {
    let cell = cell.trim_ascii();
    match cell {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        _ => cell,
    }
}

/// Digits with at most one decimal sign: nearly all there is.
#[inline]
fn plain(cell: &[u8], decimal: Decimal) -> Option<Number> {
    let (negative, cell) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, cell),
    };
    // With a sign in between, one more.
    if cell.len() > DIGITS_MAX as usize + 1 {
        return None;
    }
    let mut digits = 0u64;
    let mut point = None;
    for (at, &byte) in cell.iter().enumerate() {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            digits = digits * 10 + u64::from(digit);
        } else if byte == decimal.sign() && point.is_none() {
            point = Some(at);
        } else {
            return None;
        }
    }
    let places = point.map_or(0, |point| cell.len() - point - 1);
    // A lone sign is no number.
    let length = cell.len() - usize::from(point.is_some());
    if length == 0 || length > DIGITS_MAX as usize {
        return None;
    }
    Some(Number {
        negative,
        digits,
        places: places as u32,
    })
}

/// Exponents, grouped thousands, very many digits, and what is no number at all.
fn unusual(cell: &[u8], decimal: Decimal) -> Result<Number, NotNumber> {
    let text = std::str::from_utf8(cell).map_err(|_| NotNumber::Unreadable)?;
    let lower = text.to_ascii_lowercase();
    match lower.as_str() {
        "" | "-" | "--" | "null" | "none" | "n/a" | "na" => return Err(NotNumber::Empty),
        _ => {}
    }
    let word = lower.trim_start_matches(['-', '+']);
    if ["nan", "inf", "1.#", "1,#"]
        .iter()
        .any(|start| word.starts_with(start))
    {
        return Err(NotNumber::NotFinite);
    }
    let text = ungrouped(text, decimal)?;
    let with_point = text.replace(char::from(decimal.sign()), ".");
    let numeric = with_point
        .bytes()
        .all(|byte| byte.is_ascii_digit() || b"+-.eE".contains(&byte));
    let value = with_point.parse::<f64>();
    match value {
        Ok(value) if numeric => of_value(value, &with_point),
        _ => Err(NotNumber::Unreadable),
    }
}

/// A number from its f64, for the rare forms: as many decimals as are exact.
fn of_value(value: f64, text: &str) -> Result<Number, NotNumber> {
    if let Some(number) = plain(shortened(text).as_bytes(), Decimal::Point) {
        return Ok(number);
    }
    // 1e-9 is finer than anything here, 1e9 farther than any circuit or clock in seconds; times in
    // microseconds are whole.
    let places = match value.abs() {
        0.0..1e9 => 9,
        1e9..1e18 => 0,
        _ => return Err(NotNumber::NotFinite),
    };
    Ok(Number {
        negative: value < 0.0,
        digits: (value.abs() * POWERS[places] as f64).round() as u64,
        places: places as u32,
    })
}

/// Without the decimals that are too many.
fn shortened(text: &str) -> &str {
    match text.find('.') {
        Some(point) if !text.contains(['e', 'E']) => {
            let keep = (DIGITS_MAX as usize).max(point).min(text.len());
            text.get(..keep).unwrap_or(text)
        }
        _ => text,
    }
}

/// The text without its groups of thousands, which must be whole and stand before a decimal sign:
/// `1.237` alone may be either, and is not guessed.
fn ungrouped(text: &str, decimal: Decimal) -> Result<String, NotNumber> {
    let grouping = char::from(decimal.grouping());
    if !text.contains(grouping) {
        return Ok(text.to_owned());
    }
    let Some((whole, _)) = text.split_once(char::from(decimal.sign())) else {
        return Err(NotNumber::Ambiguous);
    };
    let mut groups = whole.trim_start_matches(['-', '+']).split(grouping);
    let first = groups.next().unwrap_or_default();
    let whole_groups = (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3);
    if whole_groups && text.matches(grouping).count() == whole.matches(grouping).count() {
        Ok(text.replace(grouping, ""))
    } else {
        Err(NotNumber::Ambiguous)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(cell: &str) -> Result<f64, NotNumber> {
        number(cell.as_bytes(), Decimal::Point).map(Number::value)
    }

    fn comma(cell: &str) -> Result<f64, NotNumber> {
        number(cell.as_bytes(), Decimal::Comma).map(Number::value)
    }

    #[test]
    fn millimetres_are_exact() {
        for mm in [-1_234_567_i64, -1, 0, 1, 4_567, 999_999_999] {
            let text = format!(
                "{}{}.{:03}",
                if mm < 0 { "-" } else { "" },
                mm.abs() / 1000,
                mm.abs() % 1000
            );
            let read = number(text.as_bytes(), Decimal::Point).unwrap();
            assert_eq!(read.fixed(3), Some(mm), "{text}");
        }
    }

    #[test]
    fn values_are_what_the_standard_library_reads() {
        for text in [
            "0.1",
            "45.5000281",
            "-9.50256326",
            "1533226488.299",
            "123",
            "+7.5",
            "0.30000000000000004",
            "1e3",
            "1.5e-3",
            "-0.00",
        ] {
            let exact: f64 = text.parse().unwrap();
            let read = point(text).unwrap();
            assert!(
                (read - exact).abs() <= exact.abs() * 1e-15,
                "{text}: {read}"
            );
        }
        assert!(point("-0.00").unwrap() == 0.0);
    }

    #[test]
    fn decimal_commas_and_thousands() {
        assert_eq!(comma("45,5000281"), Ok(45.5000281));
        assert_eq!(comma("\"31,35\""), Ok(31.35));
        assert_eq!(comma("1.237,125"), Ok(1237.125));
        assert_eq!(point("1,237.125"), Ok(1237.125));
        assert_eq!(comma("1.237"), Err(NotNumber::Ambiguous));
        assert_eq!(point("1,237"), Err(NotNumber::Ambiguous));
        assert_eq!(comma("12.37,125"), Err(NotNumber::Ambiguous));
        assert_eq!(comma("1.237,125.000"), Err(NotNumber::Ambiguous));
    }

    #[test]
    fn what_is_no_number_has_a_name() {
        for (text, why) in [
            ("", NotNumber::Empty),
            ("  ", NotNumber::Empty),
            ("NaN", NotNumber::NotFinite),
            ("-nan", NotNumber::NotFinite),
            ("inf", NotNumber::NotFinite),
            ("-Infinity", NotNumber::NotFinite),
            ("-1.#IND", NotNumber::NotFinite),
            ("1e39", NotNumber::NotFinite),
            ("1e999", NotNumber::NotFinite),
            ("abc", NotNumber::Unreadable),
            ("12:30", NotNumber::Unreadable),
            ("1.2.3", NotNumber::Unreadable),
            (".", NotNumber::Unreadable),
            ("0x10", NotNumber::Unreadable),
        ] {
            assert_eq!(point(text), Err(why), "{text:?}");
        }
    }

    #[test]
    fn the_fast_way_agrees_or_gives_up() {
        let words = [
            "1",
            "-1.5",
            "1,5",
            "+3",
            "",
            ".",
            "-",
            "0.000",
            "12345678901234567890",
            "nan",
            " 1",
            "1 ",
            "\"1\"",
            "1.5.2",
            "00012",
            "1e5",
            "99999999.9999999999",
            "1.",
            ".5",
            "-0",
            "12345678",
            "-123456789.123456789",
            "0.123456789012345678",
            "123456789012345678",
            "1234567890123456789",
            "123456789012345678901234",
            "0.000000000000000000000001",
        ];
        for decimal in [Decimal::Point, Decimal::Comma] {
            for word in words {
                for line in [word.to_owned(), format!("{word};rest")] {
                    if let Some((fast, tail)) = leading(line.as_bytes(), b';', decimal) {
                        assert_eq!(number(word.as_bytes(), decimal), Ok(fast), "{word}");
                        let rest = line.split_once(';').map(|(_, rest)| rest.as_bytes());
                        assert_eq!(tail, rest);
                    }
                }
            }
        }
        for plain in [
            &b"1.25;"[..],
            b"-123456789.123456789;",
            b"123456789012345678;",
        ] {
            assert!(leading(plain, b';', Decimal::Point).is_some());
        }
    }

    #[test]
    fn very_many_digits() {
        assert!((point("45.500028100000000000000001").unwrap() - 45.5000281).abs() < 1e-12);
        assert_eq!(
            point("123456789012345678901234567890"),
            Err(NotNumber::NotFinite)
        );
    }
}
