//! From a readings sheet to checked readings.
//!
//! A file becomes [`CheckedReadings`] or a list of every problem in it. Repeats of one feature on one
//! print are summarised as they are read, so memory is flat in the number of readings.
//!
//! ```text
//! bytes -> text (decode) -> layout of columns (layout, conditions) -> rows (records)
//!       -> readings of a block (block, rows, cells) -> of the file (gather, table) -> checked (check)
//! ```
//!
//! Conventions of a sheet:
//!
//! - `nominal_mm` is millimetres by its name; `# unit: in` above the header makes the readings inches.
//! - A blank `setup` is `unnamed`, a blank `copy` is 1, a blank `axis` is `z` for a height and `round`,
//!   direction not recorded, for all else. A feature without a name is called after kind, axis and
//!   size, such as `bore-round-5`.
//! - Rows with equal setup, coupon, feature, axis and copy are repeat readings of one thing, and so are
//!   the reading columns of one row.
//! - A row without readings is not measured yet and says nothing else either; a blank row is nothing.
//! - A sheet with a column `stage` holds states of the same pieces before and after heat; see [`exposure`].
//! - A row may say how the real piece felt (`feel`, `mate_mm`, `mate`), with readings or without; see
//!   [`trials`].

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::cores;
use crate::coupon;
use crate::files;
use crate::kind::{Axis, Kind};
use crate::problem::{Location, Problem, Severity, counted};
use crate::tables::{decode, number, records};

mod block;
pub(crate) mod by_setup;
mod cells;
mod check;
mod conditions;
pub mod expansion;
pub mod exposure;
mod feel_rows;
mod gather;
mod intern;
mod layout;
mod name;
mod rows;
pub mod slips;
pub mod summary;
mod table;
pub mod trials;
mod view;
mod walk;
mod without;

use gather::{BLOCK, Interrupted};
pub use name::Name;
use table::{Definition, SetupTable};
pub(crate) use view::SetupView;
pub use without::{SetAsideReading, read_bytes_without, read_file_without};

/// Repeat readings of one feature of one print, summarised in one pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeats {
    /// How many readings.
    pub count: u32,
    /// Their mean, mm.
    pub mean_mm: f64,
    /// Sum of squared departures from the mean, mm^2.
    pub sum_of_squares_mm2: f64,
    /// The smallest reading.
    pub lowest: Reading,
    /// The largest reading.
    pub highest: Reading,
}

/// One caliper reading and the line it stands on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// As read, converted to mm, at the temperature of the room.
    pub mm: f64,
    /// Line in the file, from 1.
    pub line: u64,
}

/// One feature of one print.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureReadings {
    /// Which coupon, empty when the file does not say.
    pub coupon: Name,
    /// Which feature of it; made from kind, axis and size when the file does not say.
    pub feature: Name,
    /// What is measured.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// Which print, from 1.
    pub copy: u32,
    /// The readings.
    pub repeats: Repeats,
}

/// The readings of one setup, in the order in which features first appear in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct SetupReadings {
    /// The setup's name; `unnamed` when the file has no such column.
    pub setup: String,
    /// One entry a feature and print.
    pub features: Vec<FeatureReadings>,
}

/// What the comment lines before the header say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Conditions {
    /// When it was measured, `2026-11-25`.
    pub date: Option<String>,
    /// Smallest step that the caliper shows, mm; 0.01 when the file does not say.
    pub caliper_resolution_mm: Option<f64>,
    /// The caliper's limit of error, mm.
    pub caliper_error_mm: Option<f64>,
    /// Temperature of the parts when they were measured, Celsius.
    pub temperature_c: Option<f64>,
    /// What they are made of.
    pub material: Option<String>,
}

/// Where readings came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The file as the person named it.
    pub path: PathBuf,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

/// A readings file without an unanswered problem. Built only by the checker.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckedReadings {
    /// Where it came from.
    pub source: Source,
    /// What its comment lines say.
    pub conditions: Conditions,
    /// How many readings in all.
    pub readings: u64,
    /// Rows whose readings are all blank.
    pub not_measured: u64,
    /// Doubtful but usable: likely slips, named by line.
    pub warnings: Vec<Problem>,
    /// What the person set aside; no setup holds it.
    pub set_aside: Vec<SetAsideReading>,
    trials: Vec<trials::Trial>,
    tables: Vec<(String, SetupTable)>,
    exposed: Vec<exposure::Exposed>,
    definitions: Vec<Definition>,
}

impl CheckedReadings {
    /// How many setups.
    pub fn setup_count(&self) -> usize {
        self.tables.len()
    }

    /// The readings of one setup, by its number from 0 in order of first appearance.
    ///
    /// They are kept small and unfolded here, so that a file of a thousand setups never is in memory
    /// unfolded as a whole. `None` when there are not so many setups.
    pub fn setup(&self, number: usize) -> Option<SetupReadings> {
        self.tables.get(number).map(|(name, table)| table.expand(name, &self.definitions))
    }

    /// The same without unfolding them.
    pub(crate) fn view(&self, number: usize) -> Option<SetupView<'_>> {
        self.tables.get(number).map(|(name, table)| SetupView::folded(name, table, &self.definitions))
    }

    /// The setups, in order of first appearance, each unfolded when its turn comes.
    pub fn setups(&self) -> impl Iterator<Item = SetupReadings> {
        self.tables.iter().map(|(name, table)| table.expand(name, &self.definitions))
    }
}

/// What a coupon set says of a feature: given coupon and feature, its kind and nominal size in mm.
pub type KnownFeature<'a> = &'a dyn Fn(&str, &str) -> Option<(Kind, f64)>;

/// What the coupon sets that come with the program say of a feature.
fn shipped(coupon: &str, feature: &str) -> Option<(Kind, f64)> {
    if coupon.is_empty() {
        return None;
    }
    coupon::known_feature(coupon, feature).map(|known| (known.kind, known.nominal_mm))
}

/// Reads and checks a file, or says everything that is wrong with it, warnings included.
///
/// Rows of coupons that come with the program are checked against their sets.
pub fn read_file(path: &Path) -> Result<CheckedReadings, Vec<Problem>> {
    read_file_against(path, &shipped)
}

/// The same, checking rows against other coupon sets.
pub fn read_file_against(path: &Path, known: KnownFeature<'_>) -> Result<CheckedReadings, Vec<Problem>> {
    let unreadable = |error: &io::Error| vec![unreadable(path, error)];
    let file = File::open(path).map_err(|error| unreadable(&error))?;
    let is_file = file.metadata().map_err(|error| unreadable(&error))?.is_file();
    if is_file {
        match read_stream(path, &file, known) {
            Ok(result) => return result,
            Err(Interrupted::Io(error)) => return Err(unreadable(&error)),
            // Read again from the start, as a whole.
            Err(Interrupted::NotUtf8 | Interrupted::NotBySetup) => {}
        }
    }
    let mut bytes = Vec::new();
    let mut again = if is_file { File::open(path).map_err(|error| unreadable(&error))? } else { file };
    again.read_to_end(&mut bytes).map_err(|error| unreadable(&error))?;
    read_bytes_against(path, &bytes, known)
}

fn unreadable(path: &Path, error: &io::Error) -> Problem {
    let problem = Problem::error(Location::file(path), format!("cannot read: {error}"));
    problem.help_if(files::advice(error))
}

/// Reads and checks the bytes of a file; `name` is used where problems and the source name the file.
pub fn read_bytes(name: &Path, bytes: &[u8]) -> Result<CheckedReadings, Vec<Problem>> {
    read_bytes_against(name, bytes, &shipped)
}

/// The same, checking rows against other coupon sets.
pub fn read_bytes_against(
    name: &Path,
    bytes: &[u8],
    known: KnownFeature<'_>,
) -> Result<CheckedReadings, Vec<Problem>> {
    let unreadable =
        |message: String, help: &str| vec![Problem::error(Location::file(name), message).help(help)];
    if let Ok(result) = read_stream(name, bytes, known) {
        return result;
    }
    let text = decode::whole(bytes).map_err(|error| unreadable(error.to_string(), error.help()))?;
    let checked = read_stream(name, text.as_bytes(), known)
        .map_err(|_| unreadable("this is not a text file".to_owned(), "give the readings sheet"))?;
    checked.map(|checked| CheckedReadings {
        source: Source { path: name.to_owned(), sha256: hexadecimal(Sha256::digest(bytes).as_slice()) },
        ..checked
    })
}

/// Reads what can be read as UTF-8 from its beginning to its end.
fn read_stream<R: Read + Send>(
    path: &Path,
    stream: R,
    known: KnownFeature<'_>,
) -> Result<Result<CheckedReadings, Vec<Problem>>, Interrupted> {
    let mut hash = Sha256::new();
    let mut stream = Hashed { inner: stream, hash: Some(&mut hash) };
    let Top { layout, rows: head, is_all } = match top(&mut stream)? {
        Ok(top) => top,
        Err(problems) => return Ok(Err(check::placed(path, problems))),
    };
    let threads = if is_all { 1 } else { cores::threads() };
    let gathered = gather::gather(threads, head, &mut stream, &layout)?;
    let source = Source { path: path.to_owned(), sha256: hexadecimal(hash.finalize().as_slice()) };
    Ok(check::check(gathered, layout, source, known))
}

/// The beginning of a file: its layout, and the rows that were read with it.
struct Top {
    layout: layout::Layout,
    rows: Vec<u8>,
    /// The file has no more rows.
    is_all: bool,
}

/// Reads the first block of a file, or says what is wrong with its header.
fn top(stream: &mut impl Read) -> Result<Result<Top, Vec<Problem>>, Interrupted> {
    let mut head = Vec::new();
    let got = stream.take(BLOCK as u64).read_to_end(&mut head).map_err(Interrupted::Io)?;
    let mark = decode::mark_of_utf8(&head).ok_or(Interrupted::NotUtf8)?;
    head.drain(..mark);
    Ok(layout::read(&head).map(|mut layout| {
        head.drain(..layout.body);
        layout.body = 0;
        Top { layout, rows: head, is_all: got < BLOCK }
    }))
}

/// Hashes what is read through it.
struct Hashed<'a, R> {
    inner: R,
    /// `None` where nobody asks for it.
    hash: Option<&'a mut Sha256>,
}

impl<R: Read> Read for Hashed<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(buffer)?;
        if let Some(hash) = &mut self.hash {
            hash.update(&buffer[..got]);
        }
        Ok(got)
    }
}

/// SHA-256 of a file, lower-case hexadecimal, as [`Source`] has it.
pub(crate) fn sha256_of_file(path: &Path) -> Result<String, Vec<Problem>> {
    let mut hash = Sha256::new();
    let read = File::open(path).and_then(|inner| {
        let mut file = io::BufReader::with_capacity(BLOCK, Hashed { inner, hash: Some(&mut hash) });
        io::copy(&mut file, &mut io::sink())
    });
    read.map_err(|error| vec![unreadable(path, &error)])?;
    Ok(hexadecimal(hash.finalize().as_slice()))
}

/// SHA-256 of these bytes, lower-case hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hexadecimal(Sha256::digest(bytes).as_slice())
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Problems that a person reads before he starts to correct.
const PRINTED: usize = 50;

/// Of a command that is not about the sheet itself, so many warnings of a file are printed.
const BESIDE: usize = 8;

/// The warnings that a command prints beside its own answer: the first few, and where the others are listed.
pub fn few_warnings(readings: &CheckedReadings) -> Vec<Problem> {
    let (path, warnings) = (&readings.source.path, &readings.warnings);
    let mut printed: Vec<Problem> = warnings.iter().take(BESIDE).cloned().collect();
    if warnings.len() > BESIDE {
        let more = warnings.len() - BESIDE;
        let message = format!("and {more} more; `shrinkrule readings {}` lists them", path.display());
        printed.push(Problem::warning(Location::file(path), message));
    }
    printed
}

/// The problems to print, and the line that sums all up: `3 problems in readings.csv; nothing was read`.
///
/// Of a long list the first fifty are printed. `outcome` is what did not happen because of them.
pub fn summed_up(path: &Path, problems: &[Problem], outcome: &str) -> (Vec<Problem>, String) {
    let errors = problems.iter().filter(|problem| problem.severity == Severity::Error).count();
    let count = if errors > gather::MOST_PROBLEMS {
        format!("more than {} problems", gather::MOST_PROBLEMS)
    } else {
        counted(errors as u64, "problem")
    };
    let mut printed: Vec<Problem> = problems.iter().take(PRINTED).cloned().collect();
    if problems.len() > PRINTED {
        let (place, message) =
            (Location::file(path), format!("and {} more like these", problems.len() - PRINTED));
        printed.push(if errors > 0 {
            Problem::error(place, message)
        } else {
            Problem::warning(place, message)
        });
    }
    (printed, format!("{count} in {}; {outcome}", path.display()))
}
