//! A size to draw from a person's own feel tests: for `--fit slide`, the middle of what felt `slide`.
//!
//! Alone, the drawn clearance of the tests is drawn again, at any size. Together with readings the tests
//! say which printed clearance feels so, drawn clearance plus the deviation predicted at the size that
//! was tried, and the correction then gives the size to draw at the size that is wanted.

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::feel::{Feels, Group, GroupFeels};
use crate::fits::named::NamedFit;
use crate::fits::{Limits, Side, decimal_mm, written};
use crate::kind::{Axis, Kind};
use crate::readings::trials::Feel;
use crate::units::Mm;

use super::sized::{SizedFeature, percent};

/// What a size owes to feel tests.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FeelUsed {
    /// The feel.
    pub feel: Feel,
    /// How many trials the setup had.
    pub trials: u32,
    /// From which to which drawn clearance it was felt, mm.
    pub drawn_clearance_mm: [f64; 2],
}

impl FeelUsed {
    /// The line for a person.
    pub fn to_text(&self) -> String {
        let [low, high] = self.drawn_clearance_mm;
        let (trials, feel) = (self.trials, self.feel);
        format!(
            "from your own feel tests ({trials} trials): drawn clearance {low:.2} to {high:.2} mm feels {feel}\n"
        )
    }
}

/// Why feel tests give no size.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotFelt {
    /// The kind was not tried.
    #[error("no feel of {} was tested", kind.plural())]
    KindNotTried {
        /// The kind.
        kind: Kind,
    },
    /// The feel did not occur.
    #[error("none of the {trials} feel tests of {} felt {feel}", kind.plural())]
    NeverFelt {
        /// The kind.
        kind: Kind,
        /// The feel.
        feel: Feel,
        /// Trials of its group.
        trials: u32,
    },
    /// The mate is so small that nothing is left to draw.
    #[error("no {kind} can be drawn for a piece of {}: its size would not be above zero", written(*mate_mm))]
    NothingToDraw {
        /// The kind.
        kind: Kind,
        /// The mate's size, mm.
        mate_mm: f64,
    },
}

/// The size to draw, from feel tests alone. Serialised, it is the result of `size --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FeltSize {
    /// What is sized.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// `null`: how large it prints was not measured; and so are the next three after `draw_mm`.
    pub target_mm: Option<f64>,
    /// The size to draw, mm.
    pub draw_mm: f64,
    /// `null`.
    pub expected_mm: Option<f64>,
    /// `null`.
    pub low95_mm: Option<f64>,
    /// `null`.
    pub high95_mm: Option<f64>,
    /// The chance that a new print feels so; `None` when the tests do not tell the scatter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance: Option<f64>,
    /// Whether the size lies outside those that were tried.
    pub extrapolated: bool,
    /// What the person should know before drawing it.
    pub warnings: Vec<String>,
    /// The tests.
    pub feel: FeelUsed,
    /// Size of the bought part, mm.
    pub mate_mm: f64,
}

fn group(feels: &Feels, kind: Kind) -> Result<&GroupFeels, NotFelt> {
    let found = Group::of(kind).and_then(|group| feels.groups.get(&group));
    found.ok_or(NotFelt::KindNotTried { kind })
}

fn used(feels: &Feels, kind: Kind, feel: Feel) -> Result<FeelUsed, NotFelt> {
    let trials = group(feels, kind)?.trials;
    let band = feels.band(kind, feel).ok_or(NotFelt::NeverFelt { kind, feel, trials })?;
    let Limits { lower_mm, upper_mm } = band.clearance;
    Ok(FeelUsed { feel, trials: feels.trials, drawn_clearance_mm: [lower_mm, upper_mm] })
}

/// What is to be said of a band: an end that nothing tried, and a scatter that is not known.
fn cautions(feels: &Feels, kind: Kind, feel: Feel) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(band) = feels.band(kind, feel) {
        let ends = [(band.open_below, "tighter", "smallest"), (band.open_above, "looser", "largest")];
        for (_, beyond, most) in ends.into_iter().filter(|(open, ..)| *open) {
            said.push(format!(
                "nothing {beyond} than {feel} was felt: that end is the {most} clearance that felt so"
            ));
        }
    }
    if feels.prints == 1 {
        said.push("the pieces were tried on one print: how the next print feels may differ more".to_owned());
    }
    if feels.sd_mm.is_none() {
        said.push(
            "the chance is not known: each feel changed cleanly between two sizes that were tried".to_owned(),
        );
    }
    said
}

impl FeltSize {
    /// The size to draw for a bought part of this size, rounded to `step`.
    ///
    /// # Errors
    /// A kind that was not tried, a feel that was not felt, a size that would not be above zero.
    pub fn new(
        feels: &Feels,
        kind: Kind,
        axis: Axis,
        feel: Feel,
        mate: Mm,
        step: Mm,
    ) -> Result<Self, NotFelt> {
        let tried = group(feels, kind)?;
        let used = used(feels, kind, feel)?;
        let [low, high] = used.drawn_clearance_mm;
        let mate_mm = mate.get();
        let sign = if Side::of(kind) == Some(Side::Shaft) { -1.0 } else { 1.0 };
        let draw_mm = Mm::new(mate_mm + sign * f64::midpoint(low, high))
            .map(|drawn| decimal_mm(drawn.rounded_to(step).get()))
            .filter(|drawn| *drawn > 0.0)
            .ok_or(NotFelt::NothingToDraw { kind, mate_mm })?;
        let [smallest, largest] = tried.sizes_mm;
        let extrapolated = !(smallest..=largest).contains(&draw_mm);
        let mut warnings = Vec::new();
        if extrapolated {
            warnings.push(format!(
                "{} lies outside the sizes that were tried, {smallest} to {largest} mm: what felt {feel} there may \
                 feel otherwise here; readings of a caliper carry it over",
                written(draw_mm)
            ));
        }
        warnings.extend(cautions(feels, kind, feel));
        Ok(Self {
            kind,
            axis,
            target_mm: None,
            draw_mm,
            expected_mm: None,
            low95_mm: None,
            high95_mm: None,
            chance: feels.chance(kind, feel, sign * (draw_mm - mate_mm)),
            extrapolated,
            warnings,
            feel: used,
            mate_mm,
        })
    }

    /// The answer for a person, in lines.
    pub fn to_text(&self) -> String {
        let chance =
            self.chance.map_or_else(String::new, |chance| format!("{} chance that it ", percent(chance)));
        let feels = if self.chance.is_some() { "feels" } else { "made to feel" };
        format!(
            "draw {} mm; {chance}{feels} {} on {}\n{}",
            written(self.draw_mm),
            self.feel.feel,
            written(self.mate_mm),
            self.feel.to_text()
        )
    }
}

/// A fit whose printed clearances are those of the person's own tests, where the correction knows the kind
/// that was tried.
///
/// # Errors
/// A kind that was not tried, a feel that was not felt.
pub fn felt_fit(
    feels: &Feels,
    correction: &Correction,
    kind: Kind,
    feel: Feel,
) -> Result<Option<NamedFit>, NotFelt> {
    let used = used(feels, kind, feel)?;
    let Some(shift) = printed_less_drawn(group(feels, kind)?, correction) else { return Ok(None) };
    let [low, high] = used.drawn_clearance_mm;
    // To a hundredth: the ends are not known better, and a person reads them.
    let rounded = |mm: f64| (mm * 100.0).round() / 100.0;
    let clearance = Limits { lower_mm: rounded(low + shift), upper_mm: rounded(high + shift) };
    Ok(Some(NamedFit::of_clearance(feel.name(), clearance, "your own feel tests")))
}

/// Printed clearance less drawn clearance of what was tried, mm.
fn printed_less_drawn(tried: &GroupFeels, correction: &Correction) -> Option<f64> {
    let kind = tried.kind;
    correction.kinds.contains_key(&kind).then(|| {
        let deviation = correction.deviation_mm(kind, kind.unnamed_axis(), tried.nominal_mm);
        if Side::of(kind) == Some(Side::Shaft) { -deviation } else { deviation }
    })
}

/// Makes an answer from a [`felt_fit`] say so, with the chance of the feel in place of that of the size.
pub fn credit(answer: &mut SizedFeature, feels: &Feels, correction: &Correction, feel: Feel, mate: Mm) {
    let kind = answer.kind;
    let Ok(used) = used(feels, kind, feel) else { return };
    let shift = group(feels, kind).ok().and_then(|tried| printed_less_drawn(tried, correction));
    if let (Some(expected), Some(shift)) = (answer.expected_mm, shift) {
        let inside = expected - mate.get();
        let printed = if Side::of(kind) == Some(Side::Shaft) { -inside } else { inside };
        answer.chance = feels.chance(kind, feel, printed - shift);
    }
    answer.warnings.extend(cautions(feels, kind, feel));
    answer.feel = Some(used);
}
