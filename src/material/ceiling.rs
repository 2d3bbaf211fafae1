//! How warm a mount may get for good, by the tables: a rule for choosing what to test, no promise.
//!
//! Under the load of bolts, a steady temperature of at most
//!
//! - for amorphous polymers `min(glass transition - 20, heat deflection at 1.80 MPa - 10)`,
//! - for crystalline and fibre-filled ones `heat deflection at 1.80 MPa - 10`, the stiffness being several times
//!   lower above the glass transition all the same,
//! - and where the tables have one, the temperature for long use, which ageing sets, when that is lower.
//!
//! Low, typical and high follow from the low, typical and high of the tables.
//!
//! Source: common practice; `data/materials`.

use serde::Serialize;

use super::{Material, Property, Range, Structure};

/// Below the glass transition by so much an amorphous polymer hardly creeps, K. Common practice.
const BELOW_GLASS_K: f64 = 20.0;

/// Below heat deflection by so much, K. Common practice.
const BELOW_DEFLECTION_K: f64 = 10.0;

/// The highest steady temperature that is worth a test.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ceiling {
    /// Of the tables' low, typical and high values, °C.
    #[serde(flatten)]
    pub range_c: Range,
    /// What sets the typical one, in words.
    pub set_by: &'static str,
}

/// What the tables say of a material at a temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Screening {
    /// Even the lowest of its ceilings is above the highest temperature.
    WorthTesting,
    /// The two overlap.
    Doubtful,
    /// Even the highest of its ceilings is below the lowest temperature.
    Out,
}

impl Screening {
    /// As a person says it.
    pub fn words(self) -> &'static str {
        match self {
            Self::WorthTesting => "worth testing",
            Self::Doubtful => "doubtful",
            Self::Out => "out",
        }
    }
}

/// The ceiling of a polymer; `None` of a metal, or where the tables lack what it follows from.
pub fn ceiling(material: &Material) -> Option<Ceiling> {
    let deflection = material.range(Property::HeatDeflectionHigh)?;
    let mut limits =
        vec![(deflection.map(|t| t - BELOW_DEFLECTION_K), "10 K below heat deflection at 1.80 MPa")];
    match material.structure {
        Structure::Amorphous => {
            let glass = material.range(Property::GlassTransition)?;
            limits.push((glass.map(|t| t - BELOW_GLASS_K), "20 K below the glass transition"));
        }
        Structure::Crystalline | Structure::Filled => {}
        Structure::Metal => return None,
    }
    if let Some(long) = material.range(Property::MaxOperating) {
        limits.push((long, "long use, by ageing"));
    }
    let least =
        |pick: fn(&Range) -> f64| limits.iter().map(|(range, _)| pick(range)).fold(f64::INFINITY, f64::min);
    let range_c = Range {
        low: least(|range| range.low),
        typical: least(|range| range.typical),
        high: least(|range| range.high),
    };
    let set_by = limits.iter().find(|(range, _)| range.typical == range_c.typical)?.1;
    Some(Ceiling { range_c, set_by })
}

impl Ceiling {
    /// How far it lies above a temperature, K: the low end meets the highest temperature.
    pub fn margin_k(&self, at_c: Range) -> Range {
        Range {
            low: self.range_c.low - at_c.high,
            typical: self.range_c.typical - at_c.typical,
            high: self.range_c.high - at_c.low,
        }
    }

    /// What the tables say of this temperature.
    pub fn at(&self, at_c: Range) -> Screening {
        let margin = self.margin_k(at_c);
        if margin.high < 0.0 {
            Screening::Out
        } else if margin.low >= 0.0 {
            Screening::WorthTesting
        } else {
            Screening::Doubtful
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::polymer;

    fn of(name: &str) -> Ceiling {
        ceiling(polymer(name).unwrap()).unwrap()
    }

    /// Source: the reference's own list by typical values (common practice), where ageing sets no lower one:
    /// PLA 40, PETG 59, ASA 80, PC 122, PC/ABS 85 to 94, PA6 55, PP 47.
    #[test]
    fn ceilings_of_typical_values_are_those_of_the_rule() {
        for (name, wanted) in
            [("PLA", 40.0), ("PETG", 59.0), ("ASA", 80.0), ("PC", 122.0), ("PA6", 55.0), ("PP", 47.0)]
        {
            assert_eq!(of(name).range_c.typical, wanted, "{name}");
        }
        assert!((85.0..=94.0).contains(&of("PC_ABS").range_c.typical));
        // ABS would be 79 and PEI 190 without ageing, which is lower: 70 and 170.
        assert_eq!((of("ABS").range_c.typical, of("ABS").set_by), (70.0, "long use, by ageing"));
        assert_eq!(of("PEI").range_c.typical, 170.0);
        assert!(ceiling(crate::material::metal("steel").unwrap()).is_none());
    }

    #[test]
    fn at_75_to_90_degrees_pla_and_petg_are_out_and_polycarbonate_is_worth_a_test() {
        let at = Range { low: 75.0, typical: 82.5, high: 90.0 };
        assert_eq!(of("PLA").at(at), Screening::Out);
        assert_eq!(of("PETG").at(at), Screening::Out);
        assert_eq!(of("ASA").at(at), Screening::Doubtful);
        assert_eq!(of("PC").at(at), Screening::WorthTesting);
        let margin = of("PC").margin_k(at);
        assert_eq!((margin.low, margin.typical, margin.high), (26.0, 39.5, 50.0));
    }
}
