//! What only the whole file shows: features that contradict themselves or their coupon set, mixed
//! decimal separators, repeats that lie far apart, a sheet that is still blank.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::kind::Kind;
use crate::problem::{Location, Problem, Severity};

use super::gather::Gathered;
use super::layout::{Layout, shortened};
use super::table::Definition;
use super::trials::Trial;
use super::{CheckedReadings, KnownFeature, Repeats, Source, exposure, slips};

/// Repeat readings of one feature further apart than this are doubtful. Picked by feel: five times
/// what a caliper in an unpractised hand does.
const FAR_APART_MM: f64 = 0.5;

/// Warnings beyond these are counted and not listed.
const MOST_WARNINGS: usize = 1_000;

/// Checked readings, or everything that is wrong, in file order.
pub(super) fn check(
    gathered: Gathered,
    layout: Layout,
    source: Source,
    known: KnownFeature<'_>,
) -> Result<CheckedReadings, Vec<Problem>> {
    let mut problems = layout.problems.clone();
    problems.extend(mixed_decimals(&gathered, &layout));
    problems.extend(contradictions(&gathered, &layout));
    problems.extend(strangers_to_their_set(&gathered, &layout, known));
    problems.extend(commented_out(&gathered));
    let doubts = doubts(&gathered, &layout);
    let has_errors = problems.iter().any(is_error) || !gathered.problems.kept.is_empty();
    if !has_errors && gathered.readings == 0 && gathered.trials.is_empty() {
        problems.push(nothing_measured(&gathered, &layout));
    }
    problems.extend(doubts.kept);
    problems.extend(gathered.problems.kept);
    let mut problems = placed(&source.path, problems);
    problems.sort_by_key(|problem| problem.location.line);
    let whole = || Location::file(&source.path);
    if doubts.more > 0 {
        let message = format!("{} more readings are doubtful and not listed", doubts.more);
        problems.push(Problem::warning(whole(), message));
    }
    if gathered.problems.more > 0 {
        let message = format!("{} more problems are not listed", gathered.problems.more);
        problems.push(Problem::error(whole(), message));
    }
    if problems.iter().any(is_error) {
        return Err(problems);
    }
    let (tables, went, exposed) = exposure::sorted(gathered.setups);
    let trials = gathered.trials.into_iter();
    Ok(CheckedReadings {
        source,
        conditions: layout.conditions,
        readings: gathered.readings,
        not_measured: gathered.not_measured,
        warnings: problems,
        set_aside: Vec::new(),
        // How a piece felt after heat is no calibration.
        trials: trials.filter_map(|trial| Some(Trial { setup: went[trial.setup]?, ..trial })).collect(),
        tables,
        exposed,
        definitions: gathered.definitions.list,
    })
}

fn is_error(problem: &Problem) -> bool {
    problem.severity == Severity::Error
}

/// The problems with the file's name.
pub(super) fn placed(path: &Path, mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.iter_mut().for_each(|problem| problem.location.file = Some(path.to_owned()));
    problems
}

fn at(line: u64) -> Location {
    Location::default().line(line)
}

fn nothing_measured(gathered: &Gathered, layout: &Layout) -> Problem {
    let rows = gathered.not_measured;
    if rows == 0 {
        return Problem::error(Location::default(), "there are no rows below the header");
    }
    let message = match rows {
        1 => "nothing is measured yet: its only row has no reading".to_owned(),
        _ => format!("nothing is measured yet: none of its {rows} rows has a reading"),
    };
    let help = match layout.readings.first() {
        Some(column) => format!("type what the caliper reads into the column `{}`", layout.names[*column]),
        None => {
            "type how the real piece feels into the column `feel`, and its size into `mate_mm`".to_owned()
        }
    };
    Problem::error(Location::default(), message).help(help)
}

fn mixed_decimals(gathered: &Gathered, layout: &Layout) -> Option<Problem> {
    let (Some(point), Some(comma)) = (&gathered.first_point, &gathered.first_comma) else { return None };
    let (first, then) = if point.line <= comma.line { (point, comma) } else { (comma, point) };
    let message = format!(
        "decimal separators are mixed: `{}` here and `{}` on line {}",
        shortened(&then.text),
        shortened(&first.text),
        first.line
    );
    let help = "write all numbers of the file with a point, or all with a comma";
    Some(Problem::error(at(then.line).column(layout.names[then.column].as_str()), message).help(help))
}

/// One feature with two nominal sizes or of two kinds, within a setup.
fn contradictions(gathered: &Gathered, layout: &Layout) -> Vec<Problem> {
    let list = &gathered.definitions.list;
    let mut by_name: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (number, definition) in list.iter().enumerate() {
        by_name.entry((&definition.coupon, &definition.feature)).or_default().push(number);
    }
    let same = |one: usize, other: usize| {
        list[one].kind == list[other].kind && list[one].nominal_mm == list[other].nominal_mm
    };
    // By definition, the first of those with the same name; only where they are not all the same.
    let mut doubtful: BTreeMap<usize, usize> = BTreeMap::new();
    for numbers in by_name.values().filter(|numbers| numbers.iter().any(|other| !same(numbers[0], *other))) {
        doubtful.extend(numbers.iter().map(|number| (*number, numbers[0])));
    }
    let mut problems = Vec::new();
    if doubtful.is_empty() {
        return problems;
    }
    for (_, table) in &gathered.setups {
        // By name, the first row of the setup; and what was reported already.
        let mut first: BTreeMap<usize, (usize, u64)> = BTreeMap::new();
        let mut reported: BTreeSet<(usize, Kind, u64)> = BTreeSet::new();
        for entry in &table.entries {
            let number = entry.definition as usize;
            let Some(name) = doubtful.get(&number) else { continue };
            let (before, line) = *first.entry(*name).or_insert((number, entry.first.line));
            let (here, there) = (&list[number], &list[before]);
            if same(before, number) || !reported.insert((*name, here.kind, here.nominal_mm.to_bits())) {
                continue;
            }
            let column = if here.nominal_mm == there.nominal_mm { layout.kind } else { layout.nominal };
            let message = format!(
                "{} is {} here and {} on line {line}",
                named(here),
                sized(here.kind, here.nominal_mm),
                sized(there.kind, there.nominal_mm)
            );
            let place = at(entry.first.line).column(layout.names[column].as_str());
            let help = "a feature has one kind and one nominal size: correct one of the two rows";
            problems.push(Problem::error(place, message).help(help));
        }
    }
    problems
}

/// Rows in which kind or nominal size are not those of the coupon set.
fn strangers_to_their_set(gathered: &Gathered, layout: &Layout, known: KnownFeature<'_>) -> Vec<Problem> {
    let mut wrong: BTreeMap<usize, (Kind, f64)> = BTreeMap::new();
    for (number, definition) in gathered.definitions.list.iter().enumerate() {
        if let Some((kind, nominal_mm)) = known(&definition.coupon, &definition.feature)
            && (kind != definition.kind || (nominal_mm - definition.nominal_mm).abs() > 1e-6)
        {
            wrong.insert(number, (kind, nominal_mm));
        }
    }
    let mut lines: BTreeMap<usize, u64> = BTreeMap::new();
    if !wrong.is_empty() {
        for entry in gathered.setups.iter().flat_map(|(_, table)| &table.entries) {
            let number = entry.definition as usize;
            if wrong.contains_key(&number) {
                let line = lines.entry(number).or_insert(entry.first.line);
                *line = (*line).min(entry.first.line);
            }
        }
    }
    let problem = |(number, line): (&usize, &u64)| {
        let (definition, (kind, nominal_mm)) = (&gathered.definitions.list[*number], wrong[number]);
        let column = if kind == definition.kind { layout.nominal } else { layout.kind };
        let message = format!(
            "{} is {} in the coupon set; the row says {}, {}",
            named(definition),
            sized(kind, nominal_mm),
            definition.kind,
            definition.nominal_mm
        );
        let help = "correct the row; if the coupon is one of your own, give it another name";
        Problem::error(at(*line).column(layout.names[column].as_str()), message).help(help)
    };
    lines.iter().map(problem).collect()
}

fn named(definition: &Definition) -> String {
    match &*definition.coupon {
        "" => format!("feature `{}`", definition.feature),
        coupon => format!("coupon `{coupon}` feature `{}`", definition.feature),
    }
}

fn sized(kind: Kind, nominal_mm: f64) -> String {
    let article = if kind == Kind::Outer { "an" } else { "a" };
    format!("{article} {kind} of {nominal_mm} mm")
}

/// A row that looks like data behind a `#` is skipped, but not in silence.
fn commented_out(gathered: &Gathered) -> Option<Problem> {
    let first = gathered.leftover.first_commented?;
    let message = match gathered.leftover.commented {
        1 => "this row begins with `#` and is skipped".to_owned(),
        count => format!("{count} rows begin with `#` and are skipped; this is the first"),
    };
    Some(Problem::warning(at(first), message).help("if it is data, rename what begins with `#`"))
}

struct Listed {
    kept: Vec<Problem>,
    more: u64,
}

/// Readings that a slip of the pen explains, and repeats that lie far apart.
fn doubts(gathered: &Gathered, layout: &Layout) -> Listed {
    let mut kept: Vec<Problem> = Vec::new();
    for doubt in &gathered.doubts.kept {
        let converted = if layout.inches { format!(" ({:.3} mm)", doubt.reading_mm) } else { String::new() };
        let message = format!(
            "`{}`{converted} for a nominal size of {} mm {}",
            shortened(&doubt.text),
            doubt.nominal_mm,
            doubt.slip
        );
        kept.push(Problem::warning(at(doubt.line).column(layout.names[doubt.column].as_str()), message));
    }
    let mut more = gathered.doubts.more;
    for (_, table) in &gathered.setups {
        for (entry, repeats) in table.repeated() {
            let definition = &gathered.definitions.list[entry.definition as usize];
            if !lie_far_apart(repeats, definition.nominal_mm) {
                continue;
            }
            if kept.len() >= MOST_WARNINGS {
                more += 1;
            } else {
                kept.push(far_apart(definition, entry.copy, repeats));
            }
        }
    }
    Listed { kept, more }
}

/// Unless one of them is explained already.
fn lie_far_apart(repeats: &Repeats, nominal_mm: f64) -> bool {
    repeats.highest.mm - repeats.lowest.mm > FAR_APART_MM
        && slips::likely(repeats.highest.mm, nominal_mm).is_none()
        && slips::likely(repeats.lowest.mm, nominal_mm).is_none()
}

fn far_apart(definition: &Definition, copy: u32, repeats: &Repeats) -> Problem {
    let (lowest, highest) = (repeats.lowest, repeats.highest);
    let gap_mm = highest.mm - lowest.mm;
    let (lines, help) = if lowest.line == highest.line {
        (format!("{:.2} mm and {:.2} mm", lowest.mm, highest.mm), "measure it again")
    } else {
        (
            format!(
                "{:.2} mm on line {} and {:.2} mm on line {}",
                lowest.mm, lowest.line, highest.mm, highest.line
            ),
            "measure it again; two rows may be swapped, or two prints have the same number",
        )
    };
    let message =
        format!("repeat readings of {}, print {copy}, lie {gap_mm:.2} mm apart: {lines}", named(definition));
    Problem::warning(at(lowest.line.max(highest.line)), message).help(help)
}
