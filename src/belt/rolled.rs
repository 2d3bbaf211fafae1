//! The walls of involute-sided teeth: what the rack of [`super::rack`] leaves of the pulley.

use std::f64::consts::FRAC_PI_2;

use super::groove::Groove;
use super::rack::{Tool, curvature_radius};
use super::walls::{Point, Shape, Wall, WallKind};

impl Groove {
    /// The walls that the rack leaves.
    ///
    /// On few teeth the curves of flank and tip rounding pass through each other before they touch; what
    /// the rack leaves standing ends where they cross.
    pub(super) fn rolled_walls(&self, rolling_radius: f64) -> [Wall; 8] {
        let normal_rad = self.normal_rad();
        let rolled = |kind, tool, from, to| Wall {
            kind,
            shape: Shape::Rolled { tool, rolling_radius, from, to, is_mirrored: false, turn_rad: 0.0 },
        };
        let on_axis = |kind, radius, from_rad, to_rad| Wall {
            kind,
            shape: Shape::Arc { centre: (0.0, 0.0), radius, from_rad, to_rad },
        };
        let line = Tool::Line { normal_rad, offset: self.flank_mm };
        // The rolling at which the flank cuts `reach` along its normal from where the circles touch.
        let (sin, cos) = normal_rad.sin_cos();
        let roll = |reach: f64| (self.flank_mm - rolling_radius * sin - reach) / (rolling_radius * cos);
        let from_centre = |y: f64, radius: f64| roll((y - rolling_radius) / sin + radius);
        let bottom = self.bottom_centre();
        let fillet_tool = Tool::Arc { centre: bottom, radius: -self.bottom_radius_mm };
        let fillet = rolled(WallKind::RootFillet, fillet_tool, normal_rad, FRAC_PI_2);
        let root_roll = from_centre(bottom.1, -self.bottom_radius_mm);
        let floor_rad = bottom.0 / rolling_radius;
        let floor = on_axis(WallKind::Floor, self.floor_mm, FRAC_PI_2 - floor_rad, FRAC_PI_2 + floor_rad);

        let (tip_rounding, flank, tip_rad) = match self.tip_rounding_end(rolling_radius) {
            Some((end_rad, tip_roll)) => {
                let centre = self.tip_centre();
                let tool = Tool::Arc { centre, radius: self.tip_radius_mm };
                let rounding = rolled(WallKind::TipRounding, tool, FRAC_PI_2, end_rad);
                let roll = tip_roll.unwrap_or_else(|| from_centre(centre.1, self.tip_radius_mm));
                (rounding, rolled(WallKind::Flank, line, roll, root_roll), centre.0 / rolling_radius)
            }
            None => {
                // No rounding: flank and tip meet in a sharp corner.
                let corner = self.outer_corner();
                let roll = self.roll_at(rolling_radius, self.outside_radius_mm);
                let flank = rolled(WallKind::Flank, line, roll, root_roll);
                let (_, (nx, ny)) = flank.at(0.0);
                let from_rad = corner.1.atan2(corner.0);
                let shape = Shape::Arc { centre: corner, radius: 0.0, from_rad, to_rad: ny.atan2(nx) };
                (Wall { kind: WallKind::TipRounding, shape }, flank, FRAC_PI_2 - from_rad)
            }
        };
        let (begin, pitch) = (FRAC_PI_2 - tip_rad, 2.0 * self.half_pitch_rad());
        let tip = on_axis(WallKind::Tip, self.outside_radius_mm, FRAC_PI_2 + tip_rad, begin + pitch);
        let [left_fillet, left_flank, left_rounding] = [&fillet, &flank, &tip_rounding].map(Wall::mirrored);
        [tip_rounding, flank, fillet, floor, left_fillet, left_flank, left_rounding, tip]
    }

    /// Where the rounding at the tip ends, as the direction of the rack's normal, and the flank's rolling
    /// there where that is before the two touch; `None` where nothing is left of the rounding.
    fn tip_rounding_end(&self, rolling_radius: f64) -> Option<(f64, Option<f64>)> {
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
    fn roll_at(&self, rolling_radius: f64, radius: f64) -> f64 {
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
