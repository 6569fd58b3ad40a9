//! Times as people write them on site: minutes, or what the clock said.

/// A time as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimeOfReading {
    /// Minutes since the builder started counting.
    Counted(f64),
    /// Minutes since midnight.
    Clock(f64),
}

/// Minutes of a day.
pub const DAY: f64 = 1440.0;

/// Reads minutes (`12.5`), or a clock time (`14:05`, `14:05:30`).
///
/// # Errors
/// The text itself, if it is neither.
///
/// # Examples
/// ```
/// use floorwright_job::time::{TimeOfReading, parse_time};
/// assert_eq!(parse_time("14:05:30"), Ok(TimeOfReading::Clock(845.5)));
/// assert_eq!(parse_time("12.5"), Ok(TimeOfReading::Counted(12.5)));
/// assert!(parse_time("25:00").is_err());
/// ```
pub fn parse_time(text: &str) -> Result<TimeOfReading, String> {
    let text = text.trim();
    let wrong = || text.to_owned();
    let digits = |part: &str| {
        let plain = (1..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
        if plain { part.parse::<u32>().ok() } else { None }
    };
    let parts: Vec<&str> = text.split(':').collect();
    match parts[..] {
        [minutes] => {
            let plain = !minutes.is_empty()
                && minutes.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
            let minutes: f64 =
                if plain { minutes.parse().map_err(|_| wrong())? } else { return Err(wrong()) };
            if minutes.is_finite() { Ok(TimeOfReading::Counted(minutes)) } else { Err(wrong()) }
        }
        [hours, minutes] | [hours, minutes, _] => {
            let seconds = parts.get(2).map_or(Some(0), |seconds| digits(seconds));
            match (digits(hours), digits(minutes), seconds) {
                (Some(hours @ 0..24), Some(minutes @ 0..60), Some(seconds @ 0..60)) => {
                    let minutes = f64::from(hours * 60 + minutes) + f64::from(seconds) / 60.0;
                    Ok(TimeOfReading::Clock(minutes))
                }
                _ => Err(wrong()),
            }
        }
        _ => Err(wrong()),
    }
}

/// Counts clock times on past midnight: a time more than half a day before the one before it
/// belongs to the next day.
#[derive(Clone, Copy, Debug, Default)]
pub struct Midnight {
    before: Option<f64>,
    days: f64,
}

impl Midnight {
    /// The minutes since the first midnight.
    pub fn pass(&mut self, minutes: f64) -> f64 {
        if self.before.is_some_and(|before| before - minutes > DAY / 2.0) {
            self.days += DAY;
        }
        self.before = Some(minutes);
        minutes + self.days
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn midnight_is_passed_and_a_small_step_back_is_not_midnight() {
        let mut midnight = Midnight::default();
        let passed: Vec<f64> =
            [1430.0, 1435.0, 2.0, 1.0, 900.0].map(|minutes| midnight.pass(minutes)).to_vec();
        assert_eq!(passed, [1430.0, 1435.0, 1442.0, 1441.0, 2340.0]);
    }

    #[test]
    fn what_is_not_a_time_is_refused() {
        for text in
            ["", "24:00", "12:60", "1:2:3:4", "12:5x", "-5", "1e3", "NaN", "12:", ":12", "12:00:61"]
        {
            assert!(parse_time(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn arbitrary_text_never_panics(text in any::<String>()) {
            let _ = parse_time(&text);
        }
    }
}
