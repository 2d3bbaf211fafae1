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

use super::check::Defect;
use super::grid::{self, Spot, turn};

/// An edge that has not been met, from its left end `lo` to its right end `hi`.
#[derive(Clone, Copy, Default)]
pub(super) struct Start {
    pub(super) lo: u32,
    pub(super) hi: u32,
    pub(super) source: u32,
    /// What crossing it upward adds to how often each outline (below, above) covers the plane.
    pub(super) step: [i8; 2],
}

/// An edge, by its first corner in the outline that it belongs to, and a corner inside it.
pub(super) type Split = (u32, u32);

/// Sweeps the edges `starts` between `spots`, which are sorted. Hands over the triangles of the caps, and
/// gives the splits of the outline below and of the one above; corners are named by their rank.
pub(super) fn run(
    z: i32,
    spots: &[Spot],
    starts: &[Start],
    triangle: impl FnMut([u32; 3]),
) -> Result<[Vec<Split>; 2], Defect> {
    let (sorted, ends) = by_left_end(starts, spots.len());
    let mut line =
        Line { z, spots, active: Vec::new(), nodes: Vec::with_capacity(4 * spots.len()), triangle };
    let mut splits = [Vec::new(), Vec::new()];
    let mut leaving: Vec<Edge> = Vec::new();
    let mut begin = 0;
    for (vertex, end) in (0..).zip(ends) {
        leaving.clear();
        leaving.extend(sorted[begin as usize..end as usize].iter().map(|start| Edge::start(start, spots)));
        begin = end;
        line.meet(vertex, &mut leaving, &mut splits)?;
    }
    Ok(splits)
}

/// Edges dealt out to their left ends, and where each left end's edges end.
fn by_left_end(starts: &[Start], vertices: usize) -> (Vec<Start>, Vec<u32>) {
    let mut ends = vec![0_u32; vertices];
    starts.iter().for_each(|start| ends[start.lo as usize] += 1);
    let mut total = 0;
    for end in &mut ends {
        (*end, total) = (total, total + *end);
    }
    let mut sorted = vec![Start::default(); starts.len()];
    for start in starts {
        let slot = &mut ends[start.lo as usize];
        sorted[*slot as usize] = *start;
        *slot += 1;
    }
    (sorted, ends)
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
struct Line<'a, F> {
    z: i32,
    spots: &'a [Spot],
    /// Edges under the line, from below to above.
    active: Vec<Edge>,
    /// Chains of mountain corners: a corner and the node before it.
    nodes: Vec<(u32, u32)>,
    triangle: F,
}

impl<F: FnMut([u32; 3])> Line<'_, F> {
    /// Moves the line over `vertex`: `leaving` are the edges that start there.
    fn meet(
        &mut self,
        vertex: u32,
        leaving: &mut Vec<Edge>,
        splits: &mut [Vec<Split>; 2],
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
            // Counter-clockwise as seen from above is right for a cap that looks up.
            let faces_up = cap > 0;
            (self.triangle)(if over == faces_up { [foot, vertex, summit] } else { [foot, summit, vertex] });
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
