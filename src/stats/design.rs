//! Which of many possible observations to make: designs by exchange.
//!
//! ```text
//! y = X b + Z u + e    e ~ N(0, 1 / weight)    u of each replicate ~ N(0, sd^2)    b ~ N(0, 1 / precision)
//! ```
//!
//! The chosen candidates are observed once in every replicate, and each replicate has effects of its own,
//! so the covariance of `b` is that of [`crate::stats::mixed`] over so many replicates. A design is built
//! up by adding the candidate that does most for what it costs, and improved by exchanging one candidate
//! for another while that helps. Ties go to the earlier candidate, so the same candidates give the same
//! design.
//!
//! - D-optimal: least determinant of the covariance, the smallest region that holds all coefficients.
//! - I-optimal: least mean variance of predictions at given places.
//!
//! Source: Atkinson and Donev, Optimum Experimental Designs, 1992, chapters 10 (criteria) and 15
//! (exchange algorithms).

use super::mixed::{Products, Reduced, Row, Solution};

/// One observation of a candidate.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Values of the coefficients' terms.
    pub x: Vec<f64>,
    /// Values of the replicate's effects.
    pub z: Vec<f64>,
    /// One over its variance.
    pub weight: f64,
}

/// What may be chosen: observations that come together, and how often.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// What is observed when it is chosen.
    pub observations: Vec<Observation>,
    /// What that costs, above zero, in whatever unit.
    pub cost: f64,
    /// How often it may be chosen.
    pub at_most: usize,
}

/// What makes a design good.
#[derive(Clone, Debug, PartialEq)]
pub enum Criterion {
    /// The determinant of the coefficients' covariance.
    Determinant,
    /// The mean variance of predictions at these places, each with its weight.
    Prediction(Vec<(Vec<f64>, f64)>),
}

/// A choice to be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// What there is to choose from.
    pub candidates: Vec<Candidate>,
    /// Precision of each coefficient before anything is observed; 0: nothing is known.
    pub precisions: Vec<f64>,
    /// Standard deviation of each effect of a replicate.
    pub effect_sds: Vec<f64>,
    /// How many replicates.
    pub replicates: usize,
    /// What makes it good.
    pub criterion: Criterion,
}

/// Room for the sums of one design after another.
#[derive(Default)]
struct Work {
    reduced: Reduced,
    solution: Solution,
    covariance: Vec<f64>,
}

impl Choice {
    fn products(&self, chosen: &[usize]) -> Products {
        // Replicates are alike, so one stands for all, with the precisions divided among them.
        let mut products = Products::new(self.precisions.len(), self.effect_sds.len(), 1);
        for observation in chosen.iter().flat_map(|index| &self.candidates[*index].observations) {
            products.add(Row { x: &observation.x, z: &observation.z, group: 0, y: 0.0 }, observation.weight);
        }
        products
    }

    fn precisions(&self) -> Vec<f64> {
        let replicates = self.replicates.max(1) as f64;
        self.precisions.iter().map(|precision| precision / replicates).collect()
    }

    /// Covariance of the coefficients under a design, row by row; `None` when it leaves one of them free.
    pub fn covariance(&self, chosen: &[usize]) -> Option<Vec<f64>> {
        let mut work = Work::default();
        self.products(chosen).reduce(&self.effect_sds, &mut work.reduced);
        work.reduced.solve(&self.precisions(), &mut work.solution).then(|| {
            let replicates = self.replicates.max(1) as f64;
            work.solution.covariance().iter().map(|value| value / replicates).collect()
        })
    }

    fn loss_of(&self, products: &Products, precisions: &[f64], work: &mut Work) -> f64 {
        products.reduce(&self.effect_sds, &mut work.reduced);
        if !work.reduced.solve(precisions, &mut work.solution) {
            return f64::INFINITY;
        }
        work.solution.covariance_into(&mut work.covariance);
        let q = precisions.len();
        match &self.criterion {
            Criterion::Determinant => {
                // The logarithm of the q-th root: of the size of one coefficient's uncertainty.
                let mut copy = work.covariance.clone();
                super::cholesky::factor(&mut copy, q).map_or(f64::INFINITY, |ln| ln / q as f64)
            }
            Criterion::Prediction(places) => {
                let of = |x: &[f64]| -> f64 {
                    let line = |i: usize| -> f64 {
                        x.iter().zip(&work.covariance[i * q..(i + 1) * q]).map(|(x, c)| x * c).sum()
                    };
                    (0..q).filter(|i| x[*i] != 0.0).map(|i| x[i] * line(i)).sum()
                };
                let total: f64 = places.iter().map(|(_, weight)| weight).sum();
                let variance: f64 = places.iter().map(|(x, weight)| weight * of(x)).sum();
                variance / total / self.replicates.max(1) as f64
            }
        }
    }

    /// How bad a design is: the mean variance, or the logarithm of the determinant's root.
    pub fn loss(&self, chosen: &[usize]) -> f64 {
        self.loss_of(&self.products(chosen), &self.precisions(), &mut Work::default())
    }

    fn used(&self, chosen: &[usize]) -> Vec<usize> {
        let mut used = vec![0; self.candidates.len()];
        for index in chosen {
            used[*index] += 1;
        }
        used
    }

    /// Adds to a design, one candidate after another, what brings most for its cost, until its cost is at
    /// least `cost` or nothing is left to add; the candidates in the order in which they were added.
    pub fn extended(&self, mut chosen: Vec<usize>, cost: f64) -> Vec<usize> {
        let mut work = Work::default();
        let precisions = self.precisions();
        let mut spent: f64 = chosen.iter().map(|index| self.candidates[*index].cost).sum();
        while spent < cost {
            let used = self.used(&chosen);
            let base = self.products(&chosen);
            let before = self.loss_of(&base, &precisions, &mut work);
            let mut best: Option<(f64, usize)> = None;
            for (index, candidate) in self.candidates.iter().enumerate() {
                if used[index] >= candidate.at_most {
                    continue;
                }
                let mut products = base.clone();
                for seen in &candidate.observations {
                    products.add(Row { x: &seen.x, z: &seen.z, group: 0, y: 0.0 }, seen.weight);
                }
                let after = self.loss_of(&products, &precisions, &mut work);
                // While coefficients are still free, whatever frees one more is as good as another.
                let gain = if before.is_finite() { (before - after) / candidate.cost } else { -after };
                if best.is_none_or(|(most, _)| gain > most) {
                    best = Some((gain, index));
                }
            }
            let Some((_, index)) = best else { break };
            chosen.push(index);
            spent += self.candidates[index].cost;
        }
        chosen
    }

    /// Exchanges candidates of a design for others that cost no more, best exchange first, until none
    /// lessens the loss by a part in `gain`; the first `keep` of it stay.
    pub fn exchanged(&self, mut chosen: Vec<usize>, keep: usize, gain: f64) -> Vec<usize> {
        let mut work = Work::default();
        let precisions = self.precisions();
        let mut loss = self.loss(&chosen);
        // Every exchange makes the loss smaller, so it ends; the bound keeps rounding from going round.
        for _ in 0..200 {
            let used = self.used(&chosen);
            let mut best: Option<(f64, usize, usize)> = None;
            for place in keep..chosen.len() {
                if chosen[keep..place].contains(&chosen[place]) {
                    continue;
                }
                let mut rest = chosen.clone();
                rest.remove(place);
                let base = self.products(&rest);
                for (index, candidate) in self.candidates.iter().enumerate() {
                    let dearer = candidate.cost > self.candidates[chosen[place]].cost;
                    if index == chosen[place] || used[index] >= candidate.at_most || dearer {
                        continue;
                    }
                    let mut products = base.clone();
                    for seen in &candidate.observations {
                        products.add(Row { x: &seen.x, z: &seen.z, group: 0, y: 0.0 }, seen.weight);
                    }
                    let after = self.loss_of(&products, &precisions, &mut work);
                    if best.is_none_or(|(least, ..)| after < least) {
                        best = Some((after, place, index));
                    }
                }
            }
            let Some((after, place, index)) = best else { break };
            let better = if loss.is_finite() { loss - after > gain * loss.abs() } else { after.is_finite() };
            if !better {
                break;
            }
            chosen[place] = index;
            loss = after;
        }
        chosen
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Observations at 21 places from -1 to 1 of a polynomial, with nothing known and no replicates'
    /// effects.
    fn polynomial(degree: i32, criterion: Criterion) -> Choice {
        let at = |i: i32| f64::from(i) / 10.0;
        let x = |v: f64| (0..=degree).map(|power| v.powi(power)).collect::<Vec<f64>>();
        let candidate = |i: i32| Candidate {
            observations: vec![Observation { x: x(at(i)), z: vec![], weight: 1.0 }],
            cost: 1.0,
            at_most: usize::MAX,
        };
        Choice {
            candidates: (-10..=10).map(candidate).collect(),
            // Next to nothing, so that a design can grow from nothing.
            precisions: vec![1e-6; usize::try_from(degree).unwrap() + 1],
            effect_sds: vec![],
            replicates: 1,
            criterion,
        }
    }

    /// How often each place was chosen, as (place, times).
    fn places(choice: &Choice, chosen: &[usize]) -> Vec<(f64, usize)> {
        let used = choice.used(chosen);
        let value = |index: usize| choice.candidates[index].observations[0].x[1];
        (0..used.len()).filter(|i| used[*i] > 0).map(|i| (value(i), used[i])).collect()
    }

    fn designed(choice: &Choice, size: f64) -> Vec<usize> {
        choice.exchanged(choice.extended(Vec::new(), size), 0, 1e-9)
    }

    fn evenly(degree: i32) -> Criterion {
        let x = |v: f64| (0..=degree).map(|power| v.powi(power)).collect::<Vec<f64>>();
        Criterion::Prediction((0..2000).map(|i| (x(-1.0 + (f64::from(i) + 0.5) / 1000.0), 1.0)).collect())
    }

    /// Source: Atkinson and Donev 1992, 11.2: for a straight line half of the points at each end, for a
    /// parabola a third at each end and in the middle.
    #[test]
    fn the_d_optimal_design_of_a_line_has_half_of_its_points_at_each_end() {
        let line = polynomial(1, Criterion::Determinant);
        assert_eq!(places(&line, &designed(&line, 6.0)), [(-1.0, 3), (1.0, 3)]);
        let parabola = polynomial(2, Criterion::Determinant);
        assert_eq!(places(&parabola, &designed(&parabola, 9.0)), [(-1.0, 3), (0.0, 3), (1.0, 3)]);
    }

    /// Source: Atkinson and Donev 1992, 10.6 (V-optimality over an interval): a parabola wants a quarter
    /// of its points at each end and half in the middle; not a third, which is D-optimal.
    #[test]
    fn the_i_optimal_design_of_a_parabola_has_half_of_its_points_in_the_middle() {
        let choice = polynomial(2, evenly(2));
        let chosen = designed(&choice, 8.0);
        assert_eq!(places(&choice, &chosen), [(-1.0, 2), (0.0, 4), (1.0, 2)]);
        // Mean of x'(X'X)^-1 x over the interval, by hand: X'X has 8, 4, 4 and the inverse's entries
        // 1/4, -1/4, 1/4, 1/2, so 1/4 + 1/3 (1/4 - 1/2) + 1/5 (1/2) = 4/15.
        assert!((choice.loss(&chosen) - 4.0 / 15.0).abs() < 1e-5, "{}", choice.loss(&chosen));
        // Negative control: the D-optimal proportions are worse for predictions.
        let thirds: Vec<usize> = [0, 0, 0, 10, 10, 20, 20, 20].to_vec();
        assert!(choice.loss(&thirds) > 1.1 * choice.loss(&chosen));
    }

    /// Every choice of four among nine.
    fn best_of_all(choice: &Choice, size: usize) -> f64 {
        fn search(choice: &Choice, from: usize, chosen: &mut Vec<usize>, size: usize, least: &mut f64) {
            if chosen.len() == size {
                *least = least.min(choice.loss(chosen));
                return;
            }
            for index in from..choice.candidates.len() {
                chosen.push(index);
                search(choice, index + 1, chosen, size, least);
                chosen.pop();
            }
        }
        let mut least = f64::INFINITY;
        search(choice, 0, &mut Vec::new(), size, &mut least);
        least
    }

    /// Insides and outsides that share swell and scale, on replicates that swell: what coupons are.
    #[test]
    fn exchange_finds_what_a_search_of_all_designs_finds() {
        let candidate = |sign: f64, size: f64| Candidate {
            observations: vec![Observation {
                x: vec![sign, size, f64::from(sign < 0.0)],
                z: vec![sign, size],
                weight: 1600.0,
            }],
            cost: 1.0,
            at_most: 1,
        };
        let candidates: Vec<Candidate> = [(-2.0, 3.0), (-2.0, 8.0), (-2.0, 20.0), (2.0, 4.0), (2.0, 30.0)]
            .into_iter()
            .chain([(2.0, 60.0), (0.0, 25.0), (0.0, 60.0), (0.0, 100.0)])
            .map(|(sign, size)| candidate(sign, size))
            .collect();
        let wanted =
            vec![(vec![-2.0, 8.0, 1.0], 1.0), (vec![2.0, 40.0, 0.0], 1.0), (vec![0.0, 31.0, 0.0], 2.0)];
        for criterion in [Criterion::Determinant, Criterion::Prediction(wanted)] {
            for replicates in [1, 3] {
                let choice = Choice {
                    candidates: candidates.clone(),
                    precisions: vec![25.0, 2500.0, 400.0],
                    effect_sds: vec![0.015, 3e-4],
                    replicates,
                    criterion: criterion.clone(),
                };
                for size in [3, 4, 5] {
                    let found = choice.loss(&designed(&choice, f64::from(u32::try_from(size).unwrap())));
                    let best = best_of_all(&choice, size);
                    assert!((found - best).abs() <= 1e-9 * best.abs(), "{size}: {found} against {best}");
                }
            }
        }
    }

    #[test]
    fn more_replicates_and_more_observations_never_predict_worse() {
        let mut choice = polynomial(1, evenly(1));
        choice.effect_sds = vec![0.5];
        for candidate in &mut choice.candidates {
            candidate.observations[0].z = vec![1.0];
        }
        let chosen = designed(&choice, 4.0);
        let once = choice.loss(&chosen);
        assert!(choice.loss(&designed(&choice, 8.0)) < once);
        choice.replicates = 4;
        assert!((choice.loss(&chosen) * 4.0 / once - 1.0).abs() < 1e-4);
        // What a replicate shares does not average out within it.
        choice.replicates = 1;
        assert!(choice.loss(&vec![0; 400].into_iter().chain(vec![20; 400]).collect::<Vec<_>>()) > 0.25);
    }
}
