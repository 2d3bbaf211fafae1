//! From readings of features to one observation each, with what repeats say of the reading itself.
//!
//! Repeats of one feature are one observation of the print: their mean. How they scatter (R) is pooled
//! over all features. A repeat that lies far from its siblings is a slip of reading and is set aside
//! before the mean is taken; with two repeats that disagree nobody knows yet which one is wrong, so both
//! are offered and the fit decides.

use crate::correction::{SetAside, SpreadEstimate};
use crate::kind::Kind;
use crate::readings::{FeatureReadings, Reading};

use super::Options;
use super::repeats::{jaws, settled};

/// One feature of one print, summarised.
#[derive(Clone, Debug)]
pub struct Cell {
    /// Mean of its readings less nominal, mm.
    pub deviation_mm: f64,
    /// How many readings are behind it.
    pub count: u32,
    /// What the reading adds to the variance of the mean, mm^2.
    pub reading_variance_mm2: f64,
    /// Two readings that disagree: either may be the slip.
    pub disputed: Option<[Reading; 2]>,
}

/// What the readings of one setup come to.
#[derive(Clone, Debug)]
pub struct Cells {
    /// One a feature and print, in the order of the readings.
    pub cells: Vec<Cell>,
    /// Spread of repeats, over all features; `None` when nothing was read twice.
    pub repeat: Option<SpreadEstimate>,
    /// Repeats that were set aside.
    pub set_aside: Vec<SetAside>,
}

/// Pooled repeats of one pair of jaws.
#[derive(Clone, Copy, Default)]
struct Pool {
    squares: f64,
    dof: f64,
}

impl Pool {
    fn variance(self) -> Option<f64> {
        (self.dof > 0.0).then(|| self.squares / self.dof)
    }
}

/// What reading `count` times adds to the variance of the mean, mm^2.
///
/// Repeats that scatter by less than one rounding all show the same digit: what the rounding hides is
/// then the same in each and does not average away.
fn reading_variance_mm2(repeat: Option<f64>, count: u32, resolution_mm: f64) -> f64 {
    let rounding = resolution_mm * resolution_mm / 12.0;
    match repeat {
        Some(variance) if variance > rounding => variance / f64::from(count),
        _ => rounding,
    }
}

/// Averages the repeats.
pub fn summarise(features: &[FeatureReadings], options: &Options, resolution_mm: f64) -> Cells {
    let mut set_aside = Vec::new();
    let mut pools = [Pool::default(); 2];
    let mut cells: Vec<Cell> = Vec::with_capacity(features.len());
    for (feature, settled) in features.iter().zip(settled(features, options.keep_all, resolution_mm)) {
        set_aside.extend(settled.slip);
        let repeats = settled.repeats;
        if settled.in_order && repeats.count > 1 {
            let pool = &mut pools[jaws(feature.kind)];
            pool.squares += repeats.sum_of_squares_mm2;
            pool.dof += f64::from(repeats.count - 1);
        }
        let mean = size_mm(feature, repeats.mean_mm, options);
        let (deviation_mm, disputed) = (mean - feature.nominal_mm, settled.disputed);
        cells.push(Cell { deviation_mm, count: repeats.count, reading_variance_mm2: 0.0, disputed });
    }
    let all = Pool { squares: pools[0].squares + pools[1].squares, dof: pools[0].dof + pools[1].dof };
    for (cell, feature) in cells.iter_mut().zip(features) {
        // Fewer than ten degrees of freedom are not enough to tell two pairs of jaws apart.
        let own = pools[jaws(feature.kind)];
        let pool = if own.dof >= 10.0 { own } else { all };
        cell.reading_variance_mm2 = reading_variance_mm2(pool.variance(), cell.count, resolution_mm);
    }
    let repeat = all.variance().map(|variance| SpreadEstimate { sd_mm: variance.sqrt(), dof: Some(all.dof) });
    Cells { cells, repeat, set_aside }
}

/// The size at 20 °C from what was read; of a bore, from what flat inside jaws read in it: they touch on a
/// chord.
///
/// Source: geometry, `d^2 = reading^2 + flat^2`, the flat measured across the bore.
pub fn size_mm(feature: &FeatureReadings, reading_mm: f64, options: &Options) -> f64 {
    let as_read = match (feature.kind, options.jaw_flat_mm) {
        (Kind::Bore | Kind::HorizontalBore, Some(flat)) => reading_mm.hypot(flat),
        _ => reading_mm,
    };
    as_read * options.to_reference
}
