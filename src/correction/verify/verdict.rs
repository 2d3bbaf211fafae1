//! From the numbers of a verification to its verdict, by the rule that the module above states.

use std::fmt;

use serde::Serialize;

use super::{Shift, Verification};

/// Below these there is evidence of change: of the walls' shift; of that of all sizes, and of all features
/// together. They add up to just below 5 % (Bonferroni): how few prints tell their
/// spread costs a little more. Walls have most of it: how much prints differ in them hides a
/// change there, and nowhere else so much.
pub(super) const WALLS_LEVEL: f64 = 0.033;
pub(super) const OTHER_LEVEL: f64 = 0.0075;
/// From here up neither test says anything against the correction.
const QUIET_LEVEL: f64 = 0.05;

/// Whether a correction still holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Later prints come out as predicted, to within what matters.
    Holds,
    /// They do not: more than prints of an unchanged printer do, and by more than what matters.
    Drifted,
    /// The readings allow neither to be said.
    CannotTell,
}

impl Verdict {
    /// The words used in tables and files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::Drifted => "drifted",
            Self::CannotTell => "cannot tell",
        }
    }
}

impl std::str::FromStr for Verdict {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        let found = [Self::Holds, Self::Drifted, Self::CannotTell].into_iter().find(|v| v.name() == text);
        found.ok_or(())
    }
}

/// Why a verdict is not `holds`.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// All features together differ by more than chance.
    Together {
        /// The joint p-value.
        p_value: f64,
    },
    /// A shift lies outside the usual range.
    Moved {
        /// Of what.
        what: &'static str,
        /// By how much, mm.
        shift_mm: f64,
        /// The usual range, mm.
        usual_mm: f64,
    },
    /// There is evidence of a change that is too small to matter.
    TooSmall {
        /// The largest change, mm.
        change_mm: f64,
        /// What matters, mm.
        matters_mm: f64,
    },
    /// A shift may be beyond what matters: it or its interval is.
    NotNarrow {
        /// Of what.
        what: &'static str,
        /// The end of the interval that is furthest from 0, mm.
        end_mm: f64,
        /// The range of unchanged printers, mm.
        usual_mm: f64,
        /// What matters, mm.
        matters_mm: f64,
    },
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Together { p_value } => write!(
                f,
                "all features together differ from the prediction by more than chance allows ({})",
                super::answer::probability(*p_value)
            ),
            Self::Moved { what, shift_mm, usual_mm } => write!(
                f,
                "{what} moved by {shift_mm:+.3} mm, and 95 % of unchanged printers stay within ± {usual_mm:.3}"
            ),
            Self::TooSmall { change_mm, matters_mm } => write!(
                f,
                "the largest change is {:.3} mm, and {matters_mm} mm is what matters",
                change_mm.abs()
            ),
            Self::NotNarrow { what, end_mm, usual_mm, matters_mm } => write!(
                f,
                "the shift of {what} may be {end_mm:+.3} mm, more than the {matters_mm} mm that matter; 95 % of unchanged printers stay within ± {usual_mm:.3}"
            ),
        }
    }
}

/// The largest change, mm: of the shifts and of the kinds' mean differences.
fn largest(verification: &Verification) -> f64 {
    let shifts = [Some(verification.all_sizes), verification.walls];
    let shifts = shifts.into_iter().flatten().map(|shift| shift.shift_mm);
    let kinds = verification.kinds.iter().map(|(_, mean_mm)| *mean_mm);
    shifts.chain(kinds).max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0)
}

/// The verdict and why.
pub(super) fn of(verification: &Verification) -> (Verdict, Vec<Reason>) {
    let matters_mm = verification.matters_mm;
    let change_mm = largest(verification);
    let shifts = [
        ("walls", verification.walls, WALLS_LEVEL),
        ("all sizes", Some(verification.all_sizes), OTHER_LEVEL),
    ];
    let shifts: Vec<(&'static str, Shift, f64)> =
        shifts.into_iter().filter_map(|(what, shift, level)| Some((what, shift?, level))).collect();
    let together = Reason::Together { p_value: verification.p_value };
    let moved = |what: &'static str, shift: &Shift| Reason::Moved {
        what,
        shift_mm: shift.shift_mm,
        usual_mm: shift.usual_mm,
    };
    let mut evidence = Vec::new();
    for (what, shift, level) in &shifts {
        if shift.p_value < *level && shift.shift_mm.abs() > matters_mm {
            evidence.push(moved(what, shift));
        }
    }
    if verification.p_value < OTHER_LEVEL && change_mm.abs() > matters_mm {
        evidence.push(together.clone());
    }
    if !evidence.is_empty() {
        return (Verdict::Drifted, evidence);
    }
    let mut reasons = Vec::new();
    for (what, shift, _) in &shifts {
        if shift.p_value < QUIET_LEVEL {
            reasons.push(moved(what, shift));
        }
    }
    if verification.p_value < QUIET_LEVEL {
        reasons.push(together);
    }
    if !reasons.is_empty() && change_mm.abs() <= matters_mm {
        reasons.push(Reason::TooSmall { change_mm, matters_mm });
    }
    reasons.extend(shifts.iter().filter_map(|(what, shift, _)| not_narrow(what, shift, matters_mm)));
    (if reasons.is_empty() { Verdict::Holds } else { Verdict::CannotTell }, reasons)
}

fn not_narrow(what: &'static str, shift: &Shift, matters_mm: f64) -> Option<Reason> {
    let end_mm = shift.shift_mm + shift.half_width_mm.copysign(shift.shift_mm);
    (end_mm.abs() > matters_mm).then_some(Reason::NotNarrow {
        what,
        end_mm,
        usual_mm: shift.usual_mm,
        matters_mm,
    })
}
