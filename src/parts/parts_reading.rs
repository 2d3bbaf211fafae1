//! The file of a parts list to its lines, or every problem in it.
//!
//! A problem is what cannot be read: a missing column, an unknown kind, a word for a number, a decimal
//! comma in one line and a point in another.

use std::path::Path;

use crate::kind::{Axis, Kind, UnknownWord};
use crate::problem::{Location, Problem, nearest};
use crate::tables::whole_table::{self, Table};
use crate::units::Mm;

use super::parts_list::{PartLine, PartsList};
use super::sized_list::ADDED;

/// The columns that mean something here.
const KNOWN: [&str; 12] = [
    "part",
    "dimension",
    "kind",
    "axis",
    "target_mm",
    "lower_mm",
    "upper_mm",
    "class",
    "fit",
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
        let mut problems = missing_columns(&table, path);
        if !problems.is_empty() {
            return Err(problems);
        }
        let mut cells = Cells { table: &table, path, comma: None, point: None, problems: Vec::new() };
        let lines: Vec<PartLine> = (0..table.rows.len()).filter_map(|row| cells.line(row)).collect();
        if table.rows.is_empty() {
            let problem = Problem::error(Location::file(path), "there are no rows below the header");
            cells.problems.push(problem.help("write a row for every dimension that has to fit"));
        }
        let decimal_comma = cells.comma.is_some();
        cells.check_separators();
        problems = cells.problems;
        if !problems.is_empty() {
            return Err(problems);
        }
        let warnings = unused_columns(&table, path);
        Ok(Self { table, decimal_comma, lines, warnings })
    }
}

/// Columns without which no line says anything.
fn missing_columns(table: &Table, path: &Path) -> Vec<Problem> {
    let has = |name: &str| table.column(name).is_some();
    let mut missing = Vec::new();
    if !has("kind") {
        missing.push("kind");
    }
    let has_size = has("target_mm") || has("mate_mm") || (has("lower_mm") && has("upper_mm"));
    if !has_size {
        missing.push("target_mm");
    }
    let twice = KNOWN
        .into_iter()
        .filter(|name| table.columns.iter().filter(|column| column.eq_ignore_ascii_case(name)).count() > 1);
    let place = || Location::file(path).line(table.header_line);
    let twice: Vec<Problem> =
        twice.map(|name| Problem::error(place(), format!("two columns are called `{name}`"))).collect();
    let missing = missing.into_iter().map(|name| {
        let problem = Problem::error(place(), format!("there is no column `{name}`"));
        let unknown = table.columns.iter().map(String::as_str).filter(|column| !known(column));
        match nearest(name, unknown) {
            Some(column) => problem.help(format!("is it the column `{column}`?")),
            None => problem.help(format!("the columns are {}", KNOWN.join(", "))),
        }
    });
    missing.chain(twice).collect()
}

/// Columns that are kept and not used, where they look like one that would be.
fn unused_columns(table: &Table, path: &Path) -> Vec<Problem> {
    let absent = || KNOWN.into_iter().filter(|name| table.column(name).is_none());
    // A list that was written by an earlier run is sized anew, and its answers are replaced.
    let answer = |column: &str| ADDED.iter().any(|name| name.eq_ignore_ascii_case(column));
    let strange = table.columns.iter().filter(|column| !known(column) && !answer(column));
    let slips = strange.filter_map(|column| {
        let meant = nearest(column, absent())
            .or_else(|| absent().find(|name| *name == format!("{}_mm", column.to_lowercase())))?;
        let place = Location::file(path).line(table.header_line).column(column.clone());
        let problem = Problem::warning(place, "this column is kept and not used");
        Some(problem.help(format!("if `{meant}` is meant, call it so")))
    });
    slips.collect()
}

fn known(column: &str) -> bool {
    KNOWN.iter().any(|name| name.eq_ignore_ascii_case(column))
}

/// Reads the cells of a table and collects what is wrong with them.
struct Cells<'a> {
    table: &'a Table,
    path: &'a Path,
    /// Line and column of the first number with a decimal comma.
    comma: Option<(u64, &'static str)>,
    /// And of the first with a decimal point.
    point: Option<(u64, &'static str)>,
    problems: Vec<Problem>,
}

impl Cells<'_> {
    fn line(&mut self, row: usize) -> Option<PartLine> {
        let before = self.problems.len();
        let line = self.table.rows[row].line;
        if self.table.rows[row].cells.len() > self.table.columns.len() {
            let (cells, columns) = (self.table.rows[row].cells.len(), self.table.columns.len());
            let place = Location::file(self.path).line(line);
            let message = format!("{cells} cells, but the header has {columns}");
            let help = "put a cell that holds a separator in quotes";
            self.problems.push(Problem::error(place, message).help(help));
            return None;
        }
        let kind = self.word(row, "kind");
        let axis = match self.text(row, "axis") {
            "" => Some(kind.map_or(Axis::Round, Kind::unnamed_axis)),
            _ => self.word(row, "axis"),
        };
        let read = PartLine {
            line,
            part: self.text(row, "part").to_owned(),
            dimension: self.text(row, "dimension").to_owned(),
            kind: kind.unwrap_or(Kind::Bore),
            axis: axis.unwrap_or(Axis::Round),
            size: self.number(row, "target_mm"),
            lower: self.number(row, "lower_mm"),
            upper: self.number(row, "upper_mm"),
            class: self.text(row, "class").to_owned(),
            fit: self.text(row, "fit").to_owned(),
            mate: self.number(row, "mate_mm"),
            mate_lower: self.number(row, "mate_lower_mm"),
            mate_upper: self.number(row, "mate_upper_mm"),
        };
        (self.problems.len() == before).then_some(read)
    }

    fn text(&self, row: usize, column: &str) -> &str {
        self.table.cell(row, column)
    }

    fn problem(&mut self, row: usize, column: &str, message: String, help: Option<String>) {
        let place = Location::file(self.path).line(self.table.rows[row].line).column(column);
        self.problems.push(Problem::error(place, message).help_if(help));
    }

    fn word<T: std::str::FromStr<Err = UnknownWord>>(&mut self, row: usize, column: &str) -> Option<T> {
        match self.text(row, column).parse::<T>() {
            Ok(word) => Some(word),
            Err(error) => {
                let help = error.nearest.as_ref().map(|word| format!("did you mean `{word}`?"));
                self.problem(row, column, error.to_string(), help);
                None
            }
        }
    }

    fn number(&mut self, row: usize, column: &'static str) -> Option<Mm> {
        let text = self.text(row, column);
        if text.is_empty() {
            return None;
        }
        match whole_table::number(text) {
            Ok((value, separator)) => {
                let here = (self.table.rows[row].line, column);
                match separator {
                    Some(',') => _ = self.comma.get_or_insert(here),
                    Some(_) => _ = self.point.get_or_insert(here),
                    None => {}
                }
                Mm::new(value)
            }
            Err((message, help)) => {
                self.problem(row, column, message, help);
                None
            }
        }
    }

    /// A file that has both may have thousands separators, and then every guess is wrong.
    fn check_separators(&mut self) {
        if let Some(((comma_line, comma_column), (point_line, _))) = self.comma.zip(self.point) {
            let place = Location::file(self.path).line(comma_line).column(comma_column);
            let message = format!("a decimal comma here, and a decimal point on line {point_line}");
            let help = "write all numbers of the file in one way";
            self.problems.push(Problem::error(place, message).help(help));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::named::NamedFits;

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
