//! Bore-fit ring: a round bore in a thick ring with a label on a low tab.
//!
//! The bore goes through, chamfered at the bed and at the top. The tab points along x and tells the
//! directions apart once the ring is off the bed. The outside is measured along y, where it is bare from
//! the chamfer at the bed to the top.

use super::body::{Body, Stance, along_x, along_y, circle};
use super::feature::{Feature, Tool, feature_label};
use super::fields::Fields;
use super::label::Label;
use super::limits::{
    BED_CHAMFER_MM, BORE, LABEL_RELIEF_MM, RING_HEIGHT, STRIP_MM, TAB_MM, TOP_CHAMFER_MM, WALL,
};
use crate::geometry::outline::Outline;
use crate::kind::{Axis, Kind};

/// One ring.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Ring {
    pub bore_mm: f64,
    pub wall_mm: f64,
    pub height_mm: f64,
}

impl Ring {
    /// One ring for every bore of the table.
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Vec<Self> {
        let bores_mm = fields.lengths("bores_mm", BORE, 20);
        let wall_mm = fields.length_or("wall_mm", 4.0, WALL);
        let height_mm = fields.length_or("height_mm", 10.0, RING_HEIGHT);
        bores_mm.into_iter().map(|bore_mm| Self { bore_mm, wall_mm, height_mm }).collect()
    }

    fn outside_mm(&self) -> f64 {
        self.bore_mm + 2.0 * self.wall_mm
    }

    /// The ring's outside, smaller by `c` all round.
    fn round(&self, c: f64) -> Outline {
        circle([0.0; 2], self.outside_mm(), -c)
    }

    /// The bore, wider by `c` all round.
    fn bore(&self, c: f64) -> Outline {
        circle([0.0; 2], self.bore_mm, c)
    }

    /// The ring's outside with the tab, which ends at `end`.
    ///
    /// The tab's sides leave the circle at corners that it has anyway: the ring above the tab and the ring
    /// beside it then share every corner, and no sliver is drawn between two nearly equal edges.
    fn tabbed(&self, c: f64, end: f64) -> Outline {
        let whole = self.round(0.0).loops.swap_remove(0);
        let quarter = whole.len() / 4;
        // The thinnest ring is 11 mm across and the strip 7.8 mm, so a corner is found before the quarter.
        let first = (1..quarter).find(|i| whole[*i][1] >= STRIP_MM / 2.0).unwrap_or(quarter);
        let last = whole.len() - first;
        let half_width = whole[first][1] - c;
        let round = self.round(c).loops.swap_remove(0);
        let mut points = round[first..=last].to_vec();
        points.extend([[end - c, -half_width], [end - c, half_width]]);
        Outline::polygon(points)
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let radius = self.outside_mm() / 2.0;
        let width = label.width_mm();
        let end = radius + width + 2.8;
        let letters = label.centred([radius + 1.0 + width / 2.0, 0.0]);
        let ring = |c: f64| self.round(c).with_hole(&self.bore(c));
        let tab = |c: f64| self.tabbed(c, end).with_hole(&self.bore(c));
        let top = self.height_mm;
        let mut body = Body::new(Stance::Upright, letters.clone())
            .tapered(BED_CHAMFER_MM, tab(BED_CHAMFER_MM), tab(0.0))
            .straight(TAB_MM, tab(0.0))
            .straight(TAB_MM + LABEL_RELIEF_MM, ring(0.0).union_disjoint(&letters))
            .straight(top - TOP_CHAMFER_MM, ring(0.0))
            .tapered(top, ring(0.0), ring(TOP_CHAMFER_MM));
        let z = (TAB_MM + top) / 2.0;
        let (bore, outside) = (self.bore_mm, self.outside_mm());
        let inside = Tool::InsideJaws;
        body.measured(Feature {
            label: feature_label('b', bore, "x"),
            kind: Kind::Bore,
            axis: Axis::X,
            nominal_mm: bore,
            jaws: along_x(inside, -bore / 2.0, bore / 2.0, 0.0, z),
            label_at: [-radius - 5.0, 0.0],
        });
        body.measured(Feature {
            label: feature_label('b', bore, "y"),
            kind: Kind::Bore,
            axis: Axis::Y,
            nominal_mm: bore,
            jaws: along_y(inside, -bore / 2.0, bore / 2.0, 0.0, z),
            label_at: [-radius - 5.0, radius],
        });
        body.measured(Feature {
            label: feature_label('p', outside, "y"),
            kind: Kind::Pin,
            axis: Axis::Y,
            nominal_mm: outside,
            jaws: along_y(Tool::OutsideJaws, -radius, radius, 0.0, z),
            label_at: [6.0, radius + 4.0],
        });
        body
    }
}
