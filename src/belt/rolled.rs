//! The walls of involute-sided teeth: what the rack of [`super::rack`] leaves of the pulley.

use std::f64::consts::FRAC_PI_2;

use super::easing::TipEnd;
use super::groove::Groove;
use super::rack::{Tool, curvature_radius};
use super::walls::{Point, Shape, Wall, WallKind};

impl Groove {
    /// The walls that the rack leaves.
    ///
    /// On few teeth the curves of flank and tip rounding pass through each other before they touch; what
    /// the rack leaves standing ends where they cross. [`super::easing`] rounds that corner.
    pub(super) fn rolled_walls(&self, rolling_radius: f64) -> [Wall; 8] {
        let normal_rad = self.normal_rad();
        let rolled = |kind, tool, from, to| Wall {
            kind,
            shape: Shape::Rolled {
                tool,
                rolling_radius,
                from,
                to,
                ease: None,
                is_mirrored: false,
                turn_rad: 0.0,
            },
        };
        let on_axis = |kind, radius, from_rad, to_rad| Wall {
            kind,
            shape: Shape::Arc { centre: (0.0, 0.0), radius, from_rad, to_rad },
        };
        let line = Tool::Line { normal_rad, offset: self.flank_mm };
        let bottom = self.bottom_centre();
        let fillet_tool = Tool::Arc { centre: bottom, radius: -self.bottom_radius_mm };
        let fillet = rolled(WallKind::RootFillet, fillet_tool, normal_rad, FRAC_PI_2);
        let tip_end = self.tip_end(rolling_radius);
        let (tip_roll, root_roll) = self.flank_rolls(rolling_radius, &tip_end);
        let floor_rad = bottom.0 / rolling_radius;
        let floor = on_axis(WallKind::Floor, self.floor_mm, FRAC_PI_2 - floor_rad, FRAC_PI_2 + floor_rad);

        let centre = self.tip_centre();
        let tip_tool = Tool::Arc { centre, radius: self.tip_radius_mm };
        let flank = rolled(WallKind::Flank, line, tip_roll, root_roll);
        let rack_rad = centre.0 / rolling_radius;
        let (tip_rounding, tip_rad) = match tip_end {
            TipEnd::Smooth { end_rad } | TipEnd::Corner { end_rad, .. } => {
                (rolled(WallKind::TipRounding, tip_tool, FRAC_PI_2, end_rad), rack_rad)
            }
            TipEnd::Eased { end_rad, centre: eased, .. } => {
                let (ease, from) = self.ease(rolling_radius, end_rad, eased, flank.at(0.0).1);
                let shape = Shape::Rolled {
                    tool: tip_tool,
                    rolling_radius,
                    from: FRAC_PI_2,
                    to: end_rad.unwrap_or(FRAC_PI_2),
                    ease: Some(ease),
                    is_mirrored: false,
                    turn_rad: 0.0,
                };
                (Wall { kind: WallKind::TipRounding, shape }, from)
            }
            TipEnd::Sharp { .. } => {
                // No rounding: flank and tip meet in a sharp corner.
                let corner = self.outer_corner();
                let (_, (nx, ny)) = flank.at(0.0);
                let from_rad = corner.1.atan2(corner.0);
                let shape = Shape::Arc { centre: corner, radius: 0.0, from_rad, to_rad: ny.atan2(nx) };
                (Wall { kind: WallKind::TipRounding, shape }, FRAC_PI_2 - from_rad)
            }
        };
        let (begin, pitch) = (FRAC_PI_2 - tip_rad, 2.0 * self.half_pitch_rad());
        let tip = on_axis(WallKind::Tip, self.outside_radius_mm, FRAC_PI_2 + tip_rad, begin + pitch);
        let [left_fillet, left_flank, left_rounding] = [&fillet, &flank, &tip_rounding].map(Wall::mirrored);
        [tip_rounding, flank, fillet, floor, left_fillet, left_flank, left_rounding, tip]
    }

    /// How far the rack has rolled when the flank's two ends are cut, tip first, radians.
    pub(super) fn flank_rolls(&self, rolling_radius: f64, tip_end: &TipEnd) -> (f64, f64) {
        let (sin, cos) = self.normal_rad().sin_cos();
        // The rolling at which the flank cuts `reach` along its normal from where the circles touch.
        let roll = |reach: f64| (self.flank_mm - rolling_radius * sin - reach) / (rolling_radius * cos);
        let from_centre = |y: f64, radius: f64| roll((y - rolling_radius) / sin + radius);
        let tip_roll = match tip_end {
            TipEnd::Smooth { .. } => from_centre(self.tip_centre().1, self.tip_radius_mm),
            TipEnd::Corner { roll, .. } | TipEnd::Eased { roll, .. } | TipEnd::Sharp { roll } => *roll,
        };
        (tip_roll, from_centre(self.bottom_centre().1, -self.bottom_radius_mm))
    }

    /// Where the rounding at the tip ends, as the direction of the rack's normal, and the flank's rolling
    /// there where that is before the two touch; `None` where nothing is left of the rounding.
    pub(super) fn tip_rounding_end(&self, rolling_radius: f64) -> Option<(f64, Option<f64>)> {
        const HALVINGS: usize = 50;
        let normal_rad = self.normal_rad();
        let (centre, radius) = (self.tip_centre(), self.tip_radius_mm);
        let bends = |at: f64| curvature_radius(centre.1, radius, rolling_radius, at);
        if bends(normal_rad) >= 0.0 {
            return Some((normal_rad, None));
        }
        if bends(FRAC_PI_2) <= 0.0 {
            return None;
        }
        let halve = |mut low: f64, mut high: f64, is_low: &dyn Fn(f64) -> bool| {
            for _ in 0..HALVINGS {
                let middle = (low + high) / 2.0;
                *if is_low(middle) { &mut low } else { &mut high } = middle;
            }
            low
        };
        // The rounding turns back where its radius of curvature is 0, beyond the flank.
        let back = halve(FRAC_PI_2, normal_rad, &|at| bends(at) > 0.0);
        let tool = Tool::Arc { centre, radius };
        let place = |at: f64| tool.cut(rolling_radius, at).0;
        let is_in_tooth = |at: f64| {
            let (x, y) = place(at);
            let (flank_x, flank_y) = self.flank_at(rolling_radius, x.hypot(y));
            x.atan2(y) > flank_x.atan2(flank_y)
        };
        if !is_in_tooth(FRAC_PI_2) {
            return None;
        }
        let end = halve(FRAC_PI_2, back, &is_in_tooth);
        let (x, y) = place(end);
        Some((end, Some(self.roll_at(rolling_radius, x.hypot(y)))))
    }

    /// How far the rack has rolled when the flank cuts at this distance from the axis, radians.
    pub(super) fn roll_at(&self, rolling_radius: f64, radius: f64) -> f64 {
        let (sin, cos) = self.normal_rad().sin_cos();
        let reach = (radius.powi(2) - (rolling_radius * cos).powi(2)).max(0.0).sqrt() - rolling_radius * sin;
        (self.flank_mm - rolling_radius * sin - reach) / (rolling_radius * cos)
    }

    /// The point of the right-hand involute, lengthened, at this distance from the axis.
    pub(super) fn flank_at(&self, rolling_radius: f64, radius: f64) -> Point {
        let line = Tool::Line { normal_rad: self.normal_rad(), offset: self.flank_mm };
        line.cut(rolling_radius, self.roll_at(rolling_radius, radius)).0
    }
}
