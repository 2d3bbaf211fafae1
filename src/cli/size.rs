//! `size`: the size to draw for a target size, from a saved correction.

use std::path::PathBuf;

use super::limits::LimitsArgs;
use super::output::Output;
use super::{Error, Status};
use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::correction::file::ReadError;
use crate::kind::{Axis, Kind};
use crate::parts::sized::{SizedFeature, allowance};
use crate::problem::{Location, Problem};
use crate::units::Mm;

/// Print the size to draw so that the printed feature measures as wanted
///
/// MM is the printed size that is wanted. With --class or --fit it is the nominal size, the bought part's
/// (--mate stands in for it), and the middle of the limits that follow is aimed at.
///
/// Fits, as clearance between the printed and the bought part, in mm (common practice for printed plastic,
/// no source): press -0.12 to -0.02 and 0.002 tighter with each mm of size; snug -0.02 to 0.05; slide 0.05 to
/// 0.15; free 0.2 to 0.4.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// What is sized: bore, horizontal_bore, pin, gap, outer, span, height
    kind: Kind,
    /// Printed size that is wanted, in millimetres; with --class or --fit the nominal size
    #[arg(value_name = "MM")]
    size: Option<Mm>,
    /// Correction file that `fit` wrote
    #[arg(long = "with", value_name = "CORRECTION")]
    correction: PathBuf,
    /// Direction that is measured: x, y, z, round, d45, d135; z for a height, else round, when left out
    #[arg(long)]
    axis: Option<Axis>,
    /// Round the size to draw to a multiple of this; 0 leaves it as it is
    #[arg(long, value_name = "MM", default_value = "0.01")]
    step: Mm,
    #[command(flatten)]
    limits: LimitsArgs,
}

const EXAMPLES: &str = "\
Examples:
  shrinkrule size bore 8.1 --within 8.05..8.15 --with petg.correction.toml
  shrinkrule size bore --mate 8 --fit slide --with petg.correction.toml
  shrinkrule size bore --mate-within 7.991..8.000 --fit slide --with petg.correction.toml
  shrinkrule size pin 8 --class h9 --with petg.correction.toml";

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let aim = args.limits.aim(args.kind, args.size)?;
    let correction = Correction::read(&args.correction)?;
    let axis = args.axis.unwrap_or(args.kind.unnamed_axis());
    let sized = SizedFeature::new(&correction, args.kind, axis, &aim, args.step);
    let (answer, status) = match sized.and_then(|sized| sized.with_drawn_interval(&correction)) {
        Ok(mut answer) => {
            answer.warnings.extend(allowance(&correction));
            (answer, Status::Done)
        }
        Err(error @ CannotApply::KindNotMeasured { .. }) => return Err(cannot(&error)),
        Err(error) => (SizedFeature::refused(args.kind, axis, &aim, &error), Status::No),
    };
    for warning in &answer.warnings {
        output.warnings(&[Problem::warning(Location::default(), warning)])?;
    }
    output.result(&answer.to_text(), &answer)?;
    Ok(status)
}

fn cannot(error: &CannotApply) -> Error {
    let problem = Problem::error(Location::default(), error.to_string());
    Error::problem(match error.help() {
        Some(help) => problem.help(help),
        None => problem,
    })
}

impl From<ReadError> for Error {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::File(error) => Self::File(error),
            ReadError::Content { problems } => Self::Input { problems, summary: String::new() },
        }
    }
}
