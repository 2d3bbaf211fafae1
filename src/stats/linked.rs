//! Differences that share part of their errors: are they, all together, no more than chance?
//!
//! The covariance of `n` differences is what each has for itself and a few columns that several share,
//!
//! ```text
//! V = D + L L'        D diagonal, L one column for each shared error
//! ```
//!
//! so that nothing of size n x n is ever made. The variances are estimates: each belongs to a group that
//! was estimated together, on so many degrees of freedom. The test statistic is `Q = d' V^-1 d`. Were the
//! variances known, Q would follow chi-square with n degrees of freedom. As it is, the true variance of a
//! group is taken as `r` times the estimate, `r = dof / chi-square(dof)`; Q given the `r` of all groups is
//! a weighted sum of chi-squares, which is matched by a multiple of one chi-square with the same mean and
//! variance (Satterthwaite), and its tail is averaged over the `r`. With one group that is the F test
//! exactly; with one difference besides, the t test. Groups other than the first share one quantile of
//! their `r`: how far prints differ is in doubt as a whole.
//!
//! Source: Satterthwaite, Biometrics Bulletin 2 (1946) 110; Woodbury's identity, Golub and Van Loan,
//! Matrix Computations, 2.1.4.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::cholesky;

/// Quantiles that the doubt of the first group is averaged over, and of the others.
const NODES: (usize, usize) = (24, 32); // p moves by less than a hundredth of itself with twice as many

/// Degrees of freedom from which a variance is as good as known.
const AS_GOOD_AS_KNOWN: f64 = 1e5;

/// An error that several differences share.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Which group its variance was estimated with.
    pub group: usize,
    /// What one standard deviation of it adds to each difference.
    pub loadings: Vec<f64>,
}

/// The covariance of the differences, by its parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Linked {
    /// The variance that each difference has for itself, above 0; all of group 0.
    pub own: Vec<f64>,
    /// What they share.
    pub columns: Vec<Column>,
    /// Degrees of freedom of each group; infinite where the variance is known or stated.
    pub dofs: Vec<f64>,
}

/// What a test of all differences together says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tested {
    /// `d' V^-1 d`.
    pub statistic: f64,
    /// The chance of as much or more where nothing but chance is at work.
    pub p_value: f64,
}

/// `L' D^-1 L` and the inverse of `I + L' D^-1 L`.
struct Solved {
    rank: usize,
    inverse: Vec<f64>,
}

impl Linked {
    /// The variance of one difference.
    pub fn variance(&self, at: usize) -> f64 {
        self.own[at] + self.columns.iter().map(|column| column.loadings[at].powi(2)).sum::<f64>()
    }

    /// The variance that a weighted sum of the differences has from what each has for itself, and from
    /// each of the columns.
    pub fn variances_of_sum(&self, weights: &[f64]) -> (f64, Vec<f64>) {
        let own = weights.iter().zip(&self.own).map(|(weight, own)| weight * weight * own).sum();
        let of = |column: &Column| dot(weights, &column.loadings).powi(2);
        (own, self.columns.iter().map(of).collect())
    }

    /// Tests all differences together. `None` where the covariance is not positive definite.
    pub fn test(&self, differences: &[f64]) -> Option<Tested> {
        let solved = self.solve()?;
        let statistic = dot(differences, &self.solved_for(&solved, differences));
        let (means, products) = self.traces(&solved);
        Some(Tested { statistic, p_value: self.tail(statistic, &means, &products) })
    }

    /// How far each difference lies from what all the others let expect of it, in standard deviations.
    ///
    /// `None` where the covariance is not positive definite.
    pub fn apart(&self, differences: &[f64]) -> Option<Vec<f64>> {
        let solved = self.solve()?;
        let pulls = self.solved_for(&solved, differences);
        let mut row = vec![0.0; solved.rank];
        let apart = (0..self.own.len()).map(|at| {
            for (value, column) in row.iter_mut().zip(&self.columns) {
                *value = column.loadings[at] / self.own[at];
            }
            let taken: f64 = (0..solved.rank)
                .map(|i| row[i] * dot(&row, &solved.inverse[i * solved.rank..(i + 1) * solved.rank]))
                .sum();
            pulls[at] / (1.0 / self.own[at] - taken).max(f64::MIN_POSITIVE).sqrt()
        });
        Some(apart.collect())
    }

    fn solve(&self) -> Option<Solved> {
        let rank = self.columns.len();
        if self.own.iter().any(|own| own.is_nan() || *own <= 0.0) {
            return None;
        }
        let mut system = vec![0.0; rank * rank];
        for (i, one) in self.columns.iter().enumerate() {
            for (j, other) in self.columns.iter().enumerate().take(i + 1) {
                let sum: f64 = one
                    .loadings
                    .iter()
                    .zip(&other.loadings)
                    .zip(&self.own)
                    .map(|((a, b), own)| a * b / own)
                    .sum();
                system[i * rank + j] = sum + f64::from(u8::from(i == j));
                system[j * rank + i] = system[i * rank + j];
            }
        }
        cholesky::factor(&mut system, rank)?;
        Some(Solved { rank, inverse: cholesky::inverse(&system, rank) })
    }

    /// `V^-1 x`.
    fn solved_for(&self, solved: &Solved, x: &[f64]) -> Vec<f64> {
        let scaled: Vec<f64> = x.iter().zip(&self.own).map(|(x, own)| x / own).collect();
        let shared: Vec<f64> = self.columns.iter().map(|column| dot(&column.loadings, &scaled)).collect();
        let mut result = scaled;
        for (i, column) in self.columns.iter().enumerate() {
            let pull = dot(&solved.inverse[i * solved.rank..(i + 1) * solved.rank], &shared);
            for ((value, loading), own) in result.iter_mut().zip(&column.loadings).zip(&self.own) {
                *value -= loading * pull / own;
            }
        }
        result
    }

    /// `trace(V^-1 V_g)` of each group and `trace(V^-1 V_g V^-1 V_h)` of each two.
    ///
    /// All follow from `G = L' V^-1 L = I - (I + L' D^-1 L)^-1` and from the parts adding up to V.
    fn traces(&self, solved: &Solved) -> (Vec<f64>, Vec<Vec<f64>>) {
        let groups = self.dofs.len();
        let (mut means, mut products) = (vec![0.0; groups], vec![vec![0.0; groups]; groups]);
        let (mut taken, mut taken_twice) = (0.0, 0.0);
        for (i, one) in self.columns.iter().enumerate() {
            let mut row = 0.0;
            for (j, other) in self.columns.iter().enumerate() {
                let entry = f64::from(u8::from(i == j)) - solved.inverse[i * solved.rank + j];
                if i == j {
                    means[one.group] += entry;
                    taken += entry;
                }
                products[one.group][other.group] += entry * entry;
                row += entry * entry;
            }
            taken_twice += row;
            // With what each difference has for itself: what is left of the column's own trace.
            let with_own = 1.0 - solved.inverse[i * solved.rank + i] - row;
            products[one.group][0] += with_own;
            products[0][one.group] += with_own;
        }
        let count = self.own.len() as f64;
        means[0] += count - taken;
        products[0][0] += count - 2.0 * taken + taken_twice;
        (means, products)
    }

    fn tail(&self, statistic: f64, means: &[f64], products: &[Vec<f64>]) -> f64 {
        let groups = self.dofs.len();
        let nodes = |count: usize, dof: f64| if dof < AS_GOOD_AS_KNOWN { count } else { 1 };
        let first = nodes(NODES.0, self.dofs[0]);
        let others = self.dofs[1..].iter().map(|dof| nodes(NODES.1, *dof)).max().unwrap_or(1);
        let (first, others) = (nodes_and_weights(first), nodes_and_weights(others));
        let factors = |group: usize| -> Vec<f64> {
            let nodes = if group == 0 { &first } else { &others };
            nodes.iter().map(|(u, _)| factor(self.dofs[group], *u)).collect()
        };
        let by_group: Vec<Vec<f64>> = (0..groups).map(factors).collect();
        let mut sum = 0.0;
        for (one, (_, first_weight)) in first.iter().enumerate() {
            for (other, (_, weight)) in others.iter().enumerate() {
                let r = |group: usize| by_group[group][if group == 0 { one } else { other }];
                let mean: f64 = (0..groups).map(|g| r(g) * means[g]).sum();
                let half_variance: f64 =
                    (0..groups).map(|g| (0..groups).map(|h| r(g) * r(h) * products[g][h]).sum::<f64>()).sum();
                let above = chi_square_above(statistic * mean / half_variance, mean * mean / half_variance);
                sum += first_weight * weight * above;
            }
        }
        sum
    }
}

/// Quantiles to average over and their weights: the middles of equal steps of the cube root, closest
/// where the variance may be many times the estimate.
fn nodes_and_weights(count: usize) -> Vec<(f64, f64)> {
    let node = |at: usize| {
        let root = (at as f64 + 0.5) / count as f64;
        (root.powi(3), 3.0 * root * root / count as f64)
    };
    let nodes: Vec<(f64, f64)> = (0..count).map(node).collect();
    let all: f64 = nodes.iter().map(|(_, weight)| weight).sum();
    nodes.into_iter().map(|(u, weight)| (u, weight / all)).collect()
}

/// The true variance over the estimate, at the quantile `u` of what is possible.
fn factor(dof: f64, u: f64) -> f64 {
    match ChiSquared::new(dof) {
        Ok(distribution) if dof < AS_GOOD_AS_KNOWN => {
            dof / distribution.inverse_cdf(u).max(f64::MIN_POSITIVE)
        }
        _ => 1.0,
    }
}

/// The chance that chi-square with `dof` exceeds `x`.
fn chi_square_above(x: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(1.0, |distribution| distribution.sf(x.max(0.0)))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::distribution::{f_above, t_below};

    fn two_shared() -> Linked {
        let column = |group, loadings: [f64; 3]| Column { group, loadings: loadings.to_vec() };
        Linked {
            own: vec![1.0, 2.0, 0.5],
            columns: vec![column(1, [1.0, -1.0, 1.0]), column(0, [0.2, 0.1, 0.7])],
            dofs: vec![20.0, 3.0],
        }
    }

    /// The whole matrix, inverted by another route.
    fn whole(linked: &Linked) -> nalgebra::DMatrix<f64> {
        nalgebra::DMatrix::from_fn(3, 3, |i, j| {
            let shared: f64 = linked.columns.iter().map(|c| c.loadings[i] * c.loadings[j]).sum();
            shared + if i == j { linked.own[i] } else { 0.0 }
        })
    }

    #[test]
    fn the_statistic_and_the_traces_are_those_of_the_whole_matrix() {
        let linked = two_shared();
        let inverse = whole(&linked).try_inverse().unwrap();
        let d = nalgebra::DVector::from_vec(vec![0.4, -2.0, 1.1]);
        let expected = (d.transpose() * &inverse * &d)[0];
        let tested = linked.test(d.as_slice()).unwrap();
        assert!((tested.statistic - expected).abs() < 1e-12);
        let (means, products) = linked.traces(&linked.solve().unwrap());
        let print = nalgebra::DVector::from_vec(linked.columns[0].loadings.clone());
        let print = &print * print.transpose();
        let rest = whole(&linked) - &print;
        for (g, one) in [&rest, &print].into_iter().enumerate() {
            assert!((means[g] - (&inverse * one).trace()).abs() < 1e-12, "{g}");
            for (h, other) in [&rest, &print].into_iter().enumerate() {
                let trace = (&inverse * one * &inverse * other).trace();
                assert!((products[g][h] - trace).abs() < 1e-12, "{g} {h}");
            }
        }
        let pulls = &inverse * &d;
        for (at, apart) in linked.apart(d.as_slice()).unwrap().iter().enumerate() {
            assert!((apart - pulls[at] / inverse[(at, at)].sqrt()).abs() < 1e-12, "{at}");
        }
    }

    #[test]
    fn one_group_gives_the_f_test_and_one_difference_the_t_test() {
        for (n, dof) in [(1_usize, 4.0), (6, 9.0), (24, 30.0)] {
            let linked = Linked { own: vec![0.25; n], columns: Vec::new(), dofs: vec![dof] };
            for z in [0.5, 1.5, 2.2] {
                let tested = linked.test(&vec![0.5 * z; n]).unwrap();
                let exact = f_above(tested.statistic / n as f64, n as f64, dof);
                assert!((tested.p_value - exact).abs() < 0.01 * exact + 1e-5, "{n}: {tested:?} {exact}");
            }
        }
        // The same by way of a shared error with a group of its own.
        let column = Column { group: 1, loadings: vec![1.0] };
        let linked = Linked { own: vec![1e-9], columns: vec![column], dofs: vec![f64::INFINITY, 3.0] };
        let p = linked.test(&[3.2]).unwrap().p_value;
        assert!((p / (2.0 * t_below(-3.2, 3.0)) - 1.0).abs() < 0.03, "{p}");
    }

    #[test]
    fn known_variances_give_chi_square() {
        // Source: chi-square table, 0.95 quantile with 5 degrees of freedom: 11.0705.
        let linked = Linked { own: vec![2.0; 5], columns: Vec::new(), dofs: vec![f64::INFINITY] };
        let each = (11.0705_f64 / 5.0 * 2.0).sqrt();
        assert!((linked.test(&[each; 5]).unwrap().p_value - 0.05).abs() < 1e-6);
    }

    #[test]
    fn a_covariance_that_is_none_is_refused() {
        let linked = Linked { own: vec![0.0, 1.0], columns: Vec::new(), dofs: vec![3.0] };
        assert_eq!(linked.test(&[1.0, 1.0]), None);
    }
}
