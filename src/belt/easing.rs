//! Tips of involute teeth eased to what a bead of plastic can follow.
//!
//! The rack's rounding leaves a curve that turns the more tightly the nearer it comes to the flank; on few
//! teeth the two cross before they touch, in a corner. No printed line turns more sharply than half its own
//! width, so such a tip is never printed as the rack makes it. Rounded it does no harm: it is where a belt's
//! tooth has most room, and plastic is only ever taken away. So the wanted tooth is the one that can be
//! printed: what a disc of [`HALF_LINE_MM`] reaches that is rolled along the inside of the generated tooth.
//!
//! *Picture*: the curves moved inwards by the disc's radius cross in the disc's centre. From there an arc of
//! that radius is tangent to the flank and to the rack's rounding, or to the tip where nothing is left of the
//! rounding. Curves moved inwards are again those of a moved rack, so one way finds corner and arc, and growing
//! or scaling an eased tooth gives an eased tooth ([`Groove::grown`]).

use std::f64::consts::FRAC_PI_2;

use super::groove::Groove;
use super::rack::Tool;
use super::walls::{Ease, Point};

/// Half the line of a 0.4 mm nozzle, mm: no outer corner turns more sharply. Common practice, no source.
pub const HALF_LINE_MM: f64 = 0.2;

/// The share of a generated flank that easing leaves at the least: less is used up where a setup moves tips and
/// grooves unevenly, as in the 200 setups of `tests/pulley_outline.rs`.
const LEAST_FLANK: f64 = 0.5;

/// How the rounding at a tip ends at the flank.
pub(super) enum TipEnd {
    /// Flank and rounding touch where the rack's normal has this direction.
    Smooth { end_rad: f64 },
    /// They cross; the flank's rolling there.
    Corner { end_rad: f64, roll: f64 },
    /// An arc about this centre joins the flank and the rounding, or the tip where there is no `end_rad`.
    Eased { end_rad: Option<f64>, roll: f64, centre: Point },
    /// Flank and tip meet in a sharp corner.
    Sharp { roll: f64 },
}

impl Groove {
    /// How the right-hand rounding at the tip ends.
    pub(super) fn tip_end(&self, rolling_radius: f64) -> TipEnd {
        let radius = self.ease_radius_mm;
        let inner = Self {
            outside_radius_mm: self.outside_radius_mm - radius,
            flank_mm: self.flank_mm - radius,
            tip_radius_mm: self.tip_radius_mm - radius,
            ease_radius_mm: 0.0,
            ..*self
        };
        match inner.tip_rounding_end(rolling_radius) {
            Some((end_rad, None)) => TipEnd::Smooth { end_rad },
            Some((end_rad, Some(roll))) if radius <= 0.0 => TipEnd::Corner { end_rad, roll },
            Some((end_rad, Some(roll))) => {
                let tool = Tool::Arc { centre: inner.tip_centre(), radius: inner.tip_radius_mm };
                let centre = tool.cut(rolling_radius, end_rad).0;
                TipEnd::Eased { end_rad: Some(end_rad), roll, centre }
            }
            None => {
                let roll = inner.roll_at(rolling_radius, inner.outside_radius_mm);
                if radius <= 0.0 {
                    return TipEnd::Sharp { roll };
                }
                TipEnd::Eased { end_rad: None, roll, centre: inner.outer_corner() }
            }
        }
    }

    /// The arc about `centre` from the end of the rounding to the flank's normal, and half the angle of the
    /// groove where its tips begin.
    pub(super) fn ease(
        &self,
        rolling_radius: f64,
        end_rad: Option<f64>,
        centre: Point,
        flank_normal: Point,
    ) -> (Ease, f64) {
        let tool = Tool::Arc { centre: self.tip_centre(), radius: self.tip_radius_mm };
        let half_groove_rad = match end_rad {
            Some(_) => self.tip_centre().0 / rolling_radius,
            None => centre.0.atan2(centre.1),
        };
        let begin = FRAC_PI_2 - half_groove_rad;
        let from_rad = end_rad.map_or(begin, |end_rad| {
            let (x, y) = tool.cut(rolling_radius, end_rad).1;
            y.atan2(x)
        });
        let to_rad = flank_normal.1.atan2(flank_normal.0);
        // Rounding and arc each take the share of the way that they take of the turn.
        let share = if end_rad.is_some() { (from_rad - begin) / (to_rad - begin) } else { 0.0 };
        let ease = Ease { share, centre, radius: self.ease_radius_mm, from_rad, to_rad };
        (ease, half_groove_rad)
    }

    /// The same teeth with their tips eased by a disc of [`HALF_LINE_MM`], or a smaller one where that would take
    /// more than [`LEAST_FLANK`] leaves, as on MXL with 12 teeth.
    pub(super) fn eased(&self) -> Self {
        const HALVINGS: usize = 40;
        let with = |ease_radius_mm: f64| Self { ease_radius_mm, ..*self };
        let generated = self.as_generated().flank_roll_mm();
        let leaves_enough = |radius: f64| with(radius).flank_roll_mm() >= LEAST_FLANK * generated;
        if leaves_enough(HALF_LINE_MM) {
            return with(HALF_LINE_MM);
        }
        let (mut low, mut high) = (0.0, HALF_LINE_MM);
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            *if leaves_enough(middle) { &mut low } else { &mut high } = middle;
        }
        with(low)
    }

    /// How far the rack rolls along its pitch line while it cuts the flank, mm; negative where rounding and
    /// fillet have run into each other.
    pub(super) fn flank_roll_mm(&self) -> f64 {
        let Some(rolling_radius) = self.rolling_radius_mm else { return f64::INFINITY };
        let (tip, root) = self.flank_rolls(rolling_radius, &self.tip_end(rolling_radius));
        (tip - root) * rolling_radius
    }

    /// The same teeth as the rack makes them, corners and all.
    #[must_use]
    pub fn as_generated(&self) -> Self {
        Self { ease_radius_mm: 0.0, ..*self }
    }

    /// How far the eased tips stand behind those that the rack makes, mm; `None` where nothing is eased.
    pub fn tip_easing_mm(&self) -> Option<f64> {
        /// Places looked at along a generated wall.
        const PLACES: usize = 64;
        if !matches!(self.tip_end(self.rolling_radius_mm?), TipEnd::Eased { .. }) {
            return None;
        }
        let eased = self.walls();
        let [rounding, flank, ..] = self.as_generated().walls();
        let far =
            |place: Point| eased[..2].iter().map(|wall| wall.distance(place)).fold(f64::INFINITY, f64::min);
        let places = (0..=PLACES).map(|i| i as f64 / PLACES as f64);
        Some(places.flat_map(|share| [rounding, flank].map(|wall| far(wall.at(share).0))).fold(0.0, f64::max))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::pulley::Pulley;
    use crate::belt::rack::Flank;

    fn involute(belt: &str, teeth: u32) -> Groove {
        Pulley::with_flanks(belt, teeth, Flank::Involute, true).unwrap().groove
    }

    /// The least radius of three neighbouring places on the tip and its rounding.
    fn least_radius(groove: &Groove) -> f64 {
        let [rounding, flank, ..] = groove.walls();
        let places: Vec<Point> = (0..=200)
            .map(|i| rounding.at(f64::from(i) / 200.0).0)
            .chain((1..=20).map(|i| flank.at(f64::from(i) / 400.0).0))
            .collect();
        let radius = |a: Point, b: Point, c: Point| {
            let (ab, bc, ca) = [(a, b), (b, c), (c, a)].map(|(p, q)| (p.0 - q.0).hypot(p.1 - q.1)).into();
            let area: f64 = (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
            ab * bc * ca / (2.0 * area)
        };
        places
            .windows(3)
            .map(|w| radius(w[0], w[1], w[2]))
            .filter(|radius| *radius > 0.0)
            .fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn no_eased_tip_turns_more_tightly_than_half_a_line() {
        for (belt, teeth) in
            [("MXL", 12), ("MXL", 24), ("MXL", 72), ("XXL", 16), ("XL", 12), ("XL", 20), ("H", 14)]
        {
            let groove = involute(belt, teeth);
            let least = least_radius(&groove);
            assert!(least > groove.ease_radius_mm - 2e-3, "{belt} {teeth}: {least}");
            assert!(least_radius(&groove.as_generated()) < 0.19, "{belt} {teeth}: nothing to ease");
        }
    }

    #[test]
    fn eased_walls_run_on_smoothly() {
        for (belt, teeth) in [("MXL", 12), ("MXL", 20), ("MXL", 40), ("XL", 12), ("XXL", 12), ("XXH", 18)] {
            let groove = involute(belt, teeth);
            let walls = groove.walls();
            let next_pitch = walls[0].turned(2.0 * groove.half_pitch_rad());
            for (wall, next) in walls.iter().zip(walls[1..].iter().chain([&next_pitch])) {
                let (((x, y), n), ((to_x, to_y), to_n)) = (wall.at(1.0), next.at(0.0));
                assert!((x - to_x).hypot(y - to_y) < 1e-9, "{belt} {teeth} {wall:?} {next:?}");
                assert!((n.0 - to_n.0).hypot(n.1 - to_n.1) < 1e-9, "{belt} {teeth} {wall:?} {next:?}");
            }
            // And so where the rounding passes into the arc.
            let parts: Vec<_> = walls[0].parts().into_iter().flatten().collect();
            if let [rounding, arc] = parts[..] {
                let ((a, n), (b, m)) = (rounding.at(1.0), arc.at(0.0));
                assert!((a.0 - b.0).hypot(a.1 - b.1) < 1e-9 && (n.0 - m.0).hypot(n.1 - m.1) < 1e-9);
            }
        }
    }

    /// That easing only takes away is shown by the rolled rack, in `belt::rack`.
    #[test]
    fn tips_are_eased_by_less_than_the_racks_own_tolerance() {
        let mut smaller = Vec::new();
        for belt in ["MXL", "XXL", "XL", "L", "H", "XH", "XXH"] {
            for teeth in 12..=120 {
                let Ok(pulley) = Pulley::with_flanks(belt, teeth, Flank::Involute, true) else { continue };
                let (groove, allowed) = (pulley.groove, pulley.rack.unwrap().radius_tolerance_mm);
                assert!(groove.tip_easing_mm().is_none_or(|mm| mm <= allowed), "{belt} {teeth}");
                // The disc is the same for all but the teeth that it would leave hardly a flank.
                if groove.ease_radius_mm < HALF_LINE_MM {
                    smaller.push((belt, teeth));
                }
            }
        }
        let expected = [12, 13, 24, 25, 26, 27, 28].map(|teeth| ("MXL", teeth));
        assert_eq!(smaller, expected);
        let smallest = involute("MXL", 12);
        assert!((smallest.ease_radius_mm - 0.1704).abs() < 1e-3 && smallest.check().is_ok());
        assert!(
            Groove { ease_radius_mm: 0.205, ..smallest }.check().is_err(),
            "a disc that reaches the roots"
        );
        // A corner loses its distance from the disc's centre less the radius; beside it a little more is lost.
        let groove = involute("XL", 12);
        let corner = groove.as_generated().walls()[0].at(1.0).0;
        let TipEnd::Eased { centre, .. } = groove.tip_end(groove.rolling_radius_mm.unwrap()) else {
            panic!("not eased")
        };
        let expected = (corner.0 - centre.0).hypot(corner.1 - centre.1) - 0.2;
        let most = groove.tip_easing_mm().unwrap();
        assert!(most >= expected - 1e-9 && most < 1.05 * expected, "{most} {expected}");
        assert_eq!(involute("XL", 60).tip_easing_mm(), None);
        assert_eq!(Pulley::standard("XL", 12, false).unwrap().groove.tip_easing_mm(), None);
    }

    #[test]
    fn an_eased_tooth_grown_and_shrunk_is_the_same_tooth() {
        let groove = involute("MXL", 14);
        let drawn = groove.grown(-0.09, -0.09);
        // Each wall of the drawing lies 0.09 mm inside the wanted one, arc and all.
        for (wall, other) in drawn.walls().iter().zip(groove.walls()) {
            for share in [0.0, 0.3, 0.6, 1.0] {
                let far = other.distance(wall.at(share).0);
                assert!((far - 0.09).abs() < 1e-6, "{:?} {share}: {far}", wall.kind);
            }
        }
    }
}
