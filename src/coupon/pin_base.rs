//! Press-fit shaft pins: upright round pins of several diameters on one base.
//!
//! The pins begin on the base and not on the bed, so the first layer's spread is not on them; their tops
//! are chamfered. Between neighbours there is room for an outside jaw in every direction.

use super::body::{Body, Stance, along_x, along_y, circle};
use super::feature::{Feature, Tool, feature_label};
use super::fields::Fields;
use super::label::Label;
use super::limits::{JAW_ROOM_MM, LABEL_RELIEF_MM, PIN, ROOM, STRIP_MM, TAB_MM, TOP_CHAMFER_MM, UPRIGHT};
use crate::geometry::outline::{Outline, Point};
use crate::kind::{Axis, Kind};

/// How far the base reaches beyond the pins.
const MARGIN_MM: f64 = 2.0;

/// Pins in a row along x.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PinBase {
    pub diameters_mm: Vec<f64>,
    pub pin_height_mm: f64,
    pub room_mm: f64,
}

impl PinBase {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        Self {
            diameters_mm: fields.lengths("diameters_mm", PIN, 12),
            pin_height_mm: fields.length_or("pin_height_mm", 10.0, UPRIGHT),
            room_mm: fields.length_or("room_mm", JAW_ROOM_MM, ROOM),
        }
    }

    /// The pins' centres; y is 0.
    fn centers(&self) -> Vec<Point> {
        let mut left = MARGIN_MM;
        let place = |diameter: &f64| {
            let center = [left + diameter / 2.0, 0.0];
            left += diameter + self.room_mm;
            center
        };
        self.diameters_mm.iter().map(place).collect()
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let centers = self.centers();
        let widest = self.diameters_mm.iter().copied().fold(0.0, f64::max);
        let last = self.diameters_mm.len() - 1;
        let pins_end = centers[last][0] + self.diameters_mm[last] / 2.0 + MARGIN_MM;
        let length = pins_end.max(label.width_mm() + 2.8);
        let front = -widest / 2.0 - MARGIN_MM;
        let base = Outline::rectangle(0.0, front - STRIP_MM, length, widest / 2.0 + MARGIN_MM);
        let letters = label.centred([length / 2.0, front - STRIP_MM / 2.0]);
        let pins = |c: f64| {
            let circles = self.diameters_mm.iter().zip(&centers).map(|(d, center)| circle(*center, *d, -c));
            circles.fold(Outline::default(), |all, pin| all.union_disjoint(&pin))
        };
        let top = TAB_MM + self.pin_height_mm;
        let mut body = Body::new(Stance::Upright, letters.clone())
            .straight(TAB_MM, base)
            .straight(TAB_MM + LABEL_RELIEF_MM, pins(0.0).union_disjoint(&letters))
            .straight(top - TOP_CHAMFER_MM, pins(0.0))
            .tapered(top, pins(0.0), pins(TOP_CHAMFER_MM));
        let z = TAB_MM + self.pin_height_mm * 0.6;
        for (diameter, [x, _]) in self.diameters_mm.iter().copied().zip(centers) {
            let radius = diameter / 2.0;
            body.measured(Feature {
                label: feature_label('p', diameter, "x"),
                kind: Kind::Pin,
                axis: Axis::X,
                nominal_mm: diameter,
                jaws: along_x(Tool::OutsideJaws, x - radius, x + radius, 0.0, z),
                label_at: [x + radius + 5.5, 3.2],
            });
            body.measured(Feature {
                label: feature_label('p', diameter, "y"),
                kind: Kind::Pin,
                axis: Axis::Y,
                nominal_mm: diameter,
                jaws: along_y(Tool::OutsideJaws, -radius, radius, x, z),
                label_at: [x + 4.0, widest / 2.0 + 4.0],
            });
        }
        body
    }
}
