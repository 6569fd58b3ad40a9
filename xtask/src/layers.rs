//! Compares the arrows drawn in ARCHITECTURE.md with what each crate's Cargo.toml asks for.

use crate::shell;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use toml::Table;

/// For each crate, the crates of this workspace that it leans on.
type Arrows = BTreeMap<String, BTreeSet<String>>;

const PREFIX: &str = "floorwright-";

/// Fails on an arrow that is drawn but not there, or there but not drawn.
pub fn check() -> Result<String, String> {
    let page = read(&shell::root().join("ARCHITECTURE.md"))?;
    let drawn = drawn_arrows(&page)?;
    let found = found_arrows()?;
    let differences = differences(&drawn, &found);
    if differences.is_empty() {
        let n_arrows: usize = found.values().map(BTreeSet::len).sum();
        Ok(format!("{n_arrows} arrows between {} crates", found.len()))
    } else {
        Err(differences.join("\n"))
    }
}

/// Reads the block fenced as `layers`: one `crate -> crate, crate` a line.
fn drawn_arrows(page: &str) -> Result<Arrows, String> {
    let (_, rest) =
        page.split_once("```layers\n").ok_or("ARCHITECTURE.md has no block fenced as `layers`")?;
    let (block, _) = rest.split_once("```").ok_or("the `layers` block does not end")?;
    let mut arrows = Arrows::new();
    for line in block.lines().filter(|line| !line.trim().is_empty()) {
        let (from, to) = line.split_once("->").ok_or(format!("`{line}` has no arrow"))?;
        let ends = to.split(',').map(str::trim).filter(|end| !end.is_empty());
        if arrows.insert(from.trim().to_owned(), ends.map(str::to_owned).collect()).is_some() {
            return Err(format!("the `layers` block names {} twice", from.trim()));
        }
    }
    Ok(arrows)
}

fn found_arrows() -> Result<Arrows, String> {
    let mut folders = vec![shell::root().join("xtask")];
    let crates = shell::root().join("crates");
    for entry in std::fs::read_dir(&crates).map_err(|e| format!("crates: {e}"))? {
        folders.push(entry.map_err(|e| format!("crates: {e}"))?.path());
    }
    let mut arrows = Arrows::new();
    for folder in folders {
        let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let manifest = folder.join("Cargo.toml");
        let text = read(&manifest)?;
        let table: Table = text.parse().map_err(|e| format!("{}: {e}", manifest.display()))?;
        arrows.insert(name, leans_on(&table));
    }
    Ok(arrows)
}

/// The crates of this workspace among all kinds of dependencies, for every platform.
fn leans_on(manifest: &Table) -> BTreeSet<String> {
    let platforms = manifest.get("target").and_then(|target| target.as_table());
    let tables = platforms.into_iter().flat_map(|p| p.values()).filter_map(|p| p.as_table());
    tables
        .chain([manifest])
        .flat_map(|table| {
            ["dependencies", "dev-dependencies", "build-dependencies"]
                .into_iter()
                .filter_map(|kind| table.get(kind)?.as_table())
        })
        .flat_map(|dependencies| dependencies.iter())
        .map(|(name, value)| value.get("package").and_then(|p| p.as_str()).unwrap_or(name))
        .filter_map(|name| name.strip_prefix(PREFIX))
        .map(str::to_owned)
        .collect()
}

fn differences(drawn: &Arrows, found: &Arrows) -> Vec<String> {
    let none = BTreeSet::new();
    let names: BTreeSet<_> = drawn.keys().chain(found.keys()).collect();
    let mut lines = Vec::new();
    for name in names {
        if !drawn.contains_key(name) {
            lines.push(format!("crate {name} is not in the graph of ARCHITECTURE.md"));
        }
        if !found.contains_key(name) {
            lines.push(format!("ARCHITECTURE.md draws {name}, which is no crate"));
        }
        let drawn_ends = drawn.get(name).unwrap_or(&none);
        let found_ends = found.get(name).unwrap_or(&none);
        for end in found_ends.difference(drawn_ends) {
            lines.push(format!("{name} -> {end} is in Cargo.toml, not in ARCHITECTURE.md"));
        }
        for end in drawn_ends.difference(found_ends) {
            lines.push(format!("{name} -> {end} is in ARCHITECTURE.md, not in Cargo.toml"));
        }
    }
    lines
}

fn read(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAGE: &str = "# Page\n```layers\ncli -> engine, job\nengine ->\njob -> engine\n```\n";

    #[test]
    fn a_graph_that_agrees_is_silent() {
        let drawn = drawn_arrows(PAGE).unwrap();
        assert_eq!(differences(&drawn, &drawn), Vec::<String>::new());
    }

    #[test]
    fn every_kind_of_difference_is_named() {
        let drawn = drawn_arrows(PAGE).unwrap();
        let mut found = drawn.clone();
        found.insert("draw".to_owned(), BTreeSet::new());
        found.get_mut("engine").unwrap().insert("job".to_owned());
        found.get_mut("cli").unwrap().remove("job");
        let lines = differences(&drawn, &found).join("\n");
        assert!(lines.contains("cli -> job is in ARCHITECTURE.md"), "{lines}");
        assert!(lines.contains("engine -> job is in Cargo.toml"), "{lines}");
        assert!(lines.contains("crate draw is not in the graph"), "{lines}");
        found.remove("job");
        assert!(differences(&drawn, &found).join("\n").contains("draws job, which is no crate"));
    }

    #[test]
    fn a_renamed_or_platform_dependency_still_counts() {
        let manifest: Table = "
            [dependencies]
            maths = { package = \"floorwright-engine\", path = \"../engine\" }
            [target.'cfg(unix)'.dev-dependencies]
            floorwright-job.workspace = true
            serde = \"1\"
        "
        .parse()
        .unwrap();
        let expected: BTreeSet<_> = ["engine", "job"].map(str::to_owned).into();
        assert_eq!(leans_on(&manifest), expected);
    }

    #[test]
    fn a_page_without_a_graph_is_refused() {
        assert!(drawn_arrows("# Page\n").unwrap_err().contains("no block"));
    }
}
