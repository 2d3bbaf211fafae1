//! Binary STL, written at the speed of the disk and read back as proof.
//!
//! 80 bytes of header text, a count, then 50 bytes a triangle: normal, three corners, all 32-bit floats,
//! little-endian, and two unused bytes. Corners lie on the grid of 2^-13 mm, which a 32-bit float holds
//! exactly, so that what is read back is what was proven. The file is preallocated, and two threads fill
//! and write a half each: handing a file's pages over to the system costs more than making the records.
//!
//! Source: 3D Systems, StereoLithography Interface Specification, 1989 (layout as in any public copy).

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use super::check::{self, Defect, Proof};
use super::mesh::Mesh;
use super::solid::Solid;

const HEADER_BYTES: usize = 84;
const RECORD_BYTES: usize = 50;
/// Triangles a thread fills before it writes: 400 kB, which stays in its processor's own cache.
const CHUNK: usize = 8192;

/// Why a file does not read back as the solid that it should be.
#[derive(Debug, thiserror::Error)]
pub enum StlError {
    /// The file cannot be read.
    #[error("{}: cannot read back: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The length is not what the number of triangles in the file asks for.
    #[error("{bytes} bytes long, which is no binary STL of {triangles} triangles")]
    Length {
        /// Length of the file.
        bytes: usize,
        /// Triangles by the count in the file.
        triangles: u32,
    },
    /// The reader refuses it.
    #[error("not readable as STL: {0}")]
    Malformed(io::Error),
    /// It reads, but is no solid.
    #[error("not a solid as read back: {}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    NotASolid(Vec<Defect>),
}

/// The first 84 bytes: text cut to 80 bytes of ASCII, and the count.
///
/// Readers take a file that begins with `solid` for the text form, so such a header gets a word before it.
fn header(text: &str, triangles: u32) -> [u8; HEADER_BYTES] {
    let plain = text.trim_start();
    let is_misleading = plain.get(..5).is_some_and(|word| word.eq_ignore_ascii_case("solid"));
    let prefix = if is_misleading { "binary " } else { "" };
    let mut bytes = [0; HEADER_BYTES];
    let characters = prefix.chars().chain(plain.chars());
    for (byte, character) in bytes[..80].iter_mut().zip(characters) {
        *byte = if character == ' ' || character.is_ascii_graphic() { character as u8 } else { b'?' };
    }
    bytes[80..].copy_from_slice(&triangles.to_le_bytes());
    bytes
}

fn count(solids: &[&Solid]) -> io::Result<u32> {
    let triangles: usize = solids.iter().map(|solid| solid.mesh().triangles.len()).sum();
    u32::try_from(triangles).map_err(|_| io::Error::other("more triangles than an STL file can count"))
}

/// The records of the triangles `range` of one mesh, into `out`, which is as long as they are.
fn fill(vertices: &[[f32; 3]], triangles: &[[u32; 3]], out: &mut [u8]) {
    for (triangle, record) in triangles.iter().zip(out.chunks_exact_mut(RECORD_BYTES)) {
        let corners = triangle.map(|index| vertices[index as usize]);
        let mut bytes = [0; RECORD_BYTES];
        for (slot, value) in
            bytes.chunks_exact_mut(4).zip(normal(corners).iter().chain(corners.as_flattened()))
        {
            slot.copy_from_slice(&value.to_le_bytes());
        }
        record.copy_from_slice(&bytes);
    }
}

/// The unit normal. Differences of corners on the grid are exact; the sum turns negative zeros plain.
fn normal([a, b, c]: [[f32; 3]; 3]) -> [f32; 3] {
    let u: [f32; 3] = std::array::from_fn(|axis| b[axis] - a[axis]);
    let v: [f32; 3] = std::array::from_fn(|axis| c[axis] - a[axis]);
    let (u, v) = (u.map(f64::from), v.map(f64::from));
    let n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    let scale = 1.0 / (n[0] * n[0] + n[1] * n[1] + n[2] * n[2]).sqrt();
    n.map(|part| (part * scale) as f32 + 0.0)
}

fn floats(solid: &Solid) -> Vec<[f32; 3]> {
    solid.mesh().vertices.iter().map(|vertex| vertex.map(|mm| mm as f32 + 0.0)).collect()
}

/// The whole file in memory.
///
/// # Errors
/// When there are more triangles than the format can count.
pub fn to_bytes(solids: &[&Solid], text: &str) -> io::Result<Vec<u8>> {
    let triangles = count(solids)?;
    let mut bytes = vec![0; HEADER_BYTES + RECORD_BYTES * triangles as usize];
    bytes[..HEADER_BYTES].copy_from_slice(&header(text, triangles));
    let mut rest = &mut bytes[HEADER_BYTES..];
    for solid in solids {
        let triangles = &solid.mesh().triangles;
        let (part, after) = rest.split_at_mut(RECORD_BYTES * triangles.len());
        fill(&floats(solid), triangles, part);
        rest = after;
    }
    Ok(bytes)
}

/// Writes one or several solids into `file`, which must be new and empty; `text` goes into the header.
///
/// # Errors
/// When the system refuses, or there are more triangles than the format can count.
pub fn write(solids: &[&Solid], text: &str, file: &File) -> io::Result<()> {
    file.write_all_at(&to_bytes(solids, text)?, 0)
}

/// Reads a binary STL file; corners on one place become one.
///
/// # Errors
/// When it cannot be read or is no binary STL of its length.
pub fn read_back(path: &Path) -> Result<Mesh, StlError> {
    let bytes = std::fs::read(path).map_err(|source| StlError::Io { path: path.to_owned(), source })?;
    parse(&bytes)
}

/// The same from memory.
///
/// # Errors
/// When it is no binary STL of its length.
pub fn parse(bytes: &[u8]) -> Result<Mesh, StlError> {
    let triangles =
        bytes.get(80..84).map_or(0, |count| u32::from_le_bytes([count[0], count[1], count[2], count[3]]));
    // The reader accepts trailing bytes and takes what begins with `solid` for text; we do not.
    if bytes.len() != HEADER_BYTES + RECORD_BYTES * triangles as usize {
        return Err(StlError::Length { bytes: bytes.len(), triangles });
    }
    let read = stl_io::read_stl(&mut io::Cursor::new(bytes)).map_err(StlError::Malformed)?;
    Ok(Mesh {
        vertices: read.vertices.iter().map(|vertex| [0, 1, 2].map(|axis| f64::from(vertex[axis]))).collect(),
        triangles: read.faces.iter().map(|face| face.vertices.map(|index| index as u32)).collect(),
    })
}

/// Proves that the 32-bit numbers of a file's bytes still are a solid of `expected_shells` bodies.
///
/// # Errors
/// When it does not read, or every broken rule of [`check`].
pub fn prove(bytes: &[u8], expected_shells: usize) -> Result<Proof, StlError> {
    check::prove(&parse(bytes)?, expected_shells).map_err(StlError::NotASolid)
}
