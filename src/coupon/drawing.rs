//! Drawings of a coupon for the measuring guide: what it looks like, and where the jaws go.
//!
//! A drawing is in millimetres with y (or z, seen from the front) downwards, as SVG wants it. Numbers are
//! rounded to 0.01 mm, which no eye tells apart.

use std::fmt::Write as _;

use super::body::{Body, Stance};
use super::feature::{Feature, Tool};
use super::{Coupon, CouponError};
use crate::geometry::outline::{Outline, Point};

/// How far a drawing reaches beyond the piece, its arrows and its words.
const MARGIN_MM: f64 = 2.0;
/// Height of the letters of a feature's label; a letter is about 0.6 of it wide.
const TEXT_MM: f64 = 3.0;
/// Radius of the ring that marks an arrow seen end on.
const END_ON_MM: f64 = 1.4;
/// Length of an arrow that points at a face from outside.
const ARROW_MM: f64 = 4.5;

/// One drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Where it is seen from: `from above`, `from the front`.
    pub seen: &'static str,
    /// Left edge, upper edge, width and height of what is shown, mm.
    pub frame: [f64; 4],
    /// Areas from the lowest to the highest.
    pub areas: Vec<Area>,
    /// Where the jaws go.
    pub marks: Vec<Mark>,
}

/// An area of one colour.
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    /// What it shows: `base`, `body`, `top`, `letters`, `hidden`, `edge`.
    pub class: &'static str,
    /// The path, for the `d` of an SVG path.
    pub path: String,
}

/// Where the jaws go for one feature.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The part of the caliper: `outside`, `inside`, `depth`.
    pub class: &'static str,
    /// Arrow shafts and thin lines, as an SVG path.
    pub lines: String,
    /// Arrow heads, as an SVG path to be filled.
    pub heads: String,
    /// A thin line to the label, as an SVG path; empty when the label is beside the arrow.
    pub leader: String,
    /// The feature's label.
    pub label: String,
    /// Where the middle of the label is.
    pub label_at: Point,
}

/// The drawings of one coupon: from above always, from the front where that shows more.
///
/// # Errors
/// As [`Coupon::solid`].
pub fn drawings(coupon: &Coupon) -> Result<Vec<Drawing>, CouponError> {
    let body = coupon.body(None)?;
    Ok(match body.stance {
        Stance::Upright => vec![outlines(&body, "from above")],
        Stance::OnEdge => vec![outlines(&body, "from the front"), above_on_edge(&body)],
    })
}

/// The layers of a body one over another, with the marks.
fn outlines(body: &Body, seen: &'static str) -> Drawing {
    let mut areas: Vec<Area> = Vec::new();
    let mut last = Outline::default();
    let top = body.reach();
    for (index, layer) in body.layers.iter().enumerate() {
        // What the chamfer at the bed takes away is not seen from above.
        let shown = [(index > 0).then_some(&layer.bottom), Some(&layer.top)];
        for outline in shown.into_iter().flatten().filter(|outline| **outline != last) {
            let class = match layer.high {
                high if high >= top && layer.bottom != layer.top => "top",
                high if high <= super::limits::TAB_MM => "base",
                _ => "body",
            };
            areas.push(Area { class, path: path(outline) });
        }
        last = layer.top.clone();
    }
    areas.push(Area { class: "letters", path: path(&body.letters) });
    let marks: Vec<Mark> = body.features.iter().map(|feature| mark(feature, body.stance)).collect();
    let whole = body.layers.iter().flat_map(|layer| [&layer.bottom, &layer.top]);
    let bounds = whole.filter_map(Outline::bounds).flatten();
    let places: Vec<Point> = bounds.chain(body.features.iter().flat_map(|f| room(f, body.stance))).collect();
    Drawing { seen, frame: frame(&places), areas, marks }
}

/// A body that was stacked from back to front, from above: its depth, its edges and its hidden holes.
fn above_on_edge(body: &Body) -> Drawing {
    let depth = body.reach();
    let profile = &body.layers[0].top;
    let [low, high] = profile.bounds().unwrap_or_default();
    let mut areas =
        vec![Area { class: "body", path: path(&Outline::rectangle(low[0], 0.0, high[0], depth)) }];
    let mut lines = String::new();
    for points in &profile.loops[1..] {
        let [left, right] = [f64::min, f64::max].map(|pick| points.iter().map(|p| p[0]).reduce(pick));
        for x in [left, right].into_iter().flatten() {
            line(&mut lines, [x, 0.0], [x, depth]);
        }
    }
    areas.push(Area { class: "hidden", path: lines });
    let mut edges = String::new();
    for pair in profile.loops[0].windows(2).filter(|pair| pair[0][0] == pair[1][0] && pair[0][0] > low[0]) {
        if pair[0][0] < high[0] {
            line(&mut edges, [pair[0][0], 0.0], [pair[0][0], depth]);
        }
    }
    areas.push(Area { class: "edge", path: edges });
    Drawing { seen: "from above", frame: frame(&[[low[0], 0.0], [high[0], depth]]), areas, marks: Vec::new() }
}

/// Where the jaws go, in the plane of the drawing.
fn mark(feature: &Feature, stance: Stance) -> Mark {
    let (from, to) = (flat(feature.jaws.from, stance), flat(feature.jaws.to, stance));
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    if length == 0.0 {
        return end_on(feature, from);
    }
    let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
    let away = |place: Point, way: f64| [place[0] + way * along[0], place[1] + way * along[1]];
    let (mut lines, mut heads, mut leader) = (String::new(), String::new(), String::new());
    let class = match feature.jaws.tool {
        Tool::OutsideJaws => {
            for (tip, way) in [(from, -1.0), (to, 1.0)] {
                line(&mut lines, away(tip, way * ARROW_MM), away(tip, way));
                head(&mut heads, tip, [-way * along[0], -way * along[1]], 1.6);
            }
            "outside"
        }
        Tool::InsideJaws | Tool::RealPiece => {
            let size = (length / 4.0).min(1.6);
            line(&mut lines, away(from, size * 0.8), away(to, -size * 0.8));
            head(&mut heads, from, [-along[0], -along[1]], size);
            head(&mut heads, to, along, size);
            let middle = away(from, length / 2.0);
            line(&mut leader, middle, toward(feature.label_at, middle));
            "inside"
        }
        Tool::DepthRod => {
            let side = |way: f64| [from[0] - way * along[1], from[1] + way * along[0]];
            line(&mut lines, side(-8.0), side(8.0));
            line(&mut lines, from, away(to, -1.2));
            head(&mut heads, to, along, 1.6);
            line(&mut leader, away(from, length / 2.0), toward(feature.label_at, away(from, length / 2.0)));
            "depth"
        }
    };
    let [x, y] = feature.label_at;
    Mark { class, lines, heads, leader, label: feature.label.clone(), label_at: [round(x), round(-y)] }
}

/// The mark of a feature that is measured along the line of sight: a ring around a dot.
fn end_on(feature: &Feature, at: Point) -> Mark {
    let class = if feature.jaws.tool == Tool::DepthRod { "depth" } else { "outside" };
    let mut leader = String::new();
    line(&mut leader, toward(at, feature.label_at), toward(feature.label_at, at));
    let [x, y] = feature.label_at;
    Mark {
        class,
        lines: path(&Outline::circle_with(at, 2.0 * END_ON_MM, 24)),
        heads: path(&Outline::circle_with(at, 0.7, 12)),
        leader,
        label: feature.label.clone(),
        label_at: [round(x), round(-y)],
    }
}

/// What a feature's arrows and label take up.
fn room(feature: &Feature, stance: Stance) -> Vec<Point> {
    let half = feature.label.len() as f64 * TEXT_MM * 0.3;
    let [x, y] = feature.label_at;
    let mut places = vec![[x - half, y - TEXT_MM / 2.0], [x + half, y + TEXT_MM / 2.0]];
    let (from, to) = (flat(feature.jaws.from, stance), flat(feature.jaws.to, stance));
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    if length > 0.0 && !matches!(feature.jaws.tool, Tool::InsideJaws | Tool::RealPiece) {
        let reach = ARROW_MM / length;
        for (end, other) in [(from, to), (to, from)] {
            places.push([0, 1].map(|axis| end[axis] + (end[axis] - other[axis]) * reach));
        }
    }
    places
}

/// A place on the piece in the plane of the drawing.
fn flat([x, y, z]: [f64; 3], stance: Stance) -> Point {
    match stance {
        Stance::Upright => [x, y],
        Stance::OnEdge => [x, z],
    }
}

/// The edge of the label at `label`, seen from `place`.
fn toward(label: Point, place: Point) -> Point {
    let (dx, dy) = (place[0] - label[0], place[1] - label[1]);
    let length = dx.hypot(dy).max(1e-9);
    let short = (2.2 / length).min(1.0);
    [label[0] + dx * short, label[1] + dy * short]
}

fn frame(places: &[Point]) -> [f64; 4] {
    let edge = |axis: usize, pick: fn(f64, f64) -> f64| {
        places.iter().map(|place| place[axis]).reduce(pick).unwrap_or_default()
    };
    let (left, right) = (edge(0, f64::min) - MARGIN_MM, edge(0, f64::max) + MARGIN_MM);
    let (low, high) = (edge(1, f64::min) - MARGIN_MM, edge(1, f64::max) + MARGIN_MM);
    [left, -high, right - left, high - low].map(round)
}

fn round(mm: f64) -> f64 {
    // Adding zero makes a plain zero of a negative one.
    (mm * 100.0).round() / 100.0 + 0.0
}

fn line(path: &mut String, from: Point, to: Point) {
    let [x0, y0, x1, y1] = [from[0], -from[1], to[0], -to[1]].map(round);
    // Writing into a String does not fail.
    let _ = write!(path, "M{x0} {y0}L{x1} {y1}");
}

/// A filled arrow head with its tip at `tip`, pointing along the unit vector `along`.
fn head(path: &mut String, tip: Point, along: Point, size: f64) {
    let wing = |side: f64| {
        let back = [tip[0] - size * along[0], tip[1] - size * along[1]];
        [back[0] - side * size * along[1], -(back[1] + side * size * along[0])].map(round)
    };
    let ([x0, y0], [x1, y1], [x2, y2]) = ([tip[0], -tip[1]].map(round), wing(0.4), wing(-0.4));
    let _ = write!(path, "M{x0} {y0}L{x1} {y1}L{x2} {y2}Z");
}

/// Every loop of an outline, as an SVG path.
fn path(outline: &Outline) -> String {
    let mut path = String::new();
    for points in &outline.loops {
        for (i, [x, y]) in points.iter().enumerate() {
            let _ = write!(path, "{}{} {}", if i == 0 { "M" } else { "L" }, round(*x), round(-y));
        }
        path.push('Z');
    }
    path
}
