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
    let reading =
        0.5 * (reading_variance_mm2(spreads, Kind::Bore) + reading_variance_mm2(spreads, Kind::Outer));
    (spreads.feature_sd_mm.powi(2) + reading).sqrt()
}

/// The choice among `candidates` for these dimensions on so many prints.
///
/// Predictions are weighed by one over the square of the room that a dimension has, or of what no coupon
/// takes away where that is more; those without limits like the middle one of the others.
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
    // What is out of reach must not draw all coupons to itself.
    let room = |wanted: &Wanted| wanted.room_mm.map(|room| room.max(floor_mm(spreads, wanted)));
    let mut rooms: Vec<f64> = wanted.iter().filter_map(room).collect();
    rooms.sort_by(f64::total_cmp);
    let usual = rooms.get(rooms.len() / 2).copied().unwrap_or(0.1);
    let place = |wanted: &Wanted| {
        let room = room(wanted).unwrap_or(usual);
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

/// A spread as a fit will have it: root mean square over what is then thought possible.
#[derive(Clone, Copy)]
struct Seen {
    sd: f64,
    dof: f64,
}

impl Seen {
    /// From the median of a spread and the variance of its logarithm.
    fn new(median: f64, ln_variance: f64) -> Self {
        // Of a log-normal spread; degrees of freedom as in `correction::apply`.
        Self { sd: median * ln_variance.exp(), dof: 1.0 + 0.5 / ln_variance }
    }
}

/// The spreads as a fit will have them, which sees them through a few features and prints and otherwise
/// goes by how printers usually are. Checked against fits of simulated printers: `tests/plan_holds.rs`.
struct AsFitted {
    feature: Seen,
    swell: Seen,
    shrink: Seen,
    height: Seen,
}

impl AsFitted {
    fn new(spreads: &Spreads, feature_dof: f64, prints: f64) -> Self {
        let feature_ln = 0.5 / feature_dof;
        let over = |usual: f64, ln_sd: f64, power: f64, sd: f64| {
            // What is usual counts as far as features tell it; each further print tells nearly as much as
            // a degree of freedom does, 2 of the logarithm.
            let usual_weight = 1.0 / (ln_sd.powi(2) + (1.0 + power).powi(2) * feature_ln);
            let own_weight = 1.6 * (prints - 1.0);
            let all = usual_weight + own_weight;
            ((usual_weight * usual.ln() + own_weight * sd.ln()) / all, 1.0 / all)
        };
        let feature = spreads.feature_sd_mm;
        let (outside, inside) = (spreads.outside_reading_sd_mm, spreads.inside_reading_sd_mm);
        let repeat = (0.5 * (outside * outside + inside * inside)).sqrt();
        let (print, power) = (priors::print_over_feature(Some(repeat)), priors::PRINT_OVER_FEATURE_POWER);
        let usual = print.median * feature * (feature / priors::TYPICAL_FEATURE_SD_MM).powf(power);
        let (swell_ln, swell_variance) =
            over(usual / 2.0, print.ln_sd, power, spreads.print_swell_sd_mm.max(1e-5));
        let height = priors::HEIGHT_OVER_FEATURE;
        let (height_ln, height_variance) =
            over(height.median * feature, height.ln_sd, 0.0, spreads.print_height_sd_mm.max(1e-5));
        let ratio = spreads.print_scale_sd / spreads.print_swell_sd_mm.max(1e-5);
        let shrink_variance = swell_variance + priors::SHRINK_OVER_PRINT_PER_MM.ln_sd.powi(2);
        Self {
            feature: Seen::new(feature, feature_ln),
            swell: Seen::new(swell_ln.exp(), swell_variance),
            shrink: Seen::new(ratio * swell_ln.exp(), shrink_variance),
            height: Seen::new(height_ln.exp(), height_variance),
        }
    }

    fn spreads(&self, assumed: &Spreads) -> Spreads {
        Spreads {
            print_swell_sd_mm: self.swell.sd,
            print_scale_sd: self.shrink.sd,
            print_height_sd_mm: self.height.sd,
            feature_sd_mm: self.feature.sd,
            ..*assumed
        }
    }
}

/// How much of what was asked of a robust fit's residuals they tell of their spread.
const EFFICIENCY: f64 = 0.85;

fn covariance(terms: &[Term], features: &[Measured], spreads: &Spreads, prints: usize) -> Option<Vec<f64>> {
    let design = Choice {
        candidates: vec![Candidate {
            observations: features.iter().map(|of| observation(terms, spreads, *of)).collect(),
            cost: 1.0,
            at_most: 1,
        }],
        precisions: precisions(terms, spreads),
        effect_sds: effect_sds(spreads),
        replicates: prints,
        criterion: Criterion::Determinant,
    };
    design.covariance(&[0])
}

/// The correction that so many prints of these features are expected to give, its coefficients zero.
pub fn expected_correction(features: &[Measured], spreads: &Spreads, prints: usize) -> Option<Correction> {
    let terms = terms(features);
    let size = terms.len();
    let before = covariance(&terms, features, spreads, prints)?;
    // Each coefficient takes a degree of freedom as far as the readings and not the prior decide it, and
    // each further print's swell and scale nearly two.
    let precisions = precisions(&terms, spreads);
    let taken: f64 = (0..size).map(|i| 1.0 - precisions[i] * before[i * size + i]).sum();
    let (count, prints_seen) = (features.len() as f64, prints as f64);
    let feature_dof = EFFICIENCY * (count * prints_seen - taken - 1.5 * (prints_seen - 1.0)).max(1.0);
    let seen = AsFitted::new(spreads, feature_dof, prints_seen);
    let covariance = covariance(&terms, features, &seen.spreads(spreads), prints)?;
    let mut kinds: BTreeMap<Kind, Coverage> = BTreeMap::new();
    for (kind, _, size) in features {
        let of =
            kinds.entry(*kind).or_insert(Coverage { min_mm: *size, max_mm: *size, features: 0, readings: 0 });
        of.min_mm = of.min_mm.min(*size);
        of.max_mm = of.max_mm.max(*size);
        of.features += prints as u32;
        of.readings += (prints * READINGS) as u64;
    }
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
            print: SpreadEstimate { sd_mm: 2.0 * seen.swell.sd, dof: Some(seen.swell.dof) },
            feature: SpreadEstimate { sd_mm: seen.feature.sd, dof: Some(seen.feature.dof) },
            repeat: None,
            caliper_u_mm: spreads.caliper_u_mm,
        },
        print_effects: Some(PrintEffects {
            swell_sd_mm: seen.swell.sd,
            swell_dof: seen.swell.dof,
            shrink_sd: seen.shrink.sd,
            shrink_dof: seen.shrink.dof,
            height_sd_mm: seen.height.sd,
            height_dof: seen.height.dof,
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
