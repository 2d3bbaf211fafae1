//! The features that the model is about, without readings that a slip of the pen explains.
//!
//! What is measured at the bed tells of the first layer and not of the sizes above it. A reading that
//! lies nowhere near its nominal size, or comes back when a decimal point or a unit is put right
//! ([`crate::readings::slips`]), is a slip whatever the others say.

use crate::correction::SetAside;
use crate::coupon::feature::is_fitted;
use crate::readings::slips::{self, Slip};
use crate::readings::{FeatureReadings, Reading};

/// The features to fit, and the readings that were set aside as slips. With `keep_all` none is.
pub fn usable(features: &[FeatureReadings], keep_all: bool) -> (Vec<FeatureReadings>, Vec<SetAside>) {
    let mut set_aside = Vec::new();
    let fitted = features.iter().filter(|feature| feature.repeats.count > 0 && is_fitted(&feature.feature));
    let used = fitted.filter_map(|feature| {
        let mut left = feature.clone();
        if keep_all {
            return Some(left);
        }
        // Swapped digits explain a few tenths of a millimetre, which a bad printer errs by as well: that is
        // for the fit to judge.
        let slip = |reading_mm: f64| {
            slips::likely(reading_mm, feature.nominal_mm)
                .filter(|slip| !matches!(slip, Slip::SwappedDigits { .. }))
        };
        for reading in [feature.repeats.lowest, feature.repeats.highest] {
            if let Some(found) = slip(reading.mm)
                // A feature's only reading is both of its ends.
                && !set_aside
                    .last()
                    .is_some_and(|known: &SetAside| known.line == reading.line && known.reading_mm == reading.mm)
            {
                let reason = format!("{} {found}", reading.mm);
                set_aside.push(SetAside { line: reading.line, reading_mm: reading.mm, reason });
                take_out(&mut left, reading);
            }
        }
        // What neither end shows, the mean of the rest may.
        (left.repeats.count > 0 && slip(left.repeats.mean_mm).is_none()).then_some(left)
    });
    let mut usable = Vec::with_capacity(features.len());
    usable.extend(used);
    (usable, set_aside)
}

/// Takes one of the extremes out; the one inside it is not known, and the other extreme stands for it.
fn take_out(feature: &mut FeatureReadings, reading: Reading) {
    let repeats = &mut feature.repeats;
    let count = f64::from(repeats.count);
    repeats.count -= 1;
    if repeats.count == 0 {
        return;
    }
    let away = reading.mm - repeats.mean_mm;
    repeats.mean_mm -= away / (count - 1.0);
    let left = repeats.sum_of_squares_mm2 - away * away * count / (count - 1.0);
    // Of a single reading, and below what rounding leaves of the squares of a slip, there is no spread.
    repeats.sum_of_squares_mm2 = if repeats.count == 1 { 0.0 } else { left.max(0.0) };
    if repeats.lowest == reading {
        repeats.lowest = repeats.highest;
    } else {
        repeats.highest = repeats.lowest;
    }
}
