//! Chains: a row of dimensions along one direction, and the gap that they leave.
//!
//! ```text
//! gap = sum of the members that open it - sum of those that close it
//! ```
//!
//! A printed member has the correction's spread about what it prints as; errors that members of one print
//! share (how that print swells and shrinks, the correction's own doubt, the caliper) are shared here too. A
//! bought member lies between its limits. Then
//!
//! - worst case: every member at the end that hurts; of a printed one, 99.73 % of prints;
//! - root sum square: the same half widths added as squares, as if all were independent;
//! - simulation: each member as it spreads, shared errors shared, [`stack::TRIALS`] times from one seed.
//!
//! ```text
//! file -> [`Chain`] ([`read`]) -> with a correction -> [`StackUp`] ([`stack`]) -> text, JSON
//! ```
//!
//! Source: worst case and root sum square as in Scholz, Tolerance Stack Analysis Methods (1995).

mod answer;
pub mod read;
mod simulate;
pub mod stack;

use crate::fits::{Limits, Source};
use crate::kind::{Axis, Kind};
use crate::problem::Problem;
use crate::units::Mm;

pub use stack::{CannotStack, StackUp};

/// A row of dimensions and the gap that is wanted of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    /// The members, in file order.
    pub members: Vec<Member>,
    /// The gap.
    pub gap: Gap,
    /// Doubtful but usable: columns that look like a slip of the pen.
    pub warnings: Vec<Problem>,
}

impl Chain {
    /// Where the limits of what is sold come from, each once.
    pub fn sources(&self) -> Vec<Source> {
        let mut sources = Vec::new();
        for member in &self.members {
            if let MemberSize::Bought { source: Some(source), .. } = &member.size {
                Source::add_to(&mut sources, [source.clone()]);
            }
        }
        sources
    }
}

/// The gap that is left.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    /// What it is called.
    pub name: String,
    /// The least that is wanted, mm.
    pub least_mm: Option<f64>,
    /// The most that is wanted, mm.
    pub most_mm: Option<f64>,
}

/// One dimension of the row.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    /// Line in the file, from 1.
    pub line: u64,
    /// What it is called.
    pub name: String,
    /// 1 where it opens the gap, -1 where it closes it.
    pub sign: f64,
    /// What is known of its size.
    pub size: MemberSize,
}

/// What is known of a member's size.
#[derive(Clone, Debug, PartialEq)]
pub enum MemberSize {
    /// It is printed.
    Printed {
        /// What it is.
        kind: Kind,
        /// The direction it is measured in.
        axis: Axis,
        /// Which print it is part of; members of one print share its errors.
        print: String,
        /// What is drawn, or wanted.
        size: PrintedSize,
    },
    /// It is bought.
    Bought {
        /// Its limits.
        limits: Limits,
        /// How it spreads between them.
        spread: BoughtSpread,
        /// Where the limits come from, when they are not the file's.
        source: Option<Source>,
    },
}

/// The size of a printed member.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PrintedSize {
    /// What is drawn.
    Drawn(Mm),
    /// The printed size that is wanted; what to draw follows from the correction.
    Target(Mm),
}

/// How a bought part spreads between its limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BoughtSpread {
    /// Every size is equally likely.
    Even,
    /// Normal, with the limits three standard deviations from the middle.
    Normal,
}

impl BoughtSpread {
    /// The variance of a part between these limits, mm^2.
    fn variance_mm2(self, limits: Limits) -> f64 {
        let width = limits.upper_mm - limits.lower_mm;
        match self {
            Self::Even => width * width / 12.0,
            Self::Normal => width * width / 36.0,
        }
    }
}
