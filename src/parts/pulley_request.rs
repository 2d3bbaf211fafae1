//! What is asked of a pulley, and why it may be refused.

use crate::belt::groove::NoSuchTeeth;
use crate::belt::pulley::NoPulley;
use crate::belt::rack::Flank;
use crate::correction::apply::CannotApply;
use crate::fits::Limits;
use crate::geometry::lettering::UnknownGlyph;
use crate::units::Mm;

use super::build::CannotBuild;
use super::build::bore::Bore;
use super::build::recess::End;

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
    /// What it has besides teeth, flanges and bore.
    pub build: Build,
}

/// The form of the bore; `Request::bore` is its diameter, or its width across flats.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum BoreForm {
    /// Round.
    #[default]
    Round,
    /// Round with a flat.
    Flat {
        /// From the flat to the far side, mm.
        across_mm: f64,
    },
    /// Round with a slot for a key.
    Key {
        /// Width of the slot, mm.
        width_mm: f64,
        /// Depth of the slot beyond the bore, mm.
        depth_mm: f64,
    },
    /// Six flats.
    Hexagon,
    /// Four flats.
    Square,
}

/// A hub that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hub {
    /// On which side.
    pub end: End,
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Length beyond face or flange, mm.
    pub length_mm: f64,
}

/// How a separate flange is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RingHold {
    /// Pressed onto a spigot.
    Pressed,
    /// Screwed on with the screw circle.
    Screwed,
}

/// Set screws that are asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScrewsAsked {
    /// How many, 90 degrees apart.
    pub count: u32,
    /// Diameter of the hole, mm.
    pub hole_mm: f64,
    /// The nut's width across flats and its thickness, each with the play that is wanted, mm.
    pub nut_mm: Option<(f64, f64)>,
}

/// Holes on a circle that are asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CircleAsked {
    /// How many.
    pub count: u32,
    /// Diameter of a hole, mm.
    pub diameter_mm: f64,
    /// Diameter of the circle, mm.
    pub circle_mm: f64,
}

/// A recess that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecessAsked {
    /// What it is for, in words: `bearing seat`, `bush recess`.
    pub name: &'static str,
    /// On which side.
    pub end: End,
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Depth, mm.
    pub depth_mm: f64,
    /// Between which sizes the hole behind it must lie for what sits in it, where that is known.
    pub shoulder: Option<Limits>,
}

/// Dowels that hold the halves of a split pulley.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DowelsAsked {
    /// Where they are and how thick.
    pub circle: CircleAsked,
    /// How deep each goes into each half, mm.
    pub depth_mm: f64,
}

/// What a pulley has besides teeth, flanges and a bore. The default is nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Build {
    /// How the sides of the teeth are made.
    pub flank: Flank,
    /// The form of the bore.
    pub bore: BoreForm,
    /// Hubs, one a side at the most.
    pub hubs: Vec<Hub>,
    /// The upper flange as a piece of its own.
    pub ring: Option<RingHold>,
    /// Set screws, through the upper hub, or the lower one where it is the only one.
    pub set_screws: Option<ScrewsAsked>,
    /// Holes for screws along the axis.
    pub screw_circle: Option<CircleAsked>,
    /// Holes that save plastic.
    pub lightening: Option<CircleAsked>,
    /// Recesses, one a side at the most.
    pub recesses: Vec<RecessAsked>,
    /// What is engraved.
    pub label: Option<String>,
    /// Split across the axis in the middle of the face, held by these.
    pub split: Option<DowelsAsked>,
    /// The outside diameter is wanted in the middle of what the standard allows, not at its lower limit.
    pub aim_at_middle: bool,
    /// How far the first layer stands out beyond the ones above, mm a side, where it was measured.
    pub first_layer_mm: Option<f64>,
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
    /// Features that do not go together.
    #[error(transparent)]
    Build(#[from] CannotBuild),
    /// A label that cannot be written.
    #[error(transparent)]
    Label(#[from] UnknownGlyph),
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
    pub(super) fn too_many(what: &'static str) -> Self {
        Self::Build(CannotBuild::Needs(what))
    }

    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Pulley(error) => error.help(),
            Self::Apply(error) => error.help(),
            Self::Drawn(_) => Some("a larger profile, or a setup that swells less, can".to_owned()),
            Self::Wall { .. } => Some("take more teeth or a smaller bore".to_owned()),
            Self::Build(CannotBuild::Skin { .. }) => {
                Some("move or shrink one of the two, or take a larger hub or more teeth".to_owned())
            }
            Self::Size { .. } | Self::Build(_) | Self::Label(_) => None,
        }
    }
}

impl Request {
    /// The bore that is wanted.
    pub fn bore_shape(&self) -> Bore {
        let size = self.bore.get();
        match self.build.bore {
            BoreForm::Round => Bore::round(size),
            BoreForm::Flat { across_mm } => Bore::flat(size, across_mm),
            BoreForm::Key { width_mm, depth_mm } => Bore::keyed(size, width_mm, depth_mm),
            BoreForm::Hexagon => Bore::Polygon { sides: 6, flat_mm: size / 2.0 },
            BoreForm::Square => Bore::Polygon { sides: 4, flat_mm: size / 2.0 },
        }
    }

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
