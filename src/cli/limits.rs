//! The options that say what a printed size must keep, shared by every command that sizes one thing.

use std::path::PathBuf;

use clap::Args;

use crate::fits::Limits;
use crate::fits::aim::{Aim, CannotAim, Demand, Request};
use crate::fits::iso286::Class;
use crate::fits::named::{FitsFileError, NamedFit, NamedFits};
use crate::kind::Kind;
use crate::problem::{Location, Problem};
use crate::readings::trials::Feel;
use crate::stats::tolerance::Wanted;
use crate::units::Mm;

use super::Error;

/// What the printed size must keep
#[derive(Debug, Default, Args)]
#[group(skip)]
#[command(next_help_heading = "What the print must keep")]
pub struct LimitsArgs {
    /// Limits of the printed size; MM is the target, and their middle when MM is left out
    #[arg(long, value_name = "LO..HI", conflicts_with_all = ["class", "fit", "mate"], allow_hyphen_values = true)]
    within: Option<Limits>,
    /// Tolerance class, H7 for an inside, g6 for an outside; the target is the middle of its limits on MM
    #[arg(long, conflicts_with = "fit")]
    class: Option<Class>,
    /// Fit with a bought part: press, snug, slide, free; the target is the middle of its limits on the mate
    #[arg(long, value_name = "NAME")]
    fit: Option<String>,
    /// Size of the bought part; MM when left out, and instead of MM
    #[arg(long, value_name = "MM")]
    mate: Option<Mm>,
    /// Limits of the bought part itself, when known: the chance is then that of the clearance
    #[arg(long, value_name = "LO..HI", conflicts_with_all = ["within", "class"])]
    mate_within: Option<Limits>,
    /// TOML file with fits of your own, in the form of the bundled data/fits/named.toml
    #[arg(long, value_name = "FILE", requires = "fit")]
    fits: Option<PathBuf>,
}

impl LimitsArgs {
    /// The feel that the fit names, unless the person brings fits of his own.
    pub fn feel(&self) -> Option<Feel> {
        if self.fits.is_some() {
            return None;
        }
        self.fit.as_deref().and_then(|name| name.parse().ok())
    }

    /// The bought part's size: the middle of its limits, `--mate`, or the size on the command line.
    pub fn mate(&self, size: Option<Mm>) -> Option<Mm> {
        let middle = self.mate_within.and_then(|limits| Mm::new(limits.middle_mm()));
        middle.or(self.mate).or(size)
    }

    /// The size to aim at when the fit is this one.
    pub fn aim_at_fit(&self, kind: Kind, size: Option<Mm>, fit: &NamedFit) -> Result<Aim, Error> {
        let demand = Demand::Fit(fit);
        let request = Request { kind, size, mate: self.mate, mate_limits: self.mate_within, demand };
        request.aim().map_err(|error| refusal(&error))
    }

    /// The size to aim at for this kind and the size on the command line.
    pub fn aim(&self, kind: Kind, size: Option<Mm>) -> Result<Aim, Error> {
        let fits = named_fits(self.fits.as_ref())?;
        let demand = match (self.within, self.class, &self.fit) {
            (Some(limits), _, _) => Demand::Within(limits),
            (_, Some(class), _) => Demand::Class(class),
            (_, _, Some(name)) => Demand::Fit(fits.get(name).map_err(|error| refusal(&error.into()))?),
            _ => Demand::None,
        };
        let request = Request { kind, size, mate: self.mate, mate_limits: self.mate_within, demand };
        request.aim().map_err(|error| refusal(&error))
    }
}

/// The bundled fits, with those of the person's own file.
pub fn named_fits(own: Option<&PathBuf>) -> Result<NamedFits, Error> {
    let Some(path) = own else { return Ok(NamedFits::bundled()) };
    NamedFits::read(path).map_err(|error| match error {
        FitsFileError::File(error) => Error::File(error),
        FitsFileError::Problems(problems) => Error::in_file(problems, path, "nothing was sized"),
    })
}

/// A share of prints and a confidence in per cent, `95/95`.
pub fn tolerance(text: &str) -> Result<Wanted, String> {
    let part = |text: &str| {
        let percent = text.trim().trim_end_matches('%').trim_end().parse::<f64>().ok()?;
        (percent > 0.0 && percent < 100.0).then_some(percent / 100.0)
    };
    let both = text.split_once('/').and_then(|(share, confidence)| Some((part(share)?, part(confidence)?)));
    let (share, confidence) = both.ok_or_else(|| {
        "expected a share of prints and a confidence in per cent, above 0 and below 100, such as 95/95"
            .to_owned()
    })?;
    Ok(Wanted { share, confidence })
}

/// A step that sizes to draw are rounded to, 0 or more.
pub fn step(text: &str) -> Result<Mm, String> {
    let step = text.parse::<Mm>().map_err(|error| error.to_string())?;
    if step.get() >= 0.0 { Ok(step) } else { Err("expected a step above 0, or 0 for none".to_owned()) }
}

fn refusal(error: &CannotAim) -> Error {
    Error::problem(Problem::error(Location::default(), error.to_string()).help_if(error.help()))
}
