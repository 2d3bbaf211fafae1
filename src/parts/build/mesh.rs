//! The mesh of a piece: its features piled up as slabs and tapers, and proven.
//!
//! Outsides, bore and recesses are runs of loops over heights. At every height where anything begins or
//! ends the piece is cut into slabs, and each slab's outline is put together from what is there. All of it,
//! the holes across the axis included, is a stack ([`super::window`]), so the kernel's own proof holds:
//! watertight, one body, and the volume of the drawn polygons to the last grid cell.
//!
//! Chamfers and cones grow out of some of the teeth's corners only. Where they meet the teeth, slivers a few
//! hundredths of a millimetre wide are left bare or hang over, and half the triangles are saved.

use crate::belt::groove::Groove;
use crate::geometry::check::NotASolid;
use crate::geometry::outline::{Outline, Point};
use crate::geometry::solid::{Solid, Stack};

use super::bore::Bore;
use super::label::DEPTH_MM;
use super::piece::Piece;
use super::recess::End;
use super::set_screw::SetScrews;
use super::step::{Side, Step};
use super::window::{Ring, Windows};

/// Heights closer than this are one, mm: two grid steps.
const SAME_HEIGHT_MM: f64 = 2.5e-4;

/// A loop that runs over some heights, changing evenly where `high` is given.
struct Run {
    from: f64,
    to: f64,
    low: Vec<Point>,
    high: Option<Vec<Point>>,
}

impl Run {
    fn upright(from: f64, to: f64, points: Vec<Point>) -> Self {
        Self { from, to, low: points, high: None }
    }

    fn at(&self, z: f64) -> Vec<Point> {
        let Some(high) = &self.high else { return self.low.clone() };
        let share = ((z - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        let between = |(a, b): (&Point, &Point)| [0, 1].map(|i| a[i] + share * (b[i] - a[i]));
        self.low.iter().zip(high).map(between).collect()
    }
}

impl Piece {
    /// The body of this piece, proven watertight and one.
    ///
    /// # Errors
    /// Features that cut into each other, where [`Piece::check`] has not refused them, or a piece larger than
    /// solids may be.
    pub fn solid(&self) -> Result<Solid, NotASolid> {
        Cutting::new(self).stack().solid()
    }
}

/// A piece about to be cut into slabs.
struct Cutting<'a> {
    piece: &'a Piece,
    outer: Vec<Run>,
    inner: Vec<Run>,
    screws: Option<Screws<'a>>,
}

/// Set screws, and the rings that their gaps are cut into.
struct Screws<'a> {
    screws: &'a SetScrews,
    windows: Windows,
    profile: Vec<(f64, f64)>,
    outer: Ring,
    inner: Ring,
}

impl<'a> Cutting<'a> {
    fn new(piece: &'a Piece) -> Self {
        let screws = piece.set_screws.as_ref().and_then(|screws| {
            let (_, _, radius) = piece.step_of(screws)?;
            let windows = Windows::new(screws);
            Some(Screws {
                screws,
                profile: screws.profile(),
                outer: windows.ring(circle(2.0 * radius)),
                inner: windows.ring(piece.bore.corners()),
                windows,
            })
        });
        let mut cutting = Self { piece, outer: Vec::new(), inner: Vec::new(), screws };
        cutting.outer = cutting.outer_runs();
        cutting.inner = cutting.inner_runs();
        cutting
    }

    fn outer_runs(&self) -> Vec<Run> {
        let piece = self.piece;
        let screw_step = piece.set_screws.as_ref().and_then(|screws| piece.step_of(screws));
        let mut runs: Vec<Run> = Vec::new();
        let mut teeth: Option<&Groove> = None;
        for (index, (from, step)) in piece.steps_from().enumerate() {
            let mut from = from;
            if index == 0 && piece.bed_chamfer_mm > 0.0 {
                let to = piece.bed_chamfer_mm.min((step.to_mm - from) / 2.0);
                runs.extend(self.bed_chamfer(step, from, to, screw_step.is_some_and(|found| found.0 == 0)));
                from = if runs.is_empty() { from } else { to };
            }
            match &step.side {
                Side::Round { diameter_mm } => {
                    let under_cone = index.checked_sub(1).map(|below| &piece.steps[below].side);
                    let points = match (under_cone, teeth) {
                        (Some(Side::Cone { .. }), Some(groove)) => self.projected(groove, diameter_mm / 2.0),
                        _ if screw_step.is_some_and(|found| found.0 == index) => self.marked_outer(),
                        _ => circle(*diameter_mm),
                    };
                    runs.push(Run::upright(from, step.to_mm, points));
                }
                Side::Teeth(groove) => {
                    teeth = Some(groove);
                    let points = piece.chords.map_or_else(Vec::new, |chords| corners(groove, &chords.teeth));
                    runs.push(Run::upright(from, step.to_mm, points));
                }
                Side::Cone { diameter_mm } => {
                    if let Some(groove) = teeth {
                        runs.extend(self.cone(groove, diameter_mm / 2.0, from, step.to_mm));
                    }
                }
            }
        }
        runs
    }

    /// The outside that set screws go through, with the corners that their gaps begin at.
    fn marked_outer(&self) -> Vec<Point> {
        self.screws.as_ref().map_or_else(Vec::new, |screws| screws.windows.marked(&screws.outer))
    }

    fn bed_chamfer(&self, step: &Step, from: f64, to: f64, is_marked: bool) -> Option<Run> {
        let inset = to - from;
        match &step.side {
            Side::Round { diameter_mm } => {
                let high = if is_marked { self.marked_outer() } else { circle(*diameter_mm) };
                Some(Run { from, to, low: radially(&high, -inset), high: Some(high) })
            }
            Side::Teeth(groove) => {
                let guides = self.piece.chords?.guides;
                let high = corners(groove, &guides);
                // Roundings of a rack may vanish when they are drawn in: then by less, or not at all.
                let partners = |share: f64| {
                    let low = corners(&chamfered(groove, share * inset)?, &guides);
                    (low.len() == high.len()).then_some(low)
                };
                let low = [1.0, 0.5, 0.25].into_iter().find_map(partners)?;
                Some(Run { from, to, low, high: Some(high) })
            }
            Side::Cone { .. } => None,
        }
    }

    /// The corners of the teeth that flanges grow out of, moved out to a radius.
    fn projected(&self, groove: &Groove, radius: f64) -> Vec<Point> {
        let guides = self.piece.chords.map_or_else(Vec::new, |chords| corners(groove, &chords.guides));
        guides.iter().map(|&[x, y]| [x, y].map(|mm| mm * radius / x.hypot(y))).collect()
    }

    /// First tips and grooves alike at 45 degrees until the tips reach the rim, then the grooves on.
    fn cone(&self, groove: &Groove, radius: f64, from: f64, to: f64) -> [Run; 2] {
        let guides = self.piece.chords.map_or_else(Vec::new, |chords| corners(groove, &chords.guides));
        let height = radius - groove.outside_radius_mm;
        let middle = from + height / (radius - groove.floor_mm) * (to - from);
        let grown = radially(&guides, height);
        let rim = self.projected(groove, radius);
        [
            Run { from, to: middle, low: guides, high: Some(grown.clone()) },
            Run { from: middle, to, low: grown, high: Some(rim) },
        ]
    }

    fn inner_runs(&self) -> Vec<Run> {
        let piece = self.piece;
        let (top, bed_chamfer) = (piece.top_mm(), piece.bed_chamfer_mm);
        let bore = match &self.screws {
            Some(screws) => screws.windows.marked(&screws.inner),
            None => piece.bore.corners(),
        };
        let recess = |end| piece.recesses.iter().find(|recess| recess.end == end);
        let mut runs = Vec::new();
        let mut low = 0.0;
        // As the exact solid has it, which knows planes and cones.
        let mouth = |end, by_mm: f64| -> (Vec<Point>, Vec<Point>) {
            let Some(recess) = recess(end) else {
                return (
                    bore.clone(),
                    bore.iter().map(|place| piece.bore.opened_place(*place, by_mm)).collect(),
                );
            };
            let points = circle(recess.diameter_mm);
            let wider = Bore::round(recess.diameter_mm);
            (points.clone(), points.iter().map(|place| wider.opened_place(*place, by_mm)).collect())
        };
        let (bed_hollow, wider) = mouth(End::Bed, bed_chamfer);
        if bed_chamfer > 0.0 {
            runs.push(Run { from: 0.0, to: bed_chamfer, low: wider, high: Some(bed_hollow.clone()) });
            low = bed_chamfer;
        }
        if let Some(recess) = recess(End::Bed) {
            runs.push(Run::upright(low, recess.floor_mm, bed_hollow));
            low = recess.floor_mm;
        }
        let chamfer = piece.mouth_chamfer_mm;
        let (points, wider) = mouth(End::Top, chamfer);
        if let Some(recess) = recess(End::Top) {
            runs.push(Run::upright(low, recess.floor_mm, bore.clone()));
            low = recess.floor_mm;
        }
        runs.push(Run::upright(low, top - chamfer, points.clone()));
        if chamfer > 0.0 {
            runs.push(Run { from: top - chamfer, to: top, low: points, high: Some(wider) });
        }
        runs
    }

    /// Every height at which something begins or ends.
    fn heights(&self) -> Vec<f64> {
        let piece = self.piece;
        let mut heights: Vec<f64> =
            self.outer.iter().chain(&self.inner).flat_map(|run| [run.from, run.to]).collect();
        heights.extend(piece.holes.iter().flat_map(|hole| [hole.from_mm, hole.to_mm]).flatten());
        heights.extend(piece.label.iter().flat_map(|label| [label.face_mm - DEPTH_MM, label.face_mm]));
        if let Some(screws) = &self.screws {
            heights.extend(screws.profile.iter().map(|(z, _)| *z));
            heights.extend(screws.screws.nut.map(|slot| slot.floor_mm));
        }
        heights.sort_by(f64::total_cmp);
        heights.dedup_by(|a, b| (*a - *b).abs() < SAME_HEIGHT_MM);
        heights
    }

    fn stack(&self) -> Stack {
        let mut stack = Stack::new(self.piece.name.clone());
        let holes: Vec<Vec<Vec<Point>>> = self
            .piece
            .holes
            .iter()
            .map(|hole| {
                hole.centres()
                    .map(|centre| Outline::circle(centre, hole.diameter_mm).loops.swap_remove(0))
                    .collect()
            })
            .collect();
        let label = self.piece.label.as_ref().map(|label| label.outline());
        for pair in self.heights().windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let slab = Slab { from, to, holes: &holes, label: label.as_ref() };
            stack = self.add(stack, &slab);
        }
        stack
    }

    fn add(&self, stack: Stack, slab: &Slab<'_>) -> Stack {
        let middle = (slab.from + slab.to) / 2.0;
        let is_there = |run: &&Run| run.from < middle && middle < run.to;
        let (outer, inner) = (self.outer.iter().find(is_there), self.inner.iter().find(is_there));
        let (Some(outer), Some(inner)) = (outer, inner) else { return stack };
        let mut cuts = Outline::default();
        self.add_cuts(slab, middle, &mut cuts);
        let gap = self.screws.as_ref().and_then(|screws| Some((screws, screws.gap_at(middle)?)));
        let outline = |z: f64| {
            let mut ring = match &gap {
                Some((screws, _)) => {
                    Outline { loops: screws.windows.cut(&screws.outer, &screws.inner, screws.half_at(z)) }
                }
                None => Outline { loops: vec![outer.at(z)] }.with_hole(&Outline { loops: vec![inner.at(z)] }),
            };
            ring.loops.extend(cuts.loops.iter().cloned());
            ring
        };
        if gap.is_some() || outer.high.is_some() || inner.high.is_some() {
            stack.taper(slab.from, slab.to, &outline(slab.from), &outline(slab.to))
        } else {
            stack.slab(slab.from, slab.to, &outline(slab.from))
        }
    }

    /// Holes, slots and label between two heights, clockwise.
    fn add_cuts(&self, slab: &Slab<'_>, middle: f64, cuts: &mut Outline) {
        let nothing = Outline::default();
        let step = self.piece.steps.iter().find(|step| middle < step.to_mm);
        for (hole, loops) in self.piece.holes.iter().zip(slab.holes) {
            let is_high =
                hole.from_mm.is_none_or(|from| from < middle) && hole.to_mm.is_none_or(|to| to > middle);
            if is_high && step.is_some_and(|step| Piece::passes_through(hole, step)) {
                cuts.loops.extend(nothing.clone().with_hole(&Outline { loops: loops.clone() }).loops);
            }
        }
        if let (Some(label), Some(outline)) = (&self.piece.label, slab.label)
            && (label.face_mm - DEPTH_MM..label.face_mm).contains(&middle)
        {
            cuts.loops.extend(nothing.clone().minus_inside(outline).loops);
        }
        if let Some(screws) = &self.screws
            && screws.gap_at(middle).is_none()
            && screws.screws.has_slot_at(middle)
        {
            cuts.loops.extend(nothing.with_hole(&Outline { loops: screws.windows.slots() }).loops);
        }
    }
}

/// Between two heights at which something begins or ends.
struct Slab<'a> {
    from: f64,
    to: f64,
    holes: &'a [Vec<Vec<Point>>],
    label: Option<&'a Outline>,
}

impl Screws<'_> {
    /// Half width of the gap; `None` above and below it.
    fn gap_at(&self, z: f64) -> Option<f64> {
        let (first, last) = (self.profile.first()?, self.profile.last()?);
        (first.0 < z && z < last.0).then(|| self.half_at(z))
    }

    fn half_at(&self, z: f64) -> f64 {
        let above = self.profile.partition_point(|(height, _)| *height < z);
        let clamp = |index: usize| self.profile[index.min(self.profile.len() - 1)];
        let (low, high) = (clamp(above.saturating_sub(1)), clamp(above));
        if high.0 <= low.0 {
            return low.1;
        }
        let share = ((z - low.0) / (high.0 - low.0)).clamp(0.0, 1.0);
        low.1 + share * (high.1 - low.1)
    }
}

fn circle(diameter: f64) -> Vec<Point> {
    Outline::circle([0.0, 0.0], diameter).loops.swap_remove(0)
}

fn corners(groove: &Groove, chords: &[usize; 8]) -> Vec<Point> {
    groove.corners(chords).into_iter().map(|(x, y)| [x, y]).collect()
}

/// Every corner moved away from the axis, corner for corner.
fn radially(points: &[Point], out_mm: f64) -> Vec<Point> {
    let place = |&[x, y]: &Point| {
        let far = x.hypot(y);
        [x, y].map(|mm| mm * (far + out_mm) / far)
    };
    points.iter().map(place).collect()
}

/// The teeth drawn in by the chamfer at the bed, corner for corner; `None` where that leaves no teeth.
fn chamfered(groove: &Groove, chamfer_mm: f64) -> Option<Groove> {
    // No more than leaves half of the tips.
    let inset = chamfer_mm.min(groove.land_mm() / 4.0);
    let mut inner = groove.grown(-inset, -inset);
    // A rounding must stay one, however small, for its corners to have partners.
    if groove.tip_radius_mm > 0.0 {
        inner.tip_radius_mm = inner.tip_radius_mm.max(groove.tip_radius_mm / 4.0);
    }
    if groove.bottom_radius_mm == 0.0 {
        inner.bottom_radius_mm = 0.0;
    }
    inner.check().ok()?;
    Some(inner)
}
