//! Readings summarised as they are read, and kept small.
//!
//! A sheet of a million rows has few different features, so what is measured is kept once and named by
//! a number. One reading of one feature of one print takes 24 bytes; only features that were read
//! more than once take a summary besides, of 40. Lines are kept in four bytes: those behind the four
//! thousand millionth are called by its number. Mean and sum of squares are carried along one reading at
//! a time; what a block read is added to what was read before in the same way.
//!
//! Source: B. P. Welford, Technometrics 4 (1962) 419.

use crate::kind::{Axis, Kind};

use super::intern::{Interner, mix};
use super::{FeatureReadings, Name, Reading, Repeats, SetupReadings};

impl Repeats {
    /// A summary of one reading.
    pub fn of(reading: Reading) -> Self {
        Self { count: 1, mean_mm: reading.mm, sum_of_squares_mm2: 0.0, lowest: reading, highest: reading }
    }

    /// Takes in one more reading. Of equal extremes the first is kept.
    pub fn add(&mut self, reading: Reading) {
        self.count = self.count.saturating_add(1);
        let from_old_mean = reading.mm - self.mean_mm;
        self.mean_mm += from_old_mean / f64::from(self.count);
        self.sum_of_squares_mm2 += from_old_mean * (reading.mm - self.mean_mm);
        if reading.mm < self.lowest.mm {
            self.lowest = reading;
        }
        if reading.mm > self.highest.mm {
            self.highest = reading;
        }
    }

    /// Takes in the readings behind a later summary.
    pub fn merge(&mut self, later: &Self) {
        let (own, others) = (f64::from(self.count), f64::from(later.count));
        let between = later.mean_mm - self.mean_mm;
        self.count = self.count.saturating_add(later.count);
        let all = own + others;
        self.mean_mm += between * (others / all);
        self.sum_of_squares_mm2 += later.sum_of_squares_mm2 + between * between * (own * others / all);
        if later.lowest.mm < self.lowest.mm {
            self.lowest = later.lowest;
        }
        if later.highest.mm > self.highest.mm {
            self.highest = later.highest;
        }
    }
}

/// What is measured.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Definition {
    pub(super) coupon: Box<str>,
    pub(super) feature: Box<str>,
    pub(super) kind: Kind,
    pub(super) axis: Axis,
    pub(super) nominal_mm: f64,
}

/// Everything that is measured, by number.
#[derive(Debug, Default)]
pub(super) struct Definitions {
    pub(super) list: Vec<Definition>,
    numbers: Interner,
    key: Vec<u8>,
}

impl Definitions {
    /// The number of this definition.
    pub(super) fn number(&mut self, definition: Definition) -> u32 {
        self.key.clear();
        self.key.extend_from_slice(&definition.coupon.len().to_le_bytes());
        self.key.extend_from_slice(definition.coupon.as_bytes());
        self.key.extend_from_slice(definition.feature.as_bytes());
        self.key.extend_from_slice(&[definition.kind as u8, definition.axis as u8]);
        self.key.extend_from_slice(&definition.nominal_mm.to_bits().to_le_bytes());
        let (number, is_new) = self.numbers.number(&self.key);
        if is_new {
            self.list.push(definition);
        }
        number as u32
    }
}

/// The readings of one feature of one print.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Entry {
    /// The reading, or the mean of several, mm.
    mm: f64,
    /// Number of what is measured.
    pub(super) definition: u32,
    /// Which print.
    pub(super) copy: u32,
    /// Line of the first reading.
    line: u32,
    /// Where the summary is when there is more than one reading, plus one; 0 when there is not.
    summary: u32,
}

impl Entry {
    /// Line of the first reading.
    pub(super) fn line(&self) -> u64 {
        self.line.into()
    }
}

/// What there is of several readings besides their mean.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Summary {
    sum_of_squares_mm2: f64,
    lowest_mm: f64,
    highest_mm: f64,
    lowest_line: u32,
    highest_line: u32,
    count: u32,
}

fn kept_line(line: u64) -> u32 {
    u32::try_from(line).unwrap_or(u32::MAX)
}

impl Summary {
    fn of(repeats: &Repeats) -> Self {
        Self {
            sum_of_squares_mm2: repeats.sum_of_squares_mm2,
            lowest_mm: repeats.lowest.mm,
            highest_mm: repeats.highest.mm,
            lowest_line: kept_line(repeats.lowest.line),
            highest_line: kept_line(repeats.highest.line),
            count: repeats.count,
        }
    }

    fn repeats(&self, mean_mm: f64) -> Repeats {
        Repeats {
            count: self.count,
            mean_mm,
            sum_of_squares_mm2: self.sum_of_squares_mm2,
            lowest: Reading { mm: self.lowest_mm, line: self.lowest_line.into() },
            highest: Reading { mm: self.highest_mm, line: self.highest_line.into() },
        }
    }
}

/// The readings of one setup.
#[derive(Clone, Debug, Default)]
pub(super) struct SetupTable {
    pub(super) entries: Vec<Entry>,
    summaries: Vec<Summary>,
    /// Every reading of what was read more than once, in file order, with the entry's number: two
    /// summaries put together would differ in the last bit from one of all.
    singly: Vec<(u32, Reading)>,
    /// A power of two of slots, 0 or the number of an entry plus one; empty when it must be made, and of
    /// a table so small that it is looked through.
    index: Vec<u32>,
}

/// Tables of no more entries are looked through: of a hundred thousand setups nearly all are.
const LOOKED_THROUGH: usize = 40;

impl PartialEq for SetupTable {
    /// The index and the order of repeats are means to an end.
    fn eq(&self, other: &Self) -> bool {
        self.entries == other.entries && self.summaries == other.summaries
    }
}

impl SetupTable {
    /// An empty table with room for as much as there is in another.
    pub(super) fn as_large_as(other: &Self) -> Self {
        Self {
            entries: Vec::with_capacity(other.entries.len()),
            summaries: Vec::with_capacity(other.summaries.len()),
            singly: Vec::with_capacity(other.singly.len()),
            index: Vec::with_capacity(other.index.len()),
        }
    }

    /// The summary of an entry's readings.
    #[inline]
    pub(super) fn repeats(&self, entry: &Entry) -> Repeats {
        match entry.summary {
            0 => Repeats::of(Reading { mm: entry.mm, line: entry.line.into() }),
            summary => self.summaries[summary as usize - 1].repeats(entry.mm),
        }
    }

    /// The features that were read more than once, with their summaries.
    pub(super) fn repeated(&self) -> impl Iterator<Item = (&Entry, Repeats)> {
        let entries = if self.summaries.is_empty() { &[] } else { &self.entries[..] };
        let repeated = entries.iter().filter(|entry| entry.summary != 0);
        repeated.map(|entry| (entry, self.repeats(entry)))
    }

    /// Takes in one reading.
    #[inline]
    pub(super) fn add(&mut self, definition: u32, copy: u32, reading: Reading) {
        match self.find(definition, copy) {
            Ok(known) => {
                let entry = &self.entries[known];
                if entry.summary == 0 {
                    let first = Reading { mm: entry.mm, line: entry.line.into() };
                    self.singly.push((known as u32, first));
                }
                self.singly.push((known as u32, reading));
                self.add_to(known, |repeats| repeats.add(reading));
            }
            Err(slot) => {
                let line = kept_line(reading.line);
                self.push(Entry { mm: reading.mm, definition, copy, line, summary: 0 }, slot);
            }
        }
    }

    fn push(&mut self, entry: Entry, slot: Option<usize>) {
        make_room(&mut self.entries);
        self.entries.push(entry);
        if let Some(slot) = slot {
            self.index[slot] = self.entries.len() as u32;
        }
    }

    /// Changes the summary of an entry.
    #[inline]
    fn add_to(&mut self, entry: usize, add: impl FnOnce(&mut Repeats)) {
        let mut repeats = self.repeats(&self.entries[entry]);
        add(&mut repeats);
        let summary = Summary::of(&repeats);
        let entry = &mut self.entries[entry];
        entry.mm = repeats.mean_mm;
        if entry.summary == 0 {
            make_room(&mut self.summaries);
            self.summaries.push(summary);
            entry.summary = self.summaries.len() as u32;
        } else {
            self.summaries[entry.summary as usize - 1] = summary;
        }
    }

    /// The entry of a feature of a print, or the free slot for it where there is an index.
    #[inline]
    fn find(&mut self, definition: u32, copy: u32) -> Result<usize, Option<usize>> {
        let is_it = |entry: &Entry| entry.definition == definition && entry.copy == copy;
        // Repeats mostly stand on neighbouring rows.
        if self.entries.last().is_some_and(is_it) {
            return Ok(self.entries.len() - 1);
        }
        if self.entries.len() < LOOKED_THROUGH {
            return self.entries.iter().position(is_it).ok_or(None);
        }
        if self.entries.len() * 2 >= self.index.len() {
            self.make_index();
        }
        let mut slot = first_slot(definition, copy, self.index.len());
        loop {
            match self.index[slot] {
                0 => return Err(Some(slot)),
                taken if is_it(&self.entries[taken as usize - 1]) => return Ok(taken as usize - 1),
                _ => slot = (slot + 1) & (self.index.len() - 1),
            }
        }
    }

    fn make_index(&mut self) {
        let size = (self.entries.len() * 4).max(self.index.capacity()).next_power_of_two();
        self.index.clear();
        self.index.resize(size, 0);
        for (number, entry) in self.entries.iter().enumerate() {
            let mut slot = first_slot(entry.definition, entry.copy, size);
            while self.index[slot] != 0 {
                slot = (slot + 1) & (size - 1);
            }
            self.index[slot] = number as u32 + 1;
        }
    }

    /// Gives up what is only needed while a block's readings come in.
    pub(super) fn finish(&mut self) {
        self.index = Vec::new();
    }

    /// Gives up what is only needed to be merged into another table.
    pub(super) fn forget_order(&mut self) {
        self.singly = Vec::new();
        self.entries.shrink_to_fit();
        self.summaries.shrink_to_fit();
    }

    /// The same readings with definitions numbered anew, on lines that come `lines` later in the file.
    pub(super) fn moved(mut self, definitions: &[u32], lines: u64) -> Self {
        let move_down = |line: &mut u32| *line = kept_line(u64::from(*line) + lines);
        for entry in &mut self.entries {
            entry.definition = definitions[entry.definition as usize];
            move_down(&mut entry.line);
        }
        for summary in &mut self.summaries {
            move_down(&mut summary.lowest_line);
            move_down(&mut summary.highest_line);
        }
        self.singly.iter_mut().for_each(|(_, reading)| reading.line += lines);
        self
    }

    /// Takes in the readings of a block that comes later in the file, one by one: the result is the table
    /// of all of them to the last bit.
    pub(super) fn merge(&mut self, block: &Self) {
        let known = self.take_in(block, |own, repeats| {
            if repeats.count == 1 {
                own.add(repeats.lowest);
            }
        });
        for (entry, reading) in &block.singly {
            if let Some(own) = known[*entry as usize] {
                self.add_to(own, |repeats| repeats.add(*reading));
            }
        }
    }

    /// Takes in a whole table, of which only summaries are left.
    pub(super) fn join(&mut self, later: &Self) {
        self.take_in(later, |own, repeats| own.merge(&repeats));
    }

    /// Takes in what is new, hands what is known to `add`, and gives for each entry the known one.
    fn take_in(&mut self, later: &Self, add: impl Fn(&mut Repeats, Repeats)) -> Vec<Option<usize>> {
        let one = |entry: &Entry| match self.find(entry.definition, entry.copy) {
            Ok(own) => {
                self.add_to(own, |repeats| add(repeats, later.repeats(entry)));
                Some(own)
            }
            Err(slot) => {
                self.push(Entry { summary: 0, ..*entry }, slot);
                if entry.summary != 0 {
                    make_room(&mut self.summaries);
                    self.summaries.push(later.summaries[entry.summary as usize - 1]);
                    let last = self.entries.len() - 1;
                    self.entries[last].summary = self.summaries.len() as u32;
                }
                None
            }
        };
        later.entries.iter().map(one).collect()
    }

    /// The readings in the shape that a fit takes.
    pub(super) fn expand(&self, setup: &str, definitions: &[Definition]) -> SetupReadings {
        let mut names = Names::default();
        let features = self.entries.iter().map(|entry| {
            let definition = &definitions[entry.definition as usize];
            let (coupon, feature) = names.of(entry.definition, definition);
            FeatureReadings {
                coupon,
                feature,
                kind: definition.kind,
                axis: definition.axis,
                nominal_mm: definition.nominal_mm,
                copy: entry.copy,
                repeats: self.repeats(entry),
            }
        });
        SetupReadings { setup: setup.to_owned(), features: features.collect() }
    }
}

/// Names of one setup's coupons and features, so that those who use them share them.
///
/// One slot for many definitions: a name that lost its slot is made anew.
#[derive(Default)]
struct Names {
    slots: Vec<Option<(u32, Name, Name)>>,
}

impl Names {
    const SLOTS: usize = 256;

    fn of(&mut self, number: u32, definition: &Definition) -> (Name, Name) {
        if self.slots.is_empty() {
            self.slots.resize(Self::SLOTS, None);
        }
        let slot = &mut self.slots[number as usize % Self::SLOTS];
        if let Some((known, coupon, feature)) = slot
            && *known == number
        {
            return (coupon.clone(), feature.clone());
        }
        let (coupon, feature): (Name, Name) = ((&*definition.coupon).into(), (&*definition.feature).into());
        *slot = Some((number, coupon.clone(), feature.clone()));
        (coupon, feature)
    }
}

/// Makes room for one more, by few at a time: a hundred thousand tables grow side by side.
#[inline]
fn make_room<T>(list: &mut Vec<T>) {
    if list.len() == list.capacity() {
        list.reserve_exact(if list.len() < MANY { FEW } else { list.len() / 2 });
    }
}

/// Longer lists grow by the half.
const MANY: usize = 64;
/// By so many shorter lists grow.
const FEW: usize = 4;

#[inline]
fn first_slot(definition: u32, copy: u32, size: usize) -> usize {
    let hash = mix(0, u64::from(definition) << 32 | u64::from(copy));
    (hash >> (64 - size.trailing_zeros())) as usize
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn reading(mm: f64, line: u64) -> Reading {
        Reading { mm, line }
    }

    #[test]
    fn a_summary_is_the_mean_and_the_squares_about_it() {
        let mut repeats = Repeats::of(reading(5.0, 2));
        repeats.add(reading(5.2, 3));
        repeats.add(reading(4.9, 4));
        assert_eq!(repeats.count, 3);
        assert!((repeats.mean_mm - 15.1 / 3.0).abs() < 1e-15);
        // (25 + 27.04 + 24.01) - 15.1^2 / 3
        assert!((repeats.sum_of_squares_mm2 - 0.14 / 3.0).abs() < 1e-14);
        assert_eq!((repeats.lowest, repeats.highest), (reading(4.9, 4), reading(5.2, 3)));
    }

    #[test]
    fn a_table_finds_each_feature_of_each_print_again() {
        check_a_table_of_many(SetupTable::default());
        // What a table is made as large as says nothing of what is in it.
        let mut other = SetupTable::default();
        (0..60).for_each(|definition| other.add(definition, 1, reading(5.0, 1)));
        check_a_table_of_many(SetupTable::as_large_as(&other));
    }

    fn check_a_table_of_many(mut table: SetupTable) {
        for round in 0..3 {
            for copy in 1..200 {
                for definition in 0..10 {
                    let mm = f64::from(definition * 1000 + copy) + f64::from(round);
                    table.add(definition, copy, reading(mm, 1));
                }
            }
        }
        assert_eq!(table.entries.len(), 1990);
        for entry in &table.entries {
            let repeats = table.repeats(entry);
            assert_eq!(repeats.count, 3);
            assert_eq!(repeats.mean_mm, f64::from(entry.definition * 1000 + entry.copy) + 1.0);
        }
    }

    proptest! {
        #[test]
        fn a_summary_is_that_of_its_readings(values in prop::collection::vec(1.0..100.0_f64, 2..40)) {
            let mut repeats = Repeats::of(reading(values[0], 1));
            values[1..].iter().for_each(|mm| repeats.add(reading(*mm, 1)));
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
            prop_assert_eq!(repeats.count as usize, values.len());
            prop_assert!((repeats.mean_mm - mean).abs() < 1e-12);
            prop_assert!((repeats.sum_of_squares_mm2 - squares).abs() < 1e-9);
            prop_assert_eq!(repeats.lowest.mm, values.iter().copied().fold(f64::INFINITY, f64::min));
            prop_assert_eq!(repeats.highest.mm, values.iter().copied().fold(0.0, f64::max));
        }

        #[test]
        fn a_table_put_together_from_two_halves_is_the_table_of_the_whole(
            rows in prop::collection::vec((0_u32..4, 1_u32..3, 1.0..100.0_f64), 1..60), cut in 0_usize..60,
        ) {
            let cut = cut.min(rows.len());
            let table = |rows: &[(u32, u32, f64)]| {
                let mut table = SetupTable::default();
                for (definition, copy, mm) in rows {
                    table.add(*definition, *copy, reading(*mm, 1));
                }
                table
            };
            let (mut merged, all) = (table(&rows[..cut]), table(&rows));
            merged.merge(&table(&rows[cut..]));
            let unfolded = |table: &SetupTable| -> Vec<(u32, u32, Repeats)> {
                table.entries.iter().map(|entry| (entry.definition, entry.copy, table.repeats(entry))).collect()
            };
            prop_assert_eq!(unfolded(&merged), unfolded(&all));
        }
    }
}
