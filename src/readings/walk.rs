//! Rows that repeat, letter by letter, what rows before them said.
//!
//! Sheets go through the same features print after print. So a row most likely has the setup of the row
//! before, and measures either the same as that row or what followed on it the last time. Such a row is
//! walked through from left to right, comparing where text repeats and reading numbers where they
//! change, without looking for its cells first; a row that repeats all of the last one up to its first
//! reading from there on. A row that differs in anything at all is left to
//! the general way, which also says what is wrong with it.

use std::ops::Range;

use super::intern::Interner;
use super::layout::Layout;
use super::number::{self, Number};

/// What the columns hold, from left to right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    Setup,
    /// All the columns that say what is measured.
    Defining,
    Copy,
    Reading(usize),
    /// A note, or a column that nobody knows.
    Other,
}

/// What is expected of the next row.
#[derive(Debug, Default)]
pub(super) struct Walker {
    /// Empty where the defining columns are not neighbours, and where rows may have a feel or a stage: then no row
    /// is walked.
    steps: Vec<Step>,
    delimiter: u8,
    /// What the last row measures, by the number of its defining cells.
    last: usize,
    /// By such a number, what followed on it when last something else did.
    followers: Vec<usize>,
    /// The last row measures the same as the one before it.
    is_repeating: bool,
    /// How many steps there are before the first reading; 0 where what is measured is not told by then.
    before_readings: usize,
    /// The last row, where it was walked through.
    walked: Option<Before>,
}

/// A row up to its first reading.
#[derive(Clone, Debug)]
struct Before {
    text: Range<usize>,
    copy: u32,
}

/// A row that was walked through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Walked {
    /// Where the next row begins.
    pub(super) end: usize,
    /// The number of its defining cells.
    pub(super) typed: usize,
    /// Which print.
    pub(super) copy: u32,
    /// Where its first reading begins.
    readings: usize,
}

impl Walker {
    pub(super) fn new(layout: &Layout, defining: &[usize]) -> Self {
        let are_neighbours = defining.windows(2).all(|pair| pair[1] == pair[0] + 1);
        let step = |column: usize| match column {
            _ if Some(column) == layout.setup => Some(Step::Setup),
            _ if column == defining[0] => Some(Step::Defining),
            _ if defining.contains(&column) => None,
            _ if Some(column) == layout.copy => Some(Step::Copy),
            _ if layout.readings.contains(&column) => Some(Step::Reading(column)),
            _ => Some(Step::Other),
        };
        let steps = if are_neighbours && layout.feel.is_none() && layout.exposure.is_none() {
            (0..layout.names.len()).filter_map(step).collect()
        } else {
            Vec::new()
        };
        let readings = steps.iter().position(|step| matches!(step, Step::Reading(_)));
        let is_told = |before: &usize| steps[..*before].contains(&Step::Defining);
        Self {
            before_readings: readings.filter(is_told).unwrap_or_default(),
            steps,
            delimiter: layout.delimiter,
            ..Self::default()
        }
    }

    /// Notes what a row measures.
    #[inline]
    pub(super) fn note(&mut self, typed: usize) {
        self.walked = None;
        self.is_repeating = typed == self.last;
        if !self.is_repeating {
            if self.followers.len() <= self.last {
                self.followers.resize(self.last + 1, 0);
            }
            self.followers[self.last] = typed;
            self.last = typed;
        }
    }

    /// Notes the row that begins at `from` and was walked through.
    #[inline]
    pub(super) fn note_walked(&mut self, from: usize, walked: &Walked) {
        self.note(walked.typed);
        self.walked = Some(Before { text: from..walked.readings, copy: walked.copy });
    }

    /// Walks through the row of `text` that begins at `from`; its readings, as they are written, by column.
    ///
    /// `setup` is the last row's, as typed.
    #[inline]
    pub(super) fn walk(
        &self,
        text: &[u8],
        from: usize,
        setup: &[u8],
        typed: &Interner,
        values: &mut Vec<(usize, Number)>,
    ) -> Option<Walked> {
        values.clear();
        if text[from] == b'#' {
            return None;
        }
        let mut rest = &text[from..];
        let mut walked = Walked { end: 0, typed: self.last, copy: 1, readings: from };
        let mut done = 0;
        if let Some(before) = &self.walked
            && self.before_readings > 0
            && let Some(behind) = rest.strip_prefix(&text[before.text.clone()])
        {
            (rest, walked.copy, done) = (behind, before.copy, self.before_readings);
            walked.readings = text.len() - rest.len();
        }
        let (last, first) = self.steps[done..].split_last()?;
        for (step, at) in first.iter().zip(done..) {
            if at == self.before_readings {
                walked.readings = text.len() - rest.len();
            }
            rest = self.step(*step, rest, setup, typed, &mut walked, values)?;
            rest = rest.strip_prefix(&[self.delimiter])?;
        }
        if self.before_readings + 1 == self.steps.len() {
            walked.readings = text.len() - rest.len();
        }
        rest = self.step(*last, rest, setup, typed, &mut walked, values)?;
        rest = match rest {
            [b'\n', rest @ ..] | [b'\r', b'\n', rest @ ..] => rest,
            _ => return None,
        };
        walked.end = text.len() - rest.len();
        Some(walked)
    }

    /// The rest of the row behind what the step expects.
    #[inline]
    fn step<'a>(
        &self,
        step: Step,
        rest: &'a [u8],
        setup: &[u8],
        typed: &Interner,
        walked: &mut Walked,
        values: &mut Vec<(usize, Number)>,
    ) -> Option<&'a [u8]> {
        match step {
            Step::Setup => rest.strip_prefix(setup),
            Step::Defining => {
                let follower = self.followers.get(self.last).copied().unwrap_or(self.last);
                let (first, second) =
                    if self.is_repeating { (self.last, follower) } else { (follower, self.last) };
                walked.typed = first;
                // The one may begin like the other, so the end decides.
                let likely = rest.strip_prefix(typed.text(first)?).filter(|rest| self.is_at_end(rest));
                likely.or_else(|| {
                    walked.typed = second;
                    rest.strip_prefix(typed.text(second)?)
                })
            }
            Step::Copy => {
                let (copy, length) = number::whole(rest)?;
                walked.copy = copy;
                Some(&rest[length..])
            }
            Step::Reading(column) => {
                let (number, length) = number::leading(rest)?;
                values.push((column, number));
                Some(&rest[length..])
            }
            Step::Other => {
                let length = rest.iter().position(|byte| *byte == self.delimiter || *byte == b'\n')?;
                // A carriage return stays with the line end that it belongs to.
                Some(&rest[length - usize::from(length > 0 && rest[length - 1] == b'\r')..])
            }
        }
    }

    fn is_at_end(&self, rest: &[u8]) -> bool {
        rest.first().is_none_or(|byte| *byte == self.delimiter || *byte == b'\n' || *byte == b'\r')
    }
}
