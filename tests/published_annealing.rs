//! Published annealing measurements through the comparison: means, signs and anisotropy as the papers have them.
//!
//! Source: J. Lluch-Cerezo et al., Polymers 2022, 14(13), 2607, doi 10.3390/polym14132607, tables 4 and 5; J. R.
//! Stojkovic et al., Materials 2023, 16(13), 4574, doi 10.3390/ma16134574, table 8; both under CC BY 4.0.
//!
//! The first paper gives means of five bars and no spreads. To go through the program the means became a sheet of
//! five bars a condition, `data/published/lluchcerezo2022_sheet.csv`. Two things in it are assumed and not
//! published: that each bar had its nominal size before, and that bars scatter as the paper's caliper may be out,
//! 0.03 mm either way.

use std::fmt::Write as _;
use std::path::Path;

use shrinkrule::compare::verdict::Verdict;
use shrinkrule::compare::{Comparison, Options, compare};
use shrinkrule::readings::read_file;
use shrinkrule::stats::trend::polynomial;

const PERCENT: &str = include_str!("../data/published/lluchcerezo2022_percent.csv");
const MAGNITUDE: &str = include_str!("../data/published/stojkovic2023_annealing_magnitude.csv");

/// One mean of the tables.
struct Mean {
    material: &'static str,
    celsius: f64,
    free: bool,
    dimension: char,
    nominal_mm: f64,
    percent: f64,
}

fn means() -> Vec<Mean> {
    let rows = PERCENT.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(|row| {
        let cells: Vec<&'static str> = row.split(',').collect();
        Mean {
            material: cells[0],
            celsius: cells[1].parse().unwrap(),
            free: cells[3] == "nomould",
            dimension: cells[4].chars().next().unwrap(),
            nominal_mm: cells[5].parse().unwrap(),
            percent: cells[6].parse().unwrap(),
        }
    })
    .collect()
}

fn group(dimension: char) -> &'static str {
    match dimension {
        'L' => "along x",
        'W' => "along y",
        _ => "heights",
    }
}

fn name(mean: &Mean) -> String {
    format!("{} {}", mean.material, if mean.free { "free" } else { "in powder" })
}

/// A caliper's half range of 0.03 mm, evenly spread, as a standard deviation.
const ASSUMED_SD_MM: f64 = 0.017_320_508;

/// Five bars whose scatter is the assumed one and whose mean is 0.
const BARS: [f64; 5] = [-1.264_911_064, -0.632_455_532, 0.0, 0.632_455_532, 1.264_911_064];

fn sheet() -> String {
    let mut text = String::from(
        "# Means of tables 4 and 5 of J. Lluch-Cerezo et al., Polymers 2022, 14(13), 2607, doi 10.3390/polym14132607, under CC BY 4.0,\n\
         # made into five bars a condition. ASSUMED, not published: nominal sizes before, and that bars scatter as the\n\
         # paper's caliper may be out (0.03 mm). tests/published_annealing.rs says how it was made\n\
         # caliper_resolution_mm: 0.01\n\
         stage,material,soak_c,soak_h,feature,kind,axis,nominal_mm,copy,reading_1_mm\n",
    );
    let mut all: Vec<Mean> = means();
    all.sort_by(|a, b| name(a).cmp(&name(b)).then(a.celsius.total_cmp(&b.celsius)));
    let mut first = 1;
    let mut last: Option<(String, f64)> = None;
    for mean in &all {
        let here = (name(mean), mean.celsius);
        if let Some(before) = &last
            && *before != here
        {
            // Every condition has bars of its own.
            first = if before.0 == here.0 { first + 5 } else { 1 };
        }
        let (kind, axis) = match mean.dimension {
            'L' => ("outer", "x"),
            'W' => ("outer", "y"),
            _ => ("height", "z"),
        };
        for (bar, copy) in BARS.iter().zip(first..) {
            let after = mean.nominal_mm * (1.0 + mean.percent / 100.0) + ASSUMED_SD_MM * bar;
            let what = format!("{},{kind},{axis},{}", mean.dimension, mean.nominal_mm);
            writeln!(text, "before,{},,,{what},{copy},{}", here.0, mean.nominal_mm).unwrap();
            writeln!(text, "{} C,{},{},2,{what},{copy},{after:.4}", mean.celsius, here.0, mean.celsius)
                .unwrap();
        }
        last = Some(here);
    }
    text
}

#[test]
fn the_sheet_is_what_the_tables_and_the_assumptions_give() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/published/lluchcerezo2022_sheet.csv");
    let expected = sheet();
    if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
        std::fs::write(&path, &expected).unwrap();
    }
    assert!(std::fs::read_to_string(&path).unwrap_or_default() == expected, "rewrite {}", path.display());
}

fn comparison() -> Comparison {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/published/lluchcerezo2022_sheet.csv");
    let file = read_file(&path).unwrap();
    compare(&[file], Options { limit_mm: 0.15, at_c: None }).unwrap()
}

#[test]
fn means_and_signs_of_every_direction_and_temperature_are_the_published_ones() {
    let comparison = comparison();
    let mut seen = 0;
    for mean in means() {
        let found = comparison
            .findings
            .iter()
            .find(|finding| {
                comparison.study.materials[finding.material].name == name(&mean)
                    && comparison.study.conditions[finding.condition].soak_c == Some(mean.celsius)
                    && finding.group.to_string() == group(mean.dimension)
            })
            .unwrap();
        let percent = found.percent(found.mean_mm);
        // The sheet has four decimals: 0.0013 % of 4 mm.
        assert!((percent - mean.percent).abs() < 2e-3, "{} {}: {percent}", name(&mean), mean.celsius);
        assert_eq!(found.pieces.len(), 5);
        // Half a millimetre and more is real whatever the caliper did.
        if (mean.percent * mean.nominal_mm / 100.0).abs() > 0.5 {
            assert!(found.is_real() && found.mean_mm.signum() == mean.percent.signum());
        }
        seen += 1;
    }
    assert_eq!((seen, comparison.findings.len()), (84, 84));
}

/// From 75 °C free PLA shrinks 1.6 % and more along its roads while it grows 2.6 % and more in height: one factor for
/// both would be wrong in each, and in sign for one.
#[test]
fn free_pla_shrinks_along_its_roads_and_grows_in_height_from_75_degrees() {
    let comparison = comparison();
    let change = |celsius: f64, group: &str| {
        let found = comparison.findings.iter().find(|finding| {
            comparison.study.materials[finding.material].name == "PLA free"
                && comparison.study.conditions[finding.condition].soak_c == Some(celsius)
                && finding.group.to_string() == group
        });
        found.map(|found| found.percent(found.mean_mm)).unwrap()
    };
    for celsius in [75.0, 86.0, 98.0, 109.0, 132.0, 155.0] {
        assert!(change(celsius, "along x") <= -1.6 + 2e-3, "{celsius}");
        assert!(change(celsius, "heights") >= 2.6 - 2e-3, "{celsius}");
    }
    assert!(change(63.0, "along x").abs() < 0.14 && change(63.0, "heights").abs() < 0.14);
}

/// The answer on the published data: which holds up to which of the paper's temperatures.
#[test]
fn up_to_which_temperature_each_holds_is_read_off_the_soaks() {
    let comparison = comparison();
    let reach = |name: &str| {
        let of =
            |it: &&shrinkrule::compare::course::Ceiling| comparison.study.materials[it.material].name == name;
        comparison.ceilings.iter().find(of).unwrap().reach
    };
    let (pla, abs) = (reach("PLA free"), reach("ABS free"));
    assert_eq!((pla.surely_to_c, pla.surely_not_from_c), (Some(63.0), Some(75.0)));
    assert_eq!((abs.surely_to_c, abs.surely_not_from_c), (Some(100.0), Some(118.0)));
    // Powder helps: ABS in it still exceeds 0.15 mm at 118 °C along 80 mm, by a third of what it does free.
    let at_118 = |name: &str| {
        comparison
            .findings
            .iter()
            .find(|finding| {
                comparison.study.materials[finding.material].name == name
                    && comparison.study.conditions[finding.condition].soak_c == Some(118.0)
                    && finding.group.to_string() == "along x"
            })
            .unwrap()
    };
    assert_eq!(at_118("ABS in powder").verdict, Verdict::Exceeds);
    assert!((at_118("ABS in powder").mean_mm / at_118("ABS free").mean_mm - 0.362).abs() < 0.002);
}

/// Cubics in the temperature through the means of tables 4 and 5, in percent. Expected: numpy 2 `polyfit` of the
/// same means, nine digits. The papers' own printed coefficients were not at hand.
#[test]
fn cubic_regressions_of_the_tables_reproduce() {
    let expected = [
        ("PLA", true, 'L', [22.4347399, -0.635864312, 0.00538562845, -1.56054469e-05], 0.999273),
        ("PLA", true, 'H', [-26.2489382, 0.745221075, -0.00623359482, 1.74421964e-05], 0.879087),
        ("PLA", false, 'L', [13.6767241, -0.406241097, 0.00363429127, -1.06932073e-05], 0.902381),
        ("ABS", true, 'L', [-186.324748, 4.73259868, -0.0361548396, 7.70400273e-05], 0.982073),
        ("ABS", true, 'W', [304.564306, -6.35217787, 0.041165852, -7.98041484e-05], 0.994812),
        ("ABS", true, 'H', [433.9704, -10.1958582, 0.0733366236, -0.000150439306], 0.987922),
        ("ABS", false, 'W', [-3.48281257, 0.11874148, -0.00118562548, 3.49945492e-06], 0.966891),
    ];
    for (material, free, dimension, coefficients, r_squared) in expected {
        let points: Vec<(f64, f64)> = means()
            .iter()
            .filter(|mean| (mean.material, mean.free, mean.dimension) == (material, free, dimension))
            .map(|mean| (mean.celsius, mean.percent))
            .collect();
        let cubic = polynomial(&points, 3).unwrap();
        for (got, expected) in cubic.coefficients().iter().zip(coefficients) {
            assert!((got / expected - 1.0).abs() < 1e-8, "{material} {dimension}: {got} {expected}");
        }
        assert!((cubic.r_squared(&points).unwrap() - r_squared).abs() < 1e-6);
        // Negative control: a parabola is another curve.
        assert!((polynomial(&points, 2).unwrap().coefficients()[0] / coefficients[0] - 1.0).abs() > 0.01);
    }
}

/// The second paper gives sizes of change without sign over 60 to 100 °C: what the first says of free PLA along the
/// roads stays below its largest, and PETG's spread says why no single factor will do.
#[test]
fn the_second_paper_bounds_the_first() {
    let row = |start: &str| -> Vec<f64> {
        let line = MAGNITUDE.lines().find(|line| line.starts_with(start)).unwrap();
        line.split(',').skip(2).take(4).map(|cell| cell.parse().unwrap()).collect()
    };
    let pla = row("PLA,length");
    let largest = 100.0 * pla[3] / pla[0];
    for mean in means().iter().filter(|it| it.material == "PLA" && it.free && it.dimension == 'L') {
        if mean.celsius <= 100.0 {
            assert!(mean.percent.abs() < largest, "{} at {}", mean.percent, mean.celsius);
        }
    }
    let petg = row("PETG,length");
    assert!(petg[2] > petg[1], "the standard deviation is larger than the mean");
}
