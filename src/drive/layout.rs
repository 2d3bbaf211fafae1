//! A drive: its belt and two pulleys at the one centre distance that the belt is right for, and what stands
//! beside them.
//!
//! The belt's neutral line lies `a` above its land, which rests on the tips of the pulleys; its back lies
//! `back = total height - tooth height - a` outside the neutral line.
//!
//! Source: `data/belts`, with the labels that [`crate::belt`] hands on.

use std::f64::consts::{PI, TAU};

use crate::belt::profile::{self, NoProfile, Profile};
use crate::belt::tolerance;

use super::bounds::Room;
use super::open::OpenBelt;
use super::path::{BeltPath, NoPath, Side, Wheel};

/// The usual least number of teeth in mesh. Source: from memory, ISO 5295 (mesh factor 1 from 6 teeth on).
pub const USUAL_LEAST_IN_MESH: f64 = 6.0;
/// Most teeth of a pulley or a belt that are reckoned with: more is a slip of the pen.
pub const MOST_TEETH: u32 = 10_000;

/// Why there is no such drive.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoDrive {
    /// A pulley or the belt has no teeth, or more than anyone means.
    #[error("{what} of {teeth} teeth cannot be: 3 to {MOST_TEETH} are reckoned with")]
    Teeth {
        /// `a pulley` or `a belt`.
        what: &'static str,
        /// Its teeth.
        teeth: u32,
    },
    /// The belt does not go round both pulleys, however close they are.
    #[error(
        "a belt of {belt_teeth} teeth is too short for pulleys of {small_teeth} and {large_teeth}: \
         at {least} teeth their tips touch"
    )]
    TooShort {
        /// Teeth of the belt.
        belt_teeth: u32,
        /// Teeth of the small pulley.
        small_teeth: u32,
        /// Teeth of the large pulley.
        large_teeth: u32,
        /// The fewest teeth with which the pulleys' tips just keep apart.
        least: u32,
    },
    /// The pulleys' tips overlap at this centre distance.
    #[error(
        "pulleys of {small_teeth} and {large_teeth} teeth touch at a centre distance of {touching_mm:.2} mm; {centre_mm:.2} mm is less"
    )]
    TooClose {
        /// Teeth of the small pulley.
        small_teeth: u32,
        /// Teeth of the large pulley.
        large_teeth: u32,
        /// Where their tips touch, mm.
        touching_mm: f64,
        /// The centre distance that was asked for, mm.
        centre_mm: f64,
    },
}

/// The profile of this name, any case. For laying out a drive no groove need be published.
pub fn belt_profile(name: &str) -> Result<&'static Profile, NoProfile> {
    /// Pitch and belt of a profile are the same in all its groove forms.
    const ANY_TEETH: u32 = 40;
    match profile::find(name, ANY_TEETH) {
        Err(NoProfile::NoGroove { name }) => {
            profile::all().iter().find(|profile| profile.name == name).ok_or(NoProfile::NoGroove { name })
        }
        found => found,
    }
}

/// How far the neutral line lies above the land, mm.
pub fn line_above_land_mm(profile: &Profile) -> f64 {
    profile.two_a_mm / 2.0
}

/// How far the belt's back lies outside its neutral line, mm.
pub fn back_outside_line_mm(profile: &Profile) -> f64 {
    profile.belt.total_height_mm - profile.belt.tooth_height_mm - line_above_land_mm(profile)
}

/// Two pulleys and a belt at the right centre distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drive {
    /// The belt's profile.
    pub profile: &'static Profile,
    /// Teeth of the small pulley.
    pub small_teeth: u32,
    /// Teeth of the large pulley.
    pub large_teeth: u32,
    /// Teeth of the belt.
    pub belt_teeth: u32,
    /// The open belt at its neutral line.
    pub open: OpenBelt,
}

/// Pitch diameter of a pulley, mm.
pub fn pitch_diameter_mm(profile: &Profile, teeth: u32) -> f64 {
    profile.pitch_mm * f64::from(teeth) / PI
}

/// Smaller first.
pub fn ordered(teeth: [u32; 2]) -> [u32; 2] {
    [teeth[0].min(teeth[1]), teeth[0].max(teeth[1])]
}

fn check_teeth(what: &'static str, teeth: u32) -> Result<(), NoDrive> {
    if (3..=MOST_TEETH).contains(&teeth) { Ok(()) } else { Err(NoDrive::Teeth { what, teeth }) }
}

impl Drive {
    /// The drive of two pulleys, in either order, and a belt of so many teeth.
    pub fn new(profile: &'static Profile, teeth: [u32; 2], belt_teeth: u32) -> Result<Self, NoDrive> {
        let [small_teeth, large_teeth] = ordered(teeth);
        check_teeth("a pulley", small_teeth)?;
        check_teeth("a pulley", large_teeth)?;
        check_teeth("a belt", belt_teeth)?;
        let [small, large] = [small_teeth, large_teeth].map(|teeth| pitch_diameter_mm(profile, teeth));
        let touching = (small + large) / 2.0 - profile.two_a_mm;
        match OpenBelt::of_length(small, large, profile.pitch_mm * f64::from(belt_teeth)) {
            Some(open) if open.centre_mm > touching => {
                Ok(Self { profile, small_teeth, large_teeth, belt_teeth, open })
            }
            _ => {
                let least = teeth_at(profile, [small_teeth, large_teeth], touching).ceil() as u32;
                Err(NoDrive::TooShort { belt_teeth, small_teeth, large_teeth, least })
            }
        }
    }

    /// Large over small.
    pub fn ratio(&self) -> f64 {
        f64::from(self.large_teeth) / f64::from(self.small_teeth)
    }

    /// Length of the belt, mm.
    pub fn belt_length_mm(&self) -> f64 {
        self.profile.pitch_mm * f64::from(self.belt_teeth)
    }

    /// How many teeth of the small pulley the belt covers, with a fraction.
    pub fn teeth_in_mesh(&self) -> f64 {
        teeth_covered(self.small_teeth, self.open.wraps_rad().0)
    }

    /// Outside diameters of the pulleys, small and large, mm.
    pub fn outside_diameters_mm(&self) -> [f64; 2] {
        [self.open.small_mm, self.open.large_mm].map(|pitch| pitch - self.profile.two_a_mm)
    }

    /// The wheels that the belt goes round, small and large.
    pub fn wheels(&self, centre_mm: f64) -> [Wheel; 2] {
        let wheel = |x, pitch_mm| Wheel { centre: (x, 0.0), radius_mm: pitch_mm / 2.0, side: Side::Inside };
        [wheel(0.0, self.open.small_mm), wheel(centre_mm, self.open.large_mm)]
    }

    /// The belt's way, without an idler.
    pub fn path(&self) -> Result<BeltPath, NoPath> {
        BeltPath::around(&self.wheels(self.open.centre_mm))
    }
}

/// How many teeth of a wheel lie under so much of a turn, with a fraction.
pub fn teeth_covered(teeth: u32, wrap_rad: f64) -> f64 {
    f64::from(teeth) * wrap_rad / TAU
}

/// By how much a belt with so few teeth in mesh may be loaded: 1 from 6 teeth on, 0.2 less for each whole
/// tooth below. Source: from memory, ISO 5295.
pub fn mesh_factor(teeth_in_mesh: f64) -> f64 {
    (1.0 - 0.2 * (USUAL_LEAST_IN_MESH - teeth_in_mesh.floor())).clamp(0.2, 1.0)
}

/// How many teeth a belt round these pulleys has at this centre distance, with a fraction.
///
/// The centre distance must be larger than half the difference of the pitch diameters; below it, what a belt
/// round the large pulley alone has.
pub fn teeth_at(profile: &Profile, teeth: [u32; 2], centre_mm: f64) -> f64 {
    let [small, large] = ordered(teeth).map(|teeth| pitch_diameter_mm(profile, teeth));
    OpenBelt::at(small, large, centre_mm).map_or(PI * large, |open| open.length_mm()) / profile.pitch_mm
}

/// What stands beside the belt.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Surroundings {
    /// Whether the pulleys have flanges.
    pub flanges: bool,
    /// Diameter of the motor's body beside the small pulley, mm.
    pub motor_mm: Option<f64>,
    /// The motor lies behind a plate, so that the large pulley may stand before its body.
    pub motor_behind: bool,
    /// The least gap between bodies, mm.
    pub gap_mm: f64,
}

/// Half widths of what turns or stands on the two axes, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bodies {
    /// The small pulley: its flanges or the belt's back.
    pub small_mm: f64,
    /// The large pulley, likewise.
    pub large_mm: f64,
    /// The motor; 0 without one.
    pub motor_mm: f64,
}

impl Surroundings {
    /// How far a pulley reaches beyond its pitch line, mm: to its flanges' rim or the belt's back.
    pub fn beyond_line_mm(&self, profile: &Profile) -> f64 {
        let flange = tolerance::flange_height_mm(profile).value - line_above_land_mm(profile);
        let back = back_outside_line_mm(profile);
        if self.flanges { flange.max(back) } else { back }
    }

    /// The bodies on the two axes, from the pitch diameters and what [`Self::beyond_line_mm`] says.
    pub fn bodies(&self, small_pitch_mm: f64, large_pitch_mm: f64, beyond_mm: f64) -> Bodies {
        Bodies {
            small_mm: small_pitch_mm / 2.0 + beyond_mm,
            large_mm: large_pitch_mm / 2.0 + beyond_mm,
            motor_mm: self.motor_mm.unwrap_or(0.0) / 2.0,
        }
    }

    /// The shortest centre distance at which the bodies keep their gap, mm.
    pub fn least_centre_mm(&self, bodies: &Bodies) -> f64 {
        let first = if self.motor_behind { bodies.small_mm } else { bodies.small_mm.max(bodies.motor_mm) };
        first + bodies.large_mm + self.gap_mm
    }
}

impl Bodies {
    /// Length along the line of centres and height across it, mm.
    pub fn extent_mm(&self, centre_mm: f64) -> (f64, f64) {
        let first = self.small_mm.max(self.motor_mm);
        let right = (centre_mm + self.large_mm).max(first);
        let left = first.max(self.large_mm - centre_mm);
        (left + right, 2.0 * first.max(self.large_mm))
    }

    /// The longest centre distance with which the drive lies in the room, either way round, mm; `None` where
    /// none does.
    pub fn most_centre_mm(&self, room: &Room) -> Option<f64> {
        let along = |length: f64, across: f64| {
            let (least_length, height) = self.extent_mm(0.0);
            let first = self.small_mm.max(self.motor_mm);
            (across >= height && length >= least_length).then_some(length - first - self.large_mm)
        };
        let (one, other) = (along(room.width_mm, room.height_mm), along(room.height_mm, room.width_mm));
        match (one, other) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (one, other) => one.or(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drive(belt: &str, teeth: [u32; 2], belt_teeth: u32) -> Drive {
        Drive::new(belt_profile(belt).unwrap(), teeth, belt_teeth).unwrap()
    }

    #[test]
    fn the_order_of_the_pulleys_does_not_matter() {
        assert_eq!(drive("XL", [40, 20], 70), drive("xl", [20, 40], 70));
        let found = drive("XL", [20, 40], 70);
        // Worked examples W3 and W5 of the belt tables.
        assert!((found.open.centre_mm - 100.293614).abs() < 5.1e-7);
        assert!((found.teeth_in_mesh() - 8.969091).abs() < 5.1e-7);
        assert_eq!((found.ratio(), found.belt_length_mm()), (2.0, 355.6));
        let few = drive("T5", [10, 60], 68);
        assert_eq!(few.ratio(), 6.0);
        assert!((mesh_factor(few.teeth_in_mesh()) - 0.4).abs() < 1e-12);
        assert_eq!((mesh_factor(6.0), mesh_factor(30.0), mesh_factor(0.5)), (1.0, 1.0, 0.2));
    }

    #[test]
    fn a_belt_too_short_says_which_would_do() {
        let profile = belt_profile("T5").unwrap();
        let error = Drive::new(profile, [20, 40], 30).unwrap_err();
        let said = error.to_string();
        assert_eq!(
            said,
            "a belt of 30 teeth is too short for pulleys of 20 and 40: at 50 teeth their tips touch"
        );
        assert!(Drive::new(profile, [20, 40], 49).is_err() && Drive::new(profile, [20, 40], 50).is_ok());
        assert!(matches!(Drive::new(profile, [2, 40], 90), Err(NoDrive::Teeth { teeth: 2, .. })));
        assert!(matches!(Drive::new(profile, [20, 40], 90_000), Err(NoDrive::Teeth { .. })));
    }

    #[test]
    fn a_profile_without_a_groove_can_be_laid_out_and_an_unknown_one_not() {
        assert_eq!(belt_profile("at5").unwrap().name, "AT5");
        assert!(matches!(belt_profile("XLL"), Err(NoProfile::Unknown { .. })));
    }

    /// XL: back 2.3 - 1.27 - 0.254 mm outside the line, flanges 1.0 mm above the tips.
    #[test]
    fn the_extent_counts_flanges_back_and_motor() {
        let found = drive("XL", [20, 40], 70);
        let [d1, d2] = [found.open.small_mm, found.open.large_mm];
        let plain = Surroundings::default();
        let bodies = plain.bodies(d1, d2, plain.beyond_line_mm(found.profile));
        let (length, height) = bodies.extent_mm(100.0);
        assert!((length - (d1 / 2.0 + d2 / 2.0 + 2.0 * 0.776 + 100.0)).abs() < 1e-12);
        assert!((height - (d2 + 2.0 * 0.776)).abs() < 1e-12);
        let with = Surroundings { flanges: true, motor_mm: Some(42.0), gap_mm: 2.0, ..plain };
        // XL's flanges end 0.03 mm inside the belt's back.
        assert_eq!(with.beyond_line_mm(found.profile), plain.beyond_line_mm(found.profile));
        let bodies = with.bodies(d1, d2, with.beyond_line_mm(found.profile));
        let (length, _) = bodies.extent_mm(100.0);
        assert!((length - (21.0 + 100.0 + d2 / 2.0 + 0.776)).abs() < 1e-12);
        assert!((with.least_centre_mm(&bodies) - (21.0 + d2 / 2.0 + 0.776 + 2.0)).abs() < 1e-12);
        let behind = Surroundings { motor_behind: true, ..with };
        assert!((behind.least_centre_mm(&bodies) - ((d1 + d2) / 2.0 + 1.552 + 2.0)).abs() < 1e-12);
        // A room that holds it one way round holds it the other way round.
        let (length, height) = bodies.extent_mm(100.0);
        for room in [(length, height), (height, length)] {
            let room = Room { width_mm: room.0, height_mm: room.1 };
            assert!((bodies.most_centre_mm(&room).unwrap() - 100.0).abs() < 1e-9);
        }
        assert!(bodies.most_centre_mm(&Room { width_mm: length, height_mm: height - 0.01 }).is_none());
    }

    /// A large motor on the small axis may reach past the large pulley.
    #[test]
    fn a_body_that_holds_the_other_is_the_extent() {
        let bodies = Bodies { small_mm: 5.0, large_mm: 8.0, motor_mm: 50.0 };
        assert_eq!(bodies.extent_mm(20.0), (100.0, 100.0));
        let bodies = Bodies { small_mm: 5.0, large_mm: 30.0, motor_mm: 0.0 };
        assert_eq!(bodies.extent_mm(20.0), (60.0, 60.0));
    }
}
