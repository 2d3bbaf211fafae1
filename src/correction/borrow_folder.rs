//! The corrections of a folder as lenders: which may lend to a setup, and which not and why.
//!
//! Read in the order of their names. A correction never lends to the very readings that it was fitted to,
//! the sheet that was pooled with them included, and of several fits of one setup's same readings only the
//! first lends: each reading counts once.

use std::fs;
use std::path::{Path, PathBuf};

use crate::files::FileError;
use crate::problem::{Location, Problem};

use super::Correction;
use super::borrow::{Borrowed, FEWEST, lend};
use super::structured::lent::Lent;

/// The end of a correction file's name.
const ENDING: &str = ".correction.toml";

/// Corrections that can lend.
#[derive(Debug)]
pub struct Lenders {
    corrections: Vec<Correction>,
    /// Those of the folder that cannot, each with the reason.
    pub left_out: Vec<Problem>,
}

/// Whether two corrections rest on readings of the same setup that are in both, pooled ones included.
fn same_readings(one: &Correction, other: &Correction) -> bool {
    let theirs = other.sheets();
    one.setup == other.setup && one.sheets().iter().any(|sheet| theirs.contains(sheet))
}

impl Lenders {
    /// Reads every correction of a folder; what cannot lend is left out and said.
    ///
    /// # Errors
    /// When the folder cannot be read.
    pub fn read(folder: &Path) -> Result<Self, FileError> {
        let refused = |source| FileError::Io { path: folder.to_owned(), purpose: "read this folder", source };
        let entries = fs::read_dir(folder).map_err(refused)?;
        let mut paths: Vec<PathBuf> = Vec::new();
        for entry in entries {
            let path = entry.map_err(refused)?.path();
            if path.file_name().is_some_and(|name| name.to_string_lossy().ends_with(ENDING)) {
                paths.push(path);
            }
        }
        paths.sort();
        let mut lenders = Self { corrections: Vec::new(), left_out: Vec::new() };
        for path in paths {
            let left_out = |why: String| {
                Problem::warning(Location::file(&path), format!("this correction lends nothing: {why}"))
            };
            match Correction::read(&path) {
                Err(error) => {
                    let first = error.to_string().lines().next().unwrap_or_default().to_owned();
                    lenders.left_out.push(left_out(first));
                }
                Ok(correction) => match correction.cannot_lend() {
                    Some(why) => lenders.left_out.push(left_out(why.to_owned())),
                    None if lenders.corrections.iter().any(|other| same_readings(other, &correction)) => {
                        lenders.left_out.push(left_out("another file has the same readings".to_owned()));
                    }
                    None => lenders.corrections.push(correction),
                },
            }
        }
        Ok(lenders)
    }

    fn of<'a>(&'a self, borrower: &Correction) -> Vec<&'a Correction> {
        self.corrections.iter().filter(|lender| !same_readings(lender, borrower)).collect()
    }

    /// What they lend to a setup that was fitted by itself; `None` when they are too few.
    pub fn lend_to(&self, alone: &Correction) -> Option<Lent> {
        lend(&self.of(alone))
    }

    /// What to say when they are too few.
    pub fn too_few(&self, folder: &Path, alone: &Correction) -> Problem {
        let count = match self.of(alone).len() {
            0 => "no correction that lends".to_owned(),
            1 => "one correction that lends".to_owned(),
            count => format!("{count} corrections that lend, and nothing that they have in common"),
        };
        let message = format!(
            "{}: {count} here; it takes {FEWEST} to tell how far setups differ, so nothing was borrowed",
            alone.setup
        );
        Problem::warning(Location::file(folder), message)
    }

    /// What a fit has borrowed from them.
    pub fn compare(&self, lent: &Lent, alone: &Correction, together: &Correction) -> Borrowed {
        let names = self.of(alone).iter().map(|lender| lender.setup.clone()).collect();
        Borrowed::new(names, lent, alone, together)
    }
}
