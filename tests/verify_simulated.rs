//! How often a verification says what is true of a simulated printer.

mod common;

use common::printer::{Deviates, Printer};
use shrinkrule::correction::Correction;
use shrinkrule::correction::fit::{FitOptions, fit};
use shrinkrule::correction::verify::{Options, Verdict, verify};
use shrinkrule::readings::{Conditions, SetupReadings};

/// What became of the printer after its correction was fitted.
#[derive(Clone, Copy, Debug)]
enum Change {
    None,
    /// Outside sizes grew and inside sizes closed by this, mm.
    Walls(f64),
    /// All sizes grew by this, mm.
    AllSizes(f64),
    /// All sizes grew by this share.
    Scale(f64),
    /// Nothing, and one feature of twenty was read wrong by so much, mm.
    Slip(f64),
}

/// A printer that spreads so, mm, its correction from so many prints, and so many later ones.
#[derive(Clone, Copy, Debug)]
struct Case {
    print_sd_mm: f64,
    feature_sd_mm: f64,
    fitted: u32,
    later: u32,
}

#[derive(Clone, Copy, Debug, Default)]
struct Rates {
    drifted: f64,
    holds: f64,
}

fn printer(case: Case, prints: u32) -> Printer {
    Printer {
        print_sd_mm: case.print_sd_mm,
        feature_sd_mm: case.feature_sd_mm,
        step_mm: 0.01,
        prints,
        ..Printer::usual()
    }
}

fn changed(mut later: SetupReadings, change: Change) -> SetupReadings {
    for (at, feature) in later.features.iter_mut().enumerate() {
        let by = match change {
            Change::None => 0.0,
            Change::Walls(mm) => mm * feature.kind.swell_sign() / 2.0,
            Change::AllSizes(mm) => mm,
            Change::Scale(share) => share * feature.nominal_mm,
            Change::Slip(mm) => mm * f64::from(u8::from(at == 7)),
        };
        let repeats = &mut feature.repeats;
        repeats.mean_mm += by;
        repeats.lowest.mm += by;
        repeats.highest.mm += by;
    }
    later
}

fn rates(case: Case, change: Change, runs: u64) -> Rates {
    let mut rates = Rates::default();
    for run in 0..runs {
        let mut random = Deviates::new(1000 + run);
        let fitted = printer(case, case.fitted).print("known", &mut random);
        let correction: Correction =
            fit(&fitted, &Conditions::default(), &FitOptions::default()).unwrap().correction;
        let later = changed(printer(case, case.later).print("known", &mut random), change);
        let verdict = verify(&correction, &later, &Options::default()).unwrap().verdict;
        rates.drifted += f64::from(u8::from(verdict == Verdict::Drifted)) / runs as f64;
        rates.holds += f64::from(u8::from(verdict == Verdict::Holds)) / runs as f64;
    }
    rates
}

const fn case(print_sd_mm: f64, feature_sd_mm: f64, fitted: u32, later: u32) -> Case {
    Case { print_sd_mm, feature_sd_mm, fitted, later }
}

#[test]
fn a_printer_that_did_not_change_is_called_drifted_in_5_of_100_cases_at_most() {
    for case in [
        case(0.01, 0.01, 3, 1),
        case(0.03, 0.025, 1, 1),
        case(0.03, 0.025, 2, 1),
        case(0.03, 0.025, 3, 1),
        case(0.03, 0.025, 3, 3),
        case(0.06, 0.04, 3, 1),
        case(0.06, 0.04, 3, 3),
    ] {
        let rates = rates(case, Change::None, 600);
        println!("{case:?}: {rates:?}");
        assert!(rates.drifted <= 0.05, "{case:?}: {rates:?}");
    }
}

#[test]
fn a_printer_that_moved_is_noticed_and_seldom_called_good() {
    for (case, change, least) in [
        (case(0.01, 0.01, 3, 1), Change::Walls(0.1), 0.5),
        (case(0.03, 0.025, 1, 1), Change::Walls(0.1), 0.4),
        (case(0.03, 0.025, 2, 2), Change::Walls(0.1), 0.2),
        (case(0.03, 0.025, 3, 1), Change::Walls(0.1), 0.2),
        (case(0.03, 0.025, 3, 3), Change::Walls(0.1), 0.65),
        (case(0.03, 0.025, 3, 1), Change::Walls(0.2), 0.75),
        (case(0.03, 0.025, 3, 1), Change::AllSizes(0.1), 0.99),
        (case(0.03, 0.025, 3, 1), Change::Scale(0.004), 0.15),
    ] {
        let rates = rates(case, change, 400);
        println!("{case:?} {change:?}: {rates:?}");
        assert!(rates.drifted >= least, "{case:?} {change:?}: {rates:?}");
        assert!(rates.holds <= 0.09, "{case:?} {change:?}: {rates:?}");
    }
}

#[test]
fn one_wrong_reading_is_no_drift() {
    for slip in [0.3, -1.0, 10.0] {
        let rates = rates(case(0.01, 0.02, 3, 1), Change::Slip(slip), 300);
        println!("{slip}: {rates:?}");
        assert!(rates.drifted <= 0.07, "{slip}: {rates:?}");
    }
}
