//! One model under many priors that differ in some coefficients only.
//!
//! The coefficients of which the prior is the same are eliminated once. What is left is a small system for
//! the others, solved for each prior; their moments are summed up, and those of the first follow for all
//! priors together, since given the others they do not depend on the prior:
//!
//! ```text
//! a | b ~ N(start - pull b, C)        E a = start - pull E b        E ab' = start E b' - pull E bb'
//! ```
//!
//! Source: Golub and Van Loan, Matrix Computations, 4th ed., 3.2 and 4.2 (block elimination).

use super::cholesky;
use super::mixed::Reduced;

/// Sums over priors, each with its share: the moments of all coefficients.
#[derive(Clone, Debug, Default)]
pub struct Moments {
    /// Sum of the shares.
    pub share: f64,
    /// Sum of the expected coefficients.
    pub first: Vec<f64>,
    /// Sum of the expected products of two coefficients, row by row.
    pub second: Vec<f64>,
}

impl Moments {
    /// Nothing yet, of so many coefficients.
    pub fn new(size: usize) -> Self {
        Self { share: 0.0, first: vec![0.0; size], second: vec![0.0; size * size] }
    }

    /// Multiplies all shares.
    pub fn scale(&mut self, factor: f64) {
        self.share *= factor;
        self.first.iter_mut().chain(&mut self.second).for_each(|sum| *sum *= factor);
    }

    /// Takes in the sums of others, their shares multiplied by `factor`.
    pub fn add(&mut self, others: &Self, factor: f64) {
        self.share += factor * others.share;
        let sums = self.first.iter_mut().chain(&mut self.second);
        sums.zip(others.first.iter().chain(&others.second)).for_each(|(sum, other)| *sum += factor * other);
    }

    /// Takes in a mean and covariance, row by row.
    pub fn add_one(&mut self, share: f64, mean: &[f64], covariance: &[f64]) {
        self.share += share;
        let size = mean.len();
        for i in 0..size {
            self.first[i] += share * mean[i];
            for j in 0..size {
                self.second[i * size + j] += share * (covariance[i * size + j] + mean[i] * mean[j]);
            }
        }
    }
}

/// A model with the coefficients that all priors treat alike eliminated.
#[derive(Clone, Debug, Default)]
pub struct Split {
    /// Which coefficients are eliminated, and which are left.
    alike: Vec<usize>,
    own: Vec<usize>,
    /// Factor of the eliminated ones.
    l: Vec<f64>,
    /// `L^-1` times their products with those that are left, row by row, and with the observations.
    across: Vec<f64>,
    turned: Vec<f64>,
    /// What is left: lower triangle, products with the observations, sum of squares.
    xx: Vec<f64>,
    xy: Vec<f64>,
    yy: f64,
    constant: f64,
    /// The last prior's factor, expected coefficients and their covariance.
    factor: Vec<f64>,
    mean: Vec<f64>,
    covariance: Vec<f64>,
    /// Moments of those that are left.
    left: Moments,
}

impl Split {
    /// To eliminate `alike` of `size` coefficients.
    pub fn new(alike: Vec<usize>, size: usize) -> Self {
        let own: Vec<usize> = (0..size).filter(|i| !alike.contains(i)).collect();
        Self { alike, own, ..Self::default() }
    }

    /// Eliminates; `precisions` are any prior's. `false` when the eliminated ones are not separable.
    pub fn eliminate(&mut self, reduced: &Reduced, precisions: &[f64]) -> bool {
        let (c, o, q) = (self.alike.len(), self.own.len(), reduced.size);
        let entry = |i: usize, j: usize| reduced.xx[i.max(j) * q + i.min(j)];
        self.l.clear();
        self.l.resize(c * c, 0.0);
        let mut prior_ln = 0.0;
        for (i, own) in self.alike.iter().enumerate() {
            for (j, other) in self.alike[..=i].iter().enumerate() {
                self.l[i * c + j] = entry(*own, *other);
            }
            self.l[i * c + i] += precisions[*own];
            prior_ln += precisions[*own].ln();
        }
        let Some(determinant_ln) = cholesky::factor(&mut self.l, c) else { return false };
        self.across.clear();
        self.turned.clear();
        for (i, eliminated) in self.alike.iter().enumerate() {
            let inverse = 1.0 / self.l[i * c + i];
            let row = &self.l[i * c..i * c + i];
            for (j, left) in self.own.iter().enumerate() {
                let known: f64 = row.iter().enumerate().map(|(k, l)| l * self.across[k * o + j]).sum();
                self.across.push((entry(*eliminated, *left) - known) * inverse);
            }
            let known: f64 = row.iter().zip(&self.turned).map(|(l, turned)| l * turned).sum();
            self.turned.push((reduced.xy[*eliminated] - known) * inverse);
        }
        self.xx.clear();
        self.xx.resize(o * o, 0.0);
        self.xy.clear();
        for (i, own) in self.own.iter().enumerate() {
            for (j, other) in self.own[..=i].iter().enumerate() {
                let known: f64 = self.across.chunks_exact(o).map(|row| row[i] * row[j]).sum();
                self.xx[i * o + j] = entry(*own, *other) - known;
            }
            let known: f64 =
                self.across.chunks_exact(o).zip(&self.turned).map(|(row, turned)| row[i] * turned).sum();
            self.xy.push(reduced.xy[*own] - known);
        }
        self.yy = reduced.yy - self.turned.iter().map(|turned| turned * turned).sum::<f64>();
        self.constant = reduced.constant - 0.5 * (reduced.determinant_ln + determinant_ln - prior_ln);
        self.left.share = 0.0;
        self.left.first.clear();
        self.left.first.resize(o, 0.0);
        self.left.second.clear();
        self.left.second.resize(o * o, 0.0);
        true
    }

    /// Logarithm of the likelihood under a prior, coefficients integrated out, as
    /// [`super::mixed::Solution::evidence_ln`]; every precision is above 0. `None` when there is none.
    pub fn evidence_ln(&mut self, precisions: &[f64]) -> Option<f64> {
        let o = self.own.len();
        self.factor.clear();
        self.factor.extend_from_slice(&self.xx);
        let mut prior = 1.0;
        for (i, own) in self.own.iter().enumerate() {
            self.factor[i * o + i] += precisions[*own];
            prior *= precisions[*own];
        }
        let determinant_ln = cholesky::factor(&mut self.factor, o)?;
        self.mean.clear();
        self.mean.extend_from_slice(&self.xy);
        cholesky::solve_lower(&self.factor, o, &mut self.mean);
        let explained: f64 = self.mean.iter().map(|x| x * x).sum();
        Some(self.constant - 0.5 * (self.yy - explained + determinant_ln - prior.ln()))
    }

    /// Takes the prior of the last [`Self::evidence_ln`] in with this share.
    pub fn take(&mut self, share: f64) {
        let o = self.own.len();
        cholesky::solve_upper(&self.factor, o, &mut self.mean);
        cholesky::inverse_into(&self.factor, o, &mut self.covariance);
        self.left.add_one(share, &self.mean, &self.covariance);
    }

    /// Multiplies the shares of all priors that were taken in.
    pub fn scale(&mut self, factor: f64) {
        self.left.scale(factor);
    }

    /// Adds the moments of all coefficients under the priors that were taken in.
    pub fn moments_into(&mut self, all: &mut Moments) {
        let (c, o) = (self.alike.len(), self.own.len());
        let q = c + o;
        let Moments { share, first, second } = &self.left;
        if *share == 0.0 {
            return;
        }
        all.share += share;
        for (i, own) in self.own.iter().enumerate() {
            all.first[*own] += first[i];
            for (j, other) in self.own.iter().enumerate() {
                all.second[own * q + other] += second[i * o + j];
            }
        }
        // start = L'^-1 turned, pull = L'^-1 across.
        for i in (0..c).rev() {
            let inverse = 1.0 / self.l[i * c + i];
            for k in i + 1..c {
                let l = self.l[k * c + i];
                self.turned[i] -= l * self.turned[k];
                for j in 0..o {
                    self.across[i * o + j] -= l * self.across[k * o + j];
                }
            }
            self.turned[i] *= inverse;
            self.across[i * o..(i + 1) * o].iter_mut().for_each(|value| *value *= inverse);
        }
        let (start, pull) = (&self.turned, |i: usize| &self.across[i * o..(i + 1) * o]);
        cholesky::inverse_into(&self.l, c, &mut self.covariance);
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        for (i, one) in self.alike.iter().enumerate() {
            let pulled = dot(pull(i), first);
            all.first[*one] += share * start[i] - pulled;
            // Of this one with those that are left: start E b' - pull E bb'.
            self.mean.clear();
            self.mean.extend((0..o).map(|j| dot(pull(i), &second[j * o..(j + 1) * o])));
            for (j, own) in self.own.iter().enumerate() {
                let product = start[i] * first[j] - self.mean[j];
                all.second[one * q + own] += product;
                all.second[own * q + one] += product;
            }
            // Of two of the same sums one is taken for both: a covariance is symmetric to the last bit.
            for (k, other) in self.alike[..=i].iter().enumerate() {
                let constant = self.covariance[i * c + k] + start[i] * start[k];
                let linear = start[i] * dot(pull(k), first) + start[k] * pulled;
                let product = share * constant - linear + dot(&self.mean, pull(k));
                all.second[one * q + other] += product;
                if k < i {
                    all.second[other * q + one] += product;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Products, Row, Solution};

    fn reduced() -> Reduced {
        let mut products = Products::new(4, 1, 2);
        for i in 0..9_u32 {
            let x = f64::from(3 + i * 5 % 7);
            let row = [1.0, x, f64::from(i % 2), f64::from(i % 3 == 0)];
            let y = 0.1 - 0.02 * x + 0.3 * f64::from(i * 7 % 5);
            products.add(Row { x: &row, z: &[1.0], group: i as usize / 5, y }, 3.0 + f64::from(i));
        }
        let mut reduced = Reduced::default();
        products.reduce(&[0.3], &mut reduced);
        reduced
    }

    /// Prior by prior, all coefficients at once, is the other way.
    #[test]
    fn moments_over_priors_are_those_of_solving_each() {
        let reduced = reduced();
        let priors = [([2.0, 5.0, 0.5, 3.0], 0.2), ([2.0, 5.0, 7.0, 3.0], 0.5), ([2.0, 5.0, 7.0, 0.1], 0.3)];
        for alike in [vec![], vec![1, 0], vec![0], vec![0, 1, 2, 3]] {
            // With nothing left there is only one prior.
            let priors = if alike.len() == 4 { &priors[..1] } else { &priors[..] };
            let mut split = Split::new(alike.clone(), 4);
            assert!(split.eliminate(&reduced, &priors[0].0));
            let (mut direct, mut solution) = (Moments::new(4), Solution::default());
            for (precisions, share) in priors {
                assert!(reduced.solve(precisions, &mut solution));
                let evidence = split.evidence_ln(precisions).unwrap();
                assert!((evidence - solution.evidence_ln).abs() < 1e-12, "{alike:?}");
                split.take(*share);
                direct.add_one(*share, &solution.mean, &solution.covariance());
            }
            let mut moments = Moments::new(4);
            split.moments_into(&mut moments);
            assert!((moments.share - direct.share).abs() < 1e-15);
            let is_symmetric =
                |(i, j): (usize, usize)| moments.second[i * 4 + j] == moments.second[j * 4 + i];
            assert!((0..4).flat_map(|i| (0..i).map(move |j| (i, j))).all(is_symmetric), "{alike:?}");
            let sums = moments.first.iter().chain(&moments.second);
            for (one, other) in sums.zip(direct.first.iter().chain(&direct.second)) {
                assert!((one - other).abs() < 1e-12, "{alike:?}: {one} {other}");
            }
        }
    }
}
