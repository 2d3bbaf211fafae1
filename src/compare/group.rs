//! Which features are taken together: those of one sort, measured along one direction.
//!
//! Heat acts along the roads, across them and between the layers in different ways, and closes or opens a
//! bore by what its wall does round about. Distances and outside widths along one direction change by the
//! same strain; flats inside are kept apart from them, since a mount's pocket is what a person asks for by
//! itself. A feature whose name says that it sags is a matter of load and not of shrinking.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::kind::{Axis, Kind};

/// The sort of a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sort {
    /// Distances and outside widths.
    Length,
    /// Flats inside.
    Gap,
    /// Round holes.
    Bore,
    /// Round holes in the layer plane.
    HorizontalBore,
    /// Round outsides.
    Pin,
    /// How far an arm hangs.
    Sag,
}

/// Features that are taken together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Group {
    /// Their sort.
    pub sort: Sort,
    /// The direction they are measured in.
    pub axis: Axis,
}

/// A word in a feature's or coupon's name that tells a hanging arm.
const SAG: [&str; 3] = ["sag", "droop", "arm"];

impl Group {
    /// The group of a feature.
    pub fn of(coupon: &str, feature: &str, kind: Kind, axis: Axis) -> Self {
        let has_word = |name: &str| {
            let name = name.to_lowercase();
            name.split(|letter: char| !letter.is_alphabetic()).any(|word| SAG.contains(&word))
        };
        let sort = match kind {
            Kind::Span | Kind::Outer | Kind::Height if has_word(feature) || has_word(coupon) => Sort::Sag,
            Kind::Span | Kind::Outer | Kind::Height => Sort::Length,
            Kind::Gap => Sort::Gap,
            Kind::Bore => Sort::Bore,
            Kind::HorizontalBore => Sort::HorizontalBore,
            Kind::Pin => Sort::Pin,
        };
        Self { sort, axis }
    }
}

impl Group {
    /// `sizes along x give way`, `bores give way`: the group as what a sentence is about.
    pub fn give_way(&self) -> String {
        match (self.sort, self.axis) {
            (Sort::Length, Axis::X | Axis::Y) => format!("sizes {self} give way"),
            (Sort::Sag, _) => format!("{self} gives way"),
            _ => format!("{self} give way"),
        }
    }
}

impl fmt::Display for Group {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let along = match self.axis {
            Axis::Round => String::new(),
            axis => format!(" along {axis}"),
        };
        let name = match (self.sort, self.axis) {
            (Sort::Length, Axis::Z) => "heights".to_owned(),
            (Sort::Length, Axis::Round) => "lengths".to_owned(),
            (Sort::Length, axis) => format!("along {axis}"),
            (Sort::Gap, _) => format!("gaps{along}"),
            (Sort::Bore, _) => format!("bores{along}"),
            (Sort::HorizontalBore, _) => format!("horizontal bores{along}"),
            (Sort::Pin, _) => format!("pins{along}"),
            (Sort::Sag, _) => "sag".to_owned(),
        };
        f.pad(&name)
    }
}

impl Serialize for Group {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_and_bores_are_never_thrown_together() {
        let of = |kind, axis| Group::of("M1", "a", kind, axis).to_string();
        assert_eq!(of(Kind::Span, Axis::X), "along x");
        assert_eq!(of(Kind::Outer, Axis::Y), "along y");
        assert_eq!(of(Kind::Height, Axis::Z), "heights");
        assert_eq!(of(Kind::Bore, Axis::Round), "bores");
        assert_eq!(of(Kind::Bore, Axis::X), "bores along x");
        assert_eq!(of(Kind::Gap, Axis::X), "gaps along x");
    }

    #[test]
    fn an_arm_is_told_by_its_name_and_a_harm_is_not() {
        let of = |coupon, feature| Group::of(coupon, feature, Kind::Height, Axis::Z).sort;
        assert_eq!(of("", "arm_tip"), Sort::Sag);
        assert_eq!(of("ARM", "z"), Sort::Sag);
        assert_eq!(of("", "charm"), Sort::Length);
    }
}
