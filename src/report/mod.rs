//! Pages from finished results; nothing is computed here.

pub mod guide;
