//! First-layer gauge: a plain block without a chamfer at the bed.
//!
//! Its width is measured twice: with the tips of the jaws on the lowest edge, which the first layer has
//! spread, and well above it. The first of the two has the ending [`BED_SUFFIX`] and is no part of a fit;
//! their difference is the spread.

use super::body::{Body, Stance, along_x};
use super::feature::{BED_SUFFIX, Feature, Tool, feature_label};
use super::fields::Fields;
use super::label::Label;
use super::limits::{BLOCK, FACE, LABEL_RELIEF_MM};
use crate::geometry::outline::Outline;
use crate::kind::{Axis, Kind};

/// A block that is measured along x, or along y when it is turned by a quarter.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FirstLayer {
    pub axis: Axis,
    pub width_mm: f64,
    pub depth_mm: f64,
    pub height_mm: f64,
}

impl FirstLayer {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        Self {
            axis: fields.word("axis", &[("x", Axis::X), ("y", Axis::Y)]),
            width_mm: fields.length_or("width_mm", 20.0, BLOCK),
            depth_mm: fields.length_or("depth_mm", 12.0, BLOCK),
            height_mm: fields.length_or("height_mm", 10.0, FACE),
        }
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let (width, height) = (self.width_mm, self.height_mm);
        // The words run along the depth, which is not measured and may grow with them.
        let depth = self.depth_mm.max(label.width_mm() + 2.0);
        let letters = label.turned([width / 2.0, depth / 2.0]);
        let mut body = Body::new(Stance::Upright, letters.clone())
            .straight(height, Outline::rectangle(0.0, 0.0, width, depth))
            .straight(height + LABEL_RELIEF_MM, letters);
        // The lowest layer is 0.2 to 0.3 mm thick; its middle is where it is widest.
        for (ending, y, z) in
            [("", self.depth_mm * 0.8, height * 0.6), (BED_SUFFIX, self.depth_mm * 0.2, 0.1)]
        {
            body.measured(Feature {
                label: feature_label('o', width, ending),
                kind: Kind::Outer,
                axis: self.axis,
                nominal_mm: width,
                jaws: along_x(Tool::OutsideJaws, 0.0, width, y, z),
                label_at: [width + 12.0, y],
            });
        }
        if self.axis == Axis::Y { body.turned(90_f64.to_radians()) } else { body }
    }
}
