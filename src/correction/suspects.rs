//! Readings that do not belong with the others: found by stated tests, named by line.
//!
//! Three rounds. First the slips of the pen that [`crate::readings::slips`] recognises by themselves.
//! Then single readings that stand apart from the repeats of the same feature: the extreme one against
//! the others, in units of the pooled repeat spread. Then features that stand apart from the fit: the
//! externally studentised residual. Both tests are two-sided, at a level of 5 % for the whole setup
//! (Bonferroni), so that one clean setup in twenty loses a reading.
//!
//! Several gross errors hide each other from such a test and can turn it against a good reading. So it
//! starts from a fit by least absolute residuals, holds back whatever stands five robust spreads away,
//! and takes points in again while they pass; at the end every point outside fails the test against
//! those inside, and every one inside passes.
//!
//! Source: Hadi and Simonoff, Journal of the American Statistical Association 88 (1993) 1264 (forward
//! inclusion from a clean start); Cook and Weisberg, Residuals and Influence in Regression, 2.2.2.

use crate::readings::{Reading, SetupReadings};
use crate::stats::distribution::outlying;
use crate::stats::least_absolute;

use super::estimate::Estimate;
use super::fit::FitError;
use super::form::richest;
use super::moments::Moments;
use super::observations::{Cells, Observation};
use super::{Form, SetAside};

/// Chance that a clean setup loses anything to one of the two tests.
const FAMILY_LEVEL: f64 = 0.05;
/// Held back at the start: this many robust spreads from the robust fit. By feel; what is held back
/// without cause is taken in again.
const HELD_BACK: f64 = 5.0;
/// At most this share of the features is set aside by the test; more means that the model or the sheet
/// is wrong and not a few readings.
pub(super) const LARGEST_SHARE: f64 = 0.2;

/// What was found.
#[derive(Clone, Debug, Default)]
pub(super) struct Suspects {
    pub set_aside: Vec<SetAside>,
    /// The share of features that the test would set aside was larger than allowed.
    pub too_many: bool,
}

/// Sets single readings aside that stand apart from the repeats of their feature.
pub(super) fn among_repeats(
    setup: &SetupReadings,
    observations: &mut [Observation],
    least_sd_mm: f64,
    found: &mut Suspects,
) {
    let Some(limit) = repeat_limit_mm2(observations, least_sd_mm) else { return };
    let clean = |seen: &Observation| {
        seen.used && seen.count > 1 && seen.squares_mm2 <= limit * f64::from(seen.count - 1)
    };
    let readings: u32 =
        observations.iter().filter(|seen| seen.used && seen.count > 1).map(|seen| seen.count).sum();
    let (mut squares, mut dof) = (0.0, 0.0);
    for seen in observations.iter().filter(|seen| clean(seen)) {
        squares += seen.squares_mm2;
        dof += f64::from(seen.count - 1);
    }
    let mut bound = outlying(FAMILY_LEVEL, f64::from(readings), dof - 1.0);
    let mut bound_dof = dof;
    for at in 0..observations.len() {
        while let Some(worst) = extreme(&observations[at]) {
            let seen = &observations[at];
            let n = f64::from(seen.count);
            let gain = n / (n - 1.0) * (worst.mm - seen.mean_mm).powi(2);
            let (others, others_dof) = if clean(seen) { (squares - gain, dof - 1.0) } else { (squares, dof) };
            if others_dof < 3.0 {
                break;
            }
            let sd = (others.max(0.0) / others_dof).sqrt().max(least_sd_mm);
            let times = gain.sqrt() / sd;
            if bound_dof != dof {
                bound = outlying(FAMILY_LEVEL, f64::from(readings), dof - 1.0);
                bound_dof = dof;
            }
            if times <= bound {
                break;
            }
            found.set_aside.push(SetAside {
                line: worst.line,
                reading_mm: worst.mm,
                reason: repeat_reason(setup, seen, worst, times, bound),
            });
            let was_clean = clean(seen);
            observations[at].without(worst);
            if was_clean {
                squares -= gain;
                dof -= 1.0;
            }
        }
    }
}

/// Variance within a feature above which the feature is no measure of the repeat spread, mm^2.
fn repeat_limit_mm2(observations: &[Observation], least_sd_mm: f64) -> Option<f64> {
    let repeated = observations.iter().filter(|seen| seen.used && seen.count > 1);
    let middle = least_absolute::middle(repeated.map(|seen| {
        let dof = f64::from(seen.count - 1);
        // Median of chi-square over its degrees of freedom, Wilson and Hilferty.
        seen.squares_mm2 / dof / (1.0 - 2.0 / (9.0 * dof)).powi(3)
    }))?;
    Some(HELD_BACK * HELD_BACK * middle.max(least_sd_mm * least_sd_mm))
}

/// Of three readings or more, the one furthest from their mean, where it is known.
fn extreme(seen: &Observation) -> Option<Reading> {
    if !seen.used || seen.count < 3 {
        return None;
    }
    let distance = |reading: &Reading| (reading.mm - seen.mean_mm).abs();
    let both = seen.lowest.into_iter().chain(seen.highest);
    both.max_by(|a, b| distance(a).total_cmp(&distance(b)))
}

fn repeat_reason(
    setup: &SetupReadings,
    seen: &Observation,
    worst: Reading,
    times: f64,
    bound: f64,
) -> String {
    let n = f64::from(seen.count);
    let apart = (worst.mm - seen.mean_mm) * n / (n - 1.0);
    format!(
        "{:.2} mm {} the other {} readings of {}: {times:.1} times the repeat spread, the limit is {bound:.1}",
        apart.abs(),
        side(apart),
        seen.count - 1,
        name(setup, seen),
    )
}

/// Sets features aside that stand apart from the fit; the fit of the others.
pub(super) fn among_features(
    setup: &SetupReadings,
    observations: &mut [Observation],
    forced: Option<Form>,
    least_sd_mm: f64,
    found: &mut Suspects,
) -> Result<Estimate, FitError> {
    let mut estimate = Estimate::new(observations, forced, least_sd_mm)?;
    let total = observations.iter().filter(|seen| seen.used).count();
    let allowed = (LARGEST_SHARE * total as f64) as usize;
    let candidates: Vec<usize> = (0..observations.len()).filter(|at| observations[*at].used).collect();
    if hides_something(&estimate, observations, total)
        && hold_back(observations, &estimate.kinds, least_sd_mm, allowed)
    {
        estimate = Estimate::new(observations, loosened(forced, observations), least_sd_mm)?;
    }
    // Taking in and putting out cannot go on for ever; the bound is never met in practice.
    for _ in 0..4 * total {
        let bound = outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof());
        let size = |at: usize| {
            let standing = estimate.standing(at, &observations[at]);
            standing.map_or(Some(0.0), |standing| standing.studentised.map(f64::abs))
        };
        let outside = candidates.iter().copied().filter(|at| !observations[*at].used);
        let nearest = outside
            .map(|at| (at, size(at).unwrap_or(0.0)))
            .min_by(|(_, a), (_, b)| a.total_cmp(b))
            .filter(|(_, size)| *size <= bound);
        let change = nearest.or_else(|| {
            let inside = candidates.iter().copied().filter(|at| observations[*at].used);
            let sizes = inside.filter_map(|at| size(at).map(|size| (at, size)));
            sizes.max_by(|(_, a), (_, b)| a.total_cmp(b)).filter(|(_, size)| *size > bound)
        });
        let Some((at, _)) = change else { break };
        let aside = candidates.iter().filter(|at| !observations[**at].used).count();
        if observations[at].used && aside >= allowed {
            found.too_many = true;
            break;
        }
        observations[at].used = !observations[at].used;
        estimate = Estimate::new(observations, loosened(forced, observations), least_sd_mm)?;
    }
    let bound = outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof());
    for at in candidates.into_iter().filter(|at| !observations[*at].used) {
        let seen = &observations[at];
        if let Some(standing) = estimate.standing(at, seen) {
            let reason = feature_reason(setup, seen, standing.residual_mm, standing.studentised, bound);
            let both = [seen.lowest, seen.highest].into_iter().flatten();
            let mut lines: Vec<Reading> = both.collect();
            lines.dedup_by_key(|reading| reading.line);
            for reading in lines {
                let reason = reason.clone();
                found.set_aside.push(SetAside { line: reading.line, reading_mm: reading.mm, reason });
            }
        }
    }
    Ok(estimate)
}

/// Whether the plain fit fails a point, or its residuals have tails that may hide one.
fn hides_something(estimate: &Estimate, observations: &[Observation], total: usize) -> bool {
    let standings = || {
        let used = observations.iter().enumerate().filter(|(_, seen)| seen.used);
        used.filter_map(|(at, seen)| estimate.standing(at, seen))
    };
    let bound = outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof());
    if standings().any(|standing| standing.studentised.is_some_and(|t| t.abs() > bound)) {
        return true;
    }
    // A normal sample's spread by its median is within a few per cent of its standard deviation when
    // it is large; a small sample is looked at more closely at once.
    let middle = least_absolute::middle(standings().map(|standing| standing.residual_mm.abs() / 0.6745));
    total < 60 || middle.is_none_or(|middle| estimate.residual_sd_mm() > 1.3 * middle)
}

/// Puts out what stands far from a robust fit of the richest form, the furthest first; whether any does.
fn hold_back(observations: &mut [Observation], kinds: &[Moments], least_sd_mm: f64, allowed: usize) -> bool {
    let terms = richest(kinds).terms(kinds);
    let used: Vec<usize> = (0..observations.len()).filter(|at| observations[*at].used).collect();
    let rows: Vec<Vec<f64>> = used
        .iter()
        .map(|at| {
            let seen = &observations[*at];
            terms
                .iter()
                .map(|term| term.value(seen.kind, crate::kind::Axis::Round, seen.nominal_mm))
                .collect()
        })
        .collect();
    let deviations: Vec<f64> = used.iter().map(|at| observations[*at].deviation_mm()).collect();
    // Where the robust fit has no answer, the search starts from all points.
    let Ok(residuals) = least_absolute::residuals(&rows, &deviations, least_sd_mm) else {
        return false;
    };
    let Some(spread) = least_absolute::spread_of(&residuals, terms.len()) else { return false };
    let mut far: Vec<(f64, usize)> = residuals.iter().map(|residual| residual.abs()).zip(used).collect();
    far.retain(|(size, _)| *size > HELD_BACK * spread.max(least_sd_mm));
    far.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    far.truncate(allowed);
    far.iter().for_each(|(_, at)| observations[*at].used = false);
    !far.is_empty()
}

/// A forced form, as long as what is left can tell it.
fn loosened(forced: Option<Form>, observations: &[Observation]) -> Option<Form> {
    let cells = Cells::gather(observations);
    let kinds: Vec<Moments> = cells.by_kind().filter_map(Moments::of).collect();
    forced.filter(|form| form.refusal(&kinds).is_none())
}

fn feature_reason(
    setup: &SetupReadings,
    seen: &Observation,
    residual_mm: f64,
    studentised: Option<f64>,
    bound: f64,
) -> String {
    let times = studentised.map_or_else(String::new, |t| {
        format!(": {:.1} times the spread of the others, the limit is {bound:.1}", t.abs())
    });
    let mean =
        if seen.count > 1 { format!("the mean of the {} readings of ", seen.count) } else { String::new() };
    format!(
        "{mean}{} is {:.2} mm {} the fit of all the others{times}",
        name(setup, seen),
        residual_mm.abs(),
        side(residual_mm),
    )
}

/// `ring bore 8`, with the print where there are several.
fn name(setup: &SetupReadings, seen: &Observation) -> String {
    let readings = &setup.features[seen.feature];
    let coupon = if readings.coupon.is_empty() { String::new() } else { format!(" of {}", readings.coupon) };
    format!("{}{coupon}, print {}", readings.feature, seen.copy)
}

fn side(apart: f64) -> &'static str {
    if apart > 0.0 { "above" } else { "below" }
}
