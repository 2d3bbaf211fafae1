//! From how the real pieces felt to the drawn clearance at which each feel begins.
//!
//! Drawn clearance is inside less outside as drawn: drawn less mate for an inside kind, mate less drawn for
//! an outside one. It says nothing of the printed size; but what a person wants of a fit is the feel, and
//! the feel at a drawn clearance is what the next print repeats. The model is [`crate::stats::ordinal`]:
//! thresholds from `no-go` to `free` with a normal scatter that all groups share.
//!
//! Rules:
//!
//! - Groups: round insides (bores of both kinds), round outsides (pins), gaps, flat outsides.
//! - A group has thresholds of its own with [`OWN_TRIALS`] trials and two different feels. A smaller group
//!   is given those of all trials together, and the answer says so.
//! - Trials of one piece of one print with one mate are repeats of one: they share the weight of 1.
//! - Fewer than [`FEWEST_TRIALS`] trials, or one feel alone, place nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::str::FromStr;

use serde::Serialize;

use crate::fits::{Limits, Side, decimal_mm};
use crate::kind::Kind;
use crate::readings::trials::{FeatureTrial, Feel};
use crate::readings::{CheckedReadings, Conditions, Source};
use crate::stats::distribution::t_below;
use crate::stats::ordinal::{NoThresholds, Thresholds, Trial, thresholds};

pub use super::feel_answer::FeelAnswer;

/// Trials that place anything. Picked by feel: two on either side of one threshold.
pub const FEWEST_TRIALS: u32 = 4;

/// Trials that give a group thresholds of its own. Picked by feel.
pub const OWN_TRIALS: u32 = 6;

/// A clearance beyond this is more likely a piece of another size than a trial.
const FAR_MM: f64 = 1.5;

/// Kinds that feel alike at one drawn clearance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// Bores, upright and horizontal.
    InsideRound,
    /// Pins.
    OutsideRound,
    /// Gaps.
    Gap,
    /// Flat outsides.
    Outer,
}

impl Group {
    /// Every group.
    pub const ALL: [Self; 4] = [Self::InsideRound, Self::OutsideRound, Self::Gap, Self::Outer];

    /// The group of a kind; `None` where nothing goes in or over.
    pub fn of(kind: Kind) -> Option<Self> {
        match kind {
            Kind::Bore | Kind::HorizontalBore => Some(Self::InsideRound),
            Kind::Pin => Some(Self::OutsideRound),
            Kind::Gap => Some(Self::Gap),
            Kind::Outer => Some(Self::Outer),
            Kind::Span | Kind::Height => None,
        }
    }

    /// The word used in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::InsideRound => "inside_round",
            Self::OutsideRound => "outside_round",
            Self::Gap => "gap",
            Self::Outer => "outer",
        }
    }

    /// What a person calls it.
    pub fn plural(self) -> &'static str {
        match self {
            Self::InsideRound => "round insides",
            Self::OutsideRound => "round outsides",
            Self::Gap => "gaps",
            Self::Outer => "flat outsides",
        }
    }
}

impl fmt::Display for Group {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A word that names no group.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no group of feel tests; expected inside_round, outside_round, gap or outer")]
pub struct UnknownGroup(pub String);

impl FromStr for Group {
    type Err = UnknownGroup;

    fn from_str(text: &str) -> Result<Self, UnknownGroup> {
        let found = Self::ALL.into_iter().find(|group| group.name() == text);
        found.ok_or_else(|| UnknownGroup(text.to_owned()))
    }
}

/// Where a feel begins, drawn clearance in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Begin {
    /// The clearance; the middle of `between_mm` when that is there.
    pub at_mm: f64,
    /// Its standard error; `None` when the feel changed cleanly.
    pub se_mm: Option<f64>,
    /// Ends of the 95 % interval, profile likelihood; `None` is open.
    pub low95_mm: Option<f64>,
    /// The upper end.
    pub high95_mm: Option<f64>,
    /// The two clearances, tried, between which it changed cleanly.
    pub between_mm: Option<[f64; 2]>,
}

/// One feel that was felt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Felt {
    /// The feel.
    pub feel: Feel,
    /// In how many trials.
    pub trials: u32,
    /// The smallest and the largest clearance at which it was felt.
    pub tried_mm: [f64; 2],
    /// Where it begins; `None` for the tightest feel that was felt.
    pub begin: Option<Begin>,
}

/// The feels of a group, tightest first.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupFeels {
    /// Whether the thresholds are the group's own; else those of all groups together.
    pub own: bool,
    /// How many trials the group itself had.
    pub trials: u32,
    /// The kind tried most often.
    pub kind: Kind,
    /// Mean drawn size of its trials, mm.
    pub nominal_mm: f64,
    /// The smallest and the largest drawn size, mm.
    pub sizes_mm: [f64; 2],
    /// Which pieces were tried, as far as the sheet says.
    pub mates: Vec<String>,
    /// The feels.
    pub feels: Vec<Felt>,
}

/// What a setup's feel tests say.
#[derive(Clone, Debug, PartialEq)]
pub struct Feels {
    /// The setup.
    pub setup: String,
    /// When they were made.
    pub date: Option<String>,
    /// The sheet's name, without its folder.
    pub readings_file: String,
    /// Its SHA-256.
    pub readings_sha256: String,
    /// The program version that fitted.
    pub program_version: String,
    /// How many trials.
    pub trials: u32,
    /// On how many prints.
    pub prints: u32,
    /// Scatter of a feel about its threshold, mm; `None` when every feel changed cleanly.
    pub sd_mm: Option<f64>,
    /// By group.
    pub groups: BTreeMap<Group, GroupFeels>,
    /// What a reader must know.
    pub warnings: Vec<String>,
    /// Whether the file that this was read from holds no correction besides.
    pub alone: bool,
}

/// Why feel tests place nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoFeels {
    /// Too few.
    #[error("{trials} feel test{}: {FEWEST_TRIALS} are needed to place a feel", if *trials == 1 { "" } else { "s" })]
    TooFew {
        /// How many.
        trials: u32,
    },
    /// All alike.
    #[error("all {trials} feel tests felt {feel}: where it begins and ends was not found")]
    OneFeel {
        /// How many.
        trials: u32,
        /// The feel.
        feel: Feel,
    },
    /// Tighter with more clearance.
    #[error("the feel tests get tighter where more clearance is drawn")]
    Backwards,
    /// The likelihood has no maximum.
    #[error("the feel tests cannot be fitted: {0}")]
    NoFit(NoThresholds),
}

impl NoFeels {
    /// What the person can do about it.
    pub fn help(&self) -> &'static str {
        match self {
            Self::TooFew { .. } => {
                "try the piece in more sizes, drawn 0.05 mm apart, and write down each feel"
            }
            Self::OneFeel { .. } => {
                "try sizes further apart, until it does not go on one side and rattles on the other"
            }
            Self::Backwards | Self::NoFit(_) => {
                "check `mate_mm` and `kind`: clearance is drawn less mate inside, mate less drawn outside"
            }
        }
    }
}

/// The drawn clearances of one feel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// From where to where, mm.
    pub clearance: Limits,
    /// The lower end is the smallest clearance tried, since nothing tighter was felt.
    pub open_below: bool,
    /// The upper end is the largest clearance tried, since nothing looser was felt.
    pub open_above: bool,
}

impl Band {
    /// Its middle, mm.
    pub fn middle_mm(&self) -> f64 {
        self.clearance.middle_mm()
    }
}

/// The drawn clearance of a trial, mm.
fn clearance_mm(trial: &FeatureTrial) -> f64 {
    let inside = trial.nominal_mm - trial.mate_mm;
    decimal_mm(if Side::of(trial.kind) == Some(Side::Shaft) { -inside } else { inside })
}

/// Trials of one piece of one print with one mate have one key.
fn piece_key(trial: &FeatureTrial) -> (Kind, &str, &str, u64, u32, u64) {
    // A ring has a row for each direction of its bore, and is tried once.
    let is_round = matches!(Group::of(trial.kind), Some(Group::InsideRound | Group::OutsideRound));
    let feature = if is_round && !trial.coupon.is_empty() { "" } else { trial.feature.as_str() };
    (trial.kind, &trial.coupon, feature, trial.nominal_mm.to_bits(), trial.copy, trial.mate_mm.to_bits())
}

impl Feels {
    /// What the trials of one setup say.
    ///
    /// # Errors
    /// Too few, all alike, or running the wrong way.
    pub fn fit(
        setup: &str,
        trials: &[FeatureTrial],
        conditions: &Conditions,
        source: &Source,
    ) -> Result<Self, NoFeels> {
        let count = trials.len() as u32;
        if count < FEWEST_TRIALS {
            return Err(NoFeels::TooFew { trials: count });
        }
        let by_group = |group: Group| -> Vec<&FeatureTrial> {
            trials.iter().filter(|trial| Group::of(trial.kind) == Some(group)).collect()
        };
        let of_groups: BTreeMap<Group, Vec<&FeatureTrial>> = Group::ALL
            .into_iter()
            .map(|group| (group, by_group(group)))
            .filter(|(_, own)| !own.is_empty())
            .collect();
        let is_own = |own: &[&FeatureTrial]| {
            own.len() as u32 >= OWN_TRIALS && own.iter().any(|trial| trial.feel != own[0].feel)
        };
        // One group by itself owns its thresholds however few they rest on.
        let single = of_groups.len() == 1;
        let mut repeats: BTreeMap<_, f64> = BTreeMap::new();
        trials.iter().for_each(|trial| *repeats.entry(piece_key(trial)).or_default() += 1.0);
        let place = |chosen: &dyn Fn(Group) -> Option<usize>| {
            let answers: Vec<Trial> = trials
                .iter()
                .filter_map(|trial| {
                    let group = chosen(Group::of(trial.kind)?)?;
                    let weight = 1.0 / repeats[&piece_key(trial)];
                    Some(Trial { x: clearance_mm(trial), level: trial.feel as usize, group, weight })
                })
                .collect();
            thresholds(&answers).map_err(|error| match error {
                NoThresholds::OneLevel => NoFeels::OneFeel { trials: count, feel: trials[0].feel },
                NoThresholds::Backwards => NoFeels::Backwards,
                other => NoFeels::NoFit(other),
            })
        };
        let owns: BTreeSet<Group> =
            of_groups.iter().filter(|(_, own)| single || is_own(own)).map(|(group, _)| *group).collect();
        let own = if owns.is_empty() {
            None
        } else {
            Some(place(&|group| owns.contains(&group).then_some(group as usize))?)
        };
        let shared = if owns.len() < of_groups.len() { Some(place(&|_| Some(0))?) } else { None };
        let all: Vec<&FeatureTrial> = trials.iter().collect();
        let mut groups = BTreeMap::new();
        for (group, tried) in &of_groups {
            let is_own = owns.contains(group);
            let (placed, number, from) =
                if is_own { (own.as_ref(), *group as usize, tried) } else { (shared.as_ref(), 0, &all) };
            let Some(placed) = placed else { continue };
            groups.insert(*group, group_feels(tried, is_own, felt(from, placed, number)));
        }
        let copies: BTreeSet<u32> = trials.iter().map(|trial| trial.copy).collect();
        let sd_mm = own.or(shared).and_then(|placed| placed.sd);
        let file =
            source.path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let mut feels = Self {
            setup: setup.to_owned(),
            date: conditions.date.clone(),
            readings_file: file,
            readings_sha256: source.sha256.clone(),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            trials: count,
            prints: copies.len() as u32,
            sd_mm,
            groups,
            warnings: Vec::new(),
            alone: false,
        };
        feels.warnings = feels.doubts(trials);
        Ok(feels)
    }

    /// The feels of every setup of a sheet that has some, by the setup's number.
    pub fn fit_all(readings: &CheckedReadings) -> BTreeMap<usize, Result<Self, NoFeels>> {
        let setups = readings.setups().enumerate();
        let tried = setups.map(|(number, setup)| (number, setup.setup, readings.trials(number)));
        tried
            .filter(|(_, _, trials)| !trials.is_empty())
            .map(|(number, setup, trials)| {
                (number, Self::fit(&setup, &trials, &readings.conditions, &readings.source))
            })
            .collect()
    }

    fn doubts(&self, trials: &[FeatureTrial]) -> Vec<String> {
        let mut doubts = Vec::new();
        if self.sd_mm.is_none() {
            doubts.push(
                "every feel changes cleanly between two sizes that were tried: where it begins is known between \
                 them, how sharply is not; sizes closer together, or a second print, tell"
                    .to_owned(),
            );
        }
        if self.prints == 1 {
            doubts.push(
                "the pieces were tried on one print: how the next print feels may differ by more than these limits say"
                    .to_owned(),
            );
        }
        for (group, own) in self.groups.iter().filter(|(_, own)| !own.own) {
            doubts.push(format!(
                "{} had {} feel test{}, too few for thresholds of their own: those of all {} tests are used",
                group.plural(),
                own.trials,
                if own.trials == 1 { "" } else { "s" },
                self.trials
            ));
        }
        for trial in trials.iter().filter(|trial| clearance_mm(trial).abs() > FAR_MM) {
            doubts.push(format!(
                "line {}: a {} drawn {} mm was tried with a piece of {} mm: is that the right row?",
                trial.line, trial.kind, trial.nominal_mm, trial.mate_mm
            ));
        }
        doubts
    }

    /// The drawn clearances at which a kind feels so; `None` when it was never felt.
    pub fn band(&self, kind: Kind, feel: Feel) -> Option<Band> {
        let feels = &self.groups.get(&Group::of(kind)?)?.feels;
        let number = feels.iter().position(|felt| felt.feel == feel)?;
        let (own, next) = (&feels[number], feels.get(number + 1).and_then(|next| next.begin));
        let lower = own.begin.map_or_else(
            || own.tried_mm[0].min(next.map_or(f64::INFINITY, |next| next.at_mm)),
            |begin| begin.at_mm,
        );
        let upper = next.map_or_else(|| own.tried_mm[1].max(lower), |next| next.at_mm);
        let clearance = Limits { lower_mm: decimal_mm(lower), upper_mm: decimal_mm(upper) };
        Some(Band { clearance, open_below: own.begin.is_none(), open_above: next.is_none() })
    }

    /// The chance that a new piece with this drawn clearance feels so; `None` when the scatter is not known
    /// or it was never felt.
    ///
    /// The scatter and the standard error of each threshold, in squares; Student t on as many degrees of
    /// freedom as trials are left over, since the scatter is estimated.
    pub fn chance(&self, kind: Kind, feel: Feel, clearance_mm: f64) -> Option<f64> {
        let sd = self.sd_mm?;
        let feels = &self.groups.get(&Group::of(kind)?)?.feels;
        let number = feels.iter().position(|felt| felt.feel == feel)?;
        let placed = |own: &GroupFeels| own.feels.iter().filter(|felt| felt.begin.is_some()).count();
        let own: usize = self.groups.values().filter(|own| own.own).map(placed).sum();
        let all = self.groups.values().map(placed).max().unwrap_or(0);
        let dof = (f64::from(self.trials) - own.max(all) as f64 - 1.0).max(1.0);
        let above =
            |begin: Begin| t_below((clearance_mm - begin.at_mm) / sd.hypot(begin.se_mm.unwrap_or(0.0)), dof);
        let passed = feels[number].begin.map_or(1.0, above);
        let beyond = feels.get(number + 1).and_then(|next| next.begin).map_or(0.0, above);
        Some((passed - beyond).max(0.0))
    }
}

fn group_feels(tried: &[&FeatureTrial], own: bool, feels: Vec<Felt>) -> GroupFeels {
    let sizes = || tried.iter().map(|trial| trial.nominal_mm);
    let kinds = Kind::ALL.into_iter().rev();
    let most = kinds.max_by_key(|kind| tried.iter().filter(|trial| trial.kind == *kind).count());
    let mates: BTreeSet<&str> =
        tried.iter().map(|trial| trial.mate.as_str()).filter(|mate| !mate.is_empty()).collect();
    GroupFeels {
        own,
        trials: tried.len() as u32,
        kind: most.unwrap_or(Kind::Bore),
        nominal_mm: decimal_mm(sizes().sum::<f64>() / tried.len() as f64),
        sizes_mm: [sizes().fold(f64::INFINITY, f64::min), sizes().fold(0.0, f64::max)],
        mates: mates.into_iter().map(str::to_owned).collect(),
        feels,
    }
}

/// Every feel that these trials felt, with where it begins.
fn felt(trials: &[&FeatureTrial], placed: &Thresholds, number: usize) -> Vec<Felt> {
    let of = |feel: Feel| -> Option<Felt> {
        let tried: Vec<f64> =
            trials.iter().filter(|trial| trial.feel == feel).map(|trial| clearance_mm(trial)).collect();
        let threshold =
            placed.thresholds.iter().find(|one| one.group == number && one.above == feel as usize);
        let begin = threshold.map(|one| Begin {
            at_mm: one.at,
            se_mm: one.se,
            low95_mm: one.interval.0,
            high95_mm: one.interval.1,
            between_mm: one.clean.map(|(low, high)| [low, high]),
        });
        let ends = [
            tried.iter().copied().fold(f64::INFINITY, f64::min),
            tried.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        ];
        (!tried.is_empty()).then_some(Felt { feel, trials: tried.len() as u32, tried_mm: ends, begin })
    };
    Feel::ALL.into_iter().filter_map(of).collect()
}

#[cfg(test)]
mod tests;
