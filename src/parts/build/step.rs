//! What stands on what: the outsides of a part about an axis, from the bed up.

use crate::belt::groove::Groove;
use crate::correction::apply::CannotApply;
use crate::kind::Kind;

use super::sizing::{Sized, Sizing};

/// The outside of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Side {
    /// Round.
    Round {
        /// Diameter, mm.
        diameter_mm: f64,
    },
    /// The teeth of a pulley.
    Teeth(Groove),
    /// Rises at 45 degrees out of the teeth below it, tips and grooves alike, to a round rim, so that it
    /// prints without support.
    Cone {
        /// Diameter of the rim, mm.
        diameter_mm: f64,
    },
}

impl Side {
    /// The radius that holds all of it, mm.
    pub fn reach_mm(&self) -> f64 {
        match self {
            Self::Round { diameter_mm } | Self::Cone { diameter_mm } => diameter_mm / 2.0,
            Self::Teeth(groove) => groove.outside_radius_mm,
        }
    }

    /// The radius inside which all is plastic, mm; of a cone at its foot, which the teeth below it have.
    pub fn solid_mm(&self) -> Option<f64> {
        match self {
            Self::Round { diameter_mm } => Some(diameter_mm / 2.0),
            Self::Teeth(groove) => Some(groove.floor_mm),
            Self::Cone { .. } => None,
        }
    }
}

/// One step.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What it is, in words: `hub`, `face`.
    pub name: &'static str,
    /// Its outside.
    pub side: Side,
    /// Where it ends above the bed, mm; it begins where the one before it ends.
    pub to_mm: f64,
}

impl Step {
    /// The step to draw.
    pub fn drawn(&self, sizing: &Sizing<'_>) -> Result<Self, CannotApply> {
        let outside = |mm| sizing.drawn_mm(Kind::Pin, mm);
        let side = match self.side {
            Side::Round { diameter_mm } => Side::Round { diameter_mm: outside(diameter_mm)? },
            Side::Cone { diameter_mm } => Side::Cone { diameter_mm: outside(diameter_mm)? },
            Side::Teeth(groove) => Side::Teeth(sizing.drawn_teeth(&groove)?),
        };
        Ok(Self { name: self.name, side, to_mm: sizing.drawn_mm(Kind::Height, self.to_mm)? })
    }

    /// What a caliper finds on it.
    pub fn sizes(&self, out: &mut Vec<Sized>) {
        let name = self.name;
        match self.side {
            Side::Round { diameter_mm } => {
                out.push(Sized::new(format!("{name} diameter"), Kind::Pin, diameter_mm));
            }
            // Width and depth of grooves are predicted with the whole outline, not by a law of one size.
            Side::Teeth(groove) => {
                out.push(Sized::new("outside diameter", Kind::Pin, 2.0 * groove.outside_radius_mm));
            }
            Side::Cone { .. } => {}
        }
        out.push(Sized::new(format!("bed to {name}'s end"), Kind::Height, self.to_mm));
    }
}
