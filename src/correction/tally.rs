//! Very many setups in a few lines, and their coefficients as a table.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use itoa::Buffer;

use crate::kind::Kind;
use crate::problem::{Location, Problem, counted};

use super::Correction;
use super::answer::text;
use super::fitted::Fit;

/// With more setups than this nobody reads a page about each.
pub const MANY_SETUPS: usize = 50;

/// Sorts of warnings that are counted apart; the rest is counted together.
const MOST_SORTS: usize = 200;

/// What is to be said of setups, a page about each or, when there are many, of all together.
#[derive(Clone, Debug, Default)]
pub struct Summary {
    tally: Tally,
    /// As long as they are few.
    fits: Vec<Fit>,
}

impl Summary {
    /// Takes in one setup.
    pub fn add(&mut self, fit: Fit) {
        self.tally.add(&fit.correction);
        if self.tally.setups as usize <= MANY_SETUPS {
            self.fits.push(fit);
        } else {
            self.fits = Vec::new();
        }
    }

    /// What a reader must know.
    pub fn warnings(&self) -> Vec<Problem> {
        if self.fits.is_empty() { self.tally.warnings() } else { each_warning(&self.fits) }
    }

    /// The whole as a person reads it.
    pub fn to_text(&self, caliper_error_is_stated: bool) -> String {
        if self.fits.is_empty() {
            return self.tally.to_text();
        }
        let pages: Vec<String> = self.fits.iter().map(|fit| text(fit, caliper_error_is_stated)).collect();
        pages.join("\n")
    }
}

/// The warnings of a few setups, or how many setups each is about.
pub fn warnings(fits: &[Fit]) -> Vec<Problem> {
    if fits.len() <= MANY_SETUPS { each_warning(fits) } else { Tally::of(fits).warnings() }
}

fn each_warning(fits: &[Fit]) -> Vec<Problem> {
    let of = |fit: &Fit| {
        let setup = fit.correction.setup.clone();
        let said = fit.correction.warnings.clone().into_iter();
        said.map(move |warning| Problem::warning(Location::default(), format!("{setup}: {warning}")))
    };
    fits.iter().flat_map(of).collect()
}

/// What is to be said of many setups together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    setups: u64,
    readings: u64,
    set_aside: u64,
    setups_with_set_aside: u64,
    /// Setups by their number of prints.
    prints: BTreeMap<u32, u64>,
    /// By kind, how many setups have it, and on how many features.
    kinds: BTreeMap<Kind, (u64, u64)>,
    /// Setups by what they were warned of.
    warnings: BTreeMap<String, u64>,
    other_warnings: u64,
}

impl Tally {
    /// Of all of these.
    pub fn of(fits: &[Fit]) -> Self {
        let mut tally = Self::default();
        fits.iter().for_each(|fit| tally.add(&fit.correction));
        tally
    }

    /// Takes in one setup.
    pub fn add(&mut self, correction: &Correction) {
        self.setups += 1;
        self.set_aside += correction.set_aside.len() as u64;
        self.setups_with_set_aside += u64::from(!correction.set_aside.is_empty());
        *self.prints.entry(correction.prints).or_default() += 1;
        for (kind, coverage) in &correction.kinds {
            let (setups, features) = self.kinds.entry(*kind).or_default();
            *setups += 1;
            *features += u64::from(coverage.features);
            self.readings += coverage.readings;
        }
        for warning in &correction.warnings {
            let sort = sort_of(warning);
            if self.warnings.len() < MOST_SORTS || self.warnings.contains_key(&sort) {
                *self.warnings.entry(sort).or_default() += 1;
            } else {
                self.other_warnings += 1;
            }
        }
    }

    /// How many setups each warning is about, the most frequent first.
    pub fn warnings(&self) -> Vec<Problem> {
        let mut sorts: Vec<(&str, u64)> =
            self.warnings.iter().map(|(sort, count)| (&**sort, *count)).collect();
        sorts.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
        if self.other_warnings > 0 {
            sorts.push(("other warnings", self.other_warnings));
        }
        let said = sorts.into_iter().map(|(sort, count)| format!("{}: {sort}", counted(count, "setup")));
        said.map(|said| Problem::warning(Location::default(), said)).collect()
    }

    /// The whole as a person reads it.
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "{} setups fitted to {} readings\n", self.setups, self.readings)?;
        for (prints, setups) in &self.prints {
            writeln!(
                out,
                "  {:<28} {setups:>9}",
                format!("setups of {}", counted((*prints).into(), "print"))
            )?;
        }
        writeln!(out, "  {:<28} {:>9}", "readings set aside", self.set_aside)?;
        writeln!(out, "  {:<28} {:>9}", "in setups", self.setups_with_set_aside)?;
        writeln!(out, "\n  kind                setups   features")?;
        for (kind, (setups, features)) in &self.kinds {
            writeln!(out, "  {:<16} {setups:>9}  {features:>9}", kind.name())?;
        }
        Ok(())
    }
}

/// A warning up to where it speaks of one setup: its first clause, with numbers left out.
fn sort_of(warning: &str) -> String {
    let clause = warning.split([':', ';']).next().unwrap_or(warning);
    let mut sort = String::with_capacity(clause.len());
    for letter in clause.chars() {
        if !letter.is_ascii_digit() {
            sort.push(letter);
        } else if !sort.ends_with('…') {
            sort.push('…');
        }
    }
    sort.replace("….…", "…")
}

/// The columns of [`table_rows`].
pub const TABLE_HEADER: &str = "setup,kind,offset_mm,offset_se_mm,scale,scale_se,small_bore_mm2,min_mm,max_mm,features,\
     readings,set_aside,prints,dof,print_sd_mm,feature_sd_mm,repeat_sd_mm,caliper_u_mm\n";

/// One row a kind of the setup, as CSV; blank where the model gives none or nothing was read twice.
///
/// `printed = offset + scale * drawn (+ small_bore / drawn)`.
pub fn table_rows(correction: &Correction) -> String {
    let setup = cell(&correction.setup);
    let spread = &correction.spread;
    let mut row = Cells { text: String::with_capacity(160 * correction.kinds.len()), digits: Buffer::new() };
    for (kind, coverage) in &correction.kinds {
        let Some(summary) = correction.summary(*kind) else { continue };
        row.text(&setup);
        row.text(kind.name());
        row.number(Some(summary.offset_mm), 6);
        row.number(Some(summary.offset_se_mm), 6);
        row.number(Some(summary.scale), 8);
        row.number(summary.scale_se, 8);
        row.number(summary.small_bore_mm2, 6);
        row.number(Some(coverage.min_mm), 3);
        row.number(Some(coverage.max_mm), 3);
        row.whole(coverage.features.into());
        row.whole(coverage.readings);
        row.whole(correction.set_aside.len() as u64);
        row.whole(correction.prints.into());
        row.number(Some(correction.dof), 1);
        row.number(Some(spread.print.sd_mm), 6);
        row.number(Some(spread.feature.sd_mm), 6);
        row.number(spread.repeat.map(|repeat| repeat.sd_mm), 6);
        row.number(Some(spread.caliper_u_mm), 6);
        row.end();
    }
    row.text
}

/// Cells, each with a comma behind it.
struct Cells {
    text: String,
    digits: Buffer,
}

impl Cells {
    fn text(&mut self, text: &str) {
        self.text.push_str(text);
        self.text.push(',');
    }

    fn whole(&mut self, number: u64) {
        self.text.push_str(self.digits.format(number));
        self.text.push(',');
    }

    /// A number with so many decimals. By whole numbers: of a million rows these are most of the time that
    /// a table takes.
    fn number(&mut self, number: Option<f64>, decimals: u32) {
        let Some(number) = number else { return self.text.push(',') };
        let unit = 10_u64.pow(decimals);
        let scaled = (number.abs() * unit as f64).round();
        // What has no sixteen digits is written exactly.
        if scaled >= 1e15 || scaled.is_nan() {
            return self.text(&format!("{number:.width$}", width = decimals as usize));
        }
        let (whole, part) = (scaled as u64 / unit, scaled as u64 % unit);
        if number < 0.0 && scaled > 0.0 {
            self.text.push('-');
        }
        self.text.push_str(self.digits.format(whole));
        self.text.push('.');
        // The 1 before them keeps the zeros at their beginning.
        let (_, part) = self.digits.format(unit + part).split_at(1);
        self.text.push_str(part);
        self.text.push(',');
    }

    fn end(&mut self) {
        self.text.pop();
        self.text.push('\n');
    }
}

/// A text as one cell.
fn cell(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn warnings_that_differ_in_numbers_are_of_one_sort() {
        let one = sort_of("more than 0.25 mm off: the 3 mm bores");
        assert_eq!(one, "more than … mm off");
        assert_eq!(one, sort_of("more than 13.5 mm off; and so on"));
    }

    #[test]
    fn numbers_have_the_decimals_that_were_asked_for() {
        let of = |value: f64, decimals: u32| {
            let mut cells = Cells { text: String::new(), digits: Buffer::new() };
            cells.number(Some(value), decimals);
            cells.text
        };
        assert_eq!([of(-0.14204, 4), of(3.0, 3), of(0.99951, 8)], ["-0.1420,", "3.000,", "0.99951000,"]);
        assert_eq!(
            [of(-0.000_000_1, 6), of(1e20, 1), of(f64::NAN, 2)],
            ["0.000000,", "100000000000000000000.0,", "NaN,"]
        );
    }

    #[test]
    fn names_of_setups_stay_one_cell() {
        assert_eq!(cell("PETG, \"blue\""), "\"PETG, \"\"blue\"\"\"");
        assert_eq!(cell("PETG blue"), "PETG blue");
    }
}
