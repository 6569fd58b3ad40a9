//! `floorwright export`: where the files go, and what is said. Their content is read back in the crate
//! that makes them.

use crate::program::{copy_of_example, folder, one_line, run_in};
use serde_json::Value;
use std::fs;

#[test]
fn all_formats_go_into_a_folder_beside_the_job() {
    let folder = copy_of_example("half-done", "export-half-done");
    run_in(&folder, &["export", "job.toml"])
        .ends(0)
        .says("movements.csv")
        .says("Before anybody lifts");
    for name in ["levels.csv", "tables.xlsx", "plan.dxf", "floor.svg", "tables.json"] {
        assert!(folder.join("job-export").join(name).is_file(), "{name}");
    }
    let json = run_in(&folder, &["export", "job.toml", "--json"]).json();
    let files = json["result"]["files"].as_array().unwrap();
    for file in files {
        let on_disk = fs::metadata(folder.join(file["file"].as_str().unwrap())).unwrap();
        assert_eq!(Value::from(on_disk.len()), file["bytes"]);
    }
    assert_eq!(files.len(), fs::read_dir(folder.join("job-export")).unwrap().count());
}

#[test]
fn formats_are_chosen_and_an_unknown_one_is_named() {
    let folder = copy_of_example("half-done", "export-formats");
    run_in(&folder, &["export", "job.toml", "--format", "xlsx,dxf", "--to", "out"]).ends(0);
    let mut names: Vec<String> = fs::read_dir(folder.join("out"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["plan.dxf", "tables.xlsx"]);
    run_in(&folder, &["export", "job.toml", "--format", "pdf"]).ends(2).says("csv, xlsx, dxf, svg");
    run_in(&folder, &["export", "no-such.toml"]).ends(4).says("no-such.toml");
}

#[test]
fn a_bare_table_is_exported_and_the_schema_is_printed() {
    let folder = folder("export-bare");
    fs::write(
        folder.join("r.csv"),
        "point,x,y,reading\nA,0,0,1400\nB,1800,0,1409\nC,0,1800,1405\n",
    )
    .unwrap();
    run_in(&folder, &["export", "r.csv", "--format", "csv", "--to", "out"]).ends(0);
    let levels = fs::read_to_string(folder.join("out/levels.csv")).unwrap();
    assert!(levels.contains("\r\nB,floor,1800,0,-9,"), "{levels}");
    let schema = run_in(&folder, &["export", "--schema"]).json();
    assert_eq!(schema["title"], "floorwright/tables/1");
}

/// Moves from before the goal was out of reach are not left among the new tables; what is not ours, is.
#[test]
fn tables_that_no_longer_hold_are_put_aside_and_said() {
    let demo = folder("export-stale");
    let given = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    for (from, to) in [
        ("house.toml", "house-read-again.toml"),
        ("hall-read-again.csv", "hall.csv"),
        ("wing.csv", "wing.csv"),
    ] {
        fs::copy(given.join(from), demo.join(to)).unwrap();
    }
    let export = ["export", "house-read-again.toml", "--format", "csv,svg", "--to", "out"];
    run_in(&demo, &export).ends(0);
    let out = demo.join("out");
    assert!(out.join("moves.csv").exists() && out.join("lifts.svg").exists());
    fs::write(out.join("lifted.csv"), "van,driver\n").unwrap();
    let no_room = [&export[..], &["--tolerance", "0.1"]].concat();
    let said = one_line(&run_in(&demo, &no_room).ends(0).out);
    for name in ["moves.csv", "stacks.csv", "lifts.svg", "passes.svg"] {
        assert!(said.contains(&format!("{name} NO LONGER HOLDS")), "{name}: {said}");
        assert!(!out.join(name).exists(), "{name}");
        assert!(out.join(name.replace('.', ".superseded.")).exists(), "{name}");
    }
    assert!(out.join("lifted.csv").exists());
}
