//! The gap of a chain: worst case, root sum square, simulation, and which member matters most.

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::apply::{CannotApply, Prediction};
use crate::correction::joint::{JointSpread, LaterFeature};
use crate::fits::{Limits, Source, decimal_mm};
use crate::kind::{Axis, Kind};
use crate::parts::sized::allowance;
use crate::units::Mm;

use super::simulate::{Simulated, simulate};
use super::{Chain, Member, MemberSize, PrintedSize};

/// How often a chain is assembled in the simulation: a chance is then good to 0.3 % (two standard errors).
pub const TRIALS: u32 = 100_000;

/// How much of all prints the ends of a printed member's worst case hold: what three standard deviations
/// either side of a normal do.
const WORST_LEVEL: f64 = 0.9973;

/// Why a chain cannot be added up.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotStack {
    /// A printed member, and nothing says how it prints.
    #[error("`{name}` is printed, and no correction is given")]
    NoCorrection {
        /// The member.
        name: String,
        /// Its line.
        line: u64,
    },
    /// The correction has no answer for a member.
    #[error("`{name}`: {reason}")]
    Apply {
        /// The member.
        name: String,
        /// Its line.
        line: u64,
        /// Why not.
        reason: CannotApply,
    },
    /// The correction does not know how far prints spread.
    #[error("`{name}`: nothing that was measured tells how far its prints spread")]
    NoSpread {
        /// The member.
        name: String,
        /// Its line.
        line: u64,
    },
}

impl CannotStack {
    /// Line in the chain's file, from 1.
    pub fn line(&self) -> u64 {
        match self {
            Self::NoCorrection { line, .. } | Self::Apply { line, .. } | Self::NoSpread { line, .. } => *line,
        }
    }

    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::NoCorrection { .. } => {
                Some("add --with CORRECTION, or give the member as bought, with limits".to_owned())
            }
            Self::Apply { reason, .. } => reason.help(),
            Self::NoSpread { .. } => Some("print and measure more coupons, and fit again".to_owned()),
        }
    }
}

/// A chain added up. Serialised, it is the result of `chain --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StackUp {
    /// What the gap is called.
    pub gap: String,
    /// The least that is wanted of it, mm.
    pub least_mm: Option<f64>,
    /// The most that is wanted of it, mm.
    pub most_mm: Option<f64>,
    /// The mean gap, mm.
    pub mean_mm: f64,
    /// Its standard deviation with shared errors shared, mm.
    pub sd_mm: f64,
    /// The least and the most gap with every member at the end that hurts, mm.
    pub worst_case_mm: [f64; 2],
    /// The mean, less and more the root of the sum of squared half widths, mm.
    pub root_sum_square_mm: [f64; 2],
    /// What the simulation shows.
    pub simulated: Simulated,
    /// The members, in file order.
    pub members: Vec<StackedMember>,
    /// What the person should know.
    pub warnings: Vec<String>,
    /// Where the numbers come from; empty unless it was asked.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<Source>,
}

/// One member as it enters the sum.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StackedMember {
    /// Line in the file, from 1.
    pub line: u64,
    /// What it is called.
    pub name: String,
    /// 1 where it opens the gap, -1 where it closes it.
    pub sign: f64,
    /// `printed` or `bought`.
    pub made: &'static str,
    /// The size to draw, mm; `None` for what is bought.
    pub draw_mm: Option<f64>,
    /// Its mean size, mm.
    pub mean_mm: f64,
    /// Its least size in the worst case, mm.
    pub low_mm: f64,
    /// Its greatest, mm.
    pub high_mm: f64,
    /// Its share of the gap's variance; with shared errors it may be below 0, and all add up to 1.
    pub share: f64,
}

/// A member with what its size is, and its place among the printed ones.
pub(super) struct Sized<'a> {
    pub(super) member: &'a Member,
    pub(super) kind: Spread,
    draw_mm: Option<f64>,
    mean_mm: f64,
    ends: Limits,
    warning: Option<String>,
}

pub(super) enum Spread {
    /// Its place among the features of the joint spread.
    Printed(usize),
    Bought(Limits, super::BoughtSpread),
}

impl StackUp {
    /// Adds a chain up.
    ///
    /// # Errors
    /// Every member whose size is not known: a printed one without a correction, or of a kind that the
    /// correction does not have.
    pub fn new(chain: &Chain, correction: Option<&Correction>, seed: u64) -> Result<Self, Vec<CannotStack>> {
        let mut features = Vec::new();
        let mut prints = Vec::new();
        let (mut sized, mut problems) = (Vec::new(), Vec::new());
        for member in &chain.members {
            match size(member, correction, &mut features, &mut prints) {
                Ok(member) => sized.push(member),
                Err(problem) => problems.push(problem),
            }
        }
        if !problems.is_empty() {
            return Err(problems);
        }
        let joint = correction.filter(|_| !features.is_empty()).map(|known| known.joint_spread(&features));
        let shares = Shares::of(&sized, joint.as_ref());
        let mean_mm: f64 = sized.iter().map(|s| s.member.sign * s.mean_mm).sum();
        let half_mm = |s: &Sized<'_>| (s.ends.upper_mm - s.ends.lower_mm) / 2.0;
        let middle_mm: f64 =
            sized.iter().map(|s| s.member.sign * f64::midpoint(s.ends.lower_mm, s.ends.upper_mm)).sum();
        let worst_mm: f64 = sized.iter().map(half_mm).sum();
        let root_mm = sized.iter().map(|s| half_mm(s).powi(2)).sum::<f64>().sqrt();
        let about = |half: f64| [decimal_mm(middle_mm - half), decimal_mm(middle_mm + half)];
        let mut warnings: Vec<String> = sized.iter().filter_map(|s| s.warning.clone()).collect();
        warnings.extend(correction.filter(|_| !features.is_empty()).and_then(allowance));
        Ok(Self {
            gap: chain.gap.name.clone(),
            least_mm: chain.gap.least_mm,
            most_mm: chain.gap.most_mm,
            mean_mm: decimal_mm(mean_mm),
            sd_mm: decimal_mm(shares.variance_mm2.sqrt()),
            worst_case_mm: about(worst_mm),
            root_sum_square_mm: about(root_mm),
            simulated: simulate(&sized, joint.as_ref(), mean_mm, &chain.gap, seed),
            members: sized.iter().zip(&shares.members).map(|(s, share)| s.stacked(*share)).collect(),
            warnings,
            sources: Vec::new(),
        })
    }

    /// Whether the chance that the gap is as wanted is at least 95 %, or, where nothing is wanted, that the
    /// parts do not clash.
    pub fn is_good(&self) -> bool {
        self.simulated.chance_wanted.unwrap_or(1.0 - self.simulated.chance_clash) >= 0.95
    }

    /// The member with the greatest share of the gap's spread.
    pub fn matters_most(&self) -> Option<&StackedMember> {
        self.members.iter().max_by(|a, b| a.share.total_cmp(&b.share))
    }
}

fn size<'a>(
    member: &'a Member,
    correction: Option<&Correction>,
    features: &mut Vec<LaterFeature>,
    prints: &mut Vec<String>,
) -> Result<Sized<'a>, CannotStack> {
    match &member.size {
        MemberSize::Bought { limits, spread, .. } => Ok(Sized {
            member,
            kind: Spread::Bought(*limits, *spread),
            draw_mm: None,
            mean_mm: f64::midpoint(limits.lower_mm, limits.upper_mm),
            ends: *limits,
            warning: None,
        }),
        MemberSize::Printed { kind, axis, print, size } => {
            let Some(correction) = correction else {
                return Err(CannotStack::NoCorrection { name: member.name.clone(), line: member.line });
            };
            let (drawn_mm, prediction) = predicted(correction, *kind, *axis, *size).map_err(|reason| {
                CannotStack::Apply { name: member.name.clone(), line: member.line, reason }
            })?;
            let number = prints.iter().position(|known| known == print).unwrap_or_else(|| {
                prints.push(print.clone());
                prints.len() - 1
            });
            features.push(LaterFeature {
                kind: *kind,
                axis: *axis,
                drawn_mm,
                print: u32::try_from(number).unwrap_or(u32::MAX),
                // The size itself and no reading of it: as if averaged over very many.
                readings: u32::MAX,
            });
            let (lower_mm, upper_mm) = prediction.interval(WORST_LEVEL);
            if !(lower_mm.is_finite() && upper_mm.is_finite()) {
                return Err(CannotStack::NoSpread { name: member.name.clone(), line: member.line });
            }
            let beyond = correction.extrapolation(*kind, drawn_mm, prediction.beyond_mm);
            Ok(Sized {
                member,
                kind: Spread::Printed(features.len() - 1),
                draw_mm: Some(drawn_mm),
                mean_mm: prediction.expected_mm,
                ends: Limits { lower_mm, upper_mm },
                warning: beyond.map(|warning| format!("{}: {warning}", member.name)),
            })
        }
    }
}

fn predicted(
    correction: &Correction,
    kind: Kind,
    axis: Axis,
    size: PrintedSize,
) -> Result<(f64, Prediction), CannotApply> {
    match size {
        PrintedSize::Drawn(drawn) => Ok((drawn.get(), correction.predict(kind, axis, drawn.get())?)),
        PrintedSize::Target(target) => {
            // Rounded as a drawing is.
            let step = Mm::new(0.01).unwrap_or(target);
            let size = correction.size_for(kind, axis, target, step)?;
            Ok((size.draw.get(), size.prediction))
        }
    }
}

impl Sized<'_> {
    fn stacked(&self, share: f64) -> StackedMember {
        StackedMember {
            line: self.member.line,
            name: self.member.name.clone(),
            sign: self.member.sign,
            made: if self.draw_mm.is_some() { "printed" } else { "bought" },
            draw_mm: self.draw_mm,
            mean_mm: decimal_mm(self.mean_mm),
            low_mm: decimal_mm(self.ends.lower_mm),
            high_mm: decimal_mm(self.ends.upper_mm),
            share,
        }
    }
}

/// The gap's variance, and each member's share of it: its covariance with the gap over the variance.
struct Shares {
    variance_mm2: f64,
    members: Vec<f64>,
}

impl Shares {
    fn of(sized: &[Sized<'_>], joint: Option<&JointSpread>) -> Self {
        let printed = |s: &Sized<'_>| match s.kind {
            Spread::Printed(at) => Some(at),
            Spread::Bought(..) => None,
        };
        let weights: Vec<f64> =
            sized.iter().filter(|s| printed(s).is_some()).map(|s| s.member.sign).collect();
        let covariances: Vec<f64> = sized
            .iter()
            .map(|s| match s.kind {
                Spread::Bought(limits, spread) => spread.variance_mm2(limits),
                Spread::Printed(at) => {
                    joint.map_or(0.0, |joint| s.member.sign * covariance_with_sum(joint, at, &weights))
                }
            })
            .collect();
        let variance_mm2: f64 = covariances.iter().sum();
        // A chain of which nothing spreads has no shares.
        let share = |covariance: &f64| if variance_mm2 > 0.0 { covariance / variance_mm2 } else { 0.0 };
        Self { variance_mm2: variance_mm2.max(0.0), members: covariances.iter().map(share).collect() }
    }
}

/// The covariance of one feature with the weighted sum of all, mm^2.
fn covariance_with_sum(joint: &JointSpread, at: usize, weights: &[f64]) -> f64 {
    let linked = &joint.linked;
    let shared = linked.columns.iter().map(|column| {
        let sum: f64 = column.loadings.iter().zip(weights).map(|(loading, weight)| loading * weight).sum();
        column.loadings[at] * sum
    });
    linked.own[at] * weights[at] + shared.sum::<f64>()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::fits::Side;
    use crate::fits::probability::{Mate, clearance_chance};

    fn known() -> Correction {
        let path = Path::new("tests/data/known.correction.toml");
        Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap()
    }

    fn stack(rows: &str) -> StackUp {
        let header = "member,sign,made,kind,axis,drawn_mm,print,lower_mm,upper_mm,spread";
        let text = format!("{header}\n{rows}");
        let chain = Chain::parse(text.as_bytes(), Path::new("chain.csv")).unwrap();
        StackUp::new(&chain, Some(&known()), 1).unwrap()
    }

    /// Two standard errors of a simulated chance of one half, and a little.
    const CHANCE: f64 = 0.004;

    /// Source: a public worked example of a stack-up, a housing's bore 40 +-0.10 less a spacer 25 +-0.05, a
    /// retaining ring 2 +-0.03 and a shoulder 10 +-0.05: gap 3.00, worst case +-0.23, root sum square +-0.126.
    #[test]
    fn a_published_stack_up_comes_back() {
        let rows = "bore,+,bought,,,,,39.9,40.1,normal\nspacer,-,bought,,,,,24.95,25.05,normal\n\
                    ring,-,bought,,,,,1.97,2.03,normal\nshoulder,-,bought,,,,,9.95,10.05,normal\n";
        let stack = stack(rows);
        assert_eq!(stack.mean_mm, 3.0);
        assert_eq!(stack.worst_case_mm, [2.77, 3.23]);
        let half = (stack.root_sum_square_mm[1] - stack.root_sum_square_mm[0]) / 2.0;
        assert!((half - 0.126).abs() < 0.0005, "{half}");
        // Normal members whose limits are three standard deviations off: the root sum square is three as well.
        assert!((stack.sd_mm - half / 3.0).abs() < 1e-6);
        let interval = stack.simulated.high95_mm - stack.simulated.low95_mm;
        assert!((interval - 2.0 * 1.96 * half / 3.0).abs() < 0.002, "{interval}");
        assert_eq!(stack.matters_most().unwrap().name, "bore");
        assert!((stack.members[0].share - 0.01 / 0.0159).abs() < 1e-9);
    }

    /// Two even members sum to a triangle, three to a curve of second degree (Irwin and Hall).
    #[test]
    fn even_members_sum_to_the_curves_of_irwin_and_hall() {
        let row = |sign: &str| format!("m,{sign},bought,,,,,0,1,even\n");
        let below = |gap: &str, rows: String| {
            let stack = stack(&format!("{rows}g,,gap,,,,,{gap},,\n"));
            stack.simulated.chance_below.unwrap()
        };
        // P(u + v < 0.5) = 0.5^2 / 2; P(u + v + w < 1) = 1 / 6; P(u - v < -0.5) = 0.125.
        assert!((below("0.5", row("+").repeat(2)) - 0.125).abs() < CHANCE);
        assert!((below("1", row("+").repeat(3)) - 1.0 / 6.0).abs() < CHANCE);
        assert!((below("-0.5", row("+") + &row("-")) - 0.125).abs() < CHANCE);
    }

    /// One printed bore and one bought rod are a fit, whose chance is known without a simulation.
    #[test]
    fn a_chain_of_a_bore_and_a_rod_is_a_fit() {
        let stack =
            stack("bore,+,printed,bore,,8.33,a,,,\nrod,-,bought,,,,,7.95,8.05,\nplay,,gap,,,,,0.05,0.15,\n");
        let printed = known().predict(Kind::Bore, Axis::Round, 8.33).unwrap();
        let rod = Mate::Within(Limits { lower_mm: 7.95, upper_mm: 8.05 });
        let chance =
            |lower_mm, upper_mm| clearance_chance(&printed, Side::Hole, rod, Limits { lower_mm, upper_mm });
        let simulated = &stack.simulated;
        let (found, expected) = (simulated.chance_wanted.unwrap(), chance(0.05, 0.15));
        assert!((found - expected).abs() < CHANCE, "{found} {expected}");
        assert!((simulated.chance_clash - chance(f64::NEG_INFINITY, 0.0)).abs() < CHANCE);
        // The mean is 0.996 * 8.33 - 0.2 less 8.
        assert!((stack.mean_mm - (0.996 * 8.33 - 0.2 - 8.0)).abs() < 1e-6);
    }

    /// A print swells its outsides and narrows its gaps: of one print the two cancel or add, of two they do not.
    /// The known printer has F = P = 0.02 mm and three prints behind it; the caliper's error cancels.
    #[test]
    fn members_of_one_print_share_its_errors() {
        let sd = |second: &str, print: &str| {
            let rows = format!("a,+,printed,outer,x,10,a,,,\nb,-,printed,{second},x,10,{print},,,\n");
            let stack = stack(&rows);
            let interval = (stack.simulated.high95_mm - stack.simulated.low95_mm) / 2.0;
            // t of the 4 degrees of freedom between prints is 2.78, of many 1.96.
            assert!((1.95..2.79).contains(&(interval / stack.sd_mm)), "{interval} {}", stack.sd_mm);
            stack.sd_mm
        };
        let own = 2.0 * 0.02_f64.powi(2);
        for (second, print, expected) in [
            ("outer", "a", own),
            ("outer", "b", own + own),
            ("gap", "a", own + 0.04_f64.powi(2) * (1.0 + 1.0 / 3.0)),
            ("gap", "b", own + own + 0.04_f64.powi(2) / 3.0),
        ] {
            let found = sd(second, print);
            assert!((found - expected.sqrt()).abs() < 1e-6, "{second} {print}: {found}");
        }
    }

    #[test]
    fn shares_add_up_to_one_and_the_seed_gives_the_same_again() {
        let rows = "a,+,printed,outer,x,10,a,,,\nb,-,printed,gap,x,9,a,,,\nc,-,bought,,,,,0.1,0.3,\n";
        let once = stack(rows);
        assert!((once.members.iter().map(|member| member.share).sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(stack(rows), once);
        let chain = "member,sign,made,lower_mm,upper_mm\nc,+,bought,0.1,0.3\n";
        let chain = Chain::parse(chain.as_bytes(), Path::new("c.csv")).unwrap();
        let seeds = [1, 2].map(|seed| StackUp::new(&chain, None, seed).unwrap().simulated.low95_mm);
        assert!(seeds[0] != seeds[1] && (seeds[0] - seeds[1]).abs() < 0.001);
    }

    #[test]
    fn a_printed_member_that_nothing_is_known_of_is_named() {
        let header = "member,sign,made,kind,drawn_mm";
        let chain = format!("{header}\na,+,printed,outer,10\nb,-,printed,height,9\n");
        let chain = Chain::parse(chain.as_bytes(), Path::new("c.csv")).unwrap();
        let problems = StackUp::new(&chain, None, 1).unwrap_err();
        assert_eq!(problems.len(), 2);
        assert_eq!(problems[0].to_string(), "`a` is printed, and no correction is given");
        let problems = StackUp::new(&chain, Some(&known()), 1).unwrap_err();
        assert_eq!((problems.len(), problems[0].line()), (1, 3));
        assert!(problems[0].to_string().starts_with("`b`: the correction of `known` has no heights"));
        let mut unknown = known();
        unknown.spread.print.dof = Some(0.0);
        let problems = StackUp::new(&chain, Some(&unknown), 1).unwrap_err();
        assert_eq!(problems[0].to_string(), "`a`: nothing that was measured tells how far its prints spread");
    }
}
