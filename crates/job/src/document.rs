//! From the text of a file to its form, with the line of everything in it.
//!
//! The form may lack what could not be read; each such thing has its fault. Unknown keys are
//! found with the schema, so the forms are the only list of what a job may hold.

use crate::fault::{Fault, nearest_name};
use crate::form_v1::{FORMAT, Form, schema};
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

/// More faults of writing than this are not shown: the rest follow from the first.
const MOST_SYNTAX_FAULTS: usize = 20;

/// After so many entries of one block that cannot be read, lists are taken out whole.
const MOST_TAKEN_OUT: usize = 20;

/// The schema, made once.
static SCHEMA: LazyLock<Value> = LazyLock::new(schema);

/// The text of a file with the name that faults give it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourceFile {
    /// Its name, as the builder knows it.
    pub name: String,
    /// What is in it.
    pub text: String,
}

impl SourceFile {
    /// Joins a name with a text.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: text.into() }
    }
}

/// A form with the lines that it was read from.
#[derive(Clone, Debug)]
pub struct Document {
    pub(crate) form: Form,
    pub(crate) lines: Lines,
    pub(crate) faults: Vec<Fault>,
}

impl Document {
    /// Reads a job; whatever cannot be read is left out of the form and has its fault.
    pub fn parse(source: &SourceFile) -> Self {
        parse(source)
    }

    /// A form that was not read from a file; faults will have no lines.
    pub fn of_form(form: Form, file: &str) -> Self {
        Self { form, lines: Lines::new(file), faults: Vec::new() }
    }

    /// What was read.
    pub fn form(&self) -> &Form {
        &self.form
    }

    /// What could not be read.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }
}

/// Where everything of a form is written.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lines {
    /// The file of it all.
    pub file: String,
    /// Line by dotted path: `support.2.gap`, `setup.0.readings.3`.
    by_path: BTreeMap<String, usize>,
    /// Blocks of which something was taken out because it could not be read.
    damaged: BTreeSet<String>,
}

impl Lines {
    pub(crate) fn new(file: &str) -> Self {
        Self { file: file.to_owned(), ..Self::default() }
    }

    pub(crate) fn put(&mut self, path: String, line: usize) {
        self.by_path.insert(path, line);
    }

    /// Notes that something was taken out of a block.
    fn damage(&mut self, path: &str) {
        self.damaged.insert(block_of(path).to_owned());
    }

    /// Whether the block that a path leads into lacks something that could not be read.
    pub(crate) fn is_damaged(&self, path: &str) -> bool {
        self.damaged.contains(block_of(path))
    }

    /// The line of a path, or of the nearest thing that holds it.
    pub(crate) fn of(&self, path: &str) -> Option<usize> {
        let mut path = path;
        loop {
            if let Some(line) = self.by_path.get(path) {
                return Some(*line);
            }
            path = path.rsplit_once('.')?.0;
        }
    }
}

/// The block that a path leads into: `support.2` of `support.2.gap`, `goal` of `goal.height`.
fn block_of(path: &str) -> &str {
    let mut parts = path.splitn(3, '.');
    let (kind, idx) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
    if !idx.is_empty() && idx.bytes().all(|byte| byte.is_ascii_digit()) {
        &path[..kind.len() + 1 + idx.len()]
    } else {
        kind
    }
}

/// Starts of lines, to turn a place in the text into line and column.
struct LineStarts<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> LineStarts<'a> {
    fn new(text: &'a str) -> Self {
        let starts =
            std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        Self { text, starts }
    }

    fn line(&self, at: usize) -> usize {
        self.starts.partition_point(|&start| start <= at)
    }

    fn column(&self, at: usize) -> usize {
        let start = self.starts[self.line(at) - 1];
        1 + self.text.get(start..at.min(self.text.len())).map_or(0, |before| before.chars().count())
    }
}

struct Reader<'a> {
    file: &'a str,
    starts: LineStarts<'a>,
    schema: &'a Value,
    lines: Lines,
    faults: Vec<Fault>,
}

fn parse(source: &SourceFile) -> Document {
    let text = source.text.strip_prefix('\u{feff}').unwrap_or(&source.text);
    let schema = &*SCHEMA;
    let mut reader = Reader {
        file: &source.name,
        starts: LineStarts::new(text),
        schema,
        lines: Lines::new(&source.name),
        faults: Vec::new(),
    };
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in errors.iter().take(MOST_SYNTAX_FAULTS) {
        reader.syntax_fault(error);
    }
    let mut form = Form::default();
    if reader.faults.is_empty() {
        let mut table = table.into_inner();
        if reader.format_is_known(&table) {
            reader.walk_table(&mut table, schema, "", "the job");
            form = reader.form(table);
        }
    }
    Document { form, lines: reader.lines, faults: reader.faults }
}

impl<'a> Reader<'a> {
    fn syntax_fault(&mut self, error: &toml::de::Error) {
        let at = error.span().map(|span| span.start);
        let line = at.map(|at| self.starts.line(at));
        let message = error.message().lines().next().unwrap_or_default().trim().to_owned();
        let mut fault = Fault::error(self.file, "", format!("this line cannot be read: {message}"))
            .at_line(line)
            .hint("text goes in quotes, lists in [ ], a block begins with [name] or [[name]] on a line of its own");
        fault.column = at.map(|at| self.starts.column(at));
        if !self.faults.iter().any(|known| known.line == line) {
            self.faults.push(fault);
        }
    }

    /// A file of a newer format is refused as a whole: half of it would be misread.
    fn format_is_known(&mut self, table: &DeTable<'_>) -> bool {
        let Some(format) = table.get("format") else {
            let fault = Fault::error(self.file, "", "the format is not given")
                .at_line(Some(1))
                .hint("write format = 1 on the first line");
            self.faults.push(fault);
            return true;
        };
        let line = Some(self.starts.line(format.span().start));
        let number = format
            .get_ref()
            .as_integer()
            .and_then(|digits| i64::from_str_radix(digits.as_str(), digits.radix()).ok());
        let fault = match number {
            Some(FORMAT) => return true,
            Some(newer) if newer > FORMAT => Fault::error(
                self.file,
                "",
                format!("written by a newer version: format {newer}, this program reads {FORMAT}"),
            )
            .hint("use the newer version of the program; the file is left as it is"),
            Some(other) => Fault::error(self.file, "", "there is no such format")
                .value(other.to_string())
                .limit(FORMAT.to_string())
                .hint("write format = 1"),
            None => Fault::error(self.file, "", "the format is not a whole number")
                .limit(FORMAT.to_string())
                .hint("write format = 1"),
        };
        self.faults.push(fault.at_line(line));
        false
    }

    /// Notes the line of everything and takes out what the schema does not know.
    fn walk_table(&mut self, table: &mut DeTable<'_>, schema: &'a Value, path: &str, place: &str) {
        let root = self.schema;
        let known = table_schema(root, schema).and_then(|found| found["properties"].as_object());
        let mut unknown = Vec::new();
        for (key, value) in table.iter_mut() {
            let name: &str = key.get_ref();
            let line = self.starts.line(key.span().start);
            let below = if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
            self.lines.put(below.clone(), line);
            let Some(known) = known else { continue };
            match known.get(name) {
                Some(field) => self.walk_value(value, field, &below, name),
                None => {
                    let nearest = nearest_name(name, known.keys().map(String::as_str));
                    let hint = match nearest {
                        Some(nearest) => format!("did you mean {nearest}?"),
                        None => {
                            let all: Vec<_> = known.keys().map(String::as_str).collect();
                            format!("known here: {}", all.join(", "))
                        }
                    };
                    let fault = Fault::error(self.file, place, format!("unknown key {name}"))
                        .at_line(Some(line))
                        .hint(hint);
                    self.faults.push(fault);
                    self.lines.damage(&below);
                    unknown.push(name.to_owned());
                }
            }
        }
        for name in unknown {
            table.remove(name.as_str());
        }
    }

    fn walk_value(
        &mut self,
        value: &mut Spanned<DeValue<'_>>,
        schema: &'a Value,
        path: &str,
        key: &str,
    ) {
        match value.get_mut() {
            DeValue::Table(table) => {
                let place = own_name(table)
                    .map_or_else(|| format!("[{key}]"), |name| format!("{key} {name}"));
                // One table where there may be several is the first of them.
                let first = items_schema(self.schema, schema).map(|_| format!("{path}.0"));
                self.walk_table(table, schema, first.as_deref().unwrap_or(path), &place);
            }
            DeValue::Array(array) => {
                let Some(items) = items_schema(self.schema, schema) else { return };
                for (idx, item) in array.iter_mut().enumerate() {
                    let below = format!("{path}.{idx}");
                    let line = self.starts.line(item.span().start);
                    self.lines.put(below.clone(), line);
                    self.walk_value(item, items, &below, key);
                }
            }
            DeValue::Datetime(written) => {
                // A date or a time without quotes is as good as one in quotes.
                let text = written.to_string();
                *value.get_mut() = DeValue::String(text.into());
            }
            _ => {}
        }
    }

    fn form(&mut self, mut table: DeTable<'_>) -> Form {
        let mut form = Form { format: Some(FORMAT), ..Form::default() };
        macro_rules! block {
            ($($name:ident),*) => {
                $(form.$name = table.remove(stringify!($name)).and_then(|value| self.block(value, stringify!($name), stringify!($name)));)*
            };
        }
        macro_rules! blocks {
            ($($name:ident),*) => {
                $(form.$name = table.remove(stringify!($name)).map_or_else(Vec::new, |value| self.blocks(value, stringify!($name)));)*
            };
        }
        block!(
            job, business, frame, loads, datum, hose, goal, limits, stock, rates, tests, criteria
        );
        blocks!(room, point, support, bearer, joist, wall, load);
        blocks!(benchmark, door, obstacle, setup, leg, book, criterion, pass);
        form.joists = match table.remove("joists") {
            Some(one) if one.get_ref().is_table() => {
                self.block(one, "joists", "joists.0").into_iter().collect()
            }
            Some(several) => self.blocks(several, "joists"),
            None => Vec::new(),
        };
        form
    }

    /// What the schema says of an entry, as a hint.
    fn description(&self, block: &str, key: &str) -> Option<String> {
        let root = self.schema;
        let field = &root["properties"][block];
        let form = table_schema(root, items_schema(root, field).unwrap_or(field))?;
        let within = form["properties"].as_object()?.values();
        let inner = within
            .filter_map(|field| table_schema(root, items_schema(root, field).unwrap_or(field)));
        let text = std::iter::once(form)
            .chain(inner)
            .find_map(|form| form["properties"][key]["description"].as_str())?;
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let mut letters = text.trim_end_matches('.').chars();
        let first = letters.next()?.to_lowercase();
        Some(format!("{key}: {first}{}", letters.as_str()))
    }

    fn blocks<T: DeserializeOwned + Default>(
        &mut self,
        value: Spanned<DeValue<'_>>,
        name: &str,
    ) -> Vec<T> {
        let line = self.starts.line(value.span().start);
        match value.into_inner() {
            DeValue::Array(items) => items
                .into_iter()
                .enumerate()
                .map(|(idx, item)| {
                    self.block(item, name, &format!("{name}.{idx}")).unwrap_or_default()
                })
                .collect(),
            _ => {
                let fault = Fault::error(self.file, "", format!("{name} is not a list of blocks"))
                    .at_line(Some(line))
                    .hint(format!("begin each with [[{name}]], in double brackets"));
                self.faults.push(fault);
                Vec::new()
            }
        }
    }

    /// Reads one block; an entry that cannot be read has its fault and is taken out, and the rest
    /// is read without it.
    fn block<T: DeserializeOwned>(
        &mut self,
        mut value: Spanned<DeValue<'_>>,
        name: &str,
        path: &str,
    ) -> Option<T> {
        let place = value
            .get_ref()
            .as_table()
            .and_then(own_name)
            .map_or_else(|| format!("[{name}]"), |id| format!("{name} {id}"));
        for n_taken_out in 0.. {
            let error = match T::deserialize(ValueDeserializer::from(value.clone())) {
                Ok(form) => return Some(form),
                Err(error) => error,
            };
            let at = error.span().map_or_else(|| value.span().start, |span| span.start);
            let culprit = take_out(&mut value, at, n_taken_out < MOST_TAKEN_OUT);
            let message = plain_message(error.message());
            let (what, described) = match &culprit {
                Some(key) => {
                    (format!("{key} cannot be read: {message}"), self.description(name, key))
                }
                None => (format!("this block cannot be read: {message}"), None),
            };
            let hint = described.unwrap_or_else(|| {
                format!("see what the description of the job file says of {name}")
            });
            let line = self.starts.line(at);
            self.faults
                .push(Fault::error(self.file, place.as_str(), what).at_line(Some(line)).hint(hint));
            self.lines.damage(path);
            culprit?;
        }
        None
    }
}

/// The name that a block gives itself.
fn own_name<'a>(table: &'a DeTable<'_>) -> Option<&'a str> {
    ["id", "name", "point"]
        .iter()
        .find_map(|key| table.get(*key).and_then(|value| value.get_ref().as_str()))
}

/// Takes out the entry at a place in the text: the innermost one if `deep`, and its key.
fn take_out(value: &mut Spanned<DeValue<'_>>, at: usize, deep: bool) -> Option<String> {
    match value.get_mut() {
        DeValue::Table(table) => {
            let holds = |key: std::ops::Range<usize>, entry: std::ops::Range<usize>| {
                key.start <= at && at < entry.end.max(key.end)
            };
            let key = table
                .iter()
                .find(|(key, entry)| holds(key.span(), entry.span()))
                .map(|(key, _)| key.get_ref().to_string())?;
            let inner = if deep { take_out(table.get_mut(key.as_str())?, at, deep) } else { None };
            if inner.is_none() {
                table.remove(key.as_str())?;
            }
            Some(inner.unwrap_or(key))
        }
        DeValue::Array(items) => items
            .iter_mut()
            .filter(|item| item.get_ref().is_table())
            .find(|item| item.span().contains(&at))
            .and_then(|item| take_out(item, at, deep)),
        _ => None,
    }
}

/// The parser's message in the builder's words.
fn plain_message(message: &str) -> String {
    let mut plain = message.lines().next().unwrap_or_default().trim().replace('`', "");
    if let Some((before, _)) = plain.split_once("expected struct") {
        plain = format!("{before}expected a block of entries");
    }
    for (theirs, ours) in [
        ("expected a string", "expected text in quotes"),
        ("unknown variant ", "there is no "),
        ("a boolean", "true or false"),
        ("a sequence", "a list in [ ]"),
        ("expected u32", "expected a whole number, zero or more"),
        ("expected f64", "expected a number"),
        ("expected i64", "expected a whole number"),
    ] {
        plain = plain.replace(theirs, ours);
    }
    plain
}

/// The schema itself and everything that it may stand for.
fn meanings<'a>(root: &'a Value, schema: &'a Value) -> Vec<&'a Value> {
    let mut found = vec![schema];
    let mut next = 0;
    while next < found.len() && found.len() < 64 {
        let current = found[next];
        next += 1;
        if let Some(name) = current["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/"))
        {
            found.push(&root["$defs"][name]);
        }
        for branch in ["anyOf", "oneOf", "allOf"] {
            found.extend(current[branch].as_array().into_iter().flatten());
        }
    }
    found
}

fn table_schema<'a>(root: &'a Value, schema: &'a Value) -> Option<&'a Value> {
    meanings(root, schema).into_iter().find(|meaning| meaning["properties"].is_object())
}

fn items_schema<'a>(root: &'a Value, schema: &'a Value) -> Option<&'a Value> {
    meanings(root, schema)
        .into_iter()
        .map(|meaning| &meaning["items"])
        .find(|items| items.is_object())
}
