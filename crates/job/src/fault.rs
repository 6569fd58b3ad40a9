//! What is wrong with a document: one fault for each thing, with its place and the way out.

use serde::Serialize;
use std::fmt;

/// Whether the job can be used as it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// The job cannot be used until this is put right.
    Error,
    /// The job can be used; the builder should look at this.
    Warning,
}

/// One thing that is wrong with a document.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The file, as the job names it.
    pub file: String,
    /// The line, from 1, where it is known.
    pub line: Option<usize>,
    /// The column in characters, from 1, where it is known.
    pub column: Option<usize>,
    /// The thing that is at fault, such as `support B3`; empty for the document as a whole.
    pub place: String,
    /// What is wrong with it.
    pub what: String,
    /// The value that was found.
    pub value: Option<String>,
    /// What the value has to be.
    pub limit: Option<String>,
    /// The way out.
    pub hint: Option<String>,
    /// Whether the job can be used all the same.
    pub severity: Severity,
}

impl Fault {
    /// A fault that keeps the job from being used.
    pub fn error(file: &str, place: impl Into<String>, what: impl Into<String>) -> Self {
        Self {
            file: file.to_owned(),
            line: None,
            column: None,
            place: place.into(),
            what: what.into(),
            value: None,
            limit: None,
            hint: None,
            severity: Severity::Error,
        }
    }

    /// A fault that the builder should look at.
    pub fn warning(file: &str, place: impl Into<String>, what: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::error(file, place, what) }
    }

    /// With the line it is on.
    pub fn at_line(mut self, line: Option<usize>) -> Self {
        self.line = line;
        self
    }

    /// With the value found.
    pub fn value(mut self, value: impl Into<String>) -> Self {
        self.value = Some(value.into());
        self
    }

    /// With what the value has to be.
    pub fn limit(mut self, limit: impl Into<String>) -> Self {
        self.limit = Some(limit.into());
        self
    }

    /// With the way out.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// Whether the job cannot be used because of this.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

impl fmt::Display for Fault {
    /// `file:line: place: what: value, limit`; the alternate form `{:#}` adds the hint on a line
    /// of its own.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        f.write_str(": ")?;
        if self.severity == Severity::Warning {
            f.write_str("warning: ")?;
        }
        if !self.place.is_empty() {
            write!(f, "{}: ", self.place)?;
        }
        f.write_str(&self.what)?;
        if let Some(value) = &self.value {
            write!(f, ": {value}")?;
        }
        if let Some(limit) = &self.limit {
            write!(f, ", must be {limit}")?;
        }
        if f.alternate()
            && let Some(hint) = &self.hint
        {
            write!(f, "\n  hint: {hint}")?;
        }
        Ok(())
    }
}

/// The known name that is nearest to a written one, if it is near enough to be meant and no other
/// is as near.
pub(crate) fn nearest_name<'a>(
    written: &str,
    known: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let reach = if written.chars().count() <= 3 { 1 } else { 2 + written.chars().count() / 8 };
    let mut best: Option<(usize, &str)> = None;
    let mut equally_near = false;
    for name in known.into_iter().filter(|name| *name != written) {
        let distance = edit_distance(&written.to_lowercase(), &name.to_lowercase());
        if distance > reach {
            continue;
        }
        match best {
            Some((least, _)) if distance > least => {}
            Some((least, _)) if distance == least => equally_near = true,
            _ => (best, equally_near) = (Some((distance, name)), false),
        }
    }
    best.filter(|_| !equally_near).map(|(_, name)| name)
}

/// How many letters have to be put in, taken out, changed or swapped with the next.
fn edit_distance(from: &str, to: &str) -> usize {
    let from: Vec<char> = from.chars().take(64).collect();
    let to: Vec<char> = to.chars().take(64).collect();
    let mut rows: Vec<Vec<usize>> = vec![(0..=to.len()).collect()];
    for row in 1..=from.len() {
        let mut current = vec![row];
        for col in 1..=to.len() {
            let change = usize::from(from[row - 1] != to[col - 1]);
            let mut best = (rows[row - 1][col] + 1)
                .min(current[col - 1] + 1)
                .min(rows[row - 1][col - 1] + change);
            if row > 1 && col > 1 && from[row - 1] == to[col - 2] && from[row - 2] == to[col - 1] {
                best = best.min(rows[row - 2][col - 2] + 1);
            }
            current.push(best);
        }
        rows.push(current);
    }
    rows[from.len()][to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_reads_as_one_line_and_its_hint_as_another() {
        let fault = Fault::error("job.toml", "support B3", "gap is out of range")
            .at_line(Some(14))
            .value("-3.0 mm")
            .limit("0.0 mm to 300.0 mm")
            .hint("a gap is the air between support and bearer, zero or more");
        assert_eq!(
            fault.to_string(),
            "job.toml:14: support B3: gap is out of range: -3.0 mm, must be 0.0 mm to 300.0 mm"
        );
        assert!(
            format!("{fault:#}")
                .ends_with("\n  hint: a gap is the air between support and bearer, zero or more")
        );
    }

    #[test]
    fn a_slip_of_the_finger_finds_its_name() {
        let names = ["height", "gap", "max_lift", "fixed", "id"];
        let check = |written, expected| assert_eq!(nearest_name(written, names), expected);
        check("hieght", Some("height"));
        check("gpa", Some("gap"));
        check("maxlift", Some("max_lift"));
        check("colour", None);
        assert_eq!(nearest_name("A9", ["A1", "A2"]), None);
        assert_eq!(nearest_name("A22", ["A1", "A2"]), Some("A2"));
    }
}
