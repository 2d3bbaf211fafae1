//! A STEP file read by its text alone: entities by number, places, curves and surfaces with their formulas.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

pub type Place = [f64; 3];

pub fn minus(a: Place, b: Place) -> Place {
    std::array::from_fn(|axis| a[axis] - b[axis])
}

pub fn dot(a: Place, b: Place) -> f64 {
    (0..3).map(|axis| a[axis] * b[axis]).sum()
}

pub fn cross(a: Place, b: Place) -> Place {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub fn length(of: Place) -> f64 {
    dot(of, of).sqrt()
}

/// A point, and three directions square to each other.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    pub at: Place,
    pub x: Place,
    pub y: Place,
    pub z: Place,
}

impl Frame {
    /// A place in its own coordinates.
    pub fn local(&self, place: Place) -> Place {
        let from = minus(place, self.at);
        [self.x, self.y, self.z].map(|along| dot(from, along))
    }

    fn global(&self, [a, b]: [f64; 2]) -> Place {
        std::array::from_fn(|axis| self.at[axis] + a * self.x[axis] + b * self.y[axis])
    }
}

/// The curve of an edge.
#[derive(Clone, Debug)]
pub enum Curve {
    Line,
    /// Half axes along x and y.
    Ellipse(Frame, [f64; 2]),
    /// Degree, control points, every knot as often as it counts.
    Spline(usize, Vec<Place>, Vec<f64>),
}

#[derive(Clone, Copy, Debug)]
pub enum Surface {
    Plane(Frame),
    Cylinder(Frame, f64),
    /// Radius at the frame, and the tangent of the half angle.
    Cone(Frame, f64, f64),
}

#[derive(Clone, Debug)]
pub struct Edge {
    pub from: Place,
    pub to: Place,
    pub curve: Curve,
    /// Whether the curve runs from begin to end.
    pub same: bool,
}

impl Edge {
    /// The place at a share of the way from begin to end.
    pub fn at(&self, share: f64) -> Place {
        match &self.curve {
            Curve::Line => {
                std::array::from_fn(|axis| self.from[axis] + share * (self.to[axis] - self.from[axis]))
            }
            Curve::Ellipse(frame, [a, b]) => {
                let angle = |place: Place| {
                    let [x, y, _] = frame.local(place);
                    (y / b).atan2(x / a)
                };
                let (begin, end) = (angle(self.from), angle(self.to));
                let turn = if self.same { 1.0 } else { -1.0 };
                let mut sweep = ((end - begin) * turn).rem_euclid(TAU);
                if self.from == self.to {
                    sweep = TAU;
                }
                let (sin, cos) = (begin + turn * sweep * share).sin_cos();
                frame.global([a * cos, b * sin])
            }
            Curve::Spline(degree, poles, knots) => {
                assert!(self.same, "splines here run from begin to end");
                on_spline(*degree, poles, knots, share)
            }
        }
    }

    /// Shares of the way between which the curve is smooth.
    pub fn stretches(&self) -> Vec<f64> {
        match &self.curve {
            Curve::Spline(_, _, knots) => {
                let mut stops = knots.clone();
                stops.dedup();
                let last = stops[stops.len() - 1];
                stops.iter().map(|knot| knot / last).collect()
            }
            Curve::Ellipse(..) => (0..=8).map(|i| f64::from(i) / 8.0).collect(),
            Curve::Line => vec![0.0, 1.0],
        }
    }
}

/// De Boor's algorithm.
fn on_spline(degree: usize, poles: &[Place], knots: &[f64], share: f64) -> Place {
    let at = share * knots[knots.len() - 1];
    let span = (degree..poles.len()).rev().find(|i| knots[*i] <= at && knots[*i] < knots[*i + 1]).unwrap();
    let mut row = poles[span - degree..=span].to_vec();
    for level in 1..=degree {
        for j in (level..=degree).rev() {
            let i = span - degree + j;
            let share = (at - knots[i]) / (knots[i + 1 + degree - level] - knots[i]);
            row[j] = std::array::from_fn(|axis| (1.0 - share) * row[j - 1][axis] + share * row[j][axis]);
        }
    }
    row[degree]
}

impl Surface {
    /// How far a place lies from it.
    pub fn off(&self, place: Place) -> f64 {
        match self {
            Self::Plane(frame) => frame.local(place)[2].abs(),
            Self::Cylinder(frame, radius) => {
                let [x, y, _] = frame.local(place);
                (x.hypot(y) - radius).abs()
            }
            Self::Cone(frame, radius, slope) => {
                let [x, y, z] = frame.local(place);
                (x.hypot(y) - radius - slope * z).abs() / slope.hypot(1.0)
            }
        }
    }
}

pub struct Face {
    pub surface: Surface,
    /// Whether the surface's own normal points out of the plastic.
    pub same: bool,
    /// Numbers of edges, and whether each is run through from its begin.
    pub loops: Vec<Vec<(u32, bool)>>,
}

/// The solid of a file.
pub struct StepFile {
    entities: BTreeMap<u32, (String, String)>,
    pub edges: BTreeMap<u32, Edge>,
    pub faces: Vec<Face>,
    pub vertices: usize,
}

impl StepFile {
    pub fn read(text: &str) -> Self {
        assert!(text.is_ascii() && text.contains("SI_UNIT(.MILLI.,.METRE.)"));
        assert!(text.starts_with("ISO-10303-21;\n") && text.ends_with("END-ISO-10303-21;\n"));
        let data = text.split("DATA;\n").nth(1).unwrap();
        let mut entities = BTreeMap::new();
        for line in data.lines().filter(|line| line.starts_with('#')) {
            let (number, rest) = line[1..].split_once('=').unwrap();
            let (name, inside) = rest.strip_suffix(';').unwrap().split_once('(').unwrap();
            assert_eq!(rest.matches('(').count(), rest.matches(')').count(), "{line}");
            let twice = entities.insert(number.parse().unwrap(), (name.to_owned(), inside.to_owned()));
            assert!(twice.is_none(), "{line}");
        }
        let mut file = Self { entities, edges: BTreeMap::new(), faces: Vec::new(), vertices: 0 };
        for id in file.entities.keys() {
            assert!(file.refers(*id).iter().all(|other| file.entities.contains_key(other)), "#{id}");
        }
        let (solids, shells) = (file.named("MANIFOLD_SOLID_BREP"), file.named("CLOSED_SHELL"));
        assert_eq!((solids.len(), shells.len()), (1, 1));
        assert_eq!(file.refers(solids[0]), shells);
        file.vertices = file.named("VERTEX_POINT").len();
        file.edges = file.named("EDGE_CURVE").into_iter().map(|id| (id, file.edge(id))).collect();
        assert_eq!(file.refers(shells[0]), file.named("ADVANCED_FACE"));
        file.faces = file.refers(shells[0]).into_iter().map(|id| file.face(id)).collect();
        file
    }

    fn named(&self, name: &str) -> Vec<u32> {
        self.entities.iter().filter(|(_, (of, _))| of == name).map(|(id, _)| *id).collect()
    }

    /// What an entity refers to, in order.
    fn refers(&self, id: u32) -> Vec<u32> {
        let rest = self.entities[&id].1.split('#').skip(1);
        rest.map(|rest| rest.chars().take_while(char::is_ascii_digit).collect::<String>().parse().unwrap())
            .collect()
    }

    /// The numbers of an entity that stand alone, such as a radius.
    fn numbers(&self, id: u32) -> Vec<f64> {
        self.entities[&id].1.trim_end_matches(')').split(',').filter_map(|word| word.parse().ok()).collect()
    }

    fn triple(&self, id: u32) -> Place {
        let list = self.entities[&id].1.split_once('(').unwrap().1.split(')').next().unwrap();
        let numbers: Vec<f64> = list.split(',').map(|number| number.parse().unwrap()).collect();
        numbers.try_into().unwrap()
    }

    fn frame(&self, id: u32) -> Frame {
        let [at, z, x] = self.refers(id)[..] else { panic!("#{id}") };
        let [at, z, x] = [at, z, x].map(|id| self.triple(id));
        assert!(
            (length(z) - 1.0).abs() < 1e-12 && (length(x) - 1.0).abs() < 1e-12 && dot(x, z).abs() < 1e-12
        );
        Frame { at, x, y: cross(z, x), z }
    }

    fn edge(&self, id: u32) -> Edge {
        let [from, to, curve] = self.refers(id)[..] else { panic!("#{id}") };
        let [from, to] = [from, to].map(|vertex| self.triple(self.refers(vertex)[0]));
        let (name, inside) = &self.entities[&curve];
        let curve = match name.as_str() {
            "LINE" => {
                let [point, vector] = self.refers(curve)[..] else { panic!("#{curve}") };
                assert_eq!(self.triple(point), from);
                let along = self.triple(self.refers(vector)[0]);
                // Its direction leads from the one to the other.
                let off = cross(minus(to, from), along);
                assert!(length(off) < 1e-9 && dot(minus(to, from), along) > 0.0, "#{id}");
                Curve::Line
            }
            "CIRCLE" => Curve::Ellipse(self.frame(self.refers(curve)[0]), [self.numbers(curve)[0]; 2]),
            "ELLIPSE" => {
                let [a, b] = self.numbers(curve)[..] else { panic!("#{curve}") };
                assert!(a > b);
                Curve::Ellipse(self.frame(self.refers(curve)[0]), [a, b])
            }
            "B_SPLINE_CURVE_WITH_KNOTS" => {
                let lists: Vec<Vec<f64>> = inside
                    .split('(')
                    .skip(2)
                    .map(|list| {
                        list.split(')').next().unwrap().split(',').map(|n| n.parse().unwrap()).collect()
                    })
                    .collect();
                let [times, knots] = &lists[..] else { panic!("#{curve}") };
                let degree = self.numbers(curve)[0] as usize;
                let poles: Vec<Place> = self.refers(curve).into_iter().map(|id| self.triple(id)).collect();
                let all: Vec<f64> = knots
                    .iter()
                    .zip(times)
                    .flat_map(|(knot, n)| std::iter::repeat_n(*knot, *n as usize))
                    .collect();
                assert_eq!(all.len(), poles.len() + degree + 1, "#{curve}");
                Curve::Spline(degree, poles, all)
            }
            other => panic!("#{curve}: {other}"),
        };
        Edge { from, to, curve, same: self.entities[&id].1.ends_with(".T.)") }
    }

    fn face(&self, id: u32) -> Face {
        let mut bounds = self.refers(id);
        let surface = bounds.pop().unwrap();
        let frame = self.frame(self.refers(surface)[0]);
        let numbers = self.numbers(surface);
        let surface = match (self.entities[&surface].0.as_str(), &numbers[..]) {
            ("PLANE", []) => Surface::Plane(frame),
            ("CYLINDRICAL_SURFACE", [radius]) => Surface::Cylinder(frame, *radius),
            ("CONICAL_SURFACE", [radius, angle]) => Surface::Cone(frame, *radius, angle.tan()),
            other => panic!("#{surface}: {other:?}"),
        };
        let uses = |bound: &u32| -> Vec<(u32, bool)> {
            let [around] = self.refers(*bound)[..] else { panic!("#{bound}") };
            let uses = self.refers(around).into_iter();
            uses.map(|of| (self.refers(of)[0], self.entities[&of].1.ends_with(".T.)"))).collect()
        };
        let same = self.entities[&id].1.ends_with(".T.)");
        Face { surface, same, loops: bounds.iter().map(uses).collect() }
    }
}
