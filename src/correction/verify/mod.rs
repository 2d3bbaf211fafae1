//! Does a correction still hold? Readings of later prints against what it predicted of them.
//!
//! Three things are looked at, each with the errors that its parts share (see [`super::joint`]):
//!
//! - every feature alone: `z = (mean reading - predicted) / predicted spread`,
//! - two shifts: of all sizes alike, and of walls, where outside sizes grow as inside sizes close,
//! - all features together, by a test that uses their covariance (see [`crate::stats::linked`]).
//!
//! A shift has an interval (how well the later prints' own shift is known: features, readings, caliper) and
//! a usual range (where the shift of prints of an unchanged printer lies: all parts, also how prints differ
//! and how well the correction is known). What is known of the spreads by now is more than the correction
//! states (`spreads`), and it is in doubt: a shift's p-value is averaged over that doubt (`shifts`). From
//! these the verdict:
//!
//! - *drifted*: there is evidence of change, and the change is larger than what matters. Evidence is any of
//!   three: the walls' shift with a p-value below 0.033, that of all sizes below 0.0075, the joint test below
//!   0.0075: together 5 % of unchanged printers at most (Bonferroni). A shift is one direction and is tested
//!   as one: the joint test alone would miss it, among forty features it is one direction of forty, and is left
//!   for whatever else may change. Walls have most of the level since prints differ most there, so that a change
//!   is hardest to see; all sizes alike never move by chance. For the shifts, the change is the shift;
//!   for the joint test the largest of the shifts and of the kinds' mean differences.
//! - *holds*: each of the three p-values is 0.05 or more, and the intervals of both shifts lie inside plus
//!   and minus what matters.
//! - *cannot tell*: anything else, with the reason.
//!
//! A reading that stands apart from all the others, whatever shift they share, is set aside and named: one
//! slip of the caliper is no drift. Nothing is set aside where many stand apart.
//!
//! Source: levels shared among tests, Miller, Simultaneous Statistical Inference, 2nd ed. 1981, 1.2 and 3.1; a chance
//! averaged over what is not known of a spread (prior predictive), Box, Journal of the Royal Statistical Society A 143
//! (1980) 383. Simulated rates: tests/verify_simulated.rs.

pub mod answer;
pub mod measured;
mod shifts;
mod spreads;
mod verdict;

use crate::kind::{Axis, Kind};
use crate::readings::{FeatureReadings, SetupReadings};
use crate::stats::distribution::outlying;
use crate::stats::linked::Column;

use super::Correction;
use super::joint::{JointSpread, LaterFeature};
use crate::coupon::feature::is_fitted;
use shifts::Shifted;

pub use verdict::{Reason, Verdict};

/// A change of the mean that matters when nobody says otherwise, mm: what is felt between a snug and a
/// sliding fit. Judgement.
pub const USUAL_MATTERS_MM: f64 = 0.05;
/// Chance of calling any of the readings of a good sheet one that stands apart.
const APART_LEVEL: f64 = 0.01;
/// With fewer features the others do not tell which one stands apart.
const FEWEST_TO_JUDGE: usize = 6;
/// Of more than this share of the features none is set aside.
const LARGEST_SHARE: f64 = 0.2;

/// What a verification may be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// The change of the mean that matters, mm.
    pub matters_mm: f64,
    /// Use every reading, also one that stands apart.
    pub keep_all: bool,
    /// Width of the flat of the inside jaws across the bore, mm, where the correction was fitted with it.
    pub jaw_flat_mm: Option<f64>,
    /// Readings times this are sizes at 20 °C; 1.
    pub to_reference: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { matters_mm: USUAL_MATTERS_MM, keep_all: false, jaw_flat_mm: None, to_reference: 1.0 }
    }
}

/// One feature of a later print against its prediction.
#[derive(Clone, Debug, PartialEq)]
pub struct VerifiedFeature {
    /// Coupon and feature.
    pub name: String,
    /// Line of its first reading.
    pub line: u64,
    /// Which print, from 1.
    pub copy: u32,
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// What was drawn, mm.
    pub drawn_mm: f64,
    /// What it was predicted to measure, mm.
    pub expected_mm: f64,
    /// The mean of its readings, mm.
    pub reading_mm: f64,
    /// How many readings.
    pub readings: u32,
    /// Predicted standard deviation of that mean, mm.
    pub sd_mm: f64,
    /// How far the drawn size lies outside the range that the correction was measured on, mm.
    pub beyond_mm: f64,
    /// It stands apart from the others and does not count.
    pub set_aside: bool,
}

impl VerifiedFeature {
    /// Reading less prediction, mm.
    pub fn difference_mm(&self) -> f64 {
        self.reading_mm - self.expected_mm
    }

    /// The same in predicted standard deviations.
    pub fn z(&self) -> f64 {
        self.difference_mm() / self.sd_mm
    }
}

/// A shift that features have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// How far the later prints lie from the prediction, mm.
    pub shift_mm: f64,
    /// Half of the 95 % interval of that: features, readings and caliper.
    pub half_width_mm: f64,
    /// 95 % of unchanged printers would be within plus and minus this, mm.
    pub usual_mm: f64,
    /// Standard deviation that the correction and the caliper give to it, and to every later one, mm.
    pub shared_sd_mm: f64,
    /// Standard deviation that these prints give to it, mm.
    pub own_sd_mm: f64,
    /// The chance of so large a shift, either way, from an unchanged printer.
    pub p_value: f64,
}

/// What later prints say of a correction.
#[derive(Clone, Debug, PartialEq)]
pub struct Verification {
    /// The setup.
    pub setup: String,
    /// When the correction's coupons were measured.
    pub fitted_on: Option<String>,
    /// How many prints were measured now.
    pub prints: u32,
    /// What was measured, in file order.
    pub features: Vec<VerifiedFeature>,
    /// The chance of differences as large, all together, from an unchanged printer.
    pub p_value: f64,
    /// The shift of all sizes alike.
    pub all_sizes: Shift,
    /// The shift of walls, as outside sizes show it: they grow, inside sizes close. `None` without walls.
    pub walls: Option<Shift>,
    /// The mean difference of each kind, mm.
    pub kinds: Vec<(Kind, f64)>,
    /// What matters, mm.
    pub matters_mm: f64,
    /// Whether the correction still holds.
    pub verdict: Verdict,
    /// Why it is not `holds`.
    pub reasons: Vec<Reason>,
    /// What a reader must know.
    pub warnings: Vec<String>,
}

/// Why there is no verification.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CannotVerify {
    /// Nothing that the correction is about was measured.
    #[error("nothing to verify: {what}")]
    Nothing {
        /// What there was instead.
        what: String,
    },
    /// The spreads of the correction are no spreads.
    #[error("the correction of `{setup}` has spreads that no prediction can be tested with")]
    NoSpread {
        /// The setup.
        setup: String,
    },
}

impl CannotVerify {
    /// What the person can do about it.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Nothing { .. } => "measure features of the kinds that the correction was fitted on",
            Self::NoSpread { .. } => "fit the correction again",
        }
    }
}

/// Verifies a correction by the readings of later prints of its setup.
///
/// What was measured at the bed or on a sagging arm is left out, as in the fit; kinds that the correction does not know are
/// left out with a warning.
///
/// # Errors
/// Nothing is left to verify by.
pub fn verify(
    correction: &Correction,
    later: &SetupReadings,
    options: &Options,
) -> Result<Verification, CannotVerify> {
    let mut warnings = Vec::new();
    let mut features = predicted(correction, later, options, &mut warnings)?;
    warnings.extend(beyond(correction, &features));
    let whole = joint_spread(correction, &features);
    for (at, feature) in features.iter_mut().enumerate() {
        feature.sd_mm = whole.linked.variance(at).sqrt();
    }
    let no_spread = || CannotVerify::NoSpread { setup: correction.setup.clone() };
    if !options.keep_all {
        for at in standing_apart(&features, &whole).ok_or_else(no_spread)? {
            features[at].set_aside = true;
        }
    }
    let used: Vec<VerifiedFeature> = features.iter().filter(|feature| !feature.set_aside).cloned().collect();
    let stated = joint_spread(correction, &used);
    let differences: Vec<f64> = used.iter().map(VerifiedFeature::difference_mm).collect();
    let mut joint = stated.clone();
    joint.learn_from(correction, &used, &differences);
    let shift = |weights: &[f64]| {
        let shifted = Shifted { correction, stated: &stated, joint: &joint };
        shifted.by(weights, &differences)
    };
    let p_value = joint.linked.test(&differences).ok_or_else(no_spread)?.p_value;
    let count = used.len() as f64;
    let all_sizes = shift(&vec![1.0 / count; used.len()]);
    let signs: Vec<f64> = used.iter().map(|feature| feature.kind.swell_sign() / 2.0).collect();
    let walls_count: f64 = signs.iter().map(|sign| sign.abs()).sum();
    let walls = (walls_count > 0.0).then(|| {
        let weights: Vec<f64> = signs.iter().map(|sign| sign / walls_count).collect();
        shift(&weights)
    });
    let mut prints: Vec<u32> = used.iter().map(|feature| feature.copy).collect();
    prints.sort_unstable();
    prints.dedup();
    let mut verification = Verification {
        setup: correction.setup.clone(),
        fitted_on: correction.date.clone(),
        prints: prints.len() as u32,
        features,
        p_value,
        all_sizes,
        walls,
        kinds: by_kind(&used),
        matters_mm: options.matters_mm,
        verdict: Verdict::Holds,
        reasons: Vec::new(),
        warnings,
    };
    (verification.verdict, verification.reasons) = verdict::of(&verification);
    Ok(verification)
}

/// Every feature that the correction can predict, its spread left open.
fn predicted(
    correction: &Correction,
    later: &SetupReadings,
    options: &Options,
    warnings: &mut Vec<String>,
) -> Result<Vec<VerifiedFeature>, CannotVerify> {
    let mut unknown: Vec<(Kind, usize)> = Vec::new();
    let mut features = Vec::with_capacity(later.features.len());
    for readings in later.features.iter().filter(|readings| is_to_verify(readings)) {
        match correction.predict(readings.kind, readings.axis, readings.nominal_mm) {
            Ok(prediction) => features.push(VerifiedFeature {
                name: name(readings),
                line: readings.repeats.lowest.line.min(readings.repeats.highest.line),
                copy: readings.copy,
                kind: readings.kind,
                axis: readings.axis,
                drawn_mm: readings.nominal_mm,
                expected_mm: prediction.expected_mm,
                reading_mm: size_mm(readings, options),
                readings: readings.repeats.count,
                sd_mm: 0.0,
                beyond_mm: prediction.beyond_mm,
                set_aside: false,
            }),
            Err(_) => match unknown.iter_mut().find(|(kind, _)| *kind == readings.kind) {
                Some((_, count)) => *count += 1,
                None => unknown.push((readings.kind, 1)),
            },
        }
    }
    let left_out: Vec<String> =
        unknown.iter().map(|(kind, count)| format!("{} ({count})", kind.plural())).collect();
    if features.is_empty() {
        let what = if left_out.is_empty() {
            "no feature has a reading".to_owned()
        } else {
            format!("only {} were measured, which the correction does not have", left_out.join(", "))
        };
        return Err(CannotVerify::Nothing { what });
    }
    if !left_out.is_empty() {
        warnings
            .push(format!("left out, since the correction was not fitted on them: {}", left_out.join(", ")));
    }
    Ok(features)
}

/// What was measured, at 20 °C and without the chord error of flat jaws; see [`super::structured`].
fn size_mm(readings: &FeatureReadings, options: &Options) -> f64 {
    let as_read = match (readings.kind, options.jaw_flat_mm) {
        (Kind::Bore | Kind::HorizontalBore, Some(flat_mm)) => readings.repeats.mean_mm.hypot(flat_mm),
        _ => readings.repeats.mean_mm,
    };
    as_read * options.to_reference
}

fn is_to_verify(readings: &FeatureReadings) -> bool {
    readings.repeats.count > 0 && is_fitted(&readings.feature)
}

fn name(readings: &FeatureReadings) -> String {
    match (readings.coupon.as_str(), readings.feature.as_str()) {
        ("", feature) => feature.to_owned(),
        (coupon, feature) => format!("{coupon} {feature}"),
    }
}

fn joint_spread(correction: &Correction, features: &[VerifiedFeature]) -> JointSpread {
    let of = |feature: &VerifiedFeature| LaterFeature {
        kind: feature.kind,
        axis: feature.axis,
        drawn_mm: feature.drawn_mm,
        print: feature.copy,
        readings: feature.readings,
    };
    correction.joint_spread(&features.iter().map(of).collect::<Vec<_>>())
}

/// Features beyond the range that the correction was measured on.
fn beyond(correction: &Correction, features: &[VerifiedFeature]) -> Option<String> {
    let far = features.iter().filter(|feature| feature.beyond_mm > 0.0);
    let furthest = far.clone().max_by(|a, b| a.beyond_mm.total_cmp(&b.beyond_mm))?;
    let coverage = correction.kinds.get(&furthest.kind)?;
    Some(format!(
        "{} of the features lie beyond the sizes that the correction was fitted on, the furthest {} of {} mm ({} to {} mm were measured)",
        far.count(),
        furthest.name,
        furthest.drawn_mm,
        coverage.min_mm,
        coverage.max_mm
    ))
}

/// Features that stand apart from all the others, whatever shift these share.
fn standing_apart(features: &[VerifiedFeature], joint: &JointSpread) -> Option<Vec<usize>> {
    let count = features.len();
    let differences: Vec<f64> = features.iter().map(VerifiedFeature::difference_mm).collect();
    if count < FEWEST_TO_JUDGE {
        return Some(Vec::new());
    }
    let mut linked = joint.linked.clone();
    // A shift of any size is for the others to tell: one that nobody foresaw, of all sizes and of walls.
    let anything_mm = 10.0;
    let group = linked.dofs.len();
    linked.dofs.push(f64::INFINITY);
    linked.columns.push(Column { group, loadings: vec![anything_mm; count] });
    let walls = features.iter().map(|feature| anything_mm * feature.kind.swell_sign());
    linked.columns.push(Column { group, loadings: walls.collect() });
    let bound = outlying(APART_LEVEL, count as f64, linked.dofs[0]);
    let most = (LARGEST_SHARE * count as f64) as usize;
    let mut found = Vec::new();
    loop {
        let apart = linked.apart(&differences)?;
        let next = (0..count)
            .filter(|at| !found.contains(at))
            .max_by(|a, b| apart[*a].abs().total_cmp(&apart[*b].abs()))
            .filter(|at| apart[*at].abs() > bound);
        let Some(next) = next else { return Some(found) };
        if found.len() == most {
            return Some(Vec::new());
        }
        // From now on it says nothing of the others.
        linked.own[next] = anything_mm * anything_mm * 1e4;
        found.push(next);
    }
}

fn by_kind(features: &[VerifiedFeature]) -> Vec<(Kind, f64)> {
    let of = |kind: Kind| {
        let differences: Vec<f64> =
            features.iter().filter(|f| f.kind == kind).map(VerifiedFeature::difference_mm).collect();
        let mean = differences.iter().sum::<f64>() / differences.len() as f64;
        (!differences.is_empty()).then_some((kind, mean))
    };
    Kind::ALL.into_iter().filter_map(of).collect()
}
