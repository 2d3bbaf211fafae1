//! The curves that edges of an exact solid run along.
//!
//! Lines, circles and ellipses are conics that every drawing program has. Where a hole across meets a round
//! wall, the two cylinders cross along a curve of the fourth degree, which none has: it is kept here as what it
//! is, with its derivatives, and [`SpaceCurve::spline`] gives a spline that lies within a stated distance of
//! both cylinders.
//!
//! *The spline*: over equal steps of the angle about the hole, polynomials of degree 5 that take place, first
//! and second derivative of the curve at both ends (Hermite), written as one B-spline whose inner knots are
//! threefold, so that it is smooth to the second derivative. The distance falls with the sixth power of the step.
//! Source of the form: Farin, Curves and Surfaces for CAGD, blossoms of Bézier and B-spline curves; from memory.

/// How far a spline may lie from the two cylinders whose crossing it stands for, mm.
pub const SPLINE_MM: f64 = 1e-7;
/// Degree of the splines.
pub const SPLINE_DEGREE: usize = 5;

/// A place or a direction in space.
pub type Place = [f64; 3];

/// The curve of an edge of a solid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpaceCurve {
    /// Straight.
    Line,
    /// Part of a horizontal circle about this centre; positive sweeps turn counter-clockwise from above.
    Arc {
        /// Its centre.
        center: Place,
        /// How far it turns, radians.
        sweep_rad: f64,
    },
    /// Part of an ellipse, or of a circle where its half axes are equal: `center + first cos t + second sin t`.
    Ellipse {
        /// Its centre.
        center: Place,
        /// The longer half axis.
        first: Place,
        /// The shorter half axis, square to it.
        second: Place,
        /// Where it begins.
        from_rad: f64,
        /// How far it turns.
        sweep_rad: f64,
    },
    /// Part of the crossing of a level cylinder with an upright one.
    Crossing {
        /// The two.
        crossing: Crossing,
        /// Angle about the level axis where it begins.
        from_rad: f64,
        /// How far it turns.
        sweep_rad: f64,
    },
}

/// Where a hole across meets a round wall. In the hole's own frame: along its axis, to its left, up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// A point of the hole's axis, the frame's origin.
    pub origin: Place,
    /// Cosine and sine of the hole's direction.
    pub along: [f64; 2],
    /// The hole's radius.
    pub hole_mm: f64,
    /// The wall's centre, along and to the left.
    pub wall_center: [f64; 2],
    /// The wall's radius.
    pub wall_mm: f64,
    /// 1 where the wall is met beyond its centre, -1 where before.
    pub side: f64,
}

impl Crossing {
    /// How far along the hole's axis the wall is met this far to the left.
    pub fn reach(&self, left: f64) -> f64 {
        let across = left - self.wall_center[1];
        self.wall_center[0] + self.side * (self.wall_mm * self.wall_mm - across * across).max(0.0).sqrt()
    }

    /// Place, first and second derivative at an angle about the hole's axis, 0 at its left, a quarter turn on top.
    fn derivatives(&self, angle: f64) -> [Place; 3] {
        let (sin, cos) = angle.sin_cos();
        let r = self.hole_mm;
        let across = r * cos - self.wall_center[1];
        let (first, second) = (-r * sin, -r * cos);
        let root = (self.wall_mm * self.wall_mm - across * across).max(f64::MIN_POSITIVE).sqrt();
        let slope = across * first / root;
        let bend = (first * first + across * second) / root + slope * slope / root;
        let locals = [
            [self.wall_center[0] + self.side * root, r * cos, r * sin],
            [-self.side * slope, first, r * cos],
            [-self.side * bend, second, -r * sin],
        ];
        let [ux, uy] = self.along;
        let turned = |[u, v, z]: Place| [u * ux - v * uy, u * uy + v * ux, z];
        let [place, first, second] = locals.map(turned);
        [std::array::from_fn(|axis| place[axis] + self.origin[axis]), first, second]
    }

    /// How far a place lies from the one and from the other cylinder, the larger of both.
    fn off(&self, place: Place) -> f64 {
        let from: Place = std::array::from_fn(|axis| place[axis] - self.origin[axis]);
        let [ux, uy] = self.along;
        let (u, v) = (from[0] * ux + from[1] * uy, from[1] * ux - from[0] * uy);
        let hole = v.hypot(from[2]) - self.hole_mm;
        let wall = (u - self.wall_center[0]).hypot(v - self.wall_center[1]) - self.wall_mm;
        hole.abs().max(wall.abs())
    }
}

/// A B-spline of [`SPLINE_DEGREE`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spline {
    /// Its control points.
    pub poles: Vec<Place>,
    /// Its knots, each once, with how often it counts.
    pub knots: Vec<(f64, usize)>,
}

/// A polynomial of degree 5 by its six control points, from its ends' derivatives over a step of one.
fn hermite(begin: [Place; 3], end: [Place; 3]) -> [Place; 6] {
    let mix = |parts: &[(f64, Place)]| -> Place {
        std::array::from_fn(|axis| parts.iter().map(|(share, of)| share * of[axis]).sum())
    };
    [
        begin[0],
        mix(&[(1.0, begin[0]), (0.2, begin[1])]),
        mix(&[(1.0, begin[0]), (0.4, begin[1]), (0.05, begin[2])]),
        mix(&[(1.0, end[0]), (-0.4, end[1]), (0.05, end[2])]),
        mix(&[(1.0, end[0]), (-0.2, end[1])]),
        end[0],
    ]
}

/// A place on a polynomial given by control points.
fn on_bezier(poles: &[Place; 6], share: f64) -> Place {
    let mut row = *poles;
    for last in (1..row.len()).rev() {
        for i in 0..last {
            row[i] = std::array::from_fn(|axis| row[i][axis] + share * (row[i + 1][axis] - row[i][axis]));
        }
    }
    row[0]
}

impl SpaceCurve {
    /// The place at this share of a curve that turns, of a line none: its ends say all.
    pub fn at(&self, share: f64, from: Place) -> Option<Place> {
        match *self {
            Self::Line => None,
            Self::Arc { center, sweep_rad } => {
                let (dx, dy) = (from[0] - center[0], from[1] - center[1]);
                let (sin, cos) = (share * sweep_rad).sin_cos();
                Some([center[0] + dx * cos - dy * sin, center[1] + dx * sin + dy * cos, center[2]])
            }
            Self::Ellipse { center, first, second, from_rad, sweep_rad } => {
                let (sin, cos) = (from_rad + share * sweep_rad).sin_cos();
                Some(std::array::from_fn(|axis| center[axis] + first[axis] * cos + second[axis] * sin))
            }
            Self::Crossing { crossing, from_rad, sweep_rad } => {
                Some(crossing.derivatives(from_rad + share * sweep_rad)[0])
            }
        }
    }

    /// The spline that stands for a crossing, within [`SPLINE_MM`] of both cylinders; its ends are given, so that
    /// they are the edge's own.
    pub fn spline(&self, from: Place, to: Place) -> Option<Spline> {
        let Self::Crossing { crossing, from_rad, sweep_rad } = *self else { return None };
        /// More would make a file that nobody can use; walls are refused before they come that near to a hole's width.
        const MOST_PIECES: usize = 512;
        let mut pieces = 2;
        loop {
            let step = sweep_rad / pieces as f64;
            let end = |i: usize| {
                let [mut place, first, second] = crossing.derivatives(from_rad + step * i as f64);
                if i == 0 {
                    place = from;
                } else if i == pieces {
                    place = to;
                }
                [place, first.map(|part| part * step), second.map(|part| part * step * step)]
            };
            let beziers: Vec<[Place; 6]> = (0..pieces).map(|i| hermite(end(i), end(i + 1))).collect();
            let shares = [0.25, 0.5, 0.75];
            let off = beziers
                .iter()
                .flat_map(|poles| shares.map(|share| crossing.off(on_bezier(poles, share))))
                .fold(0.0, f64::max);
            if off <= SPLINE_MM || pieces >= MOST_PIECES {
                return Some(joined(&beziers));
            }
            pieces *= 2;
        }
    }
}

/// Polynomials that meet smoothly to the second derivative, as one spline. Its control points are the values of the
/// polynomials' blossoms at five knots in a row: between two threefold knots those of either side, and across a
/// knot, where both sides give the same, the fifth point stretched by one step.
fn joined(beziers: &[[Place; 6]]) -> Spline {
    let mut poles = Vec::with_capacity(3 * beziers.len() + 3);
    let mut knots = Vec::with_capacity(beziers.len() + 1);
    let last = beziers.len() - 1;
    for (index, of) in beziers.iter().enumerate() {
        if index == 0 {
            poles.extend([of[0], of[1]]);
        }
        poles.extend([of[2], of[3]]);
        if index < last {
            poles.push(std::array::from_fn(|axis| 2.0 * of[4][axis] - of[3][axis]));
        } else {
            poles.extend([of[4], of[5]]);
        }
        knots.push((index as f64, if index == 0 { SPLINE_DEGREE + 1 } else { 3 }));
    }
    knots.push((beziers.len() as f64, SPLINE_DEGREE + 1));
    Spline { poles, knots }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, PI};

    fn crossing(hole_mm: f64, wall_mm: f64) -> Crossing {
        let (sin, cos) = 0.3_f64.sin_cos();
        let (origin, wall_center) = ([1.0, -2.0, 5.0], [0.0, 0.0]);
        Crossing { origin, along: [cos, sin], hole_mm, wall_center, wall_mm, side: 1.0 }
    }

    /// De Boor's algorithm, as any reader evaluates it.
    fn on_spline(spline: &Spline, at: f64) -> Place {
        let knots: Vec<f64> =
            spline.knots.iter().flat_map(|(knot, times)| std::iter::repeat_n(*knot, *times)).collect();
        let top = spline.poles.len() - 1;
        let span =
            (SPLINE_DEGREE..=top).rev().find(|i| knots[*i] <= at && knots[*i] < knots[*i + 1]).unwrap();
        let mut row: Vec<Place> = (span - SPLINE_DEGREE..=span).map(|i| spline.poles[i]).collect();
        for level in 1..=SPLINE_DEGREE {
            for j in (level..=SPLINE_DEGREE).rev() {
                let i = span - SPLINE_DEGREE + j;
                let share = (at - knots[i]) / (knots[i + 1 + SPLINE_DEGREE - level] - knots[i]);
                row[j] = std::array::from_fn(|axis| (1.0 - share) * row[j - 1][axis] + share * row[j][axis]);
            }
        }
        row[SPLINE_DEGREE]
    }

    #[test]
    fn a_spline_lies_within_its_distance_of_both_cylinders_also_of_a_hole_nearly_as_wide_as_the_wall() {
        for (hole, wall) in [(1.0, 9.0), (1.7, 2.5), (2.2, 2.5), (0.6, 30.0)] {
            let crossing = crossing(hole, wall);
            let curve = SpaceCurve::Crossing { crossing, from_rad: FRAC_PI_2, sweep_rad: PI };
            let ends = [0.0, 1.0].map(|share| curve.at(share, [0.0; 3]).unwrap());
            let spline = curve.spline(ends[0], ends[1]).unwrap();
            let pieces = spline.knots.len() - 1;
            assert_eq!(spline.poles.len(), 3 * pieces + 3);
            let worst = (0..1000)
                .map(|i| crossing.off(on_spline(&spline, f64::from(i) / 1000.0 * pieces as f64)))
                .fold(0.0, f64::max);
            assert!(worst <= 1.05 * SPLINE_MM, "{hole} in {wall}: {worst:e} with {pieces} pieces");
            // Negative control: the chord alone.
            let middle = std::array::from_fn(|axis| (ends[0][axis] + ends[1][axis]) / 2.0);
            assert!(crossing.off(middle) > 0.1);
        }
    }

    #[test]
    fn derivatives_are_those_of_small_differences() {
        let crossing = crossing(1.7, 2.5);
        for angle in [0.2, 1.0, 2.5, 4.0] {
            let h = 1e-5;
            let [before, here, after] = [-h, 0.0, h].map(|off| crossing.derivatives(angle + off));
            for axis in 0..3 {
                assert!((here[1][axis] - (after[0][axis] - before[0][axis]) / (2.0 * h)).abs() < 1e-8);
                assert!((here[2][axis] - (after[1][axis] - before[1][axis]) / (2.0 * h)).abs() < 1e-8);
            }
        }
    }
}
