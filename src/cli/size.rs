//! `size`: the size to draw for a target size, from a saved correction.

use std::path::PathBuf;

use super::limits::{LimitsArgs, step, tolerance};
use super::output::Output;
use super::{Error, Status};
use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::correction::feel::Feels;
use crate::correction::file::ReadError;
use crate::files;
use crate::kind::{Axis, Kind};
use crate::parts::felt::{FeltSize, credit, felt_fit};
use crate::parts::sized::{SizedFeature, allowance};
use crate::problem::{Location, Problem};
use crate::readings::trials::Feel;
use crate::stats::tolerance::Wanted;
use crate::units::Mm;

/// Print the size to draw so that the printed feature measures as wanted
///
/// MM is the printed size that is wanted. With --class or --fit it is the nominal size, the bought part's
/// (--mate stands in for it), and the middle of the limits that follow is aimed at.
///
/// Fits, as clearance between the printed and the bought part, in mm (common practice for printed plastic,
/// no source; your own feel tests take their place where the correction has some): press -0.12 to -0.02 and 0.002 tighter with each mm of size; snug -0.02 to 0.05; slide 0.05 to
/// 0.15; free 0.2 to 0.4.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// What is sized: bore, horizontal_bore, pin, gap, outer, span, height
    kind: Kind,
    /// Printed size that is wanted, in millimetres; with --class or --fit the nominal size
    #[arg(value_name = "MM", allow_negative_numbers = true)]
    size: Option<Mm>,
    /// Correction file that `fit` wrote
    #[arg(long = "with", value_name = "CORRECTION")]
    correction: PathBuf,
    /// Direction that is measured: x, y, z, round, d45, d135; z for a height, else round, when left out
    #[arg(long)]
    axis: Option<Axis>,
    /// Round the size to draw to a multiple of this; 0 leaves it as it is
    #[arg(long, value_name = "MM", default_value = "0.01", value_parser = step, allow_hyphen_values = true)]
    step: Mm,
    /// Also give the limits that hold this share of all prints with this confidence, both in per cent:
    /// 95/95. The 95 % interval is for the next print; this one is for who makes many
    #[arg(long, value_name = "SHARE/CONFIDENCE", value_parser = tolerance)]
    tolerance: Option<Wanted>,
    /// Use the named fit's clearances, even where the correction has your own feel tests
    #[arg(long)]
    ignore_feel: bool,
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
    let text = files::read_text(&args.correction)?;
    let feels = Feels::from_toml(&text, &args.correction)?;
    let axis = args.axis.unwrap_or(args.kind.unnamed_axis());
    let wanted = args.limits.feel().filter(|_| !args.ignore_feel);
    if let (Some(feels), Some(feel)) = (feels.as_ref().filter(|feels| feels.alone), wanted) {
        return from_feels(args, axis, feels, feel, output);
    }
    let correction = Correction::from_toml(&text, &args.correction)?;
    let mut cautions = Vec::new();
    let mut felt = None;
    if let (Some(feels), Some(feel), Some(mate)) = (&feels, wanted, args.limits.mate(args.size)) {
        match felt_fit(feels, &correction, args.kind, feel) {
            Ok(Some(fit)) => felt = Some((feels, feel, mate, fit)),
            Ok(None) => return from_feels(args, axis, feels, feel, output),
            Err(reason) => cautions.push(format!("{reason}: the named fit is used")),
        }
    }
    let aim = match &felt {
        Some((.., fit)) => args.limits.aim_at_fit(args.kind, args.size, fit)?,
        None => args.limits.aim(args.kind, args.size)?,
    };
    let sized = SizedFeature::new(&correction, args.kind, axis, &aim, args.step);
    let sized = sized.and_then(|sized| sized.with_drawn_interval(&correction));
    let sized = match args.tolerance {
        Some(demand) => sized.and_then(|sized| sized.with_tolerance(&correction, demand)),
        None => sized,
    };
    let (mut answer, status) = match sized {
        Ok(mut answer) => {
            answer.warnings.extend(allowance(&correction));
            (answer, Status::Done)
        }
        Err(error @ CannotApply::KindNotMeasured { .. }) => return Err(cannot(&error)),
        Err(error) => (SizedFeature::refused(args.kind, axis, &aim, &error), Status::No),
    };
    answer.warnings.extend(cautions);
    if let Some((feels, feel, mate, _)) = felt {
        credit(&mut answer, feels, &correction, feel, mate);
    }
    warn(&answer.warnings, output)?;
    output.result(&answer.to_text(), &answer)?;
    Ok(status)
}

/// The answer where no caliper reading says how the kind prints.
fn from_feels(
    args: &Args,
    axis: Axis,
    feels: &Feels,
    feel: Feel,
    output: &mut Output,
) -> Result<Status, Error> {
    let refused =
        |message: String, help: &str| Error::problem(Problem::error(Location::default(), message).help(help));
    let mate = args.limits.mate(args.size).ok_or_else(|| {
        refused("no size is given".to_owned(), "give the size of the bought part with --mate")
    })?;
    let answer = FeltSize::new(feels, args.kind, axis, feel, mate, args.step).map_err(|error| {
        let help = "try the real piece in more sizes and fit again; `shrinkrule coupons feel` prints some";
        refused(error.to_string(), help)
    })?;
    warn(&answer.warnings, output)?;
    if args.tolerance.is_some() {
        warn(&["this answer rests on feel tests alone, which give no --tolerance".to_owned()], output)?;
    }
    output.result(&answer.to_text(), &answer)?;
    Ok(Status::Done)
}

fn warn(warnings: &[String], output: &mut Output) -> Result<(), Error> {
    let problems: Vec<Problem> =
        warnings.iter().map(|warning| Problem::warning(Location::default(), warning)).collect();
    Ok(output.warnings(&problems)?)
}

fn cannot(error: &CannotApply) -> Error {
    Error::problem(Problem::error(Location::default(), error.to_string()).help_if(error.help()))
}

impl From<ReadError> for Error {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::File(error) => Self::File(error),
            ReadError::Content { problems } => Self::Input { problems, summary: String::new() },
        }
    }
}
