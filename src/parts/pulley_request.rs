//! What is asked of a pulley, and why it may be refused.

use crate::belt::groove::NoSuchTeeth;
use crate::belt::pulley::NoPulley;
use crate::correction::apply::CannotApply;
use crate::units::Mm;

/// Least plastic between bore and grooves: three beads of a 0.4 mm nozzle, mm.
pub const LEAST_WALL_MM: f64 = 1.2;

/// Which flanges a pulley has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flanges {
    /// None.
    None,
    /// One, at the bed.
    One,
    /// One at the bed and one on top.
    Two,
}

impl Flanges {
    /// Flanges by their number; more than two do not exist.
    pub fn from_count(count: u8) -> Option<Self> {
        [Self::None, Self::One, Self::Two].get(usize::from(count)).copied()
    }

    /// How many they are.
    pub fn count(self) -> u8 {
        self as u8
    }
}

/// What was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// The belt profile's name, any case.
    pub belt: String,
    /// How many teeth.
    pub teeth: u32,
    /// Bore that is wanted.
    pub bore: Mm,
    /// Which flanges.
    pub flanges: Flanges,
    /// Width of the belt; the profile's narrowest standard one where not given.
    pub belt_width: Option<Mm>,
    /// Fewer teeth than the tables list are meant.
    pub allow_few_teeth: bool,
}

/// Why a pulley cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotMake {
    /// The standards have no such pulley.
    #[error(transparent)]
    Pulley(#[from] NoPulley),
    /// The correction does not answer.
    #[error(transparent)]
    Apply(#[from] CannotApply),
    /// The teeth that would have to be drawn do not exist.
    #[error("this setup cannot print these teeth: {0}")]
    Drawn(NoSuchTeeth),
    /// The bore leaves too little plastic.
    #[error(
        "a bore of {bore} leaves {wall_mm:.2} mm of plastic under the grooves; at least {LEAST_WALL_MM} mm must be left"
    )]
    Wall {
        /// The bore.
        bore: Mm,
        /// What is left, mm.
        wall_mm: f64,
    },
    /// A bore or a belt width that is not above zero, or a belt wider than any.
    #[error("{what} of {size} cannot be")]
    Size {
        /// `a bore` or `a belt width`.
        what: &'static str,
        /// The size.
        size: Mm,
    },
}

impl CannotMake {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Pulley(error) => error.help(),
            Self::Apply(error) => error.help(),
            Self::Drawn(_) => Some("a larger profile, or a setup that swells less, can".to_owned()),
            Self::Wall { .. } => Some("take more teeth or a smaller bore".to_owned()),
            Self::Size { .. } => None,
        }
    }
}

impl Request {
    /// Refuses sizes that no pulley has, whatever its profile.
    pub(super) fn check(&self) -> Result<(), CannotMake> {
        /// Wider than the widest belt in any table.
        const WIDEST_MM: f64 = 500.0;
        if self.bore.get() <= 0.0 {
            return Err(CannotMake::Size { what: "a bore", size: self.bore });
        }
        match self.belt_width {
            Some(width) if width.get() <= 0.0 || width.get() > WIDEST_MM => {
                Err(CannotMake::Size { what: "a belt width", size: width })
            }
            _ => Ok(()),
        }
    }
}
