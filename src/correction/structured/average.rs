//! The structured model averaged over what is not known of its spreads.
//!
//! Given the spreads, everything is linear and normal ([`crate::stats::mixed`]). The spreads themselves
//! are known poorly from a dozen features or two prints, and plugging in one estimate, zero perhaps,
//! would claim too much. So the answer is averaged over a grid of them, each point weighted by its
//! restricted likelihood times the prior: feature to feature, print to print, and the spreads that own
//! offsets and the x/y difference may have. The grid reaches as far as the weights do.

use crate::stats::hump;
use crate::stats::mixed::{Products, Reduced, ReducedAbreast, Row, Solution};
use crate::stats::split::{Moments, Split};

use super::choices::{Choice, PrintPrior, Spreads, choices};
use super::design::Part;
use super::lent;
use super::priors::{self, Prior};

/// Points across the feature-to-feature spread: 1.4 standard deviations apart, at which the trapezoidal sum
/// of a normal curve is still right to 1e-4.
const FEATURE_POINTS: usize = 5;
/// Points across the print-to-print spread.
const PRINT_POINTS: usize = 5;
/// Points across the prints' scale over their swell, in standard deviations of the prior's logarithm,
/// with weights: Gauss-Hermite of two points (Abramowitz and Stegun 25.4.46).
const SHRINK_POINTS: [(f64, f64); 2] = [(-1.0, 0.5), (1.0, 0.5)];
/// Points across both, done abreast.
const POINTS: usize = PRINT_POINTS * SHRINK_POINTS.len();
/// Points of less than this share of the heaviest one's weight are left out.
const NEGLIGIBLE: f64 = 0.000_911_881_965_554_516_2; // e^-7

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
                groups.push((variance, Products::new(part.terms.len(), part.effects.len(), prints)));
                groups.len() - 1
            });
            let x = part.x(row);
            let expected: f64 = x.iter().zip(&prior_means).map(|(x, mean)| x * mean).sum();
            let y = observation.deviation_mm - expected;
            let z = &part.z(row)[..part.effects.len()];
            groups[index].1.add(Row { x, z, group: part.print[row], y }, 1.0);
        }
        Self { part, groups, prior_means }
    }

    /// The sums of products at this feature-to-feature spread.
    fn products_into(&self, feature_sd: f64, all: &mut Products) {
        all.clear();
        for (variance, products) in &self.groups {
            all.add_all(products, 1.0 / (feature_sd * feature_sd + variance));
        }
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
    let mut works: Vec<Work> = observed.iter().map(|observed| Work::new(observed, spreads)).collect();
    let features = feature_points(observed, spreads, &mut works);
    // For each part and each feature-to-feature spread the points of the rest.
    let mut tables: Vec<Vec<Table>> = Vec::new();
    let mut weights_ln: Vec<f64> = features.iter().map(|sd| spreads.feature_density_ln(*sd)).collect();
    for ((observed, print), work) in observed.iter().zip(&spreads.print).zip(&mut works) {
        let middle = features[features.len() / 2];
        observed.products_into(middle, &mut work.products);
        let values = print_points(observed.part, *print, middle, work);
        let mut of_part = Vec::with_capacity(FEATURE_POINTS);
        for (feature_sd, weight_ln) in features.iter().zip(&mut weights_ln) {
            observed.products_into(*feature_sd, &mut work.products);
            let prints = values.map(|value| (print.sd(value, *feature_sd), print.spread.density_ln(value)));
            let table = Table::new(observed.part, prints, work);
            *weight_ln += table.total_ln;
            of_part.push(table);
        }
        tables.push(of_part);
    }
    let total_ln = log_sum(&weights_ln);
    let weights: Vec<f64> = weights_ln.iter().map(|ln| (ln - total_ln).exp()).collect();
    let parts = observed.iter().zip(&tables).map(|(observed, tables)| moments(observed, &weights, tables));
    let parts = parts.collect();
    Posterior { feature_sd: features.into_iter().zip(weights).collect(), parts }
}

/// The priors of one part, and memory that is used again.
struct Work {
    choices: Vec<Choice>,
    products: Products,
    reduced: Reduced,
    solution: Solution,
    abreast: ReducedAbreast<POINTS>,
    /// Those coefficients eliminated of which all weak choices have the same prior.
    split: Split<POINTS>,
    inverse: Vec<f64>,
    /// Logarithm of the weight of every point under every choice, choice by choice.
    weights_ln: Vec<[f64; POINTS]>,
}

impl Work {
    fn new(observed: &Observed<'_>, spreads: &Spreads) -> Self {
        let part = observed.part;
        let weak = choices(part, spreads.spread_mm, spreads.prior_scale);
        let is_alike = |i: &usize| weak.iter().all(|choice| choice.precisions[*i] == weak[0].precisions[*i]);
        let alike: Vec<usize> = (0..part.terms.len()).filter(is_alike).collect();
        Self {
            split: Split::new(alike, part.terms.len()),
            choices: lent::with_lent(part, weak, &observed.prior_means, spreads.lent.as_ref()),
            products: Products::new(part.terms.len(), part.effects.len(), spreads.prints),
            reduced: Reduced::default(),
            solution: Solution::default(),
            abreast: ReducedAbreast::default(),
            inverse: Vec::new(),
            weights_ln: Vec::new(),
        }
    }
}

/// What all points at one feature-to-feature spread come to.
struct Table {
    total_ln: f64,
    /// Each print effect's standard deviations, point by point; heights have the first only.
    effect_sds: [[f64; POINTS]; 2],
    /// The points' shares of the weight.
    shares: [f64; POINTS],
    /// Over all points and choices that weigh something.
    moments: Moments,
}

impl Table {
    /// Print effects' main standard deviations are given with the logarithm of their prior share.
    fn new(part: &Part, prints: [(f64, f64); PRINT_POINTS], work: &mut Work) -> Self {
        let shrink = priors::SHRINK_OVER_PRINT_PER_MM;
        let shrinks =
            SHRINK_POINTS.map(|(z, weight)| (shrink.median * (z * shrink.ln_sd).exp(), weight.ln()));
        let print = |point: usize| prints[point / SHRINK_POINTS.len()];
        let shrink = |point: usize| shrinks[point % SHRINK_POINTS.len()];
        // Heights have no shrink of the print: there each pair of points is one and the same.
        let effect_sds = [
            std::array::from_fn(|point| print(point).0),
            std::array::from_fn(|point| print(point).0 * shrink(point).0),
        ];
        let prior_ln: [f64; POINTS] = std::array::from_fn(|point| print(point).1 + shrink(point).1);
        work.products.reduce_abreast(&effect_sds[..part.effects.len()], &mut work.abreast);
        work.weigh(&prior_ln);
        let mut moments = Moments::new(part.terms.len());
        let (heaviest_ln, shares) = work.moments_into(&mut moments);
        let total: f64 = shares.iter().sum();
        let shares = shares.map(|share| share / total);
        Self { total_ln: heaviest_ln + total.ln(), effect_sds, shares, moments }
    }
}

impl Work {
    /// Every choice's likelihood at every point, times the prior shares.
    fn weigh(&mut self, prior_ln: &[f64; POINTS]) {
        self.weights_ln.clear();
        self.split.eliminate(&self.abreast, &self.choices[self.choices.len() - 1].precisions);
        for choice in &self.choices {
            let evidence_ln = match &choice.joint {
                None => self.split.evidence_ln(&choice.precisions),
                Some(joint) => std::array::from_fn(|point| {
                    self.abreast.one_into(point, &mut self.reduced);
                    let is_solved = self.reduced.solve_about(joint, &mut self.solution);
                    if is_solved { self.solution.evidence_ln } else { f64::NEG_INFINITY }
                }),
            };
            let weight_ln = |point: usize| evidence_ln[point] + prior_ln[point] + choice.share_ln;
            self.weights_ln.push(std::array::from_fn(weight_ln));
        }
    }

    /// The moments of the coefficients over all points and choices that weigh something; the logarithm of
    /// the heaviest weight and, over it, the weights of the points.
    fn moments_into(&mut self, moments: &mut Moments) -> (f64, [f64; POINTS]) {
        let heaviest_ln = self.weights_ln.as_flattened().iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut points = [0.0; POINTS];
        // Point by point, of the heaviest so far.
        let mut so_far = 0.0;
        let mut weak = 0;
        for weights in &mut self.weights_ln {
            for (weight, point) in weights.iter_mut().zip(&mut points) {
                *weight = (*weight - heaviest_ln).exp();
                *point += *weight;
            }
        }
        for point in 0..POINTS {
            for weights in &mut self.weights_ln {
                so_far = weights[point].max(so_far);
                if weights[point] < NEGLIGIBLE * so_far {
                    weights[point] = 0.0;
                }
            }
        }
        for (choice, shares) in self.choices.iter().zip(&self.weights_ln) {
            if let Some(joint) = &choice.joint {
                for (point, share) in shares.iter().enumerate().filter(|(_, share)| **share > 0.0) {
                    self.abreast.one_into(point, &mut self.reduced);
                    if self.reduced.solve_about(joint, &mut self.solution) {
                        self.solution.covariance_into(&mut self.inverse);
                        moments.add_one(*share, &self.solution.mean, &self.inverse);
                    }
                }
                continue;
            }
            if shares.iter().any(|share| *share > 0.0) {
                self.split.take(weak, shares);
            }
            weak += 1;
        }
        self.split.moments_into(moments);
        (heaviest_ln, points)
    }
}

/// Logarithm of a sum of exponentials.
fn log_sum(terms: &[f64]) -> f64 {
    let largest = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    largest + terms.iter().map(|term| (term - largest).exp()).sum::<f64>().ln()
}

/// Mean, covariance and effects of one part over all points that weigh something.
fn moments(observed: &Observed<'_>, weights: &[f64], tables: &[Table]) -> PartPosterior {
    let q = observed.part.terms.len();
    let effects = 0..observed.part.effects.len();
    let mut effect_sds: Vec<Vec<Weighted>> =
        effects.map(|_| Vec::with_capacity(FEATURE_POINTS * POINTS)).collect();
    let mut all = Moments::new(q);
    for (weight, table) in weights.iter().zip(tables) {
        for (effect, sds) in effect_sds.iter_mut().zip(&table.effect_sds) {
            effect.extend(sds.iter().zip(&table.shares).map(|(sd, share)| (*sd, share * weight)));
        }
        if table.moments.share > 0.0 {
            all.add(&table.moments, weight / table.moments.share);
        }
    }
    all.scale(1.0 / all.share);
    let Moments { first: mut mean, second: mut covariance, .. } = all;
    for i in 0..q {
        for j in 0..q {
            covariance[i * q + j] -= mean[i] * mean[j];
        }
    }
    for (mean, prior) in mean.iter_mut().zip(&observed.prior_means) {
        *mean += prior;
    }
    PartPosterior { mean, covariance, effect_sds }
}

/// Where the feature-to-feature spread may lie, with prints at their expected spread.
fn feature_points(observed: &[Observed<'_>], spreads: &Spreads, works: &mut [Work]) -> [f64; FEATURE_POINTS] {
    let weight_ln = |ln: f64| {
        let sd = ln.exp();
        let parts = observed.iter().zip(&spreads.print).zip(works.iter_mut());
        let evidence = parts.map(|((observed, print), work)| {
            observed.products_into(sd, &mut work.products);
            evidence_ln(observed.part, print.sd(print.spread.median, sd), work)
        });
        evidence.sum::<f64>() + spreads.feature_density_ln(sd)
    };
    // From a twentieth of the spread, and no less than half a micrometre, to four times.
    let low = (spreads.spread_mm / 20.0).max(0.0005);
    let high = (spreads.spread_mm * 4.0).max(0.002);
    // What other setups lend may be a second hump.
    let start = spreads.lent.is_none().then(|| spreads.spread_mm.ln());
    hump::points(low.ln(), high.ln(), start, weight_ln).map(f64::exp)
}

/// Where the print-to-print spread, or its ratio, may lie.
fn print_points(part: &Part, print: PrintPrior, feature_sd: f64, work: &mut Work) -> [f64; PRINT_POINTS] {
    let median = print.spread.median.ln();
    let points = hump::points(median - 3.0, median + 4.0, Some(median), |ln| {
        let value = ln.exp();
        evidence_ln(part, print.sd(value, feature_sd), work) + print.spread.density_ln(value)
    });
    points.map(f64::exp)
}

/// Logarithm of the likelihood at one print spread and the widest of the priors.
fn evidence_ln(part: &Part, sd: f64, work: &mut Work) -> f64 {
    let sds = [sd, sd * priors::SHRINK_OVER_PRINT_PER_MM.median];
    work.products.reduce(&sds[..part.effects.len()], &mut work.reduced);
    let precisions = &work.choices[work.choices.len() - 1].precisions;
    work.reduced.evidence_ln(precisions, &mut work.solution).unwrap_or(f64::NEG_INFINITY)
}
