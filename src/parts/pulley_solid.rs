//! The bodies of a pulley: each of its drawn pieces as a proven solid.

use crate::geometry::check::NotASolid;
use crate::geometry::solid::Solid;

use super::pulley::Design;

/// The drawn body, proven watertight; of a pulley in several pieces the first.
///
/// # Errors
/// The pulley is larger than solids may be, or features cut into each other.
pub fn solid(design: &Design) -> Result<Solid, NotASolid> {
    match design.drawn_pieces.first() {
        Some(piece) => piece.solid(),
        None => Err(NotASolid { name: name(design), defects: vec![crate::geometry::check::Defect::Empty] }),
    }
}

/// All drawn pieces, each proven watertight and one body.
///
/// # Errors
/// As [`solid`], of the first piece that is none.
pub fn solids(design: &Design) -> Result<Vec<Solid>, NotASolid> {
    design.drawn_pieces.iter().map(|piece| piece.solid()).collect()
}

/// The pieces moved along x so that they lie apart on one bed, the first where it was.
pub fn side_by_side(solids: &[Solid]) -> Vec<Solid> {
    /// Between one piece and the next, mm.
    const APART_MM: f64 = 5.0;
    let mut edge = f64::NEG_INFINITY;
    let mut placed = Vec::with_capacity(solids.len());
    for solid in solids {
        let [low, high] = solid.bounds();
        let way = if edge.is_finite() { edge + APART_MM - low[0] } else { 0.0 };
        edge = high[0] + way;
        // Out of reach of the grid they stay where they are.
        placed.push(solid.clone().moved([way, 0.0, 0.0]).unwrap_or_else(|_| solid.clone()));
    }
    placed
}

/// What the solid is called.
pub fn name(design: &Design) -> String {
    format!("{} pulley, {} teeth", design.pulley.profile.name, design.pulley.teeth())
}
