//! A picture of one groove and its neighbours' tips, to scale: wanted, drawn and printed outlines.
//!
//! The three differ by dash pattern and width as well as by colour, so that the picture reads in black
//! and white; the colours are of a set that colour-blind people tell apart. The wanted outline is a broad
//! pale band, so that the printed one can be seen to run in the middle of it.
//!
//! Source of the colours: Okabe and Ito, Color Universal Design, 2008.

use std::fmt::Write as _;

use crate::belt::groove::Groove;
use crate::belt::walls::{Point, Shape, Wall, chord_counts, turned};
use crate::font;

use super::pulley::Design;
use super::pulley_check::printed_pitch;

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 640.0;
/// The part of the picture that the outlines may fill.
const FRAME: [f64; 4] = [30.0, 96.0, 900.0, 430.0];
const WANTED: &str = "fill='none' stroke='#E69F00' stroke-width='7' stroke-opacity='0.55'";
const DRAWN: &str = "fill='none' stroke='#0072B2' stroke-width='2' stroke-dasharray='12 5'";
const PRINTED: &str = "fill='none' stroke='#000000' stroke-width='1.6' stroke-dasharray='2 4'";

/// Millimetres to points of the picture.
struct View {
    scale: f64,
    middle: Point,
}

impl View {
    fn of(groove: &Groove) -> Self {
        let half_width = groove.outside_radius_mm * (1.55 * groove.half_pitch_rad()).sin();
        let (low, high) =
            (groove.floor_mm - 0.45 * groove.depth_mm(), groove.outside_radius_mm + 0.4 * groove.depth_mm());
        let scale = (FRAME[2] / (2.0 * half_width)).min(FRAME[3] / (high - low));
        Self { scale, middle: (0.0, (low + high) / 2.0) }
    }

    fn at(&self, (x, y): Point) -> Point {
        (
            FRAME[0] + FRAME[2] / 2.0 + self.scale * (x - self.middle.0),
            FRAME[1] + FRAME[3] / 2.0 - self.scale * (y - self.middle.1),
        )
    }
}

/// The picture, as SVG.
pub fn svg(design: &Design) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut text, design);
    text
}

fn write(out: &mut String, design: &Design) -> std::fmt::Result {
    let (wanted, drawn) = (&design.wanted.groove, &design.drawn.groove);
    let view = View::of(wanted);
    let [left, top, width, height] = FRAME;
    writeln!(
        out,
        "<svg xmlns='http://www.w3.org/2000/svg' width='{WIDTH}' height='{HEIGHT}' viewBox='0 0 {WIDTH} {HEIGHT}' \
         font-family='DejaVu Sans, sans-serif' font-size='15' fill='#222222'>"
    )?;
    let title =
        format!("{} pulley, {} teeth: one groove, to scale", design.pulley.profile.name, wanted.teeth);
    writeln!(
        out,
        "<title>{title}</title>\n{}\n<rect width='{WIDTH}' height='{HEIGHT}' fill='#ffffff'/>",
        font::style()
    )?;
    writeln!(out, "<text x='{left}' y='34' font-size='20' font-weight='bold'>{title}</text>")?;
    write_legend(out, design)?;
    writeln!(
        out,
        "<clipPath id='frame'><rect x='{left}' y='{top}' width='{width}' height='{height}'/></clipPath>"
    )?;
    writeln!(out, "<g clip-path='url(#frame)' stroke-linejoin='round'>")?;
    let outline = exact_path(wanted, &view);
    let (_, bottom) = view.at((0.0, 0.0));
    let (from, to) =
        (view.at((-wanted.outside_radius_mm, 0.0)).0, view.at((wanted.outside_radius_mm, 0.0)).0);
    writeln!(out, "<path d='{outline} L {from:.2} {bottom:.2} L {to:.2} {bottom:.2} Z' fill='#f3f3f3'/>")?;
    write_outside_circle(out, wanted, &view)?;
    writeln!(out, "<path d='{outline}' {WANTED}/>")?;
    if let Some(law) = &design.law {
        writeln!(out, "<path d='{}' {DRAWN}/>", exact_path(drawn, &view))?;
        let counts = chord_counts(&drawn.walls(), 1e-3);
        writeln!(out, "<path d='{}' {PRINTED}/>", printed_path(drawn, &counts, law, &view))?;
    }
    writeln!(out, "</g>")?;
    write_dimensions(out, design, &view)?;
    write_scale_bar(out, &view)?;
    write_orientation(out, design)?;
    writeln!(out, "</svg>")
}

/// Three pitches of exact lines and arcs, right to left.
fn exact_path(groove: &Groove, view: &View) -> String {
    let mut path = String::new();
    for turn in [-1.0, 0.0, 1.0] {
        for wall in groove.walls().iter().flat_map(Wall::parts).flatten() {
            let wall = wall.turned(turn * 2.0 * groove.half_pitch_rad());
            let ((x0, y0), (x1, y1)) = (view.at(wall.at(0.0).0), view.at(wall.at(1.0).0));
            if path.is_empty() {
                let _ = write!(path, "M {x0:.2} {y0:.2}");
            }
            match wall.shape {
                Shape::Line { .. } => {
                    let _ = write!(path, " L {x1:.2} {y1:.2}");
                }
                Shape::Rolled { .. } => {
                    let count = wall.chords(1e-3);
                    for i in 1..=count {
                        let (x, y) = view.at(wall.at(i as f64 / count as f64).0);
                        let _ = write!(path, " L {x:.2} {y:.2}");
                    }
                }
                Shape::Arc { radius, from_rad, to_rad, .. } => {
                    let (radius, hollow) = (radius * view.scale, u8::from(to_rad < from_rad));
                    let _ = write!(path, " A {radius:.2} {radius:.2} 0 0 {hollow} {x1:.2} {y1:.2}");
                }
            }
        }
    }
    path
}

fn printed_path(
    drawn: &Groove,
    counts: &[usize; 8],
    law: &super::pulley_law::WallLaw,
    view: &View,
) -> String {
    let pitch = printed_pitch(drawn, counts, law);
    let mut path = String::new();
    for turn in [-1.0, 0.0, 1.0] {
        for point in &pitch {
            let (x, y) = view.at(turned(*point, turn * 2.0 * drawn.half_pitch_rad()));
            let _ = write!(path, "{} {x:.2} {y:.2}", if path.is_empty() { "M" } else { " L" });
        }
    }
    path
}

fn write_legend(out: &mut String, design: &Design) -> std::fmt::Result {
    let entries: &[(&str, &str)] = if design.law.is_some() {
        &[(WANTED, "wanted"), (DRAWN, "drawn"), (PRINTED, "printed, as predicted")]
    } else {
        &[(WANTED, "wanted and drawn (no correction)")]
    };
    let mut x = FRAME[0];
    for (style, word) in entries {
        writeln!(out, "<path d='M {x} 62 h 70' {style}/>\n<text x='{}' y='67'>{word}</text>", x + 80.0)?;
        x += 120.0 + 9.0 * word.len() as f64;
    }
    Ok(())
}

fn write_outside_circle(out: &mut String, groove: &Groove, view: &View) -> std::fmt::Result {
    let corner = groove.outer_corner();
    let ((x0, y0), (x1, y1)) = (view.at(corner), view.at((-corner.0, corner.1)));
    let radius = groove.outside_radius_mm * view.scale;
    writeln!(
        out,
        "<path d='M {x0:.2} {y0:.2} A {radius:.2} {radius:.2} 0 0 0 {x1:.2} {y1:.2}' fill='none' stroke='#777777' \
         stroke-width='1'/>"
    )
}

fn write_dimensions(out: &mut String, design: &Design, view: &View) -> std::fmt::Result {
    let (wanted, drawn) = (&design.wanted.groove, &design.drawn.groove);
    let corner = wanted.outer_corner();
    let words = |wanted: f64, drawn: f64| {
        if design.law.is_some() {
            format!("wanted {wanted:.3} mm, drawn {drawn:.3} mm")
        } else {
            format!("{wanted:.3} mm")
        }
    };
    // Width at the outside diameter, above the tips.
    let ((x0, y0), (x1, _)) = (view.at((-corner.0, corner.1)), view.at(corner));
    let y = view.at((0.0, wanted.outside_radius_mm)).1 - 42.0;
    for x in [x0, x1] {
        writeln!(out, "<path d='M {x:.2} {:.2} V {:.2}' stroke='#777777'/>", y0 - 5.0, y - 6.0)?;
    }
    arrows(out, (x0, y), (x1, y))?;
    let label =
        format!("width at outside diameter: {}", words(wanted.outer_width_mm(), drawn.outer_width_mm()));
    writeln!(
        out,
        "<text x='{:.2}' y='{:.2}' text-anchor='middle'>{label}</text>",
        (x0 + x1) / 2.0,
        y - 10.0
    )?;
    // Depth, in the middle of the groove.
    let (top, floor) = (view.at((0.0, wanted.outside_radius_mm)), view.at((0.0, wanted.floor_mm)));
    arrows(out, top, floor)?;
    let label = words(wanted.depth_mm(), drawn.depth_mm());
    // Below whichever floor lies lower.
    let y = floor.1.max(view.at((0.0, drawn.floor_mm)).1) + 28.0;
    writeln!(out, "<text x='{:.2}' y='{y:.2}' text-anchor='middle'>depth: {label}</text>", floor.0)?;
    let y = FRAME[1] + FRAME[3] + 26.0;
    let outside = words(2.0 * wanted.outside_radius_mm, 2.0 * drawn.outside_radius_mm);
    writeln!(out, "<text x='{}' y='{y}'>outside diameter: {outside}</text>", FRAME[0])?;
    if let Some(deviation) = design.deviation_mm {
        writeln!(
            out,
            "<text x='{}' y='{}'>predicted print within {deviation:.4} mm of the wanted outline</text>",
            FRAME[0],
            y + 22.0
        )?;
    }
    Ok(())
}

/// A line with an arrow head at either end.
fn arrows(out: &mut String, from: Point, to: Point) -> std::fmt::Result {
    writeln!(
        out,
        "<path d='M {:.2} {:.2} L {:.2} {:.2}' stroke='#222222' fill='none'/>",
        from.0, from.1, to.0, to.1
    )?;
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy).max(1e-9);
    let (ux, uy) = (8.0 * dx / length, 8.0 * dy / length);
    for (x, y, sign) in [(from.0, from.1, 1.0), (to.0, to.1, -1.0)] {
        let (bx, by) = (x + sign * ux, y + sign * uy);
        writeln!(
            out,
            "<path d='M {x:.2} {y:.2} L {:.2} {:.2} L {:.2} {:.2} Z'/>",
            bx - uy * 0.35,
            by + ux * 0.35,
            bx + uy * 0.35,
            by - ux * 0.35
        )?;
    }
    Ok(())
}

/// How each piece is laid on the bed.
fn write_orientation(out: &mut String, design: &Design) -> std::fmt::Result {
    let mut y = FRAME[1] + FRAME[3] + 70.0;
    for piece in &design.drawn_pieces {
        // What stands behind the teeth in the name says which piece it is.
        let which = piece.name.rsplit_once(", ").map_or("", |(_, which)| which);
        let which = if design.drawn_pieces.len() > 1 { format!("{which}: ") } else { String::new() };
        writeln!(out, "<text x='{}' y='{y}' font-size='13'>{which}{}</text>", FRAME[0], piece.orientation)?;
        y += 20.0;
    }
    Ok(())
}

fn write_scale_bar(out: &mut String, view: &View) -> std::fmt::Result {
    // The longest round length that stays short.
    let lengths = [10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1];
    let mm = lengths.into_iter().find(|mm| mm * view.scale <= 200.0).unwrap_or(0.1);
    let (x1, y) = (FRAME[0] + FRAME[2], FRAME[1] + FRAME[3] + 34.0);
    let x0 = x1 - mm * view.scale;
    writeln!(
        out,
        "<path d='M {x0:.2} {:.2} v 12 M {x1:.2} {:.2} v 12' stroke='#222222'/>",
        y - 6.0,
        y - 6.0
    )?;
    writeln!(out, "<path d='M {x0:.2} {y:.2} L {x1:.2} {y:.2}' stroke='#222222' stroke-width='2'/>")?;
    writeln!(out, "<text x='{:.2}' y='{:.2}' text-anchor='middle'>{mm} mm</text>", (x0 + x1) / 2.0, y + 22.0)
}
