//! The day, by this machine's clock: for paper of a job that has no date.

use time::OffsetDateTime;

/// Today as year-month-day, of universal time.
pub fn today() -> String {
    OffsetDateTime::now_utc().date().to_string()
}

#[cfg(test)]
mod tests {
    use std::process::Command;

    use super::*;

    /// The same day as `date -u` says, asked before and after so that midnight may pass.
    #[test]
    fn today_is_the_day_that_the_machine_says() {
        let by_the_machine = || {
            let said = Command::new("date").args(["-u", "+%Y-%m-%d"]).output().unwrap();
            String::from_utf8(said.stdout).unwrap().trim().to_owned()
        };
        let (before, ours, after) = (by_the_machine(), today(), by_the_machine());
        assert!(ours == before || ours == after, "{ours} is neither {before} nor {after}");
    }
}
