//! The comparison as one JSON document: keys carry their units.

use serde::Serialize;

use crate::stats::pairwise::Method;

use super::between::Family;
use super::corrections::{Printed, PrintedKind};
use super::course::Reach;
use super::finding::{Finding, Form};
use super::group::Group;
use super::headline::{Headline, Note};
use super::reading::{Condition, Material};
use super::verdict::Verdict;
use super::{Comparison, text};

/// Everything that `compare --json` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CompareAnswer {
    limit_mm: f64,
    at_c: Option<f64>,
    answers: Vec<HeadlineAnswer>,
    materials: Vec<MaterialAnswer>,
    conditions: Vec<ConditionAnswer>,
    changes: Vec<ChangeAnswer>,
    pairs: Vec<PairAnswer>,
    ranks: Vec<RankAnswer>,
    against_temperature: Vec<CourseAnswer>,
    against_time: Vec<CreepAnswer>,
    corrections: Vec<CorrectionAnswer>,
    cautions: Vec<String>,
    warnings: Vec<String>,
}

/// One sentence of the answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
struct HeadlineAnswer {
    material: String,
    soak: String,
    soak_c: Option<f64>,
    verdict: Verdict,
    note: Note,
    deciding: Group,
    change_mm: f64,
    low95_mm: Option<f64>,
    high95_mm: Option<f64>,
    sentence: String,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct MaterialAnswer {
    #[serde(flatten)]
    material: Material,
    pieces: usize,
    #[serde(flatten)]
    reach: Option<Reach>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct ConditionAnswer {
    #[serde(flatten)]
    condition: Condition,
    /// What the reference changed by, taken out of every change, mm.
    reference_change_mm: Option<f64>,
    reference_se_mm: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct ChangeAnswer {
    material: String,
    stage: String,
    soak_c: Option<f64>,
    soak_h: Option<f64>,
    group: Group,
    form: Form,
    at_mm: f64,
    change_mm: f64,
    low95_mm: Option<f64>,
    high95_mm: Option<f64>,
    change_percent: f64,
    low95_percent: Option<f64>,
    high95_percent: Option<f64>,
    pieces: usize,
    features: usize,
    real: bool,
    /// `null` where there is no interval.
    matters: Option<bool>,
    verdict: Verdict,
    more_pieces: Option<u32>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct PairAnswer {
    stage: String,
    group: Group,
    method: Method,
    first: String,
    second: String,
    difference_mm: f64,
    low95_mm: f64,
    high95_mm: f64,
    p_value: f64,
    real: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct RankAnswer {
    stage: String,
    group: Group,
    material: String,
    rank: usize,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct CourseAnswer {
    material: String,
    group: Group,
    soak_h: Option<f64>,
    form: &'static str,
    /// In ascending powers of the temperature, for a polynomial.
    coefficients: Option<Vec<f64>>,
    #[serde(flatten)]
    reach: Reach,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct CreepAnswer {
    material: String,
    group: Group,
    soak_c: f64,
    from_h: f64,
    to_h: f64,
    per_decade_mm: f64,
    low95_mm: f64,
    high95_mm: f64,
    real: bool,
    ahead_h: f64,
    ahead_mm: f64,
    extrapolated: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct CorrectionAnswer {
    setup: String,
    kinds: Vec<PrintedKind>,
    print_sd_mm: Option<f64>,
    feature_sd_mm: Option<f64>,
    repeat_sd_mm: Option<f64>,
    /// Why there is none.
    error: Option<String>,
}

impl CompareAnswer {
    /// Of a comparison.
    pub fn of(comparison: &Comparison) -> Self {
        let study = &comparison.study;
        let name = |material: usize| study.materials[material].name.clone();
        let stage = |condition: usize| study.conditions[condition].stage.clone();
        Self {
            limit_mm: comparison.options.limit_mm,
            at_c: comparison.options.at_c,
            answers: comparison
                .headlines
                .iter()
                .map(|headline| headline_answer(comparison, headline))
                .collect(),
            materials: study
                .materials
                .iter()
                .enumerate()
                .map(|(number, material)| MaterialAnswer {
                    material: material.clone(),
                    pieces: study.pieces.iter().filter(|piece| piece.material == number).count(),
                    reach: comparison.ceilings.iter().find(|it| it.material == number).map(|it| it.reach),
                })
                .collect(),
            conditions: study
                .conditions
                .iter()
                .zip(&study.references)
                .map(|(condition, reference)| ConditionAnswer {
                    condition: condition.clone(),
                    reference_change_mm: reference.map(|reference| reference.estimate.value),
                    reference_se_mm: reference.map(|reference| reference.estimate.se),
                })
                .collect(),
            changes: comparison.findings.iter().map(|finding| change_answer(comparison, finding)).collect(),
            pairs: comparison.between.iter().flat_map(|family| pair_answers(comparison, family)).collect(),
            ranks: comparison
                .between
                .iter()
                .flat_map(|family| {
                    family.materials.iter().zip(&family.ranks).map(|(material, rank)| RankAnswer {
                        stage: stage(family.condition),
                        group: family.group,
                        material: name(*material),
                        rank: *rank,
                    })
                })
                .collect(),
            against_temperature: comparison
                .courses
                .iter()
                .map(|course| CourseAnswer {
                    material: name(course.material),
                    group: course.group,
                    soak_h: course.soak_h,
                    form: course.name(),
                    coefficients: course.coefficients(),
                    reach: course.ceiling,
                })
                .collect(),
            against_time: comparison
                .creep
                .iter()
                .map(|creep| {
                    let (low, high) = creep.per_decade.interval(0.95);
                    CreepAnswer {
                        material: name(creep.material),
                        group: creep.group,
                        soak_c: creep.soak_c,
                        from_h: creep.measured_h.0,
                        to_h: creep.measured_h.1,
                        per_decade_mm: creep.per_decade.value,
                        low95_mm: low,
                        high95_mm: high,
                        real: creep.is_real(),
                        ahead_h: creep.ahead_h(),
                        ahead_mm: creep.ahead_mm,
                        extrapolated: true,
                    }
                })
                .collect(),
            corrections: comparison.corrections.iter().map(correction_answer).collect(),
            cautions: comparison.cautions.clone(),
            warnings: study.warnings.iter().map(ToString::to_string).collect(),
        }
    }
}

fn headline_answer(comparison: &Comparison, headline: &Headline) -> HeadlineAnswer {
    HeadlineAnswer {
        material: comparison.study.materials[headline.material].name.clone(),
        soak: headline.soak.clone(),
        soak_c: headline.soak_c,
        verdict: headline.verdict,
        note: headline.note,
        deciding: headline.group,
        change_mm: headline.change_mm,
        low95_mm: headline.interval_mm.map(|interval| interval.0),
        high95_mm: headline.interval_mm.map(|interval| interval.1),
        sentence: text::sentence(comparison, headline),
    }
}

fn change_answer(comparison: &Comparison, finding: &Finding) -> ChangeAnswer {
    let condition = &comparison.study.conditions[finding.condition];
    let (low, high) = (finding.interval_mm().map(|it| it.0), finding.interval_mm().map(|it| it.1));
    ChangeAnswer {
        material: comparison.study.materials[finding.material].name.clone(),
        stage: condition.stage.clone(),
        soak_c: condition.soak_c,
        soak_h: condition.soak_h,
        group: finding.group,
        form: finding.form,
        at_mm: finding.at_mm,
        change_mm: finding.mean_mm,
        low95_mm: low,
        high95_mm: high,
        change_percent: finding.percent(finding.mean_mm),
        low95_percent: low.map(|mm| finding.percent(mm)),
        high95_percent: high.map(|mm| finding.percent(mm)),
        pieces: finding.pieces.len(),
        features: finding.features,
        real: finding.is_real(),
        matters: finding.estimate.map(|_| finding.verdict == Verdict::Exceeds),
        verdict: finding.verdict,
        more_pieces: finding.more_pieces,
    }
}

fn pair_answers(comparison: &Comparison, family: &Family) -> Vec<PairAnswer> {
    let name = |place: usize| comparison.study.materials[family.materials[place]].name.clone();
    family
        .pairs
        .iter()
        .map(|pair| PairAnswer {
            stage: comparison.study.conditions[family.condition].stage.clone(),
            group: family.group,
            method: family.method,
            first: name(pair.first),
            second: name(pair.second),
            difference_mm: pair.difference,
            low95_mm: pair.difference - pair.half_width,
            high95_mm: pair.difference + pair.half_width,
            p_value: pair.p_value,
            real: pair.is_real(),
        })
        .collect()
}

fn correction_answer(printed: &Printed) -> CorrectionAnswer {
    let correction = printed.correction.as_ref().ok();
    CorrectionAnswer {
        setup: printed.setup.clone(),
        kinds: printed.kinds.clone(),
        print_sd_mm: correction.map(|correction| correction.spread.print.sd_mm),
        feature_sd_mm: correction.map(|correction| correction.spread.feature.sd_mm),
        repeat_sd_mm: correction.and_then(|correction| correction.spread.repeat).map(|repeat| repeat.sd_mm),
        error: printed.correction.as_ref().err().cloned(),
    }
}
