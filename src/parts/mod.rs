//! What is made of a correction: sizes to draw, one by one and for a whole parts list.

#[cfg(test)]
mod fixture;
pub mod parts_list;
mod parts_reading;
pub mod sized;
pub mod sized_list;
pub mod sized_table;
