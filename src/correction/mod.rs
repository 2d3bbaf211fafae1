//! The middle of the program: how one setup errs, and what to draw because of it.
//!
//! A correction is a linear model of the deviation, `measured - drawn = sum of coefficient * term`,
//! with the covariance of its coefficients and the spreads that a new print adds. [`Term`] is the one
//! place that says what each coefficient does to a size; fit, prediction, correction file and pulley
//! all go through it.

pub mod answer;
pub mod apply;
pub mod borrow;
pub mod borrow_folder;
pub mod borrow_pool;
pub mod criticism;
mod elsewhere;
mod estimate;
pub mod feel;
mod feel_answer;
mod feel_file;
pub mod file;
pub mod first_layer;
pub mod fit;
pub(crate) mod fit_each;
pub mod fitted;
pub mod form;
pub mod history;
mod inverse;
pub mod joint;
mod moments;
mod observations;
pub mod pool;
mod read_file;
mod shape;
pub mod spread;
pub mod structured;
pub mod summary;
mod suspects;
pub mod tally;
pub mod temperature;
pub mod tolerance;
mod toml_keys;
pub mod verify;

use std::collections::BTreeMap;

use crate::kind::{Axis, Kind};
use crate::readings::SetAsideReading;

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
    /// Swell of every wall, mm per side: +2 of it outside, -2 inside.
    Swell,
    /// Scale error shared by all kinds but heights: scale - 1.
    ScaleInPlane,
    /// Scale error of heights: scale - 1.
    ScaleZ,
    /// Scale along x less scale along y; what has no direction lies between the two.
    XyDifference,
    /// How far the angle between x and y is open beyond 90 degrees, rad: one diagonal is longer by half
    /// of it, the other shorter.
    Skew,
    /// What a horizontal bore differs in across z from across the layer plane, mm: its roof sags.
    Sag,
}

impl Term {
    /// What a coefficient of 1 adds to the deviation of a feature drawn `drawn_mm`.
    pub fn value(self, kind: Kind, axis: Axis, drawn_mm: f64) -> f64 {
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
            Self::Swell => kind.swell_sign(),
            Self::ScaleInPlane => drawn_mm * f64::from(kind != Kind::Height),
            Self::ScaleZ => drawn_mm * f64::from(kind == Kind::Height),
            Self::XyDifference => between(axis, Axis::X, Axis::Y) * drawn_mm,
            Self::Skew => between(axis, Axis::D45, Axis::D135) * drawn_mm,
            Self::Sag => f64::from(kind == Kind::HorizontalBore && axis == Axis::Z),
        }
    }

    /// Its derivative by the drawn size.
    pub fn slope(self, kind: Kind, axis: Axis, drawn_mm: f64) -> f64 {
        match self {
            Self::Offset(_) | Self::Swell | Self::Sag => 0.0,
            Self::Scale
            | Self::ScaleOf(_)
            | Self::ScaleInPlane
            | Self::ScaleZ
            | Self::XyDifference
            | Self::Skew => self.value(kind, axis, 1.0),
            Self::SmallBore => -self.value(kind, axis, drawn_mm) / drawn_mm,
        }
    }
}

/// Half of a difference between two directions: +1/2 along one, -1/2 along the other.
fn between(axis: Axis, plus: Axis, minus: Axis) -> f64 {
    0.5 * (f64::from(axis == plus) - f64::from(axis == minus))
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
    /// Print to print (P): of a size that swells, where [`Correction::print_effects`] tells the parts.
    pub print: SpreadEstimate,
    /// Feature to feature within a print (F).
    pub feature: SpreadEstimate,
    /// Repeat readings of one feature (R); `None` when nothing was read twice.
    pub repeat: Option<SpreadEstimate>,
    /// Standard uncertainty of the caliper itself (C), which does not average away, mm.
    pub caliper_u_mm: f64,
}

/// How one print departs from the mean of all, part by part; each with its degrees of freedom.
///
/// A print that swells more does so on every wall: outside sizes grow, inside sizes close. It is not one
/// shift of all features.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PrintEffects {
    /// Standard deviation of the swell, mm per side: root mean square over what the fit thinks possible.
    pub swell_sd_mm: f64,
    /// Degrees of freedom of the swell's standard deviation.
    pub swell_dof: f64,
    /// Standard deviation of the scale in the layer plane, a ratio.
    pub shrink_sd: f64,
    /// Degrees of freedom of the scale's standard deviation.
    pub shrink_dof: f64,
    /// Standard deviation of all heights together, mm.
    pub height_sd_mm: f64,
    /// Degrees of freedom of the heights' standard deviation.
    pub height_dof: f64,
}

impl PrintEffects {
    /// What the print adds to the variance of one size, mm^2, each part with its degrees of freedom.
    pub fn variances_mm2(&self, kind: Kind, drawn_mm: f64) -> [(f64, f64); 3] {
        let in_plane = f64::from(kind != Kind::Height);
        [
            ((kind.swell_sign() * self.swell_sd_mm).powi(2), self.swell_dof),
            ((in_plane * drawn_mm * self.shrink_sd).powi(2), self.shrink_dof),
            (((1.0 - in_plane) * self.height_sd_mm).powi(2), self.height_dof),
        ]
    }
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

impl SetAside {
    /// The reason where the person decided.
    pub const BY_PERSON: &str = "set aside by --set-aside";

    /// Whether the person set it aside, and not the fit.
    pub fn is_by_person(&self) -> bool {
        self.reason == Self::BY_PERSON
    }
}

impl Correction {
    /// Adds what the person set aside of this setup, in the order of lines.
    fn add_set_aside(&mut self, by_person: &[SetAsideReading]) {
        let own = by_person.iter().filter(|aside| aside.setup == self.setup);
        self.set_aside.extend(own.map(|aside| SetAside {
            line: aside.line,
            reading_mm: aside.reading_mm,
            reason: SetAside::BY_PERSON.to_owned(),
        }));
        self.set_aside.sort_by_key(|aside| aside.line);
    }
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
    /// How prints differ, part by part, when the structured model was fitted; its covariance then holds
    /// what the measured prints' own swell and shrink add. `None`: least squares.
    pub print_effects: Option<PrintEffects>,
    /// What was set aside.
    pub set_aside: Vec<SetAside>,
    /// What a reader must know: what the data cannot tell, in plain words.
    pub warnings: Vec<String>,
}
