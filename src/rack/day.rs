//! A day of the calendar, for excuses that run out.

use std::fmt;
use std::time::{SystemTime, UNIX_EPOCH};

/// A day (Gregorian), ordered by time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    year: i64,
    month: u8,
    day: u8,
}

impl Day {
    /// `2027-01-31`; `None` for what is no day.
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let mut number = |digits: usize| {
            let part = parts.next()?;
            let right = part.len() == digits && part.bytes().all(|byte| byte.is_ascii_digit());
            right.then(|| part.parse::<u16>().ok()).flatten()
        };
        let (year, month, day) = (i64::from(number(4)?), number(2)?, number(2)?);
        let (month, day) = (u8::try_from(month).ok()?, u8::try_from(day).ok()?);
        let last = days_of(year, month)?;
        ((1..=last).contains(&day) && parts.next().is_none()).then_some(Self { year, month, day })
    }

    /// Today, by the system's clock in UTC.
    pub fn today() -> Self {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        Self::after_1970(since.as_secs() / 86_400)
    }

    fn after_1970(mut days: u64) -> Self {
        let (mut year, mut month) = (1970, 1);
        loop {
            let here = u64::from(days_of(year, month).unwrap_or(31));
            if days < here {
                let day = u8::try_from(days + 1).unwrap_or(1);
                return Self { year, month, day };
            }
            days -= here;
            (year, month) = if month == 12 {
                (year + 1, 1)
            } else {
                (year, month + 1)
            };
        }
    }
}

fn days_of(year: i64, month: u8) -> Option<u8> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    match month {
        2 => Some(if leap { 29 } else { 28 }),
        4 | 6 | 9 | 11 => Some(30),
        1..=12 => Some(31),
        _ => None,
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_written_and_ordered() {
        let day = |text| Day::parse(text).unwrap();
        assert_eq!(day("2027-01-31").to_string(), "2027-01-31");
        assert!(day("2026-12-31") < day("2027-01-01") && day("2027-01-31") < day("2027-02-01"));
        for wrong in [
            "2027-02-29",
            "2100-02-29",
            "2027-13-01",
            "27-1-1",
            "2027-01-00",
            "2027-01-01-",
            "tomorrow",
        ] {
            assert_eq!(Day::parse(wrong), None, "{wrong}");
        }
        assert!(Day::parse("2028-02-29").is_some() && Day::parse("2000-02-29").is_some());
    }

    #[test]
    fn days_are_counted_from_1970() {
        // From date(1): seconds since the epoch over 86,400.
        for (days, text) in [
            (0, "1970-01-01"),
            (58, "1970-02-28"),
            (11_016, "2000-02-29"),
            (20_819, "2027-01-01"),
        ] {
            assert_eq!(Day::after_1970(days).to_string(), text);
        }
    }
}
