//! Materials against a temperature: how warm each may get by the tables, low to high, with the band that is asked of
//! it. What is out, doubtful or worth testing differs in form as well as in colour.

use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, VPos};

use super::axis::{self, Axis};
use super::canvas::Canvas;
use super::legend::{self, Sign};
use super::look::{self, GREY, INK, Look, Marker};
use super::plane::{self, Place, Plane, SIZE, SMALL};
use super::{Figure, Named, PlotError, figure, font};
use crate::material::answer::{Answer, Told};
use crate::material::ceiling::{Ceiling, Screening};

const NAMED: Named = ("ceilings", "How warm each material may get, by the tables");
const BAND: RGBColor = RGBColor(213, 94, 0);
const TYPICAL_DASHES: &[f64] = &[5.0, 3.0];
/// Room for the names of materials, in units of the picture.
const NAMES: f64 = 118.0;

/// The picture of an answer with a temperature.
///
/// # Errors
/// When there is no temperature, or no material with a ceiling.
pub fn ceilings_figure(answer: &Answer) -> Result<Figure, PlotError> {
    font::register()?;
    let told: Vec<(&Told, Ceiling)> =
        answer.materials.iter().filter_map(|told| Some((told, told.ceiling_c?))).collect();
    let mount_c = answer.temperature.ok_or(PlotError::NoPoints)?.mount_c();
    let ends = told.iter().flat_map(|(_, ceiling)| [ceiling.range_c.low, ceiling.range_c.high]);
    let (low, high) = axis::span(ends.chain([mount_c.low, mount_c.high])).ok_or(PlotError::NoPoints)?;
    if told.is_empty() {
        return Err(PlotError::NoPoints);
    }
    let count = told.len();
    let mut rows = Axis::counted(count as u32, count);
    rows.ticks.clear();

    let mut canvas = Canvas::new(SIZE);
    let subtitle = "no promise: grades and prints differ; what is worth testing is printed, measured, heated and measured again";
    let area = plane::open(&mut canvas, NAMED.1, subtitle)?;
    let place = Place(NAMES, 72.0, f64::from(SIZE.0) - NAMES - 24.0, f64::from(SIZE.1) - 72.0 - 88.0);
    let plane = Plane::new(&area, place, Axis::linear(low, high, 10.0, 9), rows, false)?;
    plane.band(
        &[(mount_c.low, plane.y.low, plane.y.high), (mount_c.high, plane.y.low, plane.y.high)],
        BAND,
        0.18,
    )?;
    let typical = [(mount_c.typical, plane.y.low), (mount_c.typical, plane.y.high)];
    plane.line(typical, TYPICAL_DASHES, look::line(BAND, 1.6))?;
    for (row, (told, ceiling)) in told.iter().enumerate() {
        // The first at the top.
        let y = (count - row) as f64;
        let range = ceiling.range_c;
        let look = told.screening.map_or(looks(Screening::Doubtful), looks);
        plane.line([(range.low, y), (range.high, y)], &[], look::line(look.color, 2.2))?;
        let here = plane.at(range.typical, y);
        if told.screening == Some(Screening::Out) {
            look::draw_cross(&area, here)?;
        } else {
            look::draw_point(&area, here, look, 4.6)?;
        }
        let height = place.1 + place.3 * (row as f64 + 0.5) / count as f64;
        plane::text(&area, (place.0 - 8.0, height), told.label, SMALL, INK, (HPos::Right, VPos::Center))?;
    }
    plane.frame()?;
    plane::axis_titles(&area, place, "temperature of the mount, °C", "")?;
    let signs = [
        (Sign::Mark(looks(Screening::WorthTesting)), Screening::WorthTesting.words().to_owned()),
        (Sign::Mark(looks(Screening::Doubtful)), Screening::Doubtful.words().to_owned()),
        (Sign::Cross, Screening::Out.words().to_owned()),
        (Sign::Line(GREY, &[]), "low to high".to_owned()),
        (Sign::Line(BAND, TYPICAL_DASHES), "the mount".to_owned()),
    ];
    legend::row(&area, Place(place.0, f64::from(SIZE.1) - 20.0, place.2, 0.0), &signs)?;
    drop(plane);
    drop(area);
    figure(NAMED, &canvas, "materials")
}

fn looks(screening: Screening) -> Look {
    let (color, marker) = match screening {
        Screening::WorthTesting => (RGBColor(0, 114, 178), Marker::Disc),
        Screening::Doubtful => (RGBColor(230, 159, 0), Marker::Diamond),
        Screening::Out => (GREY, Marker::Frame),
    };
    Look { color, marker, dashes: &[] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::answer::{Request, Sizes, Temperature};
    use crate::material::metal;

    fn answer(at: Option<&str>) -> Answer {
        let given = at.map(|at| Temperature::Given { mount_c: at.parse().unwrap() });
        let mate = metal("steel").unwrap();
        Request { materials: Vec::new(), temperature: given, from_c: 20.0, sizes: Sizes::default(), mate }
            .answer()
    }

    #[test]
    fn every_polymer_is_in_the_picture_and_the_same_answer_gives_the_same_bytes() {
        let answer = answer(Some("75..90"));
        let figure = ceilings_figure(&answer).unwrap();
        for told in &answer.materials {
            assert_eq!(figure.svg.matches(&format!(">{}</text>", told.label)).count(), 1, "{}", told.label);
        }
        for words in ["worth testing", "doubtful", "out", "the mount"] {
            assert!(figure.svg.contains(&format!(">{words}</text>")), "{words}");
        }
        assert_eq!(figure, ceilings_figure(&answer).unwrap());
        if let Ok(folder) = std::env::var("SHRINKRULE_PICTURES") {
            std::fs::write(format!("{folder}/ceilings.png"), &figure.png).unwrap();
        }
    }

    #[test]
    fn without_a_temperature_there_is_nothing_to_draw() {
        assert_eq!(ceilings_figure(&answer(None)).unwrap_err(), PlotError::NoPoints);
    }
}
