//! Parts that are made to fit: dimensions first, then solids.

pub mod pulley;
pub mod pulley_answer;
pub mod pulley_check;
pub mod pulley_chords;
pub mod pulley_estimate;
pub mod pulley_law;
pub mod pulley_picture;
pub mod pulley_request;
pub mod pulley_solid;
