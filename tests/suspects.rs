//! Whether wrong readings are found, named and set aside, and right ones left alone.

mod common;

use common::printer::{Deviates, Printer, summary};
use shrinkrule::correction::Correction;
use shrinkrule::correction::fit::{FitOptions, Method, fit, fit_all};
use shrinkrule::readings::{Conditions, Reading, SetupReadings, read_bytes};

fn usual(seed: u64) -> SetupReadings {
    let printer = Printer { step_mm: 0.01, print_sd_mm: 0.02, ..Printer::usual() };
    printer.print("made up", &mut Deviates::new(seed))
}

fn fitted(setup: &SetupReadings, options: &FitOptions) -> Correction {
    fit(setup, &Conditions::default(), options).unwrap().correction
}

/// Moves a whole feature: all its readings.
fn move_feature(setup: &mut SetupReadings, at: usize, by_mm: f64) {
    let repeats = &mut setup.features[at].repeats;
    repeats.mean_mm += by_mm;
    repeats.lowest.mm += by_mm;
    repeats.highest.mm += by_mm;
}

#[test]
fn three_gross_errors_do_not_hide_each_other_and_no_good_reading_is_blamed() {
    for seed in 0..40 {
        let mut setup = usual(seed);
        // Three of the ten bores, the same way: least squares alone would move the line to them.
        let wrong = [1, 3, 22];
        wrong.iter().for_each(|at| move_feature(&mut setup, *at, 0.3));
        let correction = fitted(&setup, &FitOptions::default());
        let mut lines: Vec<u64> = correction.set_aside.iter().map(|aside| aside.line).collect();
        for at in wrong {
            let Reading { line, .. } = setup.features[at].repeats.lowest;
            assert!(lines.contains(&line), "seed {seed}: line {line} is not among {lines:?}");
            let own = &setup.features[at].repeats;
            lines.retain(|line| *line != own.lowest.line && *line != own.highest.line);
        }
        // One clean setup in twenty loses a reading by chance.
        assert!(lines.len() <= 2, "seed {seed}: {lines:?}");
        let bores = correction.summary(shrinkrule::kind::Kind::Bore).unwrap();
        assert!((bores.deviation_mm + 0.18 + 0.004 * bores.at_mm).abs() < 0.05, "seed {seed}: {bores:?}");
    }
}

#[test]
fn a_clean_setup_seldom_loses_a_reading() {
    let lost = (0..400).filter(|seed| !fitted(&usual(*seed), &FitOptions::default()).set_aside.is_empty());
    let share = lost.count() as f64 / 400.0;
    println!("clean setups that lose something: {share:.3}");
    // Two tests at 5 % each.
    assert!(share < 0.13, "{share}");
}

#[test]
fn one_reading_that_stands_apart_from_its_repeats_goes_alone() {
    let mut setup = usual(1);
    let feature = &mut setup.features[7];
    let base = feature.repeats.mean_mm;
    let readings = [base, base + 0.01, base + 0.25].map(|mm| (mm * 100.0).round() / 100.0);
    let lines = readings.iter().zip(70..).map(|(mm, line)| Reading { mm: *mm, line });
    feature.repeats = summary(&lines.collect::<Vec<_>>());
    let correction = fitted(&setup, &FitOptions::default());
    assert_eq!(correction.set_aside.len(), 1, "{:?}", correction.set_aside);
    assert_eq!(correction.set_aside[0].line, 72);
    assert!(correction.set_aside[0].reason.contains("above the other 2 readings of pin-2 of pins, print 1"));
    let readings: u64 = correction.kinds.values().map(|of| of.readings).sum();
    assert_eq!(readings, 40 * 3 - 1);
}

#[test]
fn a_slip_of_the_pen_is_named_and_keep_all_uses_it() {
    let mut setup = usual(2);
    let feature = &mut setup.features[2];
    let Reading { line, .. } = feature.repeats.highest;
    let readings = [
        Reading { mm: 5.8, line: line - 1 },
        Reading { mm: 58.1, line },
        Reading { mm: 5.8, line: line + 1 },
    ];
    feature.repeats = summary(&readings);
    let correction = fitted(&setup, &FitOptions::default());
    assert_eq!(correction.set_aside.len(), 1);
    assert_eq!(correction.set_aside[0].line, line);
    assert!(
        correction.set_aside[0]
            .reason
            .contains("58.1 is 10 times too large: a slipped decimal point? 5.81 would fit"),
        "{}",
        correction.set_aside[0].reason
    );
    let kept = fitted(&setup, &FitOptions { keep_all: true, ..FitOptions::default() });
    assert!(kept.set_aside.is_empty());
    let said = format!("1 reading looks wrong and is used because of --keep-all: line {line}");
    assert!(kept.warnings.contains(&said), "{:?}", kept.warnings);
    assert!(kept.spread.repeat.unwrap().sd_mm > 1.0);
}

#[test]
fn when_more_than_a_fifth_of_the_features_is_wrong_it_says_that_the_sheet_is() {
    let mut setup = usual(3);
    for at in 0..10 {
        move_feature(&mut setup, 4 * at, 0.3 + 0.04 * at as f64);
    }
    let correction = fitted(&setup, &FitOptions::default());
    let said =
        correction.warnings.iter().any(|warning| warning.starts_with("more than 20 % of the features"));
    assert!(said, "{:?} {:?}", correction.warnings, correction.set_aside.len());
}

#[test]
fn exact_readings_with_one_gross_error_give_the_truth() {
    let printer = Printer { feature_sd_mm: 0.0, repeat_sd_mm: 0.0, ..Printer::usual() };
    let mut setup = printer.print("exact", &mut Deviates::new(1));
    move_feature(&mut setup, 12, 0.2);
    let correction = fitted(&setup, &FitOptions::default());
    assert_eq!(correction.form.name(), "shared");
    for truth in &printer.kinds {
        let summary = correction.summary(truth.kind).unwrap();
        assert!((summary.offset_mm - truth.offset_mm).abs() < 1e-9, "{summary:?}");
        assert!((summary.scale - truth.scale).abs() < 1e-9, "{summary:?}");
    }
    assert!(!correction.set_aside.is_empty());
}

#[test]
fn setups_of_one_file_are_fitted_as_each_by_itself_and_in_its_order() {
    let mut text = String::from("setup,feature,kind,nominal_mm,copy,reading_mm\n");
    let mut random = Deviates::new(7);
    for setup in 0..40 {
        for copy in 1..=3 {
            for (kind, nominal_mm) in [("bore", 4.0), ("outer", 20.0), ("bore", 8.0), ("outer", 40.0)] {
                for repeat in 0..3 {
                    // Every third setup has one reading far from its repeats, another a slipped point.
                    let wrong = if setup % 3 == 0 && (copy, repeat) == (2, 1) { 0.4 } else { 0.0 };
                    let factor =
                        if setup % 5 == 0 && (copy, repeat, kind) == (1, 0, "bore") { 10.0 } else { 1.0 };
                    let mm = (nominal_mm + wrong + 0.02 * random.normal()) * factor;
                    text += &format!("S{setup},{kind}-{nominal_mm},{kind},{nominal_mm},{copy},{mm:.2}\n");
                }
            }
        }
    }
    let checked = read_bytes("made-up.csv".as_ref(), text.as_bytes()).unwrap();
    for method in [Method::LeastSquares, Method::Structured] {
        let options = FitOptions { method, ..FitOptions::default() };
        let together = fit_all(&checked, &options);
        assert_eq!(together.len(), 40);
        let mut set_aside = 0;
        for (setup, together) in checked.setups().zip(together) {
            let mut together = together.unwrap();
            set_aside += together.correction.set_aside.len();
            together.correction.readings_file = String::new();
            together.correction.readings_sha256 = String::new();
            assert_eq!(together, fit(&setup, &checked.conditions, &options).unwrap());
        }
        assert!(set_aside > 20, "{set_aside}");
    }
}
