//! Set screws across the axis, through a hub to the shaft, each with a slot for its nut.
//!
//! *Picture*: a hole of horizontal axis runs from the hub's outside into the bore. The slot stands across
//! it, open to the nearer end of the part, so that a hexagon nut drops in with two of its flats upright; its
//! floor lies where the nut's lowest corner comes to rest with its thread on the hole.
//!
//! The hole is a horizontal bore, the slot two gaps (across the flats and along the screw) and a height.
//! Its place along the screw is drawn by the shrink of the outside.

use std::f64::consts::{PI, TAU};

use crate::correction::apply::CannotApply;
use crate::geometry::outline::{Point, fewest_segments_for};
use crate::kind::Kind;

use super::recess::End;
use super::sizing::{Sized, Sizing};

/// The slot that holds a nut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NutSlot {
    /// Width, across the nut's flats, mm.
    pub width_mm: f64,
    /// Room along the screw, the nut's thickness, mm.
    pub thickness_mm: f64,
    /// From the axis of the part to the slot's nearer wall, mm.
    pub from_axis_mm: f64,
    /// Where the slot's floor lies above the bed, or its ceiling where it opens to the bed, mm.
    pub floor_mm: f64,
}

/// Set screws at one height.
#[derive(Clone, Debug, PartialEq)]
pub struct SetScrews {
    /// The end of the part that the slots open to.
    pub end: End,
    /// Directions from the axis, radians from +x, in rising order.
    pub directions_rad: Vec<f64>,
    /// Height of the screws' axes above the bed, mm.
    pub height_mm: f64,
    /// Diameter of the hole, mm.
    pub diameter_mm: f64,
    /// The slots; `None` where the screw cuts its own thread.
    pub nut: Option<NutSlot>,
}

impl SetScrews {
    /// The set screws to draw.
    pub fn drawn(&self, sizing: &Sizing<'_>) -> Result<Self, CannotApply> {
        let nut = |slot: &NutSlot| -> Result<NutSlot, CannotApply> {
            let thickness_mm = sizing.drawn_mm(Kind::Gap, slot.thickness_mm)?;
            let middle = sizing.drawn_mm(Kind::Span, 2.0 * slot.from_axis_mm + slot.thickness_mm)? / 2.0;
            Ok(NutSlot {
                width_mm: sizing.drawn_mm(Kind::Gap, slot.width_mm)?,
                thickness_mm,
                from_axis_mm: middle - thickness_mm / 2.0,
                floor_mm: sizing.drawn_mm(Kind::Height, slot.floor_mm)?,
            })
        };
        Ok(Self {
            height_mm: sizing.drawn_mm(Kind::Height, self.height_mm)?,
            diameter_mm: sizing.drawn_mm(Kind::HorizontalBore, self.diameter_mm)?,
            nut: self.nut.as_ref().map(nut).transpose()?,
            ..self.clone()
        })
    }

    /// What a caliper finds on them.
    pub fn sizes(&self, out: &mut Vec<Sized>) {
        out.push(Sized::new("set screw hole", Kind::HorizontalBore, self.diameter_mm));
        out.push(Sized::new("bed to set screw's axis", Kind::Height, self.height_mm));
        if let Some(slot) = &self.nut {
            out.push(Sized::new("nut slot across flats", Kind::Gap, slot.width_mm));
            out.push(Sized::new("nut slot along screw", Kind::Gap, slot.thickness_mm));
            out.push(Sized::new("bed to nut slot's end", Kind::Height, slot.floor_mm));
        }
    }

    /// Heights above the bed and half widths of the hole's polygon, from its lowest to its highest side:
    /// flat below and above, so that it is nowhere of no width.
    pub(super) fn profile(&self) -> Vec<(f64, f64)> {
        // As fine as other holes.
        let sides = fewest_segments_for(self.diameter_mm);
        let step = TAU / sides as f64;
        // The corners' radius of the polygon that has the circle's area.
        let radius = self.diameter_mm / 2.0 * (step / step.sin()).sqrt();
        let corner = |i: usize| {
            let angle = (i as f64 + 0.5) * step;
            (self.height_mm - radius * angle.cos(), radius * angle.sin())
        };
        (0..sides / 2).map(corner).collect()
    }

    /// Whether the slots of nuts reach through a height.
    pub(super) fn has_slot_at(&self, z: f64) -> bool {
        self.nut.is_some_and(|slot| match self.end {
            End::Top => z > slot.floor_mm,
            End::Bed => z < slot.floor_mm,
        })
    }

    /// The slots of nuts seen along the axis, counter-clockwise.
    pub(super) fn slots(&self) -> Vec<[Point; 4]> {
        let Some(slot) = self.nut else { return Vec::new() };
        let (near, far) = (slot.from_axis_mm, slot.from_axis_mm + slot.thickness_mm);
        let half = slot.width_mm / 2.0;
        let around = |angle: &f64| {
            let (sin, cos) = angle.sin_cos();
            [[near, -half], [far, -half], [far, half], [near, half]]
                .map(|[along, left]| [along * cos - left * sin, along * sin + left * cos])
        };
        self.directions_rad.iter().map(around).collect()
    }

    /// From the lowest to the highest place of hole and slot above the bed, mm, in a part `top_mm` high.
    pub fn span_mm(&self, top_mm: f64) -> (f64, f64) {
        let half = self.diameter_mm / 2.0 * 1.01;
        let (low, high) = (self.height_mm - half, self.height_mm + half);
        match (&self.nut, self.end) {
            (Some(slot), End::Top) => (low.min(slot.floor_mm), top_mm),
            (Some(slot), End::Bed) => (0.0, high.max(slot.floor_mm)),
            (None, _) => (low, high),
        }
    }
}

/// From a nut's axis to its corners, by its width across flats, mm.
pub fn corner_reach_mm(across_flats_mm: f64) -> f64 {
    across_flats_mm / 2.0 / (PI / 6.0).cos()
}
