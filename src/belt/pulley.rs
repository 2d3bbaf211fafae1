//! The dimensions that the standards give a pulley, before any thought of printing.

use std::f64::consts::PI;

use super::groove::{Groove, NoSuchTeeth};
use super::profile::{self, NoProfile, Profile};
use super::rack::{self, Flank, Rack};
use super::{Cited, tolerance};

/// Most teeth that are drawn: more is a slip of the pen.
pub const MOST_TEETH: u32 = 500;

/// A pulley as the standards have it.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulley {
    /// Its profile, in the form for its tooth count.
    pub profile: &'static Profile,
    /// Diameter at the belt's neutral line, mm.
    pub pitch_diameter_mm: f64,
    /// The shape of its teeth.
    pub groove: Groove,
    /// The rack that generates them; `None` of straight sides.
    pub rack: Option<Rack>,
}

/// Why there is no such pulley.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoPulley {
    /// There is no such profile, or its groove is not published.
    #[error(transparent)]
    Profile(#[from] NoProfile),
    /// Fewer teeth than the tables allow.
    #[error("{teeth} teeth are too few for {profile}: the least is {} ({})", fewest.value, fewest.source)]
    FewTeeth {
        /// The teeth that were asked for.
        teeth: u32,
        /// The profile.
        profile: &'static str,
        /// The least.
        fewest: Cited<u32>,
    },
    /// More teeth than anyone means.
    #[error("{teeth} teeth are more than the {MOST_TEETH} that are drawn")]
    ManyTeeth {
        /// The teeth that were asked for.
        teeth: u32,
    },
    /// The groove does not fit on a pulley of so many teeth.
    #[error("no {profile} pulley has {teeth} teeth: {reason}")]
    Teeth {
        /// The teeth that were asked for.
        teeth: u32,
        /// The profile.
        profile: &'static str,
        /// What does not fit.
        reason: NoSuchTeeth,
    },
    /// No rack is published for this profile.
    #[error("no rack for involute sides is published for {profile}")]
    NoRack {
        /// The profile.
        profile: &'static str,
    },
}

impl NoPulley {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Profile(error) => error.help(),
            Self::FewTeeth { .. } => Some(
                "the least is for rubber belts at speed; for a slow or hand-driven mechanism, add --allow-few-teeth"
                    .to_owned(),
            ),
            Self::NoRack { .. } => {
                Some("MXL, XXL, XL, L, H, XH and XXH have one; draw this one with straight flanks".to_owned())
            }
            Self::Teeth { reason: NoSuchTeeth::Undercut, .. } => {
                Some("draw it with straight flanks, or take more teeth".to_owned())
            }
            Self::ManyTeeth { .. } | Self::Teeth { .. } => None,
        }
    }
}

impl Pulley {
    /// The pulley of this profile (any case) with this many teeth.
    ///
    /// Fewer teeth than the tables list are refused unless `allow_few_teeth`, since the least differs
    /// between standards and makers and is meant for belts at speed.
    pub fn standard(belt: &str, teeth: u32, allow_few_teeth: bool) -> Result<Self, NoPulley> {
        Self::with_flanks(belt, teeth, Flank::Straight, allow_few_teeth)
    }

    /// The same with the sides of the teeth made in one way or the other.
    pub fn with_flanks(
        belt: &str,
        teeth: u32,
        flank: Flank,
        allow_few_teeth: bool,
    ) -> Result<Self, NoPulley> {
        let profile = profile::find(belt, teeth)?;
        if teeth > MOST_TEETH {
            return Err(NoPulley::ManyTeeth { teeth });
        }
        if let Some(fewest) = tolerance::fewest_teeth(profile)
            && teeth < fewest.value
            && !allow_few_teeth
        {
            return Err(NoPulley::FewTeeth { teeth, profile: profile.name, fewest });
        }
        let pitch_diameter_mm = profile.pitch_mm * f64::from(teeth) / PI;
        let outside = pitch_diameter_mm - profile.two_a_mm;
        let straight = profile.groove.ok_or(NoProfile::NoGroove { name: profile.name })?;
        let rack = match flank {
            Flank::Straight => None,
            Flank::Involute => {
                Some(rack::find(profile.name, teeth).ok_or(NoPulley::NoRack { profile: profile.name })?)
            }
        };
        let groove = match &rack {
            None => Groove::standard(&straight, teeth, outside),
            Some(rack) => Groove::involute(rack, teeth, pitch_diameter_mm, outside),
        };
        let groove = groove.map_err(|reason| NoPulley::Teeth { teeth, profile: profile.name, reason })?;
        Ok(Self { profile, pitch_diameter_mm, groove, rack })
    }

    /// Where the shape of the groove comes from.
    pub fn groove_source(&self) -> &'static str {
        self.rack.map_or(self.profile.groove_source, |rack| rack.source)
    }

    /// How many teeth it has.
    pub fn teeth(&self) -> u32 {
        self.groove.teeth
    }

    /// Diameter over the tips by the standard, whatever is aimed at, mm.
    pub fn nominal_outside_mm(&self) -> f64 {
        self.pitch_diameter_mm - self.profile.two_a_mm
    }

    /// Diameter over the tips, which a belt's land rests on, mm.
    pub fn outside_diameter_mm(&self) -> f64 {
        2.0 * self.groove.outside_radius_mm
    }
}

/// How far the pitch at the belt's neutral line is off per tooth when the outside diameter is off, mm.
pub fn pitch_error_mm(outside_diameter_error_mm: f64, teeth: u32) -> f64 {
    PI * outside_diameter_error_mm / f64::from(teeth)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::built_in;

    const DIAMETERS: &str = include_str!("../../data/belts/pulley_diameters.csv");

    /// Source: every row of `pulley_diameters.csv` (published supplier tables and ISO 5294 / DIN 7721 as
    /// remembered), within its printed resolution. Rows that the table itself notes as misprinted may be
    /// off by what it says.
    #[test]
    fn every_published_diameter_comes_out() {
        let rows: &'static [built_in::Row] = Box::leak(built_in::rows(DIAMETERS).into_boxed_slice());
        assert_eq!(rows.len(), 173);
        for row in rows {
            let (name, teeth) = (row.text("profile"), row.number("z").unwrap());
            let profile = profile::all().iter().find(|profile| profile.name == name).unwrap();
            let pitch_diameter = profile.pitch_mm * teeth / PI;
            let note = row.text("note");
            let slip = if note.contains("wrong in the second decimal") { 0.02 } else { 0.0051 };
            assert!((row.number("pitch_d_mm").unwrap() - pitch_diameter).abs() < slip, "{name} {teeth}");
            // Half the last printed step, and what an earlier rounding or a scattered table adds to it.
            let close = match row.text("resolution_mm") {
                _ if name == "AT5" => 0.075,
                _ if note.starts_with("remembered value is") => 0.012,
                "0.01" => 0.0051,
                "0.05" if name == "T10" => 0.0355,
                "0.05" => 0.0255,
                _ => 0.08,
            };
            let outside = pitch_diameter - profile.two_a_mm;
            assert!((row.number("outside_d_mm").unwrap() - outside).abs() < close, "{name} {teeth}");
            if profile.groove.is_some() {
                let pulley = Pulley::standard(name, teeth as u32, true).unwrap();
                assert!((pulley.outside_diameter_mm() - outside).abs() < 1e-12, "{name} {teeth}");
                assert!((pulley.pitch_diameter_mm - pitch_diameter).abs() < 1e-12, "{name} {teeth}");
            }
        }
    }

    /// Negative control for the test above: the remembered pitch-line value of T5, 1.0 mm, contradicts
    /// the published diameters.
    #[test]
    fn the_remembered_pitch_line_of_t5_would_fail_its_published_diameters() {
        let outside = 5.0 * 20.0 / PI - 1.0;
        assert!((outside - 31.0_f64).abs() > 0.0255 * 5.0);
    }

    /// Source: worked example W11 of the belt tables (exact).
    #[test]
    fn a_large_outside_diameter_spoils_the_pitch() {
        assert!((pitch_error_mm(0.2, 20) - 0.031416).abs() < 5.1e-7);
        assert!((10.0 * pitch_error_mm(0.2, 20) - 0.314159).abs() < 5.1e-7);
        assert!((10.0 * pitch_error_mm(0.08, 20) - 0.125664).abs() < 5.1e-7);
        // The free play of an XL belt tooth, on a pulley so large that its tips are straight.
        let profile = profile::find("XL", 400).unwrap();
        let groove = profile.groove.unwrap();
        let top = groove.width_mm + 2.0 * groove.depth_mm * groove.half_angle_rad.tan();
        let clearance = top - profile.belt.tooth_root_width_mm.unwrap();
        assert!((clearance - 0.288815).abs() < 5.1e-7);
        assert!((2.0 * clearance / PI - 0.183866).abs() < 5.1e-7);
    }

    #[test]
    fn few_teeth_are_refused_with_the_source_and_can_be_insisted_on() {
        let error = Pulley::standard("T5", 9, false).unwrap_err();
        assert_eq!(
            error.to_string(),
            "9 teeth are too few for T5: the least is 10 (from memory: DIN 7721-2 / ISO 17396 supplier practice)"
        );
        assert!(error.help().unwrap().ends_with("add --allow-few-teeth"));
        assert_eq!(Pulley::standard("T5", 9, true).unwrap().teeth(), 9);
        assert!(matches!(Pulley::standard("T5", 0, true), Err(NoPulley::Teeth { .. })));
        assert!(matches!(Pulley::standard("T5", 100_000, true), Err(NoPulley::ManyTeeth { .. })));
    }

    #[test]
    fn every_usable_profile_makes_pulleys_from_its_least_to_many_teeth() {
        for name in profile::usable() {
            for teeth in 10..=120 {
                let fewest = tolerance::fewest_teeth(profile::find(name, teeth).unwrap()).unwrap().value;
                assert_eq!(Pulley::standard(name, teeth, false).is_ok(), teeth >= fewest, "{name} {teeth}");
            }
        }
    }
}
