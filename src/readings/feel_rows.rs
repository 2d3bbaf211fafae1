//! Rows of a sheet that says how the real piece felt; sheets without that column never come here.

use super::number;
use super::records::Row;
use super::rows::{Reader, is_size, not_a_number};
use super::trials::{Feel, Trial};

impl Reader<'_> {
    /// A row with a feel, with readings or without.
    pub(super) fn row_with_feel(&mut self, row: &Row<'_>) {
        let is_read = self.read_values(row);
        let (definition, copy, trial) = (self.definition(row), self.copy(row), self.trial(row));
        if let (Some(definition), Some(copy), Some(trial), true) = (definition, copy, trial, is_read) {
            self.keep_trial(row, Trial { definition, copy, ..trial });
            self.keep(row, definition, copy);
        }
        self.tell_problems();
    }

    /// How the row's feature felt with the real piece, or what is wrong with that.
    fn trial(&mut self, row: &Row<'_>) -> Option<Trial> {
        let feel = self.layout.feel.and_then(|column| self.word::<Feel>(row, column, "feel"));
        let mate_mm = self.mate_mm(row);
        let mate = self.layout.mate.map_or("", |column| row.trimmed(column)).into();
        let trial =
            Trial { setup: 0, definition: 0, copy: 0, line: row.line, feel: feel?, mate_mm: mate_mm?, mate };
        Some(trial)
    }

    /// The size of the real piece, which a feel cannot do without.
    fn mate_mm(&mut self, row: &Row<'_>) -> Option<f64> {
        const HELP: &str = "measure the shaft, bearing or belt that was tried, and write its size in mm";
        let text = self.layout.mate_mm.map_or("", |column| row.trimmed(column));
        let (Some(column), false) = (self.layout.mate_mm, text.is_empty()) else {
            let column = self.layout.mate_mm.or(self.layout.feel)?;
            let message = "a feel without the size of the piece that was tried, `mate_mm`".to_owned();
            self.problem(row, column, message, Some(HELP.to_owned()));
            return None;
        };
        let (message, help) = match number::parse(text) {
            Err(error) => {
                let (message, help) = not_a_number(&error);
                (message, help.filter(|help| help.starts_with("did you mean")).or(Some(HELP.to_owned())))
            }
            Ok(number) => {
                self.note_separator(number, row, column);
                if is_size(number.value) {
                    return Some(number.value);
                }
                (format!("`{text}` is no size of a piece"), Some(HELP.to_owned()))
            }
        };
        self.problem(row, column, message, help);
        None
    }

    /// Takes in a trial; a kind that nothing goes into or over has no feel.
    fn keep_trial(&mut self, row: &Row<'_>, trial: Trial) {
        let kind = self.definitions.list[trial.definition as usize].kind;
        if let (None, Some(column)) = (crate::fits::Side::of(kind), self.layout.feel) {
            let message = format!("a {kind} has no feel: nothing goes into it or over it");
            let help = "leave the cell blank, or correct the kind".to_owned();
            self.problem(row, column, message, Some(help));
            return;
        }
        let setup = self.setup(row);
        self.block.trials.push(Trial { setup, ..trial });
    }
}
