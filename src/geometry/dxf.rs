//! DXF of flat outlines: closed polylines with true arcs, and circles, in millimetres.
//!
//! The dialect is R12 (`AC1009`), which every drawing program and cutter reads: a loop is a closed
//! `POLYLINE` whose arcs stand as the bulge `tan(sweep / 4)` of the vertex that they leave, a whole circle
//! a `CIRCLE`. `$INSUNITS` is newer than R12; readers that do not know it pass over it, and for those that
//! do it says millimetres. Every layer is in the table of layers with its colour. Nothing in the file
//! depends on a clock.
//!
//! An own writer, since of a DXF library only three entities would be used, and the ones at hand write
//! the date of the day into the header; what is written here is read back with one in the tests.
//!
//! Source: the R12 DXF reference as in any public copy (group codes 0, 2, 6, 8, 9, 10, 20, 40, 42, 62,
//! 66, 70).

use std::fmt::Write as _;

use super::curve::{Curve, CurveLoop, CurveOutline};

/// One layer of a drawing.
#[derive(Clone, Copy, Debug)]
pub struct Layer<'a> {
    /// Its name: capitals, digits, `_` and `-`, at most 31 characters.
    pub name: &'a str,
    /// Its colour by number: 1 red, 3 green, 5 blue, 7 black or white, 8 grey.
    pub color: u8,
    /// What is on it.
    pub outline: &'a CurveOutline,
}

/// The drawing as the text of a file; `comment` goes on top, for people who open it as text.
pub fn text(comment: &str, layers: &[Layer<'_>]) -> String {
    let mut out = String::new();
    let mut pair = |code: u16, value: &str| {
        // Writing to a String cannot fail.
        let _ = write!(out, "{code:>3}\n{value}\n");
    };
    for line in comment.lines() {
        pair(999, line);
    }
    let bounds = layers.iter().filter_map(|layer| layer.outline.bounds()).flatten();
    let edge = |axis: usize, pick: fn(f64, f64) -> f64| {
        bounds.clone().map(|place| place[axis]).reduce(pick).unwrap_or_default().to_string()
    };
    pair(0, "SECTION");
    pair(2, "HEADER");
    pair(9, "$ACADVER");
    pair(1, "AC1009");
    pair(9, "$INSUNITS");
    pair(70, "4");
    pair(9, "$EXTMIN");
    pair(10, &edge(0, f64::min));
    pair(20, &edge(1, f64::min));
    pair(30, "0.0");
    pair(9, "$EXTMAX");
    pair(10, &edge(0, f64::max));
    pair(20, &edge(1, f64::max));
    pair(30, "0.0");
    pair(0, "ENDSEC");
    pair(0, "SECTION");
    pair(2, "TABLES");
    pair(0, "TABLE");
    pair(2, "LTYPE");
    pair(70, "1");
    pair(0, "LTYPE");
    pair(2, "CONTINUOUS");
    pair(70, "0");
    pair(3, "Solid line");
    pair(72, "65");
    pair(73, "0");
    pair(40, "0.0");
    pair(0, "ENDTAB");
    pair(0, "TABLE");
    pair(2, "LAYER");
    pair(70, &layers.len().to_string());
    for layer in layers {
        pair(0, "LAYER");
        pair(2, layer.name);
        pair(70, "0");
        pair(62, &layer.color.to_string());
        pair(6, "CONTINUOUS");
    }
    pair(0, "ENDTAB");
    pair(0, "ENDSEC");
    pair(0, "SECTION");
    pair(2, "ENTITIES");
    for layer in layers {
        for of in &layer.outline.loops {
            write_loop(&mut pair, layer.name, of);
        }
    }
    pair(0, "ENDSEC");
    pair(0, "EOF");
    out
}

fn write_loop(pair: &mut impl FnMut(u16, &str), layer: &str, of: &CurveLoop) {
    let point = |pair: &mut dyn FnMut(u16, &str), [x, y]: [f64; 2]| {
        pair(10, &x.to_string());
        pair(20, &y.to_string());
        pair(30, "0.0");
    };
    if let Some((center, diameter)) = of.as_circle() {
        pair(0, "CIRCLE");
        pair(8, layer);
        point(pair, center);
        pair(40, &(diameter / 2.0).to_string());
        return;
    }
    pair(0, "POLYLINE");
    pair(8, layer);
    pair(66, "1");
    point(pair, [0.0, 0.0]);
    pair(70, "1");
    for corner in &of.corners {
        pair(0, "VERTEX");
        pair(8, layer);
        point(pair, corner.at);
        if let Curve::Arc { sweep_rad, .. } = corner.curve {
            pair(42, &(sweep_rad / 4.0).tan().to_string());
        }
    }
    pair(0, "SEQEND");
    pair(8, layer);
}
