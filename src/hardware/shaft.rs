//! Shaft diameters that motors and rods are sold with. What a shop rounds off is told: 3.17 mm is 1/8 inch, 3.175.
//!
//! Makers hold different tolerances on a motor's shaft; none is given here, and the person measures the
//! shaft or names its class.
//!
//! Source: `data/hardware/shafts.csv`, common practice; every row has its label.

use super::lookup::number;
use super::table;
use crate::tables::built_in::Row;

/// A shaft diameter that is commonly sold.
#[derive(Clone, Debug, PartialEq)]
pub struct Shaft {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Where it is found.
    pub typical_use: &'static str,
    /// Its flat and what makers allow it, in words.
    pub note: &'static str,
    /// Where the row comes from.
    pub source: &'static str,
}

impl Shaft {
    /// The diameter in fractions of an inch, such as `1/8 inch`, for those that are made to the inch.
    pub fn inches(&self) -> Option<&'static str> {
        let (inches, _) = self.typical_use.split_once(':')?;
        inches.ends_with(" inch").then_some(inches)
    }
}

table!(
    /// Every shaft of the table, thinnest first.
    shafts,
    "../../data/hardware/shafts.csv",
    Shaft,
    read
);

/// How far a size may be rounded and still be meant for another, mm: 3.17 and 3.18 for 3.175, 6.3 and 6.4 for 6.35.
const ROUNDED_BY_MM: f64 = 0.05;

/// The inch shaft that a size in millimetres stands for; `None` for its exact size and for every other size.
///
/// Source: a shaft sold as 3.17 mm is 1/8 inch, 3.175 mm: common practice, no source.
pub fn sold_by_the_inch(diameter_mm: f64) -> Option<&'static Shaft> {
    shafts().iter().find(|shaft| {
        let off = (diameter_mm - shaft.diameter_mm).abs();
        shaft.inches().is_some() && off > 1e-9 && off <= ROUNDED_BY_MM + 1e-9
    })
}

fn read(row: &'static Row) -> Shaft {
    Shaft {
        diameter_mm: number(row, "diameter_mm"),
        typical_use: row.text("typical_use"),
        note: row.text("notes"),
        source: row.text("label"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shaft_is_labelled_and_they_rise() {
        assert_eq!(shafts().len(), 15);
        assert!(shafts().windows(2).all(|pair| pair[0].diameter_mm < pair[1].diameter_mm));
        assert!(shafts().iter().all(|shaft| shaft.source.starts_with("from memory: common practice")));
        let inches: Vec<_> = shafts().iter().filter_map(Shaft::inches).collect();
        assert_eq!(inches, ["1/8 inch", "1/4 inch", "1/2 inch"]);
    }

    #[test]
    fn an_eighth_of_an_inch_is_known_however_the_shop_rounds_it() {
        for sold_as in [3.17, 3.18, 3.2] {
            assert_eq!(sold_by_the_inch(sold_as).unwrap().diameter_mm, 3.175);
        }
        assert_eq!(sold_by_the_inch(6.3).unwrap().inches(), Some("1/4 inch"));
        for other in [3.175, 3.0, 3.1, 5.0, 8.0] {
            assert_eq!(sold_by_the_inch(other), None);
        }
    }
}
