//! The history of a correction's verifications: a CSV file with one row each.
//!
//! A row holds both shifts with the spread that was predicted for them, and the part of it that later rows
//! share (see [`chart`]). Spreads that rest on few prints have long tails; what is written is the standard
//! deviation of the normal distribution that 95 % would stay within as far.
//!
//! The file is read whole and written whole, in the separator and the decimal mark that it has, and a file
//! with other columns is refused: it is somebody's, and not a history.

pub mod answer;
pub mod chart;

use std::path::Path;

use jiff::civil::Date;

use crate::problem::{Location, Problem};
use crate::readings::Source;
use crate::tables::whole_table::{self, Table};

use super::verify::{Shift, Verdict, Verification};

/// The columns, in this order.
pub const COLUMNS: [&str; 16] = [
    "date",
    "setup",
    "prints",
    "features",
    "mean_shift_mm",
    "mean_shift_se_mm",
    "mean_shift_shared_se_mm",
    "walls_shift_mm",
    "walls_shift_se_mm",
    "walls_shift_shared_se_mm",
    "p_value",
    "verdict",
    "readings",
    "readings_sha256",
    "correction",
    "correction_sha256",
];

/// Half of the interval that 95 % of a normal distribution lies in, in standard deviations.
const NORMAL_95: f64 = 1.959_964;

/// A shift as the history keeps it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeptShift {
    /// The shift, mm.
    pub shift_mm: f64,
    /// Its predicted standard deviation, mm.
    pub se_mm: f64,
    /// The part of that which every verification of the same correction shares, mm.
    pub shared_se_mm: f64,
}

impl KeptShift {
    fn of(shift: &Shift) -> Self {
        let all = shift.own_sd_mm.hypot(shift.shared_sd_mm);
        let se_mm = shift.usual_mm / NORMAL_95;
        let shared_se_mm = if all > 0.0 { se_mm * shift.shared_sd_mm / all } else { 0.0 };
        let kept = |mm: f64| (mm * 1e5).round() / 1e5;
        Self { shift_mm: kept(shift.shift_mm), se_mm: kept(se_mm), shared_se_mm: kept(shared_se_mm) }
    }
}

/// One verification.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// When its prints were measured.
    pub date: Date,
    /// The setup.
    pub setup: String,
    /// How many prints.
    pub prints: u32,
    /// How many features were used.
    pub features: u32,
    /// The shift of all sizes.
    pub all_sizes: KeptShift,
    /// The shift of walls, where there were any.
    pub walls: Option<KeptShift>,
    /// The joint p-value.
    pub p_value: f64,
    /// The verdict.
    pub verdict: Verdict,
    /// The readings file.
    pub readings: String,
    /// Its SHA-256.
    pub readings_sha256: String,
    /// The correction file.
    pub correction: String,
    /// Its SHA-256.
    pub correction_sha256: String,
}

impl Entry {
    /// Of a verification by readings of this day.
    pub fn of(
        verification: &Verification,
        date: Date,
        (correction, correction_sha256): (&Path, &str),
        readings: &Source,
    ) -> Self {
        let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        Self {
            date,
            setup: verification.setup.clone(),
            prints: verification.prints,
            features: verification.features.iter().filter(|feature| !feature.set_aside).count() as u32,
            all_sizes: KeptShift::of(&verification.all_sizes),
            walls: verification.walls.as_ref().map(KeptShift::of),
            p_value: (verification.p_value * 1e6).round() / 1e6,
            verdict: verification.verdict,
            readings: name(&readings.path),
            readings_sha256: readings.sha256.clone(),
            correction: name(correction),
            correction_sha256: correction_sha256.to_owned(),
        }
    }

    fn cells(&self, comma: bool) -> [String; 16] {
        let number = |value: f64| {
            let text = format!("{value}");
            if comma { text.replace('.', ",") } else { text }
        };
        let walls =
            |part: fn(&KeptShift) -> f64| self.walls.as_ref().map_or_else(String::new, |w| number(part(w)));
        [
            self.date.to_string(),
            self.setup.clone(),
            self.prints.to_string(),
            self.features.to_string(),
            number(self.all_sizes.shift_mm),
            number(self.all_sizes.se_mm),
            number(self.all_sizes.shared_se_mm),
            walls(|w| w.shift_mm),
            walls(|w| w.se_mm),
            walls(|w| w.shared_se_mm),
            number(self.p_value),
            self.verdict.name().to_owned(),
            self.readings.clone(),
            self.readings_sha256.clone(),
            self.correction.clone(),
            self.correction_sha256.clone(),
        ]
    }
}

/// All verifications of a file, in its order.
#[derive(Clone, Debug, PartialEq)]
pub struct History {
    /// The rows.
    pub entries: Vec<Entry>,
    comments: Vec<String>,
    delimiter: u8,
    decimal_comma: bool,
}

impl Default for History {
    fn default() -> Self {
        Self { entries: Vec::new(), comments: Vec::new(), delimiter: b',', decimal_comma: false }
    }
}

/// A verification that the history has already.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("these readings were added before, as verification {number} of {date}")]
pub struct AddedBefore {
    /// Which one, from 1.
    pub number: usize,
    /// Its day.
    pub date: Date,
}

impl AddedBefore {
    /// What the person can do about it.
    pub fn help(&self) -> &'static str {
        "leave --add-to out to see the result again; delete that row first to replace it"
    }
}

impl History {
    /// Adds one verification, unless the same readings were compared with the same correction before.
    pub fn add(&mut self, entry: Entry) -> Result<(), AddedBefore> {
        let same = |old: &Entry| {
            (&old.setup, &old.readings_sha256, &old.correction_sha256)
                == (&entry.setup, &entry.readings_sha256, &entry.correction_sha256)
        };
        match self.entries.iter().position(same) {
            Some(at) => Err(AddedBefore { number: at + 1, date: self.entries[at].date }),
            None => {
                self.entries.push(entry);
                Ok(())
            }
        }
    }

    /// The text of the file.
    ///
    /// # Errors
    /// None that a buffer in memory can have; the writer's type asks for it.
    pub fn to_csv(&self) -> Result<Vec<u8>, csv::Error> {
        let mut bytes = Vec::new();
        for comment in &self.comments {
            bytes.extend_from_slice(comment.as_bytes());
            bytes.push(b'\n');
        }
        let mut writer = csv::WriterBuilder::new().delimiter(self.delimiter).from_writer(bytes);
        writer.write_record(COLUMNS)?;
        for entry in &self.entries {
            writer.write_record(entry.cells(self.decimal_comma))?;
        }
        writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
    }

    /// From the bytes of a file, named `path` in problems.
    ///
    /// # Errors
    /// Every problem of the file, in file order.
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Self, Vec<Problem>> {
        let table = whole_table::parse(bytes, path)?;
        let lower: Vec<String> = table.columns.iter().map(|column| column.to_lowercase()).collect();
        if lower != COLUMNS {
            let place = Location::file(path).line(table.header_line);
            let strange = lower.iter().find(|column| !COLUMNS.contains(&column.as_str()));
            let missing = COLUMNS.iter().find(|column| !lower.iter().any(|own| own == *column));
            let message = match (strange, missing) {
                (Some(strange), _) => {
                    format!("this is no history of verifications: it has a column `{strange}`")
                }
                (None, Some(missing)) => {
                    format!("this is no history of verifications: it has no column `{missing}`")
                }
                (None, None) => "the columns are not in their order, or one is there twice".to_owned(),
            };
            let help = "name another file; it is made when it is not there";
            return Err(vec![Problem::error(place, message).help(help)]);
        }
        let mut rows = Rows { table: &table, path, problems: Vec::new(), decimal_comma: false };
        let entries: Vec<Entry> = (0..table.rows.len()).filter_map(|row| rows.entry(row)).collect();
        if rows.problems.is_empty() {
            let decimal_comma = rows.decimal_comma;
            Ok(Self { entries, comments: table.comments.clone(), delimiter: table.delimiter, decimal_comma })
        } else {
            Err(rows.problems)
        }
    }
}

/// Reads the rows and collects what is wrong with them.
struct Rows<'a> {
    table: &'a Table,
    path: &'a Path,
    problems: Vec<Problem>,
    decimal_comma: bool,
}

impl Rows<'_> {
    fn entry(&mut self, row: usize) -> Option<Entry> {
        let text = |name: &str| self.table.cell(row, name).to_owned();
        let (setup, readings, readings_sha256) = (text("setup"), text("readings"), text("readings_sha256"));
        let (correction, correction_sha256) = (text("correction"), text("correction_sha256"));
        let date = self.parsed(row, "date", "a date such as 2026-11-25", |cell| cell.parse::<Date>().ok());
        let count = |cell: &str| cell.parse::<u32>().ok();
        let prints = self.parsed(row, "prints", "a whole number", count);
        let features = self.parsed(row, "features", "a whole number", count);
        let all_sizes = self.shift(row, ["mean_shift_mm", "mean_shift_se_mm", "mean_shift_shared_se_mm"]);
        let walls = if self.table.cell(row, "walls_shift_mm").is_empty() {
            Some(None)
        } else {
            self.shift(row, ["walls_shift_mm", "walls_shift_se_mm", "walls_shift_shared_se_mm"]).map(Some)
        };
        let p_value = self.number(row, "p_value");
        let verdict = self.parsed(row, "verdict", "holds, drifted or cannot tell", |cell| cell.parse().ok());
        Some(Entry {
            date: date?,
            setup,
            prints: prints?,
            features: features?,
            all_sizes: all_sizes?,
            walls: walls?,
            p_value: p_value?,
            verdict: verdict?,
            readings,
            readings_sha256,
            correction,
            correction_sha256,
        })
    }

    fn shift(&mut self, row: usize, [shift, se, shared]: [&str; 3]) -> Option<KeptShift> {
        let (shift_mm, se_mm) = (self.number(row, shift), self.number(row, se));
        let shared_se_mm = self.number(row, shared);
        let kept = KeptShift { shift_mm: shift_mm?, se_mm: se_mm?, shared_se_mm: shared_se_mm? };
        if kept.se_mm > 0.0 && (0.0..=kept.se_mm).contains(&kept.shared_se_mm) {
            return Some(kept);
        }
        let place = Location::file(self.path).line(self.table.rows[row].line).column(se);
        let message = format!("`{}` is no spread that `{}` is a part of", kept.se_mm, kept.shared_se_mm);
        self.problems.push(Problem::error(place, message).help("rows are written by `verify --add-to`"));
        None
    }

    fn number(&mut self, row: usize, column: &str) -> Option<f64> {
        let mut comma = false;
        let value = self.parsed(row, column, "a number", |cell| {
            let (value, separator) = whole_table::number(cell).ok()?;
            comma = separator == Some(',');
            Some(value)
        });
        self.decimal_comma |= comma;
        value
    }

    fn parsed<T>(
        &mut self,
        row: usize,
        column: &str,
        expected: &str,
        parse: impl FnOnce(&str) -> Option<T>,
    ) -> Option<T> {
        let cell = self.table.cell(row, column);
        let parsed = parse(cell);
        if parsed.is_none() {
            let place = Location::file(self.path).line(self.table.rows[row].line).column(column);
            self.problems.push(Problem::error(place, format!("`{cell}` is not {expected}")));
        }
        parsed
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// An invented verification.
    pub(crate) fn entry(date: &str, walls_mm: f64, correction: &str) -> Entry {
        let kept = |shift_mm| KeptShift { shift_mm, se_mm: 0.02, shared_se_mm: 0.01 };
        Entry {
            date: date.parse().unwrap(),
            setup: "petg, 0.4".to_owned(),
            prints: 1,
            features: 24,
            all_sizes: kept(0.004),
            walls: Some(kept(walls_mm)),
            p_value: 0.43,
            verdict: Verdict::Holds,
            readings: "later.csv".to_owned(),
            readings_sha256: format!("{date}00"),
            correction: "petg.correction.toml".to_owned(),
            correction_sha256: correction.to_owned(),
        }
    }

    fn parse(text: &str) -> Result<History, Vec<String>> {
        let told = |problems: Vec<Problem>| problems.iter().map(Problem::to_string).collect();
        History::parse(text.as_bytes(), Path::new("h.csv")).map_err(told)
    }

    #[test]
    fn a_history_reads_back_whole_and_keeps_separator_decimal_mark_and_comments() {
        let mut history = History::default();
        history.add(entry("2026-12-04", 0.012, "aa")).unwrap();
        history.add(Entry { walls: None, ..entry("2027-01-08", 0.0, "aa") }).unwrap();
        let text = String::from_utf8(history.to_csv().unwrap()).unwrap();
        assert_eq!(parse(&text).unwrap(), history);
        for (delimiter, decimal_comma) in [(b';', true), (b'\t', false)] {
            let other = History {
                delimiter,
                decimal_comma,
                comments: vec!["# left printer".to_owned()],
                ..history.clone()
            };
            let text = String::from_utf8(other.to_csv().unwrap()).unwrap();
            assert_eq!(parse(&text).unwrap(), other);
        }
    }

    #[test]
    fn the_same_readings_are_added_once() {
        let mut history = History::default();
        history.add(entry("2026-12-04", 0.012, "aa")).unwrap();
        let error = history.add(entry("2026-12-04", 0.012, "aa")).unwrap_err();
        assert_eq!(error.to_string(), "these readings were added before, as verification 1 of 2026-12-04");
        // Against another correction they say something else.
        history.add(entry("2026-12-04", 0.012, "bb")).unwrap();
    }

    #[test]
    fn another_file_is_refused_and_every_bad_cell_is_named() {
        assert_eq!(
            parse("part,draw_mm\nfoot,6\n").unwrap_err(),
            [
                "error: h.csv:1: this is no history of verifications: it has a column `part`\n  help: name another file; it is made when it is not there"
            ]
        );
        let mut history = History::default();
        history.add(entry("2026-12-04", 0.012, "aa")).unwrap();
        let text = String::from_utf8(history.to_csv().unwrap()).unwrap();
        let broken =
            text.replace("2026-12-04,", "4.12.2026,").replace(",holds,", ",fine,").replace("0.43", "low");
        assert_eq!(
            parse(&broken).unwrap_err(),
            [
                "error: h.csv:2: date: `4.12.2026` is not a date such as 2026-11-25",
                "error: h.csv:2: p_value: `low` is not a number",
                "error: h.csv:2: verdict: `fine` is not holds, drifted or cannot tell",
            ]
        );
    }
}
