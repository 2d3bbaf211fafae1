//! Span bar: a bar with a slot in its end, along x, along y or along a diagonal.
//!
//! The ends of the two prongs and the bottom of the slot look the same way, so the swell of a wall moves
//! both alike and the distance between them is the scale of that direction alone. It is read with the
//! depth rod: the end of the caliper's beam rests on both prongs, the rod reaches the bottom of the slot.
//! A second slot may come from the other end. `outer` is the length over all.
//!
//! ```text
//!            ______[label]______
//!   ________/___________________\________
//!  |________________         ____________|       seen from above
//!   slot 1          |  web  |      slot 2        the prongs' ends and the slot's bottom look left
//!   ________________|       |____________
//!  |_____________________________________|
//! ```

use super::body::{Body, Stance, along_x};
use super::feature::{Feature, Jaws, Tool, feature_label, tidy};
use super::fields::Fields;
use super::label::Label;
use super::limits::{
    BED_CHAMFER_MM, LABEL_RELIEF_MM, SLOT, SPAN, STRIP_MM, TAB_MM, TOP_CHAMFER_MM, UPRIGHT, WALL,
};
use crate::geometry::outline::{Outline, Point};
use crate::kind::{Axis, Kind};

/// What stays solid behind a slot: the rod presses on it, and the outside jaws with it between them.
const WEB_MM: f64 = 8.0;

/// A bar along x, turned for the other directions.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SpanBar {
    pub axis: Axis,
    /// The slot from the left, and perhaps one from the right.
    pub spans_mm: Vec<f64>,
    pub slot_mm: f64,
    pub prong_mm: f64,
    pub height_mm: f64,
    pub outer: bool,
}

impl SpanBar {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        let directions = [("x", Axis::X), ("y", Axis::Y), ("d45", Axis::D45), ("d135", Axis::D135)];
        Self {
            axis: fields.word("axis", &directions),
            spans_mm: fields.lengths("spans_mm", SPAN, 2),
            slot_mm: fields.length_or("slot_mm", 6.0, SLOT),
            prong_mm: fields.length_or("prong_mm", 4.0, WALL),
            height_mm: fields.length_or("height_mm", 8.0, UPRIGHT),
            outer: fields.flag("outer", true),
        }
    }

    fn length_mm(&self) -> f64 {
        tidy(self.spans_mm.iter().sum::<f64>() + WEB_MM)
    }

    /// Longest words that its tab can carry without reaching beyond the ends, which jaws touch.
    pub(super) fn label_room_mm(&self) -> f64 {
        self.length_mm() - 4.0 - 2.8
    }

    fn width_mm(&self) -> f64 {
        2.0 * self.prong_mm + self.slot_mm
    }

    /// The bar, smaller by `c` all round, with a tab along its back from `left` to `right` that reaches out
    /// by `reach`.
    ///
    /// Without a tab the corners where it would begin are there all the same: turned onto a diagonal and
    /// snapped to the grid, the edges above and below the tab's top then still agree.
    fn bar(&self, c: f64, [left, right]: [f64; 2], reach: f64) -> Outline {
        let (length, width) = (self.length_mm(), self.width_mm());
        let (low, high) = (self.prong_mm - c, self.prong_mm + self.slot_mm + c);
        let mut points: Vec<Point> = vec![[c, c], [length - c, c]];
        if let Some(span) = self.spans_mm.get(1) {
            let bottom = length - span - c;
            points.extend([[length - c, low], [bottom, low], [bottom, high], [length - c, high]]);
        }
        points.push([length - c, width - c]);
        points.push([right - c, width - c]);
        if reach > 0.0 {
            points.extend([[right - c, width + reach - c], [left + c, width + reach - c]]);
        }
        points.push([left + c, width - c]);
        let bottom = self.spans_mm[0] + c;
        points.extend([[c, width - c], [c, high], [bottom, high], [bottom, low], [c, low]]);
        Outline::polygon(points)
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let (length, width) = (self.length_mm(), self.width_mm());
        let label_width = label.width_mm() + 2.8;
        let left = (self.spans_mm[0] + WEB_MM / 2.0 - label_width / 2.0).min(length - 2.0 - label_width);
        let tab = [left, left + label_width];
        let letters = label.centred([left + label_width / 2.0, width + STRIP_MM / 2.0]);
        let top = self.height_mm;
        let mut body = Body::new(Stance::Upright, letters.clone())
            .tapered(BED_CHAMFER_MM, self.bar(BED_CHAMFER_MM, tab, STRIP_MM), self.bar(0.0, tab, STRIP_MM))
            .straight(TAB_MM, self.bar(0.0, tab, STRIP_MM))
            .straight(TAB_MM + LABEL_RELIEF_MM, self.bar(0.0, tab, 0.0).union_disjoint(&letters))
            .straight(top - TOP_CHAMFER_MM, self.bar(0.0, tab, 0.0))
            .tapered(top, self.bar(0.0, tab, 0.0), self.bar(TOP_CHAMFER_MM, tab, 0.0));
        let (middle, z) = (width / 2.0, top / 2.0);
        let ends = [(0.0, self.spans_mm[0]), (length, self.spans_mm.get(1).map_or(0.0, |s| length - s))];
        for (span, (end, bottom)) in self.spans_mm.iter().zip(ends) {
            let jaws = Jaws { tool: Tool::DepthRod, from: [end, middle, z], to: [bottom, middle, z] };
            body.measured(Feature {
                label: feature_label('s', *span, ""),
                kind: Kind::Span,
                axis: self.axis,
                nominal_mm: *span,
                jaws,
                label_at: [(end + bottom) / 2.0, -4.0],
            });
        }
        if self.outer {
            let y = self.prong_mm / 2.0;
            body.measured(Feature {
                label: feature_label('o', length, ""),
                kind: Kind::Outer,
                axis: self.axis,
                nominal_mm: length,
                jaws: along_x(Tool::OutsideJaws, 0.0, length, y, z),
                label_at: [length + 10.0, y],
            });
        }
        match self.axis {
            Axis::Y => body.turned(90_f64.to_radians()),
            Axis::D45 => body.turned(45_f64.to_radians()),
            Axis::D135 => body.turned(135_f64.to_radians()),
            _ => body,
        }
    }
}
