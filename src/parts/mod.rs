//! What is made of a correction: sizes to draw, one by one and for a whole parts list, and pulleys.
//!
//! Dimensions first, then solids.

pub mod doubtful;
pub mod felt;
#[cfg(test)]
mod fixture;
pub mod own_fits;
pub mod parameters;
pub mod parts_list;
pub(crate) mod parts_reading;
pub mod pressed;
pub mod pulley;
pub mod pulley_answer;
pub mod pulley_check;
pub mod pulley_chords;
pub mod pulley_estimate;
pub mod pulley_law;
pub mod pulley_picture;
pub mod pulley_request;
pub mod pulley_solid;
pub mod seat;
pub mod sized;
pub mod sized_list;
pub mod sized_table;
