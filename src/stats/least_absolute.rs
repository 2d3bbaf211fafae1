//! Regression by least absolute residuals: a start that a few gross errors cannot pull.
//!
//! Reweighted least squares with weights `1 / max(|residual|, softness)`: residuals smaller than the
//! softness count as squares, so that an exact fit stays finite. The steps stop when the sum of absolute
//! residuals does; the answer is a start for a search, good to a thousandth of the spread, not an
//! estimate to publish. An observation far out in `x` can still pull it.
//!
//! Source: Schlossmacher, Journal of the American Statistical Association 68 (1973) 857.

use super::least_squares::{NoSolution, Rows, Solution};
use super::robust::{median, spread};

/// The least-absolute fit of `y` to the rows of `x`, each row counting so many times.
///
/// Of the answer only the coefficients mean anything: its weights are not those of observations.
pub fn fit(x: &[Vec<f64>], y: &[f64], counts: &[f64], softness: f64) -> Result<Solution, NoSolution> {
    let columns = x.first().map_or(0, Vec::len);
    let mut weights = counts.to_vec();
    let mut before = f64::INFINITY;
    loop {
        let mut rows = Rows::new(columns);
        for ((row, y), weight) in x.iter().zip(y).zip(&weights) {
            let root = weight.sqrt();
            rows.push(row.iter().map(|value| value * root), y * root);
        }
        let fit = rows.solve()?;
        let fitted: Vec<f64> = x.iter().map(|row| fit.at(row)).collect();
        let sizes = || y.iter().zip(&fitted).map(|(y, fitted)| (y - fitted).abs()).zip(counts);
        let sum: f64 = sizes().map(|(size, count)| size * count).sum();
        if sum.is_nan() || sum >= before * (1.0 - 1e-4) {
            return Ok(fit);
        }
        before = sum;
        weights = sizes().map(|(size, count)| count / size.max(softness)).collect();
    }
}

/// Spread of the residuals of a least-absolute fit with this many coefficients.
///
/// Such a fit goes through as many observations as it has coefficients; their zeros say nothing of the
/// spread and are left out of the median.
pub fn spread_of(residuals: &[f64], coefficients: usize) -> Option<f64> {
    let mut sizes: Vec<f64> = residuals.iter().map(|residual| residual.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    spread(sizes.get(coefficients..)?)
}

/// Middle of a list, left as it is.
pub fn middle(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    median(&mut values.into_iter().collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn residuals(x: &[Vec<f64>], y: &[f64]) -> Vec<f64> {
        let fit = fit(x, y, &vec![1.0; y.len()], 0.001).unwrap();
        x.iter().zip(y).map(|(row, y)| y - fit.at(row)).collect()
    }

    #[test]
    fn three_gross_errors_of_twelve_do_not_pull_the_line() {
        let x: Vec<Vec<f64>> = (1..=12).map(|x| vec![1.0, f64::from(x)]).collect();
        let noise = [0.01, -0.01, 0.0, 0.02, -0.01, 0.01, -0.02, 0.0, 0.01, -0.01, 0.02, -0.01];
        let mut y: Vec<f64> = x.iter().zip(noise).map(|(row, e)| 0.1 - 0.004 * row[1] + e).collect();
        y[1] += 1.0;
        y[5] += 1.5;
        y[10] += 0.8;
        let residuals = residuals(&x, &y);
        for (at, residual) in residuals.iter().enumerate() {
            let gross = [1, 5, 10].contains(&at);
            assert_eq!(residual.abs() > 0.2, gross, "{at}: {residual}");
        }
        assert!(spread_of(&residuals, 2).unwrap() < 0.05);
        // Least squares spreads the blame: one in four errors, and the line goes between.
        let mut rows = Rows::new(2);
        x.iter().zip(&y).for_each(|(row, y)| rows.push(row.iter().copied(), *y));
        let fit = rows.solve().unwrap();
        let least = x.iter().zip(&y).map(|(row, y)| (y - fit.at(row)).abs()).fold(f64::INFINITY, f64::min);
        assert!(least > 0.05, "{least}");
    }

    #[test]
    fn an_exact_majority_is_fitted_exactly_enough() {
        let x: Vec<Vec<f64>> = (1..=9).map(|x| vec![1.0, f64::from(x)]).collect();
        let mut y: Vec<f64> = x.iter().map(|row| 0.2 + 0.01 * row[1]).collect();
        y[4] = 3.0;
        let residuals = residuals(&x, &y);
        assert!(residuals.iter().enumerate().all(|(at, r)| (r.abs() > 0.1) == (at == 4)), "{residuals:?}");
    }
}
