//! Outlines joined with and cut from one another where they overlap, on the grid of the solids.
//!
//! Where an edge crosses another, the new corner is rounded to the grid; on a slanted edge it may so come
//! to lie up to a step beside it. Stacked on an outline that keeps the whole edge, such a corner can make
//! the two cross, which the stack refuses: use the cut outline in both slabs, or keep clear of the edge.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::Overlay;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::i_float::int::point::IntPoint;

use super::grid;
use super::outline::{Outline, Point};

/// A place on the grid, as the crate underneath wants it.
pub(super) type Place = IntPoint<i32>;

impl Outline {
    /// What either region covers; they may overlap.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        combined(&self.places(), &other.places(), OverlayRule::Union)
    }

    /// What this region covers and `other` does not; `other` may reach over its edge.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        combined(&self.places(), &other.places(), OverlayRule::Difference)
    }

    /// What both regions cover.
    #[must_use]
    pub fn within(&self, other: &Self) -> Self {
        combined(&self.places(), &other.places(), OverlayRule::Intersect)
    }

    fn places(&self) -> Vec<Vec<Place>> {
        let place = |[x, y]: &Point| Place::new(steps(*x), steps(*y));
        self.loops.iter().map(|points| points.iter().map(place).collect()).collect()
    }
}

/// What any of the loops covers, each counted once.
pub(super) fn joined(loops: &[Vec<Place>]) -> Outline {
    combined(loops, &[], OverlayRule::Subject)
}

/// The grid steps of a coordinate; one too far out stays too far out, for the stack to refuse.
pub(super) fn steps(mm: f64) -> i32 {
    ((mm * grid::STEPS_PER_MM).round() as i32).clamp(-(1 << 24), 1 << 24)
}

fn combined(subject: &[Vec<Place>], clip: &[Vec<Place>], rule: OverlayRule) -> Outline {
    let mut overlay = Overlay::from_subj_and_clip(subject, clip);
    let shapes = overlay.overlay(rule, FillRule::NonZero);
    let mm = |place: Place| [grid::to_mm(place.x), grid::to_mm(place.y)];
    // Outer loops come counter-clockwise and holes clockwise.
    Outline { loops: shapes.into_iter().flatten().map(|loop_| loop_.into_iter().map(mm).collect()).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::solid::Stack;

    #[test]
    fn overlapping_outlines_join_cut_and_meet() {
        let (a, b) = (Outline::rectangle(0.0, 0.0, 4.0, 4.0), Outline::rectangle(3.0, 1.0, 6.0, 3.0));
        for (combined, area) in [(a.union(&b), 20.0), (a.minus(&b), 14.0), (a.within(&b), 2.0)] {
            assert_eq!(combined.area(), area);
            assert_eq!(Stack::new("part").slab(0.0, 1.0, &combined).solid().unwrap().volume_mm3(), area);
        }
    }

    #[test]
    fn holes_stay_holes_and_what_is_left_of_nothing_is_empty() {
        let frame = Outline::rectangle(0.0, 0.0, 9.0, 9.0).with_hole(&Outline::rectangle(2.0, 2.0, 7.0, 7.0));
        let bar = Outline::rectangle(-1.0, 4.0, 10.0, 5.0);
        assert_eq!(frame.union(&bar).area(), 56.0 + 5.0 + 2.0);
        assert_eq!(frame.minus(&bar).area(), 56.0 - 4.0);
        assert_eq!(frame.minus(&frame), Outline::default());
    }

    #[test]
    fn a_slot_through_the_edge_of_a_plate_stands_on_the_whole_plate() {
        let plate = Outline::rectangle(0.0, 0.0, 20.0, 10.0);
        let slotted = plate.minus(&Outline::circle([10.0, 10.0], 6.0));
        let solid = Stack::new("slotted").slab(0.0, 2.0, &plate).slab(2.0, 4.0, &slotted).solid().unwrap();
        assert!((solid.volume_mm3() - 400.0 - 2.0 * slotted.area()).abs() < 1e-6);
    }

    #[test]
    fn what_is_far_out_stays_for_the_stack_to_refuse() {
        let far = Outline::rectangle(0.0, 0.0, 1e12, f64::INFINITY);
        assert!(Stack::new("far").slab(0.0, 1.0, &far.union(&far)).solid().is_err());
    }
}
