//! Numbers that may be given as one value or as a range: `20`, `12..30`; and a box, `70x40`.

use std::fmt;
use std::str::FromStr;

/// From the lowest to the highest value, both allowed; the same where one value was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
}

impl Bounds {
    /// Whether one value was given.
    pub fn is_one(self) -> bool {
        self.low == self.high
    }

    /// The value halfway.
    pub fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Whether this value is allowed.
    pub fn contains(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The same, or this share of the value either way where one value was given.
    #[must_use]
    pub fn or_within(self, share: f64) -> Self {
        if self.is_one() { self.widened(share * self.low) } else { self }
    }

    /// So much wider either way.
    #[must_use]
    pub fn widened(self, by: f64) -> Self {
        Self { low: self.low - by, high: self.high + by }
    }
}

/// From here on a number is a slip of the pen: a kilometre.
const TOO_LARGE: f64 = 1e6;

/// Why a text is no bounds, or no box.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotBounds {
    /// A part of it is no number above 0 and below a million.
    #[error("`{text}` is not a number above 0 and below a million; expected {expected}")]
    NotANumber {
        /// The offending text.
        text: String,
        /// What it should look like.
        expected: &'static str,
    },
    /// The first number is above the second.
    #[error("{low} is above {high}; expected LOW..HIGH")]
    Crossed {
        /// The first.
        low: f64,
        /// The second.
        high: f64,
    },
    /// A number of teeth has a fraction.
    #[error("`{text}` is no whole number of teeth; expected 20 or 12..30")]
    NotWhole {
        /// The offending text.
        text: String,
    },
}

fn number(text: &str, expected: &'static str) -> Result<f64, NotBounds> {
    let text = text.trim();
    let value = text.trim_end_matches("mm").trim_end().parse::<f64>().ok();
    value
        .filter(|value| *value > 0.0 && *value < TOO_LARGE)
        .ok_or_else(|| NotBounds::NotANumber { text: text.to_owned(), expected })
}

impl FromStr for Bounds {
    type Err = NotBounds;

    fn from_str(text: &str) -> Result<Self, NotBounds> {
        let expected = "a number, or LOW..HIGH such as 30..60";
        let (low, high) = text.split_once("..").unwrap_or((text, text));
        let (low, high) = (number(low, expected)?, number(high, expected)?);
        if low > high { Err(NotBounds::Crossed { low, high }) } else { Ok(Self { low, high }) }
    }
}

/// How many teeth a pulley may have: one number, or a range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TeethRange {
    /// The fewest.
    pub fewest: u32,
    /// The most.
    pub most: u32,
}

impl TeethRange {
    /// Exactly so many.
    pub fn exactly(teeth: u32) -> Self {
        Self { fewest: teeth, most: teeth }
    }

    /// The one number, where it is one.
    pub fn one(self) -> Option<u32> {
        (self.fewest == self.most).then_some(self.fewest)
    }
}

impl FromStr for TeethRange {
    type Err = NotBounds;

    fn from_str(text: &str) -> Result<Self, NotBounds> {
        let bounds: Bounds = text.parse()?;
        let whole = |value: f64| {
            (value.fract() == 0.0)
                .then_some(value as u32)
                .ok_or_else(|| NotBounds::NotWhole { text: text.to_owned() })
        };
        Ok(Self { fewest: whole(bounds.low)?, most: whole(bounds.high)? })
    }
}

/// A box that a drive must lie in, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room {
    /// The one side.
    pub width_mm: f64,
    /// The other.
    pub height_mm: f64,
}

impl FromStr for Room {
    type Err = NotBounds;

    fn from_str(text: &str) -> Result<Self, NotBounds> {
        let expected = "WIDTHxHEIGHT in mm, such as 70x40";
        let (width, height) = text
            .split_once(['x', 'X', '×'])
            .ok_or_else(|| NotBounds::NotANumber { text: text.to_owned(), expected })?;
        Ok(Self { width_mm: number(width, expected)?, height_mm: number(height, expected)? })
    }
}

impl fmt::Display for Room {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} x {} mm", self.width_mm, self.height_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_number_and_a_range_are_read_and_nothing_else() {
        assert_eq!("30..60".parse::<Bounds>().unwrap(), Bounds { low: 30.0, high: 60.0 });
        assert!("45 mm".parse::<Bounds>().unwrap().is_one());
        let two = "2".parse::<Bounds>().unwrap().or_within(0.02);
        assert_eq!((two.low, two.high), (1.96, 2.04));
        assert_eq!("1.8..2.2".parse::<Bounds>().unwrap().or_within(0.5).low, 1.8);
        assert_eq!("12..30".parse::<TeethRange>().unwrap(), TeethRange { fewest: 12, most: 30 });
        assert_eq!("20".parse::<TeethRange>().unwrap().one(), Some(20));
        assert_eq!("70x40".parse::<Room>().unwrap(), Room { width_mm: 70.0, height_mm: 40.0 });
        for (text, said) in [
            ("60..30", "60 is above 30; expected LOW..HIGH"),
            (
                "-5",
                "`-5` is not a number above 0 and below a million; expected a number, or LOW..HIGH such as 30..60",
            ),
            (
                "1..x",
                "`x` is not a number above 0 and below a million; expected a number, or LOW..HIGH such as 30..60",
            ),
            (
                "1e300",
                "`1e300` is not a number above 0 and below a million; expected a number, or LOW..HIGH such as 30..60",
            ),
            (
                "NaN",
                "`NaN` is not a number above 0 and below a million; expected a number, or LOW..HIGH such as 30..60",
            ),
        ] {
            assert_eq!(text.parse::<Bounds>().unwrap_err().to_string(), said);
        }
        assert_eq!(
            "12.5".parse::<TeethRange>().unwrap_err().to_string(),
            "`12.5` is no whole number of teeth; expected 20 or 12..30"
        );
        assert!("70".parse::<Room>().is_err() && "70x-4".parse::<Room>().is_err());
    }
}
