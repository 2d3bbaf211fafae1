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

use super::abreast::{self, Each, add_product, multiply, subtract_product};
use super::mixed::ReducedAbreast;

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

/// Models with the coefficients that all priors treat alike eliminated, `W` of them abreast.
#[derive(Clone, Debug)]
pub struct Split<const W: usize> {
    /// Which coefficients are eliminated, and which are left.
    alike: Vec<usize>,
    own: Vec<usize>,
    /// Factors of the eliminated ones.
    l: Vec<Each<W>>,
    /// `L^-1` times their products with those that are left, row by row, and with the observations.
    across: Vec<Each<W>>,
    turned: Vec<Each<W>>,
    /// What is left: lower triangle, products with the observations, sum of squares.
    xx: Vec<Each<W>>,
    xy: Vec<Each<W>>,
    yy: Each<W>,
    constant: Each<W>,
    /// Of each prior the factors, and the expected coefficients times their transpose.
    factors: Vec<Each<W>>,
    means: Vec<Each<W>>,
    /// Moments of those that are left: shares, sums, sums of products as a lower triangle.
    share: Each<W>,
    first: Vec<Each<W>>,
    second: Vec<Each<W>>,
    /// Memory that is used again.
    covariance: Vec<Each<W>>,
    pulled: Vec<Each<W>>,
    products: Vec<Each<W>>,
}

impl<const W: usize> Split<W> {
    /// To eliminate `alike` of `size` coefficients.
    pub fn new(alike: Vec<usize>, size: usize) -> Self {
        let own: Vec<usize> = (0..size).filter(|i| !alike.contains(i)).collect();
        Self {
            alike,
            own,
            l: Vec::new(),
            across: Vec::new(),
            turned: Vec::new(),
            xx: Vec::new(),
            xy: Vec::new(),
            yy: [0.0; W],
            constant: [0.0; W],
            factors: Vec::new(),
            means: Vec::new(),
            share: [0.0; W],
            first: Vec::new(),
            second: Vec::new(),
            covariance: Vec::new(),
            pulled: Vec::new(),
            products: Vec::new(),
        }
    }

    /// Eliminates; `precisions` are any prior's. Forgets all priors. Where the eliminated ones are not
    /// separable every likelihood is zero.
    pub fn eliminate(&mut self, reduced: &ReducedAbreast<W>, precisions: &[f64]) {
        let (c, o, q) = (self.alike.len(), self.own.len(), reduced.size);
        let entry = |i: usize, j: usize| reduced.xx[i.max(j) * q + i.min(j)];
        self.l.resize(c * c, [0.0; W]);
        let mut prior = 1.0;
        for (i, own) in self.alike.iter().enumerate() {
            for (j, other) in self.alike[..=i].iter().enumerate() {
                self.l[i * c + j] = entry(*own, *other);
            }
            self.l[i * c + i].iter_mut().for_each(|value| *value += precisions[*own]);
            prior *= precisions[*own];
        }
        let determinant_ln = abreast::ln(&abreast::factor(&mut self.l, c));
        self.across.clear();
        self.across.reserve(c * o);
        self.turned.clear();
        self.turned.reserve(c);
        for (i, eliminated) in self.alike.iter().enumerate() {
            let row = &self.l[i * c..=i * c + i];
            for (j, left) in self.own.iter().enumerate() {
                let mut value = entry(*eliminated, *left);
                for (k, l) in row[..i].iter().enumerate() {
                    subtract_product(&mut value, l, &self.across[k * o + j]);
                }
                multiply(&mut value, &row[i]);
                self.across.push(value);
            }
            let mut value = reduced.xy[*eliminated];
            for (l, turned) in row.iter().zip(&self.turned) {
                subtract_product(&mut value, l, turned);
            }
            multiply(&mut value, &row[i]);
            self.turned.push(value);
        }
        self.xx.resize(o * o, [0.0; W]);
        self.xy.clear();
        self.xy.reserve(o);
        for (i, own) in self.own.iter().enumerate() {
            for (j, other) in self.own[..=i].iter().enumerate() {
                let mut value = entry(*own, *other);
                for row in self.across.chunks_exact(o) {
                    subtract_product(&mut value, &row[i], &row[j]);
                }
                self.xx[i * o + j] = value;
            }
            let mut value = reduced.xy[*own];
            for (row, turned) in self.across.chunks_exact(o).zip(&self.turned) {
                subtract_product(&mut value, &row[i], turned);
            }
            self.xy.push(value);
        }
        self.yy = reduced.yy;
        for turned in &self.turned {
            subtract_product(&mut self.yy, turned, turned);
        }
        let prior_ln = prior.ln();
        self.constant = std::array::from_fn(|lane| {
            reduced.constant - 0.5 * (reduced.determinant_ln[lane] + determinant_ln[lane] - prior_ln)
        });
        self.factors.clear();
        self.means.clear();
        self.share = [0.0; W];
        self.first.clear();
        self.first.resize(o, [0.0; W]);
        self.second.clear();
        self.second.resize(o * o, [0.0; W]);
    }

    /// Logarithm of the likelihood under one more prior, coefficients integrated out, as
    /// [`super::mixed::Solution::evidence_ln`]; every precision is above 0.
    pub fn evidence_ln(&mut self, precisions: &[f64]) -> Each<W> {
        let o = self.own.len();
        let (factor, mean) = (self.factors.len(), self.means.len());
        self.factors.extend_from_slice(&self.xx);
        self.means.extend_from_slice(&self.xy);
        let (factor, mean) = (&mut self.factors[factor..], &mut self.means[mean..]);
        let mut prior = 1.0;
        for (i, own) in self.own.iter().enumerate() {
            factor[i * o + i].iter_mut().for_each(|value| *value += precisions[*own]);
            prior *= precisions[*own];
        }
        let determinant = abreast::factor(factor, o);
        abreast::solve_lower(factor, o, mean);
        let mut left = self.yy;
        for x in &*mean {
            subtract_product(&mut left, x, x);
        }
        std::array::from_fn(|lane| {
            self.constant[lane] - 0.5 * (left[lane] + (determinant[lane] / prior).ln())
        })
    }

    /// Takes the `prior`-th one in, by the order of [`Self::evidence_ln`], with these shares.
    pub fn take(&mut self, prior: usize, shares: &Each<W>) {
        let o = self.own.len();
        let factor = &self.factors[prior * o * o..(prior + 1) * o * o];
        let mean = &mut self.means[prior * o..(prior + 1) * o];
        abreast::solve_upper(factor, o, mean);
        abreast::inverse_into(factor, o, &mut self.covariance);
        self.share.iter_mut().zip(shares).for_each(|(sum, share)| *sum += share);
        for i in 0..o {
            add_product(&mut self.first[i], shares, &mean[i]);
            for j in 0..=i {
                let mut product = self.covariance[i * o + j];
                add_product(&mut product, &mean[i], &mean[j]);
                add_product(&mut self.second[i * o + j], shares, &product);
            }
        }
    }

    /// Adds the moments of all coefficients under the priors that were taken in.
    pub fn moments_into(&mut self, all: &mut Moments) {
        let (c, o) = (self.alike.len(), self.own.len());
        let q = c + o;
        let total = |each: &Each<W>| each.iter().sum::<f64>();
        all.share += total(&self.share);
        let mut add = |i: usize, j: usize, sum: f64| {
            all.second[i * q + j] += sum;
            if i != j {
                all.second[j * q + i] += sum;
            }
        };
        for (i, own) in self.own.iter().enumerate() {
            all.first[*own] += total(&self.first[i]);
            for (j, other) in self.own[..=i].iter().enumerate() {
                add(*own, *other, total(&self.second[i * o + j]));
            }
        }
        // start = L'^-1 turned, pull = L'^-1 across.
        for i in (0..c).rev() {
            let inverse = self.l[i * c + i];
            for k in i + 1..c {
                let l = self.l[k * c + i];
                let (own, other) = self.turned.split_at_mut(k);
                subtract_product(&mut own[i], &l, &other[0]);
                let (own, other) = self.across.split_at_mut(k * o);
                for (own, other) in own[i * o..(i + 1) * o].iter_mut().zip(&other[..o]) {
                    subtract_product(own, &l, other);
                }
            }
            multiply(&mut self.turned[i], &inverse);
            self.across[i * o..(i + 1) * o].iter_mut().for_each(|value| multiply(value, &inverse));
        }
        let (start, pull) = (&self.turned, |i: usize| &self.across[i * o..(i + 1) * o]);
        let dot = |a: &[Each<W>], b: &[Each<W>]| {
            let mut sum = [0.0; W];
            a.iter().zip(b).for_each(|(a, b)| add_product(&mut sum, a, b));
            sum
        };
        abreast::inverse_into(&self.l, c, &mut self.covariance);
        // The pulls' expected sums: pull E b.
        self.pulled.clear();
        self.pulled.extend((0..c).map(|i| dot(pull(i), &self.first)));
        for (i, one) in self.alike.iter().enumerate() {
            let mut expected = self.pulled[i].map(|pulled| -pulled);
            add_product(&mut expected, &self.share, &start[i]);
            all.first[*one] += total(&expected);
            // Of this one with those that are left: start E b' - pull E bb'.
            self.products.clear();
            for (j, own) in self.own.iter().enumerate() {
                let mut product = [0.0; W];
                for (k, pull) in pull(i).iter().enumerate() {
                    add_product(&mut product, pull, &self.second[j.max(k) * o + j.min(k)]);
                }
                self.products.push(product);
                let mut across = product.map(|product| -product);
                add_product(&mut across, &start[i], &self.first[j]);
                add(*one, *own, total(&across));
            }
            for (k, other) in self.alike[..=i].iter().enumerate() {
                let mut constant = self.covariance[i * c + k];
                add_product(&mut constant, &start[i], &start[k]);
                let mut product = dot(&self.products, pull(k));
                add_product(&mut product, &self.share, &constant);
                subtract_product(&mut product, &start[i], &self.pulled[k]);
                subtract_product(&mut product, &start[k], &self.pulled[i]);
                add(*one, *other, total(&product));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{Products, Reduced, Row, Solution};

    const SDS: [f64; 3] = [0.0, 0.3, 2.0];

    fn products() -> Products {
        let mut products = Products::new(4, 1, 2);
        for i in 0..9_u32 {
            let x = f64::from(3 + i * 5 % 7);
            let row = [1.0, x, f64::from(i % 2), f64::from(i % 3 == 0)];
            let y = 0.1 - 0.02 * x + 0.3 * f64::from(i * 7 % 5);
            products.add(Row { x: &row, z: &[1.0], group: i as usize / 5, y }, 3.0 + f64::from(i));
        }
        products
    }

    /// Spread by spread and prior by prior, all coefficients at once, is the other way.
    #[test]
    fn moments_over_spreads_and_priors_are_those_of_solving_each() {
        let (mut reduced, mut abreast) = (Reduced::default(), ReducedAbreast::default());
        products().reduce_abreast(&[SDS], &mut abreast);
        let priors = [([2.0, 5.0, 0.5, 3.0], 0.2), ([2.0, 5.0, 7.0, 3.0], 0.5), ([2.0, 5.0, 7.0, 0.1], 0.3)];
        for alike in [vec![], vec![1, 0], vec![0], vec![0, 1, 2, 3]] {
            // With nothing left there is only one prior.
            let priors = if alike.len() == 4 { &priors[..1] } else { &priors[..] };
            let mut split = Split::<3>::new(alike.clone(), 4);
            split.eliminate(&abreast, &priors[0].0);
            let (mut direct, mut solution) = (Moments::new(4), Solution::default());
            for (at, (precisions, share)) in priors.iter().enumerate() {
                let evidence = split.evidence_ln(precisions);
                let shares = [0.5, 1.0, 2.0].map(|factor| factor * share);
                for lane in 0..SDS.len() {
                    products().reduce(&[SDS[lane]], &mut reduced);
                    assert!(reduced.solve(precisions, &mut solution));
                    assert!((evidence[lane] - solution.evidence_ln).abs() < 1e-12, "{alike:?}");
                    direct.add_one(shares[lane], &solution.mean, &solution.covariance());
                    abreast.one_into(lane, &mut reduced);
                    let constant = solution.evidence_ln;
                    assert!(reduced.solve(precisions, &mut solution));
                    assert!((constant - solution.evidence_ln).abs() < 1e-12);
                }
                split.take(at, &shares);
            }
            let mut moments = Moments::new(4);
            split.moments_into(&mut moments);
            assert!((moments.share - direct.share).abs() < 1e-14);
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
