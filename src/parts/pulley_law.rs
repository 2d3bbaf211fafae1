//! How one setup moves the walls of a pulley, and the teeth to draw because of it.
//!
//! A printed outline is the drawn one scaled about the axis by what the plastic shrinks, with every wall
//! then moved along its own normal by what the bead adds: `printed = scale * drawn + swell * normal`.
//! Tips are a round outside (`pin`), flanks and floors a flat inside (`gap`). A pulley is never scaled
//! to cure an offset: that would change its pitch.
//!
//! One scale holds for the whole outline, since the plastic between the walls is one piece: that of the
//! tips. Where gaps were found to have a scale of their own, the groove's walls take up the difference
//! at the width that the groove has at the outside diameter, so that the gap's law holds there.
//!
//! Teeth of lines and arcs stay lines and arcs (see [`Groove`]), so that the drawing is exact. A rounding
//! between two walls that move differently is an arc tangent to both; the printer would make of it a
//! curve that departs by a few micrometres, which `parts::pulley_check` measures.

use crate::belt::groove::Groove;
use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::kind::{Axis, Kind};
use crate::units::Mm;

/// How one setup moves the walls of a pulley.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WallLaw {
    /// Printed over drawn, about the axis.
    pub scale: f64,
    /// How far tips stand outside their scaled place, mm.
    pub tip_swell_mm: f64,
    /// How far flanks and floors stand inside the groove from their scaled place, mm.
    pub groove_swell_mm: f64,
    /// The kind that the tips' law is taken from: pins, or outside widths where no pin was measured.
    pub tip_kind: Kind,
}

/// The kind of round or else flat outside that a correction has; pins missing is the error.
pub fn tip_kind(correction: &Correction) -> Result<Kind, CannotApply> {
    [Kind::Pin, Kind::Outer]
        .into_iter()
        .find(|kind| correction.kinds.contains_key(kind))
        .ok_or_else(|| CannotApply::KindNotMeasured { setup: correction.setup.clone(), kind: Kind::Pin })
}

/// The size to draw, unrounded, mm: an outline that is rounded is no longer tangent.
pub fn exact_mm(correction: &Correction, kind: Kind, target_mm: f64) -> Result<f64, CannotApply> {
    let length = |mm| Mm::new(mm).ok_or(CannotApply::NothingToDraw { kind, target: zero() });
    Ok(correction.size_for(kind, kind.unnamed_axis(), length(target_mm)?, zero())?.draw.get())
}

fn zero() -> Mm {
    Mm::new(0.0).expect("zero is finite")
}

impl WallLaw {
    /// The law of a correction at the sizes of these teeth.
    ///
    /// *Errors*: no outside or no gap was measured, or no drawn size prints so small.
    pub fn of(correction: &Correction, wanted: &Groove) -> Result<Self, CannotApply> {
        let tip_kind = tip_kind(correction)?;
        let outside = 2.0 * wanted.outside_radius_mm;
        let drawn_outside = exact_mm(correction, tip_kind, outside)?;
        // A unit of size on, since the terms of an outside are constant or proportional.
        let deviation = |drawn| correction.deviation_mm(tip_kind, Axis::Round, drawn);
        let scale = 1.0 + deviation(drawn_outside + 1.0) - deviation(drawn_outside);
        let width = wanted.outer_width_mm();
        let drawn_width = exact_mm(correction, Kind::Gap, width)?;
        Ok(Self {
            scale,
            tip_swell_mm: (outside - scale * drawn_outside) / 2.0,
            groove_swell_mm: (scale * drawn_width - width) / 2.0,
            tip_kind,
        })
    }

    /// The teeth to draw so that these are printed.
    pub fn drawn(&self, wanted: &Groove) -> Groove {
        wanted.grown(-self.tip_swell_mm, -self.groove_swell_mm).scaled(1.0 / self.scale)
    }

    /// The teeth that a drawing prints as, roundings taken as tangent arcs.
    pub fn printed(&self, drawn: &Groove) -> Groove {
        drawn.scaled(self.scale).grown(self.tip_swell_mm, self.groove_swell_mm)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use std::collections::BTreeMap;
    use std::f64::consts::PI;

    use super::*;
    use crate::belt::pulley::{Pulley, pitch_error_mm};
    use crate::correction::{Coverage, Form, ScaleForm, Spread, SpreadEstimate, Term};

    /// A correction with these terms and coefficients, and a print-to-print spread of 0.02 mm.
    pub(crate) fn correction(model: &[(Term, f64)], kinds: &[Kind]) -> Correction {
        let coverage = Coverage { min_mm: 1.0, max_mm: 60.0, features: 6, readings: 18 };
        Correction {
            setup: "simulated".to_owned(),
            date: Some("2026-11-25".to_owned()),
            readings_file: "readings.csv".to_owned(),
            readings_sha256: "0123456789abcdef".repeat(4),
            program_version: "0.1.0".to_owned(),
            form: Form { scale: ScaleForm::Own, small_bore: true },
            runners_up: Vec::new(),
            terms: model.iter().map(|(term, _)| *term).collect(),
            coefficients: model.iter().map(|(_, coefficient)| *coefficient).collect(),
            covariance: vec![vec![0.0; model.len()]; model.len()],
            dof: 20.0,
            prints: 3,
            kinds: kinds.iter().map(|kind| (*kind, coverage)).collect::<BTreeMap<_, _>>(),
            spread: Spread {
                print: SpreadEstimate { sd_mm: 0.02, dof: Some(2.0) },
                feature: SpreadEstimate { sd_mm: 0.01, dof: Some(20.0) },
                repeat: None,
                caliper_u_mm: 0.003,
            },
            print_effects: None,
            set_aside: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// A printer that swells by 0.1 mm a side and does not shrink.
    fn swelling() -> Correction {
        let offset = Term::Offset;
        let model = [(offset(Kind::Pin), 0.2), (offset(Kind::Gap), -0.2), (offset(Kind::Bore), -0.2)];
        correction(&model, &[Kind::Pin, Kind::Gap, Kind::Bore])
    }

    #[test]
    fn the_printed_teeth_are_the_wanted_ones() {
        let model = [
            (Term::Offset(Kind::Pin), 0.11),
            (Term::ScaleOf(Kind::Pin), -0.004),
            (Term::Offset(Kind::Gap), -0.17),
            (Term::ScaleOf(Kind::Gap), -0.009),
        ];
        let correction = correction(&model, &[Kind::Pin, Kind::Gap]);
        for teeth in [12, 20, 21, 60] {
            let wanted = Pulley::standard("T5", teeth, false).unwrap().groove;
            let law = WallLaw::of(&correction, &wanted).unwrap();
            assert!((law.scale - 0.996).abs() < 1e-12);
            let printed = law.printed(&law.drawn(&wanted));
            for (a, b) in [
                (printed.outside_radius_mm, wanted.outside_radius_mm),
                (printed.flank_mm, wanted.flank_mm),
                (printed.floor_mm, wanted.floor_mm),
                (printed.bottom_radius_mm, wanted.bottom_radius_mm),
                (printed.tip_radius_mm, wanted.tip_radius_mm),
            ] {
                assert!((a - b).abs() < 1e-12, "{teeth}: {a} for {b}");
            }
            // The gap's own law at the outside diameter: the walls of a gap of that width, drawn
            // d = (w + 0.17) / 0.991 wide, stand (0.996 d - w) / 2 inside it.
            let width = wanted.outer_width_mm();
            let drawn = (width + 0.17) / 0.991;
            assert!((law.groove_swell_mm - (0.996 * drawn - width) / 2.0).abs() < 1e-12);
        }
    }

    /// Source: worked example W12 of the belt tables (exact): the scale that cures a 10-tooth XL pulley
    /// of a 0.20 mm offset leaves a 60-tooth one 1.02 mm small and its belt 1.60 mm out after half a turn.
    #[test]
    fn an_offset_is_cured_wall_by_wall_and_never_by_scaling() {
        let wanted = Pulley::standard("XL", 60, false).unwrap().groove;
        let law = WallLaw::of(&swelling(), &wanted).unwrap();
        assert_eq!(law.scale, 1.0);
        let drawn = law.drawn(&wanted);
        // Every wall 0.1 mm inwards: 0.20 mm off the diameter at any size, the depth as it was, and the
        // groove's angle and spacing untouched.
        assert!((2.0 * drawn.outside_radius_mm - (2.0 * wanted.outside_radius_mm - 0.2)).abs() < 1e-12);
        assert!((drawn.depth_mm() - wanted.depth_mm()).abs() < 1e-12);
        assert_eq!(drawn.half_angle_rad, wanted.half_angle_rad);
        assert_eq!(drawn.half_pitch_rad(), PI / 60.0);
        let [first, .., last] = drawn.walls();
        let turn = last.at(1.0).0.1.atan2(last.at(1.0).0.0) - first.at(0.0).0.1.atan2(first.at(0.0).0.0);
        assert!((turn - 2.0 * PI / 60.0).abs() < 1e-12);
        let printed = law.printed(&drawn);
        assert!(
            pitch_error_mm(2.0 * (printed.outside_radius_mm - wanted.outside_radius_mm), 60).abs() < 1e-12
        );
        // The trap, with the sizes that the example prints.
        let scale: f64 = 15.66 / 15.86;
        assert!((scale - 0.987390).abs() < 5.1e-7);
        let trapped: f64 = 96.51 * scale + 0.20;
        assert!((trapped - 95.492976).abs() < 5.1e-7);
        assert!((pitch_error_mm(trapped - 96.51, 60) + 0.053251).abs() < 5.1e-7);
        // A bore gets worse by it: 4.737 in place of 4.800 mm.
        assert!((5.0 * scale - 0.20 - 4.736948).abs() < 5.1e-7 && 5.0 * scale - 0.20 < 5.0 - 0.20);
        assert!((trapped - 96.51 + 1.017024).abs() < 5.1e-7);
        assert!((30.0 * pitch_error_mm(trapped - 96.51, 60) + 1.597538).abs() < 5.1e-7);
        let floor = wanted.scaled(scale).grown(0.1, 0.1).bottom_width_mm();
        assert!((floor - 1.175940).abs() < 5.1e-7);
        assert!((wanted.grown(0.1, 0.1).bottom_width_mm() - 1.192586).abs() < 5.1e-7);
        let bore = exact_mm(&swelling(), Kind::Bore, 5.0).unwrap();
        assert!((bore - 5.2).abs() < 1e-12, "and not 5 * {scale}");
    }

    #[test]
    fn outside_widths_stand_in_for_pins_and_a_missing_gap_is_refused() {
        let model = [(Term::Offset(Kind::Outer), 0.2), (Term::Offset(Kind::Gap), -0.2)];
        let wanted = Pulley::standard("T5", 20, false).unwrap().groove;
        let law = WallLaw::of(&correction(&model, &[Kind::Outer, Kind::Gap]), &wanted).unwrap();
        assert_eq!((law.tip_kind, law.scale), (Kind::Outer, 1.0));
        let error = WallLaw::of(&correction(&model, &[Kind::Outer]), &wanted).unwrap_err();
        assert!(matches!(error, CannotApply::KindNotMeasured { kind: Kind::Gap, .. }));
        let error = WallLaw::of(&correction(&model, &[Kind::Gap]), &wanted).unwrap_err();
        assert!(matches!(error, CannotApply::KindNotMeasured { kind: Kind::Pin, .. }));
    }
}
