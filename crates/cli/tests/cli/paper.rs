//! The documents of `floorwright report`, as files; `cargo xtask test paper` reads them as a person
//! would.

use crate::program::{edit, folder, one_line, run_in};
use std::fs;
use std::path::Path;

/// A small house that nobody lives in; `extra` comes after its `[job]`.
fn house(name: &str, job_name: &str, extra: &str) -> std::path::PathBuf {
    let folder = folder(name);
    let mut job =
        format!("format = 1\n[job]\nname = '{job_name}'\ndate = \"2026-03-12\"\n{extra}\n");
    let mut readings = String::new();
    for (x, column) in ["A", "B", "C"].iter().enumerate() {
        for y in 0..3 {
            let point = format!("{column}{y}");
            job += &format!("[[support]]\nid = \"{point}\"\nat = [{}, {}]\n", x * 1800, y * 1800);
            readings += &format!("{{ point = \"{point}\", reading = {} }}, ", 1400 + 3 * x * y);
        }
    }
    job += "[[benchmark]]\npoint = \"BM\"\nlevel = 1000\n";
    job += &format!(
        "[[setup]]\nid = \"one\"\nreadings = [{readings} {{ point = \"BM\", reading = 1500 }}]\n"
    );
    fs::write(folder.join("house.toml"), job).unwrap();
    folder
}

fn has(pdf: &[u8], wanted: &str) -> bool {
    pdf.windows(wanted.len()).any(|window| window == wanted.as_bytes())
}

fn pdf(folder: &Path, kind: &str) -> Vec<u8> {
    fs::read(folder.join(format!("house-paper/{kind}.pdf"))).unwrap()
}

/// A job as `new` makes it has no date, and its paper needs one.
#[test]
fn a_job_without_a_date_is_dated_today_and_told_so() {
    let folder = house("paper-undated", "Undated house", "");
    edit(&folder.join("house.toml"), "date = \"2026-03-12\"\n", "");
    let run = run_in(&folder, &["report", "house.toml", "--kind", "order"]).ends(0);
    assert!(one_line(&run.out).contains("today, for the job has no date"), "{}", run.out);
    let run = run_in(&folder, &["report", "house.toml", "--kind", "order", "--date", "2026-03-13"]);
    assert!(!run.ends(0).out.contains("no date"));
}

#[test]
fn the_same_job_gives_the_same_bytes_with_the_date_of_the_job() {
    let first = house("paper-1", "Invented house", "");
    let second = house("paper-2", "Invented house", "");
    for folder in [&first, &second] {
        run_in(folder, &["report", "house.toml"]).ends(0).says("run-sheet.pdf");
    }
    for kind in ["floor-report", "lifting-plan", "run-sheet", "order"] {
        let pdf = pdf(&first, kind);
        assert_eq!(pdf, self::pdf(&second, kind), "{kind}");
        // The marks of PDF/A and PDF/UA stand unpacked in the metadata.
        for wanted in [
            "%PDF-1.7",
            "pdfaid:part",
            "pdfuaid:part",
            "2026-03-12",
            "/MarkInfo",
            "/StructTreeRoot",
        ] {
            assert!(has(&pdf, wanted), "{kind}: {wanted}");
        }
    }
    run_in(&first, &["report", "house.toml", "--date", "2026-04-01"]).ends(0);
    assert!(has(&pdf(&first, "floor-report"), "2026-04-01"));
}

#[test]
fn what_the_job_does_not_give_is_named() {
    let folder = house("paper-missing", "Invented house", "");
    let run = run_in(&folder, &["report", "house.toml", "--kind", "completion-record"]);
    run.ends(3).says("nothing was done yet");
    run_in(&folder, &["report", "house.toml", "--kind", "price"]).ends(2).says("floor-report");
    run_in(&folder, &["report", "house.toml", "--date", "tomorrow"]).ends(2).says("year-month-day");
    run_in(&folder, &["report", "house.toml", "--no-frame"]).ends(0);
}

#[test]
fn markup_stays_text_and_right_to_left_is_set() {
    let name = "#set page(fill: red) *x* $y$ <script> בדיקה مثال";
    let folder = house("paper-markup", name, "client = \"#panic()\"");
    run_in(&folder, &["report", "house.toml"]).ends(0);
    assert!(has(&pdf(&folder, "floor-report"), "#set page(fill: red)"));
}

/// The paper is made all the same: who reads it sees that letters are missing, and who made it is told.
#[test]
fn a_letter_that_no_font_has_is_marked_and_said_with_its_text() {
    let folder = house("paper-letters", "บ้านสมมุติ", "");
    let run = run_in(&folder, &["report", "house.toml", "--kind", "floor-report"]);
    run.ends(0).says("บ้านสมมุติ").says("U+0E1A").says("□");
    assert!(has(&pdf(&folder, "floor-report"), "%PDF-1.7"));
}

/// Brackets beside Arabic letters once led the search for a font astray.
#[test]
fn brackets_beside_arabic_letters_are_set() {
    let folder = house("paper-brackets", "House", "client = \"(شركة الأرضيات)\"");
    run_in(&folder, &["report", "house.toml"]).ends(0).says("run-sheet.pdf");
}

/// A run sheet from before the lifts were forbidden is not left among the new papers; what is not ours, is.
#[test]
fn a_paper_that_no_longer_holds_is_put_aside_and_said() {
    let folder = house("paper-stale", "Invented house", "");
    let report = ["report", "house.toml"];
    run_in(&folder, &report).ends(0).says("run-sheet.pdf");
    let job = fs::read_to_string(folder.join("house.toml")).unwrap();
    // Nothing may be moved any more: there is no run sheet.
    let fixed = job.replace("at = [", "fixed = \"stays\"\nat = [");
    fs::write(folder.join("house.toml"), fixed).unwrap();
    let run = run_in(&folder, &report);
    let said = one_line(&run.out);
    assert!(said.contains("run-sheet.pdf NO LONGER HOLDS"), "{said}");
    let paper = folder.join("house-paper");
    assert!(!paper.join("run-sheet.pdf").exists());
    assert!(has(&fs::read(paper.join("run-sheet.superseded.pdf")).unwrap(), "Run sheet"));
    // Asked for one document, the others of older data go aside as well.
    fs::write(folder.join("house.toml"), &job).unwrap();
    let run = run_in(&folder, &["report", "house.toml", "--kind", "run-sheet"]).ends(0);
    assert!(one_line(&run.out).contains("floor-report.pdf NO LONGER HOLDS"), "{}", run.out);
    // Somebody else's file of that name stays.
    fs::write(paper.join("completion-record.pdf"), "%PDF-1.4 by hand").unwrap();
    run_in(&folder, &report).ends(0);
    assert!(paper.join("completion-record.pdf").exists());
}

/// A floor point far outside every room has levels all the same.
#[test]
fn where_the_floor_has_no_shape_the_levels_are_on_paper() {
    let room = "[[room]]\nname = \"Hall\"\noutline = [[0, 0], [1800, 0], [1800, 3600], [0, 3600]]";
    let folder = house("paper-outside", "Invented house", room);
    let run = run_in(&folder, &["report", "house.toml"]).ends(3);
    assert!(one_line(&run.out).contains("there is no lifting plan: point C0"), "{}", run.out);
    assert!(has(&pdf(&folder, "floor-report"), "%PDF-1.7"));
    let none = run_in(&folder, &["report", "house.toml", "--kind", "order"]).ends(3);
    assert!(!none.out.contains("on every page"), "{}", none.out);
}

#[test]
fn a_name_that_is_no_place_for_paper_is_refused() {
    let folder = house("paper-to", "Invented house", "");
    run_in(&folder, &["report", "house.toml", "--to", "a.pdf"]).ends(2).says("name a folder");
    run_in(&folder, &["report", "house.toml", "--kind", "order", "--to", "o.txt"])
        .ends(2)
        .says("ends in .txt");
    run_in(&folder, &["report", "house.toml", "--date", "1999-01-01"])
        .ends(2)
        .says("before the survey of 2026-03-12");
    assert!(!folder.join("a.pdf").exists() && !folder.join("o.txt").exists());
}

#[test]
fn a_logo_that_cannot_be_used_is_left_out_and_said() {
    let business = "[business]\nname = \"Invented firm\"\nlogo = \"logo.png\"";
    let folder = house("paper-logo", "Invented house", business);
    let report = ["report", "house.toml", "--kind", "floor-report"];
    run_in(&folder, &report).ends(0).says("without a logo");
    fs::write(folder.join("logo.png"), "not a picture").unwrap();
    run_in(&folder, &report).ends(0).says("not a PNG, JPEG or SVG");
    fs::write(folder.join("logo.png"), vec![0; 3 << 20]).unwrap();
    run_in(&folder, &report).ends(0).says("larger than 2048 KiB");
    let mut huge = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
    huge.extend([0, 1, 0, 0, 0, 1, 0, 0, 8, 2, 0, 0, 0]);
    fs::write(folder.join("logo.png"), huge).unwrap();
    run_in(&folder, &report).ends(0).says("65536 by 65536 pixels");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\"><path d=\"M0 0h9v9z\"/></svg>";
    fs::write(folder.join("logo.png"), svg).unwrap();
    let run = run_in(&folder, &report).ends(0);
    assert!(!run.out.contains("without a logo"));
    let linked = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\"><image href=\"other.png\"/></svg>";
    fs::write(folder.join("logo.png"), linked).unwrap();
    run_in(&folder, &report).ends(0).says("links to another file");
    let outside = "[business]\nname = \"Invented firm\"\nlogo = \"../secret.png\"";
    let folder = house("paper-logo-outside", "Invented house", outside);
    run_in(&folder, &report).ends(3).says("../secret.png");
}

#[test]
fn a_firm_can_put_its_own_template_in_place() {
    let folder = house("paper-template", "Invented house", "");
    let report = ["report", "house.toml", "--kind", "order", "--template", "own"];
    run_in(&folder, &report).ends(4);
    fs::create_dir(folder.join("own")).unwrap();
    run_in(&folder, &report).ends(2).says("replaces a file of ours");
    let own = "#set document(title: [Own])\n#set text(lang: \"en\")\n= Own paper";
    fs::write(folder.join("own/order.typ"), own).unwrap();
    run_in(&folder, &report).ends(0);
    assert!(has(&pdf(&folder, "order"), "Own"));
    fs::write(folder.join("own/order.typ"), "#read(\"/etc/passwd\")").unwrap();
    run_in(&folder, &report).ends(1).says("template");
}
