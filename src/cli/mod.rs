//! The command line: arguments in, one or two calls into the library, results out.
//!
//! Exit codes: 0 done; 1 done, and the answer is no; 2 the input or the call is wrong.

pub mod output;

mod chain;
mod compare;
mod coupons;
mod demo;
mod drive;
mod fit;
mod fit_many;
mod limits;
mod materials;
mod parts;
mod picture;
mod plan;
mod press_args;
mod pulley;
mod readings;
mod size;
mod verify;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::files::{FileError, clean_up_when_interrupted};
use crate::problem::{Location, Problem, counted};
use output::{ColorChoice, Output};

/// What a command that ran to its end has to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Done.
    Done,
    /// Done, and the answer is no: the correction has drifted, a target cannot be met.
    No,
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// What the person gave is wrong: every problem, in file order, and a last line that sums up.
    #[error("{summary}")]
    Input {
        /// Every problem.
        problems: Vec<Problem>,
        /// For example `2 problems in readings.csv; nothing was fitted`.
        summary: String,
    },
    /// A file could not be read or written.
    #[error(transparent)]
    File(#[from] FileError),
    /// The stream that results go to failed.
    #[error("cannot write the result: {0}")]
    Stream(#[from] std::io::Error),
}

impl Error {
    /// One problem with the call itself, for example two options that exclude each other.
    pub fn call(message: impl Into<String>) -> Self {
        Self::problem(Problem::error(Location::default(), message))
    }

    /// A single problem, without a summary line.
    pub fn problem(problem: Problem) -> Self {
        Self::Input { problems: vec![problem], summary: String::new() }
    }

    /// Problems of a file, and the line that sums up: `2 problems in parts.csv; nothing was sized`.
    pub fn in_file(problems: Vec<Problem>, path: &std::path::Path, outcome: &str) -> Self {
        let count = counted(problems.len() as u64, "problem");
        Self::Input { problems, summary: format!("{count} in {}; {outcome}", path.display()) }
    }

    fn problems(&self) -> Vec<Problem> {
        match self {
            Self::Input { problems, .. } => problems.clone(),
            Self::File(error) => {
                vec![Problem::error(Location::default(), error.to_string()).help_if(error.help())]
            }
            Self::Stream(_) => vec![Problem::error(Location::default(), self.to_string())],
        }
    }
}

/// Make filament-printed mechanical parts fit: print coupons, measure them, fit how this printer errs,
/// and get the size to draw.
#[derive(Debug, Parser)]
#[command(name = "shrinkrule", version, max_term_width = 100, after_help = EXAMPLES)]
struct Arguments {
    /// Print one JSON document on stdout and nothing else there
    #[arg(long, global = true)]
    json: bool,
    /// Overwrite files that exist
    #[arg(long, global = true)]
    force: bool,
    /// Say nothing but results and problems
    #[arg(long, short, global = true)]
    quiet: bool,
    /// When to colour: auto, always, never (NO_COLOR is obeyed)
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    color: ColorChoice,
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "\
Examples:
  shrinkrule demo slider            see the whole loop on bundled data, in the new folder `slider`
  shrinkrule coupons starter --out coupons-petg
  shrinkrule fit coupons-petg/readings.csv --out petg.correction.toml
  shrinkrule size bore 8 --fit slide --with petg.correction.toml";

/// One variant a command, in the order of the work.
#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Args),
    Plan(plan::Args),
    Coupons(coupons::Args),
    Readings(readings::Args),
    Fit(fit::Args),
    Size(size::Args),
    Parts(parts::Args),
    Chain(chain::Args),
    // By far the most options.
    Pulley(Box<pulley::Args>),
    Drive(drive::Args),
    Verify(verify::Args),
    Materials(Box<materials::Args>),
    Compare(compare::Args),
}

/// Runs the command with these arguments (the program's name first); the process's exit code.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            // A closed pipe while printing help is no failure of ours.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    clean_up_when_interrupted();
    let mut output = Output::standard(arguments.json, arguments.quiet, arguments.force, arguments.color);
    let result = dispatch(&arguments.command, &mut output);
    match result {
        Ok(Status::Done) => ExitCode::SUCCESS,
        Ok(Status::No) => ExitCode::from(1),
        Err(Error::Stream(error)) if error.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            let summary = match &error {
                Error::Input { summary, .. } => summary.as_str(),
                _ => "",
            };
            // When stderr is gone as well there is nobody left to tell.
            let _ = output.failure(&error.problems(), summary);
            ExitCode::from(2)
        }
    }
}

fn dispatch(command: &Command, output: &mut Output) -> Result<Status, Error> {
    match command {
        Command::Demo(args) => demo::run(args, output),
        Command::Plan(args) => plan::run(args, output),
        Command::Coupons(args) => coupons::run(args, output),
        Command::Readings(args) => readings::run(args, output),
        Command::Fit(args) => fit::run(args, output),
        Command::Size(args) => size::run(args, output),
        Command::Parts(args) => parts::run(args, output),
        Command::Chain(args) => chain::run(args, output),
        Command::Pulley(args) => pulley::run(args, output),
        Command::Drive(args) => drive::run(args, output),
        Command::Verify(args) => verify::run(args, output),
        Command::Materials(args) => materials::run(args, output),
        Command::Compare(args) => compare::run(args, output),
    }
}
