//! The command line: one file a command. The only part that reads and writes files and prints.

mod audit;
mod check;
mod clearance;
mod compare;
mod demo;
mod explain;
mod failure;
mod framework;
mod framework_stills;
mod gallery;
mod input;
mod manual;
pub(crate) mod output;
mod progress;
mod schema;
mod serve;
mod survey;
mod tori;
mod values;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

pub use explain::checks_page;
use failure::Failure;

/// How the program ended: 0 nothing asked for is short, 1 something is short, exceeds, tight or not measured, 2 nothing
/// could be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ending(pub u8);

impl Ending {
    const FINE: Ending = Ending(0);
    const NOTHING_DONE: Ending = Ending(2);

    fn of(asks_attention: bool) -> Ending {
        Ending(u8::from(asks_attention))
    }
}

/// What goes to standard output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// A sheet to read.
    Text,
    /// The content of the JSON file, and nothing else.
    Json,
}

/// Settings of every command.
#[derive(Clone, Debug, clap::Args)]
struct Common {
    /// What goes to standard output: a sheet to read, or the JSON file's content alone
    #[arg(long, global = true, value_enum, default_value_t = Format::Text, value_name = "FORMAT")]
    format: Format,
    /// Number of threads, 1 to 512; all processors unless given. The figures do not depend on it
    #[arg(long, global = true, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=512))]
    threads: Option<u16>,
    /// No progress and no notes on standard error, errors only
    #[arg(long, short, global = true)]
    quiet: bool,
}

/// Measures scans of both arches before a removable partial denture is designed: room over the ridge, undercut of the
/// abutments, tori, the way for the connector.
#[derive(Debug, Parser)]
#[command(name = "saddleroom", version, propagate_version = true, max_term_width = 100)]
#[command(after_help = AFTER_HELP, after_long_help = AFTER_LONG_HELP)]
struct Arguments {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

const AFTER_HELP: &str = "Begin with `saddleroom demo casts/oban` and `saddleroom check casts/oban/case.toml --out out`.\n\
                          `saddleroom COMMAND --help` tells more, with an example.";

const AFTER_LONG_HELP: &str = "\
Begin with:
  saddleroom demo casts/oban                          write a demo case
  saddleroom check casts/oban/case.toml --out out     work it through; open out/report.html

Lengths are millimetres, angles degrees, directions X,Y,Z in the axes of the file. A `withdrawal` points from the tissue
to the occlusal side, the way the denture comes out; `opening` from the tissue toward the opposing arch.

Exit code:
  0  nothing that was asked for is short
  1  something is short, exceeds or is tight, or a quantity that was asked for could not be measured
  2  nothing could be done: bad usage or unreadable input; standard error says what to do

The program measures and compares; it prescribes nothing. It opens no network connection; `serve` listens on the
loopback address of this machine alone.";

#[derive(Debug, Subcommand)]
enum Command {
    Check(check::Args),
    Survey(survey::Args),
    Clearance(clearance::Args),
    Tori(tori::Args),
    Audit(audit::Args),
    Demo(demo::Args),
    Explain(explain::Args),
    Schema(schema::Args),
    Framework(framework::Args),
    Compare(compare::Args),
    Serve(serve::Args),
    Completions(manual::CompletionsArgs),
    Manual(manual::ManualArgs),
}

/// Runs the program on its arguments.
pub fn main() -> ExitCode {
    std::panic::set_hook(Box::new(failure::tell_fault));
    let ending = std::panic::catch_unwind(|| run(std::env::args_os())).unwrap_or(Ending::NOTHING_DONE);
    ExitCode::from(ending.0)
}

/// Runs one command line, the program's name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Ending {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(usage) => {
            let code = u8::try_from(usage.exit_code()).unwrap_or(2);
            // Nothing is left to be told where even this cannot be printed.
            let _ = usage.print();
            return Ending(code);
        }
    };
    let Arguments { common, command } = arguments;
    if let Some(threads) = common.threads {
        // Fails only where a pool already stands, as in tests that run several command lines in one process.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(threads.into()).build_global();
    }
    match dispatch(&common, command) {
        Ok(ending) => ending,
        Err(failure) => {
            failure.tell();
            Ending::NOTHING_DONE
        }
    }
}

fn dispatch(common: &Common, command: Command) -> Result<Ending, Failure> {
    match command {
        Command::Check(args) => check::run(common, &args),
        Command::Survey(args) => survey::run(common, &args),
        Command::Clearance(args) => clearance::run(common, &args),
        Command::Tori(args) => tori::run(common, &args),
        Command::Audit(args) => audit::run(common, &args),
        Command::Demo(args) => demo::run(common, &args),
        Command::Explain(args) => explain::run(common, &args),
        Command::Schema(args) => schema::run(&args),
        Command::Framework(args) => framework::run(common, &args),
        Command::Compare(args) => compare::run(common, &args),
        Command::Serve(args) => serve::run(common, &args),
        Command::Completions(args) => manual::completions(&args),
        Command::Manual(_) => manual::run(),
    }
}
