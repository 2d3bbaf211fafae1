//! The only place that touches the streams: results to stdout, everything else to stderr.

use std::io::{self, IsTerminal as _, Write};
use std::time::{Duration, Instant};

use anstream::AutoStream;
use anstyle::{AnsiColor, Style};
use clap::ValueEnum;
use serde::Serialize;

use crate::problem::{Problem, Severity};

/// When to colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ColorChoice {
    /// On a terminal, unless `NO_COLOR` is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Where a command's words go, and what the person asked for that every command shares.
pub struct Output {
    stdout: Box<dyn Write>,
    stderr: Box<dyn Write>,
    /// One JSON document instead of a table.
    pub json: bool,
    /// Existing files may be overwritten.
    pub force: bool,
    quiet: bool,
    /// Whether a person looks at stderr while the command runs.
    watched: bool,
}

/// Nobody wants to watch a number that is gone before it can be read.
const FIRST_TICK: Duration = Duration::from_millis(500);

/// How often the number changes.
const TICK: Duration = Duration::from_millis(200);

/// How far long work has come, on one line of the terminal that is written over and in the end removed.
pub struct Ticker {
    watched: bool,
    next: Instant,
    shown: bool,
}

impl Ticker {
    /// Shows `line` when it is time to.
    pub fn show(&mut self, line: impl FnOnce() -> String) {
        if self.watched && Instant::now() >= self.next {
            self.next = Instant::now() + TICK;
            self.shown = true;
            // What cannot be shown is no loss.
            let _ = write!(io::stderr(), "\r{}\u{1b}[K", line());
        }
    }
}

impl Drop for Ticker {
    fn drop(&mut self) {
        if self.shown {
            let _ = write!(io::stderr(), "\r\u{1b}[K");
        }
    }
}

impl Output {
    /// The process's own streams.
    pub fn standard(json: bool, quiet: bool, force: bool, color: ColorChoice) -> Self {
        let choice = match color {
            ColorChoice::Auto => anstream::ColorChoice::Auto,
            ColorChoice::Always => anstream::ColorChoice::Always,
            ColorChoice::Never => anstream::ColorChoice::Never,
        };
        Self {
            stdout: Box::new(AutoStream::new(io::stdout(), choice)),
            stderr: Box::new(AutoStream::new(io::stderr(), choice)),
            json,
            force,
            quiet,
            watched: io::stderr().is_terminal(),
        }
    }

    /// Streams of the caller's own, as tests and the demo use.
    pub fn to(stdout: Box<dyn Write>, stderr: Box<dyn Write>) -> Self {
        Self { stdout, stderr, json: false, force: false, quiet: false, watched: false }
    }

    /// Shows how far work has come that takes seconds: only on a terminal, and not with `--quiet`.
    pub fn ticker(&self) -> Ticker {
        Ticker { watched: self.watched && !self.quiet, next: Instant::now() + FIRST_TICK, shown: false }
    }

    /// The command's result, as [`Self::result`], of which the JSON document was written already.
    pub fn result_from(&mut self, text: &str, document: &mut impl io::Read) -> io::Result<()> {
        if self.json {
            io::copy(document, &mut self.stdout)?;
            self.stdout.flush()
        } else {
            self.text(text)
        }
    }

    fn text(&mut self, text: &str) -> io::Result<()> {
        self.stdout.write_all(text.as_bytes())?;
        if !text.ends_with('\n') {
            writeln!(self.stdout)?;
        }
        self.stdout.flush()
    }

    /// The command's result: `text` for a person, or `value` as one JSON document.
    pub fn result(&mut self, text: &str, value: &impl Serialize) -> io::Result<()> {
        if self.json {
            // The stream is not buffered, and a long list has a hundred thousand little pieces.
            let mut document = serde_json::to_vec_pretty(value)?;
            document.push(b'\n');
            self.stdout.write_all(&document)?;
            self.stdout.flush()
        } else {
            self.text(text)
        }
    }

    /// A line on the way: what is being done, what was written. Not shown with `--quiet`.
    pub fn progress(&mut self, line: &str) -> io::Result<()> {
        if self.quiet { Ok(()) } else { writeln!(self.stderr, "{line}") }
    }

    /// Problems that did not stop the work.
    pub fn warnings(&mut self, problems: &[Problem]) -> io::Result<()> {
        problems.iter().try_for_each(|problem| self.problem(problem))
    }

    /// Problems that did stop it, and the line that sums up.
    pub fn failure(&mut self, problems: &[Problem], summary: &str) -> io::Result<()> {
        self.warnings(problems)?;
        if summary.is_empty() { Ok(()) } else { writeln!(self.stderr, "{summary}") }
    }

    fn problem(&mut self, problem: &Problem) -> io::Result<()> {
        let color = match problem.severity {
            Severity::Warning => AnsiColor::Yellow,
            Severity::Error => AnsiColor::Red,
        };
        let style: Style = color.on_default().bold();
        let text = problem.to_string();
        match text.split_once(':') {
            Some((word, rest)) => writeln!(self.stderr, "{style}{word}{style:#}:{rest}"),
            None => writeln!(self.stderr, "{text}"),
        }
    }
}
