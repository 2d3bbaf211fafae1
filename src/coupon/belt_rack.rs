//! Belt rack: straight rows of a belt profile's true grooves, each row drawn a little wider than the last.
//!
//! A piece of the real belt is laid into each row in turn, and how it goes in is written down as a feel.
//! The walls stand on the bed as those of a printed pulley do, and end on the base, so that the first
//! layer's spread is not in them. Every row has a number on the strip before it: by how many hundredths
//! of a millimetre its grooves are wider than the standard's.
//!
//! *Picture*, from above; the belt's back looks up:
//!
//! ```text
//!      _   _   _____   _   _       top
//!   __/ \_/ \_/     \_/ \_/ \__    floor
//!  |___________________________|
//!  [name]   0          5           strip with numbers
//! ```
//!
//! The width of a groove is that between the corners that its flanks make with the line over the tips; the
//! belt's tooth has its width at its root to go with it. The groove is the standard's for a pulley of the
//! given tooth count, unrolled: flanks, floor and roundings keep their sizes.

use super::body::{Body, Stance, along_x};
use super::feature::{Feature, Tool, feature_label, tidy};
use super::fields::Fields;
use super::label::Label;
use super::limits::{
    BED_CHAMFER_MM, BELT_FACE, LABEL_RELIEF_MM, RACK_TEETH, ROW, STRIP_MM, TAB_MM, WALL_MM, WIDER,
};
use crate::belt::profile::{self, StandardGroove, WidthAt};
use crate::geometry::outline::{Outline, Point};
use crate::kind::{Axis, Kind};

/// Plastic behind the floor of the grooves.
const BACK_MM: f64 = 6.0;

/// Chords of a rounding: for 1.6 mm over 70 degrees they keep within 0.002 mm.
const CHORDS: usize = 12;

/// Rows of grooves along x.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct BeltRack {
    pub groove: StandardGroove,
    pub pitch_mm: f64,
    /// Drawn width of each row's grooves less the standard's, mm.
    pub wider_mm: Vec<f64>,
    pub grooves: usize,
    pub width_mm: f64,
}

/// What stands before a row: hundredths of a millimetre.
fn number(wider_mm: f64) -> String {
    // Adding zero makes a plain zero of a negative one.
    (tidy(wider_mm * 100.0) + 0.0).to_string()
}

impl BeltRack {
    /// The rack of a table; `None` when its belt is not known, which is a problem of the table.
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Option<Self> {
        let belt = fields.text("belt", "a belt profile, such as \"T5\"");
        let teeth = fields.length_or("teeth", 20.0, RACK_TEETH).round() as u32;
        let wider_mm = fields.lengths("wider_mm", WIDER, 12);
        let grooves = fields.length_or("grooves", 3.0, ROW).round() as usize;
        let width_mm = fields.length_or("width_mm", 10.0, BELT_FACE);
        if belt.is_empty() {
            return None;
        }
        let found = profile::find(&belt, teeth);
        let profile = match &found {
            Ok(profile) => profile,
            Err(error) => {
                fields.problem("belt", error.to_string(), &error.help().unwrap_or_default());
                return None;
            }
        };
        let rack = Self { groove: profile.groove?, pitch_mm: profile.pitch_mm, wider_mm, grooves, width_mm };
        for wider in &rack.wider_mm {
            let number = Label::new(&number(*wider)).map_or(0.0, |label| label.width_mm());
            if number + 1.0 > rack.pitch_mm * (rack.grooves + 1) as f64 {
                let message = format!("the number before the row of {wider} is longer than the row");
                fields.problem("grooves", message, "put more grooves into a row");
            }
            let (floor, land) = rack.left_over(*wider);
            if floor <= 0.0 || land <= 0.0 {
                let message = format!("grooves {wider} mm wider than those of {belt} run into each other");
                fields.problem("wider_mm", message, "give smaller steps");
            }
        }
        Some(rack)
    }

    /// The standard's width between the corners over the tips.
    fn standard_width_mm(&self) -> f64 {
        let groove = &self.groove;
        match groove.width_at {
            WidthAt::OutsideDiameter => tidy(groove.width_mm),
            WidthAt::Floor => tidy(groove.width_mm + 2.0 * groove.depth_mm * groove.half_angle_rad.tan()),
        }
    }

    /// How far from a corner a rounding of radius 1 begins.
    fn tangent(&self) -> f64 {
        (std::f64::consts::FRAC_PI_4 - self.groove.half_angle_rad / 2.0).tan()
    }

    /// What is left of a groove's floor and of the tip between two grooves, beside the roundings.
    fn left_over(&self, wider: f64) -> (f64, f64) {
        let (groove, width) = (&self.groove, self.standard_width_mm() + wider);
        let floor = width - 2.0 * groove.depth_mm * groove.half_angle_rad.tan();
        (
            floor - 2.0 * groove.bottom_radius_mm * self.tangent(),
            self.pitch_mm - width - 2.0 * groove.tip_radius_mm * self.tangent(),
        )
    }

    /// The middles of a row's grooves; a row is one pitch from the next.
    fn middles(&self, row: usize) -> impl Iterator<Item = f64> + '_ {
        let first = row * (self.grooves + 1);
        (first..first + self.grooves).map(|place| WALL_MM + self.pitch_mm * (place as f64 + 0.5))
    }

    fn length_mm(&self) -> f64 {
        2.0 * WALL_MM + self.pitch_mm * (self.wider_mm.len() * (self.grooves + 1) - 1) as f64
    }

    fn top_mm(&self) -> f64 {
        BACK_MM + self.groove.depth_mm
    }

    /// One groove from its right corner to its left one, the plastic on the left.
    fn groove_points(&self, middle: f64, width: f64) -> Vec<Point> {
        let groove = &self.groove;
        let (phi, tangent) = (groove.half_angle_rad, self.tangent());
        let (half, top) = (width / 2.0, self.top_mm());
        let tip = [half + groove.tip_radius_mm * tangent, top - groove.tip_radius_mm];
        let floor_half = half - groove.depth_mm * phi.tan();
        let root = [floor_half - groove.bottom_radius_mm * tangent, BACK_MM + groove.bottom_radius_mm];
        let right_angle = std::f64::consts::FRAC_PI_2;
        let arc = |[x, y]: Point, radius: f64, from: f64, to: f64| {
            (0..=CHORDS).map(move |step| {
                let (sin, cos) = (from + (to - from) * step as f64 / CHORDS as f64).sin_cos();
                [x + radius * cos, y + radius * sin]
            })
        };
        let mut right: Vec<Point> =
            arc(tip, groove.tip_radius_mm, right_angle, 2.0 * right_angle - phi).collect();
        right.extend(arc(root, groove.bottom_radius_mm, -phi, -right_angle));
        let left: Vec<Point> = right.iter().rev().map(|[x, y]| [-x, *y]).collect();
        right.into_iter().chain(left).map(|[x, y]| [middle + x, y]).collect()
    }

    fn rack(&self) -> Outline {
        let (length, top) = (self.length_mm(), self.top_mm());
        let mut points = vec![[0.0, 0.0], [length, 0.0], [length, top]];
        for (row, wider) in self.wider_mm.iter().enumerate().rev() {
            let middles: Vec<f64> = self.middles(row).collect();
            for middle in middles.into_iter().rev() {
                points.extend(self.groove_points(middle, self.standard_width_mm() + wider));
            }
        }
        points.push([0.0, top]);
        Outline::polygon(points)
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let (length, top) = (self.length_mm(), self.top_mm());
        let name_room = label.width_mm() + 2.8;
        let base = |c: f64| Outline::rectangle(c - name_room, c - STRIP_MM, length - c, top - c);
        let mut letters = label.centred([-name_room / 2.0, -STRIP_MM / 2.0]);
        let mut features = Vec::new();
        let z = TAB_MM + self.width_mm / 2.0;
        for (row, wider) in self.wider_mm.iter().enumerate() {
            let middles: Vec<f64> = self.middles(row).collect();
            let center = f64::midpoint(middles[0], middles[middles.len() - 1]);
            // Digits, a point and a minus all have glyphs, as a test of all names' characters proves.
            if let Ok(number) = Label::new(&number(*wider)) {
                letters = letters.union_disjoint(&number.centred([center, -STRIP_MM / 2.0]));
            }
            let width = tidy(self.standard_width_mm() + wider);
            let middle = middles[middles.len() / 2];
            features.push(Feature {
                label: feature_label('g', width, ""),
                kind: Kind::Gap,
                axis: Axis::X,
                nominal_mm: width,
                jaws: along_x(Tool::RealPiece, middle - width / 2.0, middle + width / 2.0, top, z),
                label_at: [middle, top + 4.0],
            });
        }
        let mut body = Body::new(Stance::Upright, letters.clone())
            .tapered(BED_CHAMFER_MM, base(BED_CHAMFER_MM), base(0.0))
            .straight(TAB_MM, base(0.0))
            .straight(TAB_MM + LABEL_RELIEF_MM, self.rack().union_disjoint(&letters))
            .straight(TAB_MM + self.width_mm, self.rack());
        features.into_iter().for_each(|feature| body.measured(feature));
        body
    }
}
