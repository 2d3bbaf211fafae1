//! A piece as an exact solid, for STEP: outside and hollow as runs of lines and arcs over heights, piled up with
//! the chamfers that are cones and planes, and the holes across drilled through.
//!
//! What is no plane, cylinder or cone is drawn simpler, and [`Exact::differences`] says so: the slope out of the
//! grooves under an upper flange (a cone on a circle just outside the tips stands in for it), chamfers of teeth whose
//! roundings are narrower than they.

use crate::geometry::brep::{Brep, NotExact};
use crate::geometry::curve::{Corner, CurveLoop, CurveOutline};
use crate::geometry::curve_stack::CurveStack;
use crate::geometry::drill::Drill;

use super::label::DEPTH_MM;
use super::piece::Piece;
use super::recess::End;
use super::section::{ROLLED_ARC_MM, teeth};
use super::step::{Side, Step};

/// How far outside the tips the cone under the upper flange begins, mm: circles that touch would leave
/// faces without width.
const CLEAR_OF_TIPS_MM: f64 = 0.05;
/// A chamfer of teeth narrower than this is left out, mm: a first layer's spread is more.
const LEAST_CHAMFER_MM: f64 = 0.02;
/// Heights closer than this are one, mm.
const SAME_HEIGHT_MM: f64 = 1e-9;

/// A piece as an exact solid.
#[derive(Clone, Debug)]
pub struct Exact {
    /// The solid.
    pub brep: Brep,
    /// In what it differs from the mesh, in words; empty where it does not.
    pub differences: Vec<String>,
}

/// A loop over some heights, changing evenly where `high` is given: lines stay parallel, arcs concentric.
struct Run {
    from: f64,
    to: f64,
    low: CurveLoop,
    high: Option<CurveLoop>,
}

impl Run {
    fn upright(from: f64, to: f64, low: CurveLoop) -> Self {
        Self { from, to, low, high: None }
    }

    fn at(&self, z: f64) -> CurveLoop {
        let Some(high) = &self.high else { return self.low.clone() };
        // To the last bit at its ends, where others join it.
        if z - self.from <= SAME_HEIGHT_MM {
            return self.low.clone();
        }
        if self.to - z <= SAME_HEIGHT_MM {
            return high.clone();
        }
        let share = (z - self.from) / (self.to - self.from);
        let between = |(a, b): (&Corner, &Corner)| Corner {
            at: [0, 1].map(|axis| a.at[axis] + share * (b.at[axis] - a.at[axis])),
            curve: a.curve,
        };
        CurveLoop { corners: self.low.corners.iter().zip(&high.corners).map(between).collect() }
    }
}

/// A piece about to be piled up.
struct Pile<'a> {
    piece: &'a Piece,
    outer: Vec<Run>,
    inner: Vec<Run>,
    differences: Vec<String>,
}

impl Piece {
    /// This piece as an exact solid.
    ///
    /// # Errors
    /// Sections that overlap in part, where [`Piece::check`] has not refused them.
    pub fn exact(&self) -> Result<Exact, NotExact> {
        let mut pile = Pile { piece: self, outer: Vec::new(), inner: Vec::new(), differences: Vec::new() };
        let is_rolled =
            |step: &Step| matches!(step.side, Side::Teeth(groove) if groove.rolling_radius_mm.is_some());
        if self.steps.iter().any(is_rolled) {
            pile.differences.push(format!("involute flanks are arcs within {ROLLED_ARC_MM} mm"));
        }
        pile.add_outer_runs();
        pile.add_inner_runs();
        let mut stack = pile.stack();
        if let Some(screws) = &self.set_screws {
            let (height_mm, radius_mm) = (screws.height_mm, screws.diameter_mm / 2.0);
            for &direction_rad in &screws.directions_rad {
                let drill = Drill { start: [0.0, 0.0], direction_rad, height_mm, radius_mm };
                stack = stack.drilled(drill);
            }
        }
        Ok(Exact { brep: stack.brep()?, differences: pile.differences })
    }
}

impl Pile<'_> {
    fn add_outer_runs(&mut self) {
        for (index, (from, step)) in self.piece.steps_from().enumerate() {
            let below = self.outer.last().map(|run| run.high.as_ref().unwrap_or(&run.low).clone());
            let outline = match &step.side {
                Side::Round { diameter_mm } | Side::Cone { diameter_mm } => {
                    CurveLoop::circle([0.0, 0.0], *diameter_mm)
                }
                Side::Teeth(groove) => teeth(groove),
            };
            let mut start = from;
            if index == 0 && self.piece.bed_chamfer_mm > 0.0 {
                let height = self.piece.bed_chamfer_mm.min((step.to_mm - from) / 2.0);
                if let Some(low) = self.drawn_in(step, &outline, height) {
                    start = from + height;
                    self.outer.push(Run { from, to: start, low, high: Some(outline.clone()) });
                }
            }
            let run = match &step.side {
                Side::Round { .. } | Side::Teeth(_) => Run::upright(start, step.to_mm, outline),
                Side::Cone { .. } => {
                    let low = self.foot(below, index);
                    Run { from, to: step.to_mm, low, high: Some(outline) }
                }
            };
            self.outer.push(run);
        }
    }

    /// What a cone begins at: what is below where that is round, else a circle just outside the tips.
    fn foot(&mut self, below: Option<CurveLoop>, index: usize) -> CurveLoop {
        if let Some(round) = below.filter(|below| below.as_circle().is_some()) {
            return round;
        }
        self.differences.push(
            "the grooves end at a flat ceiling under the upper flange, where the mesh rises at 45 degrees"
                .to_owned(),
        );
        let tips = index.checked_sub(1).map_or(0.0, |below| self.piece.steps[below].side.reach_mm());
        CurveLoop::circle([0.0, 0.0], 2.0 * (tips + CLEAR_OF_TIPS_MM))
    }

    /// The outside on the bed, smaller by the chamfer; `None` where that gives no planes and cones.
    fn drawn_in(&mut self, step: &Step, outer: &CurveLoop, height: f64) -> Option<CurveLoop> {
        if let Some((center, diameter)) = outer.as_circle() {
            return Some(CurveLoop::circle(center, diameter - 2.0 * height));
        }
        let Side::Teeth(groove) = step.side else { return None };
        // Three quarters of the roundings at the most, and of the tips a quarter: the mesh does so, too.
        let bulge = outer.least_bulge().unwrap_or_default();
        let least = height.min(0.75 * bulge).min(groove.land_mm() / 4.0);
        // Where tips are sharp, their corners would run along a curve that is no line.
        let found = if least > LEAST_CHAMFER_MM { outer.drawn_in(least) } else { None };
        if found.is_none() {
            self.differences.push("the teeth have no chamfer at the bed, where the mesh has one".to_owned());
        } else if least < height {
            self.differences.push(format!("the chamfer of the teeth at the bed is {least:.2} mm wide"));
        }
        found
    }

    fn add_inner_runs(&mut self) {
        let piece = self.piece;
        let (top, bed_chamfer, top_chamfer) = (piece.top_mm(), piece.bed_chamfer_mm, piece.mouth_chamfer_mm);
        let recess = |end| piece.recesses.iter().find(|recess| recess.end == end);
        let round = |diameter_mm: f64| CurveLoop::circle([0.0, 0.0], diameter_mm);
        let mouth = |end, by_mm: f64| match recess(end) {
            Some(recess) => (round(recess.diameter_mm), round(recess.diameter_mm + 2.0 * by_mm)),
            None => (piece.bore.curves(), piece.bore.opened(by_mm).curves()),
        };
        let mut low = 0.0;
        let (bed_hollow, wider) = mouth(End::Bed, bed_chamfer);
        if bed_chamfer > 0.0 {
            self.inner.push(Run { from: 0.0, to: bed_chamfer, low: wider, high: Some(bed_hollow.clone()) });
            low = bed_chamfer;
        }
        if let Some(recess) = recess(End::Bed) {
            self.inner.push(Run::upright(low, recess.floor_mm, bed_hollow));
            low = recess.floor_mm;
        }
        if let Some(recess) = recess(End::Top) {
            self.inner.push(Run::upright(low, recess.floor_mm, piece.bore.curves()));
            low = recess.floor_mm;
        }
        let (hollow, wider) = mouth(End::Top, top_chamfer);
        self.inner.push(Run::upright(low, top - top_chamfer, hollow.clone()));
        if top_chamfer > 0.0 {
            self.inner.push(Run { from: top - top_chamfer, to: top, low: hollow, high: Some(wider) });
        }
    }

    /// Every height at which something begins or ends.
    fn heights(&self) -> Vec<f64> {
        let piece = self.piece;
        let mut heights: Vec<f64> =
            self.outer.iter().chain(&self.inner).flat_map(|run| [run.from, run.to]).collect();
        heights.extend(piece.holes.iter().flat_map(|hole| [hole.from_mm, hole.to_mm]).flatten());
        heights.extend(piece.label.iter().flat_map(|label| [label.face_mm - DEPTH_MM, label.face_mm]));
        heights.extend(piece.set_screws.iter().filter_map(|screws| Some(screws.nut?.floor_mm)));
        heights.sort_by(f64::total_cmp);
        heights.dedup_by(|a, b| (*a - *b).abs() < SAME_HEIGHT_MM);
        heights
    }

    fn stack(&self) -> CurveStack {
        let mut stack = CurveStack::new(&self.piece.name);
        for pair in self.heights().windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let middle = (from + to) / 2.0;
            let is_there = |run: &&Run| run.from < middle && middle < run.to;
            let (Some(outer), Some(inner)) =
                (self.outer.iter().find(is_there), self.inner.iter().find(is_there))
            else {
                continue;
            };
            let cuts = self.cuts_at(middle);
            let outline = |z: f64| {
                let mut outline = CurveOutline::new(outer.at(z)).with_hole(&inner.at(z));
                outline.loops.extend(cuts.iter().cloned());
                outline
            };
            let (bottom, top) = (outline(from), outline(to));
            stack = if bottom == top {
                stack.slab(from, to, &bottom)
            } else {
                stack.taper(from, to, &bottom, &top)
            };
        }
        stack
    }

    /// Holes, slots and letters at a height, clockwise.
    fn cuts_at(&self, z: f64) -> Vec<CurveLoop> {
        let mut cuts = self.piece.cuts_at(z);
        if let Some(label) = &self.piece.label
            && (label.face_mm - DEPTH_MM..label.face_mm).contains(&z)
        {
            let letters = label.outline().loops;
            cuts.extend(letters.into_iter().map(|points| CurveLoop::polygon(points).reversed()));
        }
        cuts
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parts::pulley::Design;
    use crate::parts::pulley_request::{Build, Flanges, Request};
    use crate::parts::pulley_solid;
    use crate::units::Mm;

    fn design(belt: &str, teeth: u32, flanges: Flanges) -> Design {
        let request = Request {
            belt: belt.to_owned(),
            teeth,
            bore: Mm::new(3.0).unwrap(),
            flanges,
            belt_width: None,
            allow_few_teeth: true,
            build: Build::default(),
        };
        Design::new(&request, None).unwrap()
    }

    fn exact(design: &Design) -> Exact {
        design.drawn_pieces[0].exact().unwrap()
    }

    #[test]
    fn the_section_has_the_area_that_ever_finer_polygons_approach() {
        for (belt, count) in [("T5", 20), ("T5", 21), ("XL", 10), ("MXL", 40)] {
            let body = design(belt, count, Flanges::None).drawn;
            let exact = teeth(&body.groove).area();
            let off = |chord_error: f64| {
                let counts = crate::belt::walls::chord_counts(&body.groove.walls(), chord_error);
                let points: Vec<_> = body.groove.corners(&counts).into_iter().map(|(x, y)| [x, y]).collect();
                (crate::geometry::outline::loop_area(&points) - exact).abs()
            };
            assert!(off(1e-6) < 1e-4 && off(1e-6) < off(1e-4) / 20.0, "{belt} {count} {}", off(1e-6));
        }
    }

    /// The mesh is the exact body but for chords and, with two flanges, the ceilings of the grooves.
    #[test]
    fn the_exact_body_closes_and_has_the_volume_of_the_mesh() {
        for belt in ["T5", "T10", "XL", "MXL", "H"] {
            for flanges in [Flanges::None, Flanges::One] {
                let design = design(belt, 24, flanges);
                let exact = exact(&design);
                let mesh = pulley_solid::solid(&design).unwrap().volume_mm3();
                let off = exact.brep.volume_mm3 / mesh - 1.0;
                let allowed = if exact.differences.is_empty() { 5e-4 } else { 5e-3 };
                assert!(off.abs() < allowed, "{belt} {flanges:?} {off}");
                // One hole through it.
                assert_eq!(exact.brep.euler(), 0, "{belt} {flanges:?}");
            }
            let exact = exact(&design(belt, 24, Flanges::Two));
            assert_eq!((exact.brep.euler(), exact.differences.len()), (0, 1), "{belt}");
        }
    }

    #[test]
    fn a_wall_that_goes_on_is_one_face() {
        let exact = exact(&design("T5", 20, Flanges::Two));
        // Eight walls a tooth; bore, two mouths, rim of the lower flange with its chamfer, cone, upper rim;
        // caps: bed, upper side of the lower flange, ceiling, top.
        assert_eq!(exact.brep.faces.len(), 8 * 20 + 7 + 4);
    }
}
