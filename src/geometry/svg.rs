//! SVG of flat outlines at their true size: one unit of the file is one millimetre on paper.
//!
//! Lines and arcs stay lines and arcs; y points up in an outline and down in SVG, so y is negated and an
//! arc turns the other way. Coordinates have six decimals, a nanometre.

use std::fmt::Write as _;

use super::curve::{Curve, CurveLoop, CurveOutline};
pub use super::threemf::escaped;

/// Clear space around what is drawn, mm.
pub const MARGIN_MM: f64 = 5.0;

/// One group of the picture.
#[derive(Clone, Copy, Debug)]
pub struct Group<'a> {
    /// Its `id`.
    pub name: &'a str,
    /// Colour of its lines.
    pub stroke: &'a str,
    /// What is in it.
    pub outline: &'a CurveOutline,
}

/// A picture of these groups at 1:1, the first at the bottom.
pub fn text(title: &str, groups: &[Group<'_>]) -> String {
    let bounds = || groups.iter().filter_map(|group| group.outline.bounds()).flatten();
    let edge = |axis: usize, pick: fn(f64, f64) -> f64| {
        bounds().map(|place| place[axis]).reduce(pick).unwrap_or_default()
    };
    let (left, right) = (edge(0, f64::min) - MARGIN_MM, edge(0, f64::max) + MARGIN_MM);
    let (low, high) = (edge(1, f64::min) - MARGIN_MM, edge(1, f64::max) + MARGIN_MM);
    let (width, height) = (short(right - left), short(high - low));
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"{} {} {width} {height}\">\n<title>{}</title>\n",
        short(left),
        short(-high),
        escaped(title)
    );
    for group in groups {
        // Writing to a String cannot fail.
        let _ = writeln!(
            out,
            "<g id=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"0.1\">\n<path d=\"{}\"/>\n</g>",
            escaped(group.name),
            escaped(group.stroke),
            path(group.outline)
        );
    }
    out.push_str("</svg>\n");
    out
}

/// Every loop of an outline, for the `d` of a path, y downwards.
pub fn path(outline: &CurveOutline) -> String {
    let mut out = String::new();
    for of in &outline.loops {
        loop_path(&mut out, of);
    }
    out
}

fn loop_path(out: &mut String, of: &CurveLoop) {
    let place = |[x, y]: [f64; 2]| format!("{} {}", short(x), short(-y));
    if let Some(first) = of.corners.first() {
        let _ = write!(out, "M{}", place(first.at));
    }
    for edge in of.edges() {
        let (Curve::Arc { center, sweep_rad }, Some(radius)) = (edge.curve, edge.radius()) else {
            let _ = write!(out, "L{}", place(edge.to));
            continue;
        };
        let mut radius = short(radius);
        let flag = u8::from(sweep_rad < 0.0);
        if edge.from == edge.to {
            // An arc that ends where it begins is no arc to SVG: over the opposite point.
            let opposite = [0, 1].map(|axis| 2.0 * center[axis] - edge.from[axis]);
            radius = half_chord(edge.from, opposite).min(radius);
            let _ = write!(out, "A{radius} {radius} 0 0 {flag} {}", place(opposite));
            let _ = write!(out, "A{radius} {radius} 0 0 {flag} {}", place(edge.to));
        } else {
            let large = u8::from(sweep_rad.abs() > std::f64::consts::PI);
            let _ = write!(out, "A{radius} {radius} 0 {large} {flag} {}", place(edge.to));
        }
    }
    out.push('Z');
}

/// The radius of a half circle between two places as they are written, rounded down: a viewer widens one that is
/// too small to reach until it does. One that is too large by the last decimal would move the centre aside by the
/// root of it, 0.005 mm of a circle of 60 mm.
fn half_chord(a: [f64; 2], b: [f64; 2]) -> f64 {
    let half = (short(a[0]) - short(b[0])).hypot(short(a[1]) - short(b[1])) / 2.0;
    (half * 1e6 + 1e-4).floor() / 1e6
}

/// Six decimals, and a plain zero for a negative one.
fn short(mm: f64) -> f64 {
    (mm * 1e6).round() / 1e6 + 0.0
}

#[cfg(test)]
mod tests {
    use super::super::curve::tests::slot;
    use super::*;

    /// Off the origin the two ends of a half circle are rounded apart; its radius must not be more than half of what
    /// is left between them, or the two halves lie about centres of their own.
    #[test]
    fn the_halves_of_a_circle_off_the_origin_share_their_centre() {
        let mut apart = 0;
        for i in 0..200 {
            let i = f64::from(i);
            let (x, diameter) = (68.450_779_3 + 0.013_137_7 * i, 58.450_780_7 + 0.017_053_9 * i);
            let outline = CurveOutline::new(CurveLoop::circle([x, 0.0], diameter));
            let path = path(&outline);
            let numbers: Vec<f64> = path
                .split(|letter: char| !(letter.is_ascii_digit() || ".-".contains(letter)))
                .filter_map(|word| word.parse().ok())
                .collect();
            let (from, radius, to) = (numbers[0], numbers[2], numbers[7]);
            assert!(2.0 * radius <= from - to + 1e-9 && 2.0 * radius > from - to - 3e-6, "{path}");
            apart += u32::from(2.0 * short(diameter / 2.0) > from - to + 1e-9);
        }
        // Negative control: with its own radius many would not.
        assert!(apart > 20, "{apart}");
    }

    #[test]
    fn a_slot_with_a_hole_is_drawn_at_its_size_with_its_arcs() {
        let plate = CurveOutline::new(slot()).with_hole(&CurveLoop::circle([0.0, 0.0], 2.0));
        let svg = text("a <slot>", &[Group { name: "plate", stroke: "#000000", outline: &plate }]);
        assert_eq!(
            svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"24mm\" height=\"14mm\" viewBox=\"-12 -7 24 14\">\n\
             <title>a &lt;slot&gt;</title>\n\
             <g id=\"plate\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.1\">\n\
             <path d=\"M-5 2L5 2A2 2 0 0 0 5 -2L-5 -2A2 2 0 0 0 -5 2Z\
             M1 0A1 1 0 0 1 -1 0A1 1 0 0 1 1 0Z\"/>\n</g>\n</svg>\n"
        );
    }
}
