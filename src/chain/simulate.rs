//! A chain assembled many times.
//!
//! What the printed members add to the gap is a weighted sum of normal errors, own and shared, whose spreads
//! were estimated: it follows Student t with the joint spread's variance and effective degrees of freedom, the
//! same as one printed size by itself in `size`. Each time that sum is drawn, and each bought member between
//! its limits. Of t, how large the spread really is (`r = dof / chi-square(dof)` times its estimate) is drawn from
//! a table of quantiles.

use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::correction::joint::{JointSpread, Origin};
use crate::fits::decimal_mm;
use crate::stats::random::Random;

use super::stack::{Sized, Spread, TRIALS};
use super::{BoughtSpread, Gap};

/// Quantiles of a spread's doubt that are told apart.
const NODES: u32 = 2_048;

/// Degrees of freedom from which a variance is as good as known.
const AS_GOOD_AS_KNOWN: f64 = 1e5;

/// Every origin of an error that prints share.
const ORIGINS: [Origin; 4] = [Origin::Coefficients, Origin::PastPrints, Origin::NewPrint, Origin::Caliper];

/// What the simulation shows of the gap.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Simulated {
    /// How often the chain was assembled.
    pub trials: u32,
    /// The seed of the draws.
    pub seed: u64,
    /// Lower end of the interval that holds 95 % of the gaps, mm.
    pub low95_mm: f64,
    /// Its upper end, mm.
    pub high95_mm: f64,
    /// The chance that the gap is below 0: the parts clash.
    pub chance_clash: f64,
    /// The chance that it is below the least that is wanted; `None` when no least is.
    pub chance_below: Option<f64>,
    /// The chance that it is above the most that is wanted; `None` when no most is.
    pub chance_above: Option<f64>,
    /// The chance that it is as wanted; `None` when nothing is.
    pub chance_wanted: Option<f64>,
}

/// Assembles the chain of these members, whose mean gap is `mean_mm`.
pub(super) fn simulate(
    sized: &[Sized<'_>],
    joint: Option<&JointSpread>,
    mean_mm: f64,
    gap: &Gap,
    seed: u64,
) -> Simulated {
    let bought: Vec<(f64, f64, BoughtSpread)> = sized
        .iter()
        .filter_map(|s| match s.kind {
            Spread::Bought(limits, spread) => {
                Some((s.member.sign, limits.upper_mm - limits.lower_mm, spread))
            }
            Spread::Printed(_) => None,
        })
        .collect();
    let signs: Vec<f64> =
        sized.iter().filter(|s| matches!(s.kind, Spread::Printed(_))).map(|s| s.member.sign).collect();
    let prints = joint.map(|joint| Prints::new(joint, &signs));
    let mut random = Random::new(seed);
    let mut gaps: Vec<f64> = (0..TRIALS)
        .map(|_| {
            let bought: f64 =
                bought.iter().map(|(sign, width, spread)| sign * width * spread.draw(&mut random)).sum();
            mean_mm + bought + prints.as_ref().map_or(0.0, |prints| prints.draw(&mut random))
        })
        .collect();
    gaps.sort_by(f64::total_cmp);
    let share_below = |limit: f64| gaps.partition_point(|gap| *gap < limit) as f64 / f64::from(TRIALS);
    let share_above = |limit: f64| 1.0 - gaps.partition_point(|gap| *gap <= limit) as f64 / f64::from(TRIALS);
    let quantile = |p: f64| gaps[(p * f64::from(TRIALS - 1)).round() as usize];
    let chance_below = gap.least_mm.map(share_below);
    let chance_above = gap.most_mm.map(share_above);
    let is_wanted = chance_below.is_some() || chance_above.is_some();
    Simulated {
        trials: TRIALS,
        seed,
        low95_mm: decimal_mm(quantile(0.025)),
        high95_mm: decimal_mm(quantile(0.975)),
        chance_clash: share_below(0.0),
        chance_below,
        chance_above,
        chance_wanted: is_wanted
            .then(|| (1.0 - chance_below.unwrap_or(0.0) - chance_above.unwrap_or(0.0)).clamp(0.0, 1.0)),
    }
}

impl BoughtSpread {
    /// How far from the middle, in widths between the limits.
    fn draw(self, random: &mut Random) -> f64 {
        match self {
            Self::Even => random.uniform() - 0.5,
            Self::Normal => random.normal() / 6.0,
        }
    }
}

/// What the printed members add to the gap: one draw of Student t.
struct Prints {
    /// Standard deviation in the gap, mm.
    sd_mm: f64,
    /// What it may really be, as a factor: quantiles of `sqrt(dof / chi-square(dof))`, greatest first.
    doubts: Vec<f64>,
}

impl Prints {
    fn new(joint: &JointSpread, signs: &[f64]) -> Self {
        let variance_mm2 = joint.variance_from(signs, &ORIGINS, true);
        Self { sd_mm: variance_mm2.sqrt(), doubts: doubts(joint.dof_from(signs, &ORIGINS, true)) }
    }

    fn draw(&self, random: &mut Random) -> f64 {
        let count = self.doubts.len() as f64;
        let doubt = self.doubts.get((random.uniform() * count) as usize).copied().unwrap_or(1.0);
        self.sd_mm * doubt * random.normal()
    }
}

/// Quantiles of `sqrt(dof / chi-square(dof))`; one of 1 where the spread is as good as known.
fn doubts(dof: f64) -> Vec<f64> {
    let distribution = ChiSquared::new(dof).ok().filter(|_| dof < AS_GOOD_AS_KNOWN);
    let Some(distribution) = distribution else { return vec![1.0] };
    let middle = |node: u32| (f64::from(node) + 0.5) / f64::from(NODES);
    (0..NODES).map(|node| (dof / distribution.inverse_cdf(middle(node))).sqrt()).collect()
}
