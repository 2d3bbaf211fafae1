//! What a drawing program finds in our files: DXF through a library of its own, STEP by adding up its faces.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use dxf::entities::EntityType;
use shrinkrule::geometry::curve::{CurveLoop, CurveOutline};
use shrinkrule::geometry::{dxf as our_dxf, step, stl, svg};
use shrinkrule::parts::build::section::teeth;
use shrinkrule::parts::pulley::Design;
use shrinkrule::parts::pulley_request::{Build, Flanges, Request};
use shrinkrule::parts::pulley_solid;
use shrinkrule::units::Mm;

fn pulley(belt: &str, teeth: u32, flanges: Flanges) -> Design {
    let request = Request {
        belt: belt.to_owned(),
        teeth,
        bore: Mm::new(5.0).unwrap(),
        flanges,
        belt_width: None,
        allow_few_teeth: true,
        build: Build::default(),
    };
    Design::new(&request, None).unwrap()
}

/// The area inside one entity of a layer, by its bulges or its radius.
fn area(entity: &EntityType) -> f64 {
    match entity {
        EntityType::Circle(circle) => PI * circle.radius * circle.radius,
        EntityType::Polyline(line) => {
            assert!(line.is_closed());
            let corners: Vec<_> = line.vertices().collect();
            let pairs = corners.iter().zip(corners.iter().cycle().skip(1));
            let piece = |(from, to): (&&dxf::entities::Vertex, &&dxf::entities::Vertex)| {
                let (a, b) = (&from.location, &to.location);
                let sweep = 4.0 * from.bulge.atan();
                let chord = (a.x - b.x).hypot(a.y - b.y);
                let segment = if sweep == 0.0 {
                    0.0
                } else {
                    let radius = chord / 2.0 / (sweep.abs() / 2.0).sin();
                    radius * radius * (sweep - sweep.sin()) / 2.0
                };
                (a.x * b.y - b.x * a.y) / 2.0 + segment
            };
            pairs.map(piece).sum()
        }
        other => panic!("{other:?}"),
    }
}

/// The dxf library reads the same unit, layers and areas; a tooth outline whose arcs were lost would be off.
#[test]
fn a_dxf_file_reads_back_with_its_unit_its_layers_and_the_area_of_true_arcs() {
    for (belt, count) in [("T5", 20), ("XL", 15), ("MXL", 60), ("H", 72)] {
        let groove = pulley(belt, count, Flanges::None).drawn.groove;
        let outline = CurveOutline::new(teeth(&groove)).with_hole(&CurveLoop::circle([0.0, 0.0], 5.0));
        let layers = [our_dxf::Layer { name: "SHRINKRULE_DRAWN", color: 1, outline: &outline }];
        let text = our_dxf::text("a comment", &layers);
        let drawing = dxf::Drawing::load(&mut text.as_bytes()).unwrap();
        assert_eq!(drawing.header.default_drawing_units, dxf::enums::Units::Millimeters);
        let entities: Vec<_> = drawing.entities().collect();
        assert!(entities.iter().all(|entity| entity.common.layer == "SHRINKRULE_DRAWN"));
        assert_eq!(drawing.layers().filter(|layer| layer.name == "SHRINKRULE_DRAWN").count(), 1);
        let areas: Vec<f64> = entities.iter().map(|entity| area(&entity.specific)).collect();
        let read: f64 = areas[0] - areas[1];
        assert!((read - outline.area()).abs() < 1e-9 * outline.area(), "{belt} {read}");
        let [low, high] = outline.bounds().unwrap();
        let header = &drawing.header;
        assert_eq!([header.minimum_drawing_extents.x, header.maximum_drawing_extents.y], [low[0], high[1]]);
        // Negative control: chords alone.
        let points: Vec<_> = outline.loops[0].corners.iter().map(|corner| corner.at).collect();
        let chords = shrinkrule::geometry::outline::loop_area(&points);
        assert!((chords - areas[0]).abs() > 1e-6 * areas[0], "{belt} {chords}");
    }
}

/// A STEP file's entities by number: name, and what stands in its brackets.
struct Step(BTreeMap<u32, (String, String)>);

impl Step {
    fn read(text: &str) -> Self {
        let data = text.split("DATA;\n").nth(1).unwrap();
        let mut entities = BTreeMap::new();
        for line in data.lines().filter(|line| line.starts_with('#')) {
            let (number, rest) = line[1..].split_once('=').unwrap();
            let (name, inside) = rest.trim_end_matches(';').split_once('(').unwrap();
            entities.insert(number.parse().unwrap(), (name.to_owned(), inside.to_owned()));
        }
        Self(entities)
    }

    fn named<'a>(&'a self, name: &'a str) -> impl Iterator<Item = (u32, &'a str)> {
        self.0.iter().filter(move |(_, (of, _))| of == name).map(|(id, (_, inside))| (*id, inside.as_str()))
    }

    /// What an entity refers to, in order.
    fn refers(&self, id: u32) -> Vec<u32> {
        let inside = &self.0[&id].1;
        let digits = inside
            .split('#')
            .skip(1)
            .map(|rest| rest.chars().take_while(char::is_ascii_digit).collect::<String>().parse().unwrap());
        digits.collect()
    }

    fn name(&self, id: u32) -> &str {
        &self.0[&id].0
    }

    /// The numbers of a point or a direction.
    fn triple(&self, id: u32) -> [f64; 3] {
        let inside = &self.0[&id].1;
        let list = inside.split_once('(').unwrap().1.split(')').next().unwrap();
        let numbers: Vec<f64> = list.split(',').map(|number| number.parse().unwrap()).collect();
        numbers.try_into().unwrap()
    }

    /// The last numbers of an entity after its references, such as a radius.
    fn numbers(&self, id: u32) -> Vec<f64> {
        self.0[&id].1.trim_end_matches(')').split(',').filter_map(|word| word.parse().ok()).collect()
    }

    /// Twice the area within a row of edges, seen from +z.
    fn doubled_area(&self, edge_loop: u32) -> f64 {
        let of = |use_: u32| {
            let edge = self.refers(use_)[0];
            let forward = self.0[&use_].1.contains(".T.");
            let parts = self.refers(edge);
            let at = |vertex: u32| self.triple(self.refers(vertex)[0]);
            let (mut from, mut to) = (at(parts[0]), at(parts[1]));
            let mut turn = if self.0[&edge].1.contains(".T.") { 1.0 } else { -1.0 };
            if !forward {
                (from, to, turn) = (to, from, -turn);
            }
            let chord = from[0] * to[1] - to[0] * from[1];
            if self.name(parts[2]) != "CIRCLE" {
                return chord;
            }
            let center = self.triple(self.refers(self.refers(parts[2])[0])[0]);
            let radius = self.numbers(parts[2])[0];
            let angle = |p: [f64; 3]| (p[1] - center[1]).atan2(p[0] - center[0]);
            let mut sweep = ((angle(to) - angle(from)) * turn).rem_euclid(2.0 * PI);
            if parts[0] == parts[1] {
                sweep = 2.0 * PI;
            }
            chord + radius * radius * turn * (sweep - sweep.sin())
        };
        self.refers(edge_loop).into_iter().map(of).sum()
    }

    /// The volume, by the flux of (0, 0, z) through level faces and whole cones; other walls let none through.
    fn volume(&self) -> f64 {
        let mut volume = 0.0;
        for (face, inside) in self.named("ADVANCED_FACE") {
            let mut refers = self.refers(face);
            let surface = refers.pop().unwrap();
            let place = self.refers(surface)[0];
            let [at, axis] = [0, 1].map(|i| self.triple(self.refers(place)[i]));
            let is_out = inside.ends_with(".T.)");
            match self.name(surface) {
                "PLANE" if axis[2].abs() == 1.0 => {
                    // Loops run to the left of the face seen from outside, so that their sum has the normal's sign.
                    let area: f64 = refers.iter().map(|of| self.doubled_area(self.refers(*of)[0])).sum();
                    assert!(area * axis[2] > 0.0 && is_out);
                    volume += at[2] * area / 2.0;
                }
                "CONICAL_SURFACE" => {
                    let [radius, angle] = self.numbers(surface)[..] else { panic!("{surface}") };
                    let heights: Vec<f64> = self
                        .refers(self.refers(refers[0])[0])
                        .into_iter()
                        .map(|use_| self.triple(self.refers(self.refers(self.refers(use_)[0])[0])[0])[2])
                        .collect();
                    let height = heights.iter().map(|z| (z - at[2]).abs()).fold(0.0, f64::max);
                    // Simpson's rule is exact: z r is a quadratic of the radius.
                    let (far, slope) = (radius + height * angle.tan(), axis[2] / angle.tan());
                    let ring = |r: f64| (at[2] + slope * (r - radius)) * 2.0 * PI * r;
                    let flux =
                        (ring(radius) + 4.0 * ring((radius + far) / 2.0) + ring(far)) * (far - radius) / 6.0;
                    volume += flux * -axis[2] * if is_out { 1.0 } else { -1.0 };
                }
                "PLANE" => assert_eq!(axis[2], 0.0),
                other => assert_eq!(other, "CYLINDRICAL_SURFACE"),
            }
        }
        volume
    }
}

#[test]
fn a_step_file_is_one_closed_solid_of_the_volume_that_its_sections_have() {
    for (belt, count, flanges) in [
        ("T5", 20, Flanges::Two),
        ("T5", 21, Flanges::One),
        ("XL", 12, Flanges::Two),
        ("H", 30, Flanges::One),
    ] {
        let design = pulley(belt, count, flanges);
        let exact = design.drawn_pieces[0].exact().unwrap();
        let text = step::text(&exact.brep, "2026-11-25", "shrinkrule");
        assert_eq!(text, step::text(&exact.brep, "2026-11-25", "shrinkrule"));
        assert!(text.contains("SI_UNIT(.MILLI.,.METRE.)") && text.is_ascii());
        let file = Step::read(&text);
        for (id, (_, inside)) in &file.0 {
            assert!(inside.contains('(') == inside.contains(')') || inside.ends_with(')'), "#{id}");
            assert!(file.refers(*id).iter().all(|other| file.0.contains_key(other)), "#{id}");
        }
        assert_eq!((file.named("MANIFOLD_SOLID_BREP").count(), file.named("CLOSED_SHELL").count()), (1, 1));
        let shell = file.named("CLOSED_SHELL").next().unwrap().0;
        assert_eq!(file.refers(shell).len(), exact.brep.faces.len());
        let mut uses: BTreeMap<u32, Vec<bool>> = BTreeMap::new();
        for (id, inside) in file.named("ORIENTED_EDGE") {
            uses.entry(file.refers(id)[0]).or_default().push(inside.ends_with(".T.)"));
        }
        assert!(uses.values().all(|both| both.len() == 2 && both[0] != both[1]), "{belt}");
        let volume = file.volume();
        assert!(
            (volume / exact.brep.volume_mm3 - 1.0).abs() < 1e-9,
            "{belt} {volume} {}",
            exact.brep.volume_mm3
        );
    }
}

#[test]
fn an_stl_file_and_the_exact_solid_agree_but_for_chords() {
    let design = pulley("T5", 24, Flanges::One);
    let solid = pulley_solid::solid(&design).unwrap();
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("p.stl");
    stl::write(&[&solid], "p", &std::fs::File::create(&path).unwrap()).unwrap();
    let read = stl_io::read_stl(&mut std::fs::File::open(&path).unwrap()).unwrap();
    let volume: f64 = read
        .faces
        .iter()
        .map(|face| {
            let [a, b, c] = face.vertices.map(|index| {
                let at: [f32; 3] = read.vertices[index].into();
                at.map(f64::from)
            });
            (a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0]))
                / 6.0
        })
        .sum();
    let exact = design.drawn_pieces[0].exact().unwrap().brep.volume_mm3;
    assert!((volume / exact - 1.0).abs() < 5e-4, "{volume} {exact}");
}

#[test]
fn a_picture_at_full_size_is_as_large_as_what_it_shows() {
    let design = pulley("XL", 15, Flanges::None);
    let outline = CurveOutline::new(teeth(&design.drawn.groove));
    let [low, high] = outline.bounds().unwrap();
    let text = svg::text("t", &[svg::Group { name: "drawn", stroke: "#000000", outline: &outline }]);
    let width: f64 = text.split("width=\"").nth(1).unwrap().split("mm").next().unwrap().parse().unwrap();
    assert!((width - (high[0] - low[0] + 2.0 * svg::MARGIN_MM)).abs() < 1e-5, "{width}");
    assert_eq!(text.matches('A').count(), 15 * 5);
}
