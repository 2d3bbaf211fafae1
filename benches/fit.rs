//! Time of a fit: the solve alone, one setup, a thousand setups.

#[path = "../tests/common/printer.rs"]
mod printer;

use printer::{Deviates, Printer};
use shrinkrule::correction::fit::{FitOptions, fit};
use shrinkrule::readings::{Conditions, SetupReadings};
use shrinkrule::stats::least_squares::Rows;

fn main() {
    divan::main();
}

/// A design of forty distinct rows and nine coefficients, as a coupon set of seven kinds gives: an offset a
/// kind, a scale and the small-bore term.
#[divan::bench]
fn solve_forty_rows_for_nine_coefficients(bencher: divan::Bencher) {
    bencher.bench(|| {
        let mut rows = Rows::with_constants(7, 2);
        for i in 0..40_u32 {
            let x = f64::from(3 + i * 7 % 37);
            let kind = (i % 7) as usize;
            let row = [x, f64::from(kind == 0) / x];
            rows.push_repeated(kind, row, 0.01 * f64::from(i * 31 % 11), 8, 0.003);
        }
        rows.solve()
    });
}

fn setups(count: u64, prints: u32, repeats: u32) -> Vec<SetupReadings> {
    let printer = Printer { prints, repeats, step_mm: 0.01, ..Printer::usual() };
    (0..count).map(|seed| printer.print("made up", &mut Deviates::new(seed))).collect()
}

/// Twenty features, three prints, three readings each: 180 readings.
#[divan::bench]
fn fit_of_one_setup(bencher: divan::Bencher) {
    let setups = setups(1, 3, 3);
    bencher.bench(|| fit(&setups[0], &Conditions::default(), &FitOptions::default()));
}

/// A thousand setups of a thousand readings, one core; arguments: prints, readings of a feature.
#[divan::bench(args = [(50, 1), (17, 3), (10, 5)], sample_count = 5)]
fn fit_of_a_thousand_setups(bencher: divan::Bencher, (prints, repeats): (u32, u32)) {
    let setups = setups(1000, prints, repeats);
    let options = FitOptions { points: false, ..FitOptions::default() };
    bencher.bench(|| {
        setups.iter().map(|setup| fit(setup, &Conditions::default(), &options)).collect::<Vec<_>>()
    });
}
