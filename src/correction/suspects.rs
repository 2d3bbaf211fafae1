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
//! takes points in again one by one while they pass, and only then puts out, one by one, what fails.
//!
//! Source: Hadi and Simonoff, Journal of the American Statistical Association 88 (1993) 1264 (forward
//! inclusion from a clean start); Cook and Weisberg, Residuals and Influence in Regression, 2.2.2.

use crate::kind::Axis;
use crate::readings::{Reading, SetupView, slips};
use crate::stats::distribution::outlying;
use crate::stats::least_absolute::{self, SparseRows};
use crate::stats::robust::{median, spread_of_sizes};

use super::estimate::Estimate;
use super::fit::FitError;
use super::form::richest;
use super::moments::Moments;
use super::observations::{Cells, Observation};
use super::{Form, SetAside, Term};

/// Chance that a clean setup loses anything to one of the two tests.
const FAMILY_LEVEL: f64 = 0.05;
/// Held back at the start: this many robust spreads from the robust fit. By feel; what is held back
/// without cause is taken in again.
const HELD_BACK: f64 = 5.0;
/// From so many prints of one size, their median stands for them in the robust fit.
const MANY_PRINTS: usize = 5;
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

/// Sets readings aside that a slip of the pen explains, or that lie nowhere near their nominal size.
///
/// Of a feature the smallest and the largest reading are known; when what is left is a slip as a whole,
/// all of it was mistyped and goes.
pub(super) fn slips(setup: SetupView<'_>, observations: &mut [Observation], found: &mut Suspects) {
    for seen in observations {
        let nominal_mm = seen.nominal_mm;
        // Nearly all observations end here.
        if seen.count == 1 && !slips::is_doubtful(seen.mean_mm, nominal_mm) {
            continue;
        }
        let reason = |mm: f64| slips::likely(mm, nominal_mm).map(|slip| format!("{mm} {slip}"));
        for reading in seen.ends(setup).into_iter().flatten() {
            let known = seen.ends(setup).contains(&Some(reading));
            let Some(reason) = reason(reading.mm).filter(|_| seen.used && known) else { continue };
            seen.without(reading, setup);
            found.set_aside.push(SetAside { line: reading.line, reading_mm: reading.mm, reason });
        }
        if seen.used && slips::likely(seen.mean_mm, nominal_mm).is_some() {
            seen.used = false;
        }
    }
}

/// Sets single readings aside that stand apart from the repeats of their feature.
pub(super) fn among_repeats(
    setup: SetupView<'_>,
    observations: &mut [Observation],
    least_sd_mm: f64,
    found: &mut Suspects,
) {
    let Some(mut pool) = RepeatPool::of(observations, least_sd_mm) else { return };
    let mut bound = pool.bound();
    for seen in observations.iter_mut().filter(|seen| seen.used) {
        while let Some((worst, times)) = pool.worst(setup, seen, bound) {
            found.set_aside.push(SetAside {
                line: worst.line,
                reading_mm: worst.mm,
                reason: repeat_reason(setup, seen, worst, times, bound),
            });
            pool.take(seen, worst);
            seen.without(worst, setup);
            bound = pool.bound();
        }
    }
}

/// The repeat spread of the features whose repeats agree.
struct RepeatPool {
    squares_mm2: f64,
    dof: f64,
    /// How many readings are tested.
    readings: f64,
    /// Variance within a feature above which the feature is not in the pool.
    limit_mm2: f64,
    least_mm2: f64,
}

impl RepeatPool {
    /// `None` when nothing was read twice.
    fn of(observations: &[Observation], least_sd_mm: f64) -> Option<Self> {
        let limit_mm2 = repeat_limit_mm2(observations, least_sd_mm)?;
        let least_mm2 = least_sd_mm * least_sd_mm;
        let mut pool = Self { squares_mm2: 0.0, dof: 0.0, readings: 0.0, limit_mm2, least_mm2 };
        for seen in observations.iter().filter(|seen| seen.used && seen.count > 1) {
            pool.readings += f64::from(seen.count);
            if pool.has(seen) {
                pool.squares_mm2 += seen.squares_mm2;
                pool.dof += f64::from(seen.count - 1);
            }
        }
        Some(pool)
    }

    fn has(&self, seen: &Observation) -> bool {
        seen.squares_mm2 <= self.limit_mm2 * f64::from(seen.count - 1)
    }

    fn bound(&self) -> f64 {
        outlying(FAMILY_LEVEL, self.readings, self.dof - 1.0)
    }

    /// Variance of the pool without so much of it.
    fn without(&self, squares_mm2: f64) -> f64 {
        ((self.squares_mm2 - squares_mm2).max(0.0) / (self.dof - 1.0)).max(self.least_mm2)
    }

    /// A feature's extreme reading and how many spreads it stands apart, when that is beyond the bound.
    fn worst(&self, setup: SetupView<'_>, seen: &Observation, bound: f64) -> Option<(Reading, f64)> {
        // No reading can take away more than all squares of its feature; and three degrees of freedom
        // are the least that a spread is judged by.
        if self.dof <= 3.0 || seen.squares_mm2 <= bound * bound * self.without(seen.squares_mm2) {
            return None;
        }
        let worst = extreme(setup, seen)?;
        let gain = gain_mm2(seen, worst);
        let others = if self.has(seen) { self.without(gain) } else { self.without(0.0) };
        let times = (gain / others).sqrt();
        (times > bound).then_some((worst, times))
    }

    /// Takes what this reading adds out of the pool.
    fn take(&mut self, seen: &Observation, reading: Reading) {
        if self.has(seen) {
            self.squares_mm2 -= gain_mm2(seen, reading);
            self.dof -= 1.0;
        }
    }
}

/// By how much a feature's squares fall without this reading.
fn gain_mm2(seen: &Observation, reading: Reading) -> f64 {
    let n = f64::from(seen.count);
    n / (n - 1.0) * (reading.mm - seen.mean_mm).powi(2)
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
fn extreme(setup: SetupView<'_>, seen: &Observation) -> Option<Reading> {
    if !seen.used || seen.count < 3 {
        return None;
    }
    let distance = |reading: &Reading| (reading.mm - seen.mean_mm).abs();
    let both = seen.ends(setup).into_iter().flatten();
    both.max_by(|a, b| distance(a).total_cmp(&distance(b)))
}

fn repeat_reason(setup: SetupView<'_>, seen: &Observation, worst: Reading, times: f64, bound: f64) -> String {
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
    setup: SetupView<'_>,
    observations: &mut [Observation],
    forced: Option<Form>,
    least_sd_mm: f64,
    found: &mut Suspects,
) -> Result<Estimate, FitError> {
    let mut estimate = Estimate::new(observations, forced, least_sd_mm)?;
    let total = estimate.solution.observations as usize;
    let allowed = (LARGEST_SHARE * total as f64) as usize;
    let look = first_look(&estimate, observations, total);
    if look == FirstLook::Clean {
        return Ok(estimate);
    }
    let is_any_held_back = hold_back(observations, &estimate, least_sd_mm, allowed);
    if !is_any_held_back && look != FirstLook::Fails {
        return Ok(estimate);
    }
    // Those that the first fit used.
    let candidates: Vec<usize> =
        (0..observations.len()).filter(|at| estimate.cells.of(*at).is_some()).collect();
    if is_any_held_back {
        estimate = Estimate::new(observations, loosened(forced, observations), least_sd_mm)?;
    }
    let refit = |observations: &[Observation]| {
        Estimate::new(observations, loosened(forced, observations), least_sd_mm)
    };
    // Taken in again while they pass, the nearest first: each makes the test of the next one fairer.
    while let Some(at) = nearest_outside(&estimate, observations, &candidates, total) {
        observations[at].used = true;
        estimate = refit(observations)?;
    }
    // Then put out while one fails, the furthest first; what is put out here stays out.
    while let Some(at) = furthest_inside(&estimate, observations, total) {
        if candidates.iter().filter(|at| !observations[**at].used).count() >= allowed {
            found.too_many = true;
            break;
        }
        observations[at].used = false;
        estimate = refit(observations)?;
    }
    let bound = outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof() + 1.0);
    for at in candidates.into_iter().filter(|at| !observations[*at].used) {
        let seen = &observations[at];
        if let Some(standing) = estimate.standing(at, seen) {
            let reason = feature_reason(setup, seen, standing.residual_mm, standing.studentised, bound);
            let mut lines: Vec<Reading> = seen.ends(setup).into_iter().flatten().collect();
            lines.dedup();
            for reading in lines {
                let reason = reason.clone();
                found.set_aside.push(SetAside { line: reading.line, reading_mm: reading.mm, reason });
            }
        }
    }
    Ok(estimate)
}

/// The point held back that stands nearest to the fit, when it passes.
fn nearest_outside(
    estimate: &Estimate,
    observations: &[Observation],
    candidates: &[usize],
    total: usize,
) -> Option<usize> {
    let bound = outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof() + 1.0);
    let outside = candidates.iter().filter(|at| !observations[**at].used);
    // Where nothing of its kind is left inside, nothing speaks against it.
    let size = |at: usize| {
        let standing = estimate.standing(at, &observations[at]);
        standing.and_then(|standing| standing.studentised).map_or(0.0, f64::abs)
    };
    let nearest = outside.map(|at| (*at, size(*at))).min_by(|(_, a), (_, b)| a.total_cmp(b));
    nearest.filter(|(_, size)| *size <= bound).map(|(at, _)| at)
}

/// The point inside that stands furthest from the fit of the others, when it fails.
fn furthest_inside(estimate: &Estimate, observations: &[Observation], total: usize) -> Option<usize> {
    let bound = outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof());
    let inside = observations.iter().enumerate().filter(|(_, seen)| seen.used);
    let sizes = inside.filter_map(|(at, seen)| Some((at, estimate.standing(at, seen)?.studentised?.abs())));
    let furthest = sizes.max_by(|(_, a), (_, b)| a.total_cmp(b));
    furthest.filter(|(_, size)| *size > bound).map(|(at, _)| at)
}

/// What the plain fit shows of outliers.
#[derive(Clone, Copy, PartialEq)]
enum FirstLook {
    /// Every point passes, and nothing can hide in tails like these.
    Clean,
    /// Every point passes, but several may hide each other.
    MayHide,
    /// A point fails.
    Fails,
}

fn first_look(estimate: &Estimate, observations: &[Observation], total: usize) -> FirstLook {
    let bound = estimate.quick_bound(outlying(FAMILY_LEVEL, total as f64, estimate.outlier_dof()));
    let mut sizes = Vec::with_capacity(total);
    for (at, seen) in observations.iter().enumerate() {
        let Some((residual_mm, squared)) = estimate.quick(at, seen) else { continue };
        if squared > bound {
            return FirstLook::Fails;
        }
        sizes.push(residual_mm.abs());
    }
    // A small sample is looked at more closely at once.
    if total < 60 {
        return FirstLook::MayHide;
    }
    // A normal sample's spread by its median is within a few per cent of its standard deviation when
    // it is large.
    let narrow = spread_of_sizes(&mut sizes).is_none_or(|spread| estimate.residual_sd_mm() > 1.3 * spread);
    if narrow { FirstLook::MayHide } else { FirstLook::Clean }
}

/// Puts out what stands far from a robust fit of the richest form, the furthest first; whether any does.
fn hold_back(
    observations: &mut [Observation],
    estimate: &Estimate,
    least_sd_mm: f64,
    allowed: usize,
) -> bool {
    let cells = &estimate.cells;
    let terms = richest(&estimate.kinds).terms(&estimate.kinds);
    let placed = || observations.iter().enumerate().filter_map(|(at, seen)| Some((seen, cells.of(at)?)));
    let mut members = members(placed(), cells);
    let mut left = &mut members[..];
    let mut rows = SparseRows::new(terms.len(), observations.len());
    let (mut deviations, mut counts) =
        (Vec::with_capacity(observations.len()), Vec::with_capacity(observations.len()));
    // Of each cell, its first row.
    let mut firsts = Vec::with_capacity(cells.all.len());
    // The terms that a kind has.
    let mut own: Vec<(usize, Term)> = Vec::with_capacity(terms.len());
    let mut own_kind = None;
    for cell in &cells.all {
        if own_kind.replace(cell.kind) != Some(cell.kind) {
            let has = |(_, term): &(usize, Term)| term.value(cell.kind, Axis::Round, cell.nominal_mm) != 0.0;
            own.clear();
            own.extend(terms.iter().copied().enumerate().filter(has));
        }
        let members;
        (members, left) = left.split_at_mut(cell.count as usize);
        // The median of many prints has resisted already, and keeps a thousand prints as quick as ten.
        let many = members.len() >= MANY_PRINTS;
        let count = if many { members.len() as f64 } else { 1.0 };
        firsts.push(deviations.len());
        if many {
            deviations.extend(median(members));
        } else {
            deviations.extend_from_slice(members);
        }
        for _ in counts.len()..deviations.len() {
            let value =
                |(at, term): &(usize, Term)| (*at, term.value(cell.kind, Axis::Round, cell.nominal_mm));
            rows.push(own.iter().map(value));
            counts.push(count);
        }
    }
    // Where the robust fit has no answer, the search starts from all points.
    let Some(fitted) = least_absolute::fitted(rows, &deviations, &counts, least_sd_mm) else { return false };
    let fitted: Vec<f64> = firsts.into_iter().map(|row| fitted[row]).collect();
    let size = |seen: &Observation, cell: usize| (seen.deviation_mm() - fitted[cell]).abs();
    let sizes = placed().map(|(seen, cell)| size(seen, cell)).collect();
    let Some(spread) = least_absolute::spread_of_sizes(sizes, terms.len()) else { return false };
    let beyond_mm = HELD_BACK * spread.max(least_sd_mm);
    let used = observations.iter().enumerate().filter_map(|(at, seen)| Some((at, seen, cells.of(at)?)));
    let sized = used.map(|(at, seen, cell)| (size(seen, cell), at));
    let mut far: Vec<(f64, usize)> = sized.filter(|(size, _)| *size > beyond_mm).collect();
    far.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    far.truncate(allowed);
    far.iter().for_each(|(_, at)| observations[*at].used = false);
    !far.is_empty()
}

/// The deviations of each cell, one cell behind the other.
fn members<'a>(placed: impl Iterator<Item = (&'a Observation, usize)>, cells: &Cells) -> Vec<f64> {
    let mut next = Vec::with_capacity(cells.all.len());
    let mut count = 0;
    for cell in &cells.all {
        next.push(count);
        count += cell.count as usize;
    }
    let mut members = vec![0.0; count];
    for (seen, cell) in placed {
        members[next[cell]] = seen.deviation_mm();
        next[cell] += 1;
    }
    members
}

/// A forced form, as long as what is left can tell it.
fn loosened(forced: Option<Form>, observations: &[Observation]) -> Option<Form> {
    let cells = Cells::gather(observations);
    let kinds: Vec<Moments> = cells.by_kind().filter_map(Moments::of).collect();
    forced.filter(|form| form.refusal(&kinds).is_none())
}

fn feature_reason(
    setup: SetupView<'_>,
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
fn name(setup: SetupView<'_>, seen: &Observation) -> String {
    let readings = setup.feature(seen.feature as usize);
    let coupon = if readings.coupon.is_empty() { String::new() } else { format!(" of {}", readings.coupon) };
    format!("{}{coupon}, print {}", readings.feature, seen.copy)
}

fn side(apart: f64) -> &'static str {
    if apart > 0.0 { "above" } else { "below" }
}
