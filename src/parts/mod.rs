//! What is made of a correction: sizes to draw, one by one and for a whole parts list, and pulleys.
//!
//! Dimensions first, then solids.

pub mod build;
pub mod doubtful;
pub mod felt;
#[cfg(test)]
mod fixture;
pub mod gauging;
pub mod list_drawing;
pub mod own_fits;
pub mod parameters;
pub mod parts_list;
pub(crate) mod parts_reading;
pub mod piece_drawing;
pub mod pressed;
mod pressed_text;
pub mod pulley;
pub mod pulley_answer;
mod pulley_answer_pieces;
pub mod pulley_batch;
pub mod pulley_check;
pub mod pulley_chords;
pub mod pulley_estimate;
pub mod pulley_files;
pub mod pulley_law;
pub mod pulley_picture;
pub mod pulley_pieces;
pub mod pulley_request;
pub mod pulley_solid;
pub mod pulley_standard;
pub mod pulley_teeth;
mod pulley_warn;
pub mod pulley_words;
pub mod pulleys_answer;
pub mod seat;
pub mod sized;
pub mod sized_list;
pub mod sized_table;
