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

pub use super::defect::{Defect, NotASolid};

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

#[cfg(test)]
mod tests {
    use super::*;

    /// A tetrahedron with its right angle at `corner`, looking outward.
    fn tetrahedron(corner: [f64; 3], size: f64) -> Mesh {
        let [x, y, z] = corner;
        Mesh {
            vertices: vec![corner, [x + size, y, z], [x, y + size, z], [x, y, z + size]],
            triangles: vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
        }
    }

    fn joined(mut a: Mesh, b: Mesh) -> Mesh {
        let first = a.vertices.len() as u32;
        a.vertices.extend(b.vertices);
        a.triangles.extend(b.triangles.iter().map(|triangle| triangle.map(|index| index + first)));
        a
    }

    fn defects(mesh: &Mesh, shells: usize) -> Vec<String> {
        prove(mesh, shells).unwrap_err().iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_tetrahedron_is_a_solid_of_a_sixth_of_its_cube() {
        let proof = prove(&tetrahedron([1.0, 2.0, 3.0], 3.0), 1).unwrap();
        assert_eq!((proof.shells, proof.volume_mm3()), (1, 4.5));
    }

    #[test]
    fn a_missing_face_leaves_open_edges() {
        let mut mesh = tetrahedron([0.0; 3], 1.0);
        mesh.triangles.pop();
        assert!(defects(&mesh, 1)[0].starts_with("open edges: 3, the first from "));
    }

    #[test]
    fn a_face_turned_over_disagrees_with_its_neighbours() {
        let mut mesh = tetrahedron([0.0; 3], 1.0);
        mesh.triangles[3].swap(0, 1);
        assert!(defects(&mesh, 1)[0].starts_with("edges between faces that look opposite ways: 3"));
    }

    #[test]
    fn a_face_that_occurs_twice_makes_edges_of_three_faces() {
        let mut mesh = tetrahedron([0.0; 3], 1.0);
        mesh.triangles.push([1, 2, 3]);
        assert!(
            defects(&mesh, 1)[0]
                .starts_with("edges in which more than two faces meet, because parts touch there: 3")
        );
    }

    #[test]
    fn a_triangle_on_one_line_has_no_area() {
        let mut mesh = tetrahedron([0.0; 3], 1.0);
        mesh.vertices[3] = [0.5, 0.5, 0.0];
        assert_eq!(defects(&mesh, 1), ["triangles without area: 1, the first at (1.000, 0.000, 0.000)"]);
    }

    #[test]
    fn bodies_that_touch_in_a_point_are_found() {
        let mut mesh = joined(tetrahedron([0.0; 3], 1.0), tetrahedron([1.0, 0.0, 0.0], 1.0));
        mesh.triangles.iter_mut().flatten().filter(|index| **index == 4).for_each(|index| *index = 1);
        let wanted = "places in which parts touch in a point: 1, the first at (1.000, 0.000, 0.000)";
        assert_eq!(defects(&mesh, 2), [wanted]);
    }

    #[test]
    fn bodies_are_counted() {
        let mesh = joined(tetrahedron([0.0; 3], 1.0), tetrahedron([2.0, 0.0, 0.0], 1.0));
        assert_eq!(prove(&mesh, 2).unwrap().shells, 2);
        assert_eq!(defects(&mesh, 1), ["it has 2 separate bodies where 1 were meant"]);
    }

    #[test]
    fn a_body_inside_out_is_found() {
        let mut mesh = tetrahedron([5.0, 0.0, 0.0], 1.0);
        mesh.triangles.iter_mut().for_each(|triangle| triangle.swap(0, 1));
        assert_eq!(defects(&mesh, 1), ["surfaces that look inward: 1, the first at (5.000, 1.000, 0.000)"]);
    }

    #[test]
    fn a_volume_that_is_off_by_one_cell_is_found() {
        let mesh = tetrahedron([0.0; 3], 1.0);
        let steps = on_grid(&mesh).unwrap();
        let twelve = 2 * i128::from(8192_i64.pow(3));
        assert!(prove_steps(&steps, &mesh.triangles, 1, Some(twelve)).is_ok());
        let wrong = prove_steps(&steps, &mesh.triangles, 1, Some(twelve + 1)).unwrap_err();
        assert!(matches!(wrong[..], [Defect::Volume { .. }]));
    }

    #[test]
    fn corners_off_the_grid_or_too_far_out_are_refused() {
        let off = tetrahedron([0.1, 0.0, 0.0], 1.0);
        assert_eq!(defects(&off, 1), ["the corner at (0.100, 0.000, 0.000) is not on the grid of 2^-13 mm"]);
        let far = "the x of a corner lies at 1001 mm; a solid must stay within 1000 mm of the origin";
        assert_eq!(defects(&tetrahedron([1001.0, 0.0, 0.0], 1.0), 1), [far]);
        assert_eq!(defects(&Mesh::default(), 1), ["there is nothing in it"]);
    }
}
