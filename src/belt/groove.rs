//! The shape of a pulley's teeth: one groove, repeated, as few numbers as define it exactly.
//!
//! *Picture*: the groove's centre line is the +y axis and the pulley's axis the origin. The floor is
//! the straight line `y = floor_mm`. The right flank lies on the line `n.p = flank_mm` with
//! `n = (-cos phi, sin phi)`, which points out of the tooth into the groove; the left one is its mirror
//! image. Tips are arcs about the axis. Roundings are arcs tangent to their two neighbours.
//!
//! Moving every wall along its own normal and scaling about the axis keep this form: only the numbers
//! change. So the wanted, the drawn and (but for its tip roundings) the printed groove are all values of
//! one type, and a correction is exact.
//!
//! A groove whose width the table gives at the outside diameter (T profiles) has that width between the
//! corners on the tip circle, and its depth from that circle in the middle. Its floor then comes out
//! wider than `width - 2 depth tan phi` by `2 bulge tan phi`, the bulge being the circle's rise over the
//! groove: 0.14 mm at 10 teeth of T5, 0.03 mm at 60.
//!
//! An involute-sided groove is the same seven numbers of the rack that generates it, standing in the middle
//! of the groove, and the radius of the circle that it rolls on: [`super::rack`]. Widths at the outside
//! diameter are those of the groove that comes of it, the width at the floor is that of the rack's tip.
//!
//! Every size is in mm. Source: ISO 5294 (straight-sided groove), DIN 7721-2; formulas checked in the
//! tests against the usual ones.

use std::f64::consts::PI;

use super::profile::{StandardGroove, WidthAt};
use super::rack::Rack;

/// The teeth of a pulley.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Groove {
    /// How many teeth the pulley has.
    pub teeth: u32,
    /// Radius of the tips.
    pub outside_radius_mm: f64,
    /// Angle between a flank and the middle of the groove, radians.
    pub half_angle_rad: f64,
    /// Distance of a flank's line from the axis, along the normal that points into the groove.
    pub flank_mm: f64,
    /// Distance of the floor from the axis.
    pub floor_mm: f64,
    /// Radius between flank and floor; 0 is a sharp corner.
    pub bottom_radius_mm: f64,
    /// Radius between flank and tip; 0 is a sharp corner.
    pub tip_radius_mm: f64,
    /// Radius of the circle that the rack of involute sides rolls on; `None` of straight sides.
    pub rolling_radius_mm: Option<f64>,
    /// Radius that eases an involute tooth's tips, [`super::easing`]; 0 leaves them as the
    /// rack makes them. Of straight sides 0: their roundings are arcs of the table's radius.
    pub ease_radius_mm: f64,
}

/// Why such teeth do not exist.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoSuchTeeth {
    /// Fewer than three teeth, or a size that is not positive.
    #[error("the pulley is too small: its floor would lie {floor_mm:.2} mm from the axis")]
    NoBody {
        /// Where the floor would be, mm.
        floor_mm: f64,
    },
    /// The flanks lean so far that the outline doubles back, seen from the axis.
    #[error("so few teeth are no teeth: the flanks would pass on the wrong side of the axis")]
    NoTooth,
    /// Nothing is left of the tips between two grooves.
    #[error("the grooves run into each other: a land of {land_mm:.2} mm would be left between them")]
    NoLand {
        /// What would be left, mm; negative.
        land_mm: f64,
    },
    /// The rack's tip would cut into the involute.
    #[error("so few teeth would be undercut by the rack")]
    Undercut,
    /// The roundings at the floor run into each other.
    #[error("roundings of {radius_mm:.2} mm do not fit on the groove's floor")]
    NoFloor {
        /// Their radius, mm.
        radius_mm: f64,
    },
    /// The roundings at tip and floor run into each other on the flank.
    #[error(
        "roundings of {bottom_radius_mm:.2} mm and {tip_radius_mm:.2} mm do not fit on the groove's flank"
    )]
    NoFlank {
        /// Radius at the floor, mm.
        bottom_radius_mm: f64,
        /// Radius at the tip, mm.
        tip_radius_mm: f64,
    },
}

impl Groove {
    /// The groove of a standard on a pulley of this many teeth and this outside diameter.
    pub fn standard(
        groove: &StandardGroove,
        teeth: u32,
        outside_diameter_mm: f64,
    ) -> Result<Self, NoSuchTeeth> {
        let radius = outside_diameter_mm / 2.0;
        let floor = radius - groove.depth_mm;
        let (sin, cos) = groove.half_angle_rad.sin_cos();
        let half = groove.width_mm / 2.0;
        // A point of the flank: where the width is given.
        let height = match groove.width_at {
            WidthAt::Floor => floor,
            WidthAt::OutsideDiameter => (radius * radius - half * half).sqrt(),
        };
        let shape = Self {
            teeth,
            outside_radius_mm: radius,
            half_angle_rad: groove.half_angle_rad,
            flank_mm: height * sin - half * cos,
            floor_mm: floor,
            bottom_radius_mm: groove.bottom_radius_mm,
            tip_radius_mm: groove.tip_radius_mm,
            rolling_radius_mm: None,
            ease_radius_mm: 0.0,
        };
        shape.check()?;
        Ok(shape)
    }

    /// The groove that a rack generates on a pulley of these diameters, its tips' tight turns eased.
    pub fn involute(
        rack: &Rack,
        teeth: u32,
        pitch_diameter_mm: f64,
        outside_diameter_mm: f64,
    ) -> Result<Self, NoSuchTeeth> {
        let radius = outside_diameter_mm / 2.0;
        let floor = radius - rack.height_mm;
        let (sin, cos) = rack.half_angle_rad.sin_cos();
        let shape = Self {
            teeth,
            outside_radius_mm: radius,
            half_angle_rad: rack.half_angle_rad,
            flank_mm: floor * sin - rack.tip_width_mm / 2.0 * cos,
            floor_mm: floor,
            bottom_radius_mm: rack.tip_radius_mm,
            tip_radius_mm: rack.base_radius_mm,
            rolling_radius_mm: Some(pitch_diameter_mm / 2.0),
            ease_radius_mm: 0.0,
        };
        shape.check()?;
        Ok(shape.eased())
    }

    /// Whether these numbers make teeth: a body, a land, a floor and flanks.
    pub fn check(&self) -> Result<(), NoSuchTeeth> {
        // Written so that a NaN fails as well.
        if !(self.teeth >= 3 && self.floor_mm > 0.0 && self.floor_mm < self.outside_radius_mm) {
            return Err(NoSuchTeeth::NoBody { floor_mm: self.floor_mm });
        }
        if self.flank_mm <= 0.0 && self.rolling_radius_mm.is_none() {
            return Err(NoSuchTeeth::NoTooth);
        }
        if !(self.bottom_width_mm() > 0.0 && self.bottom_centre().0 > 0.0) {
            return Err(NoSuchTeeth::NoFloor { radius_mm: self.bottom_radius_mm });
        }
        let (x, y) = self.tip_centre();
        let half_groove_rad = self.rolling_radius_mm.map_or_else(|| x.atan2(y), |radius| x / radius);
        if !(self.land_mm() > 0.0 && half_groove_rad < self.half_pitch_rad()) {
            return Err(NoSuchTeeth::NoLand { land_mm: self.land_mm().min(0.0) });
        }
        let (lower, upper) = self.flank_ends();
        let (bottom_radius_mm, tip_radius_mm) = (self.bottom_radius_mm, self.tip_radius_mm);
        let no_flank = NoSuchTeeth::NoFlank { bottom_radius_mm, tip_radius_mm };
        if lower >= upper {
            return Err(no_flank);
        }
        self.check_undercut()?;
        if self.flank_roll_mm() > 0.0 { Ok(()) } else { Err(no_flank) }
    }

    /// The rack's flank must end before it reaches the line of action's foot on the base circle.
    fn check_undercut(&self) -> Result<(), NoSuchTeeth> {
        let Some(radius) = self.rolling_radius_mm else { return Ok(()) };
        let sin = self.half_angle_rad.sin();
        let lowest = self.bottom_centre().1 - self.bottom_radius_mm * sin - radius;
        if lowest > -radius * sin * sin { Ok(()) } else { Err(NoSuchTeeth::Undercut) }
    }

    /// Half the angle from one groove to the next, radians.
    pub fn half_pitch_rad(&self) -> f64 {
        PI / f64::from(self.teeth)
    }

    /// The normal of the right flank, into the groove.
    pub fn flank_normal(&self) -> (f64, f64) {
        let (sin, cos) = self.half_angle_rad.sin_cos();
        (-cos, sin)
    }

    /// The point of the right flank this far along it from the foot of the axis' perpendicular.
    fn along_flank(&self, distance: f64, offset: f64) -> (f64, f64) {
        let (sin, cos) = self.half_angle_rad.sin_cos();
        (-cos * offset + sin * distance, sin * offset + cos * distance)
    }

    /// The right-hand corner that flank and tip circle make.
    pub fn outer_corner(&self) -> (f64, f64) {
        if let Some(radius) = self.rolling_radius_mm {
            return self.flank_at(radius, self.outside_radius_mm);
        }
        let along = (self.outside_radius_mm.powi(2) - self.flank_mm.powi(2)).sqrt();
        self.along_flank(along, self.flank_mm)
    }

    /// Width at the outside diameter, between the corners that flanks and tip circle make.
    pub fn outer_width_mm(&self) -> f64 {
        2.0 * self.outer_corner().0
    }

    /// Width at the floor, between the corners that flanks and floor make.
    pub fn bottom_width_mm(&self) -> f64 {
        let (sin, cos) = self.half_angle_rad.sin_cos();
        2.0 * (self.floor_mm * sin - self.flank_mm) / cos
    }

    /// Depth below the outside diameter in the middle of the groove.
    pub fn depth_mm(&self) -> f64 {
        self.outside_radius_mm - self.floor_mm
    }

    /// Arc left on the outside diameter between two grooves, corners taken as sharp; may be negative.
    pub fn land_mm(&self) -> f64 {
        let (x, y) = self.outer_corner();
        2.0 * self.outside_radius_mm * (self.half_pitch_rad() - x.atan2(y))
    }

    /// Centre of the right-hand rounding at the floor; in the groove. Of involute sides: in the rack.
    pub fn bottom_centre(&self) -> (f64, f64) {
        let (sin, cos) = self.half_angle_rad.sin_cos();
        let y = self.floor_mm + self.bottom_radius_mm;
        ((y * sin - self.flank_mm - self.bottom_radius_mm) / cos, y)
    }

    /// Centre of the right-hand rounding at the tip; in the tooth. Of involute sides: in the rack.
    pub fn tip_centre(&self) -> (f64, f64) {
        let offset = self.flank_mm - self.tip_radius_mm;
        let reach = self.outside_radius_mm - self.tip_radius_mm;
        if self.rolling_radius_mm.is_some() {
            let (sin, cos) = self.half_angle_rad.sin_cos();
            return ((reach * sin - offset) / cos, reach);
        }
        self.along_flank((reach * reach - offset * offset).sqrt(), offset)
    }

    /// Where the straight part of the right flank begins and ends, along it.
    fn flank_ends(&self) -> (f64, f64) {
        let (sin, cos) = self.half_angle_rad.sin_cos();
        let along = |(x, y): (f64, f64)| x * sin + y * cos;
        (along(self.bottom_centre()), along(self.tip_centre()))
    }

    /// The same teeth with the tips moved out by `tip_mm` and flanks and floor by `groove_mm` into the
    /// groove, each along its own normal; roundings stay tangent and change by the mean of their two
    /// neighbours, to a sharp corner where nothing is left.
    #[must_use]
    pub fn grown(&self, tip_mm: f64, groove_mm: f64) -> Self {
        let tip_growth_mm = (tip_mm + groove_mm) / 2.0;
        let grown_ease = || (self.ease_radius_mm + tip_growth_mm).max(0.0);
        Self {
            outside_radius_mm: self.outside_radius_mm + tip_mm,
            flank_mm: self.flank_mm + groove_mm,
            floor_mm: self.floor_mm + groove_mm,
            bottom_radius_mm: (self.bottom_radius_mm - groove_mm).max(0.0),
            tip_radius_mm: (self.tip_radius_mm + tip_growth_mm).max(0.0),
            ease_radius_mm: self.rolling_radius_mm.map_or(0.0, |_| grown_ease()),
            ..*self
        }
    }

    /// The same teeth, every size times `scale` about the axis.
    #[must_use]
    pub fn scaled(&self, scale: f64) -> Self {
        Self {
            outside_radius_mm: self.outside_radius_mm * scale,
            flank_mm: self.flank_mm * scale,
            floor_mm: self.floor_mm * scale,
            bottom_radius_mm: self.bottom_radius_mm * scale,
            tip_radius_mm: self.tip_radius_mm * scale,
            rolling_radius_mm: self.rolling_radius_mm.map(|radius| radius * scale),
            ease_radius_mm: self.ease_radius_mm * scale,
            ..*self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::profile;

    fn standard(name: &str, teeth: u32) -> (StandardGroove, Groove) {
        let profile = profile::find(name, teeth).unwrap();
        let groove = profile.groove.unwrap();
        let outside = profile.pitch_mm * f64::from(teeth) / PI - profile.two_a_mm;
        (groove, Groove::standard(&groove, teeth, outside).unwrap())
    }

    /// Source: the corner formula `y = (-c t + sqrt(R^2 (1 + t^2) - c^2)) / (1 + t^2)`, `x = c + y t`,
    /// `c = bw/2 - y0 t`, `t = tan phi`; here against our normal form of the same flank.
    #[test]
    fn corners_are_those_of_the_usual_formula() {
        for name in ["MXL", "XXL", "XL", "L", "H", "XH", "XXH"] {
            for teeth in [22, 23, 40, 72] {
                let (table, groove) = standard(name, teeth);
                let (radius, t) = (groove.outside_radius_mm, table.half_angle_rad.tan());
                let c = table.width_mm / 2.0 - (radius - table.depth_mm) * t;
                let y = (-c * t + (radius * radius * (1.0 + t * t) - c * c).sqrt()) / (1.0 + t * t);
                let corner = groove.outer_corner();
                assert!(
                    (corner.0 - (c + y * t)).abs() < 1e-12 && (corner.1 - y).abs() < 1e-12,
                    "{name} {teeth}"
                );
                assert!((groove.bottom_width_mm() - table.width_mm).abs() < 1e-12, "{name} {teeth}");
                let land = radius * (2.0 * PI / f64::from(teeth) - 2.0 * (corner.0 / radius).asin());
                assert!((groove.land_mm() - land).abs() < 1e-11, "{name} {teeth}");
            }
        }
    }

    #[test]
    fn metric_grooves_have_their_width_at_the_outside_diameter() {
        for (name, teeth) in [("T2.5", 12), ("T2.5", 60), ("T5", 10), ("T5", 20), ("T5", 21), ("T10", 72)] {
            let (table, groove) = standard(name, teeth);
            assert!((groove.outer_width_mm() - table.width_mm).abs() < 1e-12, "{name} {teeth}");
            assert!((groove.depth_mm() - table.depth_mm).abs() < 1e-12, "{name} {teeth}");
            // The floor is what the width loses over the depth less the bulge of the tip circle; without
            // the bulge (large pulleys) it is `width - 2 depth tan phi`.
            let bulge = groove.outside_radius_mm - groove.outer_corner().1;
            let floor = table.width_mm - 2.0 * (table.depth_mm - bulge) * table.half_angle_rad.tan();
            assert!((groove.bottom_width_mm() - floor).abs() < 1e-12, "{name} {teeth}");
        }
    }

    /// The tangent length of a rounding is `r tan((90 deg - phi)/2)` along floor and flank.
    #[test]
    fn floor_roundings_touch_where_the_tangent_length_says() {
        for name in ["MXL", "XL", "T5", "T10"] {
            let (table, groove) = standard(name, 40);
            let tangent = table.bottom_radius_mm * ((PI / 2.0 - table.half_angle_rad) / 2.0).tan();
            let expected = groove.bottom_width_mm() / 2.0 - tangent;
            assert!((groove.bottom_centre().0 - expected).abs() < 1e-12, "{name}");
        }
    }

    #[test]
    fn tip_roundings_touch_both_neighbours() {
        let (table, groove) = standard("T5", 20);
        let (x, y) = groove.tip_centre();
        let (nx, ny) = groove.flank_normal();
        assert!((x.hypot(y) + table.tip_radius_mm - groove.outside_radius_mm).abs() < 1e-12);
        assert!((x * nx + y * ny + table.tip_radius_mm - groove.flank_mm).abs() < 1e-12);
    }

    /// Source: README of the belt tables: grown by delta along the normal, depth is unchanged and floor
    /// and outside width lose `2 delta tan((90 deg - phi)/2)`.
    #[test]
    fn growing_all_walls_alike_keeps_the_depth_and_narrows_the_groove() {
        let (table, groove) = standard("XL", 60);
        let grown = groove.grown(0.1, 0.1);
        let loss = 0.2 * ((PI / 2.0 - table.half_angle_rad) / 2.0).tan();
        assert!((grown.depth_mm() - groove.depth_mm()).abs() < 1e-12);
        assert!((groove.bottom_width_mm() - grown.bottom_width_mm() - loss).abs() < 1e-12);
        // W12: the floor of 1.32 mm prints 1.192586 mm.
        assert!((grown.bottom_width_mm() - 1.192586).abs() < 5.1e-7);
        // At the outside diameter the curve of the tips makes a difference of the second order.
        assert!((groove.outer_width_mm() - grown.outer_width_mm() - loss).abs() < 2e-3);
    }

    #[test]
    fn growing_and_scaling_are_undone_exactly() {
        let (_, groove) = standard("T10", 30);
        let back = groove.scaled(0.996).grown(0.08, 0.11).grown(-0.08, -0.11).scaled(1.0 / 0.996);
        assert!((back.flank_mm - groove.flank_mm).abs() < 1e-12);
        assert!((back.tip_radius_mm - groove.tip_radius_mm).abs() < 1e-12);
        assert!((back.bottom_radius_mm - groove.bottom_radius_mm).abs() < 1e-12);
    }

    #[test]
    fn teeth_that_do_not_exist_are_refused_with_the_reason() {
        let (_, groove) = standard("T5", 20);
        let crowded = Groove { teeth: 40, ..groove };
        assert!(matches!(crowded.check(), Err(NoSuchTeeth::NoLand { .. })));
        let round = Groove { bottom_radius_mm: 2.0, ..groove };
        assert!(matches!(round.check(), Err(NoSuchTeeth::NoFloor { .. })));
        let blunt = Groove { tip_radius_mm: 1.6, teeth: 8, ..groove };
        assert!(matches!(blunt.check(), Err(NoSuchTeeth::NoFlank { .. })), "{:?}", blunt.check());
        assert!(matches!(Groove { floor_mm: -1.0, ..groove }.check(), Err(NoSuchTeeth::NoBody { .. })));
        assert!(matches!(Groove { flank_mm: -0.1, ..groove }.check(), Err(NoSuchTeeth::NoTooth)));
        assert!(matches!(Groove { flank_mm: f64::NAN, ..groove }.check(), Err(NoSuchTeeth::NoFloor { .. })));
    }
}
