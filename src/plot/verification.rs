//! Later prints against the prediction: the difference of each feature by its drawn size, with the range
//! that 95 % of an unchanged printer's features lie in, and the mean difference of each kind.

use plotters::style::text_anchor::{HPos, VPos};

use super::axis::{self, Axis};
use super::canvas::Canvas;
use super::labels::{self, Labels};
use super::legend::{self, Sign};
use super::look::{self, GREY, INK};
use super::plane::{self, Place, Plane, SIZE};
use super::{Figure, PlotError, figure, font};
use crate::correction::verify::{Verification, VerifiedFeature};
use crate::kind::Kind;

const NAMED: (&str, &str) = ("verification", "Later prints against the prediction");

/// Draws it.
pub fn verification_figure(verification: &Verification, date: Option<&str>) -> Result<Figure, PlotError> {
    font::register()?;
    let features = &verification.features;
    if features.is_empty() {
        return Err(PlotError::NoPoints);
    }
    if let Some(broken) = features.iter().find(|f| !f.difference_mm().is_finite() || !f.sd_mm.is_finite()) {
        return Err(PlotError::NotFinite { line: broken.line });
    }
    let kinds: Vec<Kind> =
        Kind::ALL.into_iter().filter(|kind| features.iter().any(|feature| feature.kind == *kind)).collect();
    let day = date.map_or_else(String::new, |date| format!(", {date}"));
    let subtitle = format!("{}{day} · {}", verification.setup, verification.verdict.name());
    let mut canvas = Canvas::new(SIZE);
    let area = plane::open(&mut canvas, NAMED.1, &subtitle)?;
    let (left, top, high) = (84.0, 96.0, f64::from(SIZE.1) - 96.0 - 56.0);
    let (width, gap) = (f64::from(SIZE.0) - 84.0 - 190.0, 10.0);
    let each = (width - gap * (kinds.len() as f64 - 1.0)) / kinds.len() as f64;
    let used = |feature: &&VerifiedFeature| !feature.set_aside;
    let most = features
        .iter()
        .filter(used)
        .map(|feature| feature.difference_mm().abs().max(2.0 * feature.sd_mm))
        .fold(verification.matters_mm, f64::max);
    for (at, &kind) in kinds.iter().enumerate() {
        let of: Vec<&VerifiedFeature> = features.iter().filter(|feature| feature.kind == kind).collect();
        let place = Place(left + at as f64 * (each + gap), top, each, high);
        let marks = ((each / 50.0) as usize).clamp(2, 9);
        let drawn = of.iter().map(|feature| feature.drawn_mm);
        let (least, largest) = axis::span(drawn.clone()).unwrap_or((0.0, 0.0));
        // Room for the markers at both ends of a narrow plane.
        let room = 6.0 / each * (largest - least);
        let ends = [least - room, largest + room].into_iter().filter(|end| *end > 0.0);
        let across = Axis::sizes(drawn.chain(ends), each > 150.0, marks);
        let plane = Plane::new(&area, place, across, Axis::linear(-most, most, 0.02, 9), at == 0)?;
        draw_kind(&plane, &of, verification)?;
        let words = font::fitted(kind.plural(), 12.0, each as f32);
        plane::text(&area, (place.0, top - 6.0), &words, 12.0, INK, (HPos::Left, VPos::Bottom))?;
    }
    plane::axis_titles(&area, Place(left, top, width, high), "drawn size, mm", "measured − predicted, mm")?;
    let mut signs = legend::kinds(|kind| kinds.contains(&kind));
    signs.push((Sign::Band(GREY, 0.18), "unchanged, 95 %".to_owned()));
    signs.push((Sign::Line(INK, &[]), "mean of the kind".to_owned()));
    if features.iter().any(|feature| feature.set_aside) {
        signs.push((Sign::Cross, "set aside".to_owned()));
    }
    legend::column(&area, (left + width + 16.0, top), &signs)?;
    drop(area);
    figure(NAMED, &canvas, &verification.setup)
}

fn draw_kind(plane: &Plane<'_>, of: &[&VerifiedFeature], whole: &Verification) -> Result<(), PlotError> {
    let mut by_size: Vec<&&VerifiedFeature> = of.iter().collect();
    by_size.sort_by(|a, b| a.drawn_mm.total_cmp(&b.drawn_mm));
    let usual = |feature: &VerifiedFeature| 1.96 * feature.sd_mm;
    let mut band: Vec<(f64, f64, f64)> = by_size.iter().map(|f| (f.drawn_mm, -usual(f), usual(f))).collect();
    // To both ends, so that one size alone has a band.
    if let (Some(&(_, low, high)), Some(&(_, last_low, last_high))) = (band.first(), band.last()) {
        band.insert(0, (plane.x.low, low, high));
        band.push((plane.x.high, last_low, last_high));
    }
    plane.band(&band, GREY, 0.18)?;
    plane.level(0.0, &[], look::line(INK, 1.0))?;
    let radius = look::point_radius(of.len());
    for feature in of.iter().filter(|feature| !feature.set_aside) {
        let at = plane.at(feature.drawn_mm, feature.difference_mm());
        look::draw_point(&plane.area, at, look::of(feature.kind), radius)?;
    }
    let mean = of.first().and_then(|first| whole.kinds.iter().find(|(kind, _)| *kind == first.kind));
    if let Some((_, mean)) = mean {
        let ends = axis::span(of.iter().map(|f| f.drawn_mm)).unwrap_or((plane.x.low, plane.x.high));
        let reach = 0.03 * (plane.x.high - plane.x.low);
        plane.line([(ends.0 - reach, *mean), (ends.1 + reach, *mean)], &[], look::line(INK, 2.2))?;
    }
    plane.frame()?;
    let mut labels = Labels::clear_of(of.iter().map(|f| plane.at(f.drawn_mm, f.difference_mm())));
    let asides = of.iter().filter(|feature| feature.set_aside).take(labels::MOST);
    for feature in asides {
        let at = plane.at(feature.drawn_mm, feature.difference_mm());
        look::draw_cross(&plane.area, at)?;
        labels.write(plane, at, &format!("line {}", feature.line))?;
    }
    Ok(())
}
