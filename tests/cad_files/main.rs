//! What a drawing program finds in our files: DXF through a library of its own, STEP by the formulas of its curves and
//! surfaces.

mod step_file;
mod step_proof;

use std::f64::consts::PI;

use dxf::entities::EntityType;
use shrinkrule::belt::rack::Flank;
use shrinkrule::geometry::curve::{CurveLoop, CurveOutline};
use shrinkrule::geometry::{dxf as our_dxf, step, stl, svg};
use shrinkrule::parts::build::piece::Piece;
use shrinkrule::parts::build::recess::End;
use shrinkrule::parts::build::section::teeth;
use shrinkrule::parts::pulley::Design;
use shrinkrule::parts::pulley_request::{
    BoreForm, Build, CircleAsked, DowelsAsked, Flanges, Hub, RecessAsked, Request, RingHold, ScrewsAsked,
};
use shrinkrule::parts::pulley_solid;
use shrinkrule::units::Mm;
use step_file::StepFile;
use step_proof::{assert_closed, assert_edges_lie_on_surfaces, counts, volume};

fn request(belt: &str, teeth: u32, flanges: Flanges) -> Request {
    Request {
        belt: belt.to_owned(),
        teeth,
        bore: Mm::new(5.0).unwrap(),
        flanges,
        belt_width: None,
        allow_few_teeth: true,
        build: Build::default(),
    }
}

fn pulley(belt: &str, teeth: u32, flanges: Flanges) -> Design {
    Design::new(&request(belt, teeth, flanges), None).unwrap()
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

/// Everything that a reader of the drawn body's STEP can find wrong; comes back with its volume.
fn proven(piece: &Piece, through: i64) -> (StepFile, f64) {
    let exact = piece.exact().unwrap();
    let text = step::text(&exact.brep, "2026-11-25", "shrinkrule");
    assert_eq!(text, step::text(&exact.brep, "2026-11-25", "shrinkrule"));
    let file = StepFile::read(&text);
    assert_closed(&file, through);
    assert_edges_lie_on_surfaces(&file);
    let volume = volume(&file);
    assert!((volume / exact.brep.volume_mm3 - 1.0).abs() < 1e-8, "{volume} {}", exact.brep.volume_mm3);
    (file, volume)
}

#[test]
fn a_step_file_is_one_closed_solid_of_the_volume_that_its_sections_have() {
    for (belt, count, flanges) in [
        ("T5", 20, Flanges::Two),
        ("T5", 21, Flanges::One),
        ("XL", 12, Flanges::Two),
        ("H", 30, Flanges::None),
    ] {
        proven(&pulley(belt, count, flanges).drawn_pieces[0], 1);
    }
}

/// A hub with set screws in a bore of each form: where a screw meets the bore's corners, and where it does not.
fn with_screws(bore: f64, form: BoreForm, count: u32, hole_mm: f64, nut: bool, end: End) -> Design {
    let nut_mm = nut.then_some((5.6, 2.5));
    let build = Build {
        bore: form,
        hubs: vec![Hub { end, diameter_mm: bore + 20.0, length_mm: 11.0 }],
        set_screws: Some(ScrewsAsked { count, hole_mm, nut_mm }),
        label: Some("24".to_owned()),
        ..Build::default()
    };
    let request = Request { build, bore: Mm::new(bore).unwrap(), ..request("T10", 24, Flanges::One) };
    Design::new(&request, None).unwrap()
}

/// Each screw adds a hole through the body, or with a slot two. Letters of the label are pockets and add none, but
/// what they enclose stands as an island: `4` has one, which joins the floor of its pocket.
#[test]
fn set_screws_slots_and_labels_are_in_the_step_file() {
    let cases = [
        (8.0, BoreForm::Round, 2, 3.4, true, End::Top, ["circle", "spline"]),
        (8.0, BoreForm::Round, 1, 3.4, true, End::Bed, ["circle", "spline"]),
        // The hole is wider than the flat, which falls into two faces.
        (5.0, BoreForm::Flat { across_mm: 4.5 }, 1, 3.4, true, End::Top, ["circle", "spline"]),
        (8.0, BoreForm::Flat { across_mm: 7.0 }, 1, 2.0, false, End::Top, ["circle", "spline"]),
        (12.0, BoreForm::Key { width_mm: 4.0, depth_mm: 1.8 }, 2, 3.0, false, End::Top, ["circle", "spline"]),
        // The second screw meets a corner of the hexagon head on, and two of its flats aslant.
        (10.0, BoreForm::Hexagon, 4, 3.2, false, End::Top, ["circle", "ellipse"]),
        (8.0, BoreForm::Hexagon, 1, 6.0, false, End::Top, ["circle", "ellipse"]),
        (10.0, BoreForm::Square, 2, 3.4, true, End::Top, ["circle", "spline"]),
    ];
    for (bore, form, count, hole_mm, nut, end, curves) in cases {
        let design = with_screws(bore, form, count, hole_mm, nut, end);
        let piece = &design.drawn_pieces[0];
        assert!(piece.label.is_some() || end == End::Bed, "{form:?}");
        // A hole from bore to outside is one handle; one into a slot that opens on top another.
        let through = 1 + i64::from(count) * if nut { 2 } else { 1 };
        let (file, volume) = proven(piece, through);
        let counts = counts(&file);
        assert!(curves.iter().all(|curve| counts[curve] > 0), "{form:?} {counts:?}");
        assert!(piece.exact().unwrap().differences.is_empty(), "{form:?}");
        // The holes' own volume, by the strips of a plain sum over the bore's and the hub's sections.
        let bare = Piece { set_screws: None, ..piece.clone() };
        let taken = proven(&bare, 1).1 - volume;
        let expected = taken_by_screws(piece, false);
        assert!((taken / expected - 1.0).abs() < 1e-4, "{form:?}: {taken} for {expected}");
        // Negative control: ends that are flat where the walls are round would be seen.
        let flat = taken_by_screws(piece, true);
        assert!((taken / flat - 1.0).abs() > 5e-4, "{form:?}: {taken} for {flat}");
    }
}

/// What set screws and their slots take out, in strips along each screw; with flat ends the depth in the middle is
/// taken for all of them.
fn taken_by_screws(piece: &Piece, with_flat_ends: bool) -> f64 {
    const STRIPS: u32 = 300;
    let screws = piece.set_screws.as_ref().unwrap();
    let (radius, top) = (screws.diameter_mm / 2.0, piece.top_mm());
    let hub = if screws.end == End::Top { piece.steps.last() } else { piece.steps.first() };
    let outer = hub.unwrap().side.reach_mm();
    let bore = piece.bore.curves();
    let mut taken = 0.0;
    for angle in &screws.directions_rad {
        let (sin, cos) = angle.sin_cos();
        let depth = |left: f64| {
            // Where the bore ends along the screw: halved until it is known.
            let (mut inside, mut outside) = (0.0, outer);
            for _ in 0..40 {
                let middle = (inside + outside) / 2.0;
                let place = [middle * cos - left * sin, middle * sin + left * cos];
                *if bore.contains(place) { &mut inside } else { &mut outside } = middle;
            }
            (outer * outer - left * left).sqrt() - inside - screws.nut.map_or(0.0, |slot| slot.thickness_mm)
        };
        // Even steps of the angle about the screw, whose ends then cost nothing.
        let step = PI / f64::from(STRIPS);
        for i in 0..STRIPS {
            let (height, left) = ((f64::from(i) + 0.5) * step).sin_cos();
            let left = if with_flat_ends { 1e-6 } else { radius * left };
            taken += 2.0 * (radius * height).powi(2) * step * depth(left);
        }
        if let Some(slot) = screws.nut {
            let room = if screws.end == End::Top { top - slot.floor_mm } else { slot.floor_mm };
            taken += slot.width_mm * slot.thickness_mm * room;
        }
    }
    taken
}

#[test]
fn other_features_are_closed_in_the_step_file_too() {
    let base = request("T5", 32, Flanges::Two);
    let circle = CircleAsked { count: 4, diameter_mm: 3.0, circle_mm: 26.0 };
    let recess =
        |end| RecessAsked { name: "bearing seat", end, diameter_mm: 12.0, depth_mm: 3.0, shoulder: None };
    let make = |build: Build| Design::new(&Request { build, ..base.clone() }, None).unwrap();
    let seats = make(Build { recesses: vec![recess(End::Bed), recess(End::Top)], ..Build::default() });
    proven(&seats.drawn_pieces[0], 1);
    let drilled = make(Build { screw_circle: Some(circle), ..Build::default() });
    proven(&drilled.drawn_pieces[0], 5);
    let halves = make(Build { split: Some(DowelsAsked { circle, depth_mm: 3.0 }), ..Build::default() });
    assert_eq!(halves.drawn_pieces.len(), 2);
    halves.drawn_pieces.iter().for_each(|half| {
        proven(half, 1);
    });
    let apart = make(Build { ring: Some(RingHold::Pressed), ..Build::default() });
    apart.drawn_pieces.iter().for_each(|piece| {
        proven(piece, 1);
    });
    let rolled = Build { flank: Flank::Involute, ..Build::default() };
    let rolled = Request { build: rolled, ..request("XL", 24, Flanges::None) };
    let rolled = Design::new(&rolled, None).unwrap();
    let (file, _) = proven(&rolled.drawn_pieces[0], 1);
    // Bed, top, and no chord at all.
    assert_eq!(counts(&file)["plane"], 2);
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
