//! Readings of one feature among themselves: which of them is a slip.
//!
//! An extreme reading is held against the mean of its siblings, in units of how repeats of all features
//! scatter. That scatter is taken from the middle feature, and again from what is left; where every second
//! feature has a slip, the middle one has, and the quieter quarter of them tells.

use crate::correction::SetAside;
use crate::kind::Kind;
use crate::readings::{FeatureReadings, Reading, Repeats};

/// A repeat beyond this many standard deviations from its siblings is a slip: where the bisquare's
/// weight reaches zero; among 120 readings one in three thousand sets is wrong by chance.
pub const CUT: f64 = 4.685;

/// How often the scatter is taken anew.
const ROUNDS: usize = 3;

/// Which jaws read a kind: inside jaws scatter more.
pub fn jaws(kind: Kind) -> usize {
    usize::from(matches!(kind, Kind::Bore | Kind::HorizontalBore | Kind::Gap))
}

/// The repeats of one feature without a slip.
#[derive(Clone, Debug)]
pub struct Settled {
    /// What is left.
    pub repeats: Repeats,
    /// The reading that was set aside.
    pub slip: Option<SetAside>,
    /// Two readings that disagree: either may be the slip.
    pub disputed: Option<[Reading; 2]>,
    /// Whether what is left agrees, so that it tells how reading scatters.
    pub in_order: bool,
}

/// The repeats of every feature without slips; with `keep_all` as they are.
pub fn settled(features: &[FeatureReadings], keep_all: bool, resolution_mm: f64) -> Vec<Settled> {
    let as_read = |feature: &FeatureReadings| Settled {
        repeats: feature.repeats,
        slip: None,
        disputed: None,
        in_order: true,
    };
    let mut all: Vec<Settled> = features.iter().map(as_read).collect();
    if keep_all {
        return all;
    }
    let least = resolution_mm / 12f64.sqrt();
    let mut variances = Vec::with_capacity(features.len());
    let mut before = None;
    for _ in 0..ROUNDS {
        let scatter = scatter(features, &all, &mut variances).map(|sd| sd.map(|sd| sd.max(least)));
        // The same scatter settles nothing anew.
        if before.replace(scatter) == Some(scatter) {
            break;
        }
        for (feature, settled) in features.iter().zip(&mut all) {
            if let Some(sd) = scatter[jaws(feature.kind)] {
                *settled = settle(&feature.repeats, sd);
            }
        }
    }
    all
}

/// How repeats read with either pair of jaws scatter: from the median over features of their sample
/// variances. `variances` is memory that is used again.
fn scatter(
    features: &[FeatureReadings],
    all: &[Settled],
    variances: &mut Vec<(f64, f64)>,
) -> [Option<f64>; 2] {
    // Sample variances with their degrees of freedom, in order, of what tells how reading scatters.
    let mut of = |pair: Option<usize>| {
        variances.clear();
        for (feature, Settled { repeats, in_order, .. }) in features.iter().zip(all) {
            if repeats.count > 1 && *in_order && pair.is_none_or(|pair| pair == jaws(feature.kind)) {
                let dof = f64::from(repeats.count - 1);
                variances.push((repeats.sum_of_squares_mm2 / dof, dof));
            }
        }
        variances.sort_by(|one, other| one.0.total_cmp(&other.0));
        [quantile(variances, 1, -0.6745), quantile(variances, 2, 0.0)].map(|of| (of, variances.len()))
    };
    let [(quarter, _), (half, _)] = of(None);
    [0, 1].map(|pair| {
        // The median of fewer than five says little: then both pairs of jaws together.
        let [_, (of_pair, count)] = of(Some(pair));
        let (half, quarter) = (if count >= 5 { of_pair } else { half }?, quarter?);
        // Where repeats are sound the two differ by what the two pairs of jaws do, a factor of three in
        // variance. Further apart, half of the features have slips, and the quieter quarter tells.
        Some(if half > 9.0 * quarter && quarter > 0.0 { quarter } else { half }.sqrt())
    })
}

/// The variance that `quarters` quarters of the sample variances stay below, by what chi-square has there
/// over its mean at the normal deviate `z`: Wilson and Hilferty 1931.
fn quantile(variances: &[(f64, f64)], quarters: usize, z: f64) -> Option<f64> {
    let (variance, dof) = *variances.get(variances.len() * quarters / 4)?;
    let step = 2.0 / (9.0 * dof);
    Some(variance / (1.0 - step + z * step.sqrt()).powi(3))
}

fn settle(read: &Repeats, sd: f64) -> Settled {
    let mut settled = Settled { repeats: *read, slip: None, disputed: None, in_order: true };
    if read.count == 2 && read.highest.mm - read.lowest.mm > CUT * sd * std::f64::consts::SQRT_2 {
        settled.disputed = Some([read.lowest, read.highest]);
        settled.in_order = false;
        return settled;
    }
    match extreme(read, sd) {
        Extreme::Fits => {}
        Extreme::HeldIn(held) => settled.repeats = held,
        Extreme::Slip(slip, left) => {
            settled.slip = Some(SetAside {
                line: slip.line,
                reading_mm: slip.mm,
                reason: format!(
                    "reads {:+.3} mm from the {} other readings of the same feature, {:.1} times their spread",
                    slip.mm - left.mean_mm,
                    left.count,
                    (slip.mm - left.mean_mm).abs() / sd,
                ),
            });
            settled.repeats = left;
        }
    }
    let dof = f64::from(settled.repeats.count.saturating_sub(1));
    settled.in_order = settled.repeats.sum_of_squares_mm2 <= dof * (CUT * sd).powi(2);
    settled
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
