//! A template and data become a PDF.

use floorwright_report::{Files, PaperError, Stamp, typeset};

fn page(markup: &str, data: &str) -> Result<Vec<u8>, PaperError> {
    let mut files = Files::new();
    let head =
        "#set document(title: [Trial])\n#set text(font: \"Liberation Sans\", lang: \"en\")\n";
    files.insert("main.typ".to_owned(), format!("{head}{markup}").into_bytes());
    files.insert("data.json".to_owned(), data.as_bytes().to_vec());
    typeset("main.typ", files, &Stamp { date: Some((2026, 3, 12)), ident: "trial".to_owned() })
}

#[test]
fn the_same_files_give_the_same_bytes() {
    let markup = "= Trial\n#json(\"data.json\").name";
    let data = r##"{"name": "#set page(fill: red) *no markup* שלום مرحبا"}"##;
    let first = page(markup, data).unwrap();
    assert!(first.starts_with(b"%PDF-1.7"));
    assert_eq!(first, page(markup, data).unwrap());
}

#[test]
fn nothing_outside_is_seen() {
    for outside in [
        "#read(\"/etc/passwd\")",
        "#read(\"../secret\")",
        "#import \"@preview/example:0.1.0\": add",
        "#datetime.today().display()",
    ] {
        let error = page(outside, "{}").unwrap_err();
        assert!(matches!(error, PaperError::Template(_)), "{outside}: {error}");
    }
}
