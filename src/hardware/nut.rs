//! Hexagon and square nuts: across flats, across corners, thickness.
//!
//! A printed pocket has sharp corners, 1.1547 times its flats apart; a nut's own corners are rounded (1.13
//! times its smallest flats), so that they clear as soon as the flats do. The flats are what is fitted.
//!
//! Source: `data/hardware/hex_nuts.csv` and `square_nuts.csv`; every row has its label.

use super::lookup::{self, NotSold, number};
use super::table;
use crate::fits::Limits;
use crate::tables::built_in::Row;

/// A hexagon nut.
#[derive(Clone, Debug, PartialEq)]
pub struct HexNut {
    /// `ISO 4032`, or `DIN 934` for older stock.
    pub standard: &'static str,
    /// `M3`.
    pub thread: &'static str,
    /// Thread pitch, mm.
    pub pitch_mm: f64,
    /// Nominal, which is the largest, size across flats, mm.
    pub across_flats_mm: f64,
    /// The smallest size across flats, mm; not known of older stock.
    pub across_flats_min_mm: Option<f64>,
    /// Across the sharp corners of a hexagon with these flats, mm.
    pub across_corners_mm: f64,
    /// The largest thickness, mm.
    pub thickness_mm: f64,
    /// The smallest thickness, mm; not known of older stock.
    pub thickness_min_mm: Option<f64>,
    /// What the table says besides.
    pub note: &'static str,
    /// Where the row comes from.
    pub source: &'static str,
}

impl HexNut {
    /// What its size across flats may be, mm, where the table has both ends.
    pub fn across_flats_limits(&self) -> Option<Limits> {
        self.across_flats_min_mm.map(|lower_mm| Limits { lower_mm, upper_mm: self.across_flats_mm })
    }
}

/// A thin square nut, as for set screws in a hub.
#[derive(Clone, Debug, PartialEq)]
pub struct SquareNut {
    /// `DIN 562`.
    pub standard: &'static str,
    /// `M3`.
    pub thread: &'static str,
    /// Nominal, which is the largest, size across flats, mm.
    pub across_flats_mm: f64,
    /// The smallest size across corners, mm.
    pub across_corners_min_mm: f64,
    /// The largest thickness, mm.
    pub thickness_mm: f64,
    /// Where the row comes from.
    pub source: &'static str,
}

table!(
    /// Every hexagon nut of the tables, ISO 4032 first.
    hex_nuts,
    "../../data/hardware/hex_nuts.csv",
    HexNut,
    read_hex
);

table!(
    /// Every square nut of the table, smallest first.
    square_nuts,
    "../../data/hardware/square_nuts.csv",
    SquareNut,
    read_square
);

/// The ISO 4032 nut for this thread, in any case.
///
/// # Errors
/// A thread that the table does not have.
pub fn hex_nut(thread: &str) -> Result<&'static HexNut, NotSold> {
    // The ISO rows stand first, and the first of a name is found.
    lookup::named(hex_nuts(), |nut| nut.thread, thread, "hexagon nut")
}

/// The older DIN 934 nut for this thread, where it differs from ISO 4032 in flats or thickness.
pub fn older_hex_nut(thread: &str) -> Option<&'static HexNut> {
    let iso = hex_nut(thread).ok()?;
    let differs =
        |nut: &&HexNut| nut.across_flats_mm != iso.across_flats_mm || nut.thickness_mm != iso.thickness_mm;
    hex_nuts().iter().find(|nut| nut.standard == "DIN 934" && nut.thread == iso.thread).filter(differs)
}

/// The DIN 562 nut for this thread, in any case.
///
/// # Errors
/// A thread that the table does not have.
pub fn square_nut(thread: &str) -> Result<&'static SquareNut, NotSold> {
    lookup::named(square_nuts(), |nut| nut.thread, thread, "square nut")
}

fn read_hex(row: &'static Row) -> HexNut {
    HexNut {
        standard: row.text("standard"),
        thread: row.text("thread"),
        pitch_mm: number(row, "pitch_mm"),
        across_flats_mm: number(row, "across_flats_max_mm"),
        across_flats_min_mm: row.number("across_flats_min_mm"),
        across_corners_mm: number(row, "across_corners_geometric_max_mm"),
        thickness_mm: number(row, "thickness_max_mm"),
        thickness_min_mm: row.number("thickness_min_mm"),
        note: row.text("note"),
        source: row.text("label"),
    }
}

fn read_square(row: &'static Row) -> SquareNut {
    SquareNut {
        standard: row.text("standard"),
        thread: row.text("thread"),
        across_flats_mm: number(row, "across_flats_mm"),
        across_corners_min_mm: number(row, "across_corners_min_mm"),
        thickness_mm: number(row, "thickness_max_mm"),
        source: row.text("label"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_hexagon_nut_is_a_hexagon_around_its_thread() {
        assert_eq!(hex_nuts().len(), 18);
        for nut in hex_nuts() {
            let name = format!("{} {}", nut.standard, nut.thread);
            let thread_mm: f64 = nut.thread[1..].parse().unwrap();
            // 2 / sqrt(3), to the last digit printed.
            let corners = nut.across_flats_mm * 2.0 / 3.0_f64.sqrt();
            assert!((nut.across_corners_mm - corners).abs() <= 0.000_5 + 1e-9, "{name}");
            assert!((1.4..2.1).contains(&(nut.across_flats_mm / thread_mm)), "{name}");
            assert!((0.75..=1.0).contains(&(nut.thickness_mm / thread_mm)), "{name}");
            if let Some(limits) = nut.across_flats_limits() {
                assert!(
                    limits.lower_mm < limits.upper_mm && limits.upper_mm - limits.lower_mm < 0.3,
                    "{name}"
                );
                assert!(nut.thickness_min_mm.unwrap() < nut.thickness_mm, "{name}");
            }
            assert!(["looked-up", "from memory"].iter().any(|label| nut.source.starts_with(label)), "{name}");
        }
    }

    /// Source: ISO 4032 by way of the reference table. DIN 934 gives an M5 nut 4.0 mm, ISO 4032 4.7.
    #[test]
    fn known_nuts_come_back_and_older_stock_is_told_apart() {
        let nut = hex_nut("m3").unwrap();
        assert_eq!((nut.standard, nut.across_flats_mm, nut.thickness_mm), ("ISO 4032", 5.5, 2.4));
        assert_eq!(nut.across_flats_limits(), Some(Limits { lower_mm: 5.32, upper_mm: 5.5 }));
        assert_eq!(hex_nut("M5").unwrap().thickness_mm, 4.7);
        assert_eq!(older_hex_nut("M5").unwrap().thickness_mm, 4.0);
        assert_eq!(older_hex_nut("M10").unwrap().across_flats_mm, 17.0);
        assert_eq!(older_hex_nut("M3"), None);
    }

    #[test]
    fn every_square_nut_is_a_rounded_square() {
        assert_eq!(square_nuts().len(), 5);
        for nut in square_nuts() {
            // Rounded corners: below the diagonal of the square, above 1.25 times its flats.
            let ratio = nut.across_corners_min_mm / nut.across_flats_mm;
            assert!((1.25..std::f64::consts::SQRT_2).contains(&ratio), "{}", nut.thread);
            assert!(nut.thickness_mm < 0.6 * nut.across_flats_mm, "{}", nut.thread);
        }
        let nut = square_nut("M3").unwrap();
        assert_eq!((nut.across_flats_mm, nut.thickness_mm), (5.5, 1.8));
        assert_eq!(square_nut("M2").unwrap_err().help().unwrap(), "did you mean M3?");
    }
}
