//! Which observations the structured model disowns, and what the others say without being pulled.
//!
//! A reweighted fit of the whole model, print effects included, at provisional spreads: first by absolute
//! deviations, which a few gross errors cannot drag far since every size is one that we drew, then by
//! Tukey's bisquare. What comes out is one pull per observation; fitted value plus pull, made consistent
//! for normal errors, is a pseudo-observation. The ordinary fit of pseudo-observations has the bisquare's
//! coefficients and, unlike its weighted residuals, the right spread.
//!
//! Source: Huber and Ronchetti, Robust Statistics, 2nd ed. 2009, 7.8 (pseudo-observations).

use std::f64::consts::TAU;
use std::ops::Range;

use crate::correction::Term;
use crate::stats::mixed::{Columns, GroupEffects, Products, Reduced, Solution};
use crate::stats::robust::{Bisquare, spread};

use super::average::Observation;
use super::choices::middle_choice;
use super::design::Part;
use super::priors::{self, LogNormal, Prior};

/// Below this weight an observation is set aside: 4.4 spreads from the fit.
const SET_ASIDE_BELOW: f64 = 0.01;
/// Share of gross errors when two outcomes are compared. Judged.
const GROSS_SHARE: f64 = 0.05;
/// And the range that they are anywhere in, mm: what is not a slip by itself. Judged.
const GROSS_RANGE_MM: f64 = 2.0;
/// Another start must be likelier by this, as a logarithm, to stand: e^3, a factor of twenty.
const WORTH_CHANGING: f64 = 3.0;

/// One observation after the fit.
#[derive(Clone, Copy, Debug)]
pub struct Judged {
    /// Observed less fitted, the print's own effects included in the fit, mm.
    pub residual_mm: f64,
    /// The same in units of its expected spread.
    pub z: f64,
    /// Its weight.
    pub weight: f64,
    /// How strongly it pulls its own fitted value.
    pub leverage: f64,
    /// What stands in for it in the averaged fit; `None` when it is set aside.
    pub pseudo_mm: Option<f64>,
}

/// The observations of one part as the robust fit sees them.
///
/// Rows are in an order of their own, print by print, and kept column by column: the fit is made some
/// forty times, and in this order it is a few long loops.
pub struct Resisted<'a> {
    part: &'a Part,
    /// For each row its row in the part.
    order: Vec<usize>,
    observations: Vec<Observation>,
    prior_scale: f64,
    /// Print to print over feature to feature.
    print_ratio: LogNormal,
    /// The rows of each print.
    prints: Vec<Range<usize>>,
    /// Values of the terms, one term after the other.
    x: Vec<f64>,
    /// Values of the print effects, one after the other.
    z: Vec<f64>,
    /// Deviations less what the priors expect, mm.
    y: Vec<f64>,
    /// What reading adds to the variance of a mean, on average, mm^2.
    reading_variance_mm2: f64,
    state: State,
    work: Work,
}

/// How far the fit has come.
#[derive(Clone)]
struct State {
    weights: Vec<f64>,
    /// Residual, and its variance over that of the observation, row by row.
    residuals: Vec<(f64, f64)>,
    leverages: Vec<f64>,
    /// What the priors have against the coefficients: minus the logarithm of their density.
    prior_cost: f64,
}

/// Memory that is used again in every fit.
struct Work {
    products: Products,
    reduced: Reduced,
    solution: Solution,
    effects: Vec<GroupEffects>,
    precisions: Vec<f64>,
    weights: Vec<f64>,
    fitted: Vec<f64>,
    variances: Vec<f64>,
    seen: Vec<f64>,
    column: Vec<f64>,
}

impl<'a> Resisted<'a> {
    /// Before any weighing.
    pub fn new(
        part: &'a Part,
        prints: usize,
        observations: Vec<Observation>,
        print_ratio: LogNormal,
        prior_scale: f64,
    ) -> Self {
        let rows = observations.len();
        let mut order: Vec<usize> = (0..rows).collect();
        order.sort_by_key(|row| part.print[*row]);
        let observations: Vec<Observation> = order.iter().map(|row| observations[*row]).collect();
        let start = |print: usize| order.partition_point(|row| part.print[*row] < print);
        let columns = |count: usize, value: &dyn Fn(usize, usize) -> f64| -> Vec<f64> {
            (0..count).flat_map(|column| order.iter().map(move |row| value(*row, column))).collect()
        };
        let (q, r) = (part.terms.len(), part.effects);
        let means = part.terms.iter().map(|term| match priors::prior(*term) {
            Prior::Fixed { mean, .. } => mean,
            Prior::HoleOffset | Prior::OwnOffset | Prior::XyDifference => 0.0,
        });
        let means: Vec<f64> = means.collect();
        let expected = |row: usize| part.x(row).iter().zip(&means).map(|(x, m)| x * m).sum::<f64>();
        let y =
            order.iter().zip(&observations).map(|(row, seen)| seen.deviation_mm - expected(*row)).collect();
        let all: f64 = observations.iter().map(|observation| observation.reading_variance_mm2).sum();
        Self {
            prints: (0..prints).map(|print| start(print)..start(print + 1)).collect(),
            x: columns(q, &|row, column| part.x(row)[column]),
            z: columns(r, &|row, column| part.z(row)[column]),
            y,
            reading_variance_mm2: all / f64::from(u32::try_from(rows.max(1)).unwrap_or(u32::MAX)),
            part,
            observations,
            prior_scale,
            print_ratio,
            state: State {
                weights: vec![1.0; rows],
                residuals: vec![(0.0, 1.0); rows],
                leverages: vec![0.0; rows],
                prior_cost: 0.0,
            },
            work: Work {
                products: Products::new(q, r, prints),
                reduced: Reduced::default(),
                solution: Solution::default(),
                effects: Vec::new(),
                precisions: Vec::new(),
                weights: vec![0.0; rows],
                fitted: vec![0.0; rows],
                variances: vec![0.0; rows],
                seen: vec![0.0; q * rows],
                column: Vec::with_capacity(rows),
            },
            order,
        }
    }

    fn variance(&self, row: usize, feature_sd: f64) -> f64 {
        feature_sd * feature_sd + self.observations[row].reading_variance_mm2
    }

    /// Fits with the present weights; the largest change of a residual, mm.
    fn fit(&mut self, feature_sd: f64) -> f64 {
        let (r, n) = (self.part.effects, self.y.len());
        let Work {
            products,
            reduced,
            solution,
            effects,
            precisions,
            weights,
            fitted,
            variances,
            seen,
            column,
        } = &mut self.work;
        let feature_mm2 = feature_sd * feature_sd;
        for ((to, weight), observation) in weights.iter_mut().zip(&self.state.weights).zip(&self.observations)
        {
            *to = weight.max(1e-9) / (feature_mm2 + observation.reading_variance_mm2);
        }
        products.clear();
        let columns = Columns { x: &self.x, z: &self.z, y: &self.y, groups: &self.prints };
        products.add_columns(&columns, weights, column);
        let spread_mm = feature_sd.hypot(self.reading_variance_mm2.sqrt());
        let swell = self.print_ratio.median * feature_sd;
        let sds = [swell, swell * priors::SHRINK_OVER_PRINT_PER_MM.median];
        let sds = &sds[..r];
        products.reduce(sds, reduced);
        // The middle choice: wide enough to follow a kind, too tight to follow one reading of it.
        middle_choice(self.part, spread_mm, self.prior_scale, precisions);
        reduced.solve(precisions, solution);
        // The coefficients are counted from their prior means.
        self.state.prior_cost = solution.mean.iter().zip(&*precisions).map(|(b, p)| 0.5 * p * b * b).sum();
        solution.fitted(&self.x, fitted);
        // Variance of the fitted value: the coefficients' as seen through the effects they pull along, and
        // the effects' own.
        variances.fill(0.0);
        seen.copy_from_slice(&self.x);
        let q = self.part.terms.len();
        products.effects_into(sds, &solution.mean, effects);
        for (effect, own) in effects.iter().zip(&self.prints) {
            for i in 0..r {
                let z = &self.z[i * n..(i + 1) * n][own.clone()];
                for (fitted, z) in fitted[own.clone()].iter_mut().zip(z) {
                    *fitted += z * effect.mean[i];
                }
                for (c, seen) in seen.chunks_exact_mut(n).enumerate() {
                    let pull = effect.pull[i * q + c];
                    seen[own.clone()].iter_mut().zip(z).for_each(|(seen, z)| *seen -= z * pull);
                }
                for j in 0..r {
                    let covariance = effect.covariance[i * r + j];
                    let other = &self.z[j * n..(j + 1) * n][own.clone()];
                    for (variance, (z, other)) in variances[own.clone()].iter_mut().zip(z.iter().zip(other)) {
                        *variance += z * covariance * other;
                    }
                }
            }
        }
        solution.add_variances(seen, variances);
        let mut largest: f64 = 0.0;
        for row in 0..n {
            let variance = feature_mm2 + self.observations[row].reading_variance_mm2;
            let weight = self.state.weights[row].max(1e-9);
            let leverage = (variances[row] / variance).min(0.98 / weight);
            // Variance of the fit without this row, and of the residual with its weight back in.
            let without = leverage / (1.0 - weight * leverage);
            let relative = (1.0 + without) / (1.0 + weight * without).powi(2);
            let residual = self.y[row] - fitted[row];
            largest = largest.max((residual - self.state.residuals[row].0).abs());
            self.state.residuals[row] = (residual, relative);
            self.state.leverages[row] = weight * leverage;
        }
        largest
    }

    fn z(&self, row: usize, feature_sd: f64) -> f64 {
        let (residual, relative) = self.state.residuals[row];
        residual / (relative * self.variance(row, feature_sd)).sqrt()
    }
}

/// The provisional spread.
#[derive(Clone, Copy)]
struct Scale {
    feature_sd: f64,
    dof: f64,
}

impl Scale {
    const AT_FIRST: Self = Self { feature_sd: priors::SPREAD_MM.median, dof: f64::INFINITY };

    /// The weight of a residual of `z` spreads, given how few residuals the spread rests on: by the
    /// normal deviate that is as rare as `z` is for Student's t.
    ///
    /// Source: Wallace, Annals of Mathematical Statistics 30 (1959) 1124.
    fn weight(self, z: f64) -> f64 {
        let dof = self.dof;
        if dof > 1e6 {
            return Bisquare::weight(z);
        }
        Bisquare::weight((8.0 * dof + 1.0) / (8.0 * dof + 3.0) * (dof * (z * z / dof).ln_1p()).sqrt())
    }

    /// What the squared pulls of standard normal residuals average to under these weights;
    /// [`Bisquare::SQUARE`] where the spread is well known.
    fn consistency(self) -> f64 {
        // Midpoint rule: 0.1 is far finer than either function.
        let step = 0.1;
        let points = (0..60).map(|i| (f64::from(i) + 0.5) * step);
        let density = |z: f64| (2.0 / std::f64::consts::PI).sqrt() * (-0.5 * z * z).exp();
        points.map(|z| step * density(z) * (z * self.weight(z)).powi(2)).sum()
    }
}

/// Judges every observation; `keep_all` gives all of them full weight. The provisional feature-to-feature
/// spread, mm, comes with it.
///
/// The smallest bores alone tell the small-bore term, and the largest sizes much of the scale: when all of
/// such a group are wrong, the term follows them and the fit disowns others. So where it disowns several, it
/// is started again without each such group, and the likeliest outcome stands.
pub fn judge(parts: &mut [Resisted<'_>], keep_all: bool) -> (Vec<Vec<Judged>>, f64) {
    let mut scale = if keep_all { settled_on_all(parts) } else { settled(parts, &[]) };
    if !keep_all && parts.iter().map(|part| part.disowned(scale)).sum::<usize>() > 1 {
        let mut cost = cost_of_all(parts, scale);
        let mut best: Vec<State> = parts.iter().map(|part| part.state.clone()).collect();
        let groups: Vec<Vec<(usize, usize)>> =
            parts.iter().enumerate().flat_map(|(at, part)| part.extreme_groups(at)).collect();
        for group in groups {
            let other_scale = settled(parts, &group);
            let other_cost = cost_of_all(parts, other_scale);
            if other_cost < cost - WORTH_CHANGING {
                (scale, cost) = (other_scale, other_cost);
                best = parts.iter().map(|part| part.state.clone()).collect();
            }
        }
        for (part, state) in parts.iter_mut().zip(best) {
            part.state = state;
        }
    }
    let consistency = scale.consistency();
    let judged = parts.iter().map(|part| {
        let mut rows: Vec<(usize, Judged)> = part
            .order
            .iter()
            .enumerate()
            .map(|(row, of_part)| (*of_part, part.judged(row, scale, consistency, keep_all)))
            .collect();
        rows.sort_by_key(|(of_part, _)| *of_part);
        rows.into_iter().map(|(_, judged)| judged).collect()
    });
    (judged.collect(), scale.feature_sd)
}

/// The spread with every observation at full weight.
fn settled_on_all(parts: &mut [Resisted<'_>]) -> Scale {
    let mut scale = Scale::AT_FIRST;
    for _ in 0..6 {
        fit_all(parts, scale);
        scale = rescaled(parts, scale, |_| 1.0, 1.0);
    }
    scale
}

/// The robust fit; it begins without the observations `left_out`, by part and row, and then judges them as
/// all others.
fn settled(parts: &mut [Resisted<'_>], left_out: &[(usize, usize)]) -> Scale {
    let mut scale = Scale::AT_FIRST;
    parts.iter_mut().for_each(|part| part.state.weights.fill(1.0));
    left_out.iter().for_each(|(part, row)| parts[*part].state.weights[*row] = 0.0);
    for _ in 0..12 {
        fit_all(parts, scale);
        scale = middle_spread(parts, scale);
        for part in parts.iter_mut() {
            for row in 0..part.state.weights.len() {
                // Absolute deviations, rounded off where residuals are within the spread anyway.
                part.state.weights[row] = 1.0 / part.z(row, scale.feature_sd).abs().max(0.3);
            }
        }
        left_out.iter().for_each(|(part, row)| parts[*part].state.weights[*row] = 0.0);
    }
    if !left_out.is_empty() {
        // Judged by a fit that has not seen them.
        fit_all(parts, scale);
    }
    for round in 0..6 {
        // Until the coefficients stand still: a thousandth of what a caliper shows. At the first spread,
        // which is not the last, nearly still is enough.
        let still_mm = if round == 0 { 1e-3 } else { 1e-5 };
        for part in parts.iter_mut() {
            for _ in 0..40 {
                for row in 0..part.state.weights.len() {
                    part.state.weights[row] = scale.weight(part.z(row, scale.feature_sd));
                }
                if part.fit(scale.feature_sd) < still_mm {
                    break;
                }
            }
        }
        let before = scale.feature_sd;
        scale = rescaled(parts, scale, |z| scale.weight(z), scale.consistency());
        if round > 0 && (scale.feature_sd / before).ln().abs() < 0.01 {
            break;
        }
    }
    scale
}

fn fit_all(parts: &mut [Resisted<'_>], scale: Scale) {
    for part in parts.iter_mut() {
        part.fit(scale.feature_sd);
    }
}

/// How unlikely the observations are under a fit: minus the logarithm of a mixture of the model and, with
/// [`GROSS_SHARE`], of anything within [`GROSS_RANGE_MM`].
fn cost_of_all(parts: &[Resisted<'_>], scale: Scale) -> f64 {
    parts.iter().map(|part| part.cost(scale)).sum()
}

impl Resisted<'_> {
    /// How many observations the fit disowns.
    fn disowned(&self, scale: Scale) -> usize {
        let weight = |row: &usize| scale.weight(self.z(*row, scale.feature_sd));
        (0..self.state.weights.len()).filter(|row| weight(row) < SET_ASIDE_BELOW).count()
    }

    fn cost(&self, scale: Scale) -> f64 {
        let row = |row: usize| {
            let (residual, variance) = (self.state.residuals[row].0, self.variance(row, scale.feature_sd));
            let density = (-0.5 * residual * residual / variance).exp() / (TAU * variance).sqrt();
            -((1.0 - GROSS_SHARE) * density + GROSS_SHARE / GROSS_RANGE_MM).ln()
        };
        self.state.prior_cost + (0..self.state.weights.len()).map(row).sum::<f64>()
    }

    /// The rows, with the part's number, of each group that a term mostly hangs on: the smallest bores, and
    /// the largest sizes.
    fn extreme_groups(&self, part: usize) -> impl Iterator<Item = Vec<(usize, usize)>> {
        let places = self.part.terms.iter().enumerate();
        let places = places.filter(|(_, term)| matches!(term, Term::SmallBore | Term::ScaleInPlane));
        places.map(move |(place, _)| {
            let rows = self.y.len();
            let values = self.x[place * rows..(place + 1) * rows].iter().copied();
            let most = values.clone().fold(0.0, f64::max);
            let rows = values.enumerate().filter(|(_, value)| *value == most && most > 0.0);
            rows.map(|(row, _)| (part, row)).collect()
        })
    }

    fn judged(&self, row: usize, scale: Scale, consistency: f64, keep_all: bool) -> Judged {
        let z = self.z(row, scale.feature_sd);
        let (residual_mm, _) = self.state.residuals[row];
        let observed = self.observations[row].deviation_mm;
        let weight = if keep_all { 1.0 } else { scale.weight(z) };
        let pseudo_mm = if keep_all {
            Some(observed)
        } else {
            let pull = weight * residual_mm / consistency.sqrt();
            (weight >= SET_ASIDE_BELOW).then_some(observed - residual_mm + pull)
        };
        Judged { residual_mm, z, weight, leverage: self.state.leverages[row], pseudo_mm }
    }
}

/// The spread from the middle of the residuals, held towards the prior as far as there are few of them.
fn middle_spread(parts: &[Resisted<'_>], scale: Scale) -> Scale {
    let all =
        parts.iter().flat_map(|part| (0..part.state.weights.len()).map(|row| part.z(row, scale.feature_sd)));
    let all: Vec<f64> = all.collect();
    let relative = spread(&all).unwrap_or(1.0).max(0.02);
    // A median says as much of a spread as 0.37 of the observations would: Huber and Ronchetti, 1.2.
    held(parts, scale, relative, 0.37)
}

/// The spread from the pulls of those that are not set aside.
fn rescaled(parts: &[Resisted<'_>], scale: Scale, weight: impl Fn(f64) -> f64, consistency: f64) -> Scale {
    let (mut squares, mut count) = (0.0, 0.0);
    for part in parts {
        for row in 0..part.state.weights.len() {
            let z = part.z(row, scale.feature_sd);
            let weight = weight(z);
            if weight >= SET_ASIDE_BELOW {
                squares += (weight * z).powi(2);
                count += 1.0;
            }
        }
    }
    let relative = (squares / f64::max(count, 1.0) / consistency).sqrt().max(0.02);
    held(parts, scale, relative, 0.9)
}

/// The spread at which residuals `relative` times as wide as expected are expected.
fn held(parts: &[Resisted<'_>], scale: Scale, relative: f64, information: f64) -> Scale {
    let mut dof = 0.0;
    let (mut reading, mut count) = (0.0, 0.0);
    for part in parts {
        for (row, observation) in part.observations.iter().enumerate() {
            dof += (1.0 - part.state.leverages[row]).max(0.0);
            reading += observation.reading_variance_mm2;
            count += 1.0;
        }
    }
    let reading = reading / f64::max(count, 1.0);
    let total = (scale.feature_sd.powi(2) + reading) * relative * relative;
    let expected = priors::SPREAD_MM.median.powi(2);
    // Of the logarithm of a variance: 2/dof from the residuals, that of the prior otherwise.
    let own = dof * information / 2.0;
    let prior = (2.0 * priors::SPREAD_MM.ln_sd).powi(-2);
    let variance = ((own * total.ln() + prior * expected.ln()) / (own + prior)).exp();
    // Never below a tenth of the readings' own: a spread of nothing would disown everything.
    let feature_sd = (variance - reading).max(0.01 * variance).max(0.0005_f64.powi(2)).sqrt();
    Scale { feature_sd, dof: 2.0 * (own + prior) }
}
