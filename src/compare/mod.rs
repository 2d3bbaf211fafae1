//! Which material keeps its size in the heat: pieces measured before and after a soak.
//!
//! ```text
//! checked readings -> study (reading, checks) -> changes, each feature paired with itself (pairing)
//!   -> findings: mean change of each material, soak and group of features, with its interval (finding)
//!   -> verdicts (verdict), pairs and ranks (between), course with temperature and time (course, creep)
//!   -> the corrections of the prints before heat, side by side (corrections)
//! ```
//!
//! Conventions and ideas:
//!
//! - `change = after - before`, mm; below zero: it shrank. What a reference piece of metal changed by is the
//!   caliper's, and is taken out with its uncertainty.
//! - A piece is the unit: ten features of one piece tell no more about the next piece than one does. A
//!   change has a mean, a part that a piece shares, and a rest; intervals have one degree of freedom
//!   less than there are pieces.
//! - Directions are never thrown together: annealed prints shrink along their roads and grow in height, so
//!   one factor for all would be wrong in each. Bores are apart from lengths.
//! - "Real": the interval excludes zero. "Holds": the whole interval lies within the limit. "Exceeds": the
//!   whole interval lies beyond it. Anything else cannot be told, and how many more pieces would tell is said.

use crate::problem::Problem;
use crate::readings::CheckedReadings;

pub mod answer;
pub mod between;
pub mod corrections;
pub mod course;
pub mod creep;
pub mod finding;
pub mod group;
pub mod headline;
mod pairing;
mod reading;
mod swapped;
pub mod text;
pub mod verdict;

#[cfg(test)]
mod tests;

pub use pairing::{Change, Piece, Reference, Study, study};
pub use reading::{Condition, Material};

/// The change of size that a person can bear, where he does not say, mm.
pub const USUAL_LIMIT_MM: f64 = 0.10; // what the issue of fits asks for; a slide fit of 8 mm has less

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// A change beyond plus or minus this matters, mm.
    pub limit_mm: f64,
    /// The temperature that the parts must stand, Celsius.
    pub at_c: Option<f64>,
}

/// Everything that a comparison says.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// What was asked.
    pub options: Options,
    /// What was measured, paired.
    pub study: Study,
    /// The mean change of each material, condition and group.
    pub findings: Vec<finding::Finding>,
    /// The pairs of materials.
    pub between: Vec<between::Family>,
    /// The change against temperature.
    pub courses: Vec<course::Course>,
    /// Up to which temperature each material holds.
    pub ceilings: Vec<course::Ceiling>,
    /// The change against time.
    pub creep: Vec<creep::Creep>,
    /// How each material prints.
    pub corrections: Vec<corrections::Printed>,
    /// The answer of each material, first things first.
    pub headlines: Vec<headline::Headline>,
    /// What a reader must know.
    pub cautions: Vec<String>,
}

/// Compares what these files say, taken together; or everything that is wrong with them.
///
/// # Errors
/// No column `stage`, no reading before heat or none after it, contradictory soaks, features that are not the
/// same before and after: each with file and line.
pub fn compare(files: &[CheckedReadings], options: Options) -> Result<Comparison, Vec<Problem>> {
    let study = pairing::study(files)?;
    let findings = finding::findings(&study, options.limit_mm);
    let between = between::families(&study, &findings);
    let courses = course::courses(&study, &findings, options.limit_mm);
    let ceilings = course::ceilings(&study, &courses, &findings);
    let creep = creep::creep(&study, &findings);
    let corrections = corrections::printed(files, &study);
    let headlines = headline::headlines(&study, &findings, &courses, options);
    let cautions = headline::cautions(&study, &findings, &creep);
    Ok(Comparison {
        options,
        study,
        findings,
        between,
        courses,
        ceilings,
        creep,
        corrections,
        headlines,
        cautions,
    })
}
