//! Tables as text: what every file of rows and columns shares, whatever stands in it.
//!
//! - [`decode`]: bytes of any spreadsheet to text; [`records`]: text to rows of cells; [`number`]: a cell to a number.
//! - [`whole_table`]: a small file of a person's own, a parts list or a chain, as columns and rows.
//! - [`built_in`]: the tables of standards that are part of the program, each row with its source.

pub(crate) mod built_in;
pub(crate) mod decode;
pub(crate) mod number;
pub(crate) mod records;
pub(crate) mod whole_table;
