//! How each material prints before heat: measured less drawn, kind by kind, material beside material.

use super::{Sheet, drawn, heading, interval, materials};
use crate::compare::Comparison;
use crate::kind::Kind;
use crate::plot::axis::{self, Axis};
use crate::plot::look::{self, INK};
use crate::plot::plane::Plane;
use crate::plot::{Figure, PlotError, numbers};

const NAMED: (&str, &str) = ("corrections", "How each material prints, before heat");

pub(super) fn draw(comparison: &Comparison) -> Result<Option<Figure>, PlotError> {
    let printed = &comparison.corrections;
    let all = || printed.iter().flat_map(|printed| &printed.kinds);
    let kinds: Vec<Kind> =
        Kind::ALL.into_iter().filter(|kind| all().any(|printed| printed.kind == *kind)).collect();
    if kinds.is_empty() {
        return Ok(None);
    }
    let ends = all()
        .flat_map(|kind| [kind.deviation_mm - kind.half_width_mm, kind.deviation_mm + kind.half_width_mm]);
    let (low, high) = axis::span(ends.chain([0.0])).unwrap_or((-0.1, 0.1));
    let names = comparison.study.materials.iter().map(|material| material.name.clone());
    let places: Vec<String> = if printed.len() == comparison.study.materials.len() {
        names.collect()
    } else {
        printed.iter().map(|printed| printed.setup.clone()).collect()
    };
    let sheet = Sheet {
        named: NAMED,
        subtitle: "mean deviation at the size in each heading, with its 95 % interval".to_owned(),
        across: "material",
        upwards: "measured − drawn, mm",
        signs: materials(comparison),
    };
    let figure = drawn(sheet, kinds.len(), |area, number, tile| {
        let kind = kinds[number];
        let vertical = Axis::linear(low, high, 0.05, 7);
        let plane = Plane::new(area, tile, Axis::named(places.clone()), vertical, tile.0 < 100.0)?;
        plane.level(0.0, &[], look::line(INK, 1.0))?;
        let mut at_mm = None;
        for (place, printed) in printed.iter().enumerate() {
            let Some(own) = printed.kinds.iter().find(|printed| printed.kind == kind) else { continue };
            at_mm = at_mm.or(Some(own.at_mm));
            let ends = (own.deviation_mm - own.half_width_mm, own.deviation_mm + own.half_width_mm);
            let x = place as f64 + 1.0;
            interval(&plane, x, own.deviation_mm, Some(ends), look::numbered(place))?;
        }
        plane.frame()?;
        heading(area, tile, &format!("{}, {} mm", kind.plural(), numbers::plain(at_mm.unwrap_or(0.0), 0)))
    })?;
    Ok(Some(figure))
}
