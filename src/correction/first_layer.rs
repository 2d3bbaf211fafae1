//! The first layer's spread, from the gauge that is measured at the bed and above it.
//!
//! A feature whose name ends in `-bed` is measured at the bed, where the first layer is pressed wide. It
//! says nothing of the sizes above and is kept out of the fit. Where the same coupon and print has the
//! feature without that ending, half their difference is how far the first layer stands out per side.

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
pub fn is_at_the_bed(feature: &str) -> bool {
    feature.ends_with(BED_SUFFIX)
}

/// The spread of a setup; `None` when nothing was measured both at the bed and above it.
pub(super) fn spread(setup: SetupView<'_>) -> Option<FirstLayerSpread> {
    let mut sides = Vec::new();
    for (at_bed, bed) in setup.features().filter(|(_, bed)| is_at_the_bed(bed.feature)) {
        let name = &bed.feature[..bed.feature.len() - BED_SUFFIX.len()];
        let above = setup.features().find(|(_, above)| {
            above.feature == name
                && above.coupon == bed.coupon
                && above.copy == bed.copy
                && above.kind == bed.kind
        });
        // A span has no sides.
        if let Some((at_above, above)) = above.filter(|(_, above)| above.kind.swell_sign() != 0.0) {
            let wider_mm = setup.repeats(at_bed).mean_mm - setup.repeats(at_above).mean_mm;
            sides.push(wider_mm / above.kind.swell_sign());
        }
    }
    let n = sides.len() as f64;
    let mean_mm = sides.iter().sum::<f64>() / n;
    let squares: f64 = sides.iter().map(|side| (side - mean_mm).powi(2)).sum();
    let half_width_mm =
        (sides.len() > 1).then(|| t_quantile(0.975, n - 1.0) * (squares / (n - 1.0) / n).sqrt());
    (!sides.is_empty()).then_some(FirstLayerSpread { mean_mm, half_width_mm, pairs: sides.len() as u32 })
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
