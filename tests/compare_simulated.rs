//! Comparisons of simulated materials whose truth is known: how often intervals hold it, how often materials that
//! are alike are told apart, and how many pieces tell 0.05 mm apart.
//!
//! `cargo test` runs a small form; the long one, 2,000 runs a row, is
//! `cargo test --release --test compare_simulated -- --ignored --nocapture`.

use std::fmt::Write as _;
use std::path::Path;

use shrinkrule::compare::between::{Family, families};
use shrinkrule::compare::finding::{Finding, findings};
use shrinkrule::compare::verdict::Verdict;
use shrinkrule::compare::{Study, study};
use shrinkrule::readings::read_bytes;

/// A small generator that is the same everywhere (splitmix64), and normal numbers from it.
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// One simulated experiment.
#[derive(Clone)]
struct World {
    /// Of each material: pieces, true change at 60 mm in mm, standard deviation of pieces there in mm.
    materials: Vec<(u32, f64, f64)>,
    /// Standard deviation of one reading, mm.
    reading_sd_mm: f64,
    /// What the caliper moved by, mm; the metal piece is read three times a stage.
    drift_mm: Option<f64>,
}

/// Drawn sizes along x, mm.
const LENGTHS: [f64; 3] = [30.0, 45.0, 60.0];

/// Readings of each feature in each stage.
const READINGS: usize = 3;

impl World {
    fn run(&self, random: &mut Random, limit_mm: f64) -> Run {
        let mut text = String::from(
            "stage,material,soak_c,soak_h,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,reading_3_mm\n",
        );
        // Readings to a hundredth, as a caliper shows them.
        let cells = |size: f64, random: &mut Random| -> String {
            let one = |_| format!("{:.2}", size + self.reading_sd_mm * random.normal());
            (0..READINGS).map(one).collect::<Vec<_>>().join(",")
        };
        if let Some(drift_mm) = self.drift_mm {
            for time in 1..=3 {
                for (stage, drift) in [("before", 0.0), ("after", drift_mm)] {
                    let read = cells(22.004 + drift, random);
                    writeln!(text, "{stage},reference,,,ref,outer,round,22,{time},{read}").unwrap();
                }
            }
        }
        for (material, (pieces, change, piece_sd)) in self.materials.iter().enumerate() {
            for copy in 1..=*pieces {
                let own = change + piece_sd * random.normal();
                for length in LENGTHS {
                    let printed = length * 0.997 + 0.02 * random.normal();
                    let heated = printed + own * length / 60.0 + self.drift_mm.unwrap_or(0.0);
                    let (before, after) = (cells(printed, random), cells(heated, random));
                    let what = format!("s{length}x,span,x,{length},{copy}");
                    writeln!(text, "before,M{material},,,{what},{before}").unwrap();
                    writeln!(text, "after,M{material},60,8,{what},{after}").unwrap();
                }
            }
        }
        let file = read_bytes(Path::new("simulated.csv"), text.as_bytes()).unwrap();
        let study = study(&[file]).unwrap();
        let findings = findings(&study, limit_mm);
        Run { between: families(&study, &findings), findings, study }
    }
}

/// What a comparison says of one experiment.
struct Run {
    study: Study,
    findings: Vec<Finding>,
    between: Vec<Family>,
}

/// What many runs of a world came to, as shares.
#[derive(Default)]
struct Shares {
    /// Intervals that hold the true change.
    covered: f64,
    /// Runs in which some pair of materials is told apart.
    any_pair: f64,
    /// Runs in which the first two are told apart.
    first_pair: f64,
    /// Verdicts on the first material.
    holds: f64,
    exceeds: f64,
}

fn shares(world: &World, runs: u32, seed: u64) -> Shares {
    let mut random = Random(seed);
    let mut sum = Shares::default();
    let (mut intervals, limit_mm) = (0.0, 0.10);
    for _ in 0..runs {
        let comparison = world.run(&mut random, limit_mm);
        for finding in &comparison.findings {
            let (low, high) = finding.interval_mm().unwrap();
            let truth = world.materials[finding.material].1;
            sum.covered += f64::from(u8::from((low..=high).contains(&truth)));
            intervals += 1.0;
        }
        if let Some(family) = comparison.between.first() {
            sum.any_pair += f64::from(u8::from(family.pairs.iter().any(|pair| pair.is_real())));
            sum.first_pair += f64::from(u8::from(family.pairs[0].is_real()));
        }
        let verdict = comparison.findings[0].verdict;
        sum.holds += f64::from(u8::from(verdict == Verdict::Holds));
        sum.exceeds += f64::from(u8::from(verdict == Verdict::Exceeds));
    }
    let of = f64::from(runs);
    Shares {
        covered: sum.covered / intervals,
        any_pair: sum.any_pair / of,
        first_pair: sum.first_pair / of,
        holds: sum.holds / of,
        exceeds: sum.exceeds / of,
    }
}

/// Three standard errors of a share of 5 % in so many independent runs.
fn counting(runs: u32) -> f64 {
    3.0 * (0.05 * 0.95 / f64::from(runs)).sqrt()
}

fn alike(materials: usize, pieces: u32, piece_sd: f64) -> World {
    World {
        materials: vec![(pieces, -0.05, piece_sd); materials],
        reading_sd_mm: 0.012,
        drift_mm: Some(0.02),
    }
}

#[test]
fn intervals_hold_the_truth_and_materials_that_are_alike_are_rarely_told_apart() {
    let runs = 150;
    for (world, seed) in [(alike(3, 3, 0.02), 1), (alike(3, 4, 0.0), 2)] {
        let shares = shares(&world, runs, seed);
        // Three times as many intervals as runs, of which those of one run share the reference.
        assert!(shares.covered > 0.95 - counting(runs), "covered {}", shares.covered);
        assert!(shares.any_pair < 0.05 + counting(runs), "told apart {}", shares.any_pair);
    }
}

#[test]
fn a_change_at_the_limit_is_hardly_ever_called_held_and_hardly_ever_exceeded() {
    let runs = 200;
    let world = World {
        materials: vec![(3, -0.10, 0.02), (3, 0.0, 0.02)],
        reading_sd_mm: 0.012,
        drift_mm: Some(-0.03),
    };
    let shares = shares(&world, runs, 3);
    // Each is one side of a 95 % interval.
    let most = 0.025 + 3.0 * (0.025 * 0.975 / f64::from(runs)).sqrt();
    assert!(shares.holds < most && shares.exceeds < most, "{} {}", shares.holds, shares.exceeds);
}

#[test]
fn without_taking_out_the_reference_a_caliper_that_moved_would_be_a_change() {
    let world = World { materials: vec![(4, 0.0, 0.01); 2], reading_sd_mm: 0.012, drift_mm: Some(0.08) };
    let comparison = world.run(&mut Random(4), 0.10);
    for finding in &comparison.findings {
        assert!(finding.mean_mm.abs() < 0.03, "{}", finding.mean_mm);
    }
    let removed = comparison.study.references[0].unwrap().estimate.value;
    assert!((removed - 0.08).abs() < 0.02, "{removed}");
}

#[test]
#[ignore = "about ten minutes: 2,000 runs a row"]
fn the_long_tables() {
    let runs: u32 = std::env::var("SHRINKRULE_RUNS").ok().and_then(|text| text.parse().ok()).unwrap_or(2_000);
    println!(
        "coverage of 95 % intervals, and chance that any pair of materials that are alike is told apart; {runs} runs a row"
    );
    println!("| materials | pieces | sd of pieces, mm | covered | any pair |\n|--:|---|--:|--:|--:|");
    let with =
        |materials: Vec<(u32, f64, f64)>| World { materials, reading_sd_mm: 0.012, drift_mm: Some(0.02) };
    let rows = [
        ("3", "3", "0", alike(3, 3, 0.0)),
        ("3", "3", "0.01", alike(3, 3, 0.01)),
        ("3", "3", "0.02", alike(3, 3, 0.02)),
        ("3", "3", "0.05", alike(3, 3, 0.05)),
        ("3", "5", "0.02", alike(3, 5, 0.02)),
        ("5", "3", "0.02", alike(5, 3, 0.02)),
        ("3", "2, 3, 5", "0.02", with(vec![(2, -0.05, 0.02), (3, -0.05, 0.02), (5, -0.05, 0.02)])),
        ("3", "5", "0.01, 0.02, 0.05", with(vec![(5, -0.05, 0.01), (5, -0.05, 0.02), (5, -0.05, 0.05)])),
        ("3", "3", "0.01, 0.02, 0.05", with(vec![(3, -0.05, 0.01), (3, -0.05, 0.02), (3, -0.05, 0.05)])),
        (
            "3",
            "5, 4, 3",
            "0.01, 0.02, 0.05",
            with(vec![(5, -0.05, 0.01), (4, -0.05, 0.02), (3, -0.05, 0.05)]),
        ),
        (
            "3",
            "3, 4, 5",
            "0.01, 0.02, 0.05",
            with(vec![(3, -0.05, 0.01), (4, -0.05, 0.02), (5, -0.05, 0.05)]),
        ),
    ];
    for (number, (materials, pieces, sd, world)) in rows.iter().enumerate() {
        let got = shares(world, runs, 100 + number as u64);
        println!(
            "| {materials} | {pieces} | {sd} | {:.1} % | {:.1} % |",
            100.0 * got.covered,
            100.0 * got.any_pair
        );
        assert!(got.covered > 0.95 - counting(runs), "{materials} {pieces} {sd}");
    }
    println!(
        "\npower: chance to tell two of three materials apart that differ by 0.05 mm at 60 mm, and to say of 0.05 mm that it holds 0.10 mm"
    );
    println!("| pieces | sd of pieces, mm | told apart | called holding |\n|--:|--:|--:|--:|");
    for sd in [0.01, 0.02, 0.03] {
        for pieces in [2, 3, 4, 5, 6, 8, 10] {
            let world = with(vec![(pieces, -0.05, sd), (pieces, 0.0, sd), (pieces, 0.0, sd)]);
            let got = shares(&world, runs, 200 + u64::from(pieces));
            println!("| {pieces} | {sd} | {:.0} % | {:.0} % |", 100.0 * got.first_pair, 100.0 * got.holds);
        }
    }
}
