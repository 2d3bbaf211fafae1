//! Motor mount: a plate on three feet with what matters where a motor warms its mount.
//!
//! A register bore, four screw holes on a square, a bore for a pressed pin, a slot along x and one along y
//! whose depth is a long span, and in the slot along x a thin arm on the bed, rooted at the slot's bottom.
//! Turned over it stands on its feet like a table, and the arm hangs free, under its own weight or that of
//! a screw in its hole. How far it has sagged is read with the depth rod from the tops of both prongs.
//!
//! ```text
//!   y   |  |  |                          the slots, prong either side; the arm is in the lower one
//!   ^   |  |  |____________
//!   |   |  |      label     |
//!       |  |    o         o |            o screw holes on a square
//!       |  |      ____      |___
//!       |  |     /    \      (_)|        register bore, and the bore for the pressed pin
//!       |  |     \____/      ___|
//!       |  |    o         o |
//!       |   ________________|________
//!       |  |=================arm===o=    seen from above, as it is printed
//!       |__|_________________________    -> x
//! ```

use super::body::{Body, Stance, along_x, along_y, along_z, circle};
use super::feature::{ARM_SUFFIX, Feature, Jaws, Tool, feature_label, tidy};
use super::fields::Fields;
use super::label::Label;
use super::limits::{
    ARM, BED_CHAMFER_MM, LABEL_HEIGHT_MM, LABEL_RELIEF_MM, MOUNT_HEIGHT, PRESS, REGISTER, SCREW, SPAN,
    SQUARE, TOP_CHAMFER_MM, WALL_MM,
};
use crate::geometry::outline::{Outline, Point};
use crate::kind::{Axis, Kind};

/// Thickness of the plate: jaws need 6 mm of bare bore between the chamfers.
const PLATE_MM: f64 = 8.0;

/// Width of a slot: a depth rod is up to 4 mm wide, and the end of the beam has to bridge it.
const SLOT_MM: f64 = 9.0;

/// Width of the arm; what is left of the slot keeps it free of both prongs.
const ARM_WIDTH_MM: f64 = 6.0;

/// How far the arm stays behind the prongs' ends, which the beam of the caliper rests on.
const ARM_SHORT_MM: f64 = 2.0;

/// The hole for a screw or a wire in the arm, and how far it is from the arm's tip.
const ARM_HOLE_MM: f64 = 3.2;
const ARM_HOLE_FROM_TIP_MM: f64 = 5.0;

/// How far from the prongs' ends the rod comes down on the arm, clear of hole and foot.
const SAG_FROM_END_MM: f64 = 15.0;

/// Plate around the label.
const LABEL_EDGE_MM: f64 = 1.2;

/// Length of a foot along its prong.
const FOOT_MM: f64 = 8.0;

/// Width of a bar: two prongs and the slot between them. The solid corner where they meet is as wide.
const BAR_MM: f64 = 2.0 * WALL_MM + SLOT_MM;

/// One mount.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct MotorMount {
    pub register_mm: f64,
    pub square_mm: f64,
    pub screw_mm: f64,
    pub press_mm: f64,
    pub span_mm: f64,
    pub height_mm: f64,
    pub arm_mm: f64,
}

impl MotorMount {
    pub(super) fn read(fields: &mut Fields<'_, '_>) -> Self {
        let mount = Self {
            register_mm: fields.length_or("register_mm", 22.0, REGISTER),
            square_mm: fields.length_or("square_mm", 31.0, SQUARE),
            screw_mm: fields.length_or("screw_mm", 3.4, SCREW),
            press_mm: fields.length_or("press_mm", 8.0, PRESS),
            span_mm: fields.length_or("span_mm", 60.0, SPAN),
            height_mm: fields.length_or("height_mm", 24.0, MOUNT_HEIGHT),
            arm_mm: fields.length_or("arm_mm", 2.0, ARM),
        };
        let between = mount.square_mm * std::f64::consts::SQRT_2 - mount.screw_mm - 2.0 * WALL_MM;
        let widest = between.min(2.0 * mount.reach_mm());
        if mount.register_mm > widest {
            let message = format!("the register must be {widest:.1} mm or less on this square");
            fields.problem("register_mm", message, "4 mm of wall stand between it and the screws");
        }
        let least = tidy(mount.boss_end_mm().max(mount.plate_back_mm()) + FOOT_MM - BAR_MM);
        if mount.span_mm < least {
            let message = format!("the span must be {least} mm or more for this register, square and pin");
            fields.problem(
                "span_mm",
                message,
                "the prongs reach beyond the plate, where jaws get at their ends",
            );
        }
        mount
    }

    /// Where the register's middle is, in x and in y.
    fn middle_mm(&self) -> f64 {
        tidy(BAR_MM + self.reach_mm())
    }

    /// From the middle of the plate to the far side of a screw hole.
    fn reach_mm(&self) -> f64 {
        (self.square_mm + self.screw_mm) / 2.0
    }

    /// Where the plate ends, in x.
    fn plate_end_mm(&self) -> f64 {
        tidy(self.middle_mm() + self.reach_mm() + WALL_MM)
    }

    /// Where the plate ends in y, behind the label.
    fn plate_back_mm(&self) -> f64 {
        tidy(self.middle_mm() + self.reach_mm() + LABEL_HEIGHT_MM + 2.0 * LABEL_EDGE_MM)
    }

    /// Where the boss around the pressed pin ends, in x.
    fn boss_end_mm(&self) -> f64 {
        tidy(self.plate_end_mm() + self.press_mm + WALL_MM)
    }

    /// Length over all, in x and in y.
    fn length_mm(&self) -> f64 {
        tidy(BAR_MM + self.span_mm)
    }

    /// The middle of the hole in the arm, from the arm's root.
    fn lever_mm(&self) -> f64 {
        self.span_mm - ARM_SHORT_MM - ARM_HOLE_FROM_TIP_MM
    }

    /// What hangs in the arm's hole when its root is bent by this stress, grams.
    ///
    /// `stress = 6 F lever / (width * thickness^2)`, a cantilever's outer fibre.
    pub(super) fn arm_load_g(&self, stress_mpa: f64) -> f64 {
        let force_n = stress_mpa * ARM_WIDTH_MM * self.arm_mm * self.arm_mm / (6.0 * self.lever_mm());
        force_n / 9.81 * 1000.0
    }

    /// Longest words that the plate can carry behind the screws.
    pub(super) fn label_room_mm(&self) -> f64 {
        self.plate_end_mm() - BAR_MM - 2.0 * LABEL_EDGE_MM
    }

    /// The plate's outside, smaller by `c` all round, with the arm in its slot or without.
    fn outside(&self, c: f64, arm: bool) -> Outline {
        let (end, plate, boss) = (self.length_mm(), self.plate_end_mm(), self.boss_end_mm());
        let back = self.plate_back_mm();
        let (near, far) = (WALL_MM, WALL_MM + SLOT_MM);
        let half = self.press_mm / 2.0 + WALL_MM;
        let (low, high) = (self.middle_mm() - half, self.middle_mm() + half);
        let mut points: Vec<Point> = vec![[0.0, 0.0], [end, 0.0], [end, near], [BAR_MM, near]];
        if arm {
            let free = (SLOT_MM - ARM_WIDTH_MM) / 2.0;
            let tip = end - ARM_SHORT_MM;
            points.extend([
                [BAR_MM, near + free],
                [tip, near + free],
                [tip, far - free],
                [BAR_MM, far - free],
            ]);
        }
        points.extend([[BAR_MM, far], [end, far], [end, BAR_MM], [plate, BAR_MM]]);
        points.extend([[plate, low], [boss, low], [boss, high], [plate, high], [plate, back]]);
        points.extend([[BAR_MM, back], [BAR_MM, end], [far, end], [far, BAR_MM]]);
        points.extend([[near, BAR_MM], [near, end], [0.0, end]]);
        Outline::polygon(inset(&points, c))
    }

    /// The round holes of the plate, wider by `c` all round.
    fn holes(&self, c: f64) -> Outline {
        let middle = self.middle_mm();
        let half = self.square_mm / 2.0;
        let mut holes = circle([middle, middle], self.register_mm, c);
        for [x, y] in [[-half, -half], [half, -half], [half, half], [-half, half]] {
            holes = holes.union_disjoint(&circle([middle + x, middle + y], self.screw_mm, c));
        }
        holes.union_disjoint(&circle(self.press_at(), self.press_mm, c))
    }

    fn press_at(&self) -> Point {
        [self.plate_end_mm() + self.press_mm / 2.0, self.middle_mm()]
    }

    /// The three feet, smaller by `c` all round: on the corner, and on the outer prong of either bar.
    fn feet(&self, c: f64) -> Outline {
        let end = self.length_mm();
        let (from, wide) = (end - FOOT_MM, WALL_MM);
        let foot = |[x0, y0, x1, y1]: [f64; 4]| Outline::rectangle(x0 + c, y0 + c, x1 - c, y1 - c);
        foot([0.0, 0.0, FOOT_MM, FOOT_MM])
            .union_disjoint(&foot([from, 0.0, end, wide]))
            .union_disjoint(&foot([0.0, from, wide, end]))
    }

    pub(super) fn body(&self, label: &Label) -> Body {
        let letters_at = [
            (BAR_MM + self.plate_end_mm()) / 2.0,
            self.plate_back_mm() - LABEL_EDGE_MM - LABEL_HEIGHT_MM / 2.0,
        ];
        let letters = label.centred(letters_at);
        let with_arm = |c: f64| {
            let hole_at = [BAR_MM + self.lever_mm(), BAR_MM / 2.0];
            // The hole in the arm is not measured, and a chamfer would leave the arm next to nothing there.
            self.outside(c, true).with_hole(&self.holes(c)).with_hole(&circle(hole_at, ARM_HOLE_MM, 0.0))
        };
        // The plate's own edges have no chamfer at the top: the feet stand flush with them.
        let plate = |c: f64| self.outside(0.0, false).with_hole(&self.holes(c));
        let top = self.height_mm;
        let mut body = Body::new(Stance::Upright, letters.clone())
            .tapered(BED_CHAMFER_MM, with_arm(BED_CHAMFER_MM), with_arm(0.0))
            .straight(self.arm_mm, with_arm(0.0))
            .straight(PLATE_MM - TOP_CHAMFER_MM, plate(0.0))
            .tapered(PLATE_MM, plate(0.0), plate(TOP_CHAMFER_MM))
            .straight(PLATE_MM + LABEL_RELIEF_MM, self.feet(0.0).union_disjoint(&letters))
            .straight(top - TOP_CHAMFER_MM, self.feet(0.0))
            .tapered(top, self.feet(0.0), self.feet(TOP_CHAMFER_MM));
        self.measure_bores(&mut body);
        self.measure_lengths(&mut body);
        self.measure_heights(&mut body);
        body
    }

    fn measure_bores(&self, body: &mut Body) {
        let middle = self.middle_mm();
        let corner = middle - self.square_mm / 2.0;
        let boss = self.boss_end_mm();
        let places = [
            ([middle, middle], self.register_mm, [[middle, middle - 3.0], [middle, middle + 3.0]]),
            (self.press_at(), self.press_mm, [[boss + 6.0, middle - 2.0], [boss + 6.0, middle + 2.0]]),
            ([corner, corner], self.screw_mm, [[corner - 7.0, corner], [corner, corner + 6.5]]),
        ];
        let z = PLATE_MM / 2.0;
        for ([x, y], diameter, [label_x, label_y]) in places {
            let radius = diameter / 2.0;
            for (axis, ending, jaws, label_at) in [
                (Axis::X, "x", along_x(Tool::InsideJaws, x - radius, x + radius, y, z), label_x),
                (Axis::Y, "y", along_y(Tool::InsideJaws, y - radius, y + radius, x, z), label_y),
            ] {
                let label = feature_label('b', diameter, ending);
                body.measured(Feature {
                    label,
                    kind: Kind::Bore,
                    axis,
                    nominal_mm: diameter,
                    jaws,
                    label_at,
                });
            }
        }
    }

    /// Across the screw holes from far side to far side, the depth of the slots, and over all.
    fn measure_lengths(&self, body: &mut Body) {
        let (end, middle) = (self.length_mm(), self.middle_mm());
        let (low, high) = (tidy(middle - self.reach_mm()), tidy(middle + self.reach_mm()));
        let (screws, across) = (tidy(self.square_mm + self.screw_mm), middle + self.square_mm / 2.0);
        let (bar, edge) = (BAR_MM / 2.0, WALL_MM / 2.0);
        // Above the arm, where the rod goes.
        let (z, rod_z) = (PLATE_MM / 2.0, (self.arm_mm + PLATE_MM) / 2.0);
        let rod = |from, to| Jaws { tool: Tool::DepthRod, from, to };
        let mut measure = |letter, kind, nominal_mm, axis, jaws, label_at| {
            let label = feature_label(letter, nominal_mm, if axis == Axis::X { "x" } else { "y" });
            body.measured(Feature { label, kind, axis, nominal_mm, jaws, label_at });
        };
        use self::Axis::{X, Y};
        use self::Kind::{Gap, Outer, Span};
        let screw_row = along_x(Tool::InsideJaws, low, high, middle - self.square_mm / 2.0, z);
        measure('g', Gap, screws, X, screw_row, [middle + 4.0, middle - self.square_mm / 2.0 + 3.0]);
        let screw_column = along_y(Tool::InsideJaws, low, high, across, z);
        measure('g', Gap, screws, Y, screw_column, [across - 4.0, middle + 9.0]);
        let slot_x = rod([end, bar, rod_z], [BAR_MM, bar, rod_z]);
        measure('s', Span, self.span_mm, X, slot_x, [end + 6.0, bar + 6.0]);
        let slot_y = rod([bar, end, rod_z], [bar, BAR_MM, rod_z]);
        measure('s', Span, self.span_mm, Y, slot_y, [bar + 9.0, end + 3.0]);
        measure('o', Outer, end, X, along_x(Tool::OutsideJaws, 0.0, end, edge, z), [end + 10.0, edge]);
        measure('o', Outer, end, Y, along_y(Tool::OutsideJaws, 0.0, end, edge, z), [edge, end + 7.0]);
    }

    /// Two feet and the plate from the side that lay on the bed, and the arm from the prongs' tops.
    fn measure_heights(&self, body: &mut Body) {
        let (end, top) = (self.length_mm(), self.height_mm);
        let edge = WALL_MM / 2.0;
        let mut measure = |label: String, kind, nominal_mm, jaws, label_at| {
            body.measured(Feature { label, kind, axis: Axis::Z, nominal_mm, jaws, label_at });
        };
        let height = |to, x, y| along_z(Tool::OutsideJaws, 0.0, to, x, y);
        let foot = end - FOOT_MM / 2.0;
        measure(feature_label('z', top, "x"), Kind::Height, top, height(top, foot, edge), [foot, -6.0]);
        measure(feature_label('z', top, "y"), Kind::Height, top, height(top, edge, foot), [-8.0, foot]);
        let bare = end / 2.0;
        measure(
            feature_label('z', PLATE_MM, ""),
            Kind::Height,
            PLATE_MM,
            height(PLATE_MM, bare, edge),
            [bare, -6.0],
        );
        let depth = tidy(PLATE_MM - self.arm_mm);
        let x = end - SAG_FROM_END_MM;
        let sag = along_z(Tool::DepthRod, PLATE_MM, self.arm_mm, x, BAR_MM / 2.0);
        let label = feature_label('s', depth, &format!("z{ARM_SUFFIX}"));
        measure(label, Kind::Span, depth, sag, [x - 10.0, -6.0]);
    }
}

/// A counter-clockwise polygon whose sides run along x and y by turns, smaller by `c` all round.
fn inset(points: &[Point], c: f64) -> Vec<Point> {
    let count = points.len();
    let along = |from: Point, to: Point| {
        let way = [to[0] - from[0], to[1] - from[1]];
        let length = way[0].hypot(way[1]);
        way.map(|part| part / length)
    };
    let corner = |i: usize| {
        let before = along(points[(i + count - 1) % count], points[i]);
        let after = along(points[i], points[(i + 1) % count]);
        // The inside lies to the left of a side that runs along (dx, dy): towards (-dy, dx).
        [points[i][0] - c * (before[1] + after[1]), points[i][1] + c * (before[0] + after[0])]
    };
    (0..count).map(corner).collect()
}
