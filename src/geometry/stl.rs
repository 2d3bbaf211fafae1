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
/// Filling and handing over overlap when two take turns; more wait for the file's lock.
const THREADS: usize = 2;

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

/// A run of triangles of one solid, and where its first record lies in the file.
struct Piece<'a> {
    vertices: &'a [[f64; 3]],
    triangles: &'a [[u32; 3]],
    offset: u64,
}

/// All triangles in the order of the file, cut into pieces that fit a buffer.
fn pieces<'a>(solids: &[&'a Solid]) -> Vec<Piece<'a>> {
    let mut offset = HEADER_BYTES as u64;
    let mut pieces = Vec::new();
    for solid in solids {
        for triangles in solid.mesh().triangles.chunks(CHUNK) {
            pieces.push(Piece { vertices: &solid.mesh().vertices, triangles, offset });
            offset += (RECORD_BYTES * triangles.len()) as u64;
        }
    }
    pieces
}

impl Piece<'_> {
    /// Fills `out`, which is as long as the records are.
    fn fill(&self, out: &mut [u8]) {
        for (triangle, record) in self.triangles.iter().zip(out.as_chunks_mut::<RECORD_BYTES>().0) {
            let corners = triangle.map(|index| self.vertices[index as usize]);
            let rows = [normal(corners), corners[0], corners[1], corners[2]];
            for (number, slot) in rows.as_flattened().iter().zip(record.as_chunks_mut::<4>().0) {
                // Adding zero makes a plain zero of a negative one, which readers take for another place.
                *slot = (*number as f32 + 0.0).to_le_bytes();
            }
            record[48..].fill(0);
        }
    }
}

/// The unit normal; differences of corners on the grid are exact.
fn normal([a, b, c]: [[f64; 3]; 3]) -> [f64; 3] {
    let u = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
    let v = [c[0] - a[0], c[1] - a[1], c[2] - a[2]];
    let n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    let scale = 1.0 / (n[0] * n[0] + n[1] * n[1] + n[2] * n[2]).sqrt();
    n.map(|part| part * scale)
}

/// The whole file in memory.
///
/// # Errors
/// When there are more triangles than the format can count.
pub fn to_bytes(solids: &[&Solid], text: &str) -> io::Result<Vec<u8>> {
    let triangles = count(solids)?;
    let mut bytes = vec![0; HEADER_BYTES + RECORD_BYTES * triangles as usize];
    bytes[..HEADER_BYTES].copy_from_slice(&header(text, triangles));
    for piece in pieces(solids) {
        let start = piece.offset as usize;
        piece.fill(&mut bytes[start..start + RECORD_BYTES * piece.triangles.len()]);
    }
    Ok(bytes)
}

/// Writes one or several solids into `file`, which must be new and empty; `text` goes into the header.
///
/// # Errors
/// When the system refuses, or there are more triangles than the format can count.
pub fn write(solids: &[&Solid], text: &str, file: &File) -> io::Result<()> {
    let triangles = count(solids)?;
    let pieces = pieces(solids);
    let bytes = (HEADER_BYTES + RECORD_BYTES * triangles as usize) as u64;
    // Where a file system cannot preallocate, writing is slower and the result the same; where it is
    // full, the write says so.
    let _ = rustix::fs::fallocate(file, rustix::fs::FallocateFlags::KEEP_SIZE, 0, bytes);
    file.write_all_at(&header(text, triangles), 0)?;
    if pieces.len() < 2 * THREADS {
        return write_pieces(&pieces, file);
    }
    let (here, there) = pieces.split_at(pieces.len().div_ceil(THREADS));
    std::thread::scope(|scope| {
        let other = scope.spawn(|| write_pieces(there, file));
        let first = write_pieces(here, file);
        first.and(other.join().unwrap_or_else(|_| Err(io::Error::other("a writing thread stopped"))))
    })
}

fn write_pieces(pieces: &[Piece], file: &File) -> io::Result<()> {
    let longest = pieces.iter().map(|piece| piece.triangles.len()).max().unwrap_or(0);
    let mut buffer = vec![0; RECORD_BYTES * longest];
    for piece in pieces {
        let records = &mut buffer[..RECORD_BYTES * piece.triangles.len()];
        piece.fill(records);
        file.write_all_at(records, piece.offset)?;
    }
    Ok(())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::outline::Outline;
    use crate::geometry::solid::Stack;

    fn ring(outside: f64) -> Solid {
        let outline = Outline::circle([1.7, -2.9], outside).with_hole(&Outline::circle([1.7, -2.9], 8.05));
        Stack::new("ring").slab(-0.3, 6.03, &outline).solid().unwrap()
    }

    #[test]
    fn the_32_bit_numbers_read_back_are_the_proven_ones() {
        let solid = ring(22.0);
        let bytes = to_bytes(&[&solid], "a ring").unwrap();
        let proof = prove(&bytes, 1).unwrap();
        assert_eq!(proof.volume_mm3(), solid.volume_mm3());
        let back = parse(&bytes).unwrap();
        let corners: Vec<_> = back.corners().collect();
        assert_eq!(corners, solid.triangles().collect::<Vec<_>>());
        assert!(matches!(prove(&bytes, 2).unwrap_err(), StlError::NotASolid(_)));
    }

    #[test]
    fn normals_are_of_length_one_and_look_outward_and_no_zero_is_negative() {
        let bytes = to_bytes(&[&ring(22.0)], "").unwrap();
        for record in bytes[HEADER_BYTES..].chunks_exact(RECORD_BYTES) {
            let float = |at: usize| f32::from_le_bytes(record[at..at + 4].try_into().unwrap());
            let vector = |at: usize| [float(at), float(at + 4), float(at + 8)];
            let [n, a, b, c] = [vector(0), vector(12), vector(24), vector(36)];
            let length = n.iter().map(|part| part * part).sum::<f32>().sqrt();
            assert!((length - 1.0).abs() < 1e-6);
            let u: Vec<f32> = (0..3).map(|axis| b[axis] - a[axis]).collect();
            let v: Vec<f32> = (0..3).map(|axis| c[axis] - a[axis]).collect();
            let triple = n[0] * (u[1] * v[2] - u[2] * v[1])
                + n[1] * (u[2] * v[0] - u[0] * v[2])
                + n[2] * (u[0] * v[1] - u[1] * v[0]);
            assert!(triple > 0.0);
            assert!(
                [n, a, b, c].as_flattened().iter().all(|number| number.to_bits() != (-0.0_f32).to_bits())
            );
            assert_eq!(record[48..], [0, 0]);
        }
    }

    #[test]
    fn a_large_file_written_by_two_threads_is_the_one_in_memory() {
        let solid = ring(22.0);
        let copies = vec![&solid; 3 * CHUNK / solid.triangles().len() + 20];
        let scratch = tempfile::tempdir().unwrap();
        let path = scratch.path().join("rings.stl");
        write(&copies, "rings", &File::create_new(&path).unwrap()).unwrap();
        assert!(std::fs::read(&path).unwrap() == to_bytes(&copies, "rings").unwrap());
        assert_eq!(read_back(&path).unwrap().triangles.len(), copies.len() * solid.triangles().len());
        let error = read_back(&scratch.path().join("none.stl")).unwrap_err().to_string();
        assert!(
            error.ends_with("none.stl: cannot read back: No such file or directory (os error 2)"),
            "{error}"
        );
    }

    #[test]
    fn no_header_is_taken_for_the_text_form() {
        let start = |text: &str| header(text, 7)[..24].to_vec();
        assert_eq!(start("Solid 8 mm"), b"binary Solid 8 mm\0\0\0\0\0\0\0");
        assert_eq!(start(" ring, 8\u{b5}m, PETG, printer"), b"ring, 8?m, PETG, printer");
        let long = header(&"x".repeat(200), 7);
        assert_eq!(long[79..], [b'x', 7, 0, 0, 0]);
    }

    #[test]
    fn a_cut_or_padded_file_is_refused_with_its_length() {
        let mut bytes = to_bytes(&[&ring(22.0)], "").unwrap();
        bytes.push(0);
        let triangles = ring(22.0).triangles().len();
        let wanted = format!("{} bytes long, which is no binary STL of {triangles} triangles", bytes.len());
        assert_eq!(parse(&bytes).unwrap_err().to_string(), wanted);
        bytes.truncate(bytes.len() - 2);
        assert!(matches!(parse(&bytes), Err(StlError::Length { .. })));
        assert!(matches!(parse(b""), Err(StlError::Length { bytes: 0, triangles: 0 })));
    }
}
