//! Quantiles and tail areas of the distributions that intervals and tests rest on.
//!
//! Thin over statrs, with its panics and refusals turned into the limits that they stand for: no
//! degrees of freedom give an infinite quantile, infinitely many give the normal's.
//!
//! Good to about ten digits (statrs 0.19 against 30-digit arithmetic); state six at most.

use std::cell::Cell;

use statrs::distribution::{Continuous, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Degrees of freedom from which Student t is the normal to all digits that are printed.
const AS_GOOD_AS_NORMAL: f64 = 1e6;

/// The value that Student t with `dof` stays below with probability `p`.
///
/// `p` strictly between 0 and 1 (outside: the infinity on that side); `dof` may be infinite.
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    let slot = (p.to_bits() ^ dof.to_bits()).wrapping_mul(SCATTER) as usize >> (usize::BITS - SLOTS.ilog2());
    QUANTILES.with(|known| match known[slot].get() {
        Some(known) if (known.p, known.dof) == (p, dof) => known.quantile,
        _ => {
            let quantile = new_t_quantile(p, dof);
            known[slot].set(Some(Quantile { p, dof, quantile }));
            quantile
        }
    })
}

/// A quantile that was asked for: a thousand setups ask for a few dozen, and each takes microseconds.
#[derive(Clone, Copy)]
struct Quantile {
    p: f64,
    dof: f64,
    quantile: f64,
}

/// Slots for quantiles; of two that meet in one the later is kept.
const SLOTS: usize = 1024;

/// An odd number with well spread bits: 2^64 divided by the golden ratio.
const SCATTER: u64 = 0x9e37_79b9_7f4a_7c15;

thread_local! {
    static QUANTILES: [Cell<Option<Quantile>>; SLOTS] = const { [const { Cell::new(None) }; SLOTS] };
}

fn new_t_quantile(p: f64, dof: f64) -> f64 {
    match student(dof) {
        Shape::Normal => Normal::standard().inverse_cdf(p),
        Shape::Student(t) => t.inverse_cdf(p),
        Shape::Unknown if p == 0.5 => 0.0,
        Shape::Unknown => f64::INFINITY.copysign(p - 0.5),
    }
}

/// The probability that Student t with `dof` stays below `t`.
pub fn t_below(t: f64, dof: f64) -> f64 {
    match student(dof) {
        Shape::Normal => Normal::standard().cdf(t),
        Shape::Student(distribution) => distribution.cdf(t),
        Shape::Unknown => 0.5,
    }
}

/// The density of Student t with `dof` at `t`; 0 where nothing is known of the spread.
pub fn t_density(t: f64, dof: f64) -> f64 {
    match student(dof) {
        Shape::Normal => Normal::standard().pdf(t),
        Shape::Student(distribution) => distribution.pdf(t),
        Shape::Unknown => 0.0,
    }
}

/// The probability that F with these degrees of freedom exceeds `f`; 1 when there are none.
pub fn f_above(f: f64, dof_above: f64, dof_below: f64) -> f64 {
    match FisherSnedecor::new(dof_above, dof_below) {
        Ok(_) if f == f64::INFINITY => 0.0,
        Ok(distribution) if f > 0.0 => distribution.sf(f),
        _ => 1.0,
    }
}

/// How far the outlying one of `tests` normal values may stand from the rest, in standard deviations
/// that have `dof` degrees of freedom, before the chance of it is below `level`: Bonferroni, two-sided.
pub fn outlying(level: f64, tests: f64, dof: f64) -> f64 {
    t_quantile(1.0 - level / (2.0 * tests.max(1.0)), dof)
}

enum Shape {
    Normal,
    Student(StudentsT),
    /// Without degrees of freedom nothing is known of the spread.
    Unknown,
}

fn student(dof: f64) -> Shape {
    if dof >= AS_GOOD_AS_NORMAL {
        return Shape::Normal;
    }
    StudentsT::new(0.0, 1.0, dof).map_or(Shape::Unknown, Shape::Student)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Student t table, two-sided 95 %, any statistics text; five digits.
    #[test]
    fn t_quantiles_are_those_of_the_table() {
        for (dof, expected) in [(1.0, 12.70620), (4.0, 2.77645), (30.0, 2.04227), (f64::INFINITY, 1.95996)] {
            assert!((t_quantile(0.975, dof) - expected).abs() < 1e-5, "dof {dof}");
            assert!((t_below(expected, dof) - 0.975).abs() < 1e-6, "dof {dof}");
        }
    }

    #[test]
    fn the_ends_are_limits_and_not_panics() {
        assert_eq!(t_quantile(1.0, 3.0), f64::INFINITY);
        assert_eq!(t_quantile(0.0, 3.0), f64::NEG_INFINITY);
        assert_eq!(t_quantile(0.975, 0.0), f64::INFINITY);
        assert_eq!(t_quantile(0.5, f64::NAN), 0.0);
        assert_eq!(t_below(2.0, 0.0), 0.5);
        assert_eq!(t_density(0.0, 0.0), 0.0);
    }

    #[test]
    fn the_density_is_the_slope_of_the_area() {
        for dof in [1.0, 2.5, 30.0, f64::INFINITY] {
            for t in [-2.0, 0.0, 0.7] {
                let slope = (t_below(t + 1e-4, dof) - t_below(t - 1e-4, dof)) / 2e-4;
                assert!((slope - t_density(t, dof)).abs() < 1e-7, "t {t}, dof {dof}");
            }
        }
    }
}
