//! From what is known of printers to numbers for one setup: the priors at its spread of feature means.

use crate::stats::mixed::JointPrior;

use super::design::Part;
use super::lent::Lent;
use super::priors::{self, LogNormal, Prior};

/// One choice of the priors of a part's terms.
pub struct Choice {
    /// The precisions, term by term.
    pub precisions: Vec<f64>,
    /// Logarithm of its share of the weight.
    pub share_ln: f64,
    /// What other setups lend, in place of the precisions.
    pub joint: Option<JointPrior>,
}

/// The choices of the priors of a part's terms, given the spread of feature means; the widest last.
pub fn choices(part: &Part, spread_mm: f64, scale: f64) -> Vec<Choice> {
    let choice = |(own, xy): ((f64, f64), (f64, f64))| {
        let mut precisions = Vec::with_capacity(part.terms.len());
        fill(part, spread_mm, scale, (own.0, xy.0), &mut precisions);
        Choice { precisions, share_ln: (own.1 * xy.1).ln(), joint: None }
    };
    ratios(part).map(choice).collect()
}

/// The precisions of the middle one of the choices.
pub fn middle_choice(part: &Part, spread_mm: f64, scale: f64, into: &mut Vec<f64>) {
    let (own, xy) = ratios(part).nth(ratios(part).count() / 2).unwrap_or(((1.0, 1.0), (1.0, 1.0)));
    fill(part, spread_mm, scale, (own.0, xy.0), into);
}

/// What own offsets and the x/y difference may have over the spread, each with its share.
fn ratios(part: &Part) -> impl Iterator<Item = ((f64, f64), (f64, f64))> {
    const ONE: [(f64, f64); 1] = [(1.0, 1.0)];
    let has = |wanted: Prior| part.terms.iter().any(|term| priors::prior(*term) == wanted);
    let own: &[(f64, f64)] = if has(Prior::OwnOffset) { &priors::OWN_OFFSET_OVER_SPREAD } else { &ONE };
    let xy: &[(f64, f64)] =
        if has(Prior::XyDifference) { &priors::XY_DIFFERENCE_OVER_SPREAD_PER_MM } else { &ONE };
    own.iter().flat_map(move |own| xy.iter().map(move |xy| (*own, *xy)))
}

fn fill(part: &Part, spread_mm: f64, scale: f64, (own, xy): (f64, f64), into: &mut Vec<f64>) {
    let sds = part.terms.iter().map(|term| match priors::prior(*term) {
        Prior::Fixed { sd, .. } => sd,
        Prior::HoleOffset => priors::HOLE_OFFSET_OVER_SPREAD * spread_mm,
        Prior::OwnOffset => own * spread_mm,
        Prior::XyDifference => xy * spread_mm,
    });
    into.clear();
    into.extend(sds.map(|sd| (scale * sd).powi(-2)));
}

/// What is thought of how prints differ in one part.
#[derive(Clone, Copy, Debug)]
pub struct PrintPrior {
    /// The print-to-print spread, mm, or its ratio to feature to feature.
    pub spread: LogNormal,
    /// The power of the feature-to-feature spread that the ratio grows with; `None` when it is no ratio.
    pub over_feature: Option<f64>,
}

impl PrintPrior {
    /// The spread in mm for a value of it or of the ratio.
    pub fn sd(self, value: f64, feature_sd: f64) -> f64 {
        match self.over_feature {
            Some(power) => value * feature_sd * (feature_sd / priors::TYPICAL_FEATURE_SD_MM).powf(power),
            None => value,
        }
    }
}

/// What is thought of the spreads before they are averaged over.
pub struct Spreads {
    /// The spread of feature means about the fit, as the robust fit has it, mm.
    pub spread_mm: f64,
    /// What reading adds to the variance of a feature's mean, on average, mm^2.
    pub reading_variance_mm2: f64,
    /// Prior of each part's print-to-print spread.
    pub print: Vec<PrintPrior>,
    /// Multiplies the standard deviations of the priors on coefficients.
    pub prior_scale: f64,
    /// How many prints.
    pub prints: usize,
    /// What the person's other setups lend.
    pub lent: Option<Lent>,
}

impl Spreads {
    /// Logarithm of the prior density of the feature-to-feature spread: wide in the logarithm of the
    /// whole variance of a mean, so that what reading hides counts as little here as it shows.
    pub fn feature_density_ln(&self, feature_sd: f64) -> f64 {
        let feature = feature_sd * feature_sd;
        let whole = feature + self.reading_variance_mm2;
        let weak_ln = priors::SPREAD_MM.density_ln(whole.sqrt()) + (feature / whole).ln();
        self.lent.as_ref().map_or(weak_ln, |lent| lent.feature_density_ln(feature_sd, weak_ln))
    }
}
