//! Our own template.

use crate::typeset::Files;

const TEMPLATE: [(&str, &str); 7] = [
    ("base.typ", include_str!("../template/base.typ")),
    ("floor-report.typ", include_str!("../template/floor-report.typ")),
    ("lifting-plan.typ", include_str!("../template/lifting-plan.typ")),
    ("run-sheet.typ", include_str!("../template/run-sheet.typ")),
    ("quote.typ", include_str!("../template/quote.typ")),
    ("order.typ", include_str!("../template/order.typ")),
    ("completion-record.typ", include_str!("../template/completion-record.typ")),
];

/// The files of our template: one for each document, and what they share.
pub fn files() -> Files {
    TEMPLATE.into_iter().map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec())).collect()
}
