//! The comparison in the words of the bench: the answer first, then what it rests on.

use std::fmt::Write as _;

use crate::problem::counted;

use super::Comparison;
use super::finding::Finding;
use super::headline::{Headline, Note};
use super::verdict::Verdict;

/// With a sign where it is not zero: `+0.030`, `-0.466`, `0.000`.
fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    let is_zero = text.bytes().all(|byte| matches!(byte, b'0' | b'.' | b'+' | b'-'));
    if is_zero { text[1..].to_owned() } else { text }
}

/// The answer for one material: `B holds ±0.10 mm at 60 °C for 8 h`.
pub fn sentence(comparison: &Comparison, headline: &Headline) -> String {
    let material = &comparison.study.materials[headline.material].name;
    let (limit, soak) = (comparison.options.limit_mm, &headline.soak);
    let change = change(headline.change_mm, headline.interval_mm);
    let group = headline.group;
    let within = format!("±{limit:.2} mm after {soak}");
    match (headline.verdict, headline.note) {
        (Verdict::Holds, Note::HoldsHotter(celsius)) => {
            format!("{material} holds {within}: it does at {celsius} °C already ({group} {change})")
        }
        (Verdict::Holds, Note::Between) => {
            format!("{material} holds {within}, read off between measured temperatures: {group} {change}")
        }
        (Verdict::Holds, _) => format!("{material} holds {within}: largest change {group} {change}"),
        (Verdict::Exceeds, Note::FailsCooler(celsius)) => {
            format!("{material} does not hold {within}: it does not at {celsius} °C ({group} {change})")
        }
        (Verdict::Exceeds, _) => format!("{material} does not hold {within}: {group} {change}"),
        (Verdict::CannotTell, Note::MorePieces(more)) => format!(
            "{material}: cannot tell whether it holds {within}; print {} ({group} {change})",
            more_words(more)
        ),
        (Verdict::CannotTell, Note::OnePiece) => format!(
            "{material}: cannot tell whether it holds {within} from one piece; print two more at least ({group} {change})"
        ),
        (Verdict::CannotTell, Note::TooNear) => format!(
            "{material}: cannot tell whether it holds {within}: {group} {change} is too near to the limit for any \
             bearable number of pieces"
        ),
        (Verdict::CannotTell, Note::Outside(low, high)) => {
            let measured = if low == high { format!("{low} °C") } else { format!("{low} to {high} °C") };
            format!("{material}: cannot tell whether it holds {within}: it was measured at {measured} only")
        }
        (Verdict::CannotTell, _) => {
            format!(
                "{material}: cannot tell whether it holds {within}: {group} {change}; soak pieces right there"
            )
        }
    }
}

fn more_words(more: u32) -> String {
    match more {
        1 => "one more".to_owned(),
        2 => "two more".to_owned(),
        3 => "three more".to_owned(),
        more => format!("{more} more"),
    }
}

/// `-0.142 mm [-0.171, -0.113]`.
pub fn change(mean_mm: f64, interval_mm: Option<(f64, f64)>) -> String {
    match interval_mm {
        Some((low, high)) => format!("{} mm [{}, {}]", signed(mean_mm, 3), signed(low, 3), signed(high, 3)),
        None => format!("{} mm", signed(mean_mm, 3)),
    }
}

/// One row of the table of changes: material, soak, group, mm, percent, pieces, in words.
pub fn row(comparison: &Comparison, finding: &Finding) -> [String; 7] {
    let percent = |mm: f64| signed(finding.percent(mm), 2);
    let percents = match finding.interval_mm() {
        Some((low, high)) => format!("{} [{}, {}]", percent(finding.mean_mm), percent(low), percent(high)),
        None => percent(finding.mean_mm),
    };
    [
        comparison.study.materials[finding.material].name.clone(),
        comparison.study.conditions[finding.condition].in_words(),
        format!("{} ({} mm)", finding.group, size(finding.at_mm)),
        change(finding.mean_mm, finding.interval_mm()),
        percents,
        finding.pieces.len().to_string(),
        says(finding),
    ]
}

/// What an interval says: real or not, and the verdict.
fn says(finding: &Finding) -> String {
    let real = if finding.estimate.is_none() {
        "no interval"
    } else if finding.is_real() {
        "real"
    } else {
        "no change seen"
    };
    match (finding.verdict, finding.more_pieces) {
        (Verdict::CannotTell, Some(more)) => format!("{real}, cannot tell: {}", more_words(more)),
        (verdict, _) => format!("{real}, {}", verdict.name()),
    }
}

/// Ranks of a group in words: `B, C (tie) before A`.
pub fn ranking(comparison: &Comparison, family: &super::between::Family) -> String {
    let mut ranks: Vec<usize> = family.ranks.clone();
    ranks.sort_unstable();
    ranks.dedup();
    let at = |rank: &usize| {
        let names: Vec<&str> = family
            .materials
            .iter()
            .zip(&family.ranks)
            .filter(|(_, own)| *own == rank)
            .map(|(material, _)| comparison.study.materials[*material].name.as_str())
            .collect();
        if names.len() > 1 { format!("{} (tie)", names.join(", ")) } else { names.join("") }
    };
    ranks.iter().map(at).collect::<Vec<_>>().join(" before ")
}

/// A size to a tenth, as short as it is: `77`, `34.4`.
pub fn size(mm: f64) -> String {
    let text = format!("{mm:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

/// What the reference pieces changed by, a sentence a soak.
pub fn references(comparison: &Comparison) -> Vec<String> {
    let study = &comparison.study;
    let of = |(condition, reference): (&super::Condition, &Option<super::Reference>)| {
        let reference = (*reference)?;
        Some(format!(
            "the reference piece changed by {} ± {:.3} mm in {}, which is taken out of every change",
            signed(reference.estimate.value, 3),
            reference.estimate.half_width(0.95),
            condition.in_words()
        ))
    };
    study.conditions.iter().zip(&study.references).filter_map(of).collect()
}

/// Whether a soak is one that is asked for, where a temperature is asked for and was measured.
pub fn is_asked_for(comparison: &Comparison, condition: usize) -> bool {
    let conditions = &comparison.study.conditions;
    let Some(at_c) = comparison.options.at_c else { return true };
    let same = |condition: &super::Condition| {
        condition.soak_c.is_some_and(|celsius| (celsius - at_c).abs() < super::headline::SAME_C)
    };
    same(&conditions[condition]) || !conditions.iter().any(same)
}

/// How many pieces and features there are: `3 materials, 9 pieces, 2 soaks`.
pub fn counts(comparison: &Comparison) -> String {
    let study = &comparison.study;
    format!(
        "{}, {}, {}",
        counted(study.materials.len() as u64, "material"),
        counted(study.pieces.len() as u64, "piece"),
        counted(study.conditions.len() as u64, "soak")
    )
}

/// The whole answer for the terminal.
pub fn text(comparison: &Comparison) -> String {
    let mut out = String::new();
    for headline in &comparison.headlines {
        let _ = writeln!(out, "{}", sentence(comparison, headline));
    }
    let _ = writeln!(out, "\nWhat it rests on: {}. Change of size, 95 % intervals.", counts(comparison));
    let head = ["material", "soak", "features (at)", "change", "percent", "pieces", "says"];
    let asked = comparison.findings.iter().filter(|finding| is_asked_for(comparison, finding.condition));
    let rows: Vec<[String; 7]> = asked.map(|finding| row(comparison, finding)).collect();
    table(&mut out, &head, &rows);
    if rows.len() < comparison.findings.len() {
        let _ = writeln!(out, "  The other soaks: without --at, with --json or in the --report.");
    }
    for line in references(comparison) {
        let _ = writeln!(out, "  {}{}.", line[..1].to_uppercase(), &line[1..]);
    }
    ranks(&mut out, comparison);
    temperature_and_time(&mut out, comparison);
    costs(&mut out, comparison);
    corrections(&mut out, comparison);
    let _ = writeln!(out, "\nCautions");
    for caution in &comparison.cautions {
        let _ = writeln!(out, "- {caution}");
    }
    out
}

/// Every ranking: soak, features, ranking, method.
pub fn rankings(comparison: &Comparison) -> Vec<[String; 4]> {
    comparison.between.iter().map(|family| ranking_row(comparison, family)).collect()
}

fn ranking_row(comparison: &Comparison, family: &super::between::Family) -> [String; 4] {
    [
        comparison.study.conditions[family.condition].in_words(),
        family.group.to_string(),
        ranking(comparison, family),
        family.method.name().to_owned(),
    ]
}

/// Up to which temperature each material holds, a sentence each.
pub fn ceilings(comparison: &Comparison) -> Vec<String> {
    let of = |ceiling: &super::course::Ceiling| {
        let name = &comparison.study.materials[ceiling.material].name;
        format!("{name} {}; {} first", ceiling.reach.in_words(), ceiling.first.give_way())
    };
    comparison.ceilings.iter().map(of).collect()
}

/// What goes on with time, a sentence each.
pub fn creeping(comparison: &Comparison) -> Vec<String> {
    let of = |creep: &super::creep::Creep| {
        format!(
            "{} {} at {} °C: {} mm for every ten times as long; {} mm at {:.0} h if it goes on so, which is beyond the \
             {:.0} h measured",
            comparison.study.materials[creep.material].name,
            creep.group,
            creep.soak_c,
            signed(creep.per_decade.value, 3),
            signed(creep.ahead_mm, 3),
            creep.ahead_h(),
            creep.measured_h.1
        )
    };
    comparison.creep.iter().filter(|creep| creep.is_real()).map(of).collect()
}

/// How each material prints: setup, kind, offset, scale, deviation, the size it is at.
pub fn printed(comparison: &Comparison) -> Vec<[String; 6]> {
    let of = |printed: &super::corrections::Printed| -> Vec<[String; 6]> {
        let row = |kind: &super::corrections::PrintedKind| {
            [
                printed.setup.clone(),
                kind.kind.plural().to_owned(),
                format!("{} ± {:.3}", signed(kind.offset_mm, 3), 2.0 * kind.offset_se_mm),
                format!("{:.4}", kind.scale),
                format!("{} ± {:.3}", signed(kind.deviation_mm, 3), kind.half_width_mm),
                size(kind.at_mm),
            ]
        };
        printed.kinds.iter().map(row).collect()
    };
    comparison.corrections.iter().flat_map(of).collect()
}

fn ranks(out: &mut String, comparison: &Comparison) {
    if comparison.between.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nLeast change first (5 % for a wrong difference among all pairs of a line)");
    let asked = comparison.between.iter().filter(|family| is_asked_for(comparison, family.condition));
    let rows: Vec<[String; 4]> = asked.map(|family| ranking_row(comparison, family)).collect();
    table(out, &["soak", "features", "ranking", "method"], &rows);
}

fn temperature_and_time(out: &mut String, comparison: &Comparison) {
    if !comparison.ceilings.is_empty() {
        let _ = writeln!(out, "\nUp to which temperature ±{:.2} mm hold", comparison.options.limit_mm);
    }
    for line in ceilings(comparison) {
        let _ = writeln!(out, "{line}");
    }
    let creeping = creeping(comparison);
    if !creeping.is_empty() {
        let _ = writeln!(out, "\nStill going on with time (a straight line against the logarithm of time)");
    }
    for line in creeping {
        let _ = writeln!(out, "{line}");
    }
}

fn costs(out: &mut String, comparison: &Comparison) {
    let told = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value}"));
    let materials = &comparison.study.materials;
    if materials.iter().all(|material| material.cost.is_none() && material.print_h.is_none()) {
        return;
    }
    let _ = writeln!(out, "\nYour own numbers");
    let rows: Vec<[String; 3]> =
        materials.iter().map(|m| [m.name.clone(), told(m.cost), told(m.print_h)]).collect();
    table(out, &["material", "cost", "print, h"], &rows);
}

fn corrections(out: &mut String, comparison: &Comparison) {
    let rows = printed(comparison);
    if !rows.is_empty() {
        let _ = writeln!(out, "\nHow each prints before heat: measured less drawn");
        table(out, &["setup", "kind", "offset, mm", "scale", "deviation, mm", "at, mm"], &rows);
    }
    for printed in &comparison.corrections {
        if let Err(error) = &printed.correction {
            let _ = writeln!(out, "{}: no correction: {error}", printed.setup);
        }
    }
}

/// A table with its columns aligned.
fn table<const N: usize>(out: &mut String, head: &[&str; N], rows: &[[String; N]]) {
    let wide = |column: usize| {
        let cells = rows.iter().map(|row| row[column].chars().count());
        cells.chain([head[column].chars().count()]).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..N).map(wide).collect();
    let mut line = |cells: [&str; N]| {
        let cells: Vec<String> =
            cells.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        let _ = writeln!(out, "  {}", cells.join("  ").trim_end());
    };
    line(*head);
    for row in rows {
        line(std::array::from_fn(|column| row[column].as_str()));
    }
}
