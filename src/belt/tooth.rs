//! One belt tooth against one groove: how much play is left on either side and under its crest.
//!
//! *Picture*, in the groove's own frame (its middle on +y, the pulley's axis the origin): the belt's land rests
//! on the tips, radius `R`. The tooth is stiff. The corners of its root lie on the circle of the tips, its
//! crest so deep as the cord in its middle hangs it, `R - height`; flanks and crest are straight, the corners
//! at the crest round. A tooth that bends with its land is narrower by up to `S^2 tan(beta) / 8R` a side
//! (0.02 mm on T5 at 20 teeth), so the play found here errs on the tight side.
//!
//! An involute-sided groove is what a straight rack of the tooth's own form leaves when it rolls on, so its tooth
//! hangs as it stands in that rack: the middle of its root on the circle of the tips, the corners off it. It is
//! made to the tooth without play on purpose; hung by the corners every such tooth would seem to be too wide,
//! by the same `S^2 tan(beta) / 8R`.
//!
//! The play of a point of the tooth is its distance from the groove's outline, negative inside the plastic. The
//! rounding between tooth and land is left out: pulleys round their tips more than belts fill that corner.
//!
//! The belt travels counter-clockwise, so the leading flank is the one at smaller x.

use std::f64::consts::FRAC_PI_2;

use super::groove::Groove;
use super::profile::{BeltSection, Profile};
use super::walls::{Point, chord_counts, distance_to_segment, turned};

/// Chords of a groove's outline keep within this, mm.
const CHORD_ERROR_MM: f64 = 2e-4;
/// Interference below this is none, mm: the sizes of teeth, grooves and racks are published to 0.01 mm, and an
/// involute-sided groove is the tooth's own form.
pub const AS_PUBLISHED_MM: f64 = 0.005;
/// Points looked at along a flank, along the rounding at the crest, and along half the crest.
const POINTS: [usize; 3] = [24, 8, 6];

/// The section of a belt tooth; only of belts whose tooth is published.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeltTooth {
    /// Width at its root, mm.
    pub root_width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Angle between flank and middle, radians.
    pub half_angle_rad: f64,
    /// Radius between flank and crest, mm.
    pub tip_radius_mm: f64,
}

impl BeltTooth {
    /// The tooth of a profile; `None` where it is not published.
    pub fn of(profile: &Profile) -> Option<Self> {
        let BeltSection { tooth_height_mm, tooth_root_width_mm, .. } = profile.belt;
        Some(Self {
            root_width_mm: tooth_root_width_mm?,
            height_mm: tooth_height_mm,
            half_angle_rad: profile.belt.tooth_half_angle_rad?,
            tip_radius_mm: profile.belt.tooth_tip_radius_mm?,
        })
    }

    /// The right-hand half of the tooth on tips of this radius, from the root down to the middle of the crest,
    /// and how many of its points belong to the flank with the upper half of its rounding.
    fn right_half(&self, tip_radius: f64, hung: Hung) -> (Vec<Point>, usize) {
        let half = self.root_width_mm / 2.0;
        let root_y = match hung {
            Hung::ByCorners => (tip_radius * tip_radius - half * half).max(0.0).sqrt(),
            Hung::ByMiddle => tip_radius,
        };
        let crest_y = tip_radius - self.height_mm;
        let (sin, cos) = self.half_angle_rad.sin_cos();
        // The corner that flank and crest would make, and where the rounding touches either.
        let corner = half - (root_y - crest_y) * sin / cos;
        let tangent = self.tip_radius_mm * ((FRAC_PI_2 - self.half_angle_rad) / 2.0).tan();
        let end = (corner + tangent * sin, crest_y + tangent * cos);
        let centre = (corner - tangent, crest_y + self.tip_radius_mm);
        let [flank, round, crest] = POINTS;
        let mut points: Vec<Point> = (0..flank)
            .map(|i| {
                let share = i as f64 / flank as f64;
                (half + share * (end.0 - half), root_y + share * (end.1 - root_y))
            })
            .collect();
        points.extend((0..=round).map(|i| {
            // From the flank's normal down to the crest's.
            let angle = -self.half_angle_rad - i as f64 / round as f64 * (FRAC_PI_2 - self.half_angle_rad);
            (centre.0 + self.tip_radius_mm * angle.cos(), centre.1 + self.tip_radius_mm * angle.sin())
        }));
        // The lower half of the rounding looks at the floor.
        let side = points.len() - round / 2;
        points.extend((1..=crest).map(|i| (centre.0 * (1.0 - i as f64 / crest as f64), crest_y)));
        (points, side)
    }

    /// The whole outline of the tooth, right root corner first; for pictures.
    pub fn outline(&self, tip_radius: f64, hung: Hung) -> Vec<Point> {
        let (right, _) = self.right_half(tip_radius, hung);
        let left: Vec<Point> = right.iter().rev().skip(1).map(|(x, y)| (-x, *y)).collect();
        right.into_iter().chain(left).collect()
    }
}

/// What of a tooth's root touches the circle of the tips.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hung {
    /// Its corners: the tightest of the ways in which a tooth may bend.
    ByCorners,
    /// Its middle, as on a straight belt.
    ByMiddle,
}

impl Hung {
    /// How a tooth is taken to hang in this groove.
    pub fn in_groove(groove: &Groove) -> Self {
        if groove.rolling_radius_mm.is_some() { Self::ByMiddle } else { Self::ByCorners }
    }
}

/// Where on a tooth something is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// The flank in front, in the direction of travel.
    LeadingFlank,
    /// The flank behind.
    TrailingFlank,
    /// The crest, over the groove's floor.
    Crest,
}

impl Place {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::LeadingFlank => "leading flank",
            Self::TrailingFlank => "trailing flank",
            Self::Crest => "crest",
        }
    }
}

/// What is left between a tooth and its groove, mm; negative is interference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Play {
    /// On the flank in front.
    pub leading_mm: f64,
    /// On the flank behind.
    pub trailing_mm: f64,
    /// Under the crest.
    pub crest_mm: f64,
}

impl Play {
    /// The least of the three, and where.
    pub fn least(&self) -> (f64, Place) {
        let all = [
            (self.leading_mm, Place::LeadingFlank),
            (self.trailing_mm, Place::TrailingFlank),
            (self.crest_mm, Place::Crest),
        ];
        // Rounding must not choose among equals.
        all.into_iter().fold(all[0], |least, one| if one.0 < least.0 - 1e-9 { one } else { least })
    }
}

/// A groove that teeth are laid into.
pub struct Socket {
    /// The outline from the middle of one tip to the middle of the next.
    pub(super) outline: Vec<Point>,
    /// Where on it the floor begins and ends: a flank looks at its own side and the floor.
    floor: (usize, usize),
    /// The right half of the tooth, and how many of its points are flank.
    right: Vec<Point>,
    pub(super) side: usize,
    /// The right half of the tooth as the straight belt carries it.
    pub(super) straight: Vec<Point>,
    pub(super) half_pitch_rad: f64,
    pub(super) tip_radius_mm: f64,
}

impl Socket {
    /// Of a groove for teeth of this section.
    pub fn new(groove: &Groove, tooth: BeltTooth) -> Self {
        let counts = chord_counts(&groove.walls(), CHORD_ERROR_MM);
        let per_pitch = groove.corners(&counts).len() / groove.teeth as usize;
        // One pitch of corners begins at the groove's right and ends at the next groove's right: over the
        // whole tip on its left. Half of that tip is turned back to the right.
        let pitch: Vec<Point> = groove.corners(&counts)[..per_pitch].to_vec();
        let half = groove.half_pitch_rad();
        let angle = |point: &Point| point.0.atan2(point.1);
        let back = |point: &Point| turned(*point, -2.0 * half);
        let right = pitch.iter().filter(|point| angle(point) < -half).map(back);
        let ends = [-1.0, 1.0].map(|side: f64| {
            (-side * groove.outside_radius_mm * half.sin(), groove.outside_radius_mm * half.cos())
        });
        let mut outline = vec![ends[0]];
        outline.extend(right);
        outline.extend(pitch.iter().filter(|point| angle(point) >= -half));
        outline.push(ends[1]);
        // The floor is the lowest straight stretch: its ends are the corners with the least height in the middle.
        let lowest = outline.iter().map(|point| point.1).fold(f64::INFINITY, f64::min);
        let on_floor = |point: &Point| point.1 < lowest + 1e-9;
        let begin = outline.iter().position(on_floor).unwrap_or(0);
        let end = outline.iter().rposition(on_floor).unwrap_or(outline.len() - 1);
        let (right, side) = tooth.right_half(groove.outside_radius_mm, Hung::in_groove(groove));
        let (straight, _) = tooth.right_half(groove.outside_radius_mm, Hung::ByMiddle);
        let (floor, tip_radius_mm) = ((begin, end), groove.outside_radius_mm);
        Self { outline, floor, right, side, straight, half_pitch_rad: half, tip_radius_mm }
    }

    /// The play of a tooth whose middle stands this far from the groove's, counter-clockwise, radians.
    pub fn play(&self, ahead_rad: f64) -> Play {
        let crest = self.right[self.side..].iter().flat_map(|(x, y)| [(*x, *y), (-x, *y)]);
        Play {
            leading_mm: self.leading_mm(ahead_rad),
            trailing_mm: self.trailing_mm(ahead_rad),
            crest_mm: least(crest, ahead_rad, &self.outline),
        }
    }

    /// The play of its leading flank alone.
    pub fn leading_mm(&self, ahead_rad: f64) -> f64 {
        let flank = self.right[..self.side].iter().map(|(x, y)| (-x, *y));
        least(flank, ahead_rad, &self.outline[self.floor.0..])
    }

    /// How far a tooth can slide in its groove from one flank to the other, along the circle of the tips, mm;
    /// negative where it is too wide.
    pub fn slide_mm(&self) -> f64 {
        /// Steps of the secant; play falls all but evenly with the way.
        const STEPS: usize = 6;
        const SAME_MM: f64 = 1e-7;
        // Both flanks are alike, so it slides as far to one side as to the other.
        let (mut last, mut ahead) = (0.0, self.leading_mm(0.0) / self.tip_radius_mm);
        let mut at_last = self.leading_mm(last);
        for _ in 0..STEPS {
            let play = self.leading_mm(ahead);
            if play.abs() < SAME_MM || play == at_last {
                break;
            }
            (last, at_last, ahead) = (ahead, play, ahead - play * (ahead - last) / (play - at_last));
        }
        2.0 * ahead * self.tip_radius_mm
    }

    /// The play of its trailing flank alone.
    pub fn trailing_mm(&self, ahead_rad: f64) -> f64 {
        least(self.right[..self.side].iter().copied(), ahead_rad, &self.outline[..=self.floor.1])
    }
}

/// The least distance of these points, turned ahead, from a stretch of the outline; negative in the plastic.
fn least(points: impl Iterator<Item = Point>, ahead_rad: f64, outline: &[Point]) -> f64 {
    let (sin, cos) = ahead_rad.sin_cos();
    points
        .map(|(x, y)| distance((x * cos - y * sin, x * sin + y * cos), outline))
        .fold(f64::INFINITY, f64::min)
}

/// Distance of a point from a stretch of the outline, negative in the plastic.
pub(super) fn distance(point: Point, outline: &[Point]) -> f64 {
    let mut nearest = (f64::INFINITY, 1.0);
    for side in outline.windows(2) {
        let far = distance_to_segment(point, side[0], side[1]);
        if far < nearest.0 {
            let (dx, dy) = (side[1].0 - side[0].0, side[1].1 - side[0].1);
            // The plastic is on the left of the outline as it runs.
            let right = dy * (point.0 - side[0].0) - dx * (point.1 - side[0].1);
            nearest = (far, if right < 0.0 { -1.0 } else { 1.0 });
        }
    }
    nearest.0 * nearest.1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::profile;
    use crate::belt::pulley::Pulley;

    fn socket(belt: &str, teeth: u32, change: impl Fn(&Groove) -> Groove) -> Socket {
        let tooth = BeltTooth::of(profile::find(belt, teeth).unwrap()).unwrap();
        let pulley = Pulley::standard(belt, teeth, true).unwrap();
        Socket::new(&change(&pulley.groove), tooth)
    }

    /// Source: worked example W11 of the belt tables: the free play between an XL tooth and its groove at the
    /// outside diameter is 0.288815 mm where the tips are straight; across the flanks that is so much times
    /// the cosine of 25 degrees, half on either side. The tips' curve takes off `S^2 tan(beta) / 8R` a side.
    #[test]
    fn the_play_of_xl_is_that_of_the_worked_example() {
        let teeth = 400;
        let play = socket("XL", teeth, |groove| *groove).play(0.0);
        let beta = 25.0_f64.to_radians();
        let expected = 0.288815 / 2.0 * beta.cos();
        let radius = Pulley::standard("XL", teeth, true).unwrap().groove.outside_radius_mm;
        let curve = 2.57_f64.powi(2) * beta.tan() / (8.0 * radius) * beta.cos();
        assert!((play.leading_mm - expected).abs() < curve + 1e-4, "{play:?} {expected}");
        assert!((play.leading_mm - play.trailing_mm).abs() < 1e-9);
        // Groove 1.65 mm deep, tooth 1.27 mm high; its corners come closer to the roundings at the floor.
        assert!(play.crest_mm > 0.2 && play.crest_mm < 0.38, "{play:?}");
        assert_eq!(play.least().1, Place::LeadingFlank);
    }

    #[test]
    fn every_standard_tooth_goes_into_its_groove() {
        for name in profile::usable() {
            for teeth in [10, 12, 16, 20, 21, 30, 72] {
                let Ok(pulley) = Pulley::standard(name, teeth, false) else { continue };
                let play = socket(name, pulley.teeth(), |groove| *groove).play(0.0);
                assert!(play.least().0 > 0.0, "{name} {teeth} {play:?}");
            }
        }
    }

    /// Hung as in its rack, a tooth has in an involute groove of very many teeth what it has in the rack itself:
    /// half of what the rack is wider, across the flanks. Hung by its corners it would seem too wide for few teeth.
    #[test]
    fn in_an_involute_groove_of_many_teeth_a_tooth_has_the_racks_play() {
        use crate::belt::rack::Flank;
        for name in ["XXL", "XL", "L", "H", "XH", "XXH"] {
            let pulley = Pulley::with_flanks(name, 500, Flank::Involute, true).unwrap();
            let (rack, tooth) = (pulley.rack.unwrap(), BeltTooth::of(pulley.profile).unwrap());
            let top = rack.tip_width_mm + 2.0 * rack.height_mm * rack.half_angle_rad.tan();
            let expected = (top - tooth.root_width_mm) / 2.0 * rack.half_angle_rad.cos();
            let play = Socket::new(&pulley.groove, tooth).play(0.0);
            assert!((play.leading_mm - expected).abs() < 8e-4, "{name} {play:?} for {expected}");
            let wrongly = least(
                tooth.right_half(pulley.groove.outside_radius_mm, Hung::ByCorners).0.into_iter().take(20),
                0.0,
                &Socket::new(&pulley.groove, tooth).outline,
            );
            assert!(wrongly < play.leading_mm - 5e-4, "{name} {wrongly}");
        }
        // To and fro it slides by what the rack is wider at its base line.
        let xl = Pulley::with_flanks("XL", 500, Flank::Involute, true).unwrap();
        let slide = Socket::new(&xl.groove, BeltTooth::of(xl.profile).unwrap()).slide_mm();
        assert!((slide - (1.27 + 2.8 * 25.0_f64.to_radians().tan() - 2.57)).abs() < 1e-3, "{slide}");
        // And in straight grooves by what W11 says.
        let slide = socket("XL", 400, |groove| *groove).slide_mm();
        assert!((slide - 0.288815).abs() < 4e-3, "{slide}");
        let few = Pulley::with_flanks("XL", 12, Flank::Involute, true).unwrap();
        let play = Socket::new(&few.groove, BeltTooth::of(few.profile).unwrap()).play(0.0);
        assert!(play.least().0 > 0.0 && play.leading_mm < 0.005, "{play:?}");
    }

    /// The tooth turned ahead comes closer to the groove's wall in front by the way its flank moves across.
    #[test]
    fn a_tooth_ahead_of_its_groove_loses_play_in_front() {
        let socket = socket("T5", 60, |groove| *groove);
        let (centred, ahead) = (socket.play(0.0), socket.play(0.001));
        let lost = centred.leading_mm - ahead.leading_mm;
        let radius = 60.0 * 5.0 / (2.0 * std::f64::consts::PI);
        // Somewhere between tooth root and crest, across flanks at 20 to 25 degrees.
        assert!(lost > 0.001 * (radius - 1.8) * 0.85 && lost < 0.001 * radius, "{lost}");
        assert!(ahead.trailing_mm > centred.trailing_mm);
        let behind = socket.play(-0.001);
        assert!((behind.trailing_mm - ahead.leading_mm).abs() < 1e-9);
    }

    /// Walls that stand 0.1 mm further into the groove take 0.1 mm of play on every side.
    #[test]
    fn what_the_walls_gain_the_tooth_loses() {
        let wanted = socket("T5", 20, |groove| *groove).play(0.0);
        let swollen = socket("T5", 20, |groove| groove.grown(0.0, 0.1)).play(0.0);
        // Flanks of 25 degrees against the tooth's 20: where they are closest the wall's normal counts.
        assert!((wanted.leading_mm - swollen.leading_mm - 0.1).abs() < 2e-3, "{wanted:?} {swollen:?}");
        assert!((wanted.crest_mm - swollen.crest_mm - 0.1).abs() < 1e-9);
        // T5's close form leaves 0.05 mm under the crest: the swell makes that an interference, in full.
        assert!((swollen.crest_mm + 0.05).abs() < 1e-9, "{swollen:?}");
        assert_eq!(swollen.least().1, Place::Crest);
    }
}
