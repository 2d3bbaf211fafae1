//! The volume of a piece by closed forms: circles, segments, cones and the teeth's exact area; not the
//! polygons that the mesh is made of.

use std::f64::consts::PI;

use shrinkrule::geometry::lettering::{self, MIN_CAP_HEIGHT_MM};
use shrinkrule::parts::build::label::DEPTH_MM;
use shrinkrule::parts::build::piece::Piece;
use shrinkrule::parts::build::recess::End;
use shrinkrule::parts::build::section::teeth;
use shrinkrule::parts::build::step::Side;

fn disc(diameter: f64) -> f64 {
    PI * diameter * diameter / 4.0
}

/// A shape whose edge moves out evenly by `out` over the height: its area is `a + perimeter t + pi t^2`,
/// nearly, where its corners are many.
fn flared(area: f64, perimeter: f64, out: f64, height: f64) -> f64 {
    height * (area + perimeter * out / 2.0 + PI * out * out / 3.0)
}

/// Plastic and how far off the closed form may be, in cubic millimetres.
///
/// What is allowed: chamfers and cones of teeth grow radially in the mesh and are taken as even here; chords
/// of 0.005 mm along all walls; the corners that slide beside a cross hole.
pub fn closed_form(piece: &Piece) -> (f64, f64) {
    let top = piece.top_mm();
    let (mut volume, mut slack) = (0.0, 0.0);
    for (index, (from, step)) in piece.steps_from().enumerate() {
        let height = step.to_mm - from;
        let chamfer = if index == 0 { piece.bed_chamfer_mm.min(height / 2.0) } else { 0.0 };
        match &step.side {
            Side::Round { diameter_mm } => {
                volume += disc(*diameter_mm) * height;
                volume -= disc(*diameter_mm) * chamfer
                    - flared(
                        disc(diameter_mm - 2.0 * chamfer),
                        PI * (diameter_mm - 2.0 * chamfer),
                        chamfer,
                        chamfer,
                    );
                // Under a cone the rim is drawn with its chords inside the circle.
                slack += PI * diameter_mm * height * 0.021;
            }
            Side::Teeth(groove) => {
                let outline = teeth(groove);
                volume += outline.area() * height - outline.length() * chamfer * chamfer / 2.0;
                slack += outline.length() * (height * 0.004 + chamfer * chamfer * 0.6);
            }
            Side::Cone { diameter_mm } => {
                let Side::Teeth(groove) = &piece.steps[index - 1].side else {
                    panic!("a cone grows out of teeth")
                };
                let rim = disc(*diameter_mm);
                let foot = teeth(groove).area();
                // Between the mean of its ends and all of the rim: the teeth fill up first.
                volume += height * (foot + 2.0 * rim) / 3.0;
                slack += height * (rim - foot) / 3.0;
            }
        }
    }
    let bore = piece.bore.curves();
    let recess = |end| piece.recesses.iter().find(|recess| recess.end == end);
    let depth = |end| {
        recess(end)
            .map_or(0.0, |recess| if end == End::Bed { recess.floor_mm } else { top - recess.floor_mm })
    };
    volume -= bore.area() * (top - depth(End::Bed) - depth(End::Top));
    slack += bore.length() * top * 0.004;
    for (end, chamfer) in [(End::Bed, piece.bed_chamfer_mm), (End::Top, piece.mouth_chamfer_mm)] {
        let (area, perimeter) = recess(end).map_or((bore.area(), bore.length()), |recess| {
            (disc(recess.diameter_mm), PI * recess.diameter_mm)
        });
        volume -= area * depth(end) + flared(0.0, perimeter, chamfer, chamfer);
        slack += perimeter * (depth(end) * 0.004 + chamfer * chamfer * 0.15);
    }
    for hole in &piece.holes {
        let (from, to) = (hole.from_mm.unwrap_or(0.0), hole.to_mm.unwrap_or(top));
        let inside: f64 = piece
            .steps_from()
            .filter(|(_, step)| hole.band_mm().0 < step.side.reach_mm())
            .map(|(start, step)| (step.to_mm.min(to) - start.max(from)).max(0.0))
            .sum();
        volume -= f64::from(hole.count) * disc(hole.diameter_mm) * inside;
    }
    if let Some(label) = &piece.label {
        volume -= DEPTH_MM * lettering::text(&label.text, MIN_CAP_HEIGHT_MM).unwrap().area();
    }
    let screws_at =
        |height: f64| piece.steps.iter().find(|step| height < step.to_mm).map(|step| step.side.reach_mm());
    if let Some(screws) = &piece.set_screws {
        let outer = screws_at(screws.height_mm).unwrap();
        let radius = screws.diameter_mm / 2.0;
        let corners = piece.bore.corners();
        // The hole's own volume: its cross section, strip by strip, from the bore's wall to the hub's.
        let strips = 400;
        let mut hole = 0.0;
        let mut inside_slot = 0.0;
        for i in 0..strips {
            let y = radius * ((f64::from(i) + 0.5) / f64::from(strips) * 2.0 - 1.0);
            let height = 2.0 * (radius * radius - y * y).sqrt() * (2.0 * radius / f64::from(strips));
            let wall = corners
                .iter()
                .zip(corners.iter().cycle().skip(1))
                .filter(|(a, b)| (a[0] + y) * (b[0] + y) <= 0.0 && a[0] != b[0])
                .map(|(a, b)| a[1] + (b[1] - a[1]) * (-y - a[0]) / (b[0] - a[0]))
                .fold(0.0, f64::max);
            hole += height * ((outer * outer - y * y).sqrt() - wall);
            inside_slot += height;
        }
        let count = screws.directions_rad.len() as f64;
        volume -= hole;
        // Only the one at +y is met by flats and keys where they are; the others meet other walls.
        volume -= (count - 1.0) * hole;
        slack += hole * 0.01 + (count - 1.0) * disc(screws.diameter_mm) * piece.bore.reach_mm() * 0.6;
        // A key slot's corners are cut beside the hole.
        slack += piece.bore.size_mm() * screws.diameter_mm * 0.1;
        if let Some(slot) = screws.nut {
            let room = if screws.end == End::Top { top - slot.floor_mm } else { slot.floor_mm };
            volume -= count * (slot.width_mm * slot.thickness_mm * room - inside_slot * slot.thickness_mm);
            slack += count * inside_slot * slot.thickness_mm * 0.01;
        }
    }
    (volume, slack + 1e-3)
}
