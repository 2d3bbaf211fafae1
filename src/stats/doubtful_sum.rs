//! A normal sum of which the variance is in doubt: its parts are estimates.
//!
//! Each part has a variance whose logarithm is normal about that of its median, `ln v = ln m + l u` with u
//! standard normal, and one u for all: where one part is larger than thought the others are as well, which
//! is the careful way to add doubts. Given u the sum is normal with variance `sum m exp(l u)`; tails are
//! averaged over u.
//!
//! A variance estimated on `dof` degrees of freedom has `l^2 = 2 / (dof - 1)` and the median
//! `s^2 (1 + l^2 / 2)`; with one part the limits are then Student's to 3 % at p = 0.05 and 5 % at
//! p = 0.01 (from 5 degrees of freedom). Where what is thought of a spread is log-normal from the start, as of a printer that was
//! seen once, Student t with matching degrees of freedom has tails that are too long: 3.4 in place of 3.1
//! standard deviations at p = 0.015 and `l = 0.9`.
//!
//! Source: scale mixtures of normals, Andrews and Mallows, Journal of the Royal Statistical Society B 36
//! (1974) 99; the logarithm of a chi-square variance, Bartlett and Kendall, Supplement to the Journal of the
//! Royal Statistical Society 8 (1946) 128.

use super::distribution::{t_below, t_density};

/// One variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Median of what it may be.
    pub median: f64,
    /// Variance of its logarithm; 0 when it is known.
    pub ln_variance: f64,
}

impl Part {
    /// A variance estimated on so many degrees of freedom; infinite: it is known.
    pub fn estimated(variance: f64, dof: f64) -> Self {
        let ln_variance = ln_variance(dof);
        Self { median: variance * (1.0 + ln_variance / 2.0), ln_variance }
    }
}

/// Variance of the logarithm of a variance that was estimated on so many degrees of freedom:
/// trigamma(dof / 2), to a per cent from 3 up.
pub fn ln_variance(dof: f64) -> f64 {
    2.0 / (dof - 1.0).max(0.2)
}

/// Steps of the trapezoidal sum each way, half a standard deviation apart, at which it is right to 1e-8.
const STEPS: i32 = 12;

/// The chance that the sum of these parts lies beyond `size`, either way.
pub fn two_sided(parts: &[Part], size: f64) -> f64 {
    let (mut all, mut beyond) = (0.0, 0.0);
    for step in -STEPS..=STEPS {
        let u = f64::from(step) / 2.0;
        let weight = t_density(u, f64::INFINITY);
        let variance: f64 = parts.iter().map(|part| part.median * (part.ln_variance.sqrt() * u).exp()).sum();
        all += weight;
        if variance > 0.0 {
            beyond += weight * 2.0 * t_below(-size.abs() / variance.sqrt(), f64::INFINITY);
        }
    }
    beyond / all
}

/// What the sum exceeds, either way, with this chance.
pub fn limit(parts: &[Part], chance: f64) -> f64 {
    let largest: f64 = parts.iter().map(|part| part.median * (6.0 * part.ln_variance.sqrt()).exp()).sum();
    let (mut low, mut high) = (0.0, 10.0 * largest.sqrt());
    // To a part in 10^12 of where it can lie.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if two_sided(parts, middle) > chance {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distribution::t_quantile;

    #[test]
    fn a_known_variance_gives_the_normal() {
        let parts = [Part { median: 3.0, ln_variance: 0.0 }, Part::estimated(1.0, f64::INFINITY)];
        assert!((two_sided(&parts, 2.0 * 1.959_963_985) - 0.05).abs() < 1e-9);
        assert!((limit(&parts, 0.05) - 2.0 * 1.959_963_985).abs() < 1e-8);
        assert_eq!(limit(&[], 0.05), 0.0);
    }

    /// Source: Student t table.
    #[test]
    fn one_estimated_variance_gives_student() {
        for dof in [5.0, 9.0, 20.0] {
            for (p, within) in [(0.05, 0.03), (0.01, 0.05)] {
                let table = t_quantile(1.0 - p / 2.0, dof);
                let found = limit(&[Part::estimated(1.0, dof)], p);
                assert!((found / table - 1.0).abs() < within, "{dof} {p}: {found} {table}");
            }
        }
        // Negative control: the variance taken for known.
        assert!(t_quantile(0.975, f64::INFINITY) / t_quantile(0.975, 9.0) < 0.9);
    }

    /// Against numpy's Gauss-Hermite sum of 41 points, by root finding with scipy: ln sd of the standard
    /// deviation 0.35 and 0.45.
    #[test]
    fn a_log_normal_spread_has_the_tails_of_its_mixture() {
        for (ln_sd, at) in [(0.35_f64, [(0.05, 2.30), (0.015, 3.13)]), (0.45, [(0.05, 2.52), (0.015, 3.58)])]
        {
            for (p, expected) in at {
                let part = Part { median: 1.0, ln_variance: 4.0 * ln_sd * ln_sd };
                let found = limit(&[part], p);
                assert!((found - expected).abs() < 0.006, "{ln_sd} {p}: {found}");
            }
        }
    }
}
