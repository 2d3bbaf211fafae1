//! What a model's columns span, and what they leave of the readings.
//!
//! An orthonormal basis by Gram and Schmidt, each column taken out of all behind it as soon as it is known; a
//! column that the ones before it explain is left out, so that a model may have columns which cannot be
//! told apart. What is kept has a part of its own of 3e-5 of its length at least, so that rounding leaves
//! the columns at right angles to about eleven digits.
//!
//! Source: Golub and Van Loan, Matrix Computations, 4th ed., 5.2.8 (modified Gram and Schmidt).

use crate::stats::distribution::f_above;

/// Of a column's squares at least this much must be its own, or it counts as explained by the others.
const OWN_SHARE: f64 = 1e-9;
/// A further column is only tested when the basis leaves this much of it: with less, what it says is what
/// the others say.
const TESTABLE_SHARE: f64 = 0.02;
/// Residual degrees of freedom that a test needs. Judged: below, a spread is anything.
const LEAST_DOF: f64 = 4.0;

/// The span of the columns so far, and the residuals about it.
#[derive(Clone, Debug)]
pub(super) struct Basis {
    /// Row by row, `width` values.
    rows: Vec<f64>,
    width: usize,
    residuals: Vec<f64>,
    /// Of the residuals.
    squares: f64,
    /// Variance below which no residual spread is believed: what the caliper's rounding makes.
    least_variance: f64,
}

/// A further column against the residuals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tested {
    /// Its coefficient.
    pub coefficient: f64,
    /// Its F, with 1 and `dof` degrees of freedom.
    pub f: f64,
    pub dof: f64,
}

impl Tested {
    /// The chance of one so large when there is none.
    pub fn p_value(&self) -> f64 {
        f_above(self.f, 1.0, self.dof)
    }
}

impl Basis {
    /// Of a matrix given row by row, `width` columns wide, about `y`.
    pub fn new(mut matrix: Vec<f64>, width: usize, y: Vec<f64>, least_variance: f64) -> Self {
        let mut residuals = y;
        let mut whole = vec![0.0; width];
        for row in rows_of(&matrix, width) {
            whole.iter_mut().zip(row).for_each(|(sum, value)| *sum += value * value);
        }
        let mut kept = Vec::with_capacity(width);
        let mut sums = vec![0.0; width];
        for (k, whole) in whole.into_iter().enumerate() {
            let own: f64 = rows_of(&matrix, width).map(|row| row[k] * row[k]).sum();
            if own <= OWN_SHARE * whole || own <= 0.0 {
                continue;
            }
            kept.push(k);
            let length = own.sqrt();
            let sums = &mut sums[k + 1..];
            sums.fill(0.0);
            let mut sum_of_y = 0.0;
            // Most columns are of one kind or one print: zero on most rows.
            for (row, y) in matrix.chunks_exact_mut(width).zip(&residuals) {
                if row[k] != 0.0 {
                    row[k] /= length;
                    sums.iter_mut().zip(&row[k + 1..]).for_each(|(sum, value)| *sum += row[k] * value);
                    sum_of_y += row[k] * y;
                }
            }
            for (row, y) in matrix.chunks_exact_mut(width).zip(&mut residuals) {
                let unit = row[k];
                if unit != 0.0 {
                    row[k + 1..].iter_mut().zip(&*sums).for_each(|(value, sum)| *value -= unit * sum);
                    *y -= unit * sum_of_y;
                }
            }
        }
        let rows = if kept.len() == width {
            matrix
        } else {
            rows_of(&matrix, width).flat_map(|row| kept.iter().map(|k| row[*k])).collect()
        };
        let squares = dot(&residuals, &residuals);
        Self { rows, width: kept.len(), residuals, squares, least_variance }
    }

    fn row(&self, row: usize) -> &[f64] {
        &self.rows[row * self.width..(row + 1) * self.width]
    }

    /// What the basis makes of a column: its shadow, by basis column.
    fn shadow(&self, column: &[(usize, f64)]) -> Vec<f64> {
        let mut shadow = vec![0.0; self.width];
        self.add_shadow(column, &mut shadow);
        shadow
    }

    fn add_shadow(&self, column: &[(usize, f64)], shadow: &mut [f64]) {
        for (row, value) in column {
            shadow.iter_mut().zip(self.row(*row)).for_each(|(sum, own)| *sum += own * value);
        }
    }

    pub fn dof(&self) -> f64 {
        self.residuals.len() as f64 - self.width as f64
    }

    pub fn squares(&self) -> f64 {
        self.squares
    }

    /// Tests a further column, given by its rows that are not zero; `None` where the data cannot tell.
    ///
    /// `shadow` is memory that is used again.
    pub fn test(&self, column: &[(usize, f64)], shadow: &mut Vec<f64>) -> Option<Tested> {
        shadow.clear();
        shadow.resize(self.width, 0.0);
        self.add_shadow(column, shadow);
        let whole: f64 = column.iter().map(|(_, value)| value * value).sum();
        let own = whole - dot(shadow, shadow);
        let dof = self.dof() - 1.0;
        if own <= TESTABLE_SHARE * whole || own <= 0.0 || dof < LEAST_DOF {
            return None;
        }
        let along: f64 = column.iter().map(|(row, value)| value * self.residuals[*row]).sum();
        let gain = along * along / own;
        let variance = ((self.squares - gain).max(0.0) / dof).max(self.least_variance);
        Some(Tested { coefficient: along / own, f: gain / variance, dof })
    }

    /// Tests a further column beside another one, which is taken in first where it says anything.
    pub fn test_beside(&self, column: &[(usize, f64)], other: &[(usize, f64)]) -> Option<Tested> {
        let own = |column: &[(usize, f64)], shadow: &[f64]| {
            let whole: f64 = column.iter().map(|(_, value)| value * value).sum();
            (whole, whole - dot(shadow, shadow))
        };
        let along = |column: &[(usize, f64)]| -> f64 {
            column.iter().map(|(row, value)| value * self.residuals[*row]).sum()
        };
        let (shadow, other_shadow) = (self.shadow(column), self.shadow(other));
        let (other_whole, other_own) = own(other, &other_shadow);
        if other_own <= TESTABLE_SHARE * other_whole {
            return self.test(column, &mut Vec::new());
        }
        // Both columns have the same rows.
        let common: f64 = column.iter().zip(other).map(|((_, a), (_, b))| a * b).sum();
        let share = (common - dot(&shadow, &other_shadow)) / other_own;
        let (whole, mut own) = own(column, &shadow);
        own -= share * share * other_own;
        let dof = self.dof() - 2.0;
        if own <= TESTABLE_SHARE * whole || own <= 0.0 || dof < LEAST_DOF {
            return None;
        }
        let taken = along(other);
        let along = along(column) - share * taken;
        let gain = along * along / own;
        let left = self.squares - taken * taken / other_own - gain;
        let variance = (left.max(0.0) / dof).max(self.least_variance);
        Some(Tested { coefficient: along / own, f: gain / variance, dof })
    }

    /// By how much the fitted values move when a column with this coefficient is taken in.
    pub fn moves(&self, column: &[(usize, f64)], coefficient: f64) -> Vec<f64> {
        let shadow = self.shadow(column);
        (0..self.residuals.len()).map(|row| -coefficient * dot(self.row(row), &shadow)).collect()
    }

    /// The same span with a further column.
    #[must_use]
    pub fn with(&self, column: &[(usize, f64)]) -> Self {
        let width = self.width + 1;
        let mut matrix = Vec::with_capacity(width * self.residuals.len());
        for row in 0..self.residuals.len() {
            matrix.extend_from_slice(self.row(row));
            matrix.push(0.0);
        }
        column.iter().for_each(|(row, value)| matrix[row * width + self.width] = *value);
        Self::new(matrix, width, self.residuals.clone(), self.least_variance)
    }
}

/// The rows of a matrix, none where it has no columns.
fn rows_of(matrix: &[f64], width: usize) -> impl Iterator<Item = &[f64]> {
    matrix.chunks_exact(width.max(1))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn basis(columns: &[&[f64]], y: &[f64]) -> Basis {
        let matrix = (0..y.len()).flat_map(|row| columns.iter().map(move |column| column[row])).collect();
        Basis::new(matrix, columns.len(), y.to_vec(), 0.0)
    }

    /// Two columns that say the same count once, and a further one is tested by the textbook's F.
    #[test]
    fn a_further_column_has_the_f_value_of_the_textbook() {
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        let y = [0.1, 0.9, 2.2, 2.8, 4.3, 4.9, 6.2, 6.8];
        let basis = basis(&[&[1.0; 8], &[2.0; 8]], &y);
        assert_eq!(basis.dof(), 7.0);
        let column: Vec<(usize, f64)> = x.iter().copied().enumerate().collect();
        let tested = basis.test(&column, &mut Vec::new()).unwrap();
        // Slope of the straight line: Sxy / Sxx = 41.5 / 42; their squares are the gain.
        assert!((tested.coefficient - 41.5 / 42.0).abs() < 1e-12, "{tested:?}");
        let left = basis.with(&column);
        let (gain, rest) = (41.5_f64.powi(2) / 42.0, left.squares());
        assert!((basis.squares() - rest - gain).abs() < 1e-9);
        assert!((tested.p_value() - f_above(gain / (rest / 6.0), 1.0, 6.0)).abs() < 1e-12);
        // Taken in, it has nothing left to say; and what the columns explain is no test.
        assert_eq!(left.test(&column, &mut Vec::new()), None);
        assert_eq!(
            basis.test(
                &[(0, 1.0), (1, 1.0), (2, 1.0), (3, 1.0), (4, 1.0), (5, 1.0), (6, 1.0), (7, 1.0)],
                &mut Vec::new()
            ),
            None
        );
    }

    #[test]
    fn a_test_beside_another_column_is_that_of_the_wider_basis() {
        let x: Vec<f64> = (1..9).map(f64::from).collect();
        let y = [0.1, 0.9, 2.2, 2.8, 4.3, 4.9, 6.2, 6.8];
        let basis = basis(&[&[1.0; 8]], &y);
        let line: Vec<(usize, f64)> = x.iter().copied().enumerate().collect();
        let square: Vec<(usize, f64)> = x.iter().map(|x| (x - 4.5) * (x - 4.4)).enumerate().collect();
        let (one, other) = (
            basis.test_beside(&square, &line).unwrap(),
            basis.with(&line).test(&square, &mut Vec::new()).unwrap(),
        );
        assert!((one.coefficient - other.coefficient).abs() < 1e-12);
        assert!((one.p_value() - other.p_value()).abs() < 1e-9);
        // What the basis knows already is nothing beside it.
        let known = basis.with(&line);
        assert_eq!(known.test_beside(&square, &line), known.test(&square, &mut Vec::new()));
    }

    #[test]
    fn the_fitted_values_move_as_a_fit_without_the_row_has_them() {
        // The mean of four values: without the last, 1; with it, 3.
        let basis = basis(&[&[1.0; 4]], &[1.0, 1.0, 1.0, 9.0]);
        let column = [(3, 1.0)];
        let along = basis.residuals[3] / 0.75;
        assert!((along - 8.0).abs() < 1e-12);
        assert!(basis.moves(&column, along).iter().all(|moved| (moved + 2.0).abs() < 1e-12));
    }
}
