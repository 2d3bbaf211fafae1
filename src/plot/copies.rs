//! Residuals print by print: whether prints of the same coupons differ from one another.
//!
//! Within a print's column each kind has a lane of its own: a print with a little more swell than its
//! sibling has its pins above and its bores below.

use plotters::style::text_anchor::{HPos, VPos};

use super::PlotError;
use super::axis::{self, Axis};
use super::canvas::{Canvas, UNIT};
use super::legend::{self, Sign};
use super::look::{self, GREY, INK};
use super::plane::{self, Place, Plane, SIZE, SMALL};
use super::points::{self, Used};
use crate::correction::fitted::Fit;
use crate::kind::Kind;

/// Share of a column that its lanes take.
const FILLED: f64 = 0.72;

/// The residuals of one print.
#[derive(Clone, Debug, PartialEq)]
pub struct Print {
    /// Its number in the file.
    pub copy: u32,
    /// Its points.
    pub points: Vec<Used>,
    /// Mean residual, mm.
    pub mean: f64,
    /// Standard deviation of its residuals; `None` when it has one point.
    pub sd: Option<f64>,
}

/// The figure's data.
#[derive(Clone, Debug, PartialEq)]
pub struct CopiesFigure {
    /// The line below the title.
    pub subtitle: String,
    /// The prints, by number.
    pub prints: Vec<Print>,
    /// The kinds, which have the lanes, in the order of tables.
    pub kinds: Vec<Kind>,
}

impl CopiesFigure {
    /// The data of a fit.
    pub fn of(fit: &Fit) -> Result<Self, PlotError> {
        let used = points::used(fit)?;
        let mut copies: Vec<u32> = used.iter().map(|point| point.copy).collect();
        copies.sort_unstable();
        copies.dedup();
        let prints = copies
            .into_iter()
            .map(|copy| Print::of(copy, used.iter().filter(|point| point.copy == copy).copied().collect()))
            .collect();
        let present = |kind: &Kind| used.iter().any(|point| point.kind == *kind);
        let kinds = Kind::ALL.into_iter().filter(present).collect();
        Ok(Self { subtitle: points::subtitle(fit), prints, kinds })
    }

    /// Draws it.
    pub fn draw(&self, canvas: &mut Canvas) -> Result<(), PlotError> {
        let area = plane::open(canvas, super::COPIES.1, &self.subtitle)?;
        let place = Place(84.0, 84.0, f64::from(SIZE.0) - 84.0 - 196.0, f64::from(SIZE.1) - 84.0 - 72.0);
        let ends = self.prints.iter().flat_map(|print| {
            let sd = print.sd.unwrap_or(0.0);
            let points = print.points.iter().map(|point| point.residual.abs());
            points.chain([(print.mean - sd).abs(), (print.mean + sd).abs()])
        });
        let (_, most) = axis::span(ends).unwrap_or((0.0, 0.0));
        let mut across = Axis::counted(self.prints.len() as u32, 14);
        for tick in &mut across.ticks {
            if let Some(print) = self.prints.get(tick.at as usize - 1) {
                tick.label = print.copy.to_string();
            }
        }
        let plane = Plane::new(&area, place, across, Axis::linear(-most, most, 0.02, 9), true)?;
        plane.level(0.0, &[], look::line(INK, 1.0))?;
        let count: usize = self.prints.iter().map(|print| print.points.len()).sum();
        let lanes = (self.prints.len() * self.kinds.len().max(1)) as f64;
        let radius = look::point_radius(count).min((place.2 / lanes / 2.0).max(1.2));
        for (index, print) in self.prints.iter().enumerate() {
            self.draw_print(&plane, index as f64 + 1.0, print, radius)?;
        }
        plane.frame()?;
        self.name_counts(&plane)?;
        plane::axis_titles(&area, place, "print (copy)", "measured − fitted, mm")?;
        if self.prints.len() == 1 {
            let words = "One print only: how prints differ from one another cannot be seen.";
            let below = (place.0 + place.2 / 2.0, f64::from(SIZE.1) - 12.0);
            plane::text(&area, below, words, 12.0, GREY, (HPos::Center, VPos::Bottom))?;
        }
        let mut signs = legend::kinds(|kind| self.kinds.contains(&kind));
        signs.push((Sign::MeanAndSd, "mean ± sd of a print".to_owned()));
        legend::column(&area, (place.0 + place.2 + 20.0, place.1), &signs)
    }

    fn draw_print(&self, plane: &Plane, center: f64, print: &Print, radius: f64) -> Result<(), PlotError> {
        let (left, right) = (center - FILLED / 2.0 - 0.06, center + FILLED / 2.0 + 0.06);
        if let Some(sd) = print.sd {
            let (low, high) = (print.mean - sd, print.mean + sd);
            plane.band(&[(left, low, high), (right, low, high)], GREY, 0.2)?;
        }
        let lane = FILLED / self.kinds.len().max(1) as f64;
        for (number, &kind) in self.kinds.iter().enumerate() {
            let middle = center - FILLED / 2.0 + lane * (number as f64 + 0.5);
            let points: Vec<&Used> = print.points.iter().filter(|point| point.kind == kind).collect();
            let spread = lane * 0.7 / points.len().max(1) as f64;
            for (place, point) in points.iter().enumerate() {
                // In file order across the lane, so that equal residuals do not hide one another.
                let x = middle + spread * (place as f64 - (points.len() - 1) as f64 / 2.0);
                look::draw_point(&plane.area, plane.at(x, point.residual), look::of(kind), radius)?;
            }
        }
        plane.line([(left, print.mean), (right, print.mean)], &[], look::line(INK, 2.2))
    }

    /// How many points each print has, at the top of its column where there is room for that.
    fn name_counts(&self, plane: &Plane) -> Result<(), PlotError> {
        if self.prints.len() > 10 {
            return Ok(());
        }
        for (index, print) in self.prints.iter().enumerate() {
            let (x, _) = plane.at(index as f64 + 1.0, 0.0);
            let at = (f64::from(x) / f64::from(UNIT), plane.place.1 - 5.0);
            let words = format!("n = {}", print.points.len());
            plane::text(&plane.area, at, &words, SMALL, GREY, (HPos::Center, VPos::Bottom))?;
        }
        Ok(())
    }
}

impl Print {
    fn of(copy: u32, points: Vec<Used>) -> Self {
        let count = points.len() as f64;
        let mean = points.iter().map(|point| point.residual).sum::<f64>() / count;
        let squares: f64 = points.iter().map(|point| (point.residual - mean).powi(2)).sum();
        let sd = (points.len() > 1).then(|| (squares / (count - 1.0)).sqrt());
        Self { copy, points, mean, sd }
    }
}
