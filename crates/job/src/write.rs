//! From a form to a file that reads well: one block for each thing, one line for each field, one
//! line for each row.

use crate::form_v1::{FORMAT, Form};
use serde::Serialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};
use toml::ser::ValueSerializer;

/// Writes a form as TOML; reading it gives the same form back.
///
/// # Errors
/// [`WriteError`] if a value cannot be written as TOML; forms that were read always can.
pub fn write(form: &Form) -> Result<String, WriteError> {
    let mut text = format!("format = {}\n", form.format.unwrap_or(FORMAT));
    macro_rules! block {
        ($($name:ident),*) => {
            $(if let Some(block) = &form.$name { write_block(&mut text, concat!("[", stringify!($name), "]"), block)?; })*
        };
    }
    macro_rules! blocks {
        ($($name:ident),*) => {
            $(for block in &form.$name { write_block(&mut text, concat!("[[", stringify!($name), "]]"), block)?; })*
        };
    }
    block!(job, business);
    blocks!(room, support, point);
    block!(frame);
    blocks!(bearer, joist, joists);
    block!(loads);
    blocks!(wall, load);
    block!(datum);
    block!(hose);
    blocks!(door, obstacle, benchmark, setup, leg, book);
    block!(goal, limits, stock, rates, tests, criteria);
    blocks!(criterion, pass);
    Ok(text)
}

/// A value that TOML cannot hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the job cannot be written: {0}")]
pub struct WriteError(String);

fn write_block(text: &mut String, header: &str, block: &impl Serialize) -> Result<(), WriteError> {
    let wrong = |error: &dyn std::fmt::Display| WriteError(error.to_string());
    let mut inline = String::from("block = ");
    block.serialize(ValueSerializer::new(&mut inline)).map_err(|error| wrong(&error))?;
    let table = DeTable::parse(&inline).map_err(|error| wrong(&error))?;
    let fields = table.get_ref().get("block").and_then(|block| block.get_ref().as_table());
    let mut fields: Vec<_> = fields.into_iter().flatten().collect();
    fields.sort_by_key(|(key, _)| key.span().start); // the order of the form
    text.push('\n');
    text.push_str(header);
    text.push('\n');
    for (key, value) in fields {
        let field = match rows_of(value) {
            Some(rows) => {
                let rows = rows.iter().map(|row| format!("    {},\n", &inline[row.span()]));
                format!("[\n{}]", rows.collect::<String>())
            }
            None => inline[value.span()].to_owned(),
        };
        text.push_str(&format!("{} = {field}\n", &inline[key.span()]));
    }
    Ok(())
}

/// The rows of a list of tables, which get a line each.
fn rows_of<'a, 'i>(value: &'a Spanned<DeValue<'i>>) -> Option<Vec<&'a Spanned<DeValue<'i>>>> {
    let rows: Vec<_> = value.get_ref().as_array()?.iter().collect();
    let all_tables = rows.iter().all(|row| row.get_ref().is_table());
    (all_tables && !rows.is_empty()).then_some(rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{Document, SourceFile};

    #[test]
    fn a_form_reads_well_and_comes_back() {
        let text = r#"format = 1

[job]
name = 'Invented "house"'
terms = "nz"

[[support]]
id = "A1"
at = [0, 1200.5]
gap = '1/2"'

[[setup]]
id = "1"
hose = { bore = 10, reservoir = 200 }
drift = true
readings = [
    { point = "A1", reading = 1612, time = "10:05" },
    { point = "A1", reading = 1612.5, time = "10:15" },
]

[goal]
height = { point = "A1", offset = -2 }

[limits]
jacks = { value = 3, reason = "three people" }
max_lift = 60
"#;
        let document = Document::parse(&SourceFile::new("job.toml", text));
        assert!(document.faults().is_empty(), "{:?}", document.faults());
        assert_eq!(write(document.form()).unwrap(), text);
    }
}
