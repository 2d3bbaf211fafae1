//! Regression by least absolute residuals: a start that a few gross errors cannot pull.
//!
//! Reweighted least squares with weights `1 / max(|residual|, softness)`: residuals smaller than the
//! softness count as squares, so that an exact fit stays finite. The steps stop when the sum of absolute
//! residuals does; the answer is a start for a search, good to a thousandth of the spread, not an
//! estimate to publish. An observation far out in `x` can still pull it.
//!
//! Source: Schlossmacher, Journal of the American Statistical Association 68 (1973) 857.

use super::robust::{median, spread};

/// What is left of a pivot whose column depends on those before it, over what it was.
const NO_PIVOT: f64 = 1e-13;

/// The fitted values of the least-absolute fit of `y` to as many rows of `x`, given one after the other,
/// each row counting so many times.
///
/// `None` when the columns cannot be told apart.
pub fn fitted(x: &[f64], y: &[f64], counts: &[f64], softness: f64) -> Option<Vec<f64>> {
    let mut system = System::of(x, y.len());
    let mut weights = counts.to_vec();
    let mut before = f64::INFINITY;
    loop {
        system.solve(y, &weights)?;
        let mut sum = 0.0;
        for (row, (y, (weight, count))) in y.iter().zip(weights.iter_mut().zip(counts)).enumerate() {
            let size = (y - system.at(row)).abs();
            sum += size * count;
            *weight = count / size.max(softness);
        }
        if sum.is_nan() || sum >= before * (1.0 - 1e-4) {
            return Some((0..y.len()).map(|row| system.at(row)).collect());
        }
        before = sum;
    }
}

/// The normal equations of rows that are mostly zeros, with a Cholesky factor that leaves out what every
/// row has zero to the left of: columns that never meet, those of one kind and of another, cost nothing
/// together.
struct System {
    /// Row by row, the columns of the system that are not zero, in order, with their values.
    entries: Vec<(usize, f64)>,
    /// Where each row's entries begin, and the last one's end.
    starts: Vec<usize>,
    /// For each row of the triangle the first column that is not zero.
    first: Vec<usize>,
    /// The triangle, row by row, each as long as the system is large.
    triangle: Vec<f64>,
    solution: Vec<f64>,
}

impl System {
    fn of(x: &[f64], rows: usize) -> Self {
        let size = x.len() / rows.max(1);
        // Columns that end earlier come first, so that what meets stands close together.
        let last = |column: &usize| x.chunks_exact(size).rposition(|row| row[*column] != 0.0);
        let mut columns: Vec<usize> = (0..size).collect();
        columns.sort_by_cached_key(last);
        let mut system = Self {
            entries: Vec::with_capacity(3 * rows),
            starts: Vec::with_capacity(rows + 1),
            first: (0..size).collect(),
            triangle: vec![0.0; size * size],
            solution: vec![0.0; size],
        };
        system.starts.push(0);
        for row in x.chunks_exact(size.max(1)) {
            let start = system.entries.len();
            let values = columns.iter().map(|column| row[*column]).enumerate();
            system.entries.extend(values.filter(|(_, value)| *value != 0.0));
            for at in start..system.entries.len() {
                let first = &mut system.first[system.entries[at].0];
                *first = (*first).min(system.entries[start].0);
            }
            system.starts.push(system.entries.len());
        }
        system
    }

    fn row(&self, row: usize) -> &[(usize, f64)] {
        &self.entries[self.starts[row]..self.starts[row + 1]]
    }

    /// Weighted least squares: Golub and Van Loan, Matrix Computations, 4th ed., 4.2 and 4.3.
    fn solve(&mut self, y: &[f64], weights: &[f64]) -> Option<()> {
        let size = self.solution.len();
        let mut triangle = std::mem::take(&mut self.triangle);
        let mut solution = std::mem::take(&mut self.solution);
        triangle.fill(0.0);
        solution.fill(0.0);
        for (row, (y, weight)) in y.iter().zip(weights).enumerate() {
            let entries = self.row(row);
            for (at, (i, value)) in entries.iter().enumerate() {
                let weighted = value * weight;
                for (j, value) in &entries[..=at] {
                    triangle[i * size + j] += weighted * value;
                }
                solution[*i] += weighted * y;
            }
        }
        let mut is_solved = true;
        for i in 0..size {
            for j in self.first[i]..=i {
                let from = self.first[i].max(self.first[j]);
                let known: f64 = (from..j).map(|k| triangle[i * size + k] * triangle[j * size + k]).sum();
                let left = triangle[i * size + j] - known;
                triangle[i * size + j] = if i == j {
                    is_solved &= left > NO_PIVOT * triangle[i * size + i];
                    left.sqrt()
                } else {
                    left / triangle[j * size + j]
                };
            }
            let known: f64 = (self.first[i]..i).map(|k| triangle[i * size + k] * solution[k]).sum();
            solution[i] = (solution[i] - known) / triangle[i * size + i];
        }
        for i in (0..size).rev() {
            solution[i] /= triangle[i * size + i];
            for k in self.first[i]..i {
                solution[k] -= triangle[i * size + k] * solution[i];
            }
        }
        (self.triangle, self.solution) = (triangle, solution);
        is_solved.then_some(())
    }

    fn at(&self, row: usize) -> f64 {
        self.row(row).iter().map(|(column, value)| value * self.solution[*column]).sum()
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
    use crate::stats::least_squares::Rows;

    fn residuals(x: &[Vec<f64>], y: &[f64]) -> Vec<f64> {
        let fitted = fitted(&x.concat(), y, &vec![1.0; y.len()], 0.001).unwrap();
        y.iter().zip(fitted).map(|(y, fitted)| y - fitted).collect()
    }

    /// The weighted fit that every step makes, against the one by a QR of the same rows.
    #[test]
    fn columns_that_meet_in_some_rows_are_solved_as_by_qr() {
        let mut x = Vec::new();
        for i in 1..=12_u32 {
            let size = f64::from(i);
            let own = [f64::from(i % 3 == 0), f64::from(i % 3 == 1), f64::from(i % 3 == 2)];
            // A column that all share, and one that only the first kind has.
            x.push(vec![own[0], own[1], own[2], size, own[0] / size]);
        }
        let y: Vec<f64> = (0..12_u32).map(|i| f64::from(i * 7 % 5)).collect();
        let weights: Vec<f64> = (0..12_u32).map(|i| 1.0 + f64::from(i % 4)).collect();
        let mut system = System::of(&x.concat(), 12);
        system.solve(&y, &weights).unwrap();
        let mut rows = Rows::new(5);
        for ((row, y), weight) in x.iter().zip(&y).zip(&weights) {
            let root: f64 = weight.sqrt();
            rows.push(row.iter().map(|value| value * root), y * root);
        }
        let solution = rows.solve().unwrap();
        for (at, row) in x.iter().enumerate() {
            let (one, other) = (system.at(at), solution.at(row));
            assert!((one - other).abs() < 1e-9, "{one} {other}");
        }
        // The sum of the first three columns again.
        x.iter_mut().for_each(|row| row[4] = 1.0);
        assert!(System::of(&x.concat(), 12).solve(&y, &weights).is_none());
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
