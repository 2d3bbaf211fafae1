//! Prints a drawn outline point by point and measures how far it lies from the wanted one.
//!
//! The drawing is found by solving for whole walls ([`super::pulley_law`]); this check goes the other
//! way and knows nothing of that. It takes the corners of the polygon that goes into the file, scales
//! each about the axis and moves it along its own normal. Across a rounding the movement passes evenly,
//! by angle, from that of the one neighbour to that of the other. What comes out is compared with the
//! exact wanted walls both ways: no printed point far from a wanted wall, no wanted point far from the
//! printed outline.

use crate::belt::groove::Groove;
use crate::belt::walls::{Point, Shape, Wall, WallKind, distance_to_segment};

use super::pulley_law::WallLaw;

/// Chords of a sharp corner, which a bead of plastic rounds off.
const CORNER_CHORDS: usize = 8;
/// Points compared along a straight side of the printed outline.
const POINTS_PER_SIDE: usize = 4;
/// Points compared along a wanted wall.
const POINTS_PER_WALL: usize = 16;

/// The printed outline over one pitch: the corners of the polygon after the error model.
///
/// It begins with the whole tip before the groove, so that both its roundings have both neighbours.
pub fn printed_pitch(drawn: &Groove, counts: &[usize; 8], law: &WallLaw) -> Vec<Point> {
    let mut printed = Vec::new();
    let mut last: Option<((Point, Point), f64)> = None;
    for (wall, count) in with_tip_before(drawn).iter().zip([&counts[7]].into_iter().chain(counts)) {
        let chords =
            if matches!(wall.shape, Shape::Arc { radius: 0.0, .. }) { CORNER_CHORDS } else { *count };
        if let Some(((corner, from), swell)) = last {
            printed.extend(corner_points(corner, from, wall.at(0.0).1, law.scale, swell));
        }
        printed.extend((0..=chords).map(|i| printed_point(wall, i as f64 / chords as f64, law)));
        last = Some((wall.at(1.0), swell_at(wall, 1.0, law)));
    }
    printed
}

/// A bead rounds an outer corner that two walls make, as few involute teeth have beside their tips.
fn corner_points(corner: Point, from: Point, to: Point, scale: f64, swell: f64) -> Vec<Point> {
    /// Less than this turn between two walls is no corner, radians.
    const SMOOTH_RAD: f64 = 1e-6;
    let (begin, turn) = (from.1.atan2(from.0), (from.0 * to.1 - from.1 * to.0).asin());
    if turn <= SMOOTH_RAD {
        return Vec::new();
    }
    let point = |i: usize| {
        let (sin, cos) = (begin + turn * i as f64 / CORNER_CHORDS as f64).sin_cos();
        (scale * corner.0 + swell * cos, scale * corner.1 + swell * sin)
    };
    (1..CORNER_CHORDS).map(point).collect()
}

fn with_tip_before(groove: &Groove) -> Vec<Wall> {
    let walls = groove.walls();
    [walls[7].turned(-2.0 * groove.half_pitch_rad())].into_iter().chain(walls).collect()
}

fn printed_point(wall: &Wall, share: f64, law: &WallLaw) -> Point {
    let ((x, y), (nx, ny)) = wall.at(share);
    let swell = swell_at(wall, share, law);
    (law.scale * x + swell * nx, law.scale * y + swell * ny)
}

/// How far the bead moves a wall outwards at this share of the way along it, mm.
fn swell_at(wall: &Wall, share: f64, law: &WallLaw) -> f64 {
    match wall.kind {
        WallKind::Tip => law.tip_swell_mm,
        WallKind::Flank | WallKind::RootFillet | WallKind::Floor => law.groove_swell_mm,
        WallKind::TipRounding => {
            // The rounding right of the groove begins at the tip, the one left of it ends there.
            let is_right = wall.at(0.5).0.0 > 0.0;
            let of_tip = if is_right { 1.0 - share } else { share };
            law.groove_swell_mm + of_tip * (law.tip_swell_mm - law.groove_swell_mm)
        }
    }
}

/// The largest distance between the printed outline of a drawing and the wanted one, either way, mm.
///
/// `counts`: the chords of each wall of the drawing, as they are in the file.
pub fn deviation_mm(wanted: &Groove, drawn: &Groove, counts: &[usize; 8], law: &WallLaw) -> f64 {
    let printed = printed_pitch(drawn, counts, law);
    let walls = with_tip_before(wanted);
    let to_wanted =
        |point: Point| walls.iter().map(|wall| wall.distance(point)).fold(f64::INFINITY, f64::min);
    let to_printed = |point: Point| {
        printed
            .windows(2)
            .map(|side| distance_to_segment(point, side[0], side[1]))
            .fold(f64::INFINITY, f64::min)
    };
    let along_printed = printed.windows(2).flat_map(|side| {
        let [(x0, y0), (x1, y1)] = [side[0], side[1]];
        (0..POINTS_PER_SIDE).map(move |i| {
            let share = i as f64 / POINTS_PER_SIDE as f64;
            (x0 + share * (x1 - x0), y0 + share * (y1 - y0))
        })
    });
    // The far halves of the two outermost tips have their neighbours in the next pitches.
    let within = |(x, y): &Point| x.atan2(*y).abs() <= wanted.half_pitch_rad();
    let there = along_printed.filter(within).map(to_wanted).fold(0.0, f64::max);
    let along_wanted = walls
        .iter()
        .flat_map(|wall| (0..=POINTS_PER_WALL).map(|i| wall.at(i as f64 / POINTS_PER_WALL as f64).0));
    along_wanted.filter(within).map(to_printed).fold(there, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::pulley::Pulley;
    use crate::belt::walls::chord_counts;
    use crate::kind::Kind;

    fn law(scale: f64, tip_swell_mm: f64, groove_swell_mm: f64) -> WallLaw {
        WallLaw { scale, tip_swell_mm, groove_swell_mm, tip_kind: Kind::Pin }
    }

    fn deviation(belt: &str, teeth: u32, law: &WallLaw, drawn: impl Fn(&Groove) -> Groove) -> f64 {
        let wanted = Pulley::standard(belt, teeth, true).unwrap().groove;
        let drawn = drawn(&wanted);
        deviation_mm(&wanted, &drawn, &chord_counts(&drawn.walls(), 1e-5), law)
    }

    #[test]
    fn walls_that_move_alike_print_as_wanted_but_for_the_chords() {
        let law = law(0.995, 0.09, 0.09);
        for teeth in [12, 20, 60] {
            // The chords are those of the drawn radii; the printed ones are larger.
            assert!(deviation("T5", teeth, &law, |wanted| law.drawn(wanted)) < 1.5e-5, "{teeth}");
        }
    }

    /// The same in the rounding's own frame: `a` half its turn, the movements `m - D` and `m + D`, the
    /// drawn centre the origin, the wanted one `D / sin a` aside. The tip is taken as straight.
    #[test]
    fn walls_that_move_differently_cost_what_the_rounding_alone_says() {
        let (m, d) = (0.07, 0.05);
        let law = law(1.0, m + d, m - d);
        let wanted = Pulley::standard("T10", 60, false).unwrap().groove;
        let found = deviation("T10", 60, &law, |wanted| law.drawn(wanted));
        let Shape::Arc { from_rad, to_rad, radius, .. } = wanted.walls()[0].shape else { panic!("no arc") };
        let a = (to_rad - from_rad) / 2.0;
        let off = |u: f64| {
            let printed = radius - m + m + d * u;
            let (x, y) = (printed * (u * a).sin() - d / a.sin(), printed * (u * a).cos());
            let angle = x.atan2(y);
            let nearest = x * angle.clamp(-a, a).sin() + y * angle.clamp(-a, a).cos();
            (nearest - radius).abs()
        };
        let expected = (-1000..=1000).map(|i| off(f64::from(i) / 1000.0)).fold(0.0, f64::max);
        assert!(expected > 0.004 && (found - expected).abs() < 1e-4, "{found} for {expected}");
    }

    /// Negative controls: what the check must see.
    #[test]
    fn uncorrected_and_scaled_drawings_are_seen() {
        let swell = law(1.0, 0.1, 0.1);
        assert!((deviation("XL", 60, &swell, |wanted| *wanted) - 0.1).abs() < 1e-3);
        // The scale of W12 on a 60-tooth pulley: 1.02 mm small.
        let scaled = deviation("XL", 60, &swell, |wanted| wanted.scaled(15.66 / 15.86));
        assert!((scaled - 1.017 / 2.0).abs() < 2e-3, "{scaled}");
        // A flank drawn 0.01 mm out of place, everything else right.
        let flank = deviation("XL", 60, &swell, |wanted| {
            let drawn = swell.drawn(wanted);
            Groove { flank_mm: drawn.flank_mm + 0.01, ..drawn }
        });
        assert!((flank - 0.01).abs() < 3e-3, "{flank}");
    }

    #[test]
    fn a_rounding_that_the_swell_alone_exceeds_is_measured() {
        // MXL tips are rounded by 0.13 mm; a bead that rounds by 0.2 mm cannot print that.
        let law = law(1.0, 0.2, 0.2);
        let wanted = Pulley::standard("MXL", 20, false).unwrap().groove;
        assert_eq!(law.drawn(&wanted).tip_radius_mm, 0.0);
        let found = deviation("MXL", 20, &law, |wanted| law.drawn(wanted));
        let Shape::Arc { from_rad, to_rad, .. } = wanted.walls()[0].shape else { panic!("no arc") };
        // Between two arcs tangent to the same two walls: (R - r) (1 / cos(half turn) - 1).
        let expected = 0.07 * (1.0 / ((to_rad - from_rad) / 2.0).cos() - 1.0);
        assert!((found - expected).abs() < 1e-3, "{found} for {expected}");
    }
}
