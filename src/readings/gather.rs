//! A file, block by block, to all its readings: the blocks are read by as many threads as there are
//! cores, and put together in file order.
//!
//! Readings are added up one by one in file order, whatever the blocks and the number of threads, so the
//! result is the same to the last bit. Only the blocks at work are in memory, not the file.

use std::io::{self, Read};

use crate::cores;
use crate::problem::Problem;

use super::block::{Block, Cell, Doubt, First, Limits};
use super::exposure::Heading;
use super::intern::Interner;
use super::layout::Layout;
use super::records::{Leftover, Workspace, end_of_last_record};
use super::rows;
use super::table::{Definitions, SetupTable};
use super::trials::Trial;

/// Bytes of a block: fits the second-level cache of a core together with what is made of it.
pub(super) const BLOCK: usize = 256 * 1024;

/// Problems beyond these are counted and not kept; a longer list helps nobody.
pub(super) const MOST_PROBLEMS: usize = 10_000;

pub(super) const LIMITS: Limits = Limits { problems: MOST_PROBLEMS, doubts: 1_000 };

/// Why a file could not be gathered.
#[derive(Debug)]
pub(super) enum Interrupted {
    /// A block is not UTF-8.
    NotUtf8,
    /// The system refused to read on.
    Io(io::Error),
    /// The rows of a setup do not stand together, or are too many for one block.
    NotBySetup,
}

/// Everything that the rows say, in file order.
#[derive(Debug)]
pub(super) struct Gathered {
    pub(super) setups: Vec<(Heading, SetupTable)>,
    pub(super) definitions: Definitions,
    pub(super) totals: Totals,
    /// What was tried with the real piece.
    pub(super) trials: Vec<Trial>,
    setup_numbers: Interner,
}

/// What the rows say besides their readings.
#[derive(Debug)]
pub(super) struct Totals {
    pub(super) problems: First<Problem>,
    pub(super) doubts: First<Doubt>,
    pub(super) readings: u64,
    pub(super) not_measured: u64,
    pub(super) first_point: Option<Cell>,
    pub(super) first_comma: Option<Cell>,
    /// Rows that begin with `#`, and how many lines there were.
    pub(super) leftover: Leftover,
}

/// Reads the rows of a file, of which `head`, all below the header, was read already.
pub(super) fn gather<R: Read + Send>(
    threads: usize,
    head: Vec<u8>,
    rest: R,
    layout: &Layout,
) -> Result<Gathered, Interrupted> {
    let mut blocks = Blocks::new(head, rest);
    let cut = |text: &[u8]| end_of_last_record(text, layout.delimiter);
    let mut gathered = Gathered::new(layout);
    cores::in_order(
        threads,
        || blocks.next(usize::MAX, cut),
        Workspace::default,
        |workspace, text: Vec<u8>| {
            let is_text = std::str::from_utf8(&text).is_ok();
            is_text.then(|| rows::read(&text, layout, workspace, LIMITS)).ok_or(Interrupted::NotUtf8)
        },
        |block| {
            gathered.add(block?);
            Ok(())
        },
    )?;
    Ok(gathered)
}

/// A file as blocks of whole rows.
pub(super) struct Blocks<R> {
    rest: R,
    /// Read, and not handed out yet.
    carry: Vec<u8>,
    is_over: bool,
}

impl<R: Read> Blocks<R> {
    /// Of a file of which `head` was read already.
    pub(super) fn new(head: Vec<u8>, rest: R) -> Self {
        Self { rest, carry: head, is_over: false }
    }

    /// The next block, which ends where `cut` says that it may; `None` at the end of the file.
    ///
    /// Where it may end nowhere it is made longer, up to about `longest`.
    pub(super) fn next(
        &mut self,
        longest: usize,
        cut: impl Fn(&[u8]) -> Option<usize>,
    ) -> Result<Option<Vec<u8>>, Interrupted> {
        if self.is_over {
            return Ok(None);
        }
        let mut text = std::mem::take(&mut self.carry);
        let mut wanted = BLOCK;
        let end = loop {
            let missing = wanted.saturating_sub(text.len());
            text.reserve(missing);
            let got =
                (&mut self.rest).take(missing as u64).read_to_end(&mut text).map_err(Interrupted::Io)?;
            if got < missing {
                self.is_over = true;
                break text.len();
            }
            match cut(&text) {
                Some(end) => break end,
                None if text.len() >= longest => return Err(Interrupted::NotBySetup),
                // One row is longer than the block: a quote is not closed, or this is no sheet.
                None => wanted = text.len() * 2,
            }
        };
        self.carry.extend_from_slice(&text[end..]);
        text.truncate(end);
        Ok(if text.is_empty() { None } else { Some(text) })
    }
}

impl Gathered {
    fn new(layout: &Layout) -> Self {
        Self {
            setups: Vec::new(),
            definitions: Definitions::default(),
            totals: Totals::new(layout),
            trials: Vec::new(),
            setup_numbers: Interner::default(),
        }
    }

    /// Takes in the next block of the file.
    fn add(&mut self, mut block: Block) {
        let above = self.totals.leftover.lines;
        let definitions: Vec<u32> =
            block.definitions.drain(..).map(|definition| self.definitions.number(definition)).collect();
        let mut numbers = Vec::new();
        for (heading, table) in block.setups.drain(..) {
            let (number, is_new) = self.setup_numbers.number(&heading.key());
            let mut table = table.moved(&definitions, above);
            if is_new {
                table.forget_order();
                self.setups.push((heading, table));
            } else {
                self.setups[number].1.merge(&table);
            }
            numbers.push(number);
        }
        self.trials.extend(block.trials.drain(..).map(|trial| Trial {
            setup: numbers[trial.setup],
            definition: definitions[trial.definition as usize],
            line: trial.line + above,
            ..trial
        }));
        self.totals.add(block);
    }
}

impl Totals {
    /// Of no rows yet.
    pub(super) fn new(layout: &Layout) -> Self {
        Self {
            problems: First::of(LIMITS.problems),
            doubts: First::of(LIMITS.doubts),
            readings: 0,
            not_measured: 0,
            first_point: None,
            first_comma: None,
            leftover: Leftover { lines: layout.lines_above, ..Leftover::default() },
        }
    }

    /// Takes in the next block of the file.
    pub(super) fn add(&mut self, mut block: Block) {
        let above = self.leftover.lines;
        for problem in &mut block.problems.kept {
            problem.location.line = problem.location.line.map(|line| line + above);
        }
        self.problems.append(block.problems);
        block.doubts.kept.iter_mut().for_each(|doubt| doubt.line += above);
        self.doubts.append(block.doubts);
        self.readings += block.readings;
        self.not_measured += block.not_measured;
        let moved = |cell: Cell| Cell { line: cell.line + above, ..cell };
        self.first_point = self.first_point.take().or(block.first_point.map(moved));
        self.first_comma = self.first_comma.take().or(block.first_comma.map(moved));
        let first_commented = block.leftover.first_commented.map(|line| line + above);
        self.leftover = Leftover {
            lines: above + block.leftover.lines,
            commented: self.leftover.commented + block.leftover.commented,
            first_commented: self.leftover.first_commented.or(first_commented),
            open_quote: None,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::layout;

    /// Rows of every length, setups that come back, quotes and blank lines, over several blocks.
    fn sheet() -> Vec<u8> {
        let mut text = String::from("setup,feature,kind,nominal_mm,copy,reading_1_mm,reading_2_mm,note\n");
        for row in 0..40_000_u32 {
            let (setup, feature, copy) = (row / 700 % 13, row % 11, row % 7 + 1);
            let nominal = 3 + feature;
            let reading = f64::from(nominal * 100 + row * 7919 % 30) / 100.0;
            let note = match row % 1000 {
                500 => "\"two\nlines, quoted\"",
                501 => "\n",
                _ => "",
            };
            text += &format!(
                "S{setup},F{feature},bore,{nominal},{copy},{reading},{:.2},{note}\n",
                reading + 0.01
            );
        }
        text.into_bytes()
    }

    fn gathered(threads: usize, text: &[u8]) -> Gathered {
        let layout = layout::read(&text[..BLOCK.min(text.len())]).unwrap();
        gather(threads, text[layout.body..BLOCK].to_vec(), &text[BLOCK..], &layout).unwrap()
    }

    #[test]
    fn the_number_of_threads_changes_no_bit() {
        let text = sheet();
        assert!(text.len() > 4 * BLOCK);
        let one = gathered(1, &text);
        assert_eq!((one.setups.len(), one.totals.readings, one.totals.problems.kept.len()), (13, 80_000, 0));
        for threads in [2, 5] {
            let several = gathered(threads, &text);
            assert_eq!(one.setups, several.setups);
            assert_eq!(one.definitions.list, several.definitions.list);
            assert_eq!(one.totals.leftover, several.totals.leftover);
        }
    }

    #[test]
    fn lines_count_on_over_blocks() {
        let mut text = sheet();
        let lines = text.iter().filter(|byte| **byte == b'\n').count() as u64;
        text.extend_from_slice(b"S1,F1,bore,x,1,5,5,\n");
        let problems = gathered(2, &text).totals.problems.kept;
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].location.line, Some(lines + 1));
    }

    #[test]
    fn a_block_that_is_not_utf8_interrupts() {
        let mut text = sheet();
        let middle = text.len() / 2;
        text[middle] = 0xff;
        let layout = layout::read(&text[..BLOCK]).unwrap();
        let result = gather(2, text[layout.body..BLOCK].to_vec(), &text[BLOCK..], &layout);
        assert!(matches!(result, Err(Interrupted::NotUtf8)));
    }

    #[test]
    fn a_row_longer_than_a_block_is_still_one_row() {
        let mut text = b"kind,nominal_mm,reading_mm,note\nbore,5,5,\"".to_vec();
        text.resize(text.len() + 3 * BLOCK, b'x');
        text.extend_from_slice(b"\"\nbore,5,5.1,\n");
        let found = gathered(2, &text);
        assert_eq!((found.totals.readings, found.totals.leftover.lines), (2, 3));
    }
}
