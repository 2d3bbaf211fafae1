//! The structured model averaged over what is not known of its spreads.
//!
//! Given the spreads, everything is linear and normal ([`crate::stats::mixed`]). The spreads themselves
//! are known poorly from a dozen features or two prints, and plugging in one estimate, zero perhaps,
//! would claim too much. So the answer is averaged over a grid of them, each point weighted by its
//! restricted likelihood times the prior: feature to feature, print to print, and the spreads that own
//! offsets and the x/y difference may have. The grid reaches as far as the weights do.

use crate::stats::hump;
use crate::stats::mixed::{Products, Reduced, Row, Solution};

use super::choices::{Choice, PrintPrior, Spreads, choices};
use super::design::Part;
use super::lent;
use super::priors::{self, Prior};

/// Points across the feature-to-feature spread: 1.4 standard deviations apart, at which the trapezoidal sum
/// of a normal curve is still right to 1e-4.
const FEATURE_POINTS: u32 = 5;
/// Points across the print-to-print spread.
const PRINT_POINTS: u32 = 5;
/// Points across the prints' scale over their swell, in standard deviations of the prior's logarithm,
/// with weights: Gauss-Hermite of two points (Abramowitz and Stegun 25.4.46).
const SHRINK_POINTS: [(f64, f64); 2] = [(-1.0, 0.5), (1.0, 0.5)];
/// Points of less than this share of the heaviest one's weight are left out.
const NEGLIGIBLE_LN: f64 = -7.0;

/// One part of the model with its observations.
pub struct Observed<'a> {
    /// The part.
    pub part: &'a Part,
    /// Rows with equal reading variance, taken in with unit weights.
    groups: Vec<(f64, Products)>,
    prior_means: Vec<f64>,
}

/// What one row of a part observes.
#[derive(Clone, Copy, Debug)]
pub struct Observation {
    /// Deviation, mm.
    pub deviation_mm: f64,
    /// What the reading adds to its variance, mm^2.
    pub reading_variance_mm2: f64,
}

impl<'a> Observed<'a> {
    /// Takes in a part; rows that observe `None` are left out.
    pub fn new(part: &'a Part, prints: usize, rows: &[Option<Observation>]) -> Self {
        let prior_means: Vec<f64> = part
            .terms
            .iter()
            .map(|term| match priors::prior(*term) {
                Prior::Fixed { mean, .. } => mean,
                Prior::HoleOffset | Prior::OwnOffset | Prior::XyDifference => 0.0,
            })
            .collect();
        let mut groups: Vec<(f64, Products)> = Vec::new();
        for (row, observation) in rows.iter().enumerate() {
            let Some(observation) = observation else { continue };
            let variance = observation.reading_variance_mm2;
            let found = groups.iter().position(|(known, _)| *known == variance);
            let index = found.unwrap_or_else(|| {
                groups.push((variance, Products::new(part.terms.len(), part.effects, prints)));
                groups.len() - 1
            });
            let x = part.x(row);
            let expected: f64 = x.iter().zip(&prior_means).map(|(x, mean)| x * mean).sum();
            let y = observation.deviation_mm - expected;
            groups[index].1.add(Row { x, z: part.z(row), group: part.print[row], y }, 1.0);
        }
        Self { part, groups, prior_means }
    }

    /// The sums of products at this feature-to-feature spread.
    pub fn products(&self, feature_sd: f64, prints: usize) -> Products {
        let mut all = Products::new(self.part.terms.len(), self.part.effects, prints);
        for (variance, products) in &self.groups {
            all.add_all(products, 1.0 / (feature_sd * feature_sd + variance));
        }
        all
    }
}

/// A value of a spread and its share of the weight.
pub type Weighted = (f64, f64);

/// What is known of one part.
#[derive(Clone, Debug, Default)]
pub struct PartPosterior {
    /// Expected coefficients.
    pub mean: Vec<f64>,
    /// Their covariance, row by row, prints' effects included.
    pub covariance: Vec<f64>,
    /// Each print effect's standard deviation, over the grid.
    pub effect_sds: Vec<Vec<Weighted>>,
}

/// What is known of all of it.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Feature-to-feature standard deviation, over the grid, mm.
    pub feature_sd: Vec<Weighted>,
    /// The parts, in the order given.
    pub parts: Vec<PartPosterior>,
}

/// Averages over the spreads.
pub fn average(observed: &[Observed<'_>], spreads: &Spreads) -> Posterior {
    let mut work = Work::default();
    let choices: Vec<Vec<Choice>> = observed
        .iter()
        .map(|observed| {
            let weak = choices(observed.part, spreads.spread_mm, spreads.prior_scale);
            lent::with_lent(observed.part, weak, &observed.prior_means, spreads.lent.as_ref())
        })
        .collect();
    let features = feature_points(observed, spreads, &choices, &mut work);
    // For each part and each feature-to-feature spread the points of the rest.
    let mut tables: Vec<Vec<Table>> = Vec::new();
    let mut weights_ln: Vec<f64> = features.iter().map(|sd| spreads.feature_density_ln(*sd)).collect();
    for ((observed, print), choices) in observed.iter().zip(&spreads.print).zip(&choices) {
        let middle = features[features.len() / 2];
        let products = observed.products(middle, spreads.prints);
        let values = print_points(&products, observed.part, *print, middle, choices, &mut work);
        let mut of_part = Vec::new();
        for (feature_sd, weight_ln) in features.iter().zip(&mut weights_ln) {
            let products = observed.products(*feature_sd, spreads.prints);
            let sds: Vec<f64> = values.iter().map(|value| print.sd(*value, *feature_sd)).collect();
            let shares_ln: Vec<f64> = values.iter().map(|value| print.spread.density_ln(*value)).collect();
            let prints = (sds.as_slice(), shares_ln.as_slice());
            let table = Table::new(products, observed.part, prints, choices, &mut work);
            *weight_ln += table.total_ln;
            of_part.push(table);
        }
        tables.push(of_part);
    }
    let total_ln = log_sum(&weights_ln);
    let weights: Vec<f64> = weights_ln.iter().map(|ln| (ln - total_ln).exp()).collect();
    let parts = observed.iter().zip(&tables).zip(&choices);
    let parts =
        parts.map(|((observed, tables), choices)| moments(observed, &weights, tables, choices, &mut work));
    let parts = parts.collect();
    Posterior { feature_sd: features.into_iter().zip(weights).collect(), parts }
}

#[derive(Default)]
struct Work {
    reduced: Reduced,
    solution: Solution,
    inverse: Vec<f64>,
}

/// Print effects' standard deviations in a part whose main one is `sd`, each with the logarithm of its
/// prior share.
fn effect_points(part: &Part, sd: f64) -> Vec<(Vec<f64>, f64)> {
    if part.is_height {
        return vec![(vec![sd], 0.0)];
    }
    let shrink = priors::SHRINK_OVER_PRINT_PER_MM;
    let point =
        |(z, weight): (f64, f64)| (vec![sd, sd * shrink.median * (z * shrink.ln_sd).exp()], weight.ln());
    SHRINK_POINTS.into_iter().map(point).collect()
}

/// The points at one feature-to-feature spread and the logarithms of their weights.
struct Table {
    products: Products,
    points: Vec<Vec<f64>>,
    /// Point by point, choice by choice.
    weights_ln: Vec<f64>,
    total_ln: f64,
}

impl Table {
    fn new(
        products: Products,
        part: &Part,
        (print_sds, shares_ln): (&[f64], &[f64]),
        choices: &[Choice],
        work: &mut Work,
    ) -> Self {
        let mut points = Vec::new();
        let mut weights_ln = Vec::new();
        for (sd, print_ln) in print_sds.iter().zip(shares_ln) {
            for (sds, point_ln) in effect_points(part, *sd) {
                products.reduce(&sds, &mut work.reduced);
                for choice in choices {
                    // Every precision is positive, so the system always has a solution.
                    let solved = choice.solve(&work.reduced, &mut work.solution);
                    let evidence = if solved { work.solution.evidence_ln } else { f64::NEG_INFINITY };
                    weights_ln.push(evidence + print_ln + point_ln + choice.share_ln);
                }
                points.push(sds);
            }
        }
        let total_ln = log_sum(&weights_ln);
        Self { products, points, weights_ln, total_ln }
    }
}

/// Logarithm of a sum of exponentials.
fn log_sum(terms: &[f64]) -> f64 {
    let largest = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    largest + terms.iter().map(|term| (term - largest).exp()).sum::<f64>().ln()
}

/// Mean, covariance and effects of one part over all points that weigh something.
fn moments(
    observed: &Observed<'_>,
    weights: &[f64],
    tables: &[Table],
    choices: &[Choice],
    work: &mut Work,
) -> PartPosterior {
    let q = observed.part.terms.len();
    let mut posterior = PartPosterior {
        mean: vec![0.0; q],
        covariance: vec![0.0; q * q],
        effect_sds: vec![Vec::new(); observed.part.effects],
    };
    let heaviest = tables
        .iter()
        .zip(weights)
        .flat_map(|(table, weight)| table.weights_ln.iter().map(move |ln| ln - table.total_ln + weight.ln()));
    let heaviest = heaviest.fold(f64::NEG_INFINITY, f64::max);
    let mut taken = 0.0;
    for (weight, table) in weights.iter().zip(tables) {
        for (point, sds) in table.points.iter().enumerate() {
            let count = choices.len();
            let row = &table.weights_ln[point * count..(point + 1) * count];
            let point_weight: f64 = row.iter().map(|ln| (ln - table.total_ln).exp() * weight).sum();
            for (effect, sd) in posterior.effect_sds.iter_mut().zip(sds) {
                effect.push((*sd, point_weight));
            }
            let mut reduced = false;
            for (weight_ln, choice) in row.iter().zip(choices) {
                let share_ln = weight_ln - table.total_ln + weight.ln();
                if share_ln < heaviest + NEGLIGIBLE_LN {
                    continue;
                }
                if !reduced {
                    table.products.reduce(sds, &mut work.reduced);
                    reduced = true;
                }
                choice.solve(&work.reduced, &mut work.solution);
                let share = share_ln.exp();
                taken += share;
                let mean = &work.solution.mean;
                for (sum, value) in posterior.mean.iter_mut().zip(mean) {
                    *sum += share * value;
                }
                work.solution.covariance_into(&mut work.inverse);
                for i in 0..q {
                    for j in 0..q {
                        posterior.covariance[i * q + j] +=
                            share * (work.inverse[i * q + j] + mean[i] * mean[j]);
                    }
                }
            }
        }
    }
    for value in posterior.mean.iter_mut().chain(&mut posterior.covariance) {
        *value /= taken;
    }
    for i in 0..q {
        for j in 0..q {
            posterior.covariance[i * q + j] -= posterior.mean[i] * posterior.mean[j];
        }
    }
    for (mean, prior) in posterior.mean.iter_mut().zip(&observed.prior_means) {
        *mean += prior;
    }
    posterior
}

/// Where the feature-to-feature spread may lie, with prints at their expected spread.
fn feature_points(
    observed: &[Observed<'_>],
    spreads: &Spreads,
    choices: &[Vec<Choice>],
    work: &mut Work,
) -> Vec<f64> {
    let weight_ln = |ln: f64| {
        let sd = ln.exp();
        let parts = observed.iter().zip(&spreads.print).zip(choices);
        let evidence = parts.map(|((observed, print), choices)| {
            let products = observed.products(sd, spreads.prints);
            let at = print.sd(print.spread.median, sd);
            evidence_ln(&products, observed.part, at, choices, work)
        });
        evidence.sum::<f64>() + spreads.feature_density_ln(sd)
    };
    // From a twentieth of the spread, and no less than half a micrometre, to four times.
    let low = (spreads.spread_mm / 20.0).max(0.0005);
    let high = (spreads.spread_mm * 4.0).max(0.002);
    hump::points(low.ln(), high.ln(), FEATURE_POINTS, weight_ln).into_iter().map(f64::exp).collect()
}

/// Where the print-to-print spread, or its ratio, may lie.
fn print_points(
    products: &Products,
    part: &Part,
    print: PrintPrior,
    feature_sd: f64,
    choices: &[Choice],
    work: &mut Work,
) -> Vec<f64> {
    let median = print.spread.median.ln();
    let points = hump::points(median - 3.0, median + 4.0, PRINT_POINTS, |ln| {
        let value = ln.exp();
        let at = print.sd(value, feature_sd);
        evidence_ln(products, part, at, choices, work) + print.spread.density_ln(value)
    });
    points.into_iter().map(f64::exp).collect()
}

/// Logarithm of the likelihood at one print spread and the widest of the priors.
fn evidence_ln(products: &Products, part: &Part, sd: f64, choices: &[Choice], work: &mut Work) -> f64 {
    let sds = [sd, sd * priors::SHRINK_OVER_PRINT_PER_MM.median];
    products.reduce(&sds[..part.effects], &mut work.reduced);
    if work.reduced.solve(&choices[choices.len() - 1].precisions, &mut work.solution) {
        work.solution.evidence_ln
    } else {
        f64::NEG_INFINITY
    }
}
