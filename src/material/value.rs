//! A property's value as the tables give it: a range, under what condition, and where it comes from.

/// Low, typical and high of one quantity.
///
/// The ends are those of grades, prints and sources, not of a 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Range {
    /// The least that is usual.
    pub low: f64,
    /// What to reckon with.
    pub typical: f64,
    /// The most that is usual.
    pub high: f64,
}

/// A text that is no range.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is no range; expected one number, or two or three that rise, such as 75..90 or 20..25..40")]
pub struct NotARange {
    /// The offending text.
    pub text: String,
}

impl std::str::FromStr for Range {
    type Err = NotARange;

    /// One number, `low..high` with the middle as typical, or `low..typical..high`.
    fn from_str(text: &str) -> Result<Self, NotARange> {
        let wrong = || NotARange { text: text.to_owned() };
        let number = |part: &str| part.trim().parse::<f64>().ok().filter(|number| number.is_finite());
        let parts: Option<Vec<f64>> = text.split("..").map(number).collect();
        let range = match parts.ok_or_else(wrong)?[..] {
            [only] => Self::exactly(only),
            [low, high] => Self { low, typical: (low + high) / 2.0, high },
            [low, typical, high] => Self { low, typical, high },
            _ => return Err(wrong()),
        };
        if range.low <= range.typical && range.typical <= range.high { Ok(range) } else { Err(wrong()) }
    }
}

impl Range {
    /// All three the same, as for a number that the person measured.
    pub fn exactly(value: f64) -> Self {
        Self { low: value, typical: value, high: value }
    }

    /// The range of a rising function of this quantity; of a falling one the ends change places.
    #[must_use]
    pub fn map(self, function: impl Fn(f64) -> f64) -> Self {
        let (low, high) = (function(self.low), function(self.high));
        Self { low: low.min(high), typical: function(self.typical), high: low.max(high) }
    }

    /// The range of what `function` makes of two quantities that know nothing of each other: the least and
    /// the most of all four corners.
    ///
    /// Right for a function that rises or falls in each of them throughout.
    #[must_use]
    pub fn with(self, other: Self, function: impl Fn(f64, f64) -> f64) -> Self {
        let corners = [self.low, self.high].map(|a| [other.low, other.high].map(|b| function(a, b)));
        let ends = corners.as_flattened().iter().copied();
        Self {
            low: ends.clone().fold(f64::INFINITY, f64::min),
            typical: function(self.typical, other.typical),
            high: ends.fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

/// A property of one material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Its range; `None` where the tables have no reliable value.
    pub range: Option<Range>,
    /// What it holds for, where that needs saying.
    pub condition: &'static str,
    /// Where the typical value comes from: `looked-up: KEY`, `from memory: ...`, `common practice`, ...
    pub source_typical: &'static str,
    /// Where low and high come from; empty where there is one value only.
    pub source_range: &'static str,
}

impl Value {
    /// Whether the typical value was read somewhere, and is not recalled, estimated or common practice.
    pub fn is_looked_up(&self) -> bool {
        self.source_typical.starts_with("looked-up")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GROWTH: Range = Range { low: 1.0, typical: 2.0, high: 4.0 };

    #[test]
    fn a_falling_function_changes_the_ends() {
        assert_eq!(GROWTH.map(|value| -value), Range { low: -4.0, typical: -2.0, high: -1.0 });
    }

    #[test]
    fn a_range_is_one_two_or_three_numbers_that_rise() {
        assert_eq!("60".parse(), Ok(Range::exactly(60.0)));
        assert_eq!("75..90".parse(), Ok(Range { low: 75.0, typical: 82.5, high: 90.0 }));
        assert_eq!("20..25..40".parse(), Ok(Range { low: 20.0, typical: 25.0, high: 40.0 }));
        for wrong in ["", "90..75", "a", "1..2..3..4", "1..", "nan", "20..45..40"] {
            assert!(wrong.parse::<Range>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn two_ranges_meet_at_their_worst_corners() {
        let other = Range { low: 0.5, typical: 1.0, high: 3.0 };
        assert_eq!(GROWTH.with(other, |a, b| a - b), Range { low: -2.0, typical: 1.0, high: 3.5 });
    }
}
