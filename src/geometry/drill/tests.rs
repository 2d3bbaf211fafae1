//! Holes across solids whose volumes are known in closed form.

use std::f64::consts::{FRAC_PI_2, PI};

use super::*;
use crate::geometry::brep::NotExact;
use crate::geometry::curve::CurveLoop;
use crate::geometry::curve_stack::CurveStack;

/// A square tube of 20 mm with a square hole of 10 mm, 8 mm high.
fn tube() -> CurveStack {
    let square = |half: f64| CurveLoop::polygon([[-half, -half], [half, -half], [half, half], [-half, half]]);
    CurveStack::new("tube").slab(0.0, 8.0, &CurveOutline::new(square(10.0)).with_hole(&square(5.0)))
}

fn drill(direction_rad: f64, radius_mm: f64) -> Drill {
    Drill { start: [0.0, 0.0], direction_rad, height_mm: 4.0, radius_mm }
}

#[test]
fn a_hole_through_flat_walls_is_a_cylinder_of_their_thickness() {
    let plain = tube().brep().unwrap();
    let one = tube().drilled(drill(FRAC_PI_2, 2.0)).brep().unwrap();
    assert!((plain.volume_mm3 - one.volume_mm3 - 5.0 * PI * 4.0).abs() < 1e-9);
    // The square hole through it, and one more.
    assert_eq!((plain.euler(), one.euler(), one.faces.len()), (0, -2, plain.faces.len() + 1));
    let two = tube().drilled(drill(FRAC_PI_2, 2.0)).drilled(drill(PI, 3.0)).brep().unwrap();
    assert!((one.volume_mm3 - two.volume_mm3 - 5.0 * PI * 9.0).abs() < 1e-9);
    assert_eq!(two.euler(), -4);
}

/// Through two corners head on: along the diagonal both walls lean by 45 degrees, so that the hole is as long
/// everywhere as in its middle, 5 mm times the root of 2.
#[test]
fn a_hole_through_corners_ends_in_ellipses_on_either_side_of_each() {
    let plain = tube().brep().unwrap();
    let one = tube().drilled(drill(FRAC_PI_2 / 2.0, 2.0)).brep().unwrap();
    let expected = 5.0 * 2f64.sqrt() * PI * 4.0;
    assert!((plain.volume_mm3 - one.volume_mm3 - expected).abs() < 1e-8);
    assert_eq!(one.euler(), -2);
    let ellipses = one.edges.iter().filter(|edge| matches!(edge.curve, SpaceCurve::Ellipse { .. })).count();
    assert_eq!(ellipses, 4);
}

#[test]
fn a_hole_that_reaches_past_its_walls_or_meets_nothing_is_refused() {
    let failed = |drill: Drill| tube().drilled(drill).brep().unwrap_err();
    let expected = NotExact::Hole { name: "tube".to_owned(), z: 4.0 };
    // As wide as the tube is high.
    assert_eq!(failed(drill(FRAC_PI_2, 4.0)), expected);
    // From outside away from it.
    assert_eq!(failed(Drill { start: [0.0, 20.0], ..drill(FRAC_PI_2, 1.0) }), expected);
    // Half beside the outer wall's end.
    assert_eq!(failed(Drill { start: [9.0, 0.0], ..drill(FRAC_PI_2, 2.0) }), expected);
}
