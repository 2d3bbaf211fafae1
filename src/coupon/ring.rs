//! Bore-fit ring: a hole in a thick ring with a label on a low tab.
//!
//! The hole is round, round with a flat (a D), or a hexagon as a nut has. Of a D, the round is measured along
//! the flat; the size across it, from the flat to the round opposite, is half gap and half bore, and so checked
//! but not fitted ([`FLAT_SUFFIX`]). A hexagon has two flats across the direction that is measured.
//!
//! The hole goes through, chamfered at the bed and at the top. The tab points along x and tells the
//! directions apart once the ring is off the bed. The outside is measured along y, where it is bare from
//! the chamfer at the bed to the top.

use std::f64::consts::{FRAC_PI_3, FRAC_PI_6, TAU};

use super::body::{Body, Stance, along_x, along_y, circle};
use super::feature::{FLAT_SUFFIX, Feature, Tool, feature_label};
use super::fields::Fields;
use super::label::Label;
use super::limits::{
    BED_CHAMFER_MM, BORE, LABEL_RELIEF_MM, RING_HEIGHT, STRIP_MM, TAB_MM, TOP_CHAMFER_MM, WALL,
};
use crate::geometry::outline::{Outline, segments_for};
use crate::kind::{Axis, Kind};

/// The hole of a ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Hole {
    /// Of this diameter.
    Round(f64),
    /// Round, with a flat on its +x side.
    D {
        /// Diameter of the round.
        bore_mm: f64,
        /// From the flat to the round opposite.
        across_mm: f64,
    },
    /// A hexagon.
    Hexagon {
        /// From flat to flat.
        across_mm: f64,
        /// The direction that two of its flats are across: x or y.
        axis: Axis,
    },
}

/// Across corners over across flats.
const CORNERS_OVER_FLATS: f64 = 1.154_700_538_379_251_7; // 2 / sqrt(3)

impl Hole {
    /// What the ring's name ends in.
    pub(super) fn size_mm(self) -> f64 {
        match self {
            Self::Round(size) | Self::D { bore_mm: size, .. } | Self::Hexagon { across_mm: size, .. } => size,
        }
    }

    /// The circle around it, to a tenth of a millimetre.
    fn around_mm(self) -> f64 {
        match self {
            Self::Round(bore) | Self::D { bore_mm: bore, .. } => bore,
            Self::Hexagon { across_mm, .. } => (across_mm * CORNERS_OVER_FLATS * 10.0).ceil() / 10.0,
        }
    }

    /// Its outline, wider by `c` all round; two that differ in `c` alone have corner beside corner.
    fn outline(self, c: f64) -> Outline {
        match self {
            Self::Round(bore) => circle([0.0; 2], bore, c),
            Self::D { bore_mm, across_mm } => {
                let radius = bore_mm / 2.0 + c;
                let flat = across_mm - bore_mm / 2.0 + c;
                // As many corners for every `c`, and as a whole circle a polygon of the true area.
                let count = 2 * segments_for(bore_mm);
                let half = (flat / radius).acos();
                let step = (TAU - 2.0 * half) / count as f64;
                let far = radius * (step / step.sin()).sqrt();
                let half = (flat / far).acos();
                let step = (TAU - 2.0 * half) / count as f64;
                let corner = |i: usize| {
                    let (sin, cos) = (half + step * i as f64).sin_cos();
                    [far * cos, far * sin]
                };
                Outline::polygon((0..=count).map(corner).collect::<Vec<_>>())
            }
            Self::Hexagon { across_mm, axis } => {
                let far = (across_mm / 2.0 + c) * CORNERS_OVER_FLATS;
                let begin = if axis == Axis::Y { 0.0 } else { FRAC_PI_6 };
                let corner = |i: u8| {
                    let (sin, cos) = (begin + f64::from(i) * FRAC_PI_3).sin_cos();
                    [far * cos, far * sin]
                };
                Outline::polygon((0..6).map(corner).collect::<Vec<_>>())
            }
        }
    }
}

/// One ring.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Ring {
    pub hole: Hole,
    pub wall_mm: f64,
    pub height_mm: f64,
}

impl Ring {
    /// One ring for every bore of the table.
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Vec<Self> {
        let bores_mm = fields.lengths("bores_mm", BORE, 20);
        Self::of(bores_mm.into_iter().map(Hole::Round).collect(), fields)
    }

    /// One ring for every bore with a flat of the table.
    pub(super) fn read_d(fields: &mut Fields<'_, '_>) -> Vec<Self> {
        let bores_mm = fields.lengths("bores_mm", BORE, 20);
        let across_mm = fields.lengths("across_mm", BORE, 20);
        if bores_mm.len() != across_mm.len() {
            let message =
                format!("{} bores and {} sizes across their flats", bores_mm.len(), across_mm.len());
            fields.problem("across_mm", message, "give one size across the flat for every bore");
        }
        let mut holes = Vec::new();
        for (bore_mm, across_mm) in bores_mm.into_iter().zip(across_mm) {
            if across_mm <= bore_mm / 2.0 || across_mm >= bore_mm {
                let message = format!("a bore of {bore_mm} mm has no flat at {across_mm} mm across");
                fields.problem("across_mm", message, "more than half of the bore and less than the bore");
            } else {
                holes.push(Hole::D { bore_mm, across_mm });
            }
        }
        Self::of(holes, fields)
    }

    /// One ring for every hexagon of the table.
    pub(super) fn read_hexagon(fields: &mut Fields<'_, '_>) -> Vec<Self> {
        let across_mm = fields.lengths("across_flats_mm", BORE, 20);
        let axis = fields.word("axis", &[("x", Axis::X), ("y", Axis::Y)]);
        Self::of(across_mm.into_iter().map(|across_mm| Hole::Hexagon { across_mm, axis }).collect(), fields)
    }

    fn of(holes: Vec<Hole>, fields: &mut Fields<'_, '_>) -> Vec<Self> {
        let wall_mm = fields.length_or("wall_mm", 4.0, WALL);
        let height_mm = fields.length_or("height_mm", 10.0, RING_HEIGHT);
        holes.into_iter().map(|hole| Self { hole, wall_mm, height_mm }).collect()
    }

    fn outside_mm(&self) -> f64 {
        self.hole.around_mm() + 2.0 * self.wall_mm
    }

    /// The ring's outside, smaller by `c` all round.
    fn round(&self, c: f64) -> Outline {
        circle([0.0; 2], self.outside_mm(), -c)
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
        let ring = |c: f64| self.round(c).with_hole(&self.hole.outline(c));
        let tab = |c: f64| self.tabbed(c, end).with_hole(&self.hole.outline(c));
        let top = self.height_mm;
        let mut body = Body::new(Stance::Upright, letters.clone())
            .tapered(BED_CHAMFER_MM, tab(BED_CHAMFER_MM), tab(0.0))
            .straight(TAB_MM, tab(0.0))
            .straight(TAB_MM + LABEL_RELIEF_MM, ring(0.0).union_disjoint(&letters))
            .straight(top - TOP_CHAMFER_MM, ring(0.0))
            .tapered(top, ring(0.0), ring(TOP_CHAMFER_MM));
        let z = (TAB_MM + top) / 2.0;
        let outside = self.outside_mm();
        let mut inside = |letter, kind, size: f64, axis, from: f64, label_at, is_of_two_kinds: bool| {
            let (tool, to) = (Tool::InsideJaws, from + size);
            let (jaws, ending) = match axis {
                Axis::X => (along_x(tool, from, to, 0.0, z), "x"),
                _ => (along_y(tool, from, to, 0.0, z), "y"),
            };
            let suffix = if is_of_two_kinds { FLAT_SUFFIX } else { "" };
            let label = feature_label(letter, size, &format!("{ending}{suffix}"));
            body.measured(Feature { label, kind, axis, nominal_mm: size, jaws, label_at });
        };
        let (beside_x, beside_y) = ([-radius - 5.0, 0.0], [-radius - 5.0, radius]);
        match self.hole {
            Hole::Round(bore) => {
                inside('b', Kind::Bore, bore, Axis::X, -bore / 2.0, beside_x, false);
                inside('b', Kind::Bore, bore, Axis::Y, -bore / 2.0, beside_y, false);
            }
            Hole::D { bore_mm, across_mm } => {
                inside('d', Kind::Gap, across_mm, Axis::X, -bore_mm / 2.0, beside_x, true);
                inside('b', Kind::Bore, bore_mm, Axis::Y, -bore_mm / 2.0, beside_y, false);
            }
            Hole::Hexagon { across_mm, axis } => {
                inside('g', Kind::Gap, across_mm, axis, -across_mm / 2.0, beside_x, false);
            }
        }
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
