//! From wanted dimensions to a plan: designs of three sizes, judged on one to five prints, and the smallest
//! that keeps every limit that can be kept.

use serde::Serialize;

use crate::coupon::plate::Bed;
use crate::kind::Kind;

use super::Wanted;
use super::candidates::{Candidate, Element, Measured, NAMED, candidates, features, set_toml};
use super::evaluate::{choice, expected_correction, floor_mm, half_width_mm};
use super::spreads::Spreads;

/// How many features a set has, about: as the program's own quick and starter sets, and half as many again
/// as the latter.
const SIZES: [f64; 3] = [12.0, 30.0, 60.0];

/// How many prints are judged.
pub const PRINTS: [usize; 4] = [1, 2, 3, 5];

/// The prints for which sets are chosen: what is best to measure hardly depends on how often.
const CHOSEN_FOR: usize = 2;

/// An exchange must better the mean variance by this share.
const GAIN: f64 = 1e-3;

/// Without limits, more features and prints are not worth while that narrow the intervals by less than
/// this share. Judged.
const WORTH: f64 = 1.05;

/// Whether a dimension keeps its limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// 95 % of prints lie within them.
    Keeps,
    /// It would with more prints or features than are tried here.
    NotQuite,
    /// No number of coupons brings that about.
    OutOfReach,
    /// It has no limits.
    NoLimits,
}

/// One dimension under the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Dimension {
    /// What is wanted.
    #[serde(flatten)]
    pub wanted: Wanted,
    /// Half of its predicted 95 % interval, mm.
    pub half_width_mm: f64,
    /// What of that no number of coupons takes away, mm.
    pub least_half_width_mm: f64,
    /// How far it lies outside the sizes of its kind that are measured, mm.
    pub beyond_mm: f64,
    /// Whether it keeps its limits.
    pub verdict: Verdict,
}

/// One way of doing it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trade {
    /// How many prints.
    pub prints: usize,
    /// Features of one print.
    pub features: usize,
    /// Half of the predicted 95 % interval of each dimension, mm, in the order of the list.
    pub half_widths_mm: Vec<f64>,
}

/// What to print.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// How many prints of the set.
    pub prints: usize,
    /// Features of one print that are read.
    pub features: usize,
    /// Every dimension, in the order of the list.
    pub dimensions: Vec<Dimension>,
    /// What other numbers of prints and features would bring.
    pub trade: Vec<Trade>,
    /// What was assumed of the spreads.
    pub spreads: Spreads,
    /// Where that is from, in words.
    pub spreads_from: String,
    /// The coupon set, as TOML.
    pub set: String,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CannotPlan {
    /// No dimension is wanted.
    #[error("the list has no dimension to plan for")]
    Nothing,
    /// No coupon of a kind fits on the bed.
    #[error("no coupon with {} fits on a bed of {bed}", kind.plural())]
    NoCandidate {
        /// The kind.
        kind: Kind,
        /// The bed.
        bed: String,
    },
    /// The set that was chosen cannot be read back, which is a fault of this program.
    #[error("the chosen set is not one that `coupons` can make: {0}")]
    Set(String),
}

struct Design {
    elements: Vec<Element>,
    measured: Vec<Measured>,
    read: usize,
}

/// Chooses.
///
/// # Errors
/// No dimension, a bed too small for any coupon of a kind.
pub fn plan(wanted: &[Wanted], spreads: &Spreads, spreads_from: &str, bed: Bed) -> Result<Plan, CannotPlan> {
    if wanted.is_empty() {
        return Err(CannotPlan::Nothing);
    }
    let candidates = candidates(wanted, bed);
    let needed = seeds(wanted, &candidates, bed)?;
    let choice = choice(&candidates, wanted, spreads, CHOSEN_FOR);
    let mut designs = Vec::new();
    let mut chosen = needed.clone();
    for size in SIZES {
        chosen = choice.exchanged(choice.extended(chosen, size), needed.len(), GAIN);
        let elements: Vec<Element> = chosen.iter().map(|index| candidates[*index].element).collect();
        let design = design(elements, bed)?;
        if designs.last().is_none_or(|last: &Design| last.read < design.read) {
            designs.push(design);
        }
    }
    let mut trade = Vec::new();
    for prints in PRINTS {
        for (number, design) in designs.iter().enumerate() {
            trade.push((number, judged(design, wanted, spreads, prints)?));
        }
    }
    let floors: Vec<f64> = wanted.iter().map(|wanted| floor_mm(spreads, wanted)).collect();
    let best = best(&trade, wanted, &floors);
    let (number, way) = &trade[best];
    let (design, way) = pruned(&designs[*number], way, needed.len(), bed, wanted, spreads, &floors)?;
    let correction = correction(&design, spreads, way.prints)?;
    let dimensions = wanted.iter().zip(&way.half_widths_mm).zip(&floors).map(|((wanted, half), floor)| {
        let (_, beyond_mm) = half_width_mm(&correction, wanted).unwrap_or((*half, 0.0));
        let verdict = match wanted.room_mm {
            None => Verdict::NoLimits,
            Some(room) if *half <= room => Verdict::Keeps,
            Some(room) if *floor > room => Verdict::OutOfReach,
            Some(_) => Verdict::NotQuite,
        };
        Dimension {
            wanted: wanted.clone(),
            half_width_mm: *half,
            least_half_width_mm: *floor,
            beyond_mm,
            verdict,
        }
    });
    let comments = [
        format!(
            "Chosen by `shrinkrule plan` for {} dimensions; print it {} times, each a job of its own:",
            wanted.len(),
            way.prints
        ),
        format!("shrinkrule coupons --set THIS_FILE --copies {} --out DIR", way.prints),
    ];
    Ok(Plan {
        prints: way.prints,
        features: design.read,
        dimensions: dimensions.collect(),
        set: set_toml(&design.elements, bed, NAMED, &comments),
        trade: trade.iter().map(|(_, way)| way.clone()).collect(),
        spreads: *spreads,
        spreads_from: spreads_from.to_owned(),
    })
}

/// For each kind that is wanted, what reaches from its smallest to its largest wanted size, or nearest to.
fn seeds(wanted: &[Wanted], candidates: &[Candidate], bed: Bed) -> Result<Vec<usize>, CannotPlan> {
    let mut seeds = Vec::new();
    for kind in Kind::ALL {
        let of_kind = || wanted.iter().filter(move |wanted| wanted.kind == kind);
        let sizes = || of_kind().map(|wanted| wanted.target_mm);
        let Some(smallest) = sizes().reduce(f64::min) else { continue };
        let largest = sizes().fold(smallest, f64::max);
        let axis = |size: f64| of_kind().find(|wanted| wanted.target_mm == size).map(|wanted| wanted.axis);
        // How badly a candidate does at one end: what it falls short of it counts for more than what it
        // goes beyond, and another direction a little.
        let miss = |index: usize, end: f64, outwards: f64| {
            let candidate = &candidates[index];
            let over = (candidate.main().1 - end) * outwards;
            let turned = axis(end).is_some_and(|axis| candidate.features.iter().all(|of| of.1 != axis));
            (if over >= 0.0 { over } else { -20.0 * over }) + 0.1 * f64::from(turned)
        };
        let nearest = |end: f64, outwards: f64| {
            let of_kind = (0..candidates.len()).filter(|index| candidates[*index].main().0 == kind);
            of_kind.min_by(|a, b| miss(*a, end, outwards).total_cmp(&miss(*b, end, outwards)))
        };
        let (Some(low), Some(high)) = (nearest(smallest, -1.0), nearest(largest, 1.0)) else {
            return Err(CannotPlan::NoCandidate {
                kind,
                bed: format!("{} x {} mm", bed.width_mm, bed.depth_mm),
            });
        };
        seeds.push(low);
        if high != low {
            seeds.push(high);
        }
    }
    Ok(seeds)
}

fn design(elements: Vec<Element>, bed: Bed) -> Result<Design, CannotPlan> {
    let features = features(&elements, bed).map_err(CannotPlan::Set)?;
    let fitted = features.iter().filter(|feature| !feature.is_at_bed());
    let measured = fitted.map(|feature| (feature.kind, feature.axis, feature.nominal_mm)).collect();
    Ok(Design { elements, measured, read: features.len() })
}

/// Leaves out, last chosen first, what the limits within reach do not need; the first `keep` elements stay.
fn pruned(
    design: &Design,
    way: &Trade,
    keep: usize,
    bed: Bed,
    wanted: &[Wanted],
    spreads: &Spreads,
    floors: &[f64],
) -> Result<(Design, Trade), CannotPlan> {
    let (mut design, mut way) = (self::design(design.elements.clone(), bed)?, way.clone());
    if tightest(&way, wanted, floors).is_none_or(|ratio| ratio > 1.0) {
        return Ok((design, way));
    }
    for place in (keep..design.elements.len()).rev() {
        let mut elements = design.elements.clone();
        elements.remove(place);
        let smaller = self::design(elements, bed)?;
        let judged = judged(&smaller, wanted, spreads, way.prints)?;
        if tightest(&judged, wanted, floors).is_some_and(|ratio| ratio <= 1.0) {
            (design, way) = (smaller, judged);
        }
    }
    Ok((design, way))
}

/// The largest half-width over its room, of what is within reach; `None` when nothing is limited there.
fn tightest(way: &Trade, wanted: &[Wanted], floors: &[f64]) -> Option<f64> {
    let of = wanted.iter().zip(&way.half_widths_mm).zip(floors);
    let ratios = of.filter_map(|((wanted, half), floor)| {
        let room = wanted.room_mm.filter(|room| room > floor)?;
        Some(half / room)
    });
    ratios.reduce(f64::max)
}

fn correction(
    design: &Design,
    spreads: &Spreads,
    prints: usize,
) -> Result<crate::correction::Correction, CannotPlan> {
    // Every prior is proper, so there is always a covariance.
    expected_correction(&design.measured, spreads, prints)
        .ok_or_else(|| CannotPlan::Set("its coefficients cannot be told apart".to_owned()))
}

fn judged(design: &Design, wanted: &[Wanted], spreads: &Spreads, prints: usize) -> Result<Trade, CannotPlan> {
    let correction = correction(design, spreads, prints)?;
    let half = |wanted: &Wanted| {
        let half = half_width_mm(&correction, wanted).map(|(half, _)| half);
        half.map_err(|error| CannotPlan::Set(error.to_string()))
    };
    let half_widths_mm = wanted.iter().map(half).collect::<Result<_, _>>()?;
    Ok(Trade { prints, features: design.read, half_widths_mm })
}

/// The way with the fewest readings that keeps every limit within reach; where none does, the one that
/// comes nearest; without limits, the one after which little is gained.
fn best(trade: &[(usize, Trade)], wanted: &[Wanted], floors: &[f64]) -> usize {
    let least: Vec<f64> = (0..wanted.len())
        .map(|i| trade.iter().map(|(_, way)| way.half_widths_mm[i]).fold(f64::INFINITY, f64::min))
        .collect();
    let badness = |way: &Trade| {
        tightest(way, wanted, floors).unwrap_or_else(|| {
            // Nothing within reach is limited: the mean half-width over the least, by what is worth while.
            let over = way.half_widths_mm.iter().zip(&least).map(|(half, least)| half / least);
            over.sum::<f64>() / wanted.len() as f64 / WORTH
        })
    };
    let readings = |way: &Trade| (way.prints * way.features, way.prints);
    let order = |a: &usize, b: &usize| readings(&trade[*a].1).cmp(&readings(&trade[*b].1));
    let keeps = (0..trade.len()).filter(|index| badness(&trade[*index].1) <= 1.0).min_by(order);
    let nearest = || {
        (0..trade.len())
            .min_by(|a, b| badness(&trade[*a].1).total_cmp(&badness(&trade[*b].1)).then(order(a, b)))
    };
    keeps.or_else(nearest).unwrap_or(0)
}
