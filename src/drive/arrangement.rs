//! A drive as it stands: at the centre distance where its belt is right, or at another one with an idler.

use crate::belt::profile::Profile;

use super::idler::{Idler, NoIdler, Placed};
use super::layout::{Drive, Surroundings, line_above_land_mm, teeth_covered};
use super::open::OpenBelt;
use super::path::{BeltPath, NoPath, Side, Wheel};

/// A drive as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrangement {
    /// Pulleys and belt.
    pub drive: Drive,
    /// Centre distance, mm.
    pub centre_mm: f64,
    /// The belt's way: small pulley, large pulley, idler if there is one.
    pub path: BeltPath,
    /// The idler that was asked for, and where it stands.
    pub idler: Option<(Idler, Placed)>,
}

impl Arrangement {
    /// At the centre distance where the belt is right.
    pub fn open(drive: Drive) -> Result<Self, NoPath> {
        Ok(Self { drive, centre_mm: drive.open.centre_mm, path: drive.path()?, idler: None })
    }

    /// At this centre distance, an idler taking up what the belt is longer.
    pub fn with_idler(drive: Drive, centre_mm: f64, idler: Idler) -> Result<Self, NoIdler> {
        let placed = idler.placed(&drive, centre_mm)?;
        Ok(Self { drive, centre_mm, path: placed.path.clone(), idler: Some((idler, placed)) })
    }

    /// The belt's way, and the centre distance, with tips of other radii: the centres move, or the idler does.
    pub fn on_tips(&self, tip_radii_mm: [f64; 2]) -> Result<(BeltPath, f64), NoIdler> {
        let profile: &Profile = self.drive.profile;
        let lines = tip_radii_mm.map(|radius| radius + line_above_land_mm(profile));
        let wheel = |x, radius_mm| Wheel { centre: (x, 0.0), radius_mm, side: Side::Inside };
        if let Some((idler, _)) = &self.idler {
            let wheels = [wheel(0.0, lines[0]), wheel(self.centre_mm, lines[1])];
            let placed = idler.placed_beside(profile, wheels, self.drive.belt_teeth)?;
            return Ok((placed.path, self.centre_mm));
        }
        // Equal pulleys may print unequal, either way round.
        let [small, large] = [lines[0].min(lines[1]), lines[0].max(lines[1])];
        let open = OpenBelt::of_length(2.0 * small, 2.0 * large, self.drive.belt_length_mm())
            .ok_or(NoPath::TooClose { first: 0, second: 1 })?;
        let path = BeltPath::around(&[wheel(0.0, lines[0]), wheel(open.centre_mm, lines[1])])?;
        Ok((path, open.centre_mm))
    }

    /// Angles that the belt covers on the small and on the large pulley, radians.
    pub fn wraps_rad(&self) -> (f64, f64) {
        (self.path.arcs[0].wrap_rad, self.path.arcs[1].wrap_rad)
    }

    /// Teeth of the small pulley that the belt covers, with a fraction.
    pub fn teeth_in_mesh(&self) -> f64 {
        teeth_covered(self.drive.small_teeth, self.wraps_rad().0)
    }

    /// Length along the line of centres and height across it of all that stands beside the belt, mm: from the
    /// leftmost, lowest corner to the rightmost, highest one.
    pub fn corners_mm(&self, surroundings: &Surroundings) -> [(f64, f64); 2] {
        let drive = &self.drive;
        let beyond = surroundings.beyond_line_mm(drive.profile);
        let bodies = surroundings.bodies(drive.open.small_mm, drive.open.large_mm, beyond);
        let first = bodies.small_mm.max(bodies.motor_mm);
        let mut round = vec![((0.0, 0.0), first), ((self.centre_mm, 0.0), bodies.large_mm)];
        if let Some((_, placed)) = &self.idler {
            // Of an idler inside, the belt's back is what stands out furthest.
            let back = super::layout::back_outside_line_mm(drive.profile);
            let reach = match placed.wheel.side {
                Side::Inside => placed.wheel.radius_mm + back,
                Side::Back => placed.rim_mm / 2.0,
            };
            round.push((placed.wheel.centre, reach));
        }
        let least = |of: fn(&((f64, f64), f64)) -> f64| round.iter().map(of).fold(f64::INFINITY, f64::min);
        let most = |of: fn(&((f64, f64), f64)) -> f64| round.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        [
            (least(|(centre, radius)| centre.0 - radius), least(|(centre, radius)| centre.1 - radius)),
            (most(|(centre, radius)| centre.0 + radius), most(|(centre, radius)| centre.1 + radius)),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::idler::Rim;
    use crate::drive::layout::belt_profile;

    #[test]
    fn larger_tips_bring_the_centres_closer_or_move_the_idler() {
        let drive = Drive::new(belt_profile("T5").unwrap(), [20, 25], 66).unwrap();
        let open = Arrangement::open(drive).unwrap();
        let tips = drive.outside_diameters_mm().map(|diameter| diameter / 2.0);
        let (path, centre) = open.on_tips(tips).unwrap();
        assert!((path.length_mm - 330.0).abs() < 1e-9 && (centre - drive.open.centre_mm).abs() < 1e-9);
        let (path, centre) = open.on_tips(tips.map(|radius| radius + 0.1)).unwrap();
        let slope: f64 = drive.open.centre_per_diameter().0 + drive.open.centre_per_diameter().1;
        assert!((path.length_mm - 330.0).abs() < 1e-9);
        assert!((centre - drive.open.centre_mm - 0.2 * slope).abs() < 1e-4);

        let idler = Idler { side: Side::Back, rim: Rim::Plain(12.0), along: 0.3 };
        let with = Arrangement::with_idler(drive, 104.0, idler).unwrap();
        let (path, centre) = with.on_tips(tips.map(|radius| radius + 0.1)).unwrap();
        assert!((path.length_mm - 330.0).abs() < 1e-9 && centre == 104.0);
        // Less is left to take up, so the idler presses less: higher up.
        assert!(path.arcs[2].wheel.centre.1 > with.path.arcs[2].wheel.centre.1);
        assert!(with.teeth_in_mesh() > open.teeth_in_mesh());
    }

    #[test]
    fn the_corners_agree_with_the_extent_that_the_search_uses() {
        let drive = Drive::new(belt_profile("T5").unwrap(), [20, 40], 100).unwrap();
        let surroundings = Surroundings { flanges: true, motor_mm: Some(42.0), ..Surroundings::default() };
        let [low, high] = Arrangement::open(drive).unwrap().corners_mm(&surroundings);
        let bodies = surroundings.bodies(
            drive.open.small_mm,
            drive.open.large_mm,
            surroundings.beyond_line_mm(drive.profile),
        );
        let (length, height) = bodies.extent_mm(drive.open.centre_mm);
        assert!((high.0 - low.0 - length).abs() < 1e-12 && (high.1 - low.1 - height).abs() < 1e-12);
    }
}
