//! Slips of the pen that leave a plausible-looking number: a decimal point shifted, inches among
//! millimetres, two digits swapped.
//!
//! A reading is only looked at when it lies further from its nominal size than printers err, and a
//! slip is named when undoing it brings the reading back. The limits are picked by feel: a bore of
//! 5 mm prints between 4.5 and 5.5 on any printer that works.

use std::fmt;

/// A slip that explains why a reading is far from its nominal size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slip {
    /// The reading is this many times too large; without the slip it would be `meant_mm`.
    DecimalPoint {
        /// 10 or 100 when too large, 0.1 or 0.01 when too small.
        factor: f64,
        /// The reading without the slip.
        meant_mm: f64,
    },
    /// The reading is in inches.
    Inches {
        /// The reading in millimetres.
        meant_mm: f64,
    },
    /// The reading is in millimetres among readings in inches.
    Millimetres {
        /// The reading as it was typed.
        meant_mm: f64,
    },
    /// Two neighbouring digits changed places.
    SwappedDigits {
        /// The reading with the digits back in place.
        meant_mm: f64,
    },
    /// Nothing simple explains it.
    FarFromNominal {
        /// Measured less nominal.
        deviation_mm: f64,
    },
}

/// Further than this from the nominal size, no printer that works errs.
#[inline]
pub(crate) fn is_doubtful(reading_mm: f64, nominal_mm: f64) -> bool {
    (reading_mm - nominal_mm).abs() > allowed_mm(nominal_mm)
}

fn allowed_mm(nominal_mm: f64) -> f64 {
    (0.05 * nominal_mm).max(0.5)
}

/// The slip that probably made this reading of a feature drawn `nominal_mm`; `None` when the reading
/// is near its nominal size, or neither near nor far.
#[inline]
pub fn likely(reading_mm: f64, nominal_mm: f64) -> Option<Slip> {
    // Nearly all readings end here.
    if is_doubtful(reading_mm, nominal_mm) { likely_of_doubtful(reading_mm, nominal_mm) } else { None }
}

fn likely_of_doubtful(reading_mm: f64, nominal_mm: f64) -> Option<Slip> {
    if !reading_mm.is_finite() || nominal_mm <= 0.0 {
        return None;
    }
    let near = |meant_mm: f64, within_mm: f64| (meant_mm - nominal_mm).abs() <= within_mm;
    for factor in [10.0, 0.1, 100.0, 0.01] {
        let meant_mm = rounded(reading_mm / factor);
        if near(meant_mm, 0.1 * nominal_mm) {
            return Some(Slip::DecimalPoint { factor, meant_mm });
        }
    }
    let unit_mm = 0.05 * nominal_mm + 0.5;
    if near(reading_mm * 25.4, unit_mm) {
        return Some(Slip::Inches { meant_mm: rounded(reading_mm * 25.4) });
    }
    if near(reading_mm / 25.4, unit_mm) {
        return Some(Slip::Millimetres { meant_mm: rounded(reading_mm / 25.4) });
    }
    if let Some(meant_mm) = unswapped(reading_mm, nominal_mm) {
        return Some(Slip::SwappedDigits { meant_mm });
    }
    let deviation_mm = rounded(reading_mm - nominal_mm);
    (deviation_mm.abs() > (0.3 * nominal_mm).max(2.0)).then_some(Slip::FarFromNominal { deviation_mm })
}

/// The swap of two neighbouring digits that brings the reading nearest to its nominal size, when it
/// brings it near. Zeros that the caliper shows and the sheet leaves out count: 5.8 is 5.80.
fn unswapped(reading_mm: f64, nominal_mm: f64) -> Option<f64> {
    let hundredths = format!("{reading_mm:.2}");
    let exact = hundredths.parse() == Ok(reading_mm);
    let mut text = if exact { hundredths } else { format!("{reading_mm:.3}") }.into_bytes();
    let places: Vec<usize> = (0..text.len()).filter(|at| text[*at].is_ascii_digit()).collect();
    let mut best: Option<f64> = None;
    for pair in places.windows(2) {
        text.swap(pair[0], pair[1]);
        // Nobody writes 01.5.
        let written = !(text[0] == b'0' && text[1] != b'.');
        let swapped = std::str::from_utf8(&text).ok().and_then(|text| text.parse::<f64>().ok());
        text.swap(pair[0], pair[1]);
        if let Some(meant) = swapped.filter(|meant| written && !is_doubtful(*meant, nominal_mm))
            && best.is_none_or(|best| (meant - nominal_mm).abs() < (best - nominal_mm).abs())
        {
            best = Some(meant);
        }
    }
    best
}

/// To a thousandth, which is finer than a caliper shows.
fn rounded(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

impl fmt::Display for Slip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DecimalPoint { factor, meant_mm } => {
                let (times, how) = if *factor > 1.0 {
                    (factor.round(), "too large")
                } else {
                    ((1.0 / factor).round(), "too small")
                };
                write!(f, "is {times} times {how}: a slipped decimal point? {meant_mm} would fit")
            }
            Self::Inches { meant_mm } => write!(f, "fits in inches: it would be {meant_mm} mm"),
            Self::Millimetres { meant_mm } => {
                write!(f, "is 25.4 times too large: millimetres among inches? {meant_mm} mm would fit")
            }
            Self::SwappedDigits { meant_mm } => {
                write!(f, "would fit with two digits swapped: {meant_mm}")
            }
            Self::FarFromNominal { deviation_mm } => {
                let side = if *deviation_mm > 0.0 { "above" } else { "below" };
                write!(f, "is {} mm {side} the nominal size", deviation_mm.abs())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sentence(reading_mm: f64, nominal_mm: f64) -> String {
        likely(reading_mm, nominal_mm).map_or_else(String::new, |slip| slip.to_string())
    }

    #[test]
    fn a_shifted_decimal_point_is_named_with_what_would_fit() {
        assert_eq!(sentence(50.8, 5.0), "is 10 times too large: a slipped decimal point? 5.08 would fit");
        assert_eq!(sentence(0.508, 5.0), "is 10 times too small: a slipped decimal point? 5.08 would fit");
        assert_eq!(sentence(508.0, 5.0), "is 100 times too large: a slipped decimal point? 5.08 would fit");
    }

    #[test]
    fn inches_among_millimetres_are_named_and_the_other_way_round() {
        assert_eq!(sentence(0.3125, 8.0), "fits in inches: it would be 7.938 mm");
        assert_eq!(
            sentence(7.94 * 25.4, 8.0),
            "is 25.4 times too large: millimetres among inches? 7.94 mm would fit"
        );
    }

    #[test]
    fn swapped_digits_are_named_also_with_a_zero_that_was_left_out() {
        assert_eq!(sentence(5.8, 5.0), "would fit with two digits swapped: 5.08");
        assert_eq!(sentence(21.04, 12.0), "would fit with two digits swapped: 12.04");
        assert_eq!(sentence(15.02, 10.5), "would fit with two digits swapped: 10.52");
    }

    #[test]
    fn a_reading_near_its_size_is_left_alone_and_a_far_one_is_named() {
        assert_eq!(likely(5.2, 5.0), None);
        assert_eq!(likely(104.9, 100.0), None);
        assert_eq!(likely(6.3, 5.0), None);
        assert_eq!(sentence(23.7, 20.0), "");
        assert_eq!(sentence(33.7, 20.0), "is 13.7 mm above the nominal size");
        assert_eq!(sentence(16.66, 25.0), "is 8.34 mm below the nominal size");
        assert_eq!(likely(f64::NAN, 5.0), None);
        assert_eq!(likely(5.0, 0.0), None);
    }
}
