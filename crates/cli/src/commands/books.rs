//! Level books: reduced by height of instrument and by rise and fall, checked and closed.

use crate::exit::{CHECK_FAILED, Stop};
use crate::report::Text;
use crate::session::{Session, count};
use crate::text::table::{Side, Table};
use crate::text::words::Words;
use floorwright_engine::survey::{
    BeyondLimit, MisclosureVerdict, ReducedBook, SpreadBy, SpreadRow, house_rule, judge_misclosure,
    reduce_book, spread_misclosure,
};
use floorwright_engine::units::{ExactLength, Length};
use serde::Serialize;

/// A level book worked out.
#[derive(Serialize)]
pub struct Answer {
    id: String,
    book: ReducedBook,
    closure: Option<MisclosureVerdict>,
    spread: Option<Vec<SpreadRow>>,
    no_spread: Option<String>,
}

impl Answer {
    /// Whether a check fails or the book does not close.
    pub fn is_bad(&self) -> bool {
        let own_checks = self.book.checks.iter().all(|check| check.holds());
        let written = self.book.written.as_ref().is_none_or(|written| written.holds());
        let closes = self.closure.as_ref().is_none_or(MisclosureVerdict::is_within);
        !(own_checks && written && closes)
    }
}

/// Reduces every book of the job.
pub fn reduce(session: &Session, accept_misclosure: bool) -> Result<Vec<Answer>, Stop> {
    session
        .input
        .books
        .iter()
        .map(|named| {
            let book = reduce_book(&named.book).map_err(|faults| {
                let what: Vec<String> =
                    faults.iter().map(|fault| format!("book {}: {fault}", named.id)).collect();
                Stop::new(CHECK_FAILED, what.join("\n"))
            })?;
            let closure = book.misclosure.and_then(|misclosure| {
                judge_misclosure(misclosure.to_length(), &house_rule(), book.setups.len(), None)
                    .ok()
            });
            let beyond = if accept_misclosure { BeyondLimit::Accept } else { BeyondLimit::Refuse };
            let spread = closure
                .as_ref()
                .map(|closure| spread_misclosure(&book, closure, SpreadBy::Setups, beyond));
            let (spread, no_spread) = match spread {
                Some(Ok(rows)) => (Some(rows), None),
                Some(Err(why)) => (None, Some(why.to_string())),
                None => (None, None),
            };
            Ok(Answer { id: named.id.clone(), book, closure, spread, no_spread })
        })
        .collect()
}

/// Says what came of the books.
pub fn say(text: &mut Text, answers: &[Answer], words: Words) {
    if answers.is_empty() {
        text.heading("Level book");
        text.say("The job has no [[book]].");
    }
    for answer in answers {
        say_book(text, answer, words);
    }
}

fn say_book(text: &mut Text, answer: &Answer, words: Words) {
    let book = &answer.book;
    let exact = |length: ExactLength| words.staff_number(length.to_length());
    text.heading(&format!(
        "Level book {}, in {} ({})",
        answer.id,
        words.level_unit(),
        count(book.setups.len(), "setup", "setups")
    ));
    let mut columns = vec![
        ("Point", Side::Left),
        ("Setup", Side::Right),
        ("Rise", Side::Right),
        ("Fall", Side::Right),
        ("Level", Side::Right),
    ];
    if answer.spread.is_some() {
        columns.push(("Correction", Side::Right));
        columns.push(("Adjusted", Side::Right));
    }
    let mut table = Table::new(&columns);
    for (row_idx, row) in book.rows.iter().enumerate() {
        let rise = row.step.filter(|step| *step >= ExactLength::ZERO).map(exact);
        let fall = row.step.filter(|step| *step < ExactLength::ZERO).map(|step| exact(-step));
        let mut cells = vec![
            row.point.to_string(),
            if row.setup == 0 { String::new() } else { row.setup.to_string() },
            rise.unwrap_or_default(),
            fall.unwrap_or_default(),
            exact(row.level),
        ];
        if let Some(spread) = answer.spread.as_ref().and_then(|rows| rows.get(row_idx)) {
            cells.push(words.signed(spread.correction));
            cells.push(words.level_number(spread.level));
        }
        table.row(cells);
    }
    text.table(&table);
    let sums = &book.sums;
    text.say(format!(
        "Sums: BS {}, IS {}, FS {}; rises {}, falls {}.",
        exact(sums.back),
        exact(sums.intermediate),
        exact(sums.fore),
        exact(sums.rise),
        exact(sums.fall)
    ));
    for check in &book.checks {
        text.item(if check.holds() { "ok" } else { "!!" }, check.to_string());
    }
    if let Some(written) = &book.written {
        for check in &written.checks {
            text.item(if check.holds() { "ok" } else { "!!" }, format!("as written: {check}"));
        }
        for slip in &written.slips {
            text.item("!!", slip.to_string());
        }
    }
    if let Some(closure) = &answer.closure {
        text.item(if closure.is_within() { "ok" } else { "!!" }, closure.to_string());
    }
    if let Some(why) = &answer.no_spread {
        text.say(format!("Not shared out: {why}. --accept-misclosure shows it all the same."));
    }
}

/// A misclosure against the rule for a house, as an addition to a sentence.
pub fn against_rule(misclosure: Length, n_setups: Option<u64>, words: Words) -> String {
    let n_setups = n_setups.and_then(|n_setups| usize::try_from(n_setups).ok());
    let Some(n_setups) = n_setups else { return String::new() };
    match judge_misclosure(misclosure, &house_rule(), n_setups, None) {
        Ok(verdict) => format!(
            ", {} {}",
            if verdict.is_within() { "within" } else { "beyond" },
            words.length(verdict.allowed)
        ),
        Err(_) => String::new(),
    }
}
