//! The file of a parts list to its lines, or every problem in it.
//!
//! A problem is what cannot be read: a missing column, an unknown kind, a word for a number, a decimal
//! comma in one line and a point in another.

use std::path::Path;

use crate::kind::{Axis, Kind};
use crate::problem::{Location, Problem};
use crate::tables::cells::{Cells, doubled_columns, missing_column, unused_columns};
use crate::tables::whole_table::{self, Table};

use super::parts_list::{PartLine, PartsList};
use super::seat::bought::BoughtPart;
use super::sized_list::ADDED;

/// The columns that mean something here.
const KNOWN: [&str; 13] = [
    "part",
    "dimension",
    "kind",
    "axis",
    "target_mm",
    "lower_mm",
    "upper_mm",
    "class",
    "fit",
    "mate",
    "mate_mm",
    "mate_lower_mm",
    "mate_upper_mm",
];

impl PartsList {
    /// From the bytes of a file, named `path` in problems.
    ///
    /// # Errors
    /// Every problem of the file, in file order.
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Self, Vec<Problem>> {
        let table = whole_table::parse(bytes, path)?;
        let problems = missing_columns(&table, path);
        if !problems.is_empty() {
            return Err(problems);
        }
        let mut cells = Cells::new(&table, path);
        let lines: Vec<PartLine> = (0..table.rows.len()).filter_map(|row| line(&mut cells, row)).collect();
        if table.rows.is_empty() {
            let problem = Problem::error(Location::file(path), "there are no rows below the header");
            cells.problems.push(problem.help("write a row for every dimension that has to fit"));
        }
        let decimal_comma = cells.has_decimal_comma();
        let problems = cells.into_problems();
        if !problems.is_empty() {
            return Err(problems);
        }
        // A list that was written by an earlier run is sized anew, and its answers are replaced.
        let warnings = unused_columns(&table, path, &KNOWN, &ADDED);
        Ok(Self { table, decimal_comma, lines, warnings })
    }
}

/// Columns without which no line says anything, and those that are there twice.
fn missing_columns(table: &Table, path: &Path) -> Vec<Problem> {
    let has = |name: &str| table.column(name).is_some();
    let has_size = has("target_mm") || has("mate") || has("mate_mm") || (has("lower_mm") && has("upper_mm"));
    let kind = (!has("kind")).then_some("kind");
    let size = (!has_size).then_some("target_mm");
    let missing = kind.into_iter().chain(size).map(|name| missing_column(table, path, name, &KNOWN));
    missing.chain(doubled_columns(table, path, &KNOWN)).collect()
}

fn line(cells: &mut Cells<'_>, row: usize) -> Option<PartLine> {
    let before = cells.problems.len();
    if !cells.has_its_cells(row) {
        return None;
    }
    let sold = sold(cells, row);
    let kind = match &sold {
        Some(part) if cells.text(row, "kind").is_empty() => Some(part.usual_kind()),
        _ => cells.word(row, "kind"),
    };
    let axis = cells.axis(row, kind);
    let mut read = PartLine {
        line: cells.line(row),
        part: cells.text(row, "part").to_owned(),
        dimension: cells.text(row, "dimension").to_owned(),
        kind: kind.unwrap_or(Kind::Bore),
        axis: axis.unwrap_or(Axis::Round),
        size: cells.number(row, "target_mm"),
        lower: cells.number(row, "lower_mm"),
        upper: cells.number(row, "upper_mm"),
        class: cells.text(row, "class").to_owned(),
        fit: cells.text(row, "fit").to_owned(),
        mate: cells.number(row, "mate_mm"),
        mate_lower: cells.number(row, "mate_lower_mm"),
        mate_upper: cells.number(row, "mate_upper_mm"),
        sold,
    };
    if read.sold.is_none() && read.mate.is_none() {
        // A plain size under `mate` is what `--mate 8` is.
        read.mate = cells.number(row, "mate");
    }
    (cells.problems.len() == before).then_some(read)
}

/// What is sold by a name; a plain size is read as a number.
pub(crate) fn sold(cells: &mut Cells<'_>, row: usize) -> Option<BoughtPart> {
    let text = cells.text(row, "mate");
    if !text.contains(':') {
        return None;
    }
    match text.parse::<BoughtPart>() {
        Ok(part) => Some(part),
        Err(error) => {
            cells.problem(row, "mate", error.to_string(), error.help());
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::named::NamedFits;
    use crate::units::Mm;

    fn parse(text: &str) -> Result<PartsList, Vec<String>> {
        PartsList::parse(text.as_bytes(), Path::new("parts.csv"))
            .map_err(|problems| problems.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn columns_come_in_any_order_with_any_separator_and_either_decimal_mark() {
        let plain = parse("part,dimension,kind,axis,target_mm,fit\nhub,bore,bore,,8.5,slide\n").unwrap();
        let other =
            parse("\u{feff}FIT;Target_MM;kind;dimension;part\r\nslide;8,5; Bore ;bore;hub\r\n").unwrap();
        assert_eq!(plain.lines, other.lines);
        assert_eq!((plain.decimal_comma, other.decimal_comma), (false, true));
        let aim = plain.lines[0].aim(&NamedFits::bundled()).unwrap();
        assert_eq!(aim.target, Mm::new(8.6).unwrap());
    }

    #[test]
    fn the_axis_is_round_and_for_a_height_z_where_the_file_does_not_say() {
        let list = parse("kind,axis,target_mm\nbore,,8\nheight,,8\ngap,y,8\n").unwrap();
        let axes: Vec<Axis> = list.lines.iter().map(|line| line.axis).collect();
        assert_eq!(axes, [Axis::Round, Axis::Z, Axis::Y]);
    }

    #[test]
    fn every_problem_of_the_file_is_told_in_one_go() {
        let text =
            "part,kind,axis,target_mm,lower_mm\nhub,boer,q,8.o5,\nhub,pin,,8,7;9\nhub,pin,,8,7.9,x,y\n";
        assert_eq!(
            parse(text).unwrap_err(),
            [
                "error: parts.csv:2: kind: `boer` is no kind; expected one of bore, horizontal_bore, pin, gap, \
                 outer, span, height\n  help: did you mean `bore`?",
                "error: parts.csv:2: axis: `q` is no axis; expected one of x, y, z, round, d45, d135\n  help: did you mean `x`?",
                "error: parts.csv:2: target_mm: `8.o5` is not a number\n  help: did you mean 8.05?",
                "error: parts.csv:3: lower_mm: `7;9` is not a number",
                "error: parts.csv:4: 7 cells, but the header has 5\n  \
                 help: put a cell that holds a separator in quotes",
            ]
        );
        assert_eq!(
            parse("kind;target_mm\nbore;8,5\npin;8.5\n").unwrap_err(),
            ["error: parts.csv:2: target_mm: a decimal comma here, and a decimal point on line 3\n  \
              help: write all numbers of the file in one way"]
        );
    }

    #[test]
    fn a_list_without_a_row_is_refused_and_an_earlier_answer_is_no_slip_of_the_pen() {
        assert_eq!(
            parse("kind,target_mm\n").unwrap_err(),
            ["error: parts.csv: there are no rows below the header\n  \
              help: write a row for every dimension that has to fit"]
        );
        let answered = "kind,target_mm,draw_mm,expected_mm,low95_mm,high95_mm,chance,note\nbore,8,8.2,,,,,\n";
        assert_eq!(parse(answered).unwrap().warnings, []);
    }

    #[test]
    fn missing_and_doubled_columns_are_named_with_what_may_be_meant() {
        assert_eq!(
            parse("# a\npart,kinds,target,part\n").unwrap_err(),
            [
                "error: parts.csv:2: there is no column `kind`\n  help: is it the column `kinds`?",
                "error: parts.csv:2: there is no column `target_mm`\n  help: is it the column `target`?",
                "error: parts.csv:2: two columns are called `part`",
            ]
        );
        let list = parse("kind,target_mm,clas,lower,colour\nbore,8,,,red\n").unwrap();
        let warnings: Vec<String> = list.warnings.iter().map(ToString::to_string).collect();
        assert_eq!(
            warnings,
            [
                "warning: parts.csv:1: clas: this column is kept and not used\n  help: if `class` is meant, call it so",
                "warning: parts.csv:1: lower: this column is kept and not used\n  help: if `lower_mm` is meant, call it so",
            ]
        );
    }
}
