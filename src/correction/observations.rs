//! From the readings of a setup to observations: the repeats of one feature of one print, averaged.
//!
//! Ten readings of one feature say more of the caliper and no more of the printer than three do, so a
//! feature of a print is one observation, whatever the number of its repeats. Observations of one kind
//! and one drawn size have the same row in the fit and are gathered in a cell.

use crate::kind::Kind;
use crate::readings::{FeatureReadings, Reading, SetupReadings};

use super::first_layer::is_at_the_bed;

/// One feature of one print.
#[derive(Clone, Debug)]
pub(super) struct Observation {
    /// Which of the setup's features.
    pub feature: usize,
    pub kind: Kind,
    pub nominal_mm: f64,
    /// Which print.
    pub copy: u32,
    /// How many readings are used.
    pub count: u32,
    /// Their mean.
    pub mean_mm: f64,
    /// Their squares about it.
    pub squares_mm2: f64,
    /// The smallest reading, where it is still used.
    pub lowest: Option<Reading>,
    /// The largest one.
    pub highest: Option<Reading>,
    /// Whether the fit uses the observation.
    pub used: bool,
}

impl Observation {
    fn new(feature: usize, readings: &FeatureReadings) -> Self {
        let repeats = &readings.repeats;
        Self {
            feature,
            kind: readings.kind,
            nominal_mm: readings.nominal_mm,
            copy: readings.copy,
            count: repeats.count,
            mean_mm: repeats.mean_mm,
            squares_mm2: repeats.sum_of_squares_mm2,
            lowest: Some(repeats.lowest),
            highest: Some(repeats.highest),
            used: true,
        }
    }

    pub fn deviation_mm(&self) -> f64 {
        self.mean_mm - self.nominal_mm
    }

    /// Takes one of its readings out of the mean; the last one takes the observation with it.
    pub fn without(&mut self, reading: Reading) {
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
        self.lowest = self.lowest.filter(|lowest| *lowest != reading);
        self.highest = self.highest.filter(|highest| *highest != reading);
    }
}

/// The observations that the fit is about: everything but what was measured at the bed.
pub(super) fn observations(setup: &SetupReadings) -> Vec<Observation> {
    let features = setup.features.iter().enumerate();
    features
        .filter(|(_, readings)| readings.repeats.count > 0 && !is_at_the_bed(&readings.feature))
        .map(|(at, readings)| Observation::new(at, readings))
        .collect()
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
    pub of: Vec<Option<usize>>,
}

impl Cells {
    pub fn gather(observations: &[Observation]) -> Self {
        let mut all: Vec<Cell> = Vec::with_capacity(64);
        let mut hint = 0;
        for seen in observations.iter().filter(|seen| seen.used) {
            hint = find(&all, seen, hint).unwrap_or_else(|place| {
                let (kind, nominal_mm) = (seen.kind, seen.nominal_mm);
                all.insert(place, Cell { kind, nominal_mm, count: 0, mean_mm: 0.0, squares_mm2: 0.0 });
                place
            });
        }
        let mut of = Vec::with_capacity(observations.len());
        for seen in observations {
            let place = if seen.used { find(&all, seen, hint).ok() } else { None };
            if let Some(place) = place {
                hint = place;
                let cell = &mut all[place];
                cell.count += 1;
                let from_mean = seen.deviation_mm() - cell.mean_mm;
                cell.mean_mm += from_mean / cell.count as f64;
                cell.squares_mm2 += from_mean * (seen.deviation_mm() - cell.mean_mm);
            }
            of.push(place);
        }
        Self { all, of }
    }

    /// The cells of each kind that was measured.
    pub fn by_kind(&self) -> impl Iterator<Item = &[Cell]> {
        self.all.chunk_by(|a, b| a.kind == b.kind)
    }
}

/// Where the cell of an observation is, or where it should be put. `hint` is where the observation before
/// it is: a print repeats the order of the one before, so the next cell is the likeliest.
fn find(all: &[Cell], seen: &Observation, hint: usize) -> Result<usize, usize> {
    let is_at = |place: usize| {
        all.get(place).is_some_and(|cell| cell.kind == seen.kind && cell.nominal_mm == seen.nominal_mm)
    };
    if is_at(hint + 1) {
        return Ok(hint + 1);
    }
    all.binary_search_by(|cell| cell.kind.cmp(&seen.kind).then(cell.nominal_mm.total_cmp(&seen.nominal_mm)))
}
