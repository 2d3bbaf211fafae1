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

use crate::correction::Term;
use crate::stats::mixed::blocks::{Blocks, FittedRows, ROWS};
use crate::stats::mixed::{Products, Reduced, Solution};
use crate::stats::robust::{Bisquare, spread_of_sizes};

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

/// Below this no weight falls, so that all coefficients stay separable.
const LEAST_WEIGHT: f64 = 1e-9;

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
/// The fit is made some forty times, so rows are in blocks. Whatever is kept row by row has a number for
/// every place of the blocks; `places` are those of rows.
pub struct Resisted<'a> {
    part: &'a Part,
    /// For each row, print by print, its row in the part.
    order: Vec<usize>,
    places: Vec<usize>,
    observations: Vec<Observation>,
    prior_scale: f64,
    /// Print to print over feature to feature.
    print_ratio: LogNormal,
    /// Terms, and deviations less what the priors expect, mm.
    blocks: Blocks,
    /// Those deviations.
    y: Vec<f64>,
    /// What reading adds to each variance, mm^2.
    reading_mm2: Vec<f64>,
    /// The same on average.
    reading_variance_mm2: f64,
    state: State,
    work: Work,
}

/// How far the fit has come.
#[derive(Clone)]
struct State {
    weights: Vec<f64>,
    /// Residuals, mm, and their variances over those of the observations.
    residuals: Vec<f64>,
    relative: Vec<f64>,
    leverages: Vec<f64>,
    /// What the priors have against the coefficients: minus the logarithm of their density.
    prior_cost: f64,
}

/// Memory that is used again in every fit.
struct Work {
    products: Products,
    reduced: Reduced,
    solution: Solution,
    rows: FittedRows,
    precisions: Vec<f64>,
    weights: Vec<[f64; ROWS]>,
    sums: Vec<[f64; 4]>,
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
        let (q, r) = (part.terms.len(), part.effects.len());
        let means = part.terms.iter().map(|term| match priors::prior(*term) {
            Prior::Fixed { mean, .. } => mean,
            Prior::HoleOffset | Prior::OwnOffset | Prior::XyDifference => 0.0,
        });
        let means: Vec<f64> = means.collect();
        let expected = |row: usize| part.x(row).iter().zip(&means).map(|(x, m)| x * m).sum::<f64>();
        let less_expected = |(row, seen): (&usize, &Observation)| seen.deviation_mm - expected(*row);
        let deviations: Vec<f64> = order.iter().zip(&observations).map(less_expected).collect();
        let of_print = |print: usize| {
            let rows = start(print)..start(print + 1);
            let x = order[rows.clone()].iter().map(|row| part.x(*row));
            x.zip(deviations[rows].iter().copied())
        };
        let blocks = Blocks::new(q, part.effects, (0..prints).map(of_print));
        let counts: Vec<usize> = (0..prints).map(|print| start(print + 1) - start(print)).collect();
        let places = blocks.places(&counts);
        let all: f64 = observations.iter().map(|observation| observation.reading_variance_mm2).sum();
        let reading_variance_mm2 = all / f64::from(u32::try_from(rows.max(1)).unwrap_or(u32::MAX));
        // In places of nothing any variance will do.
        let mut reading_mm2 = vec![reading_variance_mm2; blocks.len()];
        let mut y = vec![0.0; blocks.len()];
        for ((place, observation), deviation) in places.iter().zip(&observations).zip(&deviations) {
            reading_mm2[*place] = observation.reading_variance_mm2;
            y[*place] = *deviation;
        }
        let size = blocks.len();
        Self {
            part,
            order,
            places,
            observations,
            prior_scale,
            print_ratio,
            blocks,
            y,
            reading_mm2,
            reading_variance_mm2,
            state: State {
                weights: vec![1.0; size],
                residuals: vec![0.0; size],
                relative: vec![1.0; size],
                leverages: vec![0.0; size],
                prior_cost: 0.0,
            },
            work: Work {
                products: Products::new(q, r, prints),
                reduced: Reduced::default(),
                solution: Solution::default(),
                rows: FittedRows::default(),
                precisions: Vec::new(),
                weights: vec![[0.0; ROWS]; size / ROWS],
                sums: Vec::new(),
            },
        }
    }

    /// Fits with the present weights; the largest change of a residual, mm.
    fn fit(&mut self, feature_sd: f64) -> f64 {
        let Work { products, reduced, solution, rows, precisions, weights, sums } = &mut self.work;
        let state = &mut self.state;
        let feature_mm2 = feature_sd * feature_sd;
        let weights_of_places = weights.as_flattened_mut();
        for place in &self.places {
            weights_of_places[*place] =
                state.weights[*place].max(LEAST_WEIGHT) / (feature_mm2 + self.reading_mm2[*place]);
        }
        products.clear();
        products.add_blocks(&self.blocks, weights, sums);
        let spread_mm = feature_sd.hypot(self.reading_variance_mm2.sqrt());
        let swell = self.print_ratio.median * feature_sd;
        let sds = [swell, swell * priors::SHRINK_OVER_PRINT_PER_MM.median];
        let sds = &sds[..self.part.effects.len()];
        products.reduce(sds, reduced);
        // The middle choice: wide enough to follow a kind, too tight to follow one reading of it.
        middle_choice(self.part, spread_mm, self.prior_scale, precisions);
        reduced.solve(precisions, solution);
        // The coefficients are counted from their prior means.
        state.prior_cost = solution.mean.iter().zip(&*precisions).map(|(b, p)| 0.5 * p * b * b).sum();
        rows.fill(&self.blocks, sds, reduced, solution);
        // One short loop after the other: each over numbers that do not wait for each other.
        let fitted = rows.fitted.as_flattened();
        let mut largest: f64 = 0.0;
        for ((residual, y), fitted) in state.residuals.iter_mut().zip(&self.y).zip(fitted) {
            largest = largest.max((y - fitted - *residual).abs());
            *residual = y - fitted;
        }
        let variances = rows.variances.as_flattened().iter().zip(&self.reading_mm2);
        let to = state.relative.iter_mut().zip(&mut state.leverages).zip(&state.weights);
        for (((relative, pull), weight), (fitted_mm2, reading_mm2)) in to.zip(variances) {
            let weight = weight.max(LEAST_WEIGHT);
            let leverage = (fitted_mm2 / (feature_mm2 + reading_mm2)).min(0.98 / weight);
            // Variance of the fit without this row, and of the residual with its weight back in.
            let without = leverage / (1.0 - weight * leverage);
            *relative = (1.0 + without) / (1.0 + weight * without).powi(2);
            *pull = weight * leverage;
        }
        largest
    }

    fn variance(&self, place: usize, feature_sd: f64) -> f64 {
        feature_sd * feature_sd + self.reading_mm2[place]
    }

    fn z(&self, place: usize, feature_sd: f64) -> f64 {
        self.state.residuals[place] / (self.state.relative[place] * self.variance(place, feature_sd)).sqrt()
    }

    /// The residuals in units of their expected spreads, row by row.
    fn zs(&self, feature_sd: f64) -> impl Iterator<Item = f64> {
        self.places.iter().map(move |place| self.z(*place, feature_sd))
    }

    /// Weighs every row by the square of its residual in units of its expected spread.
    fn weigh(&mut self, feature_sd: f64, weight_of_square: impl Fn(f64) -> f64) {
        let feature_mm2 = feature_sd * feature_sd;
        let State { weights, residuals, relative, .. } = &mut self.state;
        let expected = relative.iter().zip(&self.reading_mm2);
        for ((weight, residual), (relative, reading_mm2)) in weights.iter_mut().zip(residuals).zip(expected) {
            *weight = *residual * *residual / (relative * (feature_mm2 + reading_mm2));
        }
        weights.iter_mut().for_each(|weight| *weight = weight_of_square(*weight));
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
        self.weight_of_square(z * z)
    }

    /// The same from the square of `z`.
    fn weight_of_square(self, square: f64) -> f64 {
        let dof = self.dof;
        if dof > 1e6 {
            return Bisquare::weight_of_square(square);
        }
        let shrunk = (8.0 * dof + 1.0) / (8.0 * dof + 3.0);
        Bisquare::weight_of_square(shrunk * shrunk * dof * (square / dof).ln_1p())
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
        let rows = part.order.iter().enumerate();
        let mut rows: Vec<(usize, Judged)> =
            rows.map(|(row, of_part)| (*of_part, part.judged(row, scale, consistency, keep_all))).collect();
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

/// The robust fit; it begins without the observations `left_out`, by part and place, and then judges them
/// as all others.
fn settled(parts: &mut [Resisted<'_>], left_out: &[(usize, usize)]) -> Scale {
    let mut scale = Scale::AT_FIRST;
    let mut sizes = Vec::new();
    parts.iter_mut().for_each(|part| part.state.weights.fill(1.0));
    let leave_out = |parts: &mut [Resisted<'_>]| {
        left_out.iter().for_each(|(part, place)| parts[*part].state.weights[*place] = 0.0);
    };
    leave_out(parts);
    for _ in 0..12 {
        fit_all(parts, scale);
        scale = middle_spread(parts, scale, &mut sizes);
        for part in parts.iter_mut() {
            // Absolute deviations, rounded off where residuals are within the spread anyway.
            part.weigh(scale.feature_sd, |square| 1.0 / square.sqrt().max(0.3));
        }
        leave_out(parts);
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
                part.weigh(scale.feature_sd, |square| scale.weight_of_square(square));
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
        self.zs(scale.feature_sd).filter(|z| scale.weight(*z) < SET_ASIDE_BELOW).count()
    }

    fn cost(&self, scale: Scale) -> f64 {
        let row = |place: &usize| {
            let (residual, variance) =
                (self.state.residuals[*place], self.variance(*place, scale.feature_sd));
            let density = (-0.5 * residual * residual / variance).exp() / (TAU * variance).sqrt();
            -((1.0 - GROSS_SHARE) * density + GROSS_SHARE / GROSS_RANGE_MM).ln()
        };
        self.state.prior_cost + self.places.iter().map(row).sum::<f64>()
    }

    /// The places, with the part's number, of each group that a term mostly hangs on: the smallest bores,
    /// and the largest sizes.
    fn extreme_groups(&self, part: usize) -> impl Iterator<Item = Vec<(usize, usize)>> {
        let terms = self.part.terms.iter().enumerate();
        let terms = terms.filter(|(_, term)| matches!(term, Term::SmallBore | Term::ScaleInPlane));
        terms.map(move |(term, _)| {
            let values = self.order.iter().map(|row| self.part.x(*row)[term]);
            let most = values.clone().fold(0.0, f64::max);
            let rows = values.zip(&self.places).filter(|(value, _)| *value == most && most > 0.0);
            rows.map(|(_, place)| (part, *place)).collect()
        })
    }

    fn judged(&self, row: usize, scale: Scale, consistency: f64, keep_all: bool) -> Judged {
        let place = self.places[row];
        let z = self.z(place, scale.feature_sd);
        let residual_mm = self.state.residuals[place];
        let observed = self.observations[row].deviation_mm;
        let weight = if keep_all { 1.0 } else { scale.weight(z) };
        let pseudo_mm = if keep_all {
            Some(observed)
        } else {
            let pull = weight * residual_mm / consistency.sqrt();
            (weight >= SET_ASIDE_BELOW).then_some(observed - residual_mm + pull)
        };
        Judged { residual_mm, z, weight, leverage: self.state.leverages[place], pseudo_mm }
    }
}

/// The spread from the middle of the residuals, held towards the prior as far as there are few of them;
/// `sizes` is memory that is used again.
fn middle_spread(parts: &[Resisted<'_>], scale: Scale, sizes: &mut Vec<f64>) -> Scale {
    sizes.clear();
    for part in parts {
        sizes.extend(part.zs(scale.feature_sd).map(f64::abs));
    }
    let relative = spread_of_sizes(sizes).unwrap_or(1.0).max(0.02);
    // A median says as much of a spread as 0.37 of the observations would: Huber and Ronchetti, 1.2.
    held(parts, scale, relative, 0.37)
}

/// The spread from the pulls of those that are not set aside.
fn rescaled(parts: &[Resisted<'_>], scale: Scale, weight: impl Fn(f64) -> f64, consistency: f64) -> Scale {
    let (mut squares, mut count) = (0.0, 0.0);
    for part in parts {
        for z in part.zs(scale.feature_sd) {
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
        for place in &part.places {
            dof += (1.0 - part.state.leverages[*place]).max(0.0);
            reading += part.reading_mm2[*place];
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
