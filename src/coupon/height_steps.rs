//! Height steps: a staircase whose treads are measured from the side that lay on the bed.
//!
//! Drawn from the front and stacked from back to front; the label is sunk into the front of the highest
//! step. The outside jaws take a tread and the underside from the front or the back.

use super::body::{Body, Stance, along_z};
use super::bore_block::chamfered_at_the_bed;
use super::feature::{Feature, Tool, feature_label};
use super::fields::Fields;
use super::label::Label;
use super::limits::{FACE, LABEL_HEIGHT_MM, LABEL_RELIEF_MM, STEP};
use crate::geometry::outline::Point;
use crate::kind::{Axis, Kind};

/// Steps that rise along x.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct HeightSteps {
    /// Rising.
    pub heights_mm: Vec<f64>,
    pub tread_mm: f64,
    pub depth_mm: f64,
}

impl HeightSteps {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        let mut heights_mm = fields.lengths("heights_mm", STEP, 12);
        heights_mm.sort_by(f64::total_cmp);
        let least = LABEL_HEIGHT_MM + 3.0;
        if heights_mm.last().is_some_and(|highest| *highest < least) {
            let message = format!("the highest step must be {least} mm or more");
            fields.problem("heights_mm", message, "the label is sunk into its front");
        }
        Self {
            heights_mm,
            tread_mm: fields.length_or("tread_mm", 10.0, FACE),
            depth_mm: fields.length_or("depth_mm", 12.0, FACE),
        }
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let width = label.width_mm();
        let last = self.heights_mm.len() - 1;
        let highest = self.heights_mm[last];
        let mut profile: Vec<Point> = Vec::new();
        let mut treads = Vec::new();
        for (i, height) in self.heights_mm.iter().enumerate() {
            let left = i as f64 * self.tread_mm;
            let wide = if i == last { self.tread_mm.max(width + 3.0) } else { self.tread_mm };
            profile.extend([[left, *height], [left + wide, *height]]);
            treads.push(left + self.tread_mm / 2.0);
        }
        let right = profile[profile.len() - 1][0];
        let profile = chamfered_at_the_bed(&profile);
        let letters = label.centred([(last as f64 * self.tread_mm + right) / 2.0, highest / 2.0]);
        let mut body = Body::new(Stance::OnEdge, letters.clone())
            .straight(self.depth_mm - LABEL_RELIEF_MM, profile.clone())
            .straight(self.depth_mm, profile.minus_inside(&letters));
        for (height, x) in self.heights_mm.iter().copied().zip(treads) {
            body.measured(Feature {
                label: feature_label('z', height, ""),
                kind: Kind::Height,
                axis: Axis::Z,
                nominal_mm: height,
                jaws: along_z(Tool::OutsideJaws, 0.0, height, x, self.depth_mm / 2.0),
                label_at: [x, height + 7.5],
            });
        }
        body
    }
}
