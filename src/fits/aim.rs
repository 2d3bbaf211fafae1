//! What is asked of a printed size, to the size that is aimed at and the limits that it must keep.
//!
//! One rule for `size` and for a parts list:
//!
//! - limits by themselves: the size that is given is the target, and without one their middle is;
//! - a class or a fit: the size that is given is the nominal one, the mate's, and the target is the
//!   middle of the limits that follow from it.

use crate::correction::apply::Prediction;
use crate::kind::Kind;
use crate::units::Mm;

use super::iso286::{self, Class, ClassError};
use super::named::{FitError, NamedFit};
use super::probability::{Mate, clearance_chance};
use super::{Limits, Side, Source, decimal_mm, written};

/// What must hold of a printed size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Demand<'a> {
    /// Nothing: the size alone is wanted.
    None,
    /// It lies within these limits.
    Within(Limits),
    /// It keeps a tolerance class.
    Class(Class),
    /// It fits a bought part in a named way; where the part's own limits are known, one in their middle.
    Fit(&'a NamedFit),
    /// The same with the largest of such parts, which have wide limits and must all go in or on: nuts, heads.
    FitLargest(&'a NamedFit),
}

/// A size that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Request<'a> {
    /// What is sized.
    pub kind: Kind,
    /// The size that is given: the target, or the nominal size for a class or a fit.
    pub size: Option<Mm>,
    /// The nominal size of the bought part; the size when absent.
    pub mate: Option<Mm>,
    /// The bought part's own limits, where they are known; only for a fit.
    pub mate_limits: Option<Limits>,
    /// What must hold.
    pub demand: Demand<'a>,
}

/// The size that is aimed at, and what it must keep.
#[derive(Clone, Debug, PartialEq)]
pub struct Aim {
    /// The printed size that is aimed at.
    pub target: Mm,
    /// The limits that it must keep.
    pub limits: Option<Limits>,
    /// What the limits are called, such as `slide on 8.00`; `None` when they were given as such.
    pub called: Option<String>,
    /// Whether the printed and the bought part must be pressed together.
    pub is_pressed: bool,
    /// What the person should know of this aim.
    pub cautions: Vec<String>,
    /// Between which limits the bought part lies, as far as it is known; both ends alike for a plain size.
    pub bought: Option<Limits>,
    /// Where the numbers of the class or the fit come from.
    pub source: Option<Source>,
    /// Whether the target was not given and is the middle of the limits.
    is_middle: bool,
    clearance: Option<(Side, Mate, Limits)>,
    /// Limits that hold for one of the middle of the bought parts, where the aim's own are for the largest.
    middle_part: Option<Limits>,
}

/// Why there is nothing to aim at.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotAim {
    /// Neither a size nor limits nor a mate.
    #[error("no size is given")]
    NoSize,
    /// The target is 0 or less.
    #[error("{} is no size of a part: sizes are above zero", target.get())]
    NotPositive {
        /// The target.
        target: Mm,
    },
    /// A mate without a class or a fit.
    #[error("a mate is given, but not how it fits")]
    MateAlone,
    /// The mate's own limits without a fit.
    #[error("the mate's own limits are given, but no fit")]
    MateLimitsAlone,
    /// The target is not within its own limits.
    #[error("the size that is wanted, {target}, is not within {} to {} mm", limits.lower_mm, limits.upper_mm)]
    Outside {
        /// The target.
        target: Mm,
        /// The limits.
        limits: Limits,
    },
    /// A hole's class on an outside kind, or the other way round.
    #[error("{class} is a class for {}, which {} are not", side_words(class.side()), kind.plural())]
    WrongSide {
        /// The class.
        class: Class,
        /// The kind.
        kind: Kind,
    },
    /// The class gives no limits.
    #[error(transparent)]
    Class(#[from] ClassError),
    /// The fit gives no limits.
    #[error(transparent)]
    Fit(#[from] FitError),
}

fn side_words(side: Side) -> &'static str {
    match side {
        Side::Hole => "insides",
        Side::Shaft => "outsides",
    }
}

impl CannotAim {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::NoSize => Some("give the size that is wanted, limits, or a mate and a fit".to_owned()),
            Self::MateAlone => Some("add a fit, such as slide, or a class, such as H7".to_owned()),
            Self::MateLimitsAlone => Some("add a fit, such as slide".to_owned()),
            Self::WrongSide { class, .. } => Some(format!("did you mean {}?", class.other_side())),
            Self::Fit(error) => error.help(),
            Self::Outside { .. } => {
                Some("correct one of the two, or leave the size out to aim at their middle".to_owned())
            }
            Self::NotPositive { .. } | Self::Class(_) => None,
        }
    }
}

impl Request<'_> {
    /// The size to aim at.
    ///
    /// # Errors
    /// No size, a size outside its own limits, a class or a fit that gives no limits for this kind and size.
    pub fn aim(&self) -> Result<Aim, CannotAim> {
        if self.mate_limits.is_some() && !matches!(self.demand, Demand::Fit(_) | Demand::FitLargest(_)) {
            return Err(CannotAim::MateLimitsAlone);
        }
        let aim = match self.demand {
            Demand::None if self.mate.is_some() => Err(CannotAim::MateAlone),
            Demand::None => Ok(Aim::at(self.size.ok_or(CannotAim::NoSize)?, None)),
            Demand::Within(limits) => self.within(limits),
            Demand::Class(class) => self.class(class),
            Demand::Fit(fit) => self.fit(fit),
            Demand::FitLargest(fit) => self.fit_largest(fit),
        }?;
        if aim.target.get() > 0.0 { Ok(aim) } else { Err(CannotAim::NotPositive { target: aim.target }) }
    }

    fn within(&self, limits: Limits) -> Result<Aim, CannotAim> {
        let target = match self.size {
            Some(target) if !limits.contains(target.get()) => {
                return Err(CannotAim::Outside { target, limits });
            }
            Some(target) => target,
            None => return self.middle_of(limits, None),
        };
        Ok(Aim::at(target, Some(limits)))
    }

    fn class(&self, class: Class) -> Result<Aim, CannotAim> {
        if Side::of(self.kind).is_some_and(|side| side != class.side()) {
            return Err(CannotAim::WrongSide { class, kind: self.kind });
        }
        let nominal = self.mate.or(self.size).ok_or(CannotAim::NoSize)?;
        let limits = class.limits(nominal.get())?;
        let mut aim = self.middle_of(limits, Some(format!("{class} on {}", written(nominal.get()))))?;
        aim.source = Some(Source::new(format!("limits of {class}"), iso286::SOURCE));
        aim.bought = Some(Limits { lower_mm: nominal.get(), upper_mm: nominal.get() });
        Ok(aim)
    }

    fn fit(&self, fit: &NamedFit) -> Result<Aim, CannotAim> {
        let nominal = match self.mate_limits {
            Some(limits) => limits.middle_mm(),
            None => self.mate.or(self.size).ok_or(CannotAim::NoSize)?.get(),
        };
        let mut aim = self.fit_on(fit, nominal)?;
        let side = Side::of(self.kind);
        aim.clearance = side
            .zip(self.mate_limits)
            .map(|(side, limits)| (side, Mate::Within(limits), fit.clearance(nominal)));
        Ok(aim)
    }

    /// The largest part (the smallest hole, for an outside kind) has the fit's least clearance at least, the
    /// smallest its most at most and what it is smaller besides.
    fn fit_largest(&self, fit: &NamedFit) -> Result<Aim, CannotAim> {
        let Some(own) = self.mate_limits else { return self.fit(fit) };
        let side = Side::of(self.kind);
        let tightest = if side == Some(Side::Shaft) { own.lower_mm } else { own.upper_mm };
        let mut aim = self.fit_on(fit, tightest)?;
        let Limits { lower_mm, upper_mm } = fit.clearance(tightest);
        let window = Limits { lower_mm, upper_mm: upper_mm + own.upper_mm - own.lower_mm };
        aim.clearance = side.map(|side| (side, Mate::Within(own), window));
        let middle = own.middle_mm();
        aim.middle_part = side.map(|side| match side {
            Side::Hole => Limits {
                lower_mm: decimal_mm(middle + window.lower_mm),
                upper_mm: decimal_mm(middle + window.upper_mm),
            },
            Side::Shaft => Limits {
                lower_mm: decimal_mm(middle - window.upper_mm),
                upper_mm: decimal_mm(middle - window.lower_mm),
            },
        });
        Ok(aim)
    }

    fn fit_on(&self, fit: &NamedFit, nominal: f64) -> Result<Aim, CannotAim> {
        let limits = fit.limits(self.kind, nominal)?;
        let mut aim = self.middle_of(limits, Some(format!("{} on {}", fit.name, written(nominal))))?;
        aim.is_pressed = fit.is_pressed(nominal);
        aim.source = Some(Source::new(format!("clearances of {}", fit.name), fit.source_in_words()));
        aim.bought = Some(self.mate_limits.unwrap_or(Limits { lower_mm: nominal, upper_mm: nominal }));
        Ok(aim)
    }

    /// An aim at the middle of limits.
    fn middle_of(&self, limits: Limits, called: Option<String>) -> Result<Aim, CannotAim> {
        let target = Mm::new(limits.middle_mm()).ok_or(CannotAim::NoSize)?;
        let mut aim = Aim::at(target, Some(limits));
        aim.called = called;
        aim.is_middle = true;
        let unused = self.size.filter(|size| self.mate.is_some_and(|mate| mate != *size) && *size != target);
        if let Some(size) = unused {
            aim.cautions.push(unused_size(size));
        }
        Ok(aim)
    }
}

/// What is said of a size that the mate overrules.
pub fn unused_size(size: Mm) -> String {
    format!("the size {} is not used: what is aimed at follows from the mate", written(size.get()))
}

impl Aim {
    fn at(target: Mm, limits: Option<Limits>) -> Self {
        Self {
            target,
            limits,
            called: None,
            is_pressed: false,
            cautions: Vec::new(),
            bought: None,
            source: None,
            is_middle: false,
            clearance: None,
            middle_part: None,
        }
    }

    /// The chance that a print keeps what is asked of it; `None` when nothing is.
    ///
    /// Where the mate's own limits are known, the chance is that of the clearance, over all such mates.
    pub fn chance(&self, prediction: &Prediction) -> Option<f64> {
        match self.clearance {
            Some((side, mate, window)) => Some(clearance_chance(prediction, side, mate, window)),
            None => self.limits.map(|limits| prediction.chance_within(limits.lower_mm, limits.upper_mm)),
        }
    }

    /// Between which printed sizes half of the bought parts and more still fit, where the limits are those for the
    /// largest of them: the chance is over all, and prints beyond the limits miss the larger ones only.
    pub fn half_fit(&self) -> Option<Limits> {
        self.middle_part
    }

    /// `aimed at 8.10, the middle of slide on 8.00 (8.05 to 8.15)`, when the target was not given as such.
    pub fn words(&self) -> Option<String> {
        let limits = self.limits.filter(|_| self.is_middle)?;
        let target = written(self.target.get());
        Some(match &self.called {
            Some(called) => format!("aimed at {target}, the middle of {called} ({limits})"),
            None => format!("aimed at {target}, the middle of {limits}"),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::named::NamedFits;

    fn mm(value: f64) -> Option<Mm> {
        Mm::new(value)
    }

    fn request(kind: Kind, size: Option<Mm>, demand: Demand<'_>) -> Request<'_> {
        Request { kind, size, mate: None, mate_limits: None, demand }
    }

    #[test]
    fn limits_leave_the_target_and_a_fit_or_class_gives_one() {
        let fits = NamedFits::bundled();
        let slide = Demand::Fit(fits.get("slide").unwrap());
        let within = Demand::Within(Limits { lower_mm: 8.0, upper_mm: 8.15 });
        let aim = request(Kind::Bore, mm(8.1), within).aim().unwrap();
        assert_eq!((aim.target, aim.words()), (mm(8.1).unwrap(), None));
        let middle = request(Kind::Bore, None, within).aim().unwrap();
        assert_eq!(middle.words().unwrap(), "aimed at 8.075, the middle of 8.00 to 8.15");
        let aim = request(Kind::Bore, mm(8.0), slide).aim().unwrap();
        assert_eq!(aim.target, mm(8.1).unwrap());
        assert_eq!(aim.words().unwrap(), "aimed at 8.10, the middle of slide on 8.00 (8.05 to 8.15)");
        let by_mate = Request { mate: mm(8.0), size: None, ..request(Kind::Bore, None, slide) };
        assert_eq!(by_mate.aim().unwrap(), aim);
        let aim = request(Kind::Pin, mm(25.0), Demand::Class(Class::parse("g6").unwrap())).aim().unwrap();
        assert_eq!(aim.words().unwrap(), "aimed at 24.987, the middle of g6 on 25.00 (24.98 to 24.993)");
    }

    #[test]
    fn a_size_that_the_mate_overrules_is_told() {
        let fits = NamedFits::bundled();
        let asked = Request {
            mate: mm(8.0),
            ..request(Kind::Bore, mm(8.3), Demand::Fit(fits.get("slide").unwrap()))
        };
        let aim = asked.aim().unwrap();
        assert_eq!(aim.target, mm(8.1).unwrap());
        assert_eq!(aim.cautions, ["the size 8.30 is not used: what is aimed at follows from the mate"]);
        assert!(Request { size: mm(8.1), ..asked }.aim().unwrap().cautions.is_empty());
    }

    #[test]
    fn a_press_fit_is_marked_as_one() {
        let fits = NamedFits::bundled();
        let press = Demand::Fit(fits.get("press").unwrap());
        assert!(request(Kind::Bore, mm(22.0), press).aim().unwrap().is_pressed);
        let snug = Demand::Fit(fits.get("snug").unwrap());
        assert!(!request(Kind::Bore, mm(22.0), snug).aim().unwrap().is_pressed);
    }

    #[test]
    fn a_request_that_makes_no_sense_says_what_would() {
        let fits = NamedFits::bundled();
        let within = Demand::Within(Limits { lower_mm: 8.0, upper_mm: 8.15 });
        let h7 = Demand::Class(Class::parse("H7").unwrap());
        let cases = [
            (request(Kind::Bore, None, Demand::None), "no size is given"),
            (
                Request { mate: mm(8.0), ..request(Kind::Bore, mm(8.0), Demand::None) },
                "a mate is given, but not how it fits",
            ),
            (
                request(Kind::Bore, mm(8.2), within),
                "the size that is wanted, 8.2 mm, is not within 8 to 8.15 mm",
            ),
            (request(Kind::Pin, mm(8.0), h7), "H7 is a class for insides, which pins are not"),
            (
                request(Kind::Height, mm(8.0), Demand::Fit(fits.get("free").unwrap())),
                "heights have no fit: they go neither into nor over a bought part",
            ),
        ];
        for (request, message) in cases {
            let error = request.aim().unwrap_err();
            assert_eq!(error.to_string(), message);
            assert!(error.help().is_some(), "{message}");
        }
        assert!(request(Kind::Height, mm(8.0), h7).aim().is_ok());
    }

    /// A nut may be 5.32 to 5.50 mm: the largest must go in with the least clearance of the fit.
    #[test]
    fn a_part_of_wide_limits_is_fitted_by_its_largest() {
        let fits = NamedFits::bundled();
        let slide = fits.get("slide").unwrap();
        let nuts = Some(Limits { lower_mm: 5.32, upper_mm: 5.5 });
        let largest = |kind| {
            Request { mate_limits: nuts, ..request(kind, None, Demand::FitLargest(slide)) }.aim().unwrap()
        };
        let aim = largest(Kind::Gap);
        assert_eq!(aim.limits, Some(Limits { lower_mm: 5.55, upper_mm: 5.65 }));
        assert_eq!(largest(Kind::Outer).limits, Some(Limits { lower_mm: 5.17, upper_mm: 5.27 }));
        // A print in the middle takes every nut; one at the lower end only about half of what a middle nut would allow.
        let printed = |mm| Prediction { expected_mm: mm, sd_mm: 1e-5, dof: f64::INFINITY, beyond_mm: 0.0 };
        assert!(aim.chance(&printed(5.6)).unwrap() > 0.999);
        let half_of_the_nuts = aim.chance(&printed(5.46)).unwrap();
        assert!((half_of_the_nuts - 0.5).abs() < 0.001, "{half_of_the_nuts}");
    }

    #[test]
    fn the_source_of_a_class_and_of_a_fit_is_told() {
        let fits = NamedFits::bundled();
        let source = |demand| request(Kind::Bore, mm(8.0), demand).aim().unwrap().source.unwrap();
        let class = source(Demand::Class(Class::parse("H7").unwrap()));
        assert!(class.what == "limits of H7" && class.label.contains("from memory: ISO 286-1:2010"));
        let fit = source(Demand::Fit(fits.get("slide").unwrap()));
        assert_eq!(fit, Source::new("clearances of slide", "common practice, no source"));
    }

    #[test]
    fn a_mate_whose_own_limits_are_known_spreads_the_clearance() {
        let fits = NamedFits::bundled();
        let slide = Demand::Fit(fits.get("slide").unwrap());
        let own = Limits { lower_mm: 7.9, upper_mm: 8.1 };
        let known = Request { mate_limits: Some(own), ..request(Kind::Bore, mm(8.0), slide) }.aim().unwrap();
        let plain = request(Kind::Bore, mm(8.0), slide).aim().unwrap();
        assert_eq!((known.target, known.limits), (plain.target, plain.limits));
        let printed = Prediction { expected_mm: 8.1, sd_mm: 0.02, dof: 9.0, beyond_mm: 0.0 };
        assert!(plain.chance(&printed).unwrap() > 0.9);
        let chance = known.chance(&printed).unwrap();
        assert!((0.45..0.55).contains(&chance), "{chance}");
    }
}
