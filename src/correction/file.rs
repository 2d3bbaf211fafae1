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

use super::feel::Feels;
use super::first_layer::FirstLayerSpread;
use super::fit::Method;
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
            Self::Swell => "swell".to_owned(),
            Self::ScaleInPlane => "scale-in-plane".to_owned(),
            Self::ScaleZ => "scale-z".to_owned(),
            Self::XyDifference => "xy-difference".to_owned(),
            Self::Skew => "skew".to_owned(),
            Self::Sag => "sag".to_owned(),
        }
    }

    /// The term of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        let kind = |word: &str| word.parse::<Kind>().ok();
        match name.split_once(' ') {
            None if name == "scale" => Some(Self::Scale),
            None => {
                let plain = [
                    Self::SmallBore,
                    Self::Swell,
                    Self::ScaleInPlane,
                    Self::ScaleZ,
                    Self::XyDifference,
                    Self::Skew,
                    Self::Sag,
                ];
                plain.into_iter().find(|term| term.name() == name)
            }
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

    /// How it was estimated.
    pub fn method(&self) -> Method {
        if self.print_effects.is_some() { Method::Structured } else { Method::LeastSquares }
    }

    /// The word for its model in files and answers.
    pub fn model_name(&self) -> &'static str {
        match self.method() {
            Method::Structured => Method::Structured.name(),
            Method::LeastSquares => self.form.name(),
        }
    }

    /// What its model says, in words.
    pub fn model_in_words(&self) -> &'static str {
        match self.method() {
            Method::Structured => {
                "a swell and a scale that all kinds share, what each kind has of its own held small, and \
                 a swell and a scale of each print"
            }
            Method::LeastSquares => self.form.in_words(),
        }
    }

    /// Reads the text of a correction file; `path` is for the problems.
    pub fn from_toml(text: &str, path: &Path) -> Result<Self, ReadError> {
        read_file::correction(text, path).map_err(|problems| ReadError::Content { problems })
    }

    /// The text of its file.
    pub fn to_toml(&self, first_layer: Option<&FirstLayerSpread>) -> String {
        self.to_toml_with(first_layer, None)
    }

    /// The text of its file, with what the real pieces felt like.
    pub fn to_toml_with(&self, first_layer: Option<&FirstLayerSpread>, feels: Option<&Feels>) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text, first_layer, feels);
        text
    }

    fn write(
        &self,
        out: &mut String,
        first_layer: Option<&FirstLayerSpread>,
        feels: Option<&Feels>,
    ) -> std::fmt::Result {
        self.write_comment(out)?;
        writeln!(out, "\nformat = {FORMAT}\nsetup = {}", quoted(&self.setup))?;
        if let Some(date) = &self.date {
            writeln!(out, "date = {}", quoted(date))?;
        }
        writeln!(out, "method = {}", quoted(self.method().name()))?;
        writeln!(out, "model = {}", quoted(self.model_name()))?;
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
        self.write_print_effects(out)?;
        for other in &self.runners_up {
            let (form, above) = (quoted(other.form.name()), other.aicc_above_best);
            writeln!(out, "\n[[runners_up]]\nmodel = {form}\naicc_above_best = {above:?}")?;
        }
        for aside in &self.set_aside {
            writeln!(out, "\n[[set_aside]]\nline = {}\nreading_mm = {:?}", aside.line, aside.reading_mm)?;
            writeln!(out, "reason = {}", quoted(&aside.reason))?;
        }
        if let Some(feels) = feels {
            feels.write_section(out)?;
        }
        // Last, so that a file that was cut short has no estimate and is refused.
        let terms: Vec<String> = self.terms.iter().map(|term| quoted(&term.name())).collect();
        writeln!(out, "\n# deviation = sum of coefficient * term; mm, ratios and mm^2 by term")?;
        writeln!(out, "[estimate]\nterms = [{}]", terms.join(", "))?;
        writeln!(out, "coefficients = {:?}\ncovariance = [", self.coefficients)?;
        self.covariance.iter().try_for_each(|row| writeln!(out, "  {row:?},"))?;
        writeln!(out, "]")
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
        writeln!(
            out,
            "# The tables under `kinds` repeat the coefficients further down; fit again rather than edit."
        )
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

    fn write_print_effects(&self, out: &mut String) -> std::fmt::Result {
        let Some(effects) = &self.print_effects else { return Ok(()) };
        writeln!(
            out,
            "\n# how prints differ, part by part; standard deviations\n[print_effects]\nswell_sd_mm = {:?}",
            effects.swell_sd_mm
        )?;
        writeln!(out, "swell_dof = {:?}\nshrink_sd = {:?}", effects.swell_dof, effects.shrink_sd)?;
        writeln!(out, "shrink_dof = {:?}\nheight_sd_mm = {:?}", effects.shrink_dof, effects.height_sd_mm)?;
        writeln!(out, "height_dof = {:?}", effects.height_dof)
    }

    fn write_spread(&self, out: &mut String) -> std::fmt::Result {
        let spread = &self.spread;
        writeln!(
            out,
            "\n# standard deviations that a new print adds; without _dof: an allowance, not measured"
        )?;
        writeln!(out, "[spread]")?;
        let estimates =
            [("print", Some(spread.print)), ("feature", Some(spread.feature)), ("repeat", spread.repeat)];
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
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A text without line ends and other control characters, for a comment.
pub(super) fn one_line(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::fit::{FitOptions, fit};
    use crate::kind::Axis;
    use crate::readings::{Conditions, FeatureReadings, Reading, Repeats, SetupReadings};

    /// Bores and pins of two prints, with a spread that leaves no coefficient round.
    fn fitted() -> Correction {
        let mut features = Vec::new();
        for (at, size) in [3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0].iter().enumerate() {
            for (kind, copy, offset) in
                [(Kind::Bore, 1, -0.2), (Kind::Bore, 2, -0.17), (Kind::Pin, 1, 0.1), (Kind::Pin, 2, 0.07)]
            {
                let wobble = 0.011 * ((at * 7 + copy as usize * 3) % 5) as f64;
                let small = if kind == Kind::Bore { -0.3 / size } else { 0.0 };
                let mm = size * 0.997 + offset + small + wobble;
                let reading = Reading { mm, line: 2 + at as u64 };
                features.push(FeatureReadings {
                    coupon: "ring".into(),
                    feature: format!("{kind}-{at}").into(),
                    kind,
                    axis: Axis::Round,
                    nominal_mm: *size,
                    copy,
                    repeats: Repeats {
                        count: 3,
                        mean_mm: mm,
                        sum_of_squares_mm2: 0.000_31,
                        lowest: reading,
                        highest: reading,
                    },
                });
            }
        }
        let setup = SetupReadings { setup: "PETG \"blue\"\n#1".to_owned(), features };
        let options = FitOptions { date: Some("2026-11-25".to_owned()), ..FitOptions::default() };
        let mut correction = fit(&setup, &Conditions::default(), &options).unwrap().correction;
        correction.readings_file = "readings.csv".to_owned();
        correction.readings_sha256 = "ab".repeat(32);
        correction.warnings.push("a \"quoted\" word\nand a line end".to_owned());
        let reason = "0.5 mm above the others".to_owned();
        correction.set_aside.push(super::super::SetAside { line: 7, reading_mm: 8.52, reason });
        correction
    }

    fn problems(text: &str) -> String {
        match Correction::from_toml(text, Path::new("a.correction.toml")) {
            Ok(_) => "no problem".to_owned(),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn what_is_read_back_is_what_was_written_to_the_last_bit() {
        let correction = fitted();
        assert!(correction.form.small_bore && correction.terms.len() >= 4, "{:?}", correction.form);
        let read = Correction::from_toml(&correction.to_toml(None), Path::new("a")).unwrap();
        assert_eq!(read, correction);
        for drawn in [3.0, 7.77, 19.0] {
            let one = correction.predict(Kind::Bore, Axis::Round, drawn).unwrap();
            let other = read.predict(Kind::Bore, Axis::Round, drawn).unwrap();
            assert_eq!(one.expected_mm.to_bits(), other.expected_mm.to_bits());
            assert_eq!(one.interval(0.95).0.to_bits(), other.interval(0.95).0.to_bits());
        }
    }

    #[test]
    fn the_file_begins_with_what_a_person_wants_to_know() {
        let text = fitted().to_toml(None);
        let lines: Vec<&str> = text.lines().take(6).collect();
        assert_eq!(lines[0], "# How `PETG \"blue\" #1` prints, and what to draw because of it.");
        assert_eq!(lines[1], "# From 108 readings of 36 features on 2 prints (readings.csv, 2026-11-25).");
        assert_eq!(lines[3], "#   bores come out 0.22 mm small at 12 mm, ± 0.01");
        assert!(text.contains("\nformat = 1\n"));
    }

    #[test]
    fn an_edited_table_is_an_error_and_names_the_key() {
        let correction = fitted();
        let text = correction.to_toml(None);
        let offset = correction.summary(Kind::Bore).unwrap().offset_mm;
        let edited = text.replacen(&format!("offset_mm = {offset:?}"), "offset_mm = -0.3", 1);
        let said = problems(&edited);
        assert!(said.contains("kinds.bore.offset_mm: `-0.3` does not agree with the coefficients"), "{said}");
        let line = edited.lines().position(|line| line == "offset_mm = -0.3").unwrap() + 1;
        assert!(said.contains(&format!("a.correction.toml:{line}: ")), "{said}");
    }

    #[test]
    fn a_newer_format_is_refused_politely_and_another_file_is_told_apart() {
        let text = fitted().to_toml(None).replacen("format = 1", "format = 2", 1);
        assert!(
            problems(&text).contains(
                "format: format 2 is newer than this program, which reads up to 1\n  help: update shrinkrule"
            ),
            "{}",
            problems(&text)
        );
        assert!(problems("name = \"ring\"\n").contains("this is no correction file"));
        assert!(problems("kind,nominal_mm\nbore,8\n").contains("a.correction.toml:1: this is not TOML"));
    }

    #[test]
    fn every_problem_is_told_by_key() {
        let text = fitted().to_toml(None);
        let text = text.replacen("setup = ", "set_up = ", 1);
        let text = text.replacen("dof = ", "dof = nan # ", 1);
        let text = text.replacen("print_sd_mm = ", "print_sd_mm = -1.0 # ", 1);
        let text = text.replacen("model = \"", "model = \"my-", 1);
        let said = problems(&text);
        for key in [
            "setup: this key is missing",
            "dof: `nan` is not a finite number",
            "spread.print_sd_mm: `-1` is below 0",
            "model: `my-",
        ] {
            assert!(said.contains(key), "{key} is not in {said}");
        }
    }

    #[test]
    fn a_spread_from_no_degree_of_freedom_is_refused() {
        let text = fitted().to_toml(None).replacen("feature_dof = ", "feature_dof = 0 # ", 1);
        assert!(problems(&text).contains("spread.feature_dof: `0` is not above 0"), "{}", problems(&text));
    }

    #[test]
    fn numbers_that_are_no_covariance_are_refused() {
        let mut correction = fitted();
        correction.covariance[0][1] *= 2.0;
        assert!(
            problems(&correction.to_toml(None))
                .contains("estimate.covariance: these numbers are no covariance")
        );
        let mut correction = fitted();
        let root = |i: usize, c: &Correction| c.covariance[i][i].sqrt();
        let over = 1.5 * root(0, &correction) * root(1, &correction);
        correction.covariance[0][1] = over;
        correction.covariance[1][0] = over;
        assert!(problems(&correction.to_toml(None)).contains("no covariance"));
    }

    #[test]
    fn a_file_cut_short_anywhere_is_an_error_and_never_a_panic() {
        let text = fitted().to_toml(None);
        for end in (0..text.trim_end().len()).filter(|end| text.is_char_boundary(*end)) {
            assert!(Correction::from_toml(&text[..end], Path::new("a")).is_err(), "cut at {end}");
        }
    }
}
