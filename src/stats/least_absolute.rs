//! Regression by least absolute residuals: a start that a few gross errors cannot pull.
//!
//! Reweighted least squares with weights `1 / max(|residual|, softness)`: residuals smaller than the
//! softness count as squares, so that an exact fit stays finite. The steps stop when the sum of absolute
//! residuals does; the answer is a start for a search, good to a thousandth of the spread, not an
//! estimate to publish. An observation far out in `x` can still pull it.
//!
//! Source: Schlossmacher, Journal of the American Statistical Association 68 (1973) 857.

use super::robust::{self, median};

/// What is left of a pivot whose column depends on those before it, over what it was.
const NO_PIVOT: f64 = 1e-13;

/// Rows of a matrix most of whose values are zero.
#[derive(Clone, Debug)]
pub struct SparseRows {
    columns: usize,
    /// One row behind the other, columns with their values.
    entries: Vec<(usize, f64)>,
    /// Where each row ends.
    ends: Vec<usize>,
}

impl SparseRows {
    /// No rows yet, of this many columns, with room for so many.
    pub fn new(columns: usize, rows: usize) -> Self {
        Self { columns, entries: Vec::with_capacity(3 * rows), ends: Vec::with_capacity(rows) }
    }

    /// Adds a row: which columns are not zero, each once, and their values.
    pub fn push(&mut self, row: impl IntoIterator<Item = (usize, f64)>) {
        self.entries.extend(row);
        self.ends.push(self.entries.len());
    }

    fn rows(&self) -> impl Iterator<Item = &[(usize, f64)]> {
        let starts = std::iter::once(&0).chain(&self.ends);
        starts.zip(&self.ends).map(|(start, end)| &self.entries[*start..*end])
    }
}

/// The fitted values of the least-absolute fit of `y` to as many rows of `x`, each row counting so many
/// times.
///
/// `None` when the columns cannot be told apart.
pub fn fitted(x: SparseRows, y: &[f64], counts: &[f64], softness: f64) -> Option<Vec<f64>> {
    let mut system = System::of(x, y);
    let mut weights = counts.to_vec();
    let mut fitted = vec![0.0; y.len()];
    let mut before = f64::INFINITY;
    loop {
        system.solve(&weights)?;
        for (row, fitted) in system.rows.rows().zip(&mut fitted) {
            *fitted = row.iter().map(|(column, value)| value * system.solution[*column]).sum();
        }
        let mut sum = 0.0;
        for (((fitted, y), weight), count) in fitted.iter().zip(y).zip(&mut weights).zip(counts) {
            let size = (y - fitted).abs();
            sum += size * count;
            *weight = count / size.max(softness);
        }
        if sum.is_nan() || sum >= before * (1.0 - 1e-4) {
            return Some(fitted);
        }
        before = sum;
    }
}

/// The normal equations of rows that are mostly zeros, with a triangle that leaves out what every
/// row has zero to the left of: columns that never meet, those of one kind and of another, cost nothing
/// together.
struct System {
    /// The rows, with the columns of the system in order.
    rows: SparseRows,
    /// What each row adds for a weight of 1: places in `sums`, and products of two of its values or of one
    /// with its `y`.
    products: SparseRows,
    /// For each row of the triangle the first column that is not zero.
    first: Vec<usize>,
    /// The triangle, row by row, each as long as the system is large, and the right side behind it.
    ///
    /// Solved, the triangle is a factor with ones on its diagonal: to the left of the diagonal the factor, on
    /// it the inverse of the pivot.
    sums: Vec<f64>,
    solution: Vec<f64>,
}

impl System {
    fn of(mut rows: SparseRows, y: &[f64]) -> Self {
        let size = rows.columns;
        // Columns that end earlier come first, so that what meets stands close together.
        let mut places = vec![0; size];
        for (at, row) in rows.rows().enumerate() {
            row.iter().for_each(|(column, _)| places[*column] = at + 1);
        }
        let mut columns: Vec<usize> = (0..size).collect();
        columns.sort_by_key(|column| places[*column]);
        columns.iter().enumerate().for_each(|(place, column)| places[*column] = place);
        let mut first: Vec<usize> = (0..size).collect();
        let mut products = SparseRows::new(size * (size + 1), 2 * rows.ends.len());
        let mut start = 0;
        for (end, y) in rows.ends.iter().zip(y) {
            let row = &mut rows.entries[start..*end];
            start = *end;
            row.iter_mut().for_each(|(column, _)| *column = places[*column]);
            row.sort_unstable_by_key(|(column, _)| *column);
            let leftmost = row.first().map_or(0, |(column, _)| *column);
            row.iter().for_each(|(column, _)| first[*column] = first[*column].min(leftmost));
            let lines = row.iter().enumerate().flat_map(|(at, (i, value))| {
                let line = row[..=at].iter().map(move |(j, other)| (i * size + j, value * other));
                line.chain(std::iter::once((size * size + i, value * y)))
            });
            products.push(lines);
        }
        Self { rows, products, first, sums: vec![0.0; size * (size + 1)], solution: vec![0.0; size] }
    }

    /// Weighted least squares: Golub and Van Loan, Matrix Computations, 4th ed., 4.1.2 (no roots) and 4.3.
    fn solve(&mut self, weights: &[f64]) -> Option<()> {
        let Self { products, first, sums, solution, .. } = self;
        let size = solution.len();
        sums.fill(0.0);
        for (row, weight) in products.rows().zip(weights) {
            row.iter().for_each(|(place, product)| sums[*place] += weight * product);
        }
        let (triangle, right) = sums.split_at_mut(size * size);
        solution.copy_from_slice(right);
        for i in 0..size {
            let (above, line) = triangle.split_at_mut(i * size);
            let line = &mut line[..=i];
            let whole = line[i];
            for j in first[i]..i {
                let from = first[i].max(first[j]);
                let other = &above[j * size..][..=j];
                // What is to the left is still times its pivot here.
                let known: f64 = (from..j).map(|k| line[k] * other[k]).sum();
                line[j] -= known;
            }
            let mut pivot = whole;
            for j in first[i]..i {
                let scaled = line[j] * above[j * size + j];
                pivot -= scaled * line[j];
                solution[i] -= scaled * solution[j];
                line[j] = scaled;
            }
            if pivot.is_nan() || pivot <= NO_PIVOT * whole {
                return None;
            }
            line[i] = pivot.recip();
        }
        for i in 0..size {
            solution[i] *= triangle[i * size + i];
        }
        for i in (0..size).rev() {
            for k in first[i]..i {
                solution[k] -= triangle[i * size + k] * solution[i];
            }
        }
        Some(())
    }
}

/// Spread of the residuals of a least-absolute fit with this many coefficients, from their sizes.
///
/// Such a fit goes through as many observations as it has coefficients; their zeros say nothing of the
/// spread and are left out of the median.
pub fn spread_of_sizes(mut sizes: Vec<f64>, coefficients: usize) -> Option<f64> {
    if coefficients > 0 && coefficients < sizes.len() {
        sizes.select_nth_unstable_by(coefficients - 1, f64::total_cmp);
    }
    robust::spread_of_sizes(sizes.get_mut(coefficients..)?)
}

/// Middle of a list, left as it is.
pub fn middle(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    median(&mut values.into_iter().collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::least_squares::Rows;

    fn sparse(x: &[Vec<f64>]) -> SparseRows {
        let mut rows = SparseRows::new(x[0].len(), x.len());
        let is_there = |(_, value): &(usize, f64)| *value != 0.0;
        x.iter().for_each(|row| rows.push(row.iter().copied().enumerate().filter(is_there)));
        rows
    }

    fn residuals(x: &[Vec<f64>], y: &[f64]) -> Vec<f64> {
        let fitted = fitted(sparse(x), y, &vec![1.0; y.len()], 0.001).unwrap();
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
        let mut system = System::of(sparse(&x), &y);
        system.solve(&weights).unwrap();
        let mut rows = Rows::new(5);
        for ((row, y), weight) in x.iter().zip(&y).zip(&weights) {
            let root: f64 = weight.sqrt();
            rows.push(row.iter().map(|value| value * root), y * root);
        }
        let solution = rows.solve().unwrap();
        for (own, row) in system.rows.rows().zip(&x) {
            let one = own.iter().map(|(column, value)| value * system.solution[*column]).sum::<f64>();
            let other = solution.at(row);
            assert!((one - other).abs() < 1e-9, "{one} {other}");
        }
        // The sum of the first three columns again.
        x.iter_mut().for_each(|row| row[4] = 1.0);
        assert!(System::of(sparse(&x), &y).solve(&weights).is_none());
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
        let sizes = residuals.iter().map(|residual| residual.abs()).collect();
        assert!(spread_of_sizes(sizes, 2).unwrap() < 0.05);
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
