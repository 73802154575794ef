//! When a frame was taken, as the camera's clock had it.

use std::fmt;

use jiff::{Timestamp, civil, tz::Offset};
use serde::{Deserialize, Serialize};

/// Nanoseconds a second.
const NS: f64 = 1e9;

/// A moment on the camera's clock: civil time, fraction of the second and offset from UTC, each
/// as far as the file says.
///
/// Ordered by the clock's face (civil time, then fraction), which is right within one body whose
/// clock was not moved. To compare bodies use [`TakenAt::instant`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct TakenAt {
    /// Civil time in whole seconds.
    pub local: civil::DateTime,
    /// Fraction of the second in nanoseconds; `None` when the camera writes whole seconds only.
    pub subsec_ns: Option<u32>,
    offset_s: Option<i32>,
}

impl TakenAt {
    /// From the text of an Exif date ("2026:05:01 07:08:09"), of a fraction ("05" is 0.05 s) and
    /// of an offset ("+02:00"). `None` when the date is blank, all zeros or no date.
    pub fn from_exif(date: &str, subsec: Option<&str>, offset: Option<&str>) -> Option<Self> {
        Some(TakenAt {
            local: civil_time(date)?,
            subsec_ns: subsec.and_then(fraction_ns),
            offset_s: offset.and_then(offset_seconds),
        })
    }

    /// The offset from UTC, when the file says it.
    pub fn offset(&self) -> Option<Offset> {
        Offset::from_seconds(self.offset_s?).ok()
    }

    /// The moment on the world's clock; `None` without an offset.
    pub fn instant(&self) -> Option<Timestamp> {
        self.offset()?.to_timestamp(self.with_fraction()).ok()
    }

    /// Seconds from an earlier moment to this one: between instants when both have an offset,
    /// else between clock faces.
    pub fn seconds_since(&self, earlier: &TakenAt) -> f64 {
        let ns = match (self.instant(), earlier.instant()) {
            (Some(a), Some(b)) => a.duration_since(b).as_nanos(),
            _ => self.with_fraction().duration_since(earlier.with_fraction()).as_nanos(),
        };
        ns as f64 / NS
    }

    fn with_fraction(&self) -> civil::DateTime {
        let ns = self.subsec_ns.and_then(|ns| i32::try_from(ns).ok()).unwrap_or(0);
        self.local.with().subsec_nanosecond(ns).build().unwrap_or(self.local)
    }
}

/// ISO 8601: "2026-05-01T07:08:09.05+02:00", without the parts that are not known.
impl fmt::Display for TakenAt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.with_fraction())?;
        if let Some(offset_s) = self.offset_s {
            let sign = if offset_s < 0 { '-' } else { '+' };
            let minutes = offset_s.abs() / 60;
            write!(f, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)?;
        }
        Ok(())
    }
}

fn civil_time(text: &str) -> Option<civil::DateTime> {
    let digits: &[u8] = text.trim().as_bytes();
    let number = |from: usize, to: usize| -> Option<i16> {
        let part = digits.get(from..to)?;
        part.iter().all(u8::is_ascii_digit).then_some(())?;
        std::str::from_utf8(part).ok()?.parse().ok()
    };
    let small = |from: usize| i8::try_from(number(from, from.checked_add(2)?)?).ok();
    // A clock that writes 60 seconds means the last one of the minute.
    let second = small(17)?.min(59);
    let time = civil::DateTime::new(
        number(0, 4)?,
        small(5)?,
        small(8)?,
        small(11)?,
        small(14)?,
        second,
        0,
    )
    .ok()?;
    (time.year() > 0).then_some(time)
}

/// The digits are a decimal fraction: "5" is 0.5 s, "05" and "050" are 0.05 s.
fn fraction_ns(text: &str) -> Option<u32> {
    let digits: Vec<u32> =
        text.trim().chars().map_while(|c| c.to_digit(10)).chain([0; 9]).take(9).collect();
    let written = text.trim().starts_with(|c: char| c.is_ascii_digit());
    // Nine digits fit.
    written.then(|| digits.iter().fold(0u32, |sum, d| sum.saturating_mul(10).saturating_add(*d)))
}

fn offset_seconds(text: &str) -> Option<i32> {
    let text = text.trim();
    if text == "Z" {
        return Some(0);
    }
    let sign = match text.chars().next()? {
        '+' => 1,
        '-' => -1,
        _ => return None,
    };
    let (hours, minutes) = text[1..].split_once(':')?;
    let whole = |t: &str, max: i32| {
        let digits = t.len() <= 2 && t.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| t.parse().ok()).flatten().filter(|v: &i32| *v <= max)
    };
    // Civil offsets run from -12:00 to +14:00.
    let of_hours = whole(hours, 14)?.checked_mul(3600)?;
    of_hours.checked_add(whole(minutes, 59)?.checked_mul(60)?)?.checked_mul(sign)
}

#[cfg(test)]
mod tests {
    use super::*;

    // facts E8 (Exif, DateTimeOriginal with SubSecTimeOriginal and OffsetTimeOriginal).
    #[test]
    fn date_fraction_and_offset_make_an_instant() {
        let at = TakenAt::from_exif("2026:05:01 07:08:09", Some("05"), Some("+02:00")).unwrap();
        assert_eq!(at.instant().unwrap().to_string(), "2026-05-01T05:08:09.05Z");
        assert_eq!(at.to_string(), "2026-05-01T07:08:09.05+02:00");
    }

    // Exif: SubSecTime holds the digits of a decimal fraction.
    #[test]
    fn fractions_are_decimal_digits() {
        for (text, ns) in [
            ("5", Some(500_000_000)),
            ("05", Some(50_000_000)),
            ("050  ", Some(50_000_000)),
            ("1234567890123", Some(123_456_789)),
            ("   ", None),
            ("", None),
        ] {
            assert_eq!(fraction_ns(text), ns, "{text}");
        }
    }

    #[test]
    fn blank_and_impossible_dates_are_unknown() {
        for text in [
            "    :  :     :  :  ",
            "0000:00:00 00:00:00",
            "2026:13:01 00:00:00",
            "2026:02:30 00:00:00",
            "2026:05:01",
            "",
            "ÿÿÿÿÿÿÿÿÿÿÿÿÿÿÿÿÿÿÿ",
        ] {
            assert_eq!(TakenAt::from_exif(text, None, None), None, "{text}");
        }
        let at = TakenAt::from_exif("2026-05-01T07:08:60", None, Some("   :  ")).unwrap();
        assert_eq!(at.to_string(), "2026-05-01T07:08:59");
        assert_eq!(at.instant(), None);
        for text in ["+99:00", "02:00", "+é2:00", "+", "é"] {
            assert_eq!(offset_seconds(text), None, "{text}");
        }
        assert_eq!(offset_seconds("-03:30"), Some(-12_600));
    }

    #[test]
    fn order_and_distance() {
        let a = TakenAt::from_exif("2026:05:01 07:08:09", Some("9"), None).unwrap();
        let b = TakenAt::from_exif("2026:05:01 07:08:10", Some("1"), None).unwrap();
        assert!(a < b);
        approx::assert_abs_diff_eq!(b.seconds_since(&a), 0.2, epsilon = 1e-9);
        let east = TakenAt::from_exif("2026:05:01 09:08:09", None, Some("+02:00")).unwrap();
        let west = TakenAt::from_exif("2026:05:01 07:08:10", None, Some("+00:00")).unwrap();
        approx::assert_abs_diff_eq!(west.seconds_since(&east), 1.0, epsilon = 1e-9);
    }
}
