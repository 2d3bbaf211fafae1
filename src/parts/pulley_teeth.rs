//! The tooth counts of a batch, and the names that its pulleys' files and labels have.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use crate::belt::pulley::MOST_TEETH;

/// What stands for the number of teeth in a name.
pub const TEETH_WORD: &str = "{teeth}";

/// Tooth counts as they are asked for: `20`, `12..60`, `12,16,20..24`; each once, in the order asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TeethAsked(Vec<u32>);

/// Words that are no tooth counts.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotTeeth {
    /// A part of them is no whole number.
    #[error(
        "`{text}` is no number of teeth; expected a whole number, LOW..HIGH such as 12..60, or several with commas"
    )]
    NotANumber {
        /// The part.
        text: String,
    },
    /// A range runs the wrong way.
    #[error("`{text}` runs from high to low; expected LOW..HIGH")]
    Turned {
        /// The range.
        text: String,
    },
    /// A range that nobody means.
    #[error("`{text}` goes beyond the {MOST_TEETH} teeth that are drawn")]
    ManyTeeth {
        /// The range.
        text: String,
    },
}

impl FromStr for TeethAsked {
    type Err = NotTeeth;

    fn from_str(text: &str) -> Result<Self, NotTeeth> {
        let number = |part: &str| {
            let part = part.trim();
            part.parse::<u32>().map_err(|_| NotTeeth::NotANumber { text: part.to_owned() })
        };
        let mut all = Vec::new();
        for part in text.split(',') {
            let (low, high) = match part.split_once("..") {
                Some((low, high)) => (number(low)?, number(high)?),
                None => (number(part)?, number(part)?),
            };
            let text = || part.trim().to_owned();
            if low > high {
                return Err(NotTeeth::Turned { text: text() });
            }
            if high > MOST_TEETH && low < high {
                return Err(NotTeeth::ManyTeeth { text: text() });
            }
            for teeth in low..=high {
                if !all.contains(&teeth) {
                    all.push(teeth);
                }
            }
        }
        Ok(Self(all))
    }
}

impl TeethAsked {
    /// The counts, in the order asked.
    pub fn counts(&self) -> &[u32] {
        &self.0
    }

    /// Whether more than one pulley is asked for.
    pub fn is_batch(&self) -> bool {
        self.0.len() > 1
    }
}

impl fmt::Display for TeethAsked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words: Vec<String> = self.0.iter().map(u32::to_string).collect();
        f.write_str(&words.join(","))
    }
}

/// A text with the number of teeth in place of [`TEETH_WORD`].
pub fn with_teeth(text: &str, teeth: u32) -> String {
    text.replace(TEETH_WORD, &teeth.to_string())
}

/// The same of a file's name; folders are left as they are.
pub fn path_with_teeth(path: &Path, teeth: u32) -> PathBuf {
    match path.file_name().and_then(|name| name.to_str()) {
        Some(name) => path.with_file_name(with_teeth(name, teeth)),
        None => path.to_owned(),
    }
}

/// Whether a file's name says which pulley of a batch it is of.
pub fn names_its_pulley(path: &Path) -> bool {
    path.file_name().and_then(|name| name.to_str()).is_some_and(|name| name.contains(TEETH_WORD))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tooth_counts_are_numbers_ranges_and_lists() {
        let of = |text: &str| text.parse::<TeethAsked>().map(|asked| asked.0);
        assert_eq!(of("20").unwrap(), [20]);
        assert_eq!(of("12..15").unwrap(), [12, 13, 14, 15]);
        assert_eq!(of("30, 12..14,13").unwrap(), [30, 12, 13, 14]);
        // One too large is refused by the standard, with its own words.
        assert_eq!(of("100000").unwrap(), [100_000]);
        for (text, said) in [
            (
                "twelve",
                "`twelve` is no number of teeth; expected a whole number, LOW..HIGH such as 12..60, or several with commas",
            ),
            (
                "12..",
                "`` is no number of teeth; expected a whole number, LOW..HIGH such as 12..60, or several with commas",
            ),
            ("60..12", "`60..12` runs from high to low; expected LOW..HIGH"),
            ("12..4000000000", "`12..4000000000` goes beyond the 500 teeth that are drawn"),
        ] {
            assert_eq!(of(text).unwrap_err().to_string(), said);
        }
    }

    #[test]
    fn files_are_named_after_their_pulley() {
        let path = Path::new("out/{teeth}/t5-{teeth}.stl");
        assert_eq!(path_with_teeth(path, 20), Path::new("out/{teeth}/t5-20.stl"));
        assert!(names_its_pulley(path) && !names_its_pulley(Path::new("{teeth}/drive.stl")));
    }
}
