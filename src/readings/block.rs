//! One block of rows to readings and problems, with numbers and lines of its own.
//!
//! Blocks are read apart from each other, so that two can be read at once, and put together in file
//! order afterwards. The cells that say what is measured are understood once a block: rows that repeat
//! them letter by letter are recognised as they stand.

use crate::kind::{Axis, Kind, UnknownWord};
use crate::problem::{Location, Problem};

use super::intern::Interner;
use super::layout::{Layout, shortened};
use super::number::{self, NotANumber, Number, Separator};
use super::records::{Leftover, Row, Workspace, for_each_row};
use super::table::{Definition, Definitions, SetupTable};
use super::{Reading, slips};

/// More than this is no printed feature and no caliper. Picked by feel.
const LARGEST_MM: f64 = 2000.0;

/// More prints than this are a slip of the pen.
const MOST_COPIES: f64 = 1e6;

/// A list that keeps its first items and counts the rest.
#[derive(Debug)]
pub(super) struct First<T> {
    pub(super) kept: Vec<T>,
    pub(super) more: u64,
    limit: usize,
}

impl<T> First<T> {
    pub(super) fn of(limit: usize) -> Self {
        Self { kept: Vec::new(), more: 0, limit }
    }

    pub(super) fn push(&mut self, item: T) {
        if self.kept.len() < self.limit {
            self.kept.push(item);
        } else {
            self.more += 1;
        }
    }

    pub(super) fn append(&mut self, later: Self) {
        later.kept.into_iter().for_each(|item| self.push(item));
        self.more += later.more;
    }
}

/// A reading that a slip of the pen explains.
#[derive(Debug)]
pub(super) struct Doubt {
    pub(super) line: u64,
    pub(super) column: usize,
    /// The cell.
    pub(super) text: String,
    /// What was read, mm.
    pub(super) reading_mm: f64,
    pub(super) nominal_mm: f64,
    pub(super) slip: slips::Slip,
}

/// A cell to point at.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell {
    pub(super) line: u64,
    pub(super) column: usize,
    pub(super) text: String,
}

/// What a block holds.
#[derive(Debug)]
pub(super) struct Block {
    /// The setups in order of first appearance.
    pub(super) setups: Vec<(String, SetupTable)>,
    pub(super) definitions: Vec<Definition>,
    pub(super) problems: First<Problem>,
    pub(super) doubts: First<Doubt>,
    pub(super) readings: u64,
    pub(super) not_measured: u64,
    /// The first number with a decimal point, and with a decimal comma.
    pub(super) first_point: Option<Cell>,
    pub(super) first_comma: Option<Cell>,
    pub(super) leftover: Leftover,
}

/// Reads one block; `text` is UTF-8.
pub(super) fn read(text: &[u8], layout: &Layout, workspace: &mut Workspace, limits: Limits) -> Block {
    let mut reader = Reader::new(layout, limits);
    let columns = layout.names.len();
    let leftover = for_each_row(text, layout.delimiter, columns, workspace, |row| reader.row(row));
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

/// How many problems and doubts are kept; the rest is counted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    pub(super) problems: usize,
    pub(super) doubts: usize,
}

struct Reader<'a> {
    layout: &'a Layout,
    /// The columns that say what is measured, in file order, and whether they are neighbours.
    defining: Vec<usize>,
    are_neighbours: bool,
    /// The defining cells of a row as typed, and what they were understood as; `None`: not at all.
    typed: Interner,
    understood: Vec<Option<u32>>,
    definitions: Definitions,
    setup_names: Interner,
    /// The last row's setup as typed, and its number.
    last_setup: Option<(Vec<u8>, usize)>,
    key: Vec<u8>,
    values: Vec<(usize, f64)>,
    /// Problems of one row by column.
    row_problems: Vec<(usize, Problem)>,
    block: Block,
}

impl<'a> Reader<'a> {
    fn new(layout: &'a Layout, limits: Limits) -> Self {
        let columns = [Some(layout.kind), Some(layout.nominal), layout.coupon, layout.feature, layout.axis];
        let mut defining: Vec<usize> = columns.into_iter().flatten().collect();
        defining.sort_unstable();
        Self {
            layout,
            are_neighbours: defining.windows(2).all(|pair| pair[1] == pair[0] + 1),
            defining,
            typed: Interner::default(),
            understood: Vec::new(),
            definitions: Definitions::default(),
            setup_names: Interner::default(),
            last_setup: None,
            key: Vec::new(),
            values: Vec::new(),
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
            },
        }
    }

    #[inline]
    fn row(&mut self, row: Row<'_>) {
        if row.len() != self.layout.names.len() && !self.has_right_length(&row) {
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
        let cells = |count: usize| if count == 1 { "1 cell".to_owned() } else { format!("{count} cells") };
        let separator = Layout::separator_in_words(self.layout.delimiter);
        let message = format!("this row has {}, the header has {expected}", cells(row.len()));
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
    fn read_values(&mut self, row: &Row<'_>) -> bool {
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
        let mm = if self.layout.inches { value * 25.4 } else { value };
        if mm > 0.0 && mm <= LARGEST_MM {
            return Ok(mm);
        }
        Err(if mm > LARGEST_MM {
            (format!("`{{cell}}` is more than {LARGEST_MM} mm"), Some("a slipped decimal point?".to_owned()))
        } else {
            let help = "a reading is a size above 0; leave the cell blank where nothing was measured";
            ("`{cell}` is no size".to_owned(), Some(help.to_owned()))
        })
    }

    #[inline]
    fn note_separator(&mut self, number: Number, row: &Row<'_>, column: usize) {
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
    fn definition(&mut self, row: &Row<'_>) -> Option<u32> {
        let typed = if self.are_neighbours && row.plain {
            self.typed.number(row.stretch(self.defining[0], self.defining[self.defining.len() - 1]))
        } else {
            self.key.clear();
            for column in &self.defining {
                let cell = row.cell(*column);
                self.key.extend_from_slice(&cell.len().to_le_bytes());
                self.key.extend_from_slice(cell);
            }
            self.typed.number(&self.key)
        };
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

    /// Understands the defining cells, or says what is wrong with each.
    fn understand(&mut self, row: &Row<'_>) -> Option<u32> {
        let kind = self.word::<Kind>(row, self.layout.kind, "kind");
        let axis = match self.layout.axis {
            Some(column) if !row.trimmed(column).is_empty() => self.word::<Axis>(row, column, "axis"),
            // Only a height has one direction that goes without saying.
            _ if kind == Some(Kind::Height) => Some(Axis::Z),
            _ => Some(Axis::Round),
        };
        let nominal_mm = self.nominal(row);
        let (kind, axis, nominal_mm) = (kind?, axis?, nominal_mm?);
        let text = |column: Option<usize>| column.map_or("", |column| row.trimmed(column));
        let feature = match text(self.layout.feature) {
            "" => format!("{kind}-{axis}-{nominal_mm}").into(),
            name => name.into(),
        };
        let coupon = text(self.layout.coupon).into();
        Some(self.definitions.number(Definition { coupon, feature, kind, axis, nominal_mm }))
    }

    fn word<T: std::str::FromStr<Err = UnknownWord>>(
        &mut self,
        row: &Row<'_>,
        column: usize,
        what: &str,
    ) -> Option<T> {
        let text = row.trimmed(column);
        if text.is_empty() {
            self.problem(row, column, format!("the {what} is blank"), None);
            return None;
        }
        // `horizontal bore` and `horizontal-bore` are as good.
        match text.replace([' ', '-'], "_").parse::<T>() {
            Ok(word) => Some(word),
            Err(unknown) => {
                let message = format!("`{}` is no {what}", shortened(text));
                let help = match unknown.nearest {
                    // Any letter is one slip away from any other.
                    Some(nearest) if text.len() > 1 => format!("did you mean `{nearest}`?"),
                    _ => format!("expected one of {}", unknown.expected),
                };
                self.problem(row, column, message, Some(help));
                None
            }
        }
    }

    fn nominal(&mut self, row: &Row<'_>) -> Option<f64> {
        let column = self.layout.nominal;
        let text = row.trimmed(column);
        let (message, help) = match number::parse(text) {
            _ if text.is_empty() => ("the nominal size is blank".to_owned(), None),
            Err(error) => not_a_number(&error),
            Ok(number) => {
                self.note_separator(number, row, column);
                if number.value > 0.0 && number.value <= LARGEST_MM {
                    return Some(number.value);
                }
                let help = "write the size that the feature is drawn at, in mm".to_owned();
                (format!("`{{cell}}` is no nominal size: expected above 0 to {LARGEST_MM} mm"), Some(help))
            }
        };
        self.problem(row, column, message.replace("{cell}", text), help);
        None
    }

    /// Which print, 1 when the sheet does not say.
    #[inline]
    fn copy(&mut self, row: &Row<'_>) -> Option<u32> {
        let Some(column) = self.layout.copy else { return Some(1) };
        if let digits @ [b'1'..=b'9', ..] = row.cell(column)
            && digits.len() <= 6
            && digits.iter().all(u8::is_ascii_digit)
        {
            return Some(digits.iter().fold(0, |number, digit| number * 10 + u32::from(digit - b'0')));
        }
        let number = match number::plain(row.cell(column)) {
            Some(number) => Some(number),
            None => match row.trimmed(column) {
                "" => return Some(1),
                text => number::parse(text).ok(),
            },
        };
        let copy = number.map(|number| number.value);
        if let Some(copy) = copy.filter(|copy| (1.0..=MOST_COPIES).contains(copy) && copy.fract() == 0.0) {
            return Some(copy as u32);
        }
        let message = format!("`{}` is no number of a print", shortened(row.trimmed(column)));
        let help = "number the prints of a coupon 1, 2, 3, …".to_owned();
        self.problem(row, column, message, Some(help));
        None
    }

    /// Takes in the readings of a row without problems.
    #[inline]
    fn keep(&mut self, row: &Row<'_>, definition: u32, copy: u32) {
        let setup = self.setup(row);
        let nominal_mm = self.definitions.list[definition as usize].nominal_mm;
        for (column, mm) in &self.values {
            if slips::is_doubtful(*mm, nominal_mm)
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
    fn setup(&mut self, row: &Row<'_>) -> usize {
        let typed = self.layout.setup.map_or(&b""[..], |column| row.cell(column));
        if let Some((last, number)) = &self.last_setup
            && last == typed
        {
            return *number;
        }
        let name = match self.layout.setup.map_or("", |column| row.trimmed(column)) {
            "" => "unnamed",
            name => name,
        };
        let (number, is_new) = self.setup_names.number(name.as_bytes());
        if is_new {
            let table = self.last_setup.as_ref().map_or_else(SetupTable::default, |(_, last)| {
                // Setups of one file are mostly alike.
                SetupTable::as_large_as(&self.block.setups[*last].1)
            });
            self.block.setups.push((name.to_owned(), table));
        }
        self.last_setup = Some((typed.to_vec(), number));
        number
    }

    fn problem(&mut self, row: &Row<'_>, column: usize, message: String, help: Option<String>) {
        let place = Location::default().line(row.line).column(self.layout.names[column].as_str());
        let problem = Problem { help, ..Problem::error(place, message) };
        self.row_problems.push((column, problem));
    }
}

fn not_a_number(error: &NotANumber) -> (String, Option<String>) {
    (error.to_string(), error.help())
}
