//! The studentised range: how far the largest and the smallest of several means lie apart by chance, in
//! standard errors that are themselves estimates.
//!
//! ```text
//! range of k normals     P(w) = k * integral of phi(z) (Phi(z) - Phi(z - w))^(k - 1) dz
//! over its estimate s    P(q) = integral of P(q s) f(s) ds    s^2 = chi-square / dof
//! ```
//!
//! Both integrals by Gauss-Legendre panels, the outer over ln s, where few degrees of freedom make no
//! corner. Good to eight digits; statrs has no such distribution.
//!
//! Source: H. L. Harter, Annals of Mathematical Statistics 31 (1960) 1122.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

use super::distribution::t_below;

/// Half of the nodes and weights of the eight-point rule. Source: Abramowitz and Stegun, table 25.4.
const RULE: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_5),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_3),
];

/// Degrees of freedom from which the spread counts as known.
const AS_GOOD_AS_KNOWN: f64 = 1e5;

/// Normal values beyond this are left out: 1e-15 of them.
const NORMAL_END: f64 = 8.0;

/// Sum of a function over Gauss-Legendre panels.
fn integral(low: f64, high: f64, panels: u32, mut value: impl FnMut(f64) -> f64) -> f64 {
    let half = (high - low) / (2.0 * f64::from(panels));
    let mut sum = 0.0;
    for panel in 0..panels {
        let middle = low + half * f64::from(2 * panel + 1);
        for (node, weight) in RULE {
            sum += weight * (value(middle - half * node) + value(middle + half * node));
        }
    }
    sum * half
}

/// The chance that the range of `k` standard normal values is below `w`.
fn range_below(w: f64, k: f64) -> f64 {
    let normal = Normal::standard();
    let density = |z: f64| (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
    if w <= 0.0 {
        return 0.0;
    }
    // Of a wide range only the part around zero is not yet one.
    let below = |z: f64| density(z) * (normal.cdf(z) - normal.cdf(z - w)).max(0.0).powf(k - 1.0);
    (k * integral(-NORMAL_END, NORMAL_END, 13, below)).clamp(0.0, 1.0)
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
    let above = |t: f64| density(t) * (1.0 - range_below(q * t.exp(), k));
    // Few degrees of freedom have a long tail towards small spreads.
    let panels = ((high - low) / 0.5).ceil().clamp(8.0, 120.0) as u32;
    integral(low, high, panels, above).clamp(0.0, 1.0)
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
