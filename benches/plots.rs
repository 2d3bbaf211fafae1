//! The four pictures of one fit, as SVG and PNG: `cargo bench --bench plots`.

use divan::Bencher;
use shrinkrule::plot::fit_figures;
use shrinkrule::readings::Conditions;
use shrinkrule::report::fit::{SetupReport, fit_report};
// The sample is part of the crate's tests and names its types as the crate does.
use shrinkrule::{correction, kind};

#[path = "../src/plot/sample.rs"]
mod sample;

use sample::{Shape, fit};

fn main() {
    divan::main();
}

fn shape(name: &str) -> Shape {
    match name {
        "starter" => Shape { points: 4, prints: 3, ..Shape::default() },
        _ => Shape { kinds: 5, points: 60, prints: 10, sizes: (1.0, 200.0), ..Shape::default() },
    }
}

#[divan::bench(args = ["starter", "3000 points"])]
fn pictures(bencher: Bencher, name: &str) {
    let fit = fit(&shape(name));
    bencher.bench(|| fit_figures(&fit).expect("the sample can be drawn"));
}

#[divan::bench(args = ["starter"])]
fn report(bencher: Bencher, name: &str) {
    let fit = fit(&shape(name));
    let figures = fit_figures(&fit).expect("the sample can be drawn");
    let setup = SetupReport { fit: &fit, figures: &figures, correction_file: "sample.correction.toml" };
    bencher.bench(|| fit_report(&[setup], &Conditions::default()).expect("the page can be filled in"));
}
