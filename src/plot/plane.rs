//! The sheet of a figure and the plane in it that data are drawn on, over plotters.

use std::convert::Infallible;

use plotters::chart::ChartBuilder;
use plotters::coord::Shift;
use plotters::coord::cartesian::Cartesian2d;
use plotters::drawing::{DrawingArea, DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{PathElement, Polygon, Rectangle};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontTransform, RGBColor, ShapeStyle};

use super::PlotError;
use super::axis::Axis;
use super::canvas::{Canvas, UNIT};
use super::font;
use super::look::{self, GREY, GRID, INK};

/// Part of a sheet, in sheet coordinates.
pub type Area<'c> = DrawingArea<&'c mut Canvas, Shift>;

type Coordinates = Cartesian2d<Axis, Axis>;

/// Width and height of every figure, in units of the picture.
pub const SIZE: (u32, u32) = (900, 560);

/// Text beside data, in em.
pub const SMALL: f32 = 11.0;
const TITLE: f32 = 17.0;
const AXIS_TITLE: f32 = 12.5;

/// Units of the picture in sheet coordinates.
pub fn sheet(units: f64) -> i32 {
    (units * f64::from(UNIT)).round() as i32
}

/// A rectangle in units of the picture: left, top, width, height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place(pub f64, pub f64, pub f64, pub f64);

/// The whole of a canvas, with a title and a line below it.
pub fn open<'c>(canvas: &'c mut Canvas, title: &str, subtitle: &str) -> Result<Area<'c>, PlotError> {
    let area = canvas.into_drawing_area();
    let room = SIZE.0 as f32 - 40.0;
    text(&area, (20.0, 16.0), &font::fitted(title, TITLE, room), TITLE, INK, (HPos::Left, VPos::Top))?;
    text(&area, (20.0, 40.0), &font::fitted(subtitle, 12.0, room), 12.0, GREY, (HPos::Left, VPos::Top))?;
    Ok(area)
}

/// A line of text; `at` in units of the picture.
pub fn text(
    area: &Area,
    at: (f64, f64),
    text: &str,
    em: f32,
    color: RGBColor,
    (h, v): (HPos, VPos),
) -> Result<(), PlotError> {
    let style = font::style(em, color).pos(Pos::new(h, v));
    Ok(area.draw_text(text, &style, (sheet(at.0), sheet(at.1)))?)
}

/// The title of a vertical axis, reading upwards, centred at `at`.
pub fn text_up(area: &Area, at: (f64, f64), text: &str) -> Result<(), PlotError> {
    let style = font::style(AXIS_TITLE, INK).pos(Pos::new(HPos::Center, VPos::Top));
    let style = style.transform(FontTransform::Rotate270);
    Ok(area.draw_text(text, &style, (sheet(at.0), sheet(at.1)))?)
}

/// The titles of both axes around a rectangle of planes.
pub fn axis_titles(area: &Area, around: Place, x: &str, y: &str) -> Result<(), PlotError> {
    let Place(left, top, width, height) = around;
    let below = (left + width / 2.0, top + height + 24.0);
    text(area, below, x, AXIS_TITLE, INK, (HPos::Center, VPos::Top))?;
    text_up(area, (left - 58.0, top + height / 2.0), y)
}

/// Axes and grid, and the way from data to the sheet.
pub struct Plane<'c> {
    /// The whole sheet.
    pub area: Area<'c>,
    /// Where the plane lies, in units of the picture.
    pub place: Place,
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis.
    pub y: Axis,
    data: DrawingArea<&'c mut Canvas, Coordinates>,
}

impl<'c> Plane<'c> {
    /// Draws grid, frame and marks; the marks of the vertical axis have labels when `labelled`.
    pub fn new(area: &Area<'c>, place: Place, x: Axis, y: Axis, labelled: bool) -> Result<Self, PlotError> {
        let Place(left, top, width, height) = place;
        let (label_width, label_height) = (if labelled { 44.0 } else { 0.0 }, 20.0);
        let part = area.clone().shrink(
            (sheet(left - label_width), sheet(top)),
            (sheet(width + label_width), sheet(height + label_height)),
        );
        let mut chart = ChartBuilder::on(&part)
            .x_label_area_size(sheet(label_height))
            .y_label_area_size(sheet(label_width))
            .build_cartesian_2d(x.clone(), y.clone())?;
        chart
            .configure_mesh()
            .bold_line_style(look::line(GRID, 1.0))
            .light_line_style(look::line(GRID, 0.0))
            .axis_style(look::line(GREY, 1.0))
            .set_all_tick_mark_size(sheet(4.0))
            .label_style(font::style(SMALL, INK))
            .draw()?;
        let data = chart.plotting_area().clone();
        drop(chart);
        Ok(Self { area: area.clone(), place, x, y, data })
    }

    /// Where a point lies on the sheet; outside the axes, at their ends.
    pub fn at(&self, x: f64, y: f64) -> (i32, i32) {
        self.data.map_coordinate(&(x, y))
    }

    /// A line through points of data.
    pub fn line(
        &self,
        points: impl IntoIterator<Item = (f64, f64)>,
        dashes: &[f64],
        style: ShapeStyle,
    ) -> Result<(), PlotError> {
        let points: Vec<_> = points.into_iter().map(|(x, y)| self.at(x, y)).collect();
        look::draw_dashed(&self.area, &points, dashes, style)
    }

    /// A horizontal line across the plane.
    pub fn level(&self, y: f64, dashes: &[f64], style: ShapeStyle) -> Result<(), PlotError> {
        let (left, height) = self.at(self.x.low, y);
        let (right, _) = self.at(self.x.high, y);
        look::draw_dashed(&self.area, &[(left, height), (right, height)], dashes, style)
    }

    /// The space between a lower and an upper line: x, low, high.
    pub fn band(&self, edges: &[(f64, f64, f64)], color: RGBColor, alpha: f64) -> Result<(), PlotError> {
        if edges.len() < 2 {
            return Ok(());
        }
        let lower = edges.iter().map(|&(x, low, _)| self.at(x, low));
        let upper = edges.iter().rev().map(|&(x, _, high)| self.at(x, high));
        Ok(self.area.draw(&Polygon::new(lower.chain(upper).collect::<Vec<_>>(), color.mix(alpha)))?)
    }

    /// The frame, drawn last so that bands do not lie over it; four lines, which are quicker to paint
    /// than one that goes round.
    pub fn frame(&self) -> Result<(), PlotError> {
        let Place(left, top, width, height) = self.place;
        let (right, bottom) = (left + width, top + height);
        let corner = 0.5; // half the width, so that the corners are closed
        let sides = [
            [(left - corner, top), (right + corner, top)],
            [(left - corner, bottom), (right + corner, bottom)],
            [(left, top), (left, bottom)],
            [(right, top), (right, bottom)],
        ];
        for side in sides {
            let ends: Vec<_> = side.iter().map(|&(x, y)| (sheet(x), sheet(y))).collect();
            self.area.draw(&PathElement::new(ends, look::line(GREY, 1.0)))?;
        }
        Ok(())
    }

    /// A sentence in the middle, where there is nothing to draw.
    pub fn remark(&self, words: &str) -> Result<(), PlotError> {
        let Place(left, top, width, height) = self.place;
        let middle = (left + width / 2.0, top + height / 2.0);
        text(&self.area, middle, words, 13.0, GREY, (HPos::Center, VPos::Center))
    }
}

/// A filled rectangle; in units of the picture.
pub fn rectangle(area: &Area, place: Place, color: RGBColor, alpha: f64) -> Result<(), PlotError> {
    let Place(left, top, width, height) = place;
    let corners = [(sheet(left), sheet(top)), (sheet(left + width), sheet(top + height))];
    Ok(area.draw(&Rectangle::new(corners, color.mix(alpha).filled()))?)
}

impl From<DrawingAreaErrorKind<Infallible>> for PlotError {
    fn from(error: DrawingAreaErrorKind<Infallible>) -> Self {
        Self::Drawing(error.to_string())
    }
}
