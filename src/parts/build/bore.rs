//! The bore: round, with a flat, with a key slot, hexagonal or square.
//!
//! *Picture*: all of it is its own mirror image in x, so that a piece that is turned over mates with one that
//! is not. The flat of a D lies at +y, where a set screw comes through it onto the shaft's flat; so does a
//! key slot. Hexagon and square have a flat there, too.
//!
//! Round walls are corrected as a bore, flats as half of a gap, a slot's width as a gap. Sizes of keys come
//! from no table here: they are asked for.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use crate::correction::apply::CannotApply;
use crate::geometry::curve::{Corner, Curve, CurveLoop};
use crate::geometry::outline::{Point, segments_for};
use crate::kind::Kind;

use super::sizing::{Sized, Sizing};
use super::{CannotBuild, need_positive};

/// A bore, in sizes from the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bore {
    /// Round.
    Round {
        /// Diameter, mm.
        diameter_mm: f64,
    },
    /// Round with a flat: for a D-shaped shaft.
    Flat {
        /// Diameter of the round part, mm.
        diameter_mm: f64,
        /// From the axis to the flat, mm.
        flat_mm: f64,
    },
    /// Round with a slot for a key.
    Keyed {
        /// Diameter, mm.
        diameter_mm: f64,
        /// Width of the slot, mm.
        width_mm: f64,
        /// From the axis to the slot's bottom, mm.
        bottom_mm: f64,
    },
    /// Regular, by its flats.
    Polygon {
        /// How many flats: 4 or 6.
        sides: u8,
        /// From the axis to a flat, mm.
        flat_mm: f64,
    },
}

impl Bore {
    /// Round, of this diameter.
    pub fn round(diameter_mm: f64) -> Self {
        Self::Round { diameter_mm }
    }

    /// A D: the diameter, and the size from the flat to the far side.
    pub fn flat(diameter_mm: f64, across_mm: f64) -> Self {
        Self::Flat { diameter_mm, flat_mm: across_mm - diameter_mm / 2.0 }
    }

    /// A bore with a key slot: the slot's width, and its depth beyond the bore, mm.
    pub fn keyed(diameter_mm: f64, width_mm: f64, depth_mm: f64) -> Self {
        Self::Keyed { diameter_mm, width_mm, bottom_mm: diameter_mm / 2.0 + depth_mm }
    }

    /// Diameter, or width across flats where it has only flats, mm.
    pub fn size_mm(&self) -> f64 {
        match *self {
            Self::Round { diameter_mm }
            | Self::Flat { diameter_mm, .. }
            | Self::Keyed { diameter_mm, .. } => diameter_mm,
            Self::Polygon { flat_mm, .. } => 2.0 * flat_mm,
        }
    }

    /// The kind that its size is of.
    pub fn kind(&self) -> Kind {
        if matches!(self, Self::Polygon { .. }) { Kind::Gap } else { Kind::Bore }
    }

    /// Whether it has inner corners that what goes in must fill: a D is cut off, and its corners are blunt.
    pub fn has_corners(&self) -> bool {
        matches!(self, Self::Keyed { .. } | Self::Polygon { .. })
    }

    /// The greatest distance from the axis, mm.
    pub fn reach_mm(&self) -> f64 {
        match *self {
            Self::Round { diameter_mm } | Self::Flat { diameter_mm, .. } => diameter_mm / 2.0,
            Self::Keyed { width_mm, bottom_mm, .. } => bottom_mm.hypot(width_mm / 2.0),
            Self::Polygon { sides, flat_mm } => flat_mm / (PI / f64::from(sides)).cos(),
        }
    }

    /// Whether these sizes make a bore.
    pub fn check(&self) -> Result<(), CannotBuild> {
        need_positive("a bore", self.size_mm())?;
        let refuse = |what, size_mm, reason: String| Err(CannotBuild::Size { what, size_mm, reason });
        match *self {
            Self::Flat { diameter_mm, flat_mm } if !(0.0 < flat_mm && flat_mm < diameter_mm / 2.0) => {
                let (low, high) = (diameter_mm / 2.0, diameter_mm);
                refuse("a size across a flat", flat_mm + low, format!("it must lie between {low} and {high}"))
            }
            Self::Keyed { diameter_mm, width_mm, .. } if !(0.0 < width_mm && width_mm < diameter_mm) => {
                refuse("a key slot's width", width_mm, format!("it must be above 0 and below {diameter_mm}"))
            }
            Self::Keyed { diameter_mm, bottom_mm, .. }
                if bottom_mm.total_cmp(&(diameter_mm / 2.0)).is_le() =>
            {
                let depth = bottom_mm - diameter_mm / 2.0;
                refuse("a key slot's depth", depth, "it must be above 0".to_owned())
            }
            _ => Ok(()),
        }
    }

    /// The bore to draw.
    pub fn drawn(&self, sizing: &Sizing<'_>) -> Result<Self, CannotApply> {
        let round = |mm| sizing.drawn_mm(Kind::Bore, mm);
        Ok(match *self {
            Self::Round { diameter_mm } => Self::Round { diameter_mm: round(diameter_mm)? },
            Self::Flat { diameter_mm, flat_mm } => {
                Self::Flat { diameter_mm: round(diameter_mm)?, flat_mm: sizing.drawn_flat_mm(flat_mm)? }
            }
            Self::Keyed { diameter_mm, width_mm, bottom_mm } => Self::Keyed {
                diameter_mm: round(diameter_mm)?,
                width_mm: sizing.drawn_mm(Kind::Gap, width_mm)?,
                bottom_mm: sizing.drawn_flat_mm(bottom_mm)?,
            },
            Self::Polygon { sides, flat_mm } => {
                Self::Polygon { sides, flat_mm: sizing.drawn_flat_mm(flat_mm)? }
            }
        })
    }

    /// What a caliper finds on it.
    pub fn sizes(&self, out: &mut Vec<Sized>) {
        match *self {
            Self::Round { diameter_mm } => out.push(Sized::new("bore", Kind::Bore, diameter_mm)),
            Self::Flat { diameter_mm, flat_mm } => out.extend([
                Sized::new("bore", Kind::Bore, diameter_mm),
                Sized::across_flat("bore across its flat", diameter_mm, flat_mm),
            ]),
            Self::Keyed { diameter_mm, width_mm, bottom_mm } => out.extend([
                Sized::new("bore", Kind::Bore, diameter_mm),
                Sized::new("key slot width", Kind::Gap, width_mm),
                Sized::across_flat("key slot bottom to far side", diameter_mm, bottom_mm),
            ]),
            Self::Polygon { flat_mm, .. } => {
                out.push(Sized::new("bore across flats", Kind::Gap, 2.0 * flat_mm));
            }
        }
    }

    /// The bore at a chamfered mouth: its round walls farther out by this, its corners on rays from the axis, so
    /// that the chamfer is made of cones and planes. A flat beside a round wall moves out by its share of it.
    #[must_use]
    pub fn opened(&self, by_mm: f64) -> Self {
        let radius = self.size_mm() / 2.0;
        let scale = (radius + by_mm) / radius;
        match *self {
            Self::Round { diameter_mm } => Self::Round { diameter_mm: diameter_mm * scale },
            Self::Flat { diameter_mm, flat_mm } => {
                Self::Flat { diameter_mm: diameter_mm * scale, flat_mm: flat_mm * scale }
            }
            Self::Keyed { diameter_mm, width_mm, bottom_mm } => Self::Keyed {
                diameter_mm: diameter_mm * scale,
                width_mm: width_mm * scale,
                bottom_mm: bottom_mm + by_mm,
            },
            Self::Polygon { sides, flat_mm } => Self::Polygon { sides, flat_mm: flat_mm * scale },
        }
    }

    /// Where a place of its outline lies at that mouth.
    pub(super) fn opened_place(&self, [x, y]: Point, by_mm: f64) -> Point {
        let radius = self.size_mm() / 2.0;
        let scale = (radius + by_mm) / radius;
        match *self {
            // In the slot: from where it meets the round wall, evenly to its bottom.
            Self::Keyed { width_mm, bottom_mm, .. } if y > 0.0 && x.abs() <= width_mm / 2.0 + 1e-9 => {
                let begin = (radius * radius - width_mm * width_mm / 4.0).sqrt();
                let share = (y - begin) / (bottom_mm - begin);
                [x * scale, begin * scale + share * (bottom_mm + by_mm - begin * scale)]
            }
            _ => [x * scale, y * scale],
        }
    }

    /// Its outline as true lines and arcs, counter-clockwise.
    pub fn curves(&self) -> CurveLoop {
        let on = |radius: f64, angle: f64| [radius * angle.cos(), radius * angle.sin()];
        let arc = |radius: f64, from: f64, to: f64| Corner {
            at: on(radius, from),
            curve: Curve::Arc { center: [0.0, 0.0], sweep_rad: to - from },
        };
        let line = |at| Corner { at, curve: Curve::Line };
        match *self {
            Self::Round { diameter_mm } => CurveLoop::circle([0.0, 0.0], diameter_mm),
            Self::Flat { diameter_mm, flat_mm } => {
                let radius = diameter_mm / 2.0;
                let half = (flat_mm / radius).acos();
                let (from, to) = (FRAC_PI_2 + half, FRAC_PI_2 - half + TAU);
                CurveLoop { corners: vec![arc(radius, from, to), line(on(radius, to))] }
            }
            Self::Keyed { diameter_mm, width_mm, bottom_mm } => {
                let radius = diameter_mm / 2.0;
                let half = (width_mm / 2.0 / radius).asin();
                let (from, to) = (FRAC_PI_2 + half, FRAC_PI_2 - half + TAU);
                let (left, right) = ([-width_mm / 2.0, bottom_mm], [width_mm / 2.0, bottom_mm]);
                CurveLoop {
                    corners: vec![arc(radius, from, to), line(on(radius, to)), line(right), line(left)],
                }
            }
            Self::Polygon { sides, flat_mm } => {
                let step = TAU / f64::from(sides);
                let radius = flat_mm / (step / 2.0).cos();
                let corners = (0..sides).map(|i| line(on(radius, FRAC_PI_2 + (f64::from(i) + 0.5) * step)));
                CurveLoop { corners: corners.collect() }
            }
        }
    }

    /// Its outline as a polygon, counter-clockwise. Arcs keep the area of the true ones; flats lie where
    /// they are.
    pub fn corners(&self) -> Vec<Point> {
        let curves = self.curves();
        let mut points = Vec::new();
        for edge in curves.edges() {
            match edge.curve {
                Curve::Line => points.push(edge.from),
                Curve::Arc { sweep_rad, .. } => {
                    let radius = edge.radius().unwrap_or_default();
                    let share = sweep_rad.abs() / TAU;
                    let count = ((segments_for(2.0 * radius) as f64 * share).ceil() as usize).max(2);
                    points.extend(arc_corners(radius, edge.from, sweep_rad, count));
                }
            }
        }
        points
    }
}

/// Corners along an arc about the axis, its end left out. Between its ends they lie as far outside the
/// arc as keeps the area; a whole circle's first one does, too.
fn arc_corners(radius: f64, from: Point, sweep_rad: f64, count: usize) -> impl Iterator<Item = Point> {
    let step = sweep_rad / count as f64;
    let outside = radius * (step / step.sin()).sqrt();
    let begin = from[1].atan2(from[0]);
    let is_whole = (sweep_rad.abs() - TAU).abs() < 1e-9;
    (0..count).map(move |i| {
        let radius = if i == 0 && !is_whole { radius } else { outside };
        let (sin, cos) = (begin + step * i as f64).sin_cos();
        [radius * cos, radius * sin]
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::Term;
    use crate::geometry::outline::loop_area;
    use crate::parts::pulley_law::tests::correction;

    fn all() -> [Bore; 5] {
        [
            Bore::round(5.0),
            Bore::flat(5.0, 4.5),
            Bore::keyed(12.0, 4.0, 1.8),
            Bore::Polygon { sides: 6, flat_mm: 4.0 },
            Bore::Polygon { sides: 4, flat_mm: 3.0 },
        ]
    }

    /// Closed forms: circle, circle less a segment, circle and slot, polygon by its flats.
    #[test]
    fn areas_are_those_of_the_closed_forms() {
        let circle = |d: f64| PI * d * d / 4.0;
        let segment = |r: f64, half: f64| r * r * (half - half.sin() * half.cos());
        let (flat, slot) = ((2.0_f64 / 2.5).acos(), (2.0_f64 / 6.0).asin());
        let expected = [
            circle(5.0),
            circle(5.0) - segment(2.5, flat),
            circle(12.0) + 4.0 * (7.8 - 6.0 * slot.cos()) - segment(6.0, slot),
            6.0 * 16.0 * (PI / 6.0).tan(),
            36.0,
        ];
        for (bore, area) in all().iter().zip(expected) {
            assert!(
                (bore.curves().area() - area).abs() < 1e-9,
                "{bore:?}: {} for {area}",
                bore.curves().area()
            );
            let drawn = loop_area(&bore.corners());
            assert!((drawn / area - 1.0).abs() < 6e-4, "{bore:?}: {drawn} for {area}");
            assert!(bore.check().is_ok());
        }
    }

    #[test]
    fn each_wall_is_drawn_by_its_own_kind() {
        let model = [
            (Term::Offset(Kind::Bore), -0.2),
            (Term::Offset(Kind::Gap), -0.3),
            (Term::Offset(Kind::Pin), 0.2),
        ];
        let correction = correction(&model, &[Kind::Bore, Kind::Gap, Kind::Pin]);
        let sizing = Sizing::new(Some(&correction));
        // A bore grows by its own 0.2; a flat moves away from the axis by half of a gap's 0.3.
        assert_eq!(
            Bore::flat(5.0, 4.5).drawn(&sizing).unwrap(),
            Bore::Flat { diameter_mm: 5.2, flat_mm: 2.15 }
        );
        let hexagon = Bore::Polygon { sides: 6, flat_mm: 4.0 }.drawn(&sizing).unwrap();
        assert_eq!(hexagon, Bore::Polygon { sides: 6, flat_mm: 4.15 });
        let (mut wanted, mut drawn) = (Vec::new(), Vec::new());
        Bore::flat(5.0, 4.5).sizes(&mut wanted);
        Bore::flat(5.0, 4.5).drawn(&sizing).unwrap().sizes(&mut drawn);
        let table = sizing.dimensions(&wanted, &drawn).unwrap();
        for row in &table {
            let expected = row.expected.unwrap();
            assert!((expected.expected_mm - row.wanted_mm).abs() < 1e-12, "{row:?}");
        }
        assert!((table[1].drawn_mm - 4.75).abs() < 1e-12);
    }

    #[test]
    fn bores_that_cannot_be_are_refused() {
        for bore in [
            Bore::round(0.0),
            Bore::flat(5.0, 2.5),
            Bore::flat(5.0, 5.1),
            Bore::keyed(6.0, 7.0, 1.0),
            Bore::keyed(6.0, 2.0, 0.0),
            Bore::round(f64::NAN),
        ] {
            assert!(bore.check().is_err(), "{bore:?}");
        }
        assert_eq!(
            Bore::flat(5.0, 5.5).check().unwrap_err().to_string(),
            "a size across a flat of 5.5 mm cannot be: it must lie between 2.5 and 5"
        );
    }
}
