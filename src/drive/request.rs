//! From what a person gives to the drive: of pulleys, belt, centre distance and ratio any two give the rest.
//!
//! Two pulleys and a belt are one drive. Two pulleys and a centre distance are the belts of whole teeth next to
//! it, and the listed ones. Everything else is searched for.

use crate::belt::lengths::{self, BeltLength, NoLength};
use crate::belt::profile::Profile;
use crate::belt::rack::Flank;
use crate::correction::Correction;
use crate::correction::apply::CannotApply;

use super::answer::{AtCentre, DriveAnswer};
use super::arrangement::Arrangement;
use super::bounds::{Bounds, Room, TeethRange};
use super::idler::{Idler, NoIdler};
use super::layout::{Drive, NoDrive, Surroundings, teeth_at};
use super::load::Duty;
use super::meshed::Meshed;
use super::pair::PairAnswer;
use super::path::NoPath;
use super::printed::PrintedDrive;
use super::search::{Belts, Wanted};

/// Which belt was given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Belt {
    /// So many teeth.
    Teeth(u32),
    /// The length code it is sold by.
    Code(String),
}

/// What was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// Belt profiles; one unless the drive is searched for.
    pub profiles: Vec<&'static Profile>,
    /// Teeth of one or both pulleys, smaller first where they are ranges.
    pub teeth: Vec<TeethRange>,
    /// The belt, where it is given.
    pub belt: Option<Belt>,
    /// Belts of every whole number of teeth, not only standard lengths.
    pub any_length: bool,
    /// Centre distance, mm.
    pub centre_mm: Option<Bounds>,
    /// Large over small.
    pub ratio: Option<Bounds>,
    /// The box that the drive must lie in.
    pub room: Option<Room>,
    /// What stands beside the belt.
    pub surroundings: Surroundings,
    /// An idler that takes up a longer belt.
    pub idler: Option<Idler>,
    /// What is asked of the small pulley.
    pub duty: Option<Duty>,
    /// How many pairs are listed.
    pub most: usize,
    /// How the sides of the pulleys' teeth are made.
    pub flank: Flank,
    /// Of a search, the mesh and the spread of the best pair too.
    pub details: bool,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// No such drive.
    #[error(transparent)]
    Drive(#[from] NoDrive),
    /// No such belt.
    #[error(transparent)]
    Length(#[from] NoLength),
    /// The idler cannot.
    #[error(transparent)]
    Idler(#[from] NoIdler),
    /// No belt goes round.
    #[error(transparent)]
    Path(#[from] NoPath),
    /// The correction does not answer.
    #[error(transparent)]
    Apply(#[from] CannotApply),
    /// Too much was given, or too little.
    #[error("{message}")]
    Call {
        /// What is wrong.
        message: &'static str,
        /// What to do.
        help: &'static str,
    },
}

impl Refusal {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Length(error) => error.help(),
            Self::Apply(error) => error.help(),
            Self::Call { help, .. } => Some((*help).to_owned()),
            Self::Idler(error) => error.help().map(str::to_owned),
            Self::Drive(_) | Self::Path(_) => None,
        }
    }
}

/// The answer, and what pictures are drawn from.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// What is said.
    pub answer: DriveAnswer,
    /// The first pair as it stands; `None` where nothing fits.
    pub first: Option<Arrangement>,
    /// Its mesh check, where grooves and teeth are published.
    pub meshed: Vec<Meshed>,
}

/// Two pulleys of one number of teeth each.
fn both_given(teeth: &[TeethRange]) -> Option<[u32; 2]> {
    match teeth {
        [a, b] => Some([a.one()?, b.one()?]),
        _ => None,
    }
}

impl Request {
    /// The answer; with a correction, what its prints do to the first pair.
    pub fn answer(&self, correction: Option<&Correction>) -> Result<Outcome, Refusal> {
        let Some(profile) = self.profiles.first().copied() else {
            return Err(Refusal::Call {
                message: "no belt profile is given",
                help: "add --belt T5 or --stock XL",
            });
        };
        if let (Some(teeth), [_]) = (both_given(&self.teeth), self.profiles.as_slice()) {
            match (&self.belt, self.centre_mm) {
                (Some(belt), _) => return self.one(profile, teeth, belt, correction),
                (None, Some(centre)) if centre.is_one() && self.idler.is_none() => {
                    return self.at_centre(profile, teeth, centre.low, correction);
                }
                _ => {}
            }
        }
        if self.idler.is_some() {
            return Err(Refusal::Call {
                message: "an idler needs two pulleys, a belt and a centre distance",
                help: "give --teeth Z1 Z2, --belt-teeth N or --length-code CODE, and --centre MM",
            });
        }
        self.searched(correction)
    }

    fn length_of(&self, profile: &'static Profile, belt: &Belt) -> Result<BeltLength, NoLength> {
        match belt {
            Belt::Teeth(teeth) => Ok(lengths::of_teeth(profile, *teeth)),
            Belt::Code(code) => lengths::of_code(profile, code),
        }
    }

    fn one(
        &self,
        profile: &'static Profile,
        teeth: [u32; 2],
        belt: &Belt,
        correction: Option<&Correction>,
    ) -> Result<Outcome, Refusal> {
        let length = self.length_of(profile, belt)?;
        let drive = Drive::new(profile, teeth, length.teeth)?;
        let arrangement = match (self.idler, self.centre_mm) {
            (Some(idler), Some(centre)) if centre.is_one() => {
                Arrangement::with_idler(drive, centre.low, idler)?
            }
            (Some(_), _) => {
                return Err(Refusal::Call {
                    message: "an idler needs the centre distance that the pulleys keep",
                    help: "add --centre MM",
                });
            }
            (None, Some(_)) => {
                return Err(Refusal::Call {
                    message: "pulleys, belt and centre distance are all given: two of them give the third",
                    help: "leave one out, or add --idler back or --idler inside to take up the rest of the belt",
                });
            }
            (None, None) => Arrangement::open(drive)?,
        };
        let pair = self.pair(&arrangement);
        self.outcome(DriveAnswer::new(vec![pair]), Some(arrangement), true, correction)
    }

    fn at_centre(
        &self,
        profile: &'static Profile,
        teeth: [u32; 2],
        centre_mm: f64,
        correction: Option<&Correction>,
    ) -> Result<Outcome, Refusal> {
        let exact = teeth_at(profile, teeth, centre_mm);
        let [small, large] = super::layout::ordered(teeth);
        let touching_mm = (super::layout::pitch_diameter_mm(profile, small)
            + super::layout::pitch_diameter_mm(profile, large))
            / 2.0
            - profile.two_a_mm;
        if centre_mm <= touching_mm {
            let (small_teeth, large_teeth) = (small, large);
            return Err(NoDrive::TooClose { small_teeth, large_teeth, touching_mm, centre_mm }.into());
        }
        let mut belts =
            if self.any_length { vec![exact.floor() as u32, exact.ceil() as u32] } else { Vec::new() };
        belts.extend(
            lengths::listed(profile).filter(|belt| f64::from(belt.teeth) <= exact).last().map(|b| b.teeth),
        );
        belts.extend(lengths::listed(profile).find(|belt| f64::from(belt.teeth) >= exact).map(|b| b.teeth));
        belts.sort_unstable();
        belts.dedup();
        let mut drives: Vec<Drive> =
            belts.into_iter().filter_map(|belt| Drive::new(profile, teeth, belt).ok()).collect();
        let off = |drive: &Drive| (drive.open.centre_mm - centre_mm).abs();
        drives.sort_by(|a, b| off(a).total_cmp(&off(b)));
        let arrangements: Vec<Arrangement> =
            drives.into_iter().map(Arrangement::open).collect::<Result<_, _>>()?;
        let pairs = arrangements.iter().map(|arrangement| self.pair(arrangement)).collect();
        let mut answer = DriveAnswer::new(pairs);
        answer.at_centre = Some(AtCentre {
            centre_distance_mm: centre_mm,
            belt_length_mm: crate::fits::decimal_mm(exact * profile.pitch_mm),
            belt_teeth: crate::fits::decimal_mm(exact),
        });
        self.outcome(answer, arrangements.into_iter().next(), true, correction)
    }

    fn searched(&self, correction: Option<&Correction>) -> Result<Outcome, Refusal> {
        let belts = match &self.belt {
            None if self.any_length => Belts::Any,
            None => Belts::Listed,
            Some(belt) if self.profiles.len() == 1 => {
                Belts::Of(self.length_of(self.profiles[0], belt)?.teeth)
            }
            Some(_) => {
                return Err(Refusal::Call {
                    message: "one belt is given and several profiles",
                    help: "name the belt's profile with --belt",
                });
            }
        };
        if self.teeth.len() < 2 && self.ratio.is_none() && self.centre_mm.is_none() && self.room.is_none() {
            return Err(Refusal::Call {
                message: "too little is given: of pulleys, belt, centre distance and ratio two give the rest",
                help: "give two of --teeth Z1 Z2, --belt-teeth N (or --length-code), --centre MM and --ratio R",
            });
        }
        let wanted = Wanted {
            profiles: self.profiles.clone(),
            small: self.teeth.first().copied(),
            large: self.teeth.get(1).copied(),
            belts,
            ratio: self.ratio,
            centre_mm: self.centre_mm,
            room: self.room,
            surroundings: self.surroundings,
            most: self.most,
        };
        let found = wanted.search();
        let arrangements: Vec<Arrangement> =
            found.best.iter().map(|fit| Arrangement::open(fit.drive)).collect::<Result<_, _>>()?;
        let mut answer =
            DriveAnswer::new(arrangements.iter().map(|arrangement| self.pair(arrangement)).collect());
        (answer.combinations, answer.fitting) = (Some(found.combinations), Some(found.fitting));
        if !self.any_length && self.belt.is_none() {
            for profile in self.profiles.iter().filter(|profile| lengths::listed(profile).next().is_none()) {
                answer.warnings.push(format!(
                    "no list of standard lengths of {} is known here: belts of every whole number of teeth are tried",
                    profile.name
                ));
            }
        }
        self.outcome(answer, arrangements.into_iter().next(), self.details, correction)
    }

    fn pair(&self, arrangement: &Arrangement) -> PairAnswer {
        PairAnswer::new(arrangement, &self.surroundings, self.duty.as_ref())
    }

    /// Adds to an answer all that is said of its first pair.
    fn outcome(
        &self,
        mut answer: DriveAnswer,
        first: Option<Arrangement>,
        details: bool,
        correction: Option<&Correction>,
    ) -> Result<Outcome, Refusal> {
        let mut meshed = Vec::new();
        if let Some(arrangement) = &first {
            let drive = &arrangement.drive;
            let length = lengths::of_teeth(drive.profile, drive.belt_teeth);
            answer.warnings.extend(answer.pairs.iter().take(1).flat_map(|pair| pair.notes().to_vec()));
            if let Some(room) = self.room {
                answer.add_room(arrangement, &self.surroundings, room);
            }
            answer.add_idler(arrangement);
            if let Some(duty) = &self.duty {
                answer.add_load(duty, &duty.load(drive));
            }
            if let Some(correction) = correction {
                let printed =
                    PrintedDrive::new(drive, arrangement.wraps_rad(), length.tolerance_mm, correction)?;
                answer.add_printed(arrangement, &printed, &correction.setup, &length);
            }
            if details {
                match arrangement.meshed(self.flank, correction) {
                    Ok(all) => meshed = all,
                    Err(error) => answer.warnings.push(format!("the mesh was not checked: {error}")),
                }
                answer.add_mesh(&meshed);
            }
            answer.add_sources(drive, &length, self.flank);
        }
        Ok(Outcome { answer, first, meshed })
    }
}
