//! The report of a fit: what it says in words first, then the numbers, the pictures and how to read
//! them, what was set aside, what the data cannot tell, and where it all comes from.
//!
//! Asks the correction for its summaries and sizes, and turns them into words; nothing else.

use std::fmt::Write as _;

use askama::Template;

use super::ReportError;
use crate::correction::apply::Size;
use crate::correction::fitted::Fit;
use crate::correction::summary::{KindSummary, usual_axis};
use crate::correction::{Correction, Coverage, SpreadEstimate};
use crate::font;
use crate::kind::Kind;
use crate::plot::{Figure, numbers};
use crate::problem::counted;
use crate::readings::Conditions;
use crate::stats::distribution::t_quantile;
use crate::units::Mm;

/// Targets to show a size for, the first that lies within the sizes measured: those of the rods, shafts
/// and bearings that people print for most.
const EXAMPLES_MM: [f64; 10] = [8.0, 5.0, 10.0, 20.0, 3.0, 6.0, 12.0, 40.0, 100.0, 2.0];

/// Sizes to draw are given to this step.
const STEP_MM: f64 = 0.01;

/// What the report of one setup is made from.
#[derive(Clone, Copy, Debug)]
pub struct SetupReport<'a> {
    /// The fit.
    pub fit: &'a Fit,
    /// Its pictures; may be empty.
    pub figures: &'a [Figure],
    /// The name of the correction file, for the commands to go on with.
    pub correction_file: &'a str,
}

/// One self-contained page for these setups, which were read from one file.
pub fn fit_report(setups: &[SetupReport], conditions: &Conditions) -> Result<String, ReportError> {
    let title = match setups {
        [one] => format!("How sizes come out: {}", one.fit.correction.setup),
        _ => format!("How sizes come out: {} setups", setups.len()),
    };
    let lead = "What to draw so that a printed part has the size that is wanted.";
    let setups = setups.iter().map(|setup| setup_view(setup, conditions)).collect();
    Ok(Page { title, lead, font: font::style(), setups }.render()?)
}

#[derive(Template)]
#[template(path = "fit_report.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: String,
    lead: &'a str,
    /// Once for all pictures of the page, which do without their own.
    font: &'static str,
    setups: Vec<SetupView<'a>>,
}

struct SetupView<'a> {
    name: &'a str,
    measured: String,
    answers: Vec<String>,
    warnings: &'a [String],
    deciding: Vec<String>,
    first_layer: Option<String>,
    kinds: Vec<KindView>,
    small_bore: bool,
    model: String,
    spreads: Vec<String>,
    pictures: Vec<Picture>,
    set_aside: Vec<AsideView<'a>>,
    steps: Vec<Step>,
    provenance: Vec<Fact>,
}

struct KindView {
    name: &'static str,
    offset: String,
    scale: String,
    small_bore: String,
    sizes: String,
    features: u32,
    readings: u64,
}

struct Picture {
    svg: String,
    reading: &'static str,
}

struct AsideView<'a> {
    line: u64,
    reading: String,
    reason: &'a str,
}

struct Step {
    what: &'static str,
    command: String,
}

struct Fact {
    what: &'static str,
    value: String,
    is_hash: bool,
}

fn setup_view<'a>(report: &SetupReport<'a>, conditions: &Conditions) -> SetupView<'a> {
    let correction = &report.fit.correction;
    let known = correction.kinds.iter();
    let known: Vec<(KindSummary, &Coverage)> =
        known.filter_map(|(kind, coverage)| Some((correction.summary(*kind)?, coverage))).collect();
    SetupView {
        name: &correction.setup,
        measured: measured(correction),
        answers: known.iter().map(|(summary, coverage)| answer(correction, summary, coverage)).collect(),
        warnings: &correction.warnings,
        deciding: report.fit.leverage.iter().map(|size| sentence_case(&size.sentence())).collect(),
        kinds: known.iter().map(|(summary, coverage)| kind_view(correction, summary, coverage)).collect(),
        small_bore: known.iter().any(|(summary, _)| summary.small_bore_mm2.is_some()),
        model: model(report.fit),
        spreads: spreads(correction, conditions.caliper_error_mm.is_some()),
        first_layer: report.fit.first_layer.map(|spread| sentence_case(&spread.in_words())),
        pictures: report
            .figures
            .iter()
            .map(|figure| Picture {
                svg: figure.svg.replace(font::style(), ""),
                reading: how_to_read(figure.name),
            })
            .collect(),
        set_aside: correction
            .set_aside
            .iter()
            .map(|aside| AsideView {
                line: aside.line,
                reading: numbers::plain(aside.reading_mm, 3),
                reason: &aside.reason,
            })
            .collect(),
        steps: steps(correction, report.correction_file, &known),
        provenance: provenance(correction, conditions),
    }
}

fn measured(correction: &Correction) -> String {
    let readings: u64 = correction.kinds.values().map(|of| of.readings).sum();
    let features: u64 = correction.kinds.values().map(|of| u64::from(of.features)).sum();
    format!(
        "From {} of {} on {}:",
        counted(readings, "reading"),
        counted(features, "feature"),
        counted(u64::from(correction.prints), "print")
    )
}

/// `Bores come out 0.18 mm small at 8 mm, ± 0.02; to get 8 mm, draw 8.21: ...`
fn answer(correction: &Correction, summary: &KindSummary, coverage: &Coverage) -> String {
    let mut answer = sentence_case(&summary.sentence());
    if let Some(size) = example(correction, summary, coverage) {
        let (low, high) = size.prediction.interval(0.95);
        let _ = write!(
            answer,
            ". To get {} mm, draw {} mm",
            numbers::size(size.target.get()),
            numbers::plain(size.draw.get(), 2)
        );
        if low.is_finite() && high.is_finite() {
            let _ = write!(
                answer,
                "; a new print then measures {} to {} mm (95 %)",
                numbers::plain(low, 2),
                numbers::plain(high, 2)
            );
        }
    }
    answer + "."
}

fn sentence_case(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    first + letters.as_str()
}

/// A size within those measured, and what to draw for it.
fn example(correction: &Correction, summary: &KindSummary, coverage: &Coverage) -> Option<Size> {
    let measured = coverage.min_mm..=coverage.max_mm;
    let target = EXAMPLES_MM.into_iter().find(|size| measured.contains(size)).unwrap_or(summary.at_mm);
    let axis = usual_axis(summary.kind);
    correction.size_for(summary.kind, axis, Mm::new(target)?, Mm::new(STEP_MM)?).ok()
}

fn kind_view(correction: &Correction, summary: &KindSummary, coverage: &Coverage) -> KindView {
    let t = t_quantile(0.975, correction.dof);
    let told = |value: f64, se: f64| {
        if (t * se).is_finite() {
            numbers::with_uncertainty(value, t * se)
        } else {
            format!("{} ± unknown", numbers::plain(value, 3))
        }
    };
    let small_bore = summary.small_bore_mm2.zip(summary.small_bore_se_mm2);
    KindView {
        name: summary.kind.plural(),
        offset: told(summary.offset_mm, summary.offset_se_mm),
        scale: summary.scale_se.map_or_else(|| "not in the model".to_owned(), |se| told(summary.scale, se)),
        small_bore: small_bore.map(|(value, se)| told(value, se)).unwrap_or_default(),
        sizes: sizes(coverage),
        features: coverage.features,
        readings: coverage.readings,
    }
}

fn sizes(coverage: &Coverage) -> String {
    let (low, high) = (numbers::size(coverage.min_mm), numbers::size(coverage.max_mm));
    if low == high { low } else { format!("{low} to {high}") }
}

fn model(fit: &Fit) -> String {
    let correction = &fit.correction;
    let mut words = format!("Model: {}.", correction.model_in_words());
    if !correction.runners_up.is_empty() {
        let others = correction.runners_up.iter().take(3);
        let others: Vec<String> = others
            .map(|other| format!("{} ({})", other.form.in_words(), numbers::signed(other.aicc_above_best, 1)))
            .collect();
        let _ = write!(
            words,
            " It describes these data best for the number of its terms; the next ones, with how much worse \
             they are (AICc; from about 2 it counts): {}.",
            others.join("; ")
        );
    }
    if let Some(share) = fit.r_squared {
        let _ = write!(
            words,
            " It explains {} % of the variance of the deviations about their mean (R²).",
            numbers::plain(100.0 * share, 1)
        );
    }
    words
}

fn spreads(correction: &Correction, caliper_error_is_stated: bool) -> Vec<String> {
    let spread = &correction.spread;
    let mm = |sd: f64| format!("{} mm", numbers::plain(sd, 3));
    let behind = |of: &SpreadEstimate| match of.dof {
        Some(dof) => {
            let dof = numbers::degrees(dof);
            format!(" (on {dof} degree{} of freedom)", if dof == "1" { "" } else { "s" })
        }
        None => " (an allowance: these data cannot tell it)".to_owned(),
    };
    vec![
        format!("One print differs from the next by {}{}.", mm(spread.print.sd_mm), behind(&spread.print)),
        format!(
            "Within a print, features scatter about the fitted line by {}{}.",
            mm(spread.feature.sd_mm),
            behind(&spread.feature)
        ),
        match &spread.repeat {
            Some(repeat) => format!(
                "Repeat readings of one feature scatter by {}{}: your hand and the caliper's step.",
                mm(repeat.sd_mm),
                behind(repeat)
            ),
            None => "Nothing was read twice, so how well readings repeat is not known.".to_owned(),
        },
        if caliper_error_is_stated {
            format!(
                "The caliper itself may be off by {}, which no averaging removes.",
                mm(spread.caliper_u_mm)
            )
        } else {
            format!(
                "The caliper's limit of error is not stated in the file and not counted, only the step that it \
                 shows ({}): a line `# caliper_error_mm: 0.03` above the header states it.",
                mm(spread.caliper_u_mm)
            )
        },
        "Each is a standard deviation: nineteen of twenty lie within about twice as much.".to_owned(),
    ]
}

fn how_to_read(figure: &str) -> &'static str {
    match figure {
        "deviation" => {
            "How to read it: each point is one feature of one print. The black line at zero is a perfect \
             print; a point below it came out smaller than drawn. The fitted line should run through the \
             middle of its points. The darker band holds the true mean with 95 % confidence; one feature of \
             a new print falls within the wide band 19 times in 20. Crosses were set aside, with their line \
             in the file; an arrow points to one that is off the plot, and says by how much it deviates."
        }
        "residuals" => {
            "How to read it: the same points less the fitted line. They should be a band without shape: a bend \
             means that a line is the wrong form, a funnel that large sizes scatter more. About one in twenty \
             lies outside the dashed lines by chance; a ring marks one that is further off than chance \
             explains, so look at that line of the file again."
        }
        "quantiles" => {
            "How to read it: the residuals in order of size, against where ordinary (normal) scatter would put \
             them. Points along the dashed line: ordinary scatter, and the intervals on this page can be \
             trusted. Ends that bend away from the band: a few readings are wilder than the rest, and \
             intervals may be too narrow."
        }
        "copies" => {
            "How to read it: what is left over, print by print; each kind has a lane of its own. The heavy \
             lines should lie near zero. A print whose pins are high while its bores are low laid down a little \
             more plastic than its siblings."
        }
        _ => "",
    }
}

fn steps(correction: &Correction, file: &str, known: &[(KindSummary, &Coverage)]) -> Vec<Step> {
    let shown = known.iter().find(|(summary, _)| summary.kind == Kind::Bore).or(known.first());
    let target = shown.and_then(|(summary, coverage)| example(correction, summary, coverage));
    let (kind, target) = match (shown, target) {
        (Some((summary, _)), Some(size)) => (summary.kind, size.target.get()),
        _ => (Kind::Bore, EXAMPLES_MM[0]),
    };
    let file = quoted(file);
    vec![
        Step {
            what: "Ask for the size to draw, one by one:",
            command: format!("shrinkrule size {kind} {} --with {file}", numbers::size(target)),
        },
        Step {
            what: "or for a whole list of parts:",
            command: format!("shrinkrule parts parts.csv --with {file} --out parts-to-draw.csv"),
        },
        Step {
            what: "Make a toothed pulley that comes out right:",
            command: format!(
                "shrinkrule pulley --belt T5 --teeth 20 --bore 5 --with {file} --out pulley.stl"
            ),
        },
        Step {
            what: "Print the first part, let it cool, measure it, and compare with the interval that was given.",
            command: String::new(),
        },
    ]
}

/// A file's name as a shell takes it.
fn quoted(name: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./+=:@".contains(c);
    if !name.is_empty() && name.chars().all(plain) {
        name.to_owned()
    } else {
        format!("'{}'", name.replace('\'', r"'\''"))
    }
}

fn provenance(correction: &Correction, conditions: &Conditions) -> Vec<Fact> {
    let fact = |what, value: String| Fact { what, value, is_hash: false };
    let mm = |value: f64| format!("{} mm", numbers::size(value));
    let mut facts = vec![
        fact("setup", correction.setup.clone()),
        fact("measured on", correction.date.clone().unwrap_or_else(|| "not stated".to_owned())),
        fact("readings file", correction.readings_file.clone()),
        Fact { what: "its SHA-256", value: correction.readings_sha256.clone(), is_hash: true },
    ];
    if let Some(degrees) = conditions.temperature_c {
        facts.push(fact("measured at", format!("{} °C", numbers::size(degrees))));
    }
    if let Some(resolution) = conditions.caliper_resolution_mm {
        facts.push(fact("the caliper shows steps of", mm(resolution)));
    }
    if let Some(error) = conditions.caliper_error_mm {
        facts.push(fact("the caliper's limit of error", mm(error)));
    }
    facts.push(fact("fitted by", format!("shrinkrule {}", correction.program_version)));
    facts.push(fact("degrees of freedom", numbers::degrees(correction.dof)));
    facts
}

#[cfg(test)]
mod tests;
