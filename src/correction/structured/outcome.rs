//! From what is known of one setup to a correction, its points and its words.

use std::collections::{BTreeMap, BTreeSet};

use crate::correction::apply::dof_of_relative_variance;
use crate::correction::fitted::{Fit, FittedPoint};
use crate::correction::spread::caliper_u_mm;
use crate::correction::{
    Correction, Coverage, Form, PrintEffects, ScaleForm, SetAside, Spread, SpreadEstimate, Term,
};
use crate::kind::Kind;
use crate::readings::{Conditions, SetupReadings, slips};

use super::Options;
use super::average::{PartPosterior, Posterior, Weighted};
use super::cells::Cells;
use super::design::Part;
use super::priors::{self, Prior};
use super::resist::Judged;

/// Degrees of freedom of a spread of zero that no part has: any number will do, and a file holds it.
const NO_PART_DOF: f64 = 1e6;

/// What the steps before found.
pub struct Found<'a> {
    /// The readings.
    pub setup: &'a SetupReadings,
    /// How they were taken.
    pub conditions: &'a Conditions,
    /// What the person decided.
    pub options: &'a Options,
    /// One observation a feature and print.
    pub cells: &'a Cells,
    /// The model.
    pub parts: &'a [Part],
    /// How many prints.
    pub prints: usize,
}

/// Puts the correction together.
pub fn outcome(found: &Found<'_>, judged: &[Vec<Judged>], residual_sd_mm: f64, posterior: &Posterior) -> Fit {
    let feature = summary(&posterior.feature_sd);
    let (terms, coefficients, covariance) = joined(found.parts, &posterior.parts);
    let part = |height: bool| {
        let mut parts = found.parts.iter().zip(&posterior.parts);
        parts.find(|(part, _)| part.is_height == height).map(|(_, posterior)| posterior)
    };
    let effect = |height: bool, index: usize| {
        part(height).map_or((0.0, NO_PART_DOF), |part| summary(&part.effect_sds[index]))
    };
    let (print, print_dof) = effect(false, 0);
    let (shrink, shrink_dof) = effect(false, 1);
    let (height, height_dof) = effect(true, 0);
    let effects = PrintEffects {
        swell_sd_mm: print / 2.0,
        swell_dof: print_dof,
        shrink_sd: shrink,
        shrink_dof,
        height_sd_mm: height,
        height_dof,
    };
    // A setup of heights alone has its prints' spread there.
    let (print, print_dof) = if part(false).is_some() { (print, print_dof) } else { (height, height_dof) };
    let mut correction = Correction {
        setup: found.setup.setup.clone(),
        date: found.conditions.date.clone(),
        readings_file: String::new(),
        readings_sha256: String::new(),
        program_version: String::new(),
        form: Form { scale: ScaleForm::Shared, small_bore: terms.contains(&Term::SmallBore) },
        runners_up: Vec::new(),
        terms,
        coefficients,
        covariance,
        // A tenth is more than anyone reads from it.
        dof: (feature.1 * 10.0).round() / 10.0,
        prints: u32::try_from(found.prints).unwrap_or(u32::MAX),
        kinds: coverage(found, judged),
        spread: Spread {
            print: SpreadEstimate { sd_mm: print, dof: (found.prints > 1).then_some(print_dof) },
            feature: SpreadEstimate { sd_mm: feature.0, dof: Some(feature.1) },
            repeat: found.cells.repeat,
            caliper_u_mm: caliper_u_mm(found.conditions),
        },
        print_effects: Some(effects),
        set_aside: set_aside(found, judged),
        warnings: Vec::new(),
    };
    correction.warnings = lost_groups(found, judged);
    correction.warnings.extend(warnings(found, &correction));
    let points = points(found, judged, &correction);
    let r_squared = r_squared(&points);
    Fit {
        correction,
        points,
        r_squared,
        residual_sd_mm,
        first_layer: None,
        criticism: Vec::new(),
        leverage: Vec::new(),
    }
}

/// Root mean square of a spread that is known by its distribution, and the degrees of freedom that its
/// variance's spread amounts to.
fn summary(points: &[Weighted]) -> (f64, f64) {
    let total: f64 = points.iter().map(|(_, weight)| weight).sum();
    let mean = |power: i32| points.iter().map(|(sd, weight)| weight * sd.powi(power)).sum::<f64>() / total;
    let (variance, fourth) = (mean(2), mean(4));
    (variance.sqrt(), dof_of_relative_variance(fourth / (variance * variance) - 1.0))
}

/// All terms with coefficients and covariance; parts share nothing.
fn joined(parts: &[Part], posteriors: &[PartPosterior]) -> (Vec<Term>, Vec<f64>, Vec<Vec<f64>>) {
    let terms: Vec<Term> = parts.iter().flat_map(|part| part.terms.iter().copied()).collect();
    let coefficients: Vec<f64> = posteriors.iter().flat_map(|part| part.mean.iter().copied()).collect();
    let mut covariance = vec![vec![0.0; terms.len()]; terms.len()];
    let mut start = 0;
    for posterior in posteriors {
        let size = posterior.mean.len();
        for i in 0..size {
            for j in 0..size {
                covariance[start + i][start + j] = posterior.covariance[i * size + j];
            }
        }
        start += size;
    }
    (terms, coefficients, covariance)
}

/// Row by row: the part's position, the row's, and the feature's index.
fn rows(parts: &[Part]) -> impl Iterator<Item = (usize, usize, usize)> + '_ {
    parts
        .iter()
        .enumerate()
        .flat_map(|(p, part)| part.features.iter().enumerate().map(move |(row, index)| (p, row, *index)))
}

fn coverage(found: &Found<'_>, judged: &[Vec<Judged>]) -> BTreeMap<Kind, Coverage> {
    let mut kinds: BTreeMap<Kind, Coverage> = BTreeMap::new();
    for (part, row, index) in rows(found.parts) {
        let feature = &found.setup.features[index];
        if judged[part][row].pseudo_mm.is_none() {
            continue;
        }
        let size = feature.nominal_mm;
        let entry = kinds.entry(feature.kind).or_insert(Coverage {
            min_mm: size,
            max_mm: size,
            features: 0,
            readings: 0,
        });
        entry.min_mm = entry.min_mm.min(size);
        entry.max_mm = entry.max_mm.max(size);
        entry.features += 1;
        entry.readings += u64::from(found.cells.cells[index].count);
    }
    kinds
}

fn set_aside(found: &Found<'_>, judged: &[Vec<Judged>]) -> Vec<SetAside> {
    let mut all = found.cells.set_aside.clone();
    let mut known: BTreeSet<(u64, u64)> =
        all.iter().map(|aside| (aside.line, aside.reading_mm.to_bits())).collect();
    for (part, row, index) in rows(found.parts) {
        let (judged, feature) = (judged[part][row], &found.setup.features[index]);
        if judged.pseudo_mm.is_some() {
            continue;
        }
        let count = found.cells.cells[index].count;
        let what = match count {
            1 => "this reading".to_owned(),
            count => format!("the mean of the {count} readings of this feature"),
        };
        let reason = format!(
            "{what} lies {:+.3} mm from the fit, {:.1} times the spread of such features",
            judged.residual_mm,
            judged.z.abs()
        );
        let mut ends = vec![feature.repeats.lowest, feature.repeats.highest];
        ends.dedup_by_key(|reading| reading.line);
        for reading in ends {
            if known.insert((reading.line, reading.mm.to_bits())) {
                let slip = slips::likely(reading.mm, feature.nominal_mm);
                let slip = slip.map_or_else(String::new, |slip| format!("; {} {slip}", reading.mm));
                all.push(SetAside {
                    line: reading.line,
                    reading_mm: reading.mm,
                    reason: format!("{reason}{slip}"),
                });
            }
        }
    }
    all.sort_by_key(|set_aside| set_aside.line);
    all
}

fn points(found: &Found<'_>, judged: &[Vec<Judged>], correction: &Correction) -> Vec<FittedPoint> {
    let mut order: Vec<(usize, usize, usize)> = Vec::with_capacity(found.setup.features.len());
    order.extend(rows(found.parts));
    order.sort_unstable_by_key(|(_, _, index)| *index);
    let point = |(part, row, index): (usize, usize, usize)| {
        let (judged, feature) = (judged[part][row], &found.setup.features[index]);
        let cell = &found.cells.cells[index];
        let fitted_mm = correction.deviation_mm(feature.kind, feature.axis, feature.nominal_mm);
        let used = judged.pseudo_mm.is_some();
        FittedPoint {
            coupon: feature.coupon.clone(),
            feature: feature.feature.clone(),
            kind: feature.kind,
            axis: feature.axis,
            copy: feature.copy,
            line: feature.repeats.lowest.line.min(feature.repeats.highest.line),
            nominal_mm: feature.nominal_mm,
            measured_mm: feature.nominal_mm + cell.deviation_mm,
            count: cell.count,
            deviation_mm: cell.deviation_mm,
            fitted_mm,
            residual_mm: cell.deviation_mm - fitted_mm,
            studentised: used.then_some(judged.z),
            leverage: used.then_some(judged.leverage),
            set_aside: !used,
        }
    };
    order.into_iter().map(point).collect()
}

fn r_squared(points: &[FittedPoint]) -> Option<f64> {
    let used = || points.iter().filter(|point| !point.set_aside);
    let count = f64::from(u32::try_from(used().count()).ok()?);
    let mean = used().map(|point| point.deviation_mm).sum::<f64>() / count;
    let total: f64 = used().map(|point| (point.deviation_mm - mean).powi(2)).sum();
    let left: f64 = used().map(|point| point.residual_mm.powi(2)).sum();
    (total > 0.0).then(|| 1.0 - left / total)
}

/// The features of one kind and size, where the fit disowns all of several.
fn lost_groups(found: &Found<'_>, judged: &[Vec<Judged>]) -> Vec<String> {
    if judged.iter().flatten().all(|judged| judged.pseudo_mm.is_some()) {
        return Vec::new();
    }
    let mut groups: BTreeMap<(Kind, u64), Vec<Judged>> = BTreeMap::new();
    for (part, row, index) in rows(found.parts) {
        let feature = &found.setup.features[index];
        groups.entry((feature.kind, feature.nominal_mm.to_bits())).or_default().push(judged[part][row]);
    }
    let lost = groups
        .into_iter()
        .filter(|(_, members)| members.len() > 1 && members.iter().all(|judged| judged.pseudo_mm.is_none()));
    lost.map(|((kind, bits), members)| {
        let mean = members.iter().map(|judged| judged.residual_mm).sum::<f64>() / members.len() as f64;
        format!(
            "all {} {} of {} mm were set aside: they are {:.3} mm {} than all other sizes say; measure them again, and until then do not trust sizes near theirs",
            members.len(),
            kind.plural(),
            f64::from_bits(bits),
            mean.abs(),
            if mean > 0.0 { "larger" } else { "smaller" }
        )
    })
    .collect()
}

fn warnings(found: &Found<'_>, correction: &Correction) -> Vec<String> {
    let mut warnings = Vec::new();
    if found.prints < 2 {
        let lent = found.options.lent.as_ref().is_some_and(|lent| lent.print.is_some());
        let source = if lent || found.options.print_sd_mm.is_some() {
            "as your other corrections have it".to_owned()
        } else {
            format!(
                "reference spreads: about {:.1} times what features of one print differ by",
                correction.spread.print.sd_mm / correction.spread.feature.sd_mm
            )
        };
        warnings.push(format!(
            "one print only: how prints differ is not seen; the intervals allow {:.3} mm for it ({source}); print the coupons once more to measure it",
            correction.spread.print.sd_mm
        ));
    }
    if found.cells.repeat.is_none() {
        warnings.push(
            "no feature was read twice: the spread of reading is not seen and counts as spread of the print, so the intervals are wide; read each feature three times"
                .to_owned(),
        );
    }
    if let Some(position) = correction.terms.iter().position(|term| *term == Term::SmallBore) {
        if found.options.jaw_flat_mm.is_none() {
            warnings.push(
                "the small-bore term also holds what flat inside jaws fail to reach in a small bore; give --jaw-flat-mm to tell the two apart, or bores come out larger than predicted by flat^2 / (2 x size)"
                    .to_owned(),
            );
        }
        if let Prior::Fixed { sd, .. } = priors::prior(Term::SmallBore) {
            let seen = correction.covariance[position][position].sqrt();
            if seen > 0.5 * sd * found.options.prior_scale {
                warnings.push(
                    "the bores span too little to tell how much more small ones close; sizes far below the measured ones rest on what is usual"
                        .to_owned(),
                );
            }
        }
    }
    let scale = correction.terms.iter().position(|term| *term == Term::ScaleInPlane);
    if let Some(position) = scale
        && correction.covariance[position][position].sqrt() > 0.004
    {
        warnings.push(
            "the sizes span too little to tell scale from offset; do not trust sizes far from the measured ones"
                .to_owned(),
        );
    }
    warnings
}
