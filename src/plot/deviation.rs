//! Deviation against drawn size: how far each size comes out from its drawing, and the fitted line.
//!
//! One plane a kind, all with the same vertical axis, so that kinds can be compared and their bands do
//! not lie over one another. Two bands of 95 %: for the mean, and for one feature of a new print.

use plotters::style::text_anchor::{HPos, VPos};

use super::axis::{self, Axis};
use super::canvas::Canvas;
use super::labels::{self, Labels};
use super::legend::{self, Sign};
use super::look::{self, GREY, INK, Look, PAPER};
use super::numbers;
use super::plane::{self, Place, Plane, SIZE, sheet};
use super::points::{self, Aside, Used};
use super::{PlotError, font};
use crate::correction::fitted::Fit;
use crate::kind::{self, Kind};
use crate::stats::distribution::t_quantile;

/// Places along a fitted line.
const STEPS: u32 = 40;

/// From so many points on, the line is drawn over them, with a white edge.
const CROWD: usize = 60;

/// A place along a fitted line, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Drawn size.
    pub drawn: f64,
    /// The fitted deviation.
    pub fitted: f64,
    /// 95 % interval of the mean; `None` when the fit has no spread.
    pub mean: Option<(f64, f64)>,
    /// 95 % interval of one feature of a new print.
    pub new_print: Option<(f64, f64)>,
}

/// A fitted line.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// The directions it holds for.
    pub axes: Vec<kind::Axis>,
    /// Its course, over the sizes that were measured.
    pub points: Vec<CurvePoint>,
}

/// What is known of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// The kind.
    pub kind: Kind,
    /// Its line, or one for each direction where they differ.
    pub curves: Vec<Curve>,
    /// The points that were used.
    pub used: Vec<Used>,
    /// What was set aside.
    pub set_aside: Vec<Aside>,
}

/// The figure's data.
#[derive(Clone, Debug, PartialEq)]
pub struct DeviationFigure {
    /// The line below the title.
    pub subtitle: String,
    /// One panel a kind, in the order of tables.
    pub panels: Vec<Panel>,
}

impl DeviationFigure {
    /// The data of a fit.
    pub fn of(fit: &Fit) -> Result<Self, PlotError> {
        let used = points::used(fit)?;
        let set_aside = points::set_aside(fit);
        let present = |kind: &Kind| {
            used.iter().any(|point| point.kind == *kind) || set_aside.iter().any(|aside| aside.kind == *kind)
        };
        let panel = |kind: Kind| {
            let used: Vec<Used> = used.iter().filter(|point| point.kind == kind).copied().collect();
            let range = axis::span(used.iter().map(|point| point.drawn));
            Panel {
                kind,
                curves: range.map(|range| curves(fit, kind, range)).unwrap_or_default(),
                used,
                set_aside: set_aside.iter().filter(|aside| aside.kind == kind).copied().collect(),
            }
        };
        let panels = Kind::ALL.into_iter().filter(present).map(panel).collect();
        Ok(Self { subtitle: points::subtitle(fit), panels })
    }

    /// The vertical axis of all panels: the points, the lines with the bands of the mean, and zero; and
    /// what was set aside where it does not lie far off.
    fn vertical(&self) -> Axis {
        let used = self.panels.iter().flat_map(|panel| panel.used.iter().map(|point| point.deviation));
        let places = || self.panels.iter().flat_map(|panel| &panel.curves).flat_map(|curve| &curve.points);
        let fitted = places().map(|place| place.fitted);
        let (low, high) = axis::span(used.chain(fitted).chain([0.0])).unwrap_or((-0.1, 0.1));
        // Bands and crosses may widen the axis, but not so far that the points become a line.
        let room = 0.6 * (high - low).max(0.05);
        let bands = places().flat_map(|place| [place.mean, place.new_print]).flatten();
        let edges = bands.flat_map(|(low, high)| [low, high]);
        let near = |value: &f64| (low - room..=high + room).contains(value);
        let crosses = self.panels.iter().flat_map(|panel| &panel.set_aside).map(|aside| aside.deviation);
        let wide =
            axis::span(edges.map(|edge| edge.clamp(low - room, high + room)).chain(crosses.filter(near)));
        let (low, high) = wide.map_or((low, high), |(least, most)| (low.min(least), high.max(most)));
        Axis::linear(low, high, 0.1, 8)
    }

    /// Draws it.
    pub fn draw(&self, canvas: &mut Canvas) -> Result<(), PlotError> {
        let area = plane::open(canvas, super::DEVIATION.1, &self.subtitle)?;
        let whole = Place(84.0, 72.0, f64::from(SIZE.0) - 84.0 - 24.0, f64::from(SIZE.1) - 72.0 - 88.0);
        let vertical = self.vertical();
        let most: usize = self.panels.iter().map(|panel| panel.used.len()).max().unwrap_or(0);
        let radius = look::point_radius(most * self.panels.len().min(4));
        for (panel, place) in self.panels.iter().zip(tiles(whole, self.panels.len())) {
            panel.draw(&area, place, &vertical, radius, self.panels.len())?;
        }
        plane::axis_titles(&area, whole, "drawn size, mm", "measured − drawn, mm")?;
        let any_place = |is: fn(&CurvePoint) -> bool| {
            self.panels.iter().flat_map(|panel| &panel.curves).flat_map(|curve| &curve.points).any(is)
        };
        let mut signs = vec![(Sign::Line(GREY, &[]), "fitted".to_owned())];
        if any_place(|at| at.mean.is_some()) {
            signs.push((Sign::Band(GREY, 0.42), "95 %: the mean".to_owned()));
        }
        if any_place(|at| at.new_print.is_some()) {
            signs.push((Sign::Band(GREY, 0.16), "95 %: one feature of a new print".to_owned()));
        }
        if self.panels.iter().any(|panel| !panel.set_aside.is_empty()) {
            signs.push((Sign::Cross, "set aside, with its line in the file".to_owned()));
        }
        legend::row(&area, Place(whole.0, f64::from(SIZE.1) - 20.0, whole.2, 0.0), &signs)
    }
}

impl Panel {
    fn draw(
        &self,
        area: &plane::Area,
        place: Place,
        vertical: &Axis,
        radius: f64,
        panels: usize,
    ) -> Result<(), PlotError> {
        let look = look::of(self.kind);
        let drawn = self.used.iter().map(|p| p.drawn).chain(self.set_aside.iter().map(|a| a.drawn));
        let marks = (place.2 / 46.0) as usize;
        let horizontal = Axis::sizes(drawn, false, marks.max(3));
        let labelled = place.0 < 100.0;
        let plane = Plane::new(area, place, horizontal, vertical.clone(), labelled)?;
        for curve in &self.curves {
            let band = |of: fn(&CurvePoint) -> Option<(f64, f64)>| -> Vec<(f64, f64, f64)> {
                let edges = curve.points.iter().filter_map(|at| of(at).map(|(l, h)| (at.drawn, l, h)));
                edges.collect()
            };
            plane.band(&band(|at| at.new_print), look.color, 0.13)?;
            plane.band(&band(|at| at.mean), look.color, 0.28)?;
        }
        plane.level(0.0, &[], look::line(INK, 1.0))?;
        let crowded = self.used.len() > CROWD;
        if !crowded {
            self.lines(&plane, look)?;
        }
        for point in &self.used {
            look::draw_point(area, plane.at(point.drawn, point.deviation), look, radius)?;
        }
        if crowded {
            self.lines(&plane, Look { color: PAPER, dashes: &[], ..look })?;
            self.lines(&plane, Look { color: INK, ..look })?;
        }
        plane.frame()?;
        self.name_lines(&plane)?;
        self.heading(area, place)?;
        let share = (labels::MOST / panels.max(1)).max(2);
        let mut labels = Labels::clear_of(self.used.iter().map(|p| plane.at(p.drawn, p.deviation)));
        draw_set_aside(&plane, &mut labels, self.set_aside.iter().map(|a| (*a, a.deviation)), share)
    }

    fn lines(&self, plane: &Plane, look: Look) -> Result<(), PlotError> {
        let width = if look.color == PAPER { 5.0 } else { 2.0 };
        for curve in &self.curves {
            let course = curve.points.iter().map(|at| (at.drawn, at.fitted));
            plane.line(course, look.dashes, look::line(look.color, width))?;
        }
        Ok(())
    }

    /// The kind's point and name above its plane.
    fn heading(&self, area: &plane::Area, Place(left, top, width, _): Place) -> Result<(), PlotError> {
        look::draw_point(area, (sheet(left + 7.0), sheet(top - 9.0)), look::of(self.kind), 4.2)?;
        let words = font::fitted(self.kind.plural(), 12.5, width as f32 - 16.0);
        plane::text(area, (left + 16.0, top - 9.0), &words, 12.5, INK, (HPos::Left, VPos::Center))
    }

    /// Where directions differ, each line's end says which it is.
    fn name_lines(&self, plane: &Plane) -> Result<(), PlotError> {
        if self.curves.len() < 2 {
            return Ok(());
        }
        let mut labels = Labels::clear_of(self.used.iter().map(|p| plane.at(p.drawn, p.deviation)));
        for curve in &self.curves {
            let names: Vec<&str> = curve.axes.iter().map(|axis| axis.name()).collect();
            if let Some(end) = curve.points.last() {
                labels.write(plane, plane.at(end.drawn, end.fitted), &names.join(", "))?;
            }
        }
        Ok(())
    }
}

/// Crosses with line numbers; one that lies off the plane is put at its edge and says how far off.
pub(super) fn draw_set_aside(
    plane: &Plane,
    labels: &mut Labels,
    asides: impl Iterator<Item = (Aside, f64)>,
    most: usize,
) -> Result<(), PlotError> {
    let mut named = Vec::new();
    for (aside, value) in asides {
        let mut at = plane.at(aside.drawn, value);
        if !plane.y.holds(value) {
            // Wholly inside, so that the frame does not cut it.
            at.1 += if value > plane.y.high { sheet(7.0) } else { -sheet(7.0) };
        }
        look::draw_cross(&plane.area, at)?;
        if !named.contains(&aside.line) && named.len() < most {
            named.push(aside.line);
            let words = if plane.y.holds(value) {
                format!("line {}", aside.line)
            } else {
                let (arrow, decimals) =
                    (if value > 0.0 { '↑' } else { '↓' }, usize::from(value.abs() < 10.0) * 2);
                format!("line {} {arrow} {} mm", aside.line, numbers::signed(value, decimals))
            };
            labels.write(plane, at, &words)?;
        }
    }
    Ok(())
}

/// Directions whose lines lie closer than this everywhere share one, mm: half a step of a caliper, which
/// no picture of this size shows.
const SAME_LINE_MM: f64 = 0.005;

/// The fitted lines of a kind over this range of sizes; directions that do not differ share one.
fn curves(fit: &Fit, kind: Kind, (low, high): (f64, f64)) -> Vec<Curve> {
    let steps = if high > low { STEPS } else { 1 };
    let mut curves: Vec<Curve> = Vec::new();
    for axis in points::axes_of(fit, kind) {
        let points: Vec<CurvePoint> = (0..=steps)
            .map(|step| low + (high - low) * f64::from(step) / f64::from(steps))
            .filter_map(|drawn| curve_point(fit, kind, axis, drawn))
            .collect();
        let is_same = |curve: &&mut Curve| {
            curve.points.len() == points.len()
                && curve.points.iter().zip(&points).all(|(a, b)| (a.fitted - b.fitted).abs() < SAME_LINE_MM)
        };
        match curves.iter_mut().find(is_same) {
            Some(same) => same.axes.push(axis),
            None => curves.push(Curve { axes: vec![axis], points }),
        }
    }
    curves
}

fn curve_point(fit: &Fit, kind: Kind, axis: kind::Axis, drawn: f64) -> Option<CurvePoint> {
    let correction = &fit.correction;
    let fitted = correction.deviation_mm(kind, axis, drawn);
    let half =
        t_quantile(0.975, correction.dof) * correction.coefficient_variance_mm2(kind, axis, drawn).sqrt();
    let prediction = correction.predict(kind, axis, drawn).ok();
    let interval = prediction.map(|prediction| prediction.interval(0.95));
    let finite = |(low, high): &(f64, f64)| low.is_finite() && high.is_finite();
    fitted.is_finite().then(|| CurvePoint {
        drawn,
        fitted,
        mean: Some((fitted - half, fitted + half)).filter(finite),
        new_print: interval.map(|(low, high)| (low - drawn, high - drawn)).filter(finite),
    })
}

/// Equal rectangles for so many panels, row by row, with room between them for marks and headings.
pub(super) fn tiles(Place(left, top, width, height): Place, count: usize) -> Vec<Place> {
    let columns = match count {
        0 | 1 => 1,
        2 | 4 => 2,
        3 | 5 | 6 => 3,
        _ => 4,
    };
    let rows = count.div_ceil(columns).max(1);
    let (gap, heading, marks) = (16.0, 20.0, 24.0);
    let wide = (width - gap * (columns - 1) as f64) / columns as f64;
    let high = (height - (heading + marks) * (rows - 1) as f64 - heading) / rows as f64;
    (0..count)
        .map(|index| ((index % columns) as f64, (index / columns) as f64))
        .map(|(column, row)| {
            Place(left + column * (wide + gap), top + heading + row * (high + heading + marks), wide, high)
        })
        .collect()
}
