//! Every coupon of every set as a solid: proven, of the volume that its drawing has, the same after
//! writing and reading back, and with its faces where the measuring guide sends the jaws.

use std::f64::consts::TAU;
use std::path::Path;

use shrinkrule::coupon::feature::{Feature, Tool};
use shrinkrule::coupon::limits::{
    BED_CHAMFER_MM, JAW_TIP_MM, LABEL_HEIGHT_MM, LABEL_RELIEF_MM, STRIP_MM, TAB_MM, TOP_CHAMFER_MM,
};
use shrinkrule::coupon::{Coupon, CouponSet, definition, embedded_sets};
use shrinkrule::geometry::lettering;
use shrinkrule::geometry::outline::segments_for;
use shrinkrule::geometry::solid::Solid;
use shrinkrule::geometry::stl;

/// Half a step of the grid on which solids live, at either end.
const GRID_MM: f64 = 1.0 / 8192.0;

/// Forms that no set of the program has: they come with a parts list.
const HOLES: &str = "name = \"holes\"\nsummary = \"holes that are not round\"\n\
                     [[d_ring]]\nname = \"D\"\nbores_mm = [4, 5, 20]\nacross_mm = [3.2, 4.5, 11]\n\
                     [[hex_ring]]\nname = \"N\"\nacross_flats_mm = [5.5, 13]\n\
                     [[hex_ring]]\nname = \"M\"\nacross_flats_mm = [3.2, 8]\naxis = \"y\"\n";

fn every_coupon() -> Vec<Coupon> {
    let mut sets = embedded_sets().to_vec();
    sets.push(definition::parse(Path::new("holes.toml"), HOLES).unwrap());
    CouponSet::merged(sets).unwrap().coupons
}

fn find(name: &str) -> Coupon {
    every_coupon().into_iter().find(|coupon| coupon.name == name).unwrap()
}

#[test]
fn every_coupon_is_one_body_and_stays_it_when_read_back() {
    for coupon in every_coupon() {
        for copy in [None, Some(2), Some(88)] {
            let solid = coupon.solid(copy).unwrap();
            assert_eq!(solid.shells(), 1, "{}", solid.name());
            assert_eq!(solid.name(), coupon.label(copy));
            let bytes = stl::to_bytes(&[&solid], "a coupon").unwrap();
            let proof = stl::prove(&bytes, 1).unwrap();
            assert_eq!(proof.volume_mm3(), solid.volume_mm3(), "{}", solid.name());
            assert_eq!(stl::parse(&bytes).unwrap().bounds().unwrap(), solid.bounds());
        }
    }
}

#[test]
fn every_coupon_stands_on_the_bed_and_has_a_label_that_sets_it_apart() {
    for coupon in every_coupon() {
        let [low, high] = coupon.solid(None).unwrap().bounds();
        assert_eq!(low[2], 0.0, "{}", coupon.name);
        assert!(high.iter().zip(low).all(|(high, low)| high - low >= 6.0), "{}", coupon.name);
        // A raised label adds plastic and a sunk one takes it off; two copies differ by their numbers.
        let volume = |copy| coupon.solid(Some(copy)).unwrap().volume_mm3();
        assert!((volume(1) - volume(8)).abs() > 1.0, "{}", coupon.name);
    }
}

// --- closed forms -------------------------------------------------------------------------------

/// A regular polygon's area by its corners' radius.
fn polygon_area(segments: usize, radius: f64) -> f64 {
    segments as f64 / 2.0 * radius * radius * (TAU / segments as f64).sin()
}

/// Corners and their radius of the circle that a coupon is drawn with: the true circle's area.
fn corners(diameter: f64, c: f64) -> (usize, f64) {
    let segments = 2 * segments_for(diameter);
    let angle = TAU / segments as f64;
    (segments, (diameter / 2.0 + c) * (angle / angle.sin()).sqrt())
}

/// Area that changes evenly in both directions over a height: `(A0 + sqrt(A0 A1) + A1) / 3`.
fn frustum(low: f64, high: f64, height: f64) -> f64 {
    (low + (low * high).sqrt() + high) / 3.0 * height
}

fn round(diameter: f64, c: f64) -> f64 {
    let (segments, radius) = corners(diameter, c);
    polygon_area(segments, radius)
}

/// A box whose sides lean in by `c` at one end.
fn chamfered_box(width: f64, depth: f64, c: f64) -> f64 {
    // The integral of (width - 2 c t)(depth - 2 c t) over t from 0 to 1, times c for 45 degrees.
    c * (width * depth - c * (width + depth) + 4.0 * c * c / 3.0)
}

fn letters(text: &str) -> f64 {
    lettering::text(text, LABEL_HEIGHT_MM).unwrap().area() * LABEL_RELIEF_MM
}

/// `abs` leaves room for the grid: an area's edge length times half a step, over the height.
fn assert_volume(solid: &Solid, wanted: f64, abs: f64) {
    let volume = solid.volume_mm3();
    assert!((volume - wanted).abs() < abs, "{}: {volume} for {wanted}", solid.name());
}

#[test]
fn a_combs_volume_is_that_of_its_base_its_teeth_and_its_letters() {
    let (length, depth) = (38.5, 10.0);
    let base_depth = depth + STRIP_MM;
    let base =
        chamfered_box(length, base_depth, BED_CHAMFER_MM) + length * base_depth * (TAB_MM - BED_CHAMFER_MM);
    let teeth: f64 = [8.0, 5.0, 5.0, 8.0]
        .iter()
        .map(|width| width * depth * (10.0 - TOP_CHAMFER_MM) + chamfered_box(*width, depth, TOP_CHAMFER_MM))
        .sum();
    for (name, letter_volume) in [("GX", letters("GX")), ("GY", letters("GY"))] {
        let solid = find(name).solid(None).unwrap();
        assert_volume(&solid, base + teeth + letter_volume, 0.2);
    }
    // Negative control: without the chamfers the teeth alone would be 5 mm3 more.
    let square: f64 = [8.0, 5.0, 5.0, 8.0].iter().map(|width| width * depth * 10.0).sum();
    assert!(square - teeth > 5.0);
}

#[test]
fn a_pin_bases_volume_is_that_of_its_base_its_pins_and_its_letters() {
    let length = 2.0 + 5.0 + 12.0 + 8.0 + 2.0;
    let depth = 2.0 + 8.0 + 2.0 + STRIP_MM;
    let pins: f64 = [5.0, 8.0]
        .iter()
        .map(|d| {
            round(*d, 0.0) * (10.0 - TOP_CHAMFER_MM)
                + frustum(round(*d, 0.0), round(*d, -TOP_CHAMFER_MM), TOP_CHAMFER_MM)
        })
        .sum();
    let solid = find("P1").solid(None).unwrap();
    assert_volume(&solid, length * depth * TAB_MM + pins + letters("P1"), 0.1);
}

#[test]
fn a_rings_volume_is_that_of_its_ring_its_tab_and_its_letters() {
    for (bore, name) in [(3.0, "R3"), (12.0, "R12"), (24.0, "R24")] {
        let (outside, height) = (bore + 8.0, 10.0);
        let solid = find(name).solid(None).unwrap();
        let end = solid.bounds()[1][0];
        let (segments, radius) = corners(outside, 0.0);
        let step = TAU / segments as f64;
        let half_strip = STRIP_MM / 2.0;
        let first = (1..segments / 4).find(|k| radius * (step * *k as f64).sin() >= half_strip).unwrap();
        let (sin, cos) = (step * first as f64).sin_cos();
        // The polygon away from the tab as a fan from its middle, then the tab's two long triangles and its end.
        let tabbed = |c: f64| {
            let r = corners(outside, -c).1;
            let (half, tip) = (radius * sin - c, end - c);
            (segments - 2 * first) as f64 / 2.0 * r * r * step.sin()
                + r * (tip * sin - half * cos)
                + tip * half
        };
        let c = BED_CHAMFER_MM;
        // Simpson's rule is exact for an area that is quadratic in the height.
        let tab_chamfer = (tabbed(c) + 4.0 * tabbed(c / 2.0) + tabbed(0.0)) / 6.0 * c;
        let top = frustum(round(outside, 0.0), round(outside, -TOP_CHAMFER_MM), TOP_CHAMFER_MM);
        let straight = height - TOP_CHAMFER_MM - TAB_MM;
        let body = tab_chamfer + tabbed(0.0) * (TAB_MM - c) + round(outside, 0.0) * straight + top;
        let hole = frustum(round(bore, c), round(bore, 0.0), c)
            + round(bore, 0.0) * (height - c - TOP_CHAMFER_MM)
            + frustum(round(bore, 0.0), round(bore, TOP_CHAMFER_MM), TOP_CHAMFER_MM);
        assert_volume(&solid, body - hole + letters(name), 0.25);
    }
}

/// Source of the sizes: `coupons/heat.toml` and the layout that `coupon::motor_mount` describes.
#[test]
fn a_motor_mounts_volume_is_that_of_its_plate_its_arm_its_feet_and_its_letters() {
    let (wall, slot, span) = (4.0, 9.0, 60.0);
    let bar = 2.0 * wall + slot;
    let end = bar + span;
    // From the bars' inner edge: half a screw hole, the square, the other half and a wall, or the label.
    let wide = 3.4 + 31.0 + 4.0;
    let deep = 3.4 + 31.0 + LABEL_HEIGHT_MM + 2.0 * 1.2;
    let boss = [8.0 + 4.0, 8.0 + 2.0 * 4.0];
    // Length of the outside of a region less its inner corners, for what a chamfer takes off.
    let plate = bar * bar + 2.0 * span * 2.0 * wall + wide * deep + boss[0] * boss[1];
    let holes = |c: f64| round(22.0, c) + 4.0 * round(3.4, c) + round(8.0, c);
    let arm = (span - 2.0) * 6.0;
    let arm_hole = round(3.2, 0.0);
    let z = 8.0;
    let chamfer = |from: f64, to: f64, high: f64| {
        [22.0, 3.4, 3.4, 3.4, 3.4, 8.0]
            .iter()
            .map(|d| frustum(round(*d, from), round(*d, to), high))
            .sum::<f64>()
    };
    // Of a polygon with right angles, moved in by t: area - t * length + t^2 * (outer corners - inner corners).
    let length = 4.0 * end + 2.0 * 2.0 * span + 2.0 * boss[0] + 2.0 * (span - 2.0);
    let (c, corners) = (BED_CHAMFER_MM, 4.0);
    let bed = (plate + arm) * c - length * c * c / 2.0 + corners * c * c * c / 3.0;
    let body = bed + (plate + arm) * (2.0 - c) + plate * (z - 2.0);
    let open = chamfer(c, 0.0, c)
        + holes(0.0) * (z - c - TOP_CHAMFER_MM)
        + chamfer(0.0, TOP_CHAMFER_MM, TOP_CHAMFER_MM);
    let feet: f64 = [[8.0, 8.0], [8.0, 4.0], [4.0, 8.0]]
        .iter()
        .map(|[w, d]| w * d * (24.0 - z - TOP_CHAMFER_MM) + chamfered_box(*w, *d, TOP_CHAMFER_MM))
        .sum();
    let solid = find("M").solid(None).unwrap();
    assert_volume(&solid, body - open - arm_hole * 2.0 + feet + letters("M"), 0.1);
    // Negative control: without the chamfer at the bed it would be some 120 mm3 more.
    assert!((plate + arm) * c - bed > 100.0);
}

// --- where the jaws go --------------------------------------------------------------------------

/// Where the line from `from` along the unit vector `along` crosses the surface, as distances, rising.
fn crossings(solid: &Solid, from: [f64; 3], along: [f64; 3]) -> Vec<f64> {
    let minus = |a: [f64; 3], b: [f64; 3]| [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let cross = |a: [f64; 3], b: [f64; 3]| {
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    };
    let mut distances: Vec<f64> = solid
        .triangles()
        .filter_map(|[a, b, c]| {
            let (u, v, w) = (minus(b, a), minus(c, a), minus(from, a));
            let p = cross(along, v);
            let volume = dot(u, p);
            if volume.abs() < 1e-9 {
                return None;
            }
            let q = cross(w, u);
            let (s, t) = (dot(w, p) / volume, dot(along, q) / volume);
            // A line through a corner or an edge touches several triangles; all of them count.
            let inside = s >= -1e-6 && t >= -1e-6 && s + t <= 1.0 + 1e-6;
            inside.then(|| dot(v, q) / volume)
        })
        .collect();
    distances.sort_by(f64::total_cmp);
    distances.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    distances
}

fn direction(feature: &Feature) -> [f64; 3] {
    let (from, to) = (feature.jaws.from, feature.jaws.to);
    std::array::from_fn(|axis| (to[axis] - from[axis]) / feature.jaws.distance_mm())
}

/// The motor mount's gaps run from the far side of one screw hole to that of the next.
fn is_across_screws(feature: &Feature) -> bool {
    feature.label.starts_with("g34.4")
}

/// Corners of round features stand out of the true circle by up to 0.001 mm, the round opposite the flat of a
/// D among them; flat faces lie on the grid.
fn tolerance(coupon: &Coupon, feature: &Feature) -> f64 {
    use shrinkrule::kind::Kind::{Bore, HorizontalBore, Pin};
    let is_round = matches!(feature.kind, Bore | HorizontalBore | Pin) || is_across_screws(feature);
    if is_round || coupon.title() == "D-bore ring" { 0.0012 } else { GRID_MM }
}

fn assert_face(crossings: &[f64], at: f64, tolerance: f64, what: &str) {
    let nearest = crossings.iter().map(|d| (d - at).abs()).fold(f64::INFINITY, f64::min);
    assert!(nearest <= tolerance, "{what}: no face at {at}, but at {crossings:?}");
}

#[test]
fn the_solids_faces_are_where_the_jaws_go_and_the_drawn_size_apart() {
    for coupon in every_coupon() {
        let solid = coupon.solid(None).unwrap();
        for feature in &coupon.features {
            let what = format!("{} {}", coupon.name, feature.label);
            let along = direction(feature);
            let size = feature.nominal_mm;
            let hits = crossings(&solid, feature.jaws.from, along);
            if feature.jaws.tool == Tool::RealPiece {
                // Its walls are rounded where it is drawn: see the belt rack below.
                continue;
            }
            let tolerance = tolerance(&coupon, feature);
            assert_face(&hits, size, tolerance, &what);
            let within = |low: f64, high: f64| hits.iter().filter(|d| **d > low && **d < high).count();
            match feature.jaws.tool {
                Tool::OutsideJaws => {
                    assert_face(&hits, 0.0, tolerance, &what);
                    // Room for the tips of the jaws on both sides.
                    assert_eq!(within(-JAW_TIP_MM, -0.01), 0, "{what}: {hits:?}");
                    assert_eq!(within(size + 0.01, size + JAW_TIP_MM), 0, "{what}: {hits:?}");
                }
                Tool::InsideJaws => {
                    assert_face(&hits, 0.0, tolerance, &what);
                    // Across two screw holes the web between them lies in the way; the jaws go around it.
                    let between = if is_across_screws(feature) { 2 } else { 0 };
                    assert_eq!(within(0.01, size - 0.01), between, "{what}: {hits:?}");
                    // Behind either face a wall that does not give way.
                    assert_eq!(within(-3.99, -0.01), 0, "{what}: {hits:?}");
                    assert_eq!(within(size + 0.01, size + 3.99), 0, "{what}: {hits:?}");
                }
                Tool::RealPiece => {}
                Tool::DepthRod => {
                    assert_eq!(within(-20.0, size - 0.01), 0, "{what}: the rod's way is not free: {hits:?}");
                    for side in [-5.0, 5.0] {
                        let [x, y, z] = feature.jaws.from;
                        // Down onto an arm along x, the beam bridges the slot along y.
                        let beside = match along[2] {
                            0.0 => [x - side * along[1], y + side * along[0], z],
                            _ => [x, y + side, z],
                        };
                        let prong = crossings(&solid, beside, along);
                        assert_face(&prong, 0.0, tolerance, &what);
                    }
                }
            }
        }
    }
}

/// Source of the sizes: the T5 groove of a pulley of 20 teeth, 2.96 mm at the tips, 1.25 mm deep, flanks
/// of 25 degrees: half way down it is `2.96 - 1.25 tan(25 deg)` wide.
#[test]
fn a_belt_racks_grooves_are_the_standards_and_wider_from_row_to_row() {
    let coupon = find("B");
    let solid = coupon.solid(None).unwrap();
    let lost = 1.25 * 25_f64.to_radians().tan();
    for (row, feature) in coupon.features.iter().enumerate() {
        let width = 2.96 + 0.05 * row as f64;
        assert!((feature.nominal_mm - width).abs() < 1e-9, "{}", feature.label);
        let [x, top, z] = feature.jaws.from;
        let middle = x + width / 2.0;
        // One groove to either side, a pitch away, and the next row two pitches from its last.
        for groove in [middle - 5.0, middle, middle + 5.0] {
            let hits = crossings(&solid, [groove, top - 0.625, z], [1.0, 0.0, 0.0]);
            assert_face(&hits, (width - lost) / 2.0, GRID_MM, &feature.label);
            assert_face(&hits, (lost - width) / 2.0, GRID_MM, &feature.label);
            let floor = crossings(&solid, [groove, top, z], [0.0, -1.0, 0.0]);
            assert_face(&floor, 1.25, GRID_MM, &feature.label);
        }
    }
    // The floor's middle is bare and the base is below: nothing else is in the belt's way.
    assert_eq!(coupon.features.len(), 7);
}

/// Moving a jaw's face by a hundredth of a millimetre must not pass the check above.
#[test]
fn a_face_a_hundredth_of_a_millimetre_off_is_noticed() {
    let coupon = find("GX");
    let solid = coupon.solid(None).unwrap();
    let feature = &coupon.features[0];
    let hits = crossings(&solid, feature.jaws.from, direction(feature));
    let near = |at: f64| hits.iter().any(|d| (d - at).abs() <= tolerance(&coupon, feature));
    assert!(near(feature.nominal_mm) && !near(feature.nominal_mm + 0.01));
}

#[test]
fn a_set_of_ones_own_with_the_largest_and_smallest_sizes_makes_solids() {
    let text = r#"
name = "edge"
summary = "the ends of every range"
[[comb]]
name = "C1"
gaps_mm = [2]
tooth_mm = 4
end_tooth_mm = 4
tooth_height_mm = 7
depth_mm = 6
[[comb]]
name = "C2"
axis = "y"
gaps_mm = [2, 2.001, 40]
depth_mm = 60
[[ring]]
name = "R"
bores_mm = [3, 60]
[[ring]]
name = "T"
bores_mm = [3, 60]
wall_mm = 20
height_mm = 60
[[pin_base]]
name = "P1"
diameters_mm = [3]
[[pin_base]]
name = "P2"
diameters_mm = [60, 3]
pin_height_mm = 60
room_mm = 60
[[bore_block]]
name = "H1"
bores_mm = [3]
depth_mm = 8
[[bore_block]]
name = "H2"
bores_mm = [60, 3]
wall_mm = 20
depth_mm = 60
[[span_bar]]
name = "S1"
axis = "d135"
spans_mm = [30]
slot_mm = 12
prong_mm = 20
height_mm = 7
[[span_bar]]
name = "S2"
axis = "d45"
spans_mm = [140, 139.999]
[[height_steps]]
name = "Z1"
heights_mm = [2, 8, 120]
tread_mm = 6
depth_mm = 6
[[motor_mount]]
name = "M1"
register_mm = 10
square_mm = 30
screw_mm = 3
press_mm = 4
span_mm = 53
height_mm = 16
arm_mm = 1.2
[[motor_mount]]
name = "M2"
register_mm = 53
square_mm = 60
screw_mm = 8
press_mm = 16
span_mm = 140
height_mm = 60
arm_mm = 3
[[belt_rack]]
name = "B1"
belt = "MXL"
wider_mm = [-0.05, 0, 0.2]
grooves = 8
width_mm = 4
[[belt_rack]]
name = "B2"
belt = "T10"
teeth = 40
wider_mm = [1]
grooves = 1
[[first_layer]]
name = "F1"
axis = "y"
width_mm = 10
depth_mm = 10
height_mm = 6
"#;
    let set = definition::parse("edge.toml".as_ref(), text).unwrap();
    for coupon in &set.coupons {
        for copy in [None, Some(99)] {
            let solid = coupon.solid(copy).unwrap_or_else(|error| panic!("{}: {error}", coupon.name));
            stl::prove(&stl::to_bytes(&[&solid], "").unwrap(), 1).unwrap();
        }
    }
}
