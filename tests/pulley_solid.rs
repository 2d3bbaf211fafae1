//! The bodies of pulleys: closed, one piece, of the volume of the polygons drawn, the same when read back.

use std::f64::consts::PI;

use shrinkrule::belt::profile;
use shrinkrule::geometry::stl;
use shrinkrule::parts::pulley::{CHAMFER_MM, Design};
use shrinkrule::parts::pulley_request::{Build, Flanges, Request};
use shrinkrule::parts::pulley_solid::solid;
use shrinkrule::units::Mm;

fn design(belt: &str, teeth: u32, flanges: Flanges) -> Design {
    let request = Request {
        belt: belt.to_owned(),
        teeth,
        bore: Mm::new(2.0).unwrap(),
        flanges,
        belt_width: None,
        allow_few_teeth: false,
        build: Build::default(),
    };
    Design::new(&request, None).unwrap()
}

fn area(corners: &[(f64, f64)]) -> f64 {
    let shifted = corners.iter().skip(1).chain(&corners[..1]);
    corners.iter().zip(shifted).map(|(a, b)| (a.0 * b.1 - a.1 * b.0) / 2.0).sum()
}

/// Between two outlines joined corner for corner: Simpson's rule, exact for what grows evenly.
fn taper(height: f64, low: &[(f64, f64)], high: &[(f64, f64)]) -> f64 {
    let middle: Vec<(f64, f64)> =
        low.iter().zip(high).map(|(a, b)| ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0)).collect();
    height / 6.0 * (area(low) + 4.0 * area(&middle) + area(high))
}

/// A regular polygon's frustum with the area of the true circle at both ends.
fn round(height: f64, low: f64, high: f64) -> f64 {
    PI * height / 12.0 * (low * low + low * high + high * high)
}

#[test]
fn the_volume_is_that_of_the_polygons_drawn() {
    for name in profile::usable() {
        for teeth in [22, 36] {
            let design = design(name, teeth, Flanges::Two);
            let (body, heights) = (&design.drawn, design.drawn.heights);
            let face = body.groove.corners(&design.chords.teeth);
            let guide = body.groove.corners(&design.chords.guides);
            let radius = body.flange_diameter_mm / 2.0;
            let out = |reach: &dyn Fn(f64) -> f64| -> Vec<(f64, f64)> {
                let place = |(x, y): &(f64, f64)| {
                    let far = x.hypot(*y);
                    (x * reach(far) / far, y * reach(far) / far)
                };
                guide.iter().map(place).collect()
            };
            let rise = radius - body.groove.outside_radius_mm;
            let (grown, rim) = (out(&|far| far + rise), out(&|_| radius));
            let share = rise / (radius - body.groove.floor_mm);
            let cone = heights.rim_mm - heights.face_to_mm;
            let disc = body.flange_diameter_mm;
            let chamfered = CHAMFER_MM * 2.0;
            let bore = round(heights.top_mm - chamfered, body.bore_mm, body.bore_mm)
                + 2.0 * round(CHAMFER_MM, body.bore_mm + chamfered, body.bore_mm);
            let expected = round(CHAMFER_MM, disc - chamfered, disc)
                + round(heights.face_from_mm - CHAMFER_MM, disc, disc)
                + (heights.face_to_mm - heights.face_from_mm) * area(&face)
                + taper(share * cone, &guide, &grown)
                + taper((1.0 - share) * cone, &grown, &rim)
                + (heights.top_mm - heights.rim_mm) * area(&rim)
                - bore;
            let solid = solid(&design).unwrap();
            assert_eq!(solid.shells(), 1);
            // Corners are on a grid of 2^-13 mm; on the largest diameter here 1e-5 is 2 micrometres.
            let off = (solid.volume_mm3() / expected - 1.0).abs();
            assert!(off < 1e-5, "{name} {teeth}: {} for {expected}", solid.volume_mm3());
        }
    }
}

#[test]
fn every_kind_of_pulley_is_one_closed_body_and_stays_one_in_32_bits() {
    let mut made = 0;
    for name in profile::usable() {
        for flanges in [Flanges::None, Flanges::One, Flanges::Two] {
            for teeth in [22, 30, 45] {
                let design = design(name, teeth, flanges);
                let solid = solid(&design).unwrap();
                let bytes = stl::to_bytes(&[&solid], "pulley").unwrap();
                let proof = stl::prove(&bytes, 1).unwrap();
                assert!((proof.volume_mm3() - solid.volume_mm3()).abs() < 1e-9 * solid.volume_mm3());
                let [low, high] = solid.bounds();
                assert!((high[2] - design.drawn.heights.top_mm).abs() < 2e-4 && low[2] == 0.0, "{name}");
                made += 1;
            }
        }
    }
    assert_eq!(made, 11 * 3 * 3);
}

/// Down to three teeth, bores from a hair to too large, belts from a thread to a carpet.
#[test]
fn odd_pulleys_are_solids_or_refused() {
    let (mut solids, mut refused) = (0, 0);
    for name in profile::usable() {
        for teeth in [0, 1, 3, 5, 8, 13, 21] {
            for (bore, width) in [(0.01, 0.01), (3.0, 6.0), (11.0, 499.0), (1e6, 25.0)] {
                let request = Request {
                    belt: name.to_owned(),
                    teeth,
                    bore: Mm::new(bore).unwrap(),
                    flanges: Flanges::from_count((teeth % 3) as u8).unwrap(),
                    belt_width: Mm::new(width),
                    allow_few_teeth: true,
                    build: Build::default(),
                };
                match Design::new(&request, None) {
                    Ok(design) => {
                        let solid = solid(&design).unwrap_or_else(|error| panic!("{request:?}: {error}"));
                        assert_eq!(solid.shells(), 1, "{request:?}");
                        solids += 1;
                    }
                    Err(_) => refused += 1,
                }
            }
        }
    }
    assert_eq!((solids, refused), (94, 214));
}
