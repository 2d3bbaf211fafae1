//! Published values of least squares and of the tests that the fit rests on.

mod common;

use std::path::Path;

use common::printer::summary;
use shrinkrule::correction::fit::{FitOptions, fit};
use shrinkrule::correction::fitted::Fit;
use shrinkrule::kind::{Axis, Kind};
use shrinkrule::readings::{Conditions, FeatureReadings, Reading, SetupReadings};
use shrinkrule::stats::distribution::{f_above, outlying, t_quantile};
use shrinkrule::stats::least_squares::{Rows, Solution};

/// Rows of a file of numbers under `data/published`, its header left out.
fn published(name: &str) -> Vec<Vec<f64>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/published").join(name);
    let text = std::fs::read_to_string(path).unwrap();
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect()
}

/// Correct digits: minus the logarithm of the relative error.
fn digits(got: f64, certified: f64) -> f64 {
    -((got - certified).abs() / certified.abs()).max(1e-16).log10()
}

#[track_caller]
fn assert_digits(what: &str, got: &[f64], certified: &[f64], wanted: f64) {
    assert_eq!(got.len(), certified.len());
    let worst = got.iter().zip(certified).map(|(got, certified)| digits(*got, *certified));
    let worst = worst.fold(f64::INFINITY, f64::min);
    println!("{what}: {worst:.1} digits");
    assert!(worst >= wanted, "{what}: {worst:.1} digits, wanted {wanted}; got {got:?}");
}

fn standard_errors(fit: &Solution) -> Vec<f64> {
    let covariance = fit.covariance(fit.variance().unwrap());
    (0..covariance.len()).map(|i| covariance[i][i].sqrt()).collect()
}

/// Source: NIST Statistical Reference Datasets, linear regression, "Norris".
#[test]
fn nist_norris_comes_out_to_ten_digits() {
    let mut rows = Rows::new(2);
    published("nist_norris.csv").iter().for_each(|row| rows.push([1.0, row[1]], row[0]));
    let fit = rows.solve().unwrap();
    assert_digits("norris b", &fit.coefficients, &[-0.262323073774029, 1.00211681802045], 10.0);
    assert_digits("norris se", &standard_errors(&fit), &[0.232818234301152, 0.429796848199937e-3], 10.0);
    let sd = fit.variance().unwrap().sqrt();
    assert_digits("norris residual sd", &[sd], &[0.884796396144373], 10.0);
    // The usual slip, n in place of n - 2.
    assert!(digits(sd * (34.0_f64 / 36.0).sqrt(), 0.884796396144373) < 2.0);
}

/// Source: NIST Statistical Reference Datasets, linear regression, "Longley".
#[test]
fn nist_longley_comes_out_to_nine_digits() {
    let mut rows = Rows::new(7);
    for row in published("nist_longley.csv") {
        rows.push(std::iter::once(1.0).chain(row[1..].iter().copied()), row[0]);
    }
    let fit = rows.solve().unwrap();
    let certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.358191792925910e-1,
        -2.02022980381683,
        -1.03322686717359,
        -0.511041056535807e-1,
        1829.15146461355,
    ];
    assert_digits("longley b", &fit.coefficients, &certified, 9.0);
    let certified = [
        890420.383607373,
        84.9149257747669,
        0.334910077722432e-1,
        0.488399681651699,
        0.214274163161675,
        0.226073200069370,
        455.478499142212,
    ];
    assert_digits("longley se", &standard_errors(&fit), &certified, 9.0);
    assert_digits("longley residual sd", &[fit.variance().unwrap().sqrt()], &[304.854073561965], 9.0);
    // A thousandth in the last row's year shows in the first coefficient.
    let mut rows = Rows::new(7);
    for (at, row) in published("nist_longley.csv").iter().enumerate() {
        let year = row[6] + if at == 15 { 1e-3 } else { 0.0 };
        rows.push([1.0, row[1], row[2], row[3], row[4], row[5], year], row[0]);
    }
    assert!(digits(rows.solve().unwrap().coefficients[0], -3482258.63459582) < 9.0);
}

/// Source: NIST Statistical Reference Datasets, linear regression, "Wampler1" to "Wampler5": a fifth
/// power in 0..20, exact or with a made error of growing size, given there by formula.
#[test]
fn nist_wampler_sets_come_out_to_the_digits_that_their_condition_leaves() {
    let half = [759, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 1838, -2048, 2048].map(f64::from);
    let error = |i: usize| half[if i <= 10 { i } else { 20 - i }];
    let power = |x: f64| (0..6).map(|k| x.powi(k)).sum::<f64>();
    let solve = |response: &dyn Fn(usize) -> f64| {
        let mut rows = Rows::new(6);
        (0..21).for_each(|i| rows.push((0..6).map(|k| (i as f64).powi(k)), response(i)));
        rows.solve().unwrap()
    };
    let ones = [1.0; 6];
    let se = [
        2152.32624678170,
        2363.55173469681,
        779.343524331583,
        101.475507550350,
        5.64566512170752,
        0.112324854679312,
    ];
    let exact = solve(&|i| power(i as f64));
    assert_digits("wampler1 b", &exact.coefficients, &ones, 8.0);
    assert!(exact.variance().unwrap().sqrt() < 1e-6);
    let tenths: Vec<f64> = (0..6).map(|k| 0.1_f64.powi(k)).collect();
    let exact = solve(&|i| power(i as f64 / 10.0));
    assert_digits("wampler2 b", &exact.coefficients, &tenths, 10.0);
    for (name, size, wanted) in [("wampler3", 1.0, 8.0), ("wampler4", 100.0, 6.0), ("wampler5", 1e4, 5.0)] {
        let fit = solve(&|i| power(i as f64) + size * error(i));
        assert_digits(&format!("{name} b"), &fit.coefficients, &ones, wanted);
        assert_digits(&format!("{name} se"), &standard_errors(&fit), &se.map(|se| se * size), 12.0);
        assert_digits(
            &format!("{name} residual sd"),
            &[fit.variance().unwrap().sqrt()],
            &[2360.14502379268 * size],
            12.0,
        );
    }
    // The same error without its sign at one place is another set.
    let wrong = solve(&|i| power(i as f64) + if i == 4 { -error(i) } else { error(i) });
    assert!(digits(wrong.coefficients[0], 1.0) < 1.0);
}

/// A setup of one kind, one reading a feature: (nominal, reading).
fn setup_of(kind: Kind, sizes: &[(f64, f64)]) -> SetupReadings {
    let feature = |(at, (nominal_mm, mm)): (usize, &(f64, f64))| FeatureReadings {
        coupon: "".into(),
        feature: format!("{kind}-{nominal_mm}").into(),
        kind,
        axis: Axis::Round,
        nominal_mm: *nominal_mm,
        copy: 1,
        repeats: summary(&[Reading { mm: *mm, line: at as u64 + 2 }]),
    };
    let features = sizes.iter().enumerate().map(feature).collect();
    SetupReadings { setup: "published".to_owned(), features }
}

fn fit_with(setup: &SetupReadings, model: Option<&str>) -> Fit {
    let form = model.map(|model| model.parse().unwrap());
    fit(setup, &Conditions::default(), &FitOptions { form, ..FitOptions::default() }).unwrap()
}

/// Source: printed bores of 3 to 10 mm, 1.2 mm wall, a public write-up of 2022, read off its chart; its
/// figures are given with the data.
#[test]
fn printed_bores_of_3_to_10_mm_are_curved_and_the_line_is_called_a_poor_fit() {
    let bores: Vec<(f64, f64)> = [
        (3.0, 2.6034),
        (4.0, 3.6901),
        (5.0, 4.7733),
        (6.0, 5.83),
        (7.0, 6.84),
        (8.0, 7.86),
        (9.0, 8.87),
        (10.0, 9.88),
    ]
    .to_vec();
    let setup = setup_of(Kind::Bore, &bores);
    let line = fit_with(&setup, Some("own"));
    assert!((line.correction.coefficients[0] + 0.447).abs() < 5e-4, "{:?}", line.correction.coefficients);
    assert!((line.correction.coefficients[1] - 0.0370).abs() < 5e-5);
    assert!((line.residual_sd_mm - 0.043).abs() < 5e-4);
    let residuals = [-0.061, -0.011, 0.035, 0.055, 0.028, 0.011, -0.016, -0.043];
    for (point, residual) in line.points.iter().zip(residuals) {
        assert!((point.residual_mm - residual).abs() < 6e-4, "{}", point.residual_mm);
    }
    assert!(
        line.correction.warnings[1].starts_with(
            "the straight line fits the bores poorly: their deviations curve with size (p = 0.0007); \
             `offset+small-bore` fits better (AICc "
        ),
        "{:?}",
        line.correction.warnings
    );
    let free = fit_with(&setup, None);
    assert!(free.correction.form.small_bore, "{}", free.correction.form);
    assert!(free.residual_sd_mm < 0.015 && free.correction.warnings.len() == 1);
    assert!(free.correction.runners_up.iter().any(|other| other.form.name() == "own"));
    // Beyond the bores that were measured the answer says so.
    let size = free.correction.size_for(Kind::Bore, Axis::Round, mm(20.0), mm(0.01)).unwrap();
    let said = free.correction.extrapolation(Kind::Bore, size.draw.get(), size.prediction.beyond_mm);
    assert!(said.unwrap().contains("10.05 mm outside the sizes of bores that were measured, 3 to 10 mm"));
    // Negative control: the same spread about a true line is neither called curved nor given the term.
    let straight: Vec<(f64, f64)> = bores
        .iter()
        .zip([0.011, -0.035, 0.028, -0.016, 0.055, -0.043, 0.04, -0.03])
        .map(|((nominal, _), e)| (*nominal, nominal - 0.2 + e))
        .collect();
    let straight = setup_of(Kind::Bore, &straight);
    assert_eq!(fit_with(&straight, Some("own")).correction.warnings.len(), 1);
    assert!(!fit_with(&straight, None).correction.form.small_bore);
}

fn mm(value: f64) -> shrinkrule::units::Mm {
    shrinkrule::units::Mm::new(value).unwrap()
}

/// Source: JCGM 100:2008, annex H.3, calibration of a thermometer, table H.6 and H.3.3 to H.3.5; all
/// printed digits.
#[test]
fn the_calibration_line_of_gum_h3_comes_out_with_its_correlation() {
    let data = published("gum_h3.csv");
    let line = |from: f64| {
        let mut rows = Rows::new(2);
        data.iter().for_each(|row| rows.push([1.0, row[0] - from], row[1]));
        rows.solve().unwrap()
    };
    let fit = line(20.0);
    let s = fit.variance().unwrap().sqrt();
    let covariance = fit.covariance(s * s);
    let (u1, u2) = (covariance[0][0].sqrt(), covariance[1][1].sqrt());
    assert!((fit.coefficients[0] + 0.1712).abs() < 5e-5 && (u1 - 0.0029).abs() < 5e-5);
    assert!((fit.coefficients[1] - 0.00218).abs() < 5e-6 && (u2 - 0.00067).abs() < 5e-6);
    assert!((covariance[0][1] / (u1 * u2) + 0.930).abs() < 5e-4);
    assert!((s - 0.0035).abs() < 5e-5 && fit.dof() == 9);
    // The correction at 30 degrees and its uncertainty, the covariance included.
    let u30 = s * fit.leverage(&[1.0, 10.0]).sqrt();
    assert!((fit.at(&[1.0, 10.0]) + 0.1494).abs() < 5e-5 && (u30 - 0.0041).abs() < 5e-5);
    // Left out, the covariance would give 0.0073; about the mean reading there is none.
    assert!((u1.hypot(10.0 * u2) - 0.0041).abs() > 0.002);
    let centred = line(24.0085);
    let covariance = centred.covariance(s * s);
    assert!(
        (centred.coefficients[0] + 0.1625).abs() < 5e-5 && (covariance[0][0].sqrt() - 0.0011).abs() < 5e-5
    );
    assert!(covariance[0][1].abs() / (covariance[0][0] * covariance[1][1]).sqrt() < 1e-3);
}

/// Source: NIST/SEMATECH e-Handbook 1.3.5.17.1, Tietjen and Moore's mass spectrometer readings; critical
/// value 2.032 one-sided, 2.126645 two-sided.
#[test]
fn the_outlier_of_the_mass_spectrometer_readings_is_found_by_grubbs_limit() {
    // Grubbs' limit is the studentised one in another unit.
    let grubbs = |t: f64, n: f64| (n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt();
    assert!((grubbs(outlying(0.05, 8.0, 6.0), 8.0) - 2.126_645_05).abs() < 1e-7);
    assert!((grubbs(outlying(0.10, 8.0, 6.0), 8.0) - 2.032).abs() < 5e-4);
    let readings: Vec<f64> = published("grubbs_massspec.csv").iter().map(|row| row[0]).collect();
    let set_aside = |readings: &[f64]| {
        let mut setup = setup_of(Kind::Span, &[(200.0, 201.0), (100.0, 100.8), (50.0, 50.2), (25.0, 25.3)]);
        let lines = readings.iter().enumerate().map(|(at, mm)| Reading { mm: *mm, line: at as u64 + 2 });
        setup.features[0].repeats = summary(&lines.collect::<Vec<_>>());
        fit_with(&setup, Some("offset")).correction.set_aside
    };
    let found = set_aside(&readings);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].line, found[0].reading_mm), (9, 245.57));
    assert!(found[0].reason.contains("above the other 7 readings"), "{}", found[0].reason);
    // G of the other seven is 1.4 with a limit of 2.0: nothing more to find, and nothing at first.
    assert!(set_aside(&readings[..7]).is_empty());
}

/// Source: tables of Student t and F in any statistics text; digits by an independent computation.
#[test]
fn quantiles_and_tails_are_those_of_the_tables() {
    let t = [
        (1.0, 12.70620474),
        (2.0, 4.30265273),
        (5.0, 2.570581836),
        (9.0, 2.262157163),
        (20.0, 2.085963447),
        (120.0, 1.979930405),
        (f64::INFINITY, 1.959963985),
    ];
    for (dof, expected) in t {
        assert!((t_quantile(0.975, dof) / expected - 1.0).abs() < 1e-8, "t, {dof}");
    }
    let f = [
        (1.0, 1.0, 161.4476388),
        (1.0, 10.0, 4.964602744),
        (2.0, 10.0, 4.102821015),
        (3.0, 20.0, 3.098391212),
        (5.0, 10.0, 3.32583453),
        (10.0, 10.0, 2.978237016),
        (4.0, 60.0, 2.525215102),
    ];
    for (above, below, quantile) in f {
        assert!((f_above(quantile, above, below) - 0.05).abs() < 1e-8, "F, {above} and {below}");
    }
    // Degrees of freedom the wrong way round are far off.
    assert!((f_above(4.964602744, 10.0, 1.0) - 0.05).abs() > 0.1);
    assert_eq!(f_above(2.0, 0.0, 5.0), 1.0);
}
