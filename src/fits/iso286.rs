//! Tolerance classes to limits: `H7` on 25 mm is 25.000 to 25.021 mm.
//!
//! A class is a letter, which says where the tolerance lies, and a grade, which says how wide it is. A
//! capital is a hole's, a small letter a shaft's. Size steps are "over … up to and including": 10 mm lies
//! in the step 6 to 10. The grade's steps are coarse, the letter's finer from 10 mm up (which matters for
//! c and r to u). With t the grade's width:
//!
//! - shafts c to h: upper deviation from the table, lower = upper - t; k to u: lower from the table,
//!   upper = lower + t; k stands at 0 outside grades 4 to 7; js: half of t to either side, not rounded;
//! - holes C to H: the shaft's upper deviation mirrored, upper = lower + t;
//! - holes K, M, N up to grade 8 and P to U up to grade 7: the shaft's lower deviation mirrored, plus
//!   delta = t - (t of the next finer grade), 0 up to 3 mm; coarser ones without delta. N coarser than
//!   grade 8 stands at 0 above 3 mm, and K is not given there.
//!
//! Source: ISO 286-1:2010, from memory, every value compared with public tables; see `data/fits`.

use std::fmt;
use std::str::FromStr;
use std::sync::OnceLock;

use super::steps::Steps;
use super::{Limits, Side, decimal_mm};

/// Where the limits come from.
pub const SOURCE: &str = "looked-up: public repository table of PN-EN ISO 286-1; from memory: ISO 286-1:2010, \
     tables 1 to 5; the standard itself was not seen";

/// The letters that the tables have, as shafts.
const LETTERS: [&str; 15] = ["c", "d", "e", "f", "g", "h", "js", "k", "m", "n", "p", "r", "s", "t", "u"];

/// The grades that the tables have.
const GRADES: std::ops::RangeInclusive<u8> = 1..=16;

/// Up to this size holes have no delta, and a few letters stand elsewhere, mm.
const SMALLEST_STEP_MM: f64 = 3.0;

/// A tolerance class, such as `H7`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Class {
    side: Side,
    /// One of [`LETTERS`].
    letter: &'static str,
    grade: u8,
}

/// Why a text is no class, or a class has no limits at a size.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ClassError {
    /// The text is not a letter and a number.
    #[error("`{text}` is no tolerance class; expected a letter and a grade, such as H7 or g6")]
    NotAClass {
        /// The offending text.
        text: String,
    },
    /// The text pairs a hole with a shaft.
    #[error("`{text}` is a pair of classes; give the one of the printed part, `{hole}` or `{shaft}`")]
    Pair {
        /// The offending text.
        text: String,
        /// Its first part.
        hole: String,
        /// Its second part.
        shaft: String,
    },
    /// The letter is in no table here.
    #[error("`{text}`: no table here has the letter `{letter}`; expected one of {expected}")]
    UnknownLetter {
        /// The offending text.
        text: String,
        /// Its letters.
        letter: String,
        /// The letters that would do.
        expected: String,
    },
    /// The grade is in no table here.
    #[error("`{text}`: no table here has the grade {grade}; expected {} to {}", GRADES.start(), GRADES.end())]
    UnknownGrade {
        /// The offending text.
        text: String,
        /// Its digits.
        grade: String,
    },
    /// The letter is not given for this grade or size.
    #[error("{class} is not given for {nominal_mm} mm: {reason}")]
    NotGiven {
        /// The class.
        class: Class,
        /// The nominal size, mm.
        nominal_mm: f64,
        /// What is given.
        reason: &'static str,
    },
    /// The size is in no step.
    #[error("{class} is not given for {nominal_mm} mm: the tables here go from above 0 to {largest_mm} mm")]
    NoStep {
        /// The class.
        class: Class,
        /// The nominal size, mm.
        nominal_mm: f64,
        /// The end of the last step, mm.
        largest_mm: f64,
    },
}

impl FromStr for Class {
    type Err = ClassError;

    fn from_str(text: &str) -> Result<Self, ClassError> {
        let text = text.trim();
        if let Some((hole, shaft)) = text.split_once('/') {
            return Err(ClassError::Pair {
                text: text.to_owned(),
                hole: hole.trim().to_owned(),
                shaft: shaft.trim().to_owned(),
            });
        }
        let digits = text.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(text.len());
        let (letter, grade) = text.split_at(digits);
        if letter.is_empty() || grade.is_empty() || !grade.bytes().all(|byte| byte.is_ascii_digit()) {
            return Err(ClassError::NotAClass { text: text.to_owned() });
        }
        let capital = letter.bytes().all(|byte| byte.is_ascii_uppercase());
        let small = letter.bytes().all(|byte| byte.is_ascii_lowercase());
        let known = LETTERS.into_iter().find(|known| known.eq_ignore_ascii_case(letter));
        let (Some(letter), true) = (known, capital || small) else {
            let shafts = LETTERS.join(" ");
            let expected = match (capital, small) {
                (true, _) => shafts.to_uppercase(),
                (_, true) => shafts,
                _ => format!("{} for a hole, {shafts} for a shaft", shafts.to_uppercase()),
            };
            return Err(ClassError::UnknownLetter {
                text: text.to_owned(),
                letter: letter.to_owned(),
                expected,
            });
        };
        let grade = grade
            .parse()
            .ok()
            .filter(|grade| GRADES.contains(grade))
            .ok_or_else(|| ClassError::UnknownGrade { text: text.to_owned(), grade: grade.to_owned() })?;
        Ok(Self { side: if capital { Side::Hole } else { Side::Shaft }, letter, grade })
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.side {
            Side::Hole => write!(f, "{}{}", self.letter.to_uppercase(), self.grade),
            Side::Shaft => write!(f, "{}{}", self.letter, self.grade),
        }
    }
}

impl Class {
    /// Reads a class: the letter's case says whether it is a hole's or a shaft's.
    ///
    /// # Errors
    /// Not a letter and a grade, a pair such as `H7/g6`, a letter or a grade that no table here has.
    pub fn parse(text: &str) -> Result<Self, ClassError> {
        text.parse()
    }

    /// Whether it is a hole's or a shaft's.
    pub fn side(self) -> Side {
        self.side
    }

    /// The same letter and grade for the other side: `g6` for `G6`.
    #[must_use]
    pub fn other_side(self) -> Self {
        let side = match self.side {
            Side::Hole => Side::Shaft,
            Side::Shaft => Side::Hole,
        };
        Self { side, ..self }
    }

    /// The sizes that the class allows on this nominal size, mm.
    ///
    /// ```
    /// use shrinkrule::fits::iso286::Class;
    /// let limits = Class::parse("H7")?.limits(25.0)?;
    /// assert_eq!((limits.lower_mm, limits.upper_mm), (25.0, 25.021));
    /// # Ok::<(), shrinkrule::fits::iso286::ClassError>(())
    /// ```
    ///
    /// # Errors
    /// A size in no step (0 or less, above 250 mm), a letter that is not given for this grade or size.
    pub fn limits(self, nominal_mm: f64) -> Result<Limits, ClassError> {
        let (lower_um, upper_um) = self.deviations_um(nominal_mm)?;
        let size = |um: f64| decimal_mm(nominal_mm + um / 1000.0);
        Ok(Limits { lower_mm: size(lower_um), upper_mm: size(upper_um) })
    }

    /// Lower and upper deviation from the nominal size, micrometres.
    fn deviations_um(self, nominal_mm: f64) -> Result<(f64, f64), ClassError> {
        let width = self.width_um(self.grade, nominal_mm)?;
        if self.letter == "js" {
            return Ok((-width / 2.0, width / 2.0));
        }
        let from_lower = |lower: f64| Ok((lower, lower + width));
        let from_upper = |upper: f64| Ok((upper - width, upper));
        let shaft = tables().deviations.at(nominal_mm, self.letter).ok_or_else(|| {
            self.not_given(nominal_mm, "the tables have t only above 24 mm; u and s lie on either side")
        })?;
        match (self.side, self.letter) {
            (Side::Shaft, "c" | "d" | "e" | "f" | "g" | "h") => from_upper(shaft),
            (Side::Shaft, "k") if !(4..=7).contains(&self.grade) => from_lower(0.0),
            (Side::Shaft, _) => from_lower(shaft),
            (Side::Hole, "c" | "d" | "e" | "f" | "g" | "h") => from_lower(-shaft),
            (Side::Hole, _) => from_upper(self.tight_hole_upper_um(shaft, nominal_mm)?),
        }
    }

    /// Upper deviation of the holes K to U, micrometres.
    fn tight_hole_upper_um(self, shaft_um: f64, nominal_mm: f64) -> Result<f64, ClassError> {
        let small = nominal_mm <= SMALLEST_STEP_MM;
        let last_with_delta = if matches!(self.letter, "k" | "m" | "n") { 8 } else { 7 };
        if self.grade > last_with_delta {
            return match self.letter {
                "k" if !small => {
                    Err(self.not_given(nominal_mm, "K is given up to grade 8, and to K16 up to 3 mm"))
                }
                "n" if !small => Ok(0.0),
                _ => Ok(-shaft_um),
            };
        }
        if small {
            return Ok(-shaft_um);
        }
        if self.grade < 3 {
            return Err(self.not_given(nominal_mm, "holes K to U are given from grade 3 up"));
        }
        let delta = self.width_um(self.grade, nominal_mm)? - self.width_um(self.grade - 1, nominal_mm)?;
        Ok(delta - shaft_um)
    }

    /// The width of the tolerance of a grade, micrometres.
    fn width_um(self, grade: u8, nominal_mm: f64) -> Result<f64, ClassError> {
        let grades = &tables().grades;
        let width = grades.at(nominal_mm, &format!("IT{grade}")).filter(|_| nominal_mm > 0.0);
        width.ok_or_else(|| ClassError::NoStep { class: self, nominal_mm, largest_mm: grades.largest_mm() })
    }

    fn not_given(self, nominal_mm: f64, reason: &'static str) -> ClassError {
        ClassError::NotGiven { class: self, nominal_mm, reason }
    }
}

struct Tables {
    grades: Steps,
    deviations: Steps,
}

fn tables() -> &'static Tables {
    static TABLES: OnceLock<Tables> = OnceLock::new();
    TABLES.get_or_init(|| Tables {
        grades: Steps::parse(include_str!("../../data/fits/iso286_grades.csv")),
        deviations: Steps::parse(include_str!("../../data/fits/iso286_deviations.csv")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::steps::Steps;

    fn rows(text: &'static str) -> Vec<csv::StringRecord> {
        csv::Reader::from_reader(text.as_bytes()).into_records().map(Result::unwrap).collect()
    }

    fn number(row: &csv::StringRecord, column: usize) -> f64 {
        row[column].parse().unwrap()
    }

    /// Source: ISO 286-2:2010, class limits from memory, most of them compared with two public tables
    /// (label of each row); 90 rows. To a nanometre.
    #[test]
    fn every_published_class_has_its_limits() {
        let rows = rows(include_str!("../../data/fits/published/worked.csv"));
        assert_eq!(rows.len(), 90);
        let mut would_round = 0;
        for row in rows {
            let class = Class::parse(&row[1]).unwrap();
            let limits = class.limits(number(&row, 0)).unwrap();
            assert_eq!(class.to_string(), row[1]);
            assert_eq!(class.side() == Side::Hole, &row[2] == "hole");
            assert!((limits.upper_mm - number(&row, 5)).abs() < 1e-9, "{row:?} {limits}");
            assert!((limits.lower_mm - number(&row, 6)).abs() < 1e-9, "{row:?} {limits}");
            // Half micrometres of js are kept: rounding them away would show.
            would_round += usize::from((number(&row, 3).fract()).abs() > 0.0);
        }
        assert_eq!(would_round, 2);
    }

    /// Source: ANSI B4.2-1978 preferred fits at 25 mm from memory, the rest computed from the tables
    /// (label of each row); 32 rows. To a nanometre.
    #[test]
    fn every_published_fit_has_its_clearances() {
        let rows = rows(include_str!("../../data/fits/published/worked_fits.csv"));
        assert_eq!(rows.len(), 32);
        for row in rows {
            let (hole, shaft) = row[1].split_once('/').unwrap();
            let hole = Class::parse(hole).unwrap().limits(number(&row, 0)).unwrap();
            let shaft = Class::parse(shaft).unwrap().limits(number(&row, 0)).unwrap();
            let most_um = (hole.upper_mm - shaft.lower_mm) * 1000.0;
            let least_um = (hole.lower_mm - shaft.upper_mm) * 1000.0;
            assert!((most_um - number(&row, 6)).abs() < 1e-6, "{row:?}");
            assert!((least_um - number(&row, 7)).abs() < 1e-6, "{row:?}");
        }
    }

    /// Source: ISO 286-1:2010 tables of holes, from memory and looked up; every letter, every step.
    #[test]
    fn holes_follow_from_shafts_as_the_published_tables_say() {
        let published = Steps::parse(include_str!("../../data/fits/published/hole_deviations.csv"));
        let delta = Steps::parse(include_str!("../../data/fits/published/delta.csv"));
        let mut checked = 0;
        for size in [2.0, 4.0, 8.0, 12.0, 16.0, 20.0, 27.0, 35.0, 45.0, 60.0, 70.0, 90.0, 110.0, 130.0] {
            for letter in ["C", "D", "E", "F", "G", "H", "K", "M", "N", "P", "R", "S", "T", "U"] {
                for grade in 3..=8 {
                    let Ok((lower, upper)) =
                        Class::parse(&format!("{letter}{grade}")).unwrap().deviations_um(size)
                    else {
                        assert!(letter == "T" && size < 24.0);
                        continue;
                    };
                    let value = published.at(size, letter).unwrap();
                    if letter < "K" {
                        assert_eq!(lower, value, "{letter}{grade} {size}");
                    } else {
                        let has_delta = grade <= if letter < "P" { 8 } else { 7 };
                        let delta =
                            delta.at(size, &format!("IT{grade}")).filter(|_| has_delta).unwrap_or(0.0);
                        assert!((upper - (value + delta)).abs() < 1e-9, "{letter}{grade} {size}");
                    }
                    checked += 1;
                }
            }
        }
        assert_eq!(checked, 14 * 14 * 6 - 6 * 6);
    }

    /// Each of these slips gives another figure than the published one, so the tests above can fail.
    #[test]
    fn plausible_slips_are_far_from_the_published_values() {
        let of = |class: &str, size: f64| Class::parse(class).unwrap().deviations_um(size).unwrap();
        // 10 mm in the step above it: H7 would be 18 wide.
        assert_eq!(of("H7", 10.0), (0.0, 15.0));
        assert_eq!(of("H7", 10.001), (0.0, 18.0));
        // P7 without delta would be -22/-43.
        assert_eq!(of("P7", 25.0), (-35.0, -14.0));
        // s by the grade's coarse step 50 to 80 would be 53 at 70 mm too.
        assert_eq!(of("s6", 60.0).0, 53.0);
        assert_eq!(of("s6", 70.0).0, 59.0);
        // k of grade 7 is above 0, of grade 8 at 0.
        assert_eq!(of("k7", 25.0).0, 2.0);
        assert_eq!(of("k8", 25.0).0, 0.0);
        // N above grade 8: -4 up to 3 mm, 0 above.
        assert_eq!(of("N9", 3.0).1, -4.0);
        assert_eq!(of("N9", 8.0).1, 0.0);
        // JS with an odd width is not rounded to 10.
        assert_eq!(of("JS7", 25.0), (-10.5, 10.5));
    }

    #[test]
    fn a_class_that_cannot_be_says_what_would_do() {
        for (text, message) in [
            ("7H", "`7H` is no tolerance class; expected a letter and a grade, such as H7 or g6"),
            ("", "`` is no tolerance class; expected a letter and a grade, such as H7 or g6"),
            ("H7.5", "`H7.5` is no tolerance class; expected a letter and a grade, such as H7 or g6"),
            ("H7/g6", "`H7/g6` is a pair of classes; give the one of the printed part, `H7` or `g6`"),
            ("a9", "`a9`: no table here has the letter `a`; expected one of c d e f g h js k m n p r s t u"),
            (
                "ZC9",
                "`ZC9`: no table here has the letter `ZC`; expected one of C D E F G H JS K M N P R S T U",
            ),
            ("H18", "`H18`: no table here has the grade 18; expected 1 to 16"),
            ("H0", "`H0`: no table here has the grade 0; expected 1 to 16"),
        ] {
            assert_eq!(Class::parse(text).unwrap_err().to_string(), message);
        }
        assert!(matches!(Class::parse("Js7"), Err(ClassError::UnknownLetter { .. })));
        assert!(matches!(Class::parse("H99999"), Err(ClassError::UnknownGrade { .. })));
    }

    #[test]
    fn a_size_or_grade_that_is_not_given_is_refused() {
        let refusal =
            |class: &str, size: f64| Class::parse(class).unwrap().limits(size).unwrap_err().to_string();
        assert_eq!(
            refusal("H7", 250.5),
            "H7 is not given for 250.5 mm: the tables here go from above 0 to 250 mm"
        );
        assert_eq!(
            refusal("JS7", 0.0),
            "JS7 is not given for 0 mm: the tables here go from above 0 to 250 mm"
        );
        assert_eq!(
            refusal("t6", 24.0),
            "t6 is not given for 24 mm: the tables have t only above 24 mm; u and s lie on either side"
        );
        assert_eq!(
            refusal("K9", 8.0),
            "K9 is not given for 8 mm: K is given up to grade 8, and to K16 up to 3 mm"
        );
        assert_eq!(refusal("M2", 8.0), "M2 is not given for 8 mm: holes K to U are given from grade 3 up");
        assert!(refusal("H7", f64::NAN).contains("not given"));
        assert_eq!(Class::parse("K9").unwrap().limits(2.0).unwrap().upper_mm, 2.0);
    }

    #[test]
    fn every_class_that_is_given_has_its_limits_in_order() {
        let mut given = 0;
        for letter in LETTERS {
            for name in [letter.to_owned(), letter.to_uppercase()] {
                for grade in GRADES {
                    for size in [1.0, 3.0, 8.0, 10.0, 22.0, 25.0, 100.0, 250.0] {
                        let class = Class::parse(&format!("{name}{grade}")).unwrap();
                        let Ok(limits) = class.limits(size) else { continue };
                        assert!(limits.lower_mm < limits.upper_mm, "{class} {size}");
                        given += 1;
                    }
                }
            }
        }
        assert!(given > 3500, "{given}");
    }
}
