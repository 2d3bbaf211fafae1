//! The printed pieces that a pulley is made of, as wanted: the whole of it, or halves, or a flange apart.
//!
//! *From the bed up*: the lower hub; the lower flange; the face with the teeth; the upper flange, whose
//! underside rises at 45 degrees so that it prints without support, or a spigot for a flange that is a piece
//! of its own; the upper hub. A pulley that is split across its axis is two halves, each printed with its
//! outer face on the bed where it has no hub there and with the cut face on the bed where it has one. The
//! layers of either lie across the axis, in the plane of the belt's pull.
//!
//! Halves that are turned over are turned about y, which their teeth, bores and dowels are symmetric to.

use std::f64::consts::{FRAC_PI_2, PI};

use crate::belt::pulley::Pulley;
use crate::fits::named::NamedFits;
use crate::fits::written;
use crate::kind::Kind;

use super::build::bore::Bore;
use super::build::hole::HoleCircle;
use super::build::label::Label;
use super::build::piece::Piece;
use super::build::recess::{End, Recess};
use super::build::set_screw::{NutSlot, SetScrews, corner_reach_mm};
use super::build::sizing::Sizing;
use super::build::step::{Side, Step};
use super::build::{CannotBuild, LEAST_SKIN_MM, need_positive};
use super::pulley::CHAMFER_MM;
use super::pulley_request::{CannotMake, CircleAsked, Flanges, Hub, RecessAsked, Request, RingHold};

/// Least plastic between the bore and a captive nut, which the screw's pull bears on, mm; picked by feel.
const BEHIND_NUT_MM: f64 = 1.6;
/// How much smaller than the floor of the grooves a spigot is, mm; picked by feel.
const SPIGOT_STEP_MM: f64 = 1.0;
/// A first layer's height, which a chamfer at the bed must pass before it helps, mm; common practice.
const FIRST_LAYER_MM: f64 = 0.2;

/// Sizes that the standards give, wanted, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Given {
    pub face_mm: f64,
    pub flange_diameter_mm: f64,
    /// Thickness of a flange.
    pub flange_mm: f64,
}

/// Chamfer at the bed for a first layer that stands out by this much a side, mm.
pub fn bed_chamfer_mm(first_layer_mm: Option<f64>) -> f64 {
    let Some(spread) = first_layer_mm else { return CHAMFER_MM };
    // At 45 degrees: as deep as the spread, one layer up. To a twentieth, upwards.
    ((spread.max(0.0) + FIRST_LAYER_MM) * 20.0 - 1e-9).ceil().clamp(4.0, 20.0) / 20.0
}

/// How pieces are put together.
struct Plan<'a> {
    pulley: &'a Pulley,
    request: &'a Request,
    given: Given,
    sizing: Sizing<'a>,
}

/// The pieces, and what must be said of them; `sizing` is what they will be drawn by.
pub(super) fn wanted(
    pulley: &Pulley,
    request: &Request,
    given: Given,
    sizing: Sizing<'_>,
    warnings: &mut Vec<String>,
) -> Result<Vec<Piece>, CannotMake> {
    let plan = Plan { pulley, request, given, sizing };
    let build = &request.build;
    plan.check()?;
    warnings
        .extend(build.recesses.iter().filter_map(|recess| shoulder_caution(recess, &request.bore_shape())));
    let mut pieces = match &build.split {
        Some(_) => vec![plan.half(End::Bed)?, plan.half(End::Top)?],
        None => vec![plan.whole(warnings)?],
    };
    if let Some(hold) = build.ring {
        pieces.push(plan.ring(hold)?);
    }
    // A cut face is no place for it: of halves, the one that is printed with its hub up.
    let is_free = |piece: &&mut Piece| build.split.is_none() || piece.steps.len() > 2;
    match pieces.iter_mut().find(is_free) {
        Some(piece) => plan.add_label(piece, warnings)?,
        None if build.label.is_some() => {
            warnings.push("halves without a hub have no face for a label: it is left out".to_owned());
        }
        None => {}
    }
    pieces.iter().try_for_each(Piece::check)?;
    Ok(pieces)
}

impl Plan<'_> {
    fn check(&self) -> Result<(), CannotMake> {
        let build = &self.request.build;
        let is_twice = |ends: &mut dyn Iterator<Item = End>| {
            let mut ends: Vec<End> = ends.collect();
            let count = ends.len();
            ends.sort_unstable();
            ends.dedup();
            ends.len() < count
        };
        if is_twice(&mut build.hubs.iter().map(|hub| hub.end)) {
            return Err(CannotMake::too_many("a pulley has one hub a side at the most"));
        }
        if is_twice(&mut build.recesses.iter().map(|recess| recess.end)) {
            return Err(CannotMake::too_many("a pulley has one recess a side at the most"));
        }
        for hub in &build.hubs {
            need_positive("a hub's diameter", hub.diameter_mm)?;
            need_positive("a hub's length", hub.length_mm)?;
        }
        if build.ring.is_some() && self.request.flanges != Flanges::Two {
            return Err(CannotMake::too_many("a flange apart is the upper one of two flanges"));
        }
        if build.ring == Some(RingHold::Screwed) && build.screw_circle.is_none() {
            return Err(CannotMake::too_many("a flange that is screwed on needs a screw circle"));
        }
        if build.ring.is_some() && build.split.is_some() {
            return Err(CannotMake::too_many(
                "a split pulley prints without support and needs no flange apart",
            ));
        }
        if build.set_screws.is_some() && build.hubs.is_empty() {
            return Err(CannotMake::too_many("a set screw needs a hub to go through"));
        }
        Ok(())
    }

    fn hub(&self, end: End) -> Option<Hub> {
        self.request.build.hubs.iter().find(|hub| hub.end == end).copied()
    }

    fn has_flange(&self, end: End) -> bool {
        match end {
            End::Bed => self.request.flanges != Flanges::None,
            End::Top => self.request.flanges == Flanges::Two,
        }
    }

    /// At 45 degrees: as high as the flange stands out from the floor of the grooves.
    fn cone_mm(&self) -> f64 {
        self.given.flange_diameter_mm / 2.0 - self.pulley.groove.floor_mm
    }

    fn blank(&self, what: &str, orientation: String) -> Piece {
        let profile = self.pulley.profile.name;
        Piece {
            name: format!("{profile} pulley, {} teeth{what}", self.pulley.teeth()),
            orientation,
            steps: Vec::new(),
            bore: self.request.bore_shape(),
            recesses: Vec::new(),
            holes: Vec::new(),
            set_screws: None,
            label: None,
            bed_chamfer_mm: bed_chamfer_mm(self.request.build.first_layer_mm),
            mouth_chamfer_mm: CHAMFER_MM,
            chords: None,
        }
    }

    fn whole(&self, warnings: &mut Vec<String>) -> Result<Piece, CannotMake> {
        let (lower, upper) = (self.hub(End::Bed), self.hub(End::Top));
        let mut piece = self.blank("", String::new());
        let mut steps = Pile::default();
        if let Some(hub) = lower {
            steps.add("lower hub", round(hub.diameter_mm), hub.length_mm);
            let wider = if self.has_flange(End::Bed) { "lower flange" } else { "face" };
            warnings.push(format!(
                "the {wider} stands out over the hub at the bed: it needs support there; a split pulley does not"
            ));
        }
        if self.has_flange(End::Bed) {
            steps.add("lower flange", round(self.given.flange_diameter_mm), self.given.flange_mm);
        }
        steps.add("face", Side::Teeth(self.pulley.groove), self.given.face_mm);
        if self.has_flange(End::Top) {
            match self.request.build.ring {
                Some(hold) => {
                    let spigot = self.spigot_mm(hold)?;
                    if let Some(hub) = upper.filter(|hub| hub.diameter_mm > spigot) {
                        return Err(CannotBuild::Size {
                            what: "an upper hub",
                            size_mm: hub.diameter_mm,
                            reason: format!("the flange apart passes over it: at most {spigot:.2}"),
                        }
                        .into());
                    }
                    steps.add("spigot", round(spigot), self.given.flange_mm);
                }
                None => {
                    let diameter_mm = self.given.flange_diameter_mm;
                    steps.add("cone", Side::Cone { diameter_mm }, self.cone_mm());
                    steps.add("upper flange", round(diameter_mm), self.given.flange_mm);
                }
            }
        }
        if let Some(hub) = upper {
            steps.add("upper hub", round(hub.diameter_mm), hub.length_mm);
        }
        piece.steps = steps.0;
        piece.orientation = format!(
            "print standing, axis upright, {} on the bed",
            piece.steps.first().map_or("face", |step| step.name)
        );
        let top = piece.top_mm();
        for recess in &self.request.build.recesses {
            let floor_mm = if recess.end == End::Bed { recess.depth_mm } else { top - recess.depth_mm };
            let (name, end, diameter_mm) = (recess.name, recess.end, recess.diameter_mm);
            piece.recesses.push(Recess { name, end, diameter_mm, floor_mm });
        }
        self.add_circles(&mut piece);
        let end = if upper.is_some() { End::Top } else { End::Bed };
        if let Some(hub) = upper.or(lower) {
            self.add_set_screws(&mut piece, hub, end);
        }
        Ok(piece)
    }

    /// The half with the lower or the upper end, as it lies on the bed.
    fn half(&self, end: End) -> Result<Piece, CannotMake> {
        let hub = self.hub(end);
        let which = if end == End::Bed { "lower" } else { "upper" };
        let (flange, outer) =
            if end == End::Bed { ("lower flange", "lower hub") } else { ("upper flange", "upper hub") };
        let mut piece = self.blank(&format!(", {which} half"), String::new());
        let mut steps = Pile::default();
        let diameter_mm = self.given.flange_diameter_mm;
        let face_mm = self.given.face_mm / 2.0;
        let teeth = Side::Teeth(self.pulley.groove);
        if let Some(hub) = hub {
            steps.add("face", teeth, face_mm);
            if self.has_flange(end) {
                steps.add("cone", Side::Cone { diameter_mm }, self.cone_mm());
                steps.add(flange, round(diameter_mm), self.given.flange_mm);
            }
            steps.add(outer, round(hub.diameter_mm), hub.length_mm);
        } else {
            if self.has_flange(end) {
                steps.add(flange, round(diameter_mm), self.given.flange_mm);
            }
            steps.add("face", teeth, face_mm);
        }
        piece.steps = steps.0;
        let (on_bed, outer_end) =
            if hub.is_some() { ("cut face", End::Top) } else { ("outer face", End::Bed) };
        piece.orientation = format!(
            "print standing, axis upright, {on_bed} on the bed: layers lie across the axis, in the plane of the belt's pull"
        );
        let top = piece.top_mm();
        for recess in self.request.build.recesses.iter().filter(|recess| recess.end == end) {
            let floor_mm = if outer_end == End::Bed { recess.depth_mm } else { top - recess.depth_mm };
            let (name, diameter_mm) = (recess.name, recess.diameter_mm);
            piece.recesses.push(Recess { name, end: outer_end, diameter_mm, floor_mm });
        }
        self.add_circles(&mut piece);
        if let Some(dowels) = self.request.build.split {
            let mut holes = circle("dowel hole", dowels.circle, FRAC_PI_2);
            if outer_end == End::Top {
                holes.to_mm = Some(dowels.depth_mm);
            } else {
                holes.from_mm = Some(top - dowels.depth_mm);
            }
            piece.holes.push(holes);
        }
        let has_screws = self.hub(End::Top).map_or(End::Bed, |hub| hub.end) == end;
        if let Some(hub) = hub.filter(|_| has_screws) {
            self.add_set_screws(&mut piece, hub, End::Top);
        }
        Ok(piece)
    }

    fn add_circles(&self, piece: &mut Piece) {
        let build = &self.request.build;
        let asked = [("screw hole", build.screw_circle), ("lightening hole", build.lightening)];
        for (name, circle_asked) in asked {
            // Beside +y, where flats, keys and set screws are, and the same in the mirror.
            let first = |asked: CircleAsked| FRAC_PI_2 + PI / f64::from(asked.count.max(1));
            piece.holes.extend(circle_asked.map(|asked| circle(name, asked, first(asked))));
        }
    }

    /// Through the middle of a hub; the slots open to its end.
    fn add_set_screws(&self, piece: &mut Piece, hub: Hub, end: End) {
        let Some(asked) = self.request.build.set_screws else { return };
        let top = piece.top_mm();
        let height_mm = if end == End::Top { top - hub.length_mm / 2.0 } else { hub.length_mm / 2.0 };
        let nut = asked.nut_mm.map(|(width_mm, thickness_mm)| {
            let corner = corner_reach_mm(width_mm);
            let deepest = if end == End::Top { height_mm - corner } else { height_mm + corner };
            let from_axis_mm = self.request.bore_shape().reach_mm() + BEHIND_NUT_MM;
            NutSlot { width_mm, thickness_mm, from_axis_mm, floor_mm: deepest }
        });
        // Through the flat or onto the key; from the far side where the key's slot is too narrow for that.
        let is_narrow =
            |bore: &Bore| matches!(bore, Bore::Keyed { width_mm, .. } if *width_mm < 1.2 * asked.hole_mm);
        let first = if is_narrow(&piece.bore) { -FRAC_PI_2 } else { FRAC_PI_2 };
        let directions_rad = (0..asked.count).map(|i| first + FRAC_PI_2 * f64::from(i)).collect();
        piece.set_screws =
            Some(SetScrews { end, directions_rad, height_mm, diameter_mm: asked.hole_mm, nut });
    }

    /// Diameter of the spigot that a flange apart sits on, mm.
    ///
    /// One inside a screw circle is as wide as leaves the flange its least plastic between its bore and the
    /// screws' holes, as wanted and as drawn: a correction widens both.
    fn spigot_mm(&self, hold: RingHold) -> Result<f64, CannotMake> {
        let widest = 2.0 * self.pulley.groove.floor_mm - SPIGOT_STEP_MM;
        need_positive("the spigot of a flange apart", widest)?;
        if hold == RingHold::Pressed {
            return Ok(widest);
        }
        let bore = self.request.bore_shape();
        let drawn_bore = bore.drawn(&self.sizing)?;
        let leaves_skin = |spigot_mm: f64| {
            let ring = self.ring_on(spigot_mm, hold);
            let short = ring.short_of_skin_mm().max(ring.drawn(&self.sizing)?.short_of_skin_mm());
            Ok::<bool, CannotMake>(short <= 1e-9)
        };
        if leaves_skin(widest)? {
            return Ok(widest);
        }
        // In hundredths, so that what is wanted reads as a size; the wider, the less is left.
        let hundredths = |mm: f64| (mm * 100.0).floor() as u32;
        let (mut fits, mut too_wide) = (hundredths(2.0 * bore.reach_mm()), hundredths(widest) + 1);
        while fits + 1 < too_wide {
            let middle = fits.midpoint(too_wide);
            *(if leaves_skin(f64::from(middle) / 100.0)? { &mut fits } else { &mut too_wide }) = middle;
        }
        let spigot = f64::from(fits) / 100.0;
        let drawn = self.sizing.drawn_mm(Kind::Pin, spigot)? / 2.0 - drawn_bore.reach_mm();
        if drawn.min(spigot / 2.0 - bore.reach_mm()) < LEAST_SKIN_MM {
            return Err(CannotBuild::Size {
                what: "the spigot of a flange apart",
                size_mm: spigot,
                reason: format!(
                    "the screws leave no more, and {LEAST_SKIN_MM} mm of plastic must be left around the bore; \
                     take a wider screw circle, thinner screws or a smaller bore"
                ),
            }
            .into());
        }
        Ok(spigot)
    }

    fn ring(&self, hold: RingHold) -> Result<Piece, CannotMake> {
        Ok(self.ring_on(self.spigot_mm(hold)?, hold))
    }

    /// The flange apart for a spigot of this diameter.
    fn ring_on(&self, spigot_mm: f64, hold: RingHold) -> Piece {
        let (fit, how) = match hold {
            RingHold::Pressed => {
                ("press", "press it onto the spigot, slowly and in line, behind eye protection")
            }
            RingHold::Screwed => ("slide", "screw it onto the face"),
        };
        // The bundled fits have both names.
        let clearance = NamedFits::bundled().get(fit).map_or(0.0, |fit| fit.clearance(spigot_mm).middle_mm());
        let mut piece = self.blank(", upper flange", format!("print lying on the bed; {how}"));
        piece.bore = Bore::round(spigot_mm + clearance);
        let mut steps = Pile::default();
        steps.add("upper flange", round(self.given.flange_diameter_mm), self.given.flange_mm);
        piece.steps = steps.0;
        let chamfer = self.given.flange_mm / 4.0;
        piece.bed_chamfer_mm = piece.bed_chamfer_mm.min(chamfer);
        piece.mouth_chamfer_mm = piece.mouth_chamfer_mm.min(chamfer);
        if hold == RingHold::Screwed {
            let asked = self.request.build.screw_circle;
            let first = |asked: CircleAsked| FRAC_PI_2 + PI / f64::from(asked.count.max(1));
            piece.holes.extend(asked.map(|asked| circle("screw hole", asked, first(asked))));
        }
        piece
    }

    /// On the widest ring that looks up.
    fn add_label(&self, piece: &mut Piece, warnings: &mut Vec<String>) -> Result<(), CannotMake> {
        let Some(text) = &self.request.build.label else { return Ok(()) };
        let mut found = None;
        for (index, step) in piece.steps.iter().enumerate() {
            let Some(outer) = step.side.solid_mm() else { continue };
            let above = piece.steps.get(index + 1).map(|step| step.side.reach_mm());
            let recess = piece.recesses.iter().find(|recess| recess.end == End::Top);
            let mouth = recess.map_or(piece.bore.reach_mm(), |recess| recess.diameter_mm / 2.0);
            let inner = above.unwrap_or(mouth + piece.mouth_chamfer_mm);
            let label = Label::between(text, step.to_mm, inner, outer)?;
            found = found.or(label.filter(|label| label_is_clear(piece, label)));
        }
        if found.is_none() {
            warnings.push(format!("there is no room for the label `{text}`: it is left out"));
        }
        piece.label = found;
        Ok(())
    }
}

/// What is wrong with the shoulder that the bore leaves behind a recess: common practice, no source.
fn shoulder_caution(recess: &RecessAsked, bore: &Bore) -> Option<String> {
    let limits = recess.shoulder?;
    let (name, end, hole_mm) = (recess.name, recess.end.name(), bore.size_mm());
    let wrong = if hole_mm < limits.lower_mm {
        "rubs on the inner ring, which turns"
    } else if 2.0 * bore.reach_mm() > limits.upper_mm {
        "bears on too little of the outer ring"
    } else {
        return None;
    };
    Some(format!(
        "the {name} at the {end} has the bore of {hole} mm behind it: that shoulder {wrong}; the bearing needs a hole \
         of {needed} mm there ({limits}): take --bore {needed}, or lay a ring of that bore under the outer ring and make \
         the seat deeper by it",
        hole = written(hole_mm),
        needed = written(limits.middle_mm()),
    ))
}

/// Whether a label keeps clear of holes and of set screws' slots.
fn label_is_clear(piece: &Piece, label: &Label) -> bool {
    let (near, far, half) = label.frame_mm();
    let hits = |[x, y]: [f64; 2], reach: f64| {
        let (dx, dy) = ((x.abs() - half).max(0.0), (-y - far).max(near + y).max(0.0));
        dx.hypot(dy) < reach + LEAST_SKIN_MM / 2.0
    };
    let mut holes = piece.holes.iter().filter(|hole| hole.to_mm.is_none());
    let is_free = !holes.any(|hole| hole.centres().any(|centre| hits(centre, hole.diameter_mm / 2.0)));
    let slots = piece.set_screws.iter().filter_map(|screws| Some((screws, screws.nut?)));
    let mut places = slots.flat_map(|(screws, slot)| {
        let middle = slot.from_axis_mm + slot.thickness_mm / 2.0;
        let reach = (slot.width_mm / 2.0).hypot(slot.thickness_mm / 2.0);
        screws.directions_rad.iter().map(move |angle| ([middle * angle.cos(), middle * angle.sin()], reach))
    });
    is_free && !places.any(|(place, reach)| hits(place, reach))
}

fn round(diameter_mm: f64) -> Side {
    Side::Round { diameter_mm }
}

fn circle(name: &'static str, asked: CircleAsked, first_rad: f64) -> HoleCircle {
    let CircleAsked { count, diameter_mm, circle_mm } = asked;
    HoleCircle { name, count, diameter_mm, circle_mm, first_rad, from_mm: None, to_mm: None }
}

/// Steps by their heights.
#[derive(Default)]
struct Pile(Vec<Step>);

impl Pile {
    fn add(&mut self, name: &'static str, side: Side, height_mm: f64) {
        let from = self.0.last().map_or(0.0, |step| step.to_mm);
        self.0.push(Step { name, side, to_mm: from + height_mm });
    }
}
