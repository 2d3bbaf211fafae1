//! From the readings of a setup to observations: the repeats of one feature of one print, averaged.
//!
//! Ten readings of one feature say more of the caliper and no more of the printer than three do, so a
//! feature of a print is one observation, whatever the number of its repeats. Observations of one kind
//! and one drawn size have the same row in the fit and are gathered in a cell.

use crate::coupon::feature::is_fitted;
use crate::kind::Kind;
use crate::readings::{Reading, SetupView};

/// One feature of one print.
#[derive(Clone, Debug)]
pub(super) struct Observation {
    pub nominal_mm: f64,
    /// Mean of the readings that are used, as read.
    pub mean_mm: f64,
    /// Their squares about it.
    pub squares_mm2: f64,
    /// How many they are.
    pub count: u32,
    /// Which of the setup's features.
    pub feature: u32,
    /// Which print.
    pub copy: u32,
    pub kind: Kind,
    /// Whether the feature's smallest reading is still used.
    has_lowest: bool,
    /// Whether the largest one is.
    has_highest: bool,
    /// Whether the fit uses the observation.
    pub used: bool,
    /// Readings times this are sizes at 20 °C.
    to_reference: f64,
}

impl Observation {
    /// Mean size at 20 °C.
    pub fn size_mm(&self) -> f64 {
        self.mean_mm * self.to_reference
    }

    pub fn deviation_mm(&self) -> f64 {
        self.size_mm() - self.nominal_mm
    }

    /// Its smallest and its largest reading, where they are still used.
    pub fn ends(&self, setup: SetupView<'_>) -> [Option<Reading>; 2] {
        let repeats = setup.repeats(self.feature as usize);
        [self.has_lowest.then_some(repeats.lowest), self.has_highest.then_some(repeats.highest)]
    }

    /// Takes one of its readings out of the mean; the last one takes the observation with it.
    pub fn without(&mut self, reading: Reading, setup: SetupView<'_>) {
        if self.count <= 1 {
            self.used = false;
            return;
        }
        let n = f64::from(self.count);
        let from_mean = reading.mm - self.mean_mm;
        self.count -= 1;
        self.mean_mm -= from_mean / (n - 1.0);
        self.squares_mm2 = if self.count == 1 {
            0.0
        } else {
            (self.squares_mm2 - n / (n - 1.0) * from_mean * from_mean).max(0.0)
        };
        [self.has_lowest, self.has_highest] =
            self.ends(setup).map(|end| end.is_some_and(|end| end != reading));
    }
}

/// The observations that the fit is about: everything but what was measured at the bed or on a sagging arm.
/// Readings times `to_reference` are sizes at 20 °C.
pub(super) fn observations(setup: SetupView<'_>, to_reference: f64) -> Vec<Observation> {
    let mut observations = Vec::with_capacity(setup.len());
    for (at, readings) in setup.features() {
        let repeats = setup.repeats(at);
        if repeats.count > 0 && is_fitted(readings.feature) {
            observations.push(Observation {
                nominal_mm: readings.nominal_mm,
                mean_mm: repeats.mean_mm,
                squares_mm2: repeats.sum_of_squares_mm2,
                count: repeats.count,
                feature: at as u32,
                copy: readings.copy,
                kind: readings.kind,
                has_lowest: true,
                has_highest: true,
                used: true,
                to_reference,
            });
        }
    }
    observations
}

/// All used observations of one kind and one drawn size.
#[derive(Clone, Debug)]
pub(super) struct Cell {
    pub kind: Kind,
    pub nominal_mm: f64,
    pub count: u64,
    /// Mean deviation.
    pub mean_mm: f64,
    /// Squares of the deviations about it.
    pub squares_mm2: f64,
}

/// The cells, by kind and by size, and which one each observation is in.
#[derive(Clone, Debug, Default)]
pub(super) struct Cells {
    pub all: Vec<Cell>,
    /// For every observation its cell; for one that is not used, none.
    of: Vec<Option<u32>>,
}

impl Cells {
    pub fn gather(observations: &[Observation]) -> Self {
        let mut gathering = Gathering::for_at_most(observations.len());
        let mut of: Vec<Option<u32>> =
            observations.iter().map(|seen| seen.used.then(|| gathering.take(seen))).collect();
        let mut places = vec![0; gathering.cells.len()];
        for (place, number) in gathering.sorted.iter().enumerate() {
            places[*number as usize] = place as u32;
        }
        of.iter_mut().flatten().for_each(|number| *number = places[*number as usize]);
        let all = gathering.sorted.iter().map(|number| gathering.cells[*number as usize].clone()).collect();
        Self { all, of }
    }

    /// The cell of observation number `at`; `None` when it was not used.
    #[inline]
    pub fn of(&self, at: usize) -> Option<usize> {
        self.of[at].map(|cell| cell as usize)
    }

    /// The cells of each kind that was measured.
    pub fn by_kind(&self) -> impl Iterator<Item = &[Cell]> {
        self.all.chunk_by(|a, b| a.kind == b.kind)
    }
}

/// Hardly a setup has more kinds and sizes.
const USUAL_CELLS: usize = 64;

/// Cells while observations come in, by number in order of first appearance.
///
/// A print repeats the order of the one before, so the cell that followed this one before is the
/// likeliest to follow it again.
struct Gathering {
    cells: Vec<Cell>,
    /// The cell that followed each one.
    followers: Vec<u32>,
    /// The numbers, by kind and by size.
    sorted: Vec<u32>,
    last: u32,
}

impl Gathering {
    /// With room for the cells of so many observations.
    fn for_at_most(observations: usize) -> Self {
        let cells = observations.min(USUAL_CELLS);
        Self {
            cells: Vec::with_capacity(cells),
            followers: Vec::with_capacity(cells),
            sorted: Vec::with_capacity(cells),
            last: 0,
        }
    }

    /// Takes in one observation; the number of its cell.
    #[inline]
    fn take(&mut self, seen: &Observation) -> u32 {
        let likely = self.followers.get(self.last as usize).copied().unwrap_or_default();
        let is_it = |cell: &Cell| cell.kind == seen.kind && cell.nominal_mm == seen.nominal_mm;
        let number =
            if self.cells.get(likely as usize).is_some_and(is_it) { likely } else { self.find(seen) };
        self.last = number;
        let cell = &mut self.cells[number as usize];
        cell.count += 1;
        let from_mean = seen.deviation_mm() - cell.mean_mm;
        cell.mean_mm += from_mean / cell.count as f64;
        cell.squares_mm2 += from_mean * (seen.deviation_mm() - cell.mean_mm);
        number
    }

    /// The number of an observation's cell, which is made when it is the first one there.
    fn find(&mut self, seen: &Observation) -> u32 {
        let (kind, nominal_mm) = (seen.kind, seen.nominal_mm);
        let place = self.sorted.binary_search_by(|number| {
            let cell = &self.cells[*number as usize];
            cell.kind.cmp(&kind).then(cell.nominal_mm.total_cmp(&nominal_mm))
        });
        let number = match place {
            Ok(place) => self.sorted[place],
            Err(place) => {
                let number = self.cells.len() as u32;
                self.cells.push(Cell { kind, nominal_mm, count: 0, mean_mm: 0.0, squares_mm2: 0.0 });
                self.followers.push(0);
                self.sorted.insert(place, number);
                number
            }
        };
        self.followers[self.last as usize] = number;
        number
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(kind: Kind, nominal_mm: f64, deviation_mm: f64, used: bool) -> Observation {
        Observation {
            nominal_mm,
            mean_mm: nominal_mm + deviation_mm,
            squares_mm2: 0.0,
            count: 1,
            feature: 0,
            copy: 1,
            kind,
            has_lowest: true,
            has_highest: true,
            used,
            to_reference: 1.0,
        }
    }

    #[test]
    fn cells_are_sorted_whatever_the_order_of_the_rows() {
        let rows = [
            (Kind::Span, 8.0, true),
            (Kind::Bore, 8.0, true),
            (Kind::Bore, 4.0, true),
            (Kind::Span, 8.0, true),
            // The order of the print before is broken here.
            (Kind::Bore, 4.0, true),
            (Kind::Bore, 16.0, false),
            (Kind::Bore, 8.0, true),
        ];
        let deviations = [0.5, 0.25, 0.0, 1.0, 0.25, 7.0, 0.5];
        let observations: Vec<Observation> = rows
            .iter()
            .zip(deviations)
            .map(|((kind, nominal_mm, used), deviation_mm)| seen(*kind, *nominal_mm, deviation_mm, *used))
            .collect();
        let cells = Cells::gather(&observations);
        let all: Vec<_> = cells
            .all
            .iter()
            .map(|cell| (cell.kind, cell.nominal_mm, cell.count, cell.mean_mm, cell.squares_mm2))
            .collect();
        assert_eq!(
            all,
            [
                (Kind::Bore, 4.0, 2, 0.125, 0.03125),
                (Kind::Bore, 8.0, 2, 0.375, 0.03125),
                (Kind::Span, 8.0, 2, 0.75, 0.125)
            ]
        );
        let of: Vec<_> = (0..rows.len()).map(|at| cells.of(at)).collect();
        assert_eq!(of, [Some(2), Some(1), Some(0), Some(2), Some(0), None, Some(1)]);
    }
}
