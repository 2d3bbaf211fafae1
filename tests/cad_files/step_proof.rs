//! What a solid must be, shown from a STEP file's own curves and surfaces.

use std::collections::BTreeMap;

use super::step_file::{Curve, Edge, Face, Frame, Place, StepFile, Surface, cross, dot, length, minus};

/// How far edges may lie from the surfaces they bound, mm: what a writer's doubles leave, and of splines what they say.
const ON_SURFACE_MM: f64 = 1e-9;
const SPLINE_ON_SURFACE_MM: f64 = 1.1e-7;

/// How often each sort of surface and of curve is there.
pub fn counts(file: &StepFile) -> BTreeMap<&'static str, usize> {
    let mut counts = BTreeMap::new();
    for face in &file.faces {
        let name = match face.surface {
            Surface::Plane(_) => "plane",
            Surface::Cylinder(..) => "cylinder",
            Surface::Cone(..) => "cone",
        };
        *counts.entry(name).or_default() += 1;
    }
    for edge in file.edges.values() {
        let name = match &edge.curve {
            Curve::Line => "line",
            Curve::Ellipse(_, [a, b]) if a == b => "circle",
            Curve::Ellipse(..) => "ellipse",
            Curve::Spline(..) => "spline",
        };
        *counts.entry(name).or_default() += 1;
    }
    counts
}

/// Closed: every edge is used twice, once each way; rows of edges join; `through` holes go through the body.
pub fn assert_closed(file: &StepFile, through: i64) {
    let mut uses: BTreeMap<u32, Vec<bool>> = BTreeMap::new();
    for face in &file.faces {
        for row in &face.loops {
            for ((edge, forward), (next, next_forward)) in row.iter().zip(row.iter().cycle().skip(1)) {
                uses.entry(*edge).or_default().push(*forward);
                let (edge, next) = (&file.edges[edge], &file.edges[next]);
                let end = if *forward { edge.to } else { edge.from };
                let begin = if *next_forward { next.from } else { next.to };
                assert_eq!(end, begin);
            }
        }
    }
    assert_eq!(uses.len(), file.edges.len());
    assert!(uses.values().all(|both| both.len() == 2 && both[0] != both[1]));
    let inner: usize = file.faces.iter().map(|face| face.loops.len() - 1).sum();
    let euler = file.vertices as i64 - file.edges.len() as i64 + file.faces.len() as i64 - inner as i64;
    assert_eq!(euler, 2 - 2 * through, "Euler's number");
}

/// Every edge lies on the surfaces of the faces that it bounds, its ends included.
pub fn assert_edges_lie_on_surfaces(file: &StepFile) {
    for face in &file.faces {
        for (id, _) in face.loops.iter().flatten() {
            let edge = &file.edges[id];
            let is_spline = matches!(edge.curve, Curve::Spline(..));
            let allowed = if is_spline { SPLINE_ON_SURFACE_MM } else { ON_SURFACE_MM };
            for i in 0..=40 {
                let off = face.surface.off(edge.at(f64::from(i) / 40.0));
                assert!(off <= allowed, "#{id} lies {off:e} off {:?}", face.surface);
            }
            for (share, end) in [(0.0, edge.from), (1.0, edge.to)] {
                assert!(length(minus(edge.at(share), end)) < ON_SURFACE_MM, "#{id}");
            }
        }
    }
}

/// What one step along an edge adds to an integral: place and step.
type Part<'a> = dyn Fn(Place, Place) -> f64 + 'a;

/// The integral of `f(place, step)` along a row of edges, by Gauss's rule of five places.
fn around(file: &StepFile, row: &[(u32, bool)], f: &Part<'_>) -> f64 {
    // Abramowitz and Stegun, table 25.4.
    const GAUSS: [(f64, f64); 5] = [
        (0.0, 0.568_888_888_888_888_9),
        (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
        (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
        (0.906_179_845_938_664, 0.236_926_885_056_189_1),
        (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    ];
    /// For the direction of a curve by small differences, as a share of a stretch.
    const NEAR: f64 = 1e-4;
    let of = |(id, forward): &(u32, bool)| {
        let edge: &Edge = &file.edges[id];
        let sum: f64 = edge
            .stretches()
            .windows(2)
            .map(|pair| {
                let half = (pair[1] - pair[0]) / 2.0;
                let near = NEAR * half;
                let place = |(at, weight): &(f64, f64)| {
                    let share = pair[0] + half * (1.0 + at);
                    let [a, b, c, d] = [-2.0, -1.0, 1.0, 2.0].map(|steps| edge.at(share + steps * near));
                    // Of the fourth order.
                    let step: Place = std::array::from_fn(|axis| {
                        (a[axis] - 8.0 * b[axis] + 8.0 * c[axis] - d[axis]) / (12.0 * near) * half * weight
                    });
                    f(edge.at(share), step)
                };
                GAUSS.iter().map(place).sum::<f64>()
            })
            .sum();
        if *forward { sum } else { -sum }
    };
    row.iter().map(of).sum()
}

fn over(file: &StepFile, face: &Face, f: &Part<'_>) -> f64 {
    face.loops.iter().map(|row| around(file, row, f)).sum()
}

/// The flux of a third of the place through a face, and its area seen along its surface's own normal. Both are taken
/// from its edges by Green's theorem.
fn flux_and_area(file: &StepFile, face: &Face) -> (f64, f64) {
    match face.surface {
        Surface::Plane(frame) => {
            let area =
                over(file, face, &|place, step| dot(cross(minus(place, frame.at), step), frame.z) / 2.0);
            (dot(frame.at, frame.z) * area / 3.0, area)
        }
        Surface::Cylinder(frame, radius) => of_round(file, face, frame, radius, 0.0),
        Surface::Cone(frame, radius, slope) => of_round(file, face, frame, radius, slope),
    }
}

/// Of a cylinder or a cone over angle and height: at a height `h` its radius is `radius + slope h`, and the place times
/// the normal times that radius is `(radius + slope h) (at . outwards + radius - slope at . axis)`.
fn of_round(file: &StepFile, face: &Face, frame: Frame, radius: f64, slope: f64) -> (f64, f64) {
    let turn = |place: Place, step: Place| {
        let [x, y, h] = frame.local(place);
        let [dx, dy] = [frame.x, frame.y].map(|axis| dot(step, axis));
        let far = x.hypot(y);
        let out: Place = std::array::from_fn(|axis| (x * frame.x[axis] + y * frame.y[axis]) / far);
        (out, h, (x * dy - y * dx) / (far * far))
    };
    let grown = |h: f64| radius * h + slope * h * h / 2.0;
    let flux = over(file, face, &|place, step| {
        let (out, h, angle) = turn(place, step);
        -grown(h) * (dot(frame.at, out) + radius - slope * dot(frame.at, frame.z)) * angle
    });
    let area = over(file, face, &|place, step| {
        let (_, h, angle) = turn(place, step);
        -grown(h) * angle * slope.hypot(1.0)
    });
    (flux / 3.0, area)
}

/// The volume by the divergence theorem; each face lies to the left of its edges, seen from outside the plastic.
pub fn volume(file: &StepFile) -> f64 {
    let of = |face: &Face| {
        let (flux, area) = flux_and_area(file, face);
        assert!(area.abs() > 1e-9 && (area > 0.0) == face.same, "{:?}: {area} {}", face.surface, face.same);
        flux
    };
    file.faces.iter().map(of).sum()
}
