//! Limits: what a printed size may be, from a tolerance class or from a named fit with a bought part.
//!
//! - [`iso286`]: `H7`, `g6`, … to limits, from tables.
//! - [`fit_type`]: whether a hole and a shaft clear, press, or may do either.
//! - [`named`]: `press`, `snug`, `slide`, `free`, a range of clearance against the mate's size.
//! - [`aim`]: limits, class or fit to the size that is aimed at.
//! - [`probability`]: the chance that the clearance between a printed and a bought part is as wanted.
//!
//! Clearance is inside less outside, `hole - shaft`; negative clearance is interference. All limits are
//! sizes at 20 °C, and both ends are allowed.

pub mod aim;
pub mod fit_type;
pub mod iso286;
pub mod named;
mod named_file;
pub mod probability;
mod source;
mod steps;

pub use source::Source;

use std::fmt;
use std::str::FromStr;

use crate::kind::Kind;
use crate::units::{Mm, NotALength};

/// Which of two mating parts a size belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// An inside size, such as a bore; a class with a capital letter.
    Hole,
    /// An outside size, such as a pin; a class with a small letter.
    Shaft,
}

impl Side {
    /// The side of a kind; `None` for spans and heights, which mate with nothing by themselves.
    pub fn of(kind: Kind) -> Option<Self> {
        match kind {
            Kind::Bore | Kind::HorizontalBore | Kind::Gap => Some(Self::Hole),
            Kind::Pin | Kind::Outer => Some(Self::Shaft),
            Kind::Span | Kind::Height => None,
        }
    }
}

/// The smallest and the largest size allowed, mm; both are allowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The smallest size allowed, mm.
    pub lower_mm: f64,
    /// The largest size allowed, mm.
    pub upper_mm: f64,
}

impl Limits {
    /// The size halfway between the limits, mm.
    pub fn middle_mm(self) -> f64 {
        decimal_mm(f64::midpoint(self.lower_mm, self.upper_mm))
    }

    /// Whether this size is allowed.
    pub fn contains(self, size_mm: f64) -> bool {
        self.lower_mm <= size_mm && size_mm <= self.upper_mm
    }
}

/// A sum of decimal millimetres as a person would write it: 7.991, not 7.990999999999999.
///
/// To the nearest millionth of a millimetre; no limit is stated finer.
pub(crate) fn decimal_mm(mm: f64) -> f64 {
    (mm * 1e6).round() / 1e6
}

/// Why a text gives no limits.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotLimits {
    /// There is no `..` between two sizes.
    #[error("`{text}` is no pair of limits; expected LOWER..UPPER, such as 8.00..8.15")]
    NoPair {
        /// The offending text.
        text: String,
    },
    /// One of the two is no size.
    #[error("{0}; expected LOWER..UPPER, such as 8.00..8.15")]
    NotALength(#[from] NotALength),
    /// The lower limit is above the upper one.
    #[error("the lower limit {lower} is above the upper limit {upper}")]
    Crossed {
        /// The first size.
        lower: Mm,
        /// The second size.
        upper: Mm,
    },
}

impl FromStr for Limits {
    type Err = NotLimits;

    fn from_str(text: &str) -> Result<Self, NotLimits> {
        let pair = text.split_once("..").ok_or_else(|| NotLimits::NoPair { text: text.to_owned() })?;
        Self::between(pair.0.parse()?, pair.1.parse()?)
    }
}

impl Limits {
    /// From the lower to the upper size, which may be equal.
    pub fn between(lower: Mm, upper: Mm) -> Result<Self, NotLimits> {
        if lower.get() > upper.get() {
            return Err(NotLimits::Crossed { lower, upper });
        }
        Ok(Self { lower_mm: lower.get(), upper_mm: upper.get() })
    }
}

impl fmt::Display for Limits {
    /// Two decimals, or three where the limits have them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", written(self.lower_mm), written(self.upper_mm))
    }
}

/// A size in mm for a person: two decimals, or three where it has them, `8.10`, `7.991`.
///
/// A middle of limits has more, and nobody draws or measures them.
pub fn written(mm: f64) -> String {
    // By way of whole millionths, where a half is exactly a half. Adding 0 turns a rounded -0 into 0.
    let thousandths = ((mm * 1e6).round() / 1e3).round() + 0.0;
    if thousandths % 10.0 == 0.0 {
        format!("{:.2}", thousandths / 1e3)
    } else {
        format!("{:.3}", thousandths / 1e3)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_read_from_two_sizes() {
        let limits: Limits = "8.00..8.15".parse().unwrap();
        assert_eq!(limits, Limits { lower_mm: 8.0, upper_mm: 8.15 });
        assert_eq!(limits.middle_mm(), 8.075);
        assert!(limits.contains(8.0) && limits.contains(8.15) && !limits.contains(8.151));
        assert_eq!("-0.5 mm..1mm".parse::<Limits>().unwrap().lower_mm, -0.5);
    }

    #[test]
    fn what_is_no_pair_of_limits_says_what_was_expected() {
        for (text, message) in [
            ("8.15", "`8.15` is no pair of limits; expected LOWER..UPPER, such as 8.00..8.15"),
            ("8..wide", "`wide` is not a number of millimetres; expected LOWER..UPPER, such as 8.00..8.15"),
            ("8.15..8", "the lower limit 8.15 mm is above the upper limit 8 mm"),
        ] {
            assert_eq!(text.parse::<Limits>().unwrap_err().to_string(), message);
        }
    }

    #[test]
    fn a_size_is_written_with_two_decimals_or_three_where_it_has_them() {
        assert_eq!(written(8.0), "8.00");
        assert_eq!(written(8.1), "8.10");
        assert_eq!(written(7.991), "7.991");
        assert_eq!(written(8.0 + 0.1 + 0.2), "8.30");
        assert_eq!(written(21.881_509), "21.882");
        assert_eq!(written(8.095_5), "8.096");
        assert_eq!(written(-0.004_6), "-0.005");
        assert_eq!(written(-0.000_1), "0.00");
        assert_eq!(Limits { lower_mm: 22.0105, upper_mm: 23.0 }.to_string(), "22.011 to 23.00");
    }
}
