//! Effective degrees of freedom of a sum of variances that are each known with their own.
//!
//! Source: Welch-Satterthwaite, JCGM 100:2008, G.4.1; Cochran and Cox, Experimental Designs, 2nd ed. 1957, 4.14.

use super::distribution::t_quantile;

/// Degrees of freedom of the sum of these variances, each with its own degrees of freedom; infinite when
/// no part is in doubt.
pub fn effective(parts: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let (mut sum, mut doubts) = (0.0, 0.0);
    for (variance, dof) in parts {
        sum += variance;
        if variance > 0.0 {
            doubts += variance * variance / dof;
        }
    }
    if doubts > 0.0 { sum * sum / doubts } else { f64::INFINITY }
}

/// The same by Cochran and Cox, whose 95 % quantile is the mean of the parts' own by their variances.
///
/// Careful where Satterthwaite's is a little bold: a part with two degrees of freedom beside one that is well known.
pub fn careful(parts: &[(f64, f64)]) -> f64 {
    let quantile = |dof: f64| t_quantile(0.975, dof);
    let used = || parts.iter().filter(|(variance, _)| *variance > 0.0);
    let sum: f64 = used().map(|(variance, _)| variance).sum();
    let wanted = used().map(|(variance, dof)| variance * quantile(*dof)).sum::<f64>() / sum;
    let (mut low, mut high) = (used().map(|part| part.1).fold(f64::INFINITY, f64::min), 1e6);
    if wanted.is_nan() || low >= high {
        return f64::INFINITY;
    }
    // The quantile falls with the degrees of freedom.
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if quantile(middle) > wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distribution::t_quantile;

    /// Source: JCGM 100:2008, G.4.1, the example after formula (G.2c): three inputs of 0.25, 0.57 and 0.82 per
    /// cent from 10, 5 and 15 observations give 1.03 per cent with 19.0 degrees of freedom, and 2.09 times
    /// that for 95 per cent (table G.2 at 19).
    #[test]
    fn degrees_of_freedom_are_those_of_the_guide() {
        let parts = [(0.25_f64, 9.0), (0.57, 4.0), (0.82, 14.0)].map(|(u, dof)| (u * u, dof));
        assert!((parts.iter().map(|(variance, _)| variance).sum::<f64>().sqrt() - 1.03).abs() < 0.005);
        let dof = effective(parts);
        assert!((dof - 19.0).abs() < 0.05, "{dof}");
        assert!((t_quantile(0.975, dof) - 2.09).abs() < 0.005);
        // Negative control: adding the degrees of freedom up gives 27.
        assert!((dof - 27.0).abs() > 5.0);
    }

    /// By hand: three quarters of the variance with 2 and a quarter with 20 degrees of freedom have the
    /// quantile 0.75 * 4.30265 + 0.25 * 2.08596 = 3.74848, above Satterthwaite's.
    #[test]
    fn the_careful_quantile_is_the_mean_of_the_parts_own() {
        let parts = [(3.0, 2.0), (1.0, 20.0)];
        assert!((t_quantile(0.975, careful(&parts)) - 3.74848).abs() < 1e-4);
        assert!(careful(&parts) < effective(parts));
        assert!((careful(&[(1.0, 4.0), (0.0, 9.0)]) - 4.0).abs() < 1e-9);
        assert_eq!(careful(&[(1.0, f64::INFINITY)]), f64::INFINITY);
    }

    #[test]
    fn what_is_stated_and_not_estimated_adds_no_doubt() {
        assert_eq!(effective([(1.0, f64::INFINITY), (0.0, 0.0)]), f64::INFINITY);
        assert_eq!(effective([(1.0, 5.0), (0.0, 0.0)]), 5.0);
    }
}
