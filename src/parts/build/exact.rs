//! A piece as an exact solid, for STEP: its sections piled up, with the chamfers that are cones.
//!
//! What is no plane, cylinder or cone is left out or drawn simpler, and [`Exact::differences`] says so: the
//! slope out of the grooves under an upper flange (a cone on a circle just outside the tips stands in for
//! it), set screws and their nuts, labels, the mouths of bores that are partly round.

use crate::geometry::brep::{Brep, NotExact};
use crate::geometry::curve::{CurveLoop, CurveOutline};
use crate::geometry::curve_stack::CurveStack;

use super::bore::Bore;
use super::chamfered;
use super::piece::Piece;
use super::section::{Section, teeth};
use super::step::Side;

/// How far outside the tips the cone under the upper flange begins, mm: circles that touch would leave
/// faces without width.
const CLEAR_OF_TIPS_MM: f64 = 0.05;

/// A piece as an exact solid.
#[derive(Clone, Debug)]
pub struct Exact {
    /// The solid.
    pub brep: Brep,
    /// In what it differs from the mesh, in words; empty where it does not.
    pub differences: Vec<String>,
}

/// A prism or a taper between two heights.
struct Layer {
    from_mm: f64,
    to_mm: f64,
    bottom: CurveOutline,
    top: CurveOutline,
}

impl Piece {
    /// This piece as an exact solid.
    ///
    /// # Errors
    /// Sections that overlap in part, where [`Piece::check`] has not refused them.
    pub fn exact(&self) -> Result<Exact, NotExact> {
        let mut differences = Vec::new();
        let mut layers: Vec<Layer> = Vec::new();
        let mut below: Option<CurveLoop> = None;
        for section in self.sections() {
            layers.push(self.layer(&section, below.as_ref(), &mut differences));
            below = section.outline.loops.first().cloned();
        }
        self.chamfer_at_the_bed(&mut layers, &mut differences);
        self.chamfer_on_top(&mut layers, &mut differences);
        if let Some(screws) = &self.set_screws {
            let degrees: Vec<String> =
                screws.directions_rad.iter().map(|angle| format!("{:.0}", angle.to_degrees())).collect();
            differences.push(format!(
                "set screws are left out: bore {:.2} mm at {:.2} mm above the bed, from the axis at {} degrees from +x{}",
                screws.diameter_mm,
                screws.height_mm,
                degrees.join(" and "),
                if screws.nut.is_some() { ", and cut the nuts' slots" } else { "" }
            ));
        }
        if self.label.is_some() {
            differences.push("the label is left out".to_owned());
        }
        if self
            .steps
            .iter()
            .any(|step| matches!(step.side, Side::Teeth(groove) if groove.rolling_radius_mm.is_some()))
        {
            differences.push("involute flanks are narrow planes, within 0.0005 mm".to_owned());
        }
        let mut stack = CurveStack::new(&self.name);
        for layer in &layers {
            stack = if layer.bottom == layer.top {
                stack.slab(layer.from_mm, layer.to_mm, &layer.bottom)
            } else {
                stack.taper(layer.from_mm, layer.to_mm, &layer.bottom, &layer.top)
            };
        }
        Ok(Exact { brep: stack.brep()?, differences })
    }

    fn layer(&self, section: &Section, below: Option<&CurveLoop>, differences: &mut Vec<String>) -> Layer {
        let mut bottom = section.outline.clone();
        if let (Some(radius), Some(outer)) = (section.foot_radius_mm, bottom.loops.first_mut()) {
            // On another round the cone begins where that ends.
            *outer = match below.filter(|below| below.as_circle().is_some()) {
                Some(below) => below.clone(),
                None => {
                    differences.push(
                        "the grooves end at a flat ceiling under the upper flange, where the mesh rises at 45 degrees"
                            .to_owned(),
                    );
                    CurveLoop::circle([0.0, 0.0], 2.0 * (radius + CLEAR_OF_TIPS_MM))
                }
            };
        }
        Layer { from_mm: section.from_mm, to_mm: section.to_mm, bottom, top: section.outline.clone() }
    }

    /// The edges on the bed: of the outside, and of the bore or its recess.
    fn chamfer_at_the_bed(&self, layers: &mut Vec<Layer>, differences: &mut Vec<String>) {
        let Some(first) = layers.first() else { return };
        let height = self.bed_chamfer_mm;
        if height <= 0.0 {
            return;
        }
        if first.bottom != first.top || first.to_mm - first.from_mm <= height {
            differences.push("there is no chamfer at the bed, where the mesh has one".to_owned());
            return;
        }
        let mut low = first.bottom.clone();
        if let Some(outer) = low.loops.first_mut() {
            match self.drawn_in(outer, height) {
                Some((inner, by_mm)) => {
                    *outer = inner;
                    if by_mm < height {
                        differences
                            .push(format!("the chamfer of the teeth at the bed is {by_mm:.2} mm wide"));
                    }
                }
                None => differences
                    .push("the teeth have no chamfer at the bed, where the mesh has one".to_owned()),
            }
        }
        self.open_mouth(&mut low, height, "at the bed", differences);
        let (from_mm, high) = (first.from_mm, first.bottom.clone());
        layers[0].from_mm = from_mm + height;
        layers.insert(0, Layer { from_mm, to_mm: from_mm + height, bottom: low, top: high });
    }

    /// The outside of the lowest step, smaller by the chamfer, and by how much; `None` where that gives no
    /// planes and cones.
    fn drawn_in(&self, outer: &CurveLoop, height: f64) -> Option<(CurveLoop, f64)> {
        if let Some((center, diameter)) = outer.as_circle() {
            return Some((CurveLoop::circle(center, diameter - 2.0 * height), height));
        }
        let Side::Teeth(groove) = self.steps.first()?.side else { return None };
        // Its corner with the tips would run along a curve that is no line.
        if groove.tip_radius_mm <= 0.0 {
            return None;
        }
        // Three quarters of the roundings at the most, and of the tips a quarter: the mesh does so, too.
        let least = height.min(0.75 * groove.tip_radius_mm).min(groove.land_mm() / 4.0);
        let inner = CurveOutline::new(teeth(&chamfered(&groove, least)?));
        let is_exact = inner.tapers_to(&CurveOutline::new(outer.clone()));
        inner.loops.into_iter().next().filter(|_| is_exact).map(|inner| (inner, least))
    }

    fn chamfer_on_top(&self, layers: &mut Vec<Layer>, differences: &mut Vec<String>) {
        let Some(last) = layers.last_mut() else { return };
        let height = self.mouth_chamfer_mm;
        if height <= 0.0 {
            return;
        }
        if last.bottom != last.top || last.to_mm - last.from_mm <= height {
            differences.push("the upper mouth has no chamfer, where the mesh has one".to_owned());
            return;
        }
        let (to_mm, low) = (last.to_mm, last.top.clone());
        let mut high = low.clone();
        self.open_mouth(&mut high, height, "on top", differences);
        if high == low {
            return;
        }
        last.to_mm = to_mm - height;
        layers.push(Layer { from_mm: to_mm - height, to_mm, bottom: low, top: high });
    }

    /// Widens the hole about the axis, the second loop of every section.
    fn open_mouth(
        &self,
        outline: &mut CurveOutline,
        by_mm: f64,
        where_: &str,
        differences: &mut Vec<String>,
    ) {
        let Some(hole) = outline.loops.get_mut(1) else { return };
        let wider = match (hole.as_circle(), self.bore) {
            (Some((center, diameter)), _) => Some(CurveLoop::circle(center, diameter + 2.0 * by_mm)),
            (None, Bore::Polygon { sides, flat_mm }) => {
                Some(Bore::Polygon { sides, flat_mm: flat_mm + by_mm }.curves())
            }
            _ => None,
        };
        match wider {
            Some(wider) => *hole = wider.reversed(),
            None => differences.push(format!("the bore has no chamfer {where_}, where the mesh has one")),
        }
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
