//! Regression that a few gross errors cannot pull: Huber's and Tukey's bisquare weights.
//!
//! An M-estimate by reweighted least squares: each residual, in units of the spread, gets a weight that
//! falls with its size. Huber's keeps a pull that stops growing; the bisquare redescends, so that beyond
//! `cut` spreads an observation has no say at all. It has several solutions and needs a good start.
//!
//! The constants make both 95 % as efficient as least squares where errors are normal. Weighted residuals
//! understate the spread: [`Bisquare::SQUARE`] is what the squared pulls of normal errors average to and
//! undoes that.
//!
//! Source: Huber and Ronchetti, Robust Statistics, 2nd ed. 2009, chapter 7; Maronna, Martin and Yohai,
//! Robust Statistics, 2006, 4.4.

use super::cholesky;

/// How the weight of a residual falls with its size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// Full weight up to 1.345 spreads, then falling as the inverse.
    Huber,
    /// Falling smoothly to nothing at 4.685 spreads.
    Bisquare,
}

impl Loss {
    /// The weight of a residual of `z` spreads, 0 to 1.
    pub fn weight(self, z: f64) -> f64 {
        match self {
            Self::Huber => (1.345 / z.abs()).min(1.0), // 95 % efficiency: Huber and Ronchetti, exhibit 4.3
            Self::Bisquare => Bisquare::weight(z),
        }
    }
}

/// Tukey's bisquare at 95 % efficiency.
#[derive(Clone, Copy, Debug)]
pub struct Bisquare;

impl Bisquare {
    /// Where the weight reaches zero, in spreads.
    pub const CUT: f64 = 4.685;
    /// Average of the squared pull, `(z weight(z))^2`, of a standard normal residual.
    pub const SQUARE: f64 = 0.604_448_4;
    /// Variance of the least squares estimate over that of this one, for normal errors.
    pub const EFFICIENCY: f64 = 0.949_997_3;

    /// The weight of a residual of `z` spreads.
    pub fn weight(z: f64) -> f64 {
        Self::weight_of_square(z * z)
    }

    /// The same from the square of `z`.
    pub fn weight_of_square(square: f64) -> f64 {
        let left = 1.0 - square / (Self::CUT * Self::CUT);
        if left > 0.0 { left * left } else { 0.0 }
    }
}

/// A median absolute deviation of normal errors is this share of their standard deviation.
const MEDIAN_OF_NORMAL: f64 = 0.6745;

/// The middle value, the mean of the middle two for an even count; `None` of nothing. Reorders `values`.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let count = values.len();
    if count == 0 {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(count / 2, f64::total_cmp);
    if count % 2 == 1 {
        return Some(*upper);
    }
    below.iter().copied().max_by(f64::total_cmp).map(|lower| 0.5 * (lower + *upper))
}

/// The spread of residuals about zero that half of them cannot move: their median size over 0.6745.
pub fn spread(residuals: &[f64]) -> Option<f64> {
    spread_of_sizes(&mut residuals.iter().map(|r| r.abs()).collect::<Vec<f64>>())
}

/// The same from the sizes of the residuals, which it reorders.
pub fn spread_of_sizes(sizes: &mut [f64]) -> Option<f64> {
    median(sizes).map(|size| size / MEDIAN_OF_NORMAL)
}

/// A robust regression.
#[derive(Clone, Debug, PartialEq)]
pub struct RobustFit {
    /// The coefficients.
    pub coefficients: Vec<f64>,
    /// Spread of the residuals.
    pub spread: f64,
    /// The weights at the end.
    pub weights: Vec<f64>,
}

/// Reweighted least squares from a least squares start, the spread taken anew in each step, until the
/// coefficients stand still.
///
/// `None` when the columns are not separable or the steps do not settle.
pub fn regress(x: &[Vec<f64>], y: &[f64], loss: Loss) -> Option<RobustFit> {
    let mut weights = vec![1.0; y.len()];
    let mut coefficients = weighted(x, y, &weights)?;
    for _ in 0..500 {
        let residuals: Vec<f64> = x.iter().zip(y).map(|(row, y)| y - dot(row, &coefficients)).collect();
        let spread = spread(&residuals).filter(|spread| *spread > 0.0)?;
        for (weight, residual) in weights.iter_mut().zip(&residuals) {
            *weight = loss.weight(residual / spread);
        }
        let next = weighted(x, y, &weights)?;
        let change = |(new, old): (&f64, &f64)| (new - old).abs() <= 1e-12 * old.abs().max(1e-3);
        let settled = next.iter().zip(&coefficients).all(change);
        coefficients = next;
        if settled {
            return Some(RobustFit { coefficients, spread, weights });
        }
    }
    None
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Weighted least squares by normal equations.
fn weighted(x: &[Vec<f64>], y: &[f64], weights: &[f64]) -> Option<Vec<f64>> {
    let q = x.first()?.len();
    let mut xx = vec![0.0; q * q];
    let mut xy = vec![0.0; q];
    for ((row, y), w) in x.iter().zip(y).zip(weights) {
        for i in 0..q {
            for j in 0..=i {
                xx[i * q + j] += w * row[i] * row[j];
            }
            xy[i] += w * row[i] * y;
        }
    }
    cholesky::factor(&mut xx, q)?;
    cholesky::solve_lower(&xx, q, &mut xy);
    cholesky::solve_upper(&xx, q, &mut xy);
    Some(xy)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stack_loss() -> (Vec<Vec<f64>>, Vec<f64>) {
        let text = include_str!("../../data/published/stackloss.csv");
        let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1).map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.trim().parse().unwrap()).collect();
            (vec![1.0, cells[0], cells[1], cells[2]], cells[3])
        });
        rows.unzip()
    }

    fn assert_fit(fit: &RobustFit, expected: [f64; 4], spread: f64) {
        for (value, expected) in fit.coefficients.iter().zip(expected) {
            assert!((value - expected).abs() < 1e-6 * expected.abs(), "{value} against {expected}");
        }
        assert!((fit.spread - spread).abs() < 1e-6 * spread, "{}", fit.spread);
    }

    /// Source: Brownlee 1965, stack loss; R 4.2.2 MASS rlm with Huber's k = 1.345, printed in its help
    /// as -41.02653, 0.82937, 0.92611, -0.12785.
    #[test]
    fn huber_weights_fit_the_stack_loss_data_as_published() {
        let (x, y) = stack_loss();
        let fit = regress(&x, &y, Loss::Huber).unwrap();
        let expected = [-41.026485373295, 0.829385770254, 0.926059415549, -0.127846317965];
        assert_fit(&fit, expected, 2.44048904599);
        // Negative control: least squares has -39.92.
        assert!((fit.coefficients[0] + 39.92).abs() > 1.0);
    }

    /// Source: as above, rlm with psi.bisquare, c = 4.685, from the least squares start.
    #[test]
    fn bisquare_weights_fit_the_stack_loss_data_as_published() {
        let (x, y) = stack_loss();
        let fit = regress(&x, &y, Loss::Bisquare).unwrap();
        let expected = [-42.285321536491, 0.927558992802, 0.650711198390, -0.112333123036];
        assert_fit(&fit, expected, 2.28185331457);
    }

    #[test]
    fn the_constants_are_the_averages_over_normal_residuals() {
        let (steps, cut) = (200_000, Bisquare::CUT);
        let (mut square, mut slope) = (0.0, 0.0);
        for i in 0..steps {
            let z = -cut + (f64::from(i) + 0.5) * 2.0 * cut / f64::from(steps);
            let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt() * 2.0 * cut / f64::from(steps);
            let u = (z / cut).powi(2);
            square += density * (z * Bisquare::weight(z)).powi(2);
            slope += density * (1.0 - u) * (1.0 - 5.0 * u);
        }
        assert!((square - Bisquare::SQUARE).abs() < 1e-6, "{square}");
        assert!((slope * slope / square - Bisquare::EFFICIENCY).abs() < 1e-6, "{}", slope * slope / square);
    }

    #[test]
    fn half_of_the_values_cannot_move_the_spread() {
        assert_eq!(median(&mut [3.0, 1.0, 2.0, 10.0]), Some(2.5));
        assert_eq!(median(&mut []), None);
        let clean = spread(&[0.5, -1.0, 1.5, -2.0, 1.2]).unwrap();
        assert_eq!(spread(&[0.5, -1.0, 100.0, -300.0, 1.2]).unwrap(), clean);
    }
}
