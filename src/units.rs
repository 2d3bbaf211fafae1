//! Lengths that carry their unit in the type.

use std::fmt;
use std::str::FromStr;

/// A finite length in millimetres.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, serde::Serialize)]
#[serde(transparent)]
pub struct Mm(f64);

/// Why a text or a number is no length.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotALength {
    /// The text does not parse as a number.
    #[error("`{text}` is not a number of millimetres")]
    NotANumber {
        /// The offending text.
        text: String,
    },
    /// The number is infinite or not a number.
    #[error("`{text}` is not a finite length")]
    NotFinite {
        /// The offending text.
        text: String,
    },
}

impl Mm {
    /// The length, or `None` when the value is infinite or not a number.
    pub fn new(value: f64) -> Option<Self> {
        value.is_finite().then_some(Self(value))
    }

    /// The number of millimetres.
    pub fn get(self) -> f64 {
        self.0
    }

    /// The nearest multiple of `step`; a step of zero, or one that no length can be counted in, leaves the
    /// length as it is.
    ///
    /// The quotient is rounded, then multiplied by going through the step's reciprocal where that is
    /// a whole number, so that 8.11 comes back as 8.11 and not as 8.110000000000001.
    #[must_use]
    pub fn rounded_to(self, step: Self) -> Self {
        if step.0 <= 0.0 {
            return self;
        }
        let per_mm = 1.0 / step.0;
        let whole = per_mm.round();
        let rounded = if (per_mm - whole).abs() < 1e-9 * whole {
            (self.0 * whole).round() / whole
        } else {
            (self.0 / step.0).round() * step.0
        };
        Self::new(rounded).unwrap_or(self)
    }
}

impl FromStr for Mm {
    type Err = NotALength;

    fn from_str(text: &str) -> Result<Self, NotALength> {
        let value: f64 = text
            .trim()
            .trim_end_matches("mm")
            .trim_end()
            .parse()
            .map_err(|_| NotALength::NotANumber { text: text.to_owned() })?;
        Self::new(value).ok_or_else(|| NotALength::NotFinite { text: text.to_owned() })
    }
}

impl fmt::Display for Mm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match f.precision() {
            Some(digits) => write!(f, "{:.digits$} mm", self.0),
            None => write!(f, "{} mm", self.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_a_length_with_or_without_its_unit() {
        assert_eq!("8.05".parse::<Mm>().unwrap().get(), 8.05);
        assert_eq!("8.05 mm".parse::<Mm>().unwrap().get(), 8.05);
    }

    #[test]
    fn refuses_words_and_infinities_and_says_so() {
        assert_eq!("wide".parse::<Mm>().unwrap_err().to_string(), "`wide` is not a number of millimetres");
        assert_eq!("inf".parse::<Mm>().unwrap_err().to_string(), "`inf` is not a finite length");
        assert!(Mm::new(f64::NAN).is_none());
    }

    #[test]
    fn rounding_gives_the_decimal_that_a_person_would_write() {
        let step = Mm(0.01);
        for hundredths in 1..2000 {
            let written = f64::from(hundredths) / 100.0;
            assert_eq!(Mm(written + 0.003).rounded_to(step).get(), written);
            assert_eq!(Mm(written - 0.004).rounded_to(step).get(), written);
        }
        assert_eq!(Mm(8.1234).rounded_to(Mm(0.0)).get(), 8.1234);
        assert_eq!(Mm(8.13).rounded_to(Mm(0.25)).get(), 8.25);
        // The quotient is infinite.
        assert_eq!(Mm(8.1234).rounded_to(Mm(1e-320)).get(), 8.1234);
    }
}
