//! `cargo xtask test` runs everything that has to hold; `cargo xtask bench` prints timings.

#![expect(clippy::print_stdout, reason = "it talks to a person at a terminal")]

mod bench;
mod browser;
mod checks;
mod debian;
mod durability;
mod end_to_end;
mod layers;
mod paper;
mod pictures;
mod purity;
mod shell;

use std::process::ExitCode;

const HELP: &str = "\
cargo xtask test             run every check and print a summary
cargo xtask test NAME...     run only the checks of these names
cargo xtask checks           list the checks
cargo xtask soak [ROUNDS]    run the tests with new random cases each round (10)
cargo xtask pictures         draw docs/pictures anew
cargo xtask bench            print how long the benchmark programs take";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["test", names @ ..] => checks::run(names),
        ["checks"] => checks::list(),
        ["soak"] => verdict(checks::soak("10")),
        ["soak", rounds] => verdict(checks::soak(rounds)),
        ["pictures"] => verdict(pictures::refresh()),
        ["bench"] => verdict(bench::run()),
        [] | ["help" | "-h" | "--help"] => {
            println!("{HELP}");
            ExitCode::SUCCESS
        }
        _ => {
            println!("unknown command `{}`\n\n{HELP}", words.join(" "));
            ExitCode::from(2)
        }
    }
}

fn verdict(outcome: Result<String, String>) -> ExitCode {
    match outcome {
        Ok(note) => {
            println!("{note}");
            ExitCode::SUCCESS
        }
        Err(why) => {
            println!("error: {why}");
            ExitCode::FAILURE
        }
    }
}
