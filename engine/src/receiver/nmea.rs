//! NMEA 0183 sentences in fixed point: RMC, GGA and VTG of any talker.

use super::clock::Stamp;
use super::fields::Fields;

/// Longest sentence taken, from `$` to the last digit of the checksum. The standard says 82;
/// receivers with eight decimals of a minute exceed it.
pub(super) const SENTENCE_MAX: usize = 120;
/// Last place where the `*` may stand.
const STAR_MAX: usize = SENTENCE_MAX - 3;

/// A whole turn.
pub(super) const TURN_E4DEG: u32 = 3_600_000;

/// A place in 1e-7 degree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Fix {
    pub lat_e7: i32,
    pub lon_e7: i32,
}

/// Speed over ground and course, from RMC or VTG.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Velocity {
    /// Speed in 1e-4 knots.
    pub speed_e4kn: Option<u32>,
    /// Course in 1e-4 degree clockwise from north.
    pub course_e4deg: Option<u32>,
}

/// A sentence that says something about an epoch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sentence {
    /// Recommended minimum: everything an epoch needs.
    Rmc {
        stamp: Option<Stamp>,
        /// `None` when void.
        fix: Option<Fix>,
        velocity: Velocity,
    },
    /// Fix data: position without speed or date.
    Gga {
        stamp: Option<Stamp>,
        /// `None` when void.
        fix: Option<Fix>,
    },
    /// Course and speed, without a time of its own.
    Vtg(Velocity),
    /// Any other sentence.
    Other,
}

/// A field that holds something else than its kind allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Unreadable;

pub(super) type Field<T> = Result<Option<T>, Unreadable>;

/// What lies at a `$`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Frame<'a> {
    /// A sentence with a right checksum; `used` bytes from the `$` on.
    Whole { body: &'a [u8], used: usize },
    /// A sentence with a wrong or missing checksum.
    WrongSum { body: &'a [u8], used: usize },
    /// A sentence that breaks off, at a byte that may start something else.
    Cut { body: &'a [u8], used: usize },
    /// A sentence too long to be one.
    TooLong { body: &'a [u8], used: usize },
    /// More bytes are needed, this many in all at most; what is there has this plain beginning.
    Short { need: usize, plain: Plain },
}

/// The plain bytes after a `$`: how many, and their sum.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Plain {
    length: usize,
    sum: u8,
}

impl Plain {
    /// So many more of them, with this sum.
    pub(super) fn and(self, length: usize, sum: u8) -> Self {
        Self {
            length: self.length.wrapping_add(length),
            sum: self.sum ^ sum,
        }
    }
}

/// Bytes looked at together.
const WORD: usize = size_of::<usize>();
/// A byte in every place of a word.
const fn every(byte: u8) -> usize {
    usize::from_ne_bytes([byte; WORD])
}

/// The bytes of a word, added without carries.
fn folded(word: usize) -> u8 {
    let mut width = usize::BITS / 2;
    let mut sum = word;
    while width >= 8 {
        sum ^= sum.wrapping_shr(width);
        width /= 2;
    }
    sum as u8
}

/// How many bytes at the start are plain: printable, and neither `*` nor `$`; and their sum.
pub(super) fn plain(bytes: &[u8]) -> (usize, u8) {
    let (words, _) = bytes.as_chunks::<WORD>();
    let mut sums = 0usize;
    let mut length = 0usize;
    for word in words {
        let word = usize::from_ne_bytes(*word);
        // Without carries between bytes, the top bit of a byte is set in `below` when its low seven
        // bits are at least 0x20, in `delete` when they are 0x7f, and in the others when they differ
        // from the sign.
        let low = word & every(0x7f);
        let printable = low.wrapping_add(every(0x60));
        let delete = low.wrapping_add(every(0x01));
        let star = (low ^ every(b'*')).wrapping_add(every(0x7f));
        let dollar = (low ^ every(b'$')).wrapping_add(every(0x7f));
        if (printable & star & dollar & !delete & !word) & every(0x80) != every(0x80) {
            break;
        }
        sums ^= word;
        length = length.wrapping_add(WORD);
    }
    let mut sum = folded(sums);
    for &byte in bytes.get(length..).unwrap_or_default() {
        if !(b' '..=b'~').contains(&byte) || byte == b'*' || byte == b'$' {
            break;
        }
        sum ^= byte;
        length = length.wrapping_add(1);
    }
    (length, sum)
}

/// Reads the frame of the sentence at the start of `bytes`, whose first byte is `$` and whose next
/// are known to be plain.
pub(super) fn frame(bytes: &[u8], known: Plain) -> Frame<'_> {
    let line = bytes.get(..=STAR_MAX).unwrap_or(bytes);
    let (more, sum) = plain(line.get(known.length.wrapping_add(1)..).unwrap_or_default());
    let plain = known.and(more, sum);
    let length = plain.length.wrapping_add(1);
    let body = bytes.get(1..length).unwrap_or_default();
    let used = length;
    match line.get(length) {
        Some(b'*') => check(bytes, length, plain),
        Some(b'\r' | b'\n') => Frame::WrongSum { body, used },
        Some(_) => Frame::Cut { body, used },
        None if length > STAR_MAX => Frame::TooLong { body, used },
        None => Frame::Short {
            need: STAR_MAX.wrapping_add(1),
            plain,
        },
    }
}

/// Compares the two digits after the `*` at `star`.
fn check(bytes: &[u8], star: usize, plain: Plain) -> Frame<'_> {
    let body = bytes.get(1..star).unwrap_or_default();
    let need = star.wrapping_add(3);
    let mut digits = bytes.iter().skip(star.wrapping_add(1)).copied();
    let Some(high) = digits.next() else {
        // One digit may already be none.
        let need = star.wrapping_add(2);
        return Frame::Short { need, plain };
    };
    let Some(high) = hex(high) else {
        // What stands there may start something else.
        let used = star.wrapping_add(1);
        return Frame::WrongSum { body, used };
    };
    let Some(low) = digits.next() else {
        return Frame::Short { need, plain };
    };
    let Some(low) = hex(low) else {
        let used = star.wrapping_add(2);
        return Frame::WrongSum { body, used };
    };
    let used = need;
    if (high << 4 | low) == plain.sum {
        Frame::Whole { body, used }
    } else {
        Frame::WrongSum { body, used }
    }
}

fn hex(digit: u8) -> Option<u8> {
    match digit {
        b'0'..=b'9' => Some(digit & 0x0f),
        b'A'..=b'F' | b'a'..=b'f' => Some((digit & 0x0f).wrapping_add(9)),
        _ => None,
    }
}

/// Which sentence an address such as `GNRMC,` announces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Rmc,
    Gga,
    Vtg,
}

/// The kind of the sentence with this body, when it is one of those used.
pub(super) fn kind(body: &[u8]) -> Option<Kind> {
    let (address, rest) = body.split_first_chunk::<5>()?;
    let [first, second, kind @ ..] = address;
    // P starts proprietary addresses, one of which is PGRMC.
    let talker = first.is_ascii_uppercase() && *first != b'P' && second.is_ascii_alphanumeric();
    if !talker || rest.first() != Some(&b',') {
        return None;
    }
    match kind {
        b"RMC" => Some(Kind::Rmc),
        b"GGA" => Some(Kind::Gga),
        b"VTG" => Some(Kind::Vtg),
        _ => None,
    }
}

/// Reads the body of a sentence whose checksum is right.
pub(super) fn parse(body: &[u8]) -> Result<Sentence, Unreadable> {
    let Some(kind) = kind(body) else {
        return Ok(Sentence::Other);
    };
    let mut fields = Fields {
        rest: body.get(6..).unwrap_or_default(),
    };
    match kind {
        Kind::Rmc => rmc(&mut fields),
        Kind::Gga => gga(&mut fields),
        Kind::Vtg => vtg(&mut fields),
    }
}

fn rmc(fields: &mut Fields<'_>) -> Result<Sentence, Unreadable> {
    let tod_us = time_of_day(fields)?;
    let active = fields.letter()? == Some(b'A');
    let fix = fields.fix()?;
    let velocity = Velocity {
        speed_e4kn: fields.number_e4()?,
        course_e4deg: fields.course_e4deg()?,
    };
    let day = fields.date()?;
    fields.skip();
    fields.skip();
    // Mode: N no fix, M entered by hand. Absent before version 2.3.
    let mode = fields.letter()?;
    let valid = active && mode != Some(b'N') && mode != Some(b'M');
    Ok(Sentence::Rmc {
        stamp: tod_us.map(|tod_us| Stamp { tod_us, day }),
        fix: fix.filter(|_| valid),
        velocity: if valid { velocity } else { Velocity::default() },
    })
}

fn gga(fields: &mut Fields<'_>) -> Result<Sentence, Unreadable> {
    let tod_us = time_of_day(fields)?;
    let fix = fields.fix()?;
    // Quality: 0 none, 6 extrapolated, 7 entered by hand.
    let valid = !matches!(fields.letter()?, None | Some(b'0' | b'6' | b'7'));
    Ok(Sentence::Gga {
        stamp: tod_us.map(|tod_us| Stamp { tod_us, day: None }),
        fix: fix.filter(|_| valid),
    })
}

fn vtg(fields: &mut Fields<'_>) -> Result<Sentence, Unreadable> {
    let course_e4deg = fields.course_e4deg()?;
    for _ in 0..3 {
        fields.skip();
    }
    let knots = fields.number_e4()?;
    fields.skip();
    let kmh = fields.number_e4()?;
    fields.skip();
    let mode = fields.letter()?;
    if mode == Some(b'N') || mode == Some(b'M') {
        return Ok(Sentence::Vtg(Velocity::default()));
    }
    // 1 knot is 1.852 km/h.
    let from_kmh = kmh.map(|kmh| {
        let knots = (u64::from(kmh) * 1000 + 926) / 1852;
        u32::try_from(knots).unwrap_or(u32::MAX)
    });
    Ok(Sentence::Vtg(Velocity {
        speed_e4kn: knots.or(from_kmh),
        course_e4deg,
    }))
}

/// Time of day `hhmmss[.f]` in microseconds.
fn time_of_day(fields: &mut Fields<'_>) -> Field<i64> {
    let Some((hms, fraction_us)) = fields.decimal(6)? else {
        return Ok(None);
    };
    let (hours, minutes, seconds) = (hms / 10_000, hms / 100 % 100, hms % 100);
    // 60 is a leap second.
    if hours > 23 || minutes > 59 || seconds > 60 {
        return Err(Unreadable);
    }
    let seconds = hours * 3600 + minutes * 60 + seconds;
    Ok(Some(
        i64::from(seconds) * 1_000_000 + i64::from(fraction_us),
    ))
}
