//! Effective degrees of freedom of a sum of variances that are each known with their own.
//!
//! Source: Welch-Satterthwaite, JCGM 100:2008, G.4.1.

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

    #[test]
    fn what_is_stated_and_not_estimated_adds_no_doubt() {
        assert_eq!(effective([(1.0, f64::INFINITY), (0.0, 0.0)]), f64::INFINITY);
        assert_eq!(effective([(1.0, 5.0), (0.0, 0.0)]), 5.0);
    }
}
