//! `size`: the size to draw for a target size, from a saved correction.

use std::path::PathBuf;

use super::limits::{LimitsArgs, step, tolerance};
use super::output::Output;
use super::press_args::{self, PressArgs};
use super::{Error, Status};
use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::correction::feel::Feels;
use crate::correction::file::ReadError;
use crate::files;
use crate::kind::{Axis, Kind};
use crate::parts::felt::FeltSize;
use crate::parts::own_fits::OwnFits;
use crate::parts::pressed::Pressed;
use crate::parts::seat::bought::BoughtPart;
use crate::parts::seat::sized::SizedSeat;
use crate::parts::seat::{Ask, Seat, inch_caution};
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
/// Where --mate names what is sold, such as bearing:608 or nut:M3, everything that must be drawn for it comes
/// out: the seat, how deep, its shoulder, lead-in, counterbore.
///
/// Fits, as clearance between the printed and the bought part, in mm (common practice for printed plastic,
/// no source; your own feel tests take their place where the correction has some): press -0.12 to -0.02 and 0.002 tighter with each mm of size; snug -0.02 to 0.05; slide 0.05 to
/// 0.15; free 0.2 to 0.4.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// What is sized: bore, horizontal_bore, pin, gap, outer, span, height; may be left out where --mate names a
    /// part, whose usual seat is meant then
    kind: Option<Kind>,
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
    /// Print where the numbers come from: standards, tables, common practice
    #[arg(long)]
    sources: bool,
    #[command(flatten)]
    limits: LimitsArgs,
    #[command(flatten)]
    press: PressArgs,
}

const EXAMPLES: &str = "\
Examples:
  shrinkrule size bore 8.1 --within 8.05..8.15 --with petg.correction.toml
  shrinkrule size bore --mate 8 --fit slide --with petg.correction.toml
  shrinkrule size bore --mate-within 7.991..8.000 --fit slide --with petg.correction.toml
  shrinkrule size pin 8 --class h9 --with petg.correction.toml
  shrinkrule size --mate bearing:608 --fit press --with petg.correction.toml
  shrinkrule size --mate nut:M3 --with petg.correction.toml --sources
  shrinkrule size --mate bearing:608 --fit press --material PETG --wall 5 --temperature-c 60 --with petg.correction.toml";

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let text = files::read_text(&args.correction)?;
    let feels = Feels::from_toml(&text, &args.correction)?;
    check_axis(args)?;
    if let Some(part) = args.limits.sold() {
        return seat(args, part, &text, feels.as_ref(), output);
    }
    let Some(kind) = args.kind else { return Err(no_kind()) };
    let axis = args.axis.unwrap_or(kind.unnamed_axis());
    let wanted = args.limits.feel().filter(|_| !args.ignore_feel);
    if let (Some(feels), Some(feel)) = (feels.as_ref().filter(|feels| feels.alone), wanted) {
        return from_feels(args, (kind, axis), feels, feel, output);
    }
    let correction = Correction::from_toml(&text, &args.correction)?;
    let named = args.limits.named_fits()?;
    let chosen = match (wanted, args.limits.mate(args.size)) {
        (Some(feel), Some(mate)) => {
            let chosen = OwnFits::new(&named, feels.as_ref(), &correction).get(kind, feel.name());
            chosen.ok().map(|chosen| (chosen, mate))
        }
        _ => None,
    };
    if let (Some(feels), Some(feel), Some((chosen, _))) = (&feels, wanted, &chosen)
        && chosen.is_felt_alone
    {
        return from_feels(args, (kind, axis), feels, feel, output);
    }
    let aim = match &chosen {
        Some((chosen, _)) => args.limits.aim_at_fit(kind, args.size, &chosen.fit)?,
        None => args.limits.aim(kind, args.size, &named)?,
    };
    let sized = SizedFeature::new(&correction, kind, axis, &aim, args.step);
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
        Err(error) => (SizedFeature::refused(kind, axis, &aim, &error), Status::No),
    };
    if let Some((chosen, mate)) = chosen {
        chosen.credit(&mut answer, mate);
        answer.warnings.extend(inch_caution(mate));
    }
    if let Some(request) = args.press.request(kind, None)? {
        answer =
            answer.with_press(&correction, &aim, &request).map_err(|error| press_args::refusal(&error))?;
    }
    if args.sources {
        answer.sources.extend(aim.source);
        answer.sources.extend(answer.press.iter().flat_map(Pressed::sources).cloned());
    }
    warn(&answer.warnings, output)?;
    output.result(&answer.to_text(), &answer)?;
    Ok(status)
}

/// Everything to draw for a part that is sold by a name.
fn seat(
    args: &Args,
    part: &BoughtPart,
    text: &str,
    feels: Option<&Feels>,
    output: &mut Output,
) -> Result<Status, Error> {
    if args.size.is_some() {
        let problem =
            Problem::error(Location::default(), "a size is given besides the part that it is made for");
        return Err(Error::problem(problem.help("leave the size out: it follows from --mate")));
    }
    let correction = Correction::from_toml(text, &args.correction)?;
    let named = args.limits.named_fits()?;
    let feels = feels.filter(|_| !args.ignore_feel && !args.limits.has_own_fits());
    let fits = OwnFits::new(&named, feels, &correction);
    let ask = Ask { part, kind: args.kind, axis: args.axis, how: args.limits.how() };
    let refused =
        |message: String, help| Error::problem(Problem::error(Location::default(), message).help_if(help));
    let seat = Seat::new(ask, &fits).map_err(|error| refused(error.to_string(), error.help()))?;
    let mut answer = match SizedSeat::new(&seat, &correction, args.step) {
        Ok(answer) => answer,
        Err(error) => return Err(cannot(&error)),
    };
    if let Some(request) = args.press.request(seat.first.kind, part.length())? {
        answer =
            answer.with_press(&seat, &correction, &request).map_err(|error| press_args::refusal(&error))?;
    }
    if args.sources {
        answer.sources = seat.sources();
        answer.sources.extend(answer.main.press.iter().flat_map(Pressed::sources).cloned());
    }
    warn(&answer.main.warnings, output)?;
    output.result(&answer.to_text(), &answer)?;
    Ok(if answer.is_whole() { Status::Done } else { Status::No })
}

fn no_kind() -> Error {
    let problem = Problem::error(Location::default(), "what is sized is not said");
    Error::problem(
        problem.help("give its kind first, such as `size bore 8`, or a part with --mate bearing:608"),
    )
}

/// A direction that the kind is not measured along.
fn check_axis(args: &Args) -> Result<(), Error> {
    let refused = args.kind.zip(args.axis).and_then(|(kind, axis)| Some((kind, axis, kind.refuses(axis)?)));
    match refused {
        None => Ok(()),
        Some((kind, axis, why)) => {
            let place = Location::default().column("--axis");
            let message = format!("{} are not measured along {axis}", kind.plural());
            Err(Error::problem(Problem::error(place, message).help(why)))
        }
    }
}

/// The answer where no caliper reading says how the kind prints.
fn from_feels(
    args: &Args,
    (kind, axis): (Kind, Axis),
    feels: &Feels,
    feel: Feel,
    output: &mut Output,
) -> Result<Status, Error> {
    let refused =
        |message: String, help: &str| Error::problem(Problem::error(Location::default(), message).help(help));
    let mate = args.limits.mate(args.size).ok_or_else(|| {
        refused("no size is given".to_owned(), "give the size of the bought part with --mate")
    })?;
    let answer = FeltSize::new(feels, kind, axis, feel, mate, args.step).map_err(|error| {
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
