//! Variance components by restricted maximum likelihood: one random effect of groups, one residual.
//!
//! The residual variance has a closed form at a given ratio of the two, so one search over the ratio
//! does it. Its likelihood is looked at from a ratio of zero up, so a maximum at the boundary comes out
//! as a group variance of exactly zero.
//!
//! Source: Patterson and Thompson, Biometrika 58 (1971) 545; Bates et al., Journal of Statistical
//! Software 67 (2015) 1, for the profiled form.

use super::mixed::{Products, Reduced, Row, Solution};

/// A fitted model with one random effect.
#[derive(Clone, Debug)]
pub struct VarianceComponents {
    /// Variance between groups, zero at the boundary.
    pub group: f64,
    /// Variance within groups.
    pub residual: f64,
    /// The coefficients.
    pub coefficients: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<f64>,
    /// Best linear predictions of the groups' effects.
    pub group_effects: Vec<f64>,
    /// -2 times the restricted log likelihood.
    pub criterion: f64,
}

/// Fits `y = X b + u[group] + e`; `None` when coefficients are not separable or no residual is left.
pub fn variance_components(x: &[Vec<f64>], group: &[usize], y: &[f64]) -> Option<VarianceComponents> {
    variance_components_along(x, &vec![1.0; y.len()], group, y)
}

/// Fits `y = X b + z u[group] + e`: the group's effect in proportion to `z`.
pub fn variance_components_along(
    x: &[Vec<f64>],
    z: &[f64],
    group: &[usize],
    y: &[f64],
) -> Option<VarianceComponents> {
    let coefficients = x.first()?.len();
    let groups = group.iter().max()? + 1;
    let mut products = Products::new(coefficients, 1, groups);
    for (((x, z), group), y) in x.iter().zip(z).zip(group).zip(y) {
        products.add(Row { x, z: &[*z], group: *group, y: *y }, 1.0);
    }
    let free = vec![0.0; coefficients];
    let dof = products.rows() - f64::from(u32::try_from(coefficients).ok()?);
    if dof < 1.0 {
        return None;
    }
    let (mut reduced, mut solution) = (Reduced::default(), Solution::default());
    // At unit residual variance the evidence is -(sum of squares + determinants) / 2; with the variance
    // at its best value sum of squares / dof it becomes what is returned here.
    let mut at = |ratio: f64| -> Option<(f64, f64, Solution)> {
        products.reduce(&[ratio.sqrt()], &mut reduced);
        reduced.solve(&free, &mut solution).then_some(())?;
        let sum_of_squares = solution.squares;
        let determinants = -2.0 * solution.evidence_ln - sum_of_squares;
        let residual = sum_of_squares / dof;
        Some((determinants + dof + dof * residual.ln(), residual, solution.clone()))
    };
    let (mut low, mut high) = (0.0, 0.0);
    let mut best = at(0.0)?.0;
    for step in 0..=120 {
        let ratio = 1e-6 * 10f64.powf(f64::from(step) / 10.0);
        let criterion = at(ratio)?.0;
        if criterion < best {
            best = criterion;
            (low, high) = (ratio / 1.3, ratio * 1.3);
        }
    }
    while high - low > 1e-3 * high {
        let (third, two_thirds) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if at(third)?.0 < at(two_thirds)?.0 {
            high = two_thirds;
        } else {
            low = third;
        }
    }
    // A minimum is found by comparison to half the digits only; where the slope is zero, to most of them.
    let mut ratio = 0.5 * (low + high);
    for _ in 0..8 {
        let step = 1e-4;
        let (below, here, above) = (at(ratio * (1.0 - step))?.0, at(ratio)?.0, at(ratio * (1.0 + step))?.0);
        let curvature = above - 2.0 * here + below;
        if ratio > 0.0 && curvature > 0.0 {
            ratio *= 1.0 - 0.5 * step * (above - below) / curvature;
        }
    }
    let (criterion, residual, solution) = at(ratio)?;
    let covariance = solution.covariance().iter().map(|c| c * residual).collect();
    let effects = products.effects(&[ratio.sqrt()], &solution.mean);
    Some(VarianceComponents {
        group: ratio * residual,
        residual,
        covariance,
        group_effects: effects.iter().map(|effects| effects[0]).collect(),
        coefficients: solution.mean,
        criterion,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn batches(text: &str) -> VarianceComponents {
        let mut names: Vec<&str> = Vec::new();
        let (mut group, mut y) = (Vec::new(), Vec::new());
        for line in text.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let (batch, value) = line.split_once(',').unwrap();
            if !names.contains(&batch) {
                names.push(batch);
            }
            group.push(names.iter().position(|name| *name == batch).unwrap());
            y.push(value.trim().parse().unwrap());
        }
        variance_components(&vec![vec![1.0]; y.len()], &group, &y).unwrap()
    }

    fn assert_close(value: f64, expected: f64, relative: f64) {
        assert!((value - expected).abs() <= relative * expected.abs(), "{value} against {expected}");
    }

    /// Source: Davies and Goldsmith 1972, dyestuff yields of six batches; estimates published in Bates,
    /// lme4: Mixed-effects modeling with R, chapter 1 (REML 1764.05 and 2451.25, mean 1527.5 with
    /// standard error 19.383), more digits by R 4.2.2 lme4 1.1-31.
    #[test]
    fn variance_components_are_those_of_the_dyestuff_data() {
        let fit = batches(include_str!("../../data/published/dyestuff.csv"));
        assert_close(fit.group, 1764.05, 1e-6);
        assert_close(fit.residual, 2451.25, 1e-6);
        assert_close(fit.coefficients[0], 1527.5, 1e-12);
        assert_close(fit.covariance[0].sqrt(), 19.3834122, 1e-7);
        assert_close(fit.criterion, 319.654276842, 1e-9);
        let predicted = [
            -17.606851366879,
            0.391263363708,
            28.562225550712,
            -23.084538458797,
            56.733187737718,
            -44.995286826467,
        ];
        for (effect, expected) in fit.group_effects.iter().zip(predicted) {
            assert_close(*effect, expected, 1e-6);
        }
        // Negative control: maximum likelihood without the restriction gives 1388.33.
        assert!((fit.group - 1388.333).abs() > 300.0);
    }

    /// Source: Box and Tiao 1973, simulated data, lme4's Dyestuff2: the estimate is on the boundary.
    #[test]
    fn variance_components_stop_at_zero_for_the_dyestuff2_data() {
        let fit = batches(include_str!("../../data/published/dyestuff2.csv"));
        assert_eq!(fit.group, 0.0);
        assert_close(fit.residual, 13.8063096276, 1e-6);
        assert_close(fit.coefficients[0], 5.6656, 1e-10);
    }

    #[test]
    fn too_little_data_is_no_fit() {
        assert!(variance_components(&[vec![1.0]], &[0], &[3.0]).is_none());
        assert!(variance_components(&[], &[], &[]).is_none());
    }
}
