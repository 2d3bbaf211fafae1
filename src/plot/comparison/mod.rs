//! Pictures of a comparison of materials: changes against the limit, changes against temperature, and how each
//! material prints. Every material has one colour, marker and line in all of them.

mod changes;
mod corrections;
mod temperature;

use plotters::element::PathElement;
use plotters::style::text_anchor::{HPos, VPos};

use super::axis::Axis;
use super::canvas::Canvas;
use super::legend::{self, Sign};
use super::look::{self, GREY, INK, Look};
use super::plane::{self, Area, Place, Plane, SIZE, SMALL, sheet};
use super::{Figure, Named, PlotError, deviation, figure, font, numbers};
use crate::compare::Comparison;

/// Changes beyond so many limits are shown at the edge, with their number. By feel: the rest would be a line.
const WIDE: f64 = 4.0;

/// The pictures that there are data for: `changes`, `temperature`, `corrections`.
pub fn comparison_figures(comparison: &Comparison) -> Result<Vec<Figure>, PlotError> {
    font::register()?;
    if comparison.findings.is_empty() {
        return Err(PlotError::NoPoints);
    }
    let drawn = [changes::draw(comparison)?, temperature::draw(comparison)?, corrections::draw(comparison)?];
    Ok(drawn.into_iter().flatten().collect())
}

/// The planes of a figure, and what it says below them.
struct Sheet<'a> {
    named: Named,
    subtitle: String,
    across: &'a str,
    upwards: &'a str,
    signs: Vec<(Sign, String)>,
}

/// One figure of so many planes.
fn drawn(
    sheet: Sheet<'_>,
    planes: usize,
    mut draw: impl FnMut(&Area<'_>, usize, Place) -> Result<(), PlotError>,
) -> Result<Figure, PlotError> {
    let mut canvas = Canvas::new(SIZE);
    let area = plane::open(&mut canvas, sheet.named.1, &sheet.subtitle)?;
    let whole = Place(84.0, 72.0, f64::from(SIZE.0) - 84.0 - 24.0, f64::from(SIZE.1) - 72.0 - 88.0);
    for (number, place) in deviation::tiles(whole, planes).into_iter().enumerate() {
        draw(&area, number, place)?;
    }
    plane::axis_titles(&area, whole, sheet.across, sheet.upwards)?;
    legend::row(&area, Place(whole.0, f64::from(SIZE.1) - 20.0, whole.2, 0.0), &sheet.signs)?;
    drop(area);
    figure(sheet.named, &canvas, "materials")
}

/// A sign for each material.
fn materials(comparison: &Comparison) -> Vec<(Sign, String)> {
    let names = comparison.study.materials.iter().map(|material| material.name.clone());
    names.enumerate().map(|(number, name)| (Sign::Mark(look::numbered(number)), name)).collect()
}

/// The vertical axis for these ends of intervals: as wide as they are, up to a few limits.
fn upright(ends: impl Iterator<Item = f64>, limit_mm: f64) -> Axis {
    let most = ends.map(f64::abs).filter(|end| end.is_finite()).fold(1.5 * limit_mm, f64::max);
    let most = most.min(WIDE * limit_mm);
    Axis::linear(-most, most, 0.02, 7)
}

/// Zero, and the band that changes may lie in with its edges.
fn limits(plane: &Plane<'_>, limit_mm: f64) -> Result<(), PlotError> {
    let (left, right) = (plane.x.low, plane.x.high);
    plane.band(&[(left, -limit_mm, limit_mm), (right, -limit_mm, limit_mm)], GREY, 0.14)?;
    for edge in [-limit_mm, limit_mm] {
        plane.level(edge, &[5.0, 3.0], look::line(GREY, 1.0))?;
    }
    plane.level(0.0, &[], look::line(INK, 1.0))
}

/// A value with its interval; one beyond the axis at its edge, with the number beside it.
fn interval(
    plane: &Plane<'_>,
    x: f64,
    value: f64,
    ends: Option<(f64, f64)>,
    look: Look,
) -> Result<(), PlotError> {
    if let Some((low, high)) = ends {
        let (from, to) = (plane.at(x, low), plane.at(x, high));
        plane.area.draw(&PathElement::new(vec![from, to], look::line(look.color, 2.0)))?;
        for (end, at) in [(low, from), (high, to)] {
            if plane.y.holds(end) {
                let arm = sheet(3.5);
                let cap = vec![(at.0 - arm, at.1), (at.0 + arm, at.1)];
                plane.area.draw(&PathElement::new(cap, look::line(look.color, 2.0)))?;
            }
        }
    }
    let mut at = plane.at(x, value);
    let beyond = !plane.y.holds(value);
    if beyond {
        at.1 += if value > 0.0 { sheet(7.0) } else { -sheet(7.0) };
    }
    look::draw_point(&plane.area, at, look, 3.6)?;
    if beyond {
        let units = |sheet_units: i32| f64::from(sheet_units) / f64::from(sheet(1.0));
        let down = if value > 0.0 { 14.0 } else { -14.0 };
        let arrow = if value > 0.0 { '↑' } else { '↓' };
        let words = format!("{arrow}{}", numbers::plain(value.abs(), 2));
        let place = (units(at.0), units(at.1) + down);
        plane::text(&plane.area, place, &words, SMALL, INK, (HPos::Center, VPos::Center))?;
    }
    Ok(())
}

/// The name above a plane.
fn heading(area: &Area, Place(left, top, width, _): Place, words: &str) -> Result<(), PlotError> {
    let words = font::fitted(words, 12.5, width as f32);
    plane::text(area, (left, top - 9.0), &words, 12.5, INK, (HPos::Left, VPos::Center))
}
