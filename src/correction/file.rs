//! The correction file, `*.correction.toml`: written for a person to read, and enough to recompute every
//! prediction to the last bit.
//!
//! Numbers are written with the fewest digits that read back as the same number. The tables under
//! `kinds` repeat the coefficients in the words of the bench; a reader checks that they agree, so that an
//! edited offset is an error and not a number that nothing uses.
//!
//! Format 1. Keys that a reader does not know are left alone: a later program may add some without
//! changing what the others mean. A change of meaning raises the format.

use std::fmt::Write as _;
use std::path::Path;

use crate::files::{self, FileError};
use crate::kind::Kind;
use crate::problem::Problem;

use super::fit::Method;
use super::first_layer::FirstLayerSpread;
use super::{Correction, Term, read_file};

/// The format that this program writes, and the newest that it reads.
pub const FORMAT: u64 = 1;

/// Why a correction could not be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The operating system refused.
    #[error(transparent)]
    File(#[from] FileError),
    /// The file says something that no correction says: every problem, in the file's order.
    #[error("{}", all(problems))]
    Content {
        /// What is wrong, by line and key.
        problems: Vec<Problem>,
    },
}

fn all(problems: &[Problem]) -> String {
    problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

impl Term {
    /// The words used in files: `offset bore`, `scale`, `scale bore`, `small-bore`.
    pub fn name(self) -> String {
        match self {
            Self::Offset(kind) => format!("offset {kind}"),
            Self::Scale => "scale".to_owned(),
            Self::ScaleOf(kind) => format!("scale {kind}"),
            Self::SmallBore => "small-bore".to_owned(),
        }
    }

    /// The term of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        let kind = |word: &str| word.parse::<Kind>().ok();
        match name.split_once(' ') {
            None if name == "scale" => Some(Self::Scale),
            None if name == "small-bore" => Some(Self::SmallBore),
            Some(("offset", word)) => kind(word).map(Self::Offset),
            Some(("scale", word)) => kind(word).map(Self::ScaleOf),
            _ => None,
        }
    }
}

impl Correction {
    /// Reads a correction file.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        Self::from_toml(&files::read_text(path)?, path)
    }

    /// Reads the text of a correction file; `path` is for the problems.
    pub fn from_toml(text: &str, path: &Path) -> Result<Self, ReadError> {
        read_file::correction(text, path).map_err(|problems| ReadError::Content { problems })
    }

    /// The text of its file.
    pub fn to_toml(&self, first_layer: Option<&FirstLayerSpread>) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text, first_layer);
        text
    }

    fn write(&self, out: &mut String, first_layer: Option<&FirstLayerSpread>) -> std::fmt::Result {
        self.write_comment(out)?;
        writeln!(out, "\nformat = {FORMAT}\nsetup = {}", quoted(&self.setup))?;
        if let Some(date) = &self.date {
            writeln!(out, "date = {}", quoted(date))?;
        }
        writeln!(out, "method = {}", quoted(Method::LeastSquares.name()))?;
        writeln!(out, "model = {}", quoted(self.form.name()))?;
        writeln!(out, "program_version = {}", quoted(&self.program_version))?;
        writeln!(out, "prints = {}\ndof = {:?}", self.prints, self.dof)?;
        if let Some(spread) = first_layer {
            writeln!(out, "first_layer_spread_mm = {:?}", spread.mean_mm)?;
        }
        if !self.warnings.is_empty() {
            writeln!(out, "warnings = [")?;
            self.warnings.iter().try_for_each(|warning| writeln!(out, "  {},", quoted(warning)))?;
            writeln!(out, "]")?;
        }
        writeln!(out, "\n[readings]\nfile = {}", quoted(&self.readings_file))?;
        writeln!(out, "sha256 = {}", quoted(&self.readings_sha256))?;
        self.write_kinds(out)?;
        self.write_spread(out)?;
        let terms: Vec<String> = self.terms.iter().map(|term| quoted(&term.name())).collect();
        writeln!(out, "\n# deviation = sum of coefficient * term; mm, ratios and mm^2 by term")?;
        writeln!(out, "[estimate]\nterms = [{}]", terms.join(", "))?;
        writeln!(out, "coefficients = {:?}\ncovariance = [", self.coefficients)?;
        self.covariance.iter().try_for_each(|row| writeln!(out, "  {row:?},"))?;
        writeln!(out, "]")?;
        for other in &self.runners_up {
            let (form, above) = (quoted(other.form.name()), other.aicc_above_best);
            writeln!(out, "\n[[runners_up]]\nmodel = {form}\naicc_above_best = {above:?}")?;
        }
        for aside in &self.set_aside {
            writeln!(out, "\n[[set_aside]]\nline = {}\nreading_mm = {:?}", aside.line, aside.reading_mm)?;
            writeln!(out, "reason = {}", quoted(&aside.reason))?;
        }
        Ok(())
    }

    /// What a person at the bench wants to know.
    fn write_comment(&self, out: &mut String) -> std::fmt::Result {
        let features: u32 = self.kinds.values().map(|of| of.features).sum();
        let readings: u64 = self.kinds.values().map(|of| of.readings).sum();
        let day = self.date.as_ref().map_or_else(String::new, |date| format!(", {date}"));
        let prints = if self.prints == 1 { "" } else { "s" };
        writeln!(out, "# How `{}` prints, and what to draw because of it.", one_line(&self.setup))?;
        writeln!(
            out,
            "# From {readings} readings of {features} features on {} print{prints} ({}{}).",
            self.prints,
            one_line(&self.readings_file),
            one_line(&day)
        )?;
        writeln!(out, "#")?;
        for summary in self.kinds.keys().filter_map(|kind| self.summary(*kind)) {
            writeln!(out, "#   {}", summary.sentence())?;
        }
        writeln!(out, "#")?;
        writeln!(out, "# Sizes to draw: shrinkrule size KIND MM --with THIS-FILE")?;
        writeln!(out, "# The tables under `kinds` repeat the coefficients further down; fit again rather than edit.")
    }

    fn write_kinds(&self, out: &mut String) -> std::fmt::Result {
        for (kind, coverage) in &self.kinds {
            let Some(summary) = self.summary(*kind) else { continue };
            writeln!(out, "\n[kinds.{kind}]\noffset_mm = {:?}", summary.offset_mm)?;
            writeln!(out, "offset_se_mm = {:?}\nscale = {:?}", summary.offset_se_mm, summary.scale)?;
            let optional = [
                ("scale_se", summary.scale_se),
                ("small_bore_mm2", summary.small_bore_mm2),
                ("small_bore_se_mm2", summary.small_bore_se_mm2),
            ];
            for (key, value) in optional {
                value.map_or(Ok(()), |value| writeln!(out, "{key} = {value:?}"))?;
            }
            writeln!(out, "min_mm = {:?}\nmax_mm = {:?}", coverage.min_mm, coverage.max_mm)?;
            writeln!(out, "features = {}\nreadings = {}", coverage.features, coverage.readings)?;
        }
        Ok(())
    }

    fn write_spread(&self, out: &mut String) -> std::fmt::Result {
        let spread = &self.spread;
        writeln!(out, "\n# standard deviations that a new print adds; without _dof: an allowance, not measured")?;
        writeln!(out, "[spread]")?;
        let estimates = [
            ("print", Some(spread.print)),
            ("feature", Some(spread.feature)),
            ("repeat", spread.repeat),
        ];
        for (name, estimate) in estimates {
            if let Some(estimate) = estimate {
                writeln!(out, "{name}_sd_mm = {:?}", estimate.sd_mm)?;
                estimate.dof.map_or(Ok(()), |dof| writeln!(out, "{name}_dof = {dof:?}"))?;
            }
        }
        writeln!(out, "caliper_u_mm = {:?}", spread.caliper_u_mm)
    }
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A text without line ends and other control characters, for a comment.
fn one_line(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}
