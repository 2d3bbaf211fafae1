//! One sweep over the outlines that meet at a height: caps, and where edges must be split.
//!
//! A line sweeps the plane from left to right over the edges of both outlines. Between two neighbouring
//! edges on the line, each outline either covers the plane or does not, and what exactly one of them
//! covers is cap: facing up where only the slab below is, down where only the slab above is. Every corner
//! the line meets closes a trapezoid of cap between the edge under it and the edge over it; a diagonal
//! from the corner that opened the trapezoid to the one that closes it cuts the cap into monotone
//! mountains, one on each side of each edge, which triangulate as their corners come (Fournier and
//! Montuno 1984, Triangulating simple polygons and equivalent problems, ACM Transactions on Graphics 3).
//! Points are taken in the order of x, then y, so that upright edges are no exception.
//!
//! The same sweep finds corners that lie inside an edge, and splits it there; edges that cross, which is
//! refused (Shamos and Hoey 1976: of two that cross first, each is the other's neighbour before); and
//! places that an outline covers twice. All tests are exact.

use std::ops::Range;

use super::check::Defect;
use super::grid::{self, Spot, turn};

/// Closed loops of corners, one after another.
#[derive(Clone, Debug, Default)]
pub(super) struct Rings {
    pub(super) spots: Vec<Spot>,
    ends: Vec<usize>,
}

impl Rings {
    pub(super) fn push(&mut self, ring: impl IntoIterator<Item = Spot>) {
        self.spots.extend(ring);
        self.ends.push(self.spots.len());
    }

    /// Where each ring lies in `spots`.
    pub(super) fn ranges(&self) -> impl Iterator<Item = Range<usize>> + '_ {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, end)| start..*end)
    }

    pub(super) fn twice_area(&self) -> i128 {
        self.ranges().map(|ring| grid::twice_area(&self.spots[ring])).sum()
    }
}

/// One outline at a level: its corners' indices, and the corners found inside its edges.
#[derive(Debug, Default)]
pub(super) struct Side {
    indices: Vec<u32>,
    /// Edge (by its first corner) and the corner inside it, in the order of edges and along each.
    splits: Vec<(u32, u32)>,
}

impl Side {
    /// Writes the corners along the edge from corner `edge` to corner `next` into `out`, each place once.
    pub(super) fn polyline(&self, edge: usize, next: usize, out: &mut Vec<u32>) {
        out.clear();
        let (from, to) = (self.indices[edge], self.indices[next]);
        out.push(from);
        if !self.splits.is_empty() {
            let first = self.splits.partition_point(|split| (split.0 as usize) < edge);
            let inside = self.splits[first..].iter().take_while(|split| split.0 as usize == edge);
            out.extend(inside.map(|split| split.1));
        }
        if to != from {
            out.push(to);
        }
    }

    fn sort_splits(&mut self, first: u32, rings: &Rings) {
        self.splits.sort_unstable();
        // Found from left to right; an edge that runs to the left meets them the other way round.
        for range in rings.ranges() {
            for edge in range.clone() {
                let next = if edge + 1 == range.end { range.start } else { edge + 1 };
                if self.indices[next] < self.indices[edge] {
                    let start = self.splits.partition_point(|split| (split.0 as usize) < edge);
                    let end = self.splits.partition_point(|split| (split.0 as usize) <= edge);
                    self.splits[start..end].reverse();
                }
            }
            if self.splits.is_empty() {
                break;
            }
        }
        self.splits.iter_mut().for_each(|split| split.1 += first);
        self.indices.iter_mut().for_each(|index| *index += first);
    }
}

/// A height at which slabs meet, swept.
#[derive(Debug)]
pub(super) struct Level {
    /// The corners of both outlines, each place once, in the order of the sweep.
    pub(super) spots: Vec<Spot>,
    /// The top outline of the slab below.
    pub(super) below: Side,
    /// The bottom outline of the slab above.
    pub(super) above: Side,
}

impl Level {
    /// Sweeps the outlines `below` and `above` height `z`; corners are numbered from `first`, and the caps
    /// are added to `triangles`.
    pub(super) fn sweep(
        z: i32,
        first: u32,
        below: &Rings,
        above: &Rings,
        triangles: &mut Vec<[u32; 3]>,
    ) -> Result<Self, Defect> {
        let (spots, mut indices) = merge(below, above);
        let above_indices = indices.split_off(below.spots.len());
        let mut level = Self {
            spots,
            below: Side { indices, splits: Vec::new() },
            above: Side { indices: above_indices, splits: Vec::new() },
        };
        let mut starting = Vec::with_capacity(below.spots.len() + above.spots.len());
        level.below.edges(below, [1, 0], &mut starting);
        level.above.edges(above, [0, 1], &mut starting);
        starting.sort_unstable_by_key(|edge| edge.lo);
        let mut line =
            Line { z, first, spots: &level.spots, active: Vec::new(), nodes: Vec::new(), triangles };
        let mut splits = [Vec::new(), Vec::new()];
        let mut leaving: Vec<Edge> = Vec::new();
        let mut next = 0;
        for vertex in 0..level.spots.len() as u32 {
            leaving.clear();
            while starting.get(next).is_some_and(|edge| edge.lo == vertex) {
                leaving.push(Edge::start(&starting[next], &level.spots));
                next += 1;
            }
            line.meet(vertex, &mut leaving, &mut splits)?;
        }
        let [below_splits, above_splits] = splits;
        level.below.splits = below_splits;
        level.above.splits = above_splits;
        level.below.sort_splits(first, below);
        level.above.sort_splits(first, above);
        Ok(level)
    }
}

/// The places of both outlines, sorted, and for each corner of both the index of its place.
fn merge(below: &Rings, above: &Rings) -> (Vec<Spot>, Vec<u32>) {
    // x and y packed so that they compare as one number.
    let key = |spot: &Spot| u64::from(spot.x as u32 ^ 1 << 31) << 32 | u64::from(spot.y as u32 ^ 1 << 31);
    let corners = below.spots.iter().chain(&above.spots);
    let mut sorted: Vec<(u64, u32)> = corners.map(key).zip(0..).collect();
    sorted.sort_unstable();
    let mut indices = vec![0; sorted.len()];
    let mut spots: Vec<Spot> = Vec::with_capacity(sorted.len());
    let mut last = None;
    for (key, corner) in sorted {
        if last != Some(key) {
            let coordinate = |half: u64| (half as u32 ^ 1 << 31) as i32;
            spots.push(Spot { x: coordinate(key >> 32), y: coordinate(key) });
            last = Some(key);
        }
        indices[corner as usize] = spots.len() as u32 - 1;
    }
    (spots, indices)
}

/// An edge that has not been met, from its left end `lo` to its right end `hi`.
#[derive(Clone, Copy)]
struct Start {
    lo: u32,
    hi: u32,
    source: u32,
    /// What crossing it upward adds to how often each outline (below, above) covers the plane.
    step: [i8; 2],
}

impl Side {
    fn edges(&self, rings: &Rings, unit: [i8; 2], out: &mut Vec<Start>) {
        for range in rings.ranges() {
            for edge in range.clone() {
                let next = if edge + 1 == range.end { range.start } else { edge + 1 };
                let (from, to) = (self.indices[edge], self.indices[next]);
                let source = edge as u32;
                if from < to {
                    out.push(Start { lo: from, hi: to, source, step: unit });
                } else if to < from {
                    out.push(Start { lo: to, hi: from, source, step: unit.map(|step| -step) });
                }
            }
        }
    }
}

/// No chain: the place beside the edge is not cap.
const NONE: u32 = u32::MAX;

/// An edge that the line is passing.
#[derive(Clone, Copy)]
struct Edge {
    lo: Spot,
    hi: Spot,
    hi_index: u32,
    source: u32,
    step: [i8; 2],
    /// How often each outline covers the place just above.
    cover: [i8; 2],
    /// The last corner of the mountain above and of the one below.
    over: u32,
    under: u32,
}

impl Edge {
    fn start(start: &Start, spots: &[Spot]) -> Self {
        Self {
            lo: spots[start.lo as usize],
            hi: spots[start.hi as usize],
            hi_index: start.hi,
            source: start.source,
            step: start.step,
            cover: [0; 2],
            over: NONE,
            under: NONE,
        }
    }

    /// 1 of a cap that looks up, -1 of one that looks down, 0 of no cap.
    fn cap_above(&self) -> i8 {
        self.cover[0] - self.cover[1]
    }

    /// Whether this edge, the lower neighbour of `upper`, crosses it further right.
    fn crosses(&self, upper: &Self) -> bool {
        if self.hi <= upper.hi {
            turn(upper.lo, upper.hi, self.hi) > 0
        } else {
            turn(self.lo, self.hi, upper.hi) < 0
        }
    }
}

/// The line, and the triangles it leaves behind.
struct Line<'a> {
    z: i32,
    first: u32,
    spots: &'a [Spot],
    /// Edges under the line, from below to above.
    active: Vec<Edge>,
    /// Chains of mountain corners: a corner and the node before it.
    nodes: Vec<(u32, u32)>,
    triangles: &'a mut Vec<[u32; 3]>,
}

impl Line<'_> {
    /// Moves the line over `vertex`: `leaving` are the edges that start there.
    fn meet(
        &mut self,
        vertex: u32,
        leaving: &mut Vec<Edge>,
        splits: &mut [Vec<(u32, u32)>; 2],
    ) -> Result<(), Defect> {
        let spot = self.spots[vertex as usize];
        let start = self.active.partition_point(|edge| turn(edge.lo, edge.hi, spot) > 0);
        let here = |edge: &Edge| edge.hi_index == vertex || turn(edge.lo, edge.hi, spot) == 0;
        let end = start + self.active[start..].iter().take_while(|edge| here(edge)).count();

        // Close the trapezoids on both sides of every edge that ends, and the one around the vertex.
        for upper in start..=end {
            let cap = if upper == 0 { 0 } else { self.active[upper - 1].cap_above() };
            if cap != 0 && upper < self.active.len() {
                let chain = self.active[upper - 1].over;
                self.active[upper - 1].over = self.mountain(chain, vertex, true, cap);
                let chain = self.active[upper].under;
                self.active[upper].under = self.mountain(chain, vertex, false, cap);
            }
        }
        for edge in &self.active[start..end] {
            if edge.hi_index != vertex {
                splits[usize::from(edge.step[0] == 0)].push((edge.source, vertex));
                leaving.push(Edge { lo: spot, ..*edge });
            }
        }
        leaving.sort_unstable_by(|a, b| 0.cmp(&turn(spot, a.hi, b.hi)).then(a.source.cmp(&b.source)));

        let mut cover = if start == 0 { [0; 2] } else { self.active[start - 1].cover };
        for edge in leaving.iter_mut() {
            edge.under = self.chain(vertex, cover);
            cover = [cover[0] + edge.step[0], cover[1] + edge.step[1]];
            if cover.iter().any(|times| !(0..=1).contains(times)) {
                return Err(Defect::Overlap { place: spot.mm(), z: grid::to_mm(self.z) });
            }
            edge.cover = cover;
            edge.over = self.chain(vertex, cover);
        }
        if leaving.len() == end - start {
            self.active[start..end].copy_from_slice(leaving);
        } else {
            self.active.splice(start..end, leaving.iter().copied());
        }
        self.compare(start)?;
        if !leaving.is_empty() {
            self.compare(start + leaving.len())?;
        }
        Ok(())
    }

    /// Refuses a crossing of the active edge `upper` with the one below it.
    fn compare(&self, upper: usize) -> Result<(), Defect> {
        let pair = upper.checked_sub(1).zip(self.active.get(upper));
        match pair.map(|(lower, upper)| (&self.active[lower], upper)) {
            Some((lower, upper)) if lower.crosses(upper) => {
                let place = crossing(lower, upper);
                Err(Defect::Crossing { place, z: grid::to_mm(self.z) })
            }
            _ => Ok(()),
        }
    }

    /// A new chain that starts at `vertex`, where there is cap.
    fn chain(&mut self, vertex: u32, cover: [i8; 2]) -> u32 {
        if cover[0] == cover[1] {
            return NONE;
        }
        self.nodes.push((vertex, NONE));
        self.nodes.len() as u32 - 1
    }

    /// Adds `vertex` to the mountain above (`over`) or below an edge, and cuts off what it can see.
    fn mountain(&mut self, chain: u32, vertex: u32, over: bool, cap: i8) -> u32 {
        let mut top = chain;
        loop {
            let (summit, before) = self.nodes[top as usize];
            if before == NONE {
                break;
            }
            let (foot, _) = self.nodes[before as usize];
            let [a, b, c] = [foot, summit, vertex].map(|index| self.spots[index as usize]);
            let bend = turn(a, b, c);
            if bend == 0 || (bend < 0) != over {
                break;
            }
            let [a, b, c] = [foot, summit, vertex].map(|index| self.first + index);
            // Left-turning is right for a cap that looks up.
            self.triangles.push(if over == (cap > 0) { [a, c, b] } else { [a, b, c] });
            top = before;
        }
        self.nodes.push((vertex, top));
        self.nodes.len() as u32 - 1
    }
}

/// Where two edges cross, in millimetres, near enough to find the place in a drawing.
fn crossing(a: &Edge, b: &Edge) -> [f64; 2] {
    let (before, after) = (turn(b.lo, b.hi, a.lo) as f64, turn(b.lo, b.hi, a.hi) as f64);
    let share = if before == after { 0.0 } else { before / (before - after) };
    let ([x0, y0], [x1, y1]) = (a.lo.mm(), a.hi.mm());
    [x0 + share * (x1 - x0), y0 + share * (y1 - y0)]
}
