//! Binary STL, written at the speed of the disk and read back as proof.
//!
//! 80 bytes of header text, a count, then 50 bytes a triangle: normal, three corners, all 32-bit floats,
//! little-endian, and two unused bytes. Corners lie on the grid of 2^-13 mm, which a 32-bit float holds
//! exactly, so that what is read back is what was proven. On Linux the file is preallocated, and on Unix two
//! threads fill and write a half each: handing a file's pages over to the system costs more than making the
//! records. Elsewhere it is made in memory and written in one go.
//!
//! Source: 3D Systems, StereoLithography Interface Specification, 1989 (layout as in any public copy).

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use super::check::{self, Defect, Proof};
use super::mesh::Mesh;
use super::solid::Solid;

const HEADER_BYTES: usize = 84;
const RECORD_BYTES: usize = 50;
/// Triangles filled in one go.
const CHUNK: usize = 1024;
/// Bytes handed over in one go: they stay in the processor's own cache meanwhile.
#[cfg(any(unix, test))]
const BLOCK: usize = 1 << 18;

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
            let corners = triangle.map(|index| &self.vertices[index as usize]);
            for (row, corner) in (1..).zip(corners) {
                put(record, row, corner.map(|mm| mm as f32));
            }
            put(record, 0, normal(corners));
            record[48..].fill(0);
        }
    }
}

/// Writes one of the four vectors of a record.
fn put(record: &mut [u8; RECORD_BYTES], row: usize, vector: [f32; 3]) {
    for (axis, number) in vector.into_iter().enumerate() {
        let at = 12 * row + 4 * axis;
        record[at..at + 4].copy_from_slice(&number.to_le_bytes());
    }
}

/// The unit normal. The product is exact, since corners lie on the grid; its length need not be.
fn normal([a, b, c]: [&[f64; 3]; 3]) -> [f32; 3] {
    let u = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
    let v = [c[0] - a[0], c[1] - a[1], c[2] - a[2]];
    let n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    let n = n.map(|part| part as f32);
    let scale = 1.0 / (n[0] * n[0] + n[1] * n[1] + n[2] * n[2]).sqrt();
    // Adding zero makes a plain zero of a negative one.
    n.map(|part| part * scale + 0.0)
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
#[cfg(not(unix))]
pub fn write(solids: &[&Solid], text: &str, mut file: &File) -> io::Result<()> {
    io::Write::write_all(&mut file, &to_bytes(solids, text)?)
}

/// Writes one or several solids into `file`, which must be new and empty; `text` goes into the header.
///
/// # Errors
/// When the system refuses, or there are more triangles than the format can count.
#[cfg(unix)]
pub fn write(solids: &[&Solid], text: &str, file: &File) -> io::Result<()> {
    let triangles = count(solids)?;
    let pieces = pieces(solids);
    let bytes = (HEADER_BYTES + RECORD_BYTES * triangles as usize) as u64;
    // Where a file system cannot preallocate, writing is slower and the result the same; where it is
    // full, the write says so.
    #[cfg(target_os = "linux")]
    let _ = rustix::fs::fallocate(file, rustix::fs::FallocateFlags::KEEP_SIZE, 0, bytes);
    let first = header(text, triangles);
    if bytes < 4 * BLOCK as u64 {
        return write_pieces(&first, &pieces, file);
    }
    let half = pieces.partition_point(|piece| piece.offset < bytes / 2);
    let (here, there) = pieces.split_at(half);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| write_pieces(&[], there, file));
        let first = write_pieces(&first, here, file);
        first.and(other.join().unwrap_or_else(|_| Err(io::Error::other("a writing thread stopped"))))
    })
}

/// Writes pieces that follow one another, after `start`.
///
/// Blocks end on multiples of their size in the file: a page that two writes share costs both.
#[cfg(unix)]
fn write_pieces(start: &[u8], pieces: &[Piece], file: &File) -> io::Result<()> {
    use std::os::unix::fs::FileExt as _;
    let mut buffer = vec![0; start.len() + BLOCK + RECORD_BYTES * CHUNK];
    buffer[..start.len()].copy_from_slice(start);
    let mut filled = start.len();
    let mut offset = pieces.first().map_or(0, |piece| piece.offset - start.len() as u64);
    for piece in pieces {
        let length = RECORD_BYTES * piece.triangles.len();
        piece.fill(&mut buffer[filled..filled + length]);
        filled += length;
        if filled >= BLOCK {
            let end = (offset + filled as u64) / BLOCK as u64 * BLOCK as u64;
            let whole = (end - offset) as usize;
            file.write_all_at(&buffer[..whole], offset)?;
            buffer.copy_within(whole..filled, 0);
            (offset, filled) = (end, filled - whole);
        }
    }
    file.write_all_at(&buffer[..filled], offset)
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

/// The same of a file.
///
/// # Errors
/// When it cannot be read, or as [`prove`].
pub fn prove_file(path: &Path, expected_shells: usize) -> Result<Proof, StlError> {
    check::prove(&read_back(path)?, expected_shells).map_err(StlError::NotASolid)
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
        let copies = vec![&solid; 5 * BLOCK / (RECORD_BYTES * solid.triangles().len())];
        let scratch = tempfile::tempdir().unwrap();
        let path = scratch.path().join("rings.stl");
        write(&copies, "rings", &File::create_new(&path).unwrap()).unwrap();
        assert!(std::fs::read(&path).unwrap() == to_bytes(&copies, "rings").unwrap());
        assert_eq!(read_back(&path).unwrap().triangles.len(), copies.len() * solid.triangles().len());
        write(&[&solid], "ring", &File::create(&path).unwrap()).unwrap();
        assert_eq!(prove_file(&path, 1).unwrap().volume_mm3(), solid.volume_mm3());
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
