//! What a power cut would leave of a log, at every moment of its life.
//!
//! `power_cut [STEP]` runs a writer under `strace`, which notes every write and every sync. For every
//! STEP-th moment (every one if left out) it lays down what a disk may hold then: everything that was
//! synced, and of the writes since nothing, all, the last one torn, the last one alone, or some. Each of
//! these has to open, to be sound, and to hold every event that was acknowledged by then.
//!
//! The method of cutting a log of system calls at every point is that of Pillai et al., *All file
//! systems are not created equal*, USENIX OSDI 2014, section 3.

#![expect(clippy::print_stdout, reason = "it reports to a person or a check")]

use floorwright_store::{EventLog, SqliteLog};
use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::path::Path;
use std::process::{Command, Stdio};

/// Enough events for the write-ahead log to be carried over into the file on the way.
const N_EVENTS: u64 = 420;

fn main() -> Result<(), Box<dyn Error>> {
    let step: usize = std::env::args().nth(1).map_or(Ok(1), |step| step.parse())?;
    let folder = tempfile::tempdir()?;
    let calls = trace(folder.path())?;
    let n_carried_over = calls
        .iter()
        .filter(|call| matches!(call, Call::Write { file, .. } if file == "log"))
        .count();
    let n_acknowledged =
        calls.iter().filter(|call| matches!(call, Call::Acknowledge(_))).count() as u64;
    if n_acknowledged != N_EVENTS || n_carried_over < 4 {
        return Err(format!("{n_acknowledged} events, {n_carried_over} writes home").into());
    }
    // In memory: what is tried here is what was left, not how fast it is read.
    let memory = Path::new("/dev/shm");
    let scene = if memory.is_dir() { tempfile::tempdir_in(memory)? } else { tempfile::tempdir()? };
    let n_cuts = cut_everywhere(&calls, step, scene.path())?;
    println!(
        "{n_cuts} power cuts at {} calls, nothing acknowledged lost",
        calls.len().div_ceil(step)
    );

    // The same without the syncs has to lose something, or this program finds nothing.
    let unsynced: Vec<Call> = calls
        .into_iter()
        .filter(|call| !matches!(call, Call::Sync { file } if file == "log-wal"))
        .collect();
    match cut_everywhere(&unsynced, step.max(50), scene.path()) {
        Ok(_) => Err("nothing was lost without syncs either: this check is blind".into()),
        Err(lost) => {
            println!("without syncs of the write-ahead log: {lost}");
            Ok(())
        }
    }
}

/// Cuts after every `step`-th call; gives the number of cuts that were tried.
fn cut_everywhere(calls: &[Call], step: usize, scene: &Path) -> Result<usize, Box<dyn Error>> {
    let mut disk = Disk::default();
    let mut acknowledged = BTreeSet::new();
    let mut n_cuts = 0;
    for (idx, call) in calls.iter().enumerate() {
        match call {
            Call::Acknowledge(number) => drop(acknowledged.insert(*number)),
            call => disk.take(call),
        }
        if idx % step == 0 || idx + 1 == calls.len() {
            for left in disk.after_a_cut(idx) {
                check(&scene.join("scene"), &left, &acknowledged)
                    .map_err(|why| format!("cut after call {idx} of {}: {why}", calls.len()))?;
                n_cuts += 1;
            }
        }
    }
    Ok(n_cuts)
}

/// A call that reached the disk, in the order in which they returned.
enum Call {
    Write { file: String, at: usize, bytes: Vec<u8> },
    Truncate { file: String, len: usize },
    Sync { file: String },
    Unlink { file: String },
    Acknowledge(u64),
}

fn trace(folder: &Path) -> Result<Vec<Call>, Box<dyn Error>> {
    let writer = std::env::current_exe()?.with_file_name("append_until_killed");
    let (out, file) = (folder.join("trace"), folder.join("log"));
    let calls = "trace=pwrite64,write,ftruncate,fsync,fdatasync,unlink";
    let status = Command::new("strace")
        .args(["-f", "-y", "-xx", "-s", "1000000", "-e", calls, "-o"])
        .arg(&out)
        .arg(writer)
        .arg(&file)
        .args(["1", "1", &N_EVENTS.to_string()])
        .stdout(Stdio::null())
        .status()?;
    if !status.success() {
        return Err(format!("the writer ended with {status}").into());
    }
    let text = std::fs::read_to_string(&out)?;
    let mut begun: BTreeMap<&str, &str> = BTreeMap::new();
    let mut calls = Vec::new();
    for line in text.lines() {
        let Some((thread, rest)) = line.split_once(' ') else { continue };
        let rest = rest.trim_start();
        // A call during which another thread was heard is noted in two halves.
        if let Some(head) = rest.strip_suffix(" <unfinished ...>") {
            begun.insert(thread, head);
        } else if rest.starts_with("<... ") {
            let (Some(head), Some((_, tail))) = (begun.remove(thread), rest.split_once("resumed>"))
            else {
                continue;
            };
            calls.extend(read_call(&format!("{head}{tail}")));
        } else {
            calls.extend(read_call(rest));
        }
    }
    Ok(calls)
}

fn read_call(line: &str) -> Option<Call> {
    let (name, rest) = line.split_once('(')?;
    if line.contains(" = -1 ") {
        return None;
    }
    // With -xx the names of files are hexadecimal as well.
    let file = || {
        let path = String::from_utf8(bytes(rest.split_once('<')?.1.split_once('>')?.0)?).ok()?;
        let name = path.rsplit_once('/')?.1;
        (name == "log" || name.starts_with("log-")).then(|| name.to_owned())
    };
    let text = || bytes(rest.split_once('"')?.1.split_once('"')?.0);
    let last_number =
        || -> Option<usize> { rest.rsplit_once(')')?.0.rsplit_once(", ")?.1.parse().ok() };
    match name {
        "pwrite64" => Some(Call::Write { file: file()?, at: last_number()?, bytes: text()? }),
        "ftruncate" => Some(Call::Truncate { file: file()?, len: last_number()? }),
        "fsync" | "fdatasync" => Some(Call::Sync { file: file()? }),
        "unlink" => {
            let path = String::from_utf8(text()?).ok()?;
            let name = path.rsplit_once('/')?.1;
            Some(Call::Unlink { file: name.to_owned() })
        }
        "write" if rest.starts_with("1<") || rest.starts_with("1,") => {
            let said = String::from_utf8(text()?).ok()?;
            Some(Call::Acknowledge(said.trim().parse().ok()?))
        }
        _ => None,
    }
}

fn bytes(escaped: &str) -> Option<Vec<u8>> {
    escaped.split("\\x").skip(1).map(|digits| u8::from_str_radix(digits, 16).ok()).collect()
}

/// Files by name, as a disk holds them after a cut.
type Left = BTreeMap<String, Vec<u8>>;

/// What is surely on the disk, and the calls since the last sync of each file.
#[derive(Default)]
struct Disk {
    synced: Left,
    since: Vec<Change>,
}

/// A change that may or may not have reached the disk.
#[derive(Clone)]
enum Change {
    Write { file: String, at: usize, bytes: Vec<u8> },
    Truncate { file: String, len: usize },
}

impl Change {
    fn file(&self) -> &str {
        match self {
            Self::Write { file, .. } | Self::Truncate { file, .. } => file,
        }
    }

    fn make(&self, left: &mut Left) {
        let content = left.entry(self.file().to_owned()).or_default();
        match self {
            Self::Write { at, bytes, .. } => {
                content.resize(content.len().max(at + bytes.len()), 0);
                content[*at..at + bytes.len()].copy_from_slice(bytes);
            }
            Self::Truncate { len, .. } => content.resize(*len, 0),
        }
    }

    fn torn(&self, keep: impl Fn(usize) -> usize) -> Self {
        match self {
            Self::Write { file, at, bytes } => Self::Write {
                file: file.clone(),
                at: *at,
                bytes: bytes[..keep(bytes.len()).min(bytes.len())].to_vec(),
            },
            whole @ Self::Truncate { .. } => whole.clone(),
        }
    }
}

impl Disk {
    fn take(&mut self, call: &Call) {
        match call {
            Call::Write { file, at, bytes } => {
                self.since.push(Change::Write { file: file.clone(), at: *at, bytes: bytes.clone() })
            }
            Call::Truncate { file, len } => {
                self.since.push(Change::Truncate { file: file.clone(), len: *len });
            }
            Call::Sync { file } => {
                for change in self.since.iter().filter(|change| change.file() == file) {
                    change.make(&mut self.synced);
                }
                self.since.retain(|change| change.file() != file);
            }
            Call::Unlink { file } => {
                self.synced.remove(file);
                self.since.retain(|change| change.file() != file);
            }
            Call::Acknowledge(_) => {}
        }
    }

    /// What may be left: nothing since the last sync, all of it, the last write torn, the last write
    /// without those before it, and two mixtures.
    fn after_a_cut(&self, seed: usize) -> Vec<Left> {
        // The index of the write-ahead log is memory in a file: it is made anew on opening.
        let since: Vec<Change> =
            self.since.iter().filter(|change| !change.file().ends_with("-shm")).cloned().collect();
        let mut ways = vec![Vec::new()];
        if let Some((last, before)) = since.split_last() {
            ways.push(since.clone());
            for keep in [|len| len / 3, |len| len * 2 / 3, |len: usize| len.saturating_sub(1)] {
                let mut way = before.to_vec();
                way.push(last.torn(keep));
                ways.push(way);
            }
            ways.push(vec![last.clone()]);
            for salt in [1, 2] {
                let some = since.iter().enumerate().filter(|(idx, _)| {
                    // A multiplicative hash, for a choice that looks like chance and is none.
                    (seed * 31 + idx * 7 + salt).wrapping_mul(2_654_435_761) >> 13 & 1 == 1
                });
                ways.push(some.map(|(_, change)| change.clone()).collect());
            }
        }
        ways.into_iter()
            .map(|way| {
                let mut left = self.synced.clone();
                left.remove("log-shm");
                way.iter().for_each(|change| change.make(&mut left));
                left
            })
            .collect()
    }
}

fn check(scene: &Path, left: &Left, acknowledged: &BTreeSet<u64>) -> Result<(), Box<dyn Error>> {
    if scene.exists() {
        std::fs::remove_dir_all(scene)?;
    }
    std::fs::create_dir(scene)?;
    for (name, content) in left {
        std::fs::write(scene.join(name), content)?;
    }
    let log = SqliteLog::open(&scene.join("log"))?;
    log.verify(None)?;
    let there: BTreeSet<u64> =
        log.after(0, usize::MAX)?.iter().map(|stored| stored.event.seq).collect();
    match acknowledged.difference(&there).next() {
        Some(lost) => Err(format!("event {lost} was acknowledged and is gone").into()),
        None => Ok(()),
    }
}
