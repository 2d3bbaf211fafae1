//! `chain`: a row of dimensions along one direction, and the gap that it leaves.

use std::path::PathBuf;

use crate::chain::{CannotStack, Chain, StackUp};
use crate::correction::Correction;
use crate::files;
use crate::problem::{Location, Problem};

use super::output::Output;
use super::{Error, Status};

/// Add up a row of dimensions and print the gap that it leaves, and the chance that parts clash
///
/// The file is CSV (comma, semicolon or tab; decimal point or comma), a row a member:
///
///   member              what it is called
///   sign                + where it opens the gap, - where it closes it
///   made                printed, bought, or gap for the row that says what is wanted
///   kind, axis          of a printed member, as in a parts list
///   drawn_mm            of a printed member; or target_mm, the printed size that is wanted
///   print               which print a printed member is part of: those of one share its errors
///   lower_mm, upper_mm  limits of a bought member; least and most gap that is wanted
///   nominal_mm, class   of a bought member in place of limits, such as 8 and h6
///   mate                of a bought member in place of limits: bearing:608 (its width), nut:M3 (its thickness)
///   spread              of a bought member: even between its limits (when blank), or normal
///
/// Worst case and root sum square take 99.73 % of prints as a printed member's ends. The simulation lets
/// members of one print share its errors. The exit code is 1 where the chance that the gap is as wanted (that
/// parts do not clash, where nothing is wanted) is below 95 %.
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment, after_help = EXAMPLES)]
pub struct Args {
    /// File of the chain
    #[arg(value_name = "FILE")]
    chain: PathBuf,
    /// Correction file that `fit` wrote, for printed members
    #[arg(long = "with", value_name = "CORRECTION")]
    correction: Option<PathBuf>,
    /// Seed of the simulation: the same seed gives the same result
    #[arg(long, value_name = "NUMBER", default_value = "1")]
    seed: u64,
    /// Print where the limits of what is sold come from
    #[arg(long)]
    sources: bool,
}

const EXAMPLES: &str = "\
Example:
  shrinkrule chain motor-mount.csv --with petg.correction.toml";

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let correction = args.correction.as_deref().map(Correction::read).transpose()?;
    let in_file = |problems| Error::in_file(problems, &args.chain, "nothing was added up");
    let chain = Chain::parse(&files::read(&args.chain)?, &args.chain).map_err(in_file)?;
    let mut answer = StackUp::new(&chain, correction.as_ref(), args.seed).map_err(|problems| {
        let told = problems.iter().map(|problem| told(problem, args));
        in_file(told.collect())
    })?;
    if args.sources {
        answer.sources = chain.sources();
    }
    output.warnings(&chain.warnings)?;
    for warning in &answer.warnings {
        output.warnings(&[Problem::warning(Location::default(), warning)])?;
    }
    output.result(&answer.to_text(), &answer)?;
    Ok(if answer.is_good() { Status::Done } else { Status::No })
}

fn told(problem: &CannotStack, args: &Args) -> Problem {
    let place = Location::file(&args.chain).line(problem.line());
    Problem::error(place, problem.to_string()).help_if(problem.help())
}
