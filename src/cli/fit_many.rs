//! `fit` of a long sheet of many setups: results are written while the sheet is read.
//!
//! What comes out is what `fit` gives of a short one. Sheets of which everything must be known at once, for
//! pictures, pages, feels or borrowing, are left to [`super::fit`].

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Seek as _, Write as _};
use std::sync::{Mutex, PoisonError};

use super::fit::{Args, cannot_fit, correction_name, names_meet, none_can_be_written, unreadable};
use super::output::{Output, Ticker};
use super::{Error, Status};
use crate::correction::answer::SetupAnswer;
use crate::correction::fit::{FitError, FitOptions};
use crate::correction::fit_each::FitEach;
use crate::correction::fitted::Fit;
use crate::correction::tally::{Summary, TABLE_HEADER, table_rows};
use crate::files::{FileError, FolderFiles, Outputs};
use crate::problem::{Problem, counted};
use crate::readings::by_setup::{Ended, Taken};

/// Shorter sheets are read at once, in a few hundredths of a second.
const LONG: u64 = 2 * 1024 * 1024;

/// Problems that are kept; a longer list helps nobody.
const MOST_PROBLEMS: usize = 10_000;

/// Runs the command where the sheet is long and its setups can be fitted one after the other; `None` where
/// that cannot be.
pub(super) fn run(args: &Args, options: &FitOptions, output: &mut Output) -> Result<Option<Status>, Error> {
    let is_long = std::fs::metadata(&args.file).is_ok_and(|file| file.is_file() && file.len() > LONG);
    let names_a_file = args.out.as_ref().is_some_and(|out| out.extension().is_some() && !out.is_dir());
    if !is_long || names_a_file || args.needs_all() {
        return Ok(None);
    }
    let mut outputs = Outputs::new(output.force).keeping([&args.file]);
    let folder = args.out.as_deref().map(|out| FolderFiles::begin(out, output.force)).transpose()?;
    let table = args.table.as_deref().map(|table| outputs.open(table)).transpose()?;
    let with_json = output.json;
    let written = Mutex::new(Written::new(table, output)?);
    let locked = || written.lock().unwrap_or_else(PoisonError::into_inner);
    let each = FitEach { path: &args.file, options, threads: args.threads(), with_source: folder.is_some() };
    let begin = || -> Result<(), Error> {
        folder.as_ref().map_or(Ok(()), FolderFiles::clear)?;
        Ok(locked().begin()?)
    };
    let finish = |fit| Finished::of(fit, folder.as_ref(), args.table.is_some(), with_json);
    let seen = match each.run(begin, finish, |taken| locked().take(taken, args)) {
        Ok(seen) if seen.setups > 1 => seen,
        Ok(_) | Err(Ended::TakesAll) => return Ok(None),
        Err(Ended::By(error)) => return Err(error),
        Err(Ended::Problems(problems)) => return Err(unreadable(&args.file, &problems)),
    };
    let mut written = written.into_inner().unwrap_or_else(PoisonError::into_inner);
    drop(written.ticker);
    if written.cannot > 0 {
        return Err(none_can_be_written(written.problems, written.cannot, seen.setups));
    }
    output.warnings(&seen.warnings)?;
    output.warnings(&written.summary.warnings())?;
    if let Some(table) = &mut written.table {
        table.flush()?;
    }
    let mut document = written.json.take().map(Document::finish).transpose()?;
    let mut paths = Vec::new();
    if let (Some(folder), Some(out)) = (folder, &args.out) {
        folder.commit()?;
        paths.push(out.clone());
    }
    paths.extend(outputs.commit()?);
    let text = written.summary.to_text(seen.conditions.caliper_error_mm.is_some());
    match &mut document {
        Some(document) => output.result_from(&text, document)?,
        None => output.result_from(&text, &mut io::empty())?,
    }
    for path in paths {
        output.progress(&format!("wrote {}", path.display()))?;
    }
    Ok(Some(Status::Done))
}

/// What one setup's fit is written as.
struct Finished {
    fit: Result<Fit, FitError>,
    rows: String,
    json: Vec<u8>,
    file: Result<(), FileError>,
}

impl Finished {
    fn of(
        fit: Result<Fit, FitError>,
        folder: Option<&FolderFiles>,
        with_rows: bool,
        with_json: bool,
    ) -> Result<Self, Error> {
        let mut finished = Self { fit, rows: String::new(), json: Vec::new(), file: Ok(()) };
        let Ok(fit) = &finished.fit else { return Ok(finished) };
        let correction = &fit.correction;
        if with_rows {
            finished.rows = table_rows(correction);
        }
        if with_json {
            finished.json = serde_json::to_vec_pretty(&SetupAnswer::of(fit)).map_err(io::Error::from)?;
        }
        if let Some(folder) = folder {
            let toml = correction.to_toml(fit.first_layer.as_ref());
            finished.file = folder.write(&correction_name(&correction.setup), toml.as_bytes());
        }
        Ok(finished)
    }
}

/// What is written in the sheet's order.
struct Written {
    table: Option<BufWriter<File>>,
    json: Option<Document>,
    summary: Summary,
    /// The setup of each correction file, by the file's name.
    names: BTreeMap<String, String>,
    problems: Vec<Problem>,
    /// Setups that cannot be fitted.
    cannot: usize,
    ticker: Ticker,
}

impl Written {
    fn new(table: Option<File>, output: &Output) -> Result<Self, Error> {
        Ok(Self {
            table: table.map(|file| BufWriter::with_capacity(BUFFER, file)),
            json: output.json.then(Document::begin).transpose()?,
            summary: Summary::default(),
            names: BTreeMap::new(),
            problems: Vec::new(),
            cannot: 0,
            ticker: output.ticker(),
        })
    }

    /// Forgets what was taken.
    fn begin(&mut self) -> io::Result<()> {
        if let Some(table) = &mut self.table {
            table.rewind()?;
            table.get_ref().set_len(0)?;
            table.write_all(TABLE_HEADER.as_bytes())?;
        }
        if self.json.is_some() {
            self.json = Some(Document::begin()?);
        }
        self.summary = Summary::default();
        self.names.clear();
        self.problems.clear();
        self.cannot = 0;
        Ok(())
    }

    fn take(&mut self, taken: Taken<Result<Finished, Error>>, args: &Args) -> Result<(), Error> {
        self.ticker
            .show(|| format!("{:3.0} %  {}", 100.0 * taken.share, counted(taken.number as u64 + 1, "setup")));
        let finished = taken.result?;
        if let Some(out) = &args.out {
            let name = correction_name(&taken.setup);
            if let Some(other) = self.names.insert(name, taken.setup.clone()) {
                return Err(names_meet(out, &other, &taken.setup));
            }
        }
        let fit = match finished.fit {
            Ok(fit) => fit,
            Err(error) => {
                self.cannot += 1;
                if self.problems.len() < MOST_PROBLEMS {
                    self.problems.push(cannot_fit(&args.file, &taken.setup, &error));
                }
                return Ok(());
            }
        };
        match finished.file {
            // The other setup of this name comes later, and is told then.
            Ok(()) | Err(FileError::Twice { .. }) => {}
            Err(error) => return Err(error.into()),
        }
        if let Some(table) = &mut self.table {
            table.write_all(finished.rows.as_bytes())?;
        }
        if let Some(json) = &mut self.json {
            json.add(&finished.json)?;
        }
        self.summary.add(fit);
        Ok(())
    }
}

const BUFFER: usize = 256 * 1024;

/// The JSON document, in a file without a name until it is whole: what fails half way prints nothing.
struct Document {
    file: BufWriter<File>,
    is_first: bool,
}

impl Document {
    fn begin() -> io::Result<Self> {
        let mut file = BufWriter::with_capacity(BUFFER, tempfile::tempfile()?);
        file.write_all(b"{\n  \"setups\": [")?;
        Ok(Self { file, is_first: true })
    }

    /// Adds a setup, indented as a part of the whole; a line end within a text is written as `\n`.
    fn add(&mut self, setup: &[u8]) -> io::Result<()> {
        if !std::mem::take(&mut self.is_first) {
            self.file.write_all(b",")?;
        }
        for line in setup.split(|byte| *byte == b'\n') {
            self.file.write_all(b"\n    ")?;
            self.file.write_all(line)?;
        }
        Ok(())
    }

    /// The whole document, from its beginning.
    fn finish(mut self) -> io::Result<File> {
        self.file.write_all(b"\n  ]\n}\n")?;
        let mut file = self.file.into_inner().map_err(io::IntoInnerError::into_error)?;
        file.rewind()?;
        Ok(file)
    }
}
