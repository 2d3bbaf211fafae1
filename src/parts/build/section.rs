//! A piece's sections as true lines and arcs, from the bed up: what a drawing program takes.
//!
//! Chamfers and labels are left out, which fit nothing. The holes of set screws are no section: they stand in
//! [`Piece::set_screws`] with height, directions and sizes; the slots of their nuts are one.

use crate::geometry::biarc;
use crate::geometry::curve::{Corner, Curve, CurveLoop, CurveOutline};

use crate::belt::groove::Groove;
use crate::belt::walls::{Shape, Wall};

use super::hole::HoleCircle;
use super::piece::Piece;
use super::recess::End;
use super::step::Side;

/// A prism of a piece between two heights.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// The step that it is of: `hub`, `face`.
    pub name: &'static str,
    /// Where it begins above the bed, mm.
    pub from_mm: f64,
    /// Where it ends, mm.
    pub to_mm: f64,
    /// What is plastic. Of a cone: its rim.
    pub outline: CurveOutline,
    /// Of a cone, the radius that its foot has about the axis, mm: that of the tips below it.
    pub foot_radius_mm: Option<f64>,
}

/// How far arcs may lie from a rolled flank, mm: no drawing program has the curve itself.
pub const ROLLED_ARC_MM: f64 = 5e-4;

/// The outline of teeth, counter-clockwise; involute flanks as arcs that meet smoothly.
pub fn teeth(groove: &Groove) -> CurveLoop {
    let mut corners = Vec::with_capacity(8 * groove.teeth as usize);
    let walls = groove.walls();
    for pitch in 0..groove.teeth {
        let turn = 2.0 * groove.half_pitch_rad() * f64::from(pitch);
        for wall in walls.iter().flat_map(Wall::parts).flatten() {
            let wall = wall.turned(turn);
            let at = |share: f64| {
                let (x, y) = wall.at(share).0;
                [x, y]
            };
            match wall.shape {
                // A sharp corner is no wall.
                Shape::Arc { radius: 0.0, .. } => {}
                Shape::Arc { centre, from_rad, to_rad, .. } => {
                    let curve = Curve::Arc { center: [centre.0, centre.1], sweep_rad: to_rad - from_rad };
                    corners.push(Corner { at: at(0.0), curve });
                }
                Shape::Line { .. } => corners.push(Corner { at: at(0.0), curve: Curve::Line }),
                Shape::Rolled { .. } => {
                    // The plastic is on the left: the way along is the normal turned left.
                    let along = |share: f64| {
                        let (_, (nx, ny)) = wall.at(share);
                        [at(share), [-ny, nx]]
                    };
                    corners.extend(biarc::along(along, ROLLED_ARC_MM));
                }
            }
        }
    }
    CurveLoop { corners }
}

impl Piece {
    /// Its sections from the bed up; neighbours touch.
    pub fn sections(&self) -> Vec<Section> {
        let mut heights: Vec<f64> =
            std::iter::once(0.0).chain(self.steps.iter().map(|step| step.to_mm)).collect();
        heights.extend(self.recesses.iter().map(|recess| recess.floor_mm));
        heights.extend(self.holes.iter().flat_map(|hole| [hole.from_mm, hole.to_mm]).flatten());
        heights.extend(self.set_screws.iter().filter_map(|screws| Some(screws.nut?.floor_mm)));
        heights.sort_by(f64::total_cmp);
        heights.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
        heights.windows(2).filter_map(|pair| self.section(pair[0], pair[1])).collect()
    }

    fn section(&self, from_mm: f64, to_mm: f64) -> Option<Section> {
        let middle = (from_mm + to_mm) / 2.0;
        let index = self.steps.iter().position(|step| middle < step.to_mm)?;
        let step = &self.steps[index];
        let circle = |diameter: f64| CurveLoop::circle([0.0, 0.0], diameter);
        let (outer, foot_radius_mm) = match &step.side {
            Side::Round { diameter_mm } => (circle(*diameter_mm), None),
            Side::Teeth(groove) => (teeth(groove), None),
            Side::Cone { diameter_mm } => {
                let below = index.checked_sub(1).map(|below| self.steps[below].side.reach_mm());
                (circle(*diameter_mm), below)
            }
        };
        let recess = self.recesses.iter().find(|recess| match recess.end {
            End::Bed => middle < recess.floor_mm,
            End::Top => middle > recess.floor_mm,
        });
        let inner = recess.map_or_else(|| self.bore.curves(), |recess| circle(recess.diameter_mm));
        let mut outline = CurveOutline::new(outer).with_hole(&inner);
        outline.loops.extend(self.cuts_at(middle));
        Some(Section { name: step.name, from_mm, to_mm, outline, foot_radius_mm })
    }

    /// Holes along the axis and slots of nuts at a height, clockwise.
    pub(super) fn cuts_at(&self, z: f64) -> Vec<CurveLoop> {
        let step = self.steps.iter().find(|step| z < step.to_mm);
        let is_high = |hole: &&HoleCircle| {
            hole.from_mm.is_none_or(|from| from < z)
                && hole.to_mm.is_none_or(|to| to > z)
                && step.is_some_and(|step| Self::passes_through(hole, step))
        };
        let holes = self.holes.iter().filter(is_high).flat_map(|hole| {
            hole.centres().map(|centre| CurveLoop::circle(centre, hole.diameter_mm).reversed())
        });
        let screws = self.set_screws.iter().filter(|screws| screws.has_slot_at(z));
        let slots = screws.flat_map(|screws| screws.slots()).map(|of| CurveLoop::polygon(of).reversed());
        holes.chain(slots).collect()
    }
}
