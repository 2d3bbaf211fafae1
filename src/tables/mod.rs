//! Tables as text: what every file of rows and columns shares, whatever stands in it.
//!
//! - [`built_in`]: the tables of standards that are part of the program, each row with its source.

pub(crate) mod built_in;
