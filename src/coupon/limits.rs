//! The sizes that every coupon shares, and the limits of what may be asked for, each with its reason.
//!
//! Depths and thicknesses are multiples of 0.2 mm, so that common layer heights meet them.

use super::fields::Limits;

/// Chamfer at the bed, 45 degrees: wider than the first layer spreads, so that it is not what the jaws
/// touch. First layers spread by 0.1 to 0.4 mm a side in common experience.
pub const BED_CHAMFER_MM: f64 = 0.6;

/// Chamfer at the top: takes the blob away that a nozzle leaves where it lifts.
pub const TOP_CHAMFER_MM: f64 = 0.4;

/// Height of the capitals of a label.
pub const LABEL_HEIGHT_MM: f64 = 5.0;

/// How far a label stands out of the face or is sunk into it.
pub const LABEL_RELIEF_MM: f64 = 0.6;

/// Thickness of the tab that carries a label, and of the base under teeth and pins.
pub const TAB_MM: f64 = 2.4;

/// Depth of the strip that a label stands on: its capitals and 1.4 mm on either side.
pub const STRIP_MM: f64 = LABEL_HEIGHT_MM + 2.8;

/// Clear space for an outside jaw between two upright pieces: its tip is up to about 8 mm wide along the
/// beam (common practice).
pub const JAW_ROOM_MM: f64 = 12.0;

/// The narrowest gap that the tip of an outside jaw enters (common practice).
pub const JAW_TIP_MM: f64 = 5.0;

/// Thinnest wall that a caliper presses. Between jaws at 5 N a ring of 10 mm radius gives by 5.8
/// micrometres with a 4 mm wall and by 47 with a 2 mm one (computed, thin ring of modulus 3 GPa).
pub const WALL_MM: f64 = 4.0;

/// Least height of an outside face and least depth of a gap or bore: jaws need a place to sit.
pub const FACE_MM: f64 = 6.0;

/// Largest piece: what the solids' grid holds, and more than common beds do.
const LARGEST_MM: f64 = 400.0;

pub(super) const BORE: Limits = Limits {
    at_least: 3.0,
    at_most: 60.0,
    because: "the crossed tips of inside jaws do not enter less than about 3 mm",
};
pub(super) const GAP: Limits = Limits {
    at_least: 2.0,
    at_most: 40.0,
    because: "no inside jaw enters less than about 2 mm, and many need 2.5",
};
pub(super) const PIN: Limits =
    Limits { at_least: 3.0, at_most: 60.0, because: "a thinner pin bends under the jaws" };
pub(super) const WALL: Limits =
    Limits { at_least: WALL_MM, at_most: 20.0, because: "a wall under 4 mm gives way between the jaws" };
pub(super) const FACE: Limits =
    Limits { at_least: FACE_MM, at_most: 60.0, because: "jaws need 6 mm of wall to sit on" };
pub(super) const UPRIGHT: Limits = Limits {
    at_least: FACE_MM + 1.0,
    at_most: 60.0,
    because: "chamfers and label take 1 mm, and jaws need 6 mm of bare wall to sit on",
};
pub(super) const HOLE_LENGTH: Limits = Limits {
    at_least: FACE_MM + 2.0,
    at_most: 60.0,
    because: "the chamfers at both ends take 1.2 mm, and jaws need 6 mm of bare hole",
};
pub(super) const RING_HEIGHT: Limits = Limits {
    at_least: 10.0,
    at_most: 60.0,
    because: "the label's tab and the chamfers leave 6 mm of bare wall only above 10 mm",
};
pub(super) const SPAN: Limits = Limits {
    at_least: 20.0,
    at_most: 140.0,
    because: "a shorter span says little of the scale, and the depth rod of a common caliper ends at 150 mm",
};
pub(super) const ROOM: Limits = Limits {
    at_least: JAW_ROOM_MM,
    at_most: 60.0,
    because: "an outside jaw is up to 8 mm wide and has to pass between two pins",
};
pub(super) const SLOT: Limits = Limits {
    at_least: 5.0,
    at_most: 12.0,
    because: "a depth rod is up to 4 mm wide, and the end of the beam has to bridge the slot",
};
pub(super) const STEP: Limits =
    Limits { at_least: 2.0, at_most: 120.0, because: "a step under 2 mm is mostly first layer" };
pub(super) const BLOCK: Limits =
    Limits { at_least: 10.0, at_most: LARGEST_MM, because: "a block this size cannot be held between jaws" };
pub(super) const WIDER: Limits = Limits {
    at_least: -0.5,
    at_most: 1.0,
    because: "a belt's tooth has tenths of a millimetre of play in its groove, not more",
};
pub(super) const RACK_TEETH: Limits =
    Limits { at_least: 3.0, at_most: 500.0, because: "the groove is that of a pulley of so many teeth" };
pub(super) const ROW: Limits = Limits {
    at_least: 1.0,
    at_most: 8.0,
    because: "one groove tells little, and a belt's pitch and shrink add up over many",
};
pub(super) const BELT_FACE: Limits =
    Limits { at_least: 4.0, at_most: 60.0, because: "the rack is as wide as the belt that is tried" };
pub(super) const REGISTER: Limits = Limits {
    at_least: 10.0,
    at_most: 53.0,
    because: "the register of a small motor is 10 to 40 mm across, and screws stand around it",
};
pub(super) const SQUARE: Limits = Limits {
    at_least: 30.0,
    at_most: 60.0,
    because: "the label stands behind the screws, and the mount has to stay a small piece",
};
pub(super) const SCREW: Limits = Limits {
    at_least: 3.0,
    at_most: 8.0,
    because: "the crossed tips of inside jaws do not enter less than about 3 mm",
};
pub(super) const PRESS: Limits = Limits {
    at_least: 3.0,
    at_most: 16.0,
    because: "the wall around the pin is 4 mm, as thick as the mount's others",
};
pub(super) const MOUNT_HEIGHT: Limits = Limits {
    at_least: 16.0,
    at_most: 60.0,
    because: "turned over, the mount stands on its feet and the arm has to hang free below the plate",
};
pub(super) const ARM: Limits = Limits {
    at_least: 1.2,
    at_most: 3.0,
    because: "a thicker arm does not sag, a thinner one bends under the depth rod",
};
pub(super) const PLATE_GAP: Limits =
    Limits { at_least: 1.0, at_most: 50.0, because: "pieces nearer than that print into one another" };
