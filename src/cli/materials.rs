//! `materials`: what tables say of polymers and metals, at a temperature and of sizes in the warm.

use super::output::Output;
use super::{Error, Status};
use crate::material::answer::{Request, Sizes, Temperature};
use crate::material::motor::{Body, WarmMotor};
use crate::material::{Among, Material, NoMaterial, Range, find, metal};
use crate::problem::{Location, Problem};
use crate::units::Mm;

/// Tell what tables know of materials, which of them a temperature leaves, and what warmth does to sizes
///
/// Generic materials; low, typical and high as the tables have them. Nothing of it is a promise: heat deflection
/// compares materials under a test's load, grades and prints differ. `coupons heat` prints pieces to measure.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// Materials, such as PETG, PC/ABS, nylon 12, steel; every polymer when left out
    #[arg(value_name = "NAME")]
    names: Vec<String>,
    /// Print where every value comes from
    #[arg(long)]
    sources: bool,
    /// Temperature of the mount in °C, best as measured: 60, 75..90, or low..typical..high
    #[arg(long, visible_alias = "mount-c", value_name = "C", allow_hyphen_values = true)]
    at: Option<Range>,
    #[command(flatten)]
    motor: MotorArgs,
    #[command(flatten)]
    sizes: SizesArgs,
}

/// The temperature of a mount, from its motor
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Temperature of a mount from its motor (an estimate)")]
struct MotorArgs {
    /// What the motor turns into heat, W: 4, or 3..5
    #[arg(long, value_name = "W", conflicts_with = "at")]
    loss_w: Option<Range>,
    /// Body of the motor in mm: 42x48 is square, d28x30 round
    #[arg(long, value_name = "SIZE", requires = "loss_w")]
    motor: Option<Body>,
    /// From the motor to the air in K/W, where it is known, instead of its body
    #[arg(long, value_name = "K/W", requires = "loss_w", conflicts_with_all = ["motor", "fan"])]
    k_per_w: Option<Range>,
    /// A fan blows on the motor
    #[arg(long, requires = "motor")]
    fan: bool,
    /// The air around it, °C; a closed box gets 45 to 60
    #[arg(
        long,
        value_name = "C",
        default_value = "20..25..35",
        requires = "loss_w",
        allow_hyphen_values = true
    )]
    ambient_c: Range,
    /// Mass of the motor in g, for how long it takes to warm up
    #[arg(long, value_name = "G", requires = "loss_w", value_parser = mass)]
    motor_g: Option<f64>,
}

/// Sizes in the warm mount
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Sizes in the warm, mm (each may be given several times)")]
struct SizesArgs {
    /// A bore on a metal shaft, or around a metal bush or bearing
    #[arg(long, value_name = "MM", value_parser = size)]
    bore: Vec<Mm>,
    /// How much smaller than its metal a pressed bore is
    #[arg(long, value_name = "MM", value_parser = size, requires = "bore")]
    interference: Option<Mm>,
    /// How long the press has held, hours
    #[arg(long, value_name = "H", value_parser = mass, requires = "interference")]
    hours: Option<f64>,
    /// A length along the layers
    #[arg(long, value_name = "MM", value_parser = size)]
    span: Vec<Mm>,
    /// A length across the layers
    #[arg(long, value_name = "MM", value_parser = size)]
    height: Vec<Mm>,
    /// A pocket for a steel nut, across flats
    #[arg(long, value_name = "MM", value_parser = size)]
    nut: Vec<Mm>,
    /// A hole for a brass insert
    #[arg(long, value_name = "MM", value_parser = size)]
    insert: Vec<Mm>,
    /// Centre distance of a belt drive on a printed frame
    #[arg(long, value_name = "MM", value_parser = size)]
    centre: Vec<Mm>,
    /// Metal that bores and spans meet: steel, stainless, brass, bronze, aluminium
    #[arg(long, value_name = "METAL", default_value = "steel")]
    mate_metal: String,
    /// Temperature at which the sizes are right, °C
    #[arg(long, value_name = "C", default_value_t = 20.0, value_parser = celsius, allow_negative_numbers = true)]
    from_c: f64,
}

const EXAMPLES: &str = "\
Examples:
  shrinkrule materials
  shrinkrule materials PETG ASA --sources
  shrinkrule materials --at 75..90
  shrinkrule materials --loss-w 3..5 --motor 42x48 --motor-g 280 --ambient-c 20..25..35
  shrinkrule materials PETG --at 60 --bore 5 --interference 0.05 --span 31 --centre 60 --mate-metal steel";

fn size(text: &str) -> Result<Mm, String> {
    let size = text.parse::<Mm>().map_err(|error| error.to_string())?;
    if size.get() > 0.0 { Ok(size) } else { Err("expected a size above 0 mm".to_owned()) }
}

fn mass(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|number| *number > 0.0 && number.is_finite());
    number.ok_or_else(|| "expected a number above 0".to_owned())
}

fn celsius(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|number| (-100.0..=400.0).contains(number));
    number.ok_or_else(|| "expected a temperature from -100 to 400 °C".to_owned())
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let (materials, mate) = named(args)?;
    let temperature = temperature(args)?;
    let sizes = args.sizes.sizes();
    if temperature.is_none() && sizes != Sizes::default() {
        let problem = Problem::error(Location::default(), "sizes are given, and no temperature");
        return Err(Error::problem(problem.help("add --at C, or --loss-w W with --motor SIZE")));
    }
    let request = Request { materials, temperature, from_c: args.sizes.from_c, sizes, mate };
    let answer = request.answer();
    output.result(&answer.to_text(args.sources), &answer)?;
    Ok(if answer.is_no() { Status::No } else { Status::Done })
}

/// The materials and the metal; every name that is in no table is told.
fn named(args: &Args) -> Result<(Vec<&'static Material>, &'static Material), Error> {
    let problem = |error: NoMaterial, place: Location| {
        let help = error.help();
        Problem::error(place, error.to_string()).help_if(help)
    };
    let mut problems = Vec::new();
    let mut materials = Vec::new();
    for name in &args.names {
        match find(name, Among::All) {
            Ok(material) => materials.push(material),
            Err(error) => problems.push(problem(error, Location::default())),
        }
    }
    match metal(&args.sizes.mate_metal) {
        Ok(mate) if problems.is_empty() => return Ok((materials, mate)),
        Ok(_) => {}
        Err(error) => problems.push(problem(error, Location::default().column("--mate-metal"))),
    }
    Err(Error::Input { problems, summary: String::new() })
}

fn temperature(args: &Args) -> Result<Option<Temperature>, Error> {
    if let Some(mount_c) = args.at {
        return Ok(Some(Temperature::Given { mount_c }));
    }
    let motor = &args.motor;
    let Some(loss_w) = motor.loss_w else { return Ok(None) };
    let body = motor.motor.map(|body| body.resistance(motor.fan));
    let Some(resistance) = motor.k_per_w.or(body) else {
        let problem =
            Problem::error(Location::default().column("--loss-w"), "how the heat gets away is not given");
        return Err(Error::problem(problem.help("add --motor 42x48 (side x length in mm), or --k-per-w")));
    };
    if loss_w.low < 0.0 || resistance.low <= 0.0 {
        return Err(Error::call("a loss is 0 W or more, and a resistance above 0 K/W"));
    }
    let motor_heat = WarmMotor { loss_w, ambient_c: motor.ambient_c, resistance };
    let warmth = motor_heat.warmth().map_err(|error| {
        let problem = Problem::error(Location::default(), error.to_string());
        Error::problem(problem.help("less current, a fan, or a metal plate to lead the heat away"))
    })?;
    let minutes_to_steady = motor.motor_g.map(|mass_g| motor_heat.minutes_to_steady(mass_g));
    Ok(Some(Temperature::Estimated { warmth, minutes_to_steady }))
}

impl SizesArgs {
    fn sizes(&self) -> Sizes {
        let plain = |sizes: &[Mm]| sizes.iter().map(|size| size.get()).collect();
        Sizes {
            bores_mm: plain(&self.bore),
            interference_mm: self.interference.map(Mm::get),
            hours: self.hours,
            spans_mm: plain(&self.span),
            heights_mm: plain(&self.height),
            nuts_mm: plain(&self.nut),
            inserts_mm: plain(&self.insert),
            centres_mm: plain(&self.centre),
        }
    }
}
