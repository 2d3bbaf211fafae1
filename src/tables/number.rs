//! Cells to numbers, with a decimal point or a decimal comma, and what is wrong with the others.
//!
//! Short decimals are read digit by digit: up to 15 digits are a whole number that `f64` holds
//! exactly, and so is the power of ten below 10^22, so their quotient is the nearest `f64`, the same
//! that the standard library gives. All else goes through the standard library.

use std::fmt;

/// A number as it stands in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Number {
    /// Its value, finite.
    pub(crate) value: f64,
    /// The decimal separator it is written with.
    pub(crate) separator: Separator,
}

/// What stands between the whole and the rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Separator {
    /// A whole number.
    None,
    /// `5.08`
    Point,
    /// `5,08`
    Comma,
}

/// 10^0 to 10^15, each exact.
const POWERS_OF_TEN: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// The number in a cell of at most 15 digits and a separator between them and nothing else; `None` for
/// the rest.
#[inline]
pub(crate) fn plain(cell: &[u8]) -> Option<Number> {
    leading(cell).filter(|(_, length)| *length == cell.len()).map(|(number, _)| number)
}

/// The same where more text may follow, and how long the number is. A separator only belongs to the
/// number when a digit follows.
#[inline]
pub(crate) fn leading(text: &[u8]) -> Option<(Number, usize)> {
    let (whole, before) = digits_of(text)?;
    let behind = &text[before..];
    let separator = match behind.first() {
        Some(b'.') => Separator::Point,
        Some(b',') => Separator::Comma,
        _ => return Some((Number { value: whole as f64, separator: Separator::None }, before)),
    };
    let Some((decimals, after)) = digits_of(&behind[1..]) else {
        return Some((Number { value: whole as f64, separator: Separator::None }, before));
    };
    if before + after > 15 {
        return None;
    }
    let digits = whole * WHOLE_POWERS_OF_TEN[after] + decimals;
    Some((Number { value: digits as f64 / POWERS_OF_TEN[after], separator }, before + 1 + after))
}

/// The whole number from 1 to 999999 at the beginning of `text`, and how long it is.
#[inline]
pub(crate) fn whole(text: &[u8]) -> Option<(u32, usize)> {
    let (number, length) = digits_of(text)?;
    (length <= 6 && number > 0).then_some((number as u32, length))
}

/// The digits at the beginning of `text` and how many there are, 1 to 15.
///
/// One by one: taking eight at a time was measured to be slower, since where the number ends is guessed
/// rightly more often than not.
#[inline]
fn digits_of(text: &[u8]) -> Option<(u64, usize)> {
    let mut digits = 0;
    let mut count = 0;
    for byte in text {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        if count == 15 {
            return None;
        }
        digits = digits * 10 + u64::from(digit);
        count += 1;
    }
    (count > 0).then_some((digits, count))
}

/// The number in a cell, spaces around it allowed.
pub(crate) fn parse(cell: &str) -> Result<Number, NotANumber> {
    let text = cell.trim();
    if let Some(number) = plain(text.as_bytes()) {
        return Ok(number);
    }
    let not_a_number = |likely| Err(NotANumber { text: text.to_owned(), likely });
    let separator = match (text.matches('.').count(), text.matches(',').count()) {
        (0, 0) => Separator::None,
        (1, 0) => Separator::Point,
        (0, 1) => Separator::Comma,
        _ => return not_a_number(likely_slip(text)),
    };
    match text.replace(',', ".").parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(Number { value, separator }),
        Ok(_) => not_a_number(Likely::NotFinite),
        Err(_) => not_a_number(likely_slip(text)),
    }
}

/// The same as whole numbers.
const WHOLE_POWERS_OF_TEN: [u64; 16] = {
    let mut powers = [1; 16];
    let mut exponent = 1;
    while exponent < powers.len() {
        powers[exponent] = powers[exponent - 1] * 10;
        exponent += 1;
    }
    powers
};

/// A text that is no number, and what was probably meant.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct NotANumber {
    text: String,
    likely: Likely,
}

#[derive(Clone, Debug, PartialEq)]
enum Likely {
    /// A letter typed for a digit, a doubled separator: this was meant.
    Meant(String),
    /// The unit is typed in the cell.
    Unit {
        number: String,
        inches: bool,
    },
    /// A thousands separator.
    Thousands(String),
    /// A mark for "not measured".
    Mark,
    /// `nan`, `inf`, or beyond what a number can hold.
    NotFinite,
    Unknown,
}

fn likely_slip(text: &str) -> Likely {
    let parses = |candidate: &str| parse_strictly(candidate).then(|| candidate.to_owned());
    if !text.chars().any(|c| c.is_ascii_digit()) && text.chars().count() <= 4 {
        return Likely::Mark;
    }
    let lower = text.to_lowercase();
    for (suffix, inches) in [("mm", false), ("inch", true), ("in", true), ("\"", true), ("''", true)] {
        if let Some(number) = lower.strip_suffix(suffix).and_then(|rest| parses(rest.trim())) {
            return Likely::Unit { number, inches };
        }
    }
    let letters = text.replace(['o', 'O'], "0").replace(['l', 'I', '|'], "1");
    if let Some(meant) = parses(&letters) {
        return Likely::Meant(meant);
    }
    let doubled = letters.replace("..", ".").replace(",,", ",").replace(".,", ".").replace(",.", ".");
    if let Some(meant) = parses(&doubled) {
        return Likely::Meant(meant);
    }
    let (last, first) = if text.rfind('.') > text.rfind(',') { ('.', ',') } else { (',', '.') };
    if text.matches(last).count() == 1
        && let Some(meant) = parses(&text.replace(first, "").replace(last, "."))
    {
        return Likely::Thousands(meant);
    }
    if let Some(meant) = parses(&text.split_whitespace().collect::<String>()) {
        return Likely::Meant(meant);
    }
    Likely::Unknown
}

/// Digits with at most one separator.
fn parse_strictly(text: &str) -> bool {
    let unsigned = text.strip_prefix('-').unwrap_or(text);
    plain(unsigned.as_bytes()).is_some()
}

impl NotANumber {
    /// What the person can do about it.
    pub(crate) fn help(&self) -> Option<String> {
        match &self.likely {
            Likely::Meant(meant) => Some(format!("did you mean {meant}?")),
            Likely::Unit { number, inches: false } => Some(format!("write the number alone: {number}")),
            Likely::Unit { number, inches: true } => Some(format!(
                "write the number alone, {number}, with the line `# unit: in` above the header if all readings are in inches"
            )),
            Likely::Thousands(meant) => Some(format!("write it without a thousands separator: {meant}")),
            Likely::Mark => Some("leave it blank where there is no number".to_owned()),
            Likely::NotFinite | Likely::Unknown => None,
        }
    }
}

impl fmt::Display for NotANumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.likely {
            Likely::NotFinite => write!(f, "`{}` is not a finite number", self.text),
            _ => write!(f, "`{}` is not a number", self.text),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn reads_a_decimal_point_and_a_decimal_comma_alike() {
        assert_eq!(parse("5.08").unwrap(), Number { value: 5.08, separator: Separator::Point });
        assert_eq!(parse("5,08").unwrap(), Number { value: 5.08, separator: Separator::Comma });
        assert_eq!(parse(" 5\u{a0}").unwrap(), Number { value: 5.0, separator: Separator::None });
        assert_eq!(parse("-0,5e1").unwrap().value, -5.0);
    }

    #[test]
    fn says_what_was_probably_meant() {
        for (text, message, help) in [
            ("12.o4", "`12.o4` is not a number", Some("did you mean 12.04?")),
            ("l2.04", "`l2.04` is not a number", Some("did you mean 12.04?")),
            ("5..08", "`5..08` is not a number", Some("did you mean 5.08?")),
            ("5 .08", "`5 .08` is not a number", Some("did you mean 5.08?")),
            ("5.08 mm", "`5.08 mm` is not a number", Some("write the number alone: 5.08")),
            (
                "0.2\"",
                "`0.2\"` is not a number",
                Some(
                    "write the number alone, 0.2, with the line `# unit: in` above the header if all readings are in inches",
                ),
            ),
            ("1,205.3", "`1,205.3` is not a number", Some("write it without a thousands separator: 1205.3")),
            ("n/a", "`n/a` is not a number", Some("leave it blank where there is no number")),
            ("5.0.8", "`5.0.8` is not a number", None),
            ("1e999", "`1e999` is not a finite number", None),
            ("inf", "`inf` is not a finite number", None),
            ("NaN", "`NaN` is not a finite number", None),
            ("five and a bit", "`five and a bit` is not a number", None),
        ] {
            let error = parse(text).unwrap_err();
            assert_eq!(error.to_string(), message);
            assert_eq!(error.help().as_deref(), help, "{text}");
        }
    }

    proptest! {
        #[test]
        fn a_decimal_is_the_number_that_the_standard_library_reads(text in "[0-9]{1,17}(\\.[0-9]{0,17})?") {
            let expected: f64 = text.parse().unwrap();
            prop_assert_eq!(parse(&text).unwrap().value.to_bits(), expected.to_bits());
            if let Some(number) = plain(text.as_bytes()) {
                prop_assert_eq!(number.value.to_bits(), expected.to_bits());
            }
        }

        #[test]
        fn the_number_at_the_beginning_of_a_text_ends_where_its_digits_do(
            number in "[0-9]{1,9}([.,][0-9]{1,6})?", rest in "([,;\t\n][0-9a-z.,]{0,9})?",
        ) {
            // A comma and a digit behind a whole number are its decimals.
            prop_assume!(number.contains(['.', ',']) || !rest.starts_with(','));
            let text = number.clone() + &rest;
            let (read, length) = leading(text.as_bytes()).unwrap();
            prop_assert_eq!(length, number.len());
            prop_assert_eq!(read.value, number.replace(',', ".").parse::<f64>().unwrap());
        }

        #[test]
        fn a_text_is_a_number_where_the_standard_library_says_so(text in "[-+0-9.eE ]{0,8}") {
            let expected = text.trim().parse::<f64>().ok().filter(|value| value.is_finite());
            prop_assert_eq!(parse(&text).ok().map(|number| number.value), expected);
        }
    }
}
