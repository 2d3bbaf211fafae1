//! A known printer for the tests of this folder.

use std::path::Path;

use crate::correction::Correction;

/// Bores come out 0.2 mm small, pins 0.12 mm large, gaps 0.16 mm small; all shrink by 0.4 %. Heights and
/// horizontal bores were not measured.
pub(super) fn known() -> Correction {
    let path = Path::new("tests/data/known.correction.toml");
    Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap()
}
