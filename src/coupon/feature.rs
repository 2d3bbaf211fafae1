//! One dimension of a coupon that is measured, and where the caliper goes.

use crate::geometry::outline::Point;
use crate::kind::{Axis, Kind};

/// The end of the label of a feature that is measured at the bed, where the first layer spreads.
///
/// Such a feature is kept out of the fit of its kind: its difference from the feature of the same label
/// without this ending is the spread of the first layer.
pub const BED_SUFFIX: &str = "-bed";

/// The end of the label of a feature that tells how far a thin arm hangs down.
///
/// Its size is no property of the printer's walls, so it is kept out of the fit as well.
pub const ARM_SUFFIX: &str = "-arm";

/// The end of the label of a feature from a flat to the round opposite.
///
/// Half of it prints as a gap and half as a bore, so it is of neither kind. Taken for a gap it would pull that
/// offset by half of what the two kinds differ by. It is kept out of the fit: a row that is half of each would need
/// its own law in the tests for suspects, the criticism, the plots and `verify`, and it tells nothing that the
/// ring's round and a gap twice as wide as the flat's distance from the axis do not tell better.
pub const FLAT_SUFFIX: &str = "-flat";

/// Whether a feature of this label says how the printer errs on its kind, and so goes into the fit.
pub fn is_fitted(label: &str) -> bool {
    ![BED_SUFFIX, ARM_SUFFIX, FLAT_SUFFIX].iter().any(|suffix| label.ends_with(suffix))
}

/// Which part of a caliper takes the reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tool {
    /// The large jaws, closed onto the piece.
    OutsideJaws,
    /// The small crossed jaws, opened inside the piece.
    InsideJaws,
    /// The rod at the end of the beam.
    ///
    /// A span runs between two faces that look the same way, which jaws cannot touch: they look at each
    /// other. The end of the beam rests on one face and the rod reaches the other, as in the depth of a
    /// slot. Every caliper with a rod can do it; the step faces that some have are not needed.
    DepthRod,
    /// The real part that goes there, tried and not measured: no jaws reach.
    RealPiece,
}

impl Tool {
    /// What a person calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::OutsideJaws => "outside jaws",
            Self::InsideJaws => "inside jaws",
            Self::DepthRod => "depth rod",
            Self::RealPiece => "the real piece",
        }
    }
}

/// Where the caliper touches: two places on the coupon as it stands on the bed, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jaws {
    /// The part of the caliper.
    pub tool: Tool,
    /// The first place; for the depth rod, where the end of the beam rests.
    pub from: [f64; 3],
    /// The second place.
    pub to: [f64; 3],
}

impl Jaws {
    /// The distance between the two places.
    pub fn distance_mm(&self) -> f64 {
        let squares = self.from.iter().zip(&self.to).map(|(a, b)| (b - a) * (b - a));
        squares.sum::<f64>().sqrt()
    }
}

/// One dimension of a coupon that is measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Feature {
    /// Unique within the coupon: a letter for the kind, the size, and where it needs one a direction.
    pub label: String,
    /// What is measured.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// Where the caliper touches.
    pub jaws: Jaws,
    /// Where the guide writes the label, in the plane of the drawing.
    pub label_at: Point,
}

impl Feature {
    /// Whether it is measured at the bed, and so kept out of the fit: see [`BED_SUFFIX`].
    pub fn is_at_bed(&self) -> bool {
        self.label.ends_with(BED_SUFFIX)
    }
}

/// A size without the dust of binary fractions that a sum carries; sizes have three decimals at most.
pub(super) fn tidy(size_mm: f64) -> f64 {
    (size_mm * 1000.0).round() / 1000.0
}

/// A feature's label: a letter for its kind, its size and an ending.
pub(super) fn feature_label(letter: char, size_mm: f64, ending: &str) -> String {
    format!("{letter}{}{ending}", tidy(size_mm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_size_of_one_kind_is_kept_out_of_the_fit() {
        assert!(is_fitted("s60x") && is_fitted("arm") && is_fitted("bed-8") && is_fitted("flat"));
        assert!(!is_fitted("o20-bed") && !is_fitted("s6z-arm") && !is_fitted("d4.5x-flat"));
    }
}
