//! From readings of features to one observation each, with what repeats say of the reading itself.
//!
//! Repeats of one feature are one observation of the print: their mean. How they scatter (R) is pooled
//! over all features. A repeat that lies far from its siblings is a slip of reading and is set aside
//! before the mean is taken; with two repeats that disagree nobody knows yet which one is wrong, so both
//! are offered and the fit decides.

use crate::correction::{SetAside, SpreadEstimate};
use crate::kind::Kind;
use crate::readings::{FeatureReadings, Reading, Repeats};
use crate::stats::robust::median;

use super::Options;

/// A repeat beyond this many standard deviations from its siblings is a slip: where the bisquare's
/// weight reaches zero; among 120 readings one in three thousand sets is wrong by chance.
pub const CUT: f64 = 4.685;

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

/// Which jaws read a kind: inside jaws scatter more.
fn jaws(kind: Kind) -> usize {
    usize::from(matches!(kind, Kind::Bore | Kind::HorizontalBore | Kind::Gap))
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
    let least = resolution_mm / 12f64.sqrt();
    let rough = [0, 1].map(|pair| rough_repeat_sd(features, pair).map(|sd| sd.max(least)));
    let mut pools = [Pool::default(); 2];
    let mut cells: Vec<Cell> = Vec::with_capacity(features.len());
    for feature in features {
        let mut repeats = feature.repeats;
        let mut disputed = None;
        if let (Some(sd), false) = (rough[jaws(feature.kind)], options.keep_all) {
            if repeats.count == 2 {
                let apart = repeats.highest.mm - repeats.lowest.mm;
                if apart > CUT * sd * std::f64::consts::SQRT_2 {
                    disputed = Some([repeats.lowest, repeats.highest]);
                }
            } else {
                match extreme(&repeats, sd) {
                    Extreme::Fits => {}
                    Extreme::HeldIn(held) => repeats = held,
                    Extreme::Slip(slip, left) => {
                        set_aside.push(SetAside {
                            line: slip.line,
                            reading_mm: slip.mm,
                            reason: format!(
                                "reads {:+.3} mm from the {} other readings of the same feature, {:.1} times their spread",
                                slip.mm - left.mean_mm,
                                left.count,
                                (slip.mm - left.mean_mm).abs() / sd,
                            ),
                        });
                        repeats = left;
                    }
                }
            }
        }
        let dof = f64::from(repeats.count.saturating_sub(1));
        // Readings that disagree among themselves beyond repair say nothing of how reading scatters.
        let in_order =
            rough[jaws(feature.kind)].is_none_or(|sd| repeats.sum_of_squares_mm2 <= dof * (CUT * sd).powi(2));
        if disputed.is_none() && dof > 0.0 && (in_order || options.keep_all) {
            let pool = &mut pools[jaws(feature.kind)];
            pool.squares += repeats.sum_of_squares_mm2;
            pool.dof += dof;
        }
        let mean = bore_size_mm(feature, repeats.mean_mm, options);
        let deviation_mm = mean - feature.nominal_mm;
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

/// The size of a bore from what flat inside jaws read in it: they touch on a chord.
///
/// Source: geometry, `d^2 = reading^2 + flat^2`, the flat measured across the bore.
pub fn bore_size_mm(feature: &FeatureReadings, reading_mm: f64, options: &Options) -> f64 {
    match (feature.kind, options.jaw_flat_mm) {
        (Kind::Bore | Kind::HorizontalBore, Some(flat)) => reading_mm.hypot(flat),
        _ => reading_mm,
    }
}

/// A spread of repeats that slips cannot move: the median over features of their sample variances.
fn rough_repeat_sd(features: &[FeatureReadings], pair: usize) -> Option<f64> {
    let repeated =
        |of: usize| move |feature: &&FeatureReadings| feature.repeats.count > 1 && jaws(feature.kind) == of;
    let enough = features.iter().filter(repeated(pair)).count() >= 5;
    let repeated = features
        .iter()
        .filter(|feature| feature.repeats.count > 1 && (!enough || jaws(feature.kind) == pair));
    let mut variances: Vec<f64> = repeated
        .map(|feature| {
            let dof = f64::from(feature.repeats.count - 1);
            // Median of chi-square over its mean: Wilson and Hilferty 1931.
            feature.repeats.sum_of_squares_mm2 / dof / (1.0 - 2.0 / (9.0 * dof)).powi(3)
        })
        .collect();
    median(&mut variances).map(f64::sqrt)
}

/// What becomes of an extreme reading among its siblings.
enum Extreme {
    /// It is one of them.
    Fits,
    /// It is far out, but not so far that it must be a slip: it counts as if it lay at the edge.
    HeldIn(Repeats),
    /// Its siblings disown it; what is left without it.
    Slip(Reading, Repeats),
}

/// Beyond this many standard deviations from its siblings a repeat counts as if it lay just there.
/// Judged: one reading in eighty of a normal spread.
const EDGE: f64 = 2.5;

fn extreme(repeats: &Repeats, sd: f64) -> Extreme {
    if repeats.count < 3 {
        return Extreme::Fits;
    }
    let others = f64::from(repeats.count - 1);
    let mean_of_others = |reading: Reading| (repeats.mean_mm * (others + 1.0) - reading.mm) / others;
    let distance = |reading: Reading| reading.mm - mean_of_others(reading);
    let (low, high) = (distance(repeats.lowest), distance(repeats.highest));
    let (reading, away) = if high > -low { (repeats.highest, high) } else { (repeats.lowest, low) };
    let expected = sd * (1.0 + 1.0 / others).sqrt();
    if away.abs() <= EDGE * expected {
        return Extreme::Fits;
    }
    let gone = away * away * others / (others + 1.0);
    let left = Repeats {
        count: repeats.count - 1,
        mean_mm: mean_of_others(reading),
        sum_of_squares_mm2: (repeats.sum_of_squares_mm2 - gone).max(0.0),
        ..*repeats
    };
    // When the others disagree as well, this one is not the one that is wrong.
    if (left.sum_of_squares_mm2 / (others - 1.0)).sqrt() > CUT * sd {
        return Extreme::Fits;
    }
    if away.abs() > CUT * expected {
        return Extreme::Slip(reading, left);
    }
    let held = EDGE * expected * away.signum();
    Extreme::HeldIn(Repeats {
        mean_mm: left.mean_mm + held / (others + 1.0),
        sum_of_squares_mm2: left.sum_of_squares_mm2 + held * held * others / (others + 1.0),
        ..*repeats
    })
}
