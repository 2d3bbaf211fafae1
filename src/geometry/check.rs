//! The rules a mesh must keep to be a solid, each with the defect that breaking it is.
//!
//! - every corner lies on the grid, within 1000 mm;
//! - no triangle is without area;
//! - every directed edge occurs once, and so does its reverse: no hole, no flipped neighbour, no edge
//!   with more than two faces;
//! - the faces about a corner make one fan: no two parts touch in a point;
//! - every shell encloses a positive volume, so faces look outward;
//! - there are as many shells as bodies were meant;
//! - the volume is that of the drawn polygons, to the last grid cell.
//!
//! Coordinates are whole numbers of grid steps here, so each test is exact and none has a tolerance.

use super::grid;
use super::mesh::Mesh;

/// One broken rule: where it is broken first, and how often.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Defect {
    /// A coordinate is no number, or too far out for the grid.
    #[error("{what} lies at {value} mm; a solid must stay within 1000 mm of the origin")]
    TooFar {
        /// Which coordinate, in words.
        what: String,
        /// The offending coordinate in millimetres.
        value: f64,
    },
    /// A coordinate read from elsewhere is not on the grid of 2^-13 mm.
    #[error("the corner at {} is not on the grid of 2^-13 mm", at(place))]
    OffGrid {
        /// The corner.
        place: [f64; 3],
    },
    /// There is nothing to make a solid of.
    #[error("there is nothing in it")]
    Empty,
    /// A slab's top is not above its bottom.
    #[error("the slab from z = {z0} mm to z = {z1} mm has no thickness")]
    NoThickness {
        /// Bottom of the slab.
        z0: f64,
        /// Top of the slab.
        z1: f64,
    },
    /// Two slabs of a stack are not flush.
    #[error(
        "a slab ends at z = {end} mm and the next begins at z = {start} mm; slabs of a stack must be flush"
    )]
    NotFlush {
        /// Top of the lower slab.
        end: f64,
        /// Bottom of the upper slab.
        start: f64,
    },
    /// A loop has fewer than three corners.
    #[error("loop {number} of the slab at z = {z} mm has {corners} corners; a loop needs 3")]
    TooFewCorners {
        /// Bottom of the slab.
        z: f64,
        /// Which loop, from 1.
        number: usize,
        /// How many corners are left when those on one place are counted once.
        corners: usize,
    },
    /// The two outlines of a taper do not correspond.
    #[error(
        "the taper at z = {z} mm has {bottom} corners below and {top} above in loop {number}; they must correspond one to one"
    )]
    Uneven {
        /// Bottom of the taper.
        z: f64,
        /// Which loop, from 1.
        number: usize,
        /// Corners of that loop below, 0 when there is no such loop.
        bottom: usize,
        /// Corners of that loop above, 0 when there is no such loop.
        top: usize,
    },
    /// Two edges cross where neither has a corner.
    #[error("outlines cross near ({:.3}, {:.3}) at z = {z} mm; they may only meet in corners of one of them", place[0], place[1])]
    Crossing {
        /// Near which place.
        place: [f64; 2],
        /// At which height.
        z: f64,
    },
    /// A region covers a place twice, or a hole lies outside it.
    #[error("an outline overlaps itself, or has a hole outside, at ({:.3}, {:.3}), z = {z} mm", place[0], place[1])]
    Overlap {
        /// The first corner, in the order of x, at which it does.
        place: [f64; 2],
        /// At which height.
        z: f64,
    },
    /// Triangles without area.
    #[error("{count} triangles have no area, the first at {}", at(place))]
    NoArea {
        /// A corner of the first.
        place: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// Edges that have a face on one side only.
    #[error("{count} edges are open, the first from {} to {}", at(from), at(to))]
    OpenEdge {
        /// Start of the first.
        from: [f64; 3],
        /// End of the first.
        to: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// Edges between faces that look opposite ways.
    #[error("{count} edges join faces that look opposite ways, the first from {} to {}", at(from), at(to))]
    Flipped {
        /// Start of the first.
        from: [f64; 3],
        /// End of the first.
        to: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// Edges at which more than two faces meet.
    #[error(
        "more than two faces meet in {count} edges, the first from {} to {}: parts touch there",
        at(from),
        at(to)
    )]
    SharedEdge {
        /// Start of the first.
        from: [f64; 3],
        /// End of the first.
        to: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// Corners in which parts touch that have no face in common there.
    #[error("parts touch in a point in {count} places, the first at {}", at(place))]
    TouchingPoint {
        /// The first.
        place: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// A shell looks inward: it is inside out, or a cavity.
    #[error("{count} shells look inward, the first at {}", at(place))]
    InsideOut {
        /// A corner of the first.
        place: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// There are more or fewer bodies than were meant.
    #[error("it has {found} separate bodies where {expected} were meant")]
    Shells {
        /// How many there are.
        found: usize,
        /// How many were meant.
        expected: usize,
    },
    /// The enclosed volume is not that of the drawn polygons.
    #[error("it encloses {found} mm3 where the drawn outlines give {drawn} mm3")]
    Volume {
        /// Enclosed by the mesh.
        found: f64,
        /// By the closed form of the drawn outlines.
        drawn: f64,
    },
}

/// Why a mesh is no solid: every broken rule.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("`{name}` is not a solid: {}", defects.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
pub struct NotASolid {
    /// What the solid was to be called.
    pub name: String,
    /// The broken rules, at least one.
    pub defects: Vec<Defect>,
}

/// What a mesh that keeps all rules has been shown to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Proof {
    /// Separate bodies.
    pub shells: usize,
    /// Six times the enclosed volume in cubic grid steps, exactly.
    pub six_volumes: i128,
}

impl Proof {
    /// The enclosed volume.
    pub fn volume_mm3(&self) -> f64 {
        volume_mm3(self.six_volumes)
    }
}

/// Cubic millimetres from six times a volume in cubic grid steps.
pub(super) fn volume_mm3(six_volumes: i128) -> f64 {
    six_volumes as f64 / (6.0 * grid::STEPS_PER_MM.powi(3))
}

/// Proves that `mesh` is a solid of `expected_shells` bodies.
///
/// # Errors
/// Every rule that is broken; a corner off the grid hides the others.
pub fn prove(mesh: &Mesh, expected_shells: usize) -> Result<Proof, Vec<Defect>> {
    let steps = on_grid(mesh)?;
    prove_steps(&steps, &mesh.triangles, expected_shells, None)
}

/// The corners of `mesh` in grid steps.
fn on_grid(mesh: &Mesh) -> Result<Vec<[i32; 3]>, Vec<Defect>> {
    let mut steps = Vec::with_capacity(mesh.vertices.len());
    for &place in &mesh.vertices {
        let mut vertex = [0; 3];
        for (axis, &mm) in place.iter().enumerate() {
            let what = || format!("the {} of a corner", ["x", "y", "z"][axis]);
            vertex[axis] = grid::snap(mm).ok_or_else(|| vec![Defect::TooFar { what: what(), value: mm }])?;
            if grid::to_mm(vertex[axis]) != mm {
                return Err(vec![Defect::OffGrid { place }]);
            }
        }
        steps.push(vertex);
    }
    Ok(steps)
}

/// Proves triangles over corners in grid steps; `twelve_volumes` is 12 times the volume that the drawn
/// outlines give, where they are known.
pub(super) fn prove_steps(
    vertices: &[[i32; 3]],
    triangles: &[[u32; 3]],
    expected_shells: usize,
    twelve_volumes: Option<i128>,
) -> Result<Proof, Vec<Defect>> {
    if triangles.is_empty() {
        return Err(vec![Defect::Empty]);
    }
    let mut defects = Vec::new();
    let flat = (triangles.iter()).filter(|triangle| is_flat(triangle.map(|i| vertices[i as usize])));
    if let Some((first, count)) = first_and_count(flat) {
        defects.push(Defect::NoArea { place: mm(vertices[first[0] as usize]), count });
    }
    let twins = pair_edges(vertices, triangles, &mut defects);
    if !defects.is_empty() {
        // Fans and shells follow edges from face to face; with edges unpaired they mean nothing.
        return Err(defects);
    }
    let points = touching_points(triangles, &twins, vertices.len());
    if let Some((&first, count)) = first_and_count(points.iter()) {
        defects.push(Defect::TouchingPoint { place: mm(vertices[first as usize]), count });
    }
    let shells = shells(vertices, triangles, &twins);
    if let Some((first, count)) = first_and_count(shells.iter().filter(|shell| shell.six_volumes <= 0)) {
        defects.push(Defect::InsideOut { place: mm(vertices[first.vertex as usize]), count });
    }
    if shells.len() != expected_shells {
        defects.push(Defect::Shells { found: shells.len(), expected: expected_shells });
    }
    let six_volumes = shells.iter().map(|shell| shell.six_volumes).sum();
    if let Some(drawn) = twelve_volumes.filter(|drawn| *drawn != 2 * six_volumes) {
        let (found, drawn) = (volume_mm3(six_volumes), volume_mm3(drawn) / 2.0);
        defects.push(Defect::Volume { found, drawn });
    }
    if defects.is_empty() { Ok(Proof { shells: shells.len(), six_volumes }) } else { Err(defects) }
}

fn first_and_count<T>(mut found: impl Iterator<Item = T>) -> Option<(T, usize)> {
    let first = found.next()?;
    Some((first, 1 + found.count()))
}

/// Twice the area of a triangle's shadow on the plane without `axis`.
fn shadow([a, b, c]: [[i32; 3]; 3], axis: usize) -> i64 {
    let (i, j) = ((axis + 1) % 3, (axis + 2) % 3);
    let difference = |to: [i32; 3], k: usize| i64::from(to[k]) - i64::from(a[k]);
    difference(b, i) * difference(c, j) - difference(b, j) * difference(c, i)
}

fn is_flat(corners: [[i32; 3]; 3]) -> bool {
    shadow(corners, 2) == 0 && shadow(corners, 0) == 0 && shadow(corners, 1) == 0
}

/// For every directed edge (three a triangle, `3 * triangle + corner`) the one that runs back.
///
/// Edges are dealt out to their lower corner and sorted there, which is a few entries at a time.
fn pair_edges(vertices: &[[i32; 3]], triangles: &[[u32; 3]], defects: &mut Vec<Defect>) -> Vec<u32> {
    let mut ends = vec![0_u32; vertices.len() + 1];
    for triangle in triangles {
        for corner in 0..3 {
            ends[triangle[corner].min(triangle[(corner + 1) % 3]) as usize] += 1;
        }
    }
    let mut total = 0;
    for end in &mut ends {
        (*end, total) = (total, total + *end);
    }
    // Higher corner, direction and number of the edge in one word, so that they sort as one.
    let mut dealt = vec![0_u64; 3 * triangles.len()];
    for (face, triangle) in triangles.iter().enumerate() {
        for corner in 0..3 {
            let (from, to) = (triangle[corner], triangle[(corner + 1) % 3]);
            let slot = &mut ends[from.min(to) as usize];
            dealt[*slot as usize] =
                u64::from(from.max(to)) << 33 | u64::from(from > to) << 32 | (3 * face + corner) as u64;
            *slot += 1;
        }
    }
    let mut twins = vec![0; 3 * triangles.len()];
    let mut odd = Odd::default();
    let mut start = 0;
    for &end in &ends[..vertices.len()] {
        let bucket = &mut dealt[start..end as usize];
        bucket.sort_unstable();
        for edge in bucket.chunk_by(|a, b| a >> 33 == b >> 33) {
            match *edge {
                [there, back] if (there >> 32) & 1 != (back >> 32) & 1 => {
                    twins[there as u32 as usize] = back as u32;
                    twins[back as u32 as usize] = there as u32;
                }
                [only] => odd.open.push(only as u32),
                [first, _] => odd.flipped.push(first as u32),
                _ => odd.shared.push(edge[0] as u32),
            }
        }
        start = end as usize;
    }
    odd.report(vertices, triangles, defects);
    twins
}

/// Directed edges that break a rule.
#[derive(Default)]
struct Odd {
    open: Vec<u32>,
    flipped: Vec<u32>,
    shared: Vec<u32>,
}

impl Odd {
    fn report(&self, vertices: &[[i32; 3]], triangles: &[[u32; 3]], defects: &mut Vec<Defect>) {
        let place = |edge: u32, corner: u32| {
            let triangle = triangles[edge as usize / 3];
            mm(vertices[triangle[((edge + corner) % 3) as usize] as usize])
        };
        if let Some(&first) = self.open.first() {
            let (from, to) = (place(first, 0), place(first, 1));
            defects.push(Defect::OpenEdge { from, to, count: self.open.len() });
        }
        if let Some(&first) = self.flipped.first() {
            let (from, to) = (place(first, 0), place(first, 1));
            defects.push(Defect::Flipped { from, to, count: self.flipped.len() });
        }
        if let Some(&first) = self.shared.first() {
            let (from, to) = (place(first, 0), place(first, 1));
            defects.push(Defect::SharedEdge { from, to, count: self.shared.len() });
        }
    }
}

/// Corners whose faces make more than one fan.
fn touching_points(triangles: &[[u32; 3]], twins: &[u32], vertices: usize) -> Vec<u32> {
    let mut seen_edge = vec![false; twins.len()];
    let mut has_fan = vec![false; vertices];
    let mut touching = Vec::new();
    for first in 0..twins.len() {
        if seen_edge[first] {
            continue;
        }
        let vertex = triangles[first / 3][first % 3];
        if std::mem::replace(&mut has_fan[vertex as usize], true) {
            touching.push(vertex);
        }
        // The edge before this one in its face ends here; its twin starts here, one face further round.
        let mut edge = first;
        while !std::mem::replace(&mut seen_edge[edge], true) {
            let before = if edge.is_multiple_of(3) { edge + 2 } else { edge - 1 };
            edge = twins[before] as usize;
        }
    }
    touching
}

/// One connected surface.
struct Shell {
    vertex: u32,
    six_volumes: i128,
}

/// Walks every surface from face to face and adds up what it encloses.
fn shells(vertices: &[[i32; 3]], triangles: &[[u32; 3]], twins: &[u32]) -> Vec<Shell> {
    let mut seen = vec![false; triangles.len()];
    let mut waiting = Vec::new();
    let mut shells = Vec::new();
    for first in 0..triangles.len() {
        if std::mem::replace(&mut seen[first], true) {
            continue;
        }
        let mut six_volumes = 0;
        waiting.push(first);
        while let Some(face) = waiting.pop() {
            // The prism from the face down to z = 0: mean height times shadow.
            let corners = triangles[face].map(|index| vertices[index as usize]);
            let heights: i64 = corners.iter().map(|corner| i64::from(corner[2])).sum();
            six_volumes += i128::from(heights) * i128::from(shadow(corners, 2));
            for twin in &twins[3 * face..3 * face + 3] {
                let next = *twin as usize / 3;
                if !std::mem::replace(&mut seen[next], true) {
                    waiting.push(next);
                }
            }
        }
        shells.push(Shell { vertex: triangles[first][0], six_volumes });
    }
    shells
}

fn mm(steps: [i32; 3]) -> [f64; 3] {
    steps.map(grid::to_mm)
}

fn at(place: &[f64; 3]) -> String {
    format!("({:.3}, {:.3}, {:.3})", place[0], place[1], place[2])
}
