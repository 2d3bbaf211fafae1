//! The top of a sheet to its layout: comment lines, what separates columns, which column holds what.
//!
//! The separator is the one that makes the most known column names out of the header. Names are
//! compared without case and spaces around; columns may come in any order; a column with a name that
//! nobody knows is ignored, with a warning when the name is nearly a known one.

use crate::problem::{Location, Problem, Severity, nearest};

use super::Conditions;
use super::conditions::Comments;
use super::exposure;
use super::records::{as_text, header_cells};

/// What separates columns.
const DELIMITERS: [(u8, &str); 3] = [(b',', "`,`"), (b';', "`;`"), (b'\t', "a tab")];

const OPTIONAL: [&str; 8] = ["setup", "coupon", "feature", "axis", "copy", "note", "feel", "mate_mm"];

/// Known as well, but too near to other words, such as `date`, to be offered for them.
const MATE: &str = "mate";

/// How a sheet is laid out.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Layout {
    pub(super) delimiter: u8,
    /// The header's names as typed, spaces around them removed.
    pub(super) names: Vec<String>,
    pub(super) setup: Option<usize>,
    pub(super) coupon: Option<usize>,
    pub(super) feature: Option<usize>,
    pub(super) kind: usize,
    pub(super) axis: Option<usize>,
    pub(super) nominal: usize,
    pub(super) copy: Option<usize>,
    pub(super) readings: Vec<usize>,
    pub(super) feel: Option<usize>,
    pub(super) mate_mm: Option<usize>,
    pub(super) mate: Option<usize>,
    /// The columns of [`exposure::COLUMNS`], where the sheet has stages of one print.
    pub(super) exposure: Option<[Option<usize>; exposure::COLUMNS.len()]>,
    /// Readings are in inches.
    pub(super) inches: bool,
    pub(super) conditions: Conditions,
    /// Where the first row below the header begins, and how many lines are above it.
    pub(super) body: usize,
    pub(super) lines_above: u64,
    /// Wrong conditions, keys and columns that look misspelt: nothing that hides what the rows say.
    pub(super) problems: Vec<Problem>,
}

impl Layout {
    /// What separates columns, in words.
    pub(super) fn separator_in_words(delimiter: u8) -> &'static str {
        DELIMITERS.iter().find(|(known, _)| *known == delimiter).map_or("", |(_, words)| words)
    }

    /// Another separator that would split this row into as many cells as the header has.
    pub(super) fn better_separator(&self, row: &[u8]) -> Option<&'static str> {
        let others = DELIMITERS.iter().filter(|(delimiter, _)| *delimiter != self.delimiter);
        others
            .filter(|(delimiter, _)| header_cells(row, 0, *delimiter).0.len() == self.names.len())
            .map(|(_, words)| *words)
            .next()
    }
}

/// The layout of the sheet that begins with `head`, or everything that is wrong with its top.
pub(super) fn read(head: &[u8]) -> Result<Layout, Vec<Problem>> {
    let mut comments = Comments::default();
    let mut at = 0;
    let mut line = 1;
    while at < head.len() {
        let length = head[at..].iter().position(|byte| *byte == b'\n').unwrap_or(head.len() - at);
        let text = as_text(&head[at..at + length]).trim();
        // A spreadsheet pads comments with separators and quotes those that hold one.
        let bare = text.trim_matches([',', ';', '\t', '"']).trim();
        if let Some(comment) = bare.strip_prefix('#') {
            comments.take(comment, line);
        } else if !bare.is_empty() && !is_separator_line(text) {
            return from_header(head, at, line, comments);
        }
        at += length + 1;
        line += 1;
    }
    let what = if line == 1 { "the file is empty" } else { "the file has no header row" };
    let mut problems = comments.problems;
    problems.push(Problem::error(Location::default(), what).help(HEADER_EXAMPLE));
    Err(problems)
}

const HEADER_EXAMPLE: &str = "the first row names the columns, for example `feature,kind,nominal_mm,reading_1_mm`; \
`shrinkrule coupons` writes a sheet to type into";

/// `sep=;`, which some spreadsheets write above the header.
fn is_separator_line(text: &str) -> bool {
    text.len() <= 6 && text.to_lowercase().trim_start_matches('"').starts_with("sep=")
}

fn is_known(name: &str) -> bool {
    name == "kind"
        || name == "nominal_mm"
        || name.starts_with("reading")
        || name == MATE
        || OPTIONAL.contains(&name)
        || exposure::COLUMNS.contains(&name)
}

fn from_header(head: &[u8], at: usize, line: u64, comments: Comments) -> Result<Layout, Vec<Problem>> {
    let split = DELIMITERS.map(|(delimiter, _)| {
        let (cells, record) = header_cells(head, at, delimiter);
        let known = cells.iter().filter(|cell| is_known(&cell.to_lowercase())).count();
        (known, cells.len(), delimiter, cells, record)
    });
    // Of equals the first, so a single column counts as separated by commas.
    let best = split.into_iter().rev().max_by_key(|(known, cells, ..)| (*known, *cells));
    let Some((known, _, delimiter, names, record)) = best else { return Err(comments.problems) };
    let place = Location::default().line(line);
    let mut problems = comments.problems;
    if known == 0 {
        let first = names.iter().find(|name| !name.is_empty()).map_or("", String::as_str);
        let message = format!("this row is no header: `{}` is the name of no column", shortened(first));
        problems.push(Problem::error(place, message).help(HEADER_EXAMPLE));
        return Err(problems);
    }
    let before = problems.len();
    let lower: Vec<String> = names.iter().map(|name| name.to_lowercase()).collect();
    let find = |name: &str| lower.iter().position(|candidate| candidate == name);
    let readings: Vec<usize> =
        (0..lower.len()).filter(|column| lower[*column].starts_with("reading")).collect();

    for (other, words) in DELIMITERS.iter().filter(|(other, _)| *other != delimiter) {
        if let Some(mixed) = names.iter().find(|name| name.contains(char::from(*other))) {
            let message = format!(
                "separators are mixed: the header separates columns with {} and has {words} in `{}`",
                Layout::separator_in_words(delimiter),
                shortened(mixed)
            );
            let help = "use one separator throughout the file";
            problems.push(Problem::error(place.clone(), message).help(help));
        }
    }
    let unknown: Vec<&str> =
        lower.iter().map(String::as_str).filter(|name| !name.is_empty() && !is_known(name)).collect();
    for (wanted, missing, similar) in [
        ("kind", find("kind").is_none(), ["kind", "type"]),
        ("nominal_mm", find("nominal_mm").is_none(), ["nominal_mm", "nominal"]),
        ("reading_mm", readings.is_empty() && find("feel").is_none(), ["reading_mm", "measured_mm"]),
    ] {
        if missing {
            let meant = similar.iter().find_map(|similar| nearest(similar, unknown.iter().copied()));
            let help = match meant {
                Some(meant) => format!("is `{meant}` meant? rename it to `{wanted}`"),
                None if wanted == "reading_mm" => {
                    "name the columns that hold caliper readings `reading_1_mm`, `reading_2_mm`, …".to_owned()
                }
                None => format!("add a column `{wanted}` to the header and to every row"),
            };
            let what =
                if wanted == "reading_mm" { "column whose name begins with `reading`" } else { "column" };
            let message = match wanted {
                "reading_mm" => format!("no {what}"),
                _ => format!("no {what} `{wanted}`"),
            };
            problems.push(Problem::error(place.clone(), message).help(help));
        }
    }
    for (column, name) in lower.iter().enumerate() {
        let single = is_known(name) && !name.starts_with("reading");
        if single && lower[..column].contains(name) {
            let message = format!("two columns are named `{name}`");
            problems.push(Problem::error(place.clone(), message).help("rename or delete one of them"));
        }
    }
    for name in &unknown {
        if let Some(meant) = nearest(name, OPTIONAL.into_iter().filter(|known| find(known).is_none())) {
            let message = format!("the column `{name}` is ignored");
            problems.push(
                Problem::warning(place.clone(), message).help(format!("if it is `{meant}`, rename it")),
            );
        }
    }
    if problems[before..].iter().any(|problem| problem.severity == Severity::Error) {
        return Err(problems);
    }
    let (Some(kind), Some(nominal)) = (find("kind"), find("nominal_mm")) else { return Err(problems) };
    let found = OPTIONAL.map(find);
    Ok(Layout {
        delimiter,
        setup: found[0],
        coupon: found[1],
        feature: found[2],
        kind,
        axis: found[3],
        nominal,
        copy: found[4],
        readings,
        feel: found[6],
        mate_mm: found[7],
        mate: find(MATE),
        exposure: find(exposure::STAGE).map(|_| exposure::COLUMNS.map(find)),
        names,
        inches: comments.inches,
        conditions: comments.conditions,
        body: record.end,
        lines_above: line - 1 + record.lines,
        problems,
    })
}

/// Enough of a text to recognise it.
pub(super) fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problems(text: &str) -> Vec<String> {
        read(text.as_bytes()).unwrap_err().iter().map(Problem::to_string).collect()
    }

    #[test]
    fn columns_come_in_any_order_with_any_separator() {
        for delimiter in [",", ";", "\t"] {
            let text = "# date: 2026-11-25\n\nReading_1_mm,NOMINAL_MM, kind ,colour,copy,reading_2_mm\n1,2\n"
                .replace(',', delimiter);
            let layout = read(text.as_bytes()).unwrap();
            assert_eq!(char::from(layout.delimiter).to_string(), delimiter);
            assert_eq!(
                (layout.kind, layout.nominal, layout.copy, layout.setup, &layout.readings[..]),
                (2, 1, Some(4), None, &[0, 5][..])
            );
            assert_eq!((&text[layout.body..], layout.lines_above), (&text[text.len() - 4..], 3));
            assert_eq!(layout.conditions.date.as_deref(), Some("2026-11-25"));
            assert_eq!(layout.problems, []);
        }
    }

    #[test]
    fn a_spreadsheets_padding_around_comments_is_no_matter() {
        let layout = read(
            b"sep=;\r\n\"# temperature_c: 21,5\";;\r\n# unit: in;;\r\n;;\r\nkind;nominal_mm;reading_in\r\n",
        )
        .unwrap();
        assert_eq!(layout.conditions.temperature_c, Some(21.5));
        assert!(layout.inches);
        assert_eq!(layout.lines_above, 5);
    }

    #[test]
    fn missing_columns_are_all_named_with_the_ones_that_are_probably_meant() {
        assert_eq!(
            problems("kinds,nominl_mm,size\n"),
            [
                "error: 1: this row is no header: `kinds` is the name of no column\n  help: the first row names the columns, \
                 for example `feature,kind,nominal_mm,reading_1_mm`; `shrinkrule coupons` writes a sheet to type into"
            ]
        );
        assert_eq!(
            problems("setup,kinds,nominl_mm,measured_1_mm,coppy\n"),
            [
                "error: 1: no column `kind`\n  help: is `kinds` meant? rename it to `kind`",
                "error: 1: no column `nominal_mm`\n  help: is `nominl_mm` meant? rename it to `nominal_mm`",
                "error: 1: no column whose name begins with `reading`\n  help: is `measured_1_mm` meant? rename it to `reading_mm`",
                "warning: 1: the column `coppy` is ignored\n  help: if it is `copy`, rename it",
            ]
        );
        assert_eq!(
            problems("setup,kind,kind,reading\n"),
            [
                "error: 1: no column `nominal_mm`\n  help: add a column `nominal_mm` to the header and to every row",
                "error: 1: two columns are named `kind`\n  help: rename or delete one of them",
            ]
        );
    }

    #[test]
    fn mixed_separators_in_the_header_are_explained() {
        assert_eq!(
            problems("setup;kind;nominal_mm;copy,reading_mm\n")[0],
            "error: 1: separators are mixed: the header separates columns with `;` and has `,` in `copy,reading_mm`\n  \
             help: use one separator throughout the file"
        );
    }

    #[test]
    fn a_file_without_a_header_says_so() {
        assert!(problems("")[0].starts_with("error: the file is empty\n  help: the first row names"));
        assert!(problems("# date:\n\n")[0].starts_with("error: the file has no header row"));
        assert!(problems("bore,5,5.02\n")[0].starts_with("error: 1: this row is no header: `bore`"));
    }
}
