//! The middle of the program: how one setup errs, and what to draw because of it.
//!
//! A correction is a linear model of the deviation, `measured - drawn = sum of coefficient * term`,
//! with the covariance of its coefficients and the spreads that a new print adds. [`Term`] is the one
//! place that says what each coefficient does to a size; fit, prediction, correction file and pulley
//! all go through it.

pub mod answer;
pub mod apply;
mod estimate;
pub mod file;
pub mod first_layer;
pub mod fit;
pub mod fitted;
pub mod form;
pub mod history;
pub mod joint;
mod moments;
mod observations;
pub mod pool;
mod read_file;
mod shape;
pub mod spread;
pub mod summary;
mod suspects;
mod toml_keys;
pub mod verify;

use std::collections::BTreeMap;

use crate::kind::{Axis, Kind};

/// One term of the error model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Term {
    /// Constant of one kind, mm.
    Offset(Kind),
    /// Scale error shared by all kinds: scale - 1.
    Scale,
    /// Scale error of one kind: scale - 1.
    ScaleOf(Kind),
    /// Small-bore term, mm^2: a bore drawn `x` differs by the coefficient over `x`.
    SmallBore,
}

impl Term {
    /// What a coefficient of 1 adds to the deviation of a feature drawn `drawn_mm`.
    pub fn value(self, kind: Kind, _axis: Axis, drawn_mm: f64) -> f64 {
        match self {
            Self::Offset(of) => f64::from(of == kind),
            Self::Scale => drawn_mm,
            Self::ScaleOf(of) => {
                if of == kind {
                    drawn_mm
                } else {
                    0.0
                }
            }
            Self::SmallBore => {
                if kind == Kind::Bore {
                    1.0 / drawn_mm
                } else {
                    0.0
                }
            }
        }
    }

    /// Its derivative by the drawn size.
    pub fn slope(self, kind: Kind, axis: Axis, drawn_mm: f64) -> f64 {
        match self {
            Self::Offset(_) => 0.0,
            Self::Scale | Self::ScaleOf(_) => self.value(kind, axis, 1.0),
            Self::SmallBore => -self.value(kind, axis, drawn_mm) / drawn_mm,
        }
    }
}

/// How scales are shared between kinds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ScaleForm {
    /// An offset per kind, no scale.
    Offset,
    /// An offset per kind and one scale for all.
    Shared,
    /// An offset and a scale per kind.
    Own,
}

/// The form of the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Form {
    /// How scales are shared.
    pub scale: ScaleForm,
    /// Whether bores have the small-bore term.
    pub small_bore: bool,
}

/// What was measured of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coverage {
    /// Smallest nominal size, mm.
    pub min_mm: f64,
    /// Largest nominal size, mm.
    pub max_mm: f64,
    /// How many features, counted per print.
    pub features: u32,
    /// How many readings.
    pub readings: u64,
}

/// A standard deviation and what is behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadEstimate {
    /// Standard deviation, mm.
    pub sd_mm: f64,
    /// Degrees of freedom; `None` when it is a stated allowance and not an estimate.
    pub dof: Option<f64>,
}

/// How a new print departs from the fitted line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Print to print (P).
    pub print: SpreadEstimate,
    /// Feature to feature within a print (F).
    pub feature: SpreadEstimate,
    /// Repeat readings of one feature (R); `None` when nothing was read twice.
    pub repeat: Option<SpreadEstimate>,
    /// Standard uncertainty of the caliper itself (C), which does not average away, mm.
    pub caliper_u_mm: f64,
}

/// A reading that the fit did not use.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAside {
    /// Line in the readings file.
    pub line: u64,
    /// What was read, mm.
    pub reading_mm: f64,
    /// Why, with the likely slip.
    pub reason: String,
}

/// Another form that was tried.
#[derive(Clone, Debug, PartialEq)]
pub struct RunnerUp {
    /// Its form.
    pub form: Form,
    /// Its AICc less the chosen form's.
    pub aicc_above_best: f64,
}

/// How one setup errs.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// The setup it belongs to.
    pub setup: String,
    /// When the coupons were measured.
    pub date: Option<String>,
    /// The readings file's name, without its folder.
    pub readings_file: String,
    /// SHA-256 of the readings file.
    pub readings_sha256: String,
    /// The program version that fitted it.
    pub program_version: String,
    /// The form of the model.
    pub form: Form,
    /// The forms that were not chosen, best first; empty when the form was forced.
    pub runners_up: Vec<RunnerUp>,
    /// The terms, in the order of `coefficients`.
    pub terms: Vec<Term>,
    /// The coefficients: mm, ratios or mm^2 by term.
    pub coefficients: Vec<f64>,
    /// Covariance of the coefficients, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Residual degrees of freedom.
    pub dof: f64,
    /// How many prints were measured.
    pub prints: u32,
    /// What was measured of each kind.
    pub kinds: BTreeMap<Kind, Coverage>,
    /// How a new print departs from the fitted line.
    pub spread: Spread,
    /// What was set aside.
    pub set_aside: Vec<SetAside>,
    /// What a reader must know: what the data cannot tell, in plain words.
    pub warnings: Vec<String>,
}
