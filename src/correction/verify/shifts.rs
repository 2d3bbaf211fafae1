//! A shift that features have in common, against the one direction that it would move them in.
//!
//! A weighted mean of the differences has a variance of parts that are each in doubt: how prints differ, for
//! the new prints and for those that were fitted; how features do, with what the coefficients have of it;
//! and the caliper's. What the measured prints left in the coefficients is as doubtful as how prints differ,
//! and goes with it. The chance of as large a shift is averaged over the doubt ([`doubtful_sum`]); one
//! direction, tested by itself, is noticed where a test of all directions together is blind.

use crate::correction::Correction;
use crate::correction::joint::{FEATURES, JointSpread, Origin, PRINTS, scale_over_rms};
use crate::stats::distribution::t_quantile;
use crate::stats::doubtful_sum::{self, Part};

use super::Shift;

/// Later prints whose shifts are asked for.
pub(super) struct Shifted<'a> {
    pub correction: &'a Correction,
    /// Their spread as the correction states it.
    pub stated: &'a JointSpread,
    /// The same with what was learnt since.
    pub joint: &'a JointSpread,
}

/// The variance of a weighted mean, by where it comes from, mm^2.
struct Variances {
    /// Of the new prints and of the fitted ones: how prints differ, part by part.
    prints: [(f64, f64); 3],
    coefficients: f64,
    own: f64,
    caliper: f64,
}

impl Shifted<'_> {
    /// The weighted mean of the differences as a shift.
    pub fn by(&self, weights: &[f64], differences: &[f64]) -> Shift {
        let shift_mm: f64 = differences.iter().zip(weights).map(|(d, weight)| d * weight).sum();
        let of = self.variances(weights);
        let dofs = &self.joint.linked.dofs;
        let (new, past) = of.prints.iter().fold((0.0, 0.0), |sums, one| (sums.0 + one.0, sums.1 + one.1));
        let mut parts = vec![
            Part::estimated(of.coefficients + of.own, dofs[FEATURES]),
            Part::estimated(of.caliper, f64::INFINITY),
        ];
        for (at, (new, past)) in of.prints.iter().enumerate() {
            parts.push(Part::estimated(new + past, dofs[PRINTS + at]));
        }
        let measured = [Origin::Caliper];
        let sd = self.joint.variance_from(weights, &measured, true).sqrt();
        Shift {
            shift_mm,
            half_width_mm: t_quantile(0.975, self.joint.dof_from(weights, &measured, true)) * sd,
            usual_mm: doubtful_sum::limit(&parts, 0.05),
            shared_sd_mm: (of.coefficients + past + of.caliper).sqrt(),
            own_sd_mm: (new + of.own).sqrt(),
            p_value: doubtful_sum::two_sided(&parts, shift_mm),
        }
    }

    fn variances(&self, weights: &[f64]) -> Variances {
        let (own, _) = self.joint.linked.variances_of_sum(weights);
        let from = |origin| self.joint.variance_from(weights, &[origin], false);
        let mut prints = [(0.0, 0.0); 3];
        for (at, (new, past)) in prints.iter_mut().enumerate() {
            *new = of_group(self.joint, weights, Origin::NewPrint, PRINTS + at).0;
            *past = of_group(self.joint, weights, Origin::PastPrints, PRINTS + at).0;
        }
        let mut coefficients = from(Origin::Coefficients);
        if self.correction.print_effects.is_some() {
            // Root mean squares of what the fitted prints left, as they stand in the coefficients.
            let fitted = f64::from(self.correction.prints.max(1));
            let left = |at: usize| {
                let one = of_group(self.stated, weights, Origin::NewPrint, PRINTS + at).1;
                one / scale_over_rms(self.stated.linked.dofs[PRINTS + at]).powi(2) / fitted
            };
            let all: f64 = (0..3).map(left).sum();
            let shared = all.min(coefficients);
            coefficients -= shared;
            for (at, (_, past)) in prints.iter_mut().enumerate().filter(|_| all > 0.0) {
                let now = of_group(self.joint, weights, Origin::NewPrint, PRINTS + at).1 / fitted;
                *past = now * shared / all;
            }
        }
        Variances { prints, coefficients, own, caliper: from(Origin::Caliper) }
    }
}

/// The variance that the columns of a group add to a weighted sum: each by itself, and as if all were one.
fn of_group(joint: &JointSpread, weights: &[f64], origin: Origin, group: usize) -> (f64, f64) {
    let columns = joint.origins.iter().zip(&joint.linked.columns);
    let of_group = columns.filter(|(of, column)| **of == origin && column.group == group);
    let sums = of_group.map(|(_, c)| c.loadings.iter().zip(weights).map(|(a, b)| a * b).sum::<f64>());
    let (squares, sum) = sums.fold((0.0, 0.0), |(squares, all), sum| (squares + sum * sum, all + sum));
    (squares, sum * sum)
}
