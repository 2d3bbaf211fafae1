//! Line numbers beside points, placed where they cover least.

use plotters::style::text_anchor::{HPos, VPos};

use super::PlotError;
use super::canvas::UNIT;
use super::font;
use super::look::{INK, PAPER};
use super::plane::{Place, Plane, SMALL, rectangle, text};

/// More labels than this in one figure say nothing any more.
pub const MOST: usize = 12;

/// Labels so far, and what they should keep clear of.
#[derive(Clone, Debug, Default)]
pub struct Labels {
    points: Vec<(f64, f64)>,
    taken: Vec<Place>,
}

fn overlap(Place(l, t, w, h): &Place, Place(l2, t2, w2, h2): &Place) -> bool {
    l < &(l2 + w2) && l2 < &(l + w) && t < &(t2 + h2) && t2 < &(t + h)
}

fn within(Place(l, t, w, h): &Place, Place(l2, t2, w2, h2): &Place) -> bool {
    l >= l2 && t >= t2 && l + w <= l2 + w2 && t + h <= t2 + h2
}

impl Labels {
    /// Labels that keep clear of these points of the sheet where they can.
    pub fn clear_of(points: impl IntoIterator<Item = (i32, i32)>) -> Self {
        let units = |v: i32| f64::from(v) / f64::from(UNIT);
        Self { points: points.into_iter().map(|(x, y)| (units(x), units(y))).collect(), taken: Vec::new() }
    }

    /// The best of some places beside `at` (in units of the picture) for a label of this size.
    /// `None` where each of them would cover another label or leave the plane.
    fn place(&mut self, at: (f64, f64), (wide, high): (f64, f64), bounds: &Place) -> Option<Place> {
        let (x, y) = at;
        let gap = 7.0;
        let (right, left, middle) = (x + gap, x - gap - wide, x - wide / 2.0);
        let (above, beside, below) = (y - gap - high, y - high / 2.0, y + gap);
        let candidates = [
            (right, beside),
            (left, beside),
            (right, above),
            (right, below),
            (left, above),
            (left, below),
            (middle, above),
            (middle, below),
            (right, beside + high),
            (left, beside + high),
            (right, beside - high),
            (left, beside - high),
            (right, beside + 2.0 * high),
            (left, beside + 2.0 * high),
            (right, beside - 2.0 * high),
            (left, beside - 2.0 * high),
        ];
        let cost = |place: &Place| {
            let covered = |&&(px, py): &&(f64, f64)| overlap(place, &Place(px - 3.0, py - 3.0, 6.0, 6.0));
            self.points.iter().filter(covered).count()
        };
        let free =
            |place: &Place| within(place, bounds) && !self.taken.iter().any(|taken| overlap(place, taken));
        let best = candidates
            .iter()
            .map(|&(left, top)| Place(left, top, wide, high))
            .filter(free)
            .min_by_key(cost)?;
        self.taken.push(best);
        Some(best)
    }

    /// Writes `words` beside a point of the sheet, cut to the plane's width; where there is no room left,
    /// the point keeps its mark and the report's list has the line.
    pub fn write(&mut self, plane: &Plane, at: (i32, i32), words: &str) -> Result<(), PlotError> {
        let units = |v: i32| f64::from(v) / f64::from(UNIT);
        let words = font::fitted(words, SMALL, plane.place.2 as f32 - 8.0);
        let words = words.as_str();
        let size = (f64::from(font::width(words, SMALL)) + 4.0, 15.0);
        let at = (units(at.0), units(at.1));
        // What is named must itself stay in sight.
        self.taken.push(Place(at.0 - 5.5, at.1 - 5.5, 11.0, 11.0));
        let Some(place) = self.place(at, size, &plane.place) else { return Ok(()) };
        rectangle(&plane.area, place, PAPER, 0.8)?;
        let Place(left, top, _, high) = place;
        text(&plane.area, (left + 2.0, top + high / 2.0), words, SMALL, INK, (HPos::Left, VPos::Center))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOUNDS: Place = Place(0.0, 0.0, 200.0, 100.0);

    #[test]
    fn two_labels_of_one_place_do_not_cover_each_other() {
        let mut labels = Labels::default();
        let first = labels.place((50.0, 50.0), (40.0, 15.0), &BOUNDS).unwrap();
        let second = labels.place((50.0, 50.0), (40.0, 15.0), &BOUNDS).unwrap();
        assert!(!overlap(&first, &second), "{first:?} {second:?}");
    }

    #[test]
    fn a_label_at_the_edge_stays_inside() {
        let place = Labels::default().place((195.0, 2.0), (40.0, 15.0), &BOUNDS).unwrap();
        assert!(within(&place, &BOUNDS), "{place:?}");
    }

    #[test]
    fn a_label_goes_where_there_are_no_points() {
        let crowd = (60..100).map(|x| (x * UNIT, 50 * UNIT));
        let place = Labels::clear_of(crowd).place((50.0, 50.0), (40.0, 15.0), &BOUNDS).unwrap();
        assert_eq!(place.0, 3.0, "{place:?}");
    }
}
