//! What a readings file holds, setup by setup, for a person to check at a glance.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::kind::Kind;

use super::{CheckedReadings, SetupReadings};

/// What was measured of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct KindSummary {
    /// How many features, counted once a print.
    pub features: u32,
    /// How many readings.
    pub readings: u64,
    /// Smallest nominal size, mm.
    pub min_mm: f64,
    /// Largest nominal size, mm.
    pub max_mm: f64,
}

/// What was measured of one setup.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetupSummary {
    /// The setup.
    pub setup: String,
    /// How many features, counted once however many prints have them.
    pub features: usize,
    /// How many prints: the most that any coupon has.
    pub prints: usize,
    /// How many readings.
    pub readings: u64,
    /// By kind.
    pub kinds: BTreeMap<Kind, KindSummary>,
}

/// The summaries of a file's setups, in order of first appearance.
pub fn of(readings: &CheckedReadings) -> Vec<SetupSummary> {
    readings.setups().map(|setup| of_setup(&setup)).collect()
}

fn of_setup(setup: &SetupReadings) -> SetupSummary {
    let mut kinds: BTreeMap<Kind, KindSummary> = BTreeMap::new();
    let mut copies: BTreeMap<&str, BTreeSet<u32>> = BTreeMap::new();
    let mut features = BTreeSet::new();
    let mut readings = 0;
    for feature in &setup.features {
        let count = u64::from(feature.repeats.count);
        readings += count;
        copies.entry(&feature.coupon).or_default().insert(feature.copy);
        features.insert((&feature.coupon, &feature.feature, feature.axis));
        let size = feature.nominal_mm;
        let kind = kinds.entry(feature.kind).or_insert(KindSummary {
            features: 0,
            readings: 0,
            min_mm: size,
            max_mm: size,
        });
        kind.features += 1;
        kind.readings += count;
        kind.min_mm = kind.min_mm.min(size);
        kind.max_mm = kind.max_mm.max(size);
    }
    SetupSummary {
        setup: setup.setup.clone(),
        features: features.len(),
        prints: copies.values().map(BTreeSet::len).max().unwrap_or(0),
        readings,
        kinds,
    }
}
