//! The answer, material by material, in the soak that is asked for: holds, does not hold, cannot tell.
//!
//! A material holds where all its groups do; it does not where one surely exceeds the limit; else it cannot be
//! told, and as many more pieces are asked for as the group that needs most. That all groups hold needs no
//! correction for their number: each has to hold by itself.

use serde::Serialize;

use super::course::Course;
use super::creep::Creep;
use super::finding::Finding;
use super::group::Group;
use super::pairing::Study;
use super::verdict::{MOST_MORE, Verdict};
use super::{Condition, Options};

/// What is answered for one material in one soak.
#[derive(Clone, Debug, PartialEq)]
pub struct Headline {
    /// Number of the material.
    pub material: usize,
    /// Temperature that the answer is for, Celsius.
    pub soak_c: Option<f64>,
    /// The soak in words: `8 h at 60 °C`.
    pub soak: String,
    /// Whether it holds.
    pub verdict: Verdict,
    /// The group that decides: the largest change, or the one that cannot be told.
    pub group: Group,
    /// Its change, mm.
    pub change_mm: f64,
    /// Ends of its 95 % interval, mm.
    pub interval_mm: Option<(f64, f64)>,
    /// Why it cannot be told, or where the answer comes from when it was not measured right there.
    pub note: Note,
}

/// What goes with a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Note {
    /// It was measured in this soak.
    Measured,
    /// Print so many more pieces.
    MorePieces(u32),
    /// The change is too near to the limit for any bearable number.
    TooNear,
    /// There is one piece, which says nothing of the next.
    OnePiece,
    /// Between two temperatures that were measured.
    Between,
    /// It holds in a hotter soak of this temperature.
    HoldsHotter(f64),
    /// It does not hold in a cooler soak of this temperature already.
    FailsCooler(f64),
    /// The temperature lies outside what was measured, these two.
    Outside(f64, f64),
}

/// The answers: of every soak, or of the temperature asked for; best materials first.
pub fn headlines(study: &Study, findings: &[Finding], courses: &[Course], options: Options) -> Vec<Headline> {
    let mut all: Vec<Headline> = match options.at_c {
        Some(celsius) => (0..study.materials.len())
            .filter_map(|material| at(study, findings, courses, material, celsius, options.limit_mm))
            .collect(),
        None => (0..study.conditions.len())
            .flat_map(|condition| {
                (0..study.materials.len())
                    .filter_map(move |material| measured(study, findings, material, condition))
            })
            .collect(),
    };
    if options.at_c.is_some() {
        all.sort_by_key(|headline| headline.verdict);
    } else {
        // Soak by soak, the coolest first.
        let order = |headline: &Headline| {
            let place = study.conditions.iter().position(|condition| condition.in_words() == headline.soak);
            (place, headline.verdict)
        };
        all.sort_by_key(order);
    }
    all
}

/// A change's size for ranking. What agrees to the micrometre ties, and the first group decides: last bits
/// must not.
fn micrometres(change_mm: f64) -> u64 {
    (change_mm.abs() * 1e3).round() as u64
}

fn measured(study: &Study, findings: &[Finding], material: usize, condition: usize) -> Option<Headline> {
    let own: Vec<&Finding> = findings
        .iter()
        .filter(|finding| (finding.material, finding.condition) == (material, condition))
        .collect();
    let verdict = own.iter().map(|finding| finding.verdict).max()?;
    let ranked = own.iter().rev().filter(|finding| finding.verdict == verdict);
    let deciding = ranked.max_by_key(|finding| (needed(finding), micrometres(finding.mean_mm)))?;
    let note = match (verdict, deciding.pieces.len(), needed(deciding)) {
        (Verdict::CannotTell, 1, _) => Note::OnePiece,
        (Verdict::CannotTell, _, more) if more > MOST_MORE => Note::TooNear,
        (Verdict::CannotTell, _, more) => Note::MorePieces(more),
        _ => Note::Measured,
    };
    Some(Headline {
        material,
        soak_c: study.conditions[condition].soak_c,
        soak: study.conditions[condition].in_words(),
        verdict,
        group: deciding.group,
        change_mm: deciding.mean_mm,
        interval_mm: deciding.interval_mm(),
        note,
    })
}

/// More pieces that a group needs; 0 where it is told, beyond all bearing where no number would do.
fn needed(finding: &Finding) -> u32 {
    match finding.verdict {
        Verdict::CannotTell => finding.more_pieces.unwrap_or(MOST_MORE + 1),
        _ => 0,
    }
}

/// Temperatures nearer than this are the same soak, Celsius. By feel: an oven's own swing is larger.
pub(super) const SAME_C: f64 = 1.0;

fn at(
    study: &Study,
    findings: &[Finding],
    courses: &[Course],
    material: usize,
    celsius: f64,
    limit_mm: f64,
) -> Option<Headline> {
    let own: Vec<(usize, f64)> = (0..study.conditions.len())
        .filter(|condition| findings.iter().any(|f| (f.material, f.condition) == (material, *condition)))
        .filter_map(|condition| Some((condition, study.conditions[condition].soak_c?)))
        .collect();
    // Conditions are sorted by temperature, then time: the last one there is the longest.
    if let Some((condition, _)) = own.iter().rev().find(|(_, soak)| (soak - celsius).abs() < SAME_C) {
        return measured(study, findings, material, *condition);
    }
    let answer = |condition: usize, note: Note| {
        let headline = measured(study, findings, material, condition)?;
        Some(Headline { soak_c: Some(celsius), soak: format!("{celsius} °C"), note, ..headline })
    };
    let told = |condition: usize| measured(study, findings, material, condition).map(|told| told.verdict);
    let hotter =
        own.iter().find(|(condition, soak)| *soak > celsius && told(*condition) == Some(Verdict::Holds));
    if let Some((condition, soak)) = hotter {
        return answer(*condition, Note::HoldsHotter(*soak));
    }
    let cooler =
        own.iter().find(|(condition, soak)| *soak < celsius && told(*condition) == Some(Verdict::Exceeds));
    if let Some((condition, soak)) = cooler {
        return answer(*condition, Note::FailsCooler(*soak));
    }
    let (low, high) = (own.first()?.1, own.last()?.1);
    if !(low..=high).contains(&celsius) {
        let nearest = if celsius < low { own.first() } else { own.last() };
        let headline = answer(nearest?.0, Note::Outside(low, high))?;
        return Some(Headline { verdict: Verdict::CannotTell, ..headline });
    }
    between(courses, material, celsius, limit_mm)
}

/// From the courses, of those that were held longest.
fn between(courses: &[Course], material: usize, celsius: f64, limit_mm: f64) -> Option<Headline> {
    let own = || courses.iter().filter(|course| course.material == material);
    let longest = own().filter_map(|course| course.soak_h).max_by(f64::total_cmp);
    let verdict = |(value, half): (f64, f64)| {
        if value.abs() + half < limit_mm {
            Verdict::Holds
        } else if value.abs() - half > limit_mm {
            Verdict::Exceeds
        } else {
            Verdict::CannotTell
        }
    };
    let there = own()
        .filter(|course| course.soak_h == longest)
        .filter_map(|course| course.at(celsius).map(|at| (course, at)));
    let ranked = there.collect::<Vec<_>>().into_iter().rev();
    let (course, (value, half)) = ranked.max_by_key(|(_, at)| (verdict(*at), micrometres(at.0)))?;
    Some(Headline {
        material,
        soak_c: Some(celsius),
        soak: Condition { stage: String::new(), soak_c: Some(celsius), soak_h: longest, load: String::new() }
            .in_words(),
        verdict: verdict((value, half)),
        group: course.group,
        change_mm: value,
        interval_mm: Some((value - half, value + half)),
        note: Note::Between,
    })
}

/// What a reader of any comparison must know, and what these data cannot tell.
pub fn cautions(study: &Study, findings: &[Finding], creep: &[Creep]) -> Vec<String> {
    let mut said = Vec::new();
    let without: Vec<String> = study
        .conditions
        .iter()
        .zip(&study.references)
        .filter(|(_, reference)| reference.is_none())
        .map(|(condition, _)| condition.in_words())
        .collect();
    if !without.is_empty() {
        said.push(format!(
            "no reference piece was measured after {}: a caliper that was zeroed anew would be taken for a change \
             of every material",
            without.join(" and ")
        ));
    }
    for (condition, reference) in study.conditions.iter().zip(&study.references) {
        let Some(reference) = reference else { continue };
        let (low, high) = reference.estimate.interval(0.95);
        if low > 0.0 || high < 0.0 {
            said.push(format!(
                "the reference piece measured {:+.3} mm after {}: the caliper had moved, and that much was taken out \
                 of every change",
                reference.estimate.value,
                condition.in_words()
            ));
        }
    }
    let mut single: Vec<usize> =
        findings.iter().filter(|finding| finding.pieces.len() == 1).map(|finding| finding.material).collect();
    single.dedup();
    for material in single {
        said.push(format!(
            "material {} has one piece in a soak: how the next piece would do is not known; print two more at least",
            study.materials[material].name
        ));
    }
    if study.conditions.iter().any(|condition| condition.soak_c.is_none()) {
        said.push("a stage has no `soak_c`: its change cannot be set against temperature".to_owned());
    }
    let ahead: Vec<&Creep> = creep.iter().filter(|creep| creep.is_real()).collect();
    if let Some(longest) = ahead.iter().map(|creep| creep.measured_h.1).reduce(f64::max) {
        said.push(format!(
            "sizes were still changing when the longest soak of {longest:.0} h ended; what comes after is a guess from \
             a straight line against the logarithm of time"
        ));
    } else if creep.is_empty() {
        said.push(
            "every soak lasted one time: a part that stays hot for months goes on creeping, and this says nothing of \
             how far"
                .to_owned(),
        );
    }
    said.push(
        "it holds for these prints: this printer, profile and spool, these sizes, and the load they carried"
            .to_owned(),
    );
    said.push(
        "hot plastic gives off fumes and may catch fire: never an oven that food goes into, watch it, keep batteries \
         and solvents away, let parts cool before touching them, and follow your local rules"
            .to_owned(),
    );
    said
}
