//! A drawing to print for a parts list: every dimension as a plain view, with what is wanted, drawn and expected.

use askama::Template;

use super::ReportError;
use crate::coupon::sheet;
use crate::fits::written;
use crate::kind::Kind;
use crate::parts::list_drawing;
use crate::parts::sized_list::SizedLine;

#[derive(Template)]
#[template(path = "parts_drawing.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: &'a str,
    lead: &'a str,
    sheet: &'a str,
    correction: &'a str,
    parts: Vec<Part<'a>>,
}

struct Part<'a> {
    name: &'a str,
    views: Vec<View<'a>>,
}

struct View<'a> {
    dimension: &'a str,
    kind: String,
    svg: String,
    scale: &'static str,
    wanted: String,
    within: String,
    drawn: String,
    expected: String,
}

/// The page; `readings` is the name of the sheet beside it, `correction` that of the correction.
///
/// # Errors
/// When the page cannot be filled in, which is a fault of this program.
pub fn page(
    lines: &[SizedLine<'_>],
    setup: &str,
    readings: &str,
    correction: &str,
) -> Result<String, ReportError> {
    let mut parts: Vec<Part<'_>> = Vec::new();
    for line in lines {
        let Some(view) = view(line) else { continue };
        match parts.iter_mut().find(|part| part.name == line.part) {
            Some(part) => part.views.push(view),
            None => parts.push(Part { name: line.part, views: vec![view] }),
        }
    }
    let lead = format!("Corrected for setup {setup}.");
    Ok(Page { title: "Sizes to draw", lead: &lead, sheet: readings, correction, parts }.render()?)
}

/// `None` of a line that cannot be met.
fn view<'a>(line: &SizedLine<'a>) -> Option<View<'a>> {
    let draw_mm = line.draw_mm?;
    let (svg, scale) = list_drawing::view(line.kind, draw_mm);
    let within = match (line.lower_mm, line.upper_mm) {
        (Some(lower), Some(upper)) => format!("{} to {}", written(lower), written(upper)),
        _ => String::new(),
    };
    let expected = match (line.expected_mm, line.low95_mm, line.high95_mm) {
        (Some(expected), Some(low), Some(high)) => format!("{expected:.3} ({low:.3} to {high:.3})"),
        _ => String::new(),
    };
    Some(View {
        dimension: line.dimension,
        kind: line.kind.name().replace('_', " "),
        svg,
        scale,
        wanted: line.target_mm.map_or(String::new(), written),
        within,
        drawn: written(draw_mm),
        expected,
    })
}

/// The sheet to measure these parts back with; `verify` takes it as it is. A span between centres is no
/// caliper's, and is left out.
pub fn readings(lines: &[SizedLine<'_>], setup: &str) -> String {
    let rows = lines.iter().filter(|line| line.kind != Kind::Span).filter_map(|line| {
        Some(sheet::Row {
            piece: line.part,
            feature: line.dimension,
            kind: line.kind,
            axis: line.axis,
            drawn_mm: line.draw_mm?,
            copy: 1,
        })
    });
    sheet::of_rows(rows, setup, false)
}
