//! The fields of an NMEA sentence, in fixed point.

use super::clock::day_number;
use super::nmea::{Field, Fix, TURN_E4DEG, Unreadable};

/// Powers of ten, for digits that are not there.
const TENS: [u32; 8] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000];

/// The fields of a sentence, one after another. A field that is not there is empty.
pub(super) struct Fields<'a> {
    pub(super) rest: &'a [u8],
}

impl Fields<'_> {
    /// Takes one byte of the current field; `None` at its end, which is taken too.
    #[inline]
    fn byte(&mut self) -> Option<u8> {
        let (&byte, rest) = self.rest.split_first()?;
        self.rest = rest;
        (byte != b',').then_some(byte)
    }

    /// Leaves the rest of a field out.
    #[inline]
    pub(super) fn skip(&mut self) {
        while self.byte().is_some() {}
    }

    /// A field of one character.
    #[inline]
    pub(super) fn letter(&mut self) -> Field<u8> {
        let Some(letter) = self.byte() else {
            return Ok(None);
        };
        if self.byte().is_some() {
            return Err(Unreadable);
        }
        Ok(Some(letter))
    }

    /// A course; more than a turn is none.
    pub(super) fn course_e4deg(&mut self) -> Field<u32> {
        let course = self.number_e4()?;
        if course.is_some_and(|course| course > TURN_E4DEG) {
            return Err(Unreadable);
        }
        Ok(course)
    }

    /// An unsigned decimal number: its whole part, and the rest times ten to the `places`, rounded
    /// half up (so that it may be ten to the `places` itself).
    pub(super) fn decimal(&mut self, places: usize) -> Field<(u32, u32)> {
        let (whole, digits) = self.digits(usize::MAX);
        // Nine digits fit.
        if digits > 9 {
            return Err(Unreadable);
        }
        match self.byte() {
            None => return Ok((digits != 0).then_some((whole, 0))),
            Some(b'.') => {}
            Some(_) => return Err(Unreadable),
        }
        let (rest, kept) = self.digits(places);
        let short = places.wrapping_sub(kept);
        let mut rest = rest.wrapping_mul(TENS.get(short).copied().unwrap_or(0));
        if let Some(next) = self.byte() {
            if !next.is_ascii_digit() {
                return Err(Unreadable);
            }
            rest = rest.wrapping_add(u32::from(next >= b'5'));
            self.digits(usize::MAX);
            if self.byte().is_some() {
                return Err(Unreadable);
            }
        } else if digits == 0 && kept == 0 {
            return Err(Unreadable);
        }
        Ok(Some((whole, rest)))
    }

    /// Takes so many digits at most; the number they make, and how many there were.
    #[inline]
    fn digits(&mut self, most: usize) -> (u32, usize) {
        let (ahead, _) = self.rest.split_at_checked(most).unwrap_or((self.rest, &[]));
        let mut number = 0u32;
        let mut bytes = ahead.iter();
        let mut left = bytes.as_slice();
        while let Some(byte) = bytes.next() {
            let digit = u32::from(*byte).wrapping_sub(u32::from(b'0'));
            if digit > 9 {
                break;
            }
            number = number.wrapping_mul(10).wrapping_add(digit);
            left = bytes.as_slice();
        }
        let taken = ahead.len().wrapping_sub(left.len());
        self.rest = self.rest.get(taken..).unwrap_or_default();
        (number, taken)
    }

    /// A speed or an angle in units of 1e-4.
    pub(super) fn number_e4(&mut self) -> Field<u32> {
        let Some((whole, rest)) = self.decimal(4)? else {
            return Ok(None);
        };
        let whole = whole.checked_mul(10_000).ok_or(Unreadable)?;
        whole.checked_add(rest).map(Some).ok_or(Unreadable)
    }

    /// Latitude and longitude with their letters: four fields.
    pub(super) fn fix(&mut self) -> Field<Fix> {
        let lat = self.angle()?;
        let north = self.letter()?;
        let lon = self.angle()?;
        let east = self.letter()?;
        let (Some(lat), Some(lon)) = (lat, lon) else {
            return Ok(None);
        };
        let lat_e7 = match north {
            Some(b'N') => lat,
            Some(b'S') => -lat,
            _ => return Err(Unreadable),
        };
        let lon_e7 = match east {
            Some(b'E') => lon,
            Some(b'W') => -lon,
            _ => return Err(Unreadable),
        };
        if lat > 900_000_000 || lon > 1_800_000_000 {
            return Err(Unreadable);
        }
        // Receivers without a fix send zeros; no circuit lies there.
        Ok(Some(Fix { lat_e7, lon_e7 }).filter(|_| lat != 0 || lon != 0))
    }

    /// An angle `dddmm.mmmm` in 1e-7 degree.
    fn angle(&mut self) -> Field<i32> {
        let Some((whole, rest)) = self.decimal(7)? else {
            return Ok(None);
        };
        let (degrees, minutes) = (whole / 100, whole % 100);
        if degrees > 180 || minutes > 59 {
            return Err(Unreadable);
        }
        let minutes_e7 = minutes.wrapping_mul(10_000_000).wrapping_add(rest);
        let angle_e7 = degrees.wrapping_mul(10_000_000) + (minutes_e7 + 30) / 60;
        Ok(i32::try_from(angle_e7).ok())
    }

    /// A date `ddmmyy`; an impossible one is no date.
    pub(super) fn date(&mut self) -> Field<i32> {
        let Some((date, _)) = self.decimal(0)? else {
            return Ok(None);
        };
        let (day, month, year) = (date / 10_000, date / 100 % 100, date % 100);
        let century = if year >= 80 { 1900 } else { 2000 };
        let year = i32::try_from(year).unwrap_or(0).wrapping_add(century);
        let day = u8::try_from(day).unwrap_or(0);
        let month = u8::try_from(month).unwrap_or(0);
        Ok(day_number(year, month, day))
    }
}
