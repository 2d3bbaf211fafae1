//! The mesh check of a whole drive: both pulleys as wanted, and as one setup would print them.

use crate::belt::groove::{Groove, NoSuchTeeth};
use crate::belt::pulley::{NoPulley, Pulley};
use crate::belt::rack::Flank;
use crate::belt::tooth::BeltTooth;
use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::kind::Kind;
use crate::parts::pulley_law::WallLaw;

use super::arrangement::Arrangement;
use super::idler::NoIdler;
use super::mesh::{Mesh, Meshing, Role};
use super::path::BeltPath;

/// Which pulleys are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Exactly as wanted.
    Wanted,
    /// As the corrected drawing is expected to print.
    Printed,
    /// The same print at the large end of its 95 %: tips far out, grooves narrow.
    PrintedLarge,
    /// The same print at the small end: tips far in, grooves wide.
    PrintedSmall,
    /// As it prints when it is drawn as wanted.
    Uncorrected,
}

impl State {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Wanted => "as wanted",
            Self::Printed => "as printed",
            Self::PrintedLarge => "printed large, 95 %",
            Self::PrintedSmall => "printed small, 95 %",
            Self::Uncorrected => "drawn without correction",
        }
    }
}

/// The belt on both pulleys in one state.
#[derive(Clone, Debug, PartialEq)]
pub struct Meshed {
    /// Which pulleys these are.
    pub state: State,
    /// Their teeth, small and large.
    pub grooves: [Groove; 2],
    /// The belt's way, at the centre distance or with the idler where the belt is right for these pulleys.
    pub path: BeltPath,
    /// That centre distance, mm.
    pub centre_mm: f64,
    /// The belt on the small and on the large pulley.
    pub meshes: [Mesh; 2],
}

impl Meshed {
    /// The least play of both while the belt runs, mm; negative is interference.
    pub fn least_mm(&self) -> f64 {
        self.meshes[0].least_running_mm.min(self.meshes[1].least_running_mm)
    }
}

/// Why the belt's teeth cannot be laid against the pulleys'.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoMesh {
    /// The standards have no such pulley.
    #[error(transparent)]
    Pulley(#[from] NoPulley),
    /// The belt's tooth is in no table.
    #[error("the tooth of {profile} belts is not published, so it cannot be laid into a groove")]
    NoTooth {
        /// The profile.
        profile: &'static str,
    },
    /// The correction does not answer.
    #[error(transparent)]
    Apply(#[from] CannotApply),
    /// These teeth cannot be drawn or printed.
    #[error("this setup cannot print the teeth of {teeth}: {reason}")]
    Teeth {
        /// Of the pulley with so many teeth.
        teeth: u32,
        /// What does not fit.
        reason: NoSuchTeeth,
    },
    /// The belt does not go round such pulleys.
    #[error(transparent)]
    Belt(#[from] NoIdler),
    /// Not one tooth lies on a wrap.
    #[error("no belt tooth lies on the pulley of {teeth} teeth")]
    NoneInMesh {
        /// Its teeth.
        teeth: u32,
    },
}

impl Arrangement {
    /// The belt's teeth laid against both pulleys, as wanted and, with a correction, as printed.
    pub fn meshed(&self, flank: Flank, correction: Option<&Correction>) -> Result<Vec<Meshed>, NoMesh> {
        let profile = self.drive.profile;
        let teeth = [self.drive.small_teeth, self.drive.large_teeth];
        let tooth = BeltTooth::of(profile).ok_or(NoMesh::NoTooth { profile: profile.name })?;
        let wanted = both(teeth, |teeth| Ok(Pulley::with_flanks(profile.name, teeth, flank, true)?.groove))?;
        let mut states = vec![(State::Wanted, wanted)];
        if let Some(correction) = correction {
            let law = |at: usize| WallLaw::of(correction, &wanted[at]);
            let laws = [law(0)?, law(1)?];
            let drawn = [0, 1].map(|at: usize| laws[at].drawn(&wanted[at]));
            let printed = [0, 1].map(|at| laws[at].printed(&drawn[at]));
            let halves = [half95(correction, &laws[0], &drawn[0])?, half95(correction, &laws[1], &drawn[1])?];
            let grown = |by: f64| {
                [0, 1].map(|at| printed[at].grown(by * halves[at].0 / 2.0, by * halves[at].1 / 2.0))
            };
            states.extend([
                (State::Printed, printed),
                (State::PrintedLarge, grown(1.0)),
                (State::PrintedSmall, grown(-1.0)),
                (State::Uncorrected, [0, 1].map(|at| laws[at].printed(&wanted[at]))),
            ]);
        }
        states.into_iter().map(|(state, grooves)| self.mesh_of(state, grooves, tooth)).collect()
    }

    fn mesh_of(&self, state: State, grooves: [Groove; 2], tooth: BeltTooth) -> Result<Meshed, NoMesh> {
        for groove in &grooves {
            groove.check().map_err(|reason| NoMesh::Teeth { teeth: groove.teeth, reason })?;
        }
        let (path, centre_mm) = self.on_tips(grooves.map(|groove| groove.outside_radius_mm))?;
        let zero_mm = path.arcs[0].middle_mm();
        let mesh = |at: usize, role| {
            let meshing = Meshing { groove: &grooves[at], arc: &path.arcs[at], role };
            meshing
                .mesh(&path, tooth, self.drive.profile.pitch_mm, zero_mm)
                .ok_or(NoMesh::NoneInMesh { teeth: grooves[at].teeth })
        };
        let meshes = [mesh(0, Role::Drives)?, mesh(1, Role::Driven)?];
        Ok(Meshed { state, grooves, path, centre_mm, meshes })
    }
}

fn both<T: Copy>(teeth: [u32; 2], of: impl Fn(u32) -> Result<T, NoMesh>) -> Result<[T; 2], NoMesh> {
    Ok([of(teeth[0])?, of(teeth[1])?])
}

/// Half of the 95 % intervals of one new print: of the outside diameter and of the groove's width, mm.
fn half95(correction: &Correction, law: &WallLaw, drawn: &Groove) -> Result<(f64, f64), CannotApply> {
    let half = |kind: Kind, drawn_mm: f64| {
        let (low, high) = correction.predict(kind, kind.unnamed_axis(), drawn_mm)?.interval(0.95);
        Ok((high - low) / 2.0)
    };
    Ok((half(law.tip_kind, 2.0 * drawn.outside_radius_mm)?, half(Kind::Gap, drawn.outer_width_mm())?))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::correction::Term;
    use crate::drive::layout::{Drive, belt_profile};

    /// Pins 0.12 mm large, gaps 0.16 mm small, all shrinks by 0.4 %.
    fn known() -> Correction {
        let path = Path::new("tests/data/known.correction.toml");
        Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap()
    }

    fn arrangement(belt: &str, teeth: [u32; 2], belt_teeth: u32) -> Arrangement {
        Arrangement::open(Drive::new(belt_profile(belt).unwrap(), teeth, belt_teeth).unwrap()).unwrap()
    }

    #[test]
    fn a_corrected_print_meshes_as_wanted_and_an_uncorrected_one_does_not() {
        let all = arrangement("T5", [20, 40], 100).meshed(Flank::Straight, Some(&known())).unwrap();
        let of = |state: State| all.iter().find(|meshed| meshed.state == state).unwrap();
        let (wanted, printed) = (of(State::Wanted), of(State::Printed));
        assert!((wanted.least_mm() - printed.least_mm()).abs() < 1e-6);
        assert!((wanted.centre_mm - printed.centre_mm).abs() < 1e-9);
        assert!(wanted.least_mm() > 0.04, "{}", wanted.least_mm());
        // The floor of a groove at 14.24 mm shrinks by 0.057 mm and swells by 0.08 mm less the gap's own
        // shrink, the tips at 15.49 mm lose 0.002 mm: of T5's 0.05 mm under the crest 0.025 mm are left.
        let uncorrected = of(State::Uncorrected);
        let crest = uncorrected.meshes[0].teeth[4].play.crest_mm;
        assert!((crest - 0.025).abs() < 2e-3, "{crest}");
        assert!(of(State::PrintedLarge).least_mm() < printed.least_mm());
        assert!(of(State::PrintedLarge).centre_mm < printed.centre_mm);
        assert!(of(State::PrintedSmall).centre_mm > printed.centre_mm);
        for meshed in &all {
            assert!((meshed.path.length_mm - 500.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_printer_that_closes_grooves_is_seen_to_jam_the_belt_where_nothing_corrects_it() {
        let mut tight = known();
        let gap = tight.terms.iter().position(|term| *term == Term::Offset(Kind::Gap)).unwrap();
        tight.coefficients[gap] = -0.4;
        let all = arrangement("T5", [20, 40], 100).meshed(Flank::Straight, Some(&tight)).unwrap();
        let least = |state: State| all.iter().find(|meshed| meshed.state == state).unwrap().least_mm();
        assert!(least(State::Uncorrected) < -0.05, "{}", least(State::Uncorrected));
        assert!((least(State::Printed) - least(State::Wanted)).abs() < 1e-6);
    }

    #[test]
    fn involute_pulleys_mesh_with_the_play_of_their_rack() {
        let all = arrangement("XL", [20, 40], 90).meshed(Flank::Involute, Some(&known())).unwrap();
        let of = |state: State| all.iter().find(|meshed| meshed.state == state).unwrap();
        let wanted = of(State::Wanted);
        // The rack is (1.27 + 2 * 1.40 tan 25) - 2.57 = 0.0057 mm wider than the tooth, both sides together.
        let play = 0.0057 / 2.0 * 25.0_f64.to_radians().cos();
        for mesh in &wanted.meshes {
            assert!((mesh.least.0 - play).abs() < 7e-4, "{:?}", mesh.least);
            assert!((mesh.swing_in.least_mm - play).abs() < 7e-4, "{:?}", mesh.swing_in);
        }
        assert!((of(State::Printed).least_mm() - wanted.least_mm()).abs() < 1e-3);
        let straight = arrangement("XL", [20, 40], 90).meshed(Flank::Straight, None).unwrap();
        assert!(straight[0].least_mm() > 0.1, "straight grooves leave play: {}", straight[0].least_mm());
    }

    #[test]
    fn a_belt_whose_tooth_is_not_published_is_refused_with_the_reason() {
        let error = arrangement("AT5", [20, 40], 100).meshed(Flank::Straight, None).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the tooth of AT5 belts is not published, so it cannot be laid into a groove"
        );
        assert_eq!(arrangement("XL", [20, 40], 90).meshed(Flank::Straight, None).unwrap().len(), 1);
    }
}
