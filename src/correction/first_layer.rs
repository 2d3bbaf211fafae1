//! The first layer's spread, from the gauge that is measured at the bed and above it.
//!
//! A feature whose name ends in `-bed` is measured at the bed, where the first layer is pressed wide. It
//! says nothing of the sizes above and is kept out of the fit. Where the same coupon and print has the
//! feature without that ending, half their difference is how far the first layer stands out per side.

use std::collections::BTreeMap;

use crate::coupon::feature::BED_SUFFIX;
use crate::readings::SetupView;
use crate::stats::distribution::t_quantile;

/// How far the first layer stands out beyond the layers above.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstLayerSpread {
    /// Mean per side, mm; positive: the bed end of a solid is wider.
    pub mean_mm: f64,
    /// Half the width of its 95 % interval, mm; `None` from one pair.
    pub half_width_mm: Option<f64>,
    /// How many pairs of measurements.
    pub pairs: u32,
}

/// Whether a feature's name says that it is measured at the bed.
fn is_at_the_bed(feature: &str) -> bool {
    feature.ends_with(BED_SUFFIX)
}

/// The spread of a setup; `None` when nothing was measured both at the bed and above it.
pub(super) fn spread(setup: SetupView<'_>) -> Option<FirstLayerSpread> {
    // Nearly every setup has none, and is asked for nothing more.
    if !setup.features().any(|(_, feature)| is_at_the_bed(feature.feature)) {
        return None;
    }
    let mut uppers = BTreeMap::new();
    for (at, upper) in setup.features().filter(|(_, upper)| !is_at_the_bed(upper.feature)) {
        let place = (upper.coupon, upper.feature, upper.kind, upper.axis, upper.copy);
        uppers.entry(place).or_insert(at);
    }
    let mut sides = Vec::new();
    for (at, bed) in setup.features() {
        let Some(name) = bed.feature.strip_suffix(BED_SUFFIX) else { continue };
        let sign = bed.kind.swell_sign();
        // A span has no sides.
        if let Some(above) = uppers.get(&(bed.coupon, name, bed.kind, bed.axis, bed.copy))
            && sign != 0.0
        {
            sides.push((setup.repeats(at).mean_mm - setup.repeats(*above).mean_mm) / sign);
        }
    }
    let n = sides.len() as f64;
    let mean_mm = sides.iter().sum::<f64>() / n;
    let squares: f64 = sides.iter().map(|side| (side - mean_mm).powi(2)).sum();
    let half_width_mm =
        (sides.len() > 1).then(|| t_quantile(0.975, n - 1.0) * (squares / (n - 1.0) / n).sqrt());
    (!sides.is_empty()).then_some(FirstLayerSpread { mean_mm, half_width_mm, pairs: sides.len() as u32 })
}

/// The spread that a correction's file holds, mm per side; `None` where none was measured.
pub fn in_file(text: &str) -> Option<f64> {
    let table: toml::Table = text.parse().ok()?;
    table.get("first_layer_spread_mm")?.as_float()
}

impl FirstLayerSpread {
    /// One plain sentence.
    pub fn in_words(&self) -> String {
        let interval = match self.half_width_mm {
            Some(half) => {
                format!(
                    "95 %: {:.2} to {:.2}, {} pairs",
                    self.mean_mm - half,
                    self.mean_mm + half,
                    self.pairs
                )
            }
            None => "one pair: no interval".to_owned(),
        };
        format!(
            "the first layer stands out {:.2} mm per side ({interval}); what was measured at the bed is kept out of the fit",
            self.mean_mm
        )
    }
}
