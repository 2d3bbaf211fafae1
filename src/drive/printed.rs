//! What printing does to a drive: how far the centre distance at which the belt is right may lie off.
//!
//! The belt rides on the tips, so a pulley whose outside diameter prints larger by `e` takes `wrap e / 2` more
//! of the belt, and the centres must come closer: `2 cos phi` of belt goes into each millimetre between them.
//! Both outside diameters come from one correction and perhaps from one print; what errors they share is known
//! ([`crate::correction::joint`]), and they are added up with their shares, not as if independent.
//!
//! The belt itself may be longer or shorter within its tolerance: limits, so an even spread of half width
//! `tolerance`, whose standard deviation is `tolerance / sqrt 3` (JCGM 100:2008, 4.3.7).
//!
//! Intervals are 95 % for one new print of each pulley.

use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::correction::joint::{LaterFeature, Origin};
use crate::parts::pulley_law::{exact_mm, tip_kind};
use crate::stats::distribution::t_quantile;
use crate::stats::dof;

use super::layout::Drive;

/// A length of belt and how far it may be off, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Standard deviation, mm.
    pub sd_mm: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

impl Spread {
    /// Half of the 95 % interval, mm.
    pub fn half95_mm(&self) -> f64 {
        t_quantile(0.975, self.dof) * self.sd_mm
    }

    fn with(&self, other: &Self) -> Self {
        let parts = [self, other].map(|spread| (spread.sd_mm.powi(2), spread.dof));
        let variance: f64 = parts.iter().map(|(variance, _)| variance).sum();
        Self { sd_mm: variance.sqrt(), dof: dof::effective(parts) }
    }
}

/// What the printed pulleys take of the belt more than the wanted ones, in mm of belt.
#[derive(Clone, Debug, PartialEq)]
pub struct PrintedDrive {
    /// Both pulleys of one print.
    pub together: Spread,
    /// Each of a print of its own.
    pub apart: Spread,
    /// The belt's own length; `None` where no tolerance is known.
    pub belt: Option<Spread>,
    /// What pulleys drawn exactly as wanted take more, mm of belt.
    pub uncorrected_mm: f64,
    /// Drawn and expected outside diameters, small and large, with their own 95 % half widths, mm.
    pub outside: [PrintedOutside; 2],
    /// What a reader must know.
    pub warnings: Vec<String>,
}

/// The outside diameter of one pulley.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PrintedOutside {
    /// Wanted, and what the corrected drawing is expected to print as, mm.
    pub wanted_mm: f64,
    /// To draw, mm.
    pub draw_mm: f64,
    /// Half of the 95 % interval of one new print, mm.
    pub half95_mm: f64,
    /// What it prints as when it is drawn as wanted, mm.
    pub uncorrected_mm: f64,
}

impl PrintedDrive {
    /// Of a drive with the pulleys that this correction has drawn, and the belt covering these angles.
    ///
    /// *Errors*: neither pins nor outside widths were measured, or no drawing prints so small.
    pub fn new(
        drive: &Drive,
        wraps_rad: (f64, f64),
        belt_tolerance_mm: Option<f64>,
        correction: &Correction,
    ) -> Result<Self, CannotApply> {
        let kind = tip_kind(correction)?;
        let axis = kind.unnamed_axis();
        let mut warnings = Vec::new();
        let mut outside = Vec::new();
        for (wanted_mm, teeth) in
            drive.outside_diameters_mm().into_iter().zip([drive.small_teeth, drive.large_teeth])
        {
            let draw_mm = exact_mm(correction, kind, wanted_mm)?;
            let prediction = correction.predict(kind, axis, draw_mm)?;
            let (low, high) = prediction.interval(0.95);
            if prediction.beyond_mm > 0.0 {
                warnings.push(format!(
                    "the outside diameter of {teeth} teeth, drawn {draw_mm:.2} mm, lies {:.2} mm outside the {} that \
                     were measured",
                    prediction.beyond_mm,
                    kind.plural()
                ));
            }
            outside.push(PrintedOutside {
                wanted_mm,
                draw_mm,
                half95_mm: (high - low) / 2.0,
                uncorrected_mm: wanted_mm + correction.deviation_mm(kind, axis, wanted_mm),
            });
        }
        let outside = [outside[0], outside[1]];
        let per_diameter = [wraps_rad.0 / 2.0, wraps_rad.1 / 2.0];
        let spread = |prints: [u32; 2]| {
            let features = [0, 1].map(|at| LaterFeature {
                kind,
                axis,
                drawn_mm: outside[at].draw_mm,
                print: prints[at],
                // The true size is meant, which no scatter of readings is in.
                readings: u32::MAX,
            });
            let joint = correction.joint_spread(&features);
            let from = [Origin::Coefficients, Origin::PastPrints, Origin::NewPrint, Origin::Caliper];
            Spread {
                sd_mm: joint.variance_from(&per_diameter, &from, true).sqrt(),
                dof: joint.dof_from(&per_diameter, &from, true),
            }
        };
        if correction.spread.print.dof.is_none() {
            warnings.push(format!(
                "print to print spread was not measured: the travel rests on an allowance of {:.3} mm",
                correction.spread.print.sd_mm
            ));
        }
        Ok(Self {
            together: spread([0, 0]),
            apart: spread([0, 1]),
            belt: belt_tolerance_mm
                .map(|tolerance| Spread { sd_mm: tolerance / 3.0_f64.sqrt(), dof: f64::INFINITY }),
            uncorrected_mm: [0, 1]
                .map(|at| per_diameter[at] * (outside[at].uncorrected_mm - outside[at].wanted_mm))
                .iter()
                .sum(),
            outside,
            warnings,
        })
    }

    /// Prints and belt together, both pulleys of one print, mm of belt.
    pub fn total(&self) -> Spread {
        self.belt.map_or(self.together, |belt| self.together.with(&belt))
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;
    use std::path::Path;

    use super::*;
    use crate::drive::layout::belt_profile;
    use crate::drive::open::OpenBelt;

    /// Pins come out 0.12 mm large and shrink by 0.4 %; prints differ by 0.02 mm, features by 0.01 mm or so.
    fn known() -> Correction {
        let path = Path::new("tests/data/known.correction.toml");
        Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap()
    }

    fn printed(tolerance: Option<f64>) -> (Drive, PrintedDrive) {
        let drive = Drive::new(belt_profile("T5").unwrap(), [20, 40], 100).unwrap();
        let printed = PrintedDrive::new(&drive, drive.open.wraps_rad(), tolerance, &known()).unwrap();
        (drive, printed)
    }

    #[test]
    fn uncorrected_pulleys_move_the_centre_by_what_their_diameters_are_off() {
        let (drive, printed) = printed(None);
        for (outside, teeth) in printed.outside.iter().zip([20.0, 40.0]) {
            let wanted = 5.0 * teeth / PI - 0.845;
            assert!((outside.wanted_mm - wanted).abs() < 1e-12);
            assert!((outside.draw_mm - (wanted - 0.12) / 0.996).abs() < 1e-9);
            assert!((outside.uncorrected_mm - (0.996 * wanted + 0.12)).abs() < 1e-9);
        }
        // The same by solving for the centre distance of the larger wheels.
        let off = printed.outside.map(|outside| outside.uncorrected_mm - outside.wanted_mm);
        let moved =
            OpenBelt::of_length(drive.open.small_mm + off[0], drive.open.large_mm + off[1], 500.0).unwrap();
        let slope = 2.0 * drive.open.slant_rad().cos();
        let by = drive.open.centre_mm - moved.centre_mm;
        // What is left is of second order: 0.13 mm squared over the centre distance, or so.
        assert!(
            (printed.uncorrected_mm / slope - by).abs() < 1e-4,
            "{by} {}",
            printed.uncorrected_mm / slope
        );
        assert!(by < -0.08 && by > -0.2, "{by}");
    }

    /// Printed together, the prints' own shift moves both pulleys alike and adds up; apart, in squares.
    #[test]
    fn one_print_of_both_pulleys_spreads_more_than_two() {
        let (drive, printed) = printed(None);
        let correction = known();
        let (w1, w2) = (drive.open.wraps_rad().0 / 2.0, drive.open.wraps_rad().1 / 2.0);
        let print = correction.spread.print.sd_mm.powi(2);
        // The correction's coefficients are exact; m prints leave print / m in their mean.
        let past = print / f64::from(correction.prints) * (w1 + w2).powi(2);
        let own = correction.spread.feature.sd_mm.powi(2) * (w1 * w1 + w2 * w2);
        let caliper = correction.spread.caliper_u_mm.powi(2) * (w1 + w2).powi(2);
        let together = past + own + caliper + print * (w1 + w2).powi(2);
        let apart = past + own + caliper + print * (w1 * w1 + w2 * w2);
        assert!((printed.together.sd_mm - together.sqrt()).abs() < 1e-6, "{:?}", printed.together);
        assert!((printed.apart.sd_mm - apart.sqrt()).abs() < 1e-6);
        assert!(printed.together.sd_mm > 1.1 * printed.apart.sd_mm);
    }

    #[test]
    fn the_belts_own_tolerance_adds_as_an_even_spread() {
        let (_, alone) = printed(None);
        let (_, with) = printed(Some(0.3));
        assert_eq!(alone.total(), alone.together);
        let expected = (alone.together.sd_mm.powi(2) + 0.03).sqrt();
        assert!((with.total().sd_mm - expected).abs() < 1e-12);
        assert!(with.total().dof > with.together.dof);
    }

    #[test]
    fn diameters_outside_what_was_measured_are_said() {
        // Pins were measured from 3 to 30 mm.
        let (_, printed) = printed(None);
        assert_eq!(printed.warnings.len(), 2, "{:?}", printed.warnings);
        assert!(printed.warnings[1].starts_with("the outside diameter of 40 teeth, drawn 62.9"));
    }
}
