//! What warmth does to sizes that fit when cold: it goes when the part is cool again, unlike what a soak leaves.
//!
//! ```text
//! growth    = alpha * size * dT
//! clearance = (alpha of the polymer - alpha of the metal) * d * dT     gained by a bore on a metal shaft
//! ```
//!
//! A bore in a free body grows as the solid polymer in its place would; how thick the wall is does not
//! matter. A metal bush or bearing in a polymer mount loosens likewise. Expansion is the tables' along the
//! layers, or across them for heights; of the ends of both ranges the worst corners are taken.
//!
//! Source: definition of expansion; worked examples of 8 mm on steel, 20 to 60 °C.

use super::{Material, Property, Range};

/// Fibre-filled prints expand along a bead by a tenth of what they do across; where beads do not run round
/// a bore, the bore follows the larger figure.
pub const FILLED_CAUTION: &str = "along the beads only: across them, and where beads do not run round a bore, \
                                  fibre-filled prints expand up to ten times as much";

/// Expansion of a size in this direction, 1e-6/K; `None` where the tables have none.
pub fn expansion(material: &Material, through_layers: bool) -> Option<Range> {
    let across = through_layers && material.is_polymer();
    material.range(if across { Property::ExpansionThroughLayers } else { Property::ExpansionInPlane })
}

/// How much a size grows, mm, for expansion in 1e-6/K and a rise in K.
pub fn growth_mm(expansion: Range, size_mm: f64, rise_k: Range) -> Range {
    expansion.with(rise_k, |alpha, rise| alpha * 1e-6 * size_mm * rise)
}

/// By how much a bore gains clearance on a shaft of another material, mm; below zero it tightens.
pub fn loosening_mm(bore: Range, shaft: Range, diameter_mm: f64, rise_k: Range) -> Range {
    let difference = bore.with(shaft, |bore, shaft| bore - shaft);
    growth_mm(difference, diameter_mm, rise_k)
}

/// The share of stress that is left after so many hours at constant strain: `t^-n`, t in hours from the
/// first; 1 before it.
pub fn relaxed_share(exponent: Range, hours: f64) -> Range {
    exponent.map(|n| hours.max(1.0).powf(-n))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::{metal, polymer};

    /// Source: worked table, 8 mm shaft, 20 to 60 °C: growth of the bore and loosening on steel, austenitic
    /// stainless and aluminium, µm, by typical expansion. PA6 stands for "printed unfilled PA", 140.
    #[test]
    fn eight_millimetres_from_20_to_60_degrees_loosen_as_the_worked_table_says() {
        let metals =
            ["steel", "stainless", "aluminium"].map(|name| expansion(metal(name).unwrap(), false).unwrap());
        let rise = Range::exactly(40.0);
        for (name, wanted) in [
            ("PLA", [22.4, 18.7, 16.9, 14.8]),
            ("PETG", [21.8, 18.0, 16.2, 14.2]),
            ("ABS", [28.8, 25.1, 23.3, 21.2]),
            ("ASA", [30.4, 26.7, 24.9, 22.8]),
            ("PC", [21.4, 17.7, 15.9, 13.9]),
            ("PC_ABS", [24.0, 20.3, 18.5, 16.4]),
            ("PA12", [38.4, 34.7, 32.9, 30.8]),
            ("PA_CF", [8.0, 4.3, 2.5, 0.4]),
            ("PP", [32.0, 28.3, 26.5, 24.4]),
            ("PPS", [15.7, 11.9, 10.1, 8.1]),
            ("PEEK", [15.4, 11.6, 9.8, 7.8]),
            ("PEI", [17.6, 13.9, 12.1, 10.0]),
        ] {
            let alpha = expansion(polymer(name).unwrap(), false).unwrap();
            let mut got = vec![growth_mm(alpha, 8.0, rise).typical];
            got.extend(metals.iter().map(|metal| loosening_mm(alpha, *metal, 8.0, rise).typical));
            for (got, wanted) in got.iter().zip(wanted) {
                assert!((got * 1000.0 - wanted).abs() < 0.051, "{name}: {got} for {wanted} µm");
            }
        }
        let printed = polymer("PA6").unwrap().range(Property::ExpansionPrinted).unwrap();
        assert!((growth_mm(printed, 8.0, rise).typical - 0.0448).abs() < 1e-9);
        // The shaft itself.
        assert!((growth_mm(metals[0], 8.0, rise).typical - 0.0037).abs() < 0.00005);
    }

    /// Source: worked example: a piece of ABS read at 45 instead of 23 °C is 0.12 mm too long on 60 mm.
    #[test]
    fn a_warm_piece_reads_long() {
        let abs = expansion(polymer("ABS").unwrap(), false).unwrap();
        assert!((growth_mm(abs, 60.0, Range::exactly(22.0)).typical - 0.12).abs() < 0.002);
    }

    #[test]
    fn the_worst_corners_are_taken_and_cold_turns_them_round() {
        let (alpha, metal) =
            (Range { low: 60.0, typical: 90.0, high: 110.0 }, Range { low: 11.5, typical: 11.7, high: 12.1 });
        let rise = Range { low: 30.0, typical: 35.0, high: 40.0 };
        let warm = loosening_mm(alpha, metal, 10.0, rise);
        assert!((warm.low - (60.0 - 12.1) * 0.3e-3).abs() < 1e-12);
        assert!((warm.high - (110.0 - 11.5) * 0.4e-3).abs() < 1e-12);
        let cold = loosening_mm(alpha, metal, 10.0, Range::exactly(-40.0));
        assert!(cold.high < 0.0 && (cold.low + (110.0 - 11.5) * 0.4e-3).abs() < 1e-12);
    }

    /// Source: worked value: a reinforced polyester's creep modulus of 9350 at 1 h and 7690 at 1000 h is n = 0.028.
    #[test]
    fn stress_relaxes_by_the_power_law() {
        let share = relaxed_share(Range::exactly(0.028), 1000.0).typical;
        assert!((share - 7690.0 / 9350.0).abs() < 0.003, "{share}");
        assert_eq!(relaxed_share(Range::exactly(0.1), 0.1).typical, 1.0);
    }
}
