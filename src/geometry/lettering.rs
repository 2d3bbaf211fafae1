//! Labels: text as an outline thick enough to print, raised or engraved.
//!
//! The middle lines of our own glyphs are drawn with a round pen and joined, on the grid of
//! the solids. The pen is 0.17 of the height of a capital wide and capitals are at least 5 mm tall, so
//! that a stroke is never thinner than 0.83 mm across, two lines of a 0.4 mm nozzle; strokes that do not
//! meet are at least 0.4 mm apart.

use super::combine::{self, Place, steps};
use super::glyphs::{self, Stroke};
use super::outline::Outline;

/// Smallest height of a capital in millimetres; less is drawn at this height.
pub const MIN_CAP_HEIGHT_MM: f64 = 5.0;

/// Width of the pen over the height of a capital.
const PEN: f64 = 0.17;
/// Width of a lattice unit over the height of a capital.
const UNIT_WIDE: f64 = 0.125;
/// Space between neighbouring characters over the height of a capital.
const SPACE: f64 = 0.18;
/// Corners of the pen's outline: at its narrowest it is 0.98 of its width.
const PEN_CORNERS: usize = 16;

/// A character for which there is no glyph.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a label cannot show `{0}`; it knows letters, digits, space and . , : - + = / _ #")]
pub struct UnknownGlyph(pub char);

/// The sizes of a text in millimetres.
struct Sizes {
    cap_height: f64,
    pen: f64,
    unit: [f64; 2],
}

impl Sizes {
    fn new(cap_height_mm: f64) -> Self {
        // A height that is no number becomes the smallest one too.
        let cap_height = cap_height_mm.max(MIN_CAP_HEIGHT_MM);
        let pen = PEN * cap_height;
        let unit = [UNIT_WIDE * cap_height, (cap_height - pen) / glyphs::UNITS_TALL];
        Self { cap_height, pen, unit }
    }

    fn glyph_width(&self, units: u8) -> f64 {
        f64::from(units) * self.unit[0] + self.pen
    }

    fn space(&self) -> f64 {
        SPACE * self.cap_height
    }
}

fn glyph(character: char) -> Result<(u8, &'static [Stroke]), UnknownGlyph> {
    glyphs::glyph(character).ok_or(UnknownGlyph(character))
}

/// The outline of `text` with its lower left corner at the origin and capitals `cap_height_mm` tall (at
/// least 5); what letters enclose is a hole. Empty when nothing is visible.
///
/// Raised, it is a slab of its own; engraved, it is taken off with [`Outline::minus_inside`].
///
/// # Errors
/// When a character has no glyph.
pub fn text(text: &str, cap_height_mm: f64) -> Result<Outline, UnknownGlyph> {
    let sizes = Sizes::new(cap_height_mm);
    let pen = pen(sizes.pen);
    let mut left = 0.0;
    let mut outline = Outline::default();
    for character in text.chars() {
        let (units, strokes) = glyph(character)?;
        let place = |&(x, y): &(u8, u8)| {
            let place = [x, y].map(f64::from);
            let mm = [0, 1].map(|axis| sizes.pen / 2.0 + place[axis] * sizes.unit[axis]);
            Place::new(steps(left + mm[0]), steps(mm[1]))
        };
        let drawn: Vec<Vec<Place>> = strokes
            .iter()
            .flat_map(|stroke| stroke.windows(stroke.len().min(2)))
            .map(|ends| drag(&pen, place(&ends[0]), place(&ends[ends.len() - 1])))
            .collect();
        outline.loops.extend(combine::joined(&drawn).loops);
        left += sizes.glyph_width(units) + sizes.space();
    }
    Ok(outline)
}

/// How wide [`text`] comes out, in millimetres: from the first character's left to the last one's right.
///
/// # Errors
/// When a character has no glyph.
pub fn text_width(text: &str, cap_height_mm: f64) -> Result<f64, UnknownGlyph> {
    let sizes = Sizes::new(cap_height_mm);
    let mut width = 0.0;
    for character in text.chars() {
        width += sizes.glyph_width(glyph(character)?.0) + sizes.space();
    }
    Ok(if text.is_empty() { 0.0 } else { width - sizes.space() })
}

/// A regular polygon about the origin, counter-clockwise, symmetric about both axes.
fn pen(width: f64) -> Vec<Place> {
    (0..PEN_CORNERS)
        .map(|corner| {
            let (sin, cos) = (std::f64::consts::TAU * corner as f64 / PEN_CORNERS as f64).sin_cos();
            Place::new(steps(width / 2.0 * cos), steps(width / 2.0 * sin))
        })
        .collect()
}

/// What the pen covers on its way from one place to another: the hull of the pen at both.
fn drag(pen: &[Place], from: Place, to: Place) -> Vec<Place> {
    let way = Place::new(to.x - from.x, to.y - from.y);
    // An edge of the pen whose outside looks along the way bounds the hull at the far end.
    let is_front = |corner: usize| {
        let (a, b) = (pen[corner % pen.len()], pen[(corner + 1) % pen.len()]);
        i64::from(b.y - a.y) * i64::from(way.x) - i64::from(b.x - a.x) * i64::from(way.y) > 0
    };
    let at = |end: Place, corner: Place| Place::new(end.x + corner.x, end.y + corner.y);
    let mut hull = Vec::with_capacity(pen.len() + 2);
    for (index, &corner) in pen.iter().enumerate() {
        match (is_front(index + pen.len() - 1), is_front(index)) {
            (true, true) => hull.push(at(to, corner)),
            (false, false) => hull.push(at(from, corner)),
            (true, false) => hull.extend([at(to, corner), at(from, corner)]),
            (false, true) => hull.extend([at(from, corner), at(to, corner)]),
        }
    }
    hull
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::solid::Stack;

    #[test]
    fn every_glyph_is_one_solid_raised_and_engraved() {
        for character in glyphs::SHOWN.chars() {
            for cap_height in [5.0, 7.3] {
                let label = text(&character.to_string(), cap_height).unwrap();
                let parts = 1 + usize::from("=:".contains(character));
                let plate = Outline::rectangle(-2.0, -2.0, 12.0, 12.0);
                let raised = Stack::new("raised").slab(0.0, 2.0, &plate).slab(2.0, 2.6, &label);
                let raised = raised.solid().unwrap();
                let wanted = plate.area() * 2.0 + label.area() * 0.6;
                assert!((raised.volume_mm3() - wanted).abs() < 1e-2, "{character}");
                let engraved = plate.clone().minus_inside(&label);
                let engraved = Stack::new("engraved").slab(0.0, 2.0, &plate).slab(2.0, 2.6, &engraved);
                engraved.solid().unwrap();
                Stack::new("alone").slab(0.0, 1.0, &label).solid_of(parts).unwrap();
            }
        }
    }

    #[test]
    fn a_label_is_as_wide_and_tall_as_it_says_and_stands_on_the_origin() {
        let label = text("T5-20 x", 6.0).unwrap();
        let [low, high] = label.bounds().unwrap();
        let width = text_width("T5-20 x", 6.0).unwrap();
        for (found, wanted) in [(low[0], 0.0), (low[1], 0.0), (high[0], width), (high[1], 6.0)] {
            assert!((found - wanted).abs() < 0.001, "{found} for {wanted}");
        }
        assert_eq!(text("", 6.0).unwrap(), Outline::default());
        assert_eq!(text_width("", 6.0).unwrap(), 0.0);
    }

    #[test]
    fn letters_keep_their_counters() {
        let holes = |shown: &str| {
            let outline = text(shown, 5.0).unwrap();
            outline.loops.iter().filter(|points| crate::geometry::outline::loop_area(points) < 0.0).count()
        };
        for (shown, wanted) in [("0469ADOPQR", 10), ("8B", 4), ("#", 1), ("1235CEFGHIJKLMNSTUVWXYZ", 0)] {
            assert_eq!(holes(shown), wanted, "{shown}");
        }
    }

    #[test]
    fn a_small_label_is_drawn_at_the_smallest_legible_height() {
        assert_eq!(text("7", 2.0).unwrap(), text("7", 5.0).unwrap());
    }

    #[test]
    fn small_letters_are_shown_as_capitals_and_what_has_no_glyph_is_named() {
        assert_eq!(text("petg", 5.0).unwrap(), text("PETG", 5.0).unwrap());
        assert_eq!(text("8µm", 5.0).unwrap_err(), UnknownGlyph('µ'));
        assert_eq!(text_width("a?", 5.0).unwrap_err(), UnknownGlyph('?'));
    }

    #[test]
    fn the_pen_is_nowhere_thinner_than_two_lines_of_a_nozzle() {
        let corners: Vec<[f64; 2]> = pen(PEN * MIN_CAP_HEIGHT_MM)
            .iter()
            .map(|corner| [f64::from(corner.x), f64::from(corner.y)].map(|steps| steps / 8192.0))
            .collect();
        for degree in 0..180 {
            let (sin, cos) = f64::from(degree).to_radians().sin_cos();
            let across = corners.iter().map(|[x, y]| x * cos + y * sin);
            let width = across.clone().fold(f64::MIN, f64::max) - across.fold(f64::MAX, f64::min);
            assert!(width >= 0.83, "{width} mm at {degree} degrees");
        }
    }

    type Line = [[f64; 2]; 2];

    /// Distance of two stretches: that of an end of one from the other, unless they cross.
    fn distance(a: Line, b: Line) -> f64 {
        let side = |[q, r]: Line, p: [f64; 2]| (r[0] - q[0]) * (p[1] - q[1]) - (r[1] - q[1]) * (p[0] - q[0]);
        if side(a, b[0]) * side(a, b[1]) < 0.0 && side(b, a[0]) * side(b, a[1]) < 0.0 {
            return 0.0;
        }
        let to = |p: [f64; 2], [q, r]: Line| {
            let way = [r[0] - q[0], r[1] - q[1]];
            let length = way[0].hypot(way[1]).max(1e-9);
            let share = ((p[0] - q[0]) * way[0] + (p[1] - q[1]) * way[1]) / length.powi(2);
            let share = share.clamp(0.0, 1.0);
            (p[0] - q[0] - share * way[0]).hypot(p[1] - q[1] - share * way[1])
        };
        [to(a[0], b), to(a[1], b), to(b[0], a), to(b[1], a)].into_iter().fold(f64::MAX, f64::min)
    }

    #[test]
    fn strokes_that_do_not_meet_leave_a_gap_that_prints() {
        let sizes = Sizes::new(MIN_CAP_HEIGHT_MM);
        let mm = |(x, y): (u8, u8)| [f64::from(x) * sizes.unit[0], f64::from(y) * sizes.unit[1]];
        for character in glyphs::SHOWN.chars() {
            let (_, strokes) = glyph(character).unwrap();
            let pairs = strokes.iter().flat_map(|stroke| stroke.windows(stroke.len().min(2)));
            let lines: Vec<Line> = pairs.map(|ends| [mm(ends[0]), mm(ends[ends.len() - 1])]).collect();
            let meets = |i: usize, j: usize| distance(lines[i], lines[j]) < 1e-9;
            for (i, j) in (0..lines.len()).flat_map(|i| (0..i).map(move |j| (i, j))) {
                // Neighbours, and the two sides of a cut corner, run into one another.
                let bridged = (0..lines.len()).any(|k| meets(i, k) && meets(k, j));
                let way = |line: Line| [line[1][0] - line[0][0], line[1][1] - line[0][1]];
                let (u, v) = (way(lines[i]), way(lines[j]));
                let parallel = (u[0] * v[1] - u[1] * v[0]).abs() < 1e-9;
                if !meets(i, j) && (parallel || !bridged) {
                    let gap = distance(lines[i], lines[j]) - sizes.pen;
                    assert!(gap >= 0.4 - 1e-9, "{character}: {gap:.2} mm between strokes {i} and {j}");
                }
            }
        }
    }
}
