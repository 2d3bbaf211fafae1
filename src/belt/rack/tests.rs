//! The envelope against a rack that is rolled step by step, which knows nothing of contact and normals.

use std::f64::consts::FRAC_PI_2;

use super::*;
use crate::belt::groove::{Groove, NoSuchTeeth};
use crate::belt::pulley::{NoPulley, Pulley};
use crate::belt::walls::{Shape, Wall, WallKind};

#[test]
fn racks_are_found_by_tooth_count() {
    assert!((find("MXL", 23).unwrap().half_angle_rad.to_degrees() - 28.0).abs() < 1e-12);
    assert!((find("MXL", 24).unwrap().half_angle_rad.to_degrees() - 20.0).abs() < 1e-12);
    assert_eq!(find("H", 19).unwrap().base_radius_mm, 1.04);
    assert_eq!(find("H", 20).unwrap().base_radius_mm, 1.42);
    assert_eq!(find("XH", 12).unwrap().tip_width_mm, 7.59);
    assert_eq!(find("T5", 20), None);
    assert!(rows().iter().all(|row| read(row).is_some()) && rows().len() == 9);
    assert!(find("XL", 20).unwrap().source.starts_with("looked-up"));
}

fn involute(belt: &str, teeth: u32) -> Groove {
    Pulley::with_flanks(belt, teeth, Flank::Involute, true).unwrap().groove
}

/// How deep a place in the rack's frame lies in the tool, mm; negative outside. The rack is one tooth
/// and its base line, made of straight lines and arcs.
fn depth_in_tool(rack: &Groove, (x, y): Point) -> f64 {
    let x = x.abs();
    let (tip, bottom) = (rack.tip_centre(), rack.bottom_centre());
    let (nx, ny) = rack.flank_normal();
    // Where the flank's straight part begins and ends, along it.
    let along = |(px, py): Point| px * ny - py * nx;
    let (low, high) = (along(bottom), along(tip));
    let here = along((x, y));
    if x >= tip.0 {
        return y - rack.outside_radius_mm;
    }
    if here >= high {
        // Beside the hollow rounding of the tool's base: outside it, seen from its centre.
        return if y < tip.1 || (x, y) == tip {
            x * nx + y * ny - rack.flank_mm
        } else {
            (x - tip.0).hypot(y - tip.1) - rack.tip_radius_mm
        };
    }
    if here >= low {
        return (x * nx + y * ny - rack.flank_mm).min(y - rack.floor_mm);
    }
    if x <= bottom.0 {
        return y - rack.floor_mm;
    }
    rack.bottom_radius_mm - (x - bottom.0).hypot(y - bottom.1)
}

/// The deepest that any position of the rolling rack cuts into a place on the pulley, mm.
fn deepest_cut(groove: &Groove, place: Point) -> f64 {
    let radius = groove.rolling_radius_mm.unwrap();
    let cut = |roll: f64| {
        let (x, y) = turned(place, roll);
        depth_in_tool(groove, (x + radius * roll, y))
    };
    let half = 2.2 * groove.half_pitch_rad();
    let count = 4000;
    let best = (0..=count)
        .map(|i| half * (2.0 * f64::from(i) / f64::from(count) - 1.0))
        .max_by(|a, b| cut(*a).total_cmp(&cut(*b)))
        .unwrap();
    let step = 2.0 * half / f64::from(count);
    (-50..=50).map(|i| cut(best + step * f64::from(i) / 50.0)).fold(f64::NEG_INFINITY, f64::max)
}

#[test]
fn a_rolling_rack_touches_every_wall_and_cuts_into_none() {
    for (belt, teeth) in
        [("XL", 12), ("XL", 10), ("XL", 60), ("MXL", 12), ("MXL", 24), ("L", 20), ("H", 14), ("XXH", 22)]
    {
        let groove = involute(belt, teeth).as_generated();
        for wall in &groove.walls()[..4] {
            for i in 0..=8 {
                let place = wall.at(f64::from(i) / 8.0).0;
                let deepest = deepest_cut(&groove, place);
                assert!(deepest.abs() < 2e-5, "{belt} {teeth} {:?} at {i}/8: {deepest}", wall.kind);
            }
        }
        // Negative control: a place 0.01 mm inside the tooth is not touched, one outside is cut away.
        let ((x, y), (nx, ny)) = groove.walls()[1].at(0.5);
        assert!((deepest_cut(&groove, (x - 0.01 * nx, y - 0.01 * ny)) + 0.01).abs() < 1e-4);
        assert!((deepest_cut(&groove, (x + 0.01 * nx, y + 0.01 * ny)) - 0.01).abs() < 1e-4);
        // What eases a tip lies inside of what the rack leaves, as far as it is said to and no further.
        let eased = involute(belt, teeth);
        let behind = (0..=16).map(|i| -deepest_cut(&groove, eased.walls()[0].at(f64::from(i) / 16.0).0));
        let most = behind.inspect(|mm| assert!(*mm > -2e-5, "{belt} {teeth}: {mm}")).fold(0.0, f64::max);
        assert!(most < eased.tip_easing_mm().unwrap_or(0.0) + 2e-5, "{belt} {teeth}: {most}");
    }
}

/// The base circle's tangent from a point of an involute is as long as the arc unrolled.
#[test]
fn flanks_are_involutes_of_the_base_circle() {
    for teeth in [12, 30, 72] {
        let groove = involute("XL", teeth);
        let base = groove.rolling_radius_mm.unwrap() * groove.half_angle_rad.cos();
        let flank = groove.walls()[1];
        let unrolled = |share: f64| {
            let ((x, y), (nx, ny)) = flank.at(share);
            // The normal touches the base circle.
            assert!(((x * ny - y * nx).abs() - base).abs() < 1e-9, "{teeth}");
            let tangent = (x * x + y * y - base * base).sqrt();
            (tangent, x.atan2(y), (tangent / base).atan())
        };
        let ((t0, a0, p0), (t1, a1, p1)) = (unrolled(0.0), unrolled(1.0));
        // Polar angle of an involute: tan(p) - p.
        let turned = (t0 - t1) / base - (p0 - p1);
        assert!(((a0 - a1) - turned).abs() < 1e-9, "{teeth}: {} for {turned}", a0 - a1);
    }
}

#[test]
fn on_a_large_pulley_the_groove_is_the_rack() {
    let groove = involute("XL", 500);
    let rack = find("XL", 500).unwrap();
    let top = rack.tip_width_mm + 2.0 * rack.height_mm * rack.half_angle_rad.tan();
    // The tip circle bulges by 2 micrometres over the groove.
    assert!((groove.outer_width_mm() - top).abs() < 0.01, "{} for {top}", groove.outer_width_mm());
    assert!((groove.bottom_width_mm() - 1.27).abs() < 1e-12);
    assert!((groove.depth_mm() - 1.4).abs() < 1e-12);
}

#[test]
fn walls_follow_one_another_smoothly_but_for_the_corner_that_few_teeth_have() {
    for (belt, teeth, corner) in [("XL", 60, false), ("L", 40, false), ("XL", 10, true), ("MXL", 12, true)] {
        let groove = involute(belt, teeth).as_generated();
        let walls = groove.walls();
        let next_pitch = walls[0].turned(2.0 * groove.half_pitch_rad());
        let mut bends: f64 = 0.0;
        for (wall, next) in walls.iter().zip(walls[1..].iter().chain([&next_pitch])) {
            let ((x, y), (nx, ny)) = wall.at(1.0);
            let ((to_x, to_y), (to_nx, to_ny)) = next.at(0.0);
            assert!((x - to_x).hypot(y - to_y) < 1e-9, "{belt} {teeth} {wall:?} {next:?}");
            bends = bends.max((nx - to_nx).hypot(ny - to_ny));
        }
        assert_eq!(bends > 1e-6, corner, "{belt} {teeth}: {bends}");
        assert!(bends < 0.3);
    }
}

#[test]
fn distances_to_a_rolled_wall_are_those_along_its_normal() {
    // On the coarsest profile with few teeth the curves run most unevenly.
    for wall in [involute("XL", 14), involute("XXH", 18)].iter().flat_map(Groove::walls) {
        for share in [0.1, 0.37, 0.5, 0.83] {
            let ((x, y), (nx, ny)) = wall.at(share);
            for off in [-0.01, 0.02] {
                let found = wall.distance((x + off * nx, y + off * ny));
                // The walk to the foot stops after six steps; a nanometre is left at the most.
                assert!((found - f64::abs(off)).abs() < 2e-6, "{:?} {share} {off}: {found}", wall.kind);
            }
        }
    }
}

#[test]
fn chords_of_a_rolled_wall_keep_within_their_error() {
    let wall = involute("L", 12).walls()[1];
    assert!(matches!(wall, Wall { kind: WallKind::Flank, shape: Shape::Rolled { .. } }));
    let count = wall.chords(0.001);
    assert!(count > 1);
    for i in 0..=20 * count {
        let share = i as f64 / (20 * count) as f64;
        let begin = (share * count as f64).floor().min(count as f64 - 1.0) / count as f64;
        let (a, b) = (wall.at(begin).0, wall.at(begin + 1.0 / count as f64).0);
        assert!(crate::belt::walls::distance_to_segment(wall.at(share).0, a, b) <= 0.00105);
    }
}

#[test]
fn what_the_rack_would_undercut_is_refused_with_a_way_out() {
    let error = Pulley::with_flanks("MXL", 10, Flank::Involute, false).unwrap_err();
    assert!(matches!(error, NoPulley::Teeth { reason: NoSuchTeeth::Undercut, .. }), "{error}");
    assert_eq!(error.help().unwrap(), "draw it with straight flanks, or take more teeth");
    let error = Pulley::with_flanks("T5", 20, Flank::Involute, false).unwrap_err();
    assert_eq!(error.to_string(), "no rack for involute sides is published for T5");
    assert!(curvature_radius(-1.0, 0.5, 10.0, FRAC_PI_2) < 0.5);
}
