//! A third wheel on the upper span, which takes up what the belt is longer than the open drive needs.
//!
//! A plain wheel on the back carries the belt's back, one on the inside the tips of its teeth; the neutral line
//! lies so much further out. A toothed wheel inside has its pitch radius. The wheel's place along the line of
//! centres is given, and its height is found: on the back it presses down, on the inside up. The path grows
//! all the way from where the wheel touches to where it meets something, so there is one such height.
//!
//! Common practice, no source: the wheel sits on the slack strand; on the back near the small pulley, whose
//! wrap it adds to, and no smaller than that pulley; on the inside near the large one. A wheel on the back
//! is plain.

use crate::belt::profile::Profile;
use crate::belt::walls::Point;

use super::layout::{Drive, back_outside_line_mm, line_above_land_mm, pitch_diameter_mm};
use super::path::{BeltPath, NoPath, Side, Wheel};
use super::root::bracketed_newton;

/// What the wheel is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rim {
    /// Plain, of this diameter, mm.
    Plain(f64),
    /// Toothed, with so many teeth; on the inside only.
    Toothed(u32),
}

/// A wheel to be placed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Idler {
    /// On which side of the belt.
    pub side: Side,
    /// What it is.
    pub rim: Rim,
    /// Its place along the line of centres, as a share of the centre distance from the small pulley.
    pub along: f64,
}

/// Why the wheel cannot do what is asked of it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoIdler {
    /// The belt is not longer than the open drive needs.
    #[error(
        "a belt of {belt_teeth} teeth leaves nothing to take up at {centre_mm:.2} mm: the open drive needs \
         {needed:.2} teeth"
    )]
    NothingLeft {
        /// Teeth of the belt.
        belt_teeth: u32,
        /// The centre distance, mm.
        centre_mm: f64,
        /// Teeth that the open drive needs.
        needed: f64,
    },
    /// The wheel would have to go further than there is room.
    #[error(
        "the idler takes up {most:.2} teeth at most before it meets {what}, and {wanted:.2} are left over"
    )]
    NoRoom {
        /// Teeth that it can take up.
        most: f64,
        /// Teeth that it should take up.
        wanted: f64,
        /// What it meets.
        what: &'static str,
    },
    /// The wheel does not stand between the pulleys.
    #[error(
        "an idler of {diameter_mm:.2} mm does not stand clear of both pulleys at {along_mm:.2} mm of {centre_mm:.2} mm"
    )]
    NotBetween {
        /// Its diameter, mm.
        diameter_mm: f64,
        /// Its place, mm from the small pulley's axis.
        along_mm: f64,
        /// The centre distance, mm.
        centre_mm: f64,
    },
    /// Where it would take up the belt, it meets a pulley or the other span.
    #[error(
        "an idler of {diameter_mm:.2} mm would meet a pulley or the other span at {along_mm:.2} mm along and \
         {above_mm:.2} mm above the line of centres"
    )]
    NotClear {
        /// Its diameter, mm.
        diameter_mm: f64,
        /// Its place along the line of centres, mm.
        along_mm: f64,
        /// Above it, mm.
        above_mm: f64,
    },
    /// A toothed wheel on the back, where there are no teeth.
    #[error("a toothed idler on the back of the belt would find no teeth there")]
    TeethOnBack,
    /// No belt goes round the wheels.
    #[error(transparent)]
    Path(#[from] NoPath),
}

impl NoIdler {
    /// What the person can do about it.
    pub fn help(&self) -> Option<&'static str> {
        match self {
            Self::NothingLeft { .. } => Some("take a longer belt, or bring the pulleys closer"),
            Self::NoRoom { .. } => {
                Some("take a shorter belt, another --idler-along, or the other side of the belt")
            }
            Self::NotBetween { .. } | Self::NotClear { .. } => {
                Some("take a smaller wheel, another --idler-along, or the other side of the belt")
            }
            Self::TeethOnBack => Some("give --idler-diameter, or put it on the inside"),
            Self::Path(_) => None,
        }
    }
}

/// The wheel in its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The wheel as the neutral line goes round it.
    pub wheel: Wheel,
    /// Diameter of its rim, mm: over the tips of a toothed one.
    pub rim_mm: f64,
    /// The belt's way: small pulley, large pulley, idler.
    pub path: BeltPath,
    /// How far it must move for each millimetre of belt, mm.
    pub travel_per_mm: f64,
}

impl Idler {
    /// Radius of the belt's neutral line on it, mm, and its rim's diameter.
    fn radii(&self, profile: &Profile) -> Result<(f64, f64), NoIdler> {
        Ok(match (self.rim, self.side) {
            (Rim::Plain(diameter), Side::Back) => (diameter / 2.0 + back_outside_line_mm(profile), diameter),
            (Rim::Plain(diameter), Side::Inside) => {
                let tips = profile.belt.tooth_height_mm + line_above_land_mm(profile);
                (diameter / 2.0 + tips, diameter)
            }
            (Rim::Toothed(teeth), Side::Inside) => {
                let pitch = pitch_diameter_mm(profile, teeth);
                (pitch / 2.0, pitch - profile.two_a_mm)
            }
            (Rim::Toothed(_), Side::Back) => return Err(NoIdler::TeethOnBack),
        })
    }

    /// Where the wheel must stand so that the drive's belt is right at this centre distance.
    pub fn placed(&self, drive: &Drive, centre_mm: f64) -> Result<Placed, NoIdler> {
        self.placed_beside(drive.profile, drive.wheels(centre_mm), drive.belt_teeth)
    }

    /// The same for pulleys that the belt's neutral line goes round on these radii, small and large.
    pub fn placed_beside(
        &self,
        profile: &Profile,
        [small, large]: [Wheel; 2],
        belt_teeth: u32,
    ) -> Result<Placed, NoIdler> {
        let (radius_mm, rim_mm) = self.radii(profile)?;
        let centre_mm = large.centre.0;
        let x = self.along * centre_mm;
        let pitch = profile.pitch_mm;
        let wanted_mm = pitch * f64::from(belt_teeth);
        let open_mm = BeltPath::around(&[small, large])?.length_mm;
        if wanted_mm < open_mm {
            return Err(NoIdler::NothingLeft { belt_teeth, centre_mm, needed: open_mm / pitch });
        }
        let wheels = |y: f64| [small, large, Wheel { centre: (x, y), radius_mm, side: self.side }];
        let (touching, furthest, what) =
            self.reach(&small, &large, x, radius_mm, profile).ok_or_else(|| {
                let diameter_mm = 2.0 * radius_mm;
                NoIdler::NotBetween { diameter_mm, along_mm: x, centre_mm }
            })?;
        let most_mm = BeltPath::around(&wheels(furthest))?.length_mm;
        if most_mm < wanted_mm {
            let (most, wanted) = ((most_mm - open_mm) / pitch, (wanted_mm - open_mm) / pitch);
            return Err(NoIdler::NoRoom { most, wanted, what });
        }
        // Pressed in by `depth`, whichever way that is.
        let inwards = (furthest - touching).signum();
        let excess = |depth: f64| match BeltPath::around(&wheels(touching + inwards * depth)) {
            Ok(path) => (path.length_mm - wanted_mm, inwards * path.growth(2).1),
            // A hair short of touching.
            Err(_) => (open_mm - wanted_mm, 0.0),
        };
        let most_depth = (furthest - touching).abs();
        let depth = bracketed_newton(excess, 0.0, most_depth, most_depth / 2.0);
        let y = touching + inwards * depth;
        let path = BeltPath::around(&wheels(y))?;
        let crosses = self.side == Side::Inside && y < lowest_inside(&small, &large, x, radius_mm, profile);
        if crosses || !clear(&small, (x, y), radius_mm) || !clear(&large, (x, y), radius_mm) {
            return Err(NoIdler::NotClear { diameter_mm: rim_mm, along_mm: x, above_mm: y });
        }
        let growth = path.growth(2).1.abs();
        Ok(Placed {
            wheel: wheels(y)[2],
            rim_mm,
            // Where it only just touches, no finite travel takes up anything.
            travel_per_mm: if growth > 1e-9 { 1.0 / growth } else { f64::INFINITY },
            path,
        })
    }

    /// The heights at which the wheel touches the upper span and at which it meets something, and what.
    ///
    /// `None` where it cannot even touch without meeting a pulley.
    fn reach(
        &self,
        small: &Wheel,
        large: &Wheel,
        x: f64,
        radius_mm: f64,
        profile: &Profile,
    ) -> Option<(f64, f64, &'static str)> {
        let slant = ((large.radius_mm - small.radius_mm) / large.centre.0).asin();
        // The upper span's neutral line at x, and the wheel's centre so much off it.
        let span_at = |off: f64| (small.radius_mm + off) / slant.cos() + x * slant.tan();
        let over_teeth = profile.belt.tooth_height_mm + line_above_land_mm(profile);
        let (touching, furthest, what) = match self.side {
            Side::Back => {
                // Down to the teeth of the lower span, a tooth's height of air between.
                let lower = -span_at(0.0) + 2.0 * over_teeth;
                let body = radius_mm / slant.cos();
                (span_at(radius_mm), lower + body, "the other span")
            }
            // Outside nothing is in the way; as far up as the drive is long is as good as no limit.
            Side::Inside => (span_at(-radius_mm), span_at(-radius_mm) + large.centre.0, "anything"),
        };
        let apart = |y: f64| clear(small, (x, y), radius_mm) && clear(large, (x, y), radius_mm);
        let inwards = if self.side == Side::Back { -1.0 } else { 1.0 };
        if !apart(touching) || (furthest - touching) * inwards <= 0.0 {
            return None;
        }
        // On its way in, a wheel on the back may meet a pulley first; where, by Pythagoras.
        let meets = |wheel: &Wheel| {
            let reach = wheel.radius_mm + radius_mm;
            let dx = x - wheel.centre.0;
            (dx.abs() < reach).then(|| (reach * reach - dx * dx).sqrt())
        };
        let stop = [small, large].into_iter().filter_map(meets).fold(f64::NEG_INFINITY, f64::max);
        if self.side == Side::Back && stop > furthest {
            return (stop < touching).then_some((touching, stop + 1e-9, "a pulley"));
        }
        Some((touching, furthest, what))
    }
}

/// Whether the belt's neutral lines on a pulley and on a wheel here keep apart, and so do their rims, which
/// lie within them.
fn clear(pulley: &Wheel, at: Point, radius_mm: f64) -> bool {
    let (dx, dy) = (at.0 - pulley.centre.0, at.1 - pulley.centre.1);
    dx.hypot(dy) > pulley.radius_mm + radius_mm
}

/// How low a wheel inside may stand before its rim meets the teeth of the lower span.
fn lowest_inside(small: &Wheel, large: &Wheel, x: f64, radius_mm: f64, profile: &Profile) -> f64 {
    let slant = ((large.radius_mm - small.radius_mm) / large.centre.0).asin();
    // Its neutral line lies a tooth and the line's height above the rim, as the lower span's does.
    let over_teeth = profile.belt.tooth_height_mm + line_above_land_mm(profile);
    (radius_mm + over_teeth - small.radius_mm) / slant.cos() - x * slant.tan()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::layout::belt_profile;

    fn drive(belt: &str, teeth: [u32; 2], belt_teeth: u32) -> Drive {
        Drive::new(belt_profile(belt).unwrap(), teeth, belt_teeth).unwrap()
    }

    fn back(diameter: f64, along: f64) -> Idler {
        Idler { side: Side::Back, rim: Rim::Plain(diameter), along }
    }

    #[test]
    fn the_belt_is_right_with_the_idler_in_its_place() {
        // The belt of 66 teeth is right at 107.4 mm; at 105 mm an idler takes up the rest.
        for idler in [
            back(12.0, 0.3),
            back(22.0, 0.5),
            Idler { side: Side::Inside, ..back(12.0, 0.7) },
            Idler { side: Side::Inside, rim: Rim::Toothed(14), along: 0.5 },
        ] {
            let drive = drive("T5", [20, 25], 66);
            let placed = idler.placed(&drive, 105.0).unwrap();
            assert!((placed.path.length_mm - 330.0).abs() < 1e-10, "{idler:?}");
            let wraps: Vec<f64> = placed.path.arcs.iter().map(|arc| arc.wrap_rad).collect();
            let turned = match idler.side {
                Side::Back => wraps[0] + wraps[1] - wraps[2],
                Side::Inside => wraps[0] + wraps[1] + wraps[2],
            };
            assert!((turned - std::f64::consts::TAU).abs() < 1e-12, "{idler:?}");
            assert!(wraps[2] > 0.05, "{idler:?}");
        }
    }

    #[test]
    fn an_idler_on_the_back_adds_wrap_and_one_inside_takes_it() {
        let drive = drive("T5", [20, 25], 66);
        let open = drive.wheels(105.0);
        let plain = BeltPath::around(&open).unwrap().arcs[0].wrap_rad;
        let on_back = back(12.0, 0.3).placed(&drive, 105.0).unwrap();
        let inside = Idler { side: Side::Inside, ..back(12.0, 0.3) }.placed(&drive, 105.0).unwrap();
        assert!(on_back.path.arcs[0].wrap_rad > plain && inside.path.arcs[0].wrap_rad < plain);
        // The back is carried 0.5775 mm inside the neutral line, the tooth tips 1.6225 mm: T5.
        assert!((on_back.wheel.radius_mm - 6.5775).abs() < 1e-12);
        assert!((inside.wheel.radius_mm - 7.6225).abs() < 1e-12);
    }

    #[test]
    fn the_travel_is_what_a_longer_belt_takes() {
        let (shorter, longer) = (drive("T5", [20, 25], 66), drive("T5", [20, 25], 66));
        let placed = back(12.0, 0.4).placed(&shorter, 104.0).unwrap();
        // A centre distance closer by c leaves 2 cos phi c of the belt over.
        let c = 1e-4;
        let moved = back(12.0, 0.4 * 104.0 / (104.0 - c)).placed(&longer, 104.0 - c).unwrap();
        let per_mm = (placed.wheel.centre.1 - moved.wheel.centre.1) / (2.0 * c);
        // Good to the slant of the idler's own spans, a few per cent.
        assert!((per_mm / placed.travel_per_mm - 1.0).abs() < 0.05, "{per_mm} {}", placed.travel_per_mm);
    }

    #[test]
    fn what_an_idler_cannot_do_is_said() {
        let right = drive("T5", [20, 25], 66);
        let error = back(12.0, 0.5).placed(&right, right.open.centre_mm + 1.0).unwrap_err();
        assert!(matches!(error, NoIdler::NothingLeft { .. }), "{error}");
        let error = back(12.0, 0.5).placed(&right, 70.0).unwrap_err();
        assert!(matches!(error, NoIdler::NoRoom { .. }), "{error}");
        let within = Idler { side: Side::Inside, ..back(30.0, 0.1) };
        let error = within.placed(&right, 100.0).unwrap_err();
        assert!(matches!(error, NoIdler::NotBetween { .. }), "{error}");
        // Wider than the drive is between its spans.
        let wide = Idler { side: Side::Inside, rim: Rim::Plain(34.0), along: 0.5 };
        let long = drive("T5", [20, 20], 166);
        let error = wide.placed(&long, long.open.centre_mm - 0.1).unwrap_err();
        assert!(matches!(error, NoIdler::NotClear { .. }), "{error}");
        let toothed = Idler { rim: Rim::Toothed(14), ..back(12.0, 0.5) };
        assert_eq!(toothed.placed(&right, 105.0).unwrap_err(), NoIdler::TeethOnBack);
    }
}
