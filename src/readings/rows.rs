//! Rows to readings: what is measured, which print, which setup, and what is wrong with a row.
//!
//! The cells that say what is measured are understood once a block: rows that repeat them letter by
//! letter are recognised as they stand.

use crate::problem::{Location, Problem, counted};

use super::block::{Block, Cell, Doubt, First, Limits};
use super::exposure::Heading;
use super::intern::Interner;
use super::layout::Layout;
use super::number::{self, NotANumber, Number, Separator};
use super::records::{Leftover, Row, RowReader, Workspace, read_rows};
use super::table::{Definitions, SetupTable};
use super::walk::Walker;
use super::{Reading, slips};

/// More than this is no printed feature and no caliper. Picked by feel.
pub(super) const LARGEST_MM: f64 = 2000.0;

pub(super) fn is_size(mm: f64) -> bool {
    mm > 0.0 && mm <= LARGEST_MM
}

pub(super) const MM_PER_INCH: f64 = 25.4;

/// More prints than this are a slip of the pen.
pub(super) const MOST_COPIES: f64 = 1e6;

/// Reads one block; `text` is UTF-8.
pub(super) fn read(text: &[u8], layout: &Layout, workspace: &mut Workspace, limits: Limits) -> Block {
    let mut reader = Reader::new(layout, limits);
    let columns = layout.names.len();
    let leftover = read_rows(text, layout.delimiter, columns, workspace, &mut reader);
    if let Some(line) = leftover.open_quote {
        let problem = Problem::error(
            Location::default().line(line),
            "a quote is opened here and never closed; what follows is not read",
        );
        reader.block.problems.push(problem.help("close it, or delete it"));
    }
    let mut block = reader.block;
    block.definitions = reader.definitions.list;
    block.leftover = leftover;
    for (_, table) in &mut block.setups {
        table.finish();
    }
    block
}

/// Reads the rows of one block.
pub(super) struct Reader<'a> {
    pub(super) layout: &'a Layout,
    /// The columns that say what is measured, in file order.
    defining: Vec<usize>,
    walker: Walker,
    /// The defining cells of a row as typed, and what they were understood as; `None`: not at all.
    typed: Interner,
    understood: Vec<Option<u32>>,
    pub(super) definitions: Definitions,
    setup_names: Interner,
    /// The last row's setup as typed, and its number.
    last_setup: Option<(Vec<u8>, usize)>,
    key: Vec<u8>,
    values: Vec<(usize, f64)>,
    walked_values: Vec<(usize, Number)>,
    /// Problems of one row by column.
    row_problems: Vec<(usize, Problem)>,
    pub(super) block: Block,
}

impl RowReader for Reader<'_> {
    fn expected_row(&mut self, text: &[u8], from: usize, line: u64) -> Option<usize> {
        let (setup, number) = self.last_setup.as_ref()?;
        let walked = self.walker.walk(text, from, setup, &self.typed, &mut self.walked_values)?;
        let definition = *self.understood.get(walked.typed)?.as_ref()?;
        let nominal_mm = self.definitions.list[definition as usize].nominal_mm;
        for (_, read) in &mut self.walked_values {
            let is_known = match read.separator {
                Separator::None => true,
                Separator::Point => self.block.first_point.is_some(),
                Separator::Comma => self.block.first_comma.is_some(),
            };
            let mm = if self.layout.inches { read.value * MM_PER_INCH } else { read.value };
            // What is to be said of a row is said in the general way.
            if !is_known || !is_size(mm) || slips::is_doubtful(mm, nominal_mm) {
                return None;
            }
            read.value = mm;
        }
        self.walker.note_walked(from, &walked);
        let table = &mut self.block.setups[*number].1;
        for (_, read) in &self.walked_values {
            table.add(definition, walked.copy, Reading { mm: read.value, line });
        }
        self.block.readings += self.walked_values.len() as u64;
        Some(walked.end)
    }

    fn row(&mut self, row: Row<'_>) {
        if row.len() != self.layout.names.len() && !self.has_right_length(&row) {
            return;
        }
        if self.layout.feel.is_some_and(|column| !row.trimmed(column).is_empty()) {
            self.row_with_feel(&row);
            return;
        }
        let is_read = self.read_values(&row);
        if self.values.is_empty() && is_read {
            if !row.is_blank_from(0) {
                self.block.not_measured += 1;
            }
            return;
        }
        let definition = self.definition(&row);
        let copy = self.copy(&row);
        if let (Some(definition), Some(copy), true) = (definition, copy, is_read) {
            self.keep(&row, definition, copy);
        }
        self.tell_problems();
    }
}

impl<'a> Reader<'a> {
    fn new(layout: &'a Layout, limits: Limits) -> Self {
        let columns = [Some(layout.kind), Some(layout.nominal), layout.coupon, layout.feature, layout.axis];
        let mut defining: Vec<usize> = columns.into_iter().flatten().collect();
        defining.sort_unstable();
        Self {
            layout,
            walker: Walker::new(layout, &defining),
            defining,
            typed: Interner::default(),
            understood: Vec::new(),
            definitions: Definitions::default(),
            setup_names: Interner::default(),
            last_setup: None,
            key: Vec::new(),
            values: Vec::new(),
            walked_values: Vec::new(),
            row_problems: Vec::new(),
            block: Block {
                setups: Vec::new(),
                definitions: Vec::new(),
                problems: First::of(limits.problems),
                doubts: First::of(limits.doubts),
                readings: 0,
                not_measured: 0,
                first_point: None,
                first_comma: None,
                leftover: Leftover::default(),
                trials: Vec::new(),
            },
        }
    }

    /// Moves the row's problems to the block's, in the order of their columns.
    pub(super) fn tell_problems(&mut self) {
        if !self.row_problems.is_empty() {
            self.row_problems.sort_by_key(|(column, _)| *column);
            for (_, problem) in self.row_problems.drain(..) {
                self.block.problems.push(problem);
            }
        }
    }

    /// Whether the row can be read although it has more cells than the header: blank ones at its end.
    /// Says what is wrong when it cannot.
    fn has_right_length(&mut self, row: &Row<'_>) -> bool {
        let expected = self.layout.names.len();
        if row.is_blank_from(expected) && (row.len() > expected || row.is_blank_from(0)) {
            return row.len() > expected;
        }
        let separator = Layout::separator_in_words(self.layout.delimiter);
        let message =
            format!("this row has {}, the header has {expected}", counted(row.len() as u64, "cell"));
        let problem = Problem::error(Location::default().line(row.line), message);
        let help = match self.layout.better_separator(&row.rejoined(self.layout.delimiter)) {
            Some(other) => {
                format!("separators are mixed: this row separates cells with {other}, the header with {separator}")
            }
            None if row.len() > expected && self.layout.delimiter == b',' => {
                "write decimals with a point where columns are separated with `,`, and put a note that holds a \
                 `,` in quotes"
                    .to_owned()
            }
            None => format!("separate every cell with {separator}, blank ones too"),
        };
        self.block.problems.push(problem.help(help));
        false
    }

    /// The readings of a row, mm; whether all its cells that are not blank could be read.
    #[inline]
    pub(super) fn read_values(&mut self, row: &Row<'_>) -> bool {
        self.values.clear();
        let layout = self.layout;
        let mut is_read = true;
        for column in &layout.readings {
            let cell = row.cell(*column);
            if cell.is_empty() {
                continue;
            }
            let number = match number::plain(cell) {
                Some(number) => Ok(number),
                None => match row.trimmed(*column) {
                    "" => continue,
                    text => number::parse(text),
                },
            };
            let value = number.map_err(|error| not_a_number(&error)).and_then(|number| {
                self.note_separator(number, row, *column);
                self.reading(number.value)
            });
            match value {
                Ok(mm) => self.values.push((*column, mm)),
                Err((message, help)) => {
                    is_read = false;
                    let message = message.replace("{cell}", row.trimmed(*column));
                    self.problem(row, *column, message, help);
                }
            }
        }
        is_read
    }

    /// A reading in mm, when it can be one.
    #[inline]
    fn reading(&self, value: f64) -> Result<f64, (String, Option<String>)> {
        let mm = if self.layout.inches { value * MM_PER_INCH } else { value };
        if is_size(mm) {
            return Ok(mm);
        }
        Err(if mm > LARGEST_MM {
            (format!("`{{cell}}` is more than {LARGEST_MM} mm"), Some("a slipped decimal point?".to_owned()))
        } else {
            let help = "a reading is a size above 0; leave the cell blank where nothing was measured";
            ("`{cell}` is no size".to_owned(), Some(help.to_owned()))
        })
    }

    /// Notes with which decimal separator a number is written.
    #[inline]
    pub(super) fn note_separator(&mut self, number: Number, row: &Row<'_>, column: usize) {
        let first = match number.separator {
            Separator::None => return,
            Separator::Point => &mut self.block.first_point,
            Separator::Comma => &mut self.block.first_comma,
        };
        if first.is_none() {
            *first = Some(Cell { line: row.line, column, text: row.trimmed(column).to_owned() });
        }
    }

    /// The number of what this row says is measured.
    #[inline]
    pub(super) fn definition(&mut self, row: &Row<'_>) -> Option<u32> {
        let (first, last) = (self.defining[0], self.defining[self.defining.len() - 1]);
        let typed = if row.plain && last - first + 1 == self.defining.len() {
            self.typed.number(row.stretch(first, last))
        } else {
            self.key.clear();
            for column in &self.defining {
                let cell = row.cell(*column);
                self.key.extend_from_slice(&cell.len().to_le_bytes());
                self.key.extend_from_slice(cell);
            }
            self.typed.number(&self.key)
        };
        self.walker.note(typed.0);
        match typed {
            (number, false) if self.understood[number].is_some() => self.understood[number],
            (_, false) => self.understand(row),
            (_, true) => {
                let understood = self.understand(row);
                self.understood.push(understood);
                understood
            }
        }
    }

    /// Takes in the readings of a row without problems.
    #[inline]
    pub(super) fn keep(&mut self, row: &Row<'_>, definition: u32, copy: u32) {
        let setup = self.setup(row);
        let nominal_mm = self.definitions.list[definition as usize].nominal_mm;
        // What heat has deformed may lie anywhere, and no slip explains it.
        let is_as_printed = self.block.setups[setup].0.is_as_printed();
        for (column, mm) in &self.values {
            if is_as_printed
                && slips::is_doubtful(*mm, nominal_mm)
                && let Some(slip) = slips::likely(*mm, nominal_mm)
            {
                self.block.doubts.push(Doubt {
                    line: row.line,
                    column: *column,
                    text: row.trimmed(*column).to_owned(),
                    reading_mm: *mm,
                    nominal_mm,
                    slip,
                });
            }
            let reading = Reading { mm: *mm, line: row.line };
            self.block.setups[setup].1.add(definition, copy, reading);
        }
        self.block.readings += self.values.len() as u64;
    }

    /// The number of the row's setup.
    #[inline]
    pub(super) fn setup(&mut self, row: &Row<'_>) -> usize {
        let typed = self.layout.setup.map_or(&b""[..], |column| row.cell(column));
        if let Some((last, number)) = &self.last_setup
            && self.layout.exposure.is_none()
            && last == typed
        {
            return *number;
        }
        let setup = self.layout.setup.map_or("", |column| row.trimmed(column));
        let heading = Heading::new(setup, self.layout.exposure, |column| row.trimmed(column));
        let (number, is_new) = self.setup_names.number(&heading.key());
        if is_new {
            let table = self.last_setup.as_ref().map_or_else(SetupTable::default, |(_, last)| {
                // Setups of one file are mostly alike.
                SetupTable::as_large_as(&self.block.setups[*last].1)
            });
            self.block.setups.push((heading, table));
        }
        let (last, of_last) = self.last_setup.get_or_insert_default();
        last.clear();
        last.extend_from_slice(typed);
        *of_last = number;
        number
    }

    /// Notes a problem of a cell.
    pub(super) fn problem(&mut self, row: &Row<'_>, column: usize, message: String, help: Option<String>) {
        let place = Location::default().line(row.line).column(self.layout.names[column].as_str());
        let problem = Problem { help, ..Problem::error(place, message) };
        self.row_problems.push((column, problem));
    }
}

pub(super) fn not_a_number(error: &NotANumber) -> (String, Option<String>) {
    (error.to_string(), error.help())
}
