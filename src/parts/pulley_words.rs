//! Features of a pulley from the words of a command: `18x8`, `bed:608`, `3x3.2@20`.
//!
//! Sizes in mm; `x` between them, `@` before the diameter of a circle, `bed:` before what is on the bed's
//! side. What is named by what it is bought as (`M3`, `608`) takes its sizes from the hardware tables.

use std::str::FromStr;

use crate::fits::named::NamedFits;
use crate::hardware::{NotSold, bearing, nut, screw};

use super::build::recess::End;
use super::pulley_request::{BoreForm, CircleAsked, DowelsAsked, Hub, RecessAsked, RingHold, ScrewsAsked};
use super::seat::outer_shoulder;

/// Why a feature's words are not understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotAFeature {
    /// The form is another.
    #[error("`{text}` is no {what}; expected {expected}")]
    Form {
        /// The offending text.
        text: String,
        /// What was looked for.
        what: &'static str,
        /// How it is written.
        expected: &'static str,
    },
    /// No such thing is sold.
    #[error("{0}")]
    NotSold(#[from] NotSold),
}

fn wrong(text: &str, what: &'static str, expected: &'static str) -> NotAFeature {
    NotAFeature::Form { text: text.to_owned(), what, expected }
}

/// As many numbers above zero as are asked for.
fn numbers<const N: usize>(text: &str) -> Option<[f64; N]> {
    let parsed: Vec<f64> = text.split('x').map(|part| part.trim().parse().ok()).collect::<Option<_>>()?;
    let numbers: [f64; N] = parsed.try_into().ok()?;
    numbers.iter().all(|number| *number > 0.0 && number.is_finite()).then_some(numbers)
}

/// Which end, and the rest of the text.
fn end(text: &str) -> (End, &str) {
    match text.split_once(':') {
        Some((side, rest)) if side.eq_ignore_ascii_case("bed") => (End::Bed, rest),
        Some((side, rest)) if side.eq_ignore_ascii_case("top") => (End::Top, rest),
        _ => (End::Top, text),
    }
}

fn count(number: f64) -> Option<u32> {
    (number.fract() == 0.0 && number <= 100.0).then_some(number as u32)
}

impl FromStr for BoreForm {
    type Err = NotAFeature;

    fn from_str(text: &str) -> Result<Self, NotAFeature> {
        let lower = text.trim().to_lowercase();
        let form = match lower.split_once(':') {
            None if lower == "round" => Some(Self::Round),
            None if lower == "hex" => Some(Self::Hexagon),
            None if lower == "square" => Some(Self::Square),
            Some(("d", size)) => numbers(size).map(|[across_mm]| Self::Flat { across_mm }),
            Some(("key", sizes)) => {
                numbers(sizes).map(|[width_mm, depth_mm]| Self::Key { width_mm, depth_mm })
            }
            _ => None,
        };
        let expected =
            "round, hex, square, d:ACROSS (flat to far side) or key:WIDTHxDEPTH (depth beyond the bore)";
        form.ok_or_else(|| wrong(text, "form of a bore", expected))
    }
}

impl FromStr for Hub {
    type Err = NotAFeature;

    fn from_str(text: &str) -> Result<Self, NotAFeature> {
        let (end, sizes) = end(text);
        let [diameter_mm, length_mm] =
            numbers(sizes).ok_or_else(|| wrong(text, "hub", "DIAMETERxLENGTH or bed:DIAMETERxLENGTH"))?;
        Ok(Self { end, diameter_mm, length_mm })
    }
}

impl FromStr for CircleAsked {
    type Err = NotAFeature;

    fn from_str(text: &str) -> Result<Self, NotAFeature> {
        let read = || {
            let (holes, circle) = text.split_once('@')?;
            let ([number, diameter_mm], [circle_mm]) = (numbers(holes)?, numbers(circle)?);
            Some(Self { count: count(number)?, diameter_mm, circle_mm })
        };
        read().ok_or_else(|| wrong(text, "circle of holes", "COUNTxHOLE@CIRCLE, such as 3x3.2@20"))
    }
}

impl FromStr for DowelsAsked {
    type Err = NotAFeature;

    fn from_str(text: &str) -> Result<Self, NotAFeature> {
        let read = || {
            let (holes, circle) = text.split_once('@')?;
            let ([number, diameter_mm, depth_mm], [circle_mm]) = (numbers(holes)?, numbers(circle)?);
            Some(Self { circle: CircleAsked { count: count(number)?, diameter_mm, circle_mm }, depth_mm })
        };
        read().ok_or_else(|| wrong(text, "circle of dowels", "COUNTxHOLExDEPTH@CIRCLE, such as 3x3x4@20"))
    }
}

impl FromStr for RingHold {
    type Err = NotAFeature;

    fn from_str(text: &str) -> Result<Self, NotAFeature> {
        match text.trim().to_lowercase().as_str() {
            "pressed" => Ok(Self::Pressed),
            "screwed" => Ok(Self::Screwed),
            _ => Err(wrong(text, "way to hold a flange", "pressed or screwed")),
        }
    }
}

/// The middle of a bundled fit's clearance on a mate, mm.
fn clearance_mm(fit: &str, mate_mm: f64) -> f64 {
    NamedFits::bundled().get(fit).map_or(0.0, |fit| fit.clearance(mate_mm).middle_mm())
}

/// A bearing's seat: `608` or `bed:22x7`. A bearing by its designation is held snugly.
pub fn seat(text: &str) -> Result<RecessAsked, NotAFeature> {
    let (end, rest) = end(text);
    let name = "bearing seat";
    if let Some([diameter_mm, depth_mm]) = numbers(rest) {
        return Ok(RecessAsked { name, end, diameter_mm, depth_mm, shoulder: None });
    }
    let bearing = bearing::ball_bearing(rest)?;
    let diameter_mm = bearing.outside_mm + clearance_mm("snug", bearing.outside_mm);
    let shoulder = Some(outer_shoulder(bearing));
    Ok(RecessAsked { name, end, diameter_mm, depth_mm: bearing.width_mm(), shoulder })
}

/// A recess for a bought bush or pinion: `12x8` or `bed:12x8`.
pub fn recess(text: &str) -> Result<RecessAsked, NotAFeature> {
    let (end, rest) = end(text);
    let [diameter_mm, depth_mm] =
        numbers(rest).ok_or_else(|| wrong(text, "recess", "DIAMETERxDEPTH or bed:DIAMETERxDEPTH"))?;
    Ok(RecessAsked { name: "bush recess", end, diameter_mm, depth_mm, shoulder: None })
}

/// Set screws: `M3` or `2xM3` with a captive hexagon nut, `3.2` or `2x3.2` a hole alone.
pub fn set_screws(text: &str) -> Result<ScrewsAsked, NotAFeature> {
    let expected = "a thread such as M3, a hole's diameter in mm, or 2x before either";
    let (number, rest) = match text.trim().split_once('x') {
        Some((number, rest)) => (number.trim().parse::<f64>().ok().and_then(count), rest.trim()),
        None => (Some(1), text.trim()),
    };
    let many =
        number.filter(|number| (1..=4).contains(number)).ok_or_else(|| wrong(text, "set screw", expected))?;
    if let Some([hole_mm]) = numbers(rest) {
        return Ok(ScrewsAsked { count: many, hole_mm, nut_mm: None });
    }
    if !rest.to_lowercase().starts_with('m') {
        return Err(wrong(text, "set screw", expected));
    }
    let (hole, nut) = (screw::clearance_hole(rest)?, nut::hex_nut(rest)?);
    let play = |mm: f64| mm + clearance_mm("slide", mm);
    Ok(ScrewsAsked {
        count: many,
        hole_mm: hole.medium_mm,
        nut_mm: Some((play(nut.across_flats_mm), play(nut.thickness_mm))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn features_are_read_from_words() {
        assert_eq!("18x8".parse(), Ok(Hub { end: End::Top, diameter_mm: 18.0, length_mm: 8.0 }));
        assert_eq!("bed:18x8".parse::<Hub>().unwrap().end, End::Bed);
        assert_eq!("d:4.5".parse(), Ok(BoreForm::Flat { across_mm: 4.5 }));
        assert_eq!("KEY:4x1.8".parse(), Ok(BoreForm::Key { width_mm: 4.0, depth_mm: 1.8 }));
        assert_eq!("3x3.2@20".parse(), Ok(CircleAsked { count: 3, diameter_mm: 3.2, circle_mm: 20.0 }));
        let dowels: DowelsAsked = "2x3x4@20".parse().unwrap();
        assert_eq!((dowels.circle.count, dowels.depth_mm), (2, 4.0));
        let screws = set_screws("2x3.2").unwrap();
        assert_eq!((screws.count, screws.hole_mm, screws.nut_mm), (2, 3.2, None));
        assert_eq!(recess("bed:12x8").unwrap().end, End::Bed);
    }

    /// Source: `data/hardware`: ISO 273 medium hole for M3 3.4 mm, ISO 4032 M3 5.5 mm across and 2.4 mm
    /// thick; 608 is 22 mm by 7 mm. Plays are those of the bundled fits.
    #[test]
    fn bought_things_take_their_sizes_from_the_tables() {
        let screws = set_screws("M3").unwrap();
        let (across, thickness) = screws.nut_mm.unwrap();
        assert!((screws.hole_mm - 3.4).abs() < 1e-12);
        assert!((across - 5.6).abs() < 1e-9 && (thickness - 2.5).abs() < 1e-9, "{across} {thickness}");
        let seat = seat("608").unwrap();
        assert!((seat.diameter_mm - 22.015).abs() < 1e-9 && seat.depth_mm == 7.0, "{seat:?}");
    }

    #[test]
    fn what_is_not_understood_is_said_with_how_it_is_written() {
        assert_eq!(
            "18".parse::<Hub>().unwrap_err().to_string(),
            "`18` is no hub; expected DIAMETERxLENGTH or bed:DIAMETERxLENGTH"
        );
        for text in ["3x-2@20", "3x3.2", "2.5x3@20", "x", "1e999x3@2", "NaNx3@2"] {
            assert!(text.parse::<CircleAsked>().is_err(), "{text}");
        }
        assert!(set_screws("9xM3").is_err() && set_screws("M3.3").is_err() && set_screws("wide").is_err());
        assert!(seat("60888").is_err() && "oval".parse::<BoreForm>().is_err());
    }
}
