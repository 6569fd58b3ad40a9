use floorwright_job::{SourceFile, load};
#[test]
fn scratch() {
    let all = std::fs::read_to_string("/tmp/fj/cases.txt").unwrap();
    let base = std::fs::read_to_string("/tmp/fj/base.toml").unwrap();
    for case in all.split("=====\n") {
        let loaded = load(&SourceFile::new("job.toml", format!("{base}{case}")), &mut |n| Err(n.to_owned()));
        println!("----- \n{case}>>>");
        for f in &loaded.faults { println!("{f:#}"); }
        if let Some(job) = loaded.job { for a in &job.assumptions { println!("assumed: {}", a.text); } }
    }
}
