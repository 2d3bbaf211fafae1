//! The change of each group, soak by soak, material beside material, against the limit.

use super::{Sheet, drawn, heading, interval, limits, materials, upright};
use crate::compare::Comparison;
use crate::compare::finding::Finding;
use crate::compare::group::Group;
use crate::plot::axis::Axis;
use crate::plot::legend::Sign;
use crate::plot::look::{self, GREY};
use crate::plot::plane::Plane;
use crate::plot::{Figure, PlotError, numbers};

const NAMED: (&str, &str) = ("changes", "How far sizes change in the heat");

/// Half the room that the materials of one soak share.
const SHARE: f64 = 0.26; // by feel

pub(super) fn draw(comparison: &Comparison) -> Result<Option<Figure>, PlotError> {
    let limit_mm = comparison.options.limit_mm;
    let mut groups: Vec<Group> = comparison.findings.iter().map(|finding| finding.group).collect();
    groups.sort_unstable();
    groups.dedup();
    let study = &comparison.study;
    // With one soak the materials themselves are the places.
    let single = study.conditions.len() == 1;
    let names: Vec<String> = if single {
        study.materials.iter().map(|material| material.name.clone()).collect()
    } else {
        study.conditions.iter().map(short).collect()
    };
    let of =
        |finding: &&Finding| finding.interval_mm().map_or([finding.mean_mm; 2], |(low, high)| [low, high]);
    let vertical = upright(comparison.findings.iter().flat_map(|finding| of(&finding)), limit_mm);
    let place = |finding: &Finding| {
        if single {
            return finding.material as f64 + 1.0;
        }
        let count = study.materials.len() as f64;
        let share = if count > 1.0 { 2.0 * SHARE / (count - 1.0) } else { 0.0 };
        finding.condition as f64 + 1.0 + share * finding.material as f64
            - if count > 1.0 { SHARE } else { 0.0 }
    };
    let mut signs = materials(comparison);
    signs.push((Sign::Band(GREY, 0.14), format!("limit ±{} mm", numbers::plain(limit_mm, 2))));
    let soak = if single { format!("after {} · ", study.conditions[0].in_words()) } else { String::new() };
    let sheet = Sheet {
        named: NAMED,
        subtitle: format!(
            "{soak}mean change with its 95 % interval; each group has the sizes in its heading"
        ),
        across: if single { "material" } else { "soak" },
        upwards: "after − before, mm",
        signs,
    };
    let figure = drawn(sheet, groups.len(), |area, number, tile| {
        let group = groups[number];
        let own: Vec<&Finding> =
            comparison.findings.iter().filter(|finding| finding.group == group).collect();
        let plane = Plane::new(area, tile, Axis::named(names.clone()), vertical.clone(), tile.0 < 100.0)?;
        limits(&plane, limit_mm)?;
        for finding in &own {
            let look = look::numbered(finding.material);
            interval(&plane, place(finding), finding.mean_mm, finding.interval_mm(), look)?;
        }
        plane.frame()?;
        let at_mm = own.first().map_or(0.0, |finding| finding.at_mm);
        heading(area, tile, &format!("{group}, {} mm", numbers::plain(at_mm, 0)))
    })?;
    Ok(Some(figure))
}

/// A soak as short as it can be said: `60 °C`, or the stage where temperatures are not what differs.
fn short(condition: &crate::compare::Condition) -> String {
    match condition.soak_c {
        Some(celsius) => format!("{celsius}°"),
        None => condition.stage.clone(),
    }
}
