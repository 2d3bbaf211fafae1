//! What a design is worth: the interval that its correction will give to each wanted size.

use std::collections::BTreeMap;

use crate::correction::apply::CannotApply;
use crate::correction::structured::lent::weak;
use crate::correction::structured::priors;
use crate::correction::{Correction, Coverage, Form, PrintEffects, ScaleForm, Spread, SpreadEstimate, Term};
use crate::coupon::sheet::READINGS;
use crate::kind::{Axis, Kind};
use crate::stats::design::{Candidate, Choice, Criterion, Observation};
use crate::stats::distribution::t_quantile;

use super::Wanted;
use super::candidates::{self, Measured};
use super::spreads::Spreads;

/// The terms that tell these features apart.
pub fn terms(features: &[Measured]) -> Vec<Term> {
    let kind = |wanted: Kind| features.iter().any(|(kind, ..)| *kind == wanted);
    let axis = |wanted: Axis| features.iter().any(|(_, axis, _)| *axis == wanted);
    let mut terms = Vec::new();
    if Kind::ALL.into_iter().any(|of| of != Kind::Height && kind(of)) {
        terms.extend([Term::Swell, Term::ScaleInPlane]);
    }
    if axis(Axis::X) || axis(Axis::Y) {
        terms.push(Term::XyDifference);
    }
    if axis(Axis::D45) || axis(Axis::D135) {
        terms.push(Term::Skew);
    }
    if kind(Kind::Bore) {
        terms.push(Term::SmallBore);
    }
    if kind(Kind::HorizontalBore) {
        terms.push(Term::Sag);
    }
    if kind(Kind::Height) {
        terms.push(Term::ScaleZ);
    }
    terms.extend(Kind::ALL.into_iter().filter(|of| kind(*of)).map(Term::Offset));
    terms
}

fn row(terms: &[Term], (kind, axis, size): Measured) -> Vec<f64> {
    terms.iter().map(|term| term.value(kind, axis, size)).collect()
}

/// What reading adds to the variance of one feature's mean, mm^2.
fn reading_variance_mm2(spreads: &Spreads, kind: Kind) -> f64 {
    let inside = matches!(kind, Kind::Bore | Kind::HorizontalBore | Kind::Gap);
    let sd = if inside { spreads.inside_reading_sd_mm } else { spreads.outside_reading_sd_mm };
    sd * sd / READINGS as f64
}

fn observation(terms: &[Term], spreads: &Spreads, feature: Measured) -> Observation {
    let (kind, _, size) = feature;
    let in_plane = f64::from(kind != Kind::Height);
    Observation {
        x: row(terms, feature),
        z: vec![kind.swell_sign(), in_plane * size, 1.0 - in_plane],
        weight: 1.0 / (spreads.feature_sd_mm.powi(2) + reading_variance_mm2(spreads, kind)),
    }
}

/// The spread of feature means about the fit, mm, as the priors of the structured model count it.
fn mean_spread_mm(spreads: &Spreads) -> f64 {
    let reading = 0.5
        * (reading_variance_mm2(spreads, Kind::Bore) + reading_variance_mm2(spreads, Kind::Outer));
    (spreads.feature_sd_mm.powi(2) + reading).sqrt()
}

/// The choice among `candidates` for these dimensions on so many prints.
///
/// Predictions are weighed by one over the square of the room that a dimension has; those without limits
/// like the middle one of the others.
pub fn choice(
    candidates: &[candidates::Candidate],
    wanted: &[Wanted],
    spreads: &Spreads,
    prints: usize,
) -> Choice {
    let wanted_features = wanted.iter().map(|wanted| (wanted.kind, wanted.axis, wanted.target_mm));
    let all: Vec<Measured> = candidates
        .iter()
        .flat_map(|candidate| candidate.features.iter().copied())
        .chain(wanted_features)
        .collect();
    let terms = terms(&all);
    // No dimension counts more than one that may be off by 0.02 mm: no print keeps less.
    let mut rooms: Vec<f64> =
        wanted.iter().filter_map(|wanted| wanted.room_mm).map(|room| room.max(0.02)).collect();
    rooms.sort_by(f64::total_cmp);
    let usual = rooms.get(rooms.len() / 2).copied().unwrap_or(0.1);
    let place = |wanted: &Wanted| {
        let room = wanted.room_mm.map_or(usual, |room| room.max(0.02));
        (row(&terms, (wanted.kind, wanted.axis, wanted.target_mm)), room.powi(-2))
    };
    let candidate = |candidate: &candidates::Candidate| Candidate {
        observations: candidate.features.iter().map(|of| observation(&terms, spreads, *of)).collect(),
        cost: candidate.cost,
        at_most: 1,
    };
    Choice {
        candidates: candidates.iter().map(candidate).collect(),
        precisions: precisions(&terms, spreads),
        effect_sds: effect_sds(spreads),
        replicates: prints,
        criterion: Criterion::Prediction(wanted.iter().map(place).collect()),
    }
}

fn precisions(terms: &[Term], spreads: &Spreads) -> Vec<f64> {
    terms.iter().map(|term| weak(*term, mean_spread_mm(spreads)).1.powi(-2)).collect()
}

fn effect_sds(spreads: &Spreads) -> Vec<f64> {
    vec![spreads.print_swell_sd_mm, spreads.print_scale_sd, spreads.print_height_sd_mm]
}

/// Degrees of freedom of a variance of which the logarithm is known with this much information, that of a
/// prior whose standard deviation has a logarithm known to `ln_sd`, and half of `dof` from prints.
fn dof(ln_sd: f64, dof: f64) -> f64 {
    1.0 + 2.0 * (1.0 / (2.0 * ln_sd).powi(2) + dof / 2.0)
}

/// The correction that so many prints of these features are expected to give, its coefficients zero.
pub fn expected_correction(features: &[Measured], spreads: &Spreads, prints: usize) -> Option<Correction> {
    let terms = terms(features);
    let design = Choice {
        candidates: vec![Candidate {
            observations: features.iter().map(|of| observation(&terms, spreads, *of)).collect(),
            cost: 1.0,
            at_most: 1,
        }],
        precisions: precisions(&terms, spreads),
        effect_sds: effect_sds(spreads),
        replicates: prints,
        criterion: Criterion::Determinant,
    };
    let covariance = design.covariance(&[0])?;
    let size = terms.len();
    // Each coefficient takes a degree of freedom as far as the readings and not the prior decide it, and
    // each print's swell and scale nearly two.
    let taken: f64 = (0..size).map(|i| 1.0 - design.precisions[i] * covariance[i * size + i]).sum();
    let (count, prints_seen) = (features.len() as f64, prints as f64);
    let feature_dof = (count * prints_seen - taken - 1.5 * (prints_seen - 1.0)).max(1.0);
    let ratio = priors::PRINT_OVER_FEATURE.ln_sd;
    let shrink = ratio.hypot(priors::SHRINK_OVER_PRINT_PER_MM.ln_sd);
    let mut kinds: BTreeMap<Kind, Coverage> = BTreeMap::new();
    for (kind, _, size) in features {
        let of = kinds.entry(*kind).or_insert(Coverage {
            min_mm: *size,
            max_mm: *size,
            features: 0,
            readings: 0,
        });
        of.min_mm = of.min_mm.min(*size);
        of.max_mm = of.max_mm.max(*size);
        of.features += prints as u32;
        of.readings += (prints * READINGS) as u64;
    }
    let more = prints_seen - 1.0;
    Some(Correction {
        setup: "planned".to_owned(),
        date: None,
        readings_file: String::new(),
        readings_sha256: String::new(),
        program_version: String::new(),
        form: Form { scale: ScaleForm::Shared, small_bore: terms.contains(&Term::SmallBore) },
        runners_up: Vec::new(),
        coefficients: vec![0.0; size],
        covariance: covariance.chunks(size).map(<[f64]>::to_vec).collect(),
        terms,
        dof: feature_dof,
        prints: prints as u32,
        kinds,
        spread: Spread {
            print: SpreadEstimate { sd_mm: 2.0 * spreads.print_swell_sd_mm, dof: Some(dof(ratio, more)) },
            feature: SpreadEstimate { sd_mm: spreads.feature_sd_mm, dof: Some(1.0 + feature_dof) },
            repeat: None,
            caliper_u_mm: spreads.caliper_u_mm,
        },
        print_effects: Some(PrintEffects {
            swell_sd_mm: spreads.print_swell_sd_mm,
            swell_dof: dof(ratio, more),
            shrink_sd: spreads.print_scale_sd,
            shrink_dof: dof(shrink, 0.3 * more),
            height_sd_mm: spreads.print_height_sd_mm,
            height_dof: dof(priors::HEIGHT_OVER_FEATURE.ln_sd, more),
        }),
        set_aside: Vec::new(),
        warnings: Vec::new(),
    })
}

/// Half of the 95 % interval of one wanted size, mm, and how far it lies outside the measured sizes, mm.
///
/// # Errors
/// When nothing of its kind is measured.
pub fn half_width_mm(correction: &Correction, wanted: &Wanted) -> Result<(f64, f64), CannotApply> {
    let prediction = correction.predict(wanted.kind, wanted.axis, wanted.target_mm)?;
    let (low, high) = prediction.interval(0.95);
    Ok(((high - low) / 2.0, prediction.beyond_mm))
}

/// What no coupon takes away, mm: half of the 95 % interval of a new print where the printer is known to
/// the last bit.
pub fn floor_mm(spreads: &Spreads, wanted: &Wanted) -> f64 {
    let in_plane = f64::from(wanted.kind != Kind::Height);
    let parts = [
        wanted.kind.swell_sign() * spreads.print_swell_sd_mm,
        in_plane * wanted.target_mm * spreads.print_scale_sd,
        (1.0 - in_plane) * spreads.print_height_sd_mm,
        spreads.feature_sd_mm,
        spreads.caliper_u_mm,
    ];
    t_quantile(0.975, f64::INFINITY) * parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}
