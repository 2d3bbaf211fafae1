//! `size`: the size to draw for a target size, from a saved correction.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::str::FromStr;

use serde::Serialize;

use super::output::Output;
use super::{Error, Status};
use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::correction::file::ReadError;
use crate::correction::summary::usual_axis;
use crate::kind::{Axis, Kind};
use crate::problem::{Location, Problem};
use crate::units::Mm;

/// Print the size to draw so that the printed feature measures as wanted
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What is sized: bore, horizontal_bore, pin, gap, outer, span, height
    kind: Kind,
    /// Printed size that is wanted, in millimetres; the middle of --within when left out
    #[arg(value_name = "MM")]
    target: Option<Mm>,
    /// Correction file that `fit` wrote
    #[arg(long = "with", value_name = "FILE")]
    correction: PathBuf,
    /// Smallest and largest size that will do, for example 8.00..8.15
    #[arg(long, value_name = "LO..HI")]
    within: Option<Limits>,
    /// Direction that is measured: x, y, z, round, d45, d135
    #[arg(long)]
    axis: Option<Axis>,
    /// Round the size to draw to a multiple of this
    #[arg(long, value_name = "MM", default_value = "0.01")]
    step: Mm,
}

/// The smallest and the largest size that will do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    lower: Mm,
    upper: Mm,
}

impl FromStr for Limits {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (lower, upper) =
            text.split_once("..").ok_or_else(|| format!("`{text}` is not LO..HI, for example 8.00..8.15"))?;
        let read = |text: &str| text.parse::<Mm>().map_err(|error| error.to_string());
        let (lower, upper) = (read(lower)?, read(upper)?);
        if lower >= upper {
            return Err(format!("{lower} is not below {upper}"));
        }
        Ok(Self { lower, upper })
    }
}

/// The one JSON document of the command.
#[derive(Debug, Serialize)]
struct Answer {
    kind: Kind,
    target_mm: Mm,
    /// `null`, with the three that follow, when the target cannot be met.
    draw_mm: Option<f64>,
    expected_mm: Option<f64>,
    low95_mm: Option<f64>,
    high95_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    chance: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    within: Option<[f64; 2]>,
    extrapolated: bool,
    warnings: Vec<String>,
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let correction = Correction::read(&args.correction)?;
    let middle = args.within.and_then(|within| Mm::new(0.5 * (within.lower.get() + within.upper.get())));
    let target = args.target.or(middle).ok_or_else(|| {
        Error::problem(Problem::error(Location::default(), "no size is given").help(
            "name the size that is wanted, as in `size bore 8`, or limits, as in `--within 8.00..8.15`",
        ))
    })?;
    let axis = args.axis.unwrap_or(usual_axis(args.kind));
    let size = match correction.size_for(args.kind, axis, target, args.step) {
        Ok(size) => size,
        Err(error @ CannotApply::KindNotMeasured { .. }) => return Err(cannot(&error)),
        Err(error) => return no_size(args, target, &error, output),
    };
    let prediction = size.prediction;
    let (low, high) = prediction.interval(0.95);
    let limits = args.within.map(|within| [within.lower.get(), within.upper.get()]);
    let answer = Answer {
        kind: args.kind,
        target_mm: target,
        draw_mm: Some(size.draw.get()),
        expected_mm: Some(prediction.expected_mm),
        low95_mm: Some(low),
        high95_mm: Some(high),
        chance: limits.map(|[lower, upper]| prediction.chance_within(lower, upper)),
        within: limits,
        extrapolated: prediction.beyond_mm > 0.0,
        warnings: correction
            .extrapolation(args.kind, size.draw.get(), prediction.beyond_mm)
            .into_iter()
            .collect(),
    };
    let warnings: Vec<Problem> =
        answer.warnings.iter().map(|warning| Problem::warning(Location::default(), warning)).collect();
    output.warnings(&warnings)?;
    output.result(&text(&answer, size.draw), &answer)?;
    Ok(Status::Done)
}

fn cannot(error: &CannotApply) -> Error {
    let problem = Problem::error(Location::default(), error.to_string());
    Error::problem(match error.help() {
        Some(help) => problem.help(help),
        None => problem,
    })
}

/// The answer is no: there is no size to draw.
fn no_size(args: &Args, target: Mm, error: &CannotApply, output: &mut Output) -> Result<Status, Error> {
    let answer = Answer {
        kind: args.kind,
        target_mm: target,
        draw_mm: None,
        expected_mm: None,
        low95_mm: None,
        high95_mm: None,
        chance: None,
        within: args.within.map(|within| [within.lower.get(), within.upper.get()]),
        extrapolated: true,
        warnings: vec![error.to_string()],
    };
    output.result(&error.to_string(), &answer)?;
    Ok(Status::No)
}

/// The answer as a line or two.
fn text(answer: &Answer, draw: Mm) -> String {
    let mut text = format!("{} of {}: draw {draw}\n", answer.kind.name().replace('_', " "), answer.target_mm);
    if let (Some(expected), Some(low), Some(high)) = (answer.expected_mm, answer.low95_mm, answer.high95_mm) {
        // Writing to a String cannot fail.
        let _ =
            writeln!(text, "prints as {expected:.2} mm, 95 % of new prints between {low:.2} and {high:.2}");
    }
    if let (Some(chance), Some([lower, upper])) = (answer.chance, answer.within) {
        let _ = writeln!(text, "within {lower} to {upper} mm: {:.0} % of new prints", 100.0 * chance);
    }
    text
}

impl From<ReadError> for Error {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::File(error) => Self::File(error),
            ReadError::Content { problems } => Self::Input { problems, summary: String::new() },
        }
    }
}
