//! What only the whole file shows: features that contradict themselves or their coupon set, mixed
//! decimal separators, repeats that lie far apart, a sheet that is still blank.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::kind::Kind;
use crate::problem::{Location, Problem, Severity};

use super::block::First;
use super::exposure::Heading;
use super::gather::{Gathered, MOST_PROBLEMS, Totals};
use super::layout::{Layout, shortened};
use super::table::{Definition, SetupTable};
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
    let mut found = OfSetups::default();
    found.append(of_setups(&gathered.definitions.list, &gathered.setups, &layout, known));
    let totals = gathered.totals;
    let warnings = answered(&totals, found, gathered.trials.is_empty(), &layout, &source.path)?;
    let (tables, went, exposed) = exposure::sorted(gathered.setups);
    let trials = gathered.trials.into_iter();
    Ok(CheckedReadings {
        source,
        conditions: layout.conditions,
        readings: totals.readings,
        not_measured: totals.not_measured,
        warnings,
        set_aside: Vec::new(),
        // How a piece felt after heat is no calibration.
        trials: trials.filter_map(|trial| Some(Trial { setup: went[trial.setup]?, ..trial })).collect(),
        tables,
        exposed,
        definitions: gathered.definitions.list,
    })
}

/// The warnings of a file, or every problem of it when there is one that must be answered.
pub(super) fn answered(
    totals: &Totals,
    found: OfSetups,
    without_trials: bool,
    layout: &Layout,
    path: &Path,
) -> Result<Vec<Problem>, Vec<Problem>> {
    let mut problems = layout.problems.clone();
    problems.extend(mixed_decimals(totals, layout));
    problems.extend(found.contradictions.kept);
    problems.extend(found.strangers.into_values());
    problems.extend(commented_out(totals));
    let doubts = doubts(totals, found.far_apart, layout);
    let has_errors = problems.iter().any(is_error) || !totals.problems.kept.is_empty();
    if !has_errors && totals.readings == 0 && without_trials {
        problems.push(nothing_measured(totals, layout));
    }
    problems.extend(doubts.kept);
    problems.extend(totals.problems.kept.iter().cloned());
    let mut problems = placed(path, problems);
    problems.sort_by_key(|problem| problem.location.line);
    if doubts.more > 0 {
        let message = format!("{} more readings are doubtful and not listed", doubts.more);
        problems.push(Problem::warning(Location::file(path), message));
    }
    let more = totals.problems.more + found.contradictions.more;
    if more > 0 {
        let message = format!("{more} more problems are not listed");
        problems.push(Problem::error(Location::file(path), message));
    }
    if problems.iter().any(is_error) { Err(problems) } else { Ok(problems) }
}

/// Coupon and feature, kind, axis and size.
type About = ((String, String), Kind, u8, u64);

/// What is wrong or doubtful within setups.
#[derive(Debug)]
pub(super) struct OfSetups {
    contradictions: First<Problem>,
    /// By what they are about, so that each is told once.
    strangers: BTreeMap<About, Problem>,
    far_apart: First<Problem>,
}

impl Default for OfSetups {
    fn default() -> Self {
        Self {
            contradictions: First::of(MOST_PROBLEMS),
            strangers: BTreeMap::new(),
            far_apart: First::of(MOST_WARNINGS),
        }
    }
}

impl OfSetups {
    /// Takes in what was found in setups that come later in the file.
    pub(super) fn append(&mut self, later: Self) {
        self.contradictions.append(later.contradictions);
        for (about, problem) in later.strangers {
            if self.strangers.len() < MOST_PROBLEMS {
                self.strangers.entry(about).or_insert(problem);
            }
        }
        self.far_apart.append(later.far_apart);
    }
}

/// Looks through setups and all that they measure.
pub(super) fn of_setups(
    definitions: &[Definition],
    setups: &[(Heading, SetupTable)],
    layout: &Layout,
    known: KnownFeature<'_>,
) -> OfSetups {
    let mut found = OfSetups::default();
    contradictions(definitions, setups, layout)
        .into_iter()
        .for_each(|problem| found.contradictions.push(problem));
    found.strangers = strangers_to_their_set(definitions, setups, layout, known);
    for (_, table) in setups {
        for (entry, repeats) in table.repeated() {
            let definition = &definitions[entry.definition as usize];
            if lie_far_apart(&repeats, definition.nominal_mm) {
                found.far_apart.push(far_apart(definition, entry.copy, &repeats));
            }
        }
    }
    found
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

fn nothing_measured(totals: &Totals, layout: &Layout) -> Problem {
    let rows = totals.not_measured;
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

fn mixed_decimals(totals: &Totals, layout: &Layout) -> Option<Problem> {
    let (Some(point), Some(comma)) = (&totals.first_point, &totals.first_comma) else { return None };
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
fn contradictions(list: &[Definition], setups: &[(Heading, SetupTable)], layout: &Layout) -> Vec<Problem> {
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
    for (_, table) in setups {
        // By name, the first row of the setup; and what was reported already.
        let mut first: BTreeMap<usize, (usize, u64)> = BTreeMap::new();
        let mut reported: BTreeSet<(usize, Kind, u64)> = BTreeSet::new();
        for entry in &table.entries {
            let number = entry.definition as usize;
            let Some(name) = doubtful.get(&number) else { continue };
            let (before, line) = *first.entry(*name).or_insert((number, entry.line()));
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
            let place = at(entry.line()).column(layout.names[column].as_str());
            let help = "a feature has one kind and one nominal size: correct one of the two rows";
            problems.push(Problem::error(place, message).help(help));
        }
    }
    problems
}

/// Rows in which kind or nominal size are not those of the coupon set.
fn strangers_to_their_set(
    definitions: &[Definition],
    setups: &[(Heading, SetupTable)],
    layout: &Layout,
    known: KnownFeature<'_>,
) -> BTreeMap<About, Problem> {
    let mut wrong: BTreeMap<usize, (Kind, f64)> = BTreeMap::new();
    for (number, definition) in definitions.iter().enumerate() {
        if let Some((kind, nominal_mm)) = known(&definition.coupon, &definition.feature)
            && (kind != definition.kind || (nominal_mm - definition.nominal_mm).abs() > 1e-6)
        {
            wrong.insert(number, (kind, nominal_mm));
        }
    }
    let mut lines: BTreeMap<usize, u64> = BTreeMap::new();
    if !wrong.is_empty() {
        for entry in setups.iter().flat_map(|(_, table)| &table.entries) {
            let number = entry.definition as usize;
            if wrong.contains_key(&number) {
                let line = lines.entry(number).or_insert(entry.line());
                *line = (*line).min(entry.line());
            }
        }
    }
    let problem = |(number, line): (&usize, &u64)| {
        let (definition, (kind, nominal_mm)) = (&definitions[*number], wrong[number]);
        let column = if kind == definition.kind { layout.nominal } else { layout.kind };
        let message = format!(
            "{} is {} in the coupon set; the row says {}, {}",
            named(definition),
            sized(kind, nominal_mm),
            definition.kind,
            definition.nominal_mm
        );
        let help = "correct the row; if the coupon is one of your own, give it another name";
        let names = (definition.coupon.to_string(), definition.feature.to_string());
        let about = (names, definition.kind, definition.axis as u8, definition.nominal_mm.to_bits());
        (about, Problem::error(at(*line).column(layout.names[column].as_str()), message).help(help))
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
fn commented_out(totals: &Totals) -> Option<Problem> {
    let first = totals.leftover.first_commented?;
    let message = match totals.leftover.commented {
        1 => "this row begins with `#` and is skipped".to_owned(),
        count => format!("{count} rows begin with `#` and are skipped; this is the first"),
    };
    Some(Problem::warning(at(first), message).help("if it is data, rename what begins with `#`"))
}

/// Readings that a slip of the pen explains, and repeats that lie far apart.
fn doubts(totals: &Totals, far_apart: First<Problem>, layout: &Layout) -> First<Problem> {
    let mut doubts = First::of(MOST_WARNINGS);
    for doubt in &totals.doubts.kept {
        let converted = if layout.inches { format!(" ({:.3} mm)", doubt.reading_mm) } else { String::new() };
        let message = format!(
            "`{}`{converted} for a nominal size of {} mm {}",
            shortened(&doubt.text),
            doubt.nominal_mm,
            doubt.slip
        );
        doubts.push(Problem::warning(at(doubt.line).column(layout.names[doubt.column].as_str()), message));
    }
    doubts.more += totals.doubts.more;
    doubts.append(far_apart);
    doubts
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
