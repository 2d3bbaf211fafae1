//! A file setup by setup: for sheets so long that neither their readings nor what is made of them should
//! be in memory as a whole.
//!
//! The rows of one setup mostly stand together. So the file is cut where one setup ends and the next
//! begins, and each piece is read, checked and worked on by itself, on all cores; only results are put
//! together, in file order. A setup that comes back later in the file, or one of more rows than a piece may
//! have, is found out on the way: then everything begins anew with all readings in memory, 24 bytes for a
//! feature of a print and 40 more where it was read again.
//!
//! Either way every setup's readings are those that [`super::read_file`] finds in the file, to the last
//! bit, and so are the problems.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use sha2::{Digest, Sha256};

use crate::cores;
use crate::problem::Problem;

use super::block::Block;
use super::check::{self, OfSetups};
use super::gather::{Blocks, Interrupted, LIMITS, Totals};
use super::intern::Interner;
use super::layout::Layout;
use super::records::{Workspace, start_of_last_setup};
use super::{Conditions, Hashed, SetupView, Top, hexadecimal, read_file, rows, shipped, top, unreadable};

/// Rows of one setup that may be read in one piece, in bytes: about a hundred thousand readings.
const LONGEST: usize = 4 * 1024 * 1024;

/// Setups that are worked on together once all readings are in memory.
const AT_A_TIME: usize = 16;

/// How a sheet is gone through.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Going {
    /// On how many threads.
    pub(crate) threads: usize,
    /// Whether to take the SHA-256 of the file as well.
    pub(crate) hashed: bool,
}

/// What was made of one setup.
#[derive(Debug)]
pub(crate) struct Taken<R> {
    /// The setup's number, from 0 in order of first appearance.
    pub(crate) number: usize,
    pub(crate) setup: String,
    pub(crate) result: R,
    /// The share of the work that is done with it, 0 to 1.
    pub(crate) share: f64,
}

/// What a sheet was besides its setups.
#[derive(Debug)]
pub(crate) struct Seen {
    pub(crate) setups: usize,
    pub(crate) conditions: Conditions,
    /// Doubtful but usable, as in [`super::CheckedReadings`].
    pub(crate) warnings: Vec<Problem>,
    /// Of the file, where it was asked for.
    pub(crate) sha256: Option<String>,
}

/// Why a sheet was not gone through to its end.
#[derive(Debug)]
pub(crate) enum Ended<E> {
    /// It cannot be read, or every problem in it.
    Problems(Vec<Problem>),
    /// It says how real pieces feel or what they went through, which is known of whole files only.
    TakesAll,
    /// Who took the results would have no more.
    By(E),
}

/// Has `work` done on every setup of a file, and its results taken in the file's order.
///
/// `begin` is called before the first setup, and once more when all that was taken is void because the
/// setups' rows do not stand together. What was taken is void as well when the file has a problem.
pub(crate) fn each_setup<R: Send, E: Send>(
    path: &Path,
    going: Going,
    mut begin: impl FnMut() -> Result<(), E>,
    work: impl Fn(SetupView<'_>, &Conditions) -> R + Sync,
    mut take: impl FnMut(Taken<R>) -> Result<(), E> + Send,
) -> Result<Seen, Ended<E>> {
    begin().map_err(Ended::By)?;
    match in_pieces(path, going, &work, &mut take) {
        Err(Stopped::Interrupted(Interrupted::Io(error))) => {
            Err(Ended::Problems(vec![unreadable(path, &error)]))
        }
        Err(Stopped::Interrupted(_)) => {
            begin().map_err(Ended::By)?;
            all_in_memory(path, going, &work, &mut take)
        }
        Err(Stopped::Ended(ended)) => Err(ended),
        Ok(seen) => Ok(seen),
    }
}

enum Stopped<E> {
    Interrupted(Interrupted),
    Ended(Ended<E>),
}

impl<E> From<Interrupted> for Stopped<E> {
    fn from(interrupted: Interrupted) -> Self {
        Self::Interrupted(interrupted)
    }
}

/// Whole setups, and where they stand in the file.
struct Piece {
    text: Vec<u8>,
    lines_above: u64,
    /// Bytes of the file up to its end.
    through: u64,
}

/// What a piece came to.
struct Done<R> {
    block: Block,
    found: OfSetups,
    setups: Vec<(String, R)>,
    through: u64,
}

fn in_pieces<R: Send, E: Send>(
    path: &Path,
    going: Going,
    work: &(impl Fn(SetupView<'_>, &Conditions) -> R + Sync),
    take: &mut (impl FnMut(Taken<R>) -> Result<(), E> + Send),
) -> Result<Seen, Stopped<E>> {
    let file = File::open(path).map_err(Interrupted::Io)?;
    let size = file.metadata().map_err(Interrupted::Io)?.len();
    let mut hash = going.hashed.then(Sha256::new);
    let mut stream = Hashed { inner: file, hash: hash.as_mut() };
    let Top { layout, rows, .. } = match top(&mut stream)? {
        Ok(top) => top,
        Err(problems) => return Err(Stopped::Ended(Ended::Problems(check::placed(path, problems)))),
    };
    if layout.feel.is_some() || layout.exposure.is_some() {
        return Err(Stopped::Ended(Ended::TakesAll));
    }
    let column = layout.setup.ok_or(Interrupted::NotBySetup)?;
    let mut pieces = Pieces { blocks: Blocks::new(rows, stream), lines: layout.lines_above, through: 0 };
    let mut totals = Totals::new(&layout);
    let mut found = OfSetups::default();
    let mut names = Interner::default();
    let mut setups = 0;
    // With a problem in the file nothing will come of it, and only the other problems are looked for.
    let hopeless = AtomicBool::new(false);
    cores::in_order(
        going.threads,
        || pieces.next(&layout, column).map_err(Stopped::from),
        Workspace::default,
        |workspace, piece: Piece| worked_on(piece, &layout, workspace, &hopeless, work),
        |done| {
            let mut done = done?;
            for (setup, result) in done.setups.drain(..) {
                let (number, is_new) = names.number(setup.as_bytes());
                if !is_new {
                    return Err(Interrupted::NotBySetup.into());
                }
                setups = number + 1;
                let share = done.through as f64 / size.max(1) as f64;
                take(Taken { number, setup, result, share })
                    .map_err(|error| Stopped::Ended(Ended::By(error)))?;
            }
            totals.add(done.block);
            found.append(done.found);
            Ok(())
        },
    )?;
    drop(pieces);
    let warnings = check::answered(&totals, found, true, &layout, path);
    let warnings = warnings.map_err(|problems| Stopped::Ended(Ended::Problems(problems)))?;
    let sha256 = hash.map(|hash| hexadecimal(hash.finalize().as_slice()));
    Ok(Seen { setups, conditions: layout.conditions, warnings, sha256 })
}

struct Pieces<R> {
    blocks: Blocks<R>,
    /// Read so far.
    lines: u64,
    through: u64,
}

impl<R: Read> Pieces<R> {
    fn next(&mut self, layout: &Layout, column: usize) -> Result<Option<Piece>, Interrupted> {
        let cut = |text: &[u8]| start_of_last_setup(text, layout.delimiter, column);
        let Some(text) = self.blocks.next(LONGEST, cut)? else { return Ok(None) };
        let lines_above = self.lines;
        self.lines += feeds(&text);
        self.through += text.len() as u64;
        Ok(Some(Piece { text, lines_above, through: self.through }))
    }
}

/// How many line feeds there are; counted in bytes as long as they do not overflow, many at a time.
fn feeds(text: &[u8]) -> u64 {
    let of = |some: &[u8]| u64::from(some.iter().map(|byte| u8::from(*byte == b'\n')).sum::<u8>());
    text.chunks(192).map(of).sum()
}

fn worked_on<R, E>(
    piece: Piece,
    layout: &Layout,
    workspace: &mut Workspace,
    hopeless: &AtomicBool,
    work: &impl Fn(SetupView<'_>, &Conditions) -> R,
) -> Result<Done<R>, Stopped<E>> {
    if std::str::from_utf8(&piece.text).is_err() {
        return Err(Interrupted::NotUtf8.into());
    }
    let mut block = rows::read(&piece.text, layout, workspace, LIMITS);
    let same: Vec<u32> = (0..).take(block.definitions.len()).collect();
    let tables: Vec<_> = block
        .setups
        .drain(..)
        .map(|(heading, table)| (heading, table.moved(&same, piece.lines_above)))
        .collect();
    let found = check::of_setups(&block.definitions, &tables, layout, &shipped);
    if !block.problems.kept.is_empty() {
        hopeless.store(true, Ordering::Relaxed);
    }
    let wanted = if hopeless.load(Ordering::Relaxed) { &[] } else { &tables[..] };
    let results: Vec<R> = wanted
        .iter()
        .map(|(heading, table)| {
            work(SetupView::folded(&heading.setup, table, &block.definitions), &layout.conditions)
        })
        .collect();
    let setups = tables.into_iter().map(|(heading, _)| heading.setup).zip(results).collect();
    Ok(Done { block, found, setups, through: piece.through })
}

fn all_in_memory<R: Send, E: Send>(
    path: &Path,
    going: Going,
    work: &(impl Fn(SetupView<'_>, &Conditions) -> R + Sync),
    take: &mut (impl FnMut(Taken<R>) -> Result<(), E> + Send),
) -> Result<Seen, Ended<E>> {
    let checked = read_file(path).map_err(Ended::Problems)?;
    let count = checked.setup_count();
    let mut starts = (0..count).step_by(AT_A_TIME);
    cores::in_order(
        going.threads,
        || Ok(starts.next()),
        || (),
        |(), start: usize| {
            let numbers = start..(start + AT_A_TIME).min(count);
            let views = numbers.filter_map(|number| Some((number, checked.view(number)?)));
            let worked = |(number, view): (usize, SetupView<'_>)| {
                (number, view.name.to_owned(), work(view, &checked.conditions))
            };
            views.map(worked).collect::<Vec<(usize, String, R)>>()
        },
        |results| {
            for (number, setup, result) in results {
                let share = (number + 1) as f64 / count as f64;
                take(Taken { number, setup, result, share })?;
            }
            Ok(())
        },
    )
    .map_err(Ended::By)?;
    Ok(Seen {
        setups: count,
        conditions: checked.conditions,
        warnings: checked.warnings,
        sha256: Some(checked.source.sha256),
    })
}
