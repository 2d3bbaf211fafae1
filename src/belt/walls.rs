//! The outline of a pulley's teeth as exact walls: lines and arcs, each with what it is.
//!
//! One pitch of the outline runs counter-clockwise, the tooth on its left: down the right flank into a
//! groove, along the floor, up the left flank and over the tip to the next groove. The whole outline is
//! that pitch turned `teeth` times. Angles are radians, counter-clockwise from +x; the groove of the
//! pitch is centred on +y. Normals point out of the plastic.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::groove::Groove;
use super::rack::Tool;

/// A point or a direction.
pub type Point = (f64, f64);

/// What a wall of the outline is; decides how a printer moves it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WallKind {
    /// Outside arc.
    Tip,
    /// Rounding between flank and tip.
    TipRounding,
    /// Side of a tooth.
    Flank,
    /// Rounding between flank and floor.
    RootFillet,
    /// Bottom of a groove.
    Floor,
}

/// The curve of a wall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// A straight line.
    Line {
        /// Its begin.
        from: Point,
        /// Its end.
        to: Point,
    },
    /// An arc, or a sharp corner where the radius is 0.
    Arc {
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
        /// Direction from the centre to its begin, radians.
        from_rad: f64,
        /// Direction from the centre to its end, radians; less than `from_rad` where the arc is hollow.
        to_rad: f64,
    },
    /// What a wall of a rolling rack leaves: [`super::rack`].
    Rolled {
        /// The rack's wall.
        tool: Tool,
        /// Radius of the circle that the rack rolls on.
        rolling_radius: f64,
        /// The tool's parameter at its begin.
        from: f64,
        /// The tool's parameter at its end.
        to: f64,
        /// The arc that goes on from there.
        ease: Option<Ease>,
        /// Mirrored at the y axis and run through the other way.
        is_mirrored: bool,
        /// Then turned about the axis by this, radians.
        turn_rad: f64,
    },
}

/// An arc that goes on from a rolled wall's end, before it is mirrored and turned: [`super::easing`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ease {
    /// The share of the way at which it begins; 0 where nothing is left of the rolled wall.
    pub share: f64,
    /// Its centre.
    pub centre: Point,
    /// Its radius.
    pub radius: f64,
    /// Direction from the centre to its begin, radians.
    pub from_rad: f64,
    /// Direction from the centre to its end, radians.
    pub to_rad: f64,
}

impl Ease {
    fn shape(self) -> Shape {
        let Self { centre, radius, from_rad, to_rad, .. } = self;
        Shape::Arc { centre, radius, from_rad, to_rad }
    }
}

/// One wall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wall {
    /// What it is.
    pub kind: WallKind,
    /// Where it runs.
    pub shape: Shape,
}

/// More chords than any wall needs.
const MOST_CHORDS: usize = 64;

fn polar(centre: Point, radius: f64, angle: f64) -> Point {
    (centre.0 + radius * angle.cos(), centre.1 + radius * angle.sin())
}

/// Length of a vector of millimetres: never so long or short that `hypot`, which takes several times as long, knew better.
fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// The point turned about the axis.
pub fn turned(point: Point, angle: f64) -> Point {
    let (sin, cos) = angle.sin_cos();
    (point.0 * cos - point.1 * sin, point.0 * sin + point.1 * cos)
}

impl Wall {
    /// The point this share of the way along, 0 to 1, and the normal there, out of the plastic.
    pub fn at(&self, share: f64) -> (Point, Point) {
        match self.shape {
            Shape::Line { from, to } => {
                let (dx, dy) = (to.0 - from.0, to.1 - from.1);
                let far = length(dx, dy);
                ((from.0 + share * dx, from.1 + share * dy), (dy / far, -dx / far))
            }
            Shape::Arc { centre, radius, from_rad, to_rad } => {
                let angle = from_rad + share * (to_rad - from_rad);
                let out = if to_rad < from_rad { -1.0 } else { 1.0 };
                (polar(centre, radius, angle), polar((0.0, 0.0), out, angle))
            }
            Shape::Rolled { tool, rolling_radius, from, to, ease, is_mirrored, turn_rad } => {
                let share = if is_mirrored { 1.0 - share } else { share };
                let (place, normal) = match ease {
                    Some(ease) if share >= ease.share => {
                        let arc = Self { kind: self.kind, shape: ease.shape() };
                        arc.at((share - ease.share) / (1.0 - ease.share))
                    }
                    _ => {
                        let share = ease.map_or(share, |ease| share / ease.share);
                        tool.cut(rolling_radius, from + share * (to - from))
                    }
                };
                let side = if is_mirrored { -1.0 } else { 1.0 };
                (turned((side * place.0, place.1), turn_rad), turned((side * normal.0, normal.1), turn_rad))
            }
        }
    }

    /// How many chords keep within `chord_error` of the wall.
    pub fn chords(&self, chord_error: f64) -> usize {
        match self.shape {
            Shape::Line { .. } => 1,
            Shape::Arc { radius, from_rad, to_rad, .. } => {
                // Sagitta: radius * (1 - cos(step / 2)).
                let step = 2.0 * (1.0 - (chord_error / radius).min(1.0)).acos();
                ((to_rad - from_rad).abs() / step).ceil().max(1.0) as usize
            }
            Shape::Rolled { .. } => {
                let far = |count: usize| {
                    let at = |i: f64| self.at(i / count as f64).0;
                    let off =
                        |i: usize| distance_to_segment(at(i as f64 + 0.5), at(i as f64), at(i as f64 + 1.0));
                    (0..count).map(off).fold(0.0, f64::max)
                };
                // The height of a chord falls with the square of their number, about.
                let mut count = (far(1) / chord_error).sqrt().ceil().clamp(1.0, MOST_CHORDS as f64) as usize;
                while count < MOST_CHORDS && far(count) > chord_error {
                    count += 1;
                }
                count
            }
        }
    }

    /// Distance from a point to the nearest point of the wall.
    pub fn distance(&self, point: Point) -> f64 {
        match self.shape {
            Shape::Line { from, to } => distance_to_segment(point, from, to),
            Shape::Arc { centre, radius, from_rad, to_rad } => {
                let (dx, dy) = (point.0 - centre.0, point.1 - centre.1);
                let middle = (from_rad + to_rad) / 2.0;
                let off = (dy.atan2(dx) - middle).rem_euclid(TAU);
                if off.min(TAU - off) <= (to_rad - from_rad).abs() / 2.0 {
                    return (length(dx, dy) - radius).abs();
                }
                let to = |angle: f64| {
                    let end = polar(centre, radius, angle);
                    length(point.0 - end.0, point.1 - end.1)
                };
                to(from_rad).min(to(to_rad))
            }
            Shape::Rolled { ease: None, .. } => self.distance_to_rolled(point),
            Shape::Rolled { .. } => {
                self.parts().iter().flatten().map(|part| part.distance(point)).fold(f64::INFINITY, f64::min)
            }
        }
    }

    /// Its curves one by one, in the order in which they run: two of an eased rounding, else itself.
    pub fn parts(&self) -> [Option<Self>; 2] {
        let Shape::Rolled { ease: Some(ease), is_mirrored, turn_rad, .. } = self.shape else {
            return [Some(*self), None];
        };
        let mut rolled = *self;
        if let Shape::Rolled { ease, .. } = &mut rolled.shape {
            *ease = None;
        }
        let rolled = (ease.share > 0.0).then_some(rolled);
        let arc = Self { kind: self.kind, shape: ease.shape() };
        if is_mirrored {
            return [Some(arc.mirrored().turned(turn_rad)), rolled];
        }
        [rolled, Some(arc.turned(turn_rad))]
    }

    /// From the nearest of a few places, the foot is walked to along the tangent, by the curve's own pace there.
    fn distance_to_rolled(&self, point: Point) -> f64 {
        const PLACES: usize = 8;
        const STEPS: usize = 6;
        /// Of the way, to take the pace over.
        const NEAR: f64 = 1e-4;
        let far = |(x, y): Point| length(point.0 - x, point.1 - y);
        let place = |i: usize| self.at(i as f64 / PLACES as f64).0;
        let near = (0..=PLACES).map(|i| (far(place(i)), i)).min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((mut least, near)) = near else { return f64::INFINITY };
        let mut share = near as f64 / PLACES as f64;
        for _ in 0..STEPS {
            let ((x, y), (nx, ny)) = self.at(share);
            // The plastic is on the left: the way along is the normal turned left.
            let along = (point.1 - y) * nx - (point.0 - x) * ny;
            let (before, after) = (self.at(share - NEAR).0, self.at(share + NEAR).0);
            let pace = length(after.0 - before.0, after.1 - before.1) / (2.0 * NEAR);
            if pace <= 0.0 {
                break;
            }
            share = (share + along / pace).clamp(0.0, 1.0);
            least = least.min(far(self.at(share).0));
        }
        least
    }

    /// The same wall turned about the axis.
    #[must_use]
    pub fn turned(&self, angle: f64) -> Self {
        let shape = match self.shape {
            Shape::Line { from, to } => Shape::Line { from: turned(from, angle), to: turned(to, angle) },
            Shape::Arc { centre, radius, from_rad, to_rad } => Shape::Arc {
                centre: turned(centre, angle),
                radius,
                from_rad: from_rad + angle,
                to_rad: to_rad + angle,
            },
            Shape::Rolled { tool, rolling_radius, from, to, ease, is_mirrored, turn_rad } => {
                let turn_rad = turn_rad + angle;
                Shape::Rolled { tool, rolling_radius, from, to, ease, is_mirrored, turn_rad }
            }
        };
        Self { kind: self.kind, shape }
    }

    /// The wall mirrored at the y axis and run through the other way, so that plastic stays on its left.
    pub(super) fn mirrored(&self) -> Self {
        let flip = |(x, y): Point| (-x, y);
        let shape = match self.shape {
            Shape::Line { from, to } => Shape::Line { from: flip(to), to: flip(from) },
            Shape::Arc { centre, radius, from_rad, to_rad } => Shape::Arc {
                centre: flip(centre),
                radius,
                from_rad: 2.0 * FRAC_PI_2 - to_rad,
                to_rad: 2.0 * FRAC_PI_2 - from_rad,
            },
            Shape::Rolled { tool, rolling_radius, from, to, ease, is_mirrored, turn_rad } => Shape::Rolled {
                tool,
                rolling_radius,
                from,
                to,
                ease,
                is_mirrored: !is_mirrored,
                turn_rad: -turn_rad,
            },
        };
        Self { kind: self.kind, shape }
    }
}

/// Distance from a point to a straight line between two others.
pub fn distance_to_segment(point: Point, from: Point, to: Point) -> f64 {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let (px, py) = (point.0 - from.0, point.1 - from.1);
    let square = dx * dx + dy * dy;
    let share = if square > 0.0 { ((px * dx + py * dy) / square).clamp(0.0, 1.0) } else { 0.0 };
    length(px - share * dx, py - share * dy)
}

impl Groove {
    /// One pitch of the outline, in the order in which it runs; eight walls.
    pub fn walls(&self) -> [Wall; 8] {
        if let Some(rolling_radius) = self.rolling_radius_mm {
            return self.rolled_walls(rolling_radius);
        }
        let normal_rad = self.normal_rad();
        let tip_centre = self.tip_centre();
        let tip_rad = tip_centre.1.atan2(tip_centre.0);
        let bottom_centre = self.bottom_centre();
        let tip_rounding = Wall {
            kind: WallKind::TipRounding,
            shape: Shape::Arc {
                centre: tip_centre,
                radius: self.tip_radius_mm,
                from_rad: tip_rad,
                to_rad: normal_rad,
            },
        };
        let fillet = Wall {
            kind: WallKind::RootFillet,
            shape: Shape::Arc {
                centre: bottom_centre,
                radius: self.bottom_radius_mm,
                from_rad: normal_rad - 2.0 * FRAC_PI_2,
                to_rad: -FRAC_PI_2,
            },
        };
        let flank = Wall {
            kind: WallKind::Flank,
            shape: Shape::Line { from: tip_rounding.at(1.0).0, to: fillet.at(0.0).0 },
        };
        let end = fillet.at(1.0).0;
        let floor = Wall { kind: WallKind::Floor, shape: Shape::Line { from: end, to: (-end.0, end.1) } };
        let tip = Wall {
            kind: WallKind::Tip,
            shape: Shape::Arc {
                centre: (0.0, 0.0),
                radius: self.outside_radius_mm,
                from_rad: 2.0 * FRAC_PI_2 - tip_rad,
                to_rad: tip_rad + 2.0 * self.half_pitch_rad(),
            },
        };
        let [left_fillet, left_flank, left_rounding] = [&fillet, &flank, &tip_rounding].map(Wall::mirrored);
        [tip_rounding, flank, fillet, floor, left_fillet, left_flank, left_rounding, tip]
    }

    /// Direction of the right flank's normal, into the groove.
    pub(super) fn normal_rad(&self) -> f64 {
        FRAC_PI_2 + (FRAC_PI_2 - self.half_angle_rad)
    }

    /// The corners of the whole outline, counter-clockwise; its arcs' chords keep within `chord_error`.
    ///
    /// `counts` chords a wall are drawn, as [`chord_counts`] gives them, so that two grooves of one form
    /// can be drawn corner for corner.
    pub fn corners(&self, counts: &[usize; 8]) -> Vec<Point> {
        let mut pitch = Vec::with_capacity(counts.iter().sum());
        for (wall, count) in self.walls().iter().zip(counts) {
            // A wall's last corner is the next wall's first; a sharp corner is no wall at all.
            if !matches!(wall.shape, Shape::Arc { radius: 0.0, .. }) {
                pitch.extend((0..*count).map(|i| wall.at(i as f64 / *count as f64).0));
            }
        }
        let turns = (0..self.teeth).map(|i| 2.0 * self.half_pitch_rad() * f64::from(i));
        turns
            .flat_map(|angle| {
                let (sin, cos) = angle.sin_cos();
                pitch.iter().map(move |(x, y)| (x * cos - y * sin, x * sin + y * cos))
            })
            .collect()
    }
}

/// How many chords each of a pitch's walls takes to keep within `chord_error`.
pub fn chord_counts(walls: &[Wall; 8], chord_error: f64) -> [usize; 8] {
    walls.map(|wall| wall.chords(chord_error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::profile;

    fn t5(teeth: u32) -> Groove {
        let profile = profile::find("T5", teeth).unwrap();
        let outside = 5.0 * f64::from(teeth) / std::f64::consts::PI - profile.two_a_mm;
        Groove::standard(&profile.groove.unwrap(), teeth, outside).unwrap()
    }

    #[test]
    fn each_wall_begins_where_the_last_one_ends_and_runs_on_smoothly() {
        for teeth in [10, 20, 21, 60] {
            let groove = t5(teeth);
            let walls = groove.walls();
            let next_pitch = walls[0].turned(2.0 * groove.half_pitch_rad());
            for (wall, next) in walls.iter().zip(walls[1..].iter().chain([&next_pitch])) {
                let ((x, y), (nx, ny)) = wall.at(1.0);
                let ((to_x, to_y), (to_nx, to_ny)) = next.at(0.0);
                assert!((x - to_x).hypot(y - to_y) < 1e-12, "{teeth} {wall:?} {next:?}");
                assert!((nx - to_nx).hypot(ny - to_ny) < 1e-12, "{teeth} {wall:?} {next:?}");
            }
        }
    }

    /// The area of the polygon, against lines and arcs integrated by Green's theorem in closed form.
    #[test]
    fn finer_chords_approach_the_area_of_the_exact_outline() {
        let groove = t5(20);
        let exact: f64 = groove.walls().iter().map(area_under).sum::<f64>() * 20.0;
        let mut last = f64::INFINITY;
        for chord_error in [0.01, 0.001, 0.0001] {
            let corners = groove.corners(&chord_counts(&groove.walls(), chord_error));
            let shifted = corners.iter().skip(1).chain(&corners[..1]);
            let area: f64 = corners.iter().zip(shifted).map(|(a, b)| (a.0 * b.1 - a.1 * b.0) / 2.0).sum();
            let off = (area - exact).abs();
            assert!(off < last && off < chord_error * std::f64::consts::PI * 31.0, "{chord_error} {off}");
            last = off;
        }
    }

    fn area_under(wall: &Wall) -> f64 {
        match wall.shape {
            Shape::Line { from, to } => (from.0 * to.1 - from.1 * to.0) / 2.0,
            Shape::Arc { centre, radius, from_rad: a, to_rad: b } => {
                let turn = centre.0 * (b.sin() - a.sin()) - centre.1 * (b.cos() - a.cos());
                (radius * turn + radius * radius * (b - a)) / 2.0
            }
            Shape::Rolled { .. } => panic!("a straight-sided groove has none"),
        }
    }

    #[test]
    fn chords_keep_within_their_error_and_one_fewer_would_not() {
        let wall = t5(20).walls()[0];
        let Shape::Arc { radius, from_rad, to_rad, .. } = wall.shape else { panic!("a rounding is an arc") };
        let sagitta = |n: usize| radius * (1.0 - ((to_rad - from_rad) / n as f64 / 2.0).cos());
        let n = wall.chords(0.002);
        assert!(sagitta(n) <= 0.002 && sagitta(n - 1) > 0.002);
    }

    #[test]
    fn distances_to_an_arc_are_radial_beside_it_and_to_its_ends_beyond() {
        let arc = Wall {
            kind: WallKind::Tip,
            shape: Shape::Arc { centre: (1.0, 0.0), radius: 2.0, from_rad: 0.0, to_rad: FRAC_PI_2 },
        };
        assert!((arc.distance((4.0, 0.0)) - 1.0).abs() < 1e-12);
        assert!((arc.distance((1.0, 0.5)) - 1.5).abs() < 1e-12);
        assert!((arc.distance((3.0, -1.0)) - 1.0).abs() < 1e-12);
        assert!((distance_to_segment((0.0, 3.0), (4.0, 0.0), (5.0, 0.0)) - 5.0).abs() < 1e-12);
    }
}
