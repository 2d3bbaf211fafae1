//! Parts that are made to fit: dimensions first, then solids.

pub mod pulley_check;
pub mod pulley_law;
