//! Tooth-gap comb: upright teeth on a base, with gaps of several widths between them.
//!
//! The gaps end on the base and not on the bed, so the first layer's spread is not in them; the tops of
//! the teeth are chamfered. The first and the last tooth are wider, stand flush with the ends of the base,
//! and are where the outside jaws go: across all teeth, and across the last tooth alone when the gap
//! beside it lets a jaw in.
//!
//! ```text
//!    ___   __  __   __    ___      z
//!   |   | |  ||  | |  |  |   |     ^     seen from the front, x to the right
//!   |   |_|  ||  |_|  |__|   |     |
//!   |________________________|     +-> x
//! ```

use super::body::{Body, Stance, along_x};
use super::feature::{Feature, Tool, feature_label, tidy};
use super::fields::Fields;
use super::label::Label;
use super::limits::{
    BED_CHAMFER_MM, FACE, GAP, JAW_TIP_MM, LABEL_RELIEF_MM, STRIP_MM, TAB_MM, TOP_CHAMFER_MM, UPRIGHT, WALL,
};
use crate::geometry::outline::Outline;
use crate::kind::{Axis, Kind};

/// A comb along x, or along y when it is turned by a quarter.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Comb {
    pub axis: Axis,
    /// Rising, so that the widest gap is beside the last tooth.
    pub gaps_mm: Vec<f64>,
    pub tooth_mm: f64,
    pub end_tooth_mm: f64,
    pub tooth_height_mm: f64,
    pub depth_mm: f64,
}

impl Comb {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        let mut gaps_mm = fields.lengths("gaps_mm", GAP, 12);
        gaps_mm.sort_by(f64::total_cmp);
        Self {
            axis: fields.word("axis", &[("x", Axis::X), ("y", Axis::Y)]),
            gaps_mm,
            tooth_mm: fields.length_or("tooth_mm", 5.0, WALL),
            end_tooth_mm: fields.length_or("end_tooth_mm", 8.0, WALL),
            tooth_height_mm: fields.length_or("tooth_height_mm", 10.0, UPRIGHT),
            depth_mm: fields.length_or("depth_mm", 10.0, FACE),
        }
    }

    /// The left and the right face of every tooth.
    fn teeth(&self) -> Vec<(f64, f64)> {
        let mut teeth = vec![(0.0, self.end_tooth_mm)];
        for (i, gap) in self.gaps_mm.iter().enumerate() {
            let left = teeth[i].1 + gap;
            let last = i + 1 == self.gaps_mm.len();
            teeth.push((left, left + if last { self.end_tooth_mm } else { self.tooth_mm }));
        }
        teeth
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let teeth = self.teeth();
        let length = teeth[teeth.len() - 1].1;
        let depth = self.depth_mm;
        // Long words may need a wider base than few teeth do: a low step before the end faces.
        let step = ((label.width_mm() + 2.8 - length) / 2.0).max(0.0);
        let base = |c: f64| Outline::rectangle(c - step, c - STRIP_MM, length + step - c, depth - c);
        let upright = |c: f64| {
            let boxes = teeth.iter().map(|(l, r)| Outline::rectangle(l + c, c, r - c, depth - c));
            boxes.fold(Outline::default(), |all, tooth| all.union_disjoint(&tooth))
        };
        let top = TAB_MM + self.tooth_height_mm;
        let letters = label.centred([length / 2.0, -STRIP_MM / 2.0]);
        let mut body = Body::new(Stance::Upright, letters.clone())
            .tapered(BED_CHAMFER_MM, base(BED_CHAMFER_MM), base(0.0))
            .straight(TAB_MM, base(0.0))
            .straight(TAB_MM + LABEL_RELIEF_MM, upright(0.0).union_disjoint(&letters))
            .straight(top - TOP_CHAMFER_MM, upright(0.0))
            .tapered(top, upright(0.0), upright(TOP_CHAMFER_MM));
        let z = TAB_MM + self.tooth_height_mm / 2.0;
        for (pair, gap) in teeth.windows(2).zip(&self.gaps_mm) {
            body.measured(Feature {
                label: feature_label('g', *gap, ""),
                kind: Kind::Gap,
                axis: self.axis,
                nominal_mm: *gap,
                jaws: along_x(Tool::InsideJaws, pair[0].1, pair[1].0, depth / 2.0, z),
                label_at: [(pair[0].1 + pair[1].0) / 2.0, depth + 4.0],
            });
        }
        let mut outer = |left: f64, right: f64, y: f64, label_x: f64| {
            body.measured(Feature {
                label: feature_label('o', right - left, ""),
                kind: Kind::Outer,
                axis: self.axis,
                nominal_mm: tidy(right - left),
                jaws: along_x(Tool::OutsideJaws, left, right, y, z),
                label_at: [label_x, y],
            });
        };
        if self.gaps_mm.iter().any(|gap| *gap >= JAW_TIP_MM) {
            outer(length - self.end_tooth_mm, length, depth * 0.75, length + 10.0);
        }
        outer(0.0, length, depth * 0.25, -10.0);
        if self.axis == Axis::Y { body.turned(std::f64::consts::FRAC_PI_2) } else { body }
    }
}
