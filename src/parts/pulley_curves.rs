//! The pulley as lines and true arcs: its section for DXF and SVG, its body for STEP.
//!
//! Walls of teeth are lines and arcs already ([`crate::belt::groove::Groove::walls`]) and stay so when they are corrected, so
//! the section is exact: what a drawing program measures in the file is the size in the table.
//!
//! The exact body is that of the printed mesh with one difference. Under the upper flange the mesh rises
//! out of tips and grooves alike; such walls are neither planes nor cones. Here the cone stands on a circle
//! just outside the tips, and the grooves end at a flat ceiling: [`Exact::differences`] says so.

use crate::geometry::brep::{Brep, NotExact};
use crate::geometry::curve::{CurveLoop, CurveOutline};
use crate::geometry::curve_stack::CurveStack;

use super::pulley::{Body, CHAMFER_MM, Design};
use super::pulley_request::Flanges;
use super::pulley_solid;

pub use super::build::section::teeth;

/// How far outside the tips the cone under the upper flange begins, mm: circles that touch would leave
/// faces without width.
const CLEAR_OF_TIPS_MM: f64 = 0.05;

/// The section through the teeth: their outline and the bore.
pub fn section(body: &Body) -> CurveOutline {
    CurveOutline::new(teeth(&body.groove)).with_hole(&CurveLoop::circle([0.0, 0.0], body.bore_mm))
}

/// A pulley as an exact solid.
#[derive(Clone, Debug)]
pub struct Exact {
    /// The solid.
    pub brep: Brep,
    /// In what it differs from the mesh, in words; empty where it does not.
    pub differences: Vec<&'static str>,
}

/// The drawn body as an exact solid.
///
/// # Errors
/// When its faces do not close, which is a fault of this program.
pub fn exact(design: &Design) -> Result<Exact, NotExact> {
    let (body, heights) = (&design.drawn, design.drawn.heights);
    let circle = |diameter: f64| CurveLoop::circle([0.0, 0.0], diameter);
    let bore = circle(body.bore_mm);
    let mouth = circle(body.bore_mm + 2.0 * CHAMFER_MM);
    let disc = CurveOutline::new(circle(body.flange_diameter_mm));
    let face = CurveOutline::new(teeth(&body.groove));
    let mut differences = Vec::new();
    let mut stack = CurveStack::new(pulley_solid::name(design));
    let top_of_face =
        if design.flanges == Flanges::Two { heights.face_to_mm } else { heights.top_mm - CHAMFER_MM };
    let (below, above) = if design.flanges == Flanges::None {
        let inner = pulley_solid::chamfered(&body.groove).map(|inner| CurveOutline::new(teeth(&inner)));
        let inner = inner.filter(|inner| inner.tapers_to(&face));
        if inner.is_none() {
            differences.push("the teeth have no chamfer at the bed, where the mesh has one");
        }
        (inner.unwrap_or_else(|| face.clone()), &face)
    } else {
        (CurveOutline::new(circle(body.flange_diameter_mm - 2.0 * CHAMFER_MM)), &disc)
    };
    stack = stack.taper(0.0, CHAMFER_MM, &below.with_hole(&mouth), &above.clone().with_hole(&bore));
    let mut level = CHAMFER_MM;
    if design.flanges != Flanges::None {
        stack = stack.slab(level, heights.face_from_mm, &disc.clone().with_hole(&bore));
        level = heights.face_from_mm;
    }
    stack = stack.slab(level, top_of_face, &face.clone().with_hole(&bore));
    let mut top = face;
    if design.flanges == Flanges::Two {
        differences.push(
            "the grooves end at a flat ceiling under the upper flange, where the mesh rises at 45 degrees",
        );
        let foot = CurveOutline::new(circle(2.0 * (body.groove.outside_radius_mm + CLEAR_OF_TIPS_MM)));
        stack = stack.taper(
            heights.face_to_mm,
            heights.rim_mm,
            &foot.with_hole(&bore),
            &disc.clone().with_hole(&bore),
        );
        stack = stack.slab(heights.rim_mm, heights.top_mm - CHAMFER_MM, &disc.clone().with_hole(&bore));
        top = disc;
    }
    let (below, above) = (top.clone().with_hole(&bore), top.with_hole(&mouth));
    let stack = stack.taper(heights.top_mm - CHAMFER_MM, heights.top_mm, &below, &above);
    Ok(Exact { brep: stack.brep()?, differences })
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::parts::pulley_request::{Build, Request};
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

    #[test]
    fn the_section_has_the_area_that_ever_finer_polygons_approach() {
        for (belt, count) in [("T5", 20), ("T5", 21), ("XL", 10), ("MXL", 40)] {
            let body = design(belt, count, Flanges::None).drawn;
            let exact = section(&body).area() + PI * body.bore_mm * body.bore_mm / 4.0;
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
                let exact = exact(&design).unwrap();
                let mesh = pulley_solid::solid(&design).unwrap().volume_mm3();
                let off = exact.brep.volume_mm3 / mesh - 1.0;
                let allowed = if exact.differences.is_empty() { 5e-4 } else { 5e-3 };
                assert!(off.abs() < allowed, "{belt} {flanges:?} {off}");
                // One hole through it.
                assert_eq!(exact.brep.euler(), 0, "{belt} {flanges:?}");
            }
            let exact = exact(&design(belt, 24, Flanges::Two)).unwrap();
            assert_eq!((exact.brep.euler(), exact.differences.len()), (0, 1), "{belt}");
        }
    }

    #[test]
    fn a_wall_that_goes_on_is_one_face() {
        let exact = exact(&design("T5", 20, Flanges::Two)).unwrap();
        // Eight walls a tooth; bore, two mouths, rim of the lower flange with its chamfer, cone, upper rim;
        // caps: bed, upper side of the lower flange, ceiling, top.
        assert_eq!(exact.brep.faces.len(), 8 * 20 + 7 + 4);
    }
}
