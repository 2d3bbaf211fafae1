//! Belt profiles from the standards, and the pulleys that run with them.
//!
//! Straight-sided (trapezoidal) systems: inch pitches MXL to XXH (ISO 5294, ISO 5296) and metric T
//! (DIN 7721). The numbers are in `data/belts/*.csv`, each with a label that says whether it was looked
//! up, remembered or derived; [`profile`] and [`tolerance`] hand the label on with the number.
//!
//! ```text
//! profile + tooth count -> pulley: diameters, widths -> groove: its shape -> walls: lines and arcs
//! ```

pub mod easing;
pub mod groove;
pub mod lengths;
pub mod profile;
pub mod pulley;
pub mod rack;
mod rolled;
pub mod swing;
pub mod tolerance;
pub mod tooth;
pub mod walls;

use crate::tables::built_in as table;

/// A value from a table, and where the table has it from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cited<T> {
    /// The value.
    pub value: T,
    /// `looked-up: ...`, `from memory: ...` or `derived: ...`.
    pub source: &'static str,
}
