//! A height at which slabs meet: the outlines of the slab below and of the slab above it, on shared
//! corners, and the corners of each that lie inside edges of the other.

use std::ops::Range;

use super::check::Defect;
use super::grid::{self, Spot};
use super::sweep::{self, Split, Start};

/// Closed loops of corners, one after another.
#[derive(Clone, Debug, Default, PartialEq)]
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

    /// Every edge as the numbers of its first and its second corner.
    fn edges(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.ranges().flat_map(|ring| {
            let seconds = (ring.start + 1..ring.end).chain(ring.clone().take(1));
            ring.zip(seconds)
        })
    }

    pub(super) fn twice_area(&self) -> i128 {
        self.ranges().map(|ring| grid::twice_area(&self.spots[ring])).sum()
    }
}

/// One outline at a level: its corners' indices into the mesh, and the corners found inside its edges.
#[derive(Clone, Debug, Default)]
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

    /// Turns the ranks of `ranks` and of the splits, found from left to right, into mesh indices.
    fn new(rings: &Rings, ranks: &[u32], mut splits: Vec<Split>, index: impl Fn(u32) -> u32) -> Self {
        if !splits.is_empty() {
            splits.sort_unstable();
            let seconds: Vec<usize> = rings.edges().map(|(_, second)| second).collect();
            for run in splits.chunk_by_mut(|a, b| a.0 == b.0) {
                let edge = run[0].0 as usize;
                if ranks[seconds[edge]] < ranks[edge] {
                    run.reverse();
                }
                run.iter_mut().for_each(|split| split.1 = index(split.1));
            }
        }
        Self { indices: ranks.iter().map(|rank| index(*rank)).collect(), splits }
    }
}

/// A height at which slabs meet, swept.
#[derive(Debug)]
pub(super) struct Level {
    /// The corners of both outlines, each place once, in the order in which loops come to them: what lies
    /// together on the part lies together in memory.
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
        if below == above && !below.spots.is_empty() {
            // Nothing is cap, and one outline has to be looked through only once.
            let mut level = Self::sweep(z, first, below, &Rings::default(), &mut Vec::new())?;
            level.above = level.below.clone();
            return Ok(level);
        }
        let places = Places::new(&below.spots, &above.spots);
        let (below_ranks, above_ranks) = places.ranks.split_at(below.spots.len());
        let mut starts = Vec::with_capacity(places.ranks.len());
        add_starts(below, below_ranks, [1, 0], &mut starts);
        add_starts(above, above_ranks, [0, 1], &mut starts);
        let index = |rank: u32| first + places.numbers[rank as usize];
        let [below_splits, above_splits] = sweep::run(z, &places.sorted, &starts, |ranks| {
            triangles.push(ranks.map(index));
        })?;
        let mut spots = vec![Spot::default(); places.sorted.len()];
        for (spot, number) in places.sorted.iter().zip(&places.numbers) {
            spots[*number as usize] = *spot;
        }
        Ok(Self {
            spots,
            below: Side::new(below, below_ranks, below_splits, index),
            above: Side::new(above, above_ranks, above_splits, index),
        })
    }
}

/// The places of the corners of two outlines, each once.
struct Places {
    /// In the order of the sweep.
    sorted: Vec<Spot>,
    /// For each corner the rank of its place in `sorted`.
    ranks: Vec<u32>,
    /// For each rank the place's number in the order of corners.
    numbers: Vec<u32>,
}

impl Places {
    fn new(below: &[Spot], above: &[Spot]) -> Self {
        // x, y and the corner's number in one word, so that they compare as one number.
        let half = |coordinate: i32| u128::from(coordinate as u32 ^ 1 << 31);
        let key = |(spot, corner): (&Spot, u32)| half(spot.x) << 64 | half(spot.y) << 32 | u128::from(corner);
        let mut keys: Vec<u128> = below.iter().chain(above).zip(0..).map(key).collect();
        keys.sort_unstable();
        let mut sorted: Vec<Spot> = Vec::with_capacity(keys.len());
        let mut ranks = vec![0; keys.len()];
        let mut last = None;
        for key in keys {
            if last.replace(key >> 32) != Some(key >> 32) {
                let coordinate = |half: u128| (half as u32 ^ 1 << 31) as i32;
                sorted.push(Spot { x: coordinate(key >> 64), y: coordinate(key >> 32) });
            }
            ranks[key as u32 as usize] = sorted.len() as u32 - 1;
        }
        let mut numbers = vec![u32::MAX; sorted.len()];
        let mut count = 0;
        for rank in &ranks {
            let number = &mut numbers[*rank as usize];
            if *number == u32::MAX {
                *number = count;
                count += 1;
            }
        }
        Self { sorted, ranks, numbers }
    }
}

/// Adds the edges of one outline, from left to right; `unit` is what entering the outline adds to the cover.
fn add_starts(rings: &Rings, ranks: &[u32], unit: [i8; 2], starts: &mut Vec<Start>) {
    for (first, second) in rings.edges() {
        let (from, to, source) = (ranks[first], ranks[second], first as u32);
        if from < to {
            starts.push(Start { lo: from, hi: to, source, step: unit });
        } else if to < from {
            starts.push(Start { lo: to, hi: from, source, step: unit.map(|step| -step) });
        }
    }
}
