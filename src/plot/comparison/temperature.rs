//! The change of each group against the temperature of the soak, with what runs through it.

use super::{Sheet, drawn, heading, interval, limits, materials, upright};
use crate::compare::Comparison;
use crate::compare::course::Course;
use crate::compare::group::Group;
use crate::plot::axis::{self, Axis};
use crate::plot::legend::Sign;
use crate::plot::look::{self, GREY};
use crate::plot::plane::Plane;
use crate::plot::{Figure, PlotError, numbers};

const NAMED: (&str, &str) = ("temperature", "Change of size against the temperature of the soak");

/// Places along a course.
const STEPS: u32 = 60;

pub(super) fn draw(comparison: &Comparison) -> Result<Option<Figure>, PlotError> {
    if comparison.courses.is_empty() {
        return Ok(None);
    }
    let limit_mm = comparison.options.limit_mm;
    // Of several times, the longest: one line a material.
    let longest = |course: &&Course| {
        let same = |other: &&Course| (other.material, other.group) == (course.material, course.group);
        comparison.courses.iter().filter(same).all(|other| other.soak_h <= course.soak_h)
    };
    let courses: Vec<&Course> = comparison.courses.iter().filter(longest).collect();
    let mut groups: Vec<Group> = courses.iter().map(|course| course.group).collect();
    groups.sort_unstable();
    groups.dedup();
    let shown = courses.iter().flat_map(|course| course.points.iter().map(|point| point.1));
    let vertical = upright(shown, limit_mm);
    let temperatures = courses.iter().flat_map(|course| course.temperatures_c.iter().copied());
    let (low, high) = axis::span(temperatures).unwrap_or((20.0, 100.0));
    let mut signs = materials(comparison);
    signs.push((Sign::Band(GREY, 0.14), format!("limit ±{} mm", numbers::plain(limit_mm, 2))));
    let sheet = Sheet {
        named: NAMED,
        subtitle: "each point one piece; line: the course that the data bear out, with its 95 % band"
            .to_owned(),
        across: "soak temperature, °C",
        upwards: "after − before, mm",
        signs,
    };
    let figure = drawn(sheet, groups.len(), |area, number, tile| {
        let group = groups[number];
        let own = || courses.iter().filter(|course| course.group == group);
        let marks = ((tile.2 / 46.0) as usize).max(3);
        let across = Axis::linear(low, high, 5.0, marks);
        let plane = Plane::new(area, tile, across, vertical.clone(), tile.0 < 100.0)?;
        limits(&plane, limit_mm)?;
        for course in own() {
            let look = look::numbered(course.material);
            let course_at = |step: u32| {
                let first = course.temperatures_c.first().copied()?;
                let last = course.temperatures_c.last().copied()?;
                let celsius = first + (last - first) * f64::from(step) / f64::from(STEPS);
                course.at(celsius).map(|(value, half)| (celsius, value, half))
            };
            let along: Vec<(f64, f64, f64)> = (0..=STEPS).filter_map(course_at).collect();
            let band: Vec<(f64, f64, f64)> =
                along.iter().map(|(celsius, value, half)| (*celsius, value - half, value + half)).collect();
            // Up to where it leaves the plane, at one end or the other.
            let shown = |value: f64| plane.y.holds(value);
            let band: Vec<(f64, f64, f64)> =
                band.into_iter().filter(|(_, low, high)| shown(*low) || shown(*high)).collect();
            plane.band(&band, look.color, 0.15)?;
            let line = along.iter().filter(|at| shown(at.1)).map(|(celsius, value, _)| (*celsius, *value));
            plane.line(line, look.dashes, look::line(look.color, 1.8))?;
        }
        for course in own() {
            for (celsius, value) in course.points.iter().filter(|point| plane.y.holds(point.1)) {
                interval(&plane, *celsius, *value, None, look::numbered(course.material))?;
            }
        }
        plane.frame()?;
        let at_mm = own().next().map_or(0.0, |course| course.at_mm);
        heading(area, tile, &format!("{group}, {} mm", numbers::plain(at_mm, 0)))
    })?;
    Ok(Some(figure))
}
