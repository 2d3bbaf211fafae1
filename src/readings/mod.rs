//! From a readings sheet to checked readings.
//!
//! A file becomes [`CheckedReadings`] or a list of every problem in it. Repeats of one feature on one
//! print are summarised as they are read, so memory is flat in the number of readings.

mod decode;
mod number;
mod records;
pub(crate) mod whole_table;

use std::path::PathBuf;

use crate::kind::{Axis, Kind};
use crate::problem::Problem;

/// Repeat readings of one feature of one print, summarised in one pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeats {
    /// How many readings.
    pub count: u32,
    /// Their mean, mm.
    pub mean_mm: f64,
    /// Sum of squared departures from the mean, mm^2.
    pub sum_of_squares_mm2: f64,
    /// The smallest reading.
    pub lowest: Reading,
    /// The largest reading.
    pub highest: Reading,
}

/// One caliper reading and the line it stands on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// As read, converted to mm, at the temperature of the room.
    pub mm: f64,
    /// Line in the file, from 1.
    pub line: u64,
}

/// One feature of one print.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureReadings {
    /// Which coupon, empty when the file does not say.
    pub coupon: String,
    /// Which feature of it; made from kind, axis and size when the file does not say.
    pub feature: String,
    /// What is measured.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// Which print, from 1.
    pub copy: u32,
    /// The readings.
    pub repeats: Repeats,
}

/// The readings of one setup, in the order in which features first appear in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct SetupReadings {
    /// The setup's name; `unnamed` when the file has no such column.
    pub setup: String,
    /// One entry a feature and print.
    pub features: Vec<FeatureReadings>,
}

/// What the comment lines before the header say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Conditions {
    /// When it was measured, `2026-11-25`.
    pub date: Option<String>,
    /// Smallest step that the caliper shows, mm; 0.01 when the file does not say.
    pub caliper_resolution_mm: Option<f64>,
    /// The caliper's limit of error, mm.
    pub caliper_error_mm: Option<f64>,
    /// Temperature of the parts when they were measured, Celsius.
    pub temperature_c: Option<f64>,
}

/// Where readings came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The file as the person named it.
    pub path: PathBuf,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

/// A readings file without an unanswered problem. Built only by the checker.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckedReadings {
    /// Where it came from.
    pub source: Source,
    /// What its comment lines say.
    pub conditions: Conditions,
    /// The setups, in order of first appearance.
    pub setups: Vec<SetupReadings>,
    /// How many readings in all.
    pub readings: u64,
    /// Rows whose readings are all blank.
    pub not_measured: u64,
    /// Doubtful but usable: likely slips, named by line.
    pub warnings: Vec<Problem>,
}
