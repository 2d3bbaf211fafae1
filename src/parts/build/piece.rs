//! One printed piece: its features, whether they go together, and its sizes.

use std::f64::consts::{FRAC_PI_2, TAU};

use crate::correction::apply::CannotApply;
use crate::kind::Kind;
use crate::parts::pulley_chords::Chords;

use super::bore::Bore;
use super::hole::HoleCircle;
use super::label::Label;
use super::recess::{End, Recess};
use super::set_screw::SetScrews;
use super::sizing::{Dimension, Sized, Sizing};
use super::step::{Side, Step};
use super::window::Windows;
use super::{CannotBuild, LEAST_SKIN_MM, need_positive, need_skin};

/// A piece, as wanted or as drawn, as it lies on the bed. Its axis is z.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// What it is called in files.
    pub name: String,
    /// How it is laid on the bed, a sentence for the drawing.
    pub orientation: String,
    /// Its outsides, from the bed up.
    pub steps: Vec<Step>,
    /// The bore through all of it.
    pub bore: Bore,
    /// Recesses at its ends, one an end at the most.
    pub recesses: Vec<Recess>,
    /// Holes along the axis.
    pub holes: Vec<HoleCircle>,
    /// Set screws across it.
    pub set_screws: Option<SetScrews>,
    /// A label.
    pub label: Option<Label>,
    /// Chamfer of the edges that lie on the bed, which the spread of the first layer goes into, mm.
    pub bed_chamfer_mm: f64,
    /// Chamfer at the bore's upper mouth, mm.
    pub mouth_chamfer_mm: f64,
    /// Chords that teeth are drawn with; `None` of a piece without teeth.
    pub chords: Option<Chords>,
}

impl Piece {
    /// Its height, mm.
    pub fn top_mm(&self) -> f64 {
        self.steps.last().map_or(0.0, |step| step.to_mm)
    }

    /// Its steps with the heights that they begin at.
    pub fn steps_from(&self) -> impl Iterator<Item = (f64, &Step)> {
        let starts = std::iter::once(0.0).chain(self.steps.iter().map(|step| step.to_mm));
        starts.zip(&self.steps)
    }

    /// The piece to draw.
    pub fn drawn(&self, sizing: &Sizing<'_>) -> Result<Self, CannotApply> {
        let label = |label: &Label| -> Result<Label, CannotApply> {
            Ok(Label { face_mm: sizing.drawn_mm(Kind::Height, label.face_mm)?, ..label.clone() })
        };
        Ok(Self {
            steps: self.steps.iter().map(|step| step.drawn(sizing)).collect::<Result<_, _>>()?,
            bore: self.bore.drawn(sizing)?,
            recesses: self.recesses.iter().map(|recess| recess.drawn(sizing)).collect::<Result<_, _>>()?,
            holes: self.holes.iter().map(|hole| hole.drawn(sizing)).collect::<Result<_, _>>()?,
            set_screws: self.set_screws.as_ref().map(|screws| screws.drawn(sizing)).transpose()?,
            label: self.label.as_ref().map(label).transpose()?,
            ..self.clone()
        })
    }

    /// What a caliper finds on it, feature by feature.
    pub fn sizes(&self) -> Vec<Sized> {
        let mut out = Vec::new();
        self.steps.iter().for_each(|step| step.sizes(&mut out));
        self.bore.sizes(&mut out);
        self.recesses.iter().for_each(|recess| recess.sizes(&mut out));
        self.holes.iter().for_each(|hole| hole.sizes(&mut out));
        self.set_screws.iter().for_each(|screws| screws.sizes(&mut out));
        out
    }

    /// The table of its sizes, from the piece as wanted (`self`) and as drawn.
    pub fn dimensions(&self, drawn: &Self, sizing: &Sizing<'_>) -> Result<Vec<Dimension>, CannotApply> {
        sizing.dimensions(&self.sizes(), &drawn.sizes())
    }

    /// Whether its features go together.
    ///
    /// # Errors
    /// The first two that do not, with what would be left between them.
    pub fn check(&self) -> Result<(), CannotBuild> {
        self.bore.check()?;
        for (from, step) in self.steps_from() {
            need_positive("the height of a step", step.to_mm - from)?;
            if let Some(solid) = step.side.solid_mm() {
                let what = format!("between the bore and the outside of the {}", step.name);
                need_skin(&what, solid - self.bore.reach_mm(), self.skin_mm(from, 2.0))?;
            }
        }
        for recess in &self.recesses {
            self.check_recess(recess)?;
        }
        for holes in &self.holes {
            self.check_holes(holes)?;
        }
        if let [a, b] = &self.holes[..] {
            self.check_apart(a, b)?;
        }
        self.set_screws.iter().try_for_each(|screws| self.check_screws(screws))
    }

    /// Plastic that must be left between two walls of something that begins at this height, of which so many
    /// are chamfered on the bed, mm.
    fn skin_mm(&self, from_mm: f64, chamfers: f64) -> f64 {
        let on_bed = if from_mm <= 0.0 { chamfers * self.bed_chamfer_mm } else { 0.0 };
        LEAST_SKIN_MM.max(on_bed + LEAST_SKIN_MM / 2.0).max(self.mouth_chamfer_mm + LEAST_SKIN_MM / 2.0)
    }

    /// The radius that bore and recesses need between two heights, mm.
    fn inner_reach_mm(&self, from_mm: f64, to_mm: f64) -> f64 {
        let is_there = |recess: &&Recess| match recess.end {
            End::Bed => recess.floor_mm > from_mm,
            End::Top => recess.floor_mm < to_mm,
        };
        let recesses = self.recesses.iter().filter(is_there).map(|recess| recess.diameter_mm / 2.0);
        recesses.fold(self.bore.reach_mm(), f64::max)
    }

    fn check_recess(&self, recess: &Recess) -> Result<(), CannotBuild> {
        need_positive("the diameter of a recess", recess.diameter_mm)?;
        let depth = if recess.end == End::Bed { recess.floor_mm } else { self.top_mm() - recess.floor_mm };
        need_positive("the depth of a recess", depth)?;
        need_skin(
            &format!("between the {} and the bore, as its shoulder", recess.name),
            recess.diameter_mm / 2.0 - self.bore.reach_mm(),
            LEAST_SKIN_MM / 2.0,
        )?;
        need_skin(
            &format!("behind the {}", recess.name),
            self.top_mm() - depth - self.other_depth_mm(recess.end),
            LEAST_SKIN_MM,
        )?;
        for (from, step) in self.steps_from() {
            let is_beside = match recess.end {
                End::Bed => from < recess.floor_mm,
                End::Top => step.to_mm > recess.floor_mm,
            };
            if let Some(solid) = step.side.solid_mm().filter(|_| is_beside) {
                let what = format!("between the {} and the outside of the {}", recess.name, step.name);
                need_skin(&what, solid - recess.diameter_mm / 2.0, self.skin_mm(from, 2.0))?;
            }
        }
        Ok(())
    }

    fn other_depth_mm(&self, end: End) -> f64 {
        let other = self.recesses.iter().find(|recess| recess.end != end);
        other.map_or(0.0, |recess| match recess.end {
            End::Bed => recess.floor_mm,
            End::Top => self.top_mm() - recess.floor_mm,
        })
    }

    /// Whether holes of this circle pass through a step; they pass beside one that is much smaller.
    pub(super) fn passes_through(holes: &HoleCircle, step: &Step) -> bool {
        holes.band_mm().0 < step.side.reach_mm()
    }

    fn check_holes(&self, holes: &HoleCircle) -> Result<(), CannotBuild> {
        need_positive("the diameter of a hole", holes.diameter_mm)?;
        let name = holes.name;
        need_skin(&format!("between one {name} and the next"), holes.between_mm(), LEAST_SKIN_MM)?;
        let (from, to) = (holes.from_mm.unwrap_or(0.0), holes.to_mm.unwrap_or(self.top_mm()));
        need_positive("the depth of a hole", to - from)?;
        let (near, far) = holes.band_mm();
        let inner = self.inner_reach_mm(from, to);
        need_skin(
            &format!("between the {name}s and the bore or its recess"),
            near - inner,
            self.skin_mm(from, 1.0),
        )?;
        for (start, step) in self.steps_from() {
            if step.to_mm <= from || start >= to || !Self::passes_through(holes, step) {
                continue;
            }
            if let Some(solid) = step.side.solid_mm() {
                need_skin(
                    &format!("between the {name}s and the outside of the {}", step.name),
                    solid - far,
                    self.skin_mm(start.max(from), 1.0),
                )?;
            }
        }
        Ok(())
    }

    /// By how much holes through all of it stand too near to the bore, mm; not above zero where they do not.
    pub(in crate::parts) fn short_of_skin_mm(&self) -> f64 {
        let needed = self.bore.reach_mm() + self.skin_mm(0.0, 1.0);
        self.holes.iter().map(|holes| needed - holes.band_mm().0).fold(f64::NEG_INFINITY, f64::max)
    }

    fn check_apart(&self, a: &HoleCircle, b: &HoleCircle) -> Result<(), CannotBuild> {
        let gaps = a.centres().flat_map(|[x, y]| b.centres().map(move |[u, v]| (x - u).hypot(y - v)));
        let least = gaps.fold(f64::INFINITY, f64::min) - (a.diameter_mm + b.diameter_mm) / 2.0;
        need_skin(&format!("between the {}s and the {}s", a.name, b.name), least, LEAST_SKIN_MM)
    }

    /// The step that set screws pass through, with the height it begins at.
    pub(super) fn step_of(&self, screws: &SetScrews) -> Option<(usize, f64, f64)> {
        let mut steps = self.steps_from().enumerate();
        let found = steps.find(|(_, (_, step))| screws.height_mm < step.to_mm)?;
        let (index, (from, step)) = found;
        match step.side {
            Side::Round { diameter_mm } => Some((index, from, diameter_mm / 2.0)),
            Side::Teeth(_) | Side::Cone { .. } => None,
        }
    }

    fn check_screws(&self, screws: &SetScrews) -> Result<(), CannotBuild> {
        need_positive("the diameter of a set screw's hole", screws.diameter_mm)?;
        let Some((index, from, outer)) = self.step_of(screws) else {
            return Err(CannotBuild::Needs("a set screw needs a hub or another round part to go through"));
        };
        let top = self.steps[index].to_mm;
        let half = screws.diameter_mm / 2.0 * 1.01;
        let clear = if index == 0 { self.bed_chamfer_mm } else { 0.0 }.max(LEAST_SKIN_MM);
        need_skin("under the set screw, inside its hub", screws.height_mm - half - from, clear)?;
        need_skin("over the set screw, inside its hub", top - screws.height_mm - half, LEAST_SKIN_MM)?;
        for recess in &self.recesses {
            let gap = match recess.end {
                End::Bed => screws.height_mm - half - recess.floor_mm,
                End::Top => recess.floor_mm - screws.height_mm - half,
            };
            need_skin(&format!("between the set screw and the {}", recess.name), gap, LEAST_SKIN_MM)?;
        }
        let wide = Windows::wide_mm(screws.diameter_mm);
        let inner = match self.bore {
            Bore::Flat { flat_mm, .. } | Bore::Polygon { flat_mm, .. } => flat_mm,
            Bore::Round { diameter_mm } | Bore::Keyed { diameter_mm, .. } => diameter_mm / 2.0,
        };
        let count = screws.directions_rad.len();
        let apart = (0..count).map(|i| {
            let next = screws.directions_rad[(i + 1) % count];
            (next - screws.directions_rad[i]).rem_euclid(TAU)
        });
        let narrowest = if count < 2 { f64::INFINITY } else { apart.fold(f64::INFINITY, f64::min) };
        if !(wide < 0.97 * inner && 2.0 * (wide / inner).asin() < narrowest) {
            return Err(CannotBuild::Size {
                what: "a set screw's hole",
                size_mm: screws.diameter_mm,
                reason: format!("{count} of them do not fit into a bore of {} mm", self.bore.size_mm()),
            });
        }
        if let Bore::Keyed { diameter_mm, width_mm, .. } = self.bore {
            let meets_edge = |angle: &f64| {
                let away = (angle - FRAC_PI_2).rem_euclid(TAU);
                let (away, reach) = (away.min(TAU - away), diameter_mm / 2.0);
                let is_inside_slot = away < 1e-9 && wide < 0.97 * width_mm / 2.0;
                !is_inside_slot && away < (wide / reach).asin() + (width_mm / 2.0 / reach).asin() + 0.02
            };
            if screws.directions_rad.iter().any(meets_edge) {
                return Err(CannotBuild::Needs(
                    "a set screw goes through the bottom of the key slot or clear of it, not through its edge",
                ));
            }
        }
        for holes in self.holes.iter().filter(|holes| Self::passes_through(holes, &self.steps[index])) {
            let beside = holes.centres().flat_map(|[x, y]| {
                screws.directions_rad.iter().filter_map(move |angle| {
                    let (sin, cos) = angle.sin_cos();
                    (x * cos + y * sin > 0.0).then_some((y * cos - x * sin).abs())
                })
            });
            let gap = beside.fold(f64::INFINITY, f64::min) - half - holes.diameter_mm / 2.0;
            need_skin(&format!("between a set screw and a {}", holes.name), gap, LEAST_SKIN_MM)?;
        }
        let Some(slot) = &screws.nut else { return Ok(()) };
        need_positive("the thickness of a nut", slot.thickness_mm)?;
        need_skin("between the bore and the nut", slot.from_axis_mm - self.bore.reach_mm(), LEAST_SKIN_MM)?;
        let far = slot.from_axis_mm + slot.thickness_mm;
        need_skin(
            "between the nut's corners and the outside of the hub",
            outer - far.hypot(slot.width_mm / 2.0),
            LEAST_SKIN_MM,
        )?;
        need_skin("beside the set screw, for the nut to lean on", slot.width_mm / 2.0 - half, 0.4)?;
        let (low, high) = screws.span_mm(self.top_mm());
        let behind = if screws.end == End::Top { low } else { self.top_mm() - high };
        need_skin("behind the nut slot", behind, LEAST_SKIN_MM)?;
        for recess in self.recesses.iter().filter(|recess| recess.end == screws.end) {
            let gap = slot.from_axis_mm - recess.diameter_mm / 2.0;
            need_skin(&format!("between the nut slot and the {}", recess.name), gap, LEAST_SKIN_MM)?;
        }
        if count > 1 {
            // Two neighbouring slots meet first in their inner corners.
            let corner = (slot.width_mm / 2.0).atan2(slot.from_axis_mm);
            let gap = 2.0 * slot.from_axis_mm.hypot(slot.width_mm / 2.0) * (narrowest / 2.0 - corner).sin();
            need_skin("between one nut slot and the next", gap, LEAST_SKIN_MM)?;
        }
        for holes in &self.holes {
            let near_slot = holes.centres().any(|[x, y]| {
                screws.directions_rad.iter().any(|angle| {
                    let (sin, cos) = angle.sin_cos();
                    let (along, beside) = (x * cos + y * sin, (y * cos - x * sin).abs());
                    let (dx, dy) = (
                        (slot.from_axis_mm - along).max(along - far).max(0.0),
                        (beside - slot.width_mm / 2.0).max(0.0),
                    );
                    dx.hypot(dy) < holes.diameter_mm / 2.0 + LEAST_SKIN_MM
                })
            });
            if near_slot {
                return Err(CannotBuild::Skin {
                    what: format!("between a nut slot and a {}", holes.name),
                    left_mm: 0.0,
                    needed_mm: LEAST_SKIN_MM,
                });
            }
        }
        Ok(())
    }
}
