//! The options that say what a printed size must keep, shared by every command that sizes one thing.

use std::path::PathBuf;
use std::str::FromStr;

use clap::Args;

use crate::fits::Limits;
use crate::fits::aim::{Aim, CannotAim, Demand, Request};
use crate::fits::iso286::Class;
use crate::fits::named::{FitsFileError, NamedFit, NamedFits};
use crate::kind::Kind;
use crate::parts::seat::How;
use crate::parts::seat::bought::{BoughtPart, NoPart};
use crate::problem::{Location, Problem};
use crate::readings::trials::Feel;
use crate::stats::tolerance::Wanted;
use crate::units::{Mm, NotALength};

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
    /// The bought part: its size (MM when left out, and instead of MM), or what it is sold as: bearing:608,
    /// shaft:5 (5h7 with its class, 5D4.5 with a flat), pin:4m6, screw:M3 (:fine, :coarse), nut:M3 (:square,
    /// :din934), insert:HOLExLENGTH by its data sheet
    #[arg(long, value_name = "MM|PART")]
    mate: Option<MateArg>,
    /// Limits of the bought part itself, when known: the chance is then that of the clearance
    #[arg(long, value_name = "LO..HI", conflicts_with_all = ["within", "class"])]
    mate_within: Option<Limits>,
    /// TOML file with fits of your own, in the form of the bundled data/fits/named.toml
    #[arg(long, value_name = "FILE", requires = "fit")]
    fits: Option<PathBuf>,
}

/// What `--mate` names.
#[derive(Clone, Debug, PartialEq)]
pub enum MateArg {
    /// A size.
    Size(Mm),
    /// Something that is sold by a name.
    Sold(BoughtPart),
}

impl FromStr for MateArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if !text.contains(':') {
            return text.parse().map(Self::Size).map_err(|error: NotALength| {
                format!("{error}; expected a size, or a part such as bearing:608, shaft:5, nut:M3")
            });
        }
        text.parse().map(Self::Sold).map_err(|error: NoPart| match error.help() {
            Some(help) => format!("{error}; {help}"),
            None => error.to_string(),
        })
    }
}

impl LimitsArgs {
    /// What is sold by a name, where `--mate` gives such a thing.
    pub fn sold(&self) -> Option<&BoughtPart> {
        match &self.mate {
            Some(MateArg::Sold(part)) => Some(part),
            _ => None,
        }
    }

    /// How the print is to go with it.
    pub fn how(&self) -> How<'_> {
        match (&self.fit, self.class) {
            (Some(name), _) => How::Fit(name),
            (None, Some(class)) => How::Class(class),
            (None, None) => How::Usual,
        }
    }

    /// Whether the person brings fits of his own.
    pub fn has_own_fits(&self) -> bool {
        self.fits.is_some()
    }

    /// The fits that can be named.
    pub fn named_fits(&self) -> Result<NamedFits, Error> {
        named_fits(self.fits.as_ref())
    }

    fn mate_size(&self) -> Option<Mm> {
        match self.mate {
            Some(MateArg::Size(size)) => Some(size),
            _ => None,
        }
    }

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
        middle.or(self.mate_size()).or(size)
    }

    /// The size to aim at when the fit is this one.
    pub fn aim_at_fit(&self, kind: Kind, size: Option<Mm>, fit: &NamedFit) -> Result<Aim, Error> {
        let demand = Demand::Fit(fit);
        let request = Request { kind, size, mate: self.mate_size(), mate_limits: self.mate_within, demand };
        request.aim().map_err(|error| refusal(&error))
    }

    /// The size to aim at for this kind and the size on the command line.
    pub fn aim(&self, kind: Kind, size: Option<Mm>, fits: &NamedFits) -> Result<Aim, Error> {
        let demand = match (self.within, self.class, &self.fit) {
            (Some(limits), _, _) => Demand::Within(limits),
            (_, Some(class), _) => Demand::Class(class),
            (_, _, Some(name)) => Demand::Fit(fits.get(name).map_err(|error| refusal(&error.into()))?),
            _ => Demand::None,
        };
        let request = Request { kind, size, mate: self.mate_size(), mate_limits: self.mate_within, demand };
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
