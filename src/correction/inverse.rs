//! How well the size to draw is known: the interval of drawn sizes whose mean print could be the target.
//!
//! A drawn size `x` belongs to it when the target lies within the interval of the mean print at `x`:
//!
//! ```text
//! (x + deviation(x) - target)^2 <= t^2 * variance of the deviation at x
//! ```
//!
//! For a straight line this is Fieller's interval. Where the scale is hardly known the set has no end on
//! one side, and there is no interval.
//!
//! Source: Fieller, J. Royal Statistical Society B 16 (1954) 175; Draper and Smith, Applied Regression
//! Analysis, 3rd ed. 1998, section 3.2.

use crate::kind::{Axis, Kind};
use crate::stats::distribution::t_quantile;
use crate::units::Mm;

use super::Correction;
use super::apply::CannotApply;

/// How often a step outwards is doubled before the set counts as endless.
const DOUBLINGS: u32 = 12;

impl Correction {
    /// The drawn sizes whose mean print could be `target`, with confidence `level`, mm. `None` when the
    /// coefficients leave no end to them.
    ///
    /// # Errors
    /// When no drawn size prints as the target.
    pub fn drawn_interval(
        &self,
        kind: Kind,
        axis: Axis,
        target: Mm,
        level: f64,
    ) -> Result<Option<(f64, f64)>, CannotApply> {
        let best = self.drawn_for(kind, axis, target)?;
        let t = t_quantile(0.5 + level / 2.0, self.dof);
        let half = |drawn: f64| t * self.coefficient_variance_mm2(kind, axis, drawn).sqrt();
        let step = half(best);
        if step == 0.0 {
            return Ok(Some((best, best)));
        }
        let outside = |drawn: f64| {
            let mean = drawn + self.deviation_mm(kind, axis, drawn);
            (mean - target.get()).abs() - half(drawn)
        };
        let end = |direction: f64| {
            let mut inner = best;
            for doubling in 0..DOUBLINGS {
                let outer = best + direction * step * f64::from(1_u32 << doubling);
                if outer <= 0.0 {
                    return None;
                }
                if outside(outer) >= 0.0 {
                    return Some(between(inner, outer, outside));
                }
                inner = outer;
            }
            None
        };
        Ok(end(-1.0).zip(end(1.0)))
    }
}

/// Where `outside` changes sign between a place inside and one outside.
fn between(mut inner: f64, mut outer: f64, outside: impl Fn(f64) -> f64) -> f64 {
    // Sixty halvings take any bracket here below what a number of millimetres can tell apart.
    for _ in 0..60 {
        let middle = 0.5 * (inner + outer);
        if outside(middle) >= 0.0 { outer = middle } else { inner = middle }
    }
    0.5 * (inner + outer)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::apply::tests::known;
    use crate::correction::{Form, ScaleForm, Term};

    /// A line with these sums, as a correction of spans.
    fn line(intercept: f64, slope: f64, variance: f64, n: f64, x_mean: f64, sxx: f64) -> Correction {
        let mut correction = known();
        let kind = Kind::Span;
        correction.kinds = [(kind, correction.kinds[&Kind::Pin])].into();
        correction.form = Form { scale: ScaleForm::Own, small_bore: false };
        correction.terms = vec![Term::Offset(kind), Term::ScaleOf(kind)];
        correction.coefficients = vec![intercept, slope - 1.0];
        let (of_slope, both) = (variance / sxx, -variance * x_mean / sxx);
        correction.covariance =
            vec![vec![variance * (1.0 / n + x_mean * x_mean / sxx), both], vec![both, of_slope]];
        correction.dof = n - 2.0;
        correction
    }

    /// Source: crystal weights, Graybill and Iyer, Regression Analysis (1994), chapter 6; estimate and
    /// limits as printed in Greenwell and Schubert Kabban, The R Journal 6/1 (2014). The line's sums were
    /// computed from the published readings, which are not repeated here.
    #[test]
    fn the_growing_time_of_a_crystal_of_8_grams_is_the_published_one() {
        let crystal = line(0.001_428_571_43, 0.503_428_571_43, 1.127_349_047_6, 14.0, 15.0, 910.0);
        let target = Mm::new(8.0).unwrap();
        let drawn = crystal.drawn_for(Kind::Span, Axis::X, target).unwrap();
        assert!((drawn - 15.8882).abs() < 5e-5, "{drawn}");
        let (low, high) = crystal.drawn_interval(Kind::Span, Axis::X, target, 0.95).unwrap().unwrap();
        assert!((low - 14.6590).abs() < 5e-5 && (high - 17.1596).abs() < 5e-5, "{low} {high}");
        // The usual shortcut, half a width over the slope, is symmetric and misses both printed ends.
        let shortcut = t_quantile(0.975, 12.0)
            * crystal.coefficient_variance_mm2(Kind::Span, Axis::X, drawn).sqrt()
            / 0.503_428_571_43;
        assert!((drawn - shortcut - low).abs() > 5e-3 && (drawn + shortcut - high).abs() > 5e-3);
    }

    /// Same source, 90 % limits at a weight of 5 grams.
    #[test]
    fn the_growing_time_of_a_crystal_of_5_grams_is_the_published_one() {
        let crystal = line(0.001_428_571_43, 0.503_428_571_43, 1.127_349_047_6, 14.0, 15.0, 910.0);
        let target = Mm::new(5.0).unwrap();
        let (low, high) = crystal.drawn_interval(Kind::Span, Axis::X, target, 0.90).unwrap().unwrap();
        assert!((low - 8.65).abs() < 5e-3 && (high - 11.05).abs() < 5e-3, "{low} {high}");
    }

    #[test]
    fn a_scale_that_is_hardly_known_leaves_no_interval() {
        let vague = line(0.0, 1.0, 30.0, 5.0, 15.0, 100.0);
        let target = Mm::new(16.0).unwrap();
        assert_eq!(vague.drawn_interval(Kind::Span, Axis::X, target, 0.95).unwrap(), None);
    }

    #[test]
    fn coefficients_without_doubt_leave_one_size() {
        let (low, high) =
            known().drawn_interval(Kind::Pin, Axis::Round, Mm::new(8.0).unwrap(), 0.95).unwrap().unwrap();
        assert_eq!(low, high);
    }
}
