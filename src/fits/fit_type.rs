//! What two parts within their limits do to each other: always clear, always press, or either.
//!
//! Source: ISO 286-1, 3.4: clearance, interference and transition fit.

use std::fmt;

use super::{Limits, decimal_mm};

/// What a hole and a shaft within their limits are to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FitType {
    /// The smallest hole is no smaller than the largest shaft.
    Clearance,
    /// Either may be the larger.
    Transition,
    /// The largest hole is no larger than the smallest shaft.
    Interference,
}

impl FitType {
    /// The type of a fit by its least and most clearance, mm.
    pub fn of(clearance: Limits) -> Self {
        if clearance.lower_mm >= 0.0 {
            Self::Clearance
        } else if clearance.upper_mm <= 0.0 {
            Self::Interference
        } else {
            Self::Transition
        }
    }
}

impl fmt::Display for FitType {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Clearance => "clearance",
            Self::Transition => "transition",
            Self::Interference => "interference",
        })
    }
}

/// Least and most clearance between a hole and a shaft within their limits, mm; negative is interference.
pub fn clearance_between(hole: Limits, shaft: Limits) -> Limits {
    Limits {
        lower_mm: decimal_mm(hole.lower_mm - shaft.upper_mm),
        upper_mm: decimal_mm(hole.upper_mm - shaft.lower_mm),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::iso286::Class;

    /// Source: every row of `worked_fits.csv`, the preferred fits of ANSI B4.2-1978 and others. Its clearances
    /// come back to the micrometre, and with them the type: from H11/c11 to H7/h6 clearance, H7/k6 and H7/n6
    /// transition, H7/p6 to H7/u6 interference.
    #[test]
    fn the_published_fits_are_of_their_type() {
        let text = include_str!("../../data/fits/published/worked_fits.csv");
        let mut types = Vec::new();
        for row in csv::Reader::from_reader(text.as_bytes()).into_records() {
            let row = row.unwrap();
            let nominal_mm: f64 = row[0].parse().unwrap();
            let (hole, shaft) = row[1].split_once('/').unwrap();
            let limits = |class: &str| Class::parse(class).unwrap().limits(nominal_mm).unwrap();
            let clearance = clearance_between(limits(hole), limits(shaft));
            let um = |mm: f64| (mm * 1000.0 * 2.0).round() / 2.0;
            assert_eq!(um(clearance.upper_mm), row[6].parse::<f64>().unwrap(), "{row:?}");
            assert_eq!(um(clearance.lower_mm), row[7].parse::<f64>().unwrap(), "{row:?}");
            types.push((row[1].to_owned(), FitType::of(clearance)));
        }
        assert_eq!(types.len(), 32);
        for (fit, expected) in [
            ("H11/c11", FitType::Clearance),
            ("H7/g6", FitType::Clearance),
            ("H7/h6", FitType::Clearance),
            ("H7/k6", FitType::Transition),
            ("H7/n6", FitType::Transition),
            ("H7/p6", FitType::Interference),
            ("H7/u6", FitType::Interference),
        ] {
            let found = types.iter().find(|(name, _)| name == fit).unwrap();
            assert_eq!(found.1, expected, "{fit}");
        }
    }
}
