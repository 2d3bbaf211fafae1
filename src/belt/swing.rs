//! How a belt tooth comes in from the straight belt: whether it clears the groove's tips on its way.
//!
//! *Picture*: until its middle is where the belt touches the pulley, a tooth is carried along by the straight
//! belt, while its groove turns towards it. Seen from the groove the straight belt rolls on the pulley's pitch
//! circle as a rack does ([`super::rack`]): with the pulley still to turn by `t`, a point `(x, y)` of the
//! seated tooth is at `turn(t) (x + r t, y)`, `r` the radius of the belt's line. So its corners come down between
//! the tips in curves, and a groove wide enough for the seated tooth may yet be too narrow for its way in.
//!
//! The tooth is stiff, and stands as on the straight belt, the middle of its root on the circle of the tips. Where
//! the belt leaves, teeth swing out by the mirror image of the same way. Found within about 0.0005 mm, which the
//! chords of the groove's outline and the steps of the way make.

use super::tooth::{Place, Socket, distance};
use super::walls::turned;

/// The closest that a tooth comes to the groove on its way in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwingIn {
    /// The least play, mm; negative where it rubs.
    pub least_mm: f64,
    /// What of the tooth comes so close.
    pub place: Place,
    /// How far the pulley has then still to turn until the tooth is in, radians.
    pub before_rad: f64,
}

impl Socket {
    /// The way in of a tooth that will stand this far ahead of its groove, on a belt whose line has this radius.
    pub fn swing_in(&self, ahead_rad: f64, line_radius_mm: f64) -> SwingIn {
        const STEPS: u32 = 24;
        const FINER: i32 = 10;
        let tip = self.tip_radius_mm;
        // Its foremost corner is still outside the tips where the crest's middle line would just enter them.
        let crest = self.straight.last().map_or(tip, |(_, y)| *y);
        let root = self.straight.first().map_or(0.0, |(x, _)| *x);
        let begin = ((tip * tip - crest * crest).max(0.0).sqrt() + root) / line_radius_mm;
        let step = begin / f64::from(STEPS);
        let closest = |turns: &mut dyn Iterator<Item = f64>| {
            let start = SwingIn { least_mm: f64::INFINITY, place: Place::Crest, before_rad: 0.0 };
            turns.fold(start, |least, turn| self.closer(least, ahead_rad, line_radius_mm, turn))
        };
        let coarse = closest(&mut (0..=STEPS).map(|i| step * f64::from(i)));
        let near = (-FINER..=FINER).map(|i| coarse.before_rad + step * f64::from(i) / f64::from(FINER));
        closest(&mut near.filter(|turn| (0.0..=begin).contains(turn)))
    }

    /// What is closer: this, or a point of the tooth with the pulley still to turn by `turn`.
    fn closer(&self, least: SwingIn, ahead_rad: f64, line_radius_mm: f64, turn: f64) -> SwingIn {
        let pitch = 2.0 * self.half_pitch_rad;
        let points = self.straight.iter().enumerate().flat_map(|(index, &(x, y))| {
            let place = |flank| if index < self.side { flank } else { Place::Crest };
            [(x, y, place(Place::TrailingFlank)), (-x, y, place(Place::LeadingFlank))]
        });
        points.fold(least, |least, (x, y, place)| {
            let point = turned((x + line_radius_mm * turn, y), turn + ahead_rad);
            // No nearer than the circle of the tips is.
            if point.0.hypot(point.1) - self.tip_radius_mm >= least.least_mm {
                return least;
            }
            // Over the next groove it looks at that one's walls, which are the same.
            let over = (point.0.atan2(point.1) / pitch).round() * pitch;
            let least_mm = distance(turned(point, over), &self.outline);
            if least_mm < least.least_mm { SwingIn { least_mm, place, before_rad: turn } } else { least }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::profile;
    use crate::belt::pulley::Pulley;
    use crate::belt::rack::Flank;
    use crate::belt::tooth::BeltTooth;

    fn swing(
        pulley: &Pulley,
        change: impl Fn(&crate::belt::groove::Groove) -> crate::belt::groove::Groove,
    ) -> SwingIn {
        let tooth = BeltTooth::of(pulley.profile).unwrap();
        Socket::new(&change(&pulley.groove), tooth).swing_in(0.0, pulley.pitch_diameter_mm / 2.0)
    }

    /// The belt's own tooth, as published, comes into every standard pulley. The straight-sided grooves of XH and
    /// XXH, which are from memory, are the exception: deep and steep, they are too narrow at the tips for a stiff
    /// tooth below 33 and 41 teeth; their involutes, from a rack, are not.
    #[test]
    fn standard_pulleys_come_out_clear() {
        /// The last digit that tables print, and what this way of looking leaves open.
        const SLIP_MM: f64 = 0.0025;
        let least = |name, teeth, flank| {
            let pulley = Pulley::with_flanks(name, teeth, flank, true).ok()?;
            Some(swing(&pulley, |groove| *groove).least_mm)
        };
        for name in profile::usable() {
            for flank in [Flank::Straight, Flank::Involute] {
                let is_heavy = matches!(name, "XH" | "XXH") && flank == Flank::Straight;
                for teeth in [10, 12, 14, 18, 20, 24, 45, 72] {
                    let clear = least(name, teeth, flank).is_none_or(|mm| mm > -SLIP_MM);
                    assert!(clear || (is_heavy && teeth < 41), "{name} {teeth} {flank:?}");
                }
            }
        }
        for (name, first_clear) in [("XH", 33), ("XXH", 41)] {
            let [rubs, clears] =
                [first_clear - 1, first_clear].map(|teeth| least(name, teeth, Flank::Straight));
            assert!(rubs.unwrap() < 0.0 && clears.unwrap() > 0.0, "{name} {rubs:?} {clears:?}");
        }
    }

    /// An involute groove is all that the rack leaves: a tooth of the rack's own form clears it on its whole way
    /// in by what it is narrower, and no more.
    #[test]
    fn on_its_way_into_an_involute_groove_a_tooth_keeps_the_racks_play() {
        for (belt, teeth) in [("XL", 12), ("XL", 40), ("H", 20), ("L", 30)] {
            let pulley = Pulley::with_flanks(belt, teeth, Flank::Involute, true).unwrap();
            let (rack, tooth) = (pulley.rack.unwrap(), BeltTooth::of(pulley.profile).unwrap());
            let top = rack.tip_width_mm + 2.0 * rack.height_mm * rack.half_angle_rad.tan();
            let play = (top - tooth.root_width_mm) / 2.0 * rack.half_angle_rad.cos();
            let way = swing(&pulley, |groove| *groove);
            assert!((way.least_mm - play).abs() < 7e-4, "{belt} {teeth}: {way:?} for {play}");
        }
    }

    /// A tooth that swings in passes the groove's mouth aslant: a groove of few teeth has less room for it than for
    /// the tooth that is in.
    #[test]
    fn the_way_in_is_narrower_than_the_place() {
        for teeth in [10, 20, 40] {
            let pulley = Pulley::standard("T5", teeth, true).unwrap();
            let seated =
                Socket::new(&pulley.groove, BeltTooth::of(pulley.profile).unwrap()).play(0.0).least().0;
            let way = swing(&pulley, |groove| *groove);
            assert!(way.least_mm < seated && way.before_rad > 0.0, "{teeth} {way:?} {seated}");
        }
        // Walls that swell by 0.1 mm take 0.1 mm of the way, too, and then the tooth rubs.
        let pulley = Pulley::standard("T5", 20, false).unwrap();
        let (free, tight) =
            (swing(&pulley, |groove| *groove), swing(&pulley, |groove| groove.grown(0.0, 0.1)));
        assert!(
            (free.least_mm - tight.least_mm - 0.1).abs() < 2e-2 && tight.least_mm < 0.0,
            "{free:?} {tight:?}"
        );
    }
}
