//! One problem, where it is, and what to do about it; and the printed form of a list of them.
//!
//! ```text
//! error: readings/petg-1.csv:14: reading_2_mm: `12.o4` is not a number
//!   help: did you mean 12.04?
//! ```

use std::fmt;
use std::path::PathBuf;

/// Where a problem is. Every part is optional, since a missing column has no line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Location {
    /// The file, as the person named it.
    pub file: Option<PathBuf>,
    /// Line in the file, from 1.
    pub line: Option<u64>,
    /// Column by its header name, or a dotted key in a TOML file.
    pub column: Option<String>,
}

impl Location {
    /// A place in `file` as a whole.
    pub fn file(file: impl Into<PathBuf>) -> Self {
        Self { file: Some(file.into()), ..Self::default() }
    }

    /// The same place, on a line.
    #[must_use]
    pub fn line(mut self, line: u64) -> Self {
        self.line = Some(line);
        self
    }

    /// The same place, in a column.
    #[must_use]
    pub fn column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self
    }
}

impl fmt::Display for Location {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut separator = "";
        if let Some(file) = &self.file {
            write!(f, "{}", file.display())?;
            separator = ":";
        }
        if let Some(line) = self.line {
            write!(f, "{separator}{line}")?;
            separator = ":";
        }
        if let Some(column) = &self.column {
            let space = if separator.is_empty() { "" } else { " " };
            write!(f, "{separator}{space}{column}")?;
        }
        Ok(())
    }
}

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Doubtful but usable.
    Warning,
    /// The input cannot be used.
    Error,
}

/// One thing wrong, where, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// How bad it is.
    pub severity: Severity,
    /// Where it is.
    pub location: Location,
    /// What was wrong, with the offending text: a lower-case phrase without a full stop.
    pub message: String,
    /// What the person can do about it.
    pub help: Option<String>,
}

impl Problem {
    /// An error at `location`.
    pub fn error(location: Location, message: impl Into<String>) -> Self {
        Self { severity: Severity::Error, location, message: message.into(), help: None }
    }

    /// A warning at `location`.
    pub fn warning(location: Location, message: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, location, message: message.into(), help: None }
    }

    /// The same problem with advice.
    #[must_use]
    pub fn help(self, help: impl Into<String>) -> Self {
        self.help_if(Some(help))
    }

    /// The same problem with advice, where there is any.
    #[must_use]
    pub fn help_if(mut self, help: Option<impl Into<String>>) -> Self {
        self.help = help.map(Into::into);
        self
    }
}

/// A count with its noun, whose plural ends in s: `1 problem`, `3 problems`.
pub fn counted(count: u64, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self.severity {
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
        let place = self.location.to_string();
        if place.is_empty() {
            write!(f, "{word}: {}", self.message)?;
        } else {
            write!(f, "{word}: {place}: {}", self.message)?;
        }
        if let Some(help) = &self.help {
            write!(f, "\n  help: {help}")?;
        }
        Ok(())
    }
}

/// The word of `known` nearest to `word` by edits, when it is near enough to be a slip of the pen.
///
/// Near enough: at most a third of the longer word's letters changed, and at least one slip allowed.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let letters = |text: &str| text.to_lowercase().chars().collect::<Vec<char>>();
    let word = letters(word);
    known
        .into_iter()
        .filter_map(|candidate| {
            let other = letters(candidate);
            let most = (word.len().max(other.len()) / 3).max(1);
            // A cell may hold a whole page; its table of edits against a word would be as long.
            let edits = (word.len().abs_diff(other.len()) <= most).then(|| edits(&word, &other))?;
            (edits <= most).then_some((edits, candidate))
        })
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, candidate)| candidate)
}

/// Insertions, deletions, replacements and swaps of neighbours that turn `a` into `b`.
fn edits(a: &[char], b: &[char]) -> usize {
    let mut table = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in table.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in table[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let replaced = table[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut best = replaced.min(table[i - 1][j] + 1).min(table[i][j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(table[i - 2][j - 2] + 1);
            }
            table[i][j] = best;
        }
    }
    table[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_reads_as_the_house_style_prints_it() {
        let problem = Problem::error(
            Location::file("readings/petg-1.csv").line(14).column("reading_2_mm"),
            "`12.o4` is not a number",
        )
        .help("did you mean 12.04?");
        assert_eq!(
            problem.to_string(),
            "error: readings/petg-1.csv:14: reading_2_mm: `12.o4` is not a number\n  help: did you mean 12.04?"
        );
    }

    #[test]
    fn a_place_without_a_line_or_a_file_still_reads_well() {
        assert_eq!(Location::file("a.toml").column("rings.bore_mm").to_string(), "a.toml: rings.bore_mm");
        assert_eq!(Location::default().column("--within").to_string(), "--within");
        assert_eq!(Problem::warning(Location::default(), "one print").to_string(), "warning: one print");
    }

    #[test]
    fn the_nearest_word_is_found_and_a_far_one_is_not_offered() {
        assert_eq!(nearest("nozle", ["name", "nozzle"]), Some("nozzle"));
        assert_eq!(nearest("brore", ["bore", "pin"]), Some("bore"));
        assert_eq!(nearest("length", ["bore", "pin", "span"]), None);
        // Letters count, however many bytes they take: one of three is wrong, and only a third may be.
        assert_eq!(nearest("é", ["bore"]), None);
        assert_eq!(nearest("ööre", ["bore"]), None);
    }

    #[test]
    fn a_word_as_long_as_a_book_is_near_nothing_and_costs_nothing() {
        // Its table of edits would take 120 GB.
        let book = "bore ".repeat(1_000_000);
        assert_eq!(nearest(&book, ["bore", "horizontal_bore"]), None);
    }

    #[test]
    fn one_is_counted_without_an_s() {
        assert_eq!([0, 1, 2].map(|count| counted(count, "row")), ["0 rows", "1 row", "2 rows"]);
    }
}
