//! The chance that the clearance between a printed part and a bought one is as wanted.
//!
//! The printed size follows Student t about its prediction (normal with unlimited degrees of freedom).
//! Of the bought part either its limits are known, and every size between them is taken as equally
//! likely, or its mean and spread. Clearance is hole less shaft, whichever of the two is printed.
//!
//! For a printed hole and a shaft uniform on [a, b],
//! `P(c <= c0) = s / (b - a) * (G(z_b) - G(z_a))`, `z = (c0 + x - mean) / s`, where G is the integral of
//! the distribution function: `z F(z) + f(z)` for the normal, `z F(z) + (n + z^2) / (n - 1) f(z)` for t with
//! n degrees of freedom.
//!
//! Good to nine digits after the point (statrs' normal and t have about ten); print two.

use crate::correction::apply::Prediction;
use crate::stats::distribution::{t_below, t_density};

use super::{Limits, Side};

/// What is known of the bought part's size, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mate {
    /// Anywhere between its limits.
    Within(Limits),
    /// Normal about a mean.
    Normal {
        /// The mean, mm.
        mean_mm: f64,
        /// The standard deviation, mm.
        sd_mm: f64,
    },
}

/// The chance that the clearance lies in `window`, mm; an end of the window may be infinite.
///
/// `printed` is the hole or the shaft as `side` says; the mate is the other one.
pub fn clearance_chance(printed: &Prediction, side: Side, mate: Mate, window: Limits) -> f64 {
    let below = |clearance_mm: f64| chance_below(printed, side, mate, clearance_mm);
    (below(window.upper_mm) - below(window.lower_mm)).clamp(0.0, 1.0)
}

/// The chance that the clearance is at most this, mm.
fn chance_below(printed: &Prediction, side: Side, mate: Mate, clearance_mm: f64) -> f64 {
    if clearance_mm.is_infinite() {
        return f64::from(clearance_mm > 0.0);
    }
    // The printed size at which a mate of size `x` leaves this clearance.
    let printed_at = |x: f64| match side {
        Side::Hole => x + clearance_mm,
        Side::Shaft => x - clearance_mm,
    };
    let smaller = match mate {
        Mate::Within(limits) => {
            // A spread below a nanometre is none; it keeps the quotients finite.
            let sd = printed.sd_mm.max(1e-6);
            let z = |x: f64| (printed_at(x) - printed.expected_mm) / sd;
            mean_below(z(limits.lower_mm), z(limits.upper_mm), printed.dof)
        }
        Mate::Normal { mean_mm, sd_mm } => {
            let variance = printed.sd_mm * printed.sd_mm + sd_mm * sd_mm;
            // The mate's spread is stated and adds no doubt of its own (Welch-Satterthwaite).
            let dof = printed.dof * (variance / (printed.sd_mm * printed.sd_mm)).powi(2);
            t_below((printed_at(mean_mm) - printed.expected_mm) / variance.sqrt(), dof)
        }
    };
    match side {
        Side::Hole => smaller,
        Side::Shaft => 1.0 - smaller,
    }
}

/// The mean of Student t's distribution function over [from, to].
fn mean_below(from: f64, to: f64, dof: f64) -> f64 {
    let width = to - from;
    // The quotient below loses digits as the range narrows; its middle is as good from here on.
    if width < 1e-4 {
        return t_below(f64::midpoint(from, to), dof);
    }
    (integral_of_below(to, dof) - integral_of_below(from, dof)) / width
}

/// An antiderivative of Student t's distribution function.
fn integral_of_below(z: f64, dof: f64) -> f64 {
    let moment = if dof.is_infinite() {
        t_density(z, dof)
    } else if (dof - 1.0).abs() < 1e-6 {
        // The limit of the other branch as the degrees of freedom approach 1, but for a constant.
        -(z * z).ln_1p() / std::f64::consts::TAU
    } else {
        (dof + z * z) / (dof - 1.0) * t_density(z, dof)
    };
    z * t_below(z, dof) + moment
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printed(expected_mm: f64, sd_mm: f64, dof: f64) -> Prediction {
        Prediction { expected_mm, sd_mm, dof, beyond_mm: 0.0 }
    }

    fn limits(lower_mm: f64, upper_mm: f64) -> Limits {
        Limits { lower_mm, upper_mm }
    }

    /// Source: computed with mpmath 1.3.0, quadrature at 30 digits; ten rows. To 1e-9.
    #[test]
    fn every_published_chance_comes_back() {
        let text = include_str!("../../data/fits/published/probability.csv");
        let mut checked = 0;
        for row in csv::Reader::from_reader(text.as_bytes()).into_records() {
            let row = row.unwrap();
            let number = |column: usize| row[column].parse::<f64>();
            let mate = match &row[2] {
                "uniform" => Mate::Within(limits(number(3).unwrap(), number(4).unwrap())),
                _ => Mate::Normal { mean_mm: number(3).unwrap(), sd_mm: number(4).unwrap() },
            };
            let window = limits(number(5).unwrap_or(f64::NEG_INFINITY), number(6).unwrap_or(f64::INFINITY));
            let hole = printed(number(0).unwrap(), number(1).unwrap(), f64::INFINITY);
            let chance = clearance_chance(&hole, Side::Hole, mate, window);
            assert!((chance - number(7).unwrap()).abs() < 1e-9, "{row:?}: {chance}");
            checked += 1;
        }
        assert_eq!(checked, 10);
        // Negative control: the middle of the mate's limits in place of the mate is off by far more.
        let hole = printed(8.05, 0.03, f64::INFINITY);
        let middle = Mate::Normal { mean_mm: 7.9955, sd_mm: 0.0 };
        let chance = clearance_chance(&hole, Side::Hole, middle, limits(0.0, f64::INFINITY));
        assert!((chance - 0.964_843_861_940_1).abs() > 1e-4);
    }

    /// The same integral by Simpson's rule, for the heavy tails as well.
    #[test]
    fn few_degrees_of_freedom_agree_with_a_plain_sum() {
        for dof in [0.5, 1.0, 1.0 + 1e-5, 2.0, 4.5, 80.0, f64::INFINITY] {
            let (from, to, steps) = (-1.3, 2.9, 2000_i32);
            let step = (to - from) / f64::from(steps);
            let sum: f64 = (0..=steps)
                .map(|i| {
                    let weight = if i == 0 || i == steps { 1.0 } else { 2.0 + 2.0 * f64::from(i % 2) };
                    weight * t_below(from + f64::from(i) * step, dof)
                })
                .sum();
            let mean = sum * step / 3.0 / (to - from);
            assert!((mean_below(from, to, dof) - mean).abs() < 1e-9, "dof {dof}");
        }
    }

    #[test]
    fn a_printed_shaft_is_the_mirror_of_a_printed_hole() {
        let mate = Mate::Within(limits(7.991, 8.0));
        let hole = clearance_chance(&printed(8.05, 0.03, 6.0), Side::Hole, mate, limits(0.01, 0.1));
        // Mirrored about 0: sizes change sign, so do the ends of the mate's limits.
        let mirrored = Mate::Within(limits(-8.0, -7.991));
        let shaft = clearance_chance(&printed(-8.05, 0.03, 6.0), Side::Shaft, mirrored, limits(0.01, 0.1));
        assert!((hole - shaft).abs() < 1e-12);
    }

    #[test]
    fn a_mate_of_one_size_is_the_plain_chance() {
        let hole = printed(8.05, 0.03, 6.0);
        let exact = hole.chance_within(8.02, 8.1);
        for width in [0.0, 1e-7, 1e-5] {
            let mate = Mate::Within(limits(8.0 - width, 8.0 + width));
            let chance = clearance_chance(&hole, Side::Hole, mate, limits(0.02, 0.1));
            assert!((chance - exact).abs() < 1e-7, "{width}: {chance} {exact}");
        }
        let certain = clearance_chance(
            &printed(8.05, 0.0, f64::INFINITY),
            Side::Hole,
            Mate::Within(limits(7.95, 8.05)),
            limits(0.0, 0.05),
        );
        assert!((certain - 0.5).abs() < 1e-5, "{certain}");
    }
}
