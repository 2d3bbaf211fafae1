//! An exact solid as its boundary: vertices, edges and faces that share one another.
//!
//! ```text
//! CurveStack -> walls (planes, cylinders, cones) + caps (planes) -> holes across -> Brep, every edge used twice -> STEP
//! ```
//!
//! [`super::curve_stack`] makes it, [`super::drill`] its holes across; [`super::step`] writes it. Lengths are
//! millimetres, angles radians.

use super::space_curve::SpaceCurve;

/// Why slabs make no exact solid.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotExact {
    /// There is no slab.
    #[error("`{name}` has no slab")]
    Empty {
        /// The solid.
        name: String,
    },
    /// A slab does not begin where the one below it ends.
    #[error("`{name}`: a slab from {z0} to {z1} mm does not stand on the one below it")]
    Heights {
        /// The solid.
        name: String,
        /// Its bottom.
        z0: f64,
        /// Its top.
        z1: f64,
    },
    /// The walls of a taper are no planes and cones.
    #[error("`{name}`: the walls from {z0} to {z1} mm are neither planes nor cones")]
    Taper {
        /// The solid.
        name: String,
        /// Its bottom.
        z0: f64,
        /// Its top.
        z1: f64,
    },
    /// A hole across meets something that ends within its reach.
    #[error("`{name}`: a hole across at {z} mm does not pass from wall to wall")]
    Hole {
        /// The solid.
        name: String,
        /// The height of its axis.
        z: f64,
    },
    /// The faces do not close: outlines overlap in part.
    #[error("`{name}` does not close at {z} mm: outlines cross there or overlap in part")]
    Open {
        /// The solid.
        name: String,
        /// Where.
        z: f64,
    },
}

/// The surface that a face lies on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Surface {
    /// A plane through a point; the normal points out of the plastic.
    Plane {
        /// A point of it.
        at: [f64; 3],
        /// Out of the plastic.
        normal: [f64; 3],
        /// A direction in it.
        along: [f64; 3],
    },
    /// A cylinder about a line.
    Cylinder {
        /// Where the axis passes.
        at: [f64; 3],
        /// Along the line: z, or level.
        axis: [f64; 3],
        /// Its radius.
        radius: f64,
        /// Whether plastic is inside of it.
        is_filled: bool,
    },
    /// A cone about a line along z.
    Cone {
        /// Where the axis passes the level of `radius`.
        at: [f64; 3],
        /// Radius at that level.
        radius: f64,
        /// Angle between axis and wall, radians.
        half_angle_rad: f64,
        /// Whether it widens upwards.
        widens_up: bool,
        /// Whether plastic is inside of it.
        is_filled: bool,
    },
}

/// An edge and the way it is run through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Use {
    /// Index into [`Brep::edges`].
    pub edge: usize,
    /// Whether from its begin to its end.
    pub forward: bool,
}

/// A face: a surface within closed rows of edges, the first of them outermost; seen from outside the
/// plastic the face lies to their left.
#[derive(Clone, Debug, PartialEq)]
pub struct Face {
    /// What it lies on.
    pub surface: Surface,
    /// What it ends at.
    pub loops: Vec<Vec<Use>>,
}

/// An edge of a solid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpaceEdge {
    /// Index of the vertex where it begins.
    pub from: usize,
    /// Index of the vertex where it ends.
    pub to: usize,
    /// How it runs.
    pub curve: SpaceCurve,
}

/// One exact solid; proven closed: every edge is used twice, once each way.
#[derive(Clone, Debug, PartialEq)]
pub struct Brep {
    /// Its name.
    pub name: String,
    /// Its vertices.
    pub vertices: Vec<[f64; 3]>,
    /// Its edges.
    pub edges: Vec<SpaceEdge>,
    /// Its faces.
    pub faces: Vec<Face>,
    /// Its volume, mm3, in closed form.
    pub volume_mm3: f64,
}

impl Brep {
    /// The height of an edge that is not used once each way, if there is one.
    pub(super) fn open_edge(&self) -> Option<f64> {
        let mut uses = vec![[0u32; 2]; self.edges.len()];
        for of in self.faces.iter().flat_map(|face| &face.loops).flatten() {
            uses[of.edge][usize::from(of.forward)] += 1;
        }
        let open = uses.iter().position(|both| *both != [1, 1])?;
        Some(self.vertices[self.edges[open].from][2])
    }

    /// Vertices less edges plus faces, less what the holes in faces add: 2 for each body, less 2 for each
    /// hole through it.
    pub fn euler(&self) -> i64 {
        let inner: usize = self.faces.iter().map(|face| face.loops.len() - 1).sum();
        self.vertices.len() as i64 - self.edges.len() as i64 + self.faces.len() as i64 - inner as i64
    }
}
