//! What the sizes of a drawn pulley are expected to print as, with intervals for one new print.
//!
//! A size of one kind has that kind's prediction. The depth of a groove lies between a tip and a floor:
//! half a pin and half a gap, whose uncertainties are added in squares as if independent. That errs on
//! the wide side where both swell together.

use crate::correction::Correction;
use crate::correction::apply::{CannotApply, Prediction};
use crate::kind::{Axis, Kind};
use crate::stats::distribution::t_quantile;

use super::pulley::Design;
use super::pulley_law::WallLaw;

/// A printed size and how far one new print may lie from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The expected size, mm.
    pub expected_mm: f64,
    /// Half the 95 % interval of one new print, mm; `None` where nothing was measured to tell.
    pub half95_mm: Option<f64>,
}

/// What a drawing is expected to print as.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimates {
    /// Outside diameter.
    pub outside_diameter: Estimate,
    /// Width of a groove at the outside diameter.
    pub groove_width: Estimate,
    /// Depth of a groove.
    pub groove_depth: Estimate,
    /// Bore.
    pub bore: Estimate,
    /// Outside diameter of the flanges.
    pub flange_diameter: Estimate,
    /// Face width.
    pub face_width: Estimate,
}

fn half(prediction: &Prediction) -> f64 {
    let (low, high) = prediction.interval(0.95);
    (high - low) / 2.0
}

/// What the drawn sizes of this design are expected to print as.
pub fn estimates(design: &Design, correction: &Correction, law: &WallLaw) -> Result<Estimates, CannotApply> {
    let drawn = &design.drawn;
    let predict = |kind: Kind, drawn_mm: f64| correction.predict(kind, kind.unnamed_axis(), drawn_mm);
    let of = |kind: Kind, drawn_mm: f64| -> Result<Estimate, CannotApply> {
        let prediction = predict(kind, drawn_mm)?;
        Ok(Estimate { expected_mm: prediction.expected_mm, half95_mm: Some(half(&prediction)) })
    };
    let printed = law.printed(&drawn.groove);
    let tip = predict(law.tip_kind, 2.0 * drawn.groove.outside_radius_mm)?;
    let gap = predict(Kind::Gap, drawn.groove.outer_width_mm())?;
    let depth_sd = (tip.sd_mm.powi(2) + gap.sd_mm.powi(2)).sqrt() / 2.0;
    let face_mm = drawn.heights.face_width_mm();
    let face_width = if correction.kinds.contains_key(&Kind::Height) {
        // Between two heights of one print: what offsets both cancels.
        let height = |mm: f64| {
            if mm > 0.0 { mm + correction.deviation_mm(Kind::Height, Axis::Z, mm) } else { 0.0 }
        };
        let expected_mm = height(drawn.heights.face_to_mm) - height(drawn.heights.face_from_mm);
        Estimate { expected_mm, half95_mm: Some(half(&predict(Kind::Height, face_mm)?)) }
    } else {
        Estimate { expected_mm: face_mm, half95_mm: None }
    };
    Ok(Estimates {
        outside_diameter: of(law.tip_kind, 2.0 * drawn.groove.outside_radius_mm)?,
        groove_width: Estimate { expected_mm: printed.outer_width_mm(), half95_mm: Some(half(&gap)) },
        groove_depth: Estimate {
            expected_mm: printed.depth_mm(),
            half95_mm: Some(t_quantile(0.975, tip.dof.min(gap.dof)) * depth_sd),
        },
        bore: of(design.bore_kind(), drawn.bore_mm)?,
        flange_diameter: of(law.tip_kind, drawn.flange_diameter_mm)?,
        face_width,
    })
}
