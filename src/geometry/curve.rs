//! Flat regions bounded by straight lines and true arcs, as a drawing program holds them.
//!
//! Where an [`Outline`](super::outline::Outline) is a polygon that a mesh is made of, a [`CurveOutline`]
//! keeps its arcs: it is what goes into DXF, SVG and STEP. A [`CurveLoop`] is a row of corners, each with
//! the curve that leaves it towards the next one; the last curve ends at the first corner. A circle is one
//! corner with one whole turn. As everywhere here the region lies to the left of every curve, so outer
//! loops run counter-clockwise and holes clockwise. Lengths are millimetres, angles radians,
//! counter-clockwise from +x.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::outline::Point;

/// How a loop goes on from a corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Curve {
    /// Straight to the next corner.
    Line,
    /// On a circle to the next corner.
    Arc {
        /// The circle's centre; corner and next corner are as far from it.
        center: Point,
        /// How far it turns: positive is counter-clockwise, at most one whole turn.
        sweep_rad: f64,
    },
}

/// A corner, and the curve that leaves it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Where it is.
    pub at: Point,
    /// How the loop goes on.
    pub curve: Curve,
}

/// A closed loop of lines and arcs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CurveLoop {
    /// Its corners in order.
    pub corners: Vec<Corner>,
}

/// A region of the plane; outer loops run counter-clockwise and holes clockwise.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CurveOutline {
    /// Its loops.
    pub loops: Vec<CurveLoop>,
}

/// One curve of a loop with both of its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Where it begins.
    pub from: Point,
    /// Where it ends.
    pub to: Point,
    /// What it is.
    pub curve: Curve,
}

impl Edge {
    /// The radius of an arc.
    pub fn radius(&self) -> Option<f64> {
        match self.curve {
            Curve::Line => None,
            Curve::Arc { center, .. } => Some(distance(center, self.from)),
        }
    }

    /// Its length.
    pub fn length(&self) -> f64 {
        match (self.curve, self.radius()) {
            (Curve::Arc { sweep_rad, .. }, Some(radius)) => radius * sweep_rad.abs(),
            _ => distance(self.from, self.to),
        }
    }

    /// The same curve run through the other way.
    #[must_use]
    pub fn reversed(self) -> Self {
        let curve = match self.curve {
            Curve::Line => Curve::Line,
            Curve::Arc { center, sweep_rad } => Curve::Arc { center, sweep_rad: -sweep_rad },
        };
        Self { from: self.to, to: self.from, curve }
    }

    /// Twice the area between the curve and the origin, counter-clockwise positive.
    fn doubled_area(&self) -> f64 {
        let chord = self.from[0] * self.to[1] - self.to[0] * self.from[1];
        match (self.curve, self.radius()) {
            // The segment between chord and arc.
            (Curve::Arc { sweep_rad, .. }, Some(radius)) => {
                chord + radius * radius * (sweep_rad - sweep_rad.sin())
            }
            _ => chord,
        }
    }

    /// Its ends, and where an arc reaches furthest along an axis.
    fn extremes(&self) -> Vec<Point> {
        let mut places = vec![self.from, self.to];
        if let (Curve::Arc { center, sweep_rad }, Some(radius)) = (self.curve, self.radius()) {
            let from = direction(center, self.from);
            for quarter in 0..4 {
                let angle = f64::from(quarter) * FRAC_PI_2;
                let ahead = ((angle - from) * sweep_rad.signum()).rem_euclid(TAU);
                if ahead <= sweep_rad.abs() {
                    let (along, across) =
                        [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][quarter as usize];
                    places.push([center[0] + radius * along, center[1] + radius * across]);
                }
            }
        }
        places
    }

    /// How far the direction from `place` to the curve turns along it, radians.
    fn turn_seen_from(&self, place: Point) -> f64 {
        let straight = |from: Point, to: Point| {
            let (a, b) = ([from[0] - place[0], from[1] - place[1]], [to[0] - place[0], to[1] - place[1]]);
            (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1])
        };
        let (Curve::Arc { center, sweep_rad }, Some(radius)) = (self.curve, self.radius()) else {
            return straight(self.from, self.to);
        };
        // In quarters, so that a segment between chord and arc is thinner than its circle's half.
        let pieces = (sweep_rad.abs() / FRAC_PI_2).ceil().max(1.0) as usize;
        let begin = direction(center, self.from);
        let at = |i: usize| match i {
            0 => self.from,
            _ if i == pieces => self.to,
            _ => polar(center, radius, begin + sweep_rad * i as f64 / pieces as f64),
        };
        let piece = |i: usize| {
            let (a, b) = (at(i), at(i + 1));
            let side = (b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0]);
            let beyond_chord = side * sweep_rad < 0.0;
            let turn = straight(a, b);
            // Between chord and arc, the arc passes on the other side of the place than the chord does.
            if beyond_chord && distance(center, place) < radius {
                turn + TAU * sweep_rad.signum()
            } else {
                turn
            }
        };
        (0..pieces).map(piece).sum()
    }
}

impl CurveLoop {
    /// A circle, counter-clockwise; its only corner points along +x.
    pub fn circle(center: Point, diameter: f64) -> Self {
        let at = [center[0] + diameter / 2.0, center[1]];
        Self { corners: vec![Corner { at, curve: Curve::Arc { center, sweep_rad: TAU } }] }
    }

    /// Straight lines from point to point.
    pub fn polygon(points: impl IntoIterator<Item = Point>) -> Self {
        Self { corners: points.into_iter().map(|at| Corner { at, curve: Curve::Line }).collect() }
    }

    /// Its curves in order.
    pub fn edges(&self) -> impl Iterator<Item = Edge> + '_ {
        let next = self.corners.iter().cycle().skip(1);
        self.corners.iter().zip(next).map(|(corner, next)| Edge {
            from: corner.at,
            to: next.at,
            curve: corner.curve,
        })
    }

    /// The same loop run through the other way; a circle stays one corner.
    #[must_use]
    pub fn reversed(&self) -> Self {
        let edges: Vec<Edge> = self.edges().map(Edge::reversed).collect();
        let corners = edges.iter().rev().map(|edge| Corner { at: edge.from, curve: edge.curve });
        Self { corners: corners.collect() }
    }

    /// Its area, negative of one that runs clockwise.
    pub fn area(&self) -> f64 {
        self.edges().map(|edge| edge.doubled_area()).sum::<f64>() / 2.0
    }

    /// Its length.
    pub fn length(&self) -> f64 {
        self.edges().map(|edge| edge.length()).sum()
    }

    /// Whether a place that is not on the loop lies inside it.
    pub fn contains(&self, place: Point) -> bool {
        let turn: f64 = self.edges().map(|edge| edge.turn_seen_from(place)).sum();
        turn.abs() > PI
    }

    /// A circle's centre and diameter, where the loop is one whole circle.
    pub fn as_circle(&self) -> Option<(Point, f64)> {
        match self.corners[..] {
            [Corner { at, curve: Curve::Arc { center, .. } }] => Some((center, 2.0 * distance(center, at))),
            _ => None,
        }
    }
}

impl CurveOutline {
    /// The region inside one loop, whichever way it runs.
    pub fn new(outer: CurveLoop) -> Self {
        Self { loops: vec![if outer.area() < 0.0 { outer.reversed() } else { outer }] }
    }

    /// This region less the inside of `hole`, which must lie inside it.
    #[must_use]
    pub fn with_hole(mut self, hole: &CurveLoop) -> Self {
        self.loops.push(if hole.area() > 0.0 { hole.reversed() } else { hole.clone() });
        self
    }

    /// Every curve of every loop.
    pub fn edges(&self) -> impl Iterator<Item = Edge> + '_ {
        self.loops.iter().flat_map(CurveLoop::edges)
    }

    /// Area in square millimetres, holes taken off.
    pub fn area(&self) -> f64 {
        self.loops.iter().map(CurveLoop::area).sum()
    }

    /// The lowest and the highest x and y, arcs and all, or `None` of an empty region.
    pub fn bounds(&self) -> Option<[Point; 2]> {
        let mut places = self.edges().flat_map(|edge| edge.extremes());
        let first = places.next()?;
        Some(places.fold([first, first], |[low, high], place| {
            [[low[0].min(place[0]), low[1].min(place[1])], [high[0].max(place[0]), high[1].max(place[1])]]
        }))
    }

    /// The region moved.
    #[must_use]
    pub fn translated(mut self, dx: f64, dy: f64) -> Self {
        let moved = |[x, y]: Point| [x + dx, y + dy];
        for corner in self.loops.iter_mut().flat_map(|of| &mut of.corners) {
            corner.at = moved(corner.at);
            if let Curve::Arc { center, .. } = &mut corner.curve {
                *center = moved(*center);
            }
        }
        self
    }
}

/// The distance between two points.
pub(super) fn distance(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The direction from one point to another.
pub(super) fn direction(from: Point, to: Point) -> f64 {
    (to[1] - from[1]).atan2(to[0] - from[0])
}

/// The point of a circle in a direction.
pub(super) fn polar(center: Point, radius: f64, angle: f64) -> Point {
    let (sin, cos) = angle.sin_cos();
    [center[0] + radius * cos, center[1] + radius * sin]
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A slot of two half circles, 10 mm between centres along x, 4 mm wide.
    pub(in crate::geometry) fn slot() -> CurveLoop {
        let arc = |x: f64| Curve::Arc { center: [x, 0.0], sweep_rad: PI };
        let corner = |x: f64, y: f64, curve| Corner { at: [x, y], curve };
        CurveLoop {
            corners: vec![
                corner(-5.0, -2.0, Curve::Line),
                corner(5.0, -2.0, arc(5.0)),
                corner(5.0, 2.0, Curve::Line),
                corner(-5.0, 2.0, arc(-5.0)),
            ],
        }
    }

    #[test]
    fn areas_lengths_and_extents_are_those_of_true_arcs() {
        let slot = slot();
        assert!((slot.area() - (40.0 + 4.0 * PI)).abs() < 1e-12);
        assert!((slot.length() - (20.0 + 4.0 * PI)).abs() < 1e-12);
        assert_eq!(CurveOutline::new(slot.clone()).bounds(), Some([[-7.0, -2.0], [7.0, 2.0]]));
        assert!((slot.reversed().area() + slot.area()).abs() < 1e-12);
        assert_eq!(slot.reversed().reversed().area(), slot.area());
        let circle = CurveLoop::circle([1.0, 2.0], 6.0);
        assert!((circle.area() - 9.0 * PI).abs() < 1e-12);
        assert_eq!(CurveOutline::new(circle.clone()).bounds(), Some([[-2.0, -1.0], [4.0, 5.0]]));
        assert_eq!(circle.as_circle(), Some(([1.0, 2.0], 6.0)));
        assert_eq!(slot.as_circle(), None);
        // An arc reaches furthest between its ends, where it reaches there at all.
        let lens = CurveOutline::new(CurveLoop {
            corners: vec![
                Corner { at: [1.0, 1.0], curve: Curve::Arc { center: [0.0, 0.0], sweep_rad: FRAC_PI_2 } },
                Corner { at: [-1.0, 1.0], curve: Curve::Line },
            ],
        });
        let [low, high] = lens.bounds().unwrap();
        assert!((high[1] - 2f64.sqrt()).abs() < 1e-12 && low == [-1.0, 1.0] && high[0] == 1.0);
    }

    #[test]
    fn a_hole_takes_its_area_off_whichever_way_it_was_drawn() {
        let hole = CurveLoop::circle([0.0, 0.0], 2.0);
        let plate = CurveOutline::new(slot().reversed());
        for hole in [hole.clone(), hole.reversed()] {
            assert!((plate.clone().with_hole(&hole).area() - (40.0 + 3.0 * PI)).abs() < 1e-12);
        }
        let moved = plate.with_hole(&hole).translated(1.0, 2.0);
        assert_eq!(moved.bounds(), Some([[-6.0, 0.0], [8.0, 4.0]]));
    }

    #[test]
    fn a_place_is_told_from_inside_and_outside_also_between_chord_and_arc() {
        let slot = slot();
        for (place, inside) in [
            ([0.0, 0.0], true),
            ([6.9, 0.0], true),
            ([6.3, 1.4], true),
            ([6.5, 1.5], false),
            ([7.1, 0.0], false),
            ([-6.9, 0.1], true),
            ([0.0, 2.1], false),
        ] {
            assert_eq!(slot.contains(place), inside, "{place:?}");
            assert_eq!(slot.reversed().contains(place), inside, "{place:?} reversed");
        }
        // A hollow arc: the place between its chord and itself lies outside.
        let bitten = CurveLoop {
            corners: vec![
                Corner { at: [0.0, 0.0], curve: Curve::Line },
                Corner { at: [4.0, 0.0], curve: Curve::Line },
                Corner { at: [4.0, 4.0], curve: Curve::Arc { center: [2.0, 4.0], sweep_rad: -PI } },
                Corner { at: [0.0, 4.0], curve: Curve::Line },
            ],
        };
        assert!((bitten.area() - (16.0 - 2.0 * PI)).abs() < 1e-12);
        assert!(!bitten.contains([2.0, 3.0]) && bitten.contains([2.0, 1.0]) && bitten.contains([0.1, 3.0]));
    }
}
