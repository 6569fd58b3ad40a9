//! Whose paper it is: the firm's name, logo and terms, from a job or from a settings file.

use crate::form_v1::BusinessForm;
use serde::{Deserialize, Serialize};

/// Letters that a line may have, so that it fits the head of a page.
const MOST_LETTERS: usize = 100;
/// Lines of contact that the head of a page has room for.
const MOST_CONTACT: usize = 6;
/// Letters that all terms may have together: about a page.
const MOST_TERMS: usize = 6000;

/// Whose paper it is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Business {
    /// Name of the firm.
    pub name: String,
    /// Address, telephone, mail: one line each.
    pub contact: Vec<String>,
    /// Number of registration or licence.
    pub registration: Option<String>,
    /// File of the logo, beside the file that names it.
    pub logo: Option<String>,
    /// The firm's terms, a paragraph each.
    pub terms: Vec<String>,
}

/// What is wrong with a `[business]` table: the key, what is wrong, and the way out.
pub type BusinessFault = (&'static str, String, &'static str);

/// Checks a form.
///
/// # Errors
/// Every fault found.
pub fn business(form: &BusinessForm) -> Result<Business, Vec<BusinessFault>> {
    let mut faults: Vec<BusinessFault> = Vec::new();
    let name = form.name.as_deref().unwrap_or_default().trim();
    if name.is_empty() {
        let hint = "write name = \"…\", or leave the whole table out";
        faults.push(("name", "the business has no name".to_owned(), hint));
    }
    let lines = form.contact.iter().map(|line| ("contact", line));
    let lines = lines.chain(form.name.iter().map(|line| ("name", line)));
    for (key, line) in lines.chain(form.registration.iter().map(|line| ("registration", line))) {
        let letters = line.chars().count();
        if letters > MOST_LETTERS {
            let what = format!("{key} has {letters} letters, at most {MOST_LETTERS} fit");
            faults.push((key, what, "make it shorter, or several lines of contact"));
        }
    }
    if form.contact.len() > MOST_CONTACT {
        let what = format!("{} lines of contact, at most {MOST_CONTACT} fit", form.contact.len());
        faults.push(("contact", what, "join some of them"));
    }
    let letters: usize = form.terms.iter().map(|paragraph| paragraph.chars().count()).sum();
    if letters > MOST_TERMS {
        let what = format!("the terms have {letters} letters, at most {MOST_TERMS} fit");
        faults.push(("terms", what, "name the document that holds them instead"));
    }
    if let Some(logo) = &form.logo
        && (logo.is_empty()
            || logo.starts_with(['/', '\\'])
            || logo.contains("..")
            || logo.contains(':'))
    {
        let what =
            format!("the logo \"{logo}\" is not a file beside this one or in a folder below");
        faults.push(("logo", what, "copy it there and write its name, such as \"logo.svg\""));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    Ok(Business {
        name: name.to_owned(),
        contact: form.contact.clone(),
        registration: form.registration.clone(),
        logo: form.logo.clone(),
        terms: form.terms.clone(),
    })
}

/// A file of settings: a `[business]` table alone.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SettingsForm {
    business: BusinessForm,
}

/// Reads a file of settings.
///
/// # Errors
/// One sentence for each fault.
pub fn read_settings(text: &str) -> Result<Business, Vec<String>> {
    let form: SettingsForm = toml::from_str(text).map_err(|error| vec![error.to_string()])?;
    business(&form.business).map_err(|faults| {
        faults
            .into_iter()
            .map(|(key, what, hint)| format!("[business] {key}: {what} ({hint})"))
            .collect()
    })
}
