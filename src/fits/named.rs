//! Named fits with a bought part: `press`, `snug`, `slide`, `free`, as ranges of clearance.
//!
//! A range of clearance against the mate's size gives the limits of the printed feature: mate + clearance
//! for an inside kind, mate - clearance for an outside one. Negative clearance is interference. The
//! numbers are in `data/fits/named.toml`; a file of the same form replaces or adds to them.
//!
//! Source: common practice, no source; each fit carries its own label.

use std::path::Path;

use crate::files::{self, FileError};
use crate::kind::Kind;
use crate::problem::{Problem, counted, nearest};

use super::named_file::parse;
use super::{Limits, Side, decimal_mm, written};

/// What everyone who presses parts together should be told.
pub const PRESS_CAUTION: &str = "a pressed part can burst: wear eye protection, press slowly and in line, \
     and follow the rules of your workshop and of the bought part's maker";

/// A range of clearance with a name.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedFit {
    /// The name, such as `slide`.
    pub name: String,
    /// Least and most clearance on a mate of size 0, mm.
    pub(super) clearance: Limits,
    /// What each mm of the mate's size adds to both, mm per mm.
    pub(super) growth: f64,
    /// What the fit does, in a few words; empty when the file does not say.
    pub means: String,
    /// Where the numbers come from; empty when the file does not say.
    pub source: String,
}

/// Why a fit gives no limits.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// No fit has this name.
    #[error("`{name}` is no fit; expected one of {expected}")]
    Unknown {
        /// The offending text.
        name: String,
        /// The names that would do, tightest first.
        expected: String,
        /// The closest of them, when one is close.
        nearest: Option<String>,
    },
    /// The kind mates with nothing.
    #[error("{} have no fit: they go neither into nor over a bought part", kind.plural())]
    NoMate {
        /// The kind.
        kind: Kind,
    },
    /// The mate or the limits would not be above zero.
    #[error("`{name}` on {} gives no size for {}: the limits would not be above zero", written(*mate_mm), kind.plural())]
    TooSmall {
        /// The fit.
        name: String,
        /// The kind.
        kind: Kind,
        /// The mate's size, mm.
        mate_mm: f64,
    },
}

impl FitError {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Unknown { nearest, .. } => nearest.as_ref().map(|name| format!("did you mean `{name}`?")),
            Self::NoMate { .. } => Some("give its limits instead".to_owned()),
            Self::TooSmall { .. } => None,
        }
    }
}

impl NamedFit {
    /// A fit whose clearances are a person's own, the same for every size.
    pub fn of_clearance(name: &str, clearance: Limits, source: &str) -> Self {
        let (name, source) = (name.to_owned(), source.to_owned());
        Self { name, clearance, growth: 0.0, means: String::new(), source }
    }

    /// Where the numbers come from, and where the file does not say, that it does not.
    pub fn source_in_words(&self) -> &str {
        if self.source.is_empty() { "the file of fits does not say" } else { &self.source }
    }

    /// Least and most clearance with a mate of this size, mm, to a micrometre; negative is interference.
    pub fn clearance(&self, mate_mm: f64) -> Limits {
        // To a micrometre: nobody can print finer, and the limits stay readable.
        let grown = |end_mm: f64| ((end_mm + self.growth * mate_mm) * 1000.0).round() / 1000.0;
        Limits { lower_mm: grown(self.clearance.lower_mm), upper_mm: grown(self.clearance.upper_mm) }
    }

    /// Whether parts in the middle of the range must be pressed together.
    pub fn is_pressed(&self, mate_mm: f64) -> bool {
        self.clearance(mate_mm).middle_mm() < 0.0
    }

    /// The limits of a printed feature that goes with a mate of this size.
    ///
    /// # Errors
    /// A span or a height, and sizes that would not be above zero.
    pub fn limits(&self, kind: Kind, mate_mm: f64) -> Result<Limits, FitError> {
        let clearance = self.clearance(mate_mm);
        let limits = match Side::of(kind).ok_or(FitError::NoMate { kind })? {
            Side::Hole => Limits {
                lower_mm: decimal_mm(mate_mm + clearance.lower_mm),
                upper_mm: decimal_mm(mate_mm + clearance.upper_mm),
            },
            Side::Shaft => Limits {
                lower_mm: decimal_mm(mate_mm - clearance.upper_mm),
                upper_mm: decimal_mm(mate_mm - clearance.lower_mm),
            },
        };
        if mate_mm > 0.0 && limits.lower_mm > 0.0 {
            Ok(limits)
        } else {
            Err(FitError::TooSmall { name: self.name.clone(), kind, mate_mm })
        }
    }
}

/// The fits that can be named, tightest first.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedFits(Vec<NamedFit>);

/// Why a file of fits cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FitsFileError {
    /// The file could not be read.
    #[error(transparent)]
    File(#[from] FileError),
    /// What is in it is wrong: every problem, in file order.
    #[error("{} in the file of fits", counted(.0.len() as u64, "problem"))]
    Problems(Vec<Problem>),
}

impl NamedFits {
    /// The fits that come with the program.
    pub fn bundled() -> Self {
        let text = include_str!("../../data/fits/named.toml");
        Self(parse(text, Path::new("data/fits/named.toml")).unwrap_or_default())
    }

    /// The bundled fits, replaced and added to by those of a file.
    pub fn read(path: &Path) -> Result<Self, FitsFileError> {
        let own = parse(&files::read_text(path)?, path).map_err(FitsFileError::Problems)?;
        let mut fits = Self::bundled().0;
        fits.retain(|fit| own.iter().all(|other| other.name != fit.name));
        fits.extend(own);
        fits.sort_by(|a, b| a.clearance.lower_mm.total_cmp(&b.clearance.lower_mm));
        Ok(Self(fits))
    }

    /// Every fit, tightest first.
    pub fn iter(&self) -> impl Iterator<Item = &NamedFit> {
        self.0.iter()
    }

    /// The fit of this name, in whatever case.
    pub fn get(&self, name: &str) -> Result<&NamedFit, FitError> {
        let name = name.trim();
        self.0.iter().find(|fit| fit.name.eq_ignore_ascii_case(name)).ok_or_else(|| {
            let names: Vec<&str> = self.0.iter().map(|fit| fit.name.as_str()).collect();
            FitError::Unknown {
                name: name.to_owned(),
                expected: names.join(", "),
                nearest: nearest(name, names.iter().copied()).map(str::to_owned),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(name: &str, kind: Kind, mate_mm: f64) -> Limits {
        NamedFits::bundled().get(name).unwrap().limits(kind, mate_mm).unwrap()
    }

    #[test]
    fn a_bore_is_larger_and_a_pin_smaller_than_its_mate_by_the_clearance() {
        assert_eq!(limits("slide", Kind::Bore, 8.0), Limits { lower_mm: 8.05, upper_mm: 8.15 });
        assert_eq!(limits("slide", Kind::HorizontalBore, 8.0), limits("slide", Kind::Gap, 8.0));
        assert_eq!(limits("slide", Kind::Pin, 8.0), Limits { lower_mm: 7.85, upper_mm: 7.95 });
        assert_eq!(limits("slide", Kind::Outer, 8.0), limits("Slide ", Kind::Pin, 8.0));
        assert_eq!(limits("press", Kind::Bore, 22.0), Limits { lower_mm: 21.836, upper_mm: 21.936 });
    }

    #[test]
    fn the_bundled_fits_follow_each_other_from_tight_to_loose_and_say_where_they_come_from() {
        let fits = NamedFits::bundled();
        let names: Vec<&str> = fits.iter().map(|fit| fit.name.as_str()).collect();
        assert_eq!(names, ["press", "snug", "slide", "free"]);
        for (tight, loose) in fits.iter().zip(fits.iter().skip(1)) {
            for mate in [3.0, 8.0, 22.0] {
                assert!(tight.clearance(mate).upper_mm <= loose.clearance(mate).lower_mm);
            }
        }
        assert!(fits.iter().all(|fit| fit.source == "common practice, no source" && !fit.means.is_empty()));
        let pressed: Vec<bool> = fits.iter().map(|fit| fit.is_pressed(8.0)).collect();
        assert_eq!(pressed, [true, false, false, false]);
    }

    /// Interference over diameter is the strain of a thick wall at the bore: it holds above about half a
    /// percent, and plastics yield at about two.
    #[test]
    fn a_press_fit_holds_and_does_not_burst_from_four_to_twenty_millimetres() {
        for mate in [4.0, 5.0, 8.0, 20.0] {
            let strain = -NamedFits::bundled().get("press").unwrap().clearance(mate).middle_mm() / mate;
            assert!((0.005..0.02).contains(&strain), "{mate} mm: {strain}");
        }
    }

    #[test]
    fn what_has_no_fit_says_why() {
        let fits = NamedFits::bundled();
        let error = fits.get("slid").unwrap_err();
        assert_eq!(error.to_string(), "`slid` is no fit; expected one of press, snug, slide, free");
        assert_eq!(error.help().unwrap(), "did you mean `slide`?");
        let error = fits.get("free").unwrap().limits(Kind::Span, 8.0).unwrap_err();
        assert_eq!(error.to_string(), "spans have no fit: they go neither into nor over a bought part");
        let error = fits.get("free").unwrap().limits(Kind::Pin, 0.3).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`free` on 0.30 gives no size for pins: the limits would not be above zero"
        );
    }

    #[test]
    fn a_file_of_ones_own_replaces_and_adds() {
        let scratch = tempfile::tempdir().unwrap();
        let path = scratch.path().join("fits.toml");
        let text = "[slide]\nclearance_mm = [0.1, 0.2]\n[rattle]\nclearance_mm = [1, 2]\nmeans = \"loose\"\n";
        std::fs::write(&path, text).unwrap();
        let fits = NamedFits::read(&path).unwrap();
        let names: Vec<&str> = fits.iter().map(|fit| fit.name.as_str()).collect();
        assert_eq!(names, ["press", "snug", "slide", "free", "rattle"]);
        assert_eq!(fits.get("slide").unwrap().limits(Kind::Bore, 8.0).unwrap().lower_mm, 8.1);
        assert_eq!(fits.get("rattle").unwrap().clearance(8.0), Limits { lower_mm: 1.0, upper_mm: 2.0 });
    }
}
