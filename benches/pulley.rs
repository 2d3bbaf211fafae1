//! How long pulleys take: designed, corrected, checked and proven watertight.

use std::collections::BTreeMap;

use divan::Bencher;
use shrinkrule::correction::{Correction, Coverage, Form, ScaleForm, Spread, SpreadEstimate, Term};
use shrinkrule::geometry::stl;
use shrinkrule::kind::Kind;
use shrinkrule::parts::build::recess::End;
use shrinkrule::parts::pulley::Design;
use shrinkrule::parts::pulley_batch::make_all;
use shrinkrule::parts::pulley_request::{Build, Flanges, Hub, Request, ScrewsAsked};
use shrinkrule::parts::pulley_solid::solid;
use shrinkrule::units::Mm;

fn main() {
    divan::main();
}

/// Invented: a setup that swells by about 0.08 mm a side and shrinks by 0.4 %.
fn correction() -> Correction {
    let model = [
        (Term::Offset(Kind::Pin), 0.14),
        (Term::Offset(Kind::Gap), -0.18),
        (Term::Offset(Kind::Bore), -0.16),
        (Term::Offset(Kind::Height), 0.05),
        (Term::Scale, -0.004),
    ];
    let coverage = Coverage { min_mm: 1.0, max_mm: 60.0, features: 6, readings: 18 };
    let kinds = [Kind::Pin, Kind::Gap, Kind::Bore, Kind::Height];
    Correction {
        setup: "invented".to_owned(),
        date: None,
        readings_file: String::new(),
        readings_sha256: String::new(),
        program_version: String::new(),
        form: Form { scale: ScaleForm::Shared, small_bore: false },
        runners_up: Vec::new(),
        terms: model.iter().map(|(term, _)| *term).collect(),
        coefficients: model.iter().map(|(_, coefficient)| *coefficient).collect(),
        covariance: vec![vec![0.0; model.len()]; model.len()],
        dof: 20.0,
        prints: 3,
        kinds: kinds.into_iter().map(|kind| (kind, coverage)).collect::<BTreeMap<_, _>>(),
        spread: Spread {
            print: SpreadEstimate { sd_mm: 0.02, dof: Some(2.0) },
            feature: SpreadEstimate { sd_mm: 0.01, dof: Some(20.0) },
            repeat: None,
            caliper_u_mm: 0.003,
        },
        print_effects: None,
        set_aside: Vec::new(),
        warnings: Vec::new(),
    }
}

fn request(teeth: u32, flanges: Flanges) -> Request {
    Request {
        belt: "T5".to_owned(),
        teeth,
        bore: Mm::new(5.0).expect("finite"),
        flanges,
        belt_width: Mm::new(10.0),
        allow_few_teeth: false,
        build: Build::default(),
    }
}

/// 200 pulleys of 12 to 60 teeth.
fn batch(flanges: Flanges) -> Vec<Request> {
    (0..200).map(|i| request(12 + i % 49, flanges)).collect()
}

fn make(request: &Request, correction: &Correction) -> usize {
    let design = Design::new(request, Some(correction)).expect("these pulleys exist");
    solid(&design).expect("these pulleys are solids").mesh().triangles.len()
}

#[divan::bench(args = [0, 1, 2], sample_count = 10)]
fn two_hundred_of_12_to_60_teeth(bencher: Bencher, flanges: u8) {
    let correction = correction();
    let requests = batch(Flanges::from_count(flanges).expect("0, 1 or 2"));
    bencher.bench(|| requests.iter().map(|request| make(request, &correction)).sum::<usize>());
}

/// The same batch with two flanges, a hub, a set screw, and a label.
#[divan::bench(sample_count = 10)]
fn two_hundred_with_hub_set_screw_and_label(bencher: Bencher) {
    let correction = correction();
    let requests: Vec<Request> = batch(Flanges::Two).into_iter().map(dressed).collect();
    bencher.bench(|| make_all(&requests, Some(&correction)).iter().filter(|made| made.is_ok()).count());
}

/// The same one after another on one thread.
#[divan::bench(sample_count = 10)]
fn two_hundred_with_hub_set_screw_and_label_on_one_thread(bencher: Bencher) {
    let correction = correction();
    let requests: Vec<Request> = batch(Flanges::Two).into_iter().map(dressed).collect();
    bencher.bench(|| requests.iter().map(|request| make(request, &correction)).sum::<usize>());
}

fn dressed(request: Request) -> Request {
    // Within the smallest root there is, of 12 teeth.
    let set_screws = ScrewsAsked { count: 1, hole_mm: 2.5, nut_mm: None };
    let build = Build {
        hubs: vec![Hub { end: End::Top, diameter_mm: 15.0, length_mm: 8.0 }],
        set_screws: Some(set_screws),
        label: Some(request.teeth.to_string()),
        ..Build::default()
    };
    Request { build, ..request }
}

/// About the mean of that batch, short enough to be timed on a busy machine.
#[divan::bench(args = [0, 1, 2])]
fn one_of_36_teeth(bencher: Bencher, flanges: u8) {
    let correction = correction();
    let request = request(36, Flanges::from_count(flanges).expect("0, 1 or 2"));
    bencher.bench(|| make(&request, &correction));
}

#[divan::bench]
fn design_and_check_of_20_teeth(bencher: Bencher) {
    let correction = correction();
    bencher
        .bench(|| Design::new(&request(20, Flanges::Two), Some(&correction)).expect("exists").deviation_mm);
}

#[divan::bench]
fn stl_bytes_of_20_teeth(bencher: Bencher) {
    let design = Design::new(&request(20, Flanges::Two), None).expect("exists");
    let solid = solid(&design).expect("a solid");
    bencher.bench(|| stl::to_bytes(&[&solid], "pulley").expect("counts").len());
}
