//! The options that judge a press fit of plastic on metal.

use clap::Args;

use crate::fits::Side;
use crate::fits::press::NoWall;
use crate::kind::Kind;
use crate::material::{self, Material};
use crate::parts::pressed::{CannotPress, PressRequest};
use crate::problem::{Location, Problem};
use crate::units::Mm;

use super::Error;

/// What a press fit is judged by
#[derive(Debug, Args)]
#[group(skip)]
#[command(next_help_heading = "Press fit: what the plastic bears, what holds")]
pub struct PressArgs {
    /// Plastic of the print, such as PETG: judges the press fit; needs --wall
    #[arg(long, value_name = "NAME", value_parser = polymer, requires = "wall")]
    material: Option<&'static Material>,
    /// How thick the plastic is around the hole, in millimetres; sparse infill does not count. Of a printed pin: how
    /// thick the metal is around it
    #[arg(long, value_name = "MM", requires = "material")]
    wall: Option<Mm>,
    /// Diameter inside a printed pin that is hollow or sparse infill, in millimetres [default: solid]
    #[arg(long, value_name = "MM", requires = "material", value_parser = above_zero)]
    core: Option<f64>,
    /// Metal that is pressed in, or that a printed pin is pressed into
    #[arg(long, value_name = "NAME", value_parser = metal, default_value = "steel")]
    metal: &'static Material,
    /// How long the two touch, in millimetres; a bearing's width when left out
    #[arg(long, value_name = "MM", requires = "material")]
    length: Option<Mm>,
    /// How warm it gets, in degrees Celsius
    #[arg(long, value_name = "C", requires = "material")]
    temperature_c: Option<f64>,
    /// Friction between the two; plastic on steel: 0.2 to 0.3, common practice
    #[arg(long, value_name = "RATIO", default_value = "0.25", value_parser = above_zero)]
    friction: f64,
    /// For how long it must hold, in hours
    #[arg(long, value_name = "HOURS", default_value = "1000", value_parser = above_zero)]
    hours: f64,
}

fn polymer(name: &str) -> Result<&'static Material, String> {
    material::polymer(name).map_err(|error| told(&error))
}

fn metal(name: &str) -> Result<&'static Material, String> {
    material::metal(name).map_err(|error| told(&error))
}

fn told(error: &material::NoMaterial) -> String {
    match error.help() {
        Some(help) => format!("{error}; {help}"),
        None => error.to_string(),
    }
}

fn above_zero(text: &str) -> Result<f64, String> {
    let number = text.parse().ok().filter(|number: &f64| number.is_finite() && *number > 0.0);
    number.ok_or_else(|| format!("`{text}` is no number above zero"))
}

impl PressArgs {
    /// What is asked of a press fit of this kind; `None` when nothing is. `usual_length` is the bought part's.
    pub fn request(&self, kind: Kind, usual_length: Option<Mm>) -> Result<Option<PressRequest>, Error> {
        let (Some(material), Some(wall)) = (self.material, self.wall) else { return Ok(None) };
        let printed = match kind {
            Kind::Pin => Side::Shaft,
            _ if Side::of(kind) == Some(Side::Hole) => Side::Hole,
            _ => {
                let message = format!(
                    "a press fit is judged for a printed hole on metal or a printed pin in it, and not for {}",
                    kind.plural()
                );
                let problem = Problem::error(Location::default().column("--material"), message);
                return Err(Error::problem(problem.help("leave --material out")));
            }
        };
        if printed == Side::Hole && self.core.is_some() {
            let problem = Problem::error(Location::default().column("--core"), "a printed hole has no core");
            return Err(Error::problem(
                problem.help("leave it out; --wall is how thick the plastic is around the hole"),
            ));
        }
        Ok(Some(PressRequest {
            material,
            metal: self.metal,
            printed,
            wall,
            core_mm: self.core.unwrap_or(0.0),
            length: self.length.or(usual_length),
            temperature_c: self.temperature_c,
            friction: self.friction,
            hours: self.hours,
        }))
    }
}

/// Why a press fit was not judged.
pub fn refusal(error: &CannotPress) -> Error {
    let help = match error {
        CannotPress::NoMate => Some("give the bought part with --mate and a fit, such as --fit press"),
        CannotPress::NoWall(NoWall::Hub { .. }) => {
            Some("give how thick the part around the joint is, such as --wall 4")
        }
        CannotPress::NoWall(NoWall::Shaft { .. }) => Some("give a --core smaller than the pin"),
        CannotPress::NotKnown { .. } => None,
    };
    Error::problem(Problem::error(Location::default(), error.to_string()).help_if(help))
}
