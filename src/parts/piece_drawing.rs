//! A piece drawn with its dimensions: the section through its axis, and the view along it.
//!
//! Both views are at one scale, 1:1 where they fit a sheet of A4 and else a stated one; one unit of the file is one
//! millimetre on paper. A letter marks each size that a caliper takes: blue arrows for the large jaws, red
//! ones for the inside jaws, with their tips where the jaws touch. Sizes are those of the drawing; the table
//! beside it has the wanted and the expected ones.

use std::fmt::Write as _;

use crate::geometry::curve::CurveLoop;
use crate::geometry::svg;
use crate::kind::Kind;

use super::build::piece::Piece;
use super::build::step::Side;
use super::gauging::Gauged;

/// Largest view, mm of paper: two of them and their letters fit across A4.
const VIEW_MM: f64 = 105.0;
/// Space around a view for arrows and letters, mm of paper.
const AROUND_MM: f64 = 22.0;
/// Width of a sheet with a table, mm: A4 across, less its margins.
const SHEET_MM: f64 = 277.0;
/// Scales that people are used to.
pub(super) const SCALES: [(f64, &str); 7] =
    [(5.0, "5:1"), (2.0, "2:1"), (1.0, "1:1"), (0.5, "1:2"), (0.2, "1:5"), (0.1, "1:10"), (0.05, "1:20")];
pub(super) const INK: &str = "#1d2730";
const OUTSIDE: &str = "#0b5fa5";
const INSIDE: &str = "#b3261e";

/// A drawing on paper.
pub(super) struct Paper {
    pub svg: String,
    pub scale: f64,
}

impl Paper {
    pub(super) fn line(&mut self, from: [f64; 2], to: [f64; 2], style: &str) {
        // Writing to a String cannot fail.
        let _ = writeln!(
            self.svg,
            "<path d=\"M{:.3} {:.3}L{:.3} {:.3}\" {style}/>",
            from[0], from[1], to[0], to[1]
        );
    }

    fn letter(&mut self, at: [f64; 2], letter: char, color: &str) {
        let _ = writeln!(
            self.svg,
            "<circle cx=\"{0:.3}\" cy=\"{1:.3}\" r=\"2.6\" fill=\"#ffffff\" stroke=\"{color}\" stroke-width=\"0.25\"/>\
             <text x=\"{0:.3}\" y=\"{2:.3}\" text-anchor=\"middle\" font-size=\"3.4\" fill=\"{color}\">{letter}</text>",
            at[0],
            at[1],
            at[1] + 1.2
        );
    }

    pub(super) fn words(&mut self, at: [f64; 2], size: f64, anchor: &str, words: &str) {
        let _ = writeln!(
            self.svg,
            "<text x=\"{:.3}\" y=\"{:.3}\" text-anchor=\"{anchor}\" font-size=\"{size}\" fill=\"{INK}\">{}</text>",
            at[0],
            at[1],
            svg::escaped(words)
        );
    }

    /// An arrow head with its tip at a place, pointing along a direction.
    fn head(&mut self, tip: [f64; 2], along: [f64; 2], color: &str) {
        let (back, side) = (2.2, 0.7);
        let corner = |way: f64| {
            [
                tip[0] - back * along[0] - way * side * along[1],
                tip[1] - back * along[1] + way * side * along[0],
            ]
        };
        let (a, b) = (corner(1.0), corner(-1.0));
        let _ = writeln!(
            self.svg,
            "<path d=\"M{:.3} {:.3}L{:.3} {:.3}L{:.3} {:.3}Z\" fill=\"{color}\"/>",
            tip[0], tip[1], a[0], a[1], b[0], b[1]
        );
    }

    /// Two arrows onto faces at `from` and `to`: from outside, or from within.
    pub(super) fn jaws(&mut self, from: [f64; 2], to: [f64; 2], is_outside: bool) {
        let length = (to[0] - from[0]).hypot(to[1] - from[1]).max(1e-9);
        let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
        let color = if is_outside { OUTSIDE } else { INSIDE };
        let style = format!("stroke=\"{color}\" stroke-width=\"0.35\" fill=\"none\"");
        let back = [-along[0], -along[1]];
        if is_outside {
            let away = |place: [f64; 2], way: f64| [place[0] + way * along[0], place[1] + way * along[1]];
            self.line(away(from, -7.0), away(from, -1.5), &style);
            self.line(away(to, 7.0), away(to, 1.5), &style);
            self.head(from, along, color);
            self.head(to, back, color);
        } else {
            self.line(from, to, &style);
            self.head(from, back, color);
            self.head(to, along, color);
        }
    }
}

/// The views of one piece as drawn, as SVG, and their scale in words.
pub fn svg(piece: &Piece, gauged: &[Gauged<'_>]) -> (String, &'static str) {
    let (paper, size, words) = views(piece, gauged);
    (framed(&paper.svg, size, &piece.name), words)
}

/// The same with the table of sizes and the print orientation below: a sheet that stands alone.
pub fn sheet(piece: &Piece, gauged: &[Gauged<'_>]) -> String {
    const LINE_MM: f64 = 5.0;
    const COLUMNS_MM: [f64; 6] = [4.0, 10.0, 78.0, 98.0, 120.0, 148.0];
    let (mut paper, [width, height], _) = views(piece, gauged);
    let mut y = height + LINE_MM;
    let mut row = |paper: &mut Paper, cells: [&str; 6]| {
        for (x, cell) in COLUMNS_MM.into_iter().zip(cells) {
            paper.words([x, y], 3.0, "start", cell);
        }
        y += LINE_MM;
    };
    row(&mut paper, ["", "size", "wanted", "drawn", "expected, 95 %", "caliper"]);
    for of in gauged {
        let dimension = of.dimension;
        let letter = of.letter.map_or(String::new(), String::from);
        let (wanted, drawn) = (format!("{:.3}", dimension.wanted_mm), format!("{:.3}", dimension.drawn_mm));
        let expected = of.expected();
        row(&mut paper, [&letter, &dimension.name, &wanted, &drawn, &expected, of.how]);
    }
    row(&mut paper, ["", &format!("On the bed: {}", piece.orientation), "", "", "", ""]);
    row(&mut paper, ["", "All sizes in mm. Blue arrows: large jaws. Red: inside jaws.", "", "", "", ""]);
    framed(&paper.svg, [width.max(SHEET_MM), y], &piece.name)
}

pub(super) fn framed(shapes: &str, [width, height]: [f64; 2], title: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.3}mm\" height=\"{height:.3}mm\" \
         viewBox=\"0 0 {width:.3} {height:.3}\" font-family=\"DejaVu Sans, sans-serif\">\n<title>{}</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n{shapes}</svg>\n",
        svg::escaped(title)
    )
}

/// Both views, how large they are together, and their scale.
fn views(piece: &Piece, gauged: &[Gauged<'_>]) -> (Paper, [f64; 2], &'static str) {
    let reach = piece.steps.iter().map(|step| step.side.reach_mm()).fold(0.0, f64::max);
    let largest = (2.0 * reach).max(piece.top_mm());
    let fitting = SCALES.into_iter().find(|(scale, _)| scale * largest <= VIEW_MM);
    let (scale, words) = fitting.unwrap_or(SCALES[SCALES.len() - 1]);
    let side = 2.0 * reach * scale;
    let height = side.max(piece.top_mm() * scale) + 2.0 * AROUND_MM + 8.0;
    let width = 2.0 * side + 4.0 * AROUND_MM;
    let mut paper = Paper { svg: String::new(), scale };
    let middle_y = 8.0 + AROUND_MM + side.max(piece.top_mm() * scale) / 2.0;
    section_view(&mut paper, piece, gauged, AROUND_MM + side / 2.0, middle_y);
    axial_view(&mut paper, piece, gauged, [3.0 * AROUND_MM + 1.5 * side, middle_y]);
    paper.words([2.0, 5.0], 4.0, "start", &format!("{}, drawn size, scale {words}", piece.name));
    paper.words([AROUND_MM + side / 2.0, height - 2.0], 3.2, "middle", "section through the axis, bed below");
    paper.words([3.0 * AROUND_MM + 1.5 * side, height - 2.0], 3.2, "middle", "along the axis, from the top");
    (paper, [width, height], words)
}

/// What a plane through the axis cuts between two heights: radii of the outside, below and above, and of the hollow.
struct Cut {
    name: &'static str,
    from_mm: f64,
    to_mm: f64,
    foot: f64,
    rim: f64,
    inner: f64,
}

/// The cuts from the bed up. What begins beside the plane, such as a nut's slot, leaves no line in it.
fn cuts(piece: &Piece) -> Vec<Cut> {
    let reach = |of: Option<&CurveLoop>| {
        of.and_then(|of| of.as_circle().map(|(_, diameter)| diameter / 2.0)).unwrap_or_else(|| {
            of.map_or(0.0, |of| of.corners.iter().map(|c| c.at[0].hypot(c.at[1])).fold(0.0, f64::max))
        })
    };
    let mut cuts: Vec<Cut> = Vec::new();
    for section in piece.sections() {
        let (from_mm, to_mm, name) = (section.from_mm, section.to_mm, section.name);
        let rim = reach(section.outline.loops.first());
        let foot = section.foot_radius_mm.unwrap_or(rim);
        let inner = reach(section.outline.loops.get(1));
        match cuts.last_mut() {
            Some(last) if (last.name, last.rim, last.inner) == (name, rim, inner) && foot == rim => {
                last.to_mm = to_mm;
            }
            _ => cuts.push(Cut { name, from_mm, to_mm, foot, rim, inner }),
        }
    }
    cuts
}

/// The piece cut through its axis.
fn section_view(paper: &mut Paper, piece: &Piece, gauged: &[Gauged<'_>], axis_x: f64, middle_y: f64) {
    let scale = paper.scale;
    let top = piece.top_mm();
    let bed_y = middle_y + top * scale / 2.0;
    let at = |radius: f64, z: f64| [axis_x + radius * scale, bed_y - z * scale];
    for Cut { from_mm, to_mm, foot, rim, inner, .. } in cuts(piece) {
        for way in [-1.0, 1.0] {
            let places = [(inner, from_mm), (foot, from_mm), (rim, to_mm), (inner, to_mm)];
            let places = places.map(|(radius, z)| at(way * radius, z));
            let words: Vec<String> = places.iter().map(|[x, y]| format!("{x:.3} {y:.3}")).collect();
            let _ = writeln!(
                paper.svg,
                "<path d=\"M{}Z\" fill=\"#e6ebef\" stroke=\"{INK}\" stroke-width=\"0.3\"/>",
                words.join("L")
            );
        }
    }
    let dashed = format!("stroke=\"{INK}\" stroke-width=\"0.2\" stroke-dasharray=\"4 1 0.6 1\"");
    paper.line([axis_x, at(0.0, top)[1] - 9.0], [axis_x, bed_y + 6.0], &dashed);
    let reach = piece.steps.iter().map(|step| step.side.reach_mm()).fold(0.0, f64::max);
    let bed = format!("stroke=\"{INK}\" stroke-width=\"0.6\"");
    paper.line([axis_x - reach * scale - 4.0, bed_y], [axis_x + reach * scale + 4.0, bed_y], &bed);
    // Letters of diameters in a column at the left, no two on one another.
    let mut free_y = f64::INFINITY;
    let letter_x = axis_x - reach * scale - 14.0;
    for of in gauged {
        let Some(letter) = of.letter else { continue };
        let drawn = of.dimension.drawn_mm;
        let named = piece.steps_from().find(|(_, step)| match step.side {
            Side::Teeth(_) => of.dimension.name == "outside diameter",
            _ => of.dimension.name == format!("{} diameter", step.name),
        });
        match (of.dimension.kind, named) {
            (Kind::Pin | Kind::Outer, Some((from, step))) => {
                let z = (from + step.to_mm) / 2.0;
                let (left, right) = (at(-drawn / 2.0, z), at(drawn / 2.0, z));
                paper.jaws(left, right, true);
                let y = left[1].min(free_y - 6.0);
                free_y = y;
                let thin = format!("stroke=\"{OUTSIDE}\" stroke-width=\"0.2\"");
                paper.line([letter_x + 2.6, y], [left[0] - 7.0, left[1]], &thin);
                paper.letter([letter_x, y], letter, OUTSIDE);
            }
            (Kind::Height, _) => {
                let x = axis_x + reach * scale + 12.0;
                let thin = format!("stroke=\"{INK}\" stroke-width=\"0.15\"");
                paper.line([axis_x + 1.0, at(0.0, drawn)[1]], [x + 2.0, at(0.0, drawn)[1]], &thin);
                paper.line([axis_x + 1.0, bed_y], [x + 2.0, bed_y], &thin);
                paper.jaws([x, bed_y], [x, at(0.0, drawn)[1]], true);
                paper.letter([x + 5.0, (bed_y + at(0.0, drawn)[1]) / 2.0], letter, OUTSIDE);
            }
            _ => {}
        }
    }
}

/// The piece seen along its axis: the section of the teeth over all others, and its holes.
fn axial_view(paper: &mut Paper, piece: &Piece, gauged: &[Gauged<'_>], center: [f64; 2]) {
    let scale = paper.scale;
    let sections = piece.sections();
    let has_teeth =
        |name: &str| piece.steps.iter().any(|step| step.name == name && matches!(step.side, Side::Teeth(_)));
    let mut seen = Vec::new();
    for section in sections.iter().filter(|section| section.foot_radius_mm.is_none()) {
        if seen.contains(&&section.outline) {
            continue;
        }
        seen.push(&section.outline);
        let is_teeth = has_teeth(section.name);
        let (fill, width) = if is_teeth { ("#e6ebef", 0.3) } else { ("none", 0.2) };
        let _ = writeln!(
            paper.svg,
            "<path transform=\"translate({:.3} {:.3}) scale({scale})\" d=\"{}\" fill=\"{fill}\" fill-rule=\"evenodd\" \
             stroke=\"{INK}\" stroke-width=\"{:.3}\"/>",
            center[0],
            center[1],
            svg::path(&section.outline),
            width / scale
        );
    }
    let at = |[x, y]: [f64; 2]| [center[0] + x * scale, center[1] - y * scale];
    let hidden = format!("stroke=\"{INK}\" stroke-width=\"0.2\" stroke-dasharray=\"1.5 1\" fill=\"none\"");
    for [from, to] in hidden_lines(piece) {
        paper.line(at(from), at(to), &hidden);
    }
    // Letters of what lies inside in a column at the right.
    let reach = piece.steps.iter().map(|step| step.side.reach_mm()).fold(0.0, f64::max) * scale;
    let is_inside = |of: &&Gauged<'_>| {
        matches!(of.dimension.kind, Kind::Bore | Kind::Gap | Kind::HorizontalBore) && of.letter.is_some()
    };
    for (index, of) in gauged.iter().filter(is_inside).enumerate() {
        let Some(letter) = of.letter else { continue };
        let half = of.dimension.drawn_mm / 2.0 * scale;
        let mut place = at(target(piece, &of.dimension.name, of.dimension.drawn_mm));
        if of.dimension.kind == Kind::Bore && of.dimension.name == "bore" {
            paper.jaws([center[0] - half, center[1]], [center[0] + half, center[1]], false);
        } else if of.dimension.name.starts_with("bore across")
            || of.dimension.name.starts_with("key slot bottom")
        {
            // From the round at the front to the flat at the back.
            let front = center[1] + piece.bore.size_mm() / 2.0 * scale;
            let front = if of.dimension.is_one_kind { center[1] + half } else { front };
            paper.jaws([center[0], front], [center[0], front - 2.0 * half], false);
            place = [center[0], front - 2.0 * half];
        }
        let thin = format!("stroke=\"{INSIDE}\" stroke-width=\"0.2\"");
        let letter_at = [center[0] + reach + 12.0, center[1] - 7.0 * index as f64];
        paper.line(place, [letter_at[0] - 2.6, letter_at[1]], &thin);
        paper.letter(letter_at, letter, INSIDE);
    }
}

/// Where a size that lies inside is pointed at, seen along the axis, mm.
fn target(piece: &Piece, name: &str, size_mm: f64) -> [f64; 2] {
    if let Some(screws) = &piece.set_screws
        && let Some(angle) = screws.directions_rad.first()
    {
        let along = |far: f64, beside: f64| {
            let (sin, cos) = angle.sin_cos();
            [far * cos + beside * sin, far * sin - beside * cos]
        };
        if name.starts_with("set screw") {
            return along(piece.bore.reach_mm() * 1.2, screws.diameter_mm / 2.0);
        }
        if let Some(slot) = screws.nut.filter(|_| name.starts_with("nut slot")) {
            let beside = if name.contains("along") { 0.0 } else { slot.width_mm / 2.0 };
            return along(slot.from_axis_mm + slot.thickness_mm / 2.0, beside);
        }
    }
    let hole = piece.holes.iter().find(|hole| name.starts_with(hole.name)).and_then(|hole| {
        let [x, y] = hole.centres().next()?;
        Some([x + hole.diameter_mm / 2.0, y])
    });
    hole.unwrap_or([size_mm / 2.0, 0.0])
}

/// Set screws and their nuts, seen through the plastic along the axis.
fn hidden_lines(piece: &Piece) -> Vec<[[f64; 2]; 2]> {
    let Some(screws) = &piece.set_screws else { return Vec::new() };
    let outer = piece
        .steps_from()
        .find(|(_, step)| screws.height_mm < step.to_mm)
        .map_or(0.0, |(_, step)| step.side.reach_mm());
    let mut lines = Vec::new();
    for angle in &screws.directions_rad {
        let (sin, cos) = angle.sin_cos();
        let along = |far: f64, beside: f64| [far * cos + beside * sin, far * sin - beside * cos];
        let half = screws.diameter_mm / 2.0;
        lines.extend([-half, half].map(|beside| [along(0.0, beside), along(outer, beside)]));
        if let Some(slot) = &screws.nut {
            let (near, far, side) =
                (slot.from_axis_mm, slot.from_axis_mm + slot.thickness_mm, slot.width_mm / 2.0);
            let corners = [along(near, -side), along(far, -side), along(far, side), along(near, side)];
            lines.extend((0..4).map(|i| [corners[i], corners[(i + 1) % 4]]));
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parts::build::recess::End;
    use crate::parts::pulley::Design;
    use crate::parts::pulley_request::{Build, Flanges, Hub, Request, ScrewsAsked};
    use crate::units::Mm;

    #[test]
    fn a_nuts_slot_beside_the_cut_leaves_no_line_in_it() {
        let build = Build {
            hubs: vec![Hub { end: End::Top, diameter_mm: 22.0, length_mm: 9.0 }],
            set_screws: Some(ScrewsAsked { count: 1, hole_mm: 3.4, nut_mm: Some((5.6, 2.5)) }),
            ..Build::default()
        };
        let request = Request {
            belt: "T5".to_owned(),
            teeth: 24,
            bore: Mm::new(5.0).unwrap(),
            flanges: Flanges::Two,
            belt_width: None,
            allow_few_teeth: false,
            build,
        };
        let design = Design::new(&request, None).unwrap();
        let piece = &design.drawn_pieces[0];
        let names: Vec<&str> = cuts(piece).iter().map(|cut| cut.name).collect();
        assert_eq!(names, ["lower flange", "face", "cone", "upper flange", "upper hub"]);
        // The slot is a section of its own.
        assert_eq!(piece.sections().len(), 6);
    }
}
