//! The control chart of a setup's verifications over time: each shift with its limits, and the moving
//! average with its own. Walls above, all sizes below.

use jiff::civil::Date;
use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, VPos};

use super::axis::{self, Axis, Tick};
use super::canvas::{Canvas, UNIT};
use super::labels::Labels;
use super::legend::{self, Sign};
use super::look::{self, GREY, INK};
use super::plane::{self, Place, Plane, SIZE};
use super::{Figure, PlotError, figure, font};
use crate::correction::history::chart::{Chart, Charted, Drift};
use crate::kind::Kind;

const NAMED: (&str, &str) = ("history", "Whether the correction still holds, over time");
/// The moving average: the blue of bores, who have no points here.
const AVERAGE: RGBColor = RGBColor(0, 114, 178);
const MATTERS: RGBColor = RGBColor(213, 94, 0);
const LIMIT_DASHES: &[f64] = &[7.0, 4.0];
const MATTERS_DASHES: &[f64] = &[2.0, 3.0];
/// Room that a date takes below the axis, in units of the picture.
const DATE_ROOM: f64 = 84.0;

/// A shift at one date.
#[derive(Clone, Copy, Debug, PartialEq)]
struct At {
    /// Days since the first date.
    day: f64,
    date: Date,
    charted: Charted,
}

/// One plane: the stretches between changes of the correction.
struct Panel {
    what: &'static str,
    title: &'static str,
    stretches: Vec<Vec<At>>,
}

/// Draws the chart.
pub fn history_figure(chart: &Chart) -> Result<Figure, PlotError> {
    font::register()?;
    let panels = panels(chart)?;
    let mut canvas = Canvas::new(SIZE);
    let drift = chart.first_drift();
    let count = chart.points.len();
    let said = match &drift {
        Some(drift) => format!("drifted, first on {}", drift.date),
        None => "no drift".to_owned(),
    };
    let verifications = if count == 1 { "verification" } else { "verifications" };
    let subtitle = format!("{} · {count} {verifications} · {said}", chart.setup);
    let area = plane::open(&mut canvas, NAMED.1, &subtitle)?;
    let (left, top, width) = (84.0, 84.0, f64::from(SIZE.0) - 84.0 - 206.0);
    let (gap, below) = (44.0, 40.0);
    let all_high = f64::from(SIZE.1) - top - below;
    let rows = panels.len() as f64;
    let high = (all_high - gap * (rows - 1.0)) / rows;
    for (row, panel) in panels.iter().enumerate() {
        let place = Place(left, top + row as f64 * (high + gap), width, high);
        panel.draw(
            &area,
            place,
            chart.matters_mm,
            drift.as_ref().filter(|drift| drift.what == panel.what),
        )?;
    }
    let mut signs = vec![
        (Sign::Line(GREY, &[][..]), "shift of one verification".to_owned()),
        (Sign::Line(GREY, LIMIT_DASHES), "its limits, 3 sd".to_owned()),
        (Sign::Line(AVERAGE, &[]), "moving average (EWMA)".to_owned()),
        (Sign::Band(AVERAGE, 0.14), "its limits, 3 sd".to_owned()),
        (Sign::Line(MATTERS, MATTERS_DASHES), format!("what matters, ± {} mm", chart.matters_mm)),
    ];
    if drift.is_some() {
        signs.push((Sign::Ring, "first drift".to_owned()));
    }
    legend::column(&area, (left + width + 14.0, top), &signs)?;
    drop(area);
    figure(NAMED, &canvas, &chart.setup)
}

fn panels(chart: &Chart) -> Result<Vec<Panel>, PlotError> {
    let first = chart.points.first().ok_or(PlotError::NoPoints)?.date;
    // Dates lie within a span that jiff checks, so the difference is a number of days.
    let day = |date: Date| first.until(date).map_or(0.0, |span| f64::from(span.get_days()));
    let mut walls =
        Panel { what: "walls", title: "walls: outside +, inside −", stretches: vec![Vec::new()] };
    let mut all = Panel { what: "all sizes", title: "all sizes alike", stretches: vec![Vec::new()] };
    for point in &chart.points {
        for (panel, charted) in [(&mut walls, point.walls), (&mut all, Some(point.all_sizes))] {
            if point.new_correction {
                panel.stretches.push(Vec::new());
            }
            if let (Some(charted), Some(stretch)) = (charted, panel.stretches.last_mut()) {
                stretch.push(At { day: day(point.date), date: point.date, charted });
            }
        }
    }
    let panels = [walls, all].into_iter();
    Ok(panels.filter(|panel| panel.stretches.iter().any(|stretch| !stretch.is_empty())).collect())
}

impl Panel {
    fn points(&self) -> impl Iterator<Item = &At> {
        self.stretches.iter().flatten()
    }

    fn axes(&self, matters_mm: f64, width: f64) -> (Axis, Axis) {
        let days = axis::span(self.points().map(|at| at.day)).unwrap_or((0.0, 0.0));
        let mut across = Axis::linear(days.0, days.1, 14.0, 5);
        let per_day = width / (across.high - across.low);
        let mut taken = f64::NEG_INFINITY;
        across.ticks.clear();
        for at in self.points().filter(|at| at.day.is_finite()) {
            let place = (at.day - across.low) * per_day;
            if place - taken >= DATE_ROOM {
                across.ticks.push(Tick { at: at.day, label: at.date.to_string() });
                taken = place;
            }
        }
        let most = self
            .points()
            .map(|At { charted, .. }| {
                charted.shift_mm.abs().max(charted.limit_mm).max(charted.average_limit_mm)
            })
            .fold(matters_mm, f64::max);
        (across, Axis::linear(-most, most, 0.02, 7))
    }

    fn draw(
        &self,
        area: &plane::Area<'_>,
        place: Place,
        matters_mm: f64,
        drift: Option<&Drift>,
    ) -> Result<(), PlotError> {
        let (across, up) = self.axes(matters_mm, place.2);
        let plane = Plane::new(area, place, across, up, true)?;
        for stretch in self.stretches.iter().filter(|stretch| !stretch.is_empty()) {
            draw_stretch(&plane, stretch)?;
        }
        for side in [-1.0, 1.0] {
            plane.level(side * matters_mm, MATTERS_DASHES, look::line(MATTERS, 1.4))?;
        }
        plane.level(0.0, &[], look::line(INK, 1.0))?;
        for pair in self.stretches.windows(2) {
            if let (Some(before), Some(after)) = (pair[0].last(), pair[1].first()) {
                let middle = (before.day + after.day) / 2.0;
                plane.line([(middle, plane.y.low), (middle, plane.y.high)], &[], look::line(INK, 1.4))?;
                let (x, _) = plane.at(middle, 0.0);
                let above = (f64::from(x) / f64::from(UNIT), place.1 - 4.0);
                plane::text(area, above, "new correction", plane::SMALL, GREY, (HPos::Center, VPos::Bottom))?;
            }
        }
        for at in self.points() {
            let look = look::Look { color: GREY, ..look::of(Kind::Bore) };
            look::draw_point(area, plane.at(at.day, at.charted.shift_mm), look, 3.6)?;
        }
        plane.frame()?;
        if let Some(drift) = drift
            && let Some(at) = self.points().find(|at| at.date == drift.date)
        {
            let here = plane.at(at.day, drift.value_mm);
            legend::ring(area, here)?;
            let mut labels = Labels::clear_of(self.points().map(|at| plane.at(at.day, at.charted.shift_mm)));
            labels.write(&plane, here, &drift.date.to_string())?;
        }
        let title = (place.0, place.1 - 6.0);
        plane::text(area, title, self.title, 12.0, INK, (HPos::Left, VPos::Bottom))?;
        plane::text_up(area, (place.0 - 58.0, place.1 + place.3 / 2.0), "shift, mm")
    }
}

/// Limits, single shifts and average of one correction's verifications.
fn draw_stretch(plane: &Plane<'_>, stretch: &[At]) -> Result<(), PlotError> {
    let edges = |limit: fn(&Charted) -> f64| -> Vec<(f64, f64)> {
        let reach = 0.012 * (plane.x.high - plane.x.low);
        (0..stretch.len())
            .flat_map(|at| {
                let middle = |other: &At| (other.day + stretch[at].day) / 2.0;
                let left = if at == 0 { stretch[at].day - reach } else { middle(&stretch[at - 1]) };
                let right = stretch.get(at + 1).map_or(stretch[at].day + reach, middle);
                let limit = limit(&stretch[at].charted);
                [(left, limit), (right, limit)]
            })
            .collect()
    };
    let band: Vec<(f64, f64, f64)> =
        edges(|charted| charted.average_limit_mm).into_iter().map(|(x, limit)| (x, -limit, limit)).collect();
    plane.band(&band, AVERAGE, 0.14)?;
    let limits = edges(|charted| charted.limit_mm);
    for side in [-1.0, 1.0] {
        let line = limits.iter().map(|&(x, limit)| (x, side * limit));
        plane.line(line, LIMIT_DASHES, look::line(GREY, 1.4))?;
    }
    plane.line(stretch.iter().map(|at| (at.day, at.charted.shift_mm)), &[], look::line(GREY, 1.2))?;
    plane.line(stretch.iter().map(|at| (at.day, at.charted.average_mm)), &[], look::line(AVERAGE, 2.6))?;
    if let [only] = stretch {
        let look = look::of(Kind::Bore);
        look::draw_point(&plane.area, plane.at(only.day, only.charted.average_mm), look, 2.6)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::history::History;
    use crate::correction::history::chart::charts;
    use crate::correction::history::tests::entry;

    fn drifting() -> Chart {
        let mut history = History::default();
        let shifts = [0.012, -0.02, 0.008, 0.03, 0.052, 0.058, 0.066, 0.072, 0.064, 0.081, 0.07];
        for (at, shift) in shifts.iter().enumerate() {
            let date = format!("202{}-{:02}-08", 6 + (at + 10) / 12, (at + 10) % 12 + 1);
            history.add(entry(&date, *shift, "a")).unwrap();
        }
        history.add(entry("2027-10-20", 0.01, "b")).unwrap();
        history.add(entry("2027-11-20", -0.01, "b")).unwrap();
        charts(&history, 0.05).remove(0)
    }

    #[test]
    fn the_chart_names_the_first_date_of_drift_and_where_the_correction_changed() {
        let chart = drifting();
        let drift = chart.first_drift().unwrap();
        let figure = history_figure(&chart).unwrap();
        assert!(figure.svg.contains(&format!("drifted, first on {}", drift.date)), "{}", figure.svg);
        assert!(figure.svg.contains(&format!(">{}</text>", drift.date)));
        assert_eq!(figure.svg.matches(">new correction</text>").count(), 2);
        assert_eq!(figure, history_figure(&chart).unwrap());
        if let Ok(folder) = std::env::var("SHRINKRULE_PICTURES") {
            std::fs::write(format!("{folder}/history.png"), &figure.png).unwrap();
        }
    }

    #[test]
    fn one_verification_makes_a_chart_and_none_does_not() {
        let mut history = History::default();
        history.add(entry("2026-12-04", 0.01, "a")).unwrap();
        let mut chart = charts(&history, 0.05).remove(0);
        history_figure(&chart).unwrap();
        chart.points.clear();
        assert_eq!(history_figure(&chart).unwrap_err(), PlotError::NoPoints);
    }
}
