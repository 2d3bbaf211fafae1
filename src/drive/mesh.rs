//! The belt's teeth laid along its way against both pulleys' grooves.
//!
//! The belt is as long as its neutral line says, tooth after tooth a pitch apart. On a pulley whose tips have the
//! radius `R` the neutral line runs at `R + a`, so teeth follow each other by `pitch / (R + a)` and grooves by
//! `2 pi / z`; on a pulley of the right size the two are one. Belt tooth 0 stands in the middle of the small
//! pulley's wrap; where the others stand on the large pulley follows from the length of belt between.
//!
//! A pulley turns freely until something holds it, so its phase is chosen, by one of two rules:
//!
//! - *centred*: the least play on the flanks of all teeth in mesh is as large as it can be. Teeth and grooves
//!   drift apart evenly along the wrap, so that is where the first and the last tooth are off by the same, one
//!   ahead and one behind. Plays and interferences are stated so.
//! - *loaded*: turned on from there until the first tooth bears, when the small pulley drives: it pushes the
//!   trailing flanks of the belt, and the belt's leading flanks push the large pulley. Stated is which tooth
//!   bears first, and how far the one that bears last is then from doing so. The belt gives, and shares the
//!   load among them; how well is not reckoned.
//!
//! As the belt runs on, one tooth more may come into mesh than in that position; the play that is then left is
//! stated beside. How a tooth swings in where the belt comes on: [`crate::belt::swing`].
//!
//! Teeth are counted from where the belt comes on. Those whose middles lie on the wrap are in mesh. Tooth and
//! groove: [`crate::belt::tooth`].

use std::f64::consts::TAU;

use crate::belt::groove::Groove;
use crate::belt::swing::SwingIn;
use crate::belt::tooth::{BeltTooth, Place, Play, Socket};

use super::path::{Arc, BeltPath};

/// Plays that differ by less than this are the same, mm.
const SAME_MM: f64 = 1e-6;

/// A pitch that is off by less than this is right, mm.
const SAME_AS_PITCH_MM: f64 = 1e-12;

/// Which part a pulley has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// It drives the belt.
    Drives,
    /// The belt drives it.
    Driven,
}

/// One tooth in mesh.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeshedTooth {
    /// Direction from the pulley's axis to its middle, radians.
    pub at_rad: f64,
    /// How far its middle stands ahead of its groove's, radians.
    pub ahead_rad: f64,
    /// What is left about it.
    pub play: Play,
}

/// How the load begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bearing {
    /// Which tooth bears first, from 1; `None` where all do at once.
    pub first_tooth: Option<usize>,
    /// How far the pulley turned from the centred phase, mm along the belt.
    pub turn_mm: f64,
    /// How far from bearing the last tooth then is, mm.
    pub spread_mm: f64,
}

/// The belt on one pulley.
#[derive(Clone, Debug, PartialEq)]
pub struct Mesh {
    /// Direction of the middle of the groove nearest to the middle of the wrap, radians.
    pub phase_rad: f64,
    /// The teeth in mesh, from where the belt comes on.
    pub teeth: Vec<MeshedTooth>,
    /// The least play, which tooth (from 1) and where; the largest interference where negative.
    pub least: (f64, usize, Place),
    /// The same with as many teeth in mesh as there can be while the belt runs on by a pitch.
    pub least_running_mm: f64,
    /// The least play while a tooth swings in where the belt comes on; one leaves by the mirror image.
    pub swing_in: SwingIn,
    /// How much further apart teeth are than grooves, mm a pitch at the neutral line.
    pub pitch_off_mm: f64,
    /// How the load begins; `None` where a tooth does not go in at all.
    pub bearing: Option<Bearing>,
}

/// A pulley under a belt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meshing<'a> {
    /// Its teeth.
    pub groove: &'a Groove,
    /// The arc of the belt's way on it.
    pub arc: &'a Arc,
    /// Which part it has.
    pub role: Role,
}

impl Meshing<'_> {
    /// The belt's teeth on this pulley. Tooth 0 of the belt stands `zero_mm` along the belt's way.
    ///
    /// `None` where no tooth's middle lies on the wrap.
    pub fn mesh(&self, path: &BeltPath, tooth: BeltTooth, pitch_mm: f64, zero_mm: f64) -> Option<Mesh> {
        let arc = self.arc;
        // Rounding must not lose the tooth at either end of a wrap of whole pitches.
        let slack = 1e-9 * path.length_mm;
        let first = ((arc.from_mm - zero_mm - slack) / pitch_mm).ceil();
        let last = ((arc.from_mm + arc.length_mm() - zero_mm + slack) / pitch_mm).floor();
        if last < first {
            return None;
        }
        let count = (last - first) as usize + 1;
        let line = arc.wheel.radius_mm;
        let tooth_step = pitch_mm / line;
        let groove_step = TAU / f64::from(self.groove.teeth);
        // The belt is outside of the wheel on its left: a quarter turn before its direction of travel.
        let at = |index: usize| {
            let along = zero_mm + (first + index as f64) * pitch_mm - arc.from_mm;
            arc.on_rad + along / line - TAU / 4.0
        };
        // Off by the same at both ends, one ahead and one behind.
        let middle = (count - 1) as f64 / 2.0;
        let ahead = |index: usize| (index as f64 - middle) * (tooth_step - groove_step);
        let socket = Socket::new(self.groove, tooth);
        // On a pulley of the right size all teeth stand alike.
        let alike = (tooth_step - groove_step).abs() * line < SAME_AS_PITCH_MM;
        let first_play = socket.play(ahead(0));
        let play = |index: usize| if alike { first_play } else { socket.play(ahead(index)) };
        let teeth: Vec<MeshedTooth> = (0..count)
            .map(|index| MeshedTooth { at_rad: at(index), ahead_rad: ahead(index), play: play(index) })
            .collect();
        let least = teeth.iter().enumerate().map(|(index, tooth)| {
            let (mm, place) = tooth.play.least();
            (mm, index + 1, place)
        });
        // Of teeth that are alike but for rounding, the first.
        let least = least.reduce(|least, one| if one.0 < least.0 - SAME_MM { one } else { least })?;
        // Between two ends of the wrap lie one more than whole pitches go into it.
        let most = ((arc.length_mm() + slack) / pitch_mm).floor();
        let furthest = most / 2.0 * (tooth_step - groove_step);
        let running = [furthest, -furthest].map(|ahead| socket.play(ahead).least().0);
        let wrap_middle = arc.on_rad + arc.wrap_rad / 2.0 - TAU / 4.0;
        let some_groove = teeth[0].at_rad - teeth[0].ahead_rad;
        let whole = ((wrap_middle - some_groove) / groove_step).round();
        Some(Mesh {
            phase_rad: some_groove + whole * groove_step,
            least,
            least_running_mm: running[0].min(running[1]).min(least.0),
            pitch_off_mm: pitch_mm - groove_step * line,
            bearing: self.bearing(&socket, &teeth),
            swing_in: socket.swing_in(ahead(0), line),
            teeth,
        })
    }

    /// Turns the pulley on from the centred phase until its first tooth bears.
    fn bearing(&self, socket: &Socket, teeth: &[MeshedTooth]) -> Option<Bearing> {
        // A driving pulley turns ahead of the belt, so that the tooth falls behind in its groove; a driven one
        // is left behind.
        let flank = |play: &Play| match self.role {
            Role::Drives => play.trailing_mm,
            Role::Driven => play.leading_mm,
        };
        let sense = if self.role == Role::Drives { -1.0 } else { 1.0 };
        let (first, tooth) =
            teeth.iter().enumerate().min_by(|(_, a), (_, b)| flank(&a.play).total_cmp(&flank(&b.play)))?;
        if flank(&tooth.play) < 0.0 {
            return None;
        }
        let left = |tooth: &MeshedTooth, turn: f64| {
            let ahead = tooth.ahead_rad + sense * turn;
            match self.role {
                Role::Drives => socket.trailing_mm(ahead),
                Role::Driven => socket.leading_mm(ahead),
            }
        };
        // Play is lost by less than the way of the tips, and all of it within a pitch. The secant through both
        // ends of the bracket, the end that stays counting half (Illinois).
        let (mut low, mut high) = (0.0, TAU / f64::from(self.groove.teeth));
        let (mut at_low, mut at_high) = (left(tooth, low), left(tooth, high));
        let mut turn = high;
        for _ in 0..60 {
            turn = (low * at_high - high * at_low) / (at_high - at_low);
            let value = left(tooth, turn);
            if value.abs() < SAME_MM / 10.0 {
                break;
            }
            if value > 0.0 {
                (low, at_low) = (turn, value);
                at_high /= 2.0;
            } else {
                (high, at_high) = (turn, value);
                at_low /= 2.0;
            }
        }
        let spread_mm = teeth.iter().map(|tooth| left(tooth, turn)).fold(0.0, f64::max);
        Some(Bearing {
            first_tooth: (spread_mm > SAME_MM).then_some(first + 1),
            turn_mm: turn * self.arc.wheel.radius_mm,
            spread_mm,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::pulley::Pulley;
    use crate::drive::layout::{Drive, belt_profile, line_above_land_mm};
    use crate::drive::open::OpenBelt;
    use crate::drive::path::{Side, Wheel};
    use std::f64::consts::PI;

    /// Both pulleys of a drive, their tips larger by `e`, at the centre distance that is then right.
    fn meshes(belt: &str, teeth: [u32; 2], belt_teeth: u32, e: f64) -> ([Mesh; 2], BeltPath) {
        let profile = belt_profile(belt).unwrap();
        let drive = Drive::new(profile, teeth, belt_teeth).unwrap();
        let grooves =
            teeth.map(|teeth| Pulley::standard(belt, teeth, true).unwrap().groove.grown(e / 2.0, e / 2.0));
        let line = grooves.map(|groove| groove.outside_radius_mm + line_above_land_mm(profile));
        let open = OpenBelt::of_length(2.0 * line[0], 2.0 * line[1], drive.belt_length_mm()).unwrap();
        let wheel = |x, radius_mm| Wheel { centre: (x, 0.0), radius_mm, side: Side::Inside };
        let path = BeltPath::around(&[wheel(0.0, line[0]), wheel(open.centre_mm, line[1])]).unwrap();
        let tooth = BeltTooth::of(profile).unwrap();
        let zero = path.arcs[0].middle_mm();
        let mesh = |at: usize, role| {
            let meshing = Meshing { groove: &grooves[at], arc: &path.arcs[at], role };
            meshing.mesh(&path, tooth, profile.pitch_mm, zero).unwrap()
        };
        ([mesh(0, Role::Drives), mesh(1, Role::Driven)], path)
    }

    /// Half the belt lies between the middles of the two wraps: a whole number of pitches, or a half more.
    #[test]
    fn the_large_pulleys_phase_follows_from_the_belts_teeth() {
        for (teeth, belt_teeth) in [([20, 40], 100), ([20, 40], 101), ([13, 31], 80), ([13, 31], 81)] {
            let ([small, large], _) = meshes("T5", teeth, belt_teeth, 0.0);
            assert!((small.phase_rad.rem_euclid(TAU) - PI).abs() < 1e-9, "{}", small.phase_rad);
            let pitch = TAU / f64::from(teeth[1]);
            let off = large.phase_rad.rem_euclid(pitch);
            let expected = if belt_teeth % 2 == 0 { 0.0 } else { pitch / 2.0 };
            let apart = (off - expected).abs();
            assert!(apart.min(pitch - apart) < 1e-9, "{teeth:?} {belt_teeth}: {off} of {pitch}");
            assert!(
                large.phase_rad.rem_euclid(TAU).min(TAU - large.phase_rad.rem_euclid(TAU))
                    <= pitch / 2.0 + 1e-9
            );
        }
    }

    #[test]
    fn on_pulleys_of_the_right_size_every_tooth_has_the_same_play() {
        let ([small, large], _) = meshes("T5", [20, 40], 100, 0.0);
        for mesh in [&small, &large] {
            assert!(mesh.pitch_off_mm.abs() < 1e-12 && mesh.least.0 > 0.04, "{mesh:?}");
            let first = mesh.teeth[0].play;
            assert!(mesh.teeth.iter().all(|tooth| (tooth.play.leading_mm - first.leading_mm).abs() < 1e-9));
            let bearing = mesh.bearing.unwrap();
            assert_eq!(bearing.first_tooth, None);
            assert!(bearing.turn_mm > first.leading_mm, "{bearing:?}");
        }
        // Wraps of 169.9 and 190.1 degrees.
        assert_eq!((small.teeth.len(), large.teeth.len()), (9, 21));
    }

    /// Source: worked example W11 of the belt tables: 0.20 mm on the outside diameter adds pi 0.20 / 20 to
    /// the pulley's pitch at the belt line, so teeth are that much closer than grooves.
    #[test]
    fn a_large_pulley_lets_the_teeth_fall_behind() {
        let ([small, _], path) = meshes("XL", [20, 20], 80, 0.2);
        assert!((small.pitch_off_mm + 0.031416).abs() < 5.1e-7, "{}", small.pitch_off_mm);
        assert!((path.length_mm - 80.0 * 5.08).abs() < 1e-9);
        let (first, last) = (small.teeth[0], small.teeth[small.teeth.len() - 1]);
        assert!((first.ahead_rad + last.ahead_rad).abs() < 1e-12 && first.ahead_rad > 0.0);
        // Symmetric: the first tooth's front has what the last one's back has.
        assert!((first.play.leading_mm - last.play.trailing_mm).abs() < 1e-9);
        assert!(first.play.leading_mm < first.play.trailing_mm);
        // The drive's pulley pushes trailing flanks; the last tooth, furthest behind, bears first.
        if let Some(bearing) = small.bearing {
            assert_eq!(bearing.first_tooth, Some(small.teeth.len()));
            assert!(bearing.spread_mm > 0.0);
        }
        // 10 pitches on half a turn: 11 teeth at most, as here.
        assert!(small.teeth.len() == 11 && (small.least_running_mm - small.least.0).abs() < 1e-9);
        let ([nine, _], _) = meshes("XL", [20, 40], 100, 0.2);
        assert!(nine.teeth.len() == 9 && nine.least_running_mm < nine.least.0 - 0.005, "{nine:?}");
        let ([fits, _], _) = meshes("XL", [20, 20], 80, 0.0);
        assert!(fits.least.0 > small.least.0);
    }

    #[test]
    fn a_pulley_far_too_large_does_not_mesh() {
        let ([small, large], _) = meshes("XL", [20, 40], 90, 0.5);
        for mesh in [small, large] {
            assert!(mesh.least.0 < 0.0 && mesh.bearing.is_none(), "{:?}", mesh.least);
        }
    }
}
