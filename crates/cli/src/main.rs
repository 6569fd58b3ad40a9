//! The program `floorwright`: arguments in, text or JSON out, exit codes that scripts rely on.

mod args;
mod aside;
mod commands;
mod exit;
mod files;
mod report;
mod session;
mod text;
mod today;

use args::{Cli, Colour, Command};
use clap::Parser;
use exit::Stop;
use report::Report;
use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let colour = match cli.colour {
        Colour::Always => true,
        Colour::Never => false,
        Colour::Auto => wants_colour(),
    };
    match run(&cli.command, colour) {
        Ok(report) => {
            let text =
                if cli.json { format!("{:#}\n", (report.json)()) } else { report.text.finish() };
            match io::stdout().lock().write_all(text.as_bytes()) {
                // Whoever reads has seen enough: that is no failure.
                Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
                Err(_) => ExitCode::from(exit::DISK),
                Ok(()) => ExitCode::from(report.exit),
            }
        }
        Err(stop) => fail(stop, cli.json),
    }
}

fn run(command: &Command, colour: bool) -> Result<Report, Stop> {
    match command {
        Command::Demo { into } => commands::demo::run(into),
        Command::New(args) => commands::new::run(args),
        Command::Check(args) => commands::check::run(args),
        Command::Levels(args) => commands::levels::run(args),
        Command::Floor(args) => commands::floor::run(args, colour),
        Command::Frame(args) => commands::frame::run(args),
        Command::Hose(args) => commands::hose::run(args),
        Command::Stands(args) => commands::stands::run(args),
        Command::Lift(args) => commands::lift::run(args),
        Command::Passes(args) => commands::passes::run(args),
        Command::Order(args) => commands::order::run(args),
        Command::Record(args) => commands::record::run(args),
        Command::Report(args) => commands::report::run(args),
        Command::Export(args) => commands::export::run(args),
        Command::Serve(args) => commands::serve::run(args),
    }
}

/// Colour only where a person looks at a terminal that has some.
fn wants_colour() -> bool {
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    io::stdout().is_terminal() && !set("NO_COLOR") && !dumb
}

fn fail(stop: Stop, json: bool) -> ExitCode {
    if json {
        let error = serde_json::json!({
            "schema": "floorwright/error/1",
            "error": {
                "what": stop.what, "hint": stop.hint, "exit": stop.code, "faults": stop.faults,
            },
        });
        // Nothing is left to be done if even this cannot be written.
        let _ = writeln!(io::stdout().lock(), "{error:#}");
    } else {
        let hint = stop.hint.as_ref().map_or(String::new(), |hint| format!("\n  hint: {hint}"));
        let faults: String = stop.faults.iter().map(|fault| format!("{fault:#}\n")).collect();
        let _ = writeln!(io::stderr().lock(), "{faults}{}{hint}", stop.what);
    }
    stop.into()
}
