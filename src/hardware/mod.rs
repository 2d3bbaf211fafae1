//! Bought parts that printed ones are made for: bearings, screws, nuts, pins, shafts, by the name they are sold by.
//!
//! - [`bearing`]: ball bearings (ISO 15) and what ISO 492 allows their diameters and width.
//! - [`screw`]: through holes (ISO 273), socket heads (ISO 4762), set screws (ISO 4026, 4027, 4029).
//! - [`nut`]: hexagon nuts (ISO 4032, DIN 934) and thin square nuts (DIN 562).
//! - [`pin`]: dowel pins m6 and h8 (ISO 2338, ISO 8734).
//! - [`shaft`]: shaft diameters that motors and rods are sold with.
//!
//! Limits are sizes at 20 °C, mm, both ends allowed. The numbers are in `data/hardware/*.csv`; each row carries
//! a label that says whether it was looked up or remembered, and it is handed on with the numbers as `source`.

pub mod bearing;
mod lookup;
pub mod nut;
pub mod pin;
pub mod screw;
pub mod shaft;

pub use lookup::NotSold;

/// A table that is built into the program, read once.
macro_rules! table {
    ($(#[$doc:meta])* $name:ident, $file:literal, $row:ty, $read:path) => {
        $(#[$doc])*
        pub fn $name() -> &'static [$row] {
            static ROWS: std::sync::OnceLock<Vec<$row>> = std::sync::OnceLock::new();
            ROWS.get_or_init(|| $crate::hardware::lookup::read(include_str!($file), $read))
        }
    };
}
use table;
