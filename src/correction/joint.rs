//! The joint spread of later readings about their predictions: which errors they share.
//!
//! A reading of a later print differs from its prediction by
//!
//! ```text
//! coefficients   X C X'               shared by all, and by every later verification
//! past prints    P^2 / m, by kind     the mean effect of the m prints that were fitted; the structured
//!                                     model has it in its C
//! new prints     P^2, by kind         shared within a print
//! own            F^2 + R^2 / n        of each feature and its n readings
//! caliper        C^2                  shared by all
//! ```
//!
//! By least squares a print's effect goes by the sign of the swell on walls, and is another one on spans and
//! on heights; by the structured model it is a swell, a shrink in proportion to the size, and a height.
//! `PrintParts` is the one place that knows how prints differ.

use nalgebra::{DMatrix, SymmetricEigen};

use crate::kind::{Axis, Kind};
use crate::stats::dof;
use crate::stats::linked::{Column, Linked};

use super::Correction;

/// The finest that is told apart, mm: rounding to the usual caliper's step. A printer whose features and
/// readings never differ is not known any better.
pub(super) const FINEST_MM: f64 = 0.01 / 3.464; // step / sqrt(12)

/// One later feature, on whichever print.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LaterFeature {
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// What was drawn, mm.
    pub drawn_mm: f64,
    /// Which print.
    pub print: u32,
    /// How many readings were averaged.
    pub readings: u32,
}

/// Where a shared error comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The fitted coefficients.
    Coefficients,
    /// What the measured prints had in common by chance.
    PastPrints,
    /// The new print itself.
    NewPrint,
    /// The caliper.
    Caliper,
}

/// How later readings spread about their predictions.
#[derive(Clone, Debug, PartialEq)]
pub struct JointSpread {
    /// The covariance, by parts.
    pub linked: Linked,
    /// Where each of its columns comes from.
    pub origins: Vec<Origin>,
}

/// The groups whose variances were estimated together.
pub(super) const FEATURES: usize = 0;
pub(super) const CALIPER: usize = 1;
/// The first of three.
pub(super) const PRINTS: usize = 2;

/// How one print departs from the mean of all, part by part. Least squares: walls by their sign, spans,
/// heights. Structured: swell, shrink, heights.
struct PrintParts {
    /// Degrees of freedom of each part's spread.
    dofs: [f64; 3],
    /// What the coefficients' covariance leaves out of the measured prints' mean effect.
    past_share: f64,
}

impl PrintParts {
    fn of(correction: &Correction) -> Self {
        match &correction.print_effects {
            // The covariance of the structured model holds what the measured prints leave.
            Some(effects) => {
                Self { dofs: [effects.swell_dof, effects.shrink_dof, effects.height_dof], past_share: 0.0 }
            }
            None => {
                let dof = correction.spread.print.dof.unwrap_or(f64::INFINITY);
                Self { dofs: [dof; 3], past_share: 1.0 / f64::from(correction.prints.max(1)) }
            }
        }
    }

    /// What one standard deviation of each part adds to a size, mm.
    fn loadings(correction: &Correction, kind: Kind, drawn_mm: f64) -> [f64; 3] {
        match &correction.print_effects {
            Some(effects) => [
                effects.swell_sd_mm * kind.swell_sign() * scale_over_rms(effects.swell_dof),
                effects.shrink_sd
                    * drawn_mm
                    * f64::from(kind != Kind::Height)
                    * scale_over_rms(effects.shrink_dof),
                effects.height_sd_mm * f64::from(kind == Kind::Height) * scale_over_rms(effects.height_dof),
            ],
            None => {
                let sd_mm = correction.spread.print.sd_mm;
                [
                    sd_mm * kind.swell_sign() / 2.0,
                    sd_mm * f64::from(kind == Kind::Span),
                    sd_mm * f64::from(kind == Kind::Height),
                ]
            }
        }
    }
}

/// From a root mean square over all that a spread may be, as the structured model states it, to the scale
/// of the t distribution with so many degrees of freedom; see [`super::apply`].
pub(super) fn scale_over_rms(dof: f64) -> f64 {
    let log_variance = 2.0 / (dof - 1.0).max(0.2);
    ((-log_variance / 2.0).exp() / (1.0 + log_variance / 2.0)).sqrt()
}

impl Correction {
    /// How the readings of these features spread about their predictions.
    pub fn joint_spread(&self, features: &[LaterFeature]) -> JointSpread {
        let repeat_mm2 = self.spread.repeat.map_or(0.0, |repeat| repeat.sd_mm.powi(2));
        let feature_dof = self.spread.feature.dof.unwrap_or(self.dof);
        let scale = if self.print_effects.is_some() { scale_over_rms(feature_dof) } else { 1.0 };
        let feature_mm2 = (scale * self.spread.feature.sd_mm).powi(2);
        let own = |feature: &LaterFeature| {
            let read_mm2 = repeat_mm2 / f64::from(feature.readings.max(1));
            (feature_mm2 + read_mm2).max(FINEST_MM * FINEST_MM)
        };
        let parts = PrintParts::of(self);
        let mut dofs = vec![feature_dof, f64::INFINITY];
        dofs.extend(parts.dofs);
        let mut joint = JointSpread {
            linked: Linked { own: features.iter().map(own).collect(), columns: Vec::new(), dofs },
            origins: Vec::new(),
        };
        self.add_coefficients(&mut joint, features);
        joint.add(Origin::Caliper, CALIPER, vec![self.spread.caliper_u_mm; features.len()]);
        let mut prints: Vec<u32> = features.iter().map(|feature| feature.print).collect();
        prints.sort_unstable();
        prints.dedup();
        for part in 0..parts.dofs.len() {
            let loading = |f: &LaterFeature| PrintParts::loadings(self, f.kind, f.drawn_mm)[part];
            let past = |f: &LaterFeature| loading(f) * parts.past_share.sqrt();
            joint.add(Origin::PastPrints, PRINTS + part, features.iter().map(past).collect());
            for print in &prints {
                let own = |f: &LaterFeature| if f.print == *print { loading(f) } else { 0.0 };
                joint.add(Origin::NewPrint, PRINTS + part, features.iter().map(own).collect());
            }
        }
        joint
    }

    /// The covariance of the coefficients as columns: its eigenvectors, each by the root of its value.
    fn add_coefficients(&self, joint: &mut JointSpread, features: &[LaterFeature]) {
        let size = self.terms.len();
        let covariance = DMatrix::from_fn(size, size, |i, j| self.covariance[i][j]);
        let eigen = SymmetricEigen::new(covariance);
        for (value, vector) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
            let loading = |feature: &LaterFeature| {
                let term = |at: usize| self.terms[at].value(feature.kind, feature.axis, feature.drawn_mm);
                // Rounding can leave a value just below 0.
                value.max(0.0).sqrt() * (0..size).map(|at| vector[at] * term(at)).sum::<f64>()
            };
            joint.add(Origin::Coefficients, FEATURES, features.iter().map(loading).collect());
        }
    }
}

impl JointSpread {
    fn add(&mut self, origin: Origin, group: usize, loadings: Vec<f64>) {
        if loadings.iter().any(|loading| *loading != 0.0) {
            self.linked.columns.push(Column { group, loadings });
            self.origins.push(origin);
        }
    }

    /// Variance of a weighted sum of the differences that comes from these origins, mm^2; with
    /// `with_own`, from each feature's own spread besides.
    pub fn variance_from(&self, weights: &[f64], origins: &[Origin], with_own: bool) -> f64 {
        let (own, shared) = self.linked.variances_of_sum(weights);
        let from = shared.iter().zip(&self.origins).filter(|(_, origin)| origins.contains(origin));
        from.map(|(variance, _)| variance).sum::<f64>() + if with_own { own } else { 0.0 }
    }

    /// Effective degrees of freedom of the same variance, by Welch and Satterthwaite.
    pub fn dof_from(&self, weights: &[f64], origins: &[Origin], with_own: bool) -> f64 {
        let (own, shared) = self.linked.variances_of_sum(weights);
        let mut by_group = vec![0.0; self.linked.dofs.len()];
        by_group[FEATURES] += if with_own { own } else { 0.0 };
        for ((variance, origin), column) in shared.iter().zip(&self.origins).zip(&self.linked.columns) {
            if origins.contains(origin) {
                by_group[column.group] += variance;
            }
        }
        dof::effective(by_group.into_iter().zip(self.linked.dofs.iter().copied()))
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn known() -> Correction {
        let path = Path::new("tests/data/known.correction.toml");
        let mut known =
            Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap();
        for at in 0..known.terms.len() {
            known.covariance[at][at] = 1e-5;
        }
        known
    }

    fn later(kind: Kind, drawn_mm: f64, print: u32) -> LaterFeature {
        LaterFeature { kind, axis: Axis::Round, drawn_mm, print, readings: 1 }
    }

    /// The same variances as one prediction at a time gives: shift of the new print and all.
    #[test]
    fn each_variance_is_that_of_its_prediction() {
        let known = known();
        let features = [later(Kind::Bore, 8.0, 1), later(Kind::Pin, 5.0, 1), later(Kind::Span, 20.0, 2)];
        let joint = known.joint_spread(&features);
        for (at, feature) in features.iter().enumerate() {
            let sd = known.predict(feature.kind, feature.axis, feature.drawn_mm).unwrap().sd_mm;
            assert!((joint.linked.variance(at).sqrt() - sd).abs() < 1e-12, "{feature:?}");
        }
    }

    #[test]
    fn a_print_moves_walls_by_the_sign_of_the_swell_and_no_other_print() {
        let joint = known().joint_spread(&[
            later(Kind::Bore, 8.0, 1),
            later(Kind::Pin, 8.0, 1),
            later(Kind::Pin, 8.0, 2),
        ]);
        let new = |weights: [f64; 3]| joint.variance_from(&weights, &[Origin::NewPrint], false);
        assert!((new([1.0, -1.0, 0.0]) - 4.0 * 0.0004).abs() < 1e-12);
        assert!(new([1.0, 1.0, 0.0]).abs() < 1e-12);
        assert!((new([0.0, 1.0, 1.0]) - 2.0 * 0.0004).abs() < 1e-12);
        let past = joint.variance_from(&[0.0, 1.0, 1.0], &[Origin::PastPrints], false);
        assert!((past - 4.0 * 0.0004 / 3.0).abs() < 1e-12, "{past}");
    }

    /// The parts of the structured model: root mean squares, brought to the scale of their t distributions.
    #[test]
    fn a_structured_print_swells_and_shrinks_and_its_past_is_in_the_coefficients() {
        let mut structured = known();
        structured.print_effects = Some(crate::correction::PrintEffects {
            swell_sd_mm: 0.01,
            swell_dof: 9.0,
            shrink_sd: 0.001,
            shrink_dof: 1e6,
            height_sd_mm: 0.0,
            height_dof: 1e6,
        });
        let joint = structured.joint_spread(&[later(Kind::Bore, 8.0, 1), later(Kind::Outer, 20.0, 1)]);
        assert!(joint.origins.iter().all(|origin| *origin != Origin::PastPrints));
        let new = |weights: [f64; 2]| joint.variance_from(&weights, &[Origin::NewPrint], false);
        let typical = (-0.125_f64).exp() / 1.125;
        for (weights, swell, shrink) in
            [([1.0, 0.0], -0.02, 0.008), ([0.0, 1.0], 0.02, 0.02), ([1.0, 1.0], 0.0, 0.028)]
        {
            let expected: f64 = typical * swell * swell + shrink * shrink;
            assert!((new(weights) - expected).abs() < 1e-8, "{weights:?}: {} {expected}", new(weights));
        }
    }

    #[test]
    fn degrees_of_freedom_are_those_of_the_part_that_counts() {
        let joint = known().joint_spread(&[later(Kind::Pin, 8.0, 1)]);
        assert_eq!(joint.dof_from(&[1.0], &[Origin::NewPrint], false), 4.0);
        assert_eq!(joint.dof_from(&[1.0], &[], true), 20.0);
        assert_eq!(joint.dof_from(&[1.0], &[Origin::Caliper], false), f64::INFINITY);
    }
}
