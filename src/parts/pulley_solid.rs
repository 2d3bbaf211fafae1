//! The body of a pulley: its drawn sizes, piled up from the bed as slabs and tapers.
//!
//! Chamfers and flanges grow out of some of the teeth's corners only. Where they meet the teeth, slivers
//! a few hundredths of a millimetre wide are left bare or hang over, and half the triangles are saved.

use crate::belt::groove::Groove;
use crate::geometry::check::NotASolid;
use crate::geometry::outline::{Outline, Point};
use crate::geometry::solid::{Solid, Stack};

use super::pulley::{CHAMFER_MM, Design};
use super::pulley_request::Flanges;

/// The drawn body, proven watertight.
///
/// *Errors*: the pulley is larger than solids may be.
pub fn solid(design: &Design) -> Result<Solid, NotASolid> {
    stack(design).solid()
}

fn stack(design: &Design) -> Stack {
    let (body, heights) = (&design.drawn, design.drawn.heights);
    let bore = Outline::circle([0.0, 0.0], body.bore_mm);
    let mouth = Outline::circle_with([0.0, 0.0], body.bore_mm + 2.0 * CHAMFER_MM, bore.loops[0].len());
    let disc = Outline::circle([0.0, 0.0], body.flange_diameter_mm);
    let face = Outline::polygon(corners(&body.groove, &design.chords.teeth));
    let guide = corners(&body.groove, &design.chords.guides);
    let mut stack = Stack::new(name(design));
    let slab = |stack: Stack, from: f64, to: f64, outline: &Outline| {
        stack.slab(from, to, &outline.clone().with_hole(&bore))
    };
    // Up to the face's end; the last chamfer's height is left for the bore's upper mouth.
    let top_of_face =
        if design.flanges == Flanges::Two { heights.face_to_mm } else { heights.top_mm - CHAMFER_MM };
    let at_bed = |stack: Stack, below: &Outline, above: &Outline| {
        stack.taper(0.0, CHAMFER_MM, &below.clone().with_hole(&mouth), &above.clone().with_hole(&bore))
    };
    if design.flanges == Flanges::None {
        let above = Outline::polygon(guide.clone());
        let below =
            chamfered(&body.groove).map(|inner| Outline::polygon(corners(&inner, &design.chords.guides)));
        let below = below.unwrap_or_else(|| above.clone());
        stack = at_bed(stack, &below, &above);
        stack = slab(stack, CHAMFER_MM, top_of_face, &face);
    } else {
        let edge =
            Outline::circle_with([0.0, 0.0], body.flange_diameter_mm - 2.0 * CHAMFER_MM, disc.loops[0].len());
        stack = at_bed(stack, &edge, &disc);
        stack = slab(stack, CHAMFER_MM, heights.face_from_mm, &disc);
        stack = slab(stack, heights.face_from_mm, top_of_face, &face);
    }
    let mut top = face.clone();
    if design.flanges == Flanges::Two {
        // First tips and grooves alike at 45 degrees until the tips reach the rim, then the grooves on.
        let radius = body.flange_diameter_mm / 2.0;
        let height = radius - body.groove.outside_radius_mm;
        let share = height / (radius - body.groove.floor_mm);
        let middle = heights.face_to_mm + share * (heights.rim_mm - heights.face_to_mm);
        let out = |reach: &dyn Fn(f64) -> f64| {
            let place = |&[x, y]: &Point| {
                let far = x.hypot(y);
                [x * reach(far) / far, y * reach(far) / far]
            };
            Outline::polygon(guide.iter().map(place).collect::<Vec<Point>>())
        };
        let (foot, grown, rim) = (out(&|far| far), out(&|far| far + height), out(&|_| radius));
        let hollow = |outline: &Outline| outline.clone().with_hole(&bore);
        stack = stack.taper(heights.face_to_mm, middle, &hollow(&foot), &hollow(&grown));
        stack = stack.taper(middle, heights.rim_mm, &hollow(&grown), &hollow(&rim));
        stack = slab(stack, heights.rim_mm, heights.top_mm - CHAMFER_MM, &rim);
        top = rim;
    }
    let (below, above) = (top.clone().with_hole(&bore), top.with_hole(&mouth));
    stack.taper(heights.top_mm - CHAMFER_MM, heights.top_mm, &below, &above)
}

fn corners(groove: &Groove, chords: &[usize; 8]) -> Vec<Point> {
    groove.corners(chords).into_iter().map(|(x, y)| [x, y]).collect()
}

/// What the solid is called.
pub fn name(design: &Design) -> String {
    format!("{} pulley, {} teeth", design.pulley.profile.name, design.pulley.teeth())
}

/// The teeth drawn in by the chamfer at the bed, corner for corner; `None` where that leaves no teeth.
pub fn chamfered(groove: &Groove) -> Option<Groove> {
    // No more than leaves half of the tips.
    let inset = CHAMFER_MM.min(groove.land_mm() / 4.0);
    let mut inner = groove.grown(-inset, -inset);
    // A rounding must stay one, however small, for its corners to have partners.
    if groove.tip_radius_mm > 0.0 {
        inner.tip_radius_mm = inner.tip_radius_mm.max(groove.tip_radius_mm / 4.0);
    }
    if groove.bottom_radius_mm == 0.0 {
        inner.bottom_radius_mm = 0.0;
    }
    inner.check().ok()?;
    Some(inner)
}
