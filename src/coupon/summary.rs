//! What a coupon set is and costs, in numbers: computed from the solids, never typed in.

use std::fmt::Write as _;

use serde::Serialize;

use super::feature::Feature;

/// What a kit is, in numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Name of the set.
    pub set: String,
    /// What it is for.
    pub summary: String,
    /// Pieces of one print.
    pub coupons: Vec<CouponSummary>,
    /// Features of one print.
    pub features: usize,
    /// Readings of all prints, each feature read three times.
    pub readings: usize,
    /// How many prints.
    pub copies: u32,
    /// Plastic of all prints when every piece is solid, mm3.
    pub volume_mm3: f64,
    /// Its mass, g.
    pub mass_g: f64,
    /// The density behind the mass.
    pub density_g_cm3: f64,
    /// Width and depth that the pieces of each plate take up, mm.
    pub plates: Vec<[f64; 2]>,
    /// The bed that they are packed for, mm.
    pub bed_mm: [f64; 2],
    /// The files that were written.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub files: Vec<String>,
}

/// One piece, in numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CouponSummary {
    /// Its name.
    pub coupon: String,
    /// Its form, in words.
    pub form: &'static str,
    /// What is measured on it.
    pub features: Vec<FeatureSummary>,
    /// Plastic when it is solid, mm3.
    pub volume_mm3: f64,
    /// Width, depth and height, mm.
    pub size_mm: [f64; 3],
}

/// One feature, as the readings sheet has it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FeatureSummary {
    /// Its label.
    pub feature: String,
    /// Its kind.
    pub kind: &'static str,
    /// Its axis.
    pub axis: &'static str,
    /// The size it is drawn at.
    pub nominal_mm: f64,
}

pub(super) fn feature_summary(feature: &Feature) -> FeatureSummary {
    FeatureSummary {
        feature: feature.label.clone(),
        kind: feature.kind.name(),
        axis: feature.axis.name(),
        nominal_mm: feature.nominal_mm,
    }
}

/// A table of sets, a line each, and a line about each below.
pub fn table(sets: &[Summary]) -> String {
    let name_width = sets.iter().map(|set| set.set.len()).max().unwrap_or(0).max(3);
    let mut text =
        format!("{:<name_width$}  pieces  features  readings  plastic cm3  mass g  plates mm\n", "set");
    for set in sets {
        let plates: Vec<String> = set.plates.iter().map(|[w, d]| format!("{w:.0} x {d:.0}")).collect();
        // Writing into a String does not fail.
        let _ = writeln!(
            text,
            "{:<name_width$}  {:>6}  {:>8}  {:>8}  {:>11.1}  {:>6.0}  {}",
            set.set,
            set.coupons.len(),
            set.features,
            set.readings,
            set.volume_mm3 / 1000.0,
            set.mass_g,
            plates.join(", ")
        );
    }
    if let Some(set) = sets.first() {
        let [width, depth] = set.bed_mm;
        let _ = writeln!(
            text,
            "\nEach feature is read three times. Plastic and mass are of solid pieces at {} g/cm3 (typical PLA \
             is 1.24);\nprinted with infill they take less. Plates are packed for a bed of {width} x {depth} mm.",
            set.density_g_cm3
        );
    }
    for set in sets {
        let _ = writeln!(text, "\n{}: {}", set.set, set.summary);
    }
    text
}
