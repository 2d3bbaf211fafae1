//! Round recesses at the ends of the bore: a bearing's seat with its shoulder, a pocket for a bought bush or
//! pinion.
//!
//! The diameter is corrected as a bore, the depth lies between two heights.

use crate::correction::apply::CannotApply;
use crate::kind::Kind;

use super::sizing::{Sized, Sizing};

/// An end of a piece as it is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// On the bed.
    Bed,
    /// Away from it.
    Top,
}

impl End {
    /// The other end.
    #[must_use]
    pub fn turned_over(self) -> Self {
        match self {
            Self::Bed => Self::Top,
            Self::Top => Self::Bed,
        }
    }

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bed => "bed",
            Self::Top => "top",
        }
    }
}

/// A recess.
#[derive(Clone, Debug, PartialEq)]
pub struct Recess {
    /// What it is for, in words: `bearing seat`, `bush recess`.
    pub name: &'static str,
    /// The end that it is let into.
    pub end: End,
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Where its floor, the shoulder, lies above the bed, mm.
    pub floor_mm: f64,
}

impl Recess {
    /// The recess to draw.
    pub fn drawn(&self, sizing: &Sizing<'_>) -> Result<Self, CannotApply> {
        Ok(Self {
            diameter_mm: sizing.drawn_mm(Kind::Bore, self.diameter_mm)?,
            floor_mm: sizing.drawn_mm(Kind::Height, self.floor_mm)?,
            ..self.clone()
        })
    }

    /// What a caliper finds on it.
    pub fn sizes(&self, out: &mut Vec<Sized>) {
        let (name, end) = (self.name, self.end.name());
        out.push(Sized::new(format!("{name} at the {end}"), Kind::Bore, self.diameter_mm));
        out.push(Sized::new(format!("bed to {name}'s shoulder, {end}"), Kind::Height, self.floor_mm));
    }
}
