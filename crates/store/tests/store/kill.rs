//! A process that is killed at any moment has lost nothing that it acknowledged.

use floorwright_store::{EventLog, SqliteLog};
use std::collections::BTreeSet;
use std::io::Read;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Kills in the short form, and with `FLOORWRIGHT_LONG_TESTS` set.
const KILLS: (u64, u64) = (20, 1000);

/// Cargo builds examples beside the tests.
fn example() -> PathBuf {
    let mut folder = std::env::current_exe().unwrap();
    folder.pop();
    folder.pop();
    folder.join("examples").join("append_until_killed")
}

#[test]
fn nothing_acknowledged_is_lost_when_the_process_is_killed() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("jobs.floorwright");
    let is_long = std::env::var_os("FLOORWRIGHT_LONG_TESTS").is_some();
    let n_kills = if is_long { KILLS.1 } else { KILLS.0 };
    let mut acknowledged = BTreeSet::new();
    for kill in 0..n_kills {
        let callers = if kill % 2 == 0 { "1" } else { "8" };
        let first = (1 + kill * 1_000_000).to_string();
        let mut child = Command::new(example())
            .args([file.to_str().unwrap(), callers, &first])
            .stdout(Stdio::piped())
            .spawn()
            .expect("the example is built with the tests");
        // 30 to 180 ms, a different moment each time.
        std::thread::sleep(Duration::from_millis(30 + kill * 7919 % 150));
        child.kill().unwrap();
        child.wait().unwrap();
        let mut said = String::new();
        child.stdout.unwrap().read_to_string(&mut said).unwrap();
        let whole = said.rsplit_once('\n').map_or("", |(whole, _)| whole);
        acknowledged.extend(whole.lines().map(|line| line.parse::<u64>().unwrap()));

        let log = SqliteLog::open(&file).unwrap();
        let head = log.verify(None).unwrap();
        if kill % 10 == 9 || kill + 1 == n_kills {
            let there: BTreeSet<u64> =
                log.after(0, usize::MAX).unwrap().iter().map(|stored| stored.event.seq).collect();
            let lost: Vec<_> = acknowledged.difference(&there).collect();
            assert!(lost.is_empty(), "kill {kill}: {lost:?} of {} are gone", head.count());
        }
    }
    assert!(acknowledged.len() as u64 > n_kills, "the child got nowhere");
}
