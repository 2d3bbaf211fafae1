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

use super::cholesky::{self, LogProduct};

mod abreast;
pub mod blocks;

pub use abreast::ReducedAbreast;

/// Weighted sums of products of one set of rows: all that a fit needs of the data.
#[derive(Clone, Debug)]
pub struct Products {
    coefficients: usize,
    effects: usize,
    xx: Vec<f64>,
    xy: Vec<f64>,
    yy: f64,
    /// Of each group those of the effects among themselves, with the coefficients and with the observations.
    groups: Vec<f64>,
    /// Sum of the logarithms of the weights.
    weights_ln: f64,
    rows: f64,
}

/// The sums of one group.
#[derive(Clone, Copy)]
struct Group<'a> {
    zz: &'a [f64],
    zx: &'a [f64],
    zy: &'a [f64],
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

/// `to += factor * from`, element by element.
fn add_times(to: &mut [f64], factor: f64, from: &[f64]) {
    for (to, from) in to.iter_mut().zip(from) {
        *to += factor * from;
    }
}

impl Products {
    /// No rows yet.
    pub fn new(coefficients: usize, effects: usize, groups: usize) -> Self {
        Self {
            coefficients,
            effects,
            xx: vec![0.0; coefficients * coefficients],
            xy: vec![0.0; coefficients],
            yy: 0.0,
            groups: vec![0.0; groups * effects * (effects + coefficients + 1)],
            weights_ln: 0.0,
            rows: 0.0,
        }
    }

    /// Forgets all rows.
    pub fn clear(&mut self) {
        self.xx.fill(0.0);
        self.xy.fill(0.0);
        self.groups.fill(0.0);
        (self.yy, self.weights_ln, self.rows) = (0.0, 0.0, 0.0);
    }

    /// Numbers that a group has.
    fn of_group(&self) -> usize {
        self.effects * (self.effects + self.coefficients + 1)
    }

    fn groups(&self) -> impl Iterator<Item = Group<'_>> {
        let (q, r) = (self.coefficients, self.effects);
        self.groups.chunks_exact(self.of_group().max(1)).map(move |group| {
            let (zz, rest) = group.split_at(r * r);
            let (zx, zy) = rest.split_at(r * q);
            Group { zz, zx, zy }
        })
    }

    /// The sums of a group: among effects, with coefficients, with observations.
    fn group_mut(&mut self, group: usize) -> (&mut [f64], &mut [f64], &mut [f64]) {
        let (q, r, size) = (self.coefficients, self.effects, self.of_group());
        let (zz, rest) = self.groups[group * size..(group + 1) * size].split_at_mut(r * r);
        let (zx, zy) = rest.split_at_mut(r * q);
        (zz, zx, zy)
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
        let (zz, zx, zy) = self.group_mut(row.group);
        for i in 0..r {
            let zi = row.z[i] * weight;
            if zi == 0.0 {
                continue;
            }
            for (sum, zj) in zz[i * r..=i * r + i].iter_mut().zip(row.z) {
                *sum += zi * zj;
            }
            for (sum, xj) in zx[i * q..(i + 1) * q].iter_mut().zip(row.x) {
                *sum += zi * xj;
            }
            zy[i] += zi * row.y;
        }
        self.yy += weight * row.y * row.y;
        self.weights_ln += weight.ln();
        self.rows += 1.0;
    }

    /// Takes in all rows of `other`, each weight multiplied by `weight`.
    pub fn add_all(&mut self, other: &Self, weight: f64) {
        add_times(&mut self.xx, weight, &other.xx);
        add_times(&mut self.xy, weight, &other.xy);
        add_times(&mut self.groups, weight, &other.groups);
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
        let groups = self.groups().count();
        into.factor.resize(groups * r * r, 0.0);
        into.scaled.resize(groups * r * (q + 1), 0.0);
        for (number, group) in self.groups().enumerate() {
            let factor = &mut into.factor[number * r * r..(number + 1) * r * r];
            group.precision(effect_sds, factor);
            // One is on the diagonal of a sum of squares: always positive definite.
            into.determinant_ln += cholesky::factor(factor, r).unwrap_or(f64::INFINITY);
            let scaled = &mut into.scaled[number * r * (q + 1)..(number + 1) * r * (q + 1)];
            for i in 0..r {
                let (known, rest) = scaled.split_at_mut(i * (q + 1));
                let row = &mut rest[..=q];
                let sd = effect_sds[i];
                for (to, zx) in row.iter_mut().zip(group.zx[i * q..(i + 1) * q].iter().chain([&group.zy[i]]))
                {
                    *to = sd * zx;
                }
                for k in 0..i {
                    add_times(row, -factor[i * r + k], &known[k * (q + 1)..(k + 1) * (q + 1)]);
                }
                let inverse = factor[i * r + i];
                row.iter_mut().for_each(|value| *value *= inverse);
                for a in 0..q {
                    add_times(&mut into.xx[a * q..=a * q + a], -row[a], row);
                }
                let y = row[q];
                add_times(&mut into.xy, -y, row);
                into.yy -= y * y;
            }
        }
    }

    /// The expected effects of each group, given the coefficients.
    pub fn effects(&self, effect_sds: &[f64], coefficients: &[f64]) -> Vec<Vec<f64>> {
        let (q, r) = (self.coefficients, self.effects);
        let of_group = |group: Group<'_>| {
            let mut factor = vec![0.0; r * r];
            group.precision(effect_sds, &mut factor);
            // As in `reduce`.
            let _ = cholesky::factor(&mut factor, r);
            let left = |i: usize| {
                let row = &group.zx[i * q..(i + 1) * q];
                group.zy[i] - row.iter().zip(coefficients).map(|(x, b)| x * b).sum::<f64>()
            };
            let mut effects: Vec<f64> = (0..r).map(|i| effect_sds[i] * left(i)).collect();
            cholesky::solve_lower(&factor, r, &mut effects);
            cholesky::solve_upper(&factor, r, &mut effects);
            effects.iter_mut().zip(effect_sds).for_each(|(effect, sd)| *effect *= sd);
            effects
        };
        self.groups().map(of_group).collect()
    }
}

impl Group<'_> {
    /// Precision of the effects, each in units of its standard deviation: the lower triangle.
    fn precision(&self, effect_sds: &[f64], into: &mut [f64]) {
        let r = effect_sds.len();
        for i in 0..r {
            for j in 0..=i {
                into[i * r + j] = effect_sds[i] * self.zz[i * r + j] * effect_sds[j];
            }
            into[i * r + i] += 1.0;
        }
    }
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
    /// Of each group the factor of its effects' precision, and what it makes of their products with
    /// coefficients and observations.
    factor: Vec<f64>,
    scaled: Vec<f64>,
}

/// The coefficients at given variances.
#[derive(Clone, Debug, Default)]
pub struct Solution {
    /// Logarithm of the likelihood with effects and coefficients integrated out; free coefficients
    /// with a flat weight of one, which makes it the restricted likelihood.
    pub evidence_ln: f64,
    /// Sum of squares that the solution leaves, priors and effects included.
    pub squares: f64,
    /// Expected coefficients.
    pub mean: Vec<f64>,
    l: Vec<f64>,
}

impl Reduced {
    /// Solves for the coefficients, given their precisions; `false` when free coefficients are not
    /// separable.
    pub fn solve(&self, precisions: &[f64], into: &mut Solution) -> bool {
        let is_separable = self.weigh(precisions, into);
        if is_separable {
            cholesky::solve_upper(&into.l, self.size, &mut into.mean);
        }
        is_separable
    }

    /// The likelihood alone, as [`Self::solve`] has it; `None` when free coefficients are not separable.
    /// `work` is memory that is used again.
    pub fn evidence_ln(&self, precisions: &[f64], work: &mut Solution) -> Option<f64> {
        self.weigh(precisions, work).then_some(work.evidence_ln)
    }

    /// All of a solution but the mean, which is left half way.
    fn weigh(&self, precisions: &[f64], into: &mut Solution) -> bool {
        let q = self.size;
        into.l.clear();
        into.l.extend_from_slice(&self.xx);
        let mut prior = LogProduct::default();
        let mut free = 0.0;
        for (i, precision) in precisions.iter().enumerate() {
            into.l[i * q + i] += precision;
            if *precision > 0.0 {
                prior.multiply(*precision);
            } else {
                free += 1.0;
            }
        }
        let Some(determinant_ln) = cholesky::factor(&mut into.l, q) else { return false };
        into.mean.clear();
        into.mean.extend_from_slice(&self.xy);
        cholesky::solve_lower(&into.l, q, &mut into.mean);
        let explained: f64 = into.mean.iter().map(|x| x * x).sum();
        into.squares = self.yy - explained;
        into.evidence_ln = self.constant + 0.5 * free * std::f64::consts::TAU.ln()
            - 0.5 * (into.squares + self.determinant_ln + determinant_ln - prior.ln());
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
        into.squares = self.yy + known - explained;
        into.evidence_ln = self.constant
            - 0.5 * (into.squares + self.determinant_ln + determinant_ln - prior.determinant_ln);
        true
    }
}

impl Solution {
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
