//! `drive`: two pulleys and a belt, from what is given of them; pairs that fit a box.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::output::Output;
use super::pulley::FlankWord;
use super::{Error, Status};
use crate::belt::profile::{NoProfile, Profile};
use crate::correction::Correction;
use crate::drive::bounds::{Bounds, Room, TeethRange};
use crate::drive::idler::{Idler, Rim};
use crate::drive::layout::{Surroundings, belt_profile};
use crate::drive::load::Duty;
use crate::drive::mesh_picture;
use crate::drive::path::Side;
use crate::drive::picture::Picture;
use crate::drive::request::{Belt, Outcome, Refusal, Request};
use crate::files::Outputs;
use crate::problem::{Location, Problem};
use crate::units::Mm;

/// Lay out a belt drive: centre distance, belt, teeth in mesh; or find pulley pairs that fit a space
///
/// Of pulleys, belt, centre distance and ratio any two give the rest. Two pulleys and a belt give the exact
/// centre distance; two pulleys and a centre distance the belts next to it; anything else is a search, ranked by
/// the area of the box around the drive, the ratio's error and the teeth in mesh. A centre distance given as one
/// number is met within a quarter pitch in a search, a ratio within 2 per cent.
///
/// With a correction it says how far a print of the pulleys may move the centre distance where the belt is
/// right, which is the travel that the tensioner needs, and lays the belt's teeth against both pulleys as
/// wanted and as printed. The small pulley's axis is the origin, the large one's lies on +x, the belt runs
/// counter-clockwise and the small pulley drives.
///
/// What a belt may carry is its maker's word: tensions are said, a rating is not.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// Belt profile, belts of every whole number of teeth: T2.5, T5, T10, T20, AT5, AT10, MXL, XXL, XL, L, H, XH,
    /// XXH
    #[arg(long, value_name = "PROFILE", required_unless_present = "stock", conflicts_with = "stock")]
    belt: Option<String>,
    /// Instead of --belt: these profiles, and of them the listed standard lengths only: 'XL|T5'
    #[arg(long, value_name = "PROFILE|…", value_delimiter = '|')]
    stock: Vec<String>,
    /// Teeth of one or both pulleys, the small one first; numbers or ranges: 20 40, or 12..20 30..60
    #[arg(long, value_name = "TEETH", num_args = 1..=2)]
    teeth: Vec<TeethRange>,
    /// Teeth of the belt
    #[arg(long, value_name = "N", conflicts_with = "length_code")]
    belt_teeth: Option<u32>,
    /// Length code that the belt is sold by: 70 of 70 XL (tenths of an inch), 365 of T5/365 (millimetres)
    #[arg(long, value_name = "CODE")]
    length_code: Option<String>,
    /// Centre distance, in millimetres: one number, or LOW..HIGH
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    centre: Option<Bounds>,
    /// Ratio, teeth of the large pulley over those of the small one: one number, or LOW..HIGH
    #[arg(long, value_name = "RATIO", allow_hyphen_values = true)]
    ratio: Option<Bounds>,
    /// Box that the drive must lie in, either way round, in millimetres
    #[arg(long, value_name = "WxH", allow_hyphen_values = true)]
    within: Option<Room>,
    /// How many pairs are listed
    #[arg(long, value_name = "N", default_value = "20")]
    most: usize,
    /// Torque on the small pulley, in newton metres
    #[arg(long, value_name = "NM", value_parser = above_zero, allow_hyphen_values = true, help_heading = "Load")]
    torque: Option<f64>,
    /// Speed of the small pulley, in revolutions a minute
    #[arg(long, value_name = "RPM", value_parser = above_zero, allow_hyphen_values = true, requires = "torque", help_heading = "Load")]
    rpm: Option<f64>,
    /// Correction file written by `fit`: what its prints do to the first pair
    #[arg(long = "with", value_name = "FILE")]
    correction: Option<PathBuf>,
    /// Sides of the pulleys' teeth, for the mesh check: straight, or involute as the standard's rack makes them
    #[arg(long, value_name = "straight|involute", default_value = "straight")]
    flank: FlankWord,
    /// Picture of the first pair, scale 1:1; beside it NAME-mesh.svg and NAME.json
    #[arg(long, value_name = "NAME.svg")]
    out: Option<PathBuf>,
    /// Print where the numbers come from
    #[arg(long)]
    sources: bool,
    #[command(flatten)]
    beside: BesideArgs,
    #[command(flatten)]
    idler: IdlerArgs,
}

/// What stands beside the belt
#[derive(Debug, clap::Args)]
#[group(skip)]
#[command(next_help_heading = "Beside the belt")]
struct BesideArgs {
    /// How many flanges the pulleys have
    #[arg(long, value_name = "0|1|2", default_value = "2", value_parser = clap::value_parser!(u8).range(0..=2))]
    flanges: u8,
    /// Diameter of the motor's body beside the small pulley, in millimetres
    #[arg(long, value_name = "MM", value_parser = length, allow_hyphen_values = true)]
    motor: Option<Mm>,
    /// The motor lies behind a plate: its body need not keep clear of the large pulley
    #[arg(long, requires = "motor")]
    motor_behind: bool,
    /// Least gap between bodies, in millimetres
    #[arg(long, value_name = "MM", default_value = "1", value_parser = gap, allow_hyphen_values = true)]
    gap: Mm,
}

/// A wheel that takes up a longer belt
#[derive(Debug, clap::Args)]
#[group(skip)]
#[command(next_help_heading = "Idler, with two pulleys, a belt and a centre distance")]
struct IdlerArgs {
    /// An idler on the back of the belt, or on its inside
    #[arg(long, value_name = "back|inside")]
    idler: Option<IdlerSide>,
    /// Diameter of its plain rim, in millimetres
    #[arg(long, value_name = "MM", value_parser = length, requires = "idler", allow_hyphen_values = true)]
    idler_diameter: Option<Mm>,
    /// Teeth of an idler on the inside, in place of a plain rim
    #[arg(long, value_name = "N", requires = "idler", conflicts_with = "idler_diameter", value_parser = clap::value_parser!(u32).range(3..=10_000))]
    idler_teeth: Option<u32>,
    /// Its place between the pulleys: 0 at the small one, 1 at the large one [default: 0.35 on the back, 0.65 inside]
    #[arg(long, value_name = "SHARE", value_parser = share, requires = "idler", allow_hyphen_values = true)]
    idler_along: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum IdlerSide {
    Back,
    Inside,
}

const EXAMPLES: &str = "\
Examples, from a belt-driven camera slider (T5 belt, 20-tooth pulley on the motor):
  shrinkrule drive --belt T5 --teeth 20 20 --belt-teeth 150
  shrinkrule drive --belt T5 --teeth 20 40 --centre 60
  shrinkrule drive --belt XL --teeth 20 40 --length-code 140
  shrinkrule drive --ratio 1.8..2.2 --within 110x60 --centre 30..60 --stock 'XL|T5' --motor 28 --motor-behind
  shrinkrule drive --belt T5 --teeth 20 40 --belt-teeth 66 --centre 85 --idler back --idler-diameter 13
  shrinkrule drive --belt T5 --teeth 20 40 --belt-teeth 66 --torque 0.3 --rpm 200 \\
      --with petg.correction.toml --out drive.svg";

fn above_zero(text: &str) -> Result<f64, String> {
    let value = text.parse::<f64>().ok().filter(|value| *value > 0.0 && *value < 1e6);
    value.ok_or_else(|| "expected a number above 0 and below a million".to_owned())
}

fn share(text: &str) -> Result<f64, String> {
    let value = text.parse::<f64>().ok().filter(|value| *value > 0.0 && *value < 1.0);
    value.ok_or_else(|| "expected a number between 0 and 1".to_owned())
}

fn length(text: &str) -> Result<Mm, String> {
    let length = text.parse::<Mm>().map_err(|error| error.to_string())?;
    if length.get() > 0.0 { Ok(length) } else { Err("expected a length above 0".to_owned()) }
}

fn gap(text: &str) -> Result<Mm, String> {
    let gap = text.parse::<Mm>().map_err(|error| error.to_string())?;
    if gap.get() >= 0.0 { Ok(gap) } else { Err("expected a gap of 0 or more".to_owned()) }
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let mut outputs = Outputs::new(output.force).keeping(&args.correction);
    let paths = args.out.as_deref().map(picture_paths).transpose()?;
    paths.iter().flatten().try_for_each(|path| outputs.check_file(path))?;
    let request = args.request()?;
    let correction = args.correction.as_deref().map(Correction::read).transpose()?;
    let mut outcome = request.answer(correction.as_ref()).map_err(|error| refusal(&error))?;
    if let Some(paths) = &paths {
        write(&request, &mut outcome, paths, &mut outputs)?;
        let written = outputs.commit()?;
        outcome.answer.files = written.iter().map(|path| path.display().to_string()).collect();
    }
    let answer = &outcome.answer;
    for warning in &answer.warnings {
        output.warnings(&[Problem::warning(Location::default(), warning.clone())])?;
    }
    output.result(&answer.to_text(args.sources), answer)?;
    for file in &answer.files {
        output.progress(&format!("wrote {file}"))?;
    }
    let is_no = answer.pairs.is_empty() || !answer.meshes() || answer.fits_room == Some(false);
    Ok(if is_no { Status::No } else { Status::Done })
}

impl Args {
    fn request(&self) -> Result<Request, Error> {
        let names = self.belt.iter().chain(&self.stock);
        let profiles: Vec<&'static Profile> = names
            .map(|name| belt_profile(name))
            .collect::<Result<_, _>>()
            .map_err(|error| no_profile(&error))?;
        let belt = match (self.belt_teeth, &self.length_code) {
            (Some(teeth), _) => Some(Belt::Teeth(teeth)),
            (None, Some(code)) => Some(Belt::Code(code.clone())),
            (None, None) => None,
        };
        Ok(Request {
            profiles,
            teeth: self.teeth.clone(),
            belt,
            any_length: self.stock.is_empty(),
            centre_mm: self.centre,
            ratio: self.ratio,
            room: self.within,
            surroundings: Surroundings {
                flanges: self.beside.flanges > 0,
                motor_mm: self.beside.motor.map(Mm::get),
                motor_behind: self.beside.motor_behind,
                gap_mm: self.beside.gap.get(),
            },
            idler: self.idler.idler()?,
            duty: self.torque.map(|torque_nm| Duty { torque_nm, rpm: self.rpm }),
            most: self.most,
            flank: self.flank.into(),
            details: self.correction.is_some() || self.out.is_some(),
        })
    }
}

impl IdlerArgs {
    fn idler(&self) -> Result<Option<Idler>, Error> {
        let Some(side) = self.idler else { return Ok(None) };
        let rim = match (self.idler_diameter, self.idler_teeth) {
            (Some(diameter), _) => Rim::Plain(diameter.get()),
            (None, Some(teeth)) => Rim::Toothed(teeth),
            (None, None) => {
                return Err(Error::problem(
                    Problem::error(Location::default(), "the idler's size is missing")
                        .help("add --idler-diameter MM, or --idler-teeth N for a toothed one on the inside"),
                ));
            }
        };
        let (side, usual) = match side {
            IdlerSide::Back => (Side::Back, 0.35),
            IdlerSide::Inside => (Side::Inside, 0.65),
        };
        Ok(Some(Idler { side, rim, along: self.idler_along.unwrap_or(usual) }))
    }
}

fn refusal(error: &Refusal) -> Error {
    Error::problem(Problem::error(Location::default(), error.to_string()).help_if(error.help()))
}

fn no_profile(error: &NoProfile) -> Error {
    Error::problem(Problem::error(Location::default(), error.to_string()).help_if(error.help()))
}

/// The picture, the mesh picture beside it, and the numbers.
fn picture_paths(path: &Path) -> Result<[PathBuf; 3], Error> {
    let is_svg = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("svg"));
    if !is_svg {
        return Err(Error::call(format!("--out {}: the name must end in .svg", path.display())));
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    Ok([path.to_owned(), path.with_file_name(format!("{stem}-mesh.svg")), path.with_extension("json")])
}

fn write(
    request: &Request,
    outcome: &mut Outcome,
    [picture_path, mesh_path, json_path]: &[PathBuf; 3],
    outputs: &mut Outputs,
) -> Result<(), Error> {
    let Some(arrangement) = &outcome.first else { return Ok(()) };
    let picture = Picture {
        arrangement,
        surroundings: &request.surroundings,
        room: request.room,
        meshed: outcome.meshed.first(),
    };
    let mut written = vec![picture_path];
    outputs.write(picture_path, picture.svg().as_bytes())?;
    if !outcome.meshed.is_empty() {
        outputs.write(mesh_path, mesh_picture::svg(arrangement, &outcome.meshed).as_bytes())?;
        written.push(mesh_path);
    }
    written.push(json_path);
    // Beside each other, so that the names alone say which is meant.
    let name = |path: &&PathBuf| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    outcome.answer.files = written.iter().map(name).collect();
    outputs.write_with(json_path, |mut file| {
        let mut json = serde_json::to_vec_pretty(&outcome.answer)?;
        json.push(b'\n');
        file.write_all(&json)
    })?;
    Ok(())
}
