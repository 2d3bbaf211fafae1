//! What a model's columns span, and what they leave of the readings.
//!
//! An orthonormal basis by Gram and Schmidt, each column taken through twice; a column that the ones before
//! it explain is left out, so that a model may have columns which cannot be told apart.

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
    pub fn new(columns: Vec<Vec<f64>>, y: &[f64], least_variance: f64) -> Self {
        let mut known: Vec<Vec<f64>> = Vec::new();
        for column in columns {
            known.extend(orthonormal(column, &known));
        }
        let mut residuals = y.to_vec();
        for _ in 0..2 {
            known.iter().for_each(|one| take_away(&mut residuals, one));
        }
        let width = known.len();
        let rows = (0..y.len()).flat_map(|row| known.iter().map(move |column| column[row])).collect();
        Self { rows, width, residuals, least_variance }
    }

    fn row(&self, row: usize) -> &[f64] {
        &self.rows[row * self.width..(row + 1) * self.width]
    }

    /// What the basis makes of a column: its shadow, by basis column.
    fn shadow(&self, column: &[(usize, f64)]) -> Vec<f64> {
        let mut shadow = vec![0.0; self.width];
        for (row, value) in column {
            shadow.iter_mut().zip(self.row(*row)).for_each(|(sum, own)| *sum += own * value);
        }
        shadow
    }

    pub fn dof(&self) -> f64 {
        self.residuals.len() as f64 - self.width as f64
    }

    pub fn squares(&self) -> f64 {
        dot(&self.residuals, &self.residuals)
    }

    /// Tests a further column, given by its rows that are not zero; `None` where the data cannot tell.
    pub fn test(&self, column: &[(usize, f64)]) -> Option<Tested> {
        let whole: f64 = column.iter().map(|(_, value)| value * value).sum();
        let own = whole - self.shadow(column).iter().map(|value| value * value).sum::<f64>();
        let dof = self.dof() - 1.0;
        if own <= TESTABLE_SHARE * whole || own <= 0.0 || dof < LEAST_DOF {
            return None;
        }
        let along: f64 = column.iter().map(|(row, value)| value * self.residuals[*row]).sum();
        let gain = along * along / own;
        let variance = ((self.squares() - gain).max(0.0) / dof).max(self.least_variance);
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
            return self.test(column);
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
        let left = self.squares() - taken * taken / other_own - gain;
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
        let mut dense = vec![0.0; self.residuals.len()];
        column.iter().for_each(|(row, value)| dense[*row] = *value);
        let known: Vec<Vec<f64>> = (0..self.width)
            .map(|at| (0..self.residuals.len()).map(|row| self.row(row)[at]).collect())
            .collect();
        let columns = known.into_iter().chain([dense]).collect();
        Self::new(columns, &self.residuals, self.least_variance)
    }
}

/// What of a column the others do not explain, of length 1; `None` where they explain all.
fn orthonormal(mut column: Vec<f64>, known: &[Vec<f64>]) -> Option<Vec<f64>> {
    let whole = dot(&column, &column);
    for _ in 0..2 {
        known.iter().for_each(|one| take_away(&mut column, one));
    }
    let own = dot(&column, &column);
    if own <= OWN_SHARE * whole || own <= 0.0 {
        return None;
    }
    let length = own.sqrt();
    column.iter_mut().for_each(|value| *value /= length);
    Some(column)
}

fn take_away(values: &mut [f64], unit: &[f64]) {
    let share = dot(values, unit);
    values.iter_mut().zip(unit).for_each(|(value, one)| *value -= share * one);
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two columns that say the same count once, and a further one is tested by the textbook's F.
    #[test]
    fn a_further_column_has_the_f_value_of_the_textbook() {
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        let y = [0.1, 0.9, 2.2, 2.8, 4.3, 4.9, 6.2, 6.8];
        let ones = vec![1.0; 8];
        let doubled = vec![2.0; 8];
        let basis = Basis::new(vec![ones, doubled], &y, 0.0);
        assert_eq!(basis.dof(), 7.0);
        let column: Vec<(usize, f64)> = x.iter().copied().enumerate().collect();
        let tested = basis.test(&column).unwrap();
        // Slope of the straight line: Sxy / Sxx = 41.5 / 42; their squares are the gain.
        assert!((tested.coefficient - 41.5 / 42.0).abs() < 1e-12, "{tested:?}");
        let left = basis.with(&column);
        let (gain, rest) = (41.5_f64.powi(2) / 42.0, left.squares());
        assert!((basis.squares() - rest - gain).abs() < 1e-9);
        assert!((tested.p_value() - f_above(gain / (rest / 6.0), 1.0, 6.0)).abs() < 1e-12);
        // Taken in, it has nothing left to say; and what the columns explain is no test.
        assert_eq!(left.test(&column), None);
        assert_eq!(
            basis.test(&[(0, 1.0), (1, 1.0), (2, 1.0), (3, 1.0), (4, 1.0), (5, 1.0), (6, 1.0), (7, 1.0)]),
            None
        );
    }

    #[test]
    fn a_test_beside_another_column_is_that_of_the_wider_basis() {
        let x: Vec<f64> = (1..9).map(f64::from).collect();
        let y = [0.1, 0.9, 2.2, 2.8, 4.3, 4.9, 6.2, 6.8];
        let basis = Basis::new(vec![vec![1.0; 8]], &y, 0.0);
        let line: Vec<(usize, f64)> = x.iter().copied().enumerate().collect();
        let square: Vec<(usize, f64)> = x.iter().map(|x| (x - 4.5) * (x - 4.4)).enumerate().collect();
        let (one, other) =
            (basis.test_beside(&square, &line).unwrap(), basis.with(&line).test(&square).unwrap());
        assert!((one.coefficient - other.coefficient).abs() < 1e-12);
        assert!((one.p_value() - other.p_value()).abs() < 1e-9);
        // What the basis knows already is nothing beside it.
        let known = basis.with(&line);
        assert_eq!(known.test_beside(&square, &line), known.test(&square));
    }

    #[test]
    fn the_fitted_values_move_as_a_fit_without_the_row_has_them() {
        // The mean of four values: without the last, 1; with it, 3.
        let basis = Basis::new(vec![vec![1.0; 4]], &[1.0, 1.0, 1.0, 9.0], 0.0);
        let column = [(3, 1.0)];
        let along = basis.residuals[3] / 0.75;
        assert!((along - 8.0).abs() < 1e-12);
        assert!(basis.moves(&column, along).iter().all(|moved| (moved + 2.0).abs() < 1e-12));
    }
}
