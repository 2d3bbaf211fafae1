//! `pulley`: a corrected timing pulley as a solid, a picture and a table.

use std::path::PathBuf;

use super::output::Output;
use super::{Error, Status};
use crate::correction::Correction;
use crate::files::Outputs;
use crate::parts::pulley::Design;
use crate::parts::pulley_answer::PulleyAnswer;
use crate::parts::pulley_files::{Targets, WriteError};
use crate::parts::pulley_request::{CannotMake, Flanges, Request};
use crate::parts::pulley_solid;
use crate::problem::{Location, Problem};
use crate::units::Mm;

/// Make a timing pulley that comes out right on this setup
///
/// Tips are corrected as pins, grooves as gaps, the bore as a bore, each wall along its own normal; only
/// what the plastic shrinks is undone by scale, so the pitch stays right. Beside the first file lie a .json
/// with every size and where it comes from, and an .svg of the groove.
///
/// Files for a drawing program have true arcs and are in millimetres: DXF and SVG hold the section through
/// the teeth, as wanted and as drawn; STEP the drawn body as an exact solid.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Belt profile: T2.5, T5, T10, T20, MXL, XXL, XL, L, H, XH, XXH
    #[arg(long)]
    belt: String,
    /// Number of teeth
    #[arg(long)]
    teeth: u32,
    /// Bore that is wanted, in millimetres
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    bore: Mm,
    /// How many flanges: none, one at the bed, or one on either side
    #[arg(long, value_name = "0|1|2", default_value = "2", value_parser = clap::value_parser!(u8).range(0..=2))]
    flanges: u8,
    /// Width of the belt [default: the narrowest standard width]
    #[arg(long, value_name = "MM")]
    belt_width: Option<Mm>,
    /// Correction file written by `fit`
    #[arg(long = "with", value_name = "FILE", required_unless_present = "without_correction")]
    correction: Option<PathBuf>,
    /// Draw the pulley exactly as wanted, for a machine that errs nowhere
    #[arg(long, conflicts_with = "correction")]
    without_correction: bool,
    /// Allow fewer teeth than the tables list, for slow or hand-driven mechanisms
    #[arg(long)]
    allow_few_teeth: bool,
    /// File to write, by its ending: .stl, .3mf, .step, .dxf, .svg; may be given several times; needed unless
    /// --json or --drawing is given
    #[arg(long, value_name = "FILE")]
    out: Vec<PathBuf>,
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let targets = Targets::new(&args.out, 1).map_err(|error| Error::call(error.to_string()))?;
    if targets.is_empty() && !output.json {
        return Err(Error::call(
            "--out FILE.stl, .3mf, .step, .dxf or .svg is needed unless --json is given",
        ));
    }
    let mut outputs = Outputs::new(output.force).keeping(&args.correction);
    targets.paths().try_for_each(|path| outputs.check_file(path))?;
    let correction = args.correction.as_deref().map(Correction::read).transpose()?;
    let request = Request {
        belt: args.belt.clone(),
        teeth: args.teeth,
        bore: args.bore,
        flanges: Flanges::from_count(args.flanges).unwrap_or(Flanges::Two),
        belt_width: args.belt_width,
        allow_few_teeth: args.allow_few_teeth,
        build: Default::default(),
    };
    let design = Design::new(&request, correction.as_ref()).map_err(refusal)?;
    let solids = pulley_solid::solids(&design).map_err(|error| Error::call(error.to_string()))?;
    let mut answer =
        PulleyAnswer::new(&design, &solids[0], args.correction.as_deref().zip(correction.as_ref()));
    if !targets.is_empty() {
        targets.write(&design, &solids, &mut answer, &mut outputs).map_err(not_written)?;
        let written = outputs.commit()?;
        answer.files = written.iter().map(|path| path.display().to_string()).collect();
    }
    for warning in &design.warnings {
        output.warnings(&[Problem::warning(Location::default(), warning.clone())])?;
    }
    output.result(&answer.to_text(), &answer)?;
    for file in &answer.files {
        output.progress(&format!("wrote {file}"))?;
    }
    Ok(if design.meets_the_outline() { Status::Done } else { Status::No })
}

fn refusal(error: CannotMake) -> Error {
    Error::problem(Problem::error(Location::default(), error.to_string()).help_if(error.help()))
}

fn not_written(error: WriteError) -> Error {
    match error {
        WriteError::File(error) => Error::File(error),
        WriteError::NotExact(_) => Error::call(error.to_string()),
    }
}
