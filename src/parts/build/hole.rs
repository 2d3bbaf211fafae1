//! Holes along the axis, on a circle about it: for screws, dowels, or to save plastic.
//!
//! Each hole is corrected as a bore, the circle as a distance between centres.

use std::f64::consts::TAU;

use crate::correction::apply::CannotApply;
use crate::geometry::outline::Point;
use crate::kind::Kind;

use super::sizing::{Sized, Sizing};

/// Equal holes, evenly spaced on a circle.
#[derive(Clone, Debug, PartialEq)]
pub struct HoleCircle {
    /// What they are for, in words: `screw hole`.
    pub name: &'static str,
    /// How many.
    pub count: u32,
    /// Diameter of a hole, mm.
    pub diameter_mm: f64,
    /// Diameter of the circle through their centres, mm.
    pub circle_mm: f64,
    /// Direction of the first, from +x, radians.
    pub first_rad: f64,
    /// Where they begin above the bed, mm; `None` at the bed.
    pub from_mm: Option<f64>,
    /// Where they end above the bed, mm; `None` at the top.
    pub to_mm: Option<f64>,
}

impl HoleCircle {
    /// The holes to draw.
    pub fn drawn(&self, sizing: &Sizing<'_>) -> Result<Self, CannotApply> {
        let height = |mm: Option<f64>| mm.map(|mm| sizing.drawn_mm(Kind::Height, mm)).transpose();
        Ok(Self {
            diameter_mm: sizing.drawn_mm(Kind::Bore, self.diameter_mm)?,
            circle_mm: sizing.drawn_mm(Kind::Span, self.circle_mm)?,
            from_mm: height(self.from_mm)?,
            to_mm: height(self.to_mm)?,
            ..self.clone()
        })
    }

    /// What a caliper finds on it.
    pub fn sizes(&self, out: &mut Vec<Sized>) {
        out.push(Sized::new(self.name, Kind::Bore, self.diameter_mm));
        out.push(Sized::new(format!("circle of {}s", self.name), Kind::Span, self.circle_mm));
        let ends = [("floor", self.from_mm), ("end", self.to_mm)];
        for (what, mm) in ends.into_iter().filter_map(|(what, mm)| Some((what, mm?))) {
            out.push(Sized::new(format!("bed to {}'s {what}", self.name), Kind::Height, mm));
        }
    }

    /// The holes' centres.
    pub fn centres(&self) -> impl Iterator<Item = Point> + '_ {
        (0..self.count).map(|i| {
            let (sin, cos) = (self.first_rad + TAU * f64::from(i) / f64::from(self.count)).sin_cos();
            [self.circle_mm / 2.0 * cos, self.circle_mm / 2.0 * sin]
        })
    }

    /// Distance of the holes' inner and outer edges from the axis, mm.
    pub fn band_mm(&self) -> (f64, f64) {
        ((self.circle_mm - self.diameter_mm) / 2.0, (self.circle_mm + self.diameter_mm) / 2.0)
    }

    /// Plastic between one hole and the next, mm; none to speak of with a single hole.
    pub fn between_mm(&self) -> f64 {
        if self.count < 2 {
            return f64::INFINITY;
        }
        self.circle_mm * (TAU / 2.0 / f64::from(self.count)).sin() - self.diameter_mm
    }
}
