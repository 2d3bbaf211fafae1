//! The gap that a hole across the axis makes in a ring, at one height after another.
//!
//! A hole of horizontal axis is no stack of prisms, but between two heights its walls are planes: the gap's
//! half width grows evenly from the one to the other. So it is a stack of tapers, and the exact kernel of
//! the solids makes and proves it without cutting meshes. For its corners to correspond, those of the ring
//! beside the gap slide along the ring as the gap widens.
//!
//! Where the gap begins and ends, ring and gap must share corners, since on a slanted edge a corner on the
//! grid lies a little beside it: the whole ring is given those corners beforehand ([`Windows::marked`]).

use std::f64::consts::TAU;

use crate::geometry::outline::Point;

use super::set_screw::{NutSlot, SetScrews};

/// Corners that slide on either side of a gap.
const SLIDERS: usize = 4;
/// How much wider than the gap the part of the ring is in which corners slide.
const WIDER: f64 = 1.1;

/// The gaps of set screws.
pub(super) struct Windows {
    /// Cosine and sine of each direction.
    directions: Vec<(f64, f64)>,
    /// Half width of the gap where it begins.
    first_mm: f64,
    /// Half width of the part in which corners slide.
    wide_mm: f64,
    slot: Option<NutSlot>,
}

impl Windows {
    pub(super) fn new(screws: &SetScrews) -> Self {
        let profile = screws.profile();
        let widest = profile.iter().map(|(_, half)| *half).fold(0.0, f64::max);
        Self {
            directions: screws.directions_rad.iter().map(|angle| (angle.cos(), angle.sin())).collect(),
            first_mm: profile.first().map_or(0.0, |(_, half)| *half),
            wide_mm: WIDER * widest,
            slot: screws.nut,
        }
    }

    /// Half width of the part of a ring that a gap of this diameter needs, mm.
    pub(super) fn wide_mm(diameter_mm: f64) -> f64 {
        // The polygon's corners lie a hundredth outside the circle at the most.
        WIDER * 1.01 * diameter_mm / 2.0
    }

    fn sliders(&self, half_mm: f64) -> impl DoubleEndedIterator<Item = f64> + use<> {
        let wide = self.wide_mm;
        (0..=SLIDERS).map(move |k| half_mm + (wide - half_mm) * k as f64 / SLIDERS as f64)
    }

    /// A loop that every ray from the axis meets once, made ready for gaps.
    pub(super) fn ring(&self, points: Vec<Point>) -> Ring {
        let near = |direction: &Direction| {
            let seconds = points.iter().skip(1).chain(points.first());
            let edges = points.iter().zip(seconds).map(|(a, b)| [*a, *b].map(|at| to_local(*direction, at)));
            let reach = self.wide_mm;
            edges
                .filter(|[a, b]| a[0].max(b[0]) > 0.0 && a[1].min(b[1]) <= reach && a[1].max(b[1]) >= -reach)
                .collect()
        };
        let near = self.directions.iter().map(near).collect();
        let mut ring = Ring { directions: self.directions.clone(), between: Vec::new(), near, points };
        ring.between = (0..self.directions.len()).map(|i| self.between(&ring, i)).collect();
        ring
    }

    /// The corners of a ring from the part in which corners slide at gap `i` to that at the next gap.
    fn between(&self, ring: &Ring, i: usize) -> Vec<Point> {
        let next = (i + 1) % self.directions.len();
        let turn = |point: Point| {
            let [x, y] = to_local(self.directions[i], point);
            y.atan2(x).rem_euclid(TAU)
        };
        let (begin, end) = (turn(ring.at(i, self.wide_mm)), turn(ring.at(next, -self.wide_mm)));
        let mut between: Vec<(f64, Point)> = ring
            .points
            .iter()
            .map(|point| (turn(*point), *point))
            .filter(|(angle, _)| *angle > begin + 1e-9 && *angle < end - 1e-9)
            .collect();
        between.sort_by(|a, b| a.0.total_cmp(&b.0));
        between.into_iter().map(|(_, point)| point).collect()
    }

    /// The ring's loop with the corners that gaps begin at.
    pub(super) fn marked(&self, ring: &Ring) -> Vec<Point> {
        /// Two grid steps, mm.
        const SAME_MM: f64 = 2.5e-4;
        let mut marks = Vec::new();
        for gap in 0..self.directions.len() {
            for half in self.sliders(self.first_mm) {
                marks.extend([half, -half].map(|y| ring.at(gap, y)));
            }
        }
        let is_new = |point: &&Point| {
            let square = |mark: &Point| (mark[0] - point[0]).powi(2) + (mark[1] - point[1]).powi(2);
            marks.iter().all(|mark| square(mark) > SAME_MM * SAME_MM)
        };
        let all = ring.points.iter().filter(is_new).chain(&marks);
        let mut turned: Vec<(f64, Point)> = all.map(|point| (point[1].atan2(point[0]), *point)).collect();
        turned.sort_by(|a, b| a.0.total_cmp(&b.0));
        turned.into_iter().map(|(_, point)| point).collect()
    }

    /// What the gaps leave between two rings: one outline a gap, counter-clockwise.
    pub(super) fn cut(&self, outer: &Ring, inner: &Ring, half_mm: f64) -> Vec<Vec<Point>> {
        let count = self.directions.len();
        (0..count)
            .map(|here| {
                let next = (here + 1) % count;
                let mut points = self.arc(outer, here, next, half_mm);
                let global = |gap: usize, place: Point| to_global(self.directions[gap], place);
                points.extend(self.slot_side(half_mm, -1.0).map(|place| global(next, place)));
                points.extend(self.arc(inner, here, next, half_mm).into_iter().rev());
                points.extend(self.slot_side(half_mm, 1.0).rev().map(|place| global(here, place)));
                points
            })
            .collect()
    }

    /// Along a ring from the gap `here` to the gap `next`, counter-clockwise.
    fn arc(&self, ring: &Ring, here: usize, next: usize, half_mm: f64) -> Vec<Point> {
        let mut arc: Vec<Point> = self.sliders(half_mm).map(|half| ring.at(here, half)).collect();
        arc.extend(&ring.between[here]);
        arc.extend(self.sliders(half_mm).rev().map(|half| ring.at(next, -half)));
        arc
    }

    /// The walls of the slot on one side of the screw, from outside to inside, in the gap's own frame.
    fn slot_side(&self, half_mm: f64, side: f64) -> impl DoubleEndedIterator<Item = Point> + use<> {
        let walls = self.slot.map(|slot| {
            let (near, far) = (slot.from_axis_mm, slot.from_axis_mm + slot.thickness_mm);
            let (gap, wide) = (side * half_mm, side * slot.width_mm / 2.0);
            [[far, gap], [far, wide], [near, wide], [near, gap]]
        });
        walls.into_iter().flatten()
    }

    /// The slots where there is no gap, counter-clockwise, with the corners that the gap begins at.
    pub(super) fn slots(&self) -> Vec<Vec<Point>> {
        let around = |direction: &Direction| {
            let left = self.slot_side(self.first_mm, 1.0).map(|place| to_global(*direction, place));
            let right = self.slot_side(self.first_mm, -1.0).rev().map(|place| to_global(*direction, place));
            right.chain(left).collect::<Vec<Point>>()
        };
        if self.slot.is_none() { Vec::new() } else { self.directions.iter().map(around).collect() }
    }
}

/// Cosine and sine.
type Direction = (f64, f64);

fn to_local((cos, sin): Direction, [x, y]: Point) -> Point {
    [x * cos + y * sin, y * cos - x * sin]
}

fn to_global((cos, sin): Direction, [x, y]: Point) -> Point {
    [x * cos - y * sin, x * sin + y * cos]
}

/// A loop about the axis that gaps are cut into.
pub(super) struct Ring {
    points: Vec<Point>,
    directions: Vec<Direction>,
    /// For each gap the edges near it, in the gap's own frame.
    near: Vec<Vec<[Point; 2]>>,
    /// For each gap the corners from there to the next one.
    between: Vec<Vec<Point>>,
}

impl Ring {
    /// The outermost place at this distance beside the middle of a gap.
    fn at(&self, gap: usize, y: f64) -> Point {
        let crossing = self.near[gap].iter().filter_map(|[[ax, ay], [bx, by]]| {
            let crosses = (ay - y) * (by - y) <= 0.0 && ay != by;
            crosses.then(|| ax + (bx - ax) * (y - ay) / (by - ay))
        });
        to_global(self.directions[gap], [crossing.fold(0.0, f64::max), y])
    }
}
