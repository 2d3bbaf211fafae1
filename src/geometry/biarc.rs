//! Curves of other kinds as arcs: two that meet smoothly for each stretch, so that a drawing has arcs where it would
//! have many chords.
//!
//! A *biarc* joins two places with given directions by two arcs that share their direction where they meet. Of the
//! many that do, the one with equal lengths of tangent at both ends is taken. Equal stretches of the curve's
//! parameter are tried, ever more of them, until every place looked at lies within what is asked.
//!
//! Source of the form: Bolton, Biarc curves, Computer-Aided Design 7 (1975); from memory.

use super::curve::{Corner, Curve, distance};
use super::outline::Point;

/// More stretches than any curve of a part needs.
const MOST_STRETCHES: usize = 64;
/// Places looked at in each stretch.
const LOOKS: usize = 12;
/// Arcs that turn by less are lines, radians: within 1e-9 mm of one of a metre.
const STRAIGHT_RAD: f64 = 1e-9;

fn minus(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1]]
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

fn cross(a: Point, b: Point) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

/// The curve from `from` in the direction `along` to `to`: an arc, or a line where it is straight.
fn arc(from: Point, along: Point, to: Point) -> Curve {
    let way = minus(to, from);
    let sweep_rad = 2.0 * cross(along, way).atan2(dot(along, way));
    if sweep_rad.abs() < STRAIGHT_RAD {
        return Curve::Line;
    }
    let radius = dot(way, way) / (2.0 * cross(along, way));
    Curve::Arc { center: [from[0] - along[1] * radius, from[1] + along[0] * radius], sweep_rad }
}

/// Two arcs, and where they meet.
struct Biarc {
    corners: [Corner; 2],
    /// Direction where they meet.
    along: Point,
}

impl Biarc {
    /// Between two places with their directions, each of length one.
    fn between([from, out]: [Point; 2], [to, into]: [Point; 2]) -> Self {
        let way = minus(to, from);
        let both = [out[0] + into[0], out[1] + into[1]];
        let (ahead, square) = (dot(way, both), dot(way, way));
        let tangent = square / (ahead + (ahead * ahead + 2.0 * (1.0 - dot(out, into)) * square).sqrt());
        let middle = [0, 1].map(|i| (from[i] + to[i] + tangent * (out[i] - into[i])) / 2.0);
        let first = arc(from, out, middle);
        // Where it meets the other one, the chord's direction turned on by as much again.
        let chord = minus(middle, from);
        let along = [2.0 * dot(out, chord) * chord[0], 2.0 * dot(out, chord) * chord[1]];
        let along = [0, 1].map(|i| along[i] / dot(chord, chord) - out[i]);
        let second = arc(middle, along, to);
        Self { corners: [Corner { at: from, curve: first }, Corner { at: middle, curve: second }], along }
    }

    /// How far a place lies from the two arcs.
    fn off(&self, place: Point, to: Point) -> f64 {
        let [first, second] = self.corners;
        let (corner, end) =
            if dot(minus(place, second.at), self.along) < 0.0 { (first, second.at) } else { (second, to) };
        match corner.curve {
            Curve::Arc { center, .. } => (distance(center, place) - distance(center, corner.at)).abs(),
            Curve::Line => {
                let way = minus(end, corner.at);
                (cross(way, minus(place, corner.at)) / distance(end, corner.at)).abs()
            }
        }
    }
}

/// Corners with arcs along a curve, its end left out, that lie within `within_mm` of it. `at` gives the place and the
/// direction, of length one, at a share of the way.
pub fn along(at: impl Fn(f64) -> [Point; 2], within_mm: f64) -> Vec<Corner> {
    let mut count = 1;
    loop {
        let share = |i: f64| i / count as f64;
        let mut corners = Vec::with_capacity(2 * count);
        let mut worst = 0.0_f64;
        for i in 0..count {
            let i = i as f64;
            let (begin, end) = (at(share(i)), at(share(i + 1.0)));
            let biarc = Biarc::between(begin, end);
            let looks = (1..LOOKS).map(|look| at(share(i + look as f64 / LOOKS as f64))[0]);
            worst = looks.map(|place| biarc.off(place, end[0])).fold(worst, f64::max);
            corners.extend(biarc.corners);
        }
        if worst <= within_mm || count >= MOST_STRETCHES {
            return corners;
        }
        count += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::curve::Edge;

    /// The involute of a circle of 10 mm radius between two rolling angles, run through evenly.
    fn involute(share: f64) -> [Point; 2] {
        let roll = 0.3 + 0.5 * share;
        let (sin, cos) = roll.sin_cos();
        [[10.0 * (cos + roll * sin), 10.0 * (sin - roll * cos)], [cos, sin]]
    }

    #[test]
    fn arcs_along_an_involute_keep_within_what_is_asked_and_fewer_would_not() {
        let mut last = 0;
        for within in [0.01, 0.0005, 0.00001] {
            let corners = along(involute, within);
            assert!(corners.len() > last, "{within}: {}", corners.len());
            last = corners.len();
            let stretches = corners.len() / 2;
            let far = |count: usize| {
                let mut worst = 0.0_f64;
                for i in 0..count {
                    let share = |k: f64| (i as f64 + k) / count as f64;
                    let (begin, end) = (involute(share(0.0)), involute(share(1.0)));
                    let biarc = Biarc::between(begin, end);
                    let places = (0..=100).map(|k| involute(share(f64::from(k) / 100.0))[0]);
                    worst = places.map(|place| biarc.off(place, end[0])).fold(worst, f64::max);
                }
                worst
            };
            assert!(far(stretches) <= within * 1.05, "{within}");
            assert!(stretches == 1 || far(stretches - 1) > within, "{within}");
        }
    }

    #[test]
    fn arcs_meet_smoothly_and_end_where_the_curve_does() {
        let mut corners = along(involute, 0.0005);
        corners.push(Corner { at: involute(1.0)[0], curve: Curve::Line });
        let mut heading = involute(0.0)[1];
        for pair in corners.windows(2) {
            let edge = Edge { from: pair[0].at, to: pair[1].at, curve: pair[0].curve };
            let Curve::Arc { center, sweep_rad } = edge.curve else { panic!("{edge:?}") };
            let turned = |place: Point| {
                let radius = edge.radius().unwrap();
                [-(place[1] - center[1]) / radius, (place[0] - center[0]) / radius]
                    .map(|part| part * sweep_rad.signum())
            };
            let (begin, end) = (turned(edge.from), turned(edge.to));
            assert!(distance(begin, heading) < 1e-9, "{begin:?} after {heading:?}");
            assert!((distance(center, edge.to) - distance(center, edge.from)).abs() < 1e-9);
            heading = end;
        }
        assert!(distance(heading, involute(1.0)[1]) < 1e-9);
    }

    #[test]
    fn what_is_straight_stays_a_line() {
        let corners = along(|share| [[5.0 * share, 1.0], [1.0, 0.0]], 0.001);
        assert!(corners.iter().all(|corner| corner.curve == Curve::Line));
    }
}
