//! The day, by this machine's clock: for paper of a job that has no date.

use std::time::{SystemTime, UNIX_EPOCH};

/// Today as year-month-day, of universal time.
pub fn today() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    date_of(since.as_secs() / 86_400)
}

/// The date so many days after the first of January 1970, in the Gregorian calendar.
fn date_of(days: u64) -> String {
    let is_leap = |year: u64| year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let (mut year, mut left) = (1970, days);
    while left >= 365 + u64::from(is_leap(year)) {
        left -= 365 + u64::from(is_leap(year));
        year += 1;
    }
    let lengths = [31, 28 + u64::from(is_leap(year)), 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut month = 1;
    for length in lengths {
        if left < length {
            break;
        }
        left -= length;
        month += 1;
    }
    format!("{year:04}-{month:02}-{:02}", left + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Days as `date -u -d DATE +%s` divided by 86,400 gives them.
    #[test]
    fn days_are_dates() {
        for (days, date) in [
            (0, "1970-01-01"),
            (364, "1970-12-31"),
            (789, "1972-02-29"),
            (790, "1972-03-01"),
            (11_016, "2000-02-29"),
            (20_783, "2026-11-26"),
            (47_541, "2100-03-01"),
        ] {
            assert_eq!(date_of(days), date);
        }
    }
}
