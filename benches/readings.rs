//! Reading and checking a million rows, and fitting them by least squares, against reading the same file
//! with the csv crate's byte records.
//!
//! `cargo bench --bench readings` prints all, their ratios, and the peak memory as the system counts it.
//! Where other work runs beside it, compare the ratios of several runs. The files are made here: 1,000 setups of 1,000 rows, every row a feature of a
//! print of its own; and one setup of two million rows, few features read very often.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use shrinkrule::correction::fit::{FitOptions, Method, fit_all};
use shrinkrule::readings::read_file;

const KINDS: [(&str, &[f64]); 5] = [
    ("bore", &[3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0]),
    ("outer", &[3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0]),
    ("gap", &[1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0]),
    ("span", &[20.0, 40.0, 60.0, 100.0]),
    ("height", &[2.0, 5.0, 10.0, 20.0]),
];

/// Features in round-robin order of kinds, so that neighbouring rows never measure the same.
fn features() -> Vec<(usize, &'static str, &'static str, f64)> {
    let mut features = Vec::new();
    for size in 0..8 {
        for (number, (kind, sizes)) in KINDS.iter().enumerate() {
            let axis = match *kind {
                "bore" => "round",
                "height" => "z",
                _ => ["x", "y"][size % 2],
            };
            features.extend(sizes.get(size).map(|nominal| (number + 1, *kind, axis, *nominal)));
        }
    }
    features
}

/// `copies` of all features before a feature is read again.
fn sheet(setups: usize, rows: usize, copies: usize) -> String {
    let features = features();
    let mut text = String::from("setup,coupon,feature,kind,axis,nominal_mm,copy,reading_mm\n");
    // A small generator of its own: the file is the same on every machine.
    let mut state = 1_u64;
    for setup in 0..setups {
        for row in 0..rows {
            let (coupon, kind, axis, nominal) = features[row % features.len()];
            let copy = row / features.len() % copies + 1;
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let reading = nominal * 0.997 + (state >> 33) as f64 / f64::from(u32::MAX) * 0.2;
            let _ = writeln!(
                text,
                "P{setup:06},C{coupon},{kind}-{nominal},{kind},{axis},{nominal:.1},{copy},{reading:.2}"
            );
        }
    }
    text
}

/// What the speed is measured by: the csv crate's byte records, from the file.
fn byte_records(path: &Path) -> u64 {
    let mut reader = csv::Reader::from_path(path).expect("the file was just written");
    let mut record = csv::ByteRecord::new();
    let mut rows = 0;
    while reader.read_byte_record(&mut record).expect("the file was just written") {
        rows += 1;
    }
    rows
}

fn timed(work: impl FnOnce() -> u64) -> (Duration, u64) {
    let start = Instant::now();
    let rows = work();
    (start.elapsed(), rows)
}

/// Peak memory of this process so far, in MB; `None` where the system does not say.
fn peak_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kib| kib * 1024.0 / 1e6)
}

/// Forgets the peak, so that making the file does not count.
fn forget_peak() {
    // Where this is not allowed the figure is only too large.
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Reads and checks; with `fitted` fits every setup as well. How many readings.
fn ours(path: &Path, fitted: bool) -> u64 {
    let readings = read_file(path).expect("the sheet has no problem");
    if fitted {
        let options = FitOptions { points: false, method: Method::LeastSquares, ..FitOptions::default() };
        let fits = fit_all(&readings, &options);
        assert!(fits.iter().all(Result::is_ok), "every setup can be fitted");
    }
    readings.readings
}

fn compare(name: &str, path: &Path, fitted: bool, rounds: usize) {
    let megabytes = std::fs::metadata(path).map_or(0.0, |file| file.len() as f64 / 1e6);
    let (mut own_ms, mut records_ms, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    forget_peak();
    for round in 0..=rounds {
        let (own, readings) = timed(|| ours(path, fitted));
        let (records, rows) = timed(|| byte_records(path));
        assert_eq!(readings, rows, "every row is one reading");
        // The first round only warms the page cache.
        if round > 0 {
            own_ms.push(own.as_secs_f64() * 1e3);
            records_ms.push(records.as_secs_f64() * 1e3);
            ratios.push(own.as_secs_f64() / records.as_secs_f64());
        }
    }
    let peak = peak_mb().map_or_else(String::new, |peak| format!(", peak memory {peak:.0} MB"));
    println!(
        "{name}: {megabytes:.1} MB, ours {:.1} ms, byte records {:.1} ms, ratio {:.2}{peak}",
        median(own_ms),
        median(records_ms),
        median(ratios)
    );
}

fn main() {
    let folder = std::env::temp_dir().join(format!("shrinkrule-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the folder for temporary files can be written");
    let file = |name: &str, text: String| -> PathBuf {
        let path = folder.join(name);
        std::fs::write(&path, text).expect("the folder for temporary files can be written");
        path
    };
    let many = file("many.csv", sheet(1000, 1000, usize::MAX));
    compare("1,000 setups of 1,000 rows, read and checked", &many, false, 9);
    compare("1,000 setups of 1,000 rows, read, checked and fitted", &many, true, 9);
    let one = file("one.csv", sheet(1, 2_000_000, 3));
    compare("one setup of 2,000,000 rows, 3 prints, read and checked", &one, false, 5);
    let less = file("less.csv", sheet(1, 200_000, 3));
    compare("one setup of 200,000 rows, 3 prints, read and checked", &less, false, 5);
    // Nothing depends on the folder being gone.
    let _ = std::fs::remove_dir_all(&folder);
}
