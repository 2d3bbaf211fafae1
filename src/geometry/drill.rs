//! Round holes across an exact solid: level cylinders through upright walls.
//!
//! ```text
//! outline at the hole's height -> walls that the hole's axis passes, by pairs -> a tube between each pair
//! ```
//!
//! Plastic between one wall and the next is drilled through. Where a wall is a plane the hole ends in a circle or
//! an ellipse; where it is a cylinder, in the crossing of both ([`super::space_curve`]). Where the hole takes away
//! a corner between two walls, the upright edge there is cut in two, and the walls on either side lose a bite; a
//! wall narrower than the hole falls into two faces.
//!
//! *Frame*: u along the hole, v to its left, z up, so that u, v, z are right-handed; the angle about the hole is 0
//! at its left and a quarter turn on top. Every hole ends well below and above where its walls do.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::brep::{Face, SpaceEdge, Surface, Use};
use super::brep_builder::{Builder, bits, key};
use super::curve::{Curve, CurveOutline, Edge, direction};
use super::outline::Point;
use super::space_curve::{Crossing, SpaceCurve};

/// Angles about a hole that count as one, radians.
const SAME_RAD: f64 = 1e-9;
/// Lines looked along between two corners, so that nothing round reaches into the hole unseen.
const LOOKS: usize = 9;

/// A round hole of level axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drill {
    /// Where it starts, in a hollow; it runs from there through all plastic in its direction.
    pub start: Point,
    /// Its direction from +x, radians.
    pub direction_rad: f64,
    /// The height of its axis, mm.
    pub height_mm: f64,
    /// Its radius, mm.
    pub radius_mm: f64,
}

impl Drill {
    fn along(&self) -> [f64; 2] {
        let (sin, cos) = self.direction_rad.sin_cos();
        [cos, sin]
    }

    fn local(&self, [x, y]: Point) -> [f64; 2] {
        let ([cos, sin], [dx, dy]) = (self.along(), [x - self.start[0], y - self.start[1]]);
        [dx * cos + dy * sin, dy * cos - dx * sin]
    }

    fn origin(&self) -> [f64; 3] {
        [self.start[0], self.start[1], self.height_mm]
    }

    fn global(&self, [u, v]: [f64; 2]) -> Point {
        let [cos, sin] = self.along();
        [self.start[0] + u * cos - v * sin, self.start[1] + u * sin + v * cos]
    }

    /// How far along the hole an edge is met this far to the left, all times that it is.
    fn met(&self, edge: &Edge, left: f64) -> Vec<f64> {
        let Curve::Arc { center, sweep_rad } = edge.curve else {
            let [[au, av], [bu, bv]] = [self.local(edge.from), self.local(edge.to)];
            let crosses = (av - left) * (bv - left) < 0.0;
            return if crosses { vec![au + (bu - au) * (left - av) / (bv - av)] } else { Vec::new() };
        };
        let radius = edge.radius().unwrap_or_default();
        let [cu, cv] = self.local(center);
        let square = radius * radius - (left - cv) * (left - cv);
        if square <= 0.0 {
            return Vec::new();
        }
        let begin = direction(center, edge.from);
        let is_on = |u: f64| {
            let angle = direction(center, self.global([u, left]));
            ((angle - begin) * sweep_rad.signum()).rem_euclid(TAU) <= sweep_rad.abs()
        };
        [-1.0, 1.0].map(|side| cu + side * square.sqrt()).into_iter().filter(|u| is_on(*u)).collect()
    }

    /// The edges ahead on a line this far to the left, nearest first, with the distance to them.
    fn seen(&self, outline: &CurveOutline, left: f64) -> Vec<(f64, Edge)> {
        let all = outline.edges().flat_map(|edge| self.met(&edge, left).into_iter().map(move |u| (u, edge)));
        let mut seen: Vec<(f64, Edge)> = all.filter(|(u, _)| *u > 0.0).collect();
        seen.sort_by(|a, b| a.0.total_cmp(&b.0));
        seen
    }
}

/// One of the walls that a hole ends at, from a corner to the next.
struct Stretch {
    /// From the leftmost place, which is its higher end, to the lower one.
    right: f64,
    edge: Edge,
}

/// What a hole ends at: a row of walls, leftmost last, and the corners between them.
struct End {
    stretches: Vec<Stretch>,
    corners: Vec<Point>,
}

/// The walls that the hole passes, nearest first, two to each stretch of plastic. `None` where a wall ends within
/// the hole's reach.
fn ends(drill: &Drill, outline: &CurveOutline) -> Option<Vec<End>> {
    let r = drill.radius_mm;
    let ahead = |at: &Point| {
        let [u, v] = drill.local(*at);
        u > 0.0 && v.abs() < r
    };
    let mut corners: Vec<Point> = outline.edges().map(|edge| edge.from).filter(ahead).collect();
    corners.sort_by(|a, b| drill.local(*a)[1].total_cmp(&drill.local(*b)[1]));
    let mut bounds = vec![-r];
    bounds.extend(corners.iter().map(|at| drill.local(*at)[1]));
    bounds.push(r);
    let mut ends: Vec<End> = Vec::new();
    // Corners since the last stretch looked at: those of several walls may lie side by side.
    let mut passed = 0;
    for (index, pair) in bounds.windows(2).enumerate() {
        if pair[1] - pair[0] < SAME_RAD * r {
            continue;
        }
        let look = |i: usize| {
            let share = (i as f64 + 0.5) / LOOKS as f64;
            drill.seen(outline, pair[0] + share * (pair[1] - pair[0]))
        };
        let seen: Vec<Edge> = look(0).into_iter().map(|(_, edge)| edge).collect();
        let is_same = |i: usize| {
            let other = look(i);
            other.len() == seen.len() && other.iter().zip(&seen).all(|((_, a), b)| a == b)
        };
        if seen.is_empty() || seen.len() % 2 == 1 || !(1..LOOKS).all(is_same) {
            return None;
        }
        if ends.is_empty() {
            ends.extend(seen.iter().map(|_| End { stretches: Vec::new(), corners: Vec::new() }));
        }
        if ends.len() != seen.len() {
            return None;
        }
        for (end, edge) in ends.iter_mut().zip(seen) {
            match end.stretches.last_mut() {
                None => end.stretches.push(Stretch { right: pair[0], edge }),
                Some(last) => {
                    let ends_at =
                        |edge: &Edge, corner: Point| [edge.from, edge.to].map(bits).contains(&bits(corner));
                    let between = corners[passed..index].iter();
                    let mut shared = between.filter(|at| ends_at(&last.edge, **at) && ends_at(&edge, **at));
                    if let Some(corner) = shared.next() {
                        end.corners.push(*corner);
                        end.stretches.push(Stretch { right: pair[0], edge });
                    } else if last.edge != edge {
                        return None;
                    }
                }
            }
        }
        passed = index;
    }
    Some(ends)
}

/// One edge around an end of a hole, with the face of the wall that it lies on.
struct Piece {
    edge: usize,
    face: usize,
}

/// Cuts the hole; comes back with the volume that it takes away. `None` where it does not pass cleanly from wall
/// to wall, in one of the outlines that its height lies in.
pub(super) fn cut(builder: &mut Builder, drill: &Drill, outlines: &[&CurveOutline]) -> Option<f64> {
    let found = ends(drill, outlines.first()?)?;
    for other in &outlines[1..] {
        let other = ends(drill, other)?;
        let walls = |ends: &[End]| -> Vec<Edge> {
            ends.iter().flat_map(|end| &end.stretches).map(|stretch| stretch.edge).collect()
        };
        if walls(&other) != walls(&found) {
            return None;
        }
    }
    let mut volume = 0.0;
    for pair in found.chunks_exact(2) {
        let near = open(builder, drill, &pair[0], true)?;
        let far = open(builder, drill, &pair[1], false)?;
        tube(builder, drill, &near, &far);
        volume += between(drill, &pair[0], &pair[1]);
    }
    Some(volume)
}

impl End {
    fn stretch_at(&self, left: f64) -> &Stretch {
        let after = self.stretches.partition_point(|stretch| stretch.right <= left);
        &self.stretches[after.saturating_sub(1)]
    }

    /// The angles at which its edges end, from the top once round to the top, with the corner where one is.
    fn breaks(&self, drill: &Drill) -> Vec<(f64, Option<Point>)> {
        let mut breaks: Vec<(f64, Option<Point>)> = Vec::new();
        for corner in &self.corners {
            let angle = (drill.local(*corner)[1] / drill.radius_mm).clamp(-1.0, 1.0).acos();
            breaks.extend([angle, TAU - angle].map(|angle| (angle, Some(*corner))));
        }
        for angle in [FRAC_PI_2, 3.0 * FRAC_PI_2] {
            if breaks.iter().all(|(other, _)| (other - angle).abs() > SAME_RAD) {
                breaks.push((angle, None));
            }
        }
        for (angle, _) in &mut breaks {
            if *angle < FRAC_PI_2 - SAME_RAD {
                *angle += TAU;
            }
        }
        breaks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (top, corner) = breaks[0];
        breaks.push((top + TAU, corner));
        breaks
    }
}

/// Cuts one end of a hole into its walls: the edges around it in the order of their angle, from the top.
fn open(builder: &mut Builder, drill: &Drill, end: &End, is_near: bool) -> Option<Vec<Piece>> {
    let breaks = end.breaks(drill);
    let r = drill.radius_mm;
    let faces: Vec<(Edge, usize)> = end
        .stretches
        .iter()
        .map(|stretch| Some((stretch.edge, wall_face(builder, drill, &stretch.edge)?)))
        .collect::<Option<_>>()?;
    let mut vertices = Vec::with_capacity(breaks.len());
    // The last one is the first once more, however its last bits would come out.
    for (angle, corner) in &breaks[..breaks.len() - 1] {
        let (left, z) = (r * angle.cos(), drill.height_mm + r * angle.sin());
        let at = match corner {
            Some(corner) => *corner,
            None => drill.global([reach(drill, &end.stretch_at(left).edge, left, is_near)?, left]),
        };
        vertices.push(builder.vertex(at, z));
    }
    vertices.extend(vertices.first().copied());
    let mut pieces = Vec::with_capacity(vertices.len());
    for (index, pair) in breaks.windows(2).enumerate() {
        let (from_rad, sweep_rad) = (pair[0].0, pair[1].0 - pair[0].0);
        let stretch = end.stretch_at(r * (from_rad + sweep_rad / 2.0).cos());
        let face = faces.iter().find(|(edge, _)| *edge == stretch.edge)?.1;
        let curve = rim(drill, &stretch.edge, is_near, from_rad, sweep_rad);
        builder.edges.push(SpaceEdge { from: vertices[index], to: vertices[index + 1], curve });
        pieces.push(Piece { edge: builder.edges.len() - 1, face });
    }
    for corner in &end.corners {
        split(builder, drill, *corner)?;
    }
    let mut done: Vec<usize> = Vec::new();
    for (_, face) in faces {
        if !done.contains(&face) {
            done.push(face);
            bite(builder, face, &pieces, is_near)?;
        }
    }
    Some(pieces)
}

/// The face of the wall on an edge that stands upright all over the hole's height.
fn wall_face(builder: &Builder, drill: &Drill, edge: &Edge) -> Option<usize> {
    let (low, high) = (drill.height_mm - drill.radius_mm, drill.height_mm + drill.radius_mm);
    let is_it = |wall: &&super::brep_builder::Wall| {
        wall.is_upright && wall.z0 < low && wall.z1 > high && key(&wall.edge) == key(edge)
    };
    Some(builder.walls.iter().find(is_it)?.face)
}

/// How far along the hole a wall is met.
fn reach(drill: &Drill, edge: &Edge, left: f64, is_near: bool) -> Option<f64> {
    // Of a wall that is met twice at one distance to the left the nearer one is the near end.
    let met = drill.met(edge, left);
    let ahead = met.into_iter().filter(|u| *u > 0.0);
    if is_near { ahead.reduce(f64::min) } else { ahead.reduce(f64::max) }
}

/// The curve of an end on one wall.
fn rim(drill: &Drill, edge: &Edge, is_near: bool, from_rad: f64, sweep_rad: f64) -> SpaceCurve {
    let (r, [ux, uy]) = (drill.radius_mm, drill.along());
    match edge.curve {
        Curve::Line => {
            let [[au, av], [bu, bv]] = [drill.local(edge.from), drill.local(edge.to)];
            let slope = (bu - au) / (bv - av);
            let at = drill.global([au - slope * av, 0.0]);
            let center = [at[0], at[1], drill.height_mm];
            let first = [r * (slope * ux - uy), r * (slope * uy + ux), 0.0];
            SpaceCurve::Ellipse { center, first, second: [0.0, 0.0, r], from_rad, sweep_rad }
        }
        Curve::Arc { center, .. } => {
            let wall_center = drill.local(center);
            let middle = r * (from_rad + sweep_rad / 2.0).cos();
            let met = reach(drill, edge, middle, is_near).unwrap_or_default();
            let crossing = Crossing {
                origin: drill.origin(),
                along: [ux, uy],
                hole_mm: r,
                wall_center,
                wall_mm: edge.radius().unwrap_or_default(),
                side: (met - wall_center[0]).signum(),
            };
            SpaceCurve::Crossing { crossing, from_rad, sweep_rad }
        }
    }
}

/// Cuts the upright edge at a corner in two, and takes out what the hole does.
fn split(builder: &mut Builder, drill: &Drill, corner: Point) -> Option<()> {
    let [_, left] = drill.local(corner);
    let half = (drill.radius_mm * drill.radius_mm - left * left).sqrt();
    let (low, high) = (drill.height_mm - half, drill.height_mm + half);
    let place = |vertex: usize| builder.vertices[vertex];
    let is_it = |edge: &SpaceEdge| {
        let (from, to) = (place(edge.from), place(edge.to));
        let stands = [from, to].iter().all(|at| bits([at[0], at[1]]) == bits(corner));
        stands && edge.curve == SpaceCurve::Line && from[2].min(to[2]) < low && from[2].max(to[2]) > high
    };
    let found = builder.edges.iter().position(is_it)?;
    let old = builder.edges[found];
    let is_up = place(old.from)[2] < place(old.to)[2];
    // The angles' own sines may differ from the root in the last bit: take the vertices that are there.
    let near = |z: f64| {
        let is_it = |at: &[f64; 3]| bits([at[0], at[1]]) == bits(corner) && (at[2] - z).abs() < 1e-9;
        builder.vertices.iter().position(is_it)
    };
    let (low, high) = (near(low)?, near(high)?);
    let (first, second) = if is_up { (low, high) } else { (high, low) };
    builder.edges[found].to = first;
    builder.edges.push(SpaceEdge { from: second, to: old.to, curve: SpaceCurve::Line });
    let beyond = builder.edges.len() - 1;
    for row in builder.faces.iter_mut().flat_map(|face| &mut face.loops) {
        let parts = row.iter().flat_map(|of| {
            let both = [*of, Use { edge: beyond, ..*of }];
            let count = if of.edge == found { 2 } else { 1 };
            let turned = if of.forward { both } else { [both[1], both[0]] };
            if count == 2 { turned.to_vec() } else { vec![*of] }
        });
        *row = parts.collect();
    }
    Some(())
}

/// Takes what the hole cuts off out of one wall's face.
fn bite(builder: &mut Builder, face: usize, pieces: &[Piece], is_near: bool) -> Option<()> {
    let begin = |builder: &Builder, of: Use| {
        let edge = builder.edges[of.edge];
        if of.forward { edge.from } else { edge.to }
    };
    let end = |builder: &Builder, of: Use| begin(builder, Use { forward: !of.forward, ..of });
    // Seen from outside the plastic a hole's rim runs clockwise.
    let mine = pieces.iter().filter(|piece| piece.face == face);
    let mut rim: Vec<Use> = mine.map(|piece| Use { edge: piece.edge, forward: is_near }).collect();
    if !is_near {
        rim.reverse();
    }
    // What is left of the wall's rows, broken where the hole took something out.
    let mut chains: Vec<Vec<Use>> = Vec::new();
    let mut whole: Vec<Vec<Use>> = Vec::new();
    for row in &builder.faces[face].loops {
        let count = row.len();
        let is_gap = |i: usize| end(builder, row[i]) != begin(builder, row[(i + 1) % count]);
        let Some(first) = (0..count).find(|i| is_gap(*i)) else {
            whole.push(row.clone());
            continue;
        };
        let mut chain = Vec::new();
        for step in 1..=count {
            let i = (first + step) % count;
            chain.push(row[i]);
            if is_gap(i) {
                chains.push(std::mem::take(&mut chain));
            }
        }
    }
    let mut rows: Vec<Vec<Use>> = Vec::new();
    while let Some(mut row) = chains.pop() {
        let start = begin(builder, row[0]);
        loop {
            // From the end of what is left along the rim to the next beginning.
            let mut at = end(builder, row[row.len() - 1]);
            loop {
                let next = rim.iter().position(|of| begin(builder, *of) == at)?;
                row.push(rim.remove(next));
                at = end(builder, row[row.len() - 1]);
                if at == start || chains.iter().any(|chain| begin(builder, chain[0]) == at) {
                    break;
                }
            }
            if at == start {
                break;
            }
            let next = chains.iter().position(|chain| begin(builder, chain[0]) == at)?;
            row.extend(chains.remove(next));
        }
        rows.push(row);
    }
    let surface = builder.faces[face].surface;
    if rows.is_empty() {
        // The hole lies within the face.
        whole.push(rim);
        builder.faces[face].loops = whole;
        return Some(());
    }
    if !rim.is_empty() || (rows.len() > 1 && !whole.is_empty()) {
        return None;
    }
    let mut rows = rows.into_iter();
    let first = rows.next()?;
    builder.faces[face].loops = std::iter::once(first).chain(whole).collect();
    builder.faces.extend(rows.map(|row| Face { surface, loops: vec![row] }));
    Some(())
}

/// The wall of the hole between its two ends, which are joined by a straight edge on top.
fn tube(builder: &mut Builder, drill: &Drill, near: &[Piece], far: &[Piece]) {
    let top = |pieces: &[Piece]| builder.edges[pieces[0].edge].from;
    let (from, to) = (top(near), top(far));
    builder.edges.push(SpaceEdge { from, to, curve: SpaceCurve::Line });
    let seam = builder.edges.len() - 1;
    let mut row: Vec<Use> = far.iter().map(|piece| Use { edge: piece.edge, forward: true }).collect();
    row.push(Use { edge: seam, forward: false });
    row.extend(near.iter().rev().map(|piece| Use { edge: piece.edge, forward: false }));
    row.push(Use { edge: seam, forward: true });
    let [ux, uy] = drill.along();
    let surface = Surface::Cylinder {
        at: drill.origin(),
        axis: [ux, uy, 0.0],
        radius: drill.radius_mm,
        is_filled: false,
    };
    builder.faces.push(Face { surface, loops: vec![row] });
}

/// The volume of a hole between two ends: its depth summed over its cross section.
fn between(drill: &Drill, near: &End, far: &End) -> f64 {
    /// Even; Simpson's rule over so many steps of an angle leaves less than the rounding.
    const STEPS: usize = 256;
    let r = drill.radius_mm;
    let depth = |end: &End, left: f64, is_near: bool| {
        reach(drill, &end.stretch_at(left).edge, left, is_near).unwrap_or_default()
    };
    let mut stops: Vec<f64> = near
        .corners
        .iter()
        .chain(&far.corners)
        .map(|corner| (drill.local(*corner)[1] / r).clamp(-1.0, 1.0).acos())
        .collect();
    stops.extend([0.0, PI]);
    stops.sort_by(f64::total_cmp);
    let part = |pair: &[f64]| {
        let step = (pair[1] - pair[0]) / STEPS as f64;
        let value = |i: usize| {
            // A hair inside, so that each end is taken from its own side of a corner.
            let angle = (pair[0] + step * i as f64).clamp(pair[0] + 1e-12, pair[1] - 1e-12);
            let left = r * angle.cos();
            let deep = depth(far, left, false) - depth(near, left, true);
            let weight = if i == 0 || i == STEPS {
                1.0
            } else if i % 2 == 1 {
                4.0
            } else {
                2.0
            };
            weight * 2.0 * (r * angle.sin()).powi(2) * deep
        };
        if step > 1e-12 { (0..=STEPS).map(value).sum::<f64>() * step / 3.0 } else { 0.0 }
    };
    stops.windows(2).map(part).sum()
}

#[cfg(test)]
mod tests;
