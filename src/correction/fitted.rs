//! A correction together with what it was fitted to: what plots and reports show.

use crate::kind::{Axis, Kind};
use crate::readings::Name;

use super::Correction;
use super::Term;
use super::criticism::leverage::{Leverage, leverage};
use super::criticism::{Criticism, Row, criticise};
use super::first_layer::FirstLayerSpread;

/// A fitted correction and the points behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The correction.
    pub correction: Correction,
    /// One point a feature and print, in file order, those set aside included.
    pub points: Vec<FittedPoint>,
    /// Share of the deviations' variance about their mean that the model explains; `None` when the
    /// deviations do not vary.
    pub r_squared: Option<f64>,
    /// Residual standard deviation of the feature means, mm.
    pub residual_sd_mm: f64,
    /// How far the first layer stands out, where it was measured.
    pub first_layer: Option<FirstLayerSpread>,
    /// What speaks against it, the strongest first; the correction's warnings say it in words.
    pub criticism: Vec<Criticism>,
    /// The sizes that decide much of it by themselves, the strongest first.
    pub leverage: Vec<Leverage>,
}

impl Fit {
    /// Takes in what speaks against the fit, in words as well, and what decides it. `rows` are those used;
    /// `is_curve_tested`: bends of kinds were looked for elsewhere.
    pub(super) fn be_criticised(&mut self, rows: &[Row<'_>], terms: &[Term], is_curve_tested: bool) {
        self.criticism = criticise(rows, terms, is_curve_tested);
        self.correction.warnings.extend(self.criticism.iter().map(Criticism::sentence));
        self.leverage = leverage(rows, terms, is_curve_tested);
    }
}

/// The mean of the repeat readings of one feature of one print, against the model.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedPoint {
    /// Which coupon.
    pub coupon: Name,
    /// Which feature of it.
    pub feature: Name,
    /// What is measured.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// Which print, from 1.
    pub copy: u32,
    /// Line of its first reading.
    pub line: u64,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// Mean of its readings that were used, mm.
    pub measured_mm: f64,
    /// How many readings were used.
    pub count: u32,
    /// Measured less nominal, mm.
    pub deviation_mm: f64,
    /// The model's deviation at this size, mm.
    pub fitted_mm: f64,
    /// Measured less fitted size, mm.
    pub residual_mm: f64,
    /// Externally studentised residual; `None` when the point was not used.
    pub studentised: Option<f64>,
    /// How strongly the point pulls its own fitted value, 0 to 1; `None` when it was not used.
    pub leverage: Option<f64>,
    /// The whole point was set aside.
    pub set_aside: bool,
}
