//! Horizontal bores: a block with round holes along y, so that their tops are printed over nothing.
//!
//! The block is drawn from the front and stacked from back to front. The holes go through and are
//! chamfered at both ends; the label is sunk into the front.

use super::body::{Body, Stance, along_x, along_z, circle};
use super::feature::{Feature, Tool, feature_label};
use super::fields::Fields;
use super::label::Label;
use super::limits::{BED_CHAMFER_MM, BORE, HOLE_LENGTH, LABEL_RELIEF_MM, WALL};
use crate::geometry::outline::{Outline, Point};
use crate::kind::{Axis, Kind};

/// Bores in a row along x, all with their axis at one height.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct BoreBlock {
    pub bores_mm: Vec<f64>,
    pub wall_mm: f64,
    pub depth_mm: f64,
}

impl BoreBlock {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        Self {
            bores_mm: fields.lengths("bores_mm", BORE, 12),
            wall_mm: fields.length_or("wall_mm", 4.0, WALL),
            depth_mm: fields.length_or("depth_mm", 12.0, HOLE_LENGTH),
        }
    }

    fn height_mm(&self) -> f64 {
        self.bores_mm.iter().copied().fold(0.0, f64::max) + 2.0 * self.wall_mm
    }

    /// The bores' centres in x and z, and where the last wall ends.
    fn centers(&self) -> (Vec<Point>, f64) {
        let mut left = self.wall_mm;
        let place = |bore: &f64| {
            let center = [left + bore / 2.0, self.height_mm() / 2.0];
            left += bore + self.wall_mm;
            center
        };
        (self.bores_mm.iter().map(place).collect(), left)
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let (centers, walls_end) = self.centers();
        let height = self.height_mm();
        let width = label.width_mm();
        let length = walls_end + width + 2.0;
        let block = chamfered_at_the_bed(&[[0.0, height], [length, height]]);
        let letters = label.centred([walls_end + width / 2.0, height / 2.0]);
        let bores = |c: f64| {
            let circles = self.bores_mm.iter().zip(&centers).map(|(bore, center)| circle(*center, *bore, c));
            circles.fold(Outline::default(), |all, bore| all.union_disjoint(&bore))
        };
        let drilled = |c: f64| block.clone().with_hole(&bores(c));
        let sunk = |c: f64| drilled(c).minus_inside(&letters);
        let mut body = Body::new(Stance::OnEdge, letters.clone())
            .tapered(BED_CHAMFER_MM, drilled(BED_CHAMFER_MM), drilled(0.0))
            .straight(self.depth_mm - LABEL_RELIEF_MM, drilled(0.0))
            .tapered(self.depth_mm, sunk(0.0), sunk(LABEL_RELIEF_MM));
        let y = self.depth_mm / 2.0;
        for (bore, [x, z]) in self.bores_mm.iter().copied().zip(centers) {
            let radius = bore / 2.0;
            body.measured(Feature {
                label: feature_label('h', bore, "x"),
                kind: Kind::HorizontalBore,
                axis: Axis::X,
                nominal_mm: bore,
                jaws: along_x(Tool::InsideJaws, x - radius, x + radius, y, z),
                label_at: [x, -3.5],
            });
            body.measured(Feature {
                label: feature_label('h', bore, "z"),
                kind: Kind::HorizontalBore,
                axis: Axis::Z,
                nominal_mm: bore,
                jaws: along_z(Tool::InsideJaws, z - radius, z + radius, x, y),
                label_at: [x, height + 3.5],
            });
        }
        body
    }
}

/// A profile that stands on the bed from x = 0 to the last `top`, with the two corners at the bed cut.
///
/// `tops` runs along the upper edge from left to right.
pub(super) fn chamfered_at_the_bed(tops: &[Point]) -> Outline {
    let c = BED_CHAMFER_MM;
    let right = tops[tops.len() - 1][0];
    let mut points: Vec<Point> = vec![[0.0, c], [c, 0.0], [right - c, 0.0], [right, c]];
    points.extend(tops.iter().rev());
    Outline::polygon(points)
}
