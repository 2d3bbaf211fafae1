//! Facts of the trade, common practice without a source, in what the program draws and says; and that every row of
//! the standards' tolerance table that the program asks for is the one that it gets.

use shrinkrule::belt::{lengths, profile, tolerance};
use shrinkrule::hardware::shaft;
use shrinkrule::parts::build::recess::End;
use shrinkrule::parts::pulley::Design;
use shrinkrule::parts::pulley_request::{BoreForm, Build, Flanges, Hub, Request};
use shrinkrule::units::Mm;

fn design(belt: &str, teeth: u32, flanges: Flanges, build: Build) -> Design {
    let request = Request {
        belt: belt.to_owned(),
        teeth,
        bore: Mm::new(4.0).unwrap(),
        flanges,
        belt_width: None,
        allow_few_teeth: true,
        build,
    };
    Design::new(&request, None).unwrap()
}

fn plain(belt: &str, teeth: u32, flanges: Flanges) -> Design {
    design(belt, teeth, flanges, Build::default())
}

#[test]
fn the_belt_70_xl_has_35_teeth_and_is_177_8_mm_long() {
    let xl = profile::find("XL", 20).unwrap();
    let belt = lengths::of_code(xl, "70 XL").unwrap();
    assert_eq!((belt.code, belt.teeth), (70, 35));
    assert!((f64::from(belt.teeth) * xl.pitch_mm - 177.8).abs() < 1e-9);
    // Tenths of an inch: millimetres would be 7 mm of belt.
    assert!((70.0_f64 / 10.0 * 25.4 - 177.8).abs() < 1e-9);
}

#[test]
fn a_shaft_sold_as_3_17_mm_is_an_eighth_of_an_inch() {
    assert_eq!(shaft::sold_by_the_inch(3.17).unwrap().diameter_mm, 3.175);
    assert!(shaft::sold_by_the_inch(3.0).is_none());
}

#[test]
fn a_printed_pulleys_face_is_a_little_wider_than_its_belt() {
    for name in profile::usable() {
        let profile = profile::find(name, 30).unwrap();
        for width in &profile.widths {
            for flanges in [Flanges::None, Flanges::One, Flanges::Two] {
                let request = Request {
                    belt: name.to_owned(),
                    teeth: 40,
                    bore: Mm::new(4.0).unwrap(),
                    flanges,
                    belt_width: Mm::new(width.width_mm),
                    allow_few_teeth: true,
                    build: Build::default(),
                };
                let design = Design::new(&request, None).unwrap();
                let wider = design.wanted.heights.face_width_mm() - width.width_mm;
                // The table's least is 0.5 mm, its most 10.7 mm between flanges and 18.2 mm without, of XXH 500.
                let most = if flanges == Flanges::Two { 10.8 } else { 18.3 };
                assert!(wider > 0.49 && wider < most, "{name} {} {flanges:?}: {wider}", width.width_mm);
            }
        }
    }
}

#[test]
fn sharp_inner_corners_and_fillets_far_below_a_line_do_not_survive_printing() {
    let said = |design: &Design, words: &str| design.warnings.iter().any(|warning| warning.contains(words));
    let lost = "will not survive printing";
    let (fine, coarse) = (plain("MXL", 30, Flanges::None), plain("T5", 20, Flanges::None));
    assert!(said(&fine, "roundings of 0.13 mm at the tips") && said(&fine, lost), "{:?}", fine.warnings);
    assert!(!said(&coarse, lost), "{:?}", coarse.warnings);
    let hexagon = design("T5", 20, Flanges::None, Build { bore: BoreForm::Hexagon, ..Build::default() });
    assert!(
        said(&hexagon, "inner corners of the bore print rounded by about 0.2 mm"),
        "{:?}",
        hexagon.warnings
    );
    assert!(!said(&coarse, "inner corners"));
}

/// A belt pulls across the axis, so an upright axis puts the load into the layers and not across them.
#[test]
fn pulleys_stand_so_that_the_load_runs_along_the_layers() {
    let split = Build { split: Some("3x3x4@20".parse().unwrap()), ..Build::default() };
    let hubs = vec![Hub { end: End::Top, diameter_mm: 18.0, length_mm: 8.0 }];
    for build in [Build::default(), Build { hubs, ..Build::default() }, split] {
        let is_split = build.split.is_some();
        let design = design("T5", 30, Flanges::Two, build);
        for piece in &design.pieces {
            assert!(piece.orientation.starts_with("print standing, axis upright"), "{}", piece.orientation);
            let says_why =
                piece.orientation.contains("layers lie across the axis, in the plane of the belt's pull");
            assert!(says_why || !is_split, "{}", piece.orientation);
        }
    }
}

/// Every row of the categories that the program asks for, read here by itself: what the program gives at both ends
/// of a step is the row's value, with the row's own label.
#[test]
fn every_row_of_the_tolerance_table_that_is_asked_for_comes_out() {
    let mut reader = csv::Reader::from_path("data/belts/tolerances.csv").unwrap();
    let mut counted = std::collections::BTreeMap::new();
    for row in reader.records() {
        let row = row.unwrap();
        let (category, of, source) = (&row[0], &row[1], &row[8]);
        assert!(
            ["looked-up", "from memory", "derived"].iter().any(|label| source.starts_with(label)),
            "{category} {of}: {source}"
        );
        let number = |column: usize| row[column].parse::<f64>().ok();
        let inside = |at: f64| match (number(2), number(3)) {
            (Some(from), Some(to)) => from + at * (to - from),
            (Some(from), None) => from + 1.0,
            _ => 30.0,
        };
        let found: Vec<(f64, f64, String)> = match (category, of) {
            ("outside_diameter_tol", "ISO 5294 all inch pitches" | "belt-maker table, rounded steps") => {
                let of = profile::find(if of.starts_with("ISO") { "XL" } else { "T5" }, 20).unwrap();
                [1e-9, 1.0]
                    .map(|at| tolerance::outside_diameter_plus_mm(of, inside(at)).unwrap())
                    .map(|cited| (cited.value, number(5).unwrap(), cited.source.to_owned()))
                    .to_vec()
            }
            ("pitch_adjacent_tol", "ISO 5294") => [1e-9, 1.0]
                .map(|at| tolerance::adjacent_pitch_mm(inside(at)).unwrap())
                .map(|cited| (cited.value, number(4).unwrap(), cited.source.to_owned()))
                .to_vec(),
            ("pitch_accumulated_90deg_tol", "ISO 5294") => [1e-9, 1.0]
                .map(|at| tolerance::accumulated_pitch_mm(inside(at)).unwrap())
                .map(|cited| (cited.value, number(4).unwrap(), cited.source.to_owned()))
                .to_vec(),
            ("radial_runout_tir", "ISO 5294") => {
                let cited = tolerance::radial_runout_mm(inside(1.0)).unwrap();
                vec![(cited.value, number(4).unwrap(), cited.source.to_owned())]
            }
            ("flange_min_height", name) => {
                let cited = tolerance::flange_height_mm(profile::find(name, 30).unwrap());
                vec![(cited.value, number(4).unwrap(), cited.source.to_owned())]
            }
            ("flange_thickness", name) => {
                let cited = tolerance::flange_thickness_mm(profile::find(name, 30).unwrap()).unwrap();
                vec![(cited.value, number(4).unwrap(), cited.source.to_owned())]
            }
            ("min_teeth", of) => {
                let (name, rpm) = match of.split_once(" at ") {
                    Some((name, "below 900 rpm")) => (name, 1.0),
                    Some((name, speed)) => (name, speed.split_once(" to ").unwrap().0.parse().unwrap()),
                    None => (of, 1000.0),
                };
                let of = profile::all().iter().find(|profile| profile.name == name).unwrap();
                let cited = tolerance::fewest_teeth_at(of, rpm).unwrap();
                vec![(f64::from(cited.value), number(4).unwrap(), cited.source.to_owned())]
            }
            ("face_width_flanged" | "face_width_unflanged", of) if !of.contains("supplier") => {
                let (name, width) = (of.split(' ').next().unwrap(), of.split_once('(').unwrap().1);
                let width = width.strip_suffix(" mm belt)").unwrap().parse().unwrap();
                let profile = profile::find(name, 30).unwrap();
                let cited = tolerance::face_width_mm(profile, width, category == "face_width_flanged");
                vec![(cited.value, number(4).unwrap(), cited.source.to_owned())]
            }
            // Of other tables, or of sizes that no print is judged by.
            _ => continue,
        };
        for (value, expected, label) in found {
            assert_eq!((value, label.as_str()), (expected, source), "{category} {of}");
        }
        *counted.entry(category.to_owned()).or_insert(0) += 1;
    }
    let counted: Vec<(&str, i32)> = counted.iter().map(|(name, count)| (name.as_str(), *count)).collect();
    assert_eq!(
        counted,
        [
            ("face_width_flanged", 24),
            ("face_width_unflanged", 24),
            ("flange_min_height", 7),
            ("flange_thickness", 7),
            ("min_teeth", 38),
            ("outside_diameter_tol", 14),
            ("pitch_accumulated_90deg_tol", 7),
            ("pitch_adjacent_tol", 7),
            ("radial_runout_tir", 1),
        ]
    );
}
