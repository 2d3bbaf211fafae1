//! `pulley`: a corrected timing pulley as a solid, a picture and a table.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::output::Output;
use super::{Error, Status};
use crate::correction::Correction;
use crate::files::{FileError, Outputs};
use crate::geometry::solid::Solid;
use crate::geometry::{stl, threemf};
use crate::parts::pulley::Design;
use crate::parts::pulley_answer::PulleyAnswer;
use crate::parts::pulley_picture;
use crate::parts::pulley_request::{CannotMake, Flanges, Request};
use crate::parts::pulley_solid;
use crate::problem::{Location, Problem};
use crate::units::Mm;

/// Make a timing pulley that comes out right on this setup
///
/// Tips are corrected as pins, grooves as gaps, the bore as a bore, each wall along its own normal; only
/// what the plastic shrinks is undone by scale, so the pitch stays right. Beside the solid lie a .json with
/// every size and where it comes from, and an .svg of the groove.
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
    /// Solid to write: FILE.stl or FILE.3mf; needed unless --json is given
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let target = args.out.as_deref().map(Target::new).transpose()?;
    if target.is_none() && !output.json {
        return Err(Error::call("--out FILE.stl or FILE.3mf is needed unless --json is given"));
    }
    let mut outputs = Outputs::new(output.force).keeping(&args.correction);
    if let Some(target) = &target {
        target.paths().iter().try_for_each(|path| outputs.check_file(path))?;
    }
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
    let solid = pulley_solid::solid(&design).map_err(|error| Error::call(error.to_string()))?;
    let mut answer = PulleyAnswer::new(&design, &solid, args.correction.as_deref().zip(correction.as_ref()));
    if let Some(target) = &target {
        target.write(&design, &solid, &mut answer, &mut outputs)?;
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

enum Format {
    Stl,
    ThreeMf,
}

/// The solid's file and what lies beside it.
struct Target {
    solid: PathBuf,
    format: Format,
}

impl Target {
    fn new(path: &Path) -> Result<Self, Error> {
        let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        let format = match extension.as_str() {
            "stl" => Format::Stl,
            "3mf" => Format::ThreeMf,
            _ => {
                let problem = format!("--out {}: the name must end in .stl or .3mf", path.display());
                return Err(Error::call(problem));
            }
        };
        Ok(Self { solid: path.to_owned(), format })
    }

    fn paths(&self) -> [PathBuf; 3] {
        [self.solid.clone(), self.solid.with_extension("json"), self.solid.with_extension("svg")]
    }

    fn write(
        &self,
        design: &Design,
        solid: &Solid,
        answer: &mut PulleyAnswer,
        outputs: &mut Outputs,
    ) -> Result<(), FileError> {
        let [solid_path, json_path, svg_path] = self.paths();
        // Beside each other, so that the names alone say which is meant.
        let name = |path: &PathBuf| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        answer.files = [&solid_path, &json_path, &svg_path].map(name).to_vec();
        let provenance = answer.provenance();
        outputs.write_with(&solid_path, |file| match self.format {
            Format::Stl => stl::write(&[solid], &answer.short_provenance(), file),
            Format::ThreeMf => {
                let model = threemf::Model {
                    title: solid.name(),
                    description: &answer.short_provenance(),
                    metadata: &provenance,
                    solids: &[solid],
                };
                model.write(file)
            }
        })?;
        outputs.write_with(&json_path, |mut file| {
            let mut json = serde_json::to_vec_pretty(answer)?;
            json.push(b'\n');
            file.write_all(&json)
        })?;
        outputs.write(&svg_path, pulley_picture::svg(design).as_bytes())
    }
}
