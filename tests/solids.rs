//! Solids: volume by closed form of the polygons drawn, every directed edge once, the same after writing
//! and reading back; and what must be refused.

use std::f64::consts::{PI, TAU};

use proptest::prelude::*;
use shrinkrule::geometry::check::{Defect, NotASolid};
use shrinkrule::geometry::outline::{Outline, segments_for};
use shrinkrule::geometry::solid::{Solid, Stack, Turn};
use shrinkrule::geometry::stl;

/// Snapping moves a wall by at most 6e-5 mm; over these parts that is this share of the volume.
const SNAPPED_REL: f64 = 5e-6;

fn assert_close(found: f64, wanted: f64, rel: f64) {
    assert!((found / wanted - 1.0).abs() <= rel, "{found} for {wanted}");
}

/// The solid is the same body after writing and reading back.
fn assert_same_from_file(solid: &Solid) {
    let bytes = stl::to_bytes(&[solid], solid.name()).unwrap();
    let proof = stl::prove(&bytes, solid.shells()).unwrap();
    assert_eq!(proof.volume_mm3(), solid.volume_mm3());
    assert!(stl::parse(&bytes).unwrap().corners().eq(solid.triangles()));
}

fn defects(result: Result<Solid, NotASolid>) -> Vec<Defect> {
    result.unwrap_err().defects
}

fn square(x: f64, y: f64, side: f64) -> Outline {
    Outline::rectangle(x, y, x + side, y + side)
}

#[test]
fn a_prism_on_a_polygon_encloses_its_closed_form() {
    for (diameter, segments, height) in
        [(10.0, 5, 3.0), (31.83, 160, 11.0), (200.0, segments_for(200.0), 0.25)]
    {
        let outline = Outline::circle_with([3.3, -4.7], diameter, segments);
        let solid = Stack::new("prism").slab(1.0, 1.0 + height, &outline).solid().unwrap();
        // n/2 * R^2 * sin(2 pi / n) * h, with R chosen so that the area is the circle's.
        let n = segments as f64;
        let corner_radius = diameter / 2.0 * (TAU / n / (TAU / n).sin()).sqrt();
        let wanted = n / 2.0 * corner_radius * corner_radius * (TAU / n).sin() * height;
        assert_close(solid.volume_mm3(), wanted, SNAPPED_REL);
        assert_close(wanted, PI * diameter * diameter / 4.0 * height, 1e-12);
        assert_eq!(solid.triangles().len(), 4 * segments - 4);
        assert_same_from_file(&solid);
    }
}

#[test]
fn a_cone_under_a_flange_encloses_its_closed_form() {
    let (low, high) = (Outline::circle_with([0.0; 2], 20.0, 96), Outline::circle_with([0.0; 2], 26.0, 96));
    let solid = Stack::new("cone").taper(2.0, 3.5, &low, &high).solid().unwrap();
    // h / 3 * (A0 + A1 + sqrt(A0 A1)) of similar polygons.
    let (a, b) = (low.area(), high.area());
    assert_close(solid.volume_mm3(), 1.5 / 3.0 * (a + b + (a * b).sqrt()), SNAPPED_REL);
    assert_same_from_file(&solid);
    // Negative control: the mean of the two areas is too much by far more than that.
    assert!(1.5 * (a + b) / 2.0 / solid.volume_mm3() - 1.0 > 1e-3);
}

#[test]
fn a_plate_with_a_bore_and_an_islanded_engraving_encloses_its_closed_form() {
    let plate = square(0.0, 0.0, 30.0).with_hole(&Outline::circle([22.0, 22.0], 8.0));
    let letter = Outline::rectangle(3.0, 3.0, 13.0, 13.0).with_hole(&square(5.0, 5.0, 4.0));
    let engraved = plate.clone().minus_inside(&letter);
    let solid = Stack::new("plate").slab(0.0, 5.0, &plate).slab(5.0, 5.5, &engraved).solid().unwrap();
    let bore = PI * 16.0;
    assert_close(solid.volume_mm3(), (900.0 - bore) * 5.0 + (900.0 - bore - 84.0) * 0.5, SNAPPED_REL);
    assert_eq!(solid.bounds(), [[0.0; 3], [30.0, 30.0, 5.5]]);
    assert_same_from_file(&solid);
}

#[test]
fn teeth_flush_with_the_sides_of_their_base_leave_no_corner_inside_an_edge() {
    let base = Outline::rectangle(0.0, 0.0, 40.0, 10.0);
    let teeth = (0..5)
        .map(|tooth| Outline::rectangle(8.0 * f64::from(tooth), 0.0, 8.0 * f64::from(tooth) + 5.0, 10.0));
    let teeth = teeth.fold(Outline::default(), |all, tooth| all.union_disjoint(&tooth));
    let comb = Stack::new("comb").slab(0.0, 3.0, &base).slab(3.0, 9.0, &teeth).solid().unwrap();
    assert_eq!(comb.volume_mm3(), 40.0 * 10.0 * 3.0 + 5.0 * 50.0 * 6.0);
    assert_same_from_file(&comb);
    // Turned over, the teeth carry the base.
    let over = Stack::new("over").slab(-3.0, 0.0, &base).slab(-9.0, -3.0, &teeth).solid().unwrap();
    assert_eq!(over.volume_mm3(), comb.volume_mm3());
}

#[test]
fn slopes_that_pass_through_corners_are_split_there_too() {
    // The hypotenuse of the triangle passes through two corners of the cross, which ends on it.
    let triangle = Outline::polygon([[0.0, 0.0], [12.0, 0.0], [0.0, 12.0]]);
    let steps = Outline::polygon([[0.0, 0.0], [9.0, 0.0], [9.0, 3.0], [6.0, 3.0], [6.0, 6.0], [0.0, 6.0]]);
    let solid = Stack::new("steps").slab(0.0, 1.0, &triangle).slab(1.0, 2.0, &steps).solid().unwrap();
    assert_eq!(solid.volume_mm3(), 72.0 + 45.0);
    assert_same_from_file(&solid);
}

#[test]
fn several_bodies_are_counted() {
    let posts = square(0.0, 0.0, 2.0).union_disjoint(&square(5.0, 0.0, 2.0));
    let stack = Stack::new("posts").slab(0.0, 1.0, &posts);
    assert_eq!(stack.clone().solid_of(2).unwrap().shells(), 2);
    assert_eq!(defects(stack.solid()), [Defect::Shells { found: 2, expected: 1 }]);
}

#[test]
fn bodies_that_touch_at_an_edge_or_a_corner_are_refused() {
    let beside = square(0.0, 0.0, 2.0).union_disjoint(&square(2.0, 0.0, 2.0));
    let corner = square(0.0, 0.0, 2.0).union_disjoint(&square(2.0, 2.0, 2.0));
    let inside_edge =
        square(0.0, 0.0, 6.0).union_disjoint(&Outline::polygon([[6.0, 3.0], [8.0, 1.0], [8.0, 5.0]]));
    for touching in [beside, corner, inside_edge] {
        for shells in [1, 2] {
            let stack = Stack::new("touching").slab(0.0, 1.0, &touching);
            let found = defects(stack.solid_of(shells));
            assert!(matches!(found[0], Defect::SharedEdge { .. } | Defect::Overlap { .. }), "{found:?}");
        }
    }
}

#[test]
fn slabs_that_touch_only_along_an_edge_or_in_a_point_are_refused() {
    let stack =
        |upper: &Outline| Stack::new("touching").slab(0.0, 1.0, &square(0.0, 0.0, 2.0)).slab(1.0, 2.0, upper);
    for shells in [1, 2] {
        let found = defects(stack(&square(2.0, 0.0, 2.0)).solid_of(shells));
        assert!(matches!(found[..], [Defect::SharedEdge { count: 1, .. }]), "{found:?}");
        let found = defects(stack(&square(2.0, 2.0, 2.0)).solid_of(shells));
        assert!(matches!(found[0], Defect::TouchingPoint { place: [2.0, 2.0, 1.0], count: 1 }), "{found:?}");
    }
}

#[test]
fn outlines_that_cross_are_refused_with_the_place() {
    let upper = square(1.0, 1.0, 2.0);
    let stack = Stack::new("step").slab(0.0, 1.0, &square(0.0, 0.0, 2.0)).slab(1.0, 2.0, &upper);
    let found = defects(stack.solid());
    assert_eq!(found, [Defect::Crossing { place: [1.0, 2.0], z: 1.0 }]);
    let wanted =
        "outlines cross near (1.000, 2.000) at z = 1 mm; they may only meet in corners of one of them";
    assert_eq!(found[0].to_string(), wanted);
    let bow = Outline { loops: vec![vec![[0.0, 0.0], [4.0, 4.0], [4.0, 0.0], [0.0, 4.0]]] };
    let found = defects(Stack::new("bow").slab(0.0, 1.0, &bow).solid());
    assert!(matches!(found[0], Defect::Crossing { place: [2.0, 2.0], .. } | Defect::Overlap { .. }));
}

#[test]
fn a_place_covered_twice_or_a_hole_outside_is_refused() {
    let twice = square(0.0, 0.0, 9.0).union_disjoint(&square(2.0, 2.0, 3.0));
    let found = defects(Stack::new("twice").slab(0.0, 1.0, &twice).solid());
    assert_eq!(found[0], Defect::Overlap { place: [2.0, 2.0], z: 0.0 });
    let outside = square(0.0, 0.0, 3.0).with_hole(&square(5.0, 0.0, 1.0));
    let found = defects(Stack::new("outside").slab(0.0, 1.0, &outside).solid());
    assert_eq!(found[0], Defect::Overlap { place: [5.0, 0.0], z: 0.0 });
    let both = square(0.0, 0.0, 3.0).union_disjoint(&square(0.0, 0.0, 3.0));
    let found = defects(Stack::new("both").slab(0.0, 1.0, &both).solid());
    assert!(matches!(found[0], Defect::Overlap { .. }));
}

#[test]
fn a_cavity_is_no_part_of_one_body() {
    let (full, hollow) = (square(0.0, 0.0, 9.0), square(0.0, 0.0, 9.0).with_hole(&square(3.0, 3.0, 3.0)));
    let stack = Stack::new("cavity").slab(0.0, 1.0, &full).slab(1.0, 2.0, &hollow).slab(2.0, 3.0, &full);
    let found = defects(stack.solid());
    assert!(matches!(found[..], [Defect::InsideOut { count: 1, .. }, Defect::Shells { found: 2, .. }]));
}

#[test]
fn heights_that_make_no_stack_are_refused_all_at_once() {
    let outline = square(0.0, 0.0, 2.0);
    let stack = Stack::new("heights").slab(0.0, 1.0, &outline).slab(3.0, 3.0, &outline);
    let found = defects(stack.slab(2.0, 4.0, &outline).slab(3.5, 5.0, &outline).solid());
    let wanted = [
        Defect::NoThickness { z0: 3.0, z1: 3.0 },
        Defect::NotFlush { end: 1.0, start: 2.0 },
        Defect::NotFlush { end: 4.0, start: 3.5 },
    ];
    assert_eq!(found, wanted);
    assert_eq!(defects(Stack::new("nothing").solid()), [Defect::Empty]);
}

#[test]
fn what_is_no_outline_is_refused_and_nothing_panics() {
    for (x, y) in [(1000.5, 0.0), (f64::NAN, 0.0), (0.0, f64::NEG_INFINITY)] {
        let outline = Outline { loops: vec![vec![[0.0, 0.0], [x, y], [0.0, 5.0]]] };
        let found = defects(Stack::new("far").slab(0.0, 1.0, &outline).solid());
        assert!(matches!(found[..], [Defect::TooFar { .. }]), "{found:?}");
    }
    let line = Outline { loops: vec![vec![[0.0, 0.0], [1.0, 0.0]]] };
    let found = defects(Stack::new("line").slab(0.0, 1.0, &line).solid());
    assert_eq!(found, [Defect::TooFewCorners { z: 0.0, number: 1, corners: 2 }]);
    let flat = Outline { loops: vec![vec![[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]] };
    assert!(Stack::new("flat").slab(0.0, 1.0, &flat).solid().is_err());
    let empty = Outline::default();
    assert_eq!(defects(Stack::new("empty").slab(0.0, 1.0, &empty).solid()), [Defect::Empty]);
    let uneven =
        Stack::new("uneven").taper(0.0, 1.0, &square(0.0, 0.0, 2.0), &Outline::circle([1.0; 2], 1.0));
    assert_eq!(defects(uneven.solid()), [Defect::Uneven { z: 0.0, number: 1, bottom: 4, top: 32 }]);
    let inside_out = Outline { loops: vec![vec![[0.0, 0.0], [0.0, 1.0], [1.0, 0.0]]] };
    assert!(matches!(
        defects(Stack::new("cw").slab(0.0, 1.0, &inside_out).solid())[0],
        Defect::Overlap { .. }
    ));
}

#[test]
fn coordinates_are_snapped_to_the_grid_and_slabs_that_meet_within_a_step_are_flush() {
    let outline = Outline::rectangle(0.1, 0.2, 10.3, 7.7);
    let stack = Stack::new("snapped").slab(0.0, 0.3, &outline).slab(0.1 + 0.2, 1.1, &outline);
    let solid = stack.solid().unwrap();
    for coordinate in solid.mesh().vertices.as_flattened() {
        assert_eq!(coordinate * 8192.0, (coordinate * 8192.0).round());
        assert_eq!(f64::from(*coordinate as f32), *coordinate);
    }
    assert_close(solid.volume_mm3(), 10.2 * 7.5 * 1.1, 1e-4);
}

#[test]
fn moves_and_turns_keep_the_proof() {
    let profile = Outline::polygon([[0.0, 0.0], [9.0, 0.0], [9.0, 2.0], [3.0, 5.0], [0.0, 5.0]]);
    let solid =
        Stack::new("block").slab(0.0, 4.0, &profile).slab(4.0, 7.0, &square(1.0, 1.0, 1.0)).solid().unwrap();
    let turns = [
        (Turn::AxisToX, [[0.0, 0.0, 0.0], [7.0, 9.0, 5.0]]),
        (Turn::AxisToY, [[-9.0, 0.0, 0.0], [0.0, 7.0, 5.0]]),
        (Turn::AxisToMinusY, [[0.0, -7.0, 0.0], [9.0, 0.0, 5.0]]),
        (Turn::Quarter, [[-5.0, 0.0, 0.0], [0.0, 9.0, 7.0]]),
        (Turn::Half, [[-9.0, -5.0, 0.0], [0.0, 0.0, 7.0]]),
        (Turn::Over, [[0.0, -5.0, -7.0], [9.0, 0.0, 0.0]]),
    ];
    for (turn, bounds) in turns {
        let turned = solid.clone().turned(turn);
        assert_eq!(turned.bounds(), bounds, "{turn:?}");
        let moved = turned.moved([0.1, -20.0, 300.7]).unwrap().renamed("elsewhere");
        assert_eq!(moved.name(), "elsewhere");
        let again = Solid::from_mesh("again", moved.mesh().clone(), 1).unwrap();
        assert_eq!(again.volume_mm3(), solid.volume_mm3(), "{turn:?}");
    }
    let error = solid.moved([0.0, 998.0, 0.0]).unwrap_err().to_string();
    let wanted = "`block` is not a solid: the y of a moved corner lies at 1003 mm; \
                  a solid must stay within 1000 mm of the origin";
    assert_eq!(error, wanted);
}

/// Rings about the origin, one inside the other and apart, each present or not in each slab, and each with
/// some of its edges halved. Their corners lie on even grid steps, so that halves are on the grid.
#[derive(Clone, Debug)]
struct Nested {
    /// Corners of every loop, from the outermost inward; ring `k` lies between loops `2k` and `2k + 1`.
    corners: usize,
    rings: usize,
    wobble: Vec<f64>,
    /// For each slab, which rings there are, and which edges are halved.
    slabs: Vec<(Vec<bool>, Vec<bool>)>,
}

impl Nested {
    fn points(&self, number: usize) -> Vec<[f64; 2]> {
        let even = |mm: f64| (mm * 4096.0).round() / 4096.0;
        let radius = 30.0 - 24.0 * number as f64 / (2 * self.rings) as f64;
        let room = 24.0 / (2 * self.rings) as f64;
        (0..self.corners)
            .map(|corner| {
                let (sin, cos) = (TAU * corner as f64 / self.corners as f64).sin_cos();
                let wobble = self.wobble[(corner * 7 + number * 3) % self.wobble.len()];
                let r = radius - 0.45 * room * wobble;
                [even(r * cos), even(r * sin)]
            })
            .collect()
    }

    fn halved(points: Vec<[f64; 2]>, halve: &[bool]) -> Vec<[f64; 2]> {
        let mut halved = Vec::new();
        for (corner, point) in points.iter().enumerate() {
            halved.push(*point);
            if halve[corner % halve.len()] {
                let next = points[(corner + 1) % points.len()];
                halved.push([(point[0] + next[0]) / 2.0, (point[1] + next[1]) / 2.0]);
            }
        }
        halved
    }

    fn slab(&self, present: &[bool], halve: &[bool]) -> Outline {
        let mut outline = Outline::default();
        for ring in (0..self.rings).filter(|ring| present[*ring]) {
            let hole = Outline::polygon(Self::halved(self.points(2 * ring + 1), halve));
            let outside = Outline::polygon(Self::halved(self.points(2 * ring), &halve[1..]));
            outline = outline.union_disjoint(&outside.with_hole(&hole));
        }
        outline
    }

    /// Bodies: each run of slabs in which a ring is present, unless it stands on the base.
    fn bodies(&self) -> usize {
        let floating = |ring: usize| {
            let runs = self.slabs.windows(2).filter(|pair| !pair[0].0[ring] && pair[1].0[ring]);
            runs.count()
        };
        1 + (0..self.rings).map(floating).sum::<usize>()
    }
}

fn nested() -> impl Strategy<Value = Nested> {
    (3_usize..40, 1_usize..5).prop_flat_map(|(corners, rings)| {
        let slab = (prop::collection::vec(any::<bool>(), rings), prop::collection::vec(any::<bool>(), 2..9));
        let slabs = prop::collection::vec(slab, 1..6);
        let wobble = prop::collection::vec(0.0..1.0_f64, 2..30);
        (Just(corners), Just(rings), wobble, slabs).prop_map(|(corners, rings, wobble, slabs)| Nested {
            corners,
            rings,
            wobble,
            slabs,
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        rng_seed: prop::test_runner::RngSeed::Fixed(20_261_125),
        ..ProptestConfig::default()
    })]

    #[test]
    fn nested_stacks_with_corners_inside_edges_are_solid(nested in nested()) {
        // With few corners and a strong wobble, loops of neighbouring radius may cut each other's corners.
        prop_assume!(nested.corners >= 12);
        let base = Outline::polygon(nested.points(0));
        let cone = |scale: f64| Outline::polygon(nested.points(0).iter().map(|[x, y]| [x * scale, y * scale]).collect::<Vec<_>>());
        let (foot, mut volume) = (cone(1.0625), base.area() * 2.0);
        let mut stack = Stack::new("nested").slab(0.0, 2.0, &base).taper(-1.0, 0.0, &foot, &base);
        let (low, high) = (foot.area(), base.area());
        volume += (low + high + (low * high).sqrt()) / 3.0;
        for (index, (present, halve)) in nested.slabs.iter().enumerate() {
            let (z, outline) = (2.0 + index as f64, nested.slab(present, halve));
            volume += outline.area();
            stack = stack.slab(z, z + 1.0, &outline);
        }
        let solid = stack.solid_of(nested.bodies()).unwrap();
        // Only the cone's foot is not on the grid to begin with.
        assert_close(solid.volume_mm3(), volume, 1e-5);
        assert_same_from_file(&solid);
        let again = Solid::from_mesh("again", solid.mesh().clone(), solid.shells()).unwrap();
        prop_assert_eq!(again.volume_mm3(), solid.volume_mm3());
    }

    #[test]
    fn no_outline_however_wild_panics(
        loops in prop::collection::vec(prop::collection::vec((-8..8_i32, -8..8_i32), 0..9), 0..4),
        upper in prop::collection::vec(prop::collection::vec((-8..8_i32, -8..8_i32), 0..9), 0..4),
        scale in prop::sample::select(vec![1.0, 0.3, 1.0 / 8192.0, 124.9]),
    ) {
        let outline = |loops: &[Vec<(i32, i32)>]| Outline {
            loops: loops
                .iter()
                .map(|points| points.iter().map(|(x, y)| [f64::from(*x) * scale, f64::from(*y) * scale]).collect())
                .collect(),
        };
        let (outline, upper) = (outline(&loops), outline(&upper));
        let stack = Stack::new("wild").slab(0.0, 1.0, &outline).taper(1.0, 2.0, &outline, &outline);
        for shells in 1..3 {
            let _ = stack.clone().slab(2.0, 3.0, &upper).solid_of(shells);
        }
    }
}
