//! A height at which slabs meet: the outlines of the slab below and of the slab above it, on shared
//! corners, and the corners of each that lie inside edges of the other.

use std::ops::Range;

use super::check::Defect;
use super::grid::{self, Spot};
use super::sweep::{self, Split, Start};

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
    splits: Vec<Split>,
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
        let [below_splits, above_splits] = sweep::run(z, first, &level.spots, starting, triangles)?;
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
