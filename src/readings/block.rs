//! What one block of rows holds: readings and problems, with numbers and lines of its own.
//!
//! Blocks are read apart from each other, so that two can be read at once, and put together in file
//! order afterwards.

use crate::problem::Problem;

use super::exposure::Heading;
use super::records::Leftover;
use super::slips;
use super::table::{Definition, SetupTable};
use super::trials::Trial;

/// A list that keeps its first items and counts the rest.
#[derive(Debug)]
pub(super) struct First<T> {
    pub(super) kept: Vec<T>,
    pub(super) more: u64,
    limit: usize,
}

impl<T> First<T> {
    pub(super) fn of(limit: usize) -> Self {
        Self { kept: Vec::new(), more: 0, limit }
    }

    pub(super) fn push(&mut self, item: T) {
        if self.kept.len() < self.limit {
            self.kept.push(item);
        } else {
            self.more += 1;
        }
    }

    pub(super) fn append(&mut self, later: Self) {
        later.kept.into_iter().for_each(|item| self.push(item));
        self.more += later.more;
    }
}

/// A reading that a slip of the pen explains.
#[derive(Debug)]
pub(super) struct Doubt {
    pub(super) line: u64,
    pub(super) column: usize,
    /// The cell.
    pub(super) text: String,
    /// What was read, mm.
    pub(super) reading_mm: f64,
    pub(super) nominal_mm: f64,
    pub(super) slip: slips::Slip,
}

/// A cell to point at.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell {
    pub(super) line: u64,
    pub(super) column: usize,
    pub(super) text: String,
}

/// What a block holds.
#[derive(Debug)]
pub(super) struct Block {
    /// The setups in order of first appearance.
    pub(super) setups: Vec<(Heading, SetupTable)>,
    pub(super) definitions: Vec<Definition>,
    pub(super) problems: First<Problem>,
    pub(super) doubts: First<Doubt>,
    pub(super) readings: u64,
    pub(super) not_measured: u64,
    /// The first number with a decimal point, and with a decimal comma.
    pub(super) first_point: Option<Cell>,
    pub(super) first_comma: Option<Cell>,
    pub(super) leftover: Leftover,
    /// What was tried with the real piece.
    pub(super) trials: Vec<Trial>,
}

/// How many problems and doubts are kept; the rest is counted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    pub(super) problems: usize,
    pub(super) doubts: usize,
}
