//! The spreads that a new print adds: print to print (P), feature to feature (F), repeat readings (R)
//! and the caliper's own (C).
//!
//! A print differs from its sibling by a little swell: outside sizes up, inside sizes down. So P is seen
//! in each print's mean residual with the sign of the swell, `m = mean(sign * residual)`:
//!
//! ```text
//! P^2 = sum (m - mean m)^2 / (prints - 1) - W^2 * mean(1 / features)      prints - 1 degrees of freedom
//! W^2 = squares about each print's m, over n - coefficients - (prints - 1)
//! F^2 = W^2 - R^2 * mean(1 / repeats)
//! ```
//!
//! both floored at 0: a spread that the repeats explain is no spread of features. Only kinds that were
//! measured on several prints count, since the offset of any other takes its print's shift with it. With
//! one print nothing can be told of P, and an allowance stands for it that has no degrees of freedom.
//! Beside several prints it counts as one degree of freedom more: two or three prints often agree by
//! chance, and the moments would then say 0 and the interval hold too seldom (simulated, 300 printers
//! with P = 0.03 mm: 90 % for two prints, 93 % for three; with the allowance tests/simulated_printer.rs).
//!
//! Source: moments of a one-way random-effects layout, Searle, Casella and McCulloch, Variance
//! Components, 3.6; caliper: rectangular distributions, JCGM 100:2008, F.2.2.1 and F.2.3.3.

use crate::kind::Kind;
use crate::readings::Conditions;

use super::estimate::Estimate;
use super::observations::Observation;
use super::{Spread, SpreadEstimate};

/// Print-to-print standard deviation of one dimension that is allowed for when one print was measured,
/// mm. Common practice: a typical printer's, bracketed by published accuracy studies.
pub const PRINT_ALLOWANCE_MM: f64 = 0.03;
/// What the allowance weighs beside measured prints, in degrees of freedom: as much as one print more.
/// Judgement; without it a pair of prints that happen to agree would promise that all will.
pub(super) const ALLOWANCE_DOF: f64 = 1.0;
/// Smallest step of a caliper, mm, when the readings file does not say.
pub const USUAL_RESOLUTION_MM: f64 = 0.01;

/// The caliper's resolution, mm.
pub(super) fn resolution_mm(conditions: &Conditions) -> f64 {
    conditions.caliper_resolution_mm.unwrap_or(USUAL_RESOLUTION_MM)
}

/// Standard uncertainty of the caliper, mm: half a step either way, and its limit of error where stated.
pub(super) fn caliper_u_mm(conditions: &Conditions) -> f64 {
    let limit = conditions.caliper_error_mm.unwrap_or(0.0);
    (resolution_mm(conditions).powi(2) / 12.0 + limit * limit / 3.0).sqrt()
}

/// Sums of one print.
#[derive(Clone, Copy, Debug, Default)]
struct Print {
    copy: u32,
    features: f64,
    sum: f64,
}

/// All four, from the residuals of the fit.
pub(super) fn spread(observations: &[Observation], estimate: &Estimate, conditions: &Conditions) -> Spread {
    let repeat = repeat_spread(observations);
    let prints = prints(observations, estimate);
    let shifts: f64 = prints.iter().map(|print| print.sum * print.sum / print.features).sum();
    let apart = (prints.len() as f64 - 1.0).max(0.0);
    let dof = estimate.solution.dof() as f64;
    let total = estimate.solution.residual_squares;
    // With fewer degrees of freedom than prints the shifts cannot be told from the rest.
    let told = apart > 0.0 && dof - apart >= 1.0;
    let (within_mm2, within_dof) =
        if told { ((total - shifts).max(0.0) / (dof - apart), dof - apart) } else { (total / dof, dof) };
    let print = if told {
        let count = prints.len() as f64;
        let mean = prints.iter().map(|print| print.sum / print.features).sum::<f64>() / count;
        let between: f64 = prints.iter().map(|print| (print.sum / print.features - mean).powi(2)).sum();
        let shared = prints.iter().map(|print| 1.0 / print.features).sum::<f64>() / count;
        let variance = (between / apart - within_mm2 * shared).max(0.0);
        let with_allowance = apart * variance + ALLOWANCE_DOF * PRINT_ALLOWANCE_MM * PRINT_ALLOWANCE_MM;
        let dof = apart + ALLOWANCE_DOF;
        SpreadEstimate { sd_mm: (with_allowance / dof).sqrt(), dof: Some(dof) }
    } else {
        SpreadEstimate { sd_mm: PRINT_ALLOWANCE_MM, dof: None }
    };
    let read_mm2 = repeat.map_or(0.0, |repeat| repeat.sd_mm.powi(2) * mean_inverse_count(observations));
    let feature = SpreadEstimate { sd_mm: (within_mm2 - read_mm2).max(0.0).sqrt(), dof: Some(within_dof) };
    Spread { print, feature, repeat, caliper_u_mm: caliper_u_mm(conditions) }
}

/// Pooled spread of repeat readings; `None` when nothing was read twice.
fn repeat_spread(observations: &[Observation]) -> Option<SpreadEstimate> {
    let (mut squares, mut dof) = (0.0, 0.0);
    for seen in observations.iter().filter(|seen| seen.used && seen.count > 1) {
        squares += seen.squares_mm2;
        dof += f64::from(seen.count - 1);
    }
    (dof > 0.0).then(|| SpreadEstimate { sd_mm: (squares / dof).sqrt(), dof: Some(dof) })
}

fn mean_inverse_count(observations: &[Observation]) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for seen in observations.iter().filter(|seen| seen.used) {
        sum += 1.0 / f64::from(seen.count);
        count += 1.0;
    }
    sum / count
}

/// The signed residuals of each print, over kinds that several prints have.
fn prints(observations: &[Observation], estimate: &Estimate) -> Vec<Print> {
    let sign = signs(observations);
    let mut prints: Vec<Print> = Vec::new();
    let mut last = 0;
    for (at, seen) in observations.iter().enumerate() {
        let sign = sign[seen.kind as usize];
        let Some((residual_mm, _)) = estimate.quick(at, seen).filter(|_| sign != 0.0) else { continue };
        if prints.get(last).is_none_or(|print| print.copy != seen.copy) {
            last = match prints.binary_search_by_key(&seen.copy, |print| print.copy) {
                Ok(place) => place,
                Err(place) => {
                    prints.insert(place, Print { copy: seen.copy, ..Print::default() });
                    place
                }
            };
        }
        prints[last].features += 1.0;
        prints[last].sum += sign * residual_mm;
    }
    prints
}

/// By kind, which way a print's swell moves it: +1, -1, or 0 for a kind that is left out. Where no kind
/// has a sign, as with spans alone, all move together.
fn signs(observations: &[Observation]) -> [f64; Kind::ALL.len()] {
    let mut first: [Option<u32>; Kind::ALL.len()] = [None; Kind::ALL.len()];
    let mut several = [false; Kind::ALL.len()];
    for seen in observations.iter().filter(|seen| seen.used) {
        let kind = seen.kind as usize;
        several[kind] |= *first[kind].get_or_insert(seen.copy) != seen.copy;
    }
    let shared = |kind: Kind| f64::from(several[kind as usize]);
    let signed = Kind::ALL.map(|kind| shared(kind) * kind.swell_sign() / 2.0);
    if signed.iter().any(|sign| *sign != 0.0) { signed } else { Kind::ALL.map(shared) }
}
