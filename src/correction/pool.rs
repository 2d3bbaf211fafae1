//! An earlier readings sheet pooled with a new one: its prints become further prints of the setup.
//!
//! Pooling is right when nothing has changed in between, so that is looked at first: the earlier sheet is
//! fitted alone, and the new one verified against it (see [`super::verify`]). What comes of it stands in
//! the correction as a warning, with the earlier file's SHA-256, whether or not they agree: the person
//! decides.
//!
//! Lines of the earlier sheet are told as `line N of earlier.csv`. While a fit is on its way they are kept
//! apart from the new sheet's by `EARLIER_LINES`.

use std::collections::BTreeMap;

use crate::readings::{CheckedReadings, Conditions, FeatureReadings, SetupReadings};

use super::Correction;
use super::fit::{FitError, FitOptions, Method, fit};
use super::fitted::Fit;
use super::structured::lent::Lent;
use super::temperature::ToReference;
use super::verify::answer::probability;
use super::verify::{Options, Verdict, verify};

/// Added to the line numbers of the earlier sheet: more lines than any sheet has.
const EARLIER_LINES: u64 = 1 << 40;

/// How the sentence begins that a pooled correction says of itself, and what is before the other sheet's hash.
const POOLED: &str = "pooled with ";
const HASH: &str = "(SHA-256 ";

impl Correction {
    /// The SHA-256 of every sheet that it rests on: its own, and the one that it was pooled with.
    pub fn sheets(&self) -> Vec<&str> {
        let pooled = self.warnings.iter().filter(|warning| warning.starts_with(POOLED));
        let hashes = pooled.filter_map(|warning| warning.split_once(HASH)?.1.split(')').next());
        std::iter::once(self.readings_sha256.as_str()).chain(hashes).collect()
    }
}

/// How the new readings agree with the earlier ones.
#[derive(Clone, Debug, PartialEq)]
pub enum Agreement {
    /// They were compared.
    Compared {
        /// Whether a correction fitted to the earlier ones holds for the new ones.
        verdict: Verdict,
        /// The joint p-value.
        p_value: f64,
        /// The shift of all sizes since, mm.
        all_sizes_mm: f64,
        /// The shift of walls since, mm.
        walls_mm: Option<f64>,
    },
    /// They could not be: the earlier ones alone give no correction, or none of the kinds is in both.
    NotCompared {
        /// Why.
        reason: String,
    },
}

impl Agreement {
    /// What a person reads: `they agree (p = 0.43; since then all sizes +0.004 mm, walls -0.012 mm)`.
    pub fn in_words(&self) -> String {
        match self {
            Self::Compared { verdict, p_value, all_sizes_mm, walls_mm } => {
                let word = match verdict {
                    Verdict::Holds => "they agree",
                    Verdict::Drifted => {
                        "they do not agree, the printer has changed in between: leave --add out to fit the new ones alone"
                    }
                    Verdict::CannotTell => "whether they agree cannot be told",
                };
                let walls = walls_mm.map_or_else(String::new, |walls| format!(", walls {walls:+.3} mm"));
                format!(
                    "{word} ({}; since then all sizes {all_sizes_mm:+.3} mm{walls})",
                    probability(*p_value)
                )
            }
            Self::NotCompared { reason } => format!("whether they agree cannot be told: {reason}"),
        }
    }
}

/// Fits every setup of `new` together with the prints of the same setup in `earlier`, in the order of `new`.
///
/// A setup that only `new` has is fitted alone, and the warning says so. `lent` is what setups borrow, by
/// name; whether old and new agree is looked at without it.
pub fn fit_all_with(
    new: &CheckedReadings,
    earlier: &CheckedReadings,
    options: &FitOptions,
    lent: &BTreeMap<String, Lent>,
) -> Vec<Result<Fit, FitError>> {
    let file = new.source.path.file_name().unwrap_or_default().to_string_lossy();
    let earlier_file = earlier.source.path.file_name().unwrap_or_default().to_string_lossy();
    let one = |setup: SetupReadings| {
        let past = earlier.setups().find(|past| past.setup == setup.setup);
        let factor = |conditions: &Conditions| {
            ToReference::of(conditions, &setup.setup, options.expansion).map_or(1.0, |to| to.factor)
        };
        let as_if_now = factor(&earlier.conditions) / factor(&new.conditions);
        let pooled = past.as_ref().map(|past| pooled(&setup, past, as_if_now));
        let borrowing =
            lent.get(&setup.setup).map(|lent| FitOptions { lent: Some(lent.clone()), ..options.clone() });
        let borrowing = borrowing.as_ref().unwrap_or(options);
        let mut fit = fit(pooled.as_ref().unwrap_or(&setup), &new.conditions, borrowing)?;
        fit.correction.readings_file = file.clone().into_owned();
        fit.correction.readings_sha256.clone_from(&new.source.sha256);
        name_lines(&mut fit, &earlier_file, as_if_now);
        fit.correction.add_set_aside(&new.set_aside);
        let said = match &past {
            Some(past) => {
                let day =
                    earlier.conditions.date.as_ref().map_or_else(String::new, |date| format!(" of {date}"));
                format!(
                    "{POOLED}{} of {earlier_file}{day} {HASH}{}): {}",
                    prints(past),
                    earlier.source.sha256,
                    agreement(&setup, past, (&new.conditions, earlier), options).in_words()
                )
            }
            None => format!("{earlier_file} has no readings of this setup: it is fitted alone"),
        };
        fit.correction.warnings.insert(0, said);
        Ok(fit)
    };
    new.setups().map(one).collect()
}

/// How the readings of a setup, taken under these conditions, agree with earlier ones.
pub fn agreement(
    new: &SetupReadings,
    past: &SetupReadings,
    (conditions, earlier): (&Conditions, &CheckedReadings),
    options: &FitOptions,
) -> Agreement {
    let alone = FitOptions { points: false, ..options.clone() };
    let fitted = match fit(past, &earlier.conditions, &alone) {
        Ok(fit) => fit.correction,
        Err(error) => {
            return Agreement::NotCompared { reason: format!("of the earlier ones alone, {error}") };
        }
    };
    // Least squares leaves the chord of flat jaws in the sizes of both.
    let jaw_flat_mm = options.jaw_flat_mm.filter(|_| options.method == Method::Structured);
    let to_reference = ToReference::of(conditions, &new.setup, options.expansion);
    let to_reference = to_reference.map_or(1.0, |to| to.factor);
    let verify_options =
        Options { keep_all: options.keep_all, jaw_flat_mm, to_reference, ..Options::default() };
    match verify(&fitted, new, &verify_options) {
        Ok(verification) => Agreement::Compared {
            verdict: verification.verdict,
            p_value: verification.p_value,
            all_sizes_mm: verification.all_sizes.shift_mm,
            walls_mm: verification.walls.map(|walls| walls.shift_mm),
        },
        Err(error) => Agreement::NotCompared { reason: error.to_string() },
    }
}

/// The readings of both: the earlier prints are numbered on from the new ones, and what was read of them is
/// multiplied to be as if it were read at the temperature of the new ones.
fn pooled(new: &SetupReadings, past: &SetupReadings, as_if_now: f64) -> SetupReadings {
    let last = new.features.iter().map(|feature| feature.copy).max().unwrap_or(0);
    let further = copies(past);
    let renumbered = past.features.iter().map(|feature| {
        let place = further.binary_search(&feature.copy).unwrap_or(0) as u32;
        let mut feature = FeatureReadings { copy: last + 1 + place, ..feature.clone() };
        feature.repeats.lowest.line += EARLIER_LINES;
        feature.repeats.highest.line += EARLIER_LINES;
        feature.repeats.mean_mm *= as_if_now;
        feature.repeats.sum_of_squares_mm2 *= as_if_now * as_if_now;
        feature.repeats.lowest.mm *= as_if_now;
        feature.repeats.highest.mm *= as_if_now;
        feature
    });
    SetupReadings {
        setup: new.setup.clone(),
        features: new.features.iter().cloned().chain(renumbered).collect(),
    }
}

fn copies(setup: &SetupReadings) -> Vec<u32> {
    let mut copies: Vec<u32> = setup.features.iter().map(|feature| feature.copy).collect();
    copies.sort_unstable();
    copies.dedup();
    copies
}

fn prints(setup: &SetupReadings) -> String {
    match copies(setup).len() {
        1 => "1 print".to_owned(),
        count => format!("{count} prints"),
    }
}

/// Gives back the earlier sheet's own line numbers and readings, and says that they are its.
fn name_lines(fit: &mut Fit, earlier_file: &str, as_if_now: f64) {
    for aside in fit.correction.set_aside.iter_mut().filter(|aside| aside.line >= EARLIER_LINES) {
        aside.line -= EARLIER_LINES;
        if as_if_now != 1.0 {
            // To a millionth of a millimetre, what was read comes back as it was.
            aside.reading_mm = (aside.reading_mm / as_if_now * 1e6).round() / 1e6;
        }
        aside.reason = format!("{} (in {earlier_file})", aside.reason);
    }
    for point in fit.points.iter_mut().filter(|point| point.line >= EARLIER_LINES) {
        point.line -= EARLIER_LINES;
    }
    for warning in &mut fit.correction.warnings {
        *warning = with_own_lines(warning, earlier_file);
    }
}

/// A text whose large line numbers are told as lines of the earlier sheet.
fn with_own_lines(text: &str, earlier_file: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find(|c: char| c.is_ascii_digit()) {
        let end = rest[start..].find(|c: char| !c.is_ascii_digit()).map_or(rest.len(), |end| start + end);
        out.push_str(&rest[..start]);
        match rest[start..end].parse::<u64>() {
            Ok(line) if (EARLIER_LINES..2 * EARLIER_LINES).contains(&line) => {
                out.push_str(&format!("{} of {earlier_file}", line - EARLIER_LINES));
            }
            _ => out.push_str(&rest[start..end]),
        }
        rest = &rest[end..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::kind::Kind;
    use crate::readings::read_bytes;

    /// Invented readings of one print: bores 0.18 mm small, pins 0.1 mm large, wobbling by 0.01 mm.
    fn sheet(name: &str, copies: u32, walls_mm: f64, slip: bool) -> CheckedReadings {
        let mut text = "# date: 2026-11-20\nsetup,kind,feature,nominal_mm,copy,reading_mm\n".to_owned();
        for copy in 1..=copies {
            for (at, size) in [4.0, 5.0, 6.0, 8.0, 10.0, 12.0].iter().enumerate() {
                for (kind, offset) in [("bore", -0.18 - walls_mm), ("pin", 0.1 + walls_mm)] {
                    let wobble = 0.01
                        * ((at * 3 + copy as usize * 5 + kind.len() * 2 + name.len()) % 4) as f64
                        - 0.015;
                    let slip = if slip && copy == 1 && at == 3 && kind == "pin" { 1.0 } else { 0.0 };
                    let reading = 0.996 * size + offset + wobble + slip;
                    text += &format!("petg,{kind},{kind}{size},{size},{copy},{reading:.2}\n");
                }
            }
        }
        read_bytes(Path::new(name), text.as_bytes()).unwrap()
    }

    fn only(results: Vec<Result<Fit, FitError>>) -> Fit {
        results.into_iter().next().unwrap().unwrap()
    }

    #[test]
    fn earlier_prints_become_further_prints_and_the_correction_says_where_they_came_from() {
        let (new, earlier) = (sheet("new.csv", 2, 0.0, false), sheet("earlier.csv", 3, 0.0, false));
        let fit = only(fit_all_with(&new, &earlier, &FitOptions::default(), &BTreeMap::new()));
        assert_eq!(fit.correction.prints, 5);
        assert_eq!(fit.correction.kinds[&Kind::Bore].features, 30);
        assert_eq!(fit.correction.readings_file, "new.csv");
        let said = &fit.correction.warnings[0];
        assert!(said.starts_with("pooled with 3 prints of earlier.csv of 2026-11-20 (SHA-256 "), "{said}");
        assert!(said.contains("): they agree (p = "), "{said}");
    }

    #[test]
    fn sheets_that_do_not_agree_are_told() {
        let (new, earlier) = (sheet("new.csv", 2, 0.3, false), sheet("earlier.csv", 3, 0.0, false));
        let said = &only(fit_all_with(&new, &earlier, &FitOptions::default(), &BTreeMap::new()))
            .correction
            .warnings[0];
        assert!(said.contains("they do not agree, the printer has changed in between"), "{said}");
        assert!(said.contains("walls +0.30"), "{said}");
    }

    #[test]
    fn a_slip_of_the_earlier_sheet_is_named_by_its_own_line_and_file() {
        let (new, earlier) = (sheet("new.csv", 2, 0.0, false), sheet("earlier.csv", 3, 0.0, true));
        let fit = only(fit_all_with(&new, &earlier, &FitOptions::default(), &BTreeMap::new()));
        let aside = &fit.correction.set_aside[0];
        assert_eq!(aside.line, 10);
        assert!(aside.reason.ends_with(" (in earlier.csv)"), "{aside:?}");
        assert!(fit.points.iter().all(|point| point.line < EARLIER_LINES));
        let kept = FitOptions { keep_all: true, ..FitOptions::default() };
        let warnings = only(fit_all_with(&new, &earlier, &kept, &BTreeMap::new())).correction.warnings;
        assert!(warnings.iter().any(|warning| warning.contains("line 10 of earlier.csv")), "{warnings:?}");
    }

    #[test]
    fn a_setup_that_only_the_new_sheet_has_is_fitted_alone() {
        let new = sheet("new.csv", 2, 0.0, false);
        let text = "setup,kind,nominal_mm,reading_mm\npla,bore,5,4.8\n";
        let earlier = read_bytes(Path::new("earlier.csv"), text.as_bytes()).unwrap();
        let fit = only(fit_all_with(&new, &earlier, &FitOptions::default(), &BTreeMap::new()));
        assert_eq!(fit.correction.prints, 2);
        assert_eq!(
            fit.correction.warnings[0],
            "earlier.csv has no readings of this setup: it is fitted alone"
        );
    }
}
