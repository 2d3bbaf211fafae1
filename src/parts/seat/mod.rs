//! Seats: everything that must be drawn so that a bought part sits in a printed one.
//!
//! ```text
//! bearing:608 + press -> seat 22 mm, shoulder, depth, lead-in      [`bought`] -> [`Seat`] -> [`sized`]
//! ```
//!
//! The first dimension is the one that fits; the others follow from the part. A dimension that a caliper
//! can check is aimed at and corrected; a chamfer is drawn as it is.
//!
//! Source of the bought sizes: [`crate::hardware`]. What a seat adds to them (how deep, how wide a shoulder,
//! which lead-in) is common practice without a source, and says so.

pub mod bought;
mod fastener;
mod round;
pub mod sized;

pub use round::{inch_caution, outer_shoulder};

use crate::fits::aim::{Aim, CannotAim, Demand, Request};
use crate::fits::fit_type::{FitType, clearance_between};
use crate::fits::iso286::Class;
use crate::fits::named::FitError;
use crate::fits::{Limits, Side, Source, decimal_mm};
use crate::kind::{Axis, Kind};
use crate::units::Mm;

use super::own_fits::{ChosenFit, OwnFits};
use super::sized::RoundOfFlat;
use bought::BoughtPart;

/// How the printed part is to go with the bought one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum How<'a> {
    /// It was not said; screws and nuts have a usual way.
    Usual,
    /// By a fit's name.
    Fit(&'a str),
    /// By a tolerance class of the printed part.
    Class(Class),
}

/// What is asked of a seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ask<'a> {
    /// The bought part.
    pub part: &'a BoughtPart,
    /// What the first dimension is; the part's usual one where it is not said.
    pub kind: Option<Kind>,
    /// The direction it is measured in; the kind's unnamed one where it is not said.
    pub axis: Option<Axis>,
    /// How it is to fit.
    pub how: How<'a>,
}

/// One dimension that a print must keep.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted<'a> {
    /// What it is called: `seat`, `depth`.
    pub name: &'static str,
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// What it is aimed at.
    pub aim: Aim,
    /// Why it is so, or what it is for; may be empty.
    pub note: String,
    /// The fit that it follows from, and the size of the bought part.
    pub(super) chosen: Option<(ChosenFit<'a>, Mm)>,
    /// The round that it is cut off, where it is the size across a flat.
    pub(super) round: Option<RoundOfFlat>,
}

/// One dimension that is drawn as it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Plain {
    /// What it is called.
    pub name: &'static str,
    /// The size to draw.
    pub size: Mm,
    /// What it is for.
    pub note: String,
}

/// Everything that must be drawn for one bought part.
#[derive(Clone, Debug, PartialEq)]
pub struct Seat<'a> {
    /// What it is for, in words.
    pub title: String,
    /// The dimension that fits.
    pub first: Wanted<'a>,
    /// What else a print must keep.
    pub others: Vec<Wanted<'a>>,
    /// What is drawn as it is.
    pub plain: Vec<Plain>,
    /// What the person should know.
    pub cautions: Vec<String>,
    /// Where the part's sizes come from.
    part_sources: Vec<Source>,
}

/// A seat in the making.
struct Draft<'a> {
    title: String,
    wanted: Vec<Wanted<'a>>,
    plain: Vec<Plain>,
    cautions: Vec<String>,
    sources: Vec<Source>,
    /// The kinds of the dimensions that wait for a fit.
    unfitted: Vec<Kind>,
}

/// Why there is no seat.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotSeat {
    /// The kind does not go with the part.
    #[error("{} do not go with a {part}: expected {expected}", kind.plural())]
    Kind {
        /// The kind.
        kind: Kind,
        /// What the part is.
        part: &'static str,
        /// The kinds that would do.
        expected: &'static str,
    },
    /// A class where the tables hold none, such as for a nut's pocket.
    #[error("a {part} is fitted by name, not by a class")]
    NoClass {
        /// What the part is.
        part: &'static str,
    },
    /// The fit has no such name.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// What follows gives no aim.
    #[error(transparent)]
    Aim(#[from] CannotAim),
}

impl CannotSeat {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Kind { .. } => Some("leave the kind out for the usual seat".to_owned()),
            Self::NoClass { .. } => Some("give a fit, such as slide".to_owned()),
            Self::Fit(error) => error.help(),
            Self::Aim(error) => error.help(),
        }
    }
}

/// Where what a seat adds to the bought sizes comes from.
const PRACTICE: &str = "common practice, no source";

/// How much deeper than its part a seat may be, mm: a layer.
const DEEPER_MM: f64 = 0.2;

impl<'a> Seat<'a> {
    /// The seat for what is asked.
    ///
    /// # Errors
    /// A kind that does not go with the part, a fit or a class that gives nothing here.
    pub fn new(ask: Ask<'a>, fits: &OwnFits<'a>) -> Result<Self, CannotSeat> {
        let draft = Draft::new(ask, fits)?;
        if !draft.unfitted.is_empty() {
            return Err(CannotAim::MateAlone.into());
        }
        let Draft { title, wanted, plain, cautions, sources, .. } = draft;
        let mut wanted = wanted.into_iter();
        let first = wanted.next().ok_or(CannotAim::NoSize)?;
        Ok(Self { title, first, others: wanted.collect(), plain, cautions, part_sources: sources })
    }

    /// Where its numbers come from: the part's sizes, and what each dimension adds to them.
    pub fn sources(&self) -> Vec<Source> {
        let mut sources = self.part_sources.clone();
        let wanted = std::iter::once(&self.first).chain(&self.others);
        Source::add_to(&mut sources, wanted.filter_map(|wanted| wanted.aim.source.clone()));
        sources
    }

    /// The seat with one of its dimensions alone: the one that fits when its kind is asked for, else the first
    /// of that kind, such as the height for how deep it is or the bore for a nut's screw. What does not follow from
    /// the fit, such as that height, needs none.
    ///
    /// # Errors
    /// As [`Seat::new`]; a kind that no dimension has.
    pub fn one_dimension(ask: Ask<'a>, fits: &OwnFits<'a>) -> Result<Self, CannotSeat> {
        let (draft, refusal) = match Draft::new(ask, fits) {
            Err(refusal @ CannotSeat::Kind { .. }) => {
                (Draft::new(Ask { kind: None, ..ask }, fits)?, Some(refusal))
            }
            draft => (draft?, None),
        };
        let is_asked = |kind| ask.kind.is_none_or(|asked| asked == kind);
        if draft.unfitted.iter().any(|kind| is_asked(*kind)) {
            return Err(CannotAim::MateAlone.into());
        }
        let Draft { title, wanted, cautions, sources, .. } = draft;
        let found = wanted.into_iter().find(|wanted| is_asked(wanted.kind));
        // Without a refusal the first is of the kind that was asked for.
        let first = found.ok_or_else(|| refusal.unwrap_or_else(|| CannotAim::NoSize.into()))?;
        Ok(Self { title, first, others: Vec::new(), plain: Vec::new(), cautions, part_sources: sources })
    }
}

impl<'a> Draft<'a> {
    /// All that follows from what is asked; where a fit is missing, all but what hangs on it.
    fn new(ask: Ask<'a>, fits: &OwnFits<'a>) -> Result<Self, CannotSeat> {
        let mut draft = Draft {
            title: ask.part.to_string(),
            wanted: Vec::new(),
            plain: Vec::new(),
            cautions: Vec::new(),
            sources: Vec::new(),
            unfitted: Vec::new(),
        };
        match ask.part {
            BoughtPart::Bearing(bearing) => draft.for_bearing(ask, bearing, fits)?,
            BoughtPart::Shaft { diameter, class, flat } => {
                draft.for_shaft(ask, *diameter, *class, *flat, fits)?;
            }
            BoughtPart::Pin(pin) => draft.for_pin(ask, pin, fits)?,
            BoughtPart::Insert { hole, length } => draft.for_insert(ask, *hole, *length, fits)?,
            BoughtPart::Screw { hole, series, head } => draft.for_screw(ask, hole, *series, *head, fits)?,
            BoughtPart::HexNut(nut) => draft.for_hex_nut(ask, nut, fits)?,
            BoughtPart::SquareNut(nut) => draft.for_square_nut(ask, nut, fits)?,
        }
        Ok(draft)
    }

    /// Adds the dimension that fits a part of this nominal size, between these limits where they are known.
    fn fitted(
        &mut self,
        name: &'static str,
        (kind, axis): (Kind, Option<Axis>),
        bought: Bought,
        how: How<'a>,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        self.fitted_as(kind, name, (kind, axis), bought, how, fits)
    }

    /// The same with the fit of another kind, such as the bore's for the flat in it.
    fn fitted_as(
        &mut self,
        of: Kind,
        name: &'static str,
        (kind, axis): (Kind, Option<Axis>),
        bought: Bought,
        how: How<'a>,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let request = |demand, mate_limits| Request {
            kind,
            size: Mm::new(bought.nominal_mm),
            mate: None,
            mate_limits,
            demand,
        };
        let (aim, chosen) = match how {
            How::Usual => {
                self.unfitted.push(kind);
                return Ok(());
            }
            How::Fit(name) => {
                let chosen = fits.get(of, name)?;
                let demand = if bought.by_largest {
                    Demand::FitLargest(&chosen.fit)
                } else {
                    Demand::Fit(&chosen.fit)
                };
                let aim = request(demand, bought.limits).aim()?;
                let middle = bought.limits.map_or(bought.nominal_mm, Limits::middle_mm);
                let mate = Mm::new(if bought.by_largest { bought.nominal_mm } else { middle });
                (aim, mate.map(|mate| (chosen, mate)))
            }
            How::Class(class) => {
                let mut aim = request(Demand::Class(class), None).aim()?;
                aim.cautions.extend(self.fit_type(kind, class, &bought)?);
                aim.bought = bought.limits.or(aim.bought);
                (aim, None)
            }
        };
        self.wanted.push(Wanted {
            name,
            kind,
            axis: axis.unwrap_or(kind.unnamed_axis()),
            aim,
            note: String::new(),
            chosen,
            round: None,
        });
        Ok(())
    }

    /// `H7 and the part's own limits: clearance fit, 0.00 to 0.021 mm`, where those limits are known.
    fn fit_type(&self, kind: Kind, class: Class, bought: &Bought) -> Result<Option<String>, CannotSeat> {
        let Some(own) = bought.limits else { return Ok(None) };
        let printed = class.limits(bought.nominal_mm).map_err(CannotAim::from)?;
        let clearance = match Side::of(kind) {
            Some(Side::Hole) => clearance_between(printed, own),
            Some(Side::Shaft) => clearance_between(own, printed),
            None => return Ok(None),
        };
        Ok(Some(format!(
            "{class} and the limits of the {}: {} fit, clearance {clearance} mm",
            self.title,
            FitType::of(clearance)
        )))
    }

    /// Adds a dimension that must lie within limits.
    fn within(
        &mut self,
        name: &'static str,
        kind: Kind,
        limits: Limits,
        note: &str,
    ) -> Result<(), CannotSeat> {
        let request =
            Request { kind, size: None, mate: None, mate_limits: None, demand: Demand::Within(limits) };
        let mut aim = request.aim()?;
        aim.source = Some(Source::new(format!("limits of {name}"), PRACTICE));
        let axis = kind.unnamed_axis();
        self.wanted.push(Wanted { name, kind, axis, aim, note: note.to_owned(), chosen: None, round: None });
        Ok(())
    }

    /// Adds how deep a seat is for a part of this height at most.
    fn depth(
        &mut self,
        name: &'static str,
        main: Kind,
        height_mm: f64,
        note: &str,
    ) -> Result<(), CannotSeat> {
        // A hole that lies in the layer plane is as deep as one face stands behind another that looks the same way.
        let kind = if main == Kind::HorizontalBore { Kind::Span } else { Kind::Height };
        let limits = Limits { lower_mm: height_mm, upper_mm: decimal_mm(height_mm + DEEPER_MM) };
        self.within(name, kind, limits, note)
    }

    /// Adds the chamfer at the mouth of a seat: what finds the part and takes up the first layer's spread.
    fn lead_in(&mut self, diameter_mm: f64) {
        // 2 % of the diameter, from 0.5 to 1 mm, in tenths: common practice, no source.
        let size_mm = (diameter_mm * 0.02 * 10.0).round().clamp(5.0, 10.0) / 10.0;
        let note = "45 degrees; more where the mouth lies on the bed and the first layer stands out further";
        if let Some(size) = Mm::new(size_mm) {
            self.plain.push(Plain { name: "lead-in chamfer", size, note: note.to_owned() });
        }
    }
}

/// A bought part's size where it fits.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bought {
    nominal_mm: f64,
    limits: Option<Limits>,
    /// The largest of such parts must go in, not one in the middle.
    by_largest: bool,
}

/// The kind that is asked for, when it is one of these; else the first of them.
fn kind_of(
    ask: &Ask<'_>,
    allowed: &[Kind],
    part: &'static str,
    expected: &'static str,
) -> Result<Kind, CannotSeat> {
    match ask.kind {
        None => allowed.first().copied().ok_or(CannotSeat::NoClass { part }),
        Some(kind) if allowed.contains(&kind) => Ok(kind),
        Some(kind) => Err(CannotSeat::Kind { kind, part, expected }),
    }
}
