//! A workshop's file: ten million readings of 100,000 setups, fitted by the command as a whole.
//!
//! `cargo bench --bench workshop` makes the file (about 400 MB, the same on every machine) in the folder for
//! temporary files, fits it by least squares and by the structured method, three times each, and prints the
//! shortest wall time, the least processor time and the largest memory of the process: with a table alone
//! written, and with a correction file a setup.
//! `cargo bench --bench workshop -- SETUPS [FILE]` makes and fits another number of setups, or keeps the file.
//!
//! Setups have one, two or three prints of 34, 17 or 12 features, three readings each, 100 readings in all.
//! Printers are drawn from the typical class (the table in `correction::structured::priors`), one reading in
//! two hundred is off by 0.2 to 0.8 mm.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const READINGS_OF_A_SETUP: usize = 100;
const FEATURES: usize = 34;
/// Linux counts processor time in hundredths of a second.
const TICKS_PER_SECOND: f64 = 100.0;

/// Kind, axes in turn, sign of the swell, sizes.
const KINDS: [(&str, &[&str], f64, &[&str]); 6] = [
    ("bore", &["round"], -2.0, &["3", "4", "5", "6", "8", "10", "12"]),
    ("pin", &["round"], 2.0, &["4", "5", "6", "8", "10", "12"]),
    ("gap", &["x", "y"], -2.0, &["1.5", "2", "3", "4", "5", "6"]),
    ("outer", &["x", "y"], 2.0, &["5", "8", "12", "16", "20", "25", "30"]),
    ("span", &["x", "y"], 0.0, &["20", "40", "60", "80"]),
    ("height", &["z"], 0.0, &["5", "10", "15", "20"]),
];

struct Feature {
    row: String,
    kind: usize,
    swell: f64,
    nominal: f64,
}

/// In turn of kinds, so that the first dozen has all of them.
fn features() -> Vec<Feature> {
    let mut features = Vec::new();
    for place in 0..7 {
        for (kind, (name, axes, swell, sizes)) in KINDS.iter().enumerate() {
            let Some(size) = sizes.get(place) else { continue };
            let axis = axes[place % axes.len()];
            features.push(Feature {
                row: format!("C{kind},{name}-{size},{name},{axis},{size}"),
                kind,
                swell: *swell,
                nominal: size.parse().expect("a size of the table"),
            });
        }
    }
    assert_eq!(features.len(), FEATURES);
    features
}

/// Numbers that look drawn: the same on every machine.
struct Draws(u64);

impl Draws {
    /// Evenly from 0 to 1.
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1_u64 << 31) as f64
    }

    /// Nearly normal: six even ones.
    fn normal(&mut self, sd: f64) -> f64 {
        let sum: f64 = (0..6).map(|_| self.even()).sum();
        (sum - 3.0) * std::f64::consts::SQRT_2 * sd
    }
}

/// Writes the readings of `setups` setups.
fn write_sheet(path: &Path, setups: usize) -> std::io::Result<()> {
    let features = features();
    let mut out = BufWriter::with_capacity(1 << 20, File::create(path)?);
    out.write_all(b"# date: 2026-11-25\n# caliper_resolution_mm: 0.01\n")?;
    out.write_all(b"setup,coupon,feature,kind,axis,nominal_mm,copy,reading_mm\n")?;
    let mut draws = Draws(1);
    for setup in 0..setups {
        let (swell, scale) = (draws.normal(0.05), draws.normal(0.002) - 0.003);
        let small_bore = draws.normal(0.15) - 0.3;
        let own: Vec<f64> = KINDS.iter().map(|_| draws.normal(0.02)).collect();
        let prints = setup % 3 + 1;
        let each = FEATURES.div_ceil(prints);
        let mut left = READINGS_OF_A_SETUP;
        for copy in 1..=prints {
            let (print, shrink) = (draws.normal(0.015), draws.normal(0.0003));
            for feature in &features[..each] {
                let x = feature.nominal;
                let bore = if feature.kind == 0 { small_bore / x } else { 0.0 };
                let deviation =
                    feature.swell * (swell + print) + (scale + shrink) * x + bore + own[feature.kind];
                let printed = x + deviation + draws.normal(0.025);
                for _ in 0..left.min(3) {
                    let wrong = draws.even() < 0.005;
                    let slip =
                        if wrong { (0.2 + 0.6 * draws.even()) * (draws.even() - 0.5).signum() } else { 0.0 };
                    let reading = printed + draws.normal(0.012) + slip;
                    writeln!(out, "PETG-{setup:06},{},{copy},{reading:.2}", feature.row)?;
                    left -= 1;
                }
            }
        }
    }
    out.flush()
}

/// What one run of the command took.
#[derive(Clone, Copy)]
struct Took {
    wall: Duration,
    processor_s: f64,
    peak_mib: f64,
}

/// Runs the command; processor time and memory as `/proc` has them, not known elsewhere.
fn run(arguments: &[&str]) -> Took {
    let start = Instant::now();
    let child = Command::new(env!("CARGO_BIN_EXE_shrinkrule"))
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let mut child = child.expect("the command was built with the benchmark");
    let process = PathBuf::from(format!("/proc/{}", child.id()));
    let (mut processor_s, mut peak_mib) = (f64::NAN, f64::NAN);
    let wall = loop {
        std::thread::sleep(Duration::from_millis(5));
        if let Ok(status) = std::fs::read_to_string(process.join("status"))
            && let Some(line) = status.lines().find(|line| line.starts_with("VmHWM:"))
        {
            let kib = line.split_whitespace().nth(1).and_then(|kib| kib.parse::<f64>().ok());
            peak_mib = kib.map_or(peak_mib, |kib| kib / 1024.0);
        }
        // A process that has ended keeps its times until it is waited for.
        let stat = std::fs::read_to_string(process.join("stat")).unwrap_or_default();
        let fields: Vec<&str> = stat.rsplit(") ").next().unwrap_or("").split(' ').collect();
        let ticks = |at: usize| fields.get(at).and_then(|ticks| ticks.parse::<f64>().ok());
        if let (Some(user), Some(system)) = (ticks(11), ticks(12)) {
            processor_s = (user + system) / TICKS_PER_SECOND;
        }
        if fields[0] == "Z" || stat.is_empty() {
            break start.elapsed();
        }
    };
    let status = child.wait().expect("the command was started");
    assert!(status.success(), "{arguments:?}: {status}");
    Took { wall, processor_s, peak_mib }
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    let setups = arguments.first().map_or(100_000, |text| text.parse().expect("the number of setups"));
    let folder = std::env::temp_dir().join(format!("shrinkrule-workshop-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the folder for temporary files can be written");
    let file = arguments.get(1).map_or_else(|| folder.join("workshop.csv"), PathBuf::from);
    write_sheet(&file, setups).expect("the folder for temporary files can be written");
    let megabytes = std::fs::metadata(&file).map_or(0.0, |file| file.len() as f64 / 1e6);
    println!("{setups} setups, {} readings, {megabytes:.1} MB", setups * READINGS_OF_A_SETUP);
    let [sheet, table, corrections] =
        [file, folder.join("table.csv"), folder.join("corrections")].map(|path| path.display().to_string());
    for method in ["least-squares", "structured"] {
        for (what, option, target) in
            [("table", "--table", &table), ("a correction file a setup", "--out", &corrections)]
        {
            let took: Vec<Took> = (0..3)
                .map(|_| {
                    // What a run before has written.
                    let _ = std::fs::remove_file(&table);
                    let _ = std::fs::remove_dir_all(&corrections);
                    run(&["fit", &sheet, "--method", method, option, target])
                })
                .collect();
            let least = |of: fn(&Took) -> f64| took.iter().map(of).fold(f64::INFINITY, f64::min);
            let peak = took.iter().map(|took| took.peak_mib).fold(0.0, f64::max);
            println!(
                "{method}, {what}: {:.2} s wall, {:.2} s of processor, {peak:.0} MiB",
                least(|took| took.wall.as_secs_f64()),
                least(|took| took.processor_s)
            );
        }
    }
    // Nothing depends on the folder being gone.
    let _ = std::fs::remove_dir_all(&folder);
}
