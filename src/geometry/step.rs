//! STEP of an exact solid: one manifold boundary of planes, cylinders and cones, edges as lines, circles and
//! ellipses; where a hole across meets a round wall, as splines within 1e-7 mm of both.
//!
//! The file is a part of AP214 (`AUTOMOTIVE_DESIGN`), which drawing programs read as an editable solid:
//! millimetres, radians, one product of one solid. The header names nobody and carries the time that the
//! caller gives, never the clock's, so the same solid gives the same bytes.
//!
//! An own writer: the libraries at hand model surfaces of their own (revolved curves, splines), so that a
//! cylinder would come out as something a drawing program cannot take for one, and bring a geometry kernel
//! along; planes, cylinders and cones that are known already take a page.
//!
//! Source: ISO 10303-21 (the text form) and ISO 10303-42 (the entities' attributes), as in any public
//! schema listing.

use std::fmt::Write as _;

use super::brep::{Brep, Face, Surface, Use};
use super::space_curve::{Place, SPLINE_DEGREE, SpaceCurve, Spline};

/// How near two points count as one to a reader, mm.
const CLOSE_MM: f64 = 1e-6;

/// Writes numbered entities; `#1` is the first.
struct Entities {
    text: String,
    last: usize,
}

impl Entities {
    fn add(&mut self, entity: &str) -> usize {
        self.last += 1;
        // Writing to a String cannot fail.
        let _ = writeln!(self.text, "#{}={entity};", self.last);
        self.last
    }

    fn point(&mut self, at: [f64; 3]) -> usize {
        let [x, y, z] = at.map(real);
        self.add(&format!("CARTESIAN_POINT('',({x},{y},{z}))"))
    }

    fn direction(&mut self, along: [f64; 3]) -> usize {
        let [x, y, z] = along.map(real);
        self.add(&format!("DIRECTION('',({x},{y},{z}))"))
    }

    fn placement(&mut self, at: [f64; 3], axis: [f64; 3], along: [f64; 3]) -> usize {
        let (at, axis, along) = (self.point(at), self.direction(axis), self.direction(along));
        self.add(&format!("AXIS2_PLACEMENT_3D('',#{at},#{axis},#{along})"))
    }
}

/// The solid as the text of a file. `time` is a date or nothing, and `made_by` the program's name.
pub fn text(brep: &Brep, time: &str, made_by: &str) -> String {
    let mut out = Entities { text: String::new(), last: 0 };
    let name = string(&brep.name);
    let context = out.add("APPLICATION_CONTEXT('core data for automotive mechanical design processes')");
    out.add(&format!(
        "APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,#{context})"
    ));
    let product_context = out.add(&format!("PRODUCT_CONTEXT('',#{context},'mechanical')"));
    let product = out.add(&format!("PRODUCT({name},{name},'',(#{product_context}))"));
    let formation = out.add(&format!("PRODUCT_DEFINITION_FORMATION('','',#{product})"));
    let design = out.add(&format!("PRODUCT_DEFINITION_CONTEXT('part definition',#{context},'design')"));
    let definition = out.add(&format!("PRODUCT_DEFINITION('design','',#{formation},#{design})"));
    let shape = out.add(&format!("PRODUCT_DEFINITION_SHAPE('','',#{definition})"));
    out.add(&format!("PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,(#{product}))"));
    let millimetre = out.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))");
    let radian = out.add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))");
    let steradian = out.add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())");
    let close = out.add(&format!(
        "UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE({}),#{millimetre},'distance_accuracy_value','')",
        real(CLOSE_MM)
    ));
    let space = out.add(&format!(
        "(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#{close}))\
         GLOBAL_UNIT_ASSIGNED_CONTEXT((#{millimetre},#{radian},#{steradian}))REPRESENTATION_CONTEXT('',''))"
    ));
    let origin = out.placement([0.0; 3], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
    let vertices: Vec<usize> = brep
        .vertices
        .iter()
        .map(|at| {
            let point = out.point(*at);
            out.add(&format!("VERTEX_POINT('',#{point})"))
        })
        .collect();
    let edges: Vec<usize> =
        (0..brep.edges.len()).map(|index| edge(&mut out, brep, index, &vertices)).collect();
    let faces: Vec<String> = brep.faces.iter().map(|of| format!("#{}", face(&mut out, of, &edges))).collect();
    let shell = out.add(&format!("CLOSED_SHELL('',({}))", faces.join(",")));
    let solid = out.add(&format!("MANIFOLD_SOLID_BREP({name},#{shell})"));
    let representation =
        out.add(&format!("ADVANCED_BREP_SHAPE_REPRESENTATION({name},(#{origin},#{solid}),#{space})"));
    out.add(&format!("SHAPE_DEFINITION_REPRESENTATION(#{shape},#{representation})"));
    let (time, made_by) = (string(time), string(made_by));
    format!(
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(({name}),'2;1');\n\
         FILE_NAME({name},{time},(''),(''),{made_by},{made_by},'');\n\
         FILE_SCHEMA(('AUTOMOTIVE_DESIGN {{ 1 0 10303 214 1 1 1 1 }}'));\nENDSEC;\nDATA;\n{}ENDSEC;\n\
         END-ISO-10303-21;\n",
        out.text
    )
}

fn edge(out: &mut Entities, brep: &Brep, index: usize, vertices: &[usize]) -> usize {
    let of = brep.edges[index];
    let (from, to) = (brep.vertices[of.from], brep.vertices[of.to]);
    let (curve, same) = match of.curve {
        SpaceCurve::Line => {
            let across: [f64; 3] = std::array::from_fn(|axis| to[axis] - from[axis]);
            let length = across.iter().map(|part| part * part).sum::<f64>().sqrt();
            let (point, along) = (out.point(from), out.direction(across.map(|part| part / length)));
            let vector = out.add(&format!("VECTOR('',#{along},1.)"));
            (out.add(&format!("LINE('',#{point},#{vector})")), true)
        }
        SpaceCurve::Arc { center, sweep_rad } => {
            let radius = (from[0] - center[0]).hypot(from[1] - center[1]);
            let along = [(from[0] - center[0]) / radius, (from[1] - center[1]) / radius, 0.0];
            let place = out.placement(center, [0.0, 0.0, 1.0], along);
            (out.add(&format!("CIRCLE('',#{place},{})", real(radius))), sweep_rad > 0.0)
        }
        SpaceCurve::Ellipse { center, first, second, sweep_rad, .. } => {
            (ellipse(out, center, first, second), sweep_rad > 0.0)
        }
        SpaceCurve::Crossing { .. } => (spline(out, &of.curve, from, to), true),
    };
    let (from, to) = (vertices[of.from], vertices[of.to]);
    out.add(&format!("EDGE_CURVE('',#{from},#{to},#{curve},{})", truth(same)))
}

/// An ellipse, or a circle where its half axes are equal.
fn ellipse(out: &mut Entities, center: Place, first: Place, second: Place) -> usize {
    let length = |of: Place| of.iter().map(|part| part * part).sum::<f64>().sqrt();
    let (long, short) = (length(first), length(second));
    let [a, b] = [first.map(|part| part / long), second.map(|part| part / short)];
    let normal = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
    let place = out.placement(center, normal, a);
    if (long - short).abs() <= CLOSE_MM * CLOSE_MM {
        out.add(&format!("CIRCLE('',#{place},{})", real(short)))
    } else {
        out.add(&format!("ELLIPSE('',#{place},{},{})", real(long), real(short)))
    }
}

fn spline(out: &mut Entities, curve: &SpaceCurve, from: Place, to: Place) -> usize {
    let Spline { poles, knots } = curve.spline(from, to).unwrap_or_default();
    let list = |words: Vec<String>| words.join(",");
    let poles = list(poles.into_iter().map(|pole| format!("#{}", out.point(pole))).collect());
    let times = list(knots.iter().map(|(_, times)| times.to_string()).collect());
    let knots = list(knots.iter().map(|(knot, _)| real(*knot)).collect());
    out.add(&format!(
        "B_SPLINE_CURVE_WITH_KNOTS('',{SPLINE_DEGREE},({poles}),.UNSPECIFIED.,.F.,.F.,({times}),({knots}),.UNSPECIFIED.)"
    ))
}

fn face(out: &mut Entities, of: &Face, edges: &[usize]) -> usize {
    let up = [0.0, 0.0, 1.0];
    let along_x = [1.0, 0.0, 0.0];
    // Whether the surface's own normal points out of the plastic.
    let (surface, same) = match of.surface {
        Surface::Plane { at, normal, along } => {
            let place = out.placement(at, normal, along);
            (out.add(&format!("PLANE('',#{place})")), true)
        }
        Surface::Cylinder { at, axis, radius, is_filled } => {
            let place = out.placement(at, axis, if axis[2] == 0.0 { up } else { along_x });
            (out.add(&format!("CYLINDRICAL_SURFACE('',#{place},{})", real(radius))), is_filled)
        }
        Surface::Cone { at, radius, half_angle_rad, widens_up, is_filled } => {
            let axis = [0.0, 0.0, if widens_up { 1.0 } else { -1.0 }];
            let place = out.placement(at, axis, along_x);
            let cone = format!("CONICAL_SURFACE('',#{place},{},{})", real(radius), real(half_angle_rad));
            (out.add(&cone), is_filled)
        }
    };
    let bounds: Vec<String> = of
        .loops
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let uses: Vec<String> = row.iter().map(|of| format!("#{}", oriented(out, *of, edges))).collect();
            let around = out.add(&format!("EDGE_LOOP('',({}))", uses.join(",")));
            let word = if i == 0 { "FACE_OUTER_BOUND" } else { "FACE_BOUND" };
            format!("#{}", out.add(&format!("{word}('',#{around},.T.)")))
        })
        .collect();
    out.add(&format!("ADVANCED_FACE('',({}),#{surface},{})", bounds.join(","), truth(same)))
}

fn oriented(out: &mut Entities, of: Use, edges: &[usize]) -> usize {
    out.add(&format!("ORIENTED_EDGE('',*,*,#{},{})", edges[of.edge], truth(of.forward)))
}

fn truth(is: bool) -> &'static str {
    if is { ".T." } else { ".F." }
}

/// A number as STEP wants it: with a point, and a capital E where it is that small.
fn real(value: f64) -> String {
    let text = format!("{:?}", value + 0.0);
    match text.split_once('e') {
        Some((digits, power)) if digits.contains('.') => format!("{digits}E{power}"),
        Some((digits, power)) => format!("{digits}.E{power}"),
        None => text,
    }
}

/// Text in quotes: printable ASCII, quotes doubled, everything else as its code.
fn string(text: &str) -> String {
    let mut out = String::from("'");
    for character in text.chars() {
        match character {
            '\'' => out.push_str("''"),
            '\\' => out.push_str("\\\\"),
            ' '..='~' => out.push(character),
            _ => {
                let _ = write!(out, "\\X4\\{:08X}\\X0\\", u32::from(character));
            }
        }
    }
    out.push('\'');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_a_point_and_text_is_ascii() {
        assert_eq!(
            [1.0, -0.0, 0.1, 1e-7, 1.5e-12, 1e20].map(real),
            ["1.0", "0.0", "0.1", "1.E-7", "1.5E-12", "1.E20"]
        );
        assert_eq!(string("it's 5 µm \\"), "'it''s 5 \\X4\\000000B5\\X0\\m \\\\'");
    }
}
