//! Flat regions with holes, as closed loops of points.
//!
//! Outer loops run counter-clockwise and holes clockwise, so that the region lies to the left of every
//! edge. Lengths are millimetres.
//!
//! A circle is drawn as a regular polygon **of the circle's own area**: its corners lie a little outside
//! the true circle and the middles of its sides a little inside, and its mean effective radius is the one
//! that was wanted. The same holds for bores and pins. With the automatic number of segments the sides
//! fall short of the corners by less than 0.005 mm.

use std::f64::consts::{PI, TAU};

/// A place in the plane: x and y in millimetres.
pub type Point = [f64; 2];

/// How far the middle of a circle's side may fall short of its corners, in millimetres.
const SAGITTA_MM: f64 = 0.005;

/// A region of the plane, bounded by closed loops; the last point of a loop joins its first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outline {
    /// Outer loops counter-clockwise, holes clockwise.
    pub loops: Vec<Vec<Point>>,
}

/// The number of segments that a circle needs for its sagitta to stay below 0.005 mm.
///
/// A multiple of 8, so that a circle is its own mirror image about both axes and both diagonals; at
/// least 32.
pub fn segments_for(diameter: f64) -> usize {
    let mut segments = 32;
    // Wider than the grid allows is refused later, so there is an end to it.
    while segments < 4096 && sagitta(diameter, segments) >= SAGITTA_MM {
        segments += 8;
    }
    segments
}

/// The fewest segments, an even number, with which a circle's sagitta stays below 0.005 mm, where nothing asks for
/// more symmetry; at least 16.
pub fn fewest_segments_for(diameter: f64) -> usize {
    let mut segments = 16;
    while segments < 4096 && sagitta(diameter, segments) >= SAGITTA_MM {
        segments += 2;
    }
    segments
}

/// How far the middles of the sides of the drawn circle lie inside its corners.
fn sagitta(diameter: f64, segments: usize) -> f64 {
    corner_radius(diameter, segments) * (1.0 - (PI / segments as f64).cos())
}

/// The radius of the corners of the regular polygon that has the circle's area.
fn corner_radius(diameter: f64, segments: usize) -> f64 {
    let angle = TAU / segments as f64;
    diameter / 2.0 * (angle / angle.sin()).sqrt()
}

impl Outline {
    /// A rectangle between two opposite corners, in any order.
    pub fn rectangle(x0: f64, y0: f64, x1: f64, y1: f64) -> Self {
        let (left, right) = (x0.min(x1), x0.max(x1));
        let (low, high) = (y0.min(y1), y0.max(y1));
        Self { loops: vec![vec![[left, low], [right, low], [right, high], [left, high]]] }
    }

    /// A circle with as many segments as [`segments_for`] says; its first corner points along +x.
    pub fn circle(center: Point, diameter: f64) -> Self {
        Self::circle_with(center, diameter, segments_for(diameter))
    }

    /// A circle with a given number of segments (at least 3), of the true circle's area.
    pub fn circle_with(center: Point, diameter: f64, segments: usize) -> Self {
        let segments = segments.max(3);
        let radius = corner_radius(diameter, segments);
        let corner = |i: usize| {
            let (sin, cos) = (TAU * i as f64 / segments as f64).sin_cos();
            [center[0] + radius * cos, center[1] + radius * sin]
        };
        Self { loops: vec![(0..segments).map(corner).collect()] }
    }

    /// A single outer loop, turned counter-clockwise if it is not.
    pub fn polygon(points: impl Into<Vec<Point>>) -> Self {
        let mut points = points.into();
        if loop_area(&points) < 0.0 {
            points.reverse();
        }
        Self { loops: vec![points] }
    }

    /// This region less the outer loops of `hole`, which must lie inside it.
    #[must_use]
    pub fn with_hole(mut self, hole: &Self) -> Self {
        self.loops.extend(hole.loops.iter().filter(|points| loop_area(points) > 0.0).map(|p| reversed(p)));
        self
    }

    /// This region less `other`, which must lie wholly inside it: the holes of `other` stay as islands,
    /// as the inside of an engraved `A` does.
    #[must_use]
    pub fn minus_inside(mut self, other: &Self) -> Self {
        self.loops.extend(other.loops.iter().map(|points| reversed(points)));
        self
    }

    /// Both regions, which must lie apart.
    #[must_use]
    pub fn union_disjoint(mut self, other: &Self) -> Self {
        self.loops.extend(other.loops.iter().cloned());
        self
    }

    /// The region moved.
    #[must_use]
    pub fn translated(self, dx: f64, dy: f64) -> Self {
        self.mapped(|[x, y]| [x + dx, y + dy])
    }

    /// The region turned counter-clockwise about the origin. Quarter turns are exact.
    #[must_use]
    pub fn rotated(self, angle_rad: f64) -> Self {
        let quarters = angle_rad / (PI / 2.0);
        let (sin, cos) = if (quarters - quarters.round()).abs() < 1e-12 {
            match quarters.round().rem_euclid(4.0) as u8 {
                0 => (0.0, 1.0),
                1 => (1.0, 0.0),
                2 => (0.0, -1.0),
                _ => (-1.0, 0.0),
            }
        } else {
            angle_rad.sin_cos()
        };
        self.mapped(|[x, y]| [x * cos - y * sin, x * sin + y * cos])
    }

    /// The mirror image with x reversed; loops are turned round again to keep the region on their left.
    #[must_use]
    pub fn mirrored_x(self) -> Self {
        let mut mirrored = self.mapped(|[x, y]| [-x, y]);
        mirrored.loops.iter_mut().for_each(|points| points.reverse());
        mirrored
    }

    fn mapped(mut self, place: impl Fn(Point) -> Point) -> Self {
        self.loops.iter_mut().flatten().for_each(|point| *point = place(*point));
        self
    }

    /// Area in square millimetres, holes taken off.
    pub fn area(&self) -> f64 {
        self.loops.iter().map(|points| loop_area(points)).sum()
    }

    /// The lowest and the highest x and y, or `None` of an empty region.
    pub fn bounds(&self) -> Option<[Point; 2]> {
        let mut points = self.loops.iter().flatten();
        let first = *points.next()?;
        Some(points.fold([first, first], |[low, high], point| {
            [[low[0].min(point[0]), low[1].min(point[1])], [high[0].max(point[0]), high[1].max(point[1])]]
        }))
    }
}

/// Signed area of one loop: positive when it runs counter-clockwise.
pub fn loop_area(points: &[Point]) -> f64 {
    let Some(&[x0, y0]) = points.first() else { return 0.0 };
    let cross =
        |edge: &[Point]| (edge[0][0] - x0) * (edge[1][1] - y0) - (edge[1][0] - x0) * (edge[0][1] - y0);
    points.windows(2).map(cross).sum::<f64>() / 2.0
}

fn reversed(points: &[Point]) -> Vec<Point> {
    points.iter().rev().copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_has_the_true_circles_area_for_bores_and_pins_alike() {
        for (diameter, segments) in [(5.0, 32), (5.0, 7), (31.83, 200)] {
            let drawn = Outline::circle_with([3.0, -2.0], diameter, segments).area();
            let wanted = PI * diameter * diameter / 4.0;
            assert!((drawn / wanted - 1.0).abs() < 1e-12, "{diameter} mm: {drawn} for {wanted}");
        }
        // Negative control: corners on the true circle give an area short by 6e-3 at 32 segments.
        let inscribed = 16.0 * 6.25 * (TAU / 32.0).sin();
        assert!((inscribed / (PI * 6.25) - 1.0).abs() > 5e-3);
    }

    #[test]
    fn segments_keep_the_sagitta_below_5_micrometres_and_no_fewer_would() {
        for diameter in [0.5, 3.0, 5.0, 8.0, 22.0, 63.7, 250.0] {
            let segments = segments_for(diameter);
            assert!(segments >= 32 && segments.is_multiple_of(8));
            assert!(sagitta(diameter, segments) < SAGITTA_MM);
            assert!(segments == 32 || sagitta(diameter, segments - 8) >= SAGITTA_MM);
            let fewest = fewest_segments_for(diameter);
            assert!(fewest.is_multiple_of(2) && fewest <= segments && sagitta(diameter, fewest) < SAGITTA_MM);
            assert!(fewest == 16 || sagitta(diameter, fewest - 2) >= SAGITTA_MM);
        }
    }

    #[test]
    fn a_hole_takes_its_area_off_and_an_island_puts_it_back() {
        let letter =
            Outline::rectangle(1.0, 1.0, 5.0, 5.0).with_hole(&Outline::rectangle(2.0, 2.0, 3.0, 3.0));
        assert_eq!(letter.area(), 15.0);
        let plate = Outline::rectangle(0.0, 0.0, 10.0, 10.0);
        assert_eq!(plate.clone().minus_inside(&letter).area(), 85.0);
        assert_eq!(plate.with_hole(&letter).area(), 84.0);
    }

    #[test]
    fn moves_turns_and_mirrors_keep_the_area_and_the_side() {
        let shape = Outline::polygon([[0.0, 0.0], [0.0, 2.0], [3.0, 0.0]]);
        assert_eq!(shape.area(), 3.0);
        assert_eq!(shape.clone().mirrored_x().area(), 3.0);
        assert_eq!(shape.clone().mirrored_x().bounds(), Some([[-3.0, 0.0], [0.0, 2.0]]));
        assert_eq!(shape.clone().rotated(PI / 2.0).bounds(), Some([[-2.0, 0.0], [0.0, 3.0]]));
        assert_eq!(shape.translated(1.0, -1.0).bounds(), Some([[1.0, -1.0], [4.0, 1.0]]));
        assert_eq!(Outline::default().bounds(), None);
    }
}
