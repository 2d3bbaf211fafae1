//! Dowel pins: with an m6 pin the pin is above its nominal size, with an h8 pin below.
//!
//! Source: `data/hardware/dowel_pins.csv` (ISO 2338, ISO 8734); every row has its label.

use super::lookup::{NotSold, number};
use super::table;
use crate::fits::Limits;
use crate::tables::built_in::Row;

/// A dowel pin.
#[derive(Clone, Debug, PartialEq)]
pub struct DowelPin {
    /// Nominal diameter, mm.
    pub nominal_mm: f64,
    /// `m6` or `h8`.
    pub class: &'static str,
    /// What its diameter may be, mm.
    pub limits: Limits,
    /// The standards that have it.
    pub standards: &'static str,
    /// Where the row comes from.
    pub source: &'static str,
}

table!(
    /// Every dowel pin of the table, smallest first, m6 before h8.
    dowel_pins,
    "../../data/hardware/dowel_pins.csv",
    DowelPin,
    read
);

/// The dowel pin of this nominal diameter and class.
///
/// # Errors
/// A diameter or a class that the table does not have.
pub fn dowel_pin(nominal_mm: f64, class: &str) -> Result<&'static DowelPin, NotSold> {
    let found =
        dowel_pins().iter().find(|pin| pin.nominal_mm == nominal_mm && pin.class.eq_ignore_ascii_case(class));
    found.ok_or_else(|| {
        let sizes = dowel_pins().iter().filter(|pin| pin.class == "m6");
        let sizes: Vec<String> = sizes.map(|pin| pin.nominal_mm.to_string()).collect();
        NotSold {
            text: format!("{nominal_mm}{class}"),
            what: "dowel pin",
            known: format!("known are {} mm, each as m6 and as h8", sizes.join(", ")),
            nearest: None,
        }
    })
}

fn read(row: &'static Row) -> DowelPin {
    DowelPin {
        nominal_mm: number(row, "nominal_mm"),
        class: row.text("class"),
        limits: Limits { lower_mm: number(row, "min_mm"), upper_mm: number(row, "max_mm") },
        standards: row.text("standards"),
        source: row.text("label"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::iso286::Class;

    /// The pins' limits are those of their class, all 32 rows of the table.
    #[test]
    fn every_pin_has_the_limits_of_its_class() {
        assert_eq!(dowel_pins().len(), 32);
        for pin in dowel_pins() {
            let class = Class::parse(pin.class).unwrap();
            assert_eq!(pin.limits, class.limits(pin.nominal_mm).unwrap(), "{} {}", pin.nominal_mm, pin.class);
        }
    }

    #[test]
    fn a_pin_that_is_not_sold_is_answered_with_those_that_are() {
        assert_eq!(dowel_pin(5.0, "M6").unwrap().limits, Limits { lower_mm: 5.004, upper_mm: 5.012 });
        let error = dowel_pin(5.1, "m6").unwrap_err().to_string();
        assert!(
            error.starts_with("`5.1m6`: no dowel pin here is called so; known are 0.6, 0.8, 1, "),
            "{error}"
        );
        assert!(error.ends_with("20 mm, each as m6 and as h8"), "{error}");
    }
}
