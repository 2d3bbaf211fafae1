//! Parts about an axis, put together from features: what stands on what, what is bored, cut and drilled.
//!
//! ```text
//! features as wanted -> Sizing (a correction) -> features as drawn -> Piece -> mesh, sections, sizes
//! ```
//!
//! A [`piece::Piece`] is a plain description: [`step`]s piled up from the bed about the z axis, a [`bore`]
//! through all of them, [`recess`]es at its ends, [`hole`]s along the axis, [`set_screw`]s across it, a
//! [`label`]. Every feature knows its own sizes, draws itself for a setup by the kind that each wall is, and
//! names what a caliper finds on it. A piece as wanted and a piece as drawn are values of one type.
//!
//! Shrink is undone about the axis and every wall is moved by its own kind's law. A flat at a distance from
//! the axis is half of a gap of twice that distance. Heights are measured from the bed.

pub mod bore;
pub mod exact;
pub mod hole;
pub mod label;
mod mesh;
pub mod piece;
pub mod recess;
pub mod section;
pub mod set_screw;
pub mod sizing;
pub mod step;
mod window;

/// Least plastic that is left beside a hole or a slot, mm: two beads of a 0.4 mm nozzle.
pub const LEAST_SKIN_MM: f64 = 0.8;

/// Why features do not go together.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotBuild {
    /// A size that no such feature has.
    #[error("{what} of {size_mm} mm cannot be: {reason}")]
    Size {
        /// Which size.
        what: &'static str,
        /// The size, mm.
        size_mm: f64,
        /// Why not.
        reason: String,
    },
    /// Two features leave too little plastic between them.
    #[error("{what}: {left_mm:.2} mm of plastic would be left, at least {needed_mm} mm must be")]
    Skin {
        /// Between what.
        what: String,
        /// What would be left, mm.
        left_mm: f64,
        /// What must be, mm.
        needed_mm: f64,
    },
    /// A feature needs another one.
    #[error("{0}")]
    Needs(&'static str),
}

/// Refuses where less than `needed_mm` is left; NaN is refused, too.
pub(crate) fn need_skin(what: &str, left_mm: f64, needed_mm: f64) -> Result<(), CannotBuild> {
    // Sizes that were added up may fall short of themselves by their last bit.
    if left_mm >= needed_mm - 1e-9 {
        return Ok(());
    }
    Err(CannotBuild::Skin { what: what.to_owned(), left_mm, needed_mm })
}

/// Refuses a size that is not above zero.
pub(crate) fn need_positive(what: &'static str, size_mm: f64) -> Result<(), CannotBuild> {
    if size_mm > 0.0 && size_mm < 1000.0 {
        return Ok(());
    }
    Err(CannotBuild::Size { what, size_mm, reason: "it must be above 0 and below 1000".to_owned() })
}
