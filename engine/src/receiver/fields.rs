//! The fields of an NMEA sentence, in fixed point.

use super::clock::day_number;
use super::nmea::{Field, Fix, TURN_E4DEG, Unreadable};

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
    #[inline]
    pub(super) fn decimal(&mut self, places: u8) -> Field<(u32, u32)> {
        let (whole, digits, end) = self.digits(u32::MAX);
        // Nine digits fit.
        if digits > 9 {
            return Err(Unreadable);
        }
        match end {
            Some(b'.') => {}
            Some(_) => return Err(Unreadable),
            None => return Ok((digits != 0).then_some((whole, 0))),
        }
        let (rest, some) = self.fraction(places)?;
        if digits != 0 || some {
            Ok(Some((whole, rest)))
        } else {
            Err(Unreadable)
        }
    }

    /// What follows the point, times ten to the `places`, and whether anything does.
    #[inline]
    fn fraction(&mut self, places: u8) -> Result<(u32, bool), Unreadable> {
        let (mut rest, digits, mut end) = self.digits(u32::from(places));
        let mut left_out = None;
        if let Some(digit @ b'0'..=b'9') = end {
            left_out = Some(digit);
            (_, _, end) = self.digits(u32::MAX);
        }
        if end.is_some() {
            return Err(Unreadable);
        }
        for _ in digits..u32::from(places) {
            rest = rest.wrapping_mul(10);
        }
        let round_up = u32::from(left_out.is_some_and(|digit| digit >= b'5'));
        let some = digits != 0 || left_out.is_some();
        Ok((rest.wrapping_add(round_up), some))
    }

    /// The number that so many digits make at most, how many they are, and the byte behind them,
    /// which is taken too; `None` at the field's end.
    #[inline]
    fn digits(&mut self, most: u32) -> (u32, u32, Option<u8>) {
        let mut number = 0u32;
        let mut digits = 0u32;
        let mut bytes = self.rest.iter();
        let end = loop {
            let Some(&byte) = bytes.next() else {
                break None;
            };
            let digit = byte.wrapping_sub(b'0');
            if digit > 9 || digits == most {
                break Some(byte).filter(|&byte| byte != b',');
            }
            number = number.wrapping_mul(10).wrapping_add(u32::from(digit));
            digits = digits.wrapping_add(1);
        };
        self.rest = bytes.as_slice();
        (number, digits, end)
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
