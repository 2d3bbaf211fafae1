//! What can be wrong with a solid, in words and with the place.

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
    #[error("triangles without area: {count}, the first at {}", at(place))]
    NoArea {
        /// A corner of the first.
        place: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// Edges that have a face on one side only.
    #[error("open edges: {count}, the first from {} to {}", at(from), at(to))]
    OpenEdge {
        /// Start of the first.
        from: [f64; 3],
        /// End of the first.
        to: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// Edges between faces that look opposite ways.
    #[error(
        "edges between faces that look opposite ways: {count}, the first from {} to {}",
        at(from),
        at(to)
    )]
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
        "edges in which more than two faces meet, because parts touch there: {count}, the first from {} to {}",
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
    #[error("places in which parts touch in a point: {count}, the first at {}", at(place))]
    TouchingPoint {
        /// The first.
        place: [f64; 3],
        /// How many there are.
        count: usize,
    },
    /// A shell looks inward: it is inside out, or a cavity.
    #[error("surfaces that look inward: {count}, the first at {}", at(place))]
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

fn at(place: &[f64; 3]) -> String {
    format!("({:.3}, {:.3}, {:.3})", place[0], place[1], place[2])
}
