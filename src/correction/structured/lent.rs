//! What a person's other setups lend to a new one, as priors beside the weak ones of [`priors`].
//!
//! A setup may be like the others, unlike them in what nozzle, filament and profile decide, or not like them at
//! all. So what they lend is one choice among the priors, the same with those coefficients three times as
//! wide another, and the weak ones stay as the last: the readings weigh them by their likelihood. Where the
//! new setup is unlike the others the wider ones win, and what was lent costs little.
//!
//! Source: Schmidli et al., Robust meta-analytic-predictive priors, Biometrics 70 (2014) 1023.

use nalgebra::DMatrix;

use crate::correction::Term;
use crate::kind::Kind;
use crate::stats::mixed::JointPrior;

use super::choices::Choice;
use super::design::Part;
use super::priors::{self, LogNormal, Prior};

/// What other setups say of a new one.
#[derive(Clone, Debug, PartialEq)]
pub struct Lent {
    /// The terms that they say something of.
    pub terms: Vec<Term>,
    /// Expected coefficients of a new setup, in the order of the terms.
    pub mean: Vec<f64>,
    /// Their covariance over new setups, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// The chance, before anything is read, that a new setup is like the others.
    pub chance: f64,
    /// Feature-to-feature spread, mm.
    pub feature: Option<LogNormal>,
    /// Print-to-print spread of a size that swells, mm.
    pub print: Option<LogNormal>,
    /// Print-to-print spread of all heights, mm.
    pub height: Option<LogNormal>,
}

/// How much wider than lent the prior of what [`may_differ`] is for a setup that is unlike the others in it, with
/// its share of the chance of being like them in the rest. Judged: without it, a coefficient three or four
/// standard deviations out is dragged along before the weak priors win, which are so wide that they explain
/// nothing well; and with one print it is taken for that print's own. A small share would not do: what the
/// others say of the rest must not speak against it.
const WIDER: [(f64, f64); 2] = [(1.0, 0.5), (3.0, 0.5)];

/// What another nozzle, filament or profile changes. How x differs from y, how far they are from square and
/// what a kind has of its own belongs to the printer: were it widened as well, a setup that is like the
/// others there would seem like them in all.
fn may_differ(term: Term) -> bool {
    matches!(
        term,
        Term::Swell
            | Term::Scale
            | Term::ScaleInPlane
            | Term::ScaleZ
            | Term::SmallBore
            | Term::Sag
            | Term::Offset(Kind::Bore | Kind::HorizontalBore | Kind::Height)
    )
}

impl Lent {
    /// Logarithm of the density in the logarithm of the feature-to-feature spread: the lent one and the
    /// weak one, each with its chance.
    pub(super) fn feature_density_ln(&self, feature_sd: f64, weak_ln: f64) -> f64 {
        let Some(lent) = self.feature else { return weak_ln };
        let lent_ln = lent.density_ln(feature_sd) - lent.ln_sd.ln() + self.chance.ln();
        let weak_ln = weak_ln - priors::SPREAD_MM.ln_sd.ln() + (1.0 - self.chance).ln();
        let most = lent_ln.max(weak_ln);
        most + ((lent_ln - most).exp() + (weak_ln - most).exp()).ln()
    }
}

/// The weak choices of a part's priors with the lent ones before them; `means` are those that the part's
/// observations are taken less of.
pub(super) fn with_lent(part: &Part, weak: Vec<Choice>, means: &[f64], lent: Option<&Lent>) -> Vec<Choice> {
    let Some(lent) = lent else { return weak };
    let places: Vec<Option<usize>> =
        part.terms.iter().map(|term| lent.terms.iter().position(|known| known == term)).collect();
    if places.iter().all(Option::is_none) {
        return weak;
    }
    let size = part.terms.len();
    let own: Vec<usize> = (0..size).filter(|i| places[*i].is_some()).collect();
    let place = |i: usize| places[own[i]].unwrap_or(0);
    let covariance = DMatrix::from_fn(own.len(), own.len(), |i, j| lent.covariance[place(i)][place(j)]);
    let joint = |choice: &Choice, inverse: &DMatrix<f64>| -> Option<JointPrior> {
        let mut precision = vec![0.0; size * size];
        let mut mean = vec![0.0; size];
        for (i, value) in choice.precisions.iter().enumerate() {
            precision[i * size + i] = *value;
        }
        for i in 0..own.len() {
            mean[own[i]] = lent.mean[place(i)] - means[own[i]];
            for j in 0..own.len() {
                precision[own[i] * size + own[j]] = inverse[(i, j)];
            }
        }
        JointPrior::new(mean, precision)
    };
    // Of weak choices that differ in nothing but lent terms, one is enough.
    let mut lent_choices: Vec<Choice> = Vec::new();
    for (wider, chance) in WIDER {
        let mut widened = covariance.clone();
        for i in (0..own.len()).filter(|i| may_differ(part.terms[own[*i]])) {
            widened[(i, i)] *= wider * wider;
        }
        let Some(inverse) = widened.cholesky().map(|cholesky| cholesky.inverse()) else { return weak };
        for choice in &weak {
            let Some(joint) = joint(choice, &inverse) else { return weak };
            let share_ln = choice.share_ln + (chance * lent.chance).ln();
            match lent_choices.iter_mut().find(|known| known.joint.as_ref() == Some(&joint)) {
                Some(known) => known.share_ln = (known.share_ln.exp() + share_ln.exp()).ln(),
                None => lent_choices.push(Choice {
                    precisions: choice.precisions.clone(),
                    share_ln,
                    joint: Some(joint),
                }),
            }
        }
    }
    // The widest of the weak ones stays last.
    lent_choices.extend(weak.into_iter().map(|mut choice| {
        choice.share_ln += (1.0 - lent.chance).ln();
        choice
    }));
    lent_choices
}

/// Mean and widest standard deviation of a term's weak prior, where features spread by `spread_mm`; for
/// those of which the data choose the width, the root mean square over the choices.
pub fn weak(term: Term, spread_mm: f64) -> (f64, f64) {
    let mixed = |choices: &[(f64, f64)]| {
        choices.iter().map(|(ratio, share)| ratio * ratio * share).sum::<f64>().sqrt() * spread_mm
    };
    match priors::prior(term) {
        Prior::Fixed { mean, sd } => (mean, sd),
        Prior::HoleOffset => (0.0, priors::HOLE_OFFSET_OVER_SPREAD * spread_mm),
        Prior::OwnOffset => (0.0, mixed(&priors::OWN_OFFSET_OVER_SPREAD)),
        Prior::XyDifference => (0.0, mixed(&priors::XY_DIFFERENCE_OVER_SPREAD_PER_MM)),
    }
}
