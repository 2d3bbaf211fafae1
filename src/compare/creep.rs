//! The change against time at one temperature: so much more for every ten times as long.
//!
//! Creep and relaxation go on with the logarithm of time: as much from 1 to 10 hours as from 10 to 100. A line
//! through the changes against log10 of the hours says how much that is. It says nothing of when it ends, and a
//! look ten times further ahead is a guess, which is marked as one.
//!
//! Source: Findley, Lai and Onaran, Creep and Relaxation of Nonlinear Viscoelastic Materials, 1976, 2.3 (from
//! memory: power and logarithmic laws describe plastics at constant stress over some decades).

use crate::stats::difference::Estimate;
use crate::stats::trend;

use super::finding::Finding;
use super::group::Group;
use super::pairing::Study;

/// How the change of a group goes on with time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Creep {
    /// Number of the material.
    pub material: usize,
    /// The features.
    pub group: Group,
    /// The temperature, Celsius.
    pub soak_c: f64,
    /// The shortest and the longest time, hours.
    pub measured_h: (f64, f64),
    /// Further change for every ten times as long, mm.
    pub per_decade: Estimate,
    /// The change at ten times the longest time, mm, if it goes on like this: beyond what was measured.
    pub ahead_mm: f64,
    /// Half the width of its interval, mm, of the line alone.
    pub ahead_half_width_mm: f64,
}

impl Creep {
    /// Whether it goes on.
    pub fn is_real(&self) -> bool {
        let (low, high) = self.per_decade.interval(0.95);
        low > 0.0 || high < 0.0
    }

    /// How far ahead is looked, hours.
    pub fn ahead_h(&self) -> f64 {
        10.0 * self.measured_h.1
    }
}

/// The groups that were measured at one temperature after two times or more.
pub fn creep(study: &Study, findings: &[Finding]) -> Vec<Creep> {
    let mut keys: Vec<(usize, Group, u64)> = findings
        .iter()
        .filter_map(|finding| {
            let celsius = study.conditions[finding.condition].soak_c?;
            Some((finding.material, finding.group, celsius.to_bits()))
        })
        .collect();
    keys.sort_unstable();
    keys.dedup();
    let of = |(material, group, celsius): &(usize, Group, u64)| {
        let soak_c = f64::from_bits(*celsius);
        let points: Vec<(f64, f64)> = findings
            .iter()
            .filter(|finding| (finding.material, finding.group) == (*material, *group))
            .filter(|finding| study.conditions[finding.condition].soak_c == Some(soak_c))
            .filter_map(|finding| {
                let hours = study.conditions[finding.condition].soak_h.filter(|hours| *hours > 0.0)?;
                Some(finding.pieces.iter().map(move |piece| (hours.log10(), piece.1)))
            })
            .flatten()
            .collect();
        let line = trend::polynomial(&points, 1)?;
        let low = points.iter().map(|point| point.0).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(|point| point.0).fold(f64::NEG_INFINITY, f64::max);
        let ahead = line.at(high + 1.0);
        Some(Creep {
            material: *material,
            group: *group,
            soak_c,
            measured_h: (10f64.powf(low), 10f64.powf(high)),
            per_decade: line.slope()?,
            ahead_mm: ahead.value,
            ahead_half_width_mm: ahead.half_width,
        })
    };
    keys.iter().filter_map(of).collect()
}
