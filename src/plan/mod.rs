//! Which coupons to print, and how often, for the dimensions that a person needs.
//!
//! ```text
//! parts list + spreads of the printer -> candidate coupons -> I-optimal choice -> predicted intervals
//!                                                                '-> coupon set (TOML) for `coupons --set`
//! ```
//!
//! A prediction's variance does not need readings: it follows from what is measured, how often, and how
//! far prints, features and readings spread. So every design can be judged before it is printed, by the
//! interval that [`crate::correction::apply`] will give to each wanted size. Part of it no coupon takes
//! away: what a new print and a new feature add by themselves. Limits narrower than that are out of reach,
//! and are said to be.

pub mod candidates;
pub mod direct;
pub mod evaluate;
pub mod search;
pub mod spreads;
pub mod text;

use std::path::Path;

use serde::Serialize;

use crate::fits::named::NamedFits;
use crate::kind::{Axis, Kind};
use crate::parts::parts_list::{CannotAsk, PartLine, PartsList};
use crate::problem::{Location, Problem};

/// A drawing is rounded to 0.01 mm: that much less room for everything else.
const ROUNDING_MM: f64 = 0.005;

/// A dimension that must come out right.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Wanted {
    /// Line in the parts list.
    pub line: u64,
    /// Which part.
    pub part: String,
    /// Which of its dimensions.
    pub dimension: String,
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The printed size that is wanted, mm.
    pub target_mm: f64,
    /// The limits that it must keep, mm.
    pub within: Option<[f64; 2]>,
    /// How far a print may be from the target, mm: to the nearer limit, less the rounding of a drawing.
    pub room_mm: Option<f64>,
}

impl Wanted {
    /// What every line of a list asks for.
    ///
    /// # Errors
    /// Every line that gives nothing to aim at.
    pub fn of_list(list: &PartsList, fits: &NamedFits, file: &Path) -> Result<Vec<Self>, Vec<Problem>> {
        let mut problems = Vec::new();
        let mut wanted = Vec::with_capacity(list.lines.len());
        for line in &list.lines {
            match Self::new(line, fits) {
                Ok(dimension) => wanted.push(dimension),
                Err(error) => {
                    let place = Location::file(file).line(line.line);
                    problems.push(Problem::error(place, error.to_string()).help_if(error.help()));
                }
            }
        }
        if problems.is_empty() { Ok(wanted) } else { Err(problems) }
    }

    /// What a line of a parts list asks for.
    ///
    /// # Errors
    /// As [`PartLine::aim`].
    pub fn new(line: &PartLine, fits: &NamedFits) -> Result<Self, CannotAsk> {
        let aim = line.aim(fits)?;
        let target_mm = aim.target.get();
        let within = aim.limits.map(|limits| [limits.lower_mm, limits.upper_mm]);
        let room = |[lower, upper]: [f64; 2]| (target_mm - lower).min(upper - target_mm) - ROUNDING_MM;
        Ok(Self {
            line: line.line,
            part: line.part.clone(),
            dimension: line.dimension.clone(),
            kind: line.kind,
            axis: line.axis,
            target_mm,
            within,
            room_mm: within.map(room),
        })
    }
}
