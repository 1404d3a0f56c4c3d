//! Dates of the calendar, for what falls due. No clock: whoever asks says what
//! day it is.

use std::fmt;
use std::str::FromStr;

const SECONDS_PER_DAY: i64 = 86_400;
/// Days from 0000-03-01 to 1970-01-01 in the proleptic Gregorian calendar.
const EPOCH: i64 = 719_468;
/// Days in 400 years.
const ERA: i64 = 146_097;

/// A day of the Gregorian calendar, in UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    /// Days since 1970-01-01.
    days: i64,
}

/// A text that is no date.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no date: write year, month and day, such as `2027-03-01`")]
pub struct DateError(pub String);

impl Date {
    /// The day on which a moment lies, given in seconds since 1970.
    pub const fn of_unix_seconds(seconds: i64) -> Date {
        Date {
            days: seconds.div_euclid(SECONDS_PER_DAY),
        }
    }

    /// Days from this day to another; below zero if the other is earlier.
    pub const fn days_until(self, other: Date) -> i64 {
        other.days - self.days
    }

    /// Year, month and day (after Howard Hinnant's `civil_from_days`, from memory).
    fn civil(self) -> (i64, i64, i64) {
        let shifted = self.days + EPOCH;
        let era = shifted.div_euclid(ERA);
        let day_of_era = shifted.rem_euclid(ERA);
        let year_of_era =
            (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        // Months count from March, so that the leap day is the last of a year.
        let shifted_month = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
        let month = if shifted_month < 10 {
            shifted_month + 3
        } else {
            shifted_month - 9
        };
        let year = era * 400 + year_of_era + i64::from(month <= 2);
        (year, month, day)
    }

    fn of_civil(year: i64, month: i64, day: i64) -> Date {
        let year = year - i64::from(month <= 2);
        let era = year.div_euclid(400);
        let year_of_era = year.rem_euclid(400);
        let shifted_month = (month + 9) % 12;
        let day_of_year = (153 * shifted_month + 2) / 5 + day - 1;
        let day_of_era = 365 * year_of_era + year_of_era / 4 - year_of_era / 100 + day_of_year;
        Date {
            days: era * ERA + day_of_era - EPOCH,
        }
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.civil();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

impl FromStr for Date {
    type Err = DateError;

    fn from_str(text: &str) -> Result<Date, DateError> {
        let wrong = || DateError(text.to_owned());
        let mut parts = text.trim().split('-');
        let mut part = |length: usize| {
            let digits = parts.next().ok_or_else(wrong)?;
            let plain = digits.len() == length && digits.bytes().all(|b| b.is_ascii_digit());
            let number = digits.parse::<i64>().ok().filter(|_| plain);
            number.ok_or_else(wrong)
        };
        let (year, month, day) = (part(4)?, part(2)?, part(2)?);
        let date = Date::of_civil(year, month, day);
        // A day that does not exist, such as the 30th of February, comes back as another.
        let exists = (1..=12).contains(&month) && date.civil() == (year, month, day);
        if parts.next().is_some() || !exists {
            return Err(wrong());
        }
        Ok(date)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn days_are_counted_as_the_calendar_has_them() {
        let check = |text: &str, days: i64| assert_eq!(text.parse(), Ok(Date { days }), "{text}");
        check("1970-01-01", 0);
        check("2000-02-29", 11_016);
        check("2000-03-01", 11_017);
        check("2027-03-01", 20_878);
        let leap: Result<Date, _> = "2028-02-29".parse();
        assert!(leap.is_ok());
        assert_eq!(Date::of_unix_seconds(-1).to_string(), "1969-12-31");
        assert_eq!(
            Date::of_unix_seconds(1_320_067_464).to_string(),
            "2011-10-31"
        );
    }

    #[test]
    fn what_is_no_date_is_refused() {
        for text in [
            "",
            "2027",
            "2027-3-1",
            "2027-13-01",
            "2027-00-10",
            "2027-02-29",
            "2027-04-31",
            "2027-03-01-",
            "2027-03-01T00:00:00Z",
            "27-03-01",
            "２０２７-03-01",
            "-027-03-01",
        ] {
            assert!(text.parse::<Date>().is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn every_day_is_written_and_read(days in -700_000i64..2_900_000) {
            let date = Date { days };
            prop_assert_eq!(date.to_string().parse(), Ok(date));
        }
    }
}
