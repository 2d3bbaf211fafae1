//! What `fit` says of each setup: the JSON document, and the table for the bench.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde::Serialize;

use crate::kind::Kind;
use crate::stats::distribution::t_quantile;

use super::borrow::Borrowed;
use super::criticism::leverage::Leverage;
use super::feel::FeelAnswer;
use super::fitted::Fit;
use super::summary::{KindSummary, digits};
use super::{Correction, SpreadEstimate};

/// The fits of a readings file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FitAnswer {
    /// One a setup, in the file's order.
    pub setups: Vec<SetupAnswer>,
    /// What the real pieces felt like, one a setup that tried some.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub feels: Vec<FeelAnswer>,
}

/// The fit of one setup.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetupAnswer {
    /// The setup.
    pub setup: String,
    /// The form of the model.
    pub model: &'static str,
    /// What was fitted for each kind.
    pub kinds: BTreeMap<Kind, KindAnswer>,
    /// What a new print adds.
    pub spread: SpreadAnswer,
    /// Residual degrees of freedom.
    pub dof: f64,
    /// How many prints were measured.
    pub prints: u32,
    /// What was not used.
    pub set_aside: Vec<SetAsideAnswer>,
    /// What a reader must know.
    pub warnings: Vec<String>,
    /// The sizes that decide much of the fit by themselves.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub leverage: Vec<LeverageAnswer>,
    /// What was borrowed from earlier setups.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub borrowed: Option<Borrowed>,
}

/// The fit of one kind: `printed = offset + scale * drawn (+ small_bore / drawn)`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct KindAnswer {
    offset_mm: f64,
    offset_se_mm: f64,
    scale: f64,
    /// `null` where the model gives no scale.
    scale_se: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    small_bore_mm2: Option<f64>,
    min_mm: f64,
    max_mm: f64,
    features: u32,
    readings: u64,
}

/// Standard deviations, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SpreadAnswer {
    print_sd_mm: f64,
    feature_sd_mm: f64,
    /// `null` where nothing was read twice.
    repeat_sd_mm: Option<f64>,
    caliper_u_mm: f64,
}

/// A reading that was not used.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetAsideAnswer {
    line: u64,
    reading_mm: f64,
    reason: String,
}

/// A size that decides much, in numbers and in words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeverageAnswer {
    #[serde(flatten)]
    size: Leverage,
    sentence: String,
}

impl SetupAnswer {
    /// Of one fit.
    pub fn of(fit: &Fit) -> Self {
        let correction = &fit.correction;
        let kind = |kind: &Kind| {
            let (coverage, summary) = (correction.kinds.get(kind)?, correction.summary(*kind)?);
            let answer = KindAnswer {
                offset_mm: summary.offset_mm,
                offset_se_mm: summary.offset_se_mm,
                scale: summary.scale,
                scale_se: summary.scale_se,
                small_bore_mm2: summary.small_bore_mm2,
                min_mm: coverage.min_mm,
                max_mm: coverage.max_mm,
                features: coverage.features,
                readings: coverage.readings,
            };
            Some((*kind, answer))
        };
        let spread = &correction.spread;
        Self {
            setup: correction.setup.clone(),
            model: correction.model_name(),
            kinds: correction.kinds.keys().filter_map(kind).collect(),
            spread: SpreadAnswer {
                print_sd_mm: spread.print.sd_mm,
                feature_sd_mm: spread.feature.sd_mm,
                repeat_sd_mm: spread.repeat.map(|repeat| repeat.sd_mm),
                caliper_u_mm: spread.caliper_u_mm,
            },
            dof: correction.dof,
            prints: correction.prints,
            set_aside: correction
                .set_aside
                .iter()
                .map(|aside| SetAsideAnswer {
                    line: aside.line,
                    reading_mm: aside.reading_mm,
                    reason: aside.reason.clone(),
                })
                .collect(),
            warnings: correction.warnings.clone(),
            leverage: fit
                .leverage
                .iter()
                .map(|size| LeverageAnswer { size: size.clone(), sentence: size.sentence() })
                .collect(),
            borrowed: None,
        }
    }
}

/// The result as a machinist reads it.
pub fn text(fit: &Fit, caliper_error_is_stated: bool) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut out, fit, caliper_error_is_stated);
    out
}

fn write(out: &mut String, fit: &Fit, caliper_error_is_stated: bool) -> std::fmt::Result {
    let correction = &fit.correction;
    let features: u32 = correction.kinds.values().map(|of| of.features).sum();
    let readings: u64 = correction.kinds.values().map(|of| of.readings).sum();
    let day = correction.date.as_ref().map_or_else(String::new, |date| format!(", {date}"));
    let prints = if correction.prints == 1 { "" } else { "s" };
    writeln!(
        out,
        "{}: {readings} readings of {features} features on {} print{prints}{day}\n",
        correction.setup, correction.prints
    )?;
    let summaries: Vec<KindSummary> =
        correction.kinds.keys().filter_map(|kind| correction.summary(*kind)).collect();
    for summary in &summaries {
        writeln!(out, "  {}", summary.sentence())?;
    }
    let t = t_quantile(0.975, correction.dof);
    let small_bore = summaries.iter().any(|summary| summary.small_bore_mm2.is_some());
    write!(out, "\n  kind             offset mm   ± 95 %    scale   ± 95 %")?;
    writeln!(out, "{}  sizes mm       features", if small_bore { "  small-bore mm²" } else { "" })?;
    for summary in &summaries {
        write!(out, "  {:<15}", summary.kind)?;
        write!(out, "  {:>+9.3}  {:>7.3}", summary.offset_mm, t * summary.offset_se_mm)?;
        match summary.scale_se {
            Some(se) => write!(out, "  {:>7.4}  {:>7.4}", summary.scale, t * se)?,
            None => write!(out, "  {:>7}  {:>7}", "none", "")?,
        }
        if small_bore {
            let term = summary.small_bore_mm2.map_or_else(String::new, |term| format!("{term:+.3}"));
            write!(out, "  {term:>14}")?;
        }
        let coverage = &correction.kinds[&summary.kind];
        let sizes = if coverage.min_mm < coverage.max_mm {
            format!("{} to {}", coverage.min_mm, coverage.max_mm)
        } else {
            coverage.min_mm.to_string()
        };
        writeln!(out, "  {sizes:<13}  {:>8}", coverage.features)?;
    }
    write_model(out, fit)?;
    write_spread(out, correction, caliper_error_is_stated)?;
    if let Some(spread) = &fit.first_layer {
        writeln!(out, "\n  {}", spread.in_words())?;
    }
    if !fit.leverage.is_empty() {
        writeln!(out, "\n  sizes that decide much by themselves:")?;
        for size in &fit.leverage {
            writeln!(out, "    {}", size.sentence())?;
        }
    }
    let (by_person, by_fit): (Vec<_>, Vec<_>) =
        correction.set_aside.iter().partition(|aside| aside.is_by_person());
    if !by_fit.is_empty() {
        writeln!(out, "\n  not used (--keep-all uses them):")?;
        for aside in by_fit {
            writeln!(out, "    line {}: {} mm: {}", aside.line, aside.reading_mm, aside.reason)?;
        }
    }
    if !by_person.is_empty() {
        writeln!(out, "\n  set aside by you (--set-aside):")?;
        for aside in by_person {
            writeln!(out, "    line {}: {} mm", aside.line, aside.reading_mm)?;
        }
    }
    Ok(())
}

fn write_model(out: &mut String, fit: &Fit) -> std::fmt::Result {
    let correction = &fit.correction;
    writeln!(
        out,
        "\n  printed = offset + scale * drawn; model `{}`: {}",
        correction.model_name(),
        correction.model_in_words()
    )?;
    if !correction.runners_up.is_empty() {
        let others: Vec<String> = correction
            .runners_up
            .iter()
            .take(3)
            .map(|other| format!("{} {:+.1}", other.form, other.aicc_above_best))
            .collect();
        writeln!(out, "  other models, by how much worse (AICc): {}", others.join(", "))?;
    }
    let explained = fit.r_squared.map_or_else(String::new, |r_squared| {
        format!("R² {r_squared:.3} (share of the deviations' variance about their mean); ")
    });
    writeln!(
        out,
        "  {explained}residual sd {:.3} mm on {} degrees of freedom",
        fit.residual_sd_mm, correction.dof
    )
}

fn write_spread(out: &mut String, correction: &Correction, stated: bool) -> std::fmt::Result {
    let spread = &correction.spread;
    let of = |spread: &SpreadEstimate| {
        let digits = digits(spread.sd_mm).max(3);
        let allowed = if spread.dof.is_none() { " (allowed, not measured)" } else { "" };
        format!("{:.digits$}{allowed}", spread.sd_mm)
    };
    let repeat = spread.repeat.as_ref().map_or_else(|| "not known, nothing was read twice".to_owned(), of);
    writeln!(
        out,
        "  standard deviations, mm: print to print {}; feature to feature {}; repeat reading {repeat}; caliper {:.3}",
        of(&spread.print),
        of(&spread.feature),
        spread.caliper_u_mm
    )?;
    if !stated {
        writeln!(
            out,
            "  the caliper's limit of error is not stated and not counted: add `# caliper_error_mm: 0.03` above the header"
        )?;
    }
    Ok(())
}

/// A setup's name as part of a file's name: characters other than letters, digits, `-`, `_` and `.`
/// become `_`.
pub fn file_stem(setup: &str) -> String {
    let keep = |letter: char| letter.is_alphanumeric() || "-_.".contains(letter);
    setup.chars().map(|letter| if keep(letter) { letter } else { '_' }).collect()
}
