//! Residual against drawn size: what the fit leaves over. It should look like a cloud without shape.

use plotters::style::text_anchor::{HPos, VPos};

use super::PlotError;
use super::axis::{self, Axis};
use super::canvas::{Canvas, UNIT};
use super::deviation::draw_set_aside;
use super::labels::{self, Labels};
use super::legend::{self, Sign};
use super::look::{self, GREY, INK};
use super::plane::{self, Place, Plane, SIZE, SMALL};
use super::points::{self, Aside, Used};
use crate::correction::fitted::Fit;

/// Dashes of the lines at two standard deviations.
const TWO_SD: &[f64] = &[6.0, 4.0];

/// The figure's data.
#[derive(Clone, Debug, PartialEq)]
pub struct ResidualsFigure {
    /// The line below the title.
    pub subtitle: String,
    /// The points that were used.
    pub used: Vec<Used>,
    /// Those of them worth a second look, the most unusual first.
    pub unusual: Vec<Used>,
    /// What was set aside.
    pub set_aside: Vec<Aside>,
    /// Residual standard deviation, mm.
    pub sd: f64,
}

impl ResidualsFigure {
    /// The data of a fit.
    pub fn of(fit: &Fit) -> Result<Self, PlotError> {
        let used = points::used(fit)?;
        let beyond = points::unusual_beyond(used.len(), fit.correction.dof);
        let size = |point: &Used| point.studentised.map_or(0.0, f64::abs);
        let mut unusual: Vec<Used> = used.iter().filter(|point| size(point) > beyond).copied().collect();
        unusual.sort_by(|a, b| size(b).total_cmp(&size(a)));
        Ok(Self {
            subtitle: points::subtitle(fit),
            unusual,
            set_aside: points::set_aside(fit),
            sd: fit.residual_sd_mm,
            used,
        })
    }

    fn vertical(&self) -> Axis {
        let used = self.used.iter().map(|point| point.residual.abs());
        let two_sd = Some(2.0 * self.sd).filter(|value| value.is_finite());
        let (_, most) = axis::span(used.chain(two_sd)).unwrap_or((0.0, 0.0));
        let near = |value: &f64| *value <= 1.6 * most;
        let crosses = self.set_aside.iter().map(|aside| aside.residual.abs()).filter(near);
        let (_, most) = axis::span(crosses.chain([most])).unwrap_or((0.0, most));
        Axis::linear(-most, most, 0.02, 9)
    }

    /// Draws it.
    pub fn draw(&self, canvas: &mut Canvas) -> Result<(), PlotError> {
        let area = plane::open(canvas, super::RESIDUALS.1, &self.subtitle)?;
        let place = Place(84.0, 72.0, f64::from(SIZE.0) - 84.0 - 196.0, f64::from(SIZE.1) - 72.0 - 56.0);
        let drawn = self.used.iter().map(|p| p.drawn).chain(self.set_aside.iter().map(|a| a.drawn));
        let plane = Plane::new(&area, place, Axis::sizes(drawn, true, 12), self.vertical(), true)?;
        plane.level(0.0, &[], look::line(INK, 1.0))?;
        if self.sd > 0.0 && self.sd.is_finite() {
            for (side, words) in [(2.0, "+2 sd"), (-2.0, "−2 sd")] {
                plane.level(side * self.sd, TWO_SD, look::line(GREY, 1.4))?;
                let (_, y) = plane.at(0.0, side * self.sd);
                let beside = (place.0 + place.2 + 5.0, f64::from(y) / f64::from(UNIT));
                plane::text(&area, beside, words, SMALL, GREY, (HPos::Left, VPos::Center))?;
            }
        }
        let radius = look::point_radius(self.used.len());
        for point in &self.used {
            let at = plane.at(point.drawn, point.residual);
            look::draw_point(&area, at, look::of(point.kind), radius)?;
        }
        plane.frame()?;
        let mut labels = Labels::clear_of(self.used.iter().map(|p| plane.at(p.drawn, p.residual)));
        for (index, point) in self.unusual.iter().enumerate() {
            let at = plane.at(point.drawn, point.residual);
            legend::ring(&area, at)?;
            if index < labels::MOST {
                labels.write(&plane, at, &format!("line {}", point.line))?;
            }
        }
        draw_set_aside(&plane, &mut labels, self.set_aside.iter().map(|a| (*a, a.residual)), labels::MOST)?;
        plane::axis_titles(&area, place, "drawn size, mm", "measured − fitted, mm")?;
        legend::column(&area, (place.0 + place.2 + 48.0, place.1), &self.signs())
    }

    fn signs(&self) -> Vec<(Sign, String)> {
        let mut signs = legend::kinds(|kind| self.used.iter().any(|point| point.kind == kind));
        signs.push((Sign::Line(GREY, TWO_SD), "2 sd".to_owned()));
        if !self.unusual.is_empty() {
            signs.push((Sign::Ring, "unusual: look again".to_owned()));
        }
        if !self.set_aside.is_empty() {
            signs.push((Sign::Cross, "set aside".to_owned()));
        }
        signs
    }
}
