//! What a printed pulley is worth by the standard: the chance that it lies within ISO 5294's tolerances, and
//! the play that is left between belt tooth and groove.
//!
//! - *Outside diameter*: never small, and large by no more than the table has. The chance is that of the
//!   setup's own prediction for a new print.
//! - *Pitch*: a wall of one feature stands off its place by `F / sqrt 2`, where `F` is how features of one
//!   print scatter in size, so two like flanks are off by `F` from each other. An outside diameter that is
//!   off by `e` adds `pi e / z` from tooth to tooth at the belt's line, and `pi e / 4` in 90 degrees.
//! - *Runout*: the outside's centre lies off the bore's by `F` along each axis, as two features' centres do,
//!   so the reading swings by twice a Rayleigh distance, and by a quarter turn's ovality where x and y
//!   were found to shrink differently.
//! - *Play*: a straight-sided groove's width at the outside diameter less the belt tooth's width at its root; in
//!   an involute-sided one, which is made to the tooth, how far the tooth slides from flank to flank.
//!
//! Pitch and runout rest on these assumptions, since no coupon measures them; the answer says so.
//!
//! Source: tolerances of [`tolerance`], each with its label; the effect of a wrong diameter is that of
//! [`crate::belt::pulley::pitch_error_mm`].

use std::f64::consts::{FRAC_PI_4, PI};

use crate::belt::pulley::Pulley;
use crate::belt::tooth::{BeltTooth, Socket};
use crate::belt::{Cited, profile, tolerance};
use crate::correction::Correction;
use crate::correction::apply::{CannotApply, Prediction};
use crate::kind::{Axis, Kind};
use crate::stats::distribution::{t_below, t_quantile};
use crate::stats::dof;

use super::pulley_law::{WallLaw, exact_mm, tip_kind};

/// A chance below this is "cannot hold"; picked by feel: as good as a coin.
const HOLDS: f64 = 0.5;

/// A tolerance, what is expected against it, and the chance to lie within.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Against {
    /// The largest deviation that is allowed, mm.
    pub allowed: Cited<f64>,
    /// Standard deviation of what a new print has, mm.
    pub sd_mm: f64,
    /// The chance that a new print keeps within.
    pub chance: f64,
}

/// A printed pulley against the standard.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// The outside diameter as it is drawn.
    pub outside_diameter: Option<Against>,
    /// The chance of the outside diameter if it were drawn for the middle of what is allowed.
    pub outside_chance_aimed_at_middle: Option<f64>,
    /// From one tooth to the next.
    pub adjacent_pitch: Option<Against>,
    /// The chance that all of them keep within, if they scatter independently.
    pub all_pitches_chance: Option<f64>,
    /// Within 90 degrees.
    pub accumulated_pitch: Option<Against>,
    /// Of the outside against the bore, as a dial shows it.
    pub radial_runout: Option<Against>,
    /// Play between belt tooth and groove, expected, and the least of 95 % of prints, mm.
    pub play_mm: Option<(f64, f64)>,
    /// The error of the outside diameter that uses up the play over half a turn, mm.
    pub play_used_up_by_mm: Option<f64>,
    /// The groove is the belt tooth's own form, without play on purpose.
    pub is_made_to_the_tooth: bool,
}

impl Outcome {
    /// Of a pulley whose outside diameter is wanted at `wanted_outside_mm`.
    pub fn of(pulley: &Pulley, wanted_outside_mm: f64, correction: &Correction) -> Result<Self, CannotApply> {
        let profile = pulley.profile;
        let nominal = pulley.nominal_outside_mm();
        let tip = tip_kind(correction)?;
        let drawn = exact_mm(correction, tip, wanted_outside_mm)?;
        let outside = correction.predict(tip, Axis::Round, drawn)?;
        let plus = tolerance::outside_diameter_plus_mm(profile, nominal);
        let within = |by: f64, plus: f64| {
            let moved = Prediction { expected_mm: outside.expected_mm + by, ..outside };
            moved.chance_within(nominal, nominal + plus)
        };
        let against = |allowed: Cited<f64>, sd_mm: f64, chance: f64| Against { allowed, sd_mm, chance };

        // How features of one print scatter, and with what certainty that is known.
        let (scatter, scatter_dof) =
            (correction.spread.feature.sd_mm, correction.spread.feature.dof.unwrap_or(f64::INFINITY));
        let teeth = f64::from(pulley.teeth());
        let symmetric = |allowed: Cited<f64>, diameter_share: f64| {
            let (own, off) =
                (diameter_share * outside.sd_mm, diameter_share * (outside.expected_mm - nominal));
            let sd_mm = scatter.hypot(own);
            let joint = dof::effective([(scatter.powi(2), scatter_dof), (own.powi(2), outside.dof)]);
            let below = |limit: f64| t_below((limit - off) / sd_mm.max(1e-9), joint);
            let one = (below(allowed.value) - below(-allowed.value)).max(0.0);
            against(allowed, sd_mm, one)
        };
        let runout = |allowed: Cited<f64>| {
            let oval = oval_mm(correction, tip, drawn);
            let room = (allowed.value - oval).max(0.0) / 2.0;
            // Rayleigh.
            against(allowed, scatter, 1.0 - (-(room / scatter.max(1e-9)).powi(2) / 2.0).exp())
        };
        let room = |root: f64| match BeltTooth::of(profile) {
            Some(tooth) if pulley.rack.is_some() => Socket::new(&pulley.groove, tooth).slide_mm(),
            _ => pulley.groove.outer_width_mm() - root,
        };
        let play = |root: f64| -> Result<(f64, f64), CannotApply> {
            let law = WallLaw::of(correction, &pulley.groove)?;
            let width = law.drawn(&pulley.groove).outer_width_mm();
            let gap = correction.predict(Kind::Gap, Axis::Round, width)?;
            let expected = room(root);
            Ok((expected, expected - t_quantile(0.95, gap.dof) * gap.sd_mm))
        };
        let adjacent_pitch =
            tolerance::adjacent_pitch_mm(nominal).map(|allowed| symmetric(allowed, PI / teeth));
        let play_mm = profile.belt.tooth_root_width_mm.map(play).transpose()?;
        Ok(Self {
            outside_diameter: plus.map(|plus| against(plus, outside.sd_mm, within(0.0, plus.value))),
            outside_chance_aimed_at_middle: plus
                .map(|plus| within(nominal + plus.value / 2.0 - outside.expected_mm, plus.value)),
            adjacent_pitch,
            all_pitches_chance: adjacent_pitch.map(|pitch| pitch.chance.powf(teeth)),
            accumulated_pitch: tolerance::accumulated_pitch_mm(nominal)
                .map(|allowed| symmetric(allowed, FRAC_PI_4)),
            radial_runout: tolerance::radial_runout_mm(nominal).map(runout),
            play_mm,
            play_used_up_by_mm: play_mm.map(|(expected, _)| 2.0 * expected / PI),
            is_made_to_the_tooth: pulley.rack.is_some(),
        })
    }

    /// Each tolerance that a new print is more likely to miss than to keep, in words.
    pub fn missed(&self) -> Vec<&'static str> {
        let misses = |against: &Option<Against>| against.is_some_and(|against| against.chance < HOLDS);
        let mut missed = Vec::new();
        if self.outside_chance_aimed_at_middle.is_some_and(|chance| chance < HOLDS) {
            missed.push("the outside diameter");
        }
        for (what, against) in [
            ("the pitch from tooth to tooth", &self.adjacent_pitch),
            ("the pitch over 90 degrees", &self.accumulated_pitch),
            ("the runout", &self.radial_runout),
        ] {
            if misses(against) {
                missed.push(what);
            }
        }
        if !self.is_made_to_the_tooth && self.play_mm.is_some_and(|(_, least)| least <= 0.0) {
            missed.push("play for the belt's teeth");
        }
        missed
    }
}

/// How much further a dial swings because x and y shrink differently, mm.
fn oval_mm(correction: &Correction, kind: Kind, drawn_mm: f64) -> f64 {
    let along = |axis| correction.deviation_mm(kind, axis, drawn_mm);
    (along(Axis::X) - along(Axis::Y)).abs() / 2.0
}

/// A larger pulley, and one of a larger profile, that the setup can hold; teeth of each.
pub fn can_hold(pulley: &Pulley, correction: &Correction) -> Vec<String> {
    /// Larger pulleys than this are no answer.
    const MOST_TEETH: u32 = 120;
    let holds = |belt: &str, teeth: u32| {
        let pulley = Pulley::standard(belt, teeth, false).ok()?;
        let outcome = Outcome::of(&pulley, pulley.nominal_outside_mm(), correction).ok()?;
        outcome.missed().is_empty().then_some(())
    };
    let own = pulley.profile;
    let mut found = Vec::new();
    let larger = (pulley.teeth() + 1..=MOST_TEETH).find(|teeth| holds(own.name, *teeth).is_some());
    found.extend(larger.map(|teeth| format!("{} with {teeth} teeth", own.name)));
    let mut profiles: Vec<_> =
        profile::usable().into_iter().filter_map(|name| profile::find(name, 30).ok()).collect();
    profiles.sort_by(|a, b| a.pitch_mm.total_cmp(&b.pitch_mm));
    let of_profile = profiles.iter().filter(|other| other.pitch_mm > own.pitch_mm).find_map(|other| {
        let alike = (pulley.pitch_diameter_mm * PI / other.pitch_mm).ceil() as u32;
        let teeth = (alike.max(10)..=alike.max(10) + 20).find(|teeth| holds(other.name, *teeth).is_some())?;
        Some(format!("{} with {teeth} teeth", other.name))
    });
    found.extend(of_profile);
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::rack::Flank;
    use crate::correction::{SpreadEstimate, Term};
    use crate::parts::pulley_law::tests::correction;

    fn printer(print_sd: f64, feature_sd: f64) -> Correction {
        let model = [
            (Term::Offset(Kind::Pin), 0.14),
            (Term::Offset(Kind::Gap), -0.18),
            (Term::Offset(Kind::Bore), -0.16),
        ];
        let mut printer = correction(&model, &[Kind::Pin, Kind::Gap, Kind::Bore]);
        printer.spread.print = SpreadEstimate { sd_mm: print_sd, dof: Some(1e6) };
        printer.spread.feature = SpreadEstimate { sd_mm: feature_sd, dof: Some(1e6) };
        printer.spread.caliper_u_mm = 0.0;
        printer.dof = 1e6;
        printer
    }

    /// Against the normal distribution: aimed at the lower limit half of the prints are small; aimed at the
    /// middle, 0.08 mm wide, a standard deviation of 0.02 holds 95.45 % (two sigma).
    #[test]
    fn the_outside_diameter_is_never_small() {
        let pulley = Pulley::standard("XL", 20, false).unwrap();
        // 31.8 mm: 0.08 mm allowed. Print to print with the mean of three: P sqrt(4/3); features: F.
        let printer = printer(0.02 / (4.0_f64 / 3.0).sqrt() * 0.6, 0.02 * 0.8);
        let outcome = Outcome::of(&pulley, pulley.nominal_outside_mm(), &printer).unwrap();
        let outside = outcome.outside_diameter.unwrap();
        assert!((outside.sd_mm - 0.02).abs() < 1e-9, "{}", outside.sd_mm);
        assert!((outside.chance - 0.49997).abs() < 1e-3, "{}", outside.chance);
        let middle = outcome.outside_chance_aimed_at_middle.unwrap();
        assert!((middle - 0.9545).abs() < 1e-3, "{middle}");
        // Rayleigh: 1 - exp(-(0.065 / 0.016)^2 / 2).
        let runout = outcome.radial_runout.unwrap();
        assert!((runout.chance - (1.0 - (-8.252_f64).exp())).abs() < 1e-5, "{}", runout.chance);
        // One tooth to the next: 0.03 allowed, sqrt(0.016^2 + (pi/20 0.02)^2) = 0.016306; twenty of them.
        let adjacent = outcome.adjacent_pitch.unwrap();
        assert!((adjacent.sd_mm - 0.016306).abs() < 1e-6, "{}", adjacent.sd_mm);
        // 2 Phi(1.8398) - 1 = 0.93420; to the twentieth 0.2563.
        assert!((adjacent.chance - 0.93420).abs() < 2e-4, "{}", adjacent.chance);
        assert!((outcome.all_pitches_chance.unwrap() - 0.2563).abs() < 2e-3);
        // 90 degrees: sqrt(0.016^2 + (pi/4 0.02)^2) = 0.022422 against 0.08.
        assert!((outcome.accumulated_pitch.unwrap().sd_mm - 0.022422).abs() < 1e-6);
    }

    /// Source: worked example W11, the free play of XL: 0.289 mm on straight tips, used up by 0.18 mm.
    #[test]
    fn play_is_groove_less_tooth() {
        let pulley = Pulley::standard("XL", 400, false).unwrap();
        let outcome = Outcome::of(&pulley, pulley.nominal_outside_mm(), &printer(0.01, 0.01)).unwrap();
        let (expected, least) = outcome.play_mm.unwrap();
        // The tip circle bulges by 2 micrometres over the groove.
        assert!((expected - 0.288815).abs() < 3e-3 && least < expected, "{expected} {least}");
        assert!((outcome.play_used_up_by_mm.unwrap() - 0.183866).abs() < 2e-3);
    }

    #[test]
    fn an_involute_of_many_teeth_has_the_racks_play() {
        let pulley = Pulley::with_flanks("XL", 500, Flank::Involute, false).unwrap();
        let outcome = Outcome::of(&pulley, pulley.nominal_outside_mm(), &printer(0.01, 0.01)).unwrap();
        let (expected, least) = outcome.play_mm.unwrap();
        // 1.27 + 2 * 1.40 tan 25 less 2.57 mm.
        assert!((expected - 0.005660).abs() < 1e-3 && least < 0.0, "{expected} {least}");
        assert!(!outcome.missed().contains(&"play for the belt's teeth"));
    }

    #[test]
    fn what_a_setup_cannot_hold_is_said_with_what_it_can() {
        let good = printer(0.003, 0.002);
        let small = Pulley::standard("MXL", 14, false).unwrap();
        let outcome = |printer: &Correction, pulley: &Pulley| {
            Outcome::of(pulley, pulley.nominal_outside_mm(), printer).unwrap()
        };
        assert_eq!(outcome(&good, &small).missed(), Vec::<&str>::new());
        let poor = printer(0.05, 0.008);
        assert_eq!(outcome(&poor, &small).missed(), ["the outside diameter"]);
        let can = can_hold(&small, &poor);
        assert!(can[0].starts_with("MXL with ") && can.len() == 2, "{can:?}");
        for text in &can {
            let mut words = text.split(" with ");
            let (belt, teeth) = (words.next().unwrap(), words.next().unwrap());
            let teeth = teeth.trim_end_matches(" teeth").parse().unwrap();
            let larger = Pulley::standard(belt, teeth, false).unwrap();
            assert!(outcome(&poor, &larger).missed().is_empty(), "{text}");
        }
    }
}
