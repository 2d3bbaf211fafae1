//! Linear least squares, with what is needed to trust the answer.
//!
//! `y = X b + residual`, the sum of squared residuals made least. The rows are reduced by a Householder
//! QR of the column-scaled matrix to as many rows as there are coefficients, plus one that carries the
//! residual: a problem of a few rows with the same answer. linregress solves that one for the
//! coefficients; rank, covariance, leverage and the residual sum of squares come from the same triangle.
//! Solving the reduced rows keeps the digits that a singular value decomposition of the tall matrix
//! loses, and costs the same whether there are ten rows or a million.
//!
//! Groups of rows may each have a constant of their own. The means of the group are then taken out of its
//! rows first, and the columns are fitted to what is left: the same answer from a smaller matrix.
//!
//! Observations that share one row of `X` may be given as one row with their mean, their count and their
//! squares about it: the answer is the same, and everything after works on the few distinct rows.
//!
//! Units: whatever the caller's are. Columns may differ in size by any factor.
//!
//! Source: Golub and Van Loan, Matrix Computations, 4th ed., 5.2 and 5.3 (Householder QR, column scaling);
//! Frisch and Waugh, Econometrica 1 (1933) 387 (constants taken out first).

use linregress::fit_low_level_regression_model_without_statistics;

/// A scaled column whose part outside the columns before it is shorter than this adds no knowledge.
///
/// Twenty thousand rounding errors below it in double precision; a design that was meant stays above.
const NO_NEW_DIRECTION: f64 = 1e-9;

/// The rows to fit.
#[derive(Clone, Debug, Default)]
pub struct Rows {
    /// How many groups have a constant of their own.
    groups: usize,
    /// How many columns there are besides.
    columns: usize,
    matrix: Vec<f64>,
    response: Vec<f64>,
    /// Of each row its group, and the root of how many observations it stands for.
    members: Vec<(usize, f64)>,
    observations: u64,
    within_squares: f64,
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoSolution {
    /// A number is infinite or not a number.
    #[error("a number of the fit is not finite")]
    NotFinite,
    /// There are no coefficients, or fewer observations than coefficients.
    #[error("{observations} observations cannot tell {coefficients} coefficients")]
    TooFew {
        /// How many observations there are.
        observations: u64,
        /// How many coefficients were asked for.
        coefficients: usize,
    },
    /// A column is a mixture of the columns before it.
    #[error("coefficient {column} cannot be told from those before it")]
    Collinear {
        /// The column, from 0; constants of groups come first.
        column: usize,
    },
}

impl Rows {
    /// No rows yet, of this many columns.
    pub fn new(columns: usize) -> Self {
        Self { columns, ..Self::default() }
    }

    /// No rows yet, of this many columns, with a constant for each of so many groups; the constants are
    /// the first coefficients.
    pub fn with_constants(groups: usize, columns: usize) -> Self {
        Self { groups, columns, ..Self::default() }
    }

    /// Makes room for so many rows.
    pub fn reserve(&mut self, rows: usize) {
        self.matrix.reserve(rows * self.columns);
        self.response.reserve(rows);
        self.members.reserve(rows);
    }

    /// Adds one observation.
    pub fn push(&mut self, row: impl IntoIterator<Item = f64>, response: f64) {
        self.push_repeated(0, row, response, 1, 0.0);
    }

    /// Adds `count` observations of one row: their mean, and the sum of their squares about it.
    ///
    /// `group` is of no account where no groups have constants.
    ///
    /// # Panics
    /// When the row has not as many values as there are columns: a slip of the caller's.
    pub fn push_repeated(
        &mut self,
        group: usize,
        row: impl IntoIterator<Item = f64>,
        mean: f64,
        count: u64,
        squares: f64,
    ) {
        if count == 0 {
            return;
        }
        let weight = (count as f64).sqrt();
        self.matrix.extend(row.into_iter().map(|value| value * weight));
        self.response.push(mean * weight);
        self.members.push((group, weight));
        assert_eq!(self.matrix.len(), self.response.len() * self.columns, "one value a column");
        self.observations += count;
        self.within_squares += squares;
    }

    /// The least-squares answer.
    pub fn solve(mut self) -> Result<Solution, NoSolution> {
        let (groups, q) = (self.groups, self.columns);
        let p = groups + q;
        let too_few = NoSolution::TooFew { observations: self.observations, coefficients: p };
        if p == 0 || self.observations < p as u64 {
            return Err(too_few);
        }
        if !self.matrix.iter().chain(&self.response).all(|value| value.is_finite()) {
            return Err(NoSolution::NotFinite);
        }
        let scale = self.scale_columns()?;
        let means = self.take_out_means()?;
        if self.response.len() < p {
            // Fewer distinct rows than coefficients: the column that runs out of rows is the one.
            return Err(NoSolution::Collinear { column: self.response.len() });
        }
        self.reduce()?;
        let inverse = self.inverse_of_triangle();
        let between: f64 = self.response[q..].iter().map(|rest| rest * rest).sum();
        let scaled = self.coefficients(between.sqrt(), &inverse);
        let mut coefficients = Vec::with_capacity(p);
        let mut root = vec![0.0; p * p];
        for (group, of) in means.groups.iter().enumerate() {
            let columns = &means.columns[group * q..(group + 1) * q];
            let fitted: f64 = columns.iter().zip(&scaled).map(|(mean, b)| mean * b).sum();
            coefficients.push(of.response - fitted);
            let row = &mut root[group * p..(group + 1) * p];
            row[group] = of.weight.sqrt().recip();
            for (j, value) in row[groups..].iter_mut().enumerate() {
                let shares = columns[..=j].iter().enumerate().map(|(i, mean)| mean * inverse[i * q + j]);
                *value = -shares.sum::<f64>();
            }
        }
        for (i, scale) in scale.iter().enumerate() {
            coefficients.push(scaled[i] / scale);
            let row = &mut root[(groups + i) * p + groups..(groups + i + 1) * p];
            row.iter_mut().zip(&inverse[i * q..]).for_each(|(value, inverse)| *value = inverse / scale);
        }
        Ok(Solution {
            coefficients,
            root,
            residual_squares: between + self.within_squares,
            observations: self.observations,
        })
    }

    /// The matrix row by row, nothing where it has no columns.
    fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.matrix.chunks_exact(self.columns.max(1))
    }

    /// Gives every column the length 1; the lengths they had.
    fn scale_columns(&mut self) -> Result<Vec<f64>, NoSolution> {
        let q = self.columns;
        let mut largest = vec![0.0_f64; q];
        for row in self.rows() {
            for (largest, value) in largest.iter_mut().zip(row) {
                *largest = largest.max(value.abs());
            }
        }
        if let Some(column) = largest.iter().position(|largest| *largest == 0.0) {
            return Err(NoSolution::Collinear { column: self.groups + column });
        }
        let mut squares = vec![0.0; q];
        for row in self.rows() {
            for ((square, value), largest) in squares.iter_mut().zip(row).zip(&largest) {
                // By the largest first, so that no square overflows or vanishes.
                *square += (value / largest).powi(2);
            }
        }
        let scale: Vec<f64> =
            squares.iter().zip(&largest).map(|(sum, largest)| sum.sqrt() * largest).collect();
        for row in self.matrix.chunks_exact_mut(q.max(1)) {
            for (value, scale) in row.iter_mut().zip(&scale) {
                *value /= scale;
            }
        }
        Ok(scale)
    }

    /// Leaves of each row what its group's means do not tell; the means.
    fn take_out_means(&mut self) -> Result<Means, NoSolution> {
        let q = self.columns;
        let mut groups = vec![Group { weight: 0.0, response: 0.0 }; self.groups];
        let mut columns = vec![0.0; self.groups * q];
        if groups.is_empty() {
            return Ok(Means { groups, columns });
        }
        for (at, (group, weight)) in self.members.iter().enumerate() {
            let of = &mut groups[*group];
            of.weight += weight * weight;
            of.response += weight * self.response[at];
            let sums = &mut columns[group * q..(group + 1) * q];
            let row = &self.matrix[at * q..(at + 1) * q];
            sums.iter_mut().zip(row).for_each(|(sum, value)| *sum += weight * value);
        }
        if let Some(column) = groups.iter().position(|of| of.weight == 0.0) {
            return Err(NoSolution::Collinear { column });
        }
        for (group, of) in groups.iter_mut().enumerate() {
            of.response /= of.weight;
            columns[group * q..(group + 1) * q].iter_mut().for_each(|sum| *sum /= of.weight);
        }
        for (at, (group, weight)) in self.members.iter().enumerate() {
            self.response[at] -= weight * groups[*group].response;
            let means = &columns[group * q..(group + 1) * q];
            let row = &mut self.matrix[at * q..(at + 1) * q];
            row.iter_mut().zip(means).for_each(|(value, mean)| *value -= weight * mean);
        }
        Ok(Means { groups, columns })
    }

    /// Householder reflections: the triangle is left in the first rows, the response turned along.
    fn reduce(&mut self) -> Result<(), NoSolution> {
        let (q, n) = (self.columns, self.response.len());
        let mut sums = vec![0.0; q];
        for k in 0..q {
            let below: f64 = (k..n).map(|i| self.matrix[i * q + k].powi(2)).sum();
            let length = below.sqrt();
            if length < NO_NEW_DIRECTION {
                return Err(NoSolution::Collinear { column: self.groups + k });
            }
            let head = self.matrix[k * q + k];
            let diagonal = if head > 0.0 { -length } else { length };
            // The reflection's vector is column k with its head replaced by this.
            let head = head - diagonal;
            self.matrix[k * q + k] = head;
            let factor = -1.0 / (diagonal * head);
            sums[k + 1..].fill(0.0);
            let mut sum_of_response = 0.0;
            for i in k..n {
                let row = &self.matrix[i * q..(i + 1) * q];
                let v = row[k];
                // A column of one group is zero on the rows of the others.
                if v == 0.0 {
                    continue;
                }
                sums[k + 1..].iter_mut().zip(&row[k + 1..]).for_each(|(sum, value)| *sum += v * value);
                sum_of_response += v * self.response[i];
            }
            for i in k..n {
                let row = &mut self.matrix[i * q..(i + 1) * q];
                let v = row[k] * factor;
                if v == 0.0 {
                    continue;
                }
                row[k + 1..].iter_mut().zip(&sums[k + 1..]).for_each(|(value, sum)| *value -= v * sum);
                self.response[i] -= v * sum_of_response;
            }
            self.matrix[k * q + k] = diagonal;
        }
        Ok(())
    }

    /// The inverse of the triangle, row by row.
    fn inverse_of_triangle(&self) -> Vec<f64> {
        let q = self.columns;
        let mut inverse = vec![0.0; q * q];
        for j in 0..q {
            inverse[j * q + j] = 1.0 / self.matrix[j * q + j];
            for i in (0..j).rev() {
                let sum: f64 = (i + 1..=j).map(|l| self.matrix[i * q + l] * inverse[l * q + j]).sum();
                inverse[i * q + j] = -sum / self.matrix[i * q + i];
            }
        }
        inverse
    }

    /// The coefficients of the scaled columns.
    fn coefficients(&self, residual: f64, inverse: &[f64]) -> Vec<f64> {
        let q = self.columns;
        // linregress wants two coefficients at least, and each row with its response first.
        if q >= 2 {
            let mut reduced = Vec::with_capacity((q + 1) * (q + 1));
            for i in 0..q {
                reduced.push(self.response[i]);
                reduced.extend((0..q).map(|j| if j < i { 0.0 } else { self.matrix[i * q + j] }));
            }
            reduced.push(residual);
            reduced.extend((0..q).map(|_| 0.0));
            if let Ok(solved) = fit_low_level_regression_model_without_statistics(&reduced, q + 1, q + 1) {
                return solved;
            }
        }
        (0..q).map(|i| (i..q).map(|j| inverse[i * q + j] * self.response[j]).sum()).collect()
    }
}

/// The means of the rows of each group.
struct Means {
    groups: Vec<Group>,
    /// Of the columns, group by group.
    columns: Vec<f64>,
}

#[derive(Clone, Copy)]
struct Group {
    /// How many observations.
    weight: f64,
    /// Mean response.
    response: f64,
}

/// A least-squares answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The coefficients: the constants of groups, then in the order of the columns.
    pub coefficients: Vec<f64>,
    /// Sum of the squared residuals of all observations.
    pub residual_squares: f64,
    /// How many observations.
    pub observations: u64,
    /// Upper triangle whose product with its own transpose is the covariance for a variance of 1.
    root: Vec<f64>,
}

/// Columns of the root that a leverage takes together: most fits have no more coefficients.
const TOGETHER: usize = 16;

impl Solution {
    /// Observations less coefficients.
    pub fn dof(&self) -> u64 {
        self.observations - self.coefficients.len() as u64
    }

    /// Residual variance; `None` without degrees of freedom.
    pub fn variance(&self) -> Option<f64> {
        (self.dof() > 0).then(|| self.residual_squares / self.dof() as f64)
    }

    /// Covariance of the coefficients, row by row, when an observation has this variance.
    pub fn covariance(&self, variance: f64) -> Vec<Vec<f64>> {
        let p = self.coefficients.len();
        let row = |i: usize| &self.root[i * p..(i + 1) * p];
        // Left of the diagonal there is nothing.
        let product = |i: usize, j: usize| {
            let from = i.max(j);
            variance * row(i)[from..].iter().zip(&row(j)[from..]).map(|(a, b)| a * b).sum::<f64>()
        };
        (0..p).map(|i| (0..p).map(|j| product(i, j)).collect()).collect()
    }

    /// The variance of the fitted value at this row, when an observation has variance 1; the leverage
    /// of an observation that has this row.
    pub fn leverage(&self, row: &[f64]) -> f64 {
        let p = self.coefficients.len();
        let mut leverage = 0.0;
        for from in (0..p).step_by(TOGETHER) {
            let mut sums = [0.0; TOGETHER];
            let width = TOGETHER.min(p - from);
            // Most terms are of one kind, and zero for another.
            for (i, value) in row.iter().enumerate().filter(|(_, value)| **value != 0.0) {
                let root = &self.root[i * p + from..][..width];
                sums.iter_mut().zip(root).for_each(|(sum, root)| *sum += value * root);
            }
            leverage += sums.iter().map(|sum| sum * sum).sum::<f64>();
        }
        leverage
    }

    /// The fitted value at this row.
    pub fn at(&self, row: &[f64]) -> f64 {
        self.coefficients.iter().zip(row).map(|(b, value)| b * value).sum()
    }
}

#[cfg(test)]
mod tests;
