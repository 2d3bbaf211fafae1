//! The forms that a coupon can have, and what each is called in a definition.

use super::belt_rack::BeltRack;
use super::body::Body;
use super::bore_block::BoreBlock;
use super::comb::Comb;
use super::fields::Fields;
use super::first_layer::FirstLayer;
use super::height_steps::HeightSteps;
use super::label::Label;
use super::motor_mount::MotorMount;
use super::pin_base::PinBase;
use super::ring::{Hole, Ring};
use super::span_bar::SpanBar;

/// One piece of one form.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Form {
    Comb(Comb),
    Ring(Ring),
    PinBase(PinBase),
    BoreBlock(BoreBlock),
    SpanBar(SpanBar),
    HeightSteps(HeightSteps),
    FirstLayer(FirstLayer),
    BeltRack(BeltRack),
    MotorMount(MotorMount),
}

impl Form {
    /// The names of the tables of a definition.
    pub(super) const TABLES: [&'static str; 11] = [
        "comb",
        "ring",
        "d_ring",
        "hex_ring",
        "pin_base",
        "bore_block",
        "span_bar",
        "height_steps",
        "first_layer",
        "belt_rack",
        "motor_mount",
    ];

    /// The pieces that one table defines, each with what its name has after the table's `name`.
    pub(super) fn read(table: &str, fields: &mut Fields<'_, '_>) -> Vec<(String, Self)> {
        let one = |form| vec![(String::new(), form)];
        let rings = |rings: Vec<Ring>| {
            rings.into_iter().map(|ring| (ring.hole.size_mm().to_string(), Self::Ring(ring))).collect()
        };
        match table {
            "comb" => one(Self::Comb(Comb::read(fields))),
            "ring" => rings(Ring::read(fields)),
            "d_ring" => rings(Ring::read_d(fields)),
            "hex_ring" => rings(Ring::read_hexagon(fields)),
            "pin_base" => one(Self::PinBase(PinBase::read(fields))),
            "bore_block" => one(Self::BoreBlock(BoreBlock::read(fields))),
            "span_bar" => one(Self::SpanBar(SpanBar::read(fields))),
            "belt_rack" => {
                let rack = BeltRack::read(fields).into_iter();
                rack.map(|rack| (String::new(), Self::BeltRack(rack))).collect()
            }
            "motor_mount" => one(Self::MotorMount(MotorMount::read(fields))),
            "height_steps" => one(Self::HeightSteps(HeightSteps::read(fields))),
            _ => one(Self::FirstLayer(FirstLayer::read(fields))),
        }
    }

    /// The piece with these words on it.
    pub(super) fn body(&self, label: &Label) -> Body {
        match self {
            Self::Comb(comb) => comb.body(label),
            Self::Ring(ring) => ring.body(label),
            Self::PinBase(base) => base.body(label),
            Self::BoreBlock(block) => block.body(label),
            Self::SpanBar(bar) => bar.body(label),
            Self::HeightSteps(steps) => steps.body(label),
            Self::FirstLayer(gauge) => gauge.body(label),
            Self::BeltRack(rack) => rack.body(label),
            Self::MotorMount(mount) => mount.body(label),
        }
    }

    /// Longest words that the piece can carry, mm; `None` when it grows with them.
    pub(super) fn label_room_mm(&self) -> Option<f64> {
        match self {
            Self::SpanBar(bar) => Some(bar.label_room_mm()),
            Self::MotorMount(mount) => Some(mount.label_room_mm()),
            _ => None,
        }
    }

    /// See [`super::Coupon::arm_load_g`].
    pub(super) fn arm_load_g(&self, stress_mpa: f64) -> Option<f64> {
        match self {
            Self::MotorMount(mount) => Some(mount.arm_load_g(stress_mpa)),
            _ => None,
        }
    }

    /// What a person calls it.
    pub(super) fn title(&self) -> &'static str {
        match self {
            Self::Comb(_) => "tooth-gap comb",
            Self::Ring(Ring { hole: Hole::Round(_), .. }) => "bore ring",
            Self::Ring(Ring { hole: Hole::D { .. }, .. }) => "D-bore ring",
            Self::Ring(Ring { hole: Hole::Hexagon { .. }, .. }) => "nut-pocket ring",
            Self::PinBase(_) => "shaft pins",
            Self::BoreBlock(_) => "horizontal bores",
            Self::SpanBar(_) => "span bar",
            Self::HeightSteps(_) => "height steps",
            Self::FirstLayer(_) => "first-layer gauge",
            Self::BeltRack(_) => "belt rack",
            Self::MotorMount(_) => "motor mount",
        }
    }

    /// How to hold and measure it, for the guide.
    pub(super) fn advice(&self) -> &'static str {
        match self {
            Self::Comb(_) => {
                "Gaps: put the crossed inside jaws down between the teeth, clear of the base, and open them \
                 until they touch; rock them a little and keep the smallest reading. Outside: close the \
                 large jaws on the bare faces of the end teeth, above the base. Leave a gap blank if your \
                 jaws do not go in."
            }
            Self::Ring(Ring { hole: Hole::D { .. }, .. }) => {
                "The tab with the label points along x, and the flat of the bore is on its side. Inside jaws down \
                 the hole past the chamfer: along y, between the rounds; along x, one jaw on the middle of the \
                 flat and the other on the round opposite, swung for the largest reading. Outside: large jaws \
                 across the ring, at right angles to the tab and above it. Leave a line blank if your jaws do \
                 not go in."
            }
            Self::Ring(Ring { hole: Hole::Hexagon { .. }, .. }) => {
                "The tab with the label points along x. Inside jaws down the hole past the chamfer, flat on two \
                 flats that face each other in the direction shown; swing them for the smallest reading. Outside: large jaws \
                 across the ring, at right angles to the tab and above it. Leave a line blank if your jaws do \
                 not go in."
            }
            Self::Ring(_) => {
                "The tab with the label points along x. Bore: inside jaws down the hole as far as they go, \
                 past the chamfer, and opened along the direction shown; swing them sideways for the largest \
                 reading, tilt them for the smallest. Outside: large jaws across the ring, at right angles to the tab and above \
                 it. Keep off the seam, the vertical line where layers begin. Leave a bore blank if your \
                 jaws do not go in."
            }
            Self::PinBase(_) => {
                "Close the large jaws on a pin above half its height, once along x and once along y. Swing \
                 them for the smallest reading. Press gently, since a thin pin bends. Keep off the seam."
            }
            Self::BoreBlock(_) => {
                "The label is on the front, and the side away from the bed is up. Inside jaws into the hole from \
                 the front, past the chamfer: once across (x) and once up and down (z)."
            }
            Self::SpanBar(_) => {
                "Span: stand the end of the caliper's beam on the ends of both prongs, run the depth rod out \
                 to the bottom of the slot, and keep the smallest reading while you tilt. Both faces look \
                 the same way, so a fat wall moves both alike. Length over all: large jaws across the ends."
            }
            Self::HeightSteps(_) => {
                "One jaw flat on the side that lay on the bed, the other on the tread. Come from the front or \
                 the back, and keep the smallest reading."
            }
            Self::FirstLayer(_) => {
                "The one marked -bed: the jaws on the lowest edge of the block, so that they touch what the \
                 first layer has spread. Do not trim that edge. The other one: the jaws above the middle, \
                 clear of the lowest 2 mm. The difference is the spread of the first layer."
            }
            Self::BeltRack(_) => {
                "Not for the caliper: cut a short piece of the real belt, as many teeth as a row has grooves, \
                 and lay it into every row from the open side, teeth first, until its edge rests on the base. \
                 The number before a row is how many hundredths of a millimetre its grooves are wider than \
                 the standard's. Write the feel into the row's line, and into mate_mm the width of the \
                 belt's tooth at its root (2.65 mm for T5, 1.5 for T2.5, 5.3 for T10, 2.57 for XL). Cut \
                 strings off the tips first."
            }
            Self::MotorMount(_) => {
                "Bores: inside jaws from the flat side that lay on the bed, past the chamfer. Across two screw holes \
                 (g): the same jaws opened until they touch the far sides of both, swung for the largest \
                 reading. Spans: the end of the beam on the ends of both prongs, the rod out to the bottom \
                 of the slot, above the arm. Over all: large jaws across the outer prong. Heights: one jaw flat on \
                 the bed side, the other on a foot or on the bare prong. Arm: the end of the beam across the \
                 tops of both prongs, the rod down onto the arm, where the arrow is; do not press the arm."
            }
        }
    }
}
