//! The cells of a small table, read by column name, with every problem collected by line and column.
//!
//! What every list that a person writes shares: columns in any order and case, unknown ones kept, names that
//! look like a slip of the pen pointed out, decimal points or commas but not both in one file.

use std::path::Path;
use std::str::FromStr;

use crate::kind::{Axis, Kind, UnknownWord};
use crate::problem::{Location, Problem, nearest};
use crate::units::Mm;

use super::whole_table::{self, Table};

/// Reads the cells of a table and collects what is wrong with them.
pub(crate) struct Cells<'a> {
    table: &'a Table,
    path: &'a Path,
    /// Line and column of the first number with a decimal comma.
    comma: Option<(u64, &'static str)>,
    /// And of the first with a decimal point.
    point: Option<(u64, &'static str)>,
    /// What is wrong, in the order in which it was found.
    pub(crate) problems: Vec<Problem>,
}

impl<'a> Cells<'a> {
    /// The cells of `table`, which stands in the file `path`.
    pub(crate) fn new(table: &'a Table, path: &'a Path) -> Self {
        Self { table, path, comma: None, point: None, problems: Vec::new() }
    }

    /// Line of a row in the file, from 1.
    pub(crate) fn line(&self, row: usize) -> u64 {
        self.table.rows[row].line
    }

    /// The text of a cell; empty when it is blank or the column is not there.
    pub(crate) fn text(&self, row: usize, column: &str) -> &'a str {
        self.table.cell(row, column)
    }

    /// Whether a row has no more cells than the header; a problem otherwise.
    pub(crate) fn has_its_cells(&mut self, row: usize) -> bool {
        let (cells, columns) = (self.table.rows[row].cells.len(), self.table.columns.len());
        if cells > columns {
            let place = Location::file(self.path).line(self.line(row));
            let message = format!("{cells} cells, but the header has {columns}");
            let help = "put a cell that holds a separator in quotes";
            self.problems.push(Problem::error(place, message).help(help));
        }
        cells <= columns
    }

    /// Adds a problem of a cell.
    pub(crate) fn problem(&mut self, row: usize, column: &str, message: String, help: Option<String>) {
        let place = Location::file(self.path).line(self.line(row)).column(column);
        self.problems.push(Problem::error(place, message).help_if(help));
    }

    /// The kind or axis in a cell; `None` is a problem.
    pub(crate) fn word<T: FromStr<Err = UnknownWord>>(&mut self, row: usize, column: &str) -> Option<T> {
        match self.text(row, column).parse::<T>() {
            Ok(word) => Some(word),
            Err(error) => {
                let help = error.nearest.as_ref().map(|word| format!("did you mean `{word}`?"));
                self.problem(row, column, error.to_string(), help);
                None
            }
        }
    }

    /// The direction in the column `axis`, the kind's unnamed one where it is blank; one that the kind is not
    /// measured along is a problem.
    pub(crate) fn axis(&mut self, row: usize, kind: Option<Kind>) -> Option<Axis> {
        let axis = match self.text(row, "axis") {
            "" => Some(kind.map_or(Axis::Round, Kind::unnamed_axis)),
            _ => self.word(row, "axis"),
        };
        if let (Some(kind), Some(axis)) = (kind, axis)
            && let Some(why) = kind.refuses(axis)
        {
            let message = format!("{} are not measured along {axis}", kind.plural());
            self.problem(row, "axis", message, Some(why.to_owned()));
        }
        axis
    }

    /// The number in a cell; `None` when it is blank, or no number, which is a problem.
    pub(crate) fn number(&mut self, row: usize, column: &'static str) -> Option<Mm> {
        let text = self.text(row, column);
        if text.is_empty() {
            return None;
        }
        match whole_table::number(text) {
            Ok((value, separator)) => {
                let here = (self.line(row), column);
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

    /// Whether its numbers have a decimal comma.
    pub(crate) fn has_decimal_comma(&self) -> bool {
        self.comma.is_some()
    }

    /// Every problem. A file that has both decimal marks may have thousands separators, and then every guess
    /// is wrong: that is one as well.
    pub(crate) fn into_problems(mut self) -> Vec<Problem> {
        if let Some(((comma_line, comma_column), (point_line, _))) = self.comma.zip(self.point) {
            let place = Location::file(self.path).line(comma_line).column(comma_column);
            let message = format!("a decimal comma here, and a decimal point on line {point_line}");
            let help = "write all numbers of the file in one way";
            self.problems.push(Problem::error(place, message).help(help));
        }
        self.problems
    }
}

fn is_known(column: &str, known: &[&str]) -> bool {
    known.iter().any(|name| name.eq_ignore_ascii_case(column))
}

/// The problem that a column is missing.
pub(crate) fn missing_column(table: &Table, path: &Path, name: &str, known: &[&str]) -> Problem {
    let place = Location::file(path).line(table.header_line);
    let problem = Problem::error(place, format!("there is no column `{name}`"));
    let unknown = table.columns.iter().map(String::as_str).filter(|column| !is_known(column, known));
    match nearest(name, unknown) {
        Some(column) => problem.help(format!("is it the column `{column}`?")),
        None => problem.help(format!("the columns are {}", known.join(", "))),
    }
}

/// Columns that mean something and are there twice.
pub(crate) fn doubled_columns(table: &Table, path: &Path, known: &[&str]) -> Vec<Problem> {
    let count = |name: &str| table.columns.iter().filter(|column| column.eq_ignore_ascii_case(name)).count();
    let twice = known.iter().filter(|name| count(name) > 1);
    let place = || Location::file(path).line(table.header_line);
    twice.map(|name| Problem::error(place(), format!("two columns are called `{name}`"))).collect()
}

/// Columns that are kept and not used, where they look like one that would be; those of `ours` are not meant.
pub(crate) fn unused_columns(table: &Table, path: &Path, known: &[&str], ours: &[&str]) -> Vec<Problem> {
    let absent = || known.iter().copied().filter(|name| table.column(name).is_none());
    let strange = table.columns.iter().filter(|column| !is_known(column, known) && !is_known(column, ours));
    let slips = strange.filter_map(|column| {
        let meant = nearest(column, absent())
            .or_else(|| absent().find(|name| *name == format!("{}_mm", column.to_lowercase())))?;
        let place = Location::file(path).line(table.header_line).column(column.clone());
        let problem = Problem::warning(place, "this column is kept and not used");
        Some(problem.help(format!("if `{meant}` is meant, call it so")))
    });
    slips.collect()
}
