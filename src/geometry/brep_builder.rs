//! Puts the faces of an exact solid together: caps by winding number, walls one by one.
//!
//! Where slabs meet, edges that both have cancel; what is left bounds the caps. Inside a loop whose winding
//! number is 1 only the upper slab is, inside one of -1 only the lower one.

use std::collections::{BTreeMap, BTreeSet};

use super::brep::{Face, SpaceEdge, Surface, Use};
use super::curve::{Corner, Curve, CurveLoop, CurveOutline, Edge};
use super::curve_stack::CLOSE_MM;
use super::space_curve::SpaceCurve;

/// Two of one place: its bits, which also put places in an order.
pub(super) fn bits<const N: usize>(at: [f64; N]) -> [u64; N] {
    // Adding zero makes a plain zero of a negative one.
    at.map(|coordinate| (coordinate + 0.0).to_bits())
}

/// An edge whichever way it runs: its ends, its centre, and which way the arc goes round.
pub(super) type EdgeKey = ([u64; 2], [u64; 2], Option<[u64; 2]>, bool);

pub(super) fn key(edge: &Edge) -> EdgeKey {
    let (from, to) = (bits(edge.from), bits(edge.to));
    let is_swapped = to < from;
    let edge = if is_swapped { edge.reversed() } else { *edge };
    match edge.curve {
        Curve::Line => (bits(edge.from), bits(edge.to), None, false),
        // A whole circle is one edge whichever way it was drawn.
        Curve::Arc { center, sweep_rad } => {
            (bits(edge.from), bits(edge.to), Some(bits(center)), sweep_rad > 0.0 || from == to)
        }
    }
}

/// A wall that was made: the edge that it stands on, its heights, and its face.
pub(super) struct Wall {
    pub edge: Edge,
    pub z0: f64,
    pub z1: f64,
    pub is_upright: bool,
    pub face: usize,
}

/// The solid so far.
#[derive(Default)]
pub(super) struct Builder {
    pub vertices: Vec<[f64; 3]>,
    places: BTreeMap<[u64; 3], usize>,
    pub edges: Vec<SpaceEdge>,
    level_edges: BTreeMap<(u64, EdgeKey), usize>,
    upright: BTreeMap<(usize, usize), usize>,
    pub faces: Vec<Face>,
    pub walls: Vec<Wall>,
}

impl Builder {
    pub(super) fn vertex(&mut self, [x, y]: [f64; 2], z: f64) -> usize {
        let at = [x, y, z].map(|coordinate| coordinate + 0.0);
        *self.places.entry(bits(at)).or_insert_with(|| {
            self.vertices.push(at);
            self.vertices.len() - 1
        })
    }

    /// The edge at a height, and whether it was first met the other way round.
    fn level_edge(&mut self, edge: &Edge, z: f64) -> Use {
        let (from, to) = (self.vertex(edge.from, z), self.vertex(edge.to, z));
        let curve = match edge.curve {
            Curve::Line => SpaceCurve::Line,
            Curve::Arc { center: [x, y], sweep_rad } => {
                SpaceCurve::Arc { center: [x + 0.0, y + 0.0, z], sweep_rad }
            }
        };
        let index = *self.level_edges.entry((bits([z])[0], key(edge))).or_insert_with(|| {
            self.edges.push(SpaceEdge { from, to, curve });
            self.edges.len() - 1
        });
        let stored = self.edges[index];
        let forward = match (stored.curve, curve) {
            // Of a whole circle the ends do not tell.
            (SpaceCurve::Arc { sweep_rad: a, .. }, SpaceCurve::Arc { sweep_rad: b, .. }) if from == to => {
                a * b > 0.0
            }
            _ => stored.from == from,
        };
        Use { edge: index, forward }
    }

    fn upright_edge(&mut self, from: usize, to: usize) -> Use {
        let pair = (from.min(to), from.max(to));
        let index = *self.upright.entry(pair).or_insert_with(|| {
            self.edges.push(SpaceEdge { from, to, curve: SpaceCurve::Line });
            self.edges.len() - 1
        });
        Use { edge: index, forward: self.edges[index].from == from }
    }

    /// The faces at a height: where only one of the two outlines is. `None` where edges do not close.
    pub(super) fn caps(&mut self, z: f64, below: &CurveOutline, above: &CurveOutline) -> Option<()> {
        // What the upper one has more than the lower one.
        let mut left: BTreeMap<EdgeKey, (Edge, i32)> = BTreeMap::new();
        for (outline, way) in [(above, 1), (below, -1)] {
            for edge in outline.edges() {
                let entry = left.entry(key(&edge)).or_insert((edge, 0));
                let along = match (entry.0.curve, edge.curve) {
                    (Curve::Arc { sweep_rad: a, .. }, Curve::Arc { sweep_rad: b, .. }) => a * b > 0.0,
                    _ => bits(entry.0.from) == bits(edge.from),
                };
                entry.1 += if along { way } else { -way };
            }
        }
        let mut edges: Vec<Edge> = Vec::new();
        for (edge, times) in left.into_values() {
            match times {
                0 => {}
                1 => edges.push(edge),
                -1 => edges.push(edge.reversed()),
                // One edge twice the same way bounds nothing.
                _ => return None,
            }
        }
        let loops = chained(edges)?;
        let counted: Vec<(bool, i32)> = (0..loops.len())
            .map(|i| {
                let inner = loops[i].corners[0].at;
                let outside = loops.iter().enumerate().filter(|(j, other)| *j != i && other.contains(inner));
                let outside = outside.map(|(_, other)| if other.area() > 0.0 { 1 } else { -1 }).sum::<i32>();
                let is_ccw = loops[i].area() > 0.0;
                (is_ccw, outside + if is_ccw { 1 } else { -1 })
            })
            .collect();
        let depth = |i: usize| {
            let inner = loops[i].corners[0].at;
            loops.iter().enumerate().filter(|(j, other)| *j != i && other.contains(inner)).count()
        };
        for (i, (_, inside)) in counted.iter().enumerate() {
            let upwards = match inside {
                0 => continue,
                // Only the upper slab is there: its underside.
                1 => false,
                -1 => true,
                _ => return None,
            };
            let here = depth(i);
            let holes = (0..loops.len())
                .filter(|j| *j != i && loops[i].contains(loops[*j].corners[0].at) && depth(*j) == here + 1);
            let bounds: Vec<&CurveLoop> = [i].into_iter().chain(holes).map(|j| &loops[j]).collect();
            let at = [bounds[0].corners[0].at[0], bounds[0].corners[0].at[1], z];
            // The walls run through these edges the way that the outlines do; a cap the other way.
            let rows = bounds
                .iter()
                .map(|of| of.reversed().edges().map(|edge| self.level_edge(&edge, z)).collect::<Vec<Use>>());
            let loops_of_face = rows.collect();
            let normal = [0.0, 0.0, if upwards { 1.0 } else { -1.0 }];
            let surface = Surface::Plane { at, normal, along: [1.0, 0.0, 0.0] };
            self.faces.push(Face { surface, loops: loops_of_face });
        }
        Some(())
    }

    /// A wall from `edge` at `z0` to `top` at `z1`, with the heights between at which others may end.
    pub(super) fn wall(
        &mut self,
        edge: &Edge,
        top: &Edge,
        z0: f64,
        z1: f64,
        between: &[f64],
        kept: &BTreeSet<[u64; 3]>,
    ) {
        let mut row = vec![self.level_edge(edge, z0)];
        let stops = |at: [f64; 2]| between.iter().filter(move |z| kept.contains(&bits([at[0], at[1], **z])));
        let mut up = vec![self.vertex(edge.to, z0)];
        up.extend(stops(edge.to).map(|z| self.vertex(edge.to, *z)));
        up.push(self.vertex(top.to, z1));
        let mut down = vec![self.vertex(top.from, z1)];
        down.extend(stops(edge.from).rev().map(|z| self.vertex(edge.from, *z)));
        down.push(self.vertex(edge.from, z0));
        row.extend(up.windows(2).map(|pair| self.upright_edge(pair[0], pair[1])));
        row.push(self.level_edge(&top.reversed(), z1));
        row.extend(down.windows(2).map(|pair| self.upright_edge(pair[0], pair[1])));
        let (is_upright, face) = (edge == top, self.faces.len());
        self.walls.push(Wall { edge: *edge, z0, z1, is_upright, face });
        self.faces.push(Face { surface: wall_surface(edge, top, z0, z1), loops: vec![row] });
    }
}

/// The surface between an edge and its partner above.
fn wall_surface(edge: &Edge, top: &Edge, z0: f64, z1: f64) -> Surface {
    let [x, y] = edge.from;
    let (Curve::Arc { center, sweep_rad }, Some(r0), Some(r1)) = (edge.curve, edge.radius(), top.radius())
    else {
        let length = edge.length();
        let along = [(edge.to[0] - x) / length, (edge.to[1] - y) / length];
        // Out of the plastic is to the right; how far the wall leans outwards as it rises tips it down.
        let out = [along[1], -along[0]];
        let lean = (top.from[0] - x) * out[0] + (top.from[1] - y) * out[1];
        let slope = (z1 - z0).hypot(lean);
        let (level, rise) = ((z1 - z0) / slope, -lean / slope);
        let normal = [out[0] * level, out[1] * level, rise];
        return Surface::Plane { at: [x, y, z0], normal, along: [along[0], along[1], 0.0] };
    };
    let is_filled = sweep_rad > 0.0;
    if (r1 - r0).abs() <= CLOSE_MM {
        let (at, axis) = ([center[0], center[1], z0], [0.0, 0.0, 1.0]);
        return Surface::Cylinder { at, axis, radius: r0, is_filled };
    }
    let widens_up = r1 > r0;
    let (radius, z) = if widens_up { (r0, z0) } else { (r1, z1) };
    let half_angle_rad = ((r1 - r0).abs() / (z1 - z0)).atan();
    Surface::Cone { at: [center[0], center[1], z], radius, half_angle_rad, widens_up, is_filled }
}

/// Edges as closed loops; `None` where one leads nowhere.
fn chained(edges: Vec<Edge>) -> Option<Vec<CurveLoop>> {
    let mut leaving: BTreeMap<[u64; 2], Vec<usize>> = BTreeMap::new();
    for (index, edge) in edges.iter().enumerate() {
        leaving.entry(bits(edge.from)).or_default().push(index);
    }
    let mut used = vec![false; edges.len()];
    let mut loops = Vec::new();
    for start in 0..edges.len() {
        if used[start] {
            continue;
        }
        let mut corners = Vec::new();
        let mut index = start;
        loop {
            used[index] = true;
            corners.push(Corner { at: edges[index].from, curve: edges[index].curve });
            if bits(edges[index].to) == bits(edges[start].from) {
                break;
            }
            let next = leaving.get(&bits(edges[index].to))?.iter().copied().find(|next| !used[*next])?;
            index = next;
        }
        loops.push(CurveLoop { corners });
    }
    Some(loops)
}
