//! How a value goes with a setting: a polynomial of low order, as high as the data bear out.
//!
//! Orders from 0 up are fitted and the one with the least AICc is taken; none so high that no setting is
//! left over to judge it by. Whether the chosen order fits at
//! all is asked of the repeats at one setting: lack of fit. Where it does not, the caller has to do
//! without a formula.
//!
//! Source: Burnham and Anderson, Model Selection and Multimodel Inference, 2nd ed. 2002, 2.4 (AICc);
//! NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.4.6 (lack of fit).

use super::distribution::{f_above, t_quantile};
use super::least_squares::{Rows, Solution};

/// A polynomial in `(setting - middle) / reach`, which runs from -1 to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Polynomial {
    /// Its order: 0 a constant, 1 a line.
    pub order: usize,
    /// AICc, by which orders are compared.
    pub aicc: f64,
    /// The chance of such a misfit of the settings' means where the order is right; `None` when no setting
    /// was repeated or no setting is left over.
    pub p_lack_of_fit: Option<f64>,
    middle: f64,
    reach: f64,
    solution: Solution,
    /// Variance of one observation.
    variance: f64,
}

/// A fitted value and its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// The value.
    pub value: f64,
    /// Half the width of its 95 % interval, of the mean.
    pub half_width: f64,
}

/// The highest order that is tried.
pub const HIGHEST: usize = 3;

/// A polynomial of this order through `(setting, value)` points; `None` when they do not bear it.
pub fn polynomial(points: &[(f64, f64)], order: usize) -> Option<Polynomial> {
    let low = points.iter().map(|point| point.0).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|point| point.0).fold(f64::NEG_INFINITY, f64::max);
    let (middle, reach) = (0.5 * (low + high), (0.5 * (high - low)).max(f64::MIN_POSITIVE));
    let mut settings: Vec<f64> = points.iter().map(|point| point.0).collect();
    settings.sort_by(f64::total_cmp);
    settings.dedup();
    if settings.len() <= order || points.len() <= order + 1 {
        return None;
    }
    let mut rows = Rows::new(order + 1);
    for (setting, value) in points {
        rows.push(powers((setting - middle) / reach, order), *value);
    }
    let solution = rows.solve().ok()?;
    let variance = solution.variance()?;
    let (n, k) = (points.len() as f64, order as f64 + 2.0);
    let small = n - k - 1.0;
    // Values without any scatter at all would have a logarithm without a floor.
    let squares = (solution.residual_squares / n).max(1e-24);
    let aicc =
        n * squares.ln() + 2.0 * k + if small > 0.0 { 2.0 * k * (k + 1.0) / small } else { f64::INFINITY };
    let pure = settings
        .iter()
        .map(|setting| squares_at(points, *setting))
        .fold((0.0, 0.0), |sum, at| (sum.0 + at.0, sum.1 + at.1));
    let (left, between) = (solution.residual_squares - pure.0, settings.len() as f64 - order as f64 - 1.0);
    let p_lack_of_fit = (pure.1 >= 1.0 && between >= 1.0 && pure.0 > 0.0)
        .then(|| f_above((left / between) / (pure.0 / pure.1), between, pure.1));
    Some(Polynomial { order, aicc, p_lack_of_fit, middle, reach, solution, variance })
}

/// The polynomial of the order that the data bear out; `None` with fewer than two settings.
///
/// A line through two settings, or a parabola through three, fits whatever they say, so at least one setting
/// more than coefficients is asked for.
pub fn chosen(points: &[(f64, f64)]) -> Option<Polynomial> {
    let mut settings: Vec<f64> = points.iter().map(|point| point.0).collect();
    settings.sort_by(f64::total_cmp);
    settings.dedup();
    let highest = settings.len().checked_sub(2)?.min(HIGHEST);
    let tried = (0..=highest).filter_map(|order| polynomial(points, order));
    tried.min_by(|a, b| a.aicc.total_cmp(&b.aicc))
}

fn powers(x: f64, order: usize) -> Vec<f64> {
    (0..=order).map(|power| x.powi(power as i32)).collect()
}

/// Squares about their mean of the values at one setting, and their degrees of freedom.
fn squares_at(points: &[(f64, f64)], setting: f64) -> (f64, f64) {
    let values: Vec<f64> = points.iter().filter(|point| point.0 == setting).map(|point| point.1).collect();
    super::anova::Group::of(&values).map_or((0.0, 0.0), |group| (group.squares, group.dof()))
}

impl Polynomial {
    /// The value at a setting, with its interval.
    pub fn at(&self, setting: f64) -> Fitted {
        let row = powers((setting - self.middle) / self.reach, self.order);
        let se = (self.variance * self.solution.leverage(&row)).sqrt();
        Fitted {
            value: self.solution.at(&row),
            half_width: t_quantile(0.975, self.solution.dof() as f64) * se,
        }
    }

    /// Coefficients in ascending powers of the setting itself.
    pub fn coefficients(&self) -> Vec<f64> {
        let mut plain = vec![0.0; self.order + 1];
        // (t - m)^j / r^j, unfolded.
        for (power, b) in self.solution.coefficients.iter().enumerate() {
            let mut binomial = 1.0;
            for (j, coefficient) in plain.iter_mut().enumerate().take(power + 1) {
                let term = binomial * (-self.middle).powi((power - j) as i32) / self.reach.powi(power as i32);
                *coefficient += b * term;
                binomial *= (power - j) as f64 / (j + 1) as f64;
            }
        }
        plain
    }

    /// The rise for one unit of the setting, where it is a line.
    pub fn slope(&self) -> Option<super::difference::Estimate> {
        (self.order == 1).then(|| super::difference::Estimate {
            value: self.solution.coefficients[1] / self.reach,
            se: self.solution.covariance(self.variance)[1][1].sqrt() / self.reach,
            dof: self.solution.dof() as f64,
        })
    }

    /// Share of the squares about the mean that it explains.
    pub fn r_squared(&self, points: &[(f64, f64)]) -> Option<f64> {
        let values: Vec<f64> = points.iter().map(|point| point.1).collect();
        let all = super::anova::Group::of(&values)?.squares;
        (all > 0.0).then(|| 1.0 - self.solution.residual_squares / all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn planted(order: usize, scatter: f64) -> Vec<(f64, f64)> {
        // Scatter without a generator: the same few departures, which add up to nothing at each setting.
        let departures = [-1.0, 0.2, 0.8];
        (0..6)
            .flat_map(|i| {
                let t = 50.0 + 10.0 * f64::from(i);
                let x = (t - 75.0) / 25.0;
                let y: f64 = (0..=order).map(|power| 0.3 * x.powi(power as i32)).sum();
                departures.map(|d| (t, y + scatter * d * if i % 2 == 0 { 1.0 } else { -1.0 }))
            })
            .collect()
    }

    #[test]
    fn the_order_that_was_planted_is_the_one_that_is_chosen() {
        for order in 0..=HIGHEST {
            let best = chosen(&planted(order, 0.02)).unwrap();
            assert_eq!(best.order, order);
            assert!(best.p_lack_of_fit.unwrap() > 0.2);
            assert!((best.at(75.0).value - 0.3).abs() < 0.01, "{order}");
        }
        // Too low an order is found out by the repeats.
        let line = polynomial(&planted(2, 0.02), 1).unwrap();
        assert!(line.p_lack_of_fit.unwrap() < 1e-6);
    }

    #[test]
    fn a_step_is_no_polynomial_and_says_so() {
        let step: Vec<(f64, f64)> =
            planted(0, 0.01).into_iter().map(|(t, y)| (t, if t > 75.0 { y + 2.0 } else { y })).collect();
        assert!(chosen(&step).unwrap().p_lack_of_fit.unwrap() < 0.001);
    }

    #[test]
    fn coefficients_are_those_of_the_setting_itself() {
        let points: Vec<(f64, f64)> = (0..6)
            .map(|i| 60.0 + 15.0 * f64::from(i))
            .map(|t| (t, 1.5 - 0.25 * t + 0.004 * t * t - 2e-5 * t * t * t))
            .collect();
        let plain = polynomial(&points, 3).unwrap().coefficients();
        for (got, expected) in plain.iter().zip([1.5, -0.25, 0.004, -2e-5]) {
            assert!((got / expected - 1.0).abs() < 1e-8, "{plain:?}");
        }
    }

    #[test]
    fn two_settings_bear_a_line_and_no_more() {
        let points = [(60.0, 0.1), (60.0, 0.2), (80.0, 0.5), (80.0, 0.6)];
        assert!(polynomial(&points, 1).is_some() && polynomial(&points, 2).is_none());
        assert!(polynomial(&points[..1], 0).is_none());
        // Nothing would be left to tell a line from any other course.
        assert_eq!(chosen(&points).unwrap().order, 0);
        assert!(chosen(&points[..2]).is_none());
    }
}
