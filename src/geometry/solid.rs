//! A mesh that has been proven to be a solid; what may be done to it keeps the proof true.

use super::check::{self, Defect, NotASolid};
use super::grid;
use super::mesh::Mesh;

pub use super::stack::Stack;

/// A turn of a solid that keeps its handedness and the grid.
///
/// "Axis" is the z along which a stack was piled up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Lays the stack down along +x; the outline's x becomes y, its y becomes z: `(x, y, z)` to `(z, x, y)`.
    AxisToX,
    /// Lays the stack down along +y; the outline's x becomes -x, its y becomes z: `(-x, z, y)`.
    AxisToY,
    /// Lays the stack down along -y; the outline's x stays x, its y becomes z: `(x, -z, y)`.
    AxisToMinusY,
    /// A quarter turn counter-clockwise about z: `(-y, x, z)`.
    Quarter,
    /// A half turn about z: `(-x, -y, z)`.
    Half,
    /// Upside down, about x: `(x, -y, -z)`.
    Over,
}

impl Turn {
    fn apply(self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        // Adding zero makes a plain zero of a negative one.
        match self {
            Self::AxisToX => [z, x, y],
            Self::AxisToY => [-x, z, y],
            Self::AxisToMinusY => [x, -z, y],
            Self::Quarter => [-y, x, z],
            Self::Half => [-x, -y, z],
            Self::Over => [x, -y, -z],
        }
        .map(|coordinate| coordinate + 0.0)
    }
}

/// A mesh that has passed every check: closed, outward, of the drawn volume. Built only by the checker.
#[derive(Clone, Debug, PartialEq)]
pub struct Solid {
    name: String,
    mesh: Mesh,
    volume_mm3: f64,
    shells: usize,
}

impl Solid {
    pub(super) fn proven(
        name: String,
        steps: &[[i32; 3]],
        triangles: Vec<[u32; 3]>,
        proof: check::Proof,
    ) -> Self {
        let vertices = steps.iter().map(|vertex| vertex.map(grid::to_mm)).collect();
        let mesh = Mesh { vertices, triangles };
        Self { name, mesh, volume_mm3: proof.volume_mm3(), shells: proof.shells }
    }

    /// A mesh from elsewhere, proven to be `expected_shells` bodies. Its corners must be on the grid.
    ///
    /// # Errors
    /// Every broken rule of [`check`], except that the wanted volume is not known.
    pub fn from_mesh(name: impl Into<String>, mesh: Mesh, expected_shells: usize) -> Result<Self, NotASolid> {
        let name = name.into();
        match check::prove(&mesh, expected_shells) {
            Ok(proof) => Ok(Self { name, mesh, volume_mm3: proof.volume_mm3(), shells: proof.shells }),
            Err(defects) => Err(NotASolid { name, defects }),
        }
    }

    /// What it is called in files and messages.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its surface.
    pub fn mesh(&self) -> &Mesh {
        &self.mesh
    }

    /// The enclosed volume in cubic millimetres.
    pub fn volume_mm3(&self) -> f64 {
        self.volume_mm3
    }

    /// How many separate bodies it is.
    pub fn shells(&self) -> usize {
        self.shells
    }

    /// The corners of each triangle in turn, counter-clockwise as seen from outside.
    pub fn triangles(&self) -> impl ExactSizeIterator<Item = [[f64; 3]; 3]> + '_ {
        self.mesh.corners()
    }

    /// The lowest and the highest x, y and z in millimetres.
    pub fn bounds(&self) -> [[f64; 3]; 2] {
        self.mesh.bounds().unwrap_or_default()
    }

    /// The same solid under another name.
    #[must_use]
    pub fn renamed(mut self, name: impl Into<String>) -> Self {
        self.name = name.into();
        self
    }

    /// The solid moved; the way is snapped to the grid, so that its shape stays as it is to the last bit.
    ///
    /// # Errors
    /// When it would come to lie beyond 1000 mm.
    pub fn moved(mut self, way: [f64; 3]) -> Result<Self, NotASolid> {
        let [low, high] = self.bounds();
        let mut exact = [0.0; 3];
        for axis in 0..3 {
            let reach = |bound: f64| grid::snap(way[axis]).map(|step| bound + grid::to_mm(step));
            match (reach(low[axis]), reach(high[axis])) {
                (Some(from), Some(to)) if from >= -grid::LIMIT_MM && to <= grid::LIMIT_MM => {
                    exact[axis] = from - low[axis];
                }
                _ => {
                    let what = format!("the {} of a moved corner", ["x", "y", "z"][axis]);
                    let value = way[axis] + if way[axis] < 0.0 { low[axis] } else { high[axis] };
                    let defects = vec![Defect::TooFar { what, value }];
                    return Err(NotASolid { name: self.name, defects });
                }
            }
        }
        for vertex in &mut self.mesh.vertices {
            *vertex = std::array::from_fn(|axis| vertex[axis] + exact[axis] + 0.0);
        }
        Ok(self)
    }

    /// The solid turned; see [`Turn`] for where each axis goes.
    #[must_use]
    pub fn turned(mut self, turn: Turn) -> Self {
        self.mesh.vertices.iter_mut().for_each(|vertex| *vertex = turn.apply(*vertex));
        self
    }
}
