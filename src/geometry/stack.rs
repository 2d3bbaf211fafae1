//! Stacks of slabs, made into solids.
//!
//! A slab is an outline between two heights; slabs of a stack lie flush on one another. At every height
//! where slabs meet, one sweep over both outlines triangulates what only one of them covers (the caps),
//! and finds the corners of one outline that lie on edges of the other, so that the walls above and below
//! are split there too and no corner ends up inside an edge.

use super::check::{self, Defect, NotASolid};
use super::grid::{self, Spot};
use super::level::{Level, Rings};
use super::outline::{Outline, Point};
use super::solid::Solid;

/// Slabs to be piled up into a solid.
#[derive(Clone, Debug)]
pub struct Stack {
    name: String,
    slabs: Vec<Slab>,
    defects: Vec<Defect>,
}

/// One slab in grid steps; corner `i` of `bottom` stands under corner `i` of `top`.
#[derive(Clone, Debug)]
struct Slab {
    z0: i32,
    z1: i32,
    bottom: Rings,
    /// `None` of a prism: the same as the bottom.
    top: Option<Rings>,
}

impl Slab {
    fn top(&self) -> &Rings {
        self.top.as_ref().unwrap_or(&self.bottom)
    }
}

impl Stack {
    /// An empty stack; the name goes with the solid into files and messages.
    pub fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), slabs: Vec::new(), defects: Vec::new() }
    }

    /// Adds a prism: `outline` from height `z0` to `z1`. Slabs may come in any order of height.
    #[must_use]
    pub fn slab(mut self, z0: f64, z1: f64, outline: &Outline) -> Self {
        if let Some((z0, z1)) = self.heights(z0, z1) {
            let mut bottom = Rings::default();
            for (index, points) in outline.loops.iter().enumerate() {
                let Some(spots) = self.spots(points) else { continue };
                let corner = |i: usize| spots[i] != spots[(i + 1) % spots.len()];
                let kept: Vec<Spot> = (0..spots.len()).filter(|i| corner(*i)).map(|i| spots[i]).collect();
                self.need_corners(z0, index, kept.len());
                bottom.push(kept);
            }
            self.slabs.push(Slab { z0, z1, bottom, top: None });
        }
        self
    }

    /// Adds a slab whose outline changes evenly from `bottom` at `z0` to `top` at `z1`: a chamfer, or the
    /// cone under a flange. The two have the same loops with the same number of corners each, and corner
    /// `i` below is joined to corner `i` above.
    #[must_use]
    pub fn taper(mut self, z0: f64, z1: f64, bottom: &Outline, top: &Outline) -> Self {
        let Some((z0, z1)) = self.heights(z0, z1) else { return self };
        let (mut low, mut high) = (Rings::default(), Rings::default());
        for index in 0..bottom.loops.len().max(top.loops.len()) {
            let below = bottom.loops.get(index).map_or(&[][..], Vec::as_slice);
            let above = top.loops.get(index).map_or(&[][..], Vec::as_slice);
            if below.len() != above.len() {
                let (z, number) = (grid::to_mm(z0), index + 1);
                self.defects.push(Defect::Uneven { z, number, bottom: below.len(), top: above.len() });
                continue;
            }
            let (Some(below), Some(above)) = (self.spots(below), self.spots(above)) else { continue };
            // A corner may fall on its neighbour below or above, but not both: that would be no wall.
            let next = |i: usize| (i + 1) % below.len();
            let kept: Vec<usize> = (0..below.len())
                .filter(|i| below[*i] != below[next(*i)] || above[*i] != above[next(*i)])
                .collect();
            self.need_corners(z0, index, kept.len());
            low.push(kept.iter().map(|i| below[*i]));
            high.push(kept.iter().map(|i| above[*i]));
        }
        self.slabs.push(Slab { z0, z1, bottom: low, top: Some(high) });
        self
    }

    fn heights(&mut self, z0: f64, z1: f64) -> Option<(i32, i32)> {
        let mut height = |what: &str, z: f64| {
            let snapped = grid::snap(z);
            if snapped.is_none() {
                self.defects.push(Defect::TooFar { what: format!("the {what} of a slab"), value: z });
            }
            snapped
        };
        let (bottom, top) = (height("bottom", z0), height("top", z1));
        let (bottom, top) = (bottom?, top?);
        if top <= bottom {
            self.defects.push(Defect::NoThickness { z0, z1 });
            return None;
        }
        Some((bottom, top))
    }

    /// The points on the grid, or `None` when one of them is not.
    fn spots(&mut self, points: &[Point]) -> Option<Vec<Spot>> {
        let mut steps = |axis: &str, mm: f64| {
            let steps = grid::snap(mm);
            if steps.is_none() {
                self.defects.push(Defect::TooFar { what: format!("the {axis} of a corner"), value: mm });
            }
            steps
        };
        let spots = points.iter().map(|[x, y]| Some(Spot { x: steps("x", *x)?, y: steps("y", *y)? }));
        spots.collect()
    }

    fn need_corners(&mut self, z0: i32, index: usize, corners: usize) {
        if corners < 3 {
            self.defects.push(Defect::TooFewCorners { z: grid::to_mm(z0), number: index + 1, corners });
        }
    }

    /// The solid, proven to be one body.
    ///
    /// # Errors
    /// Every broken rule of [`check`].
    pub fn solid(self) -> Result<Solid, NotASolid> {
        self.solid_of(1)
    }

    /// The solid, proven to be `expected_shells` bodies that do not touch.
    ///
    /// # Errors
    /// Every broken rule of [`check`].
    pub fn solid_of(mut self, expected_shells: usize) -> Result<Solid, NotASolid> {
        self.slabs.sort_by_key(|slab| slab.z0);
        for pair in self.slabs.windows(2).filter(|pair| pair[0].z1 != pair[1].z0) {
            let (end, start) = (grid::to_mm(pair[0].z1), grid::to_mm(pair[1].z0));
            self.defects.push(Defect::NotFlush { end, start });
        }
        if self.slabs.is_empty() && self.defects.is_empty() {
            self.defects.push(Defect::Empty);
        }
        let refuse = |name: String, defects: Vec<Defect>| Err(NotASolid { name, defects });
        if !self.defects.is_empty() {
            return refuse(self.name, self.defects);
        }
        let mut build = Build::default();
        let levels = match build.levels(&self.slabs) {
            Ok(levels) => levels,
            Err(defects) => return refuse(self.name, defects),
        };
        for (slab, ends) in self.slabs.iter().zip(levels.windows(2)) {
            build.walls(slab, &ends[0], &ends[1]);
        }
        let Build { vertices, triangles, twelve_volumes } = build;
        match check::prove_steps(&vertices, &triangles, expected_shells, Some(twelve_volumes)) {
            Ok(proof) => Ok(Solid::proven(self.name, &vertices, triangles, proof)),
            Err(defects) => refuse(self.name, defects),
        }
    }
}

/// A mesh in the making.
#[derive(Default)]
struct Build {
    vertices: Vec<[i32; 3]>,
    triangles: Vec<[u32; 3]>,
    /// 12 times the volume by the closed form of the outlines, in cubic grid steps.
    twelve_volumes: i128,
}

impl Build {
    /// Sweeps every height at which a slab begins or ends, and adds the caps.
    fn levels(&mut self, slabs: &[Slab]) -> Result<Vec<Level>, Vec<Defect>> {
        let nothing = Rings::default();
        let mut defects = Vec::new();
        let mut levels = Vec::with_capacity(slabs.len() + 1);
        for index in 0..=slabs.len() {
            let below = index.checked_sub(1).map(|under| &slabs[under]);
            let above = slabs.get(index);
            let z = above.map_or_else(|| below.map_or(0, |slab| slab.z1), |slab| slab.z0);
            let first = self.vertices.len() as u32;
            let below = below.map_or(&nothing, Slab::top);
            let above = above.map_or(&nothing, |slab| &slab.bottom);
            match Level::sweep(z, first, below, above, &mut self.triangles) {
                Ok(level) => {
                    self.vertices.extend(level.spots.iter().map(|spot| [spot.x, spot.y, z]));
                    levels.push(level);
                }
                Err(defect) => defects.push(defect),
            }
        }
        if defects.is_empty() { Ok(levels) } else { Err(defects) }
    }

    /// Adds the walls of a slab between two swept levels, and its volume by closed form.
    ///
    /// Prism: area times height. Taper: `(A0 + 4 Am + A1) / 6` times height, with `Am` the polygon half
    /// way up, whose corners are the middles of the wall's rising edges (exact for any solid whose
    /// corners lie in its two end planes).
    fn walls(&mut self, slab: &Slab, low: &Level, high: &Level) {
        let mut middle = Middle::default();
        let is_taper = slab.top.is_some();
        let (mut bottom, mut top) = (Vec::new(), Vec::new());
        for ring in slab.bottom.ranges() {
            middle.start();
            for edge in ring.clone() {
                let next = if edge + 1 == ring.end { ring.start } else { edge + 1 };
                low.above.polyline(edge, next, &mut bottom);
                high.below.polyline(edge, next, &mut top);
                self.strip(&bottom, &top, is_taper.then_some(&mut middle));
            }
            middle.close();
        }
        let height = i128::from(slab.z1) - i128::from(slab.z0);
        let (below, above) = (slab.bottom.twice_area(), slab.top().twice_area());
        let middle = if is_taper { middle.twice_area } else { 4 * below };
        self.twelve_volumes += height * (below + middle + above);
    }

    /// Triangles between a polyline at the foot of a wall and one at its head, both along one edge.
    fn strip(&mut self, bottom: &[u32], top: &[u32], mut middle: Option<&mut Middle>) {
        let (mut i, mut j) = (0, 0);
        while i + 1 < bottom.len() || j + 1 < top.len() {
            if let Some(middle) = middle.as_deref_mut() {
                middle.corner(self.vertices[bottom[i] as usize], self.vertices[top[j] as usize]);
            }
            let along_bottom = if i + 1 == bottom.len() {
                false
            } else if j + 1 == top.len() {
                true
            } else {
                self.share(bottom, i + 1) <= self.share(top, j + 1)
            };
            if along_bottom {
                self.triangles.push([bottom[i], bottom[i + 1], top[j]]);
                i += 1;
            } else {
                self.triangles.push([bottom[i], top[j + 1], top[j]]);
                j += 1;
            }
        }
    }

    /// How far along its polyline a corner stands, from 0 to 1.
    fn share(&self, polyline: &[u32], index: usize) -> f64 {
        if index + 1 == polyline.len() {
            return 1.0;
        }
        let place = |index: usize| self.vertices[polyline[index] as usize];
        let (first, here, last) = (place(0), place(index), place(polyline.len() - 1));
        let axis = usize::from(last[0].abs_diff(first[0]) < last[1].abs_diff(first[1]));
        f64::from(here[axis] - first[axis]) / f64::from(last[axis] - first[axis])
    }
}

/// The polygon half way up a taper, gathered corner by corner in half grid steps.
#[derive(Default)]
struct Middle {
    first: Option<[i64; 2]>,
    last: [i64; 2],
    /// Twice its area in square half steps: 8 times the area in square steps.
    twice_area: i128,
}

impl Middle {
    fn start(&mut self) {
        self.first = None;
    }

    fn corner(&mut self, bottom: [i32; 3], top: [i32; 3]) {
        let here = [0, 1].map(|axis| i64::from(bottom[axis]) + i64::from(top[axis]));
        match self.first {
            None => self.first = Some(here),
            Some(_) => self.add(here),
        }
        self.last = here;
    }

    fn close(&mut self) {
        if let Some(first) = self.first {
            self.add(first);
        }
    }

    fn add(&mut self, to: [i64; 2]) {
        self.twice_area += i128::from(self.last[0] * to[1] - self.last[1] * to[0]);
    }
}
