//! What a model's columns span, what they leave of the readings, and how further columns stand to both.
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

/// The span of the columns so far.
#[derive(Clone, Debug)]
pub(super) struct Basis {
    /// Row by row, `width` values.
    rows: Vec<f64>,
    width: usize,
    /// How many rows.
    count: usize,
}

/// What a basis leaves of readings.
#[derive(Clone, Debug)]
pub(super) struct Left {
    residuals: Vec<f64>,
    /// Of the residuals.
    pub squares: f64,
    /// Variance below which no residual spread is believed: what the caliper's rounding makes.
    least_variance: f64,
}

/// How a further column stands to a basis: that it can be tested, and what of it is its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Further {
    /// Squares of what is its own.
    own: f64,
    /// Degrees of freedom that the test has.
    dof: f64,
    /// The other column that is taken in first, where it says anything.
    beside: Option<Beside>,
}

/// What another column has for its own, and how much of it there is in the further one.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Beside {
    own: f64,
    share: f64,
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
    /// Of a matrix given row by row, so many rows and `width` columns.
    pub fn new(mut matrix: Vec<f64>, count: usize, width: usize) -> Self {
        let mut whole = vec![0.0; width];
        for row in matrix.chunks_exact(width.max(1)) {
            whole.iter_mut().zip(row).for_each(|(sum, value)| *sum += value * value);
        }
        let mut kept = Vec::with_capacity(width);
        let mut sums = vec![0.0; width];
        for (k, whole) in whole.into_iter().enumerate() {
            let own: f64 = matrix.chunks_exact(width).map(|row| row[k] * row[k]).sum();
            if own <= OWN_SHARE * whole || own <= 0.0 {
                continue;
            }
            kept.push(k);
            let length = own.sqrt();
            let sums = &mut sums[k + 1..];
            sums.fill(0.0);
            // Most columns are of one kind or one print: zero on most rows.
            for row in matrix.chunks_exact_mut(width).filter(|row| row[k] != 0.0) {
                row[k] /= length;
                sums.iter_mut().zip(&row[k + 1..]).for_each(|(sum, value)| *sum += row[k] * value);
            }
            for row in matrix.chunks_exact_mut(width).filter(|row| row[k] != 0.0) {
                let unit = row[k];
                row[k + 1..].iter_mut().zip(&*sums).for_each(|(value, sum)| *value -= unit * sum);
            }
        }
        let rows = if kept.len() == width {
            matrix
        } else {
            matrix.chunks_exact(width).flat_map(|row| kept.iter().map(|k| row[*k])).collect()
        };
        Self { rows, width: kept.len(), count }
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
        self.count as f64 - self.width as f64
    }

    /// What it leaves of `y`.
    pub fn left(&self, y: &[f64], least_variance: f64) -> Left {
        let mut shadow = vec![0.0; self.width];
        let rows = || (0..self.count).map(|at| self.row(at));
        for (row, y) in rows().zip(y) {
            shadow.iter_mut().zip(row).for_each(|(sum, own)| *sum += own * y);
        }
        let residuals: Vec<f64> = rows().zip(y).map(|(row, y)| y - dot(row, &shadow)).collect();
        let squares = dot(&residuals, &residuals);
        Left { residuals, squares, least_variance }
    }

    /// A further column, given by its rows that are not zero; `None` where the data cannot tell.
    pub fn further(&self, column: &[(usize, f64)]) -> Option<Further> {
        let (whole, shadow) = (squares(column), self.shadow(column));
        let (own, dof) = (whole - dot(&shadow, &shadow), self.dof() - 1.0);
        is_testable(own, whole, dof).then_some(Further { own, dof, beside: None })
    }

    /// A further column beside another one of the same rows, which is taken in first where it says anything.
    pub fn further_beside(&self, column: &[(usize, f64)], other: &[(usize, f64)]) -> Option<Further> {
        let (shadow, other_shadow) = (self.shadow(column), self.shadow(other));
        let other_whole = squares(other);
        let other_own = other_whole - dot(&other_shadow, &other_shadow);
        if other_own <= TESTABLE_SHARE * other_whole {
            return self.further(column);
        }
        let common: f64 = column.iter().zip(other).map(|((_, a), (_, b))| a * b).sum();
        let share = (common - dot(&shadow, &other_shadow)) / other_own;
        let whole = squares(column);
        let own = whole - dot(&shadow, &shadow) - share * share * other_own;
        let dof = self.dof() - 2.0;
        let beside = Some(Beside { own: other_own, share });
        is_testable(own, whole, dof).then_some(Further { own, dof, beside })
    }

    /// By how much the fitted values move when a column with this coefficient is taken in.
    pub fn moves(&self, column: &[(usize, f64)], coefficient: f64) -> Vec<f64> {
        let shadow = self.shadow(column);
        (0..self.count).map(|row| -coefficient * dot(self.row(row), &shadow)).collect()
    }

    /// The same span with a further column.
    #[must_use]
    pub fn with(&self, column: &[(usize, f64)]) -> Self {
        let width = self.width + 1;
        let mut matrix = Vec::with_capacity(width * self.count);
        for row in 0..self.count {
            matrix.extend_from_slice(self.row(row));
            matrix.push(0.0);
        }
        column.iter().for_each(|(row, value)| matrix[row * width + self.width] = *value);
        Self::new(matrix, self.count, width)
    }
}

fn is_testable(own: f64, whole: f64, dof: f64) -> bool {
    own > TESTABLE_SHARE * whole && own > 0.0 && dof >= LEAST_DOF
}

impl Left {
    /// Tests a column that stands so to the basis that left this; `other` is what it stands beside.
    pub fn test(&self, further: Further, column: &[(usize, f64)], other: &[(usize, f64)]) -> Tested {
        let along = |column: &[(usize, f64)]| -> f64 {
            column.iter().map(|(row, value)| value * self.residuals[*row]).sum()
        };
        let (mut product, mut left) = (along(column), self.squares);
        if let Some(beside) = further.beside {
            let taken = along(other);
            product -= beside.share * taken;
            left -= taken * taken / beside.own;
        }
        let gain = product * product / further.own;
        let variance = ((left - gain).max(0.0) / further.dof).max(self.least_variance);
        Tested { coefficient: product / further.own, f: gain / variance, dof: further.dof }
    }
}

fn squares(column: &[(usize, f64)]) -> f64 {
    column.iter().map(|(_, value)| value * value).sum()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    type Column = Vec<(usize, f64)>;

    fn basis(columns: &[&[f64]]) -> Basis {
        let count = columns[0].len();
        let matrix = (0..count).flat_map(|row| columns.iter().map(move |column| column[row])).collect();
        Basis::new(matrix, count, columns.len())
    }

    fn tested(basis: &Basis, y: &[f64], column: &Column) -> Option<Tested> {
        Some(basis.left(y, 0.0).test(basis.further(column)?, column, &[]))
    }

    /// Two columns that say the same count once, and a further one is tested by the textbook's F.
    #[test]
    fn a_further_column_has_the_f_value_of_the_textbook() {
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        let y = [0.1, 0.9, 2.2, 2.8, 4.3, 4.9, 6.2, 6.8];
        let basis = basis(&[&[1.0; 8], &[2.0; 8]]);
        assert_eq!(basis.dof(), 7.0);
        let column: Column = x.iter().copied().enumerate().collect();
        let found = tested(&basis, &y, &column).unwrap();
        // Slope of the straight line: Sxy / Sxx = 41.5 / 42; their squares are the gain.
        assert!((found.coefficient - 41.5 / 42.0).abs() < 1e-12, "{found:?}");
        let with = basis.with(&column);
        let (gain, rest) = (41.5_f64.powi(2) / 42.0, with.left(&y, 0.0).squares);
        assert!((basis.left(&y, 0.0).squares - rest - gain).abs() < 1e-9);
        assert!((found.p_value() - f_above(gain / (rest / 6.0), 1.0, 6.0)).abs() < 1e-12);
        // Taken in, it has nothing left to say; and what the columns explain is no test.
        assert_eq!(with.further(&column), None);
        assert_eq!(basis.further(&(0..8).map(|row| (row, 1.0)).collect::<Column>()), None);
    }

    #[test]
    fn a_test_beside_another_column_is_that_of_the_wider_basis() {
        let x: Vec<f64> = (1..9).map(f64::from).collect();
        let y = [0.1, 0.9, 2.2, 2.8, 4.3, 4.9, 6.2, 6.8];
        let basis = basis(&[&[1.0; 8]]);
        let line: Column = x.iter().copied().enumerate().collect();
        let square: Column = x.iter().map(|x| (x - 4.5) * (x - 4.4)).enumerate().collect();
        let further = basis.further_beside(&square, &line).unwrap();
        let one = basis.left(&y, 0.0).test(further, &square, &line);
        let other = tested(&basis.with(&line), &y, &square).unwrap();
        assert!((one.coefficient - other.coefficient).abs() < 1e-12);
        assert!((one.p_value() - other.p_value()).abs() < 1e-9);
        // What the basis knows already is nothing beside it.
        let known = basis.with(&line);
        assert_eq!(known.further_beside(&square, &line), known.further(&square));
    }

    #[test]
    fn the_fitted_values_move_as_a_fit_without_the_row_has_them() {
        // The mean of four values: without the last, 1; with it, 3.
        let basis = basis(&[&[1.0; 4]]);
        let column = [(3, 1.0)];
        let along = basis.left(&[1.0, 1.0, 1.0, 9.0], 0.0).residuals[3] / 0.75;
        assert!((along - 8.0).abs() < 1e-12);
        assert!(basis.moves(&column, along).iter().all(|moved| (moved + 2.0).abs() < 1e-12));
    }
}
