//! The page of a comparison: the answer first, then what it rests on, then the cautions. Computes nothing.

use askama::Template;

use super::ReportError;
use crate::compare::group::Group;
use crate::compare::verdict::Verdict;
use crate::compare::{Comparison, text};
use crate::font;
use crate::plot::{Figure, numbers};

#[derive(Template)]
#[template(path = "compare_report.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: String,
    lead: &'a str,
    font: &'static str,
    limit: String,
    answers: Vec<Answer>,
    ceilings: Vec<String>,
    counts: String,
    references: Vec<String>,
    names: Vec<&'a str>,
    side_by_side: Vec<Row>,
    rows: Vec<[String; 7]>,
    pictures: Vec<Picture>,
    rankings: Vec<[String; 4]>,
    creeping: Vec<String>,
    costs: Vec<[String; 3]>,
    printed: Vec<[String; 6]>,
    cautions: &'a [String],
}

struct Answer {
    verdict: &'static str,
    sentence: String,
}

/// One group of features in one soak, material beside material.
struct Row {
    soak: String,
    group: String,
    cells: Vec<Cell>,
}

struct Cell {
    change: String,
    says: &'static str,
}

struct Picture {
    svg: String,
    reading: &'static str,
}

/// A sign that reads without colour.
fn sign(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "Yes:",
        Verdict::Exceeds => "No:",
        Verdict::CannotTell => "Open:",
    }
}

fn how_to_read(name: &str) -> &'static str {
    match name {
        "changes" => {
            "Each mark is the mean change of a material, the bar its 95 % interval. A bar wholly within the grey band \
             holds; one wholly outside does not; one across its edge cannot be told. An arrow gives the value of a \
             change beyond the picture."
        }
        "temperature" => {
            "Each mark is one piece. Where a line's band leaves the grey band, the material begins to give way. Lines \
             end where measuring ended."
        }
        _ => {
            "How far each kind of feature comes out from its drawing, before any heat: what a drawing for that \
             material has to make up for."
        }
    }
}

/// A row a soak and group, in the order of soaks; of soaks that are asked for.
fn side_by_side(comparison: &Comparison) -> Vec<Row> {
    let mut rows: Vec<(usize, Group)> = comparison
        .findings
        .iter()
        .filter(|finding| text::is_asked_for(comparison, finding.condition))
        .map(|finding| (finding.condition, finding.group))
        .collect();
    rows.sort_unstable();
    rows.dedup();
    let row = |(condition, group): &(usize, Group)| {
        let of = |material: usize| {
            comparison
                .findings
                .iter()
                .find(|it| (it.material, it.condition, it.group) == (material, *condition, *group))
        };
        let cell = |material: usize| match of(material) {
            Some(finding) => {
                let change = text::change(finding.mean_mm, finding.interval_mm());
                Cell { change: change.replace(" mm", ""), says: finding.verdict.name() }
            }
            None => Cell { change: "–".to_owned(), says: "" },
        };
        let materials = 0..comparison.study.materials.len();
        let at_mm = materials.clone().find_map(of).map_or(0.0, |finding| finding.at_mm);
        Row {
            soak: comparison.study.conditions[*condition].in_words(),
            group: format!("{group} ({} mm)", text::size(at_mm)),
            cells: materials.map(cell).collect(),
        }
    };
    rows.iter().map(row).collect()
}

/// One self-contained page.
///
/// # Errors
/// The page could not be filled in.
pub fn compare_report(comparison: &Comparison, figures: &[Figure]) -> Result<String, ReportError> {
    let study = &comparison.study;
    let told = |value: Option<f64>| value.map_or("–".to_owned(), |value| value.to_string());
    let has_costs = study.materials.iter().any(|m| m.cost.is_some() || m.print_h.is_some());
    let page = Page {
        title: "Which material keeps its size in the heat".to_owned(),
        lead: "From the same pieces measured before and after.",
        font: font::style(),
        limit: numbers::plain(comparison.options.limit_mm, 2),
        answers: comparison
            .headlines
            .iter()
            .map(|headline| Answer {
                verdict: sign(headline.verdict),
                sentence: text::sentence(comparison, headline),
            })
            .collect(),
        ceilings: text::ceilings(comparison),
        counts: text::counts(comparison),
        references: text::references(comparison),
        names: study.materials.iter().map(|material| material.name.as_str()).collect(),
        side_by_side: side_by_side(comparison),
        rows: comparison.findings.iter().map(|finding| text::row(comparison, finding)).collect(),
        pictures: figures
            .iter()
            .map(|figure| Picture {
                svg: figure.svg.replace(font::style(), ""),
                reading: how_to_read(figure.name),
            })
            .collect(),
        rankings: text::rankings(comparison),
        creeping: text::creeping(comparison),
        costs: study
            .materials
            .iter()
            .filter(|_| has_costs)
            .map(|m| [m.name.clone(), told(m.cost), told(m.print_h)])
            .collect(),
        printed: text::printed(comparison),
        cautions: &comparison.cautions,
    };
    Ok(page.render()?)
}
