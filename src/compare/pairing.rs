//! Pieces and stages to changes: each feature of each piece after a soak less the same before it, less
//! what the reference piece did.
//!
//! The reference is one number a stage, the mean change of all features of the metal piece: a caliper that was
//! dropped or zeroed anew shifts everything alike. Its uncertainty is shared by all changes of the stage, so
//! it widens their intervals and drops out of differences between materials.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::correction::spread::USUAL_RESOLUTION_MM;
use crate::kind::{Axis, Kind};
use crate::problem::{Location, Problem, counted};
use crate::readings::CheckedReadings;
use crate::stats::difference::{Estimate, mean};
use crate::stats::distribution::f_above;

use super::group::Group;
use super::reading::{Condition, Features, Gathered, Material, PieceKey, gather};
use super::swapped;

/// Spread of repeat readings where nothing was read twice, mm. Common practice, no source: a caliper of
/// 0.01 mm in a practised hand on plastic.
const USUAL_REPEAT_SD_MM: f64 = 0.015;

/// Changes of the reference scatter more than repeats do where chance would give that less often.
const SCATTERS_MORE: f64 = 0.05; // the customary level

/// Degrees of freedom from which a spread counts as known.
const AS_GOOD_AS_KNOWN: f64 = 1e5;

/// The change of one feature of one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Number of its material.
    pub material: usize,
    /// Number of the soak.
    pub condition: usize,
    /// Number of the piece, counted over all.
    pub piece: usize,
    /// Which features it is taken together with.
    pub group: Group,
    /// The coupon, empty when the sheet does not say.
    pub coupon: String,
    /// The feature.
    pub feature: String,
    /// Its kind.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// What it measured before, mm.
    pub before_mm: f64,
    /// What it measured after, mm.
    pub after_mm: f64,
    /// After less before less the reference's change, mm.
    pub change_mm: f64,
    /// Line of its first reading before.
    pub line_before: u64,
    /// Line of its first reading after.
    pub line_after: u64,
}

/// What the reference piece changed by in one soak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// The mean change, taken out of all others, mm.
    pub estimate: Estimate,
    /// How many of its features.
    pub features: usize,
}

/// A piece of a material.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Piece {
    /// Number of its material.
    pub material: usize,
    /// How the sheet names it: setup and copy.
    pub name: String,
}

/// What was measured, paired.
#[derive(Clone, Debug)]
pub struct Study {
    /// The materials, in order of first appearance.
    pub materials: Vec<Material>,
    /// The soaks, coolest and shortest first.
    pub conditions: Vec<Condition>,
    /// The pieces.
    pub pieces: Vec<Piece>,
    /// The changes, by material, condition and piece.
    pub changes: Vec<Change>,
    /// By condition; `None` where no reference was measured.
    pub references: Vec<Option<Reference>>,
    /// Standard deviation of one reading, mm, pooled over repeats; `None` where nothing was read twice.
    pub repeat: Option<(f64, f64)>,
    /// What a rounded reading adds to a change, mm: standard deviation.
    pub rounding_sd_mm: f64,
    /// Doubtful but usable.
    pub warnings: Vec<Problem>,
}

/// Pairs what these files say, taken together, or says everything that is wrong.
///
/// # Errors
/// As for [`super::compare`].
pub fn study(files: &[CheckedReadings]) -> Result<Study, Vec<Problem>> {
    let mut gathered = gather(files);
    let mut problems = std::mem::take(&mut gathered.problems);
    if !problems.is_empty() && gathered.pieces.is_empty() {
        return Err(problems);
    }
    let order = order(&gathered.conditions);
    let repeat = pooled_repeat(&gathered);
    let mut references = vec![None; order.len()];
    let mut changes = Vec::new();
    let mut pieces: Vec<Piece> = Vec::new();
    let mut soaked: BTreeSet<usize> = BTreeSet::new();
    for (key, stages) in &gathered.pieces {
        let Some(material) = key.material else { continue };
        let name = named(&gathered, key);
        if stages.keys().all(Option::is_none) {
            problems.push(only_before(&name, stages));
            continue;
        }
        soaked.insert(material);
        let Some(before) = stages.get(&None) else {
            problems.push(no_before(&name, stages));
            continue;
        };
        pieces.push(Piece { material, name: name.clone() });
        for (condition, features) in stages.iter().filter_map(|(stage, of)| Some(((*stage)?, of))) {
            let known = Known { material, condition: order[condition], piece: pieces.len() - 1, name: &name };
            pair(before, features, known, &mut changes, &mut problems);
        }
    }
    for (name, material) in gathered.materials.iter().map(|known| &known.name).zip(0..) {
        if gathered.pieces.keys().any(|key| key.material == Some(material)) && !soaked.contains(&material) {
            let file = files.first().map(|file| file.source.path.clone()).unwrap_or_default();
            let message = format!("material {name} has no reading after heat, so it is not compared");
            problems.push(Problem::warning(Location::file(file), message));
        }
    }
    for (condition, reference) in reference(&gathered, repeat, &mut problems) {
        references[order[condition]] = Some(reference);
    }
    for change in &mut changes {
        change.change_mm -= references[change.condition].map_or(0.0, |reference| reference.estimate.value);
    }
    problems.extend(swapped::suspects(&changes, &pieces, files));
    if changes.is_empty() && !problems.iter().any(is_error) {
        let file = files.first().map(|file| file.source.path.clone()).unwrap_or_default();
        let message = "no feature was measured both before and after heat";
        let help = "measure the same places again after the soak, in rows of a stage such as `after`";
        problems.push(Problem::error(Location::file(file), message).help(help));
    }
    problems.sort_by(|a, b| (&a.location.file, a.location.line).cmp(&(&b.location.file, b.location.line)));
    if problems.iter().any(is_error) {
        return Err(problems);
    }
    let mut conditions = gathered.conditions.clone();
    for (from, to) in order.iter().enumerate() {
        conditions[*to] = gathered.conditions[from].clone();
    }
    changes.sort_by_key(|change: &Change| (change.material, change.condition, change.piece));
    let steps = files.iter().map(|file| file.conditions.caliper_resolution_mm.unwrap_or(USUAL_RESOLUTION_MM));
    let resolution = steps.fold(0.0, f64::max);
    Ok(Study {
        materials: gathered.materials,
        conditions,
        pieces,
        changes,
        references,
        repeat,
        // Two roundings, each even over a step.
        rounding_sd_mm: resolution / 6.0_f64.sqrt(),
        warnings: problems,
    })
}

fn is_error(problem: &Problem) -> bool {
    problem.severity == crate::problem::Severity::Error
}

/// The place of each condition when they are sorted by temperature and time.
fn order(conditions: &[Condition]) -> Vec<usize> {
    let heat = |at: &usize| {
        let condition = &conditions[*at];
        (condition.soak_c.unwrap_or(f64::INFINITY), condition.soak_h.unwrap_or(f64::INFINITY))
    };
    let mut sorted: Vec<usize> = (0..conditions.len()).collect();
    sorted.sort_by(|a, b| heat(a).0.total_cmp(&heat(b).0).then(heat(a).1.total_cmp(&heat(b).1)));
    let mut places = vec![0; conditions.len()];
    sorted.into_iter().enumerate().for_each(|(place, condition)| places[condition] = place);
    places
}

/// Standard deviation of one reading about the mean of its repeats, and its degrees of freedom.
fn pooled_repeat(gathered: &Gathered) -> Option<(f64, f64)> {
    let all = gathered.pieces.values().flat_map(BTreeMap::values).flat_map(BTreeMap::values);
    let (squares, dof) = all.fold((0.0, 0.0), |(squares, dof), measured| {
        let repeats = &measured.readings.repeats;
        (squares + repeats.sum_of_squares_mm2, dof + f64::from(repeats.count) - 1.0)
    });
    (dof > 0.0).then(|| ((squares / dof).sqrt(), dof))
}

fn named(gathered: &Gathered, key: &PieceKey) -> String {
    let material = key.material.map_or("reference", |material| gathered.materials[material].name.as_str());
    let several = gathered.pieces.keys().filter(|other| other.material == key.material);
    let setups: BTreeSet<&str> = several.map(|other| other.setup.as_str()).collect();
    match setups.len() {
        0 | 1 => format!("{material} {}", key.copy),
        _ => format!("{material} {} ({})", key.copy, key.setup),
    }
}

fn first_place(features: &Features) -> Location {
    features
        .values()
        .map(|measured| &measured.place)
        .min()
        .map(super::reading::Place::location)
        .unwrap_or_default()
}

fn only_before(name: &str, stages: &BTreeMap<Option<usize>, Features>) -> Problem {
    let place = stages.values().next().map(first_place).unwrap_or_default();
    let message = format!("piece {name} has readings before heat and none after");
    Problem::warning(place.column("stage"), message).help(
        "it counts for the correction and not for the change; measure it again after the soak, or see whether \
         its number in `copy` is the same in both stages",
    )
}

fn no_before(name: &str, stages: &BTreeMap<Option<usize>, Features>) -> Problem {
    let place = stages.values().next().map(first_place).unwrap_or_default();
    let message = format!("piece {name} has readings after heat and none before");
    Problem::error(place.column("stage"), message).help(
        "a change needs both: see whether material, setup and copy are written the same in both stages, or blank \
         its readings",
    )
}

struct Known<'a> {
    material: usize,
    condition: usize,
    piece: usize,
    name: &'a str,
}

fn pair(
    before: &Features,
    after: &Features,
    known: Known<'_>,
    changes: &mut Vec<Change>,
    problems: &mut Vec<Problem>,
) {
    for ((coupon, feature, axis), measured) in after {
        let Some(earlier) = before.get(&(coupon.clone(), feature.clone(), axis)) else {
            let message = format!("feature `{feature}` of piece {} was not measured before heat", known.name);
            let problem = Problem::warning(measured.place.location(), message);
            problems
                .push(problem.help("it says nothing of a change and is left out; is it named differently?"));
            continue;
        };
        let (here, there) = (&measured.readings, &earlier.readings);
        if here.kind != there.kind || (here.nominal_mm - there.nominal_mm).abs() > 1e-9 {
            let message = format!(
                "feature `{feature}` of piece {} is a {} of {} mm here and a {} of {} mm before heat, on line {}",
                known.name, here.kind, here.nominal_mm, there.kind, there.nominal_mm, earlier.place.line
            );
            let problem = Problem::error(measured.place.location(), message);
            problems
                .push(problem.help("a feature keeps its kind and drawn size: correct one of the two rows"));
            continue;
        }
        let (before_mm, after_mm) = (there.repeats.mean_mm, here.repeats.mean_mm);
        changes.push(Change {
            material: known.material,
            condition: known.condition,
            piece: known.piece,
            group: Group::of(coupon, feature, here.kind, here.axis),
            coupon: coupon.clone(),
            feature: feature.clone(),
            kind: here.kind,
            axis: here.axis,
            nominal_mm: here.nominal_mm,
            before_mm,
            after_mm,
            change_mm: after_mm - before_mm,
            line_before: earlier.place.line,
            line_after: measured.place.line,
        });
    }
    let missing: Vec<&str> = before
        .keys()
        .filter(|name| !after.contains_key(*name))
        .map(|(_, feature, _)| feature.as_str())
        .collect();
    if !missing.is_empty() {
        let message = format!(
            "piece {}: {} of the features before heat, among them `{}`, not measured in this stage",
            known.name,
            counted(missing.len() as u64, "feature"),
            missing[0]
        );
        let problem = Problem::warning(first_place(after), message);
        problems.push(problem.help("measure the same places in every stage"));
    }
}

/// What the reference changed by in each stage that it was measured in.
fn reference(
    gathered: &Gathered,
    repeat: Option<(f64, f64)>,
    problems: &mut Vec<Problem>,
) -> BTreeMap<usize, Reference> {
    let (repeat_sd, repeat_dof) = repeat.unwrap_or((USUAL_REPEAT_SD_MM, f64::INFINITY));
    let mut changes: BTreeMap<usize, Vec<(f64, f64)>> = BTreeMap::new();
    for (_, stages) in gathered.pieces.iter().filter(|(key, _)| key.material.is_none()) {
        let Some(before) = stages.get(&None) else {
            let place = stages.values().next().map(first_place).unwrap_or_default();
            let message = "the reference piece has readings after heat and none before";
            problems.push(
                Problem::error(place.column("stage"), message)
                    .help("measure it in every stage; without `before` it says nothing: blank its readings"),
            );
            continue;
        };
        for (condition, features) in stages.iter().filter_map(|(stage, of)| Some(((*stage)?, of))) {
            for (name, after) in features {
                let Some(earlier) = before.get(name) else { continue };
                let (here, there) = (&after.readings.repeats, &earlier.readings.repeats);
                let doubt = 1.0 / f64::from(here.count) + 1.0 / f64::from(there.count);
                changes.entry(condition).or_default().push((here.mean_mm - there.mean_mm, doubt));
            }
        }
    }
    let of = |(condition, changes): (usize, Vec<(f64, f64)>)| {
        let n = changes.len() as f64;
        let values: Vec<f64> = changes.iter().map(|change| change.0).collect();
        let value = values.iter().sum::<f64>() / n;
        // What repeats say of it, or what its changes say where they scatter more than repeats explain.
        let doubt: f64 = changes.iter().map(|change| change.1).sum();
        let read = Estimate { value, se: repeat_sd * doubt.sqrt() / n, dof: repeat_dof };
        let more = |scattered: &Estimate| {
            let ratio = (scattered.se / read.se).powi(2);
            f_above(ratio, scattered.dof, read.dof.min(AS_GOOD_AS_KNOWN)) < SCATTERS_MORE
        };
        let scattered = mean(&values).filter(more);
        (condition, Reference { estimate: scattered.unwrap_or(read), features: changes.len() })
    };
    changes.into_iter().map(of).collect()
}
