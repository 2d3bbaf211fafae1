//! The drive drawn to scale: one unit of the picture is one millimetre, so that it prints 1:1.
//!
//! Pulleys with their teeth where these are published, pitch circles, flanges, the belt with its teeth and back,
//! idler, motor, and the box that all of it takes or must keep. Kinds of line differ by dash pattern and width
//! as well as by colour; a bar of 50 mm shows whether a printer kept the scale.
//!
//! Source of the colours: Okabe and Ito, Color Universal Design, 2008.

use std::fmt::Write as _;

use crate::belt::groove::Groove;
use crate::belt::tooth::{BeltTooth, Hung};
use crate::belt::walls::{Point, chord_counts, turned};
use crate::font;

use super::arrangement::Arrangement;
use super::bounds::Room;
use super::layout::{Surroundings, back_outside_line_mm, line_above_land_mm};
use super::meshed::Meshed;
use super::path::{BeltPath, Side};

/// Empty paper round the drive, mm; below and above there is lettering.
const MARGIN_MM: f64 = 8.0;
const HEAD_MM: f64 = 13.0;
const FOOT_MM: f64 = 26.0;
/// Narrowest paper that the lettering fits on, mm.
const LEAST_WIDTH_MM: f64 = 120.0;
/// Chords of outlines keep within this, mm: finer than any printer.
const CHORD_ERROR_MM: f64 = 0.01;

const BELT: &str = "fill='none' stroke='#0072B2' stroke-width='0.5'";
const BACK: &str = "fill='none' stroke='#0072B2' stroke-width='0.2'";
const PITCH: &str = "fill='none' stroke='#D55E00' stroke-width='0.25' stroke-dasharray='3 0.8 0.6 0.8'";
const FLANGE: &str = "fill='none' stroke='#444444' stroke-width='0.3' stroke-dasharray='1.5 0.8'";
const MOTOR: &str = "fill='none' stroke='#009E73' stroke-width='0.4' stroke-dasharray='4 1.2'";
const BOX: &str = "fill='none' stroke='#CC79A7' stroke-width='0.3' stroke-dasharray='0.5 0.8'";
const PLASTIC: &str = "fill='#eeeeee' stroke='#222222' stroke-width='0.2'";
const THIN: &str = "fill='none' stroke='#222222' stroke-width='0.15'";

/// What is drawn.
pub struct Picture<'a> {
    /// The drive.
    pub arrangement: &'a Arrangement,
    /// What stands beside the belt.
    pub surroundings: &'a Surroundings,
    /// The box that the drive must keep, where there is one.
    pub room: Option<Room>,
    /// The pulleys as wanted, with the phases in which they mesh.
    pub meshed: Option<&'a Meshed>,
}

struct View {
    left: f64,
    top: f64,
}

impl View {
    fn at(&self, (x, y): Point) -> Point {
        (x - self.left, self.top - y)
    }
}

impl Picture<'_> {
    /// As SVG.
    pub fn svg(&self) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text);
        text
    }

    /// The corners of the box: the room where one is given, round the drive, else what the drive takes.
    fn bounds(&self) -> [Point; 2] {
        let [low, high] = self.arrangement.corners_mm(self.surroundings);
        let Some(room) = self.room else { return [low, high] };
        let (length, height) = (high.0 - low.0, high.1 - low.1);
        // Whichever way round it fits; along the line of centres where it fits neither way.
        let fits = |along: f64, across: f64| length <= along + 1e-6 && height <= across + 1e-6;
        let (along, across) = if !fits(room.width_mm, room.height_mm) && fits(room.height_mm, room.width_mm) {
            (room.height_mm, room.width_mm)
        } else {
            (room.width_mm, room.height_mm)
        };
        let middle = ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0);
        [(middle.0 - along / 2.0, middle.1 - across / 2.0), (middle.0 + along / 2.0, middle.1 + across / 2.0)]
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let arrangement = self.arrangement;
        let drive = &arrangement.drive;
        let [low, high] = self.bounds();
        let [drive_low, drive_high] = arrangement.corners_mm(self.surroundings);
        let (low, high) = (
            (low.0.min(drive_low.0), low.1.min(drive_low.1)),
            (high.0.max(drive_high.0), high.1.max(drive_high.1)),
        );
        let width = (high.0 - low.0 + 2.0 * MARGIN_MM).max(LEAST_WIDTH_MM);
        let height = high.1 - low.1 + 2.0 * MARGIN_MM + HEAD_MM + FOOT_MM;
        let view = View { left: (low.0 + high.0 - width) / 2.0, top: high.1 + MARGIN_MM + HEAD_MM };
        let title = format!(
            "{} drive, {} and {} teeth, belt of {}: scale 1:1",
            drive.profile.name, drive.small_teeth, drive.large_teeth, drive.belt_teeth
        );
        writeln!(
            out,
            "<svg xmlns='http://www.w3.org/2000/svg' width='{width:.3}mm' height='{height:.3}mm' \
             viewBox='0 0 {width:.3} {height:.3}' font-family='DejaVu Sans, sans-serif' font-size='3' \
             fill='#222222' stroke-linejoin='round'>\n<title>{title}</title>\n{}\n\
             <rect width='{width:.3}' height='{height:.3}' fill='#ffffff'/>",
            font::style()
        )?;
        writeln!(out, "<text x='4' y='7' font-size='4' font-weight='bold'>{title}</text>")?;
        self.write_box(out, &view)?;
        self.write_pulleys(out, &view)?;
        self.write_motor_and_idler(out, &view)?;
        self.write_belt(out, &view)?;
        self.write_centres(out, &view)?;
        self.write_legend(out, height)?;
        writeln!(out, "</svg>")
    }

    fn write_box(&self, out: &mut String, view: &View) -> std::fmt::Result {
        let [low, high] = self.bounds();
        let (x, y) = view.at((low.0, high.1));
        let (width, height) = (high.0 - low.0, high.1 - low.1);
        writeln!(out, "<rect x='{x:.3}' y='{y:.3}' width='{width:.3}' height='{height:.3}' {BOX}/>")
    }

    fn write_pulleys(&self, out: &mut String, view: &View) -> std::fmt::Result {
        let drive = &self.arrangement.drive;
        let beyond = self.surroundings.beyond_line_mm(drive.profile);
        for (at, pitch_mm) in [drive.open.small_mm, drive.open.large_mm].into_iter().enumerate() {
            let centre = self.arrangement.path.arcs[at].wheel.centre;
            match self.meshed {
                Some(meshed) => {
                    let outline = pulley_outline(&meshed.grooves[at], meshed.meshes[at].phase_rad, centre);
                    writeln!(out, "<path d='{}' {PLASTIC}/>", path_of(&outline, view))?;
                }
                None => circle(out, view, centre, pitch_mm / 2.0 - drive.profile.two_a_mm / 2.0, PLASTIC)?,
            }
            circle(out, view, centre, pitch_mm / 2.0, PITCH)?;
            if self.surroundings.flanges {
                circle(out, view, centre, pitch_mm / 2.0 + beyond, FLANGE)?;
            }
        }
        Ok(())
    }

    fn write_motor_and_idler(&self, out: &mut String, view: &View) -> std::fmt::Result {
        if let Some(motor) = self.surroundings.motor_mm {
            circle(out, view, (0.0, 0.0), motor / 2.0, MOTOR)?;
        }
        if let Some((_, placed)) = &self.arrangement.idler {
            circle(out, view, placed.wheel.centre, placed.rim_mm / 2.0, PLASTIC)?;
            circle(out, view, placed.wheel.centre, placed.wheel.radius_mm, PITCH)?;
        }
        Ok(())
    }

    fn write_belt(&self, out: &mut String, view: &View) -> std::fmt::Result {
        let (profile, path) = (self.arrangement.drive.profile, &self.arrangement.path);
        writeln!(out, "<path d='{}' {BELT}/>", along_belt(path, 0.0, view))?;
        writeln!(out, "<path d='{}' {BACK}/>", along_belt(path, back_outside_line_mm(profile), view))?;
        let land = line_above_land_mm(profile);
        writeln!(out, "<path d='{}' {BACK}/>", along_belt(path, -land, view))?;
        let Some(tooth) = BeltTooth::of(profile) else { return Ok(()) };
        // A tooth as it is on a straight belt, at the origin, its root along x.
        const STRAIGHT_MM: f64 = 1e6;
        let outline: Vec<Point> = tooth
            .outline(STRAIGHT_MM, Hung::ByCorners)
            .into_iter()
            .map(|(x, y)| (x, y - STRAIGHT_MM - land))
            .collect();
        let zero = path.arcs[0].middle_mm();
        let mut teeth = String::new();
        for index in 0..self.arrangement.drive.belt_teeth {
            let ((x, y), direction) = path.at(zero + f64::from(index) * profile.pitch_mm);
            // The belt's inside is on the left of its way: a tooth that hangs down in its own frame is turned
            // half round.
            let place = |point: &Point| {
                let (dx, dy) = turned(*point, direction + std::f64::consts::PI);
                (x + dx, y + dy)
            };
            let placed: Vec<Point> = outline.iter().map(place).collect();
            teeth += &path_of(&placed, view);
        }
        writeln!(out, "<path d='{teeth}' {BACK}/>")
    }

    fn write_centres(&self, out: &mut String, view: &View) -> std::fmt::Result {
        for arc in &self.arrangement.path.arcs {
            let (x, y) = view.at(arc.wheel.centre);
            writeln!(out, "<path d='M {:.3} {y:.3} h 6 M {x:.3} {:.3} v 6' {THIN}/>", x - 3.0, y - 3.0)?;
        }
        // Beneath everything, where no belt runs through it.
        let arrangement = self.arrangement;
        let bottom = self.bounds()[0].1.min(arrangement.corners_mm(self.surroundings)[0].1);
        let ((x0, axis), (x1, _)) = (view.at((0.0, 0.0)), view.at((arrangement.centre_mm, 0.0)));
        let (_, y) = view.at((0.0, bottom - 6.0));
        writeln!(
            out,
            "<path d='M {x0:.3} {axis:.3} V {:.3} M {x1:.3} {axis:.3} V {:.3} M {x0:.3} {y:.3} H {x1:.3}' {THIN}/>",
            y + 1.0,
            y + 1.0
        )?;
        for (x, sign) in [(x0, 1.0), (x1, -1.0)] {
            writeln!(out, "<path d='M {x:.3} {y:.3} l {:.3} 0.7 v -1.4 Z' fill='#222222'/>", sign * 2.5)?;
        }
        writeln!(
            out,
            "<text x='{:.3}' y='{:.3}' text-anchor='middle'>{:.3}</text>",
            (x0 + x1) / 2.0,
            y - 1.0,
            arrangement.centre_mm
        )
    }

    fn write_legend(&self, out: &mut String, height: f64) -> std::fmt::Result {
        let arrangement = self.arrangement;
        let drive = &arrangement.drive;
        let y = height - FOOT_MM + 4.0;
        writeln!(
            out,
            "<path d='M 4 {y:.3} h 50 M 4 {:.3} v 3 M 54 {:.3} v 3' stroke='#222222' stroke-width='0.4'/>",
            y - 1.5,
            y - 1.5
        )?;
        writeln!(out, "<text x='57' y='{:.3}'>50 mm: measure it on paper</text>", y + 1.0)?;
        writeln!(
            out,
            "<text x='4' y='{:.3}'>centres {:.3} mm, belt {:.2} mm, {:.2} teeth in mesh, wrap {:.1}°</text>",
            y + 6.0,
            arrangement.centre_mm,
            drive.belt_length_mm(),
            arrangement.teeth_in_mesh(),
            arrangement.wraps_rad().0.to_degrees()
        )?;
        let mut entries =
            vec![(BELT, "belt's neutral line"), (BACK, "back and teeth"), (PITCH, "pitch circle")];
        if self.surroundings.flanges {
            entries.push((FLANGE, "flange"));
        }
        if self.surroundings.motor_mm.is_some() {
            entries.push((MOTOR, "motor"));
        }
        entries.push((BOX, if self.room.is_some() { "box to keep" } else { "box it takes" }));
        // Three to a line, so that the narrowest paper holds them.
        for (index, (style, word)) in entries.iter().enumerate() {
            let (x, y) = (4.0 + 39.0 * (index % 3) as f64, y + 12.0 + 5.0 * (index / 3) as f64);
            writeln!(out, "<path d='M {x:.3} {:.3} h 9' {style}/>", y - 1.0)?;
            writeln!(out, "<text x='{:.3}' y='{y:.3}'>{word}</text>", x + 10.0)?;
        }
        Ok(())
    }
}

/// The outline of a pulley's teeth, a groove's middle in this direction.
fn pulley_outline(groove: &Groove, phase_rad: f64, centre: Point) -> Vec<Point> {
    let counts = chord_counts(&groove.walls(), CHORD_ERROR_MM);
    // A groove's own middle is on +y.
    let turn = phase_rad - std::f64::consts::FRAC_PI_2;
    let place = |point: Point| {
        let (x, y) = turned(point, turn);
        (centre.0 + x, centre.1 + y)
    };
    groove.corners(&counts).into_iter().map(place).collect()
}

/// A closed line through these points.
fn path_of(points: &[Point], view: &View) -> String {
    let mut path = String::new();
    for point in points {
        let (x, y) = view.at(*point);
        let _ = write!(path, "{}{x:.3} {y:.3}", if path.is_empty() { "M" } else { "L" });
    }
    path + "Z"
}

/// The belt's way so far outside of its neutral line, as lines and true arcs.
fn along_belt(path: &BeltPath, outside: f64, view: &View) -> String {
    let mut text = String::new();
    for arc in &path.arcs {
        // Outside is away from a wheel inside the loop, and towards one on the back.
        let sign = if arc.wheel.side == Side::Inside { 1.0 } else { -1.0 };
        let radius = arc.wheel.radius_mm + sign * outside;
        let point = |direction: f64| {
            let (x, y) = arc.point(direction);
            let share = radius / arc.wheel.radius_mm;
            let (cx, cy) = arc.wheel.centre;
            view.at((cx + share * (x - cx), cy + share * (y - cy)))
        };
        let (from, to) = (point(arc.on_rad), point(arc.off_rad()));
        let word = if text.is_empty() { "M" } else { "L" };
        let large = u8::from(arc.wrap_rad > std::f64::consts::PI);
        // The picture's y looks down, so counter-clockwise is sweep 0.
        let sweep = u8::from(arc.wheel.side == Side::Back);
        let _ = write!(
            text,
            "{word}{:.3} {:.3}A{radius:.3} {radius:.3} 0 {large} {sweep} {:.3} {:.3}",
            from.0, from.1, to.0, to.1
        );
    }
    text + "Z"
}

fn circle(out: &mut String, view: &View, centre: Point, radius: f64, style: &str) -> std::fmt::Result {
    let (x, y) = view.at(centre);
    writeln!(out, "<circle cx='{x:.3}' cy='{y:.3}' r='{radius:.3}' {style}/>")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::rack::Flank;
    use crate::drive::layout::{Drive, belt_profile};

    fn svg(room: Option<Room>) -> String {
        let drive = Drive::new(belt_profile("T5").unwrap(), [20, 40], 100).unwrap();
        let arrangement = Arrangement::open(drive).unwrap();
        let surroundings = Surroundings { flanges: true, motor_mm: Some(42.0), ..Surroundings::default() };
        let meshed = arrangement.meshed(Flank::Straight, None).unwrap();
        let picture =
            Picture { arrangement: &arrangement, surroundings: &surroundings, room, meshed: meshed.first() };
        picture.svg()
    }

    fn attribute(text: &str, name: &str) -> f64 {
        let rest = text.split_once(&format!("{name}='")).unwrap().1;
        rest.split_once('\'').unwrap().0.trim_end_matches("mm").parse().unwrap()
    }

    /// The picture's own unit is the millimetre: its pitch circles have the pitch diameters and stand the
    /// centre distance apart.
    #[test]
    fn it_is_to_scale_in_millimetres() {
        let svg = svg(None);
        let header = svg.lines().next().unwrap();
        let view_box: Vec<f64> = header
            .split_once("viewBox='0 0 ")
            .unwrap()
            .1
            .split('\'')
            .next()
            .unwrap()
            .split(' ')
            .map(|number| number.parse().unwrap())
            .collect();
        assert_eq!((attribute(header, " width"), attribute(header, "height")), (view_box[0], view_box[1]));
        assert!(header.contains("mm' height='") && header.contains("mm' viewBox"));
        let circles: Vec<&str> =
            svg.lines().filter(|line| line.starts_with("<circle") && line.contains("#D55E00")).collect();
        assert_eq!(circles.len(), 2);
        let pi = std::f64::consts::PI;
        for (circle, teeth) in circles.iter().zip([20.0, 40.0]) {
            assert!((attribute(circle, " r") - 2.5 * teeth / pi).abs() < 6e-4);
        }
        let centre = Drive::new(belt_profile("T5").unwrap(), [20, 40], 100).unwrap().open.centre_mm;
        assert!((attribute(circles[1], "cx") - attribute(circles[0], "cx") - centre).abs() < 1.1e-3);
        assert_eq!(attribute(circles[0], "cy"), attribute(circles[1], "cy"));
        // The belt has its 100 teeth.
        let paths = svg.lines().filter(|line| line.starts_with("<path") && line.contains("#0072B2"));
        assert_eq!(paths.map(|line| line.matches('Z').count()).max(), Some(100));
    }

    #[test]
    fn the_box_to_keep_is_drawn_whichever_way_it_fits() {
        let [a, b] = [(270.0, 90.0), (90.0, 270.0)]
            .map(|(width_mm, height_mm)| svg(Some(Room { width_mm, height_mm })));
        assert!(a == b, "turned, it is another picture");
        assert!(a.contains("box to keep") && !svg(None).contains("box to keep"));
    }
}
