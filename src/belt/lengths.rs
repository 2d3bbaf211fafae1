//! Standard lengths of closed belts, and the codes that they are sold by.
//!
//! An inch belt's code is its pitch length in tenths of an inch, to the nearest whole number, a half
//! downwards: 70 XL is 7.0 in, 177.8 mm, 35 teeth; 187 L is 18.75 in and 124 L 12.375 in. A metric belt's code is its pitch length in millimetres. Both are
//! common practice, and every listed row of the inch profiles agrees.
//!
//! A code that is in no list still says a length where a whole number of teeth has that code; it is then
//! labelled `derived`.
//!
//! Source: `data/belts/belt_lengths.csv`; every row carries its own labels.

use std::sync::OnceLock;

use super::profile::Profile;
use super::table::{self, Row};

const TABLE: &str = include_str!("../../data/belts/belt_lengths.csv");

const MM_PER_INCH: f64 = 25.4;

/// Where a length comes from that is in no list.
const DERIVED: &str = "derived: from the code (tenths of an inch, or millimetres: common practice)";

/// A closed belt that is sold by a code.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeltLength {
    /// The profile's name.
    pub profile: &'static str,
    /// The code it is sold by.
    pub code: u32,
    /// How many teeth it has.
    pub teeth: u32,
    /// Whether it is in the list of standard lengths.
    pub listed: bool,
    /// How far its length may be off, mm either way.
    pub tolerance_mm: Option<f64>,
    /// Where the length comes from.
    pub source: &'static str,
    /// Where the tolerance comes from; empty without one.
    pub tolerance_source: &'static str,
}

/// Why a text is the code of no belt.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoLength {
    /// It holds no number.
    #[error("`{text}` is no length code; expected a number, such as 70 of the belt 70 XL")]
    NotACode {
        /// The offending text.
        text: String,
    },
    /// It names another profile than the one that was asked for.
    #[error("the belt `{text}` is not of profile {profile}")]
    OtherProfile {
        /// The offending text.
        text: String,
        /// The profile.
        profile: &'static str,
    },
    /// No whole number of teeth is that long.
    #[error("no {profile} belt has the code {code}: {teeth:.2} teeth would be that long")]
    NoTeeth {
        /// The profile.
        profile: &'static str,
        /// The code.
        code: u32,
        /// How many teeth would be that long.
        teeth: f64,
        /// The codes of the nearest whole numbers of teeth.
        nearest: [u32; 2],
    },
}

impl NoLength {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::NoTeeth { nearest: [below, above], .. } => {
                Some(format!("{below} and {above} would be codes"))
            }
            Self::NotACode { .. } | Self::OtherProfile { .. } => None,
        }
    }
}

fn rows() -> &'static [BeltLength] {
    static ROWS: OnceLock<Vec<BeltLength>> = OnceLock::new();
    ROWS.get_or_init(|| {
        let rows: &'static [Row] = Box::leak(table::rows(TABLE).into_boxed_slice());
        rows.iter().map(read).collect()
    })
}

fn read(row: &'static Row) -> BeltLength {
    let whole = |column| row.number(column).expect("the table of lengths has codes and teeth") as u32;
    BeltLength {
        profile: row.text("profile"),
        code: whole("code"),
        teeth: whole("teeth"),
        listed: true,
        tolerance_mm: row.number("length_tol_mm"),
        source: row.text("source_length"),
        tolerance_source: row.text("source_tol"),
    }
}

/// The listed lengths of a profile, shortest first; none where no list is known.
pub fn listed(profile: &Profile) -> impl Iterator<Item = &'static BeltLength> {
    let name = profile.name;
    rows().iter().filter(move |row| row.profile == name)
}

/// The profiles whose standard lengths are listed.
pub fn profiles() -> Vec<&'static str> {
    let mut names: Vec<&'static str> = rows().iter().map(|row| row.profile).collect();
    names.dedup();
    names
}

/// The belt of this many teeth: as listed, or its code and no tolerance.
pub fn of_teeth(profile: &'static Profile, teeth: u32) -> BeltLength {
    listed(profile).find(|row| row.teeth == teeth).copied().unwrap_or(BeltLength {
        profile: profile.name,
        code: code_of(profile, teeth),
        teeth,
        listed: false,
        tolerance_mm: None,
        source: "derived: pitch times teeth",
        tolerance_source: "",
    })
}

/// The code that so many teeth have.
fn code_of(profile: &Profile, teeth: u32) -> u32 {
    let length_mm = profile.pitch_mm * f64::from(teeth);
    let code = if is_inch(profile) { length_mm / MM_PER_INCH * 10.0 } else { length_mm };
    // A half goes downwards, whatever its last binary digit says.
    (code - 0.5 - 1e-6).ceil() as u32
}

fn is_inch(profile: &Profile) -> bool {
    profile.standard.starts_with("ISO 5294")
}

/// The belt that is sold by this code: `70`, `70 XL`, `70XL`, `T5/365`.
pub fn of_code(profile: &'static Profile, text: &str) -> Result<BeltLength, NoLength> {
    let code = number_in(profile, text)?;
    if let Some(row) = listed(profile).find(|row| row.code == code) {
        return Ok(*row);
    }
    let length_mm = f64::from(code) * if is_inch(profile) { MM_PER_INCH / 10.0 } else { 1.0 };
    let exact = length_mm / profile.pitch_mm;
    let below = exact.floor().max(1.0) as u32;
    match [below, below + 1].into_iter().find(|teeth| code_of(profile, *teeth) == code) {
        Some(teeth) => Ok(BeltLength { code, source: DERIVED, ..of_teeth(profile, teeth) }),
        None => Err(NoLength::NoTeeth {
            profile: profile.name,
            code,
            teeth: exact,
            nearest: [code_of(profile, below), code_of(profile, below + 1)],
        }),
    }
}

/// The number of a code, which may stand before or behind the profile's name.
fn number_in(profile: &Profile, text: &str) -> Result<u32, NoLength> {
    let not_a_code = || NoLength::NotACode { text: text.to_owned() };
    let upper = text.trim().to_uppercase();
    if let Ok(code) = upper.parse() {
        return Ok(code);
    }
    let name = profile.name.to_uppercase();
    let rest = upper.strip_suffix(&name).or_else(|| upper.strip_prefix(&name)).ok_or_else(|| {
        if upper.chars().any(|c| c.is_ascii_alphabetic()) && upper.chars().any(|c| c.is_ascii_digit()) {
            NoLength::OtherProfile { text: text.to_owned(), profile: profile.name }
        } else {
            not_a_code()
        }
    })?;
    let digits = rest.trim_matches([' ', '/', '-', '_']);
    digits.parse().map_err(|_| {
        // 70 XXL ends in XL as well.
        if digits.chars().any(|c| c.is_ascii_alphabetic()) {
            NoLength::OtherProfile { text: text.to_owned(), profile: profile.name }
        } else {
            not_a_code()
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::profile::find;

    /// Common practice, no source: a belt sold as 70 XL has 35 teeth and is 177.8 mm long.
    #[test]
    fn seventy_xl_is_35_teeth_and_177_8_mm() {
        let xl = find("XL", 20).unwrap();
        for text in ["70", "70XL", "70 xl", " 70 XL ", "XL 70"] {
            let belt = of_code(xl, text).unwrap();
            assert_eq!((belt.code, belt.teeth, belt.listed), (70, 35, true), "{text}");
            assert!((xl.pitch_mm * f64::from(belt.teeth) - 177.8).abs() < 1e-12);
            assert!(belt.source.starts_with("looked-up"), "{}", belt.source);
            assert_eq!(belt.tolerance_mm, Some(0.406));
        }
    }

    /// Every row of the table: code, teeth and length agree by the rules that the module header gives.
    #[test]
    fn every_listed_code_says_its_teeth() {
        let rows: &'static [Row] = Box::leak(table::rows(TABLE).into_boxed_slice());
        assert_eq!(rows.len(), 108);
        for row in rows {
            let profile = find(row.text("profile"), 40).unwrap();
            let belt = of_code(profile, row.text("code")).unwrap();
            let length_mm = row.number("pitch_length_mm").unwrap();
            assert!((profile.pitch_mm * f64::from(belt.teeth) - length_mm).abs() < 5e-4, "{belt:?}");
            assert_eq!(code_of(profile, belt.teeth), belt.code, "{belt:?}");
            assert_eq!(of_teeth(profile, belt.teeth), belt);
            let labelled = |source: &str| ["looked-up", "from memory"].iter().any(|l| source.starts_with(l));
            assert!(labelled(belt.source) && labelled(belt.tolerance_source), "{belt:?}");
        }
        assert_eq!(profiles(), ["MXL", "XL", "L", "T5"]);
    }

    #[test]
    fn a_code_in_no_list_still_says_a_length() {
        // 30 in of 1/2 in pitch; 32.5 in of 0.8 in would be none.
        let h = find("H", 20).unwrap();
        let belt = of_code(h, "300 H").unwrap();
        assert_eq!((belt.teeth, belt.listed, belt.tolerance_mm), (60, false, None));
        assert!(belt.source.starts_with("derived"), "{}", belt.source);
        assert_eq!(of_code(find("T10", 20).unwrap(), "T10/660").unwrap().teeth, 66);
        // Listed, and a half: 18.75 in.
        assert_eq!(of_code(find("L", 20).unwrap(), "187").unwrap().teeth, 50);
    }

    #[test]
    fn what_is_no_code_is_said() {
        let (xl, t5) = (find("XL", 20).unwrap(), find("T5", 20).unwrap());
        let error = of_code(xl, "71").unwrap_err();
        assert_eq!(error.to_string(), "no XL belt has the code 71: 35.50 teeth would be that long");
        assert_eq!(error.help().unwrap(), "70 and 72 would be codes");
        let error = of_code(t5, "70 XL").unwrap_err();
        assert_eq!(error.to_string(), "the belt `70 XL` is not of profile T5");
        let error = of_code(xl, "70 XXL").unwrap_err();
        assert_eq!(error.to_string(), "the belt `70 XXL` is not of profile XL");
        assert!(matches!(of_code(xl, "long"), Err(NoLength::NotACode { .. })));
        assert!(matches!(of_code(xl, "XL"), Err(NoLength::NotACode { .. })));
        assert!(matches!(of_code(xl, "-70"), Err(NoLength::NotACode { .. })));
        assert!(matches!(of_code(xl, "0"), Err(NoLength::NoTeeth { .. })));
    }
}
