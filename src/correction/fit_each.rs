//! Fits every setup of a long sheet while it is read: a workshop's printers over years.
//!
//! Neither the readings nor the fits are in memory as a whole; see [`crate::readings::by_setup`] for how
//! the sheet is cut. Each setup's fit is that of [`super::fit::fit_all`], on any number of threads.

use std::path::Path;

use crate::problem::Problem;
use crate::readings::by_setup::{Ended, Going, Seen, Taken, each_setup};
use crate::readings::{Source, sha256_of_file};

use super::fit::{FitError, FitOptions, fit_view};
use super::fitted::Fit;

/// The fits of a sheet, each as soon as it is there.
pub(crate) struct FitEach<'a> {
    /// The sheet.
    pub(crate) path: &'a Path,
    pub(crate) options: &'a FitOptions,
    /// How many threads fit.
    pub(crate) threads: usize,
    /// Whether the fits are to hold the SHA-256 of the sheet, which takes reading it twice.
    pub(crate) with_source: bool,
}

impl FitEach<'_> {
    /// Calls `finish` with every setup's fit, on any thread, and `take` with what that gave, in the sheet's
    /// order. `begin` is called before the first, and again when all that was taken is void.
    pub(crate) fn run<R: Send, E: Send>(
        &self,
        begin: impl FnMut() -> Result<(), E>,
        finish: impl Fn(Result<Fit, FitError>) -> R + Sync,
        take: impl FnMut(Taken<R>) -> Result<(), E> + Send,
    ) -> Result<Seen, Ended<E>> {
        let sha256 = if self.with_source {
            sha256_of_file(self.path).map_err(Ended::Problems)?
        } else {
            String::new()
        };
        let source = Source { path: self.path.to_owned(), sha256 };
        let going = Going { threads: self.threads, hashed: self.with_source };
        let seen = each_setup(
            self.path,
            going,
            begin,
            |view, conditions| finish(fit_view(view, conditions, self.options, &source)),
            take,
        )?;
        if self.with_source && seen.sha256.as_ref() != Some(&source.sha256) {
            let place = crate::problem::Location::file(self.path);
            let problem = Problem::error(place, "this file was changed while it was read");
            return Err(Ended::Problems(vec![
                problem.help("fit it again when nothing writes to it any more"),
            ]));
        }
        Ok(seen)
    }
}
