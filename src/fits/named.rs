//! Named fits with a bought part: `press`, `snug`, `slide`, `free`, as ranges of clearance.
//!
//! A range of clearance against the mate's size gives the limits of the printed feature: mate + clearance
//! for an inside kind, mate - clearance for an outside one. Negative clearance is interference. The
//! numbers are in `data/fits/named.toml`; a file of the same form replaces or adds to them.
//!
//! Source: common practice, no source; each fit carries its own label.

use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::files::{self, FileError};
use crate::kind::Kind;
use crate::problem::{Location, Problem, nearest};

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
    clearance: Limits,
    /// What each mm of the mate's size adds to both, mm per mm.
    growth: f64,
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

    /// Least and most clearance with a mate of this size, mm; negative is interference.
    pub fn clearance(&self, mate_mm: f64) -> Limits {
        Limits {
            lower_mm: decimal_mm(self.clearance.lower_mm + self.growth * mate_mm),
            upper_mm: decimal_mm(self.clearance.upper_mm + self.growth * mate_mm),
        }
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
    #[error("{} in the file of fits", crate::fits::named::count(.0.len()))]
    Problems(Vec<Problem>),
}

fn count(problems: usize) -> String {
    if problems == 1 { "1 problem".to_owned() } else { format!("{problems} problems") }
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

const FIELDS: [&str; 4] = ["clearance_mm", "growth_mm_per_mm", "means", "source"];

/// The fits of a file, tightest first, or every problem in it.
fn parse(text: &str, path: &Path) -> Result<Vec<NamedFit>, Vec<Problem>> {
    let line = |at: usize| 1 + text[..at].matches('\n').count() as u64;
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let problem = |error: &toml::de::Error| {
            let place = Location::file(path).line(line(error.span().map_or(0, |span| span.start)));
            Problem::error(place, error.message().to_owned())
        };
        return Err(errors.iter().map(problem).collect());
    }
    let mut file = FitsFile { path, line: &line, problems: Vec::new() };
    let entries = table.get_ref().iter();
    let mut fits: Vec<NamedFit> =
        entries.filter_map(|(name, value)| file.fit(name.get_ref(), value)).collect();
    if !file.problems.is_empty() {
        // Tables come in the order of their names.
        file.problems.sort_by_key(|problem| problem.location.line);
        return Err(file.problems);
    }
    fits.sort_by(|a, b| a.clearance.lower_mm.total_cmp(&b.clearance.lower_mm));
    Ok(fits)
}

struct FitsFile<'a> {
    path: &'a Path,
    line: &'a dyn Fn(usize) -> u64,
    problems: Vec<Problem>,
}

impl FitsFile<'_> {
    fn problem(&mut self, at: usize, key: String, message: String) -> &mut Problem {
        let place = Location::file(self.path).line((self.line)(at)).column(key);
        self.problems.push(Problem::error(place, message));
        let last = self.problems.len() - 1;
        &mut self.problems[last]
    }

    /// The fit of one table; `None` when something is wrong with it.
    fn fit(&mut self, name: &str, value: &Spanned<DeValue<'_>>) -> Option<NamedFit> {
        let before = self.problems.len();
        let at = value.span().start;
        let DeValue::Table(table) = value.get_ref() else {
            let problem = self.problem(at, name.to_owned(), "a fit is a table of its own".to_owned());
            problem.help = Some(format!("write `[{name}]`, and below it `clearance_mm = [0.05, 0.15]`"));
            return None;
        };
        let mut fit = NamedFit {
            name: name.to_owned(),
            clearance: Limits { lower_mm: 0.0, upper_mm: 0.0 },
            growth: 0.0,
            means: String::new(),
            source: String::new(),
        };
        for (field, value) in table {
            let key = format!("{name}.{}", field.get_ref());
            let at = value.span().start;
            match field.get_ref().as_ref() {
                "clearance_mm" => match clearance(value.get_ref()) {
                    Some(limits) => fit.clearance = limits,
                    None => {
                        let message = "expected two clearances in mm, the least first".to_owned();
                        self.problem(at, key, message).help = Some("such as [0.05, 0.15]".to_owned());
                    }
                },
                "growth_mm_per_mm" => match number(value.get_ref()).filter(|growth| growth.abs() < 0.1) {
                    Some(growth) => fit.growth = growth,
                    None => {
                        let message = "expected a number between -0.1 and 0.1".to_owned();
                        self.problem(at, key, message);
                    }
                },
                "means" | "source" => match value.get_ref().as_str() {
                    Some(words) if field.get_ref() == "means" => fit.means = words.to_owned(),
                    Some(words) => fit.source = words.to_owned(),
                    None => {
                        self.problem(at, key, "expected words in quotes".to_owned());
                    }
                },
                unknown => {
                    let help = match nearest(unknown, FIELDS) {
                        Some(known) => format!("did you mean `{known}`?"),
                        None => format!("expected one of {}", FIELDS.join(", ")),
                    };
                    let place = field.span().start;
                    self.problem(place, key, "a fit has no such field".to_owned()).help = Some(help);
                }
            }
        }
        if !table.contains_key("clearance_mm") {
            let problem = self.problem(at, name.to_owned(), "`clearance_mm` is missing".to_owned());
            problem.help = Some("such as clearance_mm = [0.05, 0.15]".to_owned());
        }
        (self.problems.len() == before).then_some(fit)
    }
}

fn clearance(value: &DeValue<'_>) -> Option<Limits> {
    let pair = value.as_array()?;
    let [least, most] = [pair.get(0)?, pair.get(1)?].map(|end| number(end.get_ref()));
    let limits = Limits { lower_mm: least?, upper_mm: most? };
    (pair.iter().count() == 2 && limits.lower_mm < limits.upper_mm).then_some(limits)
}

fn number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Integer(whole) if whole.radix() == 10 => whole.as_str(),
        DeValue::Float(float) => float.as_str(),
        _ => return None,
    };
    text.parse().ok().filter(|number: &f64| number.is_finite())
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

    #[test]
    fn every_problem_of_a_file_is_told_in_file_order() {
        let text = "tight = 0.1\n[slide]\nclearence_mm = [0.05, 0.15]\n[free]\nclearance_mm = [0.4, 0.2]\n\
                    means = 3\ngrowth_mm_per_mm = 2\n[a]\nclearance_mm = [0, 1, 2]\ncolour = \"red\"\n";
        let problems: Vec<String> =
            parse(text, Path::new("f.toml")).unwrap_err().iter().map(ToString::to_string).collect();
        assert_eq!(
            problems,
            [
                "error: f.toml:1: tight: a fit is a table of its own\n  \
                 help: write `[tight]`, and below it `clearance_mm = [0.05, 0.15]`",
                "error: f.toml:2: slide: `clearance_mm` is missing\n  \
                 help: such as clearance_mm = [0.05, 0.15]",
                "error: f.toml:3: slide.clearence_mm: a fit has no such field\n  \
                 help: did you mean `clearance_mm`?",
                "error: f.toml:5: free.clearance_mm: expected two clearances in mm, the least first\n  \
                 help: such as [0.05, 0.15]",
                "error: f.toml:6: free.means: expected words in quotes",
                "error: f.toml:7: free.growth_mm_per_mm: expected a number between -0.1 and 0.1",
                "error: f.toml:9: a.clearance_mm: expected two clearances in mm, the least first\n  \
                 help: such as [0.05, 0.15]",
                "error: f.toml:10: a.colour: a fit has no such field\n  \
                 help: expected one of clearance_mm, growth_mm_per_mm, means, source",
            ]
        );
        assert_eq!(parse("[slide\n", Path::new("f.toml")).unwrap_err()[0].location.line, Some(1));
    }
}
