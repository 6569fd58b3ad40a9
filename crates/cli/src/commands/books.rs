//! Level books: reduced by height of instrument and by rise and fall, checked and closed.

use crate::exit::{CHECK_FAILED, Stop, USAGE};
use crate::report::Text;
use crate::session::Session;
use crate::text::table::{Side, Table};
use floorwright_engine::survey::{
    ArithmeticCheck, BeyondLimit, CheckKind, Loop, MisclosureModel, MisclosureRule,
    MisclosureVerdict, NoSpread, ReducedBook, Slip, SourcePlace, SpreadBy, SpreadRow,
    WrittenColumn, house_rule, judge_misclosure, misclosure_rules, reduce_book, spread_misclosure,
};
use floorwright_engine::units::ExactLength;
use floorwright_job::said::count;
use floorwright_job::words::Words;
use serde::Serialize;

/// A level book worked out.
#[derive(Serialize)]
pub struct Answer {
    id: String,
    book: ReducedBook,
    closure: Option<MisclosureVerdict>,
    spread: Option<Vec<SpreadRow>>,
    no_spread: Option<String>,
    /// Whether the builder can have it spread by accepting the misclosure.
    #[serde(skip)]
    can_accept: bool,
    /// Where each row stands, for what is said of it.
    #[serde(skip)]
    places: Vec<Option<SourcePlace>>,
}

impl Answer {
    /// Whether a check fails or the book does not close.
    pub fn is_bad(&self) -> bool {
        let own_checks = self.book.checks.iter().all(|check| check.holds());
        let written = self.book.written.as_ref().is_none_or(|written| written.holds());
        let closes = self.closure.as_ref().is_none_or(MisclosureVerdict::is_within);
        !(own_checks && written && closes)
    }

    /// What is wrong with it, in a sentence.
    pub fn complaint(&self, words: Words) -> Option<String> {
        if !self.is_bad() {
            return None;
        }
        let id = &self.id;
        Some(match &self.closure {
            Some(closure) if !closure.is_within() => format!(
                "level book {id} does not close: {} where {} is allowed; --book shows it",
                words.length(closure.misclosure),
                words.length(closure.allowed)
            ),
            _ => format!(
                "level book {id} has a figure that its sights do not bear out; --book shows it"
            ),
        })
    }
}

/// Reduces every book of the job.
pub fn reduce(
    session: &Session,
    rule: &MisclosureRule,
    accept_misclosure: bool,
) -> Result<Vec<Answer>, Stop> {
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
            let length = book.rows.last().and_then(|row| row.distance);
            let closure = book.misclosure.map(|misclosure| {
                judge_misclosure(misclosure.to_length(), rule, book.setups.len(), length)
            });
            let (closure, not_judged) = match closure {
                Some(Ok(verdict)) => (Some(verdict), None),
                Some(Err(why)) => (None, Some(why.to_string())),
                None => (None, None),
            };
            let beyond = if accept_misclosure { BeyondLimit::Accept } else { BeyondLimit::Refuse };
            let spread = closure
                .as_ref()
                .map(|closure| spread_misclosure(&book, closure, SpreadBy::Setups, beyond));
            let can_accept = matches!(spread, Some(Err(NoSpread::Beyond { .. })));
            let (spread, no_spread) = match spread {
                Some(Ok(rows)) => (Some(rows), None),
                Some(Err(why)) => (None, Some(why.to_string())),
                None => (None, not_judged),
            };
            let id = named.id.clone();
            let places = named.book.rows.iter().map(|row| row.place.clone()).collect();
            Ok(Answer { id, book, closure, spread, no_spread, can_accept, places })
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
        text.item(mark(check.holds()), check_sentence(check, words));
    }
    if let Some(written) = &book.written {
        for check in &written.checks {
            let sentence = check_sentence(check, words);
            text.item(mark(check.holds()), format!("as written: {sentence}"));
        }
        for slip in &written.slips {
            text.item("!!", slip_sentence(slip, &answer.places, words));
        }
    }
    if let Some(closure) = &answer.closure {
        text.item(mark(closure.is_within()), closure.to_string());
    }
    if let Some(why) = &answer.no_spread {
        let way_out =
            if answer.can_accept { " --accept-misclosure shows it all the same." } else { "" };
        text.say(format!("Not shared out: {why}.{way_out}"));
    }
}

fn mark(holds: bool) -> &'static str {
    if holds { "ok" } else { "!!" }
}

/// A check in the unit of the book, so that its sums can be found in it.
fn check_sentence(check: &ArithmeticCheck, words: Words) -> String {
    let (left, right) = match check.kind {
        CheckKind::BackLessFore => ("sum of BS less sum of FS", "last level less first"),
        CheckKind::RiseLessFall => ("rises less falls", "sum of BS less sum of FS"),
        CheckKind::LineTimesSights => {
            ("sum of IS, FS and levels", "lines of sight times their sights")
        }
    };
    format!(
        "{left} {} against {right} {}: {}",
        words.staff_number(check.left.to_length()),
        words.staff_number(check.right.to_length()),
        if check.holds() { "holds" } else { "fails" }
    )
}

/// A slip at the line of the file where it was written.
fn slip_sentence(slip: &Slip, places: &[Option<SourcePlace>], words: Words) -> String {
    let place = slip.row.checked_sub(1).and_then(|row| places.get(row)).and_then(Option::as_ref);
    let row = place.map_or_else(
        || format!("row {}", slip.row),
        |place| format!("{}:{}", place.file, place.line),
    );
    let column = match slip.column {
        WrittenColumn::Level => "level",
        WrittenColumn::Step => "rise or fall",
    };
    format!(
        "{row}, {}: the {column} is written as {}, the readings give {}",
        slip.point,
        words.staff_number(slip.written.to_length()),
        words.staff_number(slip.expected.to_length())
    )
}

/// A loop's misclosure against a rule, as an addition to a sentence.
pub fn against_rule(closed: &Loop, rule: &MisclosureRule, words: Words) -> String {
    // A rule by length asks for no setups, and one by setups for no length.
    let n_setups = closed.n_setups.and_then(|n| usize::try_from(n).ok()).unwrap_or(1);
    let by_setups = !matches!(rule.model, MisclosureModel::PerKilometre(_));
    if by_setups && closed.n_setups.is_none() {
        return format!(" ({} goes by setups, which the legs do not give)", rule.name);
    }
    match judge_misclosure(closed.misclosure, rule, n_setups, closed.length) {
        Ok(verdict) => format!(
            ", {} the {} of {}",
            if verdict.is_within() { "within" } else { "beyond" },
            words.length(verdict.allowed),
            rule.name
        ),
        Err(why) => format!(" ({why})"),
    }
}

/// The allowance of that name, or the one for a house.
pub fn allowance(name: Option<&str>) -> Result<MisclosureRule, Stop> {
    let Some(name) = name else { return Ok(house_rule()) };
    let rules = misclosure_rules();
    rules.iter().find(|rule| rule.name == name).cloned().ok_or_else(|| {
        let known: Vec<String> = rules
            .iter()
            .map(|rule| {
                format!("  {}: {} ({}: {})", rule.name, rule.intended_for, rule.status, rule.source)
            })
            .collect();
        Stop::new(USAGE, format!("--allowance: there is no \"{name}\""))
            .hint(format!("choose one of\n{}", known.join("\n")))
    })
}
