//! 3MF: a zip archive of three parts, with units, names and where each solid comes from.
//!
//! Source: 3MF Consortium, 3D Manufacturing Format, Core Specification 1.3, sections 2 to 4.

use std::io::{self, Seek, Write};

use super::solid::Solid;

/// What goes into a 3MF file.
#[derive(Clone, Debug)]
pub struct Model<'a> {
    /// The `Title`.
    pub title: &'a str,
    /// The `Description`.
    pub description: &'a str,
    /// Further pairs under the program's own namespace: a plain name (letters, digits, `-`, `_`) and a value.
    pub metadata: &'a [(&'a str, String)],
    /// One object each, under the solid's name, where it lies.
    pub solids: &'a [&'a Solid],
}

impl Model<'_> {
    /// Writes the archive.
    ///
    /// # Errors
    /// When the writer refuses.
    pub fn write(&self, _to: impl Write + Seek) -> io::Result<()> {
        Err(io::Error::other("not written yet"))
    }

    /// The archive in memory.
    ///
    /// # Errors
    /// As [`Self::write`].
    pub fn to_bytes(&self) -> io::Result<Vec<u8>> {
        let mut bytes = io::Cursor::new(Vec::new());
        self.write(&mut bytes)?;
        Ok(bytes.into_inner())
    }
}
