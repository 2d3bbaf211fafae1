//! A parts list: the dimensions of a design that must come out right, one a line, and what each must keep.
//!
//! Columns in any order, others kept: `part`, `dimension`, `kind`, `axis`, `target_mm`, and of what must be
//! kept one of `lower_mm` with `upper_mm`, `class`, or `fit` with `mate_mm`. With a class or a fit,
//! `target_mm` is the nominal size, and `mate_mm` stands in for it. `mate_lower_mm` and `mate_upper_mm`
//! say between which limits the bought part itself lies. `mate` names what is sold, `bearing:608`, and stands for
//! all of these; a blank `kind` is then its usual seat. A cell that is blank is not given.
//!
//! What cannot be read is a problem of the file: see `parts_reading`. What can be read and not be
//! met is a matter of its line: see [`super::sized_list`].

use crate::fits::aim::{Aim, CannotAim, Demand, Request, unused_size};
use crate::fits::iso286::{Class, ClassError};
use crate::fits::named::{FitError, NamedFits};
use crate::fits::{Limits, NotLimits, Source};
use crate::kind::{Axis, Kind};
use crate::problem::Problem;
use crate::tables::whole_table::Table;
use crate::units::Mm;

use super::own_fits::{ChosenFit, OwnFits};
use super::seat::bought::BoughtPart;
use super::seat::{Ask, CannotSeat, How, Seat, inch_caution};
use super::sized::RoundOfFlat;

/// A parts list that can be read.
#[derive(Clone, Debug, PartialEq)]
pub struct PartsList {
    /// The table as it stands in the file.
    pub(super) table: Table,
    /// Whether its numbers have a decimal comma.
    pub(super) decimal_comma: bool,
    /// Its lines.
    pub lines: Vec<PartLine>,
    /// Doubtful but usable: columns that look like a slip of the pen.
    pub warnings: Vec<Problem>,
}

impl PartsList {
    /// The cells of a line as they stand in the file, those of columns that mean nothing here too.
    pub fn cells(&self, line: &PartLine) -> &[String] {
        let row = self.table.rows.iter().find(|row| row.line == line.line);
        row.map_or(&[], |row| &row.cells)
    }
}

/// One dimension.
#[derive(Clone, Debug, PartialEq)]
pub struct PartLine {
    /// Line in the file, from 1.
    pub line: u64,
    /// Which part.
    pub part: String,
    /// Which of its dimensions.
    pub dimension: String,
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in; z for a height and `round` for all else where the file does not say.
    pub axis: Axis,
    pub(super) size: Option<Mm>,
    pub(super) lower: Option<Mm>,
    pub(super) upper: Option<Mm>,
    pub(super) class: String,
    pub(super) fit: String,
    pub(super) mate: Option<Mm>,
    pub(super) mate_lower: Option<Mm>,
    pub(super) mate_upper: Option<Mm>,
    pub(super) sold: Option<BoughtPart>,
}

/// What a line asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked<'a> {
    /// What is aimed at.
    pub aim: Aim,
    /// The fit that it follows from, and the size of the bought part.
    pub chosen: Option<(ChosenFit<'a>, Mm)>,
    /// The round that it is cut off, where it is the size across a flat.
    pub round: Option<RoundOfFlat>,
    /// Where the numbers come from.
    pub sources: Vec<Source>,
}

/// Why a line gives nothing to aim at.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotAsk {
    /// More than one of limits, class and fit.
    #[error("{first} and {second} are given: keep one of them")]
    Two {
        /// The first of them.
        first: &'static str,
        /// The second.
        second: &'static str,
    },
    /// One of two limits.
    #[error("{given} is given without {missing}")]
    OneLimit {
        /// The column that is filled.
        given: &'static str,
        /// The column that is blank.
        missing: &'static str,
    },
    /// The limits are crossed.
    #[error(transparent)]
    Limits(#[from] NotLimits),
    /// The class is none.
    #[error(transparent)]
    Class(#[from] ClassError),
    /// The fit is none.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// What is given makes no aim.
    #[error(transparent)]
    Aim(#[from] CannotAim),
    /// What is sold has no such seat.
    #[error(transparent)]
    Seat(#[from] CannotSeat),
}

impl CannotAsk {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Fit(error) => error.help(),
            Self::Aim(error) => error.help(),
            Self::Seat(error) => error.help(),
            _ => None,
        }
    }
}

impl PartLine {
    /// What the line aims at with these named fits.
    ///
    /// # Errors
    /// As [`PartLine::ask`].
    pub fn aim(&self, fits: &NamedFits) -> Result<Aim, CannotAsk> {
        Ok(self.ask(&OwnFits::named(fits))?.aim)
    }

    /// What the line asks for, with these fits.
    ///
    /// # Errors
    /// No size, half of a pair of limits, two of limits, class and fit, or one that gives nothing here.
    pub fn ask<'a>(&'a self, fits: &OwnFits<'a>) -> Result<Asked<'a>, CannotAsk> {
        let limits = pair(["lower_mm", "upper_mm"], self.lower, self.upper)?;
        let mate_limits = pair(["mate_lower_mm", "mate_upper_mm"], self.mate_lower, self.mate_upper)?;
        let given = [
            limits.map(|_| "limits"),
            (!self.class.is_empty()).then_some("a class"),
            (!self.fit.is_empty()).then_some("a fit"),
        ];
        keep_one(given)?;
        if let Some(part) = &self.sold {
            let sizes = self.mate.or(self.mate_lower).map(|_| "the mate's own sizes");
            keep_one([Some("a mate that is sold"), limits.map(|_| "limits"), sizes])?;
            return self.ask_seat(part, fits);
        }
        let (demand, chosen) = match limits {
            Some(limits) => (Demand::Within(limits), None),
            None if !self.class.is_empty() => (Demand::Class(Class::parse(&self.class)?), None),
            None if !self.fit.is_empty() => (Demand::None, Some(fits.get(self.kind, &self.fit)?)),
            None => (Demand::None, None),
        };
        let demand = chosen.as_ref().map_or(demand, |chosen| Demand::Fit(&chosen.fit));
        let mut aim =
            Request { kind: self.kind, size: self.size, mate: self.mate, mate_limits, demand }.aim()?;
        if mate_limits.is_none() && chosen.is_some() {
            aim.cautions.extend(self.mate.or(self.size).and_then(inch_caution));
        }
        let middle = mate_limits.and_then(|limits| Mm::new(limits.middle_mm()));
        let chosen = chosen.zip(middle.or(self.mate).or(self.size));
        let sources = aim.source.iter().cloned().collect();
        Ok(Asked { aim, chosen, round: None, sources })
    }

    fn ask_seat<'a>(&'a self, part: &'a BoughtPart, fits: &OwnFits<'a>) -> Result<Asked<'a>, CannotAsk> {
        let how = if !self.class.is_empty() {
            How::Class(Class::parse(&self.class)?)
        } else if !self.fit.is_empty() {
            How::Fit(&self.fit)
        } else {
            How::Usual
        };
        let ask = Ask { part, kind: Some(self.kind), axis: Some(self.axis), how };
        let seat = Seat::one_dimension(ask, fits)?;
        let sources = seat.sources();
        let mut aim = seat.first.aim;
        if let Some(size) = self.size.filter(|size| *size != aim.target) {
            aim.cautions.push(unused_size(size));
        }
        aim.cautions.extend(seat.cautions);
        Ok(Asked { aim, chosen: seat.first.chosen, round: seat.first.round, sources })
    }
}

/// Refuses two things of which a line has one.
fn keep_one(given: [Option<&'static str>; 3]) -> Result<(), CannotAsk> {
    let mut given = given.into_iter().flatten();
    match (given.next(), given.next()) {
        (Some(first), Some(second)) => Err(CannotAsk::Two { first, second }),
        _ => Ok(()),
    }
}

fn pair(
    [lower_name, upper_name]: [&'static str; 2],
    lower: Option<Mm>,
    upper: Option<Mm>,
) -> Result<Option<Limits>, CannotAsk> {
    match (lower, upper) {
        (Some(lower), Some(upper)) => Ok(Some(Limits::between(lower, upper)?)),
        (None, None) => Ok(None),
        (Some(_), None) => Err(CannotAsk::OneLimit { given: lower_name, missing: upper_name }),
        (None, Some(_)) => Err(CannotAsk::OneLimit { given: upper_name, missing: lower_name }),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn refusal(text: &str) -> String {
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap();
        list.lines[0].aim(&NamedFits::bundled()).unwrap_err().to_string()
    }

    #[test]
    fn a_line_that_asks_for_nothing_that_can_be_says_why() {
        for (text, message) in [
            ("kind,target_mm\nbore,\n", "no size is given"),
            ("kind,target_mm,class,fit\nbore,8,H7,slide\n", "a class and a fit are given: keep one of them"),
            ("kind,target_mm,lower_mm,upper_mm\nbore,8,7.9,\n", "lower_mm is given without upper_mm"),
            (
                "kind,target_mm,lower_mm,upper_mm\nbore,8,8.1,7.9\n",
                "the lower limit 8.1 mm is above the upper limit 7.9 mm",
            ),
            (
                "kind,target_mm,lower_mm,upper_mm\nbore,8,8.1,8.2\n",
                "the size that is wanted, 8 mm, is not within 8.1 to 8.2 mm",
            ),
            ("kind,target_mm,class\nbore,8,H77\n", "`H77`: no table here has the grade 77; expected 1 to 16"),
            (
                "kind,target_mm,fit\nbore,8,slid\n",
                "`slid` is no fit; expected one of press, snug, slide, free",
            ),
            ("kind,target_mm,mate_mm\nbore,8,8\n", "a mate is given, but not how it fits"),
            ("kind,target_mm,mate\nbore,,bearing:608\n", "a mate is given, but not how it fits"),
            ("kind,target_mm,mate\ngap,,shaft:5D4.5\n", "a mate is given, but not how it fits"),
            (
                "kind,target_mm,mate\nheight,,shaft:5\n",
                "heights do not go with a shaft: expected bore or horizontal_bore",
            ),
            (
                "kind,target_mm,fit,mate,mate_mm\nbore,,press,bearing:608,22\n",
                "a mate that is sold and the mate's own sizes are given: keep one of them",
            ),
            (
                "kind,target_mm,lower_mm,upper_mm,mate\nbore,,21,22,bearing:608\n",
                "a mate that is sold and limits are given: keep one of them",
            ),
            (
                "kind,target_mm,fit,mate\nouter,,press,bearing:608\n",
                "outside widths do not go with a bearing: expected bore or horizontal_bore around it, or pin through it",
            ),
        ] {
            assert_eq!(refusal(text), message);
        }
    }
    /// Each kind of a part that is sold is one of its dimensions: its seat, its depth, its screw's hole.
    #[test]
    fn a_part_that_is_sold_gives_the_dimension_of_the_lines_kind() {
        let text = "kind,fit,mate\n,press,bearing:608\npin,snug,bearing:608\nheight,press,bearing:608\n\
                    height,,bearing:608\n,,nut:M3\nbore,,nut:M3\ngap,snug,shaft:5D4.5\n";
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap();
        let targets: Vec<f64> =
            list.lines.iter().map(|line| line.aim(&NamedFits::bundled()).unwrap().target.get()).collect();
        assert_eq!(targets, [21.8815, 7.981, 7.1, 7.1, 5.6, 3.49, 4.515]);
        assert_eq!((list.lines[0].kind, list.lines[4].kind), (Kind::Bore, Kind::Gap));
    }
}
