//! Slabs of lines and arcs, piled up into an exact solid.
//!
//! A slab is a prism over a [`CurveOutline`], or a taper between two outlines that differ by an even offset:
//! its lines stay parallel and its arcs concentric, so that its walls are planes and cones. A wall that
//! goes on unchanged through several slabs is one face. Holes across are cut through the walls at the end.
//!
//! Outlines that meet at a height must share edges or lie clear of each other; edges that cross or overlap
//! in part are not cut here. They leave a boundary that does not close, which the checks at the end refuse.

use std::collections::BTreeSet;

use super::brep::{Brep, NotExact};
use super::brep_builder::{Builder, EdgeKey, bits, key};
use super::curve::{Curve, CurveOutline, Edge, distance};
use super::drill::{self, Drill};

/// How far a taper's arcs may be from concentric, and ends of edges from where they should be, mm: what
/// double precision leaves of coordinates of a metre is a hundred times finer.
pub(super) const CLOSE_MM: f64 = 1e-9;

/// Slabs of lines and arcs, piled up.
#[derive(Clone, Debug)]
pub struct CurveStack {
    name: String,
    slabs: Vec<Slab>,
    drills: Vec<Drill>,
}

#[derive(Clone, Debug)]
struct Slab {
    z0: f64,
    z1: f64,
    bottom: CurveOutline,
    /// `None` of a prism.
    top: Option<CurveOutline>,
}

impl Slab {
    fn top(&self) -> &CurveOutline {
        self.top.as_ref().unwrap_or(&self.bottom)
    }

    /// Its edges that stand upright.
    fn upright(&self) -> BTreeSet<EdgeKey> {
        let pairs = self.bottom.edges().zip(self.top().edges());
        pairs.filter(|(low, high)| low == high).map(|(low, _)| key(&low)).collect()
    }

    /// Exact: the area of a taper is a quadratic in the height, which Simpson's rule integrates.
    fn volume(&self) -> f64 {
        let Some(top) = &self.top else { return self.bottom.area() * (self.z1 - self.z0) };
        let middle = between(&self.bottom, top);
        (self.bottom.area() + 4.0 * middle.area() + top.area()) * (self.z1 - self.z0) / 6.0
    }
}

/// Halfway from one outline to another of the same form.
fn between(bottom: &CurveOutline, top: &CurveOutline) -> CurveOutline {
    let mut middle = bottom.clone();
    for (of, above) in middle.loops.iter_mut().zip(&top.loops) {
        for (corner, above) in of.corners.iter_mut().zip(&above.corners) {
            corner.at = [0, 1].map(|axis| (corner.at[axis] + above.at[axis]) / 2.0);
        }
    }
    middle
}

impl CurveStack {
    /// An empty stack.
    pub fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), slabs: Vec::new(), drills: Vec::new() }
    }

    /// Adds a prism on top.
    #[must_use]
    pub fn slab(mut self, z0: f64, z1: f64, outline: &CurveOutline) -> Self {
        self.slabs.push(Slab { z0, z1, bottom: outline.clone(), top: None });
        self
    }

    /// Adds a taper on top: the two outlines have the same loops with the same corners, lines parallel to
    /// their partners and arcs about the same centre.
    #[must_use]
    pub fn taper(mut self, z0: f64, z1: f64, bottom: &CurveOutline, top: &CurveOutline) -> Self {
        self.slabs.push(Slab { z0, z1, bottom: bottom.clone(), top: Some(top.clone()) });
        self
    }

    /// Adds a hole across, cut when all slabs are there.
    #[must_use]
    pub fn drilled(mut self, drill: Drill) -> Self {
        self.drills.push(drill);
        self
    }

    /// The outline at a height, for a section: that of the prism there.
    pub fn section(&self, z: f64) -> Option<&CurveOutline> {
        let slab = self.slabs.iter().find(|slab| slab.top.is_none() && slab.z0 <= z && z <= slab.z1)?;
        Some(&slab.bottom)
    }

    /// The solid.
    ///
    /// # Errors
    /// Slabs that do not lie on one another, tapers that are not exact, outlines that overlap in part.
    pub fn brep(&self) -> Result<Brep, NotExact> {
        if self.slabs.is_empty() {
            return Err(NotExact::Empty { name: self.name.clone() });
        }
        self.check_slabs()?;
        let mut builder = Builder::default();
        let nothing = CurveOutline::default();
        for level in 0..=self.slabs.len() {
            let below = level.checked_sub(1).map_or(&nothing, |i| self.slabs[i].top());
            let above = self.slabs.get(level).map_or(&nothing, |slab| &slab.bottom);
            let z = self.level(level);
            let open = || NotExact::Open { name: self.name.clone(), z };
            builder.caps(z, below, above).ok_or_else(open)?;
        }
        self.walls(&mut builder);
        let mut volume_mm3: f64 = self.slabs.iter().map(Slab::volume).sum();
        for drill in &self.drills {
            let (low, high) = (drill.height_mm - drill.radius_mm, drill.height_mm + drill.radius_mm);
            let reached = self.slabs.iter().filter(|slab| slab.z0 < high && slab.z1 > low);
            let outlines: Vec<&CurveOutline> = reached.map(|slab| &slab.bottom).collect();
            let failed = || NotExact::Hole { name: self.name.clone(), z: drill.height_mm };
            volume_mm3 -= drill::cut(&mut builder, drill, &outlines).ok_or_else(failed)?;
        }
        let brep = Brep {
            name: self.name.clone(),
            vertices: builder.vertices,
            edges: builder.edges,
            faces: builder.faces,
            volume_mm3,
        };
        match brep.open_edge() {
            Some(z) => Err(NotExact::Open { name: self.name.clone(), z }),
            None => Ok(brep),
        }
    }

    /// The height of a level: the bottom of the slab of that number, the top of the last one.
    fn level(&self, index: usize) -> f64 {
        self.slabs.get(index).map_or_else(|| self.slabs[index - 1].z1, |slab| slab.z0)
    }

    fn check_slabs(&self) -> Result<(), NotExact> {
        let mut level = self.slabs[0].z0;
        for slab in &self.slabs {
            let (name, z0, z1) = (self.name.clone(), slab.z0, slab.z1);
            // Also refuses what is not a number.
            if slab.z0 != level || !(slab.z1 - slab.z0 > 0.0 && slab.z1.is_finite()) {
                return Err(NotExact::Heights { name, z0, z1 });
            }
            if slab.top.as_ref().is_some_and(|top| !slab.bottom.tapers_to(top)) {
                return Err(NotExact::Taper { name, z0, z1 });
            }
            level = slab.z1;
        }
        Ok(())
    }

    /// Every wall, those that go on through several slabs as one.
    fn walls(&self, builder: &mut Builder) {
        // An upright edge that goes on upright leaves no edge at the level between.
        let upright: Vec<BTreeSet<EdgeKey>> = self.slabs.iter().map(Slab::upright).collect();
        let mut passing = vec![BTreeSet::new(); self.slabs.len() + 1];
        for (index, pair) in upright.windows(2).enumerate() {
            passing[index + 1] = pair[0].intersection(&pair[1]).copied().collect();
        }
        let level = |index| self.level(index);
        // Places where an edge that stays at a level ends, which upright edges must not run past.
        let mut kept: BTreeSet<[u64; 3]> = BTreeSet::new();
        for (index, passing) in passing.iter().enumerate() {
            let below = index.checked_sub(1).map(|i| self.slabs[i].top());
            let above = self.slabs.get(index).map(|slab| &slab.bottom);
            for edge in below.into_iter().chain(above).flat_map(CurveOutline::edges) {
                if !passing.contains(&key(&edge)) {
                    kept.extend([edge.from, edge.to].map(|at| bits([at[0], at[1], level(index)])));
                }
            }
        }
        for (index, slab) in self.slabs.iter().enumerate() {
            let tops: Vec<Edge> = slab.top().edges().collect();
            for (edge, top) in slab.bottom.edges().zip(tops) {
                if passing[index].contains(&key(&edge)) {
                    continue;
                }
                let mut last = index + 1;
                while last < self.slabs.len() && passing[last].contains(&key(&edge)) {
                    last += 1;
                }
                let between: Vec<f64> = (index + 1..last).map(level).collect();
                builder.wall(&edge, &top, slab.z0, level(last), &between, &kept);
            }
        }
    }
}

impl CurveOutline {
    /// Whether walls from here to `top` are planes, cylinders and cones: lines stay parallel, arcs
    /// concentric and of one sweep.
    pub fn tapers_to(&self, top: &Self) -> bool {
        let bottom = self;
        let counts = |of: &CurveOutline| of.loops.iter().map(|of| of.corners.len()).collect::<Vec<_>>();
        counts(bottom) == counts(top)
            && bottom.edges().zip(top.edges()).all(|(low, high)| match (low.curve, high.curve) {
                (Curve::Line, Curve::Line) => {
                    let [a, b] =
                        [low, high].map(|edge| [edge.to[0] - edge.from[0], edge.to[1] - edge.from[1]]);
                    let across = a[0] * b[1] - a[1] * b[0];
                    across.abs() <= CLOSE_MM * a[0].hypot(a[1]) && a[0] * b[0] + a[1] * b[1] > 0.0
                }
                (Curve::Arc { center: a, sweep_rad: by }, Curve::Arc { center: b, sweep_rad: also_by }) => {
                    let sides = [(low.from, high.from), (low.to, high.to)];
                    let radial = |(below, above): ([f64; 2], [f64; 2])| {
                        let across =
                            (below[0] - a[0]) * (above[1] - a[1]) - (below[1] - a[1]) * (above[0] - a[0]);
                        across.abs() <= CLOSE_MM * distance(a, below)
                    };
                    let [r0, r1] = [low, high].map(|edge| edge.radius().unwrap_or_default());
                    distance(a, b) <= CLOSE_MM
                        && (by - also_by).abs() * r0.max(r1) <= CLOSE_MM
                        && r0.min(r1) > CLOSE_MM
                        && sides.into_iter().all(radial)
                }
                _ => false,
            })
    }
}
