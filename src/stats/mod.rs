//! Numbers in, numbers out: knows no millimetre, no printer, no file.

pub mod distribution;
pub mod least_squares;
