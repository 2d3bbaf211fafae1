//! The studentised range: how far the largest and the smallest of several means lie apart by chance, in
//! standard errors that are themselves estimates.
//!
//! ```text
//! range of k normals     P(w) = k * integral of phi(z) (Phi(z) - Phi(z - w))^(k - 1) dz
//! over its estimate s    P(q) = integral of P(q s) f(s) ds    s^2 = chi-square / dof
//! ```
//!
//! Both integrals are of smooth functions that vanish at both ends, which plain sums at even steps add up to
//! nearly all digits; the outer over ln s, where few degrees of freedom make no corner. Good to eight digits.
//! statrs has no such distribution.
//!
//! Source: H. L. Harter, Annals of Mathematical Statistics 31 (1960) 1122.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

use super::distribution::t_below;

/// Degrees of freedom from which the spread counts as known.
const AS_GOOD_AS_KNOWN: f64 = 1e5;

/// Normal values beyond this are left out: 1e-15 of them.
const NORMAL_END: f64 = 8.0;

/// Steps of both sums. Halving them changes no digit of the ten that are tested.
const NORMAL_STEP: f64 = 0.25;
const SPREAD_STEP: f64 = 0.5; // in standard deviations of ln s

/// The chance that the range of `k` standard normal values is below `w`.
fn range_below(w: f64, k: f64) -> f64 {
    let normal = Normal::standard();
    if w <= 0.0 {
        return 0.0;
    }
    let steps = (NORMAL_END / NORMAL_STEP).round() as i32;
    let sum: f64 = (-steps..=steps)
        .map(|step| {
            let z = NORMAL_STEP * f64::from(step);
            let density = (-0.5 * z * z).exp();
            density * (normal.cdf(z) - normal.cdf(z - w)).max(0.0).powf(k - 1.0)
        })
        .sum();
    (k * NORMAL_STEP * sum / std::f64::consts::TAU.sqrt()).clamp(0.0, 1.0)
}

/// The chance that the studentised range of `groups` means with `dof` degrees of freedom exceeds `q`.
///
/// 1 with fewer than two groups or less than one degree of freedom, which tells nothing.
pub fn above(q: f64, groups: usize, dof: f64) -> f64 {
    if groups < 2 || q.is_nan() || dof.is_nan() || dof < 1.0 || q <= 0.0 {
        return 1.0;
    }
    if groups == 2 {
        // The range of two is the difference of two.
        return 2.0 * t_below(-q / std::f64::consts::SQRT_2, dof);
    }
    let k = groups as f64;
    if dof >= AS_GOOD_AS_KNOWN {
        return 1.0 - range_below(q, k);
    }
    let constant = std::f64::consts::LN_2 + 0.5 * dof * (0.5 * dof).ln() - ln_gamma(0.5 * dof);
    // Density of ln s.
    let density = |t: f64| (constant + dof * t - 0.5 * dof * (2.0 * t).exp()).exp();
    let low = -36.0 / dof - 9.0 / (2.0 * dof).sqrt();
    let high = (1.0 + 9.0 / dof.sqrt()).ln();
    let step = SPREAD_STEP * (2.0 * dof).sqrt().recip().min(0.5);
    let steps = ((high - low) / step).ceil() as u32;
    let sum: f64 = (0..=steps)
        .map(|number| low + step * f64::from(number))
        .map(|t| density(t) * (1.0 - range_below(q * t.exp(), k)))
        .sum();
    (step * sum).clamp(0.0, 1.0)
}

/// The value that the studentised range stays below with probability `p`, between 0 and 1.
///
/// Infinite where nothing is known of the spread.
pub fn quantile(p: f64, groups: usize, dof: f64) -> f64 {
    if groups < 2 || dof.is_nan() || dof < 1.0 || p >= 1.0 {
        return f64::INFINITY;
    }
    if p <= 0.0 {
        return 0.0;
    }
    let wanted = 1.0 - p;
    let (mut low, mut high) = (0.0, 4.0);
    while above(high, groups, dof) > wanted && high < 1e6 {
        (low, high) = (high, 2.0 * high);
    }
    // ln of the tail against ln q is nearly straight: false position, the end that stays pulled in (Illinois).
    let miss = |q: f64| (above(q, groups, dof) / wanted).max(f64::MIN_POSITIVE).ln();
    low = low.max(1e-3 * high);
    let (mut at_low, mut at_high) = (miss(low), miss(high));
    let mut middle = high;
    for _ in 0..60 {
        let share = at_low / (at_low - at_high);
        let next = if share.is_finite() { low * (high / low).powf(share) } else { 0.5 * (low + high) };
        let done = (next - middle).abs() < 1e-10 * next;
        middle = next;
        let at_middle = miss(middle);
        if done || at_middle == 0.0 || high - low < 1e-10 * high {
            break;
        }
        if at_middle > 0.0 {
            (low, at_low, at_high) = (middle, at_middle, 0.5 * at_high);
        } else {
            (high, at_high, at_low) = (middle, at_middle, 0.5 * at_low);
        }
    }
    middle
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: scipy 1.17.1 (`studentized_range.ppf`), whose values agree with Harter's table of 1960 and with
    /// those of the texts to the digits printed there (3.88, 4.23, 8.33, 4.82, 3.31).
    #[test]
    fn quantiles_are_those_of_the_tables() {
        for (groups, dof, expected) in [
            (2, 10.0, [2.5632071, 3.15106418, 4.4820284]),
            (3, 10.0, [3.27030841, 3.87677675, 5.27016154]),
            (5, 20.0, [3.73640282, 4.23185675, 5.29325252]),
            (3, 2.0, [5.73264895, 8.33078265, 19.01893599]),
            (10, 30.0, [4.38060653, 4.82414129, 5.75625491]),
            (4, 1.5, [8.96772545, 14.40883848, 42.42293748]),
            (3, f64::INFINITY, [2.90238021, 3.31449316, 4.12030321]),
            (3, 4.3, [3.88252279, 4.88081289, 7.69447383]),
        ] {
            for (p, expected) in [0.90, 0.95, 0.99].into_iter().zip(expected) {
                let got = quantile(p, groups, dof);
                assert!((got / expected - 1.0).abs() < 2e-7, "{groups} {dof} {p}: {got} {expected}");
            }
        }
        // Negative control: one group fewer.
        assert!((quantile(0.95, 2, 10.0) - 3.877).abs() > 0.5);
    }

    /// Source: the same program's tail areas.
    #[test]
    fn tail_areas_are_those_of_another_program() {
        for (groups, dof, expected) in [
            (2, 10.0, 0.03282975398653054),
            (3, 10.0, 0.07710331083841038),
            (8, 6.0, 0.346964438262491),
            (20, 120.0, 0.605030076850329),
            (4, 1.5, 0.35324507463003774),
            (3, f64::INFINITY, 0.03555704186316044),
        ] {
            let got = above(3.5, groups, dof);
            assert!((got - expected).abs() < 1e-8, "{groups} {dof}: {got} {expected}");
        }
    }

    #[test]
    fn what_tells_nothing_is_a_limit_and_not_a_panic() {
        assert_eq!(above(3.0, 1, 10.0), 1.0);
        assert_eq!(above(3.0, 3, 0.0), 1.0);
        assert_eq!(above(f64::NAN, 3, 5.0), 1.0);
        assert_eq!(quantile(0.95, 3, f64::NAN), f64::INFINITY);
        assert_eq!(quantile(0.0, 3, 5.0), 0.0);
    }
}
