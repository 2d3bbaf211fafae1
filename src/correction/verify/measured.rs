//! What was measured on later prints, from either of two files: a readings sheet, or a parts list with its
//! sizes to draw that was measured back.
//!
//! A parts list as `parts` writes it has `draw_mm` where a sheet has `nominal_mm`; with a column
//! `measured_mm`, or columns that begin with `reading`, it is a readings sheet under other names, and is
//! read as one: `part` is the coupon and `dimension` the feature. All parts count as one print unless a
//! column `copy` says otherwise: prints taken for one cannot feign a drift, one taken for several can.

use std::path::Path;

use crate::problem::{Location, Problem};
use crate::readings::{CheckedReadings, SetupReadings, read_bytes, read_file};
use crate::tables::whole_table::{self, Table};

/// What columns of a parts list are called in a readings sheet.
const COLUMNS: [(&str, &str); 4] =
    [("draw_mm", "nominal_mm"), ("part", "coupon"), ("dimension", "feature"), ("measured_mm", "reading_mm")];

/// Reads and checks the file, or says everything that is wrong with it.
pub fn read_measured(path: &Path) -> Result<CheckedReadings, Vec<Problem>> {
    let unreadable =
        |error: std::io::Error| vec![Problem::error(Location::file(path), format!("cannot read: {error}"))];
    let bytes = std::fs::read(path).map_err(unreadable)?;
    let Ok(table) = whole_table::parse(&bytes, path) else { return read_file(path) };
    if table.column("draw_mm").is_none() || table.column("nominal_mm").is_some() {
        return read_bytes(path, &bytes);
    }
    let is_reading = |column: &String| {
        let column = column.to_lowercase();
        column.starts_with("reading") || column == "measured_mm"
    };
    if !table.columns.iter().any(is_reading) {
        let place = Location::file(path).line(table.header_line);
        return Err(vec![
            Problem::error(place, "the parts list has no column `measured_mm`")
                .help("add it, and type in what the caliper reads of the printed parts"),
        ]);
    }
    let in_own_words =
        |problems: Vec<Problem>| -> Vec<Problem> { problems.into_iter().map(renamed).collect() };
    let mut read = read_bytes(path, &as_sheet(&table)).map_err(in_own_words)?;
    read.warnings = in_own_words(std::mem::take(&mut read.warnings));
    // What was read is the file as it is, not as it was renamed.
    read.source.sha256 = crate::readings::sha256(&bytes);
    Ok(read)
}

/// The same rows on the same lines, under the names of a readings sheet.
fn as_sheet(table: &Table) -> Vec<u8> {
    let delimiter = char::from(table.delimiter);
    let quoted = |cell: &str| {
        if cell.contains([delimiter, '"', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.to_owned()
        }
    };
    let line_of = |cells: Vec<String>| cells.join(&delimiter.to_string());
    let in_sheet = |column: &String| {
        let known = COLUMNS.iter().find(|(list, _)| column.eq_ignore_ascii_case(list));
        quoted(known.map_or(column.as_str(), |(_, sheet)| sheet))
    };
    let mut text = String::new();
    let mut line = 1;
    let mut put = |text: &mut String, at: u64, content: &str| {
        while line < at {
            text.push('\n');
            line += 1;
        }
        text.push_str(content);
        text.push('\n');
        line += 1 + content.matches('\n').count() as u64;
    };
    let mut comments = table.comments.iter();
    for at in 1..table.header_line {
        let content = comments.next().map_or("", String::as_str);
        put(&mut text, at, content);
    }
    put(&mut text, table.header_line, &line_of(table.columns.iter().map(in_sheet).collect()));
    for row in &table.rows {
        put(&mut text, row.line, &line_of(row.cells.iter().map(|cell| quoted(cell)).collect()));
    }
    text.into_bytes()
}

/// A problem of the sheet in the words of the list.
fn renamed(mut problem: Problem) -> Problem {
    if let Some(column) = &mut problem.location.column
        && let Some((list, _)) = COLUMNS.iter().find(|(_, sheet)| sheet == column)
    {
        *column = (*list).to_owned();
    }
    for (list, sheet) in COLUMNS {
        problem.message = problem.message.replace(&format!("`{sheet}`"), &format!("`{list}`"));
    }
    problem
}

/// Why a file has no readings of the setup that is wanted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the readings are of {}, and the correction is of `{wanted}`", listed(found))]
pub struct OtherSetup {
    /// The setup that is wanted.
    pub wanted: String,
    /// Those that the file has.
    pub found: Vec<String>,
}

fn listed(setups: &[String]) -> String {
    let named: Vec<String> = setups.iter().take(5).map(|setup| format!("`{setup}`")).collect();
    let more = if setups.len() > named.len() { ", …" } else { "" };
    format!("{}{more}", named.join(", "))
}

/// The readings of the setup that is wanted; a file that names no setup is taken for it.
pub fn of_setup(readings: &CheckedReadings, wanted: &str) -> Result<SetupReadings, OtherSetup> {
    if let Some(setup) = readings.setups().find(|setup| setup.setup == wanted) {
        return Ok(setup);
    }
    let only = readings.setup(0).filter(|setup| readings.setup_count() == 1 && setup.setup == "unnamed");
    only.ok_or_else(|| OtherSetup {
        wanted: wanted.to_owned(),
        found: readings.setups().map(|setup| setup.setup).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Kind;

    const LIST: &str = "# date: 2026-12-04\npart;dimension;kind;target_mm;draw_mm;note;measured_mm\n\
                        carriage;rod bore;bore;8;8,23;\"a; b\";8,04\n\n\
                        foot;tongue;outer;6;;cannot be met;\n\
                        foot;rail;outer;20;19,93;;20,0o\n";

    fn read(text: &str) -> Result<CheckedReadings, Vec<Problem>> {
        let scratch = tempfile::tempdir().unwrap();
        let path = scratch.path().join("list.csv");
        std::fs::write(&path, text).unwrap();
        read_measured(&path)
    }

    #[test]
    fn a_parts_list_that_was_measured_back_is_a_readings_sheet() {
        let checked = read(&LIST.replace("20,0o", "20,03")).unwrap();
        let setup = of_setup(&checked, "petg").unwrap();
        let rows: Vec<_> = setup.features.iter().map(|f| (f.kind, f.nominal_mm, f.repeats.mean_mm)).collect();
        assert_eq!(rows, [(Kind::Bore, 8.23, 8.04), (Kind::Outer, 19.93, 20.03)]);
        assert_eq!(
            (setup.features[0].coupon.as_str(), setup.features[0].feature.as_str()),
            ("carriage", "rod bore")
        );
        assert_eq!(setup.features[1].repeats.lowest.line, 6);
        assert_eq!(checked.conditions.date.as_deref(), Some("2026-12-04"));
    }

    #[test]
    fn its_problems_are_told_by_its_own_lines_and_columns() {
        let problems = read(LIST).unwrap_err();
        assert!(problems[0].to_string().contains("list.csv:6: measured_mm: `20,0o`"), "{problems:?}");
        let problems = read(&LIST.replace("measured_mm", "remarks")).unwrap_err();
        assert!(problems[0].to_string().ends_with(
            "list.csv:2: the parts list has no column `measured_mm`\n  help: add it, and type in what the caliper reads of the printed parts"
        ), "{problems:?}");
    }

    #[test]
    fn readings_of_another_setup_are_refused_by_name() {
        let checked = read("setup,kind,nominal_mm,reading_mm\npla,bore,8,7.8\n").unwrap();
        let error = of_setup(&checked, "petg").unwrap_err();
        assert_eq!(error.to_string(), "the readings are of `pla`, and the correction is of `petg`");
    }
}
