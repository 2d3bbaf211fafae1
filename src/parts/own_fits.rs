//! Which clearances a fit's name stands for: the person's own feel tests where the correction has them, else
//! the named fit of the file or of the program.
//!
//! A person who brings a file of fits means those, and no feel test takes their place.

use std::borrow::Cow;

use crate::correction::Correction;
use crate::correction::feel::Feels;
use crate::fits::aim::{Aim, CannotAim, Demand, Request};
use crate::fits::named::{FitError, NamedFit, NamedFits, PRESS_CAUTION};
use crate::kind::Kind;
use crate::readings::trials::Feel;
use crate::units::Mm;

use super::felt::{credit, felt_fit};
use super::sized::SizedFeature;

/// The fits of a person with this correction.
#[derive(Clone, Copy, Debug)]
pub struct OwnFits<'a> {
    named: &'a NamedFits,
    felt: Option<(&'a Feels, &'a Correction)>,
}

/// The fit that a name stands for.
#[derive(Clone, Debug, PartialEq)]
pub struct ChosenFit<'a> {
    /// Its clearances.
    pub fit: Cow<'a, NamedFit>,
    /// Why it is not the person's own although he has tested feels; empty when there is nothing to say.
    pub caution: Option<String>,
    /// Whether the feel was tried on a kind that no reading tells of: then only the drawn clearances are known.
    pub is_felt_alone: bool,
    felt: Option<(&'a Feels, &'a Correction, Feel)>,
}

impl<'a> OwnFits<'a> {
    /// The named fits alone.
    pub fn named(named: &'a NamedFits) -> Self {
        Self { named, felt: None }
    }

    /// The named fits, and in their place the feels that this correction has.
    pub fn new(named: &'a NamedFits, feels: Option<&'a Feels>, correction: &'a Correction) -> Self {
        Self { named, felt: feels.map(|feels| (feels, correction)) }
    }

    /// The fit of this name for this kind.
    ///
    /// # Errors
    /// A name that no fit has.
    pub fn get(&self, kind: Kind, name: &str) -> Result<ChosenFit<'a>, FitError> {
        let fit = Cow::Borrowed(self.named.get(name)?);
        let mut chosen = ChosenFit { fit, caution: None, is_felt_alone: false, felt: None };
        let (Some((feels, correction)), Ok(feel)) = (self.felt, name.trim().parse::<Feel>()) else {
            return Ok(chosen);
        };
        match felt_fit(feels, correction, kind, feel) {
            Ok(Some(own)) => {
                chosen.fit = Cow::Owned(own);
                chosen.felt = Some((feels, correction, feel));
            }
            Ok(None) => {
                let kinds = kind.plural();
                let why = format!(
                    "your feel tests of {kinds} have no readings beside them to carry them over: \
                     the named fit is used"
                );
                chosen.caution = Some(why);
                chosen.is_felt_alone = true;
            }
            Err(reason) => chosen.caution = Some(format!("{reason}: the named fit is used")),
        }
        Ok(chosen)
    }
}

impl ChosenFit<'_> {
    /// What is aimed at for a bought part of this size.
    ///
    /// # Errors
    /// A kind that mates with nothing, a size that would not be above zero.
    pub fn aim(&self, kind: Kind, mate: Mm) -> Result<Aim, CannotAim> {
        let demand = Demand::Fit(&self.fit);
        Request { kind, size: Some(mate), mate: None, mate_limits: None, demand }.aim()
    }

    /// What is to be said of an aim at this fit, where no answer of a size says it: what is aimed at, whose
    /// clearances they are, the caution of a press fit.
    pub fn notes(&self, aim: &Aim) -> Vec<String> {
        let whose = self.felt.map(|(_, _, feel)| format!("`{feel}` is what felt so in your own feel tests"));
        let press = aim.is_pressed.then(|| PRESS_CAUTION.to_owned());
        aim.words().into_iter().chain(whose).chain(self.caution.clone()).chain(press).collect()
    }

    /// Makes the answer say what it owes to feel tests, with the chance of the feel in place of that of
    /// the size.
    pub fn credit(&self, answer: &mut SizedFeature, mate: Mm) {
        answer.warnings.extend(self.caution.clone());
        if let Some((feels, correction, feel)) = self.felt {
            credit(answer, feels, correction, feel, mate);
        }
    }
}
