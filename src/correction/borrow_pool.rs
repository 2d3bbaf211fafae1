//! Several setups' coefficients pooled: what they have in common, how far setups differ, and so what to
//! expect of a new one.
//!
//! ```text
//! estimate_i ~ N(theta_i, S_i)    theta_i ~ N(m, T)    m ~ N(m0, S0)    T diagonal
//! ```
//!
//! Each setup comes as information, `P = S^-1` and `h = P estimate`, which may be none in some direction:
//! a kind that a setup lacks, or an offset that it could not tell from swell. With `S0` unbounded the
//! likelihood of T is the restricted one. T is found coefficient by coefficient as the expected variance
//! under that likelihood and a prior of each standard deviation, so that two setups that happen to agree
//! do not prove that all do. A new setup is expected at `m`, with the covariance of `m` and T.
//!
//! Source: Searle, Casella and McCulloch, Variance Components, 1992, chapter 7 (best linear prediction);
//! Higgins, Thompson and Spiegelhalter, Journal of the Royal Statistical Society A 172 (2009) 137 (a new
//! setup's distribution under a prior of the between-setup spread).

use nalgebra::{DMatrix, DVector};

/// What one setup says.
#[derive(Clone, Debug, PartialEq)]
pub struct Information {
    /// Precision of its estimate; singular where it says nothing.
    pub precision: DMatrix<f64>,
    /// Precision times estimate.
    pub weighted: DVector<f64>,
}

impl Information {
    /// From a posterior `N(mean, covariance)`, less the prior `N(prior_mean, diag(prior_sd^2))` that is in
    /// it; directions in which the prior was all there is say nothing. `None` when the covariance is none.
    pub fn from_posterior(
        mean: &DVector<f64>,
        covariance: &DMatrix<f64>,
        prior: &[(f64, f64)],
    ) -> Option<Self> {
        let size = mean.len();
        // In units of the prior's standard deviations all coefficients are of one size.
        let unit = |i: usize| prior[i].1;
        let scaled = DMatrix::from_fn(size, size, |i, j| covariance[(i, j)] / unit(i) / unit(j));
        let precision = scaled.cholesky()?.inverse();
        let place = DVector::from_fn(size, |i, _| mean[i] / unit(i));
        let before = DVector::from_fn(size, |i, _| prior[i].0 / unit(i));
        let weighted = &precision * place - before;
        let own = (precision - DMatrix::identity(size, size)).symmetric_eigen();
        let mut kept_precision = DMatrix::zeros(size, size);
        let mut kept = DVector::zeros(size);
        for (value, vector) in own.eigenvalues.iter().zip(own.eigenvectors.column_iter()) {
            // Less than a twentieth of the prior's own is rounding and what its mixture leaves.
            if *value > 0.05 {
                kept_precision += vector * vector.transpose() * *value;
                kept += vector * vector.dot(&weighted);
            }
        }
        Some(Self {
            precision: DMatrix::from_fn(size, size, |i, j| kept_precision[(i, j)] / unit(i) / unit(j)),
            weighted: DVector::from_fn(size, |i, _| kept[i] / unit(i)),
        })
    }
}

/// What is known of a between-setup standard deviation beforehand: its logarithm is normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// Its median.
    pub median: f64,
    /// Standard deviation of its logarithm.
    pub ln_sd: f64,
}

/// Setups to be pooled.
#[derive(Clone, Debug)]
pub struct Pool {
    /// The setups.
    pub setups: Vec<Information>,
    /// Mean and precision of each coefficient's common value beforehand; precision 0: nothing is known.
    pub common: Vec<(f64, f64)>,
}

/// What to expect of a new setup.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// Its coefficients.
    pub mean: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// How setups differ: standard deviations, coefficient by coefficient.
    pub between: Vec<f64>,
}

/// Steps each way of the grid over the logarithm of a standard deviation, a third of its prior's deviation
/// apart.
const STEPS: i32 = 9;
/// Rounds over the coefficients; the last change is below a per cent of a standard deviation.
const ROUNDS: usize = 6;

impl Pool {
    fn size(&self) -> usize {
        self.common.len()
    }

    /// The common value's precision and precision times mean, and the logarithm of the likelihood, at these
    /// between-setup standard deviations.
    fn at(&self, between: &[f64]) -> Option<(DMatrix<f64>, DVector<f64>, f64)> {
        let size = self.size();
        let mut precision = DMatrix::from_diagonal(&DVector::from_fn(size, |i, _| self.common[i].1));
        let mut weighted = DVector::from_fn(size, |i, _| self.common[i].0 * self.common[i].1);
        let mut likelihood_ln = 0.0;
        let spread = DVector::from_fn(size, |i, _| between[i]);
        for setup in &self.setups {
            // (P + T^-1)^-1 = t (1 + t P t)^-1 t, which holds where T is zero.
            let scaled = DMatrix::from_fn(size, size, |i, j| spread[i] * setup.precision[(i, j)] * spread[j]);
            let factor = (scaled + DMatrix::identity(size, size)).cholesky()?;
            let inverse = factor.inverse();
            let inner = DMatrix::from_fn(size, size, |i, j| spread[i] * inverse[(i, j)] * spread[j]);
            precision += &setup.precision - &setup.precision * &inner * &setup.precision;
            weighted += &setup.weighted - &setup.precision * &inner * &setup.weighted;
            let diagonal = factor.l_dirty().diagonal();
            likelihood_ln += 0.5 * setup.weighted.dot(&(&inner * &setup.weighted))
                - diagonal.iter().map(|value| value.ln()).sum::<f64>();
        }
        // Symmetric but for rounding.
        precision = (&precision + precision.transpose()) * 0.5;
        let factor = precision.clone().cholesky()?;
        let diagonal = factor.l_dirty().diagonal();
        likelihood_ln += 0.5 * weighted.dot(&factor.solve(&weighted))
            - diagonal.iter().map(|value| value.ln()).sum::<f64>();
        Some((precision, weighted, likelihood_ln))
    }

    /// Logarithm of the likelihood of these between-setup standard deviations, up to a constant: the
    /// restricted one where nothing is known of the common values.
    pub fn likelihood_ln(&self, between: &[f64]) -> Option<f64> {
        self.at(between).map(|(.., likelihood_ln)| likelihood_ln)
    }

    /// What to expect of a new setup where setups differ by these standard deviations.
    pub fn expected_at(&self, between: Vec<f64>) -> Option<Expected> {
        let (precision, weighted, _) = self.at(&between)?;
        let factor = precision.cholesky()?;
        let mean = factor.solve(&weighted);
        let mut covariance = factor.inverse();
        for (i, sd) in between.iter().enumerate() {
            covariance[(i, i)] += sd * sd;
        }
        Some(Expected { mean, covariance, between })
    }

    /// What to expect of a new setup, the between-setup spreads estimated.
    pub fn expected(&self, prior: &[Between]) -> Option<Expected> {
        let mut between: Vec<f64> = prior.iter().map(|prior| prior.median).collect();
        for _ in 0..ROUNDS {
            for (i, prior) in prior.iter().enumerate() {
                let mut points = Vec::new();
                for step in -STEPS..=STEPS {
                    let z = f64::from(step) / 3.0;
                    between[i] = prior.median * (prior.ln_sd * z).exp();
                    points.push((between[i], self.likelihood_ln(&between)? - 0.5 * z * z));
                }
                let largest = points.iter().map(|(_, ln)| *ln).fold(f64::NEG_INFINITY, f64::max);
                let weight = |ln: f64| (ln - largest).exp();
                let total: f64 = points.iter().map(|(_, ln)| weight(*ln)).sum();
                let variance: f64 = points.iter().map(|(sd, ln)| weight(*ln) * sd * sd).sum();
                between[i] = (variance / total).sqrt();
            }
        }
        self.expected_at(between)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean of each of the six batches of five.
    fn batches() -> Vec<Vec<f64>> {
        let text = include_str!("../../data/published/dyestuff.csv");
        let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
        let mut batches: Vec<(String, Vec<f64>)> = Vec::new();
        for row in rows {
            let (name, value) = row.split_once(',').unwrap();
            if batches.last().is_none_or(|(last, _)| last != name) {
                batches.push((name.to_owned(), Vec::new()));
            }
            batches.last_mut().unwrap().1.push(value.trim().parse().unwrap());
        }
        batches.into_iter().map(|(_, values)| values).collect()
    }

    fn mean(values: &[f64]) -> f64 {
        values.iter().sum::<f64>() / values.len() as f64
    }

    /// Published residual variance of the Dyestuff data.
    const RESIDUAL: f64 = 2451.25;

    fn pool(batches: &[Vec<f64>]) -> Pool {
        let of = |values: &Vec<f64>| {
            let precision = values.len() as f64 / RESIDUAL;
            Information {
                precision: DMatrix::from_element(1, 1, precision),
                weighted: DVector::from_element(1, precision * mean(values)),
            }
        };
        Pool { setups: batches.iter().map(of).collect(), common: vec![(0.0, 0.0)] }
    }

    /// Source: Davies and Goldsmith 1972, the Dyestuff data; Bates, lme4: Mixed-effects modeling with R,
    /// chapter 1: between batches 1764.05 by restricted maximum likelihood, mean 1527.5 with standard error 19.383.
    #[test]
    fn the_between_batch_variance_of_the_dyestuff_data_has_the_greatest_likelihood() {
        let pool = pool(&batches());
        let at = |variance: f64| pool.likelihood_ln(&[f64::sqrt(variance)]).unwrap();
        // The slope of the likelihood is zero there, and at the unrestricted 1388.33 it is not.
        let slope = |variance: f64| (at(variance + 1.0) - at(variance - 1.0)) / 2.0;
        assert!(slope(1764.05).abs() < 1e-9, "{}", slope(1764.05));
        assert!(slope(1388.33) > 1e-5);
        assert!(at(1764.05) > at(1764.05 * 0.9) && at(1764.05) > at(1764.05 * 1.1));
        let expected = pool.expected_at(vec![1764.05_f64.sqrt()]).unwrap();
        assert!((expected.mean[0] - 1527.5).abs() < 1e-9);
        let mean_se = (expected.covariance[(0, 0)] - 1764.05).sqrt();
        assert!((mean_se - 19.3834122).abs() < 1e-6, "{mean_se}");
    }

    /// What five batches lend to the sixth, and its own five readings, give its best linear prediction from
    /// all six: -17.607, 0.391, 28.562, -23.085, 56.733, -44.995 (lme4, `ranef`).
    #[test]
    fn what_five_batches_lend_makes_the_best_linear_prediction_of_the_sixth() {
        let all = batches();
        let published = [
            -17.606851366879,
            0.391263363708,
            28.562225550712,
            -23.084538458797,
            56.733187737718,
            -44.995286826467,
        ];
        for (left_out, expected) in published.iter().enumerate() {
            let mut others = all.clone();
            let own = others.remove(left_out);
            let lent = pool(&others).expected_at(vec![1764.05_f64.sqrt()]).unwrap();
            let (before, after) = (1.0 / lent.covariance[(0, 0)], own.len() as f64 / RESIDUAL);
            let predicted = (before * lent.mean[0] + after * mean(&own)) / (before + after);
            assert!((predicted - 1527.5 - expected).abs() < 1e-4, "{left_out}: {}", predicted - 1527.5);
            // Negative control: its own mean alone is a quarter further out.
            assert!((mean(&own) - 1527.5 - expected).abs() > 0.1);
        }
    }

    #[test]
    fn what_a_posterior_has_from_its_prior_is_taken_out_again() {
        let truth = [0.3, -0.1];
        let own = DMatrix::from_row_slice(2, 2, &[900.0, 250.0, 250.0, 400.0]);
        let prior: [(f64, f64); 2] = [(0.0, 0.2), (-0.3, 0.5)];
        let before = DMatrix::from_diagonal(&DVector::from_fn(2, |i, _| prior[i].1.powi(-2)));
        let covariance = (&own + &before).try_inverse().unwrap();
        let pull = &own * DVector::from_row_slice(&truth) + before * DVector::from_row_slice(&[0.0, -0.3]);
        let posterior = &covariance * pull;
        let information = Information::from_posterior(&posterior, &covariance, &prior).unwrap();
        assert!((&information.precision - &own).abs().max() < 1e-8);
        assert!((information.weighted - own * DVector::from_row_slice(&truth)).abs().max() < 1e-9);
        // A prior that nothing was added to says nothing.
        let alone = DMatrix::from_diagonal(&DVector::from_row_slice(&[0.04, 0.25]));
        let nothing = Information::from_posterior(&DVector::from_row_slice(&[0.0, -0.3]), &alone, &prior);
        assert_eq!(nothing.unwrap().precision, DMatrix::zeros(2, 2));
    }

    #[test]
    fn setups_that_differ_lend_less_than_setups_that_agree() {
        let of = |values: &[f64]| {
            let setup = |value: &f64| Information {
                precision: DMatrix::from_element(1, 1, 10_000.0),
                weighted: DVector::from_element(1, 10_000.0 * value),
            };
            let pool = Pool { setups: values.iter().map(setup).collect(), common: vec![(0.0, 25.0)] };
            pool.expected(&[Between { median: 0.02, ln_sd: 0.8 }]).unwrap()
        };
        let alike = of(&[0.10, 0.11, 0.10, 0.09, 0.10]);
        let unlike = of(&[0.10, 0.21, -0.05, 0.05, 0.19]);
        assert!(alike.covariance[(0, 0)].sqrt() < 0.02, "{alike:?}");
        assert!(unlike.covariance[(0, 0)].sqrt() > 0.08, "{unlike:?}");
        // Two that agree do not prove that all do.
        assert!(of(&[0.10, 0.10]).covariance[(0, 0)] > alike.covariance[(0, 0)]);
    }
}
