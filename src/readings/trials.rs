//! What a person without a caliper finds out: how the real piece goes into a printed feature, or over it.
//!
//! A row's `feel` is one of five words, from tight to loose; `mate_mm` is the size of the piece that was
//! tried, `mate` says which it was. Both ends of a sentence are needed: a feel without the piece's size
//! says nothing about the print.

use std::fmt;
use std::str::FromStr;

use serde::Serialize;

use crate::kind::{Axis, Kind, UnknownWord};

use super::CheckedReadings;

/// How the real piece goes with the printed one, from tight to loose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feel {
    /// Does not go, not even pressed.
    NoGo,
    /// Goes in under a press or a vice and stays.
    Press,
    /// Goes in by hand with effort, has no play.
    Snug,
    /// Goes in by itself and moves with little play.
    Slide,
    /// Drops in and rattles.
    Free,
}

impl Feel {
    /// Every feel, tightest first.
    pub const ALL: [Self; 5] = [Self::NoGo, Self::Press, Self::Snug, Self::Slide, Self::Free];

    /// The word used in sheets and files.
    pub fn name(self) -> &'static str {
        match self {
            Self::NoGo => "no-go",
            Self::Press => "press",
            Self::Snug => "snug",
            Self::Slide => "slide",
            Self::Free => "free",
        }
    }

    /// How to tell it from its neighbours, in words that are the same for everyone.
    pub fn means(self) -> &'static str {
        match self {
            Self::NoGo => "it does not go in (or on), not even under a vice or clamp, or only with damage",
            Self::Press => "it goes only under a vice, a clamp or a mallet, and does not come off by hand",
            Self::Snug => "you push it home by hand, it stays where it is, and nothing rattles",
            Self::Slide => "it goes by its own weight or a light touch, and moves; you feel hardly any play",
            Self::Free => "it drops in (or over), and you can see or hear it rattle",
        }
    }
}

impl FromStr for Feel {
    type Err = UnknownWord;

    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        let asked = text.trim().replace(['_', ' '], "-");
        if let Some(found) = Self::ALL.iter().find(|feel| feel.name().eq_ignore_ascii_case(&asked)) {
            return Ok(*found);
        }
        // Also as one word.
        if asked.eq_ignore_ascii_case("nogo") {
            return Ok(Self::NoGo);
        }
        let words = Self::ALL.map(Self::name);
        Err(UnknownWord {
            text: text.trim().to_owned(),
            what: "feel",
            expected: words.join(", "),
            nearest: crate::problem::nearest(&asked, words).map(str::to_owned),
        })
    }
}

impl fmt::Display for Feel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// One row's trial, by the numbers of its setup and definition.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Trial {
    pub(super) setup: usize,
    pub(super) definition: u32,
    pub(super) copy: u32,
    pub(super) line: u64,
    pub(super) feel: Feel,
    pub(super) mate_mm: f64,
    pub(super) mate: Box<str>,
}

/// How one feature of one print felt with the real piece.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureTrial {
    /// Which coupon, empty when the file does not say.
    pub coupon: String,
    /// Which feature of it; made from kind, axis and size when the file does not say.
    pub feature: String,
    /// What was tried.
    pub kind: Kind,
    /// The direction that the row is about.
    pub axis: Axis,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// Which print, from 1.
    pub copy: u32,
    /// Line in the file, from 1.
    pub line: u64,
    /// How it felt.
    pub feel: Feel,
    /// The size of the piece that was tried, mm.
    pub mate_mm: f64,
    /// Which piece it was, such as `shaft`; empty when the file does not say.
    pub mate: String,
}

impl CheckedReadings {
    /// The trials of one setup, by its number from 0, in file order.
    pub fn trials(&self, setup: usize) -> Vec<FeatureTrial> {
        let own = self.trials.iter().filter(|trial| trial.setup == setup);
        own.map(|trial| {
            let definition = &self.definitions[trial.definition as usize];
            FeatureTrial {
                coupon: definition.coupon.to_string(),
                feature: definition.feature.to_string(),
                kind: definition.kind,
                axis: definition.axis,
                nominal_mm: definition.nominal_mm,
                copy: trial.copy,
                line: trial.line,
                feel: trial.feel,
                mate_mm: trial.mate_mm,
                mate: trial.mate.to_string(),
            }
        })
        .collect()
    }

    /// How many trials in all.
    pub fn trial_count(&self) -> usize {
        self.trials.len()
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::readings::read_bytes;

    #[test]
    fn a_row_may_have_a_feel_and_no_reading_or_both() {
        let text = "setup,coupon,feature,kind,nominal_mm,copy,reading_1_mm,feel,mate_mm,mate\n\
                    A,R8,b8,bore,8,1,,slide,7.9,shaft\nB,R8,b8,bore,8,2,8.02,No go,8.1,\nA,R8,b8,bore,8,1,,,,\n";
        let read = read_bytes(Path::new("r.csv"), text.as_bytes()).unwrap();
        assert_eq!((read.readings, read.not_measured, read.trial_count()), (1, 1, 2));
        let (a, b) = (read.trials(0), read.trials(1));
        assert_eq!((a[0].feel, a[0].mate_mm, a[0].mate.as_str(), a[0].line), (Feel::Slide, 7.9, "shaft", 2));
        assert_eq!((b[0].feel, b[0].copy, b[0].line), (Feel::NoGo, 2, 3));
        assert_eq!(read.setup(0).unwrap().features, []);
        let without = "kind;nominal_mm;feel;mate_mm\ngap;3,1;free;2,7;;\n";
        let read = read_bytes(Path::new("r.csv"), without.as_bytes()).unwrap();
        assert_eq!((read.readings, read.trials(0)[0].nominal_mm, read.trials(0)[0].mate_mm), (0, 3.1, 2.7));
    }

    /// Rows that repeat one another letter by letter are read a faster way, which knows no feels.
    #[test]
    fn no_feel_is_lost_where_rows_repeat_one_another() {
        let mut text = "coupon,kind,nominal_mm,copy,reading_1_mm,feel,mate_mm\n".to_owned();
        (0..50).for_each(|row| text += &format!("R,bore,8,1,8.0{},slide,7.9\n", row % 10));
        let read = read_bytes(Path::new("r.csv"), text.as_bytes()).unwrap();
        assert_eq!((read.readings, read.trial_count()), (50, 50));
    }

    #[test]
    fn what_is_wrong_with_a_feel_is_told_with_what_to_do() {
        let text = "kind,nominal_mm,reading_mm,feel,mate_mm\nbore,8,,slid,8\nbore,8,,slide,\nspan,20,,free,20\n\
                    bore,8,,xyzzy,wide\n";
        let problems = read_bytes(Path::new("r.csv"), text.as_bytes()).unwrap_err();
        let said: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            said,
            [
                "error: r.csv:2: feel: `slid` is no feel\n  help: did you mean `slide`?",
                "error: r.csv:3: mate_mm: a feel without the size of the piece that was tried, `mate_mm`\n  \
                 help: measure the shaft, bearing or belt that was tried, and write its size in mm",
                "error: r.csv:4: feel: a span has no feel: nothing goes into it or over it\n  \
                 help: leave the cell blank, or correct the kind",
                "error: r.csv:5: feel: `xyzzy` is no feel\n  \
                 help: expected one of no-go, press, snug, slide, free",
                "error: r.csv:5: mate_mm: `wide` is not a number\n  \
                 help: measure the shaft, bearing or belt that was tried, and write its size in mm",
            ]
        );
        let text = "kind,nominal_mm,feel\nbore,8,slide\n";
        let problems = read_bytes(Path::new("r.csv"), text.as_bytes()).unwrap_err();
        assert!(problems[0].to_string().starts_with("error: r.csv:2: feel: a feel without the size"));
    }

    #[test]
    fn a_sheet_of_feels_that_is_still_blank_says_so() {
        let text = "kind,nominal_mm,feel,mate_mm\nbore,8,,8\n";
        let problems = read_bytes(Path::new("r.csv"), text.as_bytes()).unwrap_err();
        assert_eq!(
            problems[0].to_string(),
            "error: r.csv: nothing is measured yet: its only row has no reading\n  \
             help: type how the real piece feels into the column `feel`, and its size into `mate_mm`"
        );
    }
}
