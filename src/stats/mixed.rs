//! Linear models with random effects of groups, at given variances: the building block of REML and of
//! averages over unknown variances.
//!
//! ```text
//! y = X b + Z u + e    e ~ N(0, 1 / weight)    u_j of each group ~ N(0, sd_j^2)    b ~ N(0, 1 / precision)
//! ```
//!
//! A precision of 0 leaves a coefficient free. Each group's effects are eliminated first, group by group,
//! so the cost grows with the number of groups and not with its cube; what is left is a system in `b`
//! alone whose determinant gives the (restricted) likelihood and whose inverse the covariance of `b`,
//! random effects included. A standard deviation of zero is no special case.
//!
//! Source: Searle, Casella and McCulloch, Variance Components, 1992, chapters 6 and 7 (Henderson's
//! equations, REML as the likelihood with the coefficients integrated out).

use super::cholesky;

mod abreast;

pub use abreast::ReducedAbreast;

/// Weighted sums of products of one set of rows: all that a fit needs of the data.
#[derive(Clone, Debug)]
pub struct Products {
    coefficients: usize,
    effects: usize,
    xx: Vec<f64>,
    xy: Vec<f64>,
    yy: f64,
    groups: Vec<GroupProducts>,
    /// Sum of the logarithms of the weights.
    weights_ln: f64,
    rows: f64,
}

#[derive(Clone, Debug)]
struct GroupProducts {
    zz: Vec<f64>,
    zx: Vec<f64>,
    zy: Vec<f64>,
}

/// One observation.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// Values of the coefficients' terms.
    pub x: &'a [f64],
    /// Values of the group effects' terms.
    pub z: &'a [f64],
    /// Which group, from 0.
    pub group: usize,
    /// The observation.
    pub y: f64,
}

/// Observations column by column, the rows of each group one after the other.
#[derive(Clone, Copy, Debug)]
pub struct Columns<'a> {
    /// Values of the coefficients' terms, one term after the other.
    pub x: &'a [f64],
    /// Values of the group effects' terms, one after the other.
    pub z: &'a [f64],
    /// The observations.
    pub y: &'a [f64],
    /// The rows of each group.
    pub groups: &'a [std::ops::Range<usize>],
}

/// Sum of products. Four sums at a time: one would wait for itself at every step.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (fours_a, rest_a) = a.as_chunks::<4>();
    let (fours_b, rest_b) = b.as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (a, b) in fours_a.iter().zip(fours_b) {
        for (sum, (a, b)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += a * b;
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(a, b)| a * b).sum();
    (sums[0] + sums[2]) + (sums[1] + sums[3]) + rest
}

/// `to += factor * from`, element by element.
fn add_times(to: &mut [f64], factor: f64, from: &[f64]) {
    for (to, from) in to.iter_mut().zip(from) {
        *to += factor * from;
    }
}

impl Products {
    /// No rows yet.
    pub fn new(coefficients: usize, effects: usize, groups: usize) -> Self {
        let group = GroupProducts {
            zz: vec![0.0; effects * effects],
            zx: vec![0.0; effects * coefficients],
            zy: vec![0.0; effects],
        };
        Self {
            coefficients,
            effects,
            xx: vec![0.0; coefficients * coefficients],
            xy: vec![0.0; coefficients],
            yy: 0.0,
            groups: vec![group; groups],
            weights_ln: 0.0,
            rows: 0.0,
        }
    }

    /// Forgets all rows.
    pub fn clear(&mut self) {
        self.xx.fill(0.0);
        self.xy.fill(0.0);
        for group in &mut self.groups {
            group.zz.fill(0.0);
            group.zx.fill(0.0);
            group.zy.fill(0.0);
        }
        (self.yy, self.weights_ln, self.rows) = (0.0, 0.0, 0.0);
    }

    /// Takes in one row with a positive weight.
    pub fn add(&mut self, row: Row<'_>, weight: f64) {
        let (q, r) = (self.coefficients, self.effects);
        for i in 0..q {
            let xi = row.x[i] * weight;
            if xi == 0.0 {
                continue;
            }
            for (sum, xj) in self.xx[i * q..=i * q + i].iter_mut().zip(row.x) {
                *sum += xi * xj;
            }
            self.xy[i] += xi * row.y;
        }
        let group = &mut self.groups[row.group];
        for i in 0..r {
            let zi = row.z[i] * weight;
            if zi == 0.0 {
                continue;
            }
            for (sum, zj) in group.zz[i * r..=i * r + i].iter_mut().zip(row.z) {
                *sum += zi * zj;
            }
            for (sum, xj) in group.zx[i * q..(i + 1) * q].iter_mut().zip(row.x) {
                *sum += zi * xj;
            }
            group.zy[i] += zi * row.y;
        }
        self.yy += weight * row.y * row.y;
        self.weights_ln += weight.ln();
        self.rows += 1.0;
    }

    /// Takes in all of these rows with positive weights; `work` is memory that is used again.
    pub fn add_columns(&mut self, rows: &Columns<'_>, weights: &[f64], work: &mut Vec<f64>) {
        let (q, r, n) = (self.coefficients, self.effects, weights.len());
        let weigh = |values: &[f64], work: &mut Vec<f64>| {
            work.clear();
            work.extend(values.iter().zip(weights).map(|(value, weight)| value * weight));
        };
        let column = |of: &'_ [f64], i: usize| -> std::ops::Range<usize> {
            debug_assert!((i + 1) * n <= of.len());
            i * n..(i + 1) * n
        };
        for i in 0..q {
            weigh(&rows.x[column(rows.x, i)], work);
            for j in 0..=i {
                self.xx[i * q + j] += dot(work, &rows.x[column(rows.x, j)]);
            }
            self.xy[i] += dot(work, rows.y);
        }
        for i in 0..r {
            weigh(&rows.z[column(rows.z, i)], work);
            for (group, own) in self.groups.iter_mut().zip(rows.groups) {
                let weighted = &work[own.clone()];
                for j in 0..=i {
                    group.zz[i * r + j] += dot(weighted, &rows.z[column(rows.z, j)][own.clone()]);
                }
                for c in 0..q {
                    group.zx[i * q + c] += dot(weighted, &rows.x[column(rows.x, c)][own.clone()]);
                }
                group.zy[i] += dot(weighted, &rows.y[own.clone()]);
            }
        }
        weigh(rows.y, work);
        self.yy += dot(work, rows.y);
        // Logarithms are dear: of products, taken before they leave the range of a double.
        let mut product = 1.0_f64;
        for weight in weights {
            product *= weight;
            if !(1e-150..1e150).contains(&product) {
                self.weights_ln += product.ln();
                product = 1.0;
            }
        }
        self.weights_ln += product.ln();
        self.rows += n as f64;
    }

    /// Takes in all rows of `other`, each weight multiplied by `weight`.
    pub fn add_all(&mut self, other: &Self, weight: f64) {
        let add = |to: &mut [f64], from: &[f64]| {
            for (sum, value) in to.iter_mut().zip(from) {
                *sum += weight * value;
            }
        };
        add(&mut self.xx, &other.xx);
        add(&mut self.xy, &other.xy);
        for (to, from) in self.groups.iter_mut().zip(&other.groups) {
            add(&mut to.zz, &from.zz);
            add(&mut to.zx, &from.zx);
            add(&mut to.zy, &from.zy);
        }
        self.yy += weight * other.yy;
        self.weights_ln += other.weights_ln + other.rows * weight.ln();
        self.rows += other.rows;
    }

    /// How many rows.
    pub fn rows(&self) -> f64 {
        self.rows
    }

    /// Logarithm of the density of observations that lie on the fit.
    fn constant(&self) -> f64 {
        -0.5 * (self.rows * std::f64::consts::TAU.ln() - self.weights_ln)
    }

    /// Eliminates the group effects, given their standard deviations.
    pub fn reduce(&self, effect_sds: &[f64], into: &mut Reduced) {
        let (q, r) = (self.coefficients, self.effects);
        into.size = q;
        into.xx.clear();
        into.xx.extend_from_slice(&self.xx);
        into.xy.clear();
        into.xy.extend_from_slice(&self.xy);
        into.yy = self.yy;
        into.constant = self.constant();
        into.determinant_ln = 0.0;
        for group in &self.groups {
            let factor = &mut into.factor;
            factor.clear();
            factor.resize(r * r, 0.0);
            for i in 0..r {
                for j in 0..=i {
                    factor[i * r + j] = effect_sds[i] * group.zz[i * r + j] * effect_sds[j];
                }
                factor[i * r + i] += 1.0;
            }
            // One is on the diagonal of a sum of squares: always positive definite.
            into.determinant_ln += cholesky::factor(factor, r).unwrap_or(f64::INFINITY);
            let scaled = &mut into.scaled;
            scaled.clear();
            scaled.resize(r * (q + 1), 0.0);
            for i in 0..r {
                for c in 0..=q {
                    let own = if c == q { group.zy[i] } else { group.zx[i * q + c] };
                    let known: f64 = (0..i).map(|k| factor[i * r + k] * scaled[k * (q + 1) + c]).sum();
                    scaled[i * (q + 1) + c] = (effect_sds[i] * own - known) / factor[i * r + i];
                }
                let row = &scaled[i * (q + 1)..(i + 1) * (q + 1)];
                let y = row[q];
                for a in 0..q {
                    if row[a] == 0.0 {
                        continue;
                    }
                    for (sum, value) in into.xx[a * q..=a * q + a].iter_mut().zip(row) {
                        *sum -= row[a] * value;
                    }
                    into.xy[a] -= row[a] * y;
                }
                into.yy -= y * y;
            }
        }
    }

    /// The expected effects of each group and their covariance, given the coefficients.
    pub fn effects_into(&self, effect_sds: &[f64], coefficients: &[f64], into: &mut Vec<GroupEffects>) {
        let (q, r) = (self.coefficients, self.effects);
        into.resize_with(self.groups.len(), GroupEffects::default);
        let (mut m, mut left) = (vec![0.0; r * r], vec![0.0; r]);
        for (group, effects) in self.groups.iter().zip(into) {
            for i in 0..r {
                for j in 0..=i {
                    m[i * r + j] = effect_sds[i] * group.zz[i * r + j] * effect_sds[j];
                }
                m[i * r + i] += 1.0;
            }
            // As in `reduce`.
            let _ = cholesky::factor(&mut m, r);
            let GroupEffects { mean, covariance, pull } = effects;
            cholesky::inverse_into(&m, r, covariance);
            for i in 0..r {
                for j in 0..r {
                    covariance[i * r + j] *= effect_sds[i] * effect_sds[j];
                }
                let row = &group.zx[i * q..(i + 1) * q];
                left[i] = group.zy[i] - row.iter().zip(coefficients).map(|(x, b)| x * b).sum::<f64>();
            }
            mean.clear();
            pull.clear();
            pull.resize(r * q, 0.0);
            for i in 0..r {
                let row = &covariance[i * r..(i + 1) * r];
                mean.push(row.iter().zip(&left).map(|(covariance, left)| covariance * left).sum());
                for (k, covariance) in row.iter().enumerate() {
                    add_times(&mut pull[i * q..(i + 1) * q], *covariance, &group.zx[k * q..(k + 1) * q]);
                }
            }
        }
    }
}

/// The effects of one group, given the coefficients.
#[derive(Clone, Debug, Default)]
pub struct GroupEffects {
    /// Expected effects.
    pub mean: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<f64>,
    /// How the expected effects fall when a coefficient rises, effect by coefficient.
    pub pull: Vec<f64>,
}

/// A model without its group effects: quadratic in the coefficients.
#[derive(Clone, Debug, Default)]
pub struct Reduced {
    pub(super) size: usize,
    pub(super) xx: Vec<f64>,
    pub(super) xy: Vec<f64>,
    pub(super) yy: f64,
    pub(super) determinant_ln: f64,
    pub(super) constant: f64,
    factor: Vec<f64>,
    scaled: Vec<f64>,
}

/// The coefficients at given variances.
#[derive(Clone, Debug, Default)]
pub struct Solution {
    /// Logarithm of the likelihood with effects and coefficients integrated out; free coefficients
    /// with a flat weight of one, which makes it the restricted likelihood.
    pub evidence_ln: f64,
    /// Expected coefficients.
    pub mean: Vec<f64>,
    l: Vec<f64>,
}

impl Reduced {
    /// Solves for the coefficients, given their precisions; `false` when free coefficients are not
    /// separable.
    pub fn solve(&self, precisions: &[f64], into: &mut Solution) -> bool {
        let q = self.size;
        into.l.clear();
        into.l.extend_from_slice(&self.xx);
        let mut prior_ln = 0.0;
        let mut free = 0.0;
        for (i, precision) in precisions.iter().enumerate() {
            into.l[i * q + i] += precision;
            if *precision > 0.0 {
                prior_ln += precision.ln();
            } else {
                free += 1.0;
            }
        }
        let Some(determinant_ln) = cholesky::factor(&mut into.l, q) else { return false };
        into.mean.clear();
        into.mean.extend_from_slice(&self.xy);
        cholesky::solve_lower(&into.l, q, &mut into.mean);
        let explained: f64 = into.mean.iter().map(|x| x * x).sum();
        cholesky::solve_upper(&into.l, q, &mut into.mean);
        into.evidence_ln = self.constant + 0.5 * free * std::f64::consts::TAU.ln()
            - 0.5 * (self.yy - explained + self.determinant_ln + determinant_ln - prior_ln);
        true
    }
}

/// What is known of all coefficients together before anything is observed: normal.
#[derive(Clone, Debug, PartialEq)]
pub struct JointPrior {
    mean: Vec<f64>,
    precision: Vec<f64>,
    determinant_ln: f64,
}

impl JointPrior {
    /// From mean and precision, row by row; `None` when the precision is not positive definite.
    pub fn new(mean: Vec<f64>, precision: Vec<f64>) -> Option<Self> {
        let determinant_ln = cholesky::factor(&mut precision.clone(), mean.len())?;
        Some(Self { mean, precision, determinant_ln })
    }
}

impl Reduced {
    /// As [`Self::solve`], where what is known beforehand has a mean and ties between coefficients.
    pub fn solve_about(&self, prior: &JointPrior, into: &mut Solution) -> bool {
        let q = self.size;
        into.l.clear();
        into.l.extend(self.xx.iter().zip(&prior.precision).map(|(xx, precision)| xx + precision));
        let Some(determinant_ln) = cholesky::factor(&mut into.l, q) else { return false };
        let pull = |i: usize| -> f64 {
            prior.precision[i * q..(i + 1) * q].iter().zip(&prior.mean).map(|(p, mean)| p * mean).sum()
        };
        into.mean.clear();
        into.mean.extend((0..q).map(|i| self.xy[i] + pull(i)));
        cholesky::solve_lower(&into.l, q, &mut into.mean);
        let explained: f64 = into.mean.iter().map(|x| x * x).sum();
        cholesky::solve_upper(&into.l, q, &mut into.mean);
        let known: f64 = (0..q).map(|i| prior.mean[i] * pull(i)).sum();
        into.evidence_ln = self.constant
            - 0.5
                * (self.yy + known - explained + self.determinant_ln + determinant_ln - prior.determinant_ln);
        true
    }

    /// Sum of squares that the solution leaves, priors and effects included.
    pub fn left_over(&self, solution: &Solution) -> f64 {
        self.yy - self.xy.iter().zip(&solution.mean).map(|(x, b)| x * b).sum::<f64>()
    }
}

impl Solution {
    /// The fitted value, without effects, of every row: of as many as `into` has.
    pub fn fitted(&self, x: &[f64], into: &mut [f64]) {
        into.fill(0.0);
        for (coefficient, column) in self.mean.iter().zip(x.chunks_exact(into.len())) {
            add_times(into, *coefficient, column);
        }
    }

    /// The variance of a mixture of coefficients for every row of `x`, which is given column by column and
    /// overwritten; added to `into`, which has one value a row.
    pub fn add_variances(&self, x: &mut [f64], into: &mut [f64]) {
        let (q, n) = (self.mean.len(), into.len());
        for i in 0..q {
            let (before, rest) = x.split_at_mut(i * n);
            let own = &mut rest[..n];
            for (k, column) in before.chunks_exact(n).enumerate() {
                add_times(own, -self.l[i * q + k], column);
            }
            let inverse = 1.0 / self.l[i * q + i];
            for (value, sum) in own.iter_mut().zip(into.iter_mut()) {
                *value *= inverse;
                *sum += *value * *value;
            }
        }
    }

    /// Covariance of the coefficients, row by row.
    pub fn covariance(&self) -> Vec<f64> {
        cholesky::inverse(&self.l, self.mean.len())
    }

    /// The same, into a buffer.
    pub fn covariance_into(&self, buffer: &mut Vec<f64>) {
        cholesky::inverse_into(&self.l, self.mean.len(), buffer);
    }
}

#[cfg(test)]
mod tests;
