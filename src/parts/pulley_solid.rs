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

/// What the solid is called.
pub fn name(design: &Design) -> String {
    format!("{} pulley, {} teeth", design.pulley.profile.name, design.pulley.teeth())
}
