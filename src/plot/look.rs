//! How pictures look: one colour, marker and line for each kind, so that they read without colour too.
//!
//! Colours: Okabe & Ito, "Color universal design" (2008), told apart with any colour vision; their
//! yellow is left out, since it is lost on white.

use plotters::element::{Circle, PathElement, Polygon};
use plotters::style::{RGBColor, ShapeStyle};

use super::PlotError;
use super::plane::{Area, sheet};
use crate::kind::Kind;

/// Text and axes.
pub const INK: RGBColor = RGBColor(34, 34, 34);
/// Lesser text.
pub const GREY: RGBColor = RGBColor(96, 96, 96);
/// Grid lines.
pub const GRID: RGBColor = RGBColor(228, 228, 228);
/// Paper.
pub const PAPER: RGBColor = RGBColor(255, 255, 255);

/// The form of a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marker {
    /// A filled disc.
    Disc,
    /// A ring.
    Ring,
    /// A filled square.
    Square,
    /// A square's outline.
    Frame,
    /// A filled triangle, point up.
    Up,
    /// A filled triangle, point down.
    Down,
    /// A filled square on its corner.
    Diamond,
}

/// How one kind looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Its colour.
    pub color: RGBColor,
    /// Its points.
    pub marker: Marker,
    /// Its line: lengths of stroke and gap by turns, in units of the picture; empty for an unbroken line.
    pub dashes: &'static [f64],
}

/// How a kind looks, in every picture.
pub fn of(kind: Kind) -> Look {
    let (color, marker, dashes): (_, _, &[f64]) = match kind {
        Kind::Bore => (RGBColor(0, 114, 178), Marker::Disc, &[]),
        Kind::HorizontalBore => (RGBColor(86, 180, 233), Marker::Ring, &[10.0, 4.0]),
        Kind::Pin => (RGBColor(213, 94, 0), Marker::Square, &[6.0, 3.0]),
        Kind::Gap => (RGBColor(0, 158, 115), Marker::Up, &[2.0, 3.0]),
        Kind::Outer => (RGBColor(230, 159, 0), Marker::Diamond, &[10.0, 3.0, 2.0, 3.0]),
        Kind::Span => (RGBColor(0, 0, 0), Marker::Frame, &[14.0, 4.0]),
        Kind::Height => (RGBColor(204, 121, 167), Marker::Down, &[8.0, 3.0, 2.0, 3.0, 2.0, 3.0]),
    };
    Look { color, marker, dashes }
}

/// How the first, second, third of a list looks, where what is told apart is no kind: a material, say.
pub fn numbered(number: usize) -> Look {
    // Those that differ most come first.
    let order =
        [Kind::Bore, Kind::Pin, Kind::Gap, Kind::Height, Kind::Outer, Kind::Span, Kind::HorizontalBore];
    of(order[number % order.len()])
}

/// Radius of a point when so many share a picture, in units of the picture.
pub fn point_radius(count: usize) -> f64 {
    match count {
        0..=150 => 3.6,
        151..=600 => 2.8,
        _ => 2.0,
    }
}

/// A line's style, its width in units of the picture.
pub fn line(color: RGBColor, width: f64) -> ShapeStyle {
    ShapeStyle::from(color).stroke_width(sheet(width).unsigned_abs())
}

/// Draws one point at a place on the sheet.
pub fn draw_point(area: &Area, at: (i32, i32), look: Look, radius: f64) -> Result<(), PlotError> {
    let filled = ShapeStyle::from(look.color).filled();
    let polygon = |corners: &[(f64, f64)]| -> Vec<(i32, i32)> {
        corners.iter().map(|(x, y)| (at.0 + sheet(x * radius), at.1 + sheet(y * radius))).collect()
    };
    let outline = line(look.color, 1.4);
    match look.marker {
        Marker::Disc => area.draw(&Circle::new(at, sheet(radius), filled))?,
        Marker::Ring => area.draw(&Circle::new(at, sheet(radius * 0.9), outline))?,
        Marker::Square => {
            let side = 0.88; // as much ink as the disc
            let corners = polygon(&[(-side, -side), (side, -side), (side, side), (-side, side)]);
            area.draw(&Polygon::new(corners, filled))?;
        }
        Marker::Frame => {
            let side = 0.8;
            let corners = [(-side, -side), (side, -side), (side, side), (-side, side), (-side, -side)];
            area.draw(&PathElement::new(polygon(&corners), outline))?;
        }
        Marker::Up => area.draw(&Polygon::new(polygon(&[(0.0, -1.2), (1.1, 0.8), (-1.1, 0.8)]), filled))?,
        Marker::Down => {
            area.draw(&Polygon::new(polygon(&[(0.0, 1.2), (-1.1, -0.8), (1.1, -0.8)]), filled))?
        }
        Marker::Diamond => {
            let corners = [(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)];
            area.draw(&Polygon::new(polygon(&corners), filled))?;
        }
    }
    Ok(())
}

/// Draws the cross of a reading that was set aside.
pub fn draw_cross(area: &Area, at: (i32, i32)) -> Result<(), PlotError> {
    let arm = sheet(4.5);
    for (dx, dy) in [(arm, arm), (arm, -arm)] {
        let ends = vec![(at.0 - dx, at.1 - dy), (at.0 + dx, at.1 + dy)];
        area.draw(&PathElement::new(ends, line(INK, 1.8)))?;
    }
    Ok(())
}

/// Draws a line along places on the sheet with the dashes of a look.
pub fn draw_dashed(
    area: &Area,
    points: &[(i32, i32)],
    dashes: &[f64],
    style: ShapeStyle,
) -> Result<(), PlotError> {
    for stretch in dashed(points, dashes) {
        area.draw(&PathElement::new(stretch, style))?;
    }
    Ok(())
}

/// The strokes of a dashed line along these points.
fn dashed(points: &[(i32, i32)], dashes: &[f64]) -> Vec<Vec<(i32, i32)>> {
    if dashes.is_empty() {
        return vec![points.to_vec()];
    }
    let mut lengths = dashes.iter().map(|&length| f64::from(sheet(length).max(1))).cycle();
    let mut next = || lengths.next().unwrap_or(1.0);
    let (mut left, mut inked) = (next(), true);
    let mut strokes = vec![points.first().copied().into_iter().collect::<Vec<_>>()];
    for pair in points.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let (dx, dy) = (f64::from(to.0 - from.0), f64::from(to.1 - from.1));
        let length = dx.hypot(dy);
        let mut done = 0.0;
        while length - done >= left {
            done += left;
            let share = done / length;
            let at = (from.0 + (dx * share).round() as i32, from.1 + (dy * share).round() as i32);
            if inked {
                if let Some(stroke) = strokes.last_mut() {
                    stroke.push(at);
                }
            } else {
                strokes.push(vec![at]);
            }
            inked = !inked;
            left = next();
        }
        left -= length - done;
        if inked && let Some(stroke) = strokes.last_mut() {
            stroke.push(to);
        }
    }
    strokes.retain(|stroke| stroke.len() > 1);
    strokes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_differs_in_colour_in_marker_and_in_line() {
        for (index, kind) in Kind::ALL.iter().enumerate() {
            for other in &Kind::ALL[..index] {
                let (a, b) = (of(*kind), of(*other));
                assert!(a.color != b.color && a.marker != b.marker && a.dashes != b.dashes, "{kind} {other}");
            }
        }
    }

    #[test]
    fn dashes_go_on_round_a_corner() {
        let strokes = dashed(&[(0, 0), (100, 0), (100, 100)], &[8.0, 4.0]);
        assert_eq!(strokes, [vec![(0, 0), (80, 0)], vec![(100, 20), (100, 100)]]);
        assert_eq!(dashed(&[(0, 0), (9, 9)], &[]), [vec![(0, 0), (9, 9)]]);
    }
}
