//! Belt teeth in their grooves, enlarged: the first, the middle and the last tooth in mesh on either pulley.
//!
//! A row for each pulley in each state worth seeing: as wanted, as printed at the large end, and drawn without
//! correction. Each panel is one groove, to scale, with the play that is left beside the tooth.
//!
//! Source of the colours: Okabe and Ito, Color Universal Design, 2008.

use std::fmt::Write as _;

use crate::belt::groove::Groove;
use crate::belt::tooth::{AS_PUBLISHED_MM, BeltTooth, Hung};
use crate::belt::walls::{Point, chord_counts, turned};
use crate::font;

use super::arrangement::Arrangement;
use super::mesh::{Mesh, MeshedTooth};
use super::meshed::{Meshed, State};

/// Side of a panel, and paper about it, mm.
const PANEL_MM: f64 = 56.0;
const GAP_MM: f64 = 4.0;
const HEAD_MM: f64 = 20.0;
/// Lettering under a panel, mm.
const CAPTION_MM: f64 = 17.0;
const CHORD_ERROR_MM: f64 = 1e-3;

const PLASTIC: &str = "fill='#e6e6e6' stroke='#222222' stroke-width='0.3'";
const TOOTH: &str = "fill='#56B4E9' fill-opacity='0.55' stroke='#0072B2' stroke-width='0.35'";
const JAMMED: &str =
    "fill='#D55E00' fill-opacity='0.45' stroke='#D55E00' stroke-width='0.5' stroke-dasharray='1.6 0.8'";

/// The picture, as SVG; 25 mm and more of paper to a pitch.
pub fn svg(arrangement: &Arrangement, all: &[Meshed]) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut text, arrangement, all);
    text
}

fn write(out: &mut String, arrangement: &Arrangement, all: &[Meshed]) -> std::fmt::Result {
    let worth_seeing = |meshed: &&Meshed| !matches!(meshed.state, State::Printed | State::PrintedSmall);
    let shown: Vec<&Meshed> = all.iter().filter(worth_seeing).collect();
    let profile = arrangement.drive.profile;
    let Some(tooth) = BeltTooth::of(profile) else { return Ok(()) };
    let width = 3.0 * PANEL_MM + 4.0 * GAP_MM;
    let row = PANEL_MM * 0.62 + CAPTION_MM;
    let height = HEAD_MM + 2.0 * shown.len() as f64 * row + GAP_MM;
    let title = format!(
        "{} drive, {} and {} teeth: belt teeth in their grooves",
        profile.name, arrangement.drive.small_teeth, arrangement.drive.large_teeth
    );
    let scale = PANEL_MM / (1.5 * profile.pitch_mm);
    writeln!(
        out,
        "<svg xmlns='http://www.w3.org/2000/svg' width='{width}mm' height='{height:.2}mm' \
         viewBox='0 0 {width} {height:.2}' font-family='DejaVu Sans, sans-serif' font-size='3' fill='#222222' \
         stroke-linejoin='round'>\n<title>{title}</title>\n{}\n\
         <rect width='{width}' height='{height:.2}' fill='#ffffff'/>\n\
         <text x='{GAP_MM}' y='7' font-size='4' font-weight='bold'>{title}</text>\n\
         <text x='{GAP_MM}' y='13'>{scale:.1} times as large as life; plays in mm, below 0 the tooth does not go \
         in. The belt runs to the left.</text>",
        font::style()
    )?;
    let mut top = HEAD_MM;
    for meshed in shown {
        for at in [0, 1] {
            write_row(out, meshed, at, tooth, scale, top)?;
            top += row;
        }
    }
    writeln!(out, "</svg>")
}

fn write_row(
    out: &mut String,
    meshed: &Meshed,
    at: usize,
    tooth: BeltTooth,
    scale: f64,
    top: f64,
) -> std::fmt::Result {
    let (groove, mesh) = (&meshed.grooves[at], &meshed.meshes[at]);
    let count = mesh.teeth.len();
    let mut columns = vec![0, count / 2, count - 1];
    columns.dedup();
    for (column, index) in columns.into_iter().enumerate() {
        let left = GAP_MM + column as f64 * (PANEL_MM + GAP_MM);
        let frame = Frame { left, top, scale, radius: groove.outside_radius_mm };
        write_panel(out, &frame, groove, &mesh.teeth[index], tooth)?;
        write_caption(out, &frame, meshed.state, groove.teeth, mesh, index)?;
    }
    Ok(())
}

struct Frame {
    left: f64,
    top: f64,
    scale: f64,
    radius: f64,
}

impl Frame {
    fn height(&self) -> f64 {
        PANEL_MM * 0.62
    }

    /// The tips stand a fifth of the panel below its top.
    fn at(&self, (x, y): Point) -> Point {
        (
            self.left + PANEL_MM / 2.0 + self.scale * x,
            self.top + 0.2 * self.height() - self.scale * (y - self.radius),
        )
    }

    fn path(&self, points: &[Point]) -> String {
        let mut path = String::new();
        for point in points {
            let (x, y) = self.at(*point);
            let _ = write!(path, "{}{x:.3} {y:.3}", if path.is_empty() { "M" } else { "L" });
        }
        path + "Z"
    }
}

fn write_panel(
    out: &mut String,
    frame: &Frame,
    groove: &Groove,
    meshed: &MeshedTooth,
    tooth: BeltTooth,
) -> std::fmt::Result {
    let (left, top, height) = (frame.left, frame.top, frame.height());
    let id = format!("p{:.0}-{:.0}", left, top);
    writeln!(
        out,
        "<clipPath id='{id}'><rect x='{left:.2}' y='{top:.2}' width='{PANEL_MM}' height='{height:.2}'/></clipPath>\n\
         <g clip-path='url(#{id})'>"
    )?;
    let counts = chord_counts(&groove.walls(), CHORD_ERROR_MM);
    // The whole pulley, of which the panel shows one groove.
    writeln!(out, "<path d='{}' {PLASTIC}/>", frame.path(&groove.corners(&counts)))?;
    let style = if meshed.play.least().0 < -AS_PUBLISHED_MM { JAMMED } else { TOOTH };
    let outline: Vec<Point> = tooth
        .outline(groove.outside_radius_mm, Hung::in_groove(groove))
        .into_iter()
        .map(|point| turned(point, meshed.ahead_rad))
        .collect();
    writeln!(out, "<path d='{}' {style}/>\n</g>", frame.path(&outline))?;
    writeln!(
        out,
        "<rect x='{left:.2}' y='{top:.2}' width='{PANEL_MM}' height='{height:.2}' fill='none' stroke='#777777' \
         stroke-width='0.2'/>"
    )
}

fn write_caption(
    out: &mut String,
    frame: &Frame,
    state: State,
    pulley_teeth: u32,
    mesh: &Mesh,
    index: usize,
) -> std::fmt::Result {
    let play = mesh.teeth[index].play;
    let lines = [
        state.words().to_owned(),
        format!("tooth {} of {} on the pulley of {pulley_teeth}", index + 1, mesh.teeth.len()),
        format!(
            "leading {:.3}, trailing {:.3}, crest {:.3}",
            play.leading_mm, play.trailing_mm, play.crest_mm
        ),
    ];
    for (line, words) in lines.iter().enumerate() {
        let y = frame.top + frame.height() + 4.0 * (line + 1) as f64;
        writeln!(out, "<text x='{:.2}' y='{y:.2}' font-size='2.6'>{words}</text>", frame.left)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::rack::Flank;
    use crate::drive::layout::{Drive, belt_profile};

    #[test]
    fn each_pulley_has_its_first_its_middle_and_its_last_tooth() {
        let drive = Drive::new(belt_profile("T5").unwrap(), [20, 40], 100).unwrap();
        let arrangement = Arrangement::open(drive).unwrap();
        let svg = svg(&arrangement, &arrangement.meshed(Flank::Straight, None).unwrap());
        assert_eq!(svg.matches("<clipPath").count(), 6);
        for caption in
            ["tooth 1 of 9 on the pulley of 20", "tooth 5 of 9 on", "tooth 21 of 21 on the pulley of 40"]
        {
            assert!(svg.contains(caption), "{caption}");
        }
        assert_eq!(svg.matches(">as wanted<").count(), 6);
        assert!(!svg.contains("#D55E00"));
        assert!(svg.contains(">leading 0.064, trailing 0.064, crest 0.050<"));
    }
}
